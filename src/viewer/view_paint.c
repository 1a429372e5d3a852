/*
 * Painting. The film's area is kept as a picture of its own (resampled and toned only when the
 * transform or the tone changed); the frame is repainted where the scene differs from the one
 * before, and only there.
 */
#include "viewer/view_paint_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char font_family[] = "DejaVu Sans, Sans";

static const double colours[VIEW_HUES][3] = {
    [VIEW_PIN] = {0.94, 0.89, 0.26},                                           /* yellow */
    [VIEW_MESIAL] = {0.34, 0.71, 0.91},                                        /* sky blue */
    [VIEW_DISTAL] = {0.90, 0.62, 0.00},                                        /* orange */
    [VIEW_SITE] = {0.20, 0.78, 0.60},                                          /* bluish green */
    [VIEW_BOUND] = {0.88, 0.58, 0.75},                                         /* reddish purple */
    [VIEW_PLAN] = {1.00, 1.00, 1.00},       [VIEW_WORDS] = {0.93, 0.92, 0.88}, /* paper white */
    [VIEW_DIM] = {0.62, 0.63, 0.64},        [VIEW_GROUND] = {0.135, 0.145, 0.16},
    [VIEW_GROUND_LIT] = {0.21, 0.23, 0.26}, [VIEW_DARK] = {0.08, 0.09, 0.10},
    [VIEW_RULE] = {0.27, 0.29, 0.31},       [VIEW_NOTICE] = {0.94, 0.89, 0.55}, /* straw */
    [VIEW_WARN] = {0.98, 0.66, 0.42},                                           /* apricot */
};
static const struct {
    int n;
    double length[6]; /* widths of the line */
} patterns[] = {
    [LINE_SOLID] = {0, {0}},
    [LINE_AXIS] = {4, {14.0, 4.0, 1.6, 4.0}},
    [LINE_DOTS] = {2, {0.02, 5.0}},
    [LINE_DASH] = {2, {9.0, 6.0}},
    [LINE_PLAN] = {6, {14.0, 4.0, 1.6, 4.0, 1.6, 4.0}},
};
static const double halo_share = 2.4, halo_opacity = 0.55;
static const double dot_share = 1.6; /* a dot is fatter than a line */
enum { CHANGES_MAX = 24 };
static const double tau = 6.28318530717958647692;

int view_painter_init(struct view_painter *p, struct err *err)
{
    *p = (struct view_painter){0};
    p->pango = pango_font_map_create_context(pango_cairo_font_map_get_default());
    if (p->pango == NULL)
        return plumb_err_set(err, ERR_NOMEM, "no memory for fonts: close other programs");
    pango_context_set_round_glyph_positions(p->pango, TRUE);
    return 0;
}

void view_painter_frame(struct view_painter *p, cairo_surface_t *frame, const struct view_layout *l)
{
    view_raster_release(&p->raster);
    p->frame = frame;
    p->layout = *l;
    p->shown = false;
}

void view_painter_release(struct view_painter *p)
{
    view_raster_release(&p->raster);
    view_pyramid_release(&p->pyramid);
    view_scene_release(&p->scene[0]);
    view_scene_release(&p->scene[1]);
    if (p->pango != NULL)
        g_object_unref(p->pango);
    *p = (struct view_painter){0};
}

/* --- the film ----------------------------------------------------------------------------------
 */

static uint32_t ground_pixel(void)
{
    const double *c = colours[VIEW_DARK];
    return (uint32_t)(255.0 * c[0] + 0.5) << 16 | (uint32_t)(255.0 * c[1] + 0.5) << 8 |
           (uint32_t)(255.0 * c[2] + 0.5);
}

/* Half-open range of the window px whose centres lie on the film. */
static void covered(double from, double to, double room, size_t n, size_t *a, size_t *b)
{
    double x0 = fmin(fmax(ceil(from - room - 0.5), 0.0), (double)n);
    double x1 = fmin(fmax(ceil(to - room - 0.5), x0), (double)n);
    *a = (size_t)x0;
    *b = (size_t)x1;
}

static void tone_row(const struct view_painter *p, size_t y, uint32_t *out, size_t from, size_t to,
                     bool has_film)
{
    const struct view_box room = p->layout.film;
    const uint16_t *grey = p->raster.grey + y * p->raster.w;
    uint32_t ground = ground_pixel();
    double x0, x1;
    size_t a = to, b = to;
    if (has_film && view_film_span(&p->t, room.y0 + (double)y + 0.5, &x0, &x1))
        covered(x0, x1, room.x0, p->raster.w, &a, &b);
    for (size_t x = from; x < to; x++)
        out[x] = x >= a && x < b ? p->table[grey[x]] * 0x010101u : ground;
}

/* The film's part of a box of whole window px, straight onto the frame. */
static void paint_film(const struct view_painter *p, const struct view_box *box, bool has_film)
{
    const struct view_box room = p->layout.film;
    size_t from = (size_t)fmax(box->x0 - room.x0, 0.0);
    size_t to = (size_t)fmax(fmin(box->x1, room.x1) - room.x0, 0.0);
    size_t end = (size_t)fmax(fmin(box->y1, room.y1) - room.y0, 0.0);
    cairo_surface_flush(p->frame);
    unsigned char *data = cairo_image_surface_get_data(p->frame);
    size_t stride = (size_t)cairo_image_surface_get_stride(p->frame);
    for (size_t y = (size_t)fmax(box->y0 - room.y0, 0.0); y < end; y++) {
        void *row =
            data + y * stride; /* cairo's rows are aligned; the film's area begins at 0, 0 */
        tone_row(p, y, row, from, to, has_film);
    }
    cairo_surface_mark_dirty(p->frame);
}

static bool same_tone(const struct view_tone *a, const struct view_tone *b)
{
    return a->low == b->low && a->high == b->high && a->bright == b->bright &&
           a->contrast == b->contrast && a->inverted == b->inverted;
}

static bool same_place(const struct view_transform *a, const struct view_transform *b)
{
    return a->scale == b->scale && a->ox == b->ox && a->oy == b->oy && a->turn == b->turn &&
           a->lean == b->lean;
}

static int update_film(struct view_painter *p, const struct view_state *v, bool *changed,
                       struct err *err)
{
    bool tone = !p->has_tone || !same_tone(&p->tone, &v->tone);
    bool place = !p->raster.valid || !same_place(&p->t, &v->t);
    *changed = tone || place;
    if (!*changed)
        return 0;
    p->t = v->t;
    p->tone = v->tone;
    if (tone)
        view_tone_table(&v->tone, p->table);
    p->has_tone = true;
    return place ? view_raster_update(&p->raster, &p->pyramid, &v->exam.film, &v->t, err) : 0;
}

/* --- items -------------------------------------------------------------------------------------
 */

static void set_colour(cairo_t *cr, enum view_hue hue, double opacity)
{
    cairo_set_source_rgba(cr, colours[hue][0], colours[hue][1], colours[hue][2], opacity);
}

/* A dark wider stroke under a light one: to be seen on black and on white film. */
static void stroke_with_halo(cairo_t *cr, const struct view_item *it)
{
    set_colour(cr, VIEW_DARK, halo_opacity);
    cairo_set_line_width(cr, halo_share * it->width);
    cairo_stroke_preserve(cr);
    set_colour(cr, it->hue, 1.0);
    cairo_set_line_width(cr, it->width);
    cairo_stroke(cr);
}

/* From where to where (px from a) a piece of a line runs through the room. */
static bool in_room(struct geo_point a, struct geo_point b, struct view_box room, double *from,
                    double *to)
{
    const double start[2] = {a.x, a.y}, step[2] = {b.x - a.x, b.y - a.y};
    const double low[2] = {room.x0, room.y0}, high[2] = {room.x1, room.y1};
    double t0 = 0.0, t1 = 1.0;
    for (int i = 0; i < 2; i++) {
        double lo = (low[i] - start[i]) / step[i], hi = (high[i] - start[i]) / step[i];
        if (step[i] == 0.0 && (start[i] < low[i] || start[i] > high[i]))
            return false;
        if (step[i] != 0.0) {
            t0 = fmax(t0, fmin(lo, hi));
            t1 = fmin(t1, fmax(lo, hi));
        }
    }
    *from = t0 * geo_dist(a, b);
    *to = t1 * geo_dist(a, b);
    return t0 < t1;
}

/* The dashes from `from` to `to` px of a piece; `phase`: how far the pattern has run at a. */
static void dash_piece(cairo_t *cr, struct geo_point a, struct geo_point dir, double from,
                       double to, const double *length, int count, double phase)
{
    static const double least_px = 1e-6; /* of a dash that is still to be drawn */
    int k = 0;
    while (k < count - 1 && phase >= length[k])
        phase -= length[k++];
    double left = length[k] - phase;
    for (double at = from; at < to - least_px;) {
        double end = fmin(at + left, to);
        if (k % 2 == 0) {
            cairo_move_to(cr, a.x + at * dir.x, a.y + at * dir.y);
            cairo_line_to(cr, a.x + end * dir.x, a.y + end * dir.y);
        }
        k = (k + 1) % count;
        left = length[k];
        at = end;
    }
}

/* The dashes that can be seen as pieces of their own. Under a thin clip cairo's own dashing leaves
 * some out, and the frame is repainted in such strips; and a line may end far outside. */
static void dashes(cairo_t *cr, const struct geo_point *p, size_t n, const double *length,
                   int count, struct view_box room)
{
    double all = 0.0, run = 0.0, from, to;
    for (int k = 0; k < count; k++)
        all += length[k];
    for (size_t i = 1; i < n; i++) {
        double whole = geo_dist(p[i - 1], p[i]);
        if (whole > 0.0 && in_room(p[i - 1], p[i], room, &from, &to))
            dash_piece(cr, p[i - 1], geo_mul(geo_sub(p[i], p[i - 1]), 1.0 / whole), from, to,
                       length, count, fmod(run + from, all));
        run = fmod(run + whole, all);
    }
}

static void paint_line(const struct view_painter *p, cairo_t *cr, const struct view_scene *s,
                       const struct view_item *it)
{
    const struct geo_point *at = s->point + it->first;
    double length[6] = {HUGE_VAL}, edge = 3.0 * it->width;
    const struct view_box f = p->layout.film;
    const struct view_box room = {f.x0 - edge, f.y0 - edge, f.x1 + edge, f.y1 + edge};
    int n = patterns[it->pattern].n;
    for (int i = 0; i < n; i++)
        length[i] = patterns[it->pattern].length[i] * it->width;
    cairo_set_line_cap(cr, it->pattern == LINE_DOTS ? CAIRO_LINE_CAP_ROUND : CAIRO_LINE_CAP_BUTT);
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    cairo_new_path(cr);
    dashes(cr, at, it->n, length, n > 0 ? n : 1, room);
    struct view_item line = *it;
    line.width *= it->pattern == LINE_DOTS ? dot_share : 1.0;
    stroke_with_halo(cr, &line);
}

static void paint_sign(cairo_t *cr, const struct view_item *it)
{
    double x = it->at.x, y = it->at.y, r = it->r;
    cairo_new_path(cr);
    if (it->shape == SHAPE_RING || it->shape == SHAPE_DOT) {
        cairo_arc(cr, x, y, r, 0.0, tau);
    } else if (it->shape == SHAPE_DIAMOND) {
        cairo_move_to(cr, x, y - r);
        cairo_line_to(cr, x + r, y);
        cairo_line_to(cr, x, y + r);
        cairo_line_to(cr, x - r, y);
        cairo_close_path(cr);
    } else if (it->shape == SHAPE_SQUARE) {
        cairo_rectangle(cr, x - 0.8 * r, y - 0.8 * r, 1.6 * r, 1.6 * r);
    } else {
        double gap = 0.3 * r;
        const double way[4][2] = {{1, 0}, {-1, 0}, {0, 1}, {0, -1}};
        for (int i = 0; i < 4; i++) {
            cairo_move_to(cr, x + gap * way[i][0], y + gap * way[i][1]);
            cairo_line_to(cr, x + r * way[i][0], y + r * way[i][1]);
        }
    }
    if (it->shape == SHAPE_DOT) {
        set_colour(cr, it->hue, 1.0);
        cairo_fill(cr);
        return;
    }
    stroke_with_halo(cr, it);
}

static PangoLayout *layout_of(struct view_painter *p, const struct view_scene *s,
                              const struct view_item *it)
{
    PangoLayout *l = pango_layout_new(p->pango);
    PangoFontDescription *font = pango_font_description_from_string(font_family);
    pango_font_description_set_absolute_size(font, it->size * PANGO_SCALE);
    pango_font_description_set_weight(font, it->bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_layout_set_font_description(l, font);
    pango_font_description_free(font);
    pango_layout_set_single_paragraph_mode(l, TRUE);
    const char *text = s->text + it->first;
    bool good = plumb_text_is_utf8(text, it->n);
    pango_layout_set_text(l, good ? text : "?", good ? (int)it->n : 1);
    return l;
}

/* Words that are too long for their place are set smaller before they are cut. */
static void fit_words(PangoLayout *l, const struct view_item *it)
{
    static const double shares[] = {1.0, 0.93, 0.86, 0.8};
    int room = (int)((it->box.x1 - it->box.x0) * PANGO_SCALE), w = 0;
    for (size_t i = 0; i < sizeof shares / sizeof shares[0]; i++) {
        PangoFontDescription *font =
            pango_font_description_copy(pango_layout_get_font_description(l));
        pango_font_description_set_absolute_size(font, shares[i] * it->size * PANGO_SCALE);
        pango_layout_set_font_description(l, font);
        pango_font_description_free(font);
        pango_layout_get_size(l, &w, NULL);
        if (w <= room)
            break;
    }
    pango_layout_set_width(l, room);
    pango_layout_set_ellipsize(l, PANGO_ELLIPSIZE_END);
}

static void paint_text(struct view_painter *p, cairo_t *cr, const struct view_scene *s,
                       const struct view_item *it)
{
    if (it->box.x1 <= it->box.x0)
        return;
    PangoLayout *l = layout_of(p, s, it);
    int tw, th;
    if (it->wrap) {
        pango_layout_set_width(l, (int)((it->box.x1 - it->box.x0) * PANGO_SCALE));
        pango_layout_set_height(l, (int)((it->box.y1 - it->box.y0) * PANGO_SCALE));
        pango_layout_set_wrap(l, PANGO_WRAP_WORD_CHAR);
        pango_layout_set_ellipsize(l, PANGO_ELLIPSIZE_END);
    } else {
        fit_words(l, it);
    }
    pango_layout_set_alignment(l, it->align == ALIGN_RIGHT    ? PANGO_ALIGN_RIGHT
                                  : it->align == ALIGN_MIDDLE ? PANGO_ALIGN_CENTER
                                                              : PANGO_ALIGN_LEFT);
    pango_layout_get_pixel_size(l, &tw, &th);
    set_colour(cr, it->hue, 1.0);
    cairo_rectangle(cr, it->box.x0, it->box.y0, it->box.x1 - it->box.x0, it->box.y1 - it->box.y0);
    cairo_clip(cr); /* an overhanging letter would be left standing when its box is repainted */
    cairo_move_to(cr, it->box.x0,
                  it->wrap ? it->box.y0 : round(0.5 * (it->box.y0 + it->box.y1 - th)));
    pango_cairo_show_layout(cr, l);
    g_object_unref(l);
}

typedef PangoAttribute *attribute_new(guint16 red, guint16 green, guint16 blue);

static void colour_words(PangoAttrList *list, attribute_new *make, enum view_hue hue, size_t from,
                         size_t to)
{
    const double *c = colours[hue];
    PangoAttribute *a =
        make((guint16)(65535.0 * c[0]), (guint16)(65535.0 * c[1]), (guint16)(65535.0 * c[2]));
    a->start_index = (guint)from;
    a->end_index = (guint)to;
    pango_attr_list_insert(list, a);
}

/* The question in the colour of questions; an answer that typing replaces on a ground of its own.
 */
static void set_looks(PangoLayout *l, const struct view_item *it)
{
    PangoAttrList *list = pango_attr_list_new();
    colour_words(list, pango_attr_foreground_new, VIEW_NOTICE, 0, it->lead);
    if (it->chosen) {
        colour_words(list, pango_attr_background_new, VIEW_NOTICE, it->lead, it->n);
        colour_words(list, pango_attr_foreground_new, VIEW_DARK, it->lead, it->n);
    }
    pango_layout_set_attributes(l, list);
    pango_attr_list_unref(list);
}

/* A line being typed: shifted so that the caret is in sight. */
static void paint_edit(struct view_painter *p, cairo_t *cr, const struct view_scene *s,
                       const struct view_item *it)
{
    PangoLayout *l = layout_of(p, s, it);
    PangoRectangle caret;
    int tw, th;
    set_looks(l, it);
    pango_layout_get_cursor_pos(l, (int)(it->caret < it->n ? it->caret : it->n), &caret, NULL);
    pango_layout_get_pixel_size(l, &tw, &th);
    double x = (double)caret.x / PANGO_SCALE, w = it->box.x1 - it->box.x0;
    double shift = x > w - it->size ? x - w + it->size : 0.0;
    double y = round(0.5 * (it->box.y0 + it->box.y1 - th));
    cairo_save(cr);
    cairo_rectangle(cr, it->box.x0, it->box.y0, w, it->box.y1 - it->box.y0);
    cairo_clip(cr);
    set_colour(cr, it->hue, 1.0);
    cairo_move_to(cr, it->box.x0 - round(shift), y);
    pango_cairo_show_layout(cr, l);
    set_colour(cr, VIEW_NOTICE, 1.0);
    cairo_rectangle(cr, it->box.x0 + round(x - shift), y, fmax(1.0, round(it->size / 9.0)), th);
    cairo_fill(cr);
    cairo_restore(cr);
    g_object_unref(l);
}

/* --- the lens ----------------------------------------------------------------------------------
 */

static void lens_pixels(const struct view_painter *p, const struct view_state *v,
                        const struct view_item *it, cairo_surface_t *to, int size)
{
    struct view_transform t = v->t;
    t.scale = it->r;
    t.ox = t.oy = 0.0;
    struct geo_point middle = view_to_window(&t, it->at);
    t.ox = 0.5 * size - middle.x;
    t.oy = 0.5 * size - middle.y;
    cairo_surface_flush(to);
    unsigned char *data = cairo_image_surface_get_data(to);
    int stride = cairo_image_surface_get_stride(to);
    for (int y = 0; y < size; y++) {
        void *at = data + (size_t)y * (size_t)stride;
        uint32_t *row = at;
        for (int x = 0; x < size; x++) {
            struct geo_point w = {x + 0.5, y + 0.5}, f = view_to_film(&t, w);
            row[x] =
                view_on_film(&t, w)
                    ? p->table[(uint16_t)plumb_film_sample(&v->exam.film, f.x, f.y)] * 0x010101u
                    : ground_pixel();
        }
    }
    cairo_surface_mark_dirty(to);
}

static void lens_frame(cairo_t *cr, const struct view_item *it)
{
    struct view_box b = it->box;
    double x = 0.5 * (b.x0 + b.x1), y = 0.5 * (b.y0 + b.y1), gap = 5.0 * it->width;
    double arm = 0.32 * (b.x1 - b.x0);
    const double way[4][2] = {{1, 0}, {-1, 0}, {0, 1}, {0, -1}};
    for (int i = 0; i < 4; i++) {
        cairo_move_to(cr, x + gap * way[i][0], y + gap * way[i][1]);
        cairo_line_to(cr, x + arm * way[i][0], y + arm * way[i][1]);
    }
    stroke_with_halo(cr, it);
    double h = 0.5 * it->width;
    cairo_rectangle(cr, b.x0 + h, b.y0 + h, b.x1 - b.x0 - 2.0 * h, b.y1 - b.y0 - 2.0 * h);
    set_colour(cr, VIEW_DIM, 1.0);
    cairo_set_line_width(cr, it->width);
    cairo_stroke(cr);
}

static void paint_lens(struct view_painter *p, cairo_t *cr, const struct view_state *v,
                       const struct view_item *it)
{
    int size = (int)(it->box.x1 - it->box.x0);
    cairo_surface_t *s = cairo_image_surface_create(CAIRO_FORMAT_RGB24, size, size);
    if (cairo_surface_status(s) == CAIRO_STATUS_SUCCESS) {
        lens_pixels(p, v, it, s, size);
        cairo_set_source_surface(cr, s, it->box.x0, it->box.y0);
        cairo_rectangle(cr, it->box.x0, it->box.y0, size, size);
        cairo_fill(cr);
        lens_frame(cr, it);
    }
    cairo_surface_destroy(s);
}

/* --- the frame ---------------------------------------------------------------------------------
 */

static void paint_item(struct view_painter *p, cairo_t *cr, const struct view_state *v,
                       const struct view_scene *s, const struct view_item *it)
{
    const struct view_box b = it->box;
    switch (it->shape) {
    case SHAPE_FILL:
        set_colour(cr, it->hue, 1.0);
        cairo_rectangle(cr, b.x0, b.y0, b.x1 - b.x0, b.y1 - b.y0);
        cairo_fill(cr);
        break;
    case SHAPE_LINE:
        paint_line(p, cr, s, it);
        break;
    case SHAPE_TEXT:
        paint_text(p, cr, s, it);
        break;
    case SHAPE_EDIT:
        paint_edit(p, cr, s, it);
        break;
    case SHAPE_LENS:
        paint_lens(p, cr, v, it);
        break;
    default:
        paint_sign(cr, it);
        break;
    }
}

static void paint_box(struct view_painter *p, cairo_t *cr, const struct view_state *v,
                      const struct view_scene *s, struct view_box dirty)
{
    struct view_box f = p->layout.film;
    paint_film(p, &dirty, v->has_film);
    cairo_save(cr);
    cairo_rectangle(cr, dirty.x0, dirty.y0, dirty.x1 - dirty.x0, dirty.y1 - dirty.y0);
    cairo_clip(cr);
    for (size_t i = 0; i < s->n; i++) {
        const struct view_item *it = &s->item[i];
        if (!view_box_meets(it->box, dirty))
            continue;
        cairo_save(cr);
        if (it->on_film) {
            cairo_rectangle(cr, f.x0, f.y0, f.x1 - f.x0, f.y1 - f.y0);
            cairo_clip(cr);
        }
        paint_item(p, cr, v, s, it);
        cairo_restore(cr);
    }
    cairo_restore(cr);
}

static void add_region(cairo_region_t *r, struct view_box b, const struct view_layout *l)
{
    double x0 = fmax(floor(b.x0), 0.0), y0 = fmax(floor(b.y0), 0.0);
    double x1 = fmin(ceil(b.x1), l->w), y1 = fmin(ceil(b.y1), l->h);
    if (x1 <= x0 || y1 <= y0)
        return;
    cairo_rectangle_int_t rect = {(int)x0, (int)y0, (int)(x1 - x0), (int)(y1 - y0)};
    cairo_region_union_rectangle(r, &rect);
}

static void collect(struct view_painter *p, const struct view_scene *next, bool film,
                    cairo_region_t *changed)
{
    const struct view_layout *l = &p->layout;
    struct view_box box[CHANGES_MAX];
    if (!p->shown) {
        add_region(changed, (struct view_box){0.0, 0.0, l->w, l->h}, l);
        return;
    }
    if (film)
        add_region(changed, l->film, l);
    size_t n = view_scene_changes(&p->scene[p->now], next, box, CHANGES_MAX);
    for (size_t i = 0; i < n; i++)
        add_region(changed, box[i], l);
}

int view_paint(struct view_painter *p, struct view_state *v, cairo_region_t *changed,
               struct err *err)
{
    bool film = false;
    int rc = p->raster.grey == NULL ? view_raster_init(&p->raster, p->layout.film, err) : 0;
    if (rc == 0 && v->has_film)
        rc = update_film(p, v, &film, err);
    if (rc != 0)
        return rc;
    struct view_scene *next = &p->scene[1 - p->now];
    view_scene_make(next, v);
    collect(p, next, film, changed);
    p->now = 1 - p->now;
    p->shown = !next->failed;
    cairo_t *cr = cairo_create(p->frame);
    for (int i = 0; i < cairo_region_num_rectangles(changed); i++) {
        cairo_rectangle_int_t r;
        cairo_region_get_rectangle(changed, i, &r);
        paint_box(p, cr, v, next,
                  (struct view_box){r.x, r.y, (double)r.x + r.width, (double)r.y + r.height});
    }
    cairo_destroy(cr);
    return 0;
}
