/* Where pulls are: the puller's movements, markers, the shape of the pressure. */
#include "support/assert_close.h"
#include "support/profile_case.h"

#include "analysis/profile/puller.h"
#include "analysis/signal/smooth.h"

#include <string.h>

struct moves_case {
    struct test_memory memory;
    struct series puller;
    struct puller_moves moves;
};

static void find_moves(struct moves_case *found, double rate_hz, double end_s,
                       const double (*points)[2], size_t count)
{
    const struct polyline line = {count, points};
    const size_t samples = (size_t)(end_s * rate_hz + 1e-6) + 1;

    test_memory_open(&found->memory, SIZE_MAX);
    double *values = found->memory.memory.allocate(&found->memory, samples * sizeof *values);

    assert_non_null(values);
    for (size_t i = 0; i < samples; i++) {
        values[i] = polyline_value((double)i / rate_hz, &line);
    }
    found->puller = (struct series){rate_hz, 0.0, samples, values};
    assert_true(puller_moves_find(&found->puller, &found->memory.memory, &found->moves));
}

/* One steady movement of 20 mm. */
static size_t moves_at_speed(double mm_s)
{
    const double points[][2] = {{5.0, 0.0}, {5.0 + 20.0 / mm_s, 20.0}};
    struct moves_case found;

    find_moves(&found, 10.0, 15.0 + 20.0 / mm_s, points, 2);
    const size_t count = found.moves.count;

    test_memory_close(&found.memory);
    return count;
}

static void test_slowest_movement(void **state)
{
    (void)state;
    assert_int_equal(moves_at_speed(0.202), 1);
    assert_int_equal(moves_at_speed(0.198), 0);
}

static size_t moves_over(double mm)
{
    const double points[][2] = {{5.0, 0.0}, {15.0, mm}};
    struct moves_case found;

    find_moves(&found, 10.0, 20.0, points, 2);
    const size_t count = found.moves.count;

    test_memory_close(&found.memory);
    return count;
}

static void test_shortest_movement(void **state)
{
    (void)state;
    assert_int_equal(moves_over(10.1), 1);
    assert_int_equal(moves_over(9.9), 0);
}

static void test_out_and_back(void **state)
{
    static const double points[][2] = {{5, 0}, {45, 40}, {50, 40}, {54, 0}, {60, 0}, {80, 40}};
    struct moves_case found;

    (void)state;
    find_moves(&found, 10.0, 90.0, points, 6);
    assert_int_equal(found.moves.count, 3);
    assert_false(found.moves.items[0].inward);
    assert_true(found.moves.items[1].inward);
    assert_false(found.moves.items[2].inward);
    assert_close(found.moves.items[0].span.from_s, 5.0, 0.11);
    assert_close(found.moves.items[0].span.to_s, 45.0, 0.11);
    assert_close(found.moves.items[0].travel_mm, 40.0, 1e-9);
    assert_close(found.moves.items[2].span.from_s, 60.0, 0.11);
    assert_false(found.moves.items[0].stalled);
    test_memory_close(&found.memory);
}

/* The counter is set to zero between two pulls that follow at once. */
static void test_counter_reset(void **state)
{
    static const double points[][2] = {{5, 0}, {45, 40}, {45.05, 0}, {85, 40}};
    struct moves_case found;

    (void)state;
    find_moves(&found, 10.0, 95.0, points, 4);
    assert_int_equal(found.moves.count, 3);
    assert_close(found.moves.items[0].span.to_s, 45.0, 0.11);
    assert_true(found.moves.items[1].inward);
    assert_close(found.moves.items[2].span.from_s, 45.05, 0.2);
    test_memory_close(&found.memory);
}

/* A rest in the middle of a way of 40 mm at 1 mm/s. */
static struct moves_case move_with_rest(double rate_hz, double rest_s)
{
    const double points[][2] = {{5, 0}, {25, 20}, {25 + rest_s, 20}, {45 + rest_s, 40}};
    struct moves_case found;

    find_moves(&found, rate_hz, 60.0 + rest_s, points, 4);
    return found;
}

static void check_rest(double rate_hz, double rest_s, size_t moves, bool stalled)
{
    struct moves_case found = move_with_rest(rate_hz, rest_s);

    if (found.moves.count != moves || found.moves.items[0].stalled != stalled) {
        fail_msg("a rest of %g s at %g Hz: %zu movements, stalled %d", rest_s, rate_hz,
                 found.moves.count, (int)found.moves.items[0].stalled);
    }
    test_memory_close(&found.memory);
}

/* The average over +-1 s still sees a movement of 0.2 mm/s for some tenths of a second into the
 * rest and out of it: 1.2 s of it are lost. */
static void test_rests(void **state)
{
    (void)state;
    check_rest(10.0, 2.06, 1, false);
    check_rest(10.0, 2.12, 1, true);
    check_rest(10.0, 6.18, 1, true);
    check_rest(10.0, 6.24, 2, false);
    check_rest(9.1, 2.16, 1, false);
    check_rest(9.9, 1.98, 1, false);
    check_rest(9.9, 2.04, 1, true);
    check_rest(9.9, 6.04, 1, true);
    check_rest(9.9, 6.08, 2, false);
}

/* It begins at the last sample within 0.1 mm of where it stood. */
static void check_edge(double mm_s, double from_s)
{
    const double points[][2] = {{5.0, 0.0}, {5.0 + 20.0 / mm_s, 20.0}};
    struct moves_case found;

    find_moves(&found, 10.0, 100.0, points, 2);
    assert_int_equal(found.moves.count, 1);
    assert_close(found.moves.items[0].span.from_s, from_s, 1e-9);
    test_memory_close(&found.memory);
}

static void test_edge(void **state)
{
    (void)state;
    check_edge(0.495, 5.2);
    check_edge(0.505, 5.1);
}

/* ---- Positions ---- */

static double positions_of(const struct series *puller, bool inward, double *positions)
{
    const struct span all = {puller->start_s, series_time(puller, puller->count - 1)};
    struct test_memory memory;
    bool memory_left = false;

    test_memory_open(&memory, SIZE_MAX);
    const double speed =
        puller_positions(puller, all, inward, puller, &memory.memory, positions, &memory_left);

    assert_true(memory_left);
    test_memory_close(&memory);
    return speed;
}

enum { POSITIONS = 400 };

static void test_even_positions(void **state)
{
    double x[POSITIONS];
    double positions[POSITIONS];
    const struct series puller = {10.0, 3.0, POSITIONS, x};

    (void)state;
    for (size_t i = 0; i < POSITIONS; i++) {
        x[i] = 7.0 + floor(0.1 * (double)i);
    }
    assert_close(positions_of(&puller, false, positions), 1.0, 0.01);
    for (size_t i = 0; i < POSITIONS; i++) {
        assert_close(positions[i], 0.1 * (double)i, 0.1);
        x[i] = 50.0 - 0.2 * (double)i;
    }
    assert_close(positions_of(&puller, true, positions), 2.0, 1e-9);
    assert_close(positions[100], 20.0, 1e-9);
    assert_true(isnan(positions_of(&puller, false, positions)));
}

/* One sample is off the line: the line is followed to 1 mm, beyond that the puller itself. */
static void check_bump(double off_mm, bool even)
{
    double x[POSITIONS];
    double positions[POSITIONS];
    const struct series puller = {10.0, 0.0, POSITIONS, x};

    for (size_t i = 0; i < POSITIONS; i++) {
        x[i] = 0.1 * (double)i;
    }
    /* A single sample pulls its own line towards it by a 400th. */
    x[200] += off_mm / (1.0 - 1.0 / (double)POSITIONS);
    const double speed = positions_of(&puller, false, positions);

    assert_close(speed, 1.0, 0.01);
    assert_int_equal(fabs(positions[200] - speed * 20.0) < 1e-9, even);
}

static void test_uneven_positions(void **state)
{
    (void)state;
    check_bump(0.99, true);
    check_bump(1.01, false);
}

/* An uneven way is averaged over +-0.5 s and never goes back. */
static void check_average(double rate_hz, size_t half)
{
    double x[POSITIONS];
    double mean[POSITIONS];
    double positions[POSITIONS];
    const struct series puller = {rate_hz, 0.0, POSITIONS, x};

    for (size_t i = 0; i < POSITIONS; i++) {
        x[i] = 0.1 * (double)i + (i > 150 ? 5.0 : 0.0) + (i % 7 == 0 ? 0.3 : 0.0);
    }
    smooth_mean(&puller, 2 * half + 1, SMOOTH_ENDS_SHORTEN, mean);
    (void)positions_of(&puller, false, positions);
    double furthest = 0.0;

    for (size_t i = 0; i < POSITIONS; i++) {
        furthest = fmax(furthest, mean[i] - mean[0]);
        assert_close(positions[i], furthest, 1e-9);
    }
}

static void test_average(void **state)
{
    (void)state;
    check_average(10.0, 5);
    check_average(9.9, 4);
}

/* ---- Whole recordings ---- */

static void test_markers_alone(void **state)
{
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;
    struct synth synth;

    (void)state;
    how.found = PROFILE_CASE_MARKERS;
    how.pulls = 2;
    profile_case_open(&synth, &how, &truth);
    const struct analysis_result *result = synth_run(&synth);

    assert_int_equal(result->profiles.count, 2);
    assert_close(result->profiles.pulls[1].start.value, truth.start_s[1], 1e-9);
    assert_close(result->profiles.pulls[1].end.value, truth.end_s[1], 1e-9);
    assert_null(synth_quality(result, "pull_marker_unpaired"));
    /* Without the last end the pull goes on to the last sample. */
    synth.recording.event_count--;
    result = synth_run(&synth);
    assert_int_equal(result->profiles.count, 2);
    assert_non_null(synth_quality(result, "pull_marker_unpaired"));
    /* Two starts in a row: the first ends at the second. An end alone begins at the end before it.
     */
    synth.events[1].code = EVENT_PULL_START;
    synth.events[1].at_s = truth.end_s[0];
    synth.events[2].code = EVENT_PULL_END;
    synth.events[2].at_s = truth.end_s[1];
    synth_event(&synth, EVENT_PULL_END, truth.end_s[1] + 5.0);
    result = synth_run(&synth);
    assert_int_equal(result->profiles.count, 3);
    assert_close(result->profiles.pulls[0].end.value, truth.end_s[0], 1e-9);
    assert_close(result->profiles.pulls[2].start.value, truth.end_s[1], 1e-9);
    synth_close(&synth);
}

/* Hand-set markers lie beside the movement, which the puller tells. */
static void test_markers_with_puller(void **state)
{
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;
    struct synth synth;

    (void)state;
    how.pulls = 2;
    profile_case_open(&synth, &how, &truth);
    synth_event(&synth, EVENT_PULL_START, truth.start_s[0] + 3.0);
    synth_event(&synth, EVENT_PULL_END, truth.end_s[0] + 2.0);
    const struct analysis_result *result = synth_run(&synth);

    assert_int_equal(result->profiles.count, 1);
    assert_close(result->profiles.pulls[0].start.value, truth.start_s[0], 0.15);
    assert_close(result->profiles.pulls[0].end.value, truth.end_s[0], 0.15);
    assert_close(result->profiles.pulls[0].functional_length.value, truth.length_mm, 0.2);
    assert_non_null(synth_quality(result, "pull_unmarked"));
    /* Markers around a rest of the puller: there it does not move. */
    synth.events[0].at_s = truth.end_s[0] + 1.0;
    synth.events[1].at_s = truth.end_s[0] + 6.0;
    result = synth_run(&synth);
    assert_non_null(synth_quality(result, "puller_still"));
    assert_non_null(synth_quality(result, "speed_unknown"));
    synth_close(&synth);
}

/* A marked return is read mirrored: the same profile, and it is told. */
static void test_marked_return(void **state)
{
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;
    struct synth synth;

    (void)state;
    how.rate_hz = 100.0;
    profile_case_open(&synth, &how, &truth);
    synth_event(&synth, EVENT_PULL_START, truth.end_s[0] + 7.0);
    synth_event(&synth, EVENT_PULL_END, truth.end_s[0] + 16.0);
    const struct analysis_result *result = synth_run(&synth);
    const struct profile_measures *pull = &result->profiles.pulls[0];

    assert_int_equal(result->profiles.count, 1);
    assert_non_null(synth_quality(result, "profile_inward"));
    assert_close(pull->speed.value, 10.0, 0.5);
    assert_close(pull->maximum_closure_pressure.value, truth.closure, 1.0);
    assert_close(pull->functional_length.value, truth.length_mm, 1.0);
    assert_close(pull->length_to_peak.value, truth.to_peak_mm, 1.0);
    synth_close(&synth);
}

static void test_within_a_cystometry(void **state)
{
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;
    struct synth synth;

    (void)state;
    profile_case_open(&synth, &how, &truth);
    synth.recording.type = RECORDING_CYSTOMETRY;
    const struct analysis_result *result = synth_run(&synth);

    assert_true(result->has_profiles && result->has_profiles_summary);
    assert_int_equal(result->profiles.count, 1);
    assert_close(result->profiles.pulls[0].functional_length.value, truth.length_mm, 0.2);
    for (size_t i = 0; i < synth.recording.channels[2].sample_count; i++) {
        synth_writable(&synth, SIGNAL_PULLER)[i] = 12.0 + 0.05 * (double)(i % 3);
    }
    assert_false(synth_run(&synth)->has_profiles);
    synth_event(&synth, EVENT_PULL_START, truth.start_s[0]);
    synth_event(&synth, EVENT_PULL_END, truth.end_s[0]);
    assert_true(synth_run(&synth)->has_profiles);
    synth_close(&synth);
}

/* ---- Shape alone ---- */

/* Pulls in pura along `points` over a constant pves. */
static size_t pulls_along(double end_s, const double (*points)[2], size_t count)
{
    static const double pves = 10.0;
    const struct polyline line = {count, points};
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = end_s};
    struct synth synth;

    synth_open(&synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
    synth_channel(&synth, SIGNAL_PURA, sampling, polyline_value, &line);
    synth_channel(&synth, SIGNAL_PVES, sampling, constant_value, &pves);
    const size_t pulls = synth_run(&synth)->profiles.count;

    synth_close(&synth);
    return pulls;
}

static size_t humps_of_height(double closure)
{
    const double points[][2] = {
        {30, 10}, {31, 10 + closure}, {40, 10 + closure}, {41, 10}, {43, 0}};

    return pulls_along(80.0, points, 5);
}

static void test_lowest_hump(void **state)
{
    (void)state;
    assert_int_equal(humps_of_height(10.1), 1);
    assert_int_equal(humps_of_height(9.9), 0);
}

static size_t humps_with_valley(double closure)
{
    const double points[][2] = {{30, 10 + closure}, {31, 50},           {40, 50},
                                {41, 10 + closure}, {50, 10 + closure}, {51, 50},
                                {60, 50},           {61, 10},           {63, 0}};

    return pulls_along(90.0, points, 9);
}

static void test_valley(void **state)
{
    (void)state;
    assert_int_equal(humps_with_valley(5.05), 1);
    assert_int_equal(humps_with_valley(4.95), 2);
}

/* A block of samples. */
static size_t humps_of_length(double rate_hz, size_t length, size_t gap)
{
    static const double pves = 10.0;
    double pura[900];
    struct synth synth;

    for (size_t i = 0; i < 900; i++) {
        const bool in_gap = i >= 330 && i < 330 + gap;

        pura[i] = i >= 300 && i < 300 + length && !in_gap ? 50.0 : (i < 300 ? 10.0 : 0.0);
    }
    synth_open(&synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
    synth_samples(&synth, SIGNAL_PURA, rate_hz, 900, pura);
    synth_channel(&synth, SIGNAL_PVES, (struct synth_sampling){.rate_hz = 1.0, .end_s = 100.0},
                  constant_value, &pves);
    const size_t count = synth_run(&synth)->profiles.count;

    synth_close(&synth);
    return count;
}

/* Shortest: 2 s between the first and the last sample above the line. */
static void test_shortest_hump(void **state)
{
    (void)state;
    assert_int_equal(humps_of_length(10.0, 21, 0), 1);
    assert_int_equal(humps_of_length(9.6, 20, 0), 0);
}

/* A gap is closed while it is a minority of +-1 s. */
static void test_gap_in_hump(void **state)
{
    (void)state;
    assert_int_equal(humps_of_length(10.0, 80, 10), 1);
    assert_int_equal(humps_of_length(10.0, 80, 11), 2);
    assert_int_equal(humps_of_length(9.9, 80, 9), 1);
    assert_int_equal(humps_of_length(9.9, 80, 10), 2);
}

static void test_reach_and_sides(void **state)
{
    static const struct {
        double pves;
        bool one_sided;
    } rows[] = {{2.96, true}, {3.04, false}};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const double points[][2] = {{50, rows[i].pves}, {51, 50}, {70, 50}, {71, 0}};
        const struct polyline line = {4, points};
        const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 140.0};
        struct synth synth;

        synth_open(&synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
        synth_channel(&synth, SIGNAL_PURA, sampling, polyline_value, &line);
        synth_channel(&synth, SIGNAL_PVES, sampling, constant_value, &rows[i].pves);
        const struct analysis_result *result = synth_run(&synth);

        assert_int_equal(result->profiles.count, 1);
        /* The hump is above 5 cmH2O from 50.2 to 70.8 s. */
        assert_close(result->profiles.pulls[0].start.value, 30.2, 0.11);
        assert_close(result->profiles.pulls[0].end.value, 90.8, 0.11);
        assert_non_null(synth_quality(result, "pull_found_by_shape"));
        assert_non_null(synth_quality(result, "speed_unknown"));
        assert_int_equal(synth_quality(result, "profile_direction_unknown") != NULL,
                         rows[i].one_sided);
        synth_close(&synth);
    }
}

/* Fast channels are looked at ten times a second or a little less. */
static void test_search_rate(void **state)
{
    static const double rows[][2] = {{100.0, 10.0}, {102.0, 11.0}}; /* rate, samples in a block */

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const double block = rows[i][1];
        const double points[][2] = {{5.0, 0.0}, {45.0, 40.0}};
        const struct polyline line = {2, points};
        const struct synth_sampling sampling = {.rate_hz = rows[i][0], .end_s = 60.0};
        struct synth synth;

        synth_open(&synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
        synth_channel(&synth, SIGNAL_PULLER, sampling, polyline_value, &line);
        synth_channel(&synth, SIGNAL_PURA, sampling, polyline_value, &line);
        const double start_s = synth_run(&synth)->profiles.pulls[0].start.value;
        /* Block means stand in the middle of their block. */
        const double blocks = (start_s * rows[i][0] - 0.5 * (block - 1.0)) / block;

        assert_close(start_s, 5.0, 0.2);
        assert_close(blocks, round(blocks), 1e-6);
        synth_close(&synth);
    }
}

static void test_too_many_pulls(void **state)
{
    static const double pves = 10.0;
    static struct event events[402];
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 500.0};
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_URETHRAL_PRESSURE_PROFILE);
    synth_channel(&synth, SIGNAL_PURA, sampling, constant_value, &pves);
    for (size_t i = 0; i < 101; i++) {
        events[2 * i] = (struct event){.at_s = 4.0 * (double)i, .code = EVENT_PULL_START};
        events[2 * i + 1] = (struct event){.at_s = 4.0 * (double)i + 3.0, .code = EVENT_PULL_END};
    }
    synth.recording.events = events;
    synth.recording.event_count = 200;
    const struct analysis_result *result = synth_run(&synth);

    assert_int_equal(result->profiles.count, 100);
    assert_null(synth_quality(result, "more_pulls"));
    synth.recording.event_count = 202;
    result = synth_run(&synth);
    assert_int_equal(result->profiles.count, 100);
    assert_non_null(synth_quality(result, "more_pulls"));
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_slowest_movement),
        cmocka_unit_test(test_shortest_movement),
        cmocka_unit_test(test_out_and_back),
        cmocka_unit_test(test_counter_reset),
        cmocka_unit_test(test_rests),
        cmocka_unit_test(test_edge),
        cmocka_unit_test(test_even_positions),
        cmocka_unit_test(test_uneven_positions),
        cmocka_unit_test(test_average),
        cmocka_unit_test(test_markers_alone),
        cmocka_unit_test(test_markers_with_puller),
        cmocka_unit_test(test_marked_return),
        cmocka_unit_test(test_within_a_cystometry),
        cmocka_unit_test(test_lowest_hump),
        cmocka_unit_test(test_valley),
        cmocka_unit_test(test_shortest_hump),
        cmocka_unit_test(test_gap_in_hump),
        cmocka_unit_test(test_reach_and_sides),
        cmocka_unit_test(test_search_rate),
        cmocka_unit_test(test_too_many_pulls),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
