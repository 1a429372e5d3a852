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
static const double inner_more = 1.6;   /* times the rows of the outermost window */
static const double land_slope = 0.04;  /* the strip is straight to 2 degrees by then */
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

/* Sum of the rows i-reach..i+reach, kept running from row to row in the strip's room. */
static const float *running_sum(const struct find_strip *st, size_t i, size_t reach)
{
    float *sum = st->v + st->rows * st->cols;
    size_t last = st->rows - 1;
    if (reach == 0)
        return find_strip_row(st, i);
    if (i == 0) {
        memset(sum, 0, st->cols * sizeof *sum);
        for (size_t k = 0; k <= 2 * reach; k++) {
            const float *row = find_strip_row(st, k < reach          ? 0
                                                  : k - reach < last ? k - reach
                                                                     : last);
            for (size_t j = 0; j < st->cols; j++)
                sum[j] += row[j];
        }
        return sum;
    }
    const float *in = find_strip_row(st, i + reach < last ? i + reach : last);
    const float *out = find_strip_row(st, i > reach ? i - reach - 1 : 0);
    for (size_t j = 0; j < st->cols; j++)
        sum[j] += in[j] - out[j];
    return sum;
}

void pin_rows_measure(const struct find_strip *st, double half, double window, double sd,
                      size_t reach, struct pin_rows *out)
{
    struct find_kernel kernel = find_kernel_make(sd);
    /* Inwards as far as a flute may cut, never across the axis. */
    double inner = fmin(fmax(window, flute_share * half), 0.8 * half);
    size_t a[2] = {column(st, half - inner), column(st, -half - window)};
    size_t b[2] = {column(st, half + window) + 1, column(st, -half + inner) + 1};
    for (size_t i = 0; i < out->n; i++) {
        const float *row = running_sum(st, i, reach);
        for (int k = 0; k < 2; k++) {
            double at = 0.0;
            double g = find_edge_in_row(row, st->cols, a[k], b[k], k == 0 ? -1 : 1, &kernel, &at);
            out->g[k][i] = g / st->dt / (double)(2 * reach + 1);
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
    *out = (struct pin_flank){.lands = 1.0};
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
    out->own_b = out->b;
    return out->n > 0 && fabs(out->b) < max_slope;
}

/* Where most of the outer rows lie along the line of slope b, and their share: the densest window
 * of +-land within the outer half of the rows. v: sorted offsets, outwards positive. */
static double densest(const float *v, size_t n, double land, double *share)
{
    size_t best = 0, hi = n;
    double at = (double)v[n - 1];
    for (size_t lo = n; lo-- > 0;) {
        while (hi > lo + 1 && (double)(v[hi - 1] - v[lo]) > 2.0 * land)
            hi--;
        /* farther in, a window must hold clearly more: lands lie outermost */
        if ((double)(hi - lo) > inner_more * (double)best) {
            best = hi - lo;
            at = 0.5 * (double)(v[lo] + v[hi - 1]);
        }
    }
    *share = (double)best / (double)n;
    return at;
}

/* A thinned sample of rows, and how far outwards they lie under some slope; in the order of that.
 */
struct sample {
    size_t n;
    struct xy row[SAMPLE_MAX];
    float v[SAMPLE_MAX];
};

static struct sample sample_of(const struct xy *p, size_t n)
{
    struct sample m = {.n = n < SAMPLE_MAX ? n : SAMPLE_MAX};
    for (size_t i = 0; i < m.n; i++)
        m.row[i] = p[i * n / m.n];
    return m;
}

/* From one slope to the next the order hardly changes: insertion. */
static double offsets(struct sample *m, int side, double b, double land, double *share)
{
    for (size_t i = 0; i < m->n; i++) {
        struct xy row = m->row[i];
        float v = (float)inward(&row, side, 0.0, b);
        size_t j = i;
        for (; j > 0 && m->v[j - 1] > v; j--) {
            m->row[j] = m->row[j - 1];
            m->v[j] = m->v[j - 1];
        }
        m->row[j] = row;
        m->v[j] = v;
    }
    return densest(m->v, m->n, land, share);
}

/* Sums of one side's rows, weighed by their distance from the line. */
struct moments {
    double w, s, t, ss, st;
    size_t n;
};

static struct moments moments_of(const struct xy *p, size_t n, double a, double b, double scale)
{
    struct moments m = {0};
    for (size_t i = 0; i < n; i++) {
        double u = (p[i].t - a - b * p[i].s) / (bisquare * scale);
        double w = fabs(u) < 1.0 ? (1.0 - u * u) * (1.0 - u * u) : 0.0;
        m.n += w > 0.0;
        m.w += w;
        m.s += w * p[i].s;
        m.t += w * p[i].t;
        m.ss += w * p[i].s * p[i].s;
        m.st += w * p[i].s * p[i].t;
    }
    return m;
}

/* One reweighted step of two lines with one slope between them. */
static bool step_together(const struct find_strip *st, const struct pin_rows *r, size_t i0,
                          size_t i1, double scale, struct pin_flank f[2], double *slope)
{
    double ss = 0.0, sst = 0.0, mean[2][2];
    for (int side = 0; side < 2; side++) {
        size_t n = collect(st, r, side, i0, i1);
        struct moments m = moments_of(r->room, n, f[side].a, *slope, scale);
        if (m.n < 3 || m.w <= 0.0)
            return false;
        ss += m.ss - m.s * m.s / m.w;
        sst += m.st - m.s * m.t / m.w;
        mean[side][0] = m.s / m.w;
        mean[side][1] = m.t / m.w;
        f[side].n = m.n;
        double own = m.ss - m.s * m.s / m.w;
        f[side].own_b = own > 0.0 ? (m.st - m.s * m.t / m.w) / own : *slope;
    }
    if (ss <= 0.0)
        return false;
    *slope = sst / ss;
    for (int side = 0; side < 2; side++)
        f[side].a = mean[side][1] - *slope * mean[side][0];
    return true;
}

/* The slope of the grid under which both flanks' lands are densest. */
static double densest_slope(const struct find_strip *st, const struct pin_rows *r, size_t i0,
                            size_t i1, double land)
{
    enum { SLOPES = 41 };
    double sum[SLOPES] = {0.0}, share;
    int top = SLOPES / 2;
    for (int side = 0; side < 2; side++) {
        size_t n = collect(st, r, side, i0, i1);
        struct sample m = sample_of(r->room, n);
        for (int k = 0; k < SLOPES && n > 0; k++) {
            offsets(&m, side, land_slope * (2.0 * k / (SLOPES - 1) - 1.0), land, &share);
            sum[k] += share;
        }
    }
    for (int k = 0; k < SLOPES; k++)
        if (sum[k] > sum[top])
            top = k;
    return land_slope * (2.0 * top / (SLOPES - 1) - 1.0);
}

bool pin_lands_fit(const struct find_strip *st, const struct pin_rows *r, size_t i0, size_t i1,
                   double land, struct pin_flank flank[2])
{
    double slope = densest_slope(st, r, i0, i1, land);
    for (int side = 0; side < 2; side++) {
        size_t n = collect(st, r, side, i0, i1);
        if (n < ROWS_MIN)
            return false;
        struct sample m = sample_of(r->room, n);
        double at = offsets(&m, side, slope, land, &flank[side].lands);
        flank[side].a = side == 0 ? at : -at;
    }
    for (int k = 0; k < 2 * ROUNDS; k++)
        if (!step_together(st, r, i0, i1, k < ROUNDS ? land : 0.4 * land, flank, &slope))
            return false;
    flank[0].b = flank[1].b = slope;
    return fabs(slope) < max_slope;
}
