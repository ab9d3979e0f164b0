/* With what and how it was measured, and what of that nobody stated. */
#include "report/report_labels.h"
#include "report/report_parts.h"
#include "report/report_text.h"

#include <string.h>
#include <strings.h>

/* ---- equipment ---- */

static const char *device_name(const struct report_maker *maker, const struct report_device *device)
{
    struct text words = report_words(maker);
    text_append(&words, device->name == NULL ? "" : device->name);
    if (report_is_given(device->serial)) {
        text_append(&words, words.length > 0 ? ", serial number " : "serial number ");
        text_append(&words, device->serial);
    }
    return words.data;
}

/* Words of the check that begin with the verdict stand for it. */
static const char *device_state(const struct report_maker *maker,
                                const struct report_device *device)
{
    struct text verdict = report_words(maker);
    struct text words = report_words(maker);
    report_code_words(&verdict,
                      report_is_given(device->verdict) ? device->verdict : "not_verified");
    bool is_said = report_is_given(device->words) &&
                   strncasecmp(device->words, verdict.data, verdict.length) == 0;
    text_append(&words, is_said ? "checked" : verdict.data);
    if (device->verified_at_us != 0) {
        text_append(&words, " ");
        text_append(&words, report_date(maker->arena, device->verified_at_us));
    }
    if (device->due_at_us != 0) {
        text_append(&words, ", due ");
        text_append(&words, report_date(maker->arena, device->due_at_us));
    }
    if (report_is_given(device->words)) {
        text_append(&words, "; ");
        text_append(&words, device->words);
    }
    return words.data;
}

static bool is_in_order(const struct report_device *device)
{
    return device->verdict != NULL && strcmp(device->verdict, "passed") == 0;
}

static const char *device_words(const struct report_maker *maker,
                                const struct report_device *device)
{
    struct text words = report_words(maker);
    report_code_words(&words, device->kind == NULL ? "" : device->kind);
    text_append(&words, " (");
    text_append(&words, device_name(maker, device));
    text_append(&words, ")");
    return words.data;
}

/* What is in order is told in small letters, one after the other. */
static void add_equipment_in_order(const struct report_maker *maker)
{
    const struct report *report = maker->report;
    struct text words = report_words(maker);
    for (size_t i = 0; i < report->device_count; i++) {
        const struct report_device *device = &report->devices[i];
        if (is_in_order(device)) {
            text_printf(&words, "%s%s: %s", words.length > 0 ? "; " : "",
                        device_words(maker, device), device_state(maker, device));
        }
    }
    if (words.length > 0) {
        const struct document_span spans[] = {
            {.words = "Equipment of the room, last verification. ", .strong = true},
            {.words = words.data, .from_person = true},
            {.words = "."}};
        document_paragraph(maker->document, DOCUMENT_NOTE, spans, 3);
    }
}

static const char *full_stop(const struct text *words)
{
    return words->data[words->length - 1] == '.' ? "" : ".";
}

static void add_equipment_not_in_order(const struct report_maker *maker)
{
    const struct report *report = maker->report;
    struct text words = report_words(maker);
    for (size_t i = 0; i < report->device_count; i++) {
        const struct report_device *device = &report->devices[i];
        if (!is_in_order(device)) {
            text_printf(&words, "%s%s: %s", words.length > 0 ? "; " : "",
                        device_words(maker, device), device_state(maker, device));
        }
    }
    if (words.length > 0) {
        const struct document_span spans[] = {
            {.words = "Equipment without a valid verification: ", .strong = true},
            {.words = words.data, .from_person = true},
            {.words = full_stop(&words)}};
        document_paragraph(maker->document, DOCUMENT_PLAIN, spans, 3);
    }
}

static void add_equipment(const struct report_maker *maker)
{
    add_equipment_not_in_order(maker);
    add_equipment_in_order(maker);
}

/* ---- what is not stated ---- */

static bool has_pressures(enum recording_type type)
{
    return type != RECORDING_UROFLOWMETRY && type != RECORDING_PELVIC_FLOOR_TRAINING;
}

static bool fills_the_bladder(enum recording_type type)
{
    return type == RECORDING_CYSTOMETRY || type == RECORDING_PRESSURE_FLOW;
}

static bool is_about_voiding(enum recording_type type)
{
    return type == RECORDING_UROFLOWMETRY || fills_the_bladder(type);
}

/* A fact that a recording of some types has to state. */
struct required {
    const char *words;
    bool (*applies)(enum recording_type type);
    bool (*is_stated)(const struct report_maker *maker, const struct document_conditions *given);
};

static bool states_position(const struct report_maker *maker,
                            const struct document_conditions *given)
{
    return report_is_given(given->position) || report_is_given(maker->report->study->position);
}

static bool states_reference(const struct report_maker *maker,
                             const struct document_conditions *given)
{
    (void)maker;
    return report_is_given(given->reference_level);
}

static bool states_zero(const struct report_maker *maker, const struct document_conditions *given)
{
    (void)maker;
    return report_is_given(given->zeroed);
}

static bool states_catheters(const struct report_maker *maker,
                             const struct document_conditions *given)
{
    (void)given;
    return report_is_given(maker->report->study->catheters);
}

static bool states_residual(const struct report_maker *maker,
                            const struct document_conditions *given)
{
    (void)maker;
    return given->numbers.post_void_residual_ml.known;
}

static bool states_initial_residual(const struct report_maker *maker,
                                    const struct document_conditions *given)
{
    (void)maker;
    return given->numbers.initial_residual_ml.known;
}

static bool any_type(enum recording_type type)
{
    (void)type;
    return true;
}

static const struct required required[] = {
    {"position", any_type, states_position},
    {"catheters", has_pressures, states_catheters},
    {"reference level", has_pressures, states_reference},
    {"zero", has_pressures, states_zero},
    {"residual before filling", fills_the_bladder, states_initial_residual},
    {"post-void residual", is_about_voiding, states_residual},
};

static bool is_missing(const struct report_maker *maker, const struct required *fact, size_t index)
{
    struct document_conditions given = {.position = "", .reference_level = "", .zeroed = ""};
    if (!fact->applies(maker->report->recordings[index].row->type)) {
        return false;
    }
    if (!report_conditions(maker, index, &given)) {
        given = (struct document_conditions){.position = "", .reference_level = "", .zeroed = ""};
    }
    return !fact->is_stated(maker, &given);
}

static void append_missing(const char *words, struct text *out)
{
    text_append(out, out->length > 0 ? ", " : "");
    text_append(out, words);
}

/* The fact, with the recordings that lack it where others state it. */
static void append_required(const struct report_maker *maker, const struct required *fact,
                            struct text *out)
{
    size_t applies = 0;
    size_t missing = 0;
    struct text numbers = report_words(maker);
    for (size_t i = 0; i < maker->report->recording_count; i++) {
        applies += fact->applies(maker->report->recordings[i].row->type) ? 1 : 0;
        if (is_missing(maker, fact, i)) {
            text_printf(&numbers, missing > 0 ? ", %zu" : "%zu", i + 1);
            missing++;
        }
    }
    if (missing == 0) {
        return;
    }
    append_missing(fact->words, out);
    if (missing < applies) {
        text_printf(out, missing == 1 ? " (recording %s)" : " (recordings %s)", numbers.data);
    }
}

static void say_what_is_missing(const struct report_maker *maker)
{
    const struct report *report = maker->report;
    struct text missing = report_words(maker);
    if (!report_is_given(report->study->operator_name)) {
        append_missing("operator", &missing);
    }
    if (!report_is_given(report->referrer)) {
        append_missing("referrer", &missing);
    }
    json_t *history =
        report->study->history == NULL ? NULL : json_loads(report->study->history, 0, NULL);
    if (report_string(history, "question")[0] == '\0') {
        append_missing("question of the test", &missing);
    }
    json_decref(history);
    for (size_t i = 0; i < sizeof required / sizeof required[0]; i++) {
        append_required(maker, &required[i], &missing);
    }
    if (report->device_count == 0) {
        append_missing("equipment and its verification", &missing);
    }
    if (missing.length > 0) {
        const struct document_span spans[] = {
            {.words = "Not stated: ", .strong = true}, {.words = missing.data}, {.words = "."}};
        document_paragraph(maker->document, DOCUMENT_PLAIN, spans, 3);
    }
}

void report_technique(const struct report_maker *maker)
{
    const struct study *study = maker->report->study;
    document_heading(maker->document, 2, "Technique");
    report_person_fact(maker, "Position", study->position);
    report_person_fact(maker, "Catheters", study->catheters);
    add_equipment(maker);
    say_what_is_missing(maker);
}
