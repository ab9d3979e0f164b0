#include "formats/document_parts.h"
#include "formats/json_writer.h"
#include "formats/limits.h"

#include <string.h>

/* A number of the conditions; the table serves reading and writing alike. */
struct condition_field {
    const char *name;
    double least;
    double most;
    bool positive; /* zero itself is refused */
    size_t offset; /* of the optional_number in struct conditions */
};

static const struct condition_field number_fields[] = {
    {"post_void_residual_ml", 0, 5000, false, offsetof(struct conditions, post_void_residual_ml)},
    {"initial_residual_ml", 0, 5000, false, offsetof(struct conditions, initial_residual_ml)},
    {"filling_rate_ml_min", 0, 1000, false, offsetof(struct conditions, filling_rate_ml_min)},
    {"flow_delay_s", 0, 3, false, offsetof(struct conditions, flow_delay_s)},
    {"puller_speed_mm_s", 0, 50, true, offsetof(struct conditions, puller_speed_mm_s)},
    {"free_qmax_ml_s", 0, 100, false, offsetof(struct conditions, free_qmax_ml_s)},
    {"balloon_expulsion_s", 0, 3600, true, offsetof(struct conditions, balloon_expulsion_s)},
    {"anal_sensor_spacing_mm", 0, 100, true, offsetof(struct conditions, anal_sensor_spacing_mm)},
};

enum { NUMBER_FIELD_COUNT = sizeof number_fields / sizeof number_fields[0] };

static enum patient_position position_from_word(const char *word)
{
    static const struct {
        const char *word;
        enum patient_position position;
    } positions[] = {
        {"sitting", POSITION_SITTING},
        {"standing", POSITION_STANDING},
        {"supine", POSITION_SUPINE},
    };

    for (size_t i = 0; i < sizeof positions / sizeof positions[0]; i++) {
        if (strcmp(word, positions[i].word) == 0) {
            return positions[i].position;
        }
    }
    return POSITION_UNKNOWN;
}

static struct optional_number read_field(struct json_reader *reader,
                                         const struct condition_field *field)
{
    struct optional_number number =
        json_reader_number(reader, field->name, JSON_OPTIONAL, field->least, field->most);
    if (field->positive && number.known && number.value <= 0.0) {
        fault_add(reader->faults, json_reader_pointer(reader, field->name),
                  "Must be greater than 0.");
        number.known = false;
    }
    return number;
}

static enum emg_form read_emg_form(struct json_reader *reader)
{
    const char *const names[] = {emg_form_name(EMG_FORM_RAW), emg_form_name(EMG_FORM_RECTIFIED),
                                 emg_form_name(EMG_FORM_ENVELOPE), NULL};
    const char *name = json_reader_word(reader, "emg_form", JSON_OPTIONAL, names);
    return name == NULL ? EMG_FORM_UNKNOWN : emg_form_from_name(name);
}

void document_conditions_read(const json_t *value, const char *pointer, struct arena *arena,
                              struct fault_list *faults, struct document_conditions *ret_conditions)
{
    struct document_conditions conditions = {.numbers = {.position = POSITION_UNKNOWN}};
    struct json_reader reader;
    json_reader_open(&reader, value, pointer, faults);
    conditions.position = document_text(
        arena, json_reader_string(&reader, "position", JSON_OPTIONAL, LIMIT_NAME_BYTES));
    conditions.reference_level = document_text(
        arena, json_reader_string(&reader, "reference_level", JSON_OPTIONAL, LIMIT_NAME_BYTES));
    conditions.zeroed = document_text(
        arena, json_reader_string(&reader, "zeroed", JSON_OPTIONAL, LIMIT_NAME_BYTES));
    conditions.numbers.position = position_from_word(conditions.position);
    for (size_t i = 0; i < NUMBER_FIELD_COUNT; i++) {
        struct optional_number number = read_field(&reader, &number_fields[i]);
        memcpy((char *)&conditions.numbers + number_fields[i].offset, &number, sizeof number);
    }
    conditions.numbers.neurological_lesion =
        json_reader_answer(&reader, "neurological_lesion", JSON_OPTIONAL);
    conditions.numbers.emg_form = read_emg_form(&reader);
    json_reader_close(&reader);
    *ret_conditions = conditions;
}

static void write_text(struct text *out, const char *name, const char *value)
{
    if (value[0] != '\0') {
        json_writer_string(out, name, value);
    }
}

void conditions_json_write(const struct document_conditions *conditions, struct text *out)
{
    text_append_char(out, '{');
    write_text(out, "position", conditions->position);
    for (size_t i = 0; i < NUMBER_FIELD_COUNT; i++) {
        struct optional_number number;
        memcpy(&number, (const char *)&conditions->numbers + number_fields[i].offset,
               sizeof number);
        if (number.known) {
            json_writer_number(out, number_fields[i].name, number.value);
        }
    }
    if (conditions->numbers.neurological_lesion != ANSWER_UNKNOWN) {
        json_writer_flag(out, "neurological_lesion",
                         conditions->numbers.neurological_lesion == ANSWER_YES);
    }
    if (conditions->numbers.emg_form != EMG_FORM_UNKNOWN) {
        json_writer_string(out, "emg_form", emg_form_name(conditions->numbers.emg_form));
    }
    write_text(out, "reference_level", conditions->reference_level);
    write_text(out, "zeroed", conditions->zeroed);
    text_append_char(out, '}');
}

bool conditions_json_read(struct arena *arena, const char *json,
                          struct document_conditions *ret_conditions, struct error *reterr)
{
    struct fault_list faults;
    fault_list_init(&faults, arena);
    const json_t *value = json_reader_parse(arena, json, strlen(json), &faults);
    struct document_conditions conditions;
    document_conditions_read(value, "", arena, &faults, &conditions);
    if (faults.count > 0) {
        return error_set(reterr, ERROR_INTERNAL, "stored conditions: %s: %s",
                         faults.items[0].pointer, faults.items[0].detail);
    }
    *ret_conditions = conditions;
    return true;
}

void conditions_json_read_query(struct arena *arena, const char *json, struct fault_list *faults,
                                struct document_conditions *ret_conditions)
{
    struct fault_list syntax;
    fault_list_init(&syntax, arena);
    const json_t *value = json_reader_parse(arena, json, strlen(json), &syntax);
    if (value == NULL) {
        fault_add(faults, "?conditions", "Must be a JSON object. %s", syntax.items[0].detail);
    }
    document_conditions_read(value, "?conditions", arena, faults, ret_conditions);
}
