/*
 * A sheet against its film and against itself. The example is in order and gets no note; each row
 * spoils one thing and names the one answer it must get, so that every check is seen to speak and
 * none speaks for another.
 */
#include "tests/support/close.h"

#include <stdlib.h>
#include <string.h>
#include "tests/support/sheet_example.h"

enum { WIDTH = 1100, HEIGHT = 1500 };

static void in_order(struct sheet *s)
{
    (void)s;
}
static void left_of_the_film(struct sheet *s)
{
    s->pin.axis[1].x = -1.001;
}
static void on_the_left_edge(struct sheet *s)
{
    s->pin.axis[1].x = -1.0;
    s->pin.axis[1].y = -1.0;
    s->pin.tip.x = 0.0;
    s->pin.tip.y = 0.0;
}
static void on_the_right_edge(struct sheet *s)
{
    s->bound[0].path.at[1].x = WIDTH;
    s->bound[0].path.at[1].y = HEIGHT;
}
static void right_of_the_film(struct sheet *s)
{
    s->bound[0].path.at[1].x = WIDTH + 0.1;
}
static void below_the_film(struct sheet *s)
{
    s->side[MESIAL].near.at[2].y = 2000.25;
}
static void above_the_film(struct sheet *s)
{
    s->gauge[0].end[0].y = -7.0;
}
static void not_a_number(struct sheet *s)
{
    s->pin.stop.x = (double)NAN;
}
static void unset_outside(struct sheet *s)
{
    s->pin.stop = (struct mark){.set = false, .x = -100.0, .y = 1e9};
}
static void other_width(struct sheet *s)
{
    s->film.width = 1101;
}
static void other_height(struct sheet *s)
{
    s->film.height = 1499;
}
static void no_size(struct sheet *s)
{
    s->film.width = s->film.height = 0;
}
static void axis_without_length(struct sheet *s)
{
    s->side[DISTAL].axis[1] = s->side[DISTAL].axis[0];
}
static void gauge_without_length(struct sheet *s)
{
    s->gauge[0].end[1].x = s->gauge[0].end[0].x + 0.6;
    s->gauge[0].end[1].y = s->gauge[0].end[0].y + 0.6;
}
static void gauge_of_one_pixel(struct sheet *s)
{
    s->gauge[0].end[1].x = s->gauge[0].end[0].x + 1.0;
    s->gauge[0].end[1].y = s->gauge[0].end[0].y;
}
static void half_an_axis(struct sheet *s)
{
    s->pin.axis[1] = (struct mark){0};
}

static void swap_ends(struct mark axis[2])
{
    struct mark first = axis[0];
    axis[0] = axis[1];
    axis[1] = first;
}
static void reversed_pin(struct sheet *s)
{
    swap_ends(s->pin.axis);
}
static void reversed_mesial(struct sheet *s)
{
    swap_ends(s->side[MESIAL].axis);
}
static void reversed_distal(struct sheet *s)
{
    swap_ends(s->side[DISTAL].axis);
}
static void reversed_site(struct sheet *s)
{
    swap_ends(s->site_tooth.axis);
}
static void reversed_near(struct sheet *s)
{
    swap_ends(s->side[DISTAL].near.at);
}
static void reversed_far(struct sheet *s)
{
    swap_ends(s->side[MESIAL].far.at);
}
static void reversed_unknowably(struct sheet *s)
{
    swap_ends(s->side[MESIAL].axis);
    s->side[MESIAL].apex.set = false;
}
static void one_point(struct sheet *s)
{
    s->side[DISTAL].near.n = 1;
}

static void swapped_neighbours(struct sheet *s)
{
    s->side[MESIAL].tooth = 36;
    s->side[DISTAL].tooth = 0;
}
static void swapped_distal(struct sheet *s)
{
    s->side[DISTAL].tooth = 34;
}
static void swapped_universal(struct sheet *s)
{
    swapped_neighbours(s);
    s->site.notation = NOTATION_UNIVERSAL;
}
static void distal_across_the_midline(struct sheet *s)
{
    s->side[DISTAL].tooth = 41;
}
static void other_jaw(struct sheet *s)
{
    s->side[MESIAL].tooth = 24;
}
static void far_across(struct sheet *s)
{
    s->side[MESIAL].tooth = 44;
}
static void the_site_itself(struct sheet *s)
{
    s->side[DISTAL].tooth = 35;
}
static void a_gap_beside(struct sheet *s)
{
    s->side[MESIAL].tooth = 33;
    s->side[DISTAL].tooth = 38;
}
static void deciduous_beside(struct sheet *s)
{
    s->side[MESIAL].tooth = 74;
}
static void no_site_stated(struct sheet *s)
{
    s->site.tooth = 0;
    s->side[MESIAL].tooth = 24;
    s->observed.roots = 9;
}
static void centrals(struct sheet *s)
{
    s->site.tooth = 11;
    s->side[MESIAL].tooth = 21;
    s->side[DISTAL].tooth = 12;
}

static void grafted_first(struct sheet *s)
{
    strcpy(s->site.grafted, "2026-03-01");
}
static void grafted_same_day(struct sheet *s)
{
    strcpy(s->site.grafted, s->site.extracted);
}
static void pin_before_extraction(struct sheet *s)
{
    strcpy(s->film.taken, "2026-03-01");
}
static void further_pin_before_extraction(struct sheet *s)
{
    strcpy(s->film.taken, "2026-03-01");
    s->pin = (struct sheet_pin){0};
}
static void no_pin_before_extraction(struct sheet *s)
{
    strcpy(s->film.taken, "2026-03-01");
    s->pin = (struct sheet_pin){0};
    s->n_pins = 0;
}
static void tooth_after_extraction(struct sheet *s)
{
    strcpy(s->film.taken, "2026-03-03");
}
static void tooth_after_graft(struct sheet *s)
{
    strcpy(s->film.taken, "2026-07-01");
    s->site.extracted[0] = '\0';
}
static void no_tooth_after_extraction(struct sheet *s)
{
    strcpy(s->film.taken, "2026-03-03");
    s->site_tooth = (struct sheet_site_tooth){0};
}
static void reversed_second_pin(struct sheet *s)
{
    swap_ends(s->pins[0].axis);
}
static void second_pin_off_the_film(struct sheet *s)
{
    s->pins[1].shoulder.x = 1200.0;
}
static void two_roots(struct sheet *s)
{
    s->observed.roots = 2;
}
static void one_root_of_a_molar(struct sheet *s)
{
    s->site.tooth = 26;
    s->side[MESIAL].tooth = s->side[DISTAL].tooth = 0;
}
static void roots_not_recorded(struct sheet *s)
{
    s->observed.roots = 0;
}
static void long_plan(struct sheet *s)
{
    s->plan.length_mm = 20.1;
}
static void wide_plan(struct sheet *s)
{
    s->plan.diameter_mm = 8.1;
}
static void largest_plan(struct sheet *s)
{
    s->plan.length_mm = 20.0;
    s->plan.diameter_mm = 8.0;
}

/* A bound with as many points as bring the sheet's marks to this number. */
static void fill(struct sheet *s, size_t marks)
{
    struct mark_path *p = &s->bound[0].path;
    size_t n = marks - (plumb_sheet_marks(s, NULL, 0) - p->n);
    p->at = realloc(p->at, n * sizeof *p->at);
    p->n = n;
    for (size_t i = 0; i < n; i++)
        p->at[i] = (struct mark){.set = true, .x = 100.0 + 0.4 * (double)i, .y = 1100.0};
}
static void many_marks(struct sheet *s)
{
    fill(s, 1500);
}
static void too_many_marks(struct sheet *s)
{
    fill(s, 1501);
}

static const struct {
    void (*spoil)(struct sheet *s);
    const char *wrong, *note; /* whole texts; NULL: none */
} table[] = {
    {in_order, NULL, NULL},
    {left_of_the_film,
     "pin.axis[1] lies outside the film: (-1.0, 812.0) on 1100 x 1500 px; place it again", NULL},
    {on_the_left_edge, NULL, NULL},
    {on_the_right_edge, NULL, NULL},
    {right_of_the_film,
     "bounds[0].path[1] lies outside the film: (1100.1, 1150.0) on 1100 x 1500 px; place it again",
     NULL},
    {below_the_film,
     "mesial.near[2] lies outside the film: (330.0, 2000.2) on 1100 x 1500 px; place it again",
     NULL},
    {above_the_film,
     "gauges[0].ends[0] lies outside the film: (540.2, -7.0) on 1100 x 1500 px; place it again",
     NULL},
    {not_a_number, "pin.stop lies outside the film: (nan, 350.0) on 1100 x 1500 px; place it again",
     NULL},
    {unset_outside, NULL, NULL},
    {other_width,
     "the sheet is for a film of 1101 x 1500 px, this one has 1100 x 1500: find the right film",
     NULL},
    {other_height,
     "the sheet is for a film of 1100 x 1499 px, this one has 1100 x 1500: find the right film",
     NULL},
    {no_size, NULL, NULL},
    {many_marks, NULL, NULL},
    {too_many_marks,
     "it has 1501 marks, at most 1500 can be measured: thin out the root sides and bounds", NULL},
    {axis_without_length,
     "distal.axis has no length: both ends lie at (800.0, 380.0); place one again", NULL},
    {gauge_without_length,
     "gauges[0].ends has no length: both ends lie at (540.2, 410.0); place one again", NULL},
    {gauge_of_one_pixel, NULL, NULL},
    {half_an_axis, NULL, NULL},
    {reversed_pin, NULL, "pin.axis has its apical end first: turn it round"},
    {reversed_mesial, NULL, "mesial.axis has its apical end first: turn it round"},
    {reversed_distal, NULL, "distal.axis has its apical end first: turn it round"},
    {reversed_site, NULL, "site_tooth.axis has its apical end first: turn it round"},
    {reversed_near, NULL, "distal.near has its apical end first: turn it round"},
    {reversed_far, NULL, "mesial.far has its apical end first: turn it round"},
    {reversed_unknowably, NULL, NULL},
    {one_point, NULL, "distal.near has one point only: a line needs two"},
    {swapped_neighbours, NULL,
     "mesial.tooth is 36 and site.tooth is 35: mesial and distal seem swapped"},
    {swapped_distal, NULL,
     "distal.tooth is 34 and site.tooth is 35: mesial and distal seem swapped"},
    {swapped_universal, NULL,
     "mesial.tooth is 19 and site.tooth is 20: mesial and distal seem swapped"},
    {distal_across_the_midline, NULL,
     "distal.tooth is 41 and site.tooth is 35: mesial and distal seem swapped"},
    {other_jaw, NULL,
     "mesial.tooth is 24 and site.tooth is 35: they stand in different jaws, check them"},
    {far_across, NULL,
     "mesial.tooth is 44 and site.tooth is 35: they stand on both sides of the midline, check "
     "them"},
    {the_site_itself, NULL,
     "distal.tooth is 35 and site.tooth is 35: they stand in the same place, check them"},
    {a_gap_beside, NULL, NULL},
    {deciduous_beside, NULL, NULL},
    {no_site_stated, NULL, NULL},
    {centrals, NULL, NULL},
    {grafted_first, NULL,
     "site.grafted 2026-03-01 is before site.extracted 2026-03-02: check the dates"},
    {grafted_same_day, NULL, NULL},
    {pin_before_extraction, NULL,
     "a pin is marked on a film of 2026-03-01, but site.extracted is 2026-03-02: check the dates"},
    {further_pin_before_extraction, NULL,
     "a pin is marked on a film of 2026-03-01, but site.extracted is 2026-03-02: check the dates"},
    {no_pin_before_extraction, NULL, NULL},
    {tooth_after_extraction, NULL,
     "the site's tooth is marked on a film of 2026-03-03, but site.extracted is 2026-03-02: check "
     "the dates"},
    {tooth_after_graft, NULL,
     "the site's tooth is marked on a film of 2026-07-01, but site.grafted is 2026-03-03: check "
     "the dates"},
    {no_tooth_after_extraction, NULL, NULL},
    {reversed_second_pin, NULL, "pins[0].axis has its apical end first: turn it round"},
    {second_pin_off_the_film,
     "pins[1].shoulder lies outside the film: (1200.0, 410.0) on 1100 x 1500 px; place it again",
     NULL},
    {two_roots, NULL,
     "observed.roots is 2, unusual for the lower left second premolar (usually 1): check"},
    {one_root_of_a_molar, NULL,
     "observed.roots is 1, unusual for the upper left first molar (usually 3): check"},
    {roots_not_recorded, NULL, NULL},
    {long_plan, NULL, "plan.length_mm is 20.1, more than 20: check it"},
    {wide_plan, NULL, "plan.diameter_mm is 8.1, more than 8: check it"},
    {largest_plan, NULL, NULL},
};

static void each_says_its_own(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct sheet s;
        struct sheet_notes notes = {0};
        struct err err = {0};
        sheet_example(&s);
        table[i].spoil(&s);
        int rc = plumb_sheet_check(&s, WIDTH, HEIGHT, &notes, &err);
        if (rc != (table[i].wrong ? ERR_FORMAT : 0) || err.code != rc)
            fail_msg("row %zu: %d \"%s\"", i, rc, err.text);
        if (table[i].wrong != NULL)
            assert_string_equal(err.text, table[i].wrong);
        if (notes.n != (table[i].note ? 1 : 0))
            fail_msg("row %zu: %zu notes, first \"%s\"", i, notes.n, notes.n ? notes.line[0] : "");
        if (table[i].note != NULL)
            assert_string_equal(notes.line[0], table[i].note);
        plumb_sheet_notes_release(&notes);
        plumb_sheet_release(&s);
    }
}

/* Usual roots; common practice, no source. Upper premolars have one or two, upper first molars
 * three, lower molars two, front teeth one; deciduous molars as the permanent ones of their jaw. */
static void usual_roots_get_no_note(void **state)
{
    (void)state;
    static const struct {
        int tooth, usual, unusual;
    } roots[] = {{11, 1, 2}, {22, 1, 2}, {13, 1, 2}, {14, 2, 3}, {25, 1, 3}, {16, 3, 2}, {27, 3, 1},
                 {31, 1, 2}, {42, 1, 2}, {33, 2, 3}, {44, 1, 2}, {35, 1, 2}, {46, 2, 1}, {37, 2, 3},
                 {51, 1, 2}, {73, 1, 2}, {54, 3, 2}, {75, 2, 3}, {18, 4, 5}, {48, 3, 4}};
    for (size_t i = 0; i < sizeof roots / sizeof roots[0]; i++) {
        struct sheet s;
        struct sheet_notes notes = {0};
        plumb_sheet_init(&s);
        s.site.tooth = roots[i].tooth;
        s.observed.roots = roots[i].usual;
        assert_int_equal(plumb_sheet_check(&s, WIDTH, HEIGHT, &notes, NULL), 0);
        assert_int_equal(notes.n, 0);
        s.observed.roots = roots[i].unusual;
        assert_int_equal(plumb_sheet_check(&s, WIDTH, HEIGHT, &notes, NULL), 0);
        assert_int_equal(notes.n, 1);
        plumb_sheet_notes_release(&notes);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_says_its_own),
        cmocka_unit_test(usual_roots_get_no_note),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
