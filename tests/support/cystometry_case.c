#include "support/cystometry_case.h"

#include "support/assert_close.h"

#include <math.h>

static const double pi = 3.14159265358979323846;
static const double pves_rest = 24.0;
static const double pabd_rest = 22.0;

double cystometry_fill_start(const struct cystometry_case *plan)
{
    (void)plan;
    return 30.0;
}

double cystometry_fill_end(const struct cystometry_case *plan)
{
    return plan->length_s - 30.0;
}

double cystometry_fill_rate(void)
{
    return 30.0;
}

double cystometry_random(uint64_t *seed, double low, double high)
{
    *seed += UINT64_C(0x9e3779b97f4a7c15);
    uint64_t mixed = *seed;

    mixed = (mixed ^ (mixed >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    mixed = (mixed ^ (mixed >> 27)) * UINT64_C(0x94d049bb133111eb);
    mixed ^= mixed >> 31;
    return low + (high - low) * (((double)(mixed >> 11) + 0.5) / 9007199254740992.0);
}

static double normal(uint64_t *seed)
{
    const double radius = sqrt(-2.0 * log(cystometry_random(seed, 0.0, 1.0)));

    return radius * cos(2.0 * pi * cystometry_random(seed, 0.0, 1.0));
}

/* ---- Shapes, 0 to 1 ---- */

static double hump(double share, double rise_share)
{
    const double phase =
        share < rise_share ? share / rise_share : (1.0 - share) / (1.0 - rise_share);

    return 0.5 * (1.0 - cos(pi * phase));
}

/* Up within ramp_s, and down. */
static double plateau(double at_s, double length_s, double ramp_s)
{
    const double edge_s = fmin(at_s, length_s - at_s);

    return edge_s >= ramp_s ? 1.0 : 0.5 * (1.0 - cos(pi * fmax(edge_s, 0.0) / ramp_s));
}

/* Bumps of uneven height, about one in 0.7 s. */
static double chatter(double at_s)
{
    const double number = floor(at_s / 0.7);
    uint64_t seed = (uint64_t)(number + 1e6);
    const double height = cystometry_random(&seed, 0.2, 1.0);
    const double bump = sin(pi * (at_s / 0.7 - number));

    return height * bump * bump;
}

static double shape(const struct cystometry_event *event, double after_s)
{
    const double share = after_s / event->length_s;
    const double rise_share = event->rise_share > 0.0 ? event->rise_share : 0.5;
    const double fullness = event->fullness > 0.0 ? event->fullness : 1.0;

    switch (event->kind) {
    case CASE_CONTRACTION:
        return pow(fmax(hump(share, rise_share), 0.0), fullness);
    case CASE_COUGH:
        return exp(-share * share);
    case CASE_STRAIN:
        return plateau(after_s, event->length_s, 0.6) *
               (1.0 + 0.05 * sin(2.0 * pi * 1.3 * after_s));
    case CASE_RECTAL:
        return sqrt(fmax(hump(share, 0.5), 0.0));
    case CASE_POSITION:
        return share >= 1.0 ? 1.0 : hump(0.5 * share, 0.5) + 0.6 * chatter(after_s);
    case CASE_FLUSH:
        return plateau(after_s, event->length_s, 0.15);
    case CASE_TALKING:
        return chatter(after_s);
    case CASE_KINDS:
    default:
        return 0.0;
    }
}

static void add_event(const struct channel *channel, double *samples, double height,
                      const struct cystometry_event *event)
{
    const double reach_s = event->kind == CASE_COUGH ? 4.0 * event->length_s : 0.0;
    const double first_s = event->at_s - reach_s - channel->start_s;
    const double last_s =
        event->at_s - channel->start_s + (event->kind == CASE_COUGH ? reach_s : event->length_s);
    const size_t first = (size_t)fmax(ceil(first_s * channel->rate_hz), 0.0);

    for (size_t i = first; i < channel->sample_count; i++) {
        const double at_s = (double)i / channel->rate_hz;

        if (event->kind != CASE_POSITION && at_s > last_s) {
            break;
        }
        samples[i] += height * shape(event, at_s + channel->start_s - event->at_s);
    }
}

/* ---- The plan ---- */

void cystometry_add(struct cystometry_case *plan, struct cystometry_event event)
{
    assert_true(plan->event_count < CYSTOMETRY_EVENTS_MAX);
    plan->events[plan->event_count++] = event;
}

static struct cystometry_event make_contraction(uint64_t *seed, double least, double most)
{
    const double height = least * pow(most / least, cystometry_random(seed, 0.0, 1.0));

    return (struct cystometry_event){
        .kind = CASE_CONTRACTION,
        .length_s = cystometry_random(seed, 14.0, 80.0),
        .pves = height,
        .pabd = height * cystometry_random(seed, 0.0, 0.1),
        .rise_share = cystometry_random(seed, 0.3, 0.6),
        .fullness = cystometry_random(seed, 0.4, 1.0),
    };
}

static struct cystometry_event make_other(uint64_t *seed)
{
    const double sign = cystometry_random(seed, -1.0, 1.0) < 0.0 ? -1.0 : 1.0;
    const double transmission = cystometry_random(seed, 0.85, 1.05);
    const double height = cystometry_random(seed, 0.0, 1.0);

    switch ((int)cystometry_random(seed, 0.0, 6.0)) {
    case 0:
        return (struct cystometry_event){
            CASE_STRAIN, .length_s = cystometry_random(seed, 4.0, 15.0),
            .pves = 15.0 + 45.0 * height, .pabd = transmission * (15.0 + 45.0 * height)};
    case 1:
        return (struct cystometry_event){
            CASE_RECTAL, .length_s = cystometry_random(seed, 10.0, 40.0),
            .pves = 0.05 * sign * (6.0 + 19.0 * height), .pabd = sign * (6.0 + 19.0 * height)};
    case 2:
        return (struct cystometry_event){
            CASE_POSITION, .length_s = cystometry_random(seed, 3.0, 8.0),
            .pves = sign * (7.0 + 10.0 * height),
            .pabd = sign * (7.0 + 10.0 * height) + cystometry_random(seed, -2.0, 2.0)};
    case 3:
        return (struct cystometry_event){CASE_FLUSH, .length_s = cystometry_random(seed, 1.5, 6.0),
                                         .pves = sign > 0.0 ? 60.0 + 140.0 * height : 0.0,
                                         .pabd = sign > 0.0 ? 0.0 : 60.0 + 140.0 * height};
    case 4:
        return (struct cystometry_event){
            CASE_TALKING, .length_s = cystometry_random(seed, 6.0, 25.0),
            .pves = 2.0 + 5.0 * height, .pabd = transmission * (2.0 + 5.0 * height)};
    default: /* a wave that is too low to be reported */
        return (struct cystometry_event){CASE_CONTRACTION,
                                         .length_s = cystometry_random(seed, 14.0, 60.0),
                                         .pves = 1.0 + 2.5 * height};
    }
}

static struct cystometry_event make_cough(uint64_t *seed, double at_s)
{
    const double height = cystometry_random(seed, 8.0, 100.0);

    return (struct cystometry_event){.kind = CASE_COUGH,
                                     .at_s = at_s,
                                     .length_s = cystometry_random(seed, 0.15, 0.35),
                                     .pves = height,
                                     .pabd = height * cystometry_random(seed, 0.7, 1.1)};
}

/* Coughs do not fall into a flush, which hides them, or where the patient moves or talks. */
static bool is_free(const struct cystometry_case *plan, double at_s)
{
    for (size_t i = 0; i < plan->event_count; i++) {
        const struct cystometry_event *event = &plan->events[i];
        const bool hides = event->kind == CASE_FLUSH || event->kind == CASE_POSITION ||
                           event->kind == CASE_TALKING;

        if (hides && at_s > event->at_s - 3.0 && at_s < event->at_s + event->length_s + 3.0) {
            return false;
        }
    }
    return true;
}

static void add_coughs(struct cystometry_case *plan, uint64_t *seed, double end_s)
{
    double at_s = 10.0;

    while (at_s < end_s) {
        if (is_free(plan, at_s)) {
            cystometry_add(plan, make_cough(seed, at_s));
        }
        at_s += cystometry_random(seed, 3.0, 60.0);
    }
}

void cystometry_fill_waves(struct cystometry_case *plan, double least, double most)
{
    uint64_t seed = plan->seed * 1000 + 13;
    const double end_s = cystometry_fill_end(plan) - 30.0;
    double at_s = cystometry_fill_start(plan) + 60.0;

    for (;;) {
        struct cystometry_event event = make_contraction(&seed, least, most);

        event.at_s = at_s;
        event.length_s = cystometry_random(&seed, 15.0, 40.0);
        at_s += event.length_s + cystometry_random(&seed, 8.0, 30.0);
        if (at_s > end_s) {
            break;
        }
        cystometry_add(plan, event);
    }
    add_coughs(plan, &seed, end_s);
}

void cystometry_fill_plan(struct cystometry_case *plan, double least, double most)
{
    uint64_t seed = plan->seed * 1000 + 7;
    const double end_s = cystometry_fill_end(plan) - 20.0;
    double at_s = cystometry_fill_start(plan) + 35.0;
    bool contraction = false;

    while (at_s < end_s) {
        struct cystometry_event event =
            contraction ? make_contraction(&seed, least, most) : make_other(&seed);

        event.at_s = at_s;
        at_s += event.length_s;
        if (at_s < end_s) {
            cystometry_add(plan, event);
        }
        at_s += cystometry_random(&seed, 8.0, 25.0);
        contraction = !contraction;
    }
    add_coughs(plan, &seed, end_s);
}

/* ---- The recording ---- */

struct line_truth {
    const struct cystometry_case *plan;
    bool bladder;
};

static double line_value(double at_s, const void *context)
{
    const struct line_truth *line = context;
    const struct cystometry_case *plan = line->plan;
    const double from_s = cystometry_fill_start(plan);
    const double share =
        fmin(fmax((at_s - from_s) / (cystometry_fill_end(plan) - from_s), 0.0), 1.0);
    const double breath = 0.5 * plan->breathing * sin(2.0 * pi * 0.27 * at_s);

    if (!line->bladder) {
        return pabd_rest + 0.9 * breath - 0.4 * plan->drift * sin(1.3 * pi * at_s / plan->length_s);
    }
    /* Compliance: mostly straight, steeper towards the end. */
    return pves_rest + breath + plan->rise * (0.7 * share + 0.3 * pow(share, 4.0)) +
           0.6 * plan->drift * sin(0.9 * pi * at_s / plan->length_s);
}

static double vinf_value(double at_s, const void *context)
{
    const struct cystometry_case *plan = context;
    const double from_s = cystometry_fill_start(plan);

    return cystometry_fill_rate() / 60.0 *
           (fmin(fmax(at_s, from_s), cystometry_fill_end(plan)) - from_s);
}

static double *add_line(struct synth *synth, const struct cystometry_case *plan, bool bladder)
{
    const struct line_truth truth = {plan, bladder};
    const bool own_rate = !bladder && plan->pabd_rate_hz > 0.0;
    const struct synth_sampling sampling = {.rate_hz =
                                                own_rate ? plan->pabd_rate_hz : plan->rate_hz,
                                            .start_s = bladder ? 0.0 : plan->pabd_start_s,
                                            .end_s = plan->length_s};
    uint64_t seed = plan->seed * 2 + (bladder ? 1 : 0) + UINT64_C(99);
    double *samples =
        synth_channel(synth, bladder ? SIGNAL_PVES : SIGNAL_PABD, sampling, line_value, &truth);
    const struct channel *channel = &synth->channels[synth->recording.channel_count - 1];

    for (size_t i = 0; i < plan->event_count; i++) {
        const struct cystometry_event *event = &plan->events[i];

        add_event(channel, samples, bladder ? event->pves : event->pabd, event);
    }
    for (size_t i = 0; i < channel->sample_count; i++) {
        samples[i] += plan->noise * normal(&seed);
    }
    return samples;
}

void cystometry_open(struct synth *synth, const struct cystometry_case *plan)
{
    synth_open(synth, RECORDING_CYSTOMETRY);
    const double *pves = add_line(synth, plan, true);
    const double *pabd = add_line(synth, plan, false);

    if (plan->with_pdet) {
        double *pdet =
            synth_samples(synth, SIGNAL_PDET, plan->rate_hz, synth->channels[0].sample_count, pves);

        for (size_t i = 0; i < synth->channels[0].sample_count; i++) {
            pdet[i] -= pabd[i];
        }
    }
    synth_channel(synth, SIGNAL_VINF,
                  (struct synth_sampling){.rate_hz = 2.0, .end_s = plan->length_s}, vinf_value,
                  plan);
    synth_event(synth, EVENT_FILLING_START, cystometry_fill_start(plan));
    if (plan->permission) {
        synth_event(synth, EVENT_PERMISSION_TO_VOID, cystometry_fill_end(plan));
    }
}
