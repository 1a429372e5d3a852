/*
 * The PNG writer: pixels, texts and scale read back with libpng's own reader, same bytes from the
 * same rows, and what happens when the disk is full or memory runs out.
 */
#include "tests/support/close.h"

#include <fcntl.h>
#include <png.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "plumbrule/film.h"

enum { WIDTH = 321, HEIGHT = 213, RGB = 3 };

struct picture {
    uint8_t row[WIDTH * RGB];
    size_t missing; /* row that is not there */
};

/* Noise that does not compress, so that several chunks are written. */
static uint8_t sample(size_t y, size_t i)
{
    uint32_t v = (uint32_t)(y * 2654435761u + i * 40503u);
    v ^= v >> 15;
    v *= 2246822519u;
    return (uint8_t)(v >> 24);
}

static const uint8_t *give_row(void *ctx, size_t y)
{
    struct picture *p = ctx;
    if (y == p->missing)
        return NULL;
    for (size_t i = 0; i < sizeof p->row; i++)
        p->row[i] = sample(y, i);
    return p->row;
}

static const struct film_png_text texts[] = {
    {"Software", "plumbrule"},
    {"Comment", "35, erste Bohrung: \xC3\xA4lter als 3 \xC2\xB5m"},
};

static struct film_png_options usual(void)
{
    return (struct film_png_options){.width = WIDTH,
                                     .height = HEIGHT,
                                     .level = 2,
                                     .mm_per_px = 0.0187,
                                     .text = texts,
                                     .n_text = 2};
}

static char folder[] = "/tmp/plumb-png-XXXXXX";

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) == NULL;
}

static int drop_folder(void **state)
{
    (void)state;
    return rmdir(folder);
}

static int write_to(const char *name, const struct film_png_options *o, struct picture *p,
                    struct err *err)
{
    char path[64];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    struct file_out to;
    int rc = plumb_file_out_open(&to, path, true, err);
    if (rc == 0)
        rc = plumb_film_png_write(&to, o, give_row, p, err);
    if (rc == 0)
        return plumb_file_out_commit(&to, err);
    plumb_file_out_abort(&to);
    return rc;
}

static void read_back(const char *name, struct buf *file)
{
    char path[64];
    struct err err = {0};
    snprintf(path, sizeof path, "%s/%s", folder, name);
    assert_int_equal(plumb_file_read(path, 1 << 24, file, &err), 0);
    unlink(path);
}

static void pixels_come_back_at_every_level(void **state)
{
    (void)state;
    for (unsigned level = 0; level <= 9; level++) {
        struct film_png_options o = usual();
        o.level = level;
        struct picture p = {.missing = SIZE_MAX};
        struct err err = {0};
        assert_int_equal(write_to("a.png", &o, &p, &err), 0);
        struct buf file;
        read_back("a.png", &file);
        png_image image = {.version = PNG_IMAGE_VERSION};
        assert_true(png_image_begin_read_from_memory(&image, file.data, file.len));
        assert_int_equal(image.width, WIDTH);
        assert_int_equal(image.height, HEIGHT);
        image.format = PNG_FORMAT_RGB;
        uint8_t *pixels = malloc(PNG_IMAGE_SIZE(image));
        assert_true(png_image_finish_read(&image, NULL, pixels, 0, NULL));
        for (size_t y = 0; y < HEIGHT; y++)
            for (size_t i = 0; i < (size_t)WIDTH * RGB; i++)
                assert_int_equal(pixels[y * WIDTH * RGB + i], sample(y, i));
        free(pixels);
        plumb_buf_release(&file);
    }
}

/* Where a chunk begins, SIZE_MAX when there is none. */
static size_t chunk_at(const struct buf *file, const char *name)
{
    for (size_t at = 8; at + 12 <= file->len;) {
        const uint8_t *p = (const uint8_t *)file->data + at;
        if (memcmp(p + 4, name, 4) == 0)
            return at;
        at += 12 + ((size_t)p[0] << 24 | (size_t)p[1] << 16 | (size_t)p[2] << 8 | p[3]);
    }
    return SIZE_MAX;
}

static void scale_and_texts_are_in_it_and_no_time(void **state)
{
    (void)state;
    struct film_png_options o = usual();
    struct picture p = {.missing = SIZE_MAX};
    struct err err = {0};
    assert_int_equal(write_to("a.png", &o, &p, &err), 0);
    struct buf file;
    read_back("a.png", &file);
    /* round(1000 / 0.0187) = round(53475.94) = 53476 pixels a metre = 0xD0E4, unit 1 = metre */
    static const uint8_t density[9] = {0, 0, 0xD0, 0xE4, 0, 0, 0xD0, 0xE4, 1};
    size_t at = chunk_at(&file, "pHYs");
    assert_true(at != SIZE_MAX);
    assert_memory_equal(file.data + at + 8, density, 9);
    at = chunk_at(&file, "tEXt");
    assert_true(at != SIZE_MAX);
    assert_memory_equal(file.data + at + 8, "Software\0plumbrule", 18);
    at = chunk_at(&file, "iTXt");
    assert_true(at != SIZE_MAX);
    assert_memory_equal(file.data + at + 8, "Comment\0\0\0\0\0", 12);
    assert_memory_equal(file.data + at + 20, texts[1].value, strlen(texts[1].value));
    assert_true(chunk_at(&file, "tIME") == SIZE_MAX);
    struct film f;
    assert_int_equal(plumb_film_decode(file.data, file.len, NULL, &f, &err), 0);
    assert_close(f.pitch_um, 1e6 / 53476, 1e-9);
    plumb_film_release(&f);
    plumb_buf_release(&file);
    o.mm_per_px = 0;
    o.n_text = 0;
    assert_int_equal(write_to("a.png", &o, &p, &err), 0);
    read_back("a.png", &file);
    assert_true(chunk_at(&file, "pHYs") == SIZE_MAX);
    assert_true(chunk_at(&file, "tEXt") == SIZE_MAX);
    plumb_buf_release(&file);
}

static void same_rows_give_same_bytes(void **state)
{
    (void)state;
    struct film_png_options o = usual();
    struct picture p = {.missing = SIZE_MAX};
    struct err err = {0};
    struct buf a, b;
    assert_int_equal(write_to("a.png", &o, &p, &err), 0);
    assert_int_equal(write_to("b.png", &o, &p, &err), 0);
    read_back("a.png", &a);
    read_back("b.png", &b);
    assert_int_equal(a.len, b.len);
    assert_memory_equal(a.data, b.data, a.len);
    plumb_buf_release(&a);
    plumb_buf_release(&b);
}

static void what_cannot_be_written_is_refused(void **state)
{
    (void)state;
    static const struct film_png_text bad_key[] = {
        {"", "x"}, {" key", "x"}, {"a  b", "x"}, {"line\nbreak", "x"}, {"good", "\xC3\x28"}};
    struct picture p = {.missing = SIZE_MAX};
    for (size_t i = 0; i < 5 + 6; i++) {
        struct film_png_options o = usual();
        if (i < 5)
            o.text = &bad_key[i], o.n_text = 1;
        o.width = i == 5 ? 0 : i == 6 ? (size_t)1 << 32 : o.width;
        o.height = i == 7 ? 0 : o.height;
        o.level = i == 8 ? 10 : o.level;
        o.mm_per_px = i == 9 ? -1 : i == 10 ? nan("") : o.mm_per_px;
        struct err err = {0};
        int rc = write_to("a.png", &o, &p, &err);
        assert_int_equal(rc, i >= 5 && i <= 7 ? ERR_LIMIT : ERR_ARG);
        assert_true(err.text[0] != '\0');
    }
}

static void a_missing_row_ends_it(void **state)
{
    (void)state;
    struct film_png_options o = usual();
    struct picture p = {.missing = 100};
    struct err err = {0};
    assert_int_equal(write_to("a.png", &o, &p, &err), ERR_ARG);
    assert_non_null(strstr(err.text, "row 100"));
}

static void a_full_disk_is_told(void **state)
{
    (void)state;
    char path[64];
    struct film_png_options o = usual();
    struct picture p = {.missing = SIZE_MAX};
    struct err err = {0};
    struct file_out to;
    snprintf(path, sizeof path, "%s/full.png", folder);
    int full = open("/dev/full", O_WRONLY);
    if (full < 0) {
        printf("skipped: no /dev/full here\n");
        return;
    }
    assert_int_equal(plumb_file_out_open(&to, path, true, &err), 0);
    assert_true(dup2(full, to.fd) == to.fd);
    assert_int_equal(plumb_film_png_write(&to, &o, give_row, &p, &err), ERR_IO);
    assert_non_null(strstr(err.text, "No space left"));
    plumb_file_out_abort(&to);
    close(full);
}

static void memory_may_run_out_anywhere(void **state)
{
    (void)state;
    struct film_png_options o = usual();
    struct picture p = {.missing = SIZE_MAX};
    char path[64];
    snprintf(path, sizeof path, "%s/a.png", folder);
    int rc = ERR_NOMEM;
    for (long n = 1; rc != 0; n++) {
        struct err err = {0};
        struct file_out to;
        assert_true(n < 1000);
        assert_int_equal(plumb_file_out_open(&to, path, true, &err), 0);
        plumb_mem_fail_after(n);
        rc = plumb_film_png_write(&to, &o, give_row, &p, &err);
        plumb_mem_fail_after(0);
        assert_true(rc == 0 || rc == ERR_NOMEM);
        assert_true(rc == 0 || err.text[0] != '\0');
        plumb_file_out_abort(&to);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pixels_come_back_at_every_level),
        cmocka_unit_test(scale_and_texts_are_in_it_and_no_time),
        cmocka_unit_test(same_rows_give_same_bytes),
        cmocka_unit_test(what_cannot_be_written_is_refused),
        cmocka_unit_test(a_missing_row_ends_it),
        cmocka_unit_test(a_full_disk_is_told),
        cmocka_unit_test(memory_may_run_out_anywhere),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
