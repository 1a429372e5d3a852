/*
 * Coverage study: invented sites with every error the model speaks of - scattered marks, wrong
 * gauge sizes, objects out of the gauge's plane, a pin that leans unseen - and how often the stated
 * 95 % intervals hold the truth.
 */
#ifndef TESTS_SUPPORT_COVERAGE_H
#define TESTS_SUPPORT_COVERAGE_H

#include <stdint.h>
#include "plumbrule/measure.h"

enum { COVERAGE_IDS = 64 };
struct coverage_row {
    char id[MEAS_ID];
    double n, held, sum_z, sum_z2;
};
struct coverage {
    struct coverage_row row[COVERAGE_IDS];
    size_t n;
};
int coverage_run(size_t trials, uint64_t seed, struct coverage *out, struct err *err);

#endif
