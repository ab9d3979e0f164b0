/* What is wrong or doubtful with an anorectal manometry. */
#include "analysis/anorectal/parts.h"
#include "analysis/criteria.h"
#include "analysis/criteria_anorectal.h"
#include "analysis/measure.h"

#include <math.h>

/* A line as this file walks over it: as recorded, gaps and all. */
struct line {
    enum signal_kind signal;
    const struct series *series;
};

static void note_span(struct study *study, struct quality_finding finding, struct span span)
{
    outcome_note_span(&study->outcome, finding, span.from_s, span.to_s);
}

/* Longest stretch in which each sample is, or is not, what the test asks. */
typedef bool sample_test(double sample, double limit);

static bool is_missing(double sample, double limit)
{
    (void)limit;
    return isnan(sample);
}

static bool is_outside(double sample, double limit)
{
    (void)limit;
    return sample < CRITERIA_ARM_LEAST_MMHG || sample > CRITERIA_ARM_MOST_MMHG;
}

static bool is_at_top(double sample, double limit)
{
    return sample >= limit;
}

static bool longest_stretch(const struct series *series, sample_test *test, double limit,
                            struct span *ret_span)
{
    size_t length = 0;
    size_t longest = 0;

    for (size_t i = 0; i < series->count; i++) {
        length = test(series->samples[i], limit) ? length + 1 : 0;
        if (length > longest) {
            longest = length;
            *ret_span = (struct span){series_time(series, i + 1 - length), series_time(series, i)};
        }
    }
    return longest > 0;
}

static void note_missing(struct study *study, struct line line)
{
    struct span span;

    if (longest_stretch(line.series, is_missing, 0.0, &span)) {
        note_span(study,
                  (struct quality_finding){
                      .code = "missing_samples",
                      .severity = QUALITY_WARNING,
                      .signal = line.signal,
                      .text = "Samples of this signal are missing for more than a second; this is "
                              "the longest gap. Nothing was filled in: look at the trace."},
                  span);
    }
}

static void note_outside(struct study *study, struct line line)
{
    struct span span;

    if (longest_stretch(line.series, is_outside, 0.0, &span) &&
        span.to_s - span.from_s >= CRITERIA_ARM_OUTSIDE_S - 1e-6) {
        note_span(study,
                  (struct quality_finding){
                      .code = "implausible_value",
                      .severity = QUALITY_WARNING,
                      .signal = line.signal,
                      .text = "This pressure stays outside 0 to 400 mmHg for at least a second. "
                              "Check zero, unit and sensor before using values from here."},
                  span);
    }
}

static double largest(const struct series *series)
{
    double top = -SERIES_ENDLESS;

    for (size_t i = 0; i < series->count; i++) {
        top = series->samples[i] > top ? series->samples[i] : top;
    }
    return top;
}

/* A line that never stands still but at its largest value is cut off there. */
static void note_clipped(struct study *study, struct line line)
{
    const struct series *series = line.series;
    const double top = largest(series);
    struct span clipped;
    struct span still;

    if (!longest_stretch(series, is_at_top, top, &clipped) ||
        clipped.to_s - clipped.from_s < CRITERIA_ARM_CLIPPED_S - 1e-6) {
        return;
    }
    const double still_s = anal_signals_standstill(series, &still);

    if (still_s < CRITERIA_FLAT_S && fabs(still.from_s - clipped.from_s) * series->rate_hz < 0.5) {
        note_span(study,
                  (struct quality_finding){
                      .code = "clipped",
                      .severity = QUALITY_WARNING,
                      .signal = line.signal,
                      .text = "This pressure stays at its largest value and nowhere else: it may "
                              "be cut off at the end of the sensor's range. Peaks are at least as "
                              "high as shown: check the range."},
                  clipped);
    }
}

static void note_flat(struct study *study, struct line line)
{
    struct span span;

    if (anal_signals_standstill(line.series, &span) >= CRITERIA_FLAT_S) {
        note_span(study,
                  (struct quality_finding){
                      .code = "flat_line",
                      .severity = QUALITY_WARNING,
                      .signal = line.signal,
                      .text = "This pressure does not move at all here. The sensor may be broken "
                              "or disconnected: ask for a squeeze and look at the response."},
                  span);
    }
}

static void note_sampling(struct study *study, struct line line, bool coughs)
{
    const double rate_hz = line.series->rate_hz * (1.0 + 1e-6);

    if (rate_hz < CRITERIA_SAMPLING_FLOOR_HZ) {
        outcome_note(&study->outcome, "low_sampling_rate", QUALITY_WARNING, line.signal,
                     "This signal is sampled below 10 Hz. Peaks are not seen as high as they are, "
                     "and times are less exact.");
    } else if (coughs && rate_hz < CRITERIA_ARM_COUGH_RATE_HZ) {
        outcome_note(&study->outcome, "low_sampling_rate", QUALITY_INFO, line.signal,
                     "This signal is sampled below 20 Hz, which coughs need. Their peaks are not "
                     "seen as high as they are.");
    }
}

static void note_line(struct study *study, struct line line, bool coughs)
{
    if (line.series->count > 0) {
        note_missing(study, line);
        note_outside(study, line);
        note_clipped(study, line);
        note_flat(study, line);
        note_sampling(study, line, coughs);
    }
}

static void note_sensors(struct anorectal_parts *parts)
{
    const bool coughs = manoeuvre_count(&parts->list, MANOEUVRE_COUGH) > 0;
    const struct anal_signals *signals = &parts->signals;

    for (size_t i = 0; i < signals->sensor_count; i++) {
        const struct anal_sensor *sensor = &signals->sensors[i];

        note_line(parts->study, (struct line){sensor->signal, &sensor->series}, coughs);
        if (sensor->dead) {
            outcome_note(&parts->study->outcome, "dead_sensor", QUALITY_WARNING, sensor->signal,
                         "This anal sensor stands still while others move, and was left out of "
                         "all values. Check it before the next patient.");
        }
    }
    note_line(parts->study, (struct line){SIGNAL_PRECT, &signals->rect_raw}, coughs);
}

/* The level before the manoeuvres, first and last. */
static void note_drift(struct anorectal_parts *parts)
{
    const struct anorectal_manoeuvre *first = NULL;
    const struct anorectal_manoeuvre *last = NULL;

    for (size_t i = 0; i < parts->list.count; i++) {
        const struct anorectal_manoeuvre *item = &parts->list.items[i].item;

        if (!isnan(item->anal_rest_mmhg) && parts->list.items[i].kind != MANOEUVRE_BALLOON) {
            first = first == NULL ? item : first;
            last = item;
        }
    }
    if (first != NULL &&
        fabs(last->anal_rest_mmhg - first->anal_rest_mmhg) > CRITERIA_ARM_DRIFT_MMHG) {
        outcome_note(&parts->study->outcome, "drift", QUALITY_WARNING, SIGNAL_PANAL,
                     "The anal level before the manoeuvres changes by more than 20 mmHg from the "
                     "first to the last. The catheter may have moved or a sensor drifts: check the "
                     "zero at the end, and judge pressures against the level just before.");
    }
}

static void note_rest(struct anorectal_parts *parts)
{
    const struct span span = parts->rest.span;

    if (parts->signals.anal.count == 0) {
        outcome_note(&parts->study->outcome, "no_anal_pressure", QUALITY_ERROR, SIGNAL_NONE,
                     "There is no usable anal pressure, so hardly anything could be computed. "
                     "Check the sensors and the upload.");
    } else if (!parts->rest.known) {
        outcome_note(&parts->study->outcome, "no_rest", QUALITY_WARNING, SIGNAL_NONE,
                     "No quiet stretch of at least 10 s was found for the resting pressure. Record "
                     "60 s of rest before the manoeuvres, or set a rest marker.");
    } else if (span.to_s - span.from_s < CRITERIA_ARM_REST_S - 0.5) {
        outcome_note(&parts->study->outcome, "short_rest", QUALITY_INFO, SIGNAL_NONE,
                     "The resting pressure rests on less than 60 s. Record 60 s of rest before the "
                     "manoeuvres.");
    }
}

static bool volume_missing(const struct anorectal_parts *parts)
{
    static const enum event_code felt[] = {EVENT_FIRST_SENSATION, EVENT_FIRST_DESIRE, EVENT_PAIN};
    const struct timeline *timeline = &parts->study->timeline;

    for (size_t i = 0; i < parts->list.count; i++) {
        if (parts->list.items[i].kind == MANOEUVRE_BALLOON &&
            isnan(parts->list.items[i].volume_ml)) {
            return true;
        }
    }
    for (size_t i = 0; i < sizeof felt / sizeof felt[0]; i++) {
        const struct optional_number marker = timeline_first(timeline, felt[i], -SERIES_ENDLESS);

        if (marker.known && isnan(manoeuvre_volume(parts->study, &parts->signals, marker.value))) {
            return true;
        }
    }
    return false;
}

static void note_conditions(struct anorectal_parts *parts)
{
    const struct optional_number expulsion =
        parts->study->recording->conditions.balloon_expulsion_s;
    const struct timeline *timeline = &parts->study->timeline;
    const struct span extent = parts->signals.extent;

    if (volume_missing(parts)) {
        outcome_note(&parts->study->outcome, "balloon_volume_missing", QUALITY_WARNING,
                     SIGNAL_BALLOON,
                     "The balloon was inflated or felt, but its volume is not known there. Enter "
                     "the volume with the balloon markers, or record it.");
    }
    if (expulsion.known && !measure_known(&parts->measures->balloon_expulsion_time)) {
        outcome_note(&parts->study->outcome, "implausible_value", QUALITY_WARNING, SIGNAL_NONE,
                     "The entered balloon expulsion time is outside 0 to 3600 s. Check the entry.");
    }
    for (size_t i = 0; i < timeline->count && extent.from_s <= extent.to_s; i++) {
        const double at_s = timeline->events[i].at_s;

        if (at_s < extent.from_s - CRITERIA_MARKER_SLACK_S ||
            at_s > extent.to_s + CRITERIA_MARKER_SLACK_S) {
            outcome_note(&parts->study->outcome, "marker_outside", QUALITY_WARNING, SIGNAL_NONE,
                         "At least one marker lies outside the recorded signals. Move it to where "
                         "it belongs, or delete it.");
            break;
        }
    }
}

void quality_of_anorectal(struct anorectal_parts *parts)
{
    note_sensors(parts);
    note_rest(parts);
    note_drift(parts);
    note_conditions(parts);
}
