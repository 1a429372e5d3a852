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
        cmocka_unit_test(every_step_is_answered),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
