/* Programs of others, as judges of files that we make. */
#ifndef TESTS_SUPPORT_OUTSIDE_H
#define TESTS_SUPPORT_OUTSIDE_H

#include <stddef.h>

/* What the shell's `command` prints, with "$FILE" a file of these bytes. The test fails unless it
 * succeeds. The caller frees the answer. */
char *outside_run(const void *bytes, size_t length, const char *command);

/* The same, and fails the test unless the answer holds `part`. */
void outside_says(const void *bytes, size_t length, const char *command, const char *part);

#endif
