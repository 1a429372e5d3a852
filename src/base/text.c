/* UTF-8 (RFC 3629) and path pieces. */
#include "plumbrule/base.h"

#include <stdio.h>
#include <string.h>

/* Length of the code point at s, 0 when it is not well formed. */
static size_t utf8_step(const unsigned char *s, size_t left)
{
    if (s[0] < 0x80)
        return 1;
    size_t n = s[0] >= 0xF0 ? 4 : s[0] >= 0xE0 ? 3 : 2;
    if (s[0] < 0xC2 || s[0] > 0xF4 || left < n)
        return 0;
    for (size_t i = 1; i < n; i++)
        if ((s[i] & 0xC0) != 0x80)
            return 0;
    bool overlong = (s[0] == 0xE0 && s[1] < 0xA0) || (s[0] == 0xF0 && s[1] < 0x90);
    bool surrogate = s[0] == 0xED && s[1] > 0x9F;
    bool beyond = s[0] == 0xF4 && s[1] > 0x8F;
    return overlong || surrogate || beyond ? 0 : n;
}

bool plumb_text_is_utf8(const char *s, size_t len)
{
    const unsigned char *p = (const unsigned char *)s;
    for (size_t i = 0; i < len;) {
        size_t n = utf8_step(p + i, len - i);
        if (n == 0)
            return false;
        i += n;
    }
    return true;
}

size_t plumb_text_length(const char *s)
{
    size_t n = 0;
    for (; *s; s++)
        n += ((unsigned char)*s & 0xC0) != 0x80;
    return n;
}

bool plumb_text_copy(char *dst, size_t n, const char *s)
{
    size_t len = strlen(s);
    bool whole = len < n;
    if (!whole) {
        len = n - 1;
        while (len > 0 && ((unsigned char)s[len] & 0xC0) == 0x80)
            len--;
    }
    memmove(dst, s, len);
    dst[len] = '\0';
    return whole;
}

const char *plumb_path_base(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

char *plumb_path_join(const char *dir, const char *name, struct err *err)
{
    size_t d = strlen(dir), n = strlen(name);
    char *out = plumb_mem_array(d + n + 2, 1, err);
    if (out == NULL)
        return NULL;
    const char *slash = d == 0 || dir[d - 1] == '/' ? "" : "/";
    snprintf(out, d + n + 2, "%s%s%s", dir, slash, name);
    return out;
}
