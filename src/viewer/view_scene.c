/*
 * What is on the screen, as a list of flat items made anew from the state after every batch of
 * events. What differs from the list before is repainted, and nothing else.
 *
 * Signs and lines mean what they mean in the record's picture: ring = placed or confirmed by a
 * person, diamond = found and not confirmed, square = carried over and not confirmed; a colour for
 * whose mark it is, a pattern for what kind of line.
 */
#include "viewer/view_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* px at 96 dots an inch */
static const double line_px = 1.4, sign_px = 7.0, sign_small_px = 5.0, dot_px = 1.7;
static const double chosen_px = 3.5; /* a chosen mark's second ring stands so far outside */
static const double cross_px = 11.0, lens_px = 150.0, lens_off_px = 26.0;
static const double lens_least_zoom = 3.0, lens_against_view = 2.0;

void view_scene_release(struct view_scene *s)
{
    free(s->item);
    free(s->point);
    free(s->text);
    *s = (struct view_scene){0};
}

/* --- adding ------------------------------------------------------------------------------------
 */

static bool reserve(struct view_scene *s, void **array, size_t need, size_t *cap, size_t size)
{
    if (s->failed || need <= *cap)
        return !s->failed;
    void *p = plumb_mem_resize(*array, 2 * need, size, NULL);
    if (p == NULL) {
        s->failed = true;
        return false;
    }
    *array = p;
    *cap = 2 * need;
    return true;
}

static struct view_item *add(struct view_scene *s, enum view_shape shape, enum view_hue hue)
{
    void *item = s->item;
    bool ok = reserve(s, &item, s->n + 1, &s->cap, sizeof *s->item);
    s->item = item;
    if (!ok)
        return NULL;
    struct view_item *it = &s->item[s->n++];
    *it = (struct view_item){.shape = shape, .hue = hue};
    return it;
}

void scene_fill(struct view_scene *s, struct view_box b, enum view_hue hue)
{
    struct view_item *it = add(s, SHAPE_FILL, hue);
    if (it != NULL)
        it->box = b;
}

void scene_text(struct view_scene *s, struct view_box b, const char *text, double size,
                enum view_hue hue, enum view_align align, bool bold)
{
    size_t n = strlen(text);
    void *bytes = s->text;
    bool ok = reserve(s, &bytes, s->n_text + n + 1, &s->cap_text, 1);
    s->text = bytes;
    struct view_item *it = ok ? add(s, SHAPE_TEXT, hue) : NULL;
    if (it == NULL)
        return;
    memcpy(s->text + s->n_text, text, n + 1);
    it->box = b;
    it->size = size;
    it->align = align;
    it->bold = bold;
    it->first = s->n_text;
    it->n = n;
    s->n_text += n + 1;
}

static struct view_box box_of(const struct geo_point *p, size_t n, double more)
{
    struct view_box b = {p[0].x, p[0].y, p[0].x, p[0].y};
    for (size_t i = 1; i < n; i++) {
        b.x0 = fmin(b.x0, p[i].x);
        b.y0 = fmin(b.y0, p[i].y);
        b.x1 = fmax(b.x1, p[i].x);
        b.y1 = fmax(b.y1, p[i].y);
    }
    return (struct view_box){floor(b.x0 - more), floor(b.y0 - more), ceil(b.x1 + more),
                             ceil(b.y1 + more)};
}

static void add_line(struct view_scene *s, const struct geo_point *p, size_t n, enum view_hue hue,
                     enum view_pattern pattern, double width)
{
    void *points = s->point;
    bool ok = reserve(s, &points, s->n_points + n, &s->cap_points, sizeof *s->point);
    s->point = points;
    struct view_item *it = ok && n >= 2 ? add(s, SHAPE_LINE, hue) : NULL;
    if (it == NULL)
        return;
    memcpy(s->point + s->n_points, p, n * sizeof *p);
    it->pattern = pattern;
    it->width = width;
    it->on_film = true;
    it->first = s->n_points;
    it->n = n;
    it->box = box_of(p, n, 3.0 * width);
    s->n_points += n;
}

static void add_sign(struct view_scene *s, enum view_shape shape, struct geo_point at, double r,
                     enum view_hue hue, double width)
{
    struct view_item *it = add(s, shape, hue);
    if (it == NULL)
        return;
    it->at = at;
    it->r = r;
    it->width = width;
    it->on_film = true;
    it->box = box_of(&at, 1, r + 3.0 * width + 1.0);
}

/* --- what was found and placed ------------------------------------------------------------------
 */

static enum view_hue hue_of(const char *name)
{
    if (strncmp(name, "mesial.", 7) == 0)
        return VIEW_MESIAL;
    if (strncmp(name, "distal.", 7) == 0)
        return VIEW_DISTAL;
    if (strncmp(name, "site_tooth.", 11) == 0 || strcmp(name, "ridge") == 0)
        return VIEW_SITE;
    return strncmp(name, "bounds", 6) == 0 ? VIEW_BOUND : VIEW_PIN;
}

static struct geo_point spot(const struct view_state *v, const struct mark *m)
{
    return view_to_window(&v->t, (struct geo_point){m->x, m->y});
}

static void path_line(struct view_scene *s, const struct view_state *v, const struct mark_path *p,
                      enum view_hue hue, enum view_pattern pattern)
{
    struct geo_point *pts = p->n >= 2 ? plumb_mem_array(p->n, sizeof *pts, NULL) : NULL;
    if (pts == NULL)
        return;
    for (size_t i = 0; i < p->n; i++)
        pts[i] = spot(v, &p->at[i]);
    add_line(s, pts, p->n, hue, pattern, line_px * v->layout.ui);
    free(pts);
}

static void pair_line(struct view_scene *s, const struct view_state *v, const struct mark m[2],
                      enum view_hue hue, enum view_pattern pattern)
{
    const struct geo_point pts[2] = {spot(v, &m[0]), spot(v, &m[1])};
    if (m[0].set && m[1].set)
        add_line(s, pts, 2, hue, pattern, line_px * v->layout.ui);
}

/* The evaluated lines: what was measured where. A name that ends in a dot stands for all it begins.
 */
static const struct {
    const char *id;
    enum view_hue hue;
    enum view_pattern pattern;
} shown[] = {
    {"axis.pin", VIEW_PIN, LINE_AXIS},
    {"axis.pins.", VIEW_PIN, LINE_AXIS},
    {"pins.gap.", VIEW_PIN, LINE_SOLID},
    {"axis.mesial", VIEW_MESIAL, LINE_AXIS},
    {"axis.distal", VIEW_DISTAL, LINE_AXIS},
    {"axis.site", VIEW_SITE, LINE_AXIS},
    {"clearance.mesial", VIEW_MESIAL, LINE_SOLID},
    {"clearance.distal", VIEW_DISTAL, LINE_SOLID},
    {"level.mesial", VIEW_MESIAL, LINE_DASH},
    {"level.distal", VIEW_DISTAL, LINE_DASH},
    {"bound.", VIEW_BOUND, LINE_SOLID},
    {"ridge", VIEW_SITE, LINE_SOLID},
    {"plan.outline", VIEW_PLAN, LINE_PLAN},
};

static bool is_shown(const char *id, size_t i)
{
    size_t n = strlen(shown[i].id);
    return shown[i].id[n - 1] == '.' ? strncmp(id, shown[i].id, n) == 0
                                     : strcmp(id, shown[i].id) == 0;
}

static void measured_lines(struct view_scene *s, const struct view_state *v)
{
    const struct meas_result *r = &v->exam.result;
    for (size_t i = 0; i < r->n_segments; i++) {
        const struct meas_segment *g = &r->segment[i];
        if (!isfinite(g->x0 + g->y0 + g->x1 + g->y1))
            continue;
        struct geo_point p[2] = {view_to_window(&v->t, (struct geo_point){g->x0, g->y0}),
                                 view_to_window(&v->t, (struct geo_point){g->x1, g->y1})};
        for (size_t k = 0; k < sizeof shown / sizeof shown[0]; k++)
            if (is_shown(g->id, k))
                add_line(s, p, 2, shown[k].hue, shown[k].pattern, line_px * v->layout.ui);
    }
}

static void lines(struct view_scene *s, const struct view_state *v)
{
    const struct sheet *sh = &v->exam.sheet;
    for (int i = 0; i < SIDES; i++) {
        pair_line(s, v, sh->pin.side[i], VIEW_PIN, LINE_DOTS);
        for (size_t k = 0; k < sh->n_pins; k++)
            pair_line(s, v, sh->pins[k].side[i], VIEW_PIN, LINE_DOTS);
        enum view_hue hue = i == MESIAL ? VIEW_MESIAL : VIEW_DISTAL;
        path_line(s, v, &sh->side[i].near, hue, LINE_DOTS);
        path_line(s, v, &sh->side[i].far, hue, LINE_DOTS);
    }
    for (size_t i = 0; i < sh->n_bounds; i++)
        path_line(s, v, &sh->bound[i].path, VIEW_BOUND, LINE_DASH);
    measured_lines(s, v);
}

static bool is_small(enum mark_kind k)
{
    return k == KIND_PIN_AXIS || k == KIND_PIN_SIDE || k == KIND_ROOT_AXIS || k == KIND_GAUGE_END;
}

/* A gauge's end on a mark of the pin is drawn once. */
static bool drawn_already(const struct sheet_mark_ref *ref, size_t n, size_t i)
{
    for (size_t k = 0; ref[i].kind == KIND_GAUGE_END && k < n; k++)
        if (ref[k].kind < KIND_ROOT_AXIS && ref[k].mark->x == ref[i].mark->x &&
            ref[k].mark->y == ref[i].mark->y)
            return true;
    return false;
}

static enum view_shape shape_of(const struct mark *m)
{
    if (!plumb_mark_is_open(m))
        return SHAPE_RING;
    return m->by == MARK_FOUND ? SHAPE_DIAMOND : SHAPE_SQUARE;
}

static void signs(struct view_scene *s, const struct view_state *v)
{
    struct sheet_mark_ref *ref;
    size_t n = view_marks(&v->exam.sheet, &ref);
    double ui = v->layout.ui, width = line_px * ui;
    for (size_t i = 0; i < n; i++) {
        bool chosen = strcmp(ref[i].name, v->selected) == 0;
        bool path = ref[i].kind == KIND_ROOT_SIDE || ref[i].kind == KIND_BOUND;
        if (drawn_already(ref, n, i) && !chosen)
            continue;
        struct geo_point at = spot(v, ref[i].mark);
        double r = (is_small(ref[i].kind) ? sign_small_px : sign_px) * ui;
        enum view_hue hue = hue_of(ref[i].name);
        if (path && view_step_of(ref[i].name) == v->step)
            add_sign(s, SHAPE_DOT, at, 1.5 * dot_px * ui, hue, width);
        else if (!path)
            add_sign(s, shape_of(ref[i].mark), at, r, hue, width);
        if (chosen)
            add_sign(s, SHAPE_RING, at, r + chosen_px * ui, VIEW_WORDS, width);
    }
    free(ref);
}

/* --- pointer's company -------------------------------------------------------------------------
 */

static void crosses(struct view_scene *s, const struct view_state *v)
{
    double ui = v->layout.ui;
    if (v->has_rough)
        add_sign(s, SHAPE_CROSS, view_to_window(&v->t, v->rough), cross_px * ui,
                 v->step == STEP_ROOT_MESIAL ? VIEW_MESIAL : VIEW_DISTAL, line_px * ui);
    if (v->has_cross)
        add_sign(s, SHAPE_CROSS, view_to_window(&v->t, v->cross), 1.6 * cross_px * ui, VIEW_WORDS,
                 line_px * ui);
}

static bool lens_wanted(const struct view_state *v)
{
    if (!v->lens || v->help || v->choice != CHOICE_NONE || v->drag == DRAG_PAN ||
        v->drag == DRAG_TONE)
        return false;
    bool placing = view_target_now(v) != NULL && !view_typing(v);
    bool over = v->pointer_in && view_box_has(v->layout.film, v->pointer) &&
                view_on_film(&v->t, v->pointer);
    return v->drag == DRAG_MARK || (placing && (over || v->has_cross));
}

/* Beside the pointer, on the side where there is room. */
static void lens(struct view_scene *s, const struct view_state *v)
{
    if (!lens_wanted(v))
        return;
    struct geo_point film = v->has_cross ? v->cross : view_to_film(&v->t, v->pointer);
    for (size_t i = 0; v->drag == DRAG_MARK && i < s->n; i++)
        if (s->item[i].shape == SHAPE_RING && s->item[i].hue == VIEW_WORDS)
            film = view_to_film(&v->t, s->item[i].at); /* the mark's, wherever it was gripped */
    struct geo_point p = view_to_window(&v->t, film);
    struct view_box room = v->layout.film;
    double size = round(fmin(lens_px * v->layout.ui, 0.4 * (room.x1 - room.x0)));
    double off = round(lens_off_px * v->layout.ui);
    double x = p.x + off + size <= room.x1 ? p.x + off : p.x - off - size;
    double y = p.y - off - size >= room.y0 ? p.y - off - size : p.y + off;
    struct view_item *it = add(s, SHAPE_LENS, VIEW_WORDS);
    if (it == NULL)
        return;
    x = round(fmin(fmax(x, room.x0), room.x1 - size));
    y = round(fmin(fmax(y, room.y0), room.y1 - size));
    it->box = (struct view_box){x, y, x + size, y + size};
    it->at = film;
    it->r = fmax(lens_least_zoom, lens_against_view * v->t.scale);
    it->width = v->layout.ui;
}

/* --- all of it ---------------------------------------------------------------------------------
 */

void view_scene_make(struct view_scene *s, struct view_state *v)
{
    s->n = s->n_points = s->n_text = 0;
    s->failed = false;
    scene_column(s, v);
    scene_foot(s, v);
    if (v->has_film && !v->hide) {
        lines(s, v);
        signs(s, v);
        crosses(s, v);
        lens(s, v);
    }
    if (v->help && v->help_notes)
        scene_notes_page(s, v);
    else if (v->help)
        scene_help(s, v);
}

/* --- what differs ------------------------------------------------------------------------------
 */

static bool same_box(struct view_box a, struct view_box b)
{
    return a.x0 == b.x0 && a.y0 == b.y0 && a.x1 == b.x1 && a.y1 == b.y1;
}

static bool same_looks(const struct view_item *x, const struct view_item *y)
{
    return x->shape == y->shape && x->hue == y->hue && x->pattern == y->pattern &&
           x->align == y->align && x->bold == y->bold && x->wrap == y->wrap &&
           x->width == y->width && x->size == y->size && x->at.x == y->at.x && x->at.y == y->at.y &&
           x->r == y->r && x->n == y->n && x->caret == y->caret && x->lead == y->lead &&
           x->chosen == y->chosen;
}

static bool same_points(const struct geo_point *a, const struct geo_point *b, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (a[i].x != b[i].x || a[i].y != b[i].y)
            return false;
    return true;
}

static bool same_item(const struct view_scene *a, const struct view_scene *b, size_t i)
{
    const struct view_item *x = &a->item[i], *y = &b->item[i];
    if (!same_box(x->box, y->box) || !same_looks(x, y))
        return false;
    if (x->shape == SHAPE_LINE)
        return same_points(a->point + x->first, b->point + y->first, x->n);
    if (x->shape == SHAPE_TEXT || x->shape == SHAPE_EDIT)
        return memcmp(a->text + x->first, b->text + y->first, x->n) == 0;
    return true;
}

static void note_box(struct view_box b, struct view_box *out, size_t max, size_t *n)
{
    if (*n < max) {
        out[(*n)++] = b;
        return;
    }
    struct view_box *last = &out[max - 1];
    *last = (struct view_box){fmin(last->x0, b.x0), fmin(last->y0, b.y0), fmax(last->x1, b.x1),
                              fmax(last->y1, b.y1)};
}

size_t view_scene_changes(const struct view_scene *old, const struct view_scene *now,
                          struct view_box *out, size_t max)
{
    size_t n = 0, most = old->n > now->n ? old->n : now->n;
    size_t least = old->n < now->n ? old->n : now->n;
    for (size_t i = 0; i < most; i++) {
        if (i < least && same_item(old, now, i))
            continue;
        if (i < old->n)
            note_box(old->item[i].box, out, max, &n);
        if (i < now->n)
            note_box(now->item[i].box, out, max, &n);
    }
    return n;
}
