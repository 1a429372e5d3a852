/*
 * Usual tooth sizes, for plausibility only, never as a scale: averages with a wide allowance.
 *
 * Nelson and Ash, Wheeler's Dental Anatomy, Table 1-1 (sizes for carving), root lengths and
 * widths at the cervix, mm. Central and lateral incisors, upper premolars and first molar were
 * read in copies of the table, the other rows are from memory.
 */
#include "measure/teeth_internal.h"

#include <math.h>

/* By arch (upper, lower) and place from the midline. */
static const struct tooth_size usual[2][8] = {
    {{13.0, 13.0, 7.0},
     {13.0, 13.0, 5.0},
     {17.0, 17.0, 5.5},
     {14.0, 14.0, 5.0},
     {14.0, 14.0, 5.0},
     {12.0, 13.0, 8.0},
     {11.0, 12.0, 7.0},
     {11.0, 11.0, 6.5}},
    {{12.5, 12.5, 3.5},
     {14.0, 14.0, 4.0},
     {16.0, 16.0, 5.5},
     {14.0, 14.0, 5.0},
     {14.5, 14.5, 5.0},
     {14.0, 14.0, 9.0},
     {13.0, 13.0, 8.0},
     {11.0, 11.0, 7.5}},
};

/* Other schools and real teeth differ by so much; common practice, no source. */
static const double allowance = 0.25;

bool tooth_usual(int fdi, struct tooth_size *out)
{
    int quadrant = fdi / 10, place = fdi % 10;
    if (!plumb_tooth_valid(fdi) || quadrant > 4) /* no deciduous teeth in the table */
        return false;
    *out = usual[plumb_tooth_is_upper(fdi) ? 0 : 1][place - 1];
    return true;
}

void tooth_root_range(const struct tooth_size *t, double *lo, double *hi)
{
    *lo = fmin(t->root_mm, t->root_2_mm) * (1.0 - allowance);
    *hi = fmax(t->root_mm, t->root_2_mm) * (1.0 + allowance);
}

void tooth_cervix_range(const struct tooth_size *t, double *lo, double *hi)
{
    *lo = t->cervix_mm * (1.0 - allowance);
    *hi = t->cervix_mm * (1.0 + allowance);
}
