#include "mishap.h"

#include "noise.h"

#include <math.h>

static void flush(struct scene *scene, double *line, const char *signal, double from_s,
                  const struct plan_mishap *mishap)
{
    double to_s = from_s + mishap->length_s;
    struct noise_wander pressing;
    noise_wander_start(&pressing, &scene->rng, 0.06, 0.5, SCENE_STEP_S);
    for (size_t i = scene_index(from_s); i < scene_index(to_s); i++) {
        double since_s = (double)i * SCENE_STEP_S - from_s;
        double edge =
            (1.0 - exp(-fmax(since_s, 0.0) / 0.15)) * (1.0 - exp(-(to_s - from_s - since_s) / 0.1));
        line[i] += mishap->size * edge * (1.0 + noise_wander_next(&pressing, &scene->rng));
    }
    scene_mark(scene, from_s, -0.5, 0.8, "flush", signal);
    scene_note_artefact(scene, "flush", signal, from_s, to_s);
}

static void damp(struct scene *scene, double at_s, const struct plan_mishap *mishap)
{
    scene->damped = (struct scene_span){at_s, at_s + mishap->length_s};
    scene->damped_share = mishap->size;
    scene_note_artefact(scene, "damped", "pabd", at_s, at_s + mishap->length_s);
    struct plan_mishap cure = {PLAN_FLUSH_PABD, 0.0, 4.0, 130.0};
    flush(scene, scene->pabd_only, "pabd", at_s + mishap->length_s, &cure);
}

static void move(struct scene *scene, double at_s, const struct plan_mishap *mishap)
{
    struct rng *rng = &scene->rng;
    double part_s = mishap->length_s / 3.0;
    for (int i = 0; i < 3; i++) {
        double size = mishap->size * rng_between(rng, 0.3, 1.0) * (i == 1 ? -0.5 : 1.0);
        double start_s = at_s + part_s * (i + rng_between(rng, -0.2, 0.2));
        double rise_s = part_s * rng_between(rng, 0.2, 0.6);
        scene_add_hump(scene->pabd, start_s, rise_s, part_s, size);
        scene_add_hump(scene->pabd_only, start_s, rise_s, part_s,
                       size * rng_between(rng, -0.3, 0.2));
        scene_add_hump(scene->emg, start_s, rise_s, part_s, rng_between(rng, 0.5, 1.8));
    }
    scene_note_artefact(scene, "movement", "both", at_s, at_s + mishap->length_s);
}

static void talk(struct scene *scene, double at_s, const struct plan_mishap *mishap)
{
    struct noise_wander voice;
    noise_wander_start(&voice, &scene->rng, mishap->size, 0.35, SCENE_STEP_S);
    for (size_t i = scene_index(at_s); i < scene_index(at_s + mishap->length_s); i++) {
        double part = ((double)i * SCENE_STEP_S - at_s) / mishap->length_s;
        double fade = fmin(1.0, 8.0 * fmin(part, 1.0 - part));
        scene->pabd[i] += fade * fabs(noise_wander_next(&voice, &scene->rng));
    }
    scene_note_artefact(scene, "talking", "both", at_s, at_s + mishap->length_s);
}

static void stand_up(struct scene *scene, double at_s, const struct plan_mishap *mishap)
{
    move(scene, at_s - 2.0, &(struct plan_mishap){PLAN_MOVEMENT, 0.0, 7.0, 16.0});
    for (size_t i = scene_index(at_s); i < SCENE_SAMPLES_MAX; i++) {
        double since_s = (double)i * SCENE_STEP_S - at_s;
        scene->pabd[i] += mishap->size * fmin(since_s / 2.0, 1.0);
    }
    scene_mark(scene, at_s, 0.5, 2.0, "position_change", "standing");
}

/* A blow on the meter swings both ways, and its two halves cancel, as a balance's do. */
static void knock(struct scene *scene, double at_s, const struct plan_mishap *mishap)
{
    for (size_t i = scene_index(at_s - 1.0); i < scene_index(at_s + 2.0); i++) {
        double first = ((double)i * SCENE_STEP_S - at_s) / 0.12;
        double second = ((double)i * SCENE_STEP_S - at_s - 0.4) / 0.24;
        scene->knock[i] += mishap->size * (exp(-first * first) - 0.5 * exp(-second * second));
    }
    scene_note_artefact(scene, "knock", "flow", at_s - 0.3, at_s + 1.0);
}

static void lose(struct scene *scene, const char *signal, double at_s,
                 const struct plan_mishap *mishap)
{
    scene->lost[scene->lost_count] = (struct scene_span){at_s, at_s + mishap->length_s};
    scene->lost_signal[scene->lost_count] = signal;
    scene->lost_count++;
    scene_note_artefact(scene, "missing", signal, at_s, at_s + mishap->length_s);
}

static void rectal_contraction(struct scene *scene, double at_s, const struct plan_mishap *mishap)
{
    double length_s = mishap->length_s;
    scene_add_hump(scene->pabd_only, at_s, 0.45 * length_s, 0.55 * length_s, mishap->size);
    scene_note_artefact(scene, "rectal_contraction", "pabd", at_s, at_s + length_s);
}

/* What the equipment does by itself: only noted here, faults.c bends the lines. */
static const struct {
    enum plan_mishap_kind kind;
    const char *name;
    const char *signal;
    bool throughout; /* over the whole recording */
    bool of_flow;
} FAULTS[] = {
    {PLAN_DAMPED_PVES, "damped", "pves", false, false},
    {PLAN_AIR_PVES, "air", "pves", false, false},
    {PLAN_DEAD_PABD, "dead", "pabd", false, false},
    {PLAN_EXPELLED_PVES, "expelled", "pves", false, true},
    {PLAN_DRIFT_PABD, "drift", "pabd", false, false},
    {PLAN_NOISE_PVES, "noise", "pves", false, false},
    {PLAN_UNEQUAL_PABD, "unequal", "pabd", true, false},
    {PLAN_ZERO_PVES, "zero", "pves", true, false},
    {PLAN_ZERO_BOTH, "zero", "both", true, false},
    {PLAN_CLIPPED, "clipped", "both", true, false},
    {PLAN_FLOW_CLIPPED, "clipped", "flow", true, true},
    {PLAN_VOLUME_WRONG, "volume", "vvoid", true, true},
    {PLAN_PUMP_WRONG, "pump", "vinf", true, false},
};

enum { FAULT_COUNT = sizeof FAULTS / sizeof FAULTS[0] };

/* Index of the kind in FAULTS; FAULT_COUNT when a person does it. */
static size_t fault_of(enum plan_mishap_kind kind)
{
    size_t index = 0;
    while (index < FAULT_COUNT && FAULTS[index].kind != kind) {
        index++;
    }
    return index;
}

static void note_fault(struct scene *scene, size_t index, double at_s,
                       const struct plan_mishap *mishap)
{
    struct scene_fault fault = {mishap->kind, at_s, at_s + mishap->length_s, mishap->size};
    if (FAULTS[index].throughout) {
        fault.from_s = 0.0;
        fault.to_s = SCENE_SECONDS_MAX;
    } else if (mishap->length_s <= 0.0) {
        fault.to_s = SCENE_SECONDS_MAX; /* it never gets better */
    }
    scene->faults[scene->fault_count++] = fault;
    scene_note_artefact(scene, FAULTS[index].name, FAULTS[index].signal, fault.from_s, fault.to_s);
}

static bool is_of_flow(enum plan_mishap_kind kind)
{
    size_t fault = fault_of(kind);
    return kind == PLAN_KNOCK || kind == PLAN_LOST_FLOW ||
           (fault < FAULT_COUNT && FAULTS[fault].of_flow);
}

static void play(struct scene *scene, double at_s, const struct plan_mishap *mishap)
{
    switch ((int)mishap->kind) {
    case PLAN_FLUSH_PVES:
        flush(scene, scene->pves_only, "pves", at_s, mishap);
        break;
    case PLAN_FLUSH_PABD:
        flush(scene, scene->pabd_only, "pabd", at_s, mishap);
        break;
    case PLAN_DAMPED_PABD:
        damp(scene, at_s, mishap);
        break;
    case PLAN_RECTAL:
        rectal_contraction(scene, at_s, mishap);
        break;
    case PLAN_MOVEMENT:
        move(scene, at_s, mishap);
        break;
    case PLAN_TALKING:
        talk(scene, at_s, mishap);
        break;
    case PLAN_STAND_UP:
        stand_up(scene, at_s, mishap);
        break;
    case PLAN_KNOCK:
        knock(scene, at_s, mishap);
        break;
    case PLAN_LOST_PVES:
        lose(scene, "pves", at_s, mishap);
        break;
    case PLAN_LOST_PABD:
        lose(scene, "pabd", at_s, mishap);
        break;
    case PLAN_LOST_EMG:
        lose(scene, "emg", at_s, mishap);
        break;
    case PLAN_LOST_FLOW:
        lose(scene, "flow", at_s, mishap);
        break;
    default: /* a fault of the equipment */
        note_fault(scene, fault_of(mishap->kind), at_s, mishap);
        break;
    }
}

void mishap_place(struct scene *scene, const struct plan *plan, double from_s, double to_s,
                  bool of_flow)
{
    for (size_t i = 0; i < PLAN_MISHAPS; i++) {
        const struct plan_mishap *mishap = &plan->mishaps[i];
        if (mishap->kind == PLAN_NO_MISHAP || is_of_flow(mishap->kind) != of_flow) {
            continue;
        }
        double at_s = round((from_s + mishap->at_part * (to_s - from_s)) * 10.0) / 10.0;
        play(scene, at_s, mishap);
        if (mishap->kind == PLAN_DAMPED_PABD) { /* coughs are what shows a damped line */
            double cured_s = at_s + mishap->length_s;
            scene_keep_free(scene, cured_s - 2.0, cured_s + 6.0);
        } else if (fault_of(mishap->kind) == FAULT_COUNT) {
            scene_keep_free(scene, at_s - 3.0, at_s + mishap->length_s + 3.0);
        }
    }
}
