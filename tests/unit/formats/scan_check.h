/* Reads a text twice, by Jansson alone and by the scan with Jansson, and says where they differ.
 * Used by the unit tests and by the fuzzer. */
#ifndef TESTS_FORMATS_SCAN_CHECK_H
#define TESTS_FORMATS_SCAN_CHECK_H

#include <stddef.h>

/* What the texts so far were, so that a test can tell whether it saw enough. */
struct scan_check_counts {
    size_t malformed;
    size_t malformed_after_cut; /* something was cut out before the fault */
    size_t faulty;              /* JSON, but the channels have faults */
    size_t sound;
    size_t arrays;  /* cut out */
    size_t strings; /* cut out */
    size_t numbers; /* in the arrays */
    size_t doubles; /* arrays that no decimal code holds */
};

/* NULL when both agree on verdict, place of the fault, tree, every number bit for bit, shape of
 * samples, and every fault of the channels; else what they differ in. Adds to *counts. */
const char *scan_check(const char *body, size_t length, struct scan_check_counts *counts);

#endif
