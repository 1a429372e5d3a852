/*
 * Keys and what they do. One table; a key is named by X's name of its symbol and stands for the
 * first letter of an English word wherever there is one.
 */
#include "viewer/view_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const struct view_key view_keys[] = {
    {"Return", 0, CMD_CONFIRM, 0},
    {"KP_Enter", 0, CMD_CONFIRM, 0},
    {"Return", VIEW_SHIFT, CMD_LEAVE_OUT, 0},
    {"KP_Enter", VIEW_SHIFT, CMD_LEAVE_OUT, 0},
    {"space", 0, CMD_CONFIRM, 0},
    {"a", 0, CMD_CONFIRM_ALL, 0},
    {"Tab", 0, CMD_NEXT_MARK, 0},
    {"Tab", VIEW_SHIFT, CMD_PREVIOUS_MARK, 0},
    {"ISO_Left_Tab", VIEW_SHIFT, CMD_PREVIOUS_MARK, 0},
    {"1", 0, CMD_STEP, STEP_GAUGE},
    {"2", 0, CMD_STEP, STEP_PIN},
    {"3", 0, CMD_STEP, STEP_ROOT_MESIAL},
    {"4", 0, CMD_STEP, STEP_ROOT_DISTAL},
    {"5", 0, CMD_STEP, STEP_CREST_MESIAL},
    {"6", 0, CMD_STEP, STEP_CREST_DISTAL},
    {"7", 0, CMD_STEP, STEP_BOUND},
    {"8", 0, CMD_STEP, STEP_CEJ},
    {"9", 0, CMD_STEP, STEP_SITE_TOOTH},
    {"0", 0, CMD_STEP, STEP_SEEN},
    {"x", 0, CMD_PLACE, 0},
    {"Left", 0, CMD_MOVE, GO_LEFT},
    {"Right", 0, CMD_MOVE, GO_RIGHT},
    {"Up", 0, CMD_MOVE, GO_UP},
    {"Down", 0, CMD_MOVE, GO_DOWN},
    {"Left", VIEW_SHIFT, CMD_MOVE, GO_LEFT},
    {"Right", VIEW_SHIFT, CMD_MOVE, GO_RIGHT},
    {"Up", VIEW_SHIFT, CMD_MOVE, GO_UP},
    {"Down", VIEW_SHIFT, CMD_MOVE, GO_DOWN},
    {"Left", VIEW_CTRL, CMD_MOVE, GO_LEFT},
    {"Right", VIEW_CTRL, CMD_MOVE, GO_RIGHT},
    {"Up", VIEW_CTRL, CMD_MOVE, GO_UP},
    {"Down", VIEW_CTRL, CMD_MOVE, GO_DOWN},
    {"Left", VIEW_ALT, CMD_PAN, GO_LEFT},
    {"Right", VIEW_ALT, CMD_PAN, GO_RIGHT},
    {"Up", VIEW_ALT, CMD_PAN, GO_UP},
    {"Down", VIEW_ALT, CMD_PAN, GO_DOWN},
    {"Delete", 0, CMD_DELETE, 0},
    {"BackSpace", 0, CMD_DELETE, 0},
    {"Delete", VIEW_SHIFT, CMD_CUT, 0},
    {"Escape", 0, CMD_LEAVE, 0},
    {"u", 0, CMD_UNDO, 0},
    {"u", VIEW_SHIFT, CMD_REDO, 0},
    {"plus", 0, CMD_ZOOM_IN, 0},
    {"plus", VIEW_SHIFT, CMD_ZOOM_IN, 0},
    {"equal", 0, CMD_ZOOM_IN, 0},
    {"KP_Add", 0, CMD_ZOOM_IN, 0},
    {"minus", 0, CMD_ZOOM_OUT, 0},
    {"KP_Subtract", 0, CMD_ZOOM_OUT, 0},
    {"f", 0, CMD_FIT, 0},
    {"o", 0, CMD_ACTUAL, 0},
    {"t", 0, CMD_TURN, 0},
    {"t", VIEW_SHIFT, CMD_TURN_BACK, 0},
    {"m", 0, CMD_MOUTH, 0},
    {"b", 0, CMD_BRIGHTER, 0},
    {"b", VIEW_SHIFT, CMD_DARKER, 0},
    {"c", 0, CMD_HARDER, 0},
    {"c", VIEW_SHIFT, CMD_SOFTER, 0},
    {"i", 0, CMD_INVERT, 0},
    {"n", 0, CMD_PLAIN, 0},
    {"v", 0, CMD_VEIL, 0},
    {"e", 0, CMD_SNAP, 0},
    {"l", 0, CMD_LENS, 0},
    {"p", 0, CMD_PLAN, 0},
    {"s", 0, CMD_SAVE, 0},
    {"r", 0, CMD_RECORD, 0},
    {"Next", 0, CMD_MORE, 1},
    {"Prior", 0, CMD_MORE, -1},
    {"h", 0, CMD_HELP, 0},
    {"F1", 0, CMD_HELP, 0},
    {"question", VIEW_SHIFT, CMD_HELP, 0},
    {"w", 0, CMD_NOTES, 0},
    {"q", 0, CMD_CLOSE, 0},
};
const size_t view_n_keys = sizeof view_keys / sizeof view_keys[0];

const struct view_help view_help[] = {
    {NULL, "The work"},
    {"click", "place what the foot line names"},
    {"Enter", "confirm and go on (also right click)"},
    {"Shift Enter", "go on without the mark or step"},
    {"a", "confirm all that was found"},
    {"1 ... 9, 0", "go to a step; again: its next mark"},
    {"Del", "throw away the chosen or the found"},
    {"u, Shift u", "undo, redo"},
    {"e", "edges: snapping on or off"},
    {"p", "planned implant: sizes, axis"},
    {"w", "warnings: all there is to take note of"},
    {"s", "save the sheet"},
    {"r", "file the record"},
    {"q", "close"},
    {NULL, "A mark"},
    {"drag", "move a mark"},
    {"Tab", "choose the next mark (Shift: back)"},
    {"arrows", "move it 1 px; Shift 0.1, Ctrl 20"},
    {"arrows, x", "none chosen: move a cross; x places"},
    {"Shift Del", "cut a line from the chosen point on"},
    {"l", "lens on or off"},
    {NULL, "Seeing (measures nothing)"},
    {"+  -  wheel", "larger, smaller, at the pointer"},
    {"drag, Alt arrows", "shift the film"},
    {"f", "fit"},
    {"o", "one to one"},
    {"t, Shift t", "turn a quarter, back"},
    {"m", "site upright, apex as in the mouth"},
    {"b, Shift b", "brighter, darker (or right drag)"},
    {"c, Shift c", "more, less contrast (right drag)"},
    {"i", "invert"},
    {"n", "natural: as the film came"},
    {"v held", "veil: hide all marks"},
    {"Page Down, Up", "more of the measured values"},
};
const size_t view_n_help = sizeof view_help / sizeof view_help[0];

static const double zoom_step = 1.25, bright_step = 0.05, contrast_step = 0.2;
static const double nudge_px = 1.0, nudge_fine_px = 0.1, nudge_far_px = 20.0;
static const double pan_share = 0.1; /* of the film's area */

/* --- marks -------------------------------------------------------------------------------------
 */

void view_go_on(struct view_state *v)
{
    enum view_step next = view_next(v, v->step);
    if (next != STEPS && next != v->step)
        view_step_go(v, next);
}

static void end_bound(struct view_state *v)
{
    struct sheet *s = &v->exam.sheet;
    v->bound_open = false;
    if (s->n_bounds > 0 && s->bound[s->n_bounds - 1].path.n < 2) {
        view_step_clear(s, STEP_BOUND);
        view_edited(v);
    }
    view_go_on(v);
}

/* One wanted mark of a step that may be left undone. */
static void pass_over(struct view_state *v, const struct view_target *t)
{
    v->skip_to = (int)(t - view_targets) + 1;
    view_say(v, "Passed over: %s.  %d again goes through this step's marks", t->words,
             ((int)v->step + 1) % STEPS);
    if (view_target_next(&v->exam.sheet, v->step, v->skip_to) == VIEW_NO_TARGET)
        view_go_on(v);
}

/* On without what is asked for: the mark, or the step when it needs its marks. */
static void leave_out(struct view_state *v)
{
    const struct view_target *t = view_target_now(v);
    v->target = VIEW_NO_TARGET;
    v->has_rough = false;
    if (v->bound_open) {
        end_bound(v);
        return;
    }
    if (t != NULL && t->way == WAY_MARK && view_step_optional(v->step)) {
        pass_over(v, t);
        return;
    }
    v->left_out[v->step] = true;
    view_go_on(v);
}

/* Enter confirms, and where nothing is to be confirmed it leaves nothing out: a second one by
 * mistake would do so unseen. What is placed again by hand may stay as it was. */
static void nothing_to_confirm(struct view_state *v)
{
    bool again = v->target != VIEW_NO_TARGET;
    if (view_target_now(v) != NULL && !again) {
        view_say(v, "Nothing to confirm yet.  Shift Enter %s",
                 view_step_optional(v->step) ? "passes this mark over" : "leaves this step out");
        return;
    }
    v->target = VIEW_NO_TARGET;
    if (view_target_now(v) == NULL)
        view_go_on(v);
}

static void confirm(struct view_state *v)
{
    struct sheet *s = &v->exam.sheet;
    v->selected[0] = '\0';
    if (v->bound_open) {
        end_bound(v);
        return;
    }
    if (v->step == STEP_PIN && (v->finding != FIND_IDLE || v->find_due != FIND_IDLE)) {
        view_say(v, "The pin is still being looked at");
        return;
    }
    if (view_step_progress(s, v->step) == PROPOSED && v->target == VIEW_NO_TARGET) {
        view_step_confirm(s, v->step);
        view_edited(v);
        view_go_on(v);
        return;
    }
    nothing_to_confirm(v);
}

static void confirm_all(struct view_state *v)
{
    size_t n = view_proposals(&v->exam.sheet);
    if (n == 0) {
        view_say(v, "Nothing waits for confirmation");
        return;
    }
    view_step_confirm(&v->exam.sheet, STEPS);
    view_edited(v);
    view_say(v, "%zu mark%s confirmed", n, n == 1 ? "" : "s");
    if (view_target_now(v) == NULL)
        view_go_on(v);
}

static struct geo_point direction(int argument)
{
    static const struct geo_point step[] = {[GO_LEFT] = {-1.0, 0.0},
                                            [GO_RIGHT] = {1.0, 0.0},
                                            [GO_UP] = {0.0, -1.0},
                                            [GO_DOWN] = {0.0, 1.0}};
    return step[(unsigned)argument < 4 ? argument : 0];
}

static struct geo_point on_film(const struct view_state *v, struct geo_point p)
{
    return (struct geo_point){fmin(fmax(p.x, 0.0), v->t.film_w - 1.0),
                              fmin(fmax(p.y, 0.0), v->t.film_h - 1.0)};
}

/* The film follows what the keyboard moves. */
static void keep_in_sight(struct view_state *v, struct geo_point film)
{
    struct geo_point p = view_to_window(&v->t, film);
    struct view_box r = v->layout.film;
    double edge = 4.0 * v->layout.pad;
    double dx = p.x < r.x0 + edge ? r.x0 + edge - p.x : p.x > r.x1 - edge ? r.x1 - edge - p.x : 0.0;
    double dy = p.y < r.y0 + edge ? r.y0 + edge - p.y : p.y > r.y1 - edge ? r.y1 - edge - p.y : 0.0;
    struct view_box f = view_film_box(&v->t);
    bool all_in = f.x0 >= r.x0 && f.x1 <= r.x1 && f.y0 >= r.y0 && f.y1 <= r.y1;
    if (!all_in && (dx != 0.0 || dy != 0.0)) {
        view_pan(&v->t, r, dx, dy);
        v->fitted = false;
    }
}

/* Steps through the marks that are handles: those of other steps only where they are single. */
static void choose(struct view_state *v, int way)
{
    struct sheet_mark_ref *ref;
    size_t n = view_marks(&v->exam.sheet, &ref), at = way > 0 ? n - 1 : 0;
    for (size_t i = 0; i < n; i++)
        if (strcmp(ref[i].name, v->selected) == 0)
            at = i;
    for (size_t k = 0; k < n; k++) {
        at = way > 0 ? (at + 1) % n : (at + n - 1) % n;
        bool path = ref[at].kind == KIND_ROOT_SIDE || ref[at].kind == KIND_BOUND;
        if (path && view_step_of(ref[at].name) != v->step)
            continue;
        plumb_text_copy(v->selected, sizeof v->selected, ref[at].name);
        view_say(v, "Chosen: %s", view_mark_words(v->selected));
        keep_in_sight(v, (struct geo_point){ref[at].mark->x, ref[at].mark->y});
        break;
    }
    free(ref);
}

static void move(struct view_state *v, int argument, unsigned modifiers)
{
    double size = modifiers & VIEW_SHIFT  ? nudge_fine_px
                  : modifiers & VIEW_CTRL ? nudge_far_px
                                          : nudge_px;
    struct geo_point step = geo_mul(view_step_to_film(&v->t, direction(argument)), size);
    struct mark *m = v->selected[0] ? plumb_sheet_mark(&v->exam.sheet, v->selected) : NULL;
    if (m != NULL && m->set) {
        struct geo_point to = on_film(v, geo_add((struct geo_point){m->x, m->y}, step));
        view_mark_move(&v->exam.sheet, v->selected, to);
        v->moved = true;
        view_changed(v);
        keep_in_sight(v, to);
        return;
    }
    if (!v->has_cross) {
        struct view_box r = v->layout.film;
        struct geo_point middle = {0.5 * (r.x0 + r.x1), 0.5 * (r.y0 + r.y1)};
        v->cross = view_to_film(&v->t, v->pointer_in ? v->pointer : middle);
        v->has_cross = true;
    }
    v->cross = on_film(v, geo_add(v->cross, step));
    keep_in_sight(v, v->cross);
}

static void throw_away(struct view_state *v)
{
    struct sheet *s = &v->exam.sheet;
    size_t bounds = s->n_bounds;
    if (v->has_rough) {
        v->has_rough = false;
        return;
    }
    if (v->selected[0])
        view_mark_delete(s, v->selected);
    else if (v->bound_open && s->n_bounds > 0 && s->bound[s->n_bounds - 1].path.n > 0)
        s->bound[s->n_bounds - 1].path.n--;
    else
        view_step_clear(s, v->step);
    if (s->n_bounds < bounds)
        v->bound_open = false;
    v->selected[0] = '\0';
    view_edited(v);
}

/* What is left of a traced side after its end went astray. */
static void cut(struct view_state *v)
{
    if (v->selected[0] == '\0') {
        view_say(v, "Choose a point of the line first: Tab, or a click on it");
        return;
    }
    size_t bounds = v->exam.sheet.n_bounds;
    if (!view_path_cut(&v->exam.sheet, v->selected)) {
        view_say(v, "Only a root's side or a bound can be cut");
        return;
    }
    if (v->exam.sheet.n_bounds < bounds)
        v->bound_open = false;
    v->selected[0] = '\0';
    view_edited(v);
}

static void leave(struct view_state *v)
{
    if (v->help)
        v->help = false;
    else if (v->has_rough)
        v->has_rough = false;
    else if (v->selected[0])
        v->selected[0] = '\0';
    else if (v->bound_open)
        end_bound(v);
    else
        v->target = VIEW_NO_TARGET;
    v->has_cross = false;
}

/* --- seeing ------------------------------------------------------------------------------------
 */

static void zoom(struct view_state *v, double scale)
{
    struct view_box r = v->layout.film;
    struct geo_point at = {0.5 * (r.x0 + r.x1), 0.5 * (r.y0 + r.y1)};
    if (v->has_cross)
        at = view_to_window(&v->t, v->cross);
    else if (v->pointer_in && view_box_has(r, v->pointer))
        at = v->pointer;
    view_zoom(&v->t, r, at, scale);
    v->fitted = false;
}

static void turn(struct view_state *v, int to, double lean)
{
    view_turn_to(&v->t, v->layout.film, to, lean);
    if (v->fitted)
        view_fit(&v->t, v->layout.film);
}

/* The site's axis upright, to the angle: apical is up for upper teeth, down for lower ones. */
static void as_in_the_mouth(struct view_state *v)
{
    const struct meas_frame *f = &v->exam.result.frame;
    if (!f->set || v->exam.sheet.site.tooth == 0) {
        view_say(v, "Which way is apical is not known yet: state the tooth and mark pin or root");
        return;
    }
    double lean;
    int to = view_turn_for((struct geo_point){f->ax, f->ay},
                           plumb_tooth_is_upper(v->exam.sheet.site.tooth), &lean);
    turn(v, to, lean);
}

static void pan(struct view_state *v, int argument)
{
    struct view_box r = v->layout.film;
    struct geo_point d = direction(argument);
    view_pan(&v->t, r, -d.x * pan_share * (r.x1 - r.x0), -d.y * pan_share * (r.y1 - r.y0));
    v->fitted = false;
}

static void set_tone(struct view_state *v, double bright, double contrast)
{
    v->tone.bright = fmin(fmax(v->tone.bright + bright, -1.0), 1.0);
    v->tone.contrast = fmin(fmax(v->tone.contrast + contrast, -3.0), 5.0);
}

static void more(struct view_state *v, int way)
{
    size_t page = v->quantities_seen > 1 ? v->quantities_seen - 1 : 1;
    size_t n = v->exam.result.n_quantities;
    if (way > 0 && v->first_quantity + v->quantities_seen < n)
        v->first_quantity += page;
    else if (way < 0)
        v->first_quantity -= v->first_quantity < page ? v->first_quantity : page;
}

/* --- the command -------------------------------------------------------------------------------
 */

static void close_window(struct view_state *v)
{
    if (!view_unsaved(v) || v->close_asked) {
        v->quit = true; /* asked once: the journal keeps what was not answered for */
        return;
    }
    v->close_asked = true;
    v->choice = CHOICE_CLOSE;
}

static bool do_seeing(struct view_state *v, enum view_command c, int argument)
{
    switch (c) {
    case CMD_PAN:
        pan(v, argument);
        return true;
    case CMD_ZOOM_IN:
    case CMD_ZOOM_OUT:
        zoom(v, c == CMD_ZOOM_IN ? v->t.scale * zoom_step : v->t.scale / zoom_step);
        return true;
    case CMD_FIT:
        v->fitted = true;
        view_fit(&v->t, v->layout.film);
        return true;
    case CMD_ACTUAL:
        zoom(v, 1.0);
        return true;
    case CMD_TURN:
    case CMD_TURN_BACK:
        turn(v, v->t.turn + (c == CMD_TURN ? 1 : -1), 0.0);
        return true;
    case CMD_MOUTH:
        as_in_the_mouth(v);
        return true;
    case CMD_BRIGHTER:
    case CMD_DARKER:
        set_tone(v, c == CMD_BRIGHTER ? bright_step : -bright_step, 0.0);
        return true;
    case CMD_HARDER:
    case CMD_SOFTER:
        set_tone(v, 0.0, c == CMD_HARDER ? contrast_step : -contrast_step);
        return true;
    case CMD_INVERT:
        v->tone.inverted = !v->tone.inverted;
        return true;
    case CMD_PLAIN:
        view_tone_init(&v->tone, &v->exam.film);
        return true;
    case CMD_LENS:
        v->lens = !v->lens;
        return true;
    case CMD_VEIL:
        v->hide = true;
        return true;
    default:
        return false;
    }
}

static void do_work(struct view_state *v, enum view_command c, int argument, unsigned modifiers)
{
    switch (c) {
    case CMD_CONFIRM:
        confirm(v);
        break;
    case CMD_LEAVE_OUT:
        leave_out(v);
        break;
    case CMD_CONFIRM_ALL:
        confirm_all(v);
        break;
    case CMD_NEXT_MARK:
    case CMD_PREVIOUS_MARK:
        choose(v, c == CMD_NEXT_MARK ? 1 : -1);
        break;
    case CMD_STEP:
        view_step_go(v, (enum view_step)argument);
        break;
    case CMD_PLACE:
        if (v->has_cross || v->pointer_in)
            view_place(v, v->has_cross ? v->cross : view_to_film(&v->t, v->pointer));
        break;
    case CMD_MOVE:
        move(v, argument, modifiers);
        break;
    case CMD_DELETE:
        throw_away(v);
        break;
    case CMD_CUT:
        cut(v);
        break;
    case CMD_UNDO:
    case CMD_REDO:
        view_undo(v, c == CMD_REDO);
        break;
    case CMD_SNAP:
        v->snap = !v->snap;
        view_say(v, v->snap ? "Clicks snap to the edge" : "Clicks stay where they are");
        break;
    case CMD_PLAN:
        view_ask_open(&v->ask, ASK_PLAN_LENGTH, ASK_PLAN_ON, &v->exam.sheet);
        break;
    case CMD_SAVE:
        view_save(v);
        break;
    case CMD_RECORD:
        view_record_dated(v);
        break;
    case CMD_MORE:
        more(v, argument);
        break;
    default:
        break;
    }
}

static void page(struct view_state *v, bool notes)
{
    v->help = !v->help || v->help_notes != notes;
    v->help_notes = notes;
}

void view_do(struct view_state *v, enum view_command c, int argument, unsigned modifiers)
{
    v->say[0] = '\0';
    if (c != CMD_CLOSE)
        v->close_asked = false;
    if (c == CMD_CLOSE)
        close_window(v);
    else if (c == CMD_HELP || c == CMD_NOTES)
        page(v, c == CMD_NOTES);
    else if (c == CMD_LEAVE)
        leave(v);
    else if (v->has_film && !do_seeing(v, c, argument))
        do_work(v, c, argument, modifiers);
}
