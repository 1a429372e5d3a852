/*
 * Propagation of distributions (JCGM 101:2008, 7): normal inputs, correlated ones through the
 * Cholesky factor of their correlation matrix (6.4.8), the probabilistically symmetric interval
 * from the sorted outputs (7.7). `nonlinear` is the shift of the mean against the standard
 * deviation, which is what the second-order terms of the law of propagation amount to.
 *
 * Limits: degrees of freedom of the inputs are not used (every input is normal). A trial in which
 * an output is not finite is left out for that output; with more than one in a hundred of them the
 * distribution is not known, so the output keeps its value but u and the interval are NaN.
 */
#include "metrology/metrology_internal.h"

#include <math.h>
#include <stdlib.h>

static const double most_lost = 0.01;
static const size_t least_trials = 100;
/* A pivot below this is zero but for rounding: the input follows from those before it, and what is
 * left of its other correlations must vanish too, to the root of that. */
static const double least_pivot = 1e-12;
static const double least_rest = 1e-6;

static double rest_of(const double *corr, const double *l, size_t n, size_t i, size_t j)
{
    double rest = corr[i * n + j];
    for (size_t k = 0; k < j; k++)
        rest -= l[i * n + k] * l[j * n + k];
    return rest;
}

/* Lower triangle l with l l' = corr, n x n; l is zeroed. Refuses what no inputs can have. */
static int cholesky(const double *corr, size_t n, double *l, struct err *err)
{
    bool possible = true;
    for (size_t j = 0; j < n; j++) {
        double pivot = rest_of(corr, l, n, j, j);
        bool follows = pivot <= least_pivot;
        possible = possible && pivot >= -least_rest;
        l[j * n + j] = follows ? 0.0 : sqrt(pivot);
        for (size_t i = j + 1; i < n; i++) {
            double rest = rest_of(corr, l, n, i, j);
            possible = possible && !(follows && fabs(rest) > least_rest);
            l[i * n + j] = follows ? 0.0 : rest / l[j * n + j];
        }
    }
    return possible ? 0 : plumb_err_set(err, ERR_ARG, "the correlations contradict each other");
}

static double mixed_deviate(const double *l, const double *z, size_t n, size_t i)
{
    if (l == NULL)
        return z[i];
    double sum = 0.0;
    for (size_t k = 0; k <= i; k++)
        sum += l[i * n + k] * z[k];
    return sum;
}

static void draw(const struct unc_model *model, const double *l, struct unc_rng *rng, double *z,
                 double *x)
{
    for (size_t i = 0; i < model->n; i++)
        z[i] = plumb_unc_rng_normal(rng);
    for (size_t i = 0; i < model->n; i++)
        x[i] = model->x[i] + model->u[i] * mixed_deviate(l, z, model->n, i);
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* One output from its trials, of which the finite ones have been put in front. */
static void summarise(double *v, size_t n, size_t trials, double value, struct unc_value *out)
{
    *out = unc_unknown(value);
    if (isnan(value) || (double)(trials - n) > most_lost * (double)trials)
        return;
    double mean = 0.0, square = 0.0;
    for (size_t i = 0; i < n; i++)
        mean += (v[i] - mean) / (double)(i + 1);
    for (size_t i = 0; i < n; i++)
        square += (v[i] - mean) * (v[i] - mean);
    qsort(v, n, sizeof *v, compare);
    size_t inside = (size_t)(UNC_COVERAGE * (double)n + 0.5);
    size_t first = (n - inside + 1) / 2; /* JCGM 101, 7.7.2, counts from 1 */
    out->dof = HUGE_VAL;
    out->u = sqrt(square / (double)(n - 1));
    out->lo = v[first - 1];
    out->hi = v[first - 1 + inside];
    out->nonlinear = out->u > 0.0 ? fabs(mean - value) / out->u : 0.0;
}

struct trials {
    double *l, *z, *x, *y;
    double *value; /* m x trials */
    size_t *kept;  /* m */
};

static void trials_release(struct trials *t)
{
    free(t->l);
    free(t->z);
    free(t->x);
    free(t->y);
    free(t->value);
    free(t->kept);
}

static int trials_init(struct trials *t, const struct unc_model *model, size_t trials,
                       struct err *err)
{
    size_t n = model->n, m = model->m;
    if (trials < least_trials) {
        plumb_err_set(err, ERR_ARG, "%zu trials are too few: at least %zu", trials, least_trials);
        return ERR_ARG;
    }
    t->l = plumb_mem_array(model->corr != NULL ? n : 0, n * sizeof(double), err);
    t->z = plumb_mem_array(n, sizeof(double), err);
    t->x = plumb_mem_array(n, sizeof(double), err);
    t->y = plumb_mem_array(m, sizeof(double), err);
    t->kept = plumb_mem_array(m, sizeof(size_t), err);
    t->value = plumb_mem_array(trials, m * sizeof(double), err);
    if (!t->l || !t->z || !t->x || !t->y || !t->kept || !t->value)
        return ERR_NOMEM;
    return model->corr != NULL ? cholesky(model->corr, n, t->l, err) : 0;
}

static void run(struct trials *t, const struct unc_model *model, size_t trials, uint64_t seed)
{
    struct unc_rng rng;
    plumb_unc_rng_seed(&rng, seed);
    for (size_t i = 0; i < trials; i++) {
        draw(model, model->corr != NULL ? t->l : NULL, &rng, t->z, t->x);
        model->fn(model->ctx, t->x, t->y);
        for (size_t k = 0; k < model->m; k++)
            if (isfinite(t->y[k]))
                t->value[k * trials + t->kept[k]++] = t->y[k];
    }
}

int plumb_unc_monte_carlo(const struct unc_model *model, size_t trials, uint64_t seed,
                          struct unc_value *out, struct err *err)
{
    struct trials t = {0};
    int rc = unc_check_model(model, err);
    if (rc == 0)
        rc = trials_init(&t, model, trials, err);
    if (rc != 0)
        goto out;
    run(&t, model, trials, seed);
    model->fn(model->ctx, model->x, t.y);
    for (size_t k = 0; k < model->m; k++)
        summarise(t.value + k * trials, t.kept[k], trials, t.y[k], &out[k]);
out:
    trials_release(&t);
    for (size_t k = 0; rc != 0 && k < model->m; k++)
        out[k] = unc_unknown((double)NAN);
    return rc;
}
