#include "body.h"

#include "noise.h"

#include <math.h>

/* Resting pressures, within what is expected for fluid-filled lines levelled at the symphysis
 * (Schafer et al., Neurourol Urodyn 2002;21:261-274: supine 5-20, sitting 15-40, standing 30-50
 * cmH2O; from memory). */
void body_settle(struct scene *scene, const struct plan *plan)
{
    static const struct {
        double least;
        double most;
    } resting_cmh2o[] = {[PLAN_SITTING] = {22.0, 33.0},
                         [PLAN_STANDING] = {33.0, 43.0},
                         [PLAN_SUPINE] = {8.0, 15.0},
                         [PLAN_LEFT_LATERAL] = {8.0, 15.0}};

    scene->resting_pabd_cmh2o = rng_between(&scene->rng, resting_cmh2o[plan->posture].least,
                                            resting_cmh2o[plan->posture].most);
}

/* A cough is over in half a second: a steep rise and a slightly slower fall. */
static double cough_shape(double from_peak_s)
{
    static const double rise_s = 0.10;
    static const double fall_s = 0.20;
    double width_s = from_peak_s < 0.0 ? rise_s : fall_s;
    return exp(-(from_peak_s / width_s) * (from_peak_s / width_s));
}

static void add_cough_spike(struct scene *scene, double at_s, double rise_cmh2o,
                            double transmission, double lag_s)
{
    size_t end = scene_index(at_s + 1.0);
    for (size_t i = scene_index(fmax(at_s - 0.6, 0.0)); i <= end; i++) {
        double from_peak_s = (double)i * SCENE_STEP_S - at_s;
        double vesical = rise_cmh2o * cough_shape(from_peak_s);
        double rectal = rise_cmh2o * transmission * cough_shape(from_peak_s - lag_s);
        scene->pabd[i] += vesical;
        scene->pabd_only[i] += rectal - vesical;
    }
}

void body_cough(struct scene *scene, double at_s, double rise_cmh2o, bool marked)
{
    struct rng *rng = &scene->rng;
    double transmission = rng_between(rng, 0.88, 1.08);
    double lag_s = rng_between(rng, -0.005, 0.025); /* makes the small two-sided blip in pdet */
    add_cough_spike(scene, at_s, rise_cmh2o, transmission, lag_s);
    if (rng_unit(rng) < 0.55) {
        double second_s = rng_between(rng, 0.45, 0.8);
        add_cough_spike(scene, at_s + second_s, rise_cmh2o * rng_between(rng, 0.35, 0.75),
                        transmission, lag_s);
    }
    scene_add_hump(scene->emg, at_s - 0.25, 0.25, 0.6, rng_between(rng, 2.0, 4.0));
    if (marked) {
        scene_mark(scene, at_s, 0.3, 1.5, "cough", "");
    }
    struct scene_truth *truth = &scene->truth;
    if (truth->cough_count < SCENE_NOTES_MAX) {
        truth->coughs[truth->cough_count++] = (struct scene_cough){at_s, rise_cmh2o, transmission};
    }
}

static void add_press(struct scene *scene, double from_s, double rise_s, double hold_s,
                      double rise_cmh2o)
{
    static const double fall_s = 0.7;
    struct noise_wander tremor;
    noise_wander_start(&tremor, &scene->rng, 0.04, 0.4, SCENE_STEP_S);
    size_t end = scene_index(from_s + rise_s + hold_s + fall_s);
    for (size_t i = scene_index(from_s); i <= end; i++) {
        double since_s = (double)i * SCENE_STEP_S - from_s;
        double up = fmin(fmax(since_s / rise_s, 0.0), 1.0);
        double down = fmin(fmax((rise_s + hold_s + fall_s - since_s) / fall_s, 0.0), 1.0);
        double part = pow(up, 1.3) * (down * down * (3.0 - 2.0 * down));
        double press = rise_cmh2o * part * (1.0 + noise_wander_next(&tremor, &scene->rng));
        scene->pabd[i] += press;
        scene->pabd_only[i] -= 0.04 * press; /* lines never agree to the last cmH2O */
    }
}

double body_valsalva(struct scene *scene, double from_s, double rise_cmh2o, bool marked)
{
    double hold_s = rng_between(&scene->rng, 2.0, 4.0);
    add_press(scene, from_s, 2.0, hold_s, rise_cmh2o);
    scene_add_hump(scene->emg, from_s, 1.0, hold_s + 2.0, rng_between(&scene->rng, 0.8, 1.8));
    if (marked) {
        scene_mark(scene, from_s, 0.5, 1.5, "valsalva", "");
    }
    return 2.0 + hold_s + 0.7;
}

void body_strain(struct scene *scene, double from_s, double length_s, double rise_cmh2o)
{
    double rise_s = 0.35 * length_s;
    add_press(scene, from_s, rise_s, length_s - rise_s - 0.7, rise_cmh2o);
    scene_add_hump(scene->emg, from_s, rise_s, length_s - rise_s, 0.7);
}

/* Shifts on the chair, a word, a swallow: every half minute or so, both lines, a few cmH2O. */
static void add_fidgets(struct scene *scene)
{
    struct rng *rng = &scene->rng;
    double end_s = (double)scene->count * SCENE_STEP_S;
    double at_s = rng_between(rng, 5.0, 40.0);
    while (at_s < end_s) {
        bool sinks = rng_unit(rng) < 0.25;
        double size = rng_between(rng, 1.5, 5.0) * (sinks ? -0.6 : 1.0);
        double rise_s = rng_between(rng, 0.3, 1.2);
        double fall_s = rng_between(rng, 0.5, 2.0);
        scene_add_hump(scene->pabd, at_s, rise_s, fall_s, size);
        scene_add_hump(scene->pabd_only, at_s, rise_s, fall_s, size * rng_between(rng, -0.2, 0.15));
        scene_add_hump(scene->emg, at_s, rise_s, fall_s, rng_between(rng, 0.1, 0.6));
        at_s += rng_between(rng, 10.0, 55.0);
    }
}

void body_background(struct scene *scene)
{
    struct rng *rng = &scene->rng;
    struct noise_rhythm breath;
    struct noise_rhythm pulse;
    struct noise_wander posture;
    struct noise_wander rectum;
    struct noise_wander catheter;
    struct noise_wander tone; /* of the wall, and whatever else the lines do not share */
    /* One draw a statement throughout: the order in which C evaluates arguments is open, and the
     * files must not depend on the compiler. */
    double breath_hz = rng_between(rng, 0.20, 0.30);
    double breath_cmh2o = rng_between(rng, 0.6, 1.1);
    double pulse_hz = rng_between(rng, 1.0, 1.4);
    double pulse_cmh2o = rng_between(rng, 0.10, 0.25);
    noise_rhythm_start(&breath, rng, breath_hz, breath_cmh2o, SCENE_STEP_S);
    noise_rhythm_start(&pulse, rng, pulse_hz, pulse_cmh2o, SCENE_STEP_S);
    noise_wander_start(&posture, rng, 0.9, 90.0, SCENE_STEP_S);
    noise_wander_start(&rectum, rng, 0.6, 120.0, SCENE_STEP_S);
    noise_wander_start(&catheter, rng, 0.25, 60.0, SCENE_STEP_S);
    noise_wander_start(&tone, rng, 0.35, 3.0, SCENE_STEP_S);
    double breath_mismatch =
        rng_between(rng, -0.28, 0.12); /* the rectum takes up less of a breath */
    rectum.value = 0.0;                /* drift begins after the lines were checked */
    catheter.value = 0.0;
    for (size_t i = 0; i < scene->count; i++) {
        double breathing = noise_rhythm_next(&breath, rng);
        double beat = noise_rhythm_next(&pulse, rng);
        scene->pabd[i] += breathing + noise_wander_next(&posture, rng);
        scene->pves_only[i] += beat + noise_wander_next(&catheter, rng);
        scene->pves_only[i] += noise_wander_next(&tone, rng);
        scene->pabd_only[i] +=
            breath_mismatch * breathing + 0.4 * beat + noise_wander_next(&rectum, rng);
    }
    add_fidgets(scene);
}
