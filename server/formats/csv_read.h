/* A recording's channels and events from CSV (RFC 4180); api-docs/csv.md describes the form. */
#ifndef FORMATS_CSV_READ_H
#define FORMATS_CSV_READ_H

#include "formats/recording_json.h"

enum csv_read_outcome {
    CSV_READ_OK,
    CSV_READ_MALFORMED, /* not CSV in UTF-8 at all: one fault with its line */
    CSV_READ_INVALID    /* CSV, but not this form: one or more faults */
};

/* Reads `length` bytes. Sets channels and events of `document`, all on the arena, and only with
 * CSV_READ_OK; its other members are the caller's. Every fault is named: of a heading with the
 * pointer "/columns/2/unit", of a cell with "/rows/12/pves" (both from 0, the header not counted)
 * and the line in its text. Whether the times are even is looked at once headings, times and the
 * number of cells in every row are sound. Takes memory for at most 8 bytes a byte of the body and
 * some. */
MUST_CHECK enum csv_read_outcome csv_read(struct arena *arena, const char *body, size_t length,
                                          struct recording_document *document,
                                          struct fault_list *faults);

#endif
