/*
 * The plot of a series: a field a quantity, its values with their 95 % bars over the films' dates,
 * the weighted line where there is one. Dark ink on paper and no colour: what differs differs by
 * shape. Frame: pixels of the picture, centres at integers, y down.
 */
#include "record/record_internal.h"
#include "record/report_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* px */
static const double em = 19.0, small_em = 16.0, title_em = 25.0;
static const double page_width = 1560.0, edge = 44.0, column_gap = 56.0;
static const double scale_width = 92.0;                       /* of the y axis with its numbers */
static const double field_height = 210.0, field_inset = 46.0; /* free at either end of time */
static const double under_field = 64.0;
static const double point_radius = 5.5, cap_half = 7.0, day_step = 26.0;
static const double line_width = 1.8, axis_width = 1.2;
static const double date_gap = 16.0;   /* between dates written */
static const double room_share = 0.10; /* of the values' span, above and below */
static const unsigned deflate_level = 6;
enum { TICKS_MOST = 6, COLUMNS = 2 };

struct plot {
    const struct exam_series *s;
    struct ink *ink;
    double y; /* the next free row */
};
struct field_of {
    const struct meas_course *c;
    double x0, x1, y0, y1; /* px, of the field; y0 is its top */
    double lo, hi;         /* of the values */
};

static double page_inner(void)
{
    return page_width - 2.0 * edge;
}

static double column_width(void)
{
    return (page_inner() - (COLUMNS - 1) * column_gap) / COLUMNS;
}

static double put(struct plot *p, const char *text, double size, bool bold, double wrap, double x,
                  double y, enum hue hue)
{
    struct words w = words_set(p->ink, text, size, bold, wrap);
    double height = w.h;
    ink_put(p->ink, &w, x, y, hue);
    return height;
}

static void rule(struct plot *p, double x0, double y0, double x1, double y1, enum hue hue,
                 enum pattern pattern, double width)
{
    struct geo_point pts[2] = {{x0, y0}, {x1, y1}};
    ink_line(p->ink, pts, 2, (struct stroke){.hue = hue, .pattern = pattern, .width = width});
}

/* --- where things stand
 * ------------------------------------------------------------------------- */

static double x_of_day(const struct plot *p, const struct field_of *f, double day)
{
    const struct meas_series *r = &p->s->result;
    double span = (double)r->day[r->n_films - 1];
    if (!(span > 0.0))
        return 0.5 * (f->x0 + f->x1);
    return f->x0 + field_inset + (f->x1 - f->x0 - 2.0 * field_inset) * day / span;
}

/* Values of one day stand side by side, about that day, but within the field. */
static double x_of_film(const struct plot *p, const struct field_of *f, size_t film)
{
    const struct meas_series *r = &p->s->result;
    size_t before = 0, all = 0;
    for (size_t i = 0; i < r->n_films; i++)
        if (f->c->at[i] != NULL && r->day[i] == r->day[film]) {
            before += i < film;
            all++;
        }
    double step = fmin(day_step, 2.0 * field_inset / (double)all);
    return x_of_day(p, f, (double)r->day[film]) +
           step * ((double)before - 0.5 * ((double)all - 1.0));
}

static double y_of(const struct field_of *f, double value)
{
    return f->y1 - (f->y1 - f->y0) * (value - f->lo) / (f->hi - f->lo);
}

static void find_range(const struct plot *p, struct field_of *f)
{
    f->lo = HUGE_VAL;
    f->hi = -HUGE_VAL;
    for (size_t i = 0; i < p->s->n; i++) {
        const struct meas_quantity *q = f->c->at[i];
        if (q == NULL)
            continue;
        f->lo = fmin(f->lo, fmin(q->v.lo, q->v.value));
        f->hi = fmax(f->hi, fmax(q->v.hi, q->v.value));
    }
    double room = room_share * (f->hi - f->lo);
    f->lo -= room;
    f->hi += room;
}

/* 1, 2 or 5 times a power of ten, so that there are a few marks. */
static double tick_step(double span)
{
    static const double steps[] = {1.0, 2.0, 5.0, 10.0};
    double power = pow(10.0, floor(log10(span / TICKS_MOST)));
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++)
        if (span / (steps[i] * power) <= TICKS_MOST)
            return steps[i] * power;
    return 10.0 * power;
}

/* --- a field
 * ------------------------------------------------------------------------------------ */

static void draw_scale(struct plot *p, const struct field_of *f)
{
    double step = tick_step(f->hi - f->lo);
    int places = step < 1.0 ? (int)ceil(-log10(step) - 1e-9) : 0;
    double first = ceil(f->lo / step) * step;
    int n = (int)floor((f->hi - first) / step) + 1;
    for (int i = 0; i < n; i++) {
        double v = first + i * step, y = y_of(f, v);
        char text[32];
        snprintf(text, sizeof text, "%.*f", places, fabs(v) < 0.5 * step ? 0.0 : v);
        struct words w = words_set(p->ink, text, small_em, false, 0.0);
        double x = f->x0 - 10.0 - w.w, top = y - 0.5 * w.h;
        ink_put(p->ink, &w, x, top, HUE_DARK);
        rule(p, f->x0 - 5.0, y, f->x1, y, HUE_FAINT, PATTERN_SIDE, 0.5);
    }
    rule(p, f->x0, f->y0, f->x0, f->y1, HUE_FAINT, PATTERN_MEASURED, axis_width);
    rule(p, f->x0, f->y1, f->x1, f->y1, HUE_FAINT, PATTERN_MEASURED, axis_width);
}

/* The last date is always written; an earlier one where it does not run into its neighbours. */
static void draw_dates(struct plot *p, const struct field_of *f)
{
    const struct meas_series *r = &p->s->result;
    double end = -HUGE_VAL, last_x = x_of_day(p, f, (double)r->day[r->n_films - 1]);
    for (size_t i = 0; i < r->n_films; i++) {
        if (i > 0 && r->day[i] == r->day[i - 1])
            continue;
        double x = x_of_day(p, f, (double)r->day[i]);
        struct words w = words_set(p->ink, p->s->exam[i].sheet.film.taken, small_em, false, 0.0);
        double half = 0.5 * w.w;
        bool is_last = r->day[i] == r->day[r->n_films - 1];
        rule(p, x, f->y1, x, f->y1 + 6.0, HUE_FAINT, PATTERN_MEASURED, axis_width);
        if (x - half > end && (is_last || x + half + date_gap < last_x - half)) {
            end = x + half + date_gap;
            ink_put(p->ink, &w, x - half, f->y1 + 9.0, HUE_DARK);
        }
        words_release(&w);
    }
}

/* Lengths from a scale of last resort stand as rings. */
static bool is_rough(const struct plot *p, const struct meas_course *c, size_t film)
{
    return strcmp(c->unit, "mm") == 0 && rec_is_rough(&p->s->exam[film]);
}

static void draw_point(struct plot *p, struct geo_point at, bool rough)
{
    double r = point_radius;
    struct box b = {at.x - r, at.y - r, at.x + r, at.y + r};
    if (rough) {
        ink_disc(p->ink, at, r, HUE_PLAIN);
        ink_pill_rim(p->ink, b, (struct stroke){.hue = HUE_DARK, .width = line_width});
    } else {
        ink_disc(p->ink, at, r, HUE_DARK);
        ink_disc(p->ink, at, r, HUE_DARK); /* once more: fills let the ground through */
    }
}

static void draw_bar(struct plot *p, double x, double top, double bottom)
{
    rule(p, x, top, x, bottom, HUE_DARK, PATTERN_MEASURED, line_width);
    rule(p, x - cap_half, top, x + cap_half, top, HUE_DARK, PATTERN_MEASURED, line_width);
    rule(p, x - cap_half, bottom, x + cap_half, bottom, HUE_DARK, PATTERN_MEASURED, line_width);
}

/* Above the bar; none where it would run into the one before. */
static double draw_number(struct plot *p, size_t film, double x, double bar_top, double end)
{
    char number[8];
    snprintf(number, sizeof number, "%u", (unsigned)(film + 1) % 1000u);
    struct words w = words_set(p->ink, number, small_em, false, 0.0);
    double left = x - 0.5 * w.w, right = left + w.w, top = bar_top - w.h - 1.0;
    bool room = left > end;
    if (room)
        ink_put(p->ink, &w, left, top, HUE_DARK);
    words_release(&w);
    return room ? right : end;
}

static void draw_points(struct plot *p, const struct field_of *f)
{
    double end = -HUGE_VAL; /* of the last number */
    for (size_t i = 0; i < p->s->n; i++) {
        const struct meas_quantity *q = f->c->at[i];
        if (q == NULL)
            continue;
        double x = x_of_film(p, f, i);
        draw_bar(p, x, y_of(f, q->v.hi), y_of(f, q->v.lo));
        draw_point(p, (struct geo_point){x, y_of(f, q->v.value)}, is_rough(p, f->c, i));
        end = draw_number(p, i, x, y_of(f, q->v.hi), end);
    }
}

/* The weighted line, from the first value to the last. */
static void draw_trend(struct plot *p, const struct field_of *f)
{
    const struct meas_trend *t = &f->c->trend;
    const struct meas_series *r = &p->s->result;
    if (!t->set)
        return;
    size_t from = rec_course_first(f->c), to = p->s->n - 1;
    while (f->c->at[to] == NULL)
        to--;
    double a = (double)r->day[from], b = (double)r->day[to];
    rule(p, x_of_day(p, f, a), y_of(f, t->start + t->slope * a / plumb_meas_month_days),
         x_of_day(p, f, b), y_of(f, t->start + t->slope * b / plumb_meas_month_days), HUE_DARK,
         PATTERN_LEVEL, axis_width);
}

static void put_unit(struct plot *p, const struct field_of *f)
{
    const char *word = strcmp(f->c->unit, "deg") == 0 ? "degrees"
                       : strcmp(f->c->unit, "1") == 0 ? "ratio"
                                                      : f->c->unit;
    struct words w = words_set(p->ink, word, small_em, true, 0.0);
    double x = f->x0 - 10.0 - w.w;
    ink_put(p->ink, &w, x, f->y0 - small_em - 12.0, HUE_DARK);
}

/* Returns the height it took. */
static double draw_field(struct plot *p, const struct meas_course *c, double x, double y)
{
    struct field_of f = {.c = c, .x0 = x + scale_width, .x1 = x + column_width()};
    char label[REC_LABEL], words[REC_CHANGE];
    rec_label_words(&p->s->exam[rec_course_first(c)].sheet, c->id, REC_LABEL_ANY, label);
    if (c->kind == COURSE_CONTROL)
        strncat(label, " (control)", sizeof label - strlen(label) - 1);
    rec_series_words(c, words);
    double top = y;
    y += put(p, label, em, true, f.x1 - f.x0, f.x0, y, HUE_DARK);
    y += put(p, words, small_em, false, f.x1 - f.x0, f.x0, y, HUE_FAINT) + em;
    f.y0 = y;
    f.y1 = y + field_height;
    find_range(p, &f);
    put_unit(p, &f);
    draw_scale(p, &f);
    draw_dates(p, &f);
    draw_trend(p, &f);
    draw_points(p, &f);
    return f.y1 + under_field - top;
}

/* --- the page
 * ----------------------------------------------------------------------------------- */

static void draw_head(struct plot *p)
{
    const struct exam_series *s = p->s;
    const struct sheet_site *site = &s->exam[0].sheet.site;
    char number[8], name[64], line[256];
    plumb_tooth_print(site->tooth, site->notation, number);
    snprintf(line, sizeof line, "Change over time, site %s", number);
    p->y += put(p, line, title_em, true, 0.0, edge, p->y, HUE_DARK);
    const char *first = s->exam[0].sheet.film.taken, *last = s->exam[s->n - 1].sheet.film.taken;
    bool one_day = strcmp(first, last) == 0;
    snprintf(line, sizeof line, "%s; %zu films, %s%s%s", plumb_tooth_name(site->tooth, name), s->n,
             first, one_day ? "" : " to ", one_day ? "" : last);
    p->y += put(p, line, em, false, 0.0, edge, p->y, HUE_DARK);
    if (rec_series_is_proposed(s))
        p->y += put(p,
                    "PROPOSED: some marks were found or carried over, and nobody has confirmed "
                    "them.",
                    em, true, page_inner(), edge, p->y + 4.0, HUE_DARK) +
                4.0;
    p->y += em;
}

/* Mesial stands on the left, distal on the right of it. Where the pin stood is in the table. */
static size_t draw_fields(struct plot *p)
{
    size_t drawn = 0, column = 0;
    double tallest = 0.0;
    for (size_t i = 0; i < p->s->result.n_courses; i++) {
        const struct meas_course *c = &p->s->result.course[i];
        if (c->kind == COURSE_PIN)
            continue;
        if (column == COLUMNS || (column > 0 && strstr(c->id, ".mesial") != NULL)) {
            p->y += tallest;
            tallest = 0.0;
            column = 0;
        }
        double x = edge + (double)column * (column_width() + column_gap);
        tallest = fmax(tallest, draw_field(p, c, x, p->y));
        column++;
        drawn++;
    }
    p->y += tallest;
    return drawn;
}

static void draw_films(struct plot *p)
{
    for (size_t i = 0; i < p->s->n; i++) {
        const struct sheet_film *f = &p->s->exam[i].sheet.film;
        char line[SHEET_WORDS + SHEET_NAME + 48];
        snprintf(line, sizeof line, "%zu   %s   %s%s%s", i + 1, f->taken, f->stage,
                 f->stage[0] ? ", " : "", f->file);
        p->y += put(p, line, small_em, false, page_inner(), edge, p->y, HUE_DARK);
    }
    p->y += 0.6 * em;
}

static void draw_foot(struct plot *p, bool any)
{
    static const char how[] =
        "Bars: 95 % intervals. Numbers: the films. Ring: a length from a scale of last resort. "
        "Broken line: weighted straight line. Films of one day stand side by side. Where a pin "
        "stood is in the table, not here.";
    p->y += put(p, any ? how : "No quantity but the pin's place was measured on two films.",
                small_em, false, page_inner(), edge, p->y, HUE_DARK) +
            0.6 * em;
    draw_films(p);
    for (size_t i = 0; i < plumb_meas_n_cautions; i++)
        p->y +=
            put(p, plumb_meas_cautions[i], small_em, false, page_inner(), edge, p->y, HUE_FAINT);
    p->y += edge;
}

static void tell_sources(const struct exam_series *s, struct buf *sources, struct buf *cautions)
{
    for (size_t i = 0; i < s->n; i++)
        plumb_buf_addf(sources, "%s%s sha256 %s", i ? "; " : "", s->exam[i].sheet.film.file,
                       s->exam[i].sheet.film.sha256);
    for (size_t i = 0; i < plumb_meas_n_cautions; i++)
        plumb_buf_addf(cautions, "%s%s", i ? " " : "", plumb_meas_cautions[i]);
}

static int write_page(const struct plot *p, struct file_out *to, struct err *err)
{
    struct buf sources = {0}, cautions = {0};
    tell_sources(p->s, &sources, &cautions);
    int rc = plumb_buf_check(&sources, err);
    if (rc == 0)
        rc = plumb_buf_check(&cautions, err);
    if (rc == 0) {
        const struct film_png_text text[] = {{"Title", "plumbrule series"},
                                             {"Software", "plumbrule " PLUMB_VERSION},
                                             {"Source", sources.data},
                                             {"Comment", cautions.data}};
        struct film_png_options o = {.width = (size_t)page_width,
                                     .height = (size_t)ceil(p->y),
                                     .level = deflate_level,
                                     .text = text,
                                     .n_text = sizeof text / sizeof text[0]};
        rc = paper_write(p->ink, &o, to, err);
    }
    plumb_buf_release(&sources);
    plumb_buf_release(&cautions);
    return rc;
}

int plumb_rec_series_plot(const struct exam_series *s, struct file_out *to, struct err *err)
{
    struct ink ink;
    int rc = ink_init(&ink, (struct box){0.0, 0.0, 0.0, 0.0}, err);
    if (rc != 0)
        return rc;
    struct plot p = {.s = s, .ink = &ink, .y = edge};
    draw_head(&p);
    draw_foot(&p, draw_fields(&p) > 0);
    rc = ink_check(&ink, err);
    if (rc == 0)
        rc = write_page(&p, to, err);
    ink_release(&ink);
    return rc;
}
