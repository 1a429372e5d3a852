/*
 * The frame's memory and its way to the window. Where the X server runs on the same machine the
 * memory is shared with it (MIT-SHM), so that a picture costs one short request; else, and where
 * pixels are not 32 bits of red, green and blue, cairo sends and converts them.
 *
 * The server reads shared memory some time after the request: view_frame_settle waits for it before
 * anything is painted anew.
 */
#define _XOPEN_SOURCE 700 /* System V shared memory */
#include "viewer/view_window_internal.h"

#include <X11/extensions/XShm.h>
#include <cairo-xlib.h>
#include <stdlib.h>
#include <sys/ipc.h>
#include <sys/shm.h>

struct view_shared {
    XShmSegmentInfo info;
    XImage *image;
    GC gc;
};

static Visual *visual_of(const struct view_window *w)
{
    return DefaultVisual(w->display, DefaultScreen(w->display));
}

static XImage *image_of(struct view_window *w, struct view_shared *s, int width, int height)
{
    int depth = DefaultDepth(w->display, DefaultScreen(w->display));
    return XShmCreateImage(w->display, visual_of(w), (unsigned)depth, ZPixmap, s->info.shmaddr,
                           &s->info, (unsigned)width, (unsigned)height);
}

static void image_free(XImage *image)
{
    if (image == NULL)
        return;
    image->data = NULL; /* the segment's */
    XDestroyImage(image);
}

/* Pixels as cairo's RGB24 has them? */
static bool is_plain(const struct view_window *w, const XImage *im)
{
    const union {
        int word;
        char first;
    } host = {.word = 1};
    const Visual *v = visual_of(w);
    return im->bits_per_pixel == 32 && im->bytes_per_line == 4 * im->width &&
           im->byte_order == (host.first ? LSBFirst : MSBFirst) && v->red_mask == 0xFF0000 &&
           v->green_mask == 0xFF00 && v->blue_mask == 0xFF;
}

/* Can the server really reach the segment? Asked for one pixel of the screen it says so; extension
 * and attaching are promised over a forwarded connection too. */
static bool server_reaches(struct view_window *w, struct view_shared *s)
{
    XImage *one = image_of(w, s, 1, 1);
    bool reaches = one != NULL && XShmGetImage(w->display, DefaultRootWindow(w->display), one, 0, 0,
                                               AllPlanes) != 0;
    image_free(one);
    return reaches;
}

static bool segment_make(struct view_window *w, struct view_shared *s)
{
    size_t bytes = (size_t)s->image->bytes_per_line * (size_t)s->image->height;
    s->info.shmid = shmget(IPC_PRIVATE, bytes, IPC_CREAT | 0600);
    if (s->info.shmid < 0)
        return false;
    void *at = shmat(s->info.shmid, NULL, 0);
    s->info.shmaddr = at != (void *)-1 ? at : NULL; // NOLINT(performance-no-int-to-ptr): shmat's no
    bool good =
        s->info.shmaddr != NULL && XShmAttach(w->display, &s->info) != 0 && server_reaches(w, s);
    /* goes with its last user, however that ends */
    shmctl(s->info.shmid, IPC_RMID, NULL);
    s->image->data = s->info.shmaddr;
    return good;
}

static void shared_release(struct view_window *w, struct view_shared *s)
{
    if (s == NULL)
        return;
    if (s->gc != NULL && !w->lost)
        XFreeGC(w->display, s->gc);
    if (s->info.shmaddr != NULL && !w->lost) {
        XShmDetach(w->display, &s->info);
        XSync(w->display, False);
    }
    image_free(s->image);
    if (s->info.shmaddr != NULL)
        shmdt(s->info.shmaddr);
    free(s);
}

/* NULL where memory cannot be shared. */
static struct view_shared *shared_make(struct view_window *w, int width, int height)
{
    struct view_shared *s =
        XShmQueryExtension(w->display) ? plumb_mem_array(1, sizeof *s, NULL) : NULL;
    if (s == NULL)
        return NULL;
    *s = (struct view_shared){0};
    s->image = image_of(w, s, width, height);
    if (s->image == NULL || !is_plain(w, s->image) || !segment_make(w, s)) {
        shared_release(w, s);
        return NULL;
    }
    s->gc = XCreateGC(w->display, w->window, 0, NULL);
    return s;
}

void view_frame_release(struct view_window *w)
{
    struct view_frame *f = &w->frame;
    if (f->surface != NULL)
        cairo_surface_destroy(f->surface);
    if (f->sent != NULL && !w->lost)
        cairo_surface_destroy(f->sent);
    shared_release(w, f->shared);
    *f = (struct view_frame){0};
}

int view_frame_make(struct view_window *w, int width, int height, struct err *err)
{
    struct view_frame *f = &w->frame;
    view_frame_release(w);
    f->w = width;
    f->h = height;
    f->shared = shared_make(w, width, height);
    if (f->shared != NULL) {
        void *data = f->shared->image->data;
        f->surface = cairo_image_surface_create_for_data(data, CAIRO_FORMAT_RGB24, width, height,
                                                         f->shared->image->bytes_per_line);
    } else {
        f->surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height);
        f->sent = cairo_xlib_surface_create(w->display, w->window, visual_of(w), width, height);
    }
    if (cairo_surface_status(f->surface) != CAIRO_STATUS_SUCCESS)
        return plumb_err_set(err, ERR_NOMEM, "no memory for a window of %d x %d", width, height);
    return 0;
}

void view_frame_settle(struct view_window *w)
{
    if (w->frame.under_way)
        XSync(w->display, False);
    w->frame.under_way = false;
}

static void send_region(struct view_frame *f, const cairo_region_t *r)
{
    cairo_t *cr = cairo_create(f->sent);
    cairo_set_operator(cr, CAIRO_OPERATOR_SOURCE);
    cairo_set_source_surface(cr, f->surface, 0.0, 0.0);
    for (int i = 0; i < cairo_region_num_rectangles(r); i++) {
        cairo_rectangle_int_t q;
        cairo_region_get_rectangle(r, i, &q);
        cairo_rectangle(cr, q.x, q.y, q.width, q.height);
        cairo_fill(cr);
    }
    cairo_destroy(cr);
    cairo_surface_flush(f->sent);
}

void view_frame_put(struct view_window *w, cairo_region_t *r)
{
    struct view_frame *f = &w->frame;
    const cairo_rectangle_int_t all = {0, 0, f->w, f->h};
    cairo_region_intersect_rectangle(r, &all);
    if (f->shared == NULL) {
        send_region(f, r);
        return;
    }
    cairo_surface_flush(f->surface);
    for (int i = 0; i < cairo_region_num_rectangles(r); i++) {
        cairo_rectangle_int_t q;
        cairo_region_get_rectangle(r, i, &q);
        XShmPutImage(w->display, w->window, f->shared->gc, f->shared->image, q.x, q.y, q.x, q.y,
                     (unsigned)q.width, (unsigned)q.height, False);
    }
    f->under_way = true;
}
