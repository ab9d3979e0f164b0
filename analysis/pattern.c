#include "analysis/pattern.h"

#include "analysis/measure.h"

#include <math.h>

static const char method_child[] =
    "ICCS words, from memory: interrupted when flow stops for at least 1 s; staccato when the 2 s "
    "averaged curve, or the curve itself where fast changes follow one another, dips by more than "
    "the square root of Qmax; else bell. Tower and plateau have no agreed numeric definition and "
    "are not told apart from bell: look at the curve";
static const char method_adult[] =
    "Descriptive ICS words: interrupted when flow stops for at least 1 s; fluctuating when the 2 s "
    "averaged curve, or the curve itself where fast changes follow one another, dips by more than "
    "the square root of Qmax (a choice: adults have no published limit); else smooth";

double pattern_deepest_dip(const struct series *smoothed, struct span span)
{
    const struct series part = series_part(smoothed, span);
    double highest_left = -SERIES_ENDLESS;
    double highest_right = -SERIES_ENDLESS;
    double deepest = 0.0;
    size_t left = 0;
    size_t right = part.count;

    /* From both sides inwards: the side whose highest point is lower bounds the dip at its place.
     */
    while (left < right) {
        if (highest_left <= highest_right) {
            const double sample = part.samples[left++];

            if (!isnan(sample)) {
                highest_left = fmax(highest_left, sample);
                deepest = fmax(deepest, highest_left - sample);
            }
        } else {
            const double sample = part.samples[--right];

            if (!isnan(sample)) {
                highest_right = fmax(highest_right, sample);
                deepest = fmax(deepest, highest_right - sample);
            }
        }
    }
    return deepest;
}

struct measure pattern_name(bool child, double interruptions, double dip_ml_s, double qmax_ml_s)
{
    const char *method = child ? method_child : method_adult;

    if (interruptions > 0.5) {
        return measure_word("interrupted", method);
    }
    if (dip_ml_s > sqrt(qmax_ml_s)) {
        return measure_word(child ? "staccato" : "fluctuating", method);
    }
    return measure_word(child ? "bell" : "smooth", method);
}
