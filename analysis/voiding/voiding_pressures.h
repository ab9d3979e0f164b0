/* Pressures of the voiding, at the moments of flow. Private to the voiding section. */
#ifndef ANALYSIS_VOIDING_VOIDING_PRESSURES_H
#define ANALYSIS_VOIDING_VOIDING_PRESSURES_H

#include "analysis/flow/flow.h"

/* One pressure around the voiding. */
struct voiding_trace {
    struct series averaged; /* 2 s average */
    struct series peaked;   /* 1 s average, for the largest and smallest value */
    struct series edged;    /* half-second average, for where pressure may change fast */
    const char *absent;     /* why there is none */
};

/* What the measures of a voiding rest on. */
struct voiding_traces {
    const struct flow_record *record;
    const struct void_phase *phase;
    double delay_s;
    struct span span; /* of the flow, earlier by the delay: pressure time */
    struct voiding_trace pdet;
    struct voiding_trace pves;
    struct voiding_trace pabd;
};

/* Makes the pressures ready from two minutes before the voiding to half a minute after it. False
 * when memory ran out. */
bool voiding_traces_open(const struct study *study, const struct flow_record *record,
                         const struct void_phase *phase, double delay_s,
                         struct voiding_traces *ret_traces);

/* Opening, closing, largest and lowest pressures, and those at Qmax. measures->flow and
 * measures->flow_delay are known by then. */
void voiding_pressures_measure(const struct voiding_traces *traces,
                               struct voiding_measures *measures);

/* The contraction before and after the flow: premicturition pressure, opening time,
 * after-contraction. After voiding_pressures_measure(). */
void voiding_contraction_measure(const struct study *study, const struct voiding_traces *traces,
                                 struct voiding_measures *measures);

/* Whether the voiding was driven by straining. After voiding_contraction_measure(). */
struct measure voiding_straining(const struct study *study, const struct voiding_traces *traces,
                                 const struct voiding_measures *measures);

/* Outlet and contractility indices, each where it holds for the patient's sex and age, and the
 * Watts factor. False when memory ran out. */
bool voiding_indices_measure(const struct study *study, const struct voiding_traces *traces,
                             struct voiding_measures *measures);

#endif
