/*
 * Is radiopaque dark? What casts the strongest edges in a dental film - crowns, fillings, metal
 * against air - is bright and convex: along such edges the level lines bend round the brighter
 * side. So the curvature of the level lines, k = div(grad I / |grad I|), is summed over the
 * smoothed film with the weight |grad I|^3, which lets the steepest edges speak; negative when the
 * convex side is bright, and of the other sign when the film is turned over. A margin is left out:
 * the corners of a holder's frame bend the other way.
 *
 * Reference: J. A. Sethian, Level set methods (1999), section 6.1, for the curvature.
 * Limits: right in 89 % of typical and 83 % of hard phantoms without a pin (seeds 1 to 100); a
 * film with a pin is read by its pin instead (plumb_find_pins), which is right in 99 %.
 */
#include <math.h>
#include <stdlib.h>
#include "plumbrule/find.h"
#include "find/find_internal.h"

enum { SIDE = 200, PASSES = 3 };       /* px of the reduced film; box blurs */
static const double margin = 1.0 / 12; /* of the sides */
static const double most_bent = 0.3;   /* 1/px: tighter curvature is noise */
static const double flat = 1e-6;

static double box(const float *v, size_t w, size_t h, size_t x, size_t y)
{
    double sum = 0.0, n = 0.0;
    for (size_t j = y > 0 ? y - 1 : 0; j <= y + 1 && j < h; j++)
        for (size_t i = x > 0 ? x - 1 : 0; i <= x + 1 && i < w; i++) {
            sum += (double)v[j * w + i];
            n += 1.0;
        }
    return sum / n;
}

static void blur(const float *from, float *to, size_t w, size_t h)
{
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++)
            to[y * w + x] = (float)box(from, w, h, x, y);
}

/* Curvature of the level line at c times the gradient's cube. */
static double bend(const float *c, size_t w)
{
    const float *a = c - w, *b = c + w;
    double x = 0.5 * (double)(c[1] - c[-1]), y = 0.5 * (double)(b[0] - a[0]);
    double xx = (double)(c[1] - 2.0F * c[0] + c[-1]), yy = (double)(b[0] - 2.0F * c[0] + a[0]);
    double xy = 0.25 * (double)(b[1] - b[-1] - a[1] + a[-1]), m = sqrt(x * x + y * y) + flat;
    double k = (xx * y * y - 2.0 * xy * x * y + yy * x * x) / (m * m * m);
    return fmin(most_bent, fmax(-most_bent, k)) * m * m * m;
}

bool plumb_find_inverted(const struct film *film)
{
    struct find_image im = {0};
    float *room[2] = {0};
    double sum = 0.0;
    if (film->width < SIDE / 4 || film->height < SIDE / 4 ||
        find_image_reduce(film, SIDE, &im, NULL) != 0)
        return false;
    size_t w = im.width, h = im.height, mx = (size_t)(margin * (double)w) + 2;
    size_t my = (size_t)(margin * (double)h) + 2;
    room[0] = plumb_mem_array(w * h, sizeof **room, NULL);
    room[1] = plumb_mem_array(w * h, sizeof **room, NULL);
    if (!room[0] || !room[1])
        goto out;
    for (int k = 0; k < PASSES; k++)
        blur(k == 0 ? im.level : room[(k + 1) % 2], room[k % 2], w, h);
    for (size_t y = my; y + my < h; y++)
        for (size_t x = mx; x + mx < w; x++)
            sum += bend(room[(PASSES + 1) % 2] + y * w + x, w);
out:
    free(room[0]);
    free(room[1]);
    find_image_release(&im);
    return sum > 0.0;
}
