/*
 * How the gauges make the scale. Each gauge gives k_i = L_i / l_i; the scale is their weighted mean
 * with fixed weights. A length gauge shortens when the pin leans out of the film's plane, and never
 * lengthens: for a lean that cannot be told from none the mean of that shortening is allowed for
 * (JCGM 100, 3.2.4) and its spread carried as an uncertainty of that gauge. When a length
 * and an across gauge show a lean that is larger than its own uncertainty, the length gauges are
 * left out. Gauges that disagree (chi-square at 5 %) widen u by the Birge ratio, and the worst is
 * named.
 */
#include "measure/scale_internal.h"

#include <stdio.h>

/* The lean counts when it is larger than 3 times its own uncertainty. A looser rule would let
 * chance choose the gauge, and a gauge chosen by its error carries it: at 2.5 one scale in a
 * hundred of hand-placed gauges came from an across gauge that was only read too wide. */
static const double significant_k = 3.0;

const double plumb_meas_usual_mm_per_px = 0.025;

static double radians(double deg)
{
    return deg / GEO_DEG_PER_RAD;
}

/*
 * A parallel beam at an angle b to the film's normal shows a length that leans by l as cos l + sin
 * l tan b, a cylinder's width as 1/cos b. Of a normal l of spread s and a normal b: the length
 * falls short by s^2/2 in the mean and spreads by s^2/sqrt 2 and s b; the width is b^2/2 too wide
 * and spreads by b^2/sqrt 2. Without the mean every length came out too long by a third of its u.
 */
double scale_shown(const struct meas_config *c, enum gauge_kind kind, double *u)
{
    double s = radians(c->lean.u_mm), b = radians(c->beam.u_mm);
    *u = kind == GAUGE_LENGTH ? hypot(s * s / sqrt(2.0), s * b) : b * b / sqrt(2.0);
    return kind == GAUGE_LENGTH ? -0.5 * s * s : 0.5 * b * b;
}

static double end_u(const struct mark *m, const struct meas_config *c, double rough_k)
{
    return m->sd > 0.0 ? m->sd : c->mark[KIND_GAUGE_END].u_mm / rough_k;
}

double scale_rough(const struct scene *sc)
{
    for (size_t i = 0; i < sc->s->n_gauges; i++) {
        double k = scene_gauge_scale(sc, i);
        if (k > 0.0)
            return k;
    }
    return sc->rule.from == SCALE_NONE ? NO_VALUE : sc->rule.fallback_mm_per_px;
}

/* Relative uncertainty of gauge i, without lean. */
static double gauge_relative_u(const struct scene *sc, size_t i, double rough_k)
{
    const struct sheet_gauge *g = &sc->s->gauge[i];
    double px = geo_dist(at(&g->end[0]), at(&g->end[1]));
    double u_px = hypot(end_u(&g->end[0], sc->c, rough_k), end_u(&g->end[1], sc->c, rough_k));
    double u_mm = g->u_mm > 0.0 ? g->u_mm : sc->c->gauge_size.u_mm;
    return hypot(u_px / px, u_mm / g->mm);
}

static bool lean_is_significant(const struct scene *sc, const double *relative, struct lean *lean)
{
    int along = -1, across = -1;
    for (int i = (int)sc->s->n_gauges - 1; i >= 0; i--)
        if (!isnan(scene_gauge_scale(sc, (size_t)i)))
            *(sc->s->gauge[i].kind == GAUGE_LENGTH ? &along : &across) = i;
    *lean = (struct lean){0};
    if (along < 0 || across < 0)
        return false;
    lean->has = true;
    lean->ratio = scene_gauge_scale(sc, (size_t)across) / scene_gauge_scale(sc, (size_t)along);
    lean->u_ratio = lean->ratio * hypot(relative[along], relative[across]);
    lean->most = 1.0 - significant_k * lean->u_ratio;
    lean->significant = lean->ratio < lean->most;
    return lean->significant;
}

static void last_resort(const struct meas_film *film, const struct sheet *s, struct scene *sc,
                        struct meas_scale *out)
{
    double longer = (double)(film->width > film->height ? film->width : film->height);
    if (s->film.sensor_mm > 0.0 && longer > 0.0) {
        sc->rule.from = SCALE_SENSOR;
        sc->rule.fallback_mm_per_px = s->film.sensor_mm / longer;
    } else if (film->pitch_um > 0.0) {
        sc->rule.from = SCALE_TAG;
        sc->rule.fallback_mm_per_px = film->pitch_um / 1000.0;
    } else {
        snprintf(out->words, sizeof out->words, "none: no gauge of known size, no believable tag");
        return;
    }
    snprintf(out->words, sizeof out->words,
             "last resort, from %s: plane of the sensor, not of the tooth; magnification unknown",
             sc->rule.from == SCALE_SENSOR ? "the sensor's stated size"
                                           : "the file's resolution tag");
}

/* "", or what a lean makes of the scale. */
static void lean_words(const struct scene *sc, char out[96])
{
    double least = 0.0;
    for (size_t i = 0; i < sc->s->n_gauges; i++)
        least = fmin(least, sc->rule.weight[i] > 0.0 ? sc->in.gauge_shown[i] : 0.0);
    out[0] = '\0';
    if (sc->rule.lean_known)
        plumb_text_copy(out, 96, ", those across the pin only, since it leans");
    else if (least < 0.0)
        snprintf(out, 96, ", the length less %.1f %% for a lean of %.0f\u00b0 that would not show",
                 -100.0 * least, sc->c->lean.u_mm);
}

static void tell_gauges(const struct scene *sc, const struct unc_mean *mean, size_t used,
                        const size_t *which, struct meas_result *r)
{
    char lean[96];
    lean_words(sc, lean);
    snprintf(r->scale.words, sizeof r->scale.words, "from %zu gauge%s%s", used,
             used == 1 ? "" : "s", lean);
    if (used < 2 || mean->consistent)
        return;
    plumb_sheet_notes_add(
        &r->warnings,
        "the gauges disagree by %.1f times what their uncertainties allow; farthest "
        "off is \"%s\", but either may be wrong: check sizes and ends; the "
        "scale's interval has been widened",
        mean->birge, sc->s->gauge[which[mean->worst]].name);
}

/* The estimate of what lean and beam do to the gauges of a kind. */
static void allow_for(struct scene *sc, enum gauge_kind kind)
{
    double u;
    for (size_t i = 0; i < sc->s->n_gauges; i++)
        if (sc->s->gauge[i].kind == kind)
            sc->in.gauge_shown[i] = scale_shown(sc->c, kind, &u);
}

int scale_decide(struct scene *sc, const struct meas_film *film, struct meas_result *r,
                 struct lean *lean, double *u_disagree, struct err *err)
{
    double k[SHEET_GAUGES], u[SHEET_GAUGES], relative[SHEET_GAUGES] = {0};
    size_t which[SHEET_GAUGES], n = 0;
    double rough = scale_rough(sc);
    for (size_t i = 0; i < sc->s->n_gauges; i++)
        if (!isnan(scene_gauge_scale(sc, i)))
            relative[i] = gauge_relative_u(sc, i, rough);
    allow_for(sc, GAUGE_ACROSS);
    sc->rule.lean_known = lean_is_significant(sc, relative, lean);
    if (!sc->rule.lean_known)
        allow_for(sc, GAUGE_LENGTH);
    for (size_t i = 0; i < sc->s->n_gauges; i++) {
        bool length = sc->s->gauge[i].kind == GAUGE_LENGTH;
        double u_shown, ki = scene_gauge_scale(sc, i);
        scale_shown(sc->c, sc->s->gauge[i].kind, &u_shown);
        r->scale.gauge_mm_per_px[i] = ki;
        r->scale.u_gauge[i] = ki * hypot(relative[i], u_shown);
        if (isnan(ki) || (length && sc->rule.lean_known))
            continue;
        k[n] = ki;
        u[n] = r->scale.u_gauge[i];
        r->scale.used[i] = true;
        which[n++] = i;
    }
    *u_disagree = 0.0;
    if (n == 0) {
        last_resort(film, sc->s, sc, &r->scale);
        return 0;
    }
    struct unc_mean mean;
    int rc = plumb_unc_weighted_mean(k, u, n, &mean, err);
    if (rc != 0)
        return rc;
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += 1.0 / (u[i] * u[i]);
    for (size_t i = 0; i < n; i++)
        sc->rule.weight[which[i]] = 1.0 / (u[i] * u[i]) / sum;
    sc->rule.from = SCALE_GAUGES;
    r->scale.birge = mean.birge;
    sc->rule.disagree = n > 1 && !mean.consistent;
    if (!mean.consistent)
        *u_disagree =
            sqrt(fmax(mean.u * mean.u - mean.u_internal * mean.u_internal, 0.0)) / mean.value;
    tell_gauges(sc, &mean, n, which, r);
    return 0;
}
