#include "tests/support/coverage.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "tests/support/site.h"

static const double rad = 3.14159265358979323846 / 180.0;
static const double film_px = 3000.0;
static const double steep_share = 0.1, steep_deg[2] = {32.0, 40.0};

static double spread(struct unc_rng *r, double lo, double hi)
{
    return lo + (hi - lo) * plumb_unc_rng_uniform(r);
}

static void random_site(struct unc_rng *r, struct site *s, struct placing *p)
{
    site_default(s);
    s->pin_deg = spread(r, -4.0, 4.0); /* no overlap: the truth is for free pins */
    s->width = spread(r, 2.0, 3.5);
    s->length = spread(r, 9.0, 14.0);
    s->bound_v = s->length + spread(r, 1.0, 5.0);
    for (int i = 0; i < SIDES; i++) {
        double side = i == MESIAL ? 1.0 : -1.0;
        s->root_deg[i] = spread(r, -6.0, 6.0);
        s->crest[i].y = spread(r, -0.5, 4.0);
        s->near_top[i].x = side * spread(r, 4.2, 5.2);
        s->near_end[i].x = s->near_top[i].x + spread(r, -0.8, 0.8);
        s->near_end[i].y = s->length + 3.0;
        s->apex[i].y = spread(r, 11.0, 16.0);
    }
    s->second_top.y = spread(r, -1.0, 1.0);
    s->second_deg = spread(r, -4.0, 4.0);
    s->second_length = spread(r, 9.0, 14.0);
    s->second_width = spread(r, 2.0, 3.5);
    s->age_years = spread(r, 25.0, 75.0);
    *p = (struct placing){spread(r, 0.0, 360.0), spread(r, 0.02, 0.04), false, 0};
    p->mirrored = plumb_unc_rng_uniform(r) < 0.5;
}

enum { OBJECTS = 6 };

/* Which object a mark is on: 0 the pin, else an index of its own. */
static int object_of(const char *name)
{
    static const char *const word[] = {"mesial.", "distal.", "bounds[", "site_tooth.", "pins["};
    for (int i = 0; i + 1 < OBJECTS; i++)
        if (strncmp(name, word[i], strlen(word[i])) == 0)
            return i + 1;
    return 0;
}

/* What goes wrong between the mouth and the sheet. Returns the pin's lean, deg. */
static double spoil(struct unc_rng *r, const struct meas_config *c, const struct placing *p,
                    struct sheet *s)
{
    enum { MARKS = 200 };
    struct sheet_mark_ref ref[MARKS];
    size_t n = plumb_sheet_marks(s, ref, MARKS);
    double magnify[OBJECTS] = {1.0}, middle = 0.5 * (film_px - 1.0);
    for (int i = 1; i < OBJECTS; i++) /* an object so far towards the tube is seen so much larger */
        magnify[i] = 1.0 / (1.0 - c->plane.u_mm * plumb_unc_rng_normal(r) / c->source_to_film_mm);
    for (size_t i = 0; i < n && i < MARKS; i++) {
        struct mark *m = ref[i].mark;
        double big = magnify[object_of(ref[i].name)], u = c->mark[ref[i].kind].u_mm / p->mm_per_px;
        m->x = middle + (m->x - middle) * big + u * plumb_unc_rng_normal(r);
        m->y = middle + (m->y - middle) * big + u * plumb_unc_rng_normal(r);
        m->sd = u;
    }
    /* as usual, or so that nobody could miss it: then the gauge along the pin is out of the scale
     */
    bool steep = plumb_unc_rng_uniform(r) < steep_share;
    double lean = rad * (steep ? spread(r, steep_deg[0], steep_deg[1])
                               : c->lean.u_mm * plumb_unc_rng_normal(r));
    s->gauge[0].mm = s->gauge[0].mm / cos(lean) + c->gauge_size.u_mm * plumb_unc_rng_normal(r);
    s->gauge[1].mm += c->gauge_size.u_mm * plumb_unc_rng_normal(r);
    s->site.age_years = round(s->site.age_years);
    return fabs(lean) / rad;
}

static struct coverage_row *row_of(struct coverage *c, const char *id)
{
    for (size_t i = 0; i < c->n; i++)
        if (strcmp(c->row[i].id, id) == 0)
            return &c->row[i];
    if (c->n >= COVERAGE_IDS)
        return NULL;
    plumb_text_copy(c->row[c->n].id, MEAS_ID, id);
    return &c->row[c->n++];
}

void coverage_count(struct coverage *c, const char *name, const struct meas_quantity *q,
                    double truth)
{
    struct coverage_row *row = row_of(c, name);
    if (row == NULL || !(q->v.u > 0.0))
        return;
    double z = (q->v.value - truth) / q->v.u;
    row->n += 1.0;
    row->held += truth >= q->v.lo && truth <= q->v.hi;
    if (q->below_only) /* a bound has no middle */
        return;
    row->n_z += 1.0;
    row->sum_z += z;
    row->sum_z2 += z * z;
}

/* The quantity, and what it is along a pin whose lean is known. */
static void compare(struct coverage *c, const struct meas_result *r, const struct site_value *truth,
                    double lean_deg)
{
    char corrected[MEAS_ID];
    snprintf(corrected, sizeof corrected, "%.28s.corrected", truth->id);
    const struct meas_quantity *q = plumb_meas_find(r, truth->id);
    const struct meas_quantity *along = plumb_meas_find(r, corrected);
    if (q != NULL)
        coverage_count(c, q->id, q, truth->value);
    if (along != NULL)
        coverage_count(c, along->id, along, truth->value / cos(lean_deg * rad));
}

void coverage_add(struct coverage *to, const struct coverage *from)
{
    for (size_t i = 0; i < from->n; i++) {
        struct coverage_row *row = row_of(to, from->row[i].id);
        if (row == NULL)
            continue;
        row->n += from->row[i].n;
        row->held += from->row[i].held;
        row->n_z += from->row[i].n_z;
        row->sum_z += from->row[i].sum_z;
        row->sum_z2 += from->row[i].sum_z2;
    }
}

void coverage_print(const struct coverage *c)
{
    printf("  %-26s %6s %8s %8s %8s %8s\n", "quantity", "n", "held", "mean z", "sd z", "rms z");
    for (size_t i = 0; i < c->n; i++) {
        const struct coverage_row *r = &c->row[i];
        double mean = r->sum_z / r->n_z, square = r->sum_z2 / r->n_z;
        printf("  %-26s %6.0f %7.1f%%", r->id, r->n, 100.0 * r->held / r->n);
        if (r->n_z > 0.0)
            printf(" %8.2f %8.2f %8.2f", mean, sqrt(fmax(square - mean * mean, 0.0)), sqrt(square));
        putchar('\n');
    }
}

int coverage_run(size_t trials, uint64_t seed, struct coverage *out, struct err *err)
{
    struct meas_config config;
    struct unc_rng rng;
    *out = (struct coverage){0};
    int rc = plumb_meas_config_default(&config, err);
    plumb_unc_rng_seed(&rng, seed);
    for (size_t trial = 0; rc == 0 && trial < trials; trial++) {
        struct site s;
        struct placing p;
        struct sheet sheet;
        struct meas_result r;
        struct site_value truth[SITE_VALUES];
        random_site(&rng, &s, &p);
        site_sheet(&s, &p, 0.0, &sheet);
        double lean_deg = spoil(&rng, &config, &p, &sheet);
        struct meas_film film = {.width = (size_t)film_px, .height = (size_t)film_px};
        rc = plumb_meas_run(&sheet, &film, &config, &r, err);
        size_t n = site_truth(&s, truth);
        for (size_t i = 0; rc == 0 && i < n; i++)
            compare(out, &r, &truth[i], lean_deg);
        const struct meas_quantity *k = rc == 0 ? plumb_meas_find(&r, "scale") : NULL;
        if (k != NULL)
            coverage_count(out, k->id, k, p.mm_per_px);
        const struct meas_quantity *t = rc == 0 ? plumb_meas_find(&r, "tilt") : NULL;
        if (t != NULL)
            coverage_count(out, t->below_only ? "tilt, bound only" : t->id, t, lean_deg);
        plumb_meas_result_release(&r);
        plumb_sheet_release(&sheet);
    }
    return rc;
}
