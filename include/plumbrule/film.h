/*
 * film: a periapical film as an exported image file, decoded into one 16-bit grey raster; and the
 * writing of the annotated picture as PNG (decoder libraries are known to this part alone).
 *
 * Frame, for the whole library: pixel coordinates, x right, y down, the centre of the top-left
 * pixel at (0,0), after the file's orientation has been applied and non-square pixels have been
 * made square. (Drawing adds the half pixel in one place, src/record/picture.c.) Grey: radiopaque
 * is bright as far as the file's tags say; 0..65535 whatever the depth of the file.
 */
#ifndef PLUMBRULE_FILM_H
#define PLUMBRULE_FILM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "plumbrule/base.h"

enum film_format { FILM_PNG, FILM_TIFF, FILM_JPEG };

/* What a resolution tag in the file is worth. */
enum film_pitch {
    FILM_PITCH_NONE,        /* no tag, or one that states only the pixel's shape */
    FILM_PITCH_PLACEHOLDER, /* a display or print value (72, 96, 300 dpi ...): says nothing */
    FILM_PITCH_DETECTOR     /* 10 to 70 um: believable as the pitch of the sensor */
};

#define FILM_NOTES_MAX 8

struct film {
    size_t width, height; /* px */
    uint16_t *grey;       /* width x height, row by row, no padding */
    enum film_format format;
    unsigned depth;       /* bits a sample in the file */
    unsigned channels;    /* samples a pixel in the file, alpha included */
    unsigned orientation; /* 1..8 as found in the file (1 when not stated) */
    bool mirrored;        /* orientation 2, 4, 5 or 7 */
    unsigned page, pages; /* page read (from 1), pages in the file */
    enum film_pitch pitch;
    double pitch_um;  /* um a pixel as the tag states it, after squaring; 0 for none */
    char sha256[65];  /* of the file */
    size_t file_size; /* bytes */
    size_t n_notes;   /* things a person should know: one clear line each */
    char note[FILM_NOTES_MAX][160];
};

struct film_options {
    uint64_t max_pixels; /* refuse larger films before memory is taken */
    size_t max_bytes;    /* refuse larger files */
    unsigned page;       /* from 1; 0: the first */
};
/* 100 million pixels (an 8 x 6 inch film at 1600 dpi has 123 million: no periapical comes near),
 * 1 GiB, the first page. */
void plumb_film_options_default(struct film_options *o);

/* Reads, checks and decodes path. A truncated, damaged or foreign file gives ERR_FORMAT with one
 * clear line and no film; ERR_LIMIT, ERR_NOTFOUND, ERR_IO, ERR_NOMEM as their names say. */
int plumb_film_load(const char *path, const struct film_options *o, struct film *out,
                    struct err *err);
/* The same from memory. */
int plumb_film_decode(const void *data, size_t len, const struct film_options *o, struct film *out,
                      struct err *err);
void plumb_film_release(struct film *f);
/* Do the bytes begin like a film that can be read? */
bool plumb_film_is_known(const void *data, size_t len);

/* Grey between pixels, bilinear; outside the film the nearest edge pixel. */
double plumb_film_sample(const struct film *f, double x, double y);

/* In which of the orientations 1..8 the stored pixel (col,row) of a w x h raster is shown where:
 * writes the shown pixel's coordinates. TIFF 6.0 / EXIF 2.3 tag 274. */
void plumb_film_orient(unsigned orientation, size_t w, size_t h, size_t col, size_t row, size_t *x,
                       size_t *y);

/* Writing an 8-bit RGB PNG row by row into an atomic file. */
struct film_png_text {
    const char *key;   /* Latin-1 keyword as the PNG standard defines them, e.g. "Software" */
    const char *value; /* UTF-8 */
};
struct film_png_options {
    size_t width, height;
    unsigned level;   /* deflate level 0..9 */
    double mm_per_px; /* 0: no pHYs chunk */
    const struct film_png_text *text;
    size_t n_text;
};
/* Gives row y as width x 3 bytes; the pointer stays valid until the next call. */
typedef const uint8_t *(*film_png_row)(void *ctx, size_t y);
int plumb_film_png_write(struct file_out *to, const struct film_png_options *o, film_png_row row,
                         void *ctx, struct err *err);

#endif
