/*
 * Loading: the format by the first bytes, the decoder, then what all formats share - orientation,
 * square pixels, what the resolution tag is worth, notes, digest.
 *
 * Non-square pixels: the finer pitch is kept and the coarser direction stretched by linear
 * interpolation, the picture's edges staying where they are. A turn of pixel shape by 1e-4 bends no
 * angle by more than 0.003 degrees, so smaller inequalities are left alone.
 *
 * Limits: polarity is what the tags say; a film exported inverted without saying so stays inverted.
 */
#include "film/film_internal.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Pitch of real detectors, phosphor plates and film scans (references.md B3: 15 to 64 um). */
static const double detector_um_min = 10, detector_um_max = 70;
/* 600 dpi: a detector's pitch by its size, and the usual setting of a flat-bed scanner. */
static const double flatbed_um = 25400.0 / 600, flatbed_tolerance_um = 0.1;
static const double square_tolerance = 1e-4; /* of the ratio of X and Y, see above */
static const double ratio_max = 8; /* pixels longer than that are a slip of the pen, not a pixel */
enum { TWELVE_BIT_MAX = 4095 };

static const char advice[] = "export the film as PNG, TIFF or JPEG";
static const char *const format_name[] = {"PNG", "TIFF", "JPEG"};

/* --- messages --------------------------------------------------------------------------------- */

void film_note(struct film *f, const char *fmt, ...)
{
    if (f->n_notes == FILM_NOTES_MAX)
        return;
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(f->note[f->n_notes++], sizeof f->note[0], fmt, ap);
    va_end(ap);
}

void film_note_alpha(struct film *f)
{
    film_note(f, "transparency left out: a film has none, and its grey is whole without it");
}

int film_damaged(const struct film_job *job, const char *word)
{
    char clean[128];
    plumb_text_copy(clean, sizeof clean, word);
    for (char *c = clean; *c; c++)
        if (*c < ' ' || *c > '~')
            *c = '?'; /* the word may quote the file */
    return plumb_err_set(job->err, ERR_FORMAT,
                         "truncated or damaged %s (%s): export the film again",
                         format_name[job->film->format], clean);
}

int film_unsupported(const struct film_job *job, const char *fmt, ...)
{
    char what[128];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(what, sizeof what, fmt, ap);
    va_end(ap);
    return plumb_err_set(job->err, ERR_FORMAT,
                         "%s is not read: export the film as grey PNG or TIFF of 8 or 16 bit",
                         what);
}

int film_no_memory(const struct film_job *job)
{
    return plumb_err_set(job->err, ERR_NOMEM, "no memory to decode the film: close other programs");
}

/* --- raster ----------------------------------------------------------------------------------- */

static int check_size(uint64_t width, uint64_t height, const struct film_options *o,
                      struct err *err)
{
    if (width == 0 || height == 0)
        return plumb_err_set(err, ERR_FORMAT, "has no pixels: export the film again");
    if (width > o->max_pixels / height || width > SIZE_MAX / sizeof(uint16_t) / height)
        return plumb_err_set(err, ERR_LIMIT,
                             "%llu x %llu pixels, more than the %llu allowed: export it smaller",
                             (unsigned long long)width, (unsigned long long)height,
                             (unsigned long long)o->max_pixels);
    return 0;
}

int film_take_raster(struct film_job *job, uint64_t width, uint64_t height)
{
    int rc = check_size(width, height, job->options, job->err);
    if (rc != 0)
        return rc;
    job->film->grey = plumb_mem_array((size_t)(width * height), sizeof(uint16_t), job->err);
    if (job->film->grey == NULL)
        return ERR_NOMEM;
    job->film->width = (size_t)width;
    job->film->height = (size_t)height;
    return 0;
}

void plumb_film_release(struct film *f)
{
    if (f == NULL)
        return;
    free(f->grey);
    *f = (struct film){0};
}

double plumb_film_sample(const struct film *f, double x, double y)
{
    double right = (double)(f->width - 1), bottom = (double)(f->height - 1);
    x = x > 0 ? x < right ? x : right : 0; /* NaN becomes 0 */
    y = y > 0 ? y < bottom ? y : bottom : 0;
    size_t col = (size_t)x, row = (size_t)y;
    double u = x - (double)col, v = y - (double)row;
    const uint16_t *p = f->grey + row * f->width + col;
    size_t across = col + 1 < f->width ? 1 : 0;
    size_t down = row + 1 < f->height ? f->width : 0;
    double upper = p[0] + u * (p[across] - p[0]);
    double lower = p[down] + u * (p[down + across] - p[down]);
    return upper + v * (lower - upper);
}

/* --- after decoding --------------------------------------------------------------------------- */

static int apply_orientation(struct film_job *job)
{
    struct film *f = job->film;
    if (f->orientation < 1 || f->orientation > 8) {
        film_note(f, "orientation tag %u is none of 1 to 8: shown as stored", f->orientation);
        f->orientation = 1;
    }
    f->mirrored =
        f->orientation == 2 || f->orientation == 4 || f->orientation == 5 || f->orientation == 7;
    if (f->mirrored)
        film_note(f, "mirrored back as orientation tag %u says: make sure which side is mesial",
                  f->orientation);
    if (f->orientation >= 5)
        job->density = (struct film_density){job->density.y, job->density.x, job->density.unit_um};
    return film_turn(f, job->err);
}

/* Twelve-bit values in a 16-bit file, either way up (WhiteIsZero turns small values into large). */
static void note_low_bits(struct film *f)
{
    uint16_t lo = UINT16_MAX, hi = 0;
    for (size_t i = 0; f->depth == 16 && i < f->width * f->height; i++) {
        lo = f->grey[i] < lo ? f->grey[i] : lo;
        hi = f->grey[i] > hi ? f->grey[i] : hi;
    }
    if (f->depth == 16 && (hi <= TWELVE_BIT_MAX || lo >= FILM_GREY_MAX - TWELVE_BIT_MAX))
        film_note(f, "16-bit file of 12-bit values: kept as they are, so it looks %s",
                  hi <= TWELVE_BIT_MAX ? "dark" : "bright");
}

static bool density_is_sound(struct film_job *job)
{
    const struct film_density *d = &job->density;
    if (!(d->x > 0) || !(d->y > 0) || !isfinite(d->x) || !isfinite(d->y))
        return false;
    double ratio = fmax(d->x / d->y, d->y / d->x);
    if (ratio <= ratio_max)
        return true;
    film_note(job->film, "resolution tags of X and Y differ by a factor of %.3g: not used", ratio);
    return false;
}

/* How many pixels of the finer pitch cover n of a pitch `ratio` times as coarse. */
static uint64_t stretched(size_t n, double ratio)
{
    double m = round((double)n * ratio);
    return m < 1 ? 1 : m < 0x1p53 ? (uint64_t)m : UINT64_C(1) << 53;
}

/* from: source pixels a step along x and y, at most 1. */
static void stretch(const struct film *f, double from_x, double from_y, struct film *to)
{
    for (size_t row = 0; row < to->height; row++) {
        double y = ((double)row + 0.5) * from_y - 0.5;
        uint16_t *line = to->grey + row * to->width;
        for (size_t col = 0; col < to->width; col++)
            line[col] =
                (uint16_t)lround(plumb_film_sample(f, ((double)col + 0.5) * from_x - 0.5, y));
    }
}

static int make_square(struct film_job *job)
{
    struct film *f = job->film;
    double x = job->density.x, y = job->density.y, fine = fmax(x, y);
    if (fabs(x / y - 1) <= square_tolerance)
        return 0;
    struct film square = {0};
    struct film_job taking = *job;
    taking.film = &square;
    int rc =
        film_take_raster(&taking, stretched(f->width, fine / x), stretched(f->height, fine / y));
    if (rc != 0)
        return rc;
    stretch(f, x / fine, y / fine, &square);
    film_note(f, "pixels are not square (%.4g wide, %.4g high): %zu x %zu stretched to %zu x %zu",
              fine / x, fine / y, f->width, f->height, square.width, square.height);
    free(f->grey);
    f->grey = square.grey;
    f->width = square.width;
    f->height = square.height;
    return 0;
}

static void rate_pitch(struct film_job *job)
{
    struct film *f = job->film;
    const struct film_density *d = &job->density;
    if (d->unit_um <= 0)
        return;
    f->pitch_um = d->unit_um / fmax(d->x, d->y);
    bool believable = f->pitch_um >= detector_um_min && f->pitch_um <= detector_um_max;
    f->pitch = believable ? FILM_PITCH_DETECTOR : FILM_PITCH_PLACEHOLDER;
    if (fabs(f->pitch_um - flatbed_um) <= flatbed_tolerance_um)
        film_note(f, "resolution tag of 600 dpi: may be a flat-bed scan rather than a sensor");
}

static int finish(struct film_job *job)
{
    int rc = apply_orientation(job);
    if (rc != 0)
        return rc;
    note_low_bits(job->film);
    if (density_is_sound(job)) {
        rc = make_square(job);
        rate_pitch(job);
    }
    job->film->file_size = job->len;
    plumb_digest_sha256(job->data, job->len, job->film->sha256);
    return rc;
}

/* --- which decoder ---------------------------------------------------------------------------- */

static bool starts_with(const struct film_job *job, const char *magic, size_t n)
{
    return job->len >= n && memcmp(job->data, magic, n) == 0;
}

/* A signature with a few wrong bytes is a damaged PNG: it was made to show what befell a file. */
static bool is_png(const struct film_job *job)
{
    static const uint8_t signature[8] = {0x89, 'P', 'N', 'G', '\r', '\n', 0x1A, '\n'};
    static const size_t bytes_needed = 5;
    size_t same = 0;
    for (size_t i = 0; i < sizeof signature && i < job->len; i++)
        same += job->data[i] == signature[i];
    return same >= bytes_needed;
}

static bool is_tiff(const struct film_job *job)
{
    return starts_with(job, "II*\0", 4) || starts_with(job, "MM\0*", 4) ||
           starts_with(job, "II+\0", 4) || starts_with(job, "MM\0+", 4);
}

static bool is_jpeg(const struct film_job *job)
{
    return starts_with(job, "\xFF\xD8\xFF", 3);
}

bool plumb_film_is_known(const void *data, size_t len)
{
    const struct film_job job = {.data = data, .len = len};
    return is_tiff(&job) || is_png(&job) || is_jpeg(&job);
}

static int refuse_foreign(const struct film_job *job)
{
    if (job->len == 0)
        return plumb_err_set(job->err, ERR_FORMAT, "is empty: %s", advice);
    const char *kind = film_foreign_kind(job->data, job->len);
    return plumb_err_set(job->err, ERR_FORMAT, kind ? "seems to be %s: %s" : "is no film%s: %s",
                         kind ? kind : "", advice);
}

static int decode(struct film_job *job)
{
    bool paged = is_tiff(job);
    if (!paged && job->options->page > 1)
        return plumb_err_set(job->err, ERR_ARG, "has 1 page, not %u: only TIFF has more",
                             job->options->page);
    if (paged)
        return film_tiff_read(job);
    if (is_png(job))
        return film_png_read(job);
    if (is_jpeg(job))
        return film_jpeg_read(job);
    return refuse_foreign(job);
}

void plumb_film_options_default(struct film_options *o)
{
    *o = (struct film_options){.max_pixels = 100000000, .max_bytes = (size_t)1 << 30};
}

int plumb_film_decode(const void *data, size_t len, const struct film_options *o, struct film *out,
                      struct err *err)
{
    struct film_options usual;
    plumb_film_options_default(&usual);
    *out = (struct film){.orientation = 1, .page = 1, .pages = 1};
    struct film_job job = {
        .data = data, .len = len, .options = o ? o : &usual, .film = out, .err = err};
    int rc = 0;
    if (len > job.options->max_bytes)
        rc = plumb_err_set(err, ERR_LIMIT, "%zu bytes, more than the %zu allowed", len,
                           job.options->max_bytes);
    if (rc == 0)
        rc = decode(&job);
    if (rc == 0)
        rc = finish(&job);
    if (rc != 0)
        plumb_film_release(out);
    return rc;
}

int plumb_film_load(const char *path, const struct film_options *o, struct film *out,
                    struct err *err)
{
    struct film_options usual;
    plumb_film_options_default(&usual);
    struct buf file;
    *out = (struct film){0};
    int rc = plumb_file_read(path, (o ? o : &usual)->max_bytes, &file, err);
    if (rc == 0)
        rc = plumb_film_decode(file.data, file.len, o, out, err);
    plumb_buf_release(&file);
    return rc;
}
