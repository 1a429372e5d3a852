/*
 * The sheet in memory: its life, the walk over its marks, their names, and notes.
 *
 * The walk follows the tables of sheet_fields.c, so a mark that can be read is also copied, listed
 * and checked. Unknown keys (`kept`) are never changed after reading and shared between copies.
 */
#include "sheet/sheet_internal.h"

#include <jansson.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const plumb_side_word[SIDES] = {"mesial", "distal"};

/* --- paths in words --------------------------------------------------------------------------- */

size_t sheet_path_key(struct sheet_path *p, const char *key)
{
    size_t was = p->len;
    if (was > 0 && was + 1 < sizeof p->text)
        p->text[p->len++] = '.';
    plumb_text_copy(p->text + p->len, sizeof p->text - p->len, key);
    p->len += strlen(p->text + p->len);
    return was;
}

size_t sheet_path_index(struct sheet_path *p, size_t i)
{
    size_t was = p->len;
    char index[24];
    snprintf(index, sizeof index, "[%zu]", i);
    plumb_text_copy(p->text + was, sizeof p->text - was, index);
    p->len += strlen(p->text + was);
    return was;
}

void sheet_path_cut(struct sheet_path *p, size_t len)
{
    p->len = len;
    p->text[len] = '\0';
}

/* --- the walk over all marks --------------------------------------------------------------------
 */

struct walk {
    struct sheet_path path;
    sheet_visit *visit;
    void *context;
};

static int walk_object(struct walk *w, const struct table *t, char *base);

static int walk_list(struct walk *w, const struct field *f, char *base)
{
    int rc = 0;
    for (size_t i = 0; rc == 0 && i < sheet_list_count(f, base); i++) {
        size_t was = sheet_path_index(&w->path, i);
        rc = walk_object(w, f->sub, base + f->offset + i * f->size);
        sheet_path_cut(&w->path, was);
    }
    return rc;
}

static int walk_field(struct walk *w, const struct field *f, char *base)
{
    struct sheet_place place = {.field = f, .path = w->path.text};
    void *at = base + f->offset;
    switch (f->type) {
    case FIELD_OBJECT:
        return walk_object(w, f->sub, at);
    case FIELD_LIST:
        return walk_list(w, f, base);
    case FIELD_MARK:
    case FIELD_PAIR:
        place.at = at;
        place.n = f->type == FIELD_PAIR ? 2 : 1;
        return w->visit(w->context, &place);
    case FIELD_PATH:
        place.curve = at;
        place.at = place.curve->at;
        place.n = place.curve->n;
        return w->visit(w->context, &place);
    default:
        return 0;
    }
}

static int walk_object(struct walk *w, const struct table *t, char *base)
{
    int rc = 0;
    for (size_t i = 0; rc == 0 && i < t->n; i++) {
        size_t was = sheet_path_key(&w->path, t->field[i].key);
        rc = walk_field(w, &t->field[i], base);
        sheet_path_cut(&w->path, was);
    }
    return rc;
}

int sheet_walk(struct sheet *s, sheet_visit *visit, void *context)
{
    struct walk w = {.visit = visit, .context = context};
    return walk_object(&w, &sheet_table, (char *)s);
}

void sheet_place_name(const struct sheet_place *p, size_t i, char *out, size_t size)
{
    if (p->field->type == FIELD_MARK)
        snprintf(out, size, "%s", p->path);
    else
        snprintf(out, size, "%s[%zu]", p->path, i);
}

struct sheet *sheet_borrow(const struct sheet *s)
{
    union {
        const struct sheet *in;
        struct sheet *out;
    } same = {s};
    return same.out;
}

/* --- life ---------------------------------------------------------------------------------------
 */

void plumb_sheet_init(struct sheet *s)
{
    *s = (struct sheet){0};
}

static int free_curve(void *context, const struct sheet_place *p)
{
    (void)context;
    if (p->curve != NULL)
        free(p->curve->at);
    return 0;
}

void plumb_sheet_release(struct sheet *s)
{
    if (s == NULL)
        return;
    sheet_walk(s, free_curve, NULL);
    json_decref(s->kept);
    plumb_sheet_init(s);
}

/* Puts a copy of its own in the place of the borrowed points; after a failure, none. */
static int own_curve(void *context, const struct sheet_place *p)
{
    struct err *err = context;
    if (p->curve == NULL || p->n == 0) {
        if (p->curve != NULL)
            *p->curve = (struct mark_path){0};
        return 0;
    }
    struct mark *own = err->code == 0 ? plumb_mem_array(p->n, sizeof *own, err) : NULL;
    if (own != NULL)
        memcpy(own, p->at, p->n * sizeof *own);
    *p->curve = (struct mark_path){own, own != NULL ? p->n : 0};
    return 0;
}

int plumb_sheet_copy(const struct sheet *s, struct sheet *out, struct err *err)
{
    struct err why = {0};
    *out = *s;
    json_incref(out->kept);
    sheet_walk(out, own_curve, &why);
    if (why.code == 0)
        return 0;
    plumb_sheet_release(out);
    return plumb_err_set(err, why.code, "%s", why.text);
}

/* --- all marks alike ----------------------------------------------------------------------------
 */

struct collect {
    struct sheet_mark_ref *out;
    size_t max, n;
};

static int collect_marks(void *context, const struct sheet_place *p)
{
    struct collect *c = context;
    for (size_t i = 0; i < p->n; i++) {
        if (!p->at[i].set)
            continue;
        if (c->n < c->max) {
            struct sheet_mark_ref *ref = &c->out[c->n];
            ref->mark = &p->at[i];
            ref->kind = p->field->kind;
            sheet_place_name(p, i, ref->name, sizeof ref->name);
        }
        c->n++;
    }
    return 0;
}

size_t plumb_sheet_marks(const struct sheet *s, struct sheet_mark_ref *out, size_t max)
{
    struct collect c = {.out = out, .max = out ? max : 0};
    sheet_walk(sheet_borrow(s), collect_marks, &c);
    return c.n;
}

struct search {
    const char *name;
    struct mark *found;
};

/* "[12]" up to the end of the name, and below n. */
static bool read_index(const char *s, size_t n, size_t *out)
{
    size_t i = 0;
    if (*s++ != '[' || *s < '0' || *s > '9' || (*s == '0' && s[1] != ']'))
        return false;
    for (; *s >= '0' && *s <= '9' && i < n; s++)
        i = 10 * i + (size_t)(*s - '0');
    *out = i;
    return s[0] == ']' && s[1] == '\0' && i < n;
}

static int search_mark(void *context, const struct sheet_place *p)
{
    struct search *s = context;
    size_t len = strlen(p->path), i = 0;
    if (strncmp(s->name, p->path, len) != 0)
        return 0;
    const char *rest = s->name + len;
    if (p->field->type == FIELD_MARK ? *rest == '\0' : read_index(rest, p->n, &i))
        s->found = &p->at[i];
    return s->found != NULL;
}

struct mark *plumb_sheet_mark(struct sheet *s, const char *name)
{
    struct search search = {.name = name};
    sheet_walk(s, search_mark, &search);
    return search.found;
}

/* --- notes --------------------------------------------------------------------------------------
 */

void plumb_sheet_notes_add(struct sheet_notes *n, const char *fmt, ...)
{
    if (n == NULL)
        return;
    char longer[2 * sizeof n->line[0]];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(longer, sizeof longer, fmt, ap);
    va_end(ap);
    sheet_make_plain(longer);
    void *line = plumb_mem_resize(n->line, n->n + 1, sizeof n->line[0], NULL);
    if (line == NULL)
        return; /* a note is worth no failure */
    n->line = line;
    plumb_text_copy(n->line[n->n++], sizeof n->line[0], longer);
}

void plumb_sheet_notes_release(struct sheet_notes *n)
{
    if (n == NULL)
        return;
    free(n->line);
    *n = (struct sheet_notes){0};
}
