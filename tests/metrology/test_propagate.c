/*
 * Propagation of uncertainty: linear models are exact, curvature is noticed, missing outputs stay
 * missing, correlated inputs, degrees of freedom, foolish arguments. Truth: the law itself
 * (JCGM 100:2008, 5.1.2, 5.2.2, G.4) on models whose derivatives are known.
 */
#include "tests/support/close.h"

#include "plumbrule/metrology.h"

static void linear(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = 3.0 * x[0] - 4.0 * x[1] + 7.0;
    y[1] = x[2];
    y[2] = 5.0;
}

static void linear_models_are_exact(void **state)
{
    (void)state;
    static const double x[] = {10, -2, 1e6}, u[] = {0.2, 0.1, 3}, dof[] = {4, 9, 12};
    const struct unc_model m = {.n = 3, .m = 3, .fn = linear, .x = x, .u = u, .dof = dof};
    struct unc_value v[3];
    double jac[9];
    assert_int_equal(plumb_unc_propagate(&m, v, jac, NULL), 0);
    assert_close(v[0].value, 45.0, 0);
    assert_close_rel(v[0].u, sqrt(0.36 + 0.16), 1e-12);
    /* G.2b: 0.52^2 / (0.6^4/4 + 0.4^4/9) = 7.66, truncated to 7: t = 2.3646 */
    assert_close_rel(v[0].dof, 0.2704 / (0.1296 / 4 + 0.0256 / 9), 1e-12);
    assert_close_rel(v[0].hi - v[0].value, 2.364624251592784 * v[0].u, 1e-9);
    assert_close_rel(v[0].value - v[0].lo, 2.364624251592784 * v[0].u, 1e-9);
    assert_close(v[0].nonlinear, 0.0, 1e-12);
    assert_close(v[1].u, 3.0, 1e-9);
    assert_close(v[1].dof, 12.0, 1e-9);
    static const double want[] = {3, -4, 0, 0, 0, 1, 0, 0, 0};
    for (size_t i = 0; i < 9; i++)
        assert_close(jac[i], want[i], 1e-9);
    /* an output that depends on nothing is sure */
    assert_close(v[2].u, 0.0, 0);
    assert_close(v[2].lo, 5.0, 0);
    assert_close(v[2].hi, 5.0, 0);
    assert_true(isinf(v[2].dof));
}

static void without_dof_the_normal_factor_holds(void **state)
{
    (void)state;
    static const double x[] = {10, -2, 0}, u[] = {0.2, 0.1, 0};
    const struct unc_model m = {.n = 3, .m = 3, .fn = linear, .x = x, .u = u};
    struct unc_value v[3];
    assert_int_equal(plumb_unc_propagate(&m, v, NULL, NULL), 0);
    assert_true(isinf(v[0].dof));
    assert_close_rel(v[0].hi - v[0].value, 1.959963984540054 * v[0].u, 1e-12);
    assert_close(v[1].u, 0.0, 0); /* its only input has no uncertainty */
}

static void square(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = x[0] * x[0];
}

/* y = x^2: derivative 2x, second difference 2u^2, so nonlinear = u^2 / (2 x u) = u / (2 x). */
static void curvature_is_noticed(void **state)
{
    (void)state;
    static const double u = 0.5;
    for (double x = 0.0; x <= 8.0; x += 2.0) {
        const struct unc_model m = {.n = 1, .m = 1, .fn = square, .x = &x, .u = &u};
        struct unc_value v;
        assert_int_equal(plumb_unc_propagate(&m, &v, NULL, NULL), 0);
        assert_close(v.u, 2.0 * x * u, 1e-12);
        if (x > 0.0)
            assert_close_rel(v.nonlinear, u / (2.0 * x), 1e-12);
        else
            assert_true(isinf(v.nonlinear)); /* first order sees nothing at all */
    }
}

/* Exists for x >= 0 only, is 2x there; y[1] for x at 1 exactly; y[2] nowhere. */
static void partial(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = x[0] >= 0.0 ? 2.0 * x[0] + x[1] : (double)NAN;
    y[1] = x[0] == 0.1 ? 1.0 : (double)NAN;
    y[2] = (double)NAN;
    y[3] = x[0] <= 0.1 ? 5.0 * x[0] : (double)NAN;
}

static void missing_outputs(void **state)
{
    (void)state;
    static const double x[] = {0.1, 1.0}, u[] = {0.3, 0.0};
    const struct unc_model m = {.n = 2, .m = 4, .fn = partial, .x = x, .u = u};
    struct unc_value v[4];
    double jac[8];
    assert_int_equal(plumb_unc_propagate(&m, v, jac, NULL), 0);
    assert_close(v[0].u, 0.6, 1e-12); /* from the side where it exists */
    assert_close(jac[0], 2.0, 1e-12);
    assert_close(jac[1], 0.0, 0); /* an input without uncertainty is not moved */
    assert_close(v[3].u, 1.5, 1e-12);
    assert_close(v[1].value, 1.0, 0); /* exists, but nobody knows how sure it is */
    assert_nan(v[1].u);
    assert_nan(v[1].lo);
    assert_nan(v[1].hi);
    assert_nan(v[2].value);
    assert_nan(v[2].u);
    assert_nan(v[2].lo);
    static const double none[] = {0.0, 0.0};
    const struct unc_model sure = {.n = 2, .m = 4, .fn = partial, .x = x, .u = none};
    assert_int_equal(plumb_unc_propagate(&sure, v, NULL, NULL), 0);
    assert_nan(v[2].u);
    assert_close(v[0].u, 0.0, 0);
}

static void difference(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = x[0] - x[1];
    y[1] = x[0] + x[1];
}

static void correlations(void **state)
{
    (void)state;
    static const double x[] = {5, 3}, u[] = {0.3, 0.4}, r[] = {-1.0, -0.5, 0.0, 0.8, 1.0};
    for (size_t i = 0; i < sizeof r / sizeof r[0]; i++) {
        const double corr[] = {1, r[i], r[i], 1};
        const struct unc_model m = {.n = 2, .m = 2, .fn = difference, .x = x, .u = u, .corr = corr};
        struct unc_value v[2];
        assert_int_equal(plumb_unc_propagate(&m, v, NULL, NULL), 0);
        assert_close(v[0].u, sqrt(0.25 - 0.24 * r[i]), 1e-12);
        assert_close(v[1].u, sqrt(0.25 + 0.24 * r[i]), 1e-12);
    }
}

static void spy(void *ctx, const double *x, double *y)
{
    int *calls = ctx;
    (*calls)++;
    y[0] = x[0] + x[1];
}

/* 2 n + 1 calls, none for inputs without uncertainty; at every call at most one input is moved. */
static void no_call_is_wasted(void **state)
{
    (void)state;
    static const double x[] = {1, 2}, u[] = {0.1, 0.0};
    int calls = 0;
    const struct unc_model m = {.n = 2, .m = 1, .fn = spy, .ctx = &calls, .x = x, .u = u};
    struct unc_value v;
    assert_int_equal(plumb_unc_propagate(&m, &v, NULL, NULL), 0);
    assert_int_equal(calls, 3);
}

static void foolish_models_are_refused(void **state)
{
    (void)state;
    static const double nan_ = (double)NAN, one = 1.0, minus = -1.0, zero = 0.0;
    static const struct {
        const double *x, *u, *dof;
    } table[] = {{&nan_, &one, NULL}, {&one, &nan_, NULL},  {&one, &minus, NULL},
                 {&one, &one, &zero}, {&one, &one, &minus}, {&one, &one, &nan_}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        const struct unc_model m = {
            .n = 1, .m = 1, .fn = square, .x = table[i].x, .u = table[i].u, .dof = table[i].dof};
        struct unc_value v = {0};
        struct err e = {0};
        assert_int_equal(plumb_unc_propagate(&m, &v, NULL, &e), ERR_ARG);
        assert_nan(v.value);
        assert_true(e.text[0] != '\0');
        assert_int_equal(plumb_unc_monte_carlo(&m, 1000, 1, &v, &e), ERR_ARG);
        assert_nan(v.value);
    }
    static const double corr[][4] = {
        {1, 0.5, 0.4, 1}, {1, 2, 2, 1}, {0.9, 0, 0, 1}, {1, (double)NAN, (double)NAN, 1}};
    static const double x[] = {1, 1}, u[] = {1, 1};
    for (size_t i = 0; i < sizeof corr / sizeof corr[0]; i++) {
        const struct unc_model m = {
            .n = 2, .m = 2, .fn = difference, .x = x, .u = u, .corr = corr[i]};
        struct unc_value v[2];
        assert_int_equal(plumb_unc_propagate(&m, v, NULL, NULL), ERR_ARG);
        assert_int_equal(plumb_unc_monte_carlo(&m, 1000, 1, v, NULL), ERR_ARG);
    }
}

static void sum3(void *ctx, const double *x, double *y)
{
    (void)ctx;
    y[0] = x[0] + x[1] + x[2];
}

/* Each pair is possible, the three together are not: a = -b, a = -c, yet b = -c. */
static void contradicting_correlations_are_refused(void **state)
{
    (void)state;
    static const double x[] = {1, 1, 1}, u[] = {1, 1, 1};
    static const double corr[] = {1, -1, -1, -1, 1, -1, -1, -1, 1};
    const struct unc_model m = {.n = 3, .m = 1, .fn = sum3, .x = x, .u = u, .corr = corr};
    struct unc_value v;
    assert_int_equal(plumb_unc_propagate(&m, &v, NULL, NULL), ERR_ARG);
    assert_int_equal(plumb_unc_monte_carlo(&m, 1000, 1, &v, NULL), ERR_ARG);
}

static void lack_of_memory_is_told(void **state)
{
    (void)state;
    static const double x[] = {1, 1}, u[] = {1, 1}, corr[] = {1, 0, 0, 1};
    const struct unc_model m = {.n = 2, .m = 2, .fn = difference, .x = x, .u = u, .corr = corr};
    for (long n = 1; n <= 6; n++) {
        struct unc_value v[2];
        struct err e = {0};
        plumb_mem_fail_after(n);
        assert_int_equal(plumb_unc_propagate(&m, v, NULL, &e), ERR_NOMEM);
        assert_nan(v[1].u);
        plumb_mem_fail_after(n);
        assert_int_equal(plumb_unc_monte_carlo(&m, 1000, 1, v, &e), ERR_NOMEM);
        plumb_mem_fail_after(0);
        assert_nan(v[1].u);
        assert_int_equal(e.code, ERR_NOMEM);
    }
}

static void welch_satterthwaite(void **state)
{
    (void)state;
    /* two equal contributions: dofs add up (JCGM 100, G.4.1) */
    static const double c[] = {0.3, 0.3, 0.0}, dof[] = {5, 5, 0.0};
    assert_close_rel(plumb_unc_welch_satterthwaite(c, dof, 3), 10.0, 1e-12);
    static const double sure[] = {HUGE_VAL, HUGE_VAL};
    assert_true(isinf(plumb_unc_welch_satterthwaite(c, sure, 2)));
    static const double mixed[] = {HUGE_VAL, 7};
    assert_close_rel(plumb_unc_welch_satterthwaite(c, mixed, 2), 28.0, 1e-12);
    assert_true(isinf(plumb_unc_welch_satterthwaite(c, dof, 0)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(linear_models_are_exact),
        cmocka_unit_test(without_dof_the_normal_factor_holds),
        cmocka_unit_test(curvature_is_noticed),
        cmocka_unit_test(missing_outputs),
        cmocka_unit_test(correlations),
        cmocka_unit_test(no_call_is_wasted),
        cmocka_unit_test(foolish_models_are_refused),
        cmocka_unit_test(contradicting_correlations_are_refused),
        cmocka_unit_test(lack_of_memory_is_told),
        cmocka_unit_test(welch_satterthwaite),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
