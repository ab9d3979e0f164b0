#include "support/line_pair.h"

#include "support/assert_close.h"

#include <math.h>
#include <string.h>

/* exp(-(t/w)^2) is 0.5 s wide at half height. */
static const double bell_s = 0.30028;

struct line_pair line_pair_sound(void)
{
    struct line_pair how = {.rate_hz = 50.0,
                            .noise = 0.3,
                            .end_s = 360.0,
                            .filling_start_s = 30.0,
                            .filling_stop_s = 330.0,
                            .permission_s = 340.0,
                            .rate_ml_min = 50.0,
                            .pves = {1, {{0.0, 25.0}}},
                            .pabd = {1, {{0.0, 22.0}}}};

    how.coughs[how.cough_count++] = (struct pair_cough){20.0, 50.0, 50.0, 1.0, 0.0, true};
    while (how.cough_count < 6) {
        const double at_s = 20.0 + 60.0 * (double)how.cough_count;

        how.coughs[how.cough_count++] = (struct pair_cough){at_s, 50.0, 50.0, 1.0, 0.0, true};
    }
    return how;
}

void line_pair_to(struct pair_points *line, double at_s, double within_s, double value)
{
    assert_true(line->count + 2 <= LINE_PAIR_POINTS);
    line->points[line->count][0] = at_s;
    line->points[line->count][1] = line->points[line->count - 1][1];
    line->points[line->count + 1][0] = at_s + within_s;
    line->points[line->count + 1][1] = value;
    line->count += 2;
}

static double level(const struct pair_points *line, double at_s)
{
    const struct polyline polyline = {line->count, line->points};

    return polyline_value(at_s, &polyline);
}

static double bell(double off_s, double width_ratio)
{
    const double off = off_s / (bell_s * width_ratio);

    return fabs(off) < 8.0 ? exp(-off * off) : 0.0;
}

static double pves_value(double at_s, const void *context)
{
    const struct line_pair *how = context;
    double value = level(&how->pves, at_s);

    for (size_t i = 0; i < how->cough_count; i++) {
        value += how->coughs[i].pves_rise * bell(at_s - how->coughs[i].at_s, 1.0);
    }
    return value;
}

static double pabd_value(double at_s, const void *context)
{
    const struct line_pair *how = context;
    double value = level(&how->pabd, at_s);

    for (size_t i = 0; i < how->cough_count; i++) {
        const struct pair_cough *cough = &how->coughs[i];

        value += cough->pabd_rise * bell(at_s - cough->at_s - cough->lag_s, cough->width_ratio);
    }
    return value;
}

static double vinf_value(double at_s, const void *context)
{
    const struct line_pair *how = context;
    const double pumped_s = fmin(at_s, how->filling_stop_s) - how->filling_start_s;

    return how->rate_ml_min / 60.0 * fmax(0.0, pumped_s);
}

void line_pair_open(struct synth *synth, const struct line_pair *how)
{
    const struct synth_sampling sampling = {
        .rate_hz = how->rate_hz, .end_s = how->end_s, .noise = how->noise};
    const struct synth_sampling slow = {.rate_hz = 2.0, .end_s = how->end_s};

    synth_open(synth, RECORDING_CYSTOMETRY);
    synth->recording.conditions.position = POSITION_SITTING;
    synth_channel(synth, SIGNAL_PVES, sampling, pves_value, how);
    synth_channel(synth, SIGNAL_PABD, sampling, pabd_value, how);
    synth_channel(synth, SIGNAL_VINF, slow, vinf_value, how);
    synth_event(synth, EVENT_FILLING_START, how->filling_start_s);
    synth_event(synth, EVENT_FILLING_STOP, how->filling_stop_s);
    synth_event(synth, EVENT_PERMISSION_TO_VOID, how->permission_s);
    for (size_t i = 0; i < how->cough_count; i++) {
        if (how->coughs[i].marked) {
            synth_event(synth, EVENT_COUGH, how->coughs[i].at_s);
        }
    }
}

size_t line_pair_count(const struct analysis_result *result, const char *code)
{
    size_t count = 0;

    for (size_t i = 0; i < result->quality_count; i++) {
        count += strcmp(result->quality[i].code, code) == 0 ? 1 : 0;
    }
    return count;
}

const struct quality_finding *line_pair_finding(const struct analysis_result *result,
                                                const char *code, enum signal_kind signal)
{
    for (size_t i = 0; i < result->quality_count; i++) {
        if (result->quality[i].signal == signal && strcmp(result->quality[i].code, code) == 0) {
            return &result->quality[i];
        }
    }
    return NULL;
}
