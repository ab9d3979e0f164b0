#include "truth.h"

#include "sensors.h"
#include "truth_studies.h"

#include <math.h>
#include <stdlib.h>

static const double FLOW_THRESHOLD_ML_S = 0.5;
static const double GAP_LEAST_S = 1.0;

struct flow_truth {
    double voided_ml;
    double qmax_ml_s;
    double qmax_at_s;
    double start_s;
    double end_s;
    double flow_time_s;
    int interruptions;
};

const char *truth_type_name(enum plan_type type)
{
    static const char *const names[] = {[PLAN_UROFLOWMETRY] = "uroflowmetry",
                                        [PLAN_CYSTOMETRY] = "cystometry",
                                        [PLAN_PRESSURE_FLOW] = "pressure_flow",
                                        [PLAN_URETHRAL_PROFILE] = "urethral_pressure_profile",
                                        [PLAN_ANORECTAL] = "anorectal_manometry",
                                        [PLAN_TRAINING] = "pelvic_floor_training"};
    return names[type];
}

/* Highest mean over the 2 s window; outside the recording the flow is zero. */
static void find_qmax(const double *flow, size_t from, size_t count, struct flow_truth *truth)
{
    const size_t half = SCENE_RATE_HZ;
    double sum = 0.0;
    for (size_t i = from; i < count; i++) {
        sum += flow[i];
        if (i >= from + 2 * half + 1) {
            sum -= flow[i - 2 * half - 1];
        }
        double mean = sum / (double)(2 * half + 1);
        if (i >= from + half && mean > truth->qmax_ml_s) {
            truth->qmax_ml_s = mean;
            truth->qmax_at_s = (double)(i - half) * SCENE_STEP_S;
        }
    }
}

static struct flow_truth measure_flow(const struct scene *scene, const double *flow)
{
    struct flow_truth truth = {.start_s = -1.0};
    size_t from = scene_index(scene->truth.contraction_s);
    double last_s = -1.0;
    for (size_t i = from; i < scene->count; i++) {
        double at_s = (double)i * SCENE_STEP_S;
        truth.voided_ml += flow[i] * SCENE_STEP_S;
        if (flow[i] < FLOW_THRESHOLD_ML_S) {
            continue;
        }
        truth.flow_time_s += SCENE_STEP_S;
        if (truth.start_s < 0.0) {
            truth.start_s = at_s;
        } else if (at_s - last_s > GAP_LEAST_S) {
            truth.interruptions++;
        }
        last_s = at_s;
        truth.end_s = at_s;
    }
    find_qmax(flow, from, scene->count, &truth);
    return truth;
}

static void write_known(struct json_out *out, const char *key, struct scene_number number)
{
    if (number.known) {
        json_out_number(out, key, number.value, 2);
    }
}

static void write_voiding_pressures(struct json_out *out, const struct scene *scene,
                                    const struct plan *plan, const struct flow_truth *flow)
{
    size_t at = scene_index(flow->qmax_at_s - plan->flow_delay_s);
    double pdet_qmax = scene->pdet[at];
    double pabd_qmax = scene->resting_pabd_cmh2o + scene->pabd[at];
    double pdet_max = pdet_qmax;
    for (size_t i = scene_index(scene->truth.opening_s); i < scene_index(scene->truth.closing_s);
         i++) {
        pdet_max = fmax(pdet_max, scene->pdet[i]);
    }
    double opening = scene->pdet[scene_index(flow->start_s - plan->flow_delay_s)];
    double closing = scene->pdet[scene_index(flow->end_s - plan->flow_delay_s)];
    json_out_number(out, "opening_pressure", opening, 2);
    json_out_number(out, "closing_pressure", closing, 2);
    json_out_number(out, "pdet_qmax", pdet_qmax, 2);
    json_out_number(out, "pves_qmax", pabd_qmax + pdet_qmax, 2);
    json_out_number(out, "pabd_qmax", pabd_qmax, 2);
    json_out_number(out, "pdet_max", pdet_max, 2);
    json_out_number(out, "booi", pdet_qmax - 2.0 * flow->qmax_ml_s, 2);
    json_out_number(out, "bci", pdet_qmax + 5.0 * flow->qmax_ml_s, 2);
}

static bool write_voiding(struct json_out *out, const struct scene *scene, const struct plan *plan)
{
    const struct scene_truth *truth = &scene->truth;
    double *flow = sensors_true_flow(scene, plan);
    if (flow == NULL) {
        return false;
    }
    struct flow_truth measured = measure_flow(scene, flow);
    free(flow);
    json_out_number(out, "voided_volume_ml", measured.voided_ml, 2);
    json_out_number(out, "qmax_ml_s", measured.qmax_ml_s, 3);
    json_out_number(out, "qmax_at_s", measured.qmax_at_s, 2);
    json_out_number(out, "flow_start_s", measured.start_s, 2);
    json_out_number(out, "flow_end_s", measured.end_s, 2);
    json_out_number(out, "interruptions", measured.interruptions, 0);
    json_out_number(out, "flow_time_s", measured.flow_time_s, 2);
    write_known(out, "post_void_residual_ml", truth->residual_ml);
    if (!plan->voiding.involuntary) {
        json_out_number(out, "permission_s", truth->permission_s, 2);
    }
    json_out_number(out, "contraction_s", truth->contraction_s, 2);
    json_out_number(out, "opening_s", truth->opening_s, 2);
    json_out_number(out, "closing_s", truth->closing_s, 2);
    if (plan->type != PLAN_UROFLOWMETRY) {
        write_voiding_pressures(out, scene, plan, &measured);
    }
    return true;
}

static void write_filling(struct json_out *out, const struct scene *scene, const struct plan *plan)
{
    const struct scene_truth *truth = &scene->truth;
    json_out_number(out, "filling_start_s", truth->filling_start_s, 2);
    json_out_number(out, "filling_stop_s", truth->filling_stop_s, 2);
    write_known(out, "capacity_ml", truth->capacity_ml);
    write_known(out, "compliance", truth->compliance_ml_cmh2o);
    write_known(out, "pdet_end_fill", truth->pdet_end_fill_cmh2o);
    write_known(out, "first_sensation_ml", truth->first_sensation_ml);
    write_known(out, "first_desire_ml", truth->first_desire_ml);
    write_known(out, "strong_desire_ml", truth->strong_desire_ml);
    write_known(out, "urgency_ml", truth->urgency_ml);
    json_out_number(out, "pves_rest", scene->resting_pabd_cmh2o + plan->resting_pdet_cmh2o, 2);
    json_out_number(out, "pabd_rest", scene->resting_pabd_cmh2o, 2);
    json_out_number(out, "pdet_rest", plan->resting_pdet_cmh2o, 2);
}

static void write_coughs(struct json_out *out, const struct scene_truth *truth)
{
    json_out_array(out, "coughs");
    for (size_t i = 0; i < truth->cough_count; i++) {
        json_out_object(out, NULL);
        json_out_number(out, "at_s", truth->coughs[i].at_s, 2);
        json_out_number(out, "rise", truth->coughs[i].rise_cmh2o, 2);
        json_out_number(out, "transmission", truth->coughs[i].transmission, 3);
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

static void write_contractions(struct json_out *out, const struct scene_truth *truth)
{
    json_out_array(out, "contractions");
    for (size_t i = 0; i < truth->contraction_count; i++) {
        const struct scene_contraction *contraction = &truth->contractions[i];
        json_out_object(out, NULL);
        json_out_number(out, "start_s", contraction->start_s, 2);
        json_out_number(out, "peak_s", contraction->peak_s, 2);
        json_out_number(out, "end_s", contraction->end_s, 2);
        json_out_number(out, "volume_ml", contraction->volume_ml, 1);
        json_out_number(out, "amplitude", contraction->amplitude_cmh2o, 2);
        json_out_string(out, "kind", contraction->kind);
        json_out_bool(out, "leak", contraction->leak);
        json_out_bool(out, "urgency", contraction->urgency);
        json_out_bool(out, "after_cough", contraction->after_cough);
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

static void write_leaks(struct json_out *out, const struct scene *scene)
{
    const struct scene_truth *truth = &scene->truth;
    json_out_array(out, "leaks");
    for (size_t i = 0; i < truth->leak_count; i++) {
        const struct scene_leak *leak = &truth->leaks[i];
        size_t at = scene_index(leak->at_s);
        double pabd = scene->resting_pabd_cmh2o + scene->pabd[at];
        json_out_object(out, NULL);
        json_out_number(out, "at_s", leak->at_s, 2);
        json_out_number(out, "volume_ml", leak->volume_ml, 1);
        json_out_number(out, "lost_ml", leak->lost_ml, 2);
        json_out_string(out, "cause", leak->cause);
        json_out_bool(out, "contraction", leak->contraction);
        json_out_number(out, "pves", pabd + scene->pdet[at], 2);
        json_out_number(out, "pabd", pabd, 2);
        json_out_number(out, "pdet", scene->pdet[at], 2);
        json_out_number(out, "rise", leak->rise_cmh2o, 2);
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

static void write_artefacts(struct json_out *out, const struct scene_truth *truth)
{
    json_out_array(out, "artefacts");
    for (size_t i = 0; i < truth->artefact_count; i++) {
        json_out_object(out, NULL);
        json_out_string(out, "kind", truth->artefacts[i].kind);
        json_out_string(out, "signal", truth->artefacts[i].signal);
        json_out_number(out, "from_s", truth->artefacts[i].from_s, 2);
        json_out_number(out, "to_s", truth->artefacts[i].to_s, 2);
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

/* What belongs to the kind of study. False when memory ran out. */
static bool write_study(struct json_out *out, const struct scene *scene, const struct plan *plan)
{
    if (plan->voiding.qmax_ml_s > 0.0 && !write_voiding(out, scene, plan)) {
        return false;
    }
    if (plan->type == PLAN_CYSTOMETRY || plan->type == PLAN_PRESSURE_FLOW) {
        write_filling(out, scene, plan);
        write_coughs(out, &scene->truth);
        write_contractions(out, &scene->truth);
        write_leaks(out, scene);
    }
    if (plan->urethra != NULL) {
        truth_write_pulls(out, &scene->truth);
    }
    if (plan->type == PLAN_ANORECTAL) {
        truth_write_anorectal(out, &scene->truth);
    }
    if (plan->type == PLAN_TRAINING) {
        truth_write_training(out, &scene->truth);
    }
    return true;
}

bool truth_write(struct json_out *out, const struct scene *scene, const struct plan *plan,
                 const char *recording_id)
{
    json_out_object(out, NULL);
    json_out_string(out, "recording_id", recording_id);
    json_out_string(out, "type", truth_type_name(plan->type));
    if (plan_is_of_bladder(plan)) {
        json_out_number(out, "flow_delay_s", plan->flow_delay_s, 2);
    }
    bool written = write_study(out, scene, plan);
    write_artefacts(out, &scene->truth);
    json_out_end_object(out);
    return written;
}
