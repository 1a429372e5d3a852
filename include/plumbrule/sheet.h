/*
 * sheet: the document of one film - its marks, gauges, site and remarks - with its JSON form
 * (version 1), its validation, tooth notation and undo. Coordinates are film pixels (see film.h).
 *
 * A sheet is a plain struct: copy it with plumb_sheet_copy, free what it holds with
 * plumb_sheet_release. A mark that is not set is not in the document.
 */
#ifndef PLUMBRULE_SHEET_H
#define PLUMBRULE_SHEET_H

#include <stdbool.h>
#include <stddef.h>
#include "plumbrule/base.h"

enum sheet_limit {
    SHEET_NAME = 96,   /* bytes of a name, NUL included */
    SHEET_WORDS = 256, /* of an observation or a file name */
    SHEET_TEXT = 4096, /* of the remarks */
    SHEET_GAUGES = 8,
    SHEET_BOUNDS = 8,
    SHEET_PINS = 3,       /* further pins beside the first */
    SHEET_PATH = 2000,    /* points of one path */
    SHEET_BYTES = 4 << 20 /* of a sheet file */
};

enum sheet_side { MESIAL, DISTAL, SIDES };
extern const char *const plumb_side_word[SIDES]; /* "mesial", "distal" */

enum mark_by { MARK_HAND, MARK_FOUND, MARK_MOVED, MARK_CARRIED };

struct mark {
    bool set;
    double x, y; /* px */
    double sd;   /* px, standard uncertainty a coordinate; 0: not stated, the default of its kind */
    enum mark_by by;
    bool confirmed; /* by a person: of a mark found or carried over; it stays found or carried */
};

/* Found or carried over, and nobody has confirmed it: a proposal. */
static inline bool plumb_mark_is_open(const struct mark *m)
{
    return (m->by == MARK_FOUND || m->by == MARK_CARRIED) && !m->confirmed;
}

/* What a finder has put there and may replace. */
static inline bool plumb_mark_is_found(const struct mark *m)
{
    return m->by == MARK_FOUND && !m->confirmed;
}

struct mark_path {
    struct mark *at; /* n marks, all set */
    size_t n;
};

enum gauge_kind { GAUGE_LENGTH, GAUGE_ACROSS };
enum gauge_tip { GAUGE_TIP_UNSTATED, GAUGE_TIP_FLAT, GAUGE_TIP_ROUND, GAUGE_TIP_CONE };

struct sheet_gauge {
    char name[SHEET_NAME];
    enum gauge_kind kind;
    double mm;   /* true size */
    double u_mm; /* its standard uncertainty; 0: not stated, the default */
    enum gauge_tip tip;
    struct mark end[2];
};

struct sheet_film {
    char file[SHEET_WORDS]; /* name, relative to the sheet's folder */
    char sha256[65];        /* "" when not stated */
    size_t width, height;   /* px, after orientation; 0 when not stated */
    char taken[11];         /* YYYY-MM-DD or "" */
    char stage[SHEET_NAME];
    double sensor_mm; /* active length of the sensor's longer side; 0 when not stated */
};

enum sheet_notation { NOTATION_FDI, NOTATION_UNIVERSAL };
enum sheet_view { SEEN_FROM_FACIAL, SEEN_FROM_LINGUAL };

struct sheet_site {
    int tooth;                    /* FDI number, 0 when not stated */
    enum sheet_notation notation; /* how it is written in the document and in reports */
    enum sheet_view seen_from;
    char extracted[11], grafted[11]; /* dates, or "" */
    double age_years;                /* of the person at the time of the film; 0 when not stated */
};

struct sheet_pin {
    char name[SHEET_NAME]; /* where it stands: "site 36", or "" */
    struct mark tip, shoulder, stop;
    struct mark axis[2];        /* crown end, apical end */
    struct mark side[SIDES][2]; /* crown end, apical end */
};

struct sheet_neighbour {
    int tooth;           /* FDI; 0: follows from the site */
    struct mark axis[2]; /* crown end, apical end */
    struct mark cej;     /* on the side that faces the site */
    struct mark cej_far; /* on the other side; only helps to place the chord axis */
    struct mark apex, crest;
    struct mark_path near, far; /* root sides, from crown to apex */
};

struct sheet_site_tooth {
    struct mark axis[2];
    struct mark top; /* highest cusp or incisal edge */
    struct mark cej[SIDES], apex;
    struct mark fracture[SIDES];
};

struct sheet_bound {
    char what[SHEET_NAME];
    struct mark_path path;
};

enum plan_on { PLAN_ON_PIN, PLAN_ON_BISECTOR };
struct sheet_plan {
    bool set;
    double length_mm, diameter_mm;
    enum plan_on on;
};

/* What only the eye sees at the site; "" and roots = 0: not recorded. */
struct sheet_observed {
    int roots;
    char facial_plate[SHEET_WORDS], infection[SHEET_WORDS], primary_hold[SHEET_WORDS],
        soft_tissue[SHEET_WORDS];
};

struct sheet {
    struct sheet_film film;
    struct sheet_site site;
    struct sheet_gauge gauge[SHEET_GAUGES];
    size_t n_gauges;
    struct sheet_pin pin;
    struct sheet_pin pins[SHEET_PINS]; /* further pins in the same film: pin 2, 3 ... */
    size_t n_pins;                     /* of them */
    struct sheet_neighbour side[SIDES];
    struct sheet_site_tooth site_tooth;
    struct mark ridge; /* lowest bone of the healed ridge between the crests, where it dips */
    struct sheet_bound bound[SHEET_BOUNDS];
    size_t n_bounds;
    struct sheet_plan plan;
    struct sheet_observed observed;
    char remarks[SHEET_TEXT];
    void *kept; /* the document it was read from: keys unknown to us come back on saving */
};

void plumb_sheet_init(struct sheet *s);
void plumb_sheet_release(struct sheet *s);
/* out is initialised by the call. */
int plumb_sheet_copy(const struct sheet *s, struct sheet *out, struct err *err);

/* What reading or validating has to say that is no error: one clear line each. */
struct sheet_notes {
    char (*line)[200];
    size_t n;
};
void plumb_sheet_notes_add(struct sheet_notes *n, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
void plumb_sheet_notes_release(struct sheet_notes *n);

/* Reads a document. A fault gives ERR_FORMAT with "line L, column C: what: what to do". Unknown
 * keys become notes and are kept. */
int plumb_sheet_parse(const char *text, size_t len, struct sheet *out, struct sheet_notes *notes,
                      struct err *err);
/* Writes the document: same sheet, same bytes; ends with a newline. */
int plumb_sheet_print(const struct sheet *s, struct buf *out, struct err *err);

/* Where in a valid JSON text the value at a path like "limits[2].at_least" begins; line and column
 * count from 1. False when the text has no such path. */
bool plumb_json_locate(const char *text, size_t len, const char *path, size_t *line,
                       size_t *column);

/* Holds the sheet against its film: marks outside the film and wrong sizes are errors, odd but
 * possible things are notes. width, height: of the film. */
int plumb_sheet_check(const struct sheet *s, size_t width, size_t height, struct sheet_notes *notes,
                      struct err *err);

/* Every set mark in one fixed order, for whoever handles all alike. */
enum mark_kind {
    KIND_PIN_TIP,
    KIND_PIN_SHOULDER,
    KIND_PIN_STOP,
    KIND_PIN_AXIS,
    KIND_PIN_SIDE,
    KIND_ROOT_AXIS,
    KIND_CEJ,
    KIND_APEX,
    KIND_CREST,
    KIND_ROOT_SIDE,
    KIND_FRACTURE,
    KIND_TOP,
    KIND_BOUND,
    KIND_GAUGE_END,
    KIND_COUNT
};
struct sheet_mark_ref {
    struct mark *mark; /* borrowed from the sheet */
    enum mark_kind kind;
    char name[48]; /* "mesial.near[3]", "gauges[0].ends[1]": its path in the document */
};
/* Writes up to max refs and returns how many there are. */
size_t plumb_sheet_marks(const struct sheet *s, struct sheet_mark_ref *out, size_t max);
/* The mark with that path, set or not; NULL when there is no such place. */
struct mark *plumb_sheet_mark(struct sheet *s, const char *name);

/* Undo and redo without end. The history keeps copies; `now` is the sheet to edit. */
struct sheet_history {
    struct sheet *step;
    size_t n, cap, at;
};
int plumb_sheet_history_init(struct sheet_history *h, const struct sheet *first, struct err *err);
void plumb_sheet_history_release(struct sheet_history *h);
/* Takes a copy of s as the newest step, dropping what had been undone. */
int plumb_sheet_history_push(struct sheet_history *h, const struct sheet *s, struct err *err);
/* The step before / after the present one, borrowed; NULL when there is none. */
const struct sheet *plumb_sheet_history_undo(struct sheet_history *h);
const struct sheet *plumb_sheet_history_redo(struct sheet_history *h);

/* Teeth are FDI numbers (ISO 3950): 11-18, 21-28, 31-38, 41-48, deciduous 51-55, 61-65, 71-75,
 * 81-85. */
bool plumb_tooth_valid(int fdi);
/* Reads "35" or, in Universal notation, "20" or "K"; ERR_FORMAT with a sentence. */
int plumb_tooth_parse(const char *text, enum sheet_notation notation, int *fdi, struct err *err);
void plumb_tooth_print(int fdi, enum sheet_notation notation, char out[8]);
/* The teeth beside it; 0 where there is none. The mesial neighbour of a central incisor is the
 * other central. */
void plumb_tooth_neighbours(int fdi, int *mesial, int *distal);
bool plumb_tooth_is_upper(int fdi);
/* "lower left second premolar" */
const char *plumb_tooth_name(int fdi, char out[64]);
/*
 * Which way mesial lies on an upright, unmirrored film seen from facial: +1 when mesial is
 * geo_perp(apical), -1 when it is the other way. (Patient's right is on the viewer's left.)
 */
int plumb_tooth_mesial_turn(int fdi);

/* YYYY-MM-DD, a real day of the Gregorian calendar? */
bool plumb_date_valid(const char *s);
/* The same day so many calendar months later; a day the month lacks becomes its last: 31 January
 * and one month is 28 or 29 February. ERR_FORMAT for what is no date. */
int plumb_date_add_months(const char *date, int months, char out[11]);
/* Days from one to the other, negative when it is earlier; both must be valid. */
long plumb_date_days(const char *from, const char *to);

#endif
