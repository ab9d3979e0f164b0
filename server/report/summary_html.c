/* The page's frame: head, banner, patient, study. Recordings are summary_recording.c's.
 *
 * Classes for the stylesheet, all plain:
 *   body.summary            the page
 *   .status-banner          at the top; also .preliminary, .signed or .cancelled
 *   .caution                the caution below it
 *   .clinic                 the clinic's name above the heading
 *   dl.facts > div > dt+dd  identification, study, conditions
 *   section.recording       one recording; h2, then h3 for each part
 *   .void-line              the reporting line of a free flow
 *   table.numbers           caption, thead, tbody; td.number (value with span.unit), td.how
 *   strong.doubt            what was found on the stretch that a value rests on
 *   div.scroll              around a list, which may be wider than the window
 *   table.items             a list (coughs, leaks, ...): caption, thead, tbody; td.number
 *   ul.not-computed         what could not be computed, with the reason
 *   ul.quality              li.info, li.warning, li.error
 *   ul.suggestions          classes and draft findings
 *   .provenance             revision and software, small
 */
#include "report/summary_html.h"

#include "base/clock.h"
#include "formats/json_reader.h"
#include "report/report_text.h"
#include "report/summary_recording.h"

#include <math.h>
#include <string.h>

const char SUMMARY_CAUTION[] =
    "These numbers were computed from what was uploaded. They support clinical judgement and do "
    "not replace it: check them against the traces. Local protocols and licensed practice decide.";

struct banner {
    const char *status;
    const char *class_name;
    const char *text;
    bool is_signed;
};

static const struct banner banners[] = {
    {"final", "signed", "Final: reviewed and signed by a clinician.", true},
    {"amended", "signed", "Amended: changed after signature and signed again by a clinician.",
     true},
    {"cancelled", "cancelled",
     "Cancelled: this study was cancelled. What is shown was not reviewed or signed by a "
     "clinician.",
     false},
    {"", "preliminary",
     "Preliminary: computed from the uploaded recording, not reviewed or signed by a clinician.",
     false},
};

enum { BANNER_COUNT = sizeof banners / sizeof banners[0] };

static const struct banner *find_banner(const char *status)
{
    for (size_t i = 0; i < BANNER_COUNT - 1; i++) {
        if (strcmp(banners[i].status, status) == 0) {
            return &banners[i];
        }
    }
    return &banners[BANNER_COUNT - 1];
}

/* The title names no person: titles stay behind in browser histories. */
static void write_head(const struct summary *summary, struct text *out)
{
    char stamp[CLOCK_TEXT_SIZE];
    clock_format(summary->study->started_at_us, stamp);
    text_printf(out,
                "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                "<title>Urodynamic study summary, %.10s</title>\n"
                "<link rel=\"stylesheet\" href=\"/assets/penstock.css\">\n</head>\n",
                stamp);
}

static void write_header(const struct summary *summary, const struct banner *banner,
                         struct text *out)
{
    text_append(out, "<body class=\"summary\">\n<header>\n<p class=\"clinic\">");
    report_person_text(out, summary->clinic_name);
    text_append(out, "</p>\n<h1>Urodynamic study summary</h1>\n");
    text_printf(out, "<p class=\"status-banner %s\"><strong>%s</strong></p>\n", banner->class_name,
                banner->text);
    text_append(out, "<p class=\"caution\">");
    text_append_html(out, SUMMARY_CAUTION);
    text_append(out, "</p>\n</header>\n<main>\n");
}

static void write_patient(const struct summary *summary, struct text *out)
{
    const struct patient *patient = summary->patient;
    text_append(out, "<section aria-labelledby=\"patient\">\n<h2 id=\"patient\">Patient</h2>\n"
                     "<dl class=\"facts\">\n<div><dt>Name</dt><dd>");
    report_person_text(out, patient->family_name);
    text_append(out, ", ");
    report_person_text(out, patient->given_name);
    text_append(out, "</dd></div>\n");
    report_fact(out, "Record number", patient->mrn);
    report_fact(out, "Born", patient->birth_date);
    if (clock_is_date(patient->birth_date)) {
        double years = clock_years_between(patient->birth_date, summary->study->started_at_us);
        text_printf(out, "<div><dt>Age at the study</dt><dd>%.0f years</dd></div>\n", floor(years));
    }
    report_fact(out, "Sex", patient->sex);
    report_fact_number(out, "Weight", patient->weight_kg, "kg");
    text_append(out, "</dl>\n</section>\n");
}

static void write_scalar(const json_t *value, struct text *out)
{
    if (json_is_string(value)) {
        report_person_text(out, json_string_value(value));
    } else if (json_is_number(value)) {
        text_append_number(out, json_number_value(value));
    } else if (json_is_boolean(value)) {
        text_append(out, json_is_true(value) ? "yes" : "no");
    } else if (json_is_null(value)) {
        text_append(out, "not given");
    } else {
        text_append(out, "see the study record");
    }
}

/* A member of the history: a scalar, or one level of a list or of named values. */
static void write_history_value(json_t *value, struct text *out)
{
    const char *separator = "";
    const char *name = NULL;
    size_t index = 0;
    json_t *item = NULL;
    if (json_is_array(value)) {
        json_array_foreach (value, index, item) {
            text_append(out, separator);
            write_scalar(item, out);
            separator = ", ";
        }
    } else if (json_is_object(value)) {
        json_object_foreach (value, name, item) {
            text_append(out, separator);
            text_append(out, "<bdi>");
            report_code_words(out, name);
            text_append(out, "</bdi> ");
            write_scalar(item, out);
            separator = "; ";
        }
    } else {
        write_scalar(value, out);
    }
}

static void write_history(const char *json, struct arena *arena, struct text *out)
{
    if (json == NULL || json[0] == '\0') {
        return;
    }
    struct fault_list faults;
    fault_list_init(&faults, arena);
    json_t *history = json_reader_load(json, strlen(json), &faults);
    const char *name = NULL;
    json_t *value = NULL;
    json_object_foreach (history, name, value) {
        text_append(out, "<div><dt>History: <bdi>");
        report_code_words(out, name);
        text_append(out, "</bdi></dt><dd>");
        write_history_value(value, out);
        text_append(out, "</dd></div>\n");
    }
    json_decref(history);
}

static void write_study(const struct study *study, struct arena *arena, struct text *out)
{
    text_append(out, "<section aria-labelledby=\"study\">\n<h2 id=\"study\">Study</h2>\n"
                     "<dl class=\"facts\">\n<div><dt>Started</dt><dd>");
    report_time(out, study->started_at_us);
    text_append(out, "</dd></div>\n");
    report_fact(out, "Status", study->status);
    report_fact(out, "Room", study->room);
    report_fact(out, "Operator", study->operator_name);
    report_fact(out, "Position", study->position);
    report_fact(out, "Catheters", study->catheters);
    write_history(study->history, arena, out);
    text_append(out, "</dl>\n</section>\n");
}

/* What runs has no final numbers; a reader must not take its absence for a study that had none. */
static void write_running(int count, struct text *out)
{
    if (count == 1) {
        text_append(
            out,
            "<p><strong>1 recording is still running and is not in this summary.</strong></p>\n");
    } else if (count > 1) {
        text_printf(out,
                    "<p><strong>%d recordings are still running and are not in this "
                    "summary.</strong></p>\n",
                    count);
    }
}

void summary_html_write(const struct summary *summary, struct arena *arena, struct text *out)
{
    const struct banner *banner = find_banner(summary->study->status);
    write_head(summary, out);
    write_header(summary, banner, out);
    write_patient(summary, out);
    write_study(summary->study, arena, out);
    write_running(summary->study->open_recording_count, out);
    for (size_t i = 0; i < summary->recording_count; i++) {
        summary_recording_write(&summary->recordings[i], i + 1, banner->is_signed, arena, out);
    }
    if (summary->recording_count == 0) {
        text_append(out, "<p>There is no complete recording.</p>\n");
    }
    text_append(out, "</main>\n</body>\n</html>\n");
}
