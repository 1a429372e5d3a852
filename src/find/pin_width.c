/*
 * The cylinder's width from its shadow. A cylinder's absorption thins out towards its edge (chord
 * 2 sqrt(r^2 - u^2)), blur mixes it with the surroundings before the tone curve acts, and the curve
 * bends and clips the result: the steepest place or the half height of the grey edge lies inside
 * the cylinder by 1 to 5 % of its width. So the whole cross profile is fitted:
 *
 *     T(u) = blur_s[ f + (1 - f) exp(-m sqrt(1 - u^2/r^2)) ]           transmission of the metal
 *     p(u) = min(1, c g(T) / g(T(0))),  g(T) = (1 - T^k) / k           its grey, 0 outside, 1
 * inside
 *
 * r radius, s blur, m opacity along the diameter, f scattered and veiling light, k the tone (0:
 * logarithmic, 1: linear; Box & Cox 1964), c >= 1 clipping, b the error of
 * the surroundings' level. r and s, k, c trade against each other
 * where metal saturates; what physics leaves likely is told by normal priors, and the standard
 * uncertainty of r is that of the posterior (Laplace approximation), so a film that does not
 * determine its tone gives a wide interval, not a biased width.
 *
 * Method: Gauss-Newton with Levenberg's damping, numerical derivatives.
 * Limits: one material, a round section; the veil of a long blur tail is in f and in the
 * surroundings' level.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/pin_internal.h"

enum { POINTS = 56, PARAMS = 7, NODES = 15, ROUNDS = 30 };
enum { P_R, P_S, P_M, P_F, P_K, P_C, P_B }; /* r and s as logarithms of shares, see unpack */

/* Prior means and standard deviations, common practice, no source: blur 0.04..0.15 mm on pins of
 * 1.5..4.2 mm; titanium m = 2 (2 mm), steel 4..10; scatter and veil 1..10 %. r: free within 10 %.
 */
static const double prior_mean[PARAMS] = {0.035, -3.35, 1.45, -3.2, 0.45, -0.5, 0.0};
static const double prior_sd[PARAMS] = {0.06, 0.45, 0.55, 0.7, 0.40, 1.0, 0.05};
/* What tones that are no power leave out: set so that 95 % intervals hold the truth on phantoms
 * (seeds below 20100; measured on others, tests/bench/bench_pin.c). */
static const double spread = 1.5, untold = 0.013;
static const double model_error = 0.006; /* of the profile's height: what the model leaves out */
static const double reach_out = 0.18;    /* of the width, beyond the flank */
static const double inner_share = 0.35;  /* of the radius, where the profile begins */

struct profile {
    double raw; /* half the raw width, px */
    size_t n;
    double u[POINTS], p[POINTS], sd[POINTS];
};

struct shape {
    double r, s, m, f, k, c, b;
};

static struct shape unpack(const double *x, double raw)
{
    return (struct shape){.r = raw * exp(x[P_R]),
                          .s = 2.0 * raw * exp(x[P_S]),
                          .m = exp(x[P_M]),
                          .f = exp(x[P_F]),
                          .k = x[P_K],
                          .c = 1.0 + exp(x[P_C]),
                          .b = x[P_B]};
}

static double metal(const struct shape *q, double u)
{
    double z = 1.0 - u * u / (q->r * q->r);
    return z > 0.0 ? q->f + (1.0 - q->f) * exp(-q->m * sqrt(z)) : 1.0;
}

static double blurred(const struct shape *q, double u)
{
    double sum = 0.0, norm = 0.0;
    for (int i = 0; i < NODES; i++) {
        double z = -2.8 + 5.6 * i / (NODES - 1), w = exp(-0.5 * z * z);
        sum += w * metal(q, u + z * q->s);
        norm += w;
    }
    return sum / norm;
}

static double tone(double t, double k)
{
    return fabs(k) < 1e-4 ? -log(t) : (1.0 - pow(t, k)) / k;
}

static double model(const struct shape *q, double u, double top)
{
    double p = q->b + (q->c - q->b) * tone(blurred(q, u), q->k) / top;
    /* a soft corner where the detector clips keeps the derivative alive */
    return p - 0.02 * log1p(exp((p - 1.0) / 0.02));
}

static void residuals(const struct profile *pr, const double *x, double *e)
{
    struct shape q = unpack(x, pr->raw);
    double top = tone(metal(&q, 0.0), q.k);
    for (size_t i = 0; i < pr->n; i++)
        e[i] = (pr->p[i] - model(&q, pr->u[i], top)) / pr->sd[i];
    for (size_t j = 0; j < PARAMS; j++)
        e[pr->n + j] = (prior_mean[j] - x[j]) / prior_sd[j];
}

static double square_sum(const double *e, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += e[i] * e[i];
    return sum;
}

/* Cholesky in place; false when not positive definite. */
static bool factor(double a[PARAMS][PARAMS])
{
    for (int i = 0; i < PARAMS; i++) {
        for (int j = 0; j <= i; j++) {
            double sum = a[i][j];
            for (int k = 0; k < j; k++)
                sum -= a[i][k] * a[j][k];
            if (i == j && sum <= 0.0)
                return false;
            a[i][j] = i == j ? sqrt(sum) : sum / a[j][j];
        }
    }
    return true;
}

static void solve(double a[PARAMS][PARAMS], double *b)
{
    for (int i = 0; i < PARAMS; i++) {
        for (int k = 0; k < i; k++)
            b[i] -= a[i][k] * b[k];
        b[i] /= a[i][i];
    }
    for (int i = PARAMS - 1; i >= 0; i--) {
        for (int k = i + 1; k < PARAMS; k++)
            b[i] -= a[k][i] * b[k];
        b[i] /= a[i][i];
    }
}

struct normal {
    double a[PARAMS][PARAMS], b[PARAMS];
};

static void normal_equations(const struct profile *pr, const double *x, const double *e,
                             struct normal *out)
{
    double j[PARAMS][POINTS + PARAMS], step = 1e-4;
    size_t n = pr->n + PARAMS;
    for (int k = 0; k < PARAMS; k++) {
        double y[PARAMS];
        memcpy(y, x, sizeof y);
        y[k] += step;
        residuals(pr, y, j[k]);
        for (size_t i = 0; i < n; i++)
            j[k][i] = (j[k][i] - e[i]) / step;
    }
    for (int k = 0; k < PARAMS; k++) {
        out->b[k] = 0.0;
        for (size_t i = 0; i < n; i++)
            out->b[k] -= j[k][i] * e[i];
        for (int l = 0; l < PARAMS; l++) {
            out->a[k][l] = 0.0;
            for (size_t i = 0; i < n; i++)
                out->a[k][l] += j[k][i] * j[l][i];
        }
    }
}

/* Tries one damped step; true when it lowers the sum of squares. */
static bool try_step(const struct profile *pr, const struct normal *ne, double damp, double *x,
                     double *e, double *sum)
{
    double a[PARAMS][PARAMS], d[PARAMS], y[PARAMS], ey[POINTS + PARAMS];
    memcpy(a, ne->a, sizeof a);
    memcpy(d, ne->b, sizeof d);
    for (int k = 0; k < PARAMS; k++)
        a[k][k] *= 1.0 + damp;
    if (!factor(a))
        return false;
    solve(a, d);
    for (int k = 0; k < PARAMS; k++)
        y[k] = x[k] + fmin(0.5, fmax(-0.5, d[k]));
    residuals(pr, y, ey);
    double s = square_sum(ey, pr->n + PARAMS);
    if (!(s < *sum))
        return false;
    *sum = s;
    memcpy(x, y, sizeof y);
    memcpy(e, ey, sizeof ey);
    return true;
}

/* Descends from x; returns the sum of squares reached. */
static double descend(const struct profile *pr, double *x)
{
    double e[POINTS + PARAMS], damp = 1e-2;
    struct normal ne;
    residuals(pr, x, e);
    double sum = square_sum(e, pr->n + PARAMS);
    for (int round = 0; round < ROUNDS && damp < 1e8; round++) {
        double before = sum;
        normal_equations(pr, x, e, &ne);
        while (damp < 1e8 && !try_step(pr, &ne, damp, x, e, &sum))
            damp *= 10.0;
        damp = fmax(1e-8, damp * 0.1);
        if (before - sum < 1e-5 * before)
            break;
    }
    return sum;
}

/* Standard deviation of r at the mode x. */
static double mode_sd(const struct profile *pr, const double *x)
{
    double e[POINTS + PARAMS], unit[PARAMS] = {0};
    struct normal ne;
    residuals(pr, x, e);
    normal_equations(pr, x, e, &ne);
    if (!factor(ne.a))
        return prior_sd[P_R];
    unit[P_R] = 1.0;
    solve(ne.a, unit);
    return sqrt(unit[P_R]);
}

/* Mean and standard deviation of ln r over the modes reached from several tones and radii, each
 * weighed by its posterior. */
static void fit(const struct profile *pr, double *mean, double *sd)
{
    static const double start[][2] = {{0.0, 0.07}, {0.0, 0.02}, {0.4, 0.07},
                                      {0.4, 0.02}, {1.0, 0.05}, {1.0, 0.0}};
    enum { STARTS = sizeof start / sizeof *start };
    double sum[STARTS], r[STARTS], u[STARTS], best = HUGE_VAL, w = 0.0, m = 0.0, v = 0.0;
    for (int i = 0; i < STARTS; i++) {
        double x[PARAMS];
        memcpy(x, prior_mean, sizeof x);
        x[P_K] = start[i][0];
        x[P_R] = start[i][1];
        sum[i] = descend(pr, x);
        r[i] = x[P_R];
        u[i] = mode_sd(pr, x);
        best = fmin(best, sum[i]);
    }
    for (int i = 0; i < STARTS; i++) {
        double k = exp(0.5 * (best - sum[i]));
        w += k;
        m += k * r[i];
        v += k * (r[i] * r[i] + u[i] * u[i]);
    }
    *mean = m / w;
    *sd = sqrt(fmax(0.0, v / w - *mean * *mean));
}

/* Level of row at t across, linear between columns. */
static double level_at(const struct find_strip *st, const float *row, double t)
{
    double j = (t - st->t0) / st->dt;
    if (j <= 0.0)
        return (double)row[0];
    if (j >= (double)(st->cols - 1))
        return (double)row[st->cols - 1];
    size_t i = (size_t)j;
    return (double)row[i] + (j - (double)i) * ((double)row[i + 1] - (double)row[i]);
}

static bool on_land(const struct pin_body *b, size_t i, int k)
{
    const struct pin_flank *f = &b->flank[k];
    double d = b->rows.t[k][i] - f->a - f->b * pin_body_s(b, i);
    return b->rows.ok[k][i] && fabs(d) < fmax(0.5, 2.5 * f->scale);
}

struct sums {
    double core, out, v[POINTS], vv[POINTS], n;
};

/* Adds up one side's rows; u is stretched with the local half width (a pin that leans tapers). */
static void add_rows(const struct pin_body *b, int k, const double *u, size_t n, struct sums *s)
{
    double half0 = 0.5 * b->width, sign = k == 0 ? 1.0 : -1.0;
    memset(s, 0, sizeof *s);
    for (size_t i = b->i0; i <= b->i1; i++) {
        if (!on_land(b, i, k))
            continue;
        const float *row = find_strip_row(&b->strip, i);
        double at = pin_body_s(b, i), mid = pin_body_mid(b, at);
        double stretch = pin_body_half(b, at) / half0;
        for (size_t j = 0; j < n; j++) {
            double v = level_at(&b->strip, row, mid + sign * u[j] * stretch);
            s->v[j] += v;
            s->vv[j] += v * v;
        }
        for (int c = 0; c < 5; c++)
            s->core += 0.2 * level_at(&b->strip, row, mid + sign * 0.08 * c * half0);
        s->n += 1.0;
    }
}

/* The mean profile of both sides, 0 at the surroundings' level, 1 in the core. */
static bool profile_make(const struct pin_body *b, struct profile *pr)
{
    struct sums s[2];
    double r = 0.5 * b->width, from = inner_share * r, to = r + fmax(9.0, reach_out * b->width);
    pr->n = POINTS;
    pr->raw = r;
    for (size_t j = 0; j < POINTS; j++) {
        pr->u[j] = from + (to - from) * (double)j / (POINTS - 1);
        pr->p[j] = pr->sd[j] = 0.0;
    }
    double weight = 0.0;
    for (int k = 0; k < 2; k++) {
        add_rows(b, k, pr->u, pr->n, &s[k]);
        if (s[k].n < 12.0)
            continue;
        double core = s[k].core / s[k].n, out = s[k].v[POINTS - 1] / s[k].n;
        double h = core - out, w = s[k].n * h * h;
        if (h <= 0.0)
            continue;
        for (size_t j = 0; j < POINTS; j++) {
            double v = s[k].v[j] / s[k].n, var = s[k].vv[j] / s[k].n - v * v;
            pr->p[j] += w * (v - out) / h;
            pr->sd[j] += w * w * fmax(0.0, var) / (h * h * s[k].n);
        }
        weight += w;
    }
    for (size_t j = 0; j < POINTS && weight > 0.0; j++) {
        pr->p[j] /= weight;
        /* neighbouring rows share noise and background: as if every tenth were independent */
        pr->sd[j] = sqrt(10.0 * pr->sd[j] / (weight * weight) + model_error * model_error);
    }
    return weight > 0.0;
}

void pin_width_fit(const struct pin_body *b, double *width, double *u_width)
{
    struct profile pr;
    double mean, sd;
    *width = exp(prior_mean[P_R]) * b->width;
    *u_width = prior_sd[P_R] * b->width;
    if (!profile_make(b, &pr))
        return;
    fit(&pr, &mean, &sd);
    *width = b->width * exp(mean);
    *u_width = hypot(hypot(spread * sd, untold) * *width, hypot(b->u_flank[0], b->u_flank[1]));
}
