/*
 * A value against a limit, with a guard band of one expanded uncertainty (JCGM 106:2012, 8.3): what
 * is said is said with at least 95 % (one-sided 97.5 %) confidence, or not at all.
 */
#include "plumbrule/metrology.h"

#include <math.h>

enum unc_state plumb_unc_decide(const struct unc_value *v, enum unc_compare how, double limit)
{
    if (v == NULL || isnan(v->value) || isnan(limit))
        return UNC_NOT_MEASURED;
    double lo = v->lo, hi = v->hi;
    bool inside = false, outside = false;
    switch (how) {
    case UNC_AT_LEAST:
        inside = lo >= limit;
        outside = hi <= limit;
        break;
    case UNC_AT_MOST:
        inside = hi <= limit;
        outside = lo >= limit;
        break;
    case UNC_WITHIN:
        inside = lo >= -limit && hi <= limit;
        outside = limit < 0.0 || lo >= limit || hi <= -limit;
        break;
    }
    return inside ? UNC_INSIDE : outside ? UNC_OUTSIDE : UNC_UNDECIDED;
}
