/*
 * plain_pin: a second, plain drawer of pins, independent of fixtures/phantom: a cylinder's chord
 * (or a flat bar) laid over any film by x-ray transmission. It serves films that the phantom
 * generator did not make: pins drawn over real films, over plain gradients, over noise. Also turns
 * and inverts films.
 */
#ifndef SUPPORT_PLAIN_PIN_H
#define SUPPORT_PLAIN_PIN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "plumbrule/film.h"
#include "plumbrule/geometry.h"

enum plain_end { PLAIN_FLAT, PLAIN_ROUND, PLAIN_CONE };

struct plain_pin {
    struct geo_point tip; /* the axis' end, px */
    double angle_deg;     /* of the direction crown -> tip, from image-down, + clockwise */
    double diameter;      /* px */
    double length;        /* px, tip to shoulder */
    enum plain_end end;
    double mu; /* absorption per px of metal */
    bool bar;  /* flat bar: absorption constant across (mu times the diameter) */
    double collar_diameter, collar_length; /* px, 0: none */
    double shank_diameter; /* px, beyond the collar (or the shoulder); 0: the pin ends there */
    double shank_length;   /* px */
    double stop_at, stop_thick, stop_diameter, stop_mu; /* px from the tip to its apical face */
    double flute_depth, flute_lead; /* px: twist drill's silhouette; 0: smooth */
    double blur;                    /* px, standard deviation */
    double ceiling;                 /* 0..1: brightest level the detector gives */
};

/* Small counter-based generator: the same on every machine. */
struct plain_rng {
    uint64_t state;
};
double plain_uniform(struct plain_rng *r, double lo, double hi);
double plain_normal(struct plain_rng *r);

/* A film of w x h of one grey; 0 on success. Release with plumb_film_release. */
int plain_film_new(struct film *f, size_t w, size_t h, double grey);
/* Slow waves and broad bright columns (roots of no particular shape), 0..1 levels. */
void plain_background(struct film *f, struct plain_rng *r);
void plain_noise(struct film *f, struct plain_rng *r, double sd);
int plain_pin_draw(struct film *f, const struct plain_pin *p);
struct geo_point plain_pin_dir(const struct plain_pin *p);
/* dst: src in orientation 1..8 of the TIFF tag. */
int plain_film_turn(const struct film *src, unsigned orientation, struct film *dst);
void plain_film_invert(struct film *f);

#endif
