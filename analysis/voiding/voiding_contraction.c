/* The contraction before the flow starts and after it ends. */
#include "analysis/criteria.h"
#include "analysis/criteria_voiding.h"
#include "analysis/measure.h"
#include "analysis/voiding/voiding_pressures.h"

#include <math.h>

/* Where pdet began to rise towards the opening of the outlet. */
struct rise {
    const char *absent; /* why it was not found */
    double start_s;
    double before_cmh2o; /* premicturition pressure */
};

/* The lowest level before the opening. Cuts off what lies before the last moment at which pdet was
 * clearly higher than that: an earlier event. */
static bool trough_before(struct series *before, double *ret_lowest)
{
    double lowest = SERIES_ENDLESS;
    size_t first = before->count;

    while (first > 0 && !(before->samples[first - 1] > lowest + CRITERIA_RISE_STOP_CMH2O)) {
        first--;
        lowest = fmin(lowest, before->samples[first]);
    }
    before->start_s = series_time(before, first);
    before->samples += first;
    before->count -= first;
    *ret_lowest = lowest;
    return isfinite(lowest);
}

/* The last moment at which pdet came up to a level; false when it was above it throughout. */
static bool came_up_to(const struct series *before, double level, double *ret_s)
{
    for (size_t i = before->count; i > 1; i--) {
        const double low = before->samples[i - 2];
        const double high = before->samples[i - 1];

        if (low <= level && high > level) {
            *ret_s = series_time(before, i - 2) + (level - low) / (high - low) / before->rate_hz;
            return true;
        }
    }
    return false;
}

/* Start of the rise above a level: where the line through its lower half meets that level. Sets
 * `start_s` and `before_cmh2o`; a rise that begins slowly begins earlier than that line, so the
 * level before it is read earlier by the time that its lower half took. */
static bool start_above(const struct study *study, const struct series *before,
                        double opening_cmh2o, struct rise *rise)
{
    const double between = CRITERIA_RISE_SHARE_HIGH - CRITERIA_RISE_SHARE_LOW;
    const double level = rise->before_cmh2o;
    const double height = opening_cmh2o - level;
    double low_s = 0.0;
    double high_s = 0.0;

    if (!(height > 0.0) || !came_up_to(before, level + CRITERIA_RISE_SHARE_LOW * height, &low_s) ||
        !came_up_to(before, level + CRITERIA_RISE_SHARE_HIGH * height, &high_s)) {
        return false;
    }
    rise->start_s = low_s - (high_s - low_s) * CRITERIA_RISE_SHARE_LOW / between;

    const double quiet_s = rise->start_s - fmax(high_s - low_s, 0.0);

    rise->before_cmh2o = level_median(
        &study->pdet, (struct span){quiet_s - CRITERIA_PREMICTURITION_S, quiet_s}, study->scratch);
    return isfinite(rise->before_cmh2o);
}

static struct rise find_rise(const struct study *study, const struct voiding_traces *traces,
                             double opening_cmh2o)
{
    static const char not_recorded[] =
        "pdet before its rise to the opening was not recorded, or was disturbed";
    const struct span around = {traces->span.from_s - CRITERIA_RISE_SEARCH_S, traces->span.from_s};
    struct series before = series_part(&traces->pdet.peaked, around);
    struct rise rise = {.absent = NULL};

    if (!trough_before(&before, &rise.before_cmh2o)) {
        return (struct rise){.absent = not_recorded};
    }
    if (opening_cmh2o - rise.before_cmh2o < CRITERIA_RISE_MIN_CMH2O) {
        return (struct rise){.absent = "pdet did not rise by 5 cmH2O before the flow"};
    }
    /* The trough is the lowest of a noisy level: with the level itself known, once more. */
    for (int pass = 0; pass < 2; pass++) {
        if (!start_above(study, &before, opening_cmh2o, &rise)) {
            return (struct rise){.absent = not_recorded};
        }
    }
    return rise;
}

static void measure_rise(const struct study *study, const struct voiding_traces *traces,
                         struct voiding_measures *measures)
{
    const struct measure *opening = &measures->opening_pressure;
    const struct rise rise = measure_known(opening) ? find_rise(study, traces, opening->value)
                                                    : (struct rise){.absent = opening->reason};

    if (rise.absent != NULL) {
        measures->premicturition_pressure = measure_absent(rise.absent);
        measures->opening_time = measure_absent(rise.absent);
        return;
    }
    measures->premicturition_pressure = measure_at(
        rise.before_cmh2o, rise.start_s,
        "median of pdet over 2 s, which end before its rise to the opening pressure by as "
        "long as that takes from 20 to 50 %");
    measures->opening_time =
        measure_at(traces->span.from_s - rise.start_s, rise.start_s,
                   "from where the line through 20 and 50 % of the rise of pdet to the opening "
                   "pressure leaves the level before it, to the onset of flow less flow_delay_s");
}

/* Whether pabd went along with a rise of pdet. Without pabd nothing is known against it. */
static bool matched(const struct voiding_traces *traces, double at_s, double rise_cmh2o)
{
    const struct series *pabd = &traces->pabd.peaked;
    const double change = series_value(pabd, at_s) - series_value(pabd, traces->span.to_s);

    return fabs(change) >= CRITERIA_AFTER_CONTRACTION_MATCH * rise_cmh2o;
}

static struct measure after_contraction(const struct voiding_traces *traces, double closing_cmh2o)
{
    const double end_s = traces->span.to_s;
    const struct series after = series_part(
        &traces->pdet.peaked, (struct span){end_s, end_s + CRITERIA_AFTER_CONTRACTION_S});
    double largest = -SERIES_ENDLESS;
    double at_s = end_s;
    bool was_matched = false;

    for (size_t i = 0; i < after.count; i++) {
        const double rise = after.samples[i] - closing_cmh2o;

        if (rise > largest && rise >= CRITERIA_AFTER_CONTRACTION_CMH2O) {
            const bool pabd_too = matched(traces, series_time(&after, i), rise);

            was_matched |= pabd_too;
            largest = pabd_too ? largest : rise;
            at_s = pabd_too ? at_s : series_time(&after, i);
        }
    }
    if (largest >= CRITERIA_AFTER_CONTRACTION_CMH2O) {
        struct measure measure =
            measure_at(largest, at_s,
                       traces->pabd.absent == NULL
                           ? "largest 1 s average of pdet within 30 s after the flow, over the "
                             "closing pressure; from 10 cmH2O on, and not where pabd changed by "
                             "half of it or more"
                           : "largest 1 s average of pdet within 30 s after the flow, over the "
                             "closing pressure; from 10 cmH2O on; pabd was not recorded, so "
                             "nothing could be compared with it");

        measure.part_count = 1;
        measure.parts[0] = (struct named_number){"peak_pdet", closing_cmh2o + largest};
        return measure;
    }
    if (was_matched) {
        return measure_absent("none found: the rise of pdet after the flow went with pabd");
    }
    const double recorded_s = after.count > 0 ? series_time(&after, after.count - 1) - end_s : 0.0;

    return measure_absent(recorded_s + 1.0 / after.rate_hz < CRITERIA_AFTER_CONTRACTION_S
                              ? "none found, and less than 30 s were recorded after the flow"
                              : "none found: pdet did not rise by 10 cmH2O within 30 s after the "
                                "flow");
}

void voiding_contraction_measure(const struct study *study, const struct voiding_traces *traces,
                                 struct voiding_measures *measures)
{
    measure_rise(study, traces, measures);
    measures->after_contraction = measure_known(&measures->closing_pressure)
                                      ? after_contraction(traces, measures->closing_pressure.value)
                                      : measure_absent(measures->closing_pressure.reason);
}
