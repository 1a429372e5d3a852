/*
 * Undo and redo: copies of the sheet in a row, and which of them is the present one. A copy costs
 * about 12 kB and its paths; memory alone ends the row.
 */
#include "plumbrule/sheet.h"

#include <stdlib.h>

static int grow(struct sheet_history *h, struct err *err)
{
    if (h->n < h->cap)
        return 0;
    size_t cap = h->cap > 0 ? 2 * h->cap : 16;
    struct sheet *step = plumb_mem_resize(h->step, cap, sizeof *step, err);
    if (step == NULL)
        return ERR_NOMEM;
    h->step = step;
    h->cap = cap;
    return 0;
}

int plumb_sheet_history_init(struct sheet_history *h, const struct sheet *first, struct err *err)
{
    *h = (struct sheet_history){0};
    int rc = plumb_sheet_history_push(h, first, err);
    if (rc != 0)
        plumb_sheet_history_release(h);
    return rc;
}

void plumb_sheet_history_release(struct sheet_history *h)
{
    if (h == NULL)
        return;
    for (size_t i = 0; i < h->n; i++)
        plumb_sheet_release(&h->step[i]);
    free(h->step);
    *h = (struct sheet_history){0};
}

int plumb_sheet_history_push(struct sheet_history *h, const struct sheet *s, struct err *err)
{
    /* first the copy, for s may be a step of ours; and on failure all stays as it was */
    struct sheet copy;
    int rc = plumb_sheet_copy(s, &copy, err);
    if (rc == 0 && (rc = grow(h, err)) != 0)
        plumb_sheet_release(&copy);
    if (rc != 0)
        return rc;
    size_t keep = h->n > 0 ? h->at + 1 : 0;
    while (h->n > keep)
        plumb_sheet_release(&h->step[--h->n]);
    h->step[h->n] = copy;
    h->at = h->n++;
    return 0;
}

const struct sheet *plumb_sheet_history_undo(struct sheet_history *h)
{
    return h->n > 0 && h->at > 0 ? &h->step[--h->at] : NULL;
}

const struct sheet *plumb_sheet_history_redo(struct sheet_history *h)
{
    return h->n > 0 && h->at + 1 < h->n ? &h->step[++h->at] : NULL;
}
