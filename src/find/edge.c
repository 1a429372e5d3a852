/*
 * Sub-pixel edges in one row of a strip: extremum of the Gaussian derivative with a parabola
 * through it. References: J. Canny, IEEE PAMI 8 (1986) 679; F. Devernay, INRIA RR-2724 (1995).
 *
 * Limits: the steepest place of a cylinder's shadow lies inside the cylinder by a part of the blur;
 * the same on both flanks, so the axis does not feel it. The width is corrected elsewhere
 * (pin_width.c).
 */
#include <math.h>
#include "find/find_internal.h"

struct find_kernel find_kernel_make(double sd)
{
    struct find_kernel k = {.reach = (int)ceil(3.0 * sd)};
    double norm = 0.0, w[FIND_KERNEL_MAX + 1];
    k.reach = k.reach < 1 ? 1 : k.reach > FIND_KERNEL_MAX ? FIND_KERNEL_MAX : k.reach;
    for (int i = 1; i <= k.reach; i++) {
        w[i] = i * exp(-0.5 * i * i / (sd * sd));
        norm += 2.0 * i * w[i];
    }
    for (int i = 1; i <= k.reach; i++)
        k.w[i] = (float)(w[i] / norm); /* a ramp of slope 1 gives 1 */
    return k;
}

static float slope(const float *row, size_t n, size_t at, const struct find_kernel *k)
{
    size_t reach = (size_t)k->reach;
    float sum = 0.0F;
    if (at >= reach && at + reach < n) {
        for (size_t i = 1; i <= reach; i++)
            sum += k->w[i] * (row[at + i] - row[at - i]);
        return sum;
    }
    for (size_t i = 1; i <= reach; i++)
        sum += k->w[i] * (row[at + i < n ? at + i : n - 1] - row[at >= i ? at - i : 0]);
    return sum;
}

double find_edge_in_row(const float *row, size_t n, size_t from, size_t to, int sign,
                        const struct find_kernel *k, double *at)
{
    float best = 0.0F, way = (float)sign;
    size_t where = 0;
    to = to > n ? n : to;
    for (size_t j = from; j < to; j++) {
        float g = way * slope(row, n, j, k);
        if (g > best) {
            best = g;
            where = j;
        }
    }
    if (best <= 0.0F)
        return 0.0;
    double l = where > 0 ? (double)(way * slope(row, n, where - 1, k)) : 0.0;
    double r = where + 1 < n ? (double)(way * slope(row, n, where + 1, k)) : 0.0;
    if (l > (double)best || r > (double)best)
        return 0.0; /* still rising at the window's edge: the edge lies outside */
    double bend = l - 2.0 * (double)best + r;
    double shift = bend < 0.0 ? 0.5 * (l - r) / bend : 0.0;
    *at = (double)where + fmin(0.5, fmax(-0.5, shift));
    return (double)best;
}

double find_slope_in_row(const float *row, size_t n, double at, const struct find_kernel *k)
{
    size_t i = (size_t)at;
    double f = at - (double)i;
    return (1.0 - f) * (double)slope(row, n, i, k) + f * (double)slope(row, n, i + 1, k);
}

double find_quantile_f(float *v, size_t n, double q)
{
    if (n == 0)
        return (double)NAN;
    size_t lo = 0, hi = n - 1, mid = (size_t)(q * (double)(n - 1) + 0.5);
    while (lo < hi) { /* Hoare's selection */
        float pivot = v[(lo + hi) / 2];
        size_t i = lo, j = hi;
        while (i <= j) {
            while (v[i] < pivot)
                i++;
            while (v[j] > pivot)
                j--;
            if (i <= j) {
                float t = v[i];
                v[i++] = v[j];
                v[j] = t;
                if (j-- == 0)
                    break;
            }
        }
        if (mid <= j && j != (size_t)-1)
            hi = j;
        else if (mid >= i)
            lo = i;
        else
            break;
    }
    return (double)v[mid];
}
