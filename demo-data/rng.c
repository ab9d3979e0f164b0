#include "rng.h"

#include <math.h>

static const uint64_t PCG_MULTIPLIER = 6364136223846793005U;
static const double TWO_PI = 6.283185307179586;

uint32_t rng_u32(struct rng *rng)
{
    uint64_t old = rng->state;
    rng->state = old * PCG_MULTIPLIER + rng->increment;
    uint32_t shifted = (uint32_t)(((old >> 18U) ^ old) >> 27U);
    uint32_t turn = (uint32_t)(old >> 59U);
    return (shifted >> turn) | (shifted << ((32U - turn) & 31U));
}

void rng_seed(struct rng *rng, uint64_t seed, uint64_t stream)
{
    rng->state = 0;
    rng->increment = (stream << 1U) | 1U;
    (void)rng_u32(rng);
    rng->state += seed;
    (void)rng_u32(rng);
}

double rng_unit(struct rng *rng)
{
    return (double)rng_u32(rng) * (1.0 / 4294967296.0);
}

double rng_between(struct rng *rng, double low, double high)
{
    return low + (high - low) * rng_unit(rng);
}

double rng_normal(struct rng *rng)
{
    double radius = sqrt(-2.0 * log(1.0 - rng_unit(rng)));
    return radius * cos(TWO_PI * rng_unit(rng));
}

uint64_t rng_mix(uint64_t first, uint64_t second)
{
    uint64_t mixed = first * 0x9E3779B97F4A7C15U + second + 0x9E3779B97F4A7C15U;
    mixed = (mixed ^ (mixed >> 30U)) * 0xBF58476D1CE4E5B9U;
    mixed = (mixed ^ (mixed >> 27U)) * 0x94D049BB133111EBU;
    return mixed ^ (mixed >> 31U);
}
