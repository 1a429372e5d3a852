/*
 * Line and column of the value at a path in a valid JSON text (RFC 8259), for telling where a fault
 * of meaning lies. It walks the text only, without a tree; on a text that is not valid it may find
 * nothing or a wrong place, but never leaves the text.
 */
#include "plumbrule/sheet.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

/* Position and end of the text. */
struct scan {
    const char *at, *end;
};

static void skip_space(struct scan *s)
{
    while (s->at < s->end && strchr(" \t\r\n", *s->at) != NULL && *s->at != '\0')
        s->at++;
}

/* Steps over c if it is next. */
static bool take(struct scan *s, char c)
{
    skip_space(s);
    if (s->at >= s->end || *s->at != c)
        return false;
    s->at++;
    return true;
}

/* Steps over a string; both quotes belong to it. */
static void skip_string(struct scan *s)
{
    for (s->at++; s->at < s->end && *s->at != '"'; s->at++)
        if (*s->at == '\\' && s->at + 1 < s->end)
            s->at++;
    if (s->at < s->end)
        s->at++;
}

/* Steps over a value up to the comma or bracket behind it. */
static void skip_value(struct scan *s)
{
    for (size_t depth = 0; s->at < s->end;) {
        char c = *s->at;
        if (c == '"') {
            skip_string(s);
            continue;
        }
        if (depth == 0 && (c == ',' || c == '}' || c == ']'))
            return;
        if (c == '{' || c == '[')
            depth++;
        else if (c == '}' || c == ']')
            depth--;
        s->at++;
    }
}

/* How much of the path this key takes up; 0 when the path does not go through it. */
static size_t key_match(const char *quoted, size_t len, const char *path)
{
    size_t n = 0;
    json_t *key = json_loadb(quoted, len, JSON_DECODE_ANY, NULL);
    const char *text = json_string_value(key);
    if (text != NULL && text[0] != '\0' && strncmp(path, text, strlen(text)) == 0)
        n = strlen(text);
    json_decref(key);
    return n > 0 && (path[n] == '\0' || path[n] == '.' || path[n] == '[') ? n : 0;
}

/* From inside an object to the value of the path's next key; steps the path on. */
static bool enter_key(struct scan *s, const char **path)
{
    const char *rest = *path + (**path == '.');
    for (;;) {
        skip_space(s);
        if (s->at >= s->end || *s->at != '"')
            return false;
        const char *key = s->at;
        skip_string(s);
        size_t n = key_match(key, (size_t)(s->at - key), rest);
        if (!take(s, ':'))
            return false;
        skip_space(s);
        if (n > 0) {
            *path = rest + n;
            return true;
        }
        skip_value(s);
        if (!take(s, ','))
            return false;
    }
}

/* From inside a list to the element of the path's next index. */
static bool enter_index(struct scan *s, const char **path)
{
    char *after;
    unsigned long i = strtoul(*path + 1, &after, 10);
    if (*after != ']')
        return false;
    for (; i > 0; i--) {
        skip_space(s);
        skip_value(s);
        if (!take(s, ','))
            return false;
    }
    skip_space(s);
    *path = after + 1;
    return s->at < s->end && *s->at != ']';
}

/* Columns count code points, as jansson's do. */
static void count(const char *text, const char *to, size_t *line, size_t *column)
{
    *line = *column = 1;
    for (const char *p = text; p < to; p++) {
        if (*p == '\n') {
            ++*line;
            *column = 1;
        } else if (((unsigned char)*p & 0xC0) != 0x80) {
            ++*column;
        }
    }
}

bool plumb_json_locate(const char *text, size_t len, const char *path, size_t *line, size_t *column)
{
    struct scan s = {text, text + len};
    skip_space(&s);
    while (*path != '\0') {
        bool in_list = *path == '[';
        if (!take(&s, in_list ? '[' : '{') ||
            !(in_list ? enter_index(&s, &path) : enter_key(&s, &path)))
            return false;
    }
    count(text, s.at, line, column);
    return s.at < s.end;
}
