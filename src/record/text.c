/*
 * The text report: one page's width of 72 columns, sections in the order a reader asks. A
 * quantity's number is its place in exam.result.quantity, from 1, the same as on the picture.
 */
#include "record/report_internal.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { COLUMNS = 72, LINE_MAX_BYTES = 2 * SHEET_TEXT };

/* --- lines
 * ---------------------------------------------------------------------------------------- */

static size_t word_bytes(const char *s)
{
    return strcspn(s, " \n");
}

/* Bytes of at most `columns` code points. */
static size_t bytes_of_columns(const char *s, size_t len, size_t columns)
{
    size_t i = 0, n = 0;
    while (i < len) {
        size_t next = i + 1;
        while (next < len && ((unsigned char)s[next] & 0xC0) == 0x80)
            next++;
        if (++n > columns)
            break;
        i = next;
    }
    return i;
}

static size_t columns_of(const char *s, size_t len)
{
    size_t n = 0;
    for (size_t i = 0; i < len; i++)
        n += ((unsigned char)s[i] & 0xC0) != 0x80;
    return n;
}

/* Adds text broken at spaces, the first line after `first` (already laid out), the others indented
 * by `hang` columns. A word longer than a line is cut. */
void rec_wrap(struct buf *out, const char *first, size_t hang, const char *text)
{
    size_t column = plumb_text_length(first);
    bool fresh = true; /* nothing but indent in this line */
    plumb_buf_addf(out, "%s", first);
    while (*text != '\0') {
        size_t word = word_bytes(text), wide = columns_of(text, word);
        size_t gap = fresh ? 0 : 1;
        if (!fresh && column + gap + wide > COLUMNS) {
            plumb_buf_addf(out, "\n%*s", (int)hang, "");
            column = hang;
            fresh = true;
            continue;
        }
        if (wide > COLUMNS - column - gap)
            word = bytes_of_columns(text, word, COLUMNS - column - gap);
        plumb_buf_addf(out, "%s%.*s", fresh ? "" : " ", (int)word, text);
        column += gap + columns_of(text, word);
        fresh = false;
        text += word;
        if (*text == '\n') {
            plumb_buf_addf(out, "\n%*s", (int)hang, "");
            column = hang;
            fresh = true;
        }
        text += *text == ' ' || *text == '\n';
    }
    plumb_buf_addf(out, "\n");
}

void rec_wrapf(struct buf *out, const char *first, size_t hang, const char *fmt, ...)
{
    char line[LINE_MAX_BYTES];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(line, sizeof line, fmt, ap);
    va_end(ap);
    rec_wrap(out, first, hang, line);
}

void rec_heading(struct buf *out, const char *words)
{
    plumb_buf_addf(out, "\n%s\n", words);
}

/* --- head
 * ------------------------------------------------------------------------------------------ */

void rec_tell_site(const struct sheet *s, struct buf *out)
{
    char number[8], name[64];
    if (s->site.tooth == 0) {
        plumb_buf_addf(out, "Site   not stated\n");
        return;
    }
    plumb_tooth_print(s->site.tooth, s->site.notation, number);
    plumb_buf_addf(out, "Site   %s, %s; seen from %s\n", number,
                   plumb_tooth_name(s->site.tooth, name),
                   s->site.seen_from == SEEN_FROM_LINGUAL ? "lingual" : "facial");
    if (s->site.extracted[0] != '\0')
        plumb_buf_addf(out, "       extracted %s\n", s->site.extracted);
    if (s->site.grafted[0] != '\0')
        plumb_buf_addf(out, "       grafted %s\n", s->site.grafted);
}

static void tell_film(const struct exam *e, struct buf *out)
{
    const struct sheet_film *f = &e->sheet.film;
    rec_wrapf(out, "Film   ", 7, "%s, %zu x %zu px%s%s%s%s", f->file, e->film.width, e->film.height,
              f->taken[0] ? ", taken " : "", f->taken, f->stage[0] ? ", " : "", f->stage);
}

/* Reproducible: a date is printed only when the environment fixes it. */
void rec_tell_made(struct buf *out)
{
    const char *epoch = getenv("SOURCE_DATE_EPOCH");
    char *end = NULL;
    long long seconds = epoch ? strtoll(epoch, &end, 10) : 0;
    struct tm day;
    time_t t = (time_t)seconds;
    if (epoch == NULL || *epoch == '\0' || *end != '\0' || gmtime_r(&t, &day) == NULL)
        return;
    plumb_buf_addf(out, "Made   %04d-%02d-%02d\n", day.tm_year + 1900, day.tm_mon + 1, day.tm_mday);
}

void rec_tell_head(const struct exam *e, struct buf *out)
{
    rec_tell_site(&e->sheet, out);
    tell_film(e, out);
    rec_tell_made(out);
}

void rec_tell_warnings(const struct exam *e, struct buf *out)
{
    if (e->notes.n + e->result.warnings.n == 0)
        return;
    rec_heading(out, "TAKE NOTE");
    for (size_t i = 0; i < e->result.warnings.n; i++)
        rec_wrap(out, "  - ", 4, e->result.warnings.line[i]);
    for (size_t i = 0; i < e->notes.n; i++)
        rec_wrap(out, "  - ", 4, e->notes.line[i]);
}

bool rec_is_rough(const struct exam *e)
{
    return e->result.scale.from == SCALE_SENSOR || e->result.scale.from == SCALE_TAG;
}

static void tell_scale(const struct exam *e, struct buf *out)
{
    const struct meas_scale *sc = &e->result.scale;
    rec_heading(out, "SCALE");
    const struct meas_quantity *q = plumb_meas_find(&e->result, "scale");
    if (q != NULL) {
        char value[32], u[32];
        plumb_unc_format(q->v.value, q->U, value, u);
        rec_wrapf(out, "  ", 2, "%s \u00b1 %s mm per pixel, %s", value, u, sc->words);
    } else {
        rec_wrapf(out, "  ", 2, "%s", sc->words);
    }
    for (size_t i = 0; i < e->sheet.n_gauges; i++) {
        const struct sheet_gauge *g = &e->sheet.gauge[i];
        double k = sc->gauge_mm_per_px[i];
        if (!(k > 0.0)) {
            rec_wrapf(out, "  ", 4, "%s, %.2f mm: its ends are not marked", g->name, g->mm);
            continue;
        }
        char value[32], u[32];
        plumb_unc_format(k, 2.0 * sc->u_gauge[i], value, u);
        rec_wrapf(out, "  ", 4, "%s, %.2f mm %s: %s \u00b1 %s mm per pixel%s", g->name, g->mm,
                  g->kind == GAUGE_LENGTH ? "along the pin" : "across", value, u,
                  sc->used[i] ? "" : ", not used");
    }
}

/* --- quantities
 * ------------------------------------------------------------------------------------ */

enum { VALUE_GAP = 2 }; /* between a long label and its value */

/* From the usual column on; a wide one begins earlier, or ends the next line. */
static void put_value(size_t column, size_t used, const char *value, struct buf *out)
{
    size_t last = COLUMNS - plumb_text_length(value);
    column = column >= used + VALUE_GAP ? column : used + VALUE_GAP;
    column = column < last ? column : last;
    if (column < used + VALUE_GAP)
        plumb_buf_addf(out, "\n%*s%s\n", (int)last, "", value);
    else
        plumb_buf_addf(out, "%*s%s\n", (int)(column - used), "", value);
}

static void tell_quantity(const struct sheet *s, size_t number, const struct meas_quantity *q,
                          struct buf *out)
{
    enum { HEAD = 6, LABEL = 42 };
    char value[96], label[REC_LABEL];
    plumb_meas_value_words(q, value);
    rec_label_words(s, q->id, COLUMNS - HEAD - VALUE_GAP - plumb_text_length(value), label);
    plumb_buf_addf(out, "%4zu  %s", number, label);
    put_value(HEAD + LABEL, HEAD + plumb_text_length(label), value, out);
    if (q->has_depth)
        rec_wrapf(out, "      ", 6, "%.1f mm %s the %s", fabs(q->depth_mm),
                  q->depth_mm < 0.0 ? "above" : "below", q->depth_from);
    if (q->note[0] != '\0')
        rec_wrapf(out, "      ", 6, "%s", q->note);
}

/* Of which the interval is no plain propagation, by number. */
static void tell_simulated(const struct meas_result *r, struct buf *out)
{
    char numbers[LINE_MAX_BYTES] = "";
    size_t len = 0, n = 0;
    for (size_t i = 0; i < r->n_quantities && len + 8 < sizeof numbers; i++)
        if (r->quantity[i].monte_carlo)
            len += (size_t)snprintf(numbers + len, sizeof numbers - len, "%s%zu", n++ ? ", " : "",
                                    i + 1);
    if (n > 0)
        rec_wrapf(out, "  ", 2, "Interval%s of %s by simulation: not linear near the value%s.",
                  n > 1 ? "s" : "", numbers, n > 1 ? "s" : "");
}

static void tell_quantities(const struct exam *e, struct buf *out)
{
    rec_heading(out, "MEASURED (number as on the picture; \u00b1 or (a to b): 95 % interval)");
    for (size_t i = 0; i < e->result.n_quantities; i++)
        tell_quantity(&e->sheet, i + 1, &e->result.quantity[i], out);
    if (e->result.n_quantities == 0)
        plumb_buf_addf(out, "  nothing yet: the sheet has too few marks\n");
    else
        rec_wrap(
            out, "  ", 2,
            "Angles: + when the pin's apical end leans towards mesial; between the roots, + when "
            "they converge apically. Crest levels: + when the crest is apical of the shoulder, "
            "stop or CEJ.");
    tell_simulated(&e->result, out);
    if (e->sheet.n_pins > 0)
        rec_wrap(out, "  ", 2,
                 "Between pins: + when the second pin's apical end leans towards mesial of the "
                 "first's, or its tip or shoulder lies deeper.");
}

/* --- findings
 * --------------------------------------------------------------------------------------- */

void rec_limit_words(const struct meas_finding *f, char out[48])
{
    const char *word = f->compare == UNC_AT_LEAST  ? "at least"
                       : f->compare == UNC_AT_MOST ? "at most"
                                                   : "within \u00b1";
    bool deg = strcmp(f->unit, "deg") == 0;
    snprintf(out, 48, "%s %g%s%s", word, f->limit, deg ? "" : " ", plumb_meas_unit_word(f->unit));
}

static void tell_finding(const struct sheet *s, const struct meas_finding *f, struct buf *out)
{
    char limit[48], label[REC_LABEL], first[32];
    rec_limit_words(f, limit);
    rec_label_words(s, f->quantity, REC_LABEL_ANY, label);
    snprintf(first, sizeof first, "  %-10s  ", plumb_meas_state_word(f->state));
    rec_wrapf(out, first, 14, "%s: %s (%s)", label, limit, f->caption);
}

/* Each source once, after the findings that rest on it. */
static bool source_told(const struct meas_result *r, size_t i)
{
    for (size_t j = 0; j < i; j++)
        if (strcmp(r->finding[j].source, r->finding[i].source) == 0 &&
            r->finding[j].state != UNC_NOT_MEASURED)
            return true;
    return false;
}

/* A quantity with two limits is not measured once. */
static bool told_before(const struct meas_result *r, size_t i)
{
    for (size_t j = 0; j < i; j++)
        if (strcmp(r->finding[j].quantity, r->finding[i].quantity) == 0)
            return true;
    return false;
}

bool rec_is_awaited(const struct meas_result *r, const char *id)
{
    for (size_t i = 0; i < r->n_missing; i++)
        if (strcmp(r->missing[i].id, id) == 0)
            return r->missing[i].aside == NULL;
    return true;
}

static void tell_findings(const struct exam *e, struct buf *out)
{
    const struct meas_result *r = &e->result;
    rec_heading(out, "HELD AGAINST LIMITS (the clinician's choice; no verdict)");
    size_t told = 0;
    for (size_t i = 0; i < r->n_findings; i++)
        if (r->finding[i].state != UNC_NOT_MEASURED) {
            tell_finding(&e->sheet, &r->finding[i], out);
            told++;
        }
    if (told == 0)
        plumb_buf_addf(out, "  none: nothing was measured that has a limit\n");
    for (size_t i = 0; i < r->n_findings; i++)
        if (r->finding[i].state != UNC_NOT_MEASURED && !source_told(r, i))
            rec_wrapf(out, "  ", 4, "source of \"%s\": %s%s%s%s", r->finding[i].caption,
                      r->finding[i].source,
                      strstr(r->finding[i].source, r->finding[i].status) ? "" : " (",
                      strstr(r->finding[i].source, r->finding[i].status) ? ""
                                                                         : r->finding[i].status,
                      strstr(r->finding[i].source, r->finding[i].status) ? "" : ")");
    char line[LINE_MAX_BYTES] = "", label[64];
    for (size_t i = 0; i < r->n_findings; i++)
        if (r->finding[i].state == UNC_NOT_MEASURED && !told_before(r, i) &&
            rec_is_awaited(r, r->finding[i].quantity)) {
            size_t len = strlen(line);
            snprintf(line + len, sizeof line - len, "%s%s", len ? "; " : "not measured: ",
                     plumb_meas_label(r->finding[i].quantity, label));
        }
    if (line[0] != '\0')
        rec_wrap(out, "  ", 4, line);
}

/* --- what only the eye sees
 * -------------------------------------------------------------------------- */

static void tell_observed(const struct exam *e, struct buf *out)
{
    const struct sheet_observed *o = &e->sheet.observed;
    char roots[16] = "";
    if (o->roots > 0)
        snprintf(roots, sizeof roots, "%d", o->roots);
    const struct {
        const char *what, *answer;
    } row[] = {{"roots", roots},
               {"facial plate (not visible on a film)", o->facial_plate},
               {"infection", o->infection},
               {"primary hold", o->primary_hold},
               {"soft tissue", o->soft_tissue}};
    rec_heading(out, "SEEN AT THE SITE (typed in by the clinician)");
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++)
        rec_wrapf(out, "  ", 4, "%s: %s", row[i].what,
                  row[i].answer[0] ? row[i].answer : "not recorded");
    rec_tell_facts(out);
    rec_tell_dates(&e->sheet, out);
    if (e->sheet.remarks[0] != '\0') {
        rec_heading(out, "REMARKS");
        rec_wrap(out, "  ", 2, e->sheet.remarks);
    }
}

/* --- provenance
 * -------------------------------------------------------------------------------------- */

bool rec_is_proposed(const struct sheet *s)
{
    size_t n = plumb_sheet_marks(s, NULL, 0);
    struct sheet_mark_ref *ref = plumb_mem_array(n, sizeof *ref, NULL);
    bool open = ref == NULL; /* no memory: better to say it than not */
    if (ref != NULL)
        plumb_sheet_marks(s, ref, n);
    for (size_t i = 0; ref != NULL && i < n; i++)
        open = open || plumb_mark_is_open(ref[i].mark);
    free(ref);
    return open;
}

void rec_tell_proposed(bool proposed, struct buf *out)
{
    if (proposed)
        rec_wrap(out, "", 0,
                 "PROPOSED: some marks were found by the program or carried over, and nobody has "
                 "confirmed them yet.\n");
}

static const char *by_word(const struct mark *m)
{
    switch (m->by) {
    case MARK_FOUND:
        return m->confirmed ? "found, confirmed" : "found, not confirmed";
    case MARK_CARRIED:
        return m->confirmed ? "carried over, confirmed" : "carried over, not confirmed";
    case MARK_MOVED:
        return "moved by hand";
    case MARK_HAND:
        break;
    }
    return "by hand";
}

/* "mesial.near[3]" -> "mesial.near" */
static size_t stem(const char *name)
{
    const char *last = strrchr(name, '[');
    bool at_end = last != NULL && strchr(last, ']')[1] == '\0';
    return at_end ? (size_t)(last - name) : strlen(name);
}

/* "the mesial crest [mesial.crest]" */
static void place_words(const char *path, char out[160])
{
    char words[96];
    snprintf(out, 160, "%s [%s]", plumb_meas_place_words(path, words), path);
}

static size_t same_kind(const struct sheet_mark_ref *ref, size_t i, size_t n)
{
    size_t len = stem(ref[i].name), j = i + 1;
    while (j < n && stem(ref[j].name) == len && strncmp(ref[j].name, ref[i].name, len) == 0 &&
           by_word(ref[j].mark) == by_word(ref[i].mark))
        j++;
    return j - i;
}

static int tell_marks(const struct exam *e, struct buf *out, struct err *err)
{
    size_t n = plumb_sheet_marks(&e->sheet, NULL, 0);
    struct sheet_mark_ref *ref = plumb_mem_array(n, sizeof *ref, err);
    if (ref == NULL)
        return ERR_NOMEM;
    plumb_sheet_marks(&e->sheet, ref, n);
    rec_heading(out, "HOW THE MARKS WERE PLACED (standard uncertainty of a coordinate)");
    const double k = e->result.scale.mm_per_px;
    for (size_t i = 0; i < n;) {
        size_t run = same_kind(ref, i, n);
        char many[40] = "", u[48], path[48], place[160];
        if (run > 1)
            snprintf(many, sizeof many, ", %zu points", run);
        if (ref[i].mark->sd > 0.0 && k > 0.0)
            snprintf(u, sizeof u, "%.2f px, %.3f mm", ref[i].mark->sd, ref[i].mark->sd * k);
        else if (ref[i].mark->sd > 0.0)
            snprintf(u, sizeof u, "%.2f px", ref[i].mark->sd);
        else
            snprintf(u, sizeof u, "%.2f mm, default", e->config.mark[ref[i].kind].u_mm);
        snprintf(path, sizeof path, "%.*s", (int)stem(ref[i].name), ref[i].name);
        place_words(path, place);
        rec_wrapf(out, "  ", 4, "%s%s: %s, %s", place, many, by_word(ref[i].mark), u);
        i += run;
    }
    free(ref);
    return 0;
}

static bool any_traced(const struct sheet *s)
{
    for (int i = 0; i < SIDES; i++)
        if (s->side[i].near.n > 0 && s->side[i].near.at[0].sd > 0.0)
            return true;
    return false;
}

static void tell_defaults(const struct exam *e, struct buf *out)
{
    const struct meas_config *c = &e->config;
    rec_wrapf(out, "  ", 4, "plane of other objects: %.1f mm before or behind the gauge (%s)",
              c->plane.u_mm, c->plane.source);
    rec_wrapf(out, "  ", 4, "source to film: %.0f mm (%s)", c->source_to_film_mm,
              c->source_to_film_source);
    rec_wrapf(out, "  ", 4, "lean of the pin, unseen: %.1f\u00b0 (%s)", c->lean.u_mm,
              c->lean.source);
    rec_wrapf(out, "  ", 4, "beam, out of square: %.1f\u00b0 (%s)", c->beam.u_mm, c->beam.source);
    if (rec_is_rough(e))
        rec_wrapf(out, "  ", 4, "scale of last resort: %.0f %% (%s)", c->last_resort.u_mm,
                  c->last_resort.source);
    if (any_traced(&e->sheet))
        rec_wrapf(out, "  ", 4, "traced root, both sides alike: %.2f\u00b0 (%s)", c->traced.u_mm,
                  c->traced.source);
    rec_wrapf(out, "  ", 4, "gauge size: %.2f mm where the sheet states none (%s)",
              c->gauge_size.u_mm, c->gauge_size.source);
    if (c->beam_error_deg > 0.0)
        rec_wrapf(out, "  ", 4,
                  "stated horizontal beam error: %.1f\u00b0, in the angles' intervals",
                  c->beam_error_deg);
}

static void tell_files(const struct exam *e, struct buf *out)
{
    rec_heading(out, "FILES");
    rec_wrapf(out, "  ", 4, "film %s, %zu bytes, %u bit", e->sheet.film.file, e->film.file_size,
              e->film.depth);
    plumb_buf_addf(out, "  SHA-256\n  %s\n", e->film.sha256);
    plumb_buf_addf(out, "  measured with plumbrule %s\n", PLUMB_VERSION);
}

void rec_tell_cautions(struct buf *out)
{
    rec_heading(out, "CAUTIONS");
    for (size_t i = 0; i < plumb_meas_n_cautions; i++)
        rec_wrap(out, "  - ", 4, plumb_meas_cautions[i]);
}

int plumb_rec_text(const struct exam *e, struct buf *out, struct err *err)
{
    plumb_buf_addf(out, "FILM MEASUREMENT REPORT\n\n");
    rec_tell_proposed(rec_is_proposed(&e->sheet), out);
    rec_tell_head(e, out);
    rec_tell_warnings(e, out);
    tell_scale(e, out);
    tell_quantities(e, out);
    tell_findings(e, out);
    tell_observed(e, out);
    int rc = tell_marks(e, out, err);
    tell_defaults(e, out);
    tell_files(e, out);
    rec_tell_cautions(out);
    return rc != 0 ? rc : plumb_buf_check(out, err);
}

int plumb_rec_table(const struct exam *e, struct buf *out, struct err *err)
{
    if (rec_is_proposed(&e->sheet))
        plumb_buf_addf(out, "PROPOSED: some marks are found or carried over and not confirmed\n");
    tell_film(e, out);
    rec_tell_warnings(e, out);
    tell_scale(e, out);
    tell_quantities(e, out);
    tell_findings(e, out);
    return plumb_buf_check(out, err);
}

static bool same_kind_of_id(const char *a, const char *b)
{
    size_t n = strcspn(a, ".");
    return strcspn(b, ".") == n && strncmp(a, b, n) == 0;
}

/* How many before i are left out for the same reason; with like: and are of its kind ("stop"). */
static size_t asides_before(const struct meas_result *r, size_t i, bool like)
{
    size_t n = 0;
    for (size_t j = 0; j < i; j++)
        n += r->missing[j].aside == r->missing[i].aside &&
             (!like || same_kind_of_id(r->missing[j].id, r->missing[i].id));
    return n;
}

/* "stop.*", or the whole id when it is the only one of its kind there. */
static void aside_name(const struct meas_result *r, size_t i, char out[MEAS_ID])
{
    const struct meas_missing *m = &r->missing[i];
    const char *last = strrchr(m->id, '.');
    bool several = false;
    for (size_t j = i + 1; j < r->n_missing; j++)
        several = several ||
                  (r->missing[j].aside == m->aside && same_kind_of_id(r->missing[j].id, m->id));
    bool corrected = last != NULL && strcmp(last, ".corrected") == 0;
    if (several)
        snprintf(out, MEAS_ID, "%.*s.*%s", (int)strcspn(m->id, "."), m->id, corrected ? last : "");
    else
        plumb_text_copy(out, MEAS_ID, m->id);
}

/* One line for all that nobody waits for, for one reason. */
static void tell_aside(const struct meas_result *r, size_t first, struct buf *out)
{
    char line[LINE_MAX_BYTES], name[MEAS_ID];
    int n = snprintf(line, sizeof line, "left out, since %s:", r->missing[first].aside);
    const char *comma = " ";
    for (size_t i = first; i < r->n_missing; i++) {
        if (r->missing[i].aside != r->missing[first].aside || asides_before(r, i, true) > 0)
            continue;
        aside_name(r, i, name);
        n += snprintf(line + n, sizeof line - (size_t)n, "%s%s", comma, name);
        comma = ", ";
    }
    rec_wrap(out, "", 4, line);
}

int plumb_rec_missing(const struct exam *e, struct buf *out, struct err *err)
{
    const struct meas_result *r = &e->result;
    for (size_t i = 0; i < r->n_missing; i++)
        if (r->missing[i].aside == NULL)
            rec_wrapf(out, "", 4, "%s [%s] needs %s", r->missing[i].label, r->missing[i].id,
                      r->missing[i].lacks);
    for (size_t i = 0; i < r->n_missing; i++)
        if (r->missing[i].aside != NULL && asides_before(r, i, false) == 0)
            tell_aside(r, i, out);
    return plumb_buf_check(out, err);
}

/* --- budget --------------------------------------------------------------------------------------
 */

struct share {
    char name[48];
    double variance;
};

static int by_variance(const void *a, const void *b)
{
    const struct share *x = a, *y = b;
    if (x->variance != y->variance)
        return x->variance < y->variance ? 1 : -1;
    return strcmp(x->name, y->name);
}

/* x and y of a mark, and the points of one path, are one entry for a person. */
static void share_name(const char *input, char out[48])
{
    plumb_text_copy(out, 48, input);
    size_t n = strlen(out);
    if (n > 2 && (strcmp(out + n - 2, ".x") == 0 || strcmp(out + n - 2, ".y") == 0))
        out[n - 2] = '\0';
    out[stem(out)] = '\0';
}

static size_t sum_shares(const struct meas_result *r, size_t quantity, struct share *out)
{
    size_t n = 0;
    const double *row = r->contribution + quantity * r->n_inputs;
    for (size_t j = 0; j < r->n_inputs; j++) {
        char name[48];
        share_name(r->input_name[j], name);
        size_t i = 0;
        while (i < n && strcmp(out[i].name, name) != 0)
            i++;
        if (i == n) {
            out[n].variance = 0.0;
            plumb_text_copy(out[n++].name, sizeof out[0].name, name);
        }
        out[i].variance += row[j] * row[j];
    }
    qsort(out, n, sizeof *out, by_variance);
    return n;
}

int plumb_rec_budget(const struct exam *e, struct buf *out, struct err *err)
{
    static const double least_percent = 1.0; /* what changes nothing is not listed */
    const struct meas_result *r = &e->result;
    struct share *share = plumb_mem_array(r->n_inputs, sizeof *share, err);
    if (share == NULL)
        return ERR_NOMEM;
    for (size_t i = 0; i < r->n_quantities; i++) {
        char value[96];
        plumb_meas_value_words(&r->quantity[i], value);
        plumb_buf_addf(out, "%s [%s]  %s\n", r->quantity[i].label, r->quantity[i].id, value);
        size_t n = sum_shares(r, i, share);
        double total = 0.0;
        for (size_t j = 0; j < n; j++)
            total += share[j].variance;
        for (size_t j = 0; j < n && total > 0.0; j++) {
            char place[160];
            place_words(share[j].name, place);
            if (100.0 * share[j].variance / total >= least_percent)
                plumb_buf_addf(out, "  %3.0f %%  %s\n", 100.0 * share[j].variance / total, place);
        }
    }
    free(share);
    return plumb_buf_check(out, err);
}
