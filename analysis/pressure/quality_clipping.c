#include "analysis/criteria.h"
#include "analysis/criteria_quality.h"
#include "analysis/pressure/quality_lines.h"
#include "analysis/quality_spans.h"

#include <math.h>

/* A line as it was recorded, and its ends. */
struct range {
    struct series series;
    double least;
    double most;
    double step; /* smallest change between samples; endless when nothing changes */
};

/* Stretches that were cut off at an end of the range. */
struct cuts {
    size_t count;
    size_t longest; /* samples */
};

static bool is_present(double sample)
{
    return fabs(sample) <= CRITERIA_SAMPLE_LIMIT;
}

static struct range take_range(const struct channel *channel)
{
    struct range range = {
        .series = {channel->rate_hz, channel->start_s, channel->sample_count, channel->samples},
        .least = SERIES_ENDLESS,
        .most = -SERIES_ENDLESS,
        .step = SERIES_ENDLESS};
    double before = SERIES_MISSING;

    for (size_t i = 0; i < channel->sample_count; i++) {
        const double sample = channel->samples[i];

        if (!is_present(sample)) {
            continue;
        }
        const double change = fabs(sample - before);

        range.least = sample < range.least ? sample : range.least;
        range.most = sample > range.most ? sample : range.most;
        range.step = change > 0.0 && change < range.step ? change : range.step;
        before = sample;
    }
    return range;
}

/* How far below a top, or above a bottom, a sample is; missing where there is none. */
static double distance(const struct range *range, bool top, size_t index)
{
    const double sample =
        index < range->series.count ? range->series.samples[index] : SERIES_MISSING;

    if (!is_present(sample)) {
        return SERIES_MISSING;
    }
    return top ? range->most - sample : sample - range->least;
}

/* Whether samples first..last, all at an end of the range, were cut off there. */
static bool is_cut(const struct range *range, size_t first, size_t last)
{
    const bool top = range->series.samples[first] >= range->most;
    const size_t length = last - first + 1;
    const size_t beside = series_whole_samples(&range->series, CRITERIA_CLIP_BESIDE_S);
    const size_t away = length < beside ? length : beside;
    const double least = fmax(CRITERIA_CLIP_DROP_CMH2O, CRITERIA_CLIP_DROP_STEPS * range->step);
    const double before = first >= away ? distance(range, top, first - away) : SERIES_MISSING;
    const double after = distance(range, top, last + away);

    return (before > least && after > least) ||
           (top && range->most >= CRITERIA_SATURATED_CMH2O &&
            (double)(length - 1) / range->series.rate_hz >= CRITERIA_SATURATED_S);
}

/* Counts the stretches that were cut off, and tells of them when there is a list to add to. */
static struct cuts walk(const struct pressure_lines *lines, const struct range *range,
                        struct quality_spans *spans)
{
    const struct series *series = &range->series;
    struct cuts cuts = {0, 0};
    size_t i = 0;

    while (i < series->count) {
        const size_t first = i++;
        const double value = series->samples[first];

        if (!(value >= range->most || value <= range->least)) {
            continue;
        }
        while (i < series->count && fabs(series->samples[i] - value) <= 0.0) {
            i++;
        }
        const struct span span = {series_time(series, first), series_time(series, i - 1)};

        if (i - first < CRITERIA_CLIP_SAMPLES || !is_cut(range, first, i - 1) ||
            quality_lines_event(lines, PRESSURE_EVENT_FLUSH, span)) {
            continue;
        }
        cuts.count++;
        cuts.longest = i - first > cuts.longest ? i - first : cuts.longest;
        if (spans != NULL) {
            quality_spans_add(spans, span);
        }
    }
    return cuts;
}

static void note_line(const struct pressure_lines *lines, const struct judged_line *line)
{
    const struct channel *channel = recording_channel(lines->study->recording, line->signal);
    struct quality_spans spans = {
        .outcome = &lines->study->outcome,
        .finding = {.code = "clipped",
                    .severity = QUALITY_WARNING,
                    .signal = line->signal,
                    .text =
                        "This pressure is cut off at the end of a range: its true peak here is "
                        "not known, and values read here are wrong by the rest. Check the range "
                        "of the transducer, the amplifier and the upload."},
        .text_rest = "This pressure is cut off at several further places within this span. Peaks "
                     "are not known there: check the range."};

    if (channel == NULL || line->full->count == 0) {
        return;
    }
    const struct range range = take_range(channel);

    if (!(range.least < range.most)) {
        return;
    }
    const struct cuts cuts = walk(lines, &range, NULL);

    if (cuts.count > 1 || cuts.longest >= CRITERIA_CLIP_SURE_SAMPLES) {
        (void)walk(lines, &range, &spans);
        quality_spans_close(&spans);
    }
}

void quality_of_clipping(const struct pressure_lines *lines)
{
    note_line(lines, &lines->pves);
    note_line(lines, &lines->pabd);
}
