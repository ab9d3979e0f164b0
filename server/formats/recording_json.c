#include "formats/recording_json.h"

#include "base/clock.h"
#include "base/uuid.h"
#include "formats/document_parts.h"
#include "formats/limits.h"

#include <math.h>
#include <string.h>

enum { TIME_TEXT_LIMIT = 64 };

size_t document_fault_total(const struct fault_list *faults)
{
    return faults->count + faults->dropped;
}

const char *document_item_pointer(struct fault_list *faults, const char *parent, size_t index)
{
    return faults->count < FAULT_LIMIT ? fault_pointer_index(faults->arena, parent, index) : parent;
}

const char *document_text(struct arena *arena, const char *text)
{
    return text == NULL ? "" : arena_strdup(arena, text);
}

static enum recording_type read_type(struct json_reader *reader)
{
    const char *names[RECORDING_TYPE_COUNT + 1] = {NULL};
    for (size_t i = 0; i < RECORDING_TYPE_COUNT; i++) {
        names[i] = recording_type_name((enum recording_type)i);
    }
    const char *name = json_reader_word(reader, "type", JSON_REQUIRED, names);
    return name == NULL ? RECORDING_TYPE_COUNT : recording_type_from_name(name);
}

static int64_t read_started_at_us(struct json_reader *reader)
{
    const char *text = json_reader_string(reader, "started_at", JSON_REQUIRED, TIME_TEXT_LIMIT);
    int64_t time_us = 0;
    if (text == NULL) {
        return 0;
    }
    if (!clock_parse(text, &time_us)) {
        fault_add(reader->faults, json_reader_pointer(reader, "started_at"),
                  "Must be an RFC 3339 date and time with its offset, such as "
                  "2026-03-02T09:31:05+01:00.");
    } else if (time_us < LIMIT_START_EARLIEST_US || time_us >= LIMIT_START_LATEST_US) {
        fault_add(reader->faults, json_reader_pointer(reader, "started_at"),
                  "Must lie within the years 1990 to 2100.");
    }
    return time_us;
}

static const char *read_id(struct json_reader *reader, enum recording_json_use use,
                           struct arena *arena)
{
    if (use == RECORDING_JSON_ANALYSE) {
        if (json_reader_take(reader, "id", JSON_OPTIONAL) != NULL) {
            fault_add(reader->faults, json_reader_pointer(reader, "id"),
                      "Must be left out: what is not stored has no id.");
        }
        return NULL;
    }
    const char *id = json_reader_string(reader, "id", JSON_OPTIONAL, LIMIT_NAME_BYTES);
    if (id == NULL) {
        return NULL;
    }
    if (!uuid_is_valid(id)) {
        fault_add(reader->faults, json_reader_pointer(reader, "id"),
                  "Must be a UUID in lower case.");
    }
    return arena_strdup(arena, id);
}

static const char *read_study_id(struct json_reader *reader, struct arena *arena)
{
    const char *id = json_reader_string(reader, "study_id", JSON_REQUIRED, LIMIT_NAME_BYTES);
    if (id != NULL && !uuid_is_valid(id)) {
        fault_add(reader->faults, json_reader_pointer(reader, "study_id"),
                  "Must be a UUID in lower case.");
    }
    return id == NULL ? NULL : arena_strdup(arena, id);
}

static enum patient_sex read_sex(struct json_reader *patient)
{
    const char *word = json_reader_word(patient, "sex", JSON_OPTIONAL, patient_sex_names());
    return word == NULL ? SEX_UNKNOWN : patient_sex_from_name(word);
}

static void read_patient(struct json_reader *reader, enum recording_json_use use,
                         struct recording_document *document)
{
    const json_t *value = json_reader_take(reader, "patient", JSON_OPTIONAL);
    if (value == NULL) {
        return;
    }
    const char *pointer = json_reader_pointer(reader, "patient");
    if (use != RECORDING_JSON_ANALYSE) {
        fault_add(reader->faults, pointer, "Must be left out: the study knows its patient.");
        return;
    }
    struct json_reader patient;
    json_reader_open(&patient, value, pointer, reader->faults);
    document->has_patient = true;
    document->sex = read_sex(&patient);
    document->age_years = json_reader_number(&patient, "age_years", JSON_OPTIONAL, 0.0, 130.0);
    document->weight_kg = json_reader_number(&patient, "weight_kg", JSON_OPTIONAL, 0.2, 400.0);
    json_reader_close(&patient);
}

static void read_document(const json_t *value, const struct document_scan *scan,
                          struct arena *arena, enum recording_json_use use,
                          struct fault_list *faults, struct recording_document *document)
{
    struct json_reader reader;
    json_reader_open(&reader, value, "", faults);
    document->type = read_type(&reader);
    document->started_at_us = read_started_at_us(&reader);
    document->id = read_id(&reader, use, arena);
    read_patient(&reader, use, document);
    const json_t *conditions = json_reader_take(&reader, "conditions", JSON_OPTIONAL);
    document_conditions_read(conditions, "/conditions", arena, faults, &document->conditions);

    if (use == RECORDING_JSON_OPEN) {
        document->study_id = read_study_id(&reader, arena);
        document_channels_read(&reader, NULL, arena, &document->channels, &document->channel_count);
        json_reader_close(&reader);
        return;
    }
    size_t channel_faults_before = document_fault_total(faults);
    document_channels_read(&reader, scan, arena, &document->channels, &document->channel_count);
    /* Without sound channels the duration is unknown: then only the limit bounds the events. */
    bool has_duration = document_fault_total(faults) == channel_faults_before;
    double duration_s = has_duration ? recording_document_duration_s(document) : LIMIT_DURATION_S;
    document_events_read(&reader, arena, JSON_OPTIONAL, duration_s, &document->events,
                         &document->event_count);
    json_reader_close(&reader);
}

enum json_read_outcome recording_json_read(struct arena *arena, const char *body, size_t length,
                                           enum recording_json_use use,
                                           const struct recording_document **ret_document,
                                           struct fault_list *faults)
{
    size_t faults_before = document_fault_total(faults);
    struct document_scan scan;
    document_scan_run(&scan, arena, body, length);
    json_t *value = json_reader_load_reduced(&scan, faults);
    if (value == NULL) {
        return JSON_READ_MALFORMED;
    }
    struct recording_document *document = arena_alloc(arena, sizeof *document);
    read_document(value, &scan, arena, use, faults, document);
    json_decref(value);
    if (document_fault_total(faults) > faults_before) {
        return JSON_READ_INVALID;
    }
    *ret_document = document;
    return JSON_READ_OK;
}

double recording_document_duration_s(const struct recording_document *document)
{
    double duration_s = 0.0;
    for (size_t i = 0; i < document->channel_count; i++) {
        duration_s = fmax(duration_s, document_channel_end_s(&document->channels[i]));
    }
    return duration_s;
}

bool document_channel_same(const struct document_channel *one, const struct document_channel *other)
{
    return one->signal == other->signal && strcmp(one->unit, other->unit) == 0 &&
           !islessgreater(one->rate_hz, other->rate_hz) &&
           !islessgreater(one->start_s, other->start_s) &&
           samples_equal(&one->samples, &other->samples);
}

static const double *canonical_samples(struct arena *arena, const struct document_channel *channel)
{
    const struct samples *samples = &channel->samples;
    double *values = samples_all_values(samples, arena);
    if (islessgreater(channel->to_canonical, 1.0)) {
        for (size_t i = 0; i < samples->count; i++) {
            values[i] *= channel->to_canonical;
        }
    }
    return values;
}

const struct recording *recording_from_document(struct arena *arena,
                                                const struct recording_document *document)
{
    struct channel *channels = arena_array(arena, document->channel_count, sizeof *channels);
    for (size_t i = 0; i < document->channel_count; i++) {
        const struct document_channel *from = &document->channels[i];
        channels[i] = (struct channel){.signal = from->signal,
                                       .rate_hz = from->rate_hz,
                                       .start_s = from->start_s,
                                       .sample_count = from->samples.count,
                                       .samples = canonical_samples(arena, from)};
    }
    struct event *events = arena_array(arena, document->event_count, sizeof *events);
    for (size_t i = 0; i < document->event_count; i++) {
        events[i] = (struct event){.at_s = document->events[i].at_s,
                                   .code = event_code_from_name(document->events[i].code),
                                   .value = document->events[i].value};
    }
    struct recording *recording = arena_alloc(arena, sizeof *recording);
    *recording = (struct recording){.type = document->type,
                                    .sex = document->sex,
                                    .age_years = document->age_years,
                                    .weight_kg = document->weight_kg,
                                    .conditions = document->conditions.numbers,
                                    .channel_count = document->channel_count,
                                    .channels = channels,
                                    .event_count = document->event_count,
                                    .events = events};
    return recording;
}
