#include "noise.h"

#include <math.h>

static const double TWO_PI = 6.283185307179586;

void noise_wander_start(struct noise_wander *wander, struct rng *rng, double deviation,
                        double memory_s, double step_s)
{
    wander->keep = exp(-step_s / memory_s);
    wander->kick = deviation * sqrt(1.0 - wander->keep * wander->keep);
    wander->value = deviation * rng_normal(rng);
}

double noise_wander_next(struct noise_wander *wander, struct rng *rng)
{
    wander->value = wander->keep * wander->value + wander->kick * rng_normal(rng);
    return wander->value;
}

void noise_rhythm_start(struct noise_rhythm *rhythm, struct rng *rng, double rate_hz, double size,
                        double step_s)
{
    rhythm->phase = rng_between(rng, 0.0, TWO_PI);
    rhythm->rate_hz = rate_hz;
    rhythm->size = size;
    rhythm->overtone = 0.3;
    rhythm->step_s = step_s;
    noise_wander_start(&rhythm->rate_wander, rng, 0.12, 8.0, step_s);
    noise_wander_start(&rhythm->size_wander, rng, 0.25, 12.0, step_s);
}

double noise_rhythm_next(struct noise_rhythm *rhythm, struct rng *rng)
{
    double rate_hz = rhythm->rate_hz * (1.0 + noise_wander_next(&rhythm->rate_wander, rng));
    double size = rhythm->size * (1.0 + noise_wander_next(&rhythm->size_wander, rng));
    rhythm->phase = fmod(rhythm->phase + TWO_PI * rate_hz * rhythm->step_s, TWO_PI);
    return size * (sin(rhythm->phase) + rhythm->overtone * sin(2.0 * rhythm->phase));
}
