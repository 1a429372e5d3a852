/*
 * measure: a sheet in, quantities and findings out. Pure: no pixels, no files, no drawing. The
 * frame of the site, the scale, every quantity and its uncertainty are defined here (see
 * quantities.c).
 *
 * Signs follow the frame: `a` points apically, `m` from the distal to the mesial neighbour. Nothing
 * depends on how the film is turned or mirrored.
 */
#ifndef PLUMBRULE_MEASURE_H
#define PLUMBRULE_MEASURE_H

#include <stdbool.h>
#include <stddef.h>
#include "plumbrule/base.h"
#include "plumbrule/metrology.h"
#include "plumbrule/sheet.h"

enum meas_limit { MEAS_ID = 40, MEAS_QUANTITIES = 144, MEAS_LIMITS = 64, MEAS_FROM = 12 };

/* Everything that has a default with a source; see config.c. */
struct meas_mark_default {
    double u_mm;
    char source[160];
};
struct meas_limit_entry {
    char quantity[MEAS_ID]; /* an id, or one with `*` for the last word: "clearance.*" */
    enum unc_compare compare;
    double limit;
    char caption[120], source[240], status[40];
};
struct meas_config {
    struct meas_mark_default mark[KIND_COUNT];
    struct meas_mark_default gauge_size; /* u of a gauge's stated size, mm */
    struct meas_mark_default plane;      /* u_mm: objects lie so far out of the gauge's plane */
    struct meas_mark_default lean;       /* u_mm holds degrees: lean of a pin nobody could detect */
    struct meas_mark_default beam;   /* u_mm holds degrees: the beam against the film's normal */
    struct meas_mark_default traced; /* u_mm holds degrees: error common to a traced root */
    struct meas_mark_default last_resort; /* u_mm holds percent: of a scale without a gauge */
    double source_to_film_mm; /* for the plane's effect: magnification M = SID/(SID-OID) */
    char source_to_film_source[160];
    double healthy_mm; /* healthy CEJ-crest distance */
    char healthy_source[160];
    double beam_error_deg; /* 0: none stated */
    struct meas_limit_entry limit[MEAS_LIMITS];
    size_t n_limits;
};
/* The built-in defaults. */
int plumb_meas_config_default(struct meas_config *c, struct err *err);
/* Overrides single entries from a user's JSON text; faults with line and column. */
int plumb_meas_config_parse(const char *text, size_t len, struct meas_config *c, struct err *err);

/* What measuring needs to know of the film. */
struct meas_film {
    size_t width, height;
    bool mirrored;
    double pitch_um; /* believable detector pitch, or 0 */
};

struct meas_quantity {
    char id[MEAS_ID];
    char label[64];   /* in words: "pin against mesial root" */
    const char *unit; /* "mm", "deg", "%", "mm/px" */
    struct unc_value v;
    double U;         /* half the 95 % interval's width as printed after +- */
    bool monte_carlo; /* lo, hi come from propagation of distributions */
    bool below_only;  /* one-sided: only `below hi` can be said */
    bool has_depth;
    double depth_mm;     /* where a smallest distance occurs */
    char depth_from[24]; /* "below the crest", "below the shoulder" */
    /* The one root axis it is against: "chord", "mid-line", "as marked"; or NULL. */
    const char *axis;
    char note[160];                /* "" or one line in words */
    char from[MEAS_FROM][MEAS_ID]; /* what it was computed from, in the sheet's words */
    size_t n_from;
};
struct meas_missing {
    char id[MEAS_ID];
    char label[64];
    const char *unit;
    char lacks[320];   /* the marks it lacks, in words, each with its place in the sheet in [] */
    const char *aside; /* why nobody waits for it here ("no plan is stated"), else NULL */
};
struct meas_finding {
    char quantity[MEAS_ID];
    enum unc_state state;
    enum unc_compare compare;
    double limit;
    const char *unit;
    char caption[120], source[240], status[40];
};
enum meas_scale_from { SCALE_NONE, SCALE_GAUGES, SCALE_SENSOR, SCALE_TAG };
struct meas_scale {
    enum meas_scale_from from;
    double mm_per_px, u;
    double birge; /* of several gauges; 0 for one */
    bool used[SHEET_GAUGES];
    double gauge_mm_per_px[SHEET_GAUGES], u_gauge[SHEET_GAUGES];
    char words[200]; /* how it was found, for the report */
};
struct meas_frame {
    bool set, has_mesial;
    double ax, ay, mx, my; /* the unit vectors a and m */
};
/* A straight piece of the evaluated geometry, for drawing: what was measured where. px. */
struct meas_segment {
    char id[MEAS_ID];
    double x0, y0, x1, y1;
};
struct meas_result {
    struct meas_scale scale;
    struct meas_frame frame;
    struct meas_quantity *quantity;
    size_t n_quantities;
    struct meas_missing *missing;
    size_t n_missing;
    struct meas_finding *finding;
    size_t n_findings;
    struct meas_segment *segment;
    size_t n_segments;
    struct sheet_notes warnings;
    /* The budget: variance contribution of input j to quantity i, n_quantities x n_inputs. */
    size_t n_inputs;
    char (*input_name)[48];
    double *input_u;
    double *contribution; /* signed c_j u_j, in the quantity's unit */
};
/* Measures. A sheet without enough marks gives fewer quantities, not an error. */
int plumb_meas_run(const struct sheet *s, const struct meas_film *film, const struct meas_config *c,
                   struct meas_result *out, struct err *err);
void plumb_meas_result_release(struct meas_result *r);
const struct meas_quantity *plumb_meas_find(const struct meas_result *r, const char *id);
/* Common practice, no source: a sensor's pitch, where a sheet has no scale and mm must become px.
 */
extern const double plumb_meas_usual_mm_per_px;

/* --- series: the sheets of one site over time (series.c) ---------------------------------------
 */

enum meas_series_limit { SERIES_FILMS = 60 };
/* One film of a series; all borrowed. */
struct meas_visit {
    const char *name; /* of the sheet, for what is wrong with it */
    const struct sheet *sheet;
    const struct meas_result *result;
};
/* What a change of a quantity speaks of. */
enum meas_course_kind {
    COURSE_CREST,   /* the crest, against what stays: CEJ, root, fracture edge, an unmoved pin */
    COURSE_TEETH,   /* the teeth among themselves */
    COURSE_CONTROL, /* what does not change with the crest: a change is one of the films */
    COURSE_PIN,     /* where a pin or drill stood on each film: not bone */
    COURSE_KINDS
};
struct meas_change {
    size_t from, to;  /* films, from 0 */
    bool since_first; /* else since the film before; the second film's change stands once */
    long days;
    double value, u, U; /* U: 95 %; no change is detectable below it */
    bool detected;      /* |value| > U */
    bool has_rate;
    double rate, u_rate, U_rate; /* a month of 30.4375 days */
};
/* Straight line over three films or more. */
struct meas_trend {
    bool set;
    size_t n;
    double slope, u, U;    /* a month; u widened when the values do not lie on a line */
    double start, u_start; /* at the series' first film */
    double birge, p;       /* chi-square about the line */
    bool straight;         /* p at least 0.05 */
};
/* One quantity over time. */
struct meas_course {
    char id[MEAS_ID]; /* the quantity's; its changes are called change.ID */
    char label[64];
    const char *unit;
    enum meas_course_kind kind;
    const struct meas_quantity *at[SERIES_FILMS]; /* borrowed; NULL: no value to compare */
    struct meas_change *change;
    size_t n_changes;
    struct meas_trend trend;
    char note[160]; /* "" or one line in words */
};
struct meas_left_out {
    char id[MEAS_ID];
    const char *why;
};
struct meas_series {
    size_t n_films;
    long day[SERIES_FILMS]; /* since the first film */
    bool same_pin;
    struct meas_course *course; /* by kind */
    size_t n_courses;
    struct meas_left_out *left_out;
    size_t n_left_out;
    struct sheet_notes warnings;
};
/*
 * Change over time. visit: n of 2..SERIES_FILMS in order of their films' dates, each of the same
 * tooth, measured with one config; they must outlive the series. same_pin: the pin stands unmoved
 * on all of them (an implant at recalls), so that its shoulder and tip are references. ERR_FORMAT
 * names the sheet that does not belong.
 */
int plumb_meas_series(const struct meas_visit *visit, size_t n, bool same_pin,
                      struct meas_series *out, struct err *err);
void plumb_meas_series_release(struct meas_series *s);
const struct meas_course *plumb_meas_series_find(const struct meas_series *s, const char *id);
/* A month: a twelfth of the Julian year of 365.25 days. */
extern const double plumb_meas_month_days;

/* Words: the one place of labels and cautions (words.c). */
const char *plumb_meas_label(const char *id, char out[64]);
const char *plumb_meas_mark_label(enum mark_kind kind);
/* "mesial.near[3]", or an input of the budget, in a person's words: "the mesial root's near side".
 */
const char *plumb_meas_place_words(const char *path, char out[96]);
/* "3.2 +- 0.4 mm"; "4.5 deg (3.7 to 7.4)" where the 95 % interval reaches farther to one side
 * than to the other; "below 8.1 deg"; "none detectable" for 0 with an interval of 0; with the signs
 * of print. */
const char *plumb_meas_value_words(const struct meas_quantity *q, char out[96]);
/* The unit as printed: "deg" is the degree sign, "1" nothing. */
const char *plumb_meas_unit_word(const char *unit);
const char *plumb_meas_state_word(enum unc_state s);
extern const char *const plumb_meas_cautions[];
extern const size_t plumb_meas_n_cautions;

#endif
