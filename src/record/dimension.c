/*
 * Where each quantity is drawn. A distance between two edges is drawn where it was evaluated (the
 * segments of the result). A distance along an axis is drawn as a draughtsman does it: a line
 * parallel to the axis, set aside so that it hides nothing, with help lines from the marks; lines
 * that would lie on each other are moved apart. Quantities that are one and the same distance on
 * the film (a loss and its percentage; a length and the same with the lean allowed for) share a
 * line. Pure: an exam in, geometry out.
 */
#include "record/record_internal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double lane_em = 1.0;        /* between parallel lines */
static const double aside_em = 1.5;       /* beside a line that must stay in sight */
static const double shortest_help = 0.5;  /* em: shorter help lines only clutter */
static const double help_beyond = 0.35;   /* em: a help line runs on over the dimension */
static const double parallel_cos = 0.996; /* within 5 degrees */
static const double angle_stretch = 0.3;  /* of an axis, crown end, for the numbers of its angles */

enum { LANES = 13, LINES_MAX = DIMENSIONS_MAX + 32 };

double axis_reach(double em)
{
    return 2.2 * em;
}

static bool finite_point(struct geo_point p)
{
    /* Far outside is as bad as not finite: the drawing's numbers are small. */
    const double far = 1e6;
    return fabs(p.x) < far && fabs(p.y) < far;
}

bool segment_find(const struct meas_result *r, const char *id, struct geo_point *a,
                  struct geo_point *b)
{
    for (size_t i = 0; i < r->n_segments; i++) {
        const struct meas_segment *s = &r->segment[i];
        if (strcmp(s->id, id) != 0)
            continue;
        *a = (struct geo_point){s->x0, s->y0};
        *b = (struct geo_point){s->x1, s->y1};
        return finite_point(*a) && finite_point(*b);
    }
    return false;
}

/* --- names ------------------------------------------------------------------------------------ */

static bool starts(const char *s, const char *head)
{
    return strncmp(s, head, strlen(head)) == 0;
}

static bool ends(const char *s, const char *tail)
{
    size_t n = strlen(s), m = strlen(tail);
    return n >= m && strcmp(s + n - m, tail) == 0;
}

/* Which drawn distance a quantity belongs to. */
static void key_of(const char *id, char key[MEAS_ID])
{
    static const char corrected[] = ".corrected";
    static const char *const same[][2] = {{"loss.", "cej_crest"},
                                          {"loss_pct.", "cej_crest"},
                                          {"loss_age.", "cej_crest"},
                                          {"rbl_pct.", "cej_crest"},
                                          {"sound.", "fracture"}};
    plumb_text_copy(key, MEAS_ID, id);
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++)
        if (starts(id, same[i][0]))
            snprintf(key, MEAS_ID, "%s%s", same[i][1], strchr(id, '.'));
    if (ends(key, corrected))
        key[strlen(key) - strlen(corrected)] = '\0';
}

static enum hue hue_of(const char *key)
{
    if (starts(key, "bound") || starts(key, "plan.bound") || strcmp(key, "beyond_apex") == 0)
        return HUE_BOUND;
    if (starts(key, "fracture") || strcmp(key, "ridge") == 0 || ends(key, ".site"))
        return HUE_SITE;
    if (ends(key, ".mesial"))
        return HUE_MESIAL;
    if (ends(key, ".distal"))
        return HUE_DISTAL;
    if (starts(key, "plan."))
        return HUE_PLAN;
    return starts(key, "space") ? HUE_PLAIN : HUE_PIN;
}

/* --- distances along an axis ------------------------------------------------------------------ */

enum along_what { LEVEL, STOP, DEPTH, CEJ_CREST, ROOT, ROOT_SITE, FRACTURE, PLAN_DEPTH };

static const struct along {
    const char *head; /* of the key; the rest is the side */
    const char *axis; /* NULL: the neighbour's */
    double share;     /* where between the two marks, across the axis, the line runs */
    double aside;     /* em, from there away from the site */
} alongs[] = {
    [LEVEL] = {"level.", "axis.pin", 0.55, 0.0},
    [STOP] = {"stop.", "axis.pin", 0.55, 0.0},
    [DEPTH] = {"depth.", "axis.pin", 0.45, 0.0},
    [CEJ_CREST] = {"cej_crest.", NULL, 0.5, aside_em},
    [ROOT] = {"root_length.", NULL, 1.5, 0.0},
    [ROOT_SITE] = {"root_length.site", "axis.site", 0.5, aside_em},
    [FRACTURE] = {"fracture.", "axis.site", 0.5, 0.0},
    [PLAN_DEPTH] = {"plan.depth.", "plan.outline", 0.5, 0.0},
};

static bool along_of(const char *key, enum along_what *what)
{
    for (int i = PLAN_DEPTH; i >= 0; i--) /* the longer name of a root's length comes first */
        if (starts(key, alongs[i].head)) {
            *what = (enum along_what)i;
            return true;
        }
    return false;
}

/* The apical end of the plan's side that is nearer to the mark. */
static struct mark plan_end(const struct meas_result *r, const struct mark *near)
{
    struct mark end = {0};
    double best = HUGE_VAL;
    for (size_t i = 0; i < r->n_segments; i++) {
        const struct meas_segment *s = &r->segment[i];
        double d = hypot(s->x0 - near->x, s->y0 - near->y);
        if (strcmp(s->id, "plan.outline") != 0 || !(d < best))
            continue;
        best = d;
        end = (struct mark){.set = true, .x = s->x1, .y = s->y1};
    }
    return end;
}

/* The two marks, in the order in which a positive value runs from crown to apex. */
static bool along_marks(const struct exam *e, enum along_what what, enum sheet_side side,
                        struct mark *from, struct mark *to)
{
    const struct sheet *s = &e->sheet;
    const struct sheet_neighbour *nb = &s->side[side];
    const struct sheet_site_tooth *t = &s->site_tooth;
    struct mark middle = t->cej[MESIAL];
    middle.set = t->cej[MESIAL].set && t->cej[DISTAL].set;
    middle.x = 0.5 * (t->cej[MESIAL].x + t->cej[DISTAL].x);
    middle.y = 0.5 * (t->cej[MESIAL].y + t->cej[DISTAL].y);
    const struct mark pair[][2] = {
        [LEVEL] = {s->pin.shoulder, nb->crest},
        [STOP] = {s->pin.stop, nb->crest},
        [DEPTH] = {nb->crest, s->pin.tip},
        [CEJ_CREST] = {nb->cej, nb->crest},
        [ROOT] = {nb->cej, nb->apex},
        [ROOT_SITE] = {middle, t->apex},
        [FRACTURE] = {nb->crest, t->fracture[side]},
        [PLAN_DEPTH] = {nb->crest, plan_end(&e->result, &nb->crest)},
    };
    *from = pair[what][0];
    *to = pair[what][1];
    return from->set && to->set;
}

static bool along_direction(const struct exam *e, enum along_what what, enum sheet_side side,
                            struct geo_point *dir)
{
    const char *axis = alongs[what].axis;
    struct geo_point a, b;
    if (axis == NULL)
        axis = side == MESIAL ? "axis.mesial" : "axis.distal";
    if (segment_find(&e->result, axis, &a, &b))
        *dir = geo_unit(geo_sub(b, a));
    else if (what == FRACTURE && e->result.frame.set)
        *dir = (struct geo_point){e->result.frame.ax, e->result.frame.ay};
    else
        return false;
    return geo_norm(*dir) > 0.5;
}

/* +1 or -1: which way along geo_perp(dir) leads away from the site. */
static double outward(const struct exam *e, enum sheet_side side, struct geo_point dir)
{
    struct geo_point m = {e->result.frame.mx, e->result.frame.my};
    double turn = geo_dot(geo_perp(dir), m) >= 0.0 ? 1.0 : -1.0;
    return side == MESIAL ? turn : -turn;
}

/* Lines that dimension lines must not lie on: themselves, axes, the pin's sides, the plan. */
struct lines {
    struct geo_point (*at)[2];
    size_t n;
    struct box film; /* where they should be */
};

static bool overlap(const struct geo_point x[2], struct geo_point a, struct geo_point b,
                    double lane)
{
    const double touch = 2.0; /* px: lines that follow each other end to end */
    struct geo_line l = {.at = x[0], .dir = geo_unit(geo_sub(x[1], x[0]))};
    if (fabs(geo_dot(l.dir, geo_unit(geo_sub(b, a)))) < parallel_cos)
        return false;
    double t0 = plumb_geo_along(&l, a), t1 = plumb_geo_along(&l, b);
    double across = plumb_geo_across(&l, geo_mix(a, b, 0.5));
    return fabs(across) < 0.9 * lane && fmax(t0, t1) > touch &&
           fmin(t0, t1) < geo_dist(x[0], x[1]) - touch;
}

static bool in_box(struct geo_point p, struct box b)
{
    return p.x >= b.x0 && p.x <= b.x1 && p.y >= b.y0 && p.y <= b.y1;
}

/* Moves the line a-b by whole lanes until it lies on no other and within the film; false when it
 * stays. */
static bool find_lane(const struct lines *lines, struct geo_point across, double lane,
                      struct geo_point *a, struct geo_point *b)
{
    for (int k = 0; k < LANES; k++) {
        int step = k % 2 ? (k + 1) / 2 : -k / 2; /* 0, 1, -1, 2, -2 ... */
        struct geo_point by = geo_mul(across, lane * step);
        struct geo_point p = geo_add(*a, by), q = geo_add(*b, by);
        bool taken = !in_box(p, lines->film) || !in_box(q, lines->film);
        for (size_t i = 0; i < lines->n && !taken; i++)
            taken = overlap(lines->at[i], p, q, lane);
        if (taken)
            continue;
        *a = p;
        *b = q;
        return step != 0;
    }
    return false;
}

static void add_help(struct dimension *d, struct geo_point mark, struct geo_point on, double em)
{
    double len = geo_dist(mark, on);
    if (len < shortest_help * em)
        return;
    d->help[d->n_help][0] = mark;
    d->help[d->n_help++][1] = geo_mix(mark, on, 1.0 + help_beyond * em / len);
}

static bool make_along(const struct exam *e, double em, const struct lines *lines,
                       struct dimension *d)
{
    enum along_what what;
    struct mark from, to;
    struct geo_point dir;
    enum sheet_side side = ends(d->key, ".distal") ? DISTAL : MESIAL;
    if (!along_of(d->key, &what) || !along_marks(e, what, side, &from, &to) ||
        !along_direction(e, what, side, &dir))
        return false;
    struct geo_point p = {from.x, from.y}, q = {to.x, to.y};
    struct geo_point across = geo_mul(geo_perp(dir), outward(e, side, dir));
    /* Both ends go to one place across the axis, each at its own level. */
    double lp = geo_dot(p, across), lq = geo_dot(q, across);
    double at = lp + alongs[what].share * (lq - lp) + alongs[what].aside * em;
    d->a = geo_add(p, geo_mul(across, at - lp));
    d->b = geo_add(q, geo_mul(across, at - lq));
    if (!finite_point(d->a) || !finite_point(d->b))
        return false;
    find_lane(lines, across, lane_em * em, &d->a, &d->b);
    add_help(d, p, d->a, em);
    add_help(d, q, d->b, em);
    d->has_line = true;
    return true;
}

/* --- between pins ---------------------------------------------------------------------------- */

static const struct mark *pin_mark(const struct sheet *s, int number, bool tip)
{
    const struct sheet_pin *p = number == 1 ? &s->pin : &s->pins[number - 2];
    return tip ? &p->tip : &p->shoulder;
}

/* The pins' numbers at the end of a key like "pins.tip.1-2". */
static bool pair_in(const char *key, int *first, int *second)
{
    const char *last = strrchr(key, '.');
    char *end;
    if (last == NULL)
        return false;
    *first = (int)strtol(last + 1, &end, 10);
    if (*end != '-')
        return false;
    *second = (int)strtol(end + 1, &end, 10);
    return *end == '\0' && *first >= 1 && *second > *first && *second <= SHEET_PINS + 1;
}

/* How much deeper one pin's tip or shoulder is: a line half way between both pins. */
static bool make_between(const struct exam *e, double em, const struct lines *lines,
                         struct dimension *d)
{
    int first, second;
    bool tip = starts(d->key, "pins.tip.");
    if ((!tip && !starts(d->key, "pins.shoulder.")) || !pair_in(d->key, &first, &second) ||
        !segment_find(&e->result, d->key, &d->a, &d->b))
        return false;
    const struct mark *m = pin_mark(&e->sheet, first, tip);
    struct geo_point p = {m->x, m->y}, q = d->b, half = geo_mul(geo_sub(p, d->a), 0.5);
    d->a = geo_add(d->a, half);
    d->b = geo_add(d->b, half);
    find_lane(lines, geo_unit(half), lane_em * em, &d->a, &d->b);
    add_help(d, p, d->a, em);
    add_help(d, q, d->b, em);
    d->has_line = true;
    return true;
}

/* --- the others ------------------------------------------------------------------------------- */

/* Numbers of angles, and of ratios along an axis, stand by the axes they are about. */
static const struct angle_place {
    const char *id, *axis;
    bool apical; /* at which end */
} angle_places[] = {
    {"angle.mesial", "axis.mesial", false}, {"angle.distal", "axis.distal", false},
    {"angle.mean", "axis.pin", false},      {"tilt", "axis.pin", false},
    {"turn.shoulder", "axis.pin", false},   {"angle.roots", "axis.mesial", true},
    {"angle.roots", "axis.distal", true},   {"ratio.anatomic", "axis.site", false},
    {"ratio.clinical", "axis.site", false},
};

static enum hue axis_hue(const char *axis)
{
    return ends(axis, ".mesial")   ? HUE_MESIAL
           : ends(axis, ".distal") ? HUE_DISTAL
           : ends(axis, ".site")   ? HUE_SITE
                                   : HUE_PIN;
}

static bool make_angle(const struct exam *e, double em, const struct angle_place *place,
                       struct dimension *d)
{
    struct geo_point crown, apical;
    if (strcmp(d->key, place->id) != 0 || !segment_find(&e->result, place->axis, &crown, &apical))
        return false;
    double len = geo_dist(crown, apical), reach = len > 0.0 ? axis_reach(em) / len : 0.0;
    d->hue = axis_hue(place->axis);
    d->a = geo_mix(crown, apical, place->apical ? 1.0 + 0.5 * reach : -reach);
    d->b = geo_mix(crown, apical, place->apical ? 1.0 + reach : angle_stretch);
    return true;
}

/* The number of an angle between pins stands by the second pin's axis. */
static bool make_pins_angle(const struct exam *e, double em, struct dimension *d)
{
    char axis[MEAS_ID];
    int first, second;
    if (!starts(d->key, "pins.angle.") || !pair_in(d->key, &first, &second))
        return false;
    snprintf(axis, sizeof axis, "axis.pins.%d", second);
    struct angle_place place = {d->key, axis, false};
    return make_angle(e, em, &place, d);
}

static bool make_straight(const struct exam *e, double em, const struct lines *lines,
                          struct dimension *d)
{
    if (!segment_find(&e->result, d->key, &d->a, &d->b))
        return starts(d->key, "plan.") && segment_find(&e->result, "plan.outline", &d->a, &d->b);
    d->has_line = d->has_edges = d->at_edges = true;
    struct geo_point p = d->edge[0] = d->a, q = d->edge[1] = d->b;
    struct geo_point across = geo_perp(geo_unit(geo_sub(q, p)));
    if (!find_lane(lines, across, lane_em * em, &d->a, &d->b))
        return true;
    d->at_edges = false;
    add_help(d, p, d->a, em);
    add_help(d, q, d->b, em);
    return true;
}

/* --- all -------------------------------------------------------------------------------------- */

static void add_number(struct dimension *d, size_t number)
{
    char joined[NUMBERS + 24];
    snprintf(joined, sizeof joined, "%s%s%zu", d->numbers, d->numbers[0] ? ", " : "", number);
    plumb_text_copy(d->numbers, sizeof d->numbers, joined);
}

static void add_line(struct lines *l, struct geo_point a, struct geo_point b)
{
    if (l->n == LINES_MAX || !finite_point(a) || !finite_point(b))
        return;
    l->at[l->n][0] = a;
    l->at[l->n++][1] = b;
}

static void collect_pin_lines(const struct sheet_pin *p, struct lines *l)
{
    for (int i = 0; i < SIDES; i++) {
        const struct mark *m = p->side[i];
        if (m[0].set && m[1].set)
            add_line(l, (struct geo_point){m[0].x, m[0].y}, (struct geo_point){m[1].x, m[1].y});
    }
}

static void collect_lines(const struct exam *e, struct lines *l)
{
    for (size_t i = 0; i < e->result.n_segments; i++) {
        const struct meas_segment *s = &e->result.segment[i];
        bool drawn = starts(s->id, "axis.") || strcmp(s->id, "plan.outline") == 0;
        if (drawn && strcmp(s->id, "axis.bisector") != 0)
            add_line(l, (struct geo_point){s->x0, s->y0}, (struct geo_point){s->x1, s->y1});
    }
    collect_pin_lines(&e->sheet.pin, l);
    for (size_t i = 0; i < e->sheet.n_pins; i++)
        collect_pin_lines(&e->sheet.pins[i], l);
}

static size_t add_angles(const struct exam *e, double em, const struct dimension *d,
                         struct dimension *out, size_t n)
{
    for (size_t i = 0; i < sizeof angle_places / sizeof angle_places[0]; i++) {
        struct dimension place = *d;
        if (n < DIMENSIONS_MAX && make_angle(e, em, &angle_places[i], &place))
            out[n++] = place;
    }
    return n;
}

static bool has_key(const struct dimension *all, size_t n, const char *key)
{
    for (size_t i = 0; i < n; i++)
        if (strcmp(all[i].key, key) == 0)
            return true;
    return false;
}

size_t dimensions_make(const struct exam *e, double em, struct dimension out[DIMENSIONS_MAX])
{
    struct geo_point at[LINES_MAX][2];
    struct lines lines = {
        .at = at, .film = {0.0, 0.0, (double)e->film.width - 1.0, (double)e->film.height - 1.0}};
    size_t n = 0;
    collect_lines(e, &lines);
    for (size_t i = 0; i < e->result.n_quantities; i++) {
        struct dimension d = {0};
        key_of(e->result.quantity[i].id, d.key);
        d.hue = hue_of(d.key);
        if (!has_key(out, n, d.key)) {
            n = add_angles(e, em, &d, out, n);
            if (n < DIMENSIONS_MAX &&
                (make_along(e, em, &lines, &d) || make_between(e, em, &lines, &d) ||
                 make_pins_angle(e, em, &d) || make_straight(e, em, &lines, &d)))
                out[n++] = d;
            if (d.has_line)
                add_line(&lines, d.a, d.b);
        }
        for (size_t k = 0; k < n; k++)
            if (strcmp(out[k].key, d.key) == 0)
                add_number(&out[k], i + 1);
    }
    return n;
}
