/*
 * Exam: a sheet and its film together. On the demo film of the first drill, whose truth the
 * generator wrote beside it (demo-images/first-drill.truth.json); the numbers below are read from
 * there.
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
#include <unistd.h>

#include "plumbrule/exam.h"
#include "plumbrule/find.h"

static const char film_path[] = "demo-images/first-drill.tif";
static const struct geo_point true_tip = {466.33, 871.64};
static const double mm_per_px = 0.02426;
static const struct exam_gauge gauges[] = {{GAUGE_LENGTH, 12.0, 0.0}, {GAUGE_ACROSS, 2.2, 0.0}};

static void open_path(const char *path, struct exam *e)
{
    struct exam_options o;
    struct err err = {0};
    plumb_exam_options_default(&o);
    if (plumb_exam_open_film(path, &o, e, &err) != 0)
        fail_msg("%s", err.text);
    e->sheet.site.tooth = 35;
}

static void open_film(struct exam *e)
{
    open_path(film_path, e);
}

static void propose(struct exam *e)
{
    struct err err = {0};
    size_t pins = 0;
    if (plumb_exam_propose(e, gauges, 2, &pins, &err) != 0)
        fail_msg("%s", err.text);
    assert_int_equal(pins, 1);
}

static void found_marks_are_labelled_and_right(void **state)
{
    (void)state;
    struct exam e;
    open_film(&e);
    propose(&e);
    const struct sheet_pin *p = &e.sheet.pin;
    assert_true(p->tip.set && p->tip.by == MARK_FOUND && p->tip.sd > 0.0);
    /* Wanted of the finder: the tip within 0.1 mm. */
    assert_true(hypot(p->tip.x - true_tip.x, p->tip.y - true_tip.y) * mm_per_px < 0.1);
    assert_int_equal(e.sheet.n_gauges, 2);
    assert_true(e.sheet.gauge[0].end[1].set && e.sheet.gauge[1].end[0].set);
    /* Lower left, seen from facial: mesial is on the viewer's left. */
    assert_true(p->side[MESIAL][0].x < p->side[DISTAL][0].x);
    const struct meas_quantity *k = plumb_meas_find(&e.result, "scale");
    assert_non_null(k);
    assert_true(fabs(k->v.value - mm_per_px) < k->U);
    plumb_exam_release(&e);
}

/* The film's columns 300 to 659, the drill's, twice side by side: two pins 360 px apart. */
static const double drills_apart_px = 360.0;

static void open_two_drills(struct exam *e)
{
    enum { FROM = 300, WIDE = 360 };
    open_film(e);
    struct film *f = &e->film;
    uint16_t *grey = plumb_mem_array(2 * (size_t)WIDE * f->height, sizeof *grey, NULL);
    for (size_t y = 0; y < f->height; y++)
        for (size_t x = 0; x < 2 * (size_t)WIDE; x++)
            grey[y * 2 * WIDE + x] = f->grey[y * f->width + FROM + x % WIDE];
    free(f->grey);
    f->grey = grey;
    f->width = e->sheet.film.width = 2 * (size_t)WIDE;
}

static void propose_again(struct exam *e)
{
    struct err err = {0};
    size_t pins = 0;
    if (plumb_exam_propose(e, gauges, 2, &pins, &err) != 0)
        fail_msg("%s", err.text);
    assert_int_equal(pins, 2);
    assert_int_equal(e->sheet.n_pins, 1);
}

/* Every pin found is proposed; the one that is meant carries the gauges; again changes nothing. */
static void several_pins_are_all_proposed(void **state)
{
    (void)state;
    for (int meant = 0; meant < 2; meant++) { /* the left one, the right one */
        struct exam e;
        open_two_drills(&e);
        e.has_pin_hint = true;
        e.pin_hint_x = true_tip.x - 300.0 + meant * drills_apart_px + 30.0;
        e.pin_hint_y = true_tip.y - 200.0;
        for (int again = 0; again < 2; again++) {
            propose_again(&e);
            const struct sheet_pin *p = &e.sheet.pin, *q = &e.sheet.pins[0];
            double apart = (q->tip.x - p->tip.x) * (meant == 0 ? 1.0 : -1.0);
            assert_true(fabs(apart - drills_apart_px) <
                        4.0); /* one picture: 0.1 mm, the finder's */
            assert_true(p->tip.by == MARK_FOUND && q->tip.by == MARK_FOUND);
            assert_true(q->side[MESIAL][0].x < q->side[DISTAL][0].x);
            assert_true(fabs(e.sheet.gauge[0].end[1].x - p->tip.x) < 1.0);
            assert_non_null(plumb_meas_find(&e.result, "pins.gap.1-2"));
        }
        e.sheet.pins[0].tip.x += 3.0; /* a hand's mark stays */
        e.sheet.pins[0].tip.by = MARK_MOVED;
        double x = e.sheet.pins[0].tip.x;
        propose_again(&e);
        assert_true(e.sheet.pins[0].tip.x == x && e.sheet.pins[0].tip.by == MARK_MOVED);
        plumb_exam_release(&e);
    }
}

/* What is above the shoulder or below the tip is no side of the pin, or clearances come out too
 * small. The second drill, whose halo goes on below its tip. */
static void sides_end_with_the_pin(void **state)
{
    (void)state;
    struct exam e;
    open_path("demo-images/second-drill.png", &e);
    propose(&e);
    const struct sheet_pin *p = &e.sheet.pin;
    const double lean_px = 8.0; /* half the pin's width times its lean, on either side */
    for (int i = 0; i < SIDES; i++) {
        assert_true(p->side[i][0].y > p->shoulder.y - lean_px);
        assert_true(p->side[i][1].y < p->tip.y + lean_px);
    }
    plumb_exam_release(&e);
}

static void what_a_hand_has_set_stays(void **state)
{
    (void)state;
    struct exam e;
    open_film(&e);
    e.sheet.pin.tip = (struct mark){.set = true, .x = 470.0, .y = 860.0, .by = MARK_HAND};
    e.sheet.pin.shoulder = (struct mark){.set = true, .x = 471.0, .y = 380.0, .by = MARK_MOVED};
    propose(&e);
    assert_true(e.sheet.pin.tip.by == MARK_HAND && e.sheet.pin.tip.y == 860.0);
    assert_true(e.sheet.pin.shoulder.by == MARK_MOVED && e.sheet.pin.shoulder.x == 471.0);
    assert_true(e.sheet.pin.axis[0].by == MARK_FOUND);
    struct mark *end = &e.sheet.pin.axis[0]; /* so does what a person has confirmed */
    end->x += 2.0;
    end->confirmed = true;
    const struct mark was = *end;
    propose(&e);
    assert_true(end->x == was.x && end->sd == was.sd && end->confirmed);
    end->confirmed = false;
    propose(&e);
    assert_true(end->x != was.x);
    plumb_exam_release(&e);
}

/* Rough clicks 8 px off: sides on the right sides of the root, the crest within 0.1 mm in height.
 */
static void rough_clicks_place_root_and_crest(void **state)
{
    (void)state;
    struct exam e;
    struct err err = {0};
    open_film(&e);
    propose(&e);
    if (plumb_exam_propose_root(&e, MESIAL, 193.0, 348.0, 273.0, 892.0, &err) != 0)
        fail_msg("%s", err.text);
    const struct sheet_neighbour *nb = &e.sheet.side[MESIAL];
    assert_true(nb->near.n >= 5 && nb->far.n >= 5);
    assert_true(nb->near.at[0].x > nb->far.at[0].x); /* near faces the site, to the right */
    assert_true(nb->apex.by == MARK_FOUND);
    if (plumb_exam_propose_crest(&e, MESIAL, 300.0, 424.0, &err) != 0)
        fail_msg("%s", err.text);
    assert_true(fabs(nb->crest.y - 415.5) * mm_per_px < 0.1);
    assert_non_null(plumb_meas_find(&e.result, "angle.mesial"));
    assert_int_equal(plumb_exam_propose_crest(&e, DISTAL, -50.0, 10.0, &err), ERR_ARG);
    assert_false(e.sheet.side[DISTAL].crest.set);
    plumb_exam_release(&e);
}

/* A tip that lies over the root, beyond its middle: the site is where the pin comes from. */
static void a_tip_over_the_root_turns_no_sides(void **state)
{
    (void)state;
    struct exam e;
    struct err err = {0};
    open_film(&e);
    propose(&e);
    e.sheet.pin.tip = (struct mark){.set = true, .x = 150.0, .y = 880.0, .sd = 1.0};
    if (plumb_exam_propose_root(&e, MESIAL, 193.0, 348.0, 273.0, 892.0, &err) != 0)
        fail_msg("%s", err.text);
    const struct sheet_neighbour *nb = &e.sheet.side[MESIAL];
    assert_true(nb->near.at[0].x > nb->far.at[0].x);
    plumb_exam_release(&e);
}

static struct geo_point root_direction(const struct exam *e, const double c[4])
{
    struct find_root r;
    struct err err = {0};
    struct geo_point crown = {c[0], c[1]}, apex = {c[2], c[3]};
    assert_int_equal(plumb_find_root(&e->film, crown, apex, &r, &err), 0);
    struct geo_point dir = r.midline.dir;
    plumb_find_root_release(&r);
    return dir;
}

/* Of two roots the axis halves the angle between them (two single roots stand for those of a
 * molar); the sides are those of the first. One root again, and the bisector goes; an axis placed
 * by hand stays. */
static void two_roots_give_their_bisector(void **state)
{
    (void)state;
    static const double near[4] = {193.0, 348.0, 273.0, 892.0}, other[4] = {765, 350, 810, 900};
    struct exam e;
    struct err err = {0};
    open_film(&e);
    propose(&e);
    const struct sheet_neighbour *nb = &e.sheet.side[MESIAL];
    assert_int_equal(plumb_exam_propose_two_roots(&e, MESIAL, near, other, &err), 0);
    struct geo_point axis = {nb->axis[1].x - nb->axis[0].x, nb->axis[1].y - nb->axis[0].y};
    double a = plumb_geo_angle(axis, root_direction(&e, near));
    double b = plumb_geo_angle(axis, root_direction(&e, other));
    assert_true(fabs(a) > 0.02 && fabs(a + b) < 1e-4);
    assert_true(nb->axis[0].by == MARK_FOUND && nb->axis[0].sd > 0.1);
    assert_true(nb->near.at[0].x < 500.0);
    assert_int_equal(plumb_exam_propose_root(&e, MESIAL, near[0], near[1], near[2], near[3], &err),
                     0);
    assert_false(nb->axis[0].set || nb->axis[1].set);
    e.sheet.side[MESIAL].axis[0] = (struct mark){.set = true, .x = 200.0, .y = 350.0};
    assert_int_equal(plumb_exam_propose_two_roots(&e, MESIAL, near, other, &err), 0);
    assert_true(nb->axis[0].x == 200.0 && !nb->axis[1].set);
    plumb_exam_release(&e);
}

static void a_sheet_knows_its_film(void **state)
{
    (void)state;
    char dir[] = "/tmp/plumbrule-exam-XXXXXX", sheet[64];
    struct exam e;
    struct exam_options o;
    struct err err = {0};
    assert_non_null(mkdtemp(dir));
    snprintf(sheet, sizeof sheet, "%s/s.json", dir);
    open_film(&e);
    propose(&e);
    char here[200];
    assert_non_null(getcwd(here, sizeof here));
    char *full = plumb_path_join(here, film_path, &err);
    plumb_text_copy(e.sheet.film.file, sizeof e.sheet.film.file, full);
    assert_int_equal(plumb_exam_save(&e, sheet, false, &err), 0);
    assert_int_equal(plumb_exam_save(&e, sheet, false, &err), ERR_CREATE); /* nothing is lost */
    e.sheet.film.sha256[0] = e.sheet.film.sha256[0] == '0' ? '1' : '0';
    assert_int_equal(plumb_exam_save(&e, sheet, true, &err), 0);
    plumb_exam_release(&e);
    plumb_exam_options_default(&o);
    assert_int_equal(plumb_exam_open_sheet(sheet, &o, &e, &err), ERR_FORMAT);
    assert_non_null(strstr(err.text, "--film-changed"));
    o.film_changed = true;
    assert_int_equal(plumb_exam_open_sheet(sheet, &o, &e, &err), 0);
    plumb_exam_release(&e);
    unlink(sheet);
    rmdir(dir);
    free(full);
}

static void faults_leave_nothing_behind(void **state)
{
    (void)state;
    struct exam_options o;
    struct exam e;
    struct err err = {0};
    plumb_exam_options_default(&o);
    assert_int_equal(plumb_exam_open_film("no-such.png", &o, &e, &err), ERR_NOTFOUND);
    assert_null(e.film_path);
    assert_int_equal(plumb_exam_open_sheet("no-such.json", &o, &e, &err), ERR_NOTFOUND);
    o.limits_path = "no-such-limits.json";
    assert_int_equal(plumb_exam_open_film(film_path, &o, &e, &err), ERR_NOTFOUND);
    assert_non_null(strstr(err.text, "limits file"));
    assert_null(e.film.grey);
}

int main(void)
{
    setenv("XDG_CONFIG_HOME", "/nowhere", 1);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(found_marks_are_labelled_and_right),
        cmocka_unit_test(several_pins_are_all_proposed),
        cmocka_unit_test(sides_end_with_the_pin),
        cmocka_unit_test(what_a_hand_has_set_stays),
        cmocka_unit_test(rough_clicks_place_root_and_crest),
        cmocka_unit_test(a_tip_over_the_root_turns_no_sides),
        cmocka_unit_test(two_roots_give_their_bisector),
        cmocka_unit_test(a_sheet_knows_its_film),
        cmocka_unit_test(faults_leave_nothing_behind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
