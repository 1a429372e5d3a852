/* The coverage table: usage bench_coverage [TRIALS [SEED]]. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "tests/support/coverage.h"

int main(int argc, char **argv)
{
    size_t trials = argc > 1 ? (size_t)strtoul(argv[1], NULL, 10) : 2000;
    uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
    struct coverage c;
    struct err err = {0};
    if (coverage_run(trials, seed, &c, &err) != 0) {
        fprintf(stderr, "bench_coverage: %s\n", err.text);
        return 1;
    }
    printf("Coverage: share of stated 95 %% intervals that hold the truth, %zu simulated sheets, "
           "seed %llu\n",
           trials, (unsigned long long)seed);
    printf("  %-24s %6s %9s %8s %8s\n", "quantity", "n", "held %", "mean z", "sd z");
    for (size_t i = 0; i < c.n; i++) {
        const struct coverage_row *r = &c.row[i];
        double mean = r->sum_z / r->n, sd = sqrt(r->sum_z2 / r->n - mean * mean);
        printf("  %-24s %6.0f %8.1f%% %8.2f %8.2f\n", r->id, r->n, 100.0 * r->held / r->n, mean,
               sd);
    }
    return 0;
}
