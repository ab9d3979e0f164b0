/* The electromyogram as it comes from the electrodes. */
#ifndef DEMO_DATA_EMG_RAW_H
#define DEMO_DATA_EMG_RAW_H

#include "rng.h"

#include <stddef.h>

/* `count` samples at `rate_hz` of a band-limited signal (about 20 to 200 Hz) whose mean
 * rectified value follows `envelope_uv` (at the scene's rate), with a trace of mains hum. To be
 * freed by the caller; NULL when memory ran out. */
double *emg_raw(struct rng *rng, const double *envelope_uv, size_t envelope_count, double rate_hz,
                size_t count);

#endif
