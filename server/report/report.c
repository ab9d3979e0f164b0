#include "report/report.h"

#include "analysis/criteria.h"
#include "base/clock.h"
#include "formats/json_reader.h"
#include "formats/limits.h"
#include "report/report_labels.h"
#include "report/report_parts.h"
#include "report/report_text.h"

#include <math.h>
#include <string.h>

const char REPORT_CAUTION[] =
    "These numbers were computed from what was uploaded. They support clinical judgement and do "
    "not replace it: check them against the traces. Local protocols and licensed practice decide.";

/* ---- what the parts share ---- */

struct text report_words(const struct report_maker *maker)
{
    struct text words;
    text_init(&words, maker->arena, LIMIT_ANALYSIS_BYTES);
    return words;
}

void report_fact(const struct report_maker *maker, const char *term, const char *words)
{
    if (report_is_given(words)) {
        document_fact(maker->document, term, &(struct document_span){.words = words});
    }
}

void report_person_fact(const struct report_maker *maker, const char *term, const char *words)
{
    if (report_is_given(words)) {
        document_fact(maker->document, term,
                      &(struct document_span){.words = words, .from_person = true});
    }
}

void report_number_fact(const struct report_maker *maker, const char *term,
                        struct optional_number number, const char *ucum)
{
    if (number.known) {
        report_fact(maker, term, report_entered(maker->arena, number.value, ucum));
    }
}

const char *report_type_label(enum recording_type type)
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

const char *report_recording_name(const struct report_maker *maker, size_t index)
{
    const char *label = report_type_label(maker->report->recordings[index].row->type);
    return maker->report->recording_count == 1
               ? label
               : arena_printf(maker->arena, "%zu. %s", index + 1, label);
}

bool report_conditions(const struct report_maker *maker, size_t index,
                       struct document_conditions *ret_conditions)
{
    struct error error = {0};
    const char *json = maker->report->recordings[index].row->conditions_json;
    return json != NULL && conditions_json_read(maker->arena, json, ret_conditions, &error);
}

/* ---- the frame ---- */

static void release_json(void *object)
{
    json_decref(object);
}

static const json_t *const *read_analyses(const struct report *report, struct arena *arena)
{
    const json_t **analyses =
        (const json_t **)arena_array(arena, report->recording_count, sizeof(void *));
    for (size_t i = 0; i < report->recording_count; i++) {
        const char *text = report->recordings[i].analysis_json;
        json_t *analysis = text == NULL ? NULL : json_reader_load_own(text);
        if (analysis != NULL) {
            arena_defer(arena, release_json, analysis);
        }
        analyses[i] = analysis;
    }
    return analyses;
}

/* Neither bowels nor training are urodynamics. */
static const char *title(const struct report *report)
{
    size_t anorectal = 0;
    size_t training = 0;
    for (size_t i = 0; i < report->recording_count; i++) {
        anorectal += report->recordings[i].row->type == RECORDING_ANORECTAL_MANOMETRY ? 1 : 0;
        training += report->recordings[i].row->type == RECORDING_PELVIC_FLOOR_TRAINING ? 1 : 0;
    }
    if (report->recording_count == 0 || anorectal + training < report->recording_count) {
        return "Urodynamic report";
    }
    return training == 0    ? "Report of anorectal manometry"
           : anorectal == 0 ? "Report of pelvic floor training"
                            : "Pelvic floor report";
}

/* The title names no person: titles stay behind in browser histories. */
static struct document *begin_document(const struct report_maker *maker)
{
    const struct report *report = maker->report;
    const struct patient *patient = report->patient;
    struct arena *arena = maker->arena;
    const char *date = report_date(arena, report->study->started_at_us);
    const json_t *software = NULL;
    for (size_t i = 0; i < report->recording_count && software == NULL; i++) {
        software = json_object_get(maker->analyses[i], "software");
    }
    const char *version = report_string(software, "version");
    const struct document_facts facts = {
        .title = arena_printf(arena, "%s, %s", title(report), date),
        .language = "en",
        .author = report->clinic_name,
        .head_start = arena_printf(arena, "%s, %s, born %s, %s", patient->family_name,
                                   patient->given_name, patient->birth_date, patient->mrn),
        .head_end = arena_printf(arena, "%s, %s", report->clinic_name, date),
        .foot =
            version[0] == '\0'
                ? arena_printf(arena, "Version %d of the study", report->study->version)
                : arena_printf(arena, "%s %s, version %d of the study",
                               report_string(software, "name"), version, report->study->version),
        .mark = maker->is_signed      ? NULL
                : maker->is_cancelled ? "Cancelled"
                                      : "Preliminary",
        .code = report->code,
        .code_label = report->code_label,
        .made_at_us = report->made_at_us,
    };
    return document_new(arena, &facts);
}

/* What runs has no final numbers; a reader must not take its absence for a study that had none. */
static void say_what_runs(const struct report_maker *maker)
{
    int count = maker->report->study->open_recording_count;
    if (count > 0) {
        document_words(maker->document, DOCUMENT_CAUTION,
                       count == 1
                           ? "1 recording is still running and is not in this report."
                           : arena_printf(maker->arena,
                                          "%d recordings are still running and are not in this "
                                          "report.",
                                          count));
    }
    if (maker->report->recording_count == 0) {
        document_words(maker->document, DOCUMENT_PLAIN, "There is no complete recording.");
    }
}

struct document *report_document(const struct report *report, struct arena *arena)
{
    const char *status = report->study->status;
    struct report_maker maker = {
        .report = report,
        .arena = arena,
        .is_signed = study_status_is_signed(status),
        .is_cancelled = strcmp(status, "cancelled") == 0,
        .age_years = clock_years_between(report->patient->birth_date, report->study->started_at_us),
    };
    maker.is_child = maker.age_years < CRITERIA_ADULT_YEARS;
    maker.analyses = read_analyses(report, arena);
    maker.document = begin_document(&maker);
    document_heading(maker.document, 1, title(report));
    report_status(&maker);
    report_identification(&maker);
    report_interpretation(&maker);
    say_what_runs(&maker);
    report_brief(&maker);
    document_words(maker.document, DOCUMENT_CAUTION, REPORT_CAUTION);
    report_history(&maker);
    report_technique(&maker);
    for (size_t i = 0; i < report->recording_count; i++) {
        report_recording_part(&maker, i);
    }
    report_signatures(&maker);
    report_methods(&maker);
    return maker.document;
}
