#include "formats/analysis_json.h"

#include "analysis/catalogue.h"
#include "analysis/recording.h"
#include "formats/json_writer.h"

#include <math.h>
#include <string.h>

static const char NOT_FINITE_REASON[] = "the computation gave no finite number";

static void write_rounded(struct text *out, const char *name, double value)
{
    json_writer_name(out, name);
    json_writer_rounded(out, value);
}

static bool is_writable(const struct catalogue_row *row, const struct measure *measure)
{
    return measure->state == MEASURE_PRESENT &&
           (row->kind != CATALOGUE_NUMBER || isfinite(measure->value));
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
    if (measure->has_time && isfinite(measure->at_s)) {
        write_rounded(out, "at_s", measure->at_s);
    }
    json_writer_string(out, "source", measure->source == SOURCE_ENTERED ? "entered" : "computed");
    if (measure->method != NULL) {
        json_writer_string(out, "method", measure->method);
    }
    text_append_char(out, '}');
}

/* The catalogue keeps the rows of a section together. */
static bool begins_section(size_t index)
{
    return index == 0 ||
           strcmp(catalogue_row(index)->section, catalogue_row(index - 1)->section) != 0;
}

static void write_section(const struct analysis_result *result, size_t first_row, struct text *out)
{
    const char *section = catalogue_row(first_row)->section;
    json_writer_name(out, section);
    text_append_char(out, '{');
    for (size_t i = first_row; i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);
        const struct measure *measure = catalogue_measure(row, result);
        if (strcmp(row->section, section) == 0 && is_writable(row, measure)) {
            write_measure(row, measure, out);
        }
    }
    text_append_char(out, '}');
}

static void write_sections(const struct analysis_result *result, struct text *out)
{
    json_writer_name(out, "sections");
    text_append_char(out, '{');
    for (size_t i = 0; i < catalogue_count(); i++) {
        if (begins_section(i) && catalogue_section_present(catalogue_row(i), result)) {
            write_section(result, i, out);
        }
    }
    text_append_char(out, '}');
}

static void write_not_computed(const struct analysis_result *result, struct text *out)
{
    json_writer_name(out, "not_computed");
    text_append_char(out, '[');
    for (size_t i = 0; i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);
        const struct measure *measure = catalogue_measure(row, result);
        if (measure->state == MEASURE_NOT_APPLICABLE || is_writable(row, measure) ||
            !catalogue_section_present(row, result)) {
            continue;
        }
        json_writer_comma(out);
        text_append_char(out, '{');
        json_writer_string(out, "section", row->section);
        json_writer_string(out, "code", row->code);
        json_writer_string(out, "reason",
                           measure->state == MEASURE_ABSENT && measure->reason != NULL
                               ? measure->reason
                               : NOT_FINITE_REASON);
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
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
        text_append(out, "]}");
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
        for (size_t j = 0; j < item->basis_count; j++) {
            if (isfinite(item->basis[j].value)) {
                write_rounded(out, item->basis[j].code, item->basis[j].value);
            }
        }
        text_append_char(out, '}');
        json_writer_string(out, "method", item->method);
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
            write_rounded(out, "from_s", item->from_s);
            write_rounded(out, "to_s", item->to_s);
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
    text_append(out, "{\"name\":\"penstock\",\"version\":\"" PENSTOCK_VERSION "\"}");
    write_sections(result, out);
    write_findings(result, out);
    write_classifications(result, out);
    write_quality(result, out);
    write_not_computed(result, out);
    text_append_char(out, '}');
}
