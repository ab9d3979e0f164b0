#include "analysis/anorectal/anal_zone.h"

#include "analysis/criteria_anorectal.h"

#include <math.h>

/* What each sensor shows at rest; NaN: not known, or dead. */
struct levels {
    double sensors[ANAL_SENSORS_MAX];
    double rect;
};

/* ---- Rest ---- */

static double first_effort(const struct timeline *timeline, double from_s)
{
    static const enum event_code codes[] = {EVENT_SQUEEZE, EVENT_LONG_SQUEEZE, EVENT_COUGH,
                                            EVENT_PUSH,    EVENT_BALLOON,      EVENT_FILLING_START};

    double first_s = SERIES_ENDLESS;

    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++) {
        const struct optional_number marker = timeline_first(timeline, codes[i], from_s);

        first_s = marker.known ? fmin(first_s, marker.value) : first_s;
    }
    return first_s;
}

static bool is_long_enough(struct span span)
{
    return span.to_s - span.from_s >= CRITERIA_ARM_REST_LEAST_S - 1e-6;
}

static struct span rest_span(const struct study *study, struct span extent)
{
    const struct timeline *timeline = &study->timeline;
    const struct optional_number marker = timeline_first(timeline, EVENT_REST, -SERIES_ENDLESS);

    if (marker.known) {
        const double effort_s = first_effort(timeline, marker.value) - CRITERIA_ARM_EARLY_S;
        const struct span marked = {marker.value,
                                    fmin(marker.value + CRITERIA_ARM_REST_S, effort_s)};

        if (is_long_enough(marked)) {
            return marked;
        }
    }
    const double end_s =
        fmin(first_effort(timeline, -SERIES_ENDLESS) - CRITERIA_ARM_EARLY_S, extent.to_s);
    const struct span before = {fmax(end_s - CRITERIA_ARM_REST_S, extent.from_s), end_s};

    return end_s < extent.to_s && is_long_enough(before) ? before : extent;
}

/* ---- Levels ---- */

static double level_of(const struct study *study, const struct anal_signals *signals,
                       const struct series *series, struct span rest)
{
    const double level = level_median(series, rest, study->scratch);

    return isnan(level) ? level_median(series, signals->extent, study->scratch) : level;
}

static struct levels find_levels(const struct study *study, const struct anal_signals *signals)
{
    const struct span rest = rest_span(study, signals->extent);
    struct levels levels = {.rect = level_of(study, signals, &signals->rect_raw, rest)};

    for (size_t i = 0; i < signals->sensor_count; i++) {
        const struct anal_sensor *sensor = &signals->sensors[i];

        levels.sensors[i] = sensor->dead || sensor->signal == SIGNAL_PANAL
                                ? SERIES_MISSING
                                : level_of(study, signals, &sensor->series, rest);
    }
    return levels;
}

/* ---- From the highest sensor both ways ---- */

/* The rectal level, or what stands for it among the sensors from `first` to before `end`. */
static double reference_level(const struct levels *levels, size_t first, size_t end)
{
    double lowest = CRITERIA_ARM_ZONE_RECTAL_MOST_MMHG;

    for (size_t i = first; i < end; i++) {
        lowest = fmin(lowest, levels->sensors[i]);
    }
    return isnan(levels->rect) ? lowest : levels->rect;
}

/* False: the zone ends here. A sensor of unknown level neither counts nor ends it. */
static bool take_sensor(struct anal_sensor *sensor, double level, double reference)
{
    sensor->in_zone = level - reference > CRITERIA_ARM_LENGTH_MMHG;
    return sensor->in_zone || isnan(level);
}

void anal_zone_find(const struct study *study, struct anal_signals *signals)
{
    const size_t count = signals->sensor_count;
    const struct levels levels = find_levels(study, signals);
    size_t highest = count;

    for (size_t i = 0; i < count; i++) {
        if (!isnan(levels.sensors[i]) &&
            (highest == count || levels.sensors[i] > levels.sensors[highest])) {
            highest = i;
        }
    }
    for (size_t i = 0; i < count; i++) {
        struct anal_sensor *sensor = &signals->sensors[i];

        sensor->in_zone = !sensor->dead && (sensor->signal == SIGNAL_PANAL || highest == count);
    }
    if (highest == count) {
        return;
    }
    const double outside = reference_level(&levels, 0, highest);
    const double inside = reference_level(&levels, highest + 1, count);
    size_t i = highest;

    signals->sensors[highest].in_zone = true;
    while (i > 0 && signals->sensors[i - 1].signal != SIGNAL_PANAL &&
           take_sensor(&signals->sensors[i - 1], levels.sensors[i - 1], outside)) {
        i--;
    }
    i = highest + 1;
    while (i < count && take_sensor(&signals->sensors[i], levels.sensors[i], inside)) {
        i++;
    }
}
