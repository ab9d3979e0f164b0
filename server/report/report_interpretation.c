/* What is read first: conclusion, diagnoses, plan; then what they rest on. */
#include "report/report_labels.h"
#include "report/report_parts.h"
#include "report/report_text.h"

#include <string.h>

static void add_labelled(const struct report_maker *maker, const char *label, const char *words)
{
    if (words[0] != '\0') {
        const struct document_span spans[] = {
            {.words = arena_printf(maker->arena, "%s: ", label), .strong = true},
            {.words = words, .from_person = true}};
        document_paragraph(maker->document, DOCUMENT_PLAIN, spans, 2);
    }
}

/* "Detrusor overactivity (SYSTEM CODE, its words)". */
static const char *coding_words(const struct report_maker *maker, const json_t *coding)
{
    const char *code = report_string(coding, "code");
    const char *display = report_string(coding, "display");
    if (code[0] == '\0') {
        return "";
    }
    return arena_printf(maker->arena, " (%s %s%s%s)", report_string(coding, "system"), code,
                        display[0] == '\0' ? "" : ", ", display);
}

/* A list of items with a "text" below a heading; nothing for none. */
static void add_items(const struct report_maker *maker, const char *heading, const json_t *items)
{
    if (json_array_size(items) == 0) {
        return;
    }
    document_heading(maker->document, 3, heading);
    for (size_t i = 0; i < json_array_size(items); i++) {
        const json_t *item = json_array_get(items, i);
        const char *section = report_string(item, "section");
        struct text label = report_words(maker);
        if (section[0] != '\0') {
            report_section_label(section, &label);
            text_append(&label, ": ");
        }
        const struct document_span spans[] = {
            {.words = label.data},
            {.words = report_string(item, "text"), .from_person = true},
            {.words = coding_words(maker, json_object_get(item, "coding")), .from_person = true},
        };
        document_item(maker->document, spans, 3);
    }
}

static void add_symptoms(const struct report_maker *maker, const json_t *interpretation)
{
    const char *answer = report_string(interpretation, "symptoms_reproduced");
    const char *comment = report_string(interpretation, "symptoms_comment");
    if (answer[0] != '\0' || comment[0] != '\0') {
        struct text words = report_words(maker);
        report_code_words(&words, answer);
        text_append(&words, answer[0] != '\0' && comment[0] != '\0' ? "; " : "");
        text_append(&words, comment);
        add_labelled(maker, "Symptoms reproduced", words.data);
    }
}

static void add_representative(const struct report_maker *maker, json_t *representative)
{
    struct text words = report_words(maker);
    const char *name = NULL;
    json_t *value = NULL;
    json_object_foreach (representative, name, value) {
        if (json_is_boolean(value)) {
            text_append(&words, words.length > 0 ? ", " : "");
            report_code_words(&words, name);
            text_append(&words, json_is_true(value) ? " yes" : " no");
        }
    }
    add_labelled(maker, "Like the patient's usual voiding", words.data);
}

static void add_interpretation(const struct report_maker *maker, const json_t *interpretation)
{
    const char *conclusion = report_string(interpretation, "conclusion");
    if (conclusion[0] != '\0') {
        document_heading(maker->document, 3, "Conclusion");
        document_person_words(maker->document, DOCUMENT_PLAIN, conclusion);
    }
    add_items(maker, "Diagnoses", json_object_get(interpretation, "diagnoses"));
    add_items(maker, "Plan", json_object_get(interpretation, "plan"));
    add_items(maker, "Findings", json_object_get(interpretation, "findings"));
    add_symptoms(maker, interpretation);
    add_representative(maker, json_object_get(interpretation, "representative"));
    add_labelled(maker, "Complications", report_string(interpretation, "complications"));
    add_labelled(maker, "Comment", report_string(interpretation, "comment"));
}

/* ---- drafts, while nobody has interpreted ---- */

static size_t count_drafts(const struct report_maker *maker)
{
    size_t count = 0;
    for (size_t i = 0; i < maker->report->recording_count; i++) {
        count += json_array_size(json_object_get(maker->analyses[i], "findings"));
    }
    return count;
}

/* The values that a draft rests on, by name. */
static void append_basis(const json_t *basis, struct text *out)
{
    for (size_t i = 0; i < json_array_size(basis); i++) {
        const char *path = json_string_value(json_array_get(basis, i));
        const char *dot = path == NULL ? NULL : strchr(path, '.');
        text_append(out, i == 0 ? " Based on: " : ", ");
        if (dot != NULL) {
            report_label(path, (size_t)(dot - path), dot + 1, out);
        } else {
            report_code_words(out, path == NULL ? "" : path);
        }
    }
    text_append(out, json_array_size(basis) > 0 ? "." : "");
}

static void add_draft(const struct report_maker *maker, size_t recording, const json_t *finding)
{
    struct text basis = report_words(maker);
    struct text doubts = report_words(maker);
    append_basis(json_object_get(finding, "basis"), &basis);
    report_limits(json_object_get(finding, "limits"), &basis);
    report_doubts(json_object_get(finding, "quality"), " Doubtful: ", &doubts);
    const struct document_span spans[] = {
        {.words = arena_printf(maker->arena, "%s: ", report_recording_name(maker, recording))},
        {.words = report_string(finding, "text")},
        {.words = basis.data},
        {.words = doubts.data, .strong = true},
    };
    document_item(maker->document, spans, 4);
}

static void add_drafts(const struct report_maker *maker)
{
    document_words(maker->document, DOCUMENT_PLAIN, "No clinician has entered an interpretation.");
    if (count_drafts(maker) == 0) {
        return;
    }
    document_heading(maker->document, 3, "Drafted by rules, for a clinician to accept or drop");
    for (size_t i = 0; i < maker->report->recording_count; i++) {
        const json_t *findings = json_object_get(maker->analyses[i], "findings");
        for (size_t j = 0; j < json_array_size(findings); j++) {
            add_draft(maker, i, json_array_get(findings, j));
        }
    }
    document_words(maker->document, DOCUMENT_NOTE,
                   "Drafted from the numbers below. None is a diagnosis.");
}

void report_interpretation(const struct report_maker *maker)
{
    document_heading(maker->document, 2, "Interpretation");
    if (json_object_size(maker->report->interpretation) > 0) {
        add_interpretation(maker, maker->report->interpretation);
    } else {
        add_drafts(maker);
    }
}
