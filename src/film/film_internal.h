/*
 * film, inside: what the decoders share. A decoder gets a job, takes the raster by
 * film_take_raster (which holds the size against the limits before memory is had), fills it in
 * stored order, and states format, depth, channels, pages, orientation and resolution as the file
 * does. film.c does the rest for all formats alike: orientation, square pixels, pitch, digest.
 */
#ifndef PLUMBRULE_FILM_INTERNAL_H
#define PLUMBRULE_FILM_INTERNAL_H

#include <stdint.h>
#include "plumbrule/film.h"

/* A resolution tag: pixels a unit along stored rows (x) and columns (y). */
struct film_density {
    double x, y;    /* 0: not stated */
    double unit_um; /* length of the unit; 0: only x:y is meant */
};

struct film_job {
    const uint8_t *data; /* the file, len bytes, borrowed */
    size_t len;
    const struct film_options *options;
    struct film *film; /* zeroed at first; released by the caller of the decoder on error */
    struct film_density density;
    struct err *err;
};

int film_png_read(struct film_job *job);
int film_tiff_read(struct film_job *job);
int film_jpeg_read(struct film_job *job);

/* Units of resolution tags in um. */
#define FILM_METRE_UM 1e6
#define FILM_INCH_UM 25400.0
#define FILM_CM_UM 10000.0

enum film_luma_weight { LUMA_R = 299, LUMA_G = 587, LUMA_B = 114, LUMA_SUM = 1000 };
enum { FILM_GREY_MAX = 65535 };

/* Rec. ITU-R BT.601 luma, rounded; exactly v for r = g = b = v. */
static inline uint16_t film_luma(uint32_t r, uint32_t g, uint32_t b)
{
    return (uint16_t)((LUMA_R * r + LUMA_G * g + LUMA_B * b + LUMA_SUM / 2) / LUMA_SUM);
}

/* v of 0..max as 0..65535, rounded. */
static inline uint16_t film_scale(uint32_t v, uint32_t max)
{
    return (uint16_t)(((uint64_t)v * FILM_GREY_MAX + max / 2) / max);
}

/* Light left by two inks, each given as light of 0..65535. */
static inline uint32_t film_through(uint32_t a, uint32_t b)
{
    return (uint32_t)(((uint64_t)a * b + FILM_GREY_MAX / 2) / FILM_GREY_MAX);
}

/* Checks the size against the options, then takes the film's raster. */
int film_take_raster(struct film_job *job, uint64_t width, uint64_t height);

/* Adds a note; what does not fit is dropped. */
void film_note(struct film *f, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
void film_note_alpha(struct film *f);

/* ERR_FORMAT: the file is cut short or damaged; `word` is the library's own, made printable. */
int film_damaged(const struct film_job *job, const char *word);
/* ERR_FORMAT: a sound file of a kind that is not read. */
int film_unsupported(const struct film_job *job, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
int film_no_memory(const struct film_job *job);

/* What EXIF data say, from the byte-order mark on (with or without the "Exif" header). Tags that
 * are not there or make no sense leave `orientation` and `density` as they are. */
int film_exif_read(const uint8_t *data, size_t len, unsigned *orientation,
                   struct film_density *density, struct err *err);

/* Names what the bytes seem to be, when that is no film: "a PDF document". */
const char *film_foreign_kind(const uint8_t *data, size_t len);

/* Turns the stored raster the way its orientation says (orient.c). */
int film_turn(struct film *f, struct err *err);

#endif
