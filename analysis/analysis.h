/* Entry of the analysis library: a recording in, a result out. No I/O, no clock, no globals. */
#ifndef ANALYSIS_ANALYSIS_H
#define ANALYSIS_ANALYSIS_H

#include "analysis/recording.h"
#include "analysis/result.h"

/* Changes whenever any number for the same input may change. */
#define ANALYSIS_VERSION "0.3.0"

/* Where results and scratch space come from. `allocate` returns memory suitably aligned for
 * any object, whatever it holds, or NULL; the caller frees everything that was handed out when it
 * drops `context`. */
struct analysis_memory {
    void *(*allocate)(void *context, size_t size);
    void *context;
};

/* Computes everything that the recording holds.
 *
 * recording  channels in canonical units, at most one a signal, rates > 0; borrowed for the call
 * choices    the clinic's limits, borrowed as long as the result lives; NULL: the standard ones
 * memory     allocator for the result and for scratch space; at most a few times the samples' size
 * ret_result set on success to a result that lives as long as the memory's context
 *
 * Returns true, or false when memory ran out (the only failure: what cannot be computed is absent
 * in the result, with the reason). Time and memory are linear in the number of samples. */
bool analysis_run(const struct recording *recording, const struct analysis_choices *choices,
                  const struct analysis_memory *memory, const struct analysis_result **ret_result);

#endif
