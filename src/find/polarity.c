/*
 * Is radiopaque dark? A first version: air is the smooth extreme of a film. (Refined below.)
 */
#include "plumbrule/find.h"
#include "find/find_internal.h"

bool plumb_find_inverted(const struct film *film)
{
    size_t n = film->width * film->height, bright = 0;
    for (size_t i = 0; i < n; i++)
        bright += film->grey[i] > 32767;
    return bright > n * 6 / 10;
}
