/* Reads the long parts of a document without a tree: the arrays at /channels/<i>/samples and the
 * strings at /channels/<i>/data. Jansson reads what is left.
 *
 * What is cut out is sound JSON (an array of numbers and null, a string of plain ASCII), and an
 * empty array or string is left in its place. So Jansson says the same about what is left as it
 * would about the whole, and stays the judge of everything: whatever is malformed, unusual or wrong
 * is simply not cut out. */
#ifndef FORMATS_DOCUMENT_SCAN_H
#define FORMATS_DOCUMENT_SCAN_H

#include "base/arena.h"
#include "formats/limits.h"
#include "formats/samples.h"

#include <stdbool.h>
#include <stddef.h>

enum { DOCUMENT_CUTS_MAX = 2 * LIMIT_CHANNELS };

/* What was cut out of one item of "channels". */
struct scanned_channel {
    bool has_samples;       /* the member "samples" was, and the tree holds an empty array there */
    struct samples samples; /* each number within LIMIT_SAMPLE_MAGNITUDE. Only the count, no codes,
                             * when there are more of them than a document may hold. */
    const char *data;       /* the member "data", in the body; NULL when the tree holds it */
    size_t data_length;
};

struct document_cut {
    size_t at;     /* offset in the reduced text of the byte that it stood before */
    size_t length; /* bytes */
};

struct document_scan {
    const char *body;
    size_t length;
    const char *reduced; /* the body itself when nothing was cut out */
    size_t reduced_length;
    size_t cut_count;
    struct document_cut cuts[DOCUMENT_CUTS_MAX]; /* in order */
    struct scanned_channel channels[LIMIT_CHANNELS];
};

/* Scans a body of `length` bytes, any bytes at all. Samples and reduced text are made on the arena;
 * the body must outlive the scan. Uses strtod(): the process runs in the locale "C". */
void document_scan_run(struct document_scan *scan, struct arena *arena, const char *body,
                       size_t length);

/* A scan that cut nothing out. */
void document_scan_nothing(struct document_scan *scan, const char *body, size_t length);

/* Offset in the body of the byte at offset `at` of the reduced text. */
size_t document_scan_origin(const struct document_scan *scan, size_t at);

/* What was cut out of channel `index`; nothing of one beyond LIMIT_CHANNELS. */
const struct scanned_channel *document_scan_channel(const struct document_scan *scan, size_t index);

#endif
