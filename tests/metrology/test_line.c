/*
 * Straight line through values with known covariances. Truth: the thermometer of JCGM 100:2008,
 * H.3; cases by hand; a simulation with errors that the values share.
 */
#include "tests/support/close.h"

#include "plumbrule/metrology.h"

/* JCGM 100:2008, H.3, table H.6. Equal weights: u is the scatter about the line, s = 0.0035. */
static void the_thermometer(void **state)
{
    (void)state;
    enum { n = 11 };
    static const double t[n] = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                                24.513, 25.002, 25.503, 26.010, 26.511};
    static const double b[n] = {-0.171, -0.169, -0.166, -0.159, -0.164, -0.165,
                                -0.156, -0.157, -0.159, -0.161, -0.160};
    const double s = 0.00349756;
    double x[n], cov[n * n] = {0};
    for (size_t i = 0; i < n; i++) {
        x[i] = t[i] - 20.0;
        cov[i * n + i] = s * s;
    }
    struct unc_line line;
    assert_int_equal(plumb_unc_fit_line(x, b, cov, n, &line, NULL), 0);
    assert_close(line.start, -0.1712, 5e-5);
    assert_close(line.u_start, 0.0029, 5e-5);
    assert_close(line.slope, 0.00218, 5e-6);
    assert_close(line.u_slope, 0.00067, 5e-6);
    assert_close(line.chi2, 9.0, 1e-4); /* s^2 is the sum of squares over 11 - 2 */
    assert_true(line.consistent);
}

/* Three values at -1, 0, 1: slope (y3 - y1)/2, u = u1/sqrt(2); an error that 1 and 3 share is not
 * in the slope, an opposite one is there in full. */
static void shared_errors(void **state)
{
    (void)state;
    static const double x[] = {-1.0, 0.0, 1.0}, y[] = {3.0, 4.0, 5.4};
    struct unc_line line;
    for (int k = -1; k <= 1; k++) {
        double c = 0.09 * k * 0.999;
        double cov[] = {0.09, 0, c, 0, 0.04, 0, c, 0, 0.09};
        assert_int_equal(plumb_unc_fit_line(x, y, cov, 3, &line, NULL), 0);
        assert_close(line.slope, 1.2, 1e-12);
        assert_close(line.u_slope, sqrt(0.5 * (0.09 - c)), 1e-12);
    }
}

/* By simulation: a value of every look is off by its own error and by one that all share in
 * proportion to the value's place, as a wrong size of one gauge makes it. */
static void simulated(void **state)
{
    (void)state;
    enum { n = 5, TRIALS = 20000 };
    static const double x[n] = {0.0, 0.0, 1.0, 4.0, 12.0}, u[n] = {0.3, 0.2, 0.2, 0.4, 0.2},
                        common[n] = {0.1, 0.1, 0.12, 0.2, 0.5};
    double cov[n * n], y[n], sum = 0.0, sum2 = 0.0;
    struct unc_line line = {0};
    struct unc_rng rng;
    plumb_unc_rng_seed(&rng, 5);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            cov[i * n + j] = common[i] * common[j] + (i == j ? u[i] * u[i] : 0.0);
    for (int k = 0; k < TRIALS; k++) {
        double shared = plumb_unc_rng_normal(&rng);
        for (size_t i = 0; i < n; i++)
            y[i] = 2.0 + 0.1 * x[i] + u[i] * plumb_unc_rng_normal(&rng) + common[i] * shared;
        assert_int_equal(plumb_unc_fit_line(x, y, cov, n, &line, NULL), 0);
        sum += line.slope;
        sum2 += line.slope * line.slope;
    }
    double widen = line.consistent ? 1.0 : line.birge, mean = sum / TRIALS;
    assert_close(mean, 0.1, 0.002);
    assert_close_rel(line.u_slope / widen, sqrt(sum2 / TRIALS - mean * mean), 0.02);
}

static void off_the_line(void **state)
{
    (void)state;
    static const double x[] = {0.0, 1.0, 2.0}, y[] = {0.0, 1.0, 0.0};
    double cov[] = {0.01, 0, 0, 0, 0.01, 0, 0, 0, 0.01};
    struct unc_line line;
    assert_int_equal(plumb_unc_fit_line(x, y, cov, 3, &line, NULL), 0);
    assert_false(line.consistent);
    assert_close(line.chi2, 200.0 / 3.0, 1e-9); /* residuals -1/3, 2/3, -1/3 */
    assert_close(line.u_slope, 0.1 / sqrt(2.0) * line.birge, 1e-12);
}

static void refused(void **state)
{
    (void)state;
    static const double x[] = {1.0, 1.0, 1.0}, y[] = {1.0, 2.0, 3.0};
    double cov[] = {1, 0, 0, 0, 1, 0, 0, 0, 1}, none[9] = {0};
    struct unc_line line;
    assert_int_equal(plumb_unc_fit_line(x, y, cov, 3, &line, NULL), ERR_ILLPOSED);
    assert_int_equal(plumb_unc_fit_line(y, x, cov, 2, &line, NULL), ERR_ILLPOSED);
    assert_int_equal(plumb_unc_fit_line(y, x, none, 3, &line, NULL), ERR_ARG);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_thermometer), cmocka_unit_test(shared_errors),
        cmocka_unit_test(simulated),       cmocka_unit_test(off_the_line),
        cmocka_unit_test(refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
