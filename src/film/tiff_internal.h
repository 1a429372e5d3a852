/*
 * TIFF, inside: tiff_open.c opens the file and listens to the library, tiff.c reads the tags and
 * walks over the blocks, tiff_grey.c turns rows of samples into grey.
 */
#ifndef PLUMBRULE_TIFF_INTERNAL_H
#define PLUMBRULE_TIFF_INTERNAL_H

#include <stdint.h>
#include <tiffio.h>
#include "film/film_internal.h"

enum tiff_kind {
    TIFF_GREY,
    TIFF_RGB,
    TIFF_CMYK,
    TIFF_FOREIGN /* left to the library's own RGBA */
};
enum { TIFF_PLANES = 4 }; /* the most that are looked at */

struct tiff_reader {
    struct film_job *job;
    TIFF *tif;
    uint64_t at; /* next byte of the file */
    bool in_pixels, damaged, no_memory;
    char word[160];

    uint32_t width, height;
    uint16_t bits, samples, format, photometric, compression;
    enum tiff_kind kind;
    bool tiled, separate; /* separate: a plane for each sample */
    bool inverted;        /* WhiteIsZero */
    bool wide;            /* samples to be mapped by their range, see tiff_grey.c */

    /* The piece decoded at a time: a tile, a strip, or one row of a strip. */
    uint32_t block_width, block_height;
    bool by_row;
    unsigned planes; /* buffers in use: 1, or one for each colour when separate */
    size_t row_bytes, block_bytes;
    uint8_t *block[TIFF_PLANES];

    uint16_t *tone; /* 2^bits entries: sample to grey; NULL: they are the same */
    uint16_t *line; /* unpacked samples of one row, planes one after another */
    double lo, hi;  /* range of wide samples */
};

/* Opens the job's file: r->tif. False when it is no TIFF; r->word may say why. */
bool tiff_open(struct tiff_reader *r);

/* More pages than a film has; the library would remember each, and follow a circle of them. */
enum { TIFF_PAGES_MAX = 10000 };
/* Pages that are all there, at most TIFF_PAGES_MAX + 1. */
unsigned tiff_count_pages(const struct tiff_reader *r);

/* How many colours a pixel of that kind has. */
unsigned tiff_colours(const struct tiff_reader *r);

/* Decides between tone table and range, builds the table. */
int tiff_grey_prepare(struct tiff_reader *r);
/* n pixels of row `row` of the block at hand: their grey, or, to learn the range, nothing. */
void tiff_grey_row(const struct tiff_reader *r, uint32_t row, size_t n, uint16_t *to);
void tiff_grey_range(struct tiff_reader *r, uint32_t row, size_t n);

#endif
