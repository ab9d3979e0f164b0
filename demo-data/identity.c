#include "identity.h"

#include "rng.h"

#include <stdio.h>

void identity_uuid(uint64_t seed, uint64_t key, int64_t unix_ms, char text[IDENTITY_SIZE])
{
    struct rng rng;
    rng_seed(&rng, seed, key);
    uint64_t time = (uint64_t)unix_ms;
    uint32_t high = (uint32_t)((time >> 16U) & 0xFFFFFFFFU);
    uint32_t low = (uint32_t)(time & 0xFFFFU);
    uint32_t version = 0x7000U | (rng_u32(&rng) & 0x0FFFU);
    uint32_t variant = 0x8000U | (rng_u32(&rng) & 0x3FFFU);
    uint32_t node_high = rng_u32(&rng) & 0xFFFFU;
    uint32_t node_low = rng_u32(&rng);
    (void)snprintf(text, IDENTITY_SIZE, "%08x-%04x-%04x-%04x-%04x%08x", high, low, version, variant,
                   node_high, node_low);
}
