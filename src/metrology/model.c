/* Is a model fit to be propagated? Nothing is computed from an input that is not a number. */
#include "metrology/metrology_internal.h"

#include <math.h>

/* Correlations that were computed may miss 1 and their mirror image by rounding. */
static const double rounding = 1e-9;

static int check_inputs(const struct unc_model *model, struct err *err)
{
    for (size_t i = 0; i < model->n; i++) {
        if (!isfinite(model->x[i]))
            return plumb_err_set(err, ERR_ARG, "input %zu is not finite", i);
        if (!(model->u[i] >= 0.0 && isfinite(model->u[i])))
            return plumb_err_set(err, ERR_ARG, "uncertainty %zu is not a number from 0 up", i);
        if (model->dof != NULL && !(model->dof[i] > 0.0))
            return plumb_err_set(err, ERR_ARG, "degrees of freedom %zu are not above 0", i);
    }
    return 0;
}

static int check_correlations(const double *corr, size_t n, struct err *err)
{
    for (size_t i = 0; i < n; i++) {
        if (!(fabs(corr[i * n + i] - 1.0) <= rounding))
            return plumb_err_set(err, ERR_ARG, "input %zu is not correlated with itself", i);
        for (size_t j = 0; j < i; j++) {
            double r = corr[i * n + j];
            if (!(fabs(r) <= 1.0 + rounding && fabs(r - corr[j * n + i]) <= rounding))
                return plumb_err_set(err, ERR_ARG, "correlation of inputs %zu and %zu is wrong", j,
                                     i);
        }
    }
    return 0;
}

int unc_check_model(const struct unc_model *model, struct err *err)
{
    if (model->n > 0 && model->m > SIZE_MAX / sizeof(double) / model->n)
        return plumb_err_set(err, ERR_LIMIT, "%zu inputs and %zu outputs are too many", model->n,
                             model->m);
    int rc = check_inputs(model, err);
    if (rc == 0 && model->corr != NULL)
        rc = check_correlations(model->corr, model->n, err);
    return rc;
}
