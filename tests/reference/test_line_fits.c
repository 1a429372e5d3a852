/*
 * Line fits against published data with known answers.
 *
 * Norris: NIST Statistical Reference Datasets, linear regression, certified values
 *   (https://www.itl.nist.gov/div898/strd/lls/data/LINKS/DATA/Norris.dat, read through copies).
 * Pearson's data with York's weights: K. Pearson, Phil. Mag. 2 (1901) 559; D. York, Can. J. Phys.
 * 44 (1966) 1079; the digits as printed in the documentation of two independent programs. York's
 *   unified sigmas (2004), not the older recipes, which differ.
 * Deming lines: the closed formula on Pearson's data, computed independently; the line for the
 *   ratio 1 is Pearson's and so checked from outside.
 * H.3: JCGM 100:2008, Annex H.3, calibration of a thermometer (data and results from memory).
 */
#include "tests/support/close.h"

#include "plumbrule/geometry.h"

static const double norris[][2] = {
    {0.1, 0.2},     {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1},    {228.1, 226.5},
    {668.5, 666.3}, {998.5, 996.3}, {449.1, 448.6}, {778.9, 777.0}, {559.2, 558.2}, {0.3, 0.4},
    {0.1, 0.6},     {778.1, 775.5}, {668.8, 666.9}, {339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6},
    {557.7, 556.0}, {228.3, 228.1}, {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {0.3, 0.3},
    {0.6, 0.3},     {557.6, 556.8}, {339.3, 339.1}, {888.0, 887.2}, {998.5, 999.0}, {778.9, 779.0},
    {10.2, 11.1},   {117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {0.2, 0.5}};
enum { n_norris = sizeof norris / sizeof norris[0] };

/* x, y, weight of x, weight of y */
static const double pearson[][4] = {
    {0.0, 5.9, 1000, 1},  {0.9, 5.4, 1000, 1.8}, {1.8, 4.4, 500, 4}, {2.6, 4.6, 800, 8},
    {3.3, 3.5, 200, 20},  {4.4, 3.7, 80, 20},    {5.2, 2.8, 60, 70}, {6.1, 2.8, 20, 70},
    {6.5, 2.4, 1.8, 100}, {7.4, 1.5, 1, 500}};
enum { n_pearson = sizeof pearson / sizeof pearson[0] };

/* A line y = a + b x with all that York's fit says of it. */
struct straight {
    double a, b, cov[3], chi2;
};

static struct straight york(const double *x, const double *y, const double *ux, const double *uy,
                            size_t n)
{
    struct straight s;
    struct err e = {0};
    if (plumb_geo_fit_york(x, y, ux, uy, n, &s.a, &s.b, s.cov, &s.chi2, &e) != 0)
        fail_msg("%s", e.text);
    return s;
}

/* With sure x and equal y York's fit is ordinary least squares. */
static void norris_as_ordinary_least_squares(void **state)
{
    (void)state;
    double x[n_norris], y[n_norris], ux[n_norris] = {0}, uy[n_norris];
    for (size_t i = 0; i < n_norris; i++) {
        y[i] = norris[i][0];
        x[i] = norris[i][1];
        uy[i] = 1.0;
    }
    struct straight s = york(x, y, ux, uy, n_norris);
    double scale = sqrt(s.chi2 / (n_norris - 2));
    assert_close_rel(s.a, -0.262323073774029, 1e-12);
    assert_close_rel(s.b, 1.00211681802045, 1e-13);
    assert_close_rel(s.chi2, 26.6173985294224, 1e-12);
    assert_close_rel(scale, 0.884796396144373, 1e-12);
    assert_close_rel(scale * sqrt(s.cov[0]), 0.232818234301152, 1e-12);
    assert_close_rel(scale * sqrt(s.cov[1]), 0.429796848199937e-3, 1e-12);
}

static void pearson_as_total_least_squares(void **state)
{
    (void)state;
    struct geo_point p[n_pearson];
    struct geo_fit f;
    for (size_t i = 0; i < n_pearson; i++)
        p[i] = (struct geo_point){pearson[i][0], pearson[i][1]};
    assert_int_equal(plumb_geo_fit_tls(p, NULL, n_pearson, &f, NULL), 0);
    double slope = f.line.dir.y / f.line.dir.x;
    assert_close_rel(f.line.at.y - slope * f.line.at.x, 5.784043774530, 1e-12);
    assert_close_rel(slope, -0.545561197521, 1e-11);
    assert_close(atan2(f.line.dir.y, f.line.dir.x) * 180.0 / 3.14159265358979323846, -28.61516899,
                 1e-8);
    assert_close(f.line.at.x, 3.82, 1e-14);
    assert_close(f.line.at.y, 3.70, 1e-14);
    assert_close(f.rms, 0.248711, 1e-6);
    assert_close(f.rms * f.rms * n_pearson, 0.618572759, 1e-9);
}

static void pearson_with_yorks_weights(void **state)
{
    (void)state;
    double x[n_pearson], y[n_pearson], ux[n_pearson], uy[n_pearson];
    for (size_t i = 0; i < n_pearson; i++) {
        x[i] = pearson[i][0];
        y[i] = pearson[i][1];
        ux[i] = 1.0 / sqrt(pearson[i][2]);
        uy[i] = 1.0 / sqrt(pearson[i][3]);
    }
    struct straight s = york(x, y, ux, uy, n_pearson);
    double birge = sqrt(s.chi2 / 8.0);
    assert_close(s.a, 5.47991022403, 1e-11);
    assert_close(s.b, -0.48053340745, 1e-11);
    assert_close(s.chi2, 11.86635319, 1e-8);
    assert_close(s.chi2 / 8.0, 1.483294149, 1e-9);
    assert_close(sqrt(s.cov[0]), 0.294970735, 1e-9);
    assert_close(sqrt(s.cov[1]), 0.0579850090, 1e-10);
    assert_close(birge * sqrt(s.cov[0]), 0.359246523, 1e-9);
    assert_close(birge * sqrt(s.cov[1]), 0.070620270, 1e-9);
    /* seen from the other axis it is the same line, and the same chi-square */
    struct straight t = york(y, x, uy, ux, n_pearson);
    assert_close_rel(t.b, 1.0 / s.b, 1e-9);
    assert_close_rel(t.a, -s.a / s.b, 1e-9);
    assert_close_rel(t.chi2, s.chi2, 1e-9);
}

static void deming_lines_and_their_limits(void **state)
{
    (void)state;
    static const struct {
        double ratio, a, b; /* var(error of y) / var(error of x) */
    } table[] = {
        {0.25, 5.815915403, -0.553904556}, {0.5, 5.798594867, -0.549370384},
        {1, 5.784043775, -0.545561198},    {2, 5.774026819, -0.542938958},
        {4, 5.768025675, -0.541367978},    {HUGE_VAL, 5.761185190, -0.539577275}, /* y on x */
        {0, 5.861695695, -0.565888925}};                                          /* x on y */
    double x[n_pearson], y[n_pearson], ux[n_pearson], uy[n_pearson];
    for (size_t k = 0; k < sizeof table / sizeof table[0]; k++) {
        for (size_t i = 0; i < n_pearson; i++) {
            x[i] = pearson[i][0];
            y[i] = pearson[i][1];
            ux[i] = isinf(table[k].ratio) ? 0.0 : 0.3;
            uy[i] = isinf(table[k].ratio) ? 0.3 : 0.3 * sqrt(table[k].ratio);
        }
        struct straight s = york(x, y, ux, uy, n_pearson);
        assert_close(s.a, table[k].a, 1e-9);
        assert_close(s.b, table[k].b, 1e-9);
    }
}

static void thermometer_of_annex_h3(void **state)
{
    (void)state;
    static const double t[] = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                               24.513, 25.002, 25.503, 26.010, 26.511};
    static const double b[] = {-0.171, -0.169, -0.166, -0.159, -0.164, -0.165,
                               -0.156, -0.157, -0.159, -0.161, -0.160};
    enum { n = sizeof t / sizeof t[0] };
    double x[n], none[n] = {0}, one[n];
    for (size_t i = 0; i < n; i++) {
        x[i] = t[i] - 20.0;
        one[i] = 1.0;
    }
    struct straight s = york(x, b, none, one, n);
    double var = s.chi2 / (n - 2);
    assert_close(s.a, -0.1712, 5e-5);
    assert_close(s.b, 0.00218, 5e-6);
    assert_close(sqrt(var), 0.0035, 5e-5);
    assert_close(sqrt(var * s.cov[0]), 0.0029, 5e-5);
    assert_close(sqrt(var * s.cov[1]), 0.00067, 5e-6);
    assert_close(s.cov[2] / sqrt(s.cov[0] * s.cov[1]), -0.930, 5e-4);
    /* prediction at 30 C: without the correlation u would be 0.0073 */
    double u = sqrt(var * (s.cov[0] + 100.0 * s.cov[1] + 20.0 * s.cov[2]));
    assert_close(s.a + 10.0 * s.b, -0.1494, 5e-5);
    assert_close(u, 0.0041, 5e-5);
}

static void york_refuses_what_is_no_line(void **state)
{
    (void)state;
    static const double up[] = {1, 1, 1, 1}, run[] = {1, 2, 3, 4}, u[] = {1, 1, 1, 1};
    static const double none[] = {0, 0, 0, 0}, bad[] = {1, (double)NAN, 1, 1};
    static const double minus[] = {1, -1, 1, 1};
    struct straight s;
    struct err e = {0};
    const struct {
        const double *x, *y, *ux, *uy;
        size_t n;
        int want;
    } table[] = {{up, run, u, u, 4, ERR_ILLPOSED},  {run, up, u, u, 2, ERR_ILLPOSED},
                 {run, up, none, none, 4, ERR_ARG}, {bad, up, u, u, 4, ERR_ARG},
                 {run, bad, u, u, 4, ERR_ARG},      {run, up, bad, u, 4, ERR_ARG},
                 {run, up, u, minus, 4, ERR_ARG},   {up, up, u, u, 4, ERR_ILLPOSED}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        int rc = plumb_geo_fit_york(table[i].x, table[i].y, table[i].ux, table[i].uy, table[i].n,
                                    &s.a, &s.b, s.cov, &s.chi2, &e);
        assert_int_equal(rc, table[i].want);
        assert_close(s.b, 0.0, 0);
    }
    s = york(run, up, u, u, 4); /* level is a line */
    assert_close(s.a, 1.0, 1e-15);
    assert_close(s.b, 0.0, 1e-15);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(norris_as_ordinary_least_squares),
        cmocka_unit_test(pearson_as_total_least_squares),
        cmocka_unit_test(pearson_with_yorks_weights),
        cmocka_unit_test(deming_lines_and_their_limits),
        cmocka_unit_test(thermometer_of_annex_h3),
        cmocka_unit_test(york_refuses_what_is_no_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
