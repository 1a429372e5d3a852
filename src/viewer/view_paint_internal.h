/*
 * Painting: the film and the scene's items on a picture in memory, region by region. Knows cairo
 * and no X.
 */
#ifndef VIEW_PAINT_INTERNAL_H
#define VIEW_PAINT_INTERNAL_H

#include <cairo.h>
#include <pango/pangocairo.h>
#include "viewer/view_internal.h"

struct view_painter {
    cairo_surface_t *frame; /* the whole window, RGB24; the caller's */
    PangoContext *pango;
    struct view_raster raster;
    struct view_pyramid pyramid;
    struct view_scene scene[2];
    int now; /* which scene is on the screen */
    struct view_layout layout;
    struct view_transform t;
    struct view_tone tone;
    bool hide, help, shown, has_tone;
    uint8_t table[65536];
};
int view_painter_init(struct view_painter *p, struct err *err);
void view_painter_release(struct view_painter *p);
/* Another frame to paint on, for another size: everything is painted anew. */
void view_painter_frame(struct view_painter *p, cairo_surface_t *frame,
                        const struct view_layout *l);
/* Brings the frame up to date; changed (made by the caller) takes the regions that differ. */
int view_paint(struct view_painter *p, struct view_state *v, cairo_region_t *changed,
               struct err *err);

#endif
