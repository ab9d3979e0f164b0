#include "support/line_case.h"

#include <math.h>

static const double pi = 3.14159265358979323846;

enum { COUGHS_MAX = 16 };

/* What one study is drawn as. */
struct scene {
    uint64_t state;
    struct line_case how;
    double defect_s;
    double pabd_rest;
    double pdet_rest;
    double compliance_ml; /* per cmH2O */
    double breath_hz;
    double breath_cmh2o;
    double wander; /* of both lines over the study */
    double noise;
    double step; /* resolution; 0: none */
    double pump_ml_min;
    size_t cough_count;
    double cough_s[COUGHS_MAX];
    double cough_rise[COUGHS_MAX];
    double cough_share[COUGHS_MAX]; /* of pabd */
    double cough_width_s;
};

static double uniform(struct scene *scene, double least, double most)
{
    scene->state += UINT64_C(0x9e3779b97f4a7c15);
    uint64_t mixed = scene->state;

    mixed = (mixed ^ (mixed >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    mixed = (mixed ^ (mixed >> 27)) * UINT64_C(0x94d049bb133111eb);
    mixed ^= mixed >> 31;
    return least + (most - least) * (((double)(mixed >> 11) + 0.5) / 9007199254740992.0);
}

static double normal(struct scene *scene)
{
    const double radius = sqrt(-2.0 * log(uniform(scene, 0.0, 1.0)));

    return radius * cos(2.0 * pi * uniform(scene, 0.0, 1.0));
}

static void draw_coughs(struct scene *scene)
{
    double at_s = 20.0;

    while (at_s < 515.0) {
        scene->cough_s[scene->cough_count++] = at_s + uniform(scene, -4.0, 4.0);
        at_s += 65.0;
    }
    scene->cough_s[scene->cough_count++] = 523.0 + uniform(scene, -2.0, 2.0);
    scene->cough_s[scene->cough_count++] = 608.0 + uniform(scene, -4.0, 4.0);
    for (size_t i = 0; i < scene->cough_count; i++) {
        scene->cough_rise[i] = uniform(scene, 30.0, 80.0);
        scene->cough_share[i] = fmax(0.8, fmin(1.1, 0.96 + 0.05 * normal(scene)));
    }
    scene->cough_width_s = uniform(scene, 0.2, 0.35);
}

static struct scene draw(struct line_case how)
{
    static const double steps[] = {0.0, 0.1, 0.5};
    struct scene scene = {.state = how.seed * UINT64_C(0x2545f4914f6cdd1d) + 1, .how = how};

    scene.defect_s = uniform(&scene, 200.0, 400.0);
    scene.pabd_rest = uniform(&scene, 18.0, 30.0);
    scene.pdet_rest = uniform(&scene, 0.0, 5.0);
    scene.compliance_ml = uniform(&scene, 30.0, 100.0);
    scene.breath_hz = uniform(&scene, 0.2, 0.33);
    scene.breath_cmh2o = uniform(&scene, 0.5, 1.5);
    scene.wander = uniform(&scene, -3.0, 3.0);
    scene.noise = uniform(&scene, 0.1, 0.5);
    scene.step = steps[(size_t)uniform(&scene, 0.0, 2.999)];
    scene.pump_ml_min = 50.0 * uniform(&scene, 0.97, 1.03);
    draw_coughs(&scene);
    if (how.defect == LINE_PVES_OUT) {
        scene.defect_s = 555.0;
    } else if (how.defect == LINE_DRIFT) {
        scene.defect_s = 30.0;
    }
    return scene;
}

/* ---- Truth ---- */

static double ramp(double at_s, double from_s, double to_s)
{
    return fmin(1.0, fmax(0.0, (at_s - from_s) / (to_s - from_s)));
}

static double detrusor(const struct scene *scene, double at_s)
{
    static const double points[][2] = {{534.0, 0.0},  {543.0, 35.0}, {570.0, 35.0},
                                       {585.0, 18.0}, {600.0, 0.0},  {640.0, 0.0}};
    static const struct polyline contraction = {6, points};
    const double volume_ml = 400.0 * ramp(at_s, 30.0, 510.0) * (1.0 - ramp(at_s, 545.0, 585.0));

    return scene->pdet_rest + volume_ml / scene->compliance_ml + polyline_value(at_s, &contraction);
}

static double coughs(const struct scene *scene, double at_s, bool abdominal)
{
    double rise = 0.0;

    for (size_t i = 0; i < scene->cough_count; i++) {
        const double off = (at_s - scene->cough_s[i]) / scene->cough_width_s;

        if (fabs(off) < 6.0) {
            rise +=
                scene->cough_rise[i] * (abdominal ? scene->cough_share[i] : 1.0) * exp(-off * off);
        }
    }
    return rise;
}

static double abdomen(const struct scene *scene, double at_s)
{
    const double moved = scene->how.defect == LINE_MOVED
                             ? 18.0 * ramp(at_s, scene->defect_s, scene->defect_s + 3.0)
                             : 0.0;

    return scene->pabd_rest + moved + scene->wander * ramp(at_s, 0.0, 640.0) +
           scene->breath_cmh2o * sin(2.0 * pi * scene->breath_hz * at_s);
}

/* ---- Lines ---- */

static bool within(const struct scene *scene, double at_s, double length_s)
{
    return at_s >= scene->defect_s && at_s < scene->defect_s + length_s;
}

/* Share of what happens in the body that a line shows, and what it shows besides. */
static double pves_value(struct scene *scene, double at_s)
{
    const double held = abdomen(scene, scene->defect_s) + detrusor(scene, scene->defect_s);
    double value = abdomen(scene, at_s) + detrusor(scene, at_s) + coughs(scene, at_s, false);
    double noise = scene->noise;

    switch ((int)scene->how.defect) {
    case LINE_SILENT:
    case LINE_DEAD_NO_MARK:
        if (at_s >= scene->defect_s) {
            value = held + 0.01 * (at_s - scene->defect_s);
            noise = 0.01;
        }
        break;
    case LINE_PVES_OUT:
        value += (1.0 - value) * ramp(at_s, scene->defect_s, scene->defect_s + 1.0);
        break;
    case LINE_STEP:
        value += 30.0 * ramp(at_s, scene->defect_s, scene->defect_s + 0.2);
        break;
    case LINE_FLUSHED:
        value += 120.0 * ramp(at_s, scene->defect_s, scene->defect_s + 0.3) *
                 (1.0 - ramp(at_s, scene->defect_s + 6.0, scene->defect_s + 6.3));
        break;
    default:
        break;
    }
    value += noise * normal(scene);
    return scene->how.defect == LINE_CLIPPED ? fmin(value, 52.0) : value;
}

static double pabd_value(struct scene *scene, double at_s)
{
    double cough = coughs(scene, at_s, true);
    double value = abdomen(scene, at_s);
    double noise = scene->noise;

    switch ((int)scene->how.defect) {
    case LINE_UNEQUAL:
        cough *= at_s >= scene->defect_s ? 0.5 : 1.0;
        break;
    case LINE_PABD_OUT:
        value += (1.0 - value) * ramp(at_s, scene->defect_s, scene->defect_s + 1.0);
        cough *= at_s >= scene->defect_s ? 0.05 : 1.0;
        break;
    case LINE_DRIFT:
        value += 12.0 / 480.0 * (fmin(fmax(at_s, 30.0), 530.0) - 30.0) -
                 scene->wander * ramp(at_s, 0.0, 640.0);
        break;
    case LINE_NOISY:
        noise = within(scene, at_s, 60.0) ? 4.0 : noise;
        break;
    case LINE_NEGATIVE:
        value += (detrusor(scene, at_s) + 7.5) *
                 ramp(at_s, scene->defect_s, scene->defect_s + 5.0) *
                 (1.0 - ramp(at_s, scene->defect_s + 60.0, scene->defect_s + 65.0));
        break;
    default:
        break;
    }
    return value + cough + noise * normal(scene);
}

static double rounded(const struct scene *scene, double value)
{
    return scene->step > 0.0 ? round(value / scene->step) * scene->step : value;
}

static double vinf_value(const struct scene *scene, double at_s)
{
    const double rate_ml_s = scene->pump_ml_min / 60.0;
    double pumped_s = fmin(fmax(at_s - 30.0, 0.0), 480.0);

    if (scene->how.defect == LINE_PUMP_SLOW) {
        return 0.7 * rate_ml_s * pumped_s;
    }
    if (scene->how.defect == LINE_PUMP_STANDS) {
        pumped_s -= fmin(fmax(at_s - scene->defect_s, 0.0), 60.0);
    }
    return rate_ml_s * pumped_s;
}

/* A line with air in it follows through a slow pole. */
static void damp(const struct scene *scene, double *samples, size_t count)
{
    const double share = 1.0 - exp(-1.0 / (0.7 * scene->how.rate_hz));
    double held = samples[0];

    for (size_t i = 0; i < count; i++) {
        held += share * (samples[i] - held);
        if ((double)i / scene->how.rate_hz >= scene->defect_s) {
            samples[i] = held;
        }
    }
}

static double zero(double at_s, const void *context)
{
    (void)at_s;
    (void)context;
    return 0.0;
}

static void add_pressures(struct synth *synth, struct scene *scene)
{
    const struct synth_sampling sampling = {.rate_hz = scene->how.rate_hz, .end_s = 640.0};
    double *pves = synth_channel(synth, SIGNAL_PVES, sampling, zero, NULL);
    double *pabd = synth_channel(synth, SIGNAL_PABD, sampling, zero, NULL);
    const size_t count = synth->channels[0].sample_count;

    for (size_t i = 0; i < count; i++) {
        const double at_s = (double)i / scene->how.rate_hz;

        pves[i] = pves_value(scene, at_s);
        pabd[i] = pabd_value(scene, at_s);
    }
    if (scene->how.defect == LINE_DAMPED) {
        damp(scene, pabd, count);
    }
    for (size_t i = 0; i < count; i++) {
        pves[i] = rounded(scene, pves[i]);
        pabd[i] = rounded(scene, pabd[i]);
    }
}

static void add_flow_and_volume(struct synth *synth, struct scene *scene)
{
    static const struct half_sine flow = {.start_s = 545.0, .length_s = 40.0, .peak = 15.0};
    const struct synth_sampling sampling = {
        .rate_hz = scene->how.rate_hz, .end_s = 640.0, .noise = 0.1};
    const struct synth_sampling slow = {.rate_hz = 2.0, .end_s = 640.0};

    synth_channel(synth, SIGNAL_FLOW, sampling, half_sine_value, &flow);

    double *vinf = synth_channel(synth, SIGNAL_VINF, slow, zero, NULL);

    for (size_t i = 0; i <= 1280; i++) {
        vinf[i] = vinf_value(scene, 0.5 * (double)i);
    }
}

double line_case_open(struct synth *synth, struct line_case how)
{
    struct scene scene = draw(how);

    synth_open(synth, RECORDING_PRESSURE_FLOW);
    synth->recording.conditions.position = POSITION_SITTING;
    synth->recording.conditions.filling_rate_ml_min = (struct optional_number){true, 50.0};
    add_pressures(synth, &scene);
    add_flow_and_volume(synth, &scene);
    synth_event(synth, EVENT_FILLING_START, 30.0);
    synth_event(synth, EVENT_FILLING_STOP, 510.0);
    synth_event(synth, EVENT_PERMISSION_TO_VOID, 530.0);
    for (size_t i = 0; i < scene.cough_count && how.defect != LINE_DEAD_NO_MARK; i++) {
        synth_event(synth, EVENT_COUGH, scene.cough_s[i] + uniform(&scene, -0.5, 1.5));
    }
    return scene.defect_s;
}

static const struct {
    const char *name;
    const char *code;
    enum signal_kind signal;
} defects[LINE_DEFECTS] = {
    [LINE_SOUND] = {"sound", NULL, SIGNAL_NONE},
    [LINE_UNEQUAL] = {"unequal cough response", "unequal_cough_response", SIGNAL_PABD},
    [LINE_DAMPED] = {"damped line", "damped_line", SIGNAL_PABD},
    [LINE_SILENT] = {"shut line, coughs marked", "no_cough_response", SIGNAL_PVES},
    [LINE_DEAD_NO_MARK] = {"shut line, coughs not marked", "dead_line", SIGNAL_PVES},
    [LINE_PVES_OUT] = {"bladder catheter out", "catheter_out", SIGNAL_PVES},
    [LINE_PABD_OUT] = {"abdominal catheter out", "catheter_out", SIGNAL_PABD},
    [LINE_STEP] = {"step of one line", "pressure_step", SIGNAL_PVES},
    [LINE_DRIFT] = {"drift", "drift", SIGNAL_PABD},
    [LINE_CLIPPED] = {"clipped", "clipped", SIGNAL_PVES},
    [LINE_NOISY] = {"noise", "noisy_line", SIGNAL_PABD},
    [LINE_NEGATIVE] = {"negative pdet", "negative_pdet", SIGNAL_PDET},
    [LINE_FLUSHED] = {"flush", "flush", SIGNAL_PVES},
    [LINE_MOVED] = {"position unmarked", "position_unmarked", SIGNAL_NONE},
    [LINE_PUMP_SLOW] = {"pump rate", "pump_rate_mismatch", SIGNAL_VINF},
    [LINE_PUMP_STANDS] = {"infusion stands", "infusion_stands", SIGNAL_VINF},
};

const char *line_defect_name(enum line_defect defect)
{
    return defects[defect].name;
}

const char *line_defect_code(enum line_defect defect)
{
    return defects[defect].code;
}

enum signal_kind line_defect_signal(enum line_defect defect)
{
    return defects[defect].signal;
}
