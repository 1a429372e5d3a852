/*
 * The quantities: one table, one short function each. To add one, write a function, add a row, add
 * its words in words.c, and say in the manual what it means. Definitions and signs:
 *
 *   angle.S       pin axis against that root axis, + when the pin's apical end leans to mesial
 *   angle.mean    the same against the bisector;  angle.roots: + when the roots converge apically
 *   clearance.S   smallest distance from the pin's side to the near side; below 0 the shadows
 *                 overlap
 *   level.S       crest below the pin's shoulder along the pin;  stop.S: below the stop
 *   depth.S       pin's tip below the crest along the pin
 *   cej_crest.S   crest below the CEJ along that root;  loss.S, loss_pct.S: less the healthy
 *                 distance;  loss_age.S: loss_pct over the age
 *   ridge         the ridge's lowest point below the straight line through both crests, along a
 *   space.*       free width between the near sides, along m
 *   bound.N       pin's tip to a bound, nearest; bound_axis.N along the axis; below 0 the tip is
 *                 past it
 *   pins.*.I-J    pin J against pin I: angle as above, smallest distance of the sides that face
 *                 each other, tip and shoulder along the mean of both axes, + when J is deeper
 *
 * Lengths come out in mm: k times pixels.
 */
#include "measure/measure_internal.h"

#include <stdio.h>
#include <string.h>

enum need {
    NEED_SCALE = 1 << 0,
    NEED_PIN = 1 << 1,
    NEED_TIP = 1 << 2,
    NEED_SHOULDER = 1 << 3,
    NEED_STOP = 1 << 4,
    NEED_PIN_SIDE = 1 << 5,
    NEED_ROOT = 1 << 6,
    NEED_BOTH_ROOTS = 1 << 7,
    NEED_CEJ = 1 << 8,
    NEED_APEX = 1 << 9,
    NEED_CREST = 1 << 10,
    NEED_ANY_CREST = 1 << 11,
    NEED_NEAR = 1 << 12,
    NEED_BOTH_NEAR = 1 << 13,
    NEED_MESIAL = 1 << 14,
    NEED_SITE = 1 << 15,
    NEED_SITE_CEJ = 1 << 16,
    NEED_SITE_APEX = 1 << 17,
    NEED_FRACTURE = 1 << 18,
    NEED_BOUND = 1 << 19,
    NEED_PLAN = 1 << 20,
    NEED_TWO_GAUGES = 1 << 21,
    NEED_TOP = 1 << 22,
    NEED_AGE = 1 << 23,
    NEED_PAIR_AXES = 1 << 24,
    NEED_PAIR_SIDES = 1 << 25,
    NEED_PAIR_TIPS = 1 << 26,
    NEED_PAIR_SHOULDERS = 1 << 27,
    NEED_BOTH_CRESTS = 1 << 28,
    NEED_RIDGE = 1 << 29
};

enum per { PER_FILM, PER_SIDE, PER_BOUND, PER_PAIR };

/* A pair of pins as one number. */
enum { PINS = SHEET_PINS + 1 };

static int pair_of(int first, int second)
{
    return first * PINS + second;
}

static int first_of(int pair)
{
    return pair / PINS;
}

static int second_of(int pair)
{
    return pair % PINS;
}

typedef double (*quantity_fn)(const struct scene *sc, int arg, struct slot_extra *extra);

struct quantity_kind {
    const char *id; /* without the last word when it is per side or per bound */
    enum per per;
    const char *unit;
    unsigned needs;
    quantity_fn fn;
    bool along_pin; /* also given with the lean allowed for */
};

static const struct sheet_neighbour *neighbour(const struct scene *sc, int side)
{
    return &sc->s->side[side];
}

/* How far q lies beyond p along dir, px. */
static double ahead(struct geo_point p, struct geo_point q, struct geo_point dir)
{
    return geo_dot(geo_sub(q, p), dir);
}

/* Draws p to q as part of "id.tail"; costs nothing while inputs are varied. */
static void draw_part(const struct scene *sc, const char *id, const char *tail, struct geo_point p,
                      struct geo_point q)
{
    char name[MEAS_ID];
    if (sc->draw == NULL)
        return;
    snprintf(name, sizeof name, "%s.%s", id, tail);
    scene_draw(sc, name, p, q);
}

static void draw_numbered(const struct scene *sc, const char *id, int i, struct geo_point p,
                          struct geo_point q)
{
    char number[12];
    if (sc->draw == NULL)
        return;
    snprintf(number, sizeof number, "%d", i + 1);
    draw_part(sc, id, number, p, q);
}

/* Draws p to the foot of p on the line through `on` across dir. */
static void draw_level(const struct scene *sc, const char *id, int side, struct geo_point p,
                       struct geo_point on, struct geo_point dir)
{
    struct geo_line axis = {.at = on, .dir = dir};
    draw_part(sc, id, plumb_side_word[side], p, plumb_geo_on(&axis, plumb_geo_along(&axis, p)));
}

/* --- angles --------------------------------------------------------------------------------- */

static double angle_root(const struct scene *sc, int side, struct slot_extra *extra)
{
    (void)extra;
    return scene_lean(sc, sc->pin.dir, sc->root[side].dir);
}

static double angle_mean(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    return scene_lean(sc, sc->pin.dir, sc->a);
}

static double angle_roots(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    return scene_lean(sc, sc->root[DISTAL].dir, sc->root[MESIAL].dir);
}

static double tilt(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    return sc->rule.disagree
               ? NO_VALUE
               : GEO_DEG_PER_RAD * sc->tilt; /* of gauges that contradict each other */
}

static double scale(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    return sc->k;
}

/* --- clearances ------------------------------------------------------------------------------ */

/* A cylinder's side against a polyline: smallest distance, or below 0 how far it reaches over it.
 */
struct gap {
    double px;
    struct geo_point on_side, on_line;
};

/* The deepest point of the polyline within the side's stretch, across towards the root. */
static void deepest(const struct geo_point *pts, size_t n, const struct geo_line *side,
                    struct geo_point out, double len, struct gap *g)
{
    for (size_t i = 0; i + 1 < n; i++) {
        double t0 = plumb_geo_along(side, pts[i]), t1 = plumb_geo_along(side, pts[i + 1]);
        double ends[2] = {fmin(fmax(t0, 0.0), len), fmin(fmax(t1, 0.0), len)};
        if (fmax(t0, t1) < 0.0 || fmin(t0, t1) > len)
            continue;
        for (int e = 0; e < 2; e++) {
            double f = t1 == t0 ? 0.0 : (ends[e] - t0) / (t1 - t0);
            struct geo_point p = geo_mix(pts[i], pts[i + 1], f);
            double across = geo_dot(geo_sub(p, side->at), out);
            if (across < g->px)
                *g = (struct gap){across, plumb_geo_on(side, ends[e]), p};
        }
    }
}

static struct gap gap_to_path(const struct geo_point side[2], struct geo_point out,
                              const struct geo_point *pts, size_t n)
{
    struct gap g = {.px = 0.0};
    struct geo_line line;
    if (plumb_geo_line_through(side[0], side[1], &line, NULL) != 0)
        return (struct gap){.px = NO_VALUE};
    deepest(pts, n, &line, out, geo_dist(side[0], side[1]), &g);
    if (g.px < 0.0)
        return g;
    g.px = plumb_geo_polyline_segment(pts, n, side[0], side[1], &g.on_side, &g.on_line);
    return g;
}

/* Where along the pin: below that side's crest, else below the shoulder. */
static void tell_depth(const struct scene *sc, int side, struct geo_point p, struct geo_point dir,
                       struct slot_extra *extra)
{
    const struct mark *from = &neighbour(sc, side)->crest;
    extra->depth_from = "crest";
    if (!from->set) {
        from = &sc->s->pin.shoulder;
        extra->depth_from = "shoulder";
    }
    extra->has_depth = from->set;
    extra->depth_mm = sc->k * ahead(at(from), p, dir);
}

static double clearance_of(const struct scene *sc, int side, const char *id,
                           const struct geo_point line[2], struct slot_extra *extra)
{
    struct geo_line l;
    if (plumb_geo_line_through(line[0], line[1], &l, NULL) != 0)
        return NO_VALUE;
    struct geo_point out = scene_toward(sc, &l, (enum sheet_side)side);
    struct gap g = gap_to_path(line, out, sc->near[side], sc->n_near[side]);
    draw_part(sc, id, plumb_side_word[side], g.on_side, g.on_line);
    if (extra != NULL) {
        tell_depth(sc, side, g.on_side, l.dir, extra);
        double crown_end = plumb_geo_along(&l, sc->near[side][0]);
        extra->at_path_end = geo_dist(g.on_line, sc->near[side][0]) < 1.0 && crown_end > 0.0;
    }
    return sc->k * g.px;
}

static double clearance(const struct scene *sc, int side, struct slot_extra *extra)
{
    struct geo_point line[2];
    if (!scene_pin_side(sc, 0, (enum sheet_side)side, line))
        return NO_VALUE;
    return clearance_of(sc, side, "clearance", line, extra);
}

/* --- levels along the pin -------------------------------------------------------------------- */

static double crest_below(const struct scene *sc, int side, const struct mark *from)
{
    return sc->k * ahead(at(from), at(&neighbour(sc, side)->crest), sc->pin.dir);
}

static double level(const struct scene *sc, int side, struct slot_extra *extra)
{
    (void)extra;
    draw_level(sc, "level", side, at(&neighbour(sc, side)->crest), at(&sc->s->pin.shoulder),
               sc->pin.dir);
    return crest_below(sc, side, &sc->s->pin.shoulder);
}

static double stop(const struct scene *sc, int side, struct slot_extra *extra)
{
    (void)extra;
    return crest_below(sc, side, &sc->s->pin.stop);
}

static double depth(const struct scene *sc, int side, struct slot_extra *extra)
{
    (void)extra;
    draw_level(sc, "depth", side, at(&neighbour(sc, side)->crest), at(&sc->s->pin.tip),
               sc->pin.dir);
    return -crest_below(sc, side, &sc->s->pin.tip);
}

/* --- roots ------------------------------------------------------------------------------------ */

static double cej_crest(const struct scene *sc, int side, struct slot_extra *extra)
{
    (void)extra;
    const struct sheet_neighbour *nb = neighbour(sc, side);
    draw_level(sc, "cej_crest", side, at(&nb->crest), at(&nb->cej), sc->root[side].dir);
    return sc->k * ahead(at(&nb->cej), at(&nb->crest), sc->root[side].dir);
}

static double root_length(const struct scene *sc, int side, struct slot_extra *extra)
{
    (void)extra;
    const struct sheet_neighbour *nb = neighbour(sc, side);
    return sc->k * ahead(at(&nb->cej), at(&nb->apex), sc->root[side].dir);
}

static double loss(const struct scene *sc, int side, struct slot_extra *extra)
{
    return fmax(cej_crest(sc, side, extra) - sc->c->healthy_mm, 0.0);
}

static double loss_pct(const struct scene *sc, int side, struct slot_extra *extra)
{
    double rest = root_length(sc, side, extra) - sc->c->healthy_mm;
    return rest > 0.0 ? 100.0 * loss(sc, side, extra) / rest : NO_VALUE;
}

/* The same for each year of life, as the workshop of 2017 grades. */
static double loss_age(const struct scene *sc, int side, struct slot_extra *extra)
{
    return loss_pct(sc, side, extra) / sc->in.age_years;
}

static struct geo_point site_cej(const struct scene *sc)
{
    const struct sheet_site_tooth *t = &sc->s->site_tooth;
    return geo_mix(at(&t->cej[MESIAL]), at(&t->cej[DISTAL]), 0.5);
}

static double root_length_site(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    return sc->k * ahead(site_cej(sc), at(&sc->s->site_tooth.apex), sc->site.dir);
}

static double fracture(const struct scene *sc, int side, struct slot_extra *extra)
{
    (void)extra;
    const struct mark *edge = &sc->s->site_tooth.fracture[side];
    struct geo_point dir = sc->has_site ? sc->site.dir : sc->a;
    draw_level(sc, "fracture", side, at(&neighbour(sc, side)->crest), at(edge), dir);
    return sc->k * ahead(at(&neighbour(sc, side)->crest), at(edge), dir);
}

/* Crests nearer to each other than this across the axis make no line to hang from. */
static const double least_span_px = 1.0;

static double ridge(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    struct geo_point mesial = at(&neighbour(sc, MESIAL)->crest), low = at(&sc->s->ridge);
    struct geo_point across = geo_perp(sc->a);
    struct geo_point span = geo_sub(at(&neighbour(sc, DISTAL)->crest), mesial);
    double width = geo_dot(span, across);
    if (fabs(width) < least_span_px)
        return NO_VALUE;
    double share = geo_dot(geo_sub(low, mesial), across) / width;
    struct geo_point over = geo_add(mesial, geo_mul(span, share));
    if (sc->draw != NULL)
        scene_draw(sc, "ridge", over, low);
    return sc->k * ahead(over, low, sc->a);
}

/* Crown over root along the site tooth's axis, parted at a level along it (no scale needed). */
static double crown_to_root(const struct scene *sc, double level)
{
    const struct sheet_site_tooth *t = &sc->s->site_tooth;
    double root = geo_dot(at(&t->apex), sc->site.dir) - level;
    return root > 0.0 ? (level - geo_dot(at(&t->top), sc->site.dir)) / root : NO_VALUE;
}

static double ratio_anatomic(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    return crown_to_root(sc, geo_dot(site_cej(sc), sc->site.dir));
}

static double ratio_clinical(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    double sum = 0.0, n = 0.0;
    for (int i = 0; i < SIDES; i++)
        if (neighbour(sc, i)->crest.set) {
            sum += geo_dot(at(&neighbour(sc, i)->crest), sc->site.dir);
            n += 1.0;
        }
    return crown_to_root(sc, sum / n);
}

/* What is left of the tooth above the crest, along its axis. */
static double sound(const struct scene *sc, int side, struct slot_extra *extra)
{
    return -fracture(sc, side, extra);
}

/* Share of the root without bone, nothing subtracted. */
static double rbl_pct(const struct scene *sc, int side, struct slot_extra *extra)
{
    double root = root_length(sc, side, extra);
    return root > 0.0 ? 100.0 * cej_crest(sc, side, extra) / root : NO_VALUE;
}

/* How far the shoulder would go towards mesial if the pin turned about its tip onto the bisector.
 */
static double turn_shoulder(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    return -sc->k * ahead(at(&sc->s->pin.tip), at(&sc->s->pin.shoulder), sc->m);
}

/* --- space and bounds ---------------------------------------------------------------------------
 */

static double space_at(const struct scene *sc, const char *id, double level_px)
{
    struct geo_point mes, dis;
    if (!scene_near_at(sc, MESIAL, level_px, &mes) || !scene_near_at(sc, DISTAL, level_px, &dis))
        return NO_VALUE;
    scene_draw(sc, id, dis, mes);
    return sc->k * geo_dot(geo_sub(mes, dis), sc->m);
}

static double space_crest(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    double crest;
    return scene_crest_level(sc, &crest) ? space_at(sc, "space.crest", crest) : NO_VALUE;
}

static double space_apical(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    double crest;
    if (!scene_crest_level(sc, &crest))
        return NO_VALUE;
    return space_at(sc, "space.apical", crest + sc->s->plan.length_mm / sc->k);
}

/* Nearest distance from a tip to a bound; below 0 once the way from its crown end crosses it. */
static double bound_from(const struct scene *sc, const char *id, int i, struct geo_point crown,
                         struct geo_point tip)
{
    struct geo_point nearest;
    double d = plumb_geo_polyline_nearest(sc->bound[i], sc->n_bound[i], tip, &nearest, NULL);
    bool past =
        plumb_geo_polyline_segment(sc->bound[i], sc->n_bound[i], crown, tip, NULL, NULL) <= 0.0;
    draw_numbered(sc, id, i, tip, nearest);
    return sc->k * (past ? -d : d);
}

static double bound_along(const struct scene *sc, const char *id, int i,
                          const struct geo_line *axis, struct geo_point tip)
{
    struct geo_line from_tip = {.at = tip, .dir = axis->dir};
    struct geo_point hit;
    if (!plumb_geo_polyline_cross(sc->bound[i], sc->n_bound[i], &from_tip, 0.0, 0.0, &hit))
        return NO_VALUE;
    draw_numbered(sc, id, i, tip, hit);
    return sc->k * plumb_geo_along(&from_tip, hit);
}

static struct geo_point pin_crown_end(const struct scene *sc)
{
    const struct sheet_pin *p = &sc->s->pin;
    if (p->shoulder.set)
        return at(&p->shoulder);
    return p->axis[0].set ? at(&p->axis[0]) : sc->pin.at;
}

static double bound_nearest(const struct scene *sc, int i, struct slot_extra *extra)
{
    (void)extra;
    return bound_from(sc, "bound", i, pin_crown_end(sc), at(&sc->s->pin.tip));
}

static double bound_axis(const struct scene *sc, int i, struct slot_extra *extra)
{
    (void)extra;
    return bound_along(sc, "bound_axis", i, &sc->pin, at(&sc->s->pin.tip));
}

static double beyond_apex(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    struct geo_point apex = at(&sc->s->site_tooth.apex);
    struct geo_line axis = {.at = apex, .dir = sc->site.dir};
    double best = NO_VALUE;
    struct geo_point hit, end = apex;
    for (size_t i = 0; i < sc->s->n_bounds; i++) {
        if (!plumb_geo_polyline_cross(sc->bound[i], sc->n_bound[i], &axis, 0.0, 0.0, &hit))
            continue;
        double d = plumb_geo_along(&axis, hit);
        if (isnan(best) || d < best) {
            best = d;
            end = hit;
        }
    }
    if (!isnan(best))
        scene_draw(sc, "beyond_apex", apex, end);
    return sc->k * best;
}

/* --- between pins -------------------------------------------------------------------------------
 */

static double pins_angle(const struct scene *sc, int pair, struct slot_extra *extra)
{
    (void)extra;
    return scene_lean(sc, scene_pin_axis(sc, second_of(pair))->dir,
                      scene_pin_axis(sc, first_of(pair))->dir);
}

static void draw_pair(const struct scene *sc, const char *id, int pair, struct geo_point p,
                      struct geo_point q)
{
    char name[24];
    if (sc->draw == NULL)
        return;
    snprintf(name, sizeof name, "%d-%d", first_of(pair) + 1, second_of(pair) + 1);
    draw_part(sc, id, name, p, q);
}

/* Below the middle of the crests, else below the first pin's shoulder. */
static void tell_pair_depth(const struct scene *sc, int pair, struct geo_point p,
                            struct slot_extra *extra)
{
    const struct sheet_pin *pin = scene_pin_marks(sc, first_of(pair));
    double level;
    extra->has_depth = true;
    extra->depth_from = "crest";
    if (scene_crest_level(sc, &level)) {
        extra->depth_mm = sc->k * (geo_dot(p, sc->a) - level);
        return;
    }
    extra->depth_from = "shoulder";
    extra->has_depth = pin->shoulder.set;
    extra->depth_mm = sc->k * ahead(at(&pin->shoulder), p, scene_pin_axis(sc, first_of(pair))->dir);
}

/* The sides of two pins that look at each other. */
static bool facing_sides(const struct scene *sc, int pair, struct geo_point first[2],
                         struct geo_point second[2])
{
    int i = first_of(pair), j = second_of(pair);
    return scene_pin_side(sc, i, scene_pin_facing(sc, i, j), first) &&
           scene_pin_side(sc, j, scene_pin_facing(sc, j, i), second);
}

static double pins_gap(const struct scene *sc, int pair, struct slot_extra *extra)
{
    struct geo_point first[2], second[2];
    struct geo_line l;
    if (!facing_sides(sc, pair, first, second) ||
        plumb_geo_line_through(first[0], first[1], &l, NULL) != 0)
        return NO_VALUE;
    enum sheet_side toward = scene_pin_facing(sc, first_of(pair), second_of(pair));
    struct gap g = gap_to_path(first, scene_toward(sc, &l, toward), second, 2);
    draw_pair(sc, "pins.gap", pair, g.on_side, g.on_line);
    if (extra != NULL)
        tell_pair_depth(sc, pair, g.on_side, extra);
    return sc->k * g.px;
}

/* How much deeper q lies than p along the mean of both pins' axes. */
static double deeper(const struct scene *sc, const char *id, int pair, const struct mark *p,
                     const struct mark *q)
{
    struct geo_point axis = geo_unit(
        geo_add(scene_pin_axis(sc, first_of(pair))->dir, scene_pin_axis(sc, second_of(pair))->dir));
    double px = ahead(at(p), at(q), axis);
    draw_pair(sc, id, pair, geo_sub(at(q), geo_mul(axis, px)), at(q));
    return sc->k * px;
}

static double pins_tip(const struct scene *sc, int pair, struct slot_extra *extra)
{
    (void)extra;
    return deeper(sc, "pins.tip", pair, &scene_pin_marks(sc, first_of(pair))->tip,
                  &scene_pin_marks(sc, second_of(pair))->tip);
}

static double pins_shoulder(const struct scene *sc, int pair, struct slot_extra *extra)
{
    (void)extra;
    return deeper(sc, "pins.shoulder", pair, &scene_pin_marks(sc, first_of(pair))->shoulder,
                  &scene_pin_marks(sc, second_of(pair))->shoulder);
}

/* --- the planned cylinder
 * -------------------------------------------------------------------------- */

static struct geo_point plan_tip(const struct scene *sc, const struct geo_line *axis)
{
    return plumb_geo_on(axis, sc->s->plan.length_mm / sc->k);
}

static double plan_clearance(const struct scene *sc, int side, struct slot_extra *extra)
{
    struct geo_line axis;
    if (!scene_plan(sc, &axis))
        return NO_VALUE;
    struct geo_point off = geo_mul(scene_toward(sc, &axis, (enum sheet_side)side),
                                   0.5 * sc->s->plan.diameter_mm / sc->k);
    struct geo_point line[2] = {geo_add(axis.at, off), geo_add(plan_tip(sc, &axis), off)};
    scene_draw(sc, "plan.outline", line[0], line[1]);
    return clearance_of(sc, side, "plan.clearance", line, extra);
}

/* The distance to keep on a side, from the limits in force. */
static double kept_distance(const struct scene *sc)
{
    for (size_t i = 0; i < sc->c->n_limits; i++)
        if (strcmp(sc->c->limit[i].quantity, "plan.clearance.*") == 0 &&
            sc->c->limit[i].compare == UNC_AT_LEAST)
            return sc->c->limit[i].limit;
    return 0.0;
}

/* Widest cylinder on the planned axis that keeps the distance on both sides. */
static double plan_widest(const struct scene *sc, int arg, struct slot_extra *extra)
{
    (void)arg, (void)extra;
    struct geo_line axis;
    if (!scene_plan(sc, &axis))
        return NO_VALUE;
    const struct geo_point line[2] = {axis.at, plan_tip(sc, &axis)};
    double room = HUGE_VAL;
    for (int i = 0; i < SIDES; i++) {
        struct geo_point out = scene_toward(sc, &axis, (enum sheet_side)i);
        room = fmin(room, gap_to_path(line, out, sc->near[i], sc->n_near[i]).px);
    }
    return 2.0 * (sc->k * room - kept_distance(sc));
}

static double plan_depth(const struct scene *sc, int side, struct slot_extra *extra)
{
    (void)extra;
    struct geo_line axis;
    if (!scene_plan(sc, &axis))
        return NO_VALUE;
    return sc->k * ahead(at(&neighbour(sc, side)->crest), plan_tip(sc, &axis), axis.dir);
}

static double plan_bound(const struct scene *sc, int i, struct slot_extra *extra)
{
    (void)extra;
    struct geo_line axis;
    if (!scene_plan(sc, &axis))
        return NO_VALUE;
    return bound_from(sc, "plan.bound", i, axis.at, plan_tip(sc, &axis));
}

static double plan_bound_axis(const struct scene *sc, int i, struct slot_extra *extra)
{
    (void)extra;
    struct geo_line axis;
    if (!scene_plan(sc, &axis))
        return NO_VALUE;
    return bound_along(sc, "plan.bound_axis", i, &axis, plan_tip(sc, &axis));
}

/* --- the table ---------------------------------------------------------------------------------
 */

enum {
    LEVELS = NEED_SCALE | NEED_PIN | NEED_CREST,
    LOSSES = NEED_SCALE | NEED_ROOT | NEED_CEJ | NEED_CREST,
    PLANS = NEED_SCALE | NEED_PLAN,
    PAIRS = NEED_SCALE | NEED_PAIR_AXES
};

static const struct quantity_kind kinds[] = {
    {"scale", PER_FILM, "mm/px", NEED_SCALE, scale, false},
    {"tilt", PER_FILM, "deg", NEED_TWO_GAUGES, tilt, false},
    {"angle", PER_SIDE, "deg", NEED_PIN | NEED_ROOT | NEED_MESIAL, angle_root, false},
    {"angle.mean", PER_FILM, "deg", NEED_PIN | NEED_BOTH_ROOTS, angle_mean, false},
    {"angle.roots", PER_FILM, "deg", NEED_BOTH_ROOTS, angle_roots, false},
    {"turn.shoulder", PER_FILM, "mm",
     NEED_SCALE | NEED_PIN | NEED_TIP | NEED_SHOULDER | NEED_BOTH_ROOTS, turn_shoulder, false},
    {"clearance", PER_SIDE, "mm", NEED_SCALE | NEED_PIN_SIDE | NEED_NEAR | NEED_MESIAL, clearance,
     false},
    {"level", PER_SIDE, "mm", LEVELS | NEED_SHOULDER, level, true},
    {"stop", PER_SIDE, "mm", LEVELS | NEED_STOP, stop, true},
    {"depth", PER_SIDE, "mm", LEVELS | NEED_TIP, depth, true},
    {"cej_crest", PER_SIDE, "mm", LOSSES, cej_crest, false},
    {"loss", PER_SIDE, "mm", LOSSES, loss, false},
    {"loss_pct", PER_SIDE, "%", LOSSES | NEED_APEX, loss_pct, false},
    {"loss_age", PER_SIDE, "%/year", LOSSES | NEED_APEX | NEED_AGE, loss_age, false},
    {"rbl_pct", PER_SIDE, "%", LOSSES | NEED_APEX, rbl_pct, false},
    {"root_length", PER_SIDE, "mm", NEED_SCALE | NEED_ROOT | NEED_CEJ | NEED_APEX, root_length,
     false},
    {"root_length.site", PER_FILM, "mm", NEED_SCALE | NEED_SITE | NEED_SITE_CEJ | NEED_SITE_APEX,
     root_length_site, false},
    {"ratio.anatomic", PER_FILM, "1", NEED_TOP | NEED_SITE | NEED_SITE_CEJ | NEED_SITE_APEX,
     ratio_anatomic, false},
    {"ratio.clinical", PER_FILM, "1", NEED_TOP | NEED_SITE | NEED_SITE_APEX | NEED_ANY_CREST,
     ratio_clinical, false},
    {"space.crest", PER_FILM, "mm", NEED_SCALE | NEED_BOTH_NEAR | NEED_ANY_CREST | NEED_MESIAL,
     space_crest, false},
    {"space.apical", PER_FILM, "mm",
     NEED_SCALE | NEED_BOTH_NEAR | NEED_ANY_CREST | NEED_MESIAL | NEED_PLAN, space_apical, false},
    {"bound", PER_BOUND, "mm", NEED_SCALE | NEED_TIP | NEED_PIN | NEED_BOUND, bound_nearest, false},
    {"bound_axis", PER_BOUND, "mm", NEED_SCALE | NEED_TIP | NEED_PIN | NEED_BOUND, bound_axis,
     false},
    {"beyond_apex", PER_FILM, "mm", NEED_SCALE | NEED_SITE | NEED_SITE_APEX | NEED_BOUND,
     beyond_apex, false},
    {"fracture", PER_SIDE, "mm", NEED_SCALE | NEED_FRACTURE | NEED_CREST, fracture, false},
    {"sound", PER_SIDE, "mm", NEED_SCALE | NEED_FRACTURE | NEED_CREST, sound, false},
    {"ridge", PER_FILM, "mm", NEED_SCALE | NEED_BOTH_CRESTS | NEED_RIDGE, ridge, false},
    {"pins.angle", PER_PAIR, "deg", NEED_PAIR_AXES | NEED_MESIAL, pins_angle, false},
    {"pins.gap", PER_PAIR, "mm", PAIRS | NEED_MESIAL | NEED_PAIR_SIDES, pins_gap, false},
    {"pins.tip", PER_PAIR, "mm", PAIRS | NEED_PAIR_TIPS, pins_tip, false},
    {"pins.shoulder", PER_PAIR, "mm", PAIRS | NEED_PAIR_SHOULDERS, pins_shoulder, false},
    {"plan.clearance", PER_SIDE, "mm", PLANS | NEED_NEAR | NEED_MESIAL, plan_clearance, false},
    {"plan.widest", PER_FILM, "mm", PLANS | NEED_BOTH_NEAR | NEED_MESIAL, plan_widest, false},
    {"plan.depth", PER_SIDE, "mm", PLANS | NEED_CREST, plan_depth, false},
    {"plan.bound", PER_BOUND, "mm", PLANS | NEED_BOUND, plan_bound, false},
    {"plan.bound_axis", PER_BOUND, "mm", PLANS | NEED_BOUND, plan_bound_axis, false},
};

/* What the last word of the id stands for, one after the other; false: there are no more. */
static bool next_arg(const struct sheet *s, enum per per, int *arg)
{
    int n = per == PER_SIDE ? SIDES : per == PER_BOUND ? (int)s->n_bounds : 1;
    if (per != PER_PAIR) {
        *arg += 1;
        return *arg < n || (*arg == 0 && per == PER_BOUND); /* one, to say that it is missing */
    }
    int i = *arg < 0 ? 0 : first_of(*arg), j = *arg < 0 ? 1 : second_of(*arg) + 1;
    if (j > (int)s->n_pins)
        j = ++i + 1;
    *arg = pair_of(i, j);
    return j <= (int)s->n_pins;
}

static size_t add_slot(struct slot *out, size_t n, const struct quantity_kind *k, int arg,
                       bool corrected)
{
    if (n >= MEAS_QUANTITIES)
        return n;
    struct slot *s = &out[n];
    *s = (struct slot){.unit = k->unit, .kind = k, .arg = arg, .corrected = corrected};
    const char *tail = corrected ? ".corrected" : "";
    if (k->per == PER_SIDE)
        snprintf(s->id, sizeof s->id, "%s.%s%s", k->id, plumb_side_word[arg], tail);
    else if (k->per == PER_BOUND)
        snprintf(s->id, sizeof s->id, "%s.%d", k->id, arg + 1);
    else if (k->per == PER_PAIR)
        snprintf(s->id, sizeof s->id, "%s.%d-%d", k->id, first_of(arg) + 1, second_of(arg) + 1);
    else
        snprintf(s->id, sizeof s->id, "%s", k->id);
    return n + 1;
}

size_t slots_list(const struct sheet *s, struct slot out[MEAS_QUANTITIES])
{
    size_t n = 0;
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        const struct quantity_kind *k = &kinds[i];
        for (int a = -1; next_arg(s, k->per, &a);)
            n = add_slot(out, n, k, a, false);
        for (int a = -1; k->along_pin && next_arg(s, k->per, &a);)
            n = add_slot(out, n, k, a, true);
    }
    return n;
}

/* Any quantity that a pattern may speak of; bounds are told apart by number only. */
bool slots_know(const char *pattern)
{
    struct slot slot[MEAS_QUANTITIES];
    struct sheet empty;
    plumb_sheet_init(&empty);
    empty.n_pins = 1;
    size_t n = slots_list(&empty, slot), head = strcspn(pattern, "0123456789");
    plumb_sheet_release(&empty);
    for (size_t i = 0; i < n; i++)
        if (slot_fits(pattern, slot[i].id) ||
            (pattern[head] != '\0' && strncmp(pattern, slot[i].id, head) == 0 &&
             slot[i].id[head] == '1'))
            return true;
    return false;
}

bool slot_fits(const char *pattern, const char *id)
{
    size_t n = strlen(pattern);
    if (n == 0 || pattern[n - 1] != '*')
        return strcmp(pattern, id) == 0;
    return strncmp(pattern, id, n - 1) == 0 && strchr(id + n - 1, '.') == NULL;
}

/* --- what is there ------------------------------------------------------------------------------
 */

/* How many places of the sheet a need asks for. */
enum places { ONE, EACH_SIDE, EACH_PIN };

/* In the sheet's words and in a person's; %s: the side; of a pair, the pin. */
static const struct need_word {
    enum need need;
    enum places places;
    const char *from, *words;
} need_words[] = {
    {NEED_SCALE, ONE, "gauges", "a gauge of known size"},
    {NEED_TWO_GAUGES, ONE, "gauges", "a gauge along the pin and one across it"},
    {NEED_PIN, ONE, "pin.axis", "the pin's axis (or both its sides, or shoulder and tip)"},
    {NEED_TIP, ONE, "pin.tip", "the pin's tip"},
    {NEED_SHOULDER, ONE, "pin.shoulder", "the pin's shoulder"},
    {NEED_STOP, ONE, "pin.stop", "the stop"},
    {NEED_PIN_SIDE, ONE, "pin.%s_side", "the pin's %s side (or shoulder, tip, a gauge across)"},
    {NEED_ROOT, ONE, "%s.axis", "the %s root's axis (or both its sides)"},
    {NEED_BOTH_ROOTS, EACH_SIDE, "%s.axis", "the %s root's axis (or both its sides)"},
    {NEED_CEJ, ONE, "%s.cej", "the %s CEJ"},
    {NEED_APEX, ONE, "%s.apex", "the %s apex"},
    {NEED_CREST, ONE, "%s.crest", "the %s crest"},
    {NEED_ANY_CREST, ONE, "mesial.crest", "the mesial or the distal crest"},
    {NEED_BOTH_CRESTS, EACH_SIDE, "%s.crest", "the %s crest"},
    {NEED_RIDGE, ONE, "ridge", "the ridge's lowest point between the crests, and an axis"},
    {NEED_NEAR, ONE, "%s.near", "the %s root's side that faces the site"},
    {NEED_BOTH_NEAR, EACH_SIDE, "%s.near", "the %s root's side that faces the site"},
    {NEED_SITE, ONE, "site_tooth.axis", "the site tooth's axis (or its CEJ and apex)"},
    {NEED_SITE_CEJ, EACH_SIDE, "site_tooth.cej_%s", "the site tooth's %s CEJ"},
    {NEED_SITE_APEX, ONE, "site_tooth.apex", "the site tooth's apex"},
    {NEED_TOP, ONE, "site_tooth.top", "the top of the site tooth's crown"},
    {NEED_FRACTURE, ONE, "site_tooth.fracture_%s", "the %s fracture edge, and an axis"},
    {NEED_BOUND, ONE, "bounds", "a bound"},
    {NEED_PLAN, ONE, "plan",
     "the plan's axis: the pin and its shoulder, or, --plan-on bisector, both roots and crest"},
    {NEED_AGE, ONE, "site.age_years", "the age"},
    {NEED_PAIR_AXES, EACH_PIN, "%s.axis", "the axis of %s"},
    {NEED_PAIR_SIDES, EACH_PIN, "%s_side", "the side of %s that faces the other pin"},
    {NEED_PAIR_TIPS, EACH_PIN, "%s.tip", "the tip of %s"},
    {NEED_PAIR_SHOULDERS, EACH_PIN, "%s.shoulder", "the shoulder of %s"},
    {NEED_MESIAL, ONE, "site.tooth", "which way mesial lies (a neighbour, or the tooth)"},
};

enum { NEEDS = sizeof need_words / sizeof need_words[0] };

static bool has_plan(const struct scene *sc)
{
    struct geo_line axis;
    return scene_plan(sc, &axis);
}

static bool has_bound(const struct scene *sc, const struct slot *slot)
{
    size_t i = slot->kind->per == PER_BOUND ? (size_t)slot->arg : 0;
    return i < sc->s->n_bounds && sc->n_bound[i] >= 2;
}

static int pin_of(const struct slot *slot, int part)
{
    return part == 0 ? first_of(slot->arg) : second_of(slot->arg);
}

static bool is_facing_seen(const struct scene *sc, int pin, int other)
{
    struct geo_point line[2];
    return scene_pin_axis(sc, pin) && scene_pin_axis(sc, other) && sc->has_m &&
           scene_pin_side(sc, pin, scene_pin_facing(sc, pin, other), line);
}

/* Needs of one pin, and of a pair; part: which of the pair. */
static bool pin_has(const struct scene *sc, enum need need, const struct slot *slot, int part)
{
    struct geo_point line[2];
    bool pair = slot->kind->per == PER_PAIR;
    int pin = pair ? pin_of(slot, part) : 0;
    const struct sheet_pin *p = scene_pin_marks(sc, pin);
    switch (need) {
    case NEED_TIP:
    case NEED_PAIR_TIPS:
        return p->tip.set;
    case NEED_SHOULDER:
    case NEED_PAIR_SHOULDERS:
        return p->shoulder.set;
    case NEED_STOP:
        return p->stop.set;
    case NEED_PIN_SIDE:
        return scene_pin_side(sc, pin, (enum sheet_side)part, line);
    case NEED_PAIR_SIDES:
        return is_facing_seen(sc, pin, pin_of(slot, 1 - part));
    default:
        return scene_pin_axis(sc, pin) != NULL;
    }
}

/* Needs of a neighbour, and of both; part: the side. */
static bool root_has(const struct scene *sc, enum need need, int part)
{
    const struct sheet_neighbour *nb = &sc->s->side[part];
    switch (need) {
    case NEED_CEJ:
        return nb->cej.set;
    case NEED_APEX:
        return nb->apex.set;
    case NEED_CREST:
    case NEED_BOTH_CRESTS:
        return nb->crest.set;
    case NEED_NEAR:
    case NEED_BOTH_NEAR:
        return sc->n_near[part] >= 2;
    default:
        return sc->has_root[part];
    }
}

static bool site_has(const struct scene *sc, enum need need, int part)
{
    const struct sheet_site_tooth *t = &sc->s->site_tooth;
    switch (need) {
    case NEED_SITE_CEJ:
        return t->cej[part].set;
    case NEED_SITE_APEX:
        return t->apex.set;
    case NEED_TOP:
        return t->top.set;
    case NEED_FRACTURE:
        return t->fracture[part].set && sc->has_frame;
    default:
        return sc->has_site;
    }
}

enum {
    PIN_NEEDS = NEED_PIN | NEED_TIP | NEED_SHOULDER | NEED_STOP | NEED_PIN_SIDE | NEED_PAIR_AXES |
                NEED_PAIR_SIDES | NEED_PAIR_TIPS | NEED_PAIR_SHOULDERS,
    ROOT_NEEDS = NEED_ROOT | NEED_BOTH_ROOTS | NEED_CEJ | NEED_APEX | NEED_CREST | NEED_NEAR |
                 NEED_BOTH_NEAR | NEED_BOTH_CRESTS,
    SITE_NEEDS = NEED_SITE | NEED_SITE_CEJ | NEED_SITE_APEX | NEED_TOP | NEED_FRACTURE
};

static bool part_met(const struct scene *sc, enum need need, const struct slot *slot, int part)
{
    const struct sheet *s = sc->s;
    if (need & PIN_NEEDS)
        return pin_has(sc, need, slot, part);
    if (need & ROOT_NEEDS)
        return root_has(sc, need, part);
    if (need & SITE_NEEDS)
        return site_has(sc, need, part);
    switch (need) {
    case NEED_SCALE:
        return sc->k > 0.0;
    case NEED_TWO_GAUGES:
        return !isnan(sc->tilt);
    case NEED_ANY_CREST:
        return s->side[MESIAL].crest.set || s->side[DISTAL].crest.set;
    case NEED_RIDGE:
        return s->ridge.set && sc->has_frame;
    case NEED_MESIAL:
        return sc->has_m;
    case NEED_BOUND:
        return has_bound(sc, slot);
    case NEED_PLAN:
        return s->plan.set && (slot->kind->fn == space_apical || has_plan(sc));
    case NEED_AGE:
        return sc->in.age_years > 0.0;
    default:
        return false;
    }
}

/* The parts of a need: both sides or pins, or the slot's own side. */
static int first_part(const struct need_word *w, const struct slot *slot)
{
    return w->places == ONE && slot->kind->per == PER_SIDE ? slot->arg : 0;
}

static int last_part(const struct need_word *w, const struct slot *slot)
{
    return w->places == ONE ? first_part(w, slot) : 1;
}

double slot_eval(const struct slot *slot, const struct scene *sc, struct slot_extra *extra)
{
    const struct quantity_kind *k = slot->kind;
    for (size_t i = 0; i < NEEDS; i++) {
        const struct need_word *w = &need_words[i];
        if (!(k->needs & w->need))
            continue;
        for (int part = first_part(w, slot); part <= last_part(w, slot); part++)
            if (!part_met(sc, w->need, slot, part))
                return NO_VALUE;
    }
    if (!slot->corrected)
        return k->fn(sc, slot->arg, extra);
    return sc->rule.lean_known ? k->fn(sc, slot->arg, extra) / cos(sc->tilt) : NO_VALUE;
}

/* --- in words -----------------------------------------------------------------------------------
 */

/* Puts a word where the pattern has %s. */
static void with_word(char *out, size_t size, const char *pattern, const char *word)
{
    const char *hole = strstr(pattern, "%s");
    if (hole == NULL)
        snprintf(out, size, "%s", pattern);
    else
        snprintf(out, size, "%.*s%s%s", (int)(hole - pattern), pattern, word, hole + 2);
}

/* "pin" or "pins[0]"; for a side, with the side that faces the other pin. */
static void pin_path(const struct scene *sc, const struct need_word *w, const struct slot *slot,
                     int part, char out[MEAS_ID])
{
    int pin = pin_of(slot, part), other = pin_of(slot, 1 - part);
    int n = pin == 0 ? snprintf(out, MEAS_ID, "pin") : snprintf(out, MEAS_ID, "pins[%d]", pin - 1);
    if (w->need == NEED_PAIR_SIDES && scene_pin_axis(sc, pin) && scene_pin_axis(sc, other))
        snprintf(out + n, MEAS_ID - (size_t)n, ".%s",
                 plumb_side_word[scene_pin_facing(sc, pin, other)]);
}

static void part_path(const struct scene *sc, const struct need_word *w, const struct slot *slot,
                      int part, char out[MEAS_ID])
{
    char word[MEAS_ID];
    if (w->places == EACH_PIN)
        pin_path(sc, w, slot, part, word);
    else
        plumb_text_copy(word, sizeof word, part == MESIAL ? "mesial" : "distal");
    if (w->need == NEED_BOUND)
        snprintf(out, MEAS_ID, "bounds[%d]", slot->kind->per == PER_BOUND ? slot->arg : 0);
    else
        with_word(out, MEAS_ID, w->from, word);
}

size_t slot_from(const struct slot *slot, const struct scene *sc, char from[MEAS_FROM][MEAS_ID])
{
    size_t n = 0;
    for (size_t i = 0; i < NEEDS; i++) {
        const struct need_word *w = &need_words[i];
        if (!(slot->kind->needs & w->need) || w->need == NEED_MESIAL)
            continue;
        for (int part = first_part(w, slot); part <= last_part(w, slot) && n < MEAS_FROM; part++)
            part_path(sc, w, slot, part, from[n++]);
    }
    return n;
}

/* "the mesial CEJ [mesial.cej]" */
static void part_words(const struct scene *sc, const struct need_word *w, const struct slot *slot,
                       int part, char out[160])
{
    char word[24], words[96], path[MEAS_ID];
    if (w->places == EACH_PIN)
        snprintf(word, sizeof word, "pin %d", pin_of(slot, part) + 1);
    else
        plumb_text_copy(word, sizeof word, part == MESIAL ? "mesial" : "distal");
    with_word(words, sizeof words, w->words, word);
    part_path(sc, w, slot, part, path);
    snprintf(out, 160, "%s [%s]", words, path);
}

static void add_lack(struct meas_missing *out, const char *words)
{
    char joined[sizeof out->lacks + 168];
    snprintf(joined, sizeof joined, "%s%s%s", out->lacks, out->lacks[0] ? "; " : "", words);
    plumb_text_copy(out->lacks, sizeof out->lacks, joined);
}

static bool any_set(const struct mark *const marks[], size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (marks[i]->set)
            return true;
    return false;
}

static bool any_pin(const struct sheet *s)
{
    const struct sheet_pin *p = &s->pin;
    const struct mark *const marks[] = {
        &p->tip,     &p->shoulder,        &p->stop,           &p->axis[0],
        &p->axis[1], &p->side[MESIAL][0], &p->side[DISTAL][0]};
    return any_set(marks, sizeof marks / sizeof marks[0]);
}

static bool any_site_tooth(const struct sheet *s)
{
    const struct sheet_site_tooth *t = &s->site_tooth;
    const struct mark *const marks[] = {&t->axis[0],          &t->axis[1],         &t->top,
                                        &t->cej[MESIAL],      &t->cej[DISTAL],     &t->apex,
                                        &t->fracture[MESIAL], &t->fracture[DISTAL]};
    return any_set(marks, sizeof marks / sizeof marks[0]);
}

/* Why nobody waits for it on this film; NULL when somebody may. */
static const char *aside_of(const struct slot *slot, const struct scene *sc)
{
    const struct sheet *s = sc->s;
    unsigned needs = slot->kind->needs;
    if ((needs & (PIN_NEEDS | NEED_TWO_GAUGES)) && slot->kind->per != PER_PAIR && !any_pin(s))
        return "no pin is marked";
    if ((needs & SITE_NEEDS) && !any_site_tooth(s))
        return "the site's tooth is not marked (site_tooth.top, cej_mesial, cej_distal, apex, "
               "fracture_mesial, fracture_distal)";
    if ((needs & NEED_STOP) && !s->pin.stop.set)
        return "no stop is marked";
    if ((needs & NEED_RIDGE) && !s->ridge.set)
        return "no dip of the ridge is marked (ridge)";
    if ((needs & NEED_PLAN) && !s->plan.set)
        return "no plan is stated";
    if ((needs & NEED_AGE) && !(sc->in.age_years > 0.0))
        return "no age is stated";
    if (slot->corrected && !sc->rule.lean_known)
        return "no lean out of the film is larger than its uncertainty";
    return NULL;
}

void slot_lacks(const struct slot *slot, const struct scene *sc, struct meas_missing *out)
{
    char words[160];
    *out = (struct meas_missing){.unit = slot->unit, .aside = aside_of(slot, sc)};
    plumb_text_copy(out->id, sizeof out->id, slot->id);
    plumb_meas_label(slot->id, out->label);
    for (size_t i = 0; i < NEEDS; i++) {
        const struct need_word *w = &need_words[i];
        if (!(slot->kind->needs & w->need))
            continue;
        for (int part = first_part(w, slot); part <= last_part(w, slot); part++) {
            if (part_met(sc, w->need, slot, part))
                continue;
            part_words(sc, w, slot, part, words);
            add_lack(out, words);
        }
    }
    if (out->lacks[0] == '\0' && slot->corrected)
        add_lack(out, "a lean that is larger than its own uncertainty");
    else if (out->lacks[0] == '\0')
        add_lack(out, "marks that reach the level where it is measured");
}

bool slot_is_least(const struct slot *slot)
{
    const quantity_fn fn = slot->kind->fn;
    return fn == clearance || fn == plan_clearance || fn == plan_widest || fn == bound_nearest ||
           fn == plan_bound || fn == pins_gap;
}
