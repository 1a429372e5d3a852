/*
 * Nothing may depend on how the film is turned, mirrored, scaled or moved: every fit and every
 * polyline function on transformed points against its transformed result.
 */
#include "tests/support/close.h"
#include "tests/support/cloud.h"

enum { n_pts = 60 };

/* p -> shift + scale * turn(mirror(p)) */
struct change {
    double turn_deg, scale;
    bool mirrored;
    struct geo_point shift;
};

static struct geo_point turned(const struct change *c, struct geo_point p)
{
    if (c->mirrored)
        p.x = -p.x;
    return geo_turn(p, c->turn_deg * cloud_degree);
}

static struct geo_point changed(const struct change *c, struct geo_point p)
{
    return geo_add(c->shift, geo_mul(turned(c, p), c->scale));
}

static struct change change_number(int k)
{
    static const double scale[] = {1.0, 0.01, 37.0, 1e4};
    double s = scale[k / 2 % 4];
    return (struct change){.turn_deg = 7.5 * k,
                           .scale = s,
                           .mirrored = k % 2 == 1,
                           .shift = {s * 300.0 * cos(k), s * 200.0 * sin(2 * k)}};
}

enum { changes = 48 };

static void assert_point(const struct change *c, struct geo_point got, struct geo_point want)
{
    assert_close(geo_dist(got, changed(c, want)) / c->scale, 0.0, 1e-8);
}

static void assert_fit(const struct change *c, const struct geo_fit *got,
                       const struct geo_fit *want)
{
    assert_point(c, got->line.at, want->line.at);
    assert_close(plumb_geo_angle(got->line.dir, turned(c, want->line.dir)), 0.0, 1e-9);
    assert_close_rel(got->line.u_angle, want->line.u_angle, 1e-6);
    assert_close_rel(got->line.u_offset, c->scale * want->line.u_offset, 1e-6);
    assert_close_rel(got->scale, c->scale * want->scale, 1e-6);
    assert_close_rel(got->rms, c->scale * want->rms, 1e-6);
    assert_close_rel(got->half_span, c->scale * want->half_span, 1e-6);
    assert_close(got->dof, want->dof, 1e-12);
    assert_int_equal(got->n_used, want->n_used);
}

static void fits(void **state)
{
    (void)state;
    struct geo_point a[n_pts], b[n_pts], ca[n_pts], cb[n_pts];
    double w[n_pts], width, u_width, got_width, got_u;
    struct geo_fit tls, robust, flanks, got;
    struct unc_rng rng;
    plumb_unc_rng_seed(&rng, 31);
    cloud_line(a, n_pts, (struct geo_point){20, 30}, 64.0, 2.0, 0.5, &rng);
    cloud_line(b, n_pts, (struct geo_point){5, 40}, 64.0, 2.0, 0.5, &rng);
    cloud_spoil(a, n_pts, 0.2, 64.0, 4.0);
    for (size_t i = 0; i < n_pts; i++)
        w[i] = 1.0 + 0.5 * sin((double)i);
    assert_int_equal(plumb_geo_fit_tls(a, w, n_pts, &tls, NULL), 0);
    assert_int_equal(plumb_geo_fit_robust(a, w, n_pts, 0.01, &robust, NULL), 0);
    assert_int_equal(
        plumb_geo_fit_flanks(a, n_pts, b, n_pts, 0.01, &flanks, &width, &u_width, NULL), 0);
    for (int k = 0; k < changes; k++) {
        struct change c = change_number(k);
        for (size_t i = 0; i < n_pts; i++) {
            ca[i] = changed(&c, a[i]);
            cb[i] = changed(&c, b[i]);
        }
        double floor = 0.01 * c.scale;
        assert_int_equal(plumb_geo_fit_tls(ca, w, n_pts, &got, NULL), 0);
        assert_fit(&c, &got, &tls);
        assert_int_equal(plumb_geo_fit_robust(ca, w, n_pts, floor, &got, NULL), 0);
        assert_fit(&c, &got, &robust);
        assert_int_equal(
            plumb_geo_fit_flanks(ca, n_pts, cb, n_pts, floor, &got, &got_width, &got_u, NULL), 0);
        assert_fit(&c, &got, &flanks);
        assert_close_rel(got_width, c.scale * width, 1e-8);
        assert_close_rel(got_u, c.scale * u_width, 1e-6);
    }
}

static void lines_and_polylines(void **state)
{
    (void)state;
    static const struct geo_point path[] = {{0, 0}, {8, 3}, {9, 9}, {15, 10}, {16, 2}};
    const struct geo_point p = {11, 5}, q = {13, -1};
    struct geo_line k, l, ck, cl;
    struct geo_point near, on_seg, on_line, cross, meet, got, got2;
    size_t seg, got_seg;
    plumb_geo_line_through((struct geo_point){4, -6}, (struct geo_point){13, 17}, &k, NULL);
    plumb_geo_line_through((struct geo_point){12, -6}, (struct geo_point){11, 17}, &l, NULL);
    double d = plumb_geo_polyline_nearest(path, 5, p, &near, &seg);
    double s = plumb_geo_polyline_segment(path, 5, p, q, &on_seg, &on_line);
    assert_true(plumb_geo_polyline_cross(path, 5, &k, 3.0, 2.0, &cross));
    assert_int_equal(plumb_geo_cross_lines(&k, &l, &meet, NULL), 0);
    struct geo_line mid = plumb_geo_bisector(&k, &l);
    for (int i = 0; i < changes; i++) {
        struct change c = change_number(i);
        struct geo_point moved[5];
        for (size_t j = 0; j < 5; j++)
            moved[j] = changed(&c, path[j]);
        ck = (struct geo_line){.at = changed(&c, k.at), .dir = turned(&c, k.dir)};
        cl = (struct geo_line){.at = changed(&c, l.at), .dir = turned(&c, l.dir)};
        assert_close_rel(plumb_geo_polyline_nearest(moved, 5, changed(&c, p), &got, &got_seg),
                         c.scale * d, 1e-9);
        assert_point(&c, got, near);
        assert_int_equal(got_seg, seg);
        assert_close_rel(
            plumb_geo_polyline_segment(moved, 5, changed(&c, p), changed(&c, q), &got, &got2),
            c.scale * s, 1e-9);
        assert_point(&c, got, on_seg);
        assert_point(&c, got2, on_line);
        assert_true(plumb_geo_polyline_cross(moved, 5, &ck, 3.0 * c.scale, 2.0 * c.scale, &got));
        assert_point(&c, got, cross);
        assert_int_equal(plumb_geo_cross_lines(&ck, &cl, &got, NULL), 0);
        assert_point(&c, got, meet);
        struct geo_line cm = plumb_geo_bisector(&ck, &cl);
        assert_point(&c, cm.at, mid.at);
        assert_close(plumb_geo_angle(cm.dir, turned(&c, mid.dir)), 0.0, 1e-12);
        assert_close_rel(plumb_geo_polyline_length(moved, 5),
                         c.scale * plumb_geo_polyline_length(path, 5), 1e-12);
        /* a mirror turns signed quantities over, a turn does not */
        double sign = c.mirrored ? -1.0 : 1.0;
        assert_close_rel(plumb_geo_across(&ck, changed(&c, p)),
                         sign * c.scale * plumb_geo_across(&k, p), 1e-9);
        assert_close_rel(plumb_geo_angle(ck.dir, cl.dir), sign * plumb_geo_angle(k.dir, l.dir),
                         1e-9);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fits),
        cmocka_unit_test(lines_and_polylines),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
