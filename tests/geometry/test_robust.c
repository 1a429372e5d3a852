/*
 * The robust fits of one line and of two parallel ones: what outliers may do, what clean points
 * must give, when most points lie exactly on a line. Truth: the lines the points were made from.
 */
#include "tests/support/close.h"
#include "tests/support/cloud.h"

#include <string.h>

enum { most = 200 };

static struct unc_rng rng;

static int seed(void **state)
{
    (void)state;
    plumb_unc_rng_seed(&rng, 21);
    return 0;
}

static double angle_error_deg(const struct geo_line *l, double want_deg)
{
    return remainder(atan2(l->dir.y, l->dir.x) / cloud_degree - want_deg, 360.0);
}

/* One-sided outliers, scattered along the line, at every share up to just under half. */
static void outliers_do_not_move_the_line(void **state)
{
    (void)state;
    static const double share[] = {0.0, 0.1, 0.2, 0.3, 0.4, 0.45};
    struct geo_point pts[most];
    struct geo_fit f;
    for (size_t s = 0; s < sizeof share / sizeof share[0]; s++)
        for (int a = -170; a < 180; a += 50) {
            cloud_line(pts, most, (struct geo_point){40, 900}, a, 2.0, 0.3, &rng);
            size_t off = cloud_spoil(pts, most, share[s], a, 6.0);
            assert_int_equal(plumb_geo_fit_robust(pts, NULL, most, 0.0, &f, NULL), 0);
            /* Cramer-Rao for the good points: 0.0105 deg and 0.02 units; five times that */
            assert_close(angle_error_deg(&f.line, a), 0.0, 0.06);
            assert_close(plumb_geo_across(&f.line, (struct geo_point){40, 900}), 0.0, 0.25);
            assert_true(f.n_used <= most - off && f.n_used > most - off - 10);
            assert_close_rel(f.scale, 0.3, 0.25);
        }
}

/* Outliers anywhere in a box, 45 % of the points, the order shuffled: no set may break the start.
 */
static void no_layout_of_outliers_breaks_it(void **state)
{
    (void)state;
    enum { n = 80, off = 36, trials = 400 };
    struct geo_point pts[n];
    struct geo_fit f;
    for (int trial = 0; trial < trials; trial++) {
        cloud_line(pts, n, (struct geo_point){100, 10}, 75.0, 2.0, 0.2, &rng);
        for (size_t i = 0; i < n; i++) { /* Fisher and Yates; the first ones are then spoiled */
            size_t j = i + (size_t)(plumb_unc_rng_uniform(&rng) * (double)(n - i));
            struct geo_point keep = pts[i];
            pts[i] = pts[j];
            pts[j] = keep;
        }
        for (size_t i = 0; i < off; i++)
            pts[i] = (struct geo_point){200.0 * plumb_unc_rng_uniform(&rng),
                                        200.0 * plumb_unc_rng_uniform(&rng)};
        assert_int_equal(plumb_geo_fit_robust(pts, NULL, n, 0.0, &f, NULL), 0);
        double tilt =
            geo_cross(f.line.dir, geo_turn((struct geo_point){1, 0}, 75.0 * cloud_degree));
        assert_close(tilt, 0.0, 0.01); /* sd 0.0007 */
    }
}

/* A block of outliers at one end pulls hardest. */
static void a_bent_end_is_left_out(void **state)
{
    (void)state;
    struct geo_point pts[100];
    struct geo_fit f, plain;
    cloud_line(pts, 100, (struct geo_point){0, 0}, 80.0, 1.0, 0.2, &rng);
    cloud_line(pts + 65, 35, pts[64], 50.0, 1.0, 0.2, &rng);
    assert_int_equal(plumb_geo_fit_robust(pts, NULL, 100, 0.0, &f, NULL), 0);
    assert_int_equal(plumb_geo_fit_tls(pts, NULL, 100, &plain, NULL), 0);
    assert_close(angle_error_deg(&f.line, 80.0), 0.0, 0.3);
    assert_true(fabs(angle_error_deg(&plain.line, 80.0)) > 3.0);
}

/* On clean points the bisquare has 95 % efficiency: it must stay close to least squares. */
static void clean_points_give_nearly_least_squares(void **state)
{
    (void)state;
    struct geo_point pts[most];
    struct geo_fit f, plain;
    for (int trial = 0; trial < 30; trial++) {
        cloud_line(pts, most, (struct geo_point){0, 0}, 35.0, 1.0, 0.5, &rng);
        assert_int_equal(plumb_geo_fit_robust(pts, NULL, most, 0.0, &f, NULL), 0);
        assert_int_equal(plumb_geo_fit_tls(pts, NULL, most, &plain, NULL), 0);
        double apart = plumb_geo_angle(f.line.dir, plain.line.dir);
        assert_close(apart / plain.line.u_angle, 0.0, 0.9); /* sd is 0.23 = sqrt(1/0.95 - 1) */
        assert_close_rel(f.line.u_angle, plain.line.u_angle, 0.12);
        assert_close_rel(f.line.u_offset, plain.line.u_offset, 0.12);
    }
}

static void most_points_exactly_on_a_line(void **state)
{
    (void)state;
    struct geo_point pts[9];
    struct geo_fit f;
    cloud_line(pts, 9, (struct geo_point){100, 100}, 20.0, 5.0, 0.0, &rng);
    pts[3].y += 40.0;
    pts[6].y += 0.5;
    assert_int_equal(plumb_geo_fit_robust(pts, NULL, 9, 0.0, &f, NULL), 0);
    assert_close(angle_error_deg(&f.line, 20.0), 0.0, 1e-9);
    assert_int_equal(f.n_used, 7);
    assert_close(f.line.u_angle, 0.0, 1e-10);
    /* with a floor the point near the line is used, and the uncertainty is that of the floor */
    assert_int_equal(plumb_geo_fit_robust(pts, NULL, 9, 0.3, &f, NULL), 0);
    assert_int_equal(f.n_used, 8);
    assert_close(f.scale, 0.3, 1e-12);
    assert_true(f.line.u_offset >= 0.3 / sqrt(8.0));
    /* the floor is no ceiling */
    cloud_line(pts, 9, (struct geo_point){100, 100}, 20.0, 5.0, 1.0, &rng);
    struct geo_fit g;
    assert_int_equal(plumb_geo_fit_robust(pts, NULL, 9, 0.0, &f, NULL), 0);
    assert_int_equal(plumb_geo_fit_robust(pts, NULL, 9, 0.1 * f.scale, &g, NULL), 0);
    assert_memory_equal(&f, &g, sizeof f);
}

static void weights_are_inverse_variances(void **state)
{
    (void)state;
    struct geo_point pts[most];
    double w[most];
    struct geo_fit f;
    for (size_t i = 0; i < most; i++) { /* the second half ten times as noisy, and said so */
        double noise = i % 2 ? 2.0 : 0.2;
        cloud_line(&pts[i], 1, (struct geo_point){(double)i, 0}, 0.0, 1.0, noise, &rng);
        w[i] = 7.0 / (noise * noise);
    }
    assert_int_equal(plumb_geo_fit_robust(pts, w, most, 0.0, &f, NULL), 0);
    /* noisy points are no outliers: the bisquare keeps all but a few */
    assert_true(f.n_used > most - 5);
    /* expected from the good half: 0.2 sqrt(12) / (200 sqrt(100)) rad, half of that again allowed
     */
    assert_true(f.line.u_angle < 1.5 * 0.2 * sqrt(12.0) / 200.0 / 10.0);
    assert_close(angle_error_deg(&f.line, 0.0), 0.0, 0.08);
    for (size_t i = 0; i < most; i++)
        w[i] = i % 2 ? 0.0 : 1.0;
    assert_int_equal(plumb_geo_fit_robust(pts, w, most, 0.0, &f, NULL), 0);
    assert_true(f.n_used <= most / 2);
}

/* The way of the line comes from the points in use, not from an outlier at the start. */
static void direction_ignores_outliers(void **state)
{
    (void)state;
    struct geo_point pts[20];
    struct geo_fit f;
    cloud_line(pts, 20, (struct geo_point){0, 0}, -120.0, 3.0, 0.1, &rng);
    pts[0] = geo_add(pts[19], geo_mul(geo_sub(pts[19], pts[1]), 2.0));
    pts[0].x += 30.0;
    assert_int_equal(plumb_geo_fit_robust(pts, NULL, 20, 0.0, &f, NULL), 0);
    assert_close(angle_error_deg(&f.line, -120.0), 0.0, 1.0);
    assert_close(f.half_span, 27.0, 2.0); /* of the used points */
}

static void same_points_same_bits(void **state)
{
    (void)state;
    struct geo_point pts[most];
    struct geo_fit f, g;
    cloud_line(pts, most, (struct geo_point){3, 4}, 61.0, 1.0, 0.4, &rng);
    cloud_spoil(pts, most, 0.3, 61.0, 3.0);
    assert_int_equal(plumb_geo_fit_robust(pts, NULL, most, 0.0, &f, NULL), 0);
    assert_int_equal(plumb_geo_fit_robust(pts, NULL, most, 0.0, &g, NULL), 0);
    assert_memory_equal(&f, &g, sizeof f);
}

static void no_line_at_all_is_refused_or_says_so(void **state)
{
    (void)state;
    struct geo_point pts[60];
    struct geo_fit f;
    for (int trial = 0; trial < 20; trial++) {
        for (size_t i = 0; i < 60; i++)
            pts[i] = (struct geo_point){100.0 * plumb_unc_rng_uniform(&rng),
                                        100.0 * plumb_unc_rng_uniform(&rng)};
        struct err e = {0};
        int rc = plumb_geo_fit_robust(pts, NULL, 60, 0.0, &f, &e);
        if (rc == 0)
            assert_true(f.scale > 5.0 && f.line.u_angle > 1.0 * cloud_degree);
        else
            assert_int_equal(rc, ERR_ILLPOSED);
    }
}

/* Two flanks `width` apart; the second starts `ahead` further along. */
static void two_flanks(struct geo_point *a, struct geo_point *b, size_t n, double deg, double width,
                       double ahead, double noise)
{
    struct geo_point dir = geo_turn((struct geo_point){1, 0}, deg * cloud_degree);
    struct geo_point from = {200, 100};
    struct geo_point other =
        geo_add(from, geo_add(geo_mul(geo_perp(dir), width), geo_mul(dir, ahead)));
    cloud_line(a, n, from, deg, 2.0, noise, &rng);
    cloud_line(b, n, other, deg, 2.0, noise, &rng);
}

static void exact_flanks(void **state)
{
    (void)state;
    struct geo_point a[12], b[12];
    struct geo_fit f;
    double width, u;
    for (int deg = -175; deg < 180; deg += 25) {
        two_flanks(a, b, 12, deg, 15.0, 6.0, 0.0);
        assert_int_equal(plumb_geo_fit_flanks(a, 12, b, 12, 0.0, &f, &width, &u, NULL), 0);
        assert_close(width, 15.0, 1e-10);
        assert_close(u, 0.0, 1e-9);
        assert_close(angle_error_deg(&f.line, deg), 0.0, 1e-9);
        assert_close(plumb_geo_across(&f.line, a[0]), -7.5, 1e-9);
        assert_close(plumb_geo_across(&f.line, b[0]), 7.5, 1e-9);
        assert_close(
            geo_dist(f.line.at, geo_mix(geo_mix(a[0], a[11], 0.5), geo_mix(b[0], b[11], 0.5), 0.5)),
            0.0, 1e-9);
        /* sides exchanged: the same mid-line and width */
        assert_int_equal(plumb_geo_fit_flanks(b, 12, a, 12, 0.0, &f, &width, &u, NULL), 0);
        assert_close(width, 15.0, 1e-10);
        assert_close(angle_error_deg(&f.line, deg), 0.0, 1e-9);
        assert_close(f.half_span, 14.0, 1e-9); /* both flanks: 0 to 22 and 6 to 28 */
    }
}

static void flanks_with_outliers_on_both_sides(void **state)
{
    (void)state;
    static struct geo_point a[most], b[most];
    struct geo_fit f;
    double width, u;
    for (int deg = -80; deg < 100; deg += 45) {
        two_flanks(a, b, most, deg, 30.0, 0.0, 0.3);
        cloud_spoil(a, most, 0.4, deg, 5.0);
        cloud_spoil(b, most, 0.4, deg, -5.0);
        assert_int_equal(plumb_geo_fit_flanks(a, most, b, most, 0.0, &f, &width, &u, NULL), 0);
        assert_close(width, 30.0, 0.2); /* sd 0.04 */
        assert_close(angle_error_deg(&f.line, deg), 0.0, 0.05);
        assert_true(u > 0.02 && u < 0.08);
    }
}

/* One flank hidden for the most part, its few points right. */
static void a_short_flank_suffices(void **state)
{
    (void)state;
    struct geo_point a[most], b[most];
    struct geo_fit f;
    double width, u;
    two_flanks(a, b, most, 85.0, 30.0, 0.0, 0.3);
    assert_int_equal(plumb_geo_fit_flanks(a, most, b + 150, 8, 0.0, &f, &width, &u, NULL), 0);
    assert_close(width, 30.0, 0.6);
    assert_close(angle_error_deg(&f.line, 85.0), 0.0, 0.06);
    double short_side = 0.3 / sqrt(8.0);
    assert_true(u > 0.8 * short_side && u < 1.4 * short_side);
}

static void hopeless_flanks_are_refused(void **state)
{
    (void)state;
    struct geo_point a[5], b[5] = {{1, 1}, {1, 1}, {1, 1}, {1, 1}, {1, 1}};
    struct geo_fit f;
    struct err e = {0};
    double width, u;
    cloud_line(a, 5, (struct geo_point){0, 0}, 10.0, 1.0, 0.1, &rng);
    assert_int_equal(plumb_geo_fit_flanks(a, 5, a, 1, 0, &f, &width, &u, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_fit_flanks(a, 0, a, 5, 0, &f, &width, &u, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_fit_flanks(b, 5, b, 5, 0, &f, &width, &u, &e), ERR_ILLPOSED);
    assert_int_equal(plumb_geo_fit_flanks(a, 5, a, 5, -1, &f, &width, &u, &e), ERR_ARG);
    b[2].y = (double)NAN;
    assert_int_equal(plumb_geo_fit_flanks(a, 5, b, 5, 0, &f, &width, &u, &e), ERR_ARG);
    assert_close(width + u, 0.0, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(outliers_do_not_move_the_line),
        cmocka_unit_test(no_layout_of_outliers_breaks_it),
        cmocka_unit_test(a_bent_end_is_left_out),
        cmocka_unit_test(clean_points_give_nearly_least_squares),
        cmocka_unit_test(most_points_exactly_on_a_line),
        cmocka_unit_test(weights_are_inverse_variances),
        cmocka_unit_test(direction_ignores_outliers),
        cmocka_unit_test(same_points_same_bits),
        cmocka_unit_test(no_line_at_all_is_refused_or_says_so),
        cmocka_unit_test(exact_flanks),
        cmocka_unit_test(flanks_with_outliers_on_both_sides),
        cmocka_unit_test(a_short_flank_suffices),
        cmocka_unit_test(hopeless_flanks_are_refused),
    };
    return cmocka_run_group_tests(tests, seed, NULL);
}
