/*
 * Straight lines by orthogonal (total) least squares: one line, or two parallel ones (flanks).
 *
 * The direction is the major axis of the centred scatter (Pearson, Phil. Mag. 2 (1901) 559); for
 * two lines the scatter about each one's own centroid is added up, which is the least-squares
 * answer for a common direction. With residual variance s^2 per point, S = sum w t^2 along and R =
 * sum w r^2 across the line: var(offset at the centroid) = s^2 / sum w var(angle) = s^2 S / (S -
 * R)^2, which is s^2 / S for a slender cloud (T. W. Anderson, Ann. Math. Statist. 34 (1963) 122,
 * for the principal axis of a normal sample). At the centroid the two are uncorrelated.
 *
 * Limits: errors of neighbouring points are taken to be independent. Edge points of a blurred
 * picture are not; the caller thins them to a distance at which they are, or u comes out too small.
 */
#include "geometry/geometry_internal.h"

#include <stdlib.h>

/* A cloud whose spread is below this share of its coordinates is one point within rounding. */
static const double least_spread = 1e-13;
/* A cloud whose two axes differ by less than this share has no direction. */
static const double least_anisotropy = 1e-9;

/* Squares and fourth powers of coordinates up to this size stay finite. */
static const double farthest = 1e70;

static int check_points(const struct geo_point *pts, const double *w, size_t n, struct err *err)
{
    for (size_t i = 0; i < n; i++) {
        if (!(fabs(pts[i].x) <= farthest && fabs(pts[i].y) <= farthest))
            return plumb_err_set(err, ERR_ARG, "point %zu is at no usable place", i);
        if (w != NULL && !(w[i] >= 0.0 && isfinite(w[i])))
            return plumb_err_set(err, ERR_ARG, "weight %zu is not a number from 0 up", i);
    }
    return 0;
}

static void bundle_release(struct geo_bundle *b)
{
    free(b->pts);
    free(b->weight);
    free(b->work);
    *b = (struct geo_bundle){0};
}

static int bundle_init(struct geo_bundle *b, size_t room, struct err *err)
{
    *b = (struct geo_bundle){0};
    b->pts = plumb_mem_array(room, sizeof *b->pts, err);
    b->weight = plumb_mem_array(room, sizeof *b->weight, err);
    b->work = plumb_mem_array(room, 2 * sizeof *b->work, err);
    if (b->pts != NULL && b->weight != NULL && b->work != NULL)
        return 0;
    bundle_release(b);
    return ERR_NOMEM;
}

static void bundle_add(struct geo_bundle *b, const struct geo_point *pts, const double *w, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (w != NULL && w[i] == 0.0)
            continue;
        b->pts[b->n] = pts[i];
        b->weight[b->n++] = w != NULL ? w[i] : 1.0;
    }
}

static void bundle_normalise(struct geo_bundle *b)
{
    double sum = 0.0;
    for (size_t i = 0; i < b->n; i++)
        sum += b->weight[i] / (double)b->n;
    for (size_t i = 0; i < b->n; i++)
        b->weight[i] /= sum;
}

/* One line's points; zero weights are left out. */
static int bundle_one(struct geo_bundle *b, const struct geo_point *pts, const double *w, size_t n,
                      struct err *err)
{
    *b = (struct geo_bundle){0};
    int rc = check_points(pts, w, n, err);
    if (rc == 0)
        rc = bundle_init(b, n, err);
    if (rc != 0)
        return rc;
    bundle_add(b, pts, w, n);
    b->split = b->n;
    bundle_normalise(b);
    return 0;
}

static bool centroids(const struct geo_bundle *b, const double *w, struct geo_axis *a)
{
    double sum[2] = {0.0, 0.0};
    struct geo_point *c = a->centre;
    c[0] = c[1] = (struct geo_point){0};
    for (size_t i = 0; i < b->n; i++) {
        size_t g = geo_line_of(b, i);
        sum[g] += w[i];
        if (sum[g] > 0.0) /* running mean: no loss of digits far from the origin */
            c[g] = geo_mix(c[g], b->pts[i], w[i] / sum[g]);
    }
    return sum[0] > 0.0 && (b->split == b->n || sum[1] > 0.0);
}

int geo_axis_fit(const struct geo_bundle *b, const double *w, struct geo_axis *out, struct err *err)
{
    double sxx = 0.0, syy = 0.0, sxy = 0.0, sum = 0.0, far = 0.0;
    if (!centroids(b, w, out))
        return plumb_err_set(err, ERR_ILLPOSED, "a line has no points left");
    for (size_t i = 0; i < b->n; i++) {
        struct geo_point d = geo_sub(b->pts[i], out->centre[geo_line_of(b, i)]);
        sxx += w[i] * d.x * d.x;
        syy += w[i] * d.y * d.y;
        sxy += w[i] * d.x * d.y;
        sum += w[i];
        far = fmax(far, fmax(fabs(b->pts[i].x), fabs(b->pts[i].y)));
    }
    if (!(sqrt((sxx + syy) / sum) > least_spread * far))
        return plumb_err_set(err, ERR_ILLPOSED,
                             "the points of a line coincide: set them farther apart");
    double difference = hypot(sxx - syy, 2.0 * sxy);
    if (!(difference > least_anisotropy * (sxx + syy)))
        return plumb_err_set(err, ERR_ILLPOSED, "the points lie round a spot, not along a line");
    double angle = 0.5 * atan2(2.0 * sxy, sxx - syy);
    out->dir = (struct geo_point){cos(angle), sin(angle)};
    out->along = 0.5 * (sxx + syy + difference);
    out->across = 0.0;
    for (size_t i = 0; i < b->n; i++) {
        double r = geo_residual(b, out, i);
        out->across += w[i] * r * r;
    }
    return 0;
}

/* Sums over the points that were used, with the weights they came with. */
struct used {
    size_t n, first, last;
    double weight[2], along[2]; /* per line: sum of weights, mean coordinate along the axis */
    double spread, across, square;
    double lo, hi;
};

static void used_means(const struct geo_bundle *b, const double *w, const struct geo_axis *a,
                       struct used *u)
{
    *u = (struct used){.first = b->n};
    for (size_t i = 0; i < b->n; i++) {
        size_t g = geo_line_of(b, i);
        if (!(w[i] > 0.0))
            continue;
        u->n++;
        u->weight[g] += b->weight[i];
        double t = geo_dot(a->dir, geo_sub(b->pts[i], a->centre[g]));
        u->along[g] += (t - u->along[g]) * b->weight[i] / u->weight[g];
        if (u->first == b->n)
            u->first = i;
        if (g == 0)
            u->last = i;
    }
}

static void used_spread(const struct geo_bundle *b, const double *w, const struct geo_axis *a,
                        struct used *u)
{
    u->lo = HUGE_VAL;
    u->hi = -HUGE_VAL;
    for (size_t i = 0; i < b->n; i++) {
        if (!(w[i] > 0.0))
            continue;
        size_t g = geo_line_of(b, i);
        double t = geo_dot(a->dir, geo_sub(b->pts[i], a->centre[g])) - u->along[g];
        double r = geo_residual(b, a, i);
        u->spread += b->weight[i] * t * t;
        u->across += b->weight[i] * r * r;
        u->square += r * r;
        double place = geo_dot(a->dir, geo_sub(b->pts[i], a->centre[0]));
        u->lo = fmin(u->lo, place);
        u->hi = fmax(u->hi, place);
    }
}

/* Variance of the direction; the second factor is 1 for a slender cloud. */
static double angle_variance(const struct used *u, double variance)
{
    double lean = u->spread - u->across;
    return lean > 0.0 ? variance * u->spread / (lean * lean) : HUGE_VAL;
}

/* The public result for one line, or the mid-line of two. Offset and angle decouple at the plain
 * centroid of the used points, for two lines midway between their centroids. */
static void describe(const struct geo_bundle *b, const double *w, const struct geo_axis *a,
                     const struct geo_scatter *s, struct geo_fit *out, struct used *u)
{
    used_means(b, w, a, u);
    used_spread(b, w, a, u);
    struct geo_point at = geo_add(a->centre[0], geo_mul(a->dir, u->along[0]));
    double offset_variance = s->variance / u->weight[0];
    if (b->split < b->n) {
        at = geo_mix(at, geo_add(a->centre[1], geo_mul(a->dir, u->along[1])), 0.5);
        offset_variance = 0.25 * (offset_variance + s->variance / u->weight[1]);
    }
    struct geo_point way = geo_sub(b->pts[u->last], b->pts[u->first]);
    double sign = geo_dot(way, a->dir) < 0.0 ? -1.0 : 1.0;
    *out = (struct geo_fit){
        .line = {.at = at,
                 .dir = geo_mul(a->dir, sign),
                 .u_offset = sqrt(offset_variance),
                 .u_angle = sqrt(angle_variance(u, s->variance))},
        .scale = s->scale,
        .rms = sqrt(u->square / (double)u->n),
        .dof = s->dof,
        .n_used = u->n,
        .half_span = 0.5 * (u->hi - u->lo),
    };
}

static int too_few(struct err *err, size_t have, size_t need)
{
    return plumb_err_set(err, ERR_ILLPOSED, "%zu points on a line, need %zu", have, need);
}

/* Two points are taken as exact: no residuals, no uncertainty. */
static struct geo_scatter plain_scatter(const struct geo_bundle *b, const struct geo_axis *a)
{
    if (b->n == 2)
        return (struct geo_scatter){.dof = HUGE_VAL};
    double dof = (double)(b->n - 2);
    double variance = a->across / dof;
    return (struct geo_scatter){.scale = sqrt(variance), .variance = variance, .dof = dof};
}

int plumb_geo_fit_tls(const struct geo_point *pts, const double *w, size_t n, struct geo_fit *out,
                      struct err *err)
{
    struct geo_bundle b;
    struct geo_axis axis = {0};
    struct used used = {0};
    *out = (struct geo_fit){0};
    int rc = bundle_one(&b, pts, w, n, err);
    if (rc == 0 && b.n < 2)
        rc = too_few(err, b.n, 2);
    if (rc == 0)
        rc = geo_axis_fit(&b, b.weight, &axis, err);
    if (rc == 0) {
        struct geo_scatter s = plain_scatter(&b, &axis);
        describe(&b, b.weight, &axis, &s, out, &used);
    }
    bundle_release(&b);
    return rc;
}

/* The robust fit of a bundle that has been filled; w points to the second half of its work. */
static int fit_bundle(struct geo_bundle *b, double min_scale, struct geo_axis *axis,
                      struct geo_scatter *s, struct geo_fit *out, struct used *used,
                      struct err *err)
{
    double *w = b->work + b->n;
    if (!(min_scale >= 0.0 && isfinite(min_scale)))
        return plumb_err_set(err, ERR_ARG, "least scale %g is not a number from 0 up", min_scale);
    int rc = geo_axis_robust(b, min_scale, w, axis, s, err);
    if (rc == 0)
        describe(b, w, axis, s, out, used);
    return rc;
}

int plumb_geo_fit_robust(const struct geo_point *pts, const double *w, size_t n, double min_scale,
                         struct geo_fit *out, struct err *err)
{
    struct geo_bundle b;
    struct geo_axis axis = {0};
    struct geo_scatter s = {0};
    struct used used = {0};
    *out = (struct geo_fit){0};
    int rc = bundle_one(&b, pts, w, n, err);
    if (rc == 0 && b.n < 3)
        rc = too_few(err, b.n, 3);
    if (rc == 0)
        rc = fit_bundle(&b, min_scale, &axis, &s, out, &used, err);
    bundle_release(&b);
    return rc;
}

/* Distance of the two lines. It leans on the direction where the flanks were seen at different
 * places along the pin. */
static void flank_distance(const struct geo_axis *a, const struct used *u, double variance,
                           double *width, double *u_width)
{
    struct geo_point gap = geo_sub(a->centre[1], a->centre[0]);
    double arm = geo_dot(a->dir, gap) + u->along[1] - u->along[0];
    double lever = arm == 0.0 ? 0.0 : arm * arm * angle_variance(u, variance);
    *width = fabs(geo_cross(a->dir, gap));
    *u_width = sqrt(variance / u->weight[0] + variance / u->weight[1] + lever);
}

int plumb_geo_fit_flanks(const struct geo_point *pts_a, size_t na, const struct geo_point *pts_b,
                         size_t nb, double min_scale, struct geo_fit *out, double *width,
                         double *u_width, struct err *err)
{
    struct geo_bundle b = {0};
    struct geo_axis axis = {0};
    struct geo_scatter s = {0};
    struct used used = {0};
    *out = (struct geo_fit){0};
    *width = *u_width = 0.0;
    int rc = check_points(pts_a, NULL, na, err);
    if (rc == 0)
        rc = check_points(pts_b, NULL, nb, err);
    if (rc == 0 && (na < 2 || nb < 2))
        rc = too_few(err, na < nb ? na : nb, 2);
    if (rc == 0)
        rc = na > SIZE_MAX - nb ? plumb_err_set(err, ERR_LIMIT, "too many points")
                                : bundle_init(&b, na + nb, err);
    if (rc != 0)
        return rc;
    bundle_add(&b, pts_a, NULL, na);
    b.split = b.n;
    bundle_add(&b, pts_b, NULL, nb);
    rc = fit_bundle(&b, min_scale, &axis, &s, out, &used, err);
    if (rc == 0)
        flank_distance(&axis, &used, s.variance, width, u_width);
    bundle_release(&b);
    return rc;
}
