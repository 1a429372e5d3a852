/*
 * measure, inside: the scene. A scene is one evaluation's view of a sheet: a working copy whose
 * marks hold the input vector's values, the scale, the frame of the site and the lines that the
 * quantities are made of. Pixel frame of film.h; lengths in px until a quantity multiplies by k.
 */
#ifndef PLUMB_MEASURE_INTERNAL_H
#define PLUMB_MEASURE_INTERNAL_H

#include "plumbrule/geometry.h"
#include "plumbrule/measure.h"

enum axis_kind { AXIS_NONE, AXIS_GIVEN, AXIS_CHORD, AXIS_MIDLINE };

/* How gauges make the scale; decided once at the estimates, then held while inputs are varied. */
struct scale_rule {
    enum meas_scale_from from;
    double weight[SHEET_GAUGES]; /* of each gauge's mm/px; they sum to 1 */
    bool disagree;               /* the gauges contradict each other */
    bool lean_known;             /* the scale comes from across gauges: the lean is significant */
    double fallback_mm_per_px;   /* from the sensor or the tag */
};

/* Inputs that are not marks. */
struct scene_inputs {
    double gauge_mm[SHEET_GAUGES];
    double gauge_shown[SHEET_GAUGES]; /* relative, by an unseen lean and the beam; scale.c */
    double disagree;         /* relative, estimate 0: gauges differ by more than they should */
    double fallback;         /* relative, estimate 0: error of a scale of last resort */
    double age_years;        /* as stated */
    double root_turn[SIDES]; /* rad, estimate 0: error common to a traced root's two sides */
    double beam;             /* rad, estimate 0: stated error of the beam, on every angle */
};

/* Levels at which the middle of a root is taken for its mid-line. */
enum { MIDLINE_LEVELS = 25 };

struct scene {
    struct sheet *s; /* working copy: marks hold the inputs */
    const struct meas_config *c;
    struct scale_rule rule;
    struct scene_inputs in;

    double k;    /* mm/px, NaN without scale */
    double tilt; /* rad, NaN when there is no pair of gauges */

    bool has_pin, has_root[SIDES], has_site, has_frame, has_m;
    struct geo_line pin; /* crown to tip */
    bool has_pins[SHEET_PINS];
    struct geo_line pins[SHEET_PINS]; /* further pins, crown to tip */
    struct geo_line root[SIDES];      /* crown to apex */
    enum axis_kind root_kind[SIDES];
    struct geo_line site;
    struct geo_point a, m;

    struct geo_point *near[SIDES], *far[SIDES]; /* scratch copies of the paths' points */
    size_t n_near[SIDES], n_far[SIDES];
    struct geo_point *bound[SHEET_BOUNDS];
    size_t n_bound[SHEET_BOUNDS];

    /* Weights of the mid-line's points, by level, from the robust fit at the estimates, and the
     * kind of axis: held while inputs are varied, so that the line moves smoothly with them. */
    bool has_weight[SIDES];
    double weight[SIDES][MIDLINE_LEVELS];
    enum axis_kind held_kind[SIDES];

    struct meas_result *draw; /* segments are added here when not NULL */
};

/* NAN is a float, which some compilers complain of when it becomes a double. */
#define NO_VALUE ((double)NAN)
/* k = 2 where degrees of freedom are not known otherwise (JCGM 100, 6.3.3). */
static const double k_default = 2.0;

/* Marks to points. */
static inline struct geo_point at(const struct mark *m)
{
    return (struct geo_point){m->x, m->y};
}

int scene_init(struct scene *sc, const struct sheet *s, const struct meas_config *c,
               struct err *err);
void scene_release(struct scene *sc);
/* Brings everything derived up to date with the marks and inputs. */
void scene_update(struct scene *sc);
/* Apparent mm/px of gauge i, its lean allowed for; NaN when it has no ends. */
double scene_gauge_scale(const struct scene *sc, size_t i);
/* Lean from a length gauge and the scale across it, rad; NaN when the sheet has no such pair.
 * above: the relative excess that is added to the ratio first (for intervals). */
double scene_tilt(const struct scene *sc, double ratio_shift);
/* Unit vector across l, towards mesial (or distal). */
struct geo_point scene_toward(const struct scene *sc, const struct geo_line *l,
                              enum sheet_side side);
/* Angle of direction d against r, + towards mesial, deg. */
double scene_lean(const struct scene *sc, struct geo_point d, struct geo_point r);
/* Pins by number: 0 the first, then the further ones. NULL: it has no axis. */
const struct sheet_pin *scene_pin_marks(const struct scene *sc, int pin);
const struct geo_line *scene_pin_axis(const struct scene *sc, int pin);
/* A pin's side that looks to mesial or distal, crown end first; false when it cannot be had. */
bool scene_pin_side(const struct scene *sc, int pin, enum sheet_side side, struct geo_point out[2]);
/* Which side of a pin looks at another one; both have axes. */
enum sheet_side scene_pin_facing(const struct scene *sc, int pin, int other);
/* Middle-of-root axes for comparison. scene_hold: once, after the first update. */
bool scene_chord(const struct scene *sc, enum sheet_side side, struct geo_line *out);
void scene_hold(struct scene *sc);
bool scene_midline(const struct scene *sc, enum sheet_side side, struct geo_line *out);
/* Where the planned cylinder stands: platform centre and direction. */
bool scene_plan(const struct scene *sc, struct geo_line *out);
/* Level of the crest along a: the middle of the crests that are marked. */
bool scene_crest_level(const struct scene *sc, double *along_a);
/* Where the near side crosses the level. */
bool scene_near_at(const struct scene *sc, enum sheet_side side, double level,
                   struct geo_point *out);
void scene_draw(const struct scene *sc, const char *id, struct geo_point p, struct geo_point q);

/* The quantities. */
struct slot {
    char id[MEAS_ID];
    const char *unit;
    const struct quantity_kind *kind;
    int arg;        /* a side, a bound's index, or a pair of pins */
    bool corrected; /* along the pin, with the lean allowed for */
};
/* Depth beside a smallest distance. */
struct slot_extra {
    bool has_depth;
    double depth_mm;
    const char *depth_from;
    bool at_path_end; /* the nearest point is the crown end of a side that starts below the pin's */
};
/* Does a pattern with `*` for the last word fit an id? Is there any id it fits? */
bool slot_fits(const char *pattern, const char *id);
bool slots_know(const char *pattern);
size_t slots_list(const struct sheet *s, struct slot out[MEAS_QUANTITIES]);
/* NaN when marks are missing or do not meet. */
double slot_eval(const struct slot *slot, const struct scene *sc, struct slot_extra *extra);
/* Names of what it is made of; words for what is missing. */
size_t slot_from(const struct slot *slot, const struct scene *sc, char from[MEAS_FROM][MEAS_ID]);
void slot_lacks(const struct slot *slot, const struct scene *sc, struct meas_missing *out);
/* Is it the smallest of many distances? */
bool slot_is_least(const struct slot *slot);

/* Both ways of propagation for every quantity, side by side (for the tests; see run.c). */
struct simulated {
    struct slot slot[MEAS_QUANTITIES];
    struct unc_value linear[MEAS_QUANTITIES], drawn[MEAS_QUANTITIES];
    size_t n;
};
int measure_simulate(const struct sheet *s, const struct meas_film *film,
                     const struct meas_config *c, size_t trials, struct simulated *out,
                     struct err *err);

#endif
