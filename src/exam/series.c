/*
 * Opening a series: every sheet with its film, put in order of date and measured together. The
 * films have to be there, as for every other command: what is compared must be what was marked.
 */
#include "plumbrule/exam.h"

#include <stdlib.h>
#include <string.h>

/* Many films need not be in memory at once. */
static void drop_pixels(struct exam *e)
{
    struct sheet_film *f = &e->sheet.film;
    plumb_text_copy(f->sha256, sizeof f->sha256, e->film.sha256);
    f->width = e->film.width;
    f->height = e->film.height;
    plumb_film_release(&e->film);
}

static const char *name_of(const struct exam *e)
{
    return e->sheet_path ? e->sheet_path : "-";
}

static int check_new(const struct exam_series *s, const struct exam *e, struct err *err)
{
    for (size_t i = 0; i < s->n; i++)
        if (strcmp(s->exam[i].sheet.film.sha256, e->sheet.film.sha256) == 0)
            return plumb_err_set(err, ERR_FORMAT,
                                 "%.90s: is of the same film as %.90s: give each film once",
                                 name_of(e), name_of(&s->exam[i]));
    return 0;
}

/* After all that are not later. A sheet without a date comes first; measuring tells of it. */
static void put_by_date(struct exam_series *s, const struct exam *e)
{
    size_t i = s->n++;
    for (; i > 0 && strcmp(s->exam[i - 1].sheet.film.taken, e->sheet.film.taken) > 0; i--)
        s->exam[i] = s->exam[i - 1];
    s->exam[i] = *e;
}

static int add_sheet(struct exam_series *s, const char *path, const struct exam_options *o,
                     struct err *err)
{
    struct exam e;
    int rc = plumb_exam_open_sheet(path, o, &e, err);
    if (rc != 0) {
        plumb_err_prefix(err, "%.100s", path);
        return rc;
    }
    drop_pixels(&e);
    rc = check_new(s, &e, err);
    if (rc == 0)
        put_by_date(s, &e);
    else
        plumb_exam_release(&e);
    return rc;
}

static int measure_series(struct exam_series *s, bool same_pin, struct err *err)
{
    struct meas_visit visit[SERIES_FILMS];
    for (size_t i = 0; i < s->n; i++)
        visit[i] = (struct meas_visit){
            .name = name_of(&s->exam[i]), .sheet = &s->exam[i].sheet, .result = &s->exam[i].result};
    return plumb_meas_series(visit, s->n, same_pin, &s->result, err);
}

int plumb_exam_series_open(const char *const *sheets, size_t n, const struct exam_options *o,
                           bool same_pin, struct exam_series *out, struct err *err)
{
    *out = (struct exam_series){0};
    if (n < 2 || n > SERIES_FILMS)
        return plumb_err_set(err, ERR_ARG, "a series is of 2 to %d sheets of one site, not of %zu",
                             SERIES_FILMS, n);
    out->exam = plumb_mem_array(n, sizeof *out->exam, err);
    int rc = out->exam ? 0 : ERR_NOMEM;
    for (size_t i = 0; rc == 0 && i < n; i++)
        rc = add_sheet(out, sheets[i], o, err);
    if (rc == 0)
        rc = measure_series(out, same_pin, err);
    if (rc != 0)
        plumb_exam_series_release(out);
    return rc;
}

void plumb_exam_series_release(struct exam_series *s)
{
    if (s == NULL)
        return;
    plumb_meas_series_release(&s->result);
    for (size_t i = 0; i < s->n; i++)
        plumb_exam_release(&s->exam[i]);
    free(s->exam);
    *s = (struct exam_series){0};
}
