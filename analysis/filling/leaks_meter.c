#include "analysis/filling/leaks_meter.h"

#include "analysis/criteria.h"
#include "analysis/criteria_leaks.h"
#include "analysis/memory.h"
#include "analysis/signal/derive.h"
#include "analysis/signal/resample.h"
#include "analysis/signal/smooth.h"

#include <math.h>

/* What a loss must amount to, on one scale of time, and where its edges are. */
struct scale {
    double half_s;
    size_t half;
    double least_ml;
    double edge_ml;
};

struct losses {
    size_t count;
    struct meter_loss *items;
};

bool leaks_meter_exists(const struct study *study)
{
    return study->vvoid.count > 0 || study->flow.count > 0;
}

/* At the rate at which losses are looked for, and averaged a little. */
static bool take_coarse(const struct study *study, const struct series *full, struct span span,
                        struct series *ret_coarse, double **ret_samples)
{
    const struct series part = series_part(full, span);
    const size_t block = part.count > 0 ? resample_block(&part, CRITERIA_LEAK_RATE_HZ) : 1;
    double *means = memory_doubles(study->memory, part.count / block);
    double *samples = memory_doubles(study->memory, part.count / block);

    if (means == NULL || samples == NULL) {
        return false;
    }
    *ret_coarse = resample_means(&part, block, means);
    smooth_mean(ret_coarse, smooth_window(ret_coarse, CRITERIA_LEAK_SMOOTH_HALF_S),
                SMOOTH_ENDS_SHORTEN, samples);
    ret_coarse->samples = samples;
    *ret_samples = samples;
    return true;
}

/* Flow becomes the volume that it brought, less what it rests at. */
static void integrate(const struct study *study, const struct series *flow, double *samples)
{
    const double rest = level_median(
        flow, (struct span){flow->start_s, series_time(flow, flow->count - 1)}, study->scratch);
    double volume_ml = 0.0;

    for (size_t i = 0; i < flow->count; i++) {
        if (!isnan(samples[i]) && !isnan(rest)) {
            volume_ml += (samples[i] - rest) / flow->rate_hz;
        }
        samples[i] = volume_ml;
    }
}

static double rise_at(const struct series *volume, size_t index, size_t half)
{
    const size_t before = index > half ? index - half : 0;
    const size_t after = volume->count - 1 - index > half ? index + half : volume->count - 1;

    return volume->samples[after] - volume->samples[before];
}

/* Smallest loss that counts: what was asked for, but clear of noise and resolution. */
static struct scale take_scale(const struct study *study, const struct series *volume,
                               double half_s, double least_ml, double step_ml)
{
    struct scale scale = {.half_s = half_s, .half = series_whole_samples(volume, half_s)};
    const size_t stride = volume->count / study->scratch.capacity + 1;
    size_t held = 0;

    for (size_t i = 0; i < volume->count; i += stride) {
        const double rise = rise_at(volume, i, scale.half);

        if (!isnan(rise)) {
            study->scratch.values[held++] = fabs(rise);
        }
    }
    const double noise_ml =
        held > 0 ? CRITERIA_ROBUST_SCALE * level_median_of(study->scratch.values, held) : 0.0;

    scale.least_ml = fmax(fmax(least_ml, CRITERIA_LEAK_NOISE * noise_ml),
                          CRITERIA_LEAK_STEPS * fmin(step_ml, CRITERIA_LEAK_STEP_MOST_ML));
    scale.edge_ml = CRITERIA_LEAK_EDGE_SHARE * scale.least_ml;
    return scale;
}

/* Moment between a sample and the next, at which volume passes a level. */
static double passes(const struct series *volume, size_t index, double level_ml)
{
    const double before = volume->samples[index];
    const double after = volume->samples[index + 1];
    const double share = after > before ? (level_ml - before) / (after - before) : 0.0;

    return series_time(volume, index) + fmax(0.0, fmin(1.0, share)) / volume->rate_hz;
}

/* Where the volume, seen from one side, leaves its level: a straight line through the moments at
 * which it is a little, and a little more, off it. `level_ml` is what it leaves, `off_ml` the whole
 * way, negative from the far side. */
static double leaves(const struct series *volume, struct span span, double level_ml, double off_ml)
{
    const bool forward = off_ml > 0.0;
    const double near_ml = level_ml + CRITERIA_LEAK_NEAR_SHARE * off_ml;
    const double far_ml = level_ml + CRITERIA_LEAK_FAR_SHARE * off_ml;
    const size_t first = series_first_at(volume, span.from_s);
    const size_t end = series_end_at(volume, span.to_s);
    size_t i = forward ? first : end - 1;

    while (forward ? i + 1 < end && volume->samples[i + 1] < far_ml
                   : i > first && volume->samples[i] > far_ml) {
        i = forward ? i + 1 : i - 1;
    }
    if (i + 1 >= volume->count) {
        return span.to_s;
    }
    const double far_s = passes(volume, i, far_ml);

    while (forward ? i > first && volume->samples[i] > near_ml
                   : i + 2 < end && volume->samples[i + 1] < near_ml) {
        i = forward ? i - 1 : i + 1;
    }
    const double near_s = passes(volume, i, near_ml);
    const double slope =
        CRITERIA_LEAK_NEAR_SHARE / (CRITERIA_LEAK_FAR_SHARE - CRITERIA_LEAK_NEAR_SHARE);

    return fmin(span.to_s, fmax(span.from_s, near_s - (far_s - near_s) * slope));
}

/* Measures what rises around samples first..last; nothing when it does not stay. */
static bool measure_loss(const struct study *study, const struct series *volume,
                         const struct scale *scale, struct span rising, struct meter_loss *ret_loss)
{
    const struct span around = {rising.from_s - scale->half_s, rising.to_s + scale->half_s};
    const double before_ml =
        level_median(volume, (struct span){around.from_s - CRITERIA_LEAK_LEVEL_S, around.from_s},
                     study->scratch);
    const double after_ml = level_median(
        volume, (struct span){around.to_s, around.to_s + CRITERIA_LEAK_LEVEL_S}, study->scratch);
    const double lost_ml = after_ml - before_ml;

    if (!(lost_ml >= scale->least_ml)) {
        return false;
    }
    *ret_loss = (struct meter_loss){.lost_ml = lost_ml};
    ret_loss->span.from_s = leaves(volume, around, before_ml, lost_ml);
    ret_loss->span.to_s = fmax(ret_loss->span.from_s, leaves(volume, around, after_ml, -lost_ml));
    return true;
}

static bool is_known(const struct losses *losses, struct span span, double slack_s)
{
    for (size_t i = 0; i < losses->count; i++) {
        if (losses->items[i].span.from_s <= span.to_s + slack_s &&
            losses->items[i].span.to_s >= span.from_s - slack_s) {
            return true;
        }
    }
    return false;
}

/* Keeps the order of time. */
static void insert(struct losses *losses, struct meter_loss loss)
{
    size_t place = losses->count;

    while (place > 0 && losses->items[place - 1].span.from_s > loss.span.from_s) {
        losses->items[place] = losses->items[place - 1];
        place--;
    }
    losses->items[place] = loss;
    losses->count++;
}

/* Finds the losses on one scale, apart from those that a finer one found: these stay. */
static void find_on_scale(const struct study *study, const struct series *volume,
                          const struct scale *scale, double apart_s, struct losses *losses)
{
    const struct losses finer = {losses->count, losses->items};
    size_t i = 0;

    while (i < volume->count && losses->count < LEAKS_METER_MAX) {
        const size_t first = i;
        double most_ml = 0.0;

        while (i < volume->count && rise_at(volume, i, scale->half) >= scale->edge_ml) {
            most_ml = fmax(most_ml, rise_at(volume, i, scale->half));
            i++;
        }
        if (i == first) {
            i++;
            continue;
        }
        const struct span rising = {series_time(volume, first), series_time(volume, i - 1)};
        struct meter_loss loss;

        if (most_ml >= scale->least_ml && measure_loss(study, volume, scale, rising, &loss) &&
            (finer.count == 0 || !is_known(losses, loss.span, apart_s))) {
            insert(losses, loss);
        }
    }
}

/* Whether a loss on a meter of flow alone is the knock that the flow was cleaned of. */
static bool is_knock(const struct study *study, const struct flow_record *record,
                     const struct meter_loss *loss)
{
    const struct span before = {loss->span.from_s - CRITERIA_LEAK_KNOCK_COUGH_S, loss->span.from_s};
    const bool provoked = pressure_events_overlap(
        &study->pressure_events, 1u << PRESSURE_EVENT_COUGH | 1u << PRESSURE_EVENT_STRAIN, before,
        0.0);

    for (size_t i = 0; study->vvoid.count == 0 && i < record->knock_count; i++) {
        const struct knock *knock = &record->knocks[i];
        const struct span span = {series_time(&record->cleaned, knock->first),
                                  series_time(&record->cleaned, knock->last)};
        const double length_s = span.to_s - span.from_s + 1.0 / record->cleaned.rate_hz;

        if (knock->verdict == KNOCK_REMOVED && knock->height > 0.0 &&
            span.from_s <= loss->span.to_s && span.to_s >= loss->span.from_s &&
            (!provoked || length_s < CRITERIA_LEAK_KNOCK_LEAST_S)) {
            return true;
        }
    }
    return false;
}

/* Leaves those that begin and end within the filling and are no knocks. */
static void keep_losses(const struct study *study, const struct flow_record *record,
                        struct span filling, struct losses *losses)
{
    size_t kept = 0;

    for (size_t i = 0; i < losses->count; i++) {
        const struct meter_loss loss = losses->items[i];

        if (loss.span.from_s >= filling.from_s && loss.span.to_s <= filling.to_s &&
            !is_knock(study, record, &loss)) {
            losses->items[kept++] = loss;
        }
    }
    losses->count = kept;
}

bool leaks_meter_find(const struct study *study, const struct flow_record *record,
                      struct span filling, struct meter_loss *losses, size_t *ret_count)
{
    const bool by_volume = study->vvoid.count > 0;
    const double reach_s = CRITERIA_LEAK_DRIBBLE_HALF_S + CRITERIA_LEAK_LEVEL_S;
    const struct span around = {filling.from_s - reach_s, filling.to_s + reach_s};
    struct losses found = {.items = losses};
    struct series volume;
    double *samples = NULL;

    *ret_count = 0;
    if (!leaks_meter_exists(study)) {
        return true;
    }
    if (!take_coarse(study, by_volume ? &study->vvoid : &study->flow, around, &volume, &samples)) {
        return false;
    }
    if (volume.count < 2) {
        return true;
    }
    const double step_ml = by_volume ? derive_step(&study->vvoid) : 0.0;

    if (!by_volume) {
        integrate(study, &volume, samples);
    }
    const struct scale spurt =
        take_scale(study, &volume, CRITERIA_LEAK_SPURT_HALF_S, CRITERIA_LEAK_SPURT_ML, step_ml);
    const struct scale dribble =
        take_scale(study, &volume, CRITERIA_LEAK_DRIBBLE_HALF_S, CRITERIA_LEAK_DRIBBLE_ML, step_ml);

    find_on_scale(study, &volume, &spurt, 0.0, &found);
    find_on_scale(study, &volume, &dribble, CRITERIA_LEAK_DRIBBLE_HALF_S, &found);
    keep_losses(study, record, filling, &found);
    *ret_count = found.count;
    return true;
}
