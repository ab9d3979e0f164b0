/* Envelope of an EMG: windows, rate, gaps, what samples of an unknown form are taken for. */
#include "support/assert_close.h"
#include "support/test_memory.h"

#include "analysis/criteria_emg.h"
#include "analysis/signal/envelope.h"
#include "analysis/signal/robust.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct envelope make(struct test_memory *memory, const double *samples, size_t count,
                            double rate_hz, enum emg_form form)
{
    const struct series emg = {rate_hz, 3.0, count, samples};
    struct envelope envelope;

    test_memory_open(memory, SIZE_MAX);
    assert_true(envelope_make(&emg, form, &memory->memory, &envelope));
    return envelope;
}

/* Two samples at the ends of a window are in it, and the window is no longer. */
static double reading(enum emg_form form, size_t distance, double first, double second)
{
    static double samples[10001];
    struct test_memory memory;

    for (size_t i = 0; i < 10001; i++) {
        samples[i] = form != EMG_FORM_RAW || i % 2 == 0 ? 1.0 : -1.0;
    }
    samples[5000 - distance] = first;
    samples[5000 + distance] = second;
    const struct envelope envelope = make(&memory, samples, 10001, 1000.0, form);

    assert_close(series_time(&envelope.series, 100), 3.0 + 5.0, 1e-12);
    const double value = envelope.series.samples[100];

    test_memory_close(&memory);
    return value;
}

/* A background of 1 with alternating signs: mean 0, or 1 / samples for an odd count. */
static void test_windows(void **state)
{
    const double inside = (199.0 + 18.0) / 201.0;
    const double mean = 1.0 / 2001.0;

    (void)state;
    assert_close(reading(EMG_FORM_RAW, 100, 3.0, -3.0), sqrt(inside), 1e-3);
    assert_close(reading(EMG_FORM_RAW, 101, 3.0, -3.0), 1.0, 1e-3);
    assert_close(reading(EMG_FORM_RAW, 1000, 601.0, 601.0),
                 sqrt(1.0 + pow(mean * 1201.0, 2.0) - 2.0 * mean * 1201.0 / 201.0), 1e-4);
    assert_close(reading(EMG_FORM_RAW, 1001, 601.0, 601.0), 1.0, 1e-4);
    assert_close(reading(EMG_FORM_RECTIFIED, 250, 10.0, 10.0), 519.0 / 501.0, 1e-12);
    assert_close(reading(EMG_FORM_RECTIFIED, 251, 10.0, 10.0), 1.0, 1e-12);
}

static void test_rates(void **state)
{
    static const struct {
        double rate_hz;
        enum emg_form form;
        double envelope_hz;
    } rows[] = {{2000.0, EMG_FORM_RAW, 20.0},      {1024.0, EMG_FORM_RAW, 1024.0 / 52.0},
                {400.0, EMG_FORM_RECTIFIED, 20.0}, {100.0, EMG_FORM_ENVELOPE, 20.0},
                {20.0, EMG_FORM_ENVELOPE, 20.0},   {20.1, EMG_FORM_ENVELOPE, 10.05},
                {10.0, EMG_FORM_ENVELOPE, 10.0}};

    static double samples[4000];

    (void)state;
    for (size_t i = 0; i < 4000; i++) {
        samples[i] = 5.0 + (double)(i % 3);
    }
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct test_memory memory;
        const struct envelope envelope =
            make(&memory, samples, 4000, rows[i].rate_hz, rows[i].form);

        assert_close(envelope.series.rate_hz, rows[i].envelope_hz, 1e-9);
        assert_int_equal(envelope.form, rows[i].form);
        assert_false(envelope.decided);
        test_memory_close(&memory);
    }
}

/* An offset of the amplifier is taken off a raw signal, whatever its size. */
static void test_offset(void **state)
{
    static double samples[4000];

    (void)state;
    for (int offset = -1000; offset <= 1000; offset += 500) {
        struct test_memory memory;

        for (size_t i = 0; i < 4000; i++) {
            samples[i] = (double)offset + (i % 2 == 0 ? 8.0 : -8.0);
        }
        const struct envelope envelope = make(&memory, samples, 4000, 1000.0, EMG_FORM_RAW);

        for (size_t i = 0; i < envelope.series.count; i++) {
            assert_close(envelope.series.samples[i], 8.0, 0.02);
        }
        test_memory_close(&memory);
    }
}

/* Missing samples are not zero: they neither lower the envelope nor are they filled in. */
static void test_gaps(void **state)
{
    static const enum emg_form forms[] = {EMG_FORM_RAW, EMG_FORM_RECTIFIED, EMG_FORM_ENVELOPE};

    static double samples[8000];

    (void)state;
    for (size_t f = 0; f < 3; f++) {
        struct test_memory memory;

        for (size_t i = 0; i < 8000; i++) {
            const bool positive = i % 2 == 0 || forms[f] != EMG_FORM_RAW;

            samples[i] = positive ? 8.0 : -8.0;
            if ((i >= 2000 && i < 4000) || (i >= 6000 && i < 7000 && i % 3 == 0)) {
                samples[i] = (double)NAN;
            }
        }
        const struct envelope envelope = make(&memory, samples, 8000, 1000.0, forms[f]);

        for (size_t i = 0; i < envelope.series.count; i++) {
            const double at_s = series_time(&envelope.series, i) - 3.0;

            if (at_s > 2.01 && at_s < 3.99) {
                assert_true(isnan(envelope.series.samples[i]));
            } else if (at_s < 1.99 || at_s > 4.01) {
                assert_close(envelope.series.samples[i], 8.0, 0.1);
            }
        }
        test_memory_close(&memory);
    }
}

static enum emg_form decided(const double *samples, size_t count, double rate_hz)
{
    struct test_memory memory;
    const struct envelope envelope = make(&memory, samples, count, rate_hz, EMG_FORM_UNKNOWN);
    const enum emg_form form = envelope.form;

    assert_true(envelope.decided);
    test_memory_close(&memory);
    return form;
}

static void test_negative_samples_mean_raw(void **state)
{
    static double samples[2000];

    (void)state;
    for (size_t i = 0; i < 2000; i++) {
        samples[i] = i % 20 == 3 ? -1.0 : 5.0;
    }
    assert_int_equal(decided(samples, 2000, 100.0), EMG_FORM_RAW);
    samples[3] = 5.0;
    assert_int_equal(decided(samples, 2000, 100.0), EMG_FORM_ENVELOPE);
    samples[3] = 0.0;
    assert_int_equal(decided(samples, 2000, 100.0), EMG_FORM_ENVELOPE);
}

/* `lows` low samples at the end of every `period`. */
static void fill_periods(double *samples, size_t period, size_t lows, double low)
{
    for (size_t i = 0; i < 2000; i++) {
        samples[i] = i % period >= period - lows ? low : 10.0;
    }
}

static void test_quick_low_samples_mean_rectified(void **state)
{
    static double samples[2000];

    (void)state;
    fill_periods(samples, 10, 2, 1.0);
    assert_int_equal(decided(samples, 2000, 200.0), EMG_FORM_RECTIFIED);
    assert_int_equal(decided(samples, 2000, 199.0), EMG_FORM_ENVELOPE);
    samples[9] = 10.0; /* 399 of 2000 low */
    assert_int_equal(decided(samples, 2000, 200.0), EMG_FORM_ENVELOPE);
    fill_periods(samples, 10, 2, 4.41);
    assert_int_equal(decided(samples, 2000, 200.0), EMG_FORM_RECTIFIED);
    fill_periods(samples, 10, 2, 4.47);
    assert_int_equal(decided(samples, 2000, 200.0), EMG_FORM_ENVELOPE);
    fill_periods(samples, 20, 5, 1.0); /* 199 crossings in 10 s */
    assert_int_equal(decided(samples, 2000, 200.0), EMG_FORM_ENVELOPE);
    samples[5] = 1.0; /* 201 */
    assert_int_equal(decided(samples, 2000, 200.0), EMG_FORM_RECTIFIED);
}

/* One sample of 201 that is more than 8 times the average rectified value is a spike: it is told
 * and left out. Among others of 1, that is one of 8.29. */
static void test_spiky_windows(void **state)
{
    static const double heights[] = {8.2, 8.37};
    static double samples[2001];

    (void)state;
    for (size_t k = 0; k < 2; k++) {
        struct test_memory memory;

        for (size_t i = 0; i < 2001; i++) {
            samples[i] = i % 2 == 0 ? 1.0 : -1.0;
        }
        samples[1010] = heights[k];
        samples[1011] = 0.0; /* the mean stays small */
        const struct envelope envelope = make(&memory, samples, 2001, 1000.0, EMG_FORM_RAW);

        assert_close(envelope.series.samples[20], k == 1 ? 1.0 : sqrt(266.2 / 201.0), 0.01);
        assert_close(envelope.spike_share, k == 1 ? 4.0 / 41.0 : 0.0, 1e-12);
        test_memory_close(&memory);
    }
}

static void test_words(void **state)
{
    const struct envelope said = {.form = EMG_FORM_RAW};

    (void)state;
    assert_string_equal(envelope_word(EMG_FORM_RAW), "moving_rms_of_raw");
    assert_string_equal(envelope_word(EMG_FORM_RECTIFIED), "moving_mean_of_rectified");
    assert_string_equal(envelope_word(EMG_FORM_ENVELOPE), "as_recorded");
    assert_string_equal(envelope_method(&said), "emg_form as entered");
    for (int form = EMG_FORM_RAW; form <= EMG_FORM_ENVELOPE; form++) {
        const struct envelope found = {.form = (enum emg_form)form, .decided = true};

        assert_non_null(strstr(envelope_method(&found), "not entered"));
    }
}

static void test_few_samples(void **state)
{
    static const double nothing[] = {(double)NAN, (double)NAN};
    static const double one[] = {7.0};

    (void)state;
    for (int form = EMG_FORM_UNKNOWN; form <= EMG_FORM_ENVELOPE; form++) {
        struct test_memory memory;

        assert_int_equal(make(&memory, one, 0, 1000.0, (enum emg_form)form).series.count, 0);
        test_memory_close(&memory);
        assert_int_equal(make(&memory, nothing, 2, 1000.0, (enum emg_form)form).series.count, 0);
        test_memory_close(&memory);
        assert_true(make(&memory, one, 1, 10.0, (enum emg_form)form).series.count == 1);
        test_memory_close(&memory);
    }
}

/* A level needs half of the samples that its span should hold, outside the series, too. */
static void test_robust_span(void **state)
{
    double samples[201];
    double values[201];
    const struct level_scratch scratch = {values, 201};
    const struct series series = {10.0, 0.0, 201, samples};

    (void)state;
    for (size_t i = 0; i < 201; i++) {
        samples[i] = i < 50 ? 4.0 : (double)NAN;
    }
    assert_int_equal(robust_span(&series, (struct span){0.0, 10.0}, scratch).count, 50);
    assert_close(robust_span(&series, (struct span){0.0, 10.0}, scratch).median, 4.0, 0.0);
    samples[7] = (double)NAN;
    assert_int_equal(robust_span(&series, (struct span){0.0, 10.0}, scratch).count, 0);
    assert_true(isnan(robust_span(&series, (struct span){0.0, 10.0}, scratch).median));
    assert_int_equal(robust_span(&series, (struct span){-6.0, 4.0}, scratch).count, 0);
    assert_int_equal(robust_span(&series, (struct span){0.0, 4.0}, scratch).count, 40);
}

static void test_robust(void **state)
{
    double values[] = {3.0, 1000.0, 5.0, 4.0, 7.0};
    const struct robust level = robust_of(values, 5);

    (void)state;
    assert_close(level.median, 5.0, 0.0);
    assert_close(level.sd, 1.4826 * 2.0, 1e-12);
    assert_true(isnan(robust_of(values, 0).median));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_windows),
        cmocka_unit_test(test_rates),
        cmocka_unit_test(test_offset),
        cmocka_unit_test(test_gaps),
        cmocka_unit_test(test_negative_samples_mean_raw),
        cmocka_unit_test(test_quick_low_samples_mean_rectified),
        cmocka_unit_test(test_spiky_windows),
        cmocka_unit_test(test_words),
        cmocka_unit_test(test_few_samples),
        cmocka_unit_test(test_robust_span),
        cmocka_unit_test(test_robust),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
