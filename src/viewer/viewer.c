/*
 * `plumbrule view [FILM or SHEET]`: options, opening, exit codes. The film is decoded while the
 * window comes up.
 */
#include "viewer/viewer.h"
#include "viewer/view_window_internal.h"

#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

static const char usage[] =
    "plumbrule view [FILM|SHEET]   place and check marks in a window\n"
    "\n"
    "  --limits FILE      limits and uncertainties of your own\n"
    "  --film-changed     accept a film that is not the one that was marked\n"
    "  --help             this text\n"
    "\n"
    "In the window h shows every key. Without a file the window asks for one.\n"
    "The sheet is saved beside the film as FILM.sheet.json, a record filed in the\n"
    "folder `record` beside it. Unsaved work is kept as SHEET.unsaved. One window a\n"
    "film: a second one says so and ends.\n"
    "\n"
    "A measuring aid and no diagnosis: a film does not show the facial plate, and\n"
    "local rules and the judgement of the licensed clinician come first.\n";

static int exit_code(int code)
{
    switch (code) {
    case 0:
        return EX_OK;
    case ERR_FORMAT:
    case ERR_LIMIT:
    case ERR_ILLPOSED:
        return EX_DATAERR;
    case ERR_NOTFOUND:
        return EX_NOINPUT;
    case ERR_ARG:
        return EX_USAGE;
    case ERR_CREATE:
        return EX_CANTCREAT;
    case ERR_NOMEM:
        return EX_OSERR;
    default:
        return EX_IOERR;
    }
}

/* --- command line ------------------------------------------------------------------------------
 */

static int fail(const char *about, const char *what, int code)
{
    fprintf(stderr, "plumbrule: %s: %s\n", about, what);
    return code;
}

/* Returns -1 to go on, else the exit code. */
static int read_options(int argc, char **argv, struct exam_options *o, const char **path)
{
    bool only_files = false;
    for (int i = 1; i < argc; i++) {
        if (only_files || argv[i][0] != '-' || argv[i][1] == '\0') {
            if (*path != NULL)
                return fail("view", "takes one film or sheet: see plumbrule view --help", EX_USAGE);
            *path = argv[i];
        } else if (strcmp(argv[i], "--help") == 0) {
            fputs(usage, stdout);
            return EX_OK;
        } else if (strcmp(argv[i], "--") == 0) {
            only_files = true;
        } else if (strcmp(argv[i], "--film-changed") == 0) {
            o->film_changed = true;
        } else if (strcmp(argv[i], "--limits") == 0 && i + 1 < argc) {
            o->limits_path = argv[++i];
        } else {
            return fail("view", "no such option: see plumbrule view --help", EX_USAGE);
        }
    }
    return -1;
}

/* The film is read while the display is opened. */
static int run(struct view_window *w, const char *path)
{
    struct err err = {0}, ignored = {0};
    int rc = path != NULL ? view_open_later(&w->state, path, &err) : 0;
    if (rc == 0 && path != NULL && (w->open = view_beside_open(&w->state, &err)) == NULL)
        rc = ERR_IO;
    if (rc != 0)
        return fail("view", err.text, exit_code(rc));
    w->named = path != NULL;
    rc = view_window_open(w, &err);
    if (rc != 0) {
        if (w->open != NULL)
            view_beside_finish(w->open, &w->state, &ignored);
        w->open = NULL;
        return fail("view", err.text, rc == ERR_NOTFOUND ? EX_UNAVAILABLE : exit_code(rc));
    }
    rc = view_window_run(w, &err);
    if (w->lost) {
        fprintf(stderr, "plumbrule: view: the display went away%s%s\n",
                view_unsaved(&w->state) ? ": unsaved work is kept in " : "",
                view_unsaved(&w->state) ? w->state.journal_path : "");
        return EX_IOERR;
    }
    bool unopened = w->named && !w->state.has_film;
    return rc == 0 ? EX_OK : fail(unopened ? path : "view", err.text, exit_code(rc));
}

/* Threads still at work read the film: all of it ends with the process. */
static bool leave_threads(struct view_window *w)
{
    struct err ignored = {0};
    if (w->measure != NULL)
        view_beside_finish(w->measure, &w->state, &ignored);
    if (w->find != NULL)
        view_beside_leave(w->find);
    if (w->open != NULL)
        view_beside_leave(w->open);
    return w->find != NULL || w->open != NULL;
}

int viewer_main(int argc, char **argv)
{
    struct exam_options options;
    const char *path = NULL;
    plumb_exam_options_default(&options);
    int code = read_options(argc, argv, &options, &path);
    if (code >= 0)
        return code;
    setlocale(LC_CTYPE, ""); /* what is typed; numbers stay in the C locale */
    struct view_window *w = plumb_mem_array(1, sizeof *w, NULL);
    if (w == NULL)
        return fail("view", "no memory", EX_OSERR);
    view_state_init(&w->state, &options, NULL);
    code = run(w, path);
    view_window_close(w);
    if (leave_threads(w))
        return code;
    view_state_release(&w->state);
    free(w);
    return code;
}
