/*
 * Measuring: from a sheet to quantities with uncertainties, findings, and what is missing.
 *
 * Every mark coordinate, gauge size and plane is one input; each quantity is differentiated through
 * the whole way from the marks (JCGM 100, numerical derivatives), so correlations by the shared
 * scale come out by themselves. Where second-order terms are more than a twentieth of u, the
 * interval comes from propagation of distributions (JCGM 101) and the quantity says so.
 */
#include "measure/plausible_internal.h"
#include "measure/scale_internal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Above this share of u the linear interval is not trusted; JCGM 101 8.1 asks for agreement to the
 * digits printed (two of u), i.e. a few percent. */
static const double nonlinear_max = 0.05;
static const size_t monte_carlo_trials =
    1000;                               /* u within about 2 %, ends of 95 % within 8 % of u */
static const size_t shift_trials = 250; /* a shift of the mean within 6 % of u */
static const uint64_t monte_carlo_seed = 35;

/* Objects that may stand before or behind the gauge's plane: their marks are magnified by so much
 * more or less, about the middle of the film, where the central ray is taken to be. M =
 * SID/(SID-OID).
 */
enum plane {
    PLANE_PIN,
    PLANE_MESIAL,
    PLANE_DISTAL,
    PLANE_SITE,
    PLANE_BOUND,
    PLANE_PINS, /* one for each further pin */
    PLANES = PLANE_PINS + SHEET_PINS
};

/* How the marks of each begin in the document; the gauges stand at the first pin. */
static const char *const plane_head[PLANES] = {"",        "mesial.",  "distal.",  "site_tooth.",
                                               "bounds[", "pins[0].", "pins[1].", "pins[2]."};
static const char *const plane_name[PLANES] = {"",
                                               "plane.mesial",
                                               "plane.distal",
                                               "plane.site",
                                               "plane.bound",
                                               "plane.pins[0]",
                                               "plane.pins[1]",
                                               "plane.pins[2]"};
_Static_assert(SHEET_PINS == 3, "a plane for each further pin");

struct inputs {
    size_t n, cap;
    double *x, *u;
    char (*name)[48];
    struct sheet_mark_ref *ref; /* into the scene's working sheet */
    enum plane *plane;          /* of each mark */
    size_t n_ref;
    struct geo_point middle; /* of the film, px */
};

/* An age is stated in whole years: even over one of them (JCGM 100, 4.3.7). */
static const double age_u_years = 0.288675134594813; /* 1 / (2 sqrt 3) */

struct run {
    struct scene scene;
    struct inputs in;
    struct slot slot[MEAS_QUANTITIES];
    size_t n_slots;
    bool skip[MEAS_QUANTITIES]; /* not to be evaluated now */
    struct lean lean;
};

static void inputs_release(struct inputs *in)
{
    free(in->x);
    free(in->u);
    free(in->name);
    free(in->ref);
    free(in->plane);
    *in = (struct inputs){0};
}

static enum plane plane_of(const char *mark)
{
    for (int i = PLANE_MESIAL; i < PLANES; i++)
        if (strncmp(mark, plane_head[i], strlen(plane_head[i])) == 0)
            return (enum plane)i;
    return PLANE_PIN;
}

/* Room for the marks (two each), and per gauge and film a few more. */
static int inputs_room(struct inputs *in, const struct sheet *s, struct err *err)
{
    in->n_ref = plumb_sheet_marks(s, NULL, 0);
    in->cap = 2 * in->n_ref + 2 * SHEET_GAUGES + PLANES + SIDES + 4;
    in->ref = plumb_mem_array(in->n_ref, sizeof *in->ref, err);
    in->plane = plumb_mem_array(in->n_ref, sizeof *in->plane, err);
    in->x = plumb_mem_array(in->cap, sizeof *in->x, err);
    in->u = plumb_mem_array(in->cap, sizeof *in->u, err);
    in->name = plumb_mem_array(in->cap, sizeof *in->name, err);
    if (in->ref == NULL || in->plane == NULL || in->x == NULL || in->u == NULL || in->name == NULL)
        return ERR_NOMEM;
    plumb_sheet_marks(s, in->ref, in->n_ref);
    for (size_t i = 0; i < in->n_ref; i++)
        in->plane[i] = plane_of(in->ref[i].name);
    return 0;
}

static void add_input(struct inputs *in, const char *name, const char *part, double x, double u)
{
    snprintf(in->name[in->n], sizeof in->name[0], "%.30s%.16s", name, part);
    in->x[in->n] = x;
    in->u[in->n++] = u;
}

static void add_marks(struct inputs *in, const struct meas_config *c, double rough_k)
{
    /* Without any scale only angles are left; the usual pitch turns mm into px well enough. */
    const double k = rough_k > 0.0 ? rough_k : plumb_meas_usual_mm_per_px;
    for (size_t i = 0; i < in->n_ref; i++) {
        const struct mark *m = in->ref[i].mark;
        double u = m->sd > 0.0 ? m->sd : c->mark[in->ref[i].kind].u_mm / k;
        add_input(in, in->ref[i].name, ".x", m->x, u);
        add_input(in, in->ref[i].name, ".y", m->y, u);
    }
}

/* A trace errs along a whole side (bone, blur, a bend), which its points' own scatter does not
 * show.
 */
static bool is_traced(const struct sheet_neighbour *nb)
{
    return nb->near.n > 0 && nb->near.at[0].sd > 0.0;
}

/* The order is that of `apply` below. */
static void add_others(struct inputs *in, const struct scene *sc, double u_disagree)
{
    const struct meas_config *c = sc->c;
    for (size_t i = 0; i < sc->s->n_gauges; i++) {
        const struct sheet_gauge *g = &sc->s->gauge[i];
        char name[40];
        snprintf(name, sizeof name, "gauges[%zu]", i);
        add_input(in, name, ".mm", g->mm, g->u_mm > 0.0 ? g->u_mm : c->gauge_size.u_mm);
        double u_shown;
        scale_shown(c, g->kind, &u_shown);
        add_input(in, name, " lean", sc->in.gauge_shown[i], u_shown);
    }
    add_input(in, "gauges", " disagree", 0.0, u_disagree);
    bool last_resort = sc->rule.from == SCALE_SENSOR || sc->rule.from == SCALE_TAG;
    add_input(in, "scale", " of last resort", 0.0, last_resort ? c->last_resort.u_mm / 100.0 : 0.0);
    for (int i = PLANE_MESIAL; i < PLANES; i++)
        add_input(in, plane_name[i], "", 0.0, c->plane.u_mm);
    /* traced points state their own scatter and keep it when confirmed */
    for (int i = 0; i < SIDES; i++)
        add_input(in, i == MESIAL ? "mesial.near" : "distal.near", " trace", 0.0,
                  is_traced(&sc->s->side[i]) ? c->traced.u_mm / GEO_DEG_PER_RAD : 0.0);
    double lean = c->lean.u_mm / GEO_DEG_PER_RAD, beam = c->beam_error_deg / GEO_DEG_PER_RAD;
    add_input(in, "beam", "", 0.0, atan(tan(lean) * sin(beam)));
    add_input(in, "age", "", sc->s->site.age_years,
              sc->s->site.age_years > 0.0 ? age_u_years : 0.0);
}

/* Puts an input vector into the scene. */
static void apply(struct run *r, const double *x)
{
    const double *marks = x;
    x += 2 * r->in.n_ref;
    struct scene_inputs *in = &r->scene.in;
    for (size_t i = 0; i < r->scene.s->n_gauges; i++) {
        in->gauge_mm[i] = *x++;
        in->gauge_shown[i] = *x++;
    }
    in->disagree = *x++;
    in->fallback = *x++;
    double shrink[PLANES] = {1.0};
    for (int i = PLANE_MESIAL; i < PLANES; i++)
        shrink[i] = 1.0 - *x++ / r->scene.c->source_to_film_mm;
    in->root_turn[MESIAL] = *x++;
    in->root_turn[DISTAL] = *x++;
    in->beam = *x++;
    in->age_years = *x;
    for (size_t i = 0; i < r->in.n_ref; i++, marks += 2) {
        struct geo_point p = {marks[0], marks[1]};
        p = geo_mix(r->in.middle, p, shrink[r->in.plane[i]]);
        r->in.ref[i].mark->x = p.x;
        r->in.ref[i].mark->y = p.y;
    }
    scene_update(&r->scene);
}

static void evaluate(void *ctx, const double *x, double *y)
{
    struct run *r = ctx;
    apply(r, x);
    for (size_t i = 0; i < r->n_slots; i++)
        y[i] = r->skip[i] ? NO_VALUE : slot_eval(&r->slot[i], &r->scene, NULL);
}

/* --- from values to quantities ------------------------------------------------------------------
 */

static void fill_interval(struct meas_quantity *q, const struct unc_value *v)
{
    q->v = *v;
    double k = isfinite(v->dof) ? plumb_unc_coverage_factor(0.95, v->dof) : k_default;
    q->U = k * v->u;
    q->v.lo = v->value - q->U;
    q->v.hi = v->value + q->U;
}

static void take_monte_carlo(struct meas_quantity *q, const struct unc_value *mc)
{
    if (isnan(mc->u))
        return;
    q->monte_carlo = true;
    q->v.u = mc->u;
    q->v.lo = mc->lo;
    q->v.hi = mc->hi;
    q->U = 0.5 * (q->v.hi - q->v.lo);
}

/*
 * A lean is stated only when its ratio fell below a threshold; one that is chosen for its error
 * carries it. Upper end of the ratio's interval, given that it was below: the mean under which such
 * a ratio is as small as this with the chance of that tail, P(R <= r) / P(R <= most). Away from the
 * threshold it is r + 2 u; beside it, an upright pin is within.
 */
static double upper_ratio(const struct lean *l)
{
    double tail = plumb_unc_normal_cdf(-k_default);
    double lo = l->ratio, hi = fmax(l->ratio + 6.0 * l->u_ratio, 1.0);
    for (int i = 0; i < 40; i++) {
        double mean = 0.5 * (lo + hi);
        double below = plumb_unc_normal_cdf((l->ratio - mean) / l->u_ratio) /
                       plumb_unc_normal_cdf((l->most - mean) / l->u_ratio);
        *(below > tail ? &lo : &hi) = mean;
    }
    return 0.5 * (lo + hi);
}

/* cos is flat near zero: the interval goes through the ratio, which is linear, and is one-sided
 * when no lean can be told from none. A length that looks too long is no better proof of an upright
 * pin than one that fits: the bound counts from there. */
static void tilt_interval(struct meas_quantity *q, const struct run *r)
{
    const double one_sided = 1.6448536269514722;
    double u = r->lean.u_ratio;
    if (!r->lean.significant) {
        q->below_only = true;
        q->v.lo = 0.0;
        double upright = fmin(1.0 - r->lean.ratio, 0.0);
        q->v.hi = GEO_DEG_PER_RAD * scene_tilt(&r->scene, upright - one_sided * u);
        snprintf(q->note, sizeof q->note, "no lean detectable below %.1f\u00b0", q->v.hi);
    } else {
        double up = upper_ratio(&r->lean) - r->lean.ratio;
        q->v.lo = GEO_DEG_PER_RAD * scene_tilt(&r->scene, up);
        q->v.hi = GEO_DEG_PER_RAD * scene_tilt(&r->scene, -k_default * u);
    }
    q->U = 0.5 * (q->v.hi - q->v.lo);
    q->v.u = q->U / k_default;
}

static const char *axis_word(enum axis_kind k)
{
    static const char *const word[] = {"", "as marked", "chord", "mid-line"};
    return word[k];
}

/* Chord and mid-line of a curved root differ; when it matters the other angle is told too. */
static void note_axis(struct meas_quantity *q, const struct scene *sc, enum sheet_side side)
{
    struct geo_line chord, middle;
    enum axis_kind kind = sc->root_kind[side];
    q->axis = axis_word(kind);
    snprintf(q->note, sizeof q->note, "root axis: %s", q->axis);
    if (!scene_chord(sc, side, &chord) || !scene_midline(sc, side, &middle))
        return;
    double by_chord = scene_lean(sc, sc->pin.dir, chord.dir);
    double by_middle = scene_lean(sc, sc->pin.dir, middle.dir);
    if (fabs(by_chord - by_middle) <= q->U)
        return;
    if (kind == AXIS_GIVEN)
        snprintf(q->note, sizeof q->note,
                 "root axis: as marked; %.1f\u00b0 against the chord, %.1f\u00b0 against the "
                 "mid-line of this curved root",
                 by_chord, by_middle);
    else
        snprintf(q->note, sizeof q->note,
                 "root axis: %s; %.1f\u00b0 against the %s of this curved root", axis_word(kind),
                 kind == AXIS_CHORD ? by_middle : by_chord,
                 axis_word(kind == AXIS_CHORD ? AXIS_MIDLINE : AXIS_CHORD));
}

/* A chord and a mid-line against each other differ by what the roots bend. */
static void note_axes(struct meas_quantity *q, const struct scene *sc)
{
    enum axis_kind m = sc->root_kind[MESIAL], d = sc->root_kind[DISTAL];
    if (m != d)
        snprintf(q->note, sizeof q->note, "axes of two kinds: mesial %s, distal %s", axis_word(m),
                 axis_word(d));
}

static bool is_one_of(const char *id, const char *stem)
{
    size_t n = strlen(stem);
    return strncmp(id, stem, n) == 0 && id[n] == '.';
}

/* A share of bone loss is reckoned in more than one way; which one can change the stage. */
static void note_formula(struct meas_quantity *q, double healthy_mm)
{
    if (is_one_of(q->id, "loss"))
        snprintf(q->note, sizeof q->note, "CEJ to crest less the healthy %.1f mm", healthy_mm);
    else if (is_one_of(q->id, "loss_pct"))
        snprintf(q->note, sizeof q->note,
                 "CEJ to crest over root length, each less the healthy %.1f mm", healthy_mm);
    else if (is_one_of(q->id, "loss_age"))
        snprintf(q->note, sizeof q->note,
                 "CEJ to crest over root length, each less %.1f mm, over the age", healthy_mm);
    else if (is_one_of(q->id, "rbl_pct"))
        plumb_text_copy(q->note, sizeof q->note,
                        "CEJ to crest over root length, nothing subtracted");
}

static void note_quantity(struct meas_quantity *q, const struct run *r)
{
    bool negative = q->v.value < 0.0;
    if (strcmp(q->id, "angle.mesial") == 0)
        note_axis(q, &r->scene, MESIAL);
    else if (strcmp(q->id, "angle.distal") == 0)
        note_axis(q, &r->scene, DISTAL);
    else if (strcmp(q->id, "angle.roots") == 0 || strcmp(q->id, "angle.mean") == 0)
        note_axes(q, &r->scene);
    else if (strcmp(q->id, "turn.shoulder") == 0)
        snprintf(q->note, sizeof q->note,
                 "if the pin were turned about its tip by %.1f\u00b0 to stand on it",
                 fabs(scene_lean(&r->scene, r->scene.pin.dir, r->scene.a)));
    else if ((is_one_of(q->id, "clearance") || is_one_of(q->id, "pins.gap")) && negative)
        plumb_text_copy(q->note, sizeof q->note, "below 0: the shadows overlap by so much");
    else if (strncmp(q->id, "bound", 5) == 0 && negative)
        plumb_text_copy(q->note, sizeof q->note, "below 0: the tip is past the bound");
    else
        note_formula(q, r->scene.c->healthy_mm);
}

/* The lean near 0 has an interval of its own and needs no simulation. */
static bool is_curved(const struct slot *slot, const struct unc_value *v)
{
    return !isnan(v->value) && v->nonlinear > nonlinear_max && strcmp(slot->id, "tilt") != 0;
}

static void make_quantity(const struct run *r, size_t i, const struct unc_value *v,
                          const struct unc_value *mc, struct meas_quantity *q)
{
    const struct slot *slot = &r->slot[i];
    struct slot_extra extra = {0};
    plumb_text_copy(q->id, sizeof q->id, slot->id);
    plumb_meas_label(slot->id, q->label);
    q->unit = slot->unit;
    fill_interval(q, v);
    if (strcmp(slot->id, "tilt") == 0)
        tilt_interval(q, r);
    else if (mc != NULL && is_curved(slot, v))
        take_monte_carlo(q, mc);
    slot_eval(slot, &r->scene, &extra);
    q->has_depth = extra.has_depth;
    q->depth_mm = extra.depth_mm;
    if (extra.has_depth)
        plumb_text_copy(q->depth_from, sizeof q->depth_from, extra.depth_from);
    q->n_from = slot_from(slot, &r->scene, q->from);
    note_quantity(q, r);
    if (extra.at_path_end && q->note[0] == '\0')
        plumb_text_copy(q->note, sizeof q->note,
                        "the root's side is marked from here down: it may come nearer above");
    if (strcmp(slot->id, "scale") == 0 && r->scene.rule.from != SCALE_GAUGES)
        plumb_text_copy(q->label, sizeof q->label, "scale of last resort");
}

/* Leaves only the curved quantities to be simulated; false when there is none. */
static bool any_curved(struct run *r, const struct unc_value *v)
{
    bool any = false;
    for (size_t i = 0; i < r->n_slots; i++) {
        r->skip[i] = !is_curved(&r->slot[i], &v[i]);
        any = any || !r->skip[i];
    }
    return any;
}

static int result_room(struct meas_result *out, const struct run *r, struct err *err)
{
    out->quantity = plumb_mem_array(MEAS_QUANTITIES, sizeof *out->quantity, err);
    out->missing = plumb_mem_array(MEAS_QUANTITIES, sizeof *out->missing, err);
    out->segment = plumb_mem_array(2 * MEAS_QUANTITIES, sizeof *out->segment, err);
    out->input_name = plumb_mem_array(r->in.n, sizeof *out->input_name, err);
    out->input_u = plumb_mem_array(r->in.n, sizeof *out->input_u, err);
    out->contribution = plumb_mem_array(MEAS_QUANTITIES * r->in.n, sizeof *out->contribution, err);
    if (!out->quantity || !out->missing || !out->segment || !out->input_name || !out->input_u ||
        !out->contribution)
        return ERR_NOMEM;
    out->n_inputs = r->in.n;
    memcpy(out->input_name, r->in.name, r->in.n * sizeof *r->in.name);
    memcpy(out->input_u, r->in.u, r->in.n * sizeof *r->in.u);
    return 0;
}

/* How many of its unit a loss of one mm is; 0 when it is no loss on that side. */
static double loss_unit(const struct meas_result *out, const struct scene *sc, const char *id,
                        const char *side)
{
    char own[MEAS_ID], root_id[MEAS_ID];
    const char *stem[] = {"loss", "loss_pct", "loss_age"};
    snprintf(root_id, sizeof root_id, "root_length.%s", side);
    const struct meas_quantity *root = plumb_meas_find(out, root_id);
    double share = root ? 100.0 / (root->v.value - sc->c->healthy_mm) : 0.0;
    const double unit[] = {1.0, share, share / sc->in.age_years};
    for (int i = 0; i < 3; i++) {
        snprintf(own, sizeof own, "%s.%s", stem[i], side);
        if (strcmp(id, own) == 0)
            return unit[i];
    }
    return 0.0;
}

/* A loss of nothing has one side: how much it may be after all follows from the CEJ and the crest.
 */
static void floor_loss(const struct meas_result *out, const struct scene *sc, const char *side)
{
    char id[MEAS_ID];
    snprintf(id, sizeof id, "cej_crest.%s", side);
    const struct meas_quantity *cej = plumb_meas_find(out, id);
    for (size_t i = 0; cej != NULL && i < out->n_quantities; i++) {
        struct meas_quantity *q = &out->quantity[i];
        double unit = loss_unit(out, sc, q->id, side);
        if (unit == 0.0 || q->v.value > 0.0)
            continue;
        q->v.lo = 0.0;
        q->v.hi = unit * fmax(cej->v.hi - sc->c->healthy_mm, 0.0);
        q->U = 0.5 * q->v.hi;
        q->v.u = q->U / k_default;
        q->below_only = q->v.hi > 0.0;
        q->monte_carlo = false;
        if (!q->below_only)
            snprintf(q->note, sizeof q->note,
                     "the whole interval of CEJ to crest is below the healthy %.1f mm",
                     sc->c->healthy_mm);
    }
}

/* No number without its uncertainty: at the edge of what can be measured, where a mark's scatter
 * leaves nothing to measure, there is no derivative. The lean has an interval of its own. */
static bool can_be_stated(const struct slot *slot, const struct unc_value *v)
{
    return !isnan(v->value) && (isfinite(v->u) || strcmp(slot->id, "tilt") == 0);
}

static void collect(const struct run *r, const struct unc_value *v, const struct unc_value *mc,
                    const double *jac, struct meas_result *out)
{
    size_t n = r->in.n;
    for (size_t i = 0; i < r->n_slots; i++) {
        if (!can_be_stated(&r->slot[i], &v[i])) {
            slot_lacks(&r->slot[i], &r->scene, &out->missing[out->n_missing++]);
            continue;
        }
        double *row = out->contribution + out->n_quantities * n;
        for (size_t j = 0; j < n; j++)
            row[j] = jac[i * n + j] * r->in.u[j];
        make_quantity(r, i, &v[i], mc ? &mc[i] : NULL, &out->quantity[out->n_quantities++]);
    }
}

static bool same_path(const char *a, const char *b)
{
    const char *end = strrchr(a, '[');
    return end != NULL && strncmp(a, b, (size_t)(end - a) + 1) == 0;
}

/* Sides and bounds are smooth: what stands out among its neighbours is scatter. */
static void smooth_paths(const struct inputs *in, double *x)
{
    enum { PASSES = 4 }; /* what is left of a point's own scatter is 0.2 of it in the variance */
    for (size_t k = 0; k < 2 * PASSES; k++) {
        double before = x[k % 2];
        for (size_t i = 1; i + 1 < in->n_ref; i++) {
            double *here = &x[2 * i + k % 2], was = *here;
            if (same_path(in->ref[i - 1].name, in->ref[i].name) &&
                same_path(in->ref[i].name, in->ref[i + 1].name))
                *here = 0.25 * before + 0.5 * was + 0.25 * here[2];
            before = was;
        }
    }
}

/*
 * The smallest of several scattered distances comes out too small, by half of u where a root runs
 * along the pin. How much is simulated about smoothed paths, where no mark stands out yet (a
 * parametric bootstrap: Efron, Tibshirani 1993, 6.5 and 10); by so much the interval is set higher.
 * The value stays the distance between the marks, that is drawn.
 */
static int lift_least(struct run *r, const struct unc_model *as_marked, struct unc_value *mc,
                      struct err *err)
{
    struct unc_value smooth[MEAS_QUANTITIES];
    struct unc_model model = *as_marked;
    bool any = false;
    double *x = plumb_mem_array(model.n, sizeof *x, err);
    if (x == NULL)
        return ERR_NOMEM;
    memcpy(x, model.x, model.n * sizeof *x);
    smooth_paths(&r->in, x);
    model.x = x;
    for (size_t i = 0; i < r->n_slots; i++) {
        r->skip[i] = r->skip[i] || !slot_is_least(&r->slot[i]);
        any = any || !r->skip[i];
    }
    int rc = any ? plumb_unc_monte_carlo(&model, shift_trials, monte_carlo_seed, smooth, err) : 0;
    for (size_t i = 0; rc == 0 && i < r->n_slots; i++) {
        if (r->skip[i] || isnan(smooth[i].u))
            continue;
        double middle = mc[i].value + smooth[i].nonlinear * smooth[i].u; /* the mean's shift */
        mc[i].lo = middle - k_default * mc[i].u;
        mc[i].hi = middle + k_default * mc[i].u;
    }
    free(x);
    return rc;
}

static int propagate(struct run *r, struct meas_result *out, struct err *err)
{
    struct unc_model model = {
        .n = r->in.n, .m = r->n_slots, .fn = evaluate, .ctx = r, .x = r->in.x, .u = r->in.u};
    struct unc_value v[MEAS_QUANTITIES], mc[MEAS_QUANTITIES];
    double *jac = plumb_mem_array(r->n_slots * r->in.n, sizeof *jac, err);
    if (jac == NULL)
        return ERR_NOMEM;
    int rc = plumb_unc_propagate(&model, v, jac, err);
    bool curved = rc == 0 && any_curved(r, v);
    if (curved)
        rc = plumb_unc_monte_carlo(&model, monte_carlo_trials, monte_carlo_seed, mc, err);
    if (rc == 0 && curved)
        rc = lift_least(r, &model, mc, err);
    if (rc == 0) {
        apply(r, r->in.x);
        r->scene.draw = out;
        collect(r, v, curved ? mc : NULL, jac, out);
        floor_loss(out, &r->scene, "mesial");
        floor_loss(out, &r->scene, "distal");
        r->scene.draw = NULL;
    }
    free(jac);
    return rc;
}

/* --- findings ----------------------------------------------------------------------------------
 */

static void add_finding(struct meas_result *r, const struct meas_limit_entry *e, const char *id,
                        const char *unit, const struct meas_quantity *q)
{
    if (r->n_findings >= MEAS_QUANTITIES)
        return;
    struct meas_finding *f = &r->finding[r->n_findings++];
    plumb_text_copy(f->quantity, sizeof f->quantity, id);
    f->state = plumb_unc_decide(q ? &q->v : NULL, e->compare, e->limit);
    f->compare = e->compare;
    f->limit = e->limit;
    f->unit = unit;
    plumb_text_copy(f->caption, sizeof f->caption, e->caption);
    plumb_text_copy(f->source, sizeof f->source, e->source);
    plumb_text_copy(f->status, sizeof f->status, e->status);
}

/* A limit for one id counts before one of the same kind with a * that covers it. */
static bool is_overruled(const struct meas_config *c, const struct meas_limit_entry *e,
                         const char *id)
{
    if (strcmp(e->quantity, id) == 0)
        return false;
    for (size_t i = 0; i < c->n_limits; i++)
        if (c->limit[i].compare == e->compare && strcmp(c->limit[i].quantity, id) == 0)
            return true;
    return false;
}

static int make_findings(const struct meas_config *c, struct meas_result *r, struct err *err)
{
    r->finding = plumb_mem_array(MEAS_QUANTITIES, sizeof *r->finding, err);
    if (r->finding == NULL)
        return ERR_NOMEM;
    for (size_t i = 0; i < c->n_limits; i++) {
        const struct meas_limit_entry *e = &c->limit[i];
        for (size_t j = 0; j < r->n_quantities; j++)
            if (slot_fits(e->quantity, r->quantity[j].id) && !is_overruled(c, e, r->quantity[j].id))
                add_finding(r, e, r->quantity[j].id, r->quantity[j].unit, &r->quantity[j]);
        for (size_t j = 0; j < r->n_missing; j++)
            if (slot_fits(e->quantity, r->missing[j].id) && !is_overruled(c, e, r->missing[j].id))
                add_finding(r, e, r->missing[j].id, r->missing[j].unit, NULL);
    }
    return 0;
}

/* --- warnings and drawn axes ---------------------------------------------------------------------
 */

static void warn(const struct run *r, const struct meas_film *film, struct meas_result *out)
{
    const struct scene *sc = &r->scene;
    if (sc->rule.from == SCALE_NONE)
        plumb_sheet_notes_add(&out->warnings, "no scale: lengths are left out; mark a gauge of "
                                              "known size, or state the sensor's size");
    if (sc->rule.from == SCALE_SENSOR || sc->rule.from == SCALE_TAG)
        plumb_sheet_notes_add(&out->warnings, "scale of last resort: lengths are rough; mark a "
                                              "gauge of known size");
    if (film->mirrored)
        plumb_sheet_notes_add(&out->warnings, "the file's orientation mirrors the film: mesial "
                                              "and distal change sides; make sure it is meant so");
    int tooth = sc->s->site.tooth;
    if (tooth == 0 || !sc->has_m)
        return;
    double turn = plumb_tooth_mesial_turn(tooth);
    if (sc->s->site.seen_from == SEEN_FROM_LINGUAL)
        turn = -turn;
    if (geo_dot(geo_perp(sc->a), sc->m) * turn < 0.0)
        plumb_sheet_notes_add(&out->warnings,
                              "mesial and distal lie the other way round than the stated tooth "
                              "has them: check the tooth, the marks, or whether the film is "
                              "turned over");
}

/* Extends the drawn piece of an axis over a mark. */
static void cover(const struct geo_line *l, const struct mark *m, double *from, double *to)
{
    if (!m->set)
        return;
    double t = plumb_geo_along(l, at(m));
    *from = fmin(*from, t);
    *to = fmax(*to, t);
}

static void draw_axis(const struct scene *sc, const char *id, const struct geo_line *l,
                      const struct mark *const marks[], size_t n)
{
    double from = HUGE_VAL, to = -HUGE_VAL;
    for (size_t i = 0; i < n; i++)
        cover(l, marks[i], &from, &to);
    if (to > from)
        scene_draw(sc, id, plumb_geo_on(l, from), plumb_geo_on(l, to));
}

static void draw_axes(struct scene *sc, struct meas_result *out)
{
    sc->draw = out;
    const struct sheet_pin *p = &sc->s->pin;
    const struct mark *pin[] = {&p->tip, &p->shoulder, &p->axis[0], &p->axis[1]};
    if (sc->has_pin)
        draw_axis(sc, "axis.pin", &sc->pin, pin, 4);
    for (size_t i = 0; i < sc->s->n_pins; i++) {
        char id[MEAS_ID];
        const struct sheet_pin *q = &sc->s->pins[i];
        const struct mark *marks[] = {&q->tip, &q->shoulder, &q->axis[0], &q->axis[1]};
        snprintf(id, sizeof id, "axis.pins.%zu", i + 2);
        if (sc->has_pins[i])
            draw_axis(sc, id, &sc->pins[i], marks, 4);
    }
    for (int i = 0; i < SIDES; i++) {
        const struct sheet_neighbour *nb = &sc->s->side[i];
        const struct mark none = {0};
        const struct mark *root[] = {&nb->cej,
                                     &nb->apex,
                                     &nb->axis[0],
                                     &nb->axis[1],
                                     nb->near.n ? &nb->near.at[0] : &none,
                                     nb->near.n ? &nb->near.at[nb->near.n - 1] : &none};
        if (sc->has_root[i])
            draw_axis(sc, i == MESIAL ? "axis.mesial" : "axis.distal", &sc->root[i], root, 6);
    }
    const struct sheet_site_tooth *t = &sc->s->site_tooth;
    const struct mark *site[] = {&t->cej[MESIAL], &t->cej[DISTAL], &t->apex, &t->axis[0],
                                 &t->axis[1]};
    if (sc->has_site)
        draw_axis(sc, "axis.site", &sc->site, site, 5);
    struct geo_line bisector = {.at = sc->pin.at, .dir = sc->a};
    if (sc->has_pin && sc->has_root[MESIAL] && sc->has_root[DISTAL])
        draw_axis(sc, "axis.bisector", &bisector, pin, 4);
    sc->draw = NULL;
}

static void fill_frame(const struct run *r, struct meas_result *out)
{
    const struct scene *sc = &r->scene;
    out->frame = (struct meas_frame){.set = sc->has_frame,
                                     .has_mesial = sc->has_m,
                                     .ax = sc->a.x,
                                     .ay = sc->a.y,
                                     .mx = sc->m.x,
                                     .my = sc->m.y};
    out->scale.from = sc->rule.from;
    const struct meas_quantity *q = plumb_meas_find(out, "scale");
    out->scale.mm_per_px = q ? q->v.value : 0.0;
    out->scale.u = q ? q->v.u : 0.0;
}

static int prepare(struct run *r, const struct sheet *s, const struct meas_film *film,
                   const struct meas_config *c, struct meas_result *out, struct err *err)
{
    double u_disagree;
    r->in.middle =
        (struct geo_point){0.5 * ((double)film->width - 1.0), 0.5 * ((double)film->height - 1.0)};
    int rc = scene_init(&r->scene, s, c, err);
    if (rc == 0)
        rc = inputs_room(&r->in, r->scene.s, err);
    if (rc == 0)
        rc = scale_decide(&r->scene, film, out, &r->lean, &u_disagree, err);
    if (rc != 0)
        return rc;
    add_marks(&r->in, c, scale_rough(&r->scene));
    add_others(&r->in, &r->scene, u_disagree);
    scene_update(&r->scene);
    scene_hold(&r->scene);
    r->n_slots = slots_list(s, r->slot);
    return result_room(out, r, err);
}

int measure_simulate(const struct sheet *s, const struct meas_film *film,
                     const struct meas_config *c, size_t trials, struct simulated *out,
                     struct err *err)
{
    struct meas_result result = {0};
    struct run *r = plumb_mem_array(1, sizeof *r, err);
    if (r == NULL)
        return ERR_NOMEM;
    int rc = prepare(r, s, film, c, &result, err);
    if (rc == 0) {
        struct unc_model model = {
            .n = r->in.n, .m = r->n_slots, .fn = evaluate, .ctx = r, .x = r->in.x, .u = r->in.u};
        rc = plumb_unc_propagate(&model, out->linear, NULL, err);
        if (rc == 0)
            rc = plumb_unc_monte_carlo(&model, trials, monte_carlo_seed, out->drawn, err);
        out->n = r->n_slots;
        memcpy(out->slot, r->slot, sizeof out->slot);
    }
    plumb_meas_result_release(&result);
    scene_release(&r->scene);
    inputs_release(&r->in);
    free(r);
    return rc;
}

int plumb_meas_run(const struct sheet *s, const struct meas_film *film, const struct meas_config *c,
                   struct meas_result *out, struct err *err)
{
    *out = (struct meas_result){0};
    struct run *r = plumb_mem_array(1, sizeof *r, err);
    if (r == NULL)
        return ERR_NOMEM;
    int rc = prepare(r, s, film, c, out, err);
    if (rc == 0)
        rc = propagate(r, out, err);
    if (rc == 0)
        rc = make_findings(c, out, err);
    if (rc == 0) {
        fill_frame(r, out);
        draw_axes(&r->scene, out);
        warn(r, film, out);
        plausible_check(&r->scene, out);
    } else {
        plumb_meas_result_release(out);
    }
    scene_release(&r->scene);
    inputs_release(&r->in);
    free(r);
    return rc;
}

void plumb_meas_result_release(struct meas_result *r)
{
    if (r == NULL)
        return;
    free(r->quantity);
    free(r->missing);
    free(r->finding);
    free(r->segment);
    free(r->input_name);
    free(r->input_u);
    free(r->contribution);
    plumb_sheet_notes_release(&r->warnings);
    *r = (struct meas_result){0};
}

const struct meas_quantity *plumb_meas_find(const struct meas_result *r, const char *id)
{
    for (size_t i = 0; i < r->n_quantities; i++)
        if (strcmp(r->quantity[i].id, id) == 0)
            return &r->quantity[i];
    return NULL;
}
