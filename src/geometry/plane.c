/*
 * Points and lines in a plane: angle, coordinates along and across a line, crossing, bisector.
 * Elementary; the limit of every function is the rounding of its inputs.
 */
#include "plumbrule/geometry.h"

/* Two directions nearer than this cross too far away for the crossing to mean anything. */
static const double parallel_rad = 1e-12;

double plumb_geo_angle(struct geo_point a, struct geo_point b)
{
    double cross = geo_cross(a, b);
    if (cross == 0.0)
        cross = 0.0; /* a negative zero would turn +pi into -pi */
    return atan2(cross, geo_dot(a, b));
}

int plumb_geo_line_through(struct geo_point a, struct geo_point b, struct geo_line *out,
                           struct err *err)
{
    *out = (struct geo_line){0};
    struct geo_point dir = geo_unit(geo_sub(b, a));
    if (!isfinite(dir.x) || !isfinite(dir.y))
        return plumb_err_set(err, ERR_ARG, "a line through a point that is not finite");
    if (dir.x == 0.0 && dir.y == 0.0)
        return plumb_err_set(err, ERR_ILLPOSED,
                             "both points of a line are at (%.4g, %.4g): set one apart", a.x, a.y);
    *out = (struct geo_line){.at = a, .dir = dir};
    return 0;
}

double plumb_geo_along(const struct geo_line *l, struct geo_point p)
{
    return geo_dot(geo_sub(p, l->at), l->dir);
}

double plumb_geo_across(const struct geo_line *l, struct geo_point p)
{
    return geo_cross(l->dir, geo_sub(p, l->at));
}

struct geo_point plumb_geo_on(const struct geo_line *l, double along)
{
    return geo_add(l->at, geo_mul(l->dir, along));
}

int plumb_geo_cross_lines(const struct geo_line *a, const struct geo_line *b, struct geo_point *out,
                          struct err *err)
{
    double cross = geo_cross(a->dir, b->dir);
    *out = (struct geo_point){0};
    if (!(fabs(cross) > parallel_rad))
        return plumb_err_set(err, ERR_ILLPOSED, "the lines are parallel: they do not cross");
    *out = plumb_geo_on(a, geo_cross(geo_sub(b->at, a->at), b->dir) / cross);
    return 0;
}

/* The point of l whose coordinate along dir, from origin, is t. */
static struct geo_point abreast(const struct geo_line *l, struct geo_point origin,
                                struct geo_point dir, double t)
{
    double ahead = t - geo_dot(geo_sub(l->at, origin), dir);
    return plumb_geo_on(l, ahead / geo_dot(l->dir, dir));
}

struct geo_line plumb_geo_bisector(const struct geo_line *a, const struct geo_line *b)
{
    struct geo_point dir = geo_unit(geo_add(a->dir, b->dir));
    double var_a = a->u_angle * a->u_angle, var_b = b->u_angle * b->u_angle;
    /* the mean's offset and angle are uncorrelated where the two lever arms balance */
    double share = var_a + var_b > 0.0 ? var_b / (var_a + var_b) : 0.5;
    double t = share * geo_dot(geo_sub(b->at, a->at), dir);
    struct geo_point on_a = abreast(a, a->at, dir, t), on_b = abreast(b, a->at, dir, t);
    double arm_a = geo_dist(on_a, a->at), arm_b = geo_dist(on_b, b->at);
    return (struct geo_line){
        .at = geo_mix(on_a, on_b, 0.5),
        .dir = dir,
        .u_offset = 0.5 * hypot(hypot(a->u_offset, arm_a * a->u_angle),
                                hypot(b->u_offset, arm_b * b->u_angle)),
        .u_angle = 0.5 * hypot(a->u_angle, b->u_angle),
    };
}
