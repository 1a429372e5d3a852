/*
 * geometry: points, lines, fits, polylines, distances and angles in a plane. It knows neither
 * pixels nor millimetres; every length is in the unit of the caller's coordinates and every angle
 * in radians. Throughout the library the frame is x right, y down, so a positive turn from +x to +y
 * is clockwise on the screen.
 */
#ifndef PLUMBRULE_GEOMETRY_H
#define PLUMBRULE_GEOMETRY_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include "plumbrule/base.h"

#define GEO_PI 3.14159265358979323846
#define GEO_DEG_PER_RAD (180.0 / GEO_PI)

struct geo_point {
    double x, y;
};

/*
 * A line: a point on it and a unit direction. After a fit `at` is the (weighted) centroid, where
 * the errors of offset and angle are uncorrelated; u_offset is the standard uncertainty across the
 * line at `at`, u_angle that of the direction. Both are 0 for a line through two given points.
 */
struct geo_line {
    struct geo_point at;
    struct geo_point dir;
    double u_offset;
    double u_angle;
};

/* Tukey's bisquare at 95 % efficiency for normal scatter (Beaton and Tukey 1974). */
#define GEO_BISQUARE_C 4.685

/* What a fit says of itself. */
struct geo_fit {
    struct geo_line line;
    double scale;     /* robust or ordinary standard deviation of the residuals across the line */
    double rms;       /* root mean square of the residuals over the points used */
    double dof;       /* effective degrees of freedom of u_offset and u_angle */
    size_t n_used;    /* points with non-zero final weight */
    double half_span; /* half the extent of the used points along the line */
};

static inline struct geo_point geo_add(struct geo_point a, struct geo_point b)
{
    return (struct geo_point){a.x + b.x, a.y + b.y};
}

static inline struct geo_point geo_sub(struct geo_point a, struct geo_point b)
{
    return (struct geo_point){a.x - b.x, a.y - b.y};
}

static inline struct geo_point geo_mul(struct geo_point a, double s)
{
    return (struct geo_point){a.x * s, a.y * s};
}

/* a + t (b - a) */
static inline struct geo_point geo_mix(struct geo_point a, struct geo_point b, double t)
{
    return (struct geo_point){a.x + t * (b.x - a.x), a.y + t * (b.y - a.y)};
}

static inline double geo_dot(struct geo_point a, struct geo_point b)
{
    return a.x * b.x + a.y * b.y;
}

/* z of the cross product: positive when b lies clockwise (on the screen) of a. */
static inline double geo_cross(struct geo_point a, struct geo_point b)
{
    return a.x * b.y - a.y * b.x;
}

static inline double geo_norm(struct geo_point a)
{
    return hypot(a.x, a.y);
}

static inline double geo_dist(struct geo_point a, struct geo_point b)
{
    return hypot(a.x - b.x, a.y - b.y);
}

/* Unit vector; (0,0) for a vector shorter than 1e-300. */
static inline struct geo_point geo_unit(struct geo_point a)
{
    double n = geo_norm(a);
    return n < 1e-300 ? (struct geo_point){0.0, 0.0} : geo_mul(a, 1.0 / n);
}

/* a turned by +90 degrees, clockwise on the screen: (x,y) -> (-y,x). */
static inline struct geo_point geo_perp(struct geo_point a)
{
    return (struct geo_point){-a.y, a.x};
}

static inline struct geo_point geo_turn(struct geo_point a, double rad)
{
    double c = cos(rad), s = sin(rad);
    return (struct geo_point){c * a.x - s * a.y, s * a.x + c * a.y};
}

/* Angle from a to b in (-pi, pi], positive clockwise on the screen. */
double plumb_geo_angle(struct geo_point a, struct geo_point b);

/* The line from a to b, direction a -> b; ERR_ILLPOSED when they coincide. */
int plumb_geo_line_through(struct geo_point a, struct geo_point b, struct geo_line *out,
                           struct err *err);
/* Coordinate of p along the line, 0 at line.at. */
double plumb_geo_along(const struct geo_line *l, struct geo_point p);
/* Signed distance of p across the line, positive on the side of geo_perp(dir). */
double plumb_geo_across(const struct geo_line *l, struct geo_point p);
struct geo_point plumb_geo_on(const struct geo_line *l, double along);
/* Crossing of two lines; ERR_ILLPOSED when they are parallel within 1e-12 rad. */
int plumb_geo_cross_lines(const struct geo_line *a, const struct geo_line *b, struct geo_point *out,
                          struct err *err);
/* Bisector of two lines that point roughly the same way: direction the mean of the unit directions,
 * `at` midway between the two points abreast. Uncertainties combined as of independent lines. */
struct geo_line plumb_geo_bisector(const struct geo_line *a, const struct geo_line *b);

/*
 * Orthogonal (total) least squares with centred moments. pts: n points, w: n weights >= 0 or NULL
 * for equal ones. Direction is the major axis of the scatter, made to point from the first towards
 * the last point. Uncertainty from the residuals (dof = n-2). ERR_ILLPOSED for fewer than 3 points
 * (2 when they are to be taken as exact: u = 0) or no spread.
 * Pearson, Phil. Mag. 2 (1901) 559.
 */
int plumb_geo_fit_tls(const struct geo_point *pts, const double *w, size_t n, struct geo_fit *out,
                      struct err *err);
/* The same by iteratively reweighted fits: Tukey bisquare (c = 4.685), scale by the median absolute
 * deviation, started from the least-median line of a fixed set of point pairs, so that it stands up
 * to just under half of outliers. Covariance after Huber (1981), sandwich form. min_scale: floor of
 * the residual scale, and of the scatter that u is taken from, in the unit of the points (0: none).
 * Both fits take the points' errors as independent: thin points that a blur has tied together. */
int plumb_geo_fit_robust(const struct geo_point *pts, const double *w, size_t n, double min_scale,
                         struct geo_fit *out, struct err *err);
/* Straight line y = a + b x with known standard deviations of both coordinates (York et al., Am. J.
 * Phys. 72 (2004) 367). cov: {var a, var b, cov ab}. */
int plumb_geo_fit_york(const double *x, const double *y, const double *ux, const double *uy,
                       size_t n, double *a, double *b, double cov[3], double *chi2,
                       struct err *err);
/* Two lines with one common direction (the flanks of a cylinder): pts_a and pts_b on either flank;
 * gives the mid-line as fit.line and the distance between the flanks with its uncertainty. */
int plumb_geo_fit_flanks(const struct geo_point *pts_a, size_t na, const struct geo_point *pts_b,
                         size_t nb, double min_scale, struct geo_fit *out, double *width,
                         double *u_width, struct err *err);

/* Nearest point of the polyline (n >= 1 points) to p; returns the distance. seg (may be NULL): the
 * index of the first point of the segment. */
double plumb_geo_polyline_nearest(const struct geo_point *pts, size_t n, struct geo_point p,
                                  struct geo_point *nearest, size_t *seg);
/* Smallest distance between segment a-b and the polyline; 0 when they cross. on_seg, on_line: where
 * (may be NULL). */
double plumb_geo_polyline_segment(const struct geo_point *pts, size_t n, struct geo_point a,
                                  struct geo_point b, struct geo_point *on_seg,
                                  struct geo_point *on_line);
/* Where the polyline crosses the line: the crossing whose coordinate along the line is nearest to
 * `prefer`; with `extend` > 0 the end segments reach that much further. False: no crossing. */
bool plumb_geo_polyline_cross(const struct geo_point *pts, size_t n, const struct geo_line *l,
                              double prefer, double extend, struct geo_point *at);
double plumb_geo_polyline_length(const struct geo_point *pts, size_t n);

/* Median of n values, which are reordered; NaN for n = 0. */
double plumb_geo_median(double *v, size_t n);

#endif
