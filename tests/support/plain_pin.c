/*
 * The plain drawer. Transmission exp(-mu * thickness), sampled 3 x 3 to the pixel, blurred by a
 * Gaussian, multiplied into (1 - grey) of the film. Parallel rays, pin in the plane of the film.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "tests/support/plain_pin.h"

static const double pi = 3.14159265358979323846;

static uint64_t next(struct plain_rng *r)
{
    uint64_t z = (r->state += 0x9E3779B97F4A7C15u); /* splitmix64, Steele et al. 2014 */
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

double plain_uniform(struct plain_rng *r, double lo, double hi)
{
    return lo + (hi - lo) * (double)(next(r) >> 11) * 0x1p-53;
}

double plain_normal(struct plain_rng *r)
{
    double u = plain_uniform(r, 0x1p-53, 1.0), v = plain_uniform(r, 0.0, 1.0);
    return sqrt(-2.0 * log(u)) * cos(2.0 * pi * v);
}

static uint16_t to_grey(double level)
{
    return (uint16_t)(65535.0 * fmin(1.0, fmax(0.0, level)) + 0.5);
}

int plain_film_new(struct film *f, size_t w, size_t h, double grey)
{
    memset(f, 0, sizeof *f);
    f->grey = malloc(w * h * sizeof *f->grey);
    if (!f->grey)
        return -1;
    f->width = w;
    f->height = h;
    f->depth = 16;
    f->channels = 1;
    f->orientation = 1;
    for (size_t i = 0; i < w * h; i++)
        f->grey[i] = to_grey(grey);
    return 0;
}

struct wave {
    double kx, ky, phase, height;
};

void plain_background(struct film *f, struct plain_rng *r)
{
    struct wave wave[12];
    double side = (double)(f->width > f->height ? f->width : f->height);
    for (int i = 0; i < 12; i++) {
        double k = 2.0 * pi / side * pow(2.0, plain_uniform(r, 0.0, 5.0));
        double a = plain_uniform(r, 0.0, 2.0 * pi);
        wave[i] = (struct wave){k * cos(a), k * sin(a), plain_uniform(r, 0.0, 2.0 * pi),
                                0.05 / sqrt(1.0 + k * side / 20.0)};
    }
    double root[2] = {plain_uniform(r, 0.05, 0.3), plain_uniform(r, 0.7, 0.95)};
    double half = plain_uniform(r, 0.06, 0.12), lift = plain_uniform(r, 0.1, 0.3);
    for (size_t y = 0; y < f->height; y++) {
        for (size_t x = 0; x < f->width; x++) {
            double v = 0.3 + 0.15 * (double)y / (double)f->height;
            for (int i = 0; i < 12; i++)
                v += wave[i].height *
                     sin(wave[i].kx * (double)x + wave[i].ky * (double)y + wave[i].phase);
            for (int i = 0; i < 2; i++) {
                double d = fabs((double)x / (double)f->width - root[i]) / half;
                v += lift / (1.0 + exp((d - 1.0) * 25.0));
            }
            f->grey[y * f->width + x] = to_grey(v);
        }
    }
}

void plain_noise(struct film *f, struct plain_rng *r, double sd)
{
    for (size_t i = 0; i < f->width * f->height; i++)
        f->grey[i] = to_grey(f->grey[i] / 65535.0 + sd * plain_normal(r));
}

struct geo_point plain_pin_dir(const struct plain_pin *p)
{
    double a = p->angle_deg * pi / 180.0;
    return (struct geo_point){-sin(a), cos(a)}; /* down, turned clockwise on the screen */
}

/* Half the silhouette's width at distance s from the tip towards the crown. */
static double half_width(const struct plain_pin *p, double s)
{
    double r = 0.5 * p->diameter;
    if (s < 0.0)
        return -1.0;
    if (s < p->length) {
        if (p->end == PLAIN_ROUND && s < r)
            return sqrt(r * r - (r - s) * (r - s));
        if (p->end == PLAIN_CONE && s < r)
            return s;
        return r;
    }
    if (s < p->length + p->collar_length)
        return 0.5 * p->collar_diameter;
    if (s < p->length + p->collar_length + p->shank_length)
        return 0.5 * p->shank_diameter;
    return -1.0;
}

static double chord(double r, double x)
{
    return fabs(x) < r ? 2.0 * sqrt(r * r - x * x) : 0.0;
}

/* mu times thickness at s from the tip (towards the crown) and x across. */
static double absorption(const struct plain_pin *p, double s, double x)
{
    double r = half_width(p, s), a = 0.0;
    if (r > 0.0 && s < p->length && p->flute_lead > 0.0) {
        double turn = 2.0 * pi * s / p->flute_lead + (x > 0.0 ? 0.5 * pi : 0.0);
        r -= p->flute_depth * fmax(0.0, cos(2.0 * turn));
    }
    if (r > 0.0)
        a = p->bar ? (fabs(x) < r ? p->mu * p->diameter : 0.0) : p->mu * chord(r, x);
    if (p->stop_diameter > 0.0 && s > p->stop_at && s < p->stop_at + p->stop_thick)
        a += p->stop_mu * (chord(0.5 * p->stop_diameter, x) - chord(fmax(r, 0.0), x));
    return a;
}

static void blur_rows(double *v, size_t w, size_t h, double sd, double *tmp)
{
    int reach = (int)ceil(4.0 * sd);
    double k[129], sum = 0.0;
    if (sd <= 0.0)
        return;
    reach = reach > 64 ? 64 : reach;
    for (int i = -reach; i <= reach; i++)
        sum += k[i + reach] = exp(-0.5 * i * i / (sd * sd));
    for (size_t y = 0; y < h; y++) {
        for (size_t x = 0; x < w; x++) {
            double acc = 0.0;
            for (int i = -reach; i <= reach; i++) {
                long j = (long)x + i;
                j = j < 0 ? 0 : j >= (long)w ? (long)w - 1 : j;
                acc += k[i + reach] * v[y * w + (size_t)j];
            }
            tmp[x * h + y] = acc / sum; /* transposed, so that two calls blur both ways */
        }
    }
    memcpy(v, tmp, w * h * sizeof *v);
}

static double transmission(const struct plain_pin *p, double px, double py)
{
    struct geo_point d = plain_pin_dir(p);
    double sum = 0.0;
    for (int i = -1; i <= 1; i++) {
        for (int j = -1; j <= 1; j++) {
            double x = px + i / 3.0 - p->tip.x, y = py + j / 3.0 - p->tip.y;
            sum += exp(-absorption(p, -(x * d.x + y * d.y), d.x * y - d.y * x));
        }
    }
    return sum / 9.0;
}

int plain_pin_draw(struct film *f, const struct plain_pin *p)
{
    size_t w = f->width, h = f->height;
    double *t = malloc(w * h * sizeof *t), *tmp = malloc(w * h * sizeof *tmp);
    int rc = -1;
    if (!t || !tmp)
        goto out;
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++)
            t[y * w + x] = transmission(p, (double)x, (double)y);
    blur_rows(t, w, h, p->blur, tmp);
    blur_rows(t, h, w, p->blur, tmp);
    for (size_t i = 0; i < w * h; i++) {
        double g = 1.0 - (1.0 - f->grey[i] / 65535.0) * t[i];
        f->grey[i] =
            to_grey(p->ceiling > 0.0 ? fmin(g, fmax(p->ceiling, f->grey[i] / 65535.0)) : g);
    }
    rc = 0;
out:
    free(t);
    free(tmp);
    return rc;
}

int plain_film_turn(const struct film *src, unsigned orientation, struct film *dst)
{
    bool swap = orientation >= 5;
    size_t w = src->width, h = src->height;
    if (plain_film_new(dst, swap ? h : w, swap ? w : h, 0.0) != 0)
        return -1;
    for (size_t r = 0; r < h; r++) {
        for (size_t c = 0; c < w; c++) {
            size_t x, y;
            plumb_film_orient(orientation, w, h, c, r, &x, &y);
            dst->grey[y * dst->width + x] = src->grey[r * w + c];
        }
    }
    return 0;
}

void plain_film_invert(struct film *f)
{
    for (size_t i = 0; i < f->width * f->height; i++)
        f->grey[i] = (uint16_t)(65535 - f->grey[i]);
}
