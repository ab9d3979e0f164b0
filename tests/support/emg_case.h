/* A pressure-flow study with an electromyogram of known envelope: filling with guarding, voiding
 * with or without bursts. */
#ifndef TESTS_SUPPORT_EMG_CASE_H
#define TESTS_SUPPORT_EMG_CASE_H

#include "support/synth.h"

enum { EMG_CASE_BURSTS_MAX = 24 };

/* How the EMG is recorded, and what is in it. */
struct emg_case {
    double rate_hz;
    enum emg_form form; /* of the samples */
    bool unsaid;        /* conditions.emg_form is left unknown */
    double rest_uv;
    double end_uv;  /* at the end of filling: the envelope rises in a straight line to it */
    double void_uv; /* between the bursts of the voiding */
    size_t burst_count;
    double bursts[EMG_CASE_BURSTS_MAX][2]; /* start and length, s */
    double burst_uv;
    double hum_uv;      /* amplitude of mains hum; raw only */
    double spike_uv;    /* height of spikes, one every 0.7 s; raw only */
    double pabd_strain; /* added to both pressures while urine flows, cmH2O */
    unsigned seed;
    bool without_flow;
    bool without_pdet;
};

/* Times of the study, s: filling, permission, detrusor contraction above 5 cmH2O, flow. */
struct emg_case_times {
    double filling_start;
    double filling_end;
    double permission;
    double relaxed; /* half of the way from end_uv to void_uv */
    double contraction_start;
    double contraction_end;
    double pdet_peak; /* in the middle of a triangle */
    double flow_start;
    double flow_end;
    double delay;
};

struct emg_case_times emg_case_times(void);

/* A quiet, ordinary study: rest 6, end of filling 18, voiding 5 uV. */
struct emg_case emg_case_usual(double rate_hz, enum emg_form form);

/* The true envelope at a moment, uV. */
double emg_case_envelope(const struct emg_case *how, double at_s);

/* Opens `synth` with the study; the caller closes it. */
void emg_case_open(struct synth *synth, const struct emg_case *how);

/* Random numbers for cases of one's own, the same on every machine: even in 0..1, and normal. */
double emg_case_even(unsigned *seed);
double emg_case_normal(unsigned *seed);

#endif
