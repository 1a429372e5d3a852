/*
 * Every label, caption and caution, in one place. Plain, short, no verdict.
 */
#include "plumbrule/measure.h"

#include <stdio.h>
#include <string.h>

/* A trailing * stands for the side or the bound's number, which goes where %s is. */
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
    {"root_length.site", "root length, site"},
    {"root_length.*", "root length, %s"},
    {"space.crest", "between the roots at the crest"},
    {"space.apical", "between the roots at planned depth"},
    {"bound.*", "tip to bound %s, nearest"},
    {"bound_axis.*", "tip to bound %s, along the pin"},
    {"beyond_apex", "site apex to the nearest bound"},
    {"ratio.anatomic", "crown to root, parted at the CEJ"},
    {"ratio.clinical", "crown to root, parted at the crest"},
    {"fracture.*", "fracture below the %s crest"},
    {"sound.*", "tooth left above the %s crest"},
    {"rbl_pct.*", "CEJ to crest, share of %s root"},
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
    "A found mark that nobody has confirmed is a proposal.",
    "This is a measuring aid and no diagnosis. It measures; the clinician decides.",
    "Local rules and the judgement of the licensed clinician come first.",
};
const size_t plumb_meas_n_cautions = sizeof plumb_meas_cautions / sizeof plumb_meas_cautions[0];
