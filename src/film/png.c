/*
 * PNG by libpng. The library's transformations bring every colour type and depth to rows of one or
 * three 16-bit samples; grey rows land straight in the raster, coloured ones go through luma. The
 * passes of an interlaced file are scattered row by row, so that no second picture is held.
 *
 * Limits: chunks that hold neither pixels nor resolution nor orientation are not read at all (no
 * colour profiles, no texts), the others only up to a size. Gamma and profiles are not applied: a
 * film's grey values are taken as stored. A palette or colour key is expanded, transparency is not
 * looked at.
 */
#include "film/film_internal.h"

#include <png.h>
#include <setjmp.h>
#include <stdlib.h>
#include <string.h>

/* An eXIf chunk is at most 64 KiB in practice (the limit of JPEG, from where it comes). */
static const png_alloc_size_t chunk_bytes_max = 1 << 20;
static const png_uint_32 chunk_count_max = 1000;
/* Bytes of compressed data taken at a time; the library's 8 KiB cost calls for nothing. */
static const size_t gulp_bytes = 1 << 16;

struct png_reader {
    struct film_job *job;
    png_structp png;
    png_infop info;
    size_t at;     /* next byte of the file */
    uint16_t *row; /* one row of a pass, where it cannot land in the raster */
    unsigned channels;
    bool no_memory;
    char word[96];
    jmp_buf jump;
};

/* A pass of interlacing: where its first pixel lies, and its pixels' distance. */
struct png_pass {
    size_t x0, y0, dx, dy, columns, rows;
};

static void on_error(png_structp png, png_const_charp word)
{
    struct png_reader *r = png_get_error_ptr(png);
    plumb_text_copy(r->word, sizeof r->word, word ? word : "error");
    longjmp(r->jump, 1);
}

/* Warnings are about chunks that hold no pixels. */
static void on_warning(png_structp png, png_const_charp word)
{
    (void)png;
    (void)word;
}

static png_voidp take_memory(png_structp png, png_alloc_size_t size)
{
    struct png_reader *r = png_get_mem_ptr(png);
    void *p = plumb_mem_array(size, 1, NULL);
    r->no_memory |= p == NULL;
    return p;
}

static void give_memory(png_structp png, png_voidp p)
{
    (void)png;
    free(p);
}

static void read_bytes(png_structp png, png_bytep to, size_t n)
{
    struct png_reader *r = png_get_io_ptr(png);
    if (n > r->job->len - r->at)
        png_error(png, "the file ends too early");
    memcpy(to, r->job->data + r->at, n);
    r->at += n;
}

static int open_reader(struct png_reader *r)
{
    r->png = png_create_read_struct_2(PNG_LIBPNG_VER_STRING, r, on_error, on_warning, r,
                                      take_memory, give_memory);
    r->info = r->png ? png_create_info_struct(r->png) : NULL;
    if (r->info == NULL)
        return film_no_memory(r->job);
    png_set_read_fn(r->png, r, read_bytes);
    /* film_take_raster holds the size against the limit, and says so in better words */
    png_set_user_limits(r->png, PNG_UINT_31_MAX, PNG_UINT_31_MAX);
    png_set_chunk_cache_max(r->png, chunk_count_max);
    png_set_chunk_malloc_max(r->png, chunk_bytes_max);
    png_set_compression_buffer_size(r->png, gulp_bytes);
    png_set_keep_unknown_chunks(r->png, PNG_HANDLE_CHUNK_NEVER, NULL, -1);
    static const png_byte wanted[] = "pHYs\0eXIf"; /* names of 4 letters and a NUL each */
    png_set_keep_unknown_chunks(r->png, PNG_HANDLE_CHUNK_AS_DEFAULT, wanted, 2);
    return 0;
}

static int take_resolution(struct png_reader *r)
{
    struct film_job *job = r->job;
#ifdef PNG_eXIf_SUPPORTED
    png_uint_32 n = 0;
    png_bytep exif = NULL;
    if (png_get_eXIf_1(r->png, r->info, &n, &exif) != 0 && exif != NULL) {
        int rc = film_exif_read(exif, n, &job->film->orientation, &job->density, job->err);
        if (rc != 0)
            return rc;
    }
#endif
    png_uint_32 x = 0, y = 0;
    int unit = PNG_RESOLUTION_UNKNOWN;
    if (png_get_pHYs(r->png, r->info, &x, &y, &unit) != 0)
        job->density =
            (struct film_density){x, y, unit == PNG_RESOLUTION_METER ? FILM_METRE_UM : 0};
    return 0;
}

/* Rows of 16-bit samples in the machine's byte order, without alpha. */
static void set_transformations(struct png_reader *r)
{
    const uint16_t one = 1;
    png_set_expand_16(r->png);
    png_set_strip_alpha(r->png);
    if (*(const uint8_t *)&one == 1)
        png_set_swap(r->png);
    png_read_update_info(r->png, r->info);
    r->channels = png_get_channels(r->png, r->info);
}

static int take_header(struct png_reader *r)
{
    struct film *f = r->job->film;
    png_read_info(r->png, r->info);
    int rc = film_take_raster(r->job, png_get_image_width(r->png, r->info),
                              png_get_image_height(r->png, r->info));
    if (rc != 0)
        return rc;
    f->depth = png_get_bit_depth(r->png, r->info);
    f->channels = png_get_channels(r->png, r->info);
    bool key = png_get_valid(r->png, r->info, PNG_INFO_tRNS) != 0;
    if (key || (png_get_color_type(r->png, r->info) & PNG_COLOR_MASK_ALPHA) != 0)
        film_note_alpha(f);
    rc = take_resolution(r);
    if (rc != 0)
        return rc;
    set_transformations(r);
    if (r->channels != 1 && r->channels != 3)
        return film_damaged(r->job, "unexpected samples");
    r->row = plumb_mem_array(f->width * r->channels, sizeof *r->row, r->job->err);
    return r->row ? 0 : ERR_NOMEM;
}

static size_t steps(size_t n, size_t from, size_t step)
{
    return n > from ? (n - from - 1) / step + 1 : 0;
}

static struct png_pass pass_of(const struct film *f, bool interlaced, int pass)
{
    static const struct png_pass whole = {.dx = 1, .dy = 1};
    static const struct png_pass adam7[PNG_INTERLACE_ADAM7_PASSES] = {
        /* PNG, clause 8.2 */
        {.x0 = 0, .y0 = 0, .dx = 8, .dy = 8}, {.x0 = 4, .y0 = 0, .dx = 8, .dy = 8},
        {.x0 = 0, .y0 = 4, .dx = 4, .dy = 8}, {.x0 = 2, .y0 = 0, .dx = 4, .dy = 4},
        {.x0 = 0, .y0 = 2, .dx = 2, .dy = 4}, {.x0 = 1, .y0 = 0, .dx = 2, .dy = 2},
        {.x0 = 0, .y0 = 1, .dx = 1, .dy = 2}};
    struct png_pass p = interlaced ? adam7[pass] : whole;
    p.columns = steps(f->width, p.x0, p.dx);
    p.rows = steps(f->height, p.y0, p.dy);
    return p;
}

static void scatter(const struct png_reader *r, const struct png_pass *p, uint16_t *to)
{
    const uint16_t *s = r->row;
    if (r->channels == 1)
        for (size_t i = 0; i < p->columns; i++)
            to[i * p->dx] = s[i];
    else
        for (size_t i = 0; i < p->columns; i++)
            to[i * p->dx] = film_luma(s[3 * i], s[3 * i + 1], s[3 * i + 2]);
}

static void read_pass(struct png_reader *r, const struct png_pass *p)
{
    struct film *f = r->job->film;
    for (size_t i = 0; i < p->rows; i++) {
        uint16_t *to = f->grey + (p->y0 + i * p->dy) * f->width + p->x0;
        if (r->channels == 1 && p->dx == 1 && p->x0 == 0) {
            png_read_row(r->png, (png_bytep)to, NULL);
            continue;
        }
        png_read_row(r->png, (png_bytep)r->row, NULL);
        scatter(r, p, to);
    }
}

static int read_all(struct png_reader *r)
{
    int rc = open_reader(r);
    if (rc == 0)
        rc = take_header(r);
    if (rc != 0)
        return rc;
    bool interlaced = png_get_interlace_type(r->png, r->info) != PNG_INTERLACE_NONE;
    for (int pass = 0; pass < (interlaced ? PNG_INTERLACE_ADAM7_PASSES : 1); pass++) {
        struct png_pass p = pass_of(r->job->film, interlaced, pass);
        if (p.columns > 0)
            read_pass(r, &p);
    }
    png_read_end(r->png, NULL); /* to IEND: a file cut after the pixels is cut all the same */
    return 0;
}

/* Nothing local to this function changes after setjmp, so nothing needs to be volatile. */
static int read_guarded(struct png_reader *r)
{
    if (setjmp(r->jump) != 0)
        return r->no_memory ? film_no_memory(r->job) : film_damaged(r->job, r->word);
    int rc = read_all(r);
    /* the library does without a chunk that it has no memory for; the orientation may be in it */
    return rc == 0 && r->no_memory ? film_no_memory(r->job) : rc;
}

int film_png_read(struct film_job *job)
{
    struct png_reader r = {.job = job};
    job->film->format = FILM_PNG;
    int rc = read_guarded(&r);
    png_destroy_read_struct(&r.png, &r.info, NULL);
    free(r.row);
    return rc;
}
