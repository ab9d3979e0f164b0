/* A pelvic floor training with known contractions. */
#ifndef TESTS_SUPPORT_TRAINING_CASE_H
#define TESTS_SUPPORT_TRAINING_CASE_H

#include "support/synth.h"

enum { TRAINING_CASE_MAX = 40 };

/* A trapezium over rest. */
struct training_effort {
    double start_s; /* where the rise begins */
    double rise_s;
    double hold_s; /* between rise and release */
    double release_s;
    double net;
};

struct training_case {
    enum signal_kind signal;
    double rate_hz;
    enum emg_form form; /* of an EMG */
    double rest;
    double noise; /* of an envelope or a pressure */
    double drift; /* of the rest over the session */
    double hum_uv;
    double spike_uv; /* every 1.3 s */
    double end_s;
    unsigned seed;
    size_t count;
    struct training_effort efforts[TRAINING_CASE_MAX];
};

/* The true level at a moment. */
double training_case_level(const struct training_case *how, double at_s);

/* Opens `synth` with the session; the caller adds markers, and closes it. */
void training_case_open(struct synth *synth, const struct training_case *how);

#endif
