/* Recording documents for the tests of formats/: a sound one whose parts a test may replace. */
#ifndef TESTS_FORMATS_DOCUMENTS_H
#define TESTS_FORMATS_DOCUMENTS_H

#include "formats/recording_json.h"

/* NULL stands for a sound default. */
struct document_parts {
    const char *members;  /* "\"type\":…,\"started_at\":…": all but channels and events */
    const char *channels; /* the array */
    const char *events;   /* the array */
};

/* The document as JSON text. */
const char *documents_text(struct arena *arena, const struct document_parts *parts);

/* Reads a text of its own length (NUL-terminated). */
enum json_read_outcome documents_read(struct arena *arena, const char *text,
                                      enum recording_json_use use,
                                      const struct recording_document **ret_document,
                                      struct fault_list *faults);

/* Reads a document that must be sound. */
const struct recording_document *documents_read_sound(struct arena *arena,
                                                      const struct document_parts *parts);

/* One fault that a document must have, and no other. */
struct fault_case {
    const char *what;
    enum recording_json_use use;
    struct document_parts parts;
    const char *pointer;
    const char *detail; /* part of the fault's sentence */
};

/* Reads every case and fails with its name when the faults differ. */
void documents_check_faults(const struct fault_case *cases, size_t count);

/* Fails unless |actual - expected| <= tolerance; 0 asks for the same number. */
void documents_assert_close(double actual, double expected, double tolerance);

#endif
