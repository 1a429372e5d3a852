/*
 * Whole-file reading and atomic writing. A new file is written beside its place, synced, then given
 * its name: by rename when it may replace, by link when it must not (link fails when the name has
 * been taken meanwhile; rename would not).
 */
#include "plumbrule/base.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static int open_input(const char *path, int *fd, struct err *err)
{
    struct stat st;
    *fd = strcmp(path, "-") == 0 ? dup(STDIN_FILENO) : open(path, O_RDONLY | O_CLOEXEC);
    if (*fd < 0 && (errno == ENOENT || errno == ENOTDIR))
        return plumb_err_set(err, ERR_NOTFOUND, "no such file: check the name");
    if (*fd < 0)
        return plumb_err_set(err, ERR_IO, "cannot be opened: %s", strerror(errno));
    if (fstat(*fd, &st) == 0 && S_ISDIR(st.st_mode)) {
        close(*fd);
        return plumb_err_set(err, ERR_NOTFOUND, "is a folder: name a file in it");
    }
    return 0;
}

int plumb_file_read(const char *path, size_t max, struct buf *out, struct err *err)
{
    *out = (struct buf){0};
    int fd;
    int rc = open_input(path, &fd, err);
    if (rc != 0)
        return rc;
    static const size_t chunk = 1 << 16;
    struct stat st;
    if (fstat(fd, &st) == 0 && S_ISREG(st.st_mode) && st.st_size > 0 && (size_t)st.st_size <= max) {
        /* take the right size at once; growing by doubling could hold it twice */
        out->data = plumb_mem_array((size_t)st.st_size + 2, 1, err);
        if (out->data == NULL) {
            close(fd);
            return ERR_NOMEM;
        }
        out->cap = (size_t)st.st_size + 2;
    }
    char *piece = plumb_mem_array(chunk, 1, err);
    if (piece == NULL) {
        rc = ERR_NOMEM;
        goto out;
    }
    for (;;) {
        ssize_t n = read(fd, piece, chunk);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0) {
            rc = plumb_err_set(err, ERR_IO, "cannot be read: %s", strerror(errno));
            goto out;
        }
        if (n == 0)
            break;
        if ((size_t)n > max - out->len) {
            rc = plumb_err_set(err, ERR_LIMIT, "larger than %zu bytes: not read", max);
            goto out;
        }
        plumb_buf_add(out, piece, (size_t)n);
    }
    plumb_buf_add(out, "", 0);
    rc = plumb_buf_check(out, err);
out:
    free(piece);
    close(fd);
    if (rc != 0)
        plumb_buf_release(out);
    return rc;
}

static void file_out_release(struct file_out *f)
{
    free(f->path);
    free(f->temp);
    *f = (struct file_out){0};
}

int plumb_file_out_open(struct file_out *f, const char *path, bool replace, struct err *err)
{
    *f = (struct file_out){.replace = replace};
    struct stat st;
    if (!replace && lstat(path, &st) == 0)
        return plumb_err_set(err, ERR_CREATE, "is there already: not overwritten");
    size_t n = strlen(path) + 16;
    f->path = plumb_mem_array(n, 1, err);
    f->temp = plumb_mem_array(n, 1, err);
    if (f->path == NULL || f->temp == NULL) {
        file_out_release(f);
        return ERR_NOMEM;
    }
    snprintf(f->path, n, "%s", path);
    snprintf(f->temp, n, "%s.XXXXXX", path);
    f->fd = mkstemp(f->temp);
    if (f->fd < 0) {
        int why = errno;
        file_out_release(f);
        return plumb_err_set(err, ERR_CREATE, "cannot be created: %s", strerror(why));
    }
    f->open = true;
    mode_t mask = umask(0);
    umask(mask);
    if (fchmod(f->fd, 0666 & ~mask) != 0) {
        int why = errno;
        plumb_file_out_abort(f);
        return plumb_err_set(err, ERR_CREATE, "cannot be created: %s", strerror(why));
    }
    return 0;
}

int plumb_file_out_write(struct file_out *f, const void *data, size_t len, struct err *err)
{
    const char *p = data;
    while (len > 0) {
        ssize_t n = write(f->fd, p, len);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return plumb_err_set(err, ERR_IO, "cannot be written: %s", strerror(errno));
        p += n;
        len -= (size_t)n;
    }
    return 0;
}

/* The new name lasts a power cut only once the folder is on disk too; some file systems refuse. */
static void sync_folder(const char *path)
{
    char *dir = strdup(path);
    if (dir == NULL)
        return;
    char *slash = strrchr(dir, '/');
    if (slash == dir)
        slash[1] = '\0';
    else if (slash != NULL)
        *slash = '\0';
    int fd = open(slash ? dir : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd >= 0) {
        (void)fsync(fd);
        close(fd);
    }
    free(dir);
}

static int give_name(const struct file_out *f)
{
    if (f->replace)
        return rename(f->temp, f->path);
    if (link(f->temp, f->path) == 0)
        return unlink(f->temp);
    if (errno == EPERM || errno == ENOTSUP) /* no hard links on this file system */
        return access(f->path, F_OK) == 0 ? (errno = EEXIST, -1) : rename(f->temp, f->path);
    return -1;
}

int plumb_file_out_commit(struct file_out *f, struct err *err)
{
    bool synced = fsync(f->fd) == 0 || errno == EINVAL || errno == EROFS;
    int why = errno;
    bool closed = close(f->fd) == 0;
    if (synced && !closed)
        why = errno;
    f->open = false;
    if (!synced || !closed) {
        unlink(f->temp);
        file_out_release(f);
        return plumb_err_set(err, ERR_IO, "cannot be written: %s", strerror(why));
    }
    if (give_name(f) != 0) {
        why = errno;
        unlink(f->temp);
        file_out_release(f);
        return plumb_err_set(err, ERR_CREATE, "cannot be given its name: %s", strerror(why));
    }
    sync_folder(f->path);
    file_out_release(f);
    return 0;
}

void plumb_file_out_abort(struct file_out *f)
{
    if (f == NULL || !f->open)
        return;
    close(f->fd);
    unlink(f->temp);
    file_out_release(f);
}

int plumb_file_write(const char *path, const void *data, size_t len, bool replace, struct err *err)
{
    struct file_out f;
    int rc = plumb_file_out_open(&f, path, replace, err);
    if (rc != 0)
        return rc;
    rc = plumb_file_out_write(&f, data, len, err);
    if (rc != 0) {
        plumb_file_out_abort(&f);
        return rc;
    }
    return plumb_file_out_commit(&f, err);
}
