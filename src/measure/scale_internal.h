/* The scale's rule and the lean, decided once at the estimates. See scale.c. */
#ifndef PLUMB_SCALE_INTERNAL_H
#define PLUMB_SCALE_INTERNAL_H

#include "measure/measure_internal.h"

struct lean {
    bool has, significant;
    double ratio, u_ratio; /* apparent length / true length */
    double most;           /* ratio below which it is significant */
};

/* Fills sc->rule, r->scale (but for the propagated value) and the lean; u_disagree: relative. */
int scale_decide(struct scene *sc, const struct meas_film *film, struct meas_result *r,
                 struct lean *lean, double *u_disagree, struct err *err);
/* mm/px good enough to turn the marks' default uncertainties into px; NO_VALUE without any. */
double scale_rough(const struct scene *sc);
/* A length gauge under a lean nobody can see falls short by so much in the mean, relative. */
double scale_lean_short(const struct meas_config *c);
/* Relative standard uncertainty of a gauge by an unseen lean and an oblique beam. */
double scale_lean_u(const struct meas_config *c, enum gauge_kind kind);

#endif
