/*
 * metrology: a value with its uncertainty. Propagation (JCGM 100), Monte Carlo (JCGM 101), weighted
 * means, decision against a limit (JCGM 106). Nothing here knows what is measured.
 *
 * A model maps n inputs to m outputs. Inputs are independent unless they share a block of the
 * correlation matrix. An output that cannot be computed is NaN and stays NaN in the result; one
 * whose uncertainty cannot be had keeps its value, and u, lo and hi are NaN.
 */
#ifndef PLUMBRULE_METROLOGY_H
#define PLUMBRULE_METROLOGY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "plumbrule/base.h"

/* y = f(x): x has n entries, y m entries. Pure; called from one thread. */
typedef void (*unc_fn)(void *ctx, const double *x, double *y);

struct unc_model {
    size_t n, m;
    unc_fn fn;
    void *ctx;
    const double *x;    /* n: estimates */
    const double *u;    /* n: standard uncertainties, >= 0 */
    const double *dof;  /* n: degrees of freedom, INFINITY where not known otherwise; NULL: all */
    const double *corr; /* n x n correlation matrix, row major, symmetric; NULL: independent */
};

struct unc_value {
    double value;
    double u;         /* standard uncertainty */
    double dof;       /* Welch-Satterthwaite, may be INFINITY */
    double lo, hi;    /* 95 % coverage interval */
    double nonlinear; /* size of the second-order terms against u; see plumb_unc_propagate */
};

/*
 * Law of propagation (JCGM 100, 5.1.2 and 5.2.2) by central differences over +-u of each input.
 * out: m values. jac: m x n sensitivities, row major, or NULL. nonlinear is
 * sum |f(x+u) - 2 f(x) + f(x-u)| / (2 u_y): above about 0.1 the linear interval is not to be
 * trusted.
 */
int plumb_unc_propagate(const struct unc_model *model, struct unc_value *out, double *jac,
                        struct err *err);

/* Propagation of distributions (JCGM 101): normal inputs, `trials` draws, a fixed seed, so that the
 * same model gives the same digits on every machine. out.lo/hi are the probabilistically symmetric
 * 95 % interval, u the standard deviation, value stays f(x). */
int plumb_unc_monte_carlo(const struct unc_model *model, size_t trials, uint64_t seed,
                          struct unc_value *out, struct err *err);

/* Quantile factor for a two-sided interval: t(p, dof), dof truncated down to a whole number as in
 * JCGM 100 G.4.1; INFINITY gives the normal one. p in (0,1), e.g. 0.95. */
double plumb_unc_coverage_factor(double p, double dof);
/* Effective degrees of freedom from n contributions c_i u_i with dof_i (JCGM 100 G.2b). */
double plumb_unc_welch_satterthwaite(const double *contribution, const double *dof, size_t n);
/* Upper tail of chi-square: P(X > x) with k degrees of freedom. */
double plumb_unc_chi2_tail(double x, double k);
double plumb_unc_normal_cdf(double z);
double plumb_unc_normal_quantile(double p);

struct unc_mean {
    double value, u; /* u widened by the Birge ratio when inconsistent */
    double u_internal;
    double birge; /* sqrt(chi2/(n-1)); 0 for n = 1 */
    double p;     /* chance of a chi2 as large: inconsistent when below 0.05 */
    bool consistent;
    size_t worst; /* index of the entry farthest from the others in units of its u */
};
/* Weighted mean of n values (R. T. Birge, Phys. Rev. 40 (1932) 207). */
int plumb_unc_weighted_mean(const double *value, const double *u, size_t n, struct unc_mean *out,
                            struct err *err);

struct unc_line {
    double start, slope;     /* y = start + slope x */
    double u_start, u_slope; /* widened by the Birge ratio when inconsistent */
    double chi2, birge, p;   /* about the line, n - 2 degrees of freedom */
    bool consistent;         /* p at least 0.05 */
};
/* Straight line through n >= 3 values by weighted least squares (line.c). cov: n x n covariances of
 * y, row major, the variances on the diagonal > 0. ERR_ILLPOSED when all x are one. */
int plumb_unc_fit_line(const double *x, const double *y, const double *cov, size_t n,
                       struct unc_line *out, struct err *err);

enum unc_compare { UNC_AT_LEAST, UNC_AT_MOST, UNC_WITHIN /* |value| <= limit */ };
enum unc_state { UNC_NOT_MEASURED, UNC_INSIDE, UNC_OUTSIDE, UNC_UNDECIDED };
/* Is the whole 95 % interval on one side of the limit? A limit that touches the interval's end
 * counts as inside it: undecided needs the limit strictly between lo and hi. v NULL or NaN: not
 * measured; a value whose interval is NaN: undecided. JCGM 106:2012, 8.3 (guard bands of one U). */
enum unc_state plumb_unc_decide(const struct unc_value *v, enum unc_compare how, double limit);

/* Bland-Altman limits of agreement of paired readings. */
struct unc_agreement {
    double bias, sd, lo, hi, within_sd;
};
int plumb_unc_agreement(const double *a, const double *b, size_t n, struct unc_agreement *out,
                        struct err *err);

/* A small generator for simulations: xoshiro256** (Blackman, Vigna 2018) seeded by splitmix64. */
struct unc_rng {
    uint64_t s[4];
    double spare;
    bool has_spare;
};
void plumb_unc_rng_seed(struct unc_rng *r, uint64_t seed);
double plumb_unc_rng_uniform(struct unc_rng *r); /* in [0,1) */
double plumb_unc_rng_normal(struct unc_rng *r);  /* mean 0, standard deviation 1 */

/*
 * Digits for print: u to two significant digits, value to the same place, in plain decimal.
 * "12.34", "0.21" for value 12.3398, u 0.2071. buf sizes at least 32. NaN prints "-".
 */
void plumb_unc_format(double value, double u, char value_text[32], char u_text[32]);

#endif
