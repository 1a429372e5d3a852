/*
 * Reading a sheet: JSON by jansson, then field by field along the tables of sheet_fields.c. A fault
 * is told with line and column: jansson's where the JSON itself is broken, else those of the value
 * that cannot be (locate.c).
 *
 * Untrusted input: length and number of values are bounded before jansson takes memory for them,
 * nesting is bounded by jansson. null for a key that may be left out means: left out.
 */
#include "sheet/sheet_internal.h"

#include <jansson.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* Twice what a sheet with every path full needs; keeps the tree of a hostile file below 60 MB. */
enum { BRACKETS_MAX = 50000, VALUES_MAX = 200000, UNKNOWN_NOTES_MAX = 20 };

struct reader {
    const char *text;
    size_t len;
    struct sheet *sheet;
    struct sheet_path path;
    struct sheet_notes *notes;
    size_t n_unknown;
    struct err *err;
};

static int read_object(struct reader *r, const struct table *t, json_t *v, char *base);

/* --- faults -------------------------------------------------------------------------------------
 */

/* A key that is missing is told at the object it is missing from. */
static bool locate_nearest(const struct reader *r, size_t *line, size_t *column)
{
    char path[sizeof r->path.text];
    plumb_text_copy(path, sizeof path, r->path.text);
    while (!plumb_json_locate(r->text, r->len, path, line, column)) {
        size_t n = strlen(path);
        if (n == 0)
            return false;
        while (n > 0 && path[n - 1] != '.' && path[n - 1] != '[')
            n--;
        path[n > 0 ? n - 1 : 0] = '\0';
    }
    return true;
}

static int fault(struct reader *r, const char *fmt, ...) __attribute__((format(printf, 2, 3)));

/* "line L, column C: PATH WHAT" */
static int fault(struct reader *r, const char *fmt, ...)
{
    char what[200];
    size_t line = 1, column = 1;
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(what, sizeof what, fmt, ap);
    va_end(ap);
    locate_nearest(r, &line, &column);
    return plumb_err_set(r->err, ERR_FORMAT, "line %zu, column %zu: %s %s", line, column,
                         r->path.len > 0 ? r->path.text : "the document", what);
}

/* --- values -------------------------------------------------------------------------------------
 */

static int read_format(struct reader *r, const json_t *v)
{
    const char *format = json_string_value(v);
    if (format == NULL || strcmp(format, SHEET_FORMAT) != 0)
        return fault(r, "is not \"%s\": this is no sheet", SHEET_FORMAT);
    return 0;
}

static int read_version(struct reader *r, const json_t *v)
{
    long long version = json_integer_value(v);
    if (!json_is_integer(v) || version < 1)
        return fault(r, "is no version: give %d", SHEET_VERSION);
    if (version > SHEET_VERSION)
        return fault(r, "%lld is newer than this program reads: update the program", version);
    return 0;
}

static int read_text(struct reader *r, const struct field *f, const json_t *v, char *out)
{
    const char *text = json_string_value(v);
    if (text == NULL)
        return fault(r, "is not a text: put it in quotes");
    if (strlen(text) >= f->size)
        return fault(r, "is too long: at most %zu bytes, it has %zu", f->size - 1, strlen(text));
    const char *wrong = sheet_text_fault(f, text);
    if (wrong != NULL)
        return fault(r, "%s", wrong);
    plumb_text_copy(out, f->size, text);
    return 0;
}

static int read_tooth(struct reader *r, const json_t *v, int *out)
{
    const char *text = json_string_value(v);
    struct err why = {0};
    if (text == NULL)
        return fault(r, "is not a text: put the tooth's number in quotes");
    if (text[0] == '\0')
        return 0;
    if (plumb_tooth_parse(text, r->sheet->site.notation, out, &why) != 0)
        return fault(r, "%s", why.text);
    return 0;
}

/* "length or across" */
static void list_words(const char *const *words, char *out, size_t size)
{
    out[0] = '\0';
    for (const char *const *w = words; *w != NULL; w++) {
        size_t n = strlen(out);
        if (**w != '\0')
            snprintf(out + n, size - n, "%s%s", n == 0 ? "" : w[1] != NULL ? ", " : " or ", *w);
    }
}

static int read_word(struct reader *r, const struct field *f, const json_t *v, unsigned *out)
{
    const char *text = json_string_value(v);
    for (unsigned i = 0; text != NULL && f->words[i] != NULL; i++)
        if (strcmp(text, f->words[i]) == 0) {
            *out = i;
            return 0;
        }
    char words[80];
    list_words(f->words, words, sizeof words);
    return fault(r, "is none of the words it may be: give %s", words);
}

static int read_flag(struct reader *r, const json_t *v, bool *out)
{
    if (!json_is_boolean(v))
        return fault(r, "is neither true nor false: give one of them, without quotes");
    *out = json_is_true(v);
    return 0;
}

static int read_number(struct reader *r, const struct field *f, const json_t *v, double *out)
{
    const struct number_kind *k = f->number;
    if (!json_is_number(v) || (k->decimals == 0 && !json_is_integer(v)))
        return fault(r, "is not a %snumber: give %s", k->decimals == 0 ? "whole " : "", k->give);
    double x = json_number_value(v);
    if (x == 0.0 && k->zero_is_unstated && !(f->flags & FIELD_REQUIRED))
        return 0;
    if (!sheet_number_fits(k, x))
        return fault(r, "is out of range: give %s", k->give);
    *out = sheet_number_round(k, x);
    return 0;
}

/* --- marks and lists ----------------------------------------------------------------------------
 */

static int read_pair(struct reader *r, json_t *v, struct mark *out)
{
    if (!json_is_array(v) || json_array_size(v) != 2)
        return fault(r, "is not a list of two marks: give [{\"x\": ..., \"y\": ...}, {...}]");
    int rc = 0;
    for (size_t i = 0; rc == 0 && i < 2; i++) {
        json_t *mark = json_array_get(v, i);
        if (json_is_null(mark))
            continue;
        size_t was = sheet_path_index(&r->path, i);
        rc = read_object(r, &sheet_mark_table, mark, (char *)&out[i]);
        sheet_path_cut(&r->path, was);
    }
    return rc;
}

static int check_length(struct reader *r, const json_t *v, size_t max, const char *of)
{
    if (!json_is_array(v))
        return fault(r, "is not a list: give [%s, ...]", of);
    if (json_array_size(v) > max)
        return fault(r, "is too long: at most %zu entries, it has %zu", max, json_array_size(v));
    return 0;
}

static int read_path(struct reader *r, json_t *v, struct mark_path *out)
{
    int rc = check_length(r, v, SHEET_PATH, sheet_mark_table.what);
    size_t n = json_array_size(v);
    if (rc != 0 || n == 0)
        return rc;
    out->at = plumb_mem_array(n, sizeof *out->at, r->err);
    if (out->at == NULL)
        return ERR_NOMEM;
    for (out->n = 0; rc == 0 && out->n < n; out->n++) {
        size_t was = sheet_path_index(&r->path, out->n);
        rc = read_object(r, &sheet_mark_table, json_array_get(v, out->n), (char *)&out->at[out->n]);
        sheet_path_cut(&r->path, was);
    }
    return rc;
}

static int read_list(struct reader *r, const struct field *f, json_t *v, char *base)
{
    int rc = check_length(r, v, f->max, f->sub->what);
    size_t *n = (size_t *)(void *)(base + f->count_offset);
    for (*n = 0; rc == 0 && *n < json_array_size(v);) {
        size_t was = sheet_path_index(&r->path, *n);
        char *element = base + f->offset + *n * f->size;
        ++*n; /* before it is read, so that on a fault its paths are released */
        rc = read_object(r, f->sub, json_array_get(v, *n - 1), element);
        sheet_path_cut(&r->path, was);
    }
    return rc;
}

/* --- objects ------------------------------------------------------------------------------------
 */

static int read_value(struct reader *r, const struct field *f, json_t *v, char *base)
{
    void *place = base + f->offset;
    double number = 0.0;
    int rc;
    switch (f->type) {
    case FIELD_FORMAT:
        return read_format(r, v);
    case FIELD_VERSION:
        return read_version(r, v);
    case FIELD_TEXT:
    case FIELD_REMARKS:
    case FIELD_DATE:
    case FIELD_DIGEST:
        return read_text(r, f, v, place);
    case FIELD_TOOTH:
        return read_tooth(r, v, place);
    case FIELD_WORD:
        return read_word(r, f, v, place);
    case FIELD_FLAG:
        return read_flag(r, v, place);
    case FIELD_NUMBER:
        return read_number(r, f, v, place);
    case FIELD_COUNT:
        rc = read_number(r, f, v, &number);
        *(int *)place = (int)number;
        return rc;
    case FIELD_PIXELS:
        rc = read_number(r, f, v, &number);
        *(size_t *)place = (size_t)number;
        return rc;
    case FIELD_OBJECT:
        return read_object(r, f->sub, v, place);
    case FIELD_MARK:
        return read_object(r, &sheet_mark_table, v, place);
    case FIELD_PAIR:
        return read_pair(r, v, place);
    case FIELD_PATH:
        return read_path(r, v, place);
    case FIELD_LIST:
        return read_list(r, f, v, base);
    }
    return 0;
}

static int read_field(struct reader *r, const struct field *f, const json_t *object, char *base)
{
    json_t *v = json_object_get(object, f->key);
    if (v == NULL && !(f->flags & FIELD_REQUIRED))
        return 0;
    int rc = 0;
    size_t was = sheet_path_key(&r->path, f->key);
    if (v == NULL)
        rc = fault(r, "is missing: %s", f->type == FIELD_FORMAT ? "this is no sheet" : "add it");
    else if (!json_is_null(v) || (f->flags & FIELD_REQUIRED))
        rc = read_value(r, f, v, base);
    sheet_path_cut(&r->path, was);
    return rc;
}

static void note_unknown(struct reader *r, const struct table *t, json_t *object)
{
    const char *key;
    json_t *v;
    json_object_foreach(object, key, v)
    {
        if (sheet_table_knows(t, key) || r->n_unknown++ > UNKNOWN_NOTES_MAX)
            continue;
        if (r->n_unknown > UNKNOWN_NOTES_MAX) {
            plumb_sheet_notes_add(r->notes, "more unknown keys: kept");
            continue;
        }
        size_t was = sheet_path_key(&r->path, key);
        plumb_sheet_notes_add(r->notes, "unknown key %s: kept", r->path.text);
        sheet_path_cut(&r->path, was);
    }
}

static int read_object(struct reader *r, const struct table *t, json_t *v, char *base)
{
    if (!json_is_object(v))
        return fault(r, "is not an object: give %s", t->what);
    int rc = 0;
    /* teeth last: the notation they are written in stands beside them */
    for (int teeth = 0; teeth < 2; teeth++)
        for (size_t i = 0; rc == 0 && i < t->n; i++)
            if ((t->field[i].type == FIELD_TOOTH) == teeth)
                rc = read_field(r, &t->field[i], v, base);
    if (rc == 0 && t->has_set)
        *(bool *)(base + t->set_offset) = true;
    if (rc == 0)
        note_unknown(r, t, v);
    return rc;
}

/* --- the document -------------------------------------------------------------------------------
 */

/* Brackets and commas outside texts: no more than any sheet needs? */
static int check_bulk(const char *text, size_t len, struct err *err)
{
    size_t brackets = 0, commas = 0;
    bool quoted = false;
    for (size_t i = 0; i < len; i++) {
        if (text[i] == '"')
            quoted = !quoted;
        else if (quoted)
            i += text[i] == '\\';
        else if (text[i] == '{' || text[i] == '[')
            brackets++;
        else if (text[i] == ',')
            commas++;
    }
    if (brackets > BRACKETS_MAX || commas > VALUES_MAX)
        return plumb_err_set(err, ERR_LIMIT,
                             "has more values than any sheet needs: not read (over %d)",
                             brackets > BRACKETS_MAX ? BRACKETS_MAX : VALUES_MAX);
    return 0;
}

static int load(const char *text, size_t len, json_t **doc, struct err *err)
{
    json_error_t where;
    if (len > SHEET_BYTES)
        return plumb_err_set(err, ERR_LIMIT, "is larger than %d bytes: no sheet", SHEET_BYTES);
    if (len == 0)
        return plumb_err_set(err, ERR_FORMAT, "is empty: no sheet");
    int rc = check_bulk(text, len, err);
    if (rc != 0)
        return rc;
    *doc = json_loadb(text, len, JSON_REJECT_DUPLICATES, &where);
    if (*doc != NULL)
        return 0;
    if (where.text[0] == '\0') /* jansson has no words for that */
        return plumb_err_set(err, ERR_NOMEM, "no memory to read it: close other programs");
    sheet_make_plain(where.text);
    return plumb_err_set(err, ERR_FORMAT, "line %d, column %d: broken JSON, %.120s: mend it there",
                         where.line, where.column, where.text);
}

int plumb_sheet_parse(const char *text, size_t len, struct sheet *out, struct sheet_notes *notes,
                      struct err *err)
{
    static const char bom[] = "\xEF\xBB\xBF"; /* some editors put it first */
    json_t *doc = NULL;
    plumb_sheet_init(out);
    if (len >= 3 && memcmp(text, bom, 3) == 0) {
        text += 3;
        len -= 3;
    }
    int rc = load(text, len, &doc, err);
    struct reader r = {.text = text, .len = len, .sheet = out, .notes = notes, .err = err};
    if (rc == 0)
        rc = read_object(&r, &sheet_table, doc, (char *)out);
    if (rc == 0 && r.n_unknown > 0)
        out->kept = sheet_kept_strip(doc);
    json_decref(doc);
    if (rc != 0)
        plumb_sheet_release(out);
    return rc;
}
