/*
 * EXIF by libexif: orientation and resolution of the main picture (IFD 0), nothing else. The data
 * are read as they stand (the library would otherwise add default tags, 72 dpi among them).
 * Limits: maker notes and thumbnails are left alone.
 */
#include "film/film_internal.h"

#include <libexif/exif-data.h>
#include <stdlib.h>
#include <string.h>

static const uint8_t exif_header[6] = {'E', 'x', 'i', 'f', 0, 0};
enum { EXIF_INCH = 2, EXIF_CM = 3 }; /* values of ResolutionUnit */

static const ExifEntry *entry_of(const ExifData *d, ExifTag tag, ExifFormat format, unsigned bytes)
{
    const ExifEntry *e = exif_content_get_entry(d->ifd[EXIF_IFD_0], tag);
    bool sound = e && e->data && e->format == format && e->components >= 1 && e->size >= bytes;
    return sound ? e : NULL;
}

static double rational_of(const ExifData *d, ExifByteOrder order, ExifTag tag)
{
    const ExifEntry *e = entry_of(d, tag, EXIF_FORMAT_RATIONAL, 8);
    if (e == NULL)
        return 0;
    ExifRational r = exif_get_rational(e->data, order);
    return r.denominator ? (double)r.numerator / (double)r.denominator : 0;
}

static unsigned short_of(const ExifData *d, ExifByteOrder order, ExifTag tag, unsigned otherwise)
{
    const ExifEntry *e = entry_of(d, tag, EXIF_FORMAT_SHORT, 2);
    return e ? exif_get_short(e->data, order) : otherwise;
}

static void take_tags(ExifData *d, unsigned *orientation, struct film_density *density)
{
    ExifByteOrder order = exif_data_get_byte_order(d);
    *orientation = short_of(d, order, EXIF_TAG_ORIENTATION, *orientation);
    unsigned unit = short_of(d, order, EXIF_TAG_RESOLUTION_UNIT, EXIF_INCH);
    struct film_density found = {.x = rational_of(d, order, EXIF_TAG_X_RESOLUTION),
                                 .y = rational_of(d, order, EXIF_TAG_Y_RESOLUTION),
                                 .unit_um = unit == EXIF_INCH ? FILM_INCH_UM
                                            : unit == EXIF_CM ? FILM_CM_UM
                                                              : 0};
    if (found.x > 0 && found.y > 0)
        *density = found;
}

int film_exif_read(const uint8_t *data, size_t len, unsigned *orientation,
                   struct film_density *density, struct err *err)
{
    bool has_header = len >= sizeof exif_header && memcmp(data, exif_header, 6) == 0;
    size_t lead = has_header ? 0 : sizeof exif_header;
    if (len > UINT32_MAX - lead)
        return 0;
    uint8_t *whole = plumb_mem_array(lead + len, 1, err);
    ExifData *d = exif_data_new();
    if (whole != NULL && d != NULL) {
        memcpy(whole, exif_header, lead);
        memcpy(whole + lead, data, len);
        exif_data_unset_option(d, EXIF_DATA_OPTION_FOLLOW_SPECIFICATION);
        exif_data_load_data(d, whole, (unsigned)(lead + len));
        take_tags(d, orientation, density);
    }
    int rc = whole != NULL && d != NULL ? 0 : ERR_NOMEM;
    if (whole != NULL && d == NULL)
        plumb_err_set(err, rc, "no memory for the EXIF data: close other programs");
    if (d != NULL)
        exif_data_unref(d);
    free(whole);
    return rc;
}
