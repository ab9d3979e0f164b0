#include "formats/nomogram_json.h"

#include "formats/json_writer.h"

enum { POINTS = 64 };

static void write_axis(const char *name, const struct nomogram_axis *axis, struct text *out)
{
    json_writer_name(out, name);
    text_append_char(out, '{');
    json_writer_string(out, "symbol", axis->symbol);
    json_writer_string(out, "label", axis->label);
    json_writer_string(out, "unit", axis->unit);
    json_writer_known(out, "from", axis->from);
    json_writer_known(out, "to", axis->to);
    text_append_char(out, '}');
}

static void write_points(const struct nomogram_chart *chart, const struct nomogram_line *line,
                         struct text *out)
{
    double points[POINTS][2];
    size_t count = nomogram_line_points(chart, line, points, POINTS);
    json_writer_name(out, "points");
    text_append_char(out, '[');
    for (size_t i = 0; i < count; i++) {
        json_writer_comma(out);
        text_append_char(out, '[');
        json_writer_rounded(out, points[i][0]);
        text_append_char(out, ',');
        json_writer_rounded(out, points[i][1]);
        text_append_char(out, ']');
    }
    text_append_char(out, ']');
}

static void write_line(const struct nomogram_chart *chart, const struct nomogram_line *line,
                       struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "code", line->code);
    json_writer_string(out, "label", line->label);
    json_writer_name(out, "family");
    text_printf(out, "%u", line->family);
    json_writer_name(out, "belongs");
    text_append(out, line->above_owns ? "\"above\"" : "\"below\"");
    if (line->shape == NOMOGRAM_STRAIGHT) {
        json_writer_known(out, "slope", line->slope);
        json_writer_known(out, "level", line->level);
    } else {
        json_writer_known(out, "centile", line->centile);
    }
    write_points(chart, line, out);
    text_append_char(out, '}');
}

static void write_zone(const struct nomogram_chart *chart, size_t index, struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "code", chart->zones[index].code);
    json_writer_string(out, "label", chart->zones[index].label);
    json_writer_name(out, "bands");
    if (chart->family_count > 1) {
        size_t inner = nomogram_band_count(chart, 1);
        text_printf(out, "[%zu,%zu]", index / inner, index % inner);
    } else {
        text_printf(out, "[%zu]", index);
    }
    text_append_char(out, '}');
}

void nomogram_json_write(const struct nomogram_chart *chart, struct text *out)
{
    text_append_char(out, '{');
    json_writer_string(out, "code", chart->code);
    json_writer_string(out, "title", chart->title);
    json_writer_string(out, "source", chart->source);
    json_writer_string(out, "mark", chart->mark);
    write_axis("x", &chart->x, out);
    write_axis("y", &chart->y, out);
    json_writer_name(out, "lines");
    text_append_char(out, '[');
    for (size_t i = 0; i < chart->line_count; i++) {
        write_line(chart, &chart->lines[i], out);
    }
    text_append_char(out, ']');
    json_writer_name(out, "zones");
    text_append_char(out, '[');
    for (size_t i = 0; i < chart->zone_count; i++) {
        write_zone(chart, i, out);
    }
    text_append(out, "]}");
}
