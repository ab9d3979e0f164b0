/* How what the report shows was computed: what is not as the ICS and its sister societies define
 * it, the rules of the classes, sources and software, once for all recordings. */
#include "report/report_labels.h"
#include "report/report_parts.h"
#include "report/report_text.h"

#include <string.h>

enum { SOURCES_MAX = 200 };

/* Sources in the order of their first mention. */
struct sources {
    size_t count;
    const char *names[SOURCES_MAX];
};

static size_t source_number(struct sources *sources, const char *name)
{
    for (size_t i = 0; i < sources->count; i++) {
        if (strcmp(sources->names[i], name) == 0) {
            return i + 1;
        }
    }
    if (sources->count < SOURCES_MAX) {
        sources->names[sources->count++] = name;
    }
    return sources->count;
}

/* The first thing of this code that a recording has in a section: a measure or list. */
static const json_t *find_in_section(const json_t *section, const char *code)
{
    if (json_is_object(section)) {
        return json_object_get(section, code);
    }
    for (size_t i = 0; i < json_array_size(section); i++) {
        const json_t *found = json_object_get(json_array_get(section, i), code);
        if (found != NULL) {
            return found;
        }
    }
    return NULL;
}

static const json_t *find_shown(const struct report_maker *maker, const char *section,
                                const char *code)
{
    for (size_t i = 0; i < maker->report->recording_count; i++) {
        const json_t *sections = json_object_get(maker->analyses[i], "sections");
        const json_t *found = find_in_section(json_object_get(sections, section), code);
        if (found != NULL) {
            return found;
        }
    }
    return NULL;
}

/* Definitions of one section, in the order of the catalogue; the same one of several values that
 * follow one another is said once. */
struct definitions {
    struct sources *sources;
    struct text *out;
    const char *words; /* of the last one; its source is still to be said */
    const char *source;
};

static void end_definition(struct definitions *definitions)
{
    if (definitions->words != NULL) {
        const char *words = definitions->words;
        text_append(definitions->out, ": ");
        text_append(definitions->out, words);
        text_append(definitions->out, words[strlen(words) - 1] == '.' ? "" : ".");
        text_printf(definitions->out, " [%zu]",
                    source_number(definitions->sources, definitions->source));
    }
    definitions->words = NULL;
}

static void add_definition(struct definitions *definitions, const char *label, const char *words,
                           const char *source)
{
    bool is_same = definitions->words != NULL && strcmp(definitions->words, words) == 0 &&
                   strcmp(definitions->source, source) == 0;
    if (is_same) {
        text_append(definitions->out, "; ");
    } else {
        end_definition(definitions);
        text_append(definitions->out, definitions->out->length > 0 ? " " : "");
    }
    text_append(definitions->out, label);
    definitions->words = words;
    definitions->source = source;
}

/* The flow of a pressure-flow study is defined as a free flow is, and said once. */
static bool is_said_already(const struct report_maker *maker, const char *section, const char *code)
{
    return strcmp(section, "voiding") == 0 &&
           report_find_row("uroflow", strlen("uroflow"), code) != NULL &&
           find_shown(maker, "uroflow", code) != NULL;
}

/* A reader knows these, or can look them up: what needs telling is what we chose ourselves. */
static bool is_standard(const char *source)
{
    static const char *const societies[] = {"(ICS)", "(ICCS)", "(IAPWG)"};
    for (size_t i = 0; i < sizeof societies / sizeof societies[0]; i++) {
        if (strstr(source, societies[i]) != NULL) {
            return true;
        }
    }
    return false;
}

static void add_section(const struct report_maker *maker, const struct catalogue_section *section,
                        struct sources *sources, struct sources *standard)
{
    struct text words = report_words(maker);
    struct definitions definitions = {.sources = sources, .out = &words};
    for (size_t i = 0; i < section->row_count; i++) {
        const struct catalogue_row *row = &section->rows[i];
        const json_t *found = find_shown(maker, section->code, row->code);
        if (found != NULL && is_standard(row->source)) {
            (void)source_number(standard, row->source);
        } else if (found != NULL && !is_said_already(maker, section->code, row->code)) {
            const char *method = report_string(found, "method");
            add_definition(&definitions, row->label, method[0] == '\0' ? row->definition : method,
                           row->source);
        }
    }
    for (size_t i = 0; i < section->list_count; i++) {
        const struct catalogue_list *list = &section->lists[i];
        const json_t *found = find_shown(maker, section->code, list->code);
        if (found != NULL && is_standard(list->source)) {
            (void)source_number(standard, list->source);
        } else if (found != NULL) {
            add_definition(&definitions, list->label, list->definition, list->source);
        }
    }
    end_definition(&definitions);
    if (words.length > 0) {
        const struct document_span spans[] = {
            {.words = arena_printf(maker->arena, "%s. ", section->label), .strong = true},
            {.words = words.data}};
        document_paragraph(maker->document, DOCUMENT_NOTE, spans, 2);
    }
}

/* The same class of several recordings is said once. */
static bool is_first_of_class(const struct report_maker *maker, size_t recording, const char *code)
{
    for (size_t i = 0; i < recording; i++) {
        const json_t *classes = json_object_get(maker->analyses[i], "classifications");
        for (size_t j = 0; j < json_array_size(classes); j++) {
            if (strcmp(report_string(json_array_get(classes, j), "code"), code) == 0) {
                return false;
            }
        }
    }
    return true;
}

/* The rules of the classes; each names its own source. */
static void add_rules(const struct report_maker *maker)
{
    struct text words = report_words(maker);
    for (size_t i = 0; i < maker->report->recording_count; i++) {
        const json_t *classes = json_object_get(maker->analyses[i], "classifications");
        for (size_t j = 0; j < json_array_size(classes); j++) {
            const char *code = report_string(json_array_get(classes, j), "code");
            const char *method = report_string(json_array_get(classes, j), "method");
            if (method[0] != '\0' && is_first_of_class(maker, i, code)) {
                text_append(&words, words.length > 0 ? " " : "");
                report_class_label(code, &words);
                text_append(&words, ": ");
                text_append(&words, method);
                text_append(&words, method[strlen(method) - 1] == '.' ? "" : ".");
            }
        }
    }
    if (words.length > 0) {
        const struct document_span spans[] = {{.words = "Classes. ", .strong = true},
                                              {.words = words.data}};
        document_paragraph(maker->document, DOCUMENT_NOTE, spans, 2);
    }
}

static void add_sources(const struct report_maker *maker, const struct sources *sources,
                        const struct sources *standard)
{
    struct text words = report_words(maker);
    for (size_t i = 0; i < sources->count; i++) {
        text_printf(&words, "%s[%zu] %s", i == 0 ? "" : "; ", i + 1, sources->names[i]);
    }
    for (size_t i = 0; i < standard->count; i++) {
        text_printf(&words, "%s%s",
                    i > 0                ? "; "
                    : sources->count > 0 ? ". All other values: "
                                         : "",
                    standard->names[i]);
    }
    if (words.length > 0) {
        text_append_char(&words, '.');
        const struct document_span spans[] = {{.words = "Sources. ", .strong = true},
                                              {.words = words.data}};
        document_paragraph(maker->document, DOCUMENT_NOTE, spans, 2);
    }
}

static void append_software(const struct report_maker *maker, size_t index, struct text *out)
{
    const json_t *analysis = maker->analyses[index];
    const json_t *software = json_object_get(analysis, "software");
    const char *version = report_string(software, "analysis_version");
    text_append(out, index == 0 ? "" : "; ");
    text_printf(out, "%s: event list revision %d", report_recording_name(maker, index),
                (int)json_integer_value(json_object_get(analysis, "revision")));
    text_printf(out, ", %s %s", report_string(software, "name"),
                report_string(software, "version"));
    text_append(out, version[0] == '\0' ? "" : ", analysis ");
    text_append(out, version);
}

static void add_software(const struct report_maker *maker)
{
    struct text words = report_words(maker);
    for (size_t i = 0; i < maker->report->recording_count; i++) {
        if (maker->analyses[i] != NULL) {
            append_software(maker, i, &words);
        }
    }
    text_append_char(&words, '.');
    const struct document_span spans[] = {{.words = "Software. ", .strong = true},
                                          {.words = words.data}};
    document_paragraph(maker->document, DOCUMENT_NOTE, spans, 2);
}

void report_methods(const struct report_maker *maker)
{
    struct sources sources = {0};
    struct sources standard = {0};
    if (maker->report->recording_count == 0) {
        return;
    }
    document_heading(maker->document, 2, "Methods");
    document_words(maker->document, DOCUMENT_NOTE,
                   "Numbers are rounded for print as the ICS asks; indices and classes use "
                   "unrounded ones. Times of day are UTC; others are counted from the start of the "
                   "recording, in min:s. The definition of every value is in the analysis "
                   "document.");
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        add_section(maker, catalogue_section(i), &sources, &standard);
    }
    add_rules(maker);
    add_sources(maker, &sources, &standard);
    add_software(maker);
}
