#include "formats/interpretation_json.h"

#include "base/text.h"
#include "formats/json_writer.h"
#include "formats/limits.h"

#include <string.h>

static const char *const REPRODUCED[] = {"yes", "no", "partly", "not_asked", NULL};

/* ---- reading ---- */

/* An optional text that says something; "" counts as not given. */
static const char *take_text(struct json_reader *reader, const char *member, size_t limit)
{
    const char *text = json_reader_string(reader, member, JSON_OPTIONAL, limit);
    return text == NULL || text[strspn(text, " \t\n")] == '\0' ? NULL : text;
}

/* An optional array of at most `most` items; their number, 0 when absent or faulty. */
static size_t take_array(struct json_reader *reader, const char *member, size_t most,
                         const json_t **ret_array, const char **ret_pointer)
{
    const json_t *value = json_reader_take(reader, member, JSON_OPTIONAL);
    if (value == NULL) {
        return 0;
    }
    *ret_pointer = json_reader_pointer(reader, member);
    if (!json_is_array(value)) {
        fault_add(reader->faults, *ret_pointer, "Must be an array.");
        return 0;
    }
    if (json_array_size(value) > most) {
        fault_add(reader->faults, *ret_pointer, "Must have at most %zu items; this has %zu.", most,
                  json_array_size(value));
        return 0;
    }
    *ret_array = value;
    return json_array_size(value);
}

static void open_item(struct json_reader *reader, const json_t *array, size_t index,
                      const char *pointer, struct fault_list *faults)
{
    json_reader_open(reader, json_array_get(array, index),
                     fault_pointer_index(faults->arena, pointer, index), faults);
}

/* "filling" and "filling.involuntary_contractions": names of the analysis, not free words. */
static bool is_name(const char *text)
{
    return text[0] != '\0' && text[strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789_.")] == '\0';
}

static const char *take_name(struct json_reader *reader, const char *member)
{
    const char *name = json_reader_string(reader, member, JSON_OPTIONAL, INTERPRETATION_CODE_BYTES);
    if (name != NULL && !is_name(name)) {
        fault_add(reader->faults, json_reader_pointer(reader, member),
                  "Must be a name of the analysis: lower-case letters, digits, _ and dots.");
        return NULL;
    }
    return name;
}

static void take_basis(struct json_reader *reader, struct interpretation_finding *finding)
{
    const json_t *array = NULL;
    const char *pointer = NULL;
    struct fault_list *faults = reader->faults;
    size_t count = take_array(reader, "basis", INTERPRETATION_BASIS_MOST, &array, &pointer);
    finding->basis = arena_array(faults->arena, count, sizeof *finding->basis);
    for (size_t i = 0; i < count; i++) {
        const char *name = json_string_value(json_array_get(array, i));
        if (name == NULL || strlen(name) > INTERPRETATION_CODE_BYTES || !is_name(name)) {
            fault_add(faults, fault_pointer_index(faults->arena, pointer, i),
                      "Must be a name of the analysis: lower-case letters, digits, _ and dots.");
            continue;
        }
        finding->basis[finding->basis_count++] = name;
    }
}

static void take_findings(struct json_reader *reader, struct interpretation *interpretation)
{
    const json_t *array = NULL;
    const char *pointer = NULL;
    struct fault_list *faults = reader->faults;
    size_t count = take_array(reader, "findings", INTERPRETATION_FINDINGS_MOST, &array, &pointer);
    interpretation->findings = arena_array(faults->arena, count, sizeof *interpretation->findings);
    interpretation->finding_count = count;
    for (size_t i = 0; i < count; i++) {
        struct interpretation_finding *finding = &interpretation->findings[i];
        struct json_reader item;
        open_item(&item, array, i, pointer, faults);
        finding->section = take_name(&item, "section");
        finding->code = take_name(&item, "code");
        finding->text = json_reader_string(&item, "text", JSON_REQUIRED, INTERPRETATION_TEXT_BYTES);
        take_basis(&item, finding);
        json_reader_close(&item);
    }
}

/* A coding's member without line breaks, which code systems do not have. */
static const char *take_coded(struct json_reader *reader, const char *member,
                              enum json_presence presence)
{
    const char *text = json_reader_string(reader, member, presence, INTERPRETATION_CODE_BYTES);
    if (text != NULL && strpbrk(text, "\n\t") != NULL) {
        fault_add(reader->faults, json_reader_pointer(reader, member), "Must be one line.");
        return NULL;
    }
    return text;
}

static void take_coding(struct json_reader *reader, struct interpretation_diagnosis *diagnosis)
{
    const json_t *value = json_reader_take(reader, "coding", JSON_OPTIONAL);
    if (value == NULL) {
        return;
    }
    struct json_reader coding;
    json_reader_open(&coding, value, json_reader_pointer(reader, "coding"), reader->faults);
    diagnosis->system = take_coded(&coding, "system", JSON_REQUIRED);
    diagnosis->code = take_coded(&coding, "code", JSON_REQUIRED);
    diagnosis->display = take_coded(&coding, "display", JSON_OPTIONAL);
    json_reader_close(&coding);
}

static void take_diagnoses(struct json_reader *reader, struct interpretation *interpretation)
{
    const json_t *array = NULL;
    const char *pointer = NULL;
    struct fault_list *faults = reader->faults;
    size_t count = take_array(reader, "diagnoses", INTERPRETATION_DIAGNOSES_MOST, &array, &pointer);
    interpretation->diagnoses =
        arena_array(faults->arena, count, sizeof *interpretation->diagnoses);
    interpretation->diagnosis_count = count;
    for (size_t i = 0; i < count; i++) {
        struct interpretation_diagnosis *diagnosis = &interpretation->diagnoses[i];
        struct json_reader item;
        open_item(&item, array, i, pointer, faults);
        diagnosis->text =
            json_reader_string(&item, "text", JSON_REQUIRED, INTERPRETATION_TEXT_BYTES);
        take_coding(&item, diagnosis);
        json_reader_close(&item);
    }
}

static void take_plan(struct json_reader *reader, struct interpretation *interpretation)
{
    const json_t *array = NULL;
    const char *pointer = NULL;
    struct fault_list *faults = reader->faults;
    size_t count = take_array(reader, "plan", INTERPRETATION_PLAN_MOST, &array, &pointer);
    interpretation->plan = arena_array(faults->arena, count, sizeof *interpretation->plan);
    interpretation->plan_count = count;
    for (size_t i = 0; i < count; i++) {
        struct json_reader item;
        open_item(&item, array, i, pointer, faults);
        interpretation->plan[i] =
            json_reader_string(&item, "text", JSON_REQUIRED, INTERPRETATION_TEXT_BYTES);
        json_reader_close(&item);
    }
}

static void take_representative(struct json_reader *reader, struct interpretation *interpretation)
{
    const json_t *value = json_reader_take(reader, "representative", JSON_OPTIONAL);
    if (value == NULL) {
        return;
    }
    struct json_reader asked;
    json_reader_open(&asked, value, json_reader_pointer(reader, "representative"), reader->faults);
    interpretation->representative_free_flow =
        json_reader_answer(&asked, "free_flow", JSON_OPTIONAL);
    interpretation->representative_voiding = json_reader_answer(&asked, "voiding", JSON_OPTIONAL);
    json_reader_close(&asked);
}

void interpretation_json_take(const json_t *value, const char *pointer, struct fault_list *faults,
                              struct interpretation *ret_interpretation)
{
    struct json_reader reader;
    *ret_interpretation = (struct interpretation){0};
    json_reader_open(&reader, value, pointer, faults);
    ret_interpretation->symptoms_reproduced =
        json_reader_word(&reader, "symptoms_reproduced", JSON_OPTIONAL, REPRODUCED);
    ret_interpretation->symptoms_comment =
        take_text(&reader, "symptoms_comment", INTERPRETATION_TEXT_BYTES);
    take_representative(&reader, ret_interpretation);
    take_findings(&reader, ret_interpretation);
    take_diagnoses(&reader, ret_interpretation);
    ret_interpretation->conclusion =
        json_reader_string(&reader, "conclusion", JSON_REQUIRED, INTERPRETATION_CONCLUSION_BYTES);
    take_plan(&reader, ret_interpretation);
    ret_interpretation->complications =
        take_text(&reader, "complications", INTERPRETATION_TEXT_BYTES);
    ret_interpretation->comment = take_text(&reader, "comment", INTERPRETATION_TEXT_BYTES);
    json_reader_close(&reader);
}

bool interpretation_json_read(struct arena *arena, const char *json,
                              struct interpretation *ret_interpretation, struct error *reterr)
{
    struct fault_list faults;
    fault_list_init(&faults, arena);
    const json_t *object = json_reader_parse(arena, json, strlen(json), &faults);
    if (object != NULL) {
        interpretation_json_take(object, "", &faults, ret_interpretation);
    }
    return faults.count == 0 ||
           error_set(reterr, ERROR_INTERNAL, "a stored interpretation that cannot be read back: %s",
                     faults.items[0].pointer);
}

/* ---- writing ---- */

static void write_known(struct text *out, const char *name, const char *value)
{
    if (value != NULL) {
        json_writer_string(out, name, value);
    }
}

static void write_answer(struct text *out, const char *name, enum patient_answer answer)
{
    if (answer != ANSWER_UNKNOWN) {
        json_writer_flag(out, name, answer == ANSWER_YES);
    }
}

static void begin_item(struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
}

static void write_finding(const struct interpretation_finding *finding, struct text *out)
{
    begin_item(out);
    write_known(out, "section", finding->section);
    write_known(out, "code", finding->code);
    json_writer_string(out, "text", finding->text);
    if (finding->basis_count > 0) {
        json_writer_name(out, "basis");
        text_append_char(out, '[');
        for (size_t i = 0; i < finding->basis_count; i++) {
            text_printf(out, "%s\"%s\"", i == 0 ? "" : ",", finding->basis[i]);
        }
        text_append_char(out, ']');
    }
    text_append_char(out, '}');
}

static void write_diagnosis(const struct interpretation_diagnosis *diagnosis, struct text *out)
{
    begin_item(out);
    json_writer_string(out, "text", diagnosis->text);
    if (diagnosis->system != NULL) {
        json_writer_name(out, "coding");
        text_append_char(out, '{');
        json_writer_string(out, "system", diagnosis->system);
        json_writer_string(out, "code", diagnosis->code);
        write_known(out, "display", diagnosis->display);
        text_append_char(out, '}');
    }
    text_append_char(out, '}');
}

static void write_representative(const struct interpretation *interpretation, struct text *out)
{
    if (interpretation->representative_free_flow == ANSWER_UNKNOWN &&
        interpretation->representative_voiding == ANSWER_UNKNOWN) {
        return;
    }
    json_writer_name(out, "representative");
    text_append_char(out, '{');
    write_answer(out, "free_flow", interpretation->representative_free_flow);
    write_answer(out, "voiding", interpretation->representative_voiding);
    text_append_char(out, '}');
}

static void write_lists(const struct interpretation *interpretation, struct text *out)
{
    json_writer_name(out, "findings");
    text_append_char(out, '[');
    for (size_t i = 0; i < interpretation->finding_count; i++) {
        write_finding(&interpretation->findings[i], out);
    }
    text_append_char(out, ']');
    json_writer_name(out, "diagnoses");
    text_append_char(out, '[');
    for (size_t i = 0; i < interpretation->diagnosis_count; i++) {
        write_diagnosis(&interpretation->diagnoses[i], out);
    }
    text_append_char(out, ']');
    json_writer_string(out, "conclusion", interpretation->conclusion);
    json_writer_name(out, "plan");
    text_append_char(out, '[');
    for (size_t i = 0; i < interpretation->plan_count; i++) {
        begin_item(out);
        json_writer_string(out, "text", interpretation->plan[i]);
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
}

void interpretation_json_write_members(const struct interpretation *interpretation,
                                       struct text *out)
{
    write_known(out, "symptoms_reproduced", interpretation->symptoms_reproduced);
    write_known(out, "symptoms_comment", interpretation->symptoms_comment);
    write_representative(interpretation, out);
    write_lists(interpretation, out);
    write_known(out, "complications", interpretation->complications);
    write_known(out, "comment", interpretation->comment);
}

void interpretation_json_write(const struct interpretation *interpretation, struct text *out)
{
    text_append_char(out, '{');
    interpretation_json_write_members(interpretation, out);
    text_append_char(out, '}');
}
