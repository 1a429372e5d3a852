/*
 * The mid-line: the line of least squares through the middles between the two sides, taken at equal
 * steps over the whole root, gaps bridged by the smooth root. Middles lie square to the line when
 * the root is straight, so least squares across the clicked line and orthogonal ones agree.
 */
#include <math.h>
#include "find/root_internal.h"

/*
 * The points' errors are not wholly independent (the texture of the bone goes with them), nor is
 * the smooth root the root: on phantoms the covariance has to be widened (root_widening), and the
 * apex, where the sides turn away, adds a part of its own. Together they hold the truth in 95 of
 * 100 phantoms.
 */
static const double end_rad = 0.0022;
/* px, of a click along the root: that of a disc of 10 px, and a bit */
static const double end_px = 7.0;

/* Where much of a side is hidden, what is seen of it is more often something else than the border
 * (the wall of a socket, a marrow space): with three fifths seen the axis is 1.1 degrees (95 %)
 * uncertain. */
static const double hidden_rad = 0.06;

static double hidden_angle(const struct find_root *r)
{
    double hidden = 1.0 - fmin(r->seen[0], r->seen[1]);
    return hidden_rad * hidden * hidden;
}

/* An axis worse than 3 degrees (95 %) is no axis: half the tolerance of common practice. */
static const double max_u_rad = 0.03;

/* sum of a_i b_j cov_ij over the middles */
static double covariance(const struct root_shape *sh, const double *a, const double *b)
{
    double sum = 0.0;
    for (size_t i = 0; i < ROOT_POINTS; i++)
        for (size_t j = 0; j < ROOT_POINTS; j++)
            sum += a[i] * b[j] * sh->cov[i][j];
    return sum;
}

/* The clicks tell where the root begins and ends to a few px only; where the middles near an end
 * lie off the line, a little more or less of them turns it. tilt: the middles' weights in the
 * slope. */
static double ends_angle(const struct root_shape *sh, const double *tilt, double offset,
                         double slope, double step)
{
    const size_t end[2] = {0, ROOT_POINTS - 1};
    double sum = 0.0;
    for (int k = 0; k < 2; k++) {
        double from_middle = ((double)end[k] - 0.5 * (ROOT_POINTS - 1)) * step;
        double off = sh->middle[end[k]] - offset - slope * from_middle;
        sum += pow(end_px / step * tilt[end[k]] * off, 2.0);
    }
    return sqrt(sum);
}

int root_midline(const struct geo_line *line, double length, const struct root_shape *sh,
                 struct find_root *r, struct err *err)
{
    double mean[ROOT_POINTS], tilt[ROOT_POINTS], step = length / ROOT_POINTS;
    double spread = step * step * ROOT_POINTS * ((double)ROOT_POINTS * ROOT_POINTS - 1.0) / 12.0;
    double offset = 0.0, slope = 0.0;
    for (size_t i = 0; i < ROOT_POINTS; i++) {
        mean[i] = 1.0 / ROOT_POINTS;
        tilt[i] = ((double)i - 0.5 * (ROOT_POINTS - 1)) * step / spread;
        offset += mean[i] * sh->middle[i];
        slope += tilt[i] * sh->middle[i];
    }
    struct geo_point across = geo_perp(line->dir);
    struct geo_line *l = &r->midline;
    l->at = geo_add(plumb_geo_on(line, 0.5 * length), geo_mul(across, offset));
    l->dir = geo_unit(geo_add(line->dir, geo_mul(across, slope)));
    l->u_offset = root_widening * sqrt(covariance(sh, mean, mean));
    l->u_angle = hypot(
        hypot(root_widening * sqrt(covariance(sh, tilt, tilt)) / (1.0 + slope * slope), end_rad),
        hypot(ends_angle(sh, tilt, offset, slope, step), hidden_angle(r)));
    double h = fmin(0.5 * length, l->u_offset / l->u_angle);
    r->ends[0] = plumb_geo_on(l, -h);
    r->ends[1] = plumb_geo_on(l, h);
    r->u_ends = sqrt(2.0) * l->u_offset;
    if (l->u_angle <= max_u_rad)
        return 0;
    return plumb_err_set(
        err, ERR_ILLPOSED,
        "the root's sides leave its axis uncertain by %.1f degrees: mark it by hand",
        2.0 * l->u_angle * GEO_DEG_PER_RAD);
}
