/*
 * A series in words, as JSON (plumbrule-series, version 1) and as CSV (RFC 4180): the values of
 * each quantity, film by film, and their changes. It states; it does not judge.
 */
#include "record/report_internal.h"

#include <stdio.h>
#include <string.h>

enum { VALUE_COLUMNS = 22, CHANGE_COLUMNS = 15 };

static const char *const kind_id[COURSE_KINDS] = {"crest", "teeth", "control", "pin"};
static const char *const kind_heading[COURSE_KINDS] = {
    "THE CREST (against what stays: CEJ, root, fracture edge)",
    "THE TEETH AMONG THEMSELVES",
    "CONTROLS (not the crest: a change here is one of films or marks)",
    "WHERE THE PIN STOOD (a change of the pin's place, not of bone)",
};
static const char same_pin_heading[] =
    "THE CREST (against what stays: CEJ, root, fracture edge, pin)";

bool rec_series_is_proposed(const struct exam_series *s)
{
    for (size_t i = 0; i < s->n; i++)
        if (rec_is_proposed(&s->exam[i].sheet))
            return true;
    return false;
}

size_t rec_course_first(const struct meas_course *c)
{
    size_t i = 0;
    while (c->at[i] == NULL)
        i++;
    return i;
}

/* --- text: head
 * ----------------------------------------------------------------------------------- */

static void tell_films(const struct exam_series *s, struct buf *out)
{
    const struct sheet_film *last = &s->exam[s->n - 1].sheet.film;
    long days = s->result.day[s->n - 1];
    if (days > 0)
        plumb_buf_addf(out, "Films  %zu, %s to %s, %ld day%s\n", s->n, s->exam[0].sheet.film.taken,
                       last->taken, days, days == 1 ? "" : "s");
    else
        plumb_buf_addf(out, "Films  %zu, all of %s\n", s->n, last->taken);
    for (size_t i = 0; i < s->n; i++) {
        const struct exam *e = &s->exam[i];
        const struct sheet_film *f = &e->sheet.film;
        const struct meas_quantity *q = plumb_meas_find(&e->result, "scale");
        char first[40], scale[96] = "not known";
        if (q != NULL)
            plumb_meas_value_words(q, scale);
        snprintf(first, sizeof first, "  %4zu  %s  ", i + 1, f->taken);
        rec_wrapf(out, first, 8, "%s%s%s", f->stage, f->stage[0] ? ", " : "", f->file);
        rec_wrapf(out, "        ", 8, "scale %s%s", scale, rec_is_rough(e) ? ", last resort" : "");
    }
}

/* What is to be noted of film i, one after another: first of the measuring, then of the sheet. */
static const char *note_of(const struct exam *e, size_t k)
{
    if (k < e->result.warnings.n)
        return e->result.warnings.line[k];
    k -= e->result.warnings.n;
    return k < e->notes.n ? e->notes.line[k] : NULL;
}

static bool says(const struct exam *e, const char *line)
{
    const char *other;
    for (size_t k = 0; (other = note_of(e, k)) != NULL; k++)
        if (strcmp(other, line) == 0)
            return true;
    return false;
}

/* With the numbers of all films of which it is said; once. */
static void tell_note(const struct exam_series *s, size_t i, const char *line, struct buf *out)
{
    char films[4 * SERIES_FILMS + 8] = "";
    size_t len = 0;
    bool several = false;
    for (size_t j = 0; j < s->n; j++) {
        if (!says(&s->exam[j], line))
            continue;
        if (j < i)
            return;
        several = several || j > i;
        len += (size_t)snprintf(films + len, sizeof films - len, "%s%zu", len ? ", " : "", j + 1);
    }
    rec_wrapf(out, "  - ", 4, "film%s %s: %s", several ? "s" : "", films, line);
}

static void tell_notes(const struct exam_series *s, struct buf *out)
{
    const char *line;
    size_t n = s->result.warnings.n;
    for (size_t i = 0; i < s->n; i++)
        n += s->exam[i].result.warnings.n + s->exam[i].notes.n;
    if (n == 0)
        return;
    rec_heading(out, "TAKE NOTE");
    for (size_t i = 0; i < s->result.warnings.n; i++)
        rec_wrap(out, "  - ", 4, s->result.warnings.line[i]);
    for (size_t i = 0; i < s->n; i++)
        for (size_t k = 0; (line = note_of(&s->exam[i], k)) != NULL; k++)
            tell_note(s, i, line, out);
}

/* --- text: changes
 * ------------------------------------------------------------------------------- */

static void put_right(struct buf *out, size_t columns, const char *text)
{
    size_t n = plumb_text_length(text);
    plumb_buf_addf(out, "%*s%s", (int)(columns > n ? columns - n : 0), "", text);
}

/* "-0.07 ± 0.77"; with the unit when asked for. */
static void change_words(double value, double U, const char *unit, char out[96])
{
    char v[32], u[32];
    const char *word = unit ? plumb_meas_unit_word(unit) : "";
    bool deg = unit != NULL && strcmp(unit, "deg") == 0;
    plumb_unc_format(value, U, v, u);
    snprintf(out, 96, "%s \u00b1 %s%s%s", v, u, word[0] && !deg ? " " : "", word);
}

/* "no change detectable below 0.77 mm", or how much it is. */
static void found_words(const struct meas_change *g, const char *unit, char out[160])
{
    char value[96], v[32], u[32];
    const char *word = plumb_meas_unit_word(unit);
    change_words(g->value, g->U, unit, value);
    plumb_unc_format(g->U, g->U, v, u);
    if (g->detected)
        snprintf(out, 160, "change of %s", value);
    else
        snprintf(out, 160, "no change detectable below %s%s%s", u,
                 word[0] && strcmp(unit, "deg") != 0 ? " " : "", word);
}

static const struct meas_change *change_to(const struct meas_course *c, size_t film, bool first)
{
    for (size_t i = 0; i < c->n_changes; i++)
        if (c->change[i].to == film && c->change[i].since_first == first)
            return &c->change[i];
    return NULL;
}

static void put_change(struct buf *out, const struct meas_change *g)
{
    char words[96] = "";
    if (g != NULL)
        change_words(g->value, g->U, NULL, words);
    put_right(out, CHANGE_COLUMNS, words);
    plumb_buf_addf(out, "%s", g != NULL && g->detected ? " *" : "  ");
}

/* Takes the blanks at the end of the last line away, and ends it. */
static void end_line(struct buf *out)
{
    while (out->len > 0 && out->data[out->len - 1] == ' ')
        out->len--;
    plumb_buf_addf(out, "\n");
}

static void tell_row(const struct exam_series *s, const struct meas_course *c, size_t film,
                     struct buf *out)
{
    enum { HEAD = 16 };
    char value[96];
    plumb_meas_value_words(c->at[film], value);
    plumb_buf_addf(out, "%4zu  %s", film + 1, s->exam[film].sheet.film.taken);
    bool wide = plumb_text_length(value) >= VALUE_COLUMNS;
    plumb_buf_addf(out, "%s", wide ? "  " : "");
    put_right(out, VALUE_COLUMNS, value);
    const struct meas_change *first = change_to(c, film, true), *before = change_to(c, film, false);
    if (first != NULL && wide)
        plumb_buf_addf(out, "\n%*s", HEAD + VALUE_COLUMNS, "");
    if (first != NULL)
        put_change(out, first);
    if (before != NULL)
        put_change(out, before);
    end_line(out);
}

/* From the first film to the last; each course has such a change. */
static const struct meas_change *whole_change(const struct meas_course *c)
{
    size_t i = c->n_changes - 1;
    while (!c->change[i].since_first)
        i--;
    return &c->change[i];
}

void rec_series_words(const struct meas_course *c, char out[REC_CHANGE])
{
    const struct meas_change *g = whole_change(c);
    char words[160], days[32] = ", the same day";
    found_words(g, c->unit, words);
    if (g->days > 0)
        snprintf(days, sizeof days, ", %ld day%s", g->days, g->days == 1 ? "" : "s");
    snprintf(out, REC_CHANGE, "films %zu to %zu%s: %s", g->from + 1, g->to + 1, days, words);
}

static void tell_whole(const struct meas_course *c, struct buf *out)
{
    const struct meas_change *g = whole_change(c);
    char words[REC_CHANGE], rate[96];
    rec_series_words(c, words);
    rec_wrap(out, "      ", 8, words);
    if (g->has_rate) {
        change_words(g->rate, g->U_rate, c->unit, rate);
        rec_wrapf(out, "      ", 8, "a month: %s", rate);
    }
}

static void tell_trend(const struct meas_course *c, struct buf *out)
{
    const struct meas_trend *t = &c->trend;
    char words[96];
    if (!t->set)
        return;
    change_words(t->slope, t->U, c->unit, words);
    rec_wrapf(out, "      ", 8, "line through %zu films: %s a month%s", t->n, words,
              t->straight ? "" : "; the values do not lie on one within their intervals");
}

static void tell_course(const struct exam_series *s, const struct meas_course *c, struct buf *out)
{
    char label[REC_LABEL];
    rec_label_words(&s->exam[rec_course_first(c)].sheet, c->id, REC_LABEL_ANY, label);
    plumb_buf_addf(out, "\n");
    rec_wrap(out, "  ", 4, label);
    for (size_t i = 0; i < s->n; i++)
        if (c->at[i] != NULL)
            tell_row(s, c, i, out);
    tell_whole(c, out);
    tell_trend(c, out);
    if (c->note[0] != '\0')
        rec_wrap(out, "      ", 8, c->note);
}

static void tell_kind(const struct exam_series *s, enum meas_course_kind kind, struct buf *out)
{
    bool told = false;
    for (size_t i = 0; i < s->result.n_courses; i++) {
        const struct meas_course *c = &s->result.course[i];
        if (c->kind != kind)
            continue;
        if (!told) {
            rec_heading(out, kind == COURSE_CREST && s->result.same_pin ? same_pin_heading
                                                                        : kind_heading[kind]);
            plumb_buf_addf(out, "film  date    %*s%*s%*s\n", VALUE_COLUMNS + 2, "value",
                           CHANGE_COLUMNS, "since first", CHANGE_COLUMNS + 2, "since before");
        }
        told = true;
        tell_course(s, c, out);
    }
}

static void tell_left_out(const struct meas_series *s, struct buf *out)
{
    bool told = false;
    for (size_t i = 0; i < s->n_left_out; i++) {
        char line[72 * 40], label[64];
        size_t len = 0;
        bool first = true;
        for (size_t j = 0; j < i; j++)
            first = first && s->left_out[j].why != s->left_out[i].why;
        if (!first)
            continue;
        if (!told)
            rec_heading(out, "WITHOUT A CHANGE");
        told = true;
        for (size_t j = i; j < s->n_left_out && len + 80 < sizeof line; j++)
            if (s->left_out[j].why == s->left_out[i].why)
                len += (size_t)snprintf(line + len, sizeof line - len, "%s%s", len ? "; " : "",
                                        plumb_meas_label(s->left_out[j].id, label));
        rec_wrapf(out, "  ", 4, "%s: %s", s->left_out[i].why, line);
    }
}

static void tell_reading(const struct meas_series *s, struct buf *out)
{
    size_t n = 0;
    for (size_t i = 0; i < s->n_courses; i++)
        n += s->course[i].n_changes;
    rec_heading(out, "HOW TO READ IT");
    if (n == 0) {
        rec_wrap(out, "  ", 2, "No quantity was measured on two films.");
        return;
    }
    rec_wrapf(out, "  ", 2,
              "A change is the later value less the earlier one; \u00b1: its 95 %% interval. CEJ "
              "to crest, losses, shares and levels: + when the crest has moved apically. *: "
              "beyond its interval; without it no change is detectable below the \u00b1. One "
              "interval in twenty misses by chance: of the %zu here %g on average. A month is "
              "%.4f days; "
              "the line is weighted least squares. Angles, shares and ratios do not depend on a "
              "film's scale. A drill's or implant's size that two films "
              "share by name and size counts as one error, all else as independent.",
              n, (double)n / 20.0, plumb_meas_month_days);
}

static void tell_files(const struct exam_series *s, struct buf *out)
{
    rec_heading(out, "FILES");
    for (size_t i = 0; i < s->n; i++) {
        const struct exam *e = &s->exam[i];
        rec_wrapf(out, "  ", 8, "%4zu  film %s; sheet %s; SHA-256", i + 1, e->sheet.film.file,
                  e->sheet_path ? plumb_path_base(e->sheet_path) : "from standard input");
        plumb_buf_addf(out, "  %s\n", e->sheet.film.sha256);
    }
    plumb_buf_addf(out, "  measured with plumbrule %s\n", PLUMB_VERSION);
}

int plumb_rec_series_text(const struct exam_series *s, struct buf *out, struct err *err)
{
    plumb_buf_addf(out, "CHANGE OVER TIME\n\n");
    rec_tell_proposed(rec_series_is_proposed(s), out);
    rec_tell_site(&s->exam[s->n - 1].sheet, out); /* knows the most of what was done */
    tell_films(s, out);
    rec_tell_made(out);
    tell_notes(s, out);
    for (int kind = 0; kind < COURSE_KINDS; kind++)
        tell_kind(s, (enum meas_course_kind)kind, out);
    tell_left_out(&s->result, out);
    tell_reading(&s->result, out);
    tell_files(s, out);
    rec_tell_cautions(out);
    rec_wrap(out, "  - ", 4,
             "No two films are projected alike: what another angle of the beam does to a length "
             "is only in part in its interval.");
    return plumb_buf_check(out, err);
}

/* --- JSON
 * ---------------------------------------------------------------------------------------- */

static json_t *film_json(const struct exam_series *s, size_t i)
{
    const struct exam *e = &s->exam[i];
    const struct sheet_film *f = &e->sheet.film;
    json_t *o = json_pack("{s:I, s:s, s:s, s:s, s:I, s:s, s:b}", "number", (json_int_t)i + 1,
                          "file", f->file, "sha256", f->sha256, "taken", f->taken, "days",
                          (json_int_t)s->result.day[i], "scale_from", e->result.scale.words,
                          "proposed", (int)rec_is_proposed(&e->sheet));
    if (f->stage[0] != '\0')
        json_object_set_new(o, "stage", json_string(f->stage));
    return o;
}

static json_t *points_json(const struct exam_series *s, const struct meas_course *c)
{
    json_t *list = json_array();
    for (size_t i = 0; i < s->n; i++)
        if (c->at[i] != NULL)
            json_array_append_new(list, json_pack("{s:I, s:f, s:f, s:f, s:[f,f]}", "film",
                                                  (json_int_t)i + 1, "value", c->at[i]->v.value,
                                                  "u", c->at[i]->v.u, "U95", c->at[i]->U,
                                                  "interval", c->at[i]->v.lo, c->at[i]->v.hi));
    return list;
}

static json_t *change_json(const struct meas_change *g)
{
    json_t *o = json_pack("{s:s, s:I, s:I, s:I, s:f, s:f, s:f, s:[f,f], s:b}", "since",
                          g->since_first ? "first" : "before", "from_film", (json_int_t)g->from + 1,
                          "to_film", (json_int_t)g->to + 1, "days", (json_int_t)g->days, "value",
                          g->value, "u", g->u, "U95", g->U, "interval", g->value - g->U,
                          g->value + g->U, "detected", (int)g->detected);
    if (g->has_rate)
        json_object_set_new(
            o, "per_month",
            json_pack("{s:f, s:f, s:f}", "value", g->rate, "u", g->u_rate, "U95", g->U_rate));
    return o;
}

static json_t *trend_json(const struct meas_trend *t)
{
    return json_pack("{s:I, s:{s:f, s:f, s:f}, s:{s:f, s:f}, s:f, s:f, s:b}", "films",
                     (json_int_t)t->n, "per_month", "value", t->slope, "u", t->u, "U95", t->U,
                     "at_first_film", "value", t->start, "u", t->u_start, "birge_ratio", t->birge,
                     "p", t->p, "on_a_line", (int)t->straight);
}

static json_t *course_json(const struct exam_series *s, const struct meas_course *c)
{
    char id[MEAS_ID + 8];
    json_t *changes = json_array();
    snprintf(id, sizeof id, "change.%s", c->id);
    for (size_t i = 0; i < c->n_changes; i++)
        json_array_append_new(changes, change_json(&c->change[i]));
    json_t *o = json_pack("{s:s, s:s, s:s, s:s, s:s, s:o, s:o}", "id", id, "quantity", c->id,
                          "label", c->label, "unit", c->unit, "kind", kind_id[c->kind], "values",
                          points_json(s, c), "changes", changes);
    if (c->trend.set)
        json_object_set_new(o, "trend", trend_json(&c->trend));
    if (c->note[0] != '\0')
        json_object_set_new(o, "note", json_string(c->note));
    return o;
}

static json_t *warnings_json(const struct exam_series *s)
{
    const char *line;
    json_t *list = json_array();
    for (size_t i = 0; i < s->result.warnings.n; i++)
        json_array_append_new(list, json_string(s->result.warnings.line[i]));
    for (size_t i = 0; i < s->n; i++)
        for (size_t k = 0; (line = note_of(&s->exam[i], k)) != NULL; k++)
            json_array_append_new(list, json_sprintf("film %d: %s", (int)i + 1, line));
    return list;
}

static json_t *series_json(const struct exam_series *s)
{
    const struct meas_series *r = &s->result;
    json_t *films = json_array(), *courses = json_array(), *left = json_array();
    for (size_t i = 0; i < s->n; i++)
        json_array_append_new(films, film_json(s, i));
    for (size_t i = 0; i < r->n_courses; i++)
        json_array_append_new(courses, course_json(s, &r->course[i]));
    for (size_t i = 0; i < r->n_left_out; i++)
        json_array_append_new(left, json_pack("{s:s, s:s}", "quantity", r->left_out[i].id, "since",
                                              r->left_out[i].why));
    return json_pack("{s:s, s:i, s:s, s:o, s:b, s:b, s:f, s:o, s:o, s:o, s:o}", "format",
                     "plumbrule-series", "version", 1, "program", "plumbrule " PLUMB_VERSION,
                     "site", rec_site_json(&s->exam[0].sheet), "proposed",
                     (int)rec_series_is_proposed(s), "same_pin", (int)r->same_pin, "month_days",
                     plumb_meas_month_days, "films", films, "courses", courses, "left_out", left,
                     "warnings", warnings_json(s));
}

int plumb_rec_series_json(const struct exam_series *s, bool pretty, struct buf *out,
                          struct err *err)
{
    return plumb_rec_add_json(series_json(s), pretty, out, err);
}

/* --- CSV
 * ----------------------------------------------------------------------------------------- */

static void csv_change(const struct exam_series *s, const struct meas_course *c,
                       const struct meas_change *g, struct buf *out)
{
    plumb_buf_addf(out, "change.%s,%s,%s,%s,%s,%ld,", c->id, kind_id[c->kind],
                   g->since_first ? "first" : "before", s->exam[g->from].sheet.film.taken,
                   s->exam[g->to].sheet.film.taken, g->days);
    rec_csv_field(out, s->exam[g->from].sheet.film.file, ",");
    rec_csv_field(out, s->exam[g->to].sheet.film.file, ",");
    plumb_buf_addf(out, "%.9g,%.9g,%.9g,%.9g,%s,%s,", c->at[g->from]->v.value,
                   c->at[g->to]->v.value, g->value, g->U, c->unit, g->detected ? "yes" : "no");
    if (g->has_rate)
        plumb_buf_addf(out, "%.9g,%.9g\r\n", g->rate, g->U_rate);
    else
        plumb_buf_addf(out, ",\r\n");
}

/* Over all films that have it, from the first to the last. */
static void csv_trend(const struct exam_series *s, const struct meas_course *c, struct buf *out)
{
    size_t from = rec_course_first(c), to = s->n - 1;
    while (c->at[to] == NULL)
        to--;
    plumb_buf_addf(out, "change.%s,%s,trend,%s,%s,%ld,", c->id, kind_id[c->kind],
                   s->exam[from].sheet.film.taken, s->exam[to].sheet.film.taken,
                   s->result.day[to] - s->result.day[from]);
    rec_csv_field(out, s->exam[from].sheet.film.file, ",");
    rec_csv_field(out, s->exam[to].sheet.film.file, ",");
    plumb_buf_addf(out, ",,,,%s,,%.9g,%.9g\r\n", c->unit, c->trend.slope, c->trend.U);
}

int plumb_rec_series_csv(const struct exam_series *s, struct buf *out, struct err *err)
{
    plumb_buf_addf(out, "id,kind,since,from_date,to_date,days,from_film,to_film,from_value,"
                        "to_value,change,U95,unit,detected,per_month,per_month_U95\r\n");
    for (size_t i = 0; i < s->result.n_courses; i++) {
        const struct meas_course *c = &s->result.course[i];
        for (size_t j = 0; j < c->n_changes; j++)
            csv_change(s, c, &c->change[j], out);
        if (c->trend.set)
            csv_trend(s, c, out);
    }
    return plumb_buf_check(out, err);
}
