#include "support/anorectal_case.h"

#include "support/assert_close.h"

#include <math.h>

static const double pi = 3.14159265358979323846;
static const double end_s = 880.0;

static const double rest = 65.0;
static const double rectal_rest = 8.0;

/* Half a second up, four held, half a second down. */
static const double squeezes[ANORECTAL_SQUEEZES][2] = {
    {110.0, 80.0}, {145.0, 100.0}, {180.0, 90.0}};
/* Up in half a second, then falling to half of it at 236.25 s. */
static const double long_squeeze_s = 220.0;
static const double long_rise = 90.0;
static const double long_slope = 45.0 / 15.75;
/* Half sines of 0.6 s, rectal and anal. */
static const double coughs[ANORECTAL_COUGHS][3] = {{300.0, 60.0, 50.0}, {335.0, 75.0, 70.0}};
/* A second up, 13 held, a second down: rectal rise, anal relaxation. */
static const double pushes[ANORECTAL_PUSHES][3] = {
    {370.0, 40.0, 0.10}, {415.0, 50.0, 0.30}, {460.0, 45.0, 0.25}};
/* Fast inflations: volume, fall of the anal pressure (a raised cosine of 12 s, from 1 s on). */
static const double balloons[ANORECTAL_BALLOONS][3] = {
    {510.0, 20.0, 0.05}, {560.0, 40.0, 0.40}, {620.0, 60.0, 0.55}};
static const double fall_s = 12.0;
/* Slow inflation. */
static const double slow_from_s = 700.0;
static const double slow_to_s = 860.0;
static const double compliance = 8.0;

static double ramp(double at_s, double from_s, double length_s)
{
    const double share = (at_s - from_s) / length_s;

    return share < 0.0 ? 0.0 : (share > 1.0 ? 1.0 : share);
}

static double held(double at_s, double from_s, double rise_s, double hold_s)
{
    return ramp(at_s, from_s, rise_s) - ramp(at_s, from_s + rise_s + hold_s, rise_s);
}

static double half_wave(double at_s, double from_s, double length_s)
{
    const double share = (at_s - from_s) / length_s;

    return share > 0.0 && share < 1.0 ? sin(pi * share) : 0.0;
}

static double raised_cosine(double at_s, double from_s, double length_s)
{
    const double wave = half_wave(at_s, from_s, length_s);

    return wave * wave;
}

static double anal_at(double at_s)
{
    double pressure = rest;
    double share = 0.0;

    for (size_t i = 0; i < ANORECTAL_SQUEEZES; i++) {
        pressure += squeezes[i][1] * held(at_s, squeezes[i][0], 0.5, 4.0);
    }
    if (at_s > long_squeeze_s) {
        const double falling = long_rise - long_slope * (at_s - long_squeeze_s - 0.5);

        pressure += fmax(
            0.0, at_s < long_squeeze_s + 0.5 ? long_rise * (at_s - long_squeeze_s) / 0.5 : falling);
    }
    for (size_t i = 0; i < ANORECTAL_COUGHS; i++) {
        pressure += coughs[i][2] * half_wave(at_s, coughs[i][0], 0.6);
    }
    for (size_t i = 0; i < ANORECTAL_PUSHES; i++) {
        share += pushes[i][2] * held(at_s, pushes[i][0], 1.0, 13.0);
    }
    for (size_t i = 0; i < ANORECTAL_BALLOONS; i++) {
        share += balloons[i][2] * raised_cosine(at_s, balloons[i][0] + 1.0, fall_s);
    }
    return pressure - rest * share;
}

static double volume_at(double at_s)
{
    double volume = at_s <= slow_to_s + 2.0 ? fmin(160.0, fmax(0.0, at_s - slow_from_s)) : 0.0;

    for (size_t i = 0; i < ANORECTAL_BALLOONS; i++) {
        const double fill_s = balloons[i][1] / 20.0;

        volume += balloons[i][1] * held(at_s, balloons[i][0], fill_s, 20.0);
    }
    return volume;
}

static double rectal_at(double at_s)
{
    double pressure = rectal_rest;

    for (size_t i = 0; i < ANORECTAL_COUGHS; i++) {
        pressure += coughs[i][1] * half_wave(at_s, coughs[i][0], 0.6);
    }
    for (size_t i = 0; i < ANORECTAL_PUSHES; i++) {
        pressure += pushes[i][1] * held(at_s, pushes[i][0], 1.0, 13.0);
    }
    return pressure + volume_at(at_s) / compliance;
}

struct sensor {
    double share; /* of the highest sensor's pressure */
    double drift_mmhg_s;
};

static double sensor_value(double at_s, const void *context)
{
    const struct sensor *sensor = context;

    return sensor->share * anal_at(at_s) + sensor->drift_mmhg_s * at_s;
}

/* The pressures in the rectum differ a little from place to place. */
static double deep_value(double at_s, const void *context)
{
    const struct sensor *sensor = context;

    return rectal_at(at_s) + sensor->share + sensor->drift_mmhg_s * at_s;
}

static double outside_value(double at_s, const void *context)
{
    const struct sensor *sensor = context;

    return 1.0 + sensor->drift_mmhg_s * at_s;
}

static double rectal_value(double at_s, const void *context)
{
    (void)context;
    return rectal_at(at_s);
}

static double balloon_value(double at_s, const void *context)
{
    (void)context;
    return volume_at(at_s);
}

static void add_sensors(struct synth *synth, struct anorectal_case how)
{
    for (size_t i = 0; i < how.sensors; i++) {
        const size_t middle = how.outside + (how.sensors - how.outside - how.in_rectum) / 2;
        const double away = fabs((double)i - (double)middle);
        const bool deep = i >= how.sensors - how.in_rectum;
        const struct sensor sensor = {fmax(0.05, 1.0 - 0.12 * away), how.drift_mmhg_min / 60.0};
        struct synth_sampling sampling = {
            .rate_hz = how.rate_hz, .end_s = end_s, .noise = how.noise};
        const unsigned signal = how.sensors == 1 ? SIGNAL_PANAL : SIGNAL_PANAL1 + (unsigned)i;

        if (how.mixed_rates && i % 2 == 1) {
            sampling.rate_hz = 0.8 * how.rate_hz;
            sampling.start_s = 0.013 * (double)i;
        }
        synth_channel(synth, (enum signal_kind)signal, sampling,
                      deep ? deep_value : (i < how.outside ? outside_value : sensor_value),
                      &sensor);
    }
}

static void add_markers(struct synth *synth, struct anorectal_case how)
{
    for (size_t i = 0; i < ANORECTAL_SQUEEZES; i++) {
        synth_event(synth, EVENT_SQUEEZE, squeezes[i][0] + how.marker_late_s);
    }
    synth_event(synth, EVENT_LONG_SQUEEZE, long_squeeze_s + how.marker_late_s);
    for (size_t i = 0; i < ANORECTAL_COUGHS; i++) {
        synth_event(synth, EVENT_COUGH, coughs[i][0] + how.marker_late_s);
    }
    for (size_t i = 0; i < ANORECTAL_PUSHES; i++) {
        synth_event(synth, EVENT_PUSH, pushes[i][0] + how.marker_late_s);
    }
    for (size_t i = 0; i < ANORECTAL_BALLOONS; i++) {
        synth_event(synth, EVENT_BALLOON, balloons[i][0] + how.marker_late_s);
        synth->events[synth->recording.event_count - 1].value =
            (struct optional_number){true, balloons[i][1]};
    }
}

void anorectal_case_open(struct synth *synth, struct anorectal_case how)
{
    const struct synth_sampling rectal = {
        .rate_hz = how.rate_hz, .end_s = end_s, .noise = how.noise};
    const struct synth_sampling balloon = {.rate_hz = 10.0, .end_s = end_s};

    synth_open(synth, RECORDING_ANORECTAL_MANOMETRY);
    add_sensors(synth, how);
    synth_channel(synth, SIGNAL_PRECT, rectal, rectal_value, NULL);
    synth_channel(synth, SIGNAL_BALLOON, balloon, balloon_value, NULL);
    if (!how.without_markers) {
        add_markers(synth, how);
    }
    synth_event(synth, EVENT_FILLING_START, slow_from_s);
    synth_event(synth, EVENT_FIRST_SENSATION, 740.0);
    synth_event(synth, EVENT_FIRST_DESIRE, 790.0);
    synth_event(synth, EVENT_PAIN, 850.0);
    synth_event(synth, EVENT_FILLING_STOP, slow_to_s);
}

struct anorectal_truth anorectal_truth(void)
{
    struct anorectal_truth truth = {
        .rest = rest,
        .squeeze_increment = squeezes[1][1],
        .squeeze_max = rest + squeezes[1][1],
        .squeeze_max_s = squeezes[1][0] + 2.5,
        .squeeze_duration_s = 4.5,
        .long_squeeze_s = long_squeeze_s,
        .endurance_s = 16.0,
        .cough_increment = coughs[1][2],
        .cough_gradient = rest + coughs[0][2] - rectal_rest - coughs[0][1],
        .cough_gradient_s = coughs[0][0] + 0.3,
        .push_rise = pushes[1][1],
        .push_residual = rest * (1.0 - pushes[1][2]),
        .push_relaxation = 100.0 * pushes[1][2],
        .push_s = pushes[1][0] + 7.5,
        .rair_volume_ml = balloons[1][1],
        .rair_relaxation = 100.0 * balloons[1][2],
        .first_sensation_ml = 40.0,
        .desire_ml = 90.0,
        .tolerated_ml = 150.0,
        .compliance = compliance,
    };

    truth.gradient = rectal_rest + truth.push_rise - truth.push_residual;
    truth.index = (rectal_rest + truth.push_rise) / truth.push_residual;
    /* From a tenth of the raised cosine's fall to half of its return. */
    truth.rair_duration_s = fall_s * (0.75 - asin(sqrt(0.1)) / pi);
    for (size_t i = 0; i < ANORECTAL_SQUEEZES; i++) {
        truth.squeezes_s[i] = squeezes[i][0];
    }
    for (size_t i = 0; i < ANORECTAL_COUGHS; i++) {
        truth.coughs_s[i] = coughs[i][0];
    }
    for (size_t i = 0; i < ANORECTAL_PUSHES; i++) {
        truth.pushes_s[i] = pushes[i][0];
    }
    for (size_t i = 0; i < ANORECTAL_BALLOONS; i++) {
        truth.balloons_s[i] = balloons[i][0];
    }
    return truth;
}
