/*
 * PNG: every colour type, depth and interlacing against the formula that made it; resolution,
 * shape of pixels, orientation, notes. Truth: make_scaled and make_luma in exact arithmetic.
 */
#include "tests/support/close.h"

#include <png.h>
#include <stdlib.h>
#include <string.h>

#include "plumbrule/film.h"
#include "tests/support/film_make.h"

enum {
    GREY = PNG_COLOR_TYPE_GRAY,
    COLOUR = PNG_COLOR_TYPE_RGB,
    MAPPED = PNG_COLOR_TYPE_PALETTE,
    GREY_ALPHA = PNG_COLOR_TYPE_GRAY_ALPHA,
    COLOUR_ALPHA = PNG_COLOR_TYPE_RGB_ALPHA
};

static void load(const struct make_png *p, struct film *f)
{
    struct buf file = {0};
    struct err err = {0};
    make_png(p, &file);
    assert_int_equal(plumb_film_decode(file.data, file.len, NULL, f, &err), 0);
    plumb_buf_release(&file);
}

static uint16_t truth(const struct make_png *p, size_t x, size_t y)
{
    double max = make_max((unsigned)p->depth);
    uint16_t v[3];
    for (unsigned c = 0; c < 3; c++) {
        double s = p->sample(x, y, p->colour_type == MAPPED ? 0 : c, max);
        v[c] = p->colour_type == MAPPED ? make_scaled(make_palette((size_t)s, c), 255)
                                        : make_scaled((uint64_t)s, (uint64_t)max);
    }
    bool grey = p->colour_type == GREY || p->colour_type == GREY_ALPHA;
    return grey ? v[0] : make_luma(v[0], v[1], v[2]);
}

static void check_pixels(const struct make_png *p)
{
    struct film f;
    load(p, &f);
    assert_int_equal(f.width, p->width);
    assert_int_equal(f.height, p->height);
    assert_int_equal(f.format, FILM_PNG);
    assert_int_equal(f.depth, p->depth);
    static const unsigned channels[] = {
        [GREY] = 1, [COLOUR] = 3, [MAPPED] = 1, [GREY_ALPHA] = 2, [COLOUR_ALPHA] = 4};
    assert_int_equal(f.channels, channels[p->colour_type]);
    assert_int_equal(f.orientation, 1);
    assert_int_equal(f.page, 1);
    assert_int_equal(f.pages, 1);
    for (size_t y = 0; y < p->height; y++)
        for (size_t x = 0; x < p->width; x++)
            assert_int_equal(f.grey[y * f.width + x], truth(p, x, y));
    bool see_through = (p->colour_type & PNG_COLOR_MASK_ALPHA) != 0 || p->colour_key;
    assert_int_equal(f.n_notes, see_through ? 1 : 0);
    if (see_through)
        assert_non_null(strstr(f.note[0], "transparency left out"));
    plumb_film_release(&f);
}

static void every_kind_is_exact(void **state)
{
    (void)state;
    static const struct {
        int type, depth;
    } kind[] = {{GREY, 1},        {GREY, 2},         {GREY, 4},         {GREY, 8},
                {GREY, 16},       {COLOUR, 8},       {COLOUR, 16},      {MAPPED, 1},
                {MAPPED, 2},      {MAPPED, 4},       {MAPPED, 8},       {GREY_ALPHA, 8},
                {GREY_ALPHA, 16}, {COLOUR_ALPHA, 8}, {COLOUR_ALPHA, 16}};
    for (size_t k = 0; k < sizeof kind / sizeof kind[0]; k++)
        for (int way = 0; way < 4; way++) {
            bool has_alpha = (kind[k].type & PNG_COLOR_MASK_ALPHA) != 0;
            struct make_png p = {.width = 37,
                                 .height = 21,
                                 .depth = kind[k].depth,
                                 .colour_type = kind[k].type,
                                 .interlaced = way % 2 == 1,
                                 .colour_key = way >= 2 && !has_alpha,
                                 .sample = make_pattern};
            check_pixels(&p);
        }
}

/* Interlaced files so small that passes are empty. */
static void small_sizes_are_exact(void **state)
{
    (void)state;
    for (uint32_t w = 1; w <= 9; w++)
        for (uint32_t h = 1; h <= 9; h++)
            for (int way = 0; way < 4; way++) {
                struct make_png p = {.width = w,
                                     .height = h,
                                     .depth = 8,
                                     .colour_type = way < 2 ? GREY : COLOUR,
                                     .interlaced = way % 2 == 1,
                                     .sample = make_pattern};
                check_pixels(&p);
            }
}

static void grey_in_colour_is_grey(void **state)
{
    (void)state;
    struct make_png p = {
        .width = 256, .height = 300, .depth = 16, .colour_type = COLOUR, .sample = make_grey};
    struct film f;
    load(&p, &f);
    for (size_t i = 0; i < f.width * f.height; i++)
        assert_int_equal(f.grey[i], make_grey(i % 256, i / 256, 0, 65535));
    plumb_film_release(&f);
}

/* references.md B3: 10 to 70 um is a detector's pitch, what displays and printers use is not. */
static void pitch_is_rated(void **state)
{
    (void)state;
    static const struct {
        uint32_t per_metre;
        bool metre;
        enum film_pitch pitch;
        double um;
        const char *note;
    } t[] = {
        {0, false, FILM_PITCH_NONE, 0, NULL},
        {50000, true, FILM_PITCH_DETECTOR, 20, NULL},
        {54054, true, FILM_PITCH_DETECTOR, 18.500018500018500, NULL},
        {100000, true, FILM_PITCH_DETECTOR, 10, NULL},
        {100001, true, FILM_PITCH_PLACEHOLDER, 9.9999000009999900, NULL},
        {14286, true, FILM_PITCH_DETECTOR, 69.998600027999440, NULL},
        {14285, true, FILM_PITCH_PLACEHOLDER, 70.003500175008750, NULL},
        {2835, true, FILM_PITCH_PLACEHOLDER, 352.73368606701940, NULL},  /* 72 dpi */
        {3780, true, FILM_PITCH_PLACEHOLDER, 264.55026455026456, NULL},  /* 96 dpi */
        {11811, true, FILM_PITCH_PLACEHOLDER, 84.666836000338670, NULL}, /* 300 dpi */
        {23622, true, FILM_PITCH_DETECTOR, 42.333418000169340, "600 dpi"},
        {50000, false, FILM_PITCH_NONE, 0, NULL},
    };
    for (size_t i = 0; i < sizeof t / sizeof t[0]; i++) {
        struct make_png p = {.width = 8,
                             .height = 8,
                             .depth = 8,
                             .colour_type = GREY,
                             .sample = make_pattern,
                             .x_density = t[i].per_metre,
                             .y_density = t[i].per_metre,
                             .metre = t[i].metre};
        struct film f;
        load(&p, &f);
        assert_int_equal(f.pitch, t[i].pitch);
        assert_close(f.pitch_um, t[i].um, 1e-9);
        assert_int_equal(f.n_notes, t[i].note ? 1 : 0);
        if (t[i].note)
            assert_non_null(strstr(f.note[0], t[i].note));
        plumb_film_release(&f);
    }
}

/* A ramp along y only, so that what stretching gives can be said in a formula. */
static double ramp_down(size_t x, size_t y, unsigned c, double max)
{
    (void)x;
    (void)c;
    (void)max;
    return 100 * (double)y;
}

static void flat_pixels_become_square(void **state)
{
    (void)state;
    /* pixels twice as high as wide: rows are the coarse direction */
    struct make_png p = {.width = 6,
                         .height = 10,
                         .depth = 16,
                         .colour_type = GREY,
                         .sample = ramp_down,
                         .x_density = 50000,
                         .y_density = 25000,
                         .metre = true};
    struct film f;
    load(&p, &f);
    assert_int_equal(f.width, 6);
    assert_int_equal(f.height, 20);
    for (size_t y = 0; y < 20; y++) {
        /* edges stay: stored row r reaches from 2 r to 2 r + 2, its centre at 2 r + 1 */
        double want = 100 * ((double)y / 2 - 0.25);
        want = want < 0 ? 0 : want > 900 ? 900 : want;
        for (size_t x = 0; x < 6; x++)
            assert_close(f.grey[y * 6 + x], want, 0.5);
    }
    assert_int_equal(f.pitch, FILM_PITCH_DETECTOR);
    assert_close(f.pitch_um, 20, 1e-12);
    bool told = false;
    for (size_t i = 0; i < f.n_notes; i++)
        told |=
            strstr(f.note[i], "not square (1 wide, 2 high): 6 x 10 stretched to 6 x 20") != NULL;
    assert_true(told);
    plumb_film_release(&f);
}

static void shape_of_pixels_without_unit_counts(void **state)
{
    (void)state;
    static const struct {
        uint32_t x, y;
        size_t width, height;
    } t[] = {
        {1, 1, 12, 10},
        {3, 2, 12, 15},
        {2, 3, 18, 10},
        {8, 1, 12, 80},
        {9, 1, 12, 10} /* no pixel is like that */,
        {10000, 10001, 12, 10},
        {1000, 1100, 13, 10},
    };
    for (size_t i = 0; i < sizeof t / sizeof t[0]; i++) {
        struct make_png p = {.width = 12,
                             .height = 10,
                             .depth = 8,
                             .colour_type = GREY,
                             .sample = make_pattern,
                             .x_density = t[i].x,
                             .y_density = t[i].y};
        struct film f;
        load(&p, &f);
        assert_int_equal(f.width, t[i].width);
        assert_int_equal(f.height, t[i].height);
        assert_int_equal(f.pitch, FILM_PITCH_NONE);
        plumb_film_release(&f);
    }
}

static void stretching_is_limited_too(void **state)
{
    (void)state;
    struct make_png p = {.width = 100,
                         .height = 100,
                         .depth = 8,
                         .colour_type = GREY,
                         .sample = make_pattern,
                         .x_density = 8,
                         .y_density = 1};
    struct buf file = {0};
    make_png(&p, &file);
    struct film_options o;
    plumb_film_options_default(&o);
    o.max_pixels = 79999;
    struct film f;
    struct err err = {0};
    assert_int_equal(plumb_film_decode(file.data, file.len, &o, &f, &err), ERR_LIMIT);
    assert_null(f.grey);
    plumb_buf_release(&file);
}

/* The orientation in an eXIf chunk; X and Y of pHYs go with the stored rows and columns. */
static void exif_orientation_is_applied(void **state)
{
    (void)state;
    struct buf exif = {0};
    make_exif(true, 6, 0, 0, 0, &exif);
    struct make_png p = {.width = 20,
                         .height = 10,
                         .depth = 16,
                         .colour_type = GREY,
                         .sample = ramp_down,
                         .exif = &exif,
                         .x_density = 20000,
                         .y_density = 10000,
                         .metre = true};
    struct film f;
    load(&p, &f);
    assert_int_equal(f.orientation, 6);
    assert_int_equal(f.width, 20); /* 10 rows, seen as columns, twice as wide as high */
    assert_int_equal(f.height, 20);
    assert_true(f.grey[0] > f.grey[19]); /* stored row 0 is at the right */
    assert_close(f.pitch_um, 50, 1e-9);
    plumb_film_release(&f);
    plumb_buf_release(&exif);
}

static void exif_resolution_serves_without_phys(void **state)
{
    (void)state;
    struct buf exif = {0};
    make_exif(false, 0, 500, 500, 3, &exif);
    struct make_png p = {.width = 20,
                         .height = 10,
                         .depth = 8,
                         .colour_type = GREY,
                         .sample = make_pattern,
                         .exif = &exif};
    struct film f;
    load(&p, &f);
    assert_int_equal(f.orientation, 1);
    assert_int_equal(f.pitch, FILM_PITCH_DETECTOR);
    assert_close(f.pitch_um, 20, 1e-9);
    plumb_film_release(&f);
    plumb_buf_release(&exif);
}

static void odd_orientation_is_told(void **state)
{
    (void)state;
    struct buf exif = {0};
    make_exif(false, 9, 0, 0, 0, &exif);
    struct make_png p = {.width = 20,
                         .height = 10,
                         .depth = 8,
                         .colour_type = GREY,
                         .sample = make_pattern,
                         .exif = &exif};
    struct film f;
    load(&p, &f);
    assert_int_equal(f.orientation, 1);
    assert_int_equal(f.width, 20);
    assert_non_null(strstr(f.note[0], "orientation tag 9"));
    plumb_film_release(&f);
    plumb_buf_release(&exif);
}

static double twelve_bits(size_t x, size_t y, unsigned c, double max)
{
    (void)max;
    return make_pattern(x, y, c, 4095);
}

static double thirteen_bits(size_t x, size_t y, unsigned c, double max)
{
    (void)max;
    return make_pattern(x, y, c, 4096);
}

static void twelve_bits_in_sixteen_are_kept_and_told(void **state)
{
    (void)state;
    struct make_png p = {
        .width = 20, .height = 10, .depth = 16, .colour_type = GREY, .sample = twelve_bits};
    struct film f;
    load(&p, &f);
    assert_int_equal(f.grey[0], 4095);
    assert_int_equal(f.n_notes, 1);
    assert_non_null(strstr(f.note[0], "12-bit values"));
    plumb_film_release(&f);
    p.sample = thirteen_bits;
    load(&p, &f);
    assert_int_equal(f.grey[0], 4096);
    assert_int_equal(f.n_notes, 0);
    plumb_film_release(&f);
}

static void bytes_after_the_end_are_ignored(void **state)
{
    (void)state;
    struct make_png p = {
        .width = 9, .height = 7, .depth = 8, .colour_type = GREY, .sample = make_pattern};
    struct buf file = {0};
    make_png(&p, &file);
    plumb_buf_add(&file, "left over", 9);
    struct film f;
    struct err err = {0};
    assert_int_equal(plumb_film_decode(file.data, file.len, NULL, &f, &err), 0);
    assert_int_equal(f.n_notes, 0);
    plumb_film_release(&f);
    plumb_buf_release(&file);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_kind_is_exact),
        cmocka_unit_test(small_sizes_are_exact),
        cmocka_unit_test(grey_in_colour_is_grey),
        cmocka_unit_test(pitch_is_rated),
        cmocka_unit_test(flat_pixels_become_square),
        cmocka_unit_test(shape_of_pixels_without_unit_counts),
        cmocka_unit_test(stretching_is_limited_too),
        cmocka_unit_test(exif_orientation_is_applied),
        cmocka_unit_test(exif_resolution_serves_without_phys),
        cmocka_unit_test(odd_orientation_is_told),
        cmocka_unit_test(twelve_bits_in_sixteen_are_kept_and_told),
        cmocka_unit_test(bytes_after_the_end_are_ignored),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
