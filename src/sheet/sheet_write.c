/*
 * Writing a sheet along the tables of sheet_fields.c: same sheet, same bytes. Keys stand in the
 * tables' order, unknown ones behind them as they were read; what is at its default is left out. A
 * mark stands on one line.
 *
 * What is written can be read: a value in memory that the format cannot hold is refused with its
 * path. Numbers are printed from whole units, so no locale and no printf rounding gets in.
 */
#include "sheet/sheet_internal.h"

#include <stdlib.h>
#include <string.h>

struct writer {
    struct buf *out;
    const struct sheet *sheet;
    struct sheet_path path;
    struct err *err;
    int depth;
};

static int write_object(struct writer *w, const struct table *t, const char *base, json_t *kept);

static int refuse(const struct writer *w, const char *what)
{
    return plumb_err_set(w->err, ERR_ARG, "%s %s", w->path.text, what);
}

/* --- layout -------------------------------------------------------------------------------------
 */

static void put(struct writer *w, const char *s)
{
    plumb_buf_add(w->out, s, strlen(s));
}

static void new_line(struct writer *w)
{
    put(w, "\n");
    for (int i = 0; i < w->depth; i++)
        put(w, "  ");
}

/* Before an item of an object or list, which has so many before it. */
static void begin_item(struct writer *w, size_t before, bool one_line)
{
    if (before > 0)
        put(w, one_line ? ", " : ",");
    if (!one_line)
        new_line(w);
}

static void open_bracket(struct writer *w, const char *bracket)
{
    put(w, bracket);
    w->depth++;
}

static void close_bracket(struct writer *w, const char *bracket, size_t items, bool one_line)
{
    w->depth--;
    if (items > 0 && !one_line)
        new_line(w);
    put(w, bracket);
}

/* --- values -------------------------------------------------------------------------------------
 */

static void write_text(struct writer *w, const char *s)
{
    put(w, "\"");
    for (; *s; s++) {
        if (*s == '"' || *s == '\\')
            put(w, "\\");
        if (*s == '\n' || *s == '\t')
            put(w, *s == '\n' ? "\\n" : "\\t");
        else
            plumb_buf_add(w->out, s, 1);
    }
    put(w, "\"");
}

static int write_checked_text(struct writer *w, const struct field *f, const char *s)
{
    const char *wrong = memchr(s, '\0', f->size) ? sheet_text_fault(f, s) : "has no end";
    if (wrong != NULL)
        return refuse(w, wrong);
    write_text(w, s);
    return 0;
}

static int write_number(struct writer *w, const struct number_kind *k, double x)
{
    if (!sheet_number_fits(k, x))
        return plumb_err_set(w->err, ERR_ARG, "%s is out of range: give %s", w->path.text, k->give);
    long long n = sheet_number_units(k, x), one = 1;
    for (int i = 0; i < k->decimals; i++)
        one *= 10;
    long long whole = llabs(n) / one, rest = llabs(n) % one;
    int decimals = k->decimals;
    for (; decimals > 0 && rest % 10 == 0; decimals--)
        rest /= 10;
    plumb_buf_addf(w->out, "%s%lld", n < 0 ? "-" : "", whole);
    if (decimals > 0)
        plumb_buf_addf(w->out, ".%0*lld", decimals, rest);
    return 0;
}

static int write_word(struct writer *w, const struct field *f, unsigned value)
{
    unsigned n = 0;
    while (f->words[n] != NULL)
        n++;
    if (value >= n)
        return refuse(w, "has no word for its value");
    write_text(w, f->words[value]);
    return 0;
}

static int write_tooth(struct writer *w, int fdi)
{
    char text[8];
    if (!plumb_tooth_valid(fdi))
        return refuse(w, "is no tooth");
    plumb_tooth_print(fdi, w->sheet->site.notation, text);
    write_text(w, text);
    return 0;
}

/* What others wrote comes back as they wrote it: with 15 digits when that says the same number.
 * NULL when memory is out. */
static char *foreign_text(const json_t *v)
{
    char *text = json_dumps(v, JSON_ENCODE_ANY | JSON_REAL_PRECISION(15));
    json_t *again = text ? json_loads(text, JSON_DECODE_ANY, NULL) : NULL;
    if (again == NULL || !json_equal(v, again)) {
        free(text);
        text = again ? json_dumps(v, JSON_ENCODE_ANY | JSON_REAL_PRECISION(17)) : NULL;
    }
    json_decref(again);
    return text;
}

/* Key and value; the key may hold anything that JSON can. */
static int write_foreign(struct writer *w, const char *key, const json_t *v)
{
    json_t *name = json_string(key);
    char *key_text = name ? json_dumps(name, JSON_ENCODE_ANY) : NULL, *text = foreign_text(v);
    int rc = 0;
    if (key_text == NULL || text == NULL)
        rc = plumb_err_set(w->err, ERR_NOMEM, "no memory to write the sheet");
    else
        plumb_buf_addf(w->out, "%s: %s", key_text, text);
    free(key_text);
    free(text);
    json_decref(name);
    return rc;
}

/* --- lists and objects --------------------------------------------------------------------------
 */

static int write_list(struct writer *w, const struct field *f, const char *first, size_t n,
                      json_t *kept)
{
    const struct table *t = sheet_field_table(f);
    const size_t size = f->type == FIELD_LIST ? f->size : sizeof(struct mark);
    int rc = 0;
    open_bracket(w, "[");
    for (size_t i = 0; rc == 0 && i < n; i++) {
        const char *element = first + i * size;
        size_t was = sheet_path_index(&w->path, i);
        begin_item(w, i, false);
        if (f->type == FIELD_PAIR && sheet_object_is_default(t, element))
            put(w, "null");
        else
            rc = write_object(w, t, element, sheet_kept_element(f, kept, i, element));
        sheet_path_cut(&w->path, was);
    }
    close_bracket(w, "]", n, false);
    return rc;
}

static int write_value(struct writer *w, const struct field *f, const char *base, json_t *kept)
{
    const void *place = base + f->offset;
    const struct mark_path *path = place;
    switch (f->type) {
    case FIELD_FORMAT:
        write_text(w, SHEET_FORMAT);
        return 0;
    case FIELD_VERSION:
        plumb_buf_addf(w->out, "%d", SHEET_VERSION);
        return 0;
    case FIELD_TEXT:
    case FIELD_REMARKS:
    case FIELD_DATE:
    case FIELD_DIGEST:
        return write_checked_text(w, f, place);
    case FIELD_TOOTH:
        return write_tooth(w, *(const int *)place);
    case FIELD_WORD:
        return write_word(w, f, *(const unsigned *)place);
    case FIELD_FLAG:
        put(w, *(const bool *)place ? "true" : "false");
        return 0;
    case FIELD_NUMBER:
        return write_number(w, f->number, *(const double *)place);
    case FIELD_COUNT:
        return write_number(w, f->number, *(const int *)place);
    case FIELD_PIXELS:
        return write_number(w, f->number, (double)*(const size_t *)place);
    case FIELD_OBJECT:
    case FIELD_MARK:
        return write_object(w, sheet_field_table(f), place, kept);
    case FIELD_PAIR:
        return write_list(w, f, place, 2, kept);
    case FIELD_PATH:
        return write_list(w, f, (const char *)path->at, path->n, kept);
    case FIELD_LIST:
        return write_list(w, f, place, sheet_list_count(f, base), kept);
    }
    return 0;
}

/* An object that we have nothing to say in may still hold keys of others; a mark may not. */
static bool is_written(const struct field *f, const char *base, json_t *kept)
{
    if (f->flags != 0 || !sheet_field_is_default(f, base))
        return true;
    return f->type == FIELD_OBJECT && !f->sub->has_set && kept != NULL;
}

static void write_key(struct writer *w, const char *key)
{
    write_text(w, key);
    put(w, ": ");
}

static int write_unknown(struct writer *w, const struct table *t, json_t *kept, size_t *items)
{
    const char *key;
    json_t *v;
    int rc = 0;
    json_object_foreach(kept, key, v)
    {
        if (rc != 0 || sheet_table_knows(t, key))
            continue;
        begin_item(w, (*items)++, t->one_line);
        rc = write_foreign(w, key, v);
    }
    return rc;
}

static int write_object(struct writer *w, const struct table *t, const char *base, json_t *kept)
{
    size_t items = 0;
    int rc = 0;
    open_bracket(w, "{");
    for (size_t i = 0; rc == 0 && i < t->n; i++) {
        const struct field *f = &t->field[i];
        json_t *sub = json_object_get(kept, f->key);
        if (!is_written(f, base, sub))
            continue;
        size_t was = sheet_path_key(&w->path, f->key);
        begin_item(w, items++, t->one_line);
        write_key(w, f->key);
        rc = write_value(w, f, base, sub);
        sheet_path_cut(&w->path, was);
    }
    if (rc == 0)
        rc = write_unknown(w, t, kept, &items);
    close_bracket(w, "}", items, t->one_line);
    return rc;
}

int plumb_sheet_print(const struct sheet *s, struct buf *out, struct err *err)
{
    struct writer w = {.out = out, .sheet = s, .err = err};
    int rc = write_object(&w, &sheet_table, (const char *)s, s->kept);
    put(&w, "\n");
    if (rc == 0)
        rc = plumb_buf_check(out, err);
    if (rc != 0)
        plumb_buf_release(out);
    return rc;
}
