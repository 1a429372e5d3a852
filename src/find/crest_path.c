/*
 * The crest as the cheapest way from lane to lane: Viterbi's dynamic programming (IEEE Trans. Inf.
 * Theory 13 (1967) 260), as for the sides of roots (root_trace.c). It may bend, slope and turn down
 * beside a root.
 *
 * What makes a crest: gum goes on coronal of it and bone apical of it, while marrow and trabeculae
 * take turns. The step is therefore the darkest level of a stretch apical of the place less the
 * brightest one coronal of it.
 */
#include <math.h>
#include <string.h>
#include "find/crest_internal.h"

struct path_params {
    double lane_mm;         /* narrow against the bends of a crest */
    double line_mm;         /* thinner ones are scratches */
    double smooth_mm;       /* of a lane, before steps are taken */
    double near_mm, far_mm; /* a step parts what lies so far either way of it */
    double band_slope;      /* away from the rough point the crest may rise and fall so */
    double most_slope;      /* of the way: 60 degrees */
    double bend_cost;       /* per squared slope and lane, in typical steps */
    double out_of_band;     /* what such a place costs, in typical steps */
    double typical;         /* quantile of the lanes' largest steps: some are over roots */
    double least_step;      /* level: the typical one of a film with nothing on it */
    double edge_sd_mm;      /* of the derivative: about the blur of a sensor */
};

/* (phantoms), but for what a comment gives */
static const struct path_params path_defaults = {
    .lane_mm = 0.12,
    .line_mm = 0.18,
    .smooth_mm = 0.15,
    .near_mm = 0.1,
    .far_mm = 0.6,
    .band_slope = 1.0,
    .most_slope = 1.75,
    .bend_cost = 0.15,
    .out_of_band = 10.0,
    .typical = 0.85,
    .least_step = 0.0002,
    .edge_sd_mm = 0.06,
};

double crest_lane_at(const struct crest_view *v, size_t lane)
{
    const size_t middle = CREST_LANES / 2;
    return ((double)lane - (double)middle) * v->lane;
}

void crest_profile(const struct find_image *im, struct geo_point origin, struct geo_point walk,
                   struct geo_point mean, double from, double to, size_t half, float *out)
{
    int n = (int)fmax(1.0, floor(to - from) + 1.0);
    for (size_t j = 0; j <= 2 * half; j++) {
        struct geo_point p = geo_add(origin, geo_mul(walk, (double)j - (double)half));
        double sum = 0.0;
        for (int k = 0; k < n; k++)
            sum += find_image_at(im, geo_add(p, geo_mul(mean, from + k)));
        out[j] = (float)(sum / n);
    }
}

/* Each sample becomes the largest (sign +1) or the smallest (-1) within +-half of it. */
static void extremes(float *v, size_t n, size_t half, float sign)
{
    float from[CREST_ROWS];
    memcpy(from, v, n * sizeof *v);
    for (size_t i = 0; i < n; i++)
        for (size_t j = i > half ? i - half : 0; j < n && j <= i + half; j++)
            v[i] = sign * from[j] > sign * v[i] ? from[j] : v[i];
}

/* Opening and closing: scratches and other thin lines go, edges of what is wider stay where they
 * are. */
static void drop_lines(const struct crest_view *v, float *p, size_t n)
{
    size_t half = (size_t)ceil(0.5 * path_defaults.line_mm * v->mm);
    extremes(p, n, half, -1.0F);
    extremes(p, n, half, 1.0F);
    extremes(p, n, half, 1.0F);
    extremes(p, n, half, -1.0F);
}

static void smooth(float *v, size_t n, size_t half)
{
    float from[CREST_ROWS];
    memcpy(from, v, n * sizeof *v);
    for (size_t i = half; i + half < n; i++) {
        float sum = 0.0F;
        for (size_t j = i - half; j <= i + half; j++)
            sum += from[j];
        v[i] = sum / (float)(2 * half + 1);
    }
}

static void lane_plain(const struct crest_view *v, const float *level, float *out)
{
    size_t n = 2 * v->half + 1;
    memcpy(out, level, n * sizeof *out);
    drop_lines(v, out, n);
    smooth(out, n, (size_t)lround(0.5 * path_defaults.smooth_mm * v->mm));
}

static void lane_steps(const struct crest_view *v, const float *from, float *step)
{
    const struct path_params *p = &path_defaults;
    size_t n = 2 * v->half + 1, near = (size_t)lround(p->near_mm * v->mm),
           far = (size_t)lround(p->far_mm * v->mm);
    for (size_t i = far; i + far < n; i++) {
        float before = from[i - near], behind = from[i + near];
        for (size_t k = near; k <= far; k++) {
            before = fmaxf(before, from[i - k]);
            behind = fminf(behind, from[i + k]);
        }
        step[i] = fmaxf(0.0F, behind - before);
    }
}

/* How far along the crest is looked for in a lane. */
static double band(const struct crest_view *v, size_t lane)
{
    return v->click + path_defaults.band_slope * fabs(crest_lane_at(v, lane));
}

static bool in_band(const struct crest_view *v, size_t lane, size_t row)
{
    return fabs((double)row - (double)v->half) <= band(v, lane);
}

bool crest_look(struct crest_view *v)
{
    const struct path_params *p = &path_defaults;
    float largest[CREST_LANES] = {0};
    v->lane = p->lane_mm * v->mm;
    v->kernel = find_kernel_make(p->edge_sd_mm * v->mm);
    v->half = (size_t)fmin(CREST_HALF, band(v, 0) + (p->far_mm + p->smooth_mm) * v->mm + 1.0);
    memset(v->step, 0, sizeof v->step);
    for (size_t i = 0; i < CREST_LANES; i++) {
        double from = crest_lane_at(v, i) - 0.5 * v->lane;
        crest_profile(v->im, v->origin, v->along, v->across, from, from + v->lane, v->half,
                      v->level[i]);
        lane_plain(v, v->level[i], v->plain[i]);
        lane_steps(v, v->plain[i], v->step[i]);
        for (size_t j = 0; j <= 2 * v->half; j++)
            largest[i] = in_band(v, i, j) ? fmaxf(largest[i], v->step[i][j]) : largest[i];
    }
    v->typical = find_quantile_f(largest, CREST_LANES, p->typical);
    return v->typical > p->least_step;
}

/* The best way to row j of a lane from the one before; returns its cost. */
static float best_before(const struct crest_view *v, const float *cost, int j, signed char *from)
{
    const struct path_params *p = &path_defaults;
    int n = (int)(2 * v->half + 1), reach = (int)ceil(p->most_slope * v->lane);
    float best = HUGE_VALF;
    for (int k = j > reach ? -reach : -j; k <= reach && j + k < n; k++) {
        double slope = k / v->lane;
        float c = cost[j + k] + (float)(p->bend_cost * slope * slope);
        if (c < best) {
            best = c;
            *from = (signed char)k;
        }
    }
    return best;
}

static int last_row(const struct crest_view *v, const float *cost)
{
    int best = 0;
    for (int j = 1; j <= (int)(2 * v->half); j++)
        best = cost[j] < cost[best] ? j : best;
    return best;
}

void crest_follow(const struct crest_view *v, struct crest_path *out)
{
    const struct path_params *p = &path_defaults;
    float cost[CREST_LANES][CREST_ROWS];
    signed char from[CREST_LANES][CREST_ROWS] = {{0}};
    for (size_t i = 0; i < CREST_LANES; i++)
        for (size_t j = 0; j <= 2 * v->half; j++) {
            double own =
                in_band(v, i, j) ? -fmin(1.0, (double)v->step[i][j] / v->typical) : p->out_of_band;
            float before = i > 0 ? best_before(v, cost[i - 1], (int)j, &from[i][j]) : 0.0F;
            cost[i][j] = before + (float)own;
        }
    int j = last_row(v, cost[CREST_LANES - 1]);
    for (size_t i = CREST_LANES; i-- > 0;) {
        out->s[i] = (double)j - (double)v->half;
        out->step[i] = (double)v->step[i][j] / v->typical;
        j += from[i][j];
    }
}
