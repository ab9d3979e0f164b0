/* The voiding phase of a pressure-flow study: flow, and pressures at the moments of flow. */
#ifndef ANALYSIS_VOIDING_VOIDING_H
#define ANALYSIS_VOIDING_VOIDING_H

#include "analysis/filling/filling.h"

/* Whether the recording holds a voiding: a pressure-flow study always does, a cystometry when flow
 * was recorded and either marked or found. */
bool voiding_exists(const struct study *study, const struct flow_record *record);

/* Computes the voiding measures. Flow is measured later than pressure, because the stream has to
 * travel: pressures are read `flow_delay` before the recorded moment of flow.
 *
 * has_filling  whether `filling` says where filling ends, so that voiding comes after it
 *
 * ret_phase    where the voiding lies, in recorded time
 *
 * Returns false when memory ran out.
 *
 * Definitions: Griffiths D et al. (ICS). Neurourol Urodyn 1997;16:1-18. BOOI, BCI: Abrams P. BJU
 * Int 1999;84:14-15. */
bool voiding_measure(struct study *study, const struct flow_record *record,
                     const struct filling_phase *filling, bool has_filling,
                     struct void_phase *ret_phase, struct voiding_measures *measures);

#endif
