#include "formats/analysis_json.h"

#include "analysis/analysis.h"
#include "analysis/catalogue.h"
#include "analysis/choices.h"
#include "analysis/recording.h"
#include "formats/json_writer.h"

#include <math.h>
#include <string.h>

static const char NOT_FINITE_REASON[] = "the computation gave no finite number";

static bool is_writable(const struct catalogue_row *row, const struct measure *measure)
{
    return measure->state == MEASURE_PRESENT &&
           (row->kind != CATALOGUE_NUMBER || isfinite(measure->value));
}

static void write_numbers(const struct named_number *numbers, size_t count, struct text *out)
{
    for (size_t i = 0; i < count; i++) {
        json_writer_known(out, numbers[i].code, numbers[i].value);
    }
}

static void write_doubts(const char *const *doubts, size_t count, struct text *out)
{
    if (count == 0) {
        return;
    }
    json_writer_name(out, "quality");
    text_append_char(out, '[');
    for (size_t i = 0; i < count; i++) {
        json_writer_comma(out);
        text_append_json_string(out, doubts[i]);
    }
    text_append_char(out, ']');
}

static void write_measure(const struct catalogue_row *row, const struct measure *measure,
                          struct text *out)
{
    json_writer_name(out, row->code);
    text_append_char(out, '{');
    json_writer_name(out, "value");
    if (row->kind == CATALOGUE_NUMBER) {
        json_writer_rounded(out, measure->value);
        json_writer_string(out, "unit", row->unit);
    } else if (row->kind == CATALOGUE_WORD) {
        text_append_json_string(out, measure->word);
    } else {
        text_append(out, measure->value > 0.0 ? "true" : "false");
    }
    write_numbers(measure->parts, measure->part_count, out);
    if (measure->has_time) {
        json_writer_known(out, "at_s", measure->at_s);
    }
    json_writer_string(out, "source", measure->source == SOURCE_ENTERED ? "entered" : "computed");
    if (measure->method != NULL) {
        json_writer_string(out, "method", measure->method);
    }
    write_doubts(measure->doubts, measure->doubt_count, out);
    text_append_char(out, '}');
}

/* A number or word that is not known is left out. */
static void write_member(const struct catalogue_list *list, const struct item_list *items,
                         size_t index, const struct catalogue_column *column, struct text *out)
{
    if (column->kind == CATALOGUE_NUMBER) {
        json_writer_known(out, column->code, catalogue_number(list, items, index, column));
    } else if (column->kind == CATALOGUE_WORD) {
        const char *word = catalogue_word(list, items, index, column);
        if (word != NULL) {
            json_writer_string(out, column->code, word);
        }
    } else {
        json_writer_flag(out, column->code, catalogue_yes(list, items, index, column));
    }
}

static void write_list(const struct catalogue_list *list, const struct item_list *items,
                       struct text *out)
{
    json_writer_name(out, list->code);
    text_append_char(out, '[');
    for (size_t i = 0; i < items->count; i++) {
        json_writer_comma(out);
        text_append_char(out, '{');
        for (size_t j = 0; j < list->column_count; j++) {
            write_member(list, items, i, &list->columns[j], out);
        }
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
}

static void write_instance(const struct catalogue_section *section, const void *instance,
                           struct text *out)
{
    text_append_char(out, '{');
    for (size_t i = 0; i < section->row_count; i++) {
        const struct measure *measure = catalogue_measure(&section->rows[i], instance);
        if (is_writable(&section->rows[i], measure)) {
            write_measure(&section->rows[i], measure, out);
        }
    }
    for (size_t i = 0; i < section->list_count; i++) {
        const struct item_list *items = catalogue_items(&section->lists[i], instance);
        if (items->state == MEASURE_PRESENT) {
            write_list(&section->lists[i], items, out);
        }
    }
    text_append_char(out, '}');
}

static void write_sections(const struct analysis_result *result, struct text *out)
{
    json_writer_name(out, "sections");
    text_append_char(out, '{');
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *section = catalogue_section(i);
        if (!catalogue_present(section, result)) {
            continue;
        }
        json_writer_name(out, section->code);
        if (section->repeated) {
            text_append_char(out, '[');
        }
        for (size_t j = 0; j < catalogue_instances(section, result); j++) {
            if (section->repeated) {
                json_writer_comma(out);
            }
            write_instance(section, catalogue_instance(section, result, j), out);
        }
        if (section->repeated) {
            text_append_char(out, ']');
        }
    }
    text_append_char(out, '}');
}

/* index: of the entry of a repeated section, counted from 0 as in the document */
static void write_reason(const struct catalogue_section *section, size_t index, const char *code,
                         const char *reason, struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "section", section->code);
    if (section->repeated) {
        json_writer_name(out, "index");
        text_printf(out, "%zu", index);
    }
    json_writer_string(out, "code", code);
    json_writer_string(out, "reason", reason);
    text_append_char(out, '}');
}

static void write_reasons(const struct catalogue_section *section, size_t index,
                          const void *instance, struct text *out)
{
    for (size_t i = 0; i < section->row_count; i++) {
        const struct catalogue_row *row = &section->rows[i];
        const struct measure *measure = catalogue_measure(row, instance);
        if (measure->state != MEASURE_NOT_APPLICABLE && !is_writable(row, measure)) {
            bool has_reason = measure->state == MEASURE_ABSENT && measure->reason != NULL;
            write_reason(section, index, row->code,
                         has_reason ? measure->reason : NOT_FINITE_REASON, out);
        }
    }
    for (size_t i = 0; i < section->list_count; i++) {
        const struct item_list *items = catalogue_items(&section->lists[i], instance);
        if (items->state == MEASURE_ABSENT) {
            write_reason(section, index, section->lists[i].code, items->reason, out);
        }
    }
}

static void write_not_computed(const struct analysis_result *result, struct text *out)
{
    json_writer_name(out, "not_computed");
    text_append_char(out, '[');
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *section = catalogue_section(i);
        for (size_t j = 0; j < catalogue_instances(section, result); j++) {
            write_reasons(section, j, catalogue_instance(section, result, j), out);
        }
    }
    text_append_char(out, ']');
}

static void write_limits(const struct named_number *limits, size_t count, struct text *out)
{
    if (count > 0) {
        json_writer_name(out, "limits");
        text_append_char(out, '{');
        write_numbers(limits, count, out);
        text_append_char(out, '}');
    }
}

/* Every limit in use: what the clinic chose, or the standard. */
static void write_choices(const struct analysis_choices *choices, struct text *out)
{
    json_writer_name(out, "choices");
    text_append_char(out, '{');
    for (size_t i = 0; choices != NULL && i < choices_count(); i++) {
        const struct optional_number number = choices_get(choices, choices_row(i));
        if (number.known) {
            json_writer_known(out, choices_row(i)->code, number.value);
        }
    }
    text_append_char(out, '}');
}

static void write_findings(const struct analysis_result *result, struct text *out)
{
    json_writer_name(out, "findings");
    text_append_char(out, '[');
    for (size_t i = 0; i < result->finding_count; i++) {
        const struct finding *finding = &result->findings[i];
        json_writer_comma(out);
        text_append_char(out, '{');
        json_writer_string(out, "code", finding->code);
        json_writer_string(out, "text", finding->text);
        json_writer_name(out, "basis");
        text_append_char(out, '[');
        for (size_t j = 0; j < finding->basis_count; j++) {
            json_writer_comma(out);
            text_append_json_string(out, finding->basis[j]);
        }
        text_append_char(out, ']');
        write_limits(finding->limits, finding->limit_count, out);
        write_doubts(finding->doubts, finding->doubt_count, out);
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
}

static void write_classifications(const struct analysis_result *result, struct text *out)
{
    json_writer_name(out, "classifications");
    text_append_char(out, '[');
    for (size_t i = 0; i < result->classification_count; i++) {
        const struct classification *item = &result->classifications[i];
        json_writer_comma(out);
        text_append_char(out, '{');
        json_writer_string(out, "code", item->code);
        json_writer_string(out, "class", item->class);
        json_writer_name(out, "basis");
        text_append_char(out, '{');
        write_numbers(item->basis, item->basis_count, out);
        text_append_char(out, '}');
        write_limits(item->limits, item->limit_count, out);
        json_writer_string(out, "method", item->method);
        write_doubts(item->doubts, item->doubt_count, out);
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
}

static void write_quality(const struct analysis_result *result, struct text *out)
{
    json_writer_name(out, "quality");
    text_append_char(out, '[');
    for (size_t i = 0; i < result->quality_count; i++) {
        const struct quality_finding *item = &result->quality[i];
        json_writer_comma(out);
        text_append_char(out, '{');
        json_writer_string(out, "code", item->code);
        json_writer_string(out, "severity", quality_severity_name(item->severity));
        if (item->signal != SIGNAL_NONE) {
            json_writer_string(out, "signal", signal_name(item->signal));
        }
        if (item->has_span && isfinite(item->from_s) && isfinite(item->to_s)) {
            json_writer_known(out, "from_s", item->from_s);
            json_writer_known(out, "to_s", item->to_s);
        }
        json_writer_string(out, "text", item->text);
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
}

void analysis_json_write(const struct analysis_result *result, const char *status, int revision,
                         struct text *out)
{
    text_append_char(out, '{');
    json_writer_string(out, "type", recording_type_name(result->type));
    json_writer_string(out, "status", status);
    json_writer_name(out, "revision");
    text_printf(out, "%d", revision);
    json_writer_name(out, "software");
    text_append(out, "{\"name\":\"penstock\",\"version\":\"" PENSTOCK_VERSION
                     "\",\"analysis_version\":\"" ANALYSIS_VERSION "\"}");
    write_choices(result->choices, out);
    write_sections(result, out);
    write_findings(result, out);
    write_classifications(result, out);
    write_quality(result, out);
    write_not_computed(result, out);
    text_append_char(out, '}');
}

const char *analysis_json_software(void)
{
    return "penstock " PENSTOCK_VERSION;
}
