#include "support/profile_case.h"

#include "support/assert_close.h"

#include <math.h>
#include <stdint.h>

static const double pi = 3.14159265358979323846;

/* The way of the sensor: so far in the bladder, so far until outer pressure, so far outside. */
static const double bladder_mm = 8.0;
static const double tail_mm = 3.0;
static const double outside_mm = 20.0;
/* Rests before the first pull, after a pull, and after its return; speed of the return. */
static const double before_s = 10.0;
static const double after_s = 8.0;
static const double between_s = 10.0;
static const double return_mm_s = 10.0;
/* How far the peak is shifted towards the bladder. */
static const double skew = 0.3;
static const double cough_length_s = 0.5;

struct profile_case profile_case_plain(void)
{
    return (struct profile_case){.found = PROFILE_CASE_PULLER,
                                 .pulls = 1,
                                 .rate_hz = 10.0,
                                 .speed_mm_s = 1.0,
                                 .pves_cmh2o = 10.0,
                                 .closure_cmh2o = 60.0,
                                 .length_mm = 30.0,
                                 .cough_cmh2o = 60.0,
                                 .transmission = 0.8};
}

static double way_mm(const struct profile_case *how)
{
    return bladder_mm + how->length_mm + tail_mm + outside_mm;
}

static double pull_s(const struct profile_case *how)
{
    return way_mm(how) / how->speed_mm_s;
}

static double cycle_s(const struct profile_case *how)
{
    return pull_s(how) + after_s + way_mm(how) / return_mm_s + between_s;
}

static double start_s(const struct profile_case *how, size_t pull)
{
    return before_s + (double)pull * cycle_s(how);
}

static double place_mm(const struct profile_case *how, double at_s)
{
    const double passed_s = at_s - before_s;
    const double cycle = fmin(fmax(floor(passed_s / cycle_s(how)), 0.0), (double)how->pulls - 1.0);
    const double in_s = fmax(passed_s - cycle * cycle_s(how), 0.0);
    const double back_s = in_s - pull_s(how) - after_s;

    if (back_s > 0.0) {
        return fmax(way_mm(how) - return_mm_s * back_s, 0.0);
    }
    return fmin(in_s * how->speed_mm_s, way_mm(how));
}

/* 0 at both ends of the functional length, 1 at the peak. */
static double shape(double share)
{
    return sin(pi * (share + skew * share * (1.0 - share)));
}

static double closure_at(const struct profile_case *how, double place)
{
    const double share = (place - bladder_mm) / how->length_mm;

    return share > 0.0 && share < 1.0 ? how->closure_cmh2o * shape(share) : 0.0;
}

/* How much of the bladder's pressure is around the sensor: none outside. */
static double inside(const struct profile_case *how, double place)
{
    return fmin(fmax(1.0 - (place - bladder_mm - how->length_mm) / tail_mm, 0.0), 1.0);
}

static double cough_at(const struct profile_case *how, double at_s)
{
    if (!(how->coughs_every_s > 0.0)) {
        return 0.0;
    }
    const double in_s = at_s - floor(at_s / how->coughs_every_s) * how->coughs_every_s;
    const double from_s = 0.5 * (how->coughs_every_s - cough_length_s);
    const struct half_sine cough = {from_s, cough_length_s, how->cough_cmh2o};

    return half_sine_value(in_s, &cough);
}

static double resting_pves(const struct profile_case *how, double at_s)
{
    return how->pves_cmh2o + how->breathing * sin(2.0 * pi * 0.25 * at_s);
}

static double pves_at(double at_s, const void *context)
{
    const struct profile_case *how = context;

    return resting_pves(how, at_s) + cough_at(how, at_s);
}

static double resting_pura(const struct profile_case *how, double at_s)
{
    const double place = place_mm(how, at_s);

    return closure_at(how, place) + inside(how, place) * resting_pves(how, at_s);
}

static double pura_at(double at_s, const void *context)
{
    const struct profile_case *how = context;
    const double place = place_mm(how, at_s);
    const double share = place > bladder_mm ? how->transmission : 1.0;

    return resting_pura(how, at_s) +
           inside(how, place) * share * cough_at(how, at_s + how->early_s);
}

static double pabd_at(double at_s, const void *context)
{
    return pves_at(at_s, context) - 2.0;
}

static double puller_at(double at_s, const void *context)
{
    const struct profile_case *how = context;
    const double place = place_mm(how, at_s);

    return how->puller_step_mm > 0.0 ? floor(place / how->puller_step_mm) * how->puller_step_mm
                                     : place;
}

double profile_case_pura(const struct profile_case *how, double at_s)
{
    return pura_at(at_s, how);
}

double profile_case_highest(const struct profile_case *how, size_t pull)
{
    const double from_s = start_s(how, pull);
    double highest = 0.0;

    const size_t steps = (size_t)(pull_s(how) / 0.002);

    for (size_t i = 0; i < steps; i++) {
        highest = fmax(highest, resting_pura(how, from_s + 0.002 * (double)i));
    }
    return highest;
}

/* Sum of twelve uniform numbers: near enough to normal, and the same everywhere. */
static double noise_of(uint64_t *state)
{
    double sum = -6.0;

    for (int i = 0; i < 12; i++) {
        *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        sum += (double)(*state >> 11) / 9007199254740992.0;
    }
    return sum;
}

static void add_pressure(struct synth *synth, enum signal_kind signal,
                         const struct profile_case *how, double end_s, synth_truth *truth)
{
    const struct synth_sampling sampling = {.rate_hz = how->rate_hz, .end_s = end_s};
    double *samples = synth_channel(synth, signal, sampling, truth, how);
    const size_t count = recording_channel(&synth->recording, signal)->sample_count;
    uint64_t state = UINT64_C(977) * (how->seed + 1) + (uint64_t)signal;

    for (size_t i = 0; i < count; i++) {
        samples[i] += how->noise * noise_of(&state);
    }
}

static void tell_shape(const struct profile_case *how, struct profile_case_truth *truth)
{
    const double peak_share =
        ((1.0 + skew) - sqrt((1.0 + skew) * (1.0 + skew) - 2.0 * skew)) / (2.0 * skew);
    const int steps = 20000;
    double first = -1.0;
    double last = 0.0;
    double sum = 0.0;

    for (int i = 0; i < steps; i++) {
        const double share = ((double)i + 0.5) / (double)steps;
        const double value = shape(share);

        sum += value;
        if (value >= 0.5) {
            first = first < 0.0 ? share : first;
            last = share;
        }
    }
    truth->closure = how->closure_cmh2o;
    truth->length_mm = how->length_mm;
    truth->total_mm = how->length_mm + tail_mm;
    truth->to_peak_mm = peak_share * how->length_mm;
    truth->area_cmh2o_cm = how->closure_cmh2o * sum / (double)steps * how->length_mm / 10.0;
    truth->half_width_mm = (last - first) * how->length_mm;
    truth->bladder_mm = bladder_mm;
}

static void tell_pulls(struct synth *synth, const struct profile_case *how,
                       struct profile_case_truth *truth)
{
    for (size_t i = 0; i < how->pulls; i++) {
        truth->start_s[i] = start_s(how, i);
        truth->end_s[i] = start_s(how, i) + pull_s(how);
        if (how->found == PROFILE_CASE_MARKERS) {
            synth_event(synth, EVENT_PULL_START, truth->start_s[i]);
            synth_event(synth, EVENT_PULL_END, truth->end_s[i]);
        }
        if (!(how->coughs_every_s > 0.0)) {
            continue;
        }
        const size_t coughs = (size_t)(truth->end_s[i] / how->coughs_every_s) + 1;

        for (size_t k = 0; k < coughs; k++) {
            const double at_s = ((double)k + 0.5) * how->coughs_every_s;

            if (at_s > truth->start_s[i] && at_s < truth->end_s[i] &&
                truth->cough_count < PROFILE_CASE_COUGHS) {
                truth->cough_s[truth->cough_count++] = at_s;
            }
        }
    }
}

void profile_case_open(struct synth *synth, const struct profile_case *how,
                       struct profile_case_truth *ret_truth)
{
    const double end_s = before_s + (double)how->pulls * cycle_s(how);
    const struct synth_sampling slow = {.rate_hz = 10.0, .end_s = end_s};

    assert_true(how->pulls <= PROFILE_CASE_PULLS);
    *ret_truth = (struct profile_case_truth){.cough_count = 0};
    synth_open(synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
    synth->recording.sex = SEX_FEMALE;
    synth->recording.age_years = (struct optional_number){true, 50.0};
    tell_shape(how, ret_truth);
    tell_pulls(synth, how, ret_truth);
    add_pressure(synth, SIGNAL_PURA, how, end_s, pura_at);
    if (!how->without_pves) {
        add_pressure(synth, SIGNAL_PVES, how, end_s, pves_at);
    }
    if (how->with_pabd) {
        add_pressure(synth, SIGNAL_PABD, how, end_s, pabd_at);
    }
    if (how->found == PROFILE_CASE_PULLER) {
        synth_channel(synth, SIGNAL_PULLER, slow, puller_at, how);
    } else {
        synth->recording.conditions.puller_speed_mm_s =
            (struct optional_number){true, how->speed_mm_s};
    }
}

void profile_case_samples(struct synth *synth, double spacing_mm, size_t count, const double *pura,
                          double pves_cmh2o)
{
    const double rate_hz = 1.0 / spacing_mm;
    const struct synth_sampling sampling = {.rate_hz = rate_hz,
                                            .end_s = (double)(count - 1) * spacing_mm};

    synth_open(synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
    synth->recording.sex = SEX_FEMALE;
    synth->recording.age_years = (struct optional_number){true, 50.0};
    synth->recording.conditions.puller_speed_mm_s = (struct optional_number){true, 1.0};
    synth_samples(synth, SIGNAL_PURA, rate_hz, count, pura);
    synth_channel(synth, SIGNAL_PVES, sampling, constant_value, &pves_cmh2o);
    synth_event(synth, EVENT_PULL_START, 0.0);
    synth_event(synth, EVENT_PULL_END, (double)(count - 1) * spacing_mm);
}
