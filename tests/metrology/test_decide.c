/* The four states, at and around every edge. Truth: the definition in the header. */
#include "tests/support/close.h"

#include "plumbrule/metrology.h"

#define nan_ ((double)NAN)

static void every_edge(void **state)
{
    (void)state;
    static const struct {
        double lo, hi;
        enum unc_compare how;
        double limit;
        enum unc_state want;
    } table[] = {
        {2.0, 3.0, UNC_AT_LEAST, 1.9, UNC_INSIDE},
        {2.0, 3.0, UNC_AT_LEAST, 2.0, UNC_INSIDE}, /* touches the lower end */
        {2.0, 3.0, UNC_AT_LEAST, 2.000001, UNC_UNDECIDED},
        {2.0, 3.0, UNC_AT_LEAST, 2.999999, UNC_UNDECIDED},
        {2.0, 3.0, UNC_AT_LEAST, 3.0, UNC_OUTSIDE}, /* touches the upper end */
        {2.0, 3.0, UNC_AT_LEAST, 3.1, UNC_OUTSIDE},
        {2.0, 3.0, UNC_AT_MOST, 3.1, UNC_INSIDE},
        {2.0, 3.0, UNC_AT_MOST, 3.0, UNC_INSIDE},
        {2.0, 3.0, UNC_AT_MOST, 2.5, UNC_UNDECIDED},
        {2.0, 3.0, UNC_AT_MOST, 2.0, UNC_OUTSIDE},
        {2.0, 3.0, UNC_AT_MOST, 1.0, UNC_OUTSIDE},
        {2.0, 2.0, UNC_AT_LEAST, 2.0, UNC_INSIDE}, /* a sure value at the limit meets it */
        {2.0, 2.0, UNC_AT_MOST, 2.0, UNC_INSIDE},
        {2.0, 2.0, UNC_AT_LEAST, 2.1, UNC_OUTSIDE},
        {-3.0, 4.0, UNC_WITHIN, 5.0, UNC_INSIDE},
        {-5.0, 4.0, UNC_WITHIN, 5.0, UNC_INSIDE},
        {-4.0, 5.0, UNC_WITHIN, 5.0, UNC_INSIDE},
        {-5.1, 4.0, UNC_WITHIN, 5.0, UNC_UNDECIDED},
        {4.0, 6.0, UNC_WITHIN, 5.0, UNC_UNDECIDED},
        {-6.0, 6.0, UNC_WITHIN, 5.0, UNC_UNDECIDED},
        {5.0, 6.0, UNC_WITHIN, 5.0, UNC_OUTSIDE},
        {-6.0, -5.0, UNC_WITHIN, 5.0, UNC_OUTSIDE},
        {-7.0, -6.0, UNC_WITHIN, 5.0, UNC_OUTSIDE},
        {5.0, 5.0, UNC_WITHIN, 5.0, UNC_INSIDE},
        {-5.0, -5.0, UNC_WITHIN, 5.0, UNC_INSIDE},
        {0.0, 0.0, UNC_WITHIN, 0.0, UNC_INSIDE},
        {-1.0, 1.0, UNC_WITHIN, -1.0, UNC_OUTSIDE}, /* no size is below zero */
        {-3.0, -2.0, UNC_AT_LEAST, -2.5, UNC_UNDECIDED},
        {-3.0, -2.0, UNC_AT_LEAST, -3.0, UNC_INSIDE},
        {2.0, 3.0, UNC_AT_LEAST, nan_, UNC_NOT_MEASURED},
        {nan_, nan_, UNC_AT_LEAST, 1.0, UNC_UNDECIDED}, /* measured, but nobody knows how well */
        {nan_, nan_, UNC_WITHIN, 1.0, UNC_UNDECIDED},
        {-HUGE_VAL, HUGE_VAL, UNC_WITHIN, 1.0, UNC_UNDECIDED},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        const struct unc_value v = {.value = 2.5, .lo = table[i].lo, .hi = table[i].hi};
        if (plumb_unc_decide(&v, table[i].how, table[i].limit) != table[i].want)
            fail_msg("row %zu: [%g, %g] against %g", i, table[i].lo, table[i].hi, table[i].limit);
    }
}

static void nothing_measured(void **state)
{
    (void)state;
    const struct unc_value v = {.value = nan_, .lo = 1, .hi = 2};
    assert_int_equal(plumb_unc_decide(NULL, UNC_AT_MOST, 3.0), UNC_NOT_MEASURED);
    assert_int_equal(plumb_unc_decide(&v, UNC_AT_MOST, 3.0), UNC_NOT_MEASURED);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_edge),
        cmocka_unit_test(nothing_measured),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
