/*
 * How well two films of one mouth are laid over each other, and how often two mouths are: found,
 * wrong, error of carried points, coverage of the stated uncertainty. usage: bench_register FILMS
 * SEED
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "fixtures/phantom.h"
#include "plumbrule/find.h"
#include "tests/support/film_pair.h"
#include "tests/support/values.h"

/* Half of the points farther off than this: the films lie wrongly over each other. */
static const double wrong_mm = 1.0;
static const double turn_deg = 18.0;

struct kind {
    const char *name;
    enum phantom_style style;
    bool pin[2], other_bone, other_mouth;
};
static const struct kind kinds[] = {
    {"typical, bone the same", PHANTOM_TYPICAL, {true, true}, false, false},
    {"hard, bone the same", PHANTOM_HARD, {true, false}, false, false},
    {"typical, all bone anew", PHANTOM_TYPICAL, {true, false}, true, false},
    {"hard, all bone anew", PHANTOM_HARD, {true, false}, true, false},
    {"two mouths", PHANTOM_TYPICAL, {true, true}, false, true},
    {"two mouths, one drill and sensor", PHANTOM_TYPICAL, {true, true}, false, true},
};
enum { SAME_DRILL = sizeof kinds / sizeof kinds[0] - 1 };

struct score {
    size_t n, found, wrong, held;
    struct values off_mm;
};

static void params_of(const struct kind *k, uint64_t seed, struct phantom_params p[2])
{
    struct film_pair_how how = {k->style, seed, {k->pin[0], k->pin[1]}, turn_deg, k->other_bone};
    if (k->other_mouth)
        film_pair_strangers(&how, k == &kinds[SAME_DRILL], p);
    else
        film_pair_params(&how, p);
}

static void add_points(const struct kind *k, const struct phantom *ph,
                       const struct find_register *r, struct score *s)
{
    struct film_pair_point p[FILM_PAIR_POINTS];
    size_t n = film_pair_points(&ph[0].truth, &ph[1].truth, p), held = 0;
    struct values off = {0};
    for (size_t i = 0; i < n; i++) {
        double u;
        struct geo_point at = plumb_find_register_point(r, p[i].old, &u);
        values_add(&off, geo_dist(at, p[i].now) * ph[1].truth.mm_per_px);
        held += fabs(at.x - p[i].now.x) < 2.0 * u ? 1 : 0;
        held += fabs(at.y - p[i].now.y) < 2.0 * u ? 1 : 0;
    }
    bool wrong = k->other_mouth || values_quantile(&off, 0.5) > wrong_mm;
    s->wrong += wrong;
    for (size_t i = 0; !wrong && i < n; i++)
        values_add(&s->off_mm, off.at[i]);
    s->held += wrong ? 0 : held;
    free(off.at);
}

static int run_pair(const struct kind *k, uint64_t seed, struct score *s, struct err *err)
{
    struct phantom_params p[2];
    struct phantom ph[2] = {0};
    struct film film[2] = {0};
    struct find_register r = {0};
    struct err why;
    int rc = 0;
    params_of(k, seed, p);
    for (int i = 0; rc == 0 && i < 2; i++) {
        rc = phantom_draw(&p[i], &ph[i], err);
        if (rc == 0)
            rc = phantom_to_film(&ph[i], &film[i], err);
    }
    if (rc == 0 && plumb_find_register(&film[0], &film[1], &r, &why) == 0) {
        s->found++;
        add_points(k, ph, &r, s);
    }
    s->n++;
    plumb_find_register_release(&r);
    for (int i = 0; i < 2; i++) {
        phantom_release(&ph[i]);
        plumb_film_release(&film[i]);
    }
    return rc;
}

static void print_score(const char *name, struct score *s)
{
    printf("%-34s found %zu of %zu, wrong %zu", name, s->found, s->n, s->wrong);
    if (s->off_mm.n > 0)
        printf("; off by %.3f mm in the median, %.3f at 95 %%; 2 u hold %.3f",
               values_quantile(&s->off_mm, 0.5), values_quantile(&s->off_mm, 0.95),
               (double)s->held / (2.0 * (double)s->off_mm.n));
    putchar('\n');
}

int main(int argc, char **argv)
{
    size_t films = argc > 1 ? strtoul(argv[1], NULL, 10) : 10;
    uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
    struct err err = {0};
    int rc = 0;
    for (size_t i = 0; rc == 0 && i < sizeof kinds / sizeof kinds[0]; i++) {
        struct score s = {0};
        for (size_t k = 0; rc == 0 && k < films; k++)
            rc = run_pair(&kinds[i], seed + k, &s, &err);
        if (rc == 0)
            print_score(kinds[i].name, &s);
        free(s.off_mm.at);
    }
    if (rc != 0)
        fprintf(stderr, "bench_register: %s\n", err.text);
    return rc == 0 ? 0 : 65;
}
