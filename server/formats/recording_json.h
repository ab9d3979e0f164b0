/* The recording document: JSON in, structs out, every fault named. */
#ifndef FORMATS_RECORDING_JSON_H
#define FORMATS_RECORDING_JSON_H

#include "analysis/recording.h"
#include "base/arena.h"
#include "base/error.h"
#include "base/fault.h"
#include "base/text.h"
#include "formats/samples.h"

#include <stdbool.h>
#include <stdint.h>

struct document_channel {
    enum signal_kind signal;
    const char *unit;    /* as uploaded, UCUM */
    double to_canonical; /* factor into signal_unit(signal) */
    double rate_hz;
    double start_s;
    struct samples samples;
};

struct document_event {
    double at_s;
    const char *code; /* as uploaded; may be a clinic's own */
    const char *note; /* "" when absent */
    struct optional_number value;
};

/* Free-text members are "" when absent. */
struct document_conditions {
    struct conditions numbers;
    const char *position;
    const char *reference_level;
    const char *zeroed;
};

struct recording_document {
    const char *id;       /* the client's own choice, or NULL */
    const char *study_id; /* of what opens a recording in pieces; else NULL */
    enum recording_type type;
    int64_t started_at_us;
    bool has_patient; /* POST /v1/analyses only */
    enum patient_sex sex;
    struct optional_number age_years;
    struct optional_number weight_kg;
    struct document_conditions conditions;
    size_t channel_count;
    struct document_channel *channels;
    size_t event_count;
    struct document_event *events; /* sorted by time, stable */
};

enum recording_json_use {
    RECORDING_JSON_STORE,   /* an upload into a study: `patient` is refused, `id` allowed */
    RECORDING_JSON_ANALYSE, /* POST /v1/analyses: `patient` is allowed, `id` refused */
    RECORDING_JSON_OPEN     /* what opens a recording in pieces: as RECORDING_JSON_STORE, but with
                               `study_id`, and neither samples nor events */
};

enum json_read_outcome {
    JSON_READ_OK,
    JSON_READ_MALFORMED, /* not JSON at all: 400; one fault with line and column */
    JSON_READ_INVALID    /* JSON, but not this document: 422; one or more faults */
};

/* Reads a document of `length` bytes. Unknown members, repeated members, wrong types, units that do
 * not fit their signal, numbers out of range, channels that repeat a signal: each is a fault.
 * The document lives on the arena; *ret_document is set only with JSON_READ_OK. */
MUST_CHECK enum json_read_outcome
recording_json_read(struct arena *arena, const char *body, size_t length,
                    enum recording_json_use use, const struct recording_document **ret_document,
                    struct fault_list *faults);

/* Reads {"events": [...]}, the body of PUT /v1/recordings/{id}/events; sorted by time. */
MUST_CHECK enum json_read_outcome events_json_read(struct arena *arena, const char *body,
                                                   size_t length, double duration_s,
                                                   struct document_event **ret_events,
                                                   size_t *ret_count, struct fault_list *faults);

/* The "conditions" object and the "events" array as JSON text (a stored recording's answer). */
void conditions_json_write(const struct document_conditions *conditions, struct text *out);
void events_json_write(const struct document_event *events, size_t count, struct text *out);

/* Reads back what conditions_json_write() wrote (the stored column). */
MUST_CHECK bool conditions_json_read(struct arena *arena, const char *json,
                                     struct document_conditions *ret_conditions,
                                     struct error *reterr);

/* Reads the same object as a query gives it; faults have pointers below "?conditions". */
void conditions_json_read_query(struct arena *arena, const char *json, struct fault_list *faults,
                                struct document_conditions *ret_conditions);

/* Seconds from the start of the recording to its last sample's end. */
double recording_document_duration_s(const struct recording_document *document);

/* Whether both hold the same samples bit for bit, of the same signal at the same times. */
bool document_channel_same(const struct document_channel *one,
                           const struct document_channel *other);

/* The analysis library's view of a document: values in canonical units, known event codes. */
const struct recording *recording_from_document(struct arena *arena,
                                                const struct recording_document *document);

#endif
