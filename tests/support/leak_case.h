/* A cystometry with coughs, strains, contractions and losses of urine at known times. */
#ifndef TESTS_SUPPORT_LEAK_CASE_H
#define TESTS_SUPPORT_LEAK_CASE_H

#include "support/synth.h"

enum { LEAK_CASE_EVENTS = 48 };

enum leak_meter { LEAK_METER_VOLUME, LEAK_METER_FLOW, LEAK_METER_NONE };

/* A cough, when length_s is 0: a bell of 0.5 s at half height. Else a strain: a straight rise over
 * 60 % of its length, a hold over 20 %, a fall. */
struct leak_stress {
    double at_s; /* peak of a cough, start of a strain */
    double rise_cmh2o;
    double length_s;
};

struct leak_contraction {
    double at_s;
    double rise_cmh2o;
    double length_s; /* half a sine, squared */
};

struct leak_loss {
    double at_s; /* leaves the bladder */
    double ml;
    double length_s;
};

struct leak_case {
    double rate_hz;
    double noise; /* of pressures, cmH2O; a volume has a fifth, a flow half of it, in mL and mL/s */
    enum leak_meter meter;
    double meter_step_ml; /* resolution of a volume; 0: none */
    double delay_s;       /* bladder to meter */
    double pves_empty;    /* at the start of filling; pabd is 5 below */
    double pabd_end;      /* added to both lines by the end of filling, in a straight line */
    double pdet_end;      /* added to pves by 450 s, in a straight line, and kept */
    size_t stress_count;
    struct leak_stress stresses[LEAK_CASE_EVENTS];
    size_t contraction_count;
    struct leak_contraction contractions[LEAK_CASE_EVENTS];
    size_t loss_count;
    struct leak_loss losses[LEAK_CASE_EVENTS]; /* in order of time */
};

/* A quiet one: 50 Hz, no noise, exact volume meter, delay 0.8 s, pves 15 throughout. */
struct leak_case leak_case_quiet(void);

void leak_case_stress(struct leak_case *how, double at_s, double rise_cmh2o, double length_s);
void leak_case_contraction(struct leak_case *how, double at_s, double rise_cmh2o, double length_s);
void leak_case_loss(struct leak_case *how, double at_s, double ml, double length_s);

/* True pves at a moment, without noise. */
double leak_case_pves(const struct leak_case *how, double at_s);

/* Opens `synth` with it; the caller closes it. Filling lasts from 30 to 510 s at 50 mL/min,
 * permission is at 530 s, the end at 540 s. */
void leak_case_open(struct synth *synth, const struct leak_case *how);

#endif
