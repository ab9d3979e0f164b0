/* Recordings with known truth, for tests of the analysis: a channel is a function of time, sampled,
 * with noise and missing stretches put on top. */
#ifndef TESTS_SUPPORT_SYNTH_H
#define TESTS_SUPPORT_SYNTH_H

#include "support/test_memory.h"

enum { SYNTH_CHANNELS_MAX = 24, SYNTH_EVENTS_MAX = 128 };

/* The truth behind a channel: value at a time. */
typedef double synth_truth(double at_s, const void *context);

struct synth {
    struct test_memory memory; /* owns samples and results */
    struct recording recording;
    const struct analysis_choices *choices; /* NULL: the standard ones */
    struct channel channels[SYNTH_CHANNELS_MAX];
    double *samples[SYNTH_CHANNELS_MAX]; /* the channels' samples, to be changed */
    struct event events[SYNTH_EVENTS_MAX];
};

/* How a channel is recorded. */
struct synth_sampling {
    double rate_hz;
    double start_s;
    double end_s;
    double noise; /* standard deviation of added noise */
};

/* An empty recording of a type: an adult man of 60 years, nothing else known. */
void synth_open(struct synth *synth, enum recording_type type);
void synth_close(struct synth *synth);

/* Adds a channel; returns its samples, which the test may change. */
double *synth_channel(struct synth *synth, enum signal_kind signal, struct synth_sampling sampling,
                      synth_truth *truth, const void *context);

/* Adds a channel of given samples. */
double *synth_samples(struct synth *synth, enum signal_kind signal, double rate_hz, size_t count,
                      const double *samples);

/* The samples of a channel that is there, to be changed. */
double *synth_writable(struct synth *synth, enum signal_kind signal);

void synth_event(struct synth *synth, enum event_code code, double at_s);

/* Makes a channel's samples missing within from_s..to_s (inclusive). */
void synth_lose(struct synth *synth, enum signal_kind signal, double from_s, double to_s);

/* Runs the analysis; the result lives until synth_close(). */
const struct analysis_result *synth_run(struct synth *synth);

/* The first quality finding with a code, or NULL. */
const struct quality_finding *synth_quality(const struct analysis_result *result, const char *code);

/* The first finding, and classification, with a code, or NULL. */
const struct finding *synth_finding(const struct analysis_result *result, const char *code);
const struct classification *synth_class(const struct analysis_result *result, const char *code);

/* ---- Truths ---- */

/* Half a sine: 0 outside start_s..start_s+length_s, `peak` in the middle. */
struct half_sine {
    double start_s;
    double length_s;
    double peak;
};

synth_truth half_sine_value; /* context: struct half_sine */
double half_sine_area(const struct half_sine *shape);
synth_truth half_sine_integral; /* context: struct half_sine; area up to a time */

/* Largest mean over any 2 s. */
double half_sine_mean_2s(const struct half_sine *shape);

/* Time from the start at which the half sine reaches `level`. */
double half_sine_reaches(const struct half_sine *shape, double level);

/* Straight lines between points in order of time; the first and last value are held outside. */
struct polyline {
    size_t count;
    const double (*points)[2]; /* time, value */
};

synth_truth polyline_value; /* context: struct polyline */

synth_truth constant_value; /* context: double */

#endif
