/*
 * The cylinder's width from its shadow. A cylinder's absorption thins out towards its edge (chord
 * 2 sqrt(r^2 - u^2)), blur mixes it with the surroundings before the tone curve acts, and the curve
 * bends and clips the result: the steepest place or the half height of the grey edge lies inside
 * the cylinder by 0 to 14 % of its width. So the whole cross profile is fitted:
 *
 *     t(u) = f + (1 - f) exp(-m sqrt(1 - u^2/r^2))              transmission within, 1 outside
 *     T(u) = a ((1 - w) blur_s[t] + w blur_tail[t])             behind the surroundings' a
 *     G(T) = (1 - T^k) / (k (1 + q T^k))                        the film's tone, air black
 *     p(u) = min(1, (G(T(u)) - G(a)) / (G(min) - G(a)))         its grey, 0 outside, 1 inside
 *
 * r radius, s blur, w share of the blur's long tail, m opacity along the diameter, f scattered
 * light, b the error of the surroundings' level; min is T(0) or exp(-c), what the film shows as
 * white. The tone is logarithmic for k = 0, linear for k = 1 (Box & Cox 1964), the characteristic
 * curve of film for q > 0. r trades against s, k, q, c where metal saturates, but tones differ in
 * how bright they show tissue: under a linear one it lies at half of the metal's grey, under a
 * logarithmic one at a quarter. So one more datum is fitted, G(a) against the metal's grey. What
 * physics leaves likely is told by normal priors, and the standard uncertainty of r is that of the
 * posterior (Laplace approximation), so a film that does not determine its tone gives a wide
 * interval, not a biased width.
 *
 * Method: Gauss-Newton with Levenberg's damping, numerical derivatives; the blur's integral runs
 * over the angle phi, u = r cos(phi), in which the chord is smooth.
 * Limits: one material, a round section.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/pin_internal.h"

enum { POINTS = 40, PARAMS = 10, NODES = 40, ROUNDS = 25, TABLE = 256, ROWS_MIN = 12 };
enum { DATA = POINTS + 1 + PARAMS };
/* r and s as logarithms of shares, see unpack */
enum { P_R, P_S, P_M, P_F, P_K, P_Q, P_C, P_B, P_A, P_W };

/* Prior means and standard deviations, common practice, no source: blur 0.04..0.15 mm on pins of
 * 1.5..4.2 mm; titanium m = 2 (2 mm), steel 4..12; scatter 1..10 %; jaw and cheek let through a
 * third to two thirds. r: free within 20 %. */
static const double prior_mean[PARAMS] = {0.03, -3.3, 1.8, -3.2, 0.8, -0.3, 3.2, 0.0, -0.85, 0.06};
static const double prior_sd[PARAMS] = {0.10, 0.5, 0.65, 0.7, 0.5, 1.8, 1.0, 0.05, 0.3, 0.04};
/* What the model leaves out of the width: set so that 95 % intervals hold the truth on phantoms
 * (seeds 63001 to 63040; measured on others, tests/bench/bench_pin.c). */
static const double untold = 0.006;
static const double model_error = 0.006; /* of the profile's height: what the model leaves out */
static const double reach_out = 0.18, reach_out_px = 9.0;  /* widths and px, beyond the flank */
static const double black_rank = 0.02;                     /* of the film's levels */
static const double beside_px = 3.0, beside = 0.12;        /* beyond the flank: px, then widths */
static const double tissue_rank = 0.8, tissue_share = 0.6; /* of the rows by their level beside */
static const double inner_share = 0.35; /* of the radius, where the profile begins */
static const double tail_sd = 0.44;     /* of the radius: 0.5 mm on a pin of 2.3 mm */
static const double tissue_sd = 0.05;   /* of the grey of tissue against metal's */
static const double any_sd = 1.0;
static const double lands_least = 0.4; /* of a stretch's rows: a drill's lands */
/* Where the film's black hides that air begins: grey beside the pin, and what it does to ln r. */
static const double air = 0.06, air_sd = 0.025;
static const double fixed_sd = 1e-3; /* of what a stretch has in common with the whole */
static const double soft = 0.02;     /* of the height: corner of the clipping */
static const double root2 = 1.41421356237309504880;
static const double far_sd = 4.0; /* standard deviations: as far as a blur reaches */

struct profile {
    double mean[PARAMS], prior_sd[PARAMS];
    double raw;    /* half the raw width, px */
    double tissue; /* grey beside the pin, the film's black 0, metal 1 */
    size_t n;
    double u[POINTS], p[POINTS], sd[POINTS];
    double rows, along;     /* how many of both sides, and where on the mean, s */
    double bell[TABLE + 2]; /* exp(-z^2/2) for z in steps of far_sd / TABLE */
};

struct shape {
    double r, s, m, f, k, q, c, b, a, w;
};

static struct shape unpack(const double *x, double raw)
{
    return (struct shape){.r = raw * exp(x[P_R]),
                          .s = 2.0 * raw * exp(x[P_S]),
                          .m = exp(x[P_M]),
                          .f = exp(x[P_F]),
                          .k = x[P_K],
                          .q = exp(x[P_Q]),
                          .c = x[P_C],
                          .b = x[P_B],
                          .a = exp(x[P_A]),
                          .w = x[P_W]};
}

/* The metal at nodes v = r cos(phi): its transmission, and how much of u a node stands for. */
struct nodes {
    double v[NODES], t[NODES], share[NODES];
};

static void nodes_make(const struct shape *q, struct nodes *out)
{
    for (int i = 0; i < NODES; i++) {
        double phi = GEO_PI * (i + 0.5) / NODES;
        out->v[i] = q->r * cos(phi);
        out->share[i] = sin(phi);
        out->t[i] = q->f + (1.0 - q->f) * exp(-q->m * out->share[i]);
    }
}

/* Transmission at u seen through a blur of standard deviation sd. */
static double blurred(const struct profile *pr, const struct nodes *n, double r, double u,
                      double sd)
{
    double sum = 0.0, norm = 0.0, per = TABLE / (far_sd * sd);
    for (int i = 0; i < NODES; i++) {
        double z = fabs(n->v[i] - u) * per;
        if (z >= TABLE)
            continue;
        size_t j = (size_t)z;
        double w = pr->bell[j] + (z - (double)j) * (pr->bell[j + 1] - pr->bell[j]);
        sum += w * n->share[i] * n->t[i];
        norm += w * n->share[i];
    }
    double within = 0.5 * (erfc((u - r) / (root2 * sd)) - erfc((u + r) / (root2 * sd)));
    return norm > 0.0 ? 1.0 + within * (sum / norm - 1.0) : 1.0;
}

static double tone(double t, const struct shape *q)
{
    double y = pow(t, q->k);
    return (fabs(q->k) < 1e-4 ? -log(t) : (1.0 - y) / q->k) / (1.0 + q->q * y);
}

static void residuals(const struct profile *pr, const double *x, double *e)
{
    struct shape q = unpack(x, pr->raw);
    struct nodes nodes;
    nodes_make(&q, &nodes);
    double out = tone(q.a, &q), top = tone(q.a * (q.f + (1.0 - q.f) * exp(-q.m)), &q) - out;
    double clip = fmax(soft, tone(exp(-q.c), &q) - out) / top;
    clip -= soft * log1p(exp((clip - 1.0) / soft)); /* 1 where white lies beyond the metal */
    for (size_t i = 0; i < pr->n; i++) {
        double t = (1.0 - q.w) * blurred(pr, &nodes, q.r, pr->u[i], q.s) +
                   q.w * blurred(pr, &nodes, q.r, pr->u[i], tail_sd * pr->raw);
        double p = q.b + (1.0 - q.b) * (tone(q.a * t, &q) - out) / (top * clip);
        /* a soft corner where the detector clips keeps the derivative alive */
        p -= soft * log1p(exp((p - 1.0) / soft));
        e[i] = (pr->p[i] - p) / pr->sd[i];
    }
    e[pr->n] = (pr->tissue - out / (out + top * clip)) / tissue_sd;
    for (size_t j = 0; j < PARAMS; j++)
        e[pr->n + 1 + j] = (pr->mean[j] - x[j]) / pr->prior_sd[j];
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
    double j[PARAMS][DATA], step = 1e-4;
    size_t n = pr->n + 1 + PARAMS;
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
    double a[PARAMS][PARAMS], d[PARAMS], y[PARAMS], ey[DATA];
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
    double s = square_sum(ey, pr->n + 1 + PARAMS);
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
    double e[DATA], damp = 1e-2;
    struct normal ne;
    residuals(pr, x, e);
    double sum = square_sum(e, pr->n + 1 + PARAMS);
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
    double e[DATA], unit[PARAMS] = {0};
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
 * weighed by its posterior; the best mode. */
static void fit(const struct profile *pr, double *mean, double *sd, double *mode)
{
    /* tone k, ln q, ln r: logarithmic, linear, film */
    static const double start[][3] = {{0.0, -1.5, 0.06},
                                      {0.0, -1.5, 0.02},
                                      {1.0, -1.5, 0.03},
                                      {1.0, -1.5, 0.0},
                                      {1.3, 2.0, 0.04}};
    enum { STARTS = sizeof start / sizeof *start };
    double sum[STARTS], r[STARTS], u[STARTS], best = HUGE_VAL, w = 0.0, m = 0.0, v = 0.0;
    for (int i = 0; i < STARTS; i++) {
        double x[PARAMS];
        memcpy(x, prior_mean, sizeof x);
        x[P_K] = start[i][0];
        x[P_Q] = start[i][1];
        x[P_R] = start[i][2];
        sum[i] = descend(pr, x);
        r[i] = x[P_R];
        u[i] = mode_sd(pr, x);
        if (sum[i] < best) {
            best = sum[i];
            memcpy(mode, x, sizeof x);
        }
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
    double core, v[POINTS], vv[POINTS], along, n;
};

/* Level beside the flanks, the mean of both sides, of each row of the run; in the rows' room. */
static const float *levels_beside(const struct pin_body *b)
{
    size_t n = b->i1 - b->i0 + 1;
    float *level = b->rows.room, *other = level + n;
    double near = 0.5 * b->width + beside_px, far = near + fmax(4.0, beside * b->width);
    pin_band(b, b->i0, b->i1, near, far, level);
    pin_band(b, b->i0, b->i1, -far, -near, other);
    for (size_t i = 0; i < n; i++)
        level[i] = 0.5F * (level[i] + other[i]);
    return level;
}

/* Rows behind air say nothing of the tone's lower half, where tissue lies: the level from which on
 * a row counts as behind tissue. */
static double tissue_level(const struct pin_body *b, const float *level, double black)
{
    size_t n = b->i1 - b->i0 + 1;
    float *sorted = (float *)b->rows.room + n;
    memcpy(sorted, level, n * sizeof *sorted);
    return black + tissue_share * (find_quantile_f(sorted, n, tissue_rank) - black);
}

/* Which rows a profile is made of: i0..i1, where the level beside the flanks is no less. */
struct choice {
    size_t i0, i1;
    const float *level; /* of the run's rows */
    double least;
};

/* Adds up one side's rows; u is stretched with the local half width (a pin that leans tapers). */
static void add_rows(const struct pin_body *b, const struct choice *ch, int k, const double *u,
                     size_t n, struct sums *s)
{
    double half0 = 0.5 * b->width, sign = k == 0 ? 1.0 : -1.0;
    memset(s, 0, sizeof *s);
    for (size_t i = ch->i0; i <= ch->i1; i++) {
        if (!on_land(b, i, k) || (ch->level && (double)ch->level[i - b->i0] < ch->least))
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
        s->along += at;
        s->n += 1.0;
    }
}

/* The film's black: of a coarse grid within it, the darkest but for a fiftieth. */
static double film_black(const struct find_image *im)
{
    enum { GRID = 48 };
    float v[GRID * GRID];
    for (size_t i = 0; i < GRID; i++)
        for (size_t j = 0; j < GRID; j++) {
            double x = (double)(j + 1) / (GRID + 1), y = (double)(i + 1) / (GRID + 1);
            struct geo_point p = {x * (double)(im->width - 1), y * (double)(im->height - 1)};
            v[i * GRID + j] = (float)find_image_at(im, p);
        }
    return find_quantile_f(v, GRID * GRID, black_rank);
}

static void profile_places(const struct pin_body *b, struct profile *pr)
{
    double r = 0.5 * b->width, from = inner_share * r;
    double to = r + fmax(reach_out_px, reach_out * b->width);
    *pr = (struct profile){.raw = r, .n = POINTS};
    memcpy(pr->mean, prior_mean, sizeof pr->mean);
    memcpy(pr->prior_sd, prior_sd, sizeof pr->prior_sd);
    for (size_t j = 0; j < POINTS; j++)
        pr->u[j] = from + (to - from) * (double)j / (POINTS - 1);
    for (int i = 0; i < TABLE + 2; i++)
        pr->bell[i] = exp(-0.5 * pow(far_sd * i / TABLE, 2.0));
}

/* Adds one side to the profile; returns what it weighs. */
static double profile_add(const struct sums *s, double black, struct profile *pr)
{
    double core = s->core / s->n, out = s->v[POINTS - 1] / s->n;
    double h = core - out, w = s->n * h * h;
    if (!(h > 0.0))
        return 0.0;
    for (size_t j = 0; j < POINTS; j++) {
        double v = s->v[j] / s->n, var = s->vv[j] / s->n - v * v;
        pr->p[j] += w * (v - out) / h;
        pr->sd[j] += w * w * fmax(0.0, var) / (h * h * s->n);
    }
    pr->tissue += w * (out - black) / fmax(h, core - black);
    return w;
}

/* The mean profile of both sides, 0 at the surroundings' level, 1 in the core. */
static bool profile_make(const struct pin_body *b, const struct choice *ch, double black,
                         struct profile *pr)
{
    double weight = 0.0, along = 0.0;
    struct sums s;
    profile_places(b, pr);
    for (int k = 0; k < 2; k++) {
        add_rows(b, ch, k, pr->u, pr->n, &s);
        double w = s.n >= ROWS_MIN ? profile_add(&s, black, pr) : 0.0;
        weight += w;
        along += w > 0.0 ? s.along : 0.0;
        pr->rows += w > 0.0 ? s.n : 0.0;
    }
    if (weight <= 0.0)
        return false;
    pr->along = along / pr->rows;
    pr->tissue /= weight;
    for (size_t j = 0; j < POINTS; j++) {
        pr->p[j] /= weight;
        /* neighbouring rows share noise and background: as if every tenth were independent */
        pr->sd[j] = sqrt(10.0 * pr->sd[j] / (weight * weight) + model_error * model_error);
    }
    return true;
}

/* The width of a stretch: the film's tone and blur are those of the whole pin, what is left to the
 * stretch are its radius and its surroundings. */
static bool stretch_fit(const struct pin_body *b, const struct choice *ch, double black,
                        const double *mode, struct find_width *out)
{
    static const int own[] = {P_R, P_A, P_B};
    struct profile pr;
    double x[PARAMS];
    if (!profile_make(b, ch, black, &pr) ||
        pr.rows < lands_least * 2.0 * (double)(ch->i1 - ch->i0 + 1))
        return false;
    double ratio = log(pin_body_half(b, pr.along) / (0.5 * b->width));
    memcpy(x, mode, sizeof x);
    x[P_M] += ratio;
    x[P_S] -= ratio;
    for (int j = 0; j < PARAMS; j++) {
        pr.mean[j] = x[j];
        pr.prior_sd[j] = fixed_sd;
    }
    for (size_t j = 0; j < sizeof own / sizeof *own; j++) {
        pr.mean[own[j]] = prior_mean[own[j]];
        pr.prior_sd[own[j]] = prior_sd[own[j]];
    }
    pr.prior_sd[P_A] = any_sd; /* of bone, of air */
    descend(&pr, x);
    out->at = find_strip_point(&b->strip, pr.along, pin_body_mid(b, pr.along));
    out->px = 2.0 * pin_body_half(b, pr.along) * exp(x[P_R]);
    out->u = hypot(mode_sd(&pr, x), pr.tissue < air ? air_sd : 0.0) * out->px;
    out->n = (size_t)pr.rows;
    return true;
}

/* The widths of FIND_WIDTHS equal stretches of the run, crown end first; those too short are left
 * out. share: the uncertainty that all of them have in common. */
static size_t stretches_fit(const struct pin_body *b, double black, const double *mode,
                            double share, struct find_width *out)
{
    size_t n = 0, rows = b->i1 - b->i0 + 1;
    for (size_t k = 0; k < FIND_WIDTHS; k++) {
        struct choice ch = {b->i0 + k * rows / FIND_WIDTHS,
                            b->i0 + (k + 1) * rows / FIND_WIDTHS - 1, NULL, 0.0};
        if (!stretch_fit(b, &ch, black, mode, &out[n]))
            continue;
        out[n].u = hypot(out[n].u, share * out[n].px);
        n++;
    }
    return n;
}

void pin_width_fit(const struct pin_body *b, struct find_pin *out)
{
    struct profile pr;
    double mean, sd, mode[PARAMS], black = film_black(b->im);
    struct choice ch = {b->i0, b->i1, levels_beside(b), 0.0};
    ch.least = tissue_level(b, ch.level, black);
    out->width = exp(prior_mean[P_R]) * b->width;
    out->u_width = prior_sd[P_R] * b->width;
    out->n_widths = 0;
    if (!profile_make(b, &ch, black, &pr))
        return;
    fit(&pr, &mean, &sd, mode);
    out->width = b->width * exp(mean);
    out->u_width = hypot(hypot(sd, untold) * out->width, hypot(b->u_flank[0], b->u_flank[1]));
    mode[P_R] = mean;
    out->n_widths = stretches_fit(b, black, mode, out->u_width / out->width, out->widths);
}
