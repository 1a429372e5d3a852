/*
 * Orientation: the eight ways of TIFF 6.0 and EXIF 2.3, tag 274. Every one is an affine map of
 * pixel indices, so three calls of the one table give the steps for a whole raster.
 */
#include "film/film_internal.h"

#include <stdlib.h>

void plumb_film_orient(unsigned orientation, size_t w, size_t h, size_t col, size_t row, size_t *x,
                       size_t *y)
{
    bool from_right = orientation == 2 || orientation == 3;
    bool from_bottom = orientation == 3 || orientation == 4;
    if (orientation >= 5 && orientation <= 8) {
        *x = orientation == 6 || orientation == 7 ? h - 1 - row : row;
        *y = orientation == 7 || orientation == 8 ? w - 1 - col : col;
    } else {
        *x = from_right ? w - 1 - col : col;
        *y = from_bottom ? h - 1 - row : row;
    }
}

/* Index in the shown raster; wraps like any size_t, so that differences come out right. */
static size_t shown_index(const struct film *f, size_t shown_width, size_t col, size_t row)
{
    size_t x, y;
    plumb_film_orient(f->orientation, f->width, f->height, col, row, &x, &y);
    return y * shown_width + x;
}

/* Tiles keep both rasters in the cache while rows become columns; 64 x 64 x 2 bytes each. */
enum { TILE = 64 };

static void turn_tile(const struct film *f, uint16_t *to, size_t col0, size_t row0,
                      size_t shown_width)
{
    size_t col1 = col0 + TILE < f->width ? col0 + TILE : f->width;
    size_t row1 = row0 + TILE < f->height ? row0 + TILE : f->height;
    size_t step = shown_index(f, shown_width, 1, 0) - shown_index(f, shown_width, 0, 0);
    for (size_t row = row0; row < row1; row++) {
        size_t at = shown_index(f, shown_width, col0, row);
        const uint16_t *from = f->grey + row * f->width;
        for (size_t col = col0; col < col1; col++, at += step)
            to[at] = from[col];
    }
}

int film_turn(struct film *f, struct err *err)
{
    if (f->orientation <= 1 || f->orientation > 8)
        return 0;
    bool lying = f->orientation >= 5;
    size_t width = lying ? f->height : f->width, height = lying ? f->width : f->height;
    uint16_t *turned = plumb_mem_array(width * height, sizeof *turned, err);
    if (turned == NULL)
        return ERR_NOMEM;
    for (size_t row = 0; row < f->height; row += TILE)
        for (size_t col = 0; col < f->width; col += TILE)
            turn_tile(f, turned, col, row, width);
    free(f->grey);
    f->grey = turned;
    f->width = width;
    f->height = height;
    return 0;
}
