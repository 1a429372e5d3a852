/*
 * The X window: opening it with the manners of X, taking events in batches (of a row of motions
 * only the last counts), painting once a batch and putting only what changed, sleeping otherwise.
 *
 * A lost connection is noted (XSetIOErrorExitHandler) and ends the loop; the journal was written
 * after every edit, so nothing else has to be rescued.
 */
#include "viewer/view_window_internal.h"

#include <X11/Xatom.h>
#include <X11/cursorfont.h>
#include <errno.h>
#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static const char class_name[] = "Plumbrule";
static const int start_w = 1280, start_h = 800, least_w = 640, least_h = 480;
static const double start_share = 0.9; /* of the screen at most */
enum { ICON_PX = 48 };
/* The window waits for its film so long before it shows itself without: most films are there by
 * then, and one that cannot be opened flashes no window. */
static const double patience_s = 0.25;

/* --- opening -----------------------------------------------------------------------------------
 */

static int ignore_error(Display *d, XErrorEvent *e)
{
    (void)d;
    (void)e;
    return 0; /* e.g. a requestor that went away: no reason to end */
}

static int quiet_loss(Display *d)
{
    (void)d;
    return 0; /* the exit handler notes it */
}

static void note_loss(Display *d, void *user)
{
    (void)d;
    struct view_window *w = user;
    w->lost = true;
}

/* Xft.dpi as desktops set it for high-density screens; 96 a unit. */
static double ui_scale(Display *d)
{
    const char *all = XResourceManagerString(d);
    const char *at = all ? strstr(all, "Xft.dpi:") : NULL;
    double dpi = at != NULL ? strtod(at + strlen("Xft.dpi:"), NULL) : 96.0;
    return dpi >= 48.0 && dpi <= 960.0 ? dpi / 96.0 : 1.0;
}

static void intern(struct view_window *w)
{
    static const char *const names[VIEW_ATOMS] = {
        [ATOM_PROTOCOLS] = "WM_PROTOCOLS",
        [ATOM_DELETE] = "WM_DELETE_WINDOW",
        [ATOM_PING] = "_NET_WM_PING",
        [ATOM_NAME] = "_NET_WM_NAME",
        [ATOM_ICON] = "_NET_WM_ICON",
        [ATOM_UTF8] = "UTF8_STRING",
        [ATOM_CLIPBOARD] = "CLIPBOARD",
        [ATOM_PASTE] = "PLUMBRULE_PASTE",
        [ATOM_INCR] = "INCR",
        [ATOM_PID] = "_NET_WM_PID",
        [ATOM_FOOT] = "PLUMBRULE_FOOT",
    };
    char *list[VIEW_ATOMS];
    for (int i = 0; i < VIEW_ATOMS; i++) {
        union {
            const char *in;
            char *out;
        } name = {.in = names[i]};
        list[i] = name.out;
    }
    XInternAtoms(w->display, list, VIEW_ATOMS, False, w->atom); /* one round trip for all */
}

/* The mason's board: upright, a plumb line down its middle, a bob at the end. */
static void set_icon(struct view_window *w)
{
    enum { N = ICON_PX };
    unsigned long data[2 + N * N] = {N, N};
    for (int y = 0; y < N; y++)
        for (int x = 0; x < N; x++) {
            double dx = x - (N - 1) / 2.0, bob = hypot(dx, y - 0.76 * N);
            bool board = fabs(dx) < 0.25 * N && y > 2 && y < N - 3;
            bool line = fabs(dx) < 1.0 && y > 6 && y < 0.76 * N;
            data[2 + y * N + x] = bob < 0.12 * N || line ? 0xFFF0E342ul
                                  : board                ? 0xFF33383Ful
                                                         : 0ul;
        }
    XChangeProperty(w->display, w->window, w->atom[ATOM_ICON], XA_CARDINAL, 32, PropModeReplace,
                    (const unsigned char *)data, 2 + N * N);
}

static void set_title(struct view_window *w)
{
    const struct view_state *v = &w->state;
    char title[sizeof w->title];
    snprintf(title, sizeof title, "%s%s%splumbrule", view_unsaved(v) ? "* " : "",
             v->has_film ? v->exam.sheet.film.file : "", v->has_film ? " - " : "");
    if (strcmp(title, w->title) == 0)
        return;
    memcpy(w->title, title, sizeof title);
    const Atom names[] = {XA_WM_NAME, XA_WM_ICON_NAME, w->atom[ATOM_NAME]};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        XChangeProperty(w->display, w->window, names[i], w->atom[ATOM_UTF8], 8, PropModeReplace,
                        (const unsigned char *)title, (int)strlen(title));
}

/* The foot line, and what is said above it, as a property too, for aids and tests that read the
 * window from outside. */
static void set_foot(struct view_window *w)
{
    const struct view_state *v = &w->state;
    char line[320], foot[sizeof w->foot];
    view_foot_words(v, line);
    if (view_typing(v))
        snprintf(foot, sizeof foot, "%s: %s", view_ask_words(v->ask.what), v->ask.text);
    else
        snprintf(foot, sizeof foot, "%s", line);
    size_t n = strlen(foot);
    if (v->say[0] != '\0' && n < sizeof foot)
        snprintf(foot + n, sizeof foot - n, " | %s", v->say);
    if (strcmp(foot, w->foot) == 0)
        return;
    memcpy(w->foot, foot, sizeof foot);
    XChangeProperty(w->display, w->window, w->atom[ATOM_FOOT], w->atom[ATOM_UTF8], 8,
                    PropModeReplace, (const unsigned char *)foot, (int)strlen(foot));
}

static void set_manners(struct view_window *w)
{
    char name[] = "plumbrule", class[sizeof class_name];
    memcpy(class, class_name, sizeof class_name);
    XSizeHints size = {.flags = PMinSize | PSize, .width = w->w, .height = w->h};
    size.min_width = (int)fmin(least_w * w->ui, w->w);
    size.min_height = (int)fmin(least_h * w->ui, w->h);
    XWMHints hints = {.flags = InputHint | StateHint, .input = True, .initial_state = NormalState};
    XClassHint names = {.res_name = name, .res_class = class};
    XSetWMProperties(w->display, w->window, NULL, NULL, NULL, 0, &size, &hints, &names);
    const Atom protocols[] = {w->atom[ATOM_DELETE], w->atom[ATOM_PING]};
    XChangeProperty(w->display, w->window, w->atom[ATOM_PROTOCOLS], XA_ATOM, 32, PropModeReplace,
                    (const unsigned char *)protocols, 2);
    long pid = (long)getpid();
    XChangeProperty(w->display, w->window, w->atom[ATOM_PID], XA_CARDINAL, 32, PropModeReplace,
                    (const unsigned char *)&pid, 1);
    set_icon(w);
    set_title(w);
}

static void create_window(struct view_window *w)
{
    int screen = DefaultScreen(w->display);
    double sw = DisplayWidth(w->display, screen), sh = DisplayHeight(w->display, screen);
    w->w = (int)fmin(start_w * w->ui, fmax(start_share * sw, least_w));
    w->h = (int)fmin(start_h * w->ui, fmax(start_share * sh, least_h));
    XSetWindowAttributes a = {.background_pixmap = None, /* no flash of another colour */
                              .bit_gravity = NorthWestGravity,
                              .event_mask = ExposureMask | StructureNotifyMask | KeyPressMask |
                                            KeyReleaseMask | ButtonPressMask | ButtonReleaseMask |
                                            PointerMotionMask | LeaveWindowMask | FocusChangeMask};
    w->window = XCreateWindow(w->display, RootWindow(w->display, screen), 0, 0, (unsigned)w->w,
                              (unsigned)w->h, 0, CopyFromParent, InputOutput, CopyFromParent,
                              CWBackPixmap | CWBitGravity | CWEventMask, &a);
}

int view_window_open(struct view_window *w, struct err *err)
{
    w->display = XOpenDisplay(NULL);
    if (w->display == NULL)
        return plumb_err_set(err, ERR_NOTFOUND,
                             "no display: start it in a graphical session, or use plumbrule start");
    XSetErrorHandler(ignore_error);
    XSetIOErrorHandler(quiet_loss);
    XSetIOErrorExitHandler(w->display, note_loss, w);
    w->ui = ui_scale(w->display);
    intern(w);
    create_window(w);
    set_manners(w);
    w->exposed = cairo_region_create();
    view_resize(&w->state, w->w, w->h, w->ui);
    return view_painter_init(&w->painter, err);
}

void view_window_close(struct view_window *w)
{
    view_painter_release(&w->painter);
    if (w->exposed != NULL)
        cairo_region_destroy(w->exposed);
    w->exposed = NULL;
    view_frame_release(w);
    if (w->display != NULL && !w->lost) {
        view_input_close(w);
        if (w->cursor != None)
            XFreeCursor(w->display, w->cursor);
        XDestroyWindow(w->display, w->window);
        XCloseDisplay(w->display);
    }
    w->display = NULL;
}

/* --- painting ----------------------------------------------------------------------------------
 */

/* A frame for the window's size. */
static int fit_frame(struct view_window *w, struct err *err)
{
    if (w->frame.surface != NULL && w->frame.w == w->w && w->frame.h == w->h)
        return 0;
    int rc = view_frame_make(w, w->w, w->h, err);
    if (rc == 0)
        view_painter_frame(&w->painter, w->frame.surface, &w->state.layout);
    return rc;
}

int view_window_paint(struct view_window *w, struct err *err)
{
    int rc = fit_frame(w, err);
    if (rc != 0)
        return rc;
    view_frame_settle(w);
    cairo_region_t *changed = cairo_region_create();
    rc = view_paint(&w->painter, &w->state, changed, err);
    cairo_region_union(changed, w->exposed);
    if (rc == 0 && w->mapped && !cairo_region_is_empty(changed)) {
        view_frame_put(w, changed);
        cairo_region_subtract(w->exposed, w->exposed);
        w->drawn = true;
    }
    cairo_region_destroy(changed);
    set_title(w);
    set_foot(w);
    XFlush(w->display);
    return rc;
}

/* --- events ------------------------------------------------------------------------------------
 */

static void configure(struct view_window *w, const XConfigureEvent *e)
{
    if (e->width == w->w && e->height == w->h)
        return;
    w->w = e->width;
    w->h = e->height;
    view_resize(&w->state, w->w, w->h, w->ui);
}

static void message(struct view_window *w, XClientMessageEvent *e)
{
    if (e->message_type != w->atom[ATOM_PROTOCOLS])
        return;
    Atom what = (Atom)e->data.l[0];
    if (what == w->atom[ATOM_DELETE]) {
        view_do(&w->state, CMD_CLOSE, 0, 0);
    } else if (what == w->atom[ATOM_PING]) {
        XEvent reply = {.xclient = *e};
        reply.xclient.window = DefaultRootWindow(w->display);
        XSendEvent(w->display, reply.xclient.window, False,
                   SubstructureNotifyMask | SubstructureRedirectMask, &reply);
    }
}

static void press(struct view_window *w, const XButtonEvent *e)
{
    struct geo_point at = {e->x, e->y};
    if (e->button == Button2 && view_typing(&w->state))
        view_input_paste(w, XA_PRIMARY);
    else
        view_press(&w->state, at, (int)e->button);
}

static void expose(struct view_window *w, const XExposeEvent *e)
{
    cairo_rectangle_int_t r = {e->x, e->y, e->width, e->height};
    cairo_region_union_rectangle(w->exposed, &r);
}

/* Of a row of motions only the last counts. */
static void motion(struct view_window *w, XEvent *e)
{
    XEvent next;
    while (XEventsQueued(w->display, QueuedAlready) > 0) {
        XPeekEvent(w->display, &next);
        if (next.type != MotionNotify || next.xmotion.window != e->xmotion.window)
            break;
        XNextEvent(w->display, e);
    }
    view_move(&w->state, (struct geo_point){e->xmotion.x, e->xmotion.y});
}

static void handle(struct view_window *w, XEvent *e)
{
    if (XFilterEvent(e, None))
        return;
    switch (e->type) {
    case Expose:
        expose(w, &e->xexpose);
        break;
    case MapNotify:
        w->mapped = true;
        expose(w, &(XExposeEvent){.width = w->w, .height = w->h});
        break;
    case ConfigureNotify:
        configure(w, &e->xconfigure);
        break;
    case ClientMessage:
        message(w, &e->xclient);
        break;
    case KeyPress:
        view_input_key(w, &e->xkey);
        break;
    case KeyRelease:
        view_input_key_up(w, &e->xkey);
        break;
    case ButtonPress:
        press(w, &e->xbutton);
        break;
    case ButtonRelease:
        view_let_go(&w->state, (struct geo_point){e->xbutton.x, e->xbutton.y},
                    (int)e->xbutton.button);
        break;
    case MotionNotify:
        motion(w, e);
        break;
    case LeaveNotify:
        view_leave(&w->state);
        break;
    case FocusOut:
        w->state.hide = false;
        break;
    case SelectionNotify:
        view_input_pasted(w, &e->xselection);
        break;
    case MappingNotify:
        XRefreshKeyboardMapping(&e->xmapping);
        break;
    default:
        break;
    }
}

void view_window_events(struct view_window *w)
{
    while (!w->lost && !w->state.quit && XPending(w->display) > 0) {
        XEvent e;
        XNextEvent(w->display, &e);
        handle(w, &e);
    }
}

/* --- the loop ----------------------------------------------------------------------------------
 */

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void start_opening(struct view_window *w)
{
    struct view_state *v = &w->state;
    struct err err = {0};
    if (v->open_path == NULL || w->open != NULL)
        return;
    w->open = view_beside_open(v, &err);
    if (w->open == NULL)
        view_opened(v, NULL, &err);
}

static void start_finder(struct view_window *w)
{
    struct view_state *v = &w->state;
    struct err err = {0};
    if (v->find_due == FIND_IDLE || w->find != NULL || v->choice == CHOICE_JOURNAL)
        return;
    v->finding = v->find_due;
    v->find_due = FIND_IDLE;
    w->find = view_beside_find(v, &err);
    if (w->find == NULL) {
        v->finding = FIND_IDLE;
        view_fault(v, "finding the pin", &err);
    }
}

static void start_measuring(struct view_window *w)
{
    struct err err = {0};
    if (!w->state.stale || w->measure != NULL)
        return;
    w->measure = view_beside_measure(&w->state, &err);
    if (w->measure == NULL)
        view_measure(&w->state);
}

static int take_over(struct view_window *w, struct view_beside **b, short events, struct err *err)
{
    if (*b == NULL || (events & (POLLIN | POLLHUP)) == 0)
        return 0;
    struct view_beside *done = *b;
    *b = NULL;
    return view_beside_finish(done, &w->state, err);
}

/* ms until the window shows itself without its film; -1: it is there, or nothing is waited for. */
static int patience_ms(const struct view_window *w)
{
    double left = patience_s - (now_s() - w->since_s);
    return w->shown ? -1 : (int)ceil(1e3 * fmax(left, 0.0));
}

/* Sleeps until something happens, however long it takes. */
static int wait_for(struct view_window *w, struct err *err)
{
    struct view_beside **beside[] = {&w->open, &w->find, &w->measure};
    enum { N = sizeof beside / sizeof beside[0] };
    struct pollfd fd[N + 1] = {{.fd = ConnectionNumber(w->display), .events = POLLIN}};
    for (int i = 0; i < N; i++)
        fd[i + 1] =
            (struct pollfd){.fd = *beside[i] ? view_beside_fd(*beside[i]) : -1, .events = POLLIN};
    if (XEventsQueued(w->display, QueuedAlready) > 0)
        return 0;
    (void)poll(fd, N + 1, patience_ms(w));
    int rc = take_over(w, &w->open, fd[1].revents, err);
    if (rc != 0 && w->named && !w->state.has_film)
        return rc;
    (void)take_over(w, &w->find, fd[2].revents, err);
    (void)take_over(w, &w->measure, fd[3].revents, err);
    return 0;
}

static void show(struct view_window *w)
{
    if (w->shown || (w->open != NULL && patience_ms(w) > 0))
        return;
    XMapWindow(w->display, w->window);
    XFlush(w->display);
    w->shown = true;
}

/* What takes time and is not seen comes after the first picture. */
static void make_ready(struct view_window *w)
{
    if (w->ready)
        return;
    w->ready = true;
    w->cursor = XCreateFontCursor(w->display, XC_crosshair);
    XDefineCursor(w->display, w->window, w->cursor);
    view_input_open(w);
}

/* What can wait is done when no event does. */
static int turn_of_loop(struct view_window *w, struct err *err)
{
    struct view_state *v = &w->state;
    show(w);
    view_window_events(w);
    if (w->lost || v->quit)
        return 0;
    int rc = view_window_paint(w, err);
    if (rc != 0 || w->lost)
        return rc;
    if (v->drag != DRAG_MARK && view_idle(v))
        return view_window_paint(w, err);
    start_opening(w);
    if (w->drawn && w->open == NULL) {
        start_finder(w);
        start_measuring(w);
        make_ready(w);
    }
    return wait_for(w, err);
}

int view_window_run(struct view_window *w, struct err *err)
{
    w->state.background = true;
    w->since_s = now_s();
    int rc = 0;
    while (rc == 0 && !w->lost && !w->state.quit)
        rc = turn_of_loop(w, err);
    /* what is not saved and was not dropped stays in the journal */
    if (w->state.has_film)
        view_idle(&w->state);
    return rc;
}
