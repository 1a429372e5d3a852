/*
 * The bisquare's constant and the scale's factor, by quadrature over the normal density: efficiency
 * = (E psi')^2 / E psi^2 (P. J. Huber, Ann. Math. Statist. 35 (1964) 73); 4.685 gives 95 % (Beaton,
 * Tukey, Technometrics 16 (1974) 147; Holland, Welsch 1977, as found in several libraries). Then
 * the fits themselves, by a simulation with a fixed seed: they must show that efficiency.
 */
#include "tests/support/close.h"
#include "tests/support/cloud.h"

static double density(double x)
{
    return exp(-0.5 * x * x) / 2.50662827463100050242;
}

static double bisquare_efficiency(double c)
{
    const int steps = 20000; /* Simpson */
    double psi2 = 0.0, slope = 0.0, h = 2.0 * c / steps;
    for (int i = 0; i <= steps; i++) {
        double x = -c + h * i, q = x * x / (c * c);
        double psi = x * (1.0 - q) * (1.0 - q), d = (1.0 - q) * (1.0 - 5.0 * q);
        double w = (i == 0 || i == steps ? 1.0 : i % 2 ? 4.0 : 2.0) * h / 3.0 * density(x);
        psi2 += w * psi * psi;
        slope += w * d;
    }
    return slope * slope / psi2;
}

static void efficiency_by_quadrature(void **state)
{
    (void)state;
    static const struct {
        double c, efficiency;
    } table[] = {{4.685, 0.949997}, {3.44369, 0.850000}, {1.54764, 0.286824}, {6.0, 0.981031}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        assert_close(bisquare_efficiency(table[i].c), table[i].efficiency, 1e-6);
}

static void scale_factor(void **state)
{
    (void)state;
    assert_close(1.0 / plumb_unc_normal_quantile(0.75), 1.482602218505602, 1e-14);
}

/* Variance of angle and offset over many lines against the Cramer-Rao limit, which least squares
 * reaches. */
static void the_fit_has_that_efficiency(void **state)
{
    (void)state;
    enum { n = 100, lines = 2500 };
    struct geo_point pts[n];
    struct unc_rng rng;
    double angle = 0, offset = 0, scale = 0;
    plumb_unc_rng_seed(&rng, 41);
    for (int i = 0; i < lines; i++) {
        struct geo_fit f;
        cloud_line(pts, n, (struct geo_point){0, 0}, 0.0, 1.0, 0.3, &rng);
        assert_int_equal(plumb_geo_fit_robust(pts, NULL, n, 0.0, &f, NULL), 0);
        double a = atan2(f.line.dir.y, f.line.dir.x);
        double o = plumb_geo_across(&f.line, (struct geo_point){0.5 * (n - 1), 0.0});
        angle += a * a / lines;
        offset += o * o / lines;
        scale += f.scale / lines;
    }
    double floor_offset = 0.09 / n, floor_angle = 0.09 * 12.0 / (n * ((double)n * n - 1.0));
    /* relative sd of a variance from 2500 lines: 2.8 % */
    assert_close(floor_angle / angle, 0.95, 0.05);
    assert_close(floor_offset / offset, 0.95, 0.05);
    assert_close_rel(scale, 0.3, 0.02);
}

/* Few points: without its correction the scale would come out 5 to 15 % too small. */
static void the_scale_of_few_points(void **state)
{
    (void)state;
    static const size_t size[] = {6, 8, 10, 15, 30};
    struct geo_point pts[30];
    struct unc_rng rng;
    plumb_unc_rng_seed(&rng, 42);
    for (size_t k = 0; k < sizeof size / sizeof size[0]; k++) {
        double scale = 0.0;
        const int lines = 2000;
        for (int i = 0; i < lines; i++) {
            struct geo_fit f;
            cloud_line(pts, size[k], (struct geo_point){0, 0}, 0.0, 1.0, 0.03, &rng);
            assert_int_equal(plumb_geo_fit_robust(pts, NULL, size[k], 0.0, &f, NULL), 0);
            scale += f.scale / lines;
        }
        assert_close_rel(scale, 0.03, 0.06);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(efficiency_by_quadrature),
        cmocka_unit_test(scale_factor),
        cmocka_unit_test(the_fit_has_that_efficiency),
        cmocka_unit_test(the_scale_of_few_points),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
