/* The flow parameters of one voiding. */
#ifndef ANALYSIS_FLOW_UROFLOW_H
#define ANALYSIS_FLOW_UROFLOW_H

#include "analysis/flow/flow.h"

/* Computes every flow measure of a voiding, and notes its quality.
 *
 * free_flow  a uroflowmetry without catheter: only then is a flow nomogram valid
 *
 * Definitions: ICS, Good urodynamic practices, Neurourol Urodyn 2002;21:261-274 and
 * 2017;36:1243-1260; each measure's catalogue row and method say how it is computed here. */
void uroflow_measure(struct study *study, const struct flow_record *record,
                     const struct void_phase *phase, bool free_flow,
                     struct flow_measures *measures);

#endif
