#include "sensors.h"

#include "noise.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double METER_LAG_S = 0.3;  /* first-order; up to 0.75 s is accepted of a meter */
static const double BUBBLE_LAG_S = 0.9; /* air in a line: first-order, far slower than a cough */
static const double CMH2O_IN_KPA = 0.0980665;
static const double RESTING_EMG_UV = 14.0; /* surface patches, rectified and smoothed */

double *sensors_true_flow(const struct scene *scene, const struct plan *plan)
{
    double *flow = calloc(scene->count, sizeof *flow);
    if (flow == NULL) {
        return NULL;
    }
    size_t travel = scene_index(fmax(plan->flow_delay_s - METER_LAG_S, 0.0));
    double shown = 0.0;
    for (size_t i = 0; i < scene->count; i++) {
        double arriving = i >= travel ? scene->outflow[i - travel] : 0.0;
        shown += (arriving - shown) * SCENE_STEP_S / METER_LAG_S;
        flow[i] = shown;
    }
    return flow;
}

static double *copy_pabd_line(const struct scene *scene)
{
    double *line = calloc(scene->count, sizeof *line);
    if (line == NULL) {
        return NULL;
    }
    double slow = 0.0;
    for (size_t i = 0; i < scene->count; i++) {
        double at_s = (double)i * SCENE_STEP_S;
        double moving = scene->pabd[i] + scene->pabd_only[i];
        if (at_s >= scene->damped.from_s && at_s < scene->damped.to_s) {
            slow += (moving * scene->damped_share - slow) * SCENE_STEP_S / BUBBLE_LAG_S;
            moving = slow;
        } else {
            slow = moving;
        }
        line[i] = scene->resting_pabd_cmh2o + moving;
    }
    return line;
}

static double *copy_pves_line(const struct scene *scene)
{
    double *line = calloc(scene->count, sizeof *line);
    for (size_t i = 0; line != NULL && i < scene->count; i++) {
        line[i] = scene->resting_pabd_cmh2o + scene->pabd[i] + scene->pdet[i] + scene->pves_only[i];
    }
    return line;
}

/* Meter noise: drops and splashes grow with the stream; a dry meter only flickers. */
static double *copy_meter(struct scene *scene, const struct plan *plan)
{
    double *flow = sensors_true_flow(scene, plan);
    struct noise_wander splash;
    noise_wander_start(&splash, &scene->rng, 1.0, 0.15, SCENE_STEP_S);
    for (size_t i = 0; flow != NULL && i < scene->count; i++) {
        double size = 0.02 + 0.12 * sqrt(fmax(flow[i], 0.0));
        flow[i] += size * noise_wander_next(&splash, &scene->rng) + scene->knock[i];
    }
    return flow;
}

static double *copy_integral(const double *flow_ml_s, size_t count)
{
    double *volume = calloc(count, sizeof *volume);
    double sum_ml = 0.0;
    for (size_t i = 0; volume != NULL && i < count; i++) {
        sum_ml += flow_ml_s[i] * SCENE_STEP_S;
        volume[i] = fmax(sum_ml, 0.0);
    }
    return volume;
}

static double *copy_emg(struct scene *scene)
{
    double *emg = calloc(scene->count, sizeof *emg);
    struct noise_wander fast;
    struct noise_wander slow;
    noise_wander_start(&fast, &scene->rng, 0.22, 0.06, SCENE_STEP_S);
    noise_wander_start(&slow, &scene->rng, 0.12, 6.0, SCENE_STEP_S);
    for (size_t i = 0; emg != NULL && i < scene->count; i++) {
        double restless = noise_wander_next(&fast, &scene->rng);
        restless += noise_wander_next(&slow, &scene->rng);
        emg[i] = RESTING_EMG_UV * fmax(scene->emg[i], 0.05) * exp(restless);
    }
    return emg;
}

static double rounded(double value, int decimals)
{
    static const double powers[] = {1.0, 10.0, 100.0, 1000.0};
    return round(value * powers[decimals]) / powers[decimals];
}

/* Picks one of the fine samples for each recorded one, and adds the converter's noise. */
static bool add_channel(struct sensors_set *set, struct scene *scene, const double *track,
                        struct sensors_channel channel, double factor, double noise)
{
    if (track == NULL) {
        return false;
    }
    size_t stride = (size_t)lround(SCENE_RATE_HZ / channel.rate_hz);
    channel.count = scene->count / stride;
    if (channel.count == 0) {
        return false;
    }
    channel.start_s = 0.0;
    channel.values = calloc(channel.count, sizeof *channel.values);
    if (channel.values == NULL) {
        return false;
    }
    for (size_t i = 0; i < channel.count; i++) {
        double value = track[i * stride] + noise * rng_normal(&scene->rng);
        channel.values[i] = rounded(value * factor, channel.decimals);
    }
    for (size_t gap = 0; gap < scene->lost_count; gap++) {
        if (strcmp(scene->lost_signal[gap], channel.signal) != 0) {
            continue;
        }
        size_t from = scene_index(scene->lost[gap].from_s) / stride;
        size_t to = scene_index(scene->lost[gap].to_s) / stride;
        for (size_t i = from; i < to && i < channel.count; i++) {
            channel.values[i] = (double)NAN;
        }
    }
    set->channels[set->count++] = channel;
    return true;
}

static bool add_pressures(struct sensors_set *set, struct scene *scene, const struct plan *plan)
{
    static const double noise_cmh2o = 0.12;
    bool other = plan->format == PLAN_OTHER_UNITS;
    struct sensors_channel channel = {.unit = other ? "kPa" : "cm[H2O]",
                                      .rate_hz = plan->pressure_hz,
                                      .decimals = other ? 2 : 1,
                                      .scale = plan->format == PLAN_INT16 ? 0.1 : 0.0};
    double factor = other ? CMH2O_IN_KPA : 1.0;
    double *pves = copy_pves_line(scene);
    double *pabd = copy_pabd_line(scene);
    channel.signal = "pves";
    bool added = add_channel(set, scene, pves, channel, factor, noise_cmh2o);
    channel.signal = "pabd";
    added = added && add_channel(set, scene, pabd, channel, factor, noise_cmh2o);
    free(pves);
    free(pabd);
    return added;
}

/* The difference of the two recorded lines, as equipment that keeps pdet makes it. */
static bool add_pdet(struct sensors_set *set)
{
    struct sensors_channel channel = set->channels[0];
    channel.signal = "pdet";
    channel.values = calloc(channel.count, sizeof *channel.values);
    if (channel.values == NULL) {
        return false;
    }
    for (size_t i = 0; i < channel.count; i++) {
        channel.values[i] =
            rounded(set->channels[0].values[i] - set->channels[1].values[i], channel.decimals);
    }
    set->channels[set->count++] = channel;
    return true;
}

static bool add_flow(struct sensors_set *set, struct scene *scene, const struct plan *plan)
{
    bool other = plan->format == PLAN_OTHER_UNITS;
    double scale = plan->format == PLAN_INT16 ? 1.0 : 0.0;
    double *flow = copy_meter(scene, plan);
    double *volume = flow != NULL ? copy_integral(flow, scene->count) : NULL;
    struct sensors_channel channel = {.signal = "flow",
                                      .unit = other ? "L/min" : "mL/s",
                                      .rate_hz = plan->flow_hz,
                                      .decimals = other ? 3 : 1,
                                      .scale = 0.1 * scale};
    bool added = add_channel(set, scene, flow, channel, other ? 0.06 : 1.0, 0.0);
    channel.signal = "vvoid";
    channel.unit = other ? "L" : "mL";
    channel.decimals = other ? 3 : 0;
    channel.scale = scale;
    added = added && add_channel(set, scene, volume, channel, other ? 0.001 : 1.0, 0.0);
    free(flow);
    free(volume);
    return added;
}

bool sensors_read(struct scene *scene, const struct plan *plan, struct sensors_set *ret_set)
{
    bool added = true;
    memset(ret_set, 0, sizeof *ret_set);
    if (plan->type != PLAN_UROFLOWMETRY) {
        added = add_pressures(ret_set, scene, plan) && (!plan->record_pdet || add_pdet(ret_set));
    }
    if (added && plan->flow_hz > 0.0) {
        added = add_flow(ret_set, scene, plan);
    }
    if (added && plan->type != PLAN_UROFLOWMETRY) {
        struct sensors_channel pump = {.signal = "vinf", .unit = "mL", .rate_hz = 10.0};
        pump.scale = plan->format == PLAN_INT16 ? 1.0 : 0.0;
        added = add_channel(ret_set, scene, scene->infused, pump, 1.0, 0.0);
    }
    if (added && plan->emg_hz > 0.0) {
        double *emg = copy_emg(scene);
        struct sensors_channel patches = {
            .signal = "emg", .unit = "uV", .rate_hz = plan->emg_hz, .decimals = 1};
        patches.scale = plan->format == PLAN_INT16 ? 0.1 : 0.0;
        added = add_channel(ret_set, scene, emg, patches, 1.0, 0.0);
        free(emg);
    }
    return added;
}

void sensors_free(struct sensors_set *set)
{
    for (size_t i = 0; i < set->count; i++) {
        free(set->channels[i].values);
    }
    set->count = 0;
}
