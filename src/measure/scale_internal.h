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
/* How much larger a gauge of a kind is shown under a lean nobody can see and an oblique beam,
 * relative, in the mean; u: its standard uncertainty. */
double scale_shown(const struct meas_config *c, enum gauge_kind kind, double *u);

#endif
