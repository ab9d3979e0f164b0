#include "api/trace_reading.h"

#include "base/number.h"
#include "formats/derived_pressure.h"
#include "formats/overview.h"

#include <math.h>

/* What is read of a source, and how it becomes bins. */
struct trace_plan {
    int level;
    size_t bin_samples; /* width of a bin; 0: no bins */
    size_t bin_codes;   /* the same in codes of the level */
    struct sample_span samples;
    struct sample_span codes;
    size_t bin_count;
    struct recording_part *parts; /* its first part: least or minuend; the second: the other */
};

bool trace_source_find(const struct recording_row *row, enum signal_kind signal,
                       struct recording_channel_row *derived, struct trace_source *ret_source)
{
    const struct recording_channel_row *channel = recording_channel_of(row, signal);
    if (channel != NULL) {
        *ret_source = (struct trace_source){.channel = channel};
        return true;
    }
    if (signal != SIGNAL_PDET || !recording_derived_pdet(row, derived)) {
        return false;
    }
    *ret_source = (struct trace_source){.channel = derived,
                                        .minuend = recording_channel_of(row, SIGNAL_PVES),
                                        .subtrahend = recording_channel_of(row, SIGNAL_PABD)};
    return true;
}

struct sample_span trace_span(const struct recording_channel_row *channel, double from_s,
                              double to_s)
{
    const double slack = 1e-6; /* of a sample: 0.1 s at 10 Hz is sample 1, whatever rounding says */
    double count = (double)channel->shape.count;
    double first = ceil((from_s - channel->start_s) * channel->rate_hz - slack);
    double end = ceil((to_s - channel->start_s) * channel->rate_hz - slack);
    first = fmin(fmax(first, 0.0), count);
    end = fmin(fmax(end, first), count);
    return (struct sample_span){.first = (size_t)first, .count = (size_t)(end - first)};
}

static struct trace_plan plan_samples(const struct trace_source *source,
                                      const struct traces_span *span)
{
    struct trace_plan plan = {.samples = trace_span(source->channel, span->from_s, span->to_s)};
    plan.codes = plan.samples;
    return plan;
}

/* A bin is a whole number of the level's codes. The level is fine enough that a bin is hardly wider
 * than it has to be. */
static struct trace_plan plan_bins(const struct recording_row *row,
                                   const struct trace_source *source,
                                   const struct traces_span *span, size_t points)
{
    enum { CODES_IN_BIN = 4 };
    struct trace_plan plan = plan_samples(source, span);
    if (plan.samples.count <= points) {
        return plan;
    }
    size_t total = source->channel->shape.count;
    size_t end = plan.samples.first + plan.samples.count;
    size_t width = number_divide_up(plan.samples.count, points);
    plan.level = row->has_overview ? overview_level(total, width / CODES_IN_BIN) : 0;
    size_t stretch = overview_stretch(plan.level);
    plan.codes.first = plan.samples.first / stretch;
    plan.codes.count = number_divide_up(end, stretch) - plan.codes.first;
    plan.bin_codes = number_divide_up(plan.codes.count, points);
    plan.bin_samples = plan.bin_codes * stretch;
    plan.bin_count = number_divide_up(plan.codes.count, plan.bin_codes);
    return plan;
}

static struct recording_part part_of(const struct recording_channel_row *channel,
                                     const struct trace_plan *plan, enum sample_extreme extreme)
{
    return (struct recording_part){.channel = channel,
                                   .level = plan->level,
                                   .extreme = extreme,
                                   .first = plan->codes.first,
                                   .count = plan->codes.count};
}

/* Adds the parts that the plan needs, and returns how many. */
static size_t add_parts(struct trace_plan *plan, const struct trace_source *source,
                        struct recording_part *parts)
{
    plan->parts = parts;
    if (plan->level > 0) {
        parts[0] = part_of(source->channel, plan, SAMPLE_LEAST);
        parts[1] = part_of(source->channel, plan, SAMPLE_GREATEST);
        return 2;
    }
    if (source->minuend != NULL) {
        parts[0] = part_of(source->minuend, plan, SAMPLE_LEAST);
        parts[1] = part_of(source->subtrahend, plan, SAMPLE_LEAST);
        return 2;
    }
    parts[0] = part_of(source->channel, plan, SAMPLE_LEAST);
    return 1;
}

/* The samples of a plan at level 0: those read, or the difference of those read. */
static struct samples samples_of_plan(struct arena *arena, const struct trace_plan *plan,
                                      const struct trace_source *source)
{
    if (source->minuend == NULL) {
        return plan->parts[0].samples;
    }
    double *values = samples_all_values(&plan->parts[0].samples, arena);
    const double *subtrahends = samples_all_values(&plan->parts[1].samples, arena);
    derived_pressure(values, subtrahends, plan->codes.count, values);
    return (struct samples){
        .encoding = SAMPLES_FLOAT64, .count = plan->codes.count, .codes = values};
}

static struct traces_channel finish(struct arena *arena, const struct trace_plan *plan,
                                    const struct trace_source *source)
{
    const struct recording_channel_row *row = source->channel;
    size_t first = plan->codes.first * overview_stretch(plan->level);
    struct traces_channel channel = {
        .signal = row->signal,
        .unit = row->unit,
        .rate_hz = row->rate_hz,
        .start_s = row->start_s + (double)first / row->rate_hz,
        .sample_count = plan->samples.count,
        .is_derived = source->minuend != NULL,
        .bin_s = (double)plan->bin_samples / row->rate_hz,
        .count = plan->bin_samples > 0 ? plan->bin_count : plan->samples.count,
    };
    bool reduced = plan->level > 0; /* least and greatest are what was read */
    struct samples least = reduced ? plan->parts[0].samples : samples_of_plan(arena, plan, source);
    struct samples greatest = reduced ? plan->parts[1].samples : least;
    if (plan->bin_samples == 0) {
        channel.samples.doubles = samples_all_values(&least, arena);
        return channel;
    }
    struct samples lowest;
    struct samples highest;
    overview_reduce(&least, &greatest, plan->bin_codes, arena, &lowest, &highest);
    channel.least.doubles = samples_all_values(&lowest, arena);
    channel.greatest.doubles = samples_all_values(&highest, arena);
    return channel;
}

bool traces_read(struct store *store, struct arena *arena, const struct trace_request *request,
                 struct traces_channel *ret_channels, struct error *reterr)
{
    size_t count = request->source_count;
    const struct trace_source *sources = request->sources;
    struct trace_plan *plans = arena_array(arena, count, sizeof *plans);
    struct recording_part *parts = arena_array(arena, 2 * count, sizeof *parts);
    size_t part_count = 0;
    for (size_t i = 0; i < count; i++) {
        plans[i] = request->points == 0
                       ? plan_samples(&sources[i], request->span)
                       : plan_bins(request->row, &sources[i], request->span, request->points);
        part_count += add_parts(&plans[i], &sources[i], parts + part_count);
    }
    if (!recording_read_parts(store, arena, request->row, parts, part_count, reterr)) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        ret_channels[i] = finish(arena, &plans[i], &sources[i]);
    }
    return true;
}
