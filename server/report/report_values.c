/* The values and lists of an analysis document as tables. */
#include "figure/plot.h"
#include "formats/display.h"
#include "formats/json_writer.h"
#include "report/report_labels.h"
#include "report/report_parts.h"
#include "report/report_text.h"

#include <math.h>
#include <string.h>

enum { ITEMS_SHOWN_MAX = 40, PULLS_A_TABLE = 6 };

/* A number rounded to a step, a yes or no, or a word. */
static void append_scalar(double report_step, const json_t *value, struct text *out)
{
    if (json_is_number(value)) {
        display_rounded(out, report_step, json_number_value(value));
    } else if (json_is_boolean(value)) {
        text_append(out, json_is_true(value) ? "yes" : "no");
    } else {
        const char *word = json_string_value(value);
        report_code_words(out, word == NULL ? "" : word);
    }
}

/* ---- numbers told beside a value ---- */

/* Those that say how a value is to be read. What else stands beside it in the document is for who
 * checks the computation. */
struct part {
    const char *code;
    const char *words;
    const char *unit; /* NULL: the value's own, and its step */
    double report_step;
};

static const struct part parts[] = {
    {"baseline", "before it", NULL, 0.0},
    {"rise", "rise", NULL, 0.0},
    {"rise_from_empty", "rise from the empty bladder", NULL, 0.0},
    {"over_rest", "over rest", NULL, 0.0},
    {"spread", "SD", NULL, 0.0},
    {"cv_percent", "CV", "%", 1.0},
    {"count", "n", "1", 1.0},
    {"volume_ml", "volume", "mL", 1.0},
    {"length_s", "over", "s", 1.0},
    {"duration_s", "for", "s", 1.0},
    {"relaxation_percent", "relaxation", "%", 1.0},
    {"commanded_s", "commanded", "s", 1.0},
    {"commanded", "commanded", "1", 1.0},
    {"followed", "followed", "1", 1.0},
    {"rest_cmh2o", "at rest", "cm[H2O]", 1.0},
    {"rise_cmh2o", "rise", "cm[H2O]", 1.0},
    {"peak_pdet", "peak", "cm[H2O]", 1.0},
    {"pabd_rise", "rise of pabd", "cm[H2O]", 1.0},
};

static const struct part *find_part(const char *code)
{
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        if (strcmp(code, parts[i].code) == 0) {
            return &parts[i];
        }
    }
    return NULL;
}

static void append_part(const struct catalogue_row *row, const struct part *part, double value,
                        struct text *out)
{
    const char *unit = display_unit(part->unit == NULL ? row->unit : part->unit);
    text_append(out, part->words);
    text_append_char(out, ' ');
    display_rounded(out, part->unit == NULL ? row->report_step : part->report_step, value);
    text_append(out, unit[0] == '\0' ? "" : " ");
    text_append(out, unit);
}

/* ---- values ---- */

static void append_separator(struct text *out)
{
    text_append(out, out->length > 0 ? "; " : "");
}

static void append_parts(const struct catalogue_row *row, json_t *measure, struct text *out)
{
    const char *member = NULL;
    json_t *value = NULL;
    json_object_foreach (measure, member, value) {
        const struct part *part = find_part(member);
        if (part != NULL && json_is_number(value)) {
            append_separator(out);
            append_part(row, part, json_number_value(value), out);
        }
    }
}

/* What was entered, as it was entered where rounding has changed it. */
static void append_entered(const struct catalogue_row *row, double value, struct text *out)
{
    double rounded = row->report_step > 0.0 ? catalogue_rounded_to(row->report_step, value) : value;
    text_append(out, "entered");
    if (fabs(rounded - value) > 1e-9) {
        text_append_char(out, ' ');
        json_writer_rounded(out, value);
    }
}

/* Where it came from unless it was computed, when, what stands beside it, and what is doubtful. */
static void append_how(const struct catalogue_row *row, json_t *measure, struct text *out)
{
    const char *source = report_string(measure, "source");
    const json_t *value = json_object_get(measure, "value");
    if (strcmp(source, "entered") == 0 && json_is_number(value)) {
        append_entered(row, json_number_value(value), out);
    } else if (strcmp(source, "override") == 0) {
        text_append(out, "clinician's own value");
    }
    const json_t *at_s = json_object_get(measure, "at_s");
    if (json_is_number(at_s)) {
        append_separator(out);
        text_append(out, "at ");
        plot_append_clock(out, json_number_value(at_s), 1.0);
    }
    append_parts(row, measure, out);
    if (json_array_size(json_object_get(measure, "quality")) > 0) {
        append_separator(out);
        text_append(out, "doubtful");
    }
}

static void add_measure(const struct report_maker *maker, const struct catalogue_row *row,
                        json_t *measure)
{
    const json_t *value = json_object_get(measure, "value");
    struct text shown = report_words(maker);
    struct text how = report_words(maker);
    append_scalar(row->report_step, value, &shown);
    append_how(row, measure, &how);
    bool is_doubtful = json_array_size(json_object_get(measure, "quality")) > 0;
    const struct document_span cells[] = {
        {.words = row->label},
        {.words = shown.data},
        {.words = json_is_number(value) ? display_unit(row->unit) : ""},
        {.words = how.data, .strong = is_doubtful},
    };
    document_row(maker->document, cells);
}

static const char *caption(const struct report_maker *maker, const char *label)
{
    return maker->is_signed ? label : arena_printf(maker->arena, "%s, preliminary", label);
}

static const char *doubts_of(const struct report_maker *maker, const json_t *section,
                             const struct catalogue_row *row)
{
    struct text doubts = report_words(maker);
    report_doubts(json_object_get(json_object_get(section, row->code), "quality"), "", &doubts);
    return doubts.data;
}

/* What makes values doubtful, each reason once, with the values. */
static void add_doubts(const struct report_maker *maker, const struct catalogue_section *rows,
                       const json_t *section)
{
    for (size_t i = 0; i < rows->row_count; i++) {
        const char *doubts = doubts_of(maker, section, &rows->rows[i]);
        struct text labels = report_words(maker);
        bool is_told = doubts[0] == '\0';
        for (size_t j = 0; j < i && !is_told; j++) {
            is_told = strcmp(doubts_of(maker, section, &rows->rows[j]), doubts) == 0;
        }
        for (size_t j = i; j < rows->row_count && !is_told; j++) {
            if (strcmp(doubts_of(maker, section, &rows->rows[j]), doubts) == 0) {
                text_append(&labels, labels.length > 0 ? ", " : "");
                text_append(&labels, rows->rows[j].label);
            }
        }
        if (!is_told) {
            const struct document_span spans[] = {
                {.words = arena_printf(maker->arena, "Doubtful, %s: ", doubts), .strong = true},
                {.words = labels.data},
                {.words = "."}};
            document_item(maker->document, spans, 3);
        }
    }
}

/* False when there is no value. */
static bool add_values(const struct report_maker *maker, const struct catalogue_section *rows,
                       const json_t *section)
{
    static const struct document_column columns[] = {{"Measure", false, 4.0},
                                                     {"Value", true, 1.0},
                                                     {"Unit", false, 1.0},
                                                     {"Remarks", false, 1.5}};
    bool any = false;
    for (size_t i = 0; i < rows->row_count; i++) {
        json_t *measure = json_object_get(section, rows->rows[i].code);
        if (!json_is_object(measure)) {
            continue;
        }
        if (!any) {
            document_table(maker->document, caption(maker, "Values"), columns,
                           sizeof columns / sizeof columns[0]);
            document_table_fold(maker->document);
            any = true;
        }
        add_measure(maker, &rows->rows[i], measure);
    }
    add_doubts(maker, rows, section);
    return any;
}

/* ---- lists ---- */

/* Places on the time axis, told as the figures tell them. */
static bool is_moment(const struct catalogue_column *column)
{
    static const char *const moments[] = {"at_s", "start_s", "end_s", "peak_s"};
    for (size_t i = 0; i < sizeof moments / sizeof moments[0]; i++) {
        if (strcmp(column->code, moments[i]) == 0) {
            return true;
        }
    }
    return false;
}

static const char *column_label(const struct report_maker *maker,
                                const struct catalogue_column *column)
{
    const char *unit = is_moment(column) ? "min:s" : display_unit(column->unit);
    return unit[0] == '\0' ? column->label
                           : arena_printf(maker->arena, "%s (%s)", column->label, unit);
}

static void begin_list(const struct report_maker *maker, const struct catalogue_list *list,
                       const char *label)
{
    struct document_column *columns =
        arena_array(maker->arena, list->column_count, sizeof *columns);
    for (size_t i = 0; i < list->column_count; i++) {
        columns[i].label = column_label(maker, &list->columns[i]);
        columns[i].is_number = list->columns[i].kind == CATALOGUE_NUMBER;
    }
    document_table(maker->document, caption(maker, label), columns, list->column_count);
    document_table_fold(maker->document);
}

static void add_item(const struct report_maker *maker, const struct catalogue_list *list,
                     const json_t *item)
{
    struct document_span *cells = arena_array(maker->arena, list->column_count, sizeof *cells);
    for (size_t i = 0; i < list->column_count; i++) {
        const json_t *value = json_object_get(item, list->columns[i].code);
        struct text words = report_words(maker);
        if (value == NULL) {
            text_append(&words, "\u2013");
        } else if (json_is_number(value) && is_moment(&list->columns[i])) {
            plot_append_clock(&words, json_number_value(value), list->columns[i].report_step);
        } else {
            append_scalar(list->columns[i].report_step, value, &words);
        }
        cells[i].words = words.data;
    }
    document_row(maker->document, cells);
}

static void add_list(const struct report_maker *maker, const struct catalogue_list *list,
                     const char *label, const json_t *items)
{
    size_t count = json_array_size(items);
    size_t shown = count < ITEMS_SHOWN_MAX ? count : ITEMS_SHOWN_MAX;
    if (count == 0) {
        document_words(maker->document, DOCUMENT_PLAIN,
                       arena_printf(maker->arena, "%s: none found.", label));
        return;
    }
    begin_list(maker, list, label);
    for (size_t i = 0; i < shown; i++) {
        add_item(maker, list, json_array_get(items, i));
    }
    if (shown < count) {
        document_words(
            maker->document, DOCUMENT_NOTE,
            arena_printf(maker->arena, "%zu more are in the analysis document.", count - shown));
    }
}

/* False when the section has no list; `ending` tells lists of the same name apart. */
static bool add_lists(const struct report_maker *maker, const struct catalogue_section *rows,
                      const json_t *section, const char *ending)
{
    bool any = false;
    for (size_t i = 0; i < rows->list_count; i++) {
        const json_t *items = json_object_get(section, rows->lists[i].code);
        bool is_told = !rows->repeated || json_array_size(items) > 0;
        if (json_is_array(items) && is_told) {
            add_list(maker, &rows->lists[i],
                     arena_printf(maker->arena, "%s%s", rows->lists[i].label, ending), items);
            any = true;
        }
    }
    return any;
}

/* ---- sections with several entries, side by side ---- */

static bool any_has(const json_t *entries, const char *code)
{
    for (size_t i = 0; i < json_array_size(entries); i++) {
        if (json_is_object(json_object_get(json_array_get(entries, i), code))) {
            return true;
        }
    }
    return false;
}

static const char *entry_words(const struct report_maker *maker, const struct catalogue_row *row,
                               const json_t *measure)
{
    struct text words = report_words(maker);
    if (!json_is_object(measure)) {
        return "\u2013";
    }
    append_scalar(row->report_step, json_object_get(measure, "value"), &words);
    text_append(&words, json_array_size(json_object_get(measure, "quality")) > 0 ? "*" : "");
    return words.data;
}

static void begin_entries(const struct report_maker *maker, size_t first, size_t count)
{
    struct document_column columns[1 + PULLS_A_TABLE] = {{"Measure", false, 4.0}};
    for (size_t i = 0; i < count; i++) {
        columns[1 + i] = (struct document_column){
            arena_printf(maker->arena, "Pull %zu", first + i + 1), true, 1.0};
    }
    document_table(maker->document, caption(maker, "Values"), columns, 1 + count);
    document_table_fold(maker->document);
}

static void add_entries(const struct report_maker *maker, const struct catalogue_section *rows,
                        const json_t *entries, size_t first)
{
    size_t left = json_array_size(entries) - first;
    size_t count = left < PULLS_A_TABLE ? left : PULLS_A_TABLE;
    begin_entries(maker, first, count);
    for (size_t i = 0; i < rows->row_count; i++) {
        const struct catalogue_row *row = &rows->rows[i];
        const char *unit = display_unit(row->unit);
        struct document_span cells[1 + PULLS_A_TABLE] = {
            {.words = unit[0] == '\0' ? row->label
                                      : arena_printf(maker->arena, "%s, %s", row->label, unit)}};
        for (size_t j = 0; j < count; j++) {
            const json_t *entry = json_array_get(entries, first + j);
            cells[1 + j].words = entry_words(maker, row, json_object_get(entry, row->code));
        }
        if (any_has(entries, row->code)) {
            document_row(maker->document, cells);
        }
    }
}

/* A pull's doubts, each said once, whatever number of its values it makes doubtful. */
static void add_doubts_of_pull(const struct report_maker *maker,
                               const struct catalogue_section *rows, const json_t *entry,
                               size_t number)
{
    const char *said = "";
    for (size_t i = 0; i < rows->row_count; i++) {
        struct text doubts = report_words(maker);
        report_doubts(json_object_get(json_object_get(entry, rows->rows[i].code), "quality"), "",
                      &doubts);
        if (doubts.length > 0 && strcmp(doubts.data, said) != 0) {
            const struct document_span spans[] = {
                {.words = arena_printf(maker->arena, "* Pull %zu, doubtful: ", number)},
                {.words = doubts.data, .strong = true}};
            document_item(maker->document, spans, 2);
            said = doubts.data;
        }
    }
}

static void add_repeated(const struct report_maker *maker, const struct catalogue_section *rows,
                         const json_t *entries)
{
    size_t count = json_array_size(entries);
    if (count == 0) {
        document_words(maker->document, DOCUMENT_PLAIN, "None was found.");
    }
    for (size_t first = 0; first < count; first += PULLS_A_TABLE) {
        add_entries(maker, rows, entries, first);
    }
    for (size_t i = 0; i < count; i++) {
        add_doubts_of_pull(maker, rows, json_array_get(entries, i), i + 1);
    }
    for (size_t i = 0; i < count; i++) {
        (void)add_lists(maker, rows, json_array_get(entries, i),
                        arena_printf(maker->arena, ", pull %zu", i + 1));
    }
}

/* ---- sections ---- */

static void add_void_line(const struct report_maker *maker, const json_t *analysis)
{
    const char *line = report_void_line(maker, analysis);
    if (line != NULL) {
        document_paragraph(maker->document, DOCUMENT_PLAIN,
                           &(struct document_span){.words = line, .strong = true}, 1);
    }
}

void report_sections(const struct report_maker *maker, size_t index)
{
    const json_t *analysis = maker->analyses[index];
    const json_t *sections = json_object_get(analysis, "sections");
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *rows = catalogue_section(i);
        const json_t *section = json_object_get(sections, rows->code);
        if (!json_is_object(section) && !json_is_array(section)) {
            continue;
        }
        document_heading(maker->document, 3, rows->label);
        if (strcmp(rows->code, "uroflow") == 0) {
            add_void_line(maker, analysis);
        }
        if (json_is_array(section)) {
            add_repeated(maker, rows, section);
        } else {
            bool any = add_values(maker, rows, section);
            any = add_lists(maker, rows, section, "") || any;
            if (!any) {
                document_words(maker->document, DOCUMENT_PLAIN, "No values.");
            }
        }
        report_figures(maker, index, rows->code);
    }
}
