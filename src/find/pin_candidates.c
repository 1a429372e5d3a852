/*
 * Candidates: a pin is a pair of straight parallel edges of opposite sign. Hough transform of
 * signed gradients over (direction of the gradient, distance from the origin) in the reduced film;
 * an accumulator cell of one direction is paired with the cell of the opposite direction across
 * every plausible width. Metal bright and metal dark are tried alike: the same accumulator read
 * with its halves swapped. The best pairs are then followed along their axis, where the longest
 * stretch with both flanks in sight is kept.
 *
 * Reference: R. O. Duda, P. E. Hart, Comm. ACM 15 (1972) 11; gradient direction after F. O'Gorman,
 * M. B. Clowes, IEEE Trans. Comp. C-25 (1976) 449.
 * Limits: a flank that is merged with equally bright metal over most of its length is not seen.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/pin_internal.h"

enum {
    DIRECTIONS = 180, /* bins of 2 degrees over the full turn */
    SPREAD = 4,       /* +-8 degrees: error of a gradient's direction in noise and blur */
    KEEP = 384,       /* pairs kept before the greedy choice */
    HISTOGRAM = 1024  /* bins for quantiles */
};
static const double vote_quantile = 0.70; /* only the steepest third of the film votes */
static const double least_votes = 8.0;    /* of either edge: a dozen rows in sight */
static const double same_angle_deg = 4.0; /* pairs nearer than this in all three are one */
static const double same_offset_px = 4.0; /* reduced px */
static const double same_width_share = 0.2;

struct cell {
    int direction;
    double rho, width, votes;
    bool inverted;
};

struct hough {
    int reach; /* rho in -reach..reach */
    size_t stride;
    float *votes;       /* DIRECTIONS x stride */
    float *rise, *fall; /* of one direction: stride, of fall the widths on top */
    float *plane;       /* stride x widths: their pairs */
};

struct gradient {
    float *x, *y, *size;
    double level; /* vote_quantile of size */
};

static void gradient_release(struct gradient *g)
{
    free(g->x);
    free(g->y);
    free(g->size);
}

static double quantile(const float *v, size_t n, double q)
{
    size_t count[HISTOGRAM] = {0}, sum = 0;
    float top = 0.0F;
    for (size_t i = 0; i < n; i++)
        top = v[i] > top ? v[i] : top;
    if (top <= 0.0F)
        return 0.0;
    for (size_t i = 0; i < n; i++)
        count[(size_t)(v[i] / top * (HISTOGRAM - 1))]++;
    for (size_t b = 0; b < HISTOGRAM; b++) {
        sum += count[b];
        if ((double)sum >= q * (double)n)
            return (double)top * ((double)b + 1.0) / HISTOGRAM;
    }
    return (double)top;
}

/* Sobel's operator, level per reduced pixel. */
static int gradient_make(const struct find_image *im, struct gradient *g, struct err *err)
{
    size_t w = im->width, h = im->height;
    g->x = plumb_mem_array(w * h, sizeof *g->x, err);
    g->y = plumb_mem_array(w * h, sizeof *g->y, err);
    g->size = plumb_mem_array(w * h, sizeof *g->size, err);
    if (!g->x || !g->y || !g->size)
        return ERR_NOMEM;
    for (size_t y = 1; y + 1 < h; y++) {
        for (size_t x = 1; x + 1 < w; x++) {
            const float *c = im->level + y * w + x, *a = c - w, *b = c + w;
            float gx = (a[1] - a[-1] + 2.0F * (c[1] - c[-1]) + b[1] - b[-1]) / 8.0F;
            float gy = (b[-1] - a[-1] + 2.0F * (b[0] - a[0]) + b[1] - a[1]) / 8.0F;
            g->x[y * w + x] = gx;
            g->y[y * w + x] = gy;
            g->size[y * w + x] = sqrtf(gx * gx + gy * gy);
        }
    }
    g->level = quantile(g->size, w * h, vote_quantile);
    return 0;
}

/* Widths tried, from min_width_small on. */
static size_t widths_of(const struct find_image *im, const struct pin_params *p)
{
    double side = (double)(im->width > im->height ? im->width : im->height);
    double most = p->max_width_share * side - p->min_width_small;
    return most > 1.0 ? (size_t)most : 1;
}

static int hough_make(const struct find_image *im, size_t w0, size_t widths, struct hough *h,
                      struct err *err)
{
    h->reach = (int)ceil(hypot((double)im->width, (double)im->height)) + 2;
    h->stride = 2 * (size_t)h->reach + 1;
    h->votes = plumb_mem_array(DIRECTIONS * h->stride, sizeof *h->votes, err);
    h->plane = plumb_mem_array(h->stride * widths, sizeof *h->plane, err);
    h->rise = plumb_mem_array(h->stride, sizeof *h->rise, err);
    h->fall = plumb_mem_array(h->stride + w0 + widths, sizeof *h->fall, err);
    return h->votes && h->plane && h->rise && h->fall ? 0 : ERR_NOMEM;
}

static void hough_release(struct hough *h)
{
    free(h->votes);
    free(h->plane);
    free(h->rise);
    free(h->fall);
}

/* Votes grow with the gradient but saturate, so that a weak pin counts beside a strong crown. */
static void hough_vote(const struct find_image *im, const struct gradient *g, struct hough *h)
{
    double c[DIRECTIONS], s[DIRECTIONS];
    for (int k = 0; k < DIRECTIONS; k++) {
        c[k] = cos(2.0 * GEO_PI * k / DIRECTIONS);
        s[k] = sin(2.0 * GEO_PI * k / DIRECTIONS);
    }
    for (size_t y = 0; y < im->height; y++) {
        for (size_t x = 0; x < im->width; x++) {
            size_t i = y * im->width + x;
            double m = (double)g->size[i];
            if (m <= g->level)
                continue;
            double a = atan2((double)g->y[i], (double)g->x[i]);
            int k0 = (int)lround(a * DIRECTIONS / (2.0 * GEO_PI)) + DIRECTIONS;
            float vote = (float)(m / (m + 2.0 * g->level));
            for (int d = -SPREAD; d <= SPREAD; d++) {
                int k = (k0 + d) % DIRECTIONS;
                double rho = (double)x * c[k] + (double)y * s[k];
                h->votes[(size_t)k * h->stride + (size_t)(lround(rho) + h->reach)] += vote;
            }
        }
    }
}

/* A line lies in no single cell: blur over three distances. */
static void hough_smooth(struct hough *h)
{
    for (size_t k = 0; k < DIRECTIONS; k++) {
        float *row = h->votes + k * h->stride, last = 0.0F;
        for (size_t i = 0; i + 1 < h->stride; i++) {
            float v = 0.5F * last + row[i] + 0.5F * row[i + 1];
            last = row[i];
            row[i] = v;
        }
    }
}

struct keep {
    struct cell *cell;
    size_t n;
    double floor;
};

static int by_votes(const void *a, const void *b)
{
    const struct cell *x = a, *y = b;
    if (x->votes != y->votes)
        return x->votes < y->votes ? 1 : -1;
    if (x->direction != y->direction)
        return x->direction - y->direction;
    if (x->rho != y->rho)
        return x->rho < y->rho ? -1 : 1;
    return x->width < y->width ? -1 : x->width > y->width;
}

static void keep_add(struct keep *k, struct cell c)
{
    if (c.votes <= k->floor)
        return;
    if (k->n == 2 * KEEP) {
        qsort(k->cell, k->n, sizeof *k->cell, by_votes);
        k->n = KEEP;
        k->floor = k->cell[KEEP - 1].votes;
    }
    k->cell[k->n++] = c;
}

static bool is_peak(const float *plane, size_t widths, size_t stride, size_t i, size_t w)
{
    float v = plane[i * widths + w];
    for (size_t a = i > 0 ? i - 1 : 0; a <= i + 1 && a < stride; a++)
        for (size_t b = w > 0 ? w - 1 : 0; b <= w + 1 && b < widths; b++)
            if (plane[a * widths + b] > v)
                return false;
    return true;
}

/* Rises and falls of one direction by their distance, no falls behind them; the greatest fall. */
static float edges_of(struct hough *h, int k, bool inverted, size_t pad)
{
    size_t opposite = (size_t)(k + DIRECTIONS / 2) % DIRECTIONS, last = h->stride - 1;
    const float *same = h->votes + (size_t)k * h->stride, *other = h->votes + opposite * h->stride;
    float most = 0.0F;
    for (size_t i = 0; i < h->stride; i++) {
        h->rise[i] = inverted ? other[last - i] : same[i];
        h->fall[i] = inverted ? same[i] : other[last - i];
        most = h->fall[i] > most ? h->fall[i] : most;
    }
    memset(h->fall + h->stride, 0, pad * sizeof *h->fall);
    return most;
}

/* Pairs of one direction: rise at rho, fall at rho + width; both must be there (geometric mean). */
static void pair_direction(struct hough *h, int k, bool inverted, size_t w0, size_t widths,
                           struct keep *keep)
{
    double least = keep->floor * keep->floor, most = (double)edges_of(h, k, inverted, w0 + widths);
    for (size_t i = 0; i < h->stride; i++) {
        float *cell = h->plane + i * widths;
        const float *fall = h->fall + i + w0;
        if ((double)h->rise[i] * most <= least)
            h->rise[i] = 0.0F; /* none of its pairs would be kept */
        for (size_t w = 0; w < widths; w++)
            cell[w] = h->rise[i] * fall[w];
    }
    for (size_t i = 0; i < h->stride; i++) {
        for (size_t w = 0; w < widths && h->rise[i] > 0.0F; w++) {
            double v = (double)h->plane[i * widths + w];
            if (v <= keep->floor * keep->floor || !is_peak(h->plane, widths, h->stride, i, w))
                continue;
            double rho = (double)i - (double)h->reach;
            keep_add(keep, (struct cell){k, rho, (double)(w0 + w), sqrt(v), inverted});
        }
    }
}

static bool same_pair(const struct cell *a, const struct cell *b)
{
    double turn = fabs((double)(a->direction - b->direction)) * 360.0 / DIRECTIONS;
    double wa = a->width, wb = b->width;
    return turn <= same_angle_deg &&
           fabs(a->rho + 0.5 * wa - b->rho - 0.5 * wb) <= same_offset_px &&
           fabs(wa - wb) <= fmax(2.0, same_width_share * fmax(wa, wb));
}

static size_t choose(struct keep *k, size_t max)
{
    size_t n = 0;
    qsort(k->cell, k->n, sizeof *k->cell, by_votes);
    for (size_t i = 0; i < k->n && n < max; i++) {
        bool again = false;
        for (size_t j = 0; j < n && !again; j++)
            again = same_pair(&k->cell[i], &k->cell[j]);
        if (!again)
            k->cell[n++] = k->cell[i];
    }
    return n;
}

/* The cell as an axis in the film; the origin of s is the point nearest to the film's middle. */
static struct pin_candidate to_candidate(const struct cell *c, const struct find_image *im)
{
    double a = 2.0 * GEO_PI * c->direction / DIRECTIONS;
    struct geo_point normal = {cos(a), sin(a)};
    struct geo_point mid = {0.5 * (double)im->width, 0.5 * (double)im->height};
    double shift = c->rho + 0.5 * c->width - geo_dot(mid, normal);
    mid = geo_add(mid, geo_mul(normal, shift));
    struct geo_point at = {mid.x * im->scale + im->offset, mid.y * im->scale + im->offset};
    return (struct pin_candidate){.axis = {.at = at, .dir = geo_perp(normal)},
                                  .width = c->width * im->scale,
                                  .inverted = c->inverted};
}

/* All pairs of one polarity; appended to out. */
static int search(const struct find_image *im, struct hough *h, bool inverted,
                  const struct pin_params *p, struct pin_candidate *out, size_t *found,
                  struct err *err)
{
    size_t w0 = (size_t)p->min_width_small;
    struct keep keep = {.cell = plumb_mem_array((size_t)2 * KEEP, sizeof *keep.cell, err),
                        .floor = least_votes};
    if (!keep.cell)
        return ERR_NOMEM;
    for (int k = 0; k < DIRECTIONS / 2; k++)
        pair_direction(h, k, inverted, w0, widths_of(im, p), &keep);
    size_t n = choose(&keep, p->n_cells);
    for (size_t i = 0; i < n; i++)
        out[(*found)++] = to_candidate(&keep.cell[i], im);
    free(keep.cell);
    return 0;
}

int pin_candidates(const struct find_image *small, const struct pin_params *p,
                   struct pin_candidate *out, size_t *n, double *slope, struct err *err)
{
    struct gradient g = {0};
    struct hough h = {0};
    *n = 0;
    int rc = gradient_make(small, &g, err);
    if (rc == 0)
        rc = hough_make(small, (size_t)p->min_width_small, widths_of(small, p), &h, err);
    *slope = g.level / small->scale;
    if (rc != 0 || g.level <= 0.0)
        goto out;
    hough_vote(small, &g, &h);
    hough_smooth(&h);
    for (int inverted = 0; inverted < 2 && rc == 0; inverted++)
        rc = search(small, &h, inverted != 0, p, out, n, err);
out:
    hough_release(&h);
    gradient_release(&g);
    return rc;
}
