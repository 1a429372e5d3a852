/*
 * Places for labels. What must hold is told by plane geometry on the finished places, checked by
 * dense sampling, for many random drawings: no two labels overlap, none covers a mark or a line,
 * none leaves its area, no leader runs through a label.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "plumbrule/metrology.h"
#include "record/record_internal.h"

enum { LABELS = 40, LINES = 30, MARKS = 20, ROUNDS = 250 };

struct drawing {
    struct box film, gutter;
    double em;
    struct geo_point line[LINES][2], mark[MARKS];
    double mark_r;
    size_t n_lines, n_marks, n_labels;
    struct label label[LABELS];
    struct field field;
};

static double between(struct unc_rng *r, double lo, double hi)
{
    return lo + (hi - lo) * plumb_unc_rng_uniform(r);
}

static struct geo_point somewhere(struct unc_rng *r, struct box b)
{
    double x = between(r, b.x0, b.x1);
    return (struct geo_point){x, between(r, b.y0, b.y1)};
}

static void random_drawing(struct unc_rng *r, struct drawing *d)
{
    *d = (struct drawing){.em = 12.0, .film = {-0.5, -0.5, between(r, 120.0, 900.0), 0.0}};
    d->film.y1 = between(r, 120.0, 1200.0);
    d->em = fmax(12.0, (d->film.y1 - d->film.y0) / 75.0);
    d->gutter = d->film;
    d->gutter.x0 = d->film.x1;
    d->gutter.x1 = d->film.x1 + (between(r, 0.0, 1.0) < 0.5 ? 0.0 : 2.6 * d->em);
    d->n_lines = (size_t)between(r, 0.0, LINES);
    d->n_marks = (size_t)between(r, 0.0, MARKS);
    d->n_labels = (size_t)between(r, 1.0, LABELS);
    d->mark_r = 0.5 * d->em;
    for (size_t i = 0; i < d->n_lines; i++)
        for (int k = 0; k < 2; k++)
            d->line[i][k] = somewhere(r, d->film);
    for (size_t i = 0; i < d->n_marks; i++)
        d->mark[i] = somewhere(r, d->film);
    for (size_t i = 0; i < d->n_labels; i++) {
        struct label *l = &d->label[i];
        l->h = 1.5 * d->em;
        l->w = between(r, 1.0, 4.0) * l->h;
        l->a = l->b = somewhere(r, d->film);
        if (i < d->n_lines) { /* the label of a line; the others are labels of points */
            l->a = d->line[i][0];
            l->b = d->line[i][1];
        }
    }
}

static void place_all(struct drawing *d)
{
    struct err err = {0};
    struct box area = d->film;
    area.x1 = d->gutter.x1;
    if (field_init(&d->field, area, 0.25 * d->em, &err) != 0)
        fail_msg("%s", err.text);
    for (size_t i = 0; i < d->n_lines; i++)
        field_take_line(&d->field, d->line[i][0], d->line[i][1], 1.0, CELL_INK);
    for (size_t i = 0; i < d->n_marks; i++)
        field_take_line(&d->field, d->mark[i], d->mark[i], d->mark_r, CELL_INK);
    struct label_params p = {d->film, d->gutter, 0.7 * d->em, 9.0 * d->em, 0.5 * d->em};
    label_place_all(&d->field, &p, d->label, d->n_labels);
}

static bool holds(struct box b, struct geo_point p)
{
    return p.x > b.x0 && p.x < b.x1 && p.y > b.y0 && p.y < b.y1;
}

/* Does any of the points along a-b, a quarter of a pixel apart, lie in the box? */
static bool runs_through(struct box b, struct geo_point from, struct geo_point to)
{
    int n = (int)(4.0 * geo_dist(from, to)) + 1;
    for (int i = 0; i <= n; i++)
        if (holds(b, geo_mix(from, to, (double)i / n)))
            return true;
    return false;
}

static double distance_to(struct box b, struct geo_point p)
{
    return hypot(fmax(fmax(b.x0 - p.x, p.x - b.x1), 0.0), fmax(fmax(b.y0 - p.y, p.y - b.y1), 0.0));
}

static void check_inside(const struct drawing *d, const struct label *l)
{
    bool in_film = l->box.x0 >= d->film.x0 && l->box.x1 <= d->film.x1;
    bool in_gutter = l->box.x0 >= d->gutter.x0 && l->box.x1 <= d->gutter.x1;
    assert_true(in_film || in_gutter);
    assert_true(l->box.y0 >= d->film.y0 && l->box.y1 <= d->film.y1);
    assert_true(fabs(l->box.x1 - l->box.x0 - l->w) < 1e-9);
    assert_true(fabs(l->box.y1 - l->box.y0 - l->h) < 1e-9);
}

static void check_label(const struct drawing *d, size_t i)
{
    const struct label *l = &d->label[i];
    check_inside(d, l);
    for (size_t k = 0; k < d->n_lines; k++)
        assert_false(runs_through(l->box, d->line[k][0], d->line[k][1]));
    for (size_t k = 0; k < d->n_marks; k++)
        assert_true(distance_to(l->box, d->mark[k]) >= d->mark_r);
    for (size_t k = 0; k < d->n_labels; k++) {
        const struct box *o = &d->label[k].box;
        if (k == i || !d->label[k].placed)
            continue;
        assert_true(l->box.x1 <= o->x0 || o->x1 <= l->box.x0 || l->box.y1 <= o->y0 ||
                    o->y1 <= l->box.y0);
        if (l->has_leader)
            assert_false(runs_through(*o, l->leader[0], l->leader[1]));
    }
}

/* The leader runs from the named thing to the label's edge, and is there when they are apart. */
static void check_leader(const struct drawing *d, const struct label *l)
{
    struct geo_point line[2] = {l->a, l->b};
    if (l->has_leader) {
        assert_true(plumb_geo_polyline_nearest(line, 2, l->leader[0], NULL, NULL) < 1e-6);
        assert_true(distance_to(l->box, l->leader[1]) < 1e-9);
        assert_false(holds(l->box, l->leader[1]));
        return;
    }
    double nearest = HUGE_VAL;
    for (int i = 0; i <= 1000; i++)
        nearest = fmin(nearest, distance_to(l->box, geo_mix(l->a, l->b, i / 1000.0)));
    assert_true(nearest <= 0.7 * d->em + 1e-6);
}

static void labels_keep_clear_of_everything(void **state)
{
    (void)state;
    struct unc_rng r;
    size_t placed = 0, all = 0, leaders = 0;
    plumb_unc_rng_seed(&r, 20260302);
    for (int round = 0; round < ROUNDS; round++) {
        static struct drawing d;
        random_drawing(&r, &d);
        place_all(&d);
        for (size_t i = 0; i < d.n_labels; i++) {
            all++;
            if (!d.label[i].placed)
                continue;
            placed++;
            leaders += d.label[i].has_leader;
            check_label(&d, i);
            check_leader(&d, &d.label[i]);
        }
        field_release(&d.field);
    }
    /* A placer that places nothing would pass the rest. */
    assert_true(placed > 9 * all / 10);
    assert_true(leaders > all / 50);
}

static void the_same_drawing_has_the_same_places(void **state)
{
    (void)state;
    static struct drawing d[2];
    for (int i = 0; i < 2; i++) {
        struct unc_rng r;
        plumb_unc_rng_seed(&r, 7);
        random_drawing(&r, &d[i]);
        place_all(&d[i]);
        field_release(&d[i].field);
    }
    assert_memory_equal(d[0].label, d[1].label, d[0].n_labels * sizeof d[0].label[0]);
}

static void with_room_every_label_is_near_its_thing(void **state)
{
    (void)state;
    static struct drawing d;
    d = (struct drawing){.em = 20.0, .film = {0.0, 0.0, 1000.0, 1000.0}, .n_labels = 9};
    d.gutter = (struct box){1000.0, 0.0, 1000.0, 1000.0};
    d.n_marks = 9;
    d.mark_r = 10.0;
    for (int i = 0; i < 9; i++) {
        struct geo_point p = {150.0 + 350.0 * (i % 3), 150.0 + 350.0 * (double)(i / 3)};
        d.mark[i] = p;
        d.label[i] = (struct label){.w = 40.0, .h = 30.0, .a = p, .b = p};
    }
    place_all(&d);
    for (size_t i = 0; i < d.n_labels; i++) {
        assert_true(d.label[i].placed);
        assert_true(distance_to(d.label[i].box, d.label[i].a) < 2.0 * d.em);
    }
    field_release(&d.field);
}

static void a_full_film_sends_labels_to_the_gutter(void **state)
{
    (void)state;
    struct err err = {0};
    struct field f;
    struct box film = {0.0, 0.0, 400.0, 400.0}, gutter = {400.0, 0.0, 450.0, 400.0};
    struct geo_point p = {200.0, 200.0};
    struct label l[3] = {{.w = 30.0, .h = 20.0, .a = p, .b = p},
                         {.w = 30.0, .h = 20.0, .a = p, .b = p},
                         {.w = 60.0, .h = 20.0, .a = p, .b = p}};
    assert_int_equal(field_init(&f, (struct box){0.0, 0.0, 450.0, 400.0}, 4.0, &err), 0);
    field_take_box(&f, film, CELL_INK);
    struct label_params params = {film, gutter, 10.0, 100.0, 8.0};
    label_place_all(&f, &params, l, 3);
    for (int i = 0; i < 2; i++) {
        assert_true(l[i].placed && l[i].has_leader);
        assert_true(l[i].box.x0 >= 400.0 && l[i].box.x1 <= 450.0);
        assert_true(l[i].box.y0 > 100.0 && l[i].box.y1 < 300.0); /* about its own height */
    }
    assert_false(l[2].placed); /* wider than the gutter */
    field_release(&f);
}

static void a_corner_box_is_free(void **state)
{
    (void)state;
    struct err err = {0};
    struct field f;
    struct box film = {0.0, 0.0, 300.0, 200.0}, b, c, none;
    assert_int_equal(field_init(&f, film, 5.0, &err), 0);
    field_take_box(&f, (struct box){0.0, 150.0, 40.0, 200.0}, CELL_INK);
    assert_true(box_place_corner(&f, film, 80.0, 30.0, &b));
    assert_true(b.x1 == 300.0 && b.y1 == 200.0); /* the other corner */
    assert_true(box_place_corner(&f, film, 80.0, 30.0, &c));
    assert_true(c.x0 >= 40.0 && c.x1 <= b.x0 && c.y1 == 200.0);
    assert_false(box_place_corner(&f, film, 301.0, 10.0, &none));
    field_take_box(&f, film, CELL_INK);
    assert_false(box_place_corner(&f, film, 10.0, 10.0, &none));
    field_release(&f);
}

static void a_field_refuses_what_has_no_area(void **state)
{
    (void)state;
    struct err err = {0};
    struct field f;
    assert_int_equal(field_init(&f, (struct box){0.0, 0.0, 0.0, 5.0}, 1.0, &err), ERR_ARG);
    assert_int_equal(field_init(&f, (struct box){0.0, 0.0, NAN, 5.0}, 1.0, &err), ERR_ARG);
    /* A huge one gets larger cells, not more memory. */
    assert_int_equal(field_init(&f, (struct box){0.0, 0.0, 3e4, 3e4}, 1.0, &err), 0);
    assert_true(f.nx * f.ny <= 5000000);
    field_release(&f);
    plumb_mem_fail_after(1);
    assert_int_equal(field_init(&f, (struct box){0.0, 0.0, 10.0, 10.0}, 1.0, &err), ERR_NOMEM);
    plumb_mem_fail_after(0);
}

/* --- cutting ---------------------------------------------------------------------------------- */

static bool in_pieces(double t, double (*pieces)[2], size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (t >= pieces[i][0] && t <= pieces[i][1])
            return true;
    return false;
}

static void a_cut_line_is_what_lies_outside_the_discs(void **state)
{
    (void)state;
    enum { DISCS = 12 };
    struct unc_rng r;
    plumb_unc_rng_seed(&r, 35);
    struct box area = {0.0, 0.0, 100.0, 100.0};
    for (int round = 0; round < 2000; round++) {
        struct disc d[DISCS];
        double pieces[DISCS + 1][2];
        size_t n = (size_t)between(&r, 0.0, DISCS + 0.99), skip = (size_t)between(&r, 0.0, 13.0);
        struct geo_point a = somewhere(&r, area), b = somewhere(&r, area);
        for (size_t i = 0; i < n; i++)
            d[i] = (struct disc){somewhere(&r, area), between(&r, 0.0, 30.0)};
        size_t count = cut_by_discs(a, b, d, n, skip, pieces);
        assert_true(count <= n + 1);
        for (int k = 0; k <= 200; k++) {
            double t = k / 200.0, nearest = HUGE_VAL;
            for (size_t i = 0; i < n; i++)
                if (i != skip)
                    nearest = fmin(nearest, geo_dist(geo_mix(a, b, t), d[i].at) - d[i].r);
            if (fabs(nearest) > 1e-6)
                assert_int_equal(in_pieces(t, pieces, count), nearest > 0.0);
        }
        for (size_t i = 1; i < count; i++)
            assert_true(pieces[i][0] > pieces[i - 1][1]);
    }
}

static void a_clipped_line_is_what_lies_in_the_box(void **state)
{
    (void)state;
    struct unc_rng r;
    plumb_unc_rng_seed(&r, 36);
    struct box box = {10.0, 20.0, 60.0, 50.0}, area = {-20.0, -20.0, 100.0, 100.0};
    for (int round = 0; round < 2000; round++) {
        struct geo_point a = somewhere(&r, area), b = somewhere(&r, area);
        if (round % 4 == 0)
            b.x = a.x; /* along a border */
        if (round % 4 == 1)
            b.y = a.y;
        struct geo_point p = a, q = b;
        bool any = clip_to_box(box, &p, &q);
        for (int k = 0; k <= 300; k++) {
            struct geo_point x = geo_mix(a, b, k / 300.0);
            if (!holds(box, x))
                continue;
            assert_true(any);
            assert_true(geo_dist(p, x) + geo_dist(x, q) - geo_dist(p, q) < 1e-6);
        }
        assert_true(any || !runs_through(box, a, b));
        if (any)
            assert_true(distance_to(box, p) < 1e-9 && distance_to(box, q) < 1e-9);
    }
    struct geo_point a = {NAN, 0.0}, b = {5.0, 5.0};
    assert_false(clip_to_box(box, &a, &b));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(labels_keep_clear_of_everything),
        cmocka_unit_test(the_same_drawing_has_the_same_places),
        cmocka_unit_test(with_room_every_label_is_near_its_thing),
        cmocka_unit_test(a_full_film_sends_labels_to_the_gutter),
        cmocka_unit_test(a_corner_box_is_free),
        cmocka_unit_test(a_field_refuses_what_has_no_area),
        cmocka_unit_test(a_cut_line_is_what_lies_outside_the_discs),
        cmocka_unit_test(a_clipped_line_is_what_lies_in_the_box),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
