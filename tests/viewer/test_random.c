/*
 * Thousands of random keys, clicks, drags, texts, sizes and findings, and after each the state must
 * hold together: marks on the film, a scene that can be made, text that is UTF-8, a step that
 * exists, undo that comes back. And the picture that was repainted only where it changed must be
 * the one painted anew. Run under the sanitizers it is a search for crashes. Every run is the same:
 * the seeds are fixed.
 */
#include "viewer/view_paint_internal.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { FILM_W = 240, FILM_H = 320, STEPS_A_SEED = 2500, SEEDS = 4 };
static const char folder_pattern[] = "/tmp/plumbrule-random-XXXXXX";

static uint32_t next(uint32_t *r)
{
    *r = *r * 1664525u + 1013904223u; /* Numerical Recipes' quick generator */
    return *r >> 8;
}

static int below(uint32_t *r, int n)
{
    return (int)(next(r) % (uint32_t)n);
}

/* Bone, two roots and a pin, roughly: enough for snapping to find something now and then. */
static void film_make(struct film *f, uint32_t *r)
{
    *f = (struct film){.width = FILM_W, .height = FILM_H};
    f->grey = plumb_mem_array((size_t)FILM_W * FILM_H, sizeof *f->grey, NULL);
    for (int y = 0; y < FILM_H; y++)
        for (int x = 0; x < FILM_W; x++) {
            bool pin = abs(x - 120) < 8 && y < 200;
            bool root = (abs(x - 50) < 22 - y / 20 || abs(x - 190) < 24 - y / 20) && y < 260;
            int grey = pin ? 60000 : root ? 42000 : y > 90 ? 26000 : 9000;
            f->grey[y * FILM_W + x] = (uint16_t)(grey + below(r, 2500));
        }
    memset(f->sha256, 'a', 64);
}

static void open_random(struct view_state *v, const char *folder, uint32_t *r)
{
    struct exam_options o;
    struct exam e = {0};
    struct err err;
    plumb_exam_options_default(&o);
    view_state_init(v, &o, &err);
    plumb_meas_config_default(&e.config, &err);
    film_make(&e.film, r);
    plumb_sheet_init(&e.sheet);
    strcpy(e.sheet.film.file, "random.png");
    memcpy(e.sheet.film.sha256, e.film.sha256, sizeof e.film.sha256);
    e.sheet.film.width = FILM_W;
    e.sheet.film.height = FILM_H;
    e.film_path = plumb_path_join(folder, "random.png", &err);
    view_resize(v, 900.0, 700.0, 1.0);
    assert_int_equal(view_adopt(v, &e, &err), 0);
}

/* --- what happens ------------------------------------------------------------------------------
 */

static struct geo_point anywhere(const struct view_state *v, uint32_t *r)
{
    return (struct geo_point){below(r, (int)v->layout.w + 40) - 20,
                              below(r, (int)v->layout.h + 40) - 20};
}

static void key(struct view_state *v, uint32_t *r)
{
    const struct view_key *k = &view_keys[below(r, (int)view_n_keys)];
    /* the record is a file each, q ends it all */
    if (k->command == CMD_RECORD || k->command == CMD_CLOSE || view_type_key(v, k->keysym, 0))
        return;
    view_do(v, k->command, k->argument, k->modifiers);
}

static void text(struct view_state *v, uint32_t *r)
{
    static const char *const texts[] = {"35",   "12.0", "2.2 ± 0.02", "l",    "2026-03-02",
                                        "U20",  "-1",   "1e300",      "歯ß",  "\xff\xfe",
                                        "a\nb", "",     "canal roof", "99.9", "nan"};
    const char *t = texts[below(r, (int)(sizeof texts / sizeof texts[0]))];
    if (below(r, 3) == 0)
        view_ask_edit(&v->ask, EDIT_CLEAR);
    view_type_text(v, t, strlen(t));
    view_type_key(v, below(r, 8) == 0 ? "Up" : "Return", 0);
}

static void pointer(struct view_state *v, uint32_t *r)
{
    int button = 1 + below(r, 5), moves = below(r, 4);
    struct geo_point p = anywhere(v, r);
    view_press(v, p, button);
    for (int i = 0; i < moves; i++)
        view_move(v, anywhere(v, r));
    view_let_go(v, moves > 0 ? anywhere(v, r) : p, below(r, 6) == 0 ? 1 + below(r, 5) : button);
}

static void finding(struct view_state *v, uint32_t *r)
{
    struct sheet s;
    plumb_sheet_init(&s);
    size_t n = (size_t)below(r, 3);
    static const char *const names[] = {"pin.tip",        "pin.shoulder", "pin.axis[0]",
                                        "pin.axis[1]",    "pins[0].tip",  "pins[0].axis[0]",
                                        "pins[0].axis[1]"};
    s.n_pins = n > 1 ? 1 : 0;
    for (size_t i = 0; i < (n > 1 ? 7u : n > 0 ? 4u : 0u); i++)
        *plumb_sheet_mark(&s, names[i]) = (struct mark){.set = true,
                                                        .x = 110 + below(r, 20),
                                                        .y = below(r, FILM_H),
                                                        .sd = 0.1,
                                                        .by = MARK_FOUND};
    v->finding = below(r, 2) ? FIND_ALL : FIND_REST;
    view_found(v, &s, n);
    plumb_sheet_release(&s);
}

static void happen(struct view_state *v, uint32_t *r)
{
    static const double sizes[][3] = {{800, 600, 1}, {1, 1, 1}, {2560, 1440, 2}, {640, 480, 3}};
    int what = below(r, 100);
    if (what < 40)
        key(v, r);
    else if (what < 70)
        pointer(v, r);
    else if (what < 82)
        text(v, r);
    else if (what < 85)
        view_paste_text(v, "12.0 ± 0.05", (size_t)below(r, 13));
    else if (what < 88) {
        const double *s = sizes[below(r, 4)];
        view_resize(v, s[0], s[1], s[2]);
    } else if (what < 92)
        finding(v, r);
    else if (what < 95)
        view_leave(v);
    else
        view_idle(v);
}

/* --- what must hold ----------------------------------------------------------------------------
 */

static void marks_hold(const struct view_state *v)
{
    struct sheet_mark_ref *ref;
    size_t n = view_marks(&v->exam.sheet, &ref);
    for (size_t i = 0; i < n; i++) {
        const struct mark *m = ref[i].mark;
        bool in = m->x >= -1.0 && m->x <= FILM_W && m->y >= -1.0 && m->y <= FILM_H;
        if (!in)
            print_message("%s at %g, %g\n", ref[i].name, m->x, m->y);
        assert_true(in);
    }
    free(ref);
}

static void state_holds(struct view_state *v, struct view_scene *s)
{
    char words[320];
    marks_hold(v);
    assert_true((unsigned)v->step < STEPS);
    assert_true(v->exam.sheet.n_bounds <= SHEET_BOUNDS);
    assert_true(plumb_text_is_utf8(v->ask.text, strlen(v->ask.text)));
    assert_true(v->ask.caret <= strlen(v->ask.text));
    assert_true(isfinite(v->t.scale) && v->t.scale > 0.0 && isfinite(v->t.ox + v->t.oy));
    view_foot_words(v, words);
    view_scene_make(s, v);
    assert_false(s->failed);
    assert_true(v->has_film && !v->quit);
}

/* A sheet that the window has made is one that can be read again. */
static void sheet_holds(const struct view_state *v)
{
    struct buf text = {0};
    struct sheet s;
    struct sheet_notes notes = {0};
    struct err err = {0};
    assert_int_equal(plumb_sheet_print(&v->exam.sheet, &text, &err), 0);
    int rc = plumb_sheet_parse(text.data, text.len, &s, &notes, &err);
    if (rc == 0)
        rc = plumb_sheet_check(&s, FILM_W, FILM_H, &notes, &err);
    if (rc != 0)
        print_message("%s\n%s\n", err.text, text.data);
    assert_int_equal(rc, 0);
    plumb_sheet_release(&s);
    plumb_sheet_notes_release(&notes);
    plumb_buf_release(&text);
}

static void random_use_holds_together(void **state)
{
    (void)state;
    char folder[sizeof folder_pattern];
    memcpy(folder, folder_pattern, sizeof folder_pattern);
    assert_non_null(mkdtemp(folder));
    for (uint32_t seed = 1; seed <= SEEDS; seed++) {
        uint32_t r = seed * 7919u;
        struct view_state v;
        struct view_scene s = {0};
        open_random(&v, folder, &r);
        v.background = seed % 2 == 0;
        for (int i = 0; i < STEPS_A_SEED; i++) {
            happen(&v, &r);
            state_holds(&v, &s);
            if (i % 50 == 0)
                sheet_holds(&v);
        }
        view_journal_remove(v.journal_path);
        (void)unlink(v.save_path);
        view_scene_release(&s);
        view_state_release(&v);
    }
    assert_int_equal(rmdir(folder), 0);
}

/* --- the picture --------------------------------------------------------------------------------
 */

struct canvas {
    struct view_painter painter;
    cairo_surface_t *frame;
};

static void canvas_release(struct canvas *c)
{
    view_painter_release(&c->painter);
    if (c->frame != NULL)
        cairo_surface_destroy(c->frame);
    *c = (struct canvas){0};
}

static void canvas_paint(struct canvas *c, struct view_state *v)
{
    struct err err = {0};
    int w = (int)v->layout.w, h = (int)v->layout.h;
    bool fits = c->frame != NULL && cairo_image_surface_get_width(c->frame) == w &&
                cairo_image_surface_get_height(c->frame) == h &&
                c->painter.layout.ui == v->layout.ui;
    if (!fits) {
        canvas_release(c);
        assert_int_equal(view_painter_init(&c->painter, &err), 0);
        c->frame = cairo_image_surface_create(CAIRO_FORMAT_RGB24, w, h);
        view_painter_frame(&c->painter, c->frame, &v->layout);
    }
    cairo_region_t *changed = cairo_region_create();
    assert_int_equal(view_paint(&c->painter, v, changed, &err), 0);
    cairo_region_destroy(changed);
}

/* How many px differ by more than the rounding of a clipped edge. */
static size_t differing(cairo_surface_t *a, cairo_surface_t *b)
{
    static const int rounding = 40; /* grey levels: of the edge of a stroke cut by the clip */
    size_t w = (size_t)cairo_image_surface_get_width(a), n = 0;
    size_t h = (size_t)cairo_image_surface_get_height(a);
    size_t stride = (size_t)cairo_image_surface_get_stride(a);
    cairo_surface_flush(a);
    cairo_surface_flush(b);
    const unsigned char *p = cairo_image_surface_get_data(a), *q = cairo_image_surface_get_data(b);
    for (size_t y = 0; y < h; y++)
        for (size_t i = 0; i < 4 * w; i++)
            n += i % 4 != 3 && abs(p[y * stride + i] - q[y * stride + i]) > rounding;
    return n;
}

static void what_is_repainted_is_as_if_painted_anew(void **state)
{
    (void)state;
    enum { STEPS_PAINTED = 240, COMPARED_EVERY = 12 };
    uint32_t r = 4711u;
    struct view_state v;
    struct canvas kept = {0};
    char folder[sizeof folder_pattern];
    memcpy(folder, folder_pattern, sizeof folder_pattern);
    assert_non_null(mkdtemp(folder));
    open_random(&v, folder, &r);
    for (int i = 0; i < STEPS_PAINTED; i++) {
        struct canvas fresh = {0};
        happen(&v, &r);
        canvas_paint(&kept, &v);
        if (i % COMPARED_EVERY != 0)
            continue;
        canvas_paint(&fresh, &v);
        size_t n = differing(kept.frame, fresh.frame);
        if (n > 0)
            print_message("step %d: %zu differ\n", i, n);
        assert_int_equal(n, 0);
        canvas_release(&fresh);
    }
    canvas_release(&kept);
    view_journal_remove(v.journal_path);
    (void)unlink(v.save_path);
    view_state_release(&v);
    (void)rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(random_use_holds_together),
        cmocka_unit_test(what_is_repainted_is_as_if_painted_anew),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
