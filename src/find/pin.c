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
                                           .min_aspect = 1.3,
                                           .n_cells = 160,
                                           .n_coarse = 24,
                                           .n_fine = 8};
static const double hopeless = 0.01; /* first opinion below which nothing is measured */
static const double likely = 0.5;    /* first opinion from which a body is the pin itself */
static const double sure = 0.9; /* a pin so likely of one polarity: the other is not searched */
static const double whole_share = 0.5; /* of the run in the reduced film: less is cut short */
static const double squat_aspect = 0.8;
/* Standard uncertainty of an end's own shift: a share of it, and what the model leaves out, as a
 * share of the width (study on phantoms, see pin_ends.c). */
/* Surroundings unlike on both sides shift the flanks unlike: a share of the flanks' shift. */
static const double uneven_sides = 0.05;
static const double end_share = 0.4, end_floor = 0.010;
static const double near_cells = 3.5;  /* reduced px: of the 5 that the first window reaches */
static const double shank_scale = 1.5; /* reduced px */
static const double same_share = 0.15; /* widths: ends, or widths, nearer than this are the same */
enum { FINE_MAX = 8, SIDE_MIN = 64, CHAIN_MAX = 2, OFTEN = 2 };

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
    out->axis.u_offset = hypot(b->axis.u_offset, uneven_sides * 0.5 * (out->width - b->width));
    double h = fmin(reach, out->axis.u_offset / fmax(1e-12, b->axis.u_angle));
    out->ends[0] = plumb_geo_on(&b->axis, -h);
    out->ends[1] = plumb_geo_on(&b->axis, h);
    out->u_ends = sqrt(2.0) * fmax(out->axis.u_offset, h * b->axis.u_angle);
}

/* The flanks as fitted, moved outwards to where the cylinder ends. */
static void fill_flanks(const struct pin_body *b, double s0, double s1, struct find_pin *out)
{
    double shift = 0.5 * (out->width - b->width);
    for (int k = 0; k < 2; k++) {
        const struct pin_flank *f = &b->flank[k];
        double a = f->a + (k == 0 ? shift : -shift);
        out->flank[k][0] = find_strip_point(&b->strip, s0, a + f->b * s0);
        out->flank[k][1] = find_strip_point(&b->strip, s1, a + f->b * s1);
    }
    out->u_flank = hypot(fmax(b->u_flank[0], b->u_flank[1]), 0.5 * out->u_width);
}

/* Ends moved as the flanks are: what is metal begins farther out than its steepest place. */
static void fill_ends(const struct pin_body *b, const struct pin_ends *e, struct find_pin *out)
{
    double shift = 0.5 * (out->width - b->width), u = end_share * shift;
    out->tip = on_axis(b, e->tip + e->tip_gain * shift);
    out->u_tip = hypot(hypot(e->u_tip, e->tip_gain * u), end_floor * out->width);
    out->tip_shape = e->shape;
    out->has_shoulder = e->has_shoulder;
    out->has_stop = e->has_stop;
    if (e->has_shoulder) {
        out->shoulder = on_axis(b, e->shoulder + e->shoulder_gain * shift);
        out->u_shoulder = hypot(hypot(e->u_shoulder, e->shoulder_gain * u), end_floor * out->width);
    }
    if (e->has_stop) {
        out->stop = on_axis(b, e->stop);
        out->u_stop = hypot(e->u_stop, end_floor * out->width);
    }
}

/* Height of the tip beyond the cylinder, in widths: a hemisphere's, that of a drill's point of 70
 * to 130 degrees in the middle. */
static const double tip_share[] = {[FIND_TIP_UNKNOWN] = 0.25,
                                   [FIND_TIP_FLAT] = 0.0,
                                   [FIND_TIP_ROUND] = 0.5,
                                   [FIND_TIP_CONE] = 0.4};

static void fill_pin(const struct pin_body *b, const struct pin_ends *e, struct find_pin *out)
{
    const struct find_strip *st = &b->strip;
    double s0 = st->s0 + st->ds * (double)b->i0, s1 = st->s0 + st->ds * (double)b->i1;
    memset(out, 0, sizeof *out);
    pin_width_fit(b, out);
    fill_axis(b, 0.5 * (s1 - s0), out);
    fill_ends(b, e, out);
    /* The run of edge rows may stop early, start late, or go on where the tip rounds off. */
    double top = e->has_shoulder ? plumb_geo_along(&st->line, out->shoulder) : e->top;
    double end = plumb_geo_along(&st->line, out->tip) - tip_share[out->tip_shape] * out->width;
    fill_flanks(b, top, fmax(top, end), out);
    out->length = geo_dot(geo_sub(out->tip, e->has_shoulder ? out->shoulder : on_axis(b, e->top)),
                          b->axis.dir);
}

static double run_length(const struct pin_body *b)
{
    return b->strip.ds * (double)(b->i1 - b->i0);
}

/* A body followed in the reduced film that may be worth measuring. */
struct lead {
    struct pin_body body;
    enum pin_end_kind kind[2];
    struct pin_features features;
    double score;
};

/* The judge's first opinion, from the reduced film; 0: no free end, or too squat. What stands on
 * the axis of a shank (squat_ok) may be short: a ball or a crown before the pin may hide a part. */
static double lead_score(struct lead *l, const struct pin_ends *e, const struct find_scene *scene,
                         bool squat_ok)
{
    const struct pin_body *b = &l->body;
    double least = squat_ok ? squat_aspect : defaults.min_aspect;
    if (e->kind[1] != PIN_END_FREE || run_length(b) < least * b->width)
        return 0.0;
    pin_features_of(b, e, scene, &l->features);
    return pin_confidence(&l->features);
}

static int follow(const struct find_image *small, const struct find_scene scene[2],
                  const struct pin_candidate *c, double slope, struct lead *out, struct err *err)
{
    struct pin_ends e;
    bool good = false;
    out->score = 0.0;
    int rc = pin_body_follow(small, c, slope, &out->body, &good, err);
    if (rc != 0 || !good)
        return rc;
    pin_ends_find(&out->body, &e);
    pin_ends_turn(&out->body, scene[c->inverted].air, &e);
    out->kind[0] = e.kind[0];
    out->kind[1] = e.kind[1];
    out->score = lead_score(out, &e, &scene[c->inverted], c->limited);
    return 0;
}

/* Flanks of another width are those of another body on the same axis: a handle, a shank. */
static bool is_same_width(const struct pin_body *a, const struct pin_body *b)
{
    return fabs(a->width - b->width) < same_share * a->width;
}

static bool same_body(const struct pin_body *a, const struct pin_body *b)
{
    struct geo_point p = find_strip_point(&b->strip, pin_body_s(b, (b->i0 + b->i1) / 2), 0.0);
    double along = plumb_geo_along(&a->axis, p);
    double reach = 0.5 * a->strip.ds * (double)(a->i1 - a->i0);
    return a->im->inverted == b->im->inverted && fabs(along) < reach &&
           fabs(plumb_geo_across(&a->axis, p)) < 0.15 * a->width &&
           fabs(geo_cross(a->axis.dir, b->axis.dir)) < 0.06 && is_same_width(a, b);
}

/* Where a candidate has led to: followed once, good or not. */
struct trail {
    struct geo_point from, to;
    double width;
    bool inverted;
    int times; /* so many candidates have led here */
};

static struct trail trail_of(const struct pin_body *b)
{
    return (struct trail){.from = find_strip_point(&b->strip, pin_body_s(b, b->i0), 0.0),
                          .to = find_strip_point(&b->strip, pin_body_s(b, b->i1), 0.0),
                          .width = b->width,
                          .inverted = b->im->inverted,
                          .times = 1};
}

static bool same_trail(const struct trail *a, const struct trail *b)
{
    double near = same_share * a->width;
    return a->inverted == b->inverted && fabs(a->width - b->width) < near &&
           ((geo_dist(a->from, b->from) < near && geo_dist(a->to, b->to) < near) ||
            (geo_dist(a->from, b->to) < near && geo_dist(a->to, b->from) < near));
}

/* Are the flanks of t within the window of c, half at least of it, at the point p of t's axis? */
static bool in_window(const struct trail *t, struct geo_point p, const struct pin_candidate *c,
                      double unit)
{
    double off = fabs(plumb_geo_across(&c->axis, p)), gap = 0.5 * fabs(t->width - c->width);
    return off + gap < fmax(0.15 * c->width, near_cells * unit);
}

/* Does the candidate run within the body all along? */
static bool runs_within(const struct trail *t, const struct pin_candidate *c)
{
    return fmax(fabs(plumb_geo_across(&c->axis, t->from)),
                fabs(plumb_geo_across(&c->axis, t->to))) < 0.5 * t->width;
}

/* Would the candidate lead to where another one has led? Surely with the flanks in its window; of
 * those that run within a body, as many as often lead to it, what is left leads to it again. */
static bool is_followed(const struct trail *t, size_t n, const struct pin_candidate *c, double unit)
{
    for (size_t i = 0; i < n; i++) {
        if (t[i].inverted != c->inverted)
            continue;
        if (in_window(&t[i], t[i].from, c, unit) && in_window(&t[i], t[i].to, c, unit))
            return true;
        if (t[i].times >= OFTEN && runs_within(&t[i], c))
            return true;
    }
    return false;
}

/* Puts l in its place among the n best, one of each body; takes it, or releases it. */
static size_t lead_insert(struct lead *best, size_t n, size_t max, struct lead *l)
{
    size_t at = 0;
    bool drop = l->score <= 0.0;
    while (!drop && at < n && best[at].score >= l->score)
        drop = same_body(&best[at++].body, &l->body);
    if (drop || at == max) {
        pin_body_release(&l->body);
        return n;
    }
    size_t twin = at;
    while (twin < n && !same_body(&best[twin].body, &l->body))
        twin++;
    size_t last = twin < n ? twin : n < max ? n : max - 1;
    if (last < n)
        pin_body_release(&best[last].body);
    memmove(&best[at + 1], &best[at], (last - at) * sizeof *best);
    best[at] = *l;
    memset(l, 0, sizeof *l);
    return last < n ? n : n + 1;
}

struct search {
    const struct find_image *view; /* [0] as is, [1] inverted */
    const struct find_scene *scene;
    const struct pin_candidate *candidate; /* of both polarities */
    size_t n_candidates;
    double slope;
    size_t followed; /* candidates */
    struct trail *trail;
    size_t n_trail, trail_max;
    struct lead best[FINE_MAX];
    size_t n;
};

static void note_trail(struct search *s, const struct pin_body *b)
{
    struct trail t = trail_of(b);
    size_t i = 0;
    while (i < s->n_trail && !same_trail(&s->trail[i], &t))
        i++;
    if (i < s->n_trail)
        s->trail[i].times++;
    else if (i < s->trail_max)
        s->trail[s->n_trail++] = t;
}

/* Straight, but no pin by itself: a shank perhaps, whose pin follows on the same axis. */
static bool goes_on(const struct lead *l)
{
    const struct pin_body *b = &l->body;
    return l->score < likely &&
           fmin(b->flank[0].scale, b->flank[1].scale) < shank_scale * b->im->scale;
}

/* Keeps what a candidate has led to, and goes on beyond its open ends. depth: bodies before. */
static int keep_lead(struct search *s, struct lead *l, int depth, struct err *err);

static int go_beyond(struct search *s, const struct pin_body *b, int way, int depth,
                     struct err *err)
{
    struct pin_candidate c;
    struct lead next = {0};
    bool found = false;
    int rc = pin_body_beyond(b, way, s->slope, &c, &found, err);
    if (rc == 0 && found)
        rc = follow(&s->view[c.inverted], s->scene, &c, s->slope, &next, err);
    return rc == 0 && next.body.im ? keep_lead(s, &next, depth + 1, err) : rc;
}

static int keep_lead(struct search *s, struct lead *l, int depth, struct err *err)
{
    int rc = 0;
    if (depth < CHAIN_MAX && goes_on(l)) {
        for (int k = 0; k < 2 && rc == 0; k++)
            if (l->kind[k] == PIN_END_OPEN)
                rc = go_beyond(s, &l->body, k == 0 ? -1 : 1, depth, err);
    }
    note_trail(s, &l->body);
    s->n = lead_insert(s->best, s->n, defaults.n_fine, l);
    return rc;
}

static int follow_one(struct search *s, const struct pin_candidate *c, struct err *err)
{
    struct lead l = {0};
    if (is_followed(s->trail, s->n_trail, c, s->view[0].scale))
        return 0;
    s->followed++;
    int rc = follow(&s->view[c->inverted], s->scene, c, s->slope, &l, err);
    return rc == 0 && l.body.im ? keep_lead(s, &l, 0, err) : rc;
}

/* The leads of one polarity. */
static int find_leads(struct search *s, bool inverted, struct err *err)
{
    int rc = 0;
    s->followed = s->n_trail = 0;
    for (size_t i = 0; i < s->n_candidates && rc == 0 && s->followed < defaults.n_coarse; i++)
        if (s->candidate[i].inverted == inverted)
            rc = follow_one(s, &s->candidate[i], err);
    return rc;
}

static void drop_leads(struct search *s)
{
    for (size_t i = 0; i < s->n; i++)
        pin_body_release(&s->best[i].body);
    s->n = 0;
}

/* One way of measuring; *cut: the run is as wide as in the reduced film, but cut short. */
static int measure_run(const struct find_image *im, const struct lead *lead, enum pin_run run,
                       const struct find_scene *scene, double least, struct find_pin *out,
                       bool *cut, struct err *err)
{
    struct pin_body b = {0};
    struct pin_ends e = {0};
    struct pin_features f;
    bool good = false;
    int rc = pin_body_measure(im, &lead->body, run, &b, &good, err);
    out->confidence = 0.0;
    *cut = false;
    if (rc != 0 || !good)
        return rc;
    bool same = is_same_width(&b, &lead->body);
    *cut = same && run_length(&b) < whole_share * run_length(&lead->body);
    pin_ends_find(&b, &e);
    if (e.kind[1] == PIN_END_FREE)
        rc = pin_ends_measure(&b, &e, err);
    if (rc == 0) {
        pin_features_of(&b, &e, scene, &f);
        if (same)
            pin_features_blend(&f, &lead->features);
        double confidence = pin_confidence(&f);
        if (confidence >= least)
            fill_pin(&b, &e, out);
        out->confidence = confidence;
    }
    pin_body_release(&b);
    return rc;
}

/* Where the lines from the tip lose the flanks and leave no likely pin, a drill's first land and
 * flute may have led them astray: then the lines through all of it are tried too. */
static int measure(const struct film *film, const struct lead *lead,
                   const struct find_scene scene[2], double least, struct find_pin *out,
                   struct err *err)
{
    struct find_image im = find_image_of(film, lead->body.im->inverted);
    const struct find_scene *sc = &scene[im.inverted];
    struct find_pin whole;
    bool cut, ignored;
    int rc = measure_run(&im, lead, PIN_RUN_FROM_TIP, sc, least, out, &cut, err);
    if (rc != 0 || out->confidence >= likely || !cut)
        return rc;
    rc = measure_run(&im, lead, PIN_RUN_WHOLE, sc, fmax(least, out->confidence), &whole, &ignored,
                     err);
    if (rc == 0 && whole.confidence > out->confidence)
        *out = whole;
    return rc;
}

struct judged {
    struct find_pin pin;
    bool inverted;
};

static int by_confidence(const void *a, const void *b)
{
    const struct find_pin *x = &((const struct judged *)a)->pin;
    const struct find_pin *y = &((const struct judged *)b)->pin;
    if (x->confidence != y->confidence)
        return x->confidence < y->confidence ? 1 : -1;
    return x->tip.x < y->tip.x ? -1 : x->tip.x > y->tip.x;
}

/* The same pin seen as pin, as pin with shank, ... */
static bool is_twin(const struct find_pin *a, const struct find_pin *b)
{
    double off = fabs(plumb_geo_across(&a->axis, b->axis.at));
    return off < 0.5 * (a->width + b->width) && fabs(geo_cross(a->axis.dir, b->axis.dir)) < 0.1;
}

/* One of each, best first, of the polarity of the best one. */
static int list_pins(struct judged *j, size_t n, struct find_pins *out, struct err *err)
{
    qsort(j, n, sizeof *j, by_confidence);
    out->at = plumb_mem_array(n, sizeof *out->at, err);
    if (!out->at)
        return ERR_NOMEM;
    for (size_t i = 0; i < n; i++) {
        bool drop = j[i].inverted != j[0].inverted;
        for (size_t k = 0; k < out->n && !drop; k++)
            drop = is_twin(&out->at[k], &j[i].pin);
        if (!drop)
            out->at[out->n++] = j[i].pin;
    }
    if (n > 0)
        out->inverted = j[0].inverted;
    return 0;
}

/* Adds what the leads are when they are measured. */
static int measure_leads(const struct film *film, const struct search *s, double least,
                         struct judged *j, size_t *n, struct err *err)
{
    for (size_t i = 0; i < s->n && s->best[i].score > hopeless; i++) {
        const struct lead *l = &s->best[i];
        struct judged *to = &j[*n];
        int rc = measure(film, l, s->scene, least, &to->pin, err);
        if (rc != 0)
            return rc;
        to->inverted = l->body.im->inverted;
        *n += to->pin.confidence >= least && to->pin.confidence > 0.0;
    }
    return 0;
}

static bool is_sure(const struct judged *j, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (j[i].pin.confidence >= sure)
            return true;
    return false;
}

/* The likelier polarity first; the other one too unless that has given a pin for sure. */
static int search_both(const struct film *film, struct search *s, bool first, double least,
                       struct find_pins *out, struct err *err)
{
    struct judged j[2 * FINE_MAX];
    size_t n = 0;
    int rc = 0;
    for (int k = 0; k < 2 && rc == 0 && !is_sure(j, n); k++) {
        rc = find_leads(s, first != (k == 1), err);
        if (rc == 0)
            rc = measure_leads(film, s, least, j, &n, err);
        drop_leads(s);
    }
    return rc == 0 ? list_pins(j, n, out, err) : rc;
}

static int search_film(const struct film *film, const struct find_image view[2], double least,
                       struct find_pins *out, struct err *err)
{
    struct find_scene scene[2];
    size_t most = 2 * defaults.n_cells;
    struct search s = {.view = view, .scene = scene, .trail_max = 2 * most};
    struct pin_candidate *c = plumb_mem_array(most, sizeof *c, err);
    int rc = ERR_NOMEM;
    s.candidate = c;
    s.trail = plumb_mem_array(s.trail_max, sizeof *s.trail, err);
    find_scene_of(&view[0], &scene[0]);
    find_scene_of(&view[1], &scene[1]);
    if (c && s.trail)
        rc = pin_candidates(&view[0], &defaults, c, &s.n_candidates, &s.slope, err);
    if (rc == 0)
        rc = search_both(film, &s, out->inverted, least, out, err);
    free(s.trail);
    free(c);
    return rc;
}

int plumb_find_pins(const struct film *film, const struct find_pin_params *params,
                    struct find_pins *out, struct err *err)
{
    struct find_pin_params p;
    struct find_image view[2] = {0};
    memset(out, 0, sizeof *out);
    plumb_find_pin_params_default(&p);
    if (params)
        p = *params;
    out->inverted = plumb_find_inverted(film);
    if (film->width < SIDE_MIN || film->height < SIDE_MIN)
        return 0;
    int rc = find_image_reduce(film, defaults.small_side, &view[0], err);
    if (rc != 0)
        return rc;
    view[1] = view[0];
    view[1].inverted = true;
    rc = search_film(film, view, p.min_confidence, out, err);
    find_image_release(&view[0]);
    if (rc != 0)
        plumb_find_pins_release(out);
    return rc;
}
