/*
 * Dates. Days of a year and of a month against the day number of Fliegel and Van Flandern (1968,
 * Communications of the ACM 11, 657), which knows nothing of tables of months.
 */
#include "tests/support/close.h"

#include <stdio.h>
#include "plumbrule/sheet.h"

static long day_number(long y, long m, long d)
{
    long a = (m - 14) / 12;
    return d - 32075 + 1461 * (y + 4800 + a) / 4 + 367 * (m - 2 - a * 12) / 12 -
           3 * ((y + 4900 + a) / 100) / 4;
}

static void days_of_every_month(void **state)
{
    (void)state;
    for (int y = 1583; y <= 2405; y++)
        for (int m = 0; m <= 13; m++) {
            int good = 0;
            for (int d = 0; d <= 32; d++) {
                char date[32];
                snprintf(date, sizeof date, "%04d-%02d-%02d", y, m, d);
                good += plumb_date_valid(date);
            }
            long next = m == 12 ? day_number(y + 1, 1, 1) : day_number(y, m + 1, 1);
            long want = m >= 1 && m <= 12 ? next - day_number(y, m, 1) : 0;
            assert_int_equal(good, want);
        }
}

static void only_one_form(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "",           "2026",       "2026-3-02",   "2026-03-2",   "26-03-02",
        "2026/03/02", "02-03-2026", "2026-03-02 ", " 2026-03-02", "2026-03-02T",
        "2026-0a-02", "2o26-03-02", "+026-03-02",  "2026-03--2",  "1582-12-31",
        "0000-01-01", "20260302",   "2026-03_02",  "2026-02-29",  "2100-02-29"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_false(plumb_date_valid(bad[i]));
    assert_false(plumb_date_valid(NULL));
    static const char *const good[] = {"2026-03-02", "2024-02-29", "2000-02-29", "1583-01-01",
                                       "9999-12-31"};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++)
        assert_true(plumb_date_valid(good[i]));
}

/* By hand from a calendar. */
static void months_later(void **state)
{
    (void)state;
    static const struct {
        const char *date;
        int months;
        const char *want;
    } table[] = {
        {"2026-03-02", 3, "2026-06-02"},   {"2026-03-02", 0, "2026-03-02"},
        {"2026-01-31", 1, "2026-02-28"},   {"2024-01-31", 1, "2024-02-29"},
        {"2026-10-31", 4, "2027-02-28"},   {"2026-08-31", 1, "2026-09-30"},
        {"2026-12-01", 1, "2027-01-01"},   {"2026-12-15", 12, "2027-12-15"},
        {"2024-02-29", 12, "2025-02-28"},  {"2024-02-29", 48, "2028-02-29"},
        {"2026-01-10", -1, "2025-12-10"},  {"2026-03-31", -1, "2026-02-28"},
        {"2026-03-31", -13, "2025-02-28"},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        char out[11];
        assert_int_equal(plumb_date_add_months(table[i].date, table[i].months, out), 0);
        assert_string_equal(out, table[i].want);
    }
    char out[11] = "kept";
    assert_int_equal(plumb_date_add_months("2026-02-30", 1, out), ERR_FORMAT);
    assert_int_equal(plumb_date_add_months("", 1, out), ERR_FORMAT);
    assert_int_equal(plumb_date_add_months("9999-12-01", 1, out), ERR_FORMAT);
    assert_int_equal(plumb_date_add_months("2026-02-01", 2147483647, out), ERR_FORMAT);
    assert_string_equal(out, "kept");
}

static void days_between(void **state)
{
    (void)state;
    const long first = day_number(1583, 1, 1);
    for (long y = 1583; y <= 2405; y += 3)
        for (long m = 1; m <= 12; m++) {
            char date[32];
            long d = 1 + (7 * y + m) % 28;
            snprintf(date, sizeof date, "%04ld-%02ld-%02ld", y, m, d);
            assert_int_equal(plumb_date_days("1583-01-01", date), day_number(y, m, d) - first);
            assert_int_equal(plumb_date_days(date, "1583-01-01"), first - day_number(y, m, d));
        }
    assert_int_equal(plumb_date_days("2024-02-28", "2024-03-01"), 2);
    assert_int_equal(plumb_date_days("2026-03-02", "2026-03-02"), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(days_of_every_month),
        cmocka_unit_test(only_one_form),
        cmocka_unit_test(months_later),
        cmocka_unit_test(days_between),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
