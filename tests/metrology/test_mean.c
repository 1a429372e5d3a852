/*
 * Weighted mean, consistency, and agreement of paired readings. Truth: worked by hand from the
 * definitions (weights 1/u^2, chi-square, Birge ratio).
 */
#include "tests/support/close.h"

#include "plumbrule/metrology.h"

static void two_values_by_hand(void **state)
{
    (void)state;
    static const double v[] = {10.0, 10.5}, u[] = {0.3, 0.4};
    struct unc_mean m;
    assert_int_equal(plumb_unc_weighted_mean(v, u, 2, &m, NULL), 0);
    assert_close(m.value, 10.18, 1e-12);     /* (10/0.09 + 10.5/0.16) / (1/0.09 + 1/0.16) */
    assert_close(m.u_internal, 0.24, 1e-12); /* 0.3 * 0.4 / 0.5 */
    assert_close(m.birge, 1.0, 1e-12);       /* 0.5 apart with u 0.5 */
    assert_close(m.p, erfc(sqrt(0.5)), 1e-12);
    assert_true(m.consistent);
    assert_close(m.u, m.u_internal, 0);
    assert_int_equal(m.worst, 1); /* neither is farther out; the less certain one is named */
}

/* 1.96 standard deviations apart is the edge of the 5 % level for two values. */
static void inconsistency_widens_u(void **state)
{
    (void)state;
    static const double u[] = {0.3, 0.4};
    for (int k = 0; k < 2; k++) {
        double apart = 0.5 * (k == 0 ? 1.9599 : 1.9601);
        double v[] = {10.0, 10.0 + apart};
        struct unc_mean m;
        assert_int_equal(plumb_unc_weighted_mean(v, u, 2, &m, NULL), 0);
        assert_int_equal(m.consistent, k == 0);
        assert_close_rel(m.birge, apart / 0.5, 1e-9);
        assert_close_rel(m.u, k == 0 ? 0.24 : 0.24 * apart / 0.5, 1e-9);
    }
}

static void the_odd_one_out_is_named(void **state)
{
    (void)state;
    static const double u[] = {0.1, 0.1, 0.1, 0.1};
    for (size_t odd = 0; odd < 4; odd++) {
        double v[] = {5.00, 5.05, 4.95, 5.01};
        v[odd] += 2.0;
        struct unc_mean m;
        assert_int_equal(plumb_unc_weighted_mean(v, u, 4, &m, NULL), 0);
        assert_false(m.consistent);
        assert_int_equal(m.worst, odd);
    }
    /* far out, but so uncertain that it is the other one which does not fit */
    static const double w[] = {5.0, 5.5, 9.0}, uw[] = {0.05, 0.05, 3.0};
    struct unc_mean m;
    assert_int_equal(plumb_unc_weighted_mean(w, uw, 3, &m, NULL), 0);
    assert_true(m.worst != 2);
}

static void equal_weights_give_the_plain_mean(void **state)
{
    (void)state;
    /* NIST StRD NumAcc1 (from memory): mean 10000002, standard deviation 1 */
    static const double v[] = {10000001, 10000003, 10000002}, u[] = {1, 1, 1};
    struct unc_mean m;
    assert_int_equal(plumb_unc_weighted_mean(v, u, 3, &m, NULL), 0);
    assert_close(m.value, 10000002.0, 1e-8);
    assert_close(m.birge, 1.0, 1e-9); /* sqrt(sum (v - mean)^2 / (n - 1)) with u = 1 */
}

/* NIST StRD NumAcc2 and NumAcc4 (from memory; their mean and standard deviation follow from how
 * they are made): one value, then 500 times one a tenth below and one a tenth above it. */
static void accuracy_on_a_large_offset(void **state)
{
    (void)state;
    static const struct {
        double mean, share;
    } table[] = {{1.2, 1e-13},
                 {10000000.2, 1e-7}}; /* 0.1 at ten million is rounded by 1e-8 of it */
    for (size_t k = 0; k < sizeof table / sizeof table[0]; k++) {
        double v[1001], u[1001];
        for (size_t i = 0; i < 1001; i++) {
            u[i] = 1.0;
            v[i] = i == 0 ? table[k].mean : table[k].mean + (i % 2 ? -0.1 : 0.1);
        }
        struct unc_mean m;
        assert_int_equal(plumb_unc_weighted_mean(v, u, 1001, &m, NULL), 0);
        assert_close_rel(m.value, table[k].mean, 1e-14);
        assert_close_rel(m.birge, 0.1, table[k].share);
    }
}

static void one_value_is_its_own_mean(void **state)
{
    (void)state;
    static const double v = 3.0, u = 0.2;
    struct unc_mean m;
    assert_int_equal(plumb_unc_weighted_mean(&v, &u, 1, &m, NULL), 0);
    assert_close(m.value, 3.0, 0);
    assert_close(m.u, 0.2, 1e-15);
    assert_close(m.birge, 0.0, 0);
    assert_true(m.consistent);
    assert_int_equal(m.worst, 0);
}

static void foolish_values_are_refused(void **state)
{
    (void)state;
    static const double v[] = {1, 2}, zero[] = {1, 0}, bad[] = {1, (double)NAN};
    struct unc_mean m;
    struct err e = {0};
    assert_int_equal(plumb_unc_weighted_mean(v, zero, 2, &m, &e), ERR_ARG);
    assert_int_equal(plumb_unc_weighted_mean(v, bad, 2, &m, &e), ERR_ARG);
    assert_int_equal(plumb_unc_weighted_mean(bad, v, 2, &m, &e), ERR_ARG);
    assert_int_equal(plumb_unc_weighted_mean(v, v, 0, &m, &e), ERR_ILLPOSED);
    struct unc_agreement a;
    assert_int_equal(plumb_unc_agreement(v, bad, 2, &a, &e), ERR_ARG);
    assert_int_equal(plumb_unc_agreement(v, v, 1, &a, &e), ERR_ILLPOSED);
}

static void agreement_by_hand(void **state)
{
    (void)state;
    static const double a[] = {10, 12, 14}, b[] = {9, 13, 11}; /* differences 1, -1, 3 */
    struct unc_agreement g;
    assert_int_equal(plumb_unc_agreement(a, b, 3, &g, NULL), 0);
    assert_close(g.bias, 1.0, 1e-15);
    assert_close(g.sd, 2.0, 1e-15);
    assert_close(g.lo, 1.0 - 2.0 * 1.959963984540054, 1e-12);
    assert_close(g.hi, 1.0 + 2.0 * 1.959963984540054, 1e-12);
    assert_close(g.within_sd, sqrt(11.0 / 6.0), 1e-15);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_values_by_hand),
        cmocka_unit_test(inconsistency_widens_u),
        cmocka_unit_test(the_odd_one_out_is_named),
        cmocka_unit_test(equal_weights_give_the_plain_mean),
        cmocka_unit_test(accuracy_on_a_large_offset),
        cmocka_unit_test(one_value_is_its_own_mean),
        cmocka_unit_test(foolish_values_are_refused),
        cmocka_unit_test(agreement_by_hand),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
