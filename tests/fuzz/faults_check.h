/* What holds of every list of faults, whatever the document. */
#ifndef FUZZ_FAULTS_CHECK_H
#define FUZZ_FAULTS_CHECK_H

#include "base/fault.h"

#include <stddef.h>

/* Each fault has a sentence, and a pointer to something in the document, or to a member that an
 * object of it lacks. `prefix` stands before the pointers, for example "?conditions". A body that
 * is no JSON has one fault, which tells line and column. */
void faults_check(const struct fault_list *faults, const char *prefix, const char *body,
                  size_t length);

#endif
