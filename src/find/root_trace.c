/*
 * A root's side as the cheapest way from row to row of the grid: Viterbi's dynamic programming
 * (IEEE Trans. Inf. Theory 13 (1967) 260) over the offset across the root.
 *
 * What makes a border: just outside lies the ligament space, a dark line about 0.2 mm wide, and
 * inside nothing is as dark for half a millimetre. The step is therefore the darkest level inside
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
    double outer_from_mm, outer_to_mm; /* the ligament space outside it */
    double nearest_mm;                 /* least distance of a side from the clicked line */
    double bend_cost;                  /* per squared column of sideways step, in typical steps */
    int reach;                         /* columns sideways per row: 37 degrees */
    double most;                       /* a step counts at most so many typical ones: metal */
};

static const struct trace_params trace_defaults = {
    .inner_from_mm = 0.06,
    .inner_to_mm = 0.5,
    .outer_from_mm = 0.03,
    .outer_to_mm = 0.25,
    .nearest_mm = 0.35,
    .bend_cost = 0.06,
    .reach = 3,
    .most = 1.5,
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

static double step_at(const struct half *h, const struct trace_params *p, double mm, ptrdiff_t j)
{
    ptrdiff_t i0 = (ptrdiff_t)lround(p->inner_from_mm * mm),
              i1 = (ptrdiff_t)lround(p->inner_to_mm * mm),
              o0 = (ptrdiff_t)lround(p->outer_from_mm * mm),
              o1 = (ptrdiff_t)lround(p->outer_to_mm * mm);
    double darkest = HUGE_VAL, outside = 0.0;
    for (ptrdiff_t k = i0; k <= i1; k++)
        darkest = fmin(darkest, level3(h, j - k));
    for (ptrdiff_t k = o0; k <= o1; k++)
        outside += level(h, j + k);
    return darkest - outside / (double)(o1 - o0 + 1);
}

/* Steps of all rows and columns of a side, 0 where there is none. Returns the typical one. */
static double fill_steps(const struct root_grid *g, int side, size_t n, float *step)
{
    const struct trace_params *p = &trace_defaults;
    double best[ROOT_ROWS], mm = g->mm / g->dt;
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        struct half h = {g->v + i * g->cols + g->middle, side == 0 ? 1 : -1, (ptrdiff_t)n, 0};
        best[i] = 0.0;
        for (size_t j = 0; j < n; j++) {
            bool allowed = (double)j >= p->nearest_mm * mm;
            double s = allowed ? step_at(&h, p, mm, (ptrdiff_t)j) : -1.0;
            step[i * n + j] = (float)fmax(0.0, s);
            best[i] = fmax(best[i], s);
        }
    }
    return plumb_geo_median(best, ROOT_ROWS);
}

/* Cheapest ways down the rows: cost in place of the step; from: sideways step that led there. */
static void cheapest(float *cost, signed char *from, size_t n, double typical)
{
    const struct trace_params *p = &trace_defaults;
    for (size_t i = 0; i < ROOT_ROWS; i++)
        for (size_t j = 0; j < n; j++) {
            float *at = cost + i * n + j;
            double own = -fmin(p->most, (double)*at / typical), best = i == 0 ? 0.0 : HUGE_VAL;
            for (int k = -p->reach; i > 0 && k <= p->reach; k++) {
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
        out->t[i] = (side == 0 ? 1.0 : -1.0) * g->dt * (double)j;
        j = (size_t)((ptrdiff_t)j + (i > 0 ? from[i * n + j] : 0));
    }
}

int root_trace_side(const struct root_grid *g, int side, struct root_trace *out, struct err *err)
{
    size_t n = g->cols - g->middle;
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
    cheapest(cost, from, n, out->strength);
    walk_back(g, side, n, cost, from, out);
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        size_t j = (size_t)lround(fabs(out->t[i]) / g->dt);
        out->evidence[i] = (double)step[i * n + j] / out->strength;
    }
out:
    free(step);
    free(cost);
    free(from);
    return rc;
}
