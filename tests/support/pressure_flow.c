#include "support/pressure_flow.h"

#include <math.h>

/* Detrusor pressure: 3 cmH2O at rest, 13 at 400 mL, a contraction, and a fall while flow goes on.
 */
static const double pdet_points[][2] = {{0.0, 3.0},    {30.0, 3.0},   {510.0, 13.0}, {534.0, 13.0},
                                        {543.0, 50.0}, {560.0, 50.0}, {570.0, 44.0}, {585.0, 30.0},
                                        {600.0, 6.0},  {630.0, 6.0}};
static const struct polyline pdet_line = {sizeof pdet_points / sizeof pdet_points[0], pdet_points};
static const double vinf_points[][2] = {{0.0, 0.0}, {30.0, 0.0}, {510.0, 400.0}, {630.0, 400.0}};
static const struct polyline vinf_line = {sizeof vinf_points / sizeof vinf_points[0], vinf_points};
static const struct half_sine flow_shape = {.start_s = 545.0, .length_s = 40.0, .peak = 15.0};
static const double pabd_rest = 22.0;
static const double delay_s = 0.8;

/* Coughs before filling and during it, the same in both pressures, and one close to the end. */
static double coughs(double at_s)
{
    static const double at[] = {20.0, 120.0, 300.0, 526.0};
    double rise = 0.0;

    for (size_t i = 0; i < sizeof at / sizeof at[0]; i++) {
        const double off_s = (at_s - at[i]) / 0.3;

        rise += 60.0 * exp(-off_s * off_s);
    }
    return rise;
}

static double pabd_value(double at_s, const void *context)
{
    const struct pressure_flow_case *how = context;

    return pabd_rest + how->add_cmh2o + coughs(at_s - how->shift_s);
}

static double pves_value(double at_s, const void *context)
{
    const struct pressure_flow_case *how = context;

    return pabd_value(at_s, context) + polyline_value(at_s - how->shift_s, &pdet_line);
}

static double flow_value(double at_s, const void *context)
{
    const struct pressure_flow_case *how = context;

    return half_sine_value(at_s - how->shift_s, &flow_shape);
}

static double vinf_value(double at_s, const void *context)
{
    const struct pressure_flow_case *how = context;

    return polyline_value(at_s - how->shift_s, &vinf_line);
}

static double vinf_at(double at_s)
{
    return polyline_value(at_s, &vinf_line);
}

struct pressure_flow_truth pressure_flow_truth(void)
{
    const double edge_s = half_sine_reaches(&flow_shape, 0.5);
    const double onset_s = flow_shape.start_s + edge_s;
    const double end_s = flow_shape.start_s + flow_shape.length_s - edge_s;
    const double peak_s = flow_shape.start_s + 0.5 * flow_shape.length_s;
    const double qmax = half_sine_mean_2s(&flow_shape);
    const double pdet_qmax = polyline_value(peak_s - delay_s, &pdet_line);

    return (struct pressure_flow_truth){
        .filling_start_s = 30.0,
        .permission_s = 530.0,
        .capacity_ml = 400.0,
        .rate_ml_min = 50.0,
        .first_sensation_ml = vinf_at(200.0),
        .first_desire_ml = vinf_at(280.0),
        .strong_desire_ml = vinf_at(450.0),
        .pves_rest = pabd_rest + 3.0,
        .pabd_rest = pabd_rest,
        .pdet_rest = 3.0,
        .pdet_end = 13.0,
        .compliance = 40.0,
        .qmax = qmax,
        .voided_ml = half_sine_area(&flow_shape),
        .flow_time_s = end_s - onset_s,
        .delay_time_s = onset_s - 530.0,
        .flow_delay_s = delay_s,
        .opening = polyline_value(onset_s - delay_s, &pdet_line),
        .closing = polyline_value(end_s - delay_s, &pdet_line),
        .pdet_max = 50.0,
        .pdet_qmax = pdet_qmax,
        .pabd_qmax = pabd_rest,
        .booi = pdet_qmax - 2.0 * qmax,
        .bci = pdet_qmax + 5.0 * qmax,
    };
}

static void add_events(struct synth *synth, const struct pressure_flow_case *how)
{
    static const struct {
        enum event_code code;
        double at_s;
    } events[] = {{EVENT_COUGH, 20.0},          {EVENT_FILLING_START, 30.0},
                  {EVENT_COUGH, 120.0},         {EVENT_FIRST_SENSATION, 200.0},
                  {EVENT_FIRST_DESIRE, 280.0},  {EVENT_COUGH, 300.0},
                  {EVENT_STRONG_DESIRE, 450.0}, {EVENT_FILLING_STOP, 510.0},
                  {EVENT_COUGH, 526.0},         {EVENT_PERMISSION_TO_VOID, 530.0}};

    for (size_t i = 0; i < sizeof events / sizeof events[0]; i++) {
        if (events[i].code != EVENT_PERMISSION_TO_VOID || !how->without_permission) {
            synth_event(synth, events[i].code, events[i].at_s + how->shift_s);
        }
    }
}

void pressure_flow_open(struct synth *synth, struct pressure_flow_case how)
{
    struct synth_sampling sampling = {.rate_hz = how.rate_hz,
                                      .start_s = how.shift_s,
                                      .end_s = how.shift_s + 620.0,
                                      .noise = how.noise};
    struct synth_sampling pabd = sampling;
    struct synth_sampling flow = sampling;
    struct synth_sampling vinf = sampling;

    pabd.rate_hz = how.pabd_rate_hz > 0.0 ? how.pabd_rate_hz : how.rate_hz;
    pabd.start_s += how.pabd_start_s;
    flow.noise = how.noise / 3.0;
    vinf.rate_hz = fmax(how.rate_hz / 10.0, 1.0);
    vinf.noise = 0.0;
    synth_open(synth, RECORDING_PRESSURE_FLOW);
    synth->recording.conditions.position = POSITION_SITTING;
    synth->recording.conditions.filling_rate_ml_min = (struct optional_number){true, 50.0};
    synth_channel(synth, SIGNAL_PVES, sampling, pves_value, &how);
    synth_channel(synth, SIGNAL_PABD, pabd, pabd_value, &how);
    synth_channel(synth, SIGNAL_FLOW, flow, flow_value, &how);
    if (!how.without_vinf) {
        synth_channel(synth, SIGNAL_VINF, vinf, vinf_value, &how);
    }
    add_events(synth, &how);
}
