/*
 * Coverage studies: how often the stated 95 % intervals hold the truth.
 *
 * coverage_run: invented sheets with every error the model speaks of - scattered marks, wrong gauge
 * sizes, objects out of the gauge's plane, a pin that leans unseen. coverage_film
 * (film_coverage.c): drawn films, measured as a person would do it with the finders' help.
 */
#ifndef TESTS_SUPPORT_COVERAGE_H
#define TESTS_SUPPORT_COVERAGE_H

#include <stdint.h>
#include "fixtures/phantom.h"
#include "plumbrule/measure.h"

enum { COVERAGE_IDS = 96 };
struct coverage_row {
    char id[MEAS_ID];
    double n, held;
    double n_z, sum_z, sum_z2; /* z = error / u, of two-sided intervals */
};
struct coverage {
    struct coverage_row row[COVERAGE_IDS];
    size_t n;
};
int coverage_run(size_t trials, uint64_t seed, struct coverage *out, struct err *err);
/* One value with its interval against the truth, under a name. */
void coverage_count(struct coverage *c, const char *name, const struct meas_quantity *q,
                    double truth);
void coverage_add(struct coverage *to, const struct coverage *from);
void coverage_print(const struct coverage *c);

/* What became of the films and of the finders' tries. */
struct coverage_films {
    struct coverage c;
    double films, no_pin, wrong_pin, wrong_shoulder, roots, roots_refused, crests, crests_refused;
};
/* What the hand states of a style's films, as a file of limits can: standard uncertainties. */
extern const struct coverage_stated {
    double lean_deg, beam_deg;
} coverage_stated[PHANTOM_HARD + 1];
/* Adds one film, and prints every value that is more than tell_z u off; INFINITY: none. */
int coverage_film(enum phantom_style style, uint64_t seed, double tell_z,
                  struct coverage_films *out, struct err *err);
void coverage_films_add(struct coverage_films *to, const struct coverage_films *from);

#endif
