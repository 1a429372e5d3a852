/*
 * The smooth root through the border points of both sides: middle m and half width h at equal
 * steps, sides at m + h and m - h, by penalised least squares (Whittaker, Proc. Edinburgh Math.
 * Soc. 41 (1923) 63): third differences of m and second ones of h are small. Where one side is
 * hidden the other one and the width carry it. Bisquare weights (Beaton, Tukey 1974) put aside what
 * is not the border. Covariance: inverse of the normal matrix, that is the penalty read as a prior.
 */
#include <math.h>
#include <string.h>
#include "find/root_internal.h"

enum {
    N = ROOT_POINTS,
    M = 2 * ROOT_POINTS,
    ROUNDS = 15,
    LEAST_POINTS = 8,
    END_POINTS = 3,
    LONELY = 2
};

struct shape_params {
    double bend_mm;         /* standard deviation of third differences of the middle */
    double taper_mm;        /* of second differences of the half width, along the shaft, */
    double round_mm;        /* growing to so much more at the apex, */
    double round_from;      /* from this share of the length on */
    double slope, slope_sd; /* of the half width: 2.5 mm to 1.6 mm over a root; from step to step */
    double crown_px; /* of the crown click about the middle: its place is a matter of taste */
    double apex_px;  /* of the apex click about the apex: that of a disc of 10 px, and a bit */
    double end_mm;   /* of the width against that of a blunt end */
    double min_scale_mm;
    double bisquare, outlier; /* in scales */
};

static const struct shape_params shape_defaults = {
    .bend_mm = 0.005,
    .taper_mm = 0.006,
    .round_mm = 0.1,
    .round_from = 0.5,
    .slope = 0.065,
    .slope_sd = 0.03,
    .crown_px = 8.0,
    .apex_px = 7.0,
    .end_mm = 0.08,
    .min_scale_mm = 0.02,
    .bisquare = GEO_BISQUARE_C,
    .outlier = 3.5,
};

struct system {
    double a[M][M], b[M];
};

/* Adds weight * (sum of c_i x_(at_i) - value)^2. */
static void add_row(struct system *s, const size_t *at, const double *c, size_t n, double value,
                    double weight)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++)
            s->a[at[i]][at[j]] += weight * c[i] * c[j];
        s->b[at[i]] += weight * c[i] * value;
    }
}

/* How much the half width may bend at point i: little along the shaft, more where the root rounds
 * off. */
static double taper_sd(const struct root_grid *g, size_t i)
{
    const struct shape_params *p = &shape_defaults;
    double q = fmax(0.0, ((double)i / N - p->round_from) / (1.0 - p->round_from));
    return g->mm * (p->taper_mm + p->round_mm * q * q);
}

/* The root's end: its middle near the click, its width falling as the root of the distance from the
 * apex, as that of any blunt end does. */
static void add_apex(struct system *s, const struct root_grid *g)
{
    const struct shape_params *p = &shape_defaults;
    static const double one = 1.0;
    double click = 1.0 / (p->apex_px * p->apex_px), width = 1.0 / pow(p->end_mm * g->mm, 2.0);
    add_row(s, (size_t[]){N - 1}, &one, 1, 0.0, click);
    for (size_t i = N - 1; i + END_POINTS > N - 1; i--) {
        double from_apex = (double)(N - i) - 0.5;
        add_row(s, (size_t[]){N + i, N + i - 1},
                (double[]){1.0, -sqrt(from_apex / (from_apex + 1.0))}, 2, 0.0, width);
    }
}

/* Roots taper; where nothing is seen that carries the width on, and a furcation's arch, which
 * widens towards the crown, is not taken for the root. */
static void add_taper(struct system *s, const struct root_grid *g)
{
    const struct shape_params *p = &shape_defaults;
    double step = g->length / N, weight = 1.0 / pow(p->slope_sd * step, 2.0);
    for (size_t i = 0; i + 1 < (size_t)(p->round_from * N) + 2; i++)
        add_row(s, (size_t[]){N + i, N + i + 1}, (double[]){-1.0, 1.0}, 2, -p->slope * step,
                weight);
}

static void add_penalties(struct system *s, const struct root_grid *g)
{
    static const double third[4] = {-1.0, 3.0, -3.0, 1.0}, second[3] = {1.0, -2.0, 1.0}, one = 1.0;
    const struct shape_params *p = &shape_defaults;
    double wm = 1.0 / pow(p->bend_mm * g->mm, 2.0), click = 1.0 / (p->crown_px * p->crown_px);
    for (size_t i = 0; i + 3 < N; i++)
        add_row(s, (size_t[]){i, i + 1, i + 2, i + 3}, third, 4, 0.0, wm);
    for (size_t i = 0; i + 3 < N; i++) /* the last one follows the law of a blunt end */
        add_row(s, (size_t[]){N + i, N + i + 1, N + i + 2}, second, 3, 0.0,
                1.0 / pow(taper_sd(g, i + 1), 2.0));
    add_row(s, (size_t[]){0}, &one, 1, 0.0, click);
    add_taper(s, g);
    add_apex(s, g);
}

/* Lower triangle of a becomes its Cholesky factor; false when it is not positive definite. */
static bool factor(double a[M][M])
{
    for (size_t j = 0; j < M; j++)
        for (size_t i = j; i < M; i++) {
            double sum = a[i][j];
            for (size_t k = 0; k < j; k++)
                sum -= a[i][k] * a[j][k];
            if (i == j && !(sum > 0.0))
                return false;
            a[i][j] = i == j ? sqrt(sum) : sum / a[j][j];
        }
    return true;
}

static void solve(double l[M][M], double *x)
{
    for (size_t i = 0; i < M; i++) {
        for (size_t k = 0; k < i; k++)
            x[i] -= l[i][k] * x[k];
        x[i] /= l[i][i];
    }
    for (size_t i = M; i-- > 0;) {
        for (size_t k = i + 1; k < M; k++)
            x[i] -= l[k][i] * x[k];
        x[i] /= l[i][i];
    }
}

static double residual(const struct root_point *p, const double *x, int side, size_t k)
{
    return p->t - (x[k] + (side == 0 ? x[N + k] : -x[N + k]));
}

/* One weighted fit: x, and the factor in s. */
static bool fit_once(const struct root_grid *g, struct root_point pts[2][N], double w[2][N],
                     double scale, struct system *s, double x[M])
{
    memset(s, 0, sizeof *s);
    add_penalties(s, g);
    for (int side = 0; side < 2; side++)
        for (size_t k = 0; k < N; k++)
            if (w[side][k] > 0.0)
                add_row(s, (size_t[]){k, N + k}, (double[]){1.0, side == 0 ? 1.0 : -1.0}, 2,
                        pts[side][k].t, w[side][k] / (scale * scale));
    memcpy(x, s->b, sizeof s->b);
    if (!factor(s->a))
        return false;
    solve(s->a, x);
    return true;
}

/* Median absolute residual of the seen points, as a standard deviation. */
static double spread(struct root_point pts[2][N], const double *x, size_t *n)
{
    double r[M];
    *n = 0;
    for (int side = 0; side < 2; side++)
        for (size_t k = 0; k < N; k++)
            if (pts[side][k].seen)
                r[(*n)++] = fabs(residual(&pts[side][k], x, side, k));
    return 1.4826 * plumb_geo_median(r, *n);
}

static void reweight(struct root_point pts[2][N], const double *x, double scale, bool soft,
                     double w[2][N])
{
    double c = shape_defaults.bisquare * scale;
    for (int side = 0; side < 2; side++)
        for (size_t k = 0; k < N; k++) {
            double r = fabs(residual(&pts[side][k], x, side, k)), u = 1.0 - r * r / (c * c);
            double bisquare = u > 0.0 ? u * u : 0.0;
            w[side][k] = !pts[side][k].seen ? 0.0 : soft ? scale / (scale + r) : bisquare;
        }
}

static void covariances(struct system *s, struct root_shape *out)
{
    for (size_t j = 0; j < M; j++) {
        double e[M] = {0};
        e[j] = 1.0;
        solve(s->a, e);
        memcpy(out->cov[j], e, sizeof e);
    }
}

static void put_aside(struct root_point pts[2][N], const double *x, double scale)
{
    for (int side = 0; side < 2; side++)
        for (size_t k = 0; k < N; k++)
            if (fabs(residual(&pts[side][k], x, side, k)) > shape_defaults.outlier * scale)
                pts[side][k].seen = false;
}

/* A point or two alone beside a gap are more often something else than the border, and would carry
 * the gap with them. */
static void drop_lonely(struct root_point pts[N])
{
    for (size_t i = 0; i < N;) {
        size_t j = i;
        while (j < N && pts[j].seen == pts[i].seen)
            j++;
        bool before = i < 2 || (!pts[i - 1].seen && !pts[i - 2].seen);
        bool after = j + 2 > N || (!pts[j].seen && !pts[j + 1].seen);
        if (pts[i].seen && j - i <= LONELY && before && after)
            for (size_t k = i; k < j; k++)
                pts[k].seen = false;
        i = j;
    }
}

int root_shape_fit(const struct root_grid *g, struct root_point pts[2][N], struct root_shape *out,
                   struct err *err)
{
    const struct shape_params *p = &shape_defaults;
    double w[2][N], x[M] = {0}, floor_px = p->min_scale_mm * g->mm, scale = 10.0 * floor_px;
    struct system s;
    size_t n = 0;
    for (int side = 0; side < 2; side++) {
        drop_lonely(pts[side]);
        for (size_t k = 0; k < N; k++)
            w[side][k] = pts[side][k].seen ? 1.0 : 0.0;
    }
    for (int round = 0; round < ROUNDS; round++) {
        if (!fit_once(g, pts, w, scale, &s, x))
            return plumb_err_set(err, ERR_ILLPOSED, "the sides of the root do not determine it");
        scale = fmax(floor_px, spread(pts, x, &n));
        if (n < LEAST_POINTS)
            return plumb_err_set(err, ERR_ILLPOSED,
                                 "%zu border points of the root are seen, need %d", n,
                                 LEAST_POINTS);
        reweight(pts, x, scale, round < ROUNDS / 2, w);
    }
    put_aside(pts, x, scale);
    covariances(&s, out);
    memcpy(out->middle, x, sizeof out->middle);
    memcpy(out->half, x + N, sizeof out->half);
    out->scale = scale;
    return 0;
}
