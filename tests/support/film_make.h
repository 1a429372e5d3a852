/*
 * film_make: writes small image files in memory with libpng, libtiff and libjpeg, from a formula
 * for each sample, so that a test knows every pixel. Failures end the test program.
 *
 * Ownership: the buf of every maker belongs to the caller (plumb_buf_release).
 */
#ifndef SUPPORT_FILM_MAKE_H
#define SUPPORT_FILM_MAKE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "plumbrule/base.h"
#include "plumbrule/film.h"

/* Sample of channel c at (x,y) in the file's own units, 0..max for whole numbers. */
typedef double (*make_sample)(size_t x, size_t y, unsigned c, double max);

/* A pattern without symmetry that takes on 0 and max. */
double make_pattern(size_t x, size_t y, unsigned c, double max);
/* The same in every channel: a grey picture in colour. */
double make_grey(size_t x, size_t y, unsigned c, double max);
/* Smooth, for lossy coders. */
double make_smooth(size_t x, size_t y, unsigned c, double max);

struct make_png {
    uint32_t width, height;
    int depth, colour_type; /* libpng's numbers */
    bool interlaced;
    make_sample sample;
    uint32_t x_density, y_density; /* 0: no pHYs */
    bool metre;
    const struct buf *exif; /* NULL: none */
    bool colour_key;        /* a tRNS chunk */
};
/* Palette files get the colours of make_palette. */
void make_png(const struct make_png *p, struct buf *out);
/* Colour c of palette entry i, 8 bit. */
uint8_t make_palette(size_t i, unsigned c);
/* Sets the check sum of every chunk right again. */
void make_png_sums(struct buf *file);

struct make_tiff {
    const char *mode; /* "wl", "wb", "wl8", "wb8": byte order, BigTIFF */
    uint32_t width, height;
    uint16_t bits, samples, format, photometric, compression, predictor;
    uint16_t extra;       /* how many of the samples are extra ones */
    bool separate;        /* planes apart */
    uint32_t tile;        /* tile size, 0: strips */
    uint32_t rows;        /* a strip, 0: all */
    unsigned orientation; /* 0: no tag */
    double x_density, y_density;
    unsigned unit;  /* 1 none, 2 inch, 3 cm; 0: no tags */
    bool lsb_first; /* FillOrder 2 */
    bool no_photometric;
    bool narrow_map; /* 8-bit values in the colour map */
    unsigned pages;  /* 0: one */
    make_sample sample;
};
void make_tiff(const struct make_tiff *t, struct buf *out);
/* Colour c of palette entry i, 16 bit. */
uint16_t make_tiff_palette(size_t i, unsigned c);
/* The greatest whole sample of that depth. */
double make_max(unsigned bits);

struct make_jpeg {
    uint32_t width, height;
    int components; /* 1, 3 or 4 */
    bool rgb;       /* three components kept as RGB */
    bool ycck;      /* four components as YCCK, with the Adobe marker */
    bool adobe;     /* four components with the Adobe marker */
    bool progressive;
    bool apart;  /* a scan for each component, not progressive */
    int quality; /* 0: 100 */
    unsigned jfif_unit, x_density, y_density;
    bool no_jfif;
    const struct buf *exif; /* with its "Exif" header; NULL: none */
    make_sample sample;
};
void make_jpeg(const struct make_jpeg *j, struct buf *out);

/* EXIF data with the "Exif" header: orientation (0: none) and a resolution (unit 0: none). */
void make_exif(bool big_endian, unsigned orientation, unsigned x_density, unsigned y_density,
               unsigned unit, struct buf *out);

/* v of 0..max as 0..65535, rounded to nearest, in exact arithmetic. */
uint16_t make_scaled(uint64_t v, uint64_t max);
/* Rec. 601 luma of three 16-bit values, rounded to nearest. */
uint16_t make_luma(uint64_t r, uint64_t g, uint64_t b);

#endif
