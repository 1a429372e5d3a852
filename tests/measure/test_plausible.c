/*
 * Plausibility: the site of tests/support/site.h is in order and gets no warning; each row spoils
 * one thing and names the words that must be said, so that every check is seen to speak. Tooth
 * sizes are those of the handbook table (Nelson and Ash, Table 1-1) with a quarter either way.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "plumbrule/measure.h"
#include "tests/support/site.h"

static const double px_per_mm = 40.0;
static struct meas_config config;

static int load_config(void **state)
{
    (void)state;
    return plumb_meas_config_default(&config, NULL);
}

/* Film of a lower left site, apical down, mesial to the left. */
static void move(struct mark *m, double mesial_mm, double apical_mm)
{
    m->x -= mesial_mm * px_per_mm;
    m->y += apical_mm * px_per_mm;
}

static void in_order(struct sheet *s)
{
    (void)s;
}
static void sizes_doubled(struct sheet *s)
{
    s->gauge[0].mm *= 2.0;
    s->gauge[1].mm *= 2.0;
}
static void sizes_of_a_third(struct sheet *s)
{
    s->gauge[0].mm /= 3.0;
    s->gauge[1].mm /= 3.0;
}
static void length_of_another_drill(struct sheet *s)
{
    s->gauge[0].mm = 16.0;
}
static void crest_off_the_root(struct sheet *s)
{
    move(&s->side[MESIAL].crest, -2.0, 0.0);
}
static void crest_in_the_crown(struct sheet *s)
{
    move(&s->side[DISTAL].crest, 0.0, -4.0);
}
static void crest_beyond_the_apex(struct sheet *s)
{
    move(&s->side[MESIAL].crest, 0.0, 15.0);
}
static void tip_out_of_the_bone(struct sheet *s)
{
    move(&s->pin.tip, 0.0, -14.0);
}
static void bound_in_the_crowns(struct sheet *s)
{
    for (size_t i = 0; i < s->bound[0].path.n; i++)
        move(&s->bound[0].path.at[i], 0.0, -19.0);
}
static void fracture_beyond_the_apex(struct sheet *s)
{
    move(&s->site_tooth.fracture[MESIAL], 0.0, 13.0);
}
static void tooth_of_the_other_side(struct sheet *s)
{
    s->site.tooth = 45;
}
static void pin_sides_swapped(struct sheet *s)
{
    struct sheet_pin was = s->pins[0];
    memcpy(s->pins[0].side[MESIAL], was.side[DISTAL], sizeof was.side[DISTAL]);
    memcpy(s->pins[0].side[DISTAL], was.side[MESIAL], sizeof was.side[MESIAL]);
}
static void two_pins_at_one_place(struct sheet *s)
{
    s->pins[0] = s->pin;
}
static void far_side_first(struct sheet *s)
{
    struct mark_path near = s->side[MESIAL].near;
    struct mark *at = plumb_mem_array(near.n, sizeof *at, NULL);
    for (size_t i = 0; i < near.n; i++) {
        at[i] = near.at[i];
        move(&at[i], -1.0, 0.0);
    }
    s->side[MESIAL].far = (struct mark_path){at, near.n};
}
static void narrow_at_the_cej(struct sheet *s)
{
    s->side[MESIAL].cej_far = s->side[MESIAL].cej;
    move(&s->side[MESIAL].cej_far, 3.0, 0.0); /* a premolar of 5 mm: 3.75 to 6.25 */
}
static void narrow_by_its_sides(struct sheet *s)
{
    far_side_first(s);
    for (size_t i = 0; i < s->side[MESIAL].far.n; i++)
        move(&s->side[MESIAL].far.at[i], 4.0, 0.0); /* 3 mm from the near side, 2.6 from the CEJ */
}

static void one_root_of_a_molar(struct sheet *s)
{
    narrow_by_its_sides(s);
    s->side[MESIAL].tooth = 37;
    s->site.tooth = 38;
}

static const struct {
    void (*spoil)(struct sheet *s);
    const char *words; /* NULL: nothing may be said */
} table[] = {
    {in_order, NULL},
    {sizes_doubled, "root of 34 measures"},
    {sizes_of_a_third, "the scale is 8.3 um a pixel, usual 10 to 70 um"},
    {length_of_another_drill, "leans 41° out of the film"},
    {crest_off_the_root, "the mesial crest lies 2."},
    {crest_in_the_crown, "the distal crest lies 2.3 mm coronal of the CEJ"},
    {crest_beyond_the_apex, "the mesial crest lies apical of that root's apex"},
    {tip_out_of_the_bone, "coronal of the mesial crest, outside the bone"},
    {bound_in_the_crowns, "bound 1 lies coronal of the crest"},
    {fracture_beyond_the_apex, "the mesial fracture edge lies beyond the site tooth's apex"},
    {tooth_of_the_other_side, "mesial and distal lie the other way round"},
    {pin_sides_swapped, "the distal side of pin 2 is marked on its other side"},
    {two_pins_at_one_place, "pins 1 and 2 have their tips at one place"},
    {far_side_first, "mesial.far lies nearer to the site than mesial.near"},
    {narrow_at_the_cej, "width at the CEJ of 34 measures 3.0 mm, usual 3.8 to 6.2 mm"},
    {one_root_of_a_molar, NULL},
    {narrow_by_its_sides, "width at the CEJ of 34 measures 2.6 mm, usual 3.8 to 6.2 mm"},
};

static bool is_told(const struct meas_result *r, const char *words)
{
    for (size_t i = 0; i < r->warnings.n; i++)
        if (strstr(r->warnings.line[i], words) != NULL)
            return true;
    return false;
}

static void each_is_warned_of(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct site site;
        struct sheet s;
        struct meas_result r;
        struct err err = {0};
        struct meas_film film = {.width = 3000, .height = 3000};
        site_default(&site);
        site_sheet(&site, &(struct placing){0.0, 1.0 / px_per_mm, false, 35}, 1.0, &s);
        table[i].spoil(&s);
        if (plumb_meas_run(&s, &film, &config, &r, &err) != 0)
            fail_msg("%s", err.text);
        if (table[i].words == NULL)
            assert_int_equal(r.warnings.n, 0);
        else if (!is_told(&r, table[i].words))
            fail_msg("row %zu, \"%s\": not told, but \"%s\"", i, table[i].words,
                     r.warnings.n ? r.warnings.line[0] : "");
        plumb_meas_result_release(&r);
        plumb_sheet_release(&s);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_is_warned_of),
    };
    return cmocka_run_group_tests(tests, load_config, NULL);
}
