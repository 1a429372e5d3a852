#include "tests/support/site.h"

#include <string.h>

static const double rad = 3.14159265358979323846 / 180.0;

void site_default(struct site *s)
{
    *s = (struct site){
        .pin_deg = 3.0, .root_deg = {2.0, -1.0}, .length = 12.0, .width = 2.2, .bound_v = 16.0};
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

static void put_pin(const struct site *s, const struct placing *p, double sd, struct sheet *out)
{
    struct geo_point dir = lean(s->pin_deg), tip = geo_mul(dir, s->length), top = {0.0, 0.0};
    struct geo_point across = {dir.y, -dir.x}; /* towards mesial */
    out->pin.shoulder = put(p, top, sd);
    out->pin.tip = put(p, tip, sd);
    out->pin.stop = put(p, geo_mul(dir, -2.0), sd);
    out->pin.axis[0] = put(p, top, sd);
    out->pin.axis[1] = put(p, tip, sd);
    for (int i = 0; i < SIDES; i++) {
        struct geo_point off = geo_mul(across, (i == MESIAL ? 0.5 : -0.5) * s->width);
        out->pin.side[i][0] = put(p, geo_add(top, off), sd);
        out->pin.side[i][1] = put(p, geo_add(tip, off), sd);
    }
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
    put_pin(s, p, sd, out);
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
    out->n_bounds = 1;
    strcpy(out->bound[0].what, "canal roof");
    put_path(&out->bound[0].path, p, (struct geo_point){-9.0, s->bound_v},
             (struct geo_point){9.0, s->bound_v}, sd);
}
