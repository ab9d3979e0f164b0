#include "urethra.h"

#include "body.h"
#include "noise.h"
#include "plan_urethra.h"

#include <math.h>

static const double PI = 3.141592653589793;
static const double LEAD_MM = 9.0;     /* in the bladder, before its neck */
static const double BEYOND_MM = 9.0;   /* after the outer end */
static const double BACK_MM_S = 14.0;  /* pushed back in by hand */
static const double OUTER_CMH2O = 1.0; /* as good as nothing: the end of the total length */
static const double FINE_MM = 0.01;    /* for the true lengths */
static const double PULSE_CMH2O = 0.9; /* of the vessels around the sphincter */

enum { PURA_LINE, PULLER_LINE, SHARE_LINE }; /* the last is never recorded */

/* One urethra at one pull: it is never quite the same twice. */
struct urethra {
    const struct plan_urethra *plan;
    double closure_cmh2o;
    double functional_mm;
    double norm;       /* brings the shape's highest point to 1 */
    double slope;      /* fall of pressure at the outer end, cmH2O/mm */
    double pves_cmh2o; /* at rest */
};

/* A hump over 0 to 1 with its top at `peak`. */
static double hump(double part, double peak, double inner, double outer)
{
    if (part <= 0.0 || part >= 1.0) {
        return 0.0;
    }
    double turned = part < peak ? 0.5 * part / peak : 0.5 + 0.5 * (part - peak) / (1.0 - peak);
    return pow(sin(PI * turned), part < peak ? inner : outer);
}

static double shape(const struct plan_urethra *plan, double part)
{
    static const double sphincter_from = 0.48; /* men: where the prostatic part ends */
    static const double prostate_to = 0.75;
    if (plan->plateau_share <= 0.0) {
        return hump(part, plan->peak_part, 1.15, 1.0);
    }
    double prostate = hump(part / prostate_to, 0.4, 0.55, 0.9);
    double peak = (plan->peak_part - sphincter_from) / (1.0 - sphincter_from);
    double sphincter = hump((part - sphincter_from) / (1.0 - sphincter_from), peak, 1.3, 1.0);
    return plan->plateau_share * prostate + sphincter;
}

static struct urethra prepare(struct scene *scene, const struct plan *plan)
{
    struct urethra urethra = {.plan = plan->urethra};
    urethra.closure_cmh2o = plan->urethra->closure_cmh2o * rng_between(&scene->rng, 0.95, 1.05);
    urethra.functional_mm = plan->urethra->functional_mm * rng_between(&scene->rng, 0.97, 1.03);
    double pdet =
        scene->now_s > 0.0 ? scene->pdet[scene_index(scene->now_s) - 1] : plan->resting_pdet_cmh2o;
    urethra.pves_cmh2o = scene->resting_pabd_cmh2o + pdet;
    double highest = 0.0;
    for (int i = 0; i <= 1000; i++) {
        highest = fmax(highest, shape(plan->urethra, (double)i / 1000.0));
    }
    urethra.norm = 1.0 / highest;
    double near_end = shape(plan->urethra, 1.0 - 1e-3) * urethra.norm * urethra.closure_cmh2o;
    urethra.slope = near_end / (1e-3 * urethra.functional_mm);
    return urethra;
}

/* Urethral minus vesical pressure at rest, `position_mm` from the bladder neck. */
static double closure_at(const struct urethra *urethra, double position_mm)
{
    static const double open_mm = 5.0; /* the outer end stands open */
    double past_mm = position_mm - urethra->functional_mm;
    if (past_mm > 0.0) {
        double fallen = past_mm * urethra->slope / urethra->pves_cmh2o +
                        past_mm / open_mm * (past_mm / open_mm);
        return urethra->pves_cmh2o * (exp(-fallen) - 1.0);
    }
    return urethra->closure_cmh2o * urethra->norm *
           shape(urethra->plan, position_mm / urethra->functional_mm);
}

/* Share of what moves in belly and bladder that the sensor sees there. */
static double share_at(const struct urethra *urethra, double position_mm)
{
    static const double fade_mm = 3.0;
    const double *transmission = urethra->plan->transmission;
    double part = position_mm / urethra->functional_mm;
    if (part <= 0.0) {
        return 1.0;
    }
    if (part > 1.0) {
        return transmission[2] * exp(-(position_mm - urethra->functional_mm) / fade_mm);
    }
    /* From the bladder's full share to the urethra's over the first tenth. */
    double entered = fmin(part / 0.1, 1.0);
    double inner = part < 0.5
                       ? transmission[0] + (transmission[1] - transmission[0]) * 2.0 * part
                       : transmission[1] + (transmission[2] - transmission[1]) * (2.0 * part - 1.0);
    return 1.0 + (inner - 1.0) * entered;
}

static void measure(const struct urethra *urethra, struct facts_pull *pull)
{
    size_t steps = (size_t)((urethra->functional_mm + 60.0) / FINE_MM);
    for (size_t i = 0; i < steps; i++) {
        double at_mm = (double)i * FINE_MM;
        double closure = closure_at(urethra, at_mm);
        if (closure > pull->closure_cmh2o) {
            pull->closure_cmh2o = closure;
            pull->to_peak_mm = at_mm;
        }
        pull->area_cmh2o_cm += fmax(closure, 0.0) * FINE_MM / 10.0;
        if (closure + urethra->pves_cmh2o < OUTER_CMH2O) {
            pull->total_mm = at_mm;
            break;
        }
    }
    pull->functional_mm = urethra->functional_mm;
    pull->pves_cmh2o = urethra->pves_cmh2o;
}

/* The sensor at `position_mm` at a moment. */
static void place(struct scene *scene, const struct urethra *urethra, size_t i, double position_mm)
{
    scene->lines[PURA_LINE].track[i] = closure_at(urethra, position_mm);
    scene->lines[PULLER_LINE].track[i] = position_mm + LEAD_MM;
    scene->lines[SHARE_LINE].track[i] = share_at(urethra, position_mm) - 1.0;
}

static void cough_through(struct scene *scene, const struct urethra *urethra,
                          struct facts_pull *pull)
{
    struct rng *rng = &scene->rng;
    const struct plan_urethra *plan = urethra->plan;
    double at_s = pull->neck_s + 2.0;
    double last_s = pull->neck_s + (urethra->functional_mm - 1.5) / plan->speed_mm_s;
    while (at_s < last_s && pull->cough_count < FACTS_COUGHS_MAX) {
        double rise = plan->cough_cmh2o * rng_between(rng, 0.8, 1.2);
        double position_mm = (at_s - pull->neck_s) * plan->speed_mm_s;
        body_cough(scene, at_s, rise, rng_unit(rng) < 0.8);
        pull->coughs[pull->cough_count++] =
            (struct facts_transmission){.at_s = at_s,
                                        .position_mm = position_mm,
                                        .pves_rise_cmh2o = rise,
                                        .pura_rise_cmh2o = rise * share_at(urethra, position_mm)};
        at_s += plan->cough_period_s * rng_between(rng, 0.85, 1.15);
    }
}

/* One pull from `start_s`; returns when the catheter is back. */
static double pull_once(struct scene *scene, const struct plan *plan, double start_s, bool stress)
{
    struct scene_truth *truth = &scene->truth;
    struct urethra urethra = prepare(scene, plan);
    double speed = plan->urethra->speed_mm_s;
    double length_mm = LEAD_MM + urethra.functional_mm + BEYOND_MM;
    double end_s = start_s + length_mm / speed;
    double hold_s = end_s + rng_between(&scene->rng, 2.0, 4.0);
    double back_s = hold_s + length_mm / BACK_MM_S;
    struct facts_pull pull = {.kind = stress ? "stress" : "rest",
                              .start_s = start_s,
                              .end_s = end_s,
                              .neck_s = start_s + LEAD_MM / speed,
                              .speed_mm_s = speed};
    measure(&urethra, &pull);
    for (size_t i = scene_index(start_s); i < scene_index(back_s); i++) {
        double at_s = (double)i * SCENE_STEP_S;
        double out_mm = fmin((at_s - start_s) * speed, length_mm);
        double in_mm = length_mm - fmax(at_s - hold_s, 0.0) * BACK_MM_S;
        place(scene, &urethra, i, fmax(fmin(out_mm, in_mm), 0.0) - LEAD_MM);
    }
    if (stress) {
        cough_through(scene, &urethra, &pull);
    }
    if (!plan->urethra->unmarked) {
        scene_mark(scene, start_s, 0.0, 0.3, "pull_start", "");
        scene_mark(scene, end_s, 0.0, 0.3, "pull_end", "");
    }
    if (truth->pull_count < FACTS_PULLS_MAX) {
        truth->pulls[truth->pull_count++] = pull;
    }
    return back_s;
}

bool urethra_add_lines(struct scene *scene, const struct plan *plan)
{
    double scale = plan->format == PLAN_INT16 ? 0.1 : 0.0;
    struct scene_line pura = {"pura", "cm[H2O]", plan->pressure_hz, 1, scale, 0.12, NULL};
    double puller_hz = plan->urethra->puller_channel ? plan->pressure_hz : 0.0;
    struct scene_line puller = {"puller", "mm", puller_hz, 1, scale, 0.0, NULL};
    struct scene_line share = {"share", "1", 0.0, 0, 0.0, 0.0, NULL};
    return scene_add_line(scene, pura) != NULL && scene_add_line(scene, puller) != NULL &&
           scene_add_line(scene, share) != NULL;
}

double urethra_pull(struct scene *scene, const struct plan *plan, double from_s)
{
    int pulls = plan->urethra->rest_pulls + plan->urethra->stress_pulls;
    double now_s = from_s;
    for (int i = 0; i < pulls; i++) {
        double start_s = round((now_s + rng_between(&scene->rng, 6.0, 9.0)) * 10.0) / 10.0;
        now_s = pull_once(scene, plan, start_s, i >= plan->urethra->rest_pulls);
    }
    return now_s + rng_between(&scene->rng, 5.0, 8.0);
}

void urethra_run(struct scene *scene, const struct plan *plan)
{
    body_cough(scene, rng_between(&scene->rng, 5.0, 7.0), 55.0, true);
    double end_s = urethra_pull(scene, plan, 12.0);
    double cough_s = end_s + rng_between(&scene->rng, 1.0, 3.0);
    body_cough(scene, cough_s, 50.0, true);
    scene->now_s = round(cough_s + 8.0);
    for (size_t i = 0; i < scene_index(scene->now_s); i++) {
        scene->pdet[i] = plan->resting_pdet_cmh2o;
    }
}

void urethra_finish(struct scene *scene)
{
    struct scene_line *pura = &scene->lines[PURA_LINE];
    const double *share = scene->lines[SHARE_LINE].track;
    struct noise_rhythm pulse;
    double rate_hz = rng_between(&scene->rng, 1.0, 1.3);
    noise_rhythm_start(&pulse, &scene->rng, rate_hz, 1.0, SCENE_STEP_S);
    for (size_t i = 0; i < scene->count; i++) {
        double moving = scene->pabd[i] + scene->pves_only[i];
        double inside = fmin(fmax(pura->track[i], 0.0) / 30.0, 1.0);
        double beat = PULSE_CMH2O * inside * noise_rhythm_next(&pulse, &scene->rng);
        pura->track[i] +=
            scene->resting_pabd_cmh2o + scene->pdet[i] + moving * (1.0 + share[i]) + beat;
    }
}
