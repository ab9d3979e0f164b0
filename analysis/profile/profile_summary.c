#include "analysis/profile/profile_summary.h"

#include "analysis/measure.h"

#include <string.h>

static bool is_resting(const struct profile_measures *pull)
{
    return measure_known(&pull->kind) && strcmp(pull->kind.word, "rest") == 0;
}

static bool is_lower_bound(const struct measure *measure)
{
    for (size_t i = 0; i < measure->part_count; i++) {
        if (strcmp(measure->parts[i].code, "at_least") == 0) {
            return true;
        }
    }
    return false;
}

/* The measure at `offset` of a pull, when it enters the mean. */
static const struct measure *usable(const struct profile_measures *pull, size_t offset)
{
    const struct measure *measure =
        (const struct measure *)(const void *)((const char *)pull + offset);

    return is_resting(pull) && measure_known(measure) && !is_lower_bound(measure) ? measure : NULL;
}

static struct measure mean_of(const struct profile_list *pulls, size_t offset)
{
    double n = 0.0;
    double sum = 0.0;
    double squares = 0.0;

    for (size_t i = 0; i < pulls->count; i++) {
        const struct measure *measure = usable(&pulls->pulls[i], offset);

        n += measure != NULL ? 1.0 : 0.0;
        sum += measure != NULL ? measure->value : 0.0;
    }
    if (!(n > 0.0)) {
        return measure_absent("no resting pull gave this value");
    }
    const double mean = sum / n;

    for (size_t i = 0; i < pulls->count; i++) {
        const struct measure *measure = usable(&pulls->pulls[i], offset);
        const double off = measure != NULL ? measure->value - mean : 0.0;

        squares += off * off;
    }
    struct measure summary = measure_of(mean, "mean of the resting pulls");

    if (measure_known(&summary)) {
        summary.parts[summary.part_count++] = (struct named_number){"count", n};
        if (n > 1.5) {
            const double spread = sqrt(squares / (n - 1.0));

            summary.method = "mean of the resting pulls; spread is their standard deviation (n-1)";
            summary.parts[summary.part_count++] = (struct named_number){"spread", spread};
            if (mean > 0.0) {
                summary.parts[summary.part_count++] =
                    (struct named_number){"cv_percent", 100.0 * spread / mean};
            }
        }
    }
    return summary;
}

static void summarise_coughs(struct study *study, struct profiles_summary_measures *summary)
{
    const struct profile_list *pulls = &study->outcome.result->profiles;
    double lowest = SERIES_ENDLESS;
    double lowest_s = 0.0;
    size_t count = 0;

    for (size_t i = 0; i < pulls->count; i++) {
        const struct item_list *list = &pulls->pulls[i].transmission_ratios;
        const struct transmission_ratio *items = list->items;

        for (size_t k = 0; k < list->count && count < study->scratch.capacity; k++) {
            study->scratch.values[count++] = items[k].ratio_percent;
            if (items[k].stress_closure_cmh2o < lowest) {
                lowest = items[k].stress_closure_cmh2o;
                lowest_s = items[k].at_s;
            }
        }
    }
    if (count == 0) {
        const struct measure absent = measure_absent("no cough of at least 15 cmH2O during a pull");

        summary->transmission_ratio = absent;
        summary->stress_closure_pressure = absent;
        return;
    }
    summary->transmission_ratio =
        measure_of(level_median_of(study->scratch.values, count), "median over all coughs");
    summary->transmission_ratio.parts[0] = (struct named_number){"count", (double)count};
    summary->transmission_ratio.part_count = 1;
    summary->stress_closure_pressure = measure_at(lowest, lowest_s, "lowest over all coughs");
}

void profile_summary_measure(struct study *study)
{
    const struct profile_list *pulls = &study->outcome.result->profiles;
    struct profiles_summary_measures *summary = &study->outcome.result->profiles_summary;
    double measured = 0.0;

    for (size_t i = 0; i < pulls->count; i++) {
        const struct measure *closure = &pulls->pulls[i].maximum_closure_pressure;

        measured += is_resting(&pulls->pulls[i]) && measure_known(closure) ? 1.0 : 0.0;
    }
    summary->pulls = measure_of(measured, NULL);
    summary->maximum_urethral_pressure =
        mean_of(pulls, offsetof(struct profile_measures, maximum_urethral_pressure));
    summary->maximum_closure_pressure =
        mean_of(pulls, offsetof(struct profile_measures, maximum_closure_pressure));
    summary->functional_length =
        mean_of(pulls, offsetof(struct profile_measures, functional_length));
    summary->total_length = mean_of(pulls, offsetof(struct profile_measures, total_length));
    summary->length_to_peak = mean_of(pulls, offsetof(struct profile_measures, length_to_peak));
    summary->closure_area = mean_of(pulls, offsetof(struct profile_measures, closure_area));
    summarise_coughs(study, summary);
}
