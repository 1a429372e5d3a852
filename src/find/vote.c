/*
 * Polarity by what stands at a click: a root is denser than what lies on either side of it, bone is
 * denser than what lies coronal of it. A film is taken as it is unless the place says clearly that
 * radiopaque is dark; nothing of the whole film (its histogram, its smooth parts) tells as well,
 * since borders, cone cuts and metal come in every shade.
 */
#include "find/find_internal.h"

#include <math.h>

struct vote_params {
    double core; /* half width of the root's middle, of its length; a root is 0.25 to 0.4 wide */
    double beside[2]; /* where ligament and bone lie, of its length from the middle */
    double rows[2];   /* stretch of the root that votes, of its length from the crown end */
    double most;      /* so many times more votes for dark than for bright mean an inverted film */
    double least;     /* and at least this share of all rows */
    double coronal_px[2], lateral_px; /* what lies before and behind a crest */
};
static const struct vote_params defaults = {.core = 0.05,
                                            .beside = {0.20, 0.30},
                                            .rows = {0.2, 0.7},
                                            .most = 2.0,
                                            .least = 0.3,
                                            .coronal_px = {20.0, 60.0},
                                            .lateral_px = 15.0};
enum { ROWS = 24, SAMPLES = 9 };

/* Mean level along a piece across the axis. */
static double mean_between(const struct find_image *im, struct geo_point at, struct geo_point dir,
                           double from, double to)
{
    double sum = 0.0;
    for (int i = 0; i < SAMPLES; i++)
        sum += find_image_at(im, geo_add(at, geo_mul(dir, from + (to - from) * i / (SAMPLES - 1))));
    return sum / SAMPLES;
}

bool find_inverted_at_root(const struct film *film, struct geo_point crown_end,
                           struct geo_point apex)
{
    const struct vote_params *p = &defaults;
    struct find_image im = find_image_of(film, false);
    struct geo_point across = geo_perp(geo_unit(geo_sub(apex, crown_end)));
    double length = geo_dist(crown_end, apex);
    int bright = 0, dark = 0;
    for (int i = 0; i < ROWS; i++) {
        double t = p->rows[0] + (p->rows[1] - p->rows[0]) * i / (ROWS - 1);
        struct geo_point at = geo_mix(crown_end, apex, t);
        double core = mean_between(&im, at, across, -p->core * length, p->core * length);
        double left = mean_between(&im, at, across, -p->beside[1] * length, -p->beside[0] * length);
        double right = mean_between(&im, at, across, p->beside[0] * length, p->beside[1] * length);
        bright += core > left && core > right;
        dark += core < left && core < right;
    }
    return dark > p->most * bright && dark >= p->least * ROWS;
}

bool find_inverted_at_crest(const struct film *film, struct geo_point rough,
                            struct geo_point apical)
{
    const struct vote_params *p = &defaults;
    struct find_image im = find_image_of(film, false);
    struct geo_point across = geo_perp(apical);
    int bright = 0, dark = 0;
    for (int i = 0; i < ROWS; i++) {
        double t = p->lateral_px * (2.0 * i / (ROWS - 1) - 1.0);
        struct geo_point at = geo_add(rough, geo_mul(across, t));
        double before = mean_between(&im, at, apical, -p->coronal_px[1], -p->coronal_px[0]);
        double behind = mean_between(&im, at, apical, p->coronal_px[0], p->coronal_px[1]);
        bright += behind > before;
        dark += behind < before;
    }
    return dark > p->most * bright;
}
