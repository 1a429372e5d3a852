/*
 * The second coverage study: a phantom film, measured as a person would do it. The pin, its sides
 * and the gauges on it come from the finder; the roots from two rough clicks, the crests from one;
 * CEJ, apex and bound from a hand that scatters as the defaults say; the gauges' sizes are wrong as
 * the defaults say. The truth is what the film shows, with the scale in the pin's plane
 * (phantom_truth_seen). The axis of a root is had in three ways by turns: CEJ marks on both sides;
 * one CEJ mark and the traced sides; traced sides alone.
 *
 * A film whose pin is not found right is counted and left out: whoever confirms the marks sees it.
 */
#include "tests/support/coverage.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fixtures/phantom_internal.h"
#include "fixtures/phantom_sheet.h"
#include "plumbrule/exam.h"

static const double deg = 180.0 / 3.14159265358979323846;
/* Reach of the clicks, px: what the finders promise to put right. */
static const double root_off_px = 10.0, crest_off_px = 15.0;

/* How far pins lean and beams are out of square in each style: even within the bounds of
 * fixtures/phantom_style.c, so their standard deviation is the bound over the root of 3. Up and
 * down the beams are off by more than sideways, which is stated: squares of what is spread evenly
 * spread less than a normal's. */
const struct coverage_stated coverage_stated[] = {
    [PHANTOM_EASY] = {3.5, 1.2}, [PHANTOM_TYPICAL] = {4.9, 1.9}, [PHANTOM_HARD] = {10.4, 5.8}};

enum way { BOTH_CEJ, ONE_CEJ, SIDES_ALONE, WAYS };

struct study {
    struct exam e;
    struct phantom_truth truth;
    struct ph_rng rng;
    enum way way;
    enum phantom_style style;
    struct exam_gauge gauge[2];
    size_t n_gauges;
    uint64_t seed;
    double tell_z;
    struct coverage_films *out;
};

static struct geo_point scatter(struct study *s, struct geo_point p, double reach)
{
    double turn = ph_rng_uniform(&s->rng, 0.0, 2.0 * 3.14159265358979323846);
    double off = reach * sqrt(ph_rng_uniform(&s->rng, 0.0, 1.0));
    return (struct geo_point){p.x + off * cos(turn), p.y + off * sin(turn)};
}

static bool on_film(const struct study *s, struct geo_point p)
{
    return p.x >= 2.0 && p.y >= 2.0 && p.x <= (double)s->truth.width - 3.0 &&
           p.y <= (double)s->truth.height - 3.0;
}

/* A tooth in whose quadrant mesial lies as it does in this film. */
static int tooth_for(const struct phantom_truth *t)
{
    struct geo_point mesial = geo_sub(t->mesial.cej_near, t->distal.cej_near);
    double turn = geo_dot(geo_perp(t->apical), mesial);
    return turn * plumb_tooth_mesial_turn(35) > 0.0 ? 35 : 45;
}

/* --- what the hand does ------------------------------------------------------------------------
 */

static void drop_path(struct mark_path *p)
{
    free(p->at);
    *p = (struct mark_path){0};
}

/* Leaves of a hand's whole sheet what the finders do not give. */
static void keep_hand_marks(struct study *s)
{
    struct sheet *sheet = &s->e.sheet;
    sheet->pin = (struct sheet_pin){0};
    sheet->n_gauges = 0;
    for (int i = 0; i < SIDES; i++) {
        struct sheet_neighbour *nb = &sheet->side[i];
        drop_path(&nb->near);
        drop_path(&nb->far);
        nb->crest = (struct mark){0};
        if (s->way != BOTH_CEJ)
            nb->cej_far = (struct mark){0};
        if (s->way == SIDES_ALONE)
            nb->cej = nb->apex = (struct mark){0};
    }
}

static double stated(struct study *s, double mm)
{
    return mm + s->e.config.gauge_size.u_mm * (double)ph_rng_noise(&s->rng);
}

static void state_gauges(struct study *s)
{
    const struct phantom_pin_truth *p = &s->truth.pin;
    s->gauge[s->n_gauges++] =
        (struct exam_gauge){.kind = GAUGE_ACROSS, .mm = stated(s, p->diameter_mm)};
    if (p->has_shoulder)
        s->gauge[s->n_gauges++] =
            (struct exam_gauge){.kind = GAUGE_LENGTH, .mm = stated(s, p->length_mm)};
}

static int open_film(struct study *s, const struct phantom *ph, struct err *err)
{
    int rc = plumb_meas_config_default(&s->e.config, err);
    s->e.config.lean.u_mm = coverage_stated[s->style].lean_deg;
    s->e.config.beam.u_mm = coverage_stated[s->style].beam_deg;
    struct phantom_hand hand = {
        .config = &s->e.config, .scatter = 1.0, .seed = s->seed, .bounds = true};
    if (rc == 0)
        rc = phantom_to_film(ph, &s->e.film, err);
    if (rc == 0)
        rc = phantom_sheet(&s->truth, tooth_for(&s->truth), &hand, &s->e.sheet, err);
    if (rc != 0)
        return rc;
    keep_hand_marks(s);
    state_gauges(s);
    return plumb_exam_measure(&s->e, err);
}

/* --- what the finders do -----------------------------------------------------------------------
 */

static double across(const struct geo_point axis[2], struct geo_point p)
{
    return geo_cross(geo_unit(geo_sub(axis[1], axis[0])), geo_sub(p, axis[0]));
}

static struct geo_point spot(const struct mark *m)
{
    return (struct geo_point){m->x, m->y};
}

static double flanks_apart(const struct sheet_pin *p)
{
    return geo_dist(geo_mix(spot(&p->side[MESIAL][0]), spot(&p->side[MESIAL][1]), 0.5),
                    geo_mix(spot(&p->side[DISTAL][0]), spot(&p->side[DISTAL][1]), 0.5));
}

/* Axis, width and tip within what a glance at the film would pass. */
static bool pin_is_right(const struct study *s)
{
    const struct phantom_pin_truth *t = &s->truth.pin;
    const struct sheet_pin *p = &s->e.sheet.pin;
    struct geo_point dir = geo_unit(geo_sub(spot(&p->axis[1]), spot(&p->axis[0])));
    struct geo_point mid = geo_mix(spot(&p->axis[0]), spot(&p->axis[1]), 0.5);
    return geo_dot(dir, geo_unit(geo_sub(t->axis[1], t->axis[0]))) > cos(2.0 / deg) &&
           fabs(across(t->axis, mid)) < 0.15 * t->width_px &&
           fabs(flanks_apart(p) - t->width_px) < 0.15 * t->width_px &&
           geo_dist(spot(&p->tip), t->tip) < 0.6 * t->width_px;
}

/* A shoulder or stop at another place than the true one, or where there is none, is taken away. */
static bool drop_if_wrong(struct mark *m, bool there, struct geo_point truth, double width)
{
    bool wrong = m->set && (!there || geo_dist(spot(m), truth) > 0.6 * width);
    if (wrong)
        *m = (struct mark){0};
    return wrong;
}

static void check_ends(struct study *s)
{
    const struct phantom_pin_truth *t = &s->truth.pin;
    struct sheet *sheet = &s->e.sheet;
    bool wrong = drop_if_wrong(&sheet->pin.shoulder, t->has_shoulder, t->shoulder, t->width_px);
    if (wrong)
        for (size_t i = 0; i < sheet->n_gauges; i++)
            if (sheet->gauge[i].kind == GAUGE_LENGTH)
                sheet->gauge[i].end[0] = sheet->gauge[i].end[1] = (struct mark){0};
    wrong = drop_if_wrong(&sheet->pin.stop, t->has_stop, t->stop, t->width_px) || wrong;
    s->out->wrong_shoulder += wrong;
}

static void propose_side(struct study *s, enum sheet_side side)
{
    const struct phantom_tooth_truth *t = side == MESIAL ? &s->truth.mesial : &s->truth.distal;
    struct geo_point crown = scatter(s, t->chord[0], root_off_px);
    struct geo_point apex = scatter(s, t->apex, root_off_px);
    struct geo_point crest = scatter(s, t->crest, crest_off_px);
    struct err why;
    if (on_film(s, crown) && on_film(s, apex)) {
        s->out->roots++;
        s->out->roots_refused +=
            plumb_exam_propose_root(&s->e, side, crown.x, crown.y, apex.x, apex.y, &why) != 0;
    }
    if (!t->crest_hidden && on_film(s, crest)) {
        s->out->crests++;
        s->out->crests_refused +=
            plumb_exam_propose_crest(&s->e, side, crest.x, crest.y, &why) != 0;
    }
}

/* right: false when the film has to be left out. */
static int propose(struct study *s, bool *right, struct err *err)
{
    size_t n_pins = 0;
    int rc = plumb_exam_propose(&s->e, s->gauge, s->n_gauges, &n_pins, err);
    s->out->films++;
    *right = rc == 0 && n_pins > 0 && pin_is_right(s);
    s->out->no_pin += rc == 0 && n_pins == 0;
    s->out->wrong_pin += rc == 0 && n_pins > 0 && !*right;
    if (!*right)
        return rc;
    propose_side(s, MESIAL);
    propose_side(s, DISTAL);
    rc = plumb_exam_propose(&s->e, NULL, 0, &n_pins, err); /* the sides, now mesial is known */
    check_ends(s);
    return rc != 0 ? rc : plumb_exam_measure(&s->e, err);
}

/* --- against the truth -------------------------------------------------------------------------
 */

static void compare(struct study *s, const char *id, const char *name, double truth)
{
    const struct meas_quantity *q = plumb_meas_find(&s->e.result, id);
    if (q == NULL || isnan(truth))
        return;
    coverage_count(&s->out->c, name, q, truth);
    if (!q->below_only && fabs(q->v.value - truth) > s->tell_z * q->v.u)
        printf("  seed %llu: %s %.5g, true %.5g, u %.2g %s, z %.2f\n", (unsigned long long)s->seed,
               name, q->v.value, truth, q->v.u, q->unit, (q->v.value - truth) / q->v.u);
}

static double film_value(const struct study *s, const char *id)
{
    const struct phantom_value *v = phantom_value_of(&s->truth, id);
    return v ? v->film : (double)NAN;
}

/* Which axis was measured against: said in the note. */
static bool by_midline(const struct study *s, enum sheet_side side)
{
    const struct meas_quantity *q =
        plumb_meas_find(&s->e.result, side == MESIAL ? "angle.mesial" : "angle.distal");
    return q != NULL && strstr(q->note, "root axis: mid-line") != NULL;
}

static struct geo_point root_direction(const struct study *s, enum sheet_side side)
{
    const struct phantom_tooth_truth *t = side == MESIAL ? &s->truth.mesial : &s->truth.distal;
    const struct geo_point *l = by_midline(s, side) ? t->midline : t->chord;
    return geo_unit(geo_sub(l[1], l[0]));
}

static double lean(struct geo_point d, struct geo_point r, struct geo_point m)
{
    double across = geo_dot(m, geo_perp(r)) > 0.0 ? geo_cross(r, d) : geo_cross(d, r);
    return deg * atan2(across, geo_dot(d, r));
}

/* Angles by the kind of axis that was taken; the tag tells it in the table. */
static void compare_angles(struct study *s)
{
    static const char *const tag[WAYS] = {"", ", by sides", ", mid-line"};
    const struct geo_point *axis = s->truth.pin.axis;
    struct geo_point pin = geo_unit(geo_sub(axis[1], axis[0]));
    struct geo_point r[SIDES] = {root_direction(s, MESIAL), root_direction(s, DISTAL)};
    struct geo_point m = geo_sub(s->truth.mesial.cej_near, s->truth.distal.cej_near);
    char name[MEAS_ID];
    for (int i = 0; i < SIDES; i++) {
        enum way way = by_midline(s, (enum sheet_side)i) ? SIDES_ALONE : s->way;
        const char *id = i == MESIAL ? "angle.mesial" : "angle.distal";
        snprintf(name, sizeof name, "%s%s", id, tag[way]);
        compare(s, id, name, lean(pin, r[i], m));
    }
    enum way way = by_midline(s, MESIAL) && by_midline(s, DISTAL) ? SIDES_ALONE : s->way;
    if (way == SIDES_ALONE || !(by_midline(s, MESIAL) || by_midline(s, DISTAL))) {
        snprintf(name, sizeof name, "angle.mean%s", tag[way]);
        compare(s, "angle.mean", name, lean(pin, geo_unit(geo_add(r[0], r[1])), m));
        snprintf(name, sizeof name, "angle.roots%s", tag[way]);
        compare(s, "angle.roots", name, lean(r[DISTAL], r[MESIAL], m));
    }
}

static void compare_losses(struct study *s, const char *side)
{
    char id[4][MEAS_ID];
    static const char *const stem[] = {"cej_crest", "root_length", "loss", "loss_pct"};
    for (int i = 0; i < 4; i++)
        snprintf(id[i], MEAS_ID, "%s.%s", stem[i], side);
    double healthy = s->e.config.healthy_mm, gap = film_value(s, id[0]);
    double root = film_value(s, id[1]), loss = fmax(gap - healthy, 0.0);
    compare(s, id[2], id[2], loss);
    compare(s, id[3], id[3], 100.0 * loss / (root - healthy));
    snprintf(id[0], MEAS_ID, "rbl_pct.%s", side);
    compare(s, id[0], id[0], 100.0 * gap / root);
}

/* The near side's true points from the level on where the marked one begins; how many. */
static size_t marked_stretch(const struct study *s, enum sheet_side side, struct geo_point *out)
{
    const struct phantom_tooth_truth *t = side == MESIAL ? &s->truth.mesial : &s->truth.distal;
    const struct mark_path *near = &s->e.sheet.side[side].near;
    struct geo_point apical = geo_unit(geo_sub(t->chord[1], t->chord[0]));
    double level = near->n > 0 ? geo_dot(spot(&near->at[0]), apical) : 0.0, before = 0.0;
    size_t n = 0;
    for (size_t i = 0; i < PHANTOM_SIDE; i++) {
        double at = geo_dot(t->near[i], apical);
        if (at > level && i > 0 && n == 0)
            out[n++] = geo_mix(t->near[i - 1], t->near[i], (level - before) / (at - before));
        if (at > level)
            out[n++] = t->near[i];
        before = at;
    }
    return n;
}

/* What there is of the side above its first mark is not measured, and said not to be. */
static double true_clearance(const struct study *s, enum sheet_side side, const char *id)
{
    struct geo_point near[PHANTOM_SIDE + 1];
    const struct phantom_pin_truth *p = &s->truth.pin;
    double over = film_value(s, id);
    if (!(over >= 0.0))
        return over;
    struct geo_point d = geo_sub(p->axis[1], p->axis[0]);
    struct geo_point m = geo_sub(s->truth.mesial.cej_near, s->truth.distal.cej_near);
    bool first = (geo_dot(geo_perp(d), m) > 0.0) == (side == MESIAL);
    const struct geo_point *flank = p->flank[first ? 0 : 1];
    size_t n = marked_stretch(s, side, near);
    return s->truth.mm_per_px * plumb_geo_polyline_segment(near, n, flank[0], flank[1], NULL, NULL);
}

static void compare_clearances(struct study *s)
{
    static const char *const id[SIDES] = {"clearance.mesial", "clearance.distal"};
    for (int i = 0; i < SIDES; i++)
        compare(s, id[i], id[i], true_clearance(s, (enum sheet_side)i, id[i]));
}

/* The pin's lean as the film shows it: an oblique beam leans it as well. */
static void compare_scale(struct study *s)
{
    const struct phantom_pin_truth *p = &s->truth.pin;
    double ratio = geo_dist(p->tip, p->axis[0]) * s->truth.mm_per_px / p->length_mm;
    compare(s, "scale", "scale", s->truth.mm_per_px);
    if (!p->has_shoulder)
        return;
    const struct meas_quantity *q = plumb_meas_find(&s->e.result, "tilt");
    compare(s, "tilt", q != NULL && q->below_only ? "tilt, bound" : "tilt",
            deg * acos(fmin(ratio, 1.0)));
    static const char *const stem[] = {"level", "stop", "depth"};
    for (size_t i = 0; i < 6; i++) {
        char id[MEAS_ID], corrected[2 * MEAS_ID];
        snprintf(id, sizeof id, "%s.%s", stem[i / 2], i % 2 == 0 ? "mesial" : "distal");
        snprintf(corrected, sizeof corrected, "%.20s.corrected", id);
        compare(s, corrected, corrected, film_value(s, id) / fmin(ratio, 1.0));
    }
}

static void compare_all(struct study *s)
{
    compare_scale(s);
    compare_angles(s);
    compare_clearances(s);
    for (size_t i = 0; i < s->truth.n_values; i++) {
        const struct phantom_value *v = &s->truth.value[i];
        if (strncmp(v->id, "angle", 5) != 0 && strncmp(v->id, "clearance", 9) != 0)
            compare(s, v->id, v->id, v->film);
    }
    compare_losses(s, "mesial");
    compare_losses(s, "distal");
    struct geo_point way = geo_sub(s->truth.pin.tip, s->truth.pin.shoulder);
    struct geo_point a = geo_unit(geo_add(root_direction(s, MESIAL), root_direction(s, DISTAL)));
    struct geo_point m = geo_perp(a);
    struct geo_point mesial = geo_sub(s->truth.mesial.cej_near, s->truth.distal.cej_near);
    double turn = s->truth.mm_per_px * geo_dot(way, m) * (geo_dot(m, mesial) > 0.0 ? 1.0 : -1.0);
    compare(s, "turn.shoulder", "turn.shoulder", turn);
}

int coverage_film(enum phantom_style style, uint64_t seed, double tell_z,
                  struct coverage_films *out, struct err *err)
{
    struct phantom_params p;
    struct phantom ph = {0};
    bool right = false;
    struct study *s = plumb_mem_array(1, sizeof *s, err);
    if (s == NULL)
        return ERR_NOMEM;
    *s = (struct study){
        .way = (enum way)(seed % WAYS), .style = style, .seed = seed, .tell_z = tell_z, .out = out};
    ph_rng_seed(&s->rng, seed + 977);
    phantom_params_style(style, seed, true, &p);
    phantom_truth_seen(&p, &s->truth);
    plumb_sheet_init(&s->e.sheet);
    int rc = 0;
    if (s->truth.n_values == 0) /* an implant stands for a neighbour */
        goto out;
    rc = phantom_draw(&p, &ph, err);
    if (rc == 0)
        rc = open_film(s, &ph, err);
    if (rc == 0)
        rc = propose(s, &right, err);
    if (rc == 0 && right)
        compare_all(s);
out:
    phantom_release(&ph);
    plumb_exam_release(&s->e);
    free(s);
    return rc;
}

void coverage_films_add(struct coverage_films *to, const struct coverage_films *from)
{
    coverage_add(&to->c, &from->c);
    to->films += from->films;
    to->no_pin += from->no_pin;
    to->wrong_pin += from->wrong_pin;
    to->wrong_shoulder += from->wrong_shoulder;
    to->roots += from->roots;
    to->roots_refused += from->roots_refused;
    to->crests += from->crests;
    to->crests_refused += from->crests_refused;
}
