/*
 * The way of the work: the steps in the job's order, what each asks for, and how far it has come.
 * All of it is derived from the sheet; nothing is kept beside it.
 */
#include "viewer/view_internal.h"

#include <stdlib.h>
#include <string.h>

static const struct {
    const char *words;
    bool optional;
} steps[STEPS] = {
    [STEP_GAUGE] = {"site and known sizes", false},
    [STEP_PIN] = {"pin", false},
    [STEP_ROOT_MESIAL] = {"mesial root", false},
    [STEP_ROOT_DISTAL] = {"distal root", false},
    [STEP_CREST_MESIAL] = {"mesial crest", false},
    [STEP_CREST_DISTAL] = {"distal crest", false},
    [STEP_BOUND] = {"bounds to stay clear of", true},
    [STEP_CEJ] = {"CEJ of the neighbours", true},
    [STEP_SITE_TOOTH] = {"the site's own tooth", true},
    [STEP_SEEN] = {"seen at the site, remarks", true},
};

const struct view_target view_targets[] = {
    {STEP_PIN, WAY_MARK, "pin.shoulder", "the pin's shoulder, on its axis", true},
    {STEP_PIN, WAY_MARK, "pin.tip", "the pin's tip", true},
    {STEP_PIN, WAY_MARK, "pin.stop", "the stop's lower face, on the axis", false},
    {STEP_PIN, WAY_LATER, "pins[0].shoulder", "the second pin's shoulder", false},
    {STEP_PIN, WAY_LATER, "pins[0].tip", "the second pin's tip", false},
    {STEP_PIN, WAY_LATER, "pins[1].shoulder", "the third pin's shoulder", false},
    {STEP_PIN, WAY_LATER, "pins[1].tip", "the third pin's tip", false},
    {STEP_PIN, WAY_LATER, "pins[2].shoulder", "the fourth pin's shoulder", false},
    {STEP_PIN, WAY_LATER, "pins[2].tip", "the fourth pin's tip", false},
    {STEP_PIN, WAY_MARK, "pin.axis[0]", "the pin's axis, crown end", false},
    {STEP_PIN, WAY_MARK, "pin.axis[1]", "the pin's axis, apical end", false},
    {STEP_PIN, WAY_MARK, "pin.mesial_side[0]", "the pin's mesial side, crown end", false},
    {STEP_PIN, WAY_MARK, "pin.mesial_side[1]", "the pin's mesial side, apical end", false},
    {STEP_PIN, WAY_MARK, "pin.distal_side[0]", "the pin's distal side, crown end", false},
    {STEP_PIN, WAY_MARK, "pin.distal_side[1]", "the pin's distal side, apical end", false},
    {STEP_ROOT_MESIAL, WAY_ROOT, "mesial", "the mesial root", true},
    {STEP_ROOT_DISTAL, WAY_ROOT, "distal", "the distal root", true},
    {STEP_CREST_MESIAL, WAY_CREST, "mesial.crest", "the crest at the mesial root", true},
    {STEP_CREST_DISTAL, WAY_CREST, "distal.crest", "the crest at the distal root", true},
    {STEP_CREST_DISTAL, WAY_LATER, "ridge", "the ridge's lowest point between the crests", false},
    {STEP_BOUND, WAY_BOUND, "bounds", "the bound", true},
    {STEP_CEJ, WAY_MARK, "mesial.cej", "the mesial tooth's CEJ, on the side of the site", true},
    {STEP_CEJ, WAY_MARK, "distal.cej", "the distal tooth's CEJ, on the side of the site", true},
    {STEP_CEJ, WAY_MARK, "mesial.cej_far", "the mesial tooth's CEJ, far side", false},
    {STEP_CEJ, WAY_MARK, "distal.cej_far", "the distal tooth's CEJ, far side", false},
    {STEP_CEJ, WAY_MARK, "mesial.apex", "the mesial root's apex", false},
    {STEP_CEJ, WAY_MARK, "distal.apex", "the distal root's apex", false},
    {STEP_SITE_TOOTH, WAY_MARK, "site_tooth.apex", "the apex of the site's tooth", true},
    {STEP_SITE_TOOTH, WAY_MARK, "site_tooth.cej_mesial", "its CEJ, mesial", true},
    {STEP_SITE_TOOTH, WAY_MARK, "site_tooth.cej_distal", "its CEJ, distal", true},
    {STEP_SITE_TOOTH, WAY_MARK, "site_tooth.top", "its crown's top, the highest cusp or edge",
     true},
    {STEP_SITE_TOOTH, WAY_MARK, "site_tooth.fracture_mesial", "the fracture edge, mesial", true},
    {STEP_SITE_TOOTH, WAY_MARK, "site_tooth.fracture_distal", "the fracture edge, distal", true},
    {STEP_GAUGE, WAY_MARK, "gauges[0].ends[0]", "one end of the known size", true},
    {STEP_GAUGE, WAY_MARK, "gauges[0].ends[1]", "the other end of the known size", true},
    {STEP_GAUGE, WAY_MARK, "gauges[1].ends[0]", "one end of the second known size", true},
    {STEP_GAUGE, WAY_MARK, "gauges[1].ends[1]", "the other end of the second known size", true},
};
const size_t view_n_targets = sizeof view_targets / sizeof view_targets[0];

const char *view_step_words(enum view_step s)
{
    return (unsigned)s < STEPS ? steps[s].words : "";
}

bool view_step_optional(enum view_step s)
{
    return (unsigned)s < STEPS && steps[s].optional;
}

static bool begins(const char *s, const char *with)
{
    return strncmp(s, with, strlen(with)) == 0;
}

enum view_step view_step_of(const char *mark)
{
    static const struct {
        const char *begin;
        enum view_step step;
    } table[] = {
        {"gauges", STEP_GAUGE},
        {"pin.", STEP_PIN},
        {"pins[", STEP_PIN},
        {"mesial.crest", STEP_CREST_MESIAL},
        {"distal.crest", STEP_CREST_DISTAL},
        {"mesial.cej", STEP_CEJ},
        {"distal.cej", STEP_CEJ},
        {"mesial.", STEP_ROOT_MESIAL},
        {"distal.", STEP_ROOT_DISTAL},
        {"site_tooth.", STEP_SITE_TOOTH},
        {"ridge", STEP_CREST_DISTAL},
        {"bounds", STEP_BOUND},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (begins(mark, table[i].begin))
            return table[i].step;
    return STEPS;
}

const char *view_mark_words(const char *name)
{
    for (size_t i = 0; i < view_n_targets; i++)
        if (strcmp(view_targets[i].mark, name) == 0)
            return view_targets[i].words;
    if (strncmp(name, "pins[", strlen("pins[")) == 0)
        return "a further pin";
    return view_step_words(view_step_of(name));
}

bool view_step_confirms(enum view_step s, const char *mark)
{
    enum view_step own = view_step_of(mark);
    return own == s || (s == STEP_PIN && own == STEP_GAUGE);
}

/* --- how far -----------------------------------------------------------------------------------
 */

static bool both(const struct mark m[2])
{
    return m[0].set && m[1].set;
}

static bool has_root(const struct sheet_neighbour *nb)
{
    return both(nb->axis) || (nb->near.n > 0 && nb->far.n > 0);
}

static bool has_gauge(const struct sheet *s)
{
    for (size_t i = 0; i < s->n_gauges; i++)
        if (s->gauge[i].mm > 0.0 && both(s->gauge[i].end))
            return true;
    return s->film.sensor_mm > 0.0;
}

static bool seen_anything(const struct sheet *s)
{
    const struct sheet_observed *o = &s->observed;
    return o->roots > 0 || o->facial_plate[0] || o->infection[0] || o->primary_hold[0] ||
           o->soft_tissue[0] || s->remarks[0];
}

/* Are the step's marks there, confirmed or not? */
static bool is_there(const struct sheet *s, enum view_step step)
{
    const struct sheet_pin *p = &s->pin;
    const struct sheet_site_tooth *t = &s->site_tooth;
    switch (step) {
    case STEP_GAUGE:
        return s->site.tooth != 0 && has_gauge(s);
    case STEP_PIN:
        return p->tip.set && (both(p->axis) || p->shoulder.set);
    case STEP_ROOT_MESIAL:
        return has_root(&s->side[MESIAL]);
    case STEP_ROOT_DISTAL:
        return has_root(&s->side[DISTAL]);
    case STEP_CREST_MESIAL:
        return s->side[MESIAL].crest.set;
    case STEP_CREST_DISTAL:
        return s->side[DISTAL].crest.set;
    case STEP_BOUND:
        return s->n_bounds > 0 && s->bound[0].path.n >= 2;
    case STEP_CEJ:
        return s->side[MESIAL].cej.set && s->side[DISTAL].cej.set;
    case STEP_SITE_TOOTH:
        return t->apex.set || both(t->cej) || t->fracture[MESIAL].set || t->fracture[DISTAL].set;
    case STEP_SEEN:
        return seen_anything(s);
    case STEPS:
        break;
    }
    return false;
}

/* Has the step an unconfirmed mark (step = STEPS: counts all of the sheet's)? */
static size_t count_open(const struct sheet *s, enum view_step step)
{
    struct sheet_mark_ref *ref;
    size_t n = view_marks(s, &ref), open = 0;
    for (size_t i = 0; i < n; i++)
        if (plumb_mark_is_open(ref[i].mark) && (step == STEPS || view_step_of(ref[i].name) == step))
            open++;
    free(ref);
    return open;
}

enum view_progress view_step_progress(const struct sheet *s, enum view_step step)
{
    bool there = is_there(s, step);
    if (step == STEP_GAUGE || step == STEP_SEEN) /* the gauge's ends are confirmed with the pin */
        return there ? DONE : TO_DO;
    if (count_open(s, step) > 0)
        return PROPOSED;
    return there ? DONE : TO_DO;
}

size_t view_proposals(const struct sheet *s)
{
    return count_open(s, STEPS);
}

/* --- what is next ------------------------------------------------------------------------------
 */

static bool target_open(const struct sheet *s, const struct view_target *t)
{
    if (t->way == WAY_BOUND)
        return true;
    if (t->way == WAY_ROOT)
        return !has_root(&s->side[strcmp(t->mark, "mesial") == 0 ? MESIAL : DISTAL]);
    static const char gauges[] = "gauges[";
    size_t n = strlen(gauges);
    if (strncmp(t->mark, gauges, n) == 0 && strtoul(t->mark + n, NULL, 10) >= s->n_gauges)
        return false;
    /* looked up only, not changed */
    union {
        const struct sheet *in;
        struct sheet *out;
    } borrowed = {.in = s};
    const struct mark *m = plumb_sheet_mark(borrowed.out, t->mark);
    return m != NULL && !m->set;
}

int view_target_next(const struct sheet *s, enum view_step step, int from)
{
    /* the pin may be known by its axis: then nothing more is asked for */
    if (step == STEP_PIN && is_there(s, STEP_PIN))
        return VIEW_NO_TARGET;
    for (int i = from < 0 ? 0 : from; i < (int)view_n_targets; i++) {
        const struct view_target *t = &view_targets[i];
        if (t->step == step && t->wanted && target_open(s, t))
            return i;
    }
    return VIEW_NO_TARGET;
}

enum view_step view_step_next(const struct sheet *s, enum view_step step)
{
    for (int k = 1; k <= STEPS; k++) {
        enum view_step next = (enum view_step)(((int)step + k) % STEPS);
        if (!steps[next].optional && view_step_progress(s, next) != DONE)
            return next;
    }
    return STEPS;
}
