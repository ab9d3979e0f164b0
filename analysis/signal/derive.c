#include "analysis/signal/derive.h"

#include "analysis/criteria.h"
#include "analysis/signal/integrate.h"
#include "analysis/signal/level.h"

#include <math.h>

double derive_step(const struct series *volume)
{
    double smallest = SERIES_ENDLESS;

    for (size_t i = 1; i < volume->count; i++) {
        const double change = fabs(volume->samples[i] - volume->samples[i - 1]);

        if (change > CRITERIA_STEP_MIN_ML && change < smallest) {
            smallest = change;
        }
    }
    return isfinite(smallest) ? smallest : 0.0;
}

/* First sample after `first` that is not on its level; count when there is none. */
static size_t level_end(const struct series *volume, size_t first)
{
    size_t end = first + 1;

    while (end < volume->count &&
           fabs(volume->samples[end] - volume->samples[first]) <= CRITERIA_STEP_MIN_ML) {
        end++;
    }
    return end;
}

/* A level and the rises around it, per sample. */
struct level {
    size_t first;
    size_t end;    /* one past its last sample */
    double before; /* rise to it, over the length of the level before; 0 at the start */
    double own;    /* rise from it to the next, over its own length; 0 when there is none */
    bool single;   /* that rise is a single step */
};

static struct level next_level(const struct series *volume, const struct level *last,
                               double step_ml)
{
    struct level level = {.first = last->end, .before = last->own};

    level.end = level_end(volume, level.first);
    if (level.end < volume->count) {
        const double rise = volume->samples[level.end] - volume->samples[level.first];

        level.own = rise > 0.0 ? rise / (double)(level.end - level.first) : 0.0;
        level.single = rise > 0.0 && rise <= CRITERIA_STEP_SINGLE * step_ml;
    }
    return level;
}

/* Slope at which a level is left, per sample; 0 when it is held to its end. */
static double leaving_slope(const struct series *volume, const struct level *level, double next)
{
    const double on = CRITERIA_FLOW_ON_ML_S / volume->rate_hz;
    const double slow = fmax(level->own, CRITERIA_STEP_SLOW_SHARE * on);
    const double pause = CRITERIA_STEP_PAUSE * level->own;

    if (!level->single) {
        return 0.0;
    }
    if (level->own < on) {
        return next >= on ? fmax(level->own, next) : slow;
    }
    /* Between no flow or a much faster one and a much faster one this is a pause. */
    return next > pause && (level->before > pause || level->before < on) ? next : level->own;
}

void derive_join_steps(const struct series *volume, double step_ml, double *output)
{
    struct level level = next_level(volume, &(struct level){.end = 0}, step_ml);

    while (level.first < volume->count) {
        const struct level next = next_level(volume, &level, step_ml);
        const double slope = leaving_slope(volume, &level, next.own);

        for (size_t i = level.first; i < level.end; i++) {
            output[i] = volume->samples[i];
            if (slope > 0.0 && i > level.first) {
                output[i] = fmax(volume->samples[level.first],
                                 volume->samples[level.end] - slope * (double)(level.end - i));
            }
        }
        level = next;
    }
}

/* The mean square distance from a line that noise and the steps of the signal account for. */
static double usual_residual(const double *residual, size_t count, double step_ml, double *values)
{
    const double steps = CRITERIA_EDGE_STEPS * fmin(step_ml, CRITERIA_EDGE_STEP_MOST_ML);
    const double least = fmax(CRITERIA_EDGE_RESIDUAL_ML, steps);
    size_t present = 0;

    for (size_t i = 0; i < count; i++) {
        if (!isnan(residual[i])) {
            values[present++] = residual[i];
        }
    }
    const double noise = level_median_of(values, present);

    return fmax(least * least, CRITERIA_EDGE_NOISE * (isnan(noise) ? 0.0 : noise));
}

void derive_flow(const struct series *volume, double half_s, double step_ml, double *scratch,
                 double *output)
{
    const size_t whole = series_whole_samples(volume, half_s);
    const size_t half = whole > 0 ? whole : 1;
    double *slope = scratch;
    double *residual = scratch + volume->count;

    integrate_lines(volume, half_s, slope, residual);
    const double usual = usual_residual(residual, volume->count, step_ml, output);

    for (size_t i = 0; i < volume->count; i++) {
        size_t best = i;

        if (residual[i] > usual) {
            if (i >= 2 * half && residual[i - half] < residual[best]) {
                best = i - half;
            }
            if (volume->count - i > 2 * half && residual[i + half] < residual[best]) {
                best = i + half;
            }
        }
        output[i] = residual[best] < CRITERIA_EDGE_SHARE * residual[i] ? slope[best] : slope[i];
    }
}
