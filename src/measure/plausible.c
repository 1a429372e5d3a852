/*
 * Plausibility: what is measured against what teeth, sensors and bone usually are. A warning names
 * the number and what to check; nothing is changed by it.
 */
#include "measure/plausible_internal.h"

#include <stdio.h>
#include <string.h>

#include "measure/teeth_internal.h"

/* Pitch of exported films: solid-state 15 to 30 um, plates 20 to 64 um (from memory), with room. */
static const double pitch_lo_mm = 0.010, pitch_hi_mm = 0.070;
/* A crest so far coronal of the CEJ is no bone (common practice, no source). */
static const double crest_above_cej_mm = 1.0;
/* The crest of a neighbour is where the bone meets its ligament; the lean of a pin that is tried in
 * a site stays small (both common practice, no source). */
static const double crest_off_root_mm = 1.5, lean_most_deg = 20.0;

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

/* Width between near and far side where the CEJ is marked. */
static void check_cervix(const struct scene *sc, int side, struct meas_result *out)
{
    const struct sheet_neighbour *nb = &sc->s->side[side];
    struct tooth_size size;
    double lo, hi;
    int tooth = tooth_beside(sc->s, side);
    if (!nb->cej.set || !nb->cej_far.set || !(sc->k > 0.0) || !tooth_usual(tooth, &size))
        return;
    tooth_cervix_range(&size, &lo, &hi);
    check_range(sc, tooth, "width at the CEJ", sc->k * geo_dist(at(&nb->cej), at(&nb->cej_far)), lo,
                hi, out);
}

static void check_crest(const char *side, const char *id, struct meas_result *out)
{
    const struct meas_quantity *q = plumb_meas_find(out, id);
    if (q != NULL && q->v.value < -crest_above_cej_mm)
        plumb_sheet_notes_add(&out->warnings,
                              "the %s crest lies %.1f mm coronal of the CEJ, where no bone is: "
                              "check both marks",
                              side, -q->v.value);
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
    check_crest("mesial", "cej_crest.mesial", out);
    check_crest("distal", "cej_crest.distal", out);
}
