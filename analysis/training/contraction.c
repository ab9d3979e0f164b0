#include "analysis/training/contraction.h"

#include "analysis/criteria_training.h"

#include <math.h>

/* A contraction with what surrounds it, in samples of the signal. */
struct scene {
    const struct holds *holds;
    struct span span;
    size_t first; /* of the contraction */
    size_t end;   /* one past its last sample */
    size_t low;   /* from here, */
    size_t high;  /* to one before here, no other contraction */
    double rest;
    double net; /* of the peak */
};

static double level_at(const struct scene *scene, double share)
{
    return scene->rest + share * scene->net;
}

/* Moment between two neighbouring samples at which a series passes a level. */
static double between(const struct series *series, size_t before, double level)
{
    const double from = series->samples[before];
    const double to = series->samples[before + 1];

    return series_time(series, before) + (level - from) / (to - from) / series->rate_hz;
}

/* Walks back from a sample at or above a level to where the series rises through it; NaN when the
 * scene, or what was recorded, ends before. */
static double rises_through(const struct scene *scene, size_t from, double level)
{
    const struct series *series = &scene->holds->peaked;

    for (size_t i = from; i > scene->low; i--) {
        if (isnan(series->samples[i - 1])) {
            break;
        }
        if (series->samples[i - 1] < level) {
            return between(series, i - 1, level);
        }
    }
    return SERIES_MISSING;
}

static double falls_through(const struct scene *scene, size_t from, double level)
{
    const struct series *series = &scene->holds->peaked;

    for (size_t i = from; i + 1 < scene->high; i++) {
        if (isnan(series->samples[i + 1])) {
            break;
        }
        if (series->samples[i + 1] < level) {
            return between(series, i, level);
        }
    }
    return SERIES_MISSING;
}

/* First and last sample of the contraction at or above a level. */
static bool ends_above(const struct scene *scene, double level, size_t *ret_first, size_t *ret_last)
{
    bool found = false;

    for (size_t i = scene->first; i < scene->end; i++) {
        if (scene->holds->peaked.samples[i] >= level) {
            *ret_first = found ? *ret_first : i;
            *ret_last = i;
            found = true;
        }
    }
    return found;
}

static void measure_edges(const struct scene *scene, struct contraction_numbers *numbers)
{
    const double high = level_at(scene, CRITERIA_TRAINING_EDGE_HIGH);
    const double low = level_at(scene, CRITERIA_TRAINING_EDGE_LOW);
    size_t first = 0;
    size_t last = 0;

    numbers->rise_s = SERIES_MISSING;
    numbers->release_s = SERIES_MISSING;
    if (ends_above(scene, high, &first, &last)) {
        numbers->rise_s = rises_through(scene, first, high) - rises_through(scene, first, low);
        numbers->release_s = falls_through(scene, last, low) - falls_through(scene, last, high);
    }
}

/* Time above half of the net peak; gives where it begins and ends. */
static double measure_time_above(const struct scene *scene, struct span *ret_hold)
{
    const struct series *series = &scene->holds->peaked;
    const double level = level_at(scene, CRITERIA_TRAINING_HOLD_SHARE);
    double above_s = 0.0;
    size_t first = 0;
    size_t last = 0;

    *ret_hold = scene->span;
    if (!ends_above(scene, level, &first, &last)) {
        return SERIES_MISSING;
    }
    const double start_s = rises_through(scene, first, level);
    const double end_s = falls_through(scene, last, level);

    ret_hold->from_s = isnan(start_s) ? series_time(series, first) : start_s;
    ret_hold->to_s = isnan(end_s) ? series_time(series, last) : end_s;
    above_s = ret_hold->to_s - ret_hold->from_s;
    for (size_t i = first; i < last; i++) {
        const bool on = series->samples[i] >= level;
        const bool stays = series->samples[i + 1] >= level;

        if (on && !stays && !isnan(series->samples[i + 1])) {
            above_s -= series_time(series, i + 1) - between(series, i, level);
        } else if (!on && stays && !isnan(series->samples[i])) {
            above_s -= between(series, i, level) - series_time(series, i);
        } else if (!on || !stays) {
            above_s -= 1.0 / series->rate_hz;
        }
    }
    return above_s;
}

static bool mean_of(const struct series *series, struct span span, double *ret_mean, double *ret_cv)
{
    const struct series part = series_part(series, span);
    double sum = 0.0;
    double squares = 0.0;
    double count = 0.0;

    for (size_t i = 0; i < part.count; i++) {
        if (!isnan(part.samples[i])) {
            sum += part.samples[i];
            count += 1.0;
        }
    }
    if (!(count > 0.0)) {
        return false;
    }
    const double mean = sum / count;

    for (size_t i = 0; i < part.count; i++) {
        if (!isnan(part.samples[i])) {
            squares += (part.samples[i] - mean) * (part.samples[i] - mean);
        }
    }
    *ret_mean = mean;
    *ret_cv =
        count > 1.0 && mean > 0.0 ? 100.0 * sqrt(squares / (count - 1.0)) / mean : SERIES_MISSING;
    return true;
}

static void measure_mean(const struct scene *scene, struct span above,
                         const struct command *command, struct contraction_numbers *numbers)
{
    const struct series *signal = &scene->holds->signal;
    const double late_s = CRITERIA_TRAINING_HOLD_FROM_S;
    const bool prompt = command != NULL && scene->span.from_s <= command->work.from_s + late_s;
    const struct span hold = {(prompt ? command->work.from_s : scene->span.from_s) + late_s,
                              command != NULL && command->bounded ? command->work.to_s
                                                                  : above.to_s};
    double cv = 0.0;

    numbers->mean = SERIES_MISSING;
    numbers->cv = SERIES_MISSING;
    if (!numbers->quick && mean_of(signal, hold, &numbers->mean, &numbers->cv)) {
        return;
    }
    mean_of(signal, scene->span, &numbers->mean, &cv);
}

static double measure_endurance(const struct scene *scene, const struct command *command)
{
    const struct series *averaged = &scene->holds->averaged;
    const struct series start =
        series_part(&scene->holds->peaked,
                    (struct span){scene->span.from_s,
                                  scene->span.from_s + CRITERIA_TRAINING_ENDURANCE_FIRST_S});
    double endurance_s = scene->span.to_s - scene->span.from_s;
    bool reached = false;
    size_t top = 0;

    if (!series_maximum(&start, &top)) {
        return SERIES_MISSING;
    }
    const double level =
        scene->rest + CRITERIA_TRAINING_ENDURANCE_SHARE * (start.samples[top] - scene->rest);

    for (size_t i = scene->first; i + 1 < scene->end; i++) {
        reached = reached || averaged->samples[i] >= level;
        if (reached && averaged->samples[i + 1] < level) {
            endurance_s = fmin(endurance_s, between(averaged, i, level) - scene->span.from_s);
            break;
        }
    }
    if (command != NULL && command->bounded) {
        endurance_s = fmin(endurance_s, command->work.to_s - command->work.from_s);
    }
    return endurance_s;
}

static bool has_returned(const struct scene *scene)
{
    const struct series *series = &scene->holds->peaked;
    const double level = level_at(scene, CRITERIA_TRAINING_RETURN_SHARE);
    const size_t from = scene->end > scene->first ? scene->end - 1 : scene->end;

    for (size_t i = from; i < scene->high; i++) {
        if (series->samples[i] < level) {
            return true;
        }
    }
    return false;
}

struct contraction_numbers contraction_measure(const struct holds *holds, size_t index,
                                               const struct command *command)
{
    const struct span span = holds->spans[index];
    const bool last = index + 1 == holds->count;
    struct scene scene = {
        .holds = holds,
        .span = span,
        .first = series_first_at(&holds->signal, span.from_s),
        .end = series_end_at(&holds->signal, span.to_s),
        .low = index == 0 ? 0 : series_first_at(&holds->signal, holds->spans[index - 1].to_s),
        .high = last ? holds->signal.count
                     : series_end_at(&holds->signal, holds->spans[index + 1].from_s),
        .rest = holds->rest.median,
    };
    struct contraction_numbers numbers = {.quick =
                                              span.to_s - span.from_s <= CRITERIA_TRAINING_QUICK_S,
                                          .peak = SERIES_MISSING,
                                          .peak_s = 0.5 * (span.from_s + span.to_s)};
    const struct series part = series_part(&holds->peaked, span);
    struct span above;
    size_t peak = 0;

    if (series_maximum(&part, &peak)) {
        numbers.peak = part.samples[peak];
        numbers.peak_s = series_time(&part, peak);
    }
    scene.net = numbers.peak - scene.rest;
    numbers.hold_s = measure_time_above(&scene, &above);
    measure_edges(&scene, &numbers);
    measure_mean(&scene, above, command, &numbers);
    numbers.endurance_s = numbers.quick ? SERIES_MISSING : measure_endurance(&scene, command);
    numbers.returned = has_returned(&scene);
    return numbers;
}
