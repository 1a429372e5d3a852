/*
 * Polylines: nearest point, distance to a segment, crossing with a line, length. Each is exact per
 * segment (no sampling), so the results differ from the truth by rounding only.
 */
#include "plumbrule/geometry.h"

static struct geo_point nearest_on_segment(struct geo_point a, struct geo_point b,
                                           struct geo_point p)
{
    struct geo_point ab = geo_sub(b, a);
    double len2 = geo_dot(ab, ab), along = geo_dot(geo_sub(p, a), ab);
    if (!(along > 0.0 && len2 > 0.0))
        return a;
    return along >= len2 ? b : geo_mix(a, b, along / len2);
}

double plumb_geo_polyline_nearest(const struct geo_point *pts, size_t n, struct geo_point p,
                                  struct geo_point *nearest, size_t *seg)
{
    if (n == 0)
        return (double)NAN;
    struct geo_point best = pts[0];
    size_t best_seg = 0;
    double best_dist = geo_dist(p, best);
    for (size_t i = 0; i + 1 < n; i++) {
        struct geo_point q = nearest_on_segment(pts[i], pts[i + 1], p);
        double d = geo_dist(p, q);
        if (d < best_dist) {
            best = q;
            best_seg = i;
            best_dist = d;
        }
    }
    if (nearest != NULL)
        *nearest = best;
    if (seg != NULL)
        *seg = best_seg;
    return best_dist;
}

/* The closest pair of two segments so far: p on the caller's segment, q on the polyline. */
struct pair {
    struct geo_point p, q;
    double dist2; /* squared: a simulation asks for millions */
};

static void take_nearer(struct pair *best, struct geo_point p, struct geo_point q)
{
    struct geo_point d = geo_sub(p, q);
    double dist2 = geo_dot(d, d);
    if (!(dist2 >= best->dist2))
        *best = (struct pair){p, q, dist2};
}

static bool segments_cross(struct geo_point a, struct geo_point b, struct geo_point c,
                           struct geo_point d, struct geo_point *at)
{
    struct geo_point ab = geo_sub(b, a), cd = geo_sub(d, c), ac = geo_sub(c, a);
    double det = geo_cross(ab, cd);
    double s = geo_cross(ac, cd), t = geo_cross(ac, ab); /* times det */
    if (det < 0.0) {
        det = -det;
        s = -s;
        t = -t;
    }
    if (!(det > 0.0 && s >= 0.0 && s <= det && t >= 0.0 && t <= det))
        return false; /* or parallel: the ends are the nearest points */
    *at = geo_mix(a, b, s / det);
    return true;
}

/* c has been compared with the segment a-b before. */
static void segment_to_segment(struct pair *best, struct geo_point a, struct geo_point b,
                               struct geo_point c, struct geo_point d)
{
    struct geo_point at;
    if (segments_cross(a, b, c, d, &at)) {
        take_nearer(best, at, at);
        return;
    }
    take_nearer(best, a, nearest_on_segment(c, d, a));
    take_nearer(best, b, nearest_on_segment(c, d, b));
    take_nearer(best, nearest_on_segment(a, b, d), d);
}

double plumb_geo_polyline_segment(const struct geo_point *pts, size_t n, struct geo_point a,
                                  struct geo_point b, struct geo_point *on_seg,
                                  struct geo_point *on_line)
{
    if (n == 0)
        return (double)NAN;
    struct pair best = {.dist2 = HUGE_VAL};
    take_nearer(&best, nearest_on_segment(a, b, pts[0]), pts[0]);
    for (size_t i = 0; i + 1 < n; i++)
        segment_to_segment(&best, a, b, pts[i], pts[i + 1]);
    if (on_seg != NULL)
        *on_seg = best.p;
    if (on_line != NULL)
        *on_line = best.q;
    return geo_dist(best.p, best.q);
}

/* The crossing nearest to `prefer` along the line. */
struct crossing {
    bool found;
    double miss;
    struct geo_point at;
};

static void take_crossing(struct crossing *best, const struct geo_line *l, double prefer,
                          struct geo_point at)
{
    double miss = fabs(plumb_geo_along(l, at) - prefer);
    if (!best->found || miss < best->miss)
        *best = (struct crossing){true, miss, at};
}

static void cross_segment(struct crossing *best, const struct geo_line *l, double prefer,
                          struct geo_point a, struct geo_point b)
{
    double sa = plumb_geo_across(l, a), sb = plumb_geo_across(l, b);
    if ((sa > 0.0 && sb > 0.0) || (sa < 0.0 && sb < 0.0) || isnan(sa) || isnan(sb))
        return;
    if (sa == sb) /* it lies in the line: every point of it is a crossing */
        take_crossing(best, l, prefer, nearest_on_segment(a, b, plumb_geo_on(l, prefer)));
    else
        take_crossing(best, l, prefer, geo_mix(a, b, sa / (sa - sb)));
}

/* How the polyline would go on beyond its first point (step = 1) or its last one (step = -1). */
static struct geo_point beyond(const struct geo_point *end, size_t n, int step, double extend)
{
    for (size_t i = 1; i < n; i++) {
        struct geo_point out = geo_unit(geo_sub(*end, end[step * (ptrdiff_t)i]));
        if (out.x != 0.0 || out.y != 0.0)
            return geo_add(*end, geo_mul(out, extend));
    }
    return *end;
}

bool plumb_geo_polyline_cross(const struct geo_point *pts, size_t n, const struct geo_line *l,
                              double prefer, double extend, struct geo_point *at)
{
    struct crossing best = {0};
    if (n == 0)
        return false;
    for (size_t i = 0; i + 1 < n; i++)
        cross_segment(&best, l, prefer, pts[i], pts[i + 1]);
    if (n == 1)
        cross_segment(&best, l, prefer, pts[0], pts[0]);
    if (n > 1 && extend > 0.0) {
        cross_segment(&best, l, prefer, pts[0], beyond(pts, n, 1, extend));
        cross_segment(&best, l, prefer, pts[n - 1], beyond(pts + n - 1, n, -1, extend));
    }
    if (best.found)
        *at = best.at;
    return best.found;
}

double plumb_geo_polyline_length(const struct geo_point *pts, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i + 1 < n; i++)
        sum += geo_dist(pts[i], pts[i + 1]);
    return sum;
}
