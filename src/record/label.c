/*
 * What a quantity is called on paper: its label, with what this film adds to it - the bound's own
 * name, and which axis of a root the pin is held against. Both only where there is room.
 */
#include "record/report_internal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void rec_label_words(const struct sheet *s, const char *id, size_t most, char out[REC_LABEL])
{
    static const char word[] = "bound ";
    char plain[64], *end = NULL;
    plumb_meas_label(id, plain);
    plumb_text_copy(out, REC_LABEL, plain);
    const char *at = strstr(plain, word);
    long n = at ? strtol(at + strlen(word), &end, 10) : 0;
    if (n < 1 || (size_t)n > s->n_bounds || s->bound[n - 1].what[0] == '\0')
        return;
    snprintf(out, REC_LABEL, "%.*s, %s%s", (int)(end - plain), plain, s->bound[n - 1].what, end);
    if (plumb_text_length(out) > most)
        plumb_text_copy(out, REC_LABEL, plain);
}

void rec_label_with_axis(const struct sheet *s, const struct meas_quantity *q, size_t most,
                         char out[REC_LABEL])
{
    rec_label_words(s, q->id, most, out);
    size_t len = strlen(out);
    if (q->axis != NULL)
        snprintf(out + len, REC_LABEL - len, " (%s)", q->axis);
}
