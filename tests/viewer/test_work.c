/*
 * State, steps, commands, questions, scene and journal, without a display. The film is plain grey,
 * the sheet an invented site (tests/support/site.h), so that every step's marks are known.
 */
#include "tests/support/site.h"
#include "viewer/view_internal.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { SIDE_PX = 3000 };
static char folder[] = "/tmp/plumbrule-work-XXXXXX"; /* of this run alone */

static void open_site(struct view_state *v, bool marked)
{
    struct exam_options o;
    struct exam e = {0};
    struct site site;
    struct err err;
    plumb_exam_options_default(&o);
    view_state_init(v, &o, &err);
    plumb_meas_config_default(&e.config, &err);
    e.film = (struct film){.width = SIDE_PX, .height = SIDE_PX};
    e.film.grey = plumb_mem_array((size_t)SIDE_PX * SIDE_PX, sizeof(uint16_t), &err);
    memset(e.film.sha256, 'a', 64);
    site_default(&site);
    if (marked)
        site_sheet(&site, &(struct placing){0.0, 0.02, false, 35}, 0.0, &e.sheet);
    else
        plumb_sheet_init(&e.sheet);
    strcpy(e.sheet.film.file, "site.png");
    memcpy(e.sheet.film.sha256, e.film.sha256, sizeof e.film.sha256);
    e.film_path = plumb_path_join(folder, "site.png", &err);
    plumb_exam_measure(&e, &err);
    view_resize(v, 1280.0, 800.0, 1.0);
    assert_int_equal(view_adopt(v, &e, &err), 0);
    v->find_due = FIND_IDLE;
}

static void close_site(struct view_state *v)
{
    view_journal_remove(v->journal_path);
    view_state_release(v);
}

static struct geo_point window_of(const struct view_state *v, double x, double y)
{
    return view_to_window(&v->t, (struct geo_point){x, y});
}

static void click(struct view_state *v, double x, double y)
{
    struct geo_point p = window_of(v, x, y);
    view_press(v, p, BUTTON_LEFT);
    view_let_go(v, p, BUTTON_LEFT);
}

static void type(struct view_state *v, const char *text)
{
    view_type_text(v, text, strlen(text));
    view_type_key(v, "Return", 0);
}

static const struct view_item *text_with(const struct view_scene *s, const char *words)
{
    for (size_t i = 0; i < s->n; i++)
        if ((s->item[i].shape == SHAPE_TEXT || s->item[i].shape == SHAPE_EDIT) &&
            strstr(s->text + s->item[i].first, words) != NULL)
            return &s->item[i];
    return NULL;
}

/* --- questions ---------------------------------------------------------------------------------
 */

static void answers_are_checked(void **state)
{
    (void)state;
    static const struct {
        enum view_question what;
        const char *text;
        bool good;
    } table[] = {
        {ASK_TOOTH, "35", true},
        {ASK_TOOTH, "U20", true},
        {ASK_TOOTH, "39", false},
        {ASK_TOOTH, "", false},
        {ASK_TOOTH, "thirty", false},
        {ASK_LENGTH, "12.0", true},
        {ASK_LENGTH, " 12,0 ", true},
        {ASK_LENGTH, "12 ± 0.05", true},
        {ASK_LENGTH, "12 +- 0.05", true},
        {ASK_LENGTH, "12 ± 9", false},
        {ASK_LENGTH, "nan", false},
        {ASK_LENGTH, "1e3", false},
        {ASK_LENGTH, "-4", false},
        {ASK_LENGTH, "12 mm", true},
        {ASK_LENGTH, "12 cm", false},
        {ASK_LENGTH, "mm", false},
        {ASK_LENGTH, "", true},
        {ASK_ACROSS, "2.2", true},
        {ASK_ACROSS, "0", false},
        {ASK_SENSOR, "36 mm", true},
        {ASK_SENSOR, "", true},
        {ASK_SENSOR, "36 +- 1", false},
        {ASK_SENSOR, "360", false},
        {ASK_SEEN_FROM, "l", true},
        {ASK_SEEN_FROM, "left", false},
        {ASK_TAKEN, "2026-03-02", true},
        {ASK_TAKEN, "2026-02-30", false},
        {ASK_GRAFTED, "2026-13-01", false},
        {ASK_EXTRACTED, "2026-03-02", true},
        {ASK_AGE, "47", true},
        {ASK_AGE, "470", false},
        {ASK_ROOTS, "2", true},
        {ASK_ROOTS, "2.5", false},
        {ASK_REMARKS, "Zahn grün, 歯", true},
        {ASK_PLAN_ON, "b", true},
        {ASK_PLAN_ON, "root", false},
        {ASK_BOUND, "", false},
        {ASK_BOUND, "canal roof", true},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct sheet s;
        struct err err = {0};
        struct view_ask a;
        plumb_sheet_init(&s);
        view_ask_open(&a, table[i].what, table[i].what, &s);
        view_ask_edit(&a, EDIT_CLEAR);
        view_ask_insert(&a, table[i].text, strlen(table[i].text));
        int rc = view_ask_answer(&a, &s, &err);
        if ((rc == 0) != table[i].good)
            print_message("answer \"%s\"\n", table[i].text);
        assert_int_equal(rc == 0, table[i].good);
        assert_true(table[i].good || err.text[0] != '\0');
        plumb_sheet_release(&s);
    }
}

static void known_sizes_are_kept(void **state)
{
    (void)state;
    struct view_state v;
    open_site(&v, false);
    assert_int_equal(v.ask.what, ASK_TOOTH); /* a fresh film asks at once */
    type(&v, "35");
    type(&v, "12.0 ± 0.05");
    type(&v, "2,2");
    assert_int_equal(v.ask.what, ASK_NOTHING);
    const struct sheet *s = &v.exam.sheet;
    assert_int_equal(s->site.tooth, 35);
    assert_int_equal(s->n_gauges, 2);
    assert_true(s->gauge[0].mm == 12.0 && s->gauge[0].u_mm == 0.05 && s->gauge[1].mm == 2.2);
    assert_true(view_unsaved(&v));
    close_site(&v);
}

static void paste_is_taken_whole_or_not_at_all(void **state)
{
    (void)state;
    static const struct {
        enum view_question what;
        const char *text, *taken;
    } table[] = {
        {ASK_LENGTH, "12.0\n", "12.0"}, {ASK_LENGTH, "12,5 \u00b1 0.05 mm", "12,5 \u00b1 0.05 mm"},
        {ASK_LENGTH, "drill 12", ""},   {ASK_ACROSS, "\xff", ""},
        {ASK_ROOTS, "two", ""},         {ASK_REMARKS, "Zahn gr\u00fcn", "Zahn gr\u00fcn"},
        {ASK_REMARKS, "\n", ""},        {ASK_PLAN_WIDTH, "1\x01", ""},
    };
    struct view_state v;
    open_site(&v, false);
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        view_ask_open(&v.ask, table[i].what, table[i].what, NULL);
        v.say[0] = '\0';
        view_paste_text(&v, table[i].text, strlen(table[i].text));
        assert_string_equal(v.ask.text, table[i].taken);
        assert_int_equal(v.say[0] == '\0', table[i].taken[0] != '\0');
    }
    static char much[SHEET_TEXT + 10];
    memset(much, '1', sizeof much);
    view_ask_open(&v.ask, ASK_REMARKS, ASK_REMARKS, NULL);
    view_paste_text(&v, much, sizeof much);
    assert_string_equal(v.ask.text, "");
    close_site(&v);
}

static void editing_keeps_whole_characters(void **state)
{
    (void)state;
    struct view_ask a = {.what = ASK_REMARKS};
    view_ask_insert(&a, "aß歯", strlen("aß歯"));
    view_ask_edit(&a, EDIT_LEFT);
    view_ask_edit(&a, EDIT_BACK);
    assert_string_equal(a.text, "a歯");
    view_ask_insert(&a, "\xff", 1); /* not UTF-8: not taken */
    view_ask_insert(&a, "x\ny", 3);
    assert_string_equal(a.text, "ax y歯");
    view_ask_edit(&a, EDIT_END);
    view_ask_edit(&a, EDIT_DELETE);
    view_ask_edit(&a, EDIT_BACK);
    assert_string_equal(a.text, "ax y");
    for (int i = 0; i < 10000; i++)
        view_ask_insert(&a, "ß", 2);
    assert_true(strlen(a.text) < sizeof a.text && plumb_text_is_utf8(a.text, strlen(a.text)));
}

/* Typing over an answer replaces it; whoever moves in it or rubs out wants to keep the rest. */
static void typing_replaces_the_present_answer(void **state)
{
    (void)state;
    static const struct {
        enum view_edit edit;
        const char *text;
    } table[] = {{EDIT_END, "canal roof2"}, {EDIT_LEFT, "canal roo2f"},  {EDIT_HOME, "2canal roof"},
                 {EDIT_BACK, "canal roo2"}, {EDIT_RIGHT, "canal roof2"}, {EDIT_CLEAR, "2"}};
    struct sheet s;
    struct view_ask a;
    plumb_sheet_init(&s);
    view_ask_open(&a, ASK_BOUND, ASK_BOUND, &s);
    assert_true(a.chosen && strcmp(a.text, "canal roof") == 0);
    view_ask_insert(&a, "\xff", 1); /* what is not taken replaces nothing */
    assert_string_equal(a.text, "canal roof");
    view_ask_insert(&a, "wi", 2);
    view_ask_insert(&a, "re", 2);
    assert_string_equal(a.text, "wire");
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        view_ask_open(&a, ASK_BOUND, ASK_BOUND, &s);
        view_ask_edit(&a, table[i].edit);
        view_ask_insert(&a, "2", 1);
        assert_string_equal(a.text, table[i].text);
    }
    s.observed.roots = 1;
    view_ask_open(&a, ASK_ROOTS, ASK_ROOTS, &s);
    view_ask_insert(&a, "2", 1);
    assert_string_equal(a.text, "2");
    plumb_sheet_release(&s);
}

/* A plan on a pin that is not there would be drawn nowhere. */
static void plan_stands_on_what_is_there(void **state)
{
    (void)state;
    struct view_state v;
    open_site(&v, false);
    view_type_key(&v, "Escape", 0);
    view_do(&v, CMD_PLAN, 0, 0);
    type(&v, "10");
    type(&v, "4.1");
    assert_int_equal(v.ask.what, ASK_NOTHING);
    struct sheet_plan *p = &v.exam.sheet.plan;
    assert_true(p->set && p->on == PLAN_ON_BISECTOR);
    assert_non_null(strstr(v.say, "bisector"));
    close_site(&v);
    open_site(&v, true); /* with a pin it is asked, and what the sheet says is kept */
    p = &v.exam.sheet.plan;
    assert_true(p->set && p->on == PLAN_ON_PIN);
    static const struct {
        const char *typed;
        enum plan_on on;
    } table[] = {
        {"", PLAN_ON_PIN}, {"b", PLAN_ON_BISECTOR}, {"", PLAN_ON_BISECTOR}, {"pin", PLAN_ON_PIN}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        view_do(&v, CMD_PLAN, 0, 0);
        type(&v, "10");
        type(&v, "4.1");
        assert_int_equal(v.ask.what, ASK_PLAN_ON);
        type(&v, table[i].typed);
        assert_true(v.ask.what == ASK_NOTHING && p->on == table[i].on);
    }
    close_site(&v);
}

/* --- steps -------------------------------------------------------------------------------------
 */

static void steps_follow_the_sheet(void **state)
{
    (void)state;
    struct view_state v;
    open_site(&v, true);
    struct sheet *s = &v.exam.sheet;
    for (int i = 0; i < STEP_BOUND; i++)
        assert_int_equal(view_step_progress(s, (enum view_step)i), DONE);
    assert_int_equal(view_step_next(s, STEP_GAUGE), STEPS);
    s->pin.tip.by = MARK_FOUND;
    s->pin.tip.sd = 0.25;
    assert_int_equal(view_step_progress(s, STEP_PIN), PROPOSED);
    assert_int_equal(view_step_next(s, STEP_CREST_DISTAL), STEP_PIN);
    view_step_go(&v, STEP_PIN);
    view_do(&v, CMD_CONFIRM, 0, 0);
    /* confirmed, not placed: it stays a found mark with the uncertainty of its fit */
    assert_true(s->pin.tip.by == MARK_FOUND && s->pin.tip.confirmed && s->pin.tip.sd == 0.25);
    assert_int_equal(view_step_progress(s, STEP_PIN), DONE);
    view_do(&v, CMD_UNDO, 0, 0);
    assert_false(s->pin.tip.confirmed);
    view_do(&v, CMD_REDO, 0, 0);
    assert_true(s->pin.tip.by == MARK_FOUND && s->pin.tip.confirmed);
    view_mark_move(s, "pin.tip", (struct geo_point){s->pin.tip.x + 1.0, s->pin.tip.y});
    assert_true(s->pin.tip.by == MARK_MOVED && !s->pin.tip.confirmed && s->pin.tip.sd == 0.0);
    s->side[DISTAL].crest = (struct mark){0};
    assert_int_equal(view_step_progress(s, STEP_CREST_DISTAL), TO_DO);
    assert_int_equal(view_step_next(s, STEP_PIN), STEP_CREST_DISTAL);
    close_site(&v);
}

/* A second Enter by mistake leaves nothing out; Shift Enter does, and the foot says so. */
static void needed_steps_are_left_out_on_purpose_only(void **state)
{
    (void)state;
    struct view_state v;
    char words[320];
    open_site(&v, false);
    type(&v, "35");
    type(&v, "");
    type(&v, "");
    type(&v, ""); /* no size is known, nor the sensor's */
    assert_int_equal(v.step, STEP_PIN);
    for (int i = 0; i < 3; i++)
        view_do(&v, CMD_CONFIRM, 0, 0);
    assert_int_equal(v.step, STEP_PIN);
    view_foot_words(&v, words);
    assert_non_null(strstr(words, "Shift Enter"));
    for (int step = STEP_PIN; step <= STEP_CREST_DISTAL; step++) {
        assert_int_equal(v.step, step);
        view_do(&v, CMD_LEAVE_OUT, 0, 0);
    }
    view_step_go(&v, STEP_SEEN);
    view_type_key(&v, "Escape", 0);
    view_foot_words(&v, words);
    assert_non_null(strstr(words, "done but for 1 2 3 4 5 6; open, if wanted: 7 8 9 0"));
    close_site(&v);
}

/* Before extraction and after healing there is no pin, and the sensor alone gives the scale. */
static void a_film_without_a_pin_owes_none(void **state)
{
    (void)state;
    struct view_state v;
    struct view_scene scene = {0};
    struct sheet none;
    char words[320];
    open_site(&v, false);
    type(&v, "35");
    type(&v, "");
    type(&v, "");
    assert_int_equal(v.ask.what, ASK_SENSOR);
    type(&v, "36");
    assert_true(v.exam.sheet.film.sensor_mm == 36.0);
    assert_int_equal(view_step_progress(&v.exam.sheet, STEP_GAUGE), DONE);
    assert_false(v.left_out[STEP_GAUGE]);
    plumb_sheet_init(&none);
    v.finding = FIND_ALL;
    view_found(&v, &none, 0);
    assert_non_null(strstr(v.say, "Shift Enter, or place it"));
    view_scene_make(&scene, &v);
    assert_null(text_with(&scene, "left out"));
    for (int step = STEP_ROOT_MESIAL; step <= STEP_CREST_DISTAL; step++) {
        view_step_go(&v, (enum view_step)step);
        click(&v, 1200, 1000);
        if (v.has_rough)
            click(&v, 1210, 1600);
    }
    view_do(&v, CMD_CONFIRM_ALL, 0, 0);
    view_step_go(&v, STEP_SEEN);
    view_type_key(&v, "Escape", 0);
    view_foot_words(&v, words);
    assert_non_null(strstr(words, "needed steps are done; open, if wanted: 2 7"));
    plumb_sheet_release(&none);
    view_scene_release(&scene);
    close_site(&v);
}

static void clicks_place_what_the_foot_names(void **state)
{
    (void)state;
    struct view_state v;
    char words[320];
    open_site(&v, false);
    view_type_key(&v, "Escape", 0);
    view_step_go(&v, STEP_PIN);
    view_foot_words(&v, words);
    assert_non_null(strstr(words, "shoulder"));
    click(&v, 1500, 1000);
    view_foot_words(&v, words);
    assert_non_null(strstr(words, "tip"));
    click(&v, 1500, 1600);
    const struct sheet_pin *p = &v.exam.sheet.pin;
    double px = 1.0 / v.t.scale; /* a click is exact to the window px */
    assert_true(fabs(p->shoulder.x - 1500) < px && fabs(p->tip.y - 1600) < px);
    assert_int_equal(p->tip.by, MARK_HAND);
    assert_int_equal(view_step_progress(&v.exam.sheet, STEP_PIN), DONE);
    /* two clicks are a root, by hand where the plain grey shows no outline */
    view_step_go(&v, STEP_ROOT_MESIAL);
    click(&v, 1200, 1000);
    assert_true(v.has_rough);
    click(&v, 1210, 1600);
    const struct sheet_neighbour *nb = &v.exam.sheet.side[MESIAL];
    assert_true(!v.has_rough && nb->axis[0].set && nb->axis[1].set && nb->apex.set);
    assert_true(plumb_meas_find(&v.exam.result, "angle.mesial") != NULL);
    close_site(&v);
}

/* Offered by its crest's key, but not before the crest is there. */
static void the_ridges_dip_is_marked_after_the_crests(void **state)
{
    (void)state;
    struct view_state v;
    char words[320];
    open_site(&v, true);
    struct sheet *s = &v.exam.sheet;
    s->ridge = (struct mark){0};
    const struct mark crest = s->side[DISTAL].crest;
    s->side[DISTAL].crest = (struct mark){0};
    for (int i = 0; i < 3; i++) {
        view_step_go(&v, STEP_CREST_DISTAL);
        view_foot_words(&v, words);
        assert_non_null(strstr(words, "the crest at the distal root"));
    }
    s->side[DISTAL].crest = crest;
    view_step_go(&v, STEP_CREST_DISTAL);
    view_foot_words(&v, words);
    assert_non_null(strstr(words, "the ridge's lowest point between the crests"));
    click(&v, 1500, 1600);
    double px = 1.0 / v.t.scale;
    assert_true(fabs(s->ridge.x - 1500) < px && fabs(s->ridge.y - 1600) < px);
    assert_int_equal(s->ridge.by, MARK_HAND);
    const struct meas_quantity *q = plumb_meas_find(&v.exam.result, "ridge");
    assert_true(q != NULL && q->v.value > 0.0);
    close_site(&v);
}

/* Presses the key of the pin's step until the foot line has these words; false: it never has. */
static bool press_until(struct view_state *v, const char *says)
{
    char words[320];
    for (size_t i = 0; i <= view_n_targets; i++) {
        view_step_go(v, STEP_PIN);
        view_foot_words(v, words);
        if (strstr(words, says) != NULL)
            return true;
    }
    return false;
}

/* One after the other, each by shoulder and tip, and measured against the first. */
static void further_pins_are_placed_by_hand(void **state)
{
    (void)state;
    struct view_state v;
    char words[320];
    open_site(&v, true);
    assert_int_equal(v.exam.sheet.n_pins, 1);
    assert_false(press_until(&v, "the fourth pin's"));
    assert_true(press_until(&v, "the third pin's shoulder"));
    assert_int_equal(v.exam.sheet.n_pins, 1); /* nothing is there before it is placed */
    click(&v, 1300, 1500);
    view_foot_words(&v, words);
    assert_non_null(strstr(words, "the third pin's tip.  Esc leaves it as it is"));
    click(&v, 1320, 1900);
    assert_int_equal(v.target, VIEW_NO_TARGET);
    assert_int_equal(v.exam.sheet.n_pins, 2);
    assert_int_equal(v.exam.sheet.pins[1].tip.by, MARK_HAND);
    assert_non_null(plumb_meas_find(&v.exam.result, "pins.angle.1-3"));
    assert_true(press_until(&v, "the fourth pin's shoulder"));
    view_do(&v, CMD_UNDO, 0, 0);
    view_do(&v, CMD_UNDO, 0, 0);
    assert_int_equal(v.exam.sheet.n_pins, 1);
    close_site(&v);
}

/* Nothing is skipped and no click is lost without a word. */
static void what_is_passed_over_is_said(void **state)
{
    (void)state;
    struct view_state v;
    char words[320];
    open_site(&v, false);
    view_type_key(&v, "Escape", 0);
    view_step_go(&v, STEP_SITE_TOOTH);
    click(&v, 1500, 1600);
    const struct sheet_site_tooth *t = &v.exam.sheet.site_tooth;
    assert_true(t->apex.set && v.step == STEP_SITE_TOOTH);
    view_do(&v, CMD_CONFIRM, 0, 0); /* Enter confirms, here as in any other step */
    assert_non_null(strstr(v.say, "Nothing to confirm yet.  Shift Enter passes this mark over"));
    view_foot_words(&v, words);
    assert_non_null(strstr(words, "its CEJ, mesial.  Shift Enter passes it over"));
    view_do(&v, CMD_LEAVE_OUT, 0, 0);
    assert_non_null(strstr(v.say, "Passed over: its CEJ, mesial.  9 again"));
    click(&v, 1600, 1000);
    assert_true(t->cej[DISTAL].set && v.say[0] == '\0');
    view_foot_words(&v, words);
    assert_non_null(strstr(words, "crown's top"));
    click(&v, 1500, 600);
    assert_true(t->top.set);
    view_do(&v, CMD_LEAVE_OUT, 0, 0);
    click(&v, 1600, 700); /* the last of them */
    assert_true(t->fracture[DISTAL].set && v.step == STEP_SITE_TOOTH);
    size_t n = plumb_sheet_marks(&v.exam.sheet, NULL, 0);
    click(&v, 700, 700);
    assert_int_equal(plumb_sheet_marks(&v.exam.sheet, NULL, 0), n);
    assert_non_null(strstr(v.say, "Nothing placed"));
    v.exam.sheet.pin.tip = (struct mark){.set = true, .x = 9, .y = 9, .by = MARK_FOUND};
    view_step_go(&v, STEP_PIN);
    v.finding = FIND_ALL;
    click(&v, 700, 700);
    assert_non_null(strstr(v.say, "still being looked for"));
    v.finding = FIND_IDLE;
    v.skip_to = (int)view_n_targets;
    click(&v, 700, 700);
    assert_non_null(strstr(v.say, "waits for Enter"));
    view_step_go(&v, STEP_BOUND);
    click(&v, 700, 700);
    assert_non_null(strstr(v.say, "7 begins a bound"));
    close_site(&v);
}

/* Moves the keyboard's cross as a person would, in far, near and fine steps, and places. */
static void place_by_keys(struct view_state *v, double x, double y)
{
    static const unsigned modifiers[] = {VIEW_CTRL, 0, VIEW_SHIFT};
    static const double size[] = {20.0, 1.0, 0.1};
    view_do(v, CMD_MOVE, GO_LEFT, VIEW_SHIFT);
    for (int k = 0; k < 3; k++)
        for (int n = 0; n < 1000; n++) {
            double dx = x - v->cross.x, dy = y - v->cross.y;
            if (fabs(dx) < size[k] && fabs(dy) < size[k])
                break;
            enum view_direction way = fabs(dx) >= size[k] ? (dx > 0.0 ? GO_RIGHT : GO_LEFT)
                                      : dy > 0.0          ? GO_DOWN
                                                          : GO_UP;
            view_do(v, CMD_MOVE, (int)way, modifiers[k]);
        }
    view_do(v, CMD_PLACE, 0, 0);
}

static void all_of_it_from_the_keyboard(void **state)
{
    (void)state;
    struct view_state v;
    open_site(&v, false);
    type(&v, "35");
    type(&v, "12");
    type(&v, "");
    view_step_go(&v, STEP_PIN);
    place_by_keys(&v, 1500.0, 1000.0);
    place_by_keys(&v, 1500.0, 1600.0);
    const struct sheet *s = &v.exam.sheet;
    assert_true(fabs(s->pin.shoulder.x - 1500.0) < 0.2 && fabs(s->pin.tip.y - 1600.0) < 0.2);
    view_step_go(&v, STEP_ROOT_DISTAL);
    place_by_keys(&v, 1900.0, 1000.0);
    place_by_keys(&v, 1890.0, 1700.0);
    assert_true(s->side[DISTAL].axis[0].set && s->side[DISTAL].apex.set);
    view_step_go(&v, STEP_CREST_DISTAL);
    place_by_keys(&v, 1850.0, 1100.0);
    assert_true(s->side[DISTAL].crest.set);
    for (int i = 0; i < 20 && strcmp(v.selected, "distal.crest") != 0; i++)
        view_do(&v, CMD_NEXT_MARK, 0, 0);
    double y = s->side[DISTAL].crest.y;
    view_do(&v, CMD_MOVE, GO_DOWN, 0);
    assert_true(s->side[DISTAL].crest.y == y + 1.0);
    view_do(&v, CMD_DELETE, 0, 0);
    assert_false(s->side[DISTAL].crest.set);
    close_site(&v);
}

static void bound_is_a_row_of_clicks(void **state)
{
    (void)state;
    struct view_state v;
    open_site(&v, true);
    size_t had = v.exam.sheet.n_bounds;
    view_step_go(&v, STEP_GAUGE);
    view_step_go(&v, STEP_BOUND);
    view_ask_edit(&v.ask, EDIT_CLEAR);
    type(&v, "old wire");
    for (int i = 0; i < 4; i++)
        click(&v, 800 + 300 * i, 2400);
    view_do(&v, CMD_CONFIRM, 0, 0);
    assert_int_equal(v.exam.sheet.n_bounds, had + 1);
    assert_string_equal(v.exam.sheet.bound[had].what, "old wire");
    assert_int_equal(v.exam.sheet.bound[had].path.n, 4);
    assert_non_null(plumb_meas_find(&v.exam.result, "bound.2"));
    close_site(&v);
}

/* --- marks -------------------------------------------------------------------------------------
 */

static void marks_are_dragged_nudged_deleted_and_brought_back(void **state)
{
    (void)state;
    struct view_state v;
    open_site(&v, true);
    v.step = STEP_SEEN;
    struct mark *crest = &v.exam.sheet.side[MESIAL].crest, was = *crest;
    struct geo_point p = window_of(&v, was.x + 10, was.y); /* beside it: the grip does not jump */
    view_press(&v, p, BUTTON_LEFT);
    view_move(&v, (struct geo_point){p.x + 20, p.y});
    view_move(&v, (struct geo_point){p.x + 40, p.y});
    view_let_go(&v, (struct geo_point){p.x + 40, p.y}, BUTTON_LEFT);
    view_idle(&v);
    assert_true(fabs(crest->x - (was.x + 40 / v.t.scale)) < 1e-6 && crest->y == was.y);
    assert_int_equal(crest->by, MARK_HAND);
    double dragged = crest->x;
    view_do(&v, CMD_MOVE, GO_RIGHT, 0);
    view_do(&v, CMD_MOVE, GO_UP, VIEW_SHIFT);
    view_idle(&v);
    assert_true(fabs(crest->x - dragged - 1.0) < 1e-9 && fabs(crest->y - was.y + 0.1) < 1e-9);
    view_do(&v, CMD_DELETE, 0, 0);
    assert_false(v.exam.sheet.side[MESIAL].crest.set);
    for (int i = 0; i < 3; i++)
        view_do(&v, CMD_UNDO, 0, 0);
    assert_true(v.exam.sheet.side[MESIAL].crest.x == was.x);
    assert_false(view_unsaved(&v)); /* back where it was read */
    for (int i = 0; i < 3; i++)
        view_do(&v, CMD_REDO, 0, 0);
    assert_false(v.exam.sheet.side[MESIAL].crest.set);
    close_site(&v);
}

/* A side that went astray at one end keeps the other; a point of it is moved like any mark. */
static void traced_side_is_moved_and_cut(void **state)
{
    (void)state;
    struct view_state v;
    struct err err;
    open_site(&v, true);
    struct mark_path *p = &v.exam.sheet.side[MESIAL].near;
    while (p->n < 10)
        assert_int_equal(view_path_add(p, (struct geo_point){900, 1000 + 50 * (double)p->n}, &err),
                         0);
    double first = p->at[0].y, third = p->at[2].y;
    v.step = STEP_ROOT_MESIAL;
    struct geo_point at = window_of(&v, p->at[9].x, p->at[9].y);
    view_press(&v, at, BUTTON_LEFT);
    view_let_go(&v, at, BUTTON_LEFT);
    assert_string_equal(v.selected, "mesial.near[9]"); /* a click chooses it */
    double x = p->at[9].x;
    view_do(&v, CMD_MOVE, GO_RIGHT, 0);
    assert_true(p->at[9].x == x + 1.0);
    strcpy(v.selected, "mesial.near[7]");
    view_do(&v, CMD_CUT, 0, 0);
    assert_int_equal(p->n, 7);
    assert_true(p->at[0].y == first);
    strcpy(v.selected, "mesial.near[1]");
    view_do(&v, CMD_CUT, 0, 0);
    assert_int_equal(p->n, 5);
    assert_true(p->at[0].y == third);
    strcpy(v.selected, "pin.tip");
    view_do(&v, CMD_CUT, 0, 0);
    assert_true(v.exam.sheet.pin.tip.set && v.say[0] != '\0');
    close_site(&v);
}

/* What is saved must open: two clicks on one spot are no axis. */
static void what_cannot_be_read_again_is_taken_back(void **state)
{
    (void)state;
    struct view_state v;
    open_site(&v, false);
    view_type_key(&v, "Escape", 0);
    view_step_go(&v, STEP_ROOT_MESIAL);
    click(&v, 1200, 1000);
    click(&v, 1200, 1000);
    assert_false(v.exam.sheet.side[MESIAL].axis[0].set);
    assert_true(v.say_fault && strncmp(v.say, "Taken back", 10) == 0);
    assert_false(view_unsaved(&v));
    close_site(&v);
}

static void gauge_end_goes_with_the_tip(void **state)
{
    (void)state;
    struct view_state v;
    open_site(&v, true);
    view_mark_move(&v.exam.sheet, "pin.tip", (struct geo_point){1400, 2000});
    assert_true(v.exam.sheet.gauge[0].end[1].x == 1400 && v.exam.sheet.gauge[0].end[1].y == 2000);
    assert_true(v.exam.sheet.pin.axis[1].x != 1400);
    close_site(&v);
}

/* At least 16 window px across, at any zoom and turn. */
static void handles_are_easy_to_hit(void **state)
{
    (void)state;
    static const double scales[] = {0.02, 0.3, 1.0, 20.0};
    struct view_state v;
    char name[VIEW_NAME];
    open_site(&v, true);
    v.step = STEP_SEEN;
    for (int turn = 0; turn < 4; turn++)
        for (size_t k = 0; k < 4; k++) {
            v.t.turn = turn;
            v.t.scale = scales[k];
            const struct mark *m = &v.exam.sheet.site_tooth.apex;
            v.exam.sheet.site_tooth.apex = (struct mark){.set = true, .x = 200, .y = 2800};
            struct geo_point p = window_of(&v, m->x, m->y);
            for (int i = 0; i < 4; i++) {
                struct geo_point off = {i % 2 ? 5.6 : -5.6, i / 2 ? 5.6 : -5.6};
                assert_true(view_hit(&v, geo_add(p, off), name));
                assert_string_equal(name, "site_tooth.apex");
            }
            assert_false(scales[k] > 0.1 &&
                         view_hit(&v, geo_add(p, (struct geo_point){11.0, 0.0}), name));
        }
    close_site(&v);
}

static void found_marks_never_replace_a_hand(void **state)
{
    (void)state;
    struct sheet a, b;
    plumb_sheet_init(&a);
    plumb_sheet_init(&b);
    a.pin.tip = (struct mark){.set = true, .x = 1, .y = 1};
    b.pin.tip = (struct mark){.set = true, .x = 9, .y = 9, .by = MARK_FOUND};
    b.pin.shoulder = b.pin.tip;
    b.pin.side[MESIAL][0] = b.pin.tip;
    b.n_pins = 1; /* a further pin comes with the whole, not with the rest; goes as one */
    b.pins[0].tip = b.pins[0].shoulder =
        (struct mark){.set = true, .x = 5.0, .y = 6.0, .by = MARK_FOUND};
    view_marks_merge(&a, &b, true);
    assert_int_equal(a.n_pins, 0);
    assert_true(a.pin.tip.x == 1 && !a.pin.shoulder.set && a.pin.side[MESIAL][0].set);
    view_marks_merge(&a, &b, false);
    assert_true(a.pin.tip.x == 1 && a.pin.shoulder.set && a.pin.shoulder.by == MARK_FOUND);
    assert_int_equal(a.n_pins, 1);
    view_mark_delete(&a, "pins[0].tip");
    assert_int_equal(a.n_pins, 0);
    plumb_sheet_release(&a);
    plumb_sheet_release(&b);
}

/* --- seeing ------------------------------------------------------------------------------------
 */

static void print_results(const struct view_state *v, struct buf *out)
{
    *out = (struct buf){0};
    plumb_sheet_print(&v->exam.sheet, out, NULL);
    for (size_t i = 0; i < v->exam.result.n_quantities; i++) {
        const struct meas_quantity *q = &v->exam.result.quantity[i];
        plumb_buf_addf(out, "%s %.17g %.17g %.17g\n", q->id, q->v.value, q->v.lo, q->v.hi);
    }
}

static void seeing_never_changes_measuring(void **state)
{
    (void)state;
    struct view_state v;
    struct buf before, after;
    open_site(&v, true);
    view_step_go(&v, STEP_CEJ);
    print_results(&v, &before);
    for (int c = CMD_ZOOM_IN; c <= CMD_LENS; c++)
        for (int times = 0; times < 3; times++)
            view_do(&v, (enum view_command)c, 0, 0);
    view_do(&v, CMD_PAN, GO_DOWN, 0);
    struct geo_point p = {300, 300};
    view_press(&v, p, BUTTON_RIGHT);
    view_move(&v, (struct geo_point){400, 200});
    view_let_go(&v, (struct geo_point){400, 200}, BUTTON_RIGHT);
    view_press(&v, p, BUTTON_MIDDLE);
    view_move(&v, (struct geo_point){350, 390});
    view_let_go(&v, (struct geo_point){350, 390}, BUTTON_MIDDLE);
    view_press(&v, p, WHEEL_UP);
    view_resize(&v, 800, 600, 1.0);
    struct err err;
    plumb_exam_measure(&v.exam, &err);
    print_results(&v, &after);
    assert_string_equal(before.data, after.data);
    assert_false(view_unsaved(&v));
    plumb_buf_release(&before);
    plumb_buf_release(&after);
    close_site(&v);
}

/* --- keys --------------------------------------------------------------------------------------
 */

static void each_key_means_one_thing(void **state)
{
    (void)state;
    for (size_t i = 0; i < view_n_keys; i++)
        for (size_t k = i + 1; k < view_n_keys; k++)
            assert_false(strcmp(view_keys[i].keysym, view_keys[k].keysym) == 0 &&
                         view_keys[i].modifiers == view_keys[k].modifiers);
    for (int c = CMD_CONFIRM; c < COMMANDS; c++) { /* everything from the keyboard alone */
        bool has = false;
        for (size_t i = 0; i < view_n_keys; i++)
            has = has || view_keys[i].command == (enum view_command)c;
        if (!has)
            print_message("command %d has no key\n", c);
        assert_true(has);
    }
}

static void closing_asks_once(void **state)
{
    (void)state;
    struct view_state v;
    open_site(&v, true);
    view_do(&v, CMD_CLOSE, 0, 0);
    assert_true(v.quit); /* nothing to lose, nothing asked */
    v.quit = false;
    view_mark_move(&v.exam.sheet, "pin.tip", (struct geo_point){1, 1});
    view_edited(&v);
    view_do(&v, CMD_CLOSE, 0, 0);
    assert_true(!v.quit && v.choice == CHOICE_CLOSE);
    view_type_key(&v, "Escape", 0);
    assert_true(!v.quit && v.choice == CHOICE_NONE);
    view_do(&v, CMD_CLOSE, 0, 0);
    view_do(&v, CMD_CLOSE, 0, 0); /* the second time it goes, the work stays in the journal */
    assert_true(v.quit);
    view_idle(&v);
    assert_int_equal(access(v.journal_path, F_OK), 0);
    close_site(&v);
}

/* --- journal -----------------------------------------------------------------------------------
 */

static void unsaved_work_is_found_again(void **state)
{
    (void)state;
    struct view_state v, w;
    struct sheet s;
    struct err err;
    open_site(&v, true);
    view_mark_move(&v.exam.sheet, "pin.tip", (struct geo_point){1400, 2000});
    view_edited(&v);
    view_idle(&v);
    assert_int_equal(view_journal_read(v.journal_path, &v.exam.film, &s, &err), 0);
    assert_true(s.pin.tip.x == 1400);
    plumb_sheet_release(&s);
    open_site(&w, true);
    assert_int_equal(w.choice, CHOICE_JOURNAL);
    view_idle(&w);
    view_type_key(&w, "y", 0);
    assert_true(w.exam.sheet.pin.tip.x == 1400 && view_unsaved(&w));
    w.exam.film.sha256[0] = 'b';
    assert_int_equal(view_journal_read(w.journal_path, &w.exam.film, &s, &err), ERR_FORMAT);
    close_site(&w);
    close_site(&v);
    char left[96];
    snprintf(left, sizeof left, "%s/site.sheet.json.unsaved", folder);
    assert_int_equal(access(left, F_OK), -1);
}

/* A sheet edited as text meanwhile is not written over unseen. */
static void a_sheet_changed_by_others_is_told(void **state)
{
    (void)state;
    struct view_state v;
    open_site(&v, true);
    assert_int_equal(view_save(&v), 0);
    assert_int_equal(view_save(&v), 0);
    FILE *f = fopen(v.save_path, "a");
    assert_non_null(f);
    fputs("\n", f);
    fclose(f);
    assert_int_equal(view_save(&v), ERR_CREATE);
    assert_true(v.say_fault && strstr(v.say, "another program") != NULL);
    assert_int_equal(view_save(&v), 0); /* told: the second time it is meant */
    unlink(v.save_path);
    assert_int_equal(view_save(&v), 0);
    unlink(v.save_path);
    close_site(&v);
}

/* No record without a date that nobody was asked for; asked once, and filed whatever is answered.
 */
static void the_date_is_asked_for_before_filing(void **state)
{
    (void)state;
    struct view_state v;
    open_site(&v, true);
    v.exam.sheet.film.taken[0] = '\0';
    memcpy(v.save_path, "/no-", 4); /* a folder that is not there: trying to file is seen */
    view_do(&v, CMD_RECORD, 0, 0);
    assert_true(v.ask.what == ASK_TAKEN && v.say[0] == '\0');
    view_type_key(&v, "Up", 0); /* no question before it */
    assert_int_equal(v.ask.what, ASK_TAKEN);
    type(&v, "2026-03-02");
    type(&v, "first drill");
    type(&v, "");
    assert_true(v.ask.what == ASK_GRAFTED && v.ask.then_file && v.say[0] == '\0');
    view_type_key(&v, "Escape", 0);
    assert_true(v.ask.what == ASK_NOTHING && v.say_fault); /* tried to file */
    assert_string_equal(v.exam.sheet.film.taken, "2026-03-02");
    assert_string_equal(v.exam.sheet.film.stage, "first drill");
    view_do(&v, CMD_RECORD, 0, 0);
    assert_int_equal(v.ask.what, ASK_NOTHING);
    v.exam.sheet.film.taken[0] = '\0'; /* asked once: a film may have no date */
    view_do(&v, CMD_RECORD, 0, 0);
    assert_int_equal(v.ask.what, ASK_NOTHING);
    v.dates_asked = false;
    view_do(&v, CMD_RECORD, 0, 0);
    for (int i = ASK_TAKEN; i <= ASK_AGE; i++)
        view_type_key(&v, "Return", 0);
    assert_true(v.ask.what == ASK_NOTHING && v.say_fault);
    close_site(&v);
}

static void one_window_a_film(void **state)
{
    (void)state;
    char film[] = "/tmp/plumbrule-lock-XXXXXX";
    struct err err = {0};
    int a = -1, b = -1, fd = mkstemp(film);
    assert_true(fd >= 0);
    assert_int_equal(view_lock(film, &a, &err), 0);
    assert_true(a >= 0);
    assert_int_equal(view_lock(film, &b, &err), ERR_IO);
    assert_true(b == -1 && strstr(err.text, "another window") != NULL);
    close(a); /* as when its process ends */
    assert_int_equal(view_lock(film, &b, &err), 0);
    assert_true(b >= 0);
    close(b);
    close(fd);
    unlink(film);
    assert_int_equal(view_lock(film, &b, &err), 0); /* no file, no lock, no fault */
    assert_int_equal(b, -1);
}

/* --- the screen --------------------------------------------------------------------------------
 */

static const struct {
    double w, h, ui;
} sizes[] = {{800, 600, 1.0}, {1280, 800, 1.0}, {2560, 1440, 1.0}, {2560, 1440, 2.0}};

/* Crest and apex taken for one another: the crest lies below the apex. */
static void swap_marks(struct view_state *v)
{
    const struct mark *apex = &v->exam.sheet.side[MESIAL].apex;
    view_mark_move(&v->exam.sheet, "mesial.crest", (struct geo_point){apex->x, apex->y + 100.0});
    assert_true(view_edited(v));
}

static bool has_note(const struct view_state *v, const char *words)
{
    for (size_t k = 0; view_note(v, k) != NULL; k++)
        if (strstr(view_note(v, k), words) != NULL)
            return true;
    return false;
}

static void what_to_take_note_of_is_seen(void **state)
{
    (void)state;
    struct view_state v;
    struct view_scene s = {0};
    open_site(&v, true);
    view_resize(&v, 800.0, 600.0, 1.0);
    view_scene_make(&s, &v);
    assert_null(text_with(&s, "take note"));
    swap_marks(&v);
    view_scene_make(&s, &v);
    assert_non_null(text_with(&s, "take note"));
    assert_non_null(text_with(&s, view_note(&v, 0)));
    assert_true(has_note(&v, "apical of that root's apex"));
    for (size_t k = 0; view_note(&v, k) != NULL; k++)
        for (size_t j = 0; j < k; j++)
            assert_string_not_equal(view_note(&v, k), view_note(&v, j));
    view_do(&v, CMD_NOTES, 0, 0);
    view_scene_make(&s, &v);
    assert_non_null(text_with(&s, "Take note"));
    view_do(&v, CMD_HELP, 0, 0); /* from one page to the other, and back to the film */
    assert_true(v.help && !v.help_notes);
    view_do(&v, CMD_HELP, 0, 0);
    assert_false(v.help);
    /* of the check of an edit, not of the measuring */
    view_undo(&v, false);
    v.exam.sheet.plan = (struct sheet_plan){.set = true, .length_mm = 55.0, .diameter_mm = 4.0};
    view_edited(&v);
    assert_true(has_note(&v, "plan.length_mm"));
    assert_false(has_note(&v, "apical of that root's apex"));
    view_scene_release(&s);
    close_site(&v);
}

static void nothing_overlaps(void **state)
{
    (void)state;
    for (size_t k = 0; k < sizeof sizes / sizeof sizes[0]; k++) {
        struct view_state v;
        struct view_scene s = {0};
        open_site(&v, true);
        swap_marks(&v);
        view_say(&v, "Saved");
        view_resize(&v, sizes[k].w, sizes[k].h, sizes[k].ui);
        for (int help = 0; help < 3; help++) {
            v.help = help > 0;
            v.help_notes = help == 2;
            view_scene_make(&s, &v);
            size_t from = 0;
            for (size_t i = 0; i < s.n; i++) /* the help covers all before it but the foot */
                if (help && s.item[i].shape == SHAPE_FILL)
                    from = i;
            for (size_t i = from; i < s.n; i++) {
                const struct view_item *a = &s.item[i];
                if (a->shape != SHAPE_TEXT || a->n == 0)
                    continue;
                assert_true(a->box.x0 >= 0 && a->box.y0 >= 0 && a->box.x1 <= sizes[k].w &&
                            a->box.y1 <= sizes[k].h);
                assert_true(a->box.y1 - a->box.y0 >= a->size * 1.15 && a->box.x1 > a->box.x0);
                for (size_t j = i + 1; j < s.n; j++)
                    assert_false(s.item[j].shape == SHAPE_TEXT && s.item[j].n > 0 &&
                                 view_box_meets(a->box, s.item[j].box));
            }
        }
        view_scene_release(&s);
        close_site(&v);
    }
}

static void only_what_changed_is_repainted(void **state)
{
    (void)state;
    struct view_state v;
    struct view_scene a = {0}, b = {0};
    struct view_box box[16];
    open_site(&v, true);
    v.step = STEP_SEEN;
    view_scene_make(&a, &v);
    view_scene_make(&b, &v);
    assert_int_equal(view_scene_changes(&a, &b, box, 16), 0);
    struct mark *m = &v.exam.sheet.side[MESIAL].crest;
    struct geo_point p = window_of(&v, m->x, m->y);
    view_mark_move(&v.exam.sheet, "mesial.crest", (struct geo_point){m->x + 20, m->y});
    view_scene_make(&b, &v);
    size_t n = view_scene_changes(&a, &b, box, 16);
    assert_true(n >= 1 && n < 16);
    for (size_t i = 0; i < n; i++) {
        assert_true(box[i].x1 - box[i].x0 < 40 && box[i].y1 - box[i].y0 < 40);
        assert_true(fabs(0.5 * (box[i].x0 + box[i].x1) - p.x) < 40);
    }
    v.hide = true; /* the veil leaves the film alone */
    view_scene_make(&b, &v);
    for (size_t i = 0; i < b.n; i++)
        assert_false(b.item[i].on_film);
    view_scene_release(&a);
    view_scene_release(&b);
    close_site(&v);
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) == NULL;
}

/* Fails when a test has left something there. */
static int remove_folder(void **state)
{
    (void)state;
    return rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(answers_are_checked),
        cmocka_unit_test(known_sizes_are_kept),
        cmocka_unit_test(paste_is_taken_whole_or_not_at_all),
        cmocka_unit_test(editing_keeps_whole_characters),
        cmocka_unit_test(typing_replaces_the_present_answer),
        cmocka_unit_test(plan_stands_on_what_is_there),
        cmocka_unit_test(steps_follow_the_sheet),
        cmocka_unit_test(needed_steps_are_left_out_on_purpose_only),
        cmocka_unit_test(a_film_without_a_pin_owes_none),
        cmocka_unit_test(clicks_place_what_the_foot_names),
        cmocka_unit_test(the_ridges_dip_is_marked_after_the_crests),
        cmocka_unit_test(further_pins_are_placed_by_hand),
        cmocka_unit_test(what_is_passed_over_is_said),
        cmocka_unit_test(all_of_it_from_the_keyboard),
        cmocka_unit_test(bound_is_a_row_of_clicks),
        cmocka_unit_test(marks_are_dragged_nudged_deleted_and_brought_back),
        cmocka_unit_test(traced_side_is_moved_and_cut),
        cmocka_unit_test(what_cannot_be_read_again_is_taken_back),
        cmocka_unit_test(gauge_end_goes_with_the_tip),
        cmocka_unit_test(handles_are_easy_to_hit),
        cmocka_unit_test(found_marks_never_replace_a_hand),
        cmocka_unit_test(seeing_never_changes_measuring),
        cmocka_unit_test(each_key_means_one_thing),
        cmocka_unit_test(closing_asks_once),
        cmocka_unit_test(unsaved_work_is_found_again),
        cmocka_unit_test(a_sheet_changed_by_others_is_told),
        cmocka_unit_test(the_date_is_asked_for_before_filing),
        cmocka_unit_test(one_window_a_film),
        cmocka_unit_test(what_to_take_note_of_is_seen),
        cmocka_unit_test(nothing_overlaps),
        cmocka_unit_test(only_what_changed_is_repainted),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
