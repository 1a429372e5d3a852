/*
 * A small fixed-seed part of the study on drawn films that `make bench` prints: a film whose root
 * axes come from the traced sides alone, and one where a CEJ mark and an apex join them. Truth: the
 * drawn geometry.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "tests/support/coverage.h"

static const uint64_t seeds[] = {8007, 8008};

static void intervals_hold_what_the_film_shows(void **state)
{
    (void)state;
    static struct coverage_films sums;
    struct err err = {0};
    double held = 0.0, n = 0.0;
    for (size_t i = 0; i < sizeof seeds / sizeof seeds[0]; i++)
        if (coverage_film(PHANTOM_TYPICAL, seeds[i], 3.0, &sums, &err) != 0)
            fail_msg("%s", err.text);
    assert_true(sums.films == 2.0 && sums.no_pin + sums.wrong_pin == 0.0);
    for (size_t i = 0; i < sums.c.n; i++) {
        const struct coverage_row *r = &sums.c.row[i];
        if (r->sum_z2 > 16.0 * r->n_z)
            fail_msg("%s is more than four u from the truth", r->id);
        held += r->held;
        n += r->n;
    }
    /* of values that hang together in two films, nine in ten and more */
    assert_true(n >= 40.0 && held / n > 0.9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(intervals_hold_what_the_film_shows)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
