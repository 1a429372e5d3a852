/*
 * Keys we do not know: stripped from the document after reading, found again on writing.
 *
 * What is kept is the document without everything we know. Elements of lists keep their first field
 * too (a gauge's name, a bound's words, a point's x): elements may have come or gone by the time of
 * writing, and an unknown key must not turn up at another one's.
 */
#include "sheet/sheet_internal.h"

#include <jansson.h>
#include <string.h>

/* How far an element may have moved in its list and still be found. */
enum { REACH = SHEET_GAUGES };

static bool strip_object(const struct table *t, json_t *v, bool in_list);

/* Strips every element; one with nothing left becomes null. Is nothing left at all? */
static bool strip_list(const struct field *f, json_t *v)
{
    bool empty = true;
    for (size_t i = 0; i < json_array_size(v); i++) {
        if (strip_object(sheet_field_table(f), json_array_get(v, i), f->type != FIELD_PAIR))
            json_array_set_new(v, i, json_null());
        else
            empty = false;
    }
    return empty;
}

/* Takes our own keys out of v; is nothing left? */
static bool strip_object(const struct table *t, json_t *v, bool in_list)
{
    size_t ours = 0;
    for (size_t i = 0; i < t->n; i++) {
        const struct field *f = &t->field[i];
        json_t *sub = json_object_get(v, f->key);
        if (sub == NULL)
            continue;
        bool empty = true;
        if (in_list && i == 0)
            ours++;
        else if (json_is_array(sub))
            empty = strip_list(f, sub);
        else if (json_is_object(sub))
            empty = strip_object(sheet_field_table(f), sub, false);
        if (empty && !(in_list && i == 0))
            json_object_del(v, f->key);
    }
    return json_object_size(v) == ours;
}

json_t *sheet_kept_strip(json_t *doc)
{
    return strip_object(&sheet_table, doc, false) ? NULL : json_incref(doc);
}

/* Is it the element that these kept keys were read with? */
static bool same_element(const struct table *t, const json_t *kept, const char *element)
{
    const struct field *first = &t->field[0];
    const json_t *v = json_object_get(kept, first->key);
    const void *place = element + first->offset;
    if (first->type == FIELD_NUMBER)
        return json_is_number(v) && sheet_number_units(first->number, json_number_value(v)) ==
                                        sheet_number_units(first->number, *(const double *)place);
    const char *name = json_string_value(v);
    return strcmp(name ? name : "", place) == 0;
}

json_t *sheet_kept_element(const struct field *f, const json_t *list, size_t i, const void *element)
{
    if (f->type == FIELD_PAIR)
        return json_array_get(list, i);
    for (size_t step = 0; step <= 2 * REACH && json_array_size(list) > 0; step++) {
        size_t away = (step + 1) / 2, j = step % 2 == 1 ? i + away : i - away;
        json_t *kept = json_array_get(list, j); /* NULL beyond the ends */
        if (json_is_object(kept) && same_element(sheet_field_table(f), kept, element))
            return kept;
    }
    return NULL;
}
