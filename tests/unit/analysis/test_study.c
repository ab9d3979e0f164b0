/* What becomes of channels, samples and markers before anything is computed from them: each limit,
 * on both sides of it. */
#include "support/assert_close.h"
#include "support/synth.h"

#include "analysis/study.h"

#include <math.h>
#include <string.h>

enum { SAMPLES = 4096 }; /* enough to reduce the fastest to some */

/* Opens a study of one pves channel of 20 cmH2O, with one marker. */
struct given {
    double rate_hz;
    double start_s;
    double one_sample; /* in place of 20 */
    double marker_s;
};

static const struct given ordinary = {10.0, 0.0, 20.0, 1.0};

struct opened {
    double samples[SAMPLES];
    struct channel channel;
    struct event marker;
    struct recording recording;
    struct test_memory memory;
    struct analysis_choices choices;
    struct analysis_result result;
    struct study study;
};

static void open_study(struct opened *opened, struct given given)
{
    for (size_t i = 0; i < SAMPLES; i++) {
        opened->samples[i] = i == SAMPLES / 2 ? given.one_sample : 20.0;
    }
    opened->channel =
        (struct channel){SIGNAL_PVES, given.rate_hz, given.start_s, SAMPLES, opened->samples};
    opened->marker = (struct event){.at_s = given.marker_s, .code = EVENT_URGENCY};
    opened->recording = (struct recording){.type = RECORDING_CYSTOMETRY,
                                           .channel_count = 1,
                                           .channels = &opened->channel,
                                           .event_count = 1,
                                           .events = &opened->marker};
    test_memory_open(&opened->memory, SIZE_MAX);
    choices_standard(&opened->choices);
    opened->result = (struct analysis_result){.has_filling = false};
    assert_true(study_open(&opened->study, &opened->recording, &opened->choices,
                           &opened->memory.memory, &opened->result));
}

static bool is_told(const struct opened *opened, const char *code)
{
    return synth_quality(&opened->result, code) != NULL;
}

static void test_usable_axis(void **state)
{
    static const struct {
        struct given given;
        bool usable;
    } rows[] = {{{0.01, 0.0, 20.0, 1.0}, true},
                {{0.0099, 0.0, 20.0, 1.0}, false},
                {{100000.0, 0.0, 20.0, 1.0}, true},
                {{100100.0, 0.0, 20.0, 1.0}, false},
                {{10.0, 1e6, 20.0, 1.0}, true},
                {{10.0, 1.001e6, 20.0, 1.0}, false},
                {{10.0, -1e6, 20.0, 1.0}, true},
                {{10.0, -1.001e6, 20.0, 1.0}, false},
                {{(double)INFINITY, 0.0, 20.0, 1.0}, false},
                {{10.0, (double)NAN, 20.0, 1.0}, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct opened opened;

        open_study(&opened, rows[i].given);
        print_message("row %zu\n", i);
        assert_int_equal(opened.study.pves.count > 0, rows[i].usable);
        assert_int_equal(is_told(&opened, "unusable_axis"), !rows[i].usable);
        test_memory_close(&opened.memory);
    }
}

/* Up to 50 Hz as it is, faster ones by means of as few samples as bring it there. */
static void test_analysis_rate(void **state)
{
    static const double rows[][2] = {{49.5, 49.5},  {50.0, 50.0},  {50.5, 25.25},
                                     {100.0, 50.0}, {99.5, 49.75}, {100.5, 33.5}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct given given = ordinary;
        struct opened opened;

        given.rate_hz = rows[i][0];
        open_study(&opened, given);
        assert_close(opened.study.pves.rate_hz, rows[i][1], 1e-9);
        assert_close(opened.study.pves.samples[0], 20.0, 1e-12);
        test_memory_close(&opened.memory);
    }
}

/* A million of any unit is a measurement, more is none. */
static void test_sample_limit(void **state)
{
    static const struct {
        double sample;
        bool kept;
    } rows[] = {
        {1e6, true}, {-1e6, true}, {1.001e6, false}, {-1.001e6, false}, {(double)INFINITY, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct given given = ordinary;
        struct opened opened;

        given.one_sample = rows[i].sample;
        open_study(&opened, given);
        assert_int_equal(isnan(opened.study.pves.samples[SAMPLES / 2]), !rows[i].kept);
        assert_int_equal(is_told(&opened, "absurd_samples"), !rows[i].kept);
        assert_close(opened.study.pves.samples[0], 20.0, 0.0);
        test_memory_close(&opened.memory);
    }
}

static void test_far_markers(void **state)
{
    static const struct {
        double at_s;
        size_t kept;
    } rows[] = {{1e8, 1}, {-1e8, 1}, {1.001e8, 0}, {-1.001e8, 0}, {(double)NAN, 0}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct given given = ordinary;
        struct opened opened;

        given.marker_s = rows[i].at_s;
        open_study(&opened, given);
        assert_int_equal(opened.study.timeline.count, rows[i].kept);
        test_memory_close(&opened.memory);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_usable_axis),
        cmocka_unit_test(test_analysis_rate),
        cmocka_unit_test(test_sample_limit),
        cmocka_unit_test(test_far_markers),
    };

    return cmocka_run_group_tests_name("study", tests, NULL, NULL);
}
