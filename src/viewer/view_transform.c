/*
 * Where the film lies in the window: quarter turns, one scale, a whole-pixel offset. The offset is
 * whole so that a move shifts the picture without resampling it. Display only: marks stay in film
 * pixels.
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
    return (struct geo_point){t->ox + t->scale * p.x, t->oy + t->scale * p.y};
}

struct geo_point view_to_film(const struct view_transform *t, struct geo_point window)
{
    double x = (window.x - t->ox) / t->scale, y = (window.y - t->oy) / t->scale;
    struct geo_point p = {x, y};
    if (t->turn == 1)
        p = (struct geo_point){y, t->film_h - x};
    else if (t->turn == 2)
        p = (struct geo_point){t->film_w - x, t->film_h - y};
    else if (t->turn == 3)
        p = (struct geo_point){t->film_w - y, x};
    return (struct geo_point){p.x - 0.5, p.y - 0.5};
}

struct geo_point view_step_to_film(const struct view_transform *t, struct geo_point step)
{
    struct geo_point p = step;
    for (int i = 0; i < t->turn; i++)
        p = (struct geo_point){p.y, -p.x};
    return p;
}

struct view_box view_film_box(const struct view_transform *t)
{
    return (struct view_box){t->ox, t->oy, t->ox + t->scale * turned_w(t),
                             t->oy + t->scale * turned_h(t)};
}

static double within(double x, double lo, double hi)
{
    return lo > hi ? 0.5 * (lo + hi) : fmin(fmax(x, lo), hi);
}

static void keep_in_room(struct view_transform *t, struct view_box room)
{
    double w = t->scale * turned_w(t), h = t->scale * turned_h(t);
    double kx = fmin(keep_px, w), ky = fmin(keep_px, h);
    t->ox = round(within(t->ox, room.x0 + kx - w, room.x1 - kx));
    t->oy = round(within(t->oy, room.y0 + ky - h, room.y1 - ky));
}

void view_fit(struct view_transform *t, struct view_box room)
{
    double w = turned_w(t), h = turned_h(t);
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

void view_turn(struct view_transform *t, struct view_box room, int quarters)
{
    struct geo_point middle = {0.5 * (room.x0 + room.x1), 0.5 * (room.y0 + room.y1)};
    struct geo_point film = view_to_film(t, middle);
    t->turn = ((t->turn + quarters) % 4 + 4) % 4;
    struct geo_point now = view_to_window(t, film);
    t->ox += middle.x - now.x;
    t->oy += middle.y - now.y;
    keep_in_room(t, room);
}

int view_turn_for(struct geo_point apical, bool up)
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
    return best;
}
