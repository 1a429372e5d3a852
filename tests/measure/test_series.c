/*
 * Series: which sheets belong together, what changes, and how sure. Truth: simulation with one
 * drill of a wrong size in two films, sums by hand, and the least significant change of CEJ to
 * crest on repeated films, 0.49 mm (Hildebolt et al. 2009, PMC2736148).
 */
#include "tests/support/close.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "plumbrule/measure.h"
#include "tests/support/site.h"

static const double mm_per_px = 0.025;
static struct meas_config config;

static int load_config(void **state)
{
    (void)state;
    int rc = plumb_meas_config_default(&config, NULL);
    /* left out, so that marks and the drill's size are all there is */
    config.plane.u_mm = config.lean.u_mm = 0.0;
    return rc;
}

/* --- a film with a drill and a mesial root -------------------------------------------------------
 */

struct look {
    double cej_crest, root, drill; /* mm, the drill's true size */
    const char *taken, *drill_name;
};

static const struct look usual = {2.0, 14.0, 12.0, "2026-03-02", "drill, tip to shoulder"};
static const double drill_u = 0.3;

static struct mark put(double x_mm, double y_mm, double sd_px)
{
    return (struct mark){.set = true, .x = x_mm / mm_per_px, .y = y_mm / mm_per_px, .sd = sd_px};
}

static void make_sheet(const struct look *l, double sd, struct sheet *s)
{
    plumb_sheet_init(s);
    s->site.tooth = 35;
    plumb_text_copy(s->film.taken, sizeof s->film.taken, l->taken);
    struct sheet_gauge *g = &s->gauge[0];
    s->n_gauges = 1;
    *g = (struct sheet_gauge){.kind = GAUGE_LENGTH, .mm = 12.0, .u_mm = drill_u};
    plumb_text_copy(g->name, sizeof g->name, l->drill_name);
    g->end[0] = put(14.0, 5.0, 0.5 * sd);
    g->end[1] = put(14.0, 5.0 + l->drill, 0.5 * sd);
    struct sheet_neighbour *nb = &s->side[MESIAL];
    nb->axis[0] = put(8.0, 5.0, sd);
    nb->axis[1] = put(8.0, 25.0, sd);
    nb->cej = put(10.0, 6.0, sd);
    nb->crest = put(10.0, 6.0 + l->cej_crest, sd);
    nb->apex = put(8.0, 6.0 + l->root, sd);
}

static void scatter(struct sheet *s, struct unc_rng *rng)
{
    struct sheet_mark_ref ref[32];
    size_t n = plumb_sheet_marks(s, ref, 32);
    for (size_t i = 0; i < n; i++) {
        ref[i].mark->x += ref[i].mark->sd * plumb_unc_rng_normal(rng);
        ref[i].mark->y += ref[i].mark->sd * plumb_unc_rng_normal(rng);
    }
}

enum { MOST = SERIES_FILMS + 1 };
struct set {
    struct sheet sheet[MOST];
    struct meas_result result[MOST];
    struct meas_visit visit[MOST];
    char name[MOST][32];
    size_t n;
    struct meas_series series;
};

static void measure(struct set *s)
{
    const struct meas_film film = {.width = 3000, .height = 3000};
    struct err err = {0};
    for (size_t i = 0; i < s->n; i++) {
        if (plumb_meas_run(&s->sheet[i], &film, &config, &s->result[i], &err) != 0)
            fail_msg("%s", err.text);
        snprintf(s->name[i], sizeof s->name[0], "sheet%zu", i);
        s->visit[i] = (struct meas_visit){s->name[i], &s->sheet[i], &s->result[i]};
    }
}

static void compare(struct set *s, bool same_pin)
{
    struct err err = {0};
    measure(s);
    if (plumb_meas_series(s->visit, s->n, same_pin, &s->series, &err) != 0)
        fail_msg("%s", err.text);
}

static void set_release(struct set *s)
{
    plumb_meas_series_release(&s->series);
    for (size_t i = 0; i < s->n; i++) {
        plumb_meas_result_release(&s->result[i]);
        plumb_sheet_release(&s->sheet[i]);
    }
}

static const struct meas_course *course(const struct set *s, const char *id)
{
    const struct meas_course *c = plumb_meas_series_find(&s->series, id);
    if (c == NULL)
        fail_msg("no course of %s", id);
    return c;
}

static const char *left_out(const struct set *s, const char *id)
{
    for (size_t i = 0; i < s->series.n_left_out; i++)
        if (strcmp(s->series.left_out[i].id, id) == 0)
            return s->series.left_out[i].why;
    return "";
}

/* --- one drill of a wrong size ------------------------------------------------------------------
 */

struct study {
    double sum2, u, held, n;
};

static void study_change(const struct meas_course *c, double truth, struct study *out)
{
    double off = c->change[0].value - truth;
    out->sum2 += off * off;
    out->u += c->change[0].u;
    out->held += fabs(off) <= c->change[0].U;
    out->n += 1.0;
}

/* shared: one drill in both films. Else two drills under two names, each with its own error. */
static void simulate(bool shared, struct study *root, struct study *crest)
{
    enum { TRIALS = 300 };
    static struct set s;
    struct unc_rng rng;
    plumb_unc_rng_seed(&rng, 41);
    for (int k = 0; k < TRIALS; k++) {
        double size = 12.0 + drill_u * plumb_unc_rng_normal(&rng);
        for (size_t i = 0; i < 2; i++) {
            struct look l = usual;
            l.drill = shared ? size : 12.0 + drill_u * plumb_unc_rng_normal(&rng);
            l.drill_name = shared || i == 0 ? usual.drill_name : "another drill";
            l.cej_crest = i == 0 ? 4.0 : 5.0; /* above the floor of a loss */
            make_sheet(&l, 3.0, &s.sheet[i]);
            scatter(&s.sheet[i], &rng);
        }
        s.n = 2;
        compare(&s, false);
        study_change(course(&s, "root_length.mesial"), 0.0, root);
        study_change(course(&s, "cej_crest.mesial"), 1.0, crest);
        set_release(&s);
    }
}

static void check_study(const struct study *s)
{
    double sd = sqrt(s->sum2 / s->n), u = s->u / s->n;
    assert_close_rel(u, sd, 0.10); /* 300 trials know the deviation to 4 % */
    assert_true(s->held / s->n > 0.93 && s->held / s->n < 0.985);
}

static void a_shared_size_cancels(void **state)
{
    (void)state;
    struct study root[2] = {{0}}, crest[2] = {{0}};
    for (int shared = 0; shared < 2; shared++) {
        simulate(shared, &root[shared], &crest[shared]);
        check_study(&root[shared]);
        check_study(&crest[shared]);
    }
    /* 14 mm at 2.5 % in each film: 0.49 mm between two drills, nothing between one and itself */
    assert_true(root[0].u / root[0].n > 0.45);
    assert_true(root[1].u / root[1].n < 0.25);
}

/* A drill of the same name and another diameter is another drill: nothing is shared, not even the
 * length that agrees. */
static void another_drill_shares_nothing(void **state)
{
    (void)state;
    static struct set s;
    double u[2];
    for (int other = 0; other < 2; other++) {
        s.n = 2;
        for (size_t i = 0; i < 2; i++) {
            make_sheet(&usual, 1.0, &s.sheet[i]);
            struct sheet_gauge *g = &s.sheet[i].gauge[1];
            s.sheet[i].n_gauges = 2;
            *g = (struct sheet_gauge){.name = "drill diameter", .kind = GAUGE_ACROSS};
            g->mm = i == 1 && other ? 2.8 : 2.2; /* its ends are not marked */
        }
        compare(&s, false);
        u[other] = course(&s, "root_length.mesial")->change[0].u;
        set_release(&s);
    }
    assert_true(u[1] > 3.0 * u[0]);
}

/* --- by hand ------------------------------------------------------------------------------------
 */

/* With the crest's own default and all else exact, the least change that is detectable is the
 * published one. */
static void the_published_least_change(void **state)
{
    (void)state;
    static struct set s;
    s.n = 2;
    for (size_t i = 0; i < 2; i++) {
        make_sheet(&usual, 1e-3, &s.sheet[i]);
        s.sheet[i].gauge[0].u_mm = 1e-6;
        s.sheet[i].side[MESIAL].crest.sd = 0.0; /* the default: 0.49 / (1.96 sqrt 2) */
    }
    compare(&s, false);
    assert_close(course(&s, "cej_crest.mesial")->change[0].U, 0.49, 0.025);
    set_release(&s);
}

static void make_four(struct set *s)
{
    static const char *const taken[] = {"2026-03-02", "2026-03-02", "2026-03-20", "2026-07-06"};
    static const double crest[] = {3.0, 3.2, 3.3, 4.6};
    s->n = 4;
    for (size_t i = 0; i < s->n; i++) {
        struct look l = usual;
        l.taken = taken[i];
        l.cej_crest = crest[i];
        make_sheet(&l, 2.0, &s->sheet[i]);
    }
}

/* Each film but the first against the first, each but the second against the one before. */
static void which_changes(void **state)
{
    (void)state;
    static struct set s;
    static const struct {
        size_t from, to;
        bool first, rate;
        long days;
        double value;
    } want[] = {{0, 1, true, false, 0, 0.2},
                {0, 2, true, false, 18, 0.3},
                {1, 2, false, false, 18, 0.1},
                {0, 3, true, true, 126, 1.6},
                {2, 3, false, true, 108, 1.3}};
    make_four(&s);
    compare(&s, false);
    const struct meas_course *c = course(&s, "cej_crest.mesial");
    assert_int_equal(c->kind, COURSE_CREST);
    assert_int_equal(c->n_changes, 5);
    for (size_t i = 0; i < 5; i++) {
        const struct meas_change *g = &c->change[i];
        assert_int_equal(g->from, want[i].from);
        assert_int_equal(g->to, want[i].to);
        assert_int_equal(g->since_first, want[i].first);
        assert_int_equal(g->days, want[i].days);
        assert_int_equal(g->has_rate, want[i].rate);
        assert_close(g->value, want[i].value, 1e-9);
        assert_close(g->U, 2.0 * g->u, 1e-12);
        assert_int_equal(g->detected, fabs(g->value) > g->U);
    }
    assert_true(c->change[3].detected && !c->change[2].detected);
    /* 1.6 mm in 126 days of 30.4375 a month */
    assert_close(c->change[3].rate, 1.6 / (126.0 / 30.4375), 1e-9);
    assert_close(c->change[3].U_rate, c->change[3].U / (126.0 / 30.4375), 1e-9);
    set_release(&s);
}

/* u of each alike: the slope is the ordinary one. Dates 0, 0, 18, 126 days. */
static void the_line(void **state)
{
    (void)state;
    static struct set s;
    static const double x[] = {0.0, 0.0, 18.0 / 30.4375, 126.0 / 30.4375},
                        y[] = {3.0, 3.2, 3.3, 4.6};
    double mx = 0.0, my = 0.0, sxx = 0.0, sxy = 0.0;
    for (int i = 0; i < 4; i++) {
        mx += x[i] / 4.0;
        my += y[i] / 4.0;
    }
    for (int i = 0; i < 4; i++) {
        sxx += (x[i] - mx) * (x[i] - mx);
        sxy += (x[i] - mx) * (y[i] - my);
    }
    make_four(&s);
    for (size_t i = 0; i < 4; i++)
        s.sheet[i].gauge[0].u_mm = 1e-6;
    compare(&s, false);
    const struct meas_course *c = course(&s, "cej_crest.mesial");
    assert_true(c->trend.set && c->trend.straight);
    assert_int_equal(c->trend.n, 4);
    assert_close_rel(c->trend.slope, sxy / sxx, 0.02);
    assert_close_rel(c->trend.u, c->at[0]->v.u / sqrt(sxx), 0.02);
    assert_false(course(&s, "root_length.mesial")->trend.set); /* a control has none */
    set_release(&s);
}

static void off_the_line_is_said(void **state)
{
    (void)state;
    static struct set s;
    make_four(&s);
    s.sheet[2].side[MESIAL].crest.y += 2.5 / mm_per_px;
    compare(&s, false);
    const struct meas_trend *t = &course(&s, "cej_crest.mesial")->trend;
    assert_true(t->set && !t->straight && t->birge > 1.0);
    set_release(&s);
}

static void a_control_warns(void **state)
{
    (void)state;
    static struct set s;
    for (int bad = 0; bad < 2; bad++) {
        make_four(&s);
        if (bad)
            s.sheet[3].side[MESIAL].apex.y -= 2.0 / mm_per_px;
        compare(&s, false);
        assert_int_equal(course(&s, "root_length.mesial")->kind, COURSE_CONTROL);
        assert_int_equal(s.series.warnings.n, bad);
        if (bad)
            assert_non_null(strstr(s.series.warnings.line[0], "root length, mesial differs by -2"));
        set_release(&s);
    }
}

/* Eight films, thirteen changes: not every long series has a control that warns by chance. */
static void a_control_is_quiet(void **state)
{
    (void)state;
    enum { TRIALS = 100, N = 8 };
    static struct set s;
    struct unc_rng rng;
    int warned = 0;
    plumb_unc_rng_seed(&rng, 8);
    for (int k = 0; k < TRIALS; k++) {
        s.n = N;
        for (size_t i = 0; i < N; i++) {
            make_sheet(&usual, 3.0, &s.sheet[i]);
            scatter(&s.sheet[i], &rng);
        }
        compare(&s, false);
        warned += s.series.warnings.n > 0;
        set_release(&s);
    }
    assert_true(warned <= 12); /* 5, and 7 more for chance; 35 if each counted by itself */
}

static void carried_marks_are_told(void **state)
{
    (void)state;
    static struct set s;
    static const struct {
        bool on[4];
        const char *films;
    } cases[] = {{{false}, NULL},
                 {{[2] = true}, "film 3: marks were carried over"},
                 {{[1] = true, [3] = true}, "films 2, 4: marks were carried over"}};
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        make_four(&s);
        for (size_t i = 0; i < 4; i++) {
            s.sheet[i].side[MESIAL].crest.by = MARK_CARRIED;
            s.sheet[i].side[MESIAL].crest.confirmed = !cases[k].on[i];
        }
        compare(&s, false);
        assert_int_equal(s.series.warnings.n, cases[k].films != NULL);
        if (cases[k].films != NULL)
            assert_ptr_equal(strstr(s.series.warnings.line[0], cases[k].films),
                             s.series.warnings.line[0]);
        set_release(&s);
    }
}

/* A loss that stands at its floor has no change; the distance it comes from has. */
static void a_loss_at_its_floor(void **state)
{
    (void)state;
    static struct set s;
    make_four(&s);
    s.sheet[0].side[MESIAL].crest.y = s.sheet[0].side[MESIAL].cej.y + 1.0 / mm_per_px;
    s.sheet[1].side[MESIAL].crest.y = s.sheet[0].side[MESIAL].crest.y;
    compare(&s, false); /* two films have a loss: too few, for they were chosen by it */
    assert_non_null(strstr(left_out(&s, "loss.mesial"), "CEJ to crest"));
    assert_int_equal(course(&s, "cej_crest.mesial")->n_changes, 5);
    set_release(&s);
    make_four(&s);
    compare(&s, false);
    const struct meas_course *loss = course(&s, "loss.mesial");
    assert_close(loss->change[3].value, 1.6, 1e-9);
    set_release(&s);
}

/* --- a whole site with a pin --------------------------------------------------------------------
 */

static void make_site(struct set *s)
{
    static const struct placing turned[] = {{0.0, 0.025, false, 35}, {50.0, 0.020, true, 35}};
    s->n = 2;
    for (size_t i = 0; i < 2; i++) {
        struct site site;
        site_default(&site);
        site.pin_deg += (double)i;
        site.crest[MESIAL].y += 0.4 * (double)i;
        site_sheet(&site, &turned[i], 0.4, &s->sheet[i]);
        plumb_text_copy(s->sheet[i].film.taken, 11, i == 0 ? "2025-01-31" : "2026-01-31");
    }
}

/* A level against a drill is where the drill stood; against a pin that stays it is the crest. */
static void what_the_pin_tells(void **state)
{
    (void)state;
    static struct set s;
    for (int same = 0; same < 2; same++) {
        make_site(&s);
        compare(&s, same);
        assert_int_equal(course(&s, "level.mesial")->kind, same ? COURSE_CREST : COURSE_PIN);
        assert_int_equal(course(&s, "depth.distal")->kind, same ? COURSE_CREST : COURSE_PIN);
        assert_int_equal(course(&s, "angle.mesial")->kind, same ? COURSE_CONTROL : COURSE_PIN);
        assert_int_equal(course(&s, "clearance.distal")->kind, same ? COURSE_CONTROL : COURSE_PIN);
        assert_int_equal(course(&s, "level.mesial")->change[0].has_rate, same);
        /* a turned and mirrored film of another scale changes nothing: the pin's degree does */
        assert_close(course(&s, "angle.mesial")->change[0].value, 1.0, 1e-6);
        assert_close(course(&s, "cej_crest.distal")->change[0].value, 0.0, 1e-6);
        assert_int_equal(course(&s, "space.crest")->change[0].days, 365);
        assert_null(plumb_meas_series_find(&s.series, "scale"));
        assert_null(plumb_meas_series_find(&s.series, "plan.widest"));
        assert_null(plumb_meas_series_find(&s.series, "pins.gap.1-2"));
        set_release(&s);
    }
}

static void what_is_not_the_same_thing(void **state)
{
    (void)state;
    static struct set s;
    make_site(&s);
    s.sheet[1].side[MESIAL].tooth = 33;
    plumb_text_copy(s.sheet[1].bound[0].what, SHEET_NAME, "another line");
    s.sheet[1].plan.length_mm += 1.0;
    compare(&s, false);
    static const char *const ids[] = {"cej_crest.mesial", "angle.roots",  "space.crest",
                                      "bound.1",          "space.apical", "root_length.mesial"};
    for (size_t i = 0; i < sizeof ids / sizeof ids[0]; i++) {
        assert_null(plumb_meas_series_find(&s.series, ids[i]));
        assert_true(left_out(&s, ids[i])[0] != '\0');
    }
    assert_non_null(plumb_meas_series_find(&s.series, "cej_crest.distal"));
    assert_non_null(
        strstr(s.series.warnings.line[0], "neighbour is 34 on film 1 and 33 on film 2"));
    set_release(&s);
    make_site(&s);
    s.sheet[1].plan.length_mm += 1.0;
    compare(&s, false);
    assert_non_null(strstr(left_out(&s, "space.apical"), "planned depth"));
    set_release(&s);
}

/* A chord on one film and another axis on the next is no turn of the root. */
static void axes_of_two_kinds(void **state)
{
    (void)state;
    static struct set s;
    for (int other = 0; other < 2; other++) {
        make_site(&s);
        struct sheet_neighbour *nb = &s.sheet[1].side[DISTAL];
        nb->cej_far = nb->cej;
        nb->cej_far.x += 200.0;
        if (other)
            nb->axis[0].set = nb->axis[1].set = false;
        compare(&s, false);
        bool said = strstr(course(&s, "angle.distal")->note, "not of one kind") != NULL;
        assert_int_equal(said, other);
        set_release(&s);
    }
}

/* --- every error the model speaks of -------------------------------------------------------------
 */

/* Marks scatter by their defaults, objects lie out of the gauge's plane; each film for itself. */
static void spoil(const struct meas_config *c, const struct placing *p, struct unc_rng *rng,
                  struct sheet *s)
{
    static const char *const object[] = {"mesial.", "distal.", "bounds[", "site_tooth.", "pins["};
    enum { OBJECTS = sizeof object / sizeof object[0], MARKS = 200 };
    struct sheet_mark_ref ref[MARKS];
    double large[OBJECTS + 1] = {[OBJECTS] = 1.0}; /* the last one is the pin */
    size_t n = plumb_sheet_marks(s, ref, MARKS);
    for (int k = 0; k < OBJECTS; k++)
        large[k] = 1.0 / (1.0 - c->plane.u_mm * plumb_unc_rng_normal(rng) / c->source_to_film_mm);
    for (size_t i = 0; i < n; i++) {
        struct mark *m = ref[i].mark;
        int k = 0;
        while (k < OBJECTS && strncmp(ref[i].name, object[k], strlen(object[k])) != 0)
            k++;
        m->sd = c->mark[ref[i].kind].u_mm / p->mm_per_px;
        m->x = 1499.5 + (m->x - 1499.5) * large[k] + m->sd * plumb_unc_rng_normal(rng);
        m->y = 1499.5 + (m->y - 1499.5) * large[k] + m->sd * plumb_unc_rng_normal(rng);
    }
}

static double truth_of(const struct site_value *truth, size_t n, const char *id)
{
    for (size_t i = 0; i < n; i++)
        if (strcmp(truth[i].id, id) == 0)
            return truth[i].value;
    return (double)NAN;
}

/* Two films of one site, whose crest has moved, with one drill: all changes that have a truth. */
static void count_changes(const struct set *s, const struct site site[2], double *n, double *held)
{
    struct site_value truth[2][SITE_VALUES];
    size_t m = 0;
    for (int i = 0; i < 2; i++)
        m = site_truth(&site[i], truth[i]);
    for (size_t i = 0; i < s->series.n_courses; i++) {
        const struct meas_course *c = &s->series.course[i];
        double want = truth_of(truth[1], m, c->id) - truth_of(truth[0], m, c->id);
        if (isnan(want))
            continue;
        *n += 1.0;
        *held += fabs(c->change[0].value - want) <= c->change[0].U;
    }
}

static void intervals_hold_what_they_say(void **state)
{
    (void)state;
    enum { TRIALS = 30 };
    static struct set s;
    struct unc_rng rng;
    double n = 0.0, held = 0.0;
    struct meas_config whole, kept = config;
    assert_int_equal(plumb_meas_config_default(&whole, NULL), 0);
    config = whole;
    plumb_unc_rng_seed(&rng, 60);
    for (int k = 0; k < TRIALS; k++) {
        struct site site[2];
        double size = whole.gauge_size.u_mm * plumb_unc_rng_normal(&rng);
        s.n = 2;
        for (int i = 0; i < 2; i++) {
            struct placing p = {360.0 * plumb_unc_rng_uniform(&rng), 0.025, i == 1, 35};
            site_default(&site[i]);
            site[i].crest[MESIAL].y += 1.1 * i;
            site_sheet(&site[i], &p, 0.0, &s.sheet[i]);
            plumb_text_copy(s.sheet[i].film.taken, 11, i == 0 ? "2025-01-31" : "2026-01-31");
            spoil(&whole, &p, &rng, &s.sheet[i]);
            for (size_t g = 0; g < s.sheet[i].n_gauges; g++)
                s.sheet[i].gauge[g].mm += size;
        }
        compare(&s, false);
        count_changes(&s, site, &n, &held);
        set_release(&s);
    }
    config = kept;
    print_message("changes: %.0f, held %.1f %%\n", n, 100.0 * held / n);
    assert_true(n > 20.0 * TRIALS);
    assert_true(held / n > 0.91 && held / n < 0.99); /* of one pair they hang together */
}

/* --- what does not belong -----------------------------------------------------------------------
 */

static void refused(struct set *s, const char *words)
{
    struct err err = {0};
    measure(s);
    int rc = plumb_meas_series(s->visit, s->n, false, &s->series, &err);
    assert_true(rc == ERR_FORMAT || rc == ERR_ARG);
    if (strstr(err.text, words) == NULL)
        fail_msg("'%s' does not say '%s'", err.text, words);
    assert_null(s->series.course);
    set_release(s);
}

static void what_does_not_belong(void **state)
{
    (void)state;
    static struct set s;
    make_four(&s);
    s.sheet[2].film.taken[0] = '\0';
    refused(&s, "sheet2: states no date");
    make_four(&s);
    strcpy(s.sheet[1].film.taken, "2026-02-30");
    refused(&s, "sheet1: states no date");
    make_four(&s);
    s.sheet[3].site.tooth = 0;
    refused(&s, "sheet3: states no tooth");
    make_four(&s);
    s.sheet[3].site.tooth = 36;
    s.sheet[3].site.notation = NOTATION_UNIVERSAL;
    refused(&s, "sheet3: is of tooth 19, sheet0 of 35");
    make_four(&s);
    strcpy(s.sheet[3].film.taken, "2020-01-01");
    refused(&s, "sheet3: is not in order");
    make_four(&s);
    for (size_t i = 1; i < 4; i++)
        plumb_sheet_release(&s.sheet[i]);
    s.n = 1;
    refused(&s, "2 to 60 sheets, not of 1");
    s.n = SERIES_FILMS + 1;
    for (size_t i = 0; i < s.n; i++)
        make_sheet(&usual, 1.0, &s.sheet[i]);
    refused(&s, "not of 61");
}

/* The same tooth in the other notation, and as many films as there may be. */
static void the_most_films(void **state)
{
    (void)state;
    static struct set s;
    s.n = SERIES_FILMS;
    for (size_t i = 0; i < s.n; i++) {
        make_sheet(&usual, 1.0, &s.sheet[i]);
        s.sheet[i].site.notation = i % 2 ? NOTATION_UNIVERSAL : NOTATION_FDI;
        s.sheet[i].side[MESIAL].crest.by = MARK_CARRIED;
        snprintf(s.sheet[i].film.taken, 11, "20%02u-01-01", (unsigned)i % 100u);
    }
    compare(&s, false);
    assert_int_equal(course(&s, "cej_crest.mesial")->n_changes, 2 * SERIES_FILMS - 3);
    assert_int_equal(s.series.warnings.n, 1);
    assert_non_null(strstr(s.series.warnings.line[0], "films 1, 2, 3, "));
    assert_non_null(strstr(s.series.warnings.line[0], " and others: marks were carried over"));
    assert_non_null(strstr(s.series.warnings.line[0], "on their own film"));
    set_release(&s);
}

/* Out of memory at any place is told, and nothing is left behind. */
static void out_of_memory(void **state)
{
    (void)state;
    static struct set s;
    make_four(&s);
    measure(&s);
    int failed = 0, rc = ERR_NOMEM;
    for (long n = 1; n < 200 && rc != 0; n++) {
        plumb_mem_fail_after(n);
        rc = plumb_meas_series(s.visit, s.n, false, &s.series, NULL);
        plumb_mem_fail_after(0);
        failed += rc != 0;
        if (rc != 0)
            assert_null(s.series.course);
    }
    assert_int_equal(rc, 0);
    assert_true(failed >= 4);
    set_release(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_shared_size_cancels),
        cmocka_unit_test(another_drill_shares_nothing),
        cmocka_unit_test(the_published_least_change),
        cmocka_unit_test(which_changes),
        cmocka_unit_test(the_line),
        cmocka_unit_test(off_the_line_is_said),
        cmocka_unit_test(a_control_warns),
        cmocka_unit_test(a_control_is_quiet),
        cmocka_unit_test(carried_marks_are_told),
        cmocka_unit_test(a_loss_at_its_floor),
        cmocka_unit_test(what_the_pin_tells),
        cmocka_unit_test(what_is_not_the_same_thing),
        cmocka_unit_test(axes_of_two_kinds),
        cmocka_unit_test(intervals_hold_what_they_say),
        cmocka_unit_test(what_does_not_belong),
        cmocka_unit_test(the_most_films),
        cmocka_unit_test(out_of_memory),
    };
    return cmocka_run_group_tests(tests, load_config, NULL);
}
