/*
 * The crest from a rough point: where the way of the crest (crest_path.c) meets the ligament of the
 * root beside it, which stands bright beside the dark gum just coronal of it. Where the crest rises
 * from the ligament and then bends over, its summit is taken (highest bone at that root); a slope
 * that only goes on has none. Without a root near, the crest is taken at the rough point's place.
 *
 * There the lanes' steepest places are fitted by a straight line, over as long a piece as is
 * straight. Bone thins out towards the crest as the root of the depth, so the steepest place lies a
 * part of the blur inside the crest (as with root_border.c): 0.77 sd of a Gaussian blur, which is
 * 0.52 of the way from there to where the edge is half as steep on the gum's side; it is put back.
 *
 * A way is found through marrow and crowns as well. Whether it is a crest is judged: gum is even
 * and darker than most of what lies about, the edge is smooth and goes on, a root is beside it.
 *
 * Limits: nothing tells the film's scale here; the usual one is taken from its size, for lengths
 * that need no more than that. A crest that slopes by more than 60 degrees is not found.
 */
#include <math.h>
#include <string.h>
#include "find/crest_internal.h"
#include "plumbrule/find.h"

enum { LANES = CREST_LANES, WIDTH_HALF = 64, WIDTH_ROOM = 2 * WIDTH_HALF + 1, GUM_ROOM = 64 };

static const char no_edge[] = "no crest edge is to be seen near the point: mark it by hand";

struct crest_params {
    double film_mm;                /* shorter side of a usual film, as exported */
    double least_mm, most_mm;      /* px of a mm: 66 um and 15 um pixels */
    double click_px;               /* how far off the rough point may be, and a bit */
    double far_click;              /* the mark lies no farther off, in those */
    double seen;                   /* of the typical step: less is no edge */
    double refine_mm;              /* the steepest place is sought so near to the way */
    int lost;                      /* lanes without an edge: there the crest ends */
    size_t near_lanes;             /* so many next to the root tell the bone's level */
    double gum_from_mm, gum_to_mm; /* coronal of the crest: where the root stands out */
    double root_mm;                /* a root's crest lies no farther from it */
    double root_share;             /* level over the width of a blur, in typical steps: a root's */
    double root_edge_mm;           /* that width */
    double ligament_mm;  /* from the steepest place of the root to the ligament's border */
    double u_across_mm;  /* of that, and of where along its slope the crest is meant */
    double summit_mm;    /* a summit lies no farther from the ligament */
    double bend_mm;      /* it is looked at so far for a bend */
    double bulge_mm;     /* a crest bends over that rises so far above its chord */
    double summit_slope; /* beyond it the crest rises no more than so */
    double carry_mm;     /* a line is carried on so far */
    double least_cos;    /* of the crest's slope: 66 degrees */
    double straight_mm;  /* most lanes of a straight piece lie so near to its line */
    double most_lanes;   /* that share is "most" */
    size_t least_lanes, piece_lanes;     /* of a piece */
    double beside_from_mm, beside_to_mm; /* levels are compared there, either way of the crest */
    double even_from_mm, even_to_mm;     /* gum is looked at there, coronal of the crest */
    double onset_mm;   /* the steepest place lies about so far inside the crest of a thin ridge */
    double inside;     /* the steepest place lies so many widths inside the crest */
    double widest_mm;  /* an edge is looked at so far */
    double sharp_mm;   /* width of a sharp crest; of what is wider, */
    double u_blurred;  /* so much is uncertain: a thin ridge that fades coronalwards */
    double widening;   /* of the line's own uncertainty: lanes share the bone's texture */
    double u_crest_mm; /* systematic: blur, tone, thin bone */
    double u_else;     /* of the disc about the click, when the edge is not the crest */
    double u_summit;   /* share of what lies between the summit and the root's own crest */
    double u_other;    /* share of what lies between the crests of two roots equally near */
    double plate_rise; /* gum that rises more, in the crest's step, is another edge: one plate's
                          crest may lie above the other's; */
    double u_plate_mm; /* of what it rises more */
    double least_log_odds; /* less is no crest */
    double witness;        /* log odds of the polarity that one speaks for */
};

/* (phantoms), but for what a comment gives */
static const struct crest_params crest_defaults = {
    .film_mm = 24.0,
    .least_mm = 15.0,
    .most_mm = 66.0,
    .click_px = 20.0,
    .far_click = 1.3,
    .seen = 0.3,
    .refine_mm = 0.2,
    .lost = 4,
    .near_lanes = 8,
    .gum_from_mm = 0.2,
    .gum_to_mm = 0.8,
    .root_mm = 1.1,
    .root_share = 0.45,
    .root_edge_mm = 0.32,
    .ligament_mm = 0.28,
    .u_across_mm = 0.15,
    .summit_mm = 0.8,
    .bend_mm = 1.0,
    .bulge_mm = 0.05,
    .summit_slope = 0.35,
    .carry_mm = 0.5,
    .least_cos = 0.4,
    .straight_mm = 0.08,
    .most_lanes = 0.85,
    .least_lanes = 4,
    .piece_lanes = 17,
    .beside_from_mm = 0.05,
    .beside_to_mm = 0.4,
    .even_from_mm = 0.12,
    .even_to_mm = 0.9,
    .onset_mm = 0.15,
    .inside = 0.52,
    .widest_mm = 0.4,
    .sharp_mm = 0.12,
    .u_blurred = 0.8,
    .widening = 2.0,
    .u_crest_mm = 0.06,
    .u_else = 0.38,
    .u_summit = 0.5,
    .u_other = 0.5,
    .plate_rise = 0.15,
    .u_plate_mm = 0.6,
    .least_log_odds = -1.2,
    .witness = 2.0,
};

struct lane {
    size_t i;
    double t, s;           /* px across and along; the steepest rise */
    double before, behind; /* mean levels coronal and apical of it */
};

/* A root beside the crest. */
struct root_side {
    bool found;
    double t;       /* px across: the ligament's outer border */
    double outward; /* +1 or -1 across, away from the root */
};

/* Where the crest is taken. */
struct mark {
    struct lane lane[LANES]; /* from the root on */
    size_t n, at;            /* lanes; the one of the mark */
    bool root;
    double t, u_t; /* px across */
    double away;   /* px from the rough point: of the root, and more if the click means another */
    double doubt;  /* px along: so far from the summit is the crest at the ligament */
    double other;  /* px along: so far off is the crest of another root, the less the farther */
};

/* A piece of the crest about its mark: the line s = s + slope t through its lanes. */
struct piece {
    const struct lane *lane;
    size_t n;
    bool straight;
    double s, slope, bend; /* px: the lanes nearest to the mark lie off the line by bend */
    struct geo_fit fit;
};

/* The roots seen just coronal of the crest, either way of the darkest gum near the rough point. */
static void roots_beside(const struct crest_view *v, const struct crest_path *path,
                         struct root_side out[2])
{
    const struct crest_params *p = &crest_defaults;
    float row[CREST_ROWS];
    double top = HUGE_VAL, reach = v->click + p->root_mm * v->mm, at = 0.0;
    size_t half = (size_t)fmin(CREST_HALF, reach + v->kernel.reach), gum = half,
           click = (size_t)v->click;
    memset(out, 0, 2 * sizeof *out);
    for (size_t i = 0; i < LANES; i++)
        if (fabs(crest_lane_at(v, i)) <= v->click && path->step[i] >= p->seen)
            top = fmin(top, path->s[i]);
    if (top == HUGE_VAL)
        return;
    crest_profile(v->im, v->origin, v->across, v->along, top - p->gum_to_mm * v->mm,
                  top - p->gum_from_mm * v->mm, half, row);
    for (size_t j = half - click; j <= half + click; j++)
        gum = row[j] < row[gum] ? j : gum;
    for (int k = 0; k < 2; k++) {
        double outward = k == 0 ? 1.0 : -1.0;
        size_t from = k == 0 ? half - (size_t)reach : gum,
               to = k == 0 ? gum + 1 : half + (size_t)reach + 1;
        double slope =
            find_edge_in_row(row, 2 * half + 1, from, to, k == 0 ? -1 : 1, &v->kernel, &at);
        out[k] = (struct root_side){.found = slope * p->root_edge_mm * v->mm >=
                                             p->root_share * v->typical,
                                    .t = at - (double)half + outward * p->ligament_mm * v->mm,
                                    .outward = outward};
    }
}

/* Mean level of a lane over [from,to] along. */
static double lane_level(const struct crest_view *v, size_t lane, double from, double to)
{
    double sum = 0.0, first = from + (double)v->half;
    int n = (int)(to - from) + 1;
    for (int k = 0; k < n; k++)
        sum += (double)v->plain[lane][(size_t)fmin(fmax(0.0, first + k), 2.0 * (double)v->half)];
    return sum / n;
}

/* The lane's steepest rise near the way; where it has none of its own, the way itself. */
static struct lane lane_edge(const struct crest_view *v, const struct crest_path *path, size_t i)
{
    const struct crest_params *p = &crest_defaults;
    double near = p->beside_from_mm * v->mm, far = p->beside_to_mm * v->mm;
    double way = path->s[i] + (double)v->half, at = way, reach = p->refine_mm * v->mm;
    find_edge_in_row(v->level[i], 2 * v->half + 1, (size_t)fmax(0.0, way - reach),
                     (size_t)(way + reach + 1.0), 1, &v->kernel, &at);
    double s = at - (double)v->half;
    return (struct lane){.i = i,
                         .t = crest_lane_at(v, i),
                         .s = s,
                         .before = lane_level(v, i, s - far, s - near),
                         .behind = lane_level(v, i, s + near, s + far)};
}

/* Lanes over metal or over a root, with something before their edge that is brighter than the bone
 * behind the first ones', show no crest. Returns how many are left. */
static size_t drop_foreign(struct lane *lane, size_t n)
{
    double behind[LANES];
    size_t kept = 0, near = n < crest_defaults.near_lanes ? n : crest_defaults.near_lanes;
    for (size_t i = 0; i < n; i++)
        behind[i] = lane[i].behind;
    double bone = n > 0 ? plumb_geo_median(behind, near) : 0.0;
    for (size_t i = 0; i < n; i++)
        if (lane[i].before < bone)
            lane[kept++] = lane[i];
    return kept;
}

/* The lanes from t0 on, towards dir, until the edge is lost, in that order. */
static size_t lanes_along(const struct crest_view *v, const struct crest_path *path, double t0,
                          double dir, struct lane *out)
{
    const struct crest_params *p = &crest_defaults;
    size_t n = 0;
    int lost = 0;
    for (size_t k = 0; k < LANES && lost < p->lost; k++) {
        size_t i = dir > 0.0 ? k : LANES - 1 - k;
        if (dir * (crest_lane_at(v, i) - t0) < 0.4 * v->lane)
            continue;
        bool seen = path->step[i] >= p->seen;
        if (seen)
            out[n++] = lane_edge(v, path, i);
        lost = seen || n == 0 ? 0 : lost + 1;
    }
    return drop_foreign(out, n);
}

static size_t lanes_within(const struct mark *m, double t, double reach)
{
    size_t n = 0;
    while (n < m->n && fabs(m->lane[n].t - t) <= reach)
        n++;
    return n;
}

/* Does the crest bend over within so many lanes from the root on? */
static bool bends_over(const struct crest_view *v, const struct lane *lane, size_t n)
{
    double slope = n > 1 ? (lane[n - 1].s - lane[0].s) / (double)(n - 1) : 0.0;
    for (size_t i = 1; i + 1 < n; i++) {
        double s = (lane[i - 1].s + lane[i].s + lane[i + 1].s) / 3.0;
        if (lane[0].s + slope * (double)i - s >= crest_defaults.bulge_mm * v->mm)
            return true;
    }
    return false;
}

/* The mark at a root; false when its crest lies too far from the rough point. */
static bool mark_at_root(const struct crest_view *v, const struct crest_path *path,
                         const struct root_side *root, struct mark *out)
{
    const struct crest_params *p = &crest_defaults;
    const struct lane *lane = out->lane;
    double at_root = 0.0, highest = 0.0;
    size_t near = 0, root_lane = LANES, summit = 0;
    out->n = lanes_along(v, path, root->t, root->outward, out->lane);
    for (; near < out->n && fabs(lane[near].t - root->t) <= p->summit_mm * v->mm; near++) {
        double s = lane[near].s + p->summit_slope * fabs(lane[near].t - root->t);
        if (hypot(near == 0 ? root->t : lane[near].t, lane[near].s - p->onset_mm * v->mm) >
            v->click)
            continue;
        if (root_lane == LANES) {
            root_lane = summit = near;
            at_root = highest = s;
        }
        if (s < highest) {
            summit = near;
            highest = s;
        }
    }
    if (root_lane == LANES)
        return false;
    out->root = true;
    out->at =
        bends_over(v, lane, lanes_within(out, root->t, p->bend_mm * v->mm)) ? summit : root_lane;
    out->t = out->at == 0 ? root->t : lane[out->at].t;
    out->u_t = p->u_across_mm * v->mm;
    out->doubt = at_root - highest;
    out->away = fabs(root->t) + (root_lane > 0 ? v->click : 0.0);
    return true;
}

static void mark_at_click(const struct crest_view *v, const struct crest_path *path,
                          struct mark *out)
{
    *out = (struct mark){.u_t = 0.5 * v->click};
    out->n = lanes_along(v, path, -HUGE_VAL, 1.0, out->lane);
    for (size_t i = 0; i < out->n; i++)
        if (fabs(out->lane[i].t) < fabs(out->lane[out->at].t))
            out->at = i;
}

/* At the nearer one of two roots. */
static void mark_on(const struct crest_view *v, const struct crest_path *path, struct mark *out)
{
    struct root_side root[2];
    struct mark mark[2] = {0};
    bool good[2];
    roots_beside(v, path, root);
    for (int k = 0; k < 2; k++)
        good[k] = root[k].found && mark_at_root(v, path, &root[k], &mark[k]);
    if (!good[0] && !good[1]) {
        mark_at_click(v, path, out);
        return;
    }
    double farther = mark[1].away - mark[0].away;
    *out = mark[!good[0] || (good[1] && farther < 0.0)];
    if (good[0] && good[1])
        out->other = exp(-fabs(farther) / v->click) *
                     fabs(mark[1].lane[mark[1].at].s - mark[0].lane[mark[0].at].s);
}

/* How far the lanes nearest to the mark lie off the line, on the whole. */
static double bend_at(const struct piece *piece, size_t at)
{
    size_t from = at > 1 ? at - 1 : 0;
    double sum = 0.0;
    from = from + 3 > piece->n ? piece->n - 3 : from;
    for (size_t i = from; i < from + 3; i++)
        sum += piece->lane[i].s - piece->s - piece->slope * piece->lane[i].t;
    return sum / 3.0;
}

/* Most of the lanes lie so near to the line, px. */
static double spread(const struct geo_point *pts, size_t n, const struct geo_line *l)
{
    float off[LANES];
    for (size_t i = 0; i < n; i++)
        off[i] = (float)fabs(geo_cross(l->dir, geo_sub(pts[i], l->at)));
    return find_quantile_f(off, n, crest_defaults.most_lanes);
}

/* The piece of n lanes about the mark. */
static int piece_of(const struct crest_view *v, const struct mark *m, size_t n, struct piece *out,
                    struct err *err)
{
    struct geo_point pts[LANES];
    const struct geo_line *l = &out->fit.line;
    double most = crest_defaults.straight_mm * v->mm;
    size_t from = m->at > n / 2 ? m->at - n / 2 : 0;
    from = from + n > m->n ? m->n - n : from;
    *out = (struct piece){.lane = m->lane + from, .n = n};
    for (size_t i = 0; i < n; i++)
        pts[i] = (struct geo_point){out->lane[i].t, out->lane[i].s};
    int rc = plumb_geo_fit_robust(pts, NULL, n, 0.0, &out->fit, err);
    if (rc != 0)
        return rc;
    out->slope = l->dir.y / l->dir.x;
    out->s = l->at.y - out->slope * l->at.x;
    out->bend = bend_at(out, m->at - from);
    out->straight = fabs(out->bend) <= 0.5 * most && spread(pts, n, l) <= most;
    return 0;
}

/* The longest straight piece about the mark; where there is none, a short one that is not. */
static int piece_about(const struct crest_view *v, const struct mark *m, struct piece *out,
                       struct err *err)
{
    const struct crest_params *p = &crest_defaults;
    size_t n = m->n < p->piece_lanes ? m->n : p->piece_lanes;
    for (;; n -= 2) {
        int rc = piece_of(v, m, n, out, err);
        if (rc != 0 || out->straight || n < p->least_lanes + 2)
            return rc;
    }
}

/* The edge of a lane by the five about it, fewer near the ends: noise off, bends kept. */
static double smooth_at(const struct piece *piece, size_t i)
{
    size_t room = i < piece->n - 1 - i ? i : piece->n - 1 - i, half = room < 2 ? room : 2;
    double sum = 0.0;
    for (size_t k = i - half; k <= i + half; k++)
        sum += piece->lane[k].s;
    return sum / (double)(2 * half + 1);
}

/* From the steepest place of the lanes' common profile coronalwards to where it is half as steep.
 */
static double edge_width(const struct crest_view *v, const struct piece *piece)
{
    static const double step_px = 0.25;
    float row[WIDTH_ROOM], sum[WIDTH_ROOM] = {0};
    double w = 0.5 * v->lane, at = 0.0;
    for (size_t i = 0; i < piece->n; i++) {
        struct geo_point origin = geo_add(v->origin, geo_mul(v->along, smooth_at(piece, i)));
        crest_profile(v->im, origin, v->along, v->across, piece->lane[i].t - w,
                      piece->lane[i].t + w, WIDTH_HALF, row);
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

/* How much brighter bone is than gum: median over the piece. */
static double level_step(const struct piece *piece)
{
    double step[LANES];
    for (size_t i = 0; i < piece->n; i++)
        step[i] = piece->lane[i].behind - piece->lane[i].before;
    return plumb_geo_median(step, piece->n);
}

/* The gum coronal of the piece, levels. */
struct gum {
    double range; /* between its darkest and its brightest */
    double rise;  /* where it best falls into a dark part and a bright one next to the crest */
};

static double best_rise(const float *level, size_t n)
{
    static const size_t least = 3;
    double all = 0.0, near = 0.0, best = 0.0;
    for (size_t i = 0; i < n; i++)
        all += (double)level[i];
    for (size_t i = 0; i + least < n; i++) {
        near += (double)level[i];
        double m = (double)i + 1.0;
        if (i + 1 >= least)
            best = fmax(best, near / m - (all - near) / ((double)n - m));
    }
    return best;
}

static struct gum gum_of(const struct crest_view *v, const struct piece *piece)
{
    const struct crest_params *p = &crest_defaults;
    float level[GUM_ROOM], darkest = HUGE_VALF, brightest = -HUGE_VALF;
    double first = p->even_from_mm * v->mm, w = 0.5 * first;
    size_t n = (size_t)fmin(GUM_ROOM, (p->even_to_mm - p->even_from_mm) * v->mm);
    for (size_t k = 0; k < n; k++) {
        double sum = 0.0;
        for (size_t i = 0; i < piece->n; i++) {
            double s = piece->lane[i].s - first - (double)k;
            sum += lane_level(v, piece->lane[i].i, s - w, s + w) / (double)piece->n;
        }
        level[k] = (float)sum;
        darkest = fminf(darkest, level[k]);
        brightest = fmaxf(brightest, level[k]);
    }
    return (struct gum){.range = (double)(brightest - darkest), .rise = best_rise(level, n)};
}

/* Median level of what is looked at, less that of the gum. */
static double about_gum(const struct crest_view *v, const struct piece *piece)
{
    static const double beyond_mm = 0.8;
    float level[CREST_LANES * CREST_ROWS];
    double gum = 0.0, reach = v->click + beyond_mm * v->mm;
    size_t n = 0;
    for (size_t i = 0; i < LANES; i++)
        for (size_t j = 0; j <= 2 * v->half; j += 2)
            if (fabs((double)j - (double)v->half) < reach)
                level[n++] = v->plain[i][j];
    for (size_t i = 0; i < piece->n; i++)
        gum += piece->lane[i].before / (double)piece->n;
    return find_quantile_f(level, n, 0.5) - gum;
}

/* Mean bend from lane to lane, mm. */
static double roughness(const struct crest_view *v, const struct mark *m)
{
    double sum = 0.0;
    for (size_t i = 1; i + 1 < m->n; i++)
        sum += fabs(m->lane[i - 1].s - 2.0 * m->lane[i].s + m->lane[i + 1].s);
    return sum / (double)(m->n - 2) / v->mm;
}

struct evidence {
    double lo, hi, weight; /* value clipped to lo..hi; weight in log odds */
};

/* Fitted to drawn films of three kinds: clicks on crests against clicks 4 mm off. */
static const struct evidence evidence[] = {
    {-3.0, 2.0, -1.3},  /* gum is even */
    {-1.0, 3.0, 1.2},   /* and darker than most of what lies about */
    {-6.2, 0.0, -0.36}, /* the edge is smooth */
    {0.0, 1.0, 5.1},    /* and goes on */
    {0.0, 1.0, 2.9},    /* beside a root */
};
static const double evidence_const = -10.0;

/* What was found of a crest. */
struct seen {
    struct crest_path path;
    struct mark mark;
    struct piece piece;
    struct gum gum;
    double level;    /* how much brighter bone is than gum */
    double log_odds; /* of a crest */
};

/* Log odds of a crest against a click on marrow, a root, a crown. */
static double judge(const struct crest_view *v, const struct seen *c)
{
    double lanes = 0.0, sum = evidence_const;
    for (size_t i = 0; i < LANES; i++)
        lanes += c->path.step[i] >= crest_defaults.seen ? 1.0 / LANES : 0.0;
    const double value[] = {log(c->gum.range / c->level), about_gum(v, &c->piece) / c->level,
                            log(roughness(v, &c->mark)), lanes, c->mark.root ? 1.0 : 0.0};
    for (size_t i = 0; i < sizeof evidence / sizeof evidence[0]; i++)
        sum += evidence[i].weight * fmin(fmax(value[i], evidence[i].lo), evidence[i].hi);
    return sum;
}

/* The line is carried on to the ligament where it is straight, and not far where it is steep. */
static double mark_place(const struct crest_view *v, const struct mark *m,
                         const struct piece *piece)
{
    const struct crest_params *p = &crest_defaults;
    double lane = m->lane[m->at].t,
           reach = fabs(piece->slope) < p->summit_slope ? p->carry_mm * v->mm : v->lane;
    return piece->straight && fabs(m->t - lane) <= reach ? m->t : lane;
}

static void place(const struct crest_view *v, const struct seen *c, struct find_crest *out)
{
    const struct crest_params *p = &crest_defaults;
    const struct mark *m = &c->mark;
    const struct piece *piece = &c->piece;
    double width = edge_width(v, piece), t = mark_place(v, m, piece);
    double s = piece->s + piece->slope * t + (piece->straight ? 0.0 : piece->bend);
    double u_line =
        hypot(piece->fit.line.u_offset, (t - piece->fit.line.at.x) * piece->fit.line.u_angle);
    double chance = 1.0 / (1.0 + exp(c->log_odds));
    double part[] = {p->widening * u_line,
                     p->u_crest_mm * v->mm,
                     p->u_blurred * fmax(0.0, width - p->sharp_mm * v->mm),
                     piece->slope * m->u_t,
                     p->u_summit * m->doubt,
                     p->u_other * m->other,
                     p->u_plate_mm * v->mm * fmax(0.0, c->gum.rise / c->level - p->plate_rise),
                     p->u_else * sqrt(chance) * v->click};
    out->u = 0.0;
    for (size_t i = 0; i < sizeof part / sizeof part[0]; i++)
        out->u = hypot(out->u, part[i]);
    out->at = geo_add(v->origin,
                      geo_add(geo_mul(v->across, t), geo_mul(v->along, s - p->inside * width)));
}

static int find_piece(struct crest_view *v, struct seen *c, struct err *err)
{
    const struct crest_params *p = &crest_defaults;
    if (!crest_look(v))
        return plumb_err_set(err, ERR_NOTFOUND, "%s", no_edge);
    crest_follow(v, &c->path);
    mark_on(v, &c->path, &c->mark);
    if (c->mark.n < p->least_lanes || piece_about(v, &c->mark, &c->piece, err) != 0)
        return plumb_err_set(err, ERR_NOTFOUND,
                             "bone or gum is covered beside the crest near the point: mark it by "
                             "hand");
    if (fabs(c->piece.fit.line.dir.x) < p->least_cos)
        return plumb_err_set(err, ERR_NOTFOUND,
                             "the edge near the point is too steep for a crest: mark it by hand");
    return 0;
}

/* before: log odds of the film's polarity. Gives those of a crest. */
static int find_crest(struct crest_view *v, double before, struct find_crest *out, double *log_odds,
                      struct err *err)
{
    const struct crest_params *p = &crest_defaults;
    struct seen c = {0};
    int rc = find_piece(v, &c, err);
    if (rc != 0)
        return rc;
    c.level = level_step(&c.piece);
    c.gum = gum_of(v, &c.piece);
    c.log_odds = c.level > 0.0 ? before + judge(v, &c) : -HUGE_VAL;
    if (!(c.log_odds >= p->least_log_odds))
        return plumb_err_set(err, ERR_NOTFOUND,
                             "bone does not stand out from gum near the point: mark it by hand");
    place(v, &c, out);
    *log_odds = c.log_odds;
    if (geo_dist(out->at, v->origin) > p->far_click * v->click)
        return plumb_err_set(err, ERR_NOTFOUND, "%s", no_edge);
    return 0;
}

static int find_crest_seen(const struct film *film, bool inverted, double before,
                           struct crest_view *v, struct find_crest *out, double *log_odds,
                           struct err *err)
{
    struct find_image im = find_image_of(film, inverted);
    v->im = &im;
    int rc = find_crest(v, before, out, log_odds, err);
    v->im = NULL;
    if (rc != 0)
        memset(out, 0, sizeof *out);
    return rc;
}

/* Two witnesses of the polarity, the place and the film as a whole: where they do not agree, or the
 * place says nothing, the polarity counts that shows a crest more clearly. */
static int find_crest_both_ways(const struct film *film, struct crest_view *v,
                                struct find_crest *out, struct err *err)
{
    enum find_polarity place = find_polarity_at_crest(film, v->origin, v->along);
    bool whole = plumb_find_inverted(film), open = place == FIND_POLARITY_UNSURE;
    bool first = open ? whole : place == FIND_POLARITY_INVERTED;
    struct find_crest other;
    struct err why = {0}, its_why = {0};
    double odds = -HUGE_VAL, its = -HUGE_VAL, before = open ? -crest_defaults.witness : 0.0;
    int rc = find_crest_seen(film, first, 0.0, v, out, &odds, &why);
    bool agree = !open && first == whole;
    if (!agree && find_crest_seen(film, !first, before, v, &other, &its, &its_why) == 0 &&
        (rc != 0 || its > odds)) {
        *out = other;
        rc = 0;
    }
    return rc == 0 ? 0 : plumb_err_set(err, rc, "%s", why.text);
}

int plumb_find_crest(const struct film *film, struct geo_point rough, struct geo_point apical,
                     struct find_crest *out, struct err *err)
{
    const struct crest_params *p = &crest_defaults;
    double w = (double)film->width, h = (double)film->height;
    struct crest_view v = {.origin = rough, .along = geo_unit(apical), .click = p->click_px};
    memset(out, 0, sizeof *out);
    if (!(rough.x >= 0.0 && rough.y >= 0.0 && rough.x <= w - 1.0 && rough.y <= h - 1.0))
        return plumb_err_set(err, ERR_ARG,
                             "the point at %.1f,%.1f lies outside the film of %zu x %zu px",
                             rough.x, rough.y, film->width, film->height);
    if (!(geo_norm(v.along) > 0.5))
        return plumb_err_set(err, ERR_ARG, "the apical direction has no length");
    v.across = geo_perp(v.along);
    v.mm = fmin(fmax(fmin(w, h) / p->film_mm, p->least_mm), p->most_mm);
    return find_crest_both_ways(film, &v, out, err);
}
