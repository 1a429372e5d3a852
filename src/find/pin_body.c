/*
 * One candidate at full resolution: a straightened strip along its axis, both flanks row by row,
 * a robust straight line through each, the axis as their bisector. Twice, since the first strip is
 * only as straight as the candidate was.
 *
 * Uncertainty: delete-a-block jackknife. Neighbouring rows share blur, noise of the detector and,
 * over longer stretches, the surroundings (a root's edge along the flank); the flanks are cut into
 * eight blocks, fitted eight times without one of them, and the spread of the fits gives the
 * variance of line and bisector (Kunsch, Ann. Statist. 17 (1989) 1217).
 */
#include <math.h>
#include <string.h>
#include "find/pin_internal.h"

/* Near the blur of the whole chain, 0.05 to 0.15 mm on pins of 1.5 to 4.2 mm: best signal. */
static const double edge_sd_px = 1.6, edge_sd = 0.025;
static const double row_mean = 0.02;     /* of the width: rows averaged to either side */
static const double small_sd_px = 1.0;   /* of the reduced film: block means have blurred already */
static const double rows_most = 900.0;   /* rows of a strip */
static const double cols_most = 220.0;   /* columns across the pin's width */
static const double strip_half = 0.72;   /* of the width: flanks and their surroundings */
static const double collar_half = 1.25;  /* and the collar */
static const double ok_slope = 0.3;      /* of the median slope: weaker is another edge */
static const double min_scale_px = 0.02; /* rounding of 8-bit films */
static const double land_share = 0.012; /* of the width: rows this near to the envelope are lands */
static const double rough_px = 1.0, rough_share = 0.008; /* deviations of no smooth flank */
static const double first_slope = 0.04; /* the candidate's own direction is better than that */
static const double off_line = 5.0;     /* robust deviations: farther is no edge of this flank */
static const double flute_depth = 0.22; /* of the width: a row this far inside may be a flute's */
/* The flanks' shift with the level beside them (flatten_sides): 3 mm of steel reach white 0.05 mm
 * sooner over a root than over air (chord of a cylinder, clipped at 3.5 of attenuation). */
static const double beside_most = 0.06; /* widths a full level, standard deviation */
/* A neighbour's edge over one flank shifts it more than the level there tells: on films in which a
 * root or crown overlaps the pin, so much more (study on phantoms, 284 films). */
static const double beside_unlike = 1.5;
static const double beside_taper = 0.001; /* between the flanks: lean by some degrees */
static const double noise_reach = 0.15;   /* widths: rows so near share noise and surroundings */
static const double min_beside_px = 0.1;
static const double core_fall = 0.6;    /* of the contrast: the metal has ended */
static const double core_gap = 0.25;    /* widths */
static const double collar_metal = 0.6; /* of the contrast, beside both flanks */
static const double crooked = 0.06;     /* of the width: no smooth pin's flank */
/* Student's factor for 95 % with 7 degrees of freedom against the normal one: 2.36 / 1.96. */
static const double few_blocks = 1.2;
enum { RUN_MIN = 16, BLOCKS = 8 }; /* rows; parts of a flank */

static int strip_on(const struct find_image *im, const struct geo_line *axis, double width,
                    double half, struct find_strip *st, struct err *err)
{
    double lo, hi, unit = im->scale;
    find_strip_release(st);
    if (!find_line_inside(im, axis, &lo, &hi))
        return 0;
    double ds = fmax(unit, (hi - lo) / rows_most), dt = fmax(unit, width / cols_most);
    return find_strip_make(im, axis, lo, hi, ds, half * width + 12.0 + 2.0 * unit, dt, st, err);
}

static double run_median(const struct pin_rows *r, int side, size_t i0, size_t i1)
{
    float *c = r->room;
    size_t n = i1 - i0 + 1;
    for (size_t i = 0; i < n; i++)
        c[i] = (float)r->g[side][i0 + i];
    return find_quantile_f(c, n, 0.5);
}

double pin_body_s(const struct pin_body *b, size_t row)
{
    return b->strip.s0 + b->strip.ds * (double)row;
}

size_t pin_body_row(const struct pin_body *b, double s)
{
    double i = floor((s - b->strip.s0) / b->strip.ds + 0.5);
    return i <= 0.0 ? 0 : i >= (double)b->strip.rows ? b->strip.rows - 1 : (size_t)i;
}

static void mark_rows(struct pin_body *b, int side, double limit)
{
    for (size_t i = 0; i < b->rows.n; i++)
        b->rows.ok[side][i] = b->rows.g[side][i] > limit;
}

static bool fit_both(struct pin_body *b, size_t i0, size_t i1)
{
    double least = fmax(min_scale_px, 0.1 * (b->im->scale - 1.0)), rough = 0.0;
    for (int k = 0; k < 2; k++) {
        if (!pin_flank_fit(&b->strip, &b->rows, k, i0, i1, least, &b->flank[k]))
            return false;
        rough = fmax(rough, fmax(b->flank[k].dips, b->flank[k].scale));
    }
    /* Not straight as it is: flutes or threads perhaps, whose lands are. */
    if (rough > fmax(rough_px * b->im->scale, rough_share * b->width))
        return pin_lands_fit(&b->strip, &b->rows, i0, i1, fmax(b->im->scale, land_share * b->width),
                             b->flank);
    return true;
}

/* Edges far off the fitted line are no flank: the run is drawn anew without them. */
static bool rerun(struct pin_body *b)
{
    for (int k = 0; k < 2; k++) {
        const struct pin_flank *f = &b->flank[k];
        double limit = fmax(1.5 * b->im->scale, off_line * f->scale), out = k == 0 ? 1.0 : -1.0;
        for (size_t i = 0; i < b->rows.n; i++) {
            double d = out * (b->rows.t[k][i] - f->a - f->b * pin_body_s(b, i));
            if (d > limit || d < -fmax(limit, flute_depth * b->width))
                b->rows.ok[k][i] = false;
        }
    }
    return pin_rows_run(&b->rows, &b->i0, &b->i1) && b->i1 >= b->i0 + RUN_MIN;
}

/* A strip on the axis and its edges within the window. */
static int look_across(struct pin_body *b, double window, double half, struct err *err)
{
    int rc = strip_on(b->im, &b->axis, b->width, half, &b->strip, err);
    if (rc != 0 || b->strip.rows < RUN_MIN)
        return rc;
    pin_rows_release(&b->rows);
    rc = pin_rows_make(b->strip.rows, &b->rows, err);
    if (rc != 0)
        return rc;
    bool small = b->im->scale > 1.0;
    double sd = small ? small_sd_px * b->im->scale : fmax(edge_sd_px, edge_sd * b->width);
    size_t reach = small ? 0 : (size_t)(row_mean * b->width / b->strip.ds);
    pin_rows_measure(&b->strip, 0.5 * b->width, window, sd / b->strip.dt, reach, &b->rows);
    return 0;
}

double pin_body_half(const struct pin_body *b, double s)
{
    return 0.5 * (b->flank[0].a - b->flank[1].a + (b->flank[0].b - b->flank[1].b) * s);
}

double pin_body_mid(const struct pin_body *b, double s)
{
    return 0.5 * (b->flank[0].a + b->flank[1].a + (b->flank[0].b + b->flank[1].b) * s);
}

/* The bisector becomes the axis. */
static void adopt_axis(struct pin_body *b)
{
    const struct find_strip *st = &b->strip;
    double m = 0.5 * (pin_body_s(b, b->i0) + pin_body_s(b, b->i1));
    struct geo_point p = find_strip_point(st, m, pin_body_mid(b, m));
    struct geo_point q = find_strip_point(st, m + 1.0, pin_body_mid(b, m + 1.0));
    b->axis = (struct geo_line){.at = p, .dir = geo_unit(geo_sub(q, p))};
    b->width = 2.0 * pin_body_half(b, m);
}

/* The lines of both flanks without the rows a..z. */
static bool fit_without(struct pin_body *b, size_t a, size_t z, struct pin_flank f[2])
{
    struct pin_flank whole[2] = {b->flank[0], b->flank[1]};
    size_t n = (z - a + 1) * sizeof(bool);
    for (int k = 0; k < 2; k++) {
        memcpy(b->rows.held[k], b->rows.ok[k] + a, n);
        memset(b->rows.ok[k] + a, 0, n);
    }
    bool good = fit_both(b, b->i0, b->i1);
    for (int k = 0; k < 2; k++) {
        memcpy(b->rows.ok[k] + a, b->rows.held[k], n);
        f[k] = b->flank[k];
        b->flank[k] = whole[k];
    }
    return good;
}

/* Delete-a-block jackknife of both flanks and of their bisector. */
static void axis_errors(struct pin_body *b)
{
    size_t rows = b->i1 - b->i0 + 1, block = rows / BLOCKS + 1;
    double m = 0.5 * (pin_body_s(b, b->i0) + pin_body_s(b, b->i1)), n = 0.0;
    double at[4][BLOCKS] = {{0}}, mean[4] = {0}, var[4] = {0};
    for (size_t a = b->i0; a <= b->i1; a += block) {
        struct pin_flank f[2];
        size_t z = a + block - 1 < b->i1 ? a + block - 1 : b->i1;
        if (!fit_without(b, a, z, f))
            continue;
        size_t k = (size_t)n;
        for (int i = 0; i < 2; i++)
            at[i][k] = f[i].a + f[i].b * m;
        at[2][k] = 0.5 * (at[0][k] + at[1][k]);
        at[3][k] = 0.5 * (f[0].b + f[1].b);
        n += 1.0;
    }
    for (int i = 0; i < 4; i++) {
        for (size_t k = 0; k < (size_t)n; k++)
            mean[i] += at[i][k] / n;
        for (size_t k = 0; k < (size_t)n; k++)
            var[i] += (at[i][k] - mean[i]) * (at[i][k] - mean[i]) * (n - 1.0) / n;
    }
    double least = min_scale_px * min_scale_px, k = n >= 4.0 ? few_blocks : 10.0;
    b->u_flank[0] = k * sqrt(var[0] + least);
    b->u_flank[1] = k * sqrt(var[1] + least);
    b->axis.u_offset = hypot(b->u_shift, k * sqrt(var[2] + least));
    b->axis.u_angle =
        hypot(b->u_turn, k * sqrt(var[3] + least / pow(b->strip.ds * (double)rows, 2.0)));
}

/* Sums of one flank's rows about their weighted means: s along, o the level beside, t across. */
struct beside_sums {
    double ss, so, oo, st, ot, mean;
};

/* A row counts by its distance from the line, and as one of as many as share its noise. */
static double row_weight(const struct pin_body *b, int k, size_t i)
{
    const struct pin_flank *f = &b->flank[k];
    double scale = fmax(f->lands < 1.0 ? land_share * b->width : f->scale, min_beside_px);
    double u = (b->rows.t[k][i] - f->a - f->b * pin_body_s(b, i)) / (GEO_BISQUARE_C * scale);
    double together = fmax(1.0, noise_reach * b->width / b->strip.ds);
    if (!b->rows.ok[k][i] || fabs(u) >= 1.0)
        return 0.0;
    return (1.0 - u * u) * (1.0 - u * u) / (scale * scale * together);
}

static struct beside_sums beside_sums_of(const struct pin_body *b, int k, const float *level)
{
    struct beside_sums m = {0};
    double w = 0.0, s = 0.0, t = 0.0;
    for (int pass = 0; pass < 2; pass++) {
        double ms = w > 0.0 ? s / w : 0.0, mt = w > 0.0 ? t / w : 0.0;
        for (size_t i = b->i0; i <= b->i1; i++) {
            double q = row_weight(b, k, i), ds = pin_body_s(b, i) - ms;
            double dt = b->rows.t[k][i] - mt, o = (double)level[i - b->i0] - m.mean;
            if (pass == 0) {
                w += q;
                s += q * ds;
                t += q * dt;
                m.oo += q * o;
                continue;
            }
            m.ss += q * ds * ds;
            m.so += q * ds * o;
            m.oo += q * o * o;
            m.st += q * ds * dt;
            m.ot += q * o * dt;
        }
        if (pass == 0) {
            m.mean = w > 0.0 ? m.oo / w : 0.0;
            m.oo = 0.0;
        }
    }
    return m;
}

/* Both flanks' slopes and c together, c the shift outwards per level beside: normal equations with
 * the slopes alike to within what a lean makes of them, c within what saturation can do. */
static bool beside_solve(const struct beside_sums m[2], double width, double *c, double *u_c)
{
    double taper = 1.0 / (beside_taper * beside_taper);
    double prior = 1.0 / (beside_most * width * beside_most * width);
    double a = m[0].ss + taper, d = m[1].ss + taper, e = -taper, p = m[0].so, q = -m[1].so;
    double det = a * d - e * e;
    if (!(det > 0.0))
        return false;
    /* slopes taken out: x = (d p - e q, a q - e p) / det */
    double x = (d * p - e * q) / det, y = (a * q - e * p) / det;
    double left = m[0].oo + m[1].oo + prior - p * x - q * y;
    *c = (m[0].ot - m[1].ot - m[0].st * x - m[1].st * y) / left;
    *u_c = 1.0 / sqrt(left);
    return left > 0.0;
}

/*
 * Where metal saturates, its edge is seen the farther out the brighter what lies beside it is: the
 * sum reaches white sooner. So a root or a crest along one flank turns the axis. The shift follows
 * the level beside the flank; its size is fitted from both flanks and taken off row by row.
 */
static bool flatten_sides(struct pin_body *b)
{
    size_t n = b->i1 - b->i0 + 1;
    float *level[2] = {b->rows.room, (float *)b->rows.room + n};
    double r = 0.5 * b->width, gap = fmax(3.0, 0.03 * b->width), band = fmax(3.0, 0.1 * b->width);
    struct beside_sums m[2];
    double c = 0.0, u_c = 0.0;
    pin_band(b, b->i0, b->i1, r + gap, r + gap + band, level[0]);
    pin_band(b, b->i0, b->i1, -r - gap - band, -r - gap, level[1]);
    for (int k = 0; k < 2; k++)
        m[k] = beside_sums_of(b, k, level[k]);
    if (!beside_solve(m, b->width, &c, &u_c))
        return true;
    double even = 0.5 * (m[0].mean + m[1].mean);
    for (int k = 0; k < 2; k++)
        for (size_t i = b->i0; i <= b->i1; i++)
            b->rows.t[k][i] -= (k == 0 ? c : -c) * ((double)level[k][i - b->i0] - even);
    b->u_shift = 0.5 * u_c * fabs(m[0].mean - m[1].mean);
    b->u_turn = beside_unlike * 0.5 * u_c * fabs(m[0].so / m[0].ss - m[1].so / m[1].ss);
    return fit_both(b, b->i0, b->i1);
}

double pin_body_level(const struct pin_body *b, size_t i0, size_t i1, double t0, double t1)
{
    const struct find_strip *st = &b->strip;
    double sum = 0.0;
    size_t n = 0;
    for (size_t i = i0; i <= i1; i += 2)
        n += find_strip_sum(st, i, t0, t1, &sum);
    return n > 0 ? sum / (double)n : 0.0;
}

static void levels(struct pin_body *b, size_t i0, size_t i1)
{
    double r = 0.5 * b->width, gap = fmax(3.0, b->im->scale);
    double band = fmax(3.0, 0.12 * b->width);
    b->inside = pin_body_level(b, i0, i1, -0.5 * r, 0.5 * r);
    b->outside[0] = pin_body_level(b, i0, i1, r + gap, r + gap + band);
    b->outside[1] = pin_body_level(b, i0, i1, -r - gap - band, -r - gap);
}

/* Rows before the candidate's beginning are another body's. */
static void mask_rows(struct pin_body *b, const struct pin_candidate *c)
{
    double from = plumb_geo_along(&b->strip.line, c->beyond);
    for (size_t i = 0; i < b->rows.n && c->limited; i++)
        if (pin_body_s(b, i) < from)
            b->rows.ok[0][i] = b->rows.ok[1][i] = false;
}

/* The first row from the middle of the run on, in steps of way, from which the core stays as dark
 * as what lies beside it for a while: other edges may go on in the flanks' lines. */
static size_t core_end(const struct pin_body *b, const float *core, double least, int way)
{
    size_t n = b->i1 - b->i0 + 1, patience = (size_t)fmax(3.0, core_gap * b->width / b->strip.ds);
    size_t dark = 0, last = n / 2, step = way > 0 ? 1 : SIZE_MAX; /* below 0 wraps round */
    for (size_t i = last; i < n; i += step) {
        dark = (double)core[i] < least ? dark + 1 : 0;
        if (dark >= patience)
            return last;
        last = dark == 0 ? i : last;
    }
    return way > 0 ? n - 1 : 0;
}

/* Ends the run where the metal ends. */
static bool trim_run(struct pin_body *b)
{
    size_t n = b->i1 - b->i0 + 1, i0 = b->i0;
    double r = 0.5 * b->width, gap = fmax(3.0, b->im->scale), band = fmax(4.0, 0.12 * b->width);
    float *core = b->rows.room, *sorted = core + n;
    pin_band(b, b->i0, b->i1, -0.4 * r, 0.4 * r, core);
    memcpy(sorted, core, n * sizeof *sorted);
    double inside = find_quantile_f(sorted, n, 0.5);
    double beside = 0.5 * (pin_body_level(b, b->i0, b->i1, r + gap, r + gap + band) +
                           pin_body_level(b, b->i0, b->i1, -r - gap - band, -r - gap));
    double least = inside - core_fall * (inside - beside);
    if (inside <= beside)
        return true;
    b->i1 = i0 + core_end(b, core, least, 1);
    b->i0 = i0 + core_end(b, core, least, -1);
    return b->i1 >= b->i0 + RUN_MIN && fit_both(b, b->i0, b->i1);
}

int pin_body_follow(const struct find_image *small, const struct pin_candidate *c, double slope,
                    struct pin_body *out, bool *good, struct err *err)
{
    /* A cell of the transform is a degree and a pixel wide: 5 px at the ends of a long pin. */
    static const double window_share[] = {0.2, 0.1}, window_px[] = {5.0, 2.5};
    struct pin_body *b = out;
    int rc = 0;
    memset(out, 0, sizeof *out);
    *good = true;
    b->im = small;
    b->axis = c->axis;
    b->width = c->width;
    for (int k = 0; k < 2 && rc == 0 && *good; k++) {
        rc = look_across(b, fmax(window_px[k] * small->scale, window_share[k] * b->width),
                         strip_half, err);
        *good = rc == 0 && b->rows.n >= RUN_MIN;
        if (!*good)
            break;
        mark_rows(b, 0, slope);
        mark_rows(b, 1, slope);
        mask_rows(b, c);
        *good = pin_rows_run(&b->rows, &b->i0, &b->i1) && b->i1 >= b->i0 + RUN_MIN &&
                fit_both(b, b->i0, b->i1) && rerun(b) && fit_both(b, b->i0, b->i1);
        *good = *good && trim_run(b);
        if (*good)
            adopt_axis(b);
    }
    if (*good)
        levels(b, b->i0, b->i1);
    else
        pin_body_release(b);
    return rc;
}

/* Steepness of the inward rise at +-h from the middle of the row, the weaker of both sides. */
static double rise_at(const struct find_strip *st, const float *row, double h)
{
    double c = -st->t0 / st->dt, d = h / st->dt;
    size_t l = (size_t)(c - d + 0.5), r = (size_t)(c + d + 0.5);
    if (c - d < 1.0 || r + 1 >= st->cols)
        return 0.0;
    double left = (double)(row[l + 1] - row[l - 1]), right = (double)(row[r - 1] - row[r + 1]);
    return 0.5 * fmin(left, right) / st->dt;
}

/* Votes for every half width h by the rows i0 on: how many show both flanks there. */
static double best_half(const struct find_strip *st, size_t i0, double slope, double least)
{
    double best = 0.0, half = 0.0, most = -st->t0 - 2.0 * st->dt;
    size_t steps = most > least ? (size_t)ceil((most - least) / st->dt) : 0;
    for (size_t k = 0; k < steps; k++) {
        double votes = 0.0, h = least + (double)k * st->dt;
        for (size_t i = i0; i < st->rows; i++) {
            const float *row = find_strip_row(st, i);
            double g = fmax(rise_at(st, row, h), rise_at(st, row, h + 0.5 * st->dt));
            votes += g > slope ? g / (g + 2.0 * slope) : 0.0;
        }
        if (votes > best) {
            best = votes;
            half = h;
        }
    }
    return best >= 0.5 * RUN_MIN ? half : 0.0;
}

/* The body's end towards `way` (+1: large s) goes on into something coaxial: of which width? */
int pin_body_beyond(const struct pin_body *b, int way, double slope, struct pin_candidate *c,
                    bool *found, struct err *err)
{
    struct find_strip st = {0};
    struct geo_line line = b->axis;
    double lo, hi, unit = b->im->scale;
    struct geo_point end = find_strip_point(&b->strip, pin_body_s(b, way > 0 ? b->i1 : b->i0), 0.0);
    line.dir = geo_mul(line.dir, way);
    double from = plumb_geo_along(&line, end);
    *found = false;
    if (!find_line_inside(b->im, &line, &lo, &hi) || hi - from < 0.8 * b->width)
        return 0;
    int rc =
        find_strip_make(b->im, &line, from, hi, unit, 1.2 * b->width + 4.0 * unit, unit, &st, err);
    if (rc != 0)
        return rc;
    double half = best_half(&st, 0, slope, 0.3 * b->width);
    *c = (struct pin_candidate){.axis = line,
                                .width = 2.0 * half,
                                .inverted = b->im->inverted,
                                .limited = true,
                                .beyond = end};
    *found = half > 0.0;
    find_strip_release(&st);
    return 0;
}

/* What counts as on the line of a flank, px. */
static double on_line(const struct pin_body *b, int k)
{
    return fmax(1.2, fmax(0.008 * b->width, 4.0 * b->flank[k].scale));
}

bool pin_body_on_flank(const struct pin_body *b, size_t row)
{
    double s = pin_body_s(b, row);
    bool on = false;
    for (int k = 0; k < 2; k++)
        on = on || (b->rows.ok[k][row] &&
                    fabs(b->rows.t[k][row] - b->flank[k].a - b->flank[k].b * s) < on_line(b, k));
    return on;
}

/* Share of the rows i0..i1 that lie on the lines at both sides, and how far outside the others do.
 */
static void block_fit(const struct pin_body *b, size_t i0, size_t i1, const double tol[2],
                      double *on, double *beyond)
{
    size_t hit = 0, out = 0;
    for (size_t i = i0; i <= i1; i++) {
        double s = pin_body_s(b, i), d[2];
        for (int k = 0; k < 2; k++)
            d[k] = (k == 0 ? 1.0 : -1.0) * (b->rows.t[k][i] - b->flank[k].a - b->flank[k].b * s);
        bool on0 = b->rows.ok[0][i] && fabs(d[0]) < tol[0];
        bool on1 = b->rows.ok[1][i] && fabs(d[1]) < tol[1];
        hit += on0 || on1;
        out += b->rows.ok[0][i] && b->rows.ok[1][i] && d[0] > tol[0] && d[1] > tol[1];
    }
    *on = (double)hit / (double)(i1 - i0 + 1);
    *beyond = (double)out / (double)(i1 - i0 + 1);
}

/* A collar: metal beside both flanks in the rows i0..i1. */
static bool is_collar(const struct pin_body *b, size_t i0, size_t i1)
{
    double r = 0.5 * b->width, near = r + fmax(3.0, b->im->scale), far = near + 0.12 * b->width;
    double base = 0.5 * (b->outside[0] + b->outside[1]);
    double least =
        fmin(pin_body_level(b, i0, i1, near, far), pin_body_level(b, i0, i1, -far, -near));
    return least > base + collar_metal * (b->inside - base);
}

/*
 * The straight part that starts at the tip. A collar, a thicker or thinner shank and the pin share
 * one axis, and a line through all of them is none of theirs: so the lines are fitted to the last
 * two widths before the tip first and carried on crownwards while the edges stay on them.
 */
static bool grow(struct pin_body *b)
{
    enum { flute_blocks = 7 }; /* 1.4 widths: the longest dip between two lands of a drill */
    size_t step = (size_t)fmax(4.0, 0.2 * b->width / b->strip.ds);
    size_t first = 8 * step, missing = 0, end = b->i1, start;
    if (end < b->i0 + first)
        return fit_both(b, b->i0, end);
    /* a cone and one flute may fill the first stretch: no line fits, or a crooked one, so look at a
     * longer one */
    while (!fit_both(b, end - first, end) ||
           fmax(fabs(b->flank[0].b), fabs(b->flank[1].b)) > first_slope) {
        if (end < b->i0 + 2 * first)
            return fit_both(b, b->i0, end);
        first *= 2;
    }
    start = end - first;
    levels(b, start, end);
    while (fit_both(b, start, end)) {
        size_t reach = (end - start) / 2 > step ? (end - start) / 2 : step;
        size_t fitted = start;
        double tol[2] = {on_line(b, 0), on_line(b, 1)};
        for (size_t i = start; i >= b->i0 + step && start - i < reach; i -= step) {
            double on, beyond;
            block_fit(b, i - step, i, tol, &on, &beyond);
            missing = on < 0.4 ? missing + 1 : 0;
            if (beyond > 0.5 || missing > flute_blocks ||
                (missing > 0 && is_collar(b, i - step, i)))
                break;
            fitted = missing == 0 ? i - step : fitted;
        }
        if (fitted == start)
            break;
        start = fitted;
    }
    b->i0 = start;
    return fit_both(b, start, end);
}

/* A drill's flank jumps from land to flute; its lands are judged later. */
static bool is_straight(const struct pin_body *b)
{
    return fmin(b->flank[0].lands, b->flank[1].lands) < 1.0 ||
           fmax(b->flank[0].scale, b->flank[1].scale) < crooked * b->width;
}

static int measure_round(struct pin_body *b, double s0, double s1, double window, double half,
                         enum pin_run run, bool *good, struct err *err)
{
    int rc = look_across(b, window, half, err);
    *good = rc == 0 && b->rows.n >= RUN_MIN;
    if (!*good)
        return rc;
    b->i0 = pin_body_row(b, s0);
    b->i1 = pin_body_row(b, s1);
    *good = b->i1 >= b->i0 + RUN_MIN;
    if (!*good)
        return 0;
    size_t apical = b->i1 - (b->i1 - b->i0) / 2; /* the collar's edges are not the pin's */
    for (int k = 0; k < 2; k++)
        mark_rows(b, k, ok_slope * run_median(&b->rows, k, apical, b->i1));
    *good = run == PIN_RUN_WHOLE ? fit_both(b, b->i0, b->i1) : grow(b);
    return 0;
}

int pin_body_measure(const struct find_image *film, const struct pin_body *coarse, enum pin_run run,
                     struct pin_body *out, bool *good, struct err *err)
{
    static const double window_share[] = {0.12, 0.06, 0.06};
    struct pin_body *b = out;
    int rc = 0;
    memset(out, 0, sizeof *out);
    *good = true;
    b->im = film;
    b->axis = coarse->axis;
    b->width = coarse->width;
    double s0 = plumb_geo_along(
        &b->axis, find_strip_point(&coarse->strip, pin_body_s(coarse, coarse->i0), 0.0));
    double s1 = plumb_geo_along(
        &b->axis, find_strip_point(&coarse->strip, pin_body_s(coarse, coarse->i1), 0.0));
    for (int k = 0; k < 3 && rc == 0 && *good; k++) {
        rc = measure_round(b, s0, s1, fmax(4.0, window_share[k] * b->width),
                           k < 2 ? strip_half : collar_half, run, good, err);
        *good = *good && is_straight(b);
        if (rc != 0 || !*good)
            break;
        struct geo_point p = find_strip_point(&b->strip, pin_body_s(b, b->i0), 0.0);
        struct geo_point q = find_strip_point(&b->strip, pin_body_s(b, b->i1), 0.0);
        adopt_axis(b);
        s0 = plumb_geo_along(&b->axis, p);
        s1 = plumb_geo_along(&b->axis, q);
    }
    *good = *good && rc == 0 && flatten_sides(b);
    if (*good) {
        adopt_axis(b);
        axis_errors(b);
        levels(b, b->i0, b->i1);
    } else {
        pin_body_release(b);
    }
    return rc;
}

void pin_body_release(struct pin_body *b)
{
    if (!b)
        return;
    find_strip_release(&b->strip);
    pin_rows_release(&b->rows);
    memset(b, 0, sizeof *b);
}

static void reverse_rows(struct find_strip *st)
{
    /* Turned by half a turn: rows and columns both run backwards. */
    for (size_t i = 0, j = st->rows * st->cols - 1; i < j; i++, j--) {
        float v = st->v[i];
        st->v[i] = st->v[j];
        st->v[j] = v;
    }
}

static void flip_rows(struct pin_rows *r)
{
    for (size_t i = 0, j = r->n - 1; i <= j && j < r->n; i++, j--) {
        for (int k = 0; k < 2; k++) {
            double ti = r->t[k][i], gi = r->g[k][i];
            bool oi = r->ok[k][i];
            r->t[k][i] = r->t[k][j];
            r->g[k][i] = r->g[k][j];
            r->ok[k][i] = r->ok[k][j];
            r->t[k][j] = ti;
            r->g[k][j] = gi;
            r->ok[k][j] = oi;
        }
    }
    for (size_t i = 0; i < r->n; i++) {
        double t = r->t[0][i], g = r->g[0][i];
        bool ok = r->ok[0][i];
        r->t[0][i] = -r->t[1][i];
        r->g[0][i] = r->g[1][i];
        r->ok[0][i] = r->ok[1][i];
        r->t[1][i] = -t;
        r->g[1][i] = g;
        r->ok[1][i] = ok;
    }
}

void pin_body_flip(struct pin_body *b)
{
    struct find_strip *st = &b->strip;
    struct pin_flank f = b->flank[0];
    size_t i0 = b->i0;
    double out = b->outside[0], u = b->u_flank[0];
    reverse_rows(st);
    flip_rows(&b->rows);
    st->s0 = -(st->s0 + st->ds * (double)(st->rows - 1));
    st->line.dir = geo_mul(st->line.dir, -1.0);
    b->axis.dir = geo_mul(b->axis.dir, -1.0);
    b->i0 = st->rows - 1 - b->i1;
    b->i1 = st->rows - 1 - i0;
    b->flank[0] = b->flank[1]; /* t = a + b s with s and t both reversed: a turns, b stays */
    b->flank[1] = f;
    b->flank[0].a = -b->flank[0].a; /* own_b as b */
    b->flank[1].a = -b->flank[1].a;
    b->outside[0] = b->outside[1];
    b->outside[1] = out;
    b->u_flank[0] = b->u_flank[1];
    b->u_flank[1] = u;
}
