/*
 * film: orientation table, sampling, foreign files, limits, several threads at once. What single
 * formats hold is in test_png.c, test_tiff.c and test_jpeg.c.
 */
#include "tests/support/close.h"

#include <png.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <tiffio.h>
#include <unistd.h>

#include "plumbrule/film.h"
#include "tests/support/film_make.h"

/* TIFF 6.0, tag Orientation: where the stored row 0 and column 0 are seen. */
struct seen {
    unsigned orientation;
    bool lying;                 /* rows are seen as columns */
    bool row0_far, column0_far; /* row 0 at the bottom or right, column 0 at the right or bottom */
};
static const struct seen seen_as[] = {
    {1, false, false, false}, /* row 0 top, column 0 left */
    {2, false, false, true},  /* top, right */
    {3, false, true, true},   /* bottom, right */
    {4, false, true, false},  /* bottom, left */
    {5, true, false, false},  /* left, top */
    {6, true, true, false},   /* right, top */
    {7, true, true, true},    /* right, bottom */
    {8, true, false, true},   /* left, bottom */
};

static void orientation_is_that_of_tiff(void **state)
{
    (void)state;
    const size_t w = 5, h = 3;
    for (size_t k = 0; k < 8; k++) {
        const struct seen *s = &seen_as[k];
        for (size_t row = 0; row < h; row++)
            for (size_t col = 0; col < w; col++) {
                size_t r = s->row0_far ? h - 1 - row : row, c = s->column0_far ? w - 1 - col : col;
                size_t x, y;
                plumb_film_orient(s->orientation, w, h, col, row, &x, &y);
                assert_int_equal(x, s->lying ? r : c);
                assert_int_equal(y, s->lying ? c : r);
            }
    }
}

/* Larger than the tiles in which a raster is turned, and not a multiple of them. */
static void every_orientation_turns_the_raster(void **state)
{
    (void)state;
    for (unsigned o = 1; o <= 8; o++) {
        struct make_tiff t = {.mode = "wl",
                              .width = 150,
                              .height = 131,
                              .bits = 16,
                              .samples = 1,
                              .photometric = PHOTOMETRIC_MINISBLACK,
                              .orientation = o,
                              .sample = make_pattern};
        struct buf file = {0};
        make_tiff(&t, &file);
        struct film f;
        struct err err = {0};
        assert_int_equal(plumb_film_decode(file.data, file.len, NULL, &f, &err), 0);
        assert_int_equal(f.width, o < 5 ? 150 : 131);
        assert_int_equal(f.height, o < 5 ? 131 : 150);
        assert_int_equal(f.orientation, o);
        assert_int_equal(f.mirrored, o == 2 || o == 4 || o == 5 || o == 7);
        assert_int_equal(f.n_notes, f.mirrored ? 1 : 0);
        for (size_t row = 0; row < 131; row++)
            for (size_t col = 0; col < 150; col++) {
                const struct seen *s = &seen_as[o - 1];
                size_t r = s->row0_far ? 130 - row : row, c = s->column0_far ? 149 - col : col;
                size_t at = s->lying ? c * f.width + r : r * f.width + c;
                assert_int_equal(f.grey[at], (uint16_t)make_pattern(col, row, 0, 65535));
            }
        plumb_film_release(&f);
        plumb_buf_release(&file);
    }
}

static void sampling_is_bilinear_and_held_at_edges(void **state)
{
    (void)state;
    uint16_t grey[6] = {100, 200, 400, 1000, 3000, 65535};
    struct film f = {.width = 3, .height = 2, .grey = grey};
    struct {
        double x, y, want;
    } t[] = {
        {0, 0, 100},   {2, 1, 65535},    {0.5, 0, 150},      {1.25, 0, 250},
        {0, 0.5, 550}, {0.5, 0.5, 1075}, {-7, -7, 100},      {99, 99, 65535},
        {1, -3, 200},  {-1, 1, 1000},    {1.5, 99, 34267.5}, {2, 0.25, 400 + 0.25 * 65135},
    };
    for (size_t i = 0; i < sizeof t / sizeof t[0]; i++)
        assert_close(plumb_film_sample(&f, t[i].x, t[i].y), t[i].want, 1e-9);
    assert_true(plumb_film_sample(&f, nan(""), nan("")) == 100);
    uint16_t one = 77;
    struct film dot = {.width = 1, .height = 1, .grey = &one};
    assert_true(plumb_film_sample(&dot, 0.3, 5) == 77);
}

static void foreign_files_are_named(void **state)
{
    (void)state;
    static const char dicom[140] = {[128] = 'D', 'I', 'C', 'M'};
    struct {
        const char *bytes;
        size_t len;
        const char *kind;
    } t[] = {
        {"", 0, "is empty"},
        {dicom, sizeof dicom, "a DICOM file"},
        {"%PDF-1.7\n%\xE2\xE3", 11, "a PDF document"},
        {"PK\x03\x04\x14\0\0\0", 8, "a ZIP archive"},
        {"BM\x36\0\0\0\0\0\0\0", 10, "a BMP image"},
        {"GIF89a\x01\0", 8, "a GIF image"},
        {"RIFF\x10\0\0\0WEBPVP8 ", 16, "a WebP image"},
        {"\0\0\0\x18"
         "ftypheic",
         12, "a HEIC image"},
        {"\0\0\0\x0CjP  \r\n\x87\n", 12, "a JPEG 2000 image"},
        {"{\"format\": \"sheet\"}\n", 20, "a text file"},
        {"Befund: \xC3\xA4lter\n", 15, "a text file"},
        {"\x01\x02\x03\x04\x05\x06\x07\x80", 8, "is no film"},
        {"\x89", 1, "is no film"},
        {"II*", 3, "a text file"},
    };
    for (size_t i = 0; i < sizeof t / sizeof t[0]; i++) {
        struct film f;
        struct err err = {0};
        assert_int_equal(plumb_film_decode(t[i].bytes, t[i].len, NULL, &f, &err), ERR_FORMAT);
        assert_non_null(strstr(err.text, t[i].kind));
        assert_non_null(strstr(err.text, ": export the film as PNG, TIFF or JPEG"));
        assert_null(f.grey);
    }
}

static void files_that_cannot_be_read_are_told_apart(void **state)
{
    (void)state;
    struct film f;
    struct err err = {0};
    assert_int_equal(plumb_film_load("/", NULL, &f, &err), ERR_NOTFOUND);
    assert_int_equal(plumb_film_load("/no/such/film.png", NULL, &f, &err), ERR_NOTFOUND);
    assert_null(f.grey);
    plumb_film_release(&f);
    plumb_film_release(NULL);
}

static void make_small_png(struct buf *file)
{
    struct make_png p = {.width = 40,
                         .height = 30,
                         .depth = 8,
                         .colour_type = PNG_COLOR_TYPE_GRAY,
                         .sample = make_pattern};
    make_png(&p, file);
}

static void limits_hold_and_digest_is_of_the_file(void **state)
{
    (void)state;
    struct buf file = {0};
    make_small_png(&file);
    struct film_options o;
    plumb_film_options_default(&o);
    assert_int_equal(o.max_pixels, 100000000);
    assert_int_equal(o.max_bytes, 1 << 30);
    struct film f;
    struct err err = {0};
    o.max_pixels = 40 * 30;
    assert_int_equal(plumb_film_decode(file.data, file.len, &o, &f, &err), 0);
    char hex[65];
    plumb_digest_sha256(file.data, file.len, hex);
    assert_string_equal(f.sha256, hex);
    assert_int_equal(f.file_size, file.len);
    plumb_film_release(&f);
    o.max_pixels--;
    assert_int_equal(plumb_film_decode(file.data, file.len, &o, &f, &err), ERR_LIMIT);
    assert_non_null(strstr(err.text, "40 x 30 pixels, more than the 1199 allowed"));
    plumb_film_options_default(&o);
    o.max_bytes = file.len - 1;
    assert_int_equal(plumb_film_decode(file.data, file.len, &o, &f, &err), ERR_LIMIT);
    plumb_film_options_default(&o);
    o.page = 2;
    assert_int_equal(plumb_film_decode(file.data, file.len, &o, &f, &err), ERR_ARG);
    plumb_buf_release(&file);
}

/* The name says nothing: a PNG called .tif loads, and is reported as PNG. */
static void content_decides_not_the_name(void **state)
{
    (void)state;
    char path[] = "/tmp/plumb-film-XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    close(fd);
    struct buf file = {0};
    make_small_png(&file);
    struct err err = {0};
    assert_int_equal(plumb_file_write(path, file.data, file.len, true, &err), 0);
    struct film f;
    assert_int_equal(plumb_film_load(path, NULL, &f, &err), 0);
    assert_int_equal(f.format, FILM_PNG);
    plumb_film_release(&f);
    struct film_options o;
    plumb_film_options_default(&o);
    o.max_bytes = file.len - 1;
    assert_int_equal(plumb_film_load(path, &o, &f, &err), ERR_LIMIT);
    unlink(path);
    plumb_buf_release(&file);
}

enum { KINDS = 6, THREADS = 4, ROUNDS = 30 };
struct batch {
    struct buf file[KINDS];
    char first[KINDS][256]; /* error text or digest of the first decoding */
};

static void decode_into(const struct buf *file, char out[256])
{
    struct film f;
    struct err err = {0};
    int rc = plumb_film_decode(file->data, file->len, NULL, &f, &err);
    char hex[65] = "";
    if (rc == 0)
        plumb_digest_sha256(f.grey, f.width * f.height * sizeof *f.grey, hex);
    snprintf(out, 256, "%d %.64s %.180s", rc, hex, err.text);
    plumb_film_release(&f);
}

static void *decode_all(void *batch)
{
    const struct batch *b = batch;
    for (size_t i = 0; i < (size_t)ROUNDS * KINDS; i++) {
        char now[256];
        decode_into(&b->file[i % KINDS], now);
        if (strcmp(now, b->first[i % KINDS]) != 0)
            return batch;
    }
    return NULL;
}

static void threads_do_not_meet(void **state)
{
    (void)state;
    struct batch b = {0};
    struct make_tiff t = {.mode = "wb",
                          .width = 60,
                          .height = 50,
                          .bits = 16,
                          .samples = 1,
                          .photometric = PHOTOMETRIC_MINISWHITE,
                          .compression = COMPRESSION_LZW,
                          .rows = 7,
                          .sample = make_pattern};
    struct make_jpeg j = {
        .width = 64, .height = 48, .components = 3, .progressive = true, .sample = make_smooth};
    for (size_t i = 0; i < KINDS; i += 3) {
        make_small_png(&b.file[i]);
        make_tiff(&t, &b.file[i + 1]);
        make_jpeg(&j, &b.file[i + 2]);
    }
    for (size_t i = 3; i < KINDS; i++)
        b.file[i].len -= 200; /* errors must not meet either */
    for (size_t i = 0; i < KINDS; i++)
        decode_into(&b.file[i], b.first[i]);
    pthread_t thread[THREADS];
    for (size_t i = 0; i < THREADS; i++)
        assert_int_equal(pthread_create(&thread[i], NULL, decode_all, &b), 0);
    for (size_t i = 0; i < THREADS; i++) {
        void *bad = NULL;
        pthread_join(thread[i], &bad);
        assert_null(bad);
    }
    for (size_t i = 0; i < KINDS; i++) {
        assert_true((b.first[i][0] == '0') == (i < 3));
        plumb_buf_release(&b.file[i]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(orientation_is_that_of_tiff),
        cmocka_unit_test(every_orientation_turns_the_raster),
        cmocka_unit_test(sampling_is_bilinear_and_held_at_edges),
        cmocka_unit_test(foreign_files_are_named),
        cmocka_unit_test(files_that_cannot_be_read_are_told_apart),
        cmocka_unit_test(limits_hold_and_digest_is_of_the_file),
        cmocka_unit_test(content_decides_not_the_name),
        cmocka_unit_test(threads_do_not_meet),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
