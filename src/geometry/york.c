/*
 * Straight line y = a + b x with known standard deviations of both coordinates of every point:
 * the unified equations of York, Evensen, Lopez, De Basabe, Am. J. Phys. 72 (2004) 367,
 * doi:10.1119/1.1632486, without correlation between the errors of x and y.
 *
 * Limits: the line is a function of x, so it must not be vertical. The standard deviations are
 * taken as known; chi2 over n-2 tells whether they were.
 */
#include "plumbrule/geometry.h"

#include <stdlib.h>

static const int most_rounds = 500;
static const double still = 1e-15;    /* share of the steepness: the slope has settled */
static const double unsettled = 1e-9; /* it has not, after all rounds */

struct data {
    const double *x, *y, *ux, *uy;
    size_t n;
};

struct means {
    double x, y, weight;
};

static int check_data(const struct data *d, struct err *err)
{
    if (d->n < 3)
        return plumb_err_set(err, ERR_ILLPOSED, "%zu points on a line, need 3", d->n);
    for (size_t i = 0; i < d->n; i++) {
        if (!isfinite(d->x[i]) || !isfinite(d->y[i]))
            return plumb_err_set(err, ERR_ARG, "point %zu is not finite", i);
        if (!(d->ux[i] >= 0.0 && d->uy[i] >= 0.0 && isfinite(hypot(d->ux[i], d->uy[i])) &&
              d->ux[i] + d->uy[i] > 0.0))
            return plumb_err_set(err, ERR_ARG, "point %zu has no usable standard deviation", i);
    }
    return 0;
}

/* Weight of point i for slope b: the inverse variance of y - b x. */
static double weight(const struct data *d, size_t i, double b)
{
    return 1.0 / (d->uy[i] * d->uy[i] + b * b * d->ux[i] * d->ux[i]);
}

static struct means weighted_means(const struct data *d, double b)
{
    struct means m = {0};
    for (size_t i = 0; i < d->n; i++) {
        double w = weight(d, i, b);
        m.weight += w;
        m.x += (d->x[i] - m.x) * w / m.weight;
        m.y += (d->y[i] - m.y) * w / m.weight;
    }
    return m;
}

/* York's beta: how far the fitted point i lies from the mean, along x. */
static double fitted_x(const struct data *d, size_t i, double b, const struct means *m)
{
    double u = d->x[i] - m->x, v = d->y[i] - m->y;
    return weight(d, i, b) * (u * d->uy[i] * d->uy[i] + b * v * d->ux[i] * d->ux[i]);
}

static double next_slope(const struct data *d, double b)
{
    struct means m = weighted_means(d, b);
    double up = 0.0, down = 0.0;
    for (size_t i = 0; i < d->n; i++) {
        double g = weight(d, i, b) * fitted_x(d, i, b, &m);
        up += g * (d->y[i] - m.y);
        down += g * (d->x[i] - m.x);
    }
    return up / down;
}

/* Slope and steepness (ratio of the spreads, the size a slope can have) without weights. */
static double plain_slope(const struct data *d, double *steepness)
{
    double mx = 0.0, my = 0.0, sxx = 0.0, sxy = 0.0, syy = 0.0;
    for (size_t i = 0; i < d->n; i++) {
        mx += (d->x[i] - mx) / (double)(i + 1);
        my += (d->y[i] - my) / (double)(i + 1);
    }
    for (size_t i = 0; i < d->n; i++) {
        sxx += (d->x[i] - mx) * (d->x[i] - mx);
        syy += (d->y[i] - my) * (d->y[i] - my);
        sxy += (d->x[i] - mx) * (d->y[i] - my);
    }
    *steepness = sqrt(syy / sxx);
    return sxy / sxx;
}

static int settle_slope(const struct data *d, double *b, struct err *err)
{
    double change = HUGE_VAL, steepness;
    *b = plain_slope(d, &steepness);
    for (int round = 0; round < most_rounds && change > still * steepness; round++) {
        double next = next_slope(d, *b);
        change = fabs(next - *b);
        *b = next;
    }
    if (!isfinite(*b) || !(change <= unsettled * steepness))
        return plumb_err_set(err, ERR_ILLPOSED, "no slope fits the points: the line is too steep");
    return 0;
}

static void describe(const struct data *d, double b, double *a, double cov[3], double *chi2)
{
    struct means m = weighted_means(d, b);
    double mean_x = 0.0, spread = 0.0;
    *a = m.y - b * m.x;
    *chi2 = 0.0;
    for (size_t i = 0; i < d->n; i++) {
        double w = weight(d, i, b), r = d->y[i] - m.y - b * (d->x[i] - m.x);
        mean_x += w * fitted_x(d, i, b, &m) / m.weight;
        *chi2 += w * r * r;
    }
    for (size_t i = 0; i < d->n; i++) {
        double off = fitted_x(d, i, b, &m) - mean_x;
        spread += weight(d, i, b) * off * off;
    }
    mean_x += m.x;
    cov[1] = 1.0 / spread;
    cov[0] = 1.0 / m.weight + mean_x * mean_x * cov[1];
    cov[2] = -mean_x * cov[1];
}

int plumb_geo_fit_york(const double *x, const double *y, const double *ux, const double *uy,
                       size_t n, double *a, double *b, double cov[3], double *chi2, struct err *err)
{
    const struct data d = {x, y, ux, uy, n};
    int rc = check_data(&d, err);
    if (rc == 0)
        rc = settle_slope(&d, b, err);
    if (rc == 0)
        describe(&d, *b, a, cov, chi2);
    if (rc == 0 && !isfinite(*a + *b + cov[0] + cov[1] + cov[2] + *chi2))
        rc = plumb_err_set(err, ERR_ILLPOSED, "the numbers of the points are too large or small");
    if (rc != 0) {
        *a = *b = *chi2 = 0.0;
        cov[0] = cov[1] = cov[2] = 0.0;
    }
    return rc;
}
