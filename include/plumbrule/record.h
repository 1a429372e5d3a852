/*
 * record: what goes into the chart - text, JSON, CSV, the annotated picture - and its revisions on
 * disk. Every output renders the same list of quantities of exam.result.
 */
#ifndef PLUMBRULE_RECORD_H
#define PLUMBRULE_RECORD_H

#include "plumbrule/base.h"
#include "plumbrule/exam.h"

/* The text report, at most 72 columns, UTF-8. */
int plumb_rec_text(const struct exam *e, struct buf *out, struct err *err);
/* Only scale, quantities and findings, as the report words them. */
int plumb_rec_table(const struct exam *e, struct buf *out, struct err *err);
/* One page for the moment of deciding: findings beside what only the eye sees. */
int plumb_rec_worksheet(const struct exam *e, struct buf *out, struct err *err);
/* One line for each quantity that could not be measured: which marks it lacks. */
int plumb_rec_missing(const struct exam *e, struct buf *out, struct err *err);
/* For each quantity, which input contributes how much of its variance, largest first. */
int plumb_rec_budget(const struct exam *e, struct buf *out, struct err *err);
/* The results document; `pretty` over several lines, else on one, newline at the end. */
int plumb_rec_json(const struct exam *e, bool pretty, struct buf *out, struct err *err);
struct json_t; /* of jansson */
/* Any document in the same manner: ten digits, as above. Takes doc; NULL is a lack of memory. */
int plumb_rec_add_json(struct json_t *doc, bool pretty, struct buf *out, struct err *err);
/* One line a quantity, with a header line when `header`. */
int plumb_rec_csv(const struct exam *e, bool header, struct buf *out, struct err *err);

/*
 * The annotated picture, PNG: the film in its own pixels (16 to 8 bits), ink on it, a margin to the
 * right of it when asked for. The number beside what is drawn is the place of its quantity in
 * exam.result.quantity, counted from 1, as in the text report. Film pixels that carry no ink are
 * untouched, and no ink comes near a mark's point or a measured edge. The same exam gives the same
 * bytes on one machine; letters depend on its fonts.
 */
struct rec_picture_options {
    bool legend;    /* a margin with the numbered quantities */
    unsigned level; /* deflate level */
};
void plumb_rec_picture_options_default(struct rec_picture_options *o);
/* Writes into the open file `to`, which stays to be committed. ERR_LIMIT when the picture would
 * have a side of more than 32767 px. */
int plumb_rec_picture(const struct exam *e, const struct rec_picture_options *o,
                      struct file_out *to, struct err *err);

/* The names written; release with plumb_rec_paths_release. */
struct rec_paths {
    char *picture, *text, *json;
    unsigned revision;
};
/* Writes NAME-rNN.png, .txt, .json into dir (made when missing), the next free revision, the JSON
 * last. */
int plumb_rec_write(const struct exam *e, const char *dir, const struct rec_picture_options *o,
                    struct rec_paths *out, struct err *err);
void plumb_rec_paths_release(struct rec_paths *p);

/* --- a series: change over time ------------------------------------------------------------ */

/* The text, at most 72 columns; the document plumbrule-series, version 1; one line a change and,
 * since "trend", one line a line through the values. */
int plumb_rec_series_text(const struct exam_series *s, struct buf *out, struct err *err);
int plumb_rec_series_json(const struct exam_series *s, bool pretty, struct buf *out,
                          struct err *err);
int plumb_rec_series_csv(const struct exam_series *s, struct buf *out, struct err *err);
/* The plot, PNG: a field a quantity, its values with 95 % bars over time, and the line through
 * them. Writes into the open file `to`, which stays to be committed. */
int plumb_rec_series_plot(const struct exam_series *s, struct file_out *to, struct err *err);
/* Writes series-TOOTH-rNN.png, .txt and .json into dir, as plumb_rec_write does. */
int plumb_rec_series_write(const struct exam_series *s, const char *dir, struct rec_paths *out,
                           struct err *err);

#endif
