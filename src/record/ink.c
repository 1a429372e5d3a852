/*
 * Ink: the drawing as a list of lines, fills and words, and its painting with cairo and pango.
 *
 * The list is made once and painted band by band, so that no surface of the picture's size is ever
 * needed. Lines are a light core on a dark halo, to be seen on dark and on bright film alike. The
 * kind of a line is its pattern, whom it belongs to its colour; the colours are light members of
 * the set that Okabe and Ito (2008, Color Universal Design) chose so that people with any form of
 * colour vision tell them apart, given to our things by ourselves.
 * Limits: glyphs depend on the fonts of the machine; drawn geometry does not.
 */
#include "record/record_internal.h"

#include <stdlib.h>
#include <string.h>

static const char font_family[] = "DejaVu Sans, Sans";

static const double colours[HUES][3] = {
    [HUE_PIN] = {0.94, 0.89, 0.26},    /* yellow */
    [HUE_MESIAL] = {0.34, 0.71, 0.91}, /* sky blue */
    [HUE_DISTAL] = {0.90, 0.62, 0.00}, /* orange */
    [HUE_SITE] = {0.20, 0.78, 0.60},   /* bluish green, lighter */
    [HUE_BOUND] = {0.95, 0.66, 0.82},  /* reddish purple, lighter */
    [HUE_PLAN] = {1.00, 1.00, 1.00},   /* white */
    [HUE_PLAIN] = {0.93, 0.92, 0.88},  /* paper white: numbers, leaders */
    [HUE_DARK] = {0.10, 0.12, 0.15},   /* ink */
    [HUE_FAINT] = {0.36, 0.37, 0.40},
};

/* Lengths on and off, in widths of the line. */
static const struct {
    int n;
    double length[6];
} patterns[PATTERNS] = {
    [PATTERN_MEASURED] = {0, {0}},
    [PATTERN_LEVEL] = {2, {9.0, 6.0}},
    [PATTERN_SIDE] = {2, {0.02, 8.0}}, /* round caps make the dots */
    [PATTERN_AXIS] = {4, {14.0, 4.0, 1.6, 4.0}},
    [PATTERN_PLAN] = {6, {14.0, 4.0, 1.6, 4.0, 1.6, 4.0}},
};

static const double halo_share = 2.2;    /* width of the halo against the core's */
static const double halo_opacity = 0.55; /* the film shines through */
static const double dot_share = 1.7;     /* a dot is fatter than a line */
static const double ground_opacity = 0.78;
static const double join_widths = 3.0; /* how far a stroke reaches over its points, in widths */
enum { ROUND_STEPS = 12 };

/* --- the list --------------------------------------------------------------------------------- */

/* Stable glyphs: grey edges, no hinting, no dependence on the screen. */
static void set_font_options(PangoContext *context)
{
    cairo_font_options_t *o = cairo_font_options_create();
    cairo_font_options_set_antialias(o, CAIRO_ANTIALIAS_GRAY);
    cairo_font_options_set_hint_style(o, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(o, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(context, o);
    cairo_font_options_destroy(o);
    pango_context_set_round_glyph_positions(context, FALSE);
}

int ink_init(struct ink *ink, struct box film, struct err *err)
{
    *ink = (struct ink){.film = film};
    ink->pango = pango_font_map_create_context(pango_cairo_font_map_get_default());
    if (ink->pango == NULL)
        return plumb_err_set(err, ERR_NOMEM, "no memory for fonts: close other programs");
    set_font_options(ink->pango);
    return 0;
}

void ink_release(struct ink *ink)
{
    for (size_t i = 0; i < ink->n; i++)
        if (ink->item[i].words != NULL)
            g_object_unref(ink->item[i].words);
    free(ink->item);
    free(ink->point);
    if (ink->pango != NULL)
        g_object_unref(ink->pango);
    *ink = (struct ink){0};
}

int ink_check(const struct ink *ink, struct err *err)
{
    if (ink->failed)
        return plumb_err_set(err, ERR_NOMEM, "no memory for a drawing of %zu lines", ink->n);
    return 0;
}

/* Makes room for one more of an array; false (and failed) when memory is out. */
static bool reserve(struct ink *ink, void **array, size_t need, size_t *cap, size_t size)
{
    if (ink->failed)
        return false;
    if (need <= *cap)
        return true;
    size_t more = need < 128 ? 128 : 2 * need;
    void *p = plumb_mem_resize(*array, more, size, NULL);
    if (p == NULL) {
        ink->failed = true;
        return false;
    }
    *array = p;
    *cap = more;
    return true;
}

static struct box bounds_of(const struct geo_point *p, size_t n, double more)
{
    struct box b = {p[0].x, p[0].y, p[0].x, p[0].y};
    for (size_t i = 1; i < n; i++) {
        b.x0 = fmin(b.x0, p[i].x);
        b.y0 = fmin(b.y0, p[i].y);
        b.x1 = fmax(b.x1, p[i].x);
        b.y1 = fmax(b.y1, p[i].y);
    }
    return (struct box){b.x0 - more, b.y0 - more, b.x1 + more, b.y1 + more};
}

static struct ink_item *add(struct ink *ink, const struct geo_point *pts, size_t n)
{
    void *item = ink->item, *point = ink->point;
    bool ok = reserve(ink, &item, ink->n + 1, &ink->cap, sizeof *ink->item) &&
              reserve(ink, &point, ink->n_points + n, &ink->cap_points, sizeof *ink->point);
    ink->item = item;
    ink->point = point;
    if (!ok)
        return NULL;
    memcpy(ink->point + ink->n_points, pts, n * sizeof *pts);
    struct ink_item *it = &ink->item[ink->n++];
    *it = (struct ink_item){.first = ink->n_points, .n = n, .on_film = ink->on_film};
    ink->n_points += n;
    return it;
}

void ink_line(struct ink *ink, const struct geo_point *pts, size_t n, struct stroke s)
{
    struct ink_item *it = n < 2 ? NULL : add(ink, pts, n);
    if (it == NULL)
        return;
    it->what = INK_STROKE;
    it->stroke = s;
    it->bounds = bounds_of(pts, n, join_widths * s.width);
}

void ink_fill(struct ink *ink, const struct geo_point *pts, size_t n, enum hue hue, bool halo)
{
    struct ink_item *it = n < 3 ? NULL : add(ink, pts, n);
    if (it == NULL)
        return;
    it->what = INK_FILL;
    it->stroke = (struct stroke){.hue = hue, .halo = halo, .width = 1.0};
    it->bounds = bounds_of(pts, n, join_widths);
}

void ink_move(struct ink *ink, size_t from, size_t n, double dx, double dy)
{
    for (size_t i = from; i < n; i++) {
        struct ink_item *it = &ink->item[i];
        it->bounds.x0 += dx;
        it->bounds.x1 += dx;
        it->bounds.y0 += dy;
        it->bounds.y1 += dy;
        for (size_t k = it->first; k < it->first + it->n; k++)
            ink->point[k] = geo_add(ink->point[k], (struct geo_point){dx, dy});
    }
}

/* Half a circle at either end, which meet when the box is a square. */
static size_t pill_outline(struct box b, struct geo_point *out)
{
    double r = 0.5 * fmin(b.x1 - b.x0, b.y1 - b.y0);
    struct geo_point c[2] = {{b.x1 - r, 0.5 * (b.y0 + b.y1)}, {b.x0 + r, 0.5 * (b.y0 + b.y1)}};
    size_t n = 0;
    for (int end = 0; end < 2; end++)
        for (int i = 0; i <= ROUND_STEPS; i++) {
            double turn = GEO_PI * ((double)i / ROUND_STEPS - 0.5 + end);
            out[n++] = geo_add(c[end], (struct geo_point){r * cos(turn), r * sin(turn)});
        }
    return n;
}

void ink_pill(struct ink *ink, struct box b, enum hue hue)
{
    struct geo_point pts[2 * (ROUND_STEPS + 1)];
    ink_fill(ink, pts, pill_outline(b, pts), hue, false);
}

void ink_disc(struct ink *ink, struct geo_point at, double r, enum hue hue)
{
    ink_pill(ink, (struct box){at.x - r, at.y - r, at.x + r, at.y + r}, hue);
}

void ink_pill_rim(struct ink *ink, struct box b, struct stroke s)
{
    struct geo_point pts[2 * (ROUND_STEPS + 1)];
    s.closed = true;
    ink_line(ink, pts, pill_outline(b, pts), s);
}

/* --- words ------------------------------------------------------------------------------------ */

struct words words_set(struct ink *ink, const char *text, double size, bool bold, double wrap)
{
    struct words w = {.layout = pango_layout_new(ink->pango)};
    PangoFontDescription *font = pango_font_description_from_string(font_family);
    pango_font_description_set_absolute_size(font, size * PANGO_SCALE);
    pango_font_description_set_weight(font, bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_layout_set_font_description(w.layout, font);
    pango_font_description_free(font);
    pango_layout_set_single_paragraph_mode(w.layout, TRUE);
    pango_layout_set_auto_dir(w.layout, FALSE);
    if (wrap > 0.0) {
        pango_layout_set_width(w.layout, (int)(wrap * PANGO_SCALE));
        pango_layout_set_wrap(w.layout, PANGO_WRAP_WORD_CHAR);
    }
    pango_layout_set_text(w.layout, plumb_text_is_utf8(text, strlen(text)) ? text : "?", -1);
    int width, height;
    pango_layout_get_size(w.layout, &width, &height);
    w.w = (double)width / PANGO_SCALE;
    w.h = (double)height / PANGO_SCALE;
    return w;
}

void words_release(struct words *w)
{
    if (w->layout != NULL)
        g_object_unref(w->layout);
    *w = (struct words){0};
}

void ink_put(struct ink *ink, struct words *w, double x, double y, enum hue hue)
{
    struct geo_point at = {x, y};
    struct ink_item *it = w->layout ? add(ink, &at, 1) : NULL;
    if (it == NULL) {
        words_release(w);
        return;
    }
    it->what = INK_WORDS;
    it->stroke.hue = hue;
    it->words = w->layout;
    it->bounds = (struct box){x - 1.0, y - 1.0, x + w->w + 1.0, y + w->h + 1.0};
    w->layout = NULL;
}

/* --- painting --------------------------------------------------------------------------------- */

static void trace(cairo_t *cr, const struct geo_point *p, size_t n, bool closed)
{
    cairo_move_to(cr, p[0].x, p[0].y);
    for (size_t i = 1; i < n; i++)
        cairo_line_to(cr, p[i].x, p[i].y);
    if (closed)
        cairo_close_path(cr);
}

static void set_colour(cairo_t *cr, enum hue hue, double opacity)
{
    cairo_set_source_rgba(cr, colours[hue][0], colours[hue][1], colours[hue][2], opacity);
}

static void set_pattern(cairo_t *cr, const struct stroke *s)
{
    double length[6];
    int n = patterns[s->pattern].n;
    for (int i = 0; i < n; i++)
        length[i] = patterns[s->pattern].length[i] * s->width;
    cairo_set_dash(cr, length, n, 0.0);
    cairo_set_line_cap(cr, s->pattern == PATTERN_SIDE ? CAIRO_LINE_CAP_ROUND : CAIRO_LINE_CAP_BUTT);
}

static void paint_stroke(cairo_t *cr, const struct ink_item *it, const struct geo_point *p)
{
    double width = it->stroke.width * (it->stroke.pattern == PATTERN_SIDE ? dot_share : 1.0);
    set_pattern(cr, &it->stroke);
    trace(cr, p, it->n, it->stroke.closed);
    if (it->stroke.halo) {
        set_colour(cr, HUE_DARK, halo_opacity);
        cairo_set_line_width(cr, halo_share * width);
        cairo_stroke_preserve(cr);
    }
    set_colour(cr, it->stroke.hue, 1.0);
    cairo_set_line_width(cr, width);
    cairo_stroke(cr);
}

static void paint_fill(cairo_t *cr, const struct ink_item *it, const struct geo_point *p)
{
    bool ground = it->stroke.hue == HUE_DARK;
    trace(cr, p, it->n, true);
    if (it->stroke.halo) {
        cairo_set_dash(cr, NULL, 0, 0.0);
        cairo_set_line_width(cr, halo_share * it->stroke.width);
        set_colour(cr, HUE_DARK, halo_opacity);
        cairo_stroke_preserve(cr);
    }
    set_colour(cr, it->stroke.hue, ground ? ground_opacity : 1.0);
    cairo_fill(cr);
}

static void paint_words(cairo_t *cr, const struct ink_item *it, const struct geo_point *p)
{
    set_colour(cr, it->stroke.hue, 1.0);
    cairo_move_to(cr, p->x, p->y);
    pango_cairo_show_layout(cr, it->words);
}

static void paint_item(cairo_t *cr, const struct ink_item *it, const struct geo_point *p)
{
    switch (it->what) {
    case INK_STROKE:
        paint_stroke(cr, it, p);
        break;
    case INK_FILL:
        paint_fill(cr, it, p);
        break;
    case INK_WORDS:
        paint_words(cr, it, p);
        break;
    }
}

void ink_paint(const struct ink *ink, cairo_t *cr, double y0, double rows)
{
    cairo_save(cr);
    cairo_translate(cr, 0.5, 0.5 - y0); /* the one place of the half pixel */
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    for (size_t i = 0; i < ink->n; i++) {
        const struct ink_item *it = &ink->item[i];
        if (it->bounds.y1 < y0 - 1.0 || it->bounds.y0 > y0 + rows + 1.0)
            continue;
        cairo_save(cr);
        if (it->on_film) {
            cairo_rectangle(cr, ink->film.x0, ink->film.y0, ink->film.x1 - ink->film.x0,
                            ink->film.y1 - ink->film.y0);
            cairo_clip(cr);
        }
        paint_item(cr, it, ink->point + it->first);
        cairo_restore(cr);
    }
    cairo_restore(cr);
}
