/* The second film's anatomy is the first one's, all else is drawn from another seed. */
#include "tests/support/film_pair.h"

#include "fixtures/phantom_internal.h"

static const uint64_t other_seed = 7700000, stranger_seed = 5000;

/* Puts the film where the anatomy's shadow falls, up to 2 mm off. */
static void place(struct ph_rng *rng, struct phantom_params *p)
{
    struct phantom_beam *b = &p->beam;
    b->film_dx_mm = b->film_dy_mm = 0.0;
    struct ph_view v = ph_view_of(p);
    struct geo_point at = ph_project(&v, (struct vec3){0, 0, p->bone.z_mm});
    b->film_dx_mm =
        ph_rng_uniform(rng, -2.0, 2.0) - (at.x - 0.5 * ((double)v.width - 1.0)) * v.pitch;
    b->film_dy_mm =
        ph_rng_uniform(rng, -2.0, 2.0) - (at.y - 0.5 * ((double)v.height - 1.0)) * v.pitch;
}

static void grow_anew(struct ph_rng *rng, struct phantom_bone *b)
{
    b->texture_seed = ph_rng_next(rng);
    b->crest_left_mm += ph_rng_uniform(rng, -0.3, 1.0);
    b->crest_right_mm += ph_rng_uniform(rng, -0.3, 1.0);
}

static void same_mouth(const struct phantom_params *a, struct phantom_params *b)
{
    for (int i = 0; i < PHANTOM_TEETH; i++)
        b->tooth[i] = a->tooth[i];
    b->mesial_left = a->mesial_left;
    b->bone = a->bone;
    b->detector.mirrored = a->detector.mirrored;
    b->clutter.implant = a->clutter.implant;
    b->clutter.implant_x_mm = a->clutter.implant_x_mm;
    b->clutter.implant_y_mm = a->clutter.implant_y_mm;
    b->clutter.implant_angle_deg = a->clutter.implant_angle_deg;
    b->clutter.implant_length_mm = a->clutter.implant_length_mm;
    b->clutter.implant_diameter_mm = a->clutter.implant_diameter_mm;
}

/* Upside down is told by the teeth: a quarter turn more or less is what a sensor does. */
void film_pair_params(const struct film_pair_how *how, struct phantom_params out[2])
{
    struct ph_rng rng;
    ph_rng_seed(&rng, how->seed + other_seed);
    phantom_params_style(how->style, how->seed, how->pin[0], &out[0]);
    phantom_params_style(how->style, how->seed + other_seed, how->pin[1], &out[1]);
    same_mouth(&out[0], &out[1]);
    if (how->other_bone)
        grow_anew(&rng, &out[1].bone);
    struct phantom_beam *b = &out[1].beam;
    b->tilt_h_deg = out[0].beam.tilt_h_deg + ph_rng_uniform(&rng, -3.0, 3.0);
    b->tilt_v_deg = out[0].beam.tilt_v_deg + ph_rng_uniform(&rng, -4.0, 4.0);
    b->film_turn_deg = out[0].beam.film_turn_deg + how->turn_deg * ph_rng_uniform(&rng, -1.0, 1.0);
    place(&rng, &out[1]);
}

void film_pair_strangers(const struct film_pair_how *how, bool alike, struct phantom_params out[2])
{
    struct phantom_params other[2];
    struct film_pair_how stranger = *how;
    stranger.seed += stranger_seed;
    film_pair_params(how, out);
    film_pair_params(&stranger, other);
    out[1] = other[1];
    if (!alike)
        return;
    out[1].pin = out[0].pin;
    out[1].detector = out[0].detector;
    out[1].clutter = out[0].clutter;
    out[1].beam = out[0].beam;
}

static bool shown(const struct phantom_truth *t, struct geo_point p)
{
    return p.x >= 0.0 && p.y >= 0.0 && p.x <= (double)t->width - 1.0 &&
           p.y <= (double)t->height - 1.0;
}

struct list {
    const struct phantom_truth *a, *b;
    struct film_pair_point *out;
    size_t n;
};

static void add(struct list *l, struct geo_point old, struct geo_point now)
{
    if (l->n < FILM_PAIR_POINTS && shown(l->a, old) && shown(l->b, now))
        l->out[l->n++] = (struct film_pair_point){old, now};
}

static void add_tooth(struct list *l, const struct phantom_tooth_truth *a,
                      const struct phantom_tooth_truth *b)
{
    if (!a->present || !b->present)
        return;
    add(l, a->cej_near, b->cej_near);
    add(l, a->apex, b->apex);
    for (size_t i = 8; i < PHANTOM_SIDE; i += 8)
        add(l, a->near[i], b->near[i]);
    for (size_t i = a->n_far_hidden; i < PHANTOM_SIDE; i += 8)
        add(l, a->far[i], b->far[i]);
}

size_t film_pair_points(const struct phantom_truth *a, const struct phantom_truth *b,
                        struct film_pair_point *out)
{
    struct list l = {a, b, out, 0};
    add_tooth(&l, &a->mesial, &b->mesial);
    add_tooth(&l, &a->distal, &b->distal);
    return l.n;
}
