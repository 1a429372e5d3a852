/*
 * Polylines: cases whose answer is plain, and random ones against dense sampling (which can only
 * come out farther, by at most the sampling step).
 */
#include "tests/support/close.h"

#include "plumbrule/geometry.h"
#include "plumbrule/metrology.h"

static const struct geo_point elbow[] = {{0, 0}, {10, 0}, {10, 10}};

static void nearest_point_cases(void **state)
{
    (void)state;
    static const struct {
        struct geo_point p, want;
        double dist;
        size_t seg;
    } table[] = {
        {{5, 3}, {5, 0}, 3, 0},                      /* beside the middle */
        {{-3, -4}, {0, 0}, 5, 0},                    /* before the start */
        {{13, 14}, {10, 10}, 5, 1},                  /* after the end */
        {{12, 5}, {10, 5}, 2, 1},                    /* beside the second segment */
        {{11, -1}, {10, 0}, 1.41421356237309505, 0}, /* outside the corner */
        {{10, 7}, {10, 7}, 0, 1},                    /* on it */
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct geo_point q;
        size_t seg;
        assert_close(plumb_geo_polyline_nearest(elbow, 3, table[i].p, &q, &seg), table[i].dist,
                     1e-14);
        assert_close(geo_dist(q, table[i].want), 0.0, 1e-14);
        assert_int_equal(seg, table[i].seg);
    }
    assert_close(plumb_geo_polyline_nearest(elbow, 3, (struct geo_point){5, 3}, NULL, NULL), 3.0,
                 1e-14);
}

static void single_and_repeated_points(void **state)
{
    (void)state;
    struct geo_point same[] = {{1, 1}, {1, 1}, {1, 1}}, q;
    assert_close(plumb_geo_polyline_nearest(same, 1, (struct geo_point){4, 5}, &q, NULL), 5.0, 0);
    assert_close(plumb_geo_polyline_nearest(same, 3, (struct geo_point){4, 5}, &q, NULL), 5.0, 0);
    assert_close(plumb_geo_polyline_segment(same, 3, (struct geo_point){4, 0},
                                            (struct geo_point){4, 9}, &q, NULL),
                 3.0, 0);
    assert_close(q.y, 1.0, 0);
    assert_close(plumb_geo_polyline_segment(elbow, 3, (struct geo_point){4, 2},
                                            (struct geo_point){4, 2}, NULL, NULL),
                 2.0, 0);
    assert_close(plumb_geo_polyline_segment(same, 1, (struct geo_point){1, 4},
                                            (struct geo_point){5, 1}, NULL, &q),
                 2.4, 1e-15);
    assert_nan(plumb_geo_polyline_nearest(same, 0, q, NULL, NULL));
    assert_nan(plumb_geo_polyline_segment(same, 0, q, q, NULL, NULL));
    assert_close(plumb_geo_polyline_length(elbow, 3), 20.0, 0);
    assert_close(plumb_geo_polyline_length(elbow, 1), 0.0, 0);
    assert_close(plumb_geo_polyline_length(elbow, 0), 0.0, 0);
}

static void segment_cases(void **state)
{
    (void)state;
    static const struct {
        struct geo_point a, b;
        double dist;
        struct geo_point on_line;
    } table[] = {
        {{5, -5}, {5, 5}, 0, {5, 0}},   /* crosses */
        {{5, 0}, {5, 5}, 0, {5, 0}},    /* touches with its end */
        {{2, 0}, {8, 0}, 0, {2, 0}},    /* lies in it */
        {{12, 2}, {15, 2}, 2, {10, 2}}, /* end to side */
        {{20, -10}, {11, -1}, 1.41421356237309505, {10, 0}},
        {{8, 12}, {12, 12}, 2, {10, 10}}, /* side to end */
        {{0, 2}, {9, 2}, 1, {10, 2}},     /* nearer to the second segment */
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct geo_point p, q;
        double d = plumb_geo_polyline_segment(elbow, 3, table[i].a, table[i].b, &p, &q);
        assert_close(d, table[i].dist, 1e-14);
        assert_close(geo_dist(q, table[i].on_line), 0.0, 1e-14);
        assert_close(geo_dist(p, q), d, 1e-14);
    }
}

static double by_sampling(const struct geo_point *pts, size_t n, struct geo_point a,
                          struct geo_point b)
{
    double least = HUGE_VAL;
    for (int s = 0; s <= 400; s++)
        least =
            fmin(least, plumb_geo_polyline_nearest(pts, n, geo_mix(a, b, s / 400.0), NULL, NULL));
    return least;
}

static double nearest_by_sampling(const struct geo_point *pts, size_t n, struct geo_point p)
{
    double least = HUGE_VAL;
    for (size_t i = 0; i + 1 < n; i++)
        for (int s = 0; s <= 400; s++)
            least = fmin(least, geo_dist(p, geo_mix(pts[i], pts[i + 1], s / 400.0)));
    return least;
}

static struct geo_point random_point(struct unc_rng *r)
{
    double x = 10.0 * plumb_unc_rng_uniform(r);
    return (struct geo_point){x, 10.0 * plumb_unc_rng_uniform(r)};
}

static void random_polylines_against_sampling(void **state)
{
    (void)state;
    struct unc_rng r;
    plumb_unc_rng_seed(&r, 7);
    for (int trial = 0; trial < 300; trial++) {
        struct geo_point pts[5], a = random_point(&r), b = random_point(&r), p, q;
        for (size_t i = 0; i < 5; i++)
            pts[i] = random_point(&r);
        double near = plumb_geo_polyline_nearest(pts, 5, a, &q, NULL);
        double sampled = nearest_by_sampling(pts, 5, a);
        assert_true(near <= sampled + 1e-12 && near >= sampled - 0.02);
        assert_close(geo_dist(a, q), near, 1e-14);
        double d = plumb_geo_polyline_segment(pts, 5, a, b, &p, &q);
        sampled = by_sampling(pts, 5, a, b);
        assert_true(d <= sampled + 1e-12 && d >= sampled - 0.02);
        const struct geo_point ab[] = {a, b};
        assert_close(plumb_geo_polyline_nearest(ab, 2, p, NULL, NULL), 0.0, 1e-12);
        assert_close(plumb_geo_polyline_nearest(pts, 5, q, NULL, NULL), 0.0, 1e-12);
    }
}

static void crossing_cases(void **state)
{
    (void)state;
    /* crosses the x axis at 1, 3 and 5 */
    static const struct geo_point zigzag[] = {{0, 1}, {2, -1}, {4, 1}, {6, -1}};
    const struct geo_line axis = {.dir = {1, 0}};
    static const struct {
        double prefer, want;
    } table[] = {{-9, 1}, {1.9, 1}, {2.1, 3}, {3.9, 3}, {4.1, 5}, {100, 5}};
    struct geo_point at;
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        assert_true(plumb_geo_polyline_cross(zigzag, 4, &axis, table[i].prefer, 0.0, &at));
        assert_close(at.x, table[i].want, 1e-14);
        assert_close(at.y, 0.0, 1e-14);
    }
    const struct geo_line above = {.at = {0, 1.5}, .dir = {1, 0}};
    assert_false(plumb_geo_polyline_cross(zigzag, 4, &above, 0.0, 0.0, &at));
    const struct geo_line touch = {.at = {0, 1}, .dir = {1, 0}};
    assert_true(plumb_geo_polyline_cross(zigzag, 4, &touch, 5.0, 0.0, &at));
    assert_close(at.x, 4.0, 1e-14); /* at a corner */
    assert_true(plumb_geo_polyline_cross(zigzag, 4, &touch, -5.0, 0.0, &at));
    assert_close(at.x, 0.0, 1e-14); /* at an end */
    const struct geo_line low = {.at = {0, -1}, .dir = {1, 0}};
    assert_true(plumb_geo_polyline_cross(zigzag, 4, &low, 9.0, 0.0, &at));
    assert_close(at.x, 6.0, 1e-14);
}

static void ends_reach_further_when_asked(void **state)
{
    (void)state;
    static const struct geo_point stair[] = {{0, 5}, {0, 5}, {3, 9}, {6, 9}, {9, 5}, {9, 5}};
    const struct geo_line axis = {.dir = {1, 0}};
    struct geo_point at;
    /* both ends run down with slope 4/3 and would meet the axis 6.25 further on */
    assert_false(plumb_geo_polyline_cross(stair, 6, &axis, 0.0, 6.2, &at));
    assert_true(plumb_geo_polyline_cross(stair, 6, &axis, 0.0, 6.3, &at));
    assert_close(at.x, -3.75, 1e-13);
    assert_true(plumb_geo_polyline_cross(stair, 6, &axis, 9.0, 6.3, &at));
    assert_close(at.x, 12.75, 1e-13);
    assert_false(plumb_geo_polyline_cross(stair, 2, &axis, 0.0, 100.0, &at)); /* no direction */
}

static void polyline_in_the_line_gives_the_preferred_point(void **state)
{
    (void)state;
    static const struct geo_point flat[] = {{2, 0}, {8, 0}};
    const struct geo_line axis = {.dir = {1, 0}};
    struct geo_point at;
    static const double prefer[] = {5.5, -1, 20}, want[] = {5.5, 2, 8};
    for (size_t i = 0; i < 3; i++) {
        assert_true(plumb_geo_polyline_cross(flat, 2, &axis, prefer[i], 0.0, &at));
        assert_close(at.x, want[i], 1e-14);
    }
    assert_true(plumb_geo_polyline_cross(flat, 1, &axis, 0.0, 0.0, &at));
    assert_false(plumb_geo_polyline_cross(elbow + 2, 1, &axis, 0.0, 5.0, &at));
    assert_false(plumb_geo_polyline_cross(flat, 0, &axis, 0.0, 5.0, &at));
    const struct geo_point bad[] = {{(double)NAN, 0}, {1, 1}};
    assert_false(plumb_geo_polyline_cross(bad, 2, &axis, 0.0, 0.0, &at));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nearest_point_cases),
        cmocka_unit_test(single_and_repeated_points),
        cmocka_unit_test(segment_cases),
        cmocka_unit_test(random_polylines_against_sampling),
        cmocka_unit_test(crossing_cases),
        cmocka_unit_test(ends_reach_further_when_asked),
        cmocka_unit_test(polyline_in_the_line_gives_the_preferred_point),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
