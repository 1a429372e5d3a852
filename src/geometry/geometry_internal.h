/* What the files of this folder share: order statistics, and the bundle of lines that all fits by
 * orthogonal distance are made from. */
#ifndef PLUMBRULE_GEOMETRY_INTERNAL_H
#define PLUMBRULE_GEOMETRY_INTERNAL_H

#include "plumbrule/geometry.h"

/* The k-th smallest (from 0) of n > k values, none of them NaN; smaller ones end up before it. */
double geo_select(double *v, size_t n, size_t k);

/*
 * Points on one line, or on two parallel lines: points [0, split) belong to line 0, the others to
 * line 1. Points of weight zero have been left out; the mean weight is 1, so that a residual times
 * the root of its weight is still in the unit of the points. `work` has room for 2 n values.
 */
struct geo_bundle {
    struct geo_point *pts;
    double *weight;
    double *work;
    size_t n, split;
};

/* Common direction, one point per line, and the scatter (weighted sums of squares) along and
 * across. */
struct geo_axis {
    struct geo_point dir;
    struct geo_point centre[2];
    double along, across;
};

/* What the residuals say: w[i] is the final weight of point i, 0 when it was left out. */
struct geo_scatter {
    double scale;    /* standard deviation of a point of weight 1 */
    double variance; /* what its square has to be for the estimator's own uncertainty */
    double dof;
};

static inline size_t geo_line_of(const struct geo_bundle *b, size_t i)
{
    return i < b->split ? 0 : 1;
}

/* Free parameters: a direction and one offset per line. */
static inline size_t geo_params(const struct geo_bundle *b)
{
    return b->split < b->n ? 3 : 2;
}

static inline double geo_residual(const struct geo_bundle *b, const struct geo_axis *a, size_t i)
{
    return geo_cross(a->dir, geo_sub(b->pts[i], a->centre[geo_line_of(b, i)]));
}

/* Major axis of the scatter about each line's own centroid, weights w. */
int geo_axis_fit(const struct geo_bundle *b, const double *w, struct geo_axis *out,
                 struct err *err);
/* Reweighted fits from a high-breakdown start. w: n final weights. */
int geo_axis_robust(struct geo_bundle *b, double min_scale, double *w, struct geo_axis *axis,
                    struct geo_scatter *out, struct err *err);

#endif
