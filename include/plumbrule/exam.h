/*
 * exam: the one place where film, find, sheet and measure meet. It opens a sheet with its film,
 * checks the digest, proposes marks, carries them over to a new film, runs the measuring. Shared by
 * the commands and the window.
 */
#ifndef PLUMBRULE_EXAM_H
#define PLUMBRULE_EXAM_H

#include <stdbool.h>
#include "plumbrule/film.h"
#include "plumbrule/find.h"
#include "plumbrule/measure.h"
#include "plumbrule/sheet.h"

struct exam_options {
    struct film_options film;
    bool film_changed;       /* accept a film whose digest differs from the sheet's */
    const char *limits_path; /* a user's file, or NULL: the one in the XDG config folder if any */
    double beam_error_deg;
    bool has_plan_on; /* the planned cylinder on another axis than the sheet has it on */
    enum plan_on plan_on;
};
void plumb_exam_options_default(struct exam_options *o);

/* The defaults with the clinician's own entries over them. */
int plumb_exam_config(const struct exam_options *o, struct meas_config *out, struct err *err);

struct exam {
    struct film film;
    struct sheet sheet;
    struct meas_config config;
    struct meas_result result;
    struct sheet_notes notes; /* from reading and checking, and from the film */
    char *film_path;
    char *sheet_path;  /* NULL when there is none yet */
    bool has_pin_hint; /* of several found pins, the one nearest to this point is meant, px */
    double pin_hint_x, pin_hint_y;
};
/* Opens a sheet ("-": standard input, film beside the current folder) and its film, and measures.
 */
int plumb_exam_open_sheet(const char *path, const struct exam_options *o, struct exam *out,
                          struct err *err);
/* Opens a film with an empty sheet that names it. */
int plumb_exam_open_film(const char *path, const struct exam_options *o, struct exam *out,
                         struct err *err);
void plumb_exam_release(struct exam *e);
/* Measures again after the sheet was edited. */
int plumb_exam_measure(struct exam *e, struct err *err);

/* A known size stated on the command line or in the window. */
struct exam_gauge {
    enum gauge_kind kind;
    double mm, u_mm;
};
/* Runs the finder and puts what it found into the sheet, marked `found`: the surest pin as `pin`,
 * others as `pins`, as many as there is room for; gauges whose ends follow from the pin are placed
 * on that pin. Marks already set by hand stay. n_pins: how many were found. */
int plumb_exam_propose(struct exam *e, const struct exam_gauge *gauges, size_t n_gauges,
                       size_t *n_pins, struct err *err);
/* Root sides and axis of one neighbour from two rough points; crest from one. */
int plumb_exam_propose_root(struct exam *e, enum sheet_side side, double crown_x, double crown_y,
                            double apex_x, double apex_y, struct err *err);
/* Of a tooth with two roots: sides and apex of the one that faces the site, and as the tooth's axis
 * the bisector of both. Each root as x and y of its crown end, then of its apex, px. */
int plumb_exam_propose_two_roots(struct exam *e, enum sheet_side side, const double near[4],
                                 const double other[4], struct err *err);
int plumb_exam_propose_crest(struct exam *e, enum sheet_side side, double x, double y,
                             struct err *err);
/*
 * Fills the sheet of a newly opened film of the same site from an old one. The films are laid over
 * each other (plumb_find_register; ERR_FORMAT when they do not match or are one film) and old marks
 * go over as `carried`, their sd widened by how well the films match. What is followed over time or
 * may have changed is found afresh where a finder can: the pin with its gauges, the crest, the root
 * sides. What the sheet has already stays. gauges, and each old gauge whose kind is not among them,
 * are placed on the pin that is found, unless the old film's scale tells that it is another drill.
 * say: what was carried, found again and dropped, one line each; n_pins: how many pins were found.
 */
int plumb_exam_carry(const struct exam *old, struct exam *e, const struct exam_gauge *gauges,
                     size_t n_gauges, size_t *n_pins, struct sheet_notes *say, struct err *err);
/* Before a file is written over: keeps what is there, whole or not at all, as the first of
 * PATH.old, PATH.old2, PATH.old3 ... that is free. Nothing there is no fault; a film there is one,
 * since a film is never written over. */
int plumb_exam_keep_old(const char *path, struct err *err);
/* Saves the sheet to path atomically, or to sheet_path when path is NULL. Without replace an
 * existing file is left alone. */
int plumb_exam_save(struct exam *e, const char *path, bool replace, struct err *err);

/* The sheets of one site over time. Each film is opened and its digest checked as in
 * plumb_exam_open_sheet; its pixels are let go once it is measured, so exam[].film is empty and the
 * sheet says what is known of the file. */
struct exam_series {
    struct exam *exam; /* n, by date; films of one day in the order given */
    size_t n;
    struct meas_series result;
};
/* same_pin: see plumb_meas_series. On `jobs` threads. What is wrong is told with the sheet's name.
 */
int plumb_exam_series_open(const char *const *sheets, size_t n, const struct exam_options *o,
                           bool same_pin, size_t jobs, struct exam_series *out, struct err *err);
void plumb_exam_series_release(struct exam_series *s);

#endif
