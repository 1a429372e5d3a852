/*
 * real_film: the two real periapical films without a pin (DenPAR, Rasnayaka et al., Scientific Data
 * 12:1615 (2025)), and what becomes of films on their way: turned, resampled, compressed, inverted.
 * They lie outside the tree: ../shared/films, or where PLUMB_FILMS points.
 */
#ifndef SUPPORT_REAL_FILM_H
#define SUPPORT_REAL_FILM_H

#include <stdbool.h>
#include <stddef.h>
#include "plumbrule/film.h"

enum { REAL_FILMS = 2 };

/* Film i as it is stored; false when the folder is not there. Free with plumb_film_release. The
 * second one is of an upper jaw: apical is up. */
bool real_film_load(size_t i, struct film *out);

struct film_change {
    unsigned turn; /* 0..7: bit 0 left for right, 1 upside down, 2 x for y */
    double scale;  /* 1: as it is */
    int jpeg;      /* quality, 0: none */
    bool inverted;
};
/* A changed copy of the grey alone; free out->grey. Ends the program when memory fails. */
void film_changed(const struct film *film, const struct film_change *c, struct film *out);

#endif
