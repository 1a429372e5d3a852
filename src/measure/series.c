/*
 * Series: how the quantities of one site change from film to film. Pure: results in, changes out.
 *
 * A change is b - a. Its variance is u_a^2 + u_b^2 - 2 cov(a, b) (JCGM 100, 5.2.2). The marks of
 * two films, the planes and the leans are taken as independent; what both share is the size of a
 * gauge that stood in both: its error is the same there, and with signed contributions c_a, c_b of
 * that input cov = c_a c_b. So a wrong size of one drill all but cancels in a change. U = k u with
 * k for 95 %; a change is detected when |b - a| > U (the least significant change of two
 * looks, 1.96 sqrt(2) u for equal u; Hildebolt et al. 2009, PMC2736148, for CEJ to crest on
 * repeated films). Over three films and more the slope is that of metrology's line through all
 * values, with the same covariances.
 *
 * Limits: the magnification behind a scale of last resort is taken as independent from film to
 * film, although a holder makes part of it common: such changes are stated too wide rather than
 * too narrow. An interval is taken as even about its value. A month is a twelfth of the Julian
 * year of 365.25 days (IAU, 1976); days count as exact.
 */
#include "measure/measure_internal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const double plumb_meas_month_days = 30.4375;

/* What a shorter span says of a month would be a guess. Common practice, no source. */
static const long rate_days_min = 28;

/* The first pattern that fits counts. Quantities without a row have no course: the scale and the
 * lean belong to one film, a plan and further pins are somebody's choice, and the rest repeats one
 * that is here. */
static const struct rule {
    const char *pattern;
    enum meas_course_kind kind, with_same_pin;
    const char *note;
} rules[] = {
    {"cej_crest.*", COURSE_CREST, COURSE_CREST, ""},
    {"rbl_pct.*", COURSE_CREST, COURSE_CREST, ""},
    {"loss.*", COURSE_CREST, COURSE_CREST, ""},
    {"loss_pct.*", COURSE_CREST, COURSE_CREST, ""},
    {"fracture.*", COURSE_CREST, COURSE_CREST, "the crest or the fracture's edge has changed"},
    {"ridge", COURSE_CREST, COURSE_CREST, "against both crests: a change of theirs counts in"},
    {"ratio.clinical", COURSE_CREST, COURSE_CREST, "the crest or the crown has changed"},
    {"level.*", COURSE_PIN, COURSE_CREST, ""},
    {"depth.*", COURSE_PIN, COURSE_CREST, ""},
    {"space.*", COURSE_TEETH, COURSE_TEETH, "taken at each film's own crest: its level counts in"},
    {"angle.roots", COURSE_TEETH, COURSE_TEETH, ""},
    {"ratio.anatomic", COURSE_TEETH, COURSE_TEETH, ""},
    {"root_length.*", COURSE_CONTROL, COURSE_CONTROL, ""},
    {"beyond_apex", COURSE_CONTROL, COURSE_CONTROL, ""},
    {"angle.*", COURSE_PIN, COURSE_CONTROL, ""},
    {"clearance.*", COURSE_PIN, COURSE_CONTROL, ""},
    {"stop.*", COURSE_PIN, COURSE_PIN, ""},
    {"bound.*", COURSE_PIN, COURSE_CONTROL, ""},
    {"bound_axis.*", COURSE_PIN, COURSE_CONTROL, ""},
};
enum { RULES = sizeof rules / sizeof rules[0] };

static const char why_alone[] = "measured on one film only";
static const char why_floor[] = "a loss is not below 0, and may stand at that on a film: see CEJ "
                                "to crest";
static const char why_neighbour[] = "the neighbour is another tooth on another film";
static const char why_bound[] = "the bound is another one on another film";
static const char why_plan[] = "the planned depth is another one on another film";

struct making {
    const struct meas_visit *visit;
    struct meas_series *out;
    bool other_neighbour[SIDES];
};

static bool begins(const char *id, const char *head)
{
    return strncmp(id, head, strlen(head)) == 0;
}

static bool rule_fits(const struct rule *rule, const char *id)
{
    char plain[MEAS_ID];
    plumb_text_copy(plain, sizeof plain, id);
    char *tail = strstr(plain, ".corrected");
    if (tail != NULL)
        *tail = '\0';
    return slot_fits(rule->pattern, plain);
}

static const struct rule *rule_of(const char *id)
{
    for (size_t i = 0; i < RULES; i++)
        if (rule_fits(&rules[i], id))
            return &rules[i];
    return NULL;
}

/* --- do the sheets belong together? -------------------------------------------------------------
 */

static int check_visit(const struct meas_visit *v, struct err *err)
{
    if (!plumb_date_valid(v->sheet->film.taken))
        return plumb_err_set(err, ERR_FORMAT,
                             "%.90s: states no date of its film: write \"taken\": \"YYYY-MM-DD\" "
                             "into its film, or open it with plumbrule view",
                             v->name);
    if (v->sheet->site.tooth == 0)
        return plumb_err_set(err, ERR_FORMAT,
                             "%.90s: states no tooth: write \"site\": {\"tooth\": \"35\"} (the "
                             "tooth it is) into the sheet",
                             v->name);
    return 0;
}

static int check_site(const struct meas_visit *a, const struct meas_visit *b, struct err *err)
{
    char of_a[8], of_b[8];
    if (a->sheet->site.tooth == b->sheet->site.tooth)
        return 0;
    plumb_tooth_print(a->sheet->site.tooth, a->sheet->site.notation, of_a);
    plumb_tooth_print(b->sheet->site.tooth, b->sheet->site.notation, of_b);
    return plumb_err_set(err, ERR_FORMAT,
                         "%.80s: is of tooth %s, %.80s of %s: give the sheets of one site", b->name,
                         of_b, a->name, of_a);
}

static int check_visits(const struct meas_visit *v, size_t n, struct err *err)
{
    if (n < 2 || n > SERIES_FILMS)
        return plumb_err_set(err, ERR_ARG, "a series is of 2 to %d sheets, not of %zu",
                             SERIES_FILMS, n);
    for (size_t i = 0; i < n; i++) {
        int rc = check_visit(&v[i], err);
        if (rc == 0)
            rc = check_site(&v[0], &v[i], err);
        if (rc != 0)
            return rc;
        if (i > 0 && plumb_date_days(v[i - 1].sheet->film.taken, v[i].sheet->film.taken) < 0)
            return plumb_err_set(err, ERR_ARG, "%.90s: is not in order of date", v[i].name);
    }
    return 0;
}

static int neighbour_of(const struct sheet *s, int side)
{
    int from_site[SIDES];
    plumb_tooth_neighbours(s->site.tooth, &from_site[MESIAL], &from_site[DISTAL]);
    return s->side[side].tooth != 0 ? s->side[side].tooth : from_site[side];
}

static void compare_neighbours(struct making *m, size_t n)
{
    for (int side = 0; side < SIDES; side++)
        for (size_t i = 1; i < n && !m->other_neighbour[side]; i++) {
            const struct sheet *a = m->visit[0].sheet, *b = m->visit[i].sheet;
            char of_a[8], of_b[8];
            if (neighbour_of(a, side) == neighbour_of(b, side))
                continue;
            m->other_neighbour[side] = true;
            plumb_tooth_print(neighbour_of(a, side), a->site.notation, of_a);
            plumb_tooth_print(neighbour_of(b, side), b->site.notation, of_b);
            plumb_sheet_notes_add(&m->out->warnings,
                                  "the %s neighbour is %s on film 1 and %s on film %zu: what is "
                                  "measured at it is left out",
                                  plumb_side_word[side], of_a, of_b, i + 1);
        }
}

/* --- shared inputs ------------------------------------------------------------------------------
 */

static bool same_name(const struct sheet_gauge *a, const struct sheet_gauge *b)
{
    return a->kind == b->kind && a->name[0] != '\0' && strcmp(a->name, b->name) == 0;
}

/* Of two drills of one length and two diameters neither is the other. */
static bool share_no_piece(const struct sheet *a, const struct sheet *b)
{
    for (size_t i = 0; i < a->n_gauges; i++)
        for (size_t j = 0; j < b->n_gauges; j++)
            if (same_name(&a->gauge[i], &b->gauge[j]) && a->gauge[i].mm != b->gauge[j].mm)
                return true;
    return false;
}

/* What the gauge's stated size contributes to the quantity, signed. */
static double by_size(const struct meas_result *r, const struct meas_quantity *q, size_t gauge)
{
    char name[sizeof r->input_name[0]];
    snprintf(name, sizeof name, "gauges[%zu].mm", gauge);
    for (size_t j = 0; j < r->n_inputs; j++)
        if (strcmp(r->input_name[j], name) == 0)
            return r->contribution[(size_t)(q - r->quantity) * r->n_inputs + j];
    return 0.0;
}

static double covariance(const struct meas_visit *a, const struct meas_quantity *qa,
                         const struct meas_visit *b, const struct meas_quantity *qb)
{
    double sum = 0.0;
    if (share_no_piece(a->sheet, b->sheet))
        return 0.0;
    for (size_t i = 0; i < a->sheet->n_gauges; i++)
        for (size_t j = 0; j < b->sheet->n_gauges; j++)
            if (same_name(&a->sheet->gauge[i], &b->sheet->gauge[j]))
                sum += by_size(a->result, qa, i) * by_size(b->result, qb, j);
    return sum;
}

/* --- one course ---------------------------------------------------------------------------------
 */

static bool is_floored(const struct meas_quantity *q)
{
    return begins(q->id, "loss") && !(q->v.lo > 0.0);
}

static bool is_comparable(const struct meas_quantity *q)
{
    return isfinite(q->v.value) && isfinite(q->v.lo) && isfinite(q->v.hi) && isfinite(q->v.u) &&
           q->v.u > 0.0 && !q->below_only && !is_floored(q);
}

static void fill_points(const struct making *m, struct meas_course *c)
{
    for (size_t i = 0; i < m->out->n_films; i++) {
        const struct meas_quantity *q = plumb_meas_find(m->visit[i].result, c->id);
        c->at[i] = q != NULL && is_comparable(q) ? q : NULL;
    }
}

static size_t next_point(const struct meas_course *c, size_t i, size_t n)
{
    while (i < n && c->at[i] == NULL)
        i++;
    return i;
}

static size_t count_points(const struct meas_course *c, size_t n)
{
    size_t points = 0;
    for (size_t i = 0; i < n; i++)
        points += c->at[i] != NULL;
    return points;
}

/* "bound.2" -> 1 */
static size_t bound_index(const char *id)
{
    return (size_t)strtoul(strrchr(id, '.') + 1, NULL, 10) - 1;
}

static bool is_of_neighbour(const struct meas_quantity *q, const char *side)
{
    for (size_t i = 0; i < q->n_from; i++)
        if (begins(q->from[i], side))
            return true;
    return false;
}

/* What both values were measured to is not the same thing: why, else NULL. */
static const char *other_thing(const struct making *m, const struct meas_course *c, size_t i,
                               size_t j)
{
    const struct sheet *a = m->visit[i].sheet, *b = m->visit[j].sheet;
    if (begins(c->id, "bound")) {
        size_t k = bound_index(c->id);
        if (k >= SHEET_BOUNDS || strcmp(a->bound[k].what, b->bound[k].what) != 0)
            return why_bound;
    }
    if (strcmp(c->id, "space.apical") == 0 && a->plan.length_mm != b->plan.length_mm)
        return why_plan;
    return NULL;
}

/* NULL when the course stands. */
static const char *why_not(const struct making *m, const struct meas_course *c)
{
    size_t n = m->out->n_films, first = next_point(c, 0, n);
    bool floored = false;
    for (size_t i = 0; i < n; i++) {
        const struct meas_quantity *q = plumb_meas_find(m->visit[i].result, c->id);
        floored = floored || (q != NULL && is_floored(q));
        if (q != NULL && ((m->other_neighbour[MESIAL] && is_of_neighbour(q, "mesial.")) ||
                          (m->other_neighbour[DISTAL] && is_of_neighbour(q, "distal."))))
            return why_neighbour;
        const char *why = c->at[i] != NULL ? other_thing(m, c, first, i) : NULL;
        if (why != NULL)
            return why;
    }
    if (floored) /* without that film the others would be a choice of the larger losses */
        return why_floor;
    return count_points(c, n) < 2 ? why_alone : NULL;
}

/* Where a pin stood, and what does not change with the crest, has no pace. */
static bool has_pace(const struct meas_course *c, long days)
{
    return days >= rate_days_min && c->kind != COURSE_CONTROL && c->kind != COURSE_PIN;
}

static void fill_change(const struct making *m, const struct meas_course *c, size_t from, size_t to,
                        struct meas_change *out)
{
    const struct meas_quantity *a = c->at[from], *b = c->at[to];
    double u2 =
        a->v.u * a->v.u + b->v.u * b->v.u - 2.0 * covariance(&m->visit[from], a, &m->visit[to], b);
    const double part[] = {a->v.u, b->v.u}, part_dof[] = {a->v.dof, b->v.dof};
    double dof = plumb_unc_welch_satterthwaite(part, part_dof, 2);
    double k = isfinite(dof) ? plumb_unc_coverage_factor(0.95, dof) : k_default;
    *out = (struct meas_change){.from = from, .to = to};
    out->days = m->out->day[to] - m->out->day[from];
    out->value = b->v.value - a->v.value;
    out->u = sqrt(fmax(u2, 0.0));
    out->U = k * out->u;
    out->detected = fabs(out->value) > out->U;
    if (!has_pace(c, out->days))
        return;
    double months = (double)out->days / plumb_meas_month_days;
    out->has_rate = true;
    out->rate = out->value / months;
    out->u_rate = out->u / months;
    out->U_rate = out->U / months;
}

/* From the first film that has the quantity to each later one, and from each to the next. */
static int fill_changes(const struct making *m, struct meas_course *c, struct err *err)
{
    size_t n = m->out->n_films, points = count_points(c, n);
    c->change = plumb_mem_array(2 * points, sizeof *c->change, err);
    if (c->change == NULL)
        return ERR_NOMEM;
    size_t first = next_point(c, 0, n), before = first;
    for (size_t i = next_point(c, first + 1, n); i < n; i = next_point(c, i + 1, n)) {
        fill_change(m, c, first, i, &c->change[c->n_changes]);
        c->change[c->n_changes++].since_first = true;
        if (before != first)
            fill_change(m, c, before, i, &c->change[c->n_changes++]);
        before = i;
    }
    return 0;
}

static int fill_trend(const struct making *m, struct meas_course *c, struct err *err)
{
    size_t n = m->out->n_films, points = 0, at[SERIES_FILMS];
    double x[SERIES_FILMS], y[SERIES_FILMS];
    for (size_t i = next_point(c, 0, n); i < n; i = next_point(c, i + 1, n)) {
        at[points] = i;
        x[points] = (double)m->out->day[i] / plumb_meas_month_days;
        y[points++] = c->at[i]->v.value;
    }
    if (points < 3 || !has_pace(c, m->out->day[at[points - 1]] - m->out->day[at[0]]))
        return 0;
    double *cov = plumb_mem_array(points * points, sizeof *cov, err);
    if (cov == NULL)
        return ERR_NOMEM;
    for (size_t i = 0; i < points; i++)
        for (size_t j = 0; j < points; j++) {
            const struct meas_quantity *a = c->at[at[i]], *b = c->at[at[j]];
            cov[i * points + j] =
                i == j ? a->v.u * a->v.u : covariance(&m->visit[at[i]], a, &m->visit[at[j]], b);
        }
    struct unc_line line;
    int rc = plumb_unc_fit_line(x, y, cov, points, &line, err);
    free(cov);
    if (rc != 0)
        return rc;
    c->trend = (struct meas_trend){.set = true,
                                   .n = points,
                                   .slope = line.slope,
                                   .u = line.u_slope,
                                   .U = k_default * line.u_slope,
                                   .start = line.start,
                                   .u_start = line.u_start,
                                   .birge = line.birge,
                                   .p = line.p,
                                   .straight = line.consistent};
    return 0;
}

/* Which root axis an angle is against, however the quantity says it. */
static const char *axis_words(const struct meas_quantity *q)
{
    return q->axis != NULL ? q->axis : q->note;
}

static void note_course(const struct making *m, struct meas_course *c, const char *note)
{
    size_t n = m->out->n_films, first = next_point(c, 0, n);
    plumb_text_copy(c->note, sizeof c->note, note);
    for (size_t i = first + 1; begins(c->id, "angle.") && i < n; i++)
        if (c->at[i] != NULL && strcmp(axis_words(c->at[first]), axis_words(c->at[i])) != 0)
            plumb_text_copy(c->note, sizeof c->note,
                            "the root axes are not of one kind on these films (chord, mid-line): "
                            "curved roots make that a difference of its own");
}

/* --- the series ---------------------------------------------------------------------------------
 */

static bool is_listed(const struct meas_series *s, const char *id)
{
    for (size_t i = 0; i < s->n_left_out; i++)
        if (strcmp(s->left_out[i].id, id) == 0)
            return true;
    return plumb_meas_series_find(s, id) != NULL;
}

static int add_course(struct making *m, const struct rule *rule, const char *id, const char *unit,
                      struct err *err)
{
    struct meas_series *s = m->out;
    if (s->n_courses >= MEAS_QUANTITIES || s->n_left_out >= MEAS_QUANTITIES)
        return 0;
    struct meas_course *c = &s->course[s->n_courses];
    *c = (struct meas_course){.unit = unit, .kind = s->same_pin ? rule->with_same_pin : rule->kind};
    plumb_text_copy(c->id, sizeof c->id, id);
    plumb_meas_label(id, c->label);
    fill_points(m, c);
    const char *why = why_not(m, c);
    if (why != NULL) {
        struct meas_left_out *l = &s->left_out[s->n_left_out++];
        plumb_text_copy(l->id, sizeof l->id, id);
        l->why = why;
        return 0;
    }
    s->n_courses++;
    note_course(m, c, rule->note);
    int rc = fill_changes(m, c, err);
    return rc == 0 ? fill_trend(m, c, err) : rc;
}

/* All of one kind, in the order of the rules and then of the films. */
static int add_kind(struct making *m, enum meas_course_kind kind, struct err *err)
{
    for (size_t k = 0; k < RULES; k++) {
        if ((m->out->same_pin ? rules[k].with_same_pin : rules[k].kind) != kind)
            continue;
        for (size_t i = 0; i < m->out->n_films; i++) {
            const struct meas_result *r = m->visit[i].result;
            for (size_t j = 0; j < r->n_quantities; j++) {
                const struct meas_quantity *q = &r->quantity[j];
                if (rule_of(q->id) != &rules[k] || is_listed(m->out, q->id))
                    continue;
                int rc = add_course(m, &rules[k], q->id, q->unit, err);
                if (rc != 0)
                    return rc;
            }
        }
    }
    return 0;
}

/* The change that is most beyond its interval, if it is so far beyond that as many changes as the
 * course has would not come so far by chance, at 5 % in all (Sidak, J. Am. Stat. Assoc. 62 (1967)
 * 626): else nearly every long series would have a control that warns. */
static const struct meas_change *startling(const struct meas_course *c)
{
    const struct meas_change *most = &c->change[0];
    for (size_t i = 1; i < c->n_changes; i++) {
        const struct meas_change *g = &c->change[i];
        if (fabs(g->value) * most->U > fabs(most->value) * g->U)
            most = g;
    }
    double each = 1.0 - pow(0.95, 1.0 / (double)c->n_changes);
    double k = fmax(plumb_unc_normal_quantile(1.0 - 0.5 * each), k_default);
    return fabs(most->value) > k / k_default * most->U ? most : NULL;
}

static void warn_controls(struct meas_series *s)
{
    for (size_t i = 0; i < s->n_courses; i++) {
        const struct meas_course *c = &s->course[i];
        const struct meas_change *g = c->kind == COURSE_CONTROL ? startling(c) : NULL;
        char value[32], u[32];
        if (g == NULL)
            continue;
        plumb_unc_format(g->value, g->U, value, u);
        plumb_sheet_notes_add(
            &s->warnings,
            "%s differs by %s \u00b1 %s %s between films %zu and %zu, although it "
            "does not follow the crest: scale, projection or a mark differs",
            c->label, value, u, plumb_meas_unit_word(c->unit), g->from + 1, g->to + 1);
    }
}

/* A mark that was carried over and left where it fell repeats the other film's. */
static int has_carried(const struct sheet *s, bool *has, struct err *err)
{
    size_t n = plumb_sheet_marks(s, NULL, 0);
    struct sheet_mark_ref *ref = plumb_mem_array(n, sizeof *ref, err);
    if (ref == NULL)
        return ERR_NOMEM;
    plumb_sheet_marks(s, ref, n);
    *has = false;
    for (size_t i = 0; i < n; i++)
        *has = *has || (ref[i].mark->by == MARK_CARRIED && !ref[i].mark->confirmed);
    free(ref);
    return 0;
}

/* One note for all films; of a long list the first. */
static int warn_carried(struct making *m, struct err *err)
{
    enum { LIST = 40, WORD = 5 }; /* ", 60" and its end */
    char list[LIST] = "";
    size_t len = 0, films = 0;
    bool all = true;
    for (size_t i = 0; i < m->out->n_films; i++) {
        bool has;
        int rc = has_carried(m->visit[i].sheet, &has, err);
        if (rc != 0)
            return rc;
        if (!has)
            continue;
        all = len + WORD <= sizeof list;
        if (all)
            len += (size_t)snprintf(list + len, sizeof list - len, "%s%zu", len > 0 ? ", " : "",
                                    i + 1);
        films++;
    }
    if (films > 0)
        plumb_sheet_notes_add(&m->out->warnings,
                              "film%s %s%s: marks were carried over and nobody has confirmed them: "
                              "what has changed at them does not show before they are placed on "
                              "their own film",
                              films > 1 ? "s" : "", list, all ? "" : " and others");
    return 0;
}

static void warn_same_pin(struct making *m)
{
    for (size_t i = 1; m->out->same_pin && i < m->out->n_films; i++)
        if (share_no_piece(m->visit[0].sheet, m->visit[i].sheet)) {
            plumb_sheet_notes_add(&m->out->warnings,
                                  "the pin is stated to be the same and unmoved, but its gauges on "
                                  "films 1 and %zu are not of one size",
                                  i + 1);
            return;
        }
}

int plumb_meas_series(const struct meas_visit *visit, size_t n, bool same_pin,
                      struct meas_series *out, struct err *err)
{
    *out = (struct meas_series){.n_films = n, .same_pin = same_pin};
    struct making m = {.visit = visit, .out = out};
    int rc = check_visits(visit, n, err);
    if (rc != 0)
        return rc;
    for (size_t i = 0; i < n; i++)
        out->day[i] = plumb_date_days(visit[0].sheet->film.taken, visit[i].sheet->film.taken);
    out->course = plumb_mem_array(MEAS_QUANTITIES, sizeof *out->course, err);
    out->left_out = plumb_mem_array(MEAS_QUANTITIES, sizeof *out->left_out, err);
    if (out->course == NULL || out->left_out == NULL)
        rc = ERR_NOMEM;
    compare_neighbours(&m, n);
    for (int kind = 0; rc == 0 && kind < COURSE_KINDS; kind++)
        rc = add_kind(&m, (enum meas_course_kind)kind, err);
    if (rc == 0)
        rc = warn_carried(&m, err);
    if (rc != 0) {
        plumb_meas_series_release(out);
        return rc;
    }
    warn_controls(out);
    warn_same_pin(&m);
    return 0;
}

void plumb_meas_series_release(struct meas_series *s)
{
    if (s == NULL)
        return;
    for (size_t i = 0; i < s->n_courses; i++)
        free(s->course[i].change);
    free(s->course);
    free(s->left_out);
    plumb_sheet_notes_release(&s->warnings);
    *s = (struct meas_series){0};
}

const struct meas_course *plumb_meas_series_find(const struct meas_series *s, const char *id)
{
    for (size_t i = 0; i < s->n_courses; i++)
        if (strcmp(s->course[i].id, id) == 0)
            return &s->course[i];
    return NULL;
}
