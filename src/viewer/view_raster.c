/*
 * The film at the window's scale. Halved levels bring the film within a factor of two of the
 * window's scale; what is left is averaged over each window pixel's own area (box filter,
 * separable, at most three taps a direction), or interpolated when the film is enlarged or leans.
 * The result is kept: a move shifts it and computes only what came into sight.
 *
 * Weights are whole numbers of 1/256; the picture is for the eye, measuring never sees it.
 */
#include "viewer/view_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* --- levels ------------------------------------------------------------------------------------
 */

void view_pyramid_release(struct view_pyramid *p)
{
    for (size_t i = 0; i < p->n; i++)
        free(p->level[i].own);
    *p = (struct view_pyramid){0};
}

static void halve(const uint16_t *src, size_t w, size_t h, uint16_t *dst)
{
    size_t dw = (w + 1) / 2, dh = (h + 1) / 2;
    for (size_t y = 0; y < dh; y++) {
        const uint16_t *a = src + 2 * y * w, *b = 2 * y + 1 < h ? a + w : a;
        uint16_t *out = dst + y * dw;
        for (size_t x = 0; x < w / 2; x++)
            out[x] = (uint16_t)((a[2 * x] + a[2 * x + 1] + b[2 * x] + b[2 * x + 1] + 2) / 4);
        if (w % 2 == 1)
            out[dw - 1] = (uint16_t)((a[w - 1] + b[w - 1] + 1) / 2);
    }
}

static int add_level(struct view_pyramid *p, struct err *err)
{
    size_t w = p->level[p->n - 1].w, h = p->level[p->n - 1].h;
    size_t dw = (w + 1) / 2, dh = (h + 1) / 2;
    uint16_t *own = plumb_mem_array(dw * dh, sizeof *own, err);
    if (own == NULL)
        return ERR_NOMEM;
    halve(p->level[p->n - 1].grey, w, h, own);
    p->level[p->n].own = own;
    p->level[p->n].grey = own;
    p->level[p->n].w = dw;
    p->level[p->n].h = dh;
    p->n++;
    return 0;
}

/* The coarsest level that is still at least as fine as the window. */
static size_t level_for(double scale)
{
    size_t k = 0;
    while (scale <= 0.5 && k + 1 < VIEW_LEVELS) {
        scale *= 2.0;
        k++;
    }
    return k;
}

/* Builds only as many levels as a scale of `scale` needs; call again for a smaller one. */
static int pyramid_need(struct view_pyramid *p, const struct film *film, double scale,
                        struct err *err)
{
    if (p->n == 0) {
        p->level[0].grey = film->grey;
        p->level[0].w = film->width;
        p->level[0].h = film->height;
        p->n = 1;
    }
    int rc = 0;
    while (rc == 0 && p->n <= level_for(scale) && p->level[p->n - 1].w > 1 &&
           p->level[p->n - 1].h > 1)
        rc = add_level(p, err);
    return rc;
}

/* --- taps --------------------------------------------------------------------------------------
 */

enum { TAPS = 3, TAP_ONE = 256 };
struct tap {
    size_t at[TAPS];
    unsigned weight[TAPS];
};

static size_t clamp_index(double x, size_t n)
{
    return x <= 0.0 ? 0 : x >= (double)(n - 1) ? n - 1 : (size_t)x;
}

/* Interpolation between the two centres about x (edge coordinates). */
static void tap_between(struct tap *t, double x, size_t n)
{
    double left = floor(x - 0.5), f = x - 0.5 - left;
    *t = (struct tap){.at = {clamp_index(left, n), clamp_index(left + 1.0, n), 0}};
    t->at[2] = t->at[1];
    t->weight[1] = (unsigned)(f * TAP_ONE + 0.5);
    t->weight[0] = TAP_ONE - t->weight[1];
}

/* Mean over [x - half, x + half], 1 to 2 px long. */
static void tap_over(struct tap *t, double x, double half, size_t n)
{
    double from = x - half, to = x + half, first = floor(from);
    unsigned used = 0;
    *t = (struct tap){0};
    for (int k = 0; k < TAPS; k++) {
        double lo = fmax(from, first + k), hi = fmin(to, first + k + 1.0);
        t->at[k] = clamp_index(first + k, n);
        t->weight[k] = hi > lo ? (unsigned)((hi - lo) / (to - from) * TAP_ONE + 0.5) : 0;
        if (used + t->weight[k] > TAP_ONE)
            t->weight[k] = TAP_ONE - used;
        used += t->weight[k];
    }
    t->weight[1] += TAP_ONE - used;
}

/* Taps of `count` window px from edge coordinate `start` (level px), `step` level px each. */
static void taps_make(struct tap *taps, size_t count, double start, double step, size_t n)
{
    for (size_t i = 0; i < count; i++) {
        double x = start + ((double)i + 0.5) * step;
        if (fabs(step) > 1.0)
            tap_over(&taps[i], x, 0.5 * fabs(step), n);
        else
            tap_between(&taps[i], x, n);
    }
}

/* --- resampling --------------------------------------------------------------------------------
 */

int view_raster_init(struct view_raster *r, struct view_box room, struct err *err)
{
    *r = (struct view_raster){.room = room,
                              .w = (size_t)fmax(room.x1 - room.x0, 1.0),
                              .h = (size_t)fmax(room.y1 - room.y0, 1.0)};
    r->grey = plumb_mem_array(r->w * r->h, sizeof *r->grey, err);
    return r->grey ? 0 : ERR_NOMEM;
}

void view_raster_release(struct view_raster *r)
{
    free(r->grey);
    *r = (struct view_raster){0};
}

struct part {
    size_t x0, y0, x1, y1; /* of the raster */
};

/* Rows of the film (outer) and places along them (inner), whichever way the film is turned. */
struct weave {
    struct tap *outer, *inner;
    size_t n_outer, n_inner, stride_outer, stride_inner;
    uint16_t *out;
    uint32_t *row; /* one blended film row */
    size_t from, to;
};

static void blend_rows(const struct weave *w, const struct tap *t, const uint16_t *grey,
                       size_t width)
{
    const uint16_t *a = grey + t->at[0] * width, *b = grey + t->at[1] * width,
                   *c = grey + t->at[2] * width;
    unsigned wa = t->weight[0], wb = t->weight[1], wc = t->weight[2];
    for (size_t x = w->from; x <= w->to; x++)
        w->row[x] = (wa * a[x] + wb * b[x] + wc * c[x]) >> 8;
}

static void weave_all(const struct weave *w, const uint16_t *grey, size_t width)
{
    for (size_t j = 0; j < w->n_outer; j++) {
        blend_rows(w, &w->outer[j], grey, width);
        uint16_t *out = w->out + j * w->stride_outer;
        for (size_t i = 0; i < w->n_inner; i++) {
            const struct tap *t = &w->inner[i];
            out[i * w->stride_inner] =
                (uint16_t)((t->weight[0] * w->row[t->at[0]] + t->weight[1] * w->row[t->at[1]] +
                            t->weight[2] * w->row[t->at[2]]) >>
                           8);
        }
    }
}

static void inner_range(struct weave *w)
{
    w->from = SIZE_MAX;
    w->to = 0;
    for (size_t i = 0; i < w->n_inner; i++)
        for (int k = 0; k < TAPS; k++) {
            size_t at = w->inner[i].at[k];
            w->from = at < w->from ? at : w->from;
            w->to = at > w->to ? at : w->to;
        }
}

/* Edge coordinate on the level where the window's column (or row) `from` begins, and the step. */
static void along(const struct view_raster *r, bool film_x, bool window_x, double from, double k,
                  double *start, double *step)
{
    const struct view_transform *t = &r->t;
    double o = window_x ? t->ox : t->oy, size = film_x ? t->film_w : t->film_h;
    double room = window_x ? r->room.x0 : r->room.y0;
    /* x runs against the film in turns 2 and 3 (film x), 1 and 2 (film y) */
    bool back = film_x ? t->turn >= 2 : t->turn == 1 || t->turn == 2;
    double e = (room + from - o) / t->scale;
    *start = (back ? size - e : e) * k;
    *step = (back ? -1.0 : 1.0) * k / t->scale;
}

static void weave_part(struct view_raster *r, struct part p, struct weave *w,
                       const struct view_pyramid *pyr, size_t level)
{
    size_t width = pyr->level[level].w, height = pyr->level[level].h;
    double k = ldexp(1.0, -(int)level); /* level px a film px */
    bool upright = r->t.turn % 2 == 0;
    double start, step;
    along(r, true, upright, (double)(upright ? p.x0 : p.y0), k, &start, &step);
    w->n_inner = upright ? p.x1 - p.x0 : p.y1 - p.y0;
    taps_make(w->inner, w->n_inner, start, step, width);
    along(r, false, !upright, (double)(upright ? p.y0 : p.x0), k, &start, &step);
    w->n_outer = upright ? p.y1 - p.y0 : p.x1 - p.x0;
    taps_make(w->outer, w->n_outer, start, step, height);
    w->stride_inner = upright ? 1 : r->w;
    w->stride_outer = upright ? r->w : 1;
    w->out = r->grey + p.y0 * r->w + p.x0;
    inner_range(w);
    weave_all(w, pyr->level[level].grey, width);
}

/* A place along one direction of a level, in whole steps of 2^-FINE px: fast to walk in. */
enum { FINE = 20, TAP_BITS = 8 };

/* The two centres about it, and the second one's weight of TAP_ONE. */
static unsigned about(int64_t at, size_t n, size_t *a, size_t *b)
{
    int64_t i = at >> FINE, last = (int64_t)n - 1; /* arithmetic: floor */
    *a = (size_t)(i < 0 ? 0 : i > last ? last : i);
    *b = (size_t)(i + 1 < 0 ? 0 : i + 1 > last ? last : i + 1);
    return (unsigned)(at >> (FINE - TAP_BITS)) & (TAP_ONE - 1);
}

static int64_t fine(double x)
{
    return (int64_t)llround(ldexp(x, FINE));
}

static void lean_row(uint16_t *out, size_t count, const struct view_pyramid *pyr, size_t level,
                     struct geo_point from, struct geo_point step)
{
    const uint16_t *grey = pyr->level[level].grey;
    size_t w = pyr->level[level].w, h = pyr->level[level].h;
    int64_t x = fine(from.x - 0.5), y = fine(from.y - 0.5), dx = fine(step.x), dy = fine(step.y);
    for (size_t i = 0; i < count; i++, x += dx, y += dy) {
        size_t x0, x1, y0, y1;
        unsigned fx = about(x, w, &x0, &x1), fy = about(y, h, &y0, &y1);
        const uint16_t *a = grey + y0 * w, *b = grey + y1 * w;
        unsigned top = (TAP_ONE - fx) * a[x0] + fx * a[x1];
        unsigned low = (TAP_ONE - fx) * b[x0] + fx * b[x1];
        out[i] =
            (uint16_t)(((TAP_ONE - fy) * (top >> TAP_BITS) + fy * (low >> TAP_BITS)) >> TAP_BITS);
    }
}

/* Every window px on its own: a leaning film has no rows to share. */
static void lean_part(struct view_raster *r, struct part p, const struct view_pyramid *pyr,
                      size_t level)
{
    const struct view_transform *t = &r->t;
    double k = ldexp(1.0, -(int)level); /* level px a film px */
    struct geo_point half = {0.5, 0.5}; /* from centres to edges */
    for (size_t y = p.y0; y < p.y1; y++) {
        struct geo_point w = {r->room.x0 + (double)p.x0 + 0.5, r->room.y0 + (double)y + 0.5};
        struct geo_point at = view_to_film(t, w);
        struct geo_point next = view_to_film(t, (struct geo_point){w.x + 1.0, w.y});
        lean_row(r->grey + y * r->w + p.x0, p.x1 - p.x0, pyr, level, geo_mul(geo_add(at, half), k),
                 geo_mul(geo_sub(next, at), k));
    }
}

static int resample(struct view_raster *r, struct part p, const struct view_pyramid *pyr,
                    struct err *err)
{
    if (p.x1 <= p.x0 || p.y1 <= p.y0)
        return 0;
    size_t level = level_for(r->t.scale), most = (r->w > r->h ? r->w : r->h);
    if (level >= pyr->n)
        level = pyr->n - 1;
    if (r->t.lean != 0.0) {
        lean_part(r, p, pyr, level);
        return 0;
    }
    struct weave w = {.outer = plumb_mem_array(most, sizeof(struct tap), err),
                      .inner = plumb_mem_array(most, sizeof(struct tap), err),
                      .row = plumb_mem_array(pyr->level[level].w, sizeof(uint32_t), err)};
    int rc = w.outer && w.inner && w.row ? 0 : ERR_NOMEM;
    if (rc == 0)
        weave_part(r, p, &w, pyr, level);
    free(w.outer);
    free(w.inner);
    free(w.row);
    return rc;
}

/* --- moving ------------------------------------------------------------------------------------
 */

static void shift_rows(struct view_raster *r, long dx, long dy)
{
    size_t w = r->w, h = r->h, ax = (size_t)labs(dx), ay = (size_t)labs(dy);
    for (size_t i = 0; i < h - ay; i++) {
        size_t to = dy > 0 ? h - 1 - i : i, from = dy > 0 ? to - ay : to + ay;
        memmove(r->grey + to * w + (dx > 0 ? ax : 0), r->grey + from * w + (dx > 0 ? 0 : ax),
                (w - ax) * sizeof *r->grey);
    }
}

static int move_by(struct view_raster *r, long dx, long dy, const struct view_pyramid *pyr,
                   struct err *err)
{
    size_t ax = (size_t)labs(dx), ay = (size_t)labs(dy);
    shift_rows(r, dx, dy);
    struct part rows = {0, dy > 0 ? 0 : r->h - ay, r->w, dy > 0 ? ay : r->h};
    struct part cols = {dx > 0 ? 0 : r->w - ax, 0, dx > 0 ? ax : r->w, r->h};
    int rc = resample(r, rows, pyr, err);
    return rc == 0 ? resample(r, cols, pyr, err) : rc;
}

static bool same_but_moved(const struct view_raster *r, const struct view_transform *t)
{
    return r->valid && r->t.scale == t->scale && r->t.turn == t->turn && r->t.lean == t->lean &&
           fabs(t->ox - r->t.ox) < (double)r->w && fabs(t->oy - r->t.oy) < (double)r->h;
}

int view_raster_update(struct view_raster *r, struct view_pyramid *p, const struct film *film,
                       const struct view_transform *t, struct err *err)
{
    int rc = pyramid_need(p, film, t->scale, err);
    if (rc != 0)
        return rc;
    bool moved = same_but_moved(r, t);
    long dx = moved ? lround(t->ox - r->t.ox) : 0, dy = moved ? lround(t->oy - r->t.oy) : 0;
    r->t = *t;
    if (moved)
        rc = dx != 0 || dy != 0 ? move_by(r, dx, dy, p, err) : 0;
    else
        rc = resample(r, (struct part){0, 0, r->w, r->h}, p, err);
    r->valid = rc == 0;
    return rc;
}
