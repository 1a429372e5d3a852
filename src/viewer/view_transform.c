/*
 * Where the film lies in the window: quarter turns, a lean, one scale, a whole-pixel offset. The
 * offset is whole so that a move shifts the picture without resampling it. Display only: marks stay
 * in film pixels.
 */
#include "viewer/view_internal.h"

#include <math.h>

static const double scale_least = 1.0 / 64.0, scale_most = 32.0;
/* So much of the room (px) keeps showing film, however far it is moved. */
static const double keep_px = 48.0;

static double turned_w(const struct view_transform *t)
{
    return t->turn % 2 == 0 ? t->film_w : t->film_h;
}

static double turned_h(const struct view_transform *t)
{
    return t->turn % 2 == 0 ? t->film_h : t->film_w;
}

/* Size of the upright box about the leaning film, film px. */
static struct geo_point hull(const struct view_transform *t)
{
    double c = fabs(cos(t->lean)), s = fabs(sin(t->lean)), w = turned_w(t), h = turned_h(t);
    return (struct geo_point){w * c + h * s, w * s + h * c};
}

/* Clockwise by `angle`, y down. */
static struct geo_point turned_by(struct geo_point p, double angle)
{
    double c = cos(angle), s = sin(angle);
    return (struct geo_point){p.x * c - p.y * s, p.x * s + p.y * c};
}

struct geo_point view_to_window(const struct view_transform *t, struct geo_point film)
{
    double u = film.x + 0.5, v = film.y + 0.5; /* the one half pixel */
    struct geo_point p = {u, v};
    if (t->turn == 1)
        p = (struct geo_point){t->film_h - v, u};
    else if (t->turn == 2)
        p = (struct geo_point){t->film_w - u, t->film_h - v};
    else if (t->turn == 3)
        p = (struct geo_point){v, t->film_w - u};
    if (t->lean != 0.0) {
        struct geo_point middle = {0.5 * turned_w(t), 0.5 * turned_h(t)};
        p = geo_add(turned_by(geo_sub(p, middle), t->lean), geo_mul(hull(t), 0.5));
    }
    return (struct geo_point){t->ox + t->scale * p.x, t->oy + t->scale * p.y};
}

struct geo_point view_to_film(const struct view_transform *t, struct geo_point window)
{
    struct geo_point q = {(window.x - t->ox) / t->scale, (window.y - t->oy) / t->scale};
    if (t->lean != 0.0) {
        struct geo_point middle = {0.5 * turned_w(t), 0.5 * turned_h(t)};
        q = geo_add(turned_by(geo_sub(q, geo_mul(hull(t), 0.5)), -t->lean), middle);
    }
    struct geo_point p = q;
    if (t->turn == 1)
        p = (struct geo_point){q.y, t->film_h - q.x};
    else if (t->turn == 2)
        p = (struct geo_point){t->film_w - q.x, t->film_h - q.y};
    else if (t->turn == 3)
        p = (struct geo_point){t->film_w - q.y, q.x};
    return (struct geo_point){p.x - 0.5, p.y - 0.5};
}

struct geo_point view_step_to_film(const struct view_transform *t, struct geo_point step)
{
    struct geo_point p = turned_by(step, -t->lean);
    for (int i = 0; i < t->turn; i++)
        p = (struct geo_point){p.y, -p.x};
    return p;
}

bool view_on_film(const struct view_transform *t, struct geo_point window)
{
    struct geo_point f = view_to_film(t, window);
    return f.x >= -0.5 && f.x < t->film_w - 0.5 && f.y >= -0.5 && f.y < t->film_h - 0.5;
}

/* Narrows [*a, *b] to the x for which at + x * step lies in [0, size). */
static void narrow(double at, double step, double size, double *a, double *b)
{
    double x0 = -at / step, x1 = (size - at) / step;
    if (fabs(step) < 1e-9) { /* along this row it does not change */
        if (at < 0.0 || at >= size)
            *b = *a;
        return;
    }
    *a = fmax(*a, fmin(x0, x1));
    *b = fmin(*b, fmax(x0, x1));
}

bool view_film_span(const struct view_transform *t, double y, double *x0, double *x1)
{
    struct geo_point at = view_to_film(t, (struct geo_point){0.0, y});
    struct geo_point step = geo_sub(view_to_film(t, (struct geo_point){1.0, y}), at);
    struct view_box box = view_film_box(t);
    *x0 = box.x0;
    *x1 = box.x1;
    narrow(at.x + 0.5, step.x, t->film_w, x0, x1);
    narrow(at.y + 0.5, step.y, t->film_h, x0, x1);
    return *x0 < *x1;
}

struct view_box view_film_box(const struct view_transform *t)
{
    struct geo_point h = hull(t);
    return (struct view_box){t->ox, t->oy, t->ox + t->scale * h.x, t->oy + t->scale * h.y};
}

static double within(double x, double lo, double hi)
{
    return lo > hi ? 0.5 * (lo + hi) : fmin(fmax(x, lo), hi);
}

static void keep_in_room(struct view_transform *t, struct view_box room)
{
    double w = t->scale * hull(t).x, h = t->scale * hull(t).y;
    double kx = fmin(keep_px, w), ky = fmin(keep_px, h);
    t->ox = round(within(t->ox, room.x0 + kx - w, room.x1 - kx));
    t->oy = round(within(t->oy, room.y0 + ky - h, room.y1 - ky));
}

void view_fit(struct view_transform *t, struct view_box room)
{
    double w = hull(t).x, h = hull(t).y;
    if (w <= 0.0 || h <= 0.0 || room.x1 <= room.x0 || room.y1 <= room.y0)
        return;
    double s = fmin((room.x1 - room.x0) / w, (room.y1 - room.y0) / h);
    t->scale = fmin(fmax(s, scale_least), scale_most);
    t->ox = round(0.5 * (room.x0 + room.x1 - t->scale * w));
    t->oy = round(0.5 * (room.y0 + room.y1 - t->scale * h));
}

void view_zoom(struct view_transform *t, struct view_box room, struct geo_point at, double scale)
{
    struct geo_point film = view_to_film(t, at);
    t->scale = fmin(fmax(scale, scale_least), scale_most);
    struct geo_point now = view_to_window(t, film);
    t->ox += at.x - now.x;
    t->oy += at.y - now.y;
    keep_in_room(t, room);
}

void view_pan(struct view_transform *t, struct view_box room, double dx, double dy)
{
    t->ox += round(dx);
    t->oy += round(dy);
    keep_in_room(t, room);
}

void view_turn_to(struct view_transform *t, struct view_box room, int turn, double lean)
{
    struct geo_point middle = {0.5 * (room.x0 + room.x1), 0.5 * (room.y0 + room.y1)};
    struct geo_point film = view_to_film(t, middle);
    t->turn = (turn % 4 + 4) % 4;
    t->lean = lean;
    struct geo_point now = view_to_window(t, film);
    t->ox += middle.x - now.x;
    t->oy += middle.y - now.y;
    keep_in_room(t, room);
}

int view_turn_for(struct geo_point apical, bool up, double *lean)
{
    int best = 0;
    double least = (double)INFINITY;
    for (int turn = 0; turn < 4; turn++) {
        struct geo_point p = apical;
        for (int i = 0; i < turn; i++)
            p = geo_perp(p);
        double y = up ? p.y : -p.y;
        if (y < least - 1e-9) {
            least = y;
            best = turn;
        }
    }
    struct geo_point p = apical;
    for (int i = 0; i < best; i++)
        p = geo_perp(p);
    *lean = up ? atan2(-p.x, -p.y) : atan2(p.x, p.y);
    return best;
}
