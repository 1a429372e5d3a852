/*
 * Judgement: how far the measured body looks like a pin.
 */
#include <math.h>
#include <string.h>
#include "find/pin_internal.h"

static double mean_band(const struct pin_body *b, size_t row, double t0, double t1)
{
    const struct find_strip *st = &b->strip;
    double mid = pin_body_mid(b, pin_body_s(b, row)), sum = 0.0;
    size_t n = 0;
    for (double t = mid + t0; t <= mid + t1; t += st->dt) {
        double j = (t - st->t0) / st->dt;
        if (j >= 0.0 && j <= (double)(st->cols - 1)) {
            sum += (double)find_strip_row(st, row)[(size_t)(j + 0.5)];
            n++;
        }
    }
    return n > 0 ? sum / (double)n : 0.0;
}

/* Standard deviation of the core along the run, and how the core stands over its shoulders. */
static void interior(const struct pin_body *b, double contrast, struct pin_features *f)
{
    double sum = 0.0, sq = 0.0, hump = 0.0, r = 0.5 * b->width;
    size_t step = (b->i1 - b->i0) / 64 + 1, n = 0;
    for (size_t i = b->i0; i <= b->i1; i += step, n++) {
        double core = mean_band(b, i, -0.25 * r, 0.25 * r);
        double left = mean_band(b, i, -0.7 * r, -0.5 * r),
               right = mean_band(b, i, 0.5 * r, 0.7 * r);
        sum += core;
        sq += core * core;
        hump += core - 0.5 * (left + right);
    }
    double mean = sum / (double)n;
    f->uneven = sqrt(fmax(0.0, sq / (double)n - mean * mean)) / contrast;
    f->hump = hump / (double)n / contrast;
}

/* Mean level beside both flanks over the rows i0..i1. */
static double beside(const struct pin_body *b, size_t i0, size_t i1)
{
    double r = 0.5 * b->width, sum = 0.0;
    size_t n = 0;
    for (size_t i = i0; i <= i1; i += 4, n++)
        sum += 0.5 * (mean_band(b, i, 1.15 * r, 1.4 * r) + mean_band(b, i, -1.4 * r, -1.15 * r));
    return n > 0 ? sum / (double)n : 0.0;
}

void pin_features_of(const struct pin_body *b, const struct pin_ends *e,
                     const struct find_scene *scene, struct pin_features *f)
{
    double c0 = b->inside - b->outside[0], c1 = b->inside - b->outside[1];
    double contrast = fmax(1e-6, 0.5 * (c0 + c1));
    double side = (double)(b->im->width < b->im->height ? b->im->width : b->im->height);
    size_t part = (size_t)(b->width / b->strip.ds), last = b->strip.rows - 1;
    memset(f, 0, sizeof *f);
    f->contrast = contrast / scene->range;
    f->weaker = fmin(c0, c1) / scene->range;
    f->drop = e->drop[1];
    f->straight = fmax(b->flank[0].scale, b->flank[1].scale) / b->width;
    f->taper = fabs(b->flank[0].b - b->flank[1].b);
    f->seen = b->seen;
    f->aspect = b->strip.ds * (double)(b->i1 - b->i0) / b->width;
    f->sharp = b->slope * b->width / contrast;
    f->dips = fmax(b->flank[0].dips, b->flank[1].dips) / b->width;
    f->tip_rms = e->tip_rms / b->width;
    f->bright = find_scene_rank(scene, b->inside);
    f->upright = -geo_dot(scene->air, b->axis.dir) / fmax(0.02, geo_norm(scene->air));
    f->slim = b->width / (side * b->im->scale);
    f->crown = e->kind[0];
    size_t i0 = e->kind[0] == PIN_END_FREE || b->i0 < 4 * part ? b->i0 : b->i0 - 4 * part;
    f->stands = (beside(b, b->i1 > part ? b->i1 - part : 0, b->i1 + 2 < last ? b->i1 + 2 : last) -
                 beside(b, i0, i0 + part < last ? i0 + part : last)) /
                contrast;
    interior(b, contrast, f);
}

double pin_confidence(const struct pin_features *f)
{
    if (f->weaker < 0.05 || f->straight > 0.02 || f->seen < 0.7)
        return 0.0;
    return 0.9;
}
