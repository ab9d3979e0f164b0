#include "report/report_labels.h"

#include "report/report_text.h"

#include <string.h>

const char *report_string(const json_t *object, const char *name)
{
    const char *value = json_string_value(json_object_get(object, name));
    return value == NULL ? "" : value;
}

static bool is_wanted(const struct catalogue_section *section, const char *wanted, size_t length)
{
    return wanted == NULL ||
           (strlen(section->code) == length && memcmp(section->code, wanted, length) == 0);
}

const struct catalogue_row *report_find_row(const char *section, size_t section_length,
                                            const char *code)
{
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *part = catalogue_section(i);
        for (size_t j = 0; is_wanted(part, section, section_length) && j < part->row_count; j++) {
            if (strcmp(part->rows[j].code, code) == 0) {
                return &part->rows[j];
            }
        }
    }
    return NULL;
}

static const struct catalogue_list *find_list(const char *section, size_t section_length,
                                              const char *code)
{
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *part = catalogue_section(i);
        for (size_t j = 0; is_wanted(part, section, section_length) && j < part->list_count; j++) {
            if (strcmp(part->lists[j].code, code) == 0) {
                return &part->lists[j];
            }
        }
    }
    return NULL;
}

void report_label(const char *section, size_t section_length, const char *code, struct text *out)
{
    const struct catalogue_row *row = report_find_row(section, section_length, code);
    const struct catalogue_list *list = find_list(section, section_length, code);
    if (row != NULL) {
        text_append(out, row->label);
    } else if (list != NULL) {
        text_append(out, list->label);
    } else {
        report_code_words(out, code);
    }
}

void report_section_label(const char *section, struct text *out)
{
    const char *label = catalogue_section_label(section);
    if (label != NULL) {
        text_append(out, label);
    } else {
        report_code_words(out, section);
    }
}

void report_doubts(const json_t *codes, const char *separator, struct text *out)
{
    for (size_t i = 0; i < json_array_size(codes); i++) {
        const char *code = json_string_value(json_array_get(codes, i));
        text_append(out, i == 0 ? separator : ", ");
        text_append(out, i == 0 ? "rests on a stretch with: " : "");
        report_code_words(out, code == NULL ? "" : code);
    }
}
