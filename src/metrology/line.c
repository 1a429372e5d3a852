/*
 * A straight line through values with known covariances: weighted least squares (weights 1/u^2; A.
 * C. Aitken, Proc. R. Soc. Edinb. 55 (1935) 42; the unweighted line is JCGM 100, H.3). Intercept
 * and slope are linear in the values, b = sum c_i y_i, so that their uncertainties are those of
 * JCGM 100, 5.2.2, with every covariance in it: sum c_i c_j cov_ij. A scatter that the
 * uncertainties do not explain (chi-square, 5 % level) widens them by the Birge ratio, as in a
 * weighted mean.
 *
 * Limits: the weights do not use the covariances between the values, which costs a little
 * sharpness, not honesty; chi-square takes the values as independent, and errors that they share
 * make it smaller.
 */
#include "plumbrule/metrology.h"

#include <math.h>

/* Significance below which values do not lie on a line. */
static const double least_chance = 0.05;

/* Weighted middle of x, sum of weights and of squares about the middle. */
struct moments {
    double weights, middle, squares;
};

static double weight_of(const double *cov, size_t n, size_t i)
{
    return 1.0 / cov[i * n + i];
}

static int take_moments(const double *x, const double *y, const double *cov, size_t n,
                        struct moments *out, struct err *err)
{
    *out = (struct moments){0};
    if (n < 3)
        return plumb_err_set(err, ERR_ILLPOSED, "a line needs 3 values, has %zu", n);
    for (size_t i = 0; i < n; i++)
        if (!isfinite(x[i]) || !isfinite(y[i]) || !(cov[i * n + i] > 0.0) ||
            !isfinite(weight_of(cov, n, i)))
            return plumb_err_set(err, ERR_ARG, "value %zu or its uncertainty is not usable", i);
    for (size_t i = 0; i < n; i++) {
        out->weights += weight_of(cov, n, i);
        out->middle += (x[i] - out->middle) * weight_of(cov, n, i) / out->weights;
    }
    for (size_t i = 0; i < n; i++)
        out->squares += weight_of(cov, n, i) * (x[i] - out->middle) * (x[i] - out->middle);
    if (!(out->squares > 0.0))
        return plumb_err_set(err, ERR_ILLPOSED, "all values of the line stand at one place");
    return 0;
}

/* Share of value i in the slope, and in the intercept at x = 0. */
static double in_slope(const struct moments *m, double x, double w)
{
    return w * (x - m->middle) / m->squares;
}

static double in_start(const struct moments *m, double x, double w)
{
    return w / m->weights - m->middle * in_slope(m, x, w);
}

static double spread(const struct moments *m, const double *x, const double *cov, size_t n,
                     double (*share)(const struct moments *, double, double))
{
    double variance = 0.0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            variance += share(m, x[i], weight_of(cov, n, i)) *
                        share(m, x[j], weight_of(cov, n, j)) * cov[i * n + j];
    return sqrt(fmax(variance, 0.0));
}

int plumb_unc_fit_line(const double *x, const double *y, const double *cov, size_t n,
                       struct unc_line *out, struct err *err)
{
    struct moments m;
    *out = (struct unc_line){0};
    int rc = take_moments(x, y, cov, n, &m, err);
    if (rc != 0)
        return rc;
    for (size_t i = 0; i < n; i++) {
        out->start += in_start(&m, x[i], weight_of(cov, n, i)) * y[i];
        out->slope += in_slope(&m, x[i], weight_of(cov, n, i)) * y[i];
    }
    for (size_t i = 0; i < n; i++) {
        double off = y[i] - out->start - out->slope * x[i];
        out->chi2 += weight_of(cov, n, i) * off * off;
    }
    double dof = (double)(n - 2);
    out->birge = sqrt(out->chi2 / dof);
    out->p = plumb_unc_chi2_tail(out->chi2, dof);
    out->consistent = out->p >= least_chance;
    double widen = out->consistent ? 1.0 : out->birge;
    out->u_start = widen * spread(&m, x, cov, n, in_start);
    out->u_slope = widen * spread(&m, x, cov, n, in_slope);
    return 0;
}
