#include "report/summary_recording.h"

#include "analysis/catalogue.h"
#include "formats/display.h"
#include "formats/json_reader.h"
#include "report/report_text.h"
#include "report/summary_labels.h"
#include "report/summary_remarks.h"
#include "report/summary_values.h"

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

/* A free flow's number for the reporting line; "-" when it is unknown. */
static bool write_flow_number(const json_t *uroflow, const char *code, struct text *out)
{
    const json_t *value = json_object_get(json_object_get(uroflow, code), "value");
    const struct catalogue_row *row = summary_find_row("uroflow", strlen("uroflow"), code);
    if (row == NULL || !json_is_number(value)) {
        text_append_char(out, '-');
        return false;
    }
    display_number(out, row, json_number_value(value));
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

static void write_analysis(const char *json, bool is_signed, struct arena *arena, struct text *out)
{
    json_t *analysis = json == NULL ? NULL : json_reader_load_own(json);
    if (analysis == NULL) {
        text_append(out, "<p>The analysis of this recording is not available.</p>\n");
        return;
    }
    const json_t *sections = json_object_get(analysis, "sections");
    write_void_line(sections, arena, out);
    summary_values_write(sections, is_signed, out);
    summary_remarks_write(analysis, out);
    const json_t *software = json_object_get(analysis, "software");
    text_printf(out, "<p class=\"provenance\">Event list revision %d; computed by ",
                (int)json_integer_value(json_object_get(analysis, "revision")));
    text_append_html(out, summary_string(software, "name"));
    text_append_char(out, ' ');
    text_append_html(out, summary_string(software, "version"));
    const char *analysis_version = summary_string(software, "analysis_version");
    if (analysis_version[0] != '\0') {
        text_append(out, ", analysis ");
        text_append_html(out, analysis_version);
    }
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
