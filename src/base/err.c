/* Errors told in words. */
#include "plumbrule/base.h"

#include <stdarg.h>
#include <stdio.h>

int plumb_err_set(struct err *err, int code, const char *fmt, ...)
{
    if (err == NULL)
        return code;
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(err->text, sizeof err->text, fmt, ap);
    va_end(ap);
    err->code = code;
    return code;
}

int plumb_err_prefix(struct err *err, const char *fmt, ...)
{
    if (err == NULL)
        return ERR_ARG;
    char old[sizeof err->text], prefix[128];
    plumb_text_copy(old, sizeof old, err->text);
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(prefix, sizeof prefix, fmt, ap);
    va_end(ap);
    char joined[sizeof old + sizeof prefix + 2];
    snprintf(joined, sizeof joined, "%s: %s", prefix, old);
    plumb_text_copy(err->text, sizeof err->text, joined);
    return err->code;
}
