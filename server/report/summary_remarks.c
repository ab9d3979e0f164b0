#include "report/summary_remarks.h"

#include "analysis/choices.h"
#include "formats/display.h"
#include "formats/json_writer.h"
#include "report/report_text.h"
#include "report/summary_labels.h"

#include <string.h>

static void write_not_computed(const json_t *items, struct text *out)
{
    if (json_array_size(items) == 0) {
        return;
    }
    text_append(out, "<h3>Not computed</h3>\n<ul class=\"not-computed\">\n");
    for (size_t i = 0; i < json_array_size(items); i++) {
        const json_t *item = json_array_get(items, i);
        const char *section = summary_string(item, "section");
        text_append(out, "<li>");
        summary_section_label(section, out);
        const json_t *index = json_object_get(item, "index");
        if (json_is_integer(index)) {
            text_printf(out, " %lld", (long long)json_integer_value(index) + 1);
        }
        text_append(out, ", ");
        summary_label(section, strlen(section), summary_string(item, "code"), out);
        text_append(out, ": ");
        text_append_html(out, summary_string(item, "reason"));
        text_append(out, "</li>\n");
    }
    text_append(out, "</ul>\n");
}

static const char *severity_label(const char *severity)
{
    if (strcmp(severity, "error") == 0) {
        return "Error";
    }
    return strcmp(severity, "warning") == 0 ? "Warning" : "Note";
}

static void write_quality(const json_t *items, struct text *out)
{
    text_append(out, "<h3>Signal quality</h3>\n");
    if (json_array_size(items) == 0) {
        text_append(out, "<p>Nothing was found. Check the traces all the same.</p>\n");
        return;
    }
    text_append(out, "<ul class=\"quality\">\n");
    for (size_t i = 0; i < json_array_size(items); i++) {
        const json_t *item = json_array_get(items, i);
        const char *severity = summary_string(item, "severity");
        text_append(out, "<li class=\"");
        text_append_html(out, severity);
        text_printf(out, "\"><strong>%s</strong>", severity_label(severity));
        const char *signal = summary_string(item, "signal");
        if (signal[0] != '\0') {
            text_append(out, ", ");
            text_append_html(out, signal);
        }
        const json_t *from_s = json_object_get(item, "from_s");
        const json_t *to_s = json_object_get(item, "to_s");
        if (json_is_number(from_s) && json_is_number(to_s)) {
            text_printf(out, ", %.1f s to %.1f s", json_number_value(from_s),
                        json_number_value(to_s));
        }
        text_append(out, ": ");
        text_append_html(out, summary_string(item, "text"));
        text_append(out, "</li>\n");
    }
    text_append(out, "</ul>\n");
}

/* Several sections have a value of the same code: the document's own one is meant. NULL: none. */
static const char *find_section(json_t *sections, const char *value_code)
{
    const char *code = NULL;
    json_t *section = NULL;
    json_object_foreach (sections, code, section) {
        if (json_object_get(section, value_code) != NULL) {
            return code;
        }
    }
    return NULL;
}

/* The numbers that a class rests on, unrounded as the rule used them. */
static void write_class_basis(json_t *basis, json_t *sections, struct text *out)
{
    const char *code = NULL;
    json_t *value = NULL;
    const char *separator = "";
    json_object_foreach (basis, code, value) {
        text_append(out, separator);
        const char *section = find_section(sections, code);
        summary_label(section, section == NULL ? 0 : strlen(section), code, out);
        text_append_char(out, ' ');
        json_writer_rounded(out, json_number_value(value));
        separator = ", ";
    }
}

/* The limits in use, as the clinic chose them or as they are by default. */
static void write_limits(json_t *limits, struct text *out)
{
    const char *code = NULL;
    json_t *value = NULL;
    const char *separator = " Limits in use: ";
    json_object_foreach (limits, code, value) {
        const struct choice_row *row = choices_find(code);
        text_append(out, separator);
        if (row != NULL) {
            text_append_html(out, row->label);
        } else {
            report_code_words(out, code);
        }
        text_append(out, " = ");
        json_writer_rounded(out, json_number_value(value));
        const char *unit = display_unit(row == NULL ? NULL : row->unit);
        text_append(out, unit[0] == '\0' ? "" : " ");
        text_append_html(out, unit);
        separator = "; ";
    }
    text_append(out, json_object_size(limits) > 0 ? "." : "");
}

static void write_classifications(const json_t *items, json_t *sections, struct text *out)
{
    for (size_t i = 0; i < json_array_size(items); i++) {
        const json_t *item = json_array_get(items, i);
        text_append(out, "<li>");
        report_code_words(out, summary_string(item, "code"));
        text_append(out, ": <strong>");
        report_code_words(out, summary_string(item, "class"));
        text_append(out, "</strong> (");
        write_class_basis(json_object_get(item, "basis"), sections, out);
        text_append(out, "). ");
        text_append_html(out, summary_string(item, "method"));
        write_limits(json_object_get(item, "limits"), out);
        summary_doubts(json_object_get(item, "quality"), " ", out);
        text_append(out, "</li>\n");
    }
}

static void write_finding_basis(const json_t *basis, struct text *out)
{
    for (size_t i = 0; i < json_array_size(basis); i++) {
        const char *path = json_string_value(json_array_get(basis, i));
        const char *dot = path == NULL ? NULL : strchr(path, '.');
        text_append(out, i == 0 ? " Based on: " : ", ");
        if (dot != NULL) {
            summary_label(path, (size_t)(dot - path), dot + 1, out);
        } else {
            report_code_words(out, path == NULL ? "" : path);
        }
    }
    text_append(out, json_array_size(basis) > 0 ? "." : "");
}

static void write_findings(const json_t *items, struct text *out)
{
    for (size_t i = 0; i < json_array_size(items); i++) {
        const json_t *item = json_array_get(items, i);
        text_append(out, "<li>");
        text_append_html(out, summary_string(item, "text"));
        write_finding_basis(json_object_get(item, "basis"), out);
        write_limits(json_object_get(item, "limits"), out);
        summary_doubts(json_object_get(item, "quality"), " ", out);
        text_append(out, "</li>\n");
    }
}

static void write_suggestions(const json_t *analysis, struct text *out)
{
    const json_t *classifications = json_object_get(analysis, "classifications");
    const json_t *findings = json_object_get(analysis, "findings");
    if (json_array_size(classifications) + json_array_size(findings) == 0) {
        return;
    }
    text_append(out, "<h3>Suggestions for the clinician</h3>\n"
                     "<p>Drafted by rules from the numbers above, to be accepted, changed or "
                     "dropped. None is a diagnosis.</p>\n<ul class=\"suggestions\">\n");
    write_classifications(classifications, json_object_get(analysis, "sections"), out);
    write_findings(findings, out);
    text_append(out, "</ul>\n");
}

void summary_remarks_write(const json_t *analysis, struct text *out)
{
    write_not_computed(json_object_get(analysis, "not_computed"), out);
    write_quality(json_object_get(analysis, "quality"), out);
    write_suggestions(analysis, out);
}
