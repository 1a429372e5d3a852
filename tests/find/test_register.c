/*
 * Registration against truth: phantom films of one mouth (points of the teeth as the generator
 * projects them), real films moved by a map that the test has chosen, and films that do not belong
 * together, which must be refused.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fixtures/phantom.h"
#include "plumbrule/find.h"
#include "plumbrule/metrology.h"
#include "tests/support/film_pair.h"
#include "tests/support/real_film.h"

/* A careful hand marks a CEJ within 0.2 to 0.3 mm (standard uncertainty): the match must not add
 * to it noticeably. */
static const double off_mm = 0.15;
static const double rad = 3.14159265358979323846 / 180.0;

static void load(const char *path, struct film *out)
{
    struct film_options o;
    struct err err = {0};
    plumb_film_options_default(&o);
    if (plumb_film_load(path, &o, out, &err) != 0)
        fail_msg("%s", err.text);
}

static void draw_pair(const struct phantom_params p[2], struct phantom_truth t[2],
                      struct film film[2])
{
    struct err err = {0};
    for (int k = 0; k < 2; k++) {
        struct phantom ph;
        if (phantom_draw(&p[k], &ph, &err) != 0 || phantom_to_film(&ph, &film[k], &err) != 0)
            fail_msg("%s", err.text);
        t[k] = ph.truth;
        phantom_release(&ph);
    }
}

static void must_match(const struct film *a, const struct film *b, struct find_register *r)
{
    struct err err = {0};
    if (plumb_find_register(a, b, r, &err) != 0)
        fail_msg("%s", err.text);
}

static void must_refuse(const struct film *a, const struct film *b, const char *reason)
{
    struct find_register r;
    struct err err = {0};
    assert_int_equal(plumb_find_register(a, b, &r, &err), ERR_NOTFOUND);
    if (strstr(err.text, reason) == NULL)
        fail_msg("'%s' does not say '%s'", err.text, reason);
    assert_null(r.place);
}

/* Every point within off_mm and four of the stated uncertainty: the points of one film share their
 * errors, so that one film tells no coverage. */
static void check_points(const struct find_register *r, const struct phantom_truth *a,
                         const struct phantom_truth *b)
{
    struct film_pair_point p[FILM_PAIR_POINTS];
    size_t n = film_pair_points(a, b, p);
    assert_true(n >= 10);
    for (size_t i = 0; i < n; i++) {
        double u;
        struct geo_point at = plumb_find_register_point(r, p[i].old, &u);
        assert_true(u > 0.0 && u * b->mm_per_px < off_mm);
        assert_true(geo_dist(at, p[i].now) * b->mm_per_px < off_mm);
        assert_true(fabs(at.x - p[i].now.x) < 4.0 * u && fabs(at.y - p[i].now.y) < 4.0 * u);
    }
}

/* --- films of one site ---------------------------------------------------------------------------
 */

static void load_demo(size_t i, struct phantom_params *p, struct phantom_truth *t, struct film *f)
{
    char path[80];
    snprintf(path, sizeof path, "demo-images/%s", phantom_params_demo(i, p));
    phantom_truth_of(p, t);
    load(path, f);
}

/* Away from where the films agree the map is known less well. */
static void check_growing_u(const struct find_register *r)
{
    double inside, far;
    plumb_find_register_point(r, (struct geo_point){500.0, 700.0}, &inside);
    plumb_find_register_point(r, (struct geo_point){50000.0, 70000.0}, &far);
    assert_true(far > 2.0 * inside);
}

/* Before: a broken tooth. Second drill: the tooth is out, and a drill stands in its place. */
static void demo_films_lie_over_each_other(void **state)
{
    (void)state;
    struct phantom_params p[2];
    struct phantom_truth t[2];
    struct film film[2];
    struct find_register r;
    load_demo(0, &p[0], &t[0], &film[0]);
    load_demo(2, &p[1], &t[1], &film[1]);
    must_match(&film[0], &film[1], &r);
    assert_false(r.turned_over);
    /* The picture turns as the film lies turned: fixtures/phantom.h, film_turn_deg. */
    double turn = p[1].beam.film_turn_deg - p[0].beam.film_turn_deg;
    assert_true(fabs(r.turn_rad / rad - turn) < 0.3);
    check_points(&r, &t[0], &t[1]);
    check_growing_u(&r);
    plumb_find_register_release(&r);
    plumb_film_release(&film[0]);
    plumb_film_release(&film[1]);
}

/* Another sensor, tone and beam; the second without the pin, all bone grown anew, the crest moved;
 * turned by a quarter or half, or by some ten degrees. */
static void teeth_alone_tell_when_all_bone_has_changed(void **state)
{
    (void)state;
    static const struct film_pair_how how = {PHANTOM_TYPICAL, 11, {true, false}, 15.0, true};
    struct phantom_params p[2];
    struct phantom_truth t[2];
    struct film film[2];
    struct find_register r;
    film_pair_params(&how, p);
    draw_pair(p, t, film);
    must_match(&film[0], &film[1], &r);
    assert_true(r.turned_over == (p[0].detector.inverted != p[1].detector.inverted));
    check_points(&r, &t[0], &t[1]);
    plumb_find_register_release(&r);
    plumb_film_release(&film[0]);
    plumb_film_release(&film[1]);
}

/* --- a film moved by a map that is known ---------------------------------------------------------
 */

struct move {
    double turn_deg, size, shear, gamma, noise;
    bool inverted;
};

/* The middle of the film to the middle of the new one. */
static struct find_map map_of(const struct film *f, const struct move *m, const struct film *now)
{
    double c = m->size * cos(m->turn_deg * rad), s = m->size * sin(m->turn_deg * rad);
    return (struct find_map){{0.5 * (double)f->width, 0.5 * (double)f->height},
                             {0.45 * (double)now->width, 0.52 * (double)now->height},
                             c * (1.0 + m->shear),
                             -s,
                             s,
                             c * (1.0 - m->shear)};
}

static struct geo_point mapped(const struct find_map *m, struct geo_point p)
{
    struct geo_point d = geo_sub(p, m->from);
    return (struct geo_point){m->to.x + m->xx * d.x + m->xy * d.y,
                              m->to.y + m->yx * d.x + m->yy * d.y};
}

static struct geo_point unmapped(const struct find_map *m, struct geo_point p)
{
    struct geo_point d = geo_sub(p, m->to);
    double det = m->xx * m->yy - m->xy * m->yx;
    return (struct geo_point){m->from.x + (m->yy * d.x - m->xy * d.y) / det,
                              m->from.y + (m->xx * d.y - m->yx * d.x) / det};
}

static struct find_map moved_film(const struct film *f, const struct move *m, struct film *out)
{
    struct unc_rng rng;
    plumb_unc_rng_seed(&rng, 5);
    bool across = fabs(sin(m->turn_deg * rad)) > 0.7;
    *out = (struct film){.width = (size_t)(m->size * (double)(across ? f->height : f->width)),
                         .height = (size_t)(m->size * (double)(across ? f->width : f->height))};
    out->grey = plumb_mem_array(out->width * out->height, sizeof *out->grey, NULL);
    assert_non_null(out->grey);
    struct find_map map = map_of(f, m, out);
    for (size_t y = 0; y < out->height; y++) {
        for (size_t x = 0; x < out->width; x++) {
            struct geo_point p = unmapped(&map, (struct geo_point){(double)x, (double)y});
            double v = pow(plumb_film_sample(f, p.x, p.y) / 65535.0, m->gamma);
            v = 0.05 + 0.85 * v + m->noise * plumb_unc_rng_normal(&rng);
            v = fmin(fmax(m->inverted ? 1.0 - v : v, 0.0), 1.0);
            out->grey[y * out->width + x] = (uint16_t)(65535.0 * v);
        }
    }
    return map;
}

static void check_move(const struct film *f, const struct move *m)
{
    struct film now;
    struct find_register r;
    struct find_map truth = moved_film(f, m, &now);
    must_match(f, &now, &r);
    assert_true(r.turned_over == m->inverted);
    assert_true(fabs(r.scale / m->size - 1.0) < 0.002);
    for (int i = 0; i < 9; i++) {
        struct geo_point p = {(0.25 + 0.25 * (i % 3)) * (double)f->width,
                              (0.25 + 0.25 * (i / 3)) * (double)f->height};
        double u;
        struct geo_point at = plumb_find_register_point(&r, p, &u);
        /* Nothing but resampling and noise lies between the two: below half a pixel. */
        assert_true(geo_dist(at, mapped(&truth, p)) < 0.5 * m->size);
        assert_true(u < 2.0 * m->size);
    }
    plumb_find_register_release(&r);
    free(now.grey);
}

static void real_films_moved_by_a_known_map(void **state)
{
    (void)state;
    static const struct move moves[REAL_FILMS] = {{97.0, 1.2, 0.015, 0.7, 0.04, true},
                                                  {-17.0, 0.8, -0.01, 1.3, 0.03, false}};
    struct film f[REAL_FILMS];
    if (!real_film_load(0, &f[0])) {
        printf("skipped: the real films are not there\n");
        return;
    }
    assert_true(real_film_load(1, &f[1]));
    for (int i = 0; i < REAL_FILMS; i++)
        check_move(&f[i], &moves[i]);
    must_refuse(&f[0], &f[1], "do not match");
    for (int i = 0; i < REAL_FILMS; i++)
        plumb_film_release(&f[i]);
}

/* --- films that do not belong together -----------------------------------------------------------
 */

static void fill(struct film *f, double noise)
{
    struct unc_rng rng;
    plumb_unc_rng_seed(&rng, 9);
    for (size_t i = 0; i < f->width * f->height; i++)
        f->grey[i] =
            (uint16_t)fmin(fmax(30000.0 + noise * plumb_unc_rng_normal(&rng), 0.0), 65535.0);
}

static void other_films_are_refused(void **state)
{
    (void)state;
    static const struct film_change mirror = {.turn = 1, .scale = 1.0};
    struct film f, other, small; /* the drill is alike in its mirror */
    load("demo-images/second-drill.png", &f);
    film_changed(&f, &mirror, &other);
    must_refuse(&f, &other, "a mirrored film");
    other.width = other.height = 300;
    fill(&other, 8000.0);
    must_refuse(&other, &f, "do not match");
    fill(&other, 0.0);
    must_refuse(&f, &other, "do not match");
    small = (struct film){.width = 40, .height = 40, .grey = other.grey};
    must_refuse(&f, &small, "the new film is too small or too narrow to be matched: 40 x 40 px");
    small = (struct film){.width = 1000, .height = 100, .grey = other.grey};
    must_refuse(&small, &f, "the old film is too small or too narrow");
    plumb_film_release(&f);
    free(other.grey);
}

/* Two mouths, but one drill, one implant and one sensor, laid alike: with the edge of one crown
 * they make 30 places that agree. What is alike in any mouth must not count. */
static void two_mouths_with_one_implant_are_refused(void **state)
{
    (void)state;
    static const struct film_pair_how how = {PHANTOM_TYPICAL, 303, {true, true}, 18.0, false};
    struct phantom_params p[2];
    struct phantom_truth t[2];
    struct film film[2];
    film_pair_strangers(&how, true, p);
    assert_true(p[0].clutter.implant);
    draw_pair(p, t, film);
    must_refuse(&film[0], &film[1], "do not match");
    plumb_film_release(&film[0]);
    plumb_film_release(&film[1]);
}

/* A piece of one film in a sea of noise agrees as far as it goes, but has too little in common. */
static void too_little_in_common_is_refused(void **state)
{
    (void)state;
    struct film f, piece;
    load("demo-images/four-months.png", &f);
    load("demo-images/four-months.png", &piece);
    fill(&piece, 6000.0);
    for (size_t y = 500; y < 740; y++)
        memcpy(piece.grey + y * f.width + 350, f.grey + y * f.width + 350, 240 * sizeof *f.grey);
    must_refuse(&f, &piece, "do not match");
    plumb_film_release(&f);
    plumb_film_release(&piece);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(demo_films_lie_over_each_other),
        cmocka_unit_test(teeth_alone_tell_when_all_bone_has_changed),
        cmocka_unit_test(real_films_moved_by_a_known_map),
        cmocka_unit_test(other_films_are_refused),
        cmocka_unit_test(two_mouths_with_one_implant_are_refused),
        cmocka_unit_test(too_little_in_common_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
