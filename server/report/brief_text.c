#include "report/brief_text.h"

#include "base/clock.h"

#include <string.h>

void brief_person(struct text *out, const char *words)
{
    text_append(out, "<bdi>");
    text_append_html(out, words == NULL ? "" : words);
    text_append(out, "</bdi>");
}

void brief_code_words(struct text *out, const char *code)
{
    char *words = arena_strdup(out->arena, code);
    for (char *at = words; *at != '\0'; at++) {
        *at = *at == '_' ? ' ' : *at;
    }
    text_append_html(out, words);
}

void brief_time(struct text *out, int64_t time_us)
{
    enum { DATE_LENGTH = 10, MINUTE_AT = 11, MINUTE_LENGTH = 5 };

    char stamp[CLOCK_TEXT_SIZE];
    clock_format(time_us, stamp);
    text_printf(out, "<time datetime=\"%s\">%.*s %.*s UTC</time>", stamp, DATE_LENGTH, stamp,
                MINUTE_LENGTH, stamp + MINUTE_AT);
}

void brief_fact(struct text *out, const char *term, const char *words)
{
    if (words == NULL || words[0] == '\0') {
        return;
    }
    text_printf(out, "<div><dt>%s</dt><dd>", term);
    brief_person(out, words);
    text_append(out, "</dd></div>\n");
}

const char *brief_member(const json_t *object, const char *name)
{
    const char *value = json_string_value(json_object_get(object, name));
    return value == NULL ? "" : value;
}

static const struct catalogue_section *find_section(const char *code)
{
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        if (strcmp(catalogue_section(i)->code, code) == 0) {
            return catalogue_section(i);
        }
    }
    return NULL;
}

const struct catalogue_row *brief_find_row(const char *section, const char *code)
{
    const struct catalogue_section *part = find_section(section);
    for (size_t i = 0; part != NULL && i < part->row_count; i++) {
        if (strcmp(part->rows[i].code, code) == 0) {
            return &part->rows[i];
        }
    }
    return NULL;
}

static const struct catalogue_list *find_list(const char *section, const char *code)
{
    const struct catalogue_section *part = find_section(section);
    for (size_t i = 0; part != NULL && i < part->list_count; i++) {
        if (strcmp(part->lists[i].code, code) == 0) {
            return &part->lists[i];
        }
    }
    return NULL;
}

void brief_label(const char *section, const char *code, struct text *out)
{
    const struct catalogue_row *row = brief_find_row(section, code);
    const struct catalogue_list *list = find_list(section, code);
    if (row != NULL) {
        text_append_html(out, row->label);
    } else if (list != NULL) {
        text_append_html(out, list->label);
    } else {
        brief_code_words(out, code);
    }
}

void brief_doubts(const json_t *codes, const char *separator, struct text *out)
{
    for (size_t i = 0; i < json_array_size(codes); i++) {
        const char *code = json_string_value(json_array_get(codes, i));
        text_append(out, i == 0 ? separator : ", ");
        text_append(out, i == 0 ? "<strong class=\"doubt\">doubtful: " : "");
        brief_code_words(out, code == NULL ? "" : code);
    }
    text_append(out, json_array_size(codes) > 0 ? "</strong>" : "");
}

const char *brief_type_label(enum recording_type type)
{
    static const char *const labels[RECORDING_TYPE_COUNT] = {
        [RECORDING_UROFLOWMETRY] = "Free flow",
        [RECORDING_CYSTOMETRY] = "Filling cystometry",
        [RECORDING_PRESSURE_FLOW] = "Pressure-flow study",
        [RECORDING_URETHRAL_PRESSURE_PROFILE] = "Urethral pressure profile",
        [RECORDING_ANORECTAL_MANOMETRY] = "Anorectal manometry",
        [RECORDING_PELVIC_FLOOR_TRAINING] = "Pelvic floor training",
    };
    return (size_t)type < RECORDING_TYPE_COUNT ? labels[type] : "Recording";
}
