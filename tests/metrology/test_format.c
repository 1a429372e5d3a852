/*
 * Digits for print. Truth: the rule (two significant digits of u, value to the same place; JCGM
 * 100:2008, 7.2.6), worked by hand.
 */
#include "tests/support/close.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "plumbrule/metrology.h"

#define nan_ ((double)NAN)

static void table_of_texts(void **state)
{
    (void)state;
    static const struct {
        double value, u;
        const char *value_text, *u_text;
    } table[] = {
        {12.3398, 0.2071, "12.34", "0.21"},
        {-3.214, 0.21, "-3.21", "0.21"},
        {1.0, 0.0996, "1.00", "0.10"}, /* the carry moves the place */
        {1.0, 0.0994, "1.000", "0.099"},
        {1.0, 0.996, "1.0", "1.0"},
        {1.0, 0.994, "1.00", "0.99"},
        {9.96, 0.99, "9.96", "0.99"},
        {9.996, 0.12, "10.00", "0.12"},
        {1234.5, 9.96, "1234", "10"}, /* exactly half: to even */
        {1235.5, 9.96, "1236", "10"},
        {1234.5, 9.94, "1234.5", "9.9"},
        {1234.5, 12.4, "1234", "12"},
        {1234.5, 99.6, "1230", "100"},
        {1234.5, 123.0, "1230", "120"},
        {1235.0, 123.0, "1240", "120"},
        {123456.0, 9960.0, "123000", "10000"},
        {123456.0, 12345.0, "123000", "12000"},
        {40.0, 1234.0, "0", "1200"},
        {-40.0, 1234.0, "0", "1200"}, /* no "-0" */
        {-60.0, 1234.0, "-100", "1200"},
        {-0.001, 0.21, "0.00", "0.21"}, /* no "-0.00" */
        {-0.004, 0.5, "0.00", "0.50"},
        {-0.006, 0.5, "-0.01", "0.50"},
        {-0.0, 0.5, "0.00", "0.50"},
        {0.0, 0.5, "0.00", "0.50"},
        {0.00012345, 0.0000123, "0.000123", "0.000012"},
        {50.000838, 0.000032, "50.000838", "0.000032"}, /* JCGM 100, H.1 in mm */
        {5.0, 0.05, "5.000", "0.050"},
        {2.0, 0.0, "2", "0"}, /* exact: as it is */
        {2.5, 0.0, "2.5", "0"},
        {-0.0, 0.0, "0", "0"},
        {0.1, 0.0, "0.1", "0"},
        {123456.789, 0.0, "123457", "0"},
        {100.0, 0.0, "100", "0"},
        {9999995.0, 0.0, "9999995", "0"},
        {0.00001234567, 0.0, "0.0000123457", "0"},
        {12.3398, nan_, "12.3398", "-"}, /* nobody knows how well */
        {12.3398, HUGE_VAL, "12.3398", "-"},
        {12.3398, -1.0, "12.3398", "-"},
        {nan_, 0.2, "-", "0.20"},
        {nan_, nan_, "-", "-"},
        {HUGE_VAL, 0.2, "-", "0.20"},
        {-HUGE_VAL, 0.0, "-", "0"},
        {1.5e18, 2e16, "1.50000e+18", "2.00000e+16"},
        {-1e300, 1e299, "-1.00000e+300", "1.00000e+299"},
        {1.0, 1e-300, "1.000000000000", "0.000000000000"},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        char value[32], u[32];
        plumb_unc_format(table[i].value, table[i].u, value, u);
        if (strcmp(value, table[i].value_text) != 0 || strcmp(u, table[i].u_text) != 0)
            fail_msg("%.17g, %.17g: \"%s\" and \"%s\", not \"%s\" and \"%s\"", table[i].value,
                     table[i].u, value, u, table[i].value_text, table[i].u_text);
    }
}

static size_t significant_digits(const char *text)
{
    size_t n = 0;
    for (const char *p = text; *p; p++)
        n += *p >= '0' && *p <= '9' && (n > 0 || *p != '0');
    return n;
}

/* For any pair: u has two digits, the value as many decimals, and both stay within half a place. */
static void the_rule_holds_for_many(void **state)
{
    (void)state;
    struct unc_rng r;
    plumb_unc_rng_seed(&r, 8);
    for (int i = 0; i < 20000; i++) {
        double u = pow(10.0, -6.0 + 6.9 * plumb_unc_rng_uniform(&r));
        double value = 100.0 * plumb_unc_rng_normal(&r) * pow(u, plumb_unc_rng_uniform(&r));
        char vt[32], ut[32];
        plumb_unc_format(value, u, vt, ut);
        const char *v_point = strchr(vt, '.'), *u_point = strchr(ut, '.');
        assert_int_equal(significant_digits(ut), 2);
        assert_int_equal(v_point == NULL, u_point == NULL);
        if (v_point != NULL)
            assert_int_equal(strlen(v_point), strlen(u_point));
        double place = u_point != NULL ? pow(10.0, -(double)(strlen(u_point) - 1)) : 1.0;
        assert_close(strtod(ut, NULL), u, 0.5000001 * place);
        assert_close(strtod(vt, NULL), value, 0.5000001 * place);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(table_of_texts),
        cmocka_unit_test(the_rule_holds_for_many),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
