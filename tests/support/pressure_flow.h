/* A pressure-flow study with known truth: filling, sensations, permission, voiding. */
#ifndef TESTS_SUPPORT_PRESSURE_FLOW_H
#define TESTS_SUPPORT_PRESSURE_FLOW_H

#include "support/synth.h"

/* How it is recorded, and what is changed about it. */
struct pressure_flow_case {
    double rate_hz;      /* of flow and pressures; infused volume at a tenth of it, at least 1 Hz */
    double pabd_rate_hz; /* 0: the same */
    double pabd_start_s;
    double noise;     /* of pressures, cmH2O; flow has a third of it */
    double shift_s;   /* of everything in time */
    double add_cmh2o; /* to pves and pabd */
    bool without_permission;
    bool without_vinf;
};

/* The truth, unshifted. */
struct pressure_flow_truth {
    double filling_start_s;
    double permission_s;
    double capacity_ml;
    double rate_ml_min;
    double first_sensation_ml;
    double first_desire_ml;
    double strong_desire_ml;
    double pves_rest;
    double pabd_rest;
    double pdet_rest;
    double pdet_end;
    double compliance;
    double qmax;
    double voided_ml;
    double flow_time_s;
    double delay_time_s;
    double flow_delay_s;
    double opening;
    double closing;
    double pdet_max;
    double pdet_qmax;
    double pabd_qmax;
    double booi;
    double bci;
};

struct pressure_flow_truth pressure_flow_truth(void);

/* Opens `synth` with the study; the caller closes it. */
void pressure_flow_open(struct synth *synth, struct pressure_flow_case how);

#endif
