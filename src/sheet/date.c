/*
 * Calendar dates, YYYY-MM-DD (ISO 8601), from 1583 on: the first full year of the Gregorian
 * calendar, before which the standard asks for an agreement.
 */
#include "plumbrule/sheet.h"

#include <stdio.h>
#include <string.h>

static const int first_year = 1583;

static int digits(const char *s, int n)
{
    int v = 0;
    for (int i = 0; i < n; i++)
        v = 10 * v + (s[i] - '0');
    return v;
}

static int days_in(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return days[month - 1] + (month == 2 && leap);
}

bool plumb_date_valid(const char *s)
{
    static const char form[] = "0000-00-00";
    if (s == NULL || strlen(s) != strlen(form))
        return false;
    for (size_t i = 0; form[i]; i++)
        if (form[i] == '-' ? s[i] != '-' : s[i] < '0' || s[i] > '9')
            return false;
    int year = digits(s, 4), month = digits(s + 5, 2), day = digits(s + 8, 2);
    return year >= first_year && month >= 1 && month <= 12 && day >= 1 &&
           day <= days_in(year, month);
}

int plumb_date_add_months(const char *date, int months, char out[11])
{
    if (!plumb_date_valid(date) || months < -12000 || months > 12000)
        return ERR_FORMAT;
    int count = digits(date, 4) * 12 + digits(date + 5, 2) - 1 + months;
    int year = count / 12, month = count % 12 + 1, day = digits(date + 8, 2);
    if (year < first_year || year > 9999)
        return ERR_FORMAT;
    int last = days_in(year, month);
    snprintf(out, 11, "%04u-%02u-%02u", (unsigned)year % 10000, (unsigned)month % 100,
             (unsigned)(day < last ? day : last) % 100);
    return 0;
}

/* Days since the end of the year 0. */
static long day_count(const char *date)
{
    long before = digits(date, 4) - 1, n = 365 * before + before / 4 - before / 100 + before / 400;
    for (int month = 1; month < digits(date + 5, 2); month++)
        n += days_in((int)before + 1, month);
    return n + digits(date + 8, 2);
}

long plumb_date_days(const char *from, const char *to)
{
    return day_count(to) - day_count(from);
}
