/*
 * Finding and measuring beside the window: either works on a copy of the sheet in a thread of its
 * own, borrows the film, and says through a pipe that it is done. The window's thread takes over
 * what came out. Measuring a full sheet takes far longer than a picture may.
 */
#include "viewer/view_internal.h"

#include <errno.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct view_beside {
    pthread_t thread;
    int pipe[2];
    struct exam exam; /* film borrowed from the window's exam, the rest its own */
    struct exam_gauge gauge[SHEET_GAUGES];
    size_t n_gauges, n_pins;
    bool measure;
    unsigned long edits; /* of the sheet it works on */
    int rc;
    struct err err;
};

static void *run(void *arg)
{
    struct view_beside *f = arg;
    f->rc = f->measure ? plumb_exam_measure(&f->exam, &f->err)
                       : plumb_exam_propose(&f->exam, f->gauge, f->n_gauges, &f->n_pins, &f->err);
    while (write(f->pipe[1], "", 1) < 0 && errno == EINTR)
        continue;
    return NULL;
}

static void release(struct view_beside *f)
{
    f->exam.film = (struct film){0};
    plumb_exam_release(&f->exam);
    close(f->pipe[0]);
    close(f->pipe[1]);
    free(f);
}

static struct view_beside *start(const struct view_state *v, bool measure, struct err *err)
{
    struct view_beside *f = plumb_mem_array(1, sizeof *f, err);
    if (f == NULL)
        return NULL;
    if (pipe(f->pipe) != 0) {
        plumb_err_set(err, ERR_IO, "no pipe to a thread: %s", strerror(errno));
        free(f);
        return NULL;
    }
    f->measure = measure;
    f->edits = v->edits;
    f->exam.film = v->exam.film;
    f->exam.config = v->exam.config;
    f->n_gauges = view_gauges_open(&v->exam.sheet, f->gauge);
    int rc = plumb_sheet_copy(&v->exam.sheet, &f->exam.sheet, err);
    if (rc == 0 && (errno = pthread_create(&f->thread, NULL, run, f)) != 0)
        rc = plumb_err_set(err, ERR_IO, "no thread: %s", strerror(errno));
    if (rc != 0) {
        release(f);
        return NULL;
    }
    return f;
}

struct view_beside *view_beside_find(const struct view_state *v, struct err *err)
{
    return start(v, false, err);
}

struct view_beside *view_beside_measure(const struct view_state *v, struct err *err)
{
    return start(v, true, err);
}

int view_beside_fd(const struct view_beside *f)
{
    return f->pipe[0];
}

/* A result of marks that have moved on is still the newest there is while they are dragged. */
static void take_result(struct view_beside *f, struct view_state *v)
{
    if (f->rc != 0) {
        v->stale = false;
        view_fault(v, "measuring", &f->err);
        return;
    }
    if (!v->stale)
        return;
    struct meas_result old = v->exam.result;
    v->exam.result = f->exam.result;
    f->exam.result = old;
    v->stale = f->edits != v->edits;
}

void view_beside_finish(struct view_beside *f, struct view_state *v)
{
    pthread_join(f->thread, NULL);
    if (f->measure) {
        take_result(f, v);
    } else if (f->rc == 0) {
        view_found(v, &f->exam.sheet, f->n_pins);
    } else {
        v->finding = FIND_IDLE;
        view_fault(v, "finding the pin", &f->err);
    }
    release(f);
}

void view_beside_leave(struct view_beside *f)
{
    pthread_detach(f->thread);
}
