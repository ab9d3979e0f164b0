/* What a letter tells: from the documents that it is taken from, and as the JSON that a template is
 * filled in with. */
#include "analysis/catalogue.h"
#include "formats/display.h"
#include "formats/json_reader.h"
#include "letter/letter.h"
#include "letter/words.h"

#include <jansson.h>
#include <string.h>

/* ---- from an interpretation ---- */

static const char *words_or_none(const char *words)
{
    return words == NULL ? "" : words;
}

void letter_take_interpretation(struct arena *arena, const struct interpretation *interpretation,
                                struct letter_content *content)
{
    const char **findings = arena_array(arena, interpretation->finding_count, sizeof *findings);
    const char **diagnoses = arena_array(arena, interpretation->diagnosis_count, sizeof *diagnoses);
    for (size_t i = 0; i < interpretation->finding_count; i++) {
        findings[i] = words_or_none(interpretation->findings[i].text);
    }
    for (size_t i = 0; i < interpretation->diagnosis_count; i++) {
        diagnoses[i] = words_or_none(interpretation->diagnoses[i].text);
    }
    content->findings = (struct letter_list){interpretation->finding_count, findings};
    content->diagnoses = (struct letter_list){interpretation->diagnosis_count, diagnoses};
    content->plan = (struct letter_list){interpretation->plan_count, interpretation->plan};
    content->conclusion = words_or_none(interpretation->conclusion);
}

/* ---- from analyses ---- */

enum { ANALYSES_MAX = 64, KINDS_MAX = 8 };

static const struct catalogue_row *find_row(const struct letter_key_number *key)
{
    const struct catalogue_section *section = catalogue_find_section(key->section);
    for (size_t i = 0; section != NULL && i < section->row_count; i++) {
        if (strcmp(section->rows[i].code, key->code) == 0) {
            return &section->rows[i];
        }
    }
    return NULL;
}

static void take_number(struct arena *arena, const struct letter_words *words, size_t key,
                        const json_t *measure, struct letter_number *ret_number)
{
    const struct letter_key_number *wanted = &LETTER_KEY_NUMBERS[key];
    const struct catalogue_row *row = find_row(wanted);
    const json_t *value = json_object_get(measure, "value");
    if (row == NULL || !json_is_number(value)) {
        return;
    }
    struct text rounded;
    text_init(&rounded, arena, 64);
    display_number(&rounded, row, json_number_value(value));
    char *point = strchr(rounded.data, '.');
    if (point != NULL) {
        *point = words->decimal_sign;
    }
    const char *label = strcmp(words->language, "de") == 0 ? wanted->german : wanted->english;
    if (json_array_size(json_object_get(measure, "quality")) > 0) {
        label = arena_printf(arena, "%s (%s)", label, words->doubtful);
    }
    *ret_number = (struct letter_number){label, rounded.data, display_unit(row->unit)};
}

static void take_kind(struct arena *arena, const json_t *document, const char **kinds,
                      size_t *count)
{
    const char *type = json_string_value(json_object_get(document, "type"));
    bool is_new = type != NULL && *count < KINDS_MAX;
    for (size_t i = 0; i < *count && is_new; i++) {
        is_new = strcmp(kinds[i], type) != 0;
    }
    if (is_new) {
        kinds[(*count)++] = arena_strdup(arena, type);
    }
}

void letter_take_analyses(struct arena *arena, const char *const *analyses_json, size_t count,
                          struct letter_content *content)
{
    const struct letter_words *words = letter_words_find(content->language);
    struct letter_number *numbers = arena_array(arena, LETTER_KEY_NUMBER_COUNT, sizeof *numbers);
    const char **kinds = arena_array(arena, KINDS_MAX, sizeof *kinds);
    size_t kind_count = 0;
    for (size_t i = 0; i < count; i++) {
        json_t *document = json_reader_load_own(analyses_json[i]);
        const json_t *sections = json_object_get(document, "sections");
        take_kind(arena, document, kinds, &kind_count);
        for (size_t key = 0; key < LETTER_KEY_NUMBER_COUNT && words != NULL; key++) {
            const json_t *section = json_object_get(sections, LETTER_KEY_NUMBERS[key].section);
            take_number(arena, words, key, json_object_get(section, LETTER_KEY_NUMBERS[key].code),
                        &numbers[key]);
        }
        json_decref(document);
    }
    size_t number_count = 0;
    for (size_t key = 0; key < LETTER_KEY_NUMBER_COUNT; key++) {
        if (numbers[key].label != NULL) {
            numbers[number_count++] = numbers[key];
        }
    }
    content->study_kinds = (struct letter_list){kind_count, kinds};
    content->number_count = number_count;
    content->numbers = numbers;
}

/* ---- as JSON ---- */

/* Names and other short fields are one line wherever they stand. */
static const char *one_line(struct arena *arena, const char *words)
{
    char *copy = arena_strdup(arena, words == NULL ? "" : words);
    for (char *at = copy; *at != '\0'; at++) {
        *at = (unsigned char)*at < ' ' ? ' ' : *at;
    }
    return copy;
}

static void write_string(struct text *out, const char *name, const char *words)
{
    text_printf(out, "\"%s\":", name);
    text_append_json_string(out, words == NULL ? "" : words);
    text_append_char(out, ',');
}

static void write_line(struct text *out, const char *name, const char *words)
{
    write_string(out, name, one_line(out->arena, words));
}

static void write_flag(struct text *out, const char *name, bool is_so)
{
    text_printf(out, "\"%s\":%s,", name, is_so ? "true" : "false");
}

static void write_list(struct text *out, const char *name, const struct letter_list *list)
{
    text_printf(out, "\"%s\":[", name);
    for (size_t i = 0; i < list->count; i++) {
        text_append(out, i == 0 ? "{\"text\":" : ",{\"text\":");
        text_append_json_string(out, list->items[i]);
        text_append_char(out, '}');
    }
    text_append(out, "],");
}

/* The same of short fields. */
static void write_lines(struct text *out, const char *name, const struct letter_list *list)
{
    const char **lines = arena_array(out->arena, list->count, sizeof *lines);
    for (size_t i = 0; i < list->count; i++) {
        lines[i] = one_line(out->arena, list->items[i]);
    }
    write_list(out, name, &(struct letter_list){list->count, lines});
}

/* Ends an object whose members all end in a comma. */
static void end_object(struct text *out, const char *after)
{
    if (out->length > 0 && !out->overflowed) {
        out->data[out->length - 1] = '}';
        text_append(out, after);
    }
}

static const char *sex_words(const struct letter_words *words, const char *sex)
{
    if (strcmp(sex, "female") == 0) {
        return words->female;
    }
    if (strcmp(sex, "male") == 0) {
        return words->male;
    }
    return strcmp(sex, "other") == 0 ? words->other_sex : "";
}

static void write_clinic(const struct letter_content *content, struct text *out)
{
    text_append(out, "\"clinic\":{");
    write_line(out, "name", content->clinic_name);
    write_line(out, "telephone", content->clinic_telephone);
    write_lines(out, "address", &content->clinic_address);
    end_object(out, ",");
}

static void write_patient(const struct letter_content *content, const struct letter_words *words,
                          struct text *out)
{
    const char *given = one_line(out->arena, content->given_name);
    const char *family = one_line(out->arena, content->family_name);
    const char *sex = content->sex == NULL ? "" : content->sex;
    const char *born = content->birth_date == NULL ? "" : content->birth_date;
    text_append(out, "\"patient\":{");
    write_line(out, "name",
               arena_printf(out->arena, "%s%s%s", given, given[0] == '\0' ? "" : " ", family));
    write_line(out, "family_name", family);
    write_line(out, "given_name", given);
    write_line(out, "birth_date", letter_words_date(out->arena, words, born));
    write_line(out, "mrn", content->mrn);
    write_line(out, "sex", sex_words(words, sex));
    write_flag(out, "is_female", strcmp(sex, "female") == 0);
    write_flag(out, "is_male", strcmp(sex, "male") == 0);
    end_object(out, ",");
}

static void write_study(const struct letter_content *content, const struct letter_words *words,
                        struct text *out)
{
    const char **kinds = arena_array(out->arena, content->study_kinds.count, sizeof *kinds);
    for (size_t i = 0; i < content->study_kinds.count; i++) {
        kinds[i] = letter_words_kind(words, content->study_kinds.items[i]);
    }
    text_append(out, "\"study\":{");
    write_line(out, "date", letter_words_day(out->arena, words, content->study_started_at_us));
    write_line(out, "id", content->study_id);
    write_lines(out, "kinds", &(struct letter_list){content->study_kinds.count, kinds});
    write_flag(out, "is_signed", letter_is_signed(content));
    write_flag(out, "is_amended",
               content->study_status != NULL && strcmp(content->study_status, "amended") == 0);
    end_object(out, ",");
}

static void write_people(const struct letter_content *content, const struct letter_words *words,
                         struct text *out)
{
    text_append(out, "\"addressee\":{");
    write_line(out, "name", content->addressee_name);
    write_line(out, "salutation", content->addressee_salutation);
    write_lines(out, "address", &content->addressee_address);
    end_object(out, ",");
    text_append(out, "\"signer\":{");
    write_line(out, "name", content->signer_name);
    write_line(out, "date", letter_words_day(out->arena, words, content->signed_at_us));
    end_object(out, ",");
}

static void write_numbers(const struct letter_content *content, struct text *out)
{
    text_append(out, "\"numbers\":[");
    for (size_t i = 0; i < content->number_count; i++) {
        text_append(out, i == 0 ? "{" : ",{");
        write_line(out, "label", content->numbers[i].label);
        write_line(out, "value", content->numbers[i].value);
        write_line(out, "unit", content->numbers[i].unit);
        end_object(out, "");
    }
    text_append(out, "],");
    write_flag(out, "has_numbers", content->number_count > 0);
}

void letter_content_write(const struct letter_content *content, struct text *out)
{
    const struct letter_words *words = letter_words_find(content->language);
    text_append_char(out, '{');
    write_clinic(content, out);
    write_patient(content, words, out);
    write_study(content, words, out);
    write_people(content, words, out);
    write_numbers(content, out);
    write_string(out, "question", content->question);
    write_list(out, "findings", &content->findings);
    write_flag(out, "has_findings", content->findings.count > 0);
    write_list(out, "diagnoses", &content->diagnoses);
    write_flag(out, "has_diagnoses", content->diagnoses.count > 0);
    write_string(out, "conclusion", content->conclusion);
    write_list(out, "plan", &content->plan);
    write_flag(out, "has_plan", content->plan.count > 0);
    write_string(out, "remarks", content->remarks);
    write_lines(out, "copies", &content->copies);
    write_flag(out, "has_copies", content->copies.count > 0);
    end_object(out, "");
}
