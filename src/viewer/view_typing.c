/*
 * What is typed: the open question's line and its answer, the one-key choices, paste.
 */
#include "viewer/view_internal.h"

#include <string.h>

bool view_typing(const struct view_state *v)
{
    return v->ask.what != ASK_NOTHING && v->choice == CHOICE_NONE && !v->help &&
           v->open_path == NULL;
}

static void file(struct view_state *v)
{
    v->ask = (struct view_ask){0};
    view_record(v);
}

static void ask_next(struct view_state *v, enum view_question q)
{
    bool then_file = v->ask.then_file;
    v->dates_asked = v->dates_asked || q == ASK_TAKEN;
    view_ask_open(&v->ask, q, v->ask.last, &v->exam.sheet);
    v->ask.then_file = then_file;
}

static void after_answers(struct view_state *v, enum view_question last)
{
    struct exam_gauge open[SHEET_GAUGES];
    struct sheet *s = &v->exam.sheet;
    if (v->ask.then_file) {
        file(v);
        return;
    }
    v->ask = (struct view_ask){0};
    if (last == ASK_BOUND) {
        v->bound_open = true;
        return;
    }
    if (last == ASK_PLAN_ON && s->plan.set && view_ask_idle(last, s))
        view_say(v, "No pin: the plan stands on the roots' bisector");
    v->left_out[STEP_GAUGE] = s->n_gauges == 0 && s->film.sensor_mm <= 0.0;
    bool sides = s->pin.side[MESIAL][0].set;
    if (v->finding == FIND_IDLE && s->pin.tip.set && plumb_mark_is_found(&s->pin.tip) &&
        (view_gauges_open(s, open) > 0 || !sides))
        v->find_due = FIND_REST;
    if (view_target_next(s, v->step, v->skip_to) == VIEW_NO_TARGET || s->pin.tip.set)
        view_go_on(v);
}

/* The question before or after one, without those that have no point. */
static enum view_question beside(const struct view_state *v, enum view_question q, int way)
{
    do
        q = (enum view_question)((int)q + way);
    while (view_ask_idle(q, &v->exam.sheet));
    return q;
}

static void answer(struct view_state *v)
{
    struct err err = {0};
    struct view_ask *a = &v->ask;
    v->say[0] = '\0';
    if (a->what == ASK_PATH) {
        if (view_open_later(v, a->text, &err) != 0)
            view_fault(v, "opening", &err);
        return;
    }
    int rc = view_ask_answer(a, &v->exam.sheet, &err);
    if (rc != 0) {
        view_fault(v, a->text[0] ? a->text : "empty", &err);
        return;
    }
    view_edited(v);
    bool no_plan = a->what == ASK_PLAN_LENGTH && v->exam.sheet.plan.length_mm <= 0.0;
    enum view_question next = beside(v, a->what, 1);
    if (next > a->last || no_plan)
        after_answers(v, a->last);
    else
        ask_next(v, next);
}

static void ask_back(struct view_state *v)
{
    static const enum view_question first[] = {ASK_PATH, ASK_TOOTH, ASK_ROOTS, ASK_PLAN_LENGTH,
                                               ASK_BOUND};
    for (size_t i = 0; i < sizeof first / sizeof first[0]; i++)
        if (v->ask.what == first[i] || (v->ask.then_file && v->ask.what == ASK_TAKEN))
            return;
    ask_next(v, beside(v, v->ask.what, -1));
}

static void take_journal(struct view_state *v)
{
    struct sheet s;
    struct err err = {0};
    if (view_journal_read(v->journal_path, &v->exam.film, &s, &err) != 0) {
        view_fault(v, "unsaved work", &err);
        return;
    }
    plumb_sheet_release(&v->exam.sheet);
    v->exam.sheet = s;
    view_edited(v);
    v->ask = (struct view_ask){0};
    v->find_due = FIND_IDLE;
    enum view_step next = view_next(v, STEP_SEEN);
    v->step = next == STEPS ? STEP_BOUND : next;
    view_say(v, "Unsaved work taken up");
}

static bool choose_key(struct view_state *v, const char *key)
{
    bool journal = v->choice == CHOICE_JOURNAL;
    if (journal && strcmp(key, "y") == 0) {
        v->choice = CHOICE_NONE;
        take_journal(v);
    } else if (journal && strcmp(key, "n") == 0) {
        v->choice = CHOICE_NONE;
        view_journal_remove(v->journal_path);
    } else if (!journal && strcmp(key, "s") == 0) {
        v->choice = CHOICE_NONE;
        v->quit = view_save(v) == 0;
    } else if (!journal && strcmp(key, "d") == 0) {
        view_journal_remove(v->journal_path);
        v->journal_due = false;
        v->quit = true;
    } else if (!journal && strcmp(key, "Escape") == 0) {
        v->choice = CHOICE_NONE;
        v->close_asked = false;
    }
    return true;
}

static bool edit_key(struct view_state *v, const char *key, unsigned modifiers)
{
    static const struct {
        const char *key;
        enum view_edit edit;
    } edits[] = {
        {"Left", EDIT_LEFT},    {"Right", EDIT_RIGHT},      {"Home", EDIT_HOME},
        {"End", EDIT_END},      {"BackSpace", EDIT_BACK},   {"Delete", EDIT_DELETE},
        {"KP_Left", EDIT_LEFT}, {"KP_Right", EDIT_RIGHT},   {"KP_Home", EDIT_HOME},
        {"KP_End", EDIT_END},   {"KP_Delete", EDIT_DELETE},
    };
    if (strcmp(key, "u") == 0 && modifiers == VIEW_CTRL) {
        view_ask_edit(&v->ask, EDIT_CLEAR);
        return true;
    }
    for (size_t i = 0; i < sizeof edits / sizeof edits[0]; i++)
        if (strcmp(key, edits[i].key) == 0) {
            view_ask_edit(&v->ask, edits[i].edit);
            return true;
        }
    return false;
}

bool view_type_key(struct view_state *v, const char *key, unsigned modifiers)
{
    if (v->choice != CHOICE_NONE)
        return choose_key(v, key);
    if (!view_typing(v))
        return false;
    if (strcmp(key, "Return") == 0 || strcmp(key, "KP_Enter") == 0 ||
        (strcmp(key, "Tab") == 0 && modifiers == 0))
        answer(v);
    else if (strcmp(key, "ISO_Left_Tab") == 0 || strcmp(key, "Up") == 0)
        ask_back(v);
    else if (strcmp(key, "Escape") == 0 && v->ask.then_file)
        file(v);
    else if (strcmp(key, "Escape") == 0 && v->has_film)
        v->ask = (struct view_ask){0};
    else if (strcmp(key, "F1") == 0) {
        v->help = true;
        v->help_notes = false;
    } else
        return edit_key(v, key, modifiers);
    return true;
}

void view_type_text(struct view_state *v, const char *utf8, size_t len)
{
    if (!view_typing(v))
        return;
    v->say[0] = '\0';
    view_ask_insert(&v->ask, utf8, len);
}

void view_paste_text(struct view_state *v, const char *utf8, size_t len)
{
    static const char number[] = "0123456789.,+- \u00b1\tm";
    while (len > 0 && (utf8[len - 1] == '\n' || utf8[len - 1] == '\r'))
        len--;
    bool plain = true;
    for (size_t i = 0; i < len; i++)
        plain = plain && utf8[i] != '\0' && strchr(number, utf8[i]) != NULL;
    if (!view_typing(v))
        return;
    if (len == 0 || !plumb_text_is_utf8(utf8, len))
        view_say(v, "Nothing to paste: no text");
    else if (view_ask_number(v->ask.what) && !plain)
        view_say(v, "Not pasted: a number is asked for here");
    else if ((v->ask.chosen ? 0 : strlen(v->ask.text)) + len >= sizeof v->ask.text)
        view_say(v, "Not pasted: longer than fits here");
    else
        view_type_text(v, utf8, len);
}
