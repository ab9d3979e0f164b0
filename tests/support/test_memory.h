/* An allocator for tests of the analysis: remembers everything it handed out and frees it at once,
 * and can be told to run out. */
#ifndef TESTS_SUPPORT_TEST_MEMORY_H
#define TESTS_SUPPORT_TEST_MEMORY_H

#include "analysis/analysis.h"

struct test_block;

struct test_memory {
    struct analysis_memory memory; /* give this to the analysis */
    struct test_block *blocks;
    size_t allocations; /* so far */
    size_t bytes;
    size_t allowed; /* allocations after which it runs out */
};

/* Prepares an allocator that runs out after `allowed` allocations (SIZE_MAX: never). It must not
 * move afterwards. */
void test_memory_open(struct test_memory *owner, size_t allowed);

/* Frees everything that was handed out. */
void test_memory_close(struct test_memory *owner);

#endif
