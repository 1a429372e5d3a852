/*
 * Student's t, chi-square and normal distribution.
 *
 * t: degrees of freedom are whole (JCGM 100, G.4.1, note 1), so the distribution is a finite sum of
 * powers of a cosine (Abramowitz, Stegun (1964), 26.7.3 and 26.7.4), inverted by bisection; from
 * 200 on the expansion about the normal quantile (26.7.5) is used, good to 1e-10. chi-square:
 * incomplete gamma function by its series or continued fraction (26.4.6, 6.5.31). Normal: error
 * function of the C library, inverted by Halley steps from 26.2.23.
 *
 * Accuracy: 1e-10 relative for p up to 0.9999.
 */
#include "plumbrule/metrology.h"

#include <math.h>

static const double half_pi = 1.57079632679489661923;
static const double sqrt_half = 0.70710678118654752440;
static const double sqrt_two_pi = 2.50662827463100050242;

double plumb_unc_normal_cdf(double z)
{
    return 0.5 * erfc(-z * sqrt_half);
}

/* Lower half: 0 < p <= 1/2, where the error function keeps its relative accuracy. */
static double lower_quantile(double p)
{
    double t = sqrt(-2.0 * log(p));
    double z = (2.515517 + t * (0.802853 + t * 0.010328)) /
                   (1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308))) -
               t;
    for (int step = 0; step < 3; step++) { /* each step cubes the error, 4.5e-4 at first */
        double e = (plumb_unc_normal_cdf(z) - p) * sqrt_two_pi * exp(0.5 * z * z);
        z -= e / (1.0 + 0.5 * z * e);
    }
    return z;
}

double plumb_unc_normal_quantile(double p)
{
    if (!(p >= 0.0 && p <= 1.0))
        return (double)NAN;
    if (p == 0.0 || p == 1.0)
        return p == 0.0 ? -HUGE_VAL : HUGE_VAL;
    return p <= 0.5 ? lower_quantile(p) : -lower_quantile(1.0 - p);
}

/* P(|T| < t) for whole dof, t = tan(theta) sqrt(dof). */
static double t_inside(double theta, int dof)
{
    double c = cos(theta), s = sin(theta);
    double term = dof % 2 == 1 ? c : 1.0, sum = 0.0;
    for (int k = dof % 2 == 1 ? 1 : 0; k < dof - 1; k += 2) {
        sum += term;
        term *= c * c * (k + 1) / (k + 2);
    }
    return dof % 2 == 1 ? (theta + s * sum) / half_pi : s * sum;
}

static double t_exact(double p, int dof)
{
    double lo = 0.0, hi = half_pi;
    for (int i = 0; i < 64; i++) {
        double mid = 0.5 * (lo + hi);
        if (t_inside(mid, dof) < p)
            lo = mid;
        else
            hi = mid;
    }
    return tan(0.5 * (lo + hi)) * sqrt((double)dof);
}

static double t_expansion(double z, double dof)
{
    double q = z * z;
    double g1 = z * (q + 1.0) / 4.0;
    double g2 = z * ((5.0 * q + 16.0) * q + 3.0) / 96.0;
    double g3 = z * (((3.0 * q + 19.0) * q + 17.0) * q - 15.0) / 384.0;
    double g4 = z * ((((79.0 * q + 776.0) * q + 1482.0) * q - 1920.0) * q - 945.0) / 92160.0;
    return z + (g1 + (g2 + (g3 + g4 / dof) / dof) / dof) / dof;
}

double plumb_unc_coverage_factor(double p, double dof)
{
    static const double exact_below = 200.0;
    if (!(p > 0.0 && p < 1.0) || isnan(dof))
        return (double)NAN;
    double whole = fmax(1.0, floor(dof));
    if (whole < exact_below)
        return t_exact(p, (int)whole);
    return t_expansion(plumb_unc_normal_quantile(0.5 + 0.5 * p), whole);
}

static const int most_terms = 100000;
static const double last_term = 1e-17;

/* Lower incomplete gamma over gamma, by its series; for x < a + 1. */
static double gamma_lower(double a, double x)
{
    double term = 1.0 / a, sum = term;
    for (int k = 1; k < most_terms && term > last_term * sum; k++) {
        term *= x / (a + k);
        sum += term;
    }
    return sum * exp(a * log(x) - x - lgamma(a));
}

/* Upper one by Lentz's continued fraction; for x >= a + 1. */
static double gamma_upper(double a, double x)
{
    double b = x + 1.0 - a, c = HUGE_VAL, d = 1.0 / b, h = d;
    for (int k = 1; k < most_terms; k++) {
        double an = k * (a - k);
        b += 2.0;
        d = 1.0 / (an * d + b);
        c = b + an / c;
        h *= d * c;
        if (fabs(d * c - 1.0) < 1e-16)
            break;
    }
    return h * exp(a * log(x) - x - lgamma(a));
}

double plumb_unc_chi2_tail(double x, double k)
{
    if (isnan(x) || !(k > 0.0) || isinf(k))
        return (double)NAN;
    if (x <= 0.0 || isinf(x))
        return x <= 0.0 ? 1.0 : 0.0;
    double a = 0.5 * k, half = 0.5 * x;
    return half < a + 1.0 ? 1.0 - gamma_lower(a, half) : gamma_upper(a, half);
}
