/*
 * Root axis and crest from rough points against the phantoms' truth.
 * usage: bench_root [FILMS-A-STYLE [FIRST-SEED]]
 *
 * Clicks are off by up to 10 px (root) and 15 px (crest), evenly over the disc. Axis: against the
 * true mid-line. Side: each seen point's distance from the true side, over its u. Crest: along the
 * apical direction, and in all. Molar: the bisector of its two roots' mid-lines against that of the
 * true ones; offset: across, at the middle of the true roots.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include "fixtures/phantom_internal.h"
#include "plumbrule/find.h"
#include "tests/support/values.h"

static const double deg = 57.29577951308232;
static const double root_off_px = 10.0, crest_off_px = 15.0;

static double share_below(const struct values *v, double limit)
{
    size_t n = 0;
    for (size_t i = 0; i < v->n; i++)
        n += v->at[i] <= limit;
    return v->n ? 100.0 * (double)n / (double)v->n : (double)NAN;
}

struct tally {
    size_t roots, roots_refused, crests, crests_refused, molars, molars_refused;
    struct values molar, molar_u, molar_mm, molar_off_u;
    struct values axis, axis_u, side_mm, side_u, bias_mm, gap_mm, gap_u, crest_mm, crest_u,
        crest_far, seconds;
};

static struct geo_point scatter(struct ph_rng *r, struct geo_point p, double reach)
{
    double a = ph_rng_uniform(r, 0.0, 6.283185307), d = reach * sqrt(ph_rng_uniform(r, 0.0, 1.0));
    return (struct geo_point){p.x + d * cos(a), p.y + d * sin(a)};
}

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Seen points of one side: signed distance outwards; bridged ones. */
static void compare_side(const struct find_root *r, int side, const struct geo_point *truth,
                         size_t n, double mm, struct tally *t)
{
    for (size_t i = 0; i < r->n[side]; i++) {
        const struct find_edge_point *p = &r->side[side][i];
        struct geo_point at;
        size_t seg;
        double d = plumb_geo_polyline_nearest(truth, n, p->at, &at, &seg);
        if (!p->seen) {
            values_add(&t->gap_mm, d * mm);
            values_add(&t->gap_u, d / p->u);
            continue;
        }
        struct geo_point out = geo_perp(geo_sub(truth[n - 1], truth[0]));
        double sign =
            geo_dot(geo_sub(p->at, at), out) * (side == 0 ? 1.0 : -1.0) > 0.0 ? 1.0 : -1.0;
        values_add(&t->side_mm, d * mm);
        values_add(&t->bias_mm, sign * d * mm);
        values_add(&t->side_u, d / p->u);
    }
}

static bool in_film(const struct film *f, struct geo_point p)
{
    return p.x > 2.0 && p.y > 2.0 && p.x < (double)f->width - 3.0 && p.y < (double)f->height - 3.0;
}

static void root_case(const struct film *film, const struct phantom_tooth_truth *tt,
                      struct ph_rng *rng, struct tally *t, const char *name)
{
    struct find_root r;
    struct err err = {0};
    struct geo_point crown = scatter(rng, tt->chord[0], root_off_px);
    struct geo_point apex = scatter(rng, tt->apex, root_off_px);
    if (!tt->present || !in_film(film, crown) || !in_film(film, apex))
        return;
    t->roots++;
    double start = now();
    int rc = plumb_find_root(film, crown, apex, &r, &err);
    values_add(&t->seconds, now() - start);
    if (rc != 0) {
        t->roots_refused++;
        if (getenv("VERBOSE"))
            printf("%s: %s\n", name, err.text);
        return;
    }
    struct geo_point dir = geo_unit(geo_sub(tt->midline[1], tt->midline[0]));
    double off = fabs(plumb_geo_angle(r.midline.dir, dir));
    values_add(&t->axis, off * deg);
    values_add(&t->axis_u, off / r.midline.u_angle);
    struct geo_point axis = geo_perp(dir);
    bool near_first = geo_dot(geo_sub(tt->near[0], tt->chord[0]), axis) > 0.0;
    compare_side(&r, near_first ? 0 : 1, tt->near, PHANTOM_SIDE, tt->mm_per_px, t);
    compare_side(&r, near_first ? 1 : 0, tt->far, PHANTOM_SIDE, tt->mm_per_px, t);
    if (getenv("VERBOSE"))
        printf("%s: axis off %.2f deg, u %.2f, seen %.2f %.2f\n", name, off * deg,
               r.midline.u_angle * deg, r.seen[0], r.seen[1]);
    plumb_find_root_release(&r);
}

static void crest_case(const struct film *film, const struct phantom_truth *truth,
                       const struct phantom_tooth_truth *tt, struct ph_rng *rng, struct tally *t,
                       const char *name)
{
    struct find_crest c;
    struct err err = {0};
    struct geo_point rough = scatter(rng, tt->crest, crest_off_px);
    if (!tt->present || tt->crest_hidden || !in_film(film, rough))
        return;
    t->crests++;
    if (plumb_find_crest(film, rough, truth->apical, &c, &err) != 0) {
        t->crests_refused++;
        if (getenv("VERBOSE"))
            printf("%s: %s\n", name, err.text);
        return;
    }
    struct geo_point d = geo_sub(c.at, tt->crest);
    double along = geo_dot(d, truth->apical);
    values_add(&t->crest_mm, fabs(along) * tt->mm_per_px);
    values_add(&t->crest_u, fabs(along) / c.u);
    values_add(&t->crest_far, geo_norm(d) * tt->mm_per_px);
    if (getenv("VERBOSE"))
        printf("%s: crest off %.3f mm, across %.3f, u %.3f\n", name, along * tt->mm_per_px,
               geo_dot(d, geo_perp(truth->apical)) * tt->mm_per_px, c.u * tt->mm_per_px);
}

/* From a rough click at either end; false when it is refused. */
static bool rough_midline(const struct film *film, const struct phantom_tooth_truth *t,
                          struct ph_rng *rng, struct geo_line *out, const char *name)
{
    struct find_root r;
    struct err err = {0};
    struct geo_point crown = scatter(rng, t->chord[0], root_off_px);
    struct geo_point apex = scatter(rng, t->apex, root_off_px);
    if (plumb_find_root(film, crown, apex, &r, &err) != 0) {
        if (getenv("VERBOSE"))
            printf("%s, root of a molar: %s\n", name, err.text);
        return false;
    }
    *out = r.midline;
    plumb_find_root_release(&r);
    return true;
}

/* Both ends and, half way, both sides. */
static bool shows_root(const struct film *f, const struct phantom_tooth_truth *t)
{
    size_t middle = PHANTOM_SIDE / 2;
    return in_film(f, t->chord[0]) && in_film(f, t->apex) && in_film(f, t->near[middle]) &&
           in_film(f, t->far[middle]);
}

/* root[0] faces the site, root[1] is the other one of the same tooth. */
static void molar_case(const struct film *film, const struct phantom_tooth_truth *root[2],
                       struct ph_rng *rng, struct tally *t, const char *name)
{
    struct geo_line line[2];
    struct geo_point sum = {0}, middle[2];
    bool good = true;
    for (int k = 0; k < 2; k++) {
        if (!root[k]->present || !root[k]->two_roots || !shows_root(film, root[k]))
            return;
        sum = geo_add(sum, geo_unit(geo_sub(root[k]->midline[1], root[k]->midline[0])));
        middle[k] = geo_mix(root[k]->midline[0], root[k]->midline[1], 0.5);
    }
    t->molars++;
    for (int k = 0; k < 2 && good; k++)
        good = rough_midline(film, root[k], rng, &line[k], name);
    if (!good) {
        t->molars_refused++;
        return;
    }
    struct geo_line axis = plumb_geo_bisector(&line[0], &line[1]);
    double off = fabs(plumb_geo_angle(axis.dir, geo_unit(sum)));
    struct geo_point away = geo_sub(geo_mix(middle[0], middle[1], 0.5), axis.at);
    double across = fabs(geo_cross(axis.dir, away)), along = geo_dot(axis.dir, away);
    values_add(&t->molar, off * deg);
    values_add(&t->molar_u, off / axis.u_angle);
    values_add(&t->molar_mm, across * root[0]->mm_per_px);
    values_add(&t->molar_off_u, across / hypot(axis.u_offset, along * axis.u_angle));
    if (getenv("VERBOSE"))
        printf("%s: bisector off %.2f deg, u %.2f\n", name, off * deg, axis.u_angle * deg);
}

/* The truth of the neighbours' other roots: those that would face a site on the other side. */
static void other_roots(const struct phantom_params *p, struct phantom_truth *out)
{
    struct phantom_params turned = *p;
    turned.mesial_left = !p->mesial_left;
    phantom_truth_seen(&turned, out);
}

static void one_film(enum phantom_style style, uint64_t seed, struct tally *t)
{
    struct phantom_params p;
    struct phantom ph;
    struct film film;
    struct err err = {0};
    struct ph_rng rng;
    phantom_params_style(style, seed, true, &p);
    if (phantom_draw(&p, &ph, &err) != 0 || phantom_to_film(&ph, &film, &err) != 0) {
        fprintf(stderr, "bench_root: %s\n", err.text);
        exit(70);
    }
    struct phantom_truth other;
    struct ph_rng molar_rng;
    ph_rng_seed(&rng, seed + 977);
    ph_rng_seed(&molar_rng, seed + 1977);
    phantom_truth_seen(&p, &ph.truth);
    other_roots(&p, &other);
    const struct phantom_tooth_truth *tooth[2] = {&ph.truth.mesial, &ph.truth.distal};
    const struct phantom_tooth_truth *second[2] = {&other.mesial, &other.distal};
    for (int k = 0; k < 2; k++) {
        char name[64];
        snprintf(name, sizeof name, "%d %llu %s", (int)style, (unsigned long long)seed,
                 k == 0 ? "mesial" : "distal");
        root_case(&film, tooth[k], &rng, t, name);
        crest_case(&film, &ph.truth, tooth[k], &rng, t, name);
        molar_case(&film, (const struct phantom_tooth_truth *[]){tooth[k], second[k]}, &molar_rng,
                   t, name);
    }
    free(film.grey);
    phantom_release(&ph);
}

static double percent(size_t n, size_t of)
{
    return of ? 100.0 * (double)n / (double)of : 0.0;
}

static void print_tally(const char *style, struct tally *t)
{
    printf(
        "%-8s roots %zu refused %.1f %% | axis median %.2f p95 %.2f p99 %.2f deg, in U95 %.1f %% "
        "| %.1f ms\n",
        style, t->roots, percent(t->roots_refused, t->roots), values_quantile(&t->axis, 0.5),
        values_quantile(&t->axis, 0.95), values_quantile(&t->axis, 0.99),
        share_below(&t->axis_u, 2.0), 1e3 * values_quantile(&t->seconds, 0.5));
    printf("         side points %zu: median %.3f p95 %.3f mm, bias %.3f mm, in U95 %.1f %%\n",
           t->side_mm.n, values_quantile(&t->side_mm, 0.5), values_quantile(&t->side_mm, 0.95),
           values_quantile(&t->bias_mm, 0.5), share_below(&t->side_u, 2.0));
    printf("         bridged points %zu: median %.3f p95 %.3f mm, in U95 %.1f %%\n", t->gap_mm.n,
           values_quantile(&t->gap_mm, 0.5), values_quantile(&t->gap_mm, 0.95),
           share_below(&t->gap_u, 2.0));
    printf("         crests %zu refused %.1f %% | along: median %.3f p95 %.3f mm, within 0.1 mm "
           "%.1f %%, in U95 %.1f %%; in all: median %.3f mm\n",
           t->crests, percent(t->crests_refused, t->crests), values_quantile(&t->crest_mm, 0.5),
           values_quantile(&t->crest_mm, 0.95), share_below(&t->crest_mm, 0.1),
           share_below(&t->crest_u, 2.0), values_quantile(&t->crest_far, 0.5));
    printf(
        "         molars %zu refused %.1f %% | bisector median %.2f p95 %.2f deg, in U95 %.1f %%, "
        "offset p95 %.3f mm, in U95 %.1f %%\n",
        t->molars, percent(t->molars_refused, t->molars), values_quantile(&t->molar, 0.5),
        values_quantile(&t->molar, 0.95), share_below(&t->molar_u, 2.0),
        values_quantile(&t->molar_mm, 0.95), share_below(&t->molar_off_u, 2.0));
}

static void release(struct tally *t)
{
    struct values *v[] = {&t->molar,  &t->molar_u,  &t->molar_mm, &t->molar_off_u, &t->axis,
                          &t->axis_u, &t->side_mm,  &t->side_u,   &t->bias_mm,     &t->gap_mm,
                          &t->gap_u,  &t->crest_mm, &t->crest_u,  &t->crest_far,   &t->seconds};
    for (size_t i = 0; i < sizeof v / sizeof v[0]; i++)
        free(v[i]->at);
}

int main(int argc, char **argv)
{
    static const char *const names[] = {"easy", "typical", "hard"};
    uint64_t films = argc > 1 ? strtoull(argv[1], NULL, 10) : 100;
    uint64_t first = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
    for (int style = 0; style < 3; style++) {
        struct tally t = {0};
        for (uint64_t i = 0; i < films; i++)
            one_film((enum phantom_style)style, first + i, &t);
        print_tally(names[style], &t);
        fflush(stdout);
        release(&t);
    }
    return 0;
}
