/*
 * The annotated picture, read back with libpng's own simplified reader and held against the film:
 * ink is where the geometry of an invented site says, nowhere else, and never on a mark's point or
 * a measured edge. Letters are not looked at: they depend on the machine's fonts.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <png.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "record/record_internal.h"
#include "tests/support/site.h"

static const double mm_per_px = 0.025, degree = 3.14159265358979323846 / 180.0;
static char folder[] = "/tmp/plumbrule-picture-XXXXXX";

/* --- making and reading ----------------------------------------------------------------------- */

/* Grey that uses the whole range, in steps of 257 as an 8-bit film has it; a weave, so that
 * neighbours differ. */
static void make_film(struct film *f, size_t w, size_t h)
{
    *f = (struct film){.width = w, .height = h, .depth = 8};
    f->grey = plumb_mem_array(w * h, sizeof *f->grey, NULL);
    for (size_t i = 0; i < w * h; i++)
        f->grey[i] = (uint16_t)(257 * ((3 * (i % w) + 5 * (i / w)) & 255));
    memset(f->sha256, '7', 64);
}

static void measure(struct exam *e)
{
    struct err err = {0};
    struct meas_film film = {.width = e->film.width, .height = e->film.height};
    plumb_meas_result_release(&e->result);
    if (plumb_meas_config_default(&e->config, &err) != 0 ||
        plumb_meas_run(&e->sheet, &film, &e->config, &e->result, &err) != 0)
        fail_msg("%s", err.text);
}

/* The remains of the site's tooth, in the site's millimetres. */
static void add_site_tooth(struct sheet *s, const struct placing *p)
{
    static const struct geo_point cej[SIDES] = {{2.3, -1.0}, {-2.3, -1.2}}, apex = {0.4, 12.5},
                                  fracture[SIDES] = {{2.0, 2.5}, {-2.0, -0.4}};
    struct geo_point q = site_px(p, apex);
    s->site_tooth.apex = (struct mark){.set = true, .x = q.x, .y = q.y};
    q = site_px(p, (struct geo_point){0.3, -2.4}); /* a low crown: the film is no higher */
    s->site_tooth.top = (struct mark){.set = true, .x = q.x, .y = q.y};
    for (int i = 0; i < SIDES; i++) {
        q = site_px(p, cej[i]);
        s->site_tooth.cej[i] = (struct mark){.set = true, .x = q.x, .y = q.y};
        q = site_px(p, fracture[i]);
        s->site_tooth.fracture[i] = (struct mark){.set = true, .x = q.x, .y = q.y};
    }
}

/* The support's site, put in the middle of a film of any size, at any turn. */
static void make_exam_turned(struct exam *e, size_t w, size_t h, double turn_deg)
{
    struct site s;
    struct sheet_mark_ref ref[256];
    const struct placing placing = {6.0, mm_per_px, false, 35};
    *e = (struct exam){0};
    make_film(&e->film, w, h);
    site_default(&s);
    site_sheet(&s, &placing, 1.0, &e->sheet);
    add_site_tooth(&e->sheet, &placing);
    size_t n = plumb_sheet_marks(&e->sheet, ref, 256);
    /* The site spans 18 x 19 mm about a point 7 mm apical of the shoulder. */
    double side = turn_deg == 0.0 ? fmin((double)w / 20.0, (double)h / 21.0)
                                  : fmin((double)w, (double)h) / 27.0;
    struct geo_point middle = site_px(&placing, (struct geo_point){0.0, 7.0});
    for (size_t i = 0; i < n; i++) {
        struct geo_point p = geo_sub((struct geo_point){ref[i].mark->x, ref[i].mark->y}, middle);
        p = geo_mul(geo_turn(p, turn_deg * degree), side * mm_per_px);
        ref[i].mark->x = p.x + 0.5 * (double)w;
        ref[i].mark->y = p.y + 0.5 * (double)h;
    }
    e->sheet.plan = (struct sheet_plan){true, 11.0, 3.8, PLAN_ON_PIN};
    strcpy(e->sheet.film.taken, "2026-03-02");
    strcpy(e->sheet.film.stage, "first drill");
    measure(e);
}

static void make_exam(struct exam *e, size_t w, size_t h)
{
    make_exam_turned(e, w, h, 0.0);
}

static void release(struct exam *e)
{
    plumb_film_release(&e->film);
    plumb_sheet_release(&e->sheet);
    plumb_meas_result_release(&e->result);
}

struct image {
    size_t w, h;
    uint8_t *rgb;
    struct buf file;
};

static int draw_to(const struct exam *e, bool legend, const char *path, struct err *err)
{
    struct rec_picture_options o;
    struct file_out to;
    plumb_rec_picture_options_default(&o);
    o.legend = legend;
    int rc = plumb_file_out_open(&to, path, true, err);
    if (rc != 0)
        return rc;
    rc = plumb_rec_picture(e, &o, &to, err);
    if (rc == 0)
        return plumb_file_out_commit(&to, err);
    plumb_file_out_abort(&to);
    return rc;
}

static void draw(const struct exam *e, bool legend, struct image *out)
{
    char path[64];
    struct err err = {0};
    png_image png = {.version = PNG_IMAGE_VERSION};
    snprintf(path, sizeof path, "%s/picture.png", folder);
    if (draw_to(e, legend, path, &err) != 0 ||
        plumb_file_read(path, 1 << 30, &out->file, &err) != 0)
        fail_msg("%s", err.text);
    assert_true(png_image_begin_read_from_memory(&png, out->file.data, out->file.len));
    assert_int_equal(png.format, PNG_FORMAT_RGB);
    out->w = png.width;
    out->h = png.height;
    out->rgb = malloc(PNG_IMAGE_SIZE(png));
    assert_non_null(out->rgb);
    assert_true(png_image_finish_read(&png, NULL, out->rgb, 0, NULL));
    unlink(path);
}

static void image_release(struct image *i)
{
    free(i->rgb);
    plumb_buf_release(&i->file);
}

static bool inked(const struct exam *e, const struct image *i, size_t x, size_t y)
{
    const uint8_t *p = i->rgb + 3 * (y * i->w + x);
    uint8_t film = (uint8_t)(e->film.grey[y * e->film.width + x] >> 8);
    return p[0] != film || p[1] != film || p[2] != film;
}

static bool inked_near(const struct exam *e, const struct image *i, struct geo_point p, double r)
{
    for (double y = ceil(p.y - r); y <= p.y + r; y++)
        for (double x = ceil(p.x - r); x <= p.x + r; x++)
            if (hypot(x - p.x, y - p.y) <= r && x >= 0 && y >= 0 && x < (double)e->film.width &&
                y < (double)e->film.height && inked(e, i, (size_t)x, (size_t)y))
                return true;
    return false;
}

/* Share of the points along a-b that carry ink. */
static double ink_share(const struct exam *e, const struct image *i, struct geo_point a,
                        struct geo_point b)
{
    int n = (int)geo_dist(a, b) + 1, hits = 0;
    for (int k = 0; k <= n; k++)
        hits += inked_near(e, i, geo_mix(a, b, (double)k / n), 0.71);
    return (double)hits / (n + 1);
}

static void segment(const struct exam *e, const char *id, struct geo_point *a, struct geo_point *b)
{
    if (!segment_find(&e->result, id, a, b))
        fail_msg("no segment %s", id);
}

/* --- what is drawn where ------------------------------------------------------------------------
 */

static const char *const edges[] = {"clearance.mesial", "clearance.distal", "space.crest",
                                    "space.apical",     "bound.1",          "bound_axis.1"};
enum { EDGES = sizeof edges / sizeof edges[0] };

/* Marks where an arrow head and where a number would like to be: neither may cover them. */
static void add_marks_in_the_way(struct exam *e)
{
    double em = figure_sizes_for(&e->film).em;
    for (size_t i = 0; i < EDGES && e->sheet.n_gauges < SHEET_GAUGES; i++) {
        struct geo_point a, b;
        segment(e, edges[i], &a, &b);
        struct geo_point u = geo_unit(geo_sub(b, a)), middle = geo_mix(a, b, 0.5);
        struct geo_point arrow = geo_add(a, geo_mul(u, 0.9 * em));
        struct geo_point number = geo_add(middle, geo_mul(geo_perp(u), 1.2 * em));
        struct sheet_gauge *g = &e->sheet.gauge[e->sheet.n_gauges++];
        g->end[0] = (struct mark){.set = true, .x = arrow.x, .y = arrow.y};
        g->end[1] = (struct mark){.set = true, .x = number.x, .y = number.y};
    }
}

/* How much about an end must be bare: less where it is a mark, whose sign is about it. */
static double bare_px(const struct sheet_mark_ref *ref, size_t n, struct geo_point p)
{
    for (size_t k = 0; k < n; k++)
        if (hypot(ref[k].mark->x - p.x, ref[k].mark->y - p.y) <= 0.5)
            return 1.2;
    return 2.0;
}

static void check_nothing_is_hidden(const struct exam *e, const struct image *i)
{
    struct sheet_mark_ref ref[256];
    size_t n = plumb_sheet_marks(&e->sheet, ref, 256);
    for (size_t k = 0; k < n; k++) {
        if (ref[k].kind == KIND_ROOT_SIDE || ref[k].kind == KIND_BOUND)
            continue; /* paths are dotted over */
        if (inked_near(e, i, (struct geo_point){ref[k].mark->x, ref[k].mark->y}, 1.2))
            fail_msg("ink on %s", ref[k].name);
    }
    for (size_t k = 0; k < EDGES; k++) {
        struct geo_point p, q;
        segment(e, edges[k], &p, &q);
        if (inked_near(e, i, p, bare_px(ref, n, p)) || inked_near(e, i, q, bare_px(ref, n, q)))
            fail_msg("ink on an end of %s (%.1f, %.1f; %.1f, %.1f)", edges[k], p.x, p.y, q.x, q.y);
    }
}

static void nothing_measured_is_hidden(void **state)
{
    (void)state;
    struct exam e;
    make_exam(&e, 1000, 1350);
    for (int crowded = 0; crowded < 2; crowded++)
        for (int legend = 0; legend < 2; legend++) {
            struct image i = {0};
            draw(&e, legend, &i);
            check_nothing_is_hidden(&e, &i);
            image_release(&i);
            if (legend == 1)
                add_marks_in_the_way(&e);
        }
    release(&e);
    for (int turn = 30; turn < 360; turn += 30) {
        struct image i = {0};
        make_exam_turned(&e, 500, 400, turn);
        draw(&e, turn % 60 == 0, &i);
        check_nothing_is_hidden(&e, &i);
        image_release(&i);
        release(&e);
    }
}

static void lines_are_where_the_geometry_is(void **state)
{
    (void)state;
    struct exam e;
    struct image i = {0};
    struct geo_point a, b;
    make_exam(&e, 1000, 1350);
    e.sheet.pin.tip.by = MARK_FOUND;
    draw(&e, false, &i);
    /* Distances are solid, but for what they cross. */
    static const char *const solid[] = {"clearance.distal", "space.crest"};
    for (size_t k = 0; k < sizeof solid / sizeof solid[0]; k++) {
        segment(&e, solid[k], &a, &b);
        if (ink_share(&e, &i, geo_mix(a, b, 0.2), geo_mix(a, b, 0.8)) < 0.8)
            fail_msg("%s is not drawn: %.2f", solid[k],
                     ink_share(&e, &i, geo_mix(a, b, 0.2), geo_mix(a, b, 0.8)));
    }
    struct dimension d[DIMENSIONS_MAX];
    double em = figure_sizes_for(&e.film).em;
    size_t n = dimensions_make(&e, em, d);
    for (size_t k = 0; k < n; k++)
        if (d[k].has_line && geo_dist(d[k].a, d[k].b) > 5.0 * em &&
            ink_share(&e, &i, geo_mix(d[k].a, d[k].b, 0.2), geo_mix(d[k].a, d[k].b, 0.8)) < 0.8)
            fail_msg("%s is not drawn", d[k].key);
    /* Axes are broken lines: there, and see-through. */
    static const char *const broken[] = {"axis.pin", "axis.mesial", "axis.distal"};
    for (size_t k = 0; k < sizeof broken / sizeof broken[0]; k++) {
        segment(&e, broken[k], &a, &b);
        double share = ink_share(&e, &i, geo_mix(a, b, 0.15), geo_mix(a, b, 0.85));
        if (share < 0.5 || share > 0.95)
            fail_msg("%s has ink on %.2f of its length", broken[k], share);
    }
    /* Signs are whole, also where distances end in their marks: rings of 0.48 em, and a diamond. */
    const struct mark *whole[] = {&e.sheet.side[MESIAL].apex, &e.sheet.side[DISTAL].crest,
                                  &e.sheet.pin.tip};
    for (size_t m = 0; m < sizeof whole / sizeof whole[0]; m++) {
        struct geo_point outline[SIGN_POINTS], at = {whole[m]->x, whole[m]->y};
        size_t corners = sign_outline(at, 0.48 * em, whole[m]->by, outline);
        assert_int_equal(corners, whole[m]->by == MARK_FOUND ? 5 : SIGN_POINTS);
        for (size_t k = 0; k + 1 < corners; k++)
            if (ink_share(&e, &i, outline[k], outline[k + 1]) < 0.99)
                fail_msg("the sign of mark %zu is broken", m);
    }
    image_release(&i);
    release(&e);
}

/* Share of the points along a-b beside which two pictures differ. */
static double differ_share(const struct image *i, const struct image *j, struct geo_point a,
                           struct geo_point b)
{
    int n = (int)geo_dist(a, b) + 1, hits = 0;
    for (int k = 0; k <= n; k++) {
        struct geo_point p = geo_mix(a, b, (double)k / n);
        size_t at = 3 * ((size_t)lround(p.y) * i->w + (size_t)lround(p.x));
        hits += memcmp(i->rgb + at, j->rgb + at, 3) != 0;
    }
    return (double)hits / (n + 1);
}

static void outlines_and_bounds_are_drawn_and_seen_through(void **state)
{
    (void)state;
    enum { NEAR, PIN_SIDE, BOUND, THINGS };
    struct geo_point a, b;
    for (int thing = 0; thing < THINGS; thing++) {
        struct exam e;
        struct image with = {0}, without = {0};
        make_exam(&e, 1000, 1350);
        draw(&e, false, &with);
        struct mark_path *near = &e.sheet.side[MESIAL].near, *bound = &e.sheet.bound[0].path;
        struct mark *side = e.sheet.pin.side[DISTAL];
        const struct mark *ends[THINGS][2] = {[NEAR] = {&near->at[2], &near->at[8]},
                                              [PIN_SIDE] = {&side[0], &side[1]},
                                              [BOUND] = {&bound->at[0], &bound->at[8]}};
        a = (struct geo_point){ends[thing][0]->x, ends[thing][0]->y};
        b = (struct geo_point){ends[thing][1]->x, ends[thing][1]->y};
        if (thing == PIN_SIDE)
            side[0].set = false;
        else
            (thing == NEAR ? near : bound)->n = 0;
        draw(&e, false, &without);
        double share = differ_share(&with, &without, a, b);
        if (share < 0.25 || share > 0.8)
            fail_msg("thing %d has ink on %.2f of its length", thing, share);
        image_release(&with);
        image_release(&without);
        release(&e);
    }
}

static void the_plan_is_a_broken_outline(void **state)
{
    (void)state;
    struct exam e;
    struct image i = {0};
    struct geo_point a, b;
    make_exam(&e, 1000, 1350);
    draw(&e, false, &i);
    segment(&e, "plan.outline", &a, &b);
    double share = ink_share(&e, &i, a, b);
    assert_true(share > 0.5 && share < 0.95);
    image_release(&i);
    release(&e);
}

static void elsewhere_the_film_is_untouched(void **state)
{
    (void)state;
    struct exam e = {0};
    make_film(&e.film, 600, 800);
    plumb_sheet_init(&e.sheet);
    e.sheet.pin.tip = (struct mark){.set = true, .x = 300.0, .y = 400.0};
    measure(&e);
    struct image i = {0};
    draw(&e, false, &i);
    double em = figure_sizes_for(&e.film).em;
    size_t touched = 0;
    for (size_t y = 0; y < 800; y++)
        for (size_t x = 0; x < 600; x++)
            if (inked(&e, &i, x, y)) {
                touched++;
                assert_true(hypot((double)x - 300.0, (double)y - 400.0) < em);
            }
    assert_true(touched > 20);
    image_release(&i);
    /* And with a legend the film's part is the same. */
    draw(&e, true, &i);
    assert_true(i.w > 600 && i.h >= 800);
    for (size_t y = 0; y < 800; y++)
        for (size_t x = 0; x < 600; x++)
            if (hypot((double)x - 300.0, (double)y - 400.0) >= em)
                assert_false(inked(&e, &i, x, y));
    image_release(&i);
    release(&e);
}

static size_t touched_pixels(const struct exam *e)
{
    struct image i = {0};
    size_t touched = 0;
    draw(e, true, &i);
    for (size_t y = 0; y < e->film.height; y++)
        for (size_t x = 0; x < e->film.width; x++)
            touched += inked(e, &i, x, y);
    image_release(&i);
    return touched;
}

static void a_full_site_leaves_most_of_the_film_bare(void **state)
{
    (void)state;
    struct exam e;
    make_exam(&e, 1400, 1900);
    /* numbers and lines together */
    assert_true(touched_pixels(&e) < 1400 * 1900 / 10);
    e.sheet.n_pins = 0;
    measure(&e);
    assert_true(touched_pixels(&e) < 1400 * 1900 / 12);
    release(&e);
}

static void a_found_mark_makes_a_proposal(void **state)
{
    (void)state;
    struct exam e;
    struct image i[2] = {{0}, {0}};
    make_exam(&e, 700, 900);
    draw(&e, false, &i[0]);
    e.sheet.side[DISTAL].apex.by = MARK_FOUND;
    draw(&e, false, &i[1]);
    /* Near the mark a diamond instead of a ring; away from it a word that was not there. */
    struct geo_point apex = {e.sheet.side[DISTAL].apex.x, e.sheet.side[DISTAL].apex.y};
    double em = figure_sizes_for(&e.film).em;
    size_t near = 0, away = 0;
    for (size_t y = 0; y < 900; y++)
        for (size_t x = 0; x < 700; x++)
            if (memcmp(i[0].rgb + 3 * (y * 700 + x), i[1].rgb + 3 * (y * 700 + x), 3) != 0)
                *(geo_dist(apex, (struct geo_point){(double)x, (double)y}) < em ? &near : &away) +=
                    1;
    assert_true(near > 10);
    assert_true(away > 500);
    image_release(&i[0]);
    image_release(&i[1]);
    struct figure_used used = {0};
    struct ink ink = {0};
    struct err err = {0};
    assert_int_equal(ink_init(&ink, (struct box){-0.5, -0.5, 699.5, 899.5}, &err), 0);
    assert_int_equal(figure_draw(&e, &ink, 0.0, true, &used, &err), 0);
    assert_true(used.by[MARK_FOUND] && used.by[MARK_HAND] && !used.by[MARK_CARRIED]);
    ink_release(&ink);
    /* Confirmed, it is drawn as what a person has placed, to the pixel. */
    struct image placed = {0}, confirmed = {0};
    e.sheet.side[DISTAL].apex.confirmed = true;
    draw(&e, false, &confirmed);
    e.sheet.side[DISTAL].apex = (struct mark){.set = true, .x = apex.x, .y = apex.y};
    draw(&e, false, &placed);
    assert_memory_equal(confirmed.rgb, placed.rgb, 3 * 700 * 900);
    image_release(&placed);
    image_release(&confirmed);
    release(&e);
}

/* --- dimension lines ----------------------------------------------------------------------------
 */

static const struct dimension *named(const struct dimension *d, size_t n, const char *key)
{
    for (size_t i = 0; i < n; i++)
        if (strcmp(d[i].key, key) == 0)
            return &d[i];
    fail_msg("no dimension %s", key);
    return NULL;
}

static void a_dimension_line_is_as_long_as_the_distance(void **state)
{
    (void)state;
    struct exam e;
    struct site s;
    struct dimension d[DIMENSIONS_MAX];
    site_default(&s);
    make_exam(&e, 1000, 1350);
    size_t n = dimensions_make(&e, 18.0, d);
    double k = 20.0 / 1000.0; /* as make_exam draws it */
    struct geo_point pin = {sin(s.pin_deg * degree), cos(s.pin_deg * degree)};
    for (int i = 0; i < SIDES; i++) {
        const char *side = i == MESIAL ? "mesial" : "distal";
        struct geo_point root = {sin(s.root_deg[i] * degree), cos(s.root_deg[i] * degree)};
        /* In the site's own millimetres. */
        const struct {
            const char *what;
            double mm;
        } rows[] = {
            {"level", geo_dot(s.crest[i], pin)},
            {"depth", s.length - geo_dot(s.crest[i], pin)},
            {"stop", geo_dot(s.crest[i], pin) + 2.0},
            {"cej_crest", geo_dot(geo_sub(s.crest[i], s.cej[i]), root)},
            {"root_length", geo_dot(geo_sub(s.apex[i], s.cej[i]), root)},
        };
        for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
            char key[MEAS_ID];
            snprintf(key, sizeof key, "%s.%s", rows[r].what, side);
            const struct dimension *x = named(d, n, key);
            assert_true(x->has_line);
            assert_true(fabs(k * geo_dist(x->a, x->b) - fabs(rows[r].mm)) < 1e-6);
            if (r > 1)
                continue;
            /* It stands between the pin's axis and the crest, clear of both. */
            struct geo_point p, q, crest = {e.sheet.side[i].crest.x, e.sheet.side[i].crest.y};
            struct geo_line axis;
            segment(&e, "axis.pin", &p, &q);
            assert_int_equal(plumb_geo_line_through(p, q, &axis, NULL), 0);
            double share = plumb_geo_across(&axis, x->a) / plumb_geo_across(&axis, crest);
            assert_true(share > 0.3 && share < 0.8);
        }
    }
    release(&e);
}

/* Tips and shoulders of two pins: the drawn line is as long as the value, half way between them. */
static void lines_between_pins_are_what_they_say(void **state)
{
    (void)state;
    struct exam e;
    struct dimension d[DIMENSIONS_MAX];
    make_exam(&e, 1000, 1350);
    size_t n = dimensions_make(&e, 18.0, d);
    const double k = e.result.scale.mm_per_px;
    static const char *const ids[] = {"pins.gap.1-2", "pins.tip.1-2", "pins.shoulder.1-2"};
    for (size_t i = 0; i < sizeof ids / sizeof ids[0]; i++) {
        const struct dimension *x = named(d, n, ids[i]);
        assert_true(x->has_line);
        double mm = plumb_meas_find(&e.result, ids[i])->v.value;
        assert_true(fabs(k * geo_dist(x->a, x->b) - fabs(mm)) < 1e-6);
    }
    assert_false(named(d, n, "pins.angle.1-2")->has_line);
    release(&e);
}

static void no_two_dimension_lines_lie_on_each_other(void **state)
{
    (void)state;
    struct exam e;
    struct dimension d[DIMENSIONS_MAX];
    make_exam(&e, 1000, 1350);
    size_t n = dimensions_make(&e, 18.0, d), lines = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < i && d[i].has_line; j++) {
            struct geo_line l;
            if (!d[j].has_line || plumb_geo_line_through(d[i].a, d[i].b, &l, NULL) != 0)
                continue;
            lines++;
            double inside = 0.0; /* how much of j runs along i, closer than half a lane */
            for (int k = 0; k <= 200; k++) {
                struct geo_point p = geo_mix(d[j].a, d[j].b, k / 200.0);
                double t = plumb_geo_along(&l, p);
                inside += t > 0.0 && t < geo_dist(d[i].a, d[i].b) &&
                          fabs(plumb_geo_across(&l, p)) < 0.5 * 18.0;
            }
            if (inside / 201.0 * geo_dist(d[j].a, d[j].b) > 6.0 * 18.0)
                fail_msg("%s lies on %s", d[j].key, d[i].key);
        }
    assert_true(lines > 50);
    release(&e);
}

static void every_number_is_drawn_once_for_each_quantity(void **state)
{
    (void)state;
    struct exam e;
    struct dimension d[DIMENSIONS_MAX];
    make_exam(&e, 1000, 1350);
    size_t n = dimensions_make(&e, 18.0, d);
    for (size_t q = 0; q < e.result.n_quantities; q++) {
        size_t seen = 0;
        for (size_t i = 0; i < n; i++) {
            char list[NUMBERS], *rest = NULL;
            plumb_text_copy(list, sizeof list, d[i].numbers);
            for (char *word = strtok_r(list, ", ", &rest); word != NULL;
                 word = strtok_r(NULL, ", ", &rest))
                seen += strtoul(word, NULL, 10) == q + 1;
        }
        const char *id = e.result.quantity[q].id;
        size_t want = strcmp(id, "scale") == 0 ? 0 : strcmp(id, "angle.roots") == 0 ? 2 : 1;
        if (seen != want)
            fail_msg("%zu %s: %zu times", q + 1, id, seen);
    }
    release(&e);
}

/* --- pixels -------------------------------------------------------------------------------------
 */

static void a_dim_film_is_stretched_and_a_full_one_is_not(void **state)
{
    (void)state;
    struct exam e = {0};
    struct image i = {0};
    make_film(&e.film, 200, 300);
    plumb_sheet_init(&e.sheet);
    /* 12 bits in the low end, as some writers leave them; one wild pixel at either end. */
    const unsigned lo = 500, span = 3000;
    for (size_t k = 0; k < 200 * 300; k++)
        e.film.grey[k] = (uint16_t)(lo + k % (span + 1));
    e.film.grey[17] = 0;
    e.film.grey[18] = 65535;
    measure(&e);
    draw(&e, false, &i);
    for (size_t k = 0; k < 200 * 300; k++) {
        /* The percentiles leave 0.1 % out at either end: 3 of 3000 greys. */
        double want = 255.0 * ((double)e.film.grey[k] - lo - 3.0) / (span - 6.0);
        want = fmin(fmax(want, 0.0), 255.0);
        assert_true(fabs(i.rgb[3 * k] - want) <= 1.0);
        assert_int_equal(i.rgb[3 * k], i.rgb[3 * k + 2]);
    }
    image_release(&i);
    release(&e);
}

static void every_size_works_and_the_same_exam_gives_the_same_bytes(void **state)
{
    (void)state;
    static const size_t sizes[][2] = {{300, 400}, {400, 300}, {3000, 4000},
                                      {40, 30},   {1, 1},     {5, 900}};
    for (size_t k = 0; k < sizeof sizes / sizeof sizes[0]; k++)
        for (int legend = 0; legend < (sizes[k][0] > 2000 ? 1 : 2); legend++) {
            struct exam e;
            struct image i = {0}, again = {0};
            make_exam(&e, sizes[k][0], sizes[k][1]);
            draw(&e, legend, &i);
            assert_true(i.w >= sizes[k][0] && i.h >= sizes[k][1]);
            assert_true(legend ? i.w > sizes[k][0] + 200 : i.w == sizes[k][0]);
            assert_true(legend || i.h == sizes[k][1]);
            if (sizes[k][0] <= 400) {
                draw(&e, legend, &again);
                assert_int_equal(i.file.len, again.file.len);
                assert_memory_equal(i.file.data, again.file.data, i.file.len);
            }
            image_release(&i);
            image_release(&again);
            release(&e);
        }
}

static void paint(const struct ink *ink, uint8_t *out, int w, int h, int rows)
{
    cairo_surface_t *s = cairo_image_surface_create(CAIRO_FORMAT_RGB24, w, rows);
    cairo_t *cr = cairo_create(s);
    int stride = cairo_image_surface_get_stride(s);
    for (int y = 0; y < h; y += rows) {
        cairo_set_source_rgb(cr, 0.5, 0.5, 0.5);
        cairo_paint(cr);
        ink_paint(ink, cr, y, rows);
        cairo_surface_flush(s);
        for (int r = 0; r < rows && y + r < h; r++)
            memcpy(out + 4 * (size_t)w * (size_t)(y + r),
                   cairo_image_surface_get_data(s) + r * stride, 4 * (size_t)w);
    }
    cairo_destroy(cr);
    cairo_surface_destroy(s);
}

static void bands_have_no_seams(void **state)
{
    (void)state;
    enum { W = 500, H = 650 };
    struct exam e;
    struct ink ink = {0};
    struct figure_used used = {0};
    struct err err = {0};
    make_exam(&e, W, H);
    assert_int_equal(ink_init(&ink, (struct box){-0.5, -0.5, W - 0.5, H - 0.5}, &err), 0);
    assert_int_equal(figure_draw(&e, &ink, 0.0, true, &used, &err), 0);
    uint8_t *whole = malloc(4 * W * H), *bands = malloc(4 * W * H);
    assert_true(whole != NULL && bands != NULL);
    paint(&ink, whole, W, H, H);
    paint(&ink, bands, W, H, 37);
    assert_memory_equal(whole, bands, 4 * W * H);
    free(whole);
    free(bands);
    ink_release(&ink);
    release(&e);
}

/* --- the file
 * ------------------------------------------------------------------------------------- */

static uint32_t big_endian(const char *p)
{
    const unsigned char *u = (const unsigned char *)p;
    return (uint32_t)u[0] << 24 | (uint32_t)u[1] << 16 | (uint32_t)u[2] << 8 | u[3];
}

/* The data of the k-th chunk of a type; NULL when there is none (PNG, 5.3). */
static const char *chunk(const struct buf *file, const char *type, size_t k, uint32_t *len)
{
    for (size_t at = 8; at + 12 <= file->len; at += 12 + *len) {
        *len = big_endian(file->data + at);
        if (memcmp(file->data + at + 4, type, 4) == 0 && k-- == 0)
            return file->data + at + 8;
    }
    return NULL;
}

static const char *text_of(const struct buf *file, const char *key, char out[1024])
{
    static const char *const types[] = {"tEXt", "iTXt"};
    uint32_t len;
    const char *p;
    for (int t = 0; t < 2; t++)
        for (size_t k = 0; (p = chunk(file, types[t], k, &len)) != NULL; k++) {
            size_t head = strlen(key) + (t == 0 ? 1 : 5); /* iTXt: two flags, two empty names */
            if (len < head || strcmp(p, key) != 0)
                continue;
            snprintf(out, 1024, "%.*s", (int)(len - head), p + head);
            return out;
        }
    return NULL;
}

static void the_file_tells_scale_and_provenance(void **state)
{
    (void)state;
    struct exam e;
    struct image i = {0};
    char text[1024];
    uint32_t len;
    make_exam(&e, 400, 500);
    draw(&e, false, &i);
    const char *phys = chunk(&i.file, "pHYs", 0, &len);
    assert_non_null(phys);
    assert_int_equal(len, 9);
    assert_int_equal(big_endian(phys), lround(1000.0 / e.result.scale.mm_per_px));
    assert_int_equal(phys[8], 1); /* metres */
    assert_string_equal(text_of(&i.file, "Software", text), "plumbrule " PLUMB_VERSION);
    assert_non_null(text_of(&i.file, "Title", text));
    assert_non_null(strstr(text, "35"));
    assert_non_null(strstr(text, "2026-03-02"));
    assert_non_null(text_of(&i.file, "Source", text));
    assert_non_null(strstr(text, "site.png"));
    assert_non_null(strstr(text, e.film.sha256));
    assert_non_null(text_of(&i.file, "Comment", text));
    assert_non_null(strstr(text, "no diagnosis"));
    assert_null(chunk(&i.file, "tIME", 0, &len)); /* the same sheet, the same bytes */
    image_release(&i);
    release(&e);
}

static void without_a_scale_there_is_no_pitch(void **state)
{
    (void)state;
    struct exam e;
    struct image i = {0};
    uint32_t len;
    make_exam(&e, 400, 500);
    e.result.scale.from = SCALE_NONE; /* whatever else it holds */
    draw(&e, true, &i);
    assert_null(chunk(&i.file, "pHYs", 0, &len));
    image_release(&i);
    release(&e);
}

/* --- what may go wrong
 * ---------------------------------------------------------------------------- */

static void no_film_and_too_wide_a_film_are_refused(void **state)
{
    (void)state;
    struct exam e = {0};
    struct err err = {0};
    char path[64];
    snprintf(path, sizeof path, "%s/refused.png", folder);
    assert_int_equal(draw_to(&e, true, path, &err), ERR_ARG);
    make_film(&e.film, 40000, 2);
    plumb_sheet_init(&e.sheet);
    measure(&e);
    assert_int_equal(draw_to(&e, false, path, &err), ERR_LIMIT);
    assert_int_not_equal(access(path, F_OK), 0);
    release(&e);
}

static void odd_content_is_drawn_or_left_out(void **state)
{
    (void)state;
    struct exam e;
    struct image i = {0};
    make_exam(&e, 500, 700);
    strcpy(e.sheet.bound[0].what, "not \xff UTF-8");
    strcpy(e.sheet.film.stage, "line\nbreak\ttab");
    e.sheet.pin.stop.x = (double)NAN;
    e.sheet.pin.shoulder.x = -1e300;
    e.sheet.side[MESIAL].crest.y = HUGE_VAL;
    for (size_t k = 0; k < e.result.n_segments; k++) {
        struct meas_segment *s = &e.result.segment[k];
        s->x0 = k % 3 == 0 ? (double)NAN : k % 3 == 1 ? 1e300 : s->x0;
        s->y1 = k % 4 == 0 ? -HUGE_VAL : s->y1;
    }
    memset(e.result.quantity[0].label, 'W', sizeof e.result.quantity[0].label - 1);
    e.result.quantity[1].v.value = (double)NAN;
    e.result.quantity[2].U = (double)NAN;
    free(e.sheet.side[DISTAL].far.at);
    e.sheet.side[DISTAL].far.at = calloc(SHEET_PATH, sizeof(struct mark));
    e.sheet.side[DISTAL].far.n = SHEET_PATH;
    for (size_t k = 0; k < SHEET_PATH; k++)
        e.sheet.side[DISTAL].far.at[k] =
            (struct mark){.set = true, .x = (double)(k * 7919 % 500), .y = (double)(k % 700)};
    draw(&e, true, &i);
    image_release(&i);
    draw(&e, false, &i);
    image_release(&i);
    release(&e);
}

static void running_out_of_memory_is_an_error(void **state)
{
    (void)state;
    struct exam e;
    char path[64];
    make_exam(&e, 120, 160);
    snprintf(path, sizeof path, "%s/memory.png", folder);
    int rc = ERR_NOMEM;
    for (long n = 1; rc != 0; n++) {
        struct err err = {0};
        plumb_mem_fail_after(n);
        rc = draw_to(&e, true, path, &err);
        plumb_mem_fail_after(0);
        assert_true(rc == 0 || rc == ERR_NOMEM);
        assert_true(rc == 0 || err.text[0] != '\0');
        assert_true(n < 1000);
    }
    unlink(path);
    release(&e);
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) == NULL;
}

static int drop_folder(void **state)
{
    (void)state;
    return rmdir(folder);
}

int main(void)
{
    /* A complaint of the drawing library on standard error is a failure. */
    g_log_set_always_fatal((GLogLevelFlags)(G_LOG_LEVEL_CRITICAL | G_LOG_LEVEL_WARNING));
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_measured_is_hidden),
        cmocka_unit_test(lines_are_where_the_geometry_is),
        cmocka_unit_test(outlines_and_bounds_are_drawn_and_seen_through),
        cmocka_unit_test(the_plan_is_a_broken_outline),
        cmocka_unit_test(elsewhere_the_film_is_untouched),
        cmocka_unit_test(a_full_site_leaves_most_of_the_film_bare),
        cmocka_unit_test(lines_between_pins_are_what_they_say),
        cmocka_unit_test(a_found_mark_makes_a_proposal),
        cmocka_unit_test(a_dimension_line_is_as_long_as_the_distance),
        cmocka_unit_test(no_two_dimension_lines_lie_on_each_other),
        cmocka_unit_test(every_number_is_drawn_once_for_each_quantity),
        cmocka_unit_test(a_dim_film_is_stretched_and_a_full_one_is_not),
        cmocka_unit_test(every_size_works_and_the_same_exam_gives_the_same_bytes),
        cmocka_unit_test(bands_have_no_seams),
        cmocka_unit_test(the_file_tells_scale_and_provenance),
        cmocka_unit_test(without_a_scale_there_is_no_pitch),
        cmocka_unit_test(no_film_and_too_wide_a_film_are_refused),
        cmocka_unit_test(odd_content_is_drawn_or_left_out),
        cmocka_unit_test(running_out_of_memory_is_an_error),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
