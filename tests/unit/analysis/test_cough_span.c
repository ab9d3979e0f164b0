/* How long a cough is seen to last. */
#include "support/assert_close.h"
#include "support/flip.h"
#include "support/synth.h"

#include "analysis/study.h"

static const double level = 20.0;

/* A cough of 50 cmH2O in both lines at 100 s, 10 Hz, with a share of it at the samples beside it.
 * Returns how long it is. */
static double length_with(double share)
{
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 200.0};
    struct analysis_choices choices;
    struct analysis_result result = {.has_filling = false};
    struct study study;
    struct synth synth;
    double length_s = 0.0;

    synth_open(&synth, RECORDING_CYSTOMETRY);
    for (size_t line = 0; line < 2; line++) {
        double *samples = synth_channel(&synth, line == 0 ? SIGNAL_PVES : SIGNAL_PABD, sampling,
                                        constant_value, &level);

        samples[1000] += 50.0;
        samples[999] += share * 50.0;
        samples[1001] += share * 50.0;
    }
    choices_standard(&choices);
    assert_true(study_open(&study, &synth.recording, &choices, &synth.memory.memory, &result));
    assert_true(pressure_events_find(&study));
    assert_int_equal(study.pressure_events.count, 1);
    assert_int_equal(study.pressure_events.items[0].kind, PRESSURE_EVENT_COUGH);
    length_s =
        study.pressure_events.items[0].span.to_s - study.pressure_events.items[0].span.from_s;
    synth_close(&synth);
    return length_s;
}

static bool is_longer(double share)
{
    const double length_s = length_with(share);

    assert_close(length_s, length_s > 0.1 ? 0.2 : 0.0, 1e-6);
    return length_s > 0.1;
}

/* As long as it is above a tenth of its height. */
static void test_foot(void **state)
{
    (void)state;
    assert_close(flip_between(is_longer, 0.05, 0.15), 0.1, 0.0005);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_foot),
    };

    return cmocka_run_group_tests_name("cough: span", tests, NULL, NULL);
}
