#include "support/step_trace.h"

#include "support/assert_close.h"

static const double at_once_s = 1e-9;

struct step_trace step_trace_at(double level)
{
    return (struct step_trace){.count = 1, .points = {{0.0, level}}};
}

void step_trace_ramp(struct step_trace *trace, double at_s, double level)
{
    assert_true(trace->count < STEP_TRACE_POINTS);
    trace->points[trace->count][0] = at_s;
    trace->points[trace->count++][1] = level;
}

void step_trace_to(struct step_trace *trace, double at_s, double level)
{
    step_trace_ramp(trace, at_s - at_once_s, trace->points[trace->count - 1][1]);
    step_trace_ramp(trace, at_s, level);
}

void step_trace_pulse(struct step_trace *trace, double from_s, double to_s, double level)
{
    const double before = trace->points[trace->count - 1][1];

    step_trace_to(trace, from_s, level);
    step_trace_to(trace, to_s, before);
}

/* Sampling times are inexact: a step that falls on one is moved by half a sample. */
static struct step_trace moved(struct step_trace trace, double by_s)
{
    for (size_t i = 0; i < trace.count; i++) {
        trace.points[i][0] += by_s;
    }
    return trace;
}

double *step_trace_add(struct synth *synth, enum signal_kind signal, double rate_hz, double end_s,
                       const struct step_trace *trace)
{
    const struct step_trace between = moved(*trace, -0.5 / rate_hz);
    const struct polyline line = {between.count, between.points};

    return synth_channel(synth, signal, (struct synth_sampling){.rate_hz = rate_hz, .end_s = end_s},
                         polyline_value, &line);
}

void step_trace_event(struct synth *synth, enum event_code code, double at_s, double value)
{
    synth_event(synth, code, at_s);
    synth->events[synth->recording.event_count - 1].value = (struct optional_number){true, value};
}
