/*
 * Several inputs on several threads. Each input's output is kept whole and written in input order;
 * one bad input is told and the rest goes on.
 */
#include "cli/cli_internal.h"

#include <errno.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <sysexits.h>
#include <unistd.h>

struct task {
    const char *path;
    struct buf out;
    struct sheet_notes say;
    struct err err;
    int code;
    bool done;
};

struct batch {
    const struct cli_options *o;
    cli_job job;
    struct task *task;
    size_t n, next, written;
    int worst;
    bool progress;
    pthread_mutex_t lock;
};

int cli_exit_code(int err_code)
{
    switch (err_code) {
    case 0:
        return EX_OK;
    case ERR_NOTFOUND:
        return EX_NOINPUT;
    case ERR_FORMAT:
    case ERR_LIMIT:
    case ERR_ILLPOSED:
        return EX_DATAERR;
    case ERR_ARG:
        return EX_USAGE;
    case ERR_CREATE:
        return EX_CANTCREAT;
    case ERR_IO:
        return EX_IOERR;
    case ERR_NOMEM:
        return EX_OSERR;
    default:
        return EX_SOFTWARE;
    }
}

static void show_progress(const struct batch *b)
{
    enum { WIDE = 30 };
    if (!b->progress)
        return;
    int full = (int)(WIDE * b->written / b->n);
    fprintf(stderr, "\r%.*s%.*s %zu of %zu", full, "==============================", WIDE - full,
            "..............................", b->written, b->n);
    if (b->written == b->n)
        fprintf(stderr, "\r%*s\r", WIDE + 24, "");
}

/* A reader that has seen enough (head) is no fault: the rest goes nowhere, quietly. */
static void write_out(struct batch *b, const struct buf *out)
{
    if (out->len == 0)
        return;
    errno = 0;
    bool written = fwrite(out->data, 1, out->len, stdout) == out->len && fflush(stdout) == 0;
    if (written)
        return;
    if (errno != EPIPE || freopen("/dev/null", "w", stdout) == NULL)
        b->worst = EX_IOERR;
}

/* With the lock held: writes what is finished and next in order. */
static void write_ready(struct batch *b)
{
    while (b->written < b->n && b->task[b->written].done) {
        struct task *t = &b->task[b->written++];
        write_out(b, &t->out);
        if (b->progress && (t->say.n > 0 || t->code != 0))
            fprintf(stderr, "\r%60s\r", "");
        for (size_t i = 0; i < t->say.n; i++)
            fprintf(stderr, "plumbrule: %s: %s\n", t->path, t->say.line[i]);
        if (t->code != 0)
            fprintf(stderr, "plumbrule: %s: %s\n", t->path, t->err.text);
        int code = cli_exit_code(t->code);
        b->worst = code > b->worst ? code : b->worst;
        plumb_buf_release(&t->out);
        plumb_sheet_notes_release(&t->say);
        show_progress(b);
    }
}

static void *work(void *ctx)
{
    struct batch *b = ctx;
    pthread_mutex_lock(&b->lock);
    while (b->next < b->n) {
        struct task *t = &b->task[b->next++];
        pthread_mutex_unlock(&b->lock);
        t->code = b->job(b->o, t->path, &t->out, &t->say, &t->err);
        if (t->code != 0)
            plumb_buf_release(&t->out);
        pthread_mutex_lock(&b->lock);
        t->done = true;
        write_ready(b);
    }
    pthread_mutex_unlock(&b->lock);
    return NULL;
}

static void run_threads(struct batch *b)
{
    enum { MAX_THREADS = 256 };
    pthread_t thread[MAX_THREADS];
    size_t want = (size_t)b->o->jobs < b->n ? (size_t)b->o->jobs : b->n, started = 0;
    while (started + 1 < want && pthread_create(&thread[started], NULL, work, b) == 0)
        started++;
    work(b); /* this thread is one of them */
    for (size_t i = 0; i < started; i++)
        pthread_join(thread[i], NULL);
}

int cli_batch(const struct cli_options *o, char **path, size_t n, cli_job job)
{
    struct batch b = {.o = o, .job = job, .n = n};
    struct err err;
    b.task = plumb_mem_array(n, sizeof *b.task, &err);
    if (b.task == NULL) {
        fprintf(stderr, "plumbrule: %s\n", err.text);
        return EX_OSERR;
    }
    for (size_t i = 0; i < n; i++)
        b.task[i].path = path[i];
    b.progress = n > 1 && isatty(STDERR_FILENO);
    pthread_mutex_init(&b.lock, NULL);
    run_threads(&b);
    pthread_mutex_destroy(&b.lock);
    free(b.task);
    return b.worst;
}
