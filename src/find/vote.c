/*
 * Polarity by what stands at a click: a root is denser than what lies on either side of it, bone is
 * denser than what lies coronal of it. Nothing of the whole film (its histogram, its smooth parts)
 * tells as well, since borders, cone cuts and metal come in every shade; where the film's brightest
 * or darkest lies beside the root, that place has no say. It may be left open: then both are looked
 * at.
 */
#include "find/find_internal.h"

struct vote_params {
    double core; /* half width of the root's middle, of its length; a root is 0.25 to 0.4 wide */
    double beside[2];  /* where ligament and bone lie, of its length from the middle */
    double rows[2];    /* stretch of the root that votes, of its length from the crown end */
    double most;       /* so many times more votes for dark than for bright mean an inverted film */
    double least;      /* and at least this share of all rows */
    double end_share;  /* so much of the film is as bright as its bright end, or as dark */
    double end_margin; /* of the range between: nearer to an end is no tissue */
    double clear;      /* of a crest: so many times more votes settle it */
    double coronal_px[2], lateral_px; /* what lies before and behind a crest */
};
static const struct vote_params defaults = {.core = 0.05,
                                            .beside = {0.20, 0.30},
                                            .rows = {0.2, 0.7},
                                            .most = 6.0,
                                            .least = 0.3,
                                            .end_share = 0.02,
                                            .end_margin = 0.03,
                                            .clear = 4.0,
                                            .coronal_px = {20.0, 60.0},
                                            .lateral_px = 15.0};
enum { ROWS = 24, SAMPLES = 9, SPREAD = 48 };

/* Mean level along a piece across the axis. */
static double mean_between(const struct find_image *im, struct geo_point at, struct geo_point dir,
                           double from, double to)
{
    double sum = 0.0;
    for (int i = 0; i < SAMPLES; i++)
        sum += find_image_at(im, geo_add(at, geo_mul(dir, from + (to - from) * i / (SAMPLES - 1))));
    return sum / SAMPLES;
}

/* Between the film's dark and bright ends, from points spread evenly over it. */
static void tissue_range(const struct find_image *im, double *low, double *high)
{
    float v[SPREAD * SPREAD];
    double w = (double)im->width - 1.0, h = (double)im->height - 1.0;
    for (size_t y = 0; y < SPREAD; y++)
        for (size_t x = 0; x < SPREAD; x++) {
            struct geo_point p = {w * (double)x / (SPREAD - 1), h * (double)y / (SPREAD - 1)};
            v[y * SPREAD + x] = (float)find_image_at(im, p);
        }
    double black = find_quantile_f(v, (size_t)SPREAD * SPREAD, defaults.end_share);
    double white = find_quantile_f(v, (size_t)SPREAD * SPREAD, 1.0 - defaults.end_share);
    double margin = defaults.end_margin * (white - black);
    *low = black + margin;
    *high = white - margin;
}

/* No metal, frame or air beside the root? aside: one root length across. */
static bool is_tissue(const struct find_image *im, struct geo_point at, struct geo_point aside,
                      double low, double high)
{
    const double *reach = defaults.beside;
    for (int i = 0; i < SAMPLES; i++) {
        double q = reach[0] + (reach[1] - reach[0]) * i / (SAMPLES - 1);
        double v = find_image_at(im, geo_add(at, geo_mul(aside, q)));
        if (v < low || v > high)
            return false;
    }
    return true;
}

enum find_polarity find_polarity_at_root(const struct film *film, struct geo_point crown_end,
                                         struct geo_point apex)
{
    const struct vote_params *p = &defaults;
    struct find_image im = find_image_of(film, false);
    struct geo_point across = geo_perp(geo_unit(geo_sub(apex, crown_end)));
    double length = geo_dist(crown_end, apex), low, high;
    int bright = 0, dark = 0;
    tissue_range(&im, &low, &high);
    for (int i = 0; i < ROWS; i++) {
        double t = p->rows[0] + (p->rows[1] - p->rows[0]) * i / (ROWS - 1);
        struct geo_point at = geo_mix(crown_end, apex, t);
        double core = mean_between(&im, at, across, -p->core * length, p->core * length);
        double left = mean_between(&im, at, across, -p->beside[1] * length, -p->beside[0] * length);
        double right = mean_between(&im, at, across, p->beside[0] * length, p->beside[1] * length);
        struct geo_point aside = geo_mul(across, length);
        if (!is_tissue(&im, at, aside, low, high) ||
            !is_tissue(&im, at, geo_mul(aside, -1.0), low, high))
            continue;
        bright += core > left && core > right;
        dark += core < left && core < right;
    }
    if (bright + dark < p->least * ROWS)
        return FIND_POLARITY_UNSURE;
    return dark > p->most * bright   ? FIND_POLARITY_INVERTED
           : bright > p->most * dark ? FIND_POLARITY_AS_IS
                                     : FIND_POLARITY_UNSURE;
}

enum find_polarity find_polarity_at_crest(const struct film *film, struct geo_point rough,
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
    return dark > p->clear * bright   ? FIND_POLARITY_INVERTED
           : bright > p->clear * dark ? FIND_POLARITY_AS_IS
                                      : FIND_POLARITY_UNSURE; /* a crown or a tooth in the way */
}
