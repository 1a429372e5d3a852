/*
 * Carrying marks over: a new film of a site begins with the marks of an old one, laid over it by
 * registration (find.h). A carried mark is a proposal, and its uncertainty holds that of the old
 * mark and of the films' match.
 *
 * What time changes is not copied: the pin is found afresh; the crest, which is what is followed,
 * is found from where it was, and said to be carried as it was only when it is not seen; the site's
 * tooth goes over only while it stands. Plan, answers of the eye and remarks belong to their visit.
 */
#include "plumbrule/exam.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A tooth of another pose, or a drill nearer to the film, is shown larger by a few percent (common
 * practice, no source); with the gauges' own uncertainty, beyond so many of it the size is wrong.
 */
static const double u_magnification = 0.025, other_drill_sds = 3.0;
/* The finder looks 15 px about a rough point; bone goes rather than comes. Apical of the old place,
 * px. */
static const double crest_tries_px[] = {0.0, 30.0, -30.0, 60.0};
/* A side traced anew lies within so many standard deviations of the carried one in the middle. */
static const double same_side_sds = 3.0;
/* Round the middle of the site tooth's CEJ, where a crown or nothing stands in the air, so far as a
 * part of its root's length: there the films must agree by at least so large a share of what they
 * do on the whole, else the tooth is gone. Over its root the bone before and behind it is seen,
 * which stays. */
static const double tooth_near = 0.3, tooth_stays = 0.5;
/* Same longer side in pixels and same scale within this: the same sensor, exported alike. */
static const double same_sensor = 0.05;

enum { LINE = 190 };
struct words {
    char text[LINE];
};

struct carry {
    const struct exam *old;
    struct exam *e;
    struct find_register lay;
    double old_mm_per_px, new_mm_per_px; /* the usual one when the old sheet has none */
    bool has_scale;
    double sum_u; /* of the marks carried so far, new px */
    size_t n;
    struct words carried, again, as_it_was, outside, dropped;
};

/* Once for several in a row of the same name; NULL: not worth a word. */
static void add_word(struct words *w, const char *word)
{
    size_t n = strlen(w->text), m = word != NULL ? strlen(word) : 0;
    if (m == 0 || (n >= m && strcmp(w->text + n - m, word) == 0))
        return;
    snprintf(w->text + n, sizeof w->text - n, "%s%s", n > 0 ? ", " : "", word);
}

static void add_side(struct words *w, enum sheet_side side, const char *what)
{
    char text[SHEET_NAME];
    snprintf(text, sizeof text, "%s %s", plumb_side_word[side], what);
    add_word(w, text);
}

static struct geo_point at_mark(const struct mark *m)
{
    return (struct geo_point){m->x, m->y};
}

/* --- marks ---------------------------------------------------------------------------------------
 */

static bool map_mark(struct carry *c, enum mark_kind kind, const struct mark *from, struct mark *to)
{
    const struct film *film = &c->e->film;
    double u, sd = from->sd > 0.0 ? from->sd : c->old->config.mark[kind].u_mm / c->old_mm_per_px;
    struct geo_point p = plumb_find_register_point(&c->lay, at_mark(from), &u);
    if (!(p.x >= 0.0 && p.y >= 0.0 && p.x <= (double)film->width - 1.0 &&
          p.y <= (double)film->height - 1.0))
        return false;
    *to = (struct mark){
        .set = true, .x = p.x, .y = p.y, .sd = hypot(sd * c->lay.scale, u), .by = MARK_CARRIED};
    c->sum_u += u;
    c->n++;
    return true;
}

/* Where the old sheet has one and the new one none; told by its name. */
static void carry_mark(struct carry *c, enum mark_kind kind, const struct mark *from,
                       struct mark *to, const char *name)
{
    if (!from->set || to->set)
        return;
    add_word(map_mark(c, kind, from, to) ? &c->carried : &c->outside, name);
}

/* The points of a path that the new film shows; none when they are fewer than two. */
static int carry_path(struct carry *c, enum mark_kind kind, const struct mark_path *from,
                      struct mark_path *to, const char *name, struct err *err)
{
    if (from->n == 0 || to->n > 0)
        return 0;
    struct mark *at = plumb_mem_array(from->n, sizeof *at, err);
    if (at == NULL)
        return ERR_NOMEM;
    size_t n = 0;
    for (size_t i = 0; i < from->n; i++)
        n += map_mark(c, kind, &from->at[i], &at[n]);
    if (n < from->n)
        add_word(&c->outside, n < 2 && name != NULL ? name : "part of a line");
    if (n < 2) {
        free(at);
        return 0;
    }
    *to = (struct mark_path){.at = at, .n = n};
    add_word(&c->carried, name);
    return 0;
}

static int carry_neighbour(struct carry *c, enum sheet_side side, struct err *err)
{
    static const char *const name[SIDES][4] = {
        {"mesial axis", "mesial CEJ", "mesial far CEJ", "mesial apex"},
        {"distal axis", "distal CEJ", "distal far CEJ", "distal apex"}};
    const struct sheet_neighbour *from = &c->old->sheet.side[side];
    struct sheet_neighbour *to = &c->e->sheet.side[side];
    to->tooth = from->tooth;
    for (int k = 0; k < 2; k++)
        carry_mark(c, KIND_ROOT_AXIS, &from->axis[k], &to->axis[k], name[side][0]);
    if (to->axis[0].set != to->axis[1].set) /* half an axis is none */
        to->axis[0] = to->axis[1] = (struct mark){0};
    carry_mark(c, KIND_CEJ, &from->cej, &to->cej, name[side][1]);
    carry_mark(c, KIND_CEJ, &from->cej_far, &to->cej_far, name[side][2]);
    carry_mark(c, KIND_APEX, &from->apex, &to->apex, name[side][3]);
    int rc = carry_path(c, KIND_ROOT_SIDE, &from->near, &to->near, NULL, err);
    if (rc == 0)
        rc = carry_path(c, KIND_ROOT_SIDE, &from->far, &to->far, NULL, err);
    return rc;
}

static bool has_bound(const struct sheet *s, const char *what)
{
    for (size_t i = 0; i < s->n_bounds; i++)
        if (strcmp(s->bound[i].what, what) == 0)
            return true;
    return false;
}

/* One of the same words that was stated anew stands. */
static int carry_bounds(struct carry *c, struct err *err)
{
    struct sheet *s = &c->e->sheet;
    int rc = 0;
    for (size_t i = 0; rc == 0 && i < c->old->sheet.n_bounds; i++) {
        const struct sheet_bound *from = &c->old->sheet.bound[i];
        if (s->n_bounds >= SHEET_BOUNDS || has_bound(s, from->what))
            continue;
        struct sheet_bound *to = &s->bound[s->n_bounds];
        *to = (struct sheet_bound){0};
        plumb_text_copy(to->what, sizeof to->what, from->what);
        rc = carry_path(c, KIND_BOUND, &from->path, &to->path, from->what, err);
        if (to->path.n > 0)
            s->n_bounds++;
    }
    return rc;
}

/* --- the site's tooth ----------------------------------------------------------------------------
 */

static bool has_site_tooth(const struct sheet_site_tooth *t)
{
    return t->axis[0].set || t->top.set || t->cej[MESIAL].set || t->cej[DISTAL].set ||
           t->apex.set || t->fracture[MESIAL].set || t->fracture[DISTAL].set;
}

/* Do the films agree where the tooth stood as well as elsewhere? Without CEJ and apex nothing
 * tells, and it counts as gone. */
static bool still_seen(const struct carry *c)
{
    const struct sheet_site_tooth *t = &c->old->sheet.site_tooth;
    const struct mark *a = t->cej[MESIAL].set ? &t->cej[MESIAL] : &t->cej[DISTAL];
    const struct mark *b = t->cej[DISTAL].set ? &t->cej[DISTAL] : &t->cej[MESIAL];
    if (!a->set || !t->apex.set)
        return false;
    struct geo_point middle = geo_mix(at_mark(a), at_mark(b), 0.5);
    double reach = tooth_near * geo_dist(middle, at_mark(&t->apex)), looked = 0.0, agree = 0.0;
    for (size_t i = 0; i < c->lay.n_places; i++) {
        if (geo_dist(c->lay.place[i].at, middle) > reach)
            continue;
        looked += 1.0;
        agree += c->lay.place[i].agrees;
    }
    double all = (double)c->lay.n_agree / (double)c->lay.n_places;
    return looked > 0.0 && agree / looked >= tooth_stays * all;
}

static void carry_site_tooth(struct carry *c, size_t n_pins, struct sheet_notes *say)
{
    static const char *const name[] = {"site CEJ", "site fracture"};
    const struct sheet_site_tooth *from = &c->old->sheet.site_tooth;
    struct sheet_site_tooth *to = &c->e->sheet.site_tooth;
    if (!has_site_tooth(from))
        return;
    const char *why = c->e->sheet.site.extracted[0] != '\0' ? "it was extracted"
                      : n_pins > 0                          ? "a pin stands there"
                      : !still_seen(c)                      ? "it is not seen there any more"
                                                            : NULL;
    if (why != NULL) {
        plumb_sheet_notes_add(say, "not carried: marks of the site's tooth: %s", why);
        return;
    }
    for (int i = 0; i < SIDES; i++) {
        carry_mark(c, KIND_ROOT_AXIS, &from->axis[i], &to->axis[i], "site axis");
        carry_mark(c, KIND_CEJ, &from->cej[i], &to->cej[i], name[0]);
        carry_mark(c, KIND_FRACTURE, &from->fracture[i], &to->fracture[i], name[1]);
    }
    carry_mark(c, KIND_TOP, &from->top, &to->top, "site top");
    carry_mark(c, KIND_APEX, &from->apex, &to->apex, "site apex");
}

/* --- what is found afresh ------------------------------------------------------------------------
 */

static double mark_dist(const struct mark *a, const struct mark *b)
{
    return geo_dist(at_mark(a), at_mark(b));
}

/* Does the gauge measure the pin itself? Its ends then lie on the axis or evenly beside it. */
static bool is_on_pin(const struct sheet *s, const struct sheet_gauge *g)
{
    struct geo_line axis;
    if (!g->end[0].set || !g->end[1].set || !s->pin.axis[0].set || !s->pin.axis[1].set ||
        plumb_geo_line_through(at_mark(&s->pin.axis[0]), at_mark(&s->pin.axis[1]), &axis, NULL) !=
            0)
        return false;
    double a = plumb_geo_across(&axis, at_mark(&g->end[0]));
    double b = plumb_geo_across(&axis, at_mark(&g->end[1]));
    double size = mark_dist(&g->end[0], &g->end[1]);
    return fabs(a + b) < (g->kind == GAUGE_ACROSS ? 0.5 : 0.2) * size;
}

static bool has_kind(const struct exam_gauge *list, size_t n, enum gauge_kind kind)
{
    for (size_t i = 0; i < n; i++)
        if (list[i].kind == kind)
            return true;
    return false;
}

static size_t kind_at(const struct sheet *s, enum gauge_kind kind)
{
    size_t i = 0;
    while (i < s->n_gauges && s->gauge[i].kind != kind)
        i++;
    return i;
}

static void drop_gauge(struct sheet *s, size_t i)
{
    memmove(&s->gauge[i], &s->gauge[i + 1], (--s->n_gauges - i) * sizeof s->gauge[0]);
}

/* What the old film's scale makes of the found pin; 0 when its ends are not found. */
static double size_by_old_scale(const struct carry *c, const struct sheet_gauge *g)
{
    if (!g->end[0].set || !g->end[1].set)
        return 0.0;
    return c->new_mm_per_px * mark_dist(&g->end[0], &g->end[1]);
}

/* Another drill than before stands there when the old scale makes it another size. */
static bool is_other_drill(const struct carry *c, const struct sheet_gauge *g)
{
    const struct meas_scale *k = &c->old->result.scale;
    double mm = size_by_old_scale(c, g);
    if (mm == 0.0 || !c->has_scale || k->from != SCALE_GAUGES)
        return false;
    double u = sqrt(pow(k->u / k->mm_per_px, 2.0) + u_magnification * u_magnification +
                    pow(g->end[0].sd / (mm / c->new_mm_per_px), 2.0) * 2.0);
    return fabs(log(mm / g->mm)) > other_drill_sds * u;
}

/* An old gauge's size on the pin that was found, with its name and the shape of its end. */
static void settle_gauge(struct carry *c, const struct sheet_gauge *from, struct sheet_notes *say)
{
    struct sheet *s = &c->e->sheet;
    size_t i = kind_at(s, from->kind);
    if (i == s->n_gauges)
        return;
    struct sheet_gauge *g = &s->gauge[i];
    memcpy(g->name, from->name, sizeof g->name);
    g->tip = from->tip;
    if (!g->end[0].set) {
        plumb_sheet_notes_add(
            say, "not carried: gauge %.60s: its ends are not found on the new film", g->name);
        drop_gauge(s, i);
    } else if (is_other_drill(c, g)) {
        plumb_sheet_notes_add(
            say,
            "not carried: gauge %.40s, %.2f mm: by the old film's scale it is %.2f mm now, "
            "another drill: state its size with --gauge %s=MM",
            g->name, g->mm, size_by_old_scale(c, g), g->kind == GAUGE_ACROSS ? "across" : "length");
        drop_gauge(s, i);
    } else {
        add_word(&c->again, g->name);
    }
}

/* A ball or bar beside the pin: its size goes over, its ends are for the hand. */
static void carry_other_gauges(struct carry *c)
{
    struct sheet *s = &c->e->sheet;
    for (size_t i = 0; i < c->old->sheet.n_gauges && s->n_gauges < SHEET_GAUGES; i++) {
        const struct sheet_gauge *from = &c->old->sheet.gauge[i];
        if (is_on_pin(&c->old->sheet, from) || kind_at(s, from->kind) < s->n_gauges)
            continue;
        struct sheet_gauge *g = &s->gauge[s->n_gauges++];
        *g = *from;
        g->end[0] = g->end[1] = (struct mark){0};
    }
}

/* The stated gauges, then the old ones on the pin of kinds not among them. */
static size_t gauges_wanted(const struct sheet *old, const struct exam_gauge *gauges, size_t n,
                            struct exam_gauge *want, const struct sheet_gauge **from)
{
    size_t all = n;
    if (n > 0)
        memcpy(want, gauges, n * sizeof *want);
    for (size_t i = 0; i < old->n_gauges && all < SHEET_GAUGES; i++) {
        const struct sheet_gauge *g = &old->gauge[i];
        if (!is_on_pin(old, g) || has_kind(want, all, g->kind))
            continue;
        from[all] = g;
        want[all++] = (struct exam_gauge){g->kind, g->mm, g->u_mm};
    }
    return all;
}

static void hint_pin(struct carry *c)
{
    const struct mark *tip = &c->old->sheet.pin.tip;
    if (c->e->has_pin_hint || !tip->set)
        return;
    double u;
    struct geo_point p = plumb_find_register_point(&c->lay, at_mark(tip), &u);
    c->e->has_pin_hint = true;
    c->e->pin_hint_x = p.x;
    c->e->pin_hint_y = p.y;
}

static int find_pin_again(struct carry *c, const struct exam_gauge *gauges, size_t n_gauges,
                          size_t *n_pins, struct sheet_notes *say, struct err *err)
{
    struct exam_gauge want[SHEET_GAUGES];
    const struct sheet_gauge *from[SHEET_GAUGES] = {0};
    size_t n = gauges_wanted(&c->old->sheet, gauges, n_gauges, want, from);
    hint_pin(c);
    int rc = plumb_exam_propose(c->e, want, n, n_pins, err);
    if (rc != 0)
        return rc;
    if (*n_pins > 0)
        add_word(&c->again, "pin");
    for (size_t i = n_gauges; i < n; i++)
        settle_gauge(c, from[i], say);
    carry_other_gauges(c);
    return 0;
}

/* --- root sides and crest ------------------------------------------------------------------------
 */

static struct geo_point *points_of(const struct mark_path *path, struct err *err)
{
    struct geo_point *p = plumb_mem_array(path->n, sizeof *p, err);
    for (size_t i = 0; p != NULL && i < path->n; i++)
        p[i] = at_mark(&path->at[i]);
    return p;
}

/* Two rough points on the root's middle. The far side of a molar's root begins below the furcation:
 * the root's half width there is laid off from the top of the near side. */
static bool clicks_on(const struct sheet_neighbour *nb, struct geo_point *crown,
                      struct geo_point *apex)
{
    if (nb->near.n < 2 || nb->far.n < 2)
        return false;
    struct geo_point top = at_mark(&nb->near.at[0]), end = at_mark(&nb->near.at[nb->near.n - 1]);
    struct geo_point far = at_mark(&nb->far.at[0]);
    *apex =
        nb->apex.set ? at_mark(&nb->apex) : geo_mix(end, at_mark(&nb->far.at[nb->far.n - 1]), 0.5);
    struct geo_line axis, abreast;
    if (plumb_geo_line_through(top, *apex, &axis, NULL) != 0)
        return false;
    abreast = (struct geo_line){.at = far, .dir = geo_perp(axis.dir)};
    struct geo_point beside = top, *near = points_of(&nb->near, NULL);
    if (near != NULL)
        plumb_geo_polyline_cross(near, nb->near.n, &abreast, 0.0, 0.0, &beside);
    free(near);
    double half = 0.5 * geo_dot(geo_sub(far, beside), abreast.dir);
    *crown = geo_add(top, geo_mul(abreast.dir, half));
    return true;
}

/* Median distance of the carried points from the new path, in their own standard deviations. */
static double sds_apart(const struct mark_path *carried, const struct mark_path *found)
{
    double apart = HUGE_VAL, *d = plumb_mem_array(carried->n, sizeof *d, NULL);
    struct geo_point *line = points_of(found, NULL);
    for (size_t i = 0; d != NULL && line != NULL && i < carried->n; i++)
        d[i] = plumb_geo_polyline_nearest(line, found->n, at_mark(&carried->at[i]), NULL, NULL) /
               carried->at[i].sd;
    if (d != NULL && line != NULL)
        apart = plumb_geo_median(d, carried->n);
    free(d);
    free(line);
    return apart;
}

/* Traces the sides anew from the carried ones, which come back when the trace runs elsewhere. */
static int trace_again(struct carry *c, enum sheet_side side, struct err *err)
{
    struct sheet_neighbour *nb = &c->e->sheet.side[side];
    struct sheet before = {0};
    struct geo_point crown, apex;
    struct err why;
    if (!clicks_on(nb, &crown, &apex)) {
        if (nb->near.n > 0 || nb->far.n > 0)
            add_side(&c->as_it_was, side, "root side");
        return 0;
    }
    int rc = plumb_sheet_copy(&c->e->sheet, &before, err);
    if (rc != 0)
        return rc;
    const struct sheet_neighbour *was = &before.side[side];
    bool traced =
        plumb_exam_propose_root(c->e, side, crown.x, crown.y, apex.x, apex.y, &why) == 0 &&
        sds_apart(&was->near, &nb->near) < same_side_sds &&
        sds_apart(&was->far, &nb->far) < same_side_sds;
    if (traced) {
        add_side(&c->again, side, "root sides");
        plumb_sheet_release(&before);
        return 0;
    }
    add_side(&c->as_it_was, side, "root sides");
    plumb_sheet_release(&c->e->sheet);
    c->e->sheet = before;
    return plumb_exam_measure(c->e, err);
}

static void find_crest_again(struct carry *c, enum sheet_side side)
{
    const struct mark *from = &c->old->sheet.side[side].crest;
    struct mark *to = &c->e->sheet.side[side].crest, rough;
    const struct meas_frame *f = &c->e->result.frame;
    struct err why;
    if (!from->set || to->set)
        return;
    if (!map_mark(c, KIND_CREST, from, &rough)) {
        add_side(&c->outside, side, "crest");
        return;
    }
    for (size_t i = 0; i < sizeof crest_tries_px / sizeof crest_tries_px[0]; i++) {
        double d = f->set ? crest_tries_px[i] : 0.0;
        if (plumb_exam_propose_crest(c->e, side, rough.x + d * f->ax, rough.y + d * f->ay, &why) ==
            0) {
            add_side(&c->again, side, "crest");
            return;
        }
    }
    *to = rough;
    add_side(&c->as_it_was, side, "crest");
}

/* --- the whole -----------------------------------------------------------------------------------
 */

static void take_site(struct carry *c)
{
    const struct sheet *old = &c->old->sheet;
    struct sheet *s = &c->e->sheet;
    struct sheet_site site = old->site, stated = s->site;
    site.age_years = stated.age_years;
    if (stated.extracted[0] != '\0')
        memcpy(site.extracted, stated.extracted, sizeof site.extracted);
    if (stated.grafted[0] != '\0')
        memcpy(site.grafted, stated.grafted, sizeof site.grafted);
    s->site = site;
    const struct film *a = &c->old->film, *b = &c->e->film;
    size_t side_a = a->width > a->height ? a->width : a->height;
    size_t side_b = b->width > b->height ? b->width : b->height;
    if (!(s->film.sensor_mm > 0.0) && side_a == side_b && fabs(c->lay.scale - 1.0) < same_sensor)
        s->film.sensor_mm = old->film.sensor_mm;
}

static void take_scale(struct carry *c)
{
    c->has_scale = c->old->result.scale.from != SCALE_NONE;
    c->old_mm_per_px = c->has_scale ? c->old->result.scale.mm_per_px : plumb_meas_usual_mm_per_px;
    c->new_mm_per_px = c->old_mm_per_px / c->lay.scale;
}

static void say_words(const struct words *w, const char *what, struct sheet_notes *say)
{
    if (w->text[0] != '\0')
        plumb_sheet_notes_add(say, "%s: %.*s", what, LINE - (int)strlen(what) - 3, w->text);
}

static void say_dropped(const struct carry *c, struct sheet_notes *say)
{
    const struct sheet *old = &c->old->sheet, *s = &c->e->sheet;
    const struct sheet_plan *p = &old->plan;
    if (p->set && !s->plan.set)
        plumb_sheet_notes_add(say, "not carried: the plan: state it with --plan %gx%g if it holds",
                              p->length_mm, p->diameter_mm);
    if (old->ridge.set && !s->ridge.set)
        plumb_sheet_notes_add(say, "not carried: the ridge's dip, which heals: place it by hand");
    if (old->film.sensor_mm > 0.0 && !(s->film.sensor_mm > 0.0))
        plumb_sheet_notes_add(say, "not carried: the sensor's size: another film size in pixels");
    if (old->site.age_years > 0.0 && !(s->site.age_years > 0.0))
        plumb_sheet_notes_add(say, "not carried: the age at the old film: state it with --age");
    if (old->remarks[0] != '\0' || old->observed.roots > 0 ||
        old->observed.facial_plate[0] != '\0' || old->observed.infection[0] != '\0' ||
        old->observed.primary_hold[0] != '\0' || old->observed.soft_tissue[0] != '\0')
        plumb_sheet_notes_add(say, "not carried: what was seen at the site, and remarks");
}

static void say_match(const struct carry *c, struct sheet_notes *say)
{
    double u = c->n > 0 ? c->sum_u / (double)c->n : c->lay.u_floor;
    char pitch[32] = "";
    if (!c->has_scale)
        snprintf(pitch, sizeof pitch, " (at %g mm a pixel)", plumb_meas_usual_mm_per_px);
    plumb_sheet_notes_add(
        say,
        "the films match: %zu of %zu places are found again; turned by %.1f\u00b0, %.2f times the "
        "size%s; carrying adds %.2f mm%s to a mark's standard uncertainty",
        c->lay.n_agree, c->lay.n_places, GEO_DEG_PER_RAD * c->lay.turn_rad, c->lay.scale,
        c->lay.turned_over ? ", tone turned over" : "", u * c->new_mm_per_px, pitch);
}

static bool is_one_film(const struct film *a, const struct film *b)
{
    return strcmp(a->sha256, b->sha256) == 0 && a->page == b->page;
}

static void say_dates(const struct carry *c, struct sheet_notes *say)
{
    const char *was = c->old->sheet.film.taken, *now = c->e->sheet.film.taken;
    if (was[0] != '\0' && now[0] != '\0' && plumb_date_days(was, now) < 0)
        plumb_sheet_notes_add(say,
                              "the new film is dated %s, before the old one of %s: check --taken, "
                              "or carry the other way",
                              now, was);
}

static int carry_all(struct carry *c, const struct exam_gauge *gauges, size_t n_gauges,
                     size_t *n_pins, struct sheet_notes *say, struct err *err)
{
    int rc = 0;
    take_scale(c);
    take_site(c);
    for (int i = 0; rc == 0 && i < SIDES; i++)
        rc = carry_neighbour(c, (enum sheet_side)i, err);
    if (rc == 0)
        rc = carry_bounds(c, err);
    if (rc == 0)
        say_match(c, say);
    if (rc == 0)
        rc = find_pin_again(c, gauges, n_gauges, n_pins, say, err);
    if (rc == 0)
        carry_site_tooth(c, *n_pins, say);
    for (int i = 0; rc == 0 && i < SIDES; i++)
        rc = trace_again(c, (enum sheet_side)i, err);
    for (int i = 0; rc == 0 && i < SIDES; i++)
        find_crest_again(c, (enum sheet_side)i);
    if (rc == 0) /* the pin's sides, now that mesial is known */
        rc = plumb_exam_propose(c->e, NULL, 0, n_pins, err);
    return rc;
}

int plumb_exam_carry(const struct exam *old, struct exam *e, const struct exam_gauge *gauges,
                     size_t n_gauges, size_t *n_pins, struct sheet_notes *say, struct err *err)
{
    struct carry c = {.old = old, .e = e};
    struct err why;
    *n_pins = 0;
    if (is_one_film(&old->film, &e->film))
        return plumb_err_set(err, ERR_FORMAT,
                             "is the film of the old sheet itself: name the new film");
    int rc = plumb_find_register(&old->film, &e->film, &c.lay, &why);
    if (rc != 0) /* the file is there: what is wrong is in the films */
        return plumb_err_set(err, rc == ERR_NOTFOUND ? ERR_FORMAT : rc, "%s", why.text);
    rc = carry_all(&c, gauges, n_gauges, n_pins, say, err);
    if (rc == 0) {
        say_dates(&c, say);
        say_words(&c.carried, "carried over, to be confirmed", say);
        say_words(&c.again, "found on the new film", say);
        say_words(&c.as_it_was, "carried as it was, for it is not seen: place it by hand", say);
        say_words(&c.outside, "outside the new film", say);
        say_dropped(&c, say);
    }
    plumb_find_register_release(&c.lay);
    return rc;
}
