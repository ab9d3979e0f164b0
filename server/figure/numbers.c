#include "figure/numbers.h"

#include "analysis/catalogue.h"
#include "formats/display.h"

#include <math.h>
#include <string.h>

static const json_t *section_of(const struct figure_source *source, const char *section)
{
    return json_object_get(json_object_get(source->analysis, "sections"), section);
}

/* An entry of a repeated section, or the section itself. */
static const json_t *entry_of(const struct figure_source *source, const char *section, size_t index)
{
    const json_t *found = section_of(source, section);
    return json_is_array(found) ? json_array_get(found, index) : found;
}

static const struct catalogue_row *find_row(const char *section, const char *code)
{
    const struct catalogue_section *found = catalogue_find_section(section);
    for (size_t i = 0; found != NULL && i < found->row_count; i++) {
        if (strcmp(found->rows[i].code, code) == 0) {
            return &found->rows[i];
        }
    }
    return NULL;
}

double number_member(const json_t *object, const char *name)
{
    const json_t *member = json_object_get(object, name);
    return json_is_number(member) ? json_number_value(member) : (double)NAN;
}

struct number number_of_entry(const struct figure_source *source, const char *section, size_t index,
                              const char *code)
{
    const json_t *measure = json_object_get(entry_of(source, section, index), code);
    const double value = number_member(measure, "value");
    return (struct number){.known = isfinite(value),
                           .value = value,
                           .at_s = number_member(measure, "at_s"),
                           .row = find_row(section, code)};
}

struct number number_of(const struct figure_source *source, const char *section, const char *code)
{
    return number_of_entry(source, section, 0, code);
}

size_t number_entries(const struct figure_source *source, const char *section)
{
    return json_array_size(section_of(source, section));
}

const char *number_word_of_entry(const struct figure_source *source, const char *section,
                                 size_t index, const char *code)
{
    const json_t *measure = json_object_get(entry_of(source, section, index), code);
    const char *word = json_string_value(json_object_get(measure, "value"));
    return word == NULL ? "" : word;
}

const json_t *number_list(const struct figure_source *source, const char *section, size_t index,
                          const char *code)
{
    const json_t *list = json_object_get(entry_of(source, section, index), code);
    return json_is_array(list) ? list : NULL;
}

const json_t *number_classification(const struct figure_source *source, const char *code)
{
    const json_t *all = json_object_get(source->analysis, "classifications");
    for (size_t i = 0; i < json_array_size(all); i++) {
        const json_t *item = json_array_get(all, i);
        const char *found = json_string_value(json_object_get(item, "code"));
        if (found != NULL && strcmp(found, code) == 0) {
            return item;
        }
    }
    return NULL;
}

struct analysis_choices number_choices(const struct figure_source *source)
{
    const json_t *stated = json_object_get(source->analysis, "choices");
    struct analysis_choices choices;
    choices_standard(&choices);
    for (size_t i = 0; i < choices_count(); i++) {
        const struct choice_row *row = choices_row(i);
        const double value = number_member(stated, row->code);
        if (isfinite(value)) {
            choices_set(&choices, row, (struct optional_number){.known = true, .value = value});
        }
    }
    return choices;
}

bool number_voiding(const struct figure_source *source, struct figure_span *ret_span)
{
    static const char *const SECTIONS[] = {"voiding", "uroflow"};
    for (size_t i = 0; i < sizeof SECTIONS / sizeof SECTIONS[0]; i++) {
        const struct number voiding = number_of(source, SECTIONS[i], "voiding_time");
        if (voiding.known && isfinite(voiding.at_s) && voiding.value > 0.0) {
            *ret_span = (struct figure_span){voiding.at_s, voiding.at_s + voiding.value};
            return true;
        }
    }
    return false;
}

double number_flow_delay_s(const struct figure_source *source)
{
    const struct number delay = number_of(source, "voiding", "flow_delay_s");
    return delay.known ? delay.value : 0.0;
}

void number_append(struct text *out, const struct number *number)
{
    if (number->row == NULL) {
        text_append_number(out, number->value);
        return;
    }
    const char *unit = display_unit(number->row->unit);
    display_number(out, number->row, number->value);
    text_append(out, unit[0] == '\0' ? "" : "\u00a0");
    text_append(out, unit);
}
