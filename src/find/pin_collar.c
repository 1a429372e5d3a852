/*
 * What sits on a pin: shoulder and stop, looked for beside both flanks, going crownwards.
 *
 * Shoulder: the first place where metal stands beside both flanks. The face of a collar that leans
 * out of the film's plane shows the half of its rim that lies nearer to the tip, an ellipse
 * s(x) = s0 + k sqrt(1 - x^2/R^2), x across, R the collar's radius, s0 where the axis crosses the
 * face: read off the collar's columns beside the pin, its edge there lies up to k apically of s0.
 * Stop: silicone, weak, that begins and ends again on both flanks alike. Its shadow grows with the
 * path, so a lean turns its edges into ramps whose middle is the face's place on the axis.
 *
 * Limits: a shank thicker than the pin is a shoulder too. A stop before a root's edge or over a
 * film's border may go unseen.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/pin_internal.h"

static const double end_sd_px = 2.0;
static const double flank_gap_px = 3.0;  /* the flank's own blur */
static const double collar_rise = 0.5;   /* of the flanks' contrast: metal beside the flank */
static const double collar_metal = 0.55; /* of the same, lasting */
static const double stop_noise = 4.0;    /* robust deviations of the sides' slopes */
static const double stop_alike = 2.5;    /* largest ratio of the two sides' steps */
static const double stop_thin = 0.25, stop_thick = 1.7; /* widths */
static const double most_lean = 0.35;                   /* sin of 20 degrees */
static const double shoulder_shift = 0.8;               /* as the gain of a flat tip (pin_ends.c) */

enum { COLUMNS = 24, COLUMNS_MIN = 6 };

struct sides {
    float *level[2];     /* beside either flank, a value a row */
    float *slope[2];     /* how it grows crownwards */
    size_t n, from;      /* rows; the first (most apical) one looked at */
    double contrast, wr; /* wr: the width in rows */
};

static void sides_release(struct sides *s)
{
    for (int k = 0; k < 2; k++) {
        free(s->level[k]);
        free(s->slope[k]);
    }
}

static int sides_make(const struct pin_body *b, double tip, struct sides *s, struct err *err)
{
    double r = 0.5 * b->width, in = r + flank_gap_px, out = in + fmax(4.0, 0.06 * b->width);
    memset(s, 0, sizeof *s);
    s->n = b->strip.rows;
    s->wr = b->width / b->strip.ds;
    s->contrast = b->inside - 0.5 * (b->outside[0] + b->outside[1]);
    double row = (tip - b->strip.s0) / b->strip.ds - 1.2 * s->wr;
    s->from = (size_t)fmax(0.0, fmin((double)s->n - 1.0, row));
    for (int k = 0; k < 2; k++) {
        s->level[k] = plumb_mem_array(s->n, sizeof **s->level, err);
        s->slope[k] = plumb_mem_array(s->n, sizeof **s->slope, err);
        if (!s->level[k] || !s->slope[k])
            return ERR_NOMEM;
    }
    pin_band(b, 0, s->n - 1, in, out, s->level[0]);
    pin_band(b, 0, s->n - 1, -out, -in, s->level[1]);
    return 0;
}

/* Difference of the means of the reach rows on either side: crownwards less apical. */
static void slopes(struct sides *s, size_t reach)
{
    for (int k = 0; k < 2; k++) {
        for (size_t i = 0; i < s->n; i++) {
            double crown = 0.0, apical = 0.0;
            s->slope[k][i] = 0.0F;
            if (i < reach || i + reach >= s->n)
                continue;
            for (size_t j = 1; j <= reach; j++) {
                crown += (double)s->level[k][i - j];
                apical += (double)s->level[k][i + j];
            }
            s->slope[k][i] = (float)((crown - apical) / (double)reach);
        }
    }
}

/* The weaker of both sides, in the sense of way (+1: begins, -1: ends, going crownwards). */
static double both(const struct sides *s, size_t i, int way)
{
    return fmin(way * (double)s->slope[0][i], way * (double)s->slope[1][i]);
}

static bool is_peak(const struct sides *s, size_t i, int way, size_t reach)
{
    double v = both(s, i, way);
    for (size_t j = 1; j <= reach && j <= i && i + j < s->n; j++)
        if (both(s, i - j, way) > v || both(s, i + j, way) >= v)
            return false;
    return v > 0.0;
}

/* Does metal last crownwards of row i, for a third of a width or up to the film's edge? */
static bool metal_lasts(const struct pin_body *b, const struct sides *s, size_t i)
{
    size_t n = (size_t)(0.3 * s->wr), hit = 0, seen = 0;
    for (size_t j = 3; j < n && j <= i; j++, seen++) {
        double lo = fmin((double)s->level[0][i - j], (double)s->level[1][i - j]);
        double base = 0.5 * (b->outside[0] + b->outside[1]);
        hit += lo > base + collar_metal * (b->inside - base);
    }
    return seen > 0 && hit * 10 >= seen * 8;
}

struct face {
    size_t n;
    double f[2 * COLUMNS], s[2 * COLUMNS]; /* sqrt(1 - x^2/R^2), place of the edge */
};

/* Outer radius of what stands beside the pin in the rows i0..i1; 0: not within the strip. */
static double collar_radius(const struct pin_body *b, size_t i0, size_t i1)
{
    const struct find_strip *st = &b->strip;
    struct find_kernel k = find_kernel_make(2.0 / st->dt);
    double sum = 0.0, found = 0.0;
    for (size_t i = i0; i <= i1; i += 2) {
        double mid = pin_body_mid(b, pin_body_s(b, i)), c = (mid - st->t0) / st->dt;
        double r = (pin_body_half(b, pin_body_s(b, i)) + flank_gap_px) / st->dt, l = 0.0, h = 0.0;
        const float *row = find_strip_row(st, i);
        double gl = find_edge_in_row(row, st->cols, 0, (size_t)fmax(0.0, c - r), 1, &k, &l);
        double gr = find_edge_in_row(row, st->cols, (size_t)(c + r), st->cols, -1, &k, &h);
        if (gl <= 0.0 || gr <= 0.0)
            continue;
        sum += 0.5 * (h - l) * st->dt;
        found += 1.0;
    }
    return found * 4.0 > (double)(i1 - i0) ? sum / found : 0.0;
}

/* The face's edge in the columns beside the pin, between the flank and the rim. */
static int face_columns(const struct pin_body *b, size_t i, double radius, struct face *c,
                        struct err *err)
{
    const struct find_strip *st = &b->strip;
    double wr = b->width / st->ds, r = 0.5 * b->width + flank_gap_px;
    double rim = radius > 0.0 ? radius - flank_gap_px : fmin(1.6 * r, -st->t0 - 4.0);
    double big = radius > 0.0 ? radius : 4.0 * r;
    size_t reach = (size_t)fmax(8.0, 0.25 * wr), i0 = i > reach ? i - reach : 0;
    size_t i1 = i + reach < st->rows ? i + reach : st->rows - 1, n = i1 - i0 + 1;
    struct find_kernel k = find_kernel_make(fmin(5.0, end_sd_px / st->ds + 0.5));
    float *v = plumb_mem_array(n, sizeof *v, err);
    if (!v)
        return ERR_NOMEM;
    c->n = 0;
    double half = fmax(0.5, 0.5 * (rim - r) / COLUMNS);
    for (int j = 0; j < 2 * COLUMNS && rim > r + 1.0; j++) {
        int column = j / 2;
        double x = r + (rim - r) * (column + 0.5) / COLUMNS, t = j % 2 ? x : -x, at = 0.0;
        pin_band(b, i0, i1, t - half, t + half, v);
        if (find_edge_in_row(v, n, 0, n, -1, &k, &at) <= 0.0)
            continue;
        c->f[c->n] = sqrt(fmax(0.0, 1.0 - x * x / (big * big)));
        c->s[c->n++] = pin_body_s(b, i0) + st->ds * at;
    }
    free(v);
    return 0;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

/* s = s0 + k f, k held to what a lean can do; columns far off the median are left out. */
static void face_fit(struct face *c, double radius, struct pin_ends *e)
{
    double sorted[2 * COLUMNS], n = 0.0, sf = 0.0, ss = 0.0, sff = 0.0, sfs = 0.0, sq = 0.0;
    memcpy(sorted, c->s, c->n * sizeof *sorted);
    qsort(sorted, c->n, sizeof *sorted, by_value);
    double mid = sorted[c->n / 2], wide = fmax(3.0, most_lean * radius);
    for (size_t i = 0; i < c->n; i++) {
        if (fabs(c->s[i] - mid) > wide)
            continue;
        n += 1.0;
        sf += c->f[i];
        ss += c->s[i];
        sff += c->f[i] * c->f[i];
        sfs += c->f[i] * c->s[i];
    }
    double det = sff - sf * sf / n, k = det > 1e-6 ? (sfs - sf * ss / n) / det : 0.0;
    k = fmin(most_lean * radius, fmax(0.0, k));
    e->shoulder = (ss - k * sf) / n;
    for (size_t i = 0; i < c->n; i++)
        if (fabs(c->s[i] - mid) <= wide)
            sq += pow(c->s[i] - e->shoulder - k * c->f[i], 2.0);
    double sd = sqrt(sq / fmax(1.0, n - 2.0));
    /* columns share blur: every third counts */
    e->u_shoulder = 1.7 * sd * sqrt(1.0 / n + (det > 1e-6 ? sf * sf / (n * n) / det : 1.0));
    e->u_shoulder = fmin(e->u_shoulder, most_lean * radius);
}

static int measure_shoulder(const struct pin_body *b, struct sides *s, struct pin_ends *e,
                            struct err *err)
{
    size_t reach = (size_t)fmax(4.0, 0.1 * s->wr), at = 0;
    struct face c = {0};
    slopes(s, reach);
    for (size_t i = s->from; i > reach && at == 0; i--)
        if (both(s, i, 1) > collar_rise * s->contrast && is_peak(s, i, 1, reach) &&
            metal_lasts(b, s, i))
            at = i;
    if (at == 0)
        return 0;
    size_t a = (size_t)(0.25 * s->wr), z = (size_t)(0.08 * s->wr) + 3;
    double radius = at > a ? collar_radius(b, at - a, at - (z < a ? z : a)) : 0.0;
    int rc = face_columns(b, at, radius, &c, err);
    if (rc != 0)
        return rc;
    e->has_shoulder = true;
    e->shoulder_gain = shoulder_shift;
    e->shoulder = pin_body_s(b, at);
    e->u_shoulder = 0.05 * b->width;
    if (c.n >= COLUMNS_MIN)
        face_fit(&c, radius > 0.0 ? radius : 0.6 * b->width, e);
    return 0;
}

static double robust_slope(const struct pin_body *b, const struct sides *s)
{
    float *v = b->rows.room;
    for (size_t i = 0; i < s->n; i++) {
        v[2 * i] = fabsf(s->slope[0][i]);
        v[2 * i + 1] = fabsf(s->slope[1][i]);
    }
    double sd = 1.4826 * find_quantile_f(v, 2 * s->n, 0.5);
    return fmax(sd, 1e-4);
}

/* Strength of a stop that begins at row i and ends at row j (j crownwards): the weakest of the four
 * steps, 0 when the sides are unlike. */
static double stop_strength(const struct sides *s, size_t i, size_t j)
{
    double v[4] = {(double)s->slope[0][i], (double)s->slope[1][i], -(double)s->slope[0][j],
                   -(double)s->slope[1][j]};
    double lo = v[0], hi = v[0];
    for (int k = 1; k < 4; k++) {
        lo = fmin(lo, v[k]);
        hi = fmax(hi, v[k]);
    }
    return hi < stop_alike * lo ? lo : 0.0;
}

static void measure_stop(const struct pin_body *b, struct sides *s, struct pin_ends *e)
{
    size_t reach = (size_t)fmax(4.0, 0.12 * s->wr), at = 0;
    slopes(s, reach);
    double best = stop_noise * robust_slope(b, s);
    size_t end = e->has_shoulder ? pin_body_row(b, e->shoulder) : 0;
    for (size_t i = s->from; i > end + reach; i--) {
        if (!is_peak(s, i, 1, reach))
            continue;
        size_t far = (size_t)(stop_thick * s->wr), near = (size_t)(stop_thin * s->wr);
        for (size_t j = near; j <= far && i > end + reach + j; j++) {
            double v = stop_strength(s, i, i - j);
            if (v > best && is_peak(s, i - j, -1, reach)) {
                best = v;
                at = i;
            }
        }
    }
    if (at == 0)
        return;
    e->has_stop = true;
    e->stop = 0.0;
    struct find_kernel k = find_kernel_make(fmin(5.0, 0.05 * s->wr + 1.0));
    for (int side = 0; side < 2; side++) {
        double row = (double)at;
        find_edge_in_row(s->level[side], s->n, at > reach ? at - reach : 0, at + reach + 1, -1, &k,
                         &row);
        e->stop += 0.5 * (b->strip.s0 + b->strip.ds * row);
    }
    e->u_stop = 0.015 * b->width;
}

int pin_collar_measure(const struct pin_body *b, struct pin_ends *e, struct err *err)
{
    struct sides s;
    int rc = sides_make(b, e->tip, &s, err);
    if (rc == 0)
        rc = measure_shoulder(b, &s, e, err);
    if (rc == 0)
        measure_stop(b, &s, e);
    sides_release(&s);
    return rc;
}
