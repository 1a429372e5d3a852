/*
 * film_pair: two phantom films of one mouth, taken on different days: other sensor and pitch, tone,
 * polarity, beam, shift, turn and quarter turn; a pin in one that the other has not. The truth of
 * both tells which points belong together.
 */
#ifndef SUPPORT_FILM_PAIR_H
#define SUPPORT_FILM_PAIR_H

#include "fixtures/phantom.h"

struct film_pair_how {
    enum phantom_style style;
    uint64_t seed;
    bool pin[2];     /* in the first, in the second film */
    double turn_deg; /* the second is turned by up to so much more */
    bool other_bone; /* every trabecula of the second has grown anew, and the crest has moved */
};
void film_pair_params(const struct film_pair_how *how, struct phantom_params out[2]);
/* The first film's mouth and another's, second. alike: one drill, implant, sensor and beam in both.
 */
void film_pair_strangers(const struct film_pair_how *how, bool alike, struct phantom_params out[2]);

/* Points on the teeth that both films show: old and new px; returns how many. */
enum { FILM_PAIR_POINTS = 64 };
struct film_pair_point {
    struct geo_point old, now;
};
size_t film_pair_points(const struct phantom_truth *a, const struct phantom_truth *b,
                        struct film_pair_point *out);

#endif
