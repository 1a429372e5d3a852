/*
 * Who gets which part of the window: the film, one column at its right, one line at the foot.
 */
#include "viewer/view_internal.h"

#include <math.h>

/* All in px at 96 dots an inch. */
static const double column_px = 268.0, column_most_share = 0.42;
static const double foot_px = 32.0, pad_px = 12.0, step_px = 21.0, quantity_px = 33.0;
static const double text_px = 13.0, small_px = 11.5;
static const double title_rows = 2.35; /* film and site above the steps */
static const double gap_rows = 0.5;    /* between steps and quantities */

void view_layout_make(struct view_layout *l, double w, double h, double ui)
{
    double column = fmin(round(column_px * ui), floor(column_most_share * w));
    double foot = fmin(round(foot_px * ui), h);
    *l = (struct view_layout){.ui = ui,
                              .w = w,
                              .h = h,
                              .film = {0.0, 0.0, w - column, h - foot},
                              .column = {w - column, 0.0, w, h - foot},
                              .foot = {0.0, h - foot, w, h},
                              .step_row = round(step_px * ui),
                              .quantity_row = round(quantity_px * ui),
                              .pad = round(pad_px * ui),
                              .text = text_px * ui,
                              .small = small_px * ui};
}

struct view_box view_layout_step(const struct view_layout *l, size_t i)
{
    double y = l->column.y0 + round((title_rows + (double)i) * l->step_row);
    return (struct view_box){l->column.x0, y, l->column.x1, y + l->step_row};
}

int view_layout_step_at(const struct view_layout *l, struct geo_point p)
{
    for (size_t i = 0; i < STEPS; i++)
        if (view_box_has(view_layout_step(l, i), p))
            return (int)i;
    return -1;
}

struct view_box view_layout_quantities(const struct view_layout *l)
{
    double y = view_layout_step(l, STEPS).y0 + round(gap_rows * l->step_row);
    return (struct view_box){l->column.x0, fmin(y, l->column.y1), l->column.x1, l->column.y1};
}
