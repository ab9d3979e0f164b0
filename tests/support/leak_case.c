#include "support/leak_case.h"

#include "support/assert_close.h"

#include <math.h>

static const double pi = 3.14159265358979323846;

struct leak_case leak_case_quiet(void)
{
    return (struct leak_case){
        .rate_hz = 50.0, .meter = LEAK_METER_VOLUME, .delay_s = 0.8, .pves_empty = 15.0};
}

void leak_case_stress(struct leak_case *how, double at_s, double rise_cmh2o, double length_s)
{
    assert_true(how->stress_count < LEAK_CASE_EVENTS);
    how->stresses[how->stress_count++] = (struct leak_stress){at_s, rise_cmh2o, length_s};
}

void leak_case_contraction(struct leak_case *how, double at_s, double rise_cmh2o, double length_s)
{
    assert_true(how->contraction_count < LEAK_CASE_EVENTS);
    how->contractions[how->contraction_count++] =
        (struct leak_contraction){at_s, rise_cmh2o, length_s};
}

void leak_case_loss(struct leak_case *how, double at_s, double ml, double length_s)
{
    assert_true(how->loss_count < LEAK_CASE_EVENTS);
    how->losses[how->loss_count++] = (struct leak_loss){at_s, ml, length_s};
}

static double stress_value(const struct leak_stress *stress, double at_s)
{
    const double off_s = at_s - stress->at_s;

    if (stress->length_s <= 0.0) {
        return fabs(off_s) > 3.0 ? 0.0 : stress->rise_cmh2o * exp(-off_s * off_s / 0.09);
    }
    const double share = off_s / stress->length_s;

    return stress->rise_cmh2o * fmax(0.0, fmin(1.0, fmin(share / 0.6, (1.0 - share) / 0.2)));
}

static double pabd_value(double at_s, const void *context)
{
    const struct leak_case *how = context;
    const double filled = fmin(fmax((at_s - 30.0) / 480.0, 0.0), 1.0);
    double value = how->pves_empty - 5.0 + how->pabd_end * filled;

    for (size_t i = 0; i < how->stress_count; i++) {
        value += stress_value(&how->stresses[i], at_s);
    }
    return value;
}

static double pdet_value(const struct leak_case *how, double at_s)
{
    double value = 5.0 + how->pdet_end * fmin(fmax((at_s - 30.0) / 420.0, 0.0), 1.0);

    for (size_t i = 0; i < how->contraction_count; i++) {
        const struct leak_contraction *one = &how->contractions[i];
        const double share = (at_s - one->at_s) / one->length_s;

        if (share > 0.0 && share < 1.0) {
            value += one->rise_cmh2o * pow(sin(pi * share), 2.0);
        }
    }
    return value;
}

double leak_case_pves(const struct leak_case *how, double at_s)
{
    return pabd_value(at_s, how) + pdet_value(how, at_s);
}

static double pves_value(double at_s, const void *context)
{
    return leak_case_pves(context, at_s);
}

/* Each loss as half a sine of flow, and its integral. */
static double flow_value(double at_s, const void *context)
{
    const struct leak_case *how = context;
    double value = 0.0;

    for (size_t i = 0; i < how->loss_count; i++) {
        const struct leak_loss *loss = &how->losses[i];
        const struct half_sine shape = {loss->at_s + how->delay_s, loss->length_s,
                                        loss->ml * pi / (2.0 * loss->length_s)};

        value += half_sine_value(at_s, &shape);
    }
    return value;
}

static double volume_value(double at_s, const void *context)
{
    const struct leak_case *how = context;
    double value = 0.0;

    for (size_t i = 0; i < how->loss_count; i++) {
        const struct leak_loss *loss = &how->losses[i];
        const struct half_sine shape = {loss->at_s + how->delay_s, loss->length_s,
                                        loss->ml * pi / (2.0 * loss->length_s)};

        value += half_sine_integral(at_s, &shape);
    }
    return value;
}

static double vinf_value(double at_s, const void *context)
{
    (void)context;
    return 50.0 / 60.0 * fmin(fmax(at_s - 30.0, 0.0), 480.0);
}

static void add_meter(struct synth *synth, const struct leak_case *how,
                      struct synth_sampling sampling)
{
    if (how->meter == LEAK_METER_FLOW) {
        sampling.noise = 0.5 * how->noise;
        synth_channel(synth, SIGNAL_FLOW, sampling, flow_value, how);
    } else if (how->meter == LEAK_METER_VOLUME) {
        sampling.noise = 0.2 * how->noise;
        double *samples = synth_channel(synth, SIGNAL_VVOID, sampling, volume_value, how);
        const size_t count = synth->channels[synth->recording.channel_count - 1].sample_count;

        for (size_t i = 0; how->meter_step_ml > 0.0 && i < count; i++) {
            samples[i] = round(samples[i] / how->meter_step_ml) * how->meter_step_ml;
        }
    }
}

void leak_case_open(struct synth *synth, const struct leak_case *how)
{
    const struct synth_sampling sampling = {
        .rate_hz = how->rate_hz, .end_s = 540.0, .noise = how->noise};
    const struct synth_sampling slow = {.rate_hz = 2.0, .end_s = 540.0};

    synth_open(synth, RECORDING_CYSTOMETRY);
    synth->recording.sex = SEX_FEMALE;
    synth_channel(synth, SIGNAL_PVES, sampling, pves_value, how);
    synth_channel(synth, SIGNAL_PABD, sampling, pabd_value, how);
    synth_channel(synth, SIGNAL_VINF, slow, vinf_value, how);
    add_meter(synth, how, sampling);
    synth_event(synth, EVENT_FILLING_START, 30.0);
    synth_event(synth, EVENT_FILLING_STOP, 510.0);
    synth_event(synth, EVENT_PERMISSION_TO_VOID, 530.0);
}
