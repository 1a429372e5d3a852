/*
 * Where and how the film is shown. Truth: the transforms undone by hand, and a brute-force mean
 * over each window pixel's own area.
 */
#include "viewer/view_internal.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <cmocka.h>
#include <string.h>

enum { W = 120, H = 90 };
static const struct view_box room = {10.0, 20.0, 210.0, 170.0};

static void film_make(struct film *f)
{
    *f = (struct film){.width = W, .height = H};
    f->grey = plumb_mem_array((size_t)W * H, sizeof *f->grey, NULL);
    unsigned seed = 12345;
    for (size_t i = 0; i < (size_t)W * H; i++) {
        seed = seed * 1103515245u + 12345u;
        f->grey[i] = (uint16_t)(20000 + 200 * (i % W) + 100 * (i / W) + (seed >> 24) * 20);
    }
}

static struct view_transform transform(int turn, double scale)
{
    struct view_transform t = {.scale = 1.0, .turn = turn, .film_w = W, .film_h = H};
    view_fit(&t, room);
    if (scale > 0.0)
        view_zoom(&t, room, (struct geo_point){110.0, 95.0}, scale);
    return t;
}

static void assert_near(struct geo_point a, struct geo_point b, double by)
{
    assert_true(geo_dist(a, b) <= by);
}

/* Each side of the upright box about a leaning film has one of its corners on it. */
static void corners_touch_the_box(const struct view_transform *t)
{
    struct view_box b = view_film_box(t);
    struct view_box c = {1e9, 1e9, -1e9, -1e9};
    for (int i = 0; i < 4; i++) {
        struct geo_point p =
            view_to_window(t, (struct geo_point){i % 2 ? W - 0.5 : -0.5, i / 2 ? H - 0.5 : -0.5});
        c = (struct view_box){fmin(c.x0, p.x), fmin(c.y0, p.y), fmax(c.x1, p.x), fmax(c.y1, p.y)};
    }
    assert_true(fabs(b.x0 - c.x0) + fabs(b.y0 - c.y0) + fabs(b.x1 - c.x1) + fabs(b.y1 - c.y1) <
                1e-6);
}

static void film_to_window_and_back(void **state)
{
    (void)state;
    static const double scales[] = {0.0, 0.31, 1.0, 7.5};
    for (int turn = 0; turn < 4; turn++)
        for (size_t k = 0; k < 4; k++) {
            struct view_transform t = transform(turn, scales[k]);
            struct geo_point p = {17.25, 63.5};
            assert_near(view_to_film(&t, view_to_window(&t, p)), p, 1e-9);
            view_turn_to(&t, room, turn, 0.3);
            assert_near(view_to_film(&t, view_to_window(&t, p)), p, 1e-9);
            corners_touch_the_box(&t);
            t.lean = 0.0;
            /* the film's corner pixels' outer corners are the corners of its box */
            struct view_box b = view_film_box(&t);
            struct geo_point c = view_to_window(&t, (struct geo_point){-0.5, -0.5});
            assert_true((c.x == b.x0 || c.x == b.x1) && (c.y == b.y0 || c.y == b.y1));
        }
}

/* A quarter turn clockwise takes what was up to the right. */
static void turns_are_clockwise(void **state)
{
    (void)state;
    static const struct geo_point up[] = {{0, -1}, {1, 0}, {0, 1}, {-1, 0}};
    for (int turn = 0; turn < 4; turn++) {
        struct view_transform t = transform(turn, 2.0);
        struct geo_point a = view_to_window(&t, (struct geo_point){50, 50});
        struct geo_point b = view_to_window(&t, (struct geo_point){50, 49});
        assert_near(geo_sub(b, a), geo_mul(up[turn], 2.0), 1e-9);
        /* and an arrow key goes where it points, on the screen */
        struct geo_point step = view_step_to_film(&t, up[turn]);
        assert_near(step, (struct geo_point){0, -1}, 1e-9);
    }
    double lean;
    assert_int_equal(view_turn_for((struct geo_point){0.1, 0.9}, false, &lean), 0);
    assert_int_equal(view_turn_for((struct geo_point){0.1, 0.9}, true, &lean), 2);
    assert_int_equal(view_turn_for((struct geo_point){1.0, 0.1}, false, &lean), 1);
    assert_int_equal(view_turn_for((struct geo_point){1.0, 0.1}, true, &lean), 3);
    /* with the lean the apex stands straight up or down, whichever way it lay */
    for (int i = 0; i < 48; i++) {
        double angle = 0.13 + i * 3.14159265358979 / 24.0;
        struct geo_point a = {cos(angle), sin(angle)}, o = {60.0, 45.0};
        struct view_transform t = transform(i % 4, 1.5);
        int turn = view_turn_for(a, i % 2 == 0, &lean);
        assert_true(fabs(lean) <= 0.7854);
        view_turn_to(&t, room, turn, lean);
        struct geo_point d = geo_sub(view_to_window(&t, geo_add(o, a)), view_to_window(&t, o));
        assert_near(d, (struct geo_point){0.0, i % 2 == 0 ? -1.5 : 1.5}, 1e-9);
        assert_near(view_step_to_film(&t, (struct geo_point){0.0, i % 2 == 0 ? -1.0 : 1.0}), a,
                    1e-9);
    }
}

static void zoom_stays_at_the_pointer(void **state)
{
    (void)state;
    struct view_transform t = transform(1, 0.0);
    struct geo_point at = {90.0, 80.0}, film = view_to_film(&t, at);
    for (int i = 0; i < 10; i++) {
        view_zoom(&t, room, at, t.scale * 1.3);
        /* the offset is whole, so half a window px may be lost a step */
        assert_near(view_to_window(&t, film), at, 0.75 * (i + 1));
        assert_true(t.ox == round(t.ox) && t.oy == round(t.oy));
    }
    view_pan(&t, room, 1e6, -1e6);
    struct view_box b = view_film_box(&t);
    assert_true(view_box_meets(b, room)); /* it cannot be lost */
}

/* Mean of the film over the window px, by a fine grid of samples of the nearest film px. */
static double mean_over(const struct film *f, const struct view_transform *t, double x, double y)
{
    enum { N = 40 };
    double sum = 0.0;
    for (int i = 0; i < N; i++)
        for (int k = 0; k < N; k++) {
            struct geo_point p =
                view_to_film(t, (struct geo_point){x + (i + 0.5) / N, y + (k + 0.5) / N});
            long cx = lround(p.x), cy = lround(p.y);
            cx = cx < 0 ? 0 : cx >= W ? W - 1 : cx;
            cy = cy < 0 ? 0 : cy >= H ? H - 1 : cy;
            sum += f->grey[cy * W + cx];
        }
    return sum / (N * N);
}

static void smaller_is_the_mean_of_its_area(void **state)
{
    (void)state;
    struct film f;
    struct view_raster r;
    struct err err;
    film_make(&f);
    /* Weights are kept to 1/256, the film's noise spans 5000. At a quarter the halved levels may
     * lie half a px beside the window's: a little softer than the mean. */
    static const double scales[] = {0.9, 0.6, 0.5, 0.25}, most[] = {150, 150, 150, 700};
    for (int turn = 0; turn < 4; turn++)
        for (size_t k = 0; k < 4; k++) {
            struct view_pyramid p = {0};
            struct view_transform t = transform(turn, scales[k]);
            assert_int_equal(view_raster_init(&r, room, &err), 0);
            assert_int_equal(view_raster_update(&r, &p, &f, &t, &err), 0);
            struct view_box b = view_film_box(&t);
            for (double y = b.y0 + 2; y < b.y1 - 3; y += 3)
                for (double x = b.x0 + 2; x < b.x1 - 3; x += 3) {
                    double want = mean_over(&f, &t, x, y);
                    size_t i = (size_t)(y - room.y0) * r.w + (size_t)(x - room.x0);
                    assert_true(fabs(r.grey[i] - want) < most[k]);
                }
            view_raster_release(&r);
            view_pyramid_release(&p);
        }
    free(f.grey);
}

/* Truth: the film sampled between its pixels where the window's px lies. */
static void a_leaning_film_is_sampled_where_it_lies(void **state)
{
    (void)state;
    struct film f;
    struct view_raster r;
    struct err err;
    film_make(&f);
    for (int turn = 0; turn < 4; turn++) {
        struct view_pyramid p = {0};
        struct view_transform t = transform(turn, 1.7);
        view_turn_to(&t, room, turn, turn % 2 ? -0.21 : 0.4);
        assert_int_equal(view_raster_init(&r, room, &err), 0);
        assert_int_equal(view_raster_update(&r, &p, &f, &t, &err), 0);
        size_t seen = 0;
        for (size_t y = 0; y < r.h; y++) {
            double x0 = 0.0, x1 = 0.0, wy = room.y0 + (double)y + 0.5;
            bool any = view_film_span(&t, wy, &x0, &x1);
            for (size_t x = 0; x < r.w; x++) {
                struct geo_point w = {room.x0 + (double)x + 0.5, wy}, q = view_to_film(&t, w);
                assert_int_equal(view_on_film(&t, w), any && w.x >= x0 && w.x < x1);
                if (q.x < 0.0 || q.y < 0.0 || q.x > W - 1.0 || q.y > H - 1.0)
                    continue;
                seen++; /* weights are kept to 1/256, the film's noise spans 5000 */
                assert_true(fabs(r.grey[y * r.w + x] - plumb_film_sample(&f, q.x, q.y)) < 150.0);
            }
        }
        assert_true(seen > 10000);
        view_raster_release(&r);
        view_pyramid_release(&p);
    }
    free(f.grey);
}

static void a_move_is_as_good_as_drawing_anew(void **state)
{
    (void)state;
    static const long moves[][2] = {{7, -3}, {-20, 11}, {0, 40}, {-13, 0}, {150, 120}};
    struct film f;
    struct err err;
    film_make(&f);
    for (int i = 0; i < 8; i++) {
        struct view_raster kept, fresh;
        struct view_pyramid p = {0};
        struct view_transform t = transform(i % 4, i % 2 ? 0.43 : 2.7);
        view_turn_to(&t, room, i % 4, i < 4 ? 0.0 : 0.15);
        view_raster_init(&kept, room, &err);
        view_raster_update(&kept, &p, &f, &t, &err);
        for (size_t m = 0; m < sizeof moves / sizeof moves[0]; m++) {
            t.ox += (double)moves[m][0];
            t.oy += (double)moves[m][1];
            view_raster_update(&kept, &p, &f, &t, &err);
            view_raster_init(&fresh, room, &err);
            view_raster_update(&fresh, &p, &f, &t, &err);
            for (size_t k = 0; k < kept.w * kept.h; k++) /* to the rounding of a tap */
                assert_true(abs(kept.grey[k] - fresh.grey[k]) <= 64);
            view_raster_release(&fresh);
        }
        view_raster_release(&kept);
        view_pyramid_release(&p);
    }
    free(f.grey);
}

static void tone_runs_from_black_to_white(void **state)
{
    (void)state;
    struct film f;
    film_make(&f);
    struct view_tone t;
    static uint8_t table[65536];
    view_tone_init(&t, &f);
    assert_true(t.low > 20000.0 && t.high > t.low + 10000.0);
    view_tone_table(&t, table);
    assert_int_equal(table[0], 0);
    assert_int_equal(table[65535], 255);
    for (int i = 1; i < 65536; i++)
        assert_true(table[i] >= table[i - 1]);
    t.inverted = true;
    view_tone_table(&t, table);
    assert_int_equal(table[0], 255);
    assert_int_equal(table[65535], 0);
    free(f.grey);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(film_to_window_and_back),
        cmocka_unit_test(turns_are_clockwise),
        cmocka_unit_test(zoom_stays_at_the_pointer),
        cmocka_unit_test(smaller_is_the_mean_of_its_area),
        cmocka_unit_test(a_leaning_film_is_sampled_where_it_lies),
        cmocka_unit_test(a_move_is_as_good_as_drawing_anew),
        cmocka_unit_test(tone_runs_from_black_to_white),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
