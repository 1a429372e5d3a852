/*
 * The pin finder: candidates of both polarities -> measured bodies -> ends -> judgement -> list.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/pin_internal.h"

static const struct pin_params defaults = {.small_side = 480,
                                           .min_width_small = 8.0,
                                           .max_width_share = 0.2,
                                           .min_aspect = 2.5,
                                           .n_coarse = 48,
                                           .n_fine = 12};
enum { FINE_MAX = 16 };

void plumb_find_pin_params_default(struct find_pin_params *p)
{
    p->min_confidence = 0.5;
}

void plumb_find_pins_release(struct find_pins *p)
{
    if (!p)
        return;
    free(p->at);
    memset(p, 0, sizeof *p);
}

static struct geo_point on_axis(const struct pin_body *b, double s)
{
    struct geo_point p = find_strip_point(&b->strip, s, pin_body_mid(b, s));
    return plumb_geo_on(&b->axis, plumb_geo_along(&b->axis, p));
}

static void fill_axis(const struct pin_body *b, double reach, struct find_pin *out)
{
    out->axis = b->axis;
    double h = fmin(reach, b->axis.u_offset / fmax(1e-12, b->axis.u_angle));
    out->ends[0] = plumb_geo_on(&b->axis, -h);
    out->ends[1] = plumb_geo_on(&b->axis, h);
    out->u_ends = hypot(b->axis.u_offset, h * b->axis.u_angle);
    if (h > 0.0)
        out->u_ends = fmax(b->axis.u_offset, h * b->axis.u_angle) * sqrt(2.0);
}

static void fill_pin(const struct pin_body *b, const struct pin_ends *e, struct find_pin *out)
{
    const struct find_strip *st = &b->strip;
    double s0 = st->s0 + st->ds * (double)b->i0, s1 = st->s0 + st->ds * (double)b->i1;
    memset(out, 0, sizeof *out);
    fill_axis(b, 0.5 * (s1 - s0), out);
    out->tip = on_axis(b, e->tip);
    out->u_tip = e->u_tip;
    out->tip_shape = e->shape;
    out->has_shoulder = e->has_shoulder;
    out->has_stop = e->has_stop;
    out->shoulder = e->has_shoulder ? on_axis(b, e->shoulder) : out->shoulder;
    out->u_shoulder = e->u_shoulder;
    out->stop = e->has_stop ? on_axis(b, e->stop) : out->stop;
    out->u_stop = e->u_stop;
    for (int k = 0; k < 2; k++) {
        const struct pin_flank *f = &b->flank[k];
        out->flank[k][0] = find_strip_point(st, s0, f->a + f->b * s0);
        out->flank[k][1] = find_strip_point(st, s1, f->a + f->b * s1);
    }
    out->u_flank = fmax(b->u_flank[0], b->u_flank[1]);
    out->width = b->width;
    out->u_width = 0.02 * b->width;
    out->length = e->tip - (e->has_shoulder ? e->shoulder : s0);
}

/* Measures and judges one candidate. */
static int look(const struct film *film, const struct pin_candidate *c, struct find_pin *out,
                bool *is_pin, struct err *err)
{
    struct pin_body b = {0};
    struct pin_ends e = {0};
    bool good = false;
    *is_pin = false;
    int rc = pin_body_make(film, c, &b, &good, err);
    if (rc != 0 || !good)
        return rc;
    pin_ends_find(&b, &e);
    bool free0 = e.kind[0] == PIN_END_FREE, free1 = e.kind[1] == PIN_END_FREE;
    if (free0 && (!free1 || e.drop[0] > e.drop[1])) {
        pin_body_flip(&b);
        pin_ends_find(&b, &e);
    }
    if (e.kind[1] == PIN_END_FREE)
        rc = pin_ends_measure(&b, &e, err);
    if (rc == 0) {
        fill_pin(&b, &e, out);
        out->confidence = pin_confidence(&b, &e);
        *is_pin = true;
    }
    pin_body_release(&b);
    return rc;
}

static int by_confidence(const void *a, const void *b)
{
    const struct find_pin *x = a, *y = b;
    if (x->confidence != y->confidence)
        return x->confidence < y->confidence ? 1 : -1;
    return x->tip.x < y->tip.x ? -1 : x->tip.x > y->tip.x;
}

int plumb_find_pins(const struct film *film, const struct find_pin_params *params,
                    struct find_pins *out, struct err *err)
{
    struct find_pin_params p;
    struct pin_candidate c[FINE_MAX];
    size_t n = 0;
    memset(out, 0, sizeof *out);
    plumb_find_pin_params_default(&p);
    if (params)
        p = *params;
    out->inverted = plumb_find_inverted(film);
    if (film->width < 64 || film->height < 64)
        return 0;
    int rc = pin_candidates(film, &defaults, c, defaults.n_fine, &n, err);
    out->at = rc == 0 ? plumb_mem_array(n, sizeof *out->at, err) : NULL;
    if (rc == 0 && !out->at)
        rc = ERR_NOMEM;
    for (size_t i = 0; i < n && rc == 0; i++) {
        bool is_pin = false;
        rc = look(film, &c[i], &out->at[out->n], &is_pin, err);
        if (rc == 0 && is_pin && out->at[out->n].confidence >= p.min_confidence)
            out->n++;
    }
    if (rc != 0) {
        plumb_find_pins_release(out);
        return rc;
    }
    qsort(out->at, out->n, sizeof *out->at, by_confidence);
    return 0;
}
