/*
 * A small fixed-seed part of the study that `make bench` prints: invented sheets with every error
 * the model speaks of; how often the stated intervals hold the truth, and whether the errors spread
 * as stated. Truth: the invented geometry (tests/support/site.h).
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>

#include "tests/support/coverage.h"

/* 50 sheets know a share to 3 %, a spread to 10 %; all quantities together know them better. */
static void intervals_hold_the_truth(void **state)
{
    (void)state;
    struct coverage c;
    struct err err = {0};
    double held = 0.0, n = 0.0, z2 = 0.0, n_z = 0.0;
    if (coverage_run(50, 20261, &c, &err) != 0)
        fail_msg("%s", err.text);
    assert_true(c.n >= 20);
    for (size_t i = 0; i < c.n; i++) {
        const struct coverage_row *r = &c.row[i];
        double share = r->held / r->n, se = sqrt(0.05 * 0.95 / r->n);
        if (share < 0.95 - 0.02 - 3.0 * se || share > 0.95 + 0.02 + 3.0 * se)
            fail_msg("%s: %.1f %% of the 95 %% intervals hold the truth", r->id, 100.0 * share);
        double mean = r->sum_z / r->n_z, sd = sqrt(r->sum_z2 / r->n_z - mean * mean);
        if (r->n_z > 0.0 && fabs(sd - 1.0) > 0.05 + 3.0 / sqrt(2.0 * r->n_z))
            fail_msg("%s: errors of %.2f times what is stated", r->id, sd);
        held += r->held;
        n += r->n;
        z2 += r->sum_z2;
        n_z += r->n_z;
    }
    assert_true(held / n > 0.93 && held / n < 0.97);
    assert_true(fabs(sqrt(z2 / n_z) - 1.0) < 0.06);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(intervals_hold_the_truth)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
