#include "report/summary_values.h"

#include "analysis/catalogue.h"
#include "formats/display.h"
#include "formats/json_writer.h"
#include "report/report_text.h"
#include "report/summary_labels.h"

#include <math.h>
#include <string.h>

enum { ITEMS_SHOWN_MAX = 200 };

static const char *source_words(const char *source)
{
    if (strcmp(source, "entered") == 0) {
        return "entered with the upload";
    }
    return strcmp(source, "override") == 0 ? "clinician's own value" : "computed";
}

static void write_unit(const char *ucum, struct text *out)
{
    const char *unit = display_unit(ucum);
    if (unit[0] != '\0') {
        text_append(out, " <span class=\"unit\">");
        text_append_html(out, unit);
        text_append(out, "</span>");
    }
}

/* A number rounded to a step, a yes or no, or a word. */
static void write_scalar(double report_step, const json_t *value, struct text *out)
{
    if (json_is_number(value)) {
        display_rounded(out, report_step, json_number_value(value));
    } else if (json_is_boolean(value)) {
        text_append(out, json_is_true(value) ? "yes" : "no");
    } else {
        const char *word = json_string_value(value);
        report_code_words(out, word == NULL ? "" : word);
    }
}

/* ---- numbers told beside a value ---- */

struct part_unit {
    const char *ending; /* of the code */
    const char *unit;
    double report_step; /* 0: after its size */
};

/* Where two fit, the later one is the longer. */
static const struct part_unit part_units[] = {
    {"_ml", "mL", 1.0},         {"_mm", "mm", 1.0},       {"_percent", "%", 1.0},
    {"_s", "s", 0.0},           {"_hz", "Hz", 0.0},       {"_uv", "uV", 0.0},
    {"_cmh2o", "cm[H2O]", 1.0}, {"_mmhg", "mm[Hg]", 1.0}, {"_ml_s", "mL/s", 0.1},
};

/* Three digits are enough for a number of which the page knows no step. */
static double step_of(double value)
{
    if (fabs(value) >= 100.0) {
        return 1.0;
    }
    return fabs(value) >= 10.0 ? 0.1 : 0.01;
}

static bool ends_with(const char *text, const char *ending)
{
    size_t length = strlen(text);
    size_t wanted = strlen(ending);
    return length >= wanted && strcmp(text + length - wanted, ending) == 0;
}

/* These are in the unit of the value that they stand beside. */
static bool shares_unit(const char *code)
{
    static const char *const codes[] = {"baseline", "over_rest", "rise", "rise_from_empty",
                                        "spread"};
    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++) {
        if (strcmp(code, codes[i]) == 0) {
            return true;
        }
    }
    return false;
}

static void write_part(const struct catalogue_row *row, const char *code, double value,
                       struct text *out)
{
    struct part_unit found = {"", NULL, 0.0};
    for (size_t i = 0; i < sizeof part_units / sizeof part_units[0]; i++) {
        if (ends_with(code, part_units[i].ending)) {
            found = part_units[i];
        }
    }
    if (shares_unit(code)) {
        found = (struct part_unit){"", row->unit, row->report_step};
    }
    struct text words;
    text_init(&words, out->arena, strlen(code) + 1);
    text_append_bytes(&words, code, strlen(code) - strlen(found.ending));
    report_code_words(out, words.data == NULL ? "" : words.data);
    text_append_char(out, ' ');
    if (found.report_step > 0.0) {
        display_rounded(out, found.report_step, value);
    } else {
        json_writer_rounded(out, catalogue_rounded_to(step_of(value), value));
    }
    write_unit(found.unit, out);
}

static bool is_part(const char *member, const json_t *value)
{
    return json_is_number(value) && strcmp(member, "value") != 0 && strcmp(member, "at_s") != 0;
}

static void write_parts(const struct catalogue_row *row, json_t *measure, struct text *out)
{
    const char *member = NULL;
    json_t *value = NULL;
    const char *separator = "; beside it ";
    json_object_foreach (measure, member, value) {
        if (is_part(member, value)) {
            text_append(out, separator);
            write_part(row, member, json_number_value(value), out);
            separator = ", ";
        }
    }
}

/* ---- values ---- */

static void write_measure(const struct catalogue_row *row, json_t *measure, struct text *out)
{
    const json_t *value = json_object_get(measure, "value");
    text_append(out, "<tr><th scope=\"row\">");
    text_append_html(out, row->label);
    text_append(out, "</th><td class=\"number\">");
    write_scalar(row->report_step, value, out);
    write_unit(json_is_number(value) ? row->unit : NULL, out);
    text_append(out, "</td><td class=\"how\">");
    text_append_html(out, source_words(summary_string(measure, "source")));
    const json_t *at_s = json_object_get(measure, "at_s");
    if (json_is_number(at_s)) {
        text_printf(out, ", at %.1f s", json_number_value(at_s));
    }
    write_parts(row, measure, out);
    const char *method = summary_string(measure, "method");
    if (method[0] != '\0') {
        text_append(out, "; ");
        text_append_html(out, method);
    }
    summary_doubts(json_object_get(measure, "quality"), "; ", out);
    text_append(out, "</td></tr>\n");
}

static void write_caption(const char *label, bool is_signed, struct text *out)
{
    text_append(out, "<caption>");
    text_append_html(out, label);
    text_append(out, is_signed ? ": values" : ": preliminary values");
    text_append(out, "</caption>\n");
}

/* False when there is no value. */
static bool write_values(const struct catalogue_section *rows, const json_t *section,
                         bool is_signed, struct text *out)
{
    bool any = false;
    for (size_t i = 0; i < rows->row_count; i++) {
        json_t *measure = json_object_get(section, rows->rows[i].code);
        if (!json_is_object(measure)) {
            continue;
        }
        if (!any) {
            text_append(out, "<table class=\"numbers\">\n");
            write_caption(rows->label, is_signed, out);
            text_append(out, "<thead><tr><th scope=\"col\">Measure</th>"
                             "<th scope=\"col\">Value</th><th scope=\"col\">How obtained</th>"
                             "</tr></thead>\n<tbody>\n");
            any = true;
        }
        write_measure(&rows->rows[i], measure, out);
    }
    text_append(out, any ? "</tbody>\n</table>\n" : "");
    return any;
}

/* ---- lists ---- */

static void write_column_heads(const struct catalogue_list *list, struct text *out)
{
    text_append(out, "<thead><tr>");
    for (size_t i = 0; i < list->column_count; i++) {
        const char *unit = display_unit(list->columns[i].unit);
        text_append(out, "<th scope=\"col\">");
        text_append_html(out, list->columns[i].label);
        if (unit[0] != '\0') {
            text_append(out, " <span class=\"unit\">(");
            text_append_html(out, unit);
            text_append(out, ")</span>");
        }
        text_append(out, "</th>");
    }
    text_append(out, "</tr></thead>\n");
}

static void write_item(const struct catalogue_list *list, const json_t *item, struct text *out)
{
    text_append(out, "<tr>");
    for (size_t i = 0; i < list->column_count; i++) {
        const json_t *value = json_object_get(item, list->columns[i].code);
        text_append(out, json_is_number(value) ? "<td class=\"number\">" : "<td>");
        if (value == NULL) {
            text_append(out, "\u2013");
        } else {
            write_scalar(list->columns[i].report_step, value, out);
        }
        text_append(out, "</td>");
    }
    text_append(out, "</tr>\n");
}

static void write_list(const struct catalogue_list *list, const json_t *items, bool is_signed,
                       struct text *out)
{
    size_t count = json_array_size(items);
    size_t shown = count < ITEMS_SHOWN_MAX ? count : ITEMS_SHOWN_MAX;
    if (count == 0) {
        text_append(out, "<p>");
        text_append_html(out, list->label);
        text_append(out, ": none found.</p>\n");
        return;
    }
    text_append(out, "<div class=\"scroll\" role=\"group\" tabindex=\"0\" aria-label=\"");
    text_append_html(out, list->label);
    text_append(out, "\">\n<table class=\"items\">\n");
    write_caption(list->label, is_signed, out);
    write_column_heads(list, out);
    text_append(out, "<tbody>\n");
    for (size_t i = 0; i < shown; i++) {
        write_item(list, json_array_get(items, i), out);
    }
    text_append(out, "</tbody>\n</table>\n</div>\n");
    if (shown < count) {
        text_printf(out, "<p>%zu more are in the analysis document.</p>\n", count - shown);
    }
}

/* ---- sections ---- */

/* `number` of `count`, from 1, for an entry of a repeated section; 0 otherwise. */
static void write_section(const struct catalogue_section *rows, const json_t *section,
                          size_t number, size_t count, bool is_signed, struct text *out)
{
    text_append(out, "<h3>");
    text_append_html(out, rows->label);
    if (number > 0) {
        text_printf(out, ", %zu of %zu", number, count);
    }
    text_append(out, "</h3>\n");
    bool any = write_values(rows, section, is_signed, out);
    for (size_t i = 0; i < rows->list_count; i++) {
        const json_t *items = json_object_get(section, rows->lists[i].code);
        if (json_is_array(items)) {
            write_list(&rows->lists[i], items, is_signed, out);
            any = true;
        }
    }
    text_append(out, any ? "" : "<p>No values.</p>\n");
}

void summary_values_write(const json_t *sections, bool is_signed, struct text *out)
{
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *rows = catalogue_section(i);
        const json_t *section = json_object_get(sections, rows->code);
        size_t count = json_array_size(section);
        if (json_is_object(section)) {
            write_section(rows, section, 0, 0, is_signed, out);
        }
        for (size_t j = 0; j < count; j++) {
            write_section(rows, json_array_get(section, j), j + 1, count, is_signed, out);
        }
        if (json_is_array(section) && count == 0) {
            text_append(out, "<h3>");
            text_append_html(out, rows->label);
            text_append(out, "</h3>\n<p>None was found.</p>\n");
        }
    }
}
