/*
 * SHA-256 by the SHA extensions of x86 processors (Intel, "New Instructions Supporting the Secure
 * Hash Algorithm", 2013): a film is digested in an eighth of the time, which is every tenth
 * millisecond of a record. Without them, and on other processors, digest.c does it alone.
 */
#include "base/digest_internal.h"

#if defined(__x86_64__) && defined(__GNUC__)

#include <cpuid.h>
#include <immintrin.h>

/* CPUID leaf 7, EBX bit 29; SSSE3 and SSE4.1 by leaf 1, ECX bits 9 and 19. */
static bool cpu_has_sha(void)
{
    static const unsigned sha = 1U << 29, sse = 1U << 9 | 1U << 19;
    unsigned a, b, c, d;
    if (!__get_cpuid(1, &a, &b, &c, &d) || (c & sse) != sse)
        return false;
    return __get_cpuid_count(7, 0, &a, &b, &c, &d) && (b & sha) != 0;
}

__attribute__((target("sha,sse4.1"))) static __m128i load(const void *p)
{
    return _mm_loadu_si128(p);
}

/* 64 rounds, four at a time. The instructions want the state as a b e f and c d g h. */
__attribute__((target("sha,sse4.1"))) static void block(__m128i *abef, __m128i *cdgh,
                                                        const unsigned char *p)
{
    const __m128i big_endian = _mm_set_epi64x(0x0c0d0e0f08090a0bLL, 0x0405060700010203LL);
    __m128i w[16], s0 = *abef, s1 = *cdgh;
    for (int i = 0; i < 16; i++) {
        if (i < 4)
            w[i] = _mm_shuffle_epi8(load(p + 16 * i), big_endian);
        else
            w[i] = _mm_sha256msg2_epu32(_mm_add_epi32(_mm_sha256msg1_epu32(w[i - 4], w[i - 3]),
                                                      _mm_alignr_epi8(w[i - 1], w[i - 2], 4)),
                                        w[i - 1]);
        __m128i k = _mm_add_epi32(w[i], load(digest_round_key + 4 * i));
        s1 = _mm_sha256rnds2_epu32(s1, s0, k);
        s0 = _mm_sha256rnds2_epu32(s0, s1, _mm_shuffle_epi32(k, 0x0E));
    }
    *abef = _mm_add_epi32(*abef, s0);
    *cdgh = _mm_add_epi32(*cdgh, s1);
}

__attribute__((target("sha,sse4.1"))) static void blocks(uint32_t state[8], const unsigned char *p,
                                                         size_t n)
{
    __m128i cdab = _mm_shuffle_epi32(load(state), 0xB1);
    __m128i efgh = _mm_shuffle_epi32(load(state + 4), 0x1B);
    __m128i abef = _mm_alignr_epi8(cdab, efgh, 8), cdgh = _mm_blend_epi16(efgh, cdab, 0xF0);
    for (size_t i = 0; i < n; i++)
        block(&abef, &cdgh, p + DIGEST_BLOCK * i);
    __m128i feba = _mm_shuffle_epi32(abef, 0x1B), dchg = _mm_shuffle_epi32(cdgh, 0xB1);
    _mm_storeu_si128((void *)state, _mm_blend_epi16(feba, dchg, 0xF0));
    _mm_storeu_si128((void *)(state + 4), _mm_alignr_epi8(dchg, feba, 8));
}

bool digest_cpu_blocks(uint32_t state[8], const unsigned char *p, size_t n)
{
    if (!cpu_has_sha())
        return false;
    blocks(state, p, n);
    return true;
}

#else

bool digest_cpu_blocks(uint32_t state[8], const unsigned char *p, size_t n)
{
    (void)state, (void)p, (void)n;
    return false;
}

#endif
