/*
 * The window's speed, seen from outside where it can be: launch is the time from starting the
 * command to the first picture in the X server (its pixels are read there); redraw is the window's
 * own code from one pointer motion to the server having taken the picture (XSync), while a mark is
 * dragged, the film is shifted, and the lens follows the pointer. Needs a display. A busy machine
 * stretches every time: launches are paired with those of a bare window, which loads the same
 * libraries, opens the display and fills a rectangle, and nothing else.
 *
 * usage: bench_view COMMAND FILM [BIG-FILM]
 */
#include "viewer/view_window_internal.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { RUNS = 7, MOVES = 200, WINDOW_W = 1600, WINDOW_H = 1000 };
static const double give_up_s = 20.0;

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* The window's own share, which a busy machine does not stretch. */
static double own_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void tell(const char *what, double *s, size_t n, double goal_ms)
{
    qsort(s, n, sizeof *s, by_value);
    printf("%-44s median %7.2f ms   95 %% %7.2f ms", what, 1e3 * s[n / 2], 1e3 * s[n * 95 / 100]);
    if (goal_ms > 0.0)
        printf("   goal %g ms: %.2f of it", goal_ms, 1e3 * s[n / 2] / goal_ms);
    putchar('\n');
}

/* --- launch ------------------------------------------------------------------------------------
 */

static int ignore_error(Display *d, XErrorEvent *e)
{
    (void)d;
    (void)e;
    return 0;
}

/* Bright pixels in the middle of the screen's left part: the film is there. */
static bool picture_there(Display *d)
{
    enum { W = 400, H = 8 };
    XImage *im = XGetImage(d, DefaultRootWindow(d), 300, 300, W, H, AllPlanes, ZPixmap);
    int bright = 0;
    for (int x = 0; im != NULL && x < W; x += 4)
        bright += (XGetPixel(im, x, H / 2) & 0xFF) > 60;
    if (im != NULL)
        XDestroyImage(im);
    return bright > 5;
}

/* Processor time of another process so far, to 10 ms. */
static double spent_s(pid_t pid)
{
    char name[64], line[512] = "";
    unsigned long user = 0, system = 0;
    snprintf(name, sizeof name, "/proc/%ld/stat", (long)pid);
    FILE *f = fopen(name, "r");
    if (f == NULL)
        return 0.0;
    const char *at = fgets(line, sizeof line, f) != NULL ? strrchr(line, ')') : NULL;
    if (at != NULL)
        (void)sscanf(at + 1, " %*c %*d %*d %*d %*d %*d %*u %*u %*u %*u %*u %lu %lu", &user,
                     &system);
    fclose(f);
    return (double)(user + system) / (double)sysconf(_SC_CLK_TCK);
}

static double launch(Display *d, char *const argv[], double *own)
{
    double t0 = now_s();
    pid_t pid = fork();
    if (pid == 0) {
        execv(argv[0], argv);
        _exit(127);
    }
    while (!picture_there(d) && now_s() - t0 < give_up_s)
        nanosleep(&(struct timespec){.tv_nsec = 1000000}, NULL);
    double t = now_s() - t0;
    *own += spent_s(pid);
    kill(pid, SIGKILL);
    waitpid(pid, NULL, 0);
    while (picture_there(d) && now_s() - t0 < 2.0 * give_up_s) {
        XClearWindow(d, DefaultRootWindow(d));
        XSync(d, False);
    }
    return t;
}

static void bench_launch(char *self, char *command, char *film, const char *what, double goal_ms)
{
    Display *d = XOpenDisplay(NULL);
    char view[] = "view", bare[] = "--bare";
    char *const ours[] = {command, view, film, NULL}, *const plain[] = {self, bare, NULL};
    double s[RUNS], b[RUNS], own = 0.0, own_bare = 0.0;
    if (d == NULL)
        return;
    XSetErrorHandler(ignore_error);
    (void)launch(d, ours, &own); /* warms the caches */
    (void)launch(d, plain, &own_bare);
    own = own_bare = 0.0;
    for (int i = 0; i < RUNS; i++) {
        s[i] = launch(d, ours, &own);
        b[i] = launch(d, plain, &own_bare);
    }
    tell(what, s, RUNS, goal_ms);
    tell("    a bare window", b, RUNS, 0.0);
    printf("%-44s          %.2f of the bare window's time\n", "    ratio of the medians",
           s[RUNS / 2] / b[RUNS / 2]);
    printf("%-44s        %7.2f ms, bare %.2f ms\n", "    of which own processor time",
           1e3 * own / RUNS, 1e3 * own_bare / RUNS);
    XCloseDisplay(d);
}

/* The bare window itself: one bright rectangle, then asleep. */
static int bare_window(void)
{
    Display *d = XOpenDisplay(NULL);
    if (d == NULL)
        return 1;
    int screen = DefaultScreen(d);
    Window w = XCreateSimpleWindow(d, RootWindow(d, screen), 0, 0, WINDOW_W, WINDOW_H, 0, 0,
                                   BlackPixel(d, screen));
    XSelectInput(d, w, ExposureMask);
    XMapWindow(d, w);
    XEvent e;
    do
        XNextEvent(d, &e);
    while (e.type != Expose);
    GC gc = XCreateGC(d, w, 0, NULL);
    XSetForeground(d, gc, WhitePixel(d, screen));
    XFillRectangle(d, w, gc, 0, 0, WINDOW_W, WINDOW_H);
    XFlush(d);
    for (;;)
        pause();
}

/* --- redraw ------------------------------------------------------------------------------------
 */

static void pump(struct view_window *w, int times)
{
    struct err err = {0};
    for (int i = 0; i < times; i++) {
        nanosleep(&(struct timespec){.tv_nsec = 5000000}, NULL);
        view_window_events(w);
        view_window_paint(w, &err);
    }
    view_idle(&w->state);
    view_window_paint(w, &err);
    XSync(w->display, False);
}

static void drag(struct view_window *w, struct geo_point from, int button, const char *what,
                 double goal_ms)
{
    struct err err = {0};
    double s[MOVES], own = own_s();
    if (button != 0)
        view_press(&w->state, from, button);
    for (int i = 0; i < MOVES; i++) {
        struct geo_point to = {from.x + 5.0 + i % 60, from.y + 5.0 + (i * 7) % 40};
        double t0 = now_s();
        view_move(&w->state, to);
        view_window_paint(w, &err);
        XSync(w->display, False);
        s[i] = now_s() - t0;
    }
    if (button != 0)
        view_let_go(&w->state, from, button);
    own = own_s() - own;
    tell(what, s, MOVES, goal_ms);
    printf("%-44s        %7.2f ms\n", "    of which the window's own processor time",
           1e3 * own / MOVES);
}

/* In and out by the wheel, from the whole film to about one to one. */
static void zoom(struct view_window *w, const char *what)
{
    enum { ZOOMS = 48, A_WAY = 8 };
    struct err err = {0};
    double s[ZOOMS];
    for (int i = 0; i < ZOOMS; i++) {
        double t0 = now_s();
        view_press(&w->state, (struct geo_point){600, 500}, i / A_WAY % 2 ? WHEEL_DOWN : WHEEL_UP);
        view_window_paint(w, &err);
        XSync(w->display, False);
        s[i] = now_s() - t0;
    }
    tell(what, s, ZOOMS, 0.0);
}

static void bench_redraw(const char *film, double goal_ms)
{
    struct view_window *w = plumb_mem_array(1, sizeof *w, NULL);
    struct exam_options o;
    struct err err = {0};
    size_t pins = 0;
    plumb_exam_options_default(&o);
    view_state_init(&w->state, &o, &err);
    if (view_open(&w->state, film, &err) != 0 || view_window_open(w, &err) != 0) {
        printf("redraw: %s\n", err.text);
        return;
    }
    struct view_state *v = &w->state;
    XMapWindow(w->display, w->window);
    XMoveResizeWindow(w->display, w->window, 0, 0, WINDOW_W, WINDOW_H);
    pump(w, 20);
    v->find_due = FIND_IDLE;
    v->background = true; /* as the window's loop has it */
    v->choice = CHOICE_NONE;
    v->ask = (struct view_ask){0};
    plumb_exam_propose(&v->exam, NULL, 0, &pins, &err);
    free(v->journal_path); /* nothing is written */
    v->journal_path = NULL;
    v->step = STEP_ROOT_MESIAL;
    pump(w, 4);
    printf("%s, %zu x %zu px, in %d x %d:\n", plumb_path_base(film), v->exam.film.width,
           v->exam.film.height, w->w, w->h);
    drag(w, (struct geo_point){500, 500}, 0, "  lens following the pointer", goal_ms);
    if (pins > 0) {
        struct mark *tip = &v->exam.sheet.pin.tip;
        drag(w, view_to_window(&v->t, (struct geo_point){tip->x, tip->y}), BUTTON_LEFT,
             "  dragging the pin's tip", goal_ms);
    }
    v->moved = false;
    view_zoom(&v->t, v->layout.film, (struct geo_point){500, 500}, 2.0 * v->t.scale);
    pump(w, 2);
    drag(w, (struct geo_point){300, 300}, BUTTON_MIDDLE, "  shifting the film", goal_ms);
    drag(w, (struct geo_point){300, 300}, BUTTON_RIGHT, "  dragging the tone", 0.0);
    zoom(w, "  zooming");
    view_turn_to(&v->t, v->layout.film, 0, 0.1);
    drag(w, (struct geo_point){300, 300}, BUTTON_MIDDLE, "  shifting the film, leaning", 0.0);
    zoom(w, "  zooming, leaning");
    view_window_close(w);
    view_state_release(v);
    free(w);
}

int main(int argc, char **argv)
{
    if (argc == 2 && strcmp(argv[1], "--bare") == 0)
        return bare_window();
    if (argc < 3 || getenv("DISPLAY") == NULL) {
        puts("window: skipped here, bench_view.sh starts a display for it");
        return 0;
    }
    bench_launch(argv[0], argv[1], argv[2], "launch to first picture", 150.0);
    bench_redraw(argv[2], 8.0);
    if (argc > 3) {
        bench_launch(argv[0], argv[1], argv[3], "launch to first picture, large film", 0.0);
        bench_redraw(argv[3], 8.0);
    }
    return 0;
}
