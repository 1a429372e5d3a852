#include "tests/support/site.h"

#include <string.h>

static const double rad = 3.14159265358979323846 / 180.0;

void site_default(struct site *s)
{
    *s = (struct site){.pin_deg = 3.0,
                       .root_deg = {2.0, -1.0},
                       .length = 12.0,
                       .width = 2.2,
                       .bound_v = 16.0,
                       .site_top = {-0.3, -8.5},
                       .site_cej = {{2.4, -0.9}, {-2.4, -1.1}},
                       .site_apex = {0.6, 11.5},
                       .fracture = {{2.2, 0.3}, {-2.3, 2.5}},
                       .ridge = {0.4, 2.9},
                       .plan_length = 7.0,
                       .plan_width = 3.0,
                       .second_top = {-9.0, 0.8},
                       .second_deg = 5.5,
                       .second_length = 10.5,
                       .second_width = 2.8,
                       .age_years = 46.0};
    for (int i = 0; i < 2; i++) {
        double side = i == MESIAL ? 1.0 : -1.0;
        s->cej[i] = (struct geo_point){side * 4.0, -1.0};
        s->near_top[i] = (struct geo_point){side * 3.6, -1.5};
        s->near_end[i] = (struct geo_point){side * 4.4 + 0.2, 13.0};
        s->crest[i] = (struct geo_point){side * 3.5, i == MESIAL ? 1.2 : 0.7};
        s->apex[i] = (struct geo_point){side * 6.0, 13.5 + 0.5 * side};
    }
}

struct geo_point site_px(const struct placing *p, struct geo_point mm)
{
    /* Mesial to the left, apical down: a lower left tooth seen from facial, as it stands on a film.
     */
    struct geo_point q = {-mm.x / p->mm_per_px, mm.y / p->mm_per_px};
    if (p->mirrored)
        q.x = -q.x;
    struct geo_point middle = {1500.0, 1500.0};
    return geo_add(middle, geo_turn(q, p->turn_deg * rad));
}

static struct mark put(const struct placing *p, struct geo_point mm, double sd)
{
    struct geo_point q = site_px(p, mm);
    return (struct mark){.set = true, .x = q.x, .y = q.y, .sd = sd};
}

static struct geo_point lean(double deg)
{
    return (struct geo_point){sin(deg * rad), cos(deg * rad)};
}

static void put_path(struct mark_path *path, const struct placing *p, struct geo_point a,
                     struct geo_point b, double sd)
{
    enum { POINTS = 9 };
    path->at = plumb_mem_array(POINTS, sizeof *path->at, NULL);
    path->n = POINTS;
    for (int i = 0; i < POINTS; i++)
        path->at[i] = put(p, geo_mix(a, b, i / (POINTS - 1.0)), sd);
}

/* A cylinder: where its shoulder is, and how it stands. */
struct pole {
    struct geo_point top;
    double deg, length, width;
};

static struct pole first_pole(const struct site *s)
{
    return (struct pole){{0.0, 0.0}, s->pin_deg, s->length, s->width};
}

static struct pole second_pole(const struct site *s)
{
    return (struct pole){s->second_top, s->second_deg, s->second_length, s->second_width};
}

static struct geo_point pole_tip(const struct pole *q)
{
    return geo_add(q->top, geo_mul(lean(q->deg), q->length));
}

/* One of the four corners: the crown or apical end of the side towards mesial or distal. */
static struct geo_point pole_corner(const struct pole *q, int side, bool apical)
{
    struct geo_point dir = lean(q->deg), across = {dir.y, -dir.x}; /* towards mesial */
    struct geo_point off = geo_mul(across, (side == MESIAL ? 0.5 : -0.5) * q->width);
    return geo_add(apical ? pole_tip(q) : q->top, off);
}

static void put_pole(const struct pole *q, const struct placing *p, double sd,
                     struct sheet_pin *out)
{
    out->shoulder = put(p, q->top, sd);
    out->tip = put(p, pole_tip(q), sd);
    out->stop = put(p, geo_sub(q->top, geo_mul(lean(q->deg), 2.0)), sd);
    out->axis[0] = put(p, q->top, sd);
    out->axis[1] = put(p, pole_tip(q), sd);
    for (int i = 0; i < SIDES; i++) {
        out->side[i][0] = put(p, pole_corner(q, i, false), sd);
        out->side[i][1] = put(p, pole_corner(q, i, true), sd);
    }
}

static void put_pins(const struct site *s, const struct placing *p, double sd, struct sheet *out)
{
    const struct pole first = first_pole(s), second = second_pole(s);
    put_pole(&first, p, sd, &out->pin);
    out->n_pins = 1;
    put_pole(&second, p, sd, &out->pins[0]);
    out->n_gauges = 2;
    struct sheet_gauge *along = &out->gauge[0], *wide = &out->gauge[1];
    strcpy(along->name, "drill, tip to shoulder");
    along->kind = GAUGE_LENGTH;
    along->mm = s->length;
    along->end[0] = out->pin.shoulder;
    along->end[1] = out->pin.tip;
    strcpy(wide->name, "drill diameter");
    wide->kind = GAUGE_ACROSS;
    wide->mm = s->width;
    wide->end[0] = out->pin.side[MESIAL][0];
    wide->end[1] = out->pin.side[DISTAL][0];
}

void site_sheet(const struct site *s, const struct placing *p, double sd, struct sheet *out)
{
    plumb_sheet_init(out);
    strcpy(out->film.file, "site.png");
    out->site.tooth = p->tooth;
    out->site.age_years = s->age_years;
    put_pins(s, p, sd, out);
    for (int i = 0; i < SIDES; i++) {
        struct sheet_neighbour *nb = &out->side[i];
        struct geo_point dir = lean(s->root_deg[i]);
        nb->axis[0] = put(p, s->cej[i], sd);
        nb->axis[1] = put(p, geo_add(s->cej[i], geo_mul(dir, 14.0)), sd);
        nb->cej = put(p, s->cej[i], sd);
        nb->apex = put(p, s->apex[i], sd);
        nb->crest = put(p, s->crest[i], sd);
        put_path(&nb->near, p, s->near_top[i], s->near_end[i], sd);
    }
    struct sheet_site_tooth *t = &out->site_tooth;
    t->top = put(p, s->site_top, sd);
    t->apex = put(p, s->site_apex, sd);
    for (int i = 0; i < SIDES; i++) {
        t->cej[i] = put(p, s->site_cej[i], sd);
        t->fracture[i] = put(p, s->fracture[i], sd);
    }
    out->ridge = put(p, s->ridge, sd);
    out->plan = (struct sheet_plan){true, s->plan_length, s->plan_width, PLAN_ON_PIN};
    out->n_bounds = 1;
    strcpy(out->bound[0].what, "canal roof");
    put_path(&out->bound[0].path, p, (struct geo_point){-9.0, s->bound_v},
             (struct geo_point){9.0, s->bound_v}, sd);
}

/* --- truth ----------------------------------------------------------------------------------- */

/* Crossing of the straight near side with the level v, all in mm. */
static double near_at(const struct site *s, int side, double v)
{
    double t = (v - s->near_top[side].y) / (s->near_end[side].y - s->near_top[side].y);
    return s->near_top[side].x + t * (s->near_end[side].x - s->near_top[side].x);
}

/* The site's frame leans by the mean of the roots' angles. */
static struct geo_point apical_of(const struct site *s)
{
    return lean(0.5 * (s->root_deg[0] + s->root_deg[1]));
}

/* Free width along m, so far below the middle of the crests. */
static double space_along_m(const struct site *s, double below)
{
    struct geo_point a = apical_of(s), m = {a.y, -a.x};
    double level = 0.5 * (geo_dot(s->crest[0], a) + geo_dot(s->crest[1], a)) + below;
    double x[2];
    for (int i = 0; i < 2; i++) {
        /* point on the near side with coordinate `level` along a, found by bisection */
        double lo = s->near_top[i].y, hi = s->near_end[i].y;
        for (int k = 0; k < 200; k++) {
            double v = 0.5 * (lo + hi);
            struct geo_point p = {near_at(s, i, v), v};
            *(geo_dot(p, a) < level ? &lo : &hi) = v;
        }
        x[i] = geo_dot((struct geo_point){near_at(s, i, lo), lo}, m);
    }
    return x[0] - x[1];
}

/* Distance of a point from a straight near side. */
static double from_near(const struct site *s, int side, struct geo_point p)
{
    struct geo_point d = geo_unit(geo_sub(s->near_end[side], s->near_top[side]));
    return fabs(geo_cross(d, geo_sub(p, s->near_top[side])));
}

/* From the side of a cylinder on the pin's axis; two straight lines are nearest at an end. */
static double side_clearance(const struct site *s, int side, double width, double length)
{
    struct geo_point dir = lean(s->pin_deg), across = {dir.y, -dir.x};
    struct geo_point off = geo_mul(across, (side == MESIAL ? 0.5 : -0.5) * width);
    double top = from_near(s, side, off);
    double end = from_near(s, side, geo_add(geo_mul(dir, length), off));
    return fmin(top, end);
}

static double to_segment(struct geo_point p, struct geo_point a, struct geo_point b)
{
    double len = geo_dist(a, b), t = geo_dot(geo_sub(p, a), geo_sub(b, a)) / (len * len);
    return geo_dist(p, geo_mix(a, b, fmin(fmax(t, 0.0), 1.0)));
}

/* Between the sides that face each other, which do not cross: from one of their four ends. */
static double pole_gap(const struct pole *mesial, const struct pole *distal)
{
    struct geo_point a = pole_corner(mesial, DISTAL, false), b = pole_corner(mesial, DISTAL, true);
    struct geo_point c = pole_corner(distal, MESIAL, false), d = pole_corner(distal, MESIAL, true);
    return fmin(fmin(to_segment(a, c, d), to_segment(b, c, d)),
                fmin(to_segment(c, a, b), to_segment(d, a, b)));
}

size_t site_truth(const struct site *s, struct site_value e[SITE_VALUES])
{
    struct geo_point p = lean(s->pin_deg), tip = geo_mul(p, s->length);
    size_t n = 0;
#define E(name, number) e[n++] = (struct site_value){name, number}
    E("angle.mesial", s->pin_deg - s->root_deg[0]);
    E("angle.distal", s->pin_deg - s->root_deg[1]);
    E("angle.mean", s->pin_deg - 0.5 * (s->root_deg[0] + s->root_deg[1]));
    E("angle.roots", s->root_deg[1] - s->root_deg[0]);
    E("clearance.mesial", side_clearance(s, 0, s->width, s->length));
    E("clearance.distal", side_clearance(s, 1, s->width, s->length));
    E("level.mesial", geo_dot(s->crest[0], p));
    E("level.distal", geo_dot(s->crest[1], p));
    E("stop.mesial", geo_dot(s->crest[0], p) + 2.0);
    E("stop.distal", geo_dot(s->crest[1], p) + 2.0);
    E("depth.mesial", s->length - geo_dot(s->crest[0], p));
    E("depth.distal", s->length - geo_dot(s->crest[1], p));
    E("cej_crest.mesial", geo_dot(geo_sub(s->crest[0], s->cej[0]), lean(s->root_deg[0])));
    E("cej_crest.distal", geo_dot(geo_sub(s->crest[1], s->cej[1]), lean(s->root_deg[1])));
    E("root_length.mesial", geo_dot(geo_sub(s->apex[0], s->cej[0]), lean(s->root_deg[0])));
    E("root_length.distal", geo_dot(geo_sub(s->apex[1], s->cej[1]), lean(s->root_deg[1])));
    E("space.crest", space_along_m(s, 0.0));
    E("bound.1", s->bound_v - tip.y);
    E("bound_axis.1", (s->bound_v - tip.y) / p.y);
    for (int i = 0; i < SIDES; i++) {
        double loss = fmax(e[12 + i].value - 2.0, 0.0);
        E(i == MESIAL ? "loss.mesial" : "loss.distal", loss);
        E(i == MESIAL ? "loss_pct.mesial" : "loss_pct.distal",
          100.0 * loss / (e[14 + i].value - 2.0));
        E(i == MESIAL ? "loss_age.mesial" : "loss_age.distal",
          100.0 * loss / (e[14 + i].value - 2.0) / s->age_years);
    }
    struct geo_point a = apical_of(s), m = {a.y, -a.x}, plan = geo_mul(p, s->plan_length);
    struct geo_point top = geo_mix(s->site_cej[0], s->site_cej[1], 0.5);
    struct geo_point axis = geo_unit(geo_sub(s->site_apex, top));
    double root = geo_dist(s->site_apex, top), crown = geo_dot(geo_sub(top, s->site_top), axis);
    double bare = geo_dot(geo_sub(geo_mix(s->crest[0], s->crest[1], 0.5), top), axis);
    E("root_length.site", root);
    E("ratio.anatomic", crown / root);
    E("ratio.clinical", (crown + bare) / (root - bare));
    E("beyond_apex", (s->bound_v - s->site_apex.y) / axis.y);
    E("fracture.mesial", geo_dot(geo_sub(s->fracture[0], s->crest[0]), axis));
    E("fracture.distal", geo_dot(geo_sub(s->fracture[1], s->crest[1]), axis));
    E("sound.mesial", geo_dot(geo_sub(s->crest[0], s->fracture[0]), axis));
    E("sound.distal", geo_dot(geo_sub(s->crest[1], s->fracture[1]), axis));
    struct geo_point span = geo_sub(s->crest[1], s->crest[0]); /* the way along a to that line */
    E("ridge", geo_cross(span, geo_sub(s->ridge, s->crest[0])) / geo_cross(span, a));
    E("rbl_pct.mesial", 100.0 * e[12].value / e[14].value);
    E("rbl_pct.distal", 100.0 * e[13].value / e[15].value);
    E("space.apical", space_along_m(s, s->plan_length));
    E("turn.shoulder", geo_dot(tip, m));
    E("plan.clearance.mesial", side_clearance(s, 0, s->plan_width, s->plan_length));
    E("plan.clearance.distal", side_clearance(s, 1, s->plan_width, s->plan_length));
    E("plan.widest", 2.0 * (fmin(side_clearance(s, 0, 0.0, s->plan_length),
                                 side_clearance(s, 1, 0.0, s->plan_length)) -
                            1.5));
    E("plan.depth.mesial", geo_dot(geo_sub(plan, s->crest[0]), p));
    E("plan.depth.distal", geo_dot(geo_sub(plan, s->crest[1]), p));
    E("plan.bound.1", s->bound_v - plan.y);
    E("plan.bound_axis.1", (s->bound_v - plan.y) / p.y);
    const struct pole first = first_pole(s), second = second_pole(s);
    struct geo_point mean = lean(0.5 * (s->pin_deg + s->second_deg));
    E("pins.angle.1-2", s->second_deg - s->pin_deg);
    E("pins.gap.1-2", pole_gap(&first, &second));
    E("pins.tip.1-2", geo_dot(geo_sub(pole_tip(&second), pole_tip(&first)), mean));
    E("pins.shoulder.1-2", geo_dot(geo_sub(second.top, first.top), mean));
#undef E
    return n;
}
