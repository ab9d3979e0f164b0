#include "analysis/filling/infusion.h"

#include "analysis/criteria.h"

#include <math.h>

static struct infused unknown(const char *reason)
{
    return (struct infused){.reason = reason};
}

static struct infused from_signal(const struct series *vinf, double at_s)
{
    const double last_s = series_time(vinf, vinf->count - 1);
    const double slack_s = CRITERIA_BRIDGE_S;
    double read_s = at_s;

    if (at_s < vinf->start_s &&
        (vinf->start_s - at_s <= slack_s || fabs(vinf->samples[0]) <= CRITERIA_INFUSION_ZERO_ML)) {
        read_s = vinf->start_s;
    } else if (at_s > last_s && at_s - last_s <= slack_s) {
        read_s = last_s;
    }
    const double volume_ml = series_value(vinf, read_s);

    if (isnan(volume_ml)) {
        return unknown("the infused volume signal has no sample at that moment");
    }
    return (struct infused){.known = true, .volume_ml = volume_ml};
}

struct infused infusion_volume(const struct study *study, double at_s)
{
    const struct optional_number rate = study->recording->conditions.filling_rate_ml_min;
    double pumped_s = 0.0;

    if (study->vinf.count > 0) {
        return from_signal(&study->vinf, at_s);
    }
    if (!rate.known || !(rate.value > 0.0 && rate.value <= CRITERIA_SAMPLE_LIMIT)) {
        return unknown("no infused volume signal and no filling rate was entered");
    }
    if (timeline_pumped(&study->timeline, at_s, &pumped_s)) {
        return (struct infused){
            .known = true, .volume_ml = rate.value * pumped_s / 60.0, .from_rate = true};
    }
    if (study->timeline.filling_start.known) {
        return (struct infused){.known = true, .volume_ml = 0.0, .from_rate = true};
    }
    return unknown("no infused volume signal, and no filling_start marker to count from");
}

struct infused infusion_bladder_volume(const struct study *study, double at_s)
{
    const struct optional_number residual = study->recording->conditions.initial_residual_ml;
    struct infused infused = infusion_volume(study, at_s);

    if (infused.known && residual.known && residual.value >= 0.0 &&
        residual.value <= CRITERIA_SAMPLE_LIMIT) {
        infused.volume_ml += residual.value;
        infused.residual_added = true;
    }
    return infused;
}

const char *infusion_method(bool from_rate, bool residual_added)
{
    if (from_rate) {
        return residual_added ? "entered filling rate times pumping time, plus the entered initial "
                                "residual; urine produced meanwhile not counted"
                              : "entered filling rate times pumping time; no initial residual was "
                                "entered or added, urine produced meanwhile not counted";
    }
    return residual_added ? "infused volume plus the entered initial residual; urine produced "
                            "meanwhile not counted"
                          : "infused volume; no initial residual was entered or added, urine "
                            "produced meanwhile not counted";
}

double infusion_onset(const struct series *vinf)
{
    size_t first = 0;

    while (first < vinf->count && isnan(vinf->samples[first])) {
        first++;
    }
    if (first == vinf->count) {
        return vinf->start_s;
    }
    /* The last sample at the first one's level before the volume has clearly risen. */
    const double level_ml = vinf->samples[first];
    size_t onset = first;

    for (size_t i = first; i < vinf->count; i++) {
        if (vinf->samples[i] >= level_ml + CRITERIA_INFUSION_RISE_ML) {
            return series_time(vinf, onset);
        }
        if (vinf->samples[i] <= level_ml) {
            onset = i;
        }
    }
    return vinf->start_s;
}

/* Least-squares slope of the samples present, units per second; NaN when less than half are. */
static double segment_slope(const struct series *part)
{
    const double *samples = part->samples;
    const double middle = 0.5 * (double)part->count;
    double count = 0.0;
    double first = SERIES_MISSING;
    double sum_t = 0.0;
    double sum_v = 0.0;
    double sum_tv = 0.0;
    double sum_tt = 0.0;

    /* Times from the middle and volumes from the first one keep the sums small, and so exact. */
    for (size_t i = 0; i < part->count; i++) {
        if (isnan(samples[i])) {
            continue;
        }
        first = isnan(first) ? samples[i] : first;
        const double t = (double)i - middle;
        const double v = samples[i] - first;

        count += 1.0;
        sum_t += t;
        sum_v += v;
        sum_tv += t * v;
        sum_tt += t * t;
    }
    const double squares = count * sum_tt - sum_t * sum_t;

    return 2.0 * count < (double)part->count || !(squares > 0.0)
               ? SERIES_MISSING
               : (count * sum_tv - sum_t * sum_v) / squares * part->rate_hz;
}

double infusion_rate(const struct series *vinf, struct span span, struct level_scratch scratch)
{
    if (vinf->count == 0) {
        return SERIES_MISSING;
    }
    const double first_s = fmax(span.from_s, vinf->start_s);
    const double last_s = fmin(span.to_s, series_time(vinf, vinf->count - 1));
    const double fits = floor((last_s - first_s) / CRITERIA_FILL_SEGMENT_S + 1e-6);
    const double thinned = fmax(1.0, ceil(fits / (double)scratch.capacity));
    const double step_s = CRITERIA_FILL_SEGMENT_S * thinned;
    size_t rising = 0;

    for (size_t i = 0; (double)i * thinned < fits && rising < scratch.capacity; i++) {
        const double from_s = first_s + (double)i * step_s;
        const struct series part =
            series_part(vinf, (struct span){from_s, from_s + CRITERIA_FILL_SEGMENT_S});
        const double slope_ml_min = segment_slope(&part) * 60.0;

        if (slope_ml_min > CRITERIA_FILL_IDLE_ML_MIN) {
            scratch.values[rising++] = slope_ml_min;
        }
    }
    return level_median_of(scratch.values, rising);
}
