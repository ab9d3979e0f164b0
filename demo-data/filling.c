#include "filling.h"

#include "body.h"
#include "mishap.h"
#include "noise.h"

#include <math.h>

static const double PI = 3.141592653589793;
static const double DIURESIS_ML_S = 1.2 / 60.0; /* the kidneys' part: 1 to 5 mL/min is usual */

/* A healthy bladder that is filled without a pump: nearly no rise. */
static const double DEFAULT_COMPLIANCE_ML_CMH2O = 60.0;

double filling_passive_cmh2o(const struct plan *plan, double volume_ml, double since_stop_s)
{
    static const double relaxing_share = 0.08;
    static const double relaxing_s = 15.0;
    const struct plan_filling *filling = &plan->filling;
    if (filling->capacity_ml <= 0.0) {
        return fmax(volume_ml, 0.0) / DEFAULT_COMPLIANCE_ML_CMH2O;
    }
    double span_ml = filling->capacity_ml - filling->initial_ml;
    double part = fmin(fmax((volume_ml - filling->initial_ml) / span_ml, 0.0), 1.1);
    double shape =
        (1.0 - filling->late_stiffness) * part + filling->late_stiffness * pow(part, 4.0);
    double relaxed = relaxing_share * (1.0 - exp(-since_stop_s / relaxing_s));
    return span_ml / filling->compliance_ml_cmh2o * shape * (1.0 - relaxed);
}

double filling_guarding(double fullness)
{
    return 0.9 * fmax(fullness, 0.0);
}

/* When the bladder holds a volume, while the pump runs. */
static double time_at_volume(const struct scene *scene, const struct plan *plan, double volume_ml)
{
    double rate_ml_s = plan->filling.rate_ml_min / 60.0 + DIURESIS_ML_S;
    return scene->truth.filling_start_s + (volume_ml - plan->filling.initial_ml) / rate_ml_s;
}

static void note_leak(struct scene *scene, struct scene_leak leak, double length_s)
{
    struct scene_truth *truth = &scene->truth;
    /* A raised cosine of height h and length l holds h * l / 2. */
    scene_add_hump(scene->outflow, leak.at_s, 0.3 * length_s, 0.7 * length_s,
                   2.0 * leak.lost_ml / length_s);
    scene_mark(scene, leak.at_s, 0.5, 1.6, "leak", "");
    if (truth->leak_count < SCENE_NOTES_MAX) {
        truth->leaks[truth->leak_count++] = leak;
    }
}

/* A wave of its own shape: no two are smooth, nor alike. Fills in peak and amplitude. */
static void add_wave(struct scene *scene, struct scene_contraction *wave, double wanted_cmh2o)
{
    struct noise_wander shape;
    double length_s = wave->end_s - wave->start_s;
    double rise_s = length_s * rng_between(&scene->rng, 0.32, 0.5);
    noise_wander_start(&shape, &scene->rng, 0.09, 4.0, SCENE_STEP_S);
    for (size_t i = scene_index(wave->start_s); i < scene_index(wave->end_s); i++) {
        double since_s = (double)i * SCENE_STEP_S - wave->start_s;
        double part =
            since_s < rise_s ? since_s / rise_s : (length_s - since_s) / (length_s - rise_s);
        double share = 0.5 * (1.0 - cos(PI * fmin(fmax(part, 0.0), 1.0)));
        double pressure = wanted_cmh2o * share * (1.0 + noise_wander_next(&shape, &scene->rng));
        scene->pdet[i] += pressure;
        if (pressure > wave->amplitude_cmh2o) {
            wave->amplitude_cmh2o = pressure;
            wave->peak_s = (double)i * SCENE_STEP_S;
        }
    }
    scene_add_hump(scene->emg, wave->start_s + 2.0, rise_s, length_s - rise_s, 0.8); /* holds on */
    scene_keep_free(scene, wave->start_s - 3.0, wave->end_s + 3.0);
}

static void place_contraction(struct scene *scene, const struct plan *plan,
                              const struct plan_contraction *contraction)
{
    struct scene_truth *truth = &scene->truth;
    double start_s = time_at_volume(scene, plan, contraction->at_fill_ml);
    struct scene_contraction wave = {.start_s = start_s,
                                     .end_s = start_s + contraction->length_s,
                                     .volume_ml = contraction->at_fill_ml,
                                     .kind = (contraction->signs & PLAN_TERMINAL) != 0U ? "terminal"
                                                                                        : "phasic",
                                     .leak = contraction->leak_ml > 0.0,
                                     .urgency = (contraction->signs & PLAN_URGENCY) != 0U,
                                     .after_cough = (contraction->signs & PLAN_AFTER_COUGH) != 0U};
    if (wave.after_cough) {
        double cough_s = start_s - rng_between(&scene->rng, 1.0, 1.8);
        body_cough(scene, cough_s, rng_between(&scene->rng, 55.0, 80.0), true);
        scene_keep_free(scene, cough_s - 4.0, start_s);
    }
    add_wave(scene, &wave, contraction->amplitude_cmh2o);
    truth->contractions[truth->contraction_count++] = wave;
    if (wave.urgency) {
        scene_mark(scene, start_s + 0.2 * contraction->length_s, 0.5, 2.0, "urgency", "");
    }
    if (wave.leak) {
        note_leak(scene,
                  (struct scene_leak){.at_s = wave.peak_s - 1.0,
                                      .volume_ml = contraction->at_fill_ml,
                                      .lost_ml = contraction->leak_ml,
                                      .rise_cmh2o = wave.amplitude_cmh2o,
                                      .cause = "detrusor",
                                      .contraction = true},
                  8.0);
    }
}

static void place_contractions(struct scene *scene, const struct plan *plan)
{
    for (size_t i = 0; i < PLAN_CONTRACTIONS; i++) {
        if (plan->filling.contractions[i].length_s > 0.0) {
            place_contraction(scene, plan, &plan->filling.contractions[i]);
        }
    }
}

/* Plays what the person does, if anything; returns how long that takes, and when it would leak. */
static double play_manoeuvre(struct scene *scene, const struct plan_manoeuvre *manoeuvre,
                             double at_s, double *ret_leak_s)
{
    *ret_leak_s = at_s;
    if (manoeuvre->kind == PLAN_COUGH) {
        body_cough(scene, at_s, manoeuvre->rise_cmh2o, true);
        return 1.0;
    }
    if (manoeuvre->kind == PLAN_VALSALVA) {
        *ret_leak_s = at_s + 2.2; /* at the top of the rise */
        return body_valsalva(scene, at_s, manoeuvre->rise_cmh2o, true);
    }
    return 10.0;
}

static void place_manoeuvres(struct scene *scene, const struct plan *plan)
{
    static const struct {
        const char *cause;
        double leak_length_s;
    } leaks[] = {[PLAN_COUGH] = {"cough", 1.4},
                 [PLAN_VALSALVA] = {"valsalva", 3.0},
                 [PLAN_OVERFLOW] = {"detrusor", 10.0},
                 [PLAN_UNSEEN] = {"unclear", 4.0}};

    for (size_t i = 0; i < PLAN_MANOEUVRES; i++) {
        const struct plan_manoeuvre *manoeuvre = &plan->filling.manoeuvres[i];
        if (manoeuvre->kind == PLAN_NO_MANOEUVRE) {
            continue;
        }
        double at_s = time_at_volume(scene, plan, manoeuvre->at_fill_ml);
        double leak_s = at_s;
        double length_s = play_manoeuvre(scene, manoeuvre, at_s, &leak_s);
        scene_keep_free(scene, at_s - 4.0, at_s + length_s + 5.0);
        if (manoeuvre->leak_ml > 0.0) {
            note_leak(scene,
                      (struct scene_leak){.at_s = leak_s,
                                          .volume_ml = manoeuvre->at_fill_ml,
                                          .lost_ml = manoeuvre->leak_ml,
                                          .rise_cmh2o = manoeuvre->rise_cmh2o,
                                          .cause = leaks[manoeuvre->kind].cause},
                      leaks[manoeuvre->kind].leak_length_s);
        }
    }
}

/* A test cough about every minute, as good practice asks. */
static void place_cough_tests(struct scene *scene)
{
    struct rng *rng = &scene->rng;
    const struct scene_truth *truth = &scene->truth;
    double at_s = truth->filling_start_s + rng_between(rng, 40.0, 60.0);
    while (at_s < truth->filling_stop_s - 12.0) {
        if (scene_is_free(scene, at_s - 2.0, at_s + 3.0)) {
            bool marked = rng_unit(rng) < 0.9;
            body_cough(scene, at_s, rng_between(rng, 38.0, 85.0), marked);
            at_s += rng_between(rng, 52.0, 68.0);
        } else {
            at_s += 3.0;
        }
    }
}

static void mark_sensations(struct scene *scene, const struct plan *plan)
{
    const struct plan_filling *filling = &plan->filling;
    struct scene_truth *truth = &scene->truth;

    const struct {
        double planned_ml;
        const char *code;
        struct scene_number *felt_ml;
    } sensations[] = {
        {filling->first_sensation_ml, "first_sensation", &truth->first_sensation_ml},
        {filling->first_desire_ml, "first_desire", &truth->first_desire_ml},
        {filling->strong_desire_ml, "strong_desire", &truth->strong_desire_ml},
        {filling->urgency_ml, "urgency", &truth->urgency_ml},
    };

    for (size_t i = 0; i < sizeof sensations / sizeof sensations[0]; i++) {
        if (sensations[i].planned_ml > 0.0) {
            double felt_s = time_at_volume(scene, plan, sensations[i].planned_ml);
            scene_mark(scene, felt_s, 0.6, 2.0, sensations[i].code, "");
            *sensations[i].felt_ml = (struct scene_number){true, sensations[i].planned_ml};
        }
    }
}

/* Moves pump, bladder and wall on to `until_s`. */
static void fill_until(struct scene *scene, const struct plan *plan, double until_s)
{
    struct scene_truth *truth = &scene->truth;
    double pump_ml_step = plan->filling.rate_ml_min / 60.0 * SCENE_STEP_S;
    double infused_ml = scene->now_s > 0.0 ? scene->infused[scene_index(scene->now_s) - 1] : 0.0;
    size_t end = scene_index(until_s);
    for (size_t i = scene_index(scene->now_s); i < end; i++) {
        double at_s = (double)i * SCENE_STEP_S;
        if (at_s >= truth->filling_start_s) {
            scene->bladder_ml += (DIURESIS_ML_S - scene->outflow[i]) * SCENE_STEP_S;
            if (at_s < truth->filling_stop_s) {
                infused_ml += pump_ml_step;
                scene->bladder_ml += pump_ml_step;
            }
        }
        double since_stop_s = fmax(at_s - truth->filling_stop_s, 0.0);
        double fullness = scene->bladder_ml / plan->filling.capacity_ml;
        scene->infused[i] = infused_ml;
        scene->bladder[i] = scene->bladder_ml;
        scene->pdet[i] +=
            plan->resting_pdet_cmh2o + filling_passive_cmh2o(plan, scene->bladder_ml, since_stop_s);
        scene->emg[i] += filling_guarding(fullness);
    }
    scene->now_s = (double)end * SCENE_STEP_S;
}

void filling_wait(struct scene *scene, const struct plan *plan, double length_s)
{
    fill_until(scene, plan, scene->now_s + length_s);
}

void filling_run(struct scene *scene, const struct plan *plan)
{
    struct rng *rng = &scene->rng;
    struct scene_truth *truth = &scene->truth;
    const struct plan_filling *filling = &plan->filling;
    truth->filling_start_s = round(rng_between(rng, 22.0, 34.0));
    truth->filling_stop_s = round(time_at_volume(scene, plan, filling->capacity_ml));
    scene->bladder_ml = filling->initial_ml;

    if (!plan->no_coughs) {
        double first_cough_s = rng_between(rng, 7.0, 11.0);
        body_cough(scene, first_cough_s, rng_between(rng, 50.0, 85.0), true);
    }
    scene_mark(scene, truth->filling_start_s, 0.0, 0.4, "filling_start", "");
    place_contractions(scene, plan);
    place_manoeuvres(scene, plan);
    mishap_place(scene, plan, truth->filling_start_s, truth->filling_stop_s, false);
    if (!plan->no_coughs) {
        place_cough_tests(scene);
    }
    mark_sensations(scene, plan);
    fill_until(scene, plan, truth->filling_stop_s);
    scene_mark(scene, truth->filling_stop_s, 0.0, 0.5, "filling_stop", "");

    double rise = filling_passive_cmh2o(plan, scene->bladder_ml, 0.0);
    double infused_ml = scene->infused[scene_index(scene->now_s) - 1];
    truth->capacity_ml = (struct scene_number){true, infused_ml + filling->initial_ml};
    truth->pdet_end_fill_cmh2o = (struct scene_number){true, plan->resting_pdet_cmh2o + rise};
    truth->compliance_ml_cmh2o = (struct scene_number){true, infused_ml / rise};
}
