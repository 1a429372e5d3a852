/*
 * Weighted mean with a test of consistency (R. T. Birge, Phys. Rev. 40 (1932) 207), and limits of
 * agreement of paired readings (J. M. Bland, D. G. Altman, Lancet 327 (1986) 307,
 * doi:10.1016/S0140-6736(86)90837-8).
 *
 * Limits: the values are taken to be independent. The Birge ratio widens u for all, also when a
 * single value is to blame; `worst` names it.
 */
#include "plumbrule/metrology.h"

#include <math.h>

/* Significance below which values count as inconsistent. */
static const double least_chance = 0.05;
static const double tie = 1e-9;

static int check_values(const double *value, const double *u, size_t n, struct err *err)
{
    if (n == 0)
        return plumb_err_set(err, ERR_ILLPOSED, "no values to take a mean of");
    for (size_t i = 0; i < n; i++)
        if (!isfinite(value[i]) || !(u[i] > 0.0 && isfinite(u[i])))
            return plumb_err_set(err, ERR_ARG, "value %zu or its uncertainty is not usable", i);
    return 0;
}

/* Distance of entry i from the mean of the others in units of that distance's own uncertainty. */
static double estrangement(double value, double u, const struct unc_mean *m)
{
    double spare = u * u - m->u_internal * m->u_internal;
    return spare > 0.0 ? fabs(value - m->value) / sqrt(spare) : 0.0;
}

/* Of two values alone neither is farther out; the less certain one is named. */
static size_t find_worst(const double *value, const double *u, size_t n, const struct unc_mean *m)
{
    size_t worst = 0;
    double most = estrangement(value[0], u[0], m);
    for (size_t i = 1; i < n; i++) {
        double e = estrangement(value[i], u[i], m);
        bool same = fabs(e - most) <= tie * most;
        if (same ? u[i] > u[worst] : e > most) {
            worst = i;
            most = e;
        }
    }
    return worst;
}

int plumb_unc_weighted_mean(const double *value, const double *u, size_t n, struct unc_mean *out,
                            struct err *err)
{
    *out = (struct unc_mean){0};
    int rc = check_values(value, u, n, err);
    if (rc != 0)
        return rc;
    double weights = 0.0, chi2 = 0.0;
    for (size_t i = 0; i < n; i++) {
        double w = 1.0 / (u[i] * u[i]);
        weights += w;
        out->value += (value[i] - out->value) * w / weights;
    }
    for (size_t i = 0; i < n; i++)
        chi2 += (value[i] - out->value) * (value[i] - out->value) / (u[i] * u[i]);
    double dof = (double)(n - 1);
    out->u_internal = 1.0 / sqrt(weights);
    out->birge = n > 1 ? sqrt(chi2 / dof) : 0.0;
    out->p = n > 1 ? plumb_unc_chi2_tail(chi2, dof) : 1.0;
    out->consistent = out->p >= least_chance;
    out->u = out->consistent ? out->u_internal : out->u_internal * out->birge;
    out->worst = find_worst(value, u, n, out);
    return 0;
}

int plumb_unc_agreement(const double *a, const double *b, size_t n, struct unc_agreement *out,
                        struct err *err)
{
    *out = (struct unc_agreement){0};
    if (n < 2)
        return plumb_err_set(err, ERR_ILLPOSED, "%zu pairs of readings, need 2", n);
    double spread = 0.0, square = 0.0;
    for (size_t i = 0; i < n; i++) {
        double d = a[i] - b[i];
        if (!isfinite(d))
            return plumb_err_set(err, ERR_ARG, "pair %zu is not finite", i);
        double off = d - out->bias;
        out->bias += off / (double)(i + 1);
        spread += off * (d - out->bias);
        square += d * d;
    }
    out->sd = sqrt(spread / (double)(n - 1));
    double reach = plumb_unc_normal_quantile(0.975) * out->sd;
    out->lo = out->bias - reach;
    out->hi = out->bias + reach;
    out->within_sd = sqrt(square / (2.0 * (double)n));
    return 0;
}
