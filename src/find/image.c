/*
 * The image the finders look at: the film with metal bright, reduced by block means, straightened
 * along a line. Limits: bilinear sampling, which blurs by at most 0.25 px (variance), the same on
 * both flanks.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/find_internal.h"

struct find_image find_image_of(const struct film *film, bool inverted)
{
    return (struct find_image){.width = film->width,
                               .height = film->height,
                               .grey = film->grey,
                               .inverted = inverted,
                               .scale = 1.0,
                               .white = 1.0};
}

void find_image_depth(struct find_image *im)
{
    static const uint16_t range[] = {4095, 16383};
    const uint16_t full = UINT16_MAX;
    uint16_t lo = full, hi = 0;
    for (size_t i = 0; i < im->width * im->height; i++) {
        lo = im->grey[i] < lo ? im->grey[i] : lo;
        hi = im->grey[i] > hi ? im->grey[i] : hi;
    }
    for (size_t i = 0; i < sizeof range / sizeof range[0]; i++)
        if (hi <= range[i] || lo >= full - range[i]) {
            double share = (double)range[i] / full;
            im->black = hi <= range[i] ? 0.0 : 1.0 - share;
            im->white = hi <= range[i] ? share : 1.0;
            return;
        }
}

static void reduce_row(const struct film *film, size_t y, size_t f, uint32_t *sum, size_t w)
{
    const uint16_t *row = film->grey + y * film->width;
    for (size_t x = 0; x < w; x++) {
        uint32_t acc = 0;
        for (size_t i = 0; i < f; i++)
            acc += *row++;
        sum[x] += acc;
    }
}

int find_image_reduce(const struct film *film, size_t max_side, struct find_image *out,
                      struct err *err)
{
    size_t side = film->width > film->height ? film->width : film->height;
    size_t f = (side + max_side - 1) / max_side;
    size_t w = film->width / f, h = film->height / f;
    uint32_t *sum = NULL;
    float *level = NULL;
    int rc = ERR_NOMEM;
    memset(out, 0, sizeof *out);
    sum = plumb_mem_array(w, sizeof *sum, err);
    level = plumb_mem_array(w * h, sizeof *level, err);
    if (!sum || !level)
        goto out;
    for (size_t y = 0; y < h; y++) {
        memset(sum, 0, w * sizeof *sum);
        for (size_t i = 0; i < f; i++)
            reduce_row(film, y * f + i, f, sum, w);
        for (size_t x = 0; x < w; x++)
            level[y * w + x] = (float)(sum[x] / (65535.0 * (double)(f * f)));
    }
    *out = (struct find_image){.width = w,
                               .height = h,
                               .level = level,
                               .scale = (double)f,
                               .offset = 0.5 * (double)(f - 1)};
    level = NULL;
    rc = 0;
out:
    free(sum);
    free(level);
    return rc;
}

void find_image_release(struct find_image *im)
{
    if (!im)
        return;
    free(im->level);
    memset(im, 0, sizeof *im);
}

static inline double pixel(const struct find_image *im, size_t i)
{
    return im->grey ? im->grey[i] * (1.0 / 65535.0) : (double)im->level[i];
}

static inline double clamp(double v, double hi)
{
    return v < 0.0 ? 0.0 : v > hi ? hi : v;
}

static const double rim = 1.01; /* px: a neighbour right and below, rounding to float allowed for */
/* Air is within the darkest part of a film, and darker than the bone in it; a holder's frame may be
 * as dark, all round. */
static const double air_share = 0.15, frame = 0.07;

static size_t bin_of(double level)
{
    return (size_t)(clamp(level, 1.0) * (FIND_LEVELS - 1) + 0.5);
}

struct levels {
    size_t count[FIND_LEVELS], n;
};

static double shown(const struct find_image *im, size_t i)
{
    return im->inverted ? 1.0 - pixel(im, i) : pixel(im, i);
}

/* Levels of the image without a margin of mx, my pixels. */
static void levels_of(const struct find_image *im, size_t mx, size_t my, struct levels *out)
{
    memset(out, 0, sizeof *out);
    for (size_t y = my; y + my < im->height; y++)
        for (size_t x = mx; x + mx < im->width; x++, out->n++)
            out->count[bin_of(shown(im, y * im->width + x))]++;
}

/* The bin at which so large a share of the levels lies at or below. */
static size_t bin_at(const struct levels *l, double share)
{
    double sum = 0.0;
    size_t i = 0;
    while (i + 1 < FIND_LEVELS && (sum += (double)l->count[i]) < share * (double)l->n)
        i++;
    return i;
}

/* Weighted sums along one side of the film. */
struct sums {
    double w, x, xx;
};

static void sums_add(struct sums *m, double w, double x)
{
    m->w += w;
    m->x += w * x;
    m->xx += w * x * x;
}

/* Distance of the mean from middle, in standard deviations. */
static double off_middle(const struct sums *m, double middle)
{
    double mean = m->w > 0.0 ? m->x / m->w : middle;
    double var = m->w > 0.0 ? m->xx / m->w - mean * mean : 0.0;
    return (mean - middle) / sqrt(fmax(1.0, var));
}

static struct geo_point air_of(const struct find_image *im)
{
    double w = (double)im->width, h = (double)im->height;
    size_t mx = (size_t)(frame * w), my = (size_t)(frame * h);
    struct sums across = {0}, down = {0};
    struct levels l;
    levels_of(im, mx, my, &l);
    size_t dark = bin_at(&l, air_share);
    for (size_t y = my; y + my < im->height; y++) {
        for (size_t x = mx; x + mx < im->width; x++) {
            size_t bin = bin_of(shown(im, y * im->width + x));
            double depth = bin > dark ? 0.0 : (double)(dark - bin + 1);
            sums_add(&across, depth, (double)x);
            sums_add(&down, depth, (double)y);
        }
    }
    return (struct geo_point){off_middle(&across, 0.5 * (w - 1.0)),
                              off_middle(&down, 0.5 * (h - 1.0))};
}

void find_scene_of(const struct find_image *small, struct find_scene *out)
{
    struct levels l;
    levels_of(small, 0, 0, &l);
    out->darker[0] = 0.0;
    for (size_t i = 0; i < FIND_LEVELS; i++)
        out->darker[i + 1] = out->darker[i] + (double)l.count[i] / (double)l.n;
    out->range = (double)(bin_at(&l, 0.99) - bin_at(&l, 0.01) + 1) / FIND_LEVELS;
    out->air = air_of(small);
}

double find_scene_rank(const struct find_scene *sc, double level)
{
    return sc->darker[bin_of(level)];
}

double find_image_at(const struct find_image *im, struct geo_point p)
{
    double x = clamp((p.x - im->offset) / im->scale, (double)(im->width - 1));
    double y = clamp((p.y - im->offset) / im->scale, (double)(im->height - 1));
    size_t ix = (size_t)x, iy = (size_t)y;
    size_t right = ix + 1 < im->width ? 1 : 0, down = iy + 1 < im->height ? im->width : 0;
    size_t i = iy * im->width + ix;
    double fx = x - (double)ix, fy = y - (double)iy;
    double top = pixel(im, i) * (1.0 - fx) + pixel(im, i + right) * fx;
    double low = pixel(im, i + down) * (1.0 - fx) + pixel(im, i + down + right) * fx;
    double v = top * (1.0 - fy) + low * fy;
    return im->inverted ? 1.0 - v : v;
}

/* Bilinear at (x,y) of the image's own pixels, which must lie inside with a neighbour right and
 * below. */
static inline float inner_at(const struct find_image *im, float x, float y)
{
    size_t ix = (size_t)x, iy = (size_t)y, i = iy * im->width + ix, j = i + im->width;
    float fx = x - (float)ix, fy = y - (float)iy;
    float top, low;
    if (im->grey) {
        top = (float)im->grey[i] + fx * (float)(im->grey[i + 1] - im->grey[i]);
        low = (float)im->grey[j] + fx * (float)(im->grey[j + 1] - im->grey[j]);
        return (top + fy * (low - top)) * (1.0F / 65535.0F);
    }
    top = im->level[i] + fx * (im->level[i + 1] - im->level[i]);
    low = im->level[j] + fx * (im->level[j + 1] - im->level[j]);
    return top + fy * (low - top);
}

/* Narrows j0..j1 to the j with 0 <= p + j d <= max. */
static void inside_steps(double p, double d, double max, double *j0, double *j1)
{
    if (fabs(d) < 1e-12) {
        *j1 = p >= 0.0 && p <= max ? *j1 : -1.0;
        return;
    }
    *j0 = fmax(*j0, fmin(-p / d, (max - p) / d));
    *j1 = fmin(*j1, fmax(-p / d, (max - p) / d));
}

/* Samples outside the image, or at its rim, are the nearest pixel's. */
static void strip_row(const struct find_image *im, struct geo_point from, struct geo_point step,
                      size_t n, float *out)
{
    double k = 1.0 / im->scale, j0 = 0.0, j1 = (double)n - 1.0;
    struct geo_point a = {(from.x - im->offset) * k, (from.y - im->offset) * k};
    struct geo_point d = geo_mul(step, k);
    inside_steps(a.x, d.x, (double)im->width - rim, &j0, &j1);
    inside_steps(a.y, d.y, (double)im->height - rim, &j0, &j1);
    size_t first = j1 >= j0 ? (size_t)ceil(j0) : n, end = j1 >= j0 ? (size_t)floor(j1) + 1 : n;
    for (size_t j = 0; j < n; j++)
        if (j < first || j >= end)
            out[j] = (float)find_image_at(im, geo_add(from, geo_mul(step, (double)j)));
    for (size_t j = first; j < end; j++)
        out[j] = inner_at(im, (float)(a.x + (double)j * d.x), (float)(a.y + (double)j * d.y));
    for (size_t j = first; j < end && im->inverted; j++)
        out[j] = 1.0F - out[j];
}

int find_strip_make(const struct find_image *im, const struct geo_line *line, double s0, double s1,
                    double ds, double half, double dt, struct find_strip *out, struct err *err)
{
    memset(out, 0, sizeof *out);
    size_t rows = (size_t)fmax(1.0, floor((s1 - s0) / ds) + 1.0);
    size_t cols = 2 * (size_t)ceil(half / dt) + 1;
    float *v = plumb_mem_array((rows + 1) * cols, sizeof *v, err);
    if (!v)
        return ERR_NOMEM;
    size_t middle = cols / 2;
    *out = (struct find_strip){*line, rows, cols, s0, ds, -dt * (double)middle, dt, v};
    struct geo_point across = geo_mul(geo_perp(line->dir), dt);
    for (size_t i = 0; i < rows; i++)
        strip_row(im, find_strip_point(out, s0 + ds * (double)i, out->t0), across, cols,
                  v + i * cols);
    return 0;
}

void find_strip_release(struct find_strip *st)
{
    if (!st)
        return;
    free(st->v);
    memset(st, 0, sizeof *st);
}

size_t find_strip_sum(const struct find_strip *st, size_t row, double t0, double t1, double *sum)
{
    const float *v = find_strip_row(st, row);
    size_t n = 0, steps = t1 >= t0 ? (size_t)((t1 - t0) / st->dt) + 1 : 0;
    for (size_t k = 0; k < steps; k++) {
        double j = (t0 - st->t0) / st->dt + (double)k;
        if (j < 0.0 || j > (double)(st->cols - 1))
            continue;
        *sum += (double)v[(size_t)(j + 0.5)];
        n++;
    }
    return n;
}

struct geo_point find_strip_point(const struct find_strip *st, double s, double t)
{
    return geo_add(plumb_geo_on(&st->line, s), geo_mul(geo_perp(st->line.dir), t));
}

/* Narrows [*lo,*hi] to the s with 0 <= p + s d <= max. */
static bool clip(double p, double d, double max, double *lo, double *hi)
{
    if (fabs(d) < 1e-12)
        return p >= 0.0 && p <= max;
    double a = (0.0 - p) / d, b = (max - p) / d;
    *lo = fmax(*lo, fmin(a, b));
    *hi = fmin(*hi, fmax(a, b));
    return *lo < *hi;
}

bool find_line_inside(const struct find_image *im, const struct geo_line *line, double *s0,
                      double *s1)
{
    *s0 = -HUGE_VAL;
    *s1 = HUGE_VAL;
    return clip(line->at.x, line->dir.x, im->scale * (double)im->width - 1.0, s0, s1) &&
           clip(line->at.y, line->dir.y, im->scale * (double)im->height - 1.0, s0, s1);
}
