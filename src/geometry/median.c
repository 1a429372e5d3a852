/* Order statistics by quickselect (C. A. R. Hoare, CACM 4 (1961) 321), pivot the median of three.
 */
#include "geometry/geometry_internal.h"

static void swap(double *a, double *b)
{
    double t = *a;
    *a = *b;
    *b = t;
}

/* Puts the median of first, middle and last into the middle, so that sorted input is no bad case.
 */
static double pivot_of(double *v, size_t lo, size_t hi)
{
    size_t mid = lo + (hi - lo) / 2;
    if (v[mid] < v[lo])
        swap(&v[mid], &v[lo]);
    if (v[hi] < v[lo])
        swap(&v[hi], &v[lo]);
    if (v[hi] < v[mid])
        swap(&v[hi], &v[mid]);
    return v[mid];
}

double geo_select(double *v, size_t n, size_t k)
{
    size_t lo = 0, hi = n - 1;
    while (lo < hi) {
        double pivot = pivot_of(v, lo, hi);
        size_t i = lo, j = hi;
        for (;;) {
            while (v[i] < pivot)
                i++;
            while (v[j] > pivot)
                j--;
            if (i >= j)
                break;
            swap(&v[i++], &v[j--]);
        }
        if (k <= j)
            hi = j;
        else
            lo = j + 1;
    }
    return v[k];
}

double plumb_geo_median(double *v, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (isnan(v[i]))
            return (double)NAN;
    if (n == 0)
        return (double)NAN;
    double upper = geo_select(v, n, n / 2);
    if (n % 2 == 1)
        return upper;
    double lower = v[0];
    for (size_t i = 1; i < n / 2; i++)
        lower = fmax(lower, v[i]);
    return lower + 0.5 * (upper - lower);
}
