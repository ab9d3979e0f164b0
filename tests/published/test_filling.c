/* Filling cystometry. Definitions: Abrams P et al. (ICS). Neurourol Urodyn 2002;21:167-178. */
#include "support/assert_close.h"
#include "support/synth.h"

#include <string.h>

struct filling_case {
    double pdet_start;
    double pdet_end;
    double volume_ml;
    double pabd;
    enum patient_position position;
};

/* Filling from 20 s to 320 s, permission at 340 s, pdet rising in a straight line. */
static const struct analysis_result *run_filling(struct synth *synth, struct filling_case how)
{
    const double pdet_points[][2] = {
        {20.0, how.pdet_start}, {320.0, how.pdet_end}, {400.0, how.pdet_end}};
    const double pves_points[][2] = {{20.0, how.pdet_start + how.pabd},
                                     {320.0, how.pdet_end + how.pabd},
                                     {400.0, how.pdet_end + how.pabd}};
    const double vinf_points[][2] = {{20.0, 0.0}, {320.0, how.volume_ml}, {400.0, how.volume_ml}};
    const struct polyline pdet = {3, pdet_points};
    const struct polyline pves = {3, pves_points};
    const struct polyline vinf = {3, vinf_points};
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 350.0};

    synth_open(synth, RECORDING_CYSTOMETRY);
    synth->recording.conditions.position = how.position;
    synth_channel(synth, SIGNAL_PDET, sampling, polyline_value, &pdet);
    synth_channel(synth, SIGNAL_PVES, sampling, polyline_value, &pves);
    synth_channel(synth, SIGNAL_PABD, sampling, constant_value, &how.pabd);
    synth_channel(synth, SIGNAL_VINF, sampling, polyline_value, &vinf);
    synth_event(synth, EVENT_FILLING_START, 20.0);
    synth_event(synth, EVENT_FILLING_STOP, 320.0);
    synth_event(synth, EVENT_PERMISSION_TO_VOID, 340.0);
    return synth_run(synth);
}

/* Compliance between the two ICS points. 35.0, 11.905 and 50.0 are worked by hand; 165.0 and 6.452
 * are a textbook chapter's own examples (there printed as 165 and 6.5). */
static void test_compliance(void **state)
{
    static const struct {
        double pdet[2];
        double volume_ml;
        double compliance;
        const char *finding;
    } rows[] = {{{2.0, 14.0}, 420.0, 35.0, NULL},
                {{1.0, 22.0}, 250.0, 11.905, "low_compliance"},
                {{0.0, 8.0}, 400.0, 50.0, NULL},
                {{2.0, 5.0}, 495.0, 165.0, NULL},
                {{2.0, 64.0}, 400.0, 6.452, "very_low_compliance"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;
        const struct filling_case how = {rows[i].pdet[0], rows[i].pdet[1], rows[i].volume_ml, 20.0,
                                         POSITION_SITTING};
        const struct analysis_result *result = run_filling(&synth, how);
        const struct filling_measures *filling = &result->filling;

        assert_close(filling->compliance.value, rows[i].compliance, 1e-3 * rows[i].compliance);
        assert_close(filling->compliance_volume_change.value, rows[i].volume_ml, 1e-6);
        assert_close(filling->compliance_pressure_change.value, rows[i].pdet[1] - rows[i].pdet[0],
                     1e-6);
        assert_close(filling->filling_rate.value, rows[i].volume_ml / 5.0, 1e-6);
        assert_int_equal(result->finding_count, rows[i].finding != NULL);
        if (rows[i].finding != NULL) {
            assert_string_equal(result->findings[0].code, rows[i].finding);
            assert_string_equal(result->findings[0].basis[0], "filling.compliance");
        }
        synth_close(&synth);
    }
}

/* No rise, a fall, or a rise below 1 cmH2O: no number, never infinite or negative (a choice). */
static void test_no_measurable_rise(void **state)
{
    static const double ends[] = {3.0, 1.0, 3.9};

    (void)state;
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        struct synth synth;
        const struct filling_case how = {3.0, ends[i], 400.0, 20.0, POSITION_SITTING};
        const struct filling_measures *filling = &run_filling(&synth, how)->filling;

        assert_int_equal(filling->compliance.state, MEASURE_ABSENT);
        assert_non_null(strstr(filling->compliance.reason, "no measurable rise"));
        assert_close(filling->compliance_volume_change.value, 400.0, 1e-6);
        assert_close(filling->compliance_pressure_change.value, ends[i] - 3.0, 1e-6);
        synth_close(&synth);
    }
}

/* Resting pressures by position: Good urodynamic practices, Neurourol Urodyn 2002;21:261-274 (from
 * memory). Worked cases: sitting, pves 33 and pabd 31: all pass. Supine, pves 4 and pabd 12: two
 * flags (pves, pdet). */
static void test_resting_pressures(void **state)
{
    static const struct {
        enum patient_position position;
        double pves;
        double pabd;
        bool pves_flag;
        bool pabd_flag;
        bool pdet_flag;
    } rows[] = {{POSITION_SITTING, 33.0, 31.0, false, false, false},
                {POSITION_SUPINE, 4.0, 12.0, true, false, true},
                {POSITION_SUPINE, 20.0, 20.1, false, true, false},
                {POSITION_SITTING, 40.1, 40.0, true, false, false},
                {POSITION_STANDING, 30.0, 50.1, false, true, true},
                {POSITION_STANDING, 42.0, 31.0, false, false, true},
                {POSITION_UNKNOWN, 50.0, 48.0, false, false, false},
                {POSITION_UNKNOWN, 4.0, 4.0, true, true, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;
        const double rest = rows[i].pves - rows[i].pabd;
        const struct filling_case how = {rest, rest + 10.0, 400.0, rows[i].pabd, rows[i].position};
        const struct analysis_result *result = run_filling(&synth, how);
        bool flags[SIGNAL_COUNT] = {false};

        for (size_t k = 0; k < result->quality_count; k++) {
            if (strcmp(result->quality[k].code, "resting_pressure") == 0) {
                flags[result->quality[k].signal] = true;
            }
        }
        print_message("row %zu\n", i);
        assert_int_equal(flags[SIGNAL_PVES], rows[i].pves_flag);
        assert_int_equal(flags[SIGNAL_PABD], rows[i].pabd_flag);
        assert_int_equal(flags[SIGNAL_PDET], rows[i].pdet_flag);
        synth_close(&synth);
    }
}

/* Physiological filling: up to a quarter of the body weight in kg as mL/min (ICS 2002, from
 * memory): 17.5 mL/min at 70 kg. */
static void test_filling_rate(void **state)
{
    static const double volumes_ml[] = {85.0, 90.0}; /* in 5 minutes: 17 and 18 mL/min */

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct synth synth;
        const struct filling_case how = {3.0, 13.0, volumes_ml[i], 20.0, POSITION_SITTING};

        (void)run_filling(&synth, how);
        const struct measure *rate = &synth_run(&synth)->filling.filling_rate;

        assert_null(strstr(rate->method, "physiological"));
        synth.recording.weight_kg = (struct optional_number){true, 70.0};
        rate = &synth_run(&synth)->filling.filling_rate;
        assert_close(rate->value, volumes_ml[i] / 5.0, 1e-6);
        assert_int_equal(strstr(rate->method, "faster than physiological") != NULL, i == 1);
        assert_int_equal(strstr(rate->method, "; physiological") != NULL, i == 0);
        synth_close(&synth);
    }
}

/* First sensation <= first desire <= strong desire <= capacity. */
static void test_order_of_sensations(void **state)
{
    struct synth synth;
    const struct filling_case how = {3.0, 13.0, 400.0, 20.0, POSITION_SITTING};

    (void)state;
    (void)run_filling(&synth, how);
    synth_event(&synth, EVENT_FIRST_SENSATION, 140.0);
    synth_event(&synth, EVENT_FIRST_DESIRE, 200.0);
    synth_event(&synth, EVENT_STRONG_DESIRE, 260.0);
    const struct analysis_result *result = synth_run(&synth);

    assert_close(result->filling.first_sensation_volume.value, 160.0, 1e-6);
    assert_close(result->filling.first_desire_volume.value, 240.0, 1e-6);
    assert_close(result->filling.strong_desire_volume.value, 320.0, 1e-6);
    assert_null(synth_quality(result, "sensation_order"));
    synth.events[synth.recording.event_count - 1].at_s = 190.0;
    assert_non_null(synth_quality(synth_run(&synth), "sensation_order"));
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_compliance),          cmocka_unit_test(test_no_measurable_rise),
        cmocka_unit_test(test_resting_pressures),   cmocka_unit_test(test_filling_rate),
        cmocka_unit_test(test_order_of_sensations),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
