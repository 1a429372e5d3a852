/* What the files of this folder share. */
#ifndef PLUMBRULE_METROLOGY_INTERNAL_H
#define PLUMBRULE_METROLOGY_INTERNAL_H

#include <math.h>
#include "plumbrule/metrology.h"

/* Sizes, estimates, uncertainties, degrees of freedom and correlations are what they should be. */
int unc_check_model(const struct unc_model *model, struct err *err);

/* A value of which nothing else is known. */
static inline struct unc_value unc_unknown(double value)
{
    const double nan = (double)NAN;
    return (struct unc_value){
        .value = value, .u = nan, .dof = nan, .lo = nan, .hi = nan, .nonlinear = nan};
}

/* Probability of a 95 % coverage interval, the only one the library speaks of. */
#define UNC_COVERAGE 0.95

#endif
