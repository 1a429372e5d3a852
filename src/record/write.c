/*
 * A record on disk: NAME-rNN.png, .txt and .json, the next free revision, the JSON last, so that a
 * record without it is known to be unfinished. Nothing existing is touched; what this call has
 * begun and cannot finish it takes away again.
 */
#include "plumbrule/record.h"

#include <ctype.h>
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { REVISION_MAX = 9999, NAME_BYTES = 200 };

void plumb_rec_paths_release(struct rec_paths *p)
{
    if (p == NULL)
        return;
    free(p->picture);
    free(p->text);
    free(p->json);
    *p = (struct rec_paths){0};
}

/* The sheet's name without folder and ending (site35.sheet.json -> site35); the film's when there
 * is no sheet file. */
static void record_name(const struct exam *e, char out[NAME_BYTES])
{
    static const char tail[] = ".sheet";
    const char *path = e->sheet_path ? e->sheet_path : e->sheet.film.file;
    plumb_text_copy(out, NAME_BYTES, plumb_path_base(path));
    char *dot = strrchr(out, '.');
    if (dot != NULL && dot != out)
        *dot = '\0';
    dot = strrchr(out, '.');
    if (dot != NULL && dot != out && strcmp(dot, tail) == 0)
        *dot = '\0';
}

/* Revision number of a file's name, 0 when it is none of ours. */
static unsigned revision_of(const char *file, const char *name)
{
    size_t n = strlen(name);
    if (strncmp(file, name, n) != 0 || strncmp(file + n, "-r", 2) != 0 ||
        !isdigit((unsigned char)file[n + 2]))
        return 0;
    char *end;
    unsigned long r = strtoul(file + n + 2, &end, 10);
    return *end == '.' && r <= REVISION_MAX ? (unsigned)r : 0;
}

static int next_revision(const char *dir, const char *name, unsigned *next, struct err *err)
{
    DIR *d = opendir(dir);
    if (d == NULL)
        return plumb_err_set(err, ERR_CREATE, "folder %.120s cannot be read: %s", dir,
                             strerror(errno));
    unsigned last = 0;
    for (const struct dirent *f = readdir(d); f != NULL; f = readdir(d)) {
        unsigned r = revision_of(f->d_name, name);
        last = r > last ? r : last;
    }
    closedir(d);
    *next = last + 1;
    return last < REVISION_MAX ? 0
                               : plumb_err_set(err, ERR_LIMIT,
                                               "has %u records: use another "
                                               "folder",
                                               last);
}

static int make_folder(const char *dir, struct err *err)
{
    if (mkdir(dir, 0777) == 0 || errno == EEXIST)
        return 0;
    return plumb_err_set(err, ERR_CREATE, "folder %.120s cannot be made: %s", dir, strerror(errno));
}

static char *path_of(const char *dir, const char *name, unsigned revision, const char *ending,
                     struct err *err)
{
    char file[NAME_BYTES + 16];
    snprintf(file, sizeof file, "%s-r%02u.%s", name, revision, ending);
    return plumb_path_join(dir, file, err);
}

static int name_files(const char *dir, const char *name, struct rec_paths *p, struct err *err)
{
    p->picture = path_of(dir, name, p->revision, "png", err);
    p->text = path_of(dir, name, p->revision, "txt", err);
    p->json = path_of(dir, name, p->revision, "json", err);
    return p->picture && p->text && p->json ? 0 : ERR_NOMEM;
}

static int write_picture(const struct exam *e, const struct rec_picture_options *o,
                         const char *path, struct err *err)
{
    struct file_out f;
    int rc = plumb_file_out_open(&f, path, false, err);
    if (rc != 0)
        return rc;
    rc = plumb_rec_picture(e, o, &f, err);
    if (rc != 0) {
        plumb_file_out_abort(&f);
        return rc;
    }
    return plumb_file_out_commit(&f, err);
}

static int write_files(const struct exam *e, const struct rec_picture_options *o,
                       const struct rec_paths *p, struct err *err)
{
    struct buf text = {0}, json = {0};
    int rc = plumb_rec_text(e, &text, err);
    if (rc == 0)
        rc = plumb_rec_json(e, true, &json, err);
    if (rc != 0)
        goto out;
    rc = write_picture(e, o, p->picture, err);
    if (rc != 0)
        goto out;
    rc = plumb_file_write(p->text, text.data, text.len, false, err);
    if (rc != 0) {
        unlink(p->picture);
        goto out;
    }
    rc = plumb_file_write(p->json, json.data, json.len, false, err);
    if (rc != 0) {
        unlink(p->picture);
        unlink(p->text);
    }
out:
    plumb_buf_release(&text);
    plumb_buf_release(&json);
    return rc;
}

int plumb_rec_write(const struct exam *e, const char *dir, const struct rec_picture_options *o,
                    struct rec_paths *out, struct err *err)
{
    char name[NAME_BYTES];
    *out = (struct rec_paths){0};
    record_name(e, name);
    int rc = make_folder(dir, err);
    if (rc == 0)
        rc = next_revision(dir, name, &out->revision, err);
    if (rc == 0)
        rc = name_files(dir, name, out, err);
    if (rc == 0)
        rc = write_files(e, o, out, err);
    if (rc != 0)
        plumb_rec_paths_release(out);
    return rc;
}
