/*
 * Are the stated uncertainties honest? Many simulated lines with a fixed seed: the spread of fitted
 * angles, offsets and widths against what each fit states, and how often the 95 % interval holds
 * the truth.
 *
 * The table of line angles is var(angle) >= 12 s^2 / (d^2 N (N^2 - 1)), the Cramer-Rao limit for N
 * points with noise s over a length, d = length / (N - 1) apart, computed independently.
 */
#include "tests/support/close.h"
#include "tests/support/cloud.h"

enum { most = 800, trials = 2000 };

static struct unc_rng rng;

/* What many fits said and how far they were off. */
struct tally {
    int n, inside;
    double error2, stated2, z2;
};

static void count(struct tally *t, double error, double u, double dof)
{
    t->n++;
    t->error2 += error * error;
    t->stated2 += u * u;
    t->z2 += error * error / (u * u);
    t->inside += fabs(error) <= u * plumb_unc_coverage_factor(0.95, dof);
}

static double stated_over_true(const struct tally *t)
{
    return sqrt(t->stated2 / t->error2);
}

static double z_sd(const struct tally *t)
{
    return sqrt(t->z2 / t->n);
}

static double share_inside(const struct tally *t)
{
    return (double)t->inside / t->n;
}

static void angle_table(void **state)
{
    (void)state;
    static const struct {
        size_t n;
        double length, noise, sd_deg;
        int lines;
    } table[] = {{50, 50, 0.3, 0.165079, 4000},    {100, 100, 0.3, 0.058951, 3000},
                 {101, 100, 0.5, 0.0977738, 3000}, {200, 200, 0.3, 0.020947, 2000},
                 {500, 500, 0.3, 0.005315, 1000},  {800, 800, 0.3, 0.002628, 1000}};
    static struct geo_point pts[most];
    for (size_t k = 0; k < sizeof table / sizeof table[0]; k++) {
        struct tally t = {0};
        struct geo_fit f;
        size_t n = table[k].n;
        for (int i = 0; i < table[k].lines; i++) {
            double step = table[k].length / (double)(n - 1);
            cloud_line(pts, n, (struct geo_point){300, 200}, 80.0, step, table[k].noise, &rng);
            assert_int_equal(plumb_geo_fit_tls(pts, NULL, n, &f, NULL), 0);
            double e = atan2(f.line.dir.y, f.line.dir.x) - 80.0 * cloud_degree;
            count(&t, e, f.line.u_angle, f.dof);
        }
        /* relative sd of a spread from so many lines: at most 2.3 % */
        assert_close_rel(sqrt(t.error2 / t.n) / cloud_degree, table[k].sd_deg, 0.05);
        assert_close_rel(sqrt(t.stated2 / t.n) / cloud_degree, table[k].sd_deg, 0.01);
        assert_close(z_sd(&t), 1.0, 0.05);
        assert_close(share_inside(&t), 0.95, 0.015);
    }
}

enum kind { PLAIN, ROBUST, SPOILED };

static void fit_kind(enum kind kind, struct geo_point *pts, size_t n, struct geo_fit *f)
{
    cloud_line(pts, n, (struct geo_point){0, 0}, -35.0, 2.0, 0.4, &rng);
    if (kind == SPOILED)
        cloud_spoil(pts, n, 0.25, -35.0, 4.0);
    int rc = kind == PLAIN ? plumb_geo_fit_tls(pts, NULL, n, f, NULL)
                           : plumb_geo_fit_robust(pts, NULL, n, 0.0, f, NULL);
    assert_int_equal(rc, 0);
}

/* Angle and offset of all fits, from a handful of points to many. With few points z has the spread
 * of Student's t, so there the interval is what counts. */
static void single_lines(void **state)
{
    (void)state;
    static const size_t size[] = {6, 8, 12, 20, 60};
    struct geo_point pts[60];
    for (enum kind kind = PLAIN; kind <= SPOILED; kind++)
        for (size_t k = kind == SPOILED ? 2 : 0; k < sizeof size / sizeof size[0]; k++) {
            struct tally angle = {0}, offset = {0};
            for (int i = 0; i < trials; i++) {
                struct geo_fit f;
                fit_kind(kind, pts, size[k], &f);
                double e = atan2(f.line.dir.y, f.line.dir.x) + 35.0 * cloud_degree;
                /* across at the centroid: the true line passes the origin at -35 degrees */
                struct geo_line truth = {
                    .dir = geo_turn((struct geo_point){1, 0}, -35.0 * cloud_degree)};
                count(&angle, e, f.line.u_angle, f.dof);
                count(&offset, plumb_geo_across(&truth, f.line.at), f.line.u_offset, f.dof);
            }
            if (size[k] >= 60) {
                assert_close(z_sd(&angle), 1.0, 0.05);
                assert_close(z_sd(&offset), 1.0, 0.05);
            }
            if (size[k] >= 20) {
                assert_close(stated_over_true(&angle), 1.0, 0.06);
                assert_close(stated_over_true(&offset), 1.0, 0.06);
            }
            assert_close(share_inside(&angle), 0.95, 0.022);
            assert_close(share_inside(&offset), 0.95, 0.022);
        }
}

/* Flanks of equal and unequal length, side by side and one ahead of the other. */
static void flanks(void **state)
{
    (void)state;
    static const struct {
        size_t na, nb;
        double ahead;
    } table[] = {{12, 12, 0}, {40, 40, 0}, {40, 15, 60}};
    struct geo_point a[40], b[40];
    for (size_t k = 0; k < sizeof table / sizeof table[0]; k++) {
        struct tally angle = {0}, offset = {0}, width = {0};
        for (int i = 0; i < trials * 3 / 4; i++) {
            struct geo_fit f;
            double w, u;
            struct geo_line mid = {.at = {0, 10}, .dir = {1, 0}};
            cloud_line(a, table[k].na, (struct geo_point){0, 0}, 0, 2.0, 0.4, &rng);
            cloud_line(b, table[k].nb, (struct geo_point){table[k].ahead, 20}, 0, 2.0, 0.4, &rng);
            assert_int_equal(
                plumb_geo_fit_flanks(a, table[k].na, b, table[k].nb, 0.0, &f, &w, &u, NULL), 0);
            count(&angle, atan2(f.line.dir.y, f.line.dir.x), f.line.u_angle, f.dof);
            count(&offset, plumb_geo_across(&mid, f.line.at), f.line.u_offset, f.dof);
            count(&width, w - 20.0, u, f.dof);
        }
        assert_close(stated_over_true(&angle), 1.0, 0.07);
        assert_close(stated_over_true(&offset), 1.0, 0.07);
        assert_close(stated_over_true(&width), 1.0, 0.07);
        assert_close(share_inside(&angle), 0.95, 0.02);
        assert_close(share_inside(&offset), 0.95, 0.02);
        assert_close(share_inside(&width), 0.95, 0.02);
    }
}

/* York's covariance on points with errors of both coordinates. */
static void york(void **state)
{
    (void)state;
    enum { n = 15 };
    double x[n], y[n], ux[n], uy[n];
    struct tally at = {0}, slope = {0};
    double mixed = 0.0, chi2_sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        ux[i] = 0.1 + 0.02 * (double)i;
        uy[i] = 0.5 - 0.02 * (double)i;
    }
    for (int k = 0; k < 3000; k++) {
        double a, b, cov[3], chi2;
        for (size_t i = 0; i < n; i++) {
            x[i] = (double)i + ux[i] * plumb_unc_rng_normal(&rng);
            y[i] = 3.0 - 0.7 * (double)i + uy[i] * plumb_unc_rng_normal(&rng);
        }
        assert_int_equal(plumb_geo_fit_york(x, y, ux, uy, n, &a, &b, cov, &chi2, NULL), 0);
        count(&at, a - 3.0, sqrt(cov[0]), HUGE_VAL);
        count(&slope, b + 0.7, sqrt(cov[1]), HUGE_VAL);
        mixed += (a - 3.0) * (b + 0.7) / cov[2] / 3000.0;
        chi2_sum += chi2 / 3000.0;
    }
    assert_close(z_sd(&at), 1.0, 0.04);
    assert_close(z_sd(&slope), 1.0, 0.04);
    assert_close(mixed, 1.0, 0.08);
    assert_close_rel(chi2_sum, n - 2, 0.02);
    assert_close(share_inside(&slope), 0.95, 0.015);
}

static int seed(void **state)
{
    (void)state;
    plumb_unc_rng_seed(&rng, 51);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(angle_table),
        cmocka_unit_test(single_lines),
        cmocka_unit_test(flanks),
        cmocka_unit_test(york),
    };
    return cmocka_run_group_tests(tests, seed, NULL);
}
