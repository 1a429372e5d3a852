/*
 * Otsu's threshold (tests/support/otsu.c), against N. Otsu, IEEE Trans. SMC 9 (1979) 62 by way of a
 * six-level example of 36 pixels that teaching pages use; its columns were computed apart.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include "tests/support/otsu.h"

static const size_t histogram[6] = {8, 7, 2, 6, 9, 4};

static void test_example(void **state)
{
    static const double within[] = {1.526786, 0.556085, 0.490884, 0.977889, 2.249132};
    static const double between[] = {1.592813, 2.563514, 2.628715, 2.141710, 0.870467};
    (void)state;
    for (size_t k = 1; k < 6; k++) {
        assert_true(fabs(otsu_within(histogram, 6, k) - within[k - 1]) < 5e-7);
        assert_true(fabs(otsu_between(histogram, 6, k) - between[k - 1]) < 5e-7);
    }
    assert_int_equal(otsu_level(histogram, 6), 3);
}

/* Within + between is the total variance for every threshold (Otsu 1979, equation 9). */
static void test_sum(void **state)
{
    (void)state;
    for (size_t k = 1; k < 6; k++)
        assert_true(fabs(otsu_within(histogram, 6, k) + otsu_between(histogram, 6, k) - 3.119599) <
                    5e-7);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_example), cmocka_unit_test(test_sum)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
