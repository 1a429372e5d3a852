/*
 * Root sides and mid-line from two rough points. Truth: the phantoms' geometry
 * (fixtures/phantom.h); for a film drawn here, the formula it is drawn by.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>
#include "find/root_internal.h"
#include "fixtures/phantom.h"
#include "plumbrule/find.h"

static const double rad = 0.017453292519943295;

/* The plain phantom: two neighbours without noise worth speaking of. Drawn once each way. */
static void plain(struct phantom *ph, struct film *film, bool inverted, unsigned turns)
{
    static struct phantom drawn[2][4];
    struct phantom *from = &drawn[inverted][turns % 4];
    struct phantom_params p;
    struct err err = {0};
    phantom_params_plain(&p);
    p.detector.inverted = inverted;
    p.detector.quarter_turns = turns;
    if (!from->grey)
        assert_int_equal(phantom_draw(&p, from, &err), 0);
    *ph = *from;
    assert_int_equal(phantom_to_film(ph, film, &err), 0);
}

static void release(struct film *film)
{
    free(film->grey);
}

static double off_axis(const struct find_root *r, const struct phantom_tooth_truth *t)
{
    struct geo_point dir = geo_unit(geo_sub(t->midline[1], t->midline[0]));
    return fabs(plumb_geo_angle(r->midline.dir, dir));
}

static int find(const struct film *f, const struct phantom_tooth_truth *t, struct geo_point dc,
                struct geo_point da, struct find_root *r, struct err *err)
{
    return plumb_find_root(f, geo_add(t->chord[0], dc), geo_add(t->apex, da), r, err);
}

/* Clicks off by up to 10 px: axis to 0.4 degrees, within three of its u. */
static void axis_from_rough_points(void **state)
{
    (void)state;
    static const struct geo_point off[][2] = {
        {{0, 0}, {0, 0}},  {{9, 3}, {-6, 7}},   {{-8, -5}, {9, 2}},
        {{6, -7}, {6, 7}}, {{-9, 4}, {-4, -9}},
    };
    struct phantom ph;
    struct film film;
    plain(&ph, &film, false, 0);
    for (size_t i = 0; i < sizeof off / sizeof off[0]; i++)
        for (int k = 0; k < 2; k++) {
            const struct phantom_tooth_truth *t = k ? &ph.truth.distal : &ph.truth.mesial;
            struct find_root r;
            struct err err = {0};
            assert_int_equal(find(&film, t, off[i][0], off[i][1], &r, &err), 0);
            assert_true(off_axis(&r, t) < 0.4 * rad);
            assert_true(off_axis(&r, t) < 3.0 * r.midline.u_angle);
            assert_true(r.midline.u_angle < 1.0 * rad);
            plumb_find_root_release(&r);
        }
    release(&film);
}

/* Every seen point of the near side lies on the true side; [0] is the geo_perp(axis) side. */
static void sides_lie_on_the_border(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    plain(&ph, &film, false, 0);
    for (int k = 0; k < 2; k++) {
        const struct phantom_tooth_truth *t = k ? &ph.truth.distal : &ph.truth.mesial;
        struct find_root r;
        struct err err = {0};
        assert_int_equal(
            find(&film, t, (struct geo_point){5, 5}, (struct geo_point){-5, 5}, &r, &err), 0);
        struct geo_point across = geo_perp(r.midline.dir);
        int near = geo_dot(geo_sub(t->near[5], r.midline.at), across) > 0.0 ? 0 : 1;
        size_t good = 0, seen = 0;
        for (size_t i = 0; i < r.n[near]; i++) {
            const struct find_edge_point *p = &r.side[near][i];
            double d = plumb_geo_polyline_nearest(t->near, PHANTOM_SIDE, p->at, NULL, NULL);
            seen += p->seen;
            good += p->seen && d < 3.0 && d < 3.0 * p->u;
            assert_true(p->u > 0.2 && p->u < 60.0);
        }
        assert_true(seen >= 15 && good + 1 >= seen);
        assert_true(fabs(r.seen[near] - (double)seen / (double)r.n[near]) < 1e-12);
        plumb_find_root_release(&r);
    }
    release(&film);
}

/* White over the root's middle: a filled canal does not hide the
 * sides; metal as wide as the root does. */
static void filled_and_covered(void **state)
{
    (void)state;
    static const double half_px[] = {14.0, 60.0};
    for (size_t i = 0; i < 2; i++) {
        struct phantom ph;
        struct film film;
        plain(&ph, &film, false, 0);
        const struct phantom_tooth_truth *t = &ph.truth.mesial;
        struct geo_point rod[2] = {t->chord[0], geo_mix(t->chord[0], t->chord[1], 0.85)};
        for (size_t k = 0; k < film.width * film.height; k++) {
            struct geo_point p = {(double)(k % film.width), (double)(k / film.width)}, at;
            if (plumb_geo_polyline_nearest(rod, 2, p, &at, NULL) < half_px[i])
                film.grey[k] = 65000;
        }
        struct find_root r;
        struct err err = {0};
        int rc = find(&film, t, (struct geo_point){3, 2}, (struct geo_point){-2, 3}, &r, &err);
        assert_int_equal(rc, i == 0 ? 0 : ERR_ILLPOSED);
        if (i == 0) {
            assert_true(off_axis(&r, t) < 0.4 * rad);
            assert_true(r.seen[0] > 0.8 && r.seen[1] > 0.8);
        } else
            assert_non_null(strstr(err.text, "metal"));
        plumb_find_root_release(&r);
        release(&film);
    }
}

/* One grey for all that lies farther from the root's chord than so much of its length. */
static void paint_beside(struct film *film, const struct phantom_tooth_truth *t, double share,
                         uint16_t grey)
{
    double length = geo_dist(t->chord[0], t->chord[1]);
    struct geo_point across = geo_perp(geo_unit(geo_sub(t->chord[1], t->chord[0])));
    for (size_t k = 0; k < film->width * film->height; k++) {
        struct geo_point p = {(double)(k % film->width), (double)(k / film->width)};
        if (fabs(geo_dot(geo_sub(p, t->chord[0]), across)) > share * length)
            film->grey[k] = grey;
    }
}

/* Metal or a white frame on either side, leaning against the root, does not make the film an
 * inverted one, whose root its edges would be. */
static void between_white(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    plain(&ph, &film, false, 0);
    const struct phantom_tooth_truth *t = &ph.truth.mesial;
    paint_beside(&film, t, 0.22, 60000);
    struct find_root r;
    struct err err = {0};
    int rc = find(&film, t, (struct geo_point){3, 2}, (struct geo_point){-2, 3}, &r, &err);
    assert_int_equal(rc, 0);
    assert_true(off_axis(&r, t) < 3.0 * r.midline.u_angle);
    double d = plumb_geo_polyline_nearest(t->near, PHANTOM_SIDE, r.side[0][10].at, NULL, NULL);
    double e = plumb_geo_polyline_nearest(t->near, PHANTOM_SIDE, r.side[1][10].at, NULL, NULL);
    assert_true(fmin(d, e) < 5.0);
    plumb_find_root_release(&r);
    release(&film);
}

/* A line darker than dentine beside the root's middle, as the canal of a pulp off the axis, is
 * followed from end to end as well as the root's side is; it is not the side. */
static void canal_off_the_axis(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    plain(&ph, &film, false, 0);
    const struct phantom_tooth_truth *t = &ph.truth.mesial;
    struct geo_point across = geo_perp(geo_unit(geo_sub(t->chord[1], t->chord[0])));
    struct geo_point aside = geo_mul(across, 0.6 / t->mm_per_px);
    struct geo_point canal[2] = {geo_add(t->chord[0], aside),
                                 geo_add(geo_mix(t->chord[0], t->chord[1], 0.9), aside)};
    for (size_t k = 0; k < film.width * film.height; k++) {
        struct geo_point p = {(double)(k % film.width), (double)(k / film.width)}, at;
        if (plumb_geo_polyline_nearest(canal, 2, p, &at, NULL) * t->mm_per_px < 0.15)
            film.grey[k] = (uint16_t)(film.grey[k] * 0.8);
    }
    struct find_root r;
    struct err err = {0};
    assert_int_equal(find(&film, t, (struct geo_point){4, 3}, (struct geo_point){-3, 2}, &r, &err),
                     0);
    assert_true(off_axis(&r, t) < 0.4 * rad);
    for (int side = 0; side < 2; side++) {
        double near =
            plumb_geo_polyline_nearest(t->near, PHANTOM_SIDE, r.side[side][10].at, NULL, NULL);
        double far =
            plumb_geo_polyline_nearest(t->far, PHANTOM_SIDE, r.side[side][10].at, NULL, NULL);
        assert_true(fmin(near, far) < 4.0);
    }
    plumb_find_root_release(&r);
    release(&film);
}

/* Every seen point of both sides lies on a true side, and most are seen. */
static void assert_sides(const struct find_root *r, const struct phantom_tooth_truth *t)
{
    for (int side = 0; side < 2; side++) {
        assert_true(r->seen[side] > 0.7);
        for (size_t i = 0; i < r->n[side]; i++) {
            struct geo_point p = r->side[side][i].at;
            double near = plumb_geo_polyline_nearest(t->near, PHANTOM_SIDE, p, NULL, NULL);
            double far = plumb_geo_polyline_nearest(t->far, PHANTOM_SIDE, p, NULL, NULL);
            assert_true(!r->side[side][i].seen || fmin(near, far) < 4.0);
        }
    }
}

/* From clicks so far off: axis and sides are the true ones. */
static void assert_root(const struct film *film, const struct phantom_tooth_truth *t,
                        struct geo_point crown_off, struct geo_point apex_off)
{
    struct find_root r;
    struct err err = {0};
    assert_int_equal(find(film, t, crown_off, apex_off, &r, &err), 0);
    assert_true(off_axis(&r, t) < 0.4 * rad);
    assert_sides(&r, t);
    plumb_find_root_release(&r);
}

/* A root of two lobes, one behind the other, is brighter where both lie in the beam: the edge of
 * that is a line along the root within its side, on either side. */
static void lobes_within_the_sides(void **state)
{
    (void)state;
    static const double brighter[] = {1.1, 1.2};
    for (size_t i = 0; i < 2; i++) {
        struct phantom ph;
        struct film film;
        plain(&ph, &film, false, 0);
        const struct phantom_tooth_truth *t = &ph.truth.mesial;
        struct geo_point lobe[2] = {t->chord[0], geo_mix(t->chord[0], t->chord[1], 0.9)};
        for (size_t k = 0; k < film.width * film.height; k++) {
            struct geo_point p = {(double)(k % film.width), (double)(k / film.width)}, at;
            if (plumb_geo_polyline_nearest(lobe, 2, p, &at, NULL) * t->mm_per_px < 1.0)
                film.grey[k] = (uint16_t)fmin(60000.0, film.grey[k] * brighter[i]);
        }
        assert_root(&film, t, (struct geo_point){4, 3}, (struct geo_point){-3, 2});
        release(&film);
    }
}

/* An inverted film of 12 bits in a file of 16 is dark all over, and nowhere white. */
static void inverted_twelve_bits(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    plain(&ph, &film, true, 0);
    const struct phantom_tooth_truth *t = &ph.truth.mesial;
    for (size_t k = 0; k < film.width * film.height; k++)
        film.grey[k] /= 16;
    assert_root(&film, t, (struct geo_point){3, 2}, (struct geo_point){-2, 3});
    release(&film);
}

/* The film ends within the root, at a grey frame with black beyond: the frame is not the side. */
static void cut_by_a_grey_frame(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    plain(&ph, &film, false, 0);
    const struct phantom_tooth_truth *t = &ph.truth.mesial;
    double length = geo_dist(t->chord[0], t->chord[1]);
    struct geo_point across = geo_perp(geo_unit(geo_sub(t->chord[1], t->chord[0])));
    for (size_t k = 0; k < film.width * film.height; k++) {
        struct geo_point p = {(double)(k % film.width), (double)(k / film.width)};
        double off = geo_dot(geo_sub(p, t->chord[0]), across) / length;
        if (off > 0.07)
            film.grey[k] = off > 0.2 ? 0 : 9000;
    }
    struct find_root r;
    struct err err = {0};
    int rc = find(&film, t, (struct geo_point){0, 0}, (struct geo_point){0, 0}, &r, &err);
    assert_int_equal(rc, ERR_ILLPOSED);
    plumb_find_root_release(&r);
    release(&film);
}

/* An inverted film whose metal leans against the root on both sides: nothing beside the root says
 * that radiopaque is dark, the root itself does. */
static void inverted_between_metal(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    plain(&ph, &film, true, 0);
    const struct phantom_tooth_truth *t = &ph.truth.mesial;
    paint_beside(&film, t, 0.25, 1500);
    struct find_root r;
    struct err err = {0};
    assert_int_equal(find(&film, t, (struct geo_point){3, 2}, (struct geo_point){-2, 3}, &r, &err),
                     0);
    assert_true(off_axis(&r, t) < 0.4 * rad);
    assert_true(r.seen[0] > 0.7 && r.seen[1] > 0.7);
    plumb_find_root_release(&r);
    release(&film);
}

/* At the apex the sides are bridged by the law of a blunt end: as often outside the root as in. */
static void last_points_are_unbiased(void **state)
{
    (void)state;
    static const struct geo_point off[] = {{0, 0}, {6, 3}, {-6, -3}};
    struct phantom ph;
    struct film film;
    double sum = 0.0;
    size_t n = 0;
    plain(&ph, &film, false, 0);
    for (size_t i = 0; i < 2 * sizeof off / sizeof off[0]; i++) {
        const struct phantom_tooth_truth *t = i % 2 ? &ph.truth.distal : &ph.truth.mesial;
        struct find_root r;
        struct err err = {0};
        assert_int_equal(find(&film, t, off[i / 2], off[i / 2], &r, &err), 0);
        for (int k = 0; k < 2; k++, n++) {
            struct geo_point out = geo_mul(geo_perp(r.midline.dir), k ? -1.0 : 1.0), at;
            bool near = geo_dot(geo_sub(t->near[5], r.midline.at), out) > 0.0;
            struct geo_point last = r.side[k][r.n[k] - 1].at;
            plumb_geo_polyline_nearest(near ? t->near : t->far, PHANTOM_SIDE, last, &at, NULL);
            sum += geo_dot(geo_sub(last, at), out) * t->mm_per_px;
        }
        plumb_find_root_release(&r);
    }
    assert_true(fabs(sum / (double)n) < 0.03);
    release(&film);
}

/* Coarse marrow of the strongest contrast lies over the root as well as beside it. */
static void marrow_over_the_root(void **state)
{
    (void)state;
    for (uint64_t seed = 3; seed <= 4; seed++) {
        struct phantom ph;
        struct phantom_params p;
        struct film film;
        struct find_root r;
        struct err err = {0};
        phantom_params_plain(&p);
        p.bone.texture = 1.0;
        p.bone.texture_mm = 0.7;
        p.bone.texture_seed = seed;
        assert_int_equal(phantom_draw(&p, &ph, &err), 0);
        assert_int_equal(phantom_to_film(&ph, &film, &err), 0);
        const struct phantom_tooth_truth *t = &ph.truth.mesial;
        assert_int_equal(
            find(&film, t, (struct geo_point){5, 4}, (struct geo_point){-4, 5}, &r, &err), 0);
        assert_true(off_axis(&r, t) < 0.4 * rad);
        assert_true(r.seen[0] > 0.6 && r.seen[1] > 0.6);
        plumb_find_root_release(&r);
        release(&film);
        phantom_release(&ph);
    }
}

/* Middles on a parabola c s^2: the line of least squares over an interval has the slope c times the
 * sum of its ends, so that an end 7 px off turns it by 7 c, and both by the root of two times that;
 * a straight root's axis does not feel its ends. The outermost middles lie half a step within, so
 * that a fifth of it is missing. */
static void unsure_ends_turn_a_bent_root(void **state)
{
    (void)state;
    static const double bend = 4e-4;
    static struct root_shape sh;
    struct geo_line line;
    struct err err = {0};
    double u[2];
    assert_int_equal(
        plumb_geo_line_through((struct geo_point){0, 0}, (struct geo_point){0, 500}, &line, &err),
        0);
    for (int k = 0; k < 2; k++) {
        struct find_root r = {.seen = {1.0, 1.0}};
        for (size_t i = 0; i < ROOT_POINTS; i++)
            sh.middle[i] = k * bend * pow(25.0 * ((double)i + 0.5), 2.0);
        assert_int_equal(root_midline(&line, 500.0, &sh, &r, &err), 0);
        u[k] = r.midline.u_angle;
    }
    double more = sqrt(u[1] * u[1] - u[0] * u[0]), due = sqrt(2.0) * 7.0 * bend;
    assert_true(more > 0.75 * due && more < 1.05 * due);
}

/* Two readings of equal score, one turned by 40 mrad against the other: half of that square goes to
 * each (law of total variance: p (1 - p) d^2 about the mean, p d^2 about the chosen one). */
static void equal_readings_widen(void **state)
{
    (void)state;
    struct root_grid g = {.length = 520.0, .mm = 40.0};
    static struct root_readings two;
    static struct root_reading r;
    memset(&two, 0, sizeof two);
    for (int k = 0; k < 2; k++) {
        memset(&r, 0, sizeof r);
        for (size_t i = 0; i < ROOT_POINTS; i++) {
            r.shape.middle[i] = k * 0.04 * ((double)i - 9.5) * 26.0;
            r.shape.half[i] = 80.0;
        }
        root_readings_add(&two, &g, &r);
        root_readings_add(&two, &g, &r); /* the same again counts once */
    }
    assert_int_equal(two.n, 2);
    struct root_shape sh = root_shape_of(&two);
    for (size_t i = 0; i < ROOT_POINTS; i++) {
        double d = 0.04 * ((double)i - 9.5) * 26.0;
        assert_true(fabs(sh.doubt[0][i] - 0.5 * d * d) < 1e-9);
        assert_true(fabs(sh.cov[i][i] * root_widening * root_widening - 0.5 * d * d) < 1e-9);
    }
    two.at[1].score = two.at[0].score - log(9.0); /* one in ten: within the side's U95 = 2 u */
    sh = root_shape_of(&two);
    for (size_t i = 0; i < ROOT_POINTS; i++)
        assert_true(2.0 * sqrt(sh.doubt[0][i]) >= 0.04 * fabs((double)i - 9.5) * 26.0 - 1e-9);
    two.at[1].score = two.at[0].score - 20.0; /* out of the question: nothing is added */
    sh = root_shape_of(&two);
    assert_true(sh.doubt[0][0] == 0.0);
}

/* Better ones first, no more than there is room for. */
static void best_readings_stay(void **state)
{
    (void)state;
    static const double score[] = {3, 9, 1, 7, 5, 8, 2, 6};
    struct root_grid g = {.length = 520.0, .mm = 40.0};
    static struct root_readings all;
    static struct root_reading r;
    memset(&all, 0, sizeof all);
    for (size_t k = 0; k < sizeof score / sizeof score[0]; k++) {
        memset(&r, 0, sizeof r);
        r.shape.half[0] = 100.0 * (double)(k + 1);
        r.score = score[k];
        root_readings_add(&all, &g, &r);
    }
    assert_int_equal(all.n, ROOT_READINGS);
    for (size_t k = 0; k < ROOT_READINGS; k++)
        assert_true(all.at[k].score == 9.0 - (double)k);
    r.shape.half[0] = 201.0; /* the best one's twin */
    r.score = 8.5;
    root_readings_add(&all, &g, &r);
    assert_true(all.at[0].score == 9.0 && all.at[1].score == 8.0);
    r.score = 9.5;
    root_readings_add(&all, &g, &r);
    assert_true(all.at[0].score == 9.5 && all.at[1].score == 8.0);
    assert_int_equal(all.n, ROOT_READINGS);
}

/* The far side of a molar's root is hidden by the trunk above the furcation. */
static void trunk_is_a_gap(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    plain(&ph, &film, false, 0);
    const struct phantom_tooth_truth *t = &ph.truth.distal;
    struct find_root r;
    struct err err = {0};
    assert_true(t->two_roots && t->n_far_hidden > 0);
    assert_int_equal(find(&film, t, (struct geo_point){0, 0}, (struct geo_point){0, 0}, &r, &err),
                     0);
    int far = geo_dot(geo_sub(t->far[5], r.midline.at), geo_perp(r.midline.dir)) > 0.0 ? 0 : 1;
    for (size_t i = 0; i < 3; i++)
        assert_false(r.side[far][i].seen);
    assert_true(r.side[far][10].seen);
    plumb_find_root_release(&r);
    release(&film);
}

static struct geo_point midline_point(const struct film *film, struct geo_point crown,
                                      struct geo_point apex, struct geo_point *dir)
{
    struct find_root r;
    struct err err = {0};
    assert_int_equal(plumb_find_root(film, crown, apex, &r, &err), 0);
    struct geo_point at = r.midline.at;
    *dir = r.midline.dir;
    plumb_find_root_release(&r);
    return at;
}

/* A quarter turn of the pixels turns the answer, to the last bits of the sampling. */
static void turned_film(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film, turned;
    struct geo_point d0, d1;
    plain(&ph, &film, false, 0);
    turned = film;
    turned.width = film.height;
    turned.height = film.width;
    turned.grey = calloc(film.width * film.height, sizeof *turned.grey);
    assert_non_null(turned.grey);
    for (size_t y = 0; y < film.height; y++) /* clockwise: (x,y) -> (h-1-y, x) */
        for (size_t x = 0; x < film.width; x++)
            turned.grey[x * turned.width + (film.height - 1 - y)] = film.grey[y * film.width + x];
    struct geo_point c = ph.truth.mesial.chord[0], a = ph.truth.mesial.apex;
    double top = (double)film.height - 1.0;
    struct geo_point p0 = midline_point(&film, c, a, &d0);
    struct geo_point p1 = midline_point(&turned, (struct geo_point){top - c.y, c.x},
                                        (struct geo_point){top - a.y, a.x}, &d1);
    assert_true(fabs(p1.x - (top - p0.y)) < 0.05 && fabs(p1.y - p0.x) < 0.05);
    assert_true(fabs(plumb_geo_angle(geo_perp(d0), d1)) < 0.01 * rad);
    free(turned.grey);
    release(&film);
}

/* Bright for dark changes nothing. */
static void inverted_film(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    struct geo_point d0, d1;
    plain(&ph, &film, false, 0);
    struct geo_point c = ph.truth.mesial.chord[0], a = ph.truth.mesial.apex;
    struct geo_point p0 = midline_point(&film, c, a, &d0);
    for (size_t i = 0; i < film.width * film.height; i++)
        film.grey[i] = (uint16_t)(65535 - film.grey[i]);
    struct geo_point p1 = midline_point(&film, c, a, &d1);
    assert_true(geo_dist(p0, p1) < 0.05);
    assert_true(fabs(plumb_geo_angle(d0, d1)) < 0.01 * rad);
    release(&film);
}

static void same_input_same_bytes(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    struct find_root a, b;
    struct err err = {0};
    plain(&ph, &film, false, 0);
    struct geo_point off = {3, -4};
    assert_int_equal(find(&film, &ph.truth.mesial, off, off, &a, &err), 0);
    assert_int_equal(find(&film, &ph.truth.mesial, off, off, &b, &err), 0);
    assert_memory_equal(&a.midline, &b.midline, sizeof a.midline);
    for (int k = 0; k < 2; k++) {
        assert_int_equal(a.n[k], b.n[k]);
        for (size_t i = 0; i < a.n[k]; i++) {
            assert_memory_equal(&a.side[k][i].at, &b.side[k][i].at, sizeof a.side[k][i].at);
            assert_memory_equal(&a.side[k][i].u, &b.side[k][i].u, sizeof a.side[k][i].u);
        }
    }
    plumb_find_root_release(&a);
    plumb_find_root_release(&b);
    release(&film);
}

/* Films without a root: all grey, and noise of a fixed linear congruence. */
static struct film blank(size_t w, size_t h, bool noise)
{
    struct film f = {.width = w, .height = h};
    uint32_t s = 35;
    f.grey = calloc(w * h, sizeof *f.grey);
    assert_non_null(f.grey);
    for (size_t i = 0; i < w * h; i++) {
        s = s * 1664525u + 1013904223u;
        f.grey[i] = noise ? (uint16_t)(20000 + (s >> 18)) : 30000;
    }
    return f;
}

struct refusal {
    size_t w, h;
    bool noise;
    struct geo_point crown, apex;
    int code;
};

static void refusals(void **state)
{
    (void)state;
    static const struct refusal c[] = {
        {600, 800, false, {300, 100}, {300, 600}, ERR_ILLPOSED},
        {600, 800, true, {300, 100}, {310, 600}, ERR_ILLPOSED},
        {600, 800, true, {300, 100}, {300, 100}, ERR_ILLPOSED},
        {600, 800, true, {300, 100}, {320, 110}, ERR_ILLPOSED},
        {600, 800, true, {-5, 100}, {300, 600}, ERR_ARG},
        {600, 800, true, {300, 100}, {300, 800}, ERR_ARG},
        {600, 800, true, {(double)NAN, 100}, {300, 600}, ERR_ARG},
        {1, 1, false, {0, 0}, {0, 0}, ERR_ILLPOSED},
        {3, 200, true, {1, 10}, {1, 190}, ERR_ILLPOSED},
    };
    for (size_t i = 0; i < sizeof c / sizeof c[0]; i++) {
        struct film f = blank(c[i].w, c[i].h, c[i].noise);
        struct find_root r;
        struct err err = {0};
        int rc = plumb_find_root(&f, c[i].crown, c[i].apex, &r, &err);
        assert_int_equal(rc, c[i].code);
        assert_int_equal(err.code, rc);
        assert_true(strlen(err.text) > 10);
        assert_null(r.side[0]);
        assert_null(r.side[1]);
        free(f.grey);
    }
}

/* Whichever allocation fails, the answer is ERR_NOMEM and nothing is left behind. */
static void memory_runs_out(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    struct geo_point off = {0, 0};
    plain(&ph, &film, false, 0);
    int rc = ERR_NOMEM;
    for (long n = 1; n < 200 && rc != 0; n++) {
        struct find_root r;
        struct err err = {0};
        plumb_mem_fail_after(n);
        rc = find(&film, &ph.truth.mesial, off, off, &r, &err);
        plumb_mem_fail_after(0);
        if (rc != 0) {
            assert_int_equal(rc, ERR_NOMEM);
            assert_null(r.side[0]);
        }
        plumb_find_root_release(&r);
    }
    assert_int_equal(rc, 0);
    plumb_find_root_release(NULL);
    release(&film);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(axis_from_rough_points),
        cmocka_unit_test(sides_lie_on_the_border),
        cmocka_unit_test(filled_and_covered),
        cmocka_unit_test(between_white),
        cmocka_unit_test(canal_off_the_axis),
        cmocka_unit_test(lobes_within_the_sides),
        cmocka_unit_test(inverted_twelve_bits),
        cmocka_unit_test(cut_by_a_grey_frame),
        cmocka_unit_test(inverted_between_metal),
        cmocka_unit_test(marrow_over_the_root),
        cmocka_unit_test(unsure_ends_turn_a_bent_root),
        cmocka_unit_test(last_points_are_unbiased),
        cmocka_unit_test(equal_readings_widen),
        cmocka_unit_test(best_readings_stay),
        cmocka_unit_test(trunk_is_a_gap),
        cmocka_unit_test(turned_film),
        cmocka_unit_test(inverted_film),
        cmocka_unit_test(same_input_same_bytes),
        cmocka_unit_test(refusals),
        cmocka_unit_test(memory_runs_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
