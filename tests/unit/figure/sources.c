#include "sources.h"

#include "analysis/analysis.h"
#include "analysis/units.h"
#include "formats/analysis_json.h"
#include "formats/derived_pressure.h"
#include "formats/limits.h"
#include "formats/overview.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void *allocate_on_arena(void *arena, size_t size)
{
    return arena_alloc(arena, size);
}

static _Noreturn void fail(const char *why)
{
    (void)fprintf(stderr, "sources: %s\n", why);
    abort();
}

static void release_json(void *opaque)
{
    json_decref((json_t *)opaque);
}

const json_t *sources_analysis(struct arena *arena, const char *json)
{
    json_t *document = json_loads(json, 0, NULL);
    if (document == NULL) {
        fail("the analysis is no JSON");
    }
    arena_defer(arena, release_json, document);
    return document;
}

struct traces_channel sources_channel(enum signal_kind signal, double rate_hz,
                                      const double *samples, size_t count)
{
    return (struct traces_channel){.signal = signal,
                                   .unit = signal_unit(signal),
                                   .rate_hz = rate_hz,
                                   .sample_count = count,
                                   .count = count,
                                   .samples.doubles = samples};
}

struct traces_channel sources_binned(struct arena *arena, enum signal_kind signal, double rate_hz,
                                     const double *samples, size_t count, size_t width)
{
    struct samples all;
    struct samples least;
    struct samples greatest;
    samples_from_values(samples, count, arena, &all);
    overview_reduce(&all, &all, width, arena, &least, &greatest);
    struct traces_channel channel = sources_channel(signal, rate_hz, NULL, count);
    channel.bin_s = (double)width / rate_hz;
    channel.count = least.count;
    channel.least.doubles = samples_all_values(&least, arena);
    channel.greatest.doubles = samples_all_values(&greatest, arena);
    return channel;
}

/* A channel's samples within a span, reduced when there are more than `points`. */
static struct traces_channel part_of(struct arena *arena, const struct channel *channel,
                                     struct figure_span span, size_t points)
{
    const double first = fmax(0.0, ceil((span.from_s - channel->start_s) * channel->rate_hz));
    const double end = fmin((double)channel->sample_count,
                            ceil((span.to_s - channel->start_s) * channel->rate_hz));
    const size_t from = (size_t)fmin(first, (double)channel->sample_count);
    const size_t count = end > first ? (size_t)end - from : 0;
    const size_t width = (count + points - 1) / points;
    struct traces_channel part =
        width > 1
            ? sources_binned(arena, channel->signal, channel->rate_hz, channel->samples + from,
                             count, width)
            : sources_channel(channel->signal, channel->rate_hz, channel->samples + from, count);
    part.start_s = channel->start_s + (double)from / channel->rate_hz;
    return part;
}

static const struct channel *find(const struct recording *recording, enum signal_kind signal)
{
    for (size_t i = 0; i < recording->channel_count; i++) {
        if (recording->channels[i].signal == signal) {
            return &recording->channels[i];
        }
    }
    return NULL;
}

/* pdet where it was not recorded. */
static bool derive(struct arena *arena, const struct recording *recording, struct channel *ret_pdet)
{
    const struct channel *pves = find(recording, SIGNAL_PVES);
    const struct channel *pabd = find(recording, SIGNAL_PABD);
    if (pves == NULL || pabd == NULL || find(recording, SIGNAL_PDET) != NULL ||
        pves->sample_count != pabd->sample_count) {
        return false;
    }
    double *samples = arena_array(arena, pves->sample_count, sizeof *samples);
    derived_pressure(pves->samples, pabd->samples, pves->sample_count, samples);
    *ret_pdet = *pves;
    ret_pdet->signal = SIGNAL_PDET;
    ret_pdet->samples = samples;
    return true;
}

static struct figure_traces traces_of(struct arena *arena, const struct recording *recording,
                                      struct figure_span span, size_t points)
{
    struct traces_channel *channels =
        arena_array(arena, recording->channel_count + 1, sizeof *channels);
    struct channel pdet;
    size_t count = 0;
    for (size_t i = 0; i < recording->channel_count; i++) {
        channels[count++] = part_of(arena, &recording->channels[i], span, points);
    }
    if (derive(arena, recording, &pdet)) {
        channels[count] = part_of(arena, &pdet, span, points);
        channels[count++].is_derived = true;
    }
    return (struct figure_traces){.span = span, .channels = channels, .channel_count = count};
}

static double duration_of(const struct recording *recording)
{
    double end_s = 0.0;
    for (size_t i = 0; i < recording->channel_count; i++) {
        const struct channel *channel = &recording->channels[i];
        end_s = fmax(end_s, channel->start_s + (double)channel->sample_count / channel->rate_hz);
    }
    return end_s;
}

/* Everything but the events. */
static struct figure_source source_of(struct arena *arena, const struct recording *recording)
{
    const struct analysis_result *result = NULL;
    const struct analysis_memory memory = {.allocate = allocate_on_arena, .context = arena};
    struct analysis_choices choices;
    struct text text;
    choices_standard(&choices);
    if (!analysis_run(recording, &choices, &memory, &result)) {
        fail("no memory");
    }
    text_init(&text, arena, LIMIT_ANALYSIS_BYTES);
    analysis_json_write(result, "preliminary", 1, &text);

    struct figure_traces *traces = arena_array(arena, FIGURE_SPANS_MAX + 1, sizeof *traces);
    struct figure_span spans[FIGURE_SPANS_MAX];
    struct figure_source source = {
        .type = recording->type,
        .duration_s = duration_of(recording),
        .traces = traces,
        .analysis = sources_analysis(arena, text.data),
        .sex = recording->sex,
        .age_years = recording->age_years.known ? floor(recording->age_years.value) : -1.0,
        .is_preliminary = true};
    const size_t count = figure_spans(&source, spans);
    traces[0] = traces_of(arena, recording, (struct figure_span){0.0, source.duration_s},
                          FIGURE_POINTS_WHOLE);
    for (size_t i = 0; i < count; i++) {
        traces[i + 1] = traces_of(arena, recording, spans[i], FIGURE_POINTS_SPAN);
    }
    source.traces_count = count + 1;
    return source;
}

struct figure_source sources_of_recording(struct arena *arena, const struct recording *recording)
{
    struct figure_source source = source_of(arena, recording);
    struct document_event *events = arena_array(arena, recording->event_count, sizeof *events);
    for (size_t i = 0; i < recording->event_count; i++) {
        events[i] = (struct document_event){.at_s = recording->events[i].at_s,
                                            .code = event_code_name(recording->events[i].code),
                                            .note = "",
                                            .value = recording->events[i].value};
    }
    source.events = events;
    source.event_count = recording->event_count;
    return source;
}

struct figure_source sources_of_document(struct arena *arena, const char *json, size_t length,
                                         enum patient_sex sex, double age_years)
{
    const struct recording_document *document = NULL;
    struct fault_list faults;
    fault_list_init(&faults, arena);
    if (recording_json_read(arena, json, length, RECORDING_JSON_STORE, &document, &faults) !=
        JSON_READ_OK) {
        fail("the recording is no sound document");
    }
    struct recording_document known = *document;
    known.has_patient = true;
    known.sex = sex;
    known.age_years = (struct optional_number){.known = age_years >= 0.0, .value = age_years};
    struct figure_source source = source_of(arena, recording_from_document(arena, &known));
    source.events = document->events;
    source.event_count = document->event_count;
    return source;
}

struct figure_source sources_of_traces(struct arena *arena, enum recording_type type,
                                       double duration_s, const struct traces_channel *channels,
                                       size_t count)
{
    struct figure_traces *traces = arena_alloc(arena, sizeof *traces);
    *traces = (struct figure_traces){
        .span = {0.0, duration_s}, .channels = channels, .channel_count = count};
    return (struct figure_source){.type = type,
                                  .duration_s = duration_s,
                                  .traces = traces,
                                  .traces_count = 1,
                                  .sex = SEX_UNKNOWN,
                                  .age_years = -1.0};
}
