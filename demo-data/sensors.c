#include "sensors.h"

#include "emg_raw.h"
#include "faults.h"
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

static double *copy_pabd_line(struct scene *scene)
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
    faults_bend(scene, "pabd", line);
    return line;
}

static double *copy_pves_line(struct scene *scene)
{
    double *line = calloc(scene->count, sizeof *line);
    if (line == NULL) {
        return NULL;
    }
    for (size_t i = 0; i < scene->count; i++) {
        line[i] = scene->resting_pabd_cmh2o + scene->pabd[i] + scene->pdet[i] + scene->pves_only[i];
    }
    faults_bend(scene, "pves", line);
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
    double held = track[0];
    for (size_t i = 0; i < channel.count; i++) {
        double value = track[i * stride] + noise * rng_normal(&scene->rng);
        double at_s = (double)(i * stride) * SCENE_STEP_S;
        held = faults_seal(scene, channel.signal, at_s, value, held);
        channel.values[i] = rounded(held * factor, channel.decimals);
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
    if (volume != NULL) {
        faults_bend(scene, "vvoid", volume);
    }
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

static bool add_pump(struct sensors_set *set, struct scene *scene, const struct plan *plan)
{
    struct sensors_channel pump = {.signal = "vinf", .unit = "mL", .rate_hz = 10.0};
    pump.scale = plan->format == PLAN_INT16 ? 1.0 : 0.0;
    faults_bend(scene, "vinf", scene->infused);
    return add_channel(set, scene, scene->infused, pump, 1.0, 0.0);
}

static bool add_emg(struct sensors_set *set, struct scene *scene, const struct plan *plan)
{
    double *emg = copy_emg(scene);
    struct sensors_channel patches = {
        .signal = "emg", .unit = "uV", .rate_hz = plan->emg_hz, .decimals = 1};
    bool raw = plan->emg_form == PLAN_EMG_RAW;
    bool added = false;
    patches.scale = plan->format == PLAN_INT16 || raw ? 0.1 : 0.0;
    if (raw && emg != NULL) {
        patches.count = (size_t)((double)scene->count * SCENE_STEP_S * plan->emg_hz);
        patches.values = emg_raw(&scene->rng, emg, scene->count, plan->emg_hz, patches.count);
        added = patches.values != NULL;
        if (added) {
            set->channels[set->count++] = patches;
        }
    } else {
        added = add_channel(set, scene, emg, patches, 1.0, 0.0);
    }
    free(emg);
    return added;
}

/* A profile has the bladder's pressure beside the urethra's. */
static bool add_pves(struct sensors_set *set, struct scene *scene, const struct plan *plan)
{
    struct sensors_channel channel = {
        .signal = "pves", .unit = "cm[H2O]", .rate_hz = plan->pressure_hz, .decimals = 1};
    channel.scale = plan->format == PLAN_INT16 ? 0.1 : 0.0;
    double *pves = copy_pves_line(scene);
    bool added = add_channel(set, scene, pves, channel, 1.0, 0.12);
    free(pves);
    return added;
}

static bool add_lines(struct sensors_set *set, struct scene *scene)
{
    bool added = true;
    for (size_t i = 0; added && i < scene->line_count; i++) {
        const struct scene_line *line = &scene->lines[i];
        if (line->rate_hz <= 0.0) { /* not recorded */
            continue;
        }
        struct sensors_channel channel = {.signal = line->signal,
                                          .unit = line->unit,
                                          .rate_hz = line->rate_hz,
                                          .decimals = line->decimals,
                                          .scale = line->scale};
        added = add_channel(set, scene, line->track, channel, 1.0, line->noise);
    }
    return added;
}

static bool add_bladder(struct sensors_set *set, struct scene *scene, const struct plan *plan)
{
    bool added = true;
    if (plan->type != PLAN_UROFLOWMETRY) {
        added = add_pressures(set, scene, plan) && (!plan->record_pdet || add_pdet(set));
    }
    if (added && plan->flow_hz > 0.0) {
        added = add_flow(set, scene, plan);
    }
    if (added && plan->type != PLAN_UROFLOWMETRY) {
        added = add_pump(set, scene, plan);
    }
    return added && (plan->emg_hz <= 0.0 || add_emg(set, scene, plan));
}

bool sensors_read(struct scene *scene, const struct plan *plan, struct sensors_set *ret_set)
{
    bool added = true;
    memset(ret_set, 0, sizeof *ret_set);
    if (plan_is_of_bladder(plan)) {
        added = add_bladder(ret_set, scene, plan);
    } else if (plan->type == PLAN_URETHRAL_PROFILE) {
        added = add_pves(ret_set, scene, plan);
    }
    return added && add_lines(ret_set, scene);
}

void sensors_free(struct sensors_set *set)
{
    for (size_t i = 0; i < set->count; i++) {
        free(set->channels[i].values);
    }
    set->count = 0;
}
