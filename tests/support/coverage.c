#include "tests/support/coverage.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "tests/support/site.h"

static const double rad = 3.14159265358979323846 / 180.0;
static const double film_px = 3000.0;
/* A lean that nobody could miss: the gauge along the pin is out of the scale. */
static const double steep_deg[2] = {32.0, 40.0};

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

/* What goes wrong between the mouth and the sheet, but for the lean. */
static void spoil(struct unc_rng *r, const struct meas_config *c, const struct placing *p,
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
    for (size_t i = 0; i < s->n_gauges; i++)
        s->gauge[i].mm += c->gauge_size.u_mm * plumb_unc_rng_normal(r);
    s->site.age_years = round(s->site.age_years);
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
    struct coverage_row *row = q->v.u > 0.0 ? row_of(c, name) : NULL;
    if (row == NULL)
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

/* What honest intervals do: hold the truth in 93 to 97 of 100, and errors spread like their u. */
static const double share_bound[2] = {0.93, 0.97}, sd_bound[2] = {0.95, 1.05};
static const double sampling_k = 2.0;

/* How far x lies outside its bounds, in sampling errors. */
static double beyond(double x, const double bound[2], double se)
{
    double off = fmax(fmax(bound[0] - x, x - bound[1]), 0.0);
    return off == 0.0 ? 0.0 : off / se;
}

enum verdict { WITHIN, BY_CHANCE, BEYOND };

static enum verdict print_row(const struct coverage_row *r)
{
    static const char *const word[] = {"", "  ~", "  <-- outside"};
    double share = r->held / r->n, se = sqrt(0.95 * 0.05 / r->n);
    bool one_sided = r->n_z == 0.0; /* a bound: it may hold more often */
    double off =
        one_sided ? beyond(fmin(share, 0.95), share_bound, se) : beyond(share, share_bound, se);
    printf("  %-26s %6.0f %6.1f +-%4.1f", r->id, r->n, 100.0 * share, 100.0 * se);
    if (!one_sided) {
        double mean = r->sum_z / r->n_z;
        double sd = sqrt(fmax(r->sum_z2 / r->n_z - mean * mean, 0.0));
        double se_sd = 1.0 / sqrt(2.0 * r->n_z);
        off = fmax(off, beyond(sd, sd_bound, se_sd));
        printf(" %6.2f +-%.2f %6.2f", sd, se_sd, mean);
    } else {
        printf("   one-sided: at least 95");
    }
    enum verdict v = off == 0.0 ? WITHIN : off <= sampling_k ? BY_CHANCE : BEYOND;
    printf("%s\n", word[v]);
    return v;
}

void coverage_print(const struct coverage *c)
{
    size_t count[BEYOND + 1] = {0};
    printf("  %-26s %6s %13s %12s %6s\n", "quantity", "n", "held, %", "sd of z", "mean z");
    for (size_t i = 0; i < c->n; i++)
        count[print_row(&c->row[i])]++;
    printf("  Asked: 93 to 97 %% held, sd of z 0.95 to 1.05. %zu of %zu rows meet it, %zu of them "
           "(~) but\n"
           "  for less than twice their sampling error (+-); %zu do not\n",
           c->n - count[BEYOND], c->n, count[BY_CHANCE], count[BEYOND]);
}

/* Which quantities of a sheet are counted, and how the scale is called. */
struct counted {
    bool usual, on_lean; /* on_lean: those that a known lean changes or gives */
    const char *scale;
};

static void compare(struct coverage *c, const struct meas_result *r, const struct site_value *truth,
                    const struct counted *what, double lean)
{
    char corrected[MEAS_ID];
    snprintf(corrected, sizeof corrected, "%.28s.corrected", truth->id);
    const struct meas_quantity *q = plumb_meas_find(r, truth->id);
    const struct meas_quantity *along = plumb_meas_find(r, corrected);
    if (q != NULL && what->usual)
        coverage_count(c, q->id, q, truth->value);
    if (along != NULL && what->on_lean)
        coverage_count(c, along->id, along, truth->value / cos(lean));
}

/* How the pin is seen: a length by so much too short, a width by so much too wide. */
struct seen {
    double along, across;
};

/* In a parallel beam that is out of square as the defaults say. */
static struct seen look(struct unc_rng *r, const struct meas_config *c, double lean)
{
    double up = rad * c->beam.u_mm * plumb_unc_rng_normal(r);
    double aside = rad * c->beam.u_mm * plumb_unc_rng_normal(r);
    return (struct seen){cos(lean) + sin(lean) * tan(up), 1.0 / cos(aside)};
}

/* Measures the sheet as it is when the pin is seen so. */
static int study(const struct sheet *sheet, const struct site *s, const struct placing *p,
                 const struct meas_config *config, struct seen seen, const struct counted *what,
                 struct coverage *out, struct err *err)
{
    struct sheet leaning = {0};
    struct meas_result r;
    struct site_value truth[SITE_VALUES];
    struct meas_film film = {.width = (size_t)film_px, .height = (size_t)film_px};
    double lean = acos(fmin(seen.along, 1.0)); /* as the film shows it */
    int rc = plumb_sheet_copy(sheet, &leaning, err);
    if (rc != 0)
        return rc;
    leaning.gauge[0].mm += s->length * (1.0 / seen.along - 1.0);
    leaning.gauge[1].mm += s->width * (1.0 / seen.across - 1.0);
    rc = plumb_meas_run(&leaning, &film, config, &r, err);
    size_t n = site_truth(s, truth);
    for (size_t i = 0; rc == 0 && i < n; i++)
        compare(out, &r, &truth[i], what, lean);
    const struct meas_quantity *k = rc == 0 ? plumb_meas_find(&r, "scale") : NULL;
    if (k != NULL)
        coverage_count(out, what->scale, k, p->mm_per_px);
    const struct meas_quantity *t = rc == 0 ? plumb_meas_find(&r, "tilt") : NULL;
    if (t != NULL)
        coverage_count(out, t->below_only ? "tilt, bound" : "tilt", t, lean / rad);
    plumb_meas_result_release(&r);
    plumb_sheet_release(&leaning);
    return rc;
}

/* Each sheet twice: with a lean nobody can see, and with one nobody could miss. */
int coverage_run(size_t trials, uint64_t seed, struct coverage *out, struct err *err)
{
    static const struct counted unseen = {.usual = true, .scale = "scale"};
    static const struct counted steep = {.on_lean = true, .scale = "scale, pin leans"};
    struct meas_config config;
    struct unc_rng rng;
    *out = (struct coverage){0};
    int rc = plumb_meas_config_default(&config, err);
    plumb_unc_rng_seed(&rng, seed);
    for (size_t trial = 0; rc == 0 && trial < trials; trial++) {
        struct site s;
        struct placing p;
        struct sheet sheet;
        random_site(&rng, &s, &p);
        site_sheet(&s, &p, 0.0, &sheet);
        spoil(&rng, &config, &p, &sheet);
        double lean[] = {rad * config.lean.u_mm * plumb_unc_rng_normal(&rng),
                         rad * spread(&rng, steep_deg[0], steep_deg[1])};
        struct seen seen[] = {look(&rng, &config, lean[0]), look(&rng, &config, lean[1])};
        seen[1].along = cos(lean[1]); /* no beam hides it */
        rc = study(&sheet, &s, &p, &config, seen[0], &unseen, out, err);
        if (rc == 0)
            rc = study(&sheet, &s, &p, &config, seen[1], &steep, out, err);
        plumb_sheet_release(&sheet);
    }
    return rc;
}
