/*
 * Places for labels, and lines cut short: plane arithmetic without any drawing.
 *
 * Method: the area is divided into small square cells; every mark, line and label takes the cells
 * it touches (a little more, never less), so that asking whether a place is free costs a few cells,
 * whatever the number of lines. Labels are placed one after the other, those with the least free
 * room around them first, each at the cheapest of many candidates in rings around the thing it
 * names; cost is distance, closeness to other ink, and what its leader would cross. When the rings
 * hold no free place, a column beside the film is tried, then the whole film. Greedy, no random
 * numbers: the same input gives the same places.
 * Limits: greedy placing is not the best placing; a film that is full of ink leaves labels
 * unplaced, which is said.
 */
#include "record/record_internal.h"

#include <stdlib.h>

/* A field larger than this is made of larger cells. */
static const double field_cells_max = 4e6;
/* Costs, in px of distance per unit given. */
static const double cost_air = 1.0;    /* steps for a box that lies close to other ink */
static const double cost_cross = 3.0;  /* steps for a leader over another leader */
static const double cost_over = 0.15;  /* steps for each cell of ink below a leader */
static const double cost_leader = 1.5; /* steps for having a leader at all */
enum { DIRECTIONS = 24, STOPS = 5, NEAR_RINGS = 3 };
static const double tau = 6.28318530717958647692;

/* --- the field -------------------------------------------------------------------------------- */

int field_init(struct field *f, struct box area, double cell, struct err *err)
{
    double w = area.x1 - area.x0, h = area.y1 - area.y0;
    *f = (struct field){0};
    if (!(w > 0.0 && h > 0.0 && cell > 0.0))
        return plumb_err_set(err, ERR_ARG, "the picture has no area");
    while ((w / cell + 1.0) * (h / cell + 1.0) > field_cells_max)
        cell *= 2.0;
    *f = (struct field){.area = area, .cell = cell};
    f->nx = (size_t)ceil(w / cell);
    f->ny = (size_t)ceil(h / cell);
    f->flags = plumb_mem_array(f->nx * f->ny, 1, err);
    return f->flags ? 0 : ERR_NOMEM;
}

void field_release(struct field *f)
{
    free(f->flags);
    *f = (struct field){0};
}

/* Cells from..to (exclusive) along one direction that the stretch lo..hi touches. */
static void cell_range(double lo, double hi, double origin, double cell, size_t n, size_t *from,
                       size_t *to)
{
    double a = floor((lo - origin) / cell), b = floor((hi - origin) / cell) + 1.0;
    *from = a <= 0.0 ? 0 : a >= (double)n ? n : (size_t)a;
    *to = b <= 0.0 ? 0 : b >= (double)n ? n : (size_t)b;
}

struct cells {
    size_t x0, x1, y0, y1;
};

static struct cells cells_of(const struct field *f, struct box b)
{
    struct cells c;
    cell_range(b.x0, b.x1, f->area.x0, f->cell, f->nx, &c.x0, &c.x1);
    cell_range(b.y0, b.y1, f->area.y0, f->cell, f->ny, &c.y0, &c.y1);
    return c;
}

void field_take_box(struct field *f, struct box b, unsigned flag)
{
    struct cells c = cells_of(f, b);
    for (size_t y = c.y0; y < c.y1; y++)
        for (size_t x = c.x0; x < c.x1; x++)
            f->flags[y * f->nx + x] |= (unsigned char)flag;
}

static unsigned flags_in(const struct field *f, struct box b)
{
    struct cells c = cells_of(f, b);
    unsigned all = 0;
    for (size_t y = c.y0; y < c.y1; y++)
        for (size_t x = c.x0; x < c.x1; x++)
            all |= f->flags[y * f->nx + x];
    return all;
}

bool clip_to_box(struct box box, struct geo_point *a, struct geo_point *b)
{
    /* Liang and Barsky: each border narrows the stretch t0..t1. */
    struct geo_point d = geo_sub(*b, *a), from = *a;
    double p[4] = {-d.x, d.x, -d.y, d.y}, t0 = 0.0, t1 = 1.0;
    double q[4] = {a->x - box.x0, box.x1 - a->x, a->y - box.y0, box.y1 - a->y};
    if (!isfinite(d.x) || !isfinite(d.y))
        return false;
    for (int i = 0; i < 4; i++) {
        if (p[i] == 0.0 && q[i] < 0.0)
            return false;
        if (p[i] < 0.0)
            t0 = fmax(t0, q[i] / p[i]);
        else if (p[i] > 0.0)
            t1 = fmin(t1, q[i] / p[i]);
    }
    if (t0 > t1)
        return false;
    *a = geo_add(from, geo_mul(d, t0));
    *b = geo_add(from, geo_mul(d, t1));
    return true;
}

static struct box grow(struct box b, double by)
{
    return (struct box){b.x0 - by, b.y0 - by, b.x1 + by, b.y1 + by};
}

static struct box box_about(struct geo_point p, double half_w, double half_h)
{
    return (struct box){p.x - half_w, p.y - half_h, p.x + half_w, p.y + half_h};
}

/* Stamps squares along the line at half-cell steps; a square of the half width covers the line. */
void field_take_line(struct field *f, struct geo_point a, struct geo_point b, double half,
                     unsigned flag)
{
    if (!clip_to_box(grow(f->area, half), &a, &b))
        return;
    size_t steps = (size_t)ceil(geo_dist(a, b) / (0.5 * f->cell)) + 1;
    for (size_t i = 0; i <= steps; i++)
        field_take_box(f, box_about(geo_mix(a, b, (double)i / (double)steps), half, half), flag);
}

/* What a leader from a to b runs over: how many cells of ink and leaders; false when a label. */
static bool leader_cost(const struct field *f, struct geo_point a, struct geo_point b, double *cost)
{
    size_t steps = (size_t)ceil(geo_dist(a, b) / f->cell) + 1;
    bool crosses = false;
    *cost = cost_leader;
    for (size_t i = 0; i <= steps; i++) {
        struct geo_point at = geo_mix(a, b, (double)i / (double)steps);
        unsigned flags = flags_in(f, box_about(at, f->cell, f->cell));
        if (flags & CELL_LABEL)
            return false;
        crosses = crosses || (flags & CELL_LEADER);
        *cost += flags & CELL_INK ? cost_over : 0.0;
    }
    *cost += crosses ? cost_cross : 0.0;
    return true;
}

/* --- one label -------------------------------------------------------------------------------- */

static double clamp(double v, double lo, double hi)
{
    return fmin(fmax(v, lo), hi);
}

static bool box_inside(struct box b, struct box outer)
{
    return b.x0 >= outer.x0 && b.y0 >= outer.y0 && b.x1 <= outer.x1 && b.y1 <= outer.y1;
}

struct best {
    bool found, has_leader;
    double cost;
    struct box box;
    struct geo_point leader[2];
};

/* Tries a box for the anchor; keeps it when it is free and cheaper than the best so far. */
static void try_box(const struct field *f, const struct label_params *p, struct geo_point anchor,
                    struct box box, struct box within, struct best *best)
{
    if (!box_inside(box, within))
        return;
    struct geo_point edge = {clamp(anchor.x, box.x0, box.x1), clamp(anchor.y, box.y0, box.y1)};
    double d = geo_dist(anchor, edge), cost = d / p->step, extra = 0.0;
    if (best->found && cost >= best->cost)
        return;
    unsigned flags = flags_in(f, box);
    if (flags & (CELL_INK | CELL_LABEL | CELL_LEADER))
        return;
    bool far = d > p->near;
    if (far && !leader_cost(f, anchor, edge, &extra))
        return;
    cost += extra + (flags & CELL_AIR ? cost_air : 0.0);
    if (best->found && cost >= best->cost)
        return;
    *best = (struct best){true, far, cost, box, {anchor, edge}};
}

/* Unit vector of the i-th direction. */
static struct geo_point direction(int i)
{
    double turn = tau * i / DIRECTIONS;
    return (struct geo_point){cos(turn), sin(turn)};
}

/* The label's box in the direction u from the anchor, r away from it. */
static struct box box_beside(const struct label *l, struct geo_point anchor, struct geo_point u,
                             double r)
{
    /* The nearest a box of this size can stand in that direction without covering the anchor. */
    double reach = 0.5 / fmax(fabs(u.x) / l->w, fabs(u.y) / l->h);
    return box_about(geo_add(anchor, geo_mul(u, reach + r)), 0.5 * l->w, 0.5 * l->h);
}

/* The middle first, then towards the ends. */
static struct geo_point anchor_at(const struct label *l, int stop)
{
    static const double where[STOPS] = {0.5, 0.35, 0.65, 0.2, 0.8};
    return geo_mix(l->a, l->b, where[stop]);
}

static int stops_of(const struct label *l)
{
    return l->a.x == l->b.x && l->a.y == l->b.y ? 1 : STOPS;
}

static void try_ring(const struct field *f, const struct label_params *p, const struct label *l,
                     double r, struct best *best)
{
    for (int i = 0; i < DIRECTIONS; i++) {
        struct geo_point u = direction(i);
        for (int s = 0; s < stops_of(l); s++)
            try_box(f, p, anchor_at(l, s), box_beside(l, anchor_at(l, s), u, r), p->film, best);
    }
}

static void try_rings(const struct field *f, const struct label_params *p, const struct label *l,
                      double r_max, struct best *best)
{
    size_t rings = (size_t)(r_max / p->step);
    for (size_t k = 0; k < rings; k++) {
        double away = (double)k + 0.5; /* in steps: no place of this ring costs less */
        if (best->found && away >= best->cost)
            return;
        try_ring(f, p, l, away * p->step, best);
    }
}

static void try_gutter(const struct field *f, const struct label_params *p, const struct label *l,
                       struct best *best)
{
    double x = 0.5 * (p->gutter.x0 + p->gutter.x1), top = p->gutter.y0 + 0.5 * l->h;
    double room = p->gutter.y1 - p->gutter.y0 - l->h;
    if (p->gutter.x1 - p->gutter.x0 < l->w || room < 0.0)
        return;
    for (size_t k = 0; (double)k * p->step <= room; k++) {
        struct geo_point at = {x, top + (double)k * p->step};
        try_box(f, p, anchor_at(l, 0), box_about(at, 0.5 * l->w, 0.5 * l->h), p->gutter, best);
    }
}

static double diagonal(struct box b)
{
    return hypot(b.x1 - b.x0, b.y1 - b.y0);
}

static void place(struct field *f, const struct label_params *p, struct label *l)
{
    struct best best = {0};
    try_rings(f, p, l, p->far, &best);
    if (!best.found)
        try_gutter(f, p, l, &best);
    if (!best.found)
        try_rings(f, p, l, diagonal(p->film), &best);
    l->placed = best.found;
    if (!best.found)
        return;
    l->has_leader = best.has_leader;
    l->box = best.box;
    l->leader[0] = best.leader[0];
    l->leader[1] = best.leader[1];
    field_take_box(f, l->box, CELL_LABEL);
    field_take_box(f, grow(l->box, f->cell), CELL_AIR);
    if (l->has_leader)
        field_take_line(f, l->leader[0], l->leader[1], 0.0, CELL_LEADER);
}

/* --- all labels ------------------------------------------------------------------------------- */

/* How many places there are close by: whoever has few goes first. */
static size_t freedom(const struct field *f, const struct label_params *p, const struct label *l)
{
    size_t n = 0;
    for (int i = 0; i < DIRECTIONS; i++) {
        struct geo_point u = direction(i);
        for (int k = 0; k < NEAR_RINGS * stops_of(l); k++) {
            struct best one = {0};
            struct geo_point anchor = anchor_at(l, k / NEAR_RINGS);
            double r = (k % NEAR_RINGS + 0.5) * p->step;
            try_box(f, p, anchor, box_beside(l, anchor, u, r), p->film, &one);
            n += one.found;
        }
    }
    return n;
}

/* The label not yet tried that has least room; n when there is none. */
static size_t pick_tightest(const struct label *labels, size_t n)
{
    size_t pick = n;
    for (size_t i = 0; i < n; i++)
        if (!labels[i].tried && (pick == n || labels[i].room < labels[pick].room))
            pick = i;
    return pick;
}

void label_place_all(struct field *f, const struct label_params *p, struct label *labels, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        labels[i].placed = labels[i].tried = false;
        labels[i].room = freedom(f, p, &labels[i]);
    }
    for (size_t i = pick_tightest(labels, n); i < n; i = pick_tightest(labels, n)) {
        labels[i].tried = true;
        place(f, p, &labels[i]);
    }
}

/* --- boxes that name nothing --------------------------------------------------------------------
 */

static bool box_free(const struct field *f, struct box b, struct box within)
{
    return box_inside(b, within) && flags_in(f, b) == 0;
}

bool box_place_corner(struct field *f, struct box within, double w, double h, struct box *out)
{
    double high = within.y1 - within.y0 - h, wide = within.x1 - within.x0 - w;
    if (high < 0.0 || wide < 0.0)
        return false;
    /* Row by row upwards; in a row from the left and from the right corner in turn, inwards. */
    size_t rows = (size_t)(high / f->cell) + 1, columns = (size_t)(wide / f->cell) + 1;
    for (size_t i = 0; i < rows * columns; i++) {
        size_t row = i / columns, in = i % columns / 2;
        double y = within.y1 - h - (double)row * f->cell, aside = (double)in * f->cell;
        double x = i % columns % 2 == 0 ? within.x0 + aside : within.x1 - w - aside;
        struct box b = {x, y, x + w, y + h};
        if (!box_free(f, b, within))
            continue;
        field_take_box(f, b, CELL_LABEL);
        *out = b;
        return true;
    }
    return false;
}

/* --- lines cut short ----------------------------------------------------------------------------
 */

/* The stretch of a-b inside the disc, as parameters; false when there is none. */
static bool covered(struct geo_point a, struct geo_point b, struct disc disc, double out[2])
{
    struct geo_point d = geo_sub(b, a), from = geo_sub(a, disc.at);
    double dd = geo_dot(d, d), half = geo_dot(from, d), c = geo_dot(from, from) - disc.r * disc.r;
    if (dd <= 0.0)
        return false;
    double root = half * half - dd * c;
    if (root <= 0.0)
        return false;
    out[0] = (-half - sqrt(root)) / dd;
    out[1] = (-half + sqrt(root)) / dd;
    return out[1] > 0.0 && out[0] < 1.0;
}

static int by_start(const void *a, const void *b)
{
    const double *x = a, *y = b;
    return (x[0] > y[0]) - (x[0] < y[0]);
}

size_t cut_by_discs(struct geo_point a, struct geo_point b, const struct disc *discs, size_t n,
                    size_t skip, double (*pieces)[2])
{
    size_t holes = 0, count = 0;
    for (size_t i = 0; i < n; i++)
        if (i != skip && covered(a, b, discs[i], pieces[holes]))
            holes++;
    qsort(pieces, holes, sizeof *pieces, by_start);
    /* What is left between the holes is written over the holes already passed. */
    double t = 0.0;
    for (size_t i = 0; i < holes; i++) {
        double from = pieces[i][0], to = pieces[i][1];
        if (from > t) {
            pieces[count][0] = t;
            pieces[count++][1] = from;
        }
        t = fmax(t, to);
    }
    if (t < 1.0) {
        pieces[count][0] = t;
        pieces[count++][1] = 1.0;
    }
    return count;
}
