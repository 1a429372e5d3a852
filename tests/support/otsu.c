/*
 * N. Otsu, IEEE Trans. SMC 9 (1979) 62: the threshold that makes w0 w1 (m0 - m1)^2 greatest. The
 * bar: components of the pixels above it (4-neighbours, film reduced four times), of those at least
 * twice as long as wide the largest; its rectangle of least area over 180 directions.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "tests/support/otsu.h"

enum { LEVELS = 256, SCALE = 4, DIRECTIONS = 180 };

static void class_of(const size_t *h, size_t from, size_t to, double *w, double *mean, double *sq)
{
    *w = *mean = *sq = 0.0;
    for (size_t i = from; i < to; i++) {
        double c = (double)h[i], v = (double)i;
        *w += c;
        *mean += c * v;
        *sq += c * v * v;
    }
    if (*w > 0.0)
        *mean /= *w;
    *sq -= *w * *mean * *mean;
}

double otsu_between(const size_t *h, size_t n, size_t k)
{
    double w0, m0, q0, w1, m1, q1;
    class_of(h, 0, k, &w0, &m0, &q0);
    class_of(h, k, n, &w1, &m1, &q1);
    double all = w0 + w1;
    return all > 0.0 ? w0 * w1 / (all * all) * (m0 - m1) * (m0 - m1) : 0.0;
}

double otsu_within(const size_t *h, size_t n, size_t k)
{
    double w0, m0, q0, w1, m1, q1;
    class_of(h, 0, k, &w0, &m0, &q0);
    class_of(h, k, n, &w1, &m1, &q1);
    return w0 + w1 > 0.0 ? (q0 + q1) / (w0 + w1) : 0.0;
}

size_t otsu_level(const size_t *h, size_t n)
{
    size_t best = 1;
    for (size_t k = 2; k < n; k++)
        if (otsu_between(h, n, k) > otsu_between(h, n, best))
            best = k;
    return best;
}

struct mask {
    size_t w, h;
    unsigned char *on; /* 1: set, 2: taken */
    size_t *stack;
};

static bool mask_make(const struct film *f, struct mask *m)
{
    size_t count[LEVELS] = {0};
    m->w = f->width / SCALE;
    m->h = f->height / SCALE;
    m->on = malloc(m->w * m->h);
    m->stack = malloc(m->w * m->h * sizeof *m->stack);
    if (!m->on || !m->stack)
        return false;
    for (size_t i = 0; i < f->width * f->height; i++)
        count[f->grey[i] >> 8]++;
    size_t k = otsu_level(count, LEVELS);
    for (size_t i = 0; i < m->w * m->h; i++) {
        size_t x = i % m->w * SCALE + SCALE / 2, y = i / m->w * SCALE + SCALE / 2;
        m->on[i] = (size_t)(f->grey[y * f->width + x] >> 8) >= k;
    }
    return true;
}

/* Takes the component at i; its pixels stay in m->stack. Returns their number. */
static size_t flood(struct mask *m, size_t i)
{
    size_t n = 1;
    m->stack[0] = i;
    m->on[i] = 2;
    for (size_t k = 0; k < n; k++) {
        size_t x = m->stack[k] % m->w, y = m->stack[k] / m->w;
        size_t next[4] = {m->stack[k] - 1, m->stack[k] + 1, m->stack[k] - m->w, m->stack[k] + m->w};
        bool in[4] = {x > 0, x + 1 < m->w, y > 0, y + 1 < m->h};
        for (int j = 0; j < 4; j++) {
            if (!in[j] || m->on[next[j]] != 1)
                continue;
            m->on[next[j]] = 2;
            m->stack[n++] = next[j];
        }
    }
    return n;
}

static struct otsu_bar rectangle(const struct mask *m, size_t n)
{
    struct otsu_bar best = {.length = HUGE_VAL, .width = HUGE_VAL};
    for (int d = 0; d < DIRECTIONS; d++) {
        double a = d * 3.14159265358979323846 / DIRECTIONS, lo[2] = {HUGE_VAL, HUGE_VAL};
        double hi[2] = {-HUGE_VAL, -HUGE_VAL};
        struct geo_point u = {cos(a), sin(a)}, v = geo_perp(u);
        for (size_t i = 0; i < n; i++) {
            struct geo_point p = {(double)(m->stack[i] % m->w) * SCALE + SCALE / 2,
                                  (double)(m->stack[i] / m->w) * SCALE + SCALE / 2};
            double s[2] = {geo_dot(p, u), geo_dot(p, v)};
            for (int k = 0; k < 2; k++) {
                lo[k] = fmin(lo[k], s[k]);
                hi[k] = fmax(hi[k], s[k]);
            }
        }
        double l = hi[0] - lo[0] + SCALE, w = hi[1] - lo[1] + SCALE;
        if (l < w || l * w >= best.length * best.width)
            continue;
        best = (struct otsu_bar){
            geo_add(geo_mul(u, 0.5 * (lo[0] + hi[0])), geo_mul(v, 0.5 * (lo[1] + hi[1]))), u, l, w};
    }
    return best;
}

bool otsu_find_bar(const struct film *film, struct otsu_bar *out)
{
    struct mask m = {0};
    size_t most = 0;
    if (mask_make(film, &m)) {
        for (size_t i = 0; i < m.w * m.h; i++) {
            if (m.on[i] != 1)
                continue;
            size_t n = flood(&m, i);
            struct otsu_bar b = {0};
            if (n > most && n > 64)
                b = rectangle(&m, n);
            if (b.width > 0.0 && b.length >= 2.0 * b.width) {
                most = n;
                *out = b;
            }
        }
    }
    free(m.on);
    free(m.stack);
    return most > 0;
}
