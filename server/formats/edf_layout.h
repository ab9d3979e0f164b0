/* How an EDF file is laid out: its header's fields, and where the samples stand in each data
 * record. Private to formats/. */
#ifndef FORMATS_EDF_LAYOUT_H
#define FORMATS_EDF_LAYOUT_H

#include "formats/edf_header.h"
#include "formats/edf_read.h"

/* One signal of the header. */
struct edf_row {
    const char *label; /* trimmed; '?' for what is not printable ASCII */
    bool is_annotations;
    size_t sample_count; /* in a record; 0 after a fault */
    size_t offset;       /* of its first sample in a record, bytes */
};

struct edf_layout {
    struct arena *arena;
    struct fault_list *faults;
    const uint8_t *body;
    size_t length;
    enum edf_kind kind;
    size_t row_count; /* 0 when the signals cannot be told apart */
    struct edf_row *rows;
    size_t header_bytes;
    size_t record_count;
    size_t record_bytes;
    struct edf_decimal duration; /* of a record, seconds */
    int64_t record_ns;
    bool has_records; /* the records are all there, where the header says, and can be walked */
};

/* Reads the layout; every fault is in the list. EDF_READ_MALFORMED when the bytes are no EDF file;
 * EDF_READ_INVALID after any other fault, with as much filled in as can be relied on. */
MUST_CHECK enum edf_read_outcome edf_layout_read(struct arena *arena, const void *body,
                                                 size_t length, struct fault_list *faults,
                                                 struct edf_layout *ret_layout);

/* A field's text without blanks around it; '?' for what is not printable ASCII. */
const char *edf_layout_text(const struct edf_layout *layout, enum edf_field field, size_t signal);

/* Adds a fault about a field: which bytes, what they say (not those that may name a person), and
 * the sentence. `signal` means nothing for a field of the fixed part. */
void edf_layout_fault(const struct edf_layout *layout, enum edf_field field, size_t signal,
                      const char *sentence);

/* Whether a field holds printable ASCII only; a fault if not. */
MUST_CHECK bool edf_layout_is_ascii(const struct edf_layout *layout, enum edf_field field,
                                    size_t signal);

/* First byte of a record. */
const uint8_t *edf_layout_record(const struct edf_layout *layout, size_t record);

#endif
