/* A signal of levels, steps and ramps, for tests that need a value at an exact moment. */
#ifndef TESTS_SUPPORT_STEP_TRACE_H
#define TESTS_SUPPORT_STEP_TRACE_H

#include "support/synth.h"

enum { STEP_TRACE_POINTS = 96 };

struct step_trace {
    size_t count;
    double points[STEP_TRACE_POINTS][2]; /* time, value */
};

/* A trace that begins, at time 0, with a level. */
struct step_trace step_trace_at(double level);

/* Stays where it is until `at_s`, then steps to a level. */
void step_trace_to(struct step_trace *trace, double at_s, double level);

/* Goes in a straight line from its last point to a level at `at_s`. */
void step_trace_ramp(struct step_trace *trace, double at_s, double level);

/* Steps to a level for a while, and back. */
void step_trace_pulse(struct step_trace *trace, double from_s, double to_s, double level);

/* Adds it as a channel. A step lies halfway between two samples. */
double *step_trace_add(struct synth *synth, enum signal_kind signal, double rate_hz, double end_s,
                       const struct step_trace *trace);

/* A marker with a value. */
void step_trace_event(struct synth *synth, enum event_code code, double at_s, double value);

#endif
