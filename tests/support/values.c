/* A growing list of numbers for the benches, with its quantiles (nearest rank). */
#include "tests/support/values.h"

#include <math.h>
#include <stdlib.h>

enum { FIRST = 256, NO_MEMORY = 70 };

void values_add(struct values *v, double x)
{
    if (v->n == v->cap) {
        v->cap = v->cap ? 2 * v->cap : FIRST;
        v->at = realloc(v->at, v->cap * sizeof *v->at);
        if (!v->at)
            exit(NO_MEMORY);
    }
    v->at[v->n++] = x;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double values_quantile(struct values *v, double q)
{
    if (v->n == 0)
        return (double)NAN;
    qsort(v->at, v->n, sizeof *v->at, by_size);
    return v->at[(size_t)(q * (double)(v->n - 1) + 0.5)];
}
