/*
 * Hostile input: every file of fixtures/broken, small films cut short at many places, a few
 * thousand seeded mutations, memory that runs out anywhere. Each is refused with a clear line or
 * loads; nothing crashes, leaks (under the sanitizers) or prints.
 */
#include "tests/support/close.h"

#include <dirent.h>
#include <fcntl.h>
#include <png.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <tiffio.h>
#include <unistd.h>

#include "plumbrule/film.h"
#include "tests/support/film_make.h"

/* --- fixtures/broken -------------------------------------------------------------------------- */

struct broken {
    const char *name;
    int rc;
    const char *word; /* part of the message or, for a film that loads, of a note; NULL: none */
};
static const struct broken broken[] = {
    {"empty.png", ERR_FORMAT, "is empty"},
    {"text.jpg", ERR_FORMAT, "a text file"},
    {"png-absurd-size.png", ERR_LIMIT, "2147483647 x 2147483647"},
    {"png-bad-profile.png", 0, NULL},
    {"png-exif-loop.png", 0, NULL},
    {"png-no-end.png", ERR_FORMAT, "ends too early"},
    {"png-rows-missing.png", ERR_FORMAT, "damaged PNG"},
    {"png-rows-too-many.png", 0, NULL},
    {"png-shape-nonsense.png", 0, "not used"},
    {"png-text-bomb.png", 0, NULL},
    {"jpeg-absurd-size.jpg", ERR_LIMIT, "65500 x 65500"},
    {"jpeg-cut-in-pixels.jpg", ERR_FORMAT, "damaged JPEG"},
    {"jpeg-exif-nonsense.jpg", 0, NULL},
    {"jpeg-exif-outside.jpg", 0, NULL},
    {"jpeg-no-end.jpg", ERR_FORMAT, "damaged JPEG"},
    {"jpeg-no-height.jpg", ERR_FORMAT, "damaged JPEG"},
    {"jpeg-scan-bomb.jpg", ERR_FORMAT, "damaged JPEG"},
    {"tiff-absurd-size.tif", ERR_FORMAT, "damaged TIFF"},
    {"tiff-absurd-tile.tif", ERR_FORMAT, "far larger than the film"},
    {"tiff-colour-with-one-sample.tif", ERR_FORMAT, "too few samples"},
    {"tiff-deep-nonsense.tif", ERR_FORMAT, "65535-bit"},
    {"tiff-directory-loop.tif", ERR_FORMAT, "pages without end"},
    {"tiff-empty-strip.tif", 0, NULL},
    {"tiff-many-samples.tif", ERR_FORMAT, "65535 samples"},
    {"tiff-next-outside.tif", 0, NULL},
    {"tiff-no-such-compression.tif", ERR_FORMAT, "compression 35661"},
    {"tiff-packbits-overrun.tif", ERR_FORMAT, "damaged TIFF"},
    {"tiff-palette-without-map.tif", 0, NULL},
    {"tiff-resolution-zero.tif", 0, NULL},
    {"tiff-strip-outside.tif", ERR_FORMAT, "damaged TIFF"},
    {"tiff-tall-and-thin.tif", ERR_FORMAT, "damaged TIFF"},
};
enum { BROKEN = sizeof broken / sizeof broken[0] };
static const char folder[] = "fixtures/broken";

static void broken_files_end_as_listed(void **state)
{
    (void)state;
    for (size_t i = 0; i < BROKEN; i++) {
        char path[256];
        struct film f;
        struct err err = {0};
        snprintf(path, sizeof path, "%s/%s", folder, broken[i].name);
        int rc = plumb_film_load(path, NULL, &f, &err);
        const char *said = rc != 0 ? err.text : f.n_notes ? f.note[0] : "";
        if (rc != broken[i].rc || (broken[i].word && !strstr(said, broken[i].word)))
            print_error("%s: %d %s\n", broken[i].name, rc, said);
        assert_int_equal(rc, broken[i].rc);
        assert_true(broken[i].word ? strstr(said, broken[i].word) != NULL : said[0] == '\0');
        assert_true(rc == 0 || f.grey == NULL);
        plumb_film_release(&f);
    }
}

static void every_broken_file_is_listed(void **state)
{
    (void)state;
    DIR *d = opendir(folder);
    assert_non_null(d);
    size_t n = 0;
    for (struct dirent *e = readdir(d); e != NULL; e = readdir(d)) {
        bool film =
            strstr(e->d_name, ".png") || strstr(e->d_name, ".tif") || strstr(e->d_name, ".jpg");
        bool listed = false;
        for (size_t i = 0; i < BROKEN; i++)
            listed |= strcmp(broken[i].name, e->d_name) == 0;
        if (film && !listed)
            print_error("%s is not in the list\n", e->d_name);
        assert_true(!film || listed);
        n += film;
    }
    closedir(d);
    assert_int_equal(n, BROKEN);
}

/* --- small sound films ------------------------------------------------------------------------ */

enum { FILMS = 16 };

static void make_pngs(struct buf out[4])
{
    struct buf exif = {0};
    make_exif(true, 7, 1270, 635, 2, &exif);
    struct make_png p = {.width = 23,
                         .height = 17,
                         .depth = 16,
                         .colour_type = PNG_COLOR_TYPE_GRAY,
                         .sample = make_pattern};
    make_png(&p, &out[0]);
    p.depth = 2;
    p.colour_type = PNG_COLOR_TYPE_PALETTE;
    p.interlaced = p.colour_key = true;
    make_png(&p, &out[1]);
    p.depth = 8;
    p.colour_type = PNG_COLOR_TYPE_RGB_ALPHA;
    p.colour_key = false;
    p.exif = &exif;
    make_png(&p, &out[2]);
    p.depth = 1;
    p.colour_type = PNG_COLOR_TYPE_GRAY;
    p.x_density = 3;
    p.y_density = 2;
    make_png(&p, &out[3]);
    plumb_buf_release(&exif);
}

static void make_tiffs(struct buf out[8])
{
    struct make_tiff t = {.mode = "wl",
                          .width = 23,
                          .height = 17,
                          .bits = 16,
                          .samples = 1,
                          .photometric = PHOTOMETRIC_MINISWHITE,
                          .rows = 5,
                          .unit = 2,
                          .x_density = 1270,
                          .y_density = 1270,
                          .sample = make_pattern};
    make_tiff(&t, &out[0]);
    t.mode = "wb8";
    t.compression = COMPRESSION_LZW;
    t.predictor = PREDICTOR_HORIZONTAL;
    t.samples = 3;
    t.photometric = PHOTOMETRIC_RGB;
    t.separate = true;
    t.tile = 16;
    make_tiff(&t, &out[1]);
    t = (struct make_tiff){.mode = "wb",
                           .width = 23,
                           .height = 17,
                           .bits = 1,
                           .samples = 1,
                           .photometric = PHOTOMETRIC_MINISWHITE,
                           .orientation = 6,
                           .compression = COMPRESSION_CCITTFAX4,
                           .sample = make_pattern};
    make_tiff(&t, &out[2]);
    t.compression = COMPRESSION_PACKBITS;
    t.bits = 4;
    t.photometric = PHOTOMETRIC_PALETTE;
    t.pages = 2;
    make_tiff(&t, &out[3]);
    t = (struct make_tiff){.mode = "wl",
                           .width = 32,
                           .height = 16,
                           .bits = 8,
                           .samples = 3,
                           .photometric = PHOTOMETRIC_YCBCR,
                           .compression = COMPRESSION_JPEG,
                           .sample = make_smooth};
    make_tiff(&t, &out[4]);
    t.compression = COMPRESSION_ADOBE_DEFLATE;
    t.bits = 32;
    t.format = SAMPLEFORMAT_IEEEFP;
    t.photometric = PHOTOMETRIC_RGB;
    make_tiff(&t, &out[5]);
    t = (struct make_tiff){.mode = "wl",
                           .width = 23,
                           .height = 17,
                           .bits = 12,
                           .samples = 4,
                           .photometric = PHOTOMETRIC_SEPARATED,
                           .sample = make_pattern};
    make_tiff(&t, &out[6]);
    t.bits = 8;
    t.samples = 3;
    t.photometric = PHOTOMETRIC_CIELAB;
    make_tiff(&t, &out[7]);
}

static void make_jpegs(struct buf out[4])
{
    struct buf exif = {0};
    make_exif(false, 5, 1270, 1270, 2, &exif);
    struct make_jpeg j = {
        .width = 23, .height = 17, .components = 1, .quality = 80, .sample = make_smooth};
    make_jpeg(&j, &out[0]);
    j.exif = &exif;
    j.components = 3;
    j.progressive = true;
    make_jpeg(&j, &out[1]);
    j.progressive = false;
    j.components = 4;
    j.adobe = true;
    make_jpeg(&j, &out[2]);
    j.components = 3;
    j.apart = true;
    make_jpeg(&j, &out[3]);
    plumb_buf_release(&exif);
}

static int make_films(void **state)
{
    struct buf *file = calloc(FILMS, sizeof *file);
    *state = file;
    if (file == NULL)
        return -1;
    make_pngs(file);
    make_tiffs(file + 4);
    make_jpegs(file + 12);
    return 0;
}

static int drop_films(void **state)
{
    struct buf *file = *state;
    for (size_t i = 0; i < FILMS; i++)
        plumb_buf_release(&file[i]);
    free(file);
    return 0;
}

/* Decodes a copy of exactly that length, so that the sanitizer sees a read past its end. */
static int decode(const void *data, size_t len, struct film *f)
{
    static const int allowed[] = {0, ERR_FORMAT, ERR_LIMIT, ERR_NOMEM};
    struct film_options o;
    plumb_film_options_default(&o);
    o.max_pixels = 1 << 18; /* bounds the time of a mutation that enlarges the film */
    struct err err = {0};
    void *copy = malloc(len ? len : 1);
    memcpy(copy, data, len);
    int rc = plumb_film_decode(copy, len, &o, f, &err);
    free(copy);
    bool good = false;
    for (size_t i = 0; i < 4; i++)
        good |= rc == allowed[i];
    assert_true(good);
    assert_true(rc == 0 ? f->grey != NULL && f->width * f->height > 0 : f->grey == NULL);
    assert_true((rc == 0) == (err.text[0] == '\0'));
    for (const char *c = err.text; *c; c++)
        assert_true(*c >= ' ' && *c <= '~');
    return rc;
}

static bool same_film(const struct film *a, const struct film *b)
{
    return a->width == b->width && a->height == b->height &&
           memcmp(a->grey, b->grey, a->width * a->height * sizeof *a->grey) == 0;
}

/* What is left is refused, or the same film (a TIFF may end in a tag or page that nobody needs). */
static void films_cut_short_are_refused(void **state)
{
    const struct buf *file = *state;
    for (size_t i = 0; i < FILMS; i++) {
        struct film whole;
        assert_int_equal(decode(file[i].data, file[i].len, &whole), 0);
        for (size_t len = 0; len < file[i].len;
             len += len < 64 || len + 64 > file[i].len ? 1 : 37) {
            struct film f;
            int rc = decode(file[i].data, len, &f);
            if (rc == 0 && !same_film(&f, &whole))
                print_error("film %zu cut at %zu of %zu is another\n", i, len, file[i].len);
            assert_true(rc != 0 || (whole.format == FILM_TIFF && same_film(&f, &whole)));
            plumb_film_release(&f);
        }
        plumb_film_release(&whole);
    }
}

/* Several decoders of the TIFF library only warn, and go on with made-up pixels. */
static void made_up_pixels_are_refused(void **state)
{
    (void)state;
    struct make_tiff t = {.mode = "wl",
                          .width = 60,
                          .height = 64,
                          .bits = 8,
                          .samples = 1,
                          .photometric = PHOTOMETRIC_MINISBLACK,
                          .sample = make_pattern};
    static const uint16_t scheme[] = {COMPRESSION_JPEG, COMPRESSION_CCITTFAX4,
                                      COMPRESSION_CCITTFAX3, COMPRESSION_PACKBITS};
    for (size_t i = 0; i < sizeof scheme / sizeof scheme[0]; i++) {
        t.compression = scheme[i];
        t.bits = scheme[i] == COMPRESSION_JPEG || scheme[i] == COMPRESSION_PACKBITS ? 8 : 1;
        struct buf file = {0};
        struct film f;
        make_tiff(&t, &file);
        assert_int_equal(decode(file.data, file.len, &f), 0);
        plumb_film_release(&f);
        /* the strip comes first in the file; its middle becomes an end marker and runs of zero */
        for (size_t at = file.len * 2 / 5; at < file.len / 2; at++)
            file.data[at] = (char)(at % 8 == 0 ? 0xFF : at % 8 == 1 ? 0xD9 : 0);
        assert_int_equal(decode(file.data, file.len, &f), ERR_FORMAT);
        plumb_buf_release(&file);
    }
}

static uint32_t next(uint64_t *seed)
{
    *seed = *seed * 6364136223846793005u + 1442695040888963407u; /* Knuth, MMIX */
    return (uint32_t)(*seed >> 33);
}

static void mutate(struct buf *b, uint64_t *seed)
{
    static const uint8_t sharp[] = {0, 1, 0x7F, 0x80, 0xFF};
    for (uint32_t k = 1 + next(seed) % 4; k > 0; k--) {
        size_t at = next(seed) % b->len;
        uint32_t how = next(seed) % 4;
        if (how == 0)
            b->data[at] = (char)sharp[next(seed) % sizeof sharp];
        else if (how == 1)
            b->data[at] = (char)(b->data[at] ^ 1 << next(seed) % 8);
        else if (how == 2)
            b->data[at] = (char)next(seed);
        else /* a piece over another place */
            b->data[at] = b->data[next(seed) % b->len];
    }
}

static void mutated_films_are_survived(void **state)
{
    const struct buf *file = *state;
    const char *more = getenv("PLUMB_MUTATIONS"); /* how many a film, for long runs by hand */
    unsigned long each = more ? strtoul(more, NULL, 10) : 200;
    uint64_t seed = 35;
    size_t loaded = 0;
    for (unsigned long n = 0; n < each * FILMS; n++) {
        const struct buf *from = &file[n % FILMS];
        struct buf b = {0};
        struct film f;
        plumb_buf_add(&b, from->data, from->len);
        mutate(&b, &seed);
        if (n % FILMS < 4)
            make_png_sums(&b); /* else the check sums would end every try */
        loaded += decode(b.data, b.len, &f) == 0;
        plumb_film_release(&f);
        plumb_buf_release(&b);
    }
    /* both ways out were taken often */
    assert_true(loaded > each * FILMS / 10 && loaded < each * FILMS * 9 / 10);
}

static void memory_may_run_out_anywhere(void **state)
{
    const struct buf *file = *state;
    for (size_t i = 0; i < FILMS; i++) {
        struct film whole;
        assert_int_equal(decode(file[i].data, file[i].len, &whole), 0);
        int rc = ERR_NOMEM;
        for (long n = 1; rc != 0; n++) {
            struct film f;
            assert_true(n < 1000);
            plumb_mem_fail_after(n);
            rc = decode(file[i].data, file[i].len, &f);
            plumb_mem_fail_after(0);
            assert_true(rc == 0 || rc == ERR_NOMEM);
            /* a film that loads without its orientation for want of memory would be worse */
            assert_true(rc != 0 || (same_film(&f, &whole) && f.orientation == whole.orientation));
            plumb_film_release(&f);
        }
        plumb_film_release(&whole);
    }
}

/* --- nothing is printed ----------------------------------------------------------------------- */

static void all_of_it_again(const struct buf *file)
{
    struct film f;
    for (size_t i = 0; i < BROKEN; i++) {
        char path[256];
        snprintf(path, sizeof path, "%s/%s", folder, broken[i].name);
        plumb_film_load(path, NULL, &f, NULL);
        plumb_film_release(&f);
    }
    for (size_t i = 0; i < FILMS; i++)
        for (size_t len = file[i].len; len > 40; len -= len / 3) {
            decode(file[i].data, len, &f);
            plumb_film_release(&f);
        }
}

static void nothing_is_printed(void **state)
{
    char path[] = "/tmp/plumb-quiet-XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    fflush(NULL);
    int out = dup(STDOUT_FILENO), errors = dup(STDERR_FILENO);
    dup2(fd, STDOUT_FILENO);
    dup2(fd, STDERR_FILENO);
    all_of_it_again(*state);
    fflush(NULL);
    dup2(out, STDOUT_FILENO);
    dup2(errors, STDERR_FILENO);
    assert_int_equal(lseek(fd, 0, SEEK_END), 0);
    close(out);
    close(errors);
    close(fd);
    unlink(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(broken_files_end_as_listed),
        cmocka_unit_test(every_broken_file_is_listed),
        cmocka_unit_test(films_cut_short_are_refused),
        cmocka_unit_test(made_up_pixels_are_refused),
        cmocka_unit_test(mutated_films_are_survived),
        cmocka_unit_test(memory_may_run_out_anywhere),
        cmocka_unit_test(nothing_is_printed),
    };
    return cmocka_run_group_tests(tests, make_films, drop_films);
}
