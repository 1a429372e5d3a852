/*
 * The mid-line: the robust line through the middles between the two sides at equal levels of the
 * root's length.
 */
#include <math.h>
#include "find/root_internal.h"

enum { LEVELS = 25 };

static void side_points(const struct find_root *r, int side, struct geo_point *p)
{
    for (size_t i = 0; i < r->n[side]; i++)
        p[i] = r->side[side][i].at;
}

int root_midline(const struct root_grid *g, struct find_root *r, struct err *err)
{
    struct geo_point pts[2][ROOT_POINTS + 2], middle[LEVELS];
    size_t n = 0;
    for (int k = 0; k < 2; k++)
        side_points(r, k, pts[k]);
    for (int i = 0; i < LEVELS; i++) {
        double s = g->length * (i + 0.5) / LEVELS;
        struct geo_line across = {plumb_geo_on(&g->line, s), geo_perp(g->line.dir), 0.0, 0.0};
        struct geo_point a, b;
        if (plumb_geo_polyline_cross(pts[0], r->n[0], &across, 0.0, g->ds, &a) &&
            plumb_geo_polyline_cross(pts[1], r->n[1], &across, 0.0, g->ds, &b))
            middle[n++] = geo_mix(a, b, 0.5);
    }
    struct geo_fit fit;
    int rc = plumb_geo_fit_robust(middle, NULL, n, 0.0, &fit, err);
    if (rc != 0)
        return rc;
    r->midline = fit.line;
    double h = r->midline.u_angle > 0.0 ? r->midline.u_offset / r->midline.u_angle : fit.half_span;
    h = fmin(fmax(h, 0.1 * fit.half_span), fit.half_span);
    r->ends[0] = plumb_geo_on(&r->midline, -h);
    r->ends[1] = plumb_geo_on(&r->midline, h);
    r->u_ends = sqrt(2.0) * r->midline.u_offset;
    return 0;
}
