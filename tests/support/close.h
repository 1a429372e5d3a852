/* cmocka with a comparison of doubles. Include it in place of cmocka.h. */
#ifndef TESTS_SUPPORT_CLOSE_H
#define TESTS_SUPPORT_CLOSE_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>

static inline void close_or_fail(double got, double want, double tolerance, const char *what,
                                 const char *file, int line)
{
    if (got == want || fabs(got - want) <= tolerance)
        return;
    print_error("%s is %.17g, not %.17g within %.3g\n", what, got, want, tolerance);
    _fail(file, line);
}

/* |got - want| <= tolerance; a NaN fails. */
#define assert_close(got, want, tolerance)                                                         \
    close_or_fail((got), (want), (tolerance), #got, __FILE__, __LINE__)
/* The same with a tolerance relative to want. */
#define assert_close_rel(got, want, share)                                                         \
    close_or_fail((got), (want), (share)*fabs((double)(want)), #got, __FILE__, __LINE__)
#define assert_nan(got) assert_true(isnan(got))

#endif
