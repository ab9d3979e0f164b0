#include "formats/csv_parts.h"
#include "formats/decimal.h"
#include "formats/document_parts.h"

#include <math.h>
#include <string.h>

static const char COLUMN_FORM[] =
    "Must be a signal and its unit, such as pves [cm[H2O]]; then, where the column has its own, "
    "\"@ 10 Hz\", \"from 0.5 s\" and \"for 300 samples\" in this order.";

/* What is left to read of a column's heading. */
struct heading {
    const char *at;
    const char *end;
    char mark;
    const char *pointer; /* of the column */
    struct fault_list *faults;
};

static void skip_spaces(struct heading *heading)
{
    while (heading->at < heading->end && *heading->at == ' ') {
        heading->at++;
    }
}

/* Steps over `word` and the spaces around it. */
static bool take_word(struct heading *heading, const char *word)
{
    size_t length = strlen(word);
    skip_spaces(heading);
    if ((size_t)(heading->end - heading->at) < length || memcmp(heading->at, word, length) != 0) {
        return false;
    }
    heading->at += length;
    skip_spaces(heading);
    return true;
}

/* Takes `word` number `unit`. True with *ret_number unknown when the word is not there; false when
 * it is and is not followed by number and unit. A number out of range is a fault at `member`. */
static bool take_number(struct heading *heading, const char *word, const char *unit,
                        const char *member, double most, struct optional_number *ret_number)
{
    int decimals = 0;
    if (!take_word(heading, word)) {
        return true;
    }
    const char *number = heading->at;
    while (heading->at < heading->end && *heading->at != ' ') {
        heading->at++;
    }
    if (!decimal_parse(number, (size_t)(heading->at - number), heading->mark, &ret_number->value,
                       &decimals) ||
        !take_word(heading, unit)) {
        return false;
    }
    ret_number->known = true;
    if (!(ret_number->value >= 0.0 && ret_number->value <= most)) {
        fault_add(heading->faults,
                  fault_pointer_member(heading->faults->arena, heading->pointer, member),
                  "Must be between %.15g and %.15g.", 0.0, most);
    }
    return true;
}

static void read_grid(struct heading *heading, struct csv_column *column)
{
    struct arena *arena = heading->faults->arena;
    if (!take_number(heading, "@", "Hz", "rate_hz", LIMIT_RATE_HZ, &column->rate_hz) ||
        !take_number(heading, "from", "s", "start_s", LIMIT_DURATION_S, &column->start_s) ||
        !take_number(heading, "for", "samples", "count", (double)LIMIT_CHANNEL_SAMPLES,
                     &column->count) ||
        heading->at != heading->end) {
        fault_add(heading->faults, heading->pointer, "%s", COLUMN_FORM);
        return;
    }
    if (column->rate_hz.known && !(fabs(column->rate_hz.value) > 0.0)) {
        fault_add(heading->faults, fault_pointer_member(arena, heading->pointer, "rate_hz"),
                  "Must be greater than 0.");
    }
    if (column->count.known && islessgreater(column->count.value, floor(column->count.value))) {
        fault_add(heading->faults, fault_pointer_member(arena, heading->pointer, "count"),
                  "Must be a whole number.");
    }
}

/* The text up to the bracket that closes the one before `heading->at`; NULL when none does. */
static const char *take_unit(struct heading *heading)
{
    const char *unit = heading->at;
    int depth = 1;
    for (; heading->at < heading->end; heading->at++) {
        depth += *heading->at == '[' ? 1 : 0;
        depth -= *heading->at == ']' ? 1 : 0;
        if (depth == 0) {
            return arena_strndup(heading->faults->arena, unit, (size_t)(heading->at++ - unit));
        }
    }
    return NULL;
}

static void read_signal(struct heading *heading, struct csv_column *column)
{
    struct fault_list *faults = heading->faults;
    const char *name = heading->at;
    size_t length = 0;
    while (name + length < heading->end && name[length] != ' ' && name[length] != '[') {
        length++;
    }
    heading->at += length;
    column->signal = signal_from_name(arena_strndup(faults->arena, name, length));
    const char *unit = take_word(heading, "[") ? take_unit(heading) : NULL;
    if (unit == NULL) {
        fault_add(faults, heading->pointer, "%s", COLUMN_FORM);
        return;
    }
    column->unit = unit;
    if (column->signal == SIGNAL_NONE) {
        const char *names[SIGNAL_COUNT + 1];
        document_signal_names(names);
        json_reader_fault_word(
            faults, fault_pointer_member(faults->arena, heading->pointer, "signal"), names);
    } else {
        column->name = signal_name(column->signal);
        document_unit_check(column->signal, unit,
                            fault_pointer_member(faults->arena, heading->pointer, "unit"), faults,
                            &column->to_canonical);
    }
    read_grid(heading, column);
}

/* A column that repeats an earlier one's signal. */
static void check_repeat(const struct csv_header *header, const struct csv_column *column,
                         const char *pointer, struct fault_list *faults)
{
    for (size_t i = 0; i < header->column_count; i++) {
        if (column->signal != SIGNAL_NONE && header->columns[i].signal == column->signal) {
            fault_add(faults, fault_pointer_member(faults->arena, pointer, "signal"),
                      "Column %zu carries %s already; a recording holds a signal once.", i + 1,
                      column->name);
            return;
        }
    }
}

static bool is_word(struct csv_cell cell, const char *word)
{
    return cell.length == strlen(word) && memcmp(cell.text, word, cell.length) == 0;
}

/* `place` counts from 0, which is the column of the times. */
static void read_heading(struct csv_cell cell, size_t place, struct fault_list *faults,
                         struct csv_header *header)
{
    cell = csv_trimmed(cell);
    const char *pointer = fault_pointer_index(faults->arena, "/columns", place);
    if (place == 0) {
        if (!is_word(cell, "time_s")) {
            fault_add(
                faults, pointer,
                "Must be time_s; commas separate the cells, or semicolons when numbers have a "
                "decimal comma.");
        }
        return;
    }
    if (is_word(cell, "events") && cell.ends_row) {
        header->has_events = true;
        return;
    }
    if (is_word(cell, "events") || header->column_count == LIMIT_CHANNELS) {
        fault_add(faults, pointer,
                  is_word(cell, "events") ? "Must be the last column."
                                          : "At most %d columns with samples.",
                  LIMIT_CHANNELS);
        header->is_readable = false;
        return;
    }
    struct heading heading = {.at = cell.text,
                              .end = cell.text + cell.length,
                              .mark = header->mark,
                              .pointer = pointer,
                              .faults = faults};
    struct csv_column column = {.signal = SIGNAL_NONE, .unit = ""};
    column.name = arena_printf(faults->arena, "%zu", place);
    read_signal(&heading, &column);
    check_repeat(header, &column, pointer, faults);
    header->columns[header->column_count++] = column;
}

/* What follows the first heading separates the cells. */
static char find_separator(const struct csv_scanner *scanner)
{
    static const char first[] = "time_s";
    const char *at = scanner->at;
    while (at < scanner->end && (*at == ' ' || *at == '"')) {
        at++;
    }
    if ((size_t)(scanner->end - at) > strlen(first) && memcmp(at, first, strlen(first)) == 0) {
        at += strlen(first);
    }
    while (at < scanner->end && (*at == ' ' || *at == '"')) {
        at++;
    }
    return at < scanner->end && *at == ';' ? ';' : ',';
}

const char *csv_header_read(struct csv_scanner *scanner, struct fault_list *faults,
                            struct csv_header *ret_header)
{
    *ret_header = (struct csv_header){.separator = find_separator(scanner), .is_readable = true};
    ret_header->mark = ret_header->separator == ';' ? ',' : '.';
    scanner->separator = ret_header->separator;
    struct csv_cell cell = {.ends_row = false};
    for (size_t place = 0; !cell.ends_row; place++) {
        const char *problem = csv_next_cell(scanner, &cell);
        if (problem != NULL) {
            return problem;
        }
        if (ret_header->is_readable) {
            read_heading(cell, place, faults, ret_header);
        }
    }
    if (ret_header->column_count == 0 && ret_header->is_readable) {
        fault_add(faults, "/columns", "Must hold at least one column with samples.");
        ret_header->is_readable = false;
    }
    return NULL;
}
