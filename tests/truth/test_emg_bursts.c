/* EMG of synthetic studies against what they were made from: levels and lag, and bursts during
 * voiding, swept over rate, form, amplitude, mains hum and spikes. */
#include "support/assert_close.h"
#include "support/emg_case.h"
#include "support/error_table.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { SWEEP_SEEDS = 3 };

/* How each study is recorded. */
static const struct {
    double rate_hz;
    enum emg_form form;
    double hum_uv;   /* over the resting 6 uV */
    double spike_uv; /* over it, too */
    bool unsaid;
} ways[] = {
    {2000.0, EMG_FORM_RAW, 0.0, 0.0, false},    {1000.0, EMG_FORM_RAW, 0.0, 0.0, true},
    {2000.0, EMG_FORM_RAW, 3.0, 0.0, false},    {1000.0, EMG_FORM_RAW, 0.0, 150.0, false},
    {2000.0, EMG_FORM_RAW, 3.0, 150.0, true},   {1000.0, EMG_FORM_RECTIFIED, 0.0, 0.0, true},
    {50.0, EMG_FORM_ENVELOPE, 0.0, 0.0, false}, {10.0, EMG_FORM_ENVELOPE, 0.0, 0.0, true}};

enum { WAYS = sizeof ways / sizeof ways[0] };

static struct emg_case case_of(size_t way, unsigned seed)
{
    struct emg_case how = emg_case_usual(ways[way].rate_hz, ways[way].form);

    how.hum_uv = ways[way].hum_uv;
    how.spike_uv = ways[way].spike_uv;
    how.unsaid = ways[way].unsaid;
    how.seed = seed;
    return how;
}

/* Bursts of 0.8 to 3 s, 1.2 to 3 s apart, 2 to 6 times the rest, within the detrusor contraction.
 */
static void add_bursts(struct emg_case *how, unsigned *seed)
{
    const struct emg_case_times times = emg_case_times();
    double at_s = times.contraction_start + 1.0;

    how->burst_uv = how->rest_uv * (2.5 + 3.5 * emg_case_even(seed));
    while (how->burst_count < EMG_CASE_BURSTS_MAX) {
        const double length_s = 0.8 + 2.2 * emg_case_even(seed);

        if (at_s + length_s > times.flow_end - times.delay - 1.0) {
            break;
        }
        how->bursts[how->burst_count][0] = at_s;
        how->bursts[how->burst_count][1] = length_s;
        how->burst_count++;
        at_s += length_s + 1.2 + 1.8 * emg_case_even(seed);
    }
}

static const char *name_of(char *name, const char *what, size_t way)
{
    static const char *const forms[] = {"", "raw", "rectified", "envelope"};

    (void)snprintf(name, ERROR_TABLE_NAME, "%s, %s %g Hz%s%s", what, forms[ways[way].form],
                   ways[way].rate_hz, ways[way].hum_uv > 0.0 ? ", hum" : "",
                   ways[way].spike_uv > 0.0 ? ", spikes" : "");
    return name;
}

static void compare_bursts(struct error_table *table, size_t way, const struct emg_case *how,
                           const struct emg_measures *emg)
{
    const struct emg_burst *found = emg->bursts.items;
    struct detection_row counts = {.truth = how->burst_count, .claims = emg->bursts.count};
    char name[ERROR_TABLE_NAME];

    for (size_t i = 0; i < how->burst_count; i++) {
        const double start_s = how->bursts[i][0];
        const double end_s = start_s + how->bursts[i][1];

        for (size_t k = 0; k < emg->bursts.count; k++) {
            if (fabs(found[k].start_s - start_s) < 0.4 && fabs(found[k].end_s - end_s) < 0.4) {
                counts.found++;
                counts.right++;
                error_table_add(table, "burst start, s", found[k].start_s - start_s);
                error_table_add(table, "burst end, s", found[k].end_s - end_s);
                break;
            }
        }
    }
    error_table_detect(table, name_of(name, "bursts", way), counts);
    error_table_detect(table, "bursts, all", counts);
}

static void test_bursts(void **state)
{
    static struct error_table table;

    (void)state;
    error_table_open(&table, "EMG bursts during voiding");
    for (size_t way = 0; way < WAYS; way++) {
        unsigned seed = 100 + (unsigned)way;

        for (unsigned round = 0; round < SWEEP_SEEDS; round++) {
            struct emg_case how = case_of(way, 1000 * round + (unsigned)way + 1);
            struct synth synth;

            add_bursts(&how, &seed);
            assert_true(how.burst_count >= 4);
            emg_case_open(&synth, &how);
            compare_bursts(&table, way, &how, &synth_run(&synth)->emg);
            synth_close(&synth);
        }
    }
    error_table_print(&table);
    assert_true(error_table_sensitivity(&table, "bursts, all") >= 0.98);
    assert_true(error_table_precision(&table, "bursts, all") >= 0.98);
    assert_true(error_table_p95(&table, "burst start, s") < 0.3);
    assert_true(error_table_p95(&table, "burst end, s") < 0.3);
    error_table_close(&table);
}

/* Without bursts none is claimed: quiet voidings only. */
static void test_no_bursts(void **state)
{
    size_t claims = 0;

    (void)state;
    for (size_t way = 0; way < WAYS; way++) {
        for (unsigned round = 0; round < SWEEP_SEEDS; round++) {
            const struct emg_case how = case_of(way, 7000 * round + (unsigned)way + 1);
            struct synth synth;

            emg_case_open(&synth, &how);
            claims += synth_run(&synth)->emg.bursts.count;
            synth_close(&synth);
        }
    }
    print_message("bursts claimed in %zu quiet voidings: %zu\n", (size_t)WAYS * SWEEP_SEEDS,
                  claims);
    assert_true((double)claims <= 0.02 * WAYS * SWEEP_SEEDS);
}

/* What the envelope of a level is, as it is recorded. */
static double recorded(const struct emg_case *how, double level)
{
    if (how->form == EMG_FORM_RECTIFIED) {
        return level * sqrt(2.0 / 3.14159265358979323846);
    }
    return how->form == EMG_FORM_RAW ? sqrt(level * level + 0.5 * how->hum_uv * how->hum_uv)
                                     : level;
}

static void test_levels(void **state)
{
    const struct emg_case_times times = emg_case_times();
    static struct error_table table;

    (void)state;
    error_table_open(&table, "EMG levels");
    for (size_t way = 0; way < WAYS; way++) {
        for (unsigned round = 0; round < SWEEP_SEEDS; round++) {
            const struct emg_case how = case_of(way, 300 * round + (unsigned)way + 1);
            struct synth synth;

            emg_case_open(&synth, &how);
            const struct emg_measures *emg = &synth_run(&synth)->emg;

            error_table_add(&table, "rest, %",
                            100.0 * (emg->resting_mean.value / recorded(&how, 6.0) - 1.0));
            error_table_add(&table, "voiding, %",
                            100.0 * (emg->voiding_mean.value / recorded(&how, 5.0) - 1.0));
            error_table_add(&table, "voiding over filling",
                            emg->voiding_to_filling.value -
                                recorded(&how, 5.0) / recorded(&how, 18.0));
            error_table_add(&table, "lag, s",
                            emg->relaxation_lag.value -
                                (times.flow_start - times.delay - times.relaxed));
            synth_close(&synth);
        }
    }
    error_table_print(&table);
    assert_int_equal(error_table_absent(&table, "lag, s"), 0);
    assert_true(error_table_p95(&table, "rest, %") < 5.0);
    assert_true(error_table_p95(&table, "voiding, %") < 5.0);
    assert_true(error_table_p95(&table, "voiding over filling") < 0.03);
    assert_true(error_table_p95(&table, "lag, s") < 0.2);
    error_table_close(&table);
}

/* The three types, each made as it is described, in raw EMG. */
static void test_types(void **state)
{
    static const char *const types[] = {"type_1", "type_2", "type_3"};
    size_t right = 0;

    (void)state;
    for (size_t type = 0; type < 3; type++) {
        for (unsigned seed = 1; seed <= SWEEP_SEEDS; seed++) {
            struct emg_case how = emg_case_usual(1000.0, EMG_FORM_RAW);
            struct synth synth;

            how.seed = seed;
            how.burst_uv = 40.0;
            how.burst_count = type == 1 ? 6 : 1;
            for (size_t i = 0; i < how.burst_count; i++) {
                how.bursts[i][0] = 348.0 + 5.0 * (double)i;
                how.bursts[i][1] = 2.0;
            }
            if (type == 0) {
                /* crescendo: the ground rises from rest to the burst at the peak of pdet */
                how.bursts[0][0] = 364.0;
                how.bursts[0][1] = 1.5;
            } else if (type == 2) {
                how.void_uv = 25.0;
            }
            emg_case_open(&synth, &how);
            const struct analysis_result *result = synth_run(&synth);
            const struct classification *class = synth_class(result, "emg_voiding_pattern");

            assert_non_null(class);
            right += strcmp(class->class, types[type]) == 0 ? 1 : 0;
            assert_non_null(synth_finding(result, "emg_active_during_voiding"));
            synth_close(&synth);
        }
    }
    print_message("patterns recognised: %zu of %d\n", right, 3 * SWEEP_SEEDS);
    assert_int_equal(right, 3 * SWEEP_SEEDS);
}

/* The same EMG at twice the rate, later, or with a gap: the same bursts. */
static void test_invariance(void **state)
{
    double overlap[3];

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        struct emg_case how = emg_case_usual(i == 1 ? 2000.0 : 1000.0, EMG_FORM_RAW);
        unsigned seed = 5;
        struct synth synth;

        add_bursts(&how, &seed);
        emg_case_open(&synth, &how);
        if (i == 2) {
            synth_lose(&synth, SIGNAL_EMG, 100.0, 130.0);
        }
        const struct emg_measures *emg = &synth_run(&synth)->emg;

        assert_int_equal(emg->bursts.count, how.burst_count);
        overlap[i] = emg->burst_overlap.value;
        synth_close(&synth);
    }
    assert_close(overlap[1], overlap[0], 3.0);
    assert_close(overlap[2], overlap[0], 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_bursts),     cmocka_unit_test(test_no_bursts),
        cmocka_unit_test(test_levels),     cmocka_unit_test(test_types),
        cmocka_unit_test(test_invariance),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
