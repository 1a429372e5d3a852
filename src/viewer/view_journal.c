/*
 * Unsaved work survives: after every edit the sheet is written beside its place as SHEET.unsaved,
 * an ordinary sheet, whole or not at all. It goes when the work is saved or thrown away, and is
 * offered at the next start when it is found. Two windows would write over each other's: the film
 * is locked (flock, read only), and the system drops the lock with the process, even after a
 * kill -9.
 */
#include "viewer/view_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

int view_journal_write(const char *path, const struct sheet *s, struct err *err)
{
    struct buf text = {0};
    int rc = plumb_sheet_print(s, &text, err);
    if (rc == 0)
        rc = plumb_file_write(path, text.data, text.len, true, err);
    plumb_buf_release(&text);
    return rc;
}

static int parse_for(const struct buf *text, const struct film *film, struct sheet *out,
                     struct err *err)
{
    struct sheet_notes notes = {0};
    int rc = plumb_sheet_parse(text->data, text->len, out, &notes, err);
    if (rc != 0)
        return rc;
    if (strcmp(out->film.sha256, film->sha256) != 0)
        rc = plumb_err_set(err, ERR_FORMAT, "it belongs to another film");
    if (rc == 0)
        rc = plumb_sheet_check(out, film->width, film->height, &notes, err);
    plumb_sheet_notes_release(&notes);
    if (rc != 0)
        plumb_sheet_release(out);
    return rc;
}

int view_journal_read(const char *path, const struct film *film, struct sheet *out, struct err *err)
{
    if (access(path, F_OK) != 0)
        return plumb_err_set(err, ERR_NOTFOUND, "there is none");
    struct buf text = {0};
    int rc = plumb_file_read(path, SHEET_BYTES, &text, err);
    if (rc == 0)
        rc = parse_for(&text, film, out, err);
    plumb_buf_release(&text);
    return rc;
}

void view_journal_remove(const char *path)
{
    if (path != NULL)
        (void)unlink(path);
}

int view_lock(const char *film, int *lock, struct err *err)
{
    *lock = open(film, O_RDONLY | O_CLOEXEC);
    if (*lock < 0 || flock(*lock, LOCK_EX | LOCK_NB) == 0)
        return 0;
    int why = errno;
    close(*lock);
    *lock = -1;
    if (why != EWOULDBLOCK)
        return 0;
    return plumb_err_set(err, ERR_IO, "is open in another window: go on there, or close it first");
}

struct view_stamp view_stamp_of(const char *path)
{
    struct stat st;
    if (stat(path, &st) != 0)
        return (struct view_stamp){0};
    return (struct view_stamp){.set = true,
                               .s = (int64_t)st.st_mtim.tv_sec,
                               .ns = (int64_t)st.st_mtim.tv_nsec,
                               .bytes = (int64_t)st.st_size};
}

bool view_stamp_same(struct view_stamp a, struct view_stamp b)
{
    return a.set == b.set && a.s == b.s && a.ns == b.ns && a.bytes == b.bytes;
}

char *view_sheet_path(const char *film, struct err *err)
{
    static const char ending[] = ".sheet.json";
    char *out = plumb_mem_array(strlen(film) + sizeof ending, 1, err);
    if (out == NULL)
        return NULL;
    memcpy(out, film, strlen(film) + 1);
    char *slash = strrchr(out, '/'), *base = slash ? slash + 1 : out, *dot = strrchr(base, '.');
    if (dot != NULL && dot != base)
        *dot = '\0';
    memcpy(out + strlen(out), ending, sizeof ending);
    return out;
}

char *view_journal_path(const char *sheet, struct err *err)
{
    static const char ending[] = ".unsaved";
    size_t n = strlen(sheet);
    char *out = plumb_mem_array(n + sizeof ending, 1, err);
    if (out == NULL)
        return NULL;
    memcpy(out, sheet, n);
    memcpy(out + n, ending, sizeof ending);
    return out;
}
