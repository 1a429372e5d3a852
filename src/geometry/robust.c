/*
 * The robust fit of one line or two parallel ones, by orthogonal distance.
 *
 * Start: the candidate with the least median of squared residuals (Rousseeuw, J. Am. Stat. Assoc.
 * 79 (1984) 871) among a fixed set of lines through pairs of points; with two lines the larger of
 * both medians counts. Then fits reweighted by Tukey's bisquare, c = 4.685, which is 95 % efficient
 * on normal errors (Beaton, Tukey, Technometrics 16 (1974) 147). The scale is 1.4826 times the
 * median absolute residual of the points still in use, without the p-1 smallest, which the fit has
 * made small. Covariance: Huber, Robust Statistics (1981), equation 7.6.10 with its factor K, over
 * the points in use.
 *
 * Limits: stands up to just under half of outliers on each line. No random numbers: the same points
 * in the same order give the same line.
 */
#include "geometry/geometry_internal.h"

#include <stdint.h>

/* 500 pairs hold about 130 good ones even when half of the points are outliers. */
static const int start_lines = 500;
static const double bisquare_c = GEO_BISQUARE_C;
static const double mad_to_sigma = 1.482602218505602; /* 1 / normal quantile of 3/4 */
/* Rousseeuw, Leroy (1987), chapter 5: small samples make the least median too small. */
static const double start_inflation = 5.0;
/* Median absolute deviations of n values are too small by 1 - 0.8/n (Croux, Rousseeuw, COMPSTAT
 * 1992, 411). */
static const double mad_shrinkage = 0.8;
/* Degrees of freedom of u, as a share of n-p: with it 95 % intervals of the angle hold 93 to 98 %
 * of simulated lines of 5 to 200 normal points, with none to 30 % of outliers. */
static const double dof_share = 0.6;
/* Scale is held after so many rounds, so that the weights cannot circle. */
static const int scale_rounds = 20;
static const int most_rounds = 60;
/* The line stands still when it moves less than this share of the scale. */
static const double still = 1e-9;
/* Rounding of coordinates, as a share of the largest: no scale below it means anything. */
static const double rounding = 1e-13;
/* Mean slope of the bisquare that would mean that the points are on no line at all. */
static const double least_slope = 0.1;

/* Linear congruential generator of Knuth's MMIX; the upper bits pick an index below n. */
static size_t pick(uint64_t *state, size_t n)
{
    *state = *state * 6364136223846793005U + 1442695040888963407U;
    return (size_t)(*state >> 33) % n;
}

static size_t line_begin(const struct geo_bundle *b, size_t line)
{
    return line == 0 ? 0 : b->split;
}

static size_t line_end(const struct geo_bundle *b, size_t line)
{
    return line == 0 ? b->split : b->n;
}

static size_t pick_on(const struct geo_bundle *b, uint64_t *state, size_t line)
{
    size_t begin = line_begin(b, line);
    return begin + pick(state, line_end(b, line) - begin);
}

/* A line through two points, and through one point of the other line when there are two. */
static bool candidate(const struct geo_bundle *b, uint64_t *state, struct geo_axis *a)
{
    size_t i = pick(state, b->n);
    size_t line = geo_line_of(b, i);
    size_t j = pick_on(b, state, line);
    a->dir = geo_unit(geo_sub(b->pts[j], b->pts[i]));
    a->centre[line] = b->pts[i];
    if (b->split < b->n)
        a->centre[1 - line] = b->pts[pick_on(b, state, 1 - line)];
    return a->dir.x != 0.0 || a->dir.y != 0.0;
}

/* The median squared residual on one line, or INFINITY as soon as it cannot be below `best`. */
static double median_square(const struct geo_bundle *b, const struct geo_axis *a, size_t line,
                            double best)
{
    size_t begin = line_begin(b, line), n = line_end(b, line) - begin;
    size_t half = (n + 3) / 2; /* (n + p + 1) / 2: the largest breakdown point for p = 2 */
    half = half > n ? n : half;
    size_t above = 0;
    for (size_t i = 0; i < n; i++) {
        double r = geo_residual(b, a, begin + i);
        b->work[i] = b->weight[begin + i] * r * r;
        above += b->work[i] >= best;
        if (above > n - half)
            return HUGE_VAL;
    }
    return geo_select(b->work, n, half - 1);
}

static double start(const struct geo_bundle *b, struct geo_axis *best)
{
    double least = HUGE_VAL;
    uint64_t state = 1;
    for (int k = 0; k < start_lines; k++) {
        struct geo_axis a = {0};
        if (!candidate(b, &state, &a))
            continue;
        double m = median_square(b, &a, 0, least);
        if (m < least && b->split < b->n)
            m = fmax(m, median_square(b, &a, 1, least));
        if (m < least) {
            least = m;
            *best = a;
        }
    }
    double spare = (double)(b->n - geo_params(b));
    return mad_to_sigma * (1.0 + start_inflation / spare) * sqrt(least);
}

static double standard_residual(const struct geo_bundle *b, const struct geo_axis *a, size_t i)
{
    return geo_residual(b, a, i) * sqrt(b->weight[i]);
}

static void reweight(const struct geo_bundle *b, const struct geo_axis *a, double scale, double *w)
{
    for (size_t i = 0; i < b->n; i++) {
        double u = standard_residual(b, a, i) / (bisquare_c * scale);
        double q = 1.0 - u * u;
        w[i] = q > 0.0 ? b->weight[i] * q * q : 0.0;
    }
}

static size_t count_used(const struct geo_bundle *b, const double *w)
{
    size_t n = 0;
    for (size_t i = 0; i < b->n; i++)
        n += w[i] > 0.0;
    return n;
}

static double used_scale(const struct geo_bundle *b, const struct geo_axis *a, const double *w)
{
    size_t n = 0, skip = geo_params(b) - 1;
    for (size_t i = 0; i < b->n; i++)
        if (w[i] > 0.0)
            b->work[n++] = fabs(standard_residual(b, a, i));
    if (n <= skip)
        return 0.0;
    geo_select(b->work, n, skip);
    double small = (double)n / ((double)n - mad_shrinkage);
    return small * mad_to_sigma * plumb_geo_median(b->work + skip, n - skip);
}

/* How far the line moves, at its centre and at the root-mean-square arm. */
static double movement(const struct geo_axis *from, const struct geo_axis *to, double arm)
{
    double turn = arm * fabs(geo_cross(from->dir, to->dir));
    double shift = 0.0;
    for (size_t line = 0; line < 2; line++) {
        struct geo_point d = geo_sub(to->centre[line], from->centre[line]);
        shift = fmax(shift, fabs(geo_cross(to->dir, d)));
    }
    return fmax(turn, shift);
}

static double coordinate_rounding(const struct geo_bundle *b)
{
    double far = 0.0;
    for (size_t i = 0; i < b->n; i++)
        far = fmax(far, fmax(fabs(b->pts[i].x), fabs(b->pts[i].y)));
    return rounding * far;
}

static int iterate(const struct geo_bundle *b, double floor, double *w, struct geo_axis *axis,
                   double *scale, struct err *err)
{
    for (int round = 0; round < most_rounds; round++) {
        struct geo_axis next;
        reweight(b, axis, *scale, w);
        size_t n = count_used(b, w);
        if (n <= geo_params(b))
            return plumb_err_set(err, ERR_ILLPOSED, "only %zu of %zu points agree on a line", n,
                                 b->n);
        int rc = geo_axis_fit(b, w, &next, err);
        if (rc != 0)
            return rc;
        double moved = movement(axis, &next, sqrt(next.along / (double)n));
        *axis = next;
        double old = *scale;
        if (round < scale_rounds)
            *scale = fmax(floor, used_scale(b, axis, w));
        if (moved < still * *scale && fabs(*scale - old) < still * *scale)
            break;
    }
    return 0;
}

/* Huber's covariance factor over the points in use, times the scale squared. */
static double estimator_variance(const struct geo_bundle *b, const struct geo_axis *a, double scale,
                                 const double *w)
{
    double n = 0.0, psi2 = 0.0, slope = 0.0, slope2 = 0.0;
    double p = (double)geo_params(b);
    for (size_t i = 0; i < b->n; i++) {
        if (!(w[i] > 0.0))
            continue;
        double u = standard_residual(b, a, i) / scale;
        double q = u * u / (bisquare_c * bisquare_c);
        double psi = u * (1.0 - q) * (1.0 - q), d = (1.0 - q) * (1.0 - 5.0 * q);
        psi2 += psi * psi;
        slope += d;
        slope2 += d * d;
        n += 1.0;
    }
    double mean = fmax(slope / n, least_slope);
    double k = 1.0 + p / n * fmax(slope2 / n - mean * mean, 0.0) / (mean * mean);
    return k * k * scale * scale * psi2 / (n - p) / (mean * mean);
}

int geo_axis_robust(struct geo_bundle *b, double min_scale, double *w, struct geo_axis *axis,
                    struct geo_scatter *out, struct err *err)
{
    size_t p = geo_params(b);
    if (b->n <= p)
        return plumb_err_set(err, ERR_ILLPOSED, "%zu points on a line, need %zu", b->n, p + 1);
    double floor = fmax(min_scale, coordinate_rounding(b));
    double scale = start(b, axis);
    if (!isfinite(scale))
        return plumb_err_set(err, ERR_ILLPOSED,
                             "the points of a line coincide: set them farther apart");
    scale = fmax(scale, floor);
    int rc = iterate(b, floor, w, axis, &scale, err);
    if (rc != 0)
        return rc;
    double variance = estimator_variance(b, axis, scale, w);
    out->scale = scale;
    out->variance = fmax(variance, min_scale * min_scale);
    out->dof = dof_share * (double)(count_used(b, w) - p);
    return 0;
}
