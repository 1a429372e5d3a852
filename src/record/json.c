/* The results document (version 1) and its one-line-a-quantity form, CSV (RFC 4180). */
#include "record/report_internal.h"

#include <stdio.h>
#include <string.h>

/* Ten digits: a micrometre in a kilometre, and the same text on every machine. */
enum { REAL_DIGITS = 10 };

static json_t *film_json(const struct exam *e)
{
    const struct sheet_film *f = &e->sheet.film;
    json_t *o = json_pack("{s:s, s:s, s:I, s:I}", "file", f->file, "sha256", e->film.sha256,
                          "width", (json_int_t)e->film.width, "height", (json_int_t)e->film.height);
    if (f->taken[0] != '\0')
        json_object_set_new(o, "taken", json_string(f->taken));
    if (f->stage[0] != '\0')
        json_object_set_new(o, "stage", json_string(f->stage));
    return o;
}

json_t *rec_site_json(const struct sheet *s)
{
    char number[8];
    if (s->site.tooth == 0)
        return json_null();
    plumb_tooth_print(s->site.tooth, s->site.notation, number);
    return json_pack("{s:s, s:s}", "tooth", number, "notation",
                     s->site.notation == NOTATION_FDI ? "fdi" : "universal");
}

static json_t *quantity_json(size_t number, const struct meas_quantity *q)
{
    json_t *from = json_array();
    for (size_t i = 0; i < q->n_from; i++)
        json_array_append_new(from, json_string(q->from[i]));
    json_t *o =
        json_pack("{s:s, s:I, s:s, s:f, s:s, s:f, s:f, s:[f,f], s:o}", "id", q->id, "number",
                  (json_int_t)number, "label", q->label, "value", q->v.value, "unit", q->unit, "u",
                  q->v.u, "U95", q->U, "interval", q->v.lo, q->v.hi, "from", from);
    if (q->below_only)
        json_object_set_new(o, "below", json_real(q->v.hi));
    if (q->monte_carlo)
        json_object_set_new(o, "interval_by", json_string("simulation"));
    if (q->has_depth) {
        json_object_set_new(o, "at_depth_mm", json_real(q->depth_mm));
        json_object_set_new(o, "depth_from", json_string(q->depth_from));
    }
    if (q->note[0] != '\0')
        json_object_set_new(o, "note", json_string(q->note));
    return o;
}

static json_t *finding_json(const struct meas_finding *f)
{
    static const char *const compare[] = {"at_least", "at_most", "within"};
    return json_pack("{s:s, s:s, s:s, s:f, s:s, s:s, s:s, s:s}", "quantity", f->quantity, "state",
                     plumb_meas_state_word(f->state), "compare", compare[f->compare], "limit",
                     f->limit, "unit", f->unit, "caption", f->caption, "source", f->source,
                     "status", f->status);
}

static json_t *missing_json(const struct meas_missing *m)
{
    json_t *o = json_pack("{s:s, s:s, s:s}", "id", m->id, "label", m->label, "lacks", m->lacks);
    if (m->aside != NULL)
        json_object_set_new(o, "left_out_since", json_string(m->aside));
    return o;
}

static void add_notes(json_t *list, const struct sheet_notes *n)
{
    for (size_t i = 0; i < n->n; i++)
        json_array_append_new(list, json_string(n->line[i]));
}

static json_t *results_json(const struct exam *e)
{
    const struct meas_result *r = &e->result;
    json_t *quantities = json_array(), *findings = json_array(), *missing = json_array(),
           *warnings = json_array();
    for (size_t i = 0; i < r->n_quantities; i++)
        json_array_append_new(quantities, quantity_json(i + 1, &r->quantity[i]));
    for (size_t i = 0; i < r->n_findings; i++)
        json_array_append_new(findings, finding_json(&r->finding[i]));
    for (size_t i = 0; i < r->n_missing; i++)
        json_array_append_new(missing, missing_json(&r->missing[i]));
    add_notes(warnings, &r->warnings);
    add_notes(warnings, &e->notes);
    return json_pack("{s:s, s:i, s:s, s:o, s:o, s:b, s:s, s:o, s:o, s:o, s:o}", "format",
                     "plumbrule-results", "version", 1, "program", "plumbrule " PLUMB_VERSION,
                     "film", film_json(e), "site", rec_site_json(&e->sheet), "proposed",
                     rec_is_proposed(&e->sheet), "scale_from", r->scale.words, "quantities",
                     quantities, "findings", findings, "missing", missing, "warnings", warnings);
}

static int add_piece(const char *piece, size_t len, void *to)
{
    plumb_buf_add(to, piece, len);
    return 0;
}

int plumb_rec_add_json(struct json_t *doc, bool pretty, struct buf *out, struct err *err)
{
    size_t flags = JSON_REAL_PRECISION(REAL_DIGITS) | (pretty ? JSON_INDENT(2) : JSON_COMPACT);
    if (doc == NULL || json_dump_callback(doc, add_piece, out, flags) != 0)
        out->failed = true;
    plumb_buf_add(out, "\n", 1);
    json_decref(doc);
    return plumb_buf_check(out, err);
}

int plumb_rec_json(const struct exam *e, bool pretty, struct buf *out, struct err *err)
{
    return plumb_rec_add_json(results_json(e), pretty, out, err);
}

void rec_csv_field(struct buf *out, const char *s, const char *end)
{
    if (strpbrk(s, ",\"\n\r") == NULL) {
        plumb_buf_addf(out, "%s%s", s, end);
        return;
    }
    plumb_buf_add(out, "\"", 1);
    for (; *s; s++)
        plumb_buf_add(out, *s == '"' ? "\"\"" : s, *s == '"' ? 2 : 1);
    plumb_buf_addf(out, "\"%s", end);
}

/* The findings of a quantity and their limits, joined: "inside; inside", "at most 15 %; ...". */
static void join_findings(const struct meas_result *r, const char *id, char states[96],
                          char limits[160])
{
    states[0] = limits[0] = '\0';
    for (size_t i = 0; i < r->n_findings; i++) {
        const struct meas_finding *f = &r->finding[i];
        char limit[48], joined[256];
        if (strcmp(f->quantity, id) != 0)
            continue;
        const char *gap = states[0] ? "; " : "";
        rec_limit_words(f, limit);
        snprintf(joined, sizeof joined, "%s%s%s", states, gap, plumb_meas_state_word(f->state));
        plumb_text_copy(states, 96, joined);
        snprintf(joined, sizeof joined, "%s%s%s", limits, gap, limit);
        plumb_text_copy(limits, 160, joined);
    }
}

int plumb_rec_csv(const struct exam *e, bool header, struct buf *out, struct err *err)
{
    if (header)
        plumb_buf_addf(out, "film,taken,stage,id,value,U95,low,high,unit,finding,limit\r\n");
    for (size_t i = 0; i < e->result.n_quantities; i++) {
        const struct meas_quantity *q = &e->result.quantity[i];
        char states[96], limits[160];
        join_findings(&e->result, q->id, states, limits);
        rec_csv_field(out, e->sheet.film.file, ",");
        rec_csv_field(out, e->sheet.film.taken, ",");
        rec_csv_field(out, e->sheet.film.stage, ",");
        plumb_buf_addf(out, "%s,%.9g,%.9g,%.9g,%.9g,%s,%s,", q->id, q->v.value, q->U, q->v.lo,
                       q->v.hi, q->unit, states);
        rec_csv_field(out, limits, "\r\n");
    }
    return plumb_buf_check(out, err);
}
