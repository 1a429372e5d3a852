/*
 * A record on disk, of a sheet or of a series: NAME-rNN.png, .txt and .json, the next free
 * revision, the JSON last, so that a record without it is known to be unfinished. Nothing existing
 * is touched; what this call has begun and cannot finish it takes away again.
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

/* What goes into a record, be it of one sheet or of a series. */
struct content {
    struct buf text, json;
    /* puts the picture into the open file */
    int (*picture)(const void *of, const void *how, struct file_out *to, struct err *err);
    const void *of, *how;
};

static void content_release(struct content *c)
{
    plumb_buf_release(&c->text);
    plumb_buf_release(&c->json);
}

static int write_picture(const struct content *c, const char *path, struct err *err)
{
    struct file_out f;
    int rc = plumb_file_out_open(&f, path, false, err);
    if (rc != 0)
        return rc;
    rc = c->picture(c->of, c->how, &f, err);
    if (rc != 0) {
        plumb_file_out_abort(&f);
        return rc;
    }
    return plumb_file_out_commit(&f, err);
}

static int write_files(const struct content *c, const struct rec_paths *p, struct err *err)
{
    int rc = write_picture(c, p->picture, err);
    if (rc != 0)
        return rc;
    rc = plumb_file_write(p->text, c->text.data, c->text.len, false, err);
    if (rc != 0) {
        unlink(p->picture);
        return rc;
    }
    rc = plumb_file_write(p->json, c->json.data, c->json.len, false, err);
    if (rc != 0) {
        unlink(p->picture);
        unlink(p->text);
    }
    return rc;
}

static int write_content(const struct content *c, const char *dir, const char *name,
                         struct rec_paths *out, struct err *err)
{
    int rc = make_folder(dir, err);
    if (rc == 0)
        rc = next_revision(dir, name, &out->revision, err);
    if (rc == 0)
        rc = name_files(dir, name, out, err);
    if (rc == 0)
        rc = write_files(c, out, err);
    if (rc != 0)
        plumb_rec_paths_release(out);
    return rc;
}

static int picture_of_exam(const void *of, const void *how, struct file_out *to, struct err *err)
{
    return plumb_rec_picture(of, how, to, err);
}

int plumb_rec_write(const struct exam *e, const char *dir, const struct rec_picture_options *o,
                    struct rec_paths *out, struct err *err)
{
    char name[NAME_BYTES];
    struct content c = {.picture = picture_of_exam, .of = e, .how = o};
    *out = (struct rec_paths){0};
    record_name(e, name);
    int rc = plumb_rec_text(e, &c.text, err);
    if (rc == 0)
        rc = plumb_rec_json(e, true, &c.json, err);
    if (rc == 0)
        rc = write_content(&c, dir, name, out, err);
    content_release(&c);
    return rc;
}

static int picture_of_series(const void *of, const void *how, struct file_out *to, struct err *err)
{
    (void)how;
    return plumb_rec_series_plot(of, to, err);
}

int plumb_rec_series_write(const struct exam_series *s, const char *dir, struct rec_paths *out,
                           struct err *err)
{
    char name[NAME_BYTES], tooth[8];
    struct content c = {.picture = picture_of_series, .of = s};
    const struct sheet_site *site = &s->exam[0].sheet.site;
    *out = (struct rec_paths){0};
    plumb_tooth_print(site->tooth, site->notation, tooth);
    snprintf(name, sizeof name, "series-%s", tooth);
    int rc = plumb_rec_series_text(s, &c.text, err);
    if (rc == 0)
        rc = plumb_rec_series_json(s, true, &c.json, err);
    if (rc == 0)
        rc = write_content(&c, dir, name, out, err);
    content_release(&c);
    return rc;
}
