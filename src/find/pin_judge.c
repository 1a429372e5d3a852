/*
 * Judgement: how far the measured body looks like a pin.
 */
#include <math.h>
#include <string.h>
#include "find/pin_internal.h"

struct evidence {
    double lo, hi, weight; /* value clipped to lo..hi, so that no single one decides alone */
};

/* value, clipped to lo..hi so that no single one decides alone; weight in log odds */
static const struct evidence judge[] = {
    {-1.5, 2, -0.45},   /* flanks' deviation; flutes deviate too, see lands */
    {-2, 1.7, -1.21},   /* a root converges, a cylinder does not */
    {-0.1, 0.5, 3.08},  /* darker on both sides */
    {0, 1, 9.55},       /* the apical end is free */
    {0.5, 1, 1.68},     /* both flanks all along */
    {0, 2, 1.05},       /* a crown is squat */
    {0, 0.6, -8.34},    /* roots and bone change along their length */
    {0, 0.6, -2.93},    /* a root canal is a hollow */
    {-2.5, 1.5, 0.74},  /* metal is among the brightest */
    {-0.2, 0.88, 6.24}, /* the crown end points to air, a loose bar lies across */
    {-1, 0.3, 0.31},    /* bone at the tip, air at the crown */
    {0, 1.5, -6.07},    /* 1.5 to 4.2 mm on a film of 20 to 30 */
    {-1, 1, -0.32},     /* steep edges */
    {0, 0.15, -7.11},   /* the end is flat, round or a cone */
    {0, 1, -3.19},      /* most go on into collar, shank, handle */
    {0.1, 0.7, 4.38},   /* a drill's lands lie on one line */
    {0.3, 2.5, 0.23},   /* dips along the flanks */
    {0, 0.4, 9.63},     /* the tip is in tissue */
    {0, 1, 2.88},       /* as dark on one side as on the other */
};
static const double judge_const = -24.29;
static const double air_clear = 0.05; /* half diagonals: less says nothing of where the air lies */

static double mean_band(const struct pin_body *b, size_t row, double t0, double t1)
{
    const struct find_strip *st = &b->strip;
    double mid = pin_body_mid(b, pin_body_s(b, row)), sum = 0.0;
    size_t n = find_strip_sum(st, row, mid + t0, mid + t1, &sum);
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

/* Dips along one flank, a width's length: land to dip and back, with hysteresis. */
static double teeth_of(const struct pin_body *b, int k)
{
    const struct pin_flank *f = &b->flank[k];
    double out = k == 0 ? 1.0 : -1.0, deep = fmax(f->dips, 2.0 * b->strip.dt);
    size_t n = 0;
    bool in_dip = false;
    for (size_t i = b->i0; i <= b->i1; i++) {
        double d = out * (b->rows.t[k][i] - f->a - f->b * pin_body_s(b, i));
        if (!in_dip && d < -0.6 * deep) {
            in_dip = true;
            n++;
        } else if (d > -0.3 * deep) {
            in_dip = false;
        }
    }
    return (double)n * b->width / (b->strip.ds * (double)(b->i1 - b->i0 + 1));
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
    f->taper = fabs(b->flank[0].rough_b - b->flank[1].rough_b);
    f->seen = b->seen;
    f->aspect = b->strip.ds * (double)(b->i1 - b->i0) / b->width;
    f->sharp = b->slope * b->width / contrast;
    f->dips = fmax(b->flank[0].dips, b->flank[1].dips) / b->width;
    f->tip_rms = e->tip_rms / b->width;
    f->bright = find_scene_rank(scene, b->inside);
    f->upright = -geo_dot(scene->air, b->axis.dir) / fmax(air_clear, geo_norm(scene->air));
    f->slim = b->width / (side * b->im->scale);
    f->crown = e->kind[0];
    size_t i0 = e->kind[0] == PIN_END_FREE || b->i0 < 4 * part ? b->i0 : b->i0 - 4 * part;
    f->stands = (beside(b, b->i1 > part ? b->i1 - part : 0, b->i1 + 2 < last ? b->i1 + 2 : last) -
                 beside(b, i0, i0 + part < last ? i0 + part : last)) /
                contrast;
    f->lands = fmin(b->flank[0].lands, b->flank[1].lands);
    f->teeth = 0.5 * (teeth_of(b, 0) + teeth_of(b, 1));
    size_t tip = b->i1 > part / 2 ? b->i1 - part / 2 : 0;
    f->tip_in = find_scene_rank(scene, beside(b, tip, b->i1));
    interior(b, contrast, f);
}

static double clip(double v, double lo, double hi)
{
    return v < lo ? lo : v > hi ? hi : v;
}

double pin_confidence(const struct pin_features *f)
{
    double sum = judge_const;
    const double v[] = {
        log((f->straight + 0.001) / 0.01),
        log((f->taper + 0.004) / 0.03),
        f->weaker,
        f->drop,
        f->seen,
        log(fmax(f->aspect, 0.1)),
        f->uneven,
        -f->hump,
        (f->bright - 0.8) / 0.1,
        f->upright,
        f->stands,
        fabs(log(f->slim / 0.095)),
        log(fmax(f->sharp, 0.1) / 8.0),
        f->tip_rms,
        f->crown == PIN_END_FREE ? 1.0 : 0.0,
        f->lands,
        f->teeth,
        f->tip_in,
        f->weaker / fmax(f->contrast, 1e-3),
    };
    for (size_t i = 0; i < sizeof v / sizeof *v; i++)
        sum += judge[i].weight * clip(v[i], judge[i].lo, judge[i].hi);
    return 1.0 / (1.0 + exp(-sum));
}
