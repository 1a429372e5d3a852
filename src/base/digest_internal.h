/* base, inside: SHA-256 of whole blocks by the processor's own instructions. See digest_cpu.c. */
#ifndef PLUMB_BASE_DIGEST_INTERNAL_H
#define PLUMB_BASE_DIGEST_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { DIGEST_BLOCK = 64 /* bytes */ };
extern const uint32_t digest_round_key[64];

/* Takes n blocks into the state; false, and nothing done, on a processor without them. */
bool digest_cpu_blocks(uint32_t state[8], const unsigned char *p, size_t n);
/* The same in plain C, anywhere. */
void digest_plain_blocks(uint32_t state[8], const unsigned char *p, size_t n);

#endif
