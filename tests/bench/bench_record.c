/*
 * The record's speed as ratios in one run, on a 1400 x 1900 16-bit film and its sheet: `record` as
 * the command does it (decode, digest, measure, draw, encode, write; the marks are in the sheet, so
 * nothing is looked for), and with the pin found first, against the bare libpng decode of the film
 * and encode of the same picture's pixels, and against decoding and writing by the drawing
 * library's own PNG writer. Processor time of this process, median of some rounds. Then the command
 * itself, with all that starting costs, and its peak memory. usage: bench_record [COMMAND]
 */
#include <cairo.h>
#include <limits.h>
#include <malloc.h>
#include <png.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "fixtures/phantom_sheet.h"
#include "plumbrule/record.h"

enum { ROUNDS = 7 };

static char folder[] = "/tmp/plumbrule-bench-XXXXXX";

static double now(void)
{
    return (double)clock() / CLOCKS_PER_SEC;
}

static char *in_folder(const char *name)
{
    char *path = plumb_path_join(folder, name, NULL);
    if (path == NULL)
        exit(71);
    return path;
}

static void must(int rc, const struct err *err)
{
    if (rc == 0)
        return;
    fprintf(stderr, "bench_record: %s\n", err->text);
    exit(65);
}

/* A film and its sheet on disk. */
static void make_inputs(const char *film_path, const char *sheet_path)
{
    struct phantom_params p;
    struct phantom ph;
    struct meas_config config;
    struct sheet s;
    struct err err = {0};
    struct buf text = {0};
    phantom_params_plain(&p);
    p.detector.width = 1400;
    p.detector.height = 1900;
    p.detector.pitch_mm *= 1000.0 / 1400.0;
    p.detector.depth = 16;
    must(phantom_draw(&p, &ph, &err), &err);
    must(phantom_write(&ph, film_path, PHANTOM_PNG, 0, false, &err), &err);
    must(plumb_meas_config_default(&config, &err), &err);
    struct phantom_hand hand = {.config = &config,
                                .scatter = 1.0,
                                .seed = 1,
                                .length_gauge = true,
                                .across_gauge = true,
                                .sides = true,
                                .bounds = true,
                                .plan_length_mm = 10.0,
                                .plan_diameter_mm = 4.0};
    must(phantom_sheet(&ph.truth, 35, &hand, &s, &err), &err);
    plumb_text_copy(s.film.file, sizeof s.film.file, plumb_path_base(film_path));
    must(plumb_sheet_print(&s, &text, &err), &err);
    must(plumb_file_write(sheet_path, text.data, text.len, true, &err), &err);
    plumb_buf_release(&text);
    plumb_sheet_release(&s);
    phantom_release(&ph);
}

/* --- the bare work of the library
 * ------------------------------------------------------------------ */

struct raster {
    size_t width, height;
    unsigned char *rgb;
};

static unsigned char *decode(const char *path, bool to_rgb, size_t *w, size_t *h)
{
    FILE *f = fopen(path, "rb");
    png_structp png = png_create_read_struct(PNG_LIBPNG_VER_STRING, NULL, NULL, NULL);
    png_infop info = png_create_info_struct(png);
    if (f == NULL || info == NULL)
        exit(70);
    png_init_io(png, f);
    png_read_info(png, info);
    *w = png_get_image_width(png, info);
    *h = png_get_image_height(png, info);
    if (!to_rgb)
        png_set_swap(png);
    png_read_update_info(png, info);
    size_t stride = png_get_rowbytes(png, info);
    unsigned char *data = malloc(stride * *h);
    if (data == NULL)
        exit(71);
    for (size_t y = 0; y < *h; y++)
        png_read_row(png, data + y * stride, NULL);
    png_read_end(png, NULL);
    png_destroy_read_struct(&png, &info, NULL);
    fclose(f);
    return data;
}

static const uint8_t *row_of(void *ctx, size_t y)
{
    const struct raster *r = ctx;
    return r->rgb + 3 * r->width * y;
}

static double bare(const char *film, struct raster *picture, unsigned level)
{
    struct err err = {0};
    struct file_out to;
    char *path = in_folder("bare.png");
    size_t w, h;
    double t = now();
    free(decode(film, false, &w, &h));
    struct film_png_options o = {
        .width = picture->width, .height = picture->height, .level = level};
    must(plumb_file_out_open(&to, path, true, &err), &err);
    must(plumb_film_png_write(&to, &o, row_of, picture, &err), &err);
    must(plumb_file_out_commit(&to, &err), &err);
    free(path);
    return now() - t;
}

/* Decoding, and writing by the drawing library; its drawing time would only add to this. */
static double by_drawing_library(const char *film, const char *picture)
{
    char *path = in_folder("cairo.png");
    size_t w, h;
    double t = now();
    free(decode(film, false, &w, &h));
    double read = now();
    cairo_surface_t *s = cairo_image_surface_create_from_png(picture);
    double ready = now();
    cairo_surface_write_to_png(s, path);
    cairo_surface_destroy(s);
    free(path);
    return now() - ready + (read - t);
}

/* --- the whole job
 * ----------------------------------------------------------------------------------- */

/* Seconds of the record, and of finding the pin. */
struct job {
    double record, find;
};

static struct job whole(const char *sheet, struct rec_paths *paths)
{
    struct exam_options o;
    struct exam e;
    struct err err = {0};
    struct rec_picture_options picture;
    struct find_pins pins = {0};
    plumb_exam_options_default(&o);
    plumb_rec_picture_options_default(&picture);
    double t = now();
    must(plumb_exam_open_sheet(sheet, &o, &e, &err), &err);
    double opened = now();
    must(plumb_find_pins(&e.film, NULL, &pins, &err), &err);
    double found = now();
    must(plumb_rec_write(&e, folder, &picture, paths, &err), &err);
    double end = now();
    plumb_find_pins_release(&pins);
    plumb_exam_release(&e);
    if (getenv("BENCH_PARTS") != NULL)
        printf("  open and measure %.0f ms, find %.0f ms, draw and write %.0f ms\n",
               1e3 * (opened - t), 1e3 * (found - opened), 1e3 * (end - found));
    return (struct job){opened - t + (end - found), found - opened};
}

static double seconds(struct timeval t)
{
    return (double)t.tv_sec + 1e-6 * (double)t.tv_usec;
}

/* The command on the sheet, in a process that was begun while this one was small (peak memory is
 * handed on) and waits for its word. */
struct waiting {
    pid_t pid;
    int go;
};

static struct waiting start_command(const char *command, const char *sheet)
{
    int word[2];
    char c;
    if (pipe(word) != 0)
        exit(71);
    pid_t pid = fork();
    if (pid < 0)
        exit(71);
    if (pid > 0) {
        close(word[0]);
        return (struct waiting){pid, word[1]};
    }
    if (read(word[0], &c, 1) == 1 && freopen("/dev/null", "w", stdout) != NULL &&
        freopen("/dev/null", "w", stderr) != NULL)
        execl(command, command, "record", sheet, "--into", folder, (char *)NULL);
    _exit(127);
}

static void print_command(const struct waiting *w)
{
    static const double pixels = 1400.0 * 1900.0, mib = 1024.0 * 1024.0;
    struct rusage use;
    int status;
    if (write(w->go, "", 1) != 1 || waitpid(w->pid, &status, 0) != w->pid || status != 0) {
        printf("  the command could not be run\n");
        return;
    }
    getrusage(RUSAGE_CHILDREN, &use);
    printf("  the command with all its starting: %.0f ms, peak memory %.1f MiB (wanted %.1f or "
           "less)\n",
           1e3 * (seconds(use.ru_utime) + seconds(use.ru_stime)), (double)use.ru_maxrss / 1024.0,
           8.0 * pixels / mib + 24.0);
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double v[ROUNDS])
{
    qsort(v, ROUNDS, sizeof *v, by_size);
    return v[ROUNDS / 2];
}

int main(int argc, char **argv)
{
    double job[ROUNDS], find[ROUNDS], plain[ROUNDS], cairo[ROUNDS];
    struct rec_picture_options o;
    struct raster picture;
    if (mkdtemp(folder) == NULL)
        return 73;
    /* Memory once had is kept, so that fresh pages, whose price is the machine's, count for none of
     * the three; they count in the command's time below. */
    mallopt(M_MMAP_MAX, 0);
    mallopt(M_TRIM_THRESHOLD, INT_MAX);
    char *film = in_folder("film.png"), *sheet = in_folder("film.sheet.json");
    struct waiting command = {0};
    if (argc > 1)
        command = start_command(argv[1], sheet);
    make_inputs(film, sheet);
    plumb_rec_picture_options_default(&o);
    for (int i = 0; i < ROUNDS; i++) {
        struct rec_paths paths;
        struct job t = whole(sheet, &paths);
        job[i] = t.record;
        find[i] = t.find;
        picture.rgb = decode(paths.picture, true, &picture.width, &picture.height);
        plain[i] = bare(film, &picture, o.level);
        cairo[i] = by_drawing_library(film, paths.picture);
        free(picture.rgb);
        plumb_rec_paths_release(&paths);
    }
    double j = median(job), f = median(find), p = median(plain), c = median(cairo);
    printf("Record of a 1400 x 1900 film, processor time, median of %d rounds\n", ROUNDS);
    printf("  record %.0f ms; bare decode and encode %.0f ms: ratio %.2f (wanted 1.3 or less)\n",
           1e3 * j, 1e3 * p, j / p);
    printf("  with the pin found first %.0f ms: ratio %.2f\n", 1e3 * (j + f), (j + f) / p);
    printf("  drawing library's own writer %.0f ms: %.2f times the record (wanted 3 or more), %.2f "
           "times with finding\n",
           1e3 * c, c / j, c / (j + f));
    if (argc > 1)
        print_command(&command);
    fflush(stdout);
    execlp("rm", "rm", "-rf", folder, (char *)NULL);
    return 0;
}
