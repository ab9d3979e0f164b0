/* Whom a report is about, how it came about, and who answers for it. */
#include "report/report_labels.h"
#include "report/report_parts.h"
#include "report/report_text.h"

#include <math.h>
#include <string.h>

enum { MONTHS_TOLD_BELOW_YEARS = 3 };

/* ---- status and signatures ---- */

static const struct report_signature *last_signature(const struct report *report)
{
    return report->signature_count == 0 ? NULL : &report->signatures[report->signature_count - 1];
}

static void add_signer(const struct report_maker *maker, const char *lead,
                       const struct report_signature *signature)
{
    const char *role = signature->signer_role;
    const struct document_span spans[] = {
        {.words = lead, .strong = true},
        {.words = arena_printf(maker->arena, " Signed %s by ",
                               report_time(maker->arena, signature->signed_at_us))},
        {.words = signature->signer_name, .from_person = true},
        {.words = report_is_given(role) ? ", " : ""},
        {.words = role, .from_person = true},
        {.words = "."},
        {.words = report_is_given(signature->reason) ? " Amended because: " : ""},
        {.words = signature->reason, .from_person = true},
    };
    document_paragraph(maker->document, DOCUMENT_CAUTION, spans, sizeof spans / sizeof spans[0]);
}

void report_status(const struct report_maker *maker)
{
    const struct report_signature *signature = last_signature(maker->report);
    const char *words = "Preliminary: not reviewed or signed by a clinician.";
    if (maker->is_cancelled) {
        words = "Cancelled: this study was cancelled. What is shown was not reviewed or signed by "
                "a clinician.";
    } else if (maker->is_signed) {
        words = strcmp(maker->report->study->status, "final") == 0
                    ? "Final: reviewed and signed by a clinician."
                    : "Amended: changed after signature and signed again by a clinician.";
    }
    if (maker->is_signed && signature != NULL) {
        add_signer(maker, words, signature);
    } else {
        document_paragraph(maker->document, DOCUMENT_CAUTION,
                           &(struct document_span){.words = words, .strong = true}, 1);
    }
}

void report_signatures(const struct report_maker *maker)
{
    static const struct document_column columns[] = {{"Number", true, 0.6},
                                                     {"Signed", false, 1.4},
                                                     {"By", false, 2.0},
                                                     {"As", false, 1.5},
                                                     {"Reason", false, 2.5}};
    const struct report *report = maker->report;
    if (report->signature_count < 2) {
        return;
    }
    document_heading(maker->document, 2, "Signatures");
    document_table(maker->document, "Signed and amended", columns,
                   sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < report->signature_count; i++) {
        const struct report_signature *signature = &report->signatures[i];
        struct text as = report_words(maker);
        text_append(&as, signature->signer_role == NULL ? "" : signature->signer_role);
        text_append(&as, as.length > 0 && report_is_given(signature->meaning) ? ", " : "");
        text_append(&as, signature->meaning == NULL ? "" : signature->meaning);
        const struct document_span cells[] = {
            {.words = arena_printf(maker->arena, "%d", signature->number)},
            {.words = report_time(maker->arena, signature->signed_at_us)},
            {.words = signature->signer_name, .from_person = true},
            {.words = as.data, .from_person = true},
            {.words = signature->reason, .from_person = true},
        };
        document_row(maker->document, cells);
    }
}

/* ---- identification ---- */

static const char *age_words(const struct report_maker *maker)
{
    double years = maker->age_years;
    if (!isfinite(years) || years < 0.0) {
        return NULL;
    }
    if (years < MONTHS_TOLD_BELOW_YEARS) {
        return arena_printf(maker->arena, "%.0f months", floor(12.0 * years));
    }
    return arena_printf(maker->arena, "%.0f years", floor(years));
}

void report_identification(const struct report_maker *maker)
{
    const struct report *report = maker->report;
    const struct patient *patient = report->patient;
    const struct study *study = report->study;
    document_heading(maker->document, 2, "Patient and study");
    report_person_fact(
        maker, "Patient",
        arena_printf(maker->arena, "%s, %s", patient->family_name, patient->given_name));
    report_person_fact(maker, "Record number", patient->mrn);
    report_person_fact(maker, "Born", patient->birth_date);
    report_fact(maker, "Age at the study", age_words(maker));
    report_fact(maker, "Sex", patient->sex);
    report_number_fact(maker, "Weight", patient->weight_kg, "kg");
    report_person_fact(maker, "Clinic", report->clinic_name);
    report_person_fact(maker, "Room", study->room);
    report_fact(maker, "Date and time", report_time(maker->arena, study->started_at_us));
    report_person_fact(maker, "Operator", study->operator_name);
    report_person_fact(maker, "Referred by", report->referrer);
}

/* ---- history ---- */

static void append_scalar(const json_t *value, struct text *out)
{
    if (json_is_string(value)) {
        text_append(out, json_string_value(value));
    } else if (json_is_number(value)) {
        text_append_number(out, json_number_value(value));
    } else if (json_is_boolean(value)) {
        text_append(out, json_is_true(value) ? "yes" : "no");
    } else {
        text_append(out, json_is_null(value) ? "not given" : "see the study record");
    }
}

/* A member of the history: a scalar, or one level of a list or of named values. */
static void append_value(json_t *value, struct text *out)
{
    const char *separator = "";
    const char *name = NULL;
    size_t index = 0;
    json_t *item = NULL;
    if (json_is_array(value)) {
        json_array_foreach (value, index, item) {
            text_append(out, separator);
            append_scalar(item, out);
            separator = ", ";
        }
    } else if (json_is_object(value)) {
        json_object_foreach (value, name, item) {
            text_append(out, separator);
            report_code_words(out, name);
            text_append_char(out, ' ');
            append_scalar(item, out);
            separator = "; ";
        }
    } else {
        append_scalar(value, out);
    }
}

struct history_member {
    const char *name;
    const char *label;
};

/* In the order in which they are read. */
static const struct history_member history_members[] = {
    {"question", "Question of the test"},
    {"symptoms", "Symptoms"},
    {"symptom_score", "Symptom score"},
    {"diary", "Diary"},
    {"pad_test", "Pad test"},
    {"medication", "Medication"},
    {"previous_surgery", "Previous surgery"},
    {"neurological_state", "Neurological state"},
    {"examination", "Examination"},
    {"urine_test", "Urine test"},
    {"allergies", "Allergies"},
};

enum { HISTORY_MEMBER_COUNT = sizeof history_members / sizeof history_members[0] };

static bool is_known_member(const char *name)
{
    for (size_t i = 0; i < HISTORY_MEMBER_COUNT; i++) {
        if (strcmp(history_members[i].name, name) == 0) {
            return true;
        }
    }
    return false;
}

static void add_history(const struct report_maker *maker, const char *label, json_t *value)
{
    struct text words = report_words(maker);
    append_value(value, &words);
    if (words.length > 0) {
        const struct document_span spans[] = {
            {.words = arena_printf(maker->arena, "%s: ", label), .strong = true},
            {.words = words.data, .from_person = true}};
        document_item(maker->document, spans, 2);
    }
}

static void add_other_history(const struct report_maker *maker, json_t *history)
{
    const char *name = NULL;
    json_t *value = NULL;
    json_object_foreach (history, name, value) {
        if (!is_known_member(name)) {
            struct text label = report_words(maker);
            report_code_words(&label, name);
            add_history(maker, label.data, value);
        }
    }
}

void report_history(const struct report_maker *maker)
{
    json_t *history = maker->report->study->history == NULL
                          ? NULL
                          : json_loads(maker->report->study->history, 0, NULL);
    if (json_object_size(history) > 0) {
        document_heading(maker->document, 2, "History");
        for (size_t i = 0; i < HISTORY_MEMBER_COUNT; i++) {
            json_t *value = json_object_get(history, history_members[i].name);
            if (value != NULL) {
                add_history(maker, history_members[i].label, value);
            }
        }
        add_other_history(maker, history);
    }
    json_decref(history);
}
