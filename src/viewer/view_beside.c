/*
 * Opening, finding and measuring beside the window, in a thread that says through a pipe that it is
 * done. Finding and measuring work on a copy of the sheet and borrow the film; the window's thread
 * takes over what came out. Each takes far longer than a picture may.
 */
#include "viewer/view_internal.h"

#include <errno.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum work { OPENING, FINDING, MEASURING };
struct view_beside {
    pthread_t thread;
    int pipe[2];
    enum work work;
    struct exam
        exam; /* film borrowed from the window's exam unless it is opened, the rest its own */
    char *path;
    struct exam_options options;
    struct exam_gauge gauge[SHEET_GAUGES];
    size_t n_gauges, n_pins;
    unsigned long edits; /* of the sheet it works on */
    int rc;
    struct err err;
};

static void *run(void *arg)
{
    struct view_beside *f = arg;
    if (f->work == OPENING)
        f->rc = view_exam_open(f->path, &f->options, &f->exam, &f->err);
    else if (f->work == FINDING)
        f->rc = plumb_exam_propose(&f->exam, f->gauge, f->n_gauges, &f->n_pins, &f->err);
    else
        f->rc = plumb_exam_measure(&f->exam, &f->err);
    while (write(f->pipe[1], "", 1) < 0 && errno == EINTR)
        continue;
    return NULL;
}

static void release(struct view_beside *f)
{
    if (f->work != OPENING)
        f->exam.film = (struct film){0};
    plumb_exam_release(&f->exam);
    close(f->pipe[0]);
    close(f->pipe[1]);
    free(f->path);
    free(f);
}

/* What it works on: the path, or a copy of the sheet. */
static int hand_over(struct view_beside *f, const struct view_state *v, struct err *err)
{
    if (f->work == OPENING) {
        f->options = v->options;
        f->path = plumb_mem_array(strlen(v->open_path) + 1, 1, err);
        if (f->path == NULL)
            return ERR_NOMEM;
        memcpy(f->path, v->open_path, strlen(v->open_path) + 1);
        return 0;
    }
    f->edits = v->edits;
    f->exam.film = v->exam.film;
    f->exam.config = v->exam.config;
    f->n_gauges = view_gauges_open(&v->exam.sheet, f->gauge);
    return plumb_sheet_copy(&v->exam.sheet, &f->exam.sheet, err);
}

static struct view_beside *start(const struct view_state *v, enum work work, struct err *err)
{
    struct view_beside *f = plumb_mem_array(1, sizeof *f, err);
    if (f == NULL)
        return NULL;
    *f = (struct view_beside){.work = work};
    if (pipe(f->pipe) != 0) {
        plumb_err_set(err, ERR_IO, "no pipe to a thread: %s", strerror(errno));
        free(f);
        return NULL;
    }
    int rc = hand_over(f, v, err);
    if (rc == 0 && (errno = pthread_create(&f->thread, NULL, run, f)) != 0)
        rc = plumb_err_set(err, ERR_IO, "no thread: %s", strerror(errno));
    if (rc != 0) {
        release(f);
        return NULL;
    }
    return f;
}

struct view_beside *view_beside_open(const struct view_state *v, struct err *err)
{
    return start(v, OPENING, err);
}

struct view_beside *view_beside_find(const struct view_state *v, struct err *err)
{
    return start(v, FINDING, err);
}

struct view_beside *view_beside_measure(const struct view_state *v, struct err *err)
{
    return start(v, MEASURING, err);
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

int view_beside_finish(struct view_beside *f, struct view_state *v, struct err *err)
{
    pthread_join(f->thread, NULL);
    int rc = f->rc;
    if (f->work == OPENING) {
        rc = view_opened(v, rc == 0 ? &f->exam : NULL, &f->err);
    } else if (f->work == MEASURING) {
        take_result(f, v);
    } else if (rc == 0) {
        view_found(v, &f->exam.sheet, f->n_pins);
    } else {
        v->finding = FIND_IDLE;
        view_fault(v, "finding the pin", &f->err);
    }
    *err = f->err;
    release(f);
    return rc;
}

void view_beside_leave(struct view_beside *f)
{
    pthread_detach(f->thread);
}
