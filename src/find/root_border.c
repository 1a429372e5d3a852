/*
 * Border points between pixels: along the trace the film is averaged over one point's stretch, and
 * the steepest fall outwards near the trace is the border (edge.c).
 *
 * The shadow of a convex root begins as a square root of the way inwards: blurred by a Gaussian it
 * is steepest 0.77 sd inside the border, and the ligament's own shadow makes it a little more. With
 * the blur of a sensor and of the derivative that is 0.075 mm, more or less 0.02; it is added.
 */
#include <math.h>
#include "find/root_internal.h"

struct border_params {
    double window_mm;  /* looked at either way of the trace */
    double search_mm;  /* the steepest place is sought so far from the trace */
    double edge_sd_mm; /* of the derivative: about the blur of a sensor */
    double apart_mm;   /* nearer to the middle the sides run together */
    double inside_mm;  /* the steepest place lies so far inside the border, see above */
};

static const struct border_params border_defaults = {
    .window_mm = 0.8,
    .search_mm = 0.25,
    .edge_sd_mm = 0.05,
    .apart_mm = 0.5,
    .inside_mm = 0.075,
};

enum { PER_POINT = ROOT_ROWS / ROOT_POINTS, REACH_MAX = 100 };

/* Mean of the trace, and its slope px per px, about point k. */
static void local_trace(const struct root_grid *g, const struct root_trace *tr, size_t k, double *t,
                        double *slope)
{
    size_t a = k * PER_POINT > PER_POINT ? (k - 1) * PER_POINT : 0;
    size_t b = (k + 2) * PER_POINT < ROOT_ROWS ? (k + 2) * PER_POINT : ROOT_ROWS;
    double n = (double)(b - a), x0 = 0.5 * (double)(a + b - 1), st = 0.0, sxx = 0.0, sxt = 0.0;
    for (size_t i = a; i < b; i++) {
        double x = (double)i - x0;
        st += tr->t[i];
        sxx += x * x;
        sxt += x * tr->t[i];
    }
    double here = ((double)k + 0.5) * PER_POINT - 0.5;
    *slope = sxt / sxx / g->ds;
    *t = st / n + sxt / sxx * (here - x0);
}

/* Mean profile along the outward normal `out`, over +-half along `along`. */
static void profile(const struct find_image *im, struct geo_point at, struct geo_point out,
                    struct geo_point along, double half, size_t reach, float *v)
{
    int m = (int)floor(half);
    for (size_t j = 0; j <= 2 * reach; j++) {
        struct geo_point p = geo_add(at, geo_mul(out, (double)j - (double)reach));
        double sum = 0.0;
        for (int k = -m; k <= m; k++)
            sum += find_image_at(im, geo_add(p, geo_mul(along, k)));
        v[j] = (float)(sum / (2 * m + 1));
    }
}

static void point(const struct find_image *im, const struct root_grid *g, int side,
                  const struct root_trace *tr, size_t k, struct root_point *out)
{
    const struct border_params *p = &border_defaults;
    float v[2 * REACH_MAX + 1];
    double t, lean, at = 0.0, outward = side == 0 ? 1.0 : -1.0, evidence = 0.0;
    size_t row = k * PER_POINT + PER_POINT / 2;
    local_trace(g, tr, k, &t, &lean);
    struct geo_point across = geo_perp(g->line.dir);
    struct geo_point along = geo_unit(geo_add(g->line.dir, geo_mul(across, lean)));
    struct geo_point outwards = geo_mul(geo_perp(along), outward);
    double s = ((double)k + 0.5) * PER_POINT * g->ds;
    struct geo_point mid = root_grid_point(g, s, t);
    size_t reach = (size_t)fmin(REACH_MAX, ceil(p->window_mm * g->mm));
    size_t search = (size_t)ceil(p->search_mm * g->mm);
    profile(im, mid, outwards, along, 0.5 * PER_POINT * g->ds, reach, v);
    struct find_kernel kernel = find_kernel_make(p->edge_sd_mm * g->mm);
    size_t from = reach > search ? reach - search : 0;
    double slope = find_edge_in_row(v, 2 * reach + 1, from, reach + search + 1, -1, &kernel, &at);
    double off = slope > 0.0 ? at - (double)reach + p->inside_mm * g->mm : 0.0;
    for (size_t i = k * PER_POINT; i < (k + 1) * PER_POINT; i++)
        evidence += tr->evidence[i] / PER_POINT;
    *out = (struct root_point){.s = s,
                               .t = t + outward * off * sqrt(1.0 + lean * lean),
                               .slope = slope,
                               .evidence = evidence,
                               .seen = slope > 0.0 &&
                                       fabs(t - g->guess.middle[row]) > p->apart_mm * g->mm};
}

void root_border(const struct find_image *im, const struct root_grid *g, int side,
                 const struct root_trace *tr, struct root_point out[ROOT_POINTS])
{
    for (size_t k = 0; k < ROOT_POINTS; k++)
        point(im, g, side, tr, k, &out[k]);
    /* At the apex itself both sides are one edge across the root. */
    out[ROOT_POINTS - 1].seen = false;
}
