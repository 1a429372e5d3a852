/*
 * A root's side as the cheapest way from row to row of the grid: Viterbi's dynamic programming
 * (IEEE Trans. Inf. Theory 13 (1967) 260) over the offset across the root.
 *
 * What makes a border: just outside lies the ligament space, a dark line about 0.2 mm wide, and
 * inside nothing is as dark for a millimetre. The step is therefore the darkest level inside
 * less the mean level outside. The outer face of the lamina dura falls off as well, but has the
 * ligament inside; the pulp's wall rises outwards.
 *
 * Limits: a side hidden by metal or by the trunk of a molar is bridged straight.
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
    double gap_mm;               /* a border this much nearer to the axis goes first */
    double earlier_share;        /* of its step is taken off */
    double core_from, core_to;   /* of the half width: dentine's level is read there, beside pulp */
    double dark_quantile;        /* of a row: bone or gum */
    double metal_share;          /* so much above dentine, in its contrast: metal, enamel */
    double bend_cost;            /* per squared column of sideways step, in typical steps */
    double guide_mm, guide_cost; /* so far from where it is expected it costs so much */
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
    .gap_mm = 0.3,
    .earlier_share = 0.8,
    .core_from = 0.3,
    .core_to = 0.7,
    .dark_quantile = 0.25,
    .metal_share = 0.6,
    .bend_cost = 0.06,
    .guide_mm = 0.6,
    .guide_cost = 0.8,
    .closing_from = 0.7,
    .reach = 3,
    .most = 1.0,
};

enum { SMOOTH_ROWS = 5, DARK_STRIDE = 4, STEP_MAX = 512 }; /* columns of a side; the grid has 169 */

/* Levels of a row: dentine's beside the pulp, and one brighter than any dentine. */
struct tissue {
    double dentine, bright;
};

struct half {
    const float *row; /* at the line */
    ptrdiff_t step;   /* outwards */
    ptrdiff_t n;      /* columns outwards */
    ptrdiff_t back;   /* columns inwards of the line that may be looked at */
};

static double level(const struct half *h, ptrdiff_t j)
{
    j = j < -h->back ? -h->back : j >= h->n ? h->n - 1 : j;
    return (double)h->row[j * h->step];
}

static double level3(const struct half *h, ptrdiff_t j)
{
    return 0.25 * level(h, j - 1) + 0.5 * level(h, j) + 0.25 * level(h, j + 1);
}

static double step_at(const struct half *h, const struct trace_params *p, double mm,
                      struct tissue tissue, ptrdiff_t j)
{
    ptrdiff_t i0 = (ptrdiff_t)lround(p->inner_from_mm * mm),
              i1 = (ptrdiff_t)lround(p->inner_to_mm * mm),
              clear = (ptrdiff_t)lround(p->clear_mm * mm),
              o0 = (ptrdiff_t)lround(p->outer_from_mm * mm),
              o1 = (ptrdiff_t)lround(p->outer_to_mm * mm);
    double darkest = tissue.dentine, outside = 0.0;
    for (ptrdiff_t k = i0; k <= i1; k++) {
        double v = level3(h, j - k);
        if (v > tissue.bright && k <= clear)
            return 0.0;
        if (v > tissue.bright) /* a filled canal */
            break;
        darkest = fmin(darkest, v);
    }
    for (ptrdiff_t k = o0; k <= o1; k++) {
        double v = level(h, j + k);
        if (v > tissue.bright)
            return 0.0;
        outside += v;
    }
    return darkest - outside / (double)(o1 - o0 + 1);
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

/* One row's steps. A step counts less what the strongest one nearer to the axis has: the first
 * border wins. Beside something brighter than dentine (metal, enamel) nothing counts. */
static double row_steps(const struct half *h, struct tissue tissue, double mm, size_t first,
                        size_t n, float *step)
{
    const struct trace_params *p = &trace_defaults;
    double best = 0.0, before = 0.0;
    double raw[STEP_MAX];
    ptrdiff_t last = h->n - (ptrdiff_t)lround((p->outer_to_mm + p->frame_mm) * mm);
    size_t gap = (size_t)lround(p->gap_mm * mm);
    for (size_t j = 0; j < n; j++) {
        bool may = j >= first && (ptrdiff_t)j < last;
        raw[j] = may ? fmax(0.0, step_at(h, p, mm, tissue, (ptrdiff_t)j)) : 0.0;
        if (j >= gap)
            before = fmax(before, raw[j - gap]);
        double s = fmax(0.0, raw[j] - p->earlier_share * before);
        step[j] = (float)s;
        best = fmax(best, s);
    }
    return best;
}

/* Steps of all rows and columns of a side, 0 where there is none. Returns the typical one. */
static double fill_steps(const struct root_grid *g, int side, size_t n, float *step)
{
    double best[ROOT_ROWS], mm = g->mm / g->dt;
    struct tissue tissue[ROOT_ROWS];
    tissues(g, tissue);
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        size_t room = side == 0 ? g->to[i] - g->middle : g->middle + 1 - g->from[i];
        struct half h = {g->v + i * g->cols + g->middle, side == 0 ? 1 : -1, (ptrdiff_t)room, 0};
        size_t first = (size_t)(trace_defaults.nearest * g->guess.half[i] / g->dt);
        best[i] = row_steps(&h, tissue[i], mm, first, n, step + i * n);
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
static void cheapest(const struct root_grid *g, float *cost, signed char *from, size_t n,
                     double typical)
{
    const struct trace_params *p = &trace_defaults;
    bool closing = g->guess.guide; /* along the root's own middle its width only falls at the end */
    for (size_t i = 0; i < ROOT_ROWS; i++)
        for (size_t j = 0; j < n; j++) {
            float *at = cost + i * n + j;
            double own = guide_cost(g, i, j) - fmin(p->most, (double)*at / typical),
                   best = i == 0 ? 0.0 : HUGE_VAL;
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

int root_trace_side(const struct root_grid *g, int side, struct root_trace *out, struct err *err)
{
    size_t n = g->cols - g->middle < STEP_MAX ? g->cols - g->middle : STEP_MAX;
    float *step = plumb_mem_array(ROOT_ROWS * n, sizeof *step, err);
    float *cost = plumb_mem_array(ROOT_ROWS * n, sizeof *cost, err);
    signed char *from = plumb_mem_array(ROOT_ROWS * n, sizeof *from, err);
    int rc = ERR_NOMEM;
    memset(out, 0, sizeof *out);
    if (!step || !cost || !from)
        goto out;
    out->strength = fill_steps(g, side, n, step);
    rc = out->strength > 0.0 ? 0
                             : plumb_err_set(err, ERR_ILLPOSED,
                                             "no side of a root is to be seen "
                                             "between the two points");
    if (rc != 0)
        goto out;
    memcpy(cost, step, ROOT_ROWS * n * sizeof *cost);
    cheapest(g, cost, from, n, out->strength);
    walk_back(g, side, n, cost, from, out);
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        size_t j = (size_t)lround(fabs(out->t[i] - g->guess.middle[i]) / g->dt);
        out->evidence[i] = (double)step[i * n + j] / out->strength;
    }
out:
    free(step);
    free(cost);
    free(from);
    return rc;
}
