/* The commands: each takes one input along the way of the data and renders what comes out. */
#include "cli/cli_internal.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* One document on a line; takes doc. */
static int add_json(json_t *doc, struct buf *out, struct err *err)
{
    return plumb_rec_add_json(doc, false, out, err);
}

static void say_film_notes(const struct film *f, struct sheet_notes *say)
{
    for (size_t i = 0; i < f->n_notes; i++)
        plumb_sheet_notes_add(say, "%s", f->note[i]);
}

static void say_all(const struct sheet_notes *notes, struct sheet_notes *say)
{
    for (size_t i = 0; i < notes->n; i++)
        plumb_sheet_notes_add(say, "%s", notes->line[i]);
}

/* --- pin
 * ------------------------------------------------------------------------------------------- */

/* The axis' angle from the image's vertical, + clockwise, in (-90, 90]. */
static double angle_from_vertical(const struct geo_line *axis)
{
    double a = GEO_DEG_PER_RAD * atan2(-axis->dir.x, axis->dir.y);
    if (a > 90.0)
        a -= 180.0;
    return a <= -90.0 ? a + 180.0 : a;
}

static json_t *point_json(struct geo_point p, double sd)
{
    return json_pack("{s:f, s:f, s:f, s:s}", "x", p.x, "y", p.y, "sd", sd, "by", "found");
}

static const char *tip_word(enum find_tip t)
{
    static const char *const word[] = {"unknown", "flat", "round", "cone"};
    return (unsigned)t < 4 ? word[t] : word[0];
}

static json_t *side_json(const struct find_pin *p, int i)
{
    return json_pack("[o, o]", point_json(p->flank[i][0], p->u_flank),
                     point_json(p->flank[i][1], p->u_flank));
}

static json_t *widths_json(const struct find_pin *p)
{
    json_t *list = json_array();
    for (size_t i = 0; i < p->n_widths; i++) {
        const struct find_width *w = &p->widths[i];
        json_array_append_new(list, json_pack("{s:f, s:f, s:f, s:f, s:I}", "x", w->at.x, "y",
                                              w->at.y, "width_px", w->px, "width_sd", w->u, "rows",
                                              (json_int_t)w->n));
    }
    return list;
}

static double length_sd(const struct find_pin *p)
{
    return hypot(p->u_tip, p->u_shoulder);
}

static json_t *pin_json(const struct find_pin *p)
{
    return json_pack(
        "{s:o, s:s, s:o, s:o, s:[o,o], s:[o,o], s:f, s:f, s:o, s:f, s:o, s:f, s:f, s:f}", "tip",
        point_json(p->tip, p->u_tip), "tip_shape", tip_word(p->tip_shape), "shoulder",
        p->has_shoulder ? point_json(p->shoulder, p->u_shoulder) : json_null(), "stop",
        p->has_stop ? point_json(p->stop, p->u_stop) : json_null(), "axis",
        point_json(p->ends[0], p->u_ends), point_json(p->ends[1], p->u_ends), "sides",
        side_json(p, 0), side_json(p, 1), "width_px", p->width, "width_sd", p->u_width, "widths",
        widths_json(p), "length_px", p->length, "length_sd",
        p->has_shoulder ? json_real(length_sd(p)) : json_null(), "angle_deg",
        angle_from_vertical(&p->axis), "angle_sd", GEO_DEG_PER_RAD * p->axis.u_angle, "confidence",
        p->confidence);
}

static void tell_pin(const struct find_pin *p, size_t number, struct buf *out)
{
    plumb_buf_addf(out, "  pin %zu, confidence %.2f\n", number, p->confidence);
    plumb_buf_addf(out, "    tip       %8.2f %8.2f  \u00b1 %.2f px, %s\n", p->tip.x, p->tip.y,
                   2.0 * p->u_tip, tip_word(p->tip_shape));
    if (p->has_shoulder)
        plumb_buf_addf(out, "    shoulder  %8.2f %8.2f  \u00b1 %.2f px\n", p->shoulder.x,
                       p->shoulder.y, 2.0 * p->u_shoulder);
    if (p->has_stop)
        plumb_buf_addf(out, "    stop      %8.2f %8.2f  \u00b1 %.2f px\n", p->stop.x, p->stop.y,
                       2.0 * p->u_stop);
    plumb_buf_addf(
        out, "    axis      %8.3f\u00b0 \u00b1 %.3f\u00b0 from the image's vertical, + clockwise\n",
        angle_from_vertical(&p->axis), 2.0 * GEO_DEG_PER_RAD * p->axis.u_angle);
    if (p->has_shoulder)
        plumb_buf_addf(out, "    length    %8.2f \u00b1 %.2f px, tip to shoulder\n", p->length,
                       2.0 * length_sd(p));
    else
        plumb_buf_addf(out, "    length    at least %.0f px: no shoulder is seen\n", p->length);
    plumb_buf_addf(out, "    width     %8.2f \u00b1 %.2f px\n", p->width, 2.0 * p->u_width);
    for (size_t i = 0; i < p->n_widths; i++)
        plumb_buf_addf(out, "    width     %8.2f \u00b1 %.2f px, %.0f px from the tip\n",
                       p->widths[i].px, 2.0 * p->widths[i].u, geo_dist(p->widths[i].at, p->tip));
}

static int render_pins(const struct cli_options *o, const char *path, const struct film *film,
                       const struct find_pins *pins, struct buf *out, struct err *err)
{
    if (!o->json) {
        plumb_buf_addf(out, "%s: %zu pin%s%s\n", path, pins->n, pins->n == 1 ? "" : "s",
                       pins->inverted ? ", film inverted (metal dark)" : "");
        for (size_t i = 0; i < pins->n; i++)
            tell_pin(&pins->at[i], i + 1, out);
        return plumb_buf_check(out, err);
    }
    json_t *list = json_array();
    for (size_t i = 0; i < pins->n; i++)
        json_array_append_new(list, pin_json(&pins->at[i]));
    return add_json(json_pack("{s:s, s:i, s:{s:s, s:s, s:I, s:I}, s:b, s:o}", "format",
                              "plumbrule-pin", "version", 1, "film", "file", plumb_path_base(path),
                              "sha256", film->sha256, "width", (json_int_t)film->width, "height",
                              (json_int_t)film->height, "inverted", (int)pins->inverted, "pins",
                              list),
                    out, err);
}

int cli_pin(const struct cli_options *o, const char *path, struct buf *out, struct sheet_notes *say,
            struct err *err)
{
    struct film film;
    struct find_pins pins = {0};
    int rc = plumb_film_load(path, &o->exam.film, &film, err);
    if (rc != 0)
        return rc;
    say_film_notes(&film, say);
    rc = plumb_find_pins(&film, NULL, &pins, err);
    if (rc == 0)
        rc = render_pins(o, path, &film, &pins, out, err);
    plumb_find_pins_release(&pins);
    plumb_film_release(&film);
    return rc;
}

/* --- start
 * ----------------------------------------------------------------------------------------- */

static int propose_roots(const struct cli_options *o, struct exam *e, enum sheet_side side,
                         struct err *err)
{
    const double *r = o->root[side][0];
    if (o->n_roots[side] == 0)
        return 0;
    if (o->n_roots[side] == 1)
        return plumb_exam_propose_root(e, side, r[0], r[1], r[2], r[3], err);
    return plumb_exam_propose_two_roots(e, side, r, o->root[side][1], err);
}

/* A side that is not to be seen is no error of the film: told, and left to the hand. */
static void propose_sides(const struct cli_options *o, struct exam *e, struct sheet_notes *say)
{
    struct err why;
    for (int i = 0; i < SIDES; i++) {
        enum sheet_side side = (enum sheet_side)i;
        const double *c = o->crest[i];
        if (propose_roots(o, e, side, &why) != 0)
            plumb_sheet_notes_add(say, "%s root: %s", plumb_side_word[i], why.text);
        if (o->has_crest[i] && plumb_exam_propose_crest(e, side, c[0], c[1], &why) != 0)
            plumb_sheet_notes_add(say, "%s crest: %s", plumb_side_word[i], why.text);
    }
}

static void say_what_is_left(const struct exam *e, size_t n_pins, struct sheet_notes *say)
{
    const struct sheet *s = &e->sheet;
    if (n_pins == 0)
        plumb_sheet_notes_add(say, "no pin found: if one stands there, mark tip, shoulder and "
                                   "axis by hand");
    else if (n_pins > 1)
        plumb_sheet_notes_add(
            say,
            "%zu pins found: the one with its tip at %.0f,%.0f stands as pin and "
            "carries the gauges, %zu more as pins; look at each, take out what is "
            "none, and say --pin X,Y when another is meant",
            n_pins, s->pin.tip.x, s->pin.tip.y, s->n_pins);
    if (n_pins > s->n_pins + 1)
        plumb_sheet_notes_add(say, "%zu found pins have no room in the sheet",
                              n_pins - s->n_pins - 1);
    if (s->site.tooth == 0)
        plumb_sheet_notes_add(say, "to be stated: the site's tooth, with --tooth");
    if (s->n_gauges == 0 && !(s->film.sensor_mm > 0.0))
        plumb_sheet_notes_add(
            say, "to be stated: a gauge, with --gauge length=MM or across=MM; on a film without "
                 "one the sensor's longer side, with --sensor MM, a scale of last resort");
    for (size_t i = 0; i < s->n_gauges; i++)
        if (!s->gauge[i].end[0].set)
            plumb_sheet_notes_add(say, "to be placed by hand: the ends of %s", s->gauge[i].name);
    for (int i = 0; i < SIDES; i++) {
        const struct sheet_neighbour *n = &s->side[i];
        char line[160];
        snprintf(line, sizeof line, "%s%s%s%s", n->near.n == 0 ? ", root sides" : "",
                 n->cej.set ? "" : ", CEJ", n->apex.set ? "" : ", apex",
                 n->crest.set ? "" : ", crest");
        if (line[0] != '\0')
            plumb_sheet_notes_add(say, "to be placed by hand, %s neighbour: %s", plumb_side_word[i],
                                  line + 2);
    }
    bool may_stand = n_pins == 0 && s->site.extracted[0] == '\0';
    if (may_stand && !s->site_tooth.apex.set && !s->site_tooth.top.set)
        plumb_sheet_notes_add(say, "to be placed by hand, where the site's tooth still stands: "
                                   "site_tooth.top, cej_mesial, cej_distal, apex, fracture_mesial, "
                                   "fracture_distal");
    if (s->n_bounds == 0)
        plumb_sheet_notes_add(say, "to be placed by hand, where there are any: bounds (canal roof, "
                                   "sinus or nasal floor)");
}

/* FILM with its ending replaced: site35.png -> site35.sheet.json, beside the film. */
char *cli_sheet_name(const char *film, struct err *err)
{
    static const char ending[] = ".sheet.json";
    char *out = plumb_mem_array(strlen(film) + sizeof ending, 1, err);
    if (out == NULL)
        return NULL;
    strcpy(out, film);
    char *base = strrchr(out, '/');
    char *dot = strrchr(base ? base + 1 : out, '.');
    if (dot != NULL && dot != out)
        *dot = '\0';
    strcat(out, ending);
    return out;
}

static bool same_folder(const char *a, const char *b)
{
    size_t n = (size_t)(plumb_path_base(a) - a), m = (size_t)(plumb_path_base(b) - b);
    return n == m && strncmp(a, b, n) == 0;
}

/* A sheet in another folder names its film by the whole path. */
static int name_from_afar(const char *film, struct sheet *s, struct err *err)
{
    char here[SHEET_WORDS];
    int n = -1;
    if (getcwd(here, sizeof here) != NULL)
        n = snprintf(s->film.file, sizeof s->film.file, "%s/%s", here, film);
    if (n < 0 || (size_t)n >= sizeof s->film.file)
        return plumb_err_set(err, ERR_ARG,
                             "the way from the sheet to the film is too long: put "
                             "them into one folder");
    return 0;
}

static int write_sheet(const struct cli_options *o, const char *film, struct exam *e,
                       struct buf *out, struct err *err)
{
    if ((o->json && !o->watches) || (o->out != NULL && strcmp(o->out, "-") == 0))
        return plumb_sheet_print(&e->sheet, out, err);
    char *name = o->out ? NULL : cli_sheet_name(film, err);
    if (o->out == NULL && name == NULL)
        return ERR_NOMEM;
    const char *to = o->out ? o->out : name;
    if (o->out != NULL && !same_folder(to, film) && film[0] != '/' &&
        name_from_afar(film, &e->sheet, err) != 0) {
        free(name);
        return ERR_ARG;
    }
    int rc = o->force ? plumb_exam_keep_old(to, err) : 0;
    if (rc == 0)
        rc = plumb_exam_save(e, to, o->force, err);
    if (rc != 0)
        plumb_err_prefix(err, "sheet %.100s", to);
    else if (o->json)
        rc = add_json(json_pack("{s:s, s:i, s:s, s:s}", "format", "plumbrule-started", "version", 1,
                                "film", film, "sheet", to),
                      out, err);
    else
        plumb_buf_addf(out, "%s\n", to);
    free(name);
    return rc;
}

/* What the options say of a film, before anything is looked for. */
static int state_film(const struct cli_options *o, struct exam *e, struct sheet_notes *say,
                      struct err *err)
{
    e->has_pin_hint = o->has_pin;
    e->pin_hint_x = o->pin[0];
    e->pin_hint_y = o->pin[1];
    return cli_state(o, &e->film, &e->sheet, say, err);
}

int cli_start(const struct cli_options *o, const char *path, struct buf *out,
              struct sheet_notes *say, struct err *err)
{
    struct exam e;
    size_t n_pins = 0;
    int rc = plumb_exam_open_film(path, &o->exam, &e, err);
    if (rc != 0)
        return rc;
    rc = state_film(o, &e, say, err);
    if (rc == 0)
        rc = plumb_exam_propose(&e, o->gauge, o->n_gauges, &n_pins, err);
    if (rc == 0) {
        propose_sides(o, &e, say);
        rc = plumb_exam_propose(&e, NULL, 0, &n_pins,
                                err); /* the pin's sides, now mesial is known */
    }
    if (rc == 0)
        rc = write_sheet(o, path, &e, out, err);
    if (rc == 0) {
        say_film_notes(&e.film, say);
        say_what_is_left(&e, n_pins, say);
    }
    plumb_exam_release(&e);
    return rc;
}

/* --- carry
 * ----------------------------------------------------------------------------------------- */

/* The old sheet's film is the one beside it, whatever page of the new one is asked for. */
static int open_old(const struct cli_options *o, struct exam *old, struct err *err)
{
    struct exam_options how = o->exam;
    how.film.page = 0;
    how.has_plan_on = false;
    int rc = plumb_exam_open_sheet(o->from, &how, old, err);
    if (rc != 0)
        plumb_err_prefix(err, "old sheet %.80s", o->from);
    return rc;
}

static int carry(const struct cli_options *o, const struct exam *old, struct exam *e,
                 struct sheet_notes *say, struct err *err)
{
    size_t n_pins = 0;
    struct sheet_notes match = {0};
    int rc = state_film(o, e, say, err);
    if (rc == 0)
        rc = plumb_exam_carry(old, e, o->gauge, o->n_gauges, &n_pins, &match, err);
    if (rc == 0) {
        say_film_notes(&e->film, say);
        say_all(&match, say);
        propose_sides(o, e, say);
        say_what_is_left(e, n_pins, say);
    }
    plumb_sheet_notes_release(&match);
    return rc;
}

int cli_carry(const struct cli_options *o, const char *path, struct buf *out,
              struct sheet_notes *say, struct err *err)
{
    struct exam old, e;
    int rc = open_old(o, &old, err);
    if (rc != 0)
        return rc;
    rc = plumb_exam_open_film(path, &o->exam, &e, err);
    if (rc == 0) {
        rc = carry(o, &old, &e, say, err);
        if (rc == 0)
            rc = write_sheet(o, path, &e, out, err);
        plumb_exam_release(&e);
    }
    plumb_exam_release(&old);
    return rc;
}

/* --- measure, record
 * -------------------------------------------------------------------------------- */

int cli_measure(const struct cli_options *o, const char *path, struct buf *out,
                struct sheet_notes *say, struct err *err)
{
    struct exam e;
    int rc = plumb_exam_open_sheet(path, &o->exam, &e, err);
    if (rc != 0)
        return rc;
    if (o->json)
        rc = plumb_rec_json(&e, false, out, err);
    else if (o->csv)
        rc = plumb_rec_csv(&e, false, out, err);
    else if (o->missing)
        rc = plumb_rec_missing(&e, out, err);
    else if (o->budget)
        rc = plumb_rec_budget(&e, out, err);
    else if (o->worksheet)
        rc = plumb_rec_worksheet(&e, out, err);
    else
        rc = plumb_rec_table(&e, out, err);
    say_all(&e.result.warnings, say);
    say_all(&e.notes, say);
    plumb_exam_release(&e);
    return rc;
}

int cli_tell_paths(const struct cli_options *o, const struct rec_paths *p, struct buf *out,
                   struct err *err)
{
    if (o->json)
        return add_json(json_pack("{s:s, s:i, s:i, s:s, s:s, s:s}", "format", "plumbrule-record",
                                  "version", 1, "revision", (int)p->revision, "picture", p->picture,
                                  "text", p->text, "json", p->json),
                        out, err);
    plumb_buf_addf(out, "%s\n%s\n%s\n", p->picture, p->text, p->json);
    return plumb_buf_check(out, err);
}

int cli_record(const struct cli_options *o, const char *path, struct buf *out,
               struct sheet_notes *say, struct err *err)
{
    struct exam e;
    struct rec_paths paths = {0};
    struct rec_picture_options picture;
    plumb_rec_picture_options_default(&picture);
    picture.legend = o->legend;
    int rc = plumb_exam_open_sheet(path, &o->exam, &e, err);
    if (rc != 0)
        return rc;
    rc = plumb_rec_write(&e, o->into ? o->into : ".", &picture, &paths, err);
    if (rc == 0)
        rc = cli_tell_paths(o, &paths, out, err);
    say_all(&e.result.warnings, say);
    say_all(&e.notes, say);
    plumb_rec_paths_release(&paths);
    plumb_exam_release(&e);
    return rc;
}

/* --- limits
 * ------------------------------------------------------------------------------------------ */

static const char *compare_word(enum unc_compare c)
{
    return c == UNC_AT_LEAST ? "at least" : c == UNC_AT_MOST ? "at most" : "within";
}

static int limits_json(const struct meas_config *c, struct buf *out, struct err *err)
{
    json_t *list = json_array();
    for (size_t i = 0; i < c->n_limits; i++) {
        const struct meas_limit_entry *e = &c->limit[i];
        static const char *const key[] = {"at_least", "at_most", "within"};
        json_array_append_new(list, json_pack("{s:s, s:f, s:s, s:s, s:s}", "quantity", e->quantity,
                                              key[e->compare], e->limit, "caption", e->caption,
                                              "source", e->source, "status", e->status));
    }
    return add_json(
        json_pack("{s:s, s:i, s:o}", "format", "plumbrule-limits", "version", 1, "limits", list),
        out, err);
}

int cli_limits(const struct cli_options *o, struct buf *out, struct err *err)
{
    struct meas_config c;
    int rc = plumb_exam_config(&o->exam, &c, err);
    if (rc != 0)
        return rc;
    if (o->json)
        return limits_json(&c, out, err);
    plumb_buf_addf(out, "Limits a quantity is held against (a comparison, no verdict)\n");
    for (size_t i = 0; i < c.n_limits; i++) {
        const struct meas_limit_entry *e = &c.limit[i];
        plumb_buf_addf(out, "  %-20s %s %g: %s\n      %s (%s)\n", e->quantity,
                       compare_word(e->compare), e->limit, e->caption, e->source, e->status);
    }
    plumb_buf_addf(out, "\nStandard uncertainty of a mark placed by hand\n");
    for (int i = 0; i < KIND_COUNT; i++)
        plumb_buf_addf(out, "  %-20s %.2f mm\n      %s\n", plumb_meas_mark_label((enum mark_kind)i),
                       c.mark[i].u_mm, c.mark[i].source);
    plumb_buf_addf(out, "  %-20s %.2f mm\n      %s\n", "a gauge's size", c.gauge_size.u_mm,
                   c.gauge_size.source);
    plumb_buf_addf(out, "  %-20s %.1f mm\n      %s\n", "plane of objects", c.plane.u_mm,
                   c.plane.source);
    plumb_buf_addf(out, "  %-20s %.1f deg\n      %s\n", "lean unseen", c.lean.u_mm, c.lean.source);
    plumb_buf_addf(out, "  %-20s %.1f deg\n      %s\n", "beam out of square", c.beam.u_mm,
                   c.beam.source);
    plumb_buf_addf(out, "  %-20s %.2f deg\n      %s\n", "traced root", c.traced.u_mm,
                   c.traced.source);
    plumb_buf_addf(out, "  %-20s %.0f %%\n      %s\n", "scale, last resort", c.last_resort.u_mm,
                   c.last_resort.source);
    plumb_buf_addf(out, "  %-20s %.0f mm\n      %s\n", "source to film", c.source_to_film_mm,
                   c.source_to_film_source);
    plumb_buf_addf(out, "  %-20s %.1f mm\n      %s\n", "healthy CEJ-crest", c.healthy_mm,
                   c.healthy_source);
    return plumb_buf_check(out, err);
}
