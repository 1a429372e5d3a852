/*
 * The document's description shared by reading, writing, walking and checking: tables of fields
 * (sheet_fields.c), paths like "gauges[0].ends[1]", and a walk over all marks.
 */
#ifndef SHEET_INTERNAL_H
#define SHEET_INTERNAL_H

#include <jansson.h>
#include "plumbrule/sheet.h"

#define SHEET_FORMAT "plumbrule-sheet"
enum { SHEET_VERSION = 1 };

enum field_type {
    FIELD_FORMAT,  /* the constants that open the document */
    FIELD_VERSION, /* ... */
    FIELD_TEXT,    /* char[size] */
    FIELD_REMARKS, /* char[size], line breaks allowed */
    FIELD_DATE,    /* char[11] */
    FIELD_DIGEST,  /* char[65] */
    FIELD_TOOTH,   /* int, FDI; written in the site's notation */
    FIELD_WORD,    /* an enum, through its words */
    FIELD_FLAG,    /* bool */
    FIELD_NUMBER,  /* double */
    FIELD_COUNT,   /* int */
    FIELD_PIXELS,  /* size_t */
    FIELD_OBJECT,  /* a struct with a table of its own */
    FIELD_MARK,    /* struct mark */
    FIELD_PAIR,    /* struct mark[2]; one that is not set stands as null */
    FIELD_PATH,    /* struct mark_path */
    FIELD_LIST     /* an array of structs and its count */
};

enum field_flag {
    FIELD_REQUIRED = 1, /* its object is not complete without it */
    FIELD_SPOKEN = 2    /* written even when it is the default */
};

/* What a number may be, how many decimals are kept, and what to tell who gives another. */
struct number_kind {
    double min, max;
    int decimals;
    bool zero_is_unstated; /* then a tiny number is kept above 0 */
    const char *give;
};

struct table;
struct field {
    const char *key;
    enum field_type type;
    unsigned flags;
    size_t offset;                    /* in the struct of its table */
    size_t size;                      /* of a text with its NUL, or of a list's element */
    size_t count_offset, max;         /* of a list */
    const struct number_kind *number; /* of a number */
    const char *const *words;         /* by enum value, NULL-terminated; "" is never written */
    const struct table *sub;          /* of an object and a list */
    enum mark_kind kind;              /* of marks */
};

struct table {
    const struct field *field;
    size_t n;
    const char *what; /* "a mark {...}": what to give */
    bool has_set;     /* the struct has a bool that says whether it is there */
    size_t set_offset;
    bool one_line;
};

extern const struct table sheet_table, sheet_mark_table;

/* x as it is written: k units of 10^-decimals. Reading and writing round alike, so that what was
 * written reads back equal. */
long long sheet_number_units(const struct number_kind *k, double x);
double sheet_number_round(const struct number_kind *k, double x);
bool sheet_number_fits(const struct number_kind *k, double x);
/* Why the text cannot stand in that field; NULL when it can. */
const char *sheet_text_fault(const struct field *f, const char *text);
/* Is the field at its default, so that it need not be written? */
bool sheet_field_is_default(const struct field *f, const void *base);
size_t sheet_list_count(const struct field *f, const void *base);
bool sheet_object_is_default(const struct table *t, const void *base);

/* A path in the making; both give the length to cut back to. */
struct sheet_path {
    char text[160];
    size_t len;
};
size_t sheet_path_key(struct sheet_path *p, const char *key);
size_t sheet_path_index(struct sheet_path *p, size_t i);
void sheet_path_cut(struct sheet_path *p, size_t len);

/* One place of marks: a mark (n = 1), a pair (n = 2) or a path. */
struct sheet_place {
    const struct field *field;
    const char *path;        /* "gauges[0].ends" */
    struct mark *at;         /* borrowed; NULL for an empty path */
    size_t n;                /* marks, set or not */
    struct mark_path *curve; /* of a path, else NULL */
};
/* Calls visit for every place of marks in the document's order until it returns other than 0. */
typedef int sheet_visit(void *context, const struct sheet_place *place);
int sheet_walk(struct sheet *s, sheet_visit *visit, void *context);
/* The name of mark i of a place. */
void sheet_place_name(const struct sheet_place *p, size_t i, char *out, size_t size);
/* For walks that only look. */
struct sheet *sheet_borrow(const struct sheet *s);

/* Keys we do not know. strip takes ours out of a document that was read and gives what is left, or
 * NULL. element finds the kept keys of element i of a list, borrowed; NULL when there are none. */
json_t *sheet_kept_strip(json_t *doc);
json_t *sheet_kept_element(const struct field *f, const json_t *list, size_t i,
                           const void *element);
/* The table of the object or of the elements that a field holds; NULL for a plain value. */
const struct table *sheet_field_table(const struct field *f);
bool sheet_table_knows(const struct table *t, const char *key);

/* Replaces control characters by '?': what comes from a file may end on a terminal. */
void sheet_make_plain(char *s);

#endif
