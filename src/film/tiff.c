/*
 * TIFF by libtiff. Strips are read row by row, tiles and separate planes a block at a time;
 * tiff_grey.c makes grey of them. Colour spaces other than grey, RGB, palette and CMYK (YCbCr, CIE
 * L*a*b*, LogLuv) go through the library's own conversion to 8-bit RGB.
 *
 * Limits: sizes of picture, tile and strip are held against the limits before anything is read by
 * them. What counts as damage is decided in tiff_open.c.
 */
#include "film/tiff_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A small film may have tiles larger than itself, up to this many pixels (2048 x 2048). */
static const uint64_t tile_pixels_free = 1 << 22;
/* The most a pixel takes while its block is decoded: colour in floating point, with alpha. */
static const uint64_t bytes_a_pixel_max = 16;
enum { SAMPLES_MAX = 8 }; /* a pixel: four inks and some extra ones */
enum { SIXTEENTHS = 16 }; /* tiles are padded to multiples of 16 pixels */

static int damaged(const struct tiff_reader *r)
{
    return film_damaged(r->job, r->word[0] ? r->word : "a strip or tile is not all there");
}

/* --- tags ------------------------------------------------------------------------------------- */

static int open_page(struct tiff_reader *r)
{
    struct film *f = r->job->film;
    if (!tiff_open(r))
        return damaged(r);
    unsigned asked = r->job->options->page;
    f->pages = tiff_count_pages(r);
    f->page = asked ? asked : 1;
    if (f->pages == 0)
        return film_damaged(r->job, "no page is all there");
    if (f->pages > TIFF_PAGES_MAX)
        return film_damaged(r->job, "pages without end");
    if (f->page > f->pages)
        return plumb_err_set(r->job->err, ERR_ARG, "has %u page%s, not %u: name another page",
                             f->pages, f->pages == 1 ? "" : "s", f->page);
    if (TIFFSetDirectory(r->tif, (tdir_t)(f->page - 1)) != 1)
        return damaged(r);
    if (f->pages > 1)
        film_note(f, "page %u of %u is shown", f->page, f->pages);
    return 0;
}

static uint16_t tag16(const struct tiff_reader *r, uint32_t tag, uint16_t otherwise)
{
    uint16_t v = 0;
    return TIFFGetFieldDefaulted(r->tif, tag, &v) == 1 ? v : otherwise;
}

static void take_resolution(const struct tiff_reader *r)
{
    float x = 0, y = 0;
    bool both = TIFFGetField(r->tif, TIFFTAG_XRESOLUTION, &x) == 1 &&
                TIFFGetField(r->tif, TIFFTAG_YRESOLUTION, &y) == 1;
    uint16_t unit = tag16(r, TIFFTAG_RESOLUTIONUNIT, RESUNIT_INCH);
    if (both)
        r->job->density = (struct film_density){(double)x, (double)y,
                                                unit == RESUNIT_INCH         ? FILM_INCH_UM
                                                : unit == RESUNIT_CENTIMETER ? FILM_CM_UM
                                                                             : 0};
}

/* A file without the tag is read as its other tags suggest, as most readers do. */
static uint16_t guess_photometric(struct tiff_reader *r)
{
    bool fax = r->compression == COMPRESSION_CCITTRLE || r->compression == COMPRESSION_CCITTFAX3 ||
               r->compression == COMPRESSION_CCITTFAX4;
    film_note(r->job->film, "the file does not say whether white or black is zero: %s",
              r->samples >= 3 ? "taken as colour"
              : fax           ? "taken as white"
                              : "taken as black");
    return r->samples >= 3 ? PHOTOMETRIC_RGB
           : fax           ? PHOTOMETRIC_MINISWHITE
                           : PHOTOMETRIC_MINISBLACK;
}

static void take_tags(struct tiff_reader *r)
{
    struct film *f = r->job->film;
    TIFFGetField(r->tif, TIFFTAG_IMAGEWIDTH, &r->width);
    TIFFGetField(r->tif, TIFFTAG_IMAGELENGTH, &r->height);
    r->bits = tag16(r, TIFFTAG_BITSPERSAMPLE, 1);
    r->samples = tag16(r, TIFFTAG_SAMPLESPERPIXEL, 1);
    r->format = tag16(r, TIFFTAG_SAMPLEFORMAT, SAMPLEFORMAT_UINT);
    r->compression = tag16(r, TIFFTAG_COMPRESSION, COMPRESSION_NONE);
    r->separate = r->samples > 1 &&
                  tag16(r, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG) == PLANARCONFIG_SEPARATE;
    r->tiled = TIFFIsTiled(r->tif) != 0;
    if (TIFFGetField(r->tif, TIFFTAG_PHOTOMETRIC, &r->photometric) != 1)
        r->photometric = guess_photometric(r);
    r->inverted = r->photometric == PHOTOMETRIC_MINISWHITE;
    f->orientation = tag16(r, TIFFTAG_ORIENTATION, ORIENTATION_TOPLEFT);
    f->depth = r->bits;
    f->channels = r->samples;
    take_resolution(r);
}

static enum tiff_kind kind_of(struct tiff_reader *r)
{
    switch (r->photometric) {
    case PHOTOMETRIC_MINISWHITE:
    case PHOTOMETRIC_MINISBLACK:
    case PHOTOMETRIC_PALETTE:
        return TIFF_GREY;
    case PHOTOMETRIC_RGB:
        return TIFF_RGB;
    case PHOTOMETRIC_SEPARATED:
        return tag16(r, TIFFTAG_INKSET, INKSET_CMYK) == INKSET_CMYK ? TIFF_CMYK : TIFF_FOREIGN;
    case PHOTOMETRIC_YCBCR:
        /* the JPEG decoder inside can give RGB itself */
        if (r->compression == COMPRESSION_JPEG && !r->separate && r->samples == 3 &&
            TIFFSetField(r->tif, TIFFTAG_JPEGCOLORMODE, JPEGCOLORMODE_RGB) == 1)
            return TIFF_RGB;
        return TIFF_FOREIGN;
    default:
        return TIFF_FOREIGN;
    }
}

static int check_tags(struct tiff_reader *r)
{
    if (!TIFFIsCODECConfigured(r->compression))
        return film_unsupported(r->job, "TIFF with compression %u", r->compression);
    if (r->samples < 1 || r->samples > SAMPLES_MAX)
        return film_unsupported(r->job, "TIFF with %u samples a pixel", r->samples);
    r->kind = kind_of(r);
    unsigned colours = tiff_colours(r);
    if (r->samples < colours)
        return film_damaged(r->job, "too few samples a pixel");
    bool known = r->kind != TIFF_FOREIGN;
    if (known && r->samples > colours)
        film_note_alpha(r->job->film);
    return 0;
}

/* --- blocks ----------------------------------------------------------------------------------- */

static void choose_block(struct tiff_reader *r)
{
    r->block_width = r->width;
    r->block_height = 1;
    /* JBIG gives a strip at once or not at all; rows of separate planes would be decoded from the
     * strip's beginning for each row */
    r->by_row = !r->tiled && !r->separate && r->compression != COMPRESSION_JBIG;
    if (r->tiled) {
        TIFFGetField(r->tif, TIFFTAG_TILEWIDTH, &r->block_width);
        TIFFGetField(r->tif, TIFFTAG_TILELENGTH, &r->block_height);
    } else if (!r->by_row || r->kind == TIFF_FOREIGN) {
        uint32_t rows = 0;
        TIFFGetFieldDefaulted(r->tif, TIFFTAG_ROWSPERSTRIP, &rows);
        r->block_height = rows < r->height ? rows : r->height;
    }
}

static uint64_t padded(uint64_t n)
{
    return (n + SIXTEENTHS - 1) / SIXTEENTHS * SIXTEENTHS;
}

/* Before the library or we take memory by the block's size. */
static int check_block(struct tiff_reader *r)
{
    uint64_t area = (uint64_t)r->block_width * r->block_height;
    uint64_t film = padded(r->width) * padded(r->height);
    if (area == 0)
        return film_damaged(r->job, "an empty strip or tile");
    uint64_t usual = film > tile_pixels_free ? film : tile_pixels_free;
    if (area > usual || area * r->samples * r->bits / 8 > usual * bytes_a_pixel_max)
        return film_damaged(r->job, "a strip or tile far larger than the film");
    return 0;
}

static int take_blocks(struct tiff_reader *r)
{
    r->planes = r->separate ? tiff_colours(r) : 1;
    uint64_t a_row = (uint64_t)r->block_width * (r->separate ? 1 : r->samples) * r->bits;
    r->row_bytes = (size_t)((a_row + 7) / 8);
    r->block_bytes = r->row_bytes * r->block_height;
    tmsize_t row = r->tiled ? TIFFTileRowSize(r->tif) : TIFFScanlineSize(r->tif);
    tmsize_t whole = r->by_row  ? row
                     : r->tiled ? TIFFTileSize(r->tif)
                                : TIFFVStripSize(r->tif, r->block_height);
    if (row != (tmsize_t)r->row_bytes || whole != (tmsize_t)r->block_bytes)
        return film_damaged(r->job, "strip or tile sizes contradict the tags");
    for (unsigned p = 0; p < r->planes; p++) {
        r->block[p] = plumb_mem_array(r->block_bytes, 1, r->job->err);
        if (r->block[p] == NULL)
            return ERR_NOMEM;
    }
    return 0;
}

static int read_block(struct tiff_reader *r, uint32_t x, uint32_t y)
{
    tmsize_t got = 0;
    for (unsigned p = 0; p < r->planes && got >= 0; p++) {
        uint16_t plane = (uint16_t)p;
        if (r->by_row)
            got = TIFFReadScanline(r->tif, r->block[0], y, 0) == 1 ? 0 : -1;
        else if (r->tiled)
            got = TIFFReadTile(r->tif, r->block[p], x, y, 0, plane);
        else
            got = TIFFReadEncodedStrip(r->tif, TIFFComputeStrip(r->tif, y, plane), r->block[p],
                                       (tmsize_t)r->block_bytes);
    }
    return got < 0 || r->damaged ? damaged(r) : 0;
}

static uint32_t clipped(uint32_t from, uint32_t step, uint32_t end)
{
    return step < end - from ? step : end - from;
}

/* Reads every block; `learn` only takes the range of the samples. */
static int walk(struct tiff_reader *r, bool learn)
{
    struct film *f = r->job->film;
    for (uint32_t y = 0; y < r->height; y += clipped(y, r->block_height, r->height))
        for (uint32_t x = 0; x < r->width; x += clipped(x, r->block_width, r->width)) {
            int rc = read_block(r, x, y);
            if (rc != 0)
                return rc;
            uint32_t rows = clipped(y, r->block_height, r->height);
            size_t n = clipped(x, r->block_width, r->width);
            for (uint32_t row = 0; row < rows; row++)
                if (learn)
                    tiff_grey_range(r, row, n);
                else
                    tiff_grey_row(r, row, n, f->grey + (size_t)(y + row) * f->width + x);
        }
    return 0;
}

static void note_range(const struct tiff_reader *r)
{
    film_note(r->job->film, "%u-bit %s samples: %g to %g are shown as black to white", r->bits,
              r->format == SAMPLEFORMAT_IEEEFP ? "floating point"
              : r->format == SAMPLEFORMAT_INT  ? "signed"
                                               : "unsigned",
              r->inverted ? r->hi : r->lo, r->inverted ? r->lo : r->hi);
}

static int read_samples(struct tiff_reader *r)
{
    int rc = take_blocks(r);
    if (rc == 0)
        rc = tiff_grey_prepare(r);
    if (rc == 0 && r->wide) {
        rc = walk(r, true);
        if (rc == 0 && !isfinite(r->lo))
            rc = film_damaged(r->job, "no finite sample");
        if (rc == 0)
            note_range(r);
    }
    return rc == 0 ? walk(r, false) : rc;
}

/* --- colour spaces left to the library -------------------------------------------------------- */

static void take_packed(const struct tiff_reader *r, const uint32_t *packed, uint32_t y,
                        uint32_t rows)
{
    enum { WIDEN = FILM_GREY_MAX / UINT8_MAX };
    uint16_t *to = r->job->film->grey + (size_t)y * r->width;
    for (size_t i = 0; i < (size_t)rows * r->width; i++)
        to[i] = film_luma(TIFFGetR(packed[i]) * WIDEN, TIFFGetG(packed[i]) * WIDEN,
                          TIFFGetB(packed[i]) * WIDEN);
}

static int read_bands(struct tiff_reader *r, TIFFRGBAImage *image)
{
    image->req_orientation = image->orientation; /* stored order; film.c turns it */
    uint32_t band = clipped(0, r->block_height, r->height);
    uint32_t *packed = plumb_mem_array((size_t)r->width * band, sizeof *packed, r->job->err);
    int rc = packed ? 0 : ERR_NOMEM;
    for (uint32_t y = 0; rc == 0 && y < r->height;) {
        uint32_t rows = clipped(y, band, r->height);
        image->row_offset = (int)y;
        if (TIFFRGBAImageGet(image, packed, r->width, rows) != 1 || r->damaged)
            rc = damaged(r);
        else
            take_packed(r, packed, y, rows);
        y += rows;
    }
    free(packed);
    return rc;
}

static int read_foreign(struct tiff_reader *r)
{
    char why[1024] = ""; /* the size the library asks for */
    if (TIFFRGBAImageOK(r->tif, why) != 1)
        return film_unsupported(r->job, "TIFF with colour space %u", r->photometric);
    TIFFRGBAImage image;
    if (TIFFRGBAImageBegin(&image, r->tif, 1, why) != 1)
        return film_damaged(r->job, why);
    int rc = read_bands(r, &image);
    TIFFRGBAImageEnd(&image);
    if (rc == 0)
        film_note(r->job->film, "colour space %u of TIFF: read as 8-bit colour", r->photometric);
    return rc;
}

/* --- all of it -------------------------------------------------------------------------------- */

static int read_all(struct tiff_reader *r)
{
    int rc = open_page(r);
    if (rc != 0)
        return rc;
    take_tags(r);
    rc = check_tags(r);
    if (rc != 0)
        return rc;
    choose_block(r);
    rc = film_take_raster(r->job, r->width, r->height);
    if (rc == 0)
        rc = check_block(r);
    if (rc != 0)
        return rc;
    r->in_pixels = true;
    r->damaged = false; /* errors over tags that were left out are no damage to pixels */
    r->word[0] = '\0';
    return r->kind == TIFF_FOREIGN ? read_foreign(r) : read_samples(r);
}

int film_tiff_read(struct film_job *job)
{
    struct tiff_reader r = {.job = job};
    job->film->format = FILM_TIFF;
    int rc = read_all(&r);
    if (r.tif != NULL)
        TIFFClose(r.tif);
    for (unsigned p = 0; p < TIFF_PLANES; p++)
        free(r.block[p]);
    free(r.tone);
    free(r.line);
    return rc;
}
