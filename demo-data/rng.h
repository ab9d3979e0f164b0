/* Pseudo-random numbers for the demo data: the same seed gives the same clinic on any machine.
 * PCG-XSH-RR 64/32 (M. E. O'Neill, "PCG: A Family of Simple Fast Space-Efficient Statistically Good
 * Algorithms for Random Number Generation", Harvey Mudd College report HMC-CS-2014-0905, 2014). */
#ifndef DEMO_DATA_RNG_H
#define DEMO_DATA_RNG_H

#include <stdint.h>

struct rng {
    uint64_t state;
    uint64_t increment; /* odd; selects one of 2^63 independent sequences */
};

/* Starts sequence `stream` of `seed`. */
void rng_seed(struct rng *rng, uint64_t seed, uint64_t stream);

/* Uniform over all 32-bit numbers. */
uint32_t rng_u32(struct rng *rng);

/* Uniform in [0, 1). */
double rng_unit(struct rng *rng);

/* Uniform in [low, high). */
double rng_between(struct rng *rng, double low, double high);

/* Normal, mean 0, standard deviation 1 (Box and Muller, Ann Math Stat 1958;29:610-611). */
double rng_normal(struct rng *rng);

/* One number out of two, so that streams can be named by (thing, part). Mixes with the finaliser of
 * SplitMix64 (Steele, Lea and Flood, OOPSLA 2014). */
uint64_t rng_mix(uint64_t first, uint64_t second);

#endif
