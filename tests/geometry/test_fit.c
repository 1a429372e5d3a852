/*
 * Orthogonal least squares: exact lines, weights, order, ill-posed input, what is said of the fit.
 * Truth: the lines the points were made from, and the defining property of the minimum.
 */
#include "tests/support/close.h"
#include "tests/support/cloud.h"

#include <string.h>

enum { most = 200 };

static struct unc_rng rng;

static int seed(void **state)
{
    (void)state;
    plumb_unc_rng_seed(&rng, 11);
    return 0;
}

static double angle_deg(const struct geo_line *l)
{
    return atan2(l->dir.y, l->dir.x) / cloud_degree;
}

static void exact_lines_at_every_angle(void **state)
{
    (void)state;
    struct geo_point pts[10];
    struct geo_fit f;
    for (int a = -180; a < 180; a += 5) {
        cloud_line(pts, 10, (struct geo_point){512, -300}, a, 7.0, 0.0, &rng);
        assert_int_equal(plumb_geo_fit_tls(pts, NULL, 10, &f, NULL), 0);
        assert_close(remainder(angle_deg(&f.line) - a, 360.0), 0.0, 1e-10); /* the way too */
        assert_close(geo_dist(f.line.at, geo_mix(pts[0], pts[9], 0.5)), 0.0, 1e-10);
        assert_close(f.rms, 0.0, 1e-10);
        assert_close(f.half_span, 31.5, 1e-10);
        assert_close(f.dof, 8.0, 0);
        assert_int_equal(f.n_used, 10);
    }
}

static double sum_of_squares(const struct geo_line *l, const struct geo_point *pts, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += plumb_geo_across(l, pts[i]) * plumb_geo_across(l, pts[i]);
    return sum;
}

/* No line near the fitted one has a smaller sum; scale and rms are what their names say. */
static void it_is_the_minimum(void **state)
{
    (void)state;
    struct geo_point pts[30];
    struct geo_fit f;
    cloud_line(pts, 30, (struct geo_point){10, 20}, 77.0, 3.0, 2.0, &rng);
    assert_int_equal(plumb_geo_fit_tls(pts, NULL, 30, &f, NULL), 0);
    double least = sum_of_squares(&f.line, pts, 30);
    for (int i = 0; i < 64; i++) {
        struct geo_line near = f.line;
        double step = i < 32 ? 1e-3 : 1e-1;
        near.at = geo_add(near.at, geo_mul(geo_perp(near.dir), step * cos(i)));
        near.dir = geo_turn(near.dir, step * sin(i));
        assert_true(sum_of_squares(&near, pts, 30) > least);
    }
    assert_close_rel(f.rms, sqrt(least / 30.0), 1e-12);
    assert_close_rel(f.scale, sqrt(least / 28.0), 1e-12);
    assert_close_rel(f.line.u_offset, f.scale / sqrt(30.0), 1e-12);
    double t2 = 0.0;
    for (size_t i = 0; i < 30; i++)
        t2 += plumb_geo_along(&f.line, pts[i]) * plumb_geo_along(&f.line, pts[i]);
    assert_close_rel(f.line.u_angle, f.scale / sqrt(t2), 0.02); /* first order */
}

/* A whole weight says the same as so many equal points; a common factor says nothing. */
static void weights_count_like_repeated_points(void **state)
{
    (void)state;
    struct geo_point pts[12], again[40];
    double w[12], scaled[12];
    size_t n = 0;
    cloud_line(pts, 12, (struct geo_point){0, 0}, -30.0, 4.0, 1.0, &rng);
    for (size_t i = 0; i < 12; i++) {
        w[i] = (double)(i % 4); /* 0 leaves it out */
        scaled[i] = 1e6 * w[i];
        for (size_t k = 0; k < i % 4; k++)
            again[n++] = pts[i];
    }
    struct geo_fit f, g, h;
    assert_int_equal(plumb_geo_fit_tls(pts, w, 12, &f, NULL), 0);
    assert_int_equal(plumb_geo_fit_tls(again, NULL, n, &g, NULL), 0);
    assert_close(geo_dist(f.line.at, g.line.at), 0.0, 1e-12);
    assert_close(plumb_geo_angle(f.line.dir, g.line.dir), 0.0, 1e-13);
    assert_int_equal(f.n_used, 9);
    assert_close(f.dof, 7.0, 0);
    assert_int_equal(plumb_geo_fit_tls(pts, scaled, 12, &h, NULL), 0);
    assert_close_rel(h.line.u_angle, f.line.u_angle, 1e-12);
    assert_close_rel(h.line.u_offset, f.line.u_offset, 1e-12);
    assert_close_rel(h.scale, f.scale, 1e-12);
}

static void two_points_are_exact(void **state)
{
    (void)state;
    struct geo_point pts[] = {{3, 4}, {0, 0}};
    struct geo_fit f;
    assert_int_equal(plumb_geo_fit_tls(pts, NULL, 2, &f, NULL), 0);
    assert_close(f.line.dir.x, -0.6, 1e-15);
    assert_close(f.line.u_angle, 0.0, 0);
    assert_close(f.line.u_offset, 0.0, 0);
    assert_true(isinf(f.dof));
}

static void far_from_the_origin_no_digits_are_lost(void **state)
{
    (void)state;
    struct geo_point pts[20], far[20];
    struct geo_fit f, g;
    cloud_line(pts, 20, (struct geo_point){0, 0}, 12.0, 1.0, 0.05, &rng);
    for (size_t i = 0; i < 20; i++)
        far[i] = geo_add(pts[i], (struct geo_point){1e7, -3e7});
    assert_int_equal(plumb_geo_fit_tls(pts, NULL, 20, &f, NULL), 0);
    assert_int_equal(plumb_geo_fit_tls(far, NULL, 20, &g, NULL), 0);
    /* the coordinates themselves are rounded by 4e-9 */
    assert_close(plumb_geo_angle(f.line.dir, g.line.dir), 0.0, 1e-9);
    assert_close_rel(g.scale, f.scale, 1e-6);
}

static void ill_posed_input_is_refused(void **state)
{
    (void)state;
    static const struct geo_point same[] = {{5, 5}, {5, 5}, {5, 5}};
    static const struct geo_point square[] = {{0, 0}, {1, 0}, {1, 1}, {0, 1}};
    static const struct geo_point triangle[] = {
        {1, 0}, {-0.5, 0.866025403784438647}, {-0.5, -0.866025403784438647}};
    static const double none[] = {0, 0, 0}, one[] = {0, 1, 0};
    struct geo_fit f;
    struct err e = {0};
    assert_int_equal(plumb_geo_fit_tls(same, NULL, 3, &f, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_fit_tls(square, NULL, 4, &f, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_fit_tls(triangle, NULL, 3, &f, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_fit_tls(square, NULL, 1, &f, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_fit_tls(square, NULL, 0, &f, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_fit_tls(square, none, 3, &f, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_fit_tls(square, one, 3, &f, &e), ERR_ILLPOSED);
    assert_true(e.text[0] != '\0');
    assert_close(geo_norm(f.line.dir), 0.0, 0);
    /* the same with the robust fit */
    assert_int_equal(plumb_geo_fit_robust(same, NULL, 3, 0, &f, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_fit_robust(square, NULL, 2, 0, &f, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_fit_robust(square, none, 3, 0, &f, &e), ERR_ILLPOSED);
}

static void foolish_arguments_are_refused(void **state)
{
    (void)state;
    struct geo_point pts[] = {{0, 0}, {1, 0}, {2, 0.1}};
    double w[] = {1, -1, 1};
    struct geo_fit f;
    struct err e = {0};
    assert_int_equal(plumb_geo_fit_tls(pts, w, 3, &f, &e), ERR_ARG);
    w[1] = (double)NAN;
    assert_int_equal(plumb_geo_fit_tls(pts, w, 3, &f, &e), ERR_ARG);
    w[1] = HUGE_VAL;
    assert_int_equal(plumb_geo_fit_robust(pts, w, 3, 0, &f, &e), ERR_ARG);
    assert_int_equal(plumb_geo_fit_robust(pts, NULL, 3, -1.0, &f, &e), ERR_ARG);
    assert_int_equal(plumb_geo_fit_robust(pts, NULL, 3, (double)NAN, &f, &e), ERR_ARG);
    pts[2].x = (double)NAN;
    assert_int_equal(plumb_geo_fit_tls(pts, NULL, 3, &f, &e), ERR_ARG);
    pts[2].x = HUGE_VAL;
    assert_int_equal(plumb_geo_fit_robust(pts, NULL, 3, 0, &f, &e), ERR_ARG);
}

static void lack_of_memory_is_told(void **state)
{
    (void)state;
    struct geo_point pts[5];
    cloud_line(pts, 5, (struct geo_point){0, 0}, 10.0, 1.0, 0.1, &rng);
    for (long n = 1; n <= 3; n++) {
        struct geo_fit f;
        struct err e = {0};
        double width, u;
        plumb_mem_fail_after(n);
        assert_int_equal(plumb_geo_fit_tls(pts, NULL, 5, &f, &e), ERR_NOMEM);
        plumb_mem_fail_after(n);
        assert_int_equal(plumb_geo_fit_robust(pts, NULL, 5, 0, &f, &e), ERR_NOMEM);
        plumb_mem_fail_after(n);
        assert_int_equal(plumb_geo_fit_flanks(pts, 5, pts, 5, 0, &f, &width, &u, &e), ERR_NOMEM);
        plumb_mem_fail_after(0);
        assert_int_equal(e.code, ERR_NOMEM);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(exact_lines_at_every_angle),
        cmocka_unit_test(it_is_the_minimum),
        cmocka_unit_test(weights_count_like_repeated_points),
        cmocka_unit_test(two_points_are_exact),
        cmocka_unit_test(far_from_the_origin_no_digits_are_lost),
        cmocka_unit_test(ill_posed_input_is_refused),
        cmocka_unit_test(foolish_arguments_are_refused),
        cmocka_unit_test(lack_of_memory_is_told),
    };
    return cmocka_run_group_tests(tests, seed, NULL);
}
