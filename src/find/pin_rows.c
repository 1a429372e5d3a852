/*
 * The flanks row by row in a straightened strip, and straight lines through them.
 *
 * Line fit: iteratively reweighted least squares, Tukey's bisquare with c = 4.685 (Beaton & Tukey
 * 1974; 95 % efficient on Gaussian errors), scale by the median absolute deviation, started from
 * the best of a fixed set of point pairs (least median of deviations, Rousseeuw 1984), so that it
 * stands up to just under half of outliers. In a strip the line is nearly along s, so the ordinary
 * regression t(s) is the orthogonal one to second order of the slope. (The general fit of
 * plumbrule/geometry.h is made for few, hard cases; here a hundred strips a film are fitted.)
 *
 * A twist drill's or a thread's silhouette dips inwards between the lands; the residuals' inward
 * tail is then longer than the outward one, and the outermost line on which a fair share of the
 * rows lies takes the place of the median one: the envelope.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/pin_internal.h"

static const double bisquare = GEO_BISQUARE_C;
static const double mad_to_sd = 1.4826;
static const double max_slope = 0.15;   /* a flank off its strip by more is another edge */
static const double flute_share = 0.45; /* of the radius: deepest flute in use, 0.4 */
static const double land_slope = 0.04;  /* the strip is straight to 2 degrees by then */
static const double land_px = 1.0;      /* rows nearer to the envelope than this are lands */
static const double land_share = 0.25;  /* of the rows at least: lands of a drill take a third up */
static const double fluted_px = 1.0;    /* dips deeper than any smooth flank's noise */
enum { PAIRS = 24, SAMPLE_MAX = 64, ROUNDS = 8, ROWS_MIN = 8 };

int pin_rows_make(size_t n, struct pin_rows *out, struct err *err)
{
    bool good = true;
    memset(out, 0, sizeof *out);
    for (int k = 0; k < 2; k++) {
        out->t[k] = plumb_mem_array(n, sizeof *out->t[k], err);
        out->g[k] = plumb_mem_array(n, sizeof *out->g[k], err);
        out->ok[k] = plumb_mem_array(n, sizeof *out->ok[k], err);
        out->held[k] = plumb_mem_array(n, sizeof *out->held[k], err);
        good = good && out->t[k] && out->g[k] && out->ok[k] && out->held[k];
    }
    out->room = plumb_mem_array(n, 2 * sizeof(double), err);
    if (!good || !out->room) {
        pin_rows_release(out);
        return ERR_NOMEM;
    }
    out->n = n;
    return 0;
}

void pin_rows_release(struct pin_rows *r)
{
    if (!r)
        return;
    for (int k = 0; k < 2; k++) {
        free(r->t[k]);
        free(r->g[k]);
        free(r->ok[k]);
        free(r->held[k]);
    }
    free(r->room);
    memset(r, 0, sizeof *r);
}

static size_t column(const struct find_strip *st, double t)
{
    double j = floor((t - st->t0) / st->dt);
    return j <= 0.0 ? 0 : j >= (double)st->cols ? st->cols : (size_t)j;
}

void pin_rows_measure(const struct find_strip *st, double half, double window, double sd,
                      struct pin_rows *out)
{
    struct find_kernel kernel = find_kernel_make(sd);
    /* Inwards as far as a flute may cut, never across the axis. */
    double inner = fmin(fmax(window, flute_share * half), 0.8 * half);
    size_t a[2] = {column(st, half - inner), column(st, -half - window)};
    size_t b[2] = {column(st, half + window) + 1, column(st, -half + inner) + 1};
    for (size_t i = 0; i < out->n; i++) {
        for (int k = 0; k < 2; k++) {
            double at = 0.0;
            double g = find_edge_in_row(find_strip_row(st, i), st->cols, a[k], b[k],
                                        k == 0 ? -1 : 1, &kernel, &at);
            out->g[k][i] = g / st->dt;
            out->t[k][i] = st->t0 + st->dt * at;
            out->ok[k][i] = g > 0.0;
        }
    }
}

bool pin_rows_run(const struct pin_rows *r, size_t *i0, size_t *i1)
{
    /* One flank may be hidden by a crown for a while; both missing ends a pin sooner. */
    static const double both = 1.0, one = -0.4, none = -1.5;
    double sum = 0.0, best = 0.0;
    size_t start = 0;
    for (size_t i = 0; i < r->n; i++) {
        int seen = r->ok[0][i] + r->ok[1][i];
        sum += seen == 2 ? both : seen == 1 ? one : none;
        if (sum <= 0.0) {
            sum = 0.0;
            start = i + 1;
        } else if (sum > best) {
            best = sum;
            *i0 = start;
            *i1 = i;
        }
    }
    return best >= ROWS_MIN;
}

struct xy {
    double s, t;
};

/* Median absolute residual of a thinned sample about the line. */
static double spread(const struct xy *p, size_t n, double a, double b)
{
    float r[SAMPLE_MAX];
    size_t m = n < SAMPLE_MAX ? n : SAMPLE_MAX;
    for (size_t i = 0; i < m; i++) {
        const struct xy *q = &p[i * n / m];
        r[i] = (float)fabs(q->t - a - b * q->s);
    }
    return find_quantile_f(r, m, 0.5);
}

/* Pairs far apart, spread evenly over the run: the same for the same input. */
static void start_line(const struct xy *p, size_t n, double *a, double *b)
{
    double best = HUGE_VAL;
    size_t third = n / 3 > 0 ? n / 3 : 1;
    for (size_t k = 0; k < PAIRS; k++) {
        size_t i = (k * 7919) % third, j = n - 1 - (k * 104729) % third;
        double slope = (p[j].t - p[i].t) / (p[j].s - p[i].s);
        double at = p[i].t - slope * p[i].s;
        double d = fabs(slope) < max_slope ? spread(p, n, at, slope) : HUGE_VAL;
        if (d < best) {
            best = d;
            *a = at;
            *b = slope;
        }
    }
}

static size_t reweight(const struct xy *p, size_t n, double scale, double *a, double *b)
{
    double sw = 0.0, ss = 0.0, st = 0.0, sss = 0.0, sst = 0.0;
    size_t used = 0;
    for (int pass = 0; pass < 2; pass++) {
        double ms = sw > 0.0 ? ss / sw : 0.0, mt = sw > 0.0 ? st / sw : 0.0;
        for (size_t i = 0; i < n; i++) {
            double u = (p[i].t - *a - *b * p[i].s) / (bisquare * scale);
            double w = fabs(u) < 1.0 ? (1.0 - u * u) * (1.0 - u * u) : 0.0;
            if (pass == 0) {
                sw += w;
                ss += w * p[i].s;
                st += w * p[i].t;
                used += w > 0.0;
            } else {
                sss += w * (p[i].s - ms) * (p[i].s - ms);
                sst += w * (p[i].s - ms) * (p[i].t - mt);
            }
        }
    }
    if (used < 3 || sss <= 0.0)
        return 0;
    *b = sst / sss;
    *a = st / sw - *b * ss / sw;
    return used;
}

/* Residuals towards the axis are negative. */
static double inward(const struct xy *p, int side, double a, double b)
{
    double d = p->t - a - b * p->s;
    return side == 0 ? d : -d;
}

/* Quantile of the residuals of a thinned sample. */
static double residual_at(const struct xy *p, size_t n, int side, double a, double b, double q)
{
    float r[SAMPLE_MAX];
    size_t m = n < SAMPLE_MAX ? n : SAMPLE_MAX;
    for (size_t i = 0; i < m; i++)
        r[i] = (float)inward(&p[i * n / m], side, a, b);
    return find_quantile_f(r, m, q);
}

/* Share of a sample within tol of the line. */
static double share_on(const struct xy *p, size_t n, double a, double b, double tol)
{
    size_t m = n < SAMPLE_MAX ? n : SAMPLE_MAX, hit = 0;
    for (size_t i = 0; i < m; i++) {
        const struct xy *q = &p[i * n / m];
        hit += fabs(q->t - a - b * q->s) < tol;
    }
    return (double)hit / (double)m;
}

/* The outermost line through a pair of points on which a fair share of the rows lies: the lands.
 * Fitted with the rows near it alone. */
static void fit_envelope(const struct xy *p, size_t n, int side, double min_scale, double land,
                         struct pin_flank *f)
{
    double mid = 0.5 * (p[0].s + p[n - 1].s), out = side == 0 ? 1.0 : -1.0;
    double best = f->a + f->b * mid, a = f->a, b = f->b;
    size_t third = n / 3 > 0 ? n / 3 : 1;
    for (size_t k = 0; k < 4 * PAIRS; k++) {
        size_t i = (k * 7919) % third, j = n - 1 - (k * 104729) % third;
        double slope = (p[j].t - p[i].t) / (p[j].s - p[i].s), at = p[i].t - slope * p[i].s;
        if (fabs(slope) < land_slope && out * (at + slope * mid - best) > 0.0 &&
            share_on(p, n, at, slope, land) > land_share) {
            best = at + slope * mid;
            a = at;
            b = slope;
        }
    }
    for (int k = 0; k < ROUNDS; k++)
        if (reweight(p, n, fmax(min_scale, 0.5 * land), &a, &b) == 0)
            return;
    f->a = a;
    f->b = b;
    f->scale = fmax(min_scale, 0.5 * land);
    f->n = reweight(p, n, f->scale, &a, &b);
}

/* Rows of the side's flank in the room of r. */
static size_t collect(const struct find_strip *st, const struct pin_rows *r, int side, size_t i0,
                      size_t i1)
{
    struct xy *p = r->room;
    size_t n = 0;
    for (size_t i = i0; i <= i1; i++)
        if (r->ok[side][i])
            p[n++] = (struct xy){st->s0 + st->ds * (double)i, r->t[side][i]};
    return n;
}

bool pin_flank_fit(const struct find_strip *st, const struct pin_rows *r, int side, size_t i0,
                   size_t i1, double min_scale, struct pin_flank *out)
{
    const struct xy *p = r->room;
    size_t n = collect(st, r, side, i0, i1);
    *out = (struct pin_flank){0};
    if (n < ROWS_MIN)
        return false;
    start_line(p, n, &out->a, &out->b);
    for (int k = 0; k < ROUNDS; k++) {
        out->scale = fmax(min_scale, mad_to_sd * spread(p, n, out->a, out->b));
        out->n = reweight(p, n, out->scale, &out->a, &out->b);
        if (out->n == 0)
            return false;
    }
    double in = -residual_at(p, n, side, out->a, out->b, 0.1);
    double ou = residual_at(p, n, side, out->a, out->b, 0.9);
    out->dips = fmax(0.0, in - fmax(ou, 0.0));
    if (fmax(out->dips, out->scale) > fluted_px * st->dt)
        fit_envelope(p, n, side, min_scale, land_px * st->dt, out);
    return out->n > 0 && fabs(out->b) < max_slope;
}
