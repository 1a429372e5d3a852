/*
 * An invented site in millimetres, laid out by plain trigonometry, and put on a film at any turn,
 * scale and mirroring. The expected values come from the same millimetres, never from src/measure.
 *
 * Millimetre frame: first coordinate towards mesial, second apical; the pin's shoulder at (0,0).
 */
#ifndef TESTS_SUPPORT_SITE_H
#define TESTS_SUPPORT_SITE_H

#include "plumbrule/geometry.h"
#include "plumbrule/sheet.h"

struct site {
    double pin_deg;       /* + when the apical end leans to mesial */
    double root_deg[2];   /* same sign for either root */
    double length, width; /* of the pin, mm */
    struct geo_point cej[2], apex[2], crest[2];
    struct geo_point near_top[2], near_end[2]; /* straight near sides */
    double bound_v;                            /* a bound straight across at this depth */
    struct geo_point site_top, site_cej[2], site_apex, fracture[2];
    struct geo_point ridge;         /* its lowest point between the crests */
    double plan_length, plan_width; /* on the pin's axis, from the shoulder */
    struct geo_point second_top;    /* a second pin's shoulder, distal of the first */
    double second_deg, second_length, second_width;
    double age_years;
};
struct placing {
    double turn_deg, mm_per_px;
    bool mirrored;
    int tooth;
};

void site_default(struct site *s);
/* Every mark with the same sd, px (0: the defaults). */
void site_sheet(const struct site *s, const struct placing *p, double sd, struct sheet *out);
/* What must be measured of it, by trigonometry. */
enum { SITE_VALUES = 72 };
struct site_value {
    const char *id;
    double value;
};
size_t site_truth(const struct site *s, struct site_value e[SITE_VALUES]);
struct geo_point site_px(const struct placing *p, struct geo_point mm);

#endif
