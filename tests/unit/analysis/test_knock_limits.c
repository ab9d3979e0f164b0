/* Every limit of the search for knocks and for squeezes, just below and just above it, on boxes and
 * ramps of a known number of samples. */
#include "support/assert_close.h"

#include "analysis/flow/squeeze.h"
#include "analysis/signal/artefact.h"

enum { COUNT_MAX = 20000, SCRATCH_MAX = 3 * COUNT_MAX + 2 };

/* A flow on a level, and what is found in it. */
struct trial {
    double rate_hz;
    size_t count;
    double samples[COUNT_MAX];
    size_t found;
    struct knock knocks[ARTEFACT_KNOCKS_MAX];
};

static struct trial trial;
static double scratch[SCRATCH_MAX];

static void begin(double rate_hz, size_t count, double level)
{
    assert_true(count <= COUNT_MAX);
    trial.rate_hz = rate_hz;
    trial.count = count;
    trial.found = 0;
    for (size_t i = 0; i < count; i++) {
        trial.samples[i] = level;
    }
}

static void add_box(size_t first, size_t length, double height)
{
    assert_true(first + length <= trial.count);
    for (size_t i = first; i < first + length; i++) {
        trial.samples[i] += height;
    }
}

static struct series as_series(void)
{
    return (struct series){trial.rate_hz, 0.0, trial.count, trial.samples};
}

static size_t find_knocks(void)
{
    const struct series series = as_series();

    assert_true(artefact_scratch(&series) <= SCRATCH_MAX);
    trial.found = artefact_remove_knocks(&series, trial.samples, scratch, trial.knocks);
    return trial.found;
}

static size_t first_length(void)
{
    assert_true(find_knocks() > 0);
    return trial.knocks[0].last - trial.knocks[0].first + 1;
}

static enum knock_verdict first_verdict(void)
{
    assert_true(find_knocks() > 0);
    return trial.knocks[0].verdict;
}

/* The median is over 2 s to both sides. At 19.6 Hz these are 39 samples, and a box of 39 among 79
 * is the minority; at 19.7 Hz two boxes of 20 are the majority, and what lies between is a dip. */
static void test_neighbourhood(void **state)
{
    (void)state;
    begin(19.6, 800, 0.0);
    add_box(400, 39, 10.0);
    assert_int_equal(first_length(), 39);
    begin(19.7, 800, 0.0);
    add_box(400, 20, 10.0);
    add_box(424, 20, 10.0);
    assert_int_equal(first_length(), 4);
    assert_true(trial.knocks[0].height < 0.0);
}

/* Scratch is asked for as for ten samples a second: every second one from 20 to below 30 Hz. */
static void test_scratch(void **state)
{
    (void)state;
    assert_int_equal(artefact_scratch(&(struct series){20.0, 0.0, 800, trial.samples}), 1205);
    assert_int_equal(artefact_scratch(&(struct series){29.7, 0.0, 800, trial.samples}), 1205);
}

/* A sample that was read and lies up to 0.5 mL/s from 0 is its own neighbourhood; a larger one is
 * looked at, and with it the sample beside it. */
static void test_quiet_neighbourhood(void **state)
{
    static const double levels[] = {0.495, 0.505};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        begin(100.0, 4000, 0.0);
        add_box(2000, 1, levels[i]);
        add_box(2001, 1, 5.25);
        assert_int_equal(find_knocks(), i);
    }
}

/* More than 5 mL/s high. */
static void test_height(void **state)
{
    (void)state;
    begin(100.0, 4000, 10.0);
    add_box(2000, 10, 4.96);
    assert_int_equal(find_knocks(), 0);
    begin(100.0, 4000, 10.0);
    add_box(2000, 10, 5.04);
    assert_int_equal(find_knocks(), 1);
}

/* It begins and ends where it is more than 2 mL/s away: a shoulder of 8 samples is part of it, or
 * is not. */
static void test_edge(void **state)
{
    (void)state;
    begin(100.0, 4000, 10.0);
    add_box(2000, 8, 1.97);
    add_box(2008, 10, 8.0);
    assert_int_equal(first_length(), 10);
    begin(100.0, 4000, 10.0);
    add_box(2000, 8, 2.03);
    add_box(2008, 10, 8.0);
    assert_int_equal(first_length(), 18);
}

/* Shorter than 2 s. The box begins beside a sample that the neighbourhood is read on, so that it
 * holds no more than 20 of its 41. */
static void test_longest(void **state)
{
    (void)state;
    begin(100.0, 6000, 0.0);
    add_box(3001, 199, 10.0);
    assert_int_equal(find_knocks(), 1);
    begin(100.0, 6000, 0.0);
    add_box(3001, 200, 10.0);
    assert_int_equal(find_knocks(), 0);
}

/* A knock of 20 mL/s that comes, or goes, in `steps` equal steps at 250 Hz. */
static size_t find_ramp(size_t steps, bool rising)
{
    begin(250.0, 10000, 10.0);
    add_box(5000, 100, 20.0);
    for (size_t i = 1; i < steps; i++) {
        const double height = 20.0 * (double)(steps - i) / (double)steps;

        add_box(rising ? 5000 - i : 5099 + i, 1, height);
    }
    return find_knocks();
}

/* 0.6 of the height come within 0.2 s, 50 samples; 50 of 83 steps are 0.602 and of 84 0.595. */
static void test_rise(void **state)
{
    (void)state;
    assert_int_equal(find_ramp(83, true), 1);
    assert_int_equal(find_ramp(84, true), 0);
}

/* 0.35 of it go so fast; 50 of 142 steps are 0.3521 and of 143 0.3497. */
static void test_fall(void **state)
{
    (void)state;
    assert_int_equal(find_ramp(142, false), 1);
    assert_int_equal(find_ramp(143, false), 0);
}

/* A dip of less than 0.25 s is a knock, a longer one a pause of the flow; 50 samples at 200 Hz. */
static void test_tiny(void **state)
{
    (void)state;
    begin(200.0, 8000, 10.0);
    add_box(4000, 49, -8.0);
    assert_int_equal(find_knocks(), 1);
    begin(200.0, 8000, 10.0);
    add_box(4000, 50, -8.0);
    assert_int_equal(find_knocks(), 0);
}

/* A longer dip is a knock when it goes below -1 mL/s. */
static void test_dip_below_zero(void **state)
{
    (void)state;
    begin(200.0, 8000, 10.0);
    add_box(4000, 60, -10.99);
    assert_int_equal(find_knocks(), 0);
    begin(200.0, 8000, 10.0);
    add_box(4000, 60, -11.01);
    assert_int_equal(find_knocks(), 1);
}

/* Pulses on a flow of 10 mL/s at 200 Hz that begin at three moments; no pulse at 0. */
static void begin_pulses(const size_t firsts[3], const size_t lengths[3], const double heights[3])
{
    begin(200.0, 16000, 10.0);
    for (size_t i = 0; i < 3; i++) {
        if (firsts[i] > 0) {
            add_box(firsts[i], lengths[i], heights[i]);
        }
    }
}

static const size_t same_length[] = {60, 60, 60};
static const double same_height[] = {10.0, 10.0, 10.0};

/* A train is an excursion with two others like it. */
static void test_train_has_three(void **state)
{
    static const size_t three[] = {4000, 5000, 6000};
    static const size_t two[] = {4000, 5000, 0};

    (void)state;
    begin_pulses(three, same_length, same_height);
    assert_int_equal(first_verdict(), KNOCK_SEVERAL);
    begin_pulses(two, same_length, same_height);
    assert_int_equal(first_verdict(), KNOCK_REMOVED);
}

/* Pulses of 0.25 s make a train, shorter ones do not. */
static void test_train_is_not_tiny(void **state)
{
    static const size_t firsts[] = {4000, 5000, 6000};
    static const size_t enough[] = {50, 50, 50};
    static const size_t tiny[] = {50, 49, 50};

    (void)state;
    begin_pulses(firsts, enough, same_height);
    assert_int_equal(first_verdict(), KNOCK_SEVERAL);
    begin_pulses(firsts, tiny, same_height);
    assert_int_equal(first_verdict(), KNOCK_REMOVED);
}

/* They begin within 15 s, 3000 samples, of one another. */
static void test_train_is_near(void **state)
{
    static const size_t near[] = {4000, 5000, 7000};
    static const size_t far[] = {4000, 5000, 7001};

    (void)state;
    begin_pulses(near, same_length, same_height);
    assert_int_equal(first_verdict(), KNOCK_SEVERAL);
    begin_pulses(far, same_length, same_height);
    assert_int_equal(first_verdict(), KNOCK_REMOVED);
}

/* They are no more than twice as high, and twice as long and a sample, as one another. */
static void test_train_is_alike(void **state)
{
    static const size_t firsts[] = {4000, 5000, 6000};
    static const double alike[] = {10.0, 10.0, 19.9};
    static const double higher[] = {10.0, 10.0, 20.1};
    static const size_t as_long[] = {100, 100, 201};
    static const size_t longer[] = {100, 100, 202};

    (void)state;
    begin_pulses(firsts, same_length, alike);
    assert_int_equal(first_verdict(), KNOCK_SEVERAL);
    begin_pulses(firsts, same_length, higher);
    assert_int_equal(first_verdict(), KNOCK_REMOVED);
    begin_pulses(firsts, as_long, same_height);
    assert_int_equal(first_verdict(), KNOCK_SEVERAL);
    begin_pulses(firsts, longer, same_height);
    assert_int_equal(first_verdict(), KNOCK_REMOVED);
}

/* One of 0.5 s, 100 samples, stays when another is beside it, a shorter one does not. */
static void test_brief(void **state)
{
    static const size_t firsts[] = {4000, 4300, 0};
    static const size_t enough[] = {100, 60, 0};
    static const size_t brief[] = {99, 60, 0};

    (void)state;
    begin_pulses(firsts, enough, same_height);
    assert_int_equal(first_verdict(), KNOCK_SEVERAL);
    begin_pulses(firsts, brief, same_height);
    assert_int_equal(first_verdict(), KNOCK_REMOVED);
}

/* Beside it is within 2 s: 400 samples from the last of one to the first of the other. */
static void test_isolation(void **state)
{
    static const size_t lengths[] = {120, 120, 0};
    static const size_t beside[] = {4000, 4519, 0};
    static const size_t isolated[] = {4000, 4520, 0};

    (void)state;
    begin_pulses(beside, lengths, same_height);
    assert_int_equal(first_verdict(), KNOCK_SEVERAL);
    assert_int_equal(trial.knocks[1].verdict, KNOCK_SEVERAL);
    begin_pulses(isolated, lengths, same_height);
    assert_int_equal(first_verdict(), KNOCK_REMOVED);
    assert_int_equal(trial.knocks[1].verdict, KNOCK_REMOVED);
}

/* A spurt of 6 mL stays when it is a fifth of the volume: beside a flow of 23.75 mL, not of 24.25.
 */
static void test_spurt(void **state)
{
    (void)state;
    begin(200.0, 8000, 0.0);
    add_box(1000, 60, 20.0);
    add_box(4000, 1000, 4.75);
    assert_int_equal(first_verdict(), KNOCK_ALONE);
    begin(200.0, 8000, 0.0);
    add_box(1000, 60, 20.0);
    add_box(4000, 1000, 4.85);
    assert_int_equal(first_verdict(), KNOCK_REMOVED);
}

/* Nothing is looked for below 4 samples a second. */
static void test_slowest_rate(void **state)
{
    (void)state;
    begin(3.96, 400, 10.0);
    add_box(200, 1, 20.0);
    assert_int_equal(find_knocks(), 0);
    begin(4.04, 400, 10.0);
    add_box(200, 1, 20.0);
    assert_int_equal(find_knocks(), 1);
}

/* A squeeze at 100 Hz: out of a flow a dip, what lies between, and a surge. */
struct squeeze_shape {
    double level;
    double dip;
    double surge;
    size_t dip_samples;
    size_t between_samples;
    size_t surge_samples;
};

static const struct squeeze_shape plain_squeeze = {.level = 10.0,
                                                   .dip = 1.0,
                                                   .surge = 20.0,
                                                   .dip_samples = 50,
                                                   .between_samples = 10,
                                                   .surge_samples = 50};

static size_t find_squeezes(void)
{
    const struct series series = as_series();
    struct span squeezes[SQUEEZE_MAX];

    return squeeze_find(&series, (struct span){0.0, 40.0}, squeezes);
}

static size_t squeezes_in(struct squeeze_shape shape)
{
    const size_t dip_end = 2000 + shape.dip_samples;

    begin(100.0, 4000, shape.level);
    add_box(2000, shape.dip_samples, shape.dip - shape.level);
    add_box(dip_end + shape.between_samples, shape.surge_samples, shape.surge - shape.level);
    return find_squeezes();
}

/* Out of a flow of at least 5 mL/s; the surge rises to 9 there. */
static void test_squeeze_level(void **state)
{
    struct squeeze_shape shape = plain_squeeze;

    (void)state;
    shape.level = 5.04;
    assert_int_equal(squeezes_in(shape), 1);
    shape.level = 4.96;
    assert_int_equal(squeezes_in(shape), 0);
}

/* That flow is read 1 s before the dip: it rose from 2 mL/s, to which no dip of 1 is one, just
 * before that, or after. */
static void test_squeeze_level_is_read_before(void **state)
{
    static const size_t rises[] = {1900, 1901};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        assert_int_equal(squeezes_in(plain_squeeze), 1);
        for (size_t k = 0; k < rises[i]; k++) {
            trial.samples[k] = 2.0;
        }
        assert_int_equal(find_squeezes(), 1 - i);
    }
}

/* The dip goes below 0.3 of it. */
static void test_squeeze_dip(void **state)
{
    struct squeeze_shape shape = plain_squeeze;

    (void)state;
    shape.dip = 2.98;
    assert_int_equal(squeezes_in(shape), 1);
    shape.dip = 3.02;
    assert_int_equal(squeezes_in(shape), 0);
}

/* The surge rises to 1.2 times the flow and 3 mL/s more. */
static void test_squeeze_surge(void **state)
{
    struct squeeze_shape shape = plain_squeeze;

    (void)state;
    shape.surge = 15.02;
    assert_int_equal(squeezes_in(shape), 1);
    shape.surge = 14.98;
    assert_int_equal(squeezes_in(shape), 0);
}

/* It comes within 1 s of the dip's end. */
static void test_squeeze_wait(void **state)
{
    struct squeeze_shape shape = plain_squeeze;

    (void)state;
    shape.between_samples = 100;
    assert_int_equal(squeezes_in(shape), 1);
    shape.between_samples = 101;
    assert_int_equal(squeezes_in(shape), 0);
}

/* Neither dip nor surge lasts longer than 2 s. */
static void test_squeeze_lengths(void **state)
{
    struct squeeze_shape shape = plain_squeeze;

    (void)state;
    shape.dip_samples = 200;
    assert_int_equal(squeezes_in(shape), 1);
    shape.dip_samples = 201;
    assert_int_equal(squeezes_in(shape), 0);
    shape = plain_squeeze;
    shape.surge_samples = 200;
    assert_int_equal(squeezes_in(shape), 1);
    shape.surge_samples = 201;
    assert_int_equal(squeezes_in(shape), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_neighbourhood),
        cmocka_unit_test(test_scratch),
        cmocka_unit_test(test_quiet_neighbourhood),
        cmocka_unit_test(test_height),
        cmocka_unit_test(test_edge),
        cmocka_unit_test(test_longest),
        cmocka_unit_test(test_rise),
        cmocka_unit_test(test_fall),
        cmocka_unit_test(test_tiny),
        cmocka_unit_test(test_dip_below_zero),
        cmocka_unit_test(test_train_has_three),
        cmocka_unit_test(test_train_is_not_tiny),
        cmocka_unit_test(test_train_is_near),
        cmocka_unit_test(test_train_is_alike),
        cmocka_unit_test(test_brief),
        cmocka_unit_test(test_isolation),
        cmocka_unit_test(test_spurt),
        cmocka_unit_test(test_slowest_rate),
        cmocka_unit_test(test_squeeze_level),
        cmocka_unit_test(test_squeeze_level_is_read_before),
        cmocka_unit_test(test_squeeze_dip),
        cmocka_unit_test(test_squeeze_surge),
        cmocka_unit_test(test_squeeze_wait),
        cmocka_unit_test(test_squeeze_lengths),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
