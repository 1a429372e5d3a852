/*
 * The finder beside the window: it works on a copy of the sheet in a thread of its own, borrows the
 * film, and says through a pipe that it is done. What it found is merged by the window's thread.
 */
#include "viewer/view_internal.h"

#include <errno.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct view_find {
    pthread_t thread;
    int pipe[2];
    struct exam exam; /* film borrowed from the window's exam, the rest its own */
    struct exam_gauge gauge[SHEET_GAUGES];
    size_t n_gauges, n_pins;
    int rc;
    struct err err;
};

static void *run(void *arg)
{
    struct view_find *f = arg;
    f->rc = plumb_exam_propose(&f->exam, f->gauge, f->n_gauges, &f->n_pins, &f->err);
    while (write(f->pipe[1], "", 1) < 0 && errno == EINTR)
        continue;
    return NULL;
}

static void release(struct view_find *f)
{
    f->exam.film = (struct film){0};
    plumb_exam_release(&f->exam);
    close(f->pipe[0]);
    close(f->pipe[1]);
    free(f);
}

struct view_find *view_find_start(const struct view_state *v, struct err *err)
{
    struct view_find *f = plumb_mem_array(1, sizeof *f, err);
    if (f == NULL)
        return NULL;
    if (pipe(f->pipe) != 0) {
        plumb_err_set(err, ERR_IO, "no pipe for the finder: %s", strerror(errno));
        free(f);
        return NULL;
    }
    f->exam.film = v->exam.film;
    f->exam.config = v->exam.config;
    f->n_gauges = view_gauges_open(&v->exam.sheet, f->gauge);
    int rc = plumb_sheet_copy(&v->exam.sheet, &f->exam.sheet, err);
    if (rc == 0 && (errno = pthread_create(&f->thread, NULL, run, f)) != 0)
        rc = plumb_err_set(err, ERR_IO, "no thread for the finder: %s", strerror(errno));
    if (rc != 0) {
        release(f);
        return NULL;
    }
    return f;
}

int view_find_fd(const struct view_find *f)
{
    return f->pipe[0];
}

void view_find_finish(struct view_find *f, struct view_state *v)
{
    pthread_join(f->thread, NULL);
    if (f->rc == 0) {
        view_found(v, &f->exam.sheet, f->n_pins);
    } else {
        v->finding = FIND_IDLE;
        view_fault(v, "finding the pin", &f->err);
    }
    release(f);
}

void view_find_leave(struct view_find *f)
{
    pthread_detach(f->thread);
}
