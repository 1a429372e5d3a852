/*
 * Sample films of others: PngSuite, TIFF files of two imaging libraries, the EXIF orientations (see
 * SOURCES.md beside them). Each loads as the table says or is refused with a clear line; pixels are
 * held against libspng (PNG) and against ImageMagick's own program (TIFF, JPEG).
 *
 * The folder is $PLUMB_FILMS, else ../shared/films; where it is not there the tests are skipped.
 */
#include "tests/support/close.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#ifdef HAVE_SPNG
#include <spng.h>
#endif

#include "plumbrule/film.h"
#include "tests/support/film_make.h"

static const char *films(void)
{
    const char *own = getenv("PLUMB_FILMS");
    const char *folder = own ? own : "../shared/films";
    if (access(folder, R_OK) == 0)
        return folder;
    printf("skipped: no sample films in %s (set PLUMB_FILMS)\n", folder);
    return NULL;
}

static void path_of(char path[512], const char *kind, const char *name)
{
    snprintf(path, 512, "%s/%s/%s", films(), kind, name);
}

static int load(const char *kind, const char *name, struct film *f, struct err *err)
{
    char path[512];
    path_of(path, kind, name);
    return plumb_film_load(path, NULL, f, err);
}

/* --- PNG -------------------------------------------------------------------------------------- */

#ifdef HAVE_SPNG
/* The other decoder: 16-bit RGBA, no gamma, no colour key; luma in exact arithmetic. */
static void compare_with_spng(const char *name, const struct film *f)
{
    char path[512];
    struct buf file;
    struct err err = {0};
    path_of(path, "png", name);
    assert_int_equal(plumb_file_read(path, 1 << 24, &file, &err), 0);
    spng_ctx *spng = spng_ctx_new(0);
    size_t bytes = 0;
    struct spng_ihdr head;
    assert_int_equal(spng_set_png_buffer(spng, file.data, file.len), 0);
    assert_int_equal(spng_get_ihdr(spng, &head), 0);
    assert_int_equal(spng_decoded_image_size(spng, SPNG_FMT_RGBA16, &bytes), 0);
    uint16_t *v = malloc(bytes);
    assert_int_equal(spng_decode_image(spng, v, bytes, SPNG_FMT_RGBA16, 0), 0);
    if (head.width == f->width && head.height == f->height)
        for (size_t i = 0; i < f->width * f->height; i++)
            assert_int_equal(f->grey[i], make_luma(v[4 * i], v[4 * i + 1], v[4 * i + 2]));
    else /* the two files whose pixels are four times as long as wide */
        assert_true(strncmp(name, "cdfn", 4) == 0 || strncmp(name, "cdhn", 4) == 0);
    free(v);
    spng_ctx_free(spng);
    plumb_buf_release(&file);
}
#else
static void compare_with_spng(const char *name, const struct film *f)
{
    (void)name;
    (void)f;
}
#endif

static void check_png(const char *name)
{
    struct film f;
    struct err err = {0};
    int rc = load("png", name, &f, &err);
    if (rc != (name[0] == 'x' ? ERR_FORMAT : 0))
        print_error("%s: %d %s\n", name, rc, err.text);
    if (name[0] == 'x') { /* broken on purpose, PngSuite's README */
        assert_int_equal(rc, ERR_FORMAT);
        assert_non_null(strstr(err.text, "truncated or damaged PNG ("));
        assert_non_null(strstr(err.text, "): export the film again"));
        return;
    }
    assert_int_equal(rc, 0);
    assert_int_equal(f.format, FILM_PNG);
    /* the names end in colour type and depth */
    assert_int_equal(f.depth, atoi(name + 6));
    static const unsigned channels[7] = {1, 0, 3, 1, 2, 0, 4};
    assert_int_equal(f.channels, channels[name[4] - '0']);
    compare_with_spng(name, &f);
    plumb_film_release(&f);
}

static void png_suite_loads_or_is_refused(void **state)
{
    (void)state;
    char folder[512];
    if (films() == NULL)
        return;
#ifndef HAVE_SPNG
    printf("skipped: no libspng to compare PNG pixels with\n");
#endif
    path_of(folder, "png", ".");
    DIR *d = opendir(folder);
    assert_non_null(d);
    size_t n = 0;
    for (struct dirent *e = readdir(d); e != NULL; e = readdir(d)) {
        size_t len = strlen(e->d_name);
        if (len == 12 && strcmp(e->d_name + 8, ".png") == 0) {
            check_png(e->d_name);
            n++;
        }
    }
    closedir(d);
    assert_true(n > 150);
}

/* --- TIFF ------------------------------------------------------------------------------------- */

/* By inspection of the files. */
struct tiff_sample {
    const char *name;
    size_t width, height; /* 0: refused */
    unsigned depth, channels, pages, orientation;
    const char *note; /* one of its notes, or part of the message; NULL: none */
};
static const struct tiff_sample tiffs[] = {
    {"12bit.cropped.tif", 100, 100, 12, 1, 1, 1, NULL},
    {"12in16bit.tif", 100, 100, 16, 1, 1, 1, "12-bit values"},
    {"16bit.MM.cropped.tif", 64, 64, 16, 1, 1, 1, "12-bit values"},
    {"16bit.MM.deflate.tif", 64, 64, 16, 1, 1, 1, "12-bit values"},
    {"16bit.cropped.tif", 64, 64, 16, 1, 1, 1, "12-bit values"},
    {"16bit.deflate.tif", 64, 64, 16, 1, 1, 1, "12-bit values"},
    {"16bit.r.tif", 64, 64, 16, 1, 1, 1, "12-bit values"},
    {"16bit.s.tif", 10, 10, 16, 1, 1, 1, "16-bit signed samples: 0 to 32767"},
    {"8bit.s.tif", 128, 128, 8, 1, 1, 1, "8-bit signed samples: -128 to 127"},
    {"chessboard_GRAY_U16.tif", 200, 200, 16, 1, 1, 1, "12-bit values"},
    {"chessboard_GRAY_U16B.tif", 200, 200, 16, 1, 1, 1, "12-bit values"},
    {"crash-0c7e0e8e11ce787078f00b5b0ca409a167f070e0.tif", 0, 0, 0, 0, 0, 0, "Read error"},
    {"crash-86214e58da443d2b80820cff9677a38a33dcbbca.tif", 0, 0, 0, 0, 0, 0, "not all there"},
    {"crash-f46f5b2f43c370fe65706c11449f567ecc345e74.tif", 0, 0, 0, 0, 0, 0, "Read error"},
    {"g4_orientation_1.tif", 590, 88, 1, 1, 1, 1, NULL},
    {"g4_orientation_2.tif", 590, 88, 1, 1, 1, 2, "mirrored"},
    {"g4_orientation_3.tif", 590, 88, 1, 1, 1, 3, NULL},
    {"g4_orientation_4.tif", 590, 88, 1, 1, 1, 4, "mirrored"},
    {"g4_orientation_5.tif", 590, 88, 1, 1, 1, 5, "mirrored"},
    {"g4_orientation_6.tif", 590, 88, 1, 1, 1, 6, NULL},
    {"g4_orientation_7.tif", 590, 88, 1, 1, 1, 7, "mirrored"},
    {"g4_orientation_8.tif", 590, 88, 1, 1, 1, 8, NULL},
    {"hopper_bigtiff.tif", 128, 128, 8, 3, 1, 1, NULL},
    {"hopper_float_dpi_2.tif", 128, 128, 8, 3, 1, 1, NULL},
    {"hopper_float_dpi_3.tif", 128, 128, 8, 3, 1, 1, NULL},
    {"hopper_gray_4bpp.tif", 128, 128, 4, 1, 1, 1, NULL},
    {"hopper_jpg.tif", 128, 128, 8, 3, 1, 1, NULL},
    {"hopper_lzw.tif", 128, 128, 8, 3, 1, 1, NULL},
    {"multipage.tif", 10, 15, 8, 1, 2, 1, "page 1 of 2"},
    {"multipage.tiff", 10, 10, 1, 1, 3, 1, "page 1 of 3"},
    {"no_rows_per_strip.tif", 950, 975, 8, 1, 3, 1, "page 1 of 3"},
    {"seek_too_large.tif", 0, 0, 0, 0, 0, 0, "truncated or damaged TIFF"},
    {"tiff_adobe_deflate.tif", 278, 374, 8, 3, 1, 1, NULL},
    {"tiff_strip_planar_16bit_RGB.tiff", 100, 40, 16, 3, 1, 1, NULL},
    {"tiff_tiled_planar_lzw.tiff", 278, 374, 8, 3, 1, 1, NULL},
    {"tiff_tiled_raw.tif", 278, 374, 8, 3, 1, 1, NULL},
    {"total-pages-zero.tif", 1728, 2244, 1, 1, 3, 1, "1728 x 2156 stretched to 1728 x 2244"},
};

static bool has_note(const struct film *f, const char *word)
{
    for (size_t i = 0; i < f->n_notes; i++)
        if (strstr(f->note[i], word) != NULL)
            return true;
    return false;
}

static void tiff_samples_load_or_are_refused(void **state)
{
    (void)state;
    if (films() == NULL)
        return;
    for (size_t i = 0; i < sizeof tiffs / sizeof tiffs[0]; i++) {
        const struct tiff_sample *t = &tiffs[i];
        struct film f;
        struct err err = {0};
        int rc = load("tiff", t->name, &f, &err);
        if (rc != (t->width ? 0 : ERR_FORMAT))
            print_error("%s: %d %s\n", t->name, rc, err.text);
        assert_int_equal(rc, t->width ? 0 : ERR_FORMAT);
        if (rc != 0) {
            assert_non_null(strstr(err.text, t->note));
            assert_non_null(strstr(err.text, ": export the film again"));
            continue;
        }
        assert_int_equal(f.format, FILM_TIFF);
        assert_int_equal(f.width, t->width);
        assert_int_equal(f.height, t->height);
        assert_int_equal(f.depth, t->depth);
        assert_int_equal(f.channels, t->channels);
        assert_int_equal(f.pages, t->pages);
        assert_int_equal(f.orientation, t->orientation);
        assert_true(t->note ? has_note(&f, t->note) : f.n_notes == 0);
        plumb_film_release(&f);
    }
}

/* --- orientation ------------------------------------------------------------------------------ */

/* Mean difference of two films of one size, 0..1. */
static double mean_difference(const struct film *a, const struct film *b)
{
    assert_int_equal(a->width, b->width);
    assert_int_equal(a->height, b->height);
    double sum = 0;
    size_t n = a->width * a->height;
    for (size_t i = 0; i < n; i++)
        sum += fabs((double)a->grey[i] - b->grey[i]);
    return sum / (double)n / 65535;
}

/* The files carry a number of their own and were coded one by one: they agree to 1.4 %; the same
 * pictures turned wrongly differ by more than 8 %. */
static void eight_orientations_show_one_picture(void **state)
{
    (void)state;
    static const struct {
        const char *kind, *name;
        double tolerance;
    } set[] = {{"jpeg", "Landscape_%u.jpg", 0.02}, {"tiff", "g4_orientation_%u.tif", 0.004}};
    if (films() == NULL)
        return;
    for (size_t k = 0; k < 2; k++) {
        struct film first = {0};
        for (unsigned o = 1; o <= 8; o++) {
            char name[64];
            struct film f;
            struct err err = {0};
            const char *percent = strchr(set[k].name, '%');
            snprintf(name, sizeof name, "%.*s%u%s", (int)(percent - set[k].name), set[k].name, o,
                     percent + 2);
            assert_int_equal(load(set[k].kind, name, &f, &err), 0);
            assert_int_equal(f.orientation, o);
            assert_int_equal(f.mirrored, o == 2 || o == 4 || o == 5 || o == 7);
            if (o == 1) {
                first = f;
                continue;
            }
            assert_true(mean_difference(&first, &f) < set[k].tolerance);
            plumb_film_release(&f);
        }
        plumb_film_release(&first);
    }
}

/* --- ImageMagick ------------------------------------------------------------------------------ */

/* The program's command, or NULL. */
static const char *other_program(void)
{
    static const char *const command[] = {"/usr/bin/convert", "magick", "convert"};
    for (size_t i = 0; i < 3; i++) {
        char line[256] = "";
        snprintf(line, sizeof line, "%s -version 2>/dev/null", command[i]);
        FILE *p = popen(line, "r");
        bool good = p != NULL && fgets(line, sizeof line, p) != NULL &&
                    strstr(line, "Version: ImageMagick") != NULL;
        if (p != NULL)
            pclose(p);
        if (good)
            return command[i];
    }
    printf("skipped: no ImageMagick to compare TIFF and JPEG pixels with\n");
    return NULL;
}

/* The file as n 16-bit RGB pixels by the other program. */
static uint16_t *other_pixels(const char *program, const char *path, size_t n)
{
    char line[1024];
    uint16_t *v = malloc(3 * n * sizeof *v);
    snprintf(line, sizeof line,
             "%s '%s[0]' -auto-orient -alpha off -depth 16 -endian LSB rgb:- 2>/dev/null", program,
             path);
    FILE *p = popen(line, "r");
    assert_non_null(p);
    assert_int_equal(fread(v, 3 * sizeof *v, n, p), n);
    assert_int_equal(fgetc(p), EOF);
    pclose(p);
    return v;
}

/* Largest and mean difference in 65535ths. */
static void compare_with_other(const char *program, const char *path, double most, double mean)
{
    struct film f;
    struct err err = {0};
    assert_int_equal(plumb_film_load(path, NULL, &f, &err), 0);
    size_t n = f.width * f.height;
    uint16_t *v = other_pixels(program, path, n);
    double sum = 0, worst = 0;
    for (size_t i = 0; i < n; i++) {
        double d = fabs((double)f.grey[i] - make_luma(v[3 * i], v[3 * i + 1], v[3 * i + 2]));
        sum += d;
        worst = fmax(worst, d);
    }
    if (worst > most || sum / (double)n > mean)
        print_error("%s: differs by %g at most, %g in the mean\n", path, worst, sum / (double)n);
    assert_true(worst <= most && sum / (double)n <= mean);
    free(v);
    plumb_film_release(&f);
}

static void tiff_pixels_are_those_of_another_program(void **state)
{
    (void)state;
    const char *program = films() ? other_program() : NULL;
    if (program == NULL)
        return;
    for (size_t i = 0; i < sizeof tiffs / sizeof tiffs[0]; i++) {
        const char *name = tiffs[i].name;
        bool other_mapping = strstr(name, "bit.s.") != NULL; /* signed */
        bool other_shape = strcmp(name, "total-pages-zero.tif") == 0;
        bool refused = strcmp(name, "no_rows_per_strip.tif") == 0; /* by the other one */
        if (tiffs[i].width == 0 || other_mapping || other_shape || refused)
            continue;
        char path[512];
        path_of(path, "tiff", name);
        compare_with_other(program, path, 0, 0);
    }
}

/* Colour: the luma channel as stored against luma of the rounded and clipped RGB. Three roundings
 * of half a level each make at most 0.5 (0.299 + 0.587 + 0.114) + 0.5; where RGB is clipped, more,
 * so the mean counts there. */
static void jpeg_pixels_are_those_of_another_program(void **state)
{
    (void)state;
    const char *program = films() ? other_program() : NULL;
    if (program == NULL)
        return;
    char path[512];
    path_of(path, "jpeg", "Landscape_6.jpg");
    compare_with_other(program, path, 65535, 257);
    char grey[] = "/tmp/plumb-grey-XXXXXX";
    int fd = mkstemp(grey);
    assert_true(fd >= 0);
    close(fd);
    for (int way = 0; way < 4; way++) {
        struct make_jpeg j = {.width = 301,
                              .height = 203,
                              .components = way < 2 ? 1 : 3,
                              .progressive = way % 2 == 1,
                              .quality = 85,
                              .sample = make_smooth};
        struct buf file = {0};
        struct err err = {0};
        make_jpeg(&j, &file);
        assert_int_equal(plumb_file_write(grey, file.data, file.len, true, &err), 0);
        compare_with_other(program, grey, way < 2 ? 0 : 257, way < 2 ? 0 : 130);
        plumb_buf_release(&file);
    }
    unlink(grey);
}

static void real_films_load(void **state)
{
    (void)state;
    if (films() == NULL)
        return;
    struct film f;
    struct err err = {0};
    assert_int_equal(load("periapical", "lower-posterior-1171x886.png", &f, &err), 0);
    assert_int_equal(f.width, 1171);
    assert_int_equal(f.height, 886);
    assert_int_equal(f.pitch, FILM_PITCH_PLACEHOLDER);
    assert_int_equal(f.n_notes, 0);
    plumb_film_release(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(png_suite_loads_or_is_refused),
        cmocka_unit_test(tiff_samples_load_or_are_refused),
        cmocka_unit_test(eight_orientations_show_one_picture),
        cmocka_unit_test(tiff_pixels_are_those_of_another_program),
        cmocka_unit_test(jpeg_pixels_are_those_of_another_program),
        cmocka_unit_test(real_films_load),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
