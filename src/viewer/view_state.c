/*
 * All the window knows, without the window: the exam, its history, where the work stands, how the
 * film is shown. Measuring, saving and recording go through exam and record; what is only shown
 * (transform, tone) never reaches them.
 */
#include "viewer/view_internal.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const size_t never_saved = SIZE_MAX;
static const char record_folder[] = "record";

int view_state_init(struct view_state *v, const struct exam_options *o, struct err *err)
{
    (void)err;
    *v = (struct view_state){.options = *o,
                             .snap = true,
                             .lens = true,
                             .target = VIEW_NO_TARGET,
                             .saved_at = never_saved,
                             .lock = -1,
                             .t = {.scale = 1.0}};
    view_ask_open(&v->ask, ASK_PATH, ASK_PATH, NULL);
    return 0;
}

static void close_exam(struct view_state *v)
{
    plumb_exam_release(&v->exam);
    plumb_sheet_history_release(&v->history);
    plumb_sheet_notes_release(&v->odd);
    free(v->save_path);
    free(v->journal_path);
    free(v->open_path);
    v->save_path = v->journal_path = v->open_path = NULL;
    if (v->lock >= 0)
        close(v->lock);
    v->lock = -1;
    v->has_film = false;
}

void view_state_release(struct view_state *v)
{
    if (v == NULL)
        return;
    close_exam(v);
    *v = (struct view_state){.lock = -1};
}

/* --- saying ------------------------------------------------------------------------------------
 */

void view_say(struct view_state *v, const char *fmt, ...)
{
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(v->say, sizeof v->say, fmt, ap);
    va_end(ap);
    v->say_fault = false;
}

void view_fault(struct view_state *v, const char *what, const struct err *err)
{
    view_say(v, "%s: %s", what, err->text);
    v->say_fault = true;
}

/* --- opening -----------------------------------------------------------------------------------
 */

static bool is_sheet(const char *path)
{
    static const char ending[] = ".json", journal[] = ".json.unsaved";
    size_t n = strlen(path);
    return strcmp(path, "-") == 0 ||
           (n >= sizeof ending && strcmp(path + n - strlen(ending), ending) == 0) ||
           (n >= sizeof journal && strcmp(path + n - strlen(journal), journal) == 0);
}

/* A film whose sheet stands beside it is opened with that sheet. */
int view_exam_open(const char *path, const struct exam_options *o, struct exam *e, struct err *err)
{
    if (is_sheet(path))
        return plumb_exam_open_sheet(path, o, e, err);
    char *beside = view_sheet_path(path, err);
    if (beside == NULL)
        return ERR_NOMEM;
    int rc;
    if (access(path, F_OK) == 0 && access(beside, F_OK) == 0) {
        rc = plumb_exam_open_sheet(beside, o, e, err);
        if (rc != 0)
            plumb_err_prefix(err, "sheet %.60s", plumb_path_base(beside));
    } else {
        rc = plumb_exam_open_film(path, o, e, err);
    }
    free(beside);
    return rc;
}

static int name_files(struct view_state *v, struct err *err)
{
    const struct exam *e = &v->exam;
    v->on_disk = e->sheet_path != NULL;
    if (v->on_disk) {
        v->save_path = plumb_mem_array(strlen(e->sheet_path) + 1, 1, err);
        if (v->save_path != NULL)
            memcpy(v->save_path, e->sheet_path, strlen(e->sheet_path) + 1);
    } else {
        v->save_path = view_sheet_path(e->film_path, err);
    }
    v->stamp = v->on_disk && v->save_path ? view_stamp_of(v->save_path) : (struct view_stamp){0};
    if (v->save_path != NULL)
        v->journal_path = view_journal_path(v->save_path, err);
    return v->journal_path ? 0 : ERR_NOMEM;
}

static bool same_sheet(const struct sheet *a, const struct sheet *b)
{
    struct buf ta = {0}, tb = {0};
    bool same = plumb_sheet_print(a, &ta, NULL) == 0 && plumb_sheet_print(b, &tb, NULL) == 0 &&
                ta.len == tb.len && memcmp(ta.data, tb.data, ta.len) == 0;
    plumb_buf_release(&ta);
    plumb_buf_release(&tb);
    return same;
}

static void look_for_journal(struct view_state *v)
{
    struct sheet s;
    struct err err = {0};
    int rc = view_journal_read(v->journal_path, &v->exam.film, &s, &err);
    if (rc == ERR_NOTFOUND)
        return;
    if (rc != 0) {
        view_say(v, "Unsaved work in %.80s cannot be taken up: %s",
                 plumb_path_base(v->journal_path), err.text);
        v->say_fault = true;
        return;
    }
    if (same_sheet(&s, &v->exam.sheet))
        view_journal_remove(v->journal_path);
    else
        v->choice = CHOICE_JOURNAL;
    plumb_sheet_release(&s);
}

static bool is_fresh(const struct sheet *s)
{
    return plumb_sheet_marks(s, NULL, 0) == 0;
}

static void begin_work(struct view_state *v)
{
    const struct sheet *s = &v->exam.sheet;
    /* a film from before there was a pin */
    memset(v->left_out, 0, sizeof v->left_out);
    v->no_pin = v->left_out[STEP_PIN] = !is_fresh(s) && !s->pin.tip.set && s->site_tooth.apex.set;
    enum view_step next = view_next(v, STEP_SEEN);
    v->step = next == STEPS ? STEP_BOUND : next;
    v->target = VIEW_NO_TARGET;
    v->dates_asked = false;
    v->ask = (struct view_ask){0};
    if (v->step == STEP_GAUGE && is_fresh(s))
        view_ask_open(&v->ask, ASK_TOOTH, ASK_SENSOR, s);
    if (is_fresh(s))
        v->find_due = FIND_ALL;
    if (v->exam.notes.n > 0)
        view_say(v, "%s", v->exam.notes.line[0]);
}

int view_adopt(struct view_state *v, struct exam *e, struct err *err)
{
    close_exam(v);
    v->exam = *e;
    *e = (struct exam){0};
    int rc = plumb_sheet_history_init(&v->history, &v->exam.sheet, err);
    if (rc == 0)
        rc = view_lock(v->exam.film_path, &v->lock, err);
    if (rc == 0)
        rc = name_files(v, err);
    if (rc != 0) {
        close_exam(v);
        return rc;
    }
    v->has_film = true;
    v->saved_at = 0;
    v->t = (struct view_transform){
        .scale = 1.0, .film_w = (double)v->exam.film.width, .film_h = (double)v->exam.film.height};
    view_tone_init(&v->tone, &v->exam.film);
    v->fitted = true;
    view_fit(&v->t, v->layout.film);
    begin_work(v);
    look_for_journal(v);
    return 0;
}

int view_open(struct view_state *v, const char *path, struct err *err)
{
    struct exam e;
    int rc = view_exam_open(path, &v->options, &e, err);
    return rc == 0 ? view_adopt(v, &e, err) : rc;
}

int view_open_later(struct view_state *v, const char *path, struct err *err)
{
    char *copy = plumb_mem_array(strlen(path) + 1, 1, err);
    if (copy == NULL)
        return ERR_NOMEM;
    memcpy(copy, path, strlen(path) + 1);
    free(v->open_path);
    v->open_path = copy;
    return 0;
}

int view_opened(struct view_state *v, struct exam *e, struct err *err)
{
    char name[SHEET_WORDS];
    plumb_text_copy(name, sizeof name, v->open_path ? plumb_path_base(v->open_path) : "");
    int rc = e != NULL ? view_adopt(v, e, err) : err->code;
    free(v->open_path);
    v->open_path = NULL;
    if (rc != 0)
        view_fault(v, name, err);
    return rc;
}

void view_resize(struct view_state *v, double w, double h, double ui)
{
    view_layout_make(&v->layout, w, h, ui);
    if (v->has_film && v->fitted)
        view_fit(&v->t, v->layout.film);
    else
        view_pan(&v->t, v->layout.film, 0.0, 0.0);
}

/* --- edits -------------------------------------------------------------------------------------
 */

void view_changed(struct view_state *v)
{
    v->stale = true;
    v->edits++;
}

void view_measure(struct view_state *v)
{
    struct err err = {0};
    if (!v->stale)
        return;
    v->stale = false;
    if (plumb_exam_measure(&v->exam, &err) != 0)
        view_fault(v, "measuring", &err);
}

/* A copy in the sheet's place. */
static int put_sheet(struct view_state *v, const struct sheet *from, struct err *err)
{
    struct sheet copy;
    int rc = plumb_sheet_copy(from, &copy, err);
    if (rc != 0)
        return rc;
    plumb_sheet_release(&v->exam.sheet);
    v->exam.sheet = copy;
    return 0;
}

/* What could not be read again is not kept: a sheet that is saved must open. */
static bool stands(struct view_state *v)
{
    struct sheet_notes notes = {0};
    struct err err = {0}, ignored = {0};
    int rc =
        plumb_sheet_check(&v->exam.sheet, v->exam.film.width, v->exam.film.height, &notes, &err);
    if (rc == 0) {
        plumb_sheet_notes_release(&v->odd);
        v->odd = notes;
        return true;
    }
    plumb_sheet_notes_release(&notes);
    (void)put_sheet(v, &v->history.step[v->history.at], &ignored);
    view_fault(v, "Taken back", &err);
    v->moved = v->bound_open = false;
    view_changed(v);
    return false;
}

bool view_edited(struct view_state *v)
{
    struct err err = {0};
    if (!stands(v))
        return false;
    if (v->saved_at != never_saved && v->saved_at > v->history.at)
        v->saved_at = never_saved; /* what was saved had been undone and is dropped now */
    if (plumb_sheet_history_push(&v->history, &v->exam.sheet, &err) != 0)
        view_fault(v, "undo", &err);
    v->moved = false;
    v->journal_due = true;
    view_changed(v);
    if (!v->background)
        view_measure(v);
    return true;
}

bool view_unsaved(const struct view_state *v)
{
    return v->has_film && (v->moved || v->history.at != v->saved_at);
}

void view_undo(struct view_state *v, bool redo)
{
    struct err err = {0};
    if (v->moved)
        view_edited(v);
    const struct sheet *s =
        redo ? plumb_sheet_history_redo(&v->history) : plumb_sheet_history_undo(&v->history);
    if (s == NULL) {
        view_say(v, redo ? "Nothing to redo" : "Nothing to undo");
        return;
    }
    if (put_sheet(v, s, &err) != 0) {
        view_fault(v, "undo", &err);
        return;
    }
    v->has_rough = v->bound_open = false;
    v->journal_due = true;
    view_changed(v);
    if (!v->background)
        view_measure(v);
}

bool view_idle(struct view_state *v)
{
    struct err err = {0};
    bool did = v->moved || (v->stale && !v->background) || v->journal_due;
    if (v->moved && v->drag == DRAG_NONE)
        view_edited(v);
    if (!v->background)
        view_measure(v);
    if (!v->journal_due)
        return did;
    v->journal_due = false;
    if (v->choice == CHOICE_JOURNAL) /* what lies there has not been answered for */
        return did;
    if (!view_unsaved(v)) {
        view_journal_remove(v->journal_path);
        return did;
    }
    v->journal_failed = view_journal_write(v->journal_path, &v->exam.sheet, &err) != 0;
    return did;
}

/* --- saving and recording ----------------------------------------------------------------------
 */

/* Somebody's work of a moment ago is written over only by who was told. */
static bool changed_by_others(struct view_state *v)
{
    struct view_stamp now = view_stamp_of(v->save_path);
    if (!v->on_disk || !now.set || view_stamp_same(now, v->stamp))
        return false;
    v->stamp = now;
    view_say(v, "%.120s was changed by another program: s again writes over it",
             plumb_path_base(v->save_path));
    v->say_fault = true;
    return true;
}

int view_save(struct view_state *v)
{
    struct err err = {0};
    if (!v->has_film)
        return ERR_ARG;
    if (v->moved)
        view_edited(v);
    if (changed_by_others(v))
        return ERR_CREATE;
    int rc = plumb_exam_save(&v->exam, v->save_path, v->on_disk, &err);
    if (rc != 0) {
        view_fault(v, plumb_path_base(v->save_path), &err);
        return rc;
    }
    v->on_disk = true;
    v->stamp = view_stamp_of(v->save_path);
    v->saved_at = v->history.at;
    v->journal_due = false;
    view_journal_remove(v->journal_path);
    view_say(v, "Saved: %.250s", v->save_path);
    return 0;
}

/* The record's folder stands beside the sheet. */
static char *folder_beside(const char *sheet, struct err *err)
{
    size_t n = (size_t)(plumb_path_base(sheet) - sheet);
    char *out = plumb_mem_array(n + sizeof record_folder, 1, err);
    if (out == NULL)
        return NULL;
    memcpy(out, sheet, n);
    memcpy(out + n, record_folder, sizeof record_folder);
    return out;
}

static void tell_record(struct view_state *v, const struct rec_paths *p)
{
    size_t open = view_proposals(&v->exam.sheet);
    if (open > 0)
        view_say(v, "Filed as %.200s (.txt, .json), with %zu unconfirmed mark%s", p->picture, open,
                 open == 1 ? "" : "s");
    else
        view_say(v, "Filed as %.200s, with .txt and .json", p->picture);
}

void view_record(struct view_state *v)
{
    struct err err = {0};
    struct rec_paths paths;
    struct rec_picture_options o;
    if (!v->has_film || (view_unsaved(v) && view_save(v) != 0))
        return;
    if (!v->on_disk && view_save(v) != 0)
        return;
    view_measure(v);
    plumb_rec_picture_options_default(&o);
    char *dir = folder_beside(v->save_path, &err);
    int rc = dir ? plumb_rec_write(&v->exam, dir, &o, &paths, &err) : ERR_NOMEM;
    free(dir);
    if (rc != 0) {
        view_fault(v, "record", &err);
        return;
    }
    tell_record(v, &paths);
    plumb_rec_paths_release(&paths);
}

void view_record_dated(struct view_state *v)
{
    const struct sheet *s = &v->exam.sheet;
    if (s->film.taken[0] != '\0' || v->dates_asked) {
        view_record(v);
        return;
    }
    view_ask_open(&v->ask, ASK_TAKEN, ASK_AGE, s);
    v->ask.then_file = v->dates_asked = true;
}

/* --- where the work stands ---------------------------------------------------------------------
 */

static bool is_offered(const struct view_state *v, const struct view_target *t)
{
    if (t->step != v->step || v->step == STEP_BOUND || v->step == STEP_GAUGE)
        return false;
    size_t k = 0;
    if (view_pin_index(t->mark, &k) && k > v->exam.sheet.n_pins) /* the next one at most */
        return false;
    return t->way != WAY_LATER || view_step_progress(&v->exam.sheet, v->step) != TO_DO;
}

static void next_target_of_step(struct view_state *v)
{
    int from = v->target == VIEW_NO_TARGET ? view_target_next(&v->exam.sheet, v->step, v->skip_to)
                                           : v->target;
    int first = VIEW_NO_TARGET;
    for (int i = 0; i < (int)view_n_targets; i++) {
        if (!is_offered(v, &view_targets[i]))
            continue;
        if (first == VIEW_NO_TARGET)
            first = i;
        if (i > from) {
            v->target = i;
            return;
        }
    }
    v->target = first;
}

static void ask_for_step(struct view_state *v)
{
    const struct sheet *s = &v->exam.sheet;
    if (v->step == STEP_GAUGE)
        view_ask_open(&v->ask, ASK_TOOTH, s->site.tooth ? ASK_AGE : ASK_SENSOR, s);
    else if (v->step == STEP_SEEN)
        view_ask_open(&v->ask, ASK_ROOTS, ASK_REMARKS, s);
    else if (v->step == STEP_BOUND)
        view_ask_open(&v->ask, ASK_BOUND, ASK_BOUND, s);
}

enum view_step view_next(const struct view_state *v, enum view_step step)
{
    const struct sheet *s = &v->exam.sheet;
    enum view_step next = step;
    for (int i = 0; i < STEPS; i++) {
        next = view_step_next(s, next);
        if (next == STEPS || !v->left_out[next] || view_step_progress(s, next) != TO_DO)
            return next;
    }
    return STEPS;
}

void view_step_go(struct view_state *v, enum view_step s)
{
    if (!v->has_film || (unsigned)s >= STEPS)
        return;
    bool again = s == v->step;
    v->has_rough = v->bound_open = false;
    v->selected[0] = '\0';
    v->ask = (struct view_ask){0};
    if (again) {
        next_target_of_step(v);
    } else {
        v->step = s;
        v->target = VIEW_NO_TARGET;
        v->skip_to = 0;
    }
    ask_for_step(v);
}

const struct view_target *view_target_now(const struct view_state *v)
{
    if (!v->has_film)
        return NULL;
    if (v->step == STEP_BOUND && !v->bound_open)
        return NULL;
    if (v->step == STEP_PIN && v->finding == FIND_ALL && v->target == VIEW_NO_TARGET)
        return NULL; /* it is being looked for */
    if (v->target != VIEW_NO_TARGET)
        return &view_targets[v->target];
    int i = view_target_next(&v->exam.sheet, v->step, v->skip_to);
    return i == VIEW_NO_TARGET ? NULL : &view_targets[i];
}

/* --- the finder ---------------------------------------------------------------------------------
 */

size_t view_gauges_open(const struct sheet *s, struct exam_gauge out[SHEET_GAUGES])
{
    size_t n = 0;
    for (size_t i = 0; i < s->n_gauges; i++) {
        const struct sheet_gauge *g = &s->gauge[i];
        if (g->mm > 0.0 && !g->end[0].set && !g->end[1].set)
            out[n++] = (struct exam_gauge){.kind = g->kind, .mm = g->mm, .u_mm = g->u_mm};
    }
    return n;
}

/* Its answers were there before the pin: now its known sizes have their ends too. */
static void leave_first_step(struct view_state *v)
{
    if (v->step != STEP_GAUGE || v->ask.what != ASK_NOTHING ||
        view_step_progress(&v->exam.sheet, STEP_GAUGE) != DONE)
        return;
    enum view_step next = view_next(v, STEP_GAUGE);
    if (next != STEPS)
        view_step_go(v, next);
}

void view_found(struct view_state *v, const struct sheet *found, size_t n_pins)
{
    struct exam_gauge open[SHEET_GAUGES];
    bool all = v->finding == FIND_ALL;
    v->finding = FIND_IDLE;
    size_t before = plumb_sheet_marks(&v->exam.sheet, NULL, 0);
    view_marks_merge(&v->exam.sheet, found, !all);
    if (plumb_sheet_marks(&v->exam.sheet, NULL, 0) != before) {
        bool clean = !view_unsaved(v);
        view_edited(v);
        if (clean) /* proposals alone are nobody's work */
            v->saved_at = v->history.at;
    }
    v->no_pin = v->left_out[STEP_PIN] = n_pins == 0;
    if (n_pins == 0 && all)
        view_say(v, "No pin in this film: leave step 2 out with Shift Enter, or place it");
    /* sizes typed while the finder ran have their ends still to come */
    if (n_pins > 0 && all && view_gauges_open(&v->exam.sheet, open) > 0)
        v->find_due = FIND_REST;
    else
        leave_first_step(v);
}
