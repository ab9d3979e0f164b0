/* Small JSON documents under libFuzzer, as the API reads them. The first byte says which:
 *   'G' an object of every kind of member that json_reader.h knows    'P' a merge patch
 *   'E' events, 'C' a completion, 'D' conditions, 'H' choices of a clinic, 'R' roles
 *   'I' an interpretation
 *   'S' a recording, 'O' one that comes in pieces, 'A' one that is only analysed
 * A document is taken without faults or refused with some, every fault points to something, what is
 * taken is within its limits, and what is written of it is read as the same. */
#include "faults_check.h"
#include "promise.h"

#include "api/api.h"
#include "api/roles_json.h"
#include "base/utf8.h"
#include "base/uuid.h"
#include "formats/choices_json.h"
#include "formats/document_parts.h"
#include "formats/interpretation_json.h"
#include "formats/pieces.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { TEXT_LIMIT = 12, WRITTEN_MAX = 1 << 20 };

static const double duration_s = 600.0;

struct input {
    struct arena *arena;
    const char *body;
    size_t length;
};

static bool same_number(struct optional_number one, struct optional_number other)
{
    return one.known == other.known && (!one.known || !islessgreater(one.value, other.value));
}

/* ---- members one by one ---- */

static void check_string(const json_t *object, const char *member, enum json_presence presence,
                         const char *found)
{
    const json_t *value = json_object_get(object, member);
    if (found == NULL) {
        return;
    }
    promise(json_is_string(value) && found == json_string_value(value), "the member's own string");
    promise(strlen(found) <= TEXT_LIMIT && utf8_is_valid(found, strlen(found)), "within its limit");
    promise(presence == JSON_OPTIONAL || found[strspn(found, " \t\n")] != '\0', "not blank");
    promise(!json_reader_has_control_character(found), "no control characters");
}

static void check_members(struct json_reader *reader)
{
    static const char *const words[] = {"one", "two", NULL};
    const json_t *object = reader->object;
    check_string(object, "text", JSON_OPTIONAL,
                 json_reader_string(reader, "text", JSON_OPTIONAL, TEXT_LIMIT));
    check_string(object, "title", JSON_REQUIRED,
                 json_reader_string(reader, "title", JSON_REQUIRED, TEXT_LIMIT));
    struct optional_number number = json_reader_number(reader, "n", JSON_OPTIONAL, -5.0, 7.5);
    promise(!number.known || (number.value >= -5.0 && number.value <= 7.5),
            "a number in its range");
    promise(!number.known ||
                !islessgreater(number.value, json_number_value(json_object_get(object, "n"))),
            "the member's own number");
    const char *word = json_reader_word(reader, "word", JSON_OPTIONAL, words);
    promise(word == NULL || strcmp(word, "one") == 0 || strcmp(word, "two") == 0, "a known word");
    enum patient_answer answer = json_reader_answer(reader, "flag", JSON_OPTIONAL);
    promise((answer == ANSWER_YES) == json_is_true(json_object_get(object, "flag")), "yes is true");
    promise((answer == ANSWER_NO) == json_is_false(json_object_get(object, "flag")), "no is false");
    const char *id = api_read_id(reader);
    promise(id == NULL || uuid_is_valid(id), "an id");
    int64_t time_us = api_read_time(reader, "at", JSON_OPTIONAL);
    promise(time_us == 0 || (time_us >= LIMIT_START_EARLIEST_US && time_us < LIMIT_START_LATEST_US),
            "a time in its range");
}

static void check_patch(struct json_reader *reader)
{
    const char *text = api_patch_string(reader, "text", TEXT_LIMIT, "before");
    promise(text != NULL && strlen(text) <= TEXT_LIMIT, "a text");
    promise(!json_reader_is_null(reader, "text") || text[0] == '\0', "null removes");
    promise(json_object_get(reader->object, "text") != NULL || strcmp(text, "before") == 0,
            "what is not there stays");
    const char *title = api_patch_required_string(reader, "title", TEXT_LIMIT, "before");
    size_t faults = reader->faults->count;
    promise(title[strspn(title, " \t\n")] != '\0' || faults > 0, "a fault of what becomes blank");
    api_refuse_null(reader, "title");
}

static void read_object(const struct input *input, struct fault_list *faults,
                        void (*read)(struct json_reader *reader))
{
    struct json_reader reader;
    const json_t *value = json_reader_parse(input->arena, input->body, input->length, faults);
    if (value == NULL) {
        return;
    }
    json_reader_open(&reader, value, "", faults);
    read(&reader);
    json_reader_close(&reader);
    promise(json_is_object(value) || faults->count > 0, "an object or a fault");
}

/* ---- roles and choices ---- */

static void check_roles(struct json_reader *reader)
{
    struct fault_list *faults = reader->faults;
    struct text text;
    unsigned roles = roles_json_read(reader, JSON_REQUIRED);
    promise((roles & ~(unsigned)ROLE_ANY) == 0, "known roles");
    if (faults->count > 0 || reader->object == NULL) {
        return;
    }
    promise(roles != 0, "at least one role");
    text_init(&text, faults->arena, WRITTEN_MAX);
    text_append_char(&text, '{');
    roles_json_append(&text, roles);
    text_append_char(&text, '}');
    struct json_reader again;
    json_reader_open(&again, json_reader_parse(faults->arena, text.data, text.length, faults), "",
                     faults);
    promise(roles_json_read(&again, JSON_REQUIRED) == roles && faults->count == 0, "roles again");
}

static void check_choices(struct json_reader *reader)
{
    struct fault_list *faults = reader->faults;
    struct analysis_choices chosen;
    struct analysis_choices again;
    struct error error = {0};
    struct text text;
    choices_json_take(reader, &chosen);
    for (size_t i = 0; i < choices_count(); i++) {
        const struct choice_row *row = choices_row(i);
        struct optional_number number = choices_get(&chosen, row);
        promise(!number.known || (number.value >= row->least && number.value <= row->most),
                "a choice in its range");
    }
    text_init(&text, faults->arena, WRITTEN_MAX);
    choices_json_write(&chosen, &text);
    promise(choices_json_read(faults->arena, text.data, &again, &error), "choices can be stored");
    for (size_t i = 0; i < choices_count(); i++) {
        promise(
            same_number(choices_get(&chosen, choices_row(i)), choices_get(&again, choices_row(i))),
            "choices again");
    }
}

/* ---- events, conditions, completions ---- */

static void check_event_list(const struct document_event *events, size_t count, double latest_s)
{
    promise(count <= LIMIT_EVENTS, "number of events");
    for (size_t i = 0; i < count; i++) {
        promise(events[i].at_s >= 0.0 && events[i].at_s <= latest_s, "time of an event");
        promise(i == 0 || events[i - 1].at_s <= events[i].at_s, "in order");
        promise(document_is_event_code(events[i].code), "code");
        promise(strlen(events[i].note) <= LIMIT_NOTE_BYTES, "note");
    }
}

static enum json_read_outcome read_events(const struct input *input, struct fault_list *faults)
{
    struct document_event *events = NULL;
    struct document_event *others = NULL;
    size_t count = 0;
    size_t other_count = 0;
    struct text text;
    enum json_read_outcome outcome = events_json_read(input->arena, input->body, input->length,
                                                      duration_s, &events, &count, faults);
    if (outcome != JSON_READ_OK) {
        return outcome;
    }
    check_event_list(events, count, duration_s + LIMIT_EVENT_SLACK_S);
    text_init(&text, input->arena, WRITTEN_MAX);
    text_append(&text, "{\"events\":");
    events_json_write(events, count, &text);
    text_append_char(&text, '}');
    promise(events_json_read(input->arena, text.data, text.length, duration_s, &others,
                             &other_count, faults) == JSON_READ_OK &&
                other_count == count,
            "events again");
    for (size_t i = 0; i < count; i++) {
        promise(!islessgreater(events[i].at_s, others[i].at_s) &&
                    strcmp(events[i].code, others[i].code) == 0 &&
                    strcmp(events[i].note, others[i].note) == 0 &&
                    same_number(events[i].value, others[i].value),
                "an event again");
    }
    return outcome;
}

static void check_conditions(struct arena *arena, const struct document_conditions *conditions)
{
    struct document_conditions again;
    struct error error = {0};
    struct text text;
    struct text other;
    text_init(&text, arena, WRITTEN_MAX);
    text_init(&other, arena, WRITTEN_MAX);
    conditions_json_write(conditions, &text);
    promise(conditions_json_read(arena, text.data, &again, &error), "conditions can be stored");
    conditions_json_write(&again, &other);
    promise(strcmp(text.data, other.data) == 0, "conditions again");
}

static enum json_read_outcome read_completion(const struct input *input, struct fault_list *faults)
{
    struct completion completion;
    enum json_read_outcome outcome =
        completion_json_read(input->arena, input->body, input->length, &completion, faults);
    if (outcome == JSON_READ_OK) {
        promise(completion.chunk_count >= 1 && completion.chunk_count <= LIMIT_CHUNKS,
                "number of pieces");
        check_conditions(input->arena, &completion.conditions);
    }
    return outcome;
}

/* As the query of an upload of a file has them. */
static void check_query_conditions(const struct input *input, struct fault_list *faults)
{
    struct document_conditions conditions;
    struct error error = {0};
    conditions_json_read_query(input->arena, input->body, faults, &conditions);
    struct document_conditions stored;
    promise(conditions_json_read(input->arena, input->body, &stored, &error) ==
                (faults->count == 0),
            "both readings take the same");
    if (faults->count == 0) {
        check_conditions(input->arena, &conditions);
    }
}

/* ---- interpretations ---- */

static void check_coded(const struct interpretation *interpretation)
{
    promise(interpretation->finding_count <= INTERPRETATION_FINDINGS_MOST, "findings");
    for (size_t i = 0; i < interpretation->finding_count; i++) {
        const struct interpretation_finding *finding = &interpretation->findings[i];
        promise(finding->text != NULL && strlen(finding->text) <= INTERPRETATION_TEXT_BYTES,
                "a finding has a text");
        promise(finding->basis_count <= INTERPRETATION_BASIS_MOST, "basis of a finding");
        for (size_t j = 0; j < finding->basis_count; j++) {
            promise(finding->basis[j][0] != '\0', "a name");
        }
    }
    promise(interpretation->diagnosis_count <= INTERPRETATION_DIAGNOSES_MOST, "diagnoses");
    for (size_t i = 0; i < interpretation->diagnosis_count; i++) {
        const struct interpretation_diagnosis *diagnosis = &interpretation->diagnoses[i];
        promise(diagnosis->text != NULL, "a diagnosis has a text");
        promise((diagnosis->system == NULL) == (diagnosis->code == NULL), "a whole coding");
    }
    promise(interpretation->plan_count <= INTERPRETATION_PLAN_MOST, "plan");
    for (size_t i = 0; i < interpretation->plan_count; i++) {
        promise(interpretation->plan[i] != NULL, "a step has a text");
    }
}

static void read_interpretation(const struct input *input, struct fault_list *faults)
{
    struct interpretation interpretation;
    struct interpretation again;
    struct error error = {0};
    struct text text;
    struct text other;
    const json_t *value = json_reader_parse(input->arena, input->body, input->length, faults);
    if (value == NULL) {
        return;
    }
    interpretation_json_take(value, "", faults, &interpretation);
    promise(json_is_object(value) || faults->count > 0, "an object or a fault");
    if (faults->count > 0) {
        return;
    }
    promise(interpretation.conclusion != NULL, "a conclusion");
    check_coded(&interpretation);
    text_init(&text, input->arena, WRITTEN_MAX);
    text_init(&other, input->arena, WRITTEN_MAX);
    interpretation_json_write(&interpretation, &text);
    promise(interpretation_json_read(input->arena, text.data, &again, &error),
            "an interpretation can be stored");
    interpretation_json_write(&again, &other);
    promise(strcmp(text.data, other.data) == 0, "an interpretation again");
}

/* ---- recordings ---- */

static void check_recording(const struct recording_document *document, enum recording_json_use use)
{
    size_t total = 0;
    promise(document->channel_count >= 1 && document->channel_count <= LIMIT_CHANNELS, "channels");
    for (size_t i = 0; i < document->channel_count; i++) {
        const struct document_channel *channel = &document->channels[i];
        promise(channel->rate_hz > 0.0 && channel->rate_hz <= LIMIT_RATE_HZ, "rate");
        promise(channel->start_s >= 0.0 && channel->start_s <= LIMIT_DURATION_S, "start");
        promise((channel->samples.count == 0) == (use == RECORDING_JSON_OPEN), "samples");
        total += channel->samples.count;
        for (size_t j = 0; j < i; j++) {
            promise(document->channels[j].signal != channel->signal, "a signal once");
        }
    }
    promise(total <= LIMIT_RECORDING_SAMPLES, "samples in all");
    check_event_list(document->events, document->event_count,
                     LIMIT_DURATION_S + LIMIT_EVENT_SLACK_S);
    promise(document->id == NULL || uuid_is_valid(document->id), "id");
    promise((document->study_id != NULL) == (use == RECORDING_JSON_OPEN), "study");
}

static enum json_read_outcome read_recording(const struct input *input, uint8_t kind,
                                             struct fault_list *faults)
{
    enum recording_json_use use = kind == 'S'   ? RECORDING_JSON_STORE
                                  : kind == 'O' ? RECORDING_JSON_OPEN
                                                : RECORDING_JSON_ANALYSE;
    const struct recording_document *document = NULL;
    enum json_read_outcome outcome =
        recording_json_read(input->arena, input->body, input->length, use, &document, faults);
    promise((outcome == JSON_READ_OK) == (document != NULL), "a document when it is taken");
    if (document != NULL) {
        check_recording(document, use);
        check_conditions(input->arena, &document->conditions);
        promise(use == RECORDING_JSON_OPEN ||
                    recording_from_document(input->arena, document) != NULL,
                "what is analysed");
    }
    return outcome;
}

/* ---- which ---- */

static void check_document(uint8_t kind, const struct input *input)
{
    struct fault_list faults;
    enum json_read_outcome outcome = JSON_READ_OK;
    fault_list_init(&faults, input->arena);
    switch (kind) {
    case 'P':
        read_object(input, &faults, check_patch);
        break;
    case 'H':
        read_object(input, &faults, check_choices);
        break;
    case 'R':
        read_object(input, &faults, check_roles);
        break;
    case 'D':
        check_query_conditions(input, &faults);
        faults_check(&faults, "?conditions", input->body, input->length);
        return;
    case 'I':
        read_interpretation(input, &faults);
        break;
    case 'E':
        outcome = read_events(input, &faults);
        break;
    case 'C':
        outcome = read_completion(input, &faults);
        break;
    case 'S':
    case 'O':
    case 'A':
        outcome = read_recording(input, kind, &faults);
        break;
    default:
        read_object(input, &faults, check_members);
        break;
    }
    promise(outcome == JSON_READ_OK || faults.count > 0, "faults when it is refused");
    faults_check(&faults, "", input->body, input->length);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    if (size == 0) {
        return 0;
    }
    /* Conditions stand in a query, which has no NUL. */
    char *body =
        bytes[0] == 'D' ? promise_line(bytes + 1, size - 1) : promise_text(bytes + 1, size - 1);
    struct input input = {.arena = arena_new(), .body = body};
    input.length = bytes[0] == 'D' ? strlen(body) : size - 1;
    check_document(bytes[0], &input);
    arena_free(input.arena);
    free(body);
    return 0;
}
