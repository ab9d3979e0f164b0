/* Training sessions against what they were made from: which contractions are found, of which kind,
 * when, how strong and how long, swept over signal, rate, amplitude, hum, spikes and drift. */
#include "support/assert_close.h"
#include "support/emg_case.h"
#include "support/error_table.h"
#include "support/training_case.h"

#include <math.h>
#include <string.h>

enum { SEEDS = 3 };

static const struct {
    enum signal_kind signal;
    double rate_hz;
    enum emg_form form;
    double noise; /* share of the best net peak */
    double hum;   /* likewise */
    double spike;
    double drift;
} ways[] = {{SIGNAL_EMG, 2000.0, EMG_FORM_RAW, 0.0, 0.0, 0.0, 0.0},
            {SIGNAL_EMG, 1000.0, EMG_FORM_RAW, 0.0, 0.0, 10.0, 0.0},
            {SIGNAL_EMG, 1000.0, EMG_FORM_RAW, 0.0, 0.1, 0.0, 0.0},
            {SIGNAL_EMG, 1000.0, EMG_FORM_RECTIFIED, 0.0, 0.0, 0.0, 0.0},
            {SIGNAL_EMG, 50.0, EMG_FORM_ENVELOPE, 0.02, 0.0, 0.0, 0.0},
            {SIGNAL_EMG, 10.0, EMG_FORM_ENVELOPE, 0.02, 0.0, 0.0, 0.0},
            {SIGNAL_PVAG, 20.0, EMG_FORM_UNKNOWN, 0.03, 0.0, 0.0, 0.05},
            {SIGNAL_PURA, 100.0, EMG_FORM_UNKNOWN, 0.03, 0.0, 0.0, 0.08}};

enum { WAYS = sizeof ways / sizeof ways[0] };

/* A minute of rest, five quick contractions, five long ones, one of 40 s, a minute of rest. */
static struct training_case session(size_t way, unsigned *seed)
{
    const double best = 20.0 + 40.0 * emg_case_even(seed);
    struct training_case how = {.signal = ways[way].signal,
                                .rate_hz = ways[way].rate_hz,
                                .form = ways[way].form,
                                .rest = ways[way].signal == SIGNAL_EMG ? 5.0 : 12.0,
                                .noise = ways[way].noise * best,
                                .hum_uv = ways[way].hum * best,
                                .spike_uv = ways[way].spike * best,
                                .drift = ways[way].drift * best,
                                .end_s = 330.0,
                                .seed = *seed + 17};
    double at_s = 60.0;

    for (size_t i = 0; i < 11; i++) {
        const bool quick = i < 5;
        struct training_effort *effort = &how.efforts[how.count++];

        *effort = (struct training_effort){
            .start_s = at_s,
            .rise_s = 0.3 + 0.2 * emg_case_even(seed),
            .hold_s = quick ? 0.3 + 0.4 * emg_case_even(seed) : 6.0 + 4.0 * emg_case_even(seed),
            .release_s = 0.3 + 0.3 * emg_case_even(seed),
            .net = best * (i == 5 ? 1.0 : 0.5 + 0.5 * emg_case_even(seed))};
        effort->hold_s = i == 10 ? 40.0 : effort->hold_s;
        at_s += effort->rise_s + effort->hold_s + effort->release_s + (quick ? 2.0 : 10.0);
    }
    return how;
}

static double recorded(const struct training_case *how, double level)
{
    if (how->signal != SIGNAL_EMG || how->form == EMG_FORM_ENVELOPE) {
        return level;
    }
    return how->form == EMG_FORM_RAW ? sqrt(level * level + 0.5 * how->hum_uv * how->hum_uv)
                                     : level * sqrt(2.0 / 3.14159265358979323846);
}

static void add_errors(struct error_table *table, const struct training_case *how,
                       const struct training_effort *effort,
                       const struct training_contraction *found)
{
    const double mean = isnan(found->mean_uv) ? found->mean_cmh2o : found->mean_uv;
    const double middle_s = effort->start_s + effort->rise_s + 0.5 * effort->hold_s;
    const double level = recorded(how, training_case_level(how, middle_s));

    error_table_add(table, "start against half of the rise, s",
                    found->start_s - (effort->start_s + 0.5 * effort->rise_s));
    if (strcmp(found->kind, "long") == 0) {
        error_table_add(table, "hold time, s",
                        found->hold_s -
                            (effort->hold_s + 0.5 * (effort->rise_s + effort->release_s)));
        error_table_add(table, "mean of the hold, %", 100.0 * (mean / level - 1.0));
    }
}

static void compare(struct error_table *table, const struct training_case *how,
                    const struct training_measures *training)
{
    const struct training_contraction *found = training->contractions.items;
    struct detection_row counts = {.truth = how->count, .claims = training->contractions.count};

    for (size_t i = 0; i < how->count; i++) {
        const struct training_effort *effort = &how->efforts[i];
        const char *kind = effort->hold_s < 2.0 ? "quick" : "long";

        for (size_t k = 0; k < training->contractions.count; k++) {
            if (fabs(found[k].start_s - effort->start_s - 0.5 * effort->rise_s) < 0.5 &&
                strcmp(found[k].kind, kind) == 0) {
                counts.found++;
                counts.right++;
                add_errors(table, how, effort, &found[k]);
                break;
            }
        }
    }
    error_table_detect(table, "contractions of the right kind", counts);
}

static void test_sessions(void **state)
{
    static struct error_table table;

    (void)state;
    error_table_open(&table, "Pelvic floor training");
    for (size_t way = 0; way < WAYS; way++) {
        unsigned seed = 11 + (unsigned)way;

        for (size_t round = 0; round < SEEDS; round++) {
            const struct training_case how = session(way, &seed);
            const double rest = recorded(&how, how.rest + 0.5 * how.drift);
            struct synth synth;

            training_case_open(&synth, &how);
            const struct training_measures *training = &synth_run(&synth)->training;
            const struct measure *tone =
                how.signal == SIGNAL_EMG ? &training->rest_tone : &training->rest_pressure;

            compare(&table, &how, training);
            error_table_add(&table, "rest tone, %", 100.0 * (tone->value / rest - 1.0));
            error_table_add(&table, "long contractions", training->long_count.value - 6.0);
            error_table_add(&table, "endurance, s",
                            training->endurance.value - how.efforts[10].hold_s -
                                how.efforts[10].rise_s - how.efforts[10].release_s);
            synth_close(&synth);
        }
    }
    error_table_print(&table);
    assert_true(error_table_sensitivity(&table, "contractions of the right kind") >= 0.98);
    assert_true(error_table_precision(&table, "contractions of the right kind") >= 0.98);
    assert_true(error_table_p95(&table, "start against half of the rise, s") < 0.35);
    assert_true(error_table_p95(&table, "hold time, s") < 0.35);
    assert_true(error_table_p95(&table, "mean of the hold, %") < 5.0);
    assert_true(error_table_p95(&table, "rest tone, %") < 5.0);
    assert_close(error_table_p95(&table, "long contractions"), 0.0, 0.0);
    assert_true(error_table_p95(&table, "endurance, s") < 0.8);
    error_table_close(&table);
}

/* Rest alone, in every way: nothing is claimed. */
static void test_rest_alone(void **state)
{
    size_t claims = 0;

    (void)state;
    for (size_t way = 0; way < WAYS; way++) {
        unsigned seed = 5;

        for (size_t round = 0; round < SEEDS; round++) {
            struct training_case how = session(way, &seed);
            struct synth synth;

            how.count = 0;
            how.drift = 0.0;
            training_case_open(&synth, &how);
            claims += synth_run(&synth)->training.contractions.count;
            synth_close(&synth);
        }
    }
    print_message("contractions claimed in %d sessions of rest: %zu\n", WAYS * SEEDS, claims);
    assert_true((double)claims <= 0.02 * WAYS * SEEDS);
}

/* Ten flicks a second apart, that do not quite let go, are ten quick contractions. */
static void test_flicks(void **state)
{
    (void)state;
    for (size_t way = 0; way < WAYS; way++) {
        struct training_case how = {.signal = ways[way].signal,
                                    .rate_hz = ways[way].rate_hz,
                                    .form = ways[way].form,
                                    .rest = 5.0,
                                    .noise = 0.5,
                                    .end_s = 90.0,
                                    .seed = 3};
        struct synth synth;

        for (size_t i = 0; i < 10; i++) {
            how.efforts[how.count++] =
                (struct training_effort){40.0 + (double)i, 0.2, 0.25, 0.2, 40.0};
        }
        training_case_open(&synth, &how);
        const struct training_measures *training = &synth_run(&synth)->training;

        assert_close(training->quick_count_10s.value, 10.0, 0.0);
        assert_close(training->long_count.value, 0.0, 0.0);
        assert_int_equal(training->contractions.count, 10);
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sessions),
        cmocka_unit_test(test_rest_alone),
        cmocka_unit_test(test_flicks),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
