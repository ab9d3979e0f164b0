#include "support/training_case.h"

#include "support/emg_case.h"

#include <math.h>

static const double pi = 3.14159265358979323846;

static double effort_at(const struct training_effort *effort, double at_s)
{
    const double points[][2] = {
        {effort->start_s, 0.0},
        {effort->start_s + effort->rise_s, effort->net},
        {effort->start_s + effort->rise_s + effort->hold_s, effort->net},
        {effort->start_s + effort->rise_s + effort->hold_s + effort->release_s, 0.0}};
    const struct polyline line = {4, points};

    return polyline_value(at_s, &line);
}

double training_case_level(const struct training_case *how, double at_s)
{
    double level = how->rest + how->drift * at_s / how->end_s;

    for (size_t i = 0; i < how->count; i++) {
        level += effort_at(&how->efforts[i], at_s);
    }
    return level;
}

static double sample_of(const struct training_case *how, double at_s, unsigned *seed)
{
    const double level = training_case_level(how, at_s);

    if (how->signal != SIGNAL_EMG || how->form == EMG_FORM_ENVELOPE) {
        return level + (how->noise > 0.0 ? how->noise * emg_case_normal(seed) : 0.0);
    }
    const double raw = level * emg_case_normal(seed);

    return how->form == EMG_FORM_RECTIFIED ? fabs(raw)
                                           : raw + how->hum_uv * sin(2.0 * pi * 50.0 * at_s);
}

void training_case_open(struct synth *synth, const struct training_case *how)
{
    static const double nothing = 0.0;
    const struct synth_sampling sampling = {.rate_hz = how->rate_hz, .end_s = how->end_s};
    unsigned seed = how->seed;

    synth_open(synth, RECORDING_PELVIC_FLOOR_TRAINING);
    synth->recording.conditions.emg_form = how->form;
    double *samples = synth_channel(synth, how->signal, sampling, constant_value, &nothing);
    const size_t count = recording_channel(&synth->recording, how->signal)->sample_count;
    const size_t spacing = (size_t)ceil(1.3 * how->rate_hz);

    for (size_t i = 0; i < count; i++) {
        samples[i] = sample_of(how, (double)i / how->rate_hz, &seed);
        if (how->spike_uv > 0.0 && i % spacing == spacing / 2) {
            samples[i] += how->spike_uv;
        }
    }
}
