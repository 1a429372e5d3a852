/*
 * Defaults with their sources, and a user's file that overrides single entries. Built-in and user's
 * file have one format and go through one reader; the built-in ones are uncertainty.json and
 * limits.json beside this file.
 */
#include "measure/measure_internal.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static const unsigned char uncertainty_json[] = {
#include "measure/uncertainty.json.inc"
};
static const unsigned char limits_json[] = {
#include "measure/limits.json.inc"
};

static const char *const mark_key[KIND_COUNT] = {
    [KIND_PIN_TIP] = "pin_tip",   [KIND_PIN_SHOULDER] = "pin_shoulder",
    [KIND_PIN_STOP] = "pin_stop", [KIND_PIN_AXIS] = "pin_axis",
    [KIND_PIN_SIDE] = "pin_side", [KIND_ROOT_AXIS] = "root_axis",
    [KIND_CEJ] = "cej",           [KIND_APEX] = "apex",
    [KIND_CREST] = "crest",       [KIND_ROOT_SIDE] = "root_side",
    [KIND_FRACTURE] = "fracture", [KIND_TOP] = "top",
    [KIND_BOUND] = "bound",       [KIND_GAUGE_END] = "gauge_end",
};

static const struct {
    const char *key;
    enum unc_compare compare;
} compare_keys[] = {{"at_least", UNC_AT_LEAST}, {"at_most", UNC_AT_MOST}, {"within", UNC_WITHIN}};

/* Largest believable entry, mm, deg or %: anything above is a slip of the pen. */
static const double entry_max = 1000.0;

struct reader {
    const char *text;
    size_t len;
    struct err *err;
};

/* "line L, column C: PATH WHAT" */
static int fault(const struct reader *r, const char *path, const char *what)
{
    size_t line = 0, column = 0;
    if (!plumb_json_locate(r->text, r->len, path, &line, &column))
        return plumb_err_set(r->err, ERR_FORMAT, "%s %s", path, what);
    return plumb_err_set(r->err, ERR_FORMAT, "line %zu, column %zu: %s %s", line, column, path,
                         what);
}

static int read_number(const struct reader *r, const json_t *v, const char *path, double *out)
{
    double x = json_number_value(v);
    if (!json_is_number(v))
        return fault(r, path, "is not a number: give one");
    if (!isfinite(x) || x < 0.0 || x > entry_max)
        return fault(r, path, "is out of range: give a number from 0 to 1000");
    *out = x;
    return 0;
}

static int read_text(const struct reader *r, const json_t *v, const char *path, char *out,
                     size_t size)
{
    if (!json_is_string(v))
        return fault(r, path, "is not a text: give words in quotes");
    if (!plumb_text_copy(out, size, json_string_value(v)))
        return fault(r, path, "is too long: shorten it");
    return 0;
}

/* {"u_mm": 0.18, "source": "..."}; unit is the key of the number. */
static int read_default(const struct reader *r, const json_t *v, const char *path, const char *unit,
                        struct meas_mark_default *out)
{
    char sub[96];
    if (!json_is_object(v))
        return fault(r, path, "is not an object: give {\"u_mm\": ..., \"source\": ...}");
    const json_t *number = json_object_get(v, unit), *source = json_object_get(v, "source");
    int rc = 0;
    if (number != NULL) {
        snprintf(sub, sizeof sub, "%s.%s", path, unit);
        rc = read_number(r, number, sub, &out->u_mm);
        plumb_text_copy(out->source, sizeof out->source, "the user's own, no source stated");
    }
    if (rc == 0 && source != NULL) {
        snprintf(sub, sizeof sub, "%s.source", path);
        rc = read_text(r, source, sub, out->source, sizeof out->source);
    }
    return rc;
}

static int read_marks(const struct reader *r, json_t *marks, struct meas_config *c)
{
    const char *key;
    json_t *v;
    if (!json_is_object(marks))
        return fault(r, "marks", "is not an object");
    json_object_foreach(marks, key, v)
    {
        char path[80];
        snprintf(path, sizeof path, "marks.%.60s", key);
        size_t kind = 0;
        while (kind < KIND_COUNT && strcmp(mark_key[kind], key) != 0)
            kind++;
        if (kind == KIND_COUNT)
            return fault(r, path, "is no kind of mark: see plumbrule limits");
        int rc = read_default(r, v, path, "u_mm", &c->mark[kind]);
        if (rc == 0 && c->mark[kind].u_mm <= 0.0)
            rc = fault(r, path, "has no uncertainty: no mark is exact, give a number above 0");
        if (rc != 0)
            return rc;
    }
    return 0;
}

static int read_comparison(const struct reader *r, const json_t *v, const char *path,
                           struct meas_limit_entry *e)
{
    int found = 0;
    for (size_t i = 0; i < sizeof compare_keys / sizeof compare_keys[0]; i++) {
        const json_t *number = json_object_get(v, compare_keys[i].key);
        if (number == NULL)
            continue;
        char sub[96];
        snprintf(sub, sizeof sub, "%s.%s", path, compare_keys[i].key);
        int rc = read_number(r, number, sub, &e->limit);
        if (rc != 0)
            return rc;
        e->compare = compare_keys[i].compare;
        found++;
    }
    if (found != 1)
        return fault(r, path, "needs one of at_least, at_most, within");
    return 0;
}

static int read_limit(const struct reader *r, const json_t *v, const char *path,
                      struct meas_limit_entry *e)
{
    static const struct {
        const char *key;
        size_t offset, size;
    } texts[] = {
        {"quantity", offsetof(struct meas_limit_entry, quantity), MEAS_ID},
        {"caption", offsetof(struct meas_limit_entry, caption), sizeof e->caption},
        {"source", offsetof(struct meas_limit_entry, source), sizeof e->source},
        {"status", offsetof(struct meas_limit_entry, status), sizeof e->status},
    };
    *e = (struct meas_limit_entry){.source = "the user's own, no source stated"};
    plumb_text_copy(e->status, sizeof e->status, "user's own");
    if (!json_is_object(v) || json_object_get(v, "quantity") == NULL)
        return fault(r, path, "names no quantity");
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        const json_t *t = json_object_get(v, texts[i].key);
        char sub[96];
        snprintf(sub, sizeof sub, "%s.%s", path, texts[i].key);
        int rc = t ? read_text(r, t, sub, (char *)e + texts[i].offset, texts[i].size) : 0;
        if (rc != 0)
            return rc;
    }
    if (!slots_know(e->quantity)) {
        char sub[96];
        snprintf(sub, sizeof sub, "%s.quantity", path);
        return fault(r, sub, "names no quantity there is: see plumbrule limits");
    }
    return read_comparison(r, v, path, e);
}

static void drop_like(const struct meas_limit_entry *e, struct meas_config *c, size_t old)
{
    size_t kept = 0;
    for (size_t i = 0; i < c->n_limits; i++) {
        bool like = i < old && slot_fits(e->quantity, c->limit[i].quantity) &&
                    c->limit[i].compare == e->compare;
        if (!like)
            c->limit[kept++] = c->limit[i];
    }
    c->n_limits = kept;
}

/* A file's entries for a quantity and comparison replace all there were, those with a * all that
 * they cover; within one file there may be several. */
static int read_limits(const struct reader *r, json_t *limits, struct meas_config *c)
{
    if (!json_is_array(limits))
        return fault(r, "limits", "is not a list");
    size_t i, old = c->n_limits;
    json_t *v;
    json_array_foreach(limits, i, v)
    {
        char path[40];
        snprintf(path, sizeof path, "limits[%zu]", i);
        struct meas_limit_entry e;
        int rc = read_limit(r, v, path, &e);
        if (rc != 0)
            return rc;
        size_t before = c->n_limits;
        drop_like(&e, c, old);
        old -= before - c->n_limits;
        if (c->n_limits >= MEAS_LIMITS)
            return fault(r, path, "is one too many: at most 64 limits");
        c->limit[c->n_limits++] = e;
    }
    return 0;
}

/* A length with its source that is no uncertainty. */
static int read_length(const struct reader *r, const json_t *v, const char *key, double *mm,
                       char source[160])
{
    struct meas_mark_default d = {.u_mm = *mm};
    plumb_text_copy(d.source, sizeof d.source, source);
    int rc = read_default(r, v, key, "mm", &d);
    *mm = d.u_mm;
    plumb_text_copy(source, sizeof d.source, d.source);
    return rc;
}

static int read_source_to_film(const struct reader *r, const json_t *v, struct meas_config *c)
{
    static const char key[] = "source_to_film";
    int rc = read_length(r, v, key, &c->source_to_film_mm, c->source_to_film_source);
    return rc == 0 && c->source_to_film_mm < 50.0
               ? fault(r, key, "is nearer than any tube: give millimetres")
               : rc;
}

static int read_entry(const struct reader *r, const char *key, json_t *v, struct meas_config *c)
{
    if (strcmp(key, "format") == 0 || strcmp(key, "version") == 0)
        return 0;
    if (strcmp(key, "limits") == 0)
        return read_limits(r, v, c);
    if (strcmp(key, "marks") == 0)
        return read_marks(r, v, c);
    if (strcmp(key, "gauge_size") == 0)
        return read_default(r, v, key, "u_mm", &c->gauge_size);
    if (strcmp(key, "plane") == 0)
        return read_default(r, v, key, "u_mm", &c->plane);
    if (strcmp(key, "lean") == 0)
        return read_default(r, v, key, "u_deg", &c->lean);
    if (strcmp(key, "beam") == 0)
        return read_default(r, v, key, "u_deg", &c->beam);
    if (strcmp(key, "healthy") == 0)
        return read_length(r, v, key, &c->healthy_mm, c->healthy_source);
    if (strcmp(key, "traced") == 0)
        return read_default(r, v, key, "u_deg", &c->traced);
    if (strcmp(key, "last_resort") == 0)
        return read_default(r, v, key, "u_percent", &c->last_resort);
    if (strcmp(key, "source_to_film") == 0)
        return read_source_to_film(r, v, c);
    char path[80];
    snprintf(path, sizeof path, "%.70s", key);
    return fault(r, path,
                 "is unknown here: limits, marks, gauge_size, plane, lean, beam, traced, "
                 "last_resort, healthy, source_to_film");
}

static int read_header(const struct reader *r, const json_t *doc)
{
    const char *format = json_string_value(json_object_get(doc, "format"));
    if (format == NULL || strcmp(format, "plumbrule-limits") != 0)
        return plumb_err_set(r->err, ERR_FORMAT,
                             "no limits file: it must begin with \"format\": \"plumbrule-limits\"");
    if (json_integer_value(json_object_get(doc, "version")) != 1)
        return fault(r, "version", "is not 1: this program reads version 1");
    return 0;
}

int plumb_meas_config_parse(const char *text, size_t len, struct meas_config *c, struct err *err)
{
    struct reader r = {.text = text, .len = len, .err = err};
    json_error_t where;
    json_t *doc = json_loadb(text, len, JSON_REJECT_DUPLICATES, &where);
    if (doc == NULL)
        return plumb_err_set(err, ERR_FORMAT, "line %d, column %d: %s", where.line, where.column,
                             where.text);
    struct meas_config next = *c;
    int rc = read_header(&r, doc);
    const char *key;
    json_t *v;
    if (rc == 0)
        json_object_foreach(doc, key, v)
        {
            rc = read_entry(&r, key, v, &next);
            if (rc != 0)
                break;
        }
    if (rc == 0)
        *c = next;
    json_decref(doc);
    return rc;
}

int plumb_meas_config_default(struct meas_config *c, struct err *err)
{
    *c = (struct meas_config){0};
    int rc =
        plumb_meas_config_parse((const char *)uncertainty_json, sizeof uncertainty_json, c, err);
    if (rc == 0)
        rc = plumb_meas_config_parse((const char *)limits_json, sizeof limits_json, c, err);
    return rc;
}
