/* Quality of the signals as such: spans, ceilings, lines that do not measure, markers. */
#include "support/assert_close.h"
#include "support/pressure_flow.h"

#include "analysis/criteria.h"
#include "analysis/outcome.h"
#include "analysis/signal/series.h"

#include <math.h>
#include <string.h>

static const double resting = 20.0;
static const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 120.0, .noise = 0.2};

static size_t count_code(const struct analysis_result *result, const char *code)
{
    size_t count = 0;

    for (size_t i = 0; i < result->quality_count; i++) {
        count += strcmp(result->quality[i].code, code) == 0 ? 1 : 0;
    }
    return count;
}

static double *open_pressure(struct synth *synth)
{
    synth_open(synth, RECORDING_PRESSURE_FLOW);
    return synth_channel(synth, SIGNAL_PVES, sampling, constant_value, &resting);
}

static void test_missing_spans(void **state)
{
    struct synth synth;

    (void)state;
    (void)open_pressure(&synth);
    synth_lose(&synth, SIGNAL_PVES, 30.0, 31.0);
    synth_lose(&synth, SIGNAL_PVES, 0.0, 2.0);
    synth_lose(&synth, SIGNAL_PVES, 119.0, 120.0);
    const struct analysis_result *result = synth_run(&synth);
    const struct quality_finding *first = synth_quality(result, "missing_samples");

    assert_int_equal(count_code(result, "missing_samples"), 3);
    assert_int_equal(first->signal, SIGNAL_PVES);
    assert_close(first->from_s, 0.0, 1e-9);
    assert_close(first->to_s, 2.1, 1e-9);
    assert_close(first[1].from_s, 29.9, 1e-9);
    assert_close(first[1].to_s, 31.1, 1e-9);
    assert_close(first[2].to_s, 120.0, 1e-9);
    synth_close(&synth);
}

/* However many gaps there are, the list stays readable and covers them all. */
static void test_many_gaps(void **state)
{
    struct synth synth;

    (void)state;
    double *samples = open_pressure(&synth);

    for (size_t i = 0; i < 1200; i += 2) {
        samples[i] = SERIES_MISSING;
    }
    const struct analysis_result *result = synth_run(&synth);
    const struct quality_finding *last =
        synth_quality(result, "missing_samples") + (size_t)CRITERIA_SPANS_LISTED;

    assert_int_equal(count_code(result, "missing_samples"), CRITERIA_SPANS_LISTED + 1);
    assert_close(last->from_s, 1.9, 1e-9);
    assert_close(last->to_s, 119.9, 1e-9);
    synth_close(&synth);
}

static void test_lines_that_do_not_measure(void **state)
{
    struct synth synth;

    (void)state;
    double *samples = open_pressure(&synth);

    for (size_t i = 300; i < 700; i++) {
        samples[i] = 33.0;
    }
    for (size_t i = 900; i < 950; i++) {
        samples[i] = -40.0;
    }
    samples[980] = -400.0; /* a moment, not a second */
    const struct analysis_result *result = synth_run(&synth);
    const struct quality_finding *flat = synth_quality(result, "flat_line");
    const struct quality_finding *implausible = synth_quality(result, "implausible_value");

    assert_non_null(flat);
    assert_close(flat->from_s, 30.0, 1e-9);
    assert_close(flat->to_s, 69.9, 1e-9);
    assert_int_equal(count_code(result, "implausible_value"), 1);
    assert_close(implausible->from_s, 89.9, 1e-9);
    assert_close(implausible->to_s, 95.0, 1e-9);
    synth_close(&synth);
}

static void test_unusable_signals(void **state)
{
    struct synth synth;
    static const double none[] = {SERIES_MISSING, SERIES_MISSING};
    static const double absurd[] = {1e9, 20.0, 21.0};

    (void)state;
    synth_open(&synth, RECORDING_PRESSURE_FLOW);
    synth_samples(&synth, SIGNAL_PVES, 10.0, 2, none);
    synth_samples(&synth, SIGNAL_PABD, 10.0, 3, absurd);
    synth_samples(&synth, SIGNAL_FLOW, 1e9, 3, absurd);
    const struct analysis_result *result = synth_run(&synth);

    assert_int_equal(synth_quality(result, "no_samples")->signal, SIGNAL_PVES);
    assert_int_equal(synth_quality(result, "absurd_samples")->signal, SIGNAL_PABD);
    assert_int_equal(synth_quality(result, "unusable_axis")->signal, SIGNAL_FLOW);
    synth_close(&synth);
}

static void test_sampling_rate(void **state)
{
    struct synth synth;
    const struct synth_sampling slow = {.rate_hz = 9.0, .end_s = 20.0};

    (void)state;
    synth_open(&synth, RECORDING_PRESSURE_FLOW);
    synth_channel(&synth, SIGNAL_PVES, sampling, constant_value, &resting);
    synth_channel(&synth, SIGNAL_PABD, slow, constant_value, &resting);
    synth_channel(&synth, SIGNAL_VINF, slow, constant_value, &resting);
    const struct analysis_result *result = synth_run(&synth);

    assert_int_equal(count_code(result, "low_sampling_rate"), 1);
    assert_int_equal(synth_quality(result, "low_sampling_rate")->signal, SIGNAL_PABD);
    synth_close(&synth);
}

static void test_markers(void **state)
{
    struct synth synth;

    (void)state;
    (void)open_pressure(&synth);
    synth_event(&synth, EVENT_COUGH, 119.0);
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 60.0);
    assert_null(synth_quality(synth_run(&synth), "marker_outside"));
    assert_null(synth_quality(synth_run(&synth), "marker_order"));
    synth_event(&synth, EVENT_COUGH, 130.0);
    synth_event(&synth, EVENT_PERMISSION_TO_VOID, 65.0);
    synth_event(&synth, EVENT_VOID_START, 50.0);
    const struct analysis_result *result = synth_run(&synth);

    assert_non_null(synth_quality(result, "marker_outside"));
    assert_non_null(synth_quality(result, "repeated_marker"));
    assert_non_null(synth_quality(result, "marker_order"));
    synth_close(&synth);
    /* A clinic's own codes are left out of the computation, wherever they lie. */
    (void)open_pressure(&synth);
    synth_event(&synth, EVENT_OTHER, 1e6);
    assert_null(synth_quality(synth_run(&synth), "marker_outside"));
    synth_close(&synth);
}

static void test_patient(void **state)
{
    struct synth synth;

    (void)state;
    (void)open_pressure(&synth);
    assert_null(synth_quality(synth_run(&synth), "age_unknown"));
    synth.recording.age_years.known = false;
    synth.recording.weight_kg = (struct optional_number){true, 700.0};
    assert_non_null(synth_quality(synth_run(&synth), "age_unknown"));
    assert_non_null(synth_quality(synth_run(&synth), "implausible_value"));
    synth_close(&synth);
}

static void test_ceiling(void **state)
{
    struct test_memory memory;
    struct analysis_result result = {.has_uroflow = false};
    struct outcome outcome;

    (void)state;
    test_memory_open(&memory, 100);
    assert_true(outcome_open(&outcome, &result, &memory.memory));
    for (size_t i = 0; i < (size_t)OUTCOME_QUALITY_MAX + 50; i++) {
        outcome_note(&outcome, "missing_samples", QUALITY_INFO, SIGNAL_PVES, "text");
        outcome_finding(&outcome, (struct finding){.code = "finding"});
        outcome_classification(&outcome, (struct classification){.code = "class"});
    }
    assert_int_equal(result.quality_count, OUTCOME_QUALITY_MAX);
    assert_string_equal(result.quality[OUTCOME_QUALITY_MAX - 1].code, "more_findings");
    assert_int_equal(result.finding_count, OUTCOME_FINDINGS_MAX);
    assert_int_equal(result.classification_count, OUTCOME_CLASSIFICATIONS_MAX);
    test_memory_close(&memory);
}

/* Flow of 40 s, cut off at a level; or not cut, but as coarse as a step. */
struct cut_flow {
    double peak;
    double cut;
    double step;
};

static double cut_flow_value(double at_s, const void *context)
{
    const struct cut_flow *how = context;
    const struct half_sine flow = {.start_s = 20.0, .length_s = 40.0, .peak = how->peak};
    const double value = fmin(half_sine_value(at_s, &flow), how->cut);

    return how->step > 0.0 ? how->step * round(value / how->step) : value;
}

/* A plateau of 2 s at the highest flow, with the flow more than 1 mL/s lower as far away on both
 * sides, is one that the meter cut off; the coarse top of a round curve is none. */
static void test_cut_off_flow(void **state)
{
    /* A half sine of 40 mL/s in 40 s stands above 39.845 for 2.2 s, above 39.885 for 1.9 s. */
    static const struct {
        struct cut_flow how;
        bool told;
    } rows[] = {{{30.0, 25.0, 0.1}, true},     {{30.0, 40.0, 0.1}, false},
                {{25.0, 40.0, 1.0}, false},    {{8.0, 40.0, 1.0}, false},
                {{25.0, 40.0, 0.1}, false},    {{40.0, 39.845, 0.001}, true},
                {{40.0, 39.885, 0.001}, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;

        print_message("row %zu\n", i);
        synth_open(&synth, RECORDING_UROFLOWMETRY);
        synth_channel(&synth, SIGNAL_FLOW, (struct synth_sampling){.rate_hz = 10.0, .end_s = 80.0},
                      cut_flow_value, &rows[i].how);
        const struct analysis_result *result = synth_run(&synth);
        const struct quality_finding *clipped = synth_quality(result, "clipped");

        assert_int_equal(clipped != NULL, rows[i].told);
        if (clipped != NULL) {
            assert_int_equal(clipped->signal, SIGNAL_FLOW);
            assert_int_equal(clipped->severity, QUALITY_WARNING);
            assert_string_equal(result->uroflow.qmax.doubts[0], "clipped");
        }
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_missing_spans),
        cmocka_unit_test(test_many_gaps),
        cmocka_unit_test(test_lines_that_do_not_measure),
        cmocka_unit_test(test_unusable_signals),
        cmocka_unit_test(test_sampling_rate),
        cmocka_unit_test(test_markers),
        cmocka_unit_test(test_patient),
        cmocka_unit_test(test_ceiling),
        cmocka_unit_test(test_cut_off_flow),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
