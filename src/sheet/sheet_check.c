/*
 * Holds a sheet against its film and against itself. What cannot be (a mark beside the film, an
 * axis without length) is an error; what is odd but possible is a note.
 */
#include "sheet/sheet_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Bounds of the checks. */
static const struct {
    double beyond_edge_px;   /* a click on the film's very edge still counts as on it */
    double apart_px;         /* two ends nearer than this give no direction */
    double plan_length_mm;   /* longer than implants are; common practice, no source */
    double plan_diameter_mm; /* wider than implants are; common practice, no source */
    /* Each mark is moved and all measured again: so many take some seconds, twice as many four
     * times as long. A full sheet placed by hand has 100. */
    size_t marks_most;
} limit = {0.5, 1.0, 20.0, 8.0, 1500};

struct check {
    const struct sheet *s;
    double width, height; /* px */
    struct sheet_notes *notes;
    struct err *err;
};

/* --- against the film ---------------------------------------------------------------------------
 */

static int check_size(const struct check *c)
{
    const struct sheet_film *f = &c->s->film;
    bool same_width = f->width == 0 || (double)f->width == c->width;
    bool same_height = f->height == 0 || (double)f->height == c->height;
    if (same_width && same_height)
        return 0;
    return plumb_err_set(c->err, ERR_FORMAT,
                         "the sheet is for a film of %zu x %zu px, this one has %.0f x %.0f: find "
                         "the right film",
                         f->width, f->height, c->width, c->height);
}

static int check_number(const struct check *c)
{
    size_t n = plumb_sheet_marks(c->s, NULL, 0);
    if (n <= limit.marks_most)
        return 0;
    return plumb_err_set(c->err, ERR_FORMAT,
                         "it has %zu marks, at most %zu can be measured: thin out the root sides "
                         "and bounds",
                         n, limit.marks_most);
}

/* The film's edges lie half a pixel outside the centres of its outermost pixels. */
static bool on_film(double x, double size)
{
    return x >= -0.5 - limit.beyond_edge_px && x <= size - 0.5 + limit.beyond_edge_px;
}

static int check_places(void *context, const struct sheet_place *p)
{
    const struct check *c = context;
    char name[64];
    for (size_t i = 0; i < p->n; i++) {
        const struct mark *m = &p->at[i];
        if (!m->set || (on_film(m->x, c->width) && on_film(m->y, c->height)))
            continue;
        sheet_place_name(p, i, name, sizeof name);
        return plumb_err_set(c->err, ERR_FORMAT,
                             "%s lies outside the film: (%.1f, %.1f) on %.0f x %.0f px; place it "
                             "again",
                             name, m->x, m->y, c->width, c->height);
    }
    return 0;
}

/* --- marks among themselves ---------------------------------------------------------------------
 */

static double distance(const struct mark *a, const struct mark *b)
{
    return hypot(a->x - b->x, a->y - b->y);
}

static int check_ends(void *context, const struct sheet_place *p)
{
    const struct check *c = context;
    if (p->field->type == FIELD_PATH && p->n == 1)
        plumb_sheet_notes_add(c->notes, "%s has one point only: a line needs two", p->path);
    if (p->field->type != FIELD_PAIR || !p->at[0].set || !p->at[1].set ||
        distance(&p->at[0], &p->at[1]) >= limit.apart_px)
        return 0;
    return plumb_err_set(c->err, ERR_FORMAT,
                         "%s has no length: both ends lie at (%.1f, %.1f); place one again",
                         p->path, p->at[0].x, p->at[0].y);
}

/* A line that should run from crown to apex, and the mark at its apical end. */
static void note_reversed(const struct check *c, const char *name, const struct mark *line,
                          size_t n, const struct mark *apex)
{
    if (n < 2 || !line[0].set || !line[n - 1].set || !apex->set)
        return;
    if (distance(&line[0], apex) < distance(&line[n - 1], apex))
        plumb_sheet_notes_add(c->notes, "%s has its apical end first: turn it round", name);
}

static void note_directions(const struct check *c)
{
    const struct sheet *s = c->s;
    const struct sheet_neighbour *m = &s->side[MESIAL], *d = &s->side[DISTAL];
    const struct sheet_site_tooth *t = &s->site_tooth;
    note_reversed(c, "pin.axis", s->pin.axis, 2, &s->pin.tip);
    for (size_t i = 0; i < s->n_pins; i++) {
        char name[40];
        snprintf(name, sizeof name, "pins[%zu].axis", i);
        note_reversed(c, name, s->pins[i].axis, 2, &s->pins[i].tip);
    }
    note_reversed(c, "mesial.axis", m->axis, 2, &m->apex);
    note_reversed(c, "mesial.near", m->near.at, m->near.n, &m->apex);
    note_reversed(c, "mesial.far", m->far.at, m->far.n, &m->apex);
    note_reversed(c, "distal.axis", d->axis, 2, &d->apex);
    note_reversed(c, "distal.near", d->near.at, d->near.n, &d->apex);
    note_reversed(c, "distal.far", d->far.at, d->far.n, &d->apex);
    note_reversed(c, "site_tooth.axis", t->axis, 2, &t->apex);
}

/* --- teeth --------------------------------------------------------------------------------------
 */

/* How far from the midline a tooth stands on the site's side of the jaw: 1 to 8, negative across
 * the midline; 0 in the other jaw. Deciduous teeth stand where their successors will. */
static int stand(int fdi, int site)
{
    if (plumb_tooth_is_upper(fdi) != plumb_tooth_is_upper(site))
        return 0;
    bool same_side = (fdi / 10) % 2 == (site / 10) % 2;
    return same_side ? fdi % 10 : -(fdi % 10);
}

static void note_tooth(const struct check *c, const char *key, int fdi, const char *what)
{
    char tooth[8], site[8];
    plumb_tooth_print(fdi, c->s->site.notation, tooth);
    plumb_tooth_print(c->s->site.tooth, c->s->site.notation, site);
    plumb_sheet_notes_add(c->notes, "%s.tooth is %s and site.tooth is %s: %s", key, tooth, site,
                          what);
}

static void note_neighbours(const struct check *c)
{
    int site = c->s->site.tooth;
    if (!plumb_tooth_valid(site))
        return;
    for (int side = MESIAL; side < SIDES; side++) {
        int fdi = c->s->side[side].tooth, at = stand(fdi, site), own = site % 10;
        if (!plumb_tooth_valid(fdi))
            continue;
        if (at == 0)
            note_tooth(c, plumb_side_word[side], fdi, "they stand in different jaws, check them");
        else if (at == own)
            note_tooth(c, plumb_side_word[side], fdi, "they stand in the same place, check them");
        else if ((at > own) == (side == MESIAL))
            note_tooth(c, plumb_side_word[side], fdi, "mesial and distal seem swapped");
        else if (at < -1)
            note_tooth(c, plumb_side_word[side], fdi,
                       "they stand on both sides of the midline, check them");
    }
}

/* --- the rest -----------------------------------------------------------------------------------
 */

/* Usual numbers of roots, by place from the midline; common practice, no source. */
struct usual_roots {
    int least, most;
};

static struct usual_roots usual_roots(int fdi)
{
    static const struct usual_roots permanent[2][8] = {
        {{1, 1}, {1, 1}, {1, 2}, {1, 1}, {1, 1}, {2, 3}, {1, 2}, {1, 3}}, /* lower */
        {{1, 1}, {1, 1}, {1, 1}, {1, 2}, {1, 2}, {3, 3}, {2, 3}, {1, 4}}, /* upper */
    };
    static const struct usual_roots deciduous[2][5] = {
        {{1, 1}, {1, 1}, {1, 1}, {2, 2}, {2, 2}},
        {{1, 1}, {1, 1}, {1, 1}, {3, 3}, {3, 3}},
    };
    bool is_upper = plumb_tooth_is_upper(fdi);
    int at = fdi % 10 - 1;
    return fdi > 50 ? deciduous[is_upper][at] : permanent[is_upper][at];
}

static void note_roots(const struct check *c)
{
    int roots = c->s->observed.roots, tooth = c->s->site.tooth;
    if (roots == 0 || !plumb_tooth_valid(tooth))
        return;
    struct usual_roots usual = usual_roots(tooth);
    char name[64], range[32];
    if (roots >= usual.least && roots <= usual.most)
        return;
    snprintf(range, sizeof range, usual.least == usual.most ? "%d" : "%d to %d", usual.least,
             usual.most);
    plumb_sheet_notes_add(c->notes, "observed.roots is %d, unusual for the %s (usually %s): check",
                          roots, plumb_tooth_name(tooth, name), range);
}

/* Dates of the form YYYY-MM-DD sort as texts; "" is not stated. */
static bool is_before(const char *a, const char *b)
{
    return a[0] != '\0' && b[0] != '\0' && strcmp(a, b) < 0;
}

struct head_search {
    const char *head;
    bool found;
};

static int find_head(void *context, const struct sheet_place *p)
{
    struct head_search *h = context;
    for (size_t i = 0; i < p->n && strncmp(p->path, h->head, strlen(h->head)) == 0; i++)
        h->found = h->found || p->at[i].set;
    return h->found;
}

static bool any_mark(const struct sheet *s, const char *head)
{
    struct head_search h = {.head = head};
    sheet_walk(sheet_borrow(s), find_head, &h);
    return h.found;
}

/* What the dates say against each other and against what is marked. */
static void note_dates(const struct check *c)
{
    const struct sheet_site *s = &c->s->site;
    const char *taken = c->s->film.taken;
    if (is_before(s->grafted, s->extracted))
        plumb_sheet_notes_add(c->notes,
                              "site.grafted %s is before site.extracted %s: check the dates",
                              s->grafted, s->extracted);
    if (is_before(taken, s->extracted) && any_mark(c->s, "pin"))
        plumb_sheet_notes_add(c->notes,
                              "a pin is marked on a film of %s, but site.extracted is %s: check "
                              "the dates",
                              taken, s->extracted);
    if (s->extracted[0] == '\0' && is_before(s->grafted, taken) && any_mark(c->s, "site_tooth."))
        plumb_sheet_notes_add(c->notes,
                              "the site's tooth is marked on a film of %s, but site.grafted is "
                              "%s: check the dates",
                              taken, s->grafted);
    if (is_before(s->extracted, taken) && any_mark(c->s, "site_tooth."))
        plumb_sheet_notes_add(c->notes,
                              "the site's tooth is marked on a film of %s, but site.extracted is "
                              "%s: check the dates",
                              taken, s->extracted);
}

static void note_plan(const struct check *c)
{
    const struct sheet_plan *p = &c->s->plan;
    if (p->set && p->length_mm > limit.plan_length_mm)
        plumb_sheet_notes_add(c->notes, "plan.length_mm is %.1f, more than %.0f: check it",
                              p->length_mm, limit.plan_length_mm);
    if (p->set && p->diameter_mm > limit.plan_diameter_mm)
        plumb_sheet_notes_add(c->notes, "plan.diameter_mm is %.1f, more than %.0f: check it",
                              p->diameter_mm, limit.plan_diameter_mm);
}

int plumb_sheet_check(const struct sheet *s, size_t width, size_t height, struct sheet_notes *notes,
                      struct err *err)
{
    struct check c = {s, (double)width, (double)height, notes, err};
    int rc = check_size(&c);
    if (rc == 0)
        rc = check_number(&c);
    if (rc == 0)
        rc = sheet_walk(sheet_borrow(s), check_places, &c);
    if (rc == 0)
        rc = sheet_walk(sheet_borrow(s), check_ends, &c);
    if (rc != 0)
        return rc;
    note_directions(&c);
    note_neighbours(&c);
    note_roots(&c);
    note_dates(&c);
    note_plan(&c);
    return 0;
}
