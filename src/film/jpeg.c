/*
 * JPEG by libjpeg-turbo. Grey and YCbCr give their luma channel as stored (for YCbCr that is the
 * Rec. 601 luma itself, without a way through RGB), RGB its luma, CMYK and YCCK the light that the
 * inks leave; inks are inverted in files with the Adobe marker, as that maker's programs write
 * them. Orientation and resolution from EXIF; a JFIF resolution with a unit wins over EXIF's.
 *
 * Limits: what the library merely warns of ("premature end", "corrupt data") is an error here,
 * since a film with made-up grey in it must not be measured. Progressive files may have so many
 * scans and no more (each costs a walk over the whole picture). 8 bit only.
 */
#include "film/film_internal.h"

#include <limits.h>
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <jpeglib.h>
#include <jerror.h>

/* Real progressive files have about 10 scans; all that could help a coder is 64 coefficients in
 * turn. */
enum { SCANS_MAX = 100 };
/* Coefficients of a progressive file: 2 bytes for each of at most 4 components, blocks padded. */
static const uint64_t bytes_a_pixel_max = 16;
static const uint64_t working_bytes = 16 << 20;
enum { COMPONENTS_MAX = 4 };

struct jpeg_reader {
    struct jpeg_decompress_struct lib; /* first, see reader_of */
    struct jpeg_error_mgr errors;
    struct jpeg_progress_mgr progress;
    struct film_job *job;
    JSAMPLE *row;
    char word[JMSG_LENGTH_MAX];
    int why; /* the library's message number */
    jmp_buf jump;
};

static struct jpeg_reader *reader_of(j_common_ptr lib)
{
    return lib->client_data;
}

static void give_up(j_common_ptr lib)
{
    struct jpeg_reader *r = reader_of(lib);
    r->why = lib->err->msg_code;
    lib->err->format_message(lib, r->word);
    longjmp(r->jump, 1);
}

/* Level -1 is a warning: the data are wrong and the library is about to make something up. */
static void on_message(j_common_ptr lib, int level)
{
    int code = lib->err->msg_code;
    bool harmless = code == JWRN_JFIF_MAJOR || code == JWRN_ADOBE_XFORM;
    if (level < 0 && !harmless)
        give_up(lib);
}

static void on_output(j_common_ptr lib)
{
    (void)lib;
}

static void on_progress(j_common_ptr lib)
{
    struct jpeg_reader *r = reader_of(lib);
    if (r->lib.input_scan_number <= SCANS_MAX)
        return;
    snprintf(r->word, sizeof r->word, "more than %d scans", SCANS_MAX);
    longjmp(r->jump, 1);
}

static void open_reader(struct jpeg_reader *r)
{
    r->lib.err = jpeg_std_error(&r->errors);
    r->errors.error_exit = give_up;
    r->errors.emit_message = on_message;
    r->errors.output_message = on_output;
    r->lib.client_data = r;
    jpeg_create_decompress(&r->lib);
    r->progress.progress_monitor = on_progress;
    r->lib.progress = &r->progress;
    enum { MARKER_BYTES = 0xFFFF };
    jpeg_save_markers(&r->lib, JPEG_APP0 + 1, MARKER_BYTES);
    jpeg_mem_src(&r->lib, r->job->data, (unsigned long)r->job->len);
}

static int take_resolution(struct jpeg_reader *r)
{
    struct film_job *job = r->job;
    int rc = 0;
    for (jpeg_saved_marker_ptr m = r->lib.marker_list; m != NULL; m = m->next)
        if (m->data_length > 6 && memcmp(m->data, "Exif\0", 6) == 0) {
            rc = film_exif_read(m->data, m->data_length, &job->film->orientation, &job->density,
                                job->err);
            break;
        }
    static const double unit_um[] = {0, FILM_INCH_UM, FILM_CM_UM};
    bool has_unit = r->lib.density_unit == 1 || r->lib.density_unit == 2;
    if (r->lib.saw_JFIF_marker && (has_unit || job->density.x == 0))
        job->density = (struct film_density){r->lib.X_density, r->lib.Y_density,
                                             has_unit ? unit_um[r->lib.density_unit] : 0};
    return rc;
}

static int choose_output(struct jpeg_reader *r)
{
    switch (r->lib.jpeg_color_space) {
    case JCS_GRAYSCALE:
    case JCS_YCbCr:
        r->lib.out_color_space = JCS_GRAYSCALE;
        return 0;
    case JCS_RGB:
        r->lib.out_color_space = JCS_RGB;
        return 0;
    case JCS_CMYK:
    case JCS_YCCK:
        r->lib.out_color_space = JCS_CMYK;
        return 0;
    default:
        return film_unsupported(r->job, "JPEG with %d colour components", r->lib.num_components);
    }
}

static int take_header(struct jpeg_reader *r)
{
    struct film_job *job = r->job;
    jpeg_read_header(&r->lib, TRUE);
    if (r->lib.num_components > COMPONENTS_MAX)
        return film_unsupported(job, "JPEG with %d colour components", r->lib.num_components);
    int rc = choose_output(r);
    if (rc == 0)
        rc = film_take_raster(job, r->lib.image_width, r->lib.image_height);
    if (rc != 0)
        return rc;
    job->film->depth = (unsigned)r->lib.data_precision;
    job->film->channels = (unsigned)r->lib.num_components;
    uint64_t pixels = (uint64_t)job->film->width * job->film->height;
    uint64_t room = working_bytes + pixels * bytes_a_pixel_max;
    r->lib.mem->max_memory_to_use = room < LONG_MAX ? (long)room : LONG_MAX;
    r->lib.dct_method = JDCT_ISLOW;    /* the exact one: same grey on every machine */
    r->lib.do_block_smoothing = FALSE; /* would invent grey between blocks */
    return take_resolution(r);
}

static uint16_t wide(JSAMPLE v)
{
    return film_scale(v, MAXJSAMPLE);
}

static uint16_t ink_grey(const struct jpeg_reader *r, const JSAMPLE *s)
{
    uint32_t light[COMPONENTS_MAX];
    for (int c = 0; c < COMPONENTS_MAX; c++)
        light[c] = wide(r->lib.saw_Adobe_marker ? s[c] : (JSAMPLE)(MAXJSAMPLE - s[c]));
    return film_luma(film_through(light[0], light[3]), film_through(light[1], light[3]),
                     film_through(light[2], light[3]));
}

static void take_row(const struct jpeg_reader *r, uint16_t *to, size_t n)
{
    const JSAMPLE *s = r->row;
    switch (r->lib.out_color_space) {
    case JCS_RGB:
        for (size_t i = 0; i < n; i++, s += 3)
            to[i] = film_luma(wide(s[0]), wide(s[1]), wide(s[2]));
        return;
    case JCS_CMYK:
        for (size_t i = 0; i < n; i++, s += COMPONENTS_MAX)
            to[i] = ink_grey(r, s);
        return;
    default:
        for (size_t i = 0; i < n; i++)
            to[i] = wide(s[i]);
    }
}

static int read_all(struct jpeg_reader *r)
{
    struct film *f = r->job->film;
    open_reader(r);
    int rc = take_header(r);
    if (rc != 0)
        return rc;
    r->row = plumb_mem_array(f->width, COMPONENTS_MAX, r->job->err);
    if (r->row == NULL)
        return ERR_NOMEM;
    jpeg_start_decompress(&r->lib);
    while (r->lib.output_scanline < r->lib.output_height) {
        uint16_t *to = f->grey + (size_t)r->lib.output_scanline * f->width;
        jpeg_read_scanlines(&r->lib, &r->row, 1);
        take_row(r, to, f->width);
    }
    jpeg_finish_decompress(&r->lib); /* to the end marker: a file cut before it is cut */
    return 0;
}

static int explain(const struct jpeg_reader *r)
{
    switch (r->why) {
    case JERR_OUT_OF_MEMORY:
        return film_no_memory(r->job);
    case JERR_NO_BACKING_STORE:
        return plumb_err_set(r->job->err, ERR_LIMIT,
                             "needs more memory than a film of its size should: "
                             "export it as baseline JPEG, PNG or TIFF");
    case JERR_BAD_PRECISION:
    case JERR_SOF_UNSUPPORTED:
    case JERR_CONVERSION_NOTIMPL:
    case JERR_ARITH_NOTIMPL:
        return film_unsupported(r->job, "JPEG of a rare kind (%s)", r->word);
    default:
        return film_damaged(r->job, r->word);
    }
}

/* Nothing local to this function changes after setjmp, so nothing needs to be volatile. */
static int read_guarded(struct jpeg_reader *r)
{
    if (setjmp(r->jump) != 0)
        return explain(r);
    return read_all(r);
}

int film_jpeg_read(struct film_job *job)
{
    struct jpeg_reader r = {.job = job};
    job->film->format = FILM_JPEG;
    int rc = read_guarded(&r);
    jpeg_destroy_decompress(&r.lib);
    free(r.row);
    return rc;
}
