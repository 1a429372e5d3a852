/*
 * Root axes made from traced sides. The mid-line of a root that bends near its apex: the least
 * squares line of x = b q^8, q = 0 to 1, has the slope 8 b / 15 in closed form, so that an apex 1
 * mm off over a root of 14 mm leans the mid-line by atan(8/210). A piece of a side drawn along the
 * neighbouring tooth by mistake must not turn it. The chord from one CEJ mark, where the sides
 * begin a little below it.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>

#include "plumbrule/measure.h"

enum { POINTS = 25 };
static const double px = 40.0; /* to a millimetre */
static const double length_mm = 14.0, half_mm = 2.0;
static const double slope = 8.0 / 15.0;
static const double deg = 57.29577951308232;

static void put_side(struct mark_path *p, double bend_mm, double off_mm)
{
    p->at = plumb_mem_array(POINTS, sizeof *p->at, NULL);
    p->n = POINTS;
    for (size_t i = 0; i < POINTS; i++) {
        double q = (double)i / (POINTS - 1);
        double x = bend_mm * pow(q, 8.0) + off_mm * (1.0 - 0.4 * q);
        p->at[i] = (struct mark){
            .set = true, .x = 500.0 + px * x, .y = 300.0 + px * length_mm * q, .sd = 1.0};
    }
}

/* An upright pin to the right of a bent root; lower left side, so mesial is to the left. */
static void bent_root(double bend_mm, struct sheet *s)
{
    plumb_sheet_init(s);
    s->site.tooth = 35;
    for (int i = 0; i < 2; i++)
        s->pin.axis[i] =
            (struct mark){.set = true, .x = 800.0, .y = i == 0 ? 300.0 : 900.0, .sd = 0.1};
    put_side(&s->side[MESIAL].near, bend_mm, half_mm);
    put_side(&s->side[MESIAL].far, bend_mm, -half_mm);
}

/* The angle and, when asked for, its uncertainty and kind of axis. */
static double angle_with(const struct sheet *s, double *u, const char **axis)
{
    static const struct meas_film film = {.width = 1000, .height = 1200};
    struct meas_config c;
    struct meas_result r;
    struct err err = {0};
    if (plumb_meas_config_default(&c, &err) != 0 || plumb_meas_run(s, &film, &c, &r, &err) != 0)
        fail_msg("%s", err.text);
    const struct meas_quantity *q = plumb_meas_find(&r, "angle.mesial");
    assert_non_null(q);
    double value = q->v.value;
    if (u != NULL)
        *u = q->v.u;
    if (axis != NULL)
        *axis = q->axis;
    plumb_meas_result_release(&r);
    return value;
}

static double angle_of(const struct sheet *s)
{
    return angle_with(s, NULL, NULL);
}

static void a_bend_is_no_outlier(void **state)
{
    (void)state;
    static const double bend_mm[] = {-1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5};
    for (size_t i = 0; i < sizeof bend_mm / sizeof bend_mm[0]; i++) {
        struct sheet s;
        bent_root(bend_mm[i], &s);
        /* + when the pin's apical end leans to mesial, to the left, against the root */
        double truth = deg * atan(slope * bend_mm[i] / length_mm), value = angle_of(&s);
        if (fabs(value - truth) > 0.1) /* levels lie square to the root's ends, not to its line */
            fail_msg("bend %.1f mm: %.3f degrees, true %.3f", bend_mm[i], value, truth);
        plumb_sheet_release(&s);
    }
}

static void a_slip_is_left_out(void **state)
{
    (void)state;
    struct sheet s;
    bent_root(1.0, &s);
    for (size_t i = 8; i < 11; i++)
        s.side[MESIAL].far.at[i].x -= 8.0 * px;
    assert_true(fabs(angle_of(&s) - deg * atan(slope / length_mm)) < 0.25);
    plumb_sheet_release(&s);
}

/*
 * One CEJ mark, the sides beginning 1 mm below it: the root's middle there is reached along the
 * sides' own direction, so that the axis is the chord, and stays it while the marks are varied. An
 * upright root: 0 degrees. u by hand: the apex' 10 px over 15 mm, and each side's 1 px carried 1 mm
 * beyond its first two points, 14/24 mm apart, which the middle halves.
 */
static void one_cej_mark_makes_a_chord(void **state)
{
    (void)state;
    struct sheet s;
    double u, step = length_mm / (POINTS - 1), over = 1.0 / step;
    const char *axis;
    bent_root(0.0, &s);
    s.side[MESIAL].cej =
        (struct mark){.set = true, .x = 500.0 + half_mm * px, .y = 300.0 - px, .sd = 3.0};
    s.side[MESIAL].apex =
        (struct mark){.set = true, .x = 500.0, .y = 300.0 + length_mm * px, .sd = 10.0};
    double value = angle_with(&s, &u, &axis);
    assert_string_equal(axis, "chord");
    assert_true(fabs(value) < 0.01);
    double middle = hypot(1.0 + over, over) / sqrt(2.0);
    double wanted = deg * hypot(10.0, middle) / ((length_mm + 1.0) * px);
    if (fabs(u - wanted) > 0.02 * wanted)
        fail_msg("u %.4f, wanted %.4f", u, wanted);
    plumb_sheet_release(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_bend_is_no_outlier),
        cmocka_unit_test(a_slip_is_left_out),
        cmocka_unit_test(one_cej_mark_makes_a_chord),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
