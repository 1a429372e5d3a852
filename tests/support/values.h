/* A growing list of numbers for the benches, with its quantiles. */
#ifndef VALUES_H
#define VALUES_H

#include <stddef.h>

struct values {
    double *at; /* owned: free it */
    size_t n, cap;
};
/* Ends the program when there is no memory. */
void values_add(struct values *v, double x);
/* Nearest rank; sorts the list. NaN when it is empty. */
double values_quantile(struct values *v, double q);

#endif
