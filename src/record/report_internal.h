/* Words that text, JSON and picture put the same way. */
#ifndef PLUMB_REPORT_INTERNAL_H
#define PLUMB_REPORT_INTERNAL_H

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
void rec_tell_proposed(const struct sheet *s, struct buf *out);
/* False when nobody waits for that quantity on this film. */
bool rec_is_awaited(const struct meas_result *r, const char *id);
/* Adds text broken at spaces to 72 columns: `first` starts the first line, the others are indented
 * by `hang`. */
void rec_wrap(struct buf *out, const char *first, size_t hang, const char *text);
/* Site, film, date of making. */
void rec_tell_head(const struct exam *e, struct buf *out);
/* What is to be noted before a number is read. */
void rec_tell_warnings(const struct exam *e, struct buf *out);
/* What is customary, so called. */
void rec_tell_facts(struct buf *out);
/* When the site is looked at again, if the sheet says when it was grafted. */
void rec_tell_dates(const struct sheet *s, struct buf *out);

#endif
