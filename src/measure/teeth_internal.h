/* Usual tooth sizes; see teeth.c. */
#ifndef PLUMB_TEETH_INTERNAL_H
#define PLUMB_TEETH_INTERNAL_H

#include <stdbool.h>
#include "plumbrule/sheet.h"

struct tooth_size {
    double root_mm, root_2_mm; /* buccal and lingual roots where they differ */
    double cervix_mm;          /* mesio-distal at the CEJ */
};

/* False for teeth that are not in the table. */
bool tooth_usual(int fdi, struct tooth_size *out);
/* The usual length of a root, less and more a quarter. */
void tooth_root_range(const struct tooth_size *t, double *lo, double *hi);
void tooth_cervix_range(const struct tooth_size *t, double *lo, double *hi);

#endif
