/* The filling phase of a cystometry or pressure-flow study. */
#ifndef ANALYSIS_FILLING_FILLING_H
#define ANALYSIS_FILLING_FILLING_H

#include "analysis/flow/flow.h"

/* Where filling begins and ends, and how that is known. */
struct filling_phase {
    struct span span; /* start of filling to the moment of cystometric capacity */

    enum {
        FILLING_ENDS_AT_PERMISSION,
        FILLING_ENDS_AT_VOIDING,
        FILLING_ENDS_AT_STOP,
        FILLING_ENDS_WITH_RECORD
    } end;

    double pressure_end_s; /* where the end-filling pressure window ends */
};

/* Start of voiding as far as it is known without a permission marker: a void_start marker, else the
 * first run of flow that is no leak, because it is large enough and the infusion stops by its end;
 * in a pressure-flow study without such a run, the largest. */
struct optional_number filling_voiding_start(const struct study *study,
                                             const struct flow_record *record);

/* Finds the phase: it ends at permission to void, else at the start of voiding, else where the pump
 * stops, else with the record. */
struct filling_phase filling_find(const struct study *study, const struct flow_record *record);

/* Whether the recording holds a filling at all: a cystometry always does, a pressure-flow study
 * when something of the filling was recorded or marked. */
bool filling_exists(const struct study *study);

/* Computes the filling measures and notes their quality.
 *
 * Returns false when memory ran out.
 *
 * Definitions: Abrams P et al. (ICS). Neurourol Urodyn 2002;21:167-178; compliance at the two ICS
 * points, start of filling and cystometric capacity, both outside any contraction. */
bool filling_measure(struct study *study, const struct flow_record *record,
                     const struct filling_phase *phase, struct filling_measures *measures);

#endif
