#include "record.h"

#include "body.h"
#include "filling.h"
#include "mishap.h"
#include "voiding.h"

#include <math.h>

static void mark_permission(struct scene *scene, const struct plan *plan)
{
    scene->truth.permission_s = scene->now_s;
    if (!plan->no_permission_marker) {
        scene_mark(scene, scene->now_s, -0.2, 0.5, "permission_to_void", "");
    }
}

/* What the operator sees at the meter, hence after the flow delay. */
static void mark_voiding(struct scene *scene, const struct plan *plan)
{
    const struct scene_truth *truth = &scene->truth;
    scene_mark(scene, truth->opening_s + plan->flow_delay_s, 0.4, 1.6, "void_start", "");
    scene_mark(scene, truth->closing_s + plan->flow_delay_s, 0.5, 2.0, "void_end", "");
}

/* A contraction that nobody asked for, at capacity: it empties the bladder as far as it likes. */
static void play_terminal(struct scene *scene, const struct plan *plan)
{
    struct scene_truth *truth = &scene->truth;
    double before_ml = scene->bladder_ml;
    double before_cmh2o = scene->pdet[scene_index(scene->now_s) - 1];
    voiding_run(scene, plan);
    scene_mark(scene, truth->contraction_s, 1.0, 2.5, "urgency", "");
    scene_mark(scene, truth->opening_s + plan->flow_delay_s, 0.4, 1.6, "leak", "");
    size_t peak = scene_index(truth->contraction_s);
    for (size_t i = peak; i < scene_index(truth->closing_s); i++) {
        peak = scene->pdet[i] > scene->pdet[peak] ? i : peak;
    }
    truth->contractions[truth->contraction_count++] =
        (struct scene_contraction){truth->contraction_s,
                                   (double)peak * SCENE_STEP_S,
                                   truth->closing_s + 4.0,
                                   before_ml,
                                   scene->pdet[peak] - before_cmh2o,
                                   "terminal",
                                   true};
    truth->leaks[truth->leak_count++] = (struct scene_leak){
        truth->opening_s, before_ml, before_ml - scene->bladder_ml, 0.0, "detrusor"};
}

static void play_after_filling(struct scene *scene, const struct plan *plan)
{
    struct rng *rng = &scene->rng;
    if (plan->voiding.involuntary) {
        play_terminal(scene, plan);
        return;
    }
    double cough_s = scene->now_s + rng_between(rng, 4.0, 7.0);
    body_cough(scene, cough_s, rng_between(rng, 45.0, 80.0), true);
    filling_wait(scene, plan, rng_between(rng, 13.0, 18.0));
    if (plan->voiding.qmax_ml_s > 0.0) {
        mark_permission(scene, plan);
        voiding_run(scene, plan);
        mark_voiding(scene, plan);
    }
}

static void play_free_flow(struct scene *scene, const struct plan *plan)
{
    double lead_s = rng_between(&scene->rng, 6.0, 12.0);
    scene->bladder_ml = plan->voiding.initial_ml;
    for (size_t i = 0; i < scene_index(lead_s); i++) {
        scene->bladder[i] = scene->bladder_ml;
    }
    scene->now_s = lead_s;
    mark_permission(scene, plan);
    voiding_run(scene, plan);
}

/* No bladder does the same twice: volumes, flow and pressure of this visit differ from the plan by
 * a few per cent. What the upload says of itself (rates, delay, residual at the start) stays. */
static struct plan vary(const struct plan *plan, struct rng *rng)
{
    struct plan varied = *plan;
    struct plan_filling *filling = &varied.filling;
    struct plan_voiding *voiding = &varied.voiding;
    double volume = rng_between(rng, 0.92, 1.10);
    filling->capacity_ml *= volume;
    filling->first_sensation_ml *= volume * rng_between(rng, 0.95, 1.03);
    filling->first_desire_ml *= volume;
    filling->strong_desire_ml *= volume;
    filling->urgency_ml *= volume;
    for (size_t i = 0; i < PLAN_CONTRACTIONS; i++) {
        filling->contractions[i].at_fill_ml *= volume;
    }
    for (size_t i = 0; i < PLAN_MANOEUVRES; i++) {
        filling->manoeuvres[i].at_fill_ml *= volume;
    }
    voiding->initial_ml *= volume;
    voiding->residual_ml *= volume * rng_between(rng, 0.8, 1.25);
    voiding->qmax_ml_s *= sqrt(volume) * rng_between(rng, 0.94, 1.06);
    voiding->pdet_qmax_cmh2o *= rng_between(rng, 0.96, 1.04);
    voiding->hesitancy_s *= rng_between(rng, 0.7, 1.4);
    return varied;
}

struct scene *record_play(const struct plan *wanted, uint64_t seed, uint64_t stream)
{
    struct scene *scene = scene_new(seed, stream);
    if (scene == NULL) {
        return NULL;
    }
    struct plan varied = vary(wanted, &scene->rng);
    const struct plan *plan = &varied;
    body_settle(scene, plan);
    if (plan->type == PLAN_UROFLOWMETRY) {
        play_free_flow(scene, plan);
    } else {
        filling_run(scene, plan);
        play_after_filling(scene, plan);
        double cough_s = scene->now_s + rng_between(&scene->rng, 1.0, 3.0);
        body_cough(scene, cough_s, rng_between(&scene->rng, 45.0, 85.0), true);
        filling_wait(scene, plan, rng_between(&scene->rng, 9.0, 14.0));
    }
    if (plan->voiding.qmax_ml_s > 0.0) {
        mishap_place(scene, plan, scene->truth.opening_s + plan->flow_delay_s,
                     scene->truth.closing_s + plan->flow_delay_s, true);
    }
    if (plan->comment != NULL) {
        scene_mark(scene, scene->now_s - 5.0, 0.0, 2.0, "comment", plan->comment);
    }
    scene->count = scene_index(scene->now_s);
    body_background(scene);
    scene_sort_markers(scene);
    return scene;
}
