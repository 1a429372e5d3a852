/*
 * The scene: scale, frame and lines of one evaluation.
 *
 * Root axis: two marked points; else the chord, from the middle of the root at the CEJ to the apex;
 * else the mid-line, the robust line through the middles between near and far side. Frame: a is the
 * mean of the root axes (else the pin, else the site's tooth), m stands on a and points from distal
 * to mesial. Scale: the weighted mean of the gauges under a rule fixed beforehand (scale.c).
 */
#include "measure/measure_internal.h"

#include <stdlib.h>

/* The ends of a hand-drawn side may stop a little short of the level asked for. */
static const double path_extension = 0.10; /* of its length; common practice, no source */
/* A root's mid-line may wind about its straight line by so much of its length, as a scale: 1 mm at
 * the apex of a usual root leaves 0.4 mm (common practice, no source). */
static const double usual_bend = 0.03;

static int path_room(const struct mark_path *p, struct geo_point **out, size_t *n, struct err *err)
{
    *n = p->n;
    *out = plumb_mem_array(p->n, sizeof **out, err);
    return *out ? 0 : ERR_NOMEM;
}

int scene_init(struct scene *sc, const struct sheet *s, const struct meas_config *c,
               struct err *err)
{
    *sc = (struct scene){.c = c};
    sc->s = plumb_mem_array(1, sizeof *sc->s, err);
    if (sc->s == NULL)
        return ERR_NOMEM;
    int rc = plumb_sheet_copy(s, sc->s, err);
    for (int side = 0; rc == 0 && side < SIDES; side++) {
        rc = path_room(&s->side[side].near, &sc->near[side], &sc->n_near[side], err);
        if (rc == 0)
            rc = path_room(&s->side[side].far, &sc->far[side], &sc->n_far[side], err);
    }
    for (size_t i = 0; rc == 0 && i < s->n_bounds; i++)
        rc = path_room(&s->bound[i].path, &sc->bound[i], &sc->n_bound[i], err);
    for (size_t i = 0; i < s->n_gauges; i++)
        sc->in.gauge_mm[i] = s->gauge[i].mm;
    sc->in.age_years = s->site.age_years;
    if (rc != 0)
        scene_release(sc);
    return rc;
}

void scene_release(struct scene *sc)
{
    for (int side = 0; side < SIDES; side++) {
        free(sc->near[side]);
        free(sc->far[side]);
    }
    for (size_t i = 0; i < SHEET_BOUNDS; i++)
        free(sc->bound[i]);
    if (sc->s != NULL)
        plumb_sheet_release(sc->s);
    free(sc->s);
    *sc = (struct scene){0};
}

/* --- scale ---------------------------------------------------------------------------------- */

double scene_gauge_scale(const struct scene *sc, size_t i)
{
    const struct sheet_gauge *g = &sc->s->gauge[i];
    double px = geo_dist(at(&g->end[0]), at(&g->end[1]));
    if (!g->end[0].set || !g->end[1].set || px <= 0.0)
        return NO_VALUE;
    return sc->in.gauge_mm[i] * (1.0 + sc->in.gauge_shown[i]) / px;
}

static double mean_scale(const struct scene *sc)
{
    if (sc->rule.from == SCALE_NONE)
        return NO_VALUE;
    if (sc->rule.from != SCALE_GAUGES)
        return sc->rule.fallback_mm_per_px * (1.0 + sc->in.fallback);
    double k = 0.0;
    for (size_t i = 0; i < sc->s->n_gauges; i++)
        if (sc->rule.weight[i] > 0.0)
            k += sc->rule.weight[i] * scene_gauge_scale(sc, i);
    return k * (1.0 + sc->in.disagree);
}

/* The first gauge of a kind with both ends; -1 when there is none. */
static int gauge_of(const struct sheet *s, enum gauge_kind kind)
{
    for (size_t i = 0; i < s->n_gauges; i++)
        if (s->gauge[i].kind == kind && s->gauge[i].end[0].set && s->gauge[i].end[1].set)
            return (int)i;
    return -1;
}

/* Inverts apparent length / true length = f(tilt) for the end's shape (see design of the
 * silhouette: a flat end adds D/2 sin t, a hemisphere keeps its radius). Largest solution; 0 when
 * the ratio is more than an upright pin shows. */
static double tilt_of_ratio(double ratio, double length, double diameter, enum gauge_tip tip)
{
    double x = ratio * length, half = 0.5 * diameter;
    if (tip == GAUGE_TIP_ROUND && length > half)
        x = (x - half) * length / (length - half);
    if (tip != GAUGE_TIP_FLAT)
        return x >= length ? 0.0 : acos(fmax(x / length, 0.0));
    double reach = hypot(length, half);
    return atan2(half, length) + (x >= reach ? 0.0 : acos(fmax(x / reach, 0.0)));
}

double scene_tilt(const struct scene *sc, double ratio_shift)
{
    int along = gauge_of(sc->s, GAUGE_LENGTH), across = gauge_of(sc->s, GAUGE_ACROSS);
    if (along < 0 || across < 0)
        return NO_VALUE;
    const struct sheet_gauge *g = &sc->s->gauge[along];
    double px = geo_dist(at(&g->end[0]), at(&g->end[1]));
    double ratio = px * scene_gauge_scale(sc, (size_t)across) / sc->in.gauge_mm[along];
    return tilt_of_ratio(ratio + ratio_shift, sc->in.gauge_mm[along], sc->in.gauge_mm[across],
                         g->tip);
}

/* --- lines ---------------------------------------------------------------------------------- */

static bool line_of(const struct mark a[2], struct geo_line *out)
{
    return a[0].set && a[1].set && plumb_geo_line_through(at(&a[0]), at(&a[1]), out, NULL) == 0;
}

static bool pin_line(const struct sheet_pin *p, struct geo_line *out)
{
    if (line_of(p->axis, out))
        return true;
    struct geo_line side[SIDES];
    if (line_of(p->side[MESIAL], &side[MESIAL]) && line_of(p->side[DISTAL], &side[DISTAL])) {
        *out = plumb_geo_bisector(&side[MESIAL], &side[DISTAL]);
        return true;
    }
    const struct mark ends[2] = {p->shoulder, p->tip};
    return line_of(ends, out);
}

static size_t copy_path(const struct mark_path *p, struct geo_point *out)
{
    for (size_t i = 0; i < p->n; i++)
        out[i] = at(&p->at[i]);
    return p->n;
}

/* The reach beyond the ends is a share of the chord between them: a root's side is nearly straight.
 */
static bool cross_path(const struct geo_point *pts, size_t n, const struct geo_line *l,
                       double reach, struct geo_point *out)
{
    if (n < 2)
        return false;
    return plumb_geo_polyline_cross(pts, n, l, 0.0, reach * geo_dist(pts[0], pts[n - 1]), out);
}

/* Middle of the root where a line across `dir` through p meets both sides. */
static bool middle_at(const struct scene *sc, enum sheet_side side, struct geo_point p,
                      struct geo_point dir, double reach, struct geo_point *out)
{
    struct geo_line across = {.at = p, .dir = geo_perp(dir)};
    struct geo_point n, f;
    if (!cross_path(sc->near[side], sc->n_near[side], &across, reach, &n) ||
        !cross_path(sc->far[side], sc->n_far[side], &across, reach, &f))
        return false;
    *out = geo_mix(n, f, 0.5);
    return true;
}

static struct geo_point rough_direction(const struct scene *sc, enum sheet_side side)
{
    struct geo_point top = geo_mix(sc->near[side][0], sc->far[side][0], 0.5);
    struct geo_point end =
        geo_mix(sc->near[side][sc->n_near[side] - 1], sc->far[side][sc->n_far[side] - 1], 0.5);
    return geo_unit(geo_sub(end, top));
}

static bool chord_line(const struct scene *sc, enum sheet_side side, double reach,
                       struct geo_line *out)
{
    const struct sheet_neighbour *nb = &sc->s->side[side];
    if (!nb->cej.set || !nb->apex.set)
        return false;
    struct geo_point apex = at(&nb->apex), cej = at(&nb->cej);
    if (nb->cej_far.set)
        return plumb_geo_line_through(geo_mix(cej, at(&nb->cej_far), 0.5), apex, out, NULL) == 0;
    if (sc->n_near[side] < 2 || sc->n_far[side] < 2)
        return false;
    /* The level of the CEJ stands on the axis, which starts at that level's middle: iterate. */
    out->dir = rough_direction(sc, side);
    for (int i = 0; i < 4; i++) {
        struct geo_point middle;
        if (!middle_at(sc, side, cej, out->dir, reach, &middle) ||
            plumb_geo_line_through(middle, apex, out, NULL) != 0)
            return false;
    }
    return true;
}

bool scene_chord(const struct scene *sc, enum sheet_side side, struct geo_line *out)
{
    return chord_line(sc, side, path_extension, out);
}

/* The stretch along dir that both sides cover. */
static bool common_stretch(const struct scene *sc, enum sheet_side side, struct geo_point dir,
                           double *from, double *to)
{
    const struct geo_point *n = sc->near[side], *f = sc->far[side];
    *from = fmax(geo_dot(n[0], dir), geo_dot(f[0], dir));
    *to = fmin(geo_dot(n[sc->n_near[side] - 1], dir), geo_dot(f[sc->n_far[side] - 1], dir));
    return *to > *from;
}

/* Middles at the levels where both sides are; level[]: which. */
static size_t middles(const struct scene *sc, enum sheet_side side, struct geo_point *out,
                      size_t *level)
{
    if (sc->n_near[side] < 2 || sc->n_far[side] < 2)
        return 0;
    struct geo_point dir = rough_direction(sc, side);
    double from, to;
    if (geo_norm(dir) < 0.5 || !common_stretch(sc, side, dir, &from, &to))
        return 0;
    size_t n = 0;
    for (size_t i = 0; i < MIDLINE_LEVELS; i++) {
        double at_level = from + (to - from) * ((double)i + 0.5) / MIDLINE_LEVELS;
        if (middle_at(sc, side, geo_mul(dir, at_level), dir, path_extension, &out[n]))
            level[n++] = i;
    }
    return n;
}

/* The robust line tells which middles do not belong; the others count alike. Without a floor it
 * would take a root's bend for outliers, and turn the line by a degree or more. */
static void weigh_side(struct scene *sc, enum sheet_side side)
{
    struct geo_point middle[MIDLINE_LEVELS];
    size_t level[MIDLINE_LEVELS], n = middles(sc, side, middle, level);
    struct geo_fit fit;
    double bend = n > 0 ? usual_bend * geo_dist(middle[0], middle[n - 1]) : 0.0;
    if (n < 3 || plumb_geo_fit_robust(middle, NULL, n, bend, &fit, NULL) != 0)
        return;
    double most = GEO_BISQUARE_C * fit.scale;
    for (size_t i = 0; i < n; i++)
        sc->weight[side][level[i]] =
            fit.scale > 0.0 && fabs(plumb_geo_across(&fit.line, middle[i])) > most ? 0.0 : 1.0;
    sc->has_weight[side] = true;
}

void scene_hold(struct scene *sc)
{
    for (int side = 0; side < SIDES; side++) {
        weigh_side(sc, (enum sheet_side)side);
        sc->held_kind[side] = sc->root_kind[side];
    }
}

bool scene_midline(const struct scene *sc, enum sheet_side side, struct geo_line *out)
{
    struct geo_point middle[MIDLINE_LEVELS];
    double weight[MIDLINE_LEVELS];
    size_t level[MIDLINE_LEVELS], n = middles(sc, side, middle, level);
    for (size_t i = 0; i < n; i++)
        weight[i] = sc->has_weight[side] ? sc->weight[side][level[i]] : 1.0;
    struct geo_fit fit;
    if (n < 3 || plumb_geo_fit_tls(middle, weight, n, &fit, NULL) != 0)
        return false;
    *out = fit.line;
    return true;
}

/* An axis of another kind would be a jump while inputs are varied: a chord at the end of its reach
 * reaches further then. */
static enum axis_kind root_line(const struct scene *sc, enum sheet_side side, struct geo_line *out)
{
    enum axis_kind held = sc->held_kind[side];
    double reach = held == AXIS_CHORD ? 2.0 * path_extension : path_extension;
    if (line_of(sc->s->side[side].axis, out))
        return AXIS_GIVEN;
    if (held != AXIS_MIDLINE && chord_line(sc, side, reach, out))
        return AXIS_CHORD;
    if (!scene_midline(sc, side, out))
        return AXIS_NONE;
    out->dir = geo_turn(out->dir, sc->in.root_turn[side]);
    return AXIS_MIDLINE;
}

static bool site_line(const struct sheet_site_tooth *t, struct geo_line *out)
{
    if (line_of(t->axis, out))
        return true;
    if (!t->cej[MESIAL].set || !t->cej[DISTAL].set || !t->apex.set)
        return false;
    struct geo_point top = geo_mix(at(&t->cej[MESIAL]), at(&t->cej[DISTAL]), 0.5);
    return plumb_geo_line_through(top, at(&t->apex), out, NULL) == 0;
}

/* --- frame ---------------------------------------------------------------------------------- */

/* Somewhere on a neighbour, to tell which way it lies. */
static bool neighbour_spot(const struct scene *sc, enum sheet_side side, struct geo_point *out)
{
    const struct sheet_neighbour *nb = &sc->s->side[side];
    const struct mark *single[] = {&nb->crest, &nb->cej, &nb->apex};
    struct geo_point sum = {0};
    double n = 0.0;
    if (sc->has_root[side]) {
        *out = sc->root[side].at;
        return true;
    }
    for (size_t i = 0; i < sizeof single / sizeof single[0]; i++)
        if (single[i]->set) {
            sum = geo_add(sum, at(single[i]));
            n += 1.0;
        }
    for (size_t i = 0; i < sc->n_near[side]; i++)
        sum = geo_add(sum, sc->near[side][i]);
    n += (double)sc->n_near[side];
    if (n > 0.0)
        *out = geo_mul(sum, 1.0 / n);
    return n > 0.0;
}

static bool site_spot(const struct scene *sc, struct geo_point *out)
{
    if (sc->has_pin)
        *out = sc->pin.at;
    else if (sc->has_site)
        *out = sc->site.at;
    return sc->has_pin || sc->has_site;
}

/* +1 or -1: which way along geo_perp(a) mesial lies; 0 when nothing tells. */
static double mesial_turn(const struct scene *sc)
{
    struct geo_point mes = {0}, dis = {0}, across = geo_perp(sc->a);
    bool has_mes = neighbour_spot(sc, MESIAL, &mes), has_dis = neighbour_spot(sc, DISTAL, &dis);
    if (!has_mes && has_dis)
        has_mes = site_spot(sc, &mes);
    else if (has_mes && !has_dis)
        has_dis = site_spot(sc, &dis);
    if (has_mes && has_dis)
        return geo_dot(geo_sub(mes, dis), across) >= 0.0 ? 1.0 : -1.0;
    if (sc->s->site.tooth == 0)
        return 0.0;
    double turn = plumb_tooth_mesial_turn(sc->s->site.tooth);
    return sc->s->site.seen_from == SEEN_FROM_LINGUAL ? -turn : turn;
}

static void update_frame(struct scene *sc)
{
    if (sc->has_root[MESIAL] && sc->has_root[DISTAL])
        sc->a = geo_unit(geo_add(sc->root[MESIAL].dir, sc->root[DISTAL].dir));
    else if (sc->has_root[MESIAL] || sc->has_root[DISTAL])
        sc->a = sc->root[sc->has_root[MESIAL] ? MESIAL : DISTAL].dir;
    else if (sc->has_pin)
        sc->a = sc->pin.dir;
    else if (sc->has_site)
        sc->a = sc->site.dir;
    else
        sc->a = (struct geo_point){0};
    sc->has_frame = geo_norm(sc->a) > 0.5;
    double turn = sc->has_frame ? mesial_turn(sc) : 0.0;
    sc->has_m = turn != 0.0;
    sc->m = geo_mul(geo_perp(sc->a), turn);
}

void scene_update(struct scene *sc)
{
    for (int side = 0; side < SIDES; side++) {
        copy_path(&sc->s->side[side].near, sc->near[side]);
        copy_path(&sc->s->side[side].far, sc->far[side]);
    }
    for (size_t i = 0; i < sc->s->n_bounds; i++)
        copy_path(&sc->s->bound[i].path, sc->bound[i]);
    sc->k = mean_scale(sc);
    sc->tilt = scene_tilt(sc, 0.0);
    sc->has_pin = pin_line(&sc->s->pin, &sc->pin);
    for (size_t i = 0; i < sc->s->n_pins; i++)
        sc->has_pins[i] = pin_line(&sc->s->pins[i], &sc->pins[i]);
    for (int side = 0; side < SIDES; side++) {
        sc->root_kind[side] = root_line(sc, (enum sheet_side)side, &sc->root[side]);
        sc->has_root[side] = sc->root_kind[side] != AXIS_NONE;
    }
    sc->has_site = site_line(&sc->s->site_tooth, &sc->site);
    update_frame(sc);
}

/* --- what the quantities ask for ------------------------------------------------------------- */

struct geo_point scene_toward(const struct scene *sc, const struct geo_line *l,
                              enum sheet_side side)
{
    struct geo_point p = geo_perp(l->dir);
    bool flip = (geo_dot(p, sc->m) < 0.0) != (side == DISTAL);
    return flip ? geo_mul(p, -1.0) : p;
}

double scene_lean(const struct scene *sc, struct geo_point d, struct geo_point r)
{
    struct geo_line ref = {.dir = r};
    return GEO_DEG_PER_RAD *
           (atan2(geo_dot(d, scene_toward(sc, &ref, MESIAL)), geo_dot(d, r)) + sc->in.beam);
}

const struct sheet_pin *scene_pin_marks(const struct scene *sc, int pin)
{
    return pin == 0 ? &sc->s->pin : &sc->s->pins[pin - 1];
}

const struct geo_line *scene_pin_axis(const struct scene *sc, int pin)
{
    if (pin == 0)
        return sc->has_pin ? &sc->pin : NULL;
    return sc->has_pins[pin - 1] ? &sc->pins[pin - 1] : NULL;
}

enum sheet_side scene_pin_facing(const struct scene *sc, int pin, int other)
{
    struct geo_point from = scene_pin_axis(sc, pin)->at, to = scene_pin_axis(sc, other)->at;
    return geo_dot(geo_sub(to, from), sc->m) > 0.0 ? MESIAL : DISTAL;
}

/* Width of the first pin in px: the across gauge that stands on it. */
static double pin_width_px(const struct scene *sc)
{
    int g = gauge_of(sc->s, GAUGE_ACROSS);
    if (g < 0)
        return NO_VALUE;
    return geo_dist(at(&sc->s->gauge[g].end[0]), at(&sc->s->gauge[g].end[1]));
}

bool scene_pin_side(const struct scene *sc, int pin, enum sheet_side side, struct geo_point out[2])
{
    const struct sheet_pin *p = scene_pin_marks(sc, pin);
    const struct geo_line *axis = scene_pin_axis(sc, pin);
    if (p->side[side][0].set && p->side[side][1].set) {
        out[0] = at(&p->side[side][0]);
        out[1] = at(&p->side[side][1]);
        /* a side on the far flank belongs to the other neighbour: mesial and distal were swapped */
        if (axis == NULL || !sc->has_m)
            return true;
        struct geo_point off = geo_sub(geo_mix(out[0], out[1], 0.5), axis->at);
        return geo_dot(off, scene_toward(sc, axis, side)) > 0.0;
    }
    double width = pin == 0 ? pin_width_px(sc) : NO_VALUE;
    if (axis == NULL || !sc->has_m || !p->tip.set || !p->shoulder.set || isnan(width))
        return false;
    struct geo_point off = geo_mul(scene_toward(sc, axis, side), 0.5 * width);
    double from = plumb_geo_along(axis, at(&p->shoulder));
    double to = plumb_geo_along(axis, at(&p->tip));
    out[0] = geo_add(plumb_geo_on(axis, from), off);
    out[1] = geo_add(plumb_geo_on(axis, to), off);
    return true;
}

bool scene_crest_level(const struct scene *sc, double *along_a)
{
    double sum = 0.0, n = 0.0;
    for (int side = 0; side < SIDES; side++)
        if (sc->s->side[side].crest.set) {
            sum += geo_dot(at(&sc->s->side[side].crest), sc->a);
            n += 1.0;
        }
    *along_a = n > 0.0 ? sum / n : NO_VALUE;
    return n > 0.0 && sc->has_frame;
}

bool scene_near_at(const struct scene *sc, enum sheet_side side, double level,
                   struct geo_point *out)
{
    struct geo_line across = {.at = geo_mul(sc->a, level), .dir = sc->m};
    return cross_path(sc->near[side], sc->n_near[side], &across, path_extension, out);
}

/* On the pin's axis: the shoulder, else where the axis crosses the crest's level. */
static bool platform_on_pin(const struct scene *sc, struct geo_point *out)
{
    double level;
    if (sc->s->pin.shoulder.set) {
        *out = at(&sc->s->pin.shoulder);
        return true;
    }
    if (!sc->has_pin || !scene_crest_level(sc, &level))
        return false;
    struct geo_line crest = {.at = geo_mul(sc->a, level), .dir = geo_perp(sc->a)};
    return plumb_geo_cross_lines(&sc->pin, &crest, out, NULL) == 0;
}

bool scene_plan(const struct scene *sc, struct geo_line *out)
{
    double level;
    struct geo_point mes, dis, platform;
    if (!sc->s->plan.set)
        return false;
    bool on_pin = platform_on_pin(sc, &platform);
    if (sc->s->plan.on == PLAN_ON_PIN) {
        *out = (struct geo_line){.at = platform, .dir = sc->pin.dir};
        return on_pin && sc->has_pin;
    }
    if (!sc->has_root[MESIAL] || !sc->has_root[DISTAL])
        return false;
    if (!on_pin) {
        if (!scene_crest_level(sc, &level) || !scene_near_at(sc, MESIAL, level, &mes) ||
            !scene_near_at(sc, DISTAL, level, &dis))
            return false;
        platform = geo_mix(mes, dis, 0.5);
    }
    *out = (struct geo_line){.at = platform, .dir = sc->a};
    return true;
}

void scene_draw(const struct scene *sc, const char *id, struct geo_point p, struct geo_point q)
{
    struct meas_result *r = sc->draw;
    if (r == NULL || r->n_segments >= 2 * MEAS_QUANTITIES)
        return;
    struct meas_segment *seg = &r->segment[r->n_segments++];
    plumb_text_copy(seg->id, sizeof seg->id, id);
    seg->x0 = p.x;
    seg->y0 = p.y;
    seg->x1 = q.x;
    seg->y1 = q.y;
}
