/* Inputs at the edge: nothing, one sample, all missing, constant, absurd, every type; memory that
 * runs out. The sanitisers watch; each result must keep its promises. */
#include "support/assert_close.h"
#include "support/pressure_flow.h"

#include "analysis/catalogue.h"
#include "analysis/signal/series.h"

#include <float.h>
#include <math.h>
#include <string.h>

static void assert_sound_value(const struct catalogue_row *row, const struct measure *measure)
{
    if (measure->state == MEASURE_ABSENT) {
        assert_non_null(measure->reason);
    } else if (measure->state == MEASURE_PRESENT && row->kind == CATALOGUE_WORD) {
        assert_non_null(measure->word);
    } else if (measure->state == MEASURE_PRESENT) {
        assert_true(isfinite(measure->value));
        assert_true(!measure->has_time || isfinite(measure->at_s));
    }
}

static void assert_sound_list(const struct item_list *items)
{
    assert_true(items->state != MEASURE_ABSENT || items->reason != NULL);
    assert_true(items->state == MEASURE_PRESENT || items->count == 0);
    assert_true(items->count == 0 || items->items != NULL);
}

static void assert_sound_section(const struct catalogue_section *section,
                                 const struct analysis_result *result)
{
    for (size_t i = 0; i < catalogue_instances(section, result); i++) {
        const void *instance = catalogue_instance(section, result, i);

        for (size_t j = 0; j < section->row_count; j++) {
            assert_sound_value(&section->rows[j], catalogue_measure(&section->rows[j], instance));
        }
        for (size_t j = 0; j < section->list_count; j++) {
            assert_sound_list(catalogue_items(&section->lists[j], instance));
        }
    }
}

/* What holds for every result: numbers are finite, what is absent has a reason, texts are there. */
static void assert_sound(const struct analysis_result *result)
{
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        assert_sound_section(catalogue_section(i), result);
    }
    for (size_t i = 0; i < result->quality_count; i++) {
        const struct quality_finding *finding = &result->quality[i];

        assert_non_null(finding->code);
        assert_non_null(finding->text);
        assert_true(!finding->has_span || (isfinite(finding->from_s) && isfinite(finding->to_s)));
    }
    for (size_t i = 0; i < result->finding_count; i++) {
        assert_non_null(result->findings[i].text);
        assert_true(result->findings[i].basis_count > 0);
    }
}

static void test_empty_recordings(void **state)
{
    (void)state;
    for (int type = 0; type < RECORDING_TYPE_COUNT; type++) {
        struct synth synth;

        synth_open(&synth, (enum recording_type)type);
        const struct analysis_result *result = synth_run(&synth);

        assert_sound(result);
        assert_int_equal(result->type, type);
        synth_close(&synth);
    }
}

static void test_types_without_their_signals(void **state)
{
    (void)state;
    for (int type = RECORDING_URETHRAL_PRESSURE_PROFILE; type < RECORDING_TYPE_COUNT; type++) {
        struct synth synth;
        static const double pressure = 40.0;
        const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 10.0};

        synth_open(&synth, (enum recording_type)type);
        synth_channel(&synth, SIGNAL_PVES, sampling, constant_value, &pressure);
        const struct analysis_result *result = synth_run(&synth);

        assert_false(result->has_uroflow || result->has_filling || result->has_voiding);
        assert_sound(result);
        synth_close(&synth);
    }
}

/* The same few samples in every signal. */
static void run_samples(size_t count, const double *samples, double rate_hz, double start_s)
{
    static const enum signal_kind signals[] = {SIGNAL_PVES, SIGNAL_PABD,  SIGNAL_PDET,
                                               SIGNAL_FLOW, SIGNAL_VVOID, SIGNAL_VINF};

    for (int type = 0; type <= RECORDING_PRESSURE_FLOW; type++) {
        struct synth synth;

        synth_open(&synth, (enum recording_type)type);
        for (size_t i = 0; i < sizeof signals / sizeof signals[0]; i++) {
            synth_samples(&synth, signals[i], rate_hz, count, samples);
            synth.channels[i].start_s = start_s;
        }
        synth_event(&synth, EVENT_FILLING_START, 0.0);
        synth_event(&synth, EVENT_FIRST_DESIRE, 1.0);
        synth_event(&synth, EVENT_PERMISSION_TO_VOID, 2.0);
        assert_sound(synth_run(&synth));
        synth_close(&synth);
    }
}

static void test_few_and_odd_samples(void **state)
{
    static const double nothing[] = {SERIES_MISSING, SERIES_MISSING, SERIES_MISSING};
    static const double infinite[] = {SERIES_ENDLESS, 1.0, -SERIES_ENDLESS, 2.0};
    static const double absurd[] = {DBL_MAX, -DBL_MAX, 1e300, 1e7, 0.0, 1e6, -1e6, 1e6};
    static const double one[] = {12.0};
    static const double two[] = {12.0, 30.0};
    double constant[400];

    (void)state;
    for (size_t i = 0; i < 400; i++) {
        constant[i] = 7.0;
    }
    run_samples(0, one, 10.0, 0.0);
    run_samples(1, one, 10.0, 0.0);
    run_samples(2, two, 10.0, 0.0);
    run_samples(3, nothing, 10.0, 0.0);
    run_samples(4, infinite, 10.0, 0.0);
    run_samples(8, absurd, 10.0, 0.0);
    run_samples(400, constant, 10.0, 0.0);
}

static void test_odd_axes(void **state)
{
    static const double rates_hz[] = {1e-300, 0.001, 0.01, 0.5, 0.999, 1.0, 3.9,
                                      199.0,  201.0, 1e5,  1e6, 1e300, 0.0, -5.0};
    static const double starts_s[] = {0.0, -1e6, 1e6, 1e300};
    double samples[300];

    (void)state;
    for (size_t i = 0; i < 300; i++) {
        samples[i] = 10.0 * sin((double)i / 10.0);
    }
    for (size_t r = 0; r < sizeof rates_hz / sizeof rates_hz[0]; r++) {
        for (size_t s = 0; s < sizeof starts_s / sizeof starts_s[0]; s++) {
            run_samples(300, samples, rates_hz[r], starts_s[s]);
        }
    }
    run_samples(300, samples, SERIES_MISSING, 0.0);
    run_samples(300, samples, 10.0, SERIES_MISSING);
}

static void test_odd_conditions(void **state)
{
    static const double odd[] = {-1.0, 0.0, 1e300, -1e300, SERIES_ENDLESS, SERIES_MISSING, 1e-300};

    (void)state;
    for (size_t i = 0; i < sizeof odd / sizeof odd[0]; i++) {
        const struct optional_number number = {true, odd[i]};
        struct synth synth;

        pressure_flow_open(
            &synth, (struct pressure_flow_case){.rate_hz = 10.0, .without_vinf = i % 2 == 0});
        synth.recording.conditions.post_void_residual_ml = number;
        synth.recording.conditions.initial_residual_ml = number;
        synth.recording.conditions.filling_rate_ml_min = number;
        synth.recording.conditions.flow_delay_s = number;
        synth.recording.age_years = number;
        synth.recording.weight_kg = number;
        assert_sound(synth_run(&synth));
        for (size_t e = 0; e < synth.recording.event_count; e++) {
            synth.events[e].at_s = odd[i];
            assert_sound(synth_run(&synth));
        }
        synth_close(&synth);
    }
}

/* A small generator of arbitrary numbers, the same on every machine. */
static unsigned next_random(unsigned *seed)
{
    *seed = *seed * 1664525U + 1013904223U;
    return *seed >> 8;
}

static double random_sample(unsigned *seed, unsigned style)
{
    const unsigned bits = next_random(seed);

    if (style == 0 || bits % 50 == 0) {
        return bits % 3 == 0 ? SERIES_MISSING : (double)(bits % 1000) - 300.0;
    }
    if (style == 1) {
        return (double)(bits % 30) / 10.0 - 1.0;
    }
    return bits % 7 < style ? 20.0 : 0.0;
}

static void test_random_recordings(void **state)
{
    unsigned seed = 1;

    (void)state;
    for (size_t round = 0; round < 400; round++) {
        struct synth synth;
        double samples[600];

        synth_open(&synth, (enum recording_type)(next_random(&seed) % 3));
        for (int signal = 0; signal < SIGNAL_COUNT; signal++) {
            const size_t count = next_random(&seed) % 600;
            const unsigned style = next_random(&seed) % 6;

            if (next_random(&seed) % 3 == 0 ||
                synth.recording.channel_count == SYNTH_CHANNELS_MAX) {
                continue;
            }
            for (size_t i = 0; i < count; i++) {
                samples[i] = random_sample(&seed, style);
            }
            synth_samples(&synth, (enum signal_kind)signal, 1.0 + next_random(&seed) % 120, count,
                          samples);
            synth.channels[synth.recording.channel_count - 1].start_s =
                (double)(next_random(&seed) % 100) / 10.0 - 5.0;
        }
        for (size_t i = next_random(&seed) % 20; i > 0; i--) {
            synth_event(&synth, (enum event_code)(next_random(&seed) % EVENT_CODE_COUNT),
                        (double)(next_random(&seed) % 600) / 10.0 - 5.0);
        }
        assert_sound(synth_run(&synth));
        synth_close(&synth);
    }
}

/* Memory that runs out at each allocation in turn: refused, never a crash or half a result. */
static void test_memory_runs_out(void **state)
{
    struct synth synth;
    size_t needed = 0;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 10.0});
    for (size_t allowed = 0; needed == 0; allowed++) {
        const struct analysis_result *result = NULL;
        struct test_memory memory;

        test_memory_open(&memory, allowed);
        if (analysis_run(&synth.recording, NULL, &memory.memory, &result)) {
            assert_non_null(result);
            needed = allowed;
        } else {
            assert_null(result);
        }
        test_memory_close(&memory);
    }
    assert_true(needed > 10);
    synth_close(&synth);
}

/* A few times the samples' size, whatever the length. */
static void test_memory_is_bounded(void **state)
{
    struct synth synth;
    size_t samples = 0;
    const struct analysis_result *result = NULL;
    struct test_memory memory;

    (void)state;
    pressure_flow_open(&synth, (struct pressure_flow_case){.rate_hz = 100.0});
    for (size_t i = 0; i < synth.recording.channel_count; i++) {
        samples += synth.channels[i].sample_count;
    }
    test_memory_open(&memory, SIZE_MAX);
    assert_true(analysis_run(&synth.recording, NULL, &memory.memory, &result));
    assert_true(memory.bytes < 4 * samples * sizeof(double));
    test_memory_close(&memory);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_empty_recordings),
        cmocka_unit_test(test_types_without_their_signals),
        cmocka_unit_test(test_few_and_odd_samples),
        cmocka_unit_test(test_odd_axes),
        cmocka_unit_test(test_odd_conditions),
        cmocka_unit_test(test_random_recordings),
        cmocka_unit_test(test_memory_runs_out),
        cmocka_unit_test(test_memory_is_bounded),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
