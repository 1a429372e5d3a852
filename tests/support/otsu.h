/* Otsu's global threshold: the plain reference that the pin finder is held against. */
#ifndef SUPPORT_OTSU_H
#define SUPPORT_OTSU_H

#include <stdbool.h>
#include <stddef.h>
#include "plumbrule/film.h"
#include "plumbrule/geometry.h"

/* The first level k of the upper class that makes the variance between the classes greatest. */
size_t otsu_level(const size_t *histogram, size_t n);
/* Variance between the classes below k and from k on, of the histogram's own levels. */
double otsu_between(const size_t *histogram, size_t n, size_t k);
double otsu_within(const size_t *histogram, size_t n, size_t k);

/* Threshold, largest elongated component, rectangle of least area round it. */
struct otsu_bar {
    struct geo_point centre, dir; /* dir: either way along the long side */
    double length, width;         /* px */
};
bool otsu_find_bar(const struct film *film, struct otsu_bar *out);

#endif
