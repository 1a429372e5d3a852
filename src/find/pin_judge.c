/*
 * Judgement: how far the measured body looks like a pin.
 */
#include <math.h>
#include "find/pin_internal.h"

double pin_confidence(const struct pin_body *b, const struct pin_ends *e)
{
    double contrast = fmin(b->inside - b->outside[0], b->inside - b->outside[1]);
    double straight = fmax(b->flank[0].scale, b->flank[1].scale) / b->width;
    if (e->kind[1] != PIN_END_FREE || contrast < 0.05 || straight > 0.02 || b->seen < 0.7)
        return 0.0;
    return 0.9;
}
