/*
 * Grey of the film to grey of the screen: black and white from the film's own histogram, then
 * brightness, contrast and inversion. Display only.
 */
#include "viewer/view_internal.h"

#include <math.h>

/* So much of the film may go to pure black or white: a frame or a scratch must not set the tone. */
static const double cut_share = 0.002;
enum { BINS = 4096, BIN_SHIFT = 4, STEP_PX = 7 /* every so many px count */ };

static double percentile(const unsigned bins[BINS], double share, double total)
{
    double sum = 0.0;
    for (int i = 0; i < BINS; i++) {
        sum += bins[i];
        if (sum >= share * total)
            return (i + 0.5) * (1 << BIN_SHIFT);
    }
    return 65535.0;
}

void view_tone_init(struct view_tone *t, const struct film *film)
{
    unsigned bins[BINS] = {0};
    size_t n = film->width * film->height, step = n > 100 * STEP_PX ? STEP_PX : 1;
    double total = ceil((double)n / (double)step);
    for (size_t i = 0; i < n; i += step)
        bins[film->grey[i] >> BIN_SHIFT]++;
    *t = (struct view_tone){.low = percentile(bins, cut_share, total),
                            .high = percentile(bins, 1.0 - cut_share, total)};
    if (t->high < t->low + (1 << BIN_SHIFT))
        *t = (struct view_tone){.low = 0.0, .high = 65535.0};
}

void view_tone_table(const struct view_tone *t, uint8_t table[65536])
{
    double slope = exp2(t->contrast) / (t->high - t->low);
    for (int i = 0; i < 65536; i++) {
        double y = ((double)i - 0.5 * (t->low + t->high)) * slope + 0.5 + t->bright;
        y = fmin(fmax(y, 0.0), 1.0);
        table[i] = (uint8_t)(255.0 * (t->inverted ? 1.0 - y : y) + 0.5);
    }
}
