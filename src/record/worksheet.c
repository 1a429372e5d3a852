/*
 * The worksheet: what the film shows beside what only the eye sees at the site, one page, for the
 * moment of deciding. It lists; it does not weigh. Each item is measured, seen, or not recorded.
 */
#include "record/report_internal.h"

#include <stdio.h>
#include <string.h>

/* Months after a graft at which the site is looked at again (common practice, no source): three to
 * six, six where the tooth had several roots. */
enum { MONTHS_EARLY = 3, MONTHS_LATE = 6, WORD_COLUMNS = 12 };

/* What is asked at that moment; a trailing * stands for every side, bound or pair of pins. */
static const char *const film_ids[] = {
    "angle.mesial", "angle.distal",     "angle.mean",   "turn.shoulder", "tilt",
    "clearance.*",  "depth.*",          "level.*",      "stop.*",        "bound.*",
    "beyond_apex",  "space.*",          "pins.angle.*", "pins.gap.*",    "pins.tip.*",
    "sound.*",      "plan.clearance.*", "plan.widest",  "plan.depth.*",  "plan.bound.*",
};

static void tell_item(struct buf *out, const char *how, const char *what, const char *value)
{
    char line[512];
    snprintf(line, sizeof line, "%s: %s", what, value);
    char first[32];
    snprintf(first, sizeof first, "  [ ] %-*s ", WORD_COLUMNS, how);
    rec_wrap(out, first, strlen(first), line);
}

static void tell_measured(const struct exam *e, const struct meas_quantity *q, struct buf *out)
{
    char value[96], line[400], label[REC_LABEL];
    plumb_meas_value_words(q, value);
    plumb_text_copy(line, sizeof line, value);
    for (size_t i = 0; i < e->result.n_findings; i++) {
        const struct meas_finding *f = &e->result.finding[i];
        char limit[48];
        if (strcmp(f->quantity, q->id) != 0)
            continue;
        rec_limit_words(f, limit);
        size_t len = strlen(line);
        snprintf(line + len, sizeof line - len, "; %s: %s", plumb_meas_state_word(f->state), limit);
    }
    rec_label_with_axis(&e->sheet, q, REC_LABEL_ANY, label);
    tell_item(out, "measured", label, line);
}

static bool fits(const char *pattern, const char *id)
{
    size_t n = strlen(pattern);
    if (pattern[n - 1] != '*')
        return strcmp(pattern, id) == 0;
    return strncmp(pattern, id, n - 1) == 0 && strchr(id + n - 1, '.') == NULL;
}

/* What was measured of it, and what somebody waits for and is missing. */
static void tell_asked(const struct exam *e, const char *pattern, struct buf *out)
{
    const struct meas_result *r = &e->result;
    for (size_t i = 0; i < r->n_quantities; i++)
        if (fits(pattern, r->quantity[i].id))
            tell_measured(e, &r->quantity[i], out);
    for (size_t i = 0; i < r->n_missing; i++)
        if (fits(pattern, r->missing[i].id) && r->missing[i].aside == NULL) {
            char line[360], label[REC_LABEL];
            rec_label_words(&e->sheet, r->missing[i].id, REC_LABEL_ANY, label);
            snprintf(line, sizeof line, "needs %s", r->missing[i].lacks);
            tell_item(out, "not measured", label, line);
        }
}

static void tell_seen(const char *what, const char *answer, struct buf *out)
{
    bool open = answer[0] == '\0';
    tell_item(out, open ? "not recorded" : "seen", what, open ? "-" : answer);
}

void rec_tell_dates(const struct sheet *s, struct buf *out)
{
    char early[11], late[11];
    if (s->site.grafted[0] == '\0')
        return;
    bool several = s->observed.roots > 1;
    if (plumb_date_add_months(s->site.grafted, several ? MONTHS_LATE : MONTHS_EARLY, early) != 0 ||
        plumb_date_add_months(s->site.grafted, MONTHS_LATE, late) != 0)
        return;
    char line[200];
    if (several)
        snprintf(line, sizeof line,
                 "grafted %s: next film and re-entry about %s (six months, "
                 "several roots)",
                 s->site.grafted, late);
    else
        snprintf(line, sizeof line,
                 "grafted %s: next film and re-entry between %s and %s (three "
                 "to six months)",
                 s->site.grafted, early, late);
    rec_wrap(out, "  ", 2, line);
}

void rec_tell_facts(struct buf *out)
{
    plumb_buf_addf(out, "\nFACTS OF THE TRADE (common practice, no source)\n");
    rec_wrap(out, "  - ", 4,
             "A site of one root is often done in one visit; after several roots "
             "the site is usually grafted first.");
    rec_wrap(out, "  - ", 4,
             "Re-entry follows three to six months after a graft, six after "
             "several roots.");
}

int plumb_rec_worksheet(const struct exam *e, struct buf *out, struct err *err)
{
    const struct sheet_observed *o = &e->sheet.observed;
    char roots[16] = "";
    if (o->roots > 0)
        snprintf(roots, sizeof roots, "%d", o->roots);
    plumb_buf_addf(out, "WORKSHEET FOR THE DECISION AT THE SITE\n\n");
    rec_tell_proposed(rec_is_proposed(&e->sheet), out);
    rec_tell_head(e, out);
    rec_tell_warnings(e, out);
    plumb_buf_addf(out, "\nON THE FILM\n");
    for (size_t i = 0; i < sizeof film_ids / sizeof film_ids[0]; i++)
        tell_asked(e, film_ids[i], out);
    plumb_buf_addf(out, "\nAT THE SITE\n");
    tell_seen("facial plate (not visible on a film)", o->facial_plate, out);
    tell_seen("infection", o->infection, out);
    tell_seen("number of roots", roots, out);
    tell_seen("primary hold", o->primary_hold, out);
    tell_seen("soft tissue", o->soft_tissue, out);
    rec_tell_facts(out);
    rec_tell_dates(&e->sheet, out);
    plumb_buf_addf(out, "\n");
    rec_wrap(out, "", 0,
             "The list does not weigh its items. The decision is the licensed "
             "clinician's; local rules come first.");
    return plumb_buf_check(out, err);
}
