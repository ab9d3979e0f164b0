#include "anorectum.h"

#include "noise.h"
#include "plan_anorectum.h"

#include <math.h>

static const double PI = 3.141592653589793;
static const double EDGE_MMHG = 5.0; /* the canal ends where it exceeds the rectum by this */

static const double RECTUM_EDGE_MM = 5.0;  /* from the canal's inner end to the full pressure */
static const double CANAL_FROM_MM = -20.0; /* the true length is looked for from here */
static const double CANAL_STEP_MM = 0.05;

enum { CANAL_STEPS = 1600 };

enum { RECTUM_LINE, BALLOON_LINE, PULLER_LINE, TONE_LINE, SQUEEZE_LINE, CANAL_LINE };

/* Tone (share of rest) and squeeze (mmHg) are tracks that are never recorded themselves. */
struct anorectum {
    struct scene *scene;
    const struct plan_anorectum *plan;
    double *rectum;  /* mmHg above its rest, then as recorded */
    double *balloon; /* mL */
    double *puller;  /* mm */
    double *tone;
    double *squeeze;
    double now_s;
};

/* Pressure of the resting canal at a distance from the verge, as a share of its highest. */
static double tone_shape(const struct plan_anorectum *plan, double from_verge_mm)
{
    double part = from_verge_mm / plan->canal_mm;
    double edge = fmin(fmin((part + 0.12) / 0.3, (1.12 - part) / 0.35), 1.0);
    return edge <= 0.0 ? 0.0 : sin(0.5 * PI * edge) * (1.0 - 0.25 * fabs(part - 0.45));
}

/* The same for squeezing: the outer sphincter. */
static double squeeze_shape(const struct plan_anorectum *plan, double from_verge_mm)
{
    double off = (from_verge_mm / plan->canal_mm - 0.38) / 0.42;
    return exp(-off * off);
}

/* Distance of a sensor from the verge. The outermost lies outside; one alone at the top. */
static double verge_mm(const struct plan_anorectum *plan, int sensor)
{
    return plan->sensors == 1 ? 0.42 * plan->canal_mm : plan->spacing_mm * (sensor - 0.7);
}

static double greatest_shape(const struct plan_anorectum *plan,
                             double (*shape)(const struct plan_anorectum *, double))
{
    double greatest = 0.0;
    for (int sensor = 0; sensor < plan->sensors; sensor++) {
        greatest = fmax(greatest, shape(plan, verge_mm(plan, sensor)));
    }
    return greatest;
}

/* True pressure of a place in the canal at a moment. */
static double canal_at(const struct anorectum *anal, double from_verge_mm, size_t i, double unit,
                       double squeeze_unit)
{
    const struct plan_anorectum *plan = anal->plan;
    double tone = tone_shape(plan, from_verge_mm) / unit;
    double squeeze = squeeze_shape(plan, from_verge_mm) / squeeze_unit;
    double inside = fmin(fmax((from_verge_mm - plan->canal_mm) / RECTUM_EDGE_MM, 0.0), 1.0);
    return plan->rest_mmhg * anal->tone[i] * tone + anal->squeeze[i] * squeeze +
           (plan->rectum_mmhg + anal->rectum[i]) * inside;
}

/* Highest true pressure among the sensors. */
static double highest_at(const struct anorectum *anal, size_t i)
{
    double unit = greatest_shape(anal->plan, tone_shape);
    double squeeze_unit = greatest_shape(anal->plan, squeeze_shape);
    double highest = 0.0;
    for (int sensor = 0; sensor < anal->plan->sensors; sensor++) {
        double from_verge_mm = verge_mm(anal->plan, sensor);
        if (from_verge_mm < anal->plan->canal_mm) {
            highest = fmax(highest, canal_at(anal, from_verge_mm, i, unit, squeeze_unit));
        }
    }
    return highest;
}

static void note(struct anorectum *anal, const char *kind, double start_s, double end_s,
                 double volume_ml)
{
    struct facts_anorectal *facts = &anal->scene->truth.anorectal;
    if (facts->count == FACTS_EFFORTS_MAX) {
        return;
    }
    struct facts_manoeuvre *item = &facts->items[facts->count++];
    size_t before = scene_index(start_s - 0.5);
    *item = (struct facts_manoeuvre){.kind = kind,
                                     .start_s = start_s,
                                     .end_s = end_s,
                                     .volume_ml = volume_ml,
                                     .anal_rest_mmhg = highest_at(anal, before)};
    item->anal_lowest_mmhg = item->anal_rest_mmhg;
    for (size_t i = scene_index(start_s); i < scene_index(end_s); i++) {
        double pressure = highest_at(anal, i);
        item->anal_peak_mmhg = fmax(item->anal_peak_mmhg, pressure);
        item->anal_lowest_mmhg = fmin(item->anal_lowest_mmhg, pressure);
        item->rectal_rise_mmhg = fmax(item->rectal_rise_mmhg, anal->rectum[i]);
    }
    double half = 0.5 * (item->anal_rest_mmhg + item->anal_peak_mmhg);
    for (size_t i = scene_index(start_s); i < scene_index(end_s); i++) {
        item->hold_s += highest_at(anal, i) >= half ? SCENE_STEP_S : 0.0;
    }
}

/* A rise over `rise_s` that fades from its top with `fatigue_s` and is let go over `fall_s`. */
static void add_effort(double *track, double from_s, double to_s, double size, double fatigue_s)
{
    static const double rise_s = 0.7;
    static const double fall_s = 0.9;
    for (size_t i = scene_index(from_s); i < scene_index(to_s + 3.0 * fall_s); i++) {
        double since_s = (double)i * SCENE_STEP_S - from_s;
        double up = 0.5 * (1.0 - cos(PI * fmin(since_s / rise_s, 1.0)));
        double past_s = since_s - (to_s - from_s);
        double down = past_s <= 0.0 ? 1.0 : exp(-pow(past_s / fall_s, 2.0));
        track[i] += size * up * down * exp(-fmax(since_s - rise_s, 0.0) / fatigue_s);
    }
}

static double next_start(struct anorectum *anal, double least_s, double most_s)
{
    anal->now_s += rng_between(&anal->scene->rng, least_s, most_s);
    return anal->now_s;
}

static void play_squeezes(struct anorectum *anal)
{
    struct rng *rng = &anal->scene->rng;
    const struct plan_anorectum *plan = anal->plan;
    for (int i = 0; i < 3; i++) {
        double start_s = next_start(anal, 22.0, 28.0);
        double end_s = start_s + rng_between(rng, 4.5, 5.5);
        double size = plan->squeeze_mmhg * (i == 1 ? 1.0 : rng_between(rng, 0.78, 0.95));
        scene_mark(anal->scene, start_s, -0.8, 0.2, "squeeze", "");
        add_effort(anal->squeeze, start_s, end_s, size, 14.0);
        note(anal, "squeeze", start_s, end_s, 0.0);
        anal->now_s = end_s;
    }
    double start_s = next_start(anal, 28.0, 32.0);
    scene_mark(anal->scene, start_s, -0.8, 0.2, "long_squeeze", "");
    add_effort(anal->squeeze, start_s, start_s + 30.0, plan->long_mmhg, plan->long_fatigue_s);
    note(anal, "long_squeeze", start_s, start_s + 30.0, 0.0);
    anal->now_s = start_s + 30.0;
}

static void play_coughs(struct anorectum *anal)
{
    const struct plan_anorectum *plan = anal->plan;
    anal->now_s += 30.0;
    for (int i = 0; i < 2; i++) {
        double at_s = next_start(anal, 24.0, 30.0);
        double size = rng_between(&anal->scene->rng, 0.85, 1.15);
        scene_add_hump(anal->rectum, at_s - 0.15, 0.2, 0.4, plan->cough_mmhg * size);
        scene_add_hump(anal->squeeze, at_s - 0.2, 0.25, 0.55, plan->cough_anal_mmhg * size);
        scene_mark(anal->scene, at_s, 0.2, 1.0, "cough", "");
        note(anal, "cough", at_s - 0.3, at_s + 0.6, 0.0);
    }
}

/* Share of the canal's tone during a push: falls, or rises when the person tightens instead. */
static void add_push(struct anorectum *anal, double start_s, double end_s, double share)
{
    for (size_t i = scene_index(start_s); i < scene_index(end_s + 3.0); i++) {
        double at_s = (double)i * SCENE_STEP_S;
        double up = fmin((at_s - start_s) / 2.0, 1.0);
        double down = fmin(fmax((end_s + 2.5 - at_s) / 2.5, 0.0), 1.0);
        anal->tone[i] += (share - 1.0) * up * down;
    }
}

static void play_pushes(struct anorectum *anal)
{
    struct rng *rng = &anal->scene->rng;
    const struct plan_anorectum *plan = anal->plan;
    for (int i = 0; i < 3; i++) {
        double start_s = next_start(anal, 28.0, 33.0);
        double end_s = start_s + rng_between(rng, 12.0, 15.0);
        double size = plan->push_rectal_mmhg * rng_between(rng, 0.85, 1.05);
        scene_mark(anal->scene, start_s, -0.8, 0.2, "push", "");
        add_effort(anal->rectum, start_s, end_s - 1.0, size, 60.0);
        add_push(anal, start_s, end_s - 1.0, plan->push_share * rng_between(rng, 0.96, 1.06));
        note(anal, "push", start_s, end_s, 0.0);
        anal->now_s = end_s;
    }
}

/* How much of the tone a volume takes away: grows and levels off. */
static double reflex_of(const struct plan_anorectum *plan, double volume_ml)
{
    static const double soft_ml = 22.0;
    double over_ml = fmax(volume_ml - plan->reflex_from_ml, 0.0);
    return plan->reflex_share * (1.0 - exp(-over_ml / soft_ml));
}

/* Contraction of the outer sphincter first, then the fall, then the slow return. */
static void add_reflex(struct anorectum *anal, double from_s, double share)
{
    static const double falls_s = 2.4;
    static const double returns_s = 6.5;
    scene_add_hump(anal->squeeze, from_s + 0.2, 0.6, 1.2, 9.0);
    for (size_t i = scene_index(from_s + 0.8); i < scene_index(from_s + 40.0); i++) {
        double since_s = (double)i * SCENE_STEP_S - from_s - 0.8;
        double part = since_s < falls_s ? 0.5 * (1.0 - cos(PI * since_s / falls_s))
                                        : exp(-(since_s - falls_s) / returns_s);
        anal->tone[i] -= share * part;
    }
}

static void play_reflex(struct anorectum *anal)
{
    static const double inflation_s = 1.2;
    const struct plan_anorectum *plan = anal->plan;
    for (int i = 0; i < PLAN_INFLATIONS_MAX && plan->inflations_ml[i] > 0.0; i++) {
        double volume_ml = plan->inflations_ml[i];
        double start_s = next_start(anal, 24.0, 28.0);
        double end_s = start_s + 14.0;
        for (size_t at = scene_index(start_s); at < scene_index(end_s + inflation_s); at++) {
            double at_s = (double)at * SCENE_STEP_S;
            double part = fmin(fmin((at_s - start_s) / inflation_s, 1.0),
                               (end_s + inflation_s - at_s) / inflation_s);
            anal->balloon[at] = volume_ml * part;
            /* A quick stretch is stiffer at first. */
            double stiff = 1.0 + 0.8 * exp(-fmax(at_s - start_s - inflation_s, 0.0) / 3.0);
            anal->rectum[at] += volume_ml * part * stiff / plan->compliance_ml_mmhg;
        }
        add_reflex(anal, start_s, reflex_of(plan, volume_ml));
        scene_mark_value(anal->scene, start_s + inflation_s, "balloon", volume_ml);
        note(anal, "balloon", start_s, end_s + 6.0, volume_ml);
        anal->now_s = end_s + inflation_s;
    }
}

static void play_sensation(struct anorectum *anal)
{
    static const double held_s = 2.5; /* at its largest, while the person says stop */
    static const double emptied_s = 6.0;
    const struct plan_anorectum *plan = anal->plan;
    struct scene *scene = anal->scene;
    double start_s = next_start(anal, 28.0, 32.0);
    double full_s = start_s + plan->tolerated_ml / plan->fill_ml_s;
    double end_s = full_s + held_s + emptied_s;
    for (size_t i = scene_index(start_s); i < scene_index(end_s); i++) {
        double at_s = (double)i * SCENE_STEP_S;
        double left = fmin((end_s - at_s) / emptied_s, 1.0);
        double volume_ml = fmin((at_s - start_s) * plan->fill_ml_s, plan->tolerated_ml * left);
        anal->balloon[i] = volume_ml;
        anal->rectum[i] += volume_ml / plan->compliance_ml_mmhg;
        /* The slow stretch relaxes the canal too, a little. */
        anal->tone[i] -= 0.35 * reflex_of(plan, volume_ml);
    }

    scene_mark(scene, start_s, 0.0, 0.2, "filling_start", "slow inflation");

    const struct {
        double volume_ml;
        const char *code;
    } felt[] = {{plan->first_ml, "first_sensation"},
                {plan->desire_ml, "first_desire"},
                {plan->tolerated_ml, "filling_stop"}};

    for (size_t i = 0; i < sizeof felt / sizeof felt[0]; i++) {
        double at_s = start_s + felt[i].volume_ml / plan->fill_ml_s;
        if (!anal->plan->balloon_line) { /* the volume on the syringe is read off */
            scene_mark_value(scene, at_s, "balloon", felt[i].volume_ml);
        }
        scene_mark(scene, at_s, 0.1, 0.6, felt[i].code, "");
    }
    anal->now_s = end_s + 15.0;
}

/* A single line is drawn from the rectum out and put back; returns the place of the sensor then. */
static void play_pull_through(struct anorectum *anal)
{
    static const double speed_mm_s = 2.0;
    static const double beyond_mm = 14.0; /* to both sides of the canal */
    double start_s = next_start(anal, 8.0, 10.0);
    double length_mm = anal->plan->canal_mm + 2.0 * beyond_mm;
    double inner_mm = anal->plan->canal_mm + beyond_mm;
    double end_s = start_s + length_mm / speed_mm_s;
    double home_mm = inner_mm - verge_mm(anal->plan, 0);
    for (size_t i = 0; i < SCENE_SAMPLES_MAX; i++) {
        double at_s = (double)i * SCENE_STEP_S;
        double out_mm = fmin(fmax((at_s - start_s) * speed_mm_s, 0.0), length_mm);
        double back_mm = fmax(length_mm - fmax(at_s - end_s - 4.0, 0.0) * 8.0, home_mm);
        anal->puller[i] = at_s < end_s ? out_mm : back_mm;
    }
    scene_mark(anal->scene, start_s, 0.0, 0.3, "pull_start", "");
    scene_mark(anal->scene, end_s, 0.0, 0.3, "pull_end", "");
    anal->now_s = end_s + 30.0;
}

static void measure_rest(struct anorectum *anal, double from_s, double to_s)
{
    struct facts_anorectal *facts = &anal->scene->truth.anorectal;
    const struct plan_anorectum *plan = anal->plan;
    facts->rest_from_s = from_s;
    facts->rest_to_s = to_s;
    facts->rest_mmhg = highest_at(anal, scene_index(from_s));
    facts->first_sensation_ml = plan->first_ml;
    facts->desire_ml = plan->desire_ml;
    facts->tolerated_ml = plan->tolerated_ml;
    facts->compliance_ml_mmhg = plan->compliance_ml_mmhg;
    double unit = greatest_shape(plan, tone_shape);
    double squeeze_unit = greatest_shape(plan, squeeze_shape);
    size_t at = scene_index(from_s);
    for (int step = 0; step < CANAL_STEPS; step++) {
        double from_verge_mm = CANAL_FROM_MM + CANAL_STEP_MM * step;
        double over = canal_at(anal, from_verge_mm, at, unit, squeeze_unit) - plan->rectum_mmhg;
        facts->canal_mm += over > EDGE_MMHG ? CANAL_STEP_MM : 0.0;
    }
}

/* Slow waves and restlessness of the canal; breathing and pulse in the rectum. Then what the lines
 * show: each sensor at its place, or the one wherever the puller has it. */
static void finish(struct anorectum *anal)
{
    struct scene *scene = anal->scene;
    struct rng *rng = &scene->rng;
    const struct plan_anorectum *plan = anal->plan;
    struct noise_rhythm slow_wave;
    struct noise_rhythm breath;
    struct noise_wander restless;
    double wave_hz = rng_between(rng, 0.2, 0.3); /* 12 to 18 a minute */
    noise_rhythm_start(&slow_wave, rng, wave_hz, 0.035, SCENE_STEP_S);
    noise_rhythm_start(&breath, rng, 0.24, 1.1, SCENE_STEP_S);
    noise_wander_start(&restless, rng, 0.025, 12.0, SCENE_STEP_S);
    double unit = greatest_shape(plan, tone_shape);
    double squeeze_unit = greatest_shape(plan, squeeze_shape);
    double inner_mm = plan->canal_mm + 14.0;
    for (size_t i = 0; i < scene_index(anal->now_s); i++) {
        anal->tone[i] = fmax(anal->tone[i], 0.05) * (1.0 + noise_rhythm_next(&slow_wave, rng) +
                                                     noise_wander_next(&restless, rng));
        anal->rectum[i] += noise_rhythm_next(&breath, rng);
        for (int sensor = 0; sensor < plan->sensors; sensor++) {
            double from_verge_mm =
                plan->pull_through ? inner_mm - anal->puller[i] : verge_mm(plan, sensor);
            scene->lines[CANAL_LINE + sensor].track[i] =
                canal_at(anal, from_verge_mm, i, unit, squeeze_unit);
        }
        anal->rectum[i] += plan->rectum_mmhg;
    }
}

bool anorectum_add_lines(struct scene *scene, const struct plan *plan)
{
    static const char *const names[PLAN_SENSORS_MAX] = {"panal1", "panal2", "panal3", "panal4",
                                                        "panal5", "panal6", "panal7", "panal8"};
    const struct plan_anorectum *wanted = plan->anorectum;
    double hz = plan->pressure_hz;
    double scale = plan->format == PLAN_INT16 ? 0.1 : 0.0;
    double balloon_hz = wanted->balloon_line ? 10.0 : 0.0;
    double puller_hz = wanted->pull_through ? hz : 0.0;
    struct scene_line lines[CANAL_LINE] = {
        [RECTUM_LINE] = {"prect", "mm[Hg]", hz, 1, scale, 0.2, NULL},
        [BALLOON_LINE] = {"balloon", "mL", balloon_hz, 0, scale * 10.0, 0.0, NULL},
        [PULLER_LINE] = {"puller", "mm", puller_hz, 1, scale, 0.0, NULL},
        [TONE_LINE] = {"tone", "1", 0.0, 0, 0.0, 0.0, NULL},
        [SQUEEZE_LINE] = {"squeeze", "mm[Hg]", 0.0, 0, 0.0, 0.0, NULL},
    };

    bool added = true;
    for (size_t i = 0; added && i < CANAL_LINE; i++) {
        added = scene_add_line(scene, lines[i]) != NULL;
    }
    for (int i = 0; added && i < wanted->sensors; i++) {
        const char *name = wanted->sensors == 1 ? "panal" : names[i];
        struct scene_line canal = {name, "mm[Hg]", hz, 1, scale, 0.3, NULL};
        added = scene_add_line(scene, canal) != NULL;
    }
    return added;
}

void anorectum_run(struct scene *scene, const struct plan *plan)
{
    struct anorectum anal = {.scene = scene,
                             .plan = plan->anorectum,
                             .rectum = scene->lines[RECTUM_LINE].track,
                             .balloon = scene->lines[BALLOON_LINE].track,
                             .puller = scene->lines[PULLER_LINE].track,
                             .tone = scene->lines[TONE_LINE].track,
                             .squeeze = scene->lines[SQUEEZE_LINE].track};
    for (size_t i = 0; i < SCENE_SAMPLES_MAX; i++) {
        anal.tone[i] = 1.0;
    }
    if (anal.plan->pull_through) {
        play_pull_through(&anal);
    }
    double rest_s = next_start(&anal, 20.0, 25.0);
    scene_mark(scene, rest_s, 0.0, 0.5, "rest", "");
    measure_rest(&anal, rest_s, rest_s + 60.0);
    anal.now_s = rest_s + 45.0; /* the first squeeze comes at least 60 s after the mark */
    play_squeezes(&anal);
    play_coughs(&anal);
    play_pushes(&anal);
    play_reflex(&anal);
    play_sensation(&anal);
    scene->now_s = round(anal.now_s);
    anal.now_s = scene->now_s;
    finish(&anal);
}
