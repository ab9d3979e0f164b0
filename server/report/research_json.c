#include "report/research_json.h"

#include "analysis/catalogue.h"
#include "formats/json_reader.h"
#include "formats/json_writer.h"

#include <string.h>

/* Ages of 90 and over are one: 45 CFR 164.514(b)(2)(i)(C). */
enum { AGE_MOST = 90, FIRST_YEAR = 1990, YEARS = 112, WORD_LIMIT = 64 };

const char *const research_dates_names[] = {"intervals", "year", "shifted", NULL};
const char *const research_ages_names[] = {"bands", "years", NULL};

/* First age of each band; the last one has no end. 18 begins one, because some values are for
 * adults only, so that their presence tells on which side of it somebody is. */
static const int BANDS[] = {0, 10, 18, 30, 40, 50, 60, 70, 80, AGE_MOST};

enum { BAND_COUNT = sizeof BANDS / sizeof BANDS[0] };

/* What is computed from the age itself, or with limits that are. */
static const char *const OF_AGE[] = {"qmax_centile", "expected_capacity", "low_volume",
                                     "high_volume",  "age_unknown",       NULL};

/* What is there, or means something else, for one sex only or for adults only. */
static const char *const OF_SEX[] = {
    "booi", "bci", "obstruction_coefficient", "purr_slope",        "female_booi",
    "pip1", "ura", "watts_factor_max",        "watts_factor_qmax", "flow_pattern",
    NULL};

static int told_age(const struct research_line *line, enum research_ages ages)
{
    int age = line->age_years < AGE_MOST ? line->age_years : AGE_MOST;
    int band = 0;
    for (int i = 0; i < BAND_COUNT; i++) {
        band = age >= BANDS[i] ? BANDS[i] : band;
    }
    return ages == RESEARCH_AGES_YEARS ? age : band;
}

/* ---- groups ---- */

static size_t index_of(const char *const names[], size_t count, const char *name)
{
    for (size_t i = 0; i < count; i++) {
        if (strcmp(names[i], name) == 0) {
            return i;
        }
    }
    return count;
}

static size_t year_index(int year)
{
    int index = year - FIRST_YEAR;
    if (index < 0) {
        return 0;
    }
    return index < YEARS ? (size_t)index : YEARS - 1;
}

static void place(const struct research_line *line, const struct research_options *options,
                  struct small_cell_line *ret_place)
{
    static const char *const sexes[] = {"male", "female", "other"};
    size_t sex_count = sizeof sexes / sizeof sexes[0] + 1;
    size_t year = options->dates == RESEARCH_DATES_YEAR ? year_index(line->year) : 0;
    size_t sex = index_of(sexes, sex_count - 1, line->sex);
    ret_place->group = (size_t)recording_type_from_name(line->type) * YEARS + year;
    ret_place->cell = (ret_place->group * sex_count + sex) * (AGE_MOST + 1) +
                      (size_t)told_age(line, options->ages);
}

const enum small_cell_fate *research_fates(struct arena *arena, const struct research_pool *pool,
                                           const struct research_options *options)
{
    size_t groups = (size_t)(RECORDING_TYPE_COUNT + 1) * YEARS;
    struct small_cells all = {
        .groups = groups,
        .cells = groups * 4 * (AGE_MOST + 1),
        .least = (size_t)options->least,
        .count = pool->count,
        .lines = arena_array(arena, pool->count, sizeof *all.lines),
    };
    for (size_t i = 0; i < pool->count; i++) {
        bool is_first = i == 0 || strcmp(pool->lines[i].subject, pool->lines[i - 1].subject) != 0;
        all.subjects += is_first ? 1 : 0;
        all.lines[i].subject = all.subjects - 1;
        place(&pool->lines[i], options, &all.lines[i]);
    }
    struct arena *scratch = arena_new();
    small_cells_decide(scratch, &all);
    arena_free(scratch);
    enum small_cell_fate *fates = arena_array(arena, pool->count, sizeof *fates);
    for (size_t i = 0; i < pool->count; i++) {
        fates[i] = all.lines[i].fate;
    }
    return fates;
}

/* ---- one line ---- */

static bool is_one_of(const char *const names[], const char *name)
{
    size_t count = 0;
    while (names[count] != NULL) {
        count++;
    }
    return index_of(names, count, name) < count;
}

/* Whether a code may be told of this line without telling more of the subject than it says. */
static bool may_tell(const char *code, enum small_cell_fate fate)
{
    return !is_one_of(OF_AGE, code) && (fate == SMALL_CELL_WHOLE || !is_one_of(OF_SEX, code));
}

/* A word as this program's own tables spell codes and classes: no sentence, and no name. */
static const char *word_of(const json_t *value)
{
    const char *text = json_string_value(value);
    size_t length = text != NULL ? strlen(text) : 0;
    bool good =
        length > 0 && length <= WORD_LIMIT &&
        strspn(text, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_+-") == length;
    return good ? text : NULL;
}

/* Quality codes that make a value doubtful. */
static void write_doubts(const json_t *codes, struct text *out)
{
    json_writer_name(out, "quality");
    text_append_char(out, '[');
    for (size_t i = 0; i < json_array_size(codes); i++) {
        const char *code = word_of(json_array_get(codes, i));
        if (code != NULL && !is_one_of(OF_AGE, code)) {
            json_writer_comma(out);
            text_append_json_string(out, code);
        }
    }
    text_append_char(out, ']');
}

static void write_member_word(const char *name, const json_t *object, struct text *out)
{
    const char *word = word_of(json_object_get(object, name));
    if (word != NULL) {
        json_writer_string(out, name, word);
    }
}

static void write_member_number(const char *name, const json_t *object, struct text *out)
{
    const json_t *value = json_object_get(object, name);
    if (json_is_number(value)) {
        json_writer_known(out, name, json_number_value(value));
    }
}

static void write_value(const struct catalogue_row *row, const json_t *measure, struct text *out)
{
    const json_t *value = json_object_get(measure, "value");
    const char *word = word_of(value);
    bool fits = (row->kind == CATALOGUE_NUMBER && json_is_number(value)) ||
                (row->kind == CATALOGUE_WORD && word != NULL) ||
                (row->kind == CATALOGUE_YES_NO && json_is_boolean(value));
    if (!fits) {
        return;
    }
    json_writer_name(out, row->code);
    text_append_char(out, '{');
    if (row->kind == CATALOGUE_NUMBER) {
        json_writer_known(out, "value", json_number_value(value));
        json_writer_string(out, "unit", row->unit);
    } else if (row->kind == CATALOGUE_WORD) {
        json_writer_string(out, "value", word);
    } else {
        json_writer_flag(out, "value", json_is_true(value));
    }
    write_doubts(json_object_get(measure, "quality"), out);
    text_append_char(out, '}');
}

static void write_values(const struct catalogue_section *section, const json_t *instance,
                         enum small_cell_fate fate, struct text *out)
{
    text_append_char(out, '{');
    for (size_t i = 0; i < section->row_count; i++) {
        const struct catalogue_row *row = &section->rows[i];
        if (may_tell(row->code, fate)) {
            write_value(row, json_object_get(instance, row->code), out);
        }
    }
    text_append_char(out, '}');
}

/* Only what the catalogue knows: a name that it does not have is passed over. */
static void write_sections(const json_t *document, enum small_cell_fate fate, struct text *out)
{
    const json_t *sections = json_object_get(document, "sections");
    json_writer_name(out, "sections");
    text_append_char(out, '{');
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *section = catalogue_section(i);
        const json_t *stored = json_object_get(sections, section->code);
        if (stored == NULL || section->repeated != json_is_array(stored)) {
            continue;
        }
        json_writer_name(out, section->code);
        if (!section->repeated) {
            write_values(section, stored, fate, out);
            continue;
        }
        text_append_char(out, '[');
        for (size_t j = 0; j < json_array_size(stored); j++) {
            json_writer_comma(out);
            write_values(section, json_array_get(stored, j), fate, out);
        }
        text_append_char(out, ']');
    }
    text_append_char(out, '}');
}

static void write_classifications(const json_t *document, struct text *out)
{
    const json_t *items = json_object_get(document, "classifications");
    json_writer_name(out, "classifications");
    text_append_char(out, '[');
    for (size_t i = 0; i < json_array_size(items); i++) {
        const json_t *item = json_array_get(items, i);
        json_writer_comma(out);
        text_append_char(out, '{');
        write_member_word("code", item, out);
        write_member_word("class", item, out);
        write_doubts(json_object_get(item, "quality"), out);
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
}

static void write_quality(const json_t *document, struct text *out)
{
    const json_t *items = json_object_get(document, "quality");
    json_writer_name(out, "quality");
    text_append_char(out, '[');
    for (size_t i = 0; i < json_array_size(items); i++) {
        const json_t *item = json_array_get(items, i);
        const char *code = word_of(json_object_get(item, "code"));
        if (code == NULL || is_one_of(OF_AGE, code)) {
            continue;
        }
        json_writer_comma(out);
        text_append_char(out, '{');
        json_writer_string(out, "code", code);
        write_member_word("severity", item, out);
        write_member_word("signal", item, out);
        write_member_number("from_s", item, out);
        write_member_number("to_s", item, out);
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
}

/* A clinic's own codes may be words of its own: they are left out, as all notes are. */
static void write_events(const struct document_event *events, size_t count, struct text *out)
{
    json_writer_name(out, "events");
    text_append_char(out, '[');
    for (size_t i = 0; i < count; i++) {
        enum event_code code = event_code_from_name(events[i].code);
        if (code == EVENT_OTHER) {
            continue;
        }
        json_writer_comma(out);
        text_append_char(out, '{');
        json_writer_known(out, "at_s", events[i].at_s);
        json_writer_string(out, "code", event_code_name(code));
        if (events[i].value.known) {
            json_writer_known(out, "value", events[i].value.value);
        }
        text_append_char(out, '}');
    }
    text_append_char(out, ']');
}

static void write_age(int age, enum research_ages ages, struct text *out)
{
    json_writer_name(out, "age");
    if (age >= AGE_MOST) {
        text_printf(out, "\"%d+\"", AGE_MOST);
    } else if (ages == RESEARCH_AGES_YEARS) {
        text_printf(out, "\"%d\"", age);
    } else {
        int last = age;
        for (int i = 1; i < BAND_COUNT; i++) {
            last = BANDS[i - 1] == age ? BANDS[i] - 1 : last;
        }
        text_printf(out, "\"%d-%d\"", age, last);
    }
}

static void write_subject(const struct research_line *line, enum small_cell_fate fate,
                          const struct research_options *options, struct text *out)
{
    json_writer_string(out, "subject", line->subject);
    json_writer_name(out, "sequence");
    text_printf(out, "%d", line->sequence);
    json_writer_string(out, "type", line->type);
    if (fate == SMALL_CELL_WHOLE) {
        json_writer_string(out, "sex", line->sex);
        write_age(told_age(line, options->ages), options->ages, out);
    } else {
        text_printf(out, ",\"sex\":null,\"age\":null,\"masked\":\"fewer than %d subjects\"",
                    options->least);
    }
    if (options->dates == RESEARCH_DATES_YEAR) {
        text_printf(out, ",\"year\":%d", line->year);
    } else if (options->dates == RESEARCH_DATES_SHIFTED) {
        json_writer_string(out, "shifted_on", line->shifted_on);
    } else {
        text_printf(out, ",\"days_since_first\":%d", line->days);
    }
}

void research_json_write(const struct research_line *line, enum small_cell_fate fate,
                         const struct research_options *options, const char *analysis_json,
                         const struct document_event *events, size_t event_count, struct text *out)
{
    json_t *document = json_reader_load_own(analysis_json);
    text_append_char(out, '{');
    write_subject(line, fate, options, out);
    json_writer_known(out, "duration_s", line->duration_s);
    json_writer_flag(out, "signed", line->is_signed);
    write_sections(document, fate, out);
    if (fate == SMALL_CELL_WHOLE) { /* nearly all are for one sex */
        write_classifications(document, out);
    }
    write_quality(document, out);
    write_events(events, event_count, out);
    text_append_char(out, '}');
    json_decref(document);
}
