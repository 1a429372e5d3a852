/*
 * TIFF: depths, byte orders, strips and tiles, planes, polarity, palettes, inks, compressions,
 * sample formats, pages, tags, each against the formula that made the file. Truth: make_scaled and
 * make_luma in exact arithmetic; lossy coders within their own error.
 */
#include "tests/support/close.h"

#include <float.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <tiffio.h>

#include "plumbrule/film.h"
#include "tests/support/film_make.h"

static const struct make_tiff grey_film = {.mode = "wl",
                                           .width = 45,
                                           .height = 33,
                                           .bits = 8,
                                           .samples = 1,
                                           .photometric = PHOTOMETRIC_MINISBLACK,
                                           .rows = 7,
                                           .sample = make_pattern};

static void load(const struct make_tiff *t, struct film *f)
{
    struct buf file = {0};
    struct err err = {0};
    make_tiff(t, &file);
    int rc = plumb_film_decode(file.data, file.len, NULL, f, &err);
    if (rc != 0)
        print_error("%u bit, %u samples, photometric %u, compression %u: %s\n", t->bits, t->samples,
                    t->photometric, t->compression, err.text);
    assert_int_equal(rc, 0);
    assert_int_equal(f->format, FILM_TIFF);
    assert_int_equal(f->width, t->width);
    assert_int_equal(f->height, t->height);
    assert_int_equal(f->depth, t->bits);
    assert_int_equal(f->channels, t->samples);
    plumb_buf_release(&file);
}

static uint16_t through(uint64_t a, uint64_t b)
{
    return (uint16_t)((2 * a * b + 65535) / (2 * 65535));
}

static uint16_t truth(const struct make_tiff *t, size_t x, size_t y)
{
    uint16_t v[4];
    double max = make_max(t->bits);
    for (unsigned c = 0; c < 4; c++)
        v[c] = make_scaled((uint64_t)t->sample(x, y, c, max), (uint64_t)max);
    size_t i = (size_t)t->sample(x, y, 0, max);
    uint16_t light = (uint16_t)(65535 - v[3]);
    switch (t->photometric) {
    case PHOTOMETRIC_MINISBLACK:
        return v[0];
    case PHOTOMETRIC_MINISWHITE:
        return (uint16_t)(65535 - v[0]);
    case PHOTOMETRIC_PALETTE:
        return t->narrow_map ? make_luma(make_palette(i, 0) * 257u, make_palette(i, 1) * 257u,
                                         make_palette(i, 2) * 257u)
                             : make_luma(make_tiff_palette(i, 0), make_tiff_palette(i, 1),
                                         make_tiff_palette(i, 2));
    case PHOTOMETRIC_SEPARATED:
        return make_luma(through(65535u - v[0], light), through(65535u - v[1], light),
                         through(65535u - v[2], light));
    default:
        return make_luma(v[0], v[1], v[2]);
    }
}

static void check_pixels(const struct make_tiff *t)
{
    struct film f;
    load(t, &f);
    for (size_t y = 0; y < f.height; y++)
        for (size_t x = 0; x < f.width; x++)
            if (f.grey[y * f.width + x] != truth(t, x, y)) {
                print_error("%u bit, photometric %u, compression %u, mode %s, tile %u: (%zu,%zu) "
                            "is %u, not %u\n",
                            t->bits, t->photometric, t->compression, t->mode, t->tile, x, y,
                            f.grey[y * f.width + x], truth(t, x, y));
                fail();
            }
    plumb_film_release(&f);
}

/* Every layout of one picture: byte orders, BigTIFF, strips, tiles, separate planes. */
static void check_layouts(struct make_tiff t)
{
    static const char *const mode[] = {"wl", "wb", "wl8", "wb8"};
    static const uint32_t tile[] = {0, 16, 64};
    for (size_t m = 0; m < 4; m++)
        for (size_t k = 0; k < 3; k++)
            for (int separate = 0; separate < (t.samples > 1 ? 2 : 1); separate++) {
                t.mode = mode[m];
                t.tile = tile[k];
                t.separate = separate == 1;
                check_pixels(&t);
            }
}

static void every_depth_of_grey_is_exact(void **state)
{
    (void)state;
    for (uint16_t bits = 1; bits <= 16; bits++)
        for (int white = 0; white < 2; white++) {
            struct make_tiff t = grey_film;
            t.bits = bits;
            t.photometric = white ? PHOTOMETRIC_MINISWHITE : PHOTOMETRIC_MINISBLACK;
            check_layouts(t);
        }
}

static void colour_and_extra_samples_are_exact(void **state)
{
    (void)state;
    static const uint16_t depth[] = {1, 4, 8, 12, 16};
    for (size_t d = 0; d < 5; d++) {
        struct make_tiff t = grey_film;
        t.bits = depth[d];
        t.photometric = PHOTOMETRIC_RGB;
        t.samples = 3;
        check_layouts(t);
        t.photometric = PHOTOMETRIC_SEPARATED;
        t.samples = 4;
        check_layouts(t);
    }
    struct make_tiff t = grey_film;
    t.samples = 2;
    t.extra = 1;
    check_layouts(t);
    t.photometric = PHOTOMETRIC_RGB;
    t.samples = 5;
    t.extra = 2;
    check_layouts(t);
    struct film f;
    load(&t, &f);
    assert_int_equal(f.n_notes, 1);
    assert_non_null(strstr(f.note[0], "transparency left out"));
    plumb_film_release(&f);
}

static void palettes_are_exact(void **state)
{
    (void)state;
    for (uint16_t bits = 1; bits <= 8; bits++) {
        struct make_tiff t = grey_film;
        t.bits = bits;
        t.photometric = PHOTOMETRIC_PALETTE;
        check_layouts(t);
        t.narrow_map = true;
        check_pixels(&t);
    }
}

static void lossless_compressions_are_exact(void **state)
{
    (void)state;
    static const uint16_t scheme[] = {
        COMPRESSION_NONE,          COMPRESSION_LZW,  COMPRESSION_PACKBITS, COMPRESSION_DEFLATE,
        COMPRESSION_ADOBE_DEFLATE, COMPRESSION_LZMA, COMPRESSION_ZSTD,     COMPRESSION_LERC};
    for (size_t k = 0; k < sizeof scheme / sizeof scheme[0]; k++) {
        if (!TIFFIsCODECConfigured(scheme[k])) {
            printf("skipped: this libtiff has no compression %u\n", scheme[k]);
            continue;
        }
        bool predicts = scheme[k] != COMPRESSION_NONE && scheme[k] != COMPRESSION_PACKBITS &&
                        scheme[k] != COMPRESSION_LERC;
        /* these two take megabytes for each strip they write: only every fifth way */
        bool heavy = scheme[k] == COMPRESSION_LZMA || scheme[k] == COMPRESSION_ZSTD;
        for (unsigned way = 0; way < 16; way += heavy ? 5 : 1) {
            struct make_tiff t = grey_film;
            t.compression = scheme[k];
            t.bits = way & 1 ? 16 : 8;
            t.predictor = way & 2 && predicts ? PREDICTOR_HORIZONTAL : 0;
            t.mode = way & 2 ? "wb" : "wl8";
            t.tile = way & 4 ? 16 : 0;
            t.samples = way & 4 ? 3 : 1;
            t.photometric = way & 4 ? PHOTOMETRIC_RGB : PHOTOMETRIC_MINISBLACK;
            t.separate = way & 4 && way & 8;
            t.lsb_first = way & 8 && scheme[k] != COMPRESSION_LERC;
            check_pixels(&t);
        }
    }
}

static void two_level_compressions_are_exact(void **state)
{
    (void)state;
    static const uint16_t scheme[] = {COMPRESSION_CCITTRLE, COMPRESSION_CCITTFAX3,
                                      COMPRESSION_CCITTFAX4, COMPRESSION_JBIG};
    for (size_t k = 0; k < sizeof scheme / sizeof scheme[0]; k++) {
        if (!TIFFIsCODECConfigured(scheme[k])) {
            printf("skipped: this libtiff has no compression %u\n", scheme[k]);
            continue;
        }
        for (int way = 0; way < 4; way++) {
            struct make_tiff t = grey_film;
            t.bits = 1;
            t.compression = scheme[k];
            t.photometric = way & 1 ? PHOTOMETRIC_MINISWHITE : PHOTOMETRIC_MINISBLACK;
            t.lsb_first = (way & 2) != 0;
            if (scheme[k] == COMPRESSION_JBIG)
                t.rows = t.height;
            check_pixels(&t);
        }
    }
}

/* The coder's error at its default quality of 75 on a smooth picture, measured at most 5 of 255;
 * colour is halved in resolution besides. */
static void jpeg_inside_is_close(void **state)
{
    (void)state;
    static const uint16_t photometric[] = {PHOTOMETRIC_MINISBLACK, PHOTOMETRIC_RGB,
                                           PHOTOMETRIC_YCBCR};
    for (size_t k = 0; k < 3; k++)
        for (uint32_t tile = 0; tile <= 32; tile += 32) {
            struct make_tiff t = grey_film;
            t.photometric = photometric[k];
            t.samples = k == 0 ? 1 : 3;
            t.compression = COMPRESSION_JPEG;
            t.sample = make_smooth;
            t.tile = tile;
            t.rows = 16;
            struct film f;
            load(&t, &f);
            struct make_tiff as_rgb = t;
            as_rgb.photometric = k == 0 ? PHOTOMETRIC_MINISBLACK : PHOTOMETRIC_RGB;
            for (size_t i = 0; i < f.width * f.height; i++)
                assert_close(f.grey[i], truth(&as_rgb, i % f.width, i / f.width), 8 * 257);
            assert_int_equal(f.n_notes, 0);
            plumb_film_release(&f);
        }
}

/* Uncompressed YCbCr with 2 x 2 subsampling (TIFF 6.0, section 21): units of four Y, one Cb, one
 * Cr. Neutral chroma makes grey = Y. */
static double ycbcr_unit(size_t x, size_t y, unsigned c, double max)
{
    (void)max;
    return c < 4 ? (double)((x * 8 + y * 20 + c * 3) % 256) : 128;
}

static void subsampled_colour_is_read(void **state)
{
    (void)state;
    /* written as 8 x 4 pixels of six samples, then renamed to 16 x 8 pixels of three */
    struct make_tiff t = grey_film;
    t.width = 8;
    t.height = 4;
    t.samples = 6;
    t.extra = 3;
    t.rows = 0;
    t.photometric = PHOTOMETRIC_RGB;
    t.sample = ycbcr_unit;
    struct buf file = {0};
    make_tiff(&t, &file);
    uint8_t *p = (uint8_t *)file.data;
    size_t at = (size_t)(p[4] | p[5] << 8 | p[6] << 16), n = (size_t)(p[at] | p[at + 1] << 8);
    for (size_t i = 0; i < n; i++) {
        uint8_t *entry = p + at + 2 + 12 * i;
        unsigned tag = (unsigned)(entry[0] | entry[1] << 8);
        unsigned value = tag == TIFFTAG_IMAGEWIDTH        ? 16u
                         : tag == TIFFTAG_IMAGELENGTH     ? 8u
                         : tag == TIFFTAG_ROWSPERSTRIP    ? 8u
                         : tag == TIFFTAG_SAMPLESPERPIXEL ? 3u
                         : tag == TIFFTAG_PHOTOMETRIC     ? (unsigned)PHOTOMETRIC_YCBCR
                                                          : 0u;
        if (value != 0)
            entry[8] = (uint8_t)value;
        if (tag == TIFFTAG_BITSPERSAMPLE)
            entry[4] = 3; /* how many, one a sample */
        if (tag == TIFFTAG_EXTRASAMPLES)
            entry[0] = entry[1] = 0xFF; /* a tag nobody knows */
    }
    struct film f;
    struct err err = {0};
    assert_int_equal(plumb_film_decode(file.data, file.len, NULL, &f, &err), 0);
    assert_int_equal(f.width, 16);
    for (size_t y = 0; y < 8; y++)
        for (size_t x = 0; x < 16; x++) {
            unsigned c = (unsigned)(x % 2 + 2 * (y % 2));
            assert_int_equal(f.grey[y * 16 + x], 257 * ycbcr_unit(x / 2, y / 2, c, 0));
        }
    assert_non_null(strstr(f.note[0], "read as 8-bit colour"));
    plumb_film_release(&f);
    plumb_buf_release(&file);
}

static double signed_wave(size_t x, size_t y, unsigned c, double max)
{
    (void)c;
    (void)max;
    return -100 + (double)((x * 3 + y * 5) % 201);
}

static double tall_wave(size_t x, size_t y, unsigned c, double max)
{
    (void)max;
    return 3e9 + 1e6 * (double)((x * 3 + y * 5 + c * 7) % 201);
}

static double broken_wave(size_t x, size_t y, unsigned c, double max)
{
    if (x == 3 && y == 2)
        return nan("");
    if (x == 4 && y == 2)
        return (double)INFINITY;
    if (x == 5 && y == 2)
        return -(double)INFINITY;
    return signed_wave(x, y, c, max) / 8;
}

/* Smallest to greatest finite value onto 0..65535. */
static double ranged(double v, double lo, double hi)
{
    return isnan(v) ? 0 : v <= lo ? 0 : v >= hi ? 65535 : (v - lo) / (hi - lo) * 65535;
}

static void samples_without_full_scale_take_their_range(void **state)
{
    (void)state;
    static const struct {
        uint16_t bits, format;
        make_sample sample;
        double lo, hi;
    } t[] = {
        {8, SAMPLEFORMAT_INT, signed_wave, -100, 100},
        {16, SAMPLEFORMAT_INT, signed_wave, -100, 100},
        {32, SAMPLEFORMAT_INT, signed_wave, -100, 100},
        {32, SAMPLEFORMAT_UINT, tall_wave, 3e9, 3.2e9},
        {32, SAMPLEFORMAT_IEEEFP, broken_wave, -12.5, 12.5},
        {64, SAMPLEFORMAT_IEEEFP, broken_wave, -12.5, 12.5},
    };
    for (size_t k = 0; k < sizeof t / sizeof t[0]; k++)
        for (int way = 0; way < 8; way++) {
            struct make_tiff m = grey_film;
            m.bits = t[k].bits;
            m.format = t[k].format;
            m.sample = t[k].sample;
            m.mode = way & 1 ? "wb" : "wl";
            m.tile = way & 2 ? 16 : 0;
            m.photometric = way & 4 ? PHOTOMETRIC_MINISWHITE : PHOTOMETRIC_MINISBLACK;
            struct film f;
            load(&m, &f);
            for (size_t i = 0; i < f.width * f.height; i++) {
                double v = t[k].sample(i % f.width, i / f.width, 0, 0);
                double want = ranged(v, t[k].lo, t[k].hi);
                if (way & 4 && !isnan(v))
                    want = 65535 - want;
                assert_close(f.grey[i], want, 0.5 + 1e-6);
            }
            assert_int_equal(f.n_notes, 1);
            assert_non_null(strstr(f.note[0], "are shown as black to white"));
            plumb_film_release(&f);
        }
}

static void wide_colour_takes_the_range_of_its_luma(void **state)
{
    (void)state;
    for (int separate = 0; separate < 2; separate++) {
        struct make_tiff t = grey_film;
        t.bits = 32;
        t.samples = 3;
        t.photometric = PHOTOMETRIC_RGB;
        t.sample = tall_wave;
        t.separate = separate == 1;
        struct film f;
        load(&t, &f);
        double lo = DBL_MAX, hi = 0, luma[45 * 33];
        for (size_t i = 0; i < 45 * 33; i++) {
            size_t x = i % 45, y = i / 45;
            luma[i] = 0.299 * tall_wave(x, y, 0, 0) + 0.587 * tall_wave(x, y, 1, 0) +
                      0.114 * tall_wave(x, y, 2, 0);
            lo = fmin(lo, luma[i]);
            hi = fmax(hi, luma[i]);
        }
        for (size_t i = 0; i < 45 * 33; i++)
            assert_close(f.grey[i], ranged(luma[i], lo, hi), 0.5 + 1e-3);
        plumb_film_release(&f);
    }
}

static double huge_floats(size_t x, size_t y, unsigned c, double max)
{
    (void)c;
    (void)max;
    return (x + y) % 2 ? DBL_MAX : -DBL_MAX;
}

static double nothing_finite(size_t x, size_t y, unsigned c, double max)
{
    (void)c;
    (void)max;
    return (x + y) % 2 ? nan("") : (double)INFINITY;
}

static double all_alike(size_t x, size_t y, unsigned c, double max)
{
    (void)x;
    (void)y;
    (void)c;
    (void)max;
    return 7.5;
}

static void odd_floats_are_survived(void **state)
{
    (void)state;
    struct make_tiff t = grey_film;
    t.bits = 64;
    t.format = SAMPLEFORMAT_IEEEFP;
    t.sample = huge_floats;
    struct film f;
    load(&t, &f);
    assert_int_equal(f.grey[0], 0);
    assert_int_equal(f.grey[1], 65535);
    plumb_film_release(&f);
    t.sample = all_alike;
    load(&t, &f);
    assert_int_equal(f.grey[5], 0);
    plumb_film_release(&f);
    t.sample = nothing_finite;
    struct buf file = {0};
    struct err err = {0};
    make_tiff(&t, &file);
    assert_int_equal(plumb_film_decode(file.data, file.len, NULL, &f, &err), ERR_FORMAT);
    assert_non_null(strstr(err.text, "no finite sample"));
    plumb_buf_release(&file);
}

static void check_pages(const char *mode)
{
    struct make_tiff t = grey_film;
    t.mode = mode;
    t.pages = 3; /* each one pixel wider than the one before */
    struct buf file = {0};
    make_tiff(&t, &file);
    struct film_options o;
    plumb_film_options_default(&o);
    for (unsigned page = 0; page <= 4; page++) {
        struct film f;
        struct err err = {0};
        o.page = page;
        int rc = plumb_film_decode(file.data, file.len, &o, &f, &err);
        assert_int_equal(rc, page <= 3 ? 0 : ERR_ARG);
        if (rc != 0) {
            assert_non_null(strstr(err.text, "has 3 pages, not 4"));
            continue;
        }
        assert_int_equal(f.width, 45 + (page ? page - 1 : 0));
        assert_int_equal(f.page, page ? page : 1);
        assert_int_equal(f.pages, 3);
        assert_non_null(strstr(f.note[0], "of 3"));
        plumb_film_release(&f);
    }
    plumb_buf_release(&file);
}

static void pages_are_chosen(void **state)
{
    (void)state;
    check_pages("wl");
    check_pages("wb");
    check_pages("wl8");
    check_pages("wb8");
}

static void resolution_tags_are_read(void **state)
{
    (void)state;
    static const struct {
        unsigned unit;
        double x, y;
        enum film_pitch pitch;
        double um;
        size_t width, height;
    } t[] = {
        {RESUNIT_INCH, 1270, 1270, FILM_PITCH_DETECTOR, 20, 45, 33},
        {RESUNIT_CENTIMETER, 500, 500, FILM_PITCH_DETECTOR, 20, 45, 33},
        {RESUNIT_INCH, 300, 300, FILM_PITCH_PLACEHOLDER, 25400.0 / 300, 45, 33},
        {RESUNIT_NONE, 1, 1, FILM_PITCH_NONE, 0, 45, 33},
        {RESUNIT_NONE, 1, 3, FILM_PITCH_NONE, 0, 135, 33},
        {RESUNIT_INCH, 1270, 635, FILM_PITCH_DETECTOR, 20, 45, 66},
        {RESUNIT_INCH, 0, 1270, FILM_PITCH_NONE, 0, 45, 33},
    };
    for (size_t i = 0; i < sizeof t / sizeof t[0]; i++) {
        struct make_tiff m = grey_film;
        m.unit = t[i].unit;
        m.x_density = t[i].x;
        m.y_density = t[i].y;
        struct buf file = {0};
        struct film f;
        struct err err = {0};
        make_tiff(&m, &file);
        assert_int_equal(plumb_film_decode(file.data, file.len, NULL, &f, &err), 0);
        assert_int_equal(f.pitch, t[i].pitch);
        assert_close_rel(f.pitch_um, t[i].um, 1e-6);
        assert_int_equal(f.width, t[i].width);
        assert_int_equal(f.height, t[i].height);
        plumb_film_release(&f);
        plumb_buf_release(&file);
    }
}

static void a_film_without_polarity_is_told(void **state)
{
    (void)state;
    struct make_tiff t = grey_film;
    t.no_photometric = true;
    struct film f;
    load(&t, &f);
    assert_int_equal(f.grey[0], 65535);
    assert_non_null(strstr(f.note[0], "does not say whether white or black is zero"));
    plumb_film_release(&f);
}

static void kinds_that_are_not_read_are_named(void **state)
{
    (void)state;
    static const struct {
        uint16_t bits, samples, format, photometric;
        const char *word;
    } t[] = {
        {16, 1, SAMPLEFORMAT_IEEEFP, PHOTOMETRIC_MINISBLACK, "16-bit floating point"},
        {24, 1, SAMPLEFORMAT_UINT, PHOTOMETRIC_MINISBLACK, "24-bit unsigned"},
        {4, 1, SAMPLEFORMAT_INT, PHOTOMETRIC_MINISBLACK, "4-bit signed"},
        {32, 1, SAMPLEFORMAT_COMPLEXINT, PHOTOMETRIC_MINISBLACK, "32-bit complex"},
        {32, 4, SAMPLEFORMAT_UINT, PHOTOMETRIC_SEPARATED, "32-bit unsigned"},
        {8, 9, SAMPLEFORMAT_UINT, PHOTOMETRIC_MINISBLACK, "9 samples a pixel"},
        {8, 1, SAMPLEFORMAT_UINT, PHOTOMETRIC_MASK, "colour space 4"},
        {8, 1, SAMPLEFORMAT_UINT, PHOTOMETRIC_CFA, "colour space 32803"},
    };
    for (size_t i = 0; i < sizeof t / sizeof t[0]; i++) {
        struct make_tiff m = grey_film;
        m.bits = t[i].bits;
        m.samples = t[i].samples;
        m.format = t[i].format;
        m.photometric = t[i].photometric;
        m.extra = m.samples == 9 ? 8 : 0;
        m.sample = all_alike;
        struct buf file = {0};
        struct film f;
        struct err err = {0};
        make_tiff(&m, &file);
        assert_int_equal(plumb_film_decode(file.data, file.len, NULL, &f, &err), ERR_FORMAT);
        assert_non_null(strstr(err.text, t[i].word));
        assert_null(strstr(err.text, "damaged"));
        plumb_buf_release(&file);
    }
}

/* 12-bit values with white as zero lie at the bright end once they are turned. */
static double twelve_bits(size_t x, size_t y, unsigned c, double max)
{
    (void)max;
    return make_pattern(x, y, c, 4095);
}

static void low_bits_are_told_either_way_up(void **state)
{
    (void)state;
    for (int white = 0; white < 2; white++) {
        struct make_tiff t = grey_film;
        t.bits = 16;
        t.sample = twelve_bits;
        t.photometric = white ? PHOTOMETRIC_MINISWHITE : PHOTOMETRIC_MINISBLACK;
        struct film f;
        load(&t, &f);
        assert_int_equal(f.grey[0], white ? 65535 - 4095 : 4095);
        assert_non_null(strstr(f.note[0], white ? "looks bright" : "looks dark"));
        plumb_film_release(&f);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_depth_of_grey_is_exact),
        cmocka_unit_test(colour_and_extra_samples_are_exact),
        cmocka_unit_test(palettes_are_exact),
        cmocka_unit_test(lossless_compressions_are_exact),
        cmocka_unit_test(two_level_compressions_are_exact),
        cmocka_unit_test(jpeg_inside_is_close),
        cmocka_unit_test(subsampled_colour_is_read),
        cmocka_unit_test(samples_without_full_scale_take_their_range),
        cmocka_unit_test(wide_colour_takes_the_range_of_its_luma),
        cmocka_unit_test(odd_floats_are_survived),
        cmocka_unit_test(pages_are_chosen),
        cmocka_unit_test(resolution_tags_are_read),
        cmocka_unit_test(a_film_without_polarity_is_told),
        cmocka_unit_test(kinds_that_are_not_read_are_named),
        cmocka_unit_test(low_bits_are_told_either_way_up),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
