/*
 * JPEG: colour spaces, EXIF, resolution, scans. Truth: at quality 100 the coder's own error is at
 * most 2 of 255 (rounding of the transform and of the quantiser), colour conversion adds 1.
 */
#include "tests/support/close.h"

#include <stdlib.h>
#include <string.h>

#include "plumbrule/film.h"
#include "tests/support/film_make.h"

static const double coder_error = 2 * 257, colour_error = 3 * 257;

static void load(const struct make_jpeg *j, struct film *f)
{
    struct buf file = {0};
    struct err err = {0};
    make_jpeg(j, &file);
    assert_int_equal(plumb_film_decode(file.data, file.len, NULL, f, &err), 0);
    assert_int_equal(f->format, FILM_JPEG);
    assert_int_equal(f->depth, 8);
    assert_int_equal(f->channels, j->components);
    plumb_buf_release(&file);
}

static uint16_t rgb_truth(size_t x, size_t y)
{
    uint64_t v[3];
    for (unsigned c = 0; c < 3; c++)
        v[c] = make_scaled((uint64_t)make_smooth(x, y, c, 255), 255);
    return make_luma(v[0], v[1], v[2]);
}

static void grey_and_colour_give_luma(void **state)
{
    (void)state;
    for (int way = 0; way < 6; way++) {
        struct make_jpeg j = {.width = 75,
                              .height = 53,
                              .components = way < 2 ? 1 : 3,
                              .rgb = way >= 4,
                              .progressive = way % 2 == 1,
                              .sample = make_smooth};
        struct film f;
        load(&j, &f);
        assert_int_equal(f.width, 75);
        assert_int_equal(f.height, 53);
        for (size_t y = 0; y < 53; y++)
            for (size_t x = 0; x < 75; x++) {
                double want = way < 2 ? make_scaled((uint64_t)make_smooth(x, y, 0, 255), 255)
                                      : rgb_truth(x, y);
                assert_close(f.grey[y * 75 + x], want, way < 2 ? coder_error : colour_error);
            }
        plumb_film_release(&f);
    }
}

/* Light that inks leave, r = (1-c)(1-k), in doubles. */
static double ink_truth(size_t x, size_t y, bool inverted)
{
    double light[4], sum = 0;
    static const double weight[3] = {0.299, 0.587, 0.114};
    for (unsigned c = 0; c < 4; c++) {
        double v = make_smooth(x, y, c, 255) / 255;
        light[c] = inverted ? v : 1 - v;
    }
    for (unsigned c = 0; c < 3; c++)
        sum += weight[c] * light[c] * light[3];
    return sum * 65535;
}

static void inks_give_the_light_they_leave(void **state)
{
    (void)state;
    for (int way = 0; way < 3; way++) {
        struct make_jpeg j = {.width = 40,
                              .height = 30,
                              .components = 4,
                              .adobe = way == 1,
                              .ycck = way == 2,
                              .sample = make_smooth};
        struct film f;
        load(&j, &f);
        for (size_t y = 0; y < 30; y++)
            for (size_t x = 0; x < 40; x++)
                assert_close(f.grey[y * 40 + x], ink_truth(x, y, way > 0), 2 * colour_error);
        plumb_film_release(&f);
    }
}

static void exif_orientation_is_applied(void **state)
{
    (void)state;
    struct make_jpeg plain = {.width = 64, .height = 40, .components = 1, .sample = make_smooth};
    struct film upright;
    load(&plain, &upright);
    for (unsigned o = 1; o <= 8; o++) {
        struct buf exif = {0};
        make_exif(o % 2 == 0, o, 0, 0, 0, &exif);
        struct make_jpeg j = plain;
        j.exif = &exif;
        struct film f;
        load(&j, &f);
        assert_int_equal(f.orientation, o);
        assert_int_equal(f.mirrored, o == 2 || o == 4 || o == 5 || o == 7);
        for (size_t row = 0; row < 40; row++)
            for (size_t col = 0; col < 64; col++) {
                size_t x, y;
                plumb_film_orient(o, 64, 40, col, row, &x, &y);
                assert_int_equal(f.grey[y * f.width + x], upright.grey[row * 64 + col]);
            }
        plumb_film_release(&f);
        plumb_buf_release(&exif);
    }
    plumb_film_release(&upright);
}

static void resolution_comes_from_jfif_or_exif(void **state)
{
    (void)state;
    static const struct {
        unsigned jfif_unit, jfif, exif_unit, exif; /* unit of EXIF: 2 inch, 3 cm */
        bool no_jfif;
        enum film_pitch pitch;
        double um;
    } t[] = {
        {1, 1270, 0, 0, false, FILM_PITCH_DETECTOR, 20},
        {2, 500, 0, 0, false, FILM_PITCH_DETECTOR, 20},
        {1, 72, 0, 0, false, FILM_PITCH_PLACEHOLDER, 25400.0 / 72},
        {0, 1, 0, 0, false, FILM_PITCH_NONE, 0},
        {0, 1, 2, 1270, false, FILM_PITCH_DETECTOR, 20},
        {0, 1, 3, 500, true, FILM_PITCH_DETECTOR, 20},
        {0, 1, 2, 300, true, FILM_PITCH_PLACEHOLDER, 25400.0 / 300},
        {1, 1270, 2, 72, false, FILM_PITCH_DETECTOR, 20}, /* JFIF's unit wins */
    };
    for (size_t i = 0; i < sizeof t / sizeof t[0]; i++) {
        struct buf exif = {0};
        make_exif(false, 1, t[i].exif, t[i].exif, t[i].exif_unit, &exif);
        struct make_jpeg j = {.width = 16,
                              .height = 16,
                              .components = 1,
                              .sample = make_smooth,
                              .jfif_unit = t[i].jfif_unit,
                              .x_density = t[i].jfif,
                              .y_density = t[i].jfif,
                              .no_jfif = t[i].no_jfif,
                              .exif = t[i].exif_unit ? &exif : NULL};
        struct film f;
        load(&j, &f);
        assert_int_equal(f.pitch, t[i].pitch);
        assert_close(f.pitch_um, t[i].um, 1e-9);
        assert_int_equal(f.width, 16);
        plumb_film_release(&f);
        plumb_buf_release(&exif);
    }
}

static void shape_of_pixels_turns_with_the_film(void **state)
{
    (void)state;
    struct buf exif = {0};
    make_exif(false, 6, 0, 0, 0, &exif);
    struct make_jpeg j = {.width = 30,
                          .height = 20,
                          .components = 1,
                          .sample = make_smooth,
                          .x_density = 2,
                          .y_density = 1,
                          .exif = &exif};
    struct film f;
    load(&j, &f);
    assert_int_equal(f.width, 40); /* 20 rows seen as columns, each twice as wide as high */
    assert_int_equal(f.height, 30);
    plumb_film_release(&f);
    plumb_buf_release(&exif);
}

/* A file of one scan a component, the last of them repeated: each repeat costs a walk over the
 * whole picture. */
static void scans_without_end_are_refused(void **state)
{
    (void)state;
    struct make_jpeg j = {
        .width = 64, .height = 64, .components = 3, .apart = true, .sample = make_smooth};
    for (int repeats = 50; repeats <= 1000; repeats += 950) {
        struct buf file = {0}, bomb = {0};
        make_jpeg(&j, &file);
        size_t last = 0;
        for (size_t i = 0; i + 1 < file.len; i++)
            if ((uint8_t)file.data[i] == 0xFF && (uint8_t)file.data[i + 1] == 0xDA)
                last = i;
        plumb_buf_add(&bomb, file.data, last);
        for (int k = 0; k < repeats; k++)
            plumb_buf_add(&bomb, file.data + last, file.len - 2 - last);
        plumb_buf_add(&bomb, file.data + file.len - 2, 2);
        struct film f;
        struct err err = {0};
        int rc = plumb_film_decode(bomb.data, bomb.len, NULL, &f, &err);
        assert_int_equal(rc, repeats > 100 ? ERR_FORMAT : 0);
        assert_true(rc == 0 || strstr(err.text, "more than 100 scans") != NULL);
        plumb_film_release(&f);
        plumb_buf_release(&file);
        plumb_buf_release(&bomb);
    }
}

static void rare_kinds_are_told_from_damage(void **state)
{
    (void)state;
    struct make_jpeg j = {.width = 16, .height = 16, .components = 1, .sample = make_smooth};
    struct buf file = {0};
    make_jpeg(&j, &file);
    for (size_t i = 0; i + 4 < file.len; i++)
        if ((uint8_t)file.data[i] == 0xFF && (uint8_t)file.data[i + 1] == 0xC0) {
            file.data[i + 4] = 12; /* bits a sample */
            break;
        }
    struct film f;
    struct err err = {0};
    assert_int_equal(plumb_film_decode(file.data, file.len, NULL, &f, &err), ERR_FORMAT);
    assert_non_null(strstr(err.text, "rare kind"));
    assert_null(strstr(err.text, "damaged"));
    plumb_buf_release(&file);
}

static void bytes_after_the_end_are_ignored(void **state)
{
    (void)state;
    struct make_jpeg j = {.width = 16, .height = 16, .components = 1, .sample = make_smooth};
    struct buf file = {0};
    make_jpeg(&j, &file);
    plumb_buf_add(&file, "left over", 9);
    struct film f;
    struct err err = {0};
    assert_int_equal(plumb_film_decode(file.data, file.len, NULL, &f, &err), 0);
    plumb_film_release(&f);
    plumb_buf_release(&file);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(grey_and_colour_give_luma),
        cmocka_unit_test(inks_give_the_light_they_leave),
        cmocka_unit_test(exif_orientation_is_applied),
        cmocka_unit_test(resolution_comes_from_jfif_or_exif),
        cmocka_unit_test(shape_of_pixels_turns_with_the_film),
        cmocka_unit_test(scans_without_end_are_refused),
        cmocka_unit_test(rare_kinds_are_told_from_damage),
        cmocka_unit_test(bytes_after_the_end_are_ignored),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
