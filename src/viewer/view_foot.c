/*
 * The foot line: what the next click or key does, in one sentence, from the state alone.
 */
#include "viewer/view_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Where mesial lies in the window as the film is turned; NAN where nobody knows. */
static struct geo_point mesial_way(const struct view_state *v)
{
    const struct meas_frame *f = &v->exam.result.frame;
    const struct sheet_site *site = &v->exam.sheet.site;
    struct geo_point m = {(double)NAN, (double)NAN};
    if (f->set && f->has_mesial) {
        m = (struct geo_point){f->mx, f->my};
    } else if (f->set && site->tooth != 0) {
        bool turn =
            (plumb_tooth_mesial_turn(site->tooth) > 0) == (site->seen_from != SEEN_FROM_LINGUAL);
        m = geo_mul(geo_perp((struct geo_point){f->ax, f->ay}), turn ? 1.0 : -1.0);
    }
    return geo_sub(view_to_window(&v->t, m), view_to_window(&v->t, (struct geo_point){0.0, 0.0}));
}

/* " (left)" and the like behind "the mesial root", for who does not know the film's sides by heart.
 */
static void side_words(const struct view_state *v, bool mesial, char out[48])
{
    struct geo_point m = mesial_way(v);
    double x = mesial ? m.x : -m.x, y = mesial ? m.y : -m.y;
    out[0] = '\0';
    if (!isfinite(x + y))
        return;
    const char *way = fabs(x) >= fabs(y) ? (x < 0.0 ? "left" : "right")
                      : y < 0.0          ? "above"
                                         : "below";
    bool sure = v->exam.result.frame.has_mesial;
    snprintf(out, 48, " (%s%s)", way, sure ? "" : ", unless the film is mirrored");
}

static void words_of_target(const struct view_state *v, const struct view_target *t, char out[320])
{
    const char *snap = v->snap ? ", snaps to the edge" : "";
    char side[48];
    side_words(v, strncmp(t->mark, "mesial", strlen("mesial")) == 0, side);
    if (t->way == WAY_ROOT && !v->has_rough)
        snprintf(out, 320, "Next click: %s%s, its middle at the CEJ", t->words, side);
    else if (t->way == WAY_ROOT)
        snprintf(out, 320, "Next click: the apex of %s", t->words);
    else if (t->way == WAY_CREST)
        snprintf(out, 320, "Next click: %s%s%s", t->words, side, snap);
    else if (t->way == WAY_BOUND)
        snprintf(out, 320, "Next click: a point along the %s.  Enter ends the line",
                 v->exam.sheet.bound[v->exam.sheet.n_bounds - 1].what);
    else
        snprintf(out, 320, "Next click: %s%s", t->words,
                 v->target != VIEW_NO_TARGET   ? ".  Esc leaves it as it is"
                 : view_step_optional(t->step) ? ".  Shift Enter passes it over"
                 : t->step == STEP_PIN         ? ".  Shift Enter leaves the pin out"
                                               : "");
}

/* What is needed is there; what else could be is not called done. */
static void done_words(const struct view_state *v, char out[320])
{
    char open[3 * STEPS] = "", left[3 * STEPS] = "";
    for (int i = 0; i < STEPS; i++) {
        bool owed = !view_step_optional((enum view_step)i) && !(i == STEP_PIN && v->no_pin);
        char *to = owed ? left : open;
        if (view_step_progress(&v->exam.sheet, (enum view_step)i) == TO_DO)
            snprintf(to + strlen(to), sizeof open - strlen(to), " %d", (i + 1) % STEPS);
    }
    snprintf(out, 320, "%s steps are done%s%s%s%s.  s saves,  r files the record",
             open[0] ? "The needed" : "All", left[0] ? " but for" : "", left,
             open[0] ? "; open, if wanted:" : "", open);
}

void view_foot_words(const struct view_state *v, char out[320])
{
    const struct view_target *t = view_target_now(v);
    const struct sheet *s = &v->exam.sheet;
    if (v->choice == CHOICE_JOURNAL)
        snprintf(out, 320,
                 "Unsaved work of an earlier time is here:  y takes it up,  n throws it "
                 "away");
    else if (v->choice == CHOICE_CLOSE)
        snprintf(out, 320, "Not saved yet:  s saves and closes,  d drops the changes,  Esc stays");
    else if (v->open_path != NULL)
        snprintf(out, 320, "Opening %.250s \u2026", plumb_path_base(v->open_path));
    else if (!v->has_film)
        snprintf(out, 320, "No film");
    else if (v->finding != FIND_IDLE && v->step <= STEP_PIN)
        snprintf(out, 320, "Looking for the pin \u2026");
    else if (v->selected[0] && t == NULL)
        snprintf(out, 320, "Chosen: %s.  Arrows move it, Shift finely; Del removes it; Esc lets go",
                 view_mark_words(v->selected));
    else if (view_step_progress(s, v->step) == PROPOSED && v->target == VIEW_NO_TARGET)
        snprintf(out, 320,
                 "Found: %s, as drawn.  Enter confirms it; drag moves; Del throws it away",
                 view_step_words(v->step));
    else if (t != NULL)
        words_of_target(v, t, out);
    else if (view_next(v, v->step) == STEPS)
        done_words(v, out);
    else
        snprintf(out, 320, "%s: nothing to place.  Enter goes on", view_step_words(v->step));
}
