/* EDF files for the tests of formats/, put together byte by byte, without the code under test. */
#ifndef TESTS_FORMATS_EDF_FILES_H
#define TESTS_FORMATS_EDF_FILES_H

#include "formats/edf_read.h"

/* NULL stands for blanks, unless said otherwise. */
struct edf_file_signal {
    const char *label;
    const char *dimension;
    const char *pmin;
    const char *pmax;
    const char *dmin;
    const char *dmax;
    int samples; /* in a record */
};

struct edf_file_parts {
    const char *patient;
    const char *recording;
    const char *startdate; /* NULL: 02.03.26 */
    const char *starttime; /* NULL: 09.31.05 */
    const char *reserved;
    const char *records;  /* NULL: as many as are given */
    const char *duration; /* NULL: 1 */
    int signal_count;
    const struct edf_file_signal *signals;
};

/* The bytes of a file that grows. */
struct edf_bytes {
    struct arena *arena;
    uint8_t *bytes;
    size_t length;
};

/* A header; the records come after it. */
struct edf_bytes edf_files_header(struct arena *arena, const struct edf_file_parts *parts);

void edf_files_samples(struct edf_bytes *file, const int *codes, size_t count);

/* Annotation lists, filled up with zeros to `samples` samples. Write 0x14 as '|', 0x15 as '^', and
 * 0 as '~'. */
void edf_files_annotations(struct edf_bytes *file, const char *lists, int samples);

/* Another text in the place of a field, filled up with blanks. */
void edf_files_replace(struct edf_bytes *file, size_t offset, size_t width, const char *text);

/* EDF+C, two records of 1 s: "Press pves" (cmH2O, 4 Hz, 0.1 a code), "Flow Qura" (ml/s, 2 Hz, 0.1 a
 * code), annotations of 60 bytes. */
struct edf_bytes edf_files_sound(struct arena *arena);

/* Options for a clinic one hour east of UTC. */
struct edf_options edf_files_options(void);

/* Reads a file that must be sound. */
const struct recording_document *edf_files_read_sound(struct arena *arena,
                                                      const struct edf_bytes *file,
                                                      const struct edf_options *options,
                                                      const struct edf_report **ret_report);

/* Reads a file that must have a fault at `pointer` with `detail` in it. `only`: and no other. */
void edf_files_check_fault(const char *what, const struct edf_bytes *file,
                           const struct edf_options *options, const char *pointer,
                           const char *detail, bool only);

#endif
