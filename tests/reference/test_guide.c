/*
 * Worked examples of the Guide to the expression of uncertainty in measurement, JCGM 100:2008:
 * 5.2.2 (correlated resistors), H.1 (end gauge), H.2 (resistance and reactance); and of its
 * supplement JCGM 101:2008.
 * Status: data and results of H.1 and H.2 were read in copies of the annex; the published
 * uncertainties of H.2 and 5.2.2 are from memory and agree with an independent computation, whose
 * further digits stand beside them.
 * JCGM 101, 9.2 (four rectangular inputs) is left out: our Monte Carlo draws normal inputs only.
 * Its additive model with normal inputs (9.2.2) is exact and stands in for it.
 */
#include "tests/support/close.h"

#include "plumbrule/metrology.h"

static void sum10(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = 0.0;
    for (size_t i = 0; i < 10; i++)
        y[0] += x[i];
}

/* Ten resistors of 1000 ohm, u = 0.1 ohm each, all calibrated against the same standard: 1.0 ohm,
 * not the 0.32 ohm of independent ones. */
static void resistors_in_series(void **state)
{
    (void)state;
    double x[10], u[10], corr[100];
    for (size_t i = 0; i < 10; i++) {
        x[i] = 1000.0;
        u[i] = 0.1;
    }
    for (size_t i = 0; i < 100; i++)
        corr[i] = 1.0;
    struct unc_model m = {.n = 10, .m = 1, .fn = sum10, .x = x, .u = u, .corr = corr};
    struct unc_value v;
    assert_int_equal(plumb_unc_propagate(&m, &v, NULL, NULL), 0);
    assert_close(v.u, 1.0, 1e-8);
    assert_int_equal(plumb_unc_monte_carlo(&m, 20000, 1, &v, NULL), 0);
    assert_close(v.u, 1.0, 0.02);
    m.corr = NULL;
    assert_int_equal(plumb_unc_propagate(&m, &v, NULL, NULL), 0);
    assert_close(v.u, 0.316, 0.0005);
}

/* l = lS + d - lS (dalpha theta + alphaS dtheta), nm and C; d has four parts. */
enum { l_s, d_mean, d_random, d_systematic, alpha_s, theta, d_alpha, d_theta, n_gauge };

static void end_gauge(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = x[l_s] + x[d_mean] + x[d_random] + x[d_systematic] -
           x[l_s] * (x[d_alpha] * x[theta] + x[alpha_s] * x[d_theta]);
}

static void end_gauge_of_annex_h1(void **state)
{
    (void)state;
    static const double x[n_gauge] = {50000623, 215, 0, 0, 11.5e-6, -0.1, 0, 0};
    const double u[n_gauge] = {25, 13 / sqrt(5.0), 3.9, 6.7, 1.2e-6, 0.41, 0.58e-6, 0.029};
    static const double dof[n_gauge] = {18, 24, 5, 8, HUGE_VAL, HUGE_VAL, 50, 2};
    const struct unc_model m = {.n = n_gauge, .m = 1, .fn = end_gauge, .x = x, .u = u, .dof = dof};
    struct unc_value v;
    double c[n_gauge];
    assert_int_equal(plumb_unc_propagate(&m, &v, c, NULL), 0);
    assert_close(v.value, 50000838.0, 1e-6);
    assert_close(v.u, 32.0, 0.5);
    /* 1002 nm^2 is the sum of the annex's rounded figures; its 16.6 nm is 16.675 nm unrounded */
    assert_close(v.u * v.u, 1002.0 + 16.675 * 16.675 - 16.6 * 16.6, 1.0);
    /* the trap: two inputs have no first-order weight */
    assert_close(c[alpha_s] * u[alpha_s], 0.0, 1e-6);
    assert_close(c[theta] * u[theta], 0.0, 1e-6);
    assert_close(c[d_alpha] * u[d_alpha], 2.9, 0.05);
    assert_close(fabs(c[d_theta]) * u[d_theta], 16.6, 0.1);
    /* nu_eff = 16.7 with the rounded figures of the annex, 16 after truncation */
    assert_int_equal((int)v.dof, 16);
    assert_close(v.dof, 16.7, 0.15);
    double k99 = plumb_unc_coverage_factor(0.99, v.dof);
    assert_close(k99, 2.92, 0.005);
    assert_close(k99 * v.u, 93.0, 1.0);
    /* u(d) alone: 9.7 nm with 25.6 degrees of freedom */
    const double part[] = {u[d_mean], u[d_random], u[d_systematic]};
    assert_close(sqrt(part[0] * part[0] + part[1] * part[1] + part[2] * part[2]), 9.7, 0.05);
    assert_close(plumb_unc_welch_satterthwaite(part, dof + d_mean, 3), 25.6, 0.3);
}

/* The second-order terms that the annex adds (11.7 and 1.7 nm, together 34 nm) are products of two
 * inputs: first order does not see them, Monte Carlo does. */
static void end_gauge_second_order(void **state)
{
    (void)state;
    static const double x[n_gauge] = {50000623, 215, 0, 0, 11.5e-6, -0.1, 0, 0};
    const double u[n_gauge] = {25, 13 / sqrt(5.0), 3.9, 6.7, 1.2e-6, 0.41, 0.58e-6, 0.029};
    const struct unc_model m = {.n = n_gauge, .m = 1, .fn = end_gauge, .x = x, .u = u};
    struct unc_value v;
    assert_int_equal(plumb_unc_monte_carlo(&m, 100000, 1, &v, NULL), 0);
    assert_close(v.u, 33.80, 0.3);
}

static void impedance(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = x[0] / x[1] * cos(x[2]); /* R */
    y[1] = x[0] / x[1] * sin(x[2]); /* X */
    y[2] = x[0] / x[1];             /* Z */
}

/* Five simultaneous readings of V, I (A) and phase. */
static const double reading[5][3] = {{5.007, 19.663e-3, 1.0456},
                                     {4.994, 19.639e-3, 1.0438},
                                     {5.005, 19.640e-3, 1.0468},
                                     {4.990, 19.685e-3, 1.0428},
                                     {4.999, 19.678e-3, 1.0433}};

static void means_and_correlations(double mean[3], double u[3], double corr[9])
{
    double s[3][3] = {{0}};
    for (size_t i = 0; i < 3; i++) {
        mean[i] = 0.0;
        for (size_t k = 0; k < 5; k++)
            mean[i] += reading[k][i] / 5.0;
    }
    for (size_t i = 0; i < 3; i++)
        for (size_t j = 0; j < 3; j++)
            for (size_t k = 0; k < 5; k++)
                s[i][j] += (reading[k][i] - mean[i]) * (reading[k][j] - mean[j]) / 20.0;
    for (size_t i = 0; i < 3; i++) {
        u[i] = sqrt(s[i][i]);
        for (size_t j = 0; j < 3; j++)
            corr[3 * i + j] = i == j ? 1.0 : s[i][j] / sqrt(s[i][i] * s[j][j]);
    }
}

static void resistance_and_reactance_of_annex_h2(void **state)
{
    (void)state;
    double x[3], u[3], corr[9], jac[9];
    means_and_correlations(x, u, corr);
    assert_close(corr[1], -0.3553, 5e-5);
    assert_close(corr[2], 0.8576, 5e-5);
    assert_close(corr[5], -0.6451, 5e-5);
    struct unc_model m = {.n = 3, .m = 3, .fn = impedance, .x = x, .u = u, .corr = corr};
    struct unc_value v[3];
    assert_int_equal(plumb_unc_propagate(&m, v, jac, NULL), 0);
    static const double value[] = {127.732, 219.847, 254.260}, published[] = {0.071, 0.295, 0.236};
    static const double computed[] = {0.07107, 0.29558, 0.23634};
    for (size_t k = 0; k < 3; k++) {
        assert_close(v[k].value, value[k], 0.0005);
        assert_close(v[k].u, published[k], 0.001);
        assert_close(v[k].u, computed[k], 1e-5);
    }
    /* correlations of the results: -0.588, -0.485, 0.993 */
    static const size_t pair[][2] = {{0, 1}, {0, 2}, {1, 2}};
    static const double want[] = {-0.588, -0.485, 0.993};
    for (size_t p = 0; p < 3; p++) {
        const double *a = jac + 3 * pair[p][0], *b = jac + 3 * pair[p][1];
        double cov = 0.0;
        for (size_t i = 0; i < 3; i++)
            for (size_t j = 0; j < 3; j++)
                cov += a[i] * u[i] * b[j] * u[j] * corr[3 * i + j];
        assert_close(cov / (v[pair[p][0]].u * v[pair[p][1]].u), want[p], 0.0006);
    }
    /* whoever leaves the correlations out gets 0.19 for R */
    m.corr = NULL;
    assert_int_equal(plumb_unc_propagate(&m, v, NULL, NULL), 0);
    static const double ignored[] = {0.19454, 0.20091, 0.20408};
    for (size_t k = 0; k < 3; k++)
        assert_close(v[k].u, ignored[k], 1e-5);
}

static void both_propagations_agree_on_annex_h2(void **state)
{
    (void)state;
    double x[3], u[3], corr[9];
    means_and_correlations(x, u, corr);
    const struct unc_model m = {.n = 3, .m = 3, .fn = impedance, .x = x, .u = u, .corr = corr};
    struct unc_value v[3];
    assert_int_equal(plumb_unc_monte_carlo(&m, 50000, 1, v, NULL), 0);
    static const double published[] = {0.071, 0.295, 0.236};
    for (size_t k = 0; k < 3; k++)
        assert_close_rel(v[k].u, published[k], 0.015);
}

static void sum4(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = x[0] + x[1] + x[2] + x[3];
}

/* JCGM 101, 9.2.2: four standard normal inputs: u = 2.00, 95 % interval +/- 3.92. */
static void additive_model_of_the_supplement(void **state)
{
    (void)state;
    static const double x[4] = {0}, u[] = {1, 1, 1, 1};
    const struct unc_model m = {.n = 4, .m = 1, .fn = sum4, .x = x, .u = u};
    struct unc_value v;
    assert_int_equal(plumb_unc_propagate(&m, &v, NULL, NULL), 0);
    assert_close(v.u, 2.0, 1e-12);
    assert_close(v.hi, 3.92, 0.005);
    assert_int_equal(plumb_unc_monte_carlo(&m, 200000, 1, &v, NULL), 0);
    assert_close(v.u, 2.0, 0.015);
    assert_close(v.lo, -3.92, 0.05);
    assert_close(v.hi, 3.92, 0.05);
}

static void scaled_length(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = x[0] / x[1] * x[2];
}

/* A gauge of 16.00 mm (0.05) over 640.0 px (1.0) measures 400 px (1.0): 10.000 mm, u = 0.0430 mm;
 * computed independently by the rule for products (5.1.6). */
static void a_gauge_gives_the_scale(void **state)
{
    (void)state;
    static const double x[] = {16.0, 640.0, 400.0}, u[] = {0.05, 1.0, 1.0};
    const struct unc_model m = {.n = 3, .m = 1, .fn = scaled_length, .x = x, .u = u};
    struct unc_value v;
    assert_int_equal(plumb_unc_propagate(&m, &v, NULL, NULL), 0);
    assert_close(v.value, 10.0, 1e-12);
    assert_close(v.u, 0.0430, 0.00005);
    assert_close(v.u / v.value, 0.004296, 1e-6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(resistors_in_series),
        cmocka_unit_test(end_gauge_of_annex_h1),
        cmocka_unit_test(end_gauge_second_order),
        cmocka_unit_test(resistance_and_reactance_of_annex_h2),
        cmocka_unit_test(both_propagations_agree_on_annex_h2),
        cmocka_unit_test(additive_model_of_the_supplement),
        cmocka_unit_test(a_gauge_gives_the_scale),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
