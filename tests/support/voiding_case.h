/* A voiding under pressure measurement with known truth: a contraction that rises, opens the
 * outlet, sags while flow goes on, closes and comes once more. */
#ifndef TESTS_SUPPORT_VOIDING_CASE_H
#define TESTS_SUPPORT_VOIDING_CASE_H

#include "support/synth.h"

/* How it is recorded, and what is changed about it. */
struct voiding_case {
    double rate_hz;
    double noise;            /* of pves and pabd, cmH2O */
    double flow_noise;       /* mL/s */
    double shift_s;          /* of everything in time */
    double delay_s;          /* of the flow, as entered */
    double scale;            /* of the detrusor pressure; 0: 1 */
    double after_cmh2o;      /* after-contraction over the closing pressure; 0: none */
    double residual_ml;      /* entered when above 0 */
    double strain_cmh2o;     /* three presses during the flow */
    double strain_flow_ml_s; /* flow that each adds */
    enum patient_sex sex;    /* SEX_UNKNOWN: a man */
};

/* The truth; times unshifted. */
struct voiding_truth {
    double premicturition;
    double rise_s; /* where the contraction begins */
    double opening_time_s;
    double opening;
    double pdet_max;
    double pdet_qmax;
    double pdet_min;
    double closing;
    double after; /* amplitude */
    double qmax;
    double voided_ml;
    double watts_qmax; /* with the residual entered */
    double watts_max;
};

struct voiding_truth voiding_case_truth(struct voiding_case how);

/* Opens `synth` with the recording; the caller closes it. */
void voiding_case_open(struct synth *synth, struct voiding_case how);

#endif
