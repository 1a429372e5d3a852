/*
 * The annotated picture: the film in its own pixels, ink on it, a margin beside it, as PNG.
 *
 * The film's 16 bits become 8 through one table: the high byte, or, for a film that uses little of
 * its range, a straight line between its 0.1 % and 99.9 % percentiles. The picture is painted in
 * bands of some hundred rows that are handed to the encoder at once, so that its memory does not
 * grow with the film. Limits: cairo's surfaces are at most 32767 px wide.
 */
#include "record/record_internal.h"

#include <stdio.h>
#include <stdlib.h>

static const double window_tail = 0.001; /* of the pixels, left out at either end */
static const double range_used = 0.6;    /* a film that spans so much is shown as it is */
static const size_t sample_most =
    1 << 20; /* pixels looked at for the percentiles: enough for 0.1 % */
static const size_t band_bytes = 1 << 20; /* fits the processor's cache */
static const size_t side_most_px = 32767;
static const double gutter_em = 2.6;
/* An annotated 1400 x 1850 film with its margin (1995 x 2280 px): level 1 takes 78 ms for 2.17 MB,
 * 2 85 ms for 2.06 MB, 3 124 ms for 1.94 MB, 6 346 ms for 1.82 MB. */
static const unsigned level_default = 1;
static const double paper[3] = {0.97, 0.96, 0.93};

enum { GREYS = 65536 };

void plumb_rec_picture_options_default(struct rec_picture_options *o)
{
    *o = (struct rec_picture_options){.legend = true, .level = level_default};
}

/* --- 16 to 8 bits --------------------------------------------------------------------------------
 */

/* The grey below which a share of the counted pixels lies. */
static unsigned percentile(const uint32_t *count, size_t total, double share)
{
    double want = share * (double)total, sum = 0.0;
    unsigned v = 0;
    while (v < GREYS - 1 && (sum += count[v]) <= want)
        v++;
    return v;
}

static int film_window(const struct film *film, unsigned *lo, unsigned *hi, struct err *err)
{
    uint32_t *count = plumb_mem_array(GREYS, sizeof *count, err);
    if (count == NULL)
        return ERR_NOMEM;
    size_t n = film->width * film->height, step = n / sample_most + 1, total = 0;
    for (size_t i = 0; i < n; i += step, total++)
        count[film->grey[i]]++;
    *lo = percentile(count, total, window_tail);
    *hi = percentile(count, total, 1.0 - window_tail);
    free(count);
    return 0;
}

static int make_table(const struct film *film, uint8_t table[GREYS], struct err *err)
{
    unsigned lo, hi;
    int rc = film_window(film, &lo, &hi, err);
    if (rc != 0)
        return rc;
    bool as_it_is = hi <= lo || hi - lo >= (unsigned)(range_used * GREYS);
    for (unsigned v = 0; v < GREYS; v++) {
        double share = as_it_is ? 0.0 : ((double)v - lo) / (hi - lo);
        table[v] = (uint8_t)(as_it_is ? v >> 8 : lround(255.0 * fmin(fmax(share, 0.0), 1.0)));
    }
    return 0;
}

/* --- bands ---------------------------------------------------------------------------------------
 */

struct picture {
    const struct film *film;
    const struct ink *ink;
    size_t width, height;
    uint8_t table[GREYS];
    cairo_surface_t *surface; /* of the band */
    cairo_t *cr;
    size_t rows; /* of a full band */
    size_t band; /* which one is painted; SIZE_MAX: none yet */
    uint8_t *rgb;
};

static uint32_t paper_pixel(void)
{
    uint32_t r = (uint32_t)lround(255.0 * paper[0]), g = (uint32_t)lround(255.0 * paper[1]);
    return r << 16 | g << 8 | (uint32_t)lround(255.0 * paper[2]);
}

static void fill_row(const struct picture *p, size_t y, uint32_t *out)
{
    const struct film *f = p->film;
    size_t x = 0;
    if (y < f->height)
        for (const uint16_t *in = f->grey + y * f->width; x < f->width; x++)
            out[x] = (uint32_t)p->table[in[x]] * 0x010101u;
    for (uint32_t margin = paper_pixel(); x < p->width; x++)
        out[x] = margin;
}

static void paint_band(struct picture *p, size_t band)
{
    size_t y0 = band * p->rows, n = p->height - y0 < p->rows ? p->height - y0 : p->rows;
    size_t stride = (size_t)cairo_image_surface_get_stride(p->surface);
    cairo_surface_flush(p->surface);
    unsigned char *data = cairo_image_surface_get_data(p->surface);
    for (size_t i = 0; i < n; i++)
        fill_row(p, y0 + i, (uint32_t *)(void *)(data + i * stride));
    cairo_surface_mark_dirty(p->surface);
    ink_paint(p->ink, p->cr, (double)y0, (double)n);
    cairo_surface_flush(p->surface);
    p->band = band;
}

static const uint8_t *next_row(void *ctx, size_t y)
{
    struct picture *p = ctx;
    if (y / p->rows != p->band)
        paint_band(p, y / p->rows);
    size_t stride = (size_t)cairo_image_surface_get_stride(p->surface);
    const unsigned char *data = cairo_image_surface_get_data(p->surface);
    const uint32_t *in = (const uint32_t *)(const void *)(data + (y % p->rows) * stride);
    uint8_t *out = p->rgb;
    for (const uint32_t *end = in + p->width; in < end; in++) {
        *out++ = (uint8_t)(*in >> 16);
        *out++ = (uint8_t)(*in >> 8);
        *out++ = (uint8_t)*in;
    }
    return p->rgb;
}

static int picture_room(struct picture *p, struct err *err)
{
    if (p->width > side_most_px || p->height > side_most_px)
        return plumb_err_set(err, ERR_LIMIT,
                             "a picture of %zu x %zu px would be too large: at most %zu a side",
                             p->width, p->height, side_most_px);
    p->rows = band_bytes / (4 * p->width) + 1;
    if (p->rows > p->height)
        p->rows = p->height;
    p->band = SIZE_MAX;
    p->rgb = plumb_mem_array(p->width, 3, err);
    if (p->rgb == NULL)
        return ERR_NOMEM;
    p->surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)p->width, (int)p->rows);
    p->cr = cairo_create(p->surface);
    if (cairo_status(p->cr) != CAIRO_STATUS_SUCCESS)
        return plumb_err_set(err, ERR_NOMEM, "no memory for drawing: close other programs");
    return 0;
}

static void picture_release(struct picture *p)
{
    if (p == NULL)
        return;
    if (p->cr != NULL)
        cairo_destroy(p->cr);
    if (p->surface != NULL)
        cairo_surface_destroy(p->surface);
    free(p->rgb);
    free(p);
}

/* --- the file
 * ------------------------------------------------------------------------------------- */

struct provenance {
    char title[SHEET_NAME + 64], source[SHEET_WORDS + 80];
    struct buf cautions;
};

static int tell_provenance(const struct exam *e, struct provenance *out, struct err *err)
{
    const struct sheet *s = &e->sheet;
    const char *file = s->film.file[0] ? s->film.file : e->film_path ? e->film_path : "";
    char tooth[8] = "";
    if (s->site.tooth != 0)
        plumb_tooth_print(s->site.tooth, s->site.notation, tooth);
    snprintf(out->title, sizeof out->title, "plumbrule record%s%s%s%s%s%s",
             tooth[0] ? ", site " : "", tooth, s->film.taken[0] ? ", " : "", s->film.taken,
             s->film.stage[0] ? ", " : "", s->film.stage);
    snprintf(out->source, sizeof out->source, "%s sha256 %s", plumb_path_base(file),
             e->film.sha256);
    for (size_t i = 0; i < plumb_meas_n_cautions; i++)
        plumb_buf_addf(&out->cautions, "%s%s", i ? " " : "", plumb_meas_cautions[i]);
    return plumb_buf_check(&out->cautions, err);
}

static int write_png(struct picture *p, const struct exam *e, unsigned level, struct file_out *to,
                     struct err *err)
{
    struct provenance told = {0};
    int rc = tell_provenance(e, &told, err);
    if (rc == 0) {
        const struct film_png_text text[] = {{"Title", told.title},
                                             {"Software", "plumbrule " PLUMB_VERSION},
                                             {"Source", told.source},
                                             {"Comment", told.cautions.data}};
        const struct meas_scale *scale = &e->result.scale;
        struct film_png_options o = {.width = p->width,
                                     .height = p->height,
                                     .level = level,
                                     .mm_per_px =
                                         scale->from == SCALE_NONE ? 0.0 : scale->mm_per_px,
                                     .text = text,
                                     .n_text = sizeof text / sizeof text[0]};
        rc = plumb_film_png_write(to, &o, next_row, p, err);
    }
    plumb_buf_release(&told.cautions);
    return rc;
}

int paper_write(const struct ink *ink, const struct film_png_options *o, struct file_out *to,
                struct err *err)
{
    static const struct film none;
    struct picture *p = plumb_mem_array(1, sizeof *p, err);
    if (p == NULL)
        return ERR_NOMEM;
    p->film = &none;
    p->ink = ink;
    p->width = o->width;
    p->height = o->height;
    int rc = picture_room(p, err);
    if (rc == 0)
        rc = plumb_film_png_write(to, o, next_row, p, err);
    picture_release(p);
    return rc;
}

/* Draws the list and tells how large the picture becomes. */
static int draw(const struct exam *e, bool legend, struct ink *ink, size_t *width, size_t *height,
                struct err *err)
{
    struct figure_used used = {0};
    double em = figure_sizes_for(&e->film).em, gutter = legend ? ceil(gutter_em * em) : 0.0;
    double w = 0.0, h = 0.0;
    int rc = figure_draw(e, ink, gutter, !legend, &used, err);
    if (rc == 0 && legend)
        rc = legend_draw(e, &used, ink, (double)e->film.width + gutter, (double)e->film.height, &w,
                         &h, err);
    *width = e->film.width + (size_t)(gutter + ceil(w));
    *height = (size_t)fmax((double)e->film.height, ceil(h));
    return rc;
}

int plumb_rec_picture(const struct exam *e, const struct rec_picture_options *o,
                      struct file_out *to, struct err *err)
{
    struct ink ink = {0};
    struct picture *p = NULL;
    const struct film *film = &e->film;
    if (film->grey == NULL || film->width == 0 || film->height == 0)
        return plumb_err_set(err, ERR_ARG, "no film to draw on: open one first");
    struct box box = {-0.5, -0.5, (double)film->width - 0.5, (double)film->height - 0.5};
    int rc = ink_init(&ink, box, err);
    if (rc != 0)
        goto out;
    p = plumb_mem_array(1, sizeof *p, err);
    if (p == NULL) {
        rc = ERR_NOMEM;
        goto out;
    }
    p->film = film;
    p->ink = &ink;
    rc = draw(e, o->legend, &ink, &p->width, &p->height, err);
    if (rc == 0)
        rc = make_table(film, p->table, err);
    if (rc == 0)
        rc = picture_room(p, err);
    if (rc == 0)
        rc = write_png(p, e, o->level, to, err);
out:
    picture_release(p);
    ink_release(&ink);
    return rc;
}
