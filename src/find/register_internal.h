/*
 * Registration, for its own files: a map of the plane, the search for it afar, its refinement by
 * blocks. A map takes points of the old film to points of the new one, both in film pixels.
 */
#ifndef REGISTER_INTERNAL_H
#define REGISTER_INTERNAL_H

#include "plumbrule/find.h"
#include "find/find_internal.h"

static inline struct geo_point reg_map_point(const struct find_map *m, struct geo_point p)
{
    struct geo_point d = geo_sub(p, m->from);
    return (struct geo_point){m->to.x + m->xx * d.x + m->xy * d.y,
                              m->to.y + m->yx * d.x + m->yy * d.y};
}

/* New pixels to an old one, along a line in the mean. */
static inline double reg_map_scale(const struct find_map *m)
{
    return sqrt(fabs(m->xx * m->yy - m->xy * m->yx));
}

/* The film point of a reduced film's own. */
static inline struct geo_point reg_to_film(const struct find_image *im, struct geo_point own)
{
    return (struct geo_point){im->offset + im->scale * own.x, im->offset + im->scale * own.y};
}

/* Longer side of the films for the search from afar, px: twice fits into the grid but for a corner.
 */
enum { REG_SIDE_AFAR = 96 };

/* In place, n a power of two up to REG_FFT_MOST; no factor 1/n. sign -1: forward, +1: back. */
enum { REG_FFT_MOST = 128 };
struct reg_complex {
    double re, im;
};
/* Of n x n values, row by row; the result lies column by column, so that forth and back is as it
 * was. */
void reg_fft_square(struct reg_complex *v, size_t n, int sign);

/* A reduced film with the direction of its edges, told without their sign: the square of the unit
 * gradient as a complex number, times |g| / (|g| + mean |g|), so that the steepest edges count but
 * for 1; 0 in the outermost margin, where a holder's frame would speak. */
struct reg_field {
    struct find_image image; /* owned */
    struct reg_complex *z;
};
int reg_field_make(const struct film *film, size_t max_side, struct reg_field *out,
                   struct err *err);
void reg_field_release(struct reg_field *f);
/* How alike the edges of the two lie under the map, -1..1; 0 when too little overlaps. */
double reg_field_agreement(const struct reg_field *old_film, const struct reg_field *new_film,
                           const struct find_map *map);

/* The likeliest similarities, best first, no two alike; returns how many of max. */
int reg_search(const struct reg_field *old_film, const struct reg_field *new_film,
               struct find_map *out, size_t max, size_t *n, struct err *err);

/* Where a square block of the old film is found in the new one. */
struct reg_block {
    struct geo_point at;   /* its middle, old px */
    struct geo_point by;   /* moved against the map so far, old px */
    struct geo_point rest; /* what the fit leaves of it, old px */
    double xx, xy, yy;     /* how well each direction is told: structure tensor, largest value 1 */
    double alike;          /* normalised correlation at its place; 0: not found */
    double weight;         /* of the fit, 0..1 */
};
struct reg_blocks {
    struct reg_block *at; /* in both films and not blank */
    size_t n;
};
/* How blocks are laid and looked for; px of the reduced film. */
struct reg_lay {
    size_t half, step;
    int reach;
};
/* polarity: +1 or -1 when it is known that the films are of one tone or turned over; 0: either, and
 * the one most blocks speak for is written. */
int reg_blocks_match(const struct find_image *old_film, const struct find_image *new_film,
                     const struct find_map *map, const struct reg_lay *lay, int *polarity,
                     struct reg_blocks *out, struct err *err);
void reg_blocks_release(struct reg_blocks *b);

/* The rest of a block in the directions that it tells, old px. */
double reg_block_off(const struct reg_block *b);
/* How many count in the fit. */
size_t reg_blocks_agreeing(const struct reg_blocks *b);
/* Moves the map as most blocks say: a similarity, or affine. widest, narrowest: px of the old film
 * beyond which a block does not count, at the beginning and in the end. false: too few agree. */
bool reg_blocks_fit(struct reg_blocks *b, bool affine, double widest, double narrowest,
                    struct find_map *map);

#endif
