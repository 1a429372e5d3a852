/*
 * Every label, caption and caution, in one place. Plain, short, no verdict.
 */
#include "plumbrule/measure.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A trailing * stands for the side, the bound's number or the pins' numbers, which goes where %s
 * is. */
static const struct {
    const char *id, *label;
} labels[] = {
    {"scale", "scale"},
    {"tilt", "lean of the pin out of the film's plane"},
    {"angle.mean", "pin against the roots' bisector"},
    {"angle.roots", "root axes against each other"},
    {"angle.*", "pin against the %s root axis"},
    {"clearance.*", "pin's side to the %s root"},
    {"level.*", "%s crest below the shoulder"},
    {"stop.*", "%s crest below the stop"},
    {"depth.*", "tip below the %s crest"},
    {"cej_crest.*", "CEJ to crest, %s"},
    {"loss.*", "bone loss, %s"},
    {"loss_pct.*", "bone loss, share of %s root"},
    {"loss_age.*", "bone loss by year of age, %s"},
    {"root_length.site", "root length, site"},
    {"root_length.*", "root length, %s"},
    {"space.crest", "between the roots at the crest"},
    {"space.apical", "between the roots at planned depth"},
    {"bound.*", "tip to bound %s, nearest"},
    {"bound_axis.*", "tip to bound %s, along the pin"},
    {"beyond_apex", "site apex to the nearest bound"},
    {"ratio.anatomic", "crown to root, anatomic (from the CEJ)"},
    {"ratio.clinical", "crown to root, clinical (from the crest)"},
    {"fracture.*", "fracture below the %s crest"},
    {"ridge", "ridge's dip below the crests' line"},
    {"sound.*", "tooth left above the %s crest"},
    {"rbl_pct.*", "CEJ to crest, share of %s root"},
    {"pins.angle.*", "pins %s, second against first"},
    {"pins.gap.*", "pins %s, side to side"},
    {"pins.tip.*", "pins %s, second tip deeper by"},
    {"pins.shoulder.*", "pins %s, second shoulder deeper by"},
    {"turn.shoulder", "shoulder to mesial, onto the bisector"},
    {"plan.widest", "widest cylinder that keeps the distances"},
    {"plan.clearance.*", "plan's side to the %s root"},
    {"plan.depth.*", "plan's end below the %s crest"},
    {"plan.bound.*", "plan's end to bound %s, nearest"},
    {"plan.bound_axis.*", "plan's end to bound %s, along it"},
};

static const char corrected_tail[] = ".corrected";

/* Does the pattern fit? *what: the part that the star stood for. */
static bool fits(const char *pattern, const char *id, const char **what)
{
    size_t n = strlen(pattern);
    *what = "";
    if (pattern[n - 1] != '*')
        return strcmp(pattern, id) == 0;
    if (strncmp(pattern, id, n - 1) != 0 || strchr(id + n - 1, '.') != NULL)
        return false;
    *what = id + n - 1;
    return true;
}

const char *plumb_meas_label(const char *id, char out[64])
{
    char plain[MEAS_ID];
    plumb_text_copy(plain, sizeof plain, id);
    char *tail = strstr(plain, corrected_tail);
    if (tail != NULL)
        *tail = '\0';
    plumb_text_copy(out, 64, id);
    for (size_t i = 0; i < sizeof labels / sizeof labels[0]; i++) {
        const char *what;
        if (!fits(labels[i].id, plain, &what))
            continue;
        const char *hole = strstr(labels[i].label, "%s");
        int head = hole ? (int)(hole - labels[i].label) : (int)strlen(labels[i].label);
        snprintf(out, 64, "%.*s%s%s%s", head, labels[i].label, hole ? what : "",
                 hole ? hole + 2 : "", tail ? ", lean allowed for" : "");
        break;
    }
    return out;
}

const char *plumb_meas_mark_label(enum mark_kind kind)
{
    static const char *const word[KIND_COUNT] = {
        [KIND_PIN_TIP] = "pin's tip",
        [KIND_PIN_SHOULDER] = "pin's shoulder",
        [KIND_PIN_STOP] = "stop",
        [KIND_PIN_AXIS] = "pin's axis",
        [KIND_PIN_SIDE] = "pin's side",
        [KIND_ROOT_AXIS] = "root axis",
        [KIND_CEJ] = "CEJ",
        [KIND_APEX] = "apex",
        [KIND_CREST] = "crest",
        [KIND_ROOT_SIDE] = "root's side",
        [KIND_FRACTURE] = "fracture edge",
        [KIND_TOP] = "top of the crown",
        [KIND_BOUND] = "bound",
        [KIND_GAUGE_END] = "gauge's end",
    };
    return (unsigned)kind < KIND_COUNT ? word[kind] : "mark";
}

/* The document's words and a person's. The longest head fits; of the rest the first that fits. */
static const struct {
    const char *path, *words;
} place_heads[] =
    {
        {"pin.", "the pin's "},
        {"mesial.", "the mesial "},
        {"distal.", "the distal "},
        {"site_tooth.", "the site tooth's "},
        {"ridge", "the ridge's dip"},
        {"plane.mesial", "the mesial root nearer or farther than the gauge"},
        {"plane.distal", "the distal root nearer or farther than the gauge"},
        {"plane.site", "the site's tooth nearer or farther than the gauge"},
        {"plane.bound", "the bounds nearer or farther than the gauge"},
        {"plane.pins", "another pin nearer or farther than the gauge"},
        {"gauges disagree", "the gauges' disagreement"},
        {"scale of last resort", "the magnification, not known"},
        {"beam", "the stated error of the beam"},
        {"age", "the age, in whole years"},
},
  place_tails[] = {
      {"tip", "tip"},
      {"shoulder", "shoulder"},
      {"stop", "stop"},
      {"axis", "axis"},
      {"mesial_side", "mesial side"},
      {"distal_side", "distal side"},
      {"cej_mesial", "mesial CEJ"},
      {"cej_distal", "distal CEJ"},
      {"cej_far", "CEJ, on the side away from the site"},
      {"cej", "CEJ"},
      {"apex", "apex"},
      {"crest", "crest"},
      {"near trace", "root's trace as a whole"},
      {"near", "root's side that faces the site"},
      {"far", "root's other side"},
      {"top", "top of the crown"},
      {"fracture_mesial", "mesial fracture edge"},
      {"fracture_distal", "distal fracture edge"},
      {"path", "line"},
      {"ends", "ends"},
      {"mm", "stated size"},
      {" lean", "a lean of the pin or the beam that nobody can see"},
};

static const char *tail_words(const char *tail)
{
    for (size_t i = 0; i < sizeof place_tails / sizeof place_tails[0]; i++)
        if (strncmp(tail, place_tails[i].path, strlen(place_tails[i].path)) == 0)
            return place_tails[i].words;
    return tail;
}

enum { NUMBER_MOST = 99 }; /* no list is as long */

/* "gauges[0].ends" -> "gauge 1's ends"; false: no such list. */
static bool element_words(const char *path, char out[96])
{
    static const struct {
        const char *list, *word;
        int first; /* number of the first element */
    } lists[] = {{"gauges", "gauge", 1}, {"bounds", "bound", 1}, {"pins", "pin", 2}};
    for (size_t k = 0; k < sizeof lists / sizeof lists[0]; k++) {
        size_t n = strlen(lists[k].list);
        if (strncmp(path, lists[k].list, n) != 0 || path[n] != '[')
            continue;
        char *end;
        long i = strtol(path + n + 1, &end, 10);
        if (*end != ']' || i < 0 || i > NUMBER_MOST)
            return false;
        end++;
        if (*end == ' ')
            snprintf(out, 96, "%s", tail_words(end));
        else
            snprintf(out, 96, "%s %ld's %s", lists[k].word, i + lists[k].first,
                     tail_words(end + (*end == '.')));
        return true;
    }
    return false;
}

const char *plumb_meas_place_words(const char *path, char out[96])
{
    if (element_words(path, out))
        return out;
    for (size_t i = 0; i < sizeof place_heads / sizeof place_heads[0]; i++) {
        size_t n = strlen(place_heads[i].path);
        if (strncmp(path, place_heads[i].path, n) != 0)
            continue;
        bool whole = place_heads[i].path[n - 1] != '.';
        snprintf(out, 96, "%s%s", place_heads[i].words, whole ? "" : tail_words(path + n));
        return out;
    }
    plumb_text_copy(out, 96, path);
    return out;
}

const char *plumb_meas_unit_word(const char *unit)
{
    if (strcmp(unit, "deg") == 0)
        return "\u00b0";
    return strcmp(unit, "1") == 0 ? "" : unit;
}

/* An interval counts as even when its middle is the value to this share of U: that is the rounding
 * of a U of two digits, and more than the simulation's own noise. */
static const double even_to = 0.1;

static bool is_lopsided(const struct meas_quantity *q)
{
    double middle = 0.5 * (q->v.lo + q->v.hi);
    return !q->below_only && fabs(middle - q->v.value) > even_to * q->U;
}

/* Nothing, with an interval of nothing: a loss that its whole interval leaves at 0. */
static bool is_none(const struct meas_quantity *q)
{
    return q->v.value == 0.0 && q->U == 0.0;
}

/* A lopsided interval is rounded by its longer half. */
const char *plumb_meas_value_words(const struct meas_quantity *q, char out[96])
{
    char value[32], u[32], lo[32], hi[32];
    const char *unit = plumb_meas_unit_word(q->unit);
    const char *gap = strcmp(q->unit, "deg") == 0 || unit[0] == '\0' ? "" : " ";
    if (!isfinite(q->U)) {
        snprintf(out, 96, "%.1f%s%s, U not known", q->v.value, gap, unit);
        return out;
    }
    double digits = is_lopsided(q) ? fmax(q->v.hi - q->v.value, q->v.value - q->v.lo) : q->U;
    plumb_unc_format(q->v.lo, digits, lo, u);
    plumb_unc_format(q->v.hi, digits, hi, u);
    plumb_unc_format(q->below_only ? q->v.hi : q->v.value, digits, value, u);
    if (is_none(q))
        snprintf(out, 96, "none detectable");
    else if (q->below_only)
        snprintf(out, 96, "below %s%s%s", value, gap, unit);
    else if (is_lopsided(q))
        snprintf(out, 96, "%.20s%s%.12s (%.20s to %.20s)", value, gap, unit, lo, hi);
    else
        snprintf(out, 96, "%s \u00b1 %s%s%s", value, u, gap, unit);
    return out;
}

const char *plumb_meas_state_word(enum unc_state s)
{
    switch (s) {
    case UNC_INSIDE:
        return "inside";
    case UNC_OUTSIDE:
        return "outside";
    case UNC_UNDECIDED:
        return "undecided";
    case UNC_NOT_MEASURED:
        break;
    }
    return "not measured";
}

const char *const plumb_meas_cautions[] = {
    "A single film shows mesio-distal angles only, not facio-lingual ones.",
    "A film does not show the facial or the lingual plate of bone.",
    "Sizes hold in the plane of the gauge; what lies nearer or farther is magnified differently.",
    "A mark found or carried over that nobody has confirmed is a proposal.",
    "This is a measuring aid and no diagnosis. It measures; the clinician decides.",
    "Local rules and the judgement of the licensed clinician come first.",
};
const size_t plumb_meas_n_cautions = sizeof plumb_meas_cautions / sizeof plumb_meas_cautions[0];
