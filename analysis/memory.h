/* Array allocation from the caller's memory, with overflow checks. */
#ifndef ANALYSIS_MEMORY_H
#define ANALYSIS_MEMORY_H

#include "analysis/analysis.h"

/* Zeroed room for `count` objects of `size` bytes (at least one), or NULL. */
void *memory_array(const struct analysis_memory *memory, size_t count, size_t size);

/* Room for `count` doubles (at least one), which hold anything until they are written, or NULL. */
double *memory_doubles(const struct analysis_memory *memory, size_t count);

#endif
