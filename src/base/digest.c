/*
 * SHA-256, FIPS 180-4. Seventy lines of a fixed standard, checked in the tests against the
 * standard's own examples and against coreutils; a whole cryptographic library for this one
 * function would be more to install than to read. The processor's own instructions are used where
 * there are any (digest_cpu.c).
 */
#include "base/digest_internal.h"
#include "plumbrule/base.h"

#include <stdio.h>
#include <string.h>

const uint32_t digest_round_key[64] = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

static uint32_t rotate(uint32_t x, unsigned n)
{
    return (x >> n) | (x << (32 - n));
}

static void schedule(const unsigned char block[64], uint32_t w[64])
{
    for (size_t i = 0; i < 16; i++)
        w[i] = (uint32_t)block[4 * i] << 24 | (uint32_t)block[4 * i + 1] << 16 |
               (uint32_t)block[4 * i + 2] << 8 | block[4 * i + 3];
    for (size_t i = 16; i < 64; i++) {
        uint32_t a = w[i - 15], b = w[i - 2];
        uint32_t s0 = rotate(a, 7) ^ rotate(a, 18) ^ (a >> 3);
        uint32_t s1 = rotate(b, 17) ^ rotate(b, 19) ^ (b >> 10);
        w[i] = w[i - 16] + s0 + w[i - 7] + s1;
    }
}

/* One round with the eight words in the given order; the caller turns the order instead of moving
 * the words, which halves the time of a large film. */
static inline void turn(const uint32_t *w, size_t i, uint32_t a, uint32_t b, uint32_t c,
                        uint32_t *d, uint32_t e, uint32_t f, uint32_t g, uint32_t *h)
{
    uint32_t s1 = rotate(e, 6) ^ rotate(e, 11) ^ rotate(e, 25);
    uint32_t t1 = *h + s1 + (g ^ (e & (f ^ g))) + digest_round_key[i] + w[i];
    uint32_t s0 = rotate(a, 2) ^ rotate(a, 13) ^ rotate(a, 22);
    *d += t1;
    *h = t1 + s0 + ((a & b) | (c & (a | b)));
}

static void compress(uint32_t state[8], const unsigned char block[64])
{
    uint32_t w[64];
    schedule(block, w);
    uint32_t a = state[0], b = state[1], c = state[2], d = state[3];
    uint32_t e = state[4], f = state[5], g = state[6], h = state[7];
    for (size_t i = 0; i < 64; i += 8) {
        turn(w, i, a, b, c, &d, e, f, g, &h);
        turn(w, i + 1, h, a, b, &c, d, e, f, &g);
        turn(w, i + 2, g, h, a, &b, c, d, e, &f);
        turn(w, i + 3, f, g, h, &a, b, c, d, &e);
        turn(w, i + 4, e, f, g, &h, a, b, c, &d);
        turn(w, i + 5, d, e, f, &g, h, a, b, &c);
        turn(w, i + 6, c, d, e, &f, g, h, a, &b);
        turn(w, i + 7, b, c, d, &e, f, g, h, &a);
    }
    const uint32_t add[8] = {a, b, c, d, e, f, g, h};
    for (size_t i = 0; i < 8; i++)
        state[i] += add[i];
}

void digest_plain_blocks(uint32_t state[8], const unsigned char *p, size_t n)
{
    for (size_t i = 0; i < n; i++)
        compress(state, p + DIGEST_BLOCK * i);
}

static void take_blocks(uint32_t state[8], const unsigned char *p, size_t n)
{
    if (!digest_cpu_blocks(state, p, n))
        digest_plain_blocks(state, p, n);
}

void plumb_digest_sha256(const void *data, size_t len, char hex[65])
{
    uint32_t h[8] = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                     0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
    const unsigned char *p = data;
    size_t whole = len / DIGEST_BLOCK * DIGEST_BLOCK, rest = len - whole;
    take_blocks(h, p, whole / DIGEST_BLOCK);
    unsigned char tail[2 * DIGEST_BLOCK] = {0};
    if (rest > 0)
        memcpy(tail, p + whole, rest);
    tail[rest] = 0x80;
    size_t tail_len = rest < 56 ? DIGEST_BLOCK : 2 * DIGEST_BLOCK;
    uint64_t bits = (uint64_t)len * 8;
    for (size_t i = 0; i < 8; i++)
        tail[tail_len - 1 - i] = (unsigned char)(bits >> (8 * i));
    take_blocks(h, tail, tail_len / DIGEST_BLOCK);
    for (size_t i = 0; i < 8; i++)
        snprintf(hex + 8 * i, 9, "%08x", h[i]);
}
