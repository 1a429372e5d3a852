/*
 * The pin finder against the phantoms' truth, by style and by what else is in the film, beside a
 * plain reference on the same films (Otsu's threshold, largest long piece, rectangle of least
 * area). Then pins drawn into real films (hybrid), and the real films alone, which have no pin:
 * turned, mirrored, inverted, resampled, compressed. Last how often a pin of some confidence is
 * right, and the memory that finding takes.
 * usage: bench_pin [FILMS-A-STYLE [FIRST-SEED [STYLE]]]     STYLE: easy typical hard hybrid real
 *
 * Found: the first pin listed lies on the true one (axis within 2 degrees and 0.15 widths, tip
 * within 0.6 widths, pointing the right way). False: a film without a pin in which one is listed.
 * Covered: share of true values within +-1.96 u. Time: of the process, a million pixels.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include "fixtures/phantom.h"
#include "plumbrule/find.h"
#include "tests/support/otsu.h"
#include "tests/support/real_film.h"
#include "tests/support/values.h"

static const double deg = 57.29577951308232;
static const double k95 = 1.96;
static const double bins[] = {0.5, 0.7, 0.85, 0.95, 0.99, 1.01}; /* of confidence */
enum { WORDS = 40, STYLES = 3, BINS = sizeof bins / sizeof *bins - 1 };

/* An error and its standard uncertainty. */
struct quantity {
    struct values size, signed_, z;
};

static void add_error(struct quantity *q, double error, double u, double scale)
{
    values_add(&q->size, fabs(error) * scale);
    values_add(&q->signed_, error * scale);
    values_add(&q->z, fabs(error) / u);
}

static double covered(const struct quantity *q)
{
    size_t n = 0;
    for (size_t i = 0; i < q->z.n; i++)
        n += q->z.at[i] <= k95;
    return q->z.n ? 100.0 * (double)n / (double)q->z.n : (double)NAN;
}

struct tally {
    size_t films, found, wrong, blank, false_find, polarity, shape, shoulders, no_shoulder,
        false_shoulder, stops, no_stop, false_stop, otsu_found;
    struct quantity axis, ends, width, tip, shoulder, stop;
    struct values otsu_axis, time;
};

/* What was listed with a confidence within a bin, and how much of it was a pin. */
struct reliability {
    size_t n[BINS], right[BINS];
    double sum[BINS];
};

struct stratum {
    char word[24];
    size_t films, found, blank, false_find;
};

static double across(const struct geo_point *axis, struct geo_point p)
{
    return geo_cross(geo_unit(geo_sub(axis[1], axis[0])), geo_sub(p, axis[0]));
}

static bool is_hit(const struct find_pin *p, const struct phantom_pin_truth *t)
{
    struct geo_point dir = geo_unit(geo_sub(t->axis[1], t->axis[0]));
    struct geo_point mid = geo_mix(p->ends[0], p->ends[1], 0.5);
    return geo_dot(p->axis.dir, dir) > cos(2.0 / deg) &&
           fabs(across(t->axis, mid)) < 0.15 * t->width_px &&
           geo_dist(p->tip, t->tip) < 0.6 * t->width_px;
}

static void compare_ends(const struct find_pin *p, const struct phantom_pin_truth *t, double mm,
                         struct tally *y)
{
    struct geo_point dir = geo_unit(geo_sub(t->axis[1], t->axis[0]));
    add_error(&y->tip, geo_dot(geo_sub(p->tip, t->tip), dir), p->u_tip, mm);
    y->shape += (int)p->tip_shape == (int)t->end + 1;
    y->shoulders += t->has_shoulder;
    y->no_shoulder += t->has_shoulder && !p->has_shoulder;
    y->false_shoulder += !t->has_shoulder && p->has_shoulder;
    if (t->has_shoulder && p->has_shoulder)
        add_error(&y->shoulder, geo_dot(geo_sub(p->shoulder, t->shoulder), dir), p->u_shoulder, mm);
    y->stops += t->has_stop;
    y->no_stop += t->has_stop && !p->has_stop;
    y->false_stop += !t->has_stop && p->has_stop;
    if (t->has_stop && p->has_stop)
        add_error(&y->stop, geo_dot(geo_sub(p->stop, t->stop), dir), p->u_stop, mm);
}

static void compare(const struct find_pin *p, const struct phantom_pin_truth *t, double mm,
                    struct tally *y)
{
    struct geo_point dir = geo_unit(geo_sub(t->axis[1], t->axis[0]));
    add_error(&y->axis, asin(geo_cross(dir, p->axis.dir)), p->axis.u_angle, deg);
    for (int k = 0; k < 2; k++)
        add_error(&y->ends, across(t->axis, p->ends[k]), p->u_ends, mm);
    add_error(&y->width, p->width - t->width_px, p->u_width, 100.0 / t->width_px);
    compare_ends(p, t, mm, y);
}

static void reference(const struct film *film, const struct phantom_pin_truth *t, struct tally *y)
{
    struct otsu_bar b;
    if (!otsu_find_bar(film, &b))
        return;
    double turn = fabs(asin(geo_cross(b.dir, geo_unit(geo_sub(t->axis[1], t->axis[0])))));
    if (turn < 2.0 / deg && fabs(across(t->axis, b.centre)) < 0.15 * t->width_px) {
        y->otsu_found++;
        values_add(&y->otsu_axis, turn * deg);
    }
}

/* Counts the film under each word of its kind. */
static void sort_in(struct stratum *s, const char *kind, bool pin, bool found)
{
    char copy[PHANTOM_KIND], *save = NULL;
    snprintf(copy, sizeof copy, "%s", kind);
    for (char *w = strtok_r(copy, ",", &save); w; w = strtok_r(NULL, ",", &save)) {
        w += *w == ' ';
        int i = 0;
        while (i < WORDS && s[i].word[0] && strcmp(s[i].word, w) != 0)
            i++;
        if (i == WORDS)
            continue;
        snprintf(s[i].word, sizeof s[i].word, "%s", w);
        s[i].films += pin;
        s[i].found += pin && found;
        s[i].blank += !pin;
        s[i].false_find += !pin && found;
    }
}

static void rely(const struct find_pins *pins, const struct phantom_pin_truth *t,
                 struct reliability *r)
{
    for (size_t i = 0; i < pins->n; i++) {
        int k = 0;
        while (k + 1 < BINS && pins->at[i].confidence >= bins[k + 1])
            k++;
        r->n[k]++;
        r->sum[k] += pins->at[i].confidence;
        r->right[k] += t->present && is_hit(&pins->at[i], t);
    }
}

/* Finds, and counts how long it took. */
static void find_in(const struct film *film, struct find_pins *pins, struct tally *y)
{
    struct err err = {0};
    clock_t start = clock();
    if (plumb_find_pins(film, NULL, pins, &err) != 0)
        exit(70);
    double ms = 1e3 * (double)(clock() - start) / CLOCKS_PER_SEC;
    values_add(&y->time, ms / ((double)(film->width * film->height) * 1e-6));
}

/* Takes ph. kind: words for the strata. */
static void one(struct phantom *drawn, const char *kind, struct tally *y, struct stratum *strata,
                struct reliability *r)
{
    struct phantom ph = *drawn;
    struct film film;
    struct find_pins pins;
    bool with_pin = ph.truth.pin.present;
    if (phantom_to_film(&ph, &film, NULL) != 0)
        exit(70);
    find_in(&film, &pins, y);
    rely(&pins, &ph.truth.pin, r);
    bool hit = with_pin && pins.n > 0 && is_hit(&pins.at[0], &ph.truth.pin);
    y->films += with_pin;
    y->blank += !with_pin;
    y->found += hit;
    y->wrong += with_pin && pins.n > 0 && !hit;
    y->false_find += !with_pin && pins.n > 0;
    y->polarity += pins.inverted == ph.truth.inverted;
    if (hit)
        compare(&pins.at[0], &ph.truth.pin, ph.truth.mm_per_px, y);
    if (with_pin)
        reference(&film, &ph.truth.pin, y);
    sort_in(strata, kind, with_pin, with_pin ? hit : pins.n > 0);
    plumb_find_pins_release(&pins);
    plumb_film_release(&film);
    phantom_release(&ph);
}

static void one_drawn(enum phantom_style style, uint64_t seed, bool with_pin, struct tally *y,
                      struct stratum *strata, struct reliability *r)
{
    struct phantom_params p;
    struct phantom ph;
    phantom_params_style(style, seed, with_pin, &p);
    if (phantom_draw(&p, &ph, NULL) != 0)
        exit(70);
    one(&ph, ph.truth.kind, y, strata, r);
}

static void one_hybrid(const struct film *base, uint64_t seed, bool upper, struct tally *y,
                       struct stratum *strata, struct reliability *r)
{
    struct phantom_params p;
    struct phantom ph;
    phantom_params_hybrid(seed, base->width, base->height, upper, &p);
    if (phantom_hybrid(base, seed, upper, &ph, NULL) != 0)
        exit(70);
    one(&ph, p.kind, y, strata, r);
}

static double share(size_t part, size_t whole)
{
    return whole ? 100.0 * (double)part / (double)whole : (double)NAN;
}

static void print_quantity(const char *name, const char *unit, struct quantity *q)
{
    printf("  %-9s %-3s median %7.4f  95 %% %7.4f  largest %7.4f  bias %+8.4f  covered %5.1f %%\n",
           name, unit, values_quantile(&q->size, 0.5), values_quantile(&q->size, 0.95),
           values_quantile(&q->size, 1.0), values_quantile(&q->signed_, 0.5), covered(q));
}

static void print(const char *style, struct tally *y, const struct stratum *s)
{
    printf("%s: found %.1f %% of %zu, another thing first in %.1f %%; listed in %.1f %% of %zu "
           "films without\n",
           style, share(y->found, y->films), y->films, share(y->wrong, y->films),
           share(y->false_find, y->blank), y->blank);
    print_quantity("axis", "deg", &y->axis);
    print_quantity("ends", "mm", &y->ends);
    print_quantity("width", "%", &y->width);
    print_quantity("tip", "mm", &y->tip);
    print_quantity("shoulder", "mm", &y->shoulder);
    print_quantity("stop", "mm", &y->stop);
    printf("  tip's shape right %.1f %%; shoulders seen %.1f %% of %zu, %zu too many; stops seen "
           "%.1f %% of %zu, %zu too many\n",
           share(y->shape, y->found), 100.0 - share(y->no_shoulder, y->shoulders), y->shoulders,
           y->false_shoulder, 100.0 - share(y->no_stop, y->stops), y->stops, y->false_stop);
    printf("  polarity right %.1f %%; %.0f ms a million pixels (95 %%: %.0f)\n",
           share(y->polarity, y->films + y->blank), values_quantile(&y->time, 0.5),
           values_quantile(&y->time, 0.95));
    printf("  reference (Otsu): found %.1f %%, axis median %.3f deg, 95 %% %.3f\n",
           share(y->otsu_found, y->films), values_quantile(&y->otsu_axis, 0.5),
           values_quantile(&y->otsu_axis, 0.95));
    for (int i = 0; i < WORDS && s[i].word[0]; i++)
        printf("    %-14s found %5.1f %% of %4zu   false %5.1f %% of %4zu\n", s[i].word,
               share(s[i].found, s[i].films), s[i].films, share(s[i].false_find, s[i].blank),
               s[i].blank);
}

static void release(struct tally *y)
{
    struct quantity *q[] = {&y->axis, &y->ends, &y->width, &y->tip, &y->shoulder, &y->stop};
    for (size_t i = 0; i < sizeof q / sizeof *q; i++) {
        free(q[i]->size.at);
        free(q[i]->signed_.at);
        free(q[i]->z.at);
    }
    free(y->otsu_axis.at);
    free(y->time.at);
}

/* The real films in all eight positions, plain and inverted, resampled and compressed. */
static void real_alone(const struct film real[REAL_FILMS], struct reliability *r)
{
    static const double scales[] = {0.5, 0.75, 1.0, 1.25, 1.5};
    static const int jpeg[] = {0, 70, 50};
    enum { SCALES = sizeof scales / sizeof *scales };
    const struct phantom_pin_truth none = {0};
    struct tally y = {0};
    size_t listed = 0, n = 0;
    for (unsigned i = 0; i < REAL_FILMS * 8 * 2 * SCALES; i++) {
        struct film_change c = {.turn = i % 8,
                                .inverted = i / 8 % 2,
                                .scale = scales[i / 16 % SCALES],
                                .jpeg = jpeg[(i + i / 8) % 3]};
        struct film film;
        struct find_pins pins;
        film_changed(&real[i / (16 * SCALES)], &c, &film);
        find_in(&film, &pins, &y);
        rely(&pins, &none, r);
        listed += pins.n > 0;
        n++;
        plumb_find_pins_release(&pins);
        free(film.grey);
    }
    printf("real films without a pin: listed in %zu of %zu turned, inverted, resampled and "
           "compressed ones\n",
           listed, n);
    release(&y);
}

static void real_films(size_t films, uint64_t seed, const char *only, struct reliability *r)
{
    struct film real[REAL_FILMS];
    struct tally y = {0};
    struct stratum s[WORDS] = {0};
    for (size_t i = 0; i < REAL_FILMS; i++)
        if (!real_film_load(i, &real[i])) {
            printf("skipped: no real films\n");
            while (i-- > 0)
                plumb_film_release(&real[i]);
            return;
        }
    for (uint64_t i = seed; i < seed + films && strcmp(only, "real") != 0; i++)
        one_hybrid(&real[i % REAL_FILMS], i, i % REAL_FILMS == 1, &y, s, r);
    if (strcmp(only, "real") != 0)
        print("hybrid", &y, s);
    if (strcmp(only, "hybrid") != 0)
        real_alone(real, r);
    for (size_t i = 0; i < REAL_FILMS; i++)
        plumb_film_release(&real[i]);
    release(&y);
}

static void print_reliability(const struct reliability *r)
{
    printf("confidence of what was listed, and how much of it was a pin:\n");
    for (int k = 0; k < BINS; k++)
        printf("  %.2f to %.2f  %4zu listed  mean %5.1f %%  right %5.1f %%\n", bins[k],
               fmin(1.0, bins[k + 1]), r->n[k], r->n[k] ? 100.0 * r->sum[k] / (double)r->n[k] : 0.0,
               share(r->right[k], r->n[k]));
}

/* Highest resident size of this process so far, bytes; 0: not told here. */
static double peak_bytes(void)
{
    char line[128];
    double kib = 0.0;
    FILE *f = fopen("/proc/self/status", "r");
    while (f && kib <= 0.0 && fgets(line, sizeof line, f))
        if (strncmp(line, "VmHWM:", 6) == 0)
            kib = strtod(line + 6, NULL);
    if (f)
        fclose(f);
    return 1024.0 * kib;
}

/* From here on the peak counts anew. */
static void peak_reset(void)
{
    FILE *f = fopen("/proc/self/clear_refs", "w");
    if (f) {
        fputs("5", f);
        fclose(f);
    }
}

/* The whole process: film of 16 bit, program, libraries, and what finding takes. */
static void print_memory(uint64_t seed)
{
    struct phantom_params p;
    struct phantom ph;
    struct film film;
    struct find_pins pins;
    phantom_params_style(PHANTOM_EASY, seed, true, &p);
    p.detector.width = 1400;
    p.detector.height = 1900;
    if (phantom_draw(&p, &ph, NULL) != 0 || phantom_to_film(&ph, &film, NULL) != 0)
        exit(70);
    phantom_release(&ph);
    peak_reset();
    if (plumb_find_pins(&film, NULL, &pins, NULL) != 0)
        exit(70);
    double pixels = (double)(film.width * film.height), mib = 1024.0 * 1024.0;
    printf("memory: peak of the process while finding in %zu x %zu px %.1f MiB; wanted: 8 bytes a "
           "pixel and 24 MiB, %.1f MiB\n",
           film.width, film.height, peak_bytes() / mib, 8.0 * pixels / mib + 24.0);
    plumb_find_pins_release(&pins);
    plumb_film_release(&film);
}

int main(int argc, char **argv)
{
    static const char *const name[STYLES] = {"easy", "typical", "hard"};
    size_t films = argc > 1 ? strtoul(argv[1], NULL, 10) : 200;
    uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
    const char *only = argc > 3 ? argv[3] : "";
    struct reliability r = {0};
    bool real = !*only || strcmp(only, "hybrid") == 0 || strcmp(only, "real") == 0;
    printf("pin finder, %zu films with and without a pin a style, seeds from %llu\n", films,
           (unsigned long long)seed);
    for (int k = 0; k < STYLES; k++) {
        struct tally y = {0};
        struct stratum s[WORDS] = {0};
        if (*only && strcmp(only, name[k]) != 0)
            continue;
        for (uint64_t i = 0; i < films; i++) {
            one_drawn((enum phantom_style)k, seed + i, true, &y, s, &r);
            one_drawn((enum phantom_style)k, seed + i, false, &y, s, &r);
        }
        print(name[k], &y, s);
        release(&y);
    }
    if (real)
        real_films(films, seed, only, &r);
    print_reliability(&r);
    print_memory(seed);
    return 0;
}
