/* The parts of reading CSV, each in a file of its own. Private to formats/. */
#ifndef FORMATS_CSV_PARTS_H
#define FORMATS_CSV_PARTS_H

#include "formats/limits.h"
#include "formats/recording_json.h"

/* ---- csv_cells.c: cells as RFC 4180 has them ---- */

struct csv_scanner {
    const char *at;
    const char *end;
    size_t line; /* from 1 */
    char separator;
    struct arena *arena;
};

/* Not NUL-terminated; lies in the body, or on the arena when quotation marks were doubled. */
struct csv_cell {
    const char *text;
    size_t length;
    bool ends_row;
};

/* Takes the next cell; at the end of the text an empty one. NULL, or what is wrong with it. */
MUST_CHECK const char *csv_next_cell(struct csv_scanner *scanner, struct csv_cell *ret_cell);

/* Without the spaces at both ends. */
static inline struct csv_cell csv_trimmed(struct csv_cell cell)
{
    while (cell.length > 0 && cell.text[0] == ' ') {
        cell.text++;
        cell.length--;
    }
    while (cell.length > 0 && cell.text[cell.length - 1] == ' ') {
        cell.length--;
    }
    return cell;
}

/* ---- csv_header.c ---- */

struct csv_column {
    enum signal_kind signal;
    const char *name; /* in pointers: of the signal, or the column's number when it is unknown */
    const char *unit;
    double to_canonical;
    struct optional_number rate_hz;
    struct optional_number start_s;
    struct optional_number count; /* of samples */
};

struct csv_header {
    char separator;
    char mark; /* decimal: ',' when the separator is ';', else '.' */
    bool has_events;
    bool is_readable;    /* the rows can be read: the number of columns is known */
    size_t column_count; /* signals only */
    struct csv_column columns[LIMIT_CHANNELS];
};

/* Reads the first row. The scanner gets the separator. NULL, or what is malformed. */
MUST_CHECK const char *csv_header_read(struct csv_scanner *scanner, struct fault_list *faults,
                                       struct csv_header *ret_header);

/* ---- csv_events.c ---- */

struct csv_events {
    size_t count;
    size_t capacity;
    struct document_event *items;
    size_t *rows; /* the row of each */
};

/* What a row says about where its events are. */
struct csv_place {
    double at_s;
    size_t row;
    size_t line;
    char mark;
};

/* Adds the events of a cell that is not blank. */
void csv_events_read(struct csv_events *events, struct csv_cell cell, const struct csv_place *place,
                     struct fault_list *faults);

/* ---- csv_read.c ---- */

/* "/rows/12/pves"; short when the list of faults is full. */
const char *csv_row_pointer(struct fault_list *faults, size_t row, const char *column);

#endif
