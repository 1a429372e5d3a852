/*
 * Sub-pixel edges in one row of a strip: extremum of the Gaussian derivative with a parabola
 * through it. References: J. Canny, IEEE PAMI 8 (1986) 679; F. Devernay, INRIA RR-2724 (1995).
 *
 * Limits: the steepest place of a cylinder's shadow lies inside the cylinder by a part of the blur;
 * the same on both flanks, so the axis does not feel it. The width is corrected elsewhere
 * (pin_width.c).
 */
#include <math.h>
#include <stdlib.h>
#include "find/find_internal.h"

enum { KERNEL_MAX = 16 }; /* samples: 3 sd of the widest kernel in use */

static int kernel_make(double sd, double *k)
{
    int reach = (int)ceil(3.0 * sd);
    double norm = 0.0;
    reach = reach < 1 ? 1 : reach > KERNEL_MAX ? KERNEL_MAX : reach;
    for (int i = 1; i <= reach; i++) {
        k[i] = i * exp(-0.5 * i * i / (sd * sd));
        norm += 2.0 * i * k[i];
    }
    for (int i = 1; i <= reach; i++)
        k[i] /= norm; /* a ramp of slope 1 gives 1 */
    return reach;
}

static double slope(const float *row, size_t n, size_t at, const double *k, int reach)
{
    double sum = 0.0;
    for (int i = 1; i <= reach; i++) {
        size_t a = at >= (size_t)i ? at - (size_t)i : 0;
        size_t b = at + (size_t)i < n ? at + (size_t)i : n - 1;
        sum += k[i] * ((double)row[b] - (double)row[a]);
    }
    return sum;
}

double find_edge_in_row(const float *row, size_t n, size_t from, size_t to, int sign, double sd,
                        double *at)
{
    double k[KERNEL_MAX + 1], best = 0.0;
    int reach = kernel_make(sd, k);
    size_t where = 0;
    to = to > n ? n : to;
    for (size_t j = from; j < to; j++) {
        double g = sign * slope(row, n, j, k, reach);
        if (g > best) {
            best = g;
            where = j;
        }
    }
    if (best <= 0.0)
        return 0.0;
    double l = where > 0 ? sign * slope(row, n, where - 1, k, reach) : 0.0;
    double r = where + 1 < n ? sign * slope(row, n, where + 1, k, reach) : 0.0;
    double bend = l - 2.0 * best + r;
    double shift = bend < 0.0 ? 0.5 * (l - r) / bend : 0.0;
    *at = (double)where + fmin(0.5, fmax(-0.5, shift));
    return best;
}

double find_median_f(float *v, size_t n)
{
    if (n == 0)
        return (double)NAN;
    size_t lo = 0, hi = n - 1, mid = n / 2;
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
