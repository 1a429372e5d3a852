/*
 * The handle of a TIFF in memory, and the library's messages. Nothing is printed. While pixels are
 * read every error and every warning but a few harmless ones counts as damage, since several of the
 * library's decoders go on with made-up pixels. Warnings about tags are not errors.
 *
 * Limits: from libtiff 4.5 on messages go by handle and single allocations are bounded; older ones
 * have one handler for the process, which is taken over at the first film.
 */
#include "film/tiff_internal.h"

#include <stdio.h>
#include <string.h>

#define TIFF_PER_HANDLE (TIFFLIB_VERSION >= 20221213) /* 4.5.0: messages and limits per handle */
#if !TIFF_PER_HANDLE
#include <pthread.h>
#endif

static tmsize_t memory_read(thandle_t h, void *to, tmsize_t n)
{
    struct tiff_reader *r = h;
    uint64_t left = r->at < r->job->len ? r->job->len - r->at : 0;
    uint64_t take = n > 0 ? (uint64_t)n : 0;
    take = take < left ? take : left;
    memcpy(to, r->job->data + (left > 0 ? r->at : 0), take);
    r->at += take;
    return (tmsize_t)take;
}

static tmsize_t memory_write(thandle_t h, void *from, tmsize_t n)
{
    (void)h;
    (void)from;
    (void)n;
    return 0;
}

static toff_t memory_seek(thandle_t h, toff_t to, int whence)
{
    struct tiff_reader *r = h;
    r->at = whence == SEEK_CUR ? r->at + to : whence == SEEK_END ? r->job->len + to : to;
    return r->at;
}

static toff_t memory_size(thandle_t h)
{
    const struct tiff_reader *r = h;
    return r->job->len;
}

static int memory_close(thandle_t h)
{
    (void)h;
    return 0;
}

/* The library reads the file in place. It takes a plain pointer but writes only to files that are
 * open for writing. */
static int memory_map(thandle_t h, void **base, toff_t *size)
{
    const struct tiff_reader *r = h;
    memcpy(base, &r->job->data, sizeof *base);
    *size = r->job->len;
    return 1;
}

static void memory_unmap(thandle_t h, void *base, toff_t size)
{
    (void)h;
    (void)base;
    (void)size;
}

static bool harmless(const char *word)
{
    static const char *const known[] = {
        "Old-style LZW",            /* an old way to write the codes, read all the same */
        "encoded with progressive", /* JPEG inside, not as the standard wants it */
        "unknown JFIF revision",
        "Unknown Adobe color transform",
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        if (strstr(word, known[i]) != NULL)
            return true;
    return false;
}

/* The first message is the cause, later ones are its effects. */
__attribute__((format(printf, 3, 0))) static int on_message(struct tiff_reader *r, bool warning,
                                                            const char *fmt, va_list ap)
{
    char word[sizeof r->word];
    vsnprintf(word, sizeof word, fmt, ap);
    word[strcspn(word, ";")] = '\0'; /* what follows are byte counts */
    if (warning && (!r->in_pixels || harmless(word)))
        return 1;
    if (!r->damaged)
        plumb_text_copy(r->word, sizeof r->word, word);
    r->damaged = true;
    return 1;
}

#if TIFF_PER_HANDLE
__attribute__((format(printf, 4, 0))) static int
on_error(TIFF *tif, void *reader, const char *module, const char *fmt, va_list ap)
{
    (void)tif;
    (void)module;
    return on_message(reader, false, fmt, ap);
}

__attribute__((format(printf, 4, 0))) static int
on_warning(TIFF *tif, void *reader, const char *module, const char *fmt, va_list ap)
{
    (void)tif;
    (void)module;
    return on_message(reader, true, fmt, ap);
}

/* A whole strip or tile of the largest film allowed, in the library's 4-byte pixels. */
static const uint64_t single_alloc_a_pixel = 4;

static TIFF *take_handle(struct tiff_reader *r)
{
    TIFFOpenOptions *o = TIFFOpenOptionsAlloc();
    if (o == NULL)
        return NULL;
    uint64_t room = r->job->options->max_pixels;
    room = room < SIZE_MAX / 2 / single_alloc_a_pixel ? room * single_alloc_a_pixel : SIZE_MAX / 2;
    TIFFOpenOptionsSetMaxSingleMemAlloc(o, (tmsize_t)room);
    TIFFOpenOptionsSetErrorHandlerExtR(o, on_error, r);
    TIFFOpenOptionsSetWarningHandlerExtR(o, on_warning, r);
    TIFF *tif = TIFFClientOpenExt("film", "r", r, memory_read, memory_write, memory_seek,
                                  memory_close, memory_size, memory_map, memory_unmap, o);
    TIFFOpenOptionsFree(o);
    return tif;
}
#else
/* Older libraries have one handler for all handles of the process. Ours looks only at messages of
 * the file that its own thread is reading, and keeps silent about the others. */
static _Thread_local struct tiff_reader *reading;

__attribute__((format(printf, 3, 0))) static void on_any_error(thandle_t h, const char *module,
                                                               const char *fmt, va_list ap)
{
    (void)module;
    if (h != NULL && h == reading)
        on_message(reading, false, fmt, ap);
}

__attribute__((format(printf, 3, 0))) static void on_any_warning(thandle_t h, const char *module,
                                                                 const char *fmt, va_list ap)
{
    (void)module;
    if (h != NULL && h == reading)
        on_message(reading, true, fmt, ap);
}

static void take_handlers(void)
{
    TIFFSetErrorHandler(NULL);
    TIFFSetWarningHandler(NULL);
    TIFFSetErrorHandlerExt(on_any_error);
    TIFFSetWarningHandlerExt(on_any_warning);
}

static TIFF *take_handle(struct tiff_reader *r)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_once(&once, take_handlers);
    reading = r;
    return TIFFClientOpen("film", "r", r, memory_read, memory_write, memory_seek, memory_close,
                          memory_size, memory_map, memory_unmap);
}
#endif

bool tiff_open(struct tiff_reader *r)
{
    r->tif = take_handle(r);
    return r->tif != NULL;
}

/* --- pages ------------------------------------------------------------------------------------ */

static uint64_t whole_number(const struct film_job *job, uint64_t at, unsigned bytes)
{
    bool big_endian = job->data[0] == 'M';
    uint64_t v = 0;
    for (unsigned i = 0; i < bytes; i++)
        v = v << 8 | job->data[at + (big_endian ? i : bytes - 1 - i)];
    return v;
}

unsigned tiff_count_pages(const struct tiff_reader *r)
{
    const struct film_job *job = r->job;
    bool large = TIFFIsBigTIFF(r->tif) != 0;
    unsigned offset = large ? 8 : 4, count = large ? 8 : 2, entry = large ? 20 : 12;
    uint64_t at = whole_number(job, large ? 8 : 4, offset);
    unsigned pages = 0;
    while (at != 0 && pages <= TIFF_PAGES_MAX) {
        if (at > job->len || job->len - at < count)
            break;
        uint64_t entries = whole_number(job, at, count), left = job->len - at - count;
        if (left < offset || entries > (left - offset) / entry)
            break;
        at = whole_number(job, at + count + entries * entry, offset);
        pages++;
    }
    return pages;
}
