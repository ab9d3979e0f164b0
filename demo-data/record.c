#include "record.h"

#include "anorectum.h"
#include "body.h"
#include "filling.h"
#include "mishap.h"
#include "pelvic_floor.h"
#include "urethra.h"
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
        (struct scene_contraction){.start_s = truth->contraction_s,
                                   .peak_s = (double)peak * SCENE_STEP_S,
                                   .end_s = truth->closing_s + 4.0,
                                   .volume_ml = before_ml,
                                   .amplitude_cmh2o = scene->pdet[peak] - before_cmh2o,
                                   .kind = "terminal",
                                   .leak = true,
                                   .urgency = true};
    truth->leaks[truth->leak_count++] =
        (struct scene_leak){.at_s = truth->opening_s,
                            .volume_ml = before_ml,
                            .lost_ml = before_ml - scene->bladder_ml,
                            .cause = "detrusor",
                            .contraction = true};
}

static void play_after_filling(struct scene *scene, const struct plan *plan)
{
    struct rng *rng = &scene->rng;
    if (plan->voiding.involuntary) {
        play_terminal(scene, plan);
        return;
    }
    if (!plan->no_coughs) {
        double cough_s = scene->now_s + rng_between(rng, 4.0, 7.0);
        body_cough(scene, cough_s, rng_between(rng, 45.0, 80.0), true);
    }
    filling_wait(scene, plan, rng_between(rng, 13.0, 18.0));
    if (plan->urethra != NULL) {
        double from_s = scene->now_s;
        filling_wait(scene, plan, urethra_pull(scene, plan, from_s) - from_s);
    }
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

static void play_bladder(struct scene *scene, const struct plan *plan)
{
    filling_run(scene, plan);
    play_after_filling(scene, plan);
    if (!plan->no_coughs) {
        double cough_s = scene->now_s + rng_between(&scene->rng, 1.0, 3.0);
        body_cough(scene, cough_s, rng_between(&scene->rng, 45.0, 85.0), true);
    }
    filling_wait(scene, plan, rng_between(&scene->rng, 9.0, 14.0));
}

/* Lines of their own for what the bladder's tracks don't hold. False when memory ran out. */
static bool add_lines(struct scene *scene, const struct plan *plan)
{
    switch (plan->type) {
    case PLAN_ANORECTAL:
        return anorectum_add_lines(scene, plan);
    case PLAN_TRAINING:
        return pelvic_floor_add_lines(scene, plan);
    case PLAN_UROFLOWMETRY:
    case PLAN_CYSTOMETRY:
    case PLAN_PRESSURE_FLOW:
    case PLAN_URETHRAL_PROFILE:
        break;
    }
    return plan->urethra == NULL || urethra_add_lines(scene, plan);
}

static void play(struct scene *scene, const struct plan *plan)
{
    switch (plan->type) {
    case PLAN_UROFLOWMETRY:
        play_free_flow(scene, plan);
        break;
    case PLAN_CYSTOMETRY:
    case PLAN_PRESSURE_FLOW:
        play_bladder(scene, plan);
        break;
    case PLAN_URETHRAL_PROFILE:
        urethra_run(scene, plan);
        break;
    case PLAN_ANORECTAL:
        anorectum_run(scene, plan);
        break;
    case PLAN_TRAINING:
        pelvic_floor_run(scene, plan);
        break;
    }
}

struct scene *record_play(const struct plan *wanted, uint64_t seed, uint64_t stream)
{
    struct scene *scene = scene_new(seed, stream);
    if (scene == NULL || !add_lines(scene, wanted)) {
        scene_free(scene);
        return NULL;
    }
    struct plan varied = vary(wanted, &scene->rng);
    const struct plan *plan = &varied;
    body_settle(scene, plan);
    play(scene, plan);
    if (plan->voiding.qmax_ml_s > 0.0) {
        mishap_place(scene, plan, scene->truth.opening_s + plan->flow_delay_s,
                     scene->truth.closing_s + plan->flow_delay_s, true);
    }
    if (plan->comment != NULL) {
        scene_mark(scene, scene->now_s - 5.0, 0.0, 2.0, "comment", plan->comment);
    }
    scene->count = scene_index(scene->now_s);
    body_background(scene);
    if (plan->urethra != NULL) {
        urethra_finish(scene);
    }
    scene_sort_markers(scene);
    return scene;
}
