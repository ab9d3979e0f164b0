/* The numbers that most questions are answered by, one row a recording. */
#include "formats/display.h"
#include "report/report_labels.h"
#include "report/report_parts.h"
#include "report/report_text.h"

#include <string.h>

/* A free flow's number for the reporting line; "-" when it is unknown. */
static bool append_flow_number(const json_t *uroflow, const char *code, struct text *out)
{
    const json_t *value = json_object_get(json_object_get(uroflow, code), "value");
    const struct catalogue_row *row = report_find_row("uroflow", strlen("uroflow"), code);
    if (row == NULL || !json_is_number(value)) {
        text_append_char(out, '-');
        return false;
    }
    display_number(out, row, json_number_value(value));
    return true;
}

const char *report_void_line(const struct report_maker *maker, const json_t *analysis)
{
    const json_t *uroflow = json_object_get(json_object_get(analysis, "sections"), "uroflow");
    struct text line = report_words(maker);
    text_append(&line, "VOID: ");
    bool has_flow = append_flow_number(uroflow, "qmax", &line);
    text_append_char(&line, '/');
    bool has_volume = append_flow_number(uroflow, "voided_volume", &line);
    text_append_char(&line, '/');
    (void)append_flow_number(uroflow, "post_void_residual", &line);
    return has_flow || has_volume ? line.data : NULL;
}

static bool is_doubtful(const json_t *section, const char *code)
{
    return json_array_size(json_object_get(json_object_get(section, code), "quality")) > 0;
}

struct main_value {
    const char *section;
    const char *code;
    const char *words;
};

static const struct main_value main_values[] = {
    {"filling", "cystometric_capacity", "capacity"},
    {"filling", "compliance", "compliance"},
    {"filling", "involuntary_contractions", "involuntary contractions"},
    {"filling", "leaks", "leaks"},
    {"filling", "abdominal_leak_point_pressure", "abdominal leak point"},
    {"filling", "detrusor_leak_point_pressure", "detrusor leak point"},
    {"voiding", "qmax", "Qmax"},
    {"voiding", "pdet_qmax", "pdet at Qmax"},
    {"voiding", "voided_volume", "voided"},
    {"voiding", "post_void_residual", "residual"},
    {"voiding", "booi", "BOOI"},
    {"voiding", "bci", "BCI"},
    {"profiles_summary", "pulls", "resting pulls"},
    {"profiles_summary", "maximum_closure_pressure", "mean closure pressure"},
    {"profiles_summary", "functional_length", "mean functional length"},
    {"anorectal", "resting_pressure", "anal resting pressure"},
    {"anorectal", "squeeze_increment", "squeeze increment"},
    {"anorectal", "rair", "rectoanal inhibitory reflex"},
    {"profiles_summary", "transmission_ratio", "pressure transmission"},
    {"training", "rest_tone", "rest tone"},
    {"training", "rest_pressure", "rest tone"},
    {"training", "hold_mean", "mean of long contractions"},
    {"training", "hold_pressure", "mean of long contractions"},
    {"training", "hold_mean_time", "mean hold"},
    {"training", "commands_followed", "commands followed"},
};

static void begin_value(const struct main_value *value, struct text *out)
{
    text_append(out, out->length > 0 ? "; " : "");
    text_append(out, value->words);
    text_append_char(out, ' ');
}

static void append_measure(const struct main_value *value, const json_t *measure, struct text *out)
{
    const struct catalogue_row *row =
        report_find_row(value->section, strlen(value->section), value->code);
    const json_t *content = json_object_get(measure, "value");
    bool is_no_pull = strcmp(value->code, "pulls") == 0 && !(json_number_value(content) > 0.0);
    if (row == NULL || content == NULL || is_no_pull) {
        return;
    }
    begin_value(value, out);
    if (json_is_number(content)) {
        display_number(out, row, json_number_value(content));
        const char *unit = display_unit(row->unit);
        text_append(out, unit[0] == '\0' ? "" : " ");
        text_append(out, unit);
    } else {
        const char *word = json_string_value(content);
        report_code_words(out, word == NULL ? "" : word);
    }
    text_append(out, json_array_size(json_object_get(measure, "quality")) > 0 ? " (doubtful)" : "");
}

static void append_values(const json_t *sections, struct text *out)
{
    for (size_t i = 0; i < sizeof main_values / sizeof main_values[0]; i++) {
        const json_t *found =
            json_object_get(json_object_get(sections, main_values[i].section), main_values[i].code);
        if (json_is_array(found)) {
            begin_value(&main_values[i], out);
            text_printf(out, "%zu", json_array_size(found));
        } else if (json_is_object(found)) {
            append_measure(&main_values[i], found, out);
        }
    }
}

static void append_classes(const json_t *classes, struct text *out)
{
    for (size_t i = 0; i < json_array_size(classes); i++) {
        const json_t *item = json_array_get(classes, i);
        if (report_class_is_main(report_string(item, "code"))) {
            text_append(out, out->length > 0 ? "; " : "");
            report_class_words(item, out);
        }
    }
}

static bool any_main_class(const struct report_maker *maker)
{
    for (size_t i = 0; i < maker->report->recording_count; i++) {
        struct text classes = report_words(maker);
        append_classes(json_object_get(maker->analyses[i], "classifications"), &classes);
        if (classes.length > 0) {
            return true;
        }
    }
    return false;
}

static void add_brief(const struct report_maker *maker, size_t index)
{
    const json_t *analysis = maker->analyses[index];
    struct text numbers = report_words(maker);
    struct text classes = report_words(maker);
    const char *line = report_void_line(maker, analysis);
    const json_t *uroflow = json_object_get(json_object_get(analysis, "sections"), "uroflow");
    text_append(&numbers, line == NULL ? "" : line);
    if (line != NULL && (is_doubtful(uroflow, "qmax") || is_doubtful(uroflow, "voided_volume"))) {
        text_append(&numbers, " (doubtful)");
    }
    append_values(json_object_get(analysis, "sections"), &numbers);
    append_classes(json_object_get(analysis, "classifications"), &classes);
    const struct document_span cells[] = {
        {.words = report_recording_name(maker, index)},
        {.words = numbers.length > 0 ? numbers.data : "no main number"},
        {.words = classes.data},
    };
    document_row(maker->document, cells);
}

static bool has_void_line(const struct report_maker *maker)
{
    for (size_t i = 0; i < maker->report->recording_count; i++) {
        if (report_void_line(maker, maker->analyses[i]) != NULL) {
            return true;
        }
    }
    return false;
}

/* Signals that were not right: numbers that rest on them look like any others. */
static void warn_of_errors(const struct report_maker *maker)
{
    struct text names = report_words(maker);
    for (size_t i = 0; i < maker->report->recording_count; i++) {
        const json_t *items = json_object_get(maker->analyses[i], "quality");
        bool has_error = false;
        for (size_t j = 0; j < json_array_size(items); j++) {
            has_error = has_error ||
                        strcmp(report_string(json_array_get(items, j), "severity"), "error") == 0;
        }
        if (has_error) {
            text_append(&names, names.length > 0 ? ", " : "");
            text_append(&names, report_recording_name(maker, i));
        }
    }
    if (names.length > 0) {
        const struct document_span span = {
            .words = arena_printf(maker->arena,
                                  "Errors in the signals: %s. Read its numbers only after the "
                                  "notes on signal quality.",
                                  names.data),
            .strong = true};
        document_paragraph(maker->document, DOCUMENT_PLAIN, &span, 1);
    }
}

void report_brief(const struct report_maker *maker)
{
    static const struct document_column columns[] = {
        {"Recording", false, 1.5}, {"Main numbers", false, 3.0}, {"Classes by rules", false, 2.0}};
    if (maker->report->recording_count == 0) {
        return;
    }
    document_heading(maker->document, 2, "In brief");
    document_table(maker->document, "Results by recording", columns,
                   sizeof columns / sizeof columns[0] - (any_main_class(maker) ? 0 : 1));
    for (size_t i = 0; i < maker->report->recording_count; i++) {
        add_brief(maker, i);
    }
    document_words(
        maker->document, DOCUMENT_NOTE,
        has_void_line(maker)
            ? "VOID: maximum flow rate in mL/s, voided volume in mL, post-void residual in mL; "
              "\"-\" is not known. Classes by other rules, and the limits of all, stand with each "
              "recording."
            : "Classes by other rules, and the limits of all, stand with each recording.");
    warn_of_errors(maker);
    if (maker->is_child) {
        document_words(maker->document, DOCUMENT_PLAIN,
                       "The patient is a child: norms are paediatric (capacity expected at this "
                       "age, flow patterns after ICCS). Nomograms and indices of adults are not "
                       "given.");
    }
}
