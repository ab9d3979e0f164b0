/* Leaks during filling with known truth: found on the meter among coughs and strains that are dry,
 * with their cause, volume and pressure, over rates, noise and kinds of meter. */
#include "support/assert_close.h"
#include "support/error_table.h"
#include "support/leak_case.h"

#include <math.h>
#include <string.h>

static struct error_table table;

/* Wet and dry coughs and strains, a contraction that leaks, a dribble. `step` moves it all. */
static struct leak_case crowded(double rate_hz, double noise, enum leak_meter meter, int step)
{
    struct leak_case how = leak_case_quiet();
    const double shift_s = 0.37 * step;

    how.rate_hz = rate_hz;
    how.noise = noise;
    how.meter = meter;
    how.meter_step_ml = meter == LEAK_METER_VOLUME && step % 2 == 1 ? 0.5 : 0.0;
    for (int i = 0; i < 4; i++) {
        const double at_s = 60.0 + 45.0 * i + shift_s;
        const bool wet = i % 2 == 1;

        leak_case_stress(&how, at_s, 60.0 + 10.0 * i, 0.0);
        if (wet) {
            leak_case_loss(&how, at_s - 0.1, 2.5 + i, 0.6);
        }
    }
    leak_case_stress(&how, 240.0 + shift_s, 70.0, 8.0);
    leak_case_loss(&how, 244.0 + shift_s, 4.0, 1.5);
    leak_case_stress(&how, 280.0 + shift_s, 50.0, 8.0);
    leak_case_contraction(&how, 340.0 + shift_s, 30.0, 40.0);
    leak_case_loss(&how, 357.0 + shift_s, 8.0, 5.0);
    leak_case_loss(&how, 440.0 + shift_s, 6.0, 15.0);
    return how;
}

static const char *const causes[] = {"cough", "cough", "valsalva", "detrusor", "unclear"};

static void add_case(const struct leak_case *how, const char *name)
{
    struct synth synth;
    double truth[LEAK_CASE_EVENTS];
    double found[LEAK_CASE_EVENTS];

    leak_case_open(&synth, how);
    const struct filling_measures *filling = &synth_run(&synth)->filling;
    const struct leak *leaks = filling->leaks.items;

    for (size_t i = 0; i < how->loss_count; i++) {
        truth[i] = how->losses[i].at_s + how->delay_s;
    }
    for (size_t i = 0; i < filling->leaks.count && i < LEAK_CASE_EVENTS; i++) {
        found[i] = leaks[i].at_s;
    }
    if (filling->leaks.count != how->loss_count) {
        print_message("%s %.0f Hz noise %.1f step %.1f:", name, how->rate_hz, how->noise,
                      how->meter_step_ml);
        for (size_t i = 0; i < filling->leaks.count; i++) {
            print_message(" %.1f(%.1f %s)", leaks[i].at_s, leaks[i].lost_ml, leaks[i].cause);
        }
        print_message("\n");
    }
    error_table_match(&table, name, truth, how->loss_count, found, filling->leaks.count, 4.0);
    for (size_t i = 0; filling->leaks.count == how->loss_count && i < how->loss_count; i++) {
        const bool right = strcmp(leaks[i].cause, causes[i]) == 0;

        error_table_detect(
            &table, "cause",
            (struct detection_row){
                .truth = 1, .found = right ? 1 : 0, .claims = 1, .right = right ? 1 : 0});
        error_table_add(&table, "volume lost (mL)", leaks[i].lost_ml - how->losses[i].ml);
        error_table_add(&table, i < 4 ? "onset of a spurt (s)" : "onset of a dribble (s)",
                        leaks[i].at_s - truth[i]);
        error_table_add(&table, "volume in the bladder (mL)",
                        leaks[i].volume_ml - 50.0 / 60.0 * (truth[i] - 30.0));
    }
    /* The strain leaks at the lowest pressure of the three that count. */
    error_table_add(&table, "abdominal leak point pressure (cmH2O)",
                    filling->abdominal_leak_point_pressure.value -
                        leak_case_pves(how, how->losses[2].at_s));
    synth_close(&synth);
}

static void test_sweep(void **state)
{
    static const double rates_hz[] = {10.0, 20.0, 50.0, 100.0};
    static const double noises[] = {0.0, 0.3, 0.6};

    (void)state;
    error_table_open(&table, "Leaks during filling");
    for (size_t i = 0; i < sizeof rates_hz / sizeof rates_hz[0]; i++) {
        for (size_t j = 0; j < sizeof noises / sizeof noises[0]; j++) {
            for (int step = 0; step < 4; step++) {
                struct leak_case how = crowded(rates_hz[i], noises[j], LEAK_METER_VOLUME, step);

                add_case(&how, "leaks, meter of volume");
                how.meter = LEAK_METER_FLOW;
                add_case(&how, "leaks, meter of flow");
            }
        }
    }
    error_table_print(&table);
    assert_true(error_table_sensitivity(&table, "leaks, meter of volume") >= 0.98);
    assert_true(error_table_precision(&table, "leaks, meter of volume") >= 0.98);
    assert_true(error_table_sensitivity(&table, "leaks, meter of flow") >= 0.98);
    assert_true(error_table_precision(&table, "leaks, meter of flow") >= 0.98);
    assert_true(error_table_sensitivity(&table, "cause") >= 0.98);
    assert_true(error_table_p95(&table, "volume lost (mL)") <= 0.5);
    assert_true(error_table_p95(&table, "onset of a spurt (s)") <= 0.8);
    assert_true(error_table_p95(&table, "onset of a dribble (s)") <= 3.0);
    assert_true(error_table_p95(&table, "abdominal leak point pressure (cmH2O)") <= 4.0);
    error_table_close(&table);
}

/* No urine, but everything that may look like it: knocks, noise, a meter that creeps. */
static void test_dry(void **state)
{
    (void)state;
    for (int step = 0; step < 12; step++) {
        struct leak_case how = crowded(step % 2 == 0 ? 20.0 : 50.0, 0.6,
                                       step % 3 == 0 ? LEAK_METER_FLOW : LEAK_METER_VOLUME, step);
        struct synth synth;

        how.loss_count = 0;
        leak_case_open(&synth, &how);
        double *meter =
            synth_writable(&synth, how.meter == LEAK_METER_FLOW ? SIGNAL_FLOW : SIGNAL_VVOID);
        const size_t knock = (size_t)(330.0 * how.rate_hz);

        for (size_t i = 0; i < (size_t)(0.2 * how.rate_hz); i++) {
            meter[knock + i] += 25.0;
        }
        for (size_t i = 0; how.meter == LEAK_METER_VOLUME && i < synth.channels[3].sample_count;
             i++) {
            meter[i] += 2.0 * (double)i / (double)synth.channels[3].sample_count;
        }
        const struct filling_measures *filling = &synth_run(&synth)->filling;

        for (size_t i = 0; i < filling->leaks.count; i++) {
            const struct leak *leak = (const struct leak *)filling->leaks.items + i;

            print_message("step %d: %.1f s, %.2f mL, %s\n", step, leak->at_s, leak->lost_ml,
                          leak->cause);
        }
        assert_int_equal(filling->leaks.state, MEASURE_PRESENT);
        assert_int_equal(filling->leaks.count, 0);
        assert_int_equal(filling->abdominal_leak_point_pressure.state, MEASURE_ABSENT);
        assert_non_null(
            strstr(filling->abdominal_leak_point_pressure.reason, "no leak at the coughs"));
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_sweep), cmocka_unit_test(test_dry)};

    return cmocka_run_group_tests_name("truth: leaks", tests, NULL, NULL);
}
