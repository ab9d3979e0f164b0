#include "recording_fixture.h"

#include <math.h>
#include <string.h>

static double missing_or(size_t index, double value)
{
    return index % 97 == 13 ? (double)NAN : value;
}

static double *decimals(struct fixture *fixture, size_t count)
{
    double *values = arena_array(fixture->arena, count, sizeof *values);
    for (size_t i = 0; i < count; i++) {
        values[i] = missing_or(i, (double)((i * 7) % 1001) / 10.0);
    }
    return values;
}

static double *thirds(struct fixture *fixture, size_t count)
{
    double *values = arena_array(fixture->arena, count, sizeof *values);
    for (size_t i = 0; i < count; i++) {
        values[i] = missing_or(i, (double)i / 3.0);
    }
    return values;
}

static struct samples float32(struct fixture *fixture, size_t count)
{
    float *codes = arena_array(fixture->arena, count, sizeof *codes);
    struct samples samples = {
        .encoding = SAMPLES_FLOAT32, .scale = 1, .count = count, .codes = codes};
    for (size_t i = 0; i < count; i++) {
        codes[i] = (float)missing_or(i, (double)((float)i / 7.0F));
        samples.missing += isnan(codes[i]) ? 1 : 0;
    }
    return samples;
}

static struct samples int16(struct fixture *fixture, size_t count)
{
    int16_t *codes = arena_array(fixture->arena, count, sizeof *codes);
    struct samples samples = {
        .encoding = SAMPLES_INT16, .scale = 0.05, .offset = -3.0, .count = count, .codes = codes};
    for (size_t i = 0; i < count; i++) {
        bool missing = i % 97 == 13;
        codes[i] = missing ? INT16_MIN : (int16_t)((i * 31) % 4000);
        samples.missing += missing ? 1 : 0;
    }
    return samples;
}

struct recording_document *recording_fixture(struct fixture *fixture, const char *id, size_t count)
{
    struct document_channel *channels = arena_array(fixture->arena, 4, sizeof *channels);
    channels[0] = (struct document_channel){
        .signal = SIGNAL_PVES, .unit = "cm[H2O]", .to_canonical = 1, .rate_hz = 100};
    channels[1] = (struct document_channel){.signal = SIGNAL_PABD,
                                            .unit = "kPa",
                                            .to_canonical = 1000.0 / 98.0665,
                                            .rate_hz = 100,
                                            .start_s = 0.125};
    channels[2] = (struct document_channel){
        .signal = SIGNAL_FLOW, .unit = "mL/s", .to_canonical = 1, .rate_hz = 10.0 / 3.0};
    channels[3] = (struct document_channel){
        .signal = SIGNAL_EMG, .unit = "uV", .to_canonical = 1, .rate_hz = 100};
    samples_from_values(decimals(fixture, count), count, fixture->arena, &channels[0].samples);
    samples_from_values(thirds(fixture, count), count, fixture->arena, &channels[2].samples);
    channels[1].samples = int16(fixture, count);
    channels[3].samples = float32(fixture, count);

    struct document_event *events = arena_array(fixture->arena, 2, sizeof *events);
    events[0] = (struct document_event){.at_s = 0.5, .code = "cough", .note = ""};
    events[1] = (struct document_event){
        .at_s = 1.25, .code = "balloon", .note = "a \"note\"\n", .value = {true, 20}};

    struct recording_document *document = arena_alloc(fixture->arena, sizeof *document);
    *document = (struct recording_document){
        .id = id,
        .type = RECORDING_PRESSURE_FLOW,
        .started_at_us = INT64_C(1772440265250001),
        .conditions = {.numbers = {.position = POSITION_SITTING,
                                   .initial_residual_ml = {true, 12.5},
                                   .flow_delay_s = {true, 0.6}},
                       .position = "sitting",
                       .reference_level = "symphysis pubis",
                       .zeroed = "atmosphere"},
        .channel_count = 4,
        .channels = channels,
        .event_count = 2,
        .events = events,
    };
    return document;
}

const char *recording_fixture_store(struct fixture *fixture, const char *study_id, size_t count)
{
    const char *id = NULL;
    bool existed = true;
    struct recording_document *document = recording_fixture(fixture, NULL, count);
    document->started_at_us += fixture->recordings_made++; /* or it were the same one again */
    CHECK(fixture, recording_create(fixture->store, fixture->arena, study_id, document,
                                    "{\"revision\": 1}", &id, &existed, &fixture->error));
    assert_false(existed);
    return id;
}

bool recording_fixture_same(const double *left, const double *right, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        uint64_t bits[2];
        memcpy(&bits[0], &left[i], sizeof bits[0]);
        memcpy(&bits[1], &right[i], sizeof bits[1]);
        bool both_missing = isnan(left[i]) && isnan(right[i]);
        if (!both_missing && bits[0] != bits[1]) {
            return false;
        }
    }
    return true;
}
