/* Restlessness: slow wandering, breathing, heartbeat. */
#ifndef DEMO_DATA_NOISE_H
#define DEMO_DATA_NOISE_H

#include "rng.h"

/* A value that wanders about zero (Ornstein-Uhlenbeck process, exact discrete form). */
struct noise_wander {
    double value;
    double keep; /* share of the value that lasts one step */
    double kick; /* standard deviation of the innovation */
};

/* `deviation` is the standard deviation in the long run, `memory_s` the time constant. Starts at a
 * value drawn from the long-run distribution. */
void noise_wander_start(struct noise_wander *wander, struct rng *rng, double deviation,
                        double memory_s, double step_s);
double noise_wander_next(struct noise_wander *wander, struct rng *rng);

/* A rhythm whose rate and depth are never quite the same from one cycle to the next. */
struct noise_rhythm {
    double phase; /* radians */
    double rate_hz;
    double size;
    double overtone; /* share of the second harmonic: makes the cycle lopsided */
    double step_s;
    struct noise_wander rate_wander; /* relative */
    struct noise_wander size_wander; /* relative */
};

void noise_rhythm_start(struct noise_rhythm *rhythm, struct rng *rng, double rate_hz, double size,
                        double step_s);
double noise_rhythm_next(struct noise_rhythm *rhythm, struct rng *rng);

#endif
