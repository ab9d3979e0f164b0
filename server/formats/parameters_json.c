#include "formats/parameters_json.h"

#include "analysis/analysis.h"
#include "analysis/catalogue.h"
#include "formats/json_writer.h"

static const char *kind_word(enum catalogue_kind kind)
{
    if (kind == CATALOGUE_WORD) {
        return "word";
    }
    return kind == CATALOGUE_YES_NO ? "yes_no" : "number";
}

static void write_quantity(enum catalogue_kind kind, const char *unit, double report_step,
                           struct text *out)
{
    json_writer_string(out, "kind", kind_word(kind));
    if (kind == CATALOGUE_NUMBER) {
        if (unit != NULL) {
            json_writer_string(out, "unit", unit);
        }
        json_writer_number(out, "report_step", report_step);
    }
}

static void write_row(const struct catalogue_row *row, struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "code", row->code);
    json_writer_string(out, "label", row->label);
    write_quantity(row->kind, row->unit, row->report_step, out);
    json_writer_string(out, "definition", row->definition);
    json_writer_string(out, "source", row->source);
    text_append_char(out, '}');
}

static void write_list(const struct catalogue_list *list, struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "code", list->code);
    json_writer_string(out, "label", list->label);
    json_writer_string(out, "definition", list->definition);
    json_writer_string(out, "source", list->source);
    json_writer_name(out, "members");
    text_append_char(out, '[');
    for (size_t i = 0; i < list->column_count; i++) {
        const struct catalogue_column *column = &list->columns[i];
        json_writer_comma(out);
        text_append_char(out, '{');
        json_writer_string(out, "code", column->code);
        json_writer_string(out, "label", column->label);
        write_quantity(column->kind, column->unit, column->report_step, out);
        text_append_char(out, '}');
    }
    text_append(out, "]}");
}

static void write_section(const struct catalogue_section *section, struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "code", section->code);
    json_writer_string(out, "label", section->label);
    json_writer_flag(out, "repeated", section->repeated);
    json_writer_name(out, "values");
    text_append_char(out, '[');
    for (size_t i = 0; i < section->row_count; i++) {
        write_row(&section->rows[i], out);
    }
    text_append_char(out, ']');
    json_writer_name(out, "lists");
    text_append_char(out, '[');
    for (size_t i = 0; i < section->list_count; i++) {
        write_list(&section->lists[i], out);
    }
    text_append(out, "]}");
}

void parameters_json_write(struct text *out)
{
    text_append_char(out, '{');
    json_writer_string(out, "analysis_version", ANALYSIS_VERSION);
    json_writer_name(out, "sections");
    text_append_char(out, '[');
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        write_section(catalogue_section(i), out);
    }
    text_append(out, "]}");
}
