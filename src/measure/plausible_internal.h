/* Warnings about what is measured but hardly can be. See plausible.c. */
#ifndef PLUMB_PLAUSIBLE_INTERNAL_H
#define PLUMB_PLAUSIBLE_INTERNAL_H

#include "measure/measure_internal.h"

/* Adds warnings to out. */
void plausible_check(const struct scene *sc, struct meas_result *out);

#endif
