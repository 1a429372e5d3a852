/*
 * What sits on a pin: shoulder and stop, looked for beside both flanks, going crownwards.
 *
 * Shoulder: the first place where metal stands beside both flanks. The face of a collar that leans
 * out of the film's plane shows the half of its rim that lies nearer to the tip, an ellipse
 * s(x) = s0 + k sqrt(1 - x^2/R^2), x across, R the collar's radius, s0 where the axis crosses the
 * face: read off the collar's columns beside the pin, its edge there lies up to k apically of s0.
 * A face counts only where the collar's own rim is seen on both sides and the face is certain.
 * Stop: silicone, weak, that begins and ends again on both flanks alike. Its shadow grows with the
 * path, so a lean turns its edges into ramps whose middle is the face's place on the axis. Where a
 * crest or the gum's border crosses the disc, the levels within a rim are held against those beyond
 * it: what runs on across the rim falls out.
 *
 * Limits: a shank thicker than the pin is a shoulder too; a hand piece wider than twice the pin is
 * none. Silicone is hardly denser than tissue: a stop is listed only where it stands out clearly
 * from all that lies behind it: of the drawn ones, most of which lie half over bone, in one of
 * eight.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/pin_internal.h"

static const double end_sd_px = 2.0;
static const double flank_gap_px = 3.0;  /* the flank's own blur */
static const double collar_band = 0.06;  /* widths beside the flank: a narrow collar too */
static const double collar_rise = 0.4;   /* of the flanks' contrast: metal beside the flank */
static const double collar_metal = 0.45; /* of the same, lasting */
/* A stop: 1 to 2 mm of silicone about pins of 1.5 to 3.5 mm, well below metal; common practice. */
static const double stop_thin = 0.25, stop_thick = 1.7; /* widths */
static const double stop_band = 0.22; /* widths beside the flank that the least stop covers */
static const double stop_alike = 1.6; /* largest ratio of its four steps: two faces, two sides */
static const double stop_most = 0.31; /* of the flanks' contrast */
static const double stop_least = 3.5; /* its least step over what the surroundings leave over */
/* The disc's rim, widths from the axis: where it is looked for, the blur left out to either side,
 * how far its surroundings reach; a step against what is left over, more than stop_least since many
 * rims are tried (phantoms). */
static const double rim_from = 0.72, rim_step = 0.05, rim_gap = 0.04, rim_beyond = 0.15;
static const double rim_least = 5.0;
static const double stop_beside = 0.25; /* widths of surroundings to either side */
static const double stop_apart = 0.15, stop_floor = 0.015; /* widths: the faces of both sides */
static const double collar_least = 1.12;  /* radii: a collar stands out by so much */
static const double collar_room = 0.6;    /* widths from the film's edge */
static const double collar_sure = 0.05;   /* widths: a less certain face is none */
static const double most_lean = 0.35;     /* sin of 20 degrees */
static const double shoulder_shift = 1.1; /* as the gain of a flat tip (pin_ends.c) */

enum { COLUMNS = 24, COLUMNS_MIN = 6, RIMS = 14 };

struct sides {
    float *level[2];             /* beside either flank, a value a row */
    float *slope[2];             /* how it grows crownwards */
    size_t n, from;              /* rows; the first (most apical) one looked at */
    double contrast, inside, wr; /* metal against its sides, metal's level; the width in rows */
};

static void sides_release(struct sides *s)
{
    for (int k = 0; k < 2; k++) {
        free(s->level[k]);
        free(s->slope[k]);
    }
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

static int sides_make(const struct pin_body *b, double tip, struct sides *s, struct err *err)
{
    memset(s, 0, sizeof *s);
    s->n = b->strip.rows;
    s->wr = b->width / b->strip.ds;
    s->inside = b->inside;
    s->contrast = b->inside - 0.5 * (b->outside[0] + b->outside[1]);
    double row = (tip - b->strip.s0) / b->strip.ds - 1.2 * s->wr;
    s->from = (size_t)fmax(0.0, fmin((double)s->n - 1.0, row));
    for (int k = 0; k < 2; k++) {
        s->level[k] = plumb_mem_array(s->n, sizeof **s->level, err);
        s->slope[k] = plumb_mem_array(s->n, sizeof **s->slope, err);
        if (!s->level[k] || !s->slope[k])
            return ERR_NOMEM;
    }
    return 0;
}

/* Levels of a band beside either flank, and how they grow. */
static void sides_look(const struct pin_body *b, double band, size_t reach, struct sides *s)
{
    double in = 0.5 * b->width + flank_gap_px, out = in + fmax(4.0, band * b->width);
    pin_band(b, 0, s->n - 1, in, out, s->level[0]);
    pin_band(b, 0, s->n - 1, -out, -in, s->level[1]);
    slopes(s, reach);
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
    double rim = radius - flank_gap_px;
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
        c->f[c->n] = sqrt(fmax(0.0, 1.0 - x * x / (radius * radius)));
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
    sides_look(b, collar_band, reach, s);
    for (size_t i = s->from; i > reach && at == 0; i--)
        if (both(s, i, 1) > collar_rise * s->contrast && is_peak(s, i, 1, reach) &&
            metal_lasts(b, s, i))
            at = i;
    if (at == 0)
        return 0;
    size_t a = (size_t)(0.25 * s->wr), z = (size_t)(0.08 * s->wr) + 3;
    double radius = at > a ? collar_radius(b, at - a, at - (z < a ? z : a)) : 0.0;
    /* What has no rim of its own is a frame, a crown, a hand piece: no face to measure from. */
    if (radius < collar_least * 0.5 * b->width || (double)at < collar_room * s->wr)
        return 0;
    int rc = face_columns(b, at, radius, &c, err);
    if (rc != 0)
        return rc;
    if (c.n < COLUMNS_MIN)
        return 0;
    e->shoulder_gain = shoulder_shift;
    face_fit(&c, radius, e);
    e->has_shoulder = e->u_shoulder < collar_sure * b->width;
    return 0;
}

/* Sums for the least squares of level = p + q x + amp box(x). */
struct box_sums {
    double n, x, xx, in, xin, y, xy, iny, yy;
};

static void box_add(struct box_sums *m, const float *level, size_t from, size_t to, double mid,
                    double in)
{
    for (size_t k = from; k < to; k++) {
        double x = (double)k - mid, y = (double)level[k];
        m->n += 1.0;
        m->x += x;
        m->xx += x * x;
        m->in += in;
        m->xin += in * x;
        m->y += y;
        m->xy += x * y;
        m->iny += in * y;
        m->yy += y * y;
    }
}

/* What is left over, with p and q taken out of box and level first (Frisch & Waugh 1933). */
static double box_left(const struct box_sums *m)
{
    double mx = m->x / m->n, sxx = m->xx - m->x * mx;
    double sxi = m->xin - m->in * mx, sxy = m->xy - m->y * mx;
    double sii = m->in - m->in * m->in / m->n - sxi * sxi / sxx;
    double siy = m->iny - m->in * m->y / m->n - sxi * sxy / sxx;
    double syy = m->yy - m->y * m->y / m->n - sxy * sxy / sxx;
    if (!(sii > 0.0))
        return HUGE_VAL;
    double left = fmax(0.0, syy - siy * siy / sii);
    return sqrt(left / fmax(1.0, m->n - 3.0));
}

/* One side's level over a stop: a slope all along and a step from row j to row i; what is left
 * over. The ramps of both faces, reach to either side, are left out. */
static double box_rms(const struct sides *s, int side, size_t j, size_t i, size_t reach, size_t end)
{
    size_t margin = (size_t)(stop_beside * s->wr), last = s->n - 1;
    size_t a0 = j > end + reach + margin ? j - reach - margin : end + 1, a1 = j - reach;
    size_t c0 = i + reach + 1, c1 = c0 + margin < last ? c0 + margin : last;
    struct box_sums m = {0};
    double mid = 0.5 * (double)(i + j);
    box_add(&m, s->level[side], a0, a1, mid, 0.0);
    box_add(&m, s->level[side], j + reach, i - reach + 1, mid, 1.0);
    box_add(&m, s->level[side], c0, c1, mid, 0.0);
    return box_left(&m);
}

/* How clearly a stop begins at row i and ends at row j (crownwards): the least of its steps, which
 * a round disc makes alike at both faces and both sides, against what a smooth band leaves over on
 * the worse side; 0 when they are unlike or it is metal. */
static double stop_clear(const struct sides *s, size_t j, size_t i, size_t reach, size_t end)
{
    double lo = fmin(both(s, i, 1), both(s, j, -1)), noise = 1.0 / 65535.0;
    double hi = fmax(fmax((double)s->slope[0][i], (double)s->slope[1][i]),
                     -fmin((double)s->slope[0][j], (double)s->slope[1][j]));
    double apical = 0.5 * (double)(s->level[0][i + reach] + s->level[1][i + reach]);
    double metal = fmin(s->contrast, s->inside - apical);
    if (lo <= 0.0 || hi > stop_alike * lo || hi > stop_most * metal)
        return 0.0;
    for (int k = 0; k < 2; k++)
        noise = fmax(noise, box_rms(s, k, j, i, reach, end));
    return lo / noise;
}

/* The apical face: where either side is steepest near row at; false when the sides disagree. */
static bool stop_face(const struct pin_body *b, const struct sides *s, size_t at, size_t reach,
                      struct pin_ends *e)
{
    struct find_kernel k = find_kernel_make(fmin(5.0, 0.05 * s->wr + 1.0));
    double row[2] = {(double)at, (double)at};
    for (int side = 0; side < 2; side++)
        if (find_edge_in_row(s->level[side], s->n, at > reach ? at - reach : 0, at + reach + 1, -1,
                             &k, &row[side]) <= 0.0)
            return false;
    double apart = fabs(row[0] - row[1]) * b->strip.ds;
    e->stop = pin_body_s(b, 0) + b->strip.ds * 0.5 * (row[0] + row[1]);
    e->u_stop = hypot(stop_floor * b->width, 0.5 * apart);
    return apart < stop_apart * b->width;
}

/* Levels within a rim at `rim` from the axis less those beyond it: what runs across the rim, as a
 * crest does, is gone. false: the strip ends before. */
static bool rim_look(const struct pin_body *b, double rim, size_t reach, struct sides *s)
{
    double in = 0.5 * b->width + flank_gap_px, out = rim - rim_gap * b->width;
    double from = rim + rim_gap * b->width, to = from + rim_beyond * b->width;
    float *beyond = b->rows.room;
    if (to > -b->strip.t0 || !(out > in))
        return false;
    for (int k = 0; k < 2; k++) {
        pin_band(b, 0, s->n - 1, k == 0 ? in : -out, k == 0 ? out : -in, s->level[k]);
        pin_band(b, 0, s->n - 1, k == 0 ? from : -to, k == 0 ? to : -from, beyond);
        for (size_t i = 0; i < s->n; i++)
            s->level[k][i] -= beyond[i];
    }
    slopes(s, reach);
    return true;
}

/* A stop as the levels show it now, the clearest so far. */
struct stop {
    size_t at;
    double clear;
};

static void seek_stop(const struct sides *s, size_t reach, size_t end, struct stop *best)
{
    size_t far = (size_t)(stop_thick * s->wr), beside = 2 * reach;
    size_t near = (size_t)fmax(2.0 * (double)reach + 4.0, stop_thin * s->wr);
    for (size_t i = s->from; i > end + near + beside; i--) {
        if (!is_peak(s, i, 1, reach))
            continue;
        for (size_t j = i - near; j + far >= i && j > end + reach; j--) {
            double v = is_peak(s, j, -1, reach) ? stop_clear(s, j, i, reach, end) : 0.0;
            if (v > best->clear)
                *best = (struct stop){i, v};
        }
    }
}

/* Of the levels beside the flanks, or else of those within some rim less those beyond it. */
static void measure_stop(const struct pin_body *b, struct sides *s, struct pin_ends *e)
{
    size_t reach = (size_t)fmax(4.0, 0.12 * s->wr);
    size_t end = e->has_shoulder ? pin_body_row(b, e->shoulder) : 0;
    struct stop best = {0, stop_least};
    sides_look(b, stop_band, reach, s);
    seek_stop(s, reach, end, &best);
    if (best.at > 0) {
        e->has_stop = stop_face(b, s, best.at, reach, e);
        return;
    }
    double rim = 0.0;
    best.clear = rim_least;
    for (int n = 0; n < RIMS; n++) {
        double next = (rim_from + n * rim_step) * b->width, before = best.clear;
        if (!rim_look(b, next, reach, s))
            break;
        seek_stop(s, reach, end, &best);
        rim = best.clear > before ? next : rim;
    }
    if (best.at > 0 && rim_look(b, rim, reach, s))
        e->has_stop = stop_face(b, s, best.at, reach, e);
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
