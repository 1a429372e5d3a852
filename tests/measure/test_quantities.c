/*
 * Every quantity of the table against plain trigonometry in millimetres (tests/support/site.h), for
 * films turned, mirrored with the matching tooth, and at other scales: nothing may change.
 * Source of the definitions: the table of quantities in DEVELOPERS.md; the expected values are
 * geometry, worked out here.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "plumbrule/measure.h"
#include "tests/support/site.h"

static const double rad = 3.14159265358979323846 / 180.0;

static struct meas_config config;

static int load_config(void **state)
{
    (void)state;
    struct err err = {0};
    if (plumb_meas_config_default(&config, &err) == 0)
        return 0;
    print_error("%s\n", err.text);
    return -1;
}

static void measure(const struct sheet *s, struct meas_result *out)
{
    struct meas_film film = {.width = 3000, .height = 3000};
    struct err err = {0};
    if (plumb_meas_run(s, &film, &config, out, &err) != 0)
        fail_msg("%s", err.text);
}

static double value(const struct meas_result *r, const char *id)
{
    const struct meas_quantity *q = plumb_meas_find(r, id);
    return q ? q->v.value : (double)NAN;
}

static void check_placing(const struct site *s, const struct placing *p)
{
    struct sheet sheet;
    struct meas_result r;
    struct site_value e[SITE_VALUES];
    site_sheet(s, p, 1.0, &sheet);
    measure(&sheet, &r);
    size_t n = site_truth(s, e);
    for (size_t i = 0; i < n; i++)
        if (!(fabs(value(&r, e[i].id) - e[i].value) < 1e-6))
            fail_msg("%s: %.9f, wanted %.9f (turn %g, mirrored %d, %g mm/px)", e[i].id,
                     value(&r, e[i].id), e[i].value, p->turn_deg, p->mirrored, p->mm_per_px);
    assert_true(fabs(value(&r, "scale") - p->mm_per_px) < 1e-9);
    assert_int_equal(r.warnings.n, 0);
    plumb_meas_result_release(&r);
    plumb_sheet_release(&sheet);
}

static void every_quantity_at_every_turn(void **state)
{
    (void)state;
    struct site s;
    site_default(&s);
    static const double turns[] = {0.0, 37.0, 90.0, 123.4, 180.0, 271.0};
    for (size_t i = 0; i < sizeof turns / sizeof turns[0]; i++)
        for (int m = 0; m < 2; m++) {
            /* Only whole turns keep apical near where the tooth has it; the warning about sides
             * compares mesial with apical, so it must stay silent at any turn. */
            struct placing p = {turns[i], 0.02, m, m ? 45 : 35};
            check_placing(&s, &p);
            p.mm_per_px = 0.04;
            check_placing(&s, &p);
        }
}

static void signs_turn_over_with_the_lean(void **state)
{
    (void)state;
    struct site s;
    site_default(&s);
    s.pin_deg = -8.0;
    check_placing(&s, &(struct placing){10.0, 0.025, false, 35});
}

static void wrong_side_is_warned_of(void **state)
{
    (void)state;
    struct site s;
    struct sheet sheet;
    struct meas_result r;
    site_default(&s);
    /* a lower left film with a lower right tooth stated */
    site_sheet(&s, &(struct placing){0.0, 0.025, false, 45}, 1.0, &sheet);
    measure(&sheet, &r);
    assert_int_equal(r.warnings.n, 1);
    assert_non_null(strstr(r.warnings.line[0], "mesial and distal"));
    plumb_meas_result_release(&r);
    plumb_sheet_release(&sheet);
}

/* Two points over L px with sd each: u(angle) = sqrt(2) sd / L; two such axes add in squares.
 * JCGM 100, 5.1.2. */
static void uncertainty_of_an_angle(void **state)
{
    (void)state;
    struct site s;
    struct sheet sheet;
    struct meas_result r;
    site_default(&s);
    site_sheet(&s, &(struct placing){0.0, 0.025, false, 35}, 2.0, &sheet);
    measure(&sheet, &r);
    double pin = sqrt(2.0) * 2.0 / (12.0 / 0.025), root = sqrt(2.0) * 2.0 / (14.0 / 0.025);
    const struct meas_quantity *q = plumb_meas_find(&r, "angle.mesial");
    assert_true(fabs(q->v.u - hypot(pin, root) / rad) < 1e-3 * q->v.u);
    assert_true(fabs(q->U - 2.0 * q->v.u) < 1e-12); /* k = 2, JCGM 100, 6.3.3 */
    plumb_meas_result_release(&r);
    plumb_sheet_release(&sheet);
}

/* Taking one mark away takes away what needs it, and nothing else; what is missing is named. */
static void missing_mark_means_missing_quantity(void **state)
{
    (void)state;
    static const struct {
        const char *mark, *gone, *stays;
    } table[] = {
        {"pin.tip", "depth.mesial", "level.mesial"},
        {"pin.shoulder", "level.distal", "depth.distal"},
        {"pin.stop", "stop.mesial", "level.mesial"},
        {"mesial.crest", "cej_crest.mesial", "cej_crest.distal"},
        {"distal.cej", "root_length.distal", "level.distal"},
        {"mesial.apex", "root_length.mesial", "angle.mesial"},
        {"mesial.axis[0]", "angle.mean", "angle.distal"},
        {"gauges[0].ends[0]", "tilt", "scale"},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct site s;
        struct sheet sheet;
        struct meas_result r;
        site_default(&s);
        site_sheet(&s, &(struct placing){0.0, 0.025, false, 35}, 1.0, &sheet);
        if (i == 6) { /* without sides and chord the axis has only its two marks */
            sheet.side[MESIAL].near.n = 0;
        }
        plumb_sheet_mark(&sheet, table[i].mark)->set = false;
        measure(&sheet, &r);
        if (plumb_meas_find(&r, table[i].gone) != NULL)
            fail_msg("%s without %s", table[i].gone, table[i].mark);
        if (plumb_meas_find(&r, table[i].stays) == NULL)
            fail_msg("no %s though only %s is missing", table[i].stays, table[i].mark);
        bool told = false;
        for (size_t j = 0; j < r.n_missing; j++)
            told = told || (strcmp(r.missing[j].id, table[i].gone) == 0 && r.missing[j].lacks[0]);
        assert_true(told);
        plumb_meas_result_release(&r);
        plumb_sheet_release(&sheet);
    }
}

static void no_gauge_no_lengths(void **state)
{
    (void)state;
    struct site s;
    struct sheet sheet;
    struct meas_result r;
    site_default(&s);
    site_sheet(&s, &(struct placing){0.0, 0.025, false, 35}, 1.0, &sheet);
    sheet.n_gauges = 0;
    measure(&sheet, &r);
    for (size_t i = 0; i < r.n_quantities; i++)
        assert_true(strcmp(r.quantity[i].unit, "deg") == 0 || strcmp(r.quantity[i].unit, "1") == 0);
    assert_int_equal(r.n_quantities, 6); /* the angles, and the crown-to-root ratios */
    plumb_meas_result_release(&r);
    plumb_sheet_release(&sheet);
}

/* B2 of the published geometry: a cylinder leaning t shows L cos t on its axis. */
static void lean_is_measured_and_allowed_for(void **state)
{
    (void)state;
    static const double leans[] = {15.0, 20.0, 30.0};
    for (size_t i = 0; i < 3; i++) {
        struct site s;
        struct sheet sheet;
        struct meas_result r;
        site_default(&s);
        const double full = s.length;
        s.length *= cos(leans[i] * rad);
        site_sheet(&s, &(struct placing){0.0, 0.025, false, 35}, 0.3, &sheet);
        sheet.gauge[0].mm = full;
        measure(&sheet, &r);
        const struct meas_quantity *t = plumb_meas_find(&r, "tilt");
        assert_true(fabs(t->v.value - leans[i]) < 1e-6);
        assert_false(t->below_only);
        assert_true(t->v.lo < leans[i] && t->v.hi > leans[i]);
        assert_true(fabs(value(&r, "scale") - 0.025) < 1e-9);
        assert_true(fabs(value(&r, "depth.mesial.corrected") * cos(leans[i] * rad) -
                         value(&r, "depth.mesial")) < 1e-6);
        plumb_meas_result_release(&r);
        plumb_sheet_release(&sheet);
    }
}

static void no_lean_is_never_claimed(void **state)
{
    (void)state;
    struct site s;
    struct sheet sheet;
    struct meas_result r;
    site_default(&s);
    site_sheet(&s, &(struct placing){0.0, 0.025, false, 35}, 0.5, &sheet);
    measure(&sheet, &r);
    const struct meas_quantity *t = plumb_meas_find(&r, "tilt");
    assert_true(t->below_only);
    assert_non_null(strstr(t->note, "no lean detectable below"));
    assert_true(t->v.hi > 3.0); /* 5 degrees change the length by 0.4 % only */
    assert_null(plumb_meas_find(&r, "depth.mesial.corrected"));
    plumb_meas_result_release(&r);
    plumb_sheet_release(&sheet);
}

static void gauges_that_disagree_are_told(void **state)
{
    (void)state;
    struct site s;
    struct sheet sheet;
    struct meas_result r;
    site_default(&s);
    site_sheet(&s, &(struct placing){0.0, 0.025, false, 35}, 0.3, &sheet);
    sheet.gauge[2] = sheet.gauge[1];
    strcpy(sheet.gauge[2].name, "the wrong drill");
    sheet.gauge[2].mm = 2.8;
    sheet.n_gauges = 3;
    measure(&sheet, &r);
    bool told = false;
    for (size_t i = 0; i < r.warnings.n; i++)
        told = told || strstr(r.warnings.line[i], "the wrong drill") != NULL;
    assert_true(told);
    assert_true(r.scale.birge > 1.0);
    plumb_meas_result_release(&r);
    plumb_sheet_release(&sheet);
}

/* Overlap is a clearance below 0, and the change of sign is smooth. */
static void overlap_is_negative(void **state)
{
    (void)state;
    double last = 10.0;
    for (int i = 0; i <= 40; i++) {
        struct site s;
        struct sheet sheet;
        struct meas_result r;
        site_default(&s);
        double shift = 0.1 * i;
        s.near_top[MESIAL].x -= shift;
        s.near_end[MESIAL].x -= shift;
        site_sheet(&s, &(struct placing){0.0, 0.025, false, 35}, 1.0, &sheet);
        measure(&sheet, &r);
        double c = value(&r, "clearance.mesial");
        assert_true(c < last && c > last - 0.11 - (i == 0 ? 10.0 : 0.0));
        last = c;
        plumb_meas_result_release(&r);
        plumb_sheet_release(&sheet);
    }
    assert_true(last < -0.5);
}

static void findings_have_four_states(void **state)
{
    (void)state;
    struct site s;
    struct sheet sheet;
    struct meas_result r;
    site_default(&s);
    site_sheet(&s, &(struct placing){0.0, 0.025, false, 35}, 1.0, &sheet);
    sheet.side[DISTAL].near.n = 0;
    measure(&sheet, &r);
    bool not_measured = false, inside = false;
    for (size_t i = 0; i < r.n_findings; i++) {
        const struct meas_finding *f = &r.finding[i];
        if (strcmp(f->quantity, "clearance.distal") == 0)
            not_measured = f->state == UNC_NOT_MEASURED;
        if (strcmp(f->quantity, "bound.1") == 0)
            inside = f->state == UNC_INSIDE; /* 4 mm against 2 mm */
        assert_true(f->source[0] != '\0');
    }
    assert_true(not_measured && inside);
    plumb_meas_result_release(&r);
    plumb_sheet_release(&sheet);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_quantity_at_every_turn),
        cmocka_unit_test(signs_turn_over_with_the_lean),
        cmocka_unit_test(wrong_side_is_warned_of),
        cmocka_unit_test(uncertainty_of_an_angle),
        cmocka_unit_test(missing_mark_means_missing_quantity),
        cmocka_unit_test(no_gauge_no_lengths),
        cmocka_unit_test(lean_is_measured_and_allowed_for),
        cmocka_unit_test(no_lean_is_never_claimed),
        cmocka_unit_test(gauges_that_disagree_are_told),
        cmocka_unit_test(overlap_is_negative),
        cmocka_unit_test(findings_have_four_states),
    };
    return cmocka_run_group_tests(tests, load_config, NULL);
}
