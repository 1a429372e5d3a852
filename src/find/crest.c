/*
 * The crest from a rough point: the strongest step from dark (gum) to bright (bone) along the
 * apical direction, averaged a little across.
 */
#include <math.h>
#include <string.h>
#include "find/find_internal.h"
#include "plumbrule/find.h"

enum { HALF = 40, AVERAGE = 8, COLS = 2 * HALF + 1 };

int plumb_find_crest(const struct film *film, struct geo_point rough, struct geo_point apical,
                     struct find_crest *out, struct err *err)
{
    static const double edge_sd = 2.5, search = 25.0, least = 0.004;
    struct find_image im = find_image_of(film, plumb_find_inverted(film));
    struct geo_point a = geo_unit(apical), m = geo_perp(a);
    float v[COLS];
    double at = 0.0;
    memset(out, 0, sizeof *out);
    if (!(rough.x >= 0.0 && rough.y >= 0.0 && rough.x <= (double)film->width - 1.0 &&
          rough.y <= (double)film->height - 1.0) ||
        geo_norm(a) < 0.5)
        return plumb_err_set(err, ERR_ARG, "the crest's point lies outside the film");
    for (int j = 0; j < COLS; j++) {
        double sum = 0.0;
        for (int k = -AVERAGE; k <= AVERAGE; k++)
            sum += find_image_at(&im, geo_add(rough, geo_add(geo_mul(a, j - HALF), geo_mul(m, k))));
        v[j] = (float)(sum / (2 * AVERAGE + 1));
    }
    double slope = find_edge_in_row(v, COLS, (size_t)(HALF - search), (size_t)(HALF + search + 1),
                                    1, edge_sd, &at);
    if (slope < least)
        return plumb_err_set(err, ERR_NOTFOUND, "no crest edge is to be seen near the point");
    out->at = geo_add(rough, geo_mul(a, at - HALF));
    out->u = edge_sd;
    return 0;
}
