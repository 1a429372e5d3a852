/*
 * The command watch: waits for films that another program exports into a folder and starts a sheet
 * for each.
 *
 * The folder is looked at once a second. To be told of changes by the kernel (inotify) works on one
 * system only and not where another machine writes to a shared folder, which is the usual place of
 * an export; a look a second costs nothing and works everywhere. A film counts as finished when its
 * size and time of change have stood still from one look to the next; a file that cannot be read is
 * told once and tried again only when it changes.
 *
 * Limits: names tell what may be a film (PNG, TIFF, JPEG); folders within the folder are not
 * entered. SIGINT and SIGTERM are blocked and waited for in place of a sleep, so that they end the
 * watch between two films, never within one, and no handler is needed.
 */
#include "cli/cli_internal.h"

#include <dirent.h>
#include <errno.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <sysexits.h>
#include <unistd.h>

extern char **environ;

enum { FILES_MOST = 100000, PAUSE_S = 1, HEAD_BYTES = 1024 /* titles are shorter */ };

struct seen {
    char *name;
    off_t size;
    struct timespec changed;
    bool done; /* there before, told or taken */
};
/* One look at the folder: its films, by name. */
struct look {
    struct seen *file;
    size_t n, cap;
};
struct watch {
    const struct cli_options *o;
    const char *dir;
    struct look now;
    int worst;
};

static void look_release(struct look *l)
{
    for (size_t i = 0; i < l->n; i++)
        free(l->file[i].name);
    free(l->file);
    *l = (struct look){0};
}

/* --- what is a film? ----------------------------------------------------------------------------
 */

static bool has_film_ending(const char *name)
{
    static const char *const endings[] = {".png", ".tif", ".tiff", ".jpg", ".jpeg"};
    const char *dot = strrchr(name, '.');
    if (dot == NULL || name[0] == '.')
        return false;
    for (size_t i = 0; i < sizeof endings / sizeof endings[0]; i++)
        if (strcasecmp(dot, endings[i]) == 0)
            return true;
    return false;
}

/* A record's or a series' picture is no film, though it may show one: our PNGs name the program in
 * a text chunk (PNG specification 11.3.3.2, keyword Software), which stands before the pixels. */
static bool is_own_picture(const char *path)
{
    static const char mark[] = "Software\0plumbrule ";
    const size_t length = sizeof mark - 1;
    char head[HEAD_BYTES];
    FILE *f = fopen(path, "rb");
    if (f == NULL)
        return false;
    size_t n = fread(head, 1, sizeof head, f);
    fclose(f);
    for (size_t i = 0; i + length <= n; i++)
        if (memcmp(head + i, mark, length) == 0)
            return true;
    return false;
}

/* --- looking -------------------------------------------------------------------------------------
 */

static int look_add(struct look *l, const char *name, const struct stat *st, struct err *err)
{
    if (l->n == FILES_MOST)
        return plumb_err_set(err, ERR_LIMIT, "holds more than %d films: watch another folder",
                             FILES_MOST);
    if (l->n == l->cap) {
        size_t cap = l->cap ? 2 * l->cap : 64;
        struct seen *more = plumb_mem_resize(l->file, cap, sizeof *more, err);
        if (more == NULL)
            return ERR_NOMEM;
        l->file = more;
        l->cap = cap;
    }
    struct seen *f = &l->file[l->n];
    *f = (struct seen){.size = st->st_size, .changed = st->st_mtim};
    f->name = plumb_mem_array(strlen(name) + 1, 1, err);
    if (f->name == NULL)
        return ERR_NOMEM;
    strcpy(f->name, name);
    l->n++;
    return 0;
}

static int by_name(const void *a, const void *b)
{
    const struct seen *x = a, *y = b;
    return strcmp(x->name, y->name);
}

static int look_at(const char *dir, struct look *out, struct err *err)
{
    *out = (struct look){0};
    DIR *d = opendir(dir);
    if (d == NULL)
        return plumb_err_set(err, ERR_NOTFOUND, "cannot be read as a folder: %s", strerror(errno));
    int rc = 0;
    for (const struct dirent *f = readdir(d); rc == 0 && f != NULL; f = readdir(d)) {
        struct stat st;
        if (!has_film_ending(f->d_name) || fstatat(dirfd(d), f->d_name, &st, 0) != 0 ||
            !S_ISREG(st.st_mode))
            continue;
        rc = look_add(out, f->d_name, &st, err);
    }
    closedir(d);
    if (rc != 0)
        look_release(out);
    else if (out->n > 0)
        qsort(out->file, out->n, sizeof *out->file, by_name);
    return rc;
}

/* --- one film ------------------------------------------------------------------------------------
 */

/* The program itself, in a process of its own: the watch goes on while the window is open. */
static int open_window(const struct cli_options *o, char *sheet)
{
    char view[] = "view";
    char *argv[] = {o->program, view, sheet, NULL};
    posix_spawnattr_t how;
    sigset_t none;
    pid_t pid;
    sigemptyset(&none); /* ours are blocked */
    int rc = posix_spawnattr_init(&how);
    if (rc == 0) {
        posix_spawnattr_setsigmask(&how, &none);
        posix_spawnattr_setflags(&how, POSIX_SPAWN_SETSIGMASK);
        rc = posix_spawnp(&pid, o->program, NULL, &how, argv, environ);
        posix_spawnattr_destroy(&how);
    }
    if (rc != 0)
        fprintf(stderr, "plumbrule: %s: no window: %s\n", sheet, strerror(rc));
    return rc == 0 ? EX_OK : EX_OSERR;
}

/* A sheet as start makes it; then, where it is asked for, its record and its window. */
static int start_film(const struct cli_options *o, char *film, char *sheet)
{
    if (is_own_picture(film))
        return EX_OK;
    if (access(sheet, F_OK) == 0) {
        fprintf(stderr, "plumbrule: %s: the sheet %s is there already: left alone\n", film, sheet);
        return EX_OK;
    }
    int code = cli_batch(o, &film, 1, cli_start);
    if (code == EX_OK && o->record)
        code = cli_batch(o, &sheet, 1, cli_record);
    if (code == EX_OK && o->view)
        code = open_window(o, sheet);
    return code;
}

static void take(struct watch *w, struct seen *f)
{
    struct err err;
    char *film = plumb_path_join(w->dir, f->name, &err);
    char *sheet = film ? cli_sheet_name(film, &err) : NULL;
    int code = sheet ? start_film(w->o, film, sheet) : EX_OSERR;
    w->worst = code > w->worst ? code : w->worst;
    f->done = true;
    free(film);
    free(sheet);
}

/* --- the watch -----------------------------------------------------------------------------------
 */

static bool stood_still(const struct seen *a, const struct seen *b)
{
    return a->size == b->size && a->changed.tv_sec == b->changed.tv_sec &&
           a->changed.tv_nsec == b->changed.tv_nsec;
}

/* Both looks are by name: what has stood still since the last one, and was not done, is taken. */
static void compare_looks(struct watch *w, struct look *next)
{
    size_t i = 0;
    for (size_t j = 0; j < next->n; j++) {
        struct seen *f = &next->file[j];
        while (i < w->now.n && strcmp(w->now.file[i].name, f->name) < 0)
            i++;
        if (i == w->now.n || strcmp(w->now.file[i].name, f->name) != 0 ||
            !stood_still(&w->now.file[i], f))
            continue;
        f->done = w->now.file[i].done;
        if (!f->done)
            take(w, f);
    }
}

/* The next look. A folder that is gone, as a share may be for a while, is told once. */
static void look_again(struct watch *w, bool *gone)
{
    struct look next;
    struct err err;
    if (look_at(w->dir, &next, &err) != 0) {
        if (!*gone)
            fprintf(stderr, "plumbrule: %s: %s: waiting for it\n", w->dir, err.text);
        *gone = true;
        return;
    }
    *gone = false;
    compare_looks(w, &next);
    look_release(&w->now);
    w->now = next;
}

/* A second, or less when somebody ends the program: then true. */
static bool pause_or_end(const sigset_t *ends)
{
    const struct timespec second = {.tv_sec = PAUSE_S};
    while (waitpid(-1, NULL, WNOHANG) > 0)
        continue; /* windows that were closed */
    return sigtimedwait(ends, NULL, &second) > 0;
}

/* Of --once: what is still being written after two looks is left to the next time. */
static void tell_unfinished(const struct watch *w)
{
    for (size_t i = 0; i < w->now.n; i++)
        if (!w->now.file[i].done)
            fprintf(stderr, "plumbrule: %s/%s: is still being written: left alone\n", w->dir,
                    w->now.file[i].name);
}

static void watch_on(struct watch *w, const sigset_t *ends)
{
    bool gone = false;
    for (size_t i = 0; i < w->now.n; i++)
        w->now.file[i].done = true;
    fprintf(stderr, "plumbrule: %s: waiting for films; %zu that are there are left alone\n", w->dir,
            w->now.n);
    while (!ferror(stdout) && !pause_or_end(ends))
        look_again(w, &gone);
}

int cli_watch(const struct cli_options *o, const char *dir)
{
    struct watch w = {.o = o, .dir = dir};
    struct err err;
    bool gone = false;
    sigset_t ends;
    sigemptyset(&ends);
    sigaddset(&ends, SIGINT);
    sigaddset(&ends, SIGTERM);
    sigprocmask(SIG_BLOCK, &ends, NULL);
    int rc = look_at(dir, &w.now, &err);
    if (rc != 0) {
        fprintf(stderr, "plumbrule: %s: %s\n", dir, err.text);
        return cli_exit_code(rc);
    }
    if (!o->once) {
        watch_on(&w, &ends);
        w.worst = EX_OK; /* each film's fault was told when it came */
    } else if (!pause_or_end(&ends)) {
        look_again(&w, &gone);
        tell_unfinished(&w);
        w.worst = gone ? EX_NOINPUT : w.worst;
    }
    look_release(&w.now);
    return w.worst;
}
