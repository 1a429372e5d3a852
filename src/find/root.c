/*
 * A root from two rough points: its sides and its mid-line. See root_internal.h for the stages.
 *
 * The film is read twice. Straight down the line of the clicks each side offers a few ways, and
 * where the place does not say whether radiopaque is bright or dark, in both polarities; each pair
 * of ways is a reading. Along the best of these the film is read again, and the likeliest is given
 * out (root_choice.c), the less certain the likelier the others are.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/root_internal.h"

struct root_params {
    double min_length_px; /* a root of 8 mm at 60 um is 130 px; shorter clicks are a slip */
    double half_width;    /* of the grid, in root lengths: a central's cervix is 0.27 */
    double usual_half_mm, least_half_mm;
    double min_seen;       /* share of either side that has to be seen */
    double frame_level;    /* this near to black or white, of the way between, a frame may be */
    double flat_level;     /* half a level of 8 bits: one grey varies by less */
    double white;          /* of the way from black to it: dentine stays below */
    double beside_canal;   /* of the half width: dentine is seen there though the canal is filled */
    double seen_share;     /* of the side's typical step: less is not seen */
    double strength_share; /* of the other side's typical step is due of each */
    double hopeless;       /* a reading so far behind the best one's score is not read again */
    double u_border_mm;    /* the border's systematic part: blur and tone of the film */
};

static const struct root_params root_defaults = {.min_length_px = 60.0,
                                                 .half_width = 0.42,
                                                 .usual_half_mm = 2.0,
                                                 .least_half_mm = 0.5,
                                                 .min_seen = 0.4,
                                                 .frame_level = 0.006,
                                                 .flat_level = 0.5 / 255.0,
                                                 .white = 0.93,
                                                 .beside_canal = 0.5,
                                                 .seen_share = 0.35,
                                                 .strength_share = 0.5,
                                                 .hopeless = 5.0,
                                                 .u_border_mm = 0.04};

enum { FLAT = 8 }; /* columns: 0.26 nominal mm of a frame's grey, and of the blur at its edge */

static bool inside(const struct find_image *im, struct geo_point p)
{
    return p.x >= 0.0 && p.y >= 0.0 && p.x <= (double)im->width - 1.0 &&
           p.y <= (double)im->height - 1.0;
}

/* A straight root of usual width: 2 mm half at the crown end, half of it near the apex. */
static void usual_guess(const struct root_grid *g, struct root_guess *out)
{
    memset(out, 0, sizeof *out);
    for (size_t i = 0; i < ROOT_ROWS; i++)
        out->half[i] = root_defaults.usual_half_mm * g->mm * (1.0 - 0.5 * (double)i / ROOT_ROWS);
}

static void grid_fill(const struct find_image *im, struct root_grid *g)
{
    double fine = g->ds / ROOT_FINE;
    struct geo_point across = geo_mul(geo_perp(g->line.dir), g->dt);
    for (size_t i = 0; i < (size_t)ROOT_ROWS * ROOT_FINE; i++) {
        float *to = g->v + i / ROOT_FINE * g->cols;
        double left = g->guess.middle[i / ROOT_FINE] - g->dt * (double)g->middle;
        struct geo_point p = root_grid_point(g, ((double)i + 0.5) * fine, left);
        for (size_t j = 0; j < g->cols; j++, p = geo_add(p, across))
            to[j] += (float)find_image_at(im, p) / (float)ROOT_FINE;
    }
}

/* A share of the way from black to white, as a level. */
static double level_at(const struct find_image *im, double share)
{
    return im->black + share * (im->white - im->black);
}

/* Does the column belong to the film's frame? Beyond the film's edge the edge pixel is repeated; a
 * frame within the film is wholly black or white. */
static bool is_frame(const struct find_image *im, const struct root_grid *g, size_t i, size_t j)
{
    double level = (double)g->v[i * g->cols + j], s = ((double)i + 0.5) * g->ds;
    double t = ((double)j - (double)g->middle) * g->dt + g->guess.middle[i];
    return level < level_at(im, root_defaults.frame_level) ||
           level > level_at(im, 1.0 - root_defaults.frame_level) ||
           !inside(im, root_grid_point(g, s, t));
}

/* Is one grey all there is in the columns from j outwards? No film is without noise. */
static bool is_flat(const float *row, size_t j, ptrdiff_t outwards)
{
    float least = row[j], most = row[j];
    for (ptrdiff_t k = 1; k < FLAT; k++) {
        float v = row[(ptrdiff_t)j + k * outwards];
        least = fminf(least, v);
        most = fmaxf(most, v);
    }
    return (double)(most - least) < root_defaults.flat_level;
}

/* How many columns from one end of row i on belong to the frame: its black or white, and what else
 * of one grey follows. */
static size_t frame_columns(const struct find_image *im, const struct root_grid *g, size_t i,
                            bool left)
{
    const float *row = g->v + i * g->cols;
    size_t n = 0;
    for (size_t k = 0; k < g->middle && (k == 0 || n > 0) && k <= n + FLAT; k++) {
        size_t j = left ? k : g->cols - 1 - k;
        if (is_frame(im, g, i, j) || (n >= FLAT && is_flat(row, j, left ? -1 : 1)))
            n = k + 1;
    }
    return n;
}

static void field_find(const struct find_image *im, struct root_grid *g)
{
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        g->from[i] = frame_columns(im, g, i, true);
        g->to[i] = g->cols - frame_columns(im, g, i, false);
    }
}

/* Does metal, or overexposure, lie over most of the root, on either side of a filled canal? */
static bool is_covered(const struct find_image *im, const struct root_grid *g)
{
    size_t white = 0;
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        const float *middle = g->v + i * g->cols + g->middle;
        size_t off = (size_t)(root_defaults.beside_canal * g->guess.half[i] / g->dt);
        double least = fmin((double)middle[0], fmin((double)*(middle - off), (double)middle[off]));
        white += least > level_at(im, root_defaults.white);
    }
    return white > ROOT_ROWS / 2;
}

static int check_inside(const struct find_image *im, const char *what, struct geo_point p,
                        struct err *err)
{
    if (inside(im, p))
        return 0;
    return plumb_err_set(err, ERR_ARG, "the %s at %.1f,%.1f lies outside the film of %zu x %zu px",
                         what, p.x, p.y, im->width, im->height);
}

static int check_clicks(const struct find_image *im, struct geo_point crown_end,
                        struct geo_point apex, struct err *err)
{
    int rc = check_inside(im, "crown end", crown_end, err);
    if (rc == 0)
        rc = check_inside(im, "apex", apex, err);
    double length = geo_dist(crown_end, apex);
    if (rc != 0 || length >= root_defaults.min_length_px)
        return rc;
    return plumb_err_set(err, ERR_ILLPOSED,
                         "crown end and apex are %.0f px apart, need %.0f: mark them again", length,
                         root_defaults.min_length_px);
}

/* guess NULL: a straight root of usual width. */
static int grid_make(const struct find_image *im, struct geo_point crown_end, struct geo_point apex,
                     const struct root_guess *guess, struct root_grid *out, struct err *err)
{
    memset(out, 0, sizeof *out);
    double length = geo_dist(crown_end, apex), step = length / ROOT_ROWS;
    struct root_grid g = {
        .length = length, .mm = length / root_nominal_mm, .ds = step, .dt = step / ROOT_FINE};
    g.middle = (size_t)ceil(root_defaults.half_width * length / g.dt);
    g.cols = 2 * g.middle + 1;
    if (guess)
        g.guess = *guess;
    else
        usual_guess(&g, &g.guess);
    int rc = plumb_geo_line_through(crown_end, apex, &g.line, err);
    if (rc != 0)
        return rc;
    g.v = plumb_mem_array(ROOT_ROWS * g.cols, sizeof *g.v, err);
    if (!g.v)
        return ERR_NOMEM;
    grid_fill(im, &g);
    if (is_covered(im, &g)) {
        free(g.v);
        return plumb_err_set(err, ERR_ILLPOSED,
                             "the root lies under metal or is white on the film: mark it by hand");
    }
    field_find(im, &g);
    *out = g;
    return 0;
}

static void grid_release(struct root_grid *g)
{
    if (!g)
        return;
    free(g->v);
    memset(g, 0, sizeof *g);
}

/* A side as it is given out: seen points where they were found, gaps on the smooth root. */
static int put_side(const struct geo_line *line, double length, int side,
                    const struct root_point *pts, const struct root_shape *sh,
                    struct find_root *out, struct err *err)
{
    struct find_edge_point *to = plumb_mem_array(ROOT_POINTS, sizeof *to, err);
    double sign = side == 0 ? 1.0 : -1.0, mm = length / root_nominal_mm;
    size_t seen = 0;
    if (!to)
        return ERR_NOMEM;
    for (size_t k = 0; k < ROOT_POINTS; k++) {
        size_t h = ROOT_POINTS + k;
        double var = sh->cov[k][k] + sh->cov[h][h] + 2.0 * sign * sh->cov[k][h];
        double t = pts[k].seen ? pts[k].t : sh->middle[k] + sign * sh->half[k];
        to[k].at = root_at(line, pts[k].s, t);
        to[k].seen = pts[k].seen;
        to[k].u = hypot(root_defaults.u_border_mm * mm,
                        pts[k].seen ? sqrt(sh->scale * sh->scale + sh->doubt[side][k])
                                    : root_widening * sqrt(var));
        seen += pts[k].seen;
    }
    out->side[side] = to;
    out->n[side] = ROOT_POINTS;
    out->seen[side] = (double)seen / ROOT_POINTS;
    if (out->seen[side] >= root_defaults.min_seen)
        return 0;
    return plumb_err_set(err, ERR_ILLPOSED,
                         "only %.0f %% of one side of the root is to be seen: mark it by hand",
                         100.0 * out->seen[side]);
}

/* The shape at every row of the grid. */
static void shape_guess(double length, const struct root_shape *sh, struct root_guess *out)
{
    double per = (double)ROOT_ROWS / ROOT_POINTS;
    for (size_t i = 0; i < ROOT_ROWS; i++) {
        double k = fmin(fmax(((double)i + 0.5) / per - 0.5, 0.0), ROOT_POINTS - 1.0);
        size_t a = k < ROOT_POINTS - 1.0 ? (size_t)k : ROOT_POINTS - 2;
        double f = k - (double)a;
        out->middle[i] = (1.0 - f) * sh->middle[a] + f * sh->middle[a + 1];
        out->half[i] = fmin(fmax((1.0 - f) * sh->half[a] + f * sh->half[a + 1],
                                 root_defaults.least_half_mm * length / root_nominal_mm),
                            root_defaults.half_width * length);
    }
    out->guide = true;
}

/* A way and the border points along it. */
struct way {
    struct root_trace trace;
    struct root_point pts[ROOT_POINTS];
};

/* Near the apex the sides turn towards each other, and a trace without a guide runs straight on: it
 * is believed so far. */
static const size_t unguided_points = ROOT_POINTS * 4 / 5;

/* Which points of a way are seen. A side whose typical step is far below the other's has none but
 * scraps: its evidence counts against a share of the other's step. */
static void put_side_points(const struct root_grid *g, const struct way *way, double other,
                            int side, struct root_reading *r)
{
    const struct root_params *p = &root_defaults;
    double weaker = fmin(1.0, way->trace.strength / (p->strength_share * other));
    struct root_point *out = r->pts[side];
    memcpy(out, way->pts, sizeof way->pts);
    for (size_t k = 0; k < ROOT_POINTS; k++)
        out[k].seen = out[k].seen && weaker * out[k].evidence > p->seen_share &&
                      (g->guess.guide || k < unguided_points);
}

static int pair_reading(const struct root_grid *g, const struct way *left, const struct way *right,
                        struct root_reading *r, struct err *err)
{
    put_side_points(g, left, right->trace.strength, 0, r);
    put_side_points(g, right, left->trace.strength, 1, r);
    int rc = root_shape_fit(g, r->pts, &r->shape, err);
    if (rc == 0)
        r->score = root_score(g, r);
    return rc;
}

static int find_ways(const struct find_image *im, const struct root_grid *g, int side,
                     struct way out[ROOT_WAYS], size_t *n, struct err *err)
{
    struct root_trace trace[ROOT_WAYS];
    int rc = root_trace_side(g, side, trace, n, err);
    for (size_t i = 0; rc == 0 && i < *n; i++) {
        out[i].trace = trace[i];
        root_border(im, g, side, &trace[i], out[i].pts);
    }
    return rc;
}

/* Reads the grid: every way of one side with every way of the other. */
static int read_grid(const struct find_image *im, const struct root_grid *g,
                     struct root_readings *out, struct err *err)
{
    struct way way[2][ROOT_WAYS];
    struct root_reading r = {.inverted = im->inverted};
    struct err why = {0};
    size_t n[2] = {0, 0}, good = 0;
    int rc = 0, bad = 0;
    for (int side = 0; rc == 0 && side < 2; side++)
        rc = find_ways(im, g, side, way[side], &n[side], err);
    for (size_t i = n[0] * n[1]; rc == 0 && i-- > 0;) {
        bad = pair_reading(g, &way[0][i / n[1]], &way[1][i % n[1]], &r, &why);
        if (bad != 0)
            continue;
        root_readings_add(out, g, &r);
        good++;
    }
    /* the reason is that of the likeliest ways, which come last here */
    return rc != 0 || good > 0 ? rc : plumb_err_set(err, bad, "%s", why.text);
}

/* first NULL: straight down the line of the clicks; else along a reading of that round. */
static int find_round(const struct find_image *im, struct geo_point crown_end,
                      struct geo_point apex, const struct root_shape *first,
                      struct root_readings *out, struct err *err)
{
    struct root_guess guess;
    struct root_grid g = {0};
    if (first)
        shape_guess(geo_dist(crown_end, apex), first, &guess);
    int rc = grid_make(im, crown_end, apex, first ? &guess : NULL, &g, err);
    if (rc == 0)
        rc = read_grid(im, &g, out, err);
    grid_release(&g);
    return rc;
}

static int put_out(const struct geo_line *line, double length, const struct root_readings *r,
                   struct find_root *out, struct err *err)
{
    struct root_shape sh = root_shape_of(r);
    int rc = 0;
    for (int side = 0; rc == 0 && side < 2; side++)
        rc = put_side(line, length, side, r->at[0].pts[side], &sh, out, err);
    return rc == 0 ? root_midline(line, length, &sh, out, err) : rc;
}

/* Both rounds. */
static int find_readings(const struct film *film, struct geo_point crown_end, struct geo_point apex,
                         struct root_readings *out, struct err *err)
{
    enum find_polarity polarity = find_polarity_at_root(film, crown_end, apex);
    struct find_image im[2] = {find_image_of(film, false), find_image_of(film, true)};
    struct root_readings first = {0};
    int rc = 0;
    find_image_depth(&im[0]);
    im[1].black = 1.0 - im[0].white;
    im[1].white = 1.0 - im[0].black;
    for (int k = 0; k < 2 && rc != ERR_NOMEM; k++)
        if (polarity == FIND_POLARITY_UNSURE || polarity == (enum find_polarity)k)
            rc = find_round(&im[k], crown_end, apex, NULL, &first, err);
    double least = first.n > 0 ? first.at[0].score - root_defaults.hopeless : 0.0;
    for (size_t i = 0; i < first.n && first.at[i].score >= least && rc != ERR_NOMEM; i++)
        rc = find_round(&im[first.at[i].inverted], crown_end, apex, &first.at[i].shape, out, err);
    return rc != ERR_NOMEM && out->n > 0 ? 0 : rc;
}

int plumb_find_root(const struct film *film, struct geo_point crown_end, struct geo_point apex,
                    struct find_root *out, struct err *err)
{
    struct find_image im = find_image_of(film, false);
    struct root_readings readings = {0};
    struct geo_line line;
    memset(out, 0, sizeof *out);
    int rc = check_clicks(&im, crown_end, apex, err);
    if (rc == 0)
        rc = plumb_geo_line_through(crown_end, apex, &line, err);
    if (rc == 0)
        rc = find_readings(film, crown_end, apex, &readings, err);
    if (rc == 0)
        rc = put_out(&line, geo_dist(crown_end, apex), &readings, out, err);
    if (rc != 0)
        plumb_find_root_release(out);
    return rc;
}

void plumb_find_root_release(struct find_root *r)
{
    if (!r)
        return;
    free(r->side[0]);
    free(r->side[1]);
    memset(r, 0, sizeof *r);
}
