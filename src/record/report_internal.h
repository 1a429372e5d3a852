/* Words that text, JSON and picture put the same way. */
#ifndef PLUMB_REPORT_INTERNAL_H
#define PLUMB_REPORT_INTERNAL_H

#include <jansson.h>
#include <stdbool.h>
#include "plumbrule/record.h"

enum { REC_LABEL = 64 + SHEET_NAME + 32, REC_LABEL_ANY = REC_LABEL };
/* A quantity's label; with the bound's name in it if that makes at most `most` columns. */
void rec_label_words(const struct sheet *s, const char *id, size_t most, char out[REC_LABEL]);
/* And which root axis the pin is held against: "pin against the mesial root axis (chord)". */
void rec_label_with_axis(const struct sheet *s, const struct meas_quantity *q, size_t most,
                         char out[REC_LABEL]);
/* "at least 1.5 mm" */
void rec_limit_words(const struct meas_finding *f, char out[48]);
/* Is any mark found or carried over and unconfirmed? */
bool rec_is_proposed(const struct sheet *s);
/* Says so, if it is. */
void rec_tell_proposed(bool proposed, struct buf *out);
/* Is its scale one of last resort? */
bool rec_is_rough(const struct exam *e);
/* False when nobody waits for that quantity on this film. */
bool rec_is_awaited(const struct meas_result *r, const char *id);
/* Adds text broken at spaces to 72 columns: `first` starts the first line, the others are indented
 * by `hang`. */
void rec_wrap(struct buf *out, const char *first, size_t hang, const char *text);
void rec_wrapf(struct buf *out, const char *first, size_t hang, const char *fmt, ...)
    __attribute__((format(printf, 4, 5)));
/* After an empty line. */
void rec_heading(struct buf *out, const char *words);
/* The site; the day of making, where the environment fixes one; the cautions of every report. */
void rec_tell_site(const struct sheet *s, struct buf *out);
void rec_tell_made(struct buf *out);
void rec_tell_cautions(struct buf *out);
/* Tooth and notation; null where no tooth is stated. */
json_t *rec_site_json(const struct sheet *s);
/* A field of CSV, in quotes when it needs them, and what follows it. */
void rec_csv_field(struct buf *out, const char *s, const char *end);
/* Site, film, date of making. */
void rec_tell_head(const struct exam *e, struct buf *out);
/* What is to be noted before a number is read. */
void rec_tell_warnings(const struct exam *e, struct buf *out);
/* What is customary, so called. */
void rec_tell_facts(struct buf *out);
/* When the site is looked at again, if the sheet says when it was grafted. */
void rec_tell_dates(const struct sheet *s, struct buf *out);

/* Of a series: has any sheet a mark that nobody has confirmed? */
bool rec_series_is_proposed(const struct exam_series *s);
/* The first film that has the quantity; each course has one. */
size_t rec_course_first(const struct meas_course *c);
/* "films 1 to 5, 126 days: no change detectable below 0.77 mm", or how much it is. */
enum { REC_CHANGE = 200 };
void rec_series_words(const struct meas_course *c, char out[REC_CHANGE]);

#endif
