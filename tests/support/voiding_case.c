#include "support/voiding_case.h"

#include "analysis/voiding/watts.h"

#include <math.h>

/* In pressure time, so that the recorded flow is what is given here, later by the delay. */
static const double pdet_points[][2] = {{0.0, 8.0},   {60.0, 8.0},   {68.0, 48.0},  {74.0, 60.0},
                                        {78.0, 60.0}, {88.0, 38.0},  {92.0, 30.0},  {95.0, 30.0},
                                        {98.0, 38.0}, {104.0, 38.0}, {116.0, 10.0}, {150.0, 10.0}};
static const double flow_points[][2] = {{67.0, 0.0}, {75.0, 16.0}, {79.0, 16.0},
                                        {93.0, 7.0}, {100.0, 4.0}, {102.0, 0.0}};
static const double press_at[] = {70.0, 82.0, 92.0};
static const double pabd_rest = 20.0;
static const double after_s = 110.0;
static const double flow_on = 0.5; /* the threshold of measurable flow, mL/s */

static const struct polyline pdet_line = {sizeof pdet_points / sizeof pdet_points[0], pdet_points};
static const struct polyline flow_line = {sizeof flow_points / sizeof flow_points[0], flow_points};

/* Onset and end of measurable flow, pressure time. */
static const double onset_s = 67.0 + 0.5 / 2.0;
static const double end_s = 102.0 - 0.5 / 2.0;

static double scale_of(const struct voiding_case *how)
{
    return how->scale > 0.0 ? how->scale : 1.0;
}

/* A plateau of 3 s with edges of 1 s. */
static double press(double at_s)
{
    double sum = 0.0;

    for (size_t i = 0; i < sizeof press_at / sizeof press_at[0]; i++) {
        const double inside_s = at_s - press_at[i];

        sum += fmin(1.0, fmax(0.0, fmin(inside_s, 5.0 - inside_s)));
    }
    return sum;
}

static double pdet_at(double at_s, const struct voiding_case *how)
{
    const double base = scale_of(how) * polyline_value(at_s, &pdet_line);
    const double off_s = fabs(at_s - after_s);

    if (how->after_cmh2o <= 0.0 || off_s >= 6.0) {
        return base;
    }
    /* A plateau of 4 s, 4 s up and down. */
    const double peak = how->after_cmh2o + scale_of(how) * polyline_value(end_s, &pdet_line);

    return base + (peak - base) * fmin(1.0, (6.0 - off_s) / 4.0);
}

static double pabd_at(double at_s, const struct voiding_case *how)
{
    return pabd_rest + how->strain_cmh2o * press(at_s);
}

static double flow_at(double at_s, const struct voiding_case *how)
{
    const double flow = polyline_value(at_s, &flow_line);

    return flow + (flow > 0.0 ? how->strain_flow_ml_s * press(at_s) : 0.0);
}

static double pves_value(double at_s, const void *context)
{
    const struct voiding_case *how = context;

    return pdet_at(at_s - how->shift_s, how) + pabd_at(at_s - how->shift_s, how);
}

static double pabd_value(double at_s, const void *context)
{
    const struct voiding_case *how = context;

    return pabd_at(at_s - how->shift_s, how);
}

static double flow_value(double at_s, const void *context)
{
    const struct voiding_case *how = context;

    return flow_at(at_s - how->shift_s - how->delay_s, how);
}

/* By small steps: the truth needs no cleverness. */
static double volume_from(double at_s, const struct voiding_case *how)
{
    static const double step_s = 0.01;
    double volume_ml = 0.0;

    for (int i = 0; at_s + i * step_s < 103.0; i++) {
        volume_ml += flow_at(at_s + (i + 0.5) * step_s, how) * step_s;
    }
    return volume_ml;
}

static double mean_2s(double at_s, const struct voiding_case *how,
                      double (*value)(double, const struct voiding_case *))
{
    double sum = 0.0;

    for (int i = -100; i < 100; i++) {
        sum += value(at_s + ((double)i + 0.5) * 0.01, how);
    }
    return sum / 200.0;
}

static double watts_at(double at_s, const struct voiding_case *how)
{
    return watts_factor(mean_2s(at_s, how, pdet_at), mean_2s(at_s, how, flow_at),
                        how->residual_ml + volume_from(at_s, how));
}

static double largest_watts(const struct voiding_case *how)
{
    double largest = 0.0;

    for (int i = 0; onset_s + 0.1 * i < end_s; i++) {
        const double t = onset_s + 0.1 * i;

        if (how->residual_ml + volume_from(t, how) >= 20.0 && mean_2s(t, how, flow_at) >= flow_on) {
            largest = fmax(largest, watts_at(t, how));
        }
    }
    return largest;
}

struct voiding_truth voiding_case_truth(struct voiding_case how)
{
    const double scale = scale_of(&how);
    const double peak_s = 77.0; /* the middle of the plateau of the flow */

    return (struct voiding_truth){
        .premicturition = 8.0 * scale,
        .rise_s = 60.0,
        .opening_time_s = onset_s - 60.0,
        .opening = pdet_at(onset_s, &how),
        .pdet_max = 60.0 * scale,
        .pdet_qmax = 60.0 * scale,
        .pdet_min = 30.0 * scale,
        .closing = pdet_at(end_s, &how),
        .after = how.after_cmh2o,
        .qmax = 16.0,
        .voided_ml = volume_from(60.0, &how),
        .watts_qmax = how.residual_ml > 0.0 ? watts_at(peak_s, &how) : 0.0,
        .watts_max = how.residual_ml > 0.0 ? largest_watts(&how) : 0.0,
    };
}

void voiding_case_open(struct synth *synth, struct voiding_case how)
{
    const struct synth_sampling pressure = {
        .rate_hz = how.rate_hz, .end_s = 145.0, .noise = how.noise};
    struct synth_sampling flow = pressure;

    flow.noise = how.flow_noise;
    synth_open(synth, RECORDING_PRESSURE_FLOW);
    synth->recording.sex = how.sex == SEX_UNKNOWN ? SEX_MALE : how.sex;
    synth->recording.conditions.position = POSITION_SITTING;
    synth->recording.conditions.flow_delay_s = (struct optional_number){true, how.delay_s};
    if (how.residual_ml > 0.0) {
        synth->recording.conditions.post_void_residual_ml =
            (struct optional_number){true, how.residual_ml};
    }
    synth_event(synth, EVENT_PERMISSION_TO_VOID, 50.0 + how.shift_s);
    synth_channel(synth, SIGNAL_PVES, pressure, pves_value, &how);
    synth_channel(synth, SIGNAL_PABD, pressure, pabd_value, &how);
    synth_channel(synth, SIGNAL_FLOW, flow, flow_value, &how);
}
