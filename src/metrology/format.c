/*
 * A value and its uncertainty as digits: the uncertainty to two significant digits, the value to
 * the same place (JCGM 100:2008, 7.2.6), in plain decimal. Rounding is the C library's, of the
 * exact binary value.
 *
 * Limits: at most 12 decimals; a number too long for 31 characters is written with an exponent. A
 * value without an uncertainty (0, or not a number) gets six significant digits.
 */
#include "plumbrule/metrology.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TEXT_SIZE = 32, MOST_DECIMALS = 12, EXACT_DIGITS = 6 };
static const double too_long = 1e15; /* 15 digits, point, 12 decimals and sign still fit */

/* Decimal exponent of v > 0 after rounding to so many significant digits: 0.0996 to two is 0.10. */
static int exponent(double v, int digits)
{
    char text[TEXT_SIZE];
    snprintf(text, sizeof text, "%.*e", digits - 1, v);
    return (int)strtol(strchr(text, 'e') + 1, NULL, 10);
}

/* "-0.00" is no number anybody measured. */
static void drop_zero_sign(char *text)
{
    if (text[0] == '-' && strpbrk(text, "123456789") == NULL)
        memmove(text, text + 1, strlen(text));
}

/* Rounds to a number of decimals; a negative number rounds to tens, hundreds and so on. */
static void print_rounded(char *text, double v, int decimals)
{
    if (!isfinite(v)) {
        snprintf(text, TEXT_SIZE, "-");
        return;
    }
    if (fabs(v) >= too_long) {
        snprintf(text, TEXT_SIZE, "%.5e", v);
        return;
    }
    if (decimals < 0) {
        double step = pow(10.0, -decimals);
        v = round(v / step) * step;
    }
    int shown = decimals < 0 ? 0 : decimals > MOST_DECIMALS ? MOST_DECIMALS : decimals;
    snprintf(text, TEXT_SIZE, "%.*f", shown, v);
    drop_zero_sign(text);
}

static void drop_zero_decimals(char *text)
{
    if (strchr(text, '.') == NULL || strchr(text, 'e') != NULL)
        return;
    size_t n = strlen(text);
    while (text[n - 1] == '0')
        n--;
    if (text[n - 1] == '.')
        n--;
    text[n] = '\0';
}

static void print_exact(char *text, double v)
{
    int place = v != 0.0 && isfinite(v) ? exponent(fabs(v), EXACT_DIGITS) : 0;
    int decimals = EXACT_DIGITS - 1 - place;
    print_rounded(text, v, decimals < 0 ? 0 : decimals);
    drop_zero_decimals(text);
}

void plumb_unc_format(double value, double u, char value_text[32], char u_text[32])
{
    if (!(u > 0.0) || isinf(u)) {
        print_exact(value_text, value);
        snprintf(u_text, TEXT_SIZE, u == 0.0 ? "0" : "-");
        return;
    }
    int decimals = 1 - exponent(u, 2);
    print_rounded(value_text, value, decimals);
    print_rounded(u_text, u, decimals);
}
