#include "emg_raw.h"

#include "scene.h"

#include <math.h>
#include <stdlib.h>

static const double TWO_PI = 6.283185307179586;
static const double LOW_HZ = 20.0;
static const double HIGH_HZ = 200.0;
static const double HUM_HZ = 50.0;
static const double HUM_UV = 0.6;
static const double GAUSS_ARV = 0.7978845608; /* mean rectified value of a standard normal number */

/* Standard deviation that the two filters leave of white noise of 1, measured on the filters' own
 * impulse response: exact for any rate. */
static double left_of_noise(double low_keep, double high_share)
{
    double power = 0.0;
    double high = 0.0;
    double low = 0.0;
    for (int i = 0; i < 4000; i++) {
        double white = i == 0 ? 1.0 : 0.0;
        high += (white - high) * high_share;
        low += (high - low) * (1.0 - low_keep);
        power += (high - low) * (high - low);
    }
    return sqrt(power);
}

double *emg_raw(struct rng *rng, const double *envelope_uv, size_t envelope_count, double rate_hz,
                size_t count)
{
    double *raw = calloc(count, sizeof *raw);
    double low_keep = exp(-TWO_PI * LOW_HZ / rate_hz);
    double high_share = 1.0 - exp(-TWO_PI * HIGH_HZ / rate_hz);
    double unit = left_of_noise(low_keep, high_share) * GAUSS_ARV;
    double high = 0.0;
    double low = 0.0;
    for (size_t i = 0; raw != NULL && i < count; i++) {
        double at_s = (double)i / rate_hz;
        size_t at = (size_t)(at_s * SCENE_RATE_HZ);
        high += (rng_normal(rng) - high) * high_share;
        low += (high - low) * (1.0 - low_keep);
        double envelope = envelope_uv[at < envelope_count ? at : envelope_count - 1];
        double value = envelope * (high - low) / unit + HUM_UV * sin(TWO_PI * HUM_HZ * at_s);
        raw[i] = round(value * 10.0) / 10.0;
    }
    return raw;
}
