/*
 * Coordinates that no film has: huge, tiny, repeated, mixed. Every fit either refuses them or gives
 * a finite line of unit direction; nothing hangs and nothing is read out of bounds.
 */
#include "tests/support/close.h"
#include "tests/support/cloud.h"

enum { most = 40, trials = 4000 };

static struct unc_rng rng;

static double wild(int kind)
{
    static const double odd[] = {0.0,   -0.0,   1.0,     -1.0,     1e-300, 4.9e-324,
                                 1e300, -1e300, 1.7e308, -1.7e308, 1e16,   1e-16};
    double u = plumb_unc_rng_uniform(&rng);
    if (kind == 0)
        return odd[(size_t)(u * 12.0)];
    if (kind == 1)
        return floor(3.0 * u);
    if (kind == 2)
        return plumb_unc_rng_normal(&rng) * pow(10.0, 600.0 * u - 300.0);
    return 1e15 + floor(4.0 * u);
}

static void wild_points(struct geo_point *pts, size_t n, int kind)
{
    for (size_t i = 0; i < n; i++) {
        pts[i].x = wild(kind);
        pts[i].y = wild(kind);
    }
}

static void assert_sound(int rc, const struct geo_fit *f, const struct err *e)
{
    if (rc != 0) {
        assert_true(rc == ERR_ILLPOSED || rc == ERR_ARG);
        assert_true(e->text[0] != '\0');
        assert_close(geo_norm(f->line.dir), 0.0, 0);
        return;
    }
    assert_close(geo_norm(f->line.dir), 1.0, 1e-12);
    assert_true(isfinite(f->line.at.x) && isfinite(f->line.at.y));
    assert_true(f->line.u_offset >= 0.0 && f->line.u_angle >= 0.0 && f->dof > 0.0);
    assert_true(isfinite(f->scale) && isfinite(f->rms) && isfinite(f->half_span));
}

static void fits_refuse_or_are_sound(void **state)
{
    (void)state;
    struct geo_point a[most], b[most];
    for (int trial = 0; trial < trials; trial++) {
        size_t n = (size_t)(plumb_unc_rng_uniform(&rng) * most);
        struct geo_fit f;
        struct err e = {0};
        double width, u;
        wild_points(a, n, trial % 4);
        wild_points(b, n, trial / 4 % 4);
        assert_sound(plumb_geo_fit_tls(a, NULL, n, &f, &e), &f, &e);
        assert_sound(plumb_geo_fit_robust(a, NULL, n, 0.0, &f, &e), &f, &e);
        int rc = plumb_geo_fit_flanks(a, n, b, n, 0.0, &f, &width, &u, &e);
        assert_sound(rc, &f, &e);
        assert_true(isfinite(width) && u >= 0.0);
    }
}

static void york_refuses_or_is_finite(void **state)
{
    (void)state;
    double x[most], y[most], ux[most], uy[most];
    for (int trial = 0; trial < trials; trial++) {
        size_t n = (size_t)(plumb_unc_rng_uniform(&rng) * 12.0);
        for (size_t i = 0; i < n; i++) {
            x[i] = wild(trial % 4);
            y[i] = wild(trial % 4);
            ux[i] = fabs(wild(trial / 4 % 4));
            uy[i] = fabs(wild(trial / 4 % 4));
        }
        double a, b, cov[3], chi2;
        struct err e = {0};
        int rc = plumb_geo_fit_york(x, y, ux, uy, n, &a, &b, cov, &chi2, &e);
        if (rc == 0)
            assert_true(isfinite(a) && isfinite(b) && isfinite(cov[0]) && isfinite(cov[1]) &&
                        isfinite(cov[2]) && isfinite(chi2));
        else
            assert_true(e.text[0] != '\0' && a == 0.0 && b == 0.0);
    }
}

static void polylines_stay_in_bounds(void **state)
{
    (void)state;
    struct geo_point a[most], p[2], at;
    for (int trial = 0; trial < trials; trial++) {
        size_t seg = 0, n = 1 + (size_t)(plumb_unc_rng_uniform(&rng) * (most - 1));
        struct geo_line l = {.dir = {0.6, 0.8}};
        wild_points(a, n, trial % 4);
        wild_points(p, 2, trial / 4 % 4);
        plumb_geo_polyline_nearest(a, n, p[0], &at, &seg);
        assert_true(seg < n);
        plumb_geo_polyline_segment(a, n, p[0], p[1], &at, &at);
        plumb_geo_polyline_cross(a, n, &l, p[0].x, 10.0, &at);
        plumb_geo_polyline_length(a, n);
    }
}

static int seed(void **state)
{
    (void)state;
    plumb_unc_rng_seed(&rng, 71);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fits_refuse_or_are_sound),
        cmocka_unit_test(york_refuses_or_is_finite),
        cmocka_unit_test(polylines_stay_in_bounds),
    };
    return cmocka_run_group_tests(tests, seed, NULL);
}
