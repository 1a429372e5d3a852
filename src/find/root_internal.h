/*
 * The root finder's stages: grid along the two clicks -> ways of either side through the grid ->
 * border points between pixels -> smooth root through both sides, a reading -> the likeliest
 * reading -> mid-line.
 *
 * Grid frame: row i at s = (i + 0.5) ds along the line from the crown click to the apex click,
 * column j at t = (j - middle) dt + guess.middle[i] across it, positive on the geo_perp(dir) side.
 * Sizes are stated in nominal millimetres: the root's clicked length is taken for ROOT_NOMINAL_MM
 * of them, since nothing is known of the true scale here.
 */
#ifndef ROOT_INTERNAL_H
#define ROOT_INTERNAL_H

#include "plumbrule/find.h"
#include "find/find_internal.h"

enum {
    ROOT_ROWS = 100, /* rows of the grid: 0.13 nominal mm each, finer than a root bends */
    ROOT_FINE = 4,   /* film samples averaged along into one row */
    ROOT_POINTS = 20 /* border points of a side: 0.65 nominal mm apart, about the size of the
                        marrow spaces, so that their errors are nearly independent */
};

static const double root_nominal_mm = 13.0; /* median root length of Wheeler's table */

/* What is expected of a root at each row, px: the middle between its sides, half their distance. */
struct root_guess {
    double middle[ROOT_ROWS], half[ROOT_ROWS];
    bool guide; /* good enough to be held to */
};

struct root_grid {
    struct geo_line line; /* from the crown click towards the apex click */
    struct root_guess guess;
    double length; /* px between the clicks */
    double mm;     /* px of one nominal mm */
    double ds, dt; /* px of one row, one column */
    size_t cols, middle;
    float *v;                              /* ROOT_ROWS x cols, radiopaque bright */
    size_t from[ROOT_ROWS], to[ROOT_ROWS]; /* columns of each row that show the exposed film */
};

static inline struct geo_point root_at(const struct geo_line *line, double s, double t)
{
    return geo_add(plumb_geo_on(line, s), geo_mul(geo_perp(line->dir), t));
}
static inline struct geo_point root_grid_point(const struct root_grid *g, double s, double t)
{
    return root_at(&g->line, s, t);
}

/* A side's way through the grid. t: px across, signed. evidence: against the side's typical one,
 * 1 is usual, 0 none. */
struct root_trace {
    double t[ROOT_ROWS];
    double evidence[ROOT_ROWS];
    double strength; /* level: the side's typical step from dentine to ligament */
};
/* side 0: +t. The likeliest way first; without a guide also the best one within it and the best
 * beyond. n: how many. */
enum { ROOT_WAYS = 3 };
int root_trace_side(const struct root_grid *g, int side, struct root_trace out[ROOT_WAYS],
                    size_t *n, struct err *err);

/* One border point between pixels; s and t in the grid's frame, px. */
struct root_point {
    double s, t;
    double slope;    /* of the edge, level per px; 0: none */
    double evidence; /* of the trace there */
    bool seen;
};
/* Border points of a side from its trace, crown end first; seen: there is an edge. */
void root_border(const struct find_image *im, const struct root_grid *g, int side,
                 const struct root_trace *tr, struct root_point out[ROOT_POINTS]);

/*
 * The smooth root through the border points of both sides: middle and half width at the points'
 * levels, with the covariance of the middles. Points far from it are taken for other things than
 * the border: their `seen` is cleared.
 */
struct root_shape {
    double middle[ROOT_POINTS], half[ROOT_POINTS]; /* px */
    double scale;                                  /* px: robust standard deviation of a point */
    double cov[2 * ROOT_POINTS][2 * ROOT_POINTS];  /* px^2: of the middles, then the halves */
    double doubt[2][ROOT_POINTS]; /* px^2: of a side's points, by other readings of the film */
};
/* What its covariance falls short by: points share the texture of the bone, and no root is smooth
 * to the prior's measure. Of the standard deviations. */
static const double root_widening = 2.3;
int root_shape_fit(const struct root_grid *g, struct root_point pts[2][ROOT_POINTS],
                   struct root_shape *out, struct err *err);

/* What the two clicks may show. score: natural logarithm of a likelihood, up to a constant. */
struct root_reading {
    struct root_point pts[2][ROOT_POINTS];
    struct root_shape shape;
    double score;
    bool inverted;
};
double root_score(const struct root_grid *g, const struct root_reading *r);

enum { ROOT_READINGS = 5 };
struct root_readings {
    struct root_reading at[ROOT_READINGS]; /* best first */
    size_t n;
};
/* Keeps the best ones, each once. */
void root_readings_add(struct root_readings *to, const struct root_grid *g,
                       const struct root_reading *r);
/* The best one's shape, the less certain the likelier the others are. */
struct root_shape root_shape_of(const struct root_readings *r);

/* The mid-line of the shape, with ends and u_ends. line, length: of the clicks. */
int root_midline(const struct geo_line *line, double length, const struct root_shape *sh,
                 struct find_root *r, struct err *err);

#endif
