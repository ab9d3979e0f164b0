#include "analysis/criteria.h"
#include "analysis/criteria_quality.h"
#include "analysis/quality_lines.h"
#include "analysis/quality_spans.h"

#include <math.h>

/* A line as it was recorded, and one of its ends. */
struct extreme {
    struct series series;
    double side;  /* 1: the top, -1: the bottom */
    double value; /* side * the largest of side * sample */
    double step;  /* smallest change between samples; 0 when nothing changes */
};

static bool is_present(double sample)
{
    return fabs(sample) <= CRITERIA_SAMPLE_LIMIT;
}

static struct extreme take_extreme(const struct channel *channel, double side)
{
    struct extreme extreme = {
        .series = {channel->rate_hz, channel->start_s, channel->sample_count, channel->samples},
        .side = side,
        .value = -SERIES_ENDLESS,
        .step = SERIES_ENDLESS};

    for (size_t i = 0; i < channel->sample_count; i++) {
        const double sample = channel->samples[i];

        if (!is_present(sample)) {
            continue;
        }
        extreme.value = fmax(extreme.value, side * sample);
        if (i > 0 && is_present(channel->samples[i - 1])) {
            const double change = fabs(sample - channel->samples[i - 1]);

            extreme.step = change > 0.0 ? fmin(extreme.step, change) : extreme.step;
        }
    }
    return extreme;
}

/* How far the line is from its extreme at `away` samples beside one; endless outside. */
static double drop_at(const struct extreme *extreme, size_t index, size_t away, bool before)
{
    const bool inside = before ? index >= away : away < extreme->series.count - index;
    const double sample =
        inside ? extreme->series.samples[before ? index - away : index + away] : SERIES_ENDLESS;

    return is_present(sample) ? extreme->value - extreme->side * sample : SERIES_ENDLESS;
}

/* Whether samples first..last, all at the extreme, were cut off there. */
static bool is_cut(const struct extreme *extreme, size_t first, size_t last)
{
    const size_t length = last - first + 1;
    const size_t beside = series_whole_samples(&extreme->series, CRITERIA_CLIP_BESIDE_S);
    const size_t away = length < beside ? length : beside;
    const double least = fmax(CRITERIA_CLIP_DROP_CMH2O, CRITERIA_CLIP_DROP_STEPS * extreme->step);
    const double drop =
        fmin(drop_at(extreme, first, away, true), drop_at(extreme, last, away, false));

    if (length < CRITERIA_CLIP_SAMPLES) {
        return false;
    }
    return (isfinite(drop) && away > 0 && drop > least) ||
           (extreme->side > 0.0 && extreme->value >= CRITERIA_SATURATED_CMH2O &&
            (double)(length - 1) / extreme->series.rate_hz >= CRITERIA_SATURATED_S);
}

static void note_extreme(const struct pressure_lines *lines, const struct judged_line *line,
                         const struct extreme *extreme)
{
    const struct series *series = &extreme->series;
    const struct study *study = lines->study;
    struct quality_spans spans = {
        .outcome = &lines->study->outcome,
        .finding = {.code = "clipped",
                    .severity = QUALITY_WARNING,
                    .signal = line->signal,
                    .text = "This pressure is cut off at the end of a range: its true peak here is "
                            "not known, and values read here are too small. Check the range of the "
                            "transducer, the amplifier and the upload."},
        .text_rest = "This pressure is cut off at several further places within this span. Peaks "
                     "are not known there: check the range."};
    size_t i = 0;

    while (i < series->count) {
        const size_t first = i;

        while (i < series->count && extreme->side * series->samples[i] >= extreme->value) {
            i++;
        }
        if (i > first && is_cut(extreme, first, i - 1)) {
            const struct span span = {series_time(series, first), series_time(series, i - 1)};

            if (!pressure_events_overlap(&study->pressure_events, 1u << PRESSURE_EVENT_FLUSH, span,
                                         0.0)) {
                quality_spans_add(&spans, span);
            }
        }
        i += i == first ? 1 : 0;
    }
    quality_spans_close(&spans);
}

static void note_line(const struct pressure_lines *lines, const struct judged_line *line)
{
    const struct channel *channel = recording_channel(lines->study->recording, line->signal);

    if (channel == NULL || line->full->count == 0) {
        return;
    }
    for (int side = -1; side <= 1; side += 2) {
        const struct extreme extreme = take_extreme(channel, (double)side);

        if (isfinite(extreme.value) && isfinite(extreme.step)) {
            note_extreme(lines, line, &extreme);
        }
    }
}

void quality_of_clipping(const struct pressure_lines *lines)
{
    note_line(lines, &lines->pves);
    note_line(lines, &lines->pabd);
}
