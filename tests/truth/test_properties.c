/* Properties of every study type that hold whatever the numbers are: another start, twice the rate,
 * another unit, a constant on all pressures and a gap where nothing happens change nothing that
 * they should not. */
#include "support/anorectal_case.h"
#include "support/assert_close.h"
#include "support/cystometry_case.h"
#include "support/emg_case.h"
#include "support/pressure_flow.h"
#include "support/profile_case.h"
#include "support/training_case.h"
#include "support/transform.h"
#include "support/voiding_case.h"

#include <stdio.h>

/* A recording of one type, and where a gap of missing samples does no harm. */
struct example {
    const char *name;
    void (*open)(struct synth *synth);
    enum signal_kind lost;
    double lost_from_s;
    double lost_to_s;
    double slack_s;                  /* moments at twice the rate */
    double share;                    /* values at twice the rate */
    const char *const *when_doubled; /* rows that another rate may move */
    const char *const *when_added;   /* rows that depend on the pressures' level itself */
    const char *const *when_lost;
};

static void open_pressure_flow(struct synth *synth)
{
    pressure_flow_open(synth, (struct pressure_flow_case){.rate_hz = 10.0, .noise = 0.3});
}

static void open_free_flow(struct synth *synth)
{
    static const struct half_sine flow = {.start_s = 5.0, .length_s = 25.0, .peak = 20.0};

    synth_open(synth, RECORDING_UROFLOWMETRY);
    synth->recording.conditions.post_void_residual_ml = (struct optional_number){true, 30.0};
    synth_channel(synth, SIGNAL_FLOW, (struct synth_sampling){.rate_hz = 10.0, .end_s = 45.0},
                  half_sine_value, &flow);
    synth_event(synth, EVENT_PERMISSION_TO_VOID, 2.0);
}

static void open_cystometry(struct synth *synth)
{
    struct cystometry_case plan = {.rate_hz = 20.0,
                                   .noise = 0.2,
                                   .breathing = 1.0,
                                   .rise = 6.0,
                                   .length_s = 900.0,
                                   .seed = 5,
                                   .permission = true};

    cystometry_fill_plan(&plan, 8.0, 25.0);
    cystometry_open(synth, &plan);
}

static void open_voiding(struct synth *synth)
{
    voiding_case_open(
        synth, (struct voiding_case){
                   .rate_hz = 20.0, .delay_s = 0.8, .after_cmh2o = 18.0, .residual_ml = 40.0});
}

static void open_emg(struct synth *synth)
{
    struct emg_case how = emg_case_usual(20.0, EMG_FORM_ENVELOPE);

    emg_case_open(synth, &how);
}

static void open_profile(struct synth *synth)
{
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;

    how.found = PROFILE_CASE_PULLER;
    how.rate_hz = 50.0;
    how.noise = 0.0;
    profile_case_open(synth, &how, &truth);
}

static void open_anorectal(struct synth *synth)
{
    anorectal_case_open(synth, (struct anorectal_case){.rate_hz = 25.0, .sensors = 4});
}

static void open_training(struct synth *synth)
{
    struct training_case how = {.signal = SIGNAL_EMG,
                                .rate_hz = 20.0,
                                .form = EMG_FORM_ENVELOPE,
                                .rest = 5.0,
                                .end_s = 240.0,
                                .count = 6};

    for (size_t i = 0; i < how.count; i++) {
        how.efforts[i] = (struct training_effort){.start_s = 60.0 + 25.0 * (double)i,
                                                  .rise_s = 0.4,
                                                  .hold_s = i % 2 == 0 ? 8.0 : 0.5,
                                                  .release_s = 0.5,
                                                  .net = 30.0 + (double)i};
    }
    training_case_open(synth, &how);
}

/* Spreads of the samples: a mean between two of them has less of it. */
static const char *const spreads[] = {"training.hold_variability", "training.rest_variability",
                                      NULL};

/* Shares of the anal resting pressure itself. */
static const char *const shares_of_rest[] = {"anorectal.push_anal_relaxation",
                                             "anorectal.defecation_index", "anorectal.rair",
                                             "anorectal.manoeuvres", NULL};

static const struct example examples[] = {
    {.name = "free flow",
     .open = open_free_flow,
     .lost = SIGNAL_FLOW,
     .lost_from_s = 40.0,
     .lost_to_s = 41.0,
     .slack_s = 0.15,
     .share = 0.01},
    {.name = "cystometry",
     .open = open_cystometry,
     .lost = SIGNAL_PABD,
     .lost_from_s = 12.0,
     .lost_to_s = 12.5,
     .slack_s = 1.0,
     .share = 0.05},
    {.name = "voiding",
     .open = open_voiding,
     .lost = SIGNAL_PABD,
     .lost_from_s = 1.0,
     .lost_to_s = 1.5,
     .slack_s = 0.3,
     .share = 0.02},
    {.name = "EMG",
     .open = open_emg,
     .lost = SIGNAL_EMG,
     .lost_from_s = 30.0,
     .lost_to_s = 30.5,
     .slack_s = 0.3,
     .share = 0.03},
    {.name = "profile",
     .open = open_profile,
     .lost = SIGNAL_PVES,
     .lost_from_s = 0.0,
     .lost_to_s = 0.3,
     .slack_s = 0.2,
     .share = 0.01},
    {.name = "anorectal",
     .open = open_anorectal,
     .lost = SIGNAL_PANAL1,
     .lost_from_s = 5.0,
     .lost_to_s = 5.3,
     .slack_s = 0.5,
     .share = 0.03,
     .when_added = shares_of_rest},
    {.name = "training",
     .open = open_training,
     .lost = SIGNAL_EMG,
     .lost_from_s = 20.0,
     .lost_to_s = 20.5,
     .slack_s = 0.2,
     .share = 0.03,
     .when_doubled = spreads},
    {.name = "pressure_flow",
     .open = open_pressure_flow,
     .lost = SIGNAL_PABD,
     .lost_from_s = 180.0,
     .lost_to_s = 182.0,
     .slack_s = 0.3,
     .share = 0.03},
};

enum { EXAMPLES = sizeof examples / sizeof examples[0] };

typedef void change(struct synth *synth, const struct example *example);

static void compare(const struct example *example, change *apply, const char *what,
                    const struct transform_allowance *allowance)
{
    struct synth base;
    struct synth changed;
    char name[96];

    (void)snprintf(name, sizeof name, "%s, %s", example->name, what);
    example->open(&base);
    example->open(&changed);
    apply(&changed, example);
    transform_compare(synth_run(&base), synth_run(&changed), allowance, name);
    synth_close(&base);
    synth_close(&changed);
}

static void apply_later(struct synth *synth, const struct example *example)
{
    (void)example;
    transform_shift(synth, 1234.0);
}

static void apply_earlier(struct synth *synth, const struct example *example)
{
    (void)example;
    transform_shift(synth, -77.3);
}

static void apply_double_rate(struct synth *synth, const struct example *example)
{
    (void)example;
    transform_double_rate(synth);
}

static void apply_units(struct synth *synth, const struct example *example)
{
    (void)example;
    transform_units(synth);
}

static void apply_added(struct synth *synth, const struct example *example)
{
    (void)example;
    transform_add_pressure(synth, 3.0);
}

static void apply_loss(struct synth *synth, const struct example *example)
{
    transform_lose(synth, example->lost, example->lost_from_s, example->lost_to_s);
}

static void test_shifted(void **state)
{
    (void)state;
    for (size_t i = 0; i < EXAMPLES; i++) {
        compare(&examples[i], apply_later, "later",
                &(struct transform_allowance){.shift_s = 1234.0, .moment_s = 1e-6, .share = 1e-6});
        compare(&examples[i], apply_earlier, "earlier",
                &(struct transform_allowance){.shift_s = -77.3, .moment_s = 1e-6, .share = 1e-6});
    }
}

static void test_doubled(void **state)
{
    (void)state;
    for (size_t i = 0; i < EXAMPLES; i++) {
        compare(&examples[i], apply_double_rate, "twice the rate",
                &(struct transform_allowance){.moment_s = examples[i].slack_s,
                                              .share = examples[i].share,
                                              .skipped = examples[i].when_doubled});
    }
}

static void test_units(void **state)
{
    (void)state;
    for (size_t i = 0; i < EXAMPLES; i++) {
        compare(&examples[i], apply_units, "other units",
                &(struct transform_allowance){.moment_s = 1e-6, .share = 1e-6});
    }
}

static void test_added(void **state)
{
    (void)state;
    for (size_t i = 0; i < EXAMPLES; i++) {
        compare(
            &examples[i], apply_added, "a constant on all pressures",
            &(struct transform_allowance){
                .moment_s = 1e-6, .share = 1e-6, .add = 3.0, .skipped = examples[i].when_added});
    }
}

static void test_lost(void **state)
{
    (void)state;
    for (size_t i = 0; i < EXAMPLES; i++) {
        compare(&examples[i], apply_loss, "a gap where nothing happens",
                &(struct transform_allowance){
                    .moment_s = 0.3, .share = 0.02, .skipped = examples[i].when_lost});
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_shifted), cmocka_unit_test(test_doubled),
        cmocka_unit_test(test_units),   cmocka_unit_test(test_added),
        cmocka_unit_test(test_lost),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
