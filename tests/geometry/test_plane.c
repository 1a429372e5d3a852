/* Points and lines: signs, round trips, degenerate cases. Truth: plane geometry. */
#include "tests/support/close.h"

#include "plumbrule/geometry.h"
#include "plumbrule/metrology.h"

static const double pi = 3.14159265358979323846;
static const double deg = 3.14159265358979323846 / 180.0;

static struct geo_point at_angle(double degrees)
{
    return geo_turn((struct geo_point){1.0, 0.0}, degrees * deg);
}

static void angle_is_positive_clockwise_on_the_screen(void **state)
{
    (void)state;
    struct geo_point right = {1, 0}, down = {0, 1}, left = {-1, 0};
    assert_close(plumb_geo_angle(right, down), pi / 2, 0);
    assert_close(plumb_geo_angle(down, right), -pi / 2, 0);
    assert_close(plumb_geo_angle(right, left), pi, 0);
    assert_close(plumb_geo_angle(left, right), pi, 0); /* never -pi */
    assert_close(plumb_geo_angle((struct geo_point){-1, -0.0}, right), pi, 0);
    assert_close(plumb_geo_angle(right, right), 0.0, 0);
    for (int a = -170; a < 180; a += 10)
        for (int b = -170; b < 180; b += 10) {
            double want = remainder((b - a) * deg, 2 * pi);
            if (fabs(fabs(want) - pi) > 1e-9)
                assert_close(plumb_geo_angle(geo_mul(at_angle(a), 3.0), at_angle(b)), want, 1e-14);
        }
}

static void line_through_two_points(void **state)
{
    (void)state;
    struct geo_line l;
    assert_int_equal(
        plumb_geo_line_through((struct geo_point){1, 2}, (struct geo_point){4, 6}, &l, NULL), 0);
    assert_close(l.dir.x, 0.6, 1e-15);
    assert_close(l.dir.y, 0.8, 1e-15);
    assert_close(l.at.x, 1.0, 0);
    assert_close(l.u_angle + l.u_offset, 0.0, 0);
    assert_close(plumb_geo_along(&l, (struct geo_point){4, 6}), 5.0, 1e-15);
    /* geo_perp(dir) is the positive side: right of +x is down */
    assert_close(plumb_geo_across(&l, geo_add(l.at, geo_perp(l.dir))), 1.0, 1e-15);
}

static void line_through_hopeless_points(void **state)
{
    (void)state;
    struct geo_line l;
    struct err e = {0};
    struct geo_point p = {3, 4};
    assert_int_equal(plumb_geo_line_through(p, p, &l, &e), ERR_ILLPOSED);
    assert_int_equal(e.code, ERR_ILLPOSED);
    assert_int_equal(plumb_geo_line_through(p, (struct geo_point){(double)NAN, 1}, &l, &e),
                     ERR_ARG);
    assert_int_equal(plumb_geo_line_through(p, (struct geo_point){1, HUGE_VAL}, &l, &e), ERR_ARG);
    assert_close(geo_norm(l.dir), 0.0, 0); /* released */
}

static void coordinates_go_there_and_back(void **state)
{
    (void)state;
    for (int a = 0; a < 360; a += 15) {
        struct geo_line l = {.at = {-7.5, 12.25}, .dir = at_angle(a)};
        for (double t = -40; t < 50; t += 17) {
            struct geo_point p = geo_add(plumb_geo_on(&l, t), geo_mul(geo_perp(l.dir), 3.0));
            assert_close(plumb_geo_along(&l, p), t, 1e-13);
            assert_close(plumb_geo_across(&l, p), 3.0, 1e-13);
        }
    }
}

static void lines_cross_where_they_were_made_to(void **state)
{
    (void)state;
    struct geo_point want = {123.5, -40.25}, got;
    for (int a = 0; a < 360; a += 20)
        for (int between = 1; between < 180; between += 13) {
            struct geo_line k = {.dir = at_angle(a)}, l = {.dir = at_angle(a + between)};
            k.at = geo_add(want, geo_mul(k.dir, 31.0));
            l.at = geo_add(want, geo_mul(l.dir, -8.0));
            assert_int_equal(plumb_geo_cross_lines(&k, &l, &got, NULL), 0);
            assert_close(got.x, want.x, 1e-10);
            assert_close(got.y, want.y, 1e-10);
        }
}

static void parallel_lines_do_not_cross(void **state)
{
    (void)state;
    struct err e = {0};
    struct geo_point p;
    struct geo_line k = {.dir = {1, 0}}, l = {.at = {0, 1}, .dir = {-1, 0}};
    assert_int_equal(plumb_geo_cross_lines(&k, &l, &p, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_cross_lines(&k, &k, &p, &e), ERR_ILLPOSED);
    l.dir = geo_turn(k.dir, 0.9e-12);
    assert_int_equal(plumb_geo_cross_lines(&k, &l, &p, &e), ERR_ILLPOSED);
    l.dir = geo_turn(k.dir, 1.1e-12);
    assert_int_equal(plumb_geo_cross_lines(&k, &l, &p, &e), 0);
    k.dir = (struct geo_point){0, 0}; /* a released line */
    assert_int_equal(plumb_geo_cross_lines(&k, &l, &p, &e), ERR_ILLPOSED);
}

static void bisector_halves_angle_and_distance(void **state)
{
    (void)state;
    for (int a = 0; a < 360; a += 30)
        for (int half = 0; half <= 40; half += 8) {
            struct geo_line k = {.at = {10, 20}, .dir = at_angle(a - half)};
            struct geo_line l = {.dir = at_angle(a + half)};
            l.at = geo_add(
                k.at, geo_add(geo_mul(geo_perp(at_angle(a)), 12.0), geo_mul(at_angle(a), 5.0)));
            struct geo_line m = plumb_geo_bisector(&k, &l);
            assert_close(plumb_geo_angle(m.dir, at_angle(a)), 0.0, 1e-14);
            assert_close(geo_norm(m.dir), 1.0, 1e-14);
            /* every point of a bisector is as far from one line as from the other */
            for (double t = -30; t <= 30; t += 20) {
                struct geo_point p = plumb_geo_on(&m, t);
                assert_close(fabs(plumb_geo_across(&k, p)), fabs(plumb_geo_across(&l, p)), 1e-12);
            }
            assert_close(geo_dot(geo_sub(m.at, k.at), m.dir), 2.5, 1e-12); /* midway abreast */
        }
}

/* The stated uncertainty of the bisector against the spread of bisectors of disturbed lines. */
static void bisector_states_its_uncertainty(void **state)
{
    (void)state;
    const struct geo_line k = {{0, 0}, {0, 1}, 0.3, 0.004}, l = {{50, 120}, {0, 1}, 0.5, 0.002};
    struct geo_line m = plumb_geo_bisector(&k, &l);
    struct unc_rng r;
    double offset2 = 0, angle2 = 0, mixed = 0;
    const int trials = 40000;
    plumb_unc_rng_seed(&r, 3);
    for (int i = 0; i < trials; i++) {
        struct geo_line a = k, b = l;
        a.at = geo_add(a.at, geo_mul(geo_perp(k.dir), k.u_offset * plumb_unc_rng_normal(&r)));
        b.at = geo_add(b.at, geo_mul(geo_perp(l.dir), l.u_offset * plumb_unc_rng_normal(&r)));
        a.dir = geo_turn(a.dir, k.u_angle * plumb_unc_rng_normal(&r));
        b.dir = geo_turn(b.dir, l.u_angle * plumb_unc_rng_normal(&r));
        struct geo_line d = plumb_geo_bisector(&a, &b);
        double angle = plumb_geo_angle(m.dir, d.dir);
        double offset = -plumb_geo_across(&d, m.at); /* where the disturbed one passes m.at */
        offset2 += offset * offset / trials;
        angle2 += angle * angle / trials;
        mixed += offset * angle / trials;
    }
    assert_close_rel(sqrt(offset2), m.u_offset, 0.02);
    assert_close_rel(sqrt(angle2), m.u_angle, 0.02);
    assert_close(mixed / sqrt(offset2 * angle2), 0.0, 0.03); /* uncorrelated at m.at */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(angle_is_positive_clockwise_on_the_screen),
        cmocka_unit_test(line_through_two_points),
        cmocka_unit_test(line_through_hopeless_points),
        cmocka_unit_test(coordinates_go_there_and_back),
        cmocka_unit_test(lines_cross_where_they_were_made_to),
        cmocka_unit_test(parallel_lines_do_not_cross),
        cmocka_unit_test(bisector_halves_angle_and_distance),
        cmocka_unit_test(bisector_states_its_uncertainty),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
