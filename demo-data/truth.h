/* The values that a recording was made from, for tests to compare an analysis with.
 *
 * One flat JSON object a recording; a member is absent where it has no meaning. Times are seconds
 * from the start of the recording, pressures cmH2O, volumes mL, flows mL/s, all free of noise and
 * artefacts:
 *
 *   recording_id, type
 *   flow_delay_s         bladder neck to meter, the meter's lag included
 *   voided_volume_ml     integral of the flow from the start of the voiding contraction
 *   qmax_ml_s, qmax_at_s highest centred 2 s mean of the flow at the meter, and the middle of it
 *   flow_start_s, flow_end_s  first and last moment with at least 0.5 mL/s at the meter
 *   interruptions        number of gaps of at least 1 s below 0.5 mL/s between these
 *   flow_time_s          time with at least 0.5 mL/s
 *   post_void_residual_ml
 *   permission_s, contraction_s, opening_s, closing_s   at the bladder, hence before flow_*_s
 *   opening_pressure (at flow_start_s - flow_delay_s), closing_pressure (at flow_end_s -
 *   flow_delay_s), pdet_qmax (at qmax_at_s - flow_delay_s), pves_qmax, pabd_qmax, pdet_max (from
 *   opening_s to closing_s), booi, bci (formulas for men, given for all)
 *   filling_start_s, filling_stop_s, capacity_ml (infused plus initial residual), compliance,
 *   pdet_end_fill, first_sensation_ml, first_desire_ml, strong_desire_ml, urgency_ml (bladder
 * volume when it was felt; the marker comes up to 2 s later) pves_rest, pabd_rest, pdet_rest coughs
 * [{at_s, rise, transmission}] peak of every cough, also of those without a marker contractions
 * [{start_s, peak_s, end_s, volume_ml, amplitude, kind, leak, urgency, after_cough}] during filling
 *   leaks        [{at_s, volume_ml, lost_ml, cause, contraction, pves, pabd, pdet, rise}] when
 * urine leaves the urethra; contraction: an involuntary one drove it out artefacts    [{kind,
 * signal, from_s, to_s}]; kinds: flush, damped, movement, knock, missing, talking,
 * rectal_contraction, air, dead, expelled, drift, noise, unequal, zero, clipped, volume, pump
 *
 * and what truth_studies.h describes.
 *
 * Recorded lines add breathing, drift (a few cmH2O over the recording) and noise, so pressures
 * agree to about 4 cmH2O, flows to 0.5 mL/s, volumes to 2 mL. */
#ifndef DEMO_DATA_TRUTH_H
#define DEMO_DATA_TRUTH_H

#include "json_out.h"
#include "scene.h"

/* Writes the object described above. False when memory ran out. */
bool truth_write(struct json_out *out, const struct scene *scene, const struct plan *plan,
                 const char *recording_id);

/* The contract's word for a type. */
const char *truth_type_name(enum plan_type type);

#endif
