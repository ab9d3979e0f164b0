#include "analysis/criteria.h"
#include "analysis/criteria_quality.h"
#include "analysis/memory.h"
#include "analysis/pressure/quality_lines.h"
#include "analysis/quality_spans.h"
#include "analysis/signal/derive.h"
#include "analysis/signal/smooth.h"

#include <math.h>

/* Triples of samples that noise is estimated from, in a window. */
enum { NOISE_TRIPLES = 200 };

/* Joins windows that overlap. */
struct joined {
    struct quality_spans *spans;
    bool open;
    struct span span;
};

static void joined_close(struct joined *joined)
{
    if (joined->open) {
        quality_spans_add(joined->spans, joined->span);
    }
    joined->open = false;
}

static void joined_add(struct joined *joined, struct span window)
{
    if (joined->open && window.from_s <= joined->span.to_s) {
        joined->span.to_s = window.to_s;
        return;
    }
    joined_close(joined);
    joined->open = true;
    joined->span = window;
}

/* Windows over the time that is watched, one each `step_s`. */
static size_t window_count(const struct pressure_lines *lines, double step_s)
{
    const double length_s = lines->watched.to_s - lines->watched.from_s;

    return length_s < CRITERIA_DEAD_WINDOW_S
               ? 0
               : (size_t)((length_s - CRITERIA_DEAD_WINDOW_S) / step_s) + 1;
}

static struct span window_at(const struct pressure_lines *lines, size_t index, double step_s)
{
    const double from_s = lines->watched.from_s + (double)index * step_s;

    return (struct span){from_s, from_s + CRITERIA_DEAD_WINDOW_S};
}

/* A coarse line without what is slower than about 0.5 Hz. */
static bool take_movement(const struct pressure_lines *lines, const struct series *coarse,
                          struct series *ret_movement)
{
    double *movement = memory_doubles(lines->study->memory, coarse->count);

    if (movement == NULL) {
        return false;
    }
    smooth_mean(coarse, smooth_window(coarse, CRITERIA_DEAD_HALF_S), SMOOTH_ENDS_SHORTEN, movement);
    for (size_t i = 0; i < coarse->count; i++) {
        movement[i] = coarse->samples[i] - movement[i];
    }
    *ret_movement = *coarse;
    ret_movement->samples = movement;
    return true;
}

/* Robust standard deviation about 0 within a window; NaN when less than half is present. */
static double deviation(const struct study *study, const struct series *series, struct span window)
{
    const struct series part = series_part(series, window);
    const size_t step = part.count / study->scratch.capacity + 1;
    size_t seen = 0;
    size_t held = 0;

    for (size_t i = 0; i < part.count; i += step) {
        seen++;
        if (!isnan(part.samples[i])) {
            study->scratch.values[held++] = fabs(part.samples[i]);
        }
    }
    return 2 * held < seen || held == 0
               ? SERIES_MISSING
               : CRITERIA_ROBUST_SCALE * level_median_of(study->scratch.values, held);
}

/* Whether the other line moves by more than this one's resolution: a coarse one may stand still. */
static bool beyond_step(const struct judged_line *line, double other_cmh2o)
{
    return other_cmh2o > derive_step(line->full);
}

static void note_dead(const struct pressure_lines *lines, const struct judged_line *line,
                      const struct series *movement, const struct series *other)
{
    struct quality_spans spans = {
        .outcome = &lines->study->outcome,
        .finding = {.code = "dead_line",
                    .severity = QUALITY_WARNING,
                    .signal = line->signal,
                    .text = "This line shows no fine movement here while the other one does: "
                            "closed, blocked or not in place. Flush it, ask for a cough, and do "
                            "not use its pressure from here."},
        .text_rest = "This line shows no fine movement at several further places within this span. "
                     "Flush it and ask for a cough."};
    struct joined joined = {.spans = &spans};

    const size_t windows = window_count(lines, CRITERIA_DEAD_STEP_S);

    for (size_t i = 0; i < windows; i++) {
        const struct span window = window_at(lines, i, CRITERIA_DEAD_STEP_S);

        if (!(deviation(lines->study, movement, window) < CRITERIA_DEAD_CMH2O)) {
            continue;
        }
        const double other_cmh2o = deviation(lines->study, other, window);

        if (other_cmh2o > CRITERIA_DEAD_RATIO * CRITERIA_DEAD_CMH2O &&
            beyond_step(line, other_cmh2o) &&
            !quality_spans_told(&lines->study->outcome, "flat_line", line->signal, window)) {
            joined_add(&joined, window);
        }
    }
    joined_close(&joined);
    quality_spans_close(&spans);
}

/* Standard deviation of what differs from sample to sample, by second differences. */
static double noise_within(const struct study *study, const struct series *line, struct span window)
{
    const struct series part = series_part(line, window);
    const size_t step = part.count / NOISE_TRIPLES + 1;
    size_t held = 0;

    for (size_t i = 1; i + 1 < part.count; i += step) {
        const double bend = part.samples[i] - 0.5 * (part.samples[i - 1] + part.samples[i + 1]);

        if (!isnan(bend)) {
            study->scratch.values[held++] = fabs(bend);
        }
    }
    /* Of white noise the bend has 3/2 of the variance. */
    return CRITERIA_ROBUST_SCALE * level_median_of(study->scratch.values, held) / sqrt(1.5);
}

static void note_noise(const struct pressure_lines *lines, const struct judged_line *line)
{
    struct quality_spans spans = {
        .outcome = &lines->study->outcome,
        .finding = {.code = "noisy_line",
                    .severity = QUALITY_WARNING,
                    .signal = line->signal,
                    .text = "This pressure jumps from sample to sample by more than a patient "
                            "does: electrical noise, a loose plug, or a pump that shakes the line. "
                            "Peaks are too high here: find the cause, and judge by eye."},
        .text_rest = "This pressure is noisy at several further places within this span. Find the "
                     "cause, and judge by eye."};
    struct joined joined = {.spans = &spans};

    const size_t windows = window_count(lines, CRITERIA_DEAD_WINDOW_S);

    for (size_t i = 0; i < windows; i++) {
        const struct span window = window_at(lines, i, CRITERIA_DEAD_WINDOW_S);

        if (noise_within(lines->study, line->full, window) > CRITERIA_NOISE_CMH2O) {
            joined_add(&joined, window);
        }
    }
    joined_close(&joined);
    quality_spans_close(&spans);
}

static bool fast_enough(const struct series *series)
{
    return series->count > 0 && series->rate_hz >= CRITERIA_LINE_RATE_LEAST_HZ;
}

/* Windows are as many as the recording is long, but no more than there are samples for. */
static bool is_sane(const struct pressure_lines *lines)
{
    const double length_s = lines->watched.to_s - lines->watched.from_s;
    const size_t samples = lines->pves.coarse.count + lines->pabd.coarse.count;

    return length_s > 0.0 && length_s <= (double)samples;
}

bool quality_of_movement(const struct pressure_lines *lines)
{
    const bool both = fast_enough(&lines->pves.coarse) && fast_enough(&lines->pabd.coarse);
    struct series pves = {.count = 0};
    struct series pabd = {.count = 0};

    if (!is_sane(lines)) {
        return true;
    }
    if (both) {
        if (!take_movement(lines, &lines->pves.coarse, &pves) ||
            !take_movement(lines, &lines->pabd.coarse, &pabd)) {
            return false;
        }
        note_dead(lines, &lines->pves, &pves, &pabd);
        note_dead(lines, &lines->pabd, &pabd, &pves);
    }
    if (fast_enough(lines->pves.full)) {
        note_noise(lines, &lines->pves);
    }
    if (fast_enough(lines->pabd.full)) {
        note_noise(lines, &lines->pabd);
    }
    return true;
}
