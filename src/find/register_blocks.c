/*
 * Registration from near: square blocks of the old film are looked for in the new one, seen through
 * the map so far, by normalised correlation; then the map is moved as most blocks say.
 *
 * A straight edge tells a block's place across itself only, so a block counts in each direction as
 * its structure tensor tells it (J. Bigun and G. H. Granlund, ICCV 1987). The fit is reweighted
 * least squares with Tukey's bisquare, which begins wide and narrows (A. Blake and A. Zisserman,
 * Visual Reconstruction, 1987): what differs between the films (a pin, a crown, healed bone) falls
 * out.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/register_internal.h"

/* Two patches of noise are alike by about 0.2 at the best of all shifts, and by 0.35 when the
 * noise is blurred: a block below least_alike does not count, one above counts by what is over. */
static const double least_alike = 0.40;
static const double margin = 0.04;         /* of each side of either film: a holder's frame */
static const double least_contrast = 1e-4; /* of full scale: below, a block is blank */
enum { ROUNDS = 12, UNKNOWNS = 6, LEAST_BLOCKS = 8 };

void reg_blocks_release(struct reg_blocks *b)
{
    free(b->at);
    *b = (struct reg_blocks){0};
}

/* --- matching ------------------------------------------------------------------------------------
 */

/* The new film as the map shows it in the old one's reduced pixels. */
static float *warp(const struct find_image *old_film, const struct find_image *new_film,
                   const struct find_map *map, struct err *err)
{
    size_t w = old_film->width, h = old_film->height;
    float *out = plumb_mem_array(w * h, sizeof *out, err);
    for (size_t y = 0; out != NULL && y < h; y++) {
        for (size_t x = 0; x < w; x++) {
            struct geo_point p = reg_to_film(old_film, (struct geo_point){(double)x, (double)y});
            out[y * w + x] = (float)find_image_at(new_film, reg_map_point(map, p));
        }
    }
    return out;
}

static bool is_inside(const struct find_image *im, struct geo_point film)
{
    double w = im->scale * (double)im->width, h = im->scale * (double)im->height;
    return film.x >= margin * w && film.x <= (1.0 - margin) * w && film.y >= margin * h &&
           film.y <= (1.0 - margin) * h;
}

struct patch {
    const float *old, *warped; /* of its middle */
    size_t stride, half;
    double mean, power; /* of the old patch about its mean, a pixel */
};

static struct patch patch_of(const float *old, const float *warped, size_t stride, size_t half)
{
    struct patch p = {old, warped, stride, half, 0.0, 0.0};
    double n = (double)((2 * half + 1) * (2 * half + 1)), square = 0.0;
    const float *row = old - half * stride - half;
    for (size_t y = 0; y <= 2 * half; y++, row += stride) {
        for (size_t x = 0; x <= 2 * half; x++) {
            p.mean += (double)row[x];
            square += (double)(row[x] * row[x]);
        }
    }
    p.mean /= n;
    p.power = square / n - p.mean * p.mean;
    return p;
}

/* Normalised correlation with the warped film, moved by so many pixels. */
static double alike(const struct patch *p, ptrdiff_t dx, ptrdiff_t dy)
{
    ptrdiff_t stride = (ptrdiff_t)p->stride, half = (ptrdiff_t)p->half;
    double sum = 0.0, square = 0.0, both = 0.0;
    for (ptrdiff_t y = -half; y <= half; y++) {
        const float *a = p->old + y * stride - half;
        const float *b = p->warped + (y + dy) * stride + dx - half;
        float s = 0.0F, q = 0.0F, m = 0.0F;
        for (ptrdiff_t x = 0; x <= 2 * half; x++) {
            s += b[x];
            q += b[x] * b[x];
            m += a[x] * b[x];
        }
        sum += (double)s;
        square += (double)q;
        both += (double)m;
    }
    double n = (double)((2 * half + 1) * (2 * half + 1));
    double power = square / n - sum / n * (sum / n);
    if (power < least_contrast * least_contrast)
        return 0.0;
    return (both / n - p->mean * sum / n) / sqrt(power * p->power);
}

/* False when its inner part is blank and tells none. */
static bool tell_directions(const struct patch *p, struct reg_block *b)
{
    ptrdiff_t s = (ptrdiff_t)p->stride, half = (ptrdiff_t)p->half;
    double xx = 0.0, xy = 0.0, yy = 0.0;
    for (ptrdiff_t y = 1 - half; y < half; y++) {
        for (ptrdiff_t x = 1 - half; x < half; x++) {
            const float *v = p->old + y * s + x;
            double gx = (double)(v[1] - v[-1]), gy = (double)(v[s] - v[-s]);
            xx += gx * gx;
            xy += gx * gy;
            yy += gy * gy;
        }
    }
    double most = 0.5 * (xx + yy) + hypot(0.5 * (xx - yy), xy);
    if (!(most > 0.0))
        return false;
    b->xx = xx / most;
    b->xy = xy / most;
    b->yy = yy / most;
    return true;
}

static double parabola(double before, double at, double after)
{
    double bend = before - 2.0 * at + after;
    return bend < 0.0 ? fmax(-0.5, fmin(0.5, 0.5 * (before - after) / bend)) : 0.0;
}

/* Looks for the patch within reach; false when its best place lies on the rim. */
static bool look_for(const struct patch *p, int reach, int sign, struct reg_block *b)
{
    int bx = 0, by = 0;
    double best = 0.0;
    for (int dy = -reach; dy <= reach; dy++) {
        for (int dx = -reach; dx <= reach; dx++) {
            double v = sign * alike(p, dx, dy);
            if (v > best) {
                best = v;
                bx = dx;
                by = dy;
            }
        }
    }
    if (best < least_alike || abs(bx) == reach || abs(by) == reach || !tell_directions(p, b))
        return false;
    double left = sign * alike(p, bx - 1, by), right = sign * alike(p, bx + 1, by);
    double up = sign * alike(p, bx, by - 1), down = sign * alike(p, bx, by + 1);
    b->by = (struct geo_point){bx + parabola(left, best, right), by + parabola(up, best, down)};
    b->alike = best;
    return true;
}

struct ground {
    const struct find_image *old_film, *new_film;
    const struct find_map *map;
    const float *warped;
    const struct reg_lay *lay;
};

static bool in_both(const struct ground *g, size_t x, size_t y)
{
    const struct find_image *im = g->old_film;
    double far = (double)g->lay->half + g->lay->reach;
    for (int i = 0; i < 4; i++) {
        struct geo_point own = {(double)x + (i & 1 ? far : -far), (double)y + (i & 2 ? far : -far)};
        struct geo_point p = reg_to_film(im, own);
        if (!is_inside(im, p) || !is_inside(g->new_film, reg_map_point(g->map, p)))
            return false;
    }
    return true;
}

static void match_all(const struct ground *g, int sign, struct reg_blocks *out)
{
    const struct find_image *im = g->old_film;
    size_t half = g->lay->half, from = half + (size_t)g->lay->reach + 1;
    out->n = 0;
    for (size_t y = from; y + from < im->height; y += g->lay->step) {
        for (size_t x = from; x + from < im->width; x += g->lay->step) {
            struct reg_block b = {.at = reg_to_film(im, (struct geo_point){(double)x, (double)y})};
            size_t i = y * im->width + x;
            if (!in_both(g, x, y))
                continue;
            struct patch p = patch_of(im->level + i, g->warped + i, im->width, half);
            if (p.power < least_contrast * least_contrast)
                continue;
            if (look_for(&p, g->lay->reach, sign, &b))
                b.by = geo_mul(b.by, im->scale);
            out->at[out->n++] = b;
        }
    }
}

static double speak_for(const struct reg_blocks *b)
{
    double sum = 0.0;
    for (size_t i = 0; i < b->n; i++)
        sum += fmax(0.0, b->at[i].alike - least_alike);
    return sum;
}

int reg_blocks_match(const struct find_image *old_film, const struct find_image *new_film,
                     const struct find_map *map, const struct reg_lay *lay, int *polarity,
                     struct reg_blocks *out, struct err *err)
{
    size_t room = (old_film->width / lay->step + 1) * (old_film->height / lay->step + 1);
    float *warped = warp(old_film, new_film, map, err);
    *out = (struct reg_blocks){.at = plumb_mem_array(room, sizeof *out->at, err)};
    struct ground g = {old_film, new_film, map, warped, lay};
    int rc = warped && out->at ? 0 : ERR_NOMEM;
    if (rc == 0 && *polarity == 0) {
        match_all(&g, -1, out);
        double turned_over = speak_for(out);
        match_all(&g, +1, out);
        *polarity = speak_for(out) >= turned_over ? +1 : -1;
    }
    if (rc == 0)
        match_all(&g, *polarity, out);
    free(warped);
    if (rc != 0)
        reg_blocks_release(out);
    return rc;
}

/* --- fitting -------------------------------------------------------------------------------------
 */

/* Normal equations of displacement = shift + G (at - middle); a similarity has G = {p, -q; q, p}.
 */
struct normal {
    double a[UNKNOWNS][UNKNOWNS], b[UNKNOWNS];
    size_t n;
};

static void design(const struct reg_block *b, struct geo_point middle, double unit, bool affine,
                   double x[UNKNOWNS], double y[UNKNOWNS])
{
    struct geo_point u = geo_mul(geo_sub(b->at, middle), 1.0 / unit);
    const double sx[] = {1, 0, u.x, -u.y, 0, 0}, sy[] = {0, 1, u.y, u.x, 0, 0};
    const double ax[] = {1, 0, u.x, u.y, 0, 0}, ay[] = {0, 1, 0, 0, u.x, u.y};
    memcpy(x, affine ? ax : sx, sizeof ax);
    memcpy(y, affine ? ay : sy, sizeof ay);
}

static void add_block(struct normal *m, const struct reg_block *b, const double *x, const double *y)
{
    double ex = b->xx * b->by.x + b->xy * b->by.y, ey = b->xy * b->by.x + b->yy * b->by.y;
    for (size_t i = 0; i < m->n; i++) {
        double wx = b->weight * (b->xx * x[i] + b->xy * y[i]);
        double wy = b->weight * (b->xy * x[i] + b->yy * y[i]);
        for (size_t j = 0; j < m->n; j++)
            m->a[i][j] += wx * x[j] + wy * y[j];
        m->b[i] += b->weight * (x[i] * ex + y[i] * ey);
    }
}

/* Symmetric and positive: by Cholesky's way without roots; false when not so. */
static bool solve(struct normal *m, double *x)
{
    for (size_t k = 0; k < m->n; k++) {
        if (!(m->a[k][k] > 1e-9 * m->a[0][0]))
            return false;
        for (size_t i = k + 1; i < m->n; i++) {
            double f = m->a[i][k] / m->a[k][k];
            for (size_t j = k; j < m->n; j++)
                m->a[i][j] -= f * m->a[k][j];
            m->b[i] -= f * m->b[k];
        }
    }
    for (size_t k = m->n; k-- > 0;) {
        double v = m->b[k];
        for (size_t j = k + 1; j < m->n; j++)
            v -= m->a[k][j] * x[j];
        x[k] = v / m->a[k][k];
    }
    return true;
}

double reg_block_off(const struct reg_block *b)
{
    struct geo_point r = b->rest;
    return sqrt(fmax(0.0, r.x * r.x * b->xx + 2.0 * r.x * r.y * b->xy + r.y * r.y * b->yy));
}

static void weigh(struct reg_blocks *b, double width)
{
    for (size_t i = 0; i < b->n; i++) {
        struct reg_block *k = &b->at[i];
        double r = reg_block_off(k) / width, t = 1.0 - r * r;
        double over = fmax(0.0, k->alike - least_alike) / (1.0 - least_alike);
        k->weight = r < 1.0 ? t * t * over : 0.0;
    }
}

static void leave_rests(struct reg_blocks *b, struct geo_point middle, double unit, bool affine,
                        const double *x)
{
    for (size_t i = 0; i < b->n; i++) {
        double dx[UNKNOWNS], dy[UNKNOWNS];
        struct geo_point d = {0.0, 0.0};
        design(&b->at[i], middle, unit, affine, dx, dy);
        for (int k = 0; k < UNKNOWNS; k++) {
            d.x += dx[k] * x[k];
            d.y += dy[k] * x[k];
        }
        b->at[i].rest = geo_sub(b->at[i].by, d);
    }
}

/* The map after the old points were moved by the displacement. */
static void move_map(struct find_map *m, struct geo_point middle, double unit, bool affine,
                     const double *x)
{
    double gxx = x[2] / unit, gxy = (affine ? x[3] : -x[3]) / unit;
    double gyx = (affine ? x[4] : x[3]) / unit, gyy = (affine ? x[5] : x[2]) / unit;
    struct find_map old = *m;
    m->to = reg_map_point(&old, (struct geo_point){middle.x + x[0], middle.y + x[1]});
    m->from = middle;
    m->xx = old.xx * (1.0 + gxx) + old.xy * gyx;
    m->xy = old.xx * gxy + old.xy * (1.0 + gyy);
    m->yx = old.yx * (1.0 + gxx) + old.yy * gyx;
    m->yy = old.yx * gxy + old.yy * (1.0 + gyy);
}

size_t reg_blocks_agreeing(const struct reg_blocks *b)
{
    size_t n = 0;
    for (size_t i = 0; i < b->n; i++)
        n += b->at[i].weight > 0.0;
    return n;
}

static struct geo_point middle_of(const struct reg_blocks *b, double *unit)
{
    struct geo_point sum = {0.0, 0.0};
    double far = 1.0;
    for (size_t i = 0; i < b->n; i++)
        sum = geo_add(sum, b->at[i].at);
    sum = geo_mul(sum, 1.0 / (double)b->n);
    for (size_t i = 0; i < b->n; i++)
        far = fmax(far, geo_dist(sum, b->at[i].at));
    *unit = far;
    return sum;
}

bool reg_blocks_fit(struct reg_blocks *b, bool affine, double widest, double narrowest,
                    struct find_map *map)
{
    double x[UNKNOWNS] = {0}, unit;
    if (b->n < LEAST_BLOCKS)
        return false;
    struct geo_point middle = middle_of(b, &unit);
    leave_rests(b, middle, unit, affine, x);
    for (int round = 0; round < ROUNDS; round++) {
        double width = fmax(narrowest, widest * pow(narrowest / widest, round / (ROUNDS - 2.0)));
        struct normal m = {.n = affine ? 6 : 4};
        weigh(b, width);
        if (reg_blocks_agreeing(b) < LEAST_BLOCKS)
            return false;
        for (size_t i = 0; i < b->n; i++) {
            double dx[UNKNOWNS], dy[UNKNOWNS];
            design(&b->at[i], middle, unit, affine, dx, dy);
            add_block(&m, &b->at[i], dx, dy);
        }
        if (!solve(&m, x))
            return false;
        leave_rests(b, middle, unit, affine, x);
    }
    move_map(map, middle, unit, affine, x);
    return true;
}
