#include "tests/support/real_film.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include "fixtures/phantom_internal.h"

bool real_film_load(size_t i, struct film *out)
{
    static const char *const names[REAL_FILMS] = {"lower-posterior-1171x886.png",
                                                  "upper-incisors-886x1171.png"};
    const char *root = getenv("PLUMB_FILMS") ? getenv("PLUMB_FILMS") : "../shared/films";
    char path[512];
    struct film_options o;
    plumb_film_options_default(&o);
    snprintf(path, sizeof path, "%s/periapical/%s", root, names[i]);
    return plumb_film_load(path, &o, out, NULL) == 0;
}

static void new_grey(struct film *f, size_t width, size_t height)
{
    *f = (struct film){.width = width, .height = height, .depth = 16, .orientation = 1};
    f->grey = plumb_mem_array(width * height, sizeof *f->grey, NULL);
    if (!f->grey)
        exit(70);
}

static void turned(const struct film *a, unsigned turn, struct film *b)
{
    bool swap = turn & 4U;
    new_grey(b, swap ? a->height : a->width, swap ? a->width : a->height);
    for (size_t y = 0; y < a->height; y++)
        for (size_t x = 0; x < a->width; x++) {
            size_t u = turn & 1U ? a->width - 1 - x : x, v = turn & 2U ? a->height - 1 - y : y;
            b->grey[swap ? u * b->width + v : v * b->width + u] = a->grey[y * a->width + x];
        }
}

static double bilinear(const struct film *a, double x, double y)
{
    double w = (double)a->width, h = (double)a->height;
    x = fmin(fmax(x, 0.0), w - 1.001);
    y = fmin(fmax(y, 0.0), h - 1.001);
    size_t i = (size_t)x, j = (size_t)y;
    double fx = x - (double)i, fy = y - (double)j;
    const uint16_t *p = a->grey + j * a->width + i, *q = p + a->width;
    return (1.0 - fy) * ((1.0 - fx) * p[0] + fx * p[1]) + fy * ((1.0 - fx) * q[0] + fx * q[1]);
}

/* Four samples a pixel, so that shrinking does not alias much. */
static void scaled(struct film *a, double k)
{
    struct film b;
    new_grey(&b, (size_t)((double)a->width * k), (size_t)((double)a->height * k));
    for (size_t i = 0; i < b.width * b.height; i++) {
        double x = (double)(i % b.width), y = (double)(i / b.width), sum = 0.0;
        for (int s = 0; s < 4; s++)
            sum += bilinear(a, (x + 0.25 + 0.5 * (s % 2)) / k - 0.5,
                            (y + (s < 2 ? 0.25 : 0.75)) / k - 0.5);
        b.grey[i] = (uint16_t)(0.25 * sum + 0.5);
    }
    free(a->grey);
    *a = b;
}

void film_changed(const struct film *film, const struct film_change *c, struct film *out)
{
    turned(film, c->turn, out);
    if (c->scale != 1.0)
        scaled(out, c->scale);
    if (c->jpeg > 0 && ph_jpeg_pass(out->grey, out->width, out->height, c->jpeg, NULL) != 0)
        exit(70);
    for (size_t i = 0; i < out->width * out->height && c->inverted; i++)
        out->grey[i] = (uint16_t)(65535 - out->grey[i]);
}
