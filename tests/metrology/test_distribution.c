/*
 * Quantiles and tails. Truth: the closed forms that exist (t with 1 and 2 degrees of freedom,
 * chi-square with 2 and 4, the normal's symmetry), the t table of JCGM 100:2008, G.2 (to its two
 * decimals; from memory, but for 2.92, which copies of Annex H.1 confirm), and the round trip. The
 * comparison with another library is in tests/reference.
 */
#include "tests/support/close.h"

#include "plumbrule/metrology.h"

static const double pi = 3.14159265358979323846;

/* JCGM 100:2008, table G.2, columns 95 % and 99 % (0: not compared). */
static void t_table(void **state)
{
    (void)state;
    static const struct {
        double dof, t95, t99;
    } table[] = {{1, 12.71, 0},   {2, 4.30, 0},     {3, 3.18, 0},  {4, 2.78, 0},
                 {5, 2.57, 4.03}, {6, 2.45, 0},     {8, 2.31, 0},  {10, 2.23, 3.17},
                 {15, 2.13, 0},   {16, 2.12, 2.92}, {20, 2.09, 0}, {50, 2.01, 0}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        assert_close(plumb_unc_coverage_factor(0.95, table[i].dof), table[i].t95, 0.005);
        if (table[i].t99 > 0.0)
            assert_close(plumb_unc_coverage_factor(0.99, table[i].dof), table[i].t99, 0.0052);
    }
    assert_close(plumb_unc_coverage_factor(0.95, HUGE_VAL), 1.959963984540054, 1e-12);
    assert_close(plumb_unc_coverage_factor(0.99, HUGE_VAL), 2.5758293035489004, 1e-12);
}

static void t_closed_forms(void **state)
{
    (void)state;
    static const double p[] = {0.01, 0.5, 0.6827, 0.9, 0.95, 0.99, 0.999, 0.9999};
    for (size_t i = 0; i < sizeof p / sizeof p[0]; i++) {
        double one = tan(0.5 * pi * p[i]), two = p[i] * sqrt(2.0 / (1.0 - p[i] * p[i]));
        assert_close_rel(plumb_unc_coverage_factor(p[i], 1), one, 1e-10);
        assert_close_rel(plumb_unc_coverage_factor(p[i], 2), two, 1e-10);
    }
}

static void t_falls_smoothly_towards_the_normal(void **state)
{
    (void)state;
    double z = plumb_unc_normal_quantile(0.975), before = HUGE_VAL;
    for (double dof = 1; dof < 1e9; dof = dof < 300 ? dof + 1 : dof * 3) {
        double t = plumb_unc_coverage_factor(0.95, dof);
        assert_true(t < before && t > z);
        before = t;
    }
    /* the sum below 200 and the expansion above meet */
    double step = plumb_unc_coverage_factor(0.95, 199) - plumb_unc_coverage_factor(0.95, 200);
    double next = plumb_unc_coverage_factor(0.95, 200) - plumb_unc_coverage_factor(0.95, 201);
    assert_close_rel(step, next * 201.0 / 199.0, 1e-4);
}

static void dof_is_cut_down_to_a_whole_number(void **state)
{
    (void)state;
    double k = plumb_unc_coverage_factor(0.99, 16);
    assert_close(plumb_unc_coverage_factor(0.99, 16.7), k, 0); /* JCGM 100, H.1.6 */
    assert_close(plumb_unc_coverage_factor(0.99, 16.999999), k, 0);
    double one = plumb_unc_coverage_factor(0.95, 1);
    assert_close(plumb_unc_coverage_factor(0.95, 0.3), one, 0);
    assert_close(plumb_unc_coverage_factor(0.95, 0.0), one, 0);
    assert_close(plumb_unc_coverage_factor(0.95, -5.0), one, 0);
    assert_nan(plumb_unc_coverage_factor(0.95, (double)NAN));
    assert_nan(plumb_unc_coverage_factor(0.0, 5));
    assert_nan(plumb_unc_coverage_factor(1.0, 5));
    assert_nan(plumb_unc_coverage_factor((double)NAN, 5));
}

static void chi2_closed_forms(void **state)
{
    (void)state;
    for (double x = 0.01; x < 200.0; x *= 1.3) {
        double e = exp(-0.5 * x);
        assert_close_rel(plumb_unc_chi2_tail(x, 2), e, 1e-12);
        assert_close_rel(plumb_unc_chi2_tail(x, 4), e * (1.0 + 0.5 * x), 1e-12);
        assert_close_rel(plumb_unc_chi2_tail(x, 1), erfc(sqrt(0.5 * x)), 1e-11);
        /* recurrence Q(k+2) = Q(k) + (x/2)^(k/2) e^(-x/2) / Gamma(k/2 + 1) */
        double more = pow(0.5 * x, 3.5) * e / tgamma(4.5);
        assert_close(plumb_unc_chi2_tail(x, 9), plumb_unc_chi2_tail(x, 7) + more, 1e-13);
    }
    assert_close(plumb_unc_chi2_tail(0, 3), 1.0, 0);
    assert_close(plumb_unc_chi2_tail(-1, 3), 1.0, 0);
    assert_close(plumb_unc_chi2_tail(HUGE_VAL, 3), 0.0, 0);
    assert_close(plumb_unc_chi2_tail(1e6, 3), 0.0, 0);
    assert_nan(plumb_unc_chi2_tail(1, 0));
    assert_nan(plumb_unc_chi2_tail((double)NAN, 2));
    /* large k: the median lies near k (1 - 2/(9k))^3, Wilson and Hilferty 1931 */
    for (double k = 100; k < 1e6; k *= 10)
        assert_close(plumb_unc_chi2_tail(k * pow(1.0 - 2.0 / (9.0 * k), 3), k), 0.5, 1e-4);
}

static void normal_there_and_back(void **state)
{
    (void)state;
    for (double z = -37.0; z <= 8.0; z += 0.37)
        assert_close(plumb_unc_normal_quantile(plumb_unc_normal_cdf(z)), z,
                     z < 3 ? 1e-13 * fmax(1.0, fabs(z)) : 1e-16 * exp(0.5 * z * z) * 3.0);
    static const double p[] = {1e-300, 1e-20, 1e-5, 0.024, 0.1, 0.3, 0.5};
    for (size_t i = 0; i < sizeof p / sizeof p[0]; i++)
        assert_close_rel(plumb_unc_normal_cdf(plumb_unc_normal_quantile(p[i])), p[i], 1e-11);
    assert_close(plumb_unc_normal_quantile(0.5), 0.0, 1e-16);
    assert_close(plumb_unc_normal_quantile(0.25), -0.6744897501960817, 1e-15);
    assert_close(plumb_unc_normal_quantile(0.9), -plumb_unc_normal_quantile(0.1), 1e-15);
    assert_true(plumb_unc_normal_quantile(0.0) == -HUGE_VAL);
    assert_true(plumb_unc_normal_quantile(1.0) == HUGE_VAL);
    assert_nan(plumb_unc_normal_quantile(-0.1));
    assert_nan(plumb_unc_normal_quantile(1.1));
    assert_nan(plumb_unc_normal_quantile((double)NAN));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(t_table),
        cmocka_unit_test(t_closed_forms),
        cmocka_unit_test(t_falls_smoothly_towards_the_normal),
        cmocka_unit_test(dof_is_cut_down_to_a_whole_number),
        cmocka_unit_test(chi2_closed_forms),
        cmocka_unit_test(normal_there_and_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
