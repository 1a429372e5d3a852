/*
 * Monte Carlo propagation and its generator. Truth: known distributions (normal sums, the square of
 * a normal, the ratio of two), and the generator's published first outputs.
 */
#include "tests/support/close.h"

#include <stdlib.h>
#include "plumbrule/metrology.h"

enum { trials = 100000 };
static const double z95 = 1.959963984540054;

/* Reference implementation of the authors, state 1, 2, 3, 4: the first outputs as they are listed
 * with several ports of it. Our uniform number is the upper 53 bits. */
static void generator_gives_the_published_numbers(void **state)
{
    (void)state;
    static const uint64_t want[] = {11520U,
                                    0U,
                                    1509978240U,
                                    1215971899390074240U,
                                    1216172134540287360U,
                                    607988272756665600U,
                                    16172922978634559625U,
                                    8476171486693032832U,
                                    10595114339597558777U,
                                    2904607092377533576U};
    struct unc_rng r = {.s = {1, 2, 3, 4}};
    for (size_t i = 0; i < sizeof want / sizeof want[0]; i++)
        assert_close(plumb_unc_rng_uniform(&r), (double)(want[i] >> 11) * 0x1p-53, 0);
}

/* splitmix64 of seed 1234567: the first outputs, as listed for several ports of the reference. */
static void seeding_gives_the_published_numbers(void **state)
{
    (void)state;
    struct unc_rng r;
    plumb_unc_rng_seed(&r, 1234567);
    assert_true(r.s[0] == 6457827717110365317U);
    assert_true(r.s[1] == 3203168211198807973U);
    assert_true(r.s[2] == 9817491932198370423U);
    assert_true(r.s[3] == 4593380528125082431U);
}

static void deviates_have_their_distribution(void **state)
{
    (void)state;
    struct unc_rng r;
    double m[5] = {0}, u1 = 0, u2 = 0;
    const int n = 400000;
    int tail = 0;
    plumb_unc_rng_seed(&r, 5);
    for (int i = 0; i < n; i++) {
        double z = plumb_unc_rng_normal(&r), u = plumb_unc_rng_uniform(&r);
        assert_true(u >= 0.0 && u < 1.0);
        for (int k = 1; k <= 4; k++)
            m[k] += pow(z, k) / n;
        tail += fabs(z) > z95;
        u1 += u / n;
        u2 += u * u / n;
    }
    /* each within 4 standard deviations of its sampling distribution */
    assert_close(m[1], 0.0, 4 * sqrt(1.0 / n));
    assert_close(m[2], 1.0, 4 * sqrt(2.0 / n));
    assert_close(m[3], 0.0, 4 * sqrt(15.0 / n));
    assert_close(m[4], 3.0, 4 * sqrt(96.0 / n));
    assert_close(tail / (double)n, 0.05, 4 * sqrt(0.0475 / n));
    assert_close(u1, 0.5, 4 * sqrt(1.0 / 12.0 / n));
    assert_close(u2, 1.0 / 3.0, 4 * sqrt(4.0 / 45.0 / n));
}

static void model(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = 2.0 * x[0] - x[1];
    y[1] = x[0] * x[0];
    y[2] = 4.0;
    y[3] = x[0] > 0.0 ? x[0] : (double)NAN;
}

static const double x_[] = {1.0, 3.0}, u_[] = {0.5, 1.0};

static void linear_model_gives_the_normal_interval(void **state)
{
    (void)state;
    const struct unc_model m = {.n = 2, .m = 4, .fn = model, .x = x_, .u = u_};
    struct unc_value v[4];
    assert_int_equal(plumb_unc_monte_carlo(&m, trials, 1, v, NULL), 0);
    double u = sqrt(2.0);
    assert_close(v[0].value, -1.0, 0);
    assert_close_rel(v[0].u, u, 0.01);
    /* sd of a 2.5 % quantile: sqrt(0.025 * 0.975 / trials) / density = 0.0085 u */
    assert_close(v[0].lo, -1.0 - z95 * u, 0.03 * u);
    assert_close(v[0].hi, -1.0 + z95 * u, 0.03 * u);
    assert_close(v[0].nonlinear, 0.0, 0.015);
    assert_close(v[2].u, 0.0, 0);
    assert_close(v[2].lo, 4.0, 0);
    assert_close(v[2].hi, 4.0, 0);
}

static double cdf_of_square(double q)
{
    return plumb_unc_normal_cdf((sqrt(q) - 1.0) / 0.5) -
           plumb_unc_normal_cdf((-sqrt(q) - 1.0) / 0.5);
}

/* x^2 of N(1, 0.5): mean 1.25, variance 4 mu^2 s^2 + 2 s^4; where its quantiles must lie. */
static void skew_model_gives_the_skew_interval(void **state)
{
    (void)state;
    const struct unc_model m = {.n = 2, .m = 4, .fn = model, .x = x_, .u = u_};
    struct unc_value v[4];
    assert_int_equal(plumb_unc_monte_carlo(&m, trials, 2, v, NULL), 0);
    assert_close_rel(v[1].u, sqrt(4 * 0.25 + 2 * 0.0625), 0.01);
    assert_close(cdf_of_square(v[1].lo), 0.025, 4 * sqrt(0.025 * 0.975 / trials));
    assert_close(cdf_of_square(v[1].hi), 0.975, 4 * sqrt(0.025 * 0.975 / trials));
    /* shift of the mean 0.25 against u: the same as half the second difference, 0.25 */
    assert_close(v[1].nonlinear, 0.25 / sqrt(1.125), 0.015);
}

/* x > 0 fails in 2.3 % of N(1, 0.5): more than one in a hundred, so nothing is claimed. */
static void lost_trials(void **state)
{
    (void)state;
    struct unc_model m = {.n = 2, .m = 4, .fn = model, .x = x_, .u = u_};
    struct unc_value v[4];
    assert_int_equal(plumb_unc_monte_carlo(&m, 20000, 3, v, NULL), 0);
    assert_close(v[3].value, 1.0, 0);
    assert_nan(v[3].u);
    assert_nan(v[3].lo);
    static const double narrow[] = {0.4, 1.0}; /* 0.6 %: they are left out */
    m.u = narrow;
    assert_int_equal(plumb_unc_monte_carlo(&m, 20000, 3, v, NULL), 0);
    assert_close_rel(v[3].u, 0.4, 0.03);
    static const double below[] = {-1.0, 3.0}; /* no value at the estimate */
    m.x = below;
    assert_int_equal(plumb_unc_monte_carlo(&m, 20000, 3, v, NULL), 0);
    assert_nan(v[3].value);
    assert_nan(v[3].u);
}

static void pair(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = x[0] - x[1];
    y[1] = x[0] + x[1];
    y[2] = x[2] - x[0];
}

static void correlated_inputs(void **state)
{
    (void)state;
    static const double x[] = {0, 0, 0}, u[] = {0.3, 0.4, 0.3};
    /* the third input is the first again */
    static const double corr[] = {1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 1};
    const struct unc_model m = {.n = 3, .m = 3, .fn = pair, .x = x, .u = u, .corr = corr};
    struct unc_value v[3];
    assert_int_equal(plumb_unc_monte_carlo(&m, trials, 4, v, NULL), 0);
    assert_close_rel(v[0].u, sqrt(0.25 - 0.192), 0.01);
    assert_close_rel(v[1].u, sqrt(0.25 + 0.192), 0.01);
    assert_close(v[2].u, 0.0, 1e-6);
}

static void same_seed_same_bits(void **state)
{
    (void)state;
    const struct unc_model m = {.n = 2, .m = 4, .fn = model, .x = x_, .u = u_};
    struct unc_value a[4], b[4];
    assert_int_equal(plumb_unc_monte_carlo(&m, 5000, 9, a, NULL), 0);
    assert_int_equal(plumb_unc_monte_carlo(&m, 5000, 9, b, NULL), 0);
    assert_memory_equal(a, b, sizeof(struct unc_value) * 2);
    assert_int_equal(plumb_unc_monte_carlo(&m, 5000, 10, b, NULL), 0);
    assert_true(a[0].lo != b[0].lo);
}

static void too_few_or_too_many_trials(void **state)
{
    (void)state;
    const struct unc_model m = {.n = 2, .m = 4, .fn = model, .x = x_, .u = u_};
    struct unc_value v[4];
    struct err e = {0};
    assert_int_equal(plumb_unc_monte_carlo(&m, 99, 1, v, &e), ERR_ARG);
    assert_int_equal(plumb_unc_monte_carlo(&m, SIZE_MAX / 8, 1, v, &e), ERR_NOMEM);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(generator_gives_the_published_numbers),
        cmocka_unit_test(seeding_gives_the_published_numbers),
        cmocka_unit_test(deviates_have_their_distribution),
        cmocka_unit_test(linear_model_gives_the_normal_interval),
        cmocka_unit_test(skew_model_gives_the_skew_interval),
        cmocka_unit_test(lost_trials),
        cmocka_unit_test(correlated_inputs),
        cmocka_unit_test(same_seed_same_bits),
        cmocka_unit_test(too_few_or_too_many_trials),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
