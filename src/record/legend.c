/*
 * The words around the drawing: the margin with the numbered quantities, their findings, a key to
 * the lines and signs, a scale bar, the caption. The margin is a flow of blocks in one or more
 * columns of equal width; small films get a margin wider than themselves rather than small letters.
 *
 * A finding's state stands as a word and as a sign that needs no colour: a gate with a dot within
 * it, outside it, on its post, or (not measured) no dot.
 */
#include "record/record_internal.h"
#include "record/report_internal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double text_size = 0.9, text_least_px = 11.0;                      /* em of the film */
static const double small_size = 0.82, small_least_px = 10.0, title_size = 1.3; /* em of the text */
static const double label_wrap_em = 17.0;   /* of the text's em */
static const size_t label_columns = 60;     /* two lines of that width */
static const double least_height_em = 56.0; /* a page lower than this is lengthened */
static const double longer_page = 1.35;     /* times the film: rather that than one more column */
static const double edge_em = 1.2;          /* free paper around the margin */
static const double gap_em = 0.9;           /* between columns of a row */
static const double row_em = 0.42;          /* between rows */
static const double block_em = 1.1;         /* between blocks */
static const double number_side_em = 0.9;   /* a number's ground beside its digits, both sides */
static const double gate_em = 2.1;          /* a state's sign with the gap after it */
static const double least_width_em = 22.0;
static const double bar_line = 0.1; /* of the bar's height */
static const double chip_em = 3.2;  /* width of a line's sample */
static const double bar_lengths_mm[] = {10.0, 5.0, 20.0, 2.0, 1.0, 50.0};
static const double bar_least_em = 2.5, bar_most_share = 0.9, bar_film_share = 0.4;
static const double bar_block_least_px = 4.0;
/* Blocks besides rows and cautions: title, proposal, key, bar. */
enum { BLOCKS_MORE = 24, NOTES_MOST = 12 };
static const char proposed_word[] = "PROPOSED";

/* --- the scale bar ------------------------------------------------------------------------------
 */

/* The bar's length in mm that suits the room, 0 when none does. */
static double bar_length(const struct meas_scale *s, double least_px, double most_px)
{
    if (s->from == SCALE_NONE || !(s->mm_per_px > 0.0))
        return 0.0;
    for (size_t i = 0; i < sizeof bar_lengths_mm / sizeof bar_lengths_mm[0]; i++) {
        double px = bar_lengths_mm[i] / s->mm_per_px;
        if (px >= least_px && px <= most_px)
            return bar_lengths_mm[i];
    }
    return 0.0;
}

static void rectangle(struct ink *ink, struct box b, enum hue hue)
{
    struct geo_point p[4] = {{b.x0, b.y0}, {b.x1, b.y0}, {b.x1, b.y1}, {b.x0, b.y1}};
    ink_fill(ink, p, 4, hue, false);
}

static void frame(struct ink *ink, struct box b, enum hue hue, double width)
{
    struct geo_point p[4] = {{b.x0, b.y0}, {b.x1, b.y0}, {b.x1, b.y1}, {b.x0, b.y1}};
    ink_line(ink, p, 4, (struct stroke){.hue = hue, .width = width, .closed = true});
}

/* A ruler's pattern: every other millimetre filled, in a frame. */
static void draw_bar(struct ink *ink, double x, double y, double px, double mm, double height,
                     enum hue hue)
{
    double pitch = px / mm, line = bar_line * height;
    frame(ink, (struct box){x, y, x + px, y + height}, hue, line);
    double step = pitch >= bar_block_least_px ? pitch : 5.0 * pitch;
    int blocks = (int)lround(px / step);
    for (int i = 0; i < blocks; i += 2)
        rectangle(ink, (struct box){x + i * step, y, x + fmin((i + 1) * step, px), y + height},
                  hue);
}

/* --- words ---------------------------------------------------------------------------------------
 */

static void caption_title(const struct exam *e, char *out, size_t size)
{
    const struct sheet_site *s = &e->sheet.site;
    char tooth[8];
    const char *file = e->sheet.film.file[0] ? e->sheet.film.file
                       : e->film_path        ? e->film_path
                                             : "";
    if (s->tooth == 0) {
        snprintf(out, size, "%s", plumb_path_base(file));
        return;
    }
    plumb_tooth_print(s->tooth, s->notation, tooth);
    snprintf(out, size, "site %s", tooth);
}

static void caption_line(const struct exam *e, char *out, size_t size)
{
    const struct sheet_film *f = &e->sheet.film;
    snprintf(out, size, "%s%s%s", f->taken, f->taken[0] && f->stage[0] ? ", " : "", f->stage);
}

static void state_text(const struct meas_finding *f, char *out, size_t size)
{
    static const char *const sign[] = {
        [UNC_AT_LEAST] = "\u2265 ", [UNC_AT_MOST] = "\u2264 ", [UNC_WITHIN] = "\u00b1"};
    if (f->state == UNC_NOT_MEASURED)
        snprintf(out, size, "%s", plumb_meas_state_word(f->state));
    else
        snprintf(out, size, "%s  %s%g%s", plumb_meas_state_word(f->state), sign[f->compare],
                 f->limit, strcmp(f->unit, "deg") == 0 ? "\u00b0" : "");
}

/* --- the margin: rows ----------------------------------------------------------------------------
 */

struct row {
    struct words number, label, value, state;
    bool has_state;
    enum unc_state finding;
    double h;
};

/* What must stay together: some items of the ink, and where they begin in the flow. */
struct block {
    size_t first;
    double y;
};

struct legend {
    const struct exam *e;
    const struct figure_used *used;
    struct ink *ink;
    double em; /* of the text */
    struct row *row;
    size_t n_rows;
    double number_w, label_w, value_w, column_w;
    /* all blocks in one column, from top on; then folded into as many as are needed */
    struct block *block;
    size_t n_blocks;
    double x, top, y;
};

static double small_px(const struct legend *l)
{
    return fmax(small_size * l->em, small_least_px);
}

static struct words set(struct legend *l, const char *text)
{
    return words_set(l->ink, text, l->em, false, 0.0);
}

static struct row *new_row(struct legend *l)
{
    struct row *r = &l->row[l->n_rows++];
    *r = (struct row){0};
    return r;
}

static void set_state(struct legend *l, struct row *r, const struct meas_finding *f)
{
    char text[64];
    state_text(f, text, sizeof text);
    r->has_state = true;
    r->finding = f->state;
    r->state = set(l, text);
}

static void set_label(struct legend *l, struct row *r, const char *text)
{
    r->label = words_set(l->ink, text, l->em, false, label_wrap_em * l->em);
}

static void add_quantity_rows(struct legend *l, size_t i)
{
    const struct meas_result *res = &l->e->result;
    const struct meas_quantity *q = &res->quantity[i];
    char text[96], label[REC_LABEL];
    struct row *r = new_row(l);
    snprintf(text, sizeof text, "%zu", i + 1);
    r->number = words_set(l->ink, text, l->em, true, 0.0);
    rec_label_with_axis(&l->e->sheet, q, label_columns, label);
    set_label(l, r, label);
    plumb_meas_value_words(q, text);
    r->value = set(l, text);
    for (size_t k = 0; k < res->n_findings; k++) {
        if (strcmp(res->finding[k].quantity, q->id) != 0)
            continue;
        if (r->has_state)
            r = new_row(l); /* one more limit for the same quantity */
        set_state(l, r, &res->finding[k]);
    }
}

/* Does the quantity of finding k have a row already? */
static bool named_before(const struct meas_result *r, size_t k)
{
    const char *id = r->finding[k].quantity;
    for (size_t i = 0; i < k; i++)
        if (strcmp(r->finding[i].quantity, id) == 0)
            return true;
    return plumb_meas_find(r, id) != NULL;
}

static void add_missing_row(struct legend *l, const struct meas_finding *f)
{
    char label[REC_LABEL];
    struct row *r = new_row(l);
    rec_label_words(&l->e->sheet, f->quantity, label_columns, label);
    set_label(l, r, label);
    set_state(l, r, f);
}

/* A value without a finding beside it may reach into that column. */
static void measure_columns(struct legend *l)
{
    double gap = gap_em * l->em, alone = 0.0, beside = 0.0;
    for (size_t i = 0; i < l->n_rows; i++) {
        struct row *r = &l->row[i];
        r->h = fmax(fmax(r->number.h, r->label.h), fmax(r->value.h, r->state.h));
        l->number_w = fmax(l->number_w, r->number.w + number_side_em * l->em);
        l->label_w = fmax(l->label_w, r->label.w);
        alone = fmax(alone, r->value.w);
        if (!r->has_state)
            continue;
        l->value_w = fmax(l->value_w, r->value.w);
        beside = fmax(beside, gap + gate_em * l->em + r->state.w);
    }
    double w = l->number_w + l->label_w + 2.0 * gap + fmax(alone, l->value_w + beside);
    l->column_w = fmax(w, least_width_em * l->em);
}

static void collect_rows(struct legend *l)
{
    const struct meas_result *r = &l->e->result;
    for (size_t i = 0; i < r->n_quantities; i++)
        add_quantity_rows(l, i);
    for (size_t k = 0; k < r->n_findings; k++)
        if (r->finding[k].state == UNC_NOT_MEASURED && !named_before(r, k) &&
            rec_is_awaited(r, r->finding[k].quantity))
            add_missing_row(l, &r->finding[k]);
    measure_columns(l);
}

/* --- the margin: flow ----------------------------------------------------------------------------
 */

static void begin_block(struct legend *l)
{
    l->block[l->n_blocks++] = (struct block){l->ink->n, l->y};
}

static double block_end(const struct legend *l, size_t i)
{
    return i + 1 < l->n_blocks ? l->block[i + 1].y : l->y;
}

/* How high a column may become: a margin a little higher than the film is better than one column
 * more; several columns are of about the same height. */
static double column_height(const struct legend *l, double room)
{
    double total = l->y - l->top, tallest = 0.0, columns = ceil(total / (longer_page * room));
    if (columns <= 1.0)
        return total;
    for (size_t i = 0; i < l->n_blocks; i++)
        tallest = fmax(tallest, block_end(l, i) - l->block[i].y);
    return fmax(room, total / columns + tallest);
}

/* Lays the one long column out in several; returns their number. */
static size_t fold(struct legend *l, double room, double *lowest)
{
    double most = column_height(l, room), from = l->top, column = 0.0;
    *lowest = l->top;
    for (size_t i = 0; i < l->n_blocks; i++) {
        double end = block_end(l, i);
        if (end - from > most) {
            from = l->block[i].y;
            column += 1.0;
        }
        size_t next = i + 1 < l->n_blocks ? l->block[i + 1].first : l->ink->n;
        ink_move(l->ink, l->block[i].first, next, column * (l->column_w + 2.0 * edge_em * l->em),
                 l->top - from);
        *lowest = fmax(*lowest, l->top + end - from);
    }
    return (size_t)column + 1;
}

static void line_of(struct legend *l, const char *text, double size, bool bold, enum hue hue)
{
    struct words w = words_set(l->ink, text, size, bold, l->column_w);
    if (text[0] == '\0') {
        words_release(&w);
        return;
    }
    double h = w.h;
    begin_block(l);
    ink_put(l->ink, &w, l->x, l->y, hue);
    l->y += h + 0.2 * l->em;
}

static void draw_title(struct legend *l)
{
    char text[SHEET_WORDS + 32], name[64];
    caption_title(l->e, text, sizeof text);
    line_of(l, text, title_size * l->em, true, HUE_DARK);
    if (l->e->sheet.site.tooth != 0)
        line_of(l, plumb_tooth_name(l->e->sheet.site.tooth, name), l->em, false, HUE_DARK);
    caption_line(l->e, text, sizeof text);
    line_of(l, text, l->em, false, HUE_DARK);
    l->y += block_em * l->em;
}

static void draw_proposed(struct legend *l)
{
    double em = l->em, pad = 0.6 * em;
    struct words word = words_set(l->ink, proposed_word, em, true, 0.0);
    const char *marks = l->used->by[MARK_CARRIED]
                            ? "marks with a diamond were found, those with a square carried over, "
                              "and nobody has confirmed them"
                            : "marks with a diamond were found and nobody has confirmed them";
    struct words why =
        words_set(l->ink, marks, small_px(l), false, l->column_w - word.w - 3.0 * pad);
    double inner = fmax(word.h, why.h), h = inner + 2.0 * pad;
    begin_block(l);
    frame(l->ink, (struct box){l->x, l->y, l->x + l->column_w, l->y + h}, HUE_DARK, 0.12 * em);
    double x = l->x + pad, middle = l->y + 0.5 * h;
    double word_w = word.w, word_h = word.h, why_h = why.h;
    ink_put(l->ink, &word, x, middle - 0.5 * word_h, HUE_DARK);
    ink_put(l->ink, &why, x + word_w + pad, middle - 0.5 * why_h, HUE_DARK);
    l->y += h + block_em * em;
}

/* The gate, its left post at x, centred on y. */
static void draw_state_sign(struct legend *l, enum unc_state s, double x, double y)
{
    double em = l->em, half = 0.38 * em, post = x + 2.0 * half;
    struct stroke line = {.hue = HUE_DARK, .width = 0.08 * em};
    struct geo_point left[4] = {
        {x + 0.2 * em, y - half}, {x, y - half}, {x, y + half}, {x + 0.2 * em, y + half}};
    struct geo_point right[4] = {{post - 0.2 * em, y - half},
                                 {post, y - half},
                                 {post, y + half},
                                 {post - 0.2 * em, y + half}};
    ink_line(l->ink, left, 4, line);
    ink_line(l->ink, right, 4, line);
    double at = s == UNC_INSIDE ? x + half : s == UNC_OUTSIDE ? post + 0.45 * em : post;
    double r = 0.19 * em;
    if (s != UNC_NOT_MEASURED)
        ink_disc(l->ink, (struct geo_point){at, y}, r, HUE_DARK);
}

static void put_middle(struct legend *l, struct words *w, double x, double middle, enum hue hue)
{
    double y = middle - 0.5 * w->h;
    ink_put(l->ink, w, x, y, hue);
}

static void draw_number(struct legend *l, struct row *r, double middle)
{
    double h = 1.35 * l->em, w = fmax(h, r->number.w + (number_side_em - 0.2) * l->em);
    double x = l->x + 0.5 * (l->number_w - w);
    ink_pill(l->ink, (struct box){x, middle - 0.5 * h, x + w, middle + 0.5 * h}, HUE_DARK);
    double at = x + 0.5 * (w - r->number.w), y = middle - 0.5 * r->number.h;
    ink_put(l->ink, &r->number, at, y, HUE_PLAIN);
}

static void draw_row(struct legend *l, struct row *r)
{
    double gap = gap_em * l->em, step = r->h + row_em * l->em;
    begin_block(l);
    double middle = l->y + 0.5 * step, x = l->x + l->number_w + gap;
    bool missing = r->has_state && r->finding == UNC_NOT_MEASURED;
    enum hue hue = missing ? HUE_FAINT : HUE_DARK;
    if (r->number.layout != NULL)
        draw_number(l, r, middle);
    put_middle(l, &r->label, x, middle, hue);
    x += l->label_w + gap;
    put_middle(l, &r->value, x, middle, hue);
    x += l->value_w + gap;
    if (r->has_state) {
        draw_state_sign(l, r->finding, x, middle);
        put_middle(l, &r->state, x + gate_em * l->em, middle, hue);
    }
    l->y += step;
}

static void draw_rows(struct legend *l)
{
    for (size_t i = 0; i < l->n_rows; i++)
        draw_row(l, &l->row[i]);
    l->y += block_em * l->em;
}

/* --- the margin: key, bar, small print
 * ------------------------------------------------------------ */

static void key_words(struct legend *l, double x, double middle, const char *text)
{
    struct words w = words_set(l->ink, text, small_px(l), false, 0.0);
    put_middle(l, &w, x, middle, HUE_DARK);
}

static void key_chip(struct legend *l, double *x, double middle)
{
    double half = 0.55 * l->em, w = chip_em * l->em;
    ink_pill(l->ink, (struct box){*x, middle - half, *x + w, middle + half}, HUE_DARK);
    *x += w + 0.5 * l->em;
}

static void key_pattern(struct legend *l, enum pattern p, double x, double middle)
{
    static const char *const word[PATTERNS] = {
        [PATTERN_MEASURED] = "measured", [PATTERN_LEVEL] = "level, bound",
        [PATTERN_SIDE] = "outline",      [PATTERN_AXIS] = "axis",
        [PATTERN_PLAN] = "plan",
    };
    double em = l->em, width = figure_sizes_for(&l->e->film).line;
    struct geo_point p2[2] = {{x + 0.4 * em, middle}, {x + (chip_em - 0.4) * em, middle}};
    key_chip(l, &x, middle);
    ink_line(l->ink, p2, 2, (struct stroke){.hue = HUE_PLAIN, .pattern = p, .width = width});
    key_words(l, x, middle, word[p]);
}

static void key_sign(struct legend *l, enum mark_by by, double x, double middle)
{
    static const char *const word[] = {[MARK_HAND] = "placed, moved or confirmed",
                                       [MARK_FOUND] = "found, not confirmed",
                                       [MARK_CARRIED] = "carried over, not confirmed"};
    struct geo_point at = {x + 0.5 * chip_em * l->em, middle};
    struct stroke s = {.hue = HUE_PLAIN, .width = figure_sizes_for(&l->e->film).line};
    key_chip(l, &x, middle);
    struct geo_point sign[SIGN_POINTS];
    ink_line(l->ink, sign, sign_outline(at, 0.38 * l->em, by, sign), s);
    key_words(l, x, middle, word[by]);
}

/* Two to a line. */
static void draw_key(struct legend *l)
{
    double step = 1.5 * l->em;
    int n = 0;
    for (int i = 0; i < PATTERNS + MARK_CARRIED + 1; i++) {
        bool is_sign = i >= PATTERNS;
        if (is_sign ? !l->used->by[i - PATTERNS] : !l->used->pattern[i])
            continue;
        if (n % 2 == 0)
            begin_block(l);
        double x = l->x + (n % 2) * 0.5 * l->column_w, middle = l->y + 0.5 * step;
        if (is_sign)
            key_sign(l, (enum mark_by)(i - PATTERNS), x, middle);
        else
            key_pattern(l, (enum pattern)i, x, middle);
        if (n % 2 == 1)
            l->y += step;
        n++;
    }
    l->y += (n % 2 ? step : 0.0) + block_em * l->em;
}

static void draw_margin_bar(struct legend *l)
{
    const struct meas_scale *s = &l->e->result.scale;
    double mm = bar_length(s, bar_least_em * l->em, bar_most_share * l->column_w);
    if (mm <= 0.0)
        return;
    char text[32];
    double px = mm / s->mm_per_px, height = 0.4 * l->em, h = height + 1.6 * l->em;
    begin_block(l);
    draw_bar(l->ink, l->x, l->y, px, mm, height, HUE_DARK);
    snprintf(text, sizeof text, "%g mm", mm);
    struct words w = set(l, text);
    ink_put(l->ink, &w, l->x, l->y + height + 0.15 * l->em, HUE_DARK);
    l->y += h + block_em * l->em;
}

/* What is to be noted stands above the numbers it is about. A margin is no place for very many. */
static void draw_notes(struct legend *l)
{
    const struct sheet_notes *all[] = {&l->e->result.warnings, &l->e->notes};
    size_t n = 0, told = all[0]->n + all[1]->n;
    if (told == 0)
        return;
    line_of(l, "take note", l->em, true, HUE_DARK);
    for (size_t k = 0; k < 2; k++)
        for (size_t i = 0; i < all[k]->n && n < NOTES_MOST; i++, n++)
            line_of(l, all[k]->line[i], small_px(l), false, HUE_DARK);
    if (told > n)
        line_of(l, "and more: see the text", small_px(l), false, HUE_DARK);
    l->y += block_em * l->em;
}

static bool caption_told(const struct meas_result *r, size_t i)
{
    for (size_t j = 0; j < i; j++)
        if (r->finding[j].limit == r->finding[i].limit &&
            strcmp(r->finding[j].caption, r->finding[i].caption) == 0)
            return true;
    return false;
}

/* What the limits are that stand beside the values, each once. */
static void draw_limits(struct legend *l)
{
    const struct meas_result *r = &l->e->result;
    char text[200], limit[48];
    bool any = false;
    for (size_t i = 0; i < r->n_findings; i++) {
        const struct meas_finding *f = &r->finding[i];
        if (!rec_is_awaited(r, f->quantity) || caption_told(r, i))
            continue;
        rec_limit_words(f, limit);
        snprintf(text, sizeof text, "%s: %s", limit, f->caption);
        line_of(l, text, small_px(l), false, HUE_FAINT);
        any = true;
    }
    l->y += any ? block_em * l->em : 0.0;
}

static void draw_small_print(struct legend *l)
{
    for (size_t i = 0; i < plumb_meas_n_cautions; i++)
        line_of(l, plumb_meas_cautions[i], small_px(l), false, HUE_FAINT);
}

static void release_rows(struct legend *l)
{
    for (size_t i = 0; i < l->n_rows; i++) {
        words_release(&l->row[i].number);
        words_release(&l->row[i].label);
        words_release(&l->row[i].value);
        words_release(&l->row[i].state);
    }
    free(l->row);
}

static void draw_blocks(struct legend *l)
{
    collect_rows(l);
    draw_title(l);
    if (used_is_open(l->used))
        draw_proposed(l);
    draw_notes(l);
    draw_rows(l);
    draw_limits(l);
    draw_key(l);
    draw_margin_bar(l);
    draw_small_print(l);
}

int legend_draw(const struct exam *e, const struct figure_used *used, struct ink *ink, double x,
                double height, double *w, double *h, struct err *err)
{
    struct legend l = {.e = e, .used = used, .ink = ink};
    size_t rows = e->result.n_quantities + e->result.n_findings;
    size_t blocks =
        rows + e->result.n_findings + BLOCKS_MORE + NOTES_MOST + 2 + plumb_meas_n_cautions;
    l.row = plumb_mem_array(rows, sizeof *l.row, err);
    l.block = plumb_mem_array(blocks, sizeof *l.block, err);
    int rc = l.row && l.block ? 0 : ERR_NOMEM;
    if (rc != 0)
        goto out;
    l.em = fmax(text_size * figure_sizes_for(&e->film).em, text_least_px);
    double edge = edge_em * l.em, lowest;
    ink->on_film = false;
    l.x = x + edge;
    l.top = l.y = edge;
    draw_blocks(&l);
    size_t columns = fold(&l, fmax(height, least_height_em * l.em) - 2.0 * edge, &lowest);
    *w = (double)columns * (l.column_w + 2.0 * edge);
    *h = lowest + edge;
    rc = ink_check(ink, err);
out:
    release_rows(&l);
    free(l.block);
    return rc;
}

/* --- without a margin
 * ------------------------------------------------------------------------------ */

static bool chip_place(struct ink *ink, struct field *field, double w, double h, double em,
                       struct box *b)
{
    double edge = 0.4 * em;
    struct box within = {ink->film.x0 + edge, ink->film.y0 + edge, ink->film.x1 - edge,
                         ink->film.y1 - edge};
    if (!box_place_corner(field, within, w, h, b))
        return false;
    ink_pill(ink, *b, HUE_DARK);
    return true;
}

static void note(struct ink *ink, struct field *field, const char *text, double em, bool bold)
{
    struct box b;
    struct words w = words_set(ink, text, 0.9 * em, bold, 0.0);
    double h = 1.6 * em;
    if (text[0] == '\0' || !chip_place(ink, field, w.w + 1.2 * em, h, em, &b)) {
        words_release(&w);
        return;
    }
    ink_put(ink, &w, b.x0 + 0.6 * em, b.y0 + 0.5 * (h - w.h), HUE_PLAIN);
}

static void bar_on_film(const struct exam *e, struct ink *ink, struct field *field, double em)
{
    const struct meas_scale *s = &e->result.scale;
    double film_w = ink->film.x1 - ink->film.x0;
    double mm = bar_length(s, bar_least_em * em, bar_film_share * film_w);
    struct box b;
    char text[32];
    if (mm <= 0.0)
        return;
    snprintf(text, sizeof text, "%g mm", mm);
    struct words w = words_set(ink, text, 0.85 * em, false, 0.0);
    double px = mm / s->mm_per_px, height = 0.35 * em, h = 1.6 * em;
    if (!chip_place(ink, field, px + w.w + 2.0 * em, h, em, &b)) {
        words_release(&w);
        return;
    }
    double middle = 0.5 * (b.y0 + b.y1), y = middle - 0.5 * w.h;
    draw_bar(ink, b.x0 + 0.7 * em, middle - 0.5 * height, px, mm, height, HUE_PLAIN);
    ink_put(ink, &w, b.x0 + px + 1.2 * em, y, HUE_PLAIN);
}

void notes_on_film(const struct exam *e, struct ink *ink, struct field *field, double em,
                   bool proposed)
{
    char title[SHEET_WORDS + 32], line[2 * SHEET_WORDS], all[3 * SHEET_WORDS + 64];
    bool named = e->sheet.site.tooth != 0;
    caption_title(e, title, sizeof title);
    caption_line(e, line, sizeof line);
    snprintf(all, sizeof all, "%s%s%s", named ? title : "", named && line[0] ? ", " : "", line);
    if (proposed)
        note(ink, field, proposed_word, em, true);
    bar_on_film(e, ink, field, em);
    note(ink, field, all, 0.9 * em, false);
}
