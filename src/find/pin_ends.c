/*
 * Where a pin ends: both ends of the core, the tip's shape and place.
 *
 * Ends: the mean level of the core falls to the surroundings at a free end, goes on into a collar,
 * a crown or a handle, or leaves the film. Tip: the end's edge in every column across, as a
 * function of x = distance from the axis / radius. A flat end that leans out of the film's plane
 * shows its rim as half an ellipse, s = centre + b sqrt(1-x^2), b = r sin(lean), and the axis ends
 * at the centre; a hemisphere is the same curve with b = r and ends at the summit; a cone is
 * s = apex - h x, or ends before that on a straight face across the axis. Flutes notch an end: a
 * curve starts from the two columns with the least median of deviations, and columns far off it
 * count no more than a fixed amount.
 *
 * Limits: what lean hides of a round end or a cone is not seen and stays in u_tip; a blunt cone
 * (h < 0.25 r) reads as flat.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/pin_internal.h"

static const double core_half = 0.22;  /* of the width */
static const double free_drop = 0.5;   /* of the flanks' contrast */
static const double frame_even = 0.05; /* of the same: a frame has no texture of its own */
static const double frame_most = 0.12; /* of the axis' way through the film: a frame is narrow */
static const double end_sd_px = 2.0;
/* By how much an end lies farther out than its steepest place, against the same at the flanks (half
 * of the width's correction): regression on phantoms, seeds 1 to 100. A flat end has no chord that
 * thins out, a cone's apex all the more. */
static const double flat_gain = 0.85, round_gain = 0.81, cone_gain = 1.5;
static const double cone_least = 0.25;  /* height/r: a blunter cone reads as flat */
static const double round_most = 1.35;  /* b/r: a longer end is a cone whose sides are notched */
static const double apart_least = 0.15; /* of f between two columns that tell a curve */
static const double cap_share = 0.03;   /* of the width: a column farther off is not the end's */
/* b/r: a flat end that leans as far as pins do, up to 24 degrees, or one with a rounded or broken
 * edge, or a shallow cap: any may be it, and the tip is off by b if it is another. */
static const double flat_ratio = 0.4, cap_ratio = 0.6, doubt = 0.4;
static const double round_lean = 0.03; /* radii: 1 - cos(14 degrees), of a round end that leans */
static const double notched = 0.015;   /* widths: what flutes take off a drill's point, unseen */

/* A cone's apex is rounded by the blur: columns nearer to the axis, in radii, are left out. */
static const double cone_from = 0.18;
/* The middle columns, in radii; how much shorter than the apex they end, px, by the blur; what is
 * within reason; a share of the rest; radii farther than that is another thing (phantoms). */
static const double middle = 0.1, middle_px = 1.0, middle_slack = 1.5, middle_doubt = 0.5;
static const double middle_most = 0.2;
/* A truncated cone: half its face, radii; columns nearer to the face's rim than that may be either;
 * how far a face's columns lie from one line, and how many of them, to either side. */
static const double edge_least = 0.12, edge_most = 0.65, edge_blur = 0.06;
static const double face_px = 1.0, face_share = 0.8;
/* px, square to the cone's side: blur takes up to 2.4 off a point (phantoms); times that where the
 * sides dip, as flutes notch a point; the deviations of the columns against those from another
 * shape; half the range of sin(lean), which moves the rim. */
static const double face_clear_px = 3.0, face_fluted = 1.5, face_better = 0.85, face_lean = 0.15;
static const double rms_least = 0.15; /* px: no curve fits better than this for a reason */

/* Neighbouring columns share blur and noise: so many count as independent. */
enum { COLUMNS = 31, COLUMNS_MIN = 9, COLUMNS_FREE = 8, FACE_MIN = 2 };

void pin_band(const struct pin_body *b, size_t i0, size_t i1, double t0, double t1, float *out)
{
    const struct find_strip *st = &b->strip;
    for (size_t i = i0; i <= i1; i++) {
        double mid = pin_body_mid(b, st->s0 + st->ds * (double)i);
        double j0 = fmax(0.0, (mid + t0 - st->t0) / st->dt);
        double j1 = fmin((double)(st->cols - 1), (mid + t1 - st->t0) / st->dt);
        const float *row = find_strip_row(st, i);
        double sum = 0.0;
        size_t n = 0;
        for (size_t j = (size_t)(j0 + 0.5); (double)j <= j1 + 0.5 && j < st->cols; j++, n++)
            sum += (double)row[j];
        out[i - i0] = (float)(n > 0 ? sum / (double)n : 0.0);
    }
}

static double mean_of(const float *v, size_t n, double from, double to)
{
    size_t a = from <= 0.0 ? 0 : (size_t)from, b = to <= 0.0 ? 0 : (size_t)to;
    double sum = 0.0;
    b = b >= n ? n - 1 : b;
    for (size_t i = a; i <= b && a < n; i++)
        sum += (double)v[i];
    return b >= a && a < n ? sum / (double)(b - a + 1) : 0.0;
}

static struct find_kernel along_kernel(const struct find_strip *st)
{
    return find_kernel_make(fmin(5.0, end_sd_px / st->ds + 0.5));
}

/* Levels along the strip: of the core, and beside the flanks. */
struct along {
    float *core, *beside, *other;
    size_t n;
};

/* In the room of the body's rows. */
static struct along along_of(const struct pin_body *b)
{
    size_t n = b->strip.rows, last = n - 1;
    float *room = b->rows.room;
    struct along a = {room, room + n, room + 2 * n, n};
    double r = 0.5 * b->width, gap = fmax(3.0, b->im->scale), depth = fmax(4.0, 0.12 * b->width);
    pin_band(b, 0, last, -core_half * b->width, core_half * b->width, a.core);
    pin_band(b, 0, last, r + gap, r + gap + depth, a.beside);
    pin_band(b, 0, last, -r - gap - depth, -r - gap, a.other);
    return a;
}

static void average_sides(struct along *a)
{
    for (size_t i = 0; i < a->n; i++)
        a->beside[i] = 0.5F * (a->beside[i] + a->other[i]);
}

static void reverse(float *v, size_t n)
{
    for (size_t i = 0, j = n - 1; i < j; i++, j--) {
        float t = v[i];
        v[i] = v[j];
        v[j] = t;
    }
}

/* Does the film's frame begin at this row? From there to the film's edge the core and what lies
 * beside it are one level. */
static bool frame_begins(const struct along *a, double row, double contrast)
{
    float last = a->core[a->n - 1], most = (float)(frame_even * contrast);
    size_t i = (size_t)ceil(row);
    while (i < a->n && fabsf(a->core[i] - last) < most && fabsf(a->beside[i] - last) < most)
        i++;
    return i >= a->n;
}

/* The end towards larger rows of a run that ends at row i1; wr: the width in rows. What the core
 * falls by is held against its contrast to the sides near that same end. */
static void end_of(const struct along *a, double i1, double wr, double inside,
                   const struct find_kernel *k, enum pin_end_kind *kind, double *at, double *drop)
{
    double n = (double)a->n, where = i1;
    double from = fmax(0.0, i1 - 0.7 * wr), to = fmin(n, i1 + 1.2 * wr);
    double beside = mean_of(a->beside, a->n, i1 - 1.2 * wr, i1 - 0.2 * wr);
    /* the first end of the metal, not the steepest: a film's frame may lie beyond the tip */
    size_t first = (size_t)from;
    while ((double)first < to && (double)a->core[first] > inside - free_drop * (inside - beside))
        first++;
    to = fmin(to, (double)first + 0.3 * wr);
    double g = find_edge_in_row(a->core, a->n, (size_t)from, (size_t)to, -1, k, &where);
    double beyond = mean_of(a->core, a->n, where + 0.15 * wr, where + 0.45 * wr);
    double contrast = inside - beside;
    bool room = where + 0.3 * wr < n;
    /* what ends at the frame goes on; a pin's tip stands in tissue, which is not even */
    bool leaves = room && n - where < frame_most * n &&
                  fabs(beside - (double)a->core[a->n - 1]) > frame_even * contrast &&
                  frame_begins(a, where + 0.15 * wr, contrast);
    *drop = g > 0.0 && room && contrast > 0.0 ? (inside - beyond) / contrast : 0.0;
    bool film = leaves || i1 + 0.5 * wr >= n;
    *kind = *drop >= free_drop && !leaves ? PIN_END_FREE : film ? PIN_END_FILM : PIN_END_OPEN;
    *at = *kind == PIN_END_FREE || leaves ? where : film ? n - 1.0 : i1;
}

void pin_ends_find(const struct pin_body *b, struct pin_ends *out)
{
    const struct find_strip *st = &b->strip;
    struct along a = along_of(b);
    average_sides(&a);
    struct find_kernel k = along_kernel(st);
    double wr = b->width / st->ds, at = 0.0, last = (double)(st->rows - 1);
    memset(out, 0, sizeof *out);
    end_of(&a, (double)b->i1, wr, b->inside, &k, &out->kind[1], &at, &out->drop[1]);
    out->at[1] = st->s0 + st->ds * at;
    reverse(a.core, a.n);
    reverse(a.beside, a.n);
    end_of(&a, last - (double)b->i0, wr, b->inside, &k, &out->kind[0], &at, &out->drop[0]);
    out->at[0] = st->s0 + st->ds * (last - at);
}

void pin_ends_turn(struct pin_body *b, struct geo_point air, struct pin_ends *e)
{
    bool free0 = e->kind[0] == PIN_END_FREE, free1 = e->kind[1] == PIN_END_FREE;
    bool turn = free0 && !free1;
    if (free0 && free1)
        turn = geo_dot(b->axis.dir, air) > 0.0;
    if (!turn)
        return;
    pin_body_flip(b);
    pin_ends_find(b, e);
}

struct end_curve {
    size_t n;
    double x[COLUMNS], s[COLUMNS]; /* t/r, place of the edge */
};

/* The fall of each column near the tip. */
static int end_curve(const struct pin_body *b, double tip, struct end_curve *c, struct err *err)
{
    const struct find_strip *st = &b->strip;
    double r = pin_body_half(b, tip), i_tip = (tip - st->s0) / st->ds, wr = b->width / st->ds;
    size_t i0 = (size_t)fmax(0.0, i_tip - 1.0 * wr);
    size_t i1 = (size_t)fmin((double)(st->rows - 1), i_tip + 0.6 * wr), n = i1 - i0 + 1;
    float *v = plumb_mem_array(n, sizeof *v, err);
    if (!v)
        return ERR_NOMEM;
    struct find_kernel kernel = along_kernel(st);
    c->n = 0;
    for (int k = 0; k < COLUMNS; k++) {
        double x = -0.9 + 1.8 * k / (COLUMNS - 1), half = 0.9 * r / (COLUMNS - 1), at = 0.0;
        pin_band(b, i0, i1, x * r - half, x * r + half, v);
        double g = find_edge_in_row(v, n, 0, n, -1, &kernel, &at);
        if (g <= 0.0)
            continue;
        c->x[c->n] = x;
        c->s[c->n++] = st->s0 + st->ds * ((double)i0 + at);
    }
    free(v);
    return 0;
}

static double ellipse(double x)
{
    return sqrt(fmax(0.0, 1.0 - x * x));
}

static double cone(double x)
{
    return 1.0 - fabs(x);
}

struct shape_fit {
    double a, b; /* s = a + b f(x) */
    double rms;  /* columns far off capped */
    double u_a, u_b;
};

static double off_shape(const struct end_curve *c, size_t i, double (*f)(double), double a,
                        double b)
{
    return c->s[i] - a - b * f(c->x[i]);
}

/* The curve through two columns that has the least median of deviations (Rousseeuw 1984): flutes
 * notch an end, and up to half of its columns end elsewhere. Returns the median. */
static double start_shape(const struct end_curve *c, double (*f)(double), struct shape_fit *out)
{
    double best = HUGE_VAL;
    for (size_t i = 0; i < c->n; i++)
        for (size_t j = i + 1; j < c->n; j++) {
            float d[COLUMNS];
            double fi = f(c->x[i]), run = f(c->x[j]) - fi;
            if (fabs(run) < apart_least)
                continue;
            double b = (c->s[j] - c->s[i]) / run, a = c->s[i] - b * fi;
            for (size_t k = 0; k < c->n; k++)
                d[k] = (float)fabs(off_shape(c, k, f, a, b));
            double m = find_quantile_f(d, c->n, 0.5);
            if (m < best) {
                best = m;
                out->a = a;
                out->b = b;
            }
        }
    return best;
}

/* Least squares over the columns within limit of the curve so far. */
static bool refine_shape(const struct end_curve *c, double (*f)(double), double limit,
                         struct shape_fit *out)
{
    double n = 0.0, sf = 0.0, ss = 0.0, sff = 0.0, sfs = 0.0, sq = 0.0;
    bool use[COLUMNS];
    for (size_t i = 0; i < c->n; i++) {
        double v = f(c->x[i]);
        use[i] = fabs(off_shape(c, i, f, out->a, out->b)) < limit;
        n += use[i];
        sf += use[i] ? v : 0.0;
        ss += use[i] ? c->s[i] : 0.0;
        sff += use[i] ? v * v : 0.0;
        sfs += use[i] ? v * c->s[i] : 0.0;
    }
    double det = sff - sf * sf / n;
    if (n < COLUMNS_MIN || det <= 1e-9)
        return false;
    out->b = (sfs - sf * ss / n) / det;
    out->a = (ss - out->b * sf) / n;
    for (size_t i = 0; i < c->n; i++)
        sq += use[i] ? pow(off_shape(c, i, f, out->a, out->b), 2.0) : 0.0;
    double sd = sqrt(sq / (n - 2.0));
    out->u_b = sd / sqrt(det);
    out->u_a = sd * sqrt(1.0 / n + sf * sf / (n * n) / det);
    return true;
}

/* Columns nearer to the axis than `from` are left out; cap: what a column off the curve counts. */
static struct shape_fit fit_shape(const struct end_curve *all, double (*f)(double), double from,
                                  double cap)
{
    struct shape_fit out = {.rms = HUGE_VAL};
    struct end_curve c = {0};
    double sum = 0.0;
    for (size_t i = 0; i < all->n; i++)
        if (fabs(all->x[i]) >= from) {
            c.x[c.n] = all->x[i];
            c.s[c.n++] = all->s[i];
        }
    double limit = 2.5 * fmax(0.3, 1.5 * start_shape(&c, f, &out));
    for (int round = 0; round < 3; round++)
        if (c.n < COLUMNS_MIN || !refine_shape(&c, f, fmin(limit, cap), &out))
            return out;
    for (size_t i = 0; i < c.n; i++)
        sum += pow(fmin(cap, fabs(off_shape(&c, i, f, out.a, out.b))), 2.0);
    out.rms = sqrt(sum / (double)c.n);
    return out;
}

/* An end of one shape: where the axis ends, how far that moves with the flanks. */
struct end {
    enum find_tip shape;
    double tip, u, gain;
};

static struct end shape_end(const struct shape_fit *f, bool is_cone, double r)
{
    bool is_flat = !is_cone && f->b < flat_ratio * r;
    bool in_doubt = !is_cone && f->b < cap_ratio * r;
    struct end e = {.shape = is_cone ? FIND_TIP_CONE : is_flat ? FIND_TIP_FLAT : FIND_TIP_ROUND};
    e.tip = f->a + (is_flat ? fmin(0.0, f->b) : f->b);
    e.u = is_flat ? f->u_a : hypot(f->u_a, f->u_b);
    e.u = !is_cone && !is_flat ? hypot(e.u, round_lean * r) : e.u;
    e.u = in_doubt ? hypot(e.u, doubt * f->b) : e.u;
    /* a cone's sides, moved outwards by d, move its apex by d / sin(half angle) */
    e.gain = is_cone ? cone_gain * hypot(r, f->b) / r : is_flat ? flat_gain : round_gain;
    return e;
}

/* The likelier shape's end; how far the other's lies off goes into u by its likelihood. */
static void tip_from(const struct shape_fit *e, const struct shape_fit *k, double r,
                     struct pin_ends *out)
{
    bool is_cone = (k->rms < e->rms || e->b > round_most * r) && k->b > cone_least * r;
    struct end best = shape_end(is_cone ? k : e, is_cone, r);
    struct end other = shape_end(is_cone ? e : k, !is_cone, r);
    double a = fmax(rms_least, is_cone ? k->rms : e->rms);
    double b = fmax(rms_least, is_cone ? e->rms : k->rms);
    double odds = fmin(1.0, pow(a / b, COLUMNS_FREE)), share = odds / (1.0 + odds);
    out->shape = best.shape;
    out->tip = best.tip;
    out->u_tip = hypot(best.u, sqrt(share) * (best.tip - other.tip));
    out->tip_gain = best.gain;
}

/* What the columns about the axis, left out of a cone's fit, say of its apex. Metal beyond it:
 * there the tip is, unless that is far off. Nothing up to it: the point is blunt, or a flute
 * notches it; the film does not tell which. */
static void look_at_middle(const struct end_curve *c, double height, double r, struct pin_ends *e)
{
    float s[COLUMNS];
    size_t n = 0;
    for (size_t i = 0; i < c->n; i++)
        if (fabs(c->x[i]) < middle)
            s[n++] = (float)c->s[i];
    if (n == 0)
        return;
    double lag = e->tip - find_quantile_f(s, n, 0.5) - 0.5 * middle * height - middle_px;
    if (lag > -middle_slack && lag < 2.0 * middle_slack)
        return;
    e->u_tip = hypot(e->u_tip, middle_doubt * lag);
    e->tip -= lag < 0.0 && -lag < middle_most * r ? lag : 0.0;
}

/* A cone cut off by a face across the axis. */
struct blunt {
    struct shape_fit cone; /* of the columns beside the face */
    double face, edge;     /* s; half the face, radii */
    double u_face;
};

/* Median of the columns within +-x of the axis. */
static double level_about(const struct end_curve *c, double x)
{
    float s[COLUMNS];
    size_t n = 0;
    for (size_t i = 0; i < c->n; i++)
        if (fabs(c->x[i]) <= x)
            s[n++] = (float)(c->s[i] - c->s[0]);
    return n > 0 ? c->s[0] + find_quantile_f(s, n, 0.5) : HUGE_VAL;
}

/* Face and cone by turns: what lies within the place where they meet is the face's. */
static bool fit_blunt(const struct end_curve *c, const struct shape_fit *cone_fit, double cap,
                      struct blunt *out)
{
    out->cone = *cone_fit;
    out->face = level_about(c, middle);
    for (int round = 0; round < 3; round++) {
        if (!(out->cone.rms < HUGE_VAL) || !(out->face < HUGE_VAL) || out->cone.b <= 0.0)
            return false;
        out->edge = (out->cone.a + out->cone.b - out->face) / out->cone.b;
        if (out->edge < edge_least || out->edge > edge_most)
            return false;
        out->face = level_about(c, out->edge - edge_blur);
        out->cone = fit_shape(c, cone, out->edge + edge_blur, cap);
    }
    return out->cone.rms < HUGE_VAL;
}

/* Do the columns of the face, to either side, lie on one straight line across the axis? A flute's
 * notch lies to one side, or leans. */
static bool face_is_straight(const struct end_curve *c, struct blunt *b)
{
    double sq = 0.0, n[2] = {0.0}, on[2] = {0.0};
    for (size_t i = 0; i < c->n; i++) {
        double off = c->s[i] - b->face;
        int side = c->x[i] > 0.0;
        if (fabs(c->x[i]) > b->edge - edge_blur)
            continue;
        n[side] += 1.0;
        on[side] += fabs(off) < face_px;
        sq += pow(fmin(face_px, fabs(off)), 2.0);
    }
    b->u_face = sqrt(sq) / fmax(1.0, n[0] + n[1]);
    return fmin(n[0], n[1]) >= FACE_MIN && on[0] >= face_share * n[0] && on[1] >= face_share * n[1];
}

/* Is the face clear of what blur rounds off a point, and do all columns keep better to it than to
 * the point and to the round end? */
static bool is_blunt(const struct end_curve *c, double round_rms, double cap, double r,
                     double clear_px, struct blunt *b)
{
    double with = 0.0, without = 0.0, slope = b->cone.b / r, lag = b->cone.a + b->cone.b - b->face;
    for (size_t i = 0; i < c->n; i++) {
        double point = off_shape(c, i, cone, b->cone.a, b->cone.b);
        double off = fabs(c->x[i]) < b->edge ? c->s[i] - b->face : point;
        with += pow(fmin(cap, fabs(off)), 2.0);
        without += pow(fmin(cap, fabs(point)), 2.0);
    }
    double n = (double)c->n, other = fmin(sqrt(without / n), round_rms);
    return slope > cone_least && lag > clear_px * hypot(1.0, slope) &&
           sqrt(with / n) < face_better * other && face_is_straight(c, b);
}

/* The axis ends at the face; how far that leans out of the film's plane is not seen. */
static void blunt_end(const struct blunt *b, double r, struct pin_ends *e)
{
    e->shape = FIND_TIP_CONE;
    e->tip = b->face;
    e->u_tip = hypot(hypot(b->u_face, rms_least), face_lean * b->edge * r);
    e->tip_gain = flat_gain;
}

static int measure_tip(const struct pin_body *b, struct pin_ends *e, struct err *err)
{
    struct end_curve c;
    e->tip = e->at[1];
    e->u_tip = 0.1 * b->width;
    int rc = end_curve(b, e->at[1], &c, err);
    if (rc != 0 || c.n < COLUMNS_MIN)
        return rc;
    double cap = fmax(2.0, cap_share * b->width);
    struct shape_fit ell = fit_shape(&c, ellipse, 0.0, cap),
                     con = fit_shape(&c, cone, cone_from, cap);
    if (!(fmin(ell.rms, con.rms) < HUGE_VAL))
        return 0;
    double r = pin_body_half(b, e->at[1]);
    tip_from(&ell, &con, r, e);
    bool fluted = fmin(b->flank[0].lands, b->flank[1].lands) < 1.0;
    double clear = face_clear_px * (fluted ? face_fluted : 1.0);
    struct blunt cut = {0};
    if (fit_blunt(&c, &con, cap, &cut) && is_blunt(&c, fmin(ell.rms, cap), cap, r, clear, &cut))
        blunt_end(&cut, r, e);
    else if (e->shape == FIND_TIP_CONE)
        look_at_middle(&c, con.b, r, e);
    if (fluted)
        e->u_tip = hypot(e->u_tip, notched * b->width);
    return 0;
}

/* Where the cylinder ends in sight. The run of seen flanks may begin far below, where a neighbour's
 * crown or the lip hides them; above it the core stays metal, one side at least is not, and edges
 * lie on the flanks' lines again: those of a shank or a collar do not. */
static double crown_top(const struct pin_body *b)
{
    struct along a = along_of(b);
    double clear = b->inside - free_drop * (b->inside - fmin(b->outside[0], b->outside[1]));
    size_t block = (size_t)fmax(4.0, 0.2 * b->width / b->strip.ds);
    size_t i = b->i0, from = i, top = i, on = 0;
    while (i > 0 && (double)a.core[i - 1] > clear &&
           fmin((double)a.beside[i - 1], (double)a.other[i - 1]) < clear) {
        i--;
        on += pin_body_on_flank(b, i);
        if (from - i < block)
            continue;
        top = 2 * on >= block ? i : top;
        from = i;
        on = 0;
    }
    return pin_body_s(b, top == from ? i : top);
}

int pin_ends_measure(const struct pin_body *b, struct pin_ends *e, struct err *err)
{
    int rc = measure_tip(b, e, err);
    e->top = crown_top(b);
    return rc == 0 ? pin_collar_measure(b, e, err) : rc;
}
