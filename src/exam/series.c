/*
 * Opening a series: every sheet with its film, put in order of date and measured together. The
 * films have to be there, as for every other command: what is compared must be what was marked.
 */
#include "plumbrule/exam.h"

#include <pthread.h>
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

/* --- opening, on several threads ----------------------------------------------------------------
 */

enum { THREADS_MOST = 64 };
struct opening {
    const char *const *path;
    const struct exam_options *o;
    struct exam exam[SERIES_FILMS];
    int rc[SERIES_FILMS];
    struct err err[SERIES_FILMS];
    size_t n, next;
    pthread_mutex_t lock;
};

static void open_one(struct opening *all, size_t i)
{
    all->rc[i] = plumb_exam_open_sheet(all->path[i], all->o, &all->exam[i], &all->err[i]);
    if (all->rc[i] == 0)
        drop_pixels(&all->exam[i]);
    else
        plumb_err_prefix(&all->err[i], "%.100s", all->path[i]);
}

static void *open_some(void *ctx)
{
    struct opening *all = ctx;
    pthread_mutex_lock(&all->lock);
    while (all->next < all->n) {
        size_t i = all->next++;
        pthread_mutex_unlock(&all->lock);
        open_one(all, i);
        pthread_mutex_lock(&all->lock);
    }
    pthread_mutex_unlock(&all->lock);
    return NULL;
}

static void open_all(struct opening *all, size_t jobs)
{
    pthread_t thread[THREADS_MOST];
    size_t want = jobs < all->n ? jobs : all->n, started = 0;
    want = want < THREADS_MOST ? want : THREADS_MOST;
    pthread_mutex_init(&all->lock, NULL);
    while (started + 1 < want && pthread_create(&thread[started], NULL, open_some, all) == 0)
        started++;
    open_some(all); /* this thread is one of them */
    for (size_t i = 0; i < started; i++)
        pthread_join(thread[i], NULL);
    pthread_mutex_destroy(&all->lock);
}

/* In the order given: the first fault is told, and what it leaves over is let go. */
static int take_all(struct opening *all, struct exam_series *s, struct err *err)
{
    int rc = 0;
    for (size_t i = 0; i < all->n; i++) {
        if (rc == 0 && all->rc[i] != 0) {
            rc = all->rc[i];
            if (err != NULL)
                *err = all->err[i];
        }
        if (rc == 0)
            rc = check_new(s, &all->exam[i], err);
        if (rc == 0)
            put_by_date(s, &all->exam[i]);
        else
            plumb_exam_release(&all->exam[i]);
    }
    return rc;
}

static int open_sheets(const char *const *sheets, size_t n, const struct exam_options *o,
                       size_t jobs, struct exam_series *out, struct err *err)
{
    struct opening *all = plumb_mem_array(1, sizeof *all, err);
    if (all == NULL)
        return ERR_NOMEM;
    all->path = sheets;
    all->o = o;
    all->n = n;
    open_all(all, jobs);
    int rc = take_all(all, out, err);
    free(all);
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
                           bool same_pin, size_t jobs, struct exam_series *out, struct err *err)
{
    *out = (struct exam_series){0};
    if (n < 2 || n > SERIES_FILMS)
        return plumb_err_set(err, ERR_ARG, "a series is of 2 to %d sheets of one site, not of %zu",
                             SERIES_FILMS, n);
    out->exam = plumb_mem_array(n, sizeof *out->exam, err);
    int rc = out->exam ? 0 : ERR_NOMEM;
    if (rc == 0)
        rc = open_sheets(sheets, n, o, jobs, out, err);
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
