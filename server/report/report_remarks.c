/* What a reader must weigh: rules, signal quality, what is missing. */
#include "analysis/choices.h"
#include "figure/plot.h"
#include "formats/display.h"
#include "formats/json_writer.h"
#include "report/report_labels.h"
#include "report/report_parts.h"
#include "report/report_text.h"

#include <math.h>
#include <string.h>

enum { CLASSES_MOST = 40 };

/* ---- classes ---- */

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

/* The numbers that a class rests on, as they stand in the tables; what is not in them is for who
 * checks the rule. */
static void append_basis(json_t *basis, json_t *sections, struct text *out)
{
    const char *code = NULL;
    json_t *value = NULL;
    const char *separator = " (";
    json_object_foreach (basis, code, value) {
        const char *section = find_section(sections, code);
        const struct catalogue_row *row =
            report_find_row(section, section == NULL ? 0 : strlen(section), code);
        if (row == NULL) {
            continue;
        }
        const char *unit = display_unit(row->unit);
        text_printf(out, "%s%s ", separator, row->label);
        display_number(out, row, json_number_value(value));
        text_append(out, unit[0] == '\0' ? "" : " ");
        text_append(out, unit);
        separator = ", ";
    }
    text_append(out, strcmp(separator, " (") == 0 ? "." : ").");
}

void report_limits(json_t *limits, struct text *out)
{
    const char *code = NULL;
    json_t *value = NULL;
    const char *separator = " Limits in use: ";
    json_object_foreach (limits, code, value) {
        const struct choice_row *row = choices_find(code);
        text_append(out, separator);
        if (row != NULL) {
            text_append(out, row->label);
        } else {
            report_code_words(out, code);
        }
        text_append(out, " = ");
        json_writer_rounded(out, json_number_value(value));
        const char *unit = display_unit(row == NULL ? NULL : row->unit);
        text_append(out, unit[0] == '\0' ? "" : " ");
        text_append(out, unit);
        separator = "; ";
    }
    text_append(out, json_object_size(limits) > 0 ? "." : "");
}

void report_class_words(const json_t *classification, struct text *out)
{
    report_class_label(report_string(classification, "code"), out);
    text_append(out, ": ");
    report_code_words(out, report_string(classification, "class"));
    text_append(out, json_array_size(json_object_get(classification, "quality")) > 0 ? " (doubtful)"
                                                                                     : "");
}

/* The limits that no class before it in the list has told. */
static json_t *new_limits(const json_t *items, size_t index)
{
    json_t *limits = json_object_get(json_array_get(items, index), "limits");
    json_t *left = json_object();
    const char *code = NULL;
    json_t *value = NULL;
    json_object_foreach (limits, code, value) {
        bool is_told = false;
        for (size_t i = 0; i < index && !is_told; i++) {
            is_told =
                json_object_get(json_object_get(json_array_get(items, i), "limits"), code) != NULL;
        }
        if (!is_told) {
            (void)json_object_set(left, code, value);
        }
    }
    return left;
}

/* Appends to a list of spans as long as there is room. */
struct class_spans {
    size_t count;
    struct document_span spans[3 * CLASSES_MOST];
};

static void add_class(const struct report_maker *maker, const json_t *items, size_t index,
                      json_t *sections, struct class_spans *out)
{
    const json_t *item = json_array_get(items, index);
    json_t *limits = new_limits(items, index);
    struct text name = report_words(maker);
    struct text basis = report_words(maker);
    struct text doubts = report_words(maker);
    text_append(&name, out->count > 0 ? " " : "");
    report_class_words(item, &name);
    append_basis(json_object_get(item, "basis"), sections, &basis);
    report_limits(limits, &basis);
    json_decref(limits);
    report_doubts(json_object_get(item, "quality"), " Doubtful: ", &doubts);
    if (out->count + 3 <= sizeof out->spans / sizeof out->spans[0]) {
        out->spans[out->count++] = (struct document_span){.words = name.data, .strong = true};
        out->spans[out->count++] = (struct document_span){.words = basis.data};
        out->spans[out->count++] = (struct document_span){.words = doubts.data, .strong = true};
    }
}

/* The main ones one by one; those by other rules in small letters, one after the other. */
static void add_classes(const struct report_maker *maker, const json_t *analysis)
{
    const json_t *items = json_object_get(analysis, "classifications");
    json_t *sections = json_object_get(analysis, "sections");
    struct class_spans others = {.count = 0};
    if (json_array_size(items) == 0) {
        return;
    }
    document_heading(maker->document, 3, "Classes by rules");
    for (size_t i = 0; i < json_array_size(items); i++) {
        struct class_spans main = {.count = 0};
        if (!report_class_is_main(report_string(json_array_get(items, i), "code"))) {
            add_class(maker, items, i, sections, &others);
            continue;
        }
        add_class(maker, items, i, sections, &main);
        document_item(maker->document, main.spans, main.count);
    }
    if (others.count > 0) {
        document_paragraph(maker->document, DOCUMENT_NOTE, others.spans, others.count);
    }
}

/* ---- quality ---- */

/* Coughs that both lines answered alike: the smaller rise over the larger at least the limit. */
static size_t count_passed(const json_t *coughs, double limit)
{
    size_t passed = 0;
    for (size_t i = 0; i < json_array_size(coughs); i++) {
        const json_t *cough = json_array_get(coughs, i);
        double pves = json_number_value(json_object_get(cough, "pves_rise"));
        double pabd = json_number_value(json_object_get(cough, "pabd_rise"));
        passed += fmin(pves, pabd) > 0.0 && fmin(pves, pabd) >= limit * fmax(pves, pabd) ? 1 : 0;
    }
    return passed;
}

static void add_coughs(const struct report_maker *maker, const json_t *analysis)
{
    const json_t *coughs = json_object_get(
        json_object_get(json_object_get(analysis, "sections"), "filling"), "coughs");
    const json_t *limit =
        json_object_get(json_object_get(analysis, "choices"), "cough_transmission_low");
    size_t count = json_array_size(coughs);
    if (!json_is_array(coughs)) {
        return;
    }
    struct text words = report_words(maker);
    text_printf(&words, "Coughs during filling: %zu found", count);
    if (count > 0 && json_is_number(limit)) {
        text_printf(&words,
                    ", %zu of them with both pressures rising alike (the smaller rise at "
                    "least ",
                    count_passed(coughs, json_number_value(limit)));
        json_writer_rounded(&words, json_number_value(limit));
        text_append(&words, " times the larger)");
    }
    text_append_char(&words, '.');
    document_words(maker->document, DOCUMENT_PLAIN, words.data);
}

static const char *severity_label(const char *severity)
{
    if (strcmp(severity, "error") == 0) {
        return "Error";
    }
    return strcmp(severity, "warning") == 0 ? "Warning" : "Note";
}

static bool is_same_remark(const json_t *one, const json_t *other)
{
    static const char *const members[] = {"signal", "severity", "text"};
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++) {
        if (strcmp(report_string(one, members[i]), report_string(other, members[i])) != 0) {
            return false;
        }
    }
    return true;
}

/* "3:19 to 3:31", or one moment. */
static void append_place(const json_t *item, struct text *out)
{
    const json_t *from_s = json_object_get(item, "from_s");
    const json_t *to_s = json_object_get(item, "to_s");
    if (!json_is_number(from_s) || !json_is_number(to_s)) {
        return;
    }
    text_append(out, ", ");
    plot_append_clock(out, json_number_value(from_s), 1.0);
    if (lround(json_number_value(to_s)) != lround(json_number_value(from_s))) {
        text_append(out, " to ");
        plot_append_clock(out, json_number_value(to_s), 1.0);
    }
}

/* The remark, unless one before it says the same, with every place of it. */
static void add_quality_item(const struct report_maker *maker, const json_t *items, size_t index)
{
    const json_t *item = json_array_get(items, index);
    struct text where = report_words(maker);
    const char *signal = report_string(item, "signal");
    for (size_t i = 0; i < index; i++) {
        if (is_same_remark(json_array_get(items, i), item)) {
            return;
        }
    }
    text_append(&where, signal[0] != '\0' ? ", " : "");
    text_append(&where, signal);
    for (size_t i = index; i < json_array_size(items); i++) {
        if (is_same_remark(json_array_get(items, i), item)) {
            append_place(json_array_get(items, i), &where);
        }
    }
    text_append(&where, ": ");
    const struct document_span spans[] = {
        {.words = severity_label(report_string(item, "severity")), .strong = true},
        {.words = where.data},
        {.words = report_string(item, "text")},
    };
    document_item(maker->document, spans, 3);
}

static void add_quality(const struct report_maker *maker, const json_t *analysis)
{
    const json_t *items = json_object_get(analysis, "quality");
    document_heading(maker->document, 3, "Signal quality");
    add_coughs(maker, analysis);
    if (json_array_size(items) == 0) {
        document_words(maker->document, DOCUMENT_PLAIN,
                       "Nothing was found. Check the traces all the same.");
    }
    for (size_t i = 0; i < json_array_size(items); i++) {
        add_quality_item(maker, items, i);
    }
}

/* ---- what is missing ---- */

/* The value's name, behind that of its section where `before` (NULL: nothing) was of another. */
static void append_missing(const json_t *item, const json_t *before, struct text *out)
{
    const char *section = report_string(item, "section");
    const json_t *index = json_object_get(item, "index");
    if (before == NULL || strcmp(report_string(before, "section"), section) != 0 ||
        json_integer_value(json_object_get(before, "index")) != json_integer_value(index)) {
        report_section_label(section, out);
        if (json_is_integer(index)) {
            text_printf(out, " %lld", (long long)json_integer_value(index) + 1);
        }
        text_append(out, ", ");
    }
    report_label(section, strlen(section), report_string(item, "code"), out);
}

/* Values that follow one another and lack for the same reason are told together. */
static void add_not_computed(const struct report_maker *maker, const json_t *items)
{
    size_t count = json_array_size(items);
    struct text words = report_words(maker);
    for (size_t i = 0; i < count;) {
        const char *reason = report_string(json_array_get(items, i), "reason");
        const json_t *before = NULL;
        text_append(&words, i == 0 ? "" : ". ");
        for (; i < count && strcmp(report_string(json_array_get(items, i), "reason"), reason) == 0;
             i++) {
            text_append(&words, before == NULL ? "" : "; ");
            append_missing(json_array_get(items, i), before, &words);
            before = json_array_get(items, i);
        }
        text_append(&words, ": ");
        text_append(&words, reason);
    }
    if (count > 0) {
        document_heading(maker->document, 3, "Not computed");
        text_append_char(&words, '.');
        document_words(maker->document, DOCUMENT_NOTE, words.data);
    }
}

void report_remarks(const struct report_maker *maker, const json_t *analysis)
{
    add_classes(maker, analysis);
    add_quality(maker, analysis);
    add_not_computed(maker, json_object_get(analysis, "not_computed"));
}
