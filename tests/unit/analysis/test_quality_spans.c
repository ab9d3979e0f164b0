/* Where what is told about a pressure line begins and ends. */
#include "support/assert_close.h"
#include "support/line_pair.h"

#include <math.h>

static const double pi = 3.14159265358979323846;

/* Both lines move by a fine wave, pabd from 165 to 247 s by a fiftieth of it. */
static void open_dead(struct synth *synth)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    how.cough_count = 0;
    line_pair_open(synth, &how);
    double *const lines[] = {synth_writable(synth, SIGNAL_PVES),
                             synth_writable(synth, SIGNAL_PABD)};

    for (size_t i = 0; i < synth->channels[0].sample_count; i++) {
        const double at_s = (double)i / 50.0;
        const double wave = 0.5 * sin(2.0 * pi * at_s);

        lines[0][i] += wave;
        lines[1][i] += at_s > 165.0 && at_s < 247.0 ? 0.02 * wave : wave;
    }
}

/* Windows of 20 s, one each 10 s from the start of the recording: of those that are dead for more
 * than half of their length, the first is the 17th and the last the 24th. */
static void test_dead_windows(void **state)
{
    struct synth synth;

    (void)state;
    open_dead(&synth);
    const struct quality_finding *finding =
        line_pair_finding(synth_run(&synth), "dead_line", SIGNAL_PABD);

    assert_non_null(finding);
    assert_close(finding->from_s, 16.0 * 10.0, 0.1);
    assert_close(finding->to_s, 23.0 * 10.0 + 20.0, 0.1);
    synth_close(&synth);
}

/* A step takes half a second, and the level after it 2 s. */
static void test_step(void **state)
{
    struct line_pair how = line_pair_sound();
    struct synth synth;

    (void)state;
    how.noise = 0.0;
    how.cough_count = 0;
    line_pair_to(&how.pves, 230.0, 0.02, 55.0);
    line_pair_open(&synth, &how);
    const struct quality_finding *finding =
        line_pair_finding(synth_run(&synth), "pressure_step", SIGNAL_PVES);

    assert_non_null(finding);
    assert_close(finding->from_s, 230.0, 0.5);
    assert_close(finding->to_s - finding->from_s, 0.5 + 2.0, 0.005);
    synth_close(&synth);
}

/* pabd is 100 cmH2O higher for some samples. */
static bool is_flush(double rate_hz, size_t samples)
{
    struct line_pair how = line_pair_sound();
    struct synth synth;

    how.rate_hz = rate_hz;
    how.noise = 0.0;
    how.cough_count = 0;
    line_pair_open(&synth, &how);
    double *pabd = synth_writable(&synth, SIGNAL_PABD);

    for (size_t i = 2200; i < 2200 + samples; i++) {
        pabd[i] += 100.0;
    }
    const bool told = line_pair_finding(synth_run(&synth), "flush", SIGNAL_PABD) != NULL;

    synth_close(&synth);
    return told;
}

/* A flush lasts at least 2 s from the last sample before it to the first after it: 20 steps at 10
 * Hz, and at 9.6 Hz not yet 19 of them, which are 1.98 s. */
static void test_flush(void **state)
{
    (void)state;
    assert_true(is_flush(10.0, 19));
    assert_false(is_flush(10.0, 18));
    assert_true(is_flush(9.6, 19));
    assert_false(is_flush(9.6, 18));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_dead_windows),
        cmocka_unit_test(test_step),
        cmocka_unit_test(test_flush),
    };

    return cmocka_run_group_tests_name("quality: spans", tests, NULL, NULL);
}
