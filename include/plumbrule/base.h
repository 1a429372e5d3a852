/*
 * base: what every part stands on - errors told in words, checked memory, growing text, whole-file
 * reading, atomic writing, digest and UTF-8.
 *
 * Ownership (the law of the whole library): inputs are const and borrowed for the call; outputs go
 * into structs of the caller; a returned non-const pointer belongs to the caller. On error an
 * output is left released (zeroed). `x_release` and `x_free` accept zeroed structs and NULL.
 */
#ifndef PLUMBRULE_BASE_H
#define PLUMBRULE_BASE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PLUMB_VERSION "0.1.0"

/* What a fallible function returns: 0, or one of these. */
enum err_code {
    ERR_NOMEM = -1,    /* memory could not be had */
    ERR_IO = -2,       /* the system failed to read or write */
    ERR_FORMAT = -3,   /* the data are damaged, foreign or contradict themselves */
    ERR_LIMIT = -4,    /* larger than is allowed */
    ERR_ARG = -5,      /* the caller asked for something impossible */
    ERR_NOTFOUND = -6, /* no such input file, or nothing of the kind in the film */
    ERR_ILLPOSED = -7, /* the marks do not determine the answer */
    ERR_CREATE = -8    /* an output cannot be created */
};

/* Text is untouched on success. It reads "what is wrong: what to do", lower case, no full stop. */
struct err {
    int code;
    char text[256];
};

/* Writes code and text (err may be NULL) and returns code, so that `return plumb_err_set(...)`. */
int plumb_err_set(struct err *err, int code, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
/* Puts "prefix: " before the text there is; returns err's code (ERR_ARG when err is NULL). */
int plumb_err_prefix(struct err *err, const char *fmt, ...) __attribute__((format(printf, 2, 3)));

/* Zeroed memory for n things of a size; NULL with err set when n*size overflows or memory is out.
 * n = 0 gives a valid pointer. Free with free(). */
void *plumb_mem_array(size_t n, size_t size, struct err *err);
/* As realloc for an array: on failure NULL, err set and `old` is still valid. */
void *plumb_mem_resize(void *old, size_t n, size_t size, struct err *err);
/* For tests: the n-th allocation from now fails (0: never). Not thread-safe by design. */
void plumb_mem_fail_after(long n);

/* Growing bytes. data is NUL-terminated whenever it is not NULL. `failed` is sticky: check once. */
struct buf {
    char *data;
    size_t len, cap;
    bool failed;
};
void plumb_buf_release(struct buf *b);
void plumb_buf_add(struct buf *b, const void *data, size_t len);
void plumb_buf_addf(struct buf *b, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
/* 0, or ERR_NOMEM when an earlier add failed. */
int plumb_buf_check(const struct buf *b, struct err *err);

/* Reads a whole regular file or pipe of at most max bytes; path "-" is standard input. A directory,
 * a missing file and a larger file are refused with the reason. */
int plumb_file_read(const char *path, size_t max, struct buf *out, struct err *err);

/*
 * A file that appears whole or not at all: written beside its place without a name or under a
 * temporary one, synced, then given its own. Without `replace` an existing file is an error
 * (ERR_CREATE) and stays as it was, also when it appears while we write.
 */
struct file_out {
    int fd;
    bool open, replace;
    bool unnamed; /* the file has no name before it is whole */
    char *path, *temp;
};
int plumb_file_out_open(struct file_out *f, const char *path, bool replace, struct err *err);
int plumb_file_out_write(struct file_out *f, const void *data, size_t len, struct err *err);
/* Ends the file and releases f in either case. */
int plumb_file_out_commit(struct file_out *f, struct err *err);
/* Throws the unfinished file away; harmless after commit. */
void plumb_file_out_abort(struct file_out *f);
/* The three in one. */
int plumb_file_write(const char *path, const void *data, size_t len, bool replace, struct err *err);

/* Joins dir and name with one slash; NULL with err when memory is out. */
char *plumb_path_join(const char *dir, const char *name, struct err *err);
/* The part after the last slash; borrowed from path. */
const char *plumb_path_base(const char *path);

/* SHA-256 (FIPS 180-4) as 64 lower-case hex digits and a NUL. */
void plumb_digest_sha256(const void *data, size_t len, char hex[65]);

/* Is it well-formed UTF-8 (no surrogates, no overlong forms, at most U+10FFFF)? */
bool plumb_text_is_utf8(const char *s, size_t len);
/* Number of code points; s must be valid. */
size_t plumb_text_length(const char *s);
/* Copies s into dst of size n, cut at a code point's edge; returns false when it was cut. */
bool plumb_text_copy(char *dst, size_t n, const char *s);

#endif
