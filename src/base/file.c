/*
 * Whole-file reading and atomic writing. A new file is written beside its place, synced, then given
 * its name: by rename when it may replace, by link when it must not (link fails when the name has
 * been taken meanwhile; rename would not). What must not replace is written without any name where
 * the system can (Linux open(2), O_TMPFILE), so that a program killed meanwhile leaves nothing. A
 * symbolic link and the permissions of a replaced file stay as they were.
 */
#define _GNU_SOURCE /* realpath, O_TMPFILE */
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

/* Where the bytes go in the end: the file behind a symbolic link, so that the link stays one. */
static char *real_place(const char *path, bool replace, struct err *err)
{
    char *end = replace ? realpath(path, NULL) : NULL;
    if (end != NULL)
        return end;
    size_t n = strlen(path) + 1;
    end = plumb_mem_array(n, 1, err);
    return end != NULL ? memcpy(end, path, n) : NULL;
}

/* A new file beside path. Hidden and short: no other program takes it for a film, and any name that
 * the folder can hold can be written. */
static int open_temp(struct file_out *f, struct err *err)
{
    static const int most_tries = 1000; /* names that others took or left behind */
    static const size_t room = 64;
    size_t dir = (size_t)(plumb_path_base(f->path) - f->path);
    f->temp = plumb_mem_array(dir + room, 1, err);
    if (f->temp == NULL)
        return ERR_NOMEM;
    memcpy(f->temp, f->path, dir);
    f->fd = -1;
    errno = EEXIST;
    for (int i = 0; i < most_tries && f->fd < 0 && errno == EEXIST; i++) {
        snprintf(f->temp + dir, room, ".plumbrule-%ld-%d.part", (long)getpid(), i);
        f->fd = open(f->temp, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    }
    if (f->fd < 0)
        return plumb_err_set(err, ERR_CREATE, "cannot be created: %s", strerror(errno));
    return 0;
}

/* The folder of a path, in its own memory: the name is cut off. */
static const char *cut_to_folder(char *path)
{
    char *slash = strrchr(path, '/');
    if (slash == NULL)
        return ".";
    slash[slash == path ? 1 : 0] = '\0';
    return path;
}

enum { FD_NAME = 40 };

/* A name by which an open file can be linked to. */
static void name_of_fd(int fd, char out[FD_NAME])
{
    snprintf(out, FD_NAME, "/proc/self/fd/%d", fd);
}

/* A file without a name, in the folder of the path; false where there is none to be had. */
static bool open_unnamed(struct file_out *f)
{
#ifdef O_TMPFILE
    char name[FD_NAME], *copy = plumb_mem_array(strlen(f->path) + 1, 1, NULL);
    if (copy == NULL)
        return false;
    strcpy(copy, f->path);
    f->fd = open(cut_to_folder(copy), O_TMPFILE | O_WRONLY | O_CLOEXEC, 0666);
    free(copy);
    if (f->fd < 0)
        return false;
    name_of_fd(f->fd, name);
    f->unnamed = access(name, F_OK) == 0;
    if (!f->unnamed)
        close(f->fd);
#endif
    return f->unnamed;
}

/* A device or a pipe is written to, never replaced. */
static int open_device(struct file_out *f, struct err *err)
{
    f->fd = open(f->path, O_WRONLY | O_CLOEXEC);
    if (f->fd < 0)
        return plumb_err_set(err, ERR_CREATE, "cannot be opened: %s", strerror(errno));
    return 0;
}

static bool is_device(const struct stat *st)
{
    return S_ISCHR(st->st_mode) || S_ISFIFO(st->st_mode) || S_ISBLK(st->st_mode);
}

static int open_output(struct file_out *f, const struct stat *old, struct err *err)
{
    if (old != NULL && S_ISDIR(old->st_mode))
        return plumb_err_set(err, ERR_CREATE, "is a folder: name a file in it");
    if (old != NULL && is_device(old))
        return open_device(f, err);
    if (!f->replace && open_unnamed(f))
        return 0;
    int rc = open_temp(f, err);
    /* what was private stays private */
    if (rc == 0 && old != NULL && fchmod(f->fd, old->st_mode & 0777) != 0) {
        rc = plumb_err_set(err, ERR_CREATE, "cannot be created: %s", strerror(errno));
        close(f->fd);
        unlink(f->temp);
    }
    return rc;
}

int plumb_file_out_open(struct file_out *f, const char *path, bool replace, struct err *err)
{
    *f = (struct file_out){.replace = replace};
    struct stat st;
    bool there = stat(path, &st) == 0;
    bool taken = there || lstat(path, &st) == 0;
    if (!replace && taken && !(there && is_device(&st)))
        return plumb_err_set(err, ERR_CREATE,
                             "is there already and not overwritten: name another file");
    f->path = real_place(path, replace, err);
    int rc = f->path != NULL ? open_output(f, there ? &st : NULL, err) : ERR_NOMEM;
    if (rc != 0) {
        file_out_release(f);
        return rc;
    }
    f->open = true;
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

/* The new name lasts a power cut only once the folder is on disk too; some file systems refuse.
 * Cuts the name off f->path. */
static void sync_folder(struct file_out *f)
{
    int fd = open(cut_to_folder(f->path), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return;
    (void)fsync(fd);
    close(fd);
}

/* Without hard links: an empty file that only we can have made holds the place. */
static int take_place(const struct file_out *f)
{
    int fd = open(f->path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (fd < 0)
        return -1;
    close(fd);
    return rename(f->temp, f->path);
}

static int give_name(const struct file_out *f)
{
    if (f->replace)
        return rename(f->temp, f->path);
    if (link(f->temp, f->path) == 0) {
        (void)unlink(f->temp);
        return 0;
    }
    return errno == EEXIST || errno == ENOENT ? -1 : take_place(f);
}

/* Everything on disk? Leaves the reason in errno. Pipes and some devices cannot be synced, which is
 * no failure to write. */
static bool is_synced(const struct file_out *f)
{
    return fsync(f->fd) == 0 || errno == EINVAL || errno == EROFS || errno == ENOTSUP;
}

/* Everything on disk and closed? */
static bool finish_writing(struct file_out *f)
{
    bool synced = is_synced(f);
    int why = errno;
    bool closed = close(f->fd) == 0;
    if (!synced)
        errno = why;
    f->open = false;
    return synced && closed;
}

/* The name goes to the open file, which ends with its last descriptor when it gets none. */
static int commit_unnamed(struct file_out *f, struct err *err)
{
    char name[FD_NAME];
    int rc = 0;
    name_of_fd(f->fd, name);
    if (!is_synced(f))
        rc = plumb_err_set(err, ERR_IO, "cannot be written: %s", strerror(errno));
    else if (linkat(AT_FDCWD, name, AT_FDCWD, f->path, AT_SYMLINK_FOLLOW) != 0)
        rc = plumb_err_set(err, ERR_CREATE, "cannot be given its name: %s", strerror(errno));
    close(f->fd);
    if (rc == 0)
        sync_folder(f);
    file_out_release(f);
    return rc;
}

int plumb_file_out_commit(struct file_out *f, struct err *err)
{
    int rc = 0;
    if (f->unnamed)
        return commit_unnamed(f, err);
    if (!finish_writing(f))
        rc = plumb_err_set(err, ERR_IO, "cannot be written: %s", strerror(errno));
    else if (f->temp != NULL && give_name(f) != 0)
        rc = plumb_err_set(err, ERR_CREATE, "cannot be given its name: %s", strerror(errno));
    if (f->temp != NULL && rc != 0)
        unlink(f->temp);
    else if (f->temp != NULL)
        sync_folder(f);
    file_out_release(f);
    return rc;
}

void plumb_file_out_abort(struct file_out *f)
{
    if (f == NULL || !f->open)
        return;
    close(f->fd);
    if (f->temp != NULL)
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
