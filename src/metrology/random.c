/*
 * Random numbers for simulations: xoshiro256** (Blackman, Vigna, ACM TOMS 47 (2021) 36, released
 * 2018), seeded by splitmix64; normal deviates by the polar method (Marsaglia, Bray, SIAM Review 6
 * (1964) 260). The bits are the same everywhere; a normal deviate may differ in its last digit
 * where the system's logarithm does.
 */
#include "plumbrule/metrology.h"

#include <math.h>

static uint64_t splitmix64(uint64_t *state)
{
    uint64_t z = (*state += 0x9e3779b97f4a7c15U);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
    return z ^ (z >> 31);
}

void plumb_unc_rng_seed(struct unc_rng *r, uint64_t seed)
{
    *r = (struct unc_rng){0};
    for (size_t i = 0; i < 4; i++)
        r->s[i] = splitmix64(&seed);
}

static uint64_t rotate(uint64_t x, unsigned k)
{
    return (x << k) | (x >> (64 - k));
}

static uint64_t next(uint64_t s[4])
{
    uint64_t result = rotate(s[1] * 5, 7) * 9;
    uint64_t t = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= t;
    s[3] = rotate(s[3], 45);
    return result;
}

double plumb_unc_rng_uniform(struct unc_rng *r)
{
    return (double)(next(r->s) >> 11) * 0x1p-53;
}

double plumb_unc_rng_normal(struct unc_rng *r)
{
    if (r->has_spare) {
        r->has_spare = false;
        return r->spare;
    }
    double u, v, q;
    do {
        u = 2.0 * plumb_unc_rng_uniform(r) - 1.0;
        v = 2.0 * plumb_unc_rng_uniform(r) - 1.0;
        q = u * u + v * v;
    } while (q >= 1.0 || q == 0.0);
    double stretch = sqrt(-2.0 * log(q) / q);
    r->spare = v * stretch;
    r->has_spare = true;
    return u * stretch;
}
