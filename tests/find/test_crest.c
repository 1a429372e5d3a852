/*
 * The crest from a rough point. Truth: a film drawn here by a formula (bone below a sloping line
 * beside a root), and the plain phantom's geometry (fixtures/phantom.h).
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>
#include "fixtures/phantom.h"
#include "plumbrule/find.h"

static struct film blank(size_t w, size_t h)
{
    struct film f = {.width = w, .height = h};
    f.grey = calloc(w * h, sizeof *f.grey);
    assert_non_null(f.grey);
    return f;
}

static double smooth(double d)
{
    return 0.5 * (1.0 + tanh(d / 2.0));
}

/* Gum over bone with the crest at y = 300 + slope (x - 300), a root left of x = root; a little
 * noise of a fixed linear congruence. */
static struct film ridge(double slope, double root)
{
    struct film f = blank(700, 900);
    uint32_t s = 35;
    for (size_t y = 0; y < f.height; y++)
        for (size_t x = 0; x < f.width; x++) {
            double bone = smooth((double)y - 300.0 - slope * ((double)x - 300.0));
            double v = 0.25 + 0.2 * bone, inside = smooth(root - (double)x);
            s = s * 1664525u + 1013904223u;
            v += inside * (0.6 - v) + 0.01 * ((double)(s >> 8) / 16777216.0 - 0.5);
            f.grey[y * f.width + x] = (uint16_t)lround(65535.0 * v);
        }
    return f;
}

struct ridge_case {
    double slope, root;
    struct geo_point rough;
};

/* A plain step has no blurred root of a depth: the crest is put up to 0.1 mm too far out, 3 px. */
static void sloping_crest(void **state)
{
    (void)state;
    static const struct ridge_case c[] = {
        {0.0, -1000, {300, 300}},  {0.0, -1000, {300, 313}}, {0.2, -1000, {310, 290}},
        {-0.3, -1000, {295, 312}}, {0.1, 290, {300, 310}},   {0.25, 290, {312, 295}},
        {-0.2, 290, {288, 309}},   {0.6, -1000, {300, 305}}, {-0.6, 290, {300, 306}},
    };
    for (size_t i = 0; i < sizeof c / sizeof c[0]; i++) {
        struct film f = ridge(c[i].slope, c[i].root);
        struct find_crest r;
        struct err err = {0};
        assert_int_equal(plumb_find_crest(&f, c[i].rough, (struct geo_point){0, 1}, &r, &err), 0);
        double truth = 300.0 + c[i].slope * (r.at.x - 300.0);
        assert_true(fabs(r.at.y - truth) < 3.5);
        assert_true(r.u > 0.3 && r.u < 8.0);
        if (c[i].root > 0.0) /* taken just outside the root, whatever the click's place */
            assert_true(r.at.x > c[i].root + 2.0 && r.at.x < c[i].root + 15.0);
        else
            assert_true(fabs(r.at.x - c[i].rough.x) < 1e-9);
        free(f.grey);
    }
}

/* Between roots at x = 300 and 360, 2 mm apart: y of a septum's crest. */
enum septum { ROUND, POINTED, FALLING_OFF };

static double septum_y(enum septum shape, double x)
{
    double from_middle = fabs(x - 330.0), from_root = 30.0 - from_middle;
    switch (shape) {
    case ROUND:
        return 300.0 + 20.0 * from_middle * from_middle / 900.0;
    case POINTED:
        return 300.0 + 0.7 * from_middle;
    default: /* flat, and down to the ligament */
        return 300.0 + 10.0 * exp(-fmax(0.0, from_root - 8.0) / 7.0);
    }
}

/* A septum's summit is its crest, not where it meets the roots (58 px at the ligament of the round
 * one are 12 px lower); within 0.15 mm, 4.4 px, and within 2.5 u: a plain step has no blurred root
 * of a depth, which takes 3 px of it. */
static void septa(void **state)
{
    (void)state;
    static const struct geo_point off[] = {{0, 0}, {6, -8}, {-7, 5}, {0, 10}};
    for (int shape = ROUND; shape <= FALLING_OFF; shape++)
        for (size_t i = 0; i < sizeof off / sizeof off[0]; i++) {
            struct film f = blank(700, 900);
            for (size_t y = 0; y < f.height; y++)
                for (size_t x = 0; x < f.width; x++) {
                    double at = (double)x, root = smooth(300.0 - at) + smooth(at - 360.0);
                    double v = 0.25 + 0.2 * smooth((double)y - septum_y((enum septum)shape, at));
                    f.grey[y * f.width + x] = (uint16_t)lround(65535.0 * (v + root * (0.6 - v)));
                }
            struct find_crest r;
            struct err err = {0};
            struct geo_point rough = geo_add((struct geo_point){330, 300}, off[i]);
            assert_int_equal(plumb_find_crest(&f, rough, (struct geo_point){0, 1}, &r, &err), 0);
            assert_true(fabs(r.at.y - 300.0) < 4.4);
            assert_true(fabs(r.at.y - 300.0) < 2.5 * r.u);
            assert_true(r.at.x > 306.0 && r.at.x < 354.0);
            free(f.grey);
        }
}

/* A pin beside the crest hides it from half the width looked at on, and its edges are far steeper:
 * the crest beside it is found all the same. Covered altogether, it is refused. */
static void beside_a_pin(void **state)
{
    (void)state;
    for (size_t k = 0; k < 2; k++) {
        size_t from = k == 0 ? 325 : 292;
        struct film f = ridge(0.2, 290);
        struct find_crest r;
        struct err err = {0};
        for (size_t y = 0; y < 600; y++) /* tip and shoulder within sight of the crest */
            for (size_t x = from; x < from + (y < 285 ? 120 : 90); x++)
                f.grey[y * f.width + x] = 62000;
        int rc =
            plumb_find_crest(&f, (struct geo_point){300, 305}, (struct geo_point){0, 1}, &r, &err);
        assert_int_equal(rc, k == 0 ? 0 : ERR_NOTFOUND);
        if (rc == 0)
            assert_true(fabs(r.at.y - 300.0 - 0.2 * (r.at.x - 300.0)) < 3.5);
        free(f.grey);
    }
}

static void plain(struct phantom *ph, struct film *film)
{
    struct phantom_params p;
    struct err err = {0};
    phantom_params_plain(&p);
    /* Teeth in the bone's plane: root and crest are then shown by the same rays. */
    for (int k = 0; k < PHANTOM_TEETH; k++)
        p.tooth[k].z_mm = p.bone.z_mm;
    assert_int_equal(phantom_draw(&p, ph, &err), 0);
    assert_int_equal(phantom_to_film(ph, film, &err), 0);
}

/* Clicks up to 15 px off: within 0.1 mm (4 px of 25 um) and within three of its u. */
static void beside_a_root(void **state)
{
    (void)state;
    static const struct geo_point off[] = {{0, 0}, {10, 10}, {-10, 8}, {14, -4}, {-5, -13}};
    struct phantom ph;
    struct film film;
    plain(&ph, &film);
    for (size_t i = 0; i < sizeof off / sizeof off[0]; i++)
        for (int k = 0; k < 2; k++) {
            const struct phantom_tooth_truth *t = k ? &ph.truth.distal : &ph.truth.mesial;
            struct find_crest r;
            struct err err = {0};
            assert_int_equal(
                plumb_find_crest(&film, geo_add(t->crest, off[i]), ph.truth.apical, &r, &err), 0);
            double along = fabs(geo_dot(geo_sub(r.at, t->crest), ph.truth.apical));
            assert_true(along * t->mm_per_px < 0.1);
            assert_true(along < 3.0 * r.u);
            assert_true(geo_dist(r.at, t->crest) * t->mm_per_px < 0.3);
        }
    free(film.grey);
    phantom_release(&ph);
}

/* In the marrow and over the roots, 3 to 5 mm apical of either crest, there is none: refused at
 * three of four places at least, since marrow may look like one. */
static void far_from_a_crest(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    int clicks = 0, refused = 0;
    plain(&ph, &film);
    for (int k = 0; k < 2; k++)
        for (int i = 0; i < 15; i++) {
            const struct phantom_tooth_truth *t = k ? &ph.truth.distal : &ph.truth.mesial;
            const double apical = 3 + i % 3, across = 0.8 * (i % 5) - 1.6;
            struct geo_point off = geo_add(geo_mul(ph.truth.apical, apical),
                                           geo_mul(geo_perp(ph.truth.apical), across));
            struct geo_point rough = geo_add(t->crest, geo_mul(off, 1.0 / t->mm_per_px));
            struct find_crest r;
            struct err err = {0};
            clicks++;
            if (plumb_find_crest(&film, rough, ph.truth.apical, &r, &err) == ERR_NOTFOUND)
                refused++;
        }
    assert_true(4 * refused >= 3 * clicks);
    free(film.grey);
    phantom_release(&ph);
}

/* Upside down and with bright for dark the same crest is found. */
static void turned_and_inverted(void **state)
{
    (void)state;
    struct phantom ph;
    struct film film;
    struct find_crest a, b;
    struct err err = {0};
    plain(&ph, &film);
    struct geo_point rough = geo_add(ph.truth.mesial.crest, (struct geo_point){6, 9});
    assert_int_equal(plumb_find_crest(&film, rough, ph.truth.apical, &a, &err), 0);
    size_t n = film.width * film.height;
    for (size_t i = 0; i < n / 2; i++) {
        uint16_t v = film.grey[i];
        film.grey[i] = (uint16_t)(65535 - film.grey[n - 1 - i]);
        film.grey[n - 1 - i] = (uint16_t)(65535 - v);
    }
    double w = (double)film.width - 1.0, h = (double)film.height - 1.0;
    assert_int_equal(plumb_find_crest(&film, (struct geo_point){w - rough.x, h - rough.y},
                                      geo_mul(ph.truth.apical, -1.0), &b, &err),
                     0);
    assert_true(hypot(w - b.at.x - a.at.x, h - b.at.y - a.at.y) < 0.05);
    assert_true(fabs(a.u - b.u) < 0.05);
    free(film.grey);
    phantom_release(&ph);
}

/* Level over bone that thickens as the root of its depth, blurred by a Gaussian of sd px: the mean
 * of the root over the Gaussian, by the midpoint rule. */
static double thinning(double depth, double sd)
{
    enum { STEPS = 200 };
    double sum = 0.0, norm = 0.0;
    for (int i = 0; i < STEPS; i++) {
        double z = -4.0 + 8.0 * (i + 0.5) / STEPS, w = exp(-0.5 * z * z), d = depth - z * sd;
        sum += w * sqrt(fmin(fmax(d, 0.0), 60.0));
        norm += w;
    }
    return sum / norm;
}

/* However blurred the film is, the crest beside a root lies where the bone begins, within a
 * twentieth of a millimetre (29 px of a usual one). */
static void blurred_crest(void **state)
{
    (void)state;
    static const double sd_px[] = {2.0, 3.0, 5.0, 8.0};
    for (size_t i = 0; i < sizeof sd_px / sizeof sd_px[0]; i++) {
        struct film f = blank(700, 900);
        for (size_t y = 0; y < f.height; y++) {
            double v = 0.25 + 0.04 * thinning((double)y - 300.0, sd_px[i]);
            for (size_t x = 0; x < f.width; x++) {
                double root = smooth(290.0 - (double)x);
                f.grey[y * f.width + x] = (uint16_t)lround(65535.0 * (v + root * (0.6 - v)));
            }
        }
        struct find_crest r;
        struct err err = {0};
        assert_int_equal(
            plumb_find_crest(&f, (struct geo_point){300, 306}, (struct geo_point){0, 1}, &r, &err),
            0);
        assert_true(fabs(r.at.y - 300.0) < 1.5);
        assert_true(fabs(r.at.y - 300.0) < 2.0 * r.u);
        free(f.grey);
    }
}

/* A step on the left of the point and another on its right, eight tenths of a millimetre apart:
 * either may be the crest: refused, or the interval holds both. */
static void two_edges(void **state)
{
    (void)state;
    struct film f = blank(700, 900);
    for (size_t y = 0; y < f.height; y++)
        for (size_t x = 0; x < f.width; x++) {
            double bone = smooth((double)y - (x < 300 ? 288.0 : 312.0));
            f.grey[y * f.width + x] = (uint16_t)lround(65535.0 * (0.25 + 0.2 * bone));
        }
    struct find_crest r;
    struct err err = {0};
    int rc = plumb_find_crest(&f, (struct geo_point){300, 300}, (struct geo_point){0, 1}, &r, &err);
    if (rc == 0)
        assert_true(fabs(r.at.y - 288.0) < 2.0 * r.u && fabs(r.at.y - 312.0) < 2.0 * r.u);
    else
        assert_int_equal(rc, ERR_NOTFOUND);
    free(f.grey);
}

/* A scratch 0.4 mm coronal of the crest and along it, brighter than bone. */
static void scratched(void **state)
{
    (void)state;
    struct film f = ridge(0.0, 290);
    for (size_t y = 287; y < 290; y++)
        for (size_t x = 200; x < 400; x++)
            f.grey[y * f.width + x] = 50000;
    for (int k = 0; k < 3; k++) {
        struct find_crest r;
        struct err err = {0};
        struct geo_point rough = {300.0, 292.0 + 6.0 * k};
        assert_int_equal(plumb_find_crest(&f, rough, (struct geo_point){0, 1}, &r, &err), 0);
        assert_true(fabs(r.at.y - 300.0) < 3.5);
    }
    free(f.grey);
}

/* One plate's crest half a millimetre above the other's, and lower in contrast: the interval holds
 * both. A single crest stays sharp. */
static void double_crest(void **state)
{
    (void)state;
    for (int k = 0; k < 2; k++) {
        struct film f = blank(700, 900);
        for (size_t y = 0; y < f.height; y++)
            for (size_t x = 0; x < f.width; x++) {
                double v = 0.25 + 0.12 * smooth((double)y - 300.0) +
                           0.08 * smooth((double)y - (k == 0 ? 300.0 : 285.0));
                v += smooth(290.0 - (double)x) * (0.6 - v);
                f.grey[y * f.width + x] = (uint16_t)lround(65535.0 * v);
            }
        struct find_crest r;
        struct err err = {0};
        assert_int_equal(
            plumb_find_crest(&f, (struct geo_point){300, 296}, (struct geo_point){0, 1}, &r, &err),
            0);
        assert_true(fabs(r.at.y - 300.0) < 2.0 * r.u + 1.5);
        if (k == 0)
            assert_true(r.u < 4.0);
        else
            assert_true(fabs(r.at.y - 285.0) < 2.0 * r.u);
        free(f.grey);
    }
}

/* The click lies over the root, where most of what is looked at shows no edge at all. */
static void click_on_the_root(void **state)
{
    (void)state;
    struct film f = blank(700, 900);
    for (size_t y = 0; y < f.height; y++)
        for (size_t x = 0; x < f.width; x++) {
            double v = 0.25 + 0.2 * smooth((double)y - 300.0);
            v += smooth(290.0 - (double)x) * (0.6 - v);
            f.grey[y * f.width + x] = (uint16_t)lround(65535.0 * v);
        }
    struct find_crest r;
    struct err err = {0};
    assert_int_equal(
        plumb_find_crest(&f, (struct geo_point){278, 305}, (struct geo_point){0, 1}, &r, &err), 0);
    assert_true(fabs(r.at.y - 300.0) < 3.5);
    free(f.grey);
}

static void same_input_same_bytes(void **state)
{
    (void)state;
    struct film f = ridge(0.1, 290);
    struct find_crest a, b;
    struct err err = {0};
    struct geo_point rough = {300, 305}, apical = {0, 1};
    assert_int_equal(plumb_find_crest(&f, rough, apical, &a, &err), 0);
    assert_int_equal(plumb_find_crest(&f, rough, apical, &b, &err), 0);
    assert_memory_equal(&a, &b, sizeof a);
    free(f.grey);
}

static void noise_fill(struct film *f)
{
    uint32_t s = 7;
    for (size_t i = 0; i < f->width * f->height; i++) {
        s = s * 1664525u + 1013904223u;
        f->grey[i] = (uint16_t)(20000 + (s >> 18));
    }
}

struct refusal {
    size_t w, h;
    bool noise;
    struct geo_point rough, apical;
    int code;
};

static void refusals(void **state)
{
    (void)state;
    static const struct refusal c[] = {
        {600, 800, false, {300, 300}, {0, 1}, ERR_NOTFOUND},
        {600, 800, true, {300, 300}, {0, 1}, ERR_NOTFOUND},
        {600, 800, true, {120, 500}, {0.6, 0.8}, ERR_NOTFOUND},
        {600, 800, true, {-1, 300}, {0, 1}, ERR_ARG},
        {600, 800, true, {300, 800}, {0, 1}, ERR_ARG},
        {600, 800, true, {300, (double)NAN}, {0, 1}, ERR_ARG},
        {600, 800, true, {300, 300}, {0, 0}, ERR_ARG},
        {1, 1, false, {0, 0}, {0, 1}, ERR_NOTFOUND},
    };
    for (size_t i = 0; i < sizeof c / sizeof c[0]; i++) {
        struct film f = blank(c[i].w, c[i].h);
        struct find_crest r;
        struct err err = {0};
        if (c[i].noise)
            noise_fill(&f);
        int rc = plumb_find_crest(&f, c[i].rough, c[i].apical, &r, &err);
        assert_int_equal(rc, c[i].code);
        assert_int_equal(err.code, rc);
        assert_true(r.u == 0.0);
        free(f.grey);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(septa),
        cmocka_unit_test(far_from_a_crest),
        cmocka_unit_test(sloping_crest),
        cmocka_unit_test(beside_a_pin),
        cmocka_unit_test(beside_a_root),
        cmocka_unit_test(turned_and_inverted),
        cmocka_unit_test(blurred_crest),
        cmocka_unit_test(two_edges),
        cmocka_unit_test(scratched),
        cmocka_unit_test(double_crest),
        cmocka_unit_test(click_on_the_root),
        cmocka_unit_test(same_input_same_bytes),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
