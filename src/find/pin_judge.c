/*
 * Judgement: how far the measured body looks like a pin.
 *
 * A logistic score (log odds, a sum of evidence). Weights were fitted to drawn films, hybrids and
 * real films without a pin, with the sign held to what each evidence means, and candidates that are
 * no pin counted twice (four ways of drawing films; a fit without one of them finds as much in it,
 * to 3 %); four were set, since those films say little of them. On other films what is listed with
 * a confidence c is a pin in about the share c or more (tests/bench/bench_pin.c, last table).
 */
#include <math.h>
#include <string.h>
#include "find/pin_internal.h"

struct evidence {
    double lo, hi, weight; /* value clipped to lo..hi, so that no single one decides alone */
};

/* value, clipped to lo..hi so that no single one decides alone; weight in log odds. Each weight has
 * the sign its reason asks for. */
static const struct evidence judge[] = {
    {-1.5, 2, -2.16},   /* a root's or crown's sides are not straight */
    {-2, 1.7, -1.70},   /* a root converges, a cylinder does not */
    {-0.1, 0.5, 6.65},  /* darker on both sides */
    {0, 1, 3.31},       /* and on one side as on the other */
    {0.2, 0.9, 6.05},   /* on their lines, of lands if it is a drill */
    {0, 0.3, -34.69},   /* and nowhere outside of them */
    {1.3, 3, -1.20},    /* a thread, an implant: a drill has fewer flutes (set, not fitted) */
    {0, 1, 8.16},       /* the apical end is free */
    {0, 1, -1.54},      /* the other end goes on into collar, shank, film's edge */
    {0, 0.5, -60.00},   /* the crown end points to the air: a loose bar lies across (set) */
    {0, 2, 3.94},       /* a crown is squat */
    {0.5, 1.5, -24.99}, /* 1.5 to 4.2 mm on a film of 20 to 30 */
    {0, 0.6, -14.52},   /* roots and bone change along their length */
    {-2.5, 1.5, 0.68},  /* metal is among the brightest */
    {0.1, 0.25, -90.0}, /* beyond a post's end its root's filling goes on (set) */
    {0, 1, -1.61},      /* few films are inverted; the gap between two crowns is a dark bar */
    {0.3, 0.5,
     60.0}, /* and fills the flanks: a root round its filling does not, no cylinder less (set) */
};
static const double judge_const = -28.11;
static const double fluted_straight = -0.5; /* first evidence of a drill, told by its lands */
static const double tooth_depth = 0.04;     /* widths: shallower dips are noise */
static const double near_line = 0.02, near_line_px = 1.2; /* widths: on the line of the flank */
static const double far_line = 0.12;  /* widths: farther out is a collar or a neighbour */
static const double air_corner = 0.5; /* of the greater component: it may be either side */
static const double air_clear = 0.3;  /* standard deviations: less says nothing of where it lies */
/* What is left of a root's filling, widths of the post: so far beyond its end, its half width, how
 * far off the axis it may lie, and where the dentine beside it is. */
static const double filling_along[2] = {0.4, 1.5}, filling_half = 0.15, filling_off = 0.2;
static const double filling_beside[2] = {0.35, 0.5};

static double mean_band(const struct pin_body *b, size_t row, double t0, double t1)
{
    const struct find_strip *st = &b->strip;
    double mid = pin_body_mid(b, pin_body_s(b, row)), sum = 0.0;
    size_t n = find_strip_sum(st, row, mid + t0, mid + t1, &sum);
    return n > 0 ? sum / (double)n : 0.0;
}

/* Standard deviation of the core along the run. */
static double deviation(const struct pin_body *b)
{
    double sum = 0.0, sq = 0.0, r = 0.5 * b->width;
    size_t step = (b->i1 - b->i0) / 64 + 1, n = 0;
    for (size_t i = b->i0; i <= b->i1; i += step, n++) {
        double core = mean_band(b, i, -0.25 * r, 0.25 * r);
        sum += core;
        sq += core * core;
    }
    double mean = sum / (double)n;
    return sqrt(fmax(0.0, sq / (double)n - mean * mean));
}

/* How far the edge of a row lies outside the line of its flank, px. */
static double outside_line(const struct pin_body *b, int k, size_t row)
{
    double d = b->rows.t[k][row] - b->flank[k].a - b->flank[k].b * pin_body_s(b, row);
    return k == 0 ? d : -d;
}

/* Dips along one flank, a width's length: land to dip and back, with hysteresis. */
static double teeth_of(const struct pin_body *b, int k)
{
    double deep = fmax(b->flank[k].dips, tooth_depth * b->width);
    size_t n = 0;
    bool in_dip = false;
    for (size_t i = b->i0; i <= b->i1; i++) {
        double d = outside_line(b, k, i);
        if (!in_dip && d < -0.6 * deep) {
            in_dip = true;
            n++;
        } else if (d > -0.3 * deep) {
            in_dip = false;
        }
    }
    return (double)n * b->width / (b->strip.ds * (double)(b->i1 - b->i0 + 1));
}

/* Films are exported along their sides, and the air lies towards the side that the crowns point to;
 * towards two of them when it lies in a corner. */
static double upright(struct geo_point air, struct geo_point dir)
{
    double x = -copysign(1.0, air.x) * dir.x, y = -copysign(1.0, air.y) * dir.y;
    double best = fabs(air.x) > fabs(air.y) ? x : y;
    if (fmin(fabs(air.x), fabs(air.y)) > air_corner * fmax(fabs(air.x), fabs(air.y)))
        best = fmax(x, y);
    return best * fmin(1.0, geo_norm(air) / air_clear);
}

/* How far the rows' edges keep to the lines of the flanks. */
static void judge_flanks(const struct pin_body *b, struct pin_features *f)
{
    double near = fmax(near_line_px * b->im->scale, near_line * b->width);
    double rows = (double)(b->i1 - b->i0 + 1);
    f->lands = 1.0;
    for (int k = 0; k < 2; k++) {
        size_t on = 0, over = 0;
        for (size_t i = b->i0; i <= b->i1; i++) {
            double d = outside_line(b, k, i);
            bool ok = b->rows.ok[k][i] && fabs(d) < near;
            on += ok;
            over += b->rows.ok[k][i] && d >= near && d < far_line * b->width;
        }
        f->lands = fmin(f->lands, (double)on / rows);
        f->over = fmax(f->over, (double)over / rows);
    }
}

/* Height of the core at three quarters of the radius against that in the middle: a cylinder's chord
 * is two thirds there. */
static double fill_of(const struct pin_body *b)
{
    double r = 0.5 * b->width, rim = 0.0, core = 0.0;
    double out = 0.5 * (b->outside[0] + b->outside[1]);
    for (size_t i = b->i0; i <= b->i1; i += 4) {
        rim +=
            0.5 * (mean_band(b, i, 0.7 * r, 0.8 * r) + mean_band(b, i, -0.8 * r, -0.7 * r)) - out;
        core += mean_band(b, i, -0.25 * r, 0.25 * r) - out;
    }
    return core > 0.0 ? rim / core : 0.0;
}

/* How much brighter than beside it a filling's place is that lies t off the axis. */
static double filling_at(const struct pin_body *b, double tip, double t)
{
    double w = b->width, half = filling_half * w, near = filling_beside[0] * w,
           far = filling_beside[1] * w;
    size_t i0 = pin_body_row(b, tip + filling_along[0] * w),
           i1 = pin_body_row(b, tip + filling_along[1] * w);
    double left = pin_body_level(b, i0, i1, t - far, t - near);
    double right = pin_body_level(b, i0, i1, t + near, t + far);
    return pin_body_level(b, i0, i1, t - half, t + half) - fmax(left, right);
}

/* The same where it is most so: a root bends. */
static double filling_of(const struct pin_body *b, double tip)
{
    double off = filling_off * b->width;
    return fmax(filling_at(b, tip, 0.0), fmax(filling_at(b, tip, -off), filling_at(b, tip, off)));
}

void pin_features_of(const struct pin_body *b, const struct pin_ends *e,
                     const struct find_scene *scene, struct pin_features *f)
{
    double c0 = b->inside - b->outside[0], c1 = b->inside - b->outside[1];
    double contrast = fmax(1e-6, 0.5 * (c0 + c1));
    double side = (double)(b->im->width < b->im->height ? b->im->width : b->im->height);
    memset(f, 0, sizeof *f);
    f->contrast = contrast / scene->range;
    f->weaker = fmin(c0, c1) / scene->range;
    f->drop = e->drop[1];
    f->straight = fmax(b->flank[0].scale, b->flank[1].scale) / b->width;
    f->taper = fabs(b->flank[0].own_b - b->flank[1].own_b);
    f->aspect = b->strip.ds * (double)(b->i1 - b->i0) / b->width;
    f->bright = find_scene_rank(scene, b->inside);
    f->upright = upright(scene->air, b->axis.dir);
    f->slim = b->width / (side * b->im->scale);
    f->crown = e->kind[0];
    f->inverted = b->im->inverted;
    f->fluted = fmin(b->flank[0].lands, b->flank[1].lands) < 1.0;
    judge_flanks(b, f);
    f->teeth = 0.5 * (teeth_of(b, 0) + teeth_of(b, 1));
    f->uneven = deviation(b) / contrast;
    f->fill = fill_of(b);
    f->filling = filling_of(b, e->at[1]) / contrast;
}

void pin_features_blend(struct pin_features *f, const struct pin_features *reduced)
{
    f->lands = 0.5 * (f->lands + reduced->lands);
    f->over = 0.5 * (f->over + reduced->over);
    f->teeth = 0.5 * (f->teeth + reduced->teeth);
}

static double clip(double v, double lo, double hi)
{
    return v < lo ? lo : v > hi ? hi : v;
}

double pin_confidence(const struct pin_features *f)
{
    double sum = judge_const;
    const double v[] = {
        f->fluted ? fluted_straight : log((f->straight + 0.001) / 0.01),
        log((f->taper + 0.004) / 0.03),
        f->weaker,
        f->weaker / fmax(f->contrast, 1e-3),
        f->lands,
        f->over,
        f->teeth,
        f->drop,
        f->crown == PIN_END_FREE ? 1.0 : 0.0,
        0.85 - f->upright,
        log(fmax(f->aspect, 0.1)),
        fabs(log(f->slim / 0.095)),
        f->uneven,
        (f->bright - 0.8) / 0.1,
        f->filling,
        f->inverted ? 1.0 : 0.0,
        f->fill,
    };
    for (size_t i = 0; i < sizeof v / sizeof *v; i++)
        sum += judge[i].weight * clip(v[i], judge[i].lo, judge[i].hi);
    return 1.0 / (1.0 + exp(-sum));
}
