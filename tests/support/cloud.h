/* Points about a line with known errors, for tests of fits. Header only; the generator is seeded.
 */
#ifndef TESTS_SUPPORT_CLOUD_H
#define TESTS_SUPPORT_CLOUD_H

#include "plumbrule/geometry.h"
#include "plumbrule/metrology.h"

static const double cloud_degree = 3.14159265358979323846 / 180.0;

/* n points, `step` apart along the direction `deg` (from +x, + clockwise on the screen), from
 * `from` on, each with a normal error of sd `noise` across the line. */
static inline void cloud_line(struct geo_point *pts, size_t n, struct geo_point from, double deg,
                              double step, double noise, struct unc_rng *rng)
{
    struct geo_point dir = geo_turn((struct geo_point){1.0, 0.0}, deg * cloud_degree);
    for (size_t i = 0; i < n; i++) {
        struct geo_point on = geo_add(from, geo_mul(dir, step * (double)i));
        double r = noise > 0.0 ? noise * plumb_unc_rng_normal(rng) : 0.0;
        pts[i] = geo_add(on, geo_mul(geo_perp(dir), r));
    }
}

/* Moves every point k of them `away` across the direction, k by a fixed pattern, so that the share
 * `bad` of them is off. One-sided, which is the worst case. */
static inline size_t cloud_spoil(struct geo_point *pts, size_t n, double bad, double deg,
                                 double away)
{
    struct geo_point dir = geo_turn((struct geo_point){1.0, 0.0}, deg * cloud_degree);
    size_t off = 0;
    for (size_t i = 0; i < n; i++) {
        size_t k = (i * 37 + 11) % n; /* scattered, not a block */
        if ((double)k >= bad * (double)n)
            continue;
        pts[i] = geo_add(pts[i], geo_mul(geo_perp(dir), away * (1.0 + (double)(i % 5))));
        off++;
    }
    return off;
}

#endif
