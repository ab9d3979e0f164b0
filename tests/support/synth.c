#include "support/synth.h"

#include "support/assert_close.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

void synth_open(struct synth *synth, enum recording_type type)
{
    *synth = (struct synth){.recording = {.type = type, .sex = SEX_MALE}};
    test_memory_open(&synth->memory, SIZE_MAX);
    synth->recording.age_years = (struct optional_number){true, 60.0};
    synth->recording.channels = synth->channels;
    synth->recording.events = synth->events;
}

void synth_close(struct synth *synth)
{
    test_memory_close(&synth->memory);
}

static double uniform(uint64_t *state)
{
    /* splitmix64: the same noise on every machine. */
    *state += UINT64_C(0x9e3779b97f4a7c15);
    uint64_t mixed = *state;

    mixed = (mixed ^ (mixed >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    mixed = (mixed ^ (mixed >> 27)) * UINT64_C(0x94d049bb133111eb);
    mixed ^= mixed >> 31;
    return ((double)(mixed >> 11) + 0.5) / 9007199254740992.0;
}

static double normal(uint64_t *state)
{
    const double radius = sqrt(-2.0 * log(uniform(state)));

    return radius * cos(2.0 * pi * uniform(state));
}

static double *add_channel(struct synth *synth, enum signal_kind signal, double rate_hz,
                           double start_s, size_t count)
{
    double *samples = synth->memory.memory.allocate(&synth->memory, (count + 1) * sizeof *samples);

    assert_true(samples != NULL && synth->recording.channel_count < SYNTH_CHANNELS_MAX);
    synth->samples[synth->recording.channel_count] = samples;
    synth->channels[synth->recording.channel_count++] = (struct channel){.signal = signal,
                                                                         .rate_hz = rate_hz,
                                                                         .start_s = start_s,
                                                                         .sample_count = count,
                                                                         .samples = samples};
    return samples;
}

double *synth_channel(struct synth *synth, enum signal_kind signal, struct synth_sampling sampling,
                      synth_truth *truth, const void *context)
{
    const double length_s = sampling.end_s - sampling.start_s;
    const size_t count = (size_t)floor(length_s * sampling.rate_hz + 1e-6) + 1;
    double *samples = add_channel(synth, signal, sampling.rate_hz, sampling.start_s, count);
    uint64_t state = UINT64_C(20260302) + (uint64_t)signal;

    for (size_t i = 0; i < count; i++) {
        const double at_s = sampling.start_s + (double)i / sampling.rate_hz;

        samples[i] = truth(at_s, context) + sampling.noise * normal(&state);
    }
    return samples;
}

double *synth_samples(struct synth *synth, enum signal_kind signal, double rate_hz, size_t count,
                      const double *samples)
{
    double *own = add_channel(synth, signal, rate_hz, 0.0, count);

    if (count > 0) {
        memcpy(own, samples, count * sizeof *own);
    }
    return own;
}

void synth_event(struct synth *synth, enum event_code code, double at_s)
{
    assert_true(synth->recording.event_count < SYNTH_EVENTS_MAX);
    synth->events[synth->recording.event_count++] = (struct event){.at_s = at_s, .code = code};
}

double *synth_writable(struct synth *synth, enum signal_kind signal)
{
    size_t index = 0;

    while (index < synth->recording.channel_count && synth->channels[index].signal != signal) {
        index++;
    }
    assert_true(index < synth->recording.channel_count);
    return synth->samples[index];
}

void synth_lose(struct synth *synth, enum signal_kind signal, double from_s, double to_s)
{
    double *samples = synth_writable(synth, signal);
    const struct channel *channel = recording_channel(&synth->recording, signal);

    for (size_t i = 0; i < channel->sample_count; i++) {
        const double at_s = channel->start_s + (double)i / channel->rate_hz;

        if (at_s >= from_s - 1e-9 && at_s <= to_s + 1e-9) {
            samples[i] = (double)NAN;
        }
    }
}

const struct analysis_result *synth_run(struct synth *synth)
{
    const struct analysis_result *result = NULL;
    const bool ran =
        analysis_run(&synth->recording, synth->choices, &synth->memory.memory, &result);

    assert_true(ran && result != NULL);
    return result;
}

const struct quality_finding *synth_quality(const struct analysis_result *result, const char *code)
{
    for (size_t i = 0; i < result->quality_count; i++) {
        if (strcmp(result->quality[i].code, code) == 0) {
            return &result->quality[i];
        }
    }
    return NULL;
}

const struct finding *synth_finding(const struct analysis_result *result, const char *code)
{
    for (size_t i = 0; i < result->finding_count; i++) {
        if (strcmp(result->findings[i].code, code) == 0) {
            return &result->findings[i];
        }
    }
    return NULL;
}

const struct classification *synth_class(const struct analysis_result *result, const char *code)
{
    for (size_t i = 0; i < result->classification_count; i++) {
        if (strcmp(result->classifications[i].code, code) == 0) {
            return &result->classifications[i];
        }
    }
    return NULL;
}

double half_sine_value(double at_s, const void *context)
{
    const struct half_sine *shape = context;
    const double inside_s = at_s - shape->start_s;

    return inside_s > 0.0 && inside_s < shape->length_s
               ? shape->peak * sin(pi * inside_s / shape->length_s)
               : 0.0;
}

double half_sine_area(const struct half_sine *shape)
{
    return 2.0 * shape->peak * shape->length_s / pi;
}

double half_sine_integral(double at_s, const void *context)
{
    const struct half_sine *shape = context;
    const double inside_s = fmin(fmax(at_s - shape->start_s, 0.0), shape->length_s);

    return shape->peak * shape->length_s / pi * (1.0 - cos(pi * inside_s / shape->length_s));
}

double half_sine_mean_2s(const struct half_sine *shape)
{
    const double angle = pi / shape->length_s;

    return shape->peak * sin(angle) / angle;
}

double half_sine_reaches(const struct half_sine *shape, double level)
{
    return shape->length_s / pi * asin(level / shape->peak);
}

double polyline_value(double at_s, const void *context)
{
    const struct polyline *line = context;

    if (at_s <= line->points[0][0]) {
        return line->points[0][1];
    }
    for (size_t i = 1; i < line->count; i++) {
        const double *from = line->points[i - 1];
        const double *to = line->points[i];

        if (at_s <= to[0]) {
            return to[0] > from[0]
                       ? from[1] + (to[1] - from[1]) * (at_s - from[0]) / (to[0] - from[0])
                       : to[1];
        }
    }
    return line->points[line->count - 1][1];
}

double constant_value(double at_s, const void *context)
{
    (void)at_s;
    return *(const double *)context;
}
