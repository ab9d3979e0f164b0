#include "formats/csv_read.h"

#include "base/utf8.h"
#include "formats/csv_parts.h"
#include "formats/decimal.h"
#include "formats/document_parts.h"
#include "formats/limits.h"
#include "formats/time_column.h"

#include <math.h>
#include <string.h>

/* Empty cells included: tables of several rates have many. */
static const size_t CELLS_MAX = LIMIT_RECORDING_SAMPLES;

struct csv_reader {
    struct arena *arena;
    struct fault_list *faults;
    struct csv_scanner scanner;
    struct csv_header header;
    struct csv_events events;
    bool is_sound;   /* headings, times and the number of cells in every row */
    size_t row;      /* the one being read; from 0, the header not counted */
    size_t capacity; /* rows that there is room for */
    size_t count;    /* rows kept: all, while is_sound */
    double *times_s;
    uint8_t *decimals;
    uint8_t *is_loose; /* 1: only events stand in it */
    uint32_t *lines;
    double *values[LIMIT_CHANNELS];
};

const char *csv_row_pointer(struct fault_list *faults, size_t row, const char *column)
{
    return faults->count < FAULT_LIMIT ? arena_printf(faults->arena, "/rows/%zu/%s", row, column)
                                       : "/rows";
}

/* ---- The text ---- */

static bool is_ascii(const char *body, size_t length)
{
    uint64_t all = 0;
    size_t at = 0;
    for (; at + sizeof all <= length; at += sizeof all) {
        uint64_t word = 0;
        memcpy(&word, body + at, sizeof word);
        all |= word;
    }
    for (; at < length; at++) {
        all |= (uint8_t)body[at];
    }
    return (all & UINT64_C(0x8080808080808080)) == 0;
}

/* NULL, or why the body is no text. Steps over a byte order mark and drops line ends at the end. */
static const char *open_text(struct csv_scanner *scanner)
{
    static const char byte_order_mark[] = "\xEF\xBB\xBF";
    size_t length = (size_t)(scanner->end - scanner->at);
    if (!is_ascii(scanner->at, length) && !utf8_is_valid(scanner->at, length)) {
        return "the text is not valid UTF-8";
    }
    if (length > 0 && memchr(scanner->at, '\0', length) != NULL) {
        return "the character NUL is not allowed";
    }
    if (length >= 3 && memcmp(scanner->at, byte_order_mark, 3) == 0) {
        scanner->at += 3;
    }
    while (scanner->end > scanner->at && (scanner->end[-1] == '\n' || scanner->end[-1] == '\r')) {
        scanner->end--;
    }
    return scanner->at == scanner->end ? "the text is empty" : NULL;
}

/* ---- Cells ---- */

static void fault_number(struct csv_reader *reader, const char *column, struct csv_cell cell,
                         size_t line)
{
    const char *pointer = csv_row_pointer(reader->faults, reader->row, column);
    bool is_strange = reader->header.mark == ',' && memchr(cell.text, '.', cell.length) != NULL;
    fault_add(reader->faults, pointer, "Line %zu: must be a number%s.", line,
              is_strange ? " with a decimal comma, because semicolons separate the cells" : "");
}

static void read_time(struct csv_reader *reader, struct csv_cell cell, size_t line)
{
    double time_s = 0.0;
    int decimals = 0;
    const char *detail = NULL;
    double before_s = reader->count > 0 ? reader->times_s[reader->count - 1] : -1.0;
    cell = csv_trimmed(cell);
    reader->times_s[reader->count] = before_s;
    if (!decimal_parse(cell.text, cell.length, reader->header.mark, &time_s, &decimals)) {
        fault_number(reader, "time_s", cell, line);
        reader->is_sound = false;
        return;
    }
    if (!(time_s >= 0.0 && time_s <= LIMIT_DURATION_S)) {
        detail = "must be between 0 and 172800";
    } else if (!(time_s > before_s)) {
        detail = "must be later than the row before";
    }
    if (detail != NULL) {
        fault_add(reader->faults, csv_row_pointer(reader->faults, reader->row, "time_s"),
                  "Line %zu: %s.", line, detail);
        reader->is_sound = false;
        return;
    }
    reader->times_s[reader->count] = time_s;
    reader->decimals[reader->count] = (uint8_t)(decimals < UINT8_MAX ? decimals : UINT8_MAX);
}

/* True when the cell is not empty. */
static bool read_value(struct csv_reader *reader, size_t place, struct csv_cell cell, size_t line)
{
    double value = (double)NAN;
    int decimals = 0;
    cell = csv_trimmed(cell);
    if (cell.length > 0) {
        const char *column = reader->header.columns[place].name;
        if (!decimal_parse(cell.text, cell.length, reader->header.mark, &value, &decimals)) {
            fault_number(reader, column, cell, line);
        } else if (!(fabs(value) <= LIMIT_SAMPLE_MAGNITUDE)) {
            fault_add(reader->faults, csv_row_pointer(reader->faults, reader->row, column),
                      "Line %zu: must be between %.15g and %.15g.", line, -LIMIT_SAMPLE_MAGNITUDE,
                      LIMIT_SAMPLE_MAGNITUDE);
        }
    }
    reader->values[place][reader->count] = value;
    return cell.length > 0;
}

/* ---- Rows ---- */

static void end_row(struct csv_reader *reader, size_t cells, struct csv_cell events, size_t line,
                    bool has_sample)
{
    const struct csv_header *header = &reader->header;
    size_t expected = 1 + header->column_count + (header->has_events ? 1 : 0);
    if (cells != expected) {
        fault_add(reader->faults,
                  reader->faults->count < FAULT_LIMIT
                      ? fault_pointer_index(reader->arena, "/rows", reader->row)
                      : "/rows",
                  "Line %zu: must hold %zu cells, as the header does; these are %zu.", line,
                  expected, cells);
        reader->is_sound = false;
        return;
    }
    bool has_event = header->has_events && csv_trimmed(events).length > 0;
    if (has_event) {
        struct csv_place place = {.at_s = reader->times_s[reader->count],
                                  .row = reader->row,
                                  .line = line,
                                  .mark = header->mark};
        csv_events_read(&reader->events, events, &place, reader->faults);
    }
    reader->is_loose[reader->count] = has_event && !has_sample ? 1 : 0;
    reader->lines[reader->count] = (uint32_t)line;
    reader->count++;
}

/* NULL, or what is malformed. */
static const char *read_row(struct csv_reader *reader)
{
    size_t column_count = reader->header.column_count;
    size_t line = reader->scanner.line;
    size_t place = 0;
    bool has_sample = false;
    struct csv_cell cell;
    do {
        const char *problem = csv_next_cell(&reader->scanner, &cell);
        if (problem != NULL) {
            return problem;
        }
        if (place == 0) {
            read_time(reader, cell, line);
        } else if (place <= column_count) {
            has_sample |= read_value(reader, place - 1, cell, line);
        }
        place++;
    } while (!cell.ends_row);
    end_row(reader, place, cell, line, has_sample);
    return NULL;
}

/* Room for as many rows as the rest of the body can hold: a row takes a byte a cell. */
static void make_room(struct csv_reader *reader)
{
    size_t column_count = reader->header.column_count;
    size_t length = (size_t)(reader->scanner.end - reader->scanner.at);
    size_t lines = 1;
    for (const char *at = reader->scanner.at;
         (at = memchr(at, '\n', (size_t)(reader->scanner.end - at))) != NULL; at++) {
        lines++;
    }
    size_t most = length / (column_count + 1) + 2;
    size_t limit = CELLS_MAX / column_count + 1;
    most = most < limit ? most : limit;
    reader->capacity = lines + 1 < most ? lines + 1 : most;
    reader->times_s = arena_array(reader->arena, reader->capacity, sizeof *reader->times_s);
    reader->decimals = arena_array(reader->arena, reader->capacity, sizeof *reader->decimals);
    reader->is_loose = arena_array(reader->arena, reader->capacity, sizeof *reader->is_loose);
    reader->lines = arena_array(reader->arena, reader->capacity, sizeof *reader->lines);
    for (size_t i = 0; i < column_count; i++) {
        reader->values[i] = arena_array(reader->arena, reader->capacity, sizeof(double));
    }
}

static const char *read_rows(struct csv_reader *reader)
{
    make_room(reader);
    for (; reader->scanner.at < reader->scanner.end; reader->row++) {
        if (reader->count == reader->capacity) {
            fault_add(reader->faults, "/rows", "At most %zu cells for samples.", CELLS_MAX);
            reader->is_sound = false;
            return NULL;
        }
        const char *problem = read_row(reader);
        if (problem != NULL) {
            return problem;
        }
    }
    if (reader->row == 0) {
        fault_add(reader->faults, "/rows", "Must be at least one.");
        reader->is_sound = false;
    }
    return NULL;
}

/* ---- Grids ---- */

/* The grid of columns that say nothing else. */
static bool find_common_grid(struct csv_reader *reader, const struct time_column *times,
                             struct time_grid *ret_grid)
{
    size_t row = 0;
    while (row + 1 < times->count && times->is_loose[row]) {
        row++;
    }
    *ret_grid = (struct time_grid){.rate_hz = 0.0, .start_s = times->times_s[row]};
    bool is_needed = false;
    for (size_t i = 0; i < reader->header.column_count; i++) {
        is_needed |= !reader->header.columns[i].rate_hz.known;
    }
    if (!is_needed) {
        return true;
    }
    if (!time_column_grid(times, ret_grid, &row)) {
        if (row == SIZE_MAX) {
            fault_add(reader->faults, "/rows",
                      "Must be at least two with samples, unless every column names its rate, such "
                      "as \"@ 10 Hz\".");
        } else {
            fault_add(reader->faults, csv_row_pointer(reader->faults, row, "time_s"),
                      "Line %u: does not continue the even steps of the rows before it.",
                      (unsigned)reader->lines[row]);
        }
        return false;
    }
    if (ret_grid->rate_hz > LIMIT_RATE_HZ) {
        fault_add(reader->faults, "/rows", "Must be at most %.15g a second.", LIMIT_RATE_HZ);
        return false;
    }
    return true;
}

static void fault_beside_grid(struct csv_reader *reader, size_t row,
                              const struct csv_column *column, const struct time_grid *grid,
                              size_t index)
{
    const char *pointer = csv_row_pointer(reader->faults, row, column->name);
    double due_s = time_grid_at(grid, index);
    unsigned line = (unsigned)reader->lines[row];
    if (column->count.known && (double)index >= column->count.value) {
        fault_add(reader->faults, pointer, "Line %u: must be empty after the last of %zu samples.",
                  line, index);
    } else if (reader->times_s[row] < due_s) {
        fault_add(reader->faults, pointer,
                  "Line %u: must be empty; at %.15g Hz from %.15g s the next sample stands at %.9g "
                  "s.",
                  line, grid->rate_hz, grid->start_s, due_s);
    } else {
        fault_add(reader->faults, pointer,
                  "Line %u: comes too late; at %.15g Hz from %.15g s a row at %.9g s is missing.",
                  line, grid->rate_hz, grid->start_s, due_s);
    }
}

/* Moves the values of a column's own rows to the front of its array and returns how many they are.
 * A column ends where its next row is missing; a value after that is a fault. */
static size_t collect(struct csv_reader *reader, size_t place, const struct time_column *times,
                      const struct time_grid *grid)
{
    const struct csv_column *column = &reader->header.columns[place];
    size_t most = column->count.known ? (size_t)column->count.value : SIZE_MAX;
    double *values = reader->values[place];
    size_t count = 0;
    for (size_t row = 0; row < times->count; row++) {
        bool is_empty = isnan(values[row]);
        double due_s = time_grid_at(grid, count);
        if (count < most && time_column_takes(times, row, due_s, is_empty)) {
            values[count++] = values[row];
            continue;
        }
        if (!is_empty) {
            fault_beside_grid(reader, row, column, grid, count);
        }
    }
    return count;
}

/* The one place that chooses how samples are kept. */
static void make_samples(struct arena *arena, const double *values, size_t count,
                         struct samples *ret_samples)
{
    samples_from_values(values, count, arena, ret_samples);
}

static void read_channel(struct csv_reader *reader, size_t place, const struct time_column *times,
                         const struct time_grid *common, size_t *sample_total,
                         struct document_channel *ret_channel)
{
    const struct csv_column *column = &reader->header.columns[place];
    const struct time_grid grid = {
        .rate_hz = column->rate_hz.known ? column->rate_hz.value : common->rate_hz,
        .start_s = column->start_s.known ? column->start_s.value : common->start_s};
    const char *pointer = fault_pointer_index(reader->arena, "/columns", place + 1);
    size_t faults_before = document_fault_total(reader->faults);
    size_t count = collect(reader, place, times, &grid);
    *ret_channel = (struct document_channel){.signal = column->signal,
                                             .unit = column->unit,
                                             .to_canonical = column->to_canonical,
                                             .rate_hz = grid.rate_hz,
                                             .start_s = grid.start_s};
    if (document_fault_total(reader->faults) > faults_before) {
        return;
    }
    if (column->count.known && (double)count < column->count.value) {
        fault_add(reader->faults, fault_pointer_member(reader->arena, pointer, "count"),
                  "Announces %.0f samples; the rows hold %zu.", column->count.value, count);
    } else if (count == 0) {
        fault_add(reader->faults, pointer, "Must hold at least one sample.");
    } else if (document_claim_samples(count, pointer, reader->faults, sample_total)) {
        make_samples(reader->arena, reader->values[place], count, &ret_channel->samples);
        if (document_channel_end_s(ret_channel) > LIMIT_DURATION_S) {
            fault_add(reader->faults, pointer, "Must end within %.15g s of the recording's start.",
                      LIMIT_DURATION_S);
        }
    }
}

static void check_events(struct csv_reader *reader, double duration_s)
{
    for (size_t i = 0; i < reader->events.count; i++) {
        if (reader->events.items[i].at_s > duration_s + LIMIT_EVENT_SLACK_S) {
            size_t row = reader->events.rows[i];
            fault_add(reader->faults, csv_row_pointer(reader->faults, row, "events"),
                      "Line %u: must stand at most %.15g s after the last sample, which ends at "
                      "%.9g s.",
                      (unsigned)reader->lines[row], LIMIT_EVENT_SLACK_S, duration_s);
        }
    }
}

static void read_channels(struct csv_reader *reader, struct recording_document *parts)
{
    struct time_column times = {.count = reader->count,
                                .times_s = reader->times_s,
                                .decimals = reader->decimals,
                                .is_loose = reader->is_loose};
    struct time_grid common;
    size_t sample_total = 0;
    time_column_settle(&times);
    if (!find_common_grid(reader, &times, &common)) {
        return;
    }
    size_t faults_before = document_fault_total(reader->faults);
    parts->channel_count = reader->header.column_count;
    parts->channels =
        arena_array(reader->arena, parts->channel_count, sizeof(struct document_channel));
    for (size_t i = 0; i < parts->channel_count; i++) {
        read_channel(reader, i, &times, &common, &sample_total, &parts->channels[i]);
    }
    /* Without sound channels the duration is unknown. */
    if (document_fault_total(reader->faults) == faults_before) {
        check_events(reader, recording_document_duration_s(parts));
    }
}

static const char *read_text(struct csv_reader *reader, struct recording_document *parts)
{
    size_t faults_before = document_fault_total(reader->faults);
    const char *problem = open_text(&reader->scanner);
    if (problem == NULL) {
        problem = csv_header_read(&reader->scanner, reader->faults, &reader->header);
    }
    if (problem != NULL || !reader->header.is_readable) {
        return problem;
    }
    reader->is_sound = document_fault_total(reader->faults) == faults_before;
    problem = read_rows(reader);
    if (problem == NULL && reader->is_sound) {
        read_channels(reader, parts);
    }
    return problem;
}

enum csv_read_outcome csv_read(struct arena *arena, const char *body, size_t length,
                               struct recording_document *document, struct fault_list *faults)
{
    size_t faults_before = document_fault_total(faults);
    struct csv_reader reader = {
        .arena = arena,
        .faults = faults,
        .scanner = {.at = body, .end = body + length, .line = 1, .arena = arena}};
    struct recording_document parts = {0};
    const char *problem = read_text(&reader, &parts);
    if (problem != NULL) {
        fault_add(faults, "", "Line %zu: %s.", reader.scanner.line, problem);
        return CSV_READ_MALFORMED;
    }
    if (document_fault_total(faults) > faults_before) {
        return CSV_READ_INVALID;
    }
    document->channels = parts.channels;
    document->channel_count = parts.channel_count;
    document->events = reader.events.items;
    document->event_count = reader.events.count;
    return CSV_READ_OK;
}
