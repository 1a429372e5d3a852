/*
 * Law of propagation of uncertainty (JCGM 100:2008, 5.1.2 and 5.2.2) with numerical derivatives:
 * each input is moved by plus and minus its standard uncertainty (5.1.3, note 2). Effective degrees
 * of freedom by Welch-Satterthwaite (G.4, equation G.2b).
 *
 * Limits: first order; `nonlinear` tells when that is not enough. It holds the second differences
 * of each input alone, not the mixed ones. With correlated inputs the degrees of freedom are those
 * of the single contributions, which G.4 leaves open.
 */
#include "metrology/metrology_internal.h"

#include <stdlib.h>

/* A variance this far below zero, as a share of its terms, is rounding and no wrong correlation. */
static const double rounding = 1e-9;

struct job {
    const struct unc_model *model;
    double *x;             /* n: the moved estimates */
    double *y, *up, *down; /* m each: outputs at the estimate and at either side */
    double *term;          /* m x n: derivative times uncertainty */
    double *bend;          /* m: sum of the second differences' sizes */
};

static void job_release(struct job *j)
{
    free(j->x);
    free(j->y);
    free(j->up);
    free(j->down);
    free(j->term);
    free(j->bend);
}

static int job_init(struct job *j, const struct unc_model *model, struct err *err)
{
    size_t n = model->n, m = model->m;
    *j = (struct job){.model = model};
    j->x = plumb_mem_array(n, sizeof(double), err);
    j->y = plumb_mem_array(m, sizeof(double), err);
    j->up = plumb_mem_array(m, sizeof(double), err);
    j->down = plumb_mem_array(m, sizeof(double), err);
    j->bend = plumb_mem_array(m, sizeof(double), err);
    j->term = plumb_mem_array(n * m, sizeof(double), err);
    if (!j->x || !j->y || !j->up || !j->down || !j->bend || !j->term)
        return ERR_NOMEM;
    for (size_t i = 0; i < n; i++)
        j->x[i] = model->x[i];
    return 0;
}

/* Change of one output for a change of one standard uncertainty. Where the output exists on one
 * side only, that side has to do. */
static double difference(double down, double mid, double up, double *bend)
{
    if (isnan(up))
        return mid - down;
    if (isnan(down))
        return up - mid;
    *bend += fabs(up - 2.0 * mid + down);
    return 0.5 * (up - down);
}

static void move_input(struct job *j, size_t i)
{
    const struct unc_model *model = j->model;
    double u = model->u[i];
    if (u == 0.0)
        return;
    j->x[i] = model->x[i] + u;
    model->fn(model->ctx, j->x, j->up);
    j->x[i] = model->x[i] - u;
    model->fn(model->ctx, j->x, j->down);
    j->x[i] = model->x[i];
    for (size_t k = 0; k < model->m; k++)
        j->term[k * model->n + i] = difference(j->down[k], j->y[k], j->up[k], &j->bend[k]);
}

/* Sum over i and j of term_i term_j r_ij. */
static int combine(const struct unc_model *model, const double *term, double *variance,
                   struct err *err)
{
    double own = 0.0, mixed = 0.0;
    for (size_t i = 0; i < model->n; i++) {
        own += term[i] * term[i];
        for (size_t j = 0; model->corr != NULL && j < i; j++)
            mixed += 2.0 * term[i] * term[j] * model->corr[i * model->n + j];
    }
    *variance = own + mixed;
    if (*variance < -rounding * own)
        return plumb_err_set(err, ERR_ARG, "the correlations contradict each other");
    *variance = *variance < 0.0 ? 0.0 : *variance;
    return 0;
}

static double effective_dof(double variance, const double *term, const double *dof, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; dof != NULL && i < n; i++)
        if (term[i] != 0.0)
            sum += term[i] * term[i] * term[i] * term[i] / fmax(dof[i], 0.0);
    return sum == 0.0 ? HUGE_VAL : variance * variance / sum;
}

double plumb_unc_welch_satterthwaite(const double *contribution, const double *dof, size_t n)
{
    double variance = 0.0;
    for (size_t i = 0; i < n; i++)
        variance += contribution[i] * contribution[i];
    return effective_dof(variance, contribution, dof, n);
}

static int describe(const struct job *j, size_t k, struct unc_value *out, struct err *err)
{
    const struct unc_model *model = j->model;
    const double *term = j->term + k * model->n;
    double variance;
    int rc = combine(model, term, &variance, err);
    if (rc != 0)
        return rc;
    double u = sqrt(variance);
    *out = unc_unknown(j->y[k]);
    if (isnan(u) || isnan(j->y[k]))
        return 0;
    double dof = effective_dof(variance, term, model->dof, model->n);
    double expanded = u == 0.0 ? 0.0 : u * plumb_unc_coverage_factor(UNC_COVERAGE, dof);
    *out = (struct unc_value){
        .value = j->y[k],
        .u = u,
        .dof = dof,
        .lo = j->y[k] - expanded,
        .hi = j->y[k] + expanded,
        .nonlinear = j->bend[k] == 0.0 ? 0.0 : j->bend[k] / (2.0 * u),
    };
    return 0;
}

/* Derivatives with respect to the inputs; those of inputs without uncertainty stay 0. */
static void sensitivities(const struct job *j, double *jac)
{
    size_t n = j->model->n;
    for (size_t k = 0; k < j->model->m; k++)
        for (size_t i = 0; i < n; i++) {
            double u = j->model->u[i];
            jac[k * n + i] = u > 0.0 ? j->term[k * n + i] / u : 0.0;
        }
}

int plumb_unc_propagate(const struct unc_model *model, struct unc_value *out, double *jac,
                        struct err *err)
{
    struct job job = {0};
    int rc = unc_check_model(model, err);
    if (rc == 0)
        rc = job_init(&job, model, err);
    if (rc != 0)
        goto out;
    model->fn(model->ctx, job.x, job.y);
    for (size_t i = 0; i < model->n; i++)
        move_input(&job, i);
    for (size_t k = 0; rc == 0 && k < model->m; k++)
        rc = describe(&job, k, &out[k], err);
    if (rc == 0 && jac != NULL)
        sensitivities(&job, jac);
out:
    job_release(&job);
    for (size_t k = 0; rc != 0 && k < model->m; k++)
        out[k] = unc_unknown((double)NAN);
    return rc;
}
