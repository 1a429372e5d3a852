/*
 * The demo sheets against the films' own truth: every value that the generator knows lies within
 * the stated interval, widened to what ten such looks may miss. The truth comes from the
 * generator's geometry (fixtures/phantom_truth.c), which shares nothing with src/measure. Invented
 * data.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "plumbrule/exam.h"
#include "plumbrule/geometry.h"

static const char *const names[] = {"before-extraction", "first-drill", "second-drill", "grafted",
                                    "four-months"};
enum { FILMS = sizeof names / sizeof names[0] };

/* The demo's chord of the molar needs a CEJ that is off the film, so its axis is the mid-line; and
 * the truth's definitions of these differ by what the root bends. */
static double slack_deg(const char *id)
{
    return strncmp(id, "angle", 5) == 0 ? 2.0 : 0.0;
}

static void open_demo(const char *name, struct exam *e)
{
    char path[128];
    struct exam_options o;
    struct err err = {0};
    snprintf(path, sizeof path, "demo-images/%s.sheet.json", name);
    plumb_exam_options_default(&o);
    if (plumb_exam_open_sheet(path, &o, e, &err) != 0)
        fail_msg("%s: %s", path, err.text);
}

static json_t *truth_of(const char *name)
{
    char path[128];
    snprintf(path, sizeof path, "demo-images/%s.truth.json", name);
    json_t *doc = json_load_file(path, 0, NULL);
    assert_non_null(doc);
    return doc;
}

static void values_hold_the_truth(void **state)
{
    (void)state;
    int checked = 0;
    for (int i = 0; i < FILMS; i++) {
        struct exam e;
        open_demo(names[i], &e);
        json_t *doc = truth_of(names[i]), *values = json_object_get(doc, "values"), *v;
        const char *id;
        json_object_foreach(values, id, v)
        {
            const struct meas_quantity *q = plumb_meas_find(&e.result, id);
            double truth = json_number_value(json_object_get(v, "film"));
            if (q == NULL || q->below_only)
                continue;
            double lo = q->v.value - 3.0 * q->v.u, hi = q->v.value + 3.0 * q->v.u;
            if (truth < fmin(lo, q->v.lo) - slack_deg(id) ||
                truth > fmax(hi, q->v.hi) + slack_deg(id))
                fail_msg("%s, %s: %.3f, u %.3f, true %.3f", names[i], id, q->v.value, q->v.u,
                         truth);
            checked++;
        }
        json_decref(doc);
        plumb_exam_release(&e);
    }
    assert_true(checked >= 50);
}

/* --- what follows from the truth's points -------------------------------------------------------
 * The generator's list of values holds the basic ones; the others are worked out here from its
 * points by plain vectors, with the distances by sampling, not by the library's geometry.
 */

static struct geo_point point_of(const json_t *p)
{
    return (struct geo_point){json_number_value(json_object_get(p, "x")),
                              json_number_value(json_object_get(p, "y"))};
}

static struct geo_point point_at(const json_t *doc, const char *part, const char *name)
{
    return point_of(json_object_get(json_object_get(doc, part), name));
}

enum { CURVE_MOST = 64 };
struct curve {
    struct geo_point at[CURVE_MOST];
    size_t n;
};

static void curve_of(const json_t *list, struct curve *out)
{
    out->n = json_array_size(list);
    assert_true(out->n >= 2 && out->n <= CURVE_MOST);
    for (size_t i = 0; i < out->n; i++)
        out->at[i] = point_of(json_array_get(list, i));
}

/* Smallest distance of the piece a-b from the curve, by 300 times 300 points. */
static double apart(struct geo_point a, struct geo_point b, const struct curve *c)
{
    const int steps = 300;
    double best = HUGE_VAL;
    for (int i = 0; i <= steps; i++)
        for (int k = 0; k <= steps; k++) {
            double t = (double)k / steps * (double)(c->n - 1);
            size_t j = t >= (double)(c->n - 1) ? c->n - 2 : (size_t)t;
            struct geo_point on = geo_mix(c->at[j], c->at[j + 1], t - (double)j);
            best = fmin(best, geo_dist(geo_mix(a, b, (double)i / steps), on));
        }
    return best;
}

/* Where the curve has so much along dir; the first such place. */
static struct geo_point at_level(const struct curve *c, struct geo_point dir, double level)
{
    for (size_t i = 0; i + 1 < c->n; i++) {
        double p = geo_dot(c->at[i], dir) - level, q = geo_dot(c->at[i + 1], dir) - level;
        if (p * q <= 0.0 && p != q)
            return geo_mix(c->at[i], c->at[i + 1], p / (p - q));
    }
    fail_msg("a side does not reach the level");
    return (struct geo_point){0};
}

struct world {
    const json_t *doc;
    const struct sheet *sheet;
    double k;
    struct geo_point a, m; /* apical, mesial */
    struct curve near[SIDES], bound;
    struct geo_point crest[SIDES], tip, shoulder;
    struct geo_point plan, plan_dir, plan_tip; /* platform, direction, end */
};

static struct geo_point chord_dir(const json_t *doc, const char *part)
{
    struct curve chord;
    curve_of(json_object_get(json_object_get(doc, part), "chord"), &chord);
    return geo_unit(geo_sub(chord.at[1], chord.at[0]));
}

static double crest_level(const struct world *w, struct geo_point dir)
{
    return 0.5 * (geo_dot(w->crest[MESIAL], dir) + geo_dot(w->crest[DISTAL], dir));
}

static void make_world(const json_t *doc, const struct sheet *sheet, struct world *w)
{
    static const char *const part[SIDES] = {"mesial", "distal"};
    *w = (struct world){.doc = doc, .sheet = sheet};
    w->k = json_number_value(json_object_get(doc, "mm_per_px"));
    w->a = geo_unit(geo_add(chord_dir(doc, "mesial"), chord_dir(doc, "distal")));
    for (int i = 0; i < SIDES; i++) {
        curve_of(json_object_get(json_object_get(doc, part[i]), "near"), &w->near[i]);
        w->crest[i] = point_at(doc, part[i], "crest");
    }
    w->m = geo_perp(w->a);
    if (geo_dot(w->m, geo_sub(w->crest[MESIAL], w->crest[DISTAL])) < 0.0)
        w->m = geo_mul(w->m, -1.0);
    curve_of(json_object_get(doc, "bound"), &w->bound);
    w->tip = point_at(doc, "pin", "tip");
    w->shoulder = point_at(doc, "pin", "shoulder");
    bool on_pin = sheet->plan.on == PLAN_ON_PIN;
    double level = crest_level(w, w->a);
    w->plan = on_pin ? w->shoulder
                     : geo_mix(at_level(&w->near[MESIAL], w->a, level),
                               at_level(&w->near[DISTAL], w->a, level), 0.5);
    w->plan_dir = on_pin ? geo_unit(geo_sub(w->tip, w->shoulder)) : w->a;
    w->plan_tip = geo_add(w->plan, geo_mul(w->plan_dir, sheet->plan.length_mm / w->k));
}

static double value_in(const struct world *w, const char *stem, const char *side)
{
    char id[MEAS_ID];
    snprintf(id, sizeof id, "%s.%s", stem, side);
    const json_t *v = json_object_get(json_object_get(w->doc, "values"), id);
    return v ? json_number_value(json_object_get(v, "film")) : (double)NAN;
}

static double plan_gap(const struct world *w, int side, double width_mm)
{
    struct geo_point out = geo_perp(w->plan_dir);
    if ((geo_dot(out, w->m) > 0.0) != (side == MESIAL))
        out = geo_mul(out, -1.0);
    out = geo_mul(out, 0.5 * width_mm / w->k);
    return w->k * apart(geo_add(w->plan, out), geo_add(w->plan_tip, out), &w->near[side]);
}

/* Crown to root of the site's tooth, parted at a level; the cusp is where the sheet has it. */
static double crown_to_root(const struct world *w, bool at_crest)
{
    struct geo_point cej = geo_mix(point_at(w->doc, "site_tooth", "cej"),
                                   point_at(w->doc, "site_tooth", "cej_far"), 0.5);
    struct geo_point apex = point_at(w->doc, "site_tooth", "apex");
    struct geo_point top = {w->sheet->site_tooth.top.x, w->sheet->site_tooth.top.y};
    struct geo_point dir = geo_unit(geo_sub(apex, cej));
    double level = at_crest ? crest_level(w, dir) : geo_dot(cej, dir);
    return (level - geo_dot(top, dir)) / (geo_dot(apex, dir) - level);
}

static double space_below(const struct world *w, double below_mm)
{
    double level = crest_level(w, w->a) + below_mm / w->k;
    return w->k * geo_dot(geo_sub(at_level(&w->near[MESIAL], w->a, level),
                                  at_level(&w->near[DISTAL], w->a, level)),
                          w->m);
}

/* From the plan's end straight on to the bound, mm. */
static double plan_to_bound(const struct world *w)
{
    struct geo_point across = geo_perp(w->plan_dir);
    struct geo_point hit = at_level(&w->bound, across, geo_dot(w->plan_tip, across));
    return w->k * geo_dot(geo_sub(hit, w->plan_tip), w->plan_dir);
}

static double of_side(const struct world *w, const char *stem, int side)
{
    static const char *const word[SIDES] = {"mesial", "distal"};
    const double healthy = 2.0;
    double below = value_in(w, "cej_crest", word[side]);
    double root = value_in(w, "root_length", word[side]);
    double loss = fmax(below - healthy, 0.0);
    if (strcmp(stem, "loss") == 0)
        return loss;
    if (strcmp(stem, "loss_pct") == 0)
        return 100.0 * loss / (root - healthy);
    if (strcmp(stem, "loss_age") == 0)
        return 100.0 * loss / (root - healthy) / w->sheet->site.age_years;
    if (strcmp(stem, "rbl_pct") == 0)
        return 100.0 * below / root;
    if (strcmp(stem, "sound") == 0)
        return -value_in(w, "fracture", word[side]);
    if (strcmp(stem, "plan.clearance") == 0)
        return plan_gap(w, side, w->sheet->plan.diameter_mm);
    if (strcmp(stem, "plan.depth") == 0)
        return w->k * geo_dot(geo_sub(w->plan_tip, w->crest[side]), w->plan_dir);
    return (double)NAN;
}

/* NaN: not among those that follow. */
static double derived(const struct world *w, const char *id)
{
    const double kept_mm = 1.5; /* on either side of the planned cylinder */
    const char *last = strrchr(id, '.');
    char stem[MEAS_ID];
    snprintf(stem, sizeof stem, "%.*s", last ? (int)(last - id) : 0, id);
    if (last != NULL && strcmp(last, ".mesial") == 0)
        return of_side(w, stem, MESIAL);
    if (last != NULL && strcmp(last, ".distal") == 0)
        return of_side(w, stem, DISTAL);
    if (strcmp(id, "scale") == 0)
        return w->k;
    if (strcmp(id, "turn.shoulder") == 0)
        return w->k * geo_dot(geo_sub(w->tip, w->shoulder), w->m);
    if (strcmp(id, "space.apical") == 0)
        return space_below(w, w->sheet->plan.length_mm);
    if (strcmp(id, "ratio.anatomic") == 0)
        return crown_to_root(w, false);
    if (strcmp(id, "ratio.clinical") == 0)
        return crown_to_root(w, true);
    if (strcmp(id, "plan.widest") == 0)
        return 2.0 * (fmin(plan_gap(w, MESIAL, 0.0), plan_gap(w, DISTAL, 0.0)) - kept_mm);
    if (strcmp(id, "plan.bound.1") == 0)
        return w->k * apart(w->plan_tip, w->plan_tip, &w->bound);
    if (strcmp(id, "plan.bound_axis.1") == 0)
        return plan_to_bound(w);
    return (double)NAN;
}

/* Every quantity of every demo sheet has a truth, and its interval, widened as above, holds it. */
static void no_value_without_a_truth(void **state)
{
    (void)state;
    for (int i = 0; i < FILMS; i++) {
        struct exam e;
        struct world w;
        open_demo(names[i], &e);
        json_t *doc = truth_of(names[i]), *values = json_object_get(doc, "values");
        make_world(doc, &e.sheet, &w);
        for (size_t j = 0; j < e.result.n_quantities; j++) {
            const struct meas_quantity *q = &e.result.quantity[j];
            if (json_object_get(values, q->id) != NULL)
                continue;
            double truth =
                strcmp(q->id, "tilt") == 0
                    ? json_number_value(json_object_get(json_object_get(doc, "pin"), "lean_deg"))
                    : derived(&w, q->id);
            double room = 3.0 * q->v.u;
            if (!(truth >= fmin(q->v.lo, q->v.value - room) &&
                  truth <= fmax(q->v.hi, q->v.value + room)))
                fail_msg("%s, %s: %.3f, u %.3f, true %.3f", names[i], q->id, q->v.value, q->v.u,
                         truth);
        }
        json_decref(doc);
        plumb_exam_release(&e);
    }
}

/* Each step of the job asks for its own quantities; each sheet answers them. */
static void every_step_is_answered(void **state)
{
    (void)state;
    static const char *const wanted[FILMS][6] = {
        {"fracture.mesial", "root_length.site", "space.crest", "beyond_apex", "plan.widest", NULL},
        {"angle.mean", "clearance.distal", "level.mesial", "depth.distal", "bound.1", NULL},
        {"angle.mesial", "plan.clearance.mesial", "turn.shoulder", "tilt", "bound_axis.1", NULL},
        {"cej_crest.mesial", "loss.distal", "space.crest", NULL},
        {"cej_crest.mesial", "loss_pct.mesial", "space.apical", "plan.bound.1", NULL},
    };
    for (int i = 0; i < FILMS; i++) {
        struct exam e;
        open_demo(names[i], &e);
        for (int j = 0; wanted[i][j] != NULL; j++)
            if (plumb_meas_find(&e.result, wanted[i][j]) == NULL)
                fail_msg("%s has no %s", names[i], wanted[i][j]);
        plumb_exam_release(&e);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(values_hold_the_truth),
        cmocka_unit_test(no_value_without_a_truth),
        cmocka_unit_test(every_step_is_answered),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
