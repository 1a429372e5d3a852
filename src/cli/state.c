/*
 * What the command line states of a new sheet: site, dates, plan, answers of the eye, and marks
 * placed by number. All of it is as if placed by hand, so the finders leave it alone.
 */
#include "cli/cli_internal.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int refuse(struct err *err, const char *option, const char *value, const char *wanted)
{
    return plumb_err_set(err, ERR_ARG, "--%s %.80s: %s", option, value, wanted);
}

static int state_site(const struct cli_options *o, struct sheet *s, struct err *err)
{
    s->site.notation = o->notation;
    s->site.seen_from = o->seen_from;
    s->site.age_years = o->age_years;
    s->film.sensor_mm = o->sensor_mm;
    s->plan = o->plan;
    if (o->stage != NULL)
        plumb_text_copy(s->film.stage, sizeof s->film.stage, o->stage);
    if (o->taken != NULL)
        plumb_text_copy(s->film.taken, sizeof s->film.taken, o->taken);
    if (o->extracted != NULL)
        plumb_text_copy(s->site.extracted, sizeof s->site.extracted, o->extracted);
    if (o->grafted != NULL)
        plumb_text_copy(s->site.grafted, sizeof s->site.grafted, o->grafted);
    if (o->tooth == NULL || plumb_tooth_parse(o->tooth, o->notation, &s->site.tooth, err) == 0)
        return 0;
    return refuse(err, "tooth", o->tooth, "no such tooth in this notation");
}

/* Reads "X,Y" off *text, and the comma behind it when more follows. */
static bool take_point(const char **text, struct mark *out)
{
    double v[2];
    for (int i = 0; i < 2; i++) {
        char *end;
        errno = 0;
        v[i] = strtod(*text, &end);
        if (end == *text || errno != 0 || !isfinite(v[i]) || (i == 0 && *end != ','))
            return false;
        *text = end + (*end == ',' && (i == 0 || end[1] != '\0'));
    }
    *out = (struct mark){.set = true, .x = v[0], .y = v[1], .by = MARK_HAND};
    return true;
}

/* Makes room for the next further pin when a mark of it is named. */
static void begin_pin(const char *name, struct sheet *s)
{
    char next[32];
    int n = snprintf(next, sizeof next, "pins[%zu].", s->n_pins);
    if (s->n_pins < SHEET_PINS && strncmp(name, next, (size_t)n) == 0)
        s->n_pins++;
}

/* "mesial.cej=345,371" */
static int state_mark(const char *text, struct sheet *s, struct err *err)
{
    char name[64];
    struct mark at;
    const char *point = strchr(text, '=');
    if (point == NULL || point++ - text >= (ptrdiff_t)sizeof name)
        return refuse(err, "mark", text, "give NAME=X,Y in px, e.g. mesial.cej=345,371");
    snprintf(name, sizeof name, "%.*s", (int)(point - text - 1), text);
    begin_pin(name, s);
    struct mark *m = plumb_sheet_mark(s, name);
    if (m == NULL)
        return refuse(err, "mark", text, "no such mark; one is e.g. mesial.cej or site_tooth.apex");
    if (!take_point(&point, &at) || *point != '\0')
        return refuse(err, "mark", text, "give NAME=X,Y in px, e.g. mesial.cej=345,371");
    *m = at;
    return 0;
}

/* "canal roof=60,1160,400,1195,930,1190" */
static int state_bound(const char *text, struct sheet *s, struct err *err)
{
    enum { POINTS = 64 };
    static const char wanted[] = "give WORDS=X,Y,X,Y... in px, two to 64 points";
    struct mark at[POINTS];
    size_t n = 0;
    const char *point = strchr(text, '=');
    struct sheet_bound *b = &s->bound[s->n_bounds];
    if (point == NULL || point - text >= (ptrdiff_t)sizeof b->what)
        return refuse(err, "bound", text, wanted);
    snprintf(b->what, sizeof b->what, "%.*s", (int)(point - text), text);
    for (point++; n < POINTS && *point != '\0'; n++)
        if (!take_point(&point, &at[n]))
            return refuse(err, "bound", text, wanted);
    if (n < 2 || *point != '\0' || !plumb_text_is_utf8(b->what, strlen(b->what)))
        return refuse(err, "bound", text, wanted);
    b->path.at = plumb_mem_array(n, sizeof *at, err);
    if (b->path.at == NULL)
        return ERR_NOMEM;
    memcpy(b->path.at, at, n * sizeof *at);
    b->path.n = n;
    s->n_bounds++;
    return 0;
}

/* "facial_plate=missing 4 mm" */
static int state_seen(const char *text, struct sheet *s, struct err *err)
{
    static const char wanted[] = "give roots=N, or facial_plate, infection, primary_hold or "
                                 "soft_tissue=WORDS";
    struct sheet_observed *o = &s->observed;
    const struct {
        const char *name;
        char *words;
    } answers[] = {{"facial_plate=", o->facial_plate},
                   {"infection=", o->infection},
                   {"primary_hold=", o->primary_hold},
                   {"soft_tissue=", o->soft_tissue}};
    char *end;
    if (strncmp(text, "roots=", 6) == 0) {
        long n = strtol(text + 6, &end, 10);
        o->roots = (int)n;
        return n >= 1 && n <= 9 && *end == '\0' ? 0 : refuse(err, "seen", text, wanted);
    }
    for (size_t i = 0; i < sizeof answers / sizeof answers[0]; i++) {
        size_t n = strlen(answers[i].name);
        if (strncmp(text, answers[i].name, n) != 0)
            continue;
        bool fits = plumb_text_copy(answers[i].words, SHEET_WORDS, text + n) &&
                    plumb_text_is_utf8(text + n, strlen(text + n));
        return fits ? 0 : refuse(err, "seen", text, "too long or not UTF-8");
    }
    return refuse(err, "seen", text, wanted);
}

int cli_state(const struct cli_options *o, const struct film *film, struct sheet *s,
              struct sheet_notes *say, struct err *err)
{
    int rc = state_site(o, s, err);
    for (size_t i = 0; rc == 0 && i < o->n_marks; i++)
        rc = state_mark(o->mark[i], s, err);
    for (size_t i = 0; rc == 0 && i < o->n_bounds; i++)
        rc = state_bound(o->bound[i], s, err);
    for (size_t i = 0; rc == 0 && i < o->n_seen; i++)
        rc = state_seen(o->seen[i], s, err);
    return rc != 0 ? rc : plumb_sheet_check(s, film->width, film->height, say, err);
}
