/* Errors told in words. A text that is too long is cut between two code points. */
#include "plumbrule/base.h"

#include <stdarg.h>
#include <stdio.h>

int plumb_err_set(struct err *err, int code, const char *fmt, ...)
{
    if (err == NULL)
        return code;
    char longer[2 * sizeof err->text];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(longer, sizeof longer, fmt, ap);
    va_end(ap);
    plumb_text_copy(err->text, sizeof err->text, longer);
    err->code = code;
    return code;
}

int plumb_err_prefix(struct err *err, const char *fmt, ...)
{
    if (err == NULL)
        return ERR_ARG;
    char old[sizeof err->text], prefix[128], longer[2 * sizeof prefix];
    plumb_text_copy(old, sizeof old, err->text);
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(longer, sizeof longer, fmt, ap);
    va_end(ap);
    plumb_text_copy(prefix, sizeof prefix, longer);
    char joined[sizeof old + sizeof prefix + 2];
    snprintf(joined, sizeof joined, "%s: %s", prefix, old);
    plumb_text_copy(err->text, sizeof err->text, joined);
    return err->code;
}
