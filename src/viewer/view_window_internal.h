/* The X side of the viewer: one window, its events, what is typed into it. */
#ifndef VIEW_WINDOW_INTERNAL_H
#define VIEW_WINDOW_INTERNAL_H

#include <X11/Xlib.h>
#include <X11/Xutil.h>
#include "viewer/view_paint_internal.h"

enum view_atom {
    ATOM_PROTOCOLS,
    ATOM_DELETE,
    ATOM_PING,
    ATOM_NAME,
    ATOM_ICON,
    ATOM_UTF8,
    ATOM_CLIPBOARD,
    ATOM_PASTE,
    ATOM_INCR,
    ATOM_PID,
    ATOM_FOOT,
    VIEW_ATOMS
};
struct view_shared;
struct view_frame {
    cairo_surface_t *surface;   /* painted on: RGB24 */
    struct view_shared *shared; /* with the server, or NULL */
    cairo_surface_t *sent;      /* the window, when it is not shared */
    int w, h;
    bool under_way; /* the server may still be reading */
};
struct view_window {
    Display *display;
    Window window;
    Atom atom[VIEW_ATOMS];
    XIM im;
    XIC ic;
    Cursor cursor;
    struct view_frame frame;
    double ui;
    int w, h;
    bool lost;                        /* the connection is gone: no more calls to X */
    bool shown, mapped, drawn, ready; /* asked for, there, with a picture, open for typing */
    double since_s;                   /* when the loop began */
    cairo_region_t *exposed;
    struct view_painter painter;
    struct view_beside *open, *find, *measure; /* at work, or NULL */
    bool named; /* what is opened was named on the command line: if it cannot be, that ends it */
    struct view_state state;
    char title[300], foot[SHEET_TEXT + 800];
};
/* Opens the display and an unmapped window; ERR_NOTFOUND when there is no display. */
int view_window_open(struct view_window *w, struct err *err);
void view_window_close(struct view_window *w);
/* Runs until the window is closed, the connection is lost, or what was named cannot be opened. */
int view_window_run(struct view_window *w, struct err *err);
/* Handles all events that wait, then paints once. */
void view_window_events(struct view_window *w);
int view_window_paint(struct view_window *w, struct err *err);

/* view_frame.c: the frame, and its way to the window. */
int view_frame_make(struct view_window *w, int width, int height, struct err *err);
void view_frame_release(struct view_window *w);
/* Waits until the server has read what was put. */
void view_frame_settle(struct view_window *w);
/* Cuts the region at the frame. */
void view_frame_put(struct view_window *w, cairo_region_t *r);

/* view_input.c: keys, input methods, paste. */
void view_input_open(struct view_window *w);
void view_input_close(struct view_window *w);
void view_input_key(struct view_window *w, XKeyEvent *e);
void view_input_key_up(struct view_window *w, XKeyEvent *e);
void view_input_paste(struct view_window *w, Atom selection);
void view_input_pasted(struct view_window *w, const XSelectionEvent *e);

#endif
