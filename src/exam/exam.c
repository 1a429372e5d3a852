/*
 * Opening, measuring and saving an exam: a sheet with its film. The film of a sheet is looked for
 * beside the sheet; its digest is checked on every load.
 */
#include "plumbrule/exam.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* A limits file is a page or two of text. */
static const size_t limits_max_bytes = 1 << 20;

void plumb_exam_options_default(struct exam_options *o)
{
    *o = (struct exam_options){0};
    plumb_film_options_default(&o->film);
}

void plumb_exam_release(struct exam *e)
{
    if (e == NULL)
        return;
    plumb_film_release(&e->film);
    plumb_sheet_release(&e->sheet);
    plumb_meas_result_release(&e->result);
    plumb_sheet_notes_release(&e->notes);
    free(e->film_path);
    free(e->sheet_path);
    *e = (struct exam){0};
}

static char *copy_text(const char *s, struct err *err)
{
    char *out = plumb_mem_array(strlen(s) + 1, 1, err);
    if (out != NULL)
        strcpy(out, s);
    return out;
}

/* --- the clinician's own limits ------------------------------------------------------------------
 */

/* $XDG_CONFIG_HOME/plumbrule/limits.json, or under ~/.config; NULL when neither is set. */
static char *user_limits_path(struct err *err)
{
    const char *xdg = getenv("XDG_CONFIG_HOME"), *home = getenv("HOME");
    if (xdg != NULL && xdg[0] == '/')
        return plumb_path_join(xdg, "plumbrule/limits.json", err);
    if (home != NULL && home[0] == '/')
        return plumb_path_join(home, ".config/plumbrule/limits.json", err);
    return NULL;
}

static int read_limits(const char *path, struct meas_config *c, struct err *err)
{
    struct buf text;
    int rc = plumb_file_read(path, limits_max_bytes, &text, err);
    if (rc == 0)
        rc = plumb_meas_config_parse(text.data, text.len, c, err);
    plumb_buf_release(&text);
    if (rc != 0)
        plumb_err_prefix(err, "limits file %.90s", path);
    return rc;
}

int plumb_exam_config(const struct exam_options *o, struct meas_config *c, struct err *err)
{
    int rc = plumb_meas_config_default(c, err);
    if (rc == 0 && o->limits_path != NULL)
        rc = read_limits(o->limits_path, c, err);
    if (rc == 0 && o->limits_path == NULL) {
        char *path = user_limits_path(NULL);
        if (path != NULL && access(path, F_OK) == 0)
            rc = read_limits(path, c, err);
        free(path);
    }
    c->beam_error_deg = o->beam_error_deg;
    return rc;
}

/* --- opening
 * -------------------------------------------------------------------------------------- */

static void take_film_notes(struct exam *e)
{
    for (size_t i = 0; i < e->film.n_notes; i++)
        plumb_sheet_notes_add(&e->notes, "%s", e->film.note[i]);
}

/* The sheet names its film relative to its own folder. */
static char *film_path_of(const char *sheet_path, const char *film, struct err *err)
{
    const char *slash = strrchr(sheet_path, '/');
    if (strcmp(film, "-") == 0) /* a file of that name, not standard input */
        film = "./-";
    if (film[0] == '/' || slash == NULL || strcmp(sheet_path, "-") == 0)
        return copy_text(film, err);
    char *dir = plumb_mem_array((size_t)(slash - sheet_path) + 2, 1, err);
    if (dir == NULL)
        return NULL;
    memcpy(dir, sheet_path, (size_t)(slash - sheet_path) + 1);
    char *out = plumb_path_join(dir, film, err);
    free(dir);
    return out;
}

static int check_digest(struct exam *e, const struct exam_options *o, struct err *err)
{
    if (e->sheet.film.sha256[0] == '\0' || strcmp(e->sheet.film.sha256, e->film.sha256) == 0)
        return 0;
    if (!o->film_changed)
        return plumb_err_set(err, ERR_FORMAT,
                             "its film %.80s is not the file that was marked (other digest): find "
                             "the right file, or accept it with --film-changed",
                             e->sheet.film.file);
    plumb_sheet_notes_add(&e->notes, "the film is not the file that was marked; accepted by "
                                     "--film-changed");
    plumb_text_copy(e->sheet.film.sha256, sizeof e->sheet.film.sha256, e->film.sha256);
    return 0;
}

/* A sheet from elsewhere may name a pipe or a device, which might never end. */
static int refuse_device(const char *path, struct err *err)
{
    struct stat st;
    if (stat(path, &st) != 0 || S_ISREG(st.st_mode) || S_ISDIR(st.st_mode))
        return 0; /* what is not there, and folders, are told by who reads */
    return plumb_err_set(err, ERR_FORMAT, "is a device or a pipe, not a file: name the film");
}

static int load_film(struct exam *e, const struct exam_options *o, struct err *err)
{
    int rc = plumb_film_load(e->film_path, &o->film, &e->film, err);
    if (rc != 0)
        return rc;
    take_film_notes(e);
    return 0;
}

static int read_sheet(struct exam *e, const char *path, struct err *err)
{
    struct buf text;
    int rc = plumb_file_read(path, SHEET_BYTES, &text, err);
    if (rc == ERR_LIMIT)
        rc = plumb_err_set(err, ERR_LIMIT,
                           "is larger than any sheet: if it is a film, make its sheet with "
                           "plumbrule start");
    if (rc == 0 && plumb_film_is_known(text.data, text.len))
        rc = plumb_err_set(err, ERR_FORMAT,
                           "is a film, no sheet: make its sheet with plumbrule start");
    if (rc == 0)
        rc = plumb_sheet_parse(text.data, text.len, &e->sheet, &e->notes, err);
    plumb_buf_release(&text);
    return rc;
}

/* The question "and on the other axis?", without touching the sheet's file. */
static void move_plan(struct exam *e, const struct exam_options *o)
{
    static const char *const word[] = {
        [PLAN_ON_PIN] = "pin's axis", [PLAN_ON_BISECTOR] = "bisector"};
    struct sheet_plan *p = &e->sheet.plan;
    if (!o->has_plan_on || !p->set || p->on == o->plan_on)
        return;
    plumb_sheet_notes_add(&e->notes,
                          "the plan stands on the %s as asked for, in the sheet on the %s",
                          word[o->plan_on], word[p->on]);
    p->on = o->plan_on;
}

int plumb_exam_open_sheet(const char *path, const struct exam_options *o, struct exam *out,
                          struct err *err)
{
    *out = (struct exam){0};
    int rc = plumb_exam_config(o, &out->config, err);
    if (rc == 0)
        rc = read_sheet(out, path, err);
    if (rc == 0 && strcmp(path, "-") != 0 && (out->sheet_path = copy_text(path, err)) == NULL)
        rc = ERR_NOMEM;
    if (rc == 0 && (out->film_path = film_path_of(path, out->sheet.film.file, err)) == NULL)
        rc = ERR_NOMEM;
    if (rc == 0) {
        rc = refuse_device(out->film_path, err);
        if (rc == 0)
            rc = load_film(out, o, err);
        if (rc != 0)
            plumb_err_prefix(err, "film %.90s", out->sheet.film.file);
    }
    if (rc == 0)
        rc = check_digest(out, o, err);
    if (rc == 0)
        rc = plumb_sheet_check(&out->sheet, out->film.width, out->film.height, &out->notes, err);
    if (rc == 0) {
        move_plan(out, o);
        rc = plumb_exam_measure(out, err);
    }
    if (rc != 0)
        plumb_exam_release(out);
    return rc;
}

static void name_film(struct exam *e)
{
    struct sheet_film *f = &e->sheet.film;
    plumb_text_copy(f->file, sizeof f->file, plumb_path_base(e->film_path));
    plumb_text_copy(f->sha256, sizeof f->sha256, e->film.sha256);
    f->width = e->film.width;
    f->height = e->film.height;
}

int plumb_exam_open_film(const char *path, const struct exam_options *o, struct exam *out,
                         struct err *err)
{
    *out = (struct exam){0};
    plumb_sheet_init(&out->sheet);
    const char *name = plumb_path_base(path);
    if (strlen(name) >= SHEET_WORDS || !plumb_text_is_utf8(name, strlen(name)))
        return plumb_err_set(err, ERR_ARG, "its name is too long or not UTF-8: rename the film");
    int rc = plumb_exam_config(o, &out->config, err);
    if (rc == 0 && (out->film_path = copy_text(path, err)) == NULL)
        rc = ERR_NOMEM;
    if (rc == 0)
        rc = load_film(out, o, err);
    if (rc == 0) {
        name_film(out);
        rc = plumb_exam_measure(out, err);
    }
    if (rc != 0)
        plumb_exam_release(out);
    return rc;
}

int plumb_exam_measure(struct exam *e, struct err *err)
{
    struct meas_film film = {.width = e->film.width,
                             .height = e->film.height,
                             .mirrored = e->film.mirrored,
                             .pitch_um =
                                 e->film.pitch == FILM_PITCH_DETECTOR ? e->film.pitch_um : 0.0};
    struct meas_result next;
    int rc = plumb_meas_run(&e->sheet, &film, &e->config, &next, err);
    if (rc != 0)
        return rc;
    plumb_meas_result_release(&e->result);
    e->result = next;
    return 0;
}

/* The first of PATH.old, PATH.old2, PATH.old3 ... that is free takes the text: an older copy is
 * never written over, not even when two programs replace at once. */
static int keep_text(const char *path, const struct buf *text, struct err *err)
{
    enum { COPIES_MOST = 999, DIGITS = 3 };
    static const char ending[] = ".old";
    size_t room = strlen(path) + sizeof ending + DIGITS;
    char *old = plumb_mem_array(room, 1, err);
    int rc = old ? ERR_CREATE : ERR_NOMEM;
    bool taken = true;
    for (int i = 1; rc == ERR_CREATE && taken && i <= COPIES_MOST; i++) {
        struct stat st;
        if (i == 1)
            snprintf(old, room, "%s%s", path, ending);
        else
            snprintf(old, room, "%s%s%d", path, ending, i);
        rc = plumb_file_write(old, text->data, text->len, false, err);
        taken = lstat(old, &st) == 0;
    }
    free(old);
    return rc;
}

int plumb_exam_keep_old(const char *path, struct err *err)
{
    struct stat st;
    if (stat(path, &st) != 0 || !S_ISREG(st.st_mode))
        return 0; /* nothing there, or a device that keeps nothing */
    struct buf text = {0};
    int rc = plumb_file_read(path, SHEET_BYTES, &text, err);
    bool film = rc == 0 && plumb_film_is_known(text.data, text.len);
    if (rc == 0 && !film)
        rc = keep_text(path, &text, err);
    if (film)
        rc = plumb_err_set(err, ERR_CREATE, "is a film and never written over: name another file");
    else if (rc != 0)
        plumb_err_prefix(err, "no old copy could be kept, so nothing was written");
    plumb_buf_release(&text);
    return rc;
}

int plumb_exam_save(struct exam *e, const char *path, bool replace, struct err *err)
{
    const char *to = path ? path : e->sheet_path;
    if (to == NULL)
        return plumb_err_set(err, ERR_ARG, "the sheet has no name yet: give one");
    struct buf text = {0};
    int rc = plumb_sheet_print(&e->sheet, &text, err);
    if (rc == 0)
        rc = plumb_file_write(to, text.data, text.len, replace, err);
    plumb_buf_release(&text);
    if (rc != 0 || to == e->sheet_path)
        return rc;
    char *name = copy_text(to, err);
    if (name == NULL)
        return ERR_NOMEM;
    free(e->sheet_path);
    e->sheet_path = name;
    return 0;
}
