/*
 * Which of several readings of a root is the likeliest, and how sure that is.
 *
 * Pulp, marrow, a socket's wall, a pin: each has edges that can be followed from end to end, and
 * none of them tells by its own looks that it is not the root's side. What tells is the whole: the
 * root's sides are seen over most of their length, on both sides; they are smooth; the root lies
 * between the clicks; and it is as wide as roots are, for a root has more lines within it (pulp,
 * lobes) than follow it outside. The score is the logarithm of a likelihood that is linear in these
 * (a conditional logistic regression; McFadden 1974), fitted over phantoms of all styles together
 * with films of two other origins. The width's weight is about half of what the fit gives it, which
 * leaves fewer roots undecided.
 */
#include <math.h>
#include <string.h>
#include "find/root_internal.h"

struct choice_params {
    double per_point;         /* for each point seen of either side */
    double per_log_scale;     /* for the points' scatter */
    double per_log_half;      /* for the half width at half the length, up to */
    double usual_half_mm;     /* of most roots in Wheeler's table, from memory */
    double crown_px, apex_px; /* of the middle about the clicks, standard deviation */
    double same_mm;           /* readings that differ by less are one */
    double least_share;       /* readings less likely than that are left out */
    double covered_share;     /* one so likely lies within a side's U95, which is 2 u */
};

static const struct choice_params choice_defaults = {
    .per_point = 0.4,
    .per_log_scale = 1.5,
    .per_log_half = 7.0,
    .usual_half_mm = 2.2,
    .crown_px = 10.0,
    .apex_px = 8.0,
    .same_mm = 0.15,
    .least_share = 0.02,
    .covered_share = 0.05,
};

static double half_square(double x)
{
    return 0.5 * x * x;
}

double root_score(const struct root_grid *g, const struct root_reading *r)
{
    const struct choice_params *p = &choice_defaults;
    size_t seen = 0;
    for (int side = 0; side < 2; side++)
        for (size_t k = 0; k < ROOT_POINTS; k++)
            seen += r->pts[side][k].seen;
    double half = fmax(r->shape.half[ROOT_POINTS / 2], g->dt);
    return p->per_point * (double)seen - p->per_log_scale * log(r->shape.scale / g->mm) +
           p->per_log_half * log(fmin(half / (p->usual_half_mm * g->mm), 1.0)) -
           half_square(r->shape.middle[0] / p->crown_px) -
           half_square(r->shape.middle[ROOT_POINTS - 1] / p->apex_px);
}

/* The farthest apart that a side of one reading lies from that of the other, px. */
static double apart(const struct root_shape *a, const struct root_shape *b)
{
    double most = 0.0;
    for (size_t k = 0; k < ROOT_POINTS; k++)
        most = fmax(most, fabs(a->middle[k] - b->middle[k]) + fabs(a->half[k] - b->half[k]));
    return most;
}

void root_readings_add(struct root_readings *to, const struct root_grid *g,
                       const struct root_reading *r)
{
    size_t k = 0, end = to->n;
    for (size_t i = 0; i < to->n; i++)
        if (apart(&to->at[i].shape, &r->shape) < choice_defaults.same_mm * g->mm) {
            if (to->at[i].score >= r->score)
                return;
            end = i; /* the better one of the two takes its place */
            break;
        }
    while (k < end && to->at[k].score >= r->score)
        k++;
    if (end == ROOT_READINGS)
        end--;
    if (k > end)
        return;
    memmove(&to->at[k + 1], &to->at[k], (end - k) * sizeof *r);
    to->at[k] = *r;
    if (end == to->n)
        to->n++;
}

/* Law of total covariance: what the others say widens what the likeliest says of itself. The
 * shape's own covariance falls short by root_widening; this part does not. Two readings are no
 * normal distribution: for a side's U95 to hold, the other one has to lie within it even when it is
 * the less likely by far. */
static void add_doubt(struct root_shape *sh, const struct root_shape *other, double share)
{
    double covered = 0.25 * fmin(share / choice_defaults.covered_share, 1.0); /* (U95 / 2)^2 */
    double side = fmax(share, covered), d[2 * ROOT_POINTS];
    for (size_t k = 0; k < ROOT_POINTS; k++) {
        d[k] = other->middle[k] - sh->middle[k];
        d[ROOT_POINTS + k] = other->half[k] - sh->half[k];
        sh->doubt[0][k] += side * pow(d[k] + d[ROOT_POINTS + k], 2.0);
        sh->doubt[1][k] += side * pow(d[k] - d[ROOT_POINTS + k], 2.0);
    }
    for (size_t i = 0; i < 2 * ROOT_POINTS; i++)
        for (size_t j = 0; j < 2 * ROOT_POINTS; j++)
            sh->cov[i][j] += share * d[i] * d[j] / (root_widening * root_widening);
}

struct root_shape root_shape_of(const struct root_readings *r)
{
    struct root_shape sh = r->at[0].shape;
    double sum = 0.0;
    for (size_t i = 0; i < r->n; i++)
        sum += exp(r->at[i].score - r->at[0].score);
    for (size_t i = 1; i < r->n; i++) {
        double share = exp(r->at[i].score - r->at[0].score) / sum;
        if (share >= choice_defaults.least_share)
            add_doubt(&sh, &r->at[i].shape, share);
    }
    return sh;
}
