/*
 * Plausibility: what is measured against what teeth, sensors and bone usually are. A warning names
 * the number and what to check; nothing is changed by it.
 */
#include "measure/plausible_internal.h"

#include <stdio.h>

#include "measure/teeth_internal.h"

/* Pitch of exported films: solid-state 15 to 30 um, plates 20 to 64 um (from memory), with room. */
static const double pitch_lo_mm = 0.010, pitch_hi_mm = 0.070;
/* A crest so far coronal of the CEJ is no bone, nor is what lies so far coronal of the crest
 * (common practice, no source). */
static const double crest_above_cej_mm = 1.0, above_crest_mm = 1.0;
/* The crest of a neighbour is where the bone meets its ligament; the lean of a pin that is tried in
 * a site stays small (both common practice, no source). */
static const double crest_off_root_mm = 1.5, lean_most_deg = 20.0;

/* No two drills stand so near each other (common practice, no source). */
static const double pins_apart_mm = 0.5;

static int tooth_beside(const struct sheet *s, int side)
{
    if (s->side[side].tooth != 0)
        return s->side[side].tooth;
    int tooth[SIDES] = {0, 0};
    if (s->site.tooth != 0)
        plumb_tooth_neighbours(s->site.tooth, &tooth[MESIAL], &tooth[DISTAL]);
    return tooth[side];
}

static void check_range(const struct scene *sc, int tooth, const char *what, double mm, double lo,
                        double hi, struct meas_result *out)
{
    char number[8];
    if (!(mm < lo) && !(mm > hi))
        return;
    plumb_tooth_print(tooth, sc->s->site.notation, number);
    plumb_sheet_notes_add(&out->warnings,
                          "%s of %s measures %.1f mm, usual %.1f to %.1f mm: check gauge and marks",
                          what, number, mm, lo, hi);
}

static void check_root(const struct scene *sc, int tooth, const char *id, struct meas_result *out)
{
    struct tooth_size size;
    double lo, hi;
    const struct meas_quantity *q = plumb_meas_find(out, id);
    if (q == NULL || !tooth_usual(tooth, &size))
        return;
    tooth_root_range(&size, &lo, &hi);
    check_range(sc, tooth, "root", q->v.value, lo, hi, out);
}

/* Width of the tooth at the CEJ, px: between both CEJ marks, else from the CEJ to the far side; NaN
 * when it cannot be had. The far side of one root of a molar is not the tooth's. */
static double cervix_px(const struct scene *sc, int side, int tooth)
{
    const int last_premolar = 5;
    const struct sheet_neighbour *nb = &sc->s->side[side];
    if (!nb->cej.set)
        return NO_VALUE;
    if (nb->cej_far.set)
        return geo_dist(at(&nb->cej), at(&nb->cej_far));
    struct geo_line across = {.at = at(&nb->cej), .dir = geo_perp(sc->root[side].dir)};
    struct geo_point far;
    if (tooth % 10 > last_premolar || !sc->has_root[side] || sc->n_far[side] < 2 ||
        !plumb_geo_polyline_cross(sc->far[side], sc->n_far[side], &across, 0.0, 0.0, &far))
        return NO_VALUE;
    return geo_dist(at(&nb->cej), far);
}

static void check_cervix(const struct scene *sc, int side, struct meas_result *out)
{
    struct tooth_size size;
    int tooth = tooth_beside(sc->s, side);
    double lo, hi, px = cervix_px(sc, side, tooth);
    if (isnan(px) || !(sc->k > 0.0) || !tooth_usual(tooth, &size))
        return;
    tooth_cervix_range(&size, &lo, &hi);
    check_range(sc, tooth, "width at the CEJ", sc->k * px, lo, hi, out);
}

static double value_of(const struct meas_result *r, const char *stem, const char *side)
{
    char id[MEAS_ID];
    snprintf(id, sizeof id, "%s.%s", stem, side);
    const struct meas_quantity *q = plumb_meas_find(r, id);
    return q ? q->v.value : NO_VALUE;
}

/* The crest between CEJ and apex, the pin's tip below it. Comparisons with NaN are false. */
static void check_crest(const char *side, struct meas_result *out)
{
    double below_cej = value_of(out, "cej_crest", side);
    if (below_cej < -crest_above_cej_mm)
        plumb_sheet_notes_add(&out->warnings,
                              "the %s crest lies %.1f mm coronal of the CEJ, where no bone is: "
                              "check both marks",
                              side, -below_cej);
    if (below_cej > value_of(out, "root_length", side))
        plumb_sheet_notes_add(
            &out->warnings, "the %s crest lies apical of that root's apex: check both marks", side);
    double depth = value_of(out, "depth", side);
    if (depth < -above_crest_mm)
        plumb_sheet_notes_add(&out->warnings,
                              "the pin's tip lies %.1f mm coronal of the %s crest, outside the "
                              "bone: check both marks",
                              -depth, side);
}

/* A bound runs through bone, so apical of the crest. */
static void check_bounds(const struct scene *sc, struct meas_result *out)
{
    double crest;
    if (!scene_crest_level(sc, &crest) || !(sc->k > 0.0))
        return;
    for (size_t i = 0; i < sc->s->n_bounds; i++) {
        double lowest = -HUGE_VAL;
        for (size_t k = 0; k < sc->n_bound[i]; k++)
            lowest = fmax(lowest, geo_dot(sc->bound[i][k], sc->a));
        if (sc->n_bound[i] > 0 && sc->k * (crest - lowest) > above_crest_mm)
            plumb_sheet_notes_add(&out->warnings,
                                  "bound %zu lies coronal of the crest, outside the bone: check "
                                  "its line and the crests",
                                  i + 1);
    }
}

/* The middle of a marked side of a pin lies on the side that it is named after. */
static void check_pin_sides(const struct scene *sc, int pin, struct meas_result *out)
{
    const struct sheet_pin *p = scene_pin_marks(sc, pin);
    struct geo_point line[2];
    for (int i = 0; i < SIDES; i++)
        if (p->side[i][0].set && p->side[i][1].set &&
            !scene_pin_side(sc, pin, (enum sheet_side)i, line))
            plumb_sheet_notes_add(&out->warnings,
                                  "the %s side of pin %d is marked on its other side: mesial and "
                                  "distal seem swapped",
                                  plumb_side_word[i], pin + 1);
}

/* Two pins at one place are one pin, or a slip. */
static void check_pins_apart(const struct scene *sc, int pin, struct meas_result *out)
{
    const struct mark *tip = &scene_pin_marks(sc, pin)->tip;
    for (int i = 0; i < pin; i++) {
        const struct mark *other = &scene_pin_marks(sc, i)->tip;
        if (tip->set && other->set && sc->k * geo_dist(at(tip), at(other)) < pins_apart_mm)
            plumb_sheet_notes_add(&out->warnings,
                                  "pins %d and %d have their tips at one place: check them", i + 1,
                                  pin + 1);
    }
}

static struct geo_point middle_of(const struct geo_point *pts, size_t n)
{
    struct geo_point sum = {0};
    for (size_t i = 0; i < n; i++)
        sum = geo_add(sum, pts[i]);
    return geo_mul(sum, 1.0 / (double)n);
}

/* The near side is the one that faces the site: for the mesial neighbour, its distal side. */
static void check_near(const struct scene *sc, enum sheet_side side, const char *word,
                       struct meas_result *out)
{
    if (!sc->has_m || sc->n_near[side] < 2 || sc->n_far[side] < 2)
        return;
    struct geo_point out_of_site = geo_mul(sc->m, side == MESIAL ? 1.0 : -1.0);
    struct geo_point near = middle_of(sc->near[side], sc->n_near[side]);
    struct geo_point far = middle_of(sc->far[side], sc->n_far[side]);
    if (geo_dot(geo_sub(far, near), out_of_site) < 0.0)
        plumb_sheet_notes_add(&out->warnings,
                              "%s.far lies nearer to the site than %s.near: they seem swapped",
                              word, word);
}

/* A fracture is on the tooth: not beyond its apex. */
static void check_fracture(const struct scene *sc, enum sheet_side side, const char *word,
                           struct meas_result *out)
{
    const struct sheet_site_tooth *t = &sc->s->site_tooth;
    if (t->fracture[side].set && t->apex.set && sc->has_site &&
        plumb_geo_along(&sc->site, at(&t->fracture[side])) >
            plumb_geo_along(&sc->site, at(&t->apex)))
        plumb_sheet_notes_add(&out->warnings,
                              "the %s fracture edge lies beyond the site tooth's apex: check both "
                              "marks",
                              word);
}

static void check_crest_place(const struct scene *sc, int side, const char *word,
                              struct meas_result *out)
{
    const struct mark *crest = &sc->s->side[side].crest;
    struct geo_point nearest;
    if (!crest->set || sc->n_near[side] < 2 || !(sc->k > 0.0))
        return;
    double mm = sc->k * plumb_geo_polyline_nearest(sc->near[side], sc->n_near[side], at(crest),
                                                   &nearest, NULL);
    if (mm > crest_off_root_mm)
        plumb_sheet_notes_add(&out->warnings,
                              "the %s crest lies %.1f mm from that root's side: check that it is "
                              "the crest at the root",
                              word, mm);
}

static void check_lean(struct meas_result *out)
{
    const struct meas_quantity *q = plumb_meas_find(out, "tilt");
    if (q != NULL && !q->below_only && q->v.value > lean_most_deg)
        plumb_sheet_notes_add(&out->warnings,
                              "the gauges say that the pin leans %.0f\u00b0 out of the film, which "
                              "is unusual: check their sizes and ends",
                              q->v.value);
}

void plausible_check(const struct scene *sc, struct meas_result *out)
{
    if (sc->k > 0.0 && (sc->k < pitch_lo_mm || sc->k > pitch_hi_mm))
        plumb_sheet_notes_add(&out->warnings,
                              "the scale is %.1f um a pixel, usual %.0f to %.0f um: check the "
                              "gauge's size and ends",
                              1000.0 * sc->k, 1000.0 * pitch_lo_mm, 1000.0 * pitch_hi_mm);
    check_root(sc, tooth_beside(sc->s, MESIAL), "root_length.mesial", out);
    check_root(sc, tooth_beside(sc->s, DISTAL), "root_length.distal", out);
    check_root(sc, sc->s->site.tooth, "root_length.site", out);
    check_cervix(sc, MESIAL, out);
    check_cervix(sc, DISTAL, out);
    check_crest_place(sc, MESIAL, "mesial", out);
    check_crest_place(sc, DISTAL, "distal", out);
    check_lean(out);
    check_crest("mesial", out);
    check_crest("distal", out);
    check_bounds(sc, out);
    check_near(sc, MESIAL, "mesial", out);
    check_near(sc, DISTAL, "distal", out);
    for (int i = 0; i <= (int)sc->s->n_pins; i++) {
        check_pin_sides(sc, i, out);
        check_pins_apart(sc, i, out);
    }
    check_fracture(sc, MESIAL, "mesial", out);
    check_fracture(sc, DISTAL, "distal", out);
}
