#include "report/brief_numbers.h"

#include "formats/display.h"
#include "formats/json_reader.h"
#include "report/brief_text.h"
#include "report/report_labels.h"
#include "report/report_parts.h"

#include <string.h>

enum { NUMBERS_MOST = 6, CAUTIONS_MOST = 8 };

struct key_number {
    const char *section;
    const char *code;
    const char *class_code; /* the classification whose class says it in words; NULL: none */
};

/* Most telling first, by section; a list stands for how many it holds. */
static const struct key_number KEYS[] = {
    {"filling", "involuntary_contractions", NULL},
    {"filling", "leaks", NULL},
    {"filling", "cystometric_capacity", NULL},
    {"filling", "compliance", NULL},
    {"filling", "abdominal_leak_point_pressure", "stress_leak_point"},
    {"filling", "detrusor_leak_point_pressure", "detrusor_leak_point"},
    {"voiding", "booi", "ics_obstruction"},
    {"voiding", "female_booi", "female_obstruction"},
    {"voiding", "bci", "contractility"},
    {"voiding", "pip1", "pip1_contractility"},
    {"voiding", "pdet_qmax", NULL},
    {"voiding", "qmax", NULL},
    {"voiding", "post_void_residual", NULL},
    {"uroflow", "qmax", "adequate_flow"},
    {"uroflow", "voided_volume", NULL},
    {"uroflow", "post_void_residual", NULL},
    {"uroflow", "flow_pattern", NULL},
    {"profiles_summary", "maximum_closure_pressure", "urethral_closure_pressure"},
    {"profiles_summary", "functional_length", NULL},
    {"anorectal", "resting_pressure", "london_tone"},
    {"anorectal", "squeeze_increment", "london_contractility"},
    {"anorectal", "push_anal_relaxation", NULL},
    {"anorectal", "balloon_expulsion_time", NULL},
    {"anorectal", "rair", NULL},
    {"anorectal", "maximum_tolerated_volume", NULL},
    {"training", "peak_best", NULL},
    {"training", "peak_pressure", NULL},
    {"training", "endurance", NULL},
    {"training", "quick_count_10s", NULL},
    {"training", "commands_followed", NULL},
};

enum { KEY_COUNT = sizeof KEYS / sizeof KEYS[0] };

/* The class in a recording's analysis, or "". */
static const char *class_of(const json_t *analysis, const char *classification)
{
    const json_t *items = json_object_get(analysis, "classifications");
    for (size_t i = 0; classification != NULL && i < json_array_size(items); i++) {
        const json_t *item = json_array_get(items, i);
        if (strcmp(report_string(item, "code"), classification) == 0) {
            return report_string(item, "class");
        }
    }
    return "";
}

static void begin_number(const struct key_number *key, struct text *out)
{
    text_printf(out, "<div data-code=\"%s.%s\"><dt>", key->section, key->code);
    brief_label(key->section, key->code, out);
    text_append(out, "</dt><dd>");
}

static void write_value(const struct catalogue_row *row, const json_t *value, struct text *out)
{
    if (json_is_number(value)) {
        text_append(out, "<span class=\"value\">");
        display_number(out, row, json_number_value(value));
        text_append(out, "</span>");
        const char *unit = display_unit(row->unit);
        if (unit[0] != '\0') {
            text_append(out, " <span class=\"unit\">");
            text_append_html(out, unit);
            text_append(out, "</span>");
        }
        return;
    }
    const char *word =
        json_is_boolean(value) ? json_is_true(value) ? "yes" : "no" : json_string_value(value);
    text_append(out, "<span class=\"value\">");
    brief_code_words(out, word == NULL ? "" : word);
    text_append(out, "</span>");
}

static void write_measure(const struct key_number *key, const json_t *measure,
                          const json_t *analysis, struct text *out)
{
    const struct catalogue_row *row =
        report_find_row(key->section, strlen(key->section), key->code);
    if (row == NULL) {
        return;
    }
    begin_number(key, out);
    write_value(row, json_object_get(measure, "value"), out);
    const char *class = class_of(analysis, key->class_code);
    if (class[0] != '\0') {
        text_append(out, " <span class=\"word\">");
        brief_code_words(out, class);
        text_append(out, "</span>");
    }
    brief_doubts(json_object_get(measure, "quality"), " ", out);
    text_append(out, "</dd></div>\n");
}

static void write_count(const struct key_number *key, size_t count, struct text *out)
{
    begin_number(key, out);
    text_append(out, "<span class=\"value\">");
    if (count == 0) {
        text_append(out, "none found");
    } else {
        text_printf(out, "%zu", count);
    }
    text_append(out, "</span></dd></div>\n");
}

/* Whether there is something to say. */
static bool write_key(const struct key_number *key, const json_t *analysis, struct text *out)
{
    const json_t *sections = json_object_get(analysis, "sections");
    const json_t *found = json_object_get(json_object_get(sections, key->section), key->code);
    if (json_is_array(found)) {
        write_count(key, json_array_size(found), out);
        return true;
    }
    const json_t *value = json_object_get(found, "value");
    if (value == NULL || json_is_null(value)) {
        return false;
    }
    write_measure(key, found, analysis, out);
    return true;
}

static void write_recording(const struct brief_recording *recording, const json_t *analysis,
                            bool is_signed, struct text *out)
{
    struct text keys;
    size_t count = 0;
    text_init(&keys, out->arena, out->limit);
    for (size_t i = 0; i < KEY_COUNT && count < NUMBERS_MOST; i++) {
        count += write_key(&KEYS[i], analysis, &keys) ? 1 : 0;
    }
    text_append(out, "<h3>");
    text_append_html(out, report_type_label(recording->row->type));
    text_append(out, is_signed ? "</h3>\n" : ", preliminary</h3>\n");
    if (count == 0) {
        text_append(out, "<p>No number could be computed; the report says why.</p>\n");
        return;
    }
    text_append(out, "<dl class=\"keys\">\n");
    text_append(out, keys.data);
    text_append(out, "</dl>\n");
    out->overflowed = out->overflowed || keys.overflowed;
}

/* Of several of a kind the last one is shown, and how many there are. */
static size_t later_of_kind(const struct brief *brief, size_t index)
{
    size_t count = 0;
    for (size_t i = index + 1; i < brief->recording_count; i++) {
        count += brief->recordings[i].row->type == brief->recordings[index].row->type ? 1 : 0;
    }
    return count;
}

static size_t earlier_of_kind(const struct brief *brief, size_t index)
{
    size_t count = 0;
    for (size_t i = 0; i < index; i++) {
        count += brief->recordings[i].row->type == brief->recordings[index].row->type ? 1 : 0;
    }
    return count;
}

void brief_numbers_write(const struct brief *brief, bool is_signed, struct text *out)
{
    for (size_t i = 0; i < brief->recording_count; i++) {
        const struct brief_recording *recording = &brief->recordings[i];
        if (later_of_kind(brief, i) > 0) {
            continue;
        }
        json_t *analysis = recording->analysis_json == NULL
                               ? NULL
                               : json_reader_load_own(recording->analysis_json);
        write_recording(recording, analysis, is_signed, out);
        json_decref(analysis);
        size_t earlier = earlier_of_kind(brief, i);
        if (earlier > 0) {
            text_printf(out,
                        "<p class=\"note\">The last of %zu; the others are in the report.</p>\n",
                        earlier + 1);
        }
    }
    if (brief->recording_count == 0) {
        text_append(out, "<p>There is no complete recording.</p>\n");
    }
}

/* ---- cautions ---- */

struct cautions {
    size_t count;
    size_t left_out;
    const char *texts[CAUTIONS_MOST];
};

static void add_caution(struct cautions *cautions, const char *words, struct arena *arena)
{
    for (size_t i = 0; i < cautions->count; i++) {
        if (strcmp(cautions->texts[i], words) == 0) {
            return;
        }
    }
    if (cautions->count == CAUTIONS_MOST) {
        cautions->left_out++;
    } else {
        cautions->texts[cautions->count++] = arena_strdup(arena, words);
    }
}

/* Those of one severity, so that what is worse stands first; notes are for the report. */
static void collect(const struct brief *brief, const char *severity, struct cautions *cautions,
                    struct arena *arena)
{
    for (size_t i = 0; i < brief->recording_count; i++) {
        const char *json = brief->recordings[i].analysis_json;
        json_t *analysis = json == NULL ? NULL : json_reader_load_own(json);
        const json_t *items = json_object_get(analysis, "quality");
        for (size_t j = 0; j < json_array_size(items); j++) {
            const json_t *item = json_array_get(items, j);
            if (strcmp(report_string(item, "severity"), severity) == 0) {
                add_caution(cautions, report_string(item, "text"), arena);
            }
        }
        json_decref(analysis);
    }
}

bool brief_cautions_write(const struct brief *brief, struct text *out)
{
    struct cautions cautions = {0};
    collect(brief, "error", &cautions, out->arena);
    collect(brief, "warning", &cautions, out->arena);
    for (size_t i = 0; i < cautions.count; i++) {
        text_append(out, "<li>");
        text_append_html(out, cautions.texts[i]);
        text_append(out, "</li>\n");
    }
    if (cautions.left_out > 0) {
        text_append(out, "<li>There are more of these: see the report.</li>\n");
    }
    return cautions.count > 0;
}
