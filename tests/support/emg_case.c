#include "support/emg_case.h"

#include <math.h>

static const double pi = 3.14159265358979323846;

/* pdet: 5 cmH2O at rest, a triangle of 60 cmH2O on it from 345 to 385 s. */
static const double pdet_points[][2] = {
    {0.0, 5.0}, {345.0, 5.0}, {365.0, 65.0}, {385.0, 5.0}, {420.0, 5.0}};
static const struct polyline pdet_line = {sizeof pdet_points / sizeof pdet_points[0], pdet_points};
static const double vinf_points[][2] = {{0.0, 0.0}, {20.0, 0.0}, {320.0, 300.0}, {420.0, 300.0}};
static const struct polyline vinf_line = {sizeof vinf_points / sizeof vinf_points[0], vinf_points};
static const struct half_sine flow_shape = {.start_s = 352.0, .length_s = 30.0, .peak = 15.0};
static const double pabd_rest = 25.0;
static const double delay_s = 0.8;
static const double length_s = 410.0;

struct emg_case_times emg_case_times(void)
{
    const double edge_s = half_sine_reaches(&flow_shape, 0.5);

    return (struct emg_case_times){.filling_start = 20.0,
                                   .filling_end = 340.0,
                                   .permission = 340.0,
                                   .relaxed = 345.0,
                                   .contraction_start = 345.0 + 20.0 * 5.0 / 60.0,
                                   .contraction_end = 385.0 - 20.0 * 5.0 / 60.0,
                                   .pdet_peak = 365.0,
                                   .flow_start = flow_shape.start_s + edge_s,
                                   .flow_end = flow_shape.start_s + flow_shape.length_s - edge_s,
                                   .delay = delay_s};
}

struct emg_case emg_case_usual(double rate_hz, enum emg_form form)
{
    return (struct emg_case){.rate_hz = rate_hz,
                             .form = form,
                             .rest_uv = 6.0,
                             .end_uv = 18.0,
                             .void_uv = 5.0,
                             .burst_uv = 30.0,
                             .seed = 1};
}

double emg_case_even(unsigned *seed)
{
    *seed = *seed * 1664525U + 1013904223U;
    return ((double)(*seed >> 8) + 0.5) / 16777216.0;
}

double emg_case_normal(unsigned *seed)
{
    const double radius = sqrt(-2.0 * log(emg_case_even(seed)));

    return radius * cos(2.0 * pi * emg_case_even(seed));
}

double emg_case_envelope(const struct emg_case *how, double at_s)
{
    const double points[][2] = {{0.0, how->rest_uv},   {40.0, how->rest_uv},  {320.0, how->end_uv},
                                {344.0, how->end_uv},  {346.0, how->void_uv}, {388.0, how->void_uv},
                                {392.0, how->rest_uv}, {420.0, how->rest_uv}};
    const struct polyline line = {sizeof points / sizeof points[0], points};

    for (size_t i = 0; i < how->burst_count; i++) {
        if (at_s >= how->bursts[i][0] && at_s <= how->bursts[i][0] + how->bursts[i][1]) {
            return how->burst_uv;
        }
    }
    return polyline_value(at_s, &line);
}

static void fill_emg(struct synth *synth, const struct emg_case *how)
{
    static const double nothing = 0.0;
    const struct synth_sampling sampling = {.rate_hz = how->rate_hz, .end_s = length_s};
    double *samples = synth_channel(synth, SIGNAL_EMG, sampling, constant_value, &nothing);
    const size_t count = recording_channel(&synth->recording, SIGNAL_EMG)->sample_count;
    const size_t spacing = (size_t)(0.7 * how->rate_hz);
    unsigned seed = how->seed;

    for (size_t i = 0; i < count; i++) {
        const double at_s = (double)i / how->rate_hz;
        const double envelope = emg_case_envelope(how, at_s);

        if (how->form == EMG_FORM_ENVELOPE) {
            samples[i] = envelope * (1.0 + 0.05 * emg_case_normal(&seed));
            continue;
        }
        samples[i] = envelope * emg_case_normal(&seed);
        if (how->form == EMG_FORM_RECTIFIED) {
            samples[i] = fabs(samples[i]);
            continue;
        }
        samples[i] += how->hum_uv * sin(2.0 * pi * 50.0 * at_s);
        if (how->spike_uv > 0.0 && i % spacing == spacing / 2) {
            samples[i] += how->spike_uv;
        }
    }
}

static double pabd_value(double at_s, const void *context)
{
    const struct emg_case *how = context;
    const struct half_sine strain = {flow_shape.start_s, flow_shape.length_s, how->pabd_strain};

    return pabd_rest + half_sine_value(at_s, &strain);
}

static double pves_value(double at_s, const void *context)
{
    return pabd_value(at_s, context) + polyline_value(at_s, &pdet_line);
}

void emg_case_open(struct synth *synth, const struct emg_case *how)
{
    const struct synth_sampling sampling = {.rate_hz = 20.0, .end_s = length_s};
    const struct emg_case_times times = emg_case_times();

    synth_open(synth, RECORDING_PRESSURE_FLOW);
    synth->recording.conditions.emg_form = how->unsaid ? EMG_FORM_UNKNOWN : how->form;
    synth->recording.conditions.flow_delay_s = (struct optional_number){true, delay_s};
    synth_channel(synth, SIGNAL_PABD, sampling, pabd_value, how);
    if (!how->without_pdet) {
        synth_channel(synth, SIGNAL_PVES, sampling, pves_value, how);
    }
    if (!how->without_flow) {
        synth_channel(synth, SIGNAL_FLOW, sampling, half_sine_value, &flow_shape);
    }
    synth_channel(synth, SIGNAL_VINF, sampling, polyline_value, &vinf_line);
    fill_emg(synth, how);
    synth_event(synth, EVENT_FILLING_START, times.filling_start);
    synth_event(synth, EVENT_FILLING_STOP, 320.0);
    synth_event(synth, EVENT_PERMISSION_TO_VOID, times.permission);
}
