#include "report/summary_recording.h"

#include "analysis/catalogue.h"
#include "formats/json_reader.h"
#include "formats/json_writer.h"
#include "report/report_text.h"

#include <string.h>

static const char *type_label(enum recording_type type)
{
    static const char *const labels[RECORDING_TYPE_COUNT] = {
        [RECORDING_UROFLOWMETRY] = "Uroflowmetry",
        [RECORDING_CYSTOMETRY] = "Filling cystometry",
        [RECORDING_PRESSURE_FLOW] = "Pressure-flow study",
        [RECORDING_URETHRAL_PRESSURE_PROFILE] = "Urethral pressure profile",
        [RECORDING_ANORECTAL_MANOMETRY] = "Anorectal manometry",
        [RECORDING_PELVIC_FLOOR_TRAINING] = "Pelvic floor training",
    };
    return (size_t)type < RECORDING_TYPE_COUNT ? labels[type] : "Recording";
}

/* A string member, or "" when it is missing or no string. */
static const char *string_member(const json_t *object, const char *name)
{
    const char *value = json_string_value(json_object_get(object, name));
    return value == NULL ? "" : value;
}

static const struct catalogue_row *find_row(const char *section, size_t section_length,
                                            const char *code)
{
    for (size_t i = 0; i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);
        bool is_section = section == NULL || (strlen(row->section) == section_length &&
                                              memcmp(row->section, section, section_length) == 0);
        if (is_section && strcmp(row->code, code) == 0) {
            return row;
        }
    }
    return NULL;
}

/* The label of a code within a section (NULL: any section), or the code's words. */
static void write_label(const char *section, size_t section_length, const char *code,
                        struct text *out)
{
    const struct catalogue_row *row = find_row(section, section_length, code);
    if (row != NULL) {
        text_append_html(out, row->label);
    } else {
        report_code_words(out, code);
    }
}

static void write_section_label(const char *section, struct text *out)
{
    const char *label = catalogue_section_label(section);
    if (label != NULL) {
        text_append_html(out, label);
    } else {
        report_code_words(out, section);
    }
}

static const char *answer_word(enum patient_answer answer)
{
    if (answer == ANSWER_UNKNOWN) {
        return "";
    }
    return answer == ANSWER_YES ? "yes" : "no";
}

static void write_conditions(const struct recording_row *row, struct arena *arena, struct text *out)
{
    struct document_conditions conditions;
    struct error error;
    if (row->conditions_json == NULL ||
        !conditions_json_read(arena, row->conditions_json, &conditions, &error)) {
        text_append(out, "<p>The conditions of this recording are not available.</p>\n");
        return;
    }
    text_append(out, "<dl class=\"facts\">\n");
    report_fact_number(out, "Duration",
                       (struct optional_number){.known = true, .value = row->duration_s}, "s");
    report_fact(out, "Position", conditions.position);
    report_fact_number(out, "Post-void residual", conditions.numbers.post_void_residual_ml, "mL");
    report_fact_number(out, "Residual before filling", conditions.numbers.initial_residual_ml,
                       "mL");
    report_fact_number(out, "Filling rate set", conditions.numbers.filling_rate_ml_min, "mL/min");
    report_fact_number(out, "Flow delay set", conditions.numbers.flow_delay_s, "s");
    report_fact_number(out, "Puller speed", conditions.numbers.puller_speed_mm_s, "mm/s");
    report_fact_number(out, "Maximum flow rate of a free flow", conditions.numbers.free_qmax_ml_s,
                       "mL/s");
    report_fact_number(out, "Balloon expulsion time", conditions.numbers.balloon_expulsion_s, "s");
    report_fact_number(out, "Distance between anal sensors",
                       conditions.numbers.anal_sensor_spacing_mm, "mm");
    report_fact(out, "Neurological lesion known",
                answer_word(conditions.numbers.neurological_lesion));
    report_fact(out, "Electromyogram as sent", emg_form_name(conditions.numbers.emg_form));
    report_fact(out, "Reference level", conditions.reference_level);
    report_fact(out, "Zeroed to", conditions.zeroed);
    text_append(out, "</dl>\n");
}

static const char *source_words(const char *source)
{
    if (strcmp(source, "entered") == 0) {
        return "entered with the upload";
    }
    return strcmp(source, "override") == 0 ? "clinician's own value" : "computed";
}

static void write_value(const struct catalogue_row *row, const json_t *value, struct text *out)
{
    if (json_is_number(value)) {
        report_number(out, row, json_number_value(value));
        const char *unit = report_unit(row->unit);
        if (unit[0] != '\0') {
            text_append(out, " <span class=\"unit\">");
            text_append_html(out, unit);
            text_append(out, "</span>");
        }
    } else if (json_is_boolean(value)) {
        text_append(out, json_is_true(value) ? "yes" : "no");
    } else {
        const char *word = json_string_value(value);
        report_code_words(out, word == NULL ? "" : word);
    }
}

static void write_measure(const struct catalogue_row *row, const json_t *measure, struct text *out)
{
    text_append(out, "<tr><th scope=\"row\">");
    text_append_html(out, row->label);
    text_append(out, "</th><td class=\"number\">");
    write_value(row, json_object_get(measure, "value"), out);
    text_append(out, "</td><td class=\"how\">");
    text_append_html(out, source_words(string_member(measure, "source")));
    const json_t *at_s = json_object_get(measure, "at_s");
    if (json_is_number(at_s)) {
        text_printf(out, ", at %.1f s", json_number_value(at_s));
    }
    const char *method = string_member(measure, "method");
    if (method[0] != '\0') {
        text_append(out, "; ");
        text_append_html(out, method);
    }
    text_append(out, "</td></tr>\n");
}

/* The numbers of one section, in the catalogue's order. */
static void write_section(const struct catalogue_section *rows, const json_t *section,
                          bool is_signed, struct text *out)
{
    text_append(out, "<h3>");
    text_append_html(out, rows->label);
    text_append(out, "</h3>\n");
    if (json_object_size(section) == 0) {
        text_append(out, "<p>No values.</p>\n");
        return;
    }
    text_append(out, "<table class=\"numbers\">\n<caption>");
    text_append_html(out, rows->label);
    text_append(out, is_signed ? ": values" : ": preliminary values");
    text_append(out,
                "</caption>\n<thead><tr><th scope=\"col\">Measure</th>"
                "<th scope=\"col\">Value</th><th scope=\"col\">How obtained</th></tr></thead>\n"
                "<tbody>\n");
    for (size_t i = 0; i < rows->row_count; i++) {
        const json_t *measure = json_object_get(section, rows->rows[i].code);
        if (json_is_object(measure)) {
            write_measure(&rows->rows[i], measure, out);
        }
    }
    text_append(out, "</tbody>\n</table>\n");
}

static void write_sections(const json_t *sections, bool is_signed, struct text *out)
{
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *rows = catalogue_section(i);
        const json_t *section = json_object_get(sections, rows->code);
        if (json_is_object(section)) {
            write_section(rows, section, is_signed, out);
        }
    }
}

/* A free flow's number for the reporting line; "-" when it is unknown. */
static bool write_flow_number(const json_t *uroflow, const char *code, struct text *out)
{
    const json_t *value = json_object_get(json_object_get(uroflow, code), "value");
    const struct catalogue_row *row = find_row("uroflow", strlen("uroflow"), code);
    if (row == NULL || !json_is_number(value)) {
        text_append_char(out, '-');
        return false;
    }
    report_number(out, row, json_number_value(value));
    return true;
}

/* The reporting line of a free flow after the ICS, "VOID: 18/340/40": maximum flow rate, voided
 * volume, post-void residual, without units. Source: GUP2002 (Neurourol Urodyn 2002;21:261-274),
 * from memory. */
static void write_void_line(const json_t *sections, struct arena *arena, struct text *out)
{
    const json_t *uroflow = json_object_get(sections, "uroflow");
    if (!json_is_object(uroflow)) {
        return;
    }
    struct text line;
    text_init(&line, arena, 200);
    bool has_flow = write_flow_number(uroflow, "qmax", &line);
    text_append_char(&line, '/');
    bool has_volume = write_flow_number(uroflow, "voided_volume", &line);
    text_append_char(&line, '/');
    (void)write_flow_number(uroflow, "post_void_residual", &line);
    if (has_flow || has_volume) {
        text_append(out, "<p class=\"void-line\"><abbr title=\"Maximum flow rate in mL/s, voided "
                         "volume in mL, post-void residual in mL\">VOID</abbr>: ");
        text_append(out, line.data);
        text_append(out, "</p>\n");
    }
}

static void write_not_computed(const json_t *items, struct text *out)
{
    if (json_array_size(items) == 0) {
        return;
    }
    text_append(out, "<h3>Not computed</h3>\n<ul class=\"not-computed\">\n");
    for (size_t i = 0; i < json_array_size(items); i++) {
        const json_t *item = json_array_get(items, i);
        const char *section = string_member(item, "section");
        text_append(out, "<li>");
        write_section_label(section, out);
        text_append(out, ", ");
        write_label(section, strlen(section), string_member(item, "code"), out);
        text_append(out, ": ");
        text_append_html(out, string_member(item, "reason"));
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
        const char *severity = string_member(item, "severity");
        text_append(out, "<li class=\"");
        text_append_html(out, severity);
        text_printf(out, "\"><strong>%s</strong>", severity_label(severity));
        const char *signal = string_member(item, "signal");
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
        text_append_html(out, string_member(item, "text"));
        text_append(out, "</li>\n");
    }
    text_append(out, "</ul>\n");
}

/* The numbers that a class rests on, unrounded as the rule used them. */
static void write_class_basis(json_t *basis, struct text *out)
{
    const char *code = NULL;
    json_t *value = NULL;
    const char *separator = "";
    json_object_foreach (basis, code, value) {
        text_append(out, separator);
        write_label(NULL, 0, code, out);
        text_append_char(out, ' ');
        json_writer_rounded(out, json_number_value(value));
        separator = ", ";
    }
}

static void write_classifications(const json_t *items, struct text *out)
{
    for (size_t i = 0; i < json_array_size(items); i++) {
        const json_t *item = json_array_get(items, i);
        text_append(out, "<li>");
        report_code_words(out, string_member(item, "code"));
        text_append(out, ": <strong>");
        report_code_words(out, string_member(item, "class"));
        text_append(out, "</strong> (");
        write_class_basis(json_object_get(item, "basis"), out);
        text_append(out, "). ");
        text_append_html(out, string_member(item, "method"));
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
            write_label(path, (size_t)(dot - path), dot + 1, out);
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
        text_append_html(out, string_member(item, "text"));
        write_finding_basis(json_object_get(item, "basis"), out);
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
    write_classifications(classifications, out);
    write_findings(findings, out);
    text_append(out, "</ul>\n");
}

static void write_analysis(const char *json, bool is_signed, struct arena *arena, struct text *out)
{
    struct fault_list faults;
    fault_list_init(&faults, arena);
    json_t *analysis = json == NULL ? NULL : json_reader_load(json, strlen(json), &faults);
    if (analysis == NULL) {
        text_append(out, "<p>The analysis of this recording is not available.</p>\n");
        return;
    }
    const json_t *sections = json_object_get(analysis, "sections");
    write_void_line(sections, arena, out);
    write_sections(sections, is_signed, out);
    write_not_computed(json_object_get(analysis, "not_computed"), out);
    write_quality(json_object_get(analysis, "quality"), out);
    write_suggestions(analysis, out);
    const json_t *software = json_object_get(analysis, "software");
    text_printf(out, "<p class=\"provenance\">Event list revision %d; computed by ",
                (int)json_integer_value(json_object_get(analysis, "revision")));
    text_append_html(out, string_member(software, "name"));
    text_append_char(out, ' ');
    text_append_html(out, string_member(software, "version"));
    text_append(out, ".</p>\n");
    json_decref(analysis);
}

void summary_recording_write(const struct summary_recording *recording, size_t number,
                             bool is_signed, struct arena *arena, struct text *out)
{
    const struct recording_row *row = recording->row;
    text_printf(out,
                "<section class=\"recording\" aria-labelledby=\"recording-%zu\">\n"
                "<h2 id=\"recording-%zu\">%zu. %s, ",
                number, number, number, type_label(row->type));
    report_time(out, row->started_at_us);
    text_append(out, "</h2>\n");
    write_conditions(row, arena, out);
    write_analysis(recording->analysis_json, is_signed, arena, out);
    text_append(out, "</section>\n");
}
