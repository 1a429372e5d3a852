/*
 * The coverage tables: usage bench_coverage [SHEETS [SEED [FILMS [STYLE]]]].
 * STYLE 0 easy, 1 typical, 2 hard; without it all three. Environment: BENCH_JOBS processes for the
 * films (1); VERBOSE=Z prints every value on a film that is more than Z u off.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/support/coverage.h"

static const char *const style_name[] = {"easy", "typical", "hard"};
enum { JOBS_MAX = 64 };

static void fail(const struct err *err)
{
    fprintf(stderr, "bench_coverage: %s\n", err->text);
    exit(1);
}

static void sheets(size_t trials, uint64_t seed)
{
    struct coverage c;
    struct err err = {0};
    if (coverage_run(trials, seed, &c, &err) != 0)
        fail(&err);
    printf("Coverage: share of stated 95 %% intervals that hold the truth, %zu simulated sheets, "
           "seed %llu\n",
           trials, (unsigned long long)seed);
    coverage_print(&c);
}

/* Every jobs-th film, from the first on. */
static void some_films(enum phantom_style style, uint64_t seed, size_t n, size_t first, size_t jobs,
                       struct coverage_films *out)
{
    struct err err = {0};
    const char *z = getenv("VERBOSE");
    double tell_z = z ? strtod(z, NULL) : HUGE_VAL;
    for (size_t i = first; i < n; i += jobs)
        if (coverage_film(style, seed + i, tell_z, out, &err) != 0)
            fail(&err);
}

/* A child writes its sums into a pipe. */
static int start_child(enum phantom_style style, uint64_t seed, size_t n, size_t first, size_t jobs)
{
    static struct coverage_films sums;
    int end[2];
    if (pipe(end) != 0)
        exit(71);
    fflush(stdout);
    pid_t pid = fork();
    if (pid < 0)
        exit(71);
    if (pid > 0) {
        close(end[1]);
        return end[0];
    }
    some_films(style, seed, n, first, jobs, &sums);
    fflush(stdout);
    FILE *to = fdopen(end[1], "wb");
    bool done = to != NULL && fwrite(&sums, sizeof sums, 1, to) == 1 && fclose(to) == 0;
    _exit(done ? 0 : 74);
}

static void films(enum phantom_style style, uint64_t seed, size_t n, size_t jobs)
{
    static struct coverage_films all, part;
    int from[JOBS_MAX];
    all = (struct coverage_films){0};
    for (size_t k = 1; k < jobs; k++)
        from[k] = start_child(style, seed, n, k, jobs);
    some_films(style, seed, n, 0, jobs, &all);
    for (size_t k = 1; k < jobs; k++) {
        FILE *f = fdopen(from[k], "rb");
        if (f == NULL || fread(&part, sizeof part, 1, f) != 1)
            exit(74);
        fclose(f);
        coverage_films_add(&all, &part);
    }
    while (wait(NULL) > 0)
        continue;
    printf("\nCoverage on films: %zu %s phantoms, seeds %llu on; pin, roots and crests by the "
           "finders,\nCEJ, apex and bound by hand\n",
           n, style_name[style], (unsigned long long)seed);
    printf("  stated: pins lean by %.1f deg, beams are out of square by %.1f\n",
           coverage_stated[style].lean_deg, coverage_stated[style].beam_deg);
    printf("  %.0f with both neighbours; left out: no pin found %.0f, another thing %.0f. Not "
           "the\n  pin's shoulder or stop: %.0f. Roots refused %.0f of %.0f, crests %.0f of %.0f\n",
           all.films, all.no_pin, all.wrong_pin, all.wrong_shoulder, all.roots_refused, all.roots,
           all.crests_refused, all.crests);
    coverage_print(&all.c);
}

int main(int argc, char **argv)
{
    size_t trials = argc > 1 ? (size_t)strtoul(argv[1], NULL, 10) : 2000;
    uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
    size_t n = argc > 3 ? (size_t)strtoul(argv[3], NULL, 10) : 200;
    size_t first = argc > 4 ? (size_t)strtoul(argv[4], NULL, 10) : PHANTOM_EASY;
    size_t last = argc > 4 ? first : PHANTOM_HARD;
    const char *want = getenv("BENCH_JOBS");
    size_t jobs = want ? (size_t)strtoul(want, NULL, 10) : 1;
    if (last > PHANTOM_HARD || jobs < 1 || jobs > JOBS_MAX)
        return 64;
    if (trials > 0)
        sheets(trials, seed);
    for (size_t style = first; n > 0 && style <= last; style++)
        films((enum phantom_style)style, seed, n, jobs);
    return 0;
}
