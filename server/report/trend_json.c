#include "report/trend_json.h"

#include "analysis/catalogue.h"
#include "analysis/trend.h"
#include "base/clock.h"
#include "formats/json_reader.h"
#include "formats/json_writer.h"

#include <math.h>
#include <string.h>

static const double DAY_US = 24.0 * 3600.0 * 1e6;

/* One number of one study. NaN: not there. */
struct cell {
    double value;
    double cv_percent; /* of repeats, where the document says it */
    bool doubtful;
};

struct table {
    size_t study_count;
    struct trend_row *studies; /* the first row of each */
    struct cell *cells;        /* study by study, catalogue_count() each */
};

static struct cell *cell_at(const struct table *table, size_t study, size_t row)
{
    return &table->cells[study * catalogue_count() + row];
}

static double number_or_nan(const json_t *value)
{
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

static void read_document(const char *json, const struct table *table, size_t study)
{
    json_t *document = json_reader_load_own(json);
    const json_t *sections = json_object_get(document, "sections");
    for (size_t i = 0; i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);
        /* An array, as single pulls are, has no members. */
        const json_t *measure = json_object_get(json_object_get(sections, row->section), row->code);
        const json_t *value = json_object_get(measure, "value");
        if (row->kind == CATALOGUE_NUMBER && json_is_number(value)) {
            *cell_at(table, study, i) = (struct cell){
                .value = json_number_value(value),
                .cv_percent = number_or_nan(json_object_get(measure, "cv_percent")),
                .doubtful = json_array_size(json_object_get(measure, "quality")) > 0,
            };
        }
    }
    json_decref(document);
}

static bool is_first_of_study(const struct trend_summary *summary, size_t index)
{
    return index == 0 ||
           strcmp(summary->rows[index].study_id, summary->rows[index - 1].study_id) != 0;
}

static struct table read_table(const struct trend_summary *summary, struct arena *arena)
{
    struct table table = {
        .studies = arena_array(arena, summary->row_count, sizeof *table.studies),
    };
    for (size_t i = 0; i < summary->row_count; i++) {
        if (is_first_of_study(summary, i)) {
            table.studies[table.study_count++] = summary->rows[i];
        }
    }
    size_t cell_count = table.study_count * catalogue_count();
    table.cells = arena_array(arena, cell_count, sizeof *table.cells);
    for (size_t i = 0; i < cell_count; i++) {
        table.cells[i] = (struct cell){.value = (double)NAN, .cv_percent = (double)NAN};
    }
    size_t begun = 0; /* studies */
    for (size_t i = 0; i < summary->row_count; i++) {
        begun += is_first_of_study(summary, i) ? 1 : 0;
        if (summary->rows[i].analysis_json != NULL) {
            read_document(summary->rows[i].analysis_json, &table, begun - 1);
        }
    }
    return table;
}

/* ---- items ---- */

static void write_values(const struct table *table, size_t study, struct text *out)
{
    const char *open = "";
    json_writer_name(out, "values");
    text_append_char(out, '{');
    for (size_t i = 0; i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);
        const double value = cell_at(table, study, i)->value;
        if (isnan(value)) {
            continue;
        }
        if (strcmp(open, row->section) != 0) {
            text_append(out, open[0] == '\0' ? "" : "}");
            json_writer_name(out, row->section);
            text_append_char(out, '{');
            open = row->section;
        }
        json_writer_name(out, row->code);
        json_writer_rounded(out, value);
    }
    text_append(out, open[0] == '\0' ? "}" : "}}");
}

static void write_doubtful(const struct table *table, size_t study, struct text *out)
{
    json_writer_name(out, "doubtful");
    text_append_char(out, '[');
    for (size_t i = 0; i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);
        if (cell_at(table, study, i)->doubtful) {
            json_writer_comma(out);
            text_printf(out, "\"%s.%s\"", row->section, row->code);
        }
    }
    text_append_char(out, ']');
}

static void write_items(const struct table *table, struct text *out)
{
    json_writer_name(out, "items");
    text_append_char(out, '[');
    for (size_t i = 0; i < table->study_count; i++) {
        const struct trend_row *study = &table->studies[i];
        char stamp[CLOCK_TEXT_SIZE];
        clock_format(study->started_at_us, stamp);
        json_writer_comma(out);
        text_append_char(out, '{');
        json_writer_string(out, "study_id", study->study_id);
        json_writer_string(out, "started_at", stamp);
        json_writer_string(out, "status", study->status);
        write_values(table, i, out);
        write_doubtful(table, i, out);
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
}

/* ---- trends ---- */

static struct trend trend_of_row(const struct table *table, size_t row, const double *at_days,
                                 double *values)
{
    struct optional_number cv_percent = {0};
    for (size_t i = 0; i < table->study_count; i++) {
        const struct cell *cell = cell_at(table, i, row);
        values[i] = cell->value;
        if (isfinite(cell->cv_percent)) {
            cv_percent = (struct optional_number){true, cell->cv_percent};
        }
    }
    return trend_of(table->study_count, at_days, values, cv_percent);
}

static void write_trend(const struct catalogue_row *row, const struct trend *trend,
                        struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "section", row->section);
    json_writer_string(out, "code", row->code);
    json_writer_string(out, "label", row->label);
    json_writer_string(out, "unit", row->unit);
    json_writer_name(out, "count");
    text_printf(out, "%zu", trend->count);
    json_writer_known(out, "first", trend->first);
    json_writer_known(out, "last", trend->last);
    json_writer_known(out, "change", trend->change);
    json_writer_known(out, "change_percent", trend->change_percent);
    json_writer_known(out, "slope_per_week", trend->slope_per_week);
    if (trend->verdict != TREND_NOT_KNOWN) {
        json_writer_string(out, "verdict",
                           trend->verdict == TREND_BEYOND_VARIATION ? "beyond_variation"
                                                                    : "within_variation");
    }
    text_append_char(out, '}');
}

static void write_trends(const struct table *table, struct arena *arena, struct text *out)
{
    double *at_days = arena_array(arena, table->study_count, sizeof *at_days);
    double *values = arena_array(arena, table->study_count, sizeof *values);
    for (size_t i = 0; i < table->study_count; i++) {
        at_days[i] =
            (double)(table->studies[i].started_at_us - table->studies[0].started_at_us) / DAY_US;
    }
    json_writer_name(out, "trends");
    text_append_char(out, '[');
    for (size_t i = 0; i < catalogue_count(); i++) {
        const struct trend trend = trend_of_row(table, i, at_days, values);
        if (trend.count > 0) {
            write_trend(catalogue_row(i), &trend, out);
        }
    }
    text_append_char(out, ']');
}

void trend_json_write(const struct trend_summary *summary, struct arena *arena, struct text *out)
{
    const struct table table = read_table(summary, arena);
    text_append_char(out, '{');
    json_writer_string(out, "patient_id", summary->patient_id);
    write_items(&table, out);
    write_trends(&table, arena, out);
    json_writer_flag(out, "truncated", summary->truncated);
    text_append_char(out, '}');
}

size_t trend_values(const struct trend_summary *summary, size_t row, struct arena *arena,
                    struct trend_value **ret_values)
{
    const struct table table = read_table(summary, arena);
    struct trend_value *values = arena_array(arena, table.study_count, sizeof *values);
    for (size_t i = 0; i < table.study_count; i++) {
        const struct cell *cell = cell_at(&table, i, row);
        values[i] = (struct trend_value){.started_at_us = table.studies[i].started_at_us,
                                         .status = table.studies[i].status,
                                         .value = cell->value,
                                         .doubtful = cell->doubtful};
    }
    *ret_values = values;
    return table.study_count;
}
