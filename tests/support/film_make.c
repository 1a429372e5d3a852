/* Small image files made in memory; see film_make.h. */
#include "tests/support/film_make.h"

#include <math.h>
#include <png.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <jpeglib.h>
#include <tiffio.h>

static void must(bool good, const char *what)
{
    if (good)
        return;
    fprintf(stderr, "film_make: %s failed\n", what);
    exit(1);
}

static void *take(size_t n)
{
    void *p = calloc(n ? n : 1, 1);
    must(p != NULL, "memory");
    return p;
}

double make_pattern(size_t x, size_t y, unsigned c, double max)
{
    if (x == 0 && y == 0)
        return c == 1 ? 0 : max;
    if (x == 1 && y == 0)
        return c == 1 ? max : 0;
    return fmod((double)(x * x * 31 + y * 517 + x * y * 7 + c * 1999 + x), max + 1);
}

double make_grey(size_t x, size_t y, unsigned c, double max)
{
    (void)c;
    return make_pattern(x, y, 0, max);
}

double make_smooth(size_t x, size_t y, unsigned c, double max)
{
    double a = 0.5 + 0.3 * sin(0.11 * (double)x + c) + 0.15 * cos(0.07 * (double)y);
    return round(a * max);
}

double make_max(unsigned bits)
{
    return ldexp(1, (int)bits) - 1;
}

uint16_t make_scaled(uint64_t v, uint64_t max)
{
    return (uint16_t)((2 * v * 65535 + max) / (2 * max));
}

uint16_t make_luma(uint64_t r, uint64_t g, uint64_t b)
{
    return (uint16_t)((2 * (299 * r + 587 * g + 114 * b) + 1000) / 2000);
}

/* Puts `bits` bits of v at bit position `at`, most significant first; 16 bits and more as the
 * machine has them when `native`. */
static void put_bits(uint8_t *to, size_t at, unsigned bits, uint64_t v)
{
    for (unsigned i = 0; i < bits; i++)
        if (v >> (bits - 1 - i) & 1)
            to[(at + i) / 8] |= (uint8_t)(0x80 >> (at + i) % 8);
}

/* --- PNG -------------------------------------------------------------------------------------- */

uint8_t make_palette(size_t i, unsigned c)
{
    return (uint8_t)(i * 37 + c * 91 + i * c * 5);
}

static void png_out(png_structp png, png_bytep data, size_t n)
{
    plumb_buf_add(png_get_io_ptr(png), data, n);
}

static void png_flush_out(png_structp png)
{
    (void)png;
}

static unsigned png_samples(int colour_type)
{
    return colour_type == PNG_COLOR_TYPE_RGB          ? 3
           : colour_type == PNG_COLOR_TYPE_RGB_ALPHA  ? 4
           : colour_type == PNG_COLOR_TYPE_GRAY_ALPHA ? 2
                                                      : 1;
}

static void png_head(const struct make_png *p, png_structp png, png_infop info)
{
    png_set_IHDR(png, info, p->width, p->height, p->depth, p->colour_type,
                 p->interlaced ? PNG_INTERLACE_ADAM7 : PNG_INTERLACE_NONE, 0, 0);
    png_color palette[256];
    for (size_t i = 0; i < 256; i++)
        palette[i] = (png_color){make_palette(i, 0), make_palette(i, 1), make_palette(i, 2)};
    if (p->colour_type == PNG_COLOR_TYPE_PALETTE)
        png_set_PLTE(png, info, palette, 1 << p->depth);
    if (p->x_density != 0)
        png_set_pHYs(png, info, p->x_density, p->y_density,
                     p->metre ? PNG_RESOLUTION_METER : PNG_RESOLUTION_UNKNOWN);
    png_color_16 key = {.gray = 1, .red = 1, .green = 1, .blue = 1};
    png_byte alpha[2] = {0, 128};
    if (p->colour_key)
        png_set_tRNS(png, info, alpha, 2, &key);
    if (p->exif != NULL) { /* PNG has no "Exif" header in its chunk */
        png_bytep bytes = take(p->exif->len);
        memcpy(bytes, p->exif->data + 6, p->exif->len - 6);
        png_set_eXIf_1(png, info, (png_uint_32)(p->exif->len - 6), bytes);
        free(bytes);
    }
    png_write_info(png, info);
}

void make_png(const struct make_png *p, struct buf *out)
{
    png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, NULL, NULL, NULL);
    png_infop info = png_create_info_struct(png);
    png_set_write_fn(png, out, png_out, png_flush_out);
    png_head(p, png, info);
    unsigned samples = png_samples(p->colour_type), bits = (unsigned)p->depth;
    size_t bytes = ((size_t)p->width * samples * bits + 7) / 8;
    uint8_t **row = take(p->height * sizeof *row);
    for (size_t y = 0; y < p->height; y++) {
        row[y] = take(bytes);
        for (size_t x = 0; x < p->width; x++)
            for (unsigned c = 0; c < samples; c++)
                put_bits(row[y], (x * samples + c) * bits, bits,
                         (uint64_t)p->sample(x, y, c, make_max(bits)));
    }
    png_write_image(png, row);
    png_write_end(png, NULL);
    for (size_t y = 0; y < p->height; y++)
        free(row[y]);
    free(row);
    png_destroy_write_struct(&png, &info);
}

static uint32_t be32(const uint8_t *p)
{
    return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
}

/* CRC-32 of the PNG standard (annex D), bit by bit. */
static uint32_t crc32_of(const uint8_t *p, size_t n)
{
    uint32_t crc = 0xFFFFFFFF;
    for (size_t i = 0; i < n; i++) {
        crc ^= p[i];
        for (int k = 0; k < 8; k++)
            crc = crc & 1 ? 0xEDB88320 ^ crc >> 1 : crc >> 1;
    }
    return ~crc;
}

void make_png_sums(struct buf *file)
{
    uint8_t *p = (uint8_t *)file->data;
    for (size_t at = 8; at + 12 <= file->len;) {
        size_t n = be32(p + at);
        if (n > file->len - at - 12)
            return;
        uint32_t crc = crc32_of(p + at + 4, n + 4);
        for (int k = 0; k < 4; k++)
            p[at + 8 + n + (size_t)k] = (uint8_t)(crc >> (24 - 8 * k));
        at += n + 12;
    }
}

/* --- TIFF ------------------------------------------------------------------------------------- */

struct memory {
    uint8_t *data;
    size_t len, cap, at;
};

static tmsize_t memory_read(thandle_t h, void *to, tmsize_t n)
{
    struct memory *m = h;
    size_t left = m->at < m->len ? m->len - m->at : 0, k = (size_t)n < left ? (size_t)n : left;
    memcpy(to, m->data + (k ? m->at : 0), k);
    m->at += k;
    return (tmsize_t)k;
}

static tmsize_t memory_write(thandle_t h, void *from, tmsize_t n)
{
    struct memory *m = h;
    size_t end = m->at + (size_t)n;
    if (end > m->cap) {
        m->cap = 2 * end;
        m->data = realloc(m->data, m->cap);
        must(m->data != NULL, "memory");
    }
    if (m->at > m->len)
        memset(m->data + m->len, 0, m->at - m->len);
    memcpy(m->data + m->at, from, (size_t)n);
    m->at = end;
    m->len = end > m->len ? end : m->len;
    return n;
}

static toff_t memory_seek(thandle_t h, toff_t to, int whence)
{
    struct memory *m = h;
    m->at = (size_t)(whence == SEEK_SET ? to : whence == SEEK_CUR ? m->at + to : m->len + to);
    return m->at;
}

static int memory_close(thandle_t h)
{
    (void)h;
    return 0;
}

static toff_t memory_size(thandle_t h)
{
    return ((struct memory *)h)->len;
}

uint16_t make_tiff_palette(size_t i, unsigned c)
{
    return (uint16_t)(i * 2741 + c * 9001 + i * c * 77);
}

static void put_sample(const struct make_tiff *t, uint8_t *row, size_t i, double v)
{
    if (t->format == SAMPLEFORMAT_IEEEFP && t->bits == 64) {
        memcpy(row + 8 * i, &v, 8);
    } else if (t->format == SAMPLEFORMAT_IEEEFP && t->bits == 32) {
        float f = (float)v;
        memcpy(row + 4 * i, &f, 4);
    } else if (t->bits == 32) {
        uint32_t u = t->format == SAMPLEFORMAT_INT ? (uint32_t)(int32_t)v : (uint32_t)v;
        memcpy(row + 4 * i, &u, 4);
    } else if (t->bits == 16) {
        uint16_t u = (uint16_t)(int32_t)v;
        memcpy(row + 2 * i, &u, 2);
    } else {
        put_bits(row, i * t->bits, t->bits, (uint64_t)(int64_t)v);
    }
}

/* The samples of w x h pixels from (x0,y0); plane < 0: of all channels, else of that one. */
static void fill_block(const struct make_tiff *t, uint8_t *to, size_t row_bytes, size_t w,
                       const size_t from[2], size_t h, int plane)
{
    unsigned n = plane < 0 ? t->samples : 1;
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++)
            for (unsigned c = 0; c < n; c++)
                put_sample(t, to + y * row_bytes, x * n + c,
                           t->sample(from[0] + x, from[1] + y, plane < 0 ? c : (unsigned)plane,
                                     make_max(t->bits)));
}

static void write_plane(const struct make_tiff *t, TIFF *tif, int plane)
{
    size_t w = t->tile ? t->tile : t->width;
    size_t h = t->tile ? t->tile : t->rows ? t->rows : t->height;
    size_t row_bytes = (w * (plane < 0 ? t->samples : 1) * t->bits + 7) / 8;
    for (size_t y = 0; y < t->height; y += h)
        for (size_t x = 0; x < t->width; x += w) {
            size_t rows = t->tile || y + h <= t->height ? h : t->height - y;
            uint8_t *block = take(row_bytes * rows);
            fill_block(t, block, row_bytes, w, (const size_t[2]){x, y}, rows, plane);
            uint16_t p = (uint16_t)(plane < 0 ? 0 : plane);
            uint32_t index = t->tile ? TIFFComputeTile(tif, (uint32_t)x, (uint32_t)y, 0, p)
                                     : TIFFComputeStrip(tif, (uint32_t)y, p);
            tmsize_t n = (tmsize_t)(row_bytes * rows);
            tmsize_t put = t->tile ? TIFFWriteEncodedTile(tif, index, block, n)
                                   : TIFFWriteEncodedStrip(tif, index, block, n);
            must(put >= 0, "writing TIFF samples");
            free(block);
        }
}

static void tiff_map(const struct make_tiff *t, TIFF *tif)
{
    size_t n = (size_t)1 << t->bits;
    uint16_t *map[3];
    for (unsigned c = 0; c < 3; c++) {
        map[c] = take(n * sizeof *map[c]);
        for (size_t i = 0; i < n; i++)
            map[c][i] = (uint16_t)(t->narrow_map ? make_palette(i, c) : make_tiff_palette(i, c));
    }
    TIFFSetField(tif, TIFFTAG_COLORMAP, map[0], map[1], map[2]);
    for (unsigned c = 0; c < 3; c++)
        free(map[c]);
}

static void tiff_tags(const struct make_tiff *t, TIFF *tif)
{
    TIFFSetField(tif, TIFFTAG_IMAGEWIDTH, t->width);
    TIFFSetField(tif, TIFFTAG_IMAGELENGTH, t->height);
    TIFFSetField(tif, TIFFTAG_BITSPERSAMPLE, t->bits);
    TIFFSetField(tif, TIFFTAG_SAMPLESPERPIXEL, t->samples);
    TIFFSetField(tif, TIFFTAG_COMPRESSION, t->compression ? t->compression : COMPRESSION_NONE);
    TIFFSetField(tif, TIFFTAG_PLANARCONFIG,
                 t->separate ? PLANARCONFIG_SEPARATE : PLANARCONFIG_CONTIG);
    if (t->format != 0)
        TIFFSetField(tif, TIFFTAG_SAMPLEFORMAT, t->format);
    if (!t->no_photometric)
        TIFFSetField(tif, TIFFTAG_PHOTOMETRIC, t->photometric);
    if (t->predictor != 0)
        TIFFSetField(tif, TIFFTAG_PREDICTOR, t->predictor);
    if (t->lsb_first)
        TIFFSetField(tif, TIFFTAG_FILLORDER, FILLORDER_LSB2MSB);
    static const uint16_t unspecified[8] = {0};
    if (t->extra != 0)
        TIFFSetField(tif, TIFFTAG_EXTRASAMPLES, t->extra, unspecified);
    if (t->tile != 0) {
        TIFFSetField(tif, TIFFTAG_TILEWIDTH, t->tile);
        TIFFSetField(tif, TIFFTAG_TILELENGTH, t->tile);
    } else {
        TIFFSetField(tif, TIFFTAG_ROWSPERSTRIP, t->rows ? t->rows : t->height);
    }
    if (t->orientation != 0)
        TIFFSetField(tif, TIFFTAG_ORIENTATION, (uint16_t)t->orientation);
    if (t->unit != 0) {
        TIFFSetField(tif, TIFFTAG_XRESOLUTION, t->x_density);
        TIFFSetField(tif, TIFFTAG_YRESOLUTION, t->y_density);
        TIFFSetField(tif, TIFFTAG_RESOLUTIONUNIT, (uint16_t)t->unit);
    }
    if (t->photometric == PHOTOMETRIC_PALETTE)
        tiff_map(t, tif);
    if (t->compression == COMPRESSION_JPEG && t->photometric == PHOTOMETRIC_YCBCR)
        TIFFSetField(tif, TIFFTAG_JPEGCOLORMODE, JPEGCOLORMODE_RGB);
}

void make_tiff(const struct make_tiff *t, struct buf *out)
{
    struct memory m = {0};
    /* the library's warning of old Deflate numbers; put back, so that tests see what others print
     */
    TIFFErrorHandler loud = TIFFSetWarningHandler(NULL);
    TIFF *tif = TIFFClientOpen("made", t->mode, &m, memory_read, memory_write, memory_seek,
                               memory_close, memory_size, NULL, NULL);
    must(tif != NULL, "opening TIFF");
    for (unsigned page = 0; page < (t->pages ? t->pages : 1); page++) {
        struct make_tiff one = *t;
        one.width += page;
        tiff_tags(&one, tif);
        if (t->separate)
            for (int c = 0; c < t->samples; c++)
                write_plane(&one, tif, c);
        else
            write_plane(&one, tif, -1);
        must(TIFFWriteDirectory(tif) == 1, "writing the TIFF directory");
    }
    TIFFClose(tif);
    TIFFSetWarningHandler(loud);
    plumb_buf_add(out, m.data, m.len);
    free(m.data);
}

/* --- JPEG ------------------------------------------------------------------------------------- */

static void jpeg_rows(const struct make_jpeg *j, struct jpeg_compress_struct *c)
{
    size_t n = (size_t)j->components;
    JSAMPLE *row = take(j->width * n);
    for (size_t y = 0; y < j->height; y++) {
        for (size_t x = 0; x < j->width; x++)
            for (unsigned k = 0; k < n; k++)
                row[x * n + k] = (JSAMPLE)j->sample(x, y, k, 255);
        jpeg_write_scanlines(c, &row, 1);
    }
    free(row);
}

static void jpeg_space(const struct make_jpeg *j, struct jpeg_compress_struct *c)
{
    c->in_color_space = j->components == 1   ? JCS_GRAYSCALE
                        : j->components == 3 ? JCS_RGB
                                             : JCS_CMYK;
    jpeg_set_defaults(c);
    if (j->rgb)
        jpeg_set_colorspace(c, JCS_RGB);
    if (j->components == 4)
        jpeg_set_colorspace(c, j->ycck ? JCS_YCCK : JCS_CMYK);
    if (j->components == 4)
        c->write_Adobe_marker = j->ycck || j->adobe;
    c->comp_info[0].h_samp_factor = c->comp_info[0].v_samp_factor = 1;
    if (j->ycck)
        c->comp_info[3].h_samp_factor = c->comp_info[3].v_samp_factor = 1;
}

void make_jpeg(const struct make_jpeg *j, struct buf *out)
{
    struct jpeg_compress_struct c;
    struct jpeg_error_mgr errors;
    c.err = jpeg_std_error(&errors);
    jpeg_create_compress(&c);
    unsigned char *bytes = NULL;
    unsigned long n = 0;
    jpeg_mem_dest(&c, &bytes, &n);
    c.image_width = j->width;
    c.image_height = j->height;
    c.input_components = j->components;
    jpeg_space(j, &c);
    jpeg_set_quality(&c, j->quality ? j->quality : 100, TRUE);
    c.dct_method = JDCT_ISLOW;
    if (j->progressive)
        jpeg_simple_progression(&c);
    static const jpeg_scan_info apart[] = {
        {1, {0}, 0, 63, 0, 0}, {1, {1}, 0, 63, 0, 0}, {1, {2}, 0, 63, 0, 0}};
    if (j->apart) {
        c.scan_info = apart;
        c.num_scans = j->components;
    }
    c.write_JFIF_header = !j->no_jfif && j->components != 4 && !j->rgb;
    c.density_unit = (UINT8)j->jfif_unit;
    c.X_density = (UINT16)(j->x_density ? j->x_density : 1);
    c.Y_density = (UINT16)(j->y_density ? j->y_density : 1);
    jpeg_start_compress(&c, TRUE);
    if (j->exif != NULL)
        jpeg_write_marker(&c, JPEG_APP0 + 1, (const JOCTET *)j->exif->data, (unsigned)j->exif->len);
    jpeg_rows(j, &c);
    jpeg_finish_compress(&c);
    jpeg_destroy_compress(&c);
    plumb_buf_add(out, bytes, n);
    free(bytes);
}

/* --- EXIF ------------------------------------------------------------------------------------- */

static void put(struct buf *out, bool big_endian, unsigned bytes, uint32_t v)
{
    for (unsigned i = 0; i < bytes; i++) {
        uint8_t b = (uint8_t)(v >> 8 * (big_endian ? bytes - 1 - i : i));
        plumb_buf_add(out, &b, 1);
    }
}

/* One entry of an image file directory (TIFF 6.0, section 2); a SHORT sits left in its 4 bytes. */
static void put_entry(struct buf *out, bool big, unsigned tag, unsigned type, uint32_t value)
{
    enum { SHORT = 3 };
    put(out, big, 2, tag);
    put(out, big, 2, type);
    put(out, big, 4, 1);
    put(out, big, type == SHORT ? 2 : 4, value);
    if (type == SHORT)
        put(out, big, 2, 0);
}

void make_exif(bool big, unsigned orientation, unsigned x_density, unsigned y_density,
               unsigned unit, struct buf *out)
{
    enum { SHORT = 3, RATIONAL = 5 };
    unsigned entries = (orientation ? 1u : 0u) + (unit ? 3u : 0u);
    uint32_t after = 8 + 2 + 12 * entries + 4; /* where the rationals lie */
    plumb_buf_add(out, "Exif\0", 6);
    plumb_buf_add(out, big ? "MM" : "II", 2);
    put(out, big, 2, 42);
    put(out, big, 4, 8);
    put(out, big, 2, entries);
    if (orientation)
        put_entry(out, big, 0x0112, SHORT, orientation);
    if (unit) {
        put_entry(out, big, 0x011A, RATIONAL, after);
        put_entry(out, big, 0x011B, RATIONAL, after + 8);
        put_entry(out, big, 0x0128, SHORT, unit);
    }
    put(out, big, 4, 0);
    put(out, big, 4, x_density * 10);
    put(out, big, 4, 10);
    put(out, big, 4, y_density * 10);
    put(out, big, 4, 10);
}
