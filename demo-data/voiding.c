#include "voiding.h"

#include "body.h"
#include "filling.h"
#include "noise.h"
#include "physiology.h"

#include <math.h>

static const double PI = 3.141592653589793;
static const double FLOW_LEAST_ML_S = 0.05; /* below this the outlet counts as shut */
static const double VOID_MOST_S = 150.0;    /* nobody waits longer */
static const double STRAIN_SHARE =
    0.6; /* of straining that drives urine out; the rest squeezes the outlet */

struct void_state {
    const struct plan_voiding *voiding;
    double start_s;   /* of the contraction */
    double opened_s;  /* < 0: not yet */
    double closing_s; /* < 0: the outlet is not being closed yet */
    double strength;  /* isometric pressure above rest at full strength, cmH2O */
    double reference_ml;
    double empty_ml;
    double soft_ml;
    double near_empty_ml;
    double conductance;
    double pinching_cmh2o_s; /* how briskly the outlet is shut at the end */
    double flow_ml_s;
    double most_ml_s; /* highest flow so far */
};

/* Strength and outlet such that (pdet_qmax, qmax) is an equilibrium at 60 % of the volume, and that
 * the flow ends at the planned residual. */
static struct void_state prepare(struct scene *scene, const struct plan *plan, double start_s)
{
    const struct plan_voiding *voiding = &plan->voiding;
    double start_ml = scene->bladder_ml;
    double span_ml = start_ml - voiding->residual_ml;
    struct void_state state = {
        .voiding = voiding, .start_s = start_s, .opened_s = -1.0, .closing_s = -1.0};
    state.reference_ml = voiding->residual_ml + 0.6 * span_ml;
    state.pinching_cmh2o_s = rng_between(&scene->rng, 2.5, 8.0);
    state.soft_ml = 4.0 + 0.04 * span_ml;
    state.near_empty_ml = voiding->residual_ml + 4.0 + 0.03 * span_ml;
    double passive =
        plan->resting_pdet_cmh2o + filling_passive_cmh2o(plan, state.reference_ml, 20.0);
    double wanted = voiding->pdet_qmax_cmh2o + voiding->yield_cmh2o_s_ml * voiding->qmax_ml_s;
    state.strength = fmax(wanted - passive, 1.0);
    state.conductance = voiding->qmax_ml_s * voiding->qmax_ml_s /
                        fmax(voiding->pdet_qmax_cmh2o - voiding->pmuo_cmh2o, 1.0);
    /* The muscle is down to pmuo where fullness = pmuo / strength. */
    double share = fmin(voiding->pmuo_cmh2o / state.strength, 0.9);
    state.empty_ml = voiding->residual_ml - state.soft_ml * share / (1.0 - share);
    state.strength /= physiology_fullness(state.reference_ml, state.empty_ml, state.soft_ml);
    return state;
}

/* 0 to 1: how far the contraction has developed. */
static double activation(const struct plan_voiding *voiding, double since_s)
{
    if (since_s <= 0.0) {
        return 0.0;
    }
    double part = fmin(since_s / voiding->rise_s, 1.0);
    double risen = 0.5 * (1.0 - cos(PI * part));
    double tired_s = fmax(since_s - voiding->rise_s, 0.0);
    return voiding->fatigue_s > 0.0 ? risen * exp(-tired_s / voiding->fatigue_s) : risen;
}

/* The outlet gives way over the first seconds of flow, and is pinched shut at the end. */
static struct physiology_outlet outlet_at(const struct void_state *state, double at_s,
                                          double sphincter, double supple)
{
    static const double squeeze_cmh2o = 60.0; /* at full effort; little at half of it */
    double stretched = state->opened_s < 0.0 ? 1.0 : exp(-(at_s - state->opened_s) / 2.5);
    struct physiology_outlet outlet = {
        .pmuo_cmh2o = state->voiding->pmuo_cmh2o + state->voiding->opening_extra_cmh2o * stretched +
                      squeeze_cmh2o * sphincter * sphincter * sphincter,
        .conductance = state->conductance * (1.0 - 0.35 * stretched) * (1.0 + supple) *
                       fmax(1.0 - 0.97 * sphincter, 0.005)};
    if (state->closing_s >= 0.0) {
        outlet.pmuo_cmh2o += state->pinching_cmh2o_s * (at_s - state->closing_s);
    }
    return outlet;
}

static void place_strains(struct scene *scene, const struct plan_voiding *voiding, double from_s)
{
    struct rng *rng = &scene->rng;
    if (voiding->strain_cmh2o <= 0.0) {
        return;
    }
    double until_s = from_s + VOID_MOST_S;
    double at_s = from_s + 1.5;
    while (at_s < until_s) {
        double length_s = voiding->strain_period_s * rng_between(rng, 0.5, 0.7);
        body_strain(scene, at_s, length_s, voiding->strain_cmh2o * rng_between(rng, 0.75, 1.15));
        at_s += voiding->strain_period_s * rng_between(rng, 0.85, 1.2);
    }
}

/* Takes back the pushes that were planned for after the end. */
static void stop_strains(struct scene *scene, double end_s)
{
    size_t from = scene_index(end_s);
    size_t until = scene_index(end_s + VOID_MOST_S + 60.0);
    for (size_t i = from; i < until; i++) {
        double fade = exp(-((double)i * SCENE_STEP_S - end_s) / 0.5);
        scene->pabd[i] *= fade;
        scene->pabd_only[i] *= fade;
        scene->emg[i] = 1.0 + (scene->emg[i] - 1.0) * fade;
    }
}

static void place_sphincter(struct scene *scene, const struct plan_voiding *voiding, double from_s)
{
    struct rng *rng = &scene->rng;
    if (voiding->sphincter_depth <= 0.0) {
        return;
    }
    double at_s = from_s + voiding->rise_s * 0.6;
    while (at_s < from_s + VOID_MOST_S) {
        double period_s = voiding->sphincter_period_s * rng_between(rng, 0.7, 1.3);
        double depth = fmin(voiding->sphincter_depth * rng_between(rng, 0.75, 1.1), 1.0);
        scene_add_hump(scene->sphincter, at_s, 0.3 * period_s, 0.35 * period_s, depth);
        at_s += period_s;
    }
}

/* Whether the person has finished: near the residual with a dying stream, or too weak to go on. */
static bool finished(const struct void_state *state, double at_s, double bladder_ml, double drive)
{
    if (state->opened_s < 0.0) {
        return at_s - state->start_s > 60.0;
    }
    double flowing_s = at_s - state->opened_s;
    bool dying = state->flow_ml_s < fmin(1.2, 0.25 * state->most_ml_s);
    bool emptied = bladder_ml < state->near_empty_ml && dying;
    double reserve = state->voiding->strain_cmh2o * STRAIN_SHARE;
    bool spent = drive + reserve < state->voiding->pmuo_cmh2o && state->flow_ml_s < 0.3;
    return emptied || (flowing_s > 8.0 && spent) || flowing_s > VOID_MOST_S;
}

/* One step of muscle and outlet; returns the detrusor pressure. */
static double step(struct scene *scene, const struct plan *plan, struct void_state *state, size_t i,
                   double supple)
{
    static const double inertia_s = 0.25; /* urine column and outlet wall follow with this delay */
    const struct plan_voiding *voiding = state->voiding;
    double at_s = (double)i * SCENE_STEP_S;
    double active = state->strength * activation(voiding, at_s - state->start_s) *
                    physiology_fullness(scene->bladder_ml, state->empty_ml, state->soft_ml);
    double isometric =
        plan->resting_pdet_cmh2o + active + filling_passive_cmh2o(plan, scene->bladder_ml, 20.0);
    double strain = voiding->strain_cmh2o > 0.0 ? STRAIN_SHARE * scene->pabd[i] : 0.0;
    double yield =
        voiding->yield_cmh2o_s_ml * physiology_yield_factor(scene->bladder_ml, state->reference_ml);
    struct physiology_outlet outlet = outlet_at(state, at_s, scene->sphincter[i], supple);
    double target = physiology_flow_ml_s(outlet, isometric + strain, yield);
    state->flow_ml_s += (target - state->flow_ml_s) * SCENE_STEP_S / inertia_s;
    if (state->opened_s < 0.0 && state->flow_ml_s > FLOW_LEAST_ML_S) {
        state->opened_s = at_s;
    }
    if (state->closing_s < 0.0 && finished(state, at_s, scene->bladder_ml, isometric)) {
        state->closing_s = at_s;
    }
    state->most_ml_s = fmax(state->most_ml_s, state->flow_ml_s);
    return isometric - yield * state->flow_ml_s;
}

/* The muscle lets go after the flow; some contract once more on the empty bladder. */
static void settle(struct scene *scene, const struct plan *plan, double last_pdet, double length_s)
{
    static const double letting_go_s = 2.2;
    double rest = plan->resting_pdet_cmh2o + filling_passive_cmh2o(plan, scene->bladder_ml, 20.0);
    double from_s = scene->now_s;
    size_t end = scene_index(from_s + length_s);
    for (size_t i = scene_index(from_s); i < end; i++) {
        double since_s = (double)i * SCENE_STEP_S - from_s;
        scene->pdet[i] += rest + (last_pdet - rest) * exp(-since_s / letting_go_s);
        scene->bladder[i] = scene->bladder_ml;
        scene->infused[i] = scene->infused[i - 1];
    }
    if (plan->voiding.after_contraction_cmh2o > 0.0) {
        scene_add_hump(scene->pdet, from_s + 1.0, 4.0, 7.0, plan->voiding.after_contraction_cmh2o);
    }
    scene->now_s = (double)end * SCENE_STEP_S;
}

/* Pelvic floor: quiet from just before the flow to just after it, unless the sphincter fights. */
static void quieten(struct scene *scene, const struct plan *plan, double from_s, double to_s)
{
    bool fights = plan->voiding.sphincter_depth > 0.0;
    double quiet = fights ? 0.15 : 0.72;
    for (size_t i = scene_index(from_s - 1.0); i < scene_index(to_s + 3.0); i++) {
        double at_s = (double)i * SCENE_STEP_S;
        double edge = fmin(fmin((at_s - from_s + 1.0) / 1.5, (to_s + 3.0 - at_s) / 2.5), 1.0);
        scene->emg[i] = scene->emg[i] * (1.0 - quiet * edge) + 3.0 * scene->sphincter[i] * edge;
    }
}

/* A relaxing pelvic floor lets the abdominal pressure down by a little. */
static void lower_floor(struct scene *scene, double from_s, double to_s)
{
    double drop = rng_between(&scene->rng, 1.0, 3.0);
    scene_add_hump(scene->pabd, from_s, 2.0, fmax(to_s - from_s, 2.0), -drop);
}

void voiding_run(struct scene *scene, const struct plan *plan)
{
    struct scene_truth *truth = &scene->truth;
    double start_s = scene->now_s + plan->voiding.hesitancy_s;
    struct void_state state = prepare(scene, plan, start_s);
    struct noise_wander supple;
    double start_ml = scene->bladder_ml;
    double pdet = 0.0;
    noise_wander_start(&supple, &scene->rng, 0.035, 0.9, SCENE_STEP_S);
    place_strains(scene, &plan->voiding, start_s);
    place_sphincter(scene, &plan->voiding, start_s);
    size_t i = scene_index(scene->now_s);
    while (state.closing_s < 0.0 || state.flow_ml_s > FLOW_LEAST_ML_S) {
        pdet = step(scene, plan, &state, i, noise_wander_next(&supple, &scene->rng));
        scene->bladder_ml -= state.flow_ml_s * SCENE_STEP_S;
        scene->outflow[i] += state.flow_ml_s;
        scene->pdet[i] += pdet;
        scene->bladder[i] = scene->bladder_ml;
        scene->emg[i] += filling_guarding(scene->bladder_ml / start_ml);
        scene->infused[i] = i > 0 ? scene->infused[i - 1] : 0.0;
        i++;
    }
    double end_s = (double)i * SCENE_STEP_S;
    if (plan->voiding.strain_cmh2o > 0.0) {
        stop_strains(scene, end_s);
    }
    scene->now_s = end_s;
    truth->contraction_s = start_s;
    truth->opening_s = state.opened_s;
    truth->closing_s = end_s;
    truth->residual_ml = (struct scene_number){true, scene->bladder_ml};
    quieten(scene, plan, start_s, end_s);
    lower_floor(scene, start_s, end_s);
    settle(scene, plan, pdet, rng_between(&scene->rng, 14.0, 18.0));
}
