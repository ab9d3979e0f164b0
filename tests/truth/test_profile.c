/* Urethral profiles of known shape: how far pressures and lengths are off, how well pulls and
 * coughs are found, over noise, sampling, speed, and with and without a puller. */
#include "support/assert_close.h"
#include "support/error_table.h"
#include "support/profile_case.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static double known(const struct measure *measure)
{
    return measure->state == MEASURE_PRESENT ? measure->value : (double)NAN;
}

static void add_named(struct error_table *table, const char *what, const char *group, double level,
                      double error)
{
    char name[ERROR_TABLE_NAME];
    const int length = snprintf(name, sizeof name, "%s, %s %g", what, group, level);

    assert_true(length > 0 && (size_t)length < sizeof name);
    error_table_add(table, name, error);
}

/* The pull that lies over a true one, or NULL. */
static const struct profile_measures *pull_at(const struct analysis_result *result, double middle_s)
{
    for (size_t i = 0; i < result->profiles.count; i++) {
        const struct profile_measures *pull = &result->profiles.pulls[i];

        if (pull->start.value < middle_s && pull->end.value > middle_s) {
            return pull;
        }
    }
    return NULL;
}

static void add_pulls(struct error_table *table, const char *name,
                      const struct analysis_result *result, const struct profile_case *how,
                      const struct profile_case_truth *truth)
{
    struct detection_row counts = {.truth = how->pulls, .claims = result->profiles.count};

    for (size_t i = 0; i < how->pulls; i++) {
        const double middle_s = 0.5 * (truth->start_s[i] + truth->end_s[i]);

        counts.found += pull_at(result, middle_s) != NULL ? 1 : 0;
    }
    counts.right = counts.found;
    error_table_detect(table, name, counts);
}

static void add_pull(struct error_table *table, const char *group, double level,
                     const struct profile_measures *pull, const struct profile_case_truth *truth,
                     double highest)
{
    add_named(table, "MUP", group, level, known(&pull->maximum_urethral_pressure) - highest);
    add_named(table, "MUCP", group, level, known(&pull->maximum_closure_pressure) - truth->closure);
    add_named(table, "functional length", group, level,
              known(&pull->functional_length) - truth->length_mm);
    add_named(table, "length to peak", group, level,
              known(&pull->length_to_peak) - truth->to_peak_mm);
    add_named(table, "total length", group, level, known(&pull->total_length) - truth->total_mm);
    add_named(table, "area, %", group, level,
              100.0 * (known(&pull->closure_area) / truth->area_cmh2o_cm - 1.0));
    add_named(table, "half-peak width", group, level,
              known(&pull->half_peak_width) - truth->half_width_mm);
}

static const double noises[] = {0.0, 0.2, 0.5, 1.0};
static const double rates[] = {10.0, 20.0, 50.0, 100.0};
static const double speeds[] = {0.5, 1.0, 2.0, 7.0};
static const size_t pull_counts[] = {1, 3, 6};
static const char *const found_names[] = {"pulls by puller", "pulls by markers", "pulls by shape"};

enum { NOISES = 4, RATES = 4, SPEEDS = 4, FOUNDS = 3 };

static struct profile_case resting_case(unsigned index)
{
    struct profile_case how = profile_case_plain();

    how.noise = noises[index % NOISES];
    how.rate_hz = rates[index / NOISES % RATES];
    how.speed_mm_s = speeds[index / (NOISES * RATES) % SPEEDS];
    how.found = (enum profile_case_pulls)(index / (NOISES * RATES * SPEEDS));
    how.pulls = pull_counts[index % 3];
    how.breathing = 1.0 + (double)(index % 2);
    how.closure_cmh2o = 25.0 + (double)(index % 7) * 10.0;
    how.length_mm = 22.0 + (double)(index % 5) * 6.0;
    how.pves_cmh2o = index % 4 < 2 ? 10.0 : 25.0;
    how.puller_step_mm = index % 3 == 0 ? 0.5 : 0.0;
    how.seed = index;
    return how;
}

static void sweep(struct error_table *by_noise, struct error_table *by_rate)
{
    for (unsigned index = 0; index < NOISES * RATES * SPEEDS * FOUNDS; index++) {
        const struct profile_case how = resting_case(index);
        struct profile_case_truth truth;
        struct synth synth;

        profile_case_open(&synth, &how, &truth);
        const struct analysis_result *result = synth_run(&synth);

        add_pulls(by_noise, found_names[how.found], result, &how, &truth);
        for (size_t i = 0; i < how.pulls; i++) {
            const struct profile_measures *pull =
                pull_at(result, 0.5 * (truth.start_s[i] + truth.end_s[i]));

            if (pull != NULL) {
                const double highest = profile_case_highest(&how, i);

                add_pull(by_noise, "noise", how.noise, pull, &truth, highest);
                add_pull(by_rate, "rate", how.rate_hz, pull, &truth, highest);
                assert_string_equal(pull->kind.word, "rest");
            }
        }
        synth_close(&synth);
    }
}

static double p95(const struct error_table *table, const char *what, const char *group,
                  double level)
{
    char name[ERROR_TABLE_NAME];

    (void)snprintf(name, sizeof name, "%s, %s %g", what, group, level);
    assert_int_equal(error_table_absent(table, name), 0);
    return error_table_p95(table, name);
}

static void assert_within(const struct error_table *table, const char *group, const double *levels)
{
    for (size_t i = 0; i < 4; i++) {
        assert_true(p95(table, "MUP", group, levels[i]) <= 1.0);
        assert_true(p95(table, "MUCP", group, levels[i]) <= 1.0);
        assert_true(p95(table, "functional length", group, levels[i]) <= 1.0);
        assert_true(p95(table, "length to peak", group, levels[i]) <= 1.0);
        assert_true(p95(table, "total length", group, levels[i]) <= 1.0);
        assert_true(p95(table, "half-peak width", group, levels[i]) <= 1.0);
        assert_true(p95(table, "area, %", group, levels[i]) <= 2.0);
    }
}

static void test_resting(void **state)
{
    struct error_table by_noise;
    struct error_table by_rate;

    (void)state;
    error_table_open(&by_noise, "resting profiles, by noise (cmH2O)");
    error_table_open(&by_rate, "resting profiles, by rate (Hz)");
    sweep(&by_noise, &by_rate);
    error_table_print(&by_noise);
    error_table_print(&by_rate);
    assert_within(&by_noise, "noise", noises);
    assert_within(&by_rate, "rate", rates);
    for (size_t i = 0; i < FOUNDS; i++) {
        assert_true(error_table_sensitivity(&by_noise, found_names[i]) >= 0.99);
        assert_true(error_table_precision(&by_noise, found_names[i]) >= 0.99);
    }
    error_table_close(&by_noise);
    error_table_close(&by_rate);
}

static struct profile_case stress_case(unsigned index)
{
    struct profile_case how = profile_case_plain();

    how.noise = noises[1 + index % 3];
    how.rate_hz = index % 2 == 0 ? 50.0 : 100.0;
    how.speed_mm_s = speeds[index / 2 % 3];
    how.found = index % 5 < 3 ? PROFILE_CASE_PULLER : PROFILE_CASE_MARKERS;
    how.pulls = 2;
    how.breathing = 1.5;
    how.coughs_every_s = 5.3;
    how.cough_cmh2o = 20.0 + (double)(index % 6) * 15.0;
    how.transmission = 0.5 + 0.1 * (double)(index % 8);
    how.early_s = index % 2 == 0 ? 0.0 : 0.2;
    how.with_pabd = index % 3 == 0;
    how.seed = 1000 + index;
    return how;
}

static void add_coughs(struct error_table *table, const struct profile_measures *pull,
                       const struct profile_case *how, const struct profile_case_truth *truth,
                       double *found, size_t *found_count)
{
    const struct transmission_ratio *items = pull->transmission_ratios.items;

    for (size_t i = 0; i < pull->transmission_ratios.count; i++) {
        const double position = items[i].position_mm;
        const bool well_within = position > 1.0 && position < truth->length_mm - 1.0;

        found[(*found_count)++] = items[i].at_s;
        if (well_within) {
            error_table_add(table, "pves rise", items[i].pves_rise_cmh2o - how->cough_cmh2o);
            error_table_add(table, "transmission ratio, %",
                            items[i].ratio_percent - 100.0 * how->transmission);
            error_table_add(table, "position, mm",
                            position - ((items[i].at_s - pull->start.value) * how->speed_mm_s -
                                        truth->bladder_mm));
        }
    }
}

static void test_stress(void **state)
{
    struct error_table table;

    (void)state;
    error_table_open(&table, "stress profiles");
    for (unsigned index = 0; index < 48; index++) {
        const struct profile_case how = stress_case(index);
        struct profile_case_truth truth;
        struct synth synth;
        double found[PROFILE_CASE_COUGHS];
        size_t found_count = 0;

        profile_case_open(&synth, &how, &truth);
        const struct analysis_result *result = synth_run(&synth);

        add_pulls(&table, "pulls", result, &how, &truth);
        for (size_t i = 0; i < how.pulls; i++) {
            const struct profile_measures *pull =
                pull_at(result, 0.5 * (truth.start_s[i] + truth.end_s[i]));

            assert_non_null(pull);
            assert_string_equal(pull->kind.word, "stress");
            add_coughs(&table, pull, &how, &truth, found, &found_count);
            error_table_add(&table, "MUCP between coughs",
                            known(&pull->maximum_closure_pressure) - truth.closure);
            error_table_add(&table, "functional length between coughs",
                            known(&pull->functional_length) - truth.length_mm);
            error_table_add(&table, "length to peak between coughs",
                            known(&pull->length_to_peak) - truth.to_peak_mm);
        }
        error_table_match(&table, "coughs", truth.cough_s, truth.cough_count, found, found_count,
                          0.3);
        synth_close(&synth);
    }
    error_table_print(&table);
    assert_true(error_table_sensitivity(&table, "pulls") >= 0.99);
    assert_true(error_table_precision(&table, "pulls") >= 0.99);
    assert_true(error_table_sensitivity(&table, "coughs") >= 0.99);
    assert_true(error_table_precision(&table, "coughs") >= 0.99);
    assert_true(error_table_p95(&table, "pves rise") <= 2.0);
    assert_true(error_table_p95(&table, "transmission ratio, %") <= 5.0);
    assert_true(error_table_p95(&table, "position, mm") <= 1.0);
    assert_true(error_table_p95(&table, "MUCP between coughs") <= 2.0);
    assert_true(error_table_p95(&table, "functional length between coughs") <= 2.0);
    error_table_close(&table);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_resting),
        cmocka_unit_test(test_stress),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
