#include "analysis/anorectal/anal_signals.h"

#include "analysis/anorectal/anal_zone.h"
#include "analysis/criteria.h"
#include "analysis/criteria_anorectal.h"
#include "analysis/memory.h"
#include "analysis/series_copy.h"
#include "analysis/signal/smooth.h"

#include <math.h>
#include <string.h>

/* Room for one sensor's averages, and the time axis that all sensors are brought to. */
struct fold {
    const struct anal_signals *signals;
    double *scratch;
    struct series axis;
    bool everywhere; /* all live sensors; else those in the zone */
};

static bool is_used(const struct anal_sensor *sensor, bool everywhere)
{
    return everywhere ? !sensor->dead : sensor->in_zone;
}

static bool take(struct study *study, enum signal_kind signal, struct series *ret_series)
{
    struct series series;

    if (!study_signal(study, signal, CRITERIA_ARM_RATE_HZ, &series)) {
        return false;
    }
    if (series.count > 0) {
        double *bridged = memory_doubles(study->memory, series.count);

        if (bridged == NULL) {
            return false;
        }
        memcpy(bridged, series.samples, series.count * sizeof *bridged);
        smooth_bridge(&series, CRITERIA_BRIDGE_S, bridged);
        series.samples = bridged;
    }
    *ret_series = series;
    return true;
}

static bool take_sensors(struct study *study, struct anal_signals *signals)
{
    for (unsigned signal = SIGNAL_PANAL; signal <= SIGNAL_PANAL12; signal++) {
        struct anal_sensor *sensor = &signals->sensors[signals->sensor_count];

        sensor->signal = (enum signal_kind)signal;
        if (!take(study, sensor->signal, &sensor->series)) {
            return false;
        }
        signals->sensor_count += sensor->series.count > 0 ? 1 : 0;
    }
    return true;
}

double anal_signals_standstill(const struct series *series, struct span *ret_span)
{
    struct span longest = {series->start_s, series->start_s};
    size_t first = 0;

    for (size_t i = 1; i <= series->count; i++) {
        if (i < series->count && fabs(series->samples[i] - series->samples[first]) <= 0.0) {
            continue;
        }
        const struct span span = {series_time(series, first), series_time(series, i - 1)};

        if (span.to_s - span.from_s > longest.to_s - longest.from_s) {
            longest = span;
        }
        first = i;
    }
    if (ret_span != NULL) {
        *ret_span = longest;
    }
    return longest.to_s - longest.from_s;
}

/* A sensor that stands still is dead only beside one that does not: all may rest without noise. */
static void find_dead(struct anal_signals *signals)
{
    double still_s[ANAL_SENSORS_MAX];
    double least_s = SERIES_ENDLESS;

    for (size_t i = 0; i < signals->sensor_count; i++) {
        still_s[i] = anal_signals_standstill(&signals->sensors[i].series, NULL);
        least_s = fmin(least_s, still_s[i]);
    }
    for (size_t i = 0; i < signals->sensor_count && least_s < CRITERIA_ARM_STANDSTILL_S; i++) {
        const struct series *series = &signals->sensors[i].series;
        const double length_s = (double)series->count / series->rate_hz;

        signals->sensors[i].dead = still_s[i] >= CRITERIA_ARM_STANDSTILL_S &&
                                   still_s[i] >= CRITERIA_ARM_DEAD_SHARE * length_s;
    }
}

/* The fastest sensor's rate over the time of all; slower when that would be many more samples than
 * there are. */
static struct series common_axis(const struct anal_signals *signals, bool everywhere)
{
    struct series axis = {.rate_hz = 0.0, .start_s = SERIES_ENDLESS};
    double end_s = -SERIES_ENDLESS;
    double samples = 0.0;

    for (size_t i = 0; i < signals->sensor_count; i++) {
        const struct series *series = &signals->sensors[i].series;

        if (is_used(&signals->sensors[i], everywhere)) {
            axis.rate_hz = fmax(axis.rate_hz, series->rate_hz);
            axis.start_s = fmin(axis.start_s, series->start_s);
            end_s = fmax(end_s, series_time(series, series->count - 1));
            samples += (double)series->count;
        }
    }
    const double length_s = end_s - axis.start_s;

    if (length_s * axis.rate_hz > 2.0 * samples) {
        axis.rate_hz = 2.0 * samples / length_s;
    }
    axis.count = (size_t)(floor(length_s * axis.rate_hz + 1e-6) + 1.0);
    return axis;
}

static struct series average(const struct fold *fold, const struct anal_sensor *sensor,
                             double half_s)
{
    struct series averaged = sensor->series;

    smooth_mean(&sensor->series, smooth_window(&sensor->series, half_s), SMOOTH_ENDS_SHORTEN,
                fold->scratch);
    averaged.samples = fold->scratch;
    return averaged;
}

/* Whether a sensor is the highest at one of its samples. */
static bool leads(const struct series *averaged, size_t index, const struct series *highest)
{
    const double value = series_value(highest, series_time(averaged, index));

    return averaged->samples[index] >= value - 1e-6;
}

/* Where the sensor that is the highest has a gap, nobody knows how high the pressure is. */
static void drop_gaps(const struct series *averaged, const struct series *highest, double *output)
{
    size_t known = averaged->count;

    for (size_t i = 0; i < averaged->count; i++) {
        if (isnan(averaged->samples[i])) {
            continue;
        }
        if (known < i && i - known > 1 &&
            (leads(averaged, known, highest) || leads(averaged, i, highest))) {
            const size_t end = series_first_at(highest, series_time(averaged, i));

            for (size_t k = series_end_at(highest, series_time(averaged, known)); k < end; k++) {
                output[k] = SERIES_MISSING;
            }
        }
        known = i;
    }
}

static bool fold_highest(struct study *study, const struct fold *fold, double half_s,
                         struct series *ret_series)
{
    double *output = memory_doubles(study->memory, fold->axis.count);
    struct series highest = fold->axis;

    if (output == NULL) {
        return false;
    }
    highest.samples = output;
    for (size_t k = 0; k < highest.count; k++) {
        output[k] = SERIES_MISSING;
    }
    for (size_t i = 0; i < fold->signals->sensor_count; i++) {
        if (is_used(&fold->signals->sensors[i], fold->everywhere)) {
            const struct series averaged = average(fold, &fold->signals->sensors[i], half_s);

            for (size_t k = 0; k < highest.count; k++) {
                output[k] = fmax(output[k], series_value(&averaged, series_time(&highest, k)));
            }
        }
    }
    for (size_t i = 0; i < fold->signals->sensor_count; i++) {
        if (is_used(&fold->signals->sensors[i], fold->everywhere)) {
            const struct series averaged = average(fold, &fold->signals->sensors[i], half_s);

            drop_gaps(&averaged, &highest, output);
        }
    }
    *ret_series = highest;
    return true;
}

static bool is_pulled(const struct study *study, const struct anal_signals *signals)
{
    return signals->puller.count > 0 || timeline_count(&study->timeline, EVENT_PULL_START) > 0;
}

static bool any_left_out(const struct anal_signals *signals)
{
    for (size_t i = 0; i < signals->sensor_count; i++) {
        if (!signals->sensors[i].dead && !signals->sensors[i].in_zone) {
            return true;
        }
    }
    return false;
}

static bool fold_sensors(struct study *study, struct anal_signals *signals)
{
    struct fold fold = {.signals = signals};
    size_t longest = 0;

    if (signals->sensor_count == 0) {
        return true;
    }
    for (size_t i = 0; i < signals->sensor_count; i++) {
        const size_t count = signals->sensors[i].series.count;

        longest = count > longest ? count : longest;
    }
    fold.scratch = memory_doubles(study->memory, longest);
    fold.axis = common_axis(signals, false);
    if (fold.scratch == NULL ||
        !fold_highest(study, &fold, CRITERIA_ARM_TONE_HALF_S, &signals->anal) ||
        !fold_highest(study, &fold, CRITERIA_ARM_COUGH_HALF_S, &signals->anal_cough) ||
        !fold_highest(study, &fold, CRITERIA_ARM_SECOND_HALF_S, &signals->anal_second)) {
        return false;
    }
    signals->anal_pull = signals->anal_cough;
    if (!is_pulled(study, signals) || !any_left_out(signals)) {
        return true;
    }
    fold.everywhere = true;
    fold.axis = common_axis(signals, true);
    return fold_highest(study, &fold, CRITERIA_ARM_COUGH_HALF_S, &signals->anal_pull);
}

static void widen(struct span *extent, const struct series *series)
{
    if (series->count > 0) {
        extent->from_s = fmin(extent->from_s, series->start_s);
        extent->to_s = fmax(extent->to_s, series_time(series, series->count - 1));
    }
}

bool anal_signals_open(struct study *study, struct anal_signals *signals)
{
    const struct series *rect = &signals->rect_raw;

    *signals = (struct anal_signals){.anal = {.rate_hz = 1.0},
                                     .anal_cough = {.rate_hz = 1.0},
                                     .anal_second = {.rate_hz = 1.0},
                                     .anal_pull = {.rate_hz = 1.0},
                                     .extent = {SERIES_ENDLESS, -SERIES_ENDLESS}};
    if (!take_sensors(study, signals) || !take(study, SIGNAL_PRECT, &signals->rect_raw) ||
        !take(study, SIGNAL_BALLOON, &signals->balloon) ||
        !take(study, SIGNAL_PULLER, &signals->puller)) {
        return false;
    }
    find_dead(signals);
    for (size_t i = 0; i < signals->sensor_count; i++) {
        widen(&signals->extent, &signals->sensors[i].series);
    }
    widen(&signals->extent, rect);
    widen(&signals->extent, &signals->balloon);
    anal_zone_find(study, signals);
    return fold_sensors(study, signals) &&
           series_copy_smoothed(rect, CRITERIA_ARM_TONE_HALF_S, study->memory, &signals->rect) &&
           series_copy_smoothed(rect, CRITERIA_ARM_COUGH_HALF_S, study->memory,
                                &signals->rect_cough) &&
           series_copy_smoothed(rect, CRITERIA_ARM_SECOND_HALF_S, study->memory,
                                &signals->rect_second);
}
