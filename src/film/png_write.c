/*
 * Writing the annotated picture: 8-bit RGB PNG by libpng, row by row into an atomic file. The same
 * rows give the same bytes: no time chunk, one fixed filter.
 *
 * The filter is the choice that counts for speed; see `filter` below for the figures.
 */
#include "film/film_internal.h"

#include <math.h>
#include <png.h>
#include <setjmp.h>
#include <stdlib.h>
#include <string.h>

/* Bytes gathered before the file is written to; the library hands over pieces of 4 bytes. */
static const size_t gather_bytes = 1 << 17;
/* Compressed bytes in one IDAT chunk. */
static const size_t chunk_bytes = 1 << 16;
/*
 * On a 1400 x 1900 film with 3 grey levels of noise: time and bits a pixel at levels 1, 2, 3, 6 are
 * 63 ms 6.4, 67 ms 5.9, 105 ms 5.1, 359 ms 5.0 with this filter, and 115 ms 6.1, 126 ms 5.7,
 * 168 ms 5.0, 457 ms 5.0 when the library chooses the filter for each row. On real films it is the
 * smallest of all at every level.
 */
static const int filter = PNG_FILTER_UP;
enum { RGB = 3, KEY_MAX = 79 /* bytes of a keyword, PNG 11.3.4.2 */ };

struct png_writer {
    struct file_out *to;
    const struct film_png_options *o;
    png_structp png;
    png_infop info;
    png_text *text;
    uint8_t *gathered;
    size_t n_gathered;
    int rc; /* of our own, when it was not the library that gave up */
    struct err *err;
    char word[96];
    jmp_buf jump;
};

static void on_error(png_structp png, png_const_charp word)
{
    struct png_writer *w = png_get_error_ptr(png);
    plumb_text_copy(w->word, sizeof w->word, word ? word : "error");
    longjmp(w->jump, 1);
}

static void on_warning(png_structp png, png_const_charp word)
{
    (void)png;
    (void)word;
}

static png_voidp take_memory(png_structp png, png_alloc_size_t size)
{
    struct png_writer *w = png_get_mem_ptr(png);
    void *p = plumb_mem_array(size, 1, w->err);
    if (p == NULL)
        w->rc = ERR_NOMEM;
    return p;
}

static void give_memory(png_structp png, png_voidp p)
{
    (void)png;
    free(p);
}

static void flush(struct png_writer *w)
{
    if (w->rc == 0)
        w->rc = plumb_file_out_write(w->to, w->gathered, w->n_gathered, w->err);
    w->n_gathered = 0;
}

static void write_bytes(png_structp png, png_bytep data, size_t len)
{
    struct png_writer *w = png_get_io_ptr(png);
    while (len > 0) {
        size_t room = gather_bytes - w->n_gathered, n = len < room ? len : room;
        memcpy(w->gathered + w->n_gathered, data, n);
        w->n_gathered += n;
        data += n;
        len -= n;
        if (w->n_gathered == gather_bytes)
            flush(w);
        if (w->rc != 0)
            png_error(png, "output failed");
    }
}

static void flush_nothing(png_structp png)
{
    (void)png;
}

/* Latin-1 letters and single spaces inside (PNG 11.3.4.2). */
static bool key_is_sound(const char *key)
{
    size_t n = strlen(key);
    if (n == 0 || n > KEY_MAX || key[0] == ' ' || key[n - 1] == ' ' || strstr(key, "  ") != NULL)
        return false;
    for (size_t i = 0; i < n; i++) {
        unsigned char c = (unsigned char)key[i];
        if (c < 32 || (c > 126 && c < 161))
            return false;
    }
    return true;
}

static bool is_ascii(const char *s)
{
    for (; *s; s++)
        if ((unsigned char)*s > 126)
            return false;
    return true;
}

/* Pixels a metre, 0 for none. */
static uint32_t pixels_a_metre(const struct film_png_options *o)
{
    return o->mm_per_px > 0 ? (uint32_t)fmin(round(1000 / o->mm_per_px), PNG_UINT_31_MAX) : 0;
}

static int check_options(const struct film_png_options *o, struct err *err)
{
    if (o->width == 0 || o->height == 0 || o->width > PNG_UINT_31_MAX / RGB ||
        o->height > PNG_UINT_31_MAX)
        return plumb_err_set(err, ERR_LIMIT, "a picture of %zu x %zu cannot be a PNG", o->width,
                             o->height);
    if (o->level > 9)
        return plumb_err_set(err, ERR_ARG, "deflate level %u: 0 to 9", o->level);
    if (!(o->mm_per_px >= 0) || !isfinite(o->mm_per_px))
        return plumb_err_set(err, ERR_ARG, "a scale of %g mm a pixel", o->mm_per_px);
    for (size_t i = 0; i < o->n_text; i++)
        if (!key_is_sound(o->text[i].key) ||
            !plumb_text_is_utf8(o->text[i].value, strlen(o->text[i].value)))
            return plumb_err_set(err, ERR_ARG, "text %zu cannot go into a PNG", i + 1);
    return 0;
}

static int open_writer(struct png_writer *w)
{
    w->gathered = plumb_mem_array(gather_bytes, 1, w->err);
    w->text = plumb_mem_array(w->o->n_text, sizeof *w->text, w->err);
    if (w->gathered == NULL || w->text == NULL)
        return ERR_NOMEM;
    w->png = png_create_write_struct_2(PNG_LIBPNG_VER_STRING, w, on_error, on_warning, w,
                                       take_memory, give_memory);
    w->info = w->png ? png_create_info_struct(w->png) : NULL;
    if (w->info == NULL)
        return plumb_err_set(w->err, ERR_NOMEM, "no memory to write the picture");
    png_set_write_fn(w->png, w, write_bytes, flush_nothing);
    return 0;
}

/* libpng does not write to what its pointers lead to; its struct only has no const. */
static char *lend(const char *s)
{
    char *p;
    memcpy(&p, &s, sizeof p);
    return p;
}

static void set_text(struct png_writer *w)
{
    for (size_t i = 0; i < w->o->n_text; i++) {
        const struct film_png_text *t = &w->o->text[i];
        w->text[i] = (png_text){.key = lend(t->key), .text = lend(t->value)};
        bool plain = is_ascii(t->value);
        w->text[i].compression = plain ? PNG_TEXT_COMPRESSION_NONE : PNG_ITXT_COMPRESSION_NONE;
        w->text[i].text_length = plain ? strlen(t->value) : 0;
        w->text[i].itxt_length = plain ? 0 : strlen(t->value);
        w->text[i].lang = w->text[i].lang_key = lend("");
    }
    png_set_text(w->png, w->info, w->text, (int)w->o->n_text);
}

static void write_header(struct png_writer *w)
{
    const struct film_png_options *o = w->o;
    png_set_user_limits(w->png, PNG_UINT_31_MAX, PNG_UINT_31_MAX);
    png_set_IHDR(w->png, w->info, (png_uint_32)o->width, (png_uint_32)o->height, 8,
                 PNG_COLOR_TYPE_RGB, PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT,
                 PNG_FILTER_TYPE_DEFAULT);
    png_set_filter(w->png, PNG_FILTER_TYPE_BASE, filter);
    png_set_compression_level(w->png, (int)o->level);
    png_set_compression_buffer_size(w->png, chunk_bytes);
    uint32_t density = pixels_a_metre(o);
    if (density > 0)
        png_set_pHYs(w->png, w->info, density, density, PNG_RESOLUTION_METER);
    set_text(w);
    png_write_info(w->png, w->info);
}

static int write_all(struct png_writer *w, film_png_row row, void *ctx)
{
    int rc = open_writer(w);
    if (rc != 0)
        return rc;
    write_header(w);
    for (size_t y = 0; y < w->o->height; y++) {
        const uint8_t *from = row(ctx, y);
        if (from == NULL)
            return plumb_err_set(w->err, ERR_ARG, "row %zu of the picture is missing", y);
        png_write_row(w->png, from);
    }
    png_write_end(w->png, NULL);
    flush(w);
    return w->rc;
}

/* Nothing local to this function changes after setjmp, so nothing needs to be volatile. */
static int write_guarded(struct png_writer *w, film_png_row row, void *ctx)
{
    if (setjmp(w->jump) != 0)
        return w->rc != 0 ? w->rc
                          : plumb_err_set(w->err, ERR_ARG, "picture not written (%s)", w->word);
    return write_all(w, row, ctx);
}

int plumb_film_png_write(struct file_out *to, const struct film_png_options *o, film_png_row row,
                         void *ctx, struct err *err)
{
    struct png_writer w = {.to = to, .o = o, .err = err};
    int rc = check_options(o, err);
    if (rc == 0)
        rc = write_guarded(&w, row, ctx);
    png_destroy_write_struct(&w.png, &w.info);
    free(w.gathered);
    free(w.text);
    return rc;
}
