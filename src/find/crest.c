/*
 * The crest from a rough point. Across the apical direction the film is looked at in narrow lanes.
 * In each the steepest rise from dark (gum) to bright (bone) is sought; the straight line on which
 * most lanes agree is the crest. Just coronal of it the root, if one is near, stands bright beside
 * the dark gum: the crest is then a straight line through the lanes beside the root, without those
 * that metal covers, taken at the outer border of its ligament. Without a root near, it is taken at
 * the rough point's place.
 *
 * Bone thins out towards the crest as the root of the depth, so the steepest place lies a part of
 * the blur inside the crest (as with root_border.c): 0.77 sd of a Gaussian blur, which is 0.52 of
 * the way from there to where the edge is half as steep on the gum's side; it is put back.
 *
 * Limits: nothing tells the film's scale here; the usual one is taken from its size, for lengths
 * that need no more than that. A crest that slopes by more than 45 degrees is not found.
 */
#include <math.h>
#include <string.h>
#include "find/find_internal.h"
#include "plumbrule/find.h"

enum {
    LANES = 15,
    MIDDLE_LANE = LANES / 2,
    SLOPES = 6,
    HALF_MAX = 128,
    ROOM = 2 * HALF_MAX + 1,
    WIDTH_HALF = 64,
    WIDTH_ROOM = 2 * WIDTH_HALF + 1
};

struct crest_params {
    double film_mm;           /* shorter side of a usual film, as exported */
    double least_mm, most_mm; /* px of a mm: 66 um and 15 um pixels */
    double click_px;          /* how far off the rough point may be, and a bit */
    double lane_mm;           /* width of a lane */
    double line_mm;           /* thinner ones are scratches */
    double agree_mm;          /* lanes agree within this */
    double most_slope;        /* of the crest, tried both ways */
    double most_steps; /* of the median of the lanes that show one: steeper is metal, and counts as
                          much */
    double edge_sd_mm; /* of the derivative: about the blur of a sensor */
    double inside;     /* the steepest place lies so many widths inside the crest */
    double gum_from_mm, gum_to_mm; /* coronal of the crest: where the root stands out */
    double root_share;             /* the root's edge against the crest's: less is no root */
    double ligament_mm;   /* from the steepest place of the root to the ligament's border */
    double u_ligament_mm; /* of that */
    double refine_mm;     /* the crest of a lane is sought so near to the common one */
    double max_scale_mm;  /* lanes that scatter more show no crest */
    double least_step;    /* level per px of the common edge */
    double widening;      /* of the line's own uncertainty: lanes share the bone's texture */
    double u_crest_mm;    /* systematic: blur and tone */
    double widest_mm;     /* an edge is looked at so far */
    double sharp_mm;      /* width of a sharp crest; of what is wider, */
    double u_blurred;     /* so much is uncertain: a thin ridge that fades coronalwards */
    double rival_share;   /* another line with so much of the best one's support */
    double rival_mm;      /* and so far off leaves it open which is the crest; */
    double rival_chance;  /* of the other one, for the square of that share */
    double coronal_mm, coronal_share;    /* another one so near, with so much of its step, */
    double coronal_chance;               /* is it, with this chance */
    double beside_from_mm, beside_to_mm; /* levels are compared there, either way of the crest */
    double least_t;   /* the lanes' median difference in robust deviations of their mean */
    double least_cos; /* of the crest's slope: 45 degrees */
    int least_lanes;
};

static const struct crest_params crest_defaults = {
    .film_mm = 24.0,
    .least_mm = 15.0,
    .most_mm = 66.0,
    .click_px = 20.0,
    .lane_mm = 0.15,
    .line_mm = 0.18,
    .agree_mm = 0.12,
    .most_slope = 0.75,
    .most_steps = 2.0,
    .edge_sd_mm = 0.06,
    .inside = 0.52,
    .gum_from_mm = 0.2,
    .gum_to_mm = 0.8,
    .root_share = 0.6,
    .ligament_mm = 0.28,
    .u_ligament_mm = 0.06,
    .refine_mm = 0.25,
    .max_scale_mm = 0.12,
    .least_step = 0.0005,
    .widening = 2.0,
    .u_crest_mm = 0.045,
    .widest_mm = 0.4,
    .sharp_mm = 0.12,
    .u_blurred = 0.8,
    .rival_share = 0.7,
    .rival_mm = 0.3,
    .rival_chance = 0.25,
    .coronal_mm = 0.5,
    .coronal_share = 0.5,
    .coronal_chance = 0.5,
    .beside_from_mm = 0.05,
    .beside_to_mm = 0.4,
    .least_t = 8.0,
    .least_cos = 0.7,
    .least_lanes = 5,
};

struct crest_view {
    const struct find_image *im;
    struct geo_point origin, along, across; /* apical; geo_perp of it */
    double mm;                              /* px of a usual mm */
    struct find_kernel kernel;
};

struct lane {
    double t, s;           /* px across and along; the steepest rise */
    double step;           /* level per px there; 0: none */
    double before, behind; /* mean levels coronal and apical of it */
    double width;          /* px: of the crest's own edge, see edge_width */
};

/* s = s + slope t: a straight crest. */
struct crest_line {
    double s, slope;
};

static double line_at(const struct crest_line *l, double t)
{
    return l->s + l->slope * t;
}

/* Mean of the film over [s0,s1] x [t0,t1] in steps of a pixel, along `walk` from -half to half. */
static void profile(const struct crest_view *v, struct geo_point walk, struct geo_point mean,
                    double from, double to, size_t half, float *out)
{
    int n = (int)fmax(1.0, floor(to - from) + 1.0);
    for (size_t j = 0; j <= 2 * half; j++) {
        struct geo_point p = geo_add(v->origin, geo_mul(walk, (double)j - (double)half));
        double sum = 0.0;
        for (int k = 0; k < n; k++)
            sum += find_image_at(v->im, geo_add(p, geo_mul(mean, from + k)));
        out[j] = (float)(sum / n);
    }
}

/* Each sample becomes the largest (sign +1) or the smallest (-1) within +-half of it. */
static void extremes(float *v, size_t n, size_t half, float sign)
{
    float from[ROOM];
    memcpy(from, v, n * sizeof *v);
    for (size_t i = 0; i < n; i++)
        for (size_t j = i > half ? i - half : 0; j < n && j <= i + half; j++)
            v[i] = sign * from[j] > sign * v[i] ? from[j] : v[i];
}

/* Opening and closing: scratches and other thin lines go, edges of what is wider stay where they
 * are. */
static void drop_lines(const struct crest_view *v, float *p, size_t n)
{
    size_t half = (size_t)ceil(0.5 * crest_defaults.line_mm * v->mm);
    extremes(p, n, half, -1.0F);
    extremes(p, n, half, 1.0F);
    extremes(p, n, half, 1.0F);
    extremes(p, n, half, -1.0F);
}

/* The steepest rise of the lane at t within +-reach of s; plain: but of thin lines. */
static struct lane lane_edge(const struct crest_view *v, double t, double s, double reach,
                             bool plain)
{
    float p[ROOM];
    size_t half = (size_t)fmin(HALF_MAX, fabs(s) + reach + v->kernel.reach);
    double w = 0.5 * crest_defaults.lane_mm * v->mm, at = 0.0;
    double from = fmax(0.0, (double)half + s - reach), to = (double)half + s + reach + 1.0;
    profile(v, v->along, v->across, t - w, t + w, half, p);
    if (plain)
        drop_lines(v, p, 2 * half + 1);
    double step = find_edge_in_row(p, 2 * half + 1, (size_t)from, (size_t)to, 1, &v->kernel, &at);
    return (struct lane){.t = t, .s = at - (double)half, .step = step};
}

/* Weight of the lanes that lie on the line; each counts by its step, metal no more than bone. */
static double support(const struct crest_view *v, const struct lane *lane,
                      const struct crest_line *l, double most, int *n)
{
    double sum = 0.0, near = crest_defaults.agree_mm * v->mm;
    *n = 0;
    for (int k = 0; k < LANES; k++)
        if (lane[k].step > 0.0 && fabs(lane[k].s - line_at(l, lane[k].t)) <= near) {
            sum += fmin(most, lane[k].step);
            ++*n;
        }
    return sum;
}

/* The best line through a lane's edge with one of the slopes; `but` NULL, or a line it has to keep
 * off. Returns its support. */
static double best_line(const struct crest_view *v, const struct lane *lane, double most,
                        const struct crest_line *but, struct crest_line *out, int *count)
{
    const struct crest_params *p = &crest_defaults;
    double best = 0.0;
    int n;
    for (int i = 0; i < LANES; i++)
        for (int k = -SLOPES; k <= SLOPES; k++) {
            double slope = p->most_slope * k / SLOPES;
            struct crest_line l = {lane[i].s - slope * lane[i].t, slope};
            if (but && fabs(lane[i].s - line_at(but, lane[i].t)) < p->rival_mm * v->mm)
                continue;
            double sum = support(v, lane, &l, most, &n);
            if (sum > best) {
                best = sum;
                *count = n;
                *out = l;
            }
        }
    return best;
}

/* The lines on which most lanes about the rough point agree: the best one, and another one off it;
 * rival: its support in that of the best one, 0: there is none. False when there is no line. */
static bool common_crests(const struct crest_view *v, struct crest_line out[2], double step[2],
                          double *rival)
{
    const struct crest_params *p = &crest_defaults;
    struct lane lane[LANES];
    double steps[LANES], best[2];
    int n[2] = {0, 0};
    size_t edges = 0; /* over the root beside it there may be none */
    for (int i = 0; i < LANES; i++) {
        lane[i] = lane_edge(v, (i - MIDDLE_LANE) * p->lane_mm * v->mm, 0.0, p->click_px, true);
        if (lane[i].step > p->least_step)
            steps[edges++] = lane[i].step;
    }
    double most = edges > 0 ? p->most_steps * plumb_geo_median(steps, edges) : 0.0;
    for (int k = 0; k < 2; k++) {
        best[k] = best_line(v, lane, most, k == 0 ? NULL : &out[0], &out[k], &n[k]);
        step[k] = n[k] > 0 ? best[k] / n[k] : 0.0;
    }
    *rival = n[0] > 0 && n[1] >= p->least_lanes ? best[1] / best[0] : 0.0;
    return n[0] >= p->least_lanes && step[0] >= p->least_step;
}

/* The edge of a root beside the crest; false when none is near. outward: +1 or -1 across, away from
 * the root. */
static bool root_beside(const struct crest_view *v, const struct crest_line *l, double step,
                        double *t, double *outward)
{
    const struct crest_params *p = &crest_defaults;
    float row[ROOM];
    double at[2], slope[2], reach = p->click_px + p->ligament_mm * v->mm;
    size_t half = (size_t)fmin(HALF_MAX, reach + v->kernel.reach);
    profile(v, geo_add(v->across, geo_mul(v->along, l->slope)), v->along,
            l->s - p->gum_to_mm * v->mm, l->s - p->gum_from_mm * v->mm, half, row);
    for (int k = 0; k < 2; k++)
        slope[k] = find_edge_in_row(row, 2 * half + 1, (size_t)((double)half - reach),
                                    (size_t)((double)half + reach + 1.0), k == 0 ? 1 : -1,
                                    &v->kernel, &at[k]);
    int k = slope[0] > slope[1] ? 0 : 1;
    if (slope[k] < p->root_share * step)
        return false;
    *t = at[k] - (double)half;
    *outward = k == 0 ? -1.0 : 1.0;
    return true;
}

/* Mean level of the lane over [from,to] along. */
static double lane_level(const struct crest_view *v, double t, double from, double to)
{
    double sum = 0.0, w = 0.5 * crest_defaults.lane_mm * v->mm;
    int rows = (int)(to - from) + 1, cols = (int)(2.0 * w) + 1;
    for (int i = 0; i < rows; i++)
        for (int j = 0; j < cols; j++) {
            struct geo_point p =
                geo_add(geo_mul(v->along, from + i), geo_mul(v->across, t - w + j));
            sum += find_image_at(v->im, geo_add(v->origin, p));
        }
    return sum / ((double)rows * cols);
}

/* Lanes over metal or over a root, with something before their edge that is brighter than the bone
 * behind the others', show no crest. Returns how many are left. */
static size_t drop_foreign(struct lane *lane, size_t n)
{
    double behind[LANES];
    size_t kept = 0;
    for (size_t i = 0; i < n; i++)
        behind[i] = lane[i].behind;
    double bone = n > 0 ? plumb_geo_median(behind, n) : 0.0;
    for (size_t i = 0; i < n; i++)
        if (lane[i].before < bone)
            lane[kept++] = lane[i];
    return kept;
}

/* The lanes from t0 on, towards dir, each with its edge near the line. */
static size_t lanes_along(const struct crest_view *v, const struct crest_line *l, double t0,
                          double dir, struct lane *out)
{
    const struct crest_params *p = &crest_defaults;
    double near = p->beside_from_mm * v->mm, far = p->beside_to_mm * v->mm;
    size_t n = 0;
    for (int i = 0; i < LANES; i++) {
        double t = t0 + dir * (i + 0.5) * p->lane_mm * v->mm;
        struct lane e = lane_edge(v, t, line_at(l, t), p->refine_mm * v->mm, false);
        if (!(e.step > 0.0))
            continue;
        e.before = lane_level(v, t, e.s - far, e.s - near);
        e.behind = lane_level(v, t, e.s + near, e.s + far);
        out[n++] = e;
    }
    return drop_foreign(out, n);
}

/* How much brighter it is apical of the edges than coronal of them; 0 within the lanes' own
 * scatter: a line can be laid through the steepest places of mere noise. */
static double level_step(const struct lane *lane, size_t n)
{
    double step[LANES], off[LANES], t = crest_defaults.least_t;
    for (size_t i = 0; i < n; i++)
        step[i] = lane[i].behind - lane[i].before;
    double middle = plumb_geo_median(step, n);
    for (size_t i = 0; i < n; i++)
        off[i] = fabs(lane[i].behind - lane[i].before - middle);
    double sd = 1.4826 * plumb_geo_median(off, n);
    return middle > 0.0 && middle * middle * (double)n > t * t * sd * sd ? middle : 0.0;
}

/* From the steepest place of the lanes' common profile coronalwards to where it is half as steep.
 */
static double edge_width(const struct crest_view *v, const struct lane *lane, size_t n,
                         const struct crest_line *l)
{
    static const double step_px = 0.25;
    float row[WIDTH_ROOM], sum[WIDTH_ROOM] = {0};
    double w = 0.5 * crest_defaults.lane_mm * v->mm, at = 0.0;
    for (size_t i = 0; i < n; i++) {
        struct crest_view here = *v;
        here.origin = geo_add(v->origin, geo_mul(v->along, line_at(l, lane[i].t)));
        profile(&here, v->along, v->across, lane[i].t - w, lane[i].t + w, WIDTH_HALF, row);
        for (size_t j = 0; j < WIDTH_ROOM; j++)
            sum[j] += row[j];
    }
    double reach = crest_defaults.refine_mm * v->mm, mid = WIDTH_HALF;
    double top = find_edge_in_row(sum, WIDTH_ROOM, (size_t)fmax(0.0, mid - reach),
                                  (size_t)(mid + reach) + 1, 1, &v->kernel, &at);
    if (!(top > 0.0))
        return 0.0;
    double x = at, last = fmax(1.0, at - crest_defaults.widest_mm * v->mm);
    while (x > last && find_slope_in_row(sum, WIDTH_ROOM, x, &v->kernel) > 0.5 * top)
        x -= step_px;
    return at - x;
}

/* Robust line through the lanes from t0 on, towards dir; s and its u at t. */
static int crest_at(const struct crest_view *v, const struct crest_line *l, double t0, double dir,
                    double t, struct lane *out, double *u, struct err *err)
{
    const struct crest_params *p = &crest_defaults;
    struct lane lane[LANES];
    struct geo_point pts[LANES];
    struct geo_fit fit;
    size_t n = lanes_along(v, l, t0, dir, lane);
    for (size_t i = 0; i < n; i++)
        pts[i] = (struct geo_point){lane[i].t, lane[i].s};
    if (n < (size_t)p->least_lanes || plumb_geo_fit_robust(pts, NULL, n, 0.0, &fit, err) != 0)
        return plumb_err_set(err, ERR_NOTFOUND,
                             "bone or gum is covered beside the crest near the point: mark it by "
                             "hand");
    if (fit.scale > p->max_scale_mm * v->mm)
        return plumb_err_set(err, ERR_NOTFOUND,
                             "the edges near the point do not lie on one crest: mark it by hand");
    if (fabs(fit.line.dir.x) < p->least_cos)
        return plumb_err_set(err, ERR_NOTFOUND,
                             "the edge near the point is too steep for a crest: mark it by hand");
    double level = level_step(lane, n);
    if (!(level > 0.0))
        return plumb_err_set(err, ERR_NOTFOUND,
                             "bone does not stand out from gum near the point: mark it by hand");
    double off = t - fit.line.at.x, slope = fit.line.dir.y / fit.line.dir.x;
    struct crest_line fitted = {fit.line.at.y - slope * fit.line.at.x, slope};
    *out = (struct lane){.t = t, .s = line_at(&fitted, t), .step = slope, .behind = level};
    out->width = edge_width(v, lane, n, &fitted);
    *u = hypot(fit.line.u_offset, off * fit.line.u_angle);
    return 0;
}

/* The crest on one of the lines: beside the root if one is near, else at the rough point's place.
 */
static int crest_on(const struct crest_view *v, const struct crest_line *l, double step,
                    struct find_crest *out, double *level, struct err *err)
{
    const struct crest_params *p = &crest_defaults;
    double t = 0.0, outward = 0.0, u_t = 0.5 * p->click_px, u = 0.0;
    struct lane at = {0};
    int rc;
    if (root_beside(v, l, step, &t, &outward)) {
        double ligament = t + outward * p->ligament_mm * v->mm;
        rc = crest_at(v, l, ligament, outward, ligament, &at, &u, err);
        u_t = p->u_ligament_mm * v->mm;
    } else {
        double width = LANES * p->lane_mm * v->mm;
        rc = crest_at(v, l, -0.5 * width, 1.0, 0.0, &at, &u, err);
    }
    if (rc != 0)
        return rc;
    double blurred = p->u_blurred * fmax(0.0, at.width - p->sharp_mm * v->mm);
    out->at = geo_add(v->origin, geo_add(geo_mul(v->across, at.t),
                                         geo_mul(v->along, at.s - p->inside * at.width)));
    out->u = hypot(hypot(p->widening * u, p->u_crest_mm * v->mm), hypot(blurred, at.step * u_t));
    *level = at.behind;
    return 0;
}

/* Two crests that are not one: which of them it is cannot be told. */
static int choose(const struct crest_view *v, const struct find_crest found[2],
                  struct find_crest *out, struct err *err)
{
    double apart = geo_dot(geo_sub(found[1].at, found[0].at), v->along);
    if (fabs(apart) > crest_defaults.rival_mm * v->mm)
        return plumb_err_set(err, ERR_NOTFOUND,
                             "two edges near the point may be the crest: mark it by hand");
    *out = found[0];
    return 0;
}

/* Law of total covariance: the other one, so far off, may be the crest. */
static void add_doubt(double chance, double apart, struct find_crest *out)
{
    out->u = hypot(out->u, sqrt(chance) * apart);
}

/* Just coronal of the crest another edge, as straight and at least half as high: one plate's crest
 * may lie above the other's. How far off; 0: there is none. */
static double double_crest(const struct crest_view *v, const struct crest_line *l, double step,
                           double level, const struct find_crest *found)
{
    const struct crest_params *p = &crest_defaults;
    struct crest_line coronal = {l->s - p->coronal_mm * v->mm, l->slope};
    struct find_crest other;
    struct err why = {0};
    double its = 0.0;
    if (crest_on(v, &coronal, step, &other, &its, &why) != 0 || its < p->coronal_share * level)
        return 0.0;
    return geo_dot(geo_sub(other.at, found->at), v->along);
}

static int find_crest(const struct crest_view *v, struct find_crest *out, struct err *err)
{
    const struct crest_params *p = &crest_defaults;
    struct crest_line line[2];
    struct find_crest found[2] = {0};
    double step[2], rival, level = 0.0, its = 0.0;
    struct err other = {0};
    if (!common_crests(v, line, step, &rival))
        return plumb_err_set(err, ERR_NOTFOUND,
                             "no crest edge is to be seen near the point: mark it by hand");
    int rc = crest_on(v, &line[0], step[0], &found[0], &level, err);
    *out = found[0];
    if (rc != 0)
        return rc;
    add_doubt(p->coronal_chance, double_crest(v, &line[0], step[0], level, &found[0]), out);
    if (rival == 0.0)
        return 0;
    add_doubt(p->rival_chance * rival * rival, line[1].s - line[0].s, out);
    if (rival < p->rival_share || crest_on(v, &line[1], step[1], &found[1], &its, &other) != 0)
        return 0;
    found[0] = *out;
    return choose(v, found, out, err);
}

static int find_crest_seen(const struct film *film, bool inverted, struct crest_view *v,
                           struct find_crest *out, struct err *err)
{
    struct find_image im = find_image_of(film, inverted);
    v->im = &im;
    int rc = find_crest(v, out, err);
    v->im = NULL;
    return rc;
}

/* Where the place leaves the polarity open, what is found in one of them alone is taken; where it
 * speaks against the film as a whole and shows no crest, a crown may have spoken. */
static int find_crest_both_ways(const struct film *film, struct crest_view *v,
                                struct find_crest *out, struct err *err)
{
    enum find_polarity polarity = find_polarity_at_crest(film, v->origin, v->along);
    bool first = polarity == FIND_POLARITY_INVERTED;
    struct find_crest found[2] = {0};
    struct err other = {0};
    int rc = find_crest_seen(film, first, v, &found[0], err);
    bool both = polarity == FIND_POLARITY_UNSURE;
    if (both || (rc != 0 && plumb_find_inverted(film) != first)) {
        int second = find_crest_seen(film, !first, v, &found[1], &other);
        if (rc == 0 && second == 0)
            return choose(v, found, out, err);
        if (second == 0) {
            found[0] = found[1];
            rc = 0;
        }
    }
    *out = found[0];
    return rc;
}

int plumb_find_crest(const struct film *film, struct geo_point rough, struct geo_point apical,
                     struct find_crest *out, struct err *err)
{
    const struct crest_params *p = &crest_defaults;
    double w = (double)film->width, h = (double)film->height;
    struct crest_view v = {.origin = rough, .along = geo_unit(apical)};
    memset(out, 0, sizeof *out);
    if (!(rough.x >= 0.0 && rough.y >= 0.0 && rough.x <= w - 1.0 && rough.y <= h - 1.0))
        return plumb_err_set(err, ERR_ARG,
                             "the point at %.1f,%.1f lies outside the film of %zu x %zu px",
                             rough.x, rough.y, film->width, film->height);
    if (!(geo_norm(v.along) > 0.5))
        return plumb_err_set(err, ERR_ARG, "the apical direction has no length");
    v.across = geo_perp(v.along);
    v.mm = fmin(fmax(fmin(w, h) / p->film_mm, p->least_mm), p->most_mm);
    v.kernel = find_kernel_make(p->edge_sd_mm * v.mm);
    return find_crest_both_ways(film, &v, out, err);
}
