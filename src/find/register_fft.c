/*
 * A plain radix-2 Fourier transform of a small square, for the correlation of two reduced films.
 * Reference: J. W. Cooley and J. W. Tukey, Math. Comp. 19 (1965) 297.
 */
#include <assert.h>
#include <math.h>
#include "find/register_internal.h"

static void bit_reverse(struct reg_complex *v, size_t n)
{
    for (size_t i = 1, j = 0; i < n; i++) {
        size_t bit = n >> 1;
        for (; j & bit; bit >>= 1)
            j ^= bit;
        j ^= bit;
        if (i < j) {
            struct reg_complex t = v[i];
            v[i] = v[j];
            v[j] = t;
        }
    }
}

static void transform(struct reg_complex *v, size_t n, const struct reg_complex *turn)
{
    bit_reverse(v, n);
    for (size_t len = 2; len <= n; len <<= 1) {
        size_t half = len / 2, stride = n / len;
        for (size_t i = 0; i < n; i += len) {
            for (size_t k = 0; k < half; k++) {
                struct reg_complex w = turn[k * stride], *a = &v[i + k], *b = &v[i + k + half];
                struct reg_complex t = {w.re * b->re - w.im * b->im, w.re * b->im + w.im * b->re};
                *b = (struct reg_complex){a->re - t.re, a->im - t.im};
                *a = (struct reg_complex){a->re + t.re, a->im + t.im};
            }
        }
    }
}

static void transpose(struct reg_complex *v, size_t n)
{
    for (size_t y = 0; y < n; y++) {
        for (size_t x = y + 1; x < n; x++) {
            struct reg_complex t = v[y * n + x];
            v[y * n + x] = v[x * n + y];
            v[x * n + y] = t;
        }
    }
}

void reg_fft_square(struct reg_complex *v, size_t n, int sign)
{
    static const double tau = 6.28318530717958647693;
    struct reg_complex turn[REG_FFT_MOST / 2] = {{0.0, 0.0}};
    assert(n <= REG_FFT_MOST);
    for (size_t k = 0; k < n / 2; k++) {
        double a = sign * tau * (double)k / (double)n;
        turn[k] = (struct reg_complex){cos(a), sin(a)};
    }
    for (size_t y = 0; y < n; y++)
        transform(v + y * n, n, turn);
    transpose(v, n);
    for (size_t y = 0; y < n; y++)
        transform(v + y * n, n, turn);
}
