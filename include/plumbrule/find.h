/*
 * find: pixels in, geometry out. Finds the pin unaided, follows root sides from two rough points,
 * snaps a rough point to the crest, lays two films of one site over each other. Everything is in
 * film pixels (see film.h) with a standard uncertainty beside it; nothing is known here of teeth's
 * numbers, millimetres or sheets.
 *
 * "Not found" is a result: an empty list, or ERR_NOTFOUND / ERR_ILLPOSED with the reason in words.
 */
#ifndef PLUMBRULE_FIND_H
#define PLUMBRULE_FIND_H

#include <stdbool.h>
#include <stddef.h>
#include "plumbrule/film.h"
#include "plumbrule/geometry.h"

enum find_tip { FIND_TIP_UNKNOWN, FIND_TIP_FLAT, FIND_TIP_ROUND, FIND_TIP_CONE };

/* The width of a stretch of the pin, from the profile of its own rows; tone and blur are those of
 * the whole pin, so that the widths of one pin differ by far less than u when it does not taper: u
 * holds for each alone, most of it all of them have in common. */
struct find_width {
    struct geo_point at; /* on the axis, in the middle of the rows used */
    double px, u;
    size_t n; /* edge rows used, of both flanks together */
};
enum { FIND_WIDTHS = 5 }; /* stretches of equal length */

/* One pin. The axis runs from the crown end to the tip. */
struct find_pin {
    struct geo_point tip; /* on the axis */
    double u_tip;         /* px, along the axis */
    enum find_tip tip_shape;
    bool has_shoulder;
    struct geo_point shoulder; /* on the axis: where the collar's apical face crosses it */
    double u_shoulder;
    bool has_stop;
    struct geo_point stop; /* on the axis: the apical face of the silicone stop */
    double u_stop;
    struct geo_line axis; /* bisector of the flanks, at the centroid; dir towards the tip */
    /* The axis as two points at +-h from the centroid, h = u_offset / u_angle (within the pin),
     * where their errors across the axis are independent: u_ends each reproduces offset and angle.
     */
    struct geo_point ends[2];
    double u_ends;
    /* Flanks as two points each: [0] on the geo_perp(axis.dir) side, [1] on the other; crown end
     * first, from the shoulder (or where the pin comes into sight) to abreast of the tip at most.
     */
    struct geo_point flank[2][2];
    double u_flank;        /* px, across, each point */
    double width, u_width; /* px, of the cylinder, blur and tone allowed for */
    /* Crown end first, along the straight part that is seen; a stretch with too few rows is left
     * out. */
    struct find_width widths[FIND_WIDTHS];
    size_t n_widths;
    double length; /* px, tip to shoulder, or to where the pin leaves sight */
    /* 0..1: about the share of pins among what is listed with this score, on films as the benches
     * draw them; logistic score of the evidence (pin_judge.c). */
    double confidence;
};

struct find_pins {
    struct find_pin *at; /* best first */
    size_t n;
    bool inverted; /* metal is dark in this film */
};

struct find_pin_params {
    double min_confidence; /* candidates below are not listed */
};
void plumb_find_pin_params_default(struct find_pin_params *p);
/* No pin: out->n = 0 and 0 is returned. Errors only for memory. params NULL: the defaults. */
int plumb_find_pins(const struct film *film, const struct find_pin_params *params,
                    struct find_pins *out, struct err *err);
void plumb_find_pins_release(struct find_pins *p);

/* Is the film inverted (radiopaque dark)? From the film's own histogram, borders and structure. */
bool plumb_find_inverted(const struct film *film);

struct find_edge_point {
    struct geo_point at;
    double u;  /* px, across the edge */
    bool seen; /* false: bridged, the side cannot be seen here */
};

/* A root. Paths run from the crown end to the apex, thinned so that the errors of neighbouring
 * points are independent; left/right as seen looking apically: [0] the geo_perp(axis) side. */
struct find_root {
    struct find_edge_point *side[2];
    size_t n[2];
    struct geo_line midline;  /* robust mid-line, crown to apex, with its uncertainty */
    struct geo_point ends[2]; /* the mid-line as two independent points, as for a pin */
    double u_ends;
    double seen[2]; /* share of each side that was seen, 0..1 */
};
/* From two rough points, up to 10 px off each: crown end (on the root's middle, near the CEJ) and
 * apex. ERR_ILLPOSED with the reason when the sides are not to be seen. */
int plumb_find_root(const struct film *film, struct geo_point crown_end, struct geo_point apex,
                    struct find_root *out, struct err *err);
void plumb_find_root_release(struct find_root *r);

struct find_crest {
    struct geo_point at;
    double u; /* px, along apical */
};
/* From a rough point near the crest, up to 15 px off. apical: unit vector of the apical direction.
 * Beside a root the mark is where the crest meets its ligament, or the crest's summit when it bends
 * over within a millimetre; else the crest abreast of the rough point. u includes which of them is
 * meant and that the edge may be something else. ERR_NOTFOUND with the reason when no edge is to be
 * seen there, or none that looks like a crest. */
int plumb_find_crest(const struct film *film, struct geo_point rough, struct geo_point apical,
                     struct find_crest *out, struct err *err);

/* From points of the old film to points of the new one: to + {xx, xy; yx, yy} (p - from), px. */
struct find_map {
    struct geo_point from, to;
    double xx, xy, yx, yy;
};
/* A place that both films show, and whether it was found again in the new one. */
struct find_place {
    struct geo_point at; /* old px */
    bool found;
    double off; /* from where the map puts it: rms of a coordinate, as far as it is told, new px */
    bool agrees;
};
/* Two films of one site. */
struct find_register {
    struct find_map map;
    bool affine;      /* sheared or stretched too; else turned, scaled and shifted alone */
    bool turned_over; /* one film shows radiopaque bright, the other dark */
    double scale;     /* new px to an old one */
    double turn_rad;  /* of the picture, + clockwise, -pi..pi */
    double agreement; /* of the directions of edges under the map, -1..1 */
    struct find_place *place;
    size_t n_places;
    size_t n_agree;  /* of them found where the map puts them */
    double old_side; /* px, the longer one */
    double u_floor;  /* new px: what teeth at other depths shift by when the exposure's angle is
                        another */
};
/* Finds how a film of the same site lies over another: other tone, polarity, pitch, shift, turns
 * within 24 degrees of a quarter turn; what stands in one of them only (a pin, a graft) falls out.
 * ERR_NOTFOUND with the reason when they do not match: another site, noise, a blank film. */
int plumb_find_register(const struct film *old_film, const struct film *new_film,
                        struct find_register *out, struct err *err);
void plumb_find_register_release(struct find_register *r);
/* Where a point of the old film lies in the new one, and its standard uncertainty, new px a
 * coordinate: what the films' parts near it leave unexplained, and what the map itself may be off,
 * which grows away from where they agree. */
struct geo_point plumb_find_register_point(const struct find_register *r, struct geo_point old,
                                           double *u);

#endif
