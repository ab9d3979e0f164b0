#include "analysis/flow/pattern.h"

#include "analysis/criteria.h"
#include "analysis/measure.h"

#include <math.h>

static const char method_child[] =
    "ICCS words, from memory: interrupted when flow stops for at least 1 s; staccato when the 2 s "
    "averaged curve, or the curve itself where fast changes follow one another, dips by more than "
    "the square root of Qmax. The next two have no agreed number, so these are a choice: plateau "
    "when the averaged curve is at or above 0.8 of Qmax for at least 0.6 of the voiding time and "
    "Qmax squared is below the voided volume; tower when Qmax is at least 2.2 times the square "
    "root "
    "of the voided volume. Else bell. Observers agree poorly on towers: look at the curve";
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

double pattern_flat_share(const struct series *smoothed, struct span span, double qmax_ml_s)
{
    const struct series part = series_part(smoothed, span);
    size_t present = 0;
    size_t flat = 0;

    for (size_t i = 0; i < part.count; i++) {
        present += isnan(part.samples[i]) ? 0 : 1;
        flat += part.samples[i] >= CRITERIA_PLATEAU_LEVEL * qmax_ml_s ? 1 : 0;
    }
    return present > 0 ? (double)flat / (double)present : 0.0;
}

bool pattern_adequate(double qmax_ml_s, double volume_ml)
{
    return qmax_ml_s * qmax_ml_s >= volume_ml;
}

static const char *child_word(const struct pattern_facts *facts)
{
    if (facts->flat_share >= CRITERIA_PLATEAU_SHARE &&
        facts->qmax_ml_s * facts->qmax_ml_s < facts->volume_ml) {
        return "plateau";
    }
    return facts->qmax_ml_s >= CRITERIA_TOWER_TIMES * sqrt(facts->volume_ml) ? "tower" : "bell";
}

struct measure pattern_name(const struct pattern_facts *facts)
{
    const char *method = facts->child ? method_child : method_adult;

    if (facts->interruptions > 0.5) {
        return measure_word("interrupted", method);
    }
    if (facts->dip_ml_s > sqrt(facts->qmax_ml_s)) {
        return measure_word(facts->child ? "staccato" : "fluctuating", method);
    }
    return measure_word(facts->child ? child_word(facts) : "smooth", method);
}
