/*
 * The pointer. A click places what the foot line names; a drag on a handle moves that mark, on the
 * bare film the film; a right click confirms, a right drag sets the tone.
 */
#include "viewer/view_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* px at 96 dots an inch */
static const double handle_px = 10.0;     /* radius: 20 px across at any zoom */
static const double drag_px = 3.0;        /* less is a click */
static const double tone_drag_px = 400.0; /* of a right drag for the whole range */
static const double wheel_step = 1.2;

/* --- placing -----------------------------------------------------------------------------------
 */

static bool is_mesial(const struct view_target *t)
{
    return strncmp(t->mark, "mesial", 6) == 0;
}

/* The two clicks themselves as the axis. */
static void axis_by_hand(struct view_state *v, struct sheet_neighbour *nb, struct geo_point apex)
{
    nb->axis[0] = (struct mark){.set = true, .x = v->rough.x, .y = v->rough.y};
    nb->axis[1] = (struct mark){.set = true, .x = apex.x, .y = apex.y};
    nb->apex = nb->axis[1];
}

static void place_root(struct view_state *v, const struct view_target *t, struct geo_point p)
{
    struct err err = {0};
    enum sheet_side side = is_mesial(t) ? MESIAL : DISTAL;
    struct sheet_neighbour *nb = &v->exam.sheet.side[side];
    if (!v->has_rough) {
        v->has_rough = true;
        v->rough = p;
        return;
    }
    v->has_rough = false;
    if (!v->snap) {
        axis_by_hand(v, nb, p);
        view_edited(v);
        return;
    }
    view_measure(v);
    int rc = plumb_exam_propose_root(&v->exam, side, v->rough.x, v->rough.y, p.x, p.y, &err);
    if (rc == ERR_ILLPOSED || rc == ERR_NOTFOUND) {
        axis_by_hand(v, nb, p);
        if (view_edited(v))
            view_say(v, "No outline here (%.120s): the two clicks stand as the axis", err.text);
        return;
    }
    if (rc != 0)
        view_fault(v, view_step_words(t->step), &err);
    else
        view_edited(v);
}

static void place_crest(struct view_state *v, const struct view_target *t, struct geo_point p)
{
    struct err err = {0};
    enum sheet_side side = is_mesial(t) ? MESIAL : DISTAL;
    view_measure(v); /* which way is apical */
    int rc = v->snap ? plumb_exam_propose_crest(&v->exam, side, p.x, p.y, &err) : ERR_NOTFOUND;
    if (rc != 0) {
        view_mark_place(&v->exam.sheet, t->mark, p);
        if (v->snap)
            view_say(v, "No edge here (%.120s): the mark stands where you clicked", err.text);
    }
    view_edited(v);
}

static void place_bound(struct view_state *v, struct geo_point p)
{
    struct err err = {0};
    struct sheet *s = &v->exam.sheet;
    if (s->n_bounds == 0)
        return;
    if (view_path_add(&s->bound[s->n_bounds - 1].path, p, &err) != 0)
        view_fault(v, "bound", &err);
    view_edited(v);
}

static bool on_the_film(const struct view_state *v, struct geo_point p)
{
    return p.x >= 0.0 && p.y >= 0.0 && p.x <= v->t.film_w - 1.0 && p.y <= v->t.film_h - 1.0;
}

/* Of a further pin the tip follows its shoulder. */
static int follower(const struct view_state *v, const struct view_target *t)
{
    size_t i = (size_t)(t - view_targets) + 1, a = 0, b = 0;
    bool same = i < view_n_targets && view_pin_index(t->mark, &a) &&
                view_pin_index(view_targets[i].mark, &b) && a == b;
    return same && !v->exam.sheet.pins[b].tip.set ? (int)i : VIEW_NO_TARGET;
}

/* A step finished by hand is left for the next one; one that waits for confirmation stays. */
static void move_on(struct view_state *v, enum view_step was, const struct view_target *placed)
{
    const struct sheet *s = &v->exam.sheet;
    v->target = follower(v, placed);
    if (view_step_progress(s, was) != DONE || view_target_now(v) != NULL)
        return;
    enum view_step next = view_next(v, was);
    if (next != STEPS && !view_step_optional(was))
        view_step_go(v, next);
}

/* Why a click places nothing. */
static void say_why_not(struct view_state *v)
{
    int key = ((int)v->step + 1) % STEPS;
    if (v->finding != FIND_IDLE && v->step <= STEP_PIN)
        view_say(v, "Nothing placed: the pin is still being looked for");
    else if (view_step_progress(&v->exam.sheet, v->step) == PROPOSED)
        view_say(v, "Nothing placed: what was found waits for Enter; Del throws it away");
    else if (v->step == STEP_BOUND)
        view_say(v, "Nothing placed: %d begins a bound", key);
    else if (v->step == STEP_GAUGE || v->step == STEP_SEEN)
        view_say(v, "Nothing placed: this step is typed; %d asks again", key);
    else
        view_say(v, "Nothing placed: this step asks for no mark now; %d again goes through them",
                 key);
}

void view_place(struct view_state *v, struct geo_point p)
{
    const struct view_target *t = view_target_now(v);
    if (t == NULL) {
        say_why_not(v);
        return;
    }
    if (!on_the_film(v, p)) {
        view_say(v, "That is beside the film");
        return;
    }
    enum view_step was = v->step;
    if (t->way == WAY_ROOT)
        place_root(v, t, p);
    else if (t->way == WAY_CREST)
        place_crest(v, t, p);
    else if (t->way == WAY_BOUND)
        place_bound(v, p);
    else {
        view_mark_place(&v->exam.sheet, t->mark, p);
        view_edited(v);
    }
    if (!v->has_rough && t->way != WAY_BOUND)
        move_on(v, was, t);
}

/* --- handles -----------------------------------------------------------------------------------
 */

bool view_hit(const struct view_state *v, struct geo_point at, char name[VIEW_NAME])
{
    struct sheet_mark_ref *ref;
    size_t n = v->hide ? 0 : view_marks(&v->exam.sheet, &ref);
    double nearest = handle_px * v->layout.ui;
    bool hit = false;
    for (size_t i = 0; i < n; i++) {
        bool path = ref[i].kind == KIND_ROOT_SIDE || ref[i].kind == KIND_BOUND;
        if (path && view_step_of(ref[i].name) != v->step)
            continue;
        struct geo_point p =
            view_to_window(&v->t, (struct geo_point){ref[i].mark->x, ref[i].mark->y});
        double d = geo_dist(p, at);
        if (d < nearest || (d == nearest && !hit)) {
            nearest = d;
            hit = true;
            plumb_text_copy(name, VIEW_NAME, ref[i].name);
        }
    }
    if (!v->hide)
        free(ref);
    return hit;
}

/* --- pressing, moving, letting go --------------------------------------------------------------
 */

static void wheel(struct view_state *v, struct geo_point at, int button)
{
    if (view_box_has(v->layout.column, at)) {
        size_t n = v->exam.result.n_quantities;
        if (button == WHEEL_DOWN && v->first_quantity + v->quantities_seen < n)
            v->first_quantity++;
        else if (button == WHEEL_UP && v->first_quantity > 0)
            v->first_quantity--;
        return;
    }
    double k = button == WHEEL_UP ? wheel_step : 1.0 / wheel_step;
    view_zoom(&v->t, v->layout.film, at, v->t.scale * k);
    v->fitted = false;
}

static void press_left(struct view_state *v, struct geo_point at)
{
    if (view_box_has(v->layout.column, at)) {
        int step = view_layout_step_at(&v->layout, at);
        if (step >= 0)
            view_step_go(v, (enum view_step)step);
        return;
    }
    if (!view_box_has(v->layout.film, at))
        return;
    v->ask = (struct view_ask){0}; /* whoever turns to the film has done with the question */
    v->drag = DRAG_PRESSED;
}

void view_press(struct view_state *v, struct geo_point at, int button)
{
    v->pointer = v->press = v->last = at;
    v->pointer_in = true;
    if (!v->has_film || v->choice != CHOICE_NONE)
        return;
    v->say[0] = '\0';
    v->close_asked = false;
    if (v->help) {
        v->help = false;
        return;
    }
    v->has_cross = false;
    if (button == WHEEL_UP || button == WHEEL_DOWN)
        wheel(v, at, button);
    else if (button == BUTTON_LEFT)
        press_left(v, at);
    else if (button == BUTTON_MIDDLE && view_box_has(v->layout.film, at) && !view_typing(v))
        v->drag = DRAG_PAN;
    else if (button == BUTTON_RIGHT && view_box_has(v->layout.film, at))
        v->drag = DRAG_TONE;
}

/* A press that has become a drag: of the handle under it, else of the film. */
static void begin_drag(struct view_state *v)
{
    char name[VIEW_NAME];
    if (!view_hit(v, v->press, name)) {
        v->drag = DRAG_PAN;
        return;
    }
    v->drag = DRAG_MARK;
    plumb_text_copy(v->selected, sizeof v->selected, name);
}

static void drag_mark(struct view_state *v, struct geo_point at)
{
    const struct mark *m = plumb_sheet_mark(&v->exam.sheet, v->selected);
    if (m == NULL)
        return;
    struct geo_point step = geo_sub(view_to_film(&v->t, at), view_to_film(&v->t, v->last));
    struct geo_point to = {fmin(fmax(m->x + step.x, 0.0), v->t.film_w - 1.0),
                           fmin(fmax(m->y + step.y, 0.0), v->t.film_h - 1.0)};
    view_mark_move(&v->exam.sheet, v->selected, to);
    v->moved = true;
    view_changed(v);
}

static void drag_tone(struct view_state *v, struct geo_point at)
{
    double k = 1.0 / (tone_drag_px * v->layout.ui);
    v->tone.contrast = fmin(fmax(v->tone.contrast + 4.0 * k * (at.x - v->last.x), -3.0), 5.0);
    v->tone.bright = fmin(fmax(v->tone.bright - k * (at.y - v->last.y), -1.0), 1.0);
}

void view_move(struct view_state *v, struct geo_point at)
{
    v->pointer = at;
    v->pointer_in = true;
    bool far = geo_dist(at, v->press) > drag_px * v->layout.ui;
    if (v->drag == DRAG_PRESSED && far)
        begin_drag(v);
    if (v->drag == DRAG_MARK)
        drag_mark(v, at);
    else if (v->drag == DRAG_PAN) {
        view_pan(&v->t, v->layout.film, at.x - v->last.x, at.y - v->last.y);
        v->fitted = false;
    } else if (v->drag == DRAG_TONE && (far || geo_dist(v->last, v->press) > 0.0))
        drag_tone(v, at);
    else if (v->drag == DRAG_TONE || v->drag == DRAG_PRESSED)
        return;
    v->last = at;
}

static void click(struct view_state *v, struct geo_point at)
{
    char name[VIEW_NAME];
    if (view_target_now(v) != NULL) {
        v->selected[0] = '\0';
        view_place(v, view_to_film(&v->t, at));
    } else if (view_hit(v, at, name)) {
        plumb_text_copy(v->selected, sizeof v->selected, name);
    } else if (v->selected[0]) {
        v->selected[0] = '\0';
    } else {
        say_why_not(v);
    }
}

void view_let_go(struct view_state *v, struct geo_point at, int button)
{
    enum view_drag was = v->drag;
    bool still = geo_dist(at, v->press) <= drag_px * v->layout.ui;
    v->drag = DRAG_NONE;
    v->pointer = at;
    if (was == DRAG_PRESSED && button == BUTTON_LEFT)
        click(v, at);
    else if (was == DRAG_TONE && button == BUTTON_RIGHT && still &&
             geo_dist(v->last, v->press) <= 0.0)
        view_do(v, CMD_CONFIRM, 0, 0);
}

void view_leave(struct view_state *v)
{
    if (v->drag == DRAG_NONE)
        v->pointer_in = false;
}
