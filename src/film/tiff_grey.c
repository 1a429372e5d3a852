/*
 * TIFF samples to grey. Unsigned samples of 1 to 16 bits go through a table that holds scaling,
 * WhiteIsZero and palette at once; their full scale is that of the depth. Signed, 32-bit and
 * floating samples have no full scale that anybody keeps to, so their smallest finite value becomes
 * 0 and their greatest 65535, which takes a first walk over the samples. NaN becomes 0.
 */
#include "film/tiff_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

unsigned tiff_colours(const struct tiff_reader *r)
{
    return r->kind == TIFF_CMYK ? 4 : r->kind == TIFF_RGB ? 3 : 1;
}

/* Some writers put 8-bit values into the 16-bit colour map. */
static uint32_t map_factor(const struct tiff_reader *r, uint16_t *const map[3])
{
    for (size_t i = 0; i < (size_t)1 << r->bits; i++)
        for (int c = 0; c < 3; c++)
            if (map[c][i] > UINT8_MAX)
                return 1;
    return FILM_GREY_MAX / UINT8_MAX;
}

static int fill_palette(struct tiff_reader *r)
{
    uint16_t *map[3] = {NULL, NULL, NULL};
    if (TIFFGetField(r->tif, TIFFTAG_COLORMAP, &map[0], &map[1], &map[2]) != 1 || !map[0])
        return film_damaged(r->job, "no colour map");
    uint32_t f = map_factor(r, map);
    for (size_t i = 0; i < (size_t)1 << r->bits; i++)
        r->tone[i] = film_luma(f * map[0][i], f * map[1][i], f * map[2][i]);
    return 0;
}

static int fill_tone(struct tiff_reader *r)
{
    size_t n = (size_t)1 << r->bits;
    if (r->bits == 16 && !r->inverted && r->photometric != PHOTOMETRIC_PALETTE)
        return 0;
    r->tone = plumb_mem_array(n, sizeof *r->tone, r->job->err);
    if (r->tone == NULL)
        return ERR_NOMEM;
    if (r->photometric == PHOTOMETRIC_PALETTE)
        return fill_palette(r);
    for (size_t i = 0; i < n; i++)
        r->tone[i] = film_scale((uint32_t)(r->inverted ? n - 1 - i : i), (uint32_t)(n - 1));
    return 0;
}

static int check_depth(struct tiff_reader *r)
{
    bool is_unsigned = r->format == SAMPLEFORMAT_UINT || r->format == SAMPLEFORMAT_VOID;
    bool is_signed = r->format == SAMPLEFORMAT_INT;
    bool is_float = r->format == SAMPLEFORMAT_IEEEFP;
    bool narrow = is_unsigned && r->bits >= 1 && r->bits <= 16;
    r->wide = (is_unsigned && r->bits == 32) ||
              (is_signed && (r->bits == 8 || r->bits == 16 || r->bits == 32)) ||
              (is_float && (r->bits == 32 || r->bits == 64));
    bool ranged = r->wide && r->photometric != PHOTOMETRIC_PALETTE && r->kind != TIFF_CMYK;
    if (narrow || ranged)
        return 0;
    return film_unsupported(r->job, "TIFF with %u-bit %s samples", r->bits,
                            is_unsigned ? "unsigned"
                            : is_signed ? "signed"
                            : is_float  ? "floating point"
                                        : "complex");
}

int tiff_grey_prepare(struct tiff_reader *r)
{
    int rc = check_depth(r);
    if (rc == 0 && !r->wide)
        rc = fill_tone(r);
    if (rc != 0)
        return rc;
    size_t a_pixel = r->separate ? r->planes : r->samples;
    r->line = plumb_mem_array((size_t)r->block_width * a_pixel, sizeof *r->line, r->job->err);
    r->lo = HUGE_VAL;
    r->hi = -HUGE_VAL;
    return r->line ? 0 : ERR_NOMEM;
}

/* Samples of less than 8, or between 8 and 16 bits, packed most significant bit first. */
static void unpack_bits(const uint8_t *from, unsigned bits, size_t n, uint16_t *to)
{
    uint32_t hold = 0, mask = ((uint32_t)1 << bits) - 1;
    unsigned have = 0;
    for (size_t i = 0; i < n; i++) {
        for (; have < bits; have += 8)
            hold = hold << 8 | *from++;
        have -= bits;
        to[i] = (uint16_t)(hold >> have & mask);
    }
}

static const uint16_t *unpack(const struct tiff_reader *r, const uint8_t *from, size_t n,
                              uint16_t *to)
{
    if (r->bits == 16)
        return (const void *)from; /* rows start at even offsets of a block */
    if (r->bits == 8)
        for (size_t i = 0; i < n; i++)
            to[i] = from[i];
    else
        unpack_bits(from, r->bits, n, to);
    return to;
}

static uint32_t tone_of(const struct tiff_reader *r, uint16_t sample)
{
    return r->tone ? r->tone[sample] : sample;
}

/* s: the row of each colour; i: where the pixel's sample lies in it. */
static uint16_t narrow_grey(const struct tiff_reader *r, const uint16_t *const s[], size_t i)
{
    uint32_t first = tone_of(r, s[0][i]);
    if (r->kind == TIFF_GREY)
        return (uint16_t)first;
    uint32_t second = tone_of(r, s[1][i]), third = tone_of(r, s[2][i]);
    if (r->kind == TIFF_RGB)
        return film_luma(first, second, third);
    uint32_t light = FILM_GREY_MAX - tone_of(r, s[3][i]);
    return film_luma(film_through(FILM_GREY_MAX - first, light),
                     film_through(FILM_GREY_MAX - second, light),
                     film_through(FILM_GREY_MAX - third, light));
}

/* The row of each colour of the block at hand, as 16-bit samples; colours that the kind does not
 * have repeat the first. */
static void colour_rows(const struct tiff_reader *r, uint32_t row, size_t n,
                        const uint16_t *s[TIFF_PLANES])
{
    size_t at = row * r->row_bytes;
    s[0] = unpack(r, r->block[0] + at, r->separate ? n : n * r->samples, r->line);
    for (unsigned c = 1; c < TIFF_PLANES; c++)
        if (c >= tiff_colours(r))
            s[c] = s[0];
        else if (r->separate)
            s[c] = unpack(r, r->block[c] + at, n, r->line + c * n);
        else
            s[c] = s[0] + c;
}

static void narrow_row(const struct tiff_reader *r, uint32_t row, size_t n, uint16_t *to)
{
    const uint16_t *s[TIFF_PLANES];
    size_t step = r->separate ? 1 : r->samples;
    colour_rows(r, row, n, s);
    if (r->kind == TIFF_GREY && step == 1 && r->tone == NULL)
        memcpy(to, s[0], n * sizeof *to);
    else
        for (size_t i = 0; i < n; i++)
            to[i] = narrow_grey(r, s, i * step);
}

static double wide_sample(const struct tiff_reader *r, const uint8_t *from, size_t i)
{
    union {
        int8_t i8;
        int16_t i16;
        int32_t i32;
        uint32_t u32;
        float f32;
        double f64;
    } v;
    size_t bytes = r->bits / 8;
    memcpy(&v, from + i * bytes, bytes);
    if (r->format == SAMPLEFORMAT_IEEEFP)
        return r->bits == 64 ? v.f64 : (double)v.f32;
    if (r->format != SAMPLEFORMAT_INT)
        return v.u32;
    return r->bits == 8 ? v.i8 : r->bits == 16 ? v.i16 : v.i32;
}

/* Grey or luma of pixel i of a row, in the file's own units. */
static double wide_grey(const struct tiff_reader *r, uint32_t row, size_t i)
{
    static const double weight[3] = {LUMA_R, LUMA_G, LUMA_B};
    if (r->kind == TIFF_GREY)
        return wide_sample(r, r->block[0] + row * r->row_bytes, r->separate ? i : i * r->samples);
    double sum = 0;
    for (size_t c = 0; c < 3; c++) {
        const uint8_t *from = r->block[r->separate ? c : 0] + row * r->row_bytes;
        sum += weight[c] * wide_sample(r, from, r->separate ? i : i * r->samples + c);
    }
    return sum / LUMA_SUM;
}

void tiff_grey_range(struct tiff_reader *r, uint32_t row, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        double v = wide_grey(r, row, i);
        if (isfinite(v)) {
            r->lo = fmin(r->lo, v);
            r->hi = fmax(r->hi, v);
        }
    }
}

/* Halved, so that a range from -DBL_MAX to DBL_MAX stays finite; halving is exact elsewhere. */
static uint16_t place_in_range(const struct tiff_reader *r, double v)
{
    if (isnan(v))
        return 0;
    double span = r->hi / 2 - r->lo / 2;
    double part = span > 0 ? (v / 2 - r->lo / 2) / span : 0;
    part = fmin(fmax(part, 0), 1);
    return (uint16_t)lround((r->inverted ? 1 - part : part) * FILM_GREY_MAX);
}

void tiff_grey_row(const struct tiff_reader *r, uint32_t row, size_t n, uint16_t *to)
{
    if (!r->wide)
        narrow_row(r, row, n, to);
    else
        for (size_t i = 0; i < n; i++)
            to[i] = place_in_range(r, wide_grey(r, row, i));
}
