/*
 * Files that are no film: their kind by the first bytes, so that the message can name it. Only for
 * telling; nothing is decoded here.
 */
#include "film/film_internal.h"

#include <string.h>

struct magic {
    size_t at;
    const char *bytes;
    size_t len;
    const char *kind;
};

#define MAGIC(at, bytes, kind)                                                                     \
    {                                                                                              \
        at, bytes, sizeof(bytes) - 1, kind                                                         \
    }

static const struct magic known[] = {
    MAGIC(128, "DICM", "a DICOM file"),
    MAGIC(0, "%PDF", "a PDF document"),
    MAGIC(0, "PK\x03\x04", "a ZIP archive (or an office document)"),
    MAGIC(0, "BM", "a BMP image"),
    MAGIC(0, "GIF8", "a GIF image"),
    MAGIC(8, "WEBP", "a WebP image"),
    MAGIC(4, "ftypheic", "a HEIC image"),
    MAGIC(4, "ftypheix", "a HEIC image"),
    MAGIC(4, "ftypmif1", "a HEIF image"),
    MAGIC(4, "ftypmsf1", "a HEIF image"),
    MAGIC(4, "ftypavif", "an AVIF image"),
    MAGIC(4, "ftyp", "a video"),
    MAGIC(0, "\0\0\0\x0CjP  ", "a JPEG 2000 image"),
    MAGIC(0, "\xFF\x4F\xFF\x51", "a JPEG 2000 image"),
    MAGIC(0, "\0\0\0\x0CJXL ", "a JPEG XL image"),
    MAGIC(0, "\xFF\x0A", "a JPEG XL image"),
    MAGIC(0, "8BPS", "a layered image of a picture editor"),
    MAGIC(0, "\x1F\x8B", "a gzip archive"),
    MAGIC(0, "7z\xBC\xAF\x27\x1C", "a 7z archive"),
    MAGIC(0, "Rar!", "a RAR archive"),
    MAGIC(0, "\xD0\xCF\x11\xE0", "an office document"),
    MAGIC(0,
          "\x7F"
          "ELF",
          "a program"),
};

static bool looks_like_text(const uint8_t *data, size_t len)
{
    enum { PROBE = 512 }; /* bytes; longer than any header that happens to be all text */
    size_t n = len < PROBE ? len : PROBE;
    for (size_t i = 0; i < n; i++)
        if (data[i] < ' ' && !(data[i] >= '\t' && data[i] <= '\r'))
            return false;
    /* the probe may cut a code point in two */
    for (size_t cut = 0; cut < 4 && cut < n; cut++)
        if (plumb_text_is_utf8((const char *)data, n - cut))
            return true;
    return false;
}

const char *film_foreign_kind(const uint8_t *data, size_t len)
{
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        const struct magic *m = &known[i];
        if (len >= m->at + m->len && memcmp(data + m->at, m->bytes, m->len) == 0)
            return m->kind;
    }
    return looks_like_text(data, len) ? "a text file" : NULL;
}
