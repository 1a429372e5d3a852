/* Checked memory and growing text. Sizes are checked by division before they are multiplied. */
#include "plumbrule/base.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static long fail_after;

void plumb_mem_fail_after(long n)
{
    fail_after = n;
}

static bool must_fail(void)
{
    return fail_after > 0 && --fail_after == 0;
}

static int no_memory(struct err *err, size_t n, size_t size)
{
    return plumb_err_set(err, ERR_NOMEM, "no memory for %zu x %zu bytes: close other programs", n,
                         size);
}

void *plumb_mem_array(size_t n, size_t size, struct err *err)
{
    void *p = NULL;
    if (size == 0 || n <= SIZE_MAX / size)
        p = must_fail() ? NULL : calloc(n ? n : 1, size ? size : 1);
    if (p == NULL)
        no_memory(err, n, size);
    return p;
}

void *plumb_mem_resize(void *old, size_t n, size_t size, struct err *err)
{
    void *p = NULL;
    if (n > 0 && size > 0 && n <= SIZE_MAX / size)
        p = must_fail() ? NULL : realloc(old, n * size);
    if (p == NULL)
        no_memory(err, n, size);
    return p;
}

void plumb_buf_release(struct buf *b)
{
    if (b == NULL)
        return;
    free(b->data);
    *b = (struct buf){0};
}

static bool buf_reserve(struct buf *b, size_t more)
{
    if (b->failed || more >= SIZE_MAX - b->len) {
        b->failed = true;
        return false;
    }
    size_t need = b->len + more + 1;
    if (need <= b->cap)
        return true;
    size_t cap = b->cap < 256 ? 256 : b->cap;
    while (cap < need)
        cap = cap > SIZE_MAX / 2 ? need : cap * 2;
    char *data = plumb_mem_resize(b->data, cap, 1, NULL);
    if (data == NULL) {
        b->failed = true;
        return false;
    }
    b->data = data;
    b->cap = cap;
    return true;
}

void plumb_buf_add(struct buf *b, const void *data, size_t len)
{
    if (!buf_reserve(b, len))
        return;
    if (len > 0)
        memcpy(b->data + b->len, data, len);
    b->len += len;
    b->data[b->len] = '\0';
}

void plumb_buf_addf(struct buf *b, const char *fmt, ...)
{
    va_list ap, again;
    va_start(ap, fmt);
    va_copy(again, ap);
    int n = vsnprintf(NULL, 0, fmt, ap);
    va_end(ap);
    if (n < 0)
        b->failed = true;
    else if (buf_reserve(b, (size_t)n)) {
        vsnprintf(b->data + b->len, (size_t)n + 1, fmt, again);
        b->len += (size_t)n;
    }
    va_end(again);
}

int plumb_buf_check(const struct buf *b, struct err *err)
{
    if (b->failed)
        return plumb_err_set(err, ERR_NOMEM, "no memory for %zu bytes of text", b->len);
    return 0;
}
