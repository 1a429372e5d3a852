/*
 * The ink on the film. Nothing that was measured is hidden: every mark is a hollow sign about its
 * point, and every line stops short of the marks and of the edges it measures (cut_by_discs).
 * Signs: a ring is a mark placed, moved or confirmed by hand, a diamond one that was found and not
 * confirmed, a square one carried over from an earlier film and not confirmed.
 */
#include "record/record_internal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Words of 1/75 of the height are read at arm's length when the film fills a screen; below 11 px
 * letters fall apart. A wide film is shown by its width. */
static const double em_share = 1.0 / 75.0, em_least_px = 12.0, wide_share = 0.6;
static const double line_em = 1.0 / 13.0, line_least_px = 0.9;
static const double sign_em = 0.48;       /* radius of a mark's sign */
static const double sign_small_em = 0.30; /* of marks that only hold a line */
static const double sign_least_em = 0.20; /* when marks crowd; and a line's width */
static const double corner_share = 1.2;   /* a diamond looks as large as a ring */
static const double same_em = 0.12;       /* marks nearer than this are drawn once */
static const double same_line_em = 0.4;   /* the same for marks that only hold a line */
static const double same_px = 0.5;        /* a measured edge that is a mark */
static const double clear_em = 0.26; /* about a measured edge; and two lines' widths, for halos */
static const double arrow_em = 0.62, arrow_half_em = 0.15, stub_em = 1.3;
static const double help_width = 0.8; /* of a line's width: help lines and leaders are finer */
static const double air_em = 0.35;    /* labels like to keep so far from ink */
static const double cell_em = 0.25;
static const double label_near_em = 0.7, label_far_em = 9.0, label_step_em = 0.5;
static const double number_size = 0.92, word_size = 0.85; /* em */
static const double pill_height_em = 1.5, pill_side_em = 0.8, word_side_em = 0.9;
enum { SPOTS_MAX = 96, DISCS_MAX = SPOTS_MAX + 2 * DIMENSIONS_MAX };
enum { LABELS_MAX = DIMENSIONS_MAX + SHEET_BOUNDS + SHEET_PINS + 5 };
static const double tau = 6.28318530717958647692;

struct spot {
    struct geo_point at;
    double r;
    enum mark_by by; /* as shown: hand, found or carried */
    enum hue hue;
    bool has_sign; /* false: shown by the sign of another mark close by; kept in sight all the same
                    */
};

struct tag {
    struct words words;
    enum hue hue;
    bool rim; /* a number, not a word */
};

struct figure {
    const struct exam *e;
    struct ink *ink;
    struct figure_used *used;
    struct figure_sizes size;
    struct field field;
    struct spot spot[SPOTS_MAX];
    size_t n_spots;
    struct dimension dim[DIMENSIONS_MAX];
    size_t n_dims;
    struct disc disc[DISCS_MAX]; /* those of the spots first, same order */
    size_t n_discs;
    double piece[DISCS_MAX + 1][2];
    struct geo_point run[SHEET_PATH + SIGN_POINTS];
    struct tag tag[LABELS_MAX];
    struct label label[LABELS_MAX];
    size_t n_labels;
};

struct figure_sizes figure_sizes_for(const struct film *film)
{
    double height = fmax((double)film->height, wide_share * (double)film->width);
    double em = fmax(em_share * height, em_least_px);
    return (struct figure_sizes){em, fmax(line_em * em, line_least_px)};
}

bool used_is_open(const struct figure_used *used)
{
    return used->by[MARK_FOUND] || used->by[MARK_CARRIED];
}

static double least_sign(const struct figure *f)
{
    return sign_least_em * f->size.em + f->size.line;
}

static double clear_radius(const struct figure *f)
{
    return clear_em * f->size.em + 2.0 * f->size.line;
}

static struct stroke stroke(const struct figure *f, enum hue hue, enum pattern pattern)
{
    f->used->pattern[pattern] = true;
    return (struct stroke){.hue = hue, .pattern = pattern, .width = f->size.line, .halo = true};
}

/* --- marks ------------------------------------------------------------------------------------ */

static bool usable(const struct mark *m)
{
    return m->set && isfinite(m->x) && isfinite(m->y);
}

/* What a person has moved or confirmed is drawn as what a person has placed. */
static enum mark_by shown_by(const struct mark *m)
{
    return plumb_mark_is_open(m) ? m->by : MARK_HAND;
}

/* A gauge's end is often the pin's tip: one sign, and what is not confirmed is not lost. */
static struct spot *spot_near(struct figure *f, struct geo_point at, double within)
{
    for (size_t i = 0; i < f->n_spots; i++)
        if (f->spot[i].has_sign && geo_dist(f->spot[i].at, at) <= within)
            return &f->spot[i];
    return NULL;
}

static void add_spot(struct figure *f, const struct mark *m, enum hue hue, double r_em)
{
    struct geo_point at = {m->x, m->y};
    if (!usable(m) || f->n_spots == SPOTS_MAX)
        return;
    double within = (r_em < sign_em ? same_line_em : same_em) * f->size.em;
    struct spot *near = spot_near(f, at, within);
    enum mark_by by = shown_by(m);
    if (near != NULL && by != MARK_HAND && near->by != MARK_FOUND)
        near->by = by;
    double r = near == NULL ? r_em * f->size.em : least_sign(f);
    f->spot[f->n_spots++] = (struct spot){at, r, by, hue, near == NULL};
}

static void add_pair(struct figure *f, const struct mark m[2], enum hue hue)
{
    add_spot(f, &m[0], hue, sign_small_em);
    add_spot(f, &m[1], hue, sign_small_em);
}

static enum hue side_hue(int side)
{
    return side == MESIAL ? HUE_MESIAL : HUE_DISTAL;
}

static void collect_pin_spots(struct figure *f, const struct sheet_pin *p)
{
    add_spot(f, &p->tip, HUE_PIN, sign_em);
    add_spot(f, &p->shoulder, HUE_PIN, sign_em);
    add_spot(f, &p->stop, HUE_PIN, sign_em);
    for (int i = 0; i < SIDES; i++)
        add_pair(f, p->side[i], HUE_PIN);
    add_pair(f, p->axis, HUE_PIN);
}

static void collect_spots(struct figure *f)
{
    const struct sheet *s = &f->e->sheet;
    collect_pin_spots(f, &s->pin);
    for (size_t i = 0; i < s->n_pins; i++)
        collect_pin_spots(f, &s->pins[i]);
    for (int i = 0; i < SIDES; i++) {
        const struct sheet_neighbour *nb = &s->side[i];
        add_spot(f, &nb->crest, side_hue(i), sign_em);
        add_spot(f, &nb->cej, side_hue(i), sign_em);
        add_spot(f, &nb->apex, side_hue(i), sign_em);
        add_spot(f, &nb->cej_far, side_hue(i), sign_small_em);
        add_pair(f, nb->axis, side_hue(i));
        add_spot(f, &s->site_tooth.cej[i], HUE_SITE, sign_em);
        add_spot(f, &s->site_tooth.fracture[i], HUE_SITE, sign_em);
    }
    add_spot(f, &s->site_tooth.apex, HUE_SITE, sign_em);
    add_spot(f, &s->site_tooth.top, HUE_SITE, sign_em);
    add_spot(f, &s->ridge, HUE_SITE, sign_em);
    add_pair(f, s->site_tooth.axis, HUE_SITE);
    for (size_t i = 0; i < s->n_gauges; i++)
        add_pair(f, s->gauge[i].end, HUE_PIN);
    for (size_t i = 0; i < f->n_spots; i++)
        f->used->by[f->spot[i].by] = true;
}

/* Signs that crowd are drawn smaller, so that none stands on another's point. */
static void separate_spots(struct figure *f)
{
    for (size_t i = 0; i < f->n_spots; i++) {
        double nearest = HUGE_VAL;
        for (size_t j = 0; j < f->n_spots; j++)
            if (j != i && f->spot[j].has_sign)
                nearest = fmin(nearest, geo_dist(f->spot[i].at, f->spot[j].at));
        double room = fmax(0.5 * nearest, least_sign(f));
        f->spot[i].r = fmin(f->spot[i].r, room);
    }
}

static void add_disc(struct figure *f, struct geo_point at, double r)
{
    if (f->n_discs < DISCS_MAX)
        f->disc[f->n_discs++] = (struct disc){at, r};
}

static void collect_discs(struct figure *f)
{
    for (size_t i = 0; i < f->n_spots; i++)
        add_disc(f, f->spot[i].at, f->spot[i].r);
    for (size_t i = 0; i < f->n_dims; i++)
        for (int k = 0; k < 2 && f->dim[i].has_edges; k++)
            /* A measured edge that is a mark is kept by the mark's own disc. */
            if (spot_near(f, f->dim[i].edge[k], same_px) == NULL)
                add_disc(f, f->dim[i].edge[k], clear_radius(f));
    for (size_t i = 0; i < f->n_discs; i++) {
        const struct disc *d = &f->disc[i];
        field_take_line(&f->field, d->at, d->at, d->r + f->size.line, CELL_INK);
    }
}

/* --- lines ------------------------------------------------------------------------------------ */

static void put_run(struct figure *f, size_t n, struct stroke s)
{
    ink_line(f->ink, f->run, n, s);
    for (size_t i = 0; i + 1 < n; i++) {
        field_take_line(&f->field, f->run[i], f->run[i + 1], s.width, CELL_INK);
        field_take_line(&f->field, f->run[i], f->run[i + 1], air_em * f->size.em, CELL_AIR);
    }
}

/* A path less what lies in the discs; skip: the disc that does not count. Closed paths repeat their
 * first point. */
static void draw_path(struct figure *f, const struct geo_point *pts, size_t n, struct stroke s,
                      size_t skip)
{
    size_t len = 0;
    for (size_t i = 0; i + 1 < n; i++) {
        size_t pieces = cut_by_discs(pts[i], pts[i + 1], f->disc, f->n_discs, skip, f->piece);
        for (size_t k = 0; k < pieces; k++) {
            if (len == 0 || f->piece[k][0] > 0.0) {
                put_run(f, len, s);
                f->run[0] = geo_mix(pts[i], pts[i + 1], f->piece[k][0]);
                len = 1;
            }
            f->run[len++] = geo_mix(pts[i], pts[i + 1], f->piece[k][1]);
            if (f->piece[k][1] < 1.0) {
                put_run(f, len, s);
                len = 0;
            }
        }
        if (pieces == 0) {
            put_run(f, len, s);
            len = 0;
        }
    }
    put_run(f, len, s);
}

static void draw_line(struct figure *f, struct geo_point a, struct geo_point b, struct stroke s)
{
    const struct geo_point pts[2] = {a, b};
    draw_path(f, pts, 2, s, f->n_discs);
}

static int draw_marks_path(struct figure *f, const struct mark_path *p, struct stroke s,
                           struct err *err)
{
    struct geo_point *pts = plumb_mem_array(p->n, sizeof *pts, err);
    if (pts == NULL)
        return ERR_NOMEM;
    size_t n = 0;
    for (size_t i = 0; i < p->n && n < SHEET_PATH; i++) {
        if (!usable(&p->at[i]))
            continue;
        f->used->by[shown_by(&p->at[i])] = true;
        pts[n++] = (struct geo_point){p->at[i].x, p->at[i].y};
    }
    draw_path(f, pts, n, s, f->n_discs);
    free(pts);
    return 0;
}

static int draw_paths(struct figure *f, struct err *err)
{
    const struct sheet *s = &f->e->sheet;
    int rc = 0;
    for (int i = 0; i < SIDES && rc == 0; i++) {
        if (s->side[i].near.n > 0)
            rc = draw_marks_path(f, &s->side[i].near, stroke(f, side_hue(i), PATTERN_SIDE), err);
        if (rc == 0 && s->side[i].far.n > 0)
            rc = draw_marks_path(f, &s->side[i].far, stroke(f, side_hue(i), PATTERN_SIDE), err);
    }
    for (size_t i = 0; i < s->n_bounds && rc == 0; i++)
        rc = draw_marks_path(f, &s->bound[i].path, stroke(f, HUE_BOUND, PATTERN_LEVEL), err);
    return rc;
}

static void draw_pin_sides(struct figure *f, const struct sheet_pin *p)
{
    for (int i = 0; i < SIDES; i++) {
        const struct mark *m = p->side[i];
        if (usable(&m[0]) && usable(&m[1]))
            draw_line(f, (struct geo_point){m[0].x, m[0].y}, (struct geo_point){m[1].x, m[1].y},
                      stroke(f, HUE_PIN, PATTERN_SIDE));
    }
}

static void draw_axis(struct figure *f, const char *id, enum hue hue)
{
    struct geo_point a, b;
    if (!segment_find(&f->e->result, id, &a, &b))
        return;
    struct geo_point reach = geo_mul(geo_unit(geo_sub(b, a)), axis_reach(f->size.em));
    draw_line(f, geo_sub(a, reach), geo_add(b, reach), stroke(f, hue, PATTERN_AXIS));
}

/* Pin 1, 2 ...: the first has no number in its name. */
static void pin_axis_id(size_t number, char out[MEAS_ID])
{
    if (number == 1)
        plumb_text_copy(out, MEAS_ID, "axis.pin");
    else
        snprintf(out, MEAS_ID, "axis.pins.%zu", number);
}

static void draw_axes(struct figure *f)
{
    char id[MEAS_ID];
    for (size_t i = 1; i <= f->e->sheet.n_pins + 1; i++) {
        pin_axis_id(i, id);
        draw_axis(f, id, HUE_PIN);
    }
    draw_axis(f, "axis.mesial", HUE_MESIAL);
    draw_axis(f, "axis.distal", HUE_DISTAL);
    draw_axis(f, "axis.site", HUE_SITE);
}

/* The planned cylinder's sides are segments of one name; two of them close to an outline. */
static void draw_plan(struct figure *f)
{
    const struct meas_result *r = &f->e->result;
    struct geo_point p[5];
    size_t n = 0;
    for (size_t i = 0; i < r->n_segments && n < 4; i++) {
        const struct meas_segment *s = &r->segment[i];
        if (strcmp(s->id, "plan.outline") != 0 || !isfinite(s->x0 + s->y0 + s->x1 + s->y1))
            continue;
        bool second = n == 2;
        p[n++] = second ? (struct geo_point){s->x1, s->y1} : (struct geo_point){s->x0, s->y0};
        p[n++] = second ? (struct geo_point){s->x0, s->y0} : (struct geo_point){s->x1, s->y1};
    }
    if (n == 4)
        p[n++] = p[0];
    if (n > 0)
        draw_path(f, p, n, stroke(f, HUE_PLAN, PATTERN_PLAN), f->n_discs);
}

/* --- dimension lines ----------------------------------------------------------------------------
 */

/* Does the outline come closer to a kept point than its disc's edge? Touching is no fault: an
 * arrow's point touches the disc of the edge it shows. */
static bool in_way(const struct figure *f, const struct geo_point *outline, size_t n)
{
    const double touch = 1e-6;
    for (size_t i = 0; i < f->n_discs; i++)
        if (plumb_geo_polyline_nearest(outline, n, f->disc[i].at, NULL, NULL) <
            f->disc[i].r - touch)
            return true;
    return false;
}

/* A slender arrow head with its point at tip; none where it would stand on something measured. */
static void draw_arrow(struct figure *f, struct geo_point tip, struct geo_point dir, enum hue hue)
{
    struct geo_point back = geo_sub(tip, geo_mul(dir, arrow_em * f->size.em));
    struct geo_point half = geo_mul(geo_perp(dir), arrow_half_em * f->size.em);
    struct geo_point p[4] = {tip, geo_add(back, half), geo_sub(back, half), tip};
    if (!in_way(f, p, 4))
        ink_fill(f->ink, p, 3, hue, true);
}

/* Long enough: arrows at the ends, pointing out. Too short: two stubs from outside, pointing in,
 * so that the measured stretch itself stays bare. */
static void draw_dimension(struct figure *f, const struct dimension *d)
{
    double clear = d->at_edges ? clear_radius(f) : 0.0, arrow = arrow_em * f->size.em;
    double len = geo_dist(d->a, d->b);
    struct geo_point dir = geo_unit(geo_sub(d->b, d->a));
    struct stroke s = stroke(f, d->hue, PATTERN_MEASURED);
    if (len < 1e-3)
        return;
    bool outside = len < 2.0 * clear + 3.0 * arrow;
    double stop = outside ? -clear : clear, end = outside ? -stub_em * f->size.em : 0.5 * len;
    struct geo_point a = geo_add(d->a, geo_mul(dir, stop)), b = geo_sub(d->b, geo_mul(dir, stop));
    draw_line(f, a, geo_add(d->a, geo_mul(dir, end)), s);
    draw_line(f, b, geo_sub(d->b, geo_mul(dir, end)), s);
    struct geo_point out = outside ? dir : geo_mul(dir, -1.0);
    draw_arrow(f, a, out, d->hue);
    draw_arrow(f, b, geo_mul(out, -1.0), d->hue);
}

static void draw_dimensions(struct figure *f)
{
    for (size_t i = 0; i < f->n_dims; i++)
        for (size_t k = 0; k < f->dim[i].n_help; k++) {
            struct stroke s = stroke(f, f->dim[i].hue, PATTERN_LEVEL);
            s.width *= help_width;
            draw_line(f, f->dim[i].help[k][0], f->dim[i].help[k][1], s);
        }
    for (size_t i = 0; i < f->n_dims; i++)
        if (f->dim[i].has_line)
            draw_dimension(f, &f->dim[i]);
}

/* --- signs ------------------------------------------------------------------------------------ */

size_t sign_outline(struct geo_point at, double r, enum mark_by by,
                    struct geo_point out[SIGN_POINTS])
{
    size_t corners = by == MARK_FOUND || by == MARK_CARRIED ? 4 : SIGN_POINTS - 1;
    double turn = by == MARK_CARRIED ? tau / 8.0 : 0.0;
    if (corners == 4)
        r *= corner_share;
    for (size_t i = 0; i <= corners; i++) {
        double t = turn + tau * (double)i / (double)corners;
        out[i] = geo_add(at, (struct geo_point){r * cos(t), r * sin(t)});
    }
    return corners + 1;
}

static void draw_signs(struct figure *f)
{
    for (size_t i = 0; i < f->n_spots; i++) {
        const struct spot *spot = &f->spot[i];
        if (!spot->has_sign)
            continue;
        struct geo_point pts[SIGN_POINTS];
        struct stroke s = stroke(f, spot->hue, PATTERN_MEASURED);
        draw_path(f, pts, sign_outline(spot->at, spot->r, spot->by, pts), s, i);
    }
}

/* --- numbers and words
 * ---------------------------------------------------------------------------- */

static void add_label(struct figure *f, const char *text, enum hue hue, bool number,
                      struct geo_point a, struct geo_point b)
{
    double em = f->size.em;
    struct box film = f->ink->film;
    if (f->n_labels == LABELS_MAX || text[0] == '\0')
        return;
    if (!clip_to_box(film, &a, &b)) /* named though it lies outside: at the border */
        a = b = (struct geo_point){fmin(fmax(a.x, film.x0), film.x1),
                                   fmin(fmax(a.y, film.y0), film.y1)};
    struct tag *tag = &f->tag[f->n_labels];
    struct label *l = &f->label[f->n_labels++];
    *tag = (struct tag){.hue = hue, .rim = number};
    tag->words = words_set(f->ink, text, (number ? number_size : word_size) * em, number, 0.0);
    *l = (struct label){.a = a, .b = b, .h = pill_height_em * em};
    l->w = fmax(l->h, tag->words.w + (number ? pill_side_em : word_side_em) * em);
}

static void add_neighbour_word(struct figure *f, int side)
{
    const struct sheet *s = &f->e->sheet;
    struct geo_point a, b;
    if (!segment_find(&f->e->result, side == MESIAL ? "axis.mesial" : "axis.distal", &a, &b))
        return;
    int beside[SIDES] = {0}, tooth = s->side[side].tooth;
    char number[8] = "", text[32];
    if (tooth == 0 && s->site.tooth != 0) {
        plumb_tooth_neighbours(s->site.tooth, &beside[MESIAL], &beside[DISTAL]);
        tooth = beside[side];
    }
    if (tooth != 0)
        plumb_tooth_print(tooth, s->site.notation, number);
    snprintf(text, sizeof text, "%s %s", side == MESIAL ? "mesial" : "distal", number);
    struct geo_point reach = geo_mul(geo_unit(geo_sub(b, a)), axis_reach(f->size.em));
    add_label(f, text, side_hue(side), false, geo_sub(a, reach), geo_sub(a, reach));
}

/* Several pins are told apart by number and, where it is stated, by name. */
static void add_pin_word(struct figure *f, size_t number)
{
    const struct sheet *s = &f->e->sheet;
    const char *name = number == 1 ? s->pin.name : s->pins[number - 2].name;
    char id[MEAS_ID], text[SHEET_NAME + 24], shown[40];
    struct geo_point a, b;
    pin_axis_id(number, id);
    if (!segment_find(&f->e->result, id, &a, &b))
        return;
    plumb_text_copy(shown, sizeof shown, name);
    snprintf(text, sizeof text, "pin %zu%s%s", number, shown[0] ? ", " : "", shown);
    struct geo_point reach = geo_mul(geo_unit(geo_sub(b, a)), axis_reach(f->size.em));
    add_label(f, text, HUE_PIN, false, geo_sub(a, reach), geo_sub(a, reach));
}

static void add_bound_word(struct figure *f, size_t i)
{
    const struct sheet_bound *b = &f->e->sheet.bound[i];
    char what[40], text[80];
    if (b->path.n == 0)
        return;
    const struct mark *m = &b->path.at[b->path.n / 2];
    plumb_text_copy(what, sizeof what, b->what);
    snprintf(text, sizeof text, "bound %zu%s%s", i + 1, what[0] ? ", " : "", what);
    if (usable(m))
        add_label(f, text, HUE_BOUND, false, (struct geo_point){m->x, m->y},
                  (struct geo_point){m->x, m->y});
}

static void collect_labels(struct figure *f)
{
    for (size_t i = 0; i < f->n_dims; i++)
        add_label(f, f->dim[i].numbers, f->dim[i].hue, true, f->dim[i].a, f->dim[i].b);
    for (int i = 0; i < SIDES; i++)
        add_neighbour_word(f, i);
    for (size_t i = 1; f->e->sheet.n_pins > 0 && i <= f->e->sheet.n_pins + 1; i++)
        add_pin_word(f, i);
    for (size_t i = 0; i < f->e->sheet.n_bounds; i++)
        add_bound_word(f, i);
}

static void draw_label(struct figure *f, const struct label *l, struct tag *t)
{
    struct stroke rim = {.hue = t->hue, .width = help_width * f->size.line};
    ink_pill(f->ink, l->box, HUE_DARK);
    if (t->rim)
        ink_pill_rim(f->ink, l->box, rim);
    double x = 0.5 * (l->box.x0 + l->box.x1 - t->words.w);
    double y = 0.5 * (l->box.y0 + l->box.y1 - t->words.h);
    ink_put(f->ink, &t->words, x, y, t->rim ? HUE_PLAIN : t->hue);
}

static void draw_labels(struct figure *f, double gutter)
{
    double em = f->size.em;
    struct box film = f->ink->film;
    struct label_params p = {.film = film,
                             .gutter = {film.x1, film.y0, film.x1 + gutter, film.y1},
                             .near = label_near_em * em,
                             .far = label_far_em * em,
                             .step = label_step_em * em};
    label_place_all(&f->field, &p, f->label, f->n_labels);
    f->ink->on_film = false; /* a leader may go out into the margin */
    for (size_t i = 0; i < f->n_labels; i++) {
        struct stroke s = stroke(f, f->tag[i].hue, PATTERN_MEASURED);
        s.width *= help_width;
        if (f->label[i].placed && f->label[i].has_leader)
            draw_line(f, f->label[i].leader[0], f->label[i].leader[1], s);
    }
    for (size_t i = 0; i < f->n_labels; i++) {
        if (f->label[i].placed)
            draw_label(f, &f->label[i], &f->tag[i]);
        words_release(&f->tag[i].words);
    }
}

/* --- all -------------------------------------------------------------------------------------- */

static int draw_all(struct figure *f, double gutter, bool notes, struct err *err)
{
    struct box area = f->ink->film;
    area.x1 += gutter;
    int rc = field_init(&f->field, area, cell_em * f->size.em, err);
    if (rc != 0)
        return rc;
    f->ink->on_film = true;
    f->n_dims = dimensions_make(f->e, f->size.em, f->dim);
    collect_spots(f);
    separate_spots(f);
    collect_discs(f);
    rc = draw_paths(f, err);
    if (rc != 0)
        return rc;
    draw_pin_sides(f, &f->e->sheet.pin);
    for (size_t i = 0; i < f->e->sheet.n_pins; i++)
        draw_pin_sides(f, &f->e->sheet.pins[i]);
    draw_plan(f);
    draw_axes(f);
    draw_dimensions(f);
    draw_signs(f);
    if (notes)
        notes_on_film(f->e, f->ink, &f->field, f->size.em, used_is_open(f->used));
    collect_labels(f);
    draw_labels(f, gutter);
    return ink_check(f->ink, err);
}

int figure_draw(const struct exam *e, struct ink *ink, double gutter, bool notes,
                struct figure_used *used, struct err *err)
{
    struct figure *f = plumb_mem_array(1, sizeof *f, err);
    if (f == NULL)
        return ERR_NOMEM;
    f->e = e;
    f->ink = ink;
    f->used = used;
    f->size = figure_sizes_for(&e->film);
    int rc = draw_all(f, gutter, notes, err);
    field_release(&f->field);
    free(f);
    return rc;
}
