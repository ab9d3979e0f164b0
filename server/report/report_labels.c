#include "report/report_labels.h"

#include "formats/display.h"
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

struct class_name {
    const char *code;
    const char *words;
    bool is_main;
};

static const struct class_name class_names[] = {
    {"ics_obstruction", "Outlet obstruction", true},
    {"female_obstruction", "Outlet obstruction (women)", true},
    {"contractility", "Detrusor contractility", true},
    {"pip1_contractility", "Detrusor contractility (women, PIP1)", true},
    {"underactivity", "Detrusor underactivity", true},
    {"detrusor_leak_point", "Detrusor leak point pressure", true},
    {"stress_leak_point", "Abdominal leak point pressure", true},
    {"urethral_closure_pressure", "Urethral closure pressure", true},
    {"adequate_flow", "Flow for age", true},
    {"london_reflex", "London classification, reflex", true},
    {"london_tone_and_contractility", "London classification, tone and contractility", true},
    {"london_coordination", "London classification, coordination", true},
    {"london_sensation", "London classification, sensation", true},
    {"london_tone", "London classification, tone", false},
    {"london_contractility", "London classification, contractility", false},
    {"push_pattern", "Pattern of pushing", false},
    {"blaivas_groutz", "Blaivas-Groutz nomogram", false},
    {"chassagne", "Chassagne criterion", false},
    {"dybowski", "Dybowski criterion", false},
    {"farrar", "Farrar criterion", false},
    {"composite", "Composite nomogram", false},
    {"linear_purr_group", "Linear PURR, group", false},
    {"ura_obstruction", "Outlet obstruction (URA)", false},
    {"emg_voiding_pattern", "EMG during voiding", false},
    {"voiding_efficiency", "Voiding efficiency", false},
    {"watts_factor", "Watts factor", false},
};

static const struct class_name *find_class(const char *code)
{
    for (size_t i = 0; i < sizeof class_names / sizeof class_names[0]; i++) {
        if (strcmp(class_names[i].code, code) == 0) {
            return &class_names[i];
        }
    }
    return NULL;
}

void report_class_label(const char *code, struct text *out)
{
    const struct class_name *name = find_class(code);
    if (name != NULL) {
        text_append(out, name->words);
    } else {
        display_words(out, code);
    }
}

bool report_class_is_main(const char *code)
{
    const struct class_name *name = find_class(code);
    return name != NULL && name->is_main;
}
