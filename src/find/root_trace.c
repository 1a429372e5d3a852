/*
 * A root's side as the cheapest way from row to row of the grid: Viterbi's dynamic programming
 * (IEEE Trans. Inf. Theory 13 (1967) 260) over the offset across the root.
 *
 * What makes a border: just outside lies the ligament space, a dark line about 0.2 mm wide, and
 * inside nothing is as dark for a millimetre. The step is therefore the darkest level inside
 * less the mean level outside. The outer face of the lamina dura falls off as well, but has the
 * ligament inside; the pulp's wall rises outwards.
 *
 * Limits: a side hidden by metal or by the trunk of a molar is bridged straight. Which of a side's
 * ways is the right one is not told here (root_choice.c).
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/root_internal.h"

struct trace_params {
    double inner_from_mm, inner_to_mm; /* dentine looked at inside the border */
    double clear_mm;                   /* no metal so near inside: else its own edge is seen */
    double outer_from_mm, outer_to_mm; /* the ligament space outside it */
    double nearest;              /* of the half width: least distance of a side from the middle */
    double frame_mm;             /* the frame's own edge is blurred so far into the film */
    double valley;               /* share of its peak at which a border ends; */
    double earlier_share;        /* of its step is taken off all that lies beyond; */
    double guided_share;         /* with a guide: a lobe's edge may lie before an expected border */
    double core_from, core_to;   /* of the half width: dentine's level is read there, beside pulp */
    double dark_quantile;        /* of a row: bone or gum */
    double metal_share;          /* so much above dentine, in its contrast: metal, enamel */
    double bend_cost;            /* per squared column of sideways step, in typical steps */
    double guide_mm, guide_cost; /* so far from where it is expected it costs so much */
    double within_mm;            /* with a guide nothing this far within it is looked at */
    double out_of_lane;          /* what a row outside the lane costs, in typical steps */
    double beside_mm;            /* another way keeps so far from the first */
    double closing_from; /* share of the length: from here on a side does not turn outwards again */
    int reach;           /* columns sideways per row: 37 degrees */
    double most;         /* a step counts at most so many typical ones: metal, a socket's wall */
};

static const struct trace_params trace_defaults = {
    .inner_from_mm = 0.06,
    .inner_to_mm = 0.9,
    .clear_mm = 0.3,
    .outer_from_mm = 0.03,
    .outer_to_mm = 0.25,
    .nearest = 0.25,
    .frame_mm = 0.5,
    .valley = 0.5,
    .earlier_share = 0.8,
    .guided_share = 0.2,
    .core_from = 0.3,
    .core_to = 0.7,
    .dark_quantile = 0.25,
    .metal_share = 0.6,
    .bend_cost = 0.06,
    .guide_mm = 0.6,
    .guide_cost = 0.8,
    .within_mm = 0.9,
    .out_of_lane = 1.0,
    .beside_mm = 0.45,
    .closing_from = 0.7,
    .reach = 3,
    .most = 1.0,
};

/* Rows of a straight piece either way, 1.2 nominal mm in all: twice the marrow's spaces. Half
 * columns a row that it may lean outwards and inwards: 21 and 27 degrees. */
enum { ALONG = 4, LEAN_OUT = -3, LEAN_IN = 4 };
enum { SMOOTH_ROWS = 5, DARK_STRIDE = 4, STEP_MAX = 512 }; /* columns of a side; the grid has 169 */

/* Levels of a row: dentine's beside the pulp, and one brighter than any dentine. */
struct tissue {
    double dentine, bright;
};

enum { PAD = 64 }; /* samples of room before and behind a row's half; looked at: 28 and 8 */

/* A row from the middle outwards, its first and last levels carried on beyond its ends. */
struct half {
    float v[PAD + STEP_MAX + PAD], smooth[PAD + STEP_MAX + PAD];
    size_t n; /* columns that show the film */
};

static void half_fill(const struct root_grid *g, int side, size_t i, struct half *h)
{
    const float *row = g->v + i * g->cols + g->middle;
    size_t room = side == 0 ? g->to[i] - g->middle : g->middle + 1 - g->from[i];
    ptrdiff_t step = side == 0 ? 1 : -1;
    h->n = room < STEP_MAX ? room : STEP_MAX;
    for (size_t j = 0; j < PAD + STEP_MAX + PAD; j++) {
        size_t from = j < PAD ? 0 : j - PAD < h->n ? j - PAD : h->n - 1;
        h->v[j] = row[(ptrdiff_t)from * step];
    }
    for (size_t j = 1; j + 1 < PAD + STEP_MAX + PAD; j++)
        h->smooth[j] = 0.25F * h->v[j - 1] + 0.5F * h->v[j] + 0.25F * h->v[j + 1];
}

/* Where step_at looks, in columns from the border. */
struct reach {
    size_t inner_from, inner_to, clear, outer_from, outer_to;
};

static struct reach reach_of(const struct root_grid *g)
{
    const struct trace_params *p = &trace_defaults;
    double mm = g->mm / g->dt;
    return (struct reach){(size_t)lround(p->inner_from_mm * mm),
                          (size_t)lround(p->inner_to_mm * mm), (size_t)lround(p->clear_mm * mm),
                          (size_t)lround(p->outer_from_mm * mm),
                          (size_t)lround(p->outer_to_mm * mm)};
}

static double step_at(const struct half *h, const struct reach *r, struct tissue tissue, size_t j)
{
    const float *v = h->v + PAD + j, *smooth = h->smooth + PAD + j;
    float darkest = (float)tissue.dentine, outside = 0.0F, bright = (float)tissue.bright;
    for (size_t k = r->inner_from; k <= r->inner_to; k++) {
        float inside = *(smooth - k);
        if (inside > bright && k <= r->clear)
            return 0.0;
        if (inside > bright) /* a filled canal */
            break;
        darkest = inside < darkest ? inside : darkest;
    }
    for (size_t k = r->outer_from; k <= r->outer_to; k++) {
        if (v[k] > bright)
            return 0.0;
        outside += v[k];
    }
    return (double)darkest - (double)outside / (double)(r->outer_to - r->outer_from + 1);
}

static struct tissue row_tissue(const struct root_grid *g, size_t i)
{
    const struct trace_params *p = &trace_defaults;
    const float *row = g->v + i * g->cols;
    float v[2 * STEP_MAX];
    double half = g->guess.half[i] / g->dt;
    size_t n = 0, from = (size_t)(p->core_from * half), to = (size_t)(p->core_to * half);
    for (size_t j = from; j <= to && j <= g->middle && n + 2 <= 2 * STEP_MAX; j++) {
        v[n++] = row[g->middle - j];
        v[n++] = row[g->middle + j];
    }
    double dentine = find_quantile_f(v, n, 0.5);
    n = 0;
    for (size_t j = g->from[i]; j < g->to[i]; j += DARK_STRIDE)
        v[n++] = row[j];
    double dark = find_quantile_f(v, n, p->dark_quantile);
    return (struct tissue){dentine, dentine + p->metal_share * fmax(dentine - dark, 0.0)};
}

static double median_near(const double *v, size_t i)
{
    double near[2 * SMOOTH_ROWS + 1];
    size_t from = i > SMOOTH_ROWS ? i - SMOOTH_ROWS : 0,
           to = i + SMOOTH_ROWS < ROOT_ROWS ? i + SMOOTH_ROWS + 1 : ROOT_ROWS;
    memcpy(near, v + from, (to - from) * sizeof *near);
    return plumb_geo_median(near, to - from);
}

static void tissues(const struct root_grid *g, struct tissue out[ROOT_ROWS])
{
    double dentine[ROOT_ROWS], bright[ROOT_ROWS];
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        struct tissue t = row_tissue(g, i);
        dentine[i] = t.dentine;
        bright[i] = t.bright;
    }
    for (size_t i = 0; i < ROOT_ROWS; i++)
        out[i] = (struct tissue){median_near(dentine, i), median_near(bright, i)};
}

/* Where a way may run, columns of each row. */
struct lane {
    size_t from[ROOT_ROWS], to[ROOT_ROWS];
};

/* Every row's steps, as they are. */
static void fill_raw(const struct root_grid *g, int side, size_t n, float *raw)
{
    const struct trace_params *p = &trace_defaults;
    struct tissue tissue[ROOT_ROWS];
    struct reach reach = reach_of(g);
    struct half h;
    size_t edge = (size_t)lround((p->outer_to_mm + p->frame_mm) * g->mm / g->dt);
    tissues(g, tissue);
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        half_fill(g, side, i, &h);
        for (size_t j = 0; j < n; j++)
            raw[i * n + j] =
                j + edge < h.n ? (float)fmax(0.0, step_at(&h, &reach, tissue[i], j)) : 0.0F;
    }
}

/* Row i's columns: sums of the steps along a straight piece, `lean` half columns a row. Returns how
 * many rows it has. */
static int sums_along(const float *raw, size_t n, size_t i, int lean, float sum[STEP_MAX])
{
    int rows = 0;
    memset(sum, 0, STEP_MAX * sizeof *sum);
    for (int k = -ALONG; k <= ALONG; k++) {
        ptrdiff_t row = (ptrdiff_t)i + k, shift = (ptrdiff_t)k * lean / 2, last = (ptrdiff_t)n;
        if (row < 0 || row >= ROOT_ROWS)
            continue;
        const float *from = raw + row * (ptrdiff_t)n;
        last = shift < 0 ? last + shift : last;
        for (ptrdiff_t j = shift > 0 ? shift : 0; j < last; j++)
            sum[j] += from[j - shift];
        rows++;
    }
    return rows;
}

/* A side goes on, the marrow's edges and the noise do not: each step becomes the largest mean along
 * any of the ways that a side may take there. room: as large as raw. */
static void steps_along(size_t n, float *raw, float *room)
{
    float sum[STEP_MAX];
    memcpy(room, raw, ROOT_ROWS * n * sizeof *raw);
    memset(raw, 0, ROOT_ROWS * n * sizeof *raw);
    for (size_t i = 0; i < ROOT_ROWS; i++)
        for (int lean = LEAN_OUT; lean <= LEAN_IN; lean++) {
            float share = 1.0F / (float)sums_along(room, n, i, lean, sum);
            for (size_t j = 0; j < n; j++)
                raw[i * n + j] = fmaxf(raw[i * n + j], share * sum[j]);
        }
}

/* The steps within a lane: one counts less what the strongest border nearer to the axis has: the
 * first border wins. A border ends where the step has fallen to a share of its peak; within the
 * root the step rises towards its border from afar, since the root thins out. Returns the typical
 * one. */
static double lane_steps(const struct lane *lane, double earlier, size_t n, const float *raw,
                         float *step)
{
    const struct trace_params *p = &trace_defaults;
    double best[ROOT_ROWS];
    memset(step, 0, ROOT_ROWS * n * sizeof *step);
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        const float *from = raw + i * n;
        double before = 0.0, peak = 0.0;
        best[i] = 0.0;
        for (size_t j = lane->from[i]; j < lane->to[i]; j++) {
            double here = (double)from[j];
            peak = fmax(peak, here);
            if (here < p->valley * peak) {
                before = fmax(before, peak);
                peak = here;
            }
            double s = fmax(0.0, here - earlier * before);
            step[i * n + j] = (float)s;
            best[i] = fmax(best[i], s);
        }
    }
    return plumb_geo_median(best, ROOT_ROWS);
}

/* What column j costs for being off the expected half width. */
static double guide_cost(const struct root_grid *g, size_t i, size_t j)
{
    const struct trace_params *p = &trace_defaults;
    if (!g->guess.guide)
        return 0.0;
    double off = ((double)j * g->dt - g->guess.half[i]) / (p->guide_mm * g->mm);
    return p->guide_cost * fmin(1.0, off * off);
}

/* Cheapest ways down the rows: cost in place of the step; from: sideways step that led there. */
static void cheapest(const struct root_grid *g, const struct lane *lane, float *cost,
                     signed char *from, size_t n, double typical)
{
    const struct trace_params *p = &trace_defaults;
    bool closing = g->guess.guide; /* along the root's own middle its width only falls at the end */
    for (size_t i = 0; i < ROOT_ROWS; i++)
        for (size_t j = 0; j < n; j++) {
            float *at = cost + i * n + j;
            double own = guide_cost(g, i, j) - fmin(p->most, (double)*at / typical),
                   best = i == 0 ? 0.0 : HUGE_VAL;
            if (j < lane->from[i] || j >= lane->to[i])
                own += p->out_of_lane;
            int first = closing && i > (size_t)(p->closing_from * ROOT_ROWS) ? 0 : -p->reach;
            for (int k = first; i > 0 && k <= p->reach; k++) {
                if ((k < 0 && j < (size_t)-k) || (k > 0 && j + (size_t)k >= n))
                    continue;
                double c =
                    (double)cost[(i - 1) * n + (size_t)((ptrdiff_t)j + k)] + p->bend_cost * k * k;
                if (c < best) {
                    best = c;
                    from[i * n + j] = (signed char)k;
                }
            }
            *at = (float)(own + best);
        }
}

static void walk_back(const struct root_grid *g, int side, size_t n, const float *cost,
                      const signed char *from, struct root_trace *out)
{
    size_t j = 0;
    const float *last = cost + (ROOT_ROWS - 1) * n;
    for (size_t k = 0; k < n; k++)
        if (last[k] < last[j])
            j = k;
    for (size_t i = ROOT_ROWS; i-- > 0;) {
        out->t[i] = g->guess.middle[i] + (side == 0 ? 1.0 : -1.0) * g->dt * (double)j;
        j = (size_t)((ptrdiff_t)j + (i > 0 ? from[i * n + j] : 0));
    }
}

struct work {
    size_t n; /* columns of the side */
    float *raw, *step, *cost;
    signed char *from;
};

static void work_free(struct work *w)
{
    free(w->raw);
    free(w->step);
    free(w->cost);
    free(w->from);
}

static int work_make(const struct root_grid *g, int side, struct work *w, struct err *err)
{
    w->n = g->cols - g->middle < STEP_MAX ? g->cols - g->middle : STEP_MAX;
    w->raw = plumb_mem_array(ROOT_ROWS * w->n, sizeof *w->raw, err);
    w->step = plumb_mem_array(ROOT_ROWS * w->n, sizeof *w->step, err);
    w->cost = plumb_mem_array(ROOT_ROWS * w->n, sizeof *w->cost, err);
    w->from = plumb_mem_array(ROOT_ROWS * w->n, sizeof *w->from, err);
    if (!w->raw || !w->step || !w->cost || !w->from)
        return ERR_NOMEM;
    fill_raw(g, side, w->n, w->raw);
    steps_along(w->n, w->raw, w->step);
    return 0;
}

/* The cheapest way within the lane; false when nothing is to be seen there. */
static bool trace_lane(const struct root_grid *g, int side, struct work *w, const struct lane *lane,
                       struct root_trace *out)
{
    size_t n = w->n;
    double earlier = g->guess.guide ? trace_defaults.guided_share : trace_defaults.earlier_share;
    memset(out, 0, sizeof *out);
    out->strength = lane_steps(lane, earlier, n, w->raw, w->step);
    if (!(out->strength > 0.0))
        return false;
    memcpy(w->cost, w->step, ROOT_ROWS * n * sizeof *w->cost);
    cheapest(g, lane, w->cost, w->from, n, out->strength);
    walk_back(g, side, n, w->cost, w->from, out);
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        size_t j = (size_t)lround(fabs(out->t[i] - g->guess.middle[i]) / g->dt);
        out->evidence[i] = (double)w->step[i * n + j] / out->strength;
    }
    return true;
}

/* Beside the first way: beyond it (it ran along the pulp or the marrow), or within (along a
 * socket's wall or a pin). */
static void lane_beside(const struct root_grid *g, const struct lane *whole,
                        const struct root_trace *first, bool beyond, size_t n, struct lane *out)
{
    size_t gap = (size_t)lround(trace_defaults.beside_mm * g->mm / g->dt);
    *out = *whole;
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        size_t j = (size_t)lround(fabs(first->t[i] - g->guess.middle[i]) / g->dt);
        if (beyond)
            out->from[i] = j + gap < n ? j + gap : n;
        else
            out->to[i] = j > gap + whole->from[i] ? j - gap : whole->from[i];
    }
}

/* From near the middle outwards; with a guide from not far within it, so that the pulp's wall takes
 * nothing off the border. */
static void whole_lane(const struct root_grid *g, size_t n, struct lane *out)
{
    const struct trace_params *p = &trace_defaults;
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        double half = g->guess.half[i], first = p->nearest * half;
        if (g->guess.guide)
            first = fmax(first, half - p->within_mm * g->mm);
        out->from[i] = (size_t)(first / g->dt);
        out->to[i] = n;
    }
}

int root_trace_side(const struct root_grid *g, int side, struct root_trace out[ROOT_WAYS],
                    size_t *n, struct err *err)
{
    struct work w = {0};
    struct lane whole, lane;
    int rc = work_make(g, side, &w, err);
    *n = 0;
    whole_lane(g, w.n, &whole);
    if (rc == 0 && trace_lane(g, side, &w, &whole, &out[0])) {
        *n = 1;
        for (int beyond = 0; beyond < 2 && !g->guess.guide; beyond++) {
            lane_beside(g, &whole, &out[0], beyond, w.n, &lane);
            *n += trace_lane(g, side, &w, &lane, &out[*n]);
        }
    }
    work_free(&w);
    if (rc == 0 && *n == 0)
        rc = plumb_err_set(err, ERR_ILLPOSED,
                           "no side of a root is to be seen between the two points");
    return rc;
}
