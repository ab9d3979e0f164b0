#include "formats/choices_json.h"

#include "formats/json_writer.h"

#include <string.h>

void choices_json_write(const struct analysis_choices *chosen, struct text *out)
{
    text_append_char(out, '{');
    for (size_t i = 0; i < choices_count(); i++) {
        const struct optional_number number = choices_get(chosen, choices_row(i));
        if (number.known) {
            json_writer_number(out, choices_row(i)->code, number.value);
        }
    }
    text_append_char(out, '}');
}

bool choices_json_read(struct arena *arena, const char *json, struct analysis_choices *ret_chosen,
                       struct error *reterr)
{
    struct fault_list faults;
    fault_list_init(&faults, arena);
    const json_t *object = json_reader_parse(arena, json, strlen(json), &faults);
    if (!json_is_object(object)) {
        return error_set(reterr, ERROR_INTERNAL, "stored choices that cannot be read back");
    }
    *ret_chosen = (struct analysis_choices){0};
    for (size_t i = 0; i < choices_count(); i++) {
        const struct choice_row *row = choices_row(i);
        const json_t *value = json_object_get(object, row->code);
        const double number = json_number_value(value);
        if (json_is_number(value) && number >= row->least && number <= row->most) {
            choices_set(ret_chosen, row, (struct optional_number){true, number});
        }
    }
    return true;
}

static void check_pair(struct json_reader *reader, const struct choice_pair *pair,
                       const struct analysis_choices *in_use)
{
    const struct optional_number lower = choices_get(in_use, choices_find(pair->lower));
    const struct optional_number upper = choices_get(in_use, choices_find(pair->upper));
    if (lower.known && upper.known && lower.value > upper.value) {
        fault_add(reader->faults, json_reader_pointer(reader, pair->lower),
                  "Must not be above %s, which is %.15g.", pair->upper, upper.value);
    }
}

void choices_json_take(struct json_reader *reader, struct analysis_choices *ret_chosen)
{
    *ret_chosen = (struct analysis_choices){0};
    const json_t *value = json_reader_take(reader, "choices", JSON_REQUIRED);
    if (value == NULL) {
        return;
    }
    struct json_reader choices;
    json_reader_open(&choices, value, json_reader_pointer(reader, "choices"), reader->faults);
    for (size_t i = 0; i < choices_count(); i++) {
        const struct choice_row *row = choices_row(i);
        choices_set(ret_chosen, row,
                    json_reader_number(&choices, row->code, JSON_OPTIONAL, row->least, row->most));
    }
    struct analysis_choices in_use;
    choices_in_use(ret_chosen, &in_use);
    for (size_t i = 0; i < choices_pair_count(); i++) {
        check_pair(&choices, choices_pair(i), &in_use);
    }
    json_reader_close(&choices);
}

static void write_optional(struct text *out, const char *name, struct optional_number number)
{
    if (number.known) {
        json_writer_number(out, name, number.value);
    } else {
        json_writer_name(out, name);
        text_append(out, "null");
    }
}

static void describe(const struct choice_row *row, struct optional_number chosen, struct text *out)
{
    const struct optional_number standard = {row->has_default, row->standard};
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "code", row->code);
    json_writer_string(out, "label", row->label);
    json_writer_string(out, "unit", row->unit);
    json_writer_string(out, "source", row->source);
    json_writer_number(out, "least", row->least);
    json_writer_number(out, "most", row->most);
    write_optional(out, "standard", standard);
    write_optional(out, "value", chosen.known ? chosen : standard);
    json_writer_flag(out, "chosen", chosen.known);
    text_append_char(out, '}');
}

void choices_json_describe(const struct analysis_choices *chosen, struct text *out)
{
    text_append_char(out, '[');
    for (size_t i = 0; i < choices_count(); i++) {
        describe(choices_row(i), choices_get(chosen, choices_row(i)), out);
    }
    text_append_char(out, ']');
}
