/*
 * Against the GNU Scientific Library, where it is installed: weighted straight lines, robust fits
 * (bisquare) on mildly spoiled points near the horizontal, where distances across and along y
 * agree, quantiles of t and tails of chi-square.
 */
#include "tests/support/close.h"
#include "tests/support/cloud.h"

#ifdef HAVE_GSL
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_fit.h>
#include <gsl/gsl_multifit.h>

static struct unc_rng rng;

static void weighted_lines(void **state)
{
    (void)state;
    enum { n = 40 };
    double x[n], y[n], w[n], none[n] = {0}, uy[n];
    for (int trial = 0; trial < 50; trial++) {
        double slope = 2.0 * plumb_unc_rng_normal(&rng);
        for (size_t i = 0; i < n; i++) {
            x[i] = 100.0 * plumb_unc_rng_uniform(&rng) + (double)trial;
            uy[i] = 0.1 + plumb_unc_rng_uniform(&rng);
            y[i] = 5.0 + slope * x[i] + uy[i] * plumb_unc_rng_normal(&rng);
            w[i] = 1.0 / (uy[i] * uy[i]);
        }
        double a, b, cov[3], chi2, want_a, want_b, c00, c01, c11, want_chi2;
        gsl_fit_wlinear(x, 1, w, 1, y, 1, n, &want_a, &want_b, &c00, &c01, &c11, &want_chi2);
        assert_int_equal(plumb_geo_fit_york(x, y, none, uy, n, &a, &b, cov, &chi2, NULL), 0);
        assert_close(a, want_a, 1e-10);
        assert_close_rel(b, want_b, 1e-10);
        assert_close_rel(cov[0], c00, 1e-9);
        assert_close_rel(cov[1], c11, 1e-9);
        assert_close_rel(cov[2], c01, 1e-9);
        assert_close_rel(chi2, want_chi2, 1e-9);
        double whole[n * n] = {0};
        struct unc_line line;
        for (size_t i = 0; i < n; i++)
            whole[i * n + i] = uy[i] * uy[i];
        assert_int_equal(plumb_unc_fit_line(x, y, whole, n, &line, NULL), 0);
        double widen = line.consistent ? 1.0 : line.birge;
        assert_close(line.start, want_a, 1e-10);
        assert_close_rel(line.slope, want_b, 1e-10);
        assert_close_rel(line.u_start, widen * sqrt(c00), 1e-9);
        assert_close_rel(line.u_slope, widen * sqrt(c11), 1e-9);
        assert_close_rel(line.chi2, want_chi2, 1e-9);
    }
}

struct level_line {
    double a, b, u_a, u_b, scale;
};

static struct level_line other_robust(const double *x, const double *y, size_t n)
{
    struct level_line out = {0};
    gsl_matrix *m = gsl_matrix_alloc(n, 2), *cov = gsl_matrix_alloc(2, 2);
    gsl_vector *v = gsl_vector_alloc(n), *c = gsl_vector_alloc(2);
    gsl_multifit_robust_workspace *work =
        gsl_multifit_robust_alloc(gsl_multifit_robust_bisquare, n, 2);
    for (size_t i = 0; i < n; i++) {
        gsl_matrix_set(m, i, 0, 1.0);
        gsl_matrix_set(m, i, 1, x[i]);
        gsl_vector_set(v, i, y[i]);
    }
    gsl_multifit_robust_maxiter(500, work);
    assert_int_equal(gsl_multifit_robust(m, v, c, cov, work), 0);
    gsl_multifit_robust_stats stats = gsl_multifit_robust_statistics(work);
    /* its sigma is widened by a share of the least-squares one, which the outliers have blown up */
    double narrow = stats.sigma_rob / stats.sigma;
    out = (struct level_line){gsl_vector_get(c, 0), gsl_vector_get(c, 1),
                              narrow * sqrt(gsl_matrix_get(cov, 0, 0)),
                              narrow * sqrt(gsl_matrix_get(cov, 1, 1)), stats.sigma_mad};
    gsl_multifit_robust_free(work);
    gsl_matrix_free(m);
    gsl_matrix_free(cov);
    gsl_vector_free(v);
    gsl_vector_free(c);
    return out;
}

/* The other one takes its scale over all points, starts from least squares and lets leverage count,
 * so the lines agree to a fraction of their uncertainty and no better. */
static void robust_lines(void **state)
{
    (void)state;
    enum { n = 200, trials = 40 };
    struct geo_point p[n];
    double x[n], y[n], worst = 0.0, u_ratio = 0.0;
    for (int trial = 0; trial < trials; trial++) {
        cloud_line(p, n, (struct geo_point){-100, 3}, 1.0, 1.0, 0.5, &rng);
        cloud_spoil(p, n, 0.10, 1.0, trial % 2 ? 5.0 : -5.0);
        for (size_t i = 0; i < n; i++) {
            x[i] = p[i].x;
            y[i] = p[i].y;
        }
        struct level_line want = other_robust(x, y, n);
        struct geo_fit f;
        assert_int_equal(plumb_geo_fit_robust(p, NULL, n, 0.0, &f, NULL), 0);
        double slope = f.line.dir.y / f.line.dir.x;
        double at_zero = f.line.at.y - slope * f.line.at.x;
        worst = fmax(worst, fabs(slope - want.b) / want.u_b);
        worst = fmax(worst, fabs(at_zero - want.a) / want.u_a);
        u_ratio += f.line.u_angle / want.u_b / trials;
        assert_close_rel(f.scale, want.scale, 0.25);
    }
    assert_true(worst < 0.3);
    assert_close(u_ratio, 1.0, 0.1);
}

static void quantiles_of_t(void **state)
{
    (void)state;
    static const double p[] = {0.5, 0.6827, 0.9, 0.95, 0.9545, 0.99, 0.9973, 0.999};
    for (size_t i = 0; i < sizeof p / sizeof p[0]; i++)
        for (double dof = 1; dof < 3e4; dof = dof < 260 ? dof + 1 : 2 * dof)
            assert_close_rel(plumb_unc_coverage_factor(p[i], dof),
                             gsl_cdf_tdist_Pinv(0.5 + 0.5 * p[i], dof), 1e-9);
}

static void tails_of_chi_square(void **state)
{
    (void)state;
    for (double k = 0.5; k < 3000; k *= 1.37)
        for (double x = 0.02 * k; x < 6.0 * k + 50; x *= 1.31)
            assert_close_rel(plumb_unc_chi2_tail(x, k), gsl_cdf_chisq_Q(x, k), 1e-9);
}

static void normal_distribution(void **state)
{
    (void)state;
    for (double z = -30; z < 8; z += 0.31)
        assert_close_rel(plumb_unc_normal_cdf(z), gsl_cdf_ugaussian_P(z), 1e-12);
    for (double p = 1e-250; p < 0.5; p *= 3.7)
        assert_close_rel(plumb_unc_normal_quantile(p), gsl_cdf_ugaussian_Pinv(p), 1e-12);
}

static int seed(void **state)
{
    (void)state;
    plumb_unc_rng_seed(&rng, 61);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(weighted_lines),      cmocka_unit_test(robust_lines),
        cmocka_unit_test(quantiles_of_t),      cmocka_unit_test(tails_of_chi_square),
        cmocka_unit_test(normal_distribution),
    };
    return cmocka_run_group_tests(tests, seed, NULL);
}
#else
int main(void)
{
    print_message("skipped: GSL is not installed\n");
    return 0;
}
#endif
