#include "pelvic_floor.h"

#include "noise.h"
#include "plan_training.h"

#include <math.h>

static const double PI = 3.141592653589793;
static const double BEFORE_S = 40.0; /* rest before and after */
static const double AFTER_S = 30.0;
static const double QUICK_S = 1.1; /* a quick contraction, start to end */
static const double RISE_S = 0.5;
static const double RELEASE_S = 0.45;
static const double KEPT = 0.6;  /* share that is left after plan_training.hold_s */
static const double TIRED = 1.5; /* times that hold: the person lets go before the command ends */

enum { FLOOR_LINE, ABDOMEN_LINE };

struct session {
    struct scene *scene;
    const struct plan_training *plan;
    double *floor; /* above rest */
    double now_s;
};

static double effort_at(double since_s, double length_s, double fade_s)
{
    double up = 0.5 * (1.0 - cos(PI * fmin(fmax(since_s / RISE_S, 0.0), 1.0)));
    double past = fmin(fmax((since_s - length_s) / RELEASE_S, 0.0), 1.0);
    double fade = exp(-fmax(since_s - RISE_S, 0.0) / fade_s);
    return up * fade * 0.5 * (1.0 + cos(PI * past));
}

static void note(struct session *session, const char *kind, double start_s, double length_s,
                 double size, double fade_s)
{
    struct facts_training *facts = &session->scene->truth.training;
    if (facts->count == FACTS_EFFORTS_MAX) {
        return;
    }
    struct facts_effort effort = {.kind = kind,
                                  .start_s = start_s,
                                  .end_s = start_s + length_s + RELEASE_S,
                                  .followed = true};
    double sum = 0.0;
    double peak = 0.0;
    size_t steps = scene_index(length_s + RELEASE_S);
    for (size_t i = 0; i < steps; i++) {
        peak = fmax(peak, effort_at((double)i * SCENE_STEP_S, length_s, fade_s));
    }
    for (size_t i = 0; i < steps; i++) {
        double part = effort_at((double)i * SCENE_STEP_S, length_s, fade_s);
        if (part >= 0.5 * peak) {
            effort.hold_s += SCENE_STEP_S;
            sum += part * SCENE_STEP_S;
        }
    }
    effort.peak = facts->rest + size * peak;
    effort.mean = facts->rest + size * sum / effort.hold_s;
    facts->items[facts->count++] = effort;
}

static void contract(struct session *session, const char *kind, double start_s, double length_s,
                     double size)
{
    double fade_s = session->plan->hold_s / -log(KEPT);
    length_s = fmin(length_s, TIRED * session->plan->hold_s);
    size_t end = scene_index(start_s + length_s + RELEASE_S);
    for (size_t i = scene_index(start_s); i < end; i++) {
        session->floor[i] += size * effort_at((double)i * SCENE_STEP_S - start_s, length_s, fade_s);
    }
    note(session, kind, start_s, length_s, size, fade_s);
}

static void miss(struct session *session, const char *kind, double from_s, double to_s)
{
    struct facts_training *facts = &session->scene->truth.training;
    if (facts->count < FACTS_EFFORTS_MAX) {
        facts->items[facts->count++] =
            (struct facts_effort){.kind = kind, .start_s = from_s, .end_s = to_s};
    }
}

static void command(struct session *session, const char *code, double at_s)
{
    scene_mark(session->scene, at_s, 0.0, 0.05, code, "");
}

static void play_quick(struct session *session)
{
    struct rng *rng = &session->scene->rng;
    const struct plan_training *plan = session->plan;
    for (int i = 0; i < plan->quick_count; i++) {
        double size = plan->quick_rise * rng_between(rng, 0.85, 1.08) * (1.0 - 0.012 * i);
        double start_s = session->now_s + rng_between(rng, 0.25, 0.45);
        command(session, "work", session->now_s);
        command(session, "rest", session->now_s + 1.0);
        contract(session, "quick", start_s, QUICK_S - RELEASE_S, size);
        session->now_s += plan->quick_period_s;
    }
    session->now_s += 20.0;
}

static void play_long(struct session *session)
{
    struct rng *rng = &session->scene->rng;
    const struct plan_training *plan = session->plan;
    for (int i = 0; i < plan->long_count; i++) {
        double size = plan->long_rise * rng_between(rng, 0.9, 1.08) * (1.0 - 0.025 * i);
        double start_s = session->now_s + rng_between(rng, 0.3, 0.8);
        double end_s = session->now_s + plan->work_s + rng_between(rng, 0.0, 0.4);
        command(session, "work", session->now_s);
        command(session, "rest", session->now_s + plan->work_s);
        if (i < plan->long_count - plan->missed) {
            contract(session, "long", start_s, end_s - start_s, size);
        } else {
            miss(session, "long", session->now_s, session->now_s + plan->work_s);
        }
        session->now_s += plan->work_s + plan->rest_s;
    }
    if (plan->endurance_s > 0.0) {
        session->now_s += 10.0;
        command(session, "work", session->now_s);
        command(session, "rest", session->now_s + plan->endurance_s);
        contract(session, "long", session->now_s + 0.5, plan->endurance_s - 0.4,
                 plan->long_rise * 0.9);
        session->now_s += plan->endurance_s;
    }
}

/* What the electrodes show: activity that is never smooth, and the more restless the stronger. */
static void finish_emg(struct session *session)
{
    struct rng *rng = &session->scene->rng;
    struct noise_wander fast;
    struct noise_wander slow;
    noise_wander_start(&fast, rng, 0.08, 0.12, SCENE_STEP_S);
    noise_wander_start(&slow, rng, 0.05, 4.0, SCENE_STEP_S);
    for (size_t i = 0; i < session->scene->count; i++) {
        double restless = noise_wander_next(&fast, rng) + noise_wander_next(&slow, rng);
        session->floor[i] = (session->plan->rest + session->floor[i]) * exp(restless);
    }
}

/* A pressure moves with the breath, and with the belly that helps. */
static void finish_pressure(struct session *session)
{
    struct rng *rng = &session->scene->rng;
    struct noise_rhythm breath;
    struct noise_wander tremor;
    struct noise_wander tone;
    noise_rhythm_start(&breath, rng, 0.23, 0.7, SCENE_STEP_S);
    noise_wander_start(&tremor, rng, 0.03, 0.3, SCENE_STEP_S);
    noise_wander_start(&tone, rng, 0.5, 30.0, SCENE_STEP_S);
    for (size_t i = 0; i < session->scene->count; i++) {
        double shaken = session->floor[i] * (1.0 + noise_wander_next(&tremor, rng));
        session->floor[i] = session->plan->rest + shaken + noise_rhythm_next(&breath, rng) +
                            noise_wander_next(&tone, rng);
    }
}

static void finish_abdomen(struct session *session)
{
    struct scene *scene = session->scene;
    const struct plan_training *plan = session->plan;
    struct noise_rhythm breath;
    double *abdomen = scene->lines[ABDOMEN_LINE].track;
    noise_rhythm_start(&breath, &scene->rng, 0.23, 1.0, SCENE_STEP_S);
    for (size_t i = 0; i < scene->count; i++) {
        double part = session->floor[i] / plan->long_rise;
        abdomen[i] = scene->resting_pabd_cmh2o + plan->abdomen_cmh2o * part +
                     noise_rhythm_next(&breath, &scene->rng);
    }
}

bool pelvic_floor_add_lines(struct scene *scene, const struct plan *plan)
{
    const struct plan_training *training = plan->training;
    bool emg = training->sensor == PLAN_TRAINING_EMG;
    double hz = emg ? plan->emg_hz : plan->pressure_hz;
    double abdomen_hz = training->abdomen_cmh2o > 0.0 ? plan->pressure_hz : 0.0;
    double scale = plan->format == PLAN_INT16 ? 0.1 : 0.0;
    struct scene_line floor = {
        emg ? "emg" : "pvag", emg ? "uV" : "cm[H2O]", hz, 1, scale, emg ? 0.05 : 0.12, NULL};
    struct scene_line abdomen = {"pabd", "cm[H2O]", abdomen_hz, 1, scale, 0.12, NULL};
    return scene_add_line(scene, floor) != NULL && scene_add_line(scene, abdomen) != NULL;
}

void pelvic_floor_run(struct scene *scene, const struct plan *plan)
{
    struct session session = {.scene = scene,
                              .plan = plan->training,
                              .floor = scene->lines[FLOOR_LINE].track,
                              .now_s = BEFORE_S};
    scene->truth.training.rest = plan->training->rest;
    command(&session, "rest", 0.5);
    play_quick(&session);
    play_long(&session);
    scene->now_s = round(session.now_s + AFTER_S);
    scene->count = scene_index(scene->now_s);
    finish_abdomen(&session);
    if (plan->training->sensor == PLAN_TRAINING_EMG) {
        finish_emg(&session);
    } else {
        finish_pressure(&session);
    }
}
