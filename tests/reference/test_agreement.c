/*
 * J. M. Bland, D. G. Altman, Lancet 327 (1986) 307: peak flow of 17 subjects, two readings with
 * each of two meters, l/min. The data table is from memory; it reproduces the published results,
 * which were worked from rounded numbers with 2 in place of 1.96 standard deviations.
 */
#include "tests/support/close.h"

#include "plumbrule/metrology.h"

enum { n = 17 };
static const double large1[n] = {494, 395, 516, 434, 476, 557, 413, 442, 650,
                                 433, 417, 656, 267, 478, 178, 423, 427};
static const double large2[n] = {490, 397, 512, 401, 470, 611, 415, 431, 638,
                                 429, 420, 633, 275, 492, 165, 372, 421};
static const double mini1[n] = {512, 430, 520, 428, 500, 600, 364, 380, 658,
                                445, 432, 626, 260, 477, 259, 350, 451};
static const double mini2[n] = {525, 415, 508, 444, 500, 625, 460, 390, 642,
                                432, 420, 605, 227, 467, 268, 370, 443};

static void two_meters(void **state)
{
    (void)state;
    struct unc_agreement a;
    assert_int_equal(plumb_unc_agreement(large1, mini1, n, &a, NULL), 0);
    assert_close(a.bias, -2.1, 0.05);
    assert_close(a.sd, 38.8, 0.05);
    assert_close(a.bias - 2.0 * a.sd, -79.7, 0.06);
    assert_close(a.bias + 2.0 * a.sd, 75.5, 0.1);
    assert_close(a.lo, -78.10, 0.005); /* computed, 1.96 */
    assert_close(a.hi, 73.86, 0.005);
    /* 95 % interval of the bias: -22.0 to 17.8, with t for 16 degrees of freedom */
    double half = plumb_unc_coverage_factor(0.95, n - 1) * a.sd / sqrt((double)n);
    assert_close(a.bias - half, -22.0, 0.1);
    assert_close(a.bias + half, 17.8, 0.1);
}

static void repeatability_of_each(void **state)
{
    (void)state;
    struct unc_agreement a;
    assert_int_equal(plumb_unc_agreement(large1, large2, n, &a, NULL), 0);
    assert_close(a.within_sd, 15.3, 0.05);
    assert_close(2.0 * sqrt(2.0) * a.within_sd, 43.3, 0.05);
    assert_int_equal(plumb_unc_agreement(mini1, mini2, n, &a, NULL), 0);
    assert_close(a.within_sd, 19.9, 0.05);
    assert_close(2.0 * sqrt(2.0) * a.within_sd, 56.3, 0.07);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_meters),
        cmocka_unit_test(repeatability_of_each),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
