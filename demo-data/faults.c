#include "faults.h"

#include "noise.h"

#include <math.h>
#include <string.h>

static const double DAMPED_LAG_S = 0.5;
static const double AIR_LAG_S = 0.18; /* still a cough, but a late and blunt one */
static const double OUT_S = 0.4;      /* how fast a catheter's pressure is lost */

/* The line at which a fault acts. Line faults of both pressures are listed for each. */
static bool acts_on(const struct scene_fault *fault, const char *signal)
{
    static const struct {
        enum plan_mishap_kind kind;
        const char *signal;
    } lines[] = {
        {PLAN_DAMPED_PVES, "pves"},  {PLAN_AIR_PVES, "pves"},      {PLAN_DEAD_PABD, "pabd"},
        {PLAN_DRIFT_PABD, "pabd"},   {PLAN_EXPELLED_PVES, "pves"}, {PLAN_NOISE_PVES, "pves"},
        {PLAN_UNEQUAL_PABD, "pabd"}, {PLAN_ZERO_PVES, "pves"},     {PLAN_ZERO_BOTH, "pves"},
        {PLAN_ZERO_BOTH, "pabd"},    {PLAN_CLIPPED, "pves"},       {PLAN_CLIPPED, "pabd"},
        {PLAN_FLOW_CLIPPED, "flow"}, {PLAN_VOLUME_WRONG, "vvoid"}, {PLAN_PUMP_WRONG, "vinf"},
    };

    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        if (lines[i].kind == fault->kind && strcmp(lines[i].signal, signal) == 0) {
            return true;
        }
    }
    return false;
}

/* A first-order line that lets only a share of what moves through. */
static void slow(const struct scene *scene, const struct scene_fault *fault, double lag_s,
                 double *track)
{
    size_t from = scene_index(fault->from_s);
    double base = track[from];
    double shown = 0.0;
    for (size_t i = from; i < scene_index(fault->to_s) && i < scene->count; i++) {
        double moving = (track[i] - base) * fault->size;
        shown += (moving - shown) * fmin(SCENE_STEP_S / lag_s, 1.0);
        track[i] = base + shown;
    }
}

static void weaken(const struct scene *scene, const struct scene_fault *fault, double *track)
{
    for (size_t i = 0; i < scene->count; i++) {
        track[i] = scene->resting_pabd_cmh2o + (track[i] - scene->resting_pabd_cmh2o) * fault->size;
    }
}

/* The tip lies in the stream, then in the air: a few cmH2O about nothing, and no cough any more. */
static void expel(struct scene *scene, const struct scene_fault *fault, double *track)
{
    struct noise_wander dangling;
    noise_wander_start(&dangling, &scene->rng, 0.8, 2.0, SCENE_STEP_S);
    for (size_t i = scene_index(fault->from_s); i < scene->count; i++) {
        double since_s = (double)i * SCENE_STEP_S - fault->from_s;
        double left = exp(-fmax(since_s, 0.0) / OUT_S);
        double outside = fault->size + noise_wander_next(&dangling, &scene->rng);
        track[i] = track[i] * left + outside * (1.0 - left);
    }
}

static void drift(const struct scene *scene, const struct scene_fault *fault, double *track)
{
    for (size_t i = scene_index(fault->from_s); i < scene->count; i++) {
        double part = ((double)i * SCENE_STEP_S - fault->from_s) / (fault->to_s - fault->from_s);
        track[i] += fault->size * fmin(fmax(part, 0.0), 1.0);
    }
}

static void roughen(struct scene *scene, const struct scene_fault *fault, double *track)
{
    for (size_t i = scene_index(fault->from_s); i < scene_index(fault->to_s); i++) {
        track[i] += fault->size * rng_normal(&scene->rng);
    }
}

static void bend(struct scene *scene, const struct scene_fault *fault, double *track)
{
    switch ((int)fault->kind) {
    case PLAN_DAMPED_PVES:
        slow(scene, fault, DAMPED_LAG_S, track);
        break;
    case PLAN_AIR_PVES:
        slow(scene, fault, AIR_LAG_S, track);
        break;
    case PLAN_UNEQUAL_PABD:
        weaken(scene, fault, track);
        break;
    case PLAN_EXPELLED_PVES:
        expel(scene, fault, track);
        break;
    case PLAN_DRIFT_PABD:
        drift(scene, fault, track);
        break;
    case PLAN_NOISE_PVES:
        roughen(scene, fault, track);
        break;
    case PLAN_ZERO_PVES:
    case PLAN_ZERO_BOTH:
        for (size_t i = 0; i < scene->count; i++) {
            track[i] += fault->size;
        }
        break;
    case PLAN_VOLUME_WRONG:
    case PLAN_PUMP_WRONG:
        for (size_t i = 0; i < scene->count; i++) {
            track[i] *= fault->size;
        }
        break;
    default: /* acts in the converter */
        break;
    }
}

void faults_bend(struct scene *scene, const char *signal, double *track)
{
    for (size_t i = 0; i < scene->fault_count; i++) {
        if (acts_on(&scene->faults[i], signal)) {
            bend(scene, &scene->faults[i], track);
        }
    }
}

double faults_seal(const struct scene *scene, const char *signal, double at_s, double value,
                   double held)
{
    for (size_t i = 0; i < scene->fault_count; i++) {
        const struct scene_fault *fault = &scene->faults[i];
        if (!acts_on(fault, signal)) {
            continue;
        }
        if (fault->kind == PLAN_DEAD_PABD && at_s >= fault->from_s && at_s < fault->to_s) {
            value = held;
        }
        if (fault->kind == PLAN_CLIPPED || fault->kind == PLAN_FLOW_CLIPPED) {
            value = fmin(value, fault->size);
        }
    }
    return value;
}
