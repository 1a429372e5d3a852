/*
 * Whole-file reading and atomic writing on a real folder: nothing is overwritten unasked, nothing
 * half-written is ever seen under the name, no temporary file stays behind, a full disk and a
 * read-only folder are told.
 */
#include "tests/support/close.h"

#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <signal.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>
#include "plumbrule/base.h"

static char folder[64];
static char path[128]; /* a file in it */

static int make_folder(void **state)
{
    (void)state;
    snprintf(folder, sizeof folder, "/tmp/plumb-file-XXXXXX");
    if (mkdtemp(folder) == NULL)
        return -1;
    snprintf(path, sizeof path, "%s/one", folder);
    return 0;
}

/* Names in the folder, "." and ".." left out. */
static size_t count_files(bool remove_them)
{
    size_t n = 0;
    DIR *d = opendir(folder);
    assert_non_null(d);
    for (struct dirent *e = readdir(d); e != NULL; e = readdir(d)) {
        char name[400];
        if (strcmp(e->d_name, ".") == 0 || strcmp(e->d_name, "..") == 0)
            continue;
        snprintf(name, sizeof name, "%s/%s", folder, e->d_name);
        n++;
        if (remove_them)
            unlink(name);
    }
    closedir(d);
    return n;
}

static int remove_folder(void **state)
{
    (void)state;
    plumb_mem_fail_after(0);
    count_files(true);
    return rmdir(folder);
}

static void put(const char *text)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    fputs(text, f);
    fclose(f);
}

static void assert_content(const char *name, const char *text)
{
    struct buf b = {0};
    struct err e = {0};
    assert_int_equal(plumb_file_read(name, 1 << 20, &b, &e), 0);
    assert_string_equal(b.data, text);
    plumb_buf_release(&b);
}

static void reads_what_was_written(void **state)
{
    (void)state;
    size_t n = 300001;
    char *data = malloc(n);
    for (size_t i = 0; i < n; i++)
        data[i] = (char)(i * 7 + i / 251);
    struct buf b = {0};
    assert_int_equal(plumb_file_write(path, data, n, false, NULL), 0);
    assert_int_equal(plumb_file_read(path, n, &b, NULL), 0); /* exactly the size allowed */
    assert_int_equal(b.len, n);
    assert_memory_equal(b.data, data, n);
    assert_int_equal(b.data[n], '\0');
    assert_int_equal(count_files(false), 1);
    plumb_buf_release(&b);
    free(data);
}

static void empty_file_reads_as_empty_text(void **state)
{
    (void)state;
    struct buf b = {0};
    assert_int_equal(plumb_file_write(path, "", 0, false, NULL), 0);
    assert_int_equal(plumb_file_read(path, 0, &b, NULL), 0);
    assert_int_equal(b.len, 0);
    assert_string_equal(b.data, "");
    plumb_buf_release(&b);
}

static void refuses_what_cannot_be_read(void **state)
{
    (void)state;
    struct buf b = {0};
    struct err e = {0};
    assert_int_equal(plumb_file_read(path, 10, &b, &e), ERR_NOTFOUND);
    assert_non_null(strstr(e.text, "no such file"));
    assert_int_equal(plumb_file_read(folder, 10, &b, &e), ERR_NOTFOUND);
    assert_non_null(strstr(e.text, "folder"));
    put("12345678901");
    assert_int_equal(plumb_file_read(path, 10, &b, &e), ERR_LIMIT);
    assert_non_null(strstr(e.text, "10 bytes"));
    assert_null(b.data);
    strcat(path, "/below");
    assert_int_equal(plumb_file_read(path, 10, &b, &e), ERR_NOTFOUND);
    assert_int_equal(plumb_file_read("/proc/self/mem", 10, &b, &e), ERR_IO);
    assert_int_equal(plumb_file_read("/dev/zero", 1 << 20, &b, &e), ERR_LIMIT);
}

static void reads_standard_input(void **state)
{
    (void)state;
    int pipe_ends[2], keep = dup(STDIN_FILENO);
    assert_int_equal(pipe(pipe_ends), 0);
    assert_int_equal(write(pipe_ends[1], "from a pipe", 11), 11);
    close(pipe_ends[1]);
    dup2(pipe_ends[0], STDIN_FILENO);
    assert_content("-", "from a pipe");
    dup2(keep, STDIN_FILENO);
    close(pipe_ends[0]);
    close(keep);
}

static void reading_survives_lack_of_memory(void **state)
{
    (void)state;
    put("text");
    for (long n = 1; n <= 2; n++) {
        struct buf b = {0};
        struct err e = {0};
        plumb_mem_fail_after(n);
        assert_int_equal(plumb_file_read(path, 100, &b, &e), ERR_NOMEM);
        assert_null(b.data);
        assert_int_equal(e.code, ERR_NOMEM);
    }
}

static void does_not_overwrite_unasked(void **state)
{
    (void)state;
    struct err e = {0};
    put("old");
    assert_int_equal(plumb_file_write(path, "new", 3, false, &e), ERR_CREATE);
    assert_non_null(strstr(e.text, "not overwritten"));
    assert_content(path, "old");
    assert_int_equal(count_files(false), 1);
}

/* The name is taken by another program between our first look and the end of our writing. */
static void does_not_overwrite_what_came_meanwhile(void **state)
{
    (void)state;
    struct file_out f;
    struct err e = {0};
    assert_int_equal(plumb_file_out_open(&f, path, false, &e), 0);
    assert_int_equal(plumb_file_out_write(&f, "ours", 4, &e), 0);
    put("theirs");
    assert_int_equal(plumb_file_out_commit(&f, &e), ERR_CREATE);
    assert_content(path, "theirs");
    assert_int_equal(count_files(false), 1);
}

static void dangling_link_is_not_followed_unasked(void **state)
{
    (void)state;
    assert_int_equal(symlink("nowhere", path), 0);
    assert_int_equal(plumb_file_write(path, "new", 3, false, NULL), ERR_CREATE);
    assert_int_equal(count_files(false), 1);
}

static void replaces_when_asked(void **state)
{
    (void)state;
    put("old and longer");
    assert_int_equal(plumb_file_write(path, "new", 3, true, NULL), 0);
    assert_content(path, "new");
    assert_int_equal(count_files(false), 1);
}

static void nothing_is_seen_before_the_end(void **state)
{
    (void)state;
    struct file_out f;
    struct stat st;
    put("old");
    assert_int_equal(plumb_file_out_open(&f, path, true, NULL), 0);
    assert_int_equal(plumb_file_out_write(&f, "half", 4, NULL), 0);
    assert_content(path, "old");
    plumb_file_out_abort(&f);
    assert_content(path, "old");
    assert_int_equal(count_files(false), 1);
    plumb_file_out_abort(&f);
    plumb_file_out_abort(NULL);

    unlink(path);
    assert_int_equal(plumb_file_out_open(&f, path, false, NULL), 0);
    assert_int_equal(plumb_file_out_write(&f, "half", 4, NULL), 0);
    assert_int_equal(stat(path, &st), -1);
    assert_int_equal(plumb_file_out_commit(&f, NULL), 0);
    assert_content(path, "half");
    plumb_file_out_abort(&f); /* harmless after commit */
    assert_content(path, "half");
}

static void link_and_permissions_stay(void **state)
{
    (void)state;
    char link_name[128];
    struct stat st;
    put("old");
    chmod(path, 0600);
    snprintf(link_name, sizeof link_name, "%s/link", folder);
    assert_int_equal(symlink("one", link_name), 0);
    assert_int_equal(plumb_file_write(link_name, "new", 3, true, NULL), 0);
    assert_int_equal(lstat(link_name, &st), 0);
    assert_true(S_ISLNK(st.st_mode));
    assert_content(path, "new");
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
}

static void new_file_heeds_the_mask(void **state)
{
    (void)state;
    struct stat st;
    mode_t old = umask(027);
    assert_int_equal(plumb_file_write(path, "x", 1, false, NULL), 0);
    umask(old);
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0640);
}

static void any_name_the_folder_can_hold(void **state)
{
    (void)state;
    char name[400];
    int n = snprintf(name, sizeof name, "%s/", folder);
    memset(name + n, 'x', 255); /* NAME_MAX of common file systems */
    name[n + 255] = '\0';
    assert_int_equal(plumb_file_write(name, "x", 1, false, NULL), 0);
    name[n + 255] = 'x';
    name[n + 256] = '\0';
    assert_int_equal(plumb_file_write(name, "x", 1, false, NULL), ERR_CREATE);
    assert_int_equal(count_files(false), 1);
}

static void full_disk_is_told_and_the_device_stays(void **state)
{
    (void)state;
    struct err e = {0};
    struct stat st;
    if (access("/dev/full", W_OK) != 0) {
        print_message("skipped: there is no /dev/full\n");
        skip();
    }
    for (int replace = 0; replace < 2; replace++) {
        assert_int_equal(plumb_file_write("/dev/full", "x", 1, replace, &e), ERR_IO);
        assert_non_null(strstr(e.text, "cannot be written"));
    }
    assert_int_equal(stat("/dev/full", &st), 0);
    assert_true(S_ISCHR(st.st_mode));
    assert_int_equal(plumb_file_write("/dev/null", "x", 1, false, &e), 0);
    assert_int_equal(stat("/dev/null", &st), 0);
    assert_true(S_ISCHR(st.st_mode));
}

static void a_pipe_is_written_to(void **state)
{
    (void)state;
    struct stat st;
    char got[8] = "";
    assert_int_equal(mkfifo(path, 0600), 0);
    int reader = open(path, O_RDONLY | O_NONBLOCK);
    assert_true(reader >= 0);
    assert_int_equal(plumb_file_write(path, "bytes", 5, false, NULL), 0);
    assert_int_equal(read(reader, got, sizeof got), 5);
    close(reader);
    assert_string_equal(got, "bytes");
    assert_int_equal(stat(path, &st), 0);
    assert_true(S_ISFIFO(st.st_mode));
}

/* As another user when run by root, whom permissions do not stop. */
static void read_only_folder_is_told(void **state)
{
    (void)state;
    struct err e = {0};
    bool root = geteuid() == 0;
    chmod(folder, 0555);
    if (root && seteuid(65534) != 0)
        skip();
    int rc = plumb_file_write(path, "x", 1, true, &e);
    if (root)
        assert_int_equal(seteuid(0), 0);
    chmod(folder, 0755);
    assert_int_equal(rc, ERR_CREATE);
    assert_non_null(strstr(e.text, "cannot be created"));
    assert_int_equal(count_files(false), 0);
}

static void impossible_places_are_told(void **state)
{
    (void)state;
    struct err e = {0};
    char below[160];
    snprintf(below, sizeof below, "%s/no/such", folder);
    assert_int_equal(plumb_file_write(below, "x", 1, true, &e), ERR_CREATE);
    assert_int_equal(plumb_file_write(folder, "x", 1, true, &e), ERR_CREATE);
    assert_int_equal(plumb_file_write("", "x", 1, false, &e), ERR_CREATE);
    assert_int_equal(count_files(false), 0);
}

static void writing_survives_lack_of_memory(void **state)
{
    (void)state;
    for (long n = 1; n <= 4; n++) {
        struct err e = {0};
        bool replace = n % 2 == 0;
        long nth = (n + 1) / 2; /* the second one may be needed to replace only */
        plumb_mem_fail_after(nth);
        int rc = plumb_file_write(path, "x", 1, replace, &e);
        plumb_mem_fail_after(0);
        assert_true(rc == ERR_NOMEM || (rc == 0 && nth == 2 && !replace));
        assert_int_equal(e.code, rc);
        assert_int_equal(count_files(true), rc == 0);
    }
}

/* A program that is killed while it writes a new file leaves nothing in the folder. */
static void a_killed_writer_leaves_nothing(void **state)
{
    (void)state;
    struct file_out f;
    assert_int_equal(plumb_file_out_open(&f, path, false, NULL), 0);
    bool can = f.unnamed;
    plumb_file_out_abort(&f);
    if (!can) {
        print_message("skipped: no files without a name here\n");
        skip();
    }
    pid_t child = fork();
    if (child == 0) {
        if (plumb_file_out_open(&f, path, false, NULL) == 0 &&
            plumb_file_out_write(&f, "half", 4, NULL) == 0)
            raise(SIGKILL);
        _exit(1);
    }
    int how = 0;
    assert_int_equal(waitpid(child, &how, 0), child);
    assert_true(WIFSIGNALED(how));
    assert_int_equal(count_files(false), 0);
}

/* As any other new file: what the umask leaves of 0666. */
static void a_new_file_has_the_usual_permissions(void **state)
{
    (void)state;
    struct stat st;
    mode_t before = umask(027);
    int rc = plumb_file_write(path, "x", 1, false, NULL);
    umask(before);
    assert_int_equal(rc, 0);
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0640);
    assert_int_equal(st.st_nlink, 1);
}

static void works_in_the_current_folder(void **state)
{
    (void)state;
    char before[512];
    assert_non_null(getcwd(before, sizeof before));
    assert_int_equal(chdir(folder), 0);
    int rc = plumb_file_write("one", "x", 1, false, NULL);
    int again = plumb_file_write("one", "y", 1, true, NULL);
    assert_int_equal(chdir(before), 0);
    assert_int_equal(rc, 0);
    assert_int_equal(again, 0);
    assert_content(path, "y");
    assert_int_equal(count_files(false), 1);
}

#define test(f) cmocka_unit_test_setup_teardown(f, make_folder, remove_folder)

int main(void)
{
    const struct CMUnitTest tests[] = {
        test(reads_what_was_written),
        test(empty_file_reads_as_empty_text),
        test(refuses_what_cannot_be_read),
        test(reads_standard_input),
        test(reading_survives_lack_of_memory),
        test(does_not_overwrite_unasked),
        test(does_not_overwrite_what_came_meanwhile),
        test(dangling_link_is_not_followed_unasked),
        test(replaces_when_asked),
        test(nothing_is_seen_before_the_end),
        test(link_and_permissions_stay),
        test(new_file_heeds_the_mask),
        test(any_name_the_folder_can_hold),
        test(a_killed_writer_leaves_nothing),
        test(a_new_file_has_the_usual_permissions),
        test(full_disk_is_told_and_the_device_stays),
        test(a_pipe_is_written_to),
        test(read_only_folder_is_told),
        test(impossible_places_are_told),
        test(writing_survives_lack_of_memory),
        test(works_in_the_current_folder),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
