/*
 * The words around the film: the column with the steps and the live quantities, the foot line, the
 * help page.
 */
#include "viewer/view_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* The finding of a quantity that wants most attention; NULL when no limit is held against it. */
static const struct meas_finding *finding_of(const struct meas_result *r, const char *id)
{
    static const int weight[] = {
        [UNC_NOT_MEASURED] = 0, [UNC_INSIDE] = 1, [UNC_UNDECIDED] = 2, [UNC_OUTSIDE] = 3};
    const struct meas_finding *best = NULL;
    for (size_t i = 0; i < r->n_findings; i++) {
        const struct meas_finding *f = &r->finding[i];
        if (strcmp(f->quantity, id) == 0 && weight[f->state] > (best ? weight[best->state] : 0))
            best = f;
    }
    return best;
}

/* A sign for who cannot tell the colours; it stands alone where there is no room for its word. */
static void finding_words(const struct meas_finding *f, bool word, char out[64])
{
    static const char *const sign[] = {
        [UNC_INSIDE] = "\u25cf", [UNC_UNDECIDED] = "\u25d0", [UNC_OUTSIDE] = "\u25b2"};
    static const char *const how[] = {
        [UNC_AT_LEAST] = "\u2265", [UNC_AT_MOST] = "\u2264", [UNC_WITHIN] = "\u00b1"};
    bool deg = strcmp(f->unit, "deg") == 0;
    snprintf(out, 64, "%s %s%s%s %g%s", sign[f->state], word ? plumb_meas_state_word(f->state) : "",
             word ? " " : "", how[f->compare], f->limit, deg ? "\u00b0" : "");
}

/* --- column ------------------------------------------------------------------------------------
 */

static struct view_box inset(struct view_box b, double dx)
{
    return (struct view_box){b.x0 + dx, b.y0, b.x1 - dx, b.y1};
}

static void title(struct view_scene *s, const struct view_state *v)
{
    const struct view_layout *l = &v->layout;
    const struct sheet *sh = &v->exam.sheet;
    struct view_box b = inset(l->column, l->pad);
    double half = 0.5 * l->step_row;
    char site[160] = "site not stated", name[64], tooth[8];
    if (sh->site.tooth != 0) {
        plumb_tooth_print(sh->site.tooth, sh->site.notation, tooth);
        snprintf(site, sizeof site, "%s  %s", tooth, plumb_tooth_name(sh->site.tooth, name));
    }
    b.y0 += 0.4 * half;
    b.y1 = b.y0 + l->step_row;
    scene_text(s, b, v->has_film ? sh->film.file : "plumbrule", l->text, VIEW_WORDS, ALIGN_LEFT,
               true);
    b.y0 = b.y1;
    b.y1 += l->step_row;
    scene_text(s, b, v->has_film ? site : "", l->small, VIEW_DIM, ALIGN_LEFT, false);
}

static void step_state(const struct view_state *v, enum view_step i, char out[32],
                       enum view_hue *hue)
{
    enum view_progress p = view_step_progress(&v->exam.sheet, i);
    *hue = VIEW_DIM;
    if (v->finding == FIND_ALL && i == STEP_PIN && p == TO_DO) {
        snprintf(out, 32, "looking \u2026");
    } else if (v->left_out[i] && p == TO_DO) {
        snprintf(out, 32, i == STEP_PIN ? "none" : "left out");
    } else if (p == PROPOSED) {
        snprintf(out, 32, "found \u25c7");
        *hue = VIEW_NOTICE;
    } else if (p == DONE) {
        snprintf(out, 32, "\u2713");
        *hue = VIEW_WORDS;
    } else {
        snprintf(out, 32, "%s", view_step_optional(i) ? "if wanted" : "to do");
    }
}

static void steps(struct view_scene *s, const struct view_state *v)
{
    const struct view_layout *l = &v->layout;
    for (int i = 0; i < STEPS; i++) {
        struct view_box row = view_layout_step(l, (size_t)i), b = inset(row, l->pad);
        bool now = v->has_film && (int)v->step == i;
        char number[8], state[32];
        enum view_hue hue;
        if (now)
            scene_fill(s, row, VIEW_GROUND_LIT);
        snprintf(number, sizeof number, "%d", (i + 1) % STEPS);
        step_state(v, (enum view_step)i, state, &hue);
        struct view_box digit = b, words = b, mark = b;
        digit.x1 = words.x0 = b.x0 + 1.6 * l->pad;
        scene_text(s, digit, number, l->small, VIEW_DIM, ALIGN_LEFT, false);
        words.x1 = b.x1 - 5.6 * l->pad;
        mark.x0 = words.x1;
        scene_text(s, words, view_step_words((enum view_step)i), l->text,
                   view_step_optional((enum view_step)i) && !now ? VIEW_DIM : VIEW_WORDS,
                   ALIGN_LEFT, now);
        scene_text(s, mark, v->has_film ? state : "", l->small, hue, ALIGN_RIGHT, false);
    }
}

/* Of the row: a value with its interval by both ends is longer than value and U. */
static const double value_share = 0.56, long_value_share = 0.76;
enum { LONG_VALUE = 18 }; /* letters */

static void quantity(struct view_scene *s, const struct view_layout *l, struct view_box row,
                     const struct meas_quantity *q, const struct meas_finding *f)
{
    char value[96], found[64] = "";
    struct view_box top = inset(row, l->pad), low = top, right;
    double lines = 0.5 * (l->quantity_row - 2.0 * l->ui);
    top.y1 = top.y0 + lines;
    low.y0 = top.y1;
    low.y1 = low.y0 + lines;
    right = low;
    plumb_meas_value_words(q, value);
    bool is_long = plumb_text_length(value) > LONG_VALUE;
    if (f != NULL)
        finding_words(f, !is_long, found);
    double share = f == NULL ? 1.0 : is_long ? long_value_share : value_share;
    low.x1 = low.x0 + share * (low.x1 - low.x0);
    right.x0 = low.x1;
    scene_text(s, top, q->label, l->small, VIEW_DIM, ALIGN_LEFT, false);
    scene_text(s, low, value, l->text, VIEW_WORDS, ALIGN_LEFT, true);
    if (f != NULL)
        scene_text(s, right, found, l->small, f->state == UNC_INSIDE ? VIEW_DIM : VIEW_WARN,
                   ALIGN_RIGHT, false);
}

static void quantities(struct view_scene *s, struct view_state *v, struct view_box room)
{
    const struct view_layout *l = &v->layout;
    const struct meas_result *r = &v->exam.result;
    struct view_box row = room;
    row.y0 += 0.3 * l->step_row;
    double all = (room.y1 - row.y0) / l->quantity_row;
    size_t fit = all > 0.0 ? (size_t)all : 0;
    bool pages = r->n_quantities > fit;
    if (pages)
        fit = all * l->quantity_row > l->step_row
                  ? (size_t)((all * l->quantity_row - l->step_row) / l->quantity_row)
                  : 0;
    v->quantities_seen = fit;
    if (v->first_quantity + fit > r->n_quantities)
        v->first_quantity = r->n_quantities > fit ? r->n_quantities - fit : 0;
    for (size_t i = 0; i < fit && v->first_quantity + i < r->n_quantities; i++) {
        const struct meas_quantity *q = &r->quantity[v->first_quantity + i];
        row.y1 = row.y0 + l->quantity_row;
        quantity(s, l, row, q, finding_of(r, q->id));
        row.y0 = row.y1;
    }
    if (pages) {
        char words[64];
        size_t last =
            v->first_quantity + fit < r->n_quantities ? v->first_quantity + fit : r->n_quantities;
        snprintf(words, sizeof words, "%zu to %zu of %zu   Page Down, Page Up",
                 v->first_quantity + 1, last, r->n_quantities);
        row = inset((struct view_box){room.x0, room.y1 - l->step_row, room.x1, room.y1}, l->pad);
        scene_text(s, row, words, l->small, VIEW_DIM, ALIGN_LEFT, false);
    }
}

void scene_column(struct view_scene *s, struct view_state *v)
{
    const struct view_layout *l = &v->layout;
    scene_fill(s, l->column, VIEW_GROUND);
    title(s, v);
    steps(s, v);
    struct view_box rule = inset(view_layout_quantities(l), l->pad);
    rule.y1 = rule.y0 + 1.0;
    scene_fill(s, rule, VIEW_RULE);
    struct view_box room = scene_note(s, v, view_layout_quantities(l));
    if (v->has_film && v->exam.result.n_quantities > 0) {
        quantities(s, v, room);
    } else {
        struct view_box b = inset(room, l->pad);
        b.y0 += 0.3 * l->step_row;
        b.y1 = b.y0 + l->quantity_row;
        scene_text(s, b, v->has_film ? "nothing measured yet" : "", l->small, VIEW_DIM, ALIGN_LEFT,
                   false);
    }
}

/* --- foot --------------------------------------------------------------------------------------
 */

static const double ask_hint_pads = 13.0; /* room of the hint beside a question */

static void ask_line(struct view_scene *s, const struct view_state *v)
{
    const struct view_layout *l = &v->layout;
    char line[SHEET_TEXT + 200];
    int lead = snprintf(line, sizeof line, "%s:  ", view_ask_words(v->ask.what));
    plumb_text_copy(line + lead, sizeof line - (size_t)lead, v->ask.text);
    struct view_box b = inset(l->foot, l->pad), more = b;
    b.x1 -= ask_hint_pads * l->pad;
    more.x0 = b.x1;
    scene_text(s, more,
               v->ask.what == ASK_PATH ? "Enter opens it"
               : v->ask.then_file      ? "Enter: next   Esc: file it"
                                       : "Enter: next   Esc: later",
               l->small, VIEW_DIM, ALIGN_RIGHT, false);
    scene_text(s, b, line, l->text, VIEW_WORDS, ALIGN_LEFT, false);
    if (s->failed)
        return;
    struct view_item *it = &s->item[s->n - 1];
    it->shape = SHAPE_EDIT;
    it->lead = (size_t)lead;
    it->caret = it->lead + v->ask.caret;
    it->chosen = v->ask.chosen;
}

/* A line that comes and goes, just above the foot. */
static void say_line(struct view_scene *s, const struct view_state *v)
{
    const struct view_layout *l = &v->layout;
    const char *words = v->say[0] ? v->say
                        : v->journal_failed
                            ? "Unsaved work cannot be kept beside the film: only saving keeps it"
                            : "";
    if (words[0] == '\0')
        return;
    double h = round(0.85 * (l->foot.y1 - l->foot.y0));
    struct view_box b = {l->film.x0, l->film.y1 - h, l->film.x1, l->film.y1};
    scene_fill(s, b, VIEW_DARK);
    bool fault = v->say[0] ? v->say_fault : true;
    scene_text(s, inset(b, l->pad), words, l->text, fault ? VIEW_WARN : VIEW_WORDS, ALIGN_LEFT,
               false);
}

void scene_foot(struct view_scene *s, const struct view_state *v)
{
    const struct view_layout *l = &v->layout;
    char words[320];
    scene_fill(s, l->foot, VIEW_GROUND);
    struct view_box rule = l->foot;
    rule.y1 = rule.y0 + 1.0;
    scene_fill(s, rule, VIEW_RULE);
    if (view_typing(v)) {
        ask_line(s, v);
    } else {
        view_foot_words(v, words);
        bool choice = v->choice != CHOICE_NONE;
        struct view_box b = inset(l->foot, l->pad), more = b;
        b.x1 -= choice ? 0.0 : 6.0 * l->pad;
        more.x0 = b.x1;
        scene_text(s, b, words, l->text, choice ? VIEW_NOTICE : VIEW_WORDS, ALIGN_LEFT, false);
        if (!choice)
            scene_text(s, more,
                       !v->help        ? "h help"
                       : v->help_notes ? "w back"
                                       : "h back",
                       l->small, VIEW_DIM, ALIGN_RIGHT, false);
    }
    say_line(s, v);
    if (!v->has_film && v->open_path == NULL) {
        struct view_box b = l->film;
        double middle = 0.5 * (b.y0 + b.y1);
        scene_text(s, (struct view_box){b.x0, middle - l->step_row, b.x1, middle},
                   "Type the path of a film or a sheet below, then Enter", l->text, VIEW_WORDS,
                   ALIGN_MIDDLE, false);
        scene_text(s, (struct view_box){b.x0, middle, b.x1, middle + l->step_row},
                   "or start with  plumbrule view FILM", l->small, VIEW_DIM, ALIGN_MIDDLE, false);
    }
}

/* --- help --------------------------------------------------------------------------------------
 */

/* The last heading begins the second column. */
static size_t help_break(void)
{
    size_t at = view_n_help;
    while (at > 0 && view_help[at - 1].keys != NULL)
        at--;
    return at > 0 ? at - 1 : 0;
}

void scene_help(struct view_scene *s, const struct view_state *v)
{
    const struct view_layout *l = &v->layout;
    struct view_box all = {0.0, 0.0, l->w, l->foot.y0};
    size_t second = help_break(), rows = second;
    double row = floor(fmin(1.15 * l->step_row, (all.y1 - 3.0 * l->pad) / (double)rows));
    double width = fmin(0.5 * (all.x1 - 3.0 * l->pad), 420.0 * l->ui);
    double left = 0.5 * (all.x1 - 2.0 * width - l->pad);
    double top = fmax(1.5 * l->pad, 0.5 * (all.y1 - (double)rows * row));
    scene_fill(s, all, VIEW_GROUND);
    for (size_t i = 0; i < view_n_help; i++) {
        double x = left + (i >= second ? width + l->pad : 0.0);
        double y = round(top + (double)(i >= second ? i - second : i) * row);
        struct view_box b = {x, y, x + width, y + row};
        struct view_box keys = b, what = b;
        keys.x1 = what.x0 = x + 0.33 * width;
        if (view_help[i].keys == NULL) {
            scene_text(s, b, view_help[i].what, l->text, VIEW_NOTICE, ALIGN_LEFT, true);
            continue;
        }
        scene_text(s, keys, view_help[i].keys, l->small, VIEW_WORDS, ALIGN_LEFT, true);
        scene_text(s, what, view_help[i].what, l->small, VIEW_WORDS, ALIGN_LEFT, false);
    }
}
