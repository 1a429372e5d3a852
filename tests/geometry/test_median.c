/* Median against sorting, on random, sorted, reversed and repeated values. */
#include "tests/support/close.h"

#include <stdlib.h>
#include <string.h>
#include "plumbrule/geometry.h"
#include "plumbrule/metrology.h"

enum { most = 400 };

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double by_sorting(const double *v, size_t n)
{
    double s[most];
    memcpy(s, v, n * sizeof *v);
    qsort(s, n, sizeof *s, compare);
    return n % 2 ? s[n / 2] : 0.5 * (s[n / 2 - 1] + s[n / 2]);
}

static void agrees_with_sorting(void **state)
{
    (void)state;
    struct unc_rng r;
    plumb_unc_rng_seed(&r, 1);
    for (int kind = 0; kind < 5; kind++)
        for (size_t n = 1; n <= most; n += n < 20 ? 1 : 37) {
            double v[most], kept[most];
            for (size_t i = 0; i < n; i++)
                v[i] = kind == 0   ? plumb_unc_rng_normal(&r)
                       : kind == 1 ? (double)i
                       : kind == 2 ? -(double)i
                       : kind == 3 ? (double)(i % 3)
                                   : 7.0;
            memcpy(kept, v, n * sizeof *v);
            double want = by_sorting(v, n);
            assert_close(plumb_geo_median(v, n), want, 1e-15);
            qsort(v, n, sizeof *v, compare); /* reordered, but the same values */
            qsort(kept, n, sizeof *kept, compare);
            assert_memory_equal(v, kept, n * sizeof *v);
        }
}

static void special_values(void **state)
{
    (void)state;
    double none = 1, bad[] = {1, (double)NAN, 3}, wide[] = {-HUGE_VAL, 2, HUGE_VAL};
    double big[] = {1.7e308, 1.5e308};
    assert_nan(plumb_geo_median(&none, 0));
    assert_nan(plumb_geo_median(bad, 3));
    assert_close(plumb_geo_median(wide, 3), 2.0, 0);
    assert_close_rel(plumb_geo_median(big, 2), 1.6e308, 1e-12); /* no overflow on the way */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(agrees_with_sorting),
        cmocka_unit_test(special_values),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
