/*
 * Editing the sheet's marks by their path in the document. Placed or moved marks carry no
 * uncertainty of their own (the default of their kind holds); a confirmed one stays a found one and
 * keeps that of its fit.
 */
#include "viewer/view_internal.h"

#include <math.h>
#include <stdlib.h>
#include <stdio.h>
#include <string.h>

/* Marks nearer than this (px) that stand for the same thing move together: a gauge's end on the
 * pin's tip. Coordinates are kept to three decimals. */
static const double same_spot_px = 0.002;

size_t view_marks(const struct sheet *s, struct sheet_mark_ref **out)
{
    size_t n = plumb_sheet_marks(s, NULL, 0);
    *out = plumb_mem_array(n, sizeof **out, NULL);
    return *out != NULL ? plumb_sheet_marks(s, *out, n) : 0;
}

static bool is_gauge_end(const char *name)
{
    return view_step_of(name) == STEP_GAUGE;
}

static bool is_pin(const char *name)
{
    return view_step_of(name) == STEP_PIN;
}

static void put_by_hand(struct mark *m, struct geo_point at)
{
    m->by = m->set && m->by != MARK_HAND ? MARK_MOVED : MARK_HAND;
    m->set = true;
    m->x = at.x;
    m->y = at.y;
    m->sd = 0.0;
    m->confirmed = false;
}

/* Gauge ends on a pin's mark and the other way round. */
static void move_companions(struct sheet *s, const char *name, struct geo_point from,
                            struct geo_point to)
{
    struct sheet_mark_ref *ref;
    size_t n = view_marks(s, &ref);
    for (size_t i = 0; i < n; i++) {
        bool pair = (is_gauge_end(name) && is_pin(ref[i].name)) ||
                    (is_pin(name) && is_gauge_end(ref[i].name));
        struct geo_point p = {ref[i].mark->x, ref[i].mark->y};
        if (pair && geo_dist(p, from) < same_spot_px)
            put_by_hand(ref[i].mark, to);
    }
    free(ref);
}

void view_mark_move(struct sheet *s, const char *name, struct geo_point to)
{
    struct mark *m = plumb_sheet_mark(s, name);
    if (m == NULL || !m->set)
        return;
    struct geo_point from = {m->x, m->y};
    put_by_hand(m, to);
    move_companions(s, name, from, to);
}

/* --- paths -------------------------------------------------------------------------------------
 */

/* Reads "HEAD<number>]" off *p; false (and *p as it was) when it does not stand there. */
static bool take_index(const char **p, const char *head, size_t *index)
{
    size_t n = strlen(head);
    if (strncmp(*p, head, n) != 0)
        return false;
    char *end;
    *index = strtoul(*p + n, &end, 10);
    if (end == *p + n || *end != ']')
        return false;
    *p = end + 1;
    return true;
}

bool view_pin_index(const char *name, size_t *k)
{
    return take_index(&name, "pins[", k);
}

/* Makes room for the next further pin when a mark of it is named. */
static void begin_pin(struct sheet *s, const char *name)
{
    size_t k;
    if (view_pin_index(name, &k) && k == s->n_pins && k < SHEET_PINS)
        s->n_pins++;
}

void view_mark_place(struct sheet *s, const char *name, struct geo_point at)
{
    begin_pin(s, name);
    struct mark *m = plumb_sheet_mark(s, name);
    if (m == NULL)
        return;
    if (m->set) {
        view_mark_move(s, name, at);
        return;
    }
    put_by_hand(m, at);
}

/* The path a name like "mesial.near[3]" or "bounds[0].path[2]" points into, and where. */
static struct mark_path *path_of(struct sheet *s, const char *name, size_t *index)
{
    const struct {
        const char *head;
        struct mark_path *path;
    } sides[] = {{"mesial.near[", &s->side[MESIAL].near},
                 {"mesial.far[", &s->side[MESIAL].far},
                 {"distal.near[", &s->side[DISTAL].near},
                 {"distal.far[", &s->side[DISTAL].far}};
    struct mark_path *p = NULL;
    size_t k;
    for (size_t i = 0; p == NULL && i < sizeof sides / sizeof sides[0]; i++)
        if (take_index(&name, sides[i].head, index))
            p = sides[i].path;
    if (p == NULL && take_index(&name, "bounds[", &k) && k < s->n_bounds &&
        take_index(&name, ".path[", index))
        p = &s->bound[k].path;
    return p != NULL && *name == '\0' && *index < p->n ? p : NULL;
}

static void path_clear(struct mark_path *p)
{
    free(p->at);
    *p = (struct mark_path){0};
}

int view_path_add(struct mark_path *p, struct geo_point at, struct err *err)
{
    if (p->n >= SHEET_PATH)
        return plumb_err_set(err, ERR_LIMIT, "the line has %d points: begin another", SHEET_PATH);
    struct mark *more = plumb_mem_resize(p->at, p->n + 1, sizeof *more, err);
    if (more == NULL)
        return ERR_NOMEM;
    p->at = more;
    p->at[p->n++] = (struct mark){.set = true, .x = at.x, .y = at.y, .by = MARK_HAND};
    return 0;
}

static void bound_remove(struct sheet *s, size_t k)
{
    path_clear(&s->bound[k].path);
    memmove(&s->bound[k], &s->bound[k + 1], (s->n_bounds - k - 1) * sizeof s->bound[0]);
    s->bound[--s->n_bounds] = (struct sheet_bound){0};
}

static void drop_empty_bounds(struct sheet *s)
{
    for (size_t k = s->n_bounds; k-- > 0;)
        if (s->bound[k].path.n == 0)
            bound_remove(s, k);
}

static bool is_empty_pin(const struct sheet_pin *p)
{
    return !p->tip.set && !p->shoulder.set && !p->stop.set && !p->axis[0].set && !p->axis[1].set &&
           !p->side[MESIAL][0].set && !p->side[MESIAL][1].set && !p->side[DISTAL][0].set &&
           !p->side[DISTAL][1].set;
}

static void drop_empty_pins(struct sheet *s)
{
    size_t kept = 0;
    for (size_t i = 0; i < s->n_pins; i++)
        if (!is_empty_pin(&s->pins[i]))
            s->pins[kept++] = s->pins[i];
    for (size_t i = kept; i < s->n_pins; i++)
        s->pins[i] = (struct sheet_pin){0};
    s->n_pins = kept;
}

/* A further pin that was found is a proposal: thrown away as a whole. */
static bool drop_found_pin(struct sheet *s, const char *name)
{
    size_t k;
    const struct mark *m = plumb_sheet_mark(s, name);
    if (m == NULL || !plumb_mark_is_found(m) || !take_index(&name, "pins[", &k))
        return false;
    s->pins[k] = (struct sheet_pin){0};
    drop_empty_pins(s);
    return true;
}

void view_mark_delete(struct sheet *s, const char *name)
{
    size_t i;
    if (drop_found_pin(s, name))
        return;
    struct mark_path *p = path_of(s, name, &i);
    if (p != NULL) {
        memmove(&p->at[i], &p->at[i + 1], (p->n - i - 1) * sizeof *p->at);
        if (--p->n == 0)
            path_clear(p);
        drop_empty_bounds(s);
        return;
    }
    struct mark *m = plumb_sheet_mark(s, name);
    if (m != NULL)
        *m = (struct mark){0};
    drop_empty_pins(s);
}

bool view_path_cut(struct sheet *s, const char *name)
{
    size_t i;
    struct mark_path *p = path_of(s, name, &i);
    if (p == NULL)
        return false;
    size_t before = i + 1, after = p->n - i; /* points up to it, and from it on */
    if (before < after) {
        memmove(p->at, p->at + before, (p->n - before) * sizeof *p->at);
        p->n -= before;
    } else {
        p->n = i;
    }
    if (p->n == 0)
        path_clear(p);
    drop_empty_bounds(s);
    return true;
}

/* --- a step's marks together -------------------------------------------------------------------
 */

void view_step_confirm(struct sheet *s, enum view_step step)
{
    struct sheet_mark_ref *ref;
    size_t n = view_marks(s, &ref);
    for (size_t i = 0; i < n; i++)
        if (plumb_mark_is_open(ref[i].mark) &&
            (step == STEPS || view_step_confirms(step, ref[i].name)))
            ref[i].mark->confirmed = true;
    free(ref);
}

static void clear_root(struct sheet_neighbour *nb)
{
    path_clear(&nb->near);
    path_clear(&nb->far);
    nb->axis[0] = nb->axis[1] = nb->apex = (struct mark){0};
}

void view_step_clear(struct sheet *s, enum view_step step)
{
    if (step == STEP_ROOT_MESIAL || step == STEP_ROOT_DISTAL) {
        clear_root(&s->side[step == STEP_ROOT_MESIAL ? MESIAL : DISTAL]);
        return;
    }
    if (step == STEP_BOUND && s->n_bounds > 0) {
        bound_remove(s, s->n_bounds - 1);
        return;
    }
    struct sheet_mark_ref *ref;
    size_t n = view_marks(s, &ref);
    for (size_t i = 0; i < n; i++)
        if (view_step_confirms(step, ref[i].name))
            *ref[i].mark = (struct mark){0};
    drop_empty_pins(s);
    free(ref);
}

/* --- what the finder found ---------------------------------------------------------------------
 */

static void merge_gauges(struct sheet *into, const struct sheet *found)
{
    for (size_t i = 0; i < into->n_gauges && i < found->n_gauges; i++)
        for (int k = 0; k < 2; k++)
            if (!into->gauge[i].end[k].set && into->gauge[i].kind == found->gauge[i].kind &&
                plumb_mark_is_found(&found->gauge[i].end[k]))
                into->gauge[i].end[k] = found->gauge[i].end[k];
}

void view_marks_merge(struct sheet *into, const struct sheet *found, bool rest_only)
{
    merge_gauges(into, found);
    if (!rest_only && into->n_pins < found->n_pins)
        into->n_pins = found->n_pins;
    struct sheet_mark_ref *ref;
    size_t n = view_marks(found, &ref);
    for (size_t i = 0; i < n; i++) {
        if (!plumb_mark_is_found(ref[i].mark) || !is_pin(ref[i].name) ||
            (rest_only && ref[i].kind != KIND_PIN_SIDE))
            continue;
        struct mark *m = plumb_sheet_mark(into, ref[i].name);
        if (m != NULL && !m->set)
            *m = *ref[i].mark;
    }
    free(ref);
}
