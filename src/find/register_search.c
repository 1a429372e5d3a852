/*
 * Registration from afar: of many turns and sizes the one, with its shift, under which the edges of
 * two reduced films lie alike. Edges are told by direction without sign (the square of the unit
 * gradient), so tone and polarity do not matter; all shifts of one pose are tried at once by a
 * Fourier transform.
 *
 * Reference: for correlation of gradient directions, V. Argyriou and T. Vlachos, Estimation of
 * sub-pixel motion using gradient cross-correlation, Electron. Lett. 39 (2003) 980; the doubled
 * angle, G. H. Granlund, Comput. Graph. Image Process. 8 (1978) 155.
 * Limits: turns within turn_reach of a multiple of 90 degrees, sizes within size_reach after both
 * films have been brought to one longer side; a mirrored film is not looked for.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/register_internal.h"

enum { GRID = REG_FFT_MOST };
static const double margin = 0.05; /* of each side: a holder's frame and its corners */
/* Steps that move an edge at the rim of a film of 96 px by 2.6 and 2.7 px, about an edge's width
 * there. A film is turned in the mouth by 20 degrees at most (common practice, no source). */
static const int turn_steps = 4;
static const double turn_step_deg = 6.0, size_step = 1.12;
static const int size_steps = 4; /* 0.64 to 1.57: sensors of two sizes, or a cropped film */
static const double least_overlap = 0.25;

/* --- fields --------------------------------------------------------------------------------------
 */

static struct geo_point gradient(const struct find_image *im, size_t x, size_t y)
{
    const float *v = im->level + y * im->width + x;
    size_t w = im->width;
    return (struct geo_point){(double)(v[1] - v[-1]), (double)(v[w] - *(v - w))};
}

static void fill_field(const struct find_image *im, struct reg_complex *z)
{
    size_t w = im->width, h = im->height;
    size_t mx = 1 + (size_t)(margin * (double)w), my = 1 + (size_t)(margin * (double)h), n = 0;
    double mean = 0.0;
    for (size_t y = my; y + my < h; y++)
        for (size_t x = mx; x + mx < w; x++, n++)
            mean += geo_norm(gradient(im, x, y));
    mean = n > 0 ? mean / (double)n : 0.0;
    for (size_t y = my; mean > 0.0 && y + my < h; y++) {
        for (size_t x = mx; x + mx < w; x++) {
            struct geo_point g = gradient(im, x, y);
            double size = geo_norm(g), k = size > 0.0 ? 1.0 / (size * (size + mean)) : 0.0;
            z[y * w + x] = (struct reg_complex){k * (g.x * g.x - g.y * g.y), k * 2.0 * g.x * g.y};
        }
    }
}

int reg_field_make(const struct film *film, size_t max_side, struct reg_field *out, struct err *err)
{
    *out = (struct reg_field){0};
    int rc = find_image_reduce(film, max_side, &out->image, err);
    if (rc != 0)
        return rc;
    out->z = plumb_mem_array(out->image.width * out->image.height, sizeof *out->z, err);
    if (out->z == NULL) {
        reg_field_release(out);
        return ERR_NOMEM;
    }
    memset(out->z, 0, out->image.width * out->image.height * sizeof *out->z);
    fill_field(&out->image, out->z);
    return 0;
}

void reg_field_release(struct reg_field *f)
{
    find_image_release(&f->image);
    free(f->z);
    *f = (struct reg_field){0};
}

/* Bilinear at the image's own pixels; false outside. */
static bool field_at(const struct reg_field *f, struct geo_point p, struct reg_complex *out)
{
    size_t w = f->image.width, h = f->image.height;
    if (!(p.x >= 0.0 && p.y >= 0.0 && p.x < (double)w - 1.0 && p.y < (double)h - 1.0))
        return false;
    size_t ix = (size_t)p.x, iy = (size_t)p.y;
    double fx = p.x - (double)ix, fy = p.y - (double)iy;
    const struct reg_complex *a = f->z + iy * w + ix, *b = a + w;
    double k[] = {(1.0 - fx) * (1.0 - fy), fx * (1.0 - fy), (1.0 - fx) * fy, fx * fy};
    *out = (struct reg_complex){k[0] * a[0].re + k[1] * a[1].re + k[2] * b[0].re + k[3] * b[1].re,
                                k[0] * a[0].im + k[1] * a[1].im + k[2] * b[0].im + k[3] * b[1].im};
    return true;
}

/* A film turned by a turns the square of its gradient by 2 a; this turns it back. */
static struct reg_complex turned_back(struct reg_complex z, struct geo_point u)
{
    struct geo_point t = {u.x * u.x - u.y * u.y, 2.0 * u.x * u.y};
    return (struct reg_complex){z.re * t.x + z.im * t.y, z.im * t.x - z.re * t.y};
}

static struct geo_point to_own(const struct find_image *im, struct geo_point film)
{
    return geo_mul((struct geo_point){film.x - im->offset, film.y - im->offset}, 1.0 / im->scale);
}

double reg_field_agreement(const struct reg_field *old_film, const struct reg_field *new_film,
                           const struct find_map *map)
{
    const struct find_image *im = &old_film->image;
    struct geo_point u = geo_unit((struct geo_point){map->xx + map->yy, map->yx - map->xy});
    double both = 0.0, one = 0.0, other = 0.0;
    size_t n = 0;
    for (size_t y = 0; y < im->height; y++) {
        for (size_t x = 0; x < im->width; x++) {
            struct geo_point p = reg_to_film(im, (struct geo_point){(double)x, (double)y});
            struct reg_complex a = old_film->z[y * im->width + x], b;
            if (!field_at(new_film, to_own(&new_film->image, reg_map_point(map, p)), &b))
                continue;
            b = turned_back(b, u);
            both += a.re * b.re + a.im * b.im;
            one += a.re * a.re + a.im * a.im;
            other += b.re * b.re + b.im * b.im;
            n++;
        }
    }
    bool enough = (double)n >= least_overlap * (double)(im->width * im->height);
    return enough && one > 0.0 && other > 0.0 ? both / sqrt(one * other) : 0.0;
}

/* --- search --------------------------------------------------------------------------------------
 */

struct pose {
    double size;           /* new reduced px to an old one */
    struct geo_point turn; /* unit: (cos, sin) */
    int dx, dy;            /* of the old film's middle against the new one's, old reduced px */
    double score;
};

static struct geo_point middle(const struct find_image *im)
{
    return (struct geo_point){0.5 * (double)(im->width - 1), 0.5 * (double)(im->height - 1)};
}

/* Where the point u old reduced px from the middle comes to lie. */
static struct geo_point posed(const struct find_image *im, const struct pose *p, struct geo_point u)
{
    struct geo_point t = {p->turn.x * u.x - p->turn.y * u.y, p->turn.y * u.x + p->turn.x * u.y};
    return geo_add(middle(im), geo_mul(t, p->size));
}

static void draw_posed(const struct reg_field *f, const struct pose *p, struct reg_complex *grid)
{
    for (int y = 0; y < GRID; y++) {
        for (int x = 0; x < GRID; x++, grid++) {
            struct geo_point u = {x - 0.5 * GRID, y - 0.5 * GRID};
            if (field_at(f, posed(&f->image, p, u), grid))
                *grid = turned_back(*grid, p->turn);
            else
                *grid = (struct reg_complex){0};
        }
    }
}

static void draw_centred(const struct reg_field *f, struct reg_complex *grid)
{
    size_t w = f->image.width, h = f->image.height;
    memset(grid, 0, sizeof *grid * GRID * GRID);
    for (size_t y = 0; y < h; y++)
        memcpy(grid + (y + GRID / 2 - h / 2) * GRID + GRID / 2 - w / 2, f->z + y * w,
               w * sizeof *grid);
}

/* The best shift of this pose. old: its transform; grid: room. */
static void best_shift(const struct reg_complex *old, const struct reg_field *f, struct pose *p,
                       struct reg_complex *grid)
{
    draw_posed(f, p, grid);
    reg_fft_square(grid, GRID, -1);
    for (size_t i = 0; i < (size_t)GRID * GRID; i++) {
        struct reg_complex a = old[i], b = grid[i];
        grid[i] = (struct reg_complex){a.re * b.re + a.im * b.im, a.im * b.re - a.re * b.im};
    }
    reg_fft_square(grid, GRID, +1);
    p->score = 0.0;
    for (int i = 0; i < GRID * GRID; i++) {
        if (grid[i].re <= p->score)
            continue;
        p->score = grid[i].re;
        p->dx = (i % GRID + GRID / 2) % GRID - GRID / 2;
        p->dy = (i / GRID + GRID / 2) % GRID - GRID / 2;
    }
}

/* Within one step in each: the same place seen twice. */
static bool same_place(const struct pose *a, const struct pose *b)
{
    const int near_px = 8;
    double cos_turn = geo_dot(a->turn, b->turn), ratio = fabs(log(a->size / b->size));
    return cos_turn > cos(1.5 * turn_step_deg * GEO_PI / 180.0) && ratio < 1.5 * log(size_step) &&
           abs(a->dx - b->dx) <= near_px && abs(a->dy - b->dy) <= near_px;
}

/* Keeps the list sorted, best first, one entry a place. */
static void keep_pose(struct pose *list, size_t max, size_t *n, const struct pose *p)
{
    for (size_t i = 0; i < *n; i++) {
        if (!same_place(&list[i], p))
            continue;
        if (list[i].score >= p->score)
            return;
        memmove(list + i, list + i + 1, (--*n - i) * sizeof *list);
        i--;
    }
    size_t at = 0;
    while (at < *n && list[at].score >= p->score)
        at++;
    if (at >= max)
        return;
    size_t stay = *n < max ? *n : max - 1;
    memmove(list + at + 1, list + at, (stay - at) * sizeof *list);
    list[at] = *p;
    *n = stay + 1;
}

static struct find_map map_of(const struct reg_field *old_film, const struct reg_field *new_film,
                              const struct pose *p)
{
    const struct find_image *a = &old_film->image, *b = &new_film->image;
    double k = p->size * b->scale / a->scale;
    struct geo_point centre = {floor(0.5 * (double)a->width) + p->dx,
                               floor(0.5 * (double)a->height) + p->dy};
    return (struct find_map){.from = reg_to_film(a, centre),
                             .to = reg_to_film(b, middle(b)),
                             .xx = k * p->turn.x,
                             .xy = -k * p->turn.y,
                             .yx = k * p->turn.y,
                             .yy = k * p->turn.x};
}

static void try_poses(const struct reg_complex *old, const struct reg_field *f,
                      struct reg_complex *grid, struct pose *list, size_t max, size_t *n)
{
    const double rad = GEO_PI / 180.0;
    for (int quarter = 0; quarter < 4; quarter++) {
        for (int i = -turn_steps; i <= turn_steps; i++) {
            double a = rad * (90.0 * quarter + turn_step_deg * i);
            for (int j = -size_steps; j <= size_steps; j++) {
                struct pose p = {.size = pow(size_step, j), .turn = {cos(a), sin(a)}};
                best_shift(old, f, &p, grid);
                keep_pose(list, max, n, &p);
            }
        }
    }
}

int reg_search(const struct reg_field *old_film, const struct reg_field *new_film,
               struct find_map *out, size_t max, size_t *n, struct err *err)
{
    struct reg_complex *old = plumb_mem_array((size_t)GRID * GRID, sizeof *old, err);
    struct reg_complex *grid = plumb_mem_array((size_t)GRID * GRID, sizeof *grid, err);
    struct pose *list = plumb_mem_array(max, sizeof *list, err);
    int rc = old && grid && list ? 0 : ERR_NOMEM;
    *n = 0;
    if (rc == 0) {
        draw_centred(old_film, old);
        reg_fft_square(old, GRID, -1);
        try_poses(old, new_film, grid, list, max, n);
        for (size_t i = 0; i < *n; i++)
            out[i] = map_of(old_film, new_film, &list[i]);
    }
    free(old);
    free(grid);
    free(list);
    return rc;
}
