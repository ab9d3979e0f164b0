/* Events in the pressure lines, on lines without noise: each limit from both sides. */
#include "support/assert_close.h"
#include "support/synth.h"

#include "analysis/study.h"

#include <math.h>

enum { KINDS = PRESSURE_EVENT_RESTLESS + 1, BUMPS_MAX = 8, LENGTH_S = 400 };

/* A change of one line (0 pves, 1 pabd) or both (2): a box of `count` samples, or, with count 0, a
 * Gauss curve with a half width of a quarter of a second at 1/e. */
struct bump {
    int line;
    size_t first;
    size_t count;
    double height;
};

struct row {
    const char *what;
    double rate_hz;
    struct bump bumps[BUMPS_MAX];
    size_t expected[KINDS];
    enum event_code marker; /* with marker_s above 0 */
    double marker_s;
    bool marked; /* all that is found */
};

static double box_or_gauss(const struct bump *bump, size_t index, double rate_hz)
{
    if (bump->count > 0) {
        return index >= bump->first && index < bump->first + bump->count ? bump->height : 0.0;
    }
    const double off = ((double)index - (double)bump->first) / rate_hz / 0.25;

    return bump->height * exp(-off * off);
}

static void add_line(struct synth *synth, enum signal_kind signal, const struct row *row, int line)
{
    const double level = 20.0;
    const struct synth_sampling sampling = {.rate_hz = row->rate_hz, .end_s = LENGTH_S};
    double *samples = synth_channel(synth, signal, sampling, constant_value, &level);
    const size_t count = synth->channels[synth->recording.channel_count - 1].sample_count;

    for (size_t k = 0; k < BUMPS_MAX; k++) {
        const struct bump *bump = &row->bumps[k];

        for (size_t i = 0; (bump->line == line || bump->line == 2) && i < count; i++) {
            samples[i] += box_or_gauss(bump, i, row->rate_hz);
        }
    }
}

static struct pressure_events find(struct synth *synth)
{
    struct analysis_memory *memory = &synth->memory.memory;
    struct analysis_choices *choices = memory->allocate(&synth->memory, sizeof *choices);
    struct analysis_result *result = memory->allocate(&synth->memory, sizeof *result);
    struct study *study = memory->allocate(&synth->memory, sizeof *study);

    choices_standard(choices);
    assert_true(study_open(study, &synth->recording, choices, memory, result));
    assert_true(pressure_events_find(study));
    return study->pressure_events;
}

static size_t count_kind(const struct pressure_events *events, size_t kind)
{
    size_t count = 0;

    for (size_t i = 0; i < events->count; i++) {
        count += (size_t)events->items[i].kind == kind ? 1 : 0;
    }
    return count;
}

static void check(const struct row *row)
{
    struct synth synth;

    synth_open(&synth, RECORDING_CYSTOMETRY);
    add_line(&synth, SIGNAL_PVES, row, 0);
    add_line(&synth, SIGNAL_PABD, row, 1);
    if (row->marker_s > 0.0) {
        synth_event(&synth, row->marker, row->marker_s);
    }
    const struct pressure_events events = find(&synth);

    print_message("%s\n", row->what);
    for (size_t kind = 0; kind < KINDS; kind++) {
        assert_int_equal(count_kind(&events, kind), row->expected[kind]);
    }
    for (size_t i = 0; i < events.count; i++) {
        assert_int_equal(events.items[i].marked, row->marked);
        assert_true(i == 0 || events.items[i].span.from_s >= events.items[i - 1].span.from_s);
    }
    synth_close(&synth);
}

static void check_all(const struct row *rows, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        check(&rows[i]);
    }
}

#define CHECK(rows) check_all(rows, sizeof(rows) / sizeof(rows)[0])

/* Indices of the kinds in `expected`. */
enum { COUGH = 0, STRAIN = 1, RECTAL = 2, POSITION = 3, FLUSH = 4, RESTLESS = 5 };

static void test_coughs(void **state)
{
    static const struct row rows[] = {
        {"nothing", 10.0, {{0, 0, 0, 0.0}}, .expected = {0}},
        {"rise below 8", 10.0, {{2, 2000, 0, 7.9}}, .expected = {0}},
        {"rise above 8", 10.0, {{2, 2000, 0, 8.1}}, .expected = {[COUGH] = 1}},
        {"a box of 2 s", 10.0, {{2, 2000, 20, 20.0}}, .expected = {[COUGH] = 1}},
        {"a longer box", 10.0, {{2, 2000, 21, 20.0}}, .expected = {0}},
        {"second peak stands out by less than half",
         10.0,
         {{2, 2000, 3, 20.0}, {2, 2003, 9, 9.1}, {2, 2012, 3, 18.0}},
         .expected = {[COUGH] = 1}},
        {"second peak stands out by half",
         10.0,
         {{2, 2000, 3, 20.0}, {2, 2003, 9, 8.9}, {2, 2012, 3, 18.0}},
         .expected = {[COUGH] = 2}},
        {"a second spike 1 s later is of the same cough",
         10.0,
         {{2, 2000, 0, 40.0}, {2, 2010, 0, 30.0}},
         .expected = {[COUGH] = 1}},
        {"and 1.02 s later it is another one",
         9.85,
         {{2, 2000, 0, 40.0}, {2, 2010, 0, 30.0}},
         .expected = {[COUGH] = 2}},
        {"reckoned from the first spike",
         10.0,
         {{2, 2000, 0, 40.0}, {2, 2008, 0, 40.0}, {2, 2016, 0, 40.0}},
         .expected = {[COUGH] = 2}},
        {"on a hill that leaves two fifths",
         10.0,
         {{2, 1970, 60, 29.5}, {2, 2000, 0, 20.0}},
         .expected = {[COUGH] = 1, [STRAIN] = 1}},
        {"the crest of a hill",
         10.0,
         {{2, 1970, 60, 30.5}, {2, 2000, 0, 20.0}},
         .expected = {[STRAIN] = 1}},
        {"less than a fifth in pabd",
         10.0,
         {{0, 2000, 0, 40.0}, {1, 2000, 0, 7.9}},
         .expected = {0}},
        {"a fifth in pabd",
         10.0,
         {{0, 2000, 0, 40.0}, {1, 2000, 0, 8.1}},
         .expected = {[COUGH] = 1}},
        {"in pabd 0.3 s later",
         10.0,
         {{0, 2000, 0, 40.0}, {1, 2003, 0, 40.0}},
         .expected = {[COUGH] = 1}},
        {.what = "in pves alone, marked",
         .rate_hz = 10.0,
         .bumps = {{0, 2000, 0, 40.0}},
         .expected = {[COUGH] = 1},
         .marker = EVENT_COUGH,
         .marker_s = 204.95,
         .marked = true},
        {.what = "in pves alone, a marker further away",
         .rate_hz = 10.0,
         .bumps = {{0, 2000, 0, 40.0}},
         .expected = {0},
         .marker = EVENT_COUGH,
         .marker_s = 205.05},
        {.what = "another marker",
         .rate_hz = 10.0,
         .bumps = {{2, 2000, 0, 40.0}},
         .expected = {[COUGH] = 1},
         .marker = EVENT_URGENCY,
         .marker_s = 200.0},
        {"a box of 2.03 s", 9.85, {{2, 2000, 20, 20.0}}, .expected = {0}},
        {"two samples make one above 10 Hz", 10.1, {{2, 2000, 1, 15.0}}, .expected = {0}},
        {"none do at 10 Hz", 10.0, {{2, 2000, 1, 15.0}}, .expected = {[COUGH] = 1}},
        {"too slow a recording", 0.89, {{2, 200, 1, 40.0}}, .expected = {0}},
        {"one sample of a slow one", 0.91, {{2, 200, 1, 40.0}}, .expected = {[COUGH] = 1}},
    };

    (void)state;
    CHECK(rows);
}

/* A double cough is read at its higher spike, and spans both. */
static void test_volley(void **state)
{
    static const double heights[][2] = {{40.0, 60.0}, {60.0, 40.0}};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const struct row row = {
            .rate_hz = 10.0, .bumps = {{2, 2000, 0, heights[i][0]}, {2, 2008, 0, heights[i][1]}}};
        struct synth synth;

        synth_open(&synth, RECORDING_CYSTOMETRY);
        add_line(&synth, SIGNAL_PVES, &row, 0);
        add_line(&synth, SIGNAL_PABD, &row, 1);
        const struct pressure_events events = find(&synth);

        assert_int_equal(events.count, 1);
        assert_close(events.items[0].peak_s, i == 0 ? 200.8 : 200.0, 1e-6);
        assert_close(events.items[0].pves_rise_cmh2o, 60.0, 0.01);
        assert_close(events.items[0].pabd_rise_cmh2o, 60.0, 0.01);
        assert_true(events.items[0].span.from_s < 199.8);
        assert_true(events.items[0].span.to_s > 201.0);
        synth_close(&synth);
    }
}

static void test_restlessness(void **state)
{
    static const struct row rows[] = {
        {"three bumps",
         10.0,
         {{2, 2000, 0, 7.0}, {2, 2020, 0, 7.0}, {2, 2040, 0, 7.0}},
         .expected = {0}},
        {"four bumps",
         10.0,
         {{2, 2000, 0, 4.05}, {2, 2020, 0, 4.05}, {2, 2040, 0, 4.05}, {2, 2060, 0, 4.05}},
         .expected = {[RESTLESS] = 1}},
        {"four lower bumps",
         10.0,
         {{2, 2000, 0, 3.95}, {2, 2020, 0, 3.95}, {2, 2040, 0, 3.95}, {2, 2060, 0, 3.95}},
         .expected = {0}},
        {"2.5 s apart",
         10.0,
         {{2, 2000, 0, 7.0}, {2, 2025, 0, 7.0}, {2, 2050, 0, 7.0}, {2, 2075, 0, 7.0}},
         .expected = {[RESTLESS] = 1}},
        {"2.53 s apart",
         9.5,
         {{2, 2000, 0, 7.0}, {2, 2024, 0, 7.0}, {2, 2048, 0, 7.0}, {2, 2072, 0, 7.0}},
         .expected = {0}},
        {"higher bumps are no coughs either",
         10.0,
         {{2, 2000, 0, 14.9}, {2, 2020, 0, 14.9}, {2, 2040, 0, 14.9}, {2, 2060, 0, 14.9}},
         .expected = {[RESTLESS] = 1}},
        {"from 15 on they are",
         10.0,
         {{2, 2000, 0, 15.1}, {2, 2020, 0, 15.1}, {2, 2040, 0, 15.1}, {2, 2060, 0, 15.1}},
         .expected = {[COUGH] = 4}},
    };

    (void)state;
    CHECK(rows);
}

static void test_flushes(void **state)
{
    static const struct row rows[] = {
        {"below 30", 10.0, {{0, 2000, 30, 29.8}}, .expected = {0}},
        {"above 30", 10.0, {{0, 2000, 30, 30.2}}, .expected = {[FLUSH] = 1}},
        {"down, in pabd", 10.0, {{1, 2000, 30, -30.2}}, .expected = {[FLUSH] = 1}},
        {"spikes in one line are none, nor what lies between them",
         10.0,
         {{0, 2000, 0, 60.0}, {0, 2550, 0, 60.0}},
         .expected = {0}},
        {"down, a second after something else",
         10.0,
         {{0, 2000, 30, -40.0}, {0, 1988, 1, 12.1}},
         .expected = {[FLUSH] = 1}},
        {"down, 1.01 s after it at 9.9 Hz",
         9.9,
         {{0, 2000, 30, -40.0}, {0, 1989, 1, 12.1}},
         .expected = {[FLUSH] = 1}},
        {"down, less than a second after it",
         10.0,
         {{0, 2000, 30, -40.0}, {0, 1989, 1, 12.1}},
         .expected = {0}},
        {"down, less than a second after something small",
         10.0,
         {{0, 2000, 30, -40.0}, {0, 1989, 1, 11.9}},
         .expected = {[FLUSH] = 1}},
        {"with 0.29 of it in the other",
         10.0,
         {{0, 2000, 30, 100.0}, {1, 2000, 30, 29.5}},
         .expected = {[FLUSH] = 1}},
        {"with 0.31 of it in the other",
         10.0,
         {{0, 2000, 30, 100.0}, {1, 2000, 30, 30.5}},
         .expected = {0}},
        {"comes back to 0.29",
         10.0,
         {{0, 2000, 30, 100.0}, {0, 2030, 1800, 29.5}},
         .expected = {[FLUSH] = 1}},
        {"stays at 0.31", 10.0, {{0, 2000, 30, 100.0}, {0, 2030, 1800, 30.5}}, .expected = {0}},
        {"1.01 s", 9.9, {{0, 2000, 9, 100.0}}, .expected = {[FLUSH] = 1}},
        {"0.99 s", 9.1, {{0, 2000, 8, 100.0}}, .expected = {0}},
        {"59.9 s", 10.0, {{0, 2000, 595, 100.0}}, .expected = {[FLUSH] = 1}},
        {"60.5 s", 10.0, {{0, 2000, 605, 100.0}}, .expected = {0}},
        {"a ramp of 32.5 in five samples of 8.1 Hz, 26 in four",
         8.1,
         {{0, 2000, 40, 6.5},
          {0, 2001, 38, 6.5},
          {0, 2002, 36, 6.5},
          {0, 2003, 34, 6.5},
          {0, 2004, 32, 6.5}},
         .expected = {[FLUSH] = 1}},
        {"a ramp of 32.5 in five samples, 26 in four, at 8.0 Hz",
         8.0,
         {{0, 2000, 40, 6.5},
          {0, 2001, 38, 6.5},
          {0, 2002, 36, 6.5},
          {0, 2003, 34, 6.5},
          {0, 2004, 32, 6.5}},
         .expected = {0}},
    };

    (void)state;
    CHECK(rows);
}

static void test_marked_flushes(void **state)
{
    static const struct row rows[] = {
        {.what = "marked, above 10",
         .rate_hz = 10.0,
         .bumps = {{0, 2000, 30, 10.1}},
         .expected = {[FLUSH] = 1},
         .marker = EVENT_FLUSH,
         .marker_s = 190.0,
         .marked = true},
        {.what = "marked, below 10",
         .rate_hz = 10.0,
         .bumps = {{0, 2000, 30, 9.9}},
         .expected = {0},
         .marker = EVENT_FLUSH,
         .marker_s = 190.0},
        {.what = "marked 15 s before it is over",
         .rate_hz = 10.0,
         .bumps = {{0, 2000, 30, 20.0}},
         .expected = {[FLUSH] = 1},
         .marker = EVENT_ZERO,
         .marker_s = 185.1,
         .marked = true},
        {.what = "a marker further away",
         .rate_hz = 10.0,
         .bumps = {{0, 2000, 30, 20.0}},
         .expected = {0},
         .marker = EVENT_ZERO,
         .marker_s = 184.9},
    };

    (void)state;
    CHECK(rows);
}

static void test_strains_and_rectal_contractions(void **state)
{
    static const struct row rows[] = {
        {"mean rise below 10", 10.0, {{0, 2000, 60, 11.9}, {1, 2000, 60, 7.9}}, .expected = {0}},
        {"mean rise above 10",
         10.0,
         {{0, 2000, 60, 11.9}, {1, 2000, 60, 8.3}},
         .expected = {[STRAIN] = 1}},
        {"2.19 s", 9.6, {{2, 2000, 21, 30.0}}, .expected = {0}},
        {"2.23 s", 9.4, {{2, 2000, 21, 30.0}}, .expected = {[STRAIN] = 1}},
        {"pabd rises by 0.49 of it",
         10.0,
         {{0, 2000, 60, 30.0}, {1, 2000, 60, 14.8}},
         .expected = {0}},
        {"pabd rises by 0.51 of it",
         10.0,
         {{0, 2000, 60, 30.0}, {1, 2000, 60, 15.2}},
         .expected = {[STRAIN] = 1}},
        {"pves rises by 0.51 of it",
         10.0,
         {{0, 2000, 60, 15.2}, {1, 2000, 60, 30.0}},
         .expected = {[STRAIN] = 1}},
        {"pves rises by 0.49 of it",
         10.0,
         {{0, 2000, 60, 14.8}, {1, 2000, 60, 30.0}},
         .expected = {[RECTAL] = 1}},
        {"pabd alone by less than 5", 10.0, {{1, 2000, 100, 4.95}}, .expected = {0}},
        {"pabd alone by more than 5", 10.0, {{1, 2000, 100, 5.05}}, .expected = {[RECTAL] = 1}},
        {"pabd alone down", 10.0, {{1, 2000, 100, -5.05}}, .expected = {[RECTAL] = 1}},
        {"pabd alone for 2.96 s", 9.8, {{1, 2000, 29, 10.0}}, .expected = {0}},
        {"pabd alone for 3.02 s", 9.6, {{1, 2000, 29, 10.0}}, .expected = {[RECTAL] = 1}},
        {"pves alone", 10.0, {{0, 2000, 100, 20.0}}, .expected = {0}},
        {"pabd alone for half of 120 s", 10.0, {{1, 2000, 600, 10.0}}, .expected = {[RECTAL] = 1}},
        {"pabd alone for longer", 10.0, {{1, 2000, 610, 10.0}}, .expected = {0}},
        {.what = "a marked strain",
         .rate_hz = 10.0,
         .bumps = {{2, 2000, 60, 30.0}},
         .expected = {[STRAIN] = 1},
         .marker = EVENT_VALSALVA,
         .marker_s = 198.0,
         .marked = true},
    };

    (void)state;
    CHECK(rows);
}

static void test_changes_of_position(void **state)
{
    static const struct row rows[] = {
        {"below 5", 10.0, {{2, 2000, 9999, 4.95}}, .expected = {0}},
        {"above 5", 10.0, {{2, 2000, 9999, 5.05}}, .expected = {[POSITION] = 1}},
        {"down", 10.0, {{2, 2000, 9999, -12.0}}, .expected = {[POSITION] = 1}},
        {"up and down again", 10.0, {{2, 1000, 1000, 12.0}}, .expected = {[POSITION] = 2}},
        {"lines apart by less than 0.4",
         10.0,
         {{0, 2000, 9999, 15.0}, {1, 2000, 9999, 5.9}},
         .expected = {0}},
        {"lines apart by more than 0.4",
         10.0,
         {{0, 2000, 9999, 15.0}, {1, 2000, 9999, 6.1}},
         .expected = {[POSITION] = 1}},
        {"for 30 s", 10.0, {{2, 2000, 300, 12.0}}, .expected = {[STRAIN] = 1}},
        {"for 31 s", 10.0, {{2, 2000, 310, 12.0}}, .expected = {[POSITION] = 2}},
        {"for 30.5 s of 57 s", 9.5, {{2, 2000, 290, 12.0}}, .expected = {[POSITION] = 2}},
        {"begins with 0.198 of it",
         10.0,
         {{2, 2000, 9999, 2.97}, {2, 2200, 9999, 12.03}},
         .expected = {[POSITION] = 1}},
        {"begins with 0.202 of it",
         10.0,
         {{2, 2000, 9999, 3.03}, {2, 2200, 9999, 11.97}},
         .expected = {0}},
        {"16.0 s on the way", 10.0, {{2, 2000, 9999, 7.5}, {2, 2150, 9999, 7.5}}, .expected = {0}},
        {"15.15 s on the way", 9.9, {{2, 2000, 9999, 7.5}, {2, 2140, 9999, 7.5}}, .expected = {0}},
        {"14.74 s on the way",
         9.5,
         {{2, 2000, 9999, 7.5}, {2, 2130, 9999, 7.5}},
         .expected = {[POSITION] = 1}},
        {"one line alone", 10.0, {{0, 2000, 9999, 15.0}}, .expected = {0}},
    };

    (void)state;
    CHECK(rows);
}

/* A change that takes long is none: a ramp from 12 steps of 1 cmH2O, two thirds of it counted. */
static void test_slow_changes(void **state)
{
    static const struct {
        double ramp_s;
        size_t positions;
    } rows[] = {{10.0, 1}, {22.0, 1}, {29.0, 0}, {60.0, 0}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double points[][2] = {{200.0, 20.0}, {200.0 + rows[i].ramp_s, 35.0}};
        const struct polyline line = {2, points};
        const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = LENGTH_S};
        struct synth synth;

        synth_open(&synth, RECORDING_CYSTOMETRY);
        synth_channel(&synth, SIGNAL_PVES, sampling, polyline_value, &line);
        synth_channel(&synth, SIGNAL_PABD, sampling, polyline_value, &line);
        const struct pressure_events events = find(&synth);

        assert_int_equal(count_kind(&events, POSITION), rows[i].positions);
        if (rows[i].positions > 0) {
            assert_close(events.items[0].peak_s, 200.0 + 0.5 * rows[i].ramp_s, 2.0);
            assert_close(events.items[0].pves_rise_cmh2o, 15.0, 0.1);
            assert_close(events.items[0].pabd_rise_cmh2o, 15.0, 0.1);
        }
        synth_close(&synth);
    }
}

/* Each line's own peak within 0.3 s, over its median of the 2 s before. */
static void test_rises(void **state)
{
    enum { PEAK = 5000 };

    static const struct {
        double rate_hz;
        size_t late;       /* of the peak of pabd, samples */
        size_t raised_end; /* pves lies 6 cmH2O higher from 3 s before until then, samples before */
        double pves_rise;
        double pabd_rise;
    } rows[] = {{50.0, 0, 149, 50.0, 30.0},  /* together */
                {50.0, 15, 66, 50.0, 30.0},  /* 0.300 s late; 50 of 101 samples are higher */
                {49.5, 15, 149, 50.0, 0.0},  /* 0.303 s late */
                {50.0, 15, 65, 44.0, 30.0}}; /* 51 of 101 */

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double level = 20.0;
        const struct synth_sampling sampling = {.rate_hz = rows[i].rate_hz, .end_s = 300.0};
        struct synth synth;

        synth_open(&synth, RECORDING_CYSTOMETRY);
        double *pves = synth_channel(&synth, SIGNAL_PVES, sampling, constant_value, &level);
        double *pabd = synth_channel(&synth, SIGNAL_PABD, sampling, constant_value, &level);

        for (size_t k = PEAK - 4; k <= PEAK + 4; k++) {
            pves[k] += 40.0;
        }
        pves[PEAK] += 10.0;
        pabd[PEAK + rows[i].late] += 30.0;
        for (size_t k = 150; k >= rows[i].raised_end; k--) {
            pves[PEAK - k] += 6.0;
        }
        synth_event(&synth, EVENT_COUGH, 100.0);
        const struct pressure_events events = find(&synth);

        print_message("case %zu\n", i);
        assert_int_equal(count_kind(&events, COUGH), 1);
        assert_close(events.items[0].peak_s, PEAK / rows[i].rate_hz, 1e-9);
        assert_close(events.items[0].pves_rise_cmh2o, rows[i].pves_rise, 1e-9);
        assert_close(events.items[0].pabd_rise_cmh2o, rows[i].pabd_rise, 1e-9);
        synth_close(&synth);
    }
}

/* On a slow axis of ten samples each at 10 Hz, and at 9.1 Hz: the sample before the step and the
 * one after it. */
static void test_place_of_a_step(void **state)
{
    static const double rates_hz[] = {10.0, 9.1};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const struct row row = {.rate_hz = rates_hz[i], .bumps = {{2, 2000, 9999, 12.0}}};
        struct synth synth;

        synth_open(&synth, RECORDING_CYSTOMETRY);
        add_line(&synth, SIGNAL_PVES, &row, 0);
        add_line(&synth, SIGNAL_PABD, &row, 1);
        const struct pressure_events events = find(&synth);

        assert_int_equal(events.count, 1);
        assert_close(events.items[0].span.from_s, 1994.5 / rates_hz[i], 1e-6);
        assert_close(events.items[0].span.to_s, 2004.5 / rates_hz[i], 1e-6);
        synth_close(&synth);
    }
}

/* A strain that rises for 25 s in a straight line, stays for 3 s and ends at once. */
static struct pressure_event slow_strain(double rate_hz, double from_s, double height)
{
    const double points[][2] = {{from_s, 20.0},
                                {from_s + 25.0, 20.0 + height},
                                {from_s + 28.0, 20.0 + height},
                                {from_s + 28.0 + 1e-3, 20.0}};
    const struct polyline line = {4, points};
    const struct synth_sampling sampling = {.rate_hz = rate_hz, .end_s = LENGTH_S};
    struct synth synth;

    synth_open(&synth, RECORDING_CYSTOMETRY);
    synth_channel(&synth, SIGNAL_PVES, sampling, polyline_value, &line);
    synth_channel(&synth, SIGNAL_PABD, sampling, polyline_value, &line);
    const struct pressure_events events = find(&synth);

    assert_int_equal(events.count, 1);
    assert_int_equal(events.items[0].kind, PRESSURE_EVENT_STRAIN);
    const struct pressure_event event = events.items[0];

    synth_close(&synth);
    return event;
}

/* It begins at the first sample that is a fifth of its height, but at least 3 cmH2O, above the
 * level; its rise is that over the median of the 5 s that end half a second before. */
static void test_edges_of_a_strain(void **state)
{
    const struct pressure_event high = slow_strain(10.0, 200.05, 40.0); /* 1.6 cmH2O a second */
    const struct pressure_event low = slow_strain(10.0, 200.0, 14.5);   /* 0.58 */

    (void)state;
    assert_close(high.span.from_s, 205.1, 1e-6); /* 8.08 there, 7.92 a sample before */
    assert_close(high.pves_rise_cmh2o, 40.0 - 1.6 * (5.05 - 3.0), 0.02);
    assert_close(high.pabd_rise_cmh2o, 40.0 - 1.6 * (5.05 - 3.0), 0.02);
    assert_close(low.span.from_s, 205.2, 1e-6); /* 3.02 there, 2.96 a sample before */
    /* A fall at once, in a mean over h samples to each side: k samples after the last high one,
     * h + 1 - k of 2h + 1 are high. h is 10 at 10 Hz, 9 at 9 and 9.85 Hz. */
    assert_close(slow_strain(10.0, 200.0, 40.0).span.to_s, 228.0 + 0.6, 0.04);
    assert_close(slow_strain(9.85, 200.0, 40.0).span.to_s, 228.0 + 5.0 / 9.85, 0.06);
    assert_close(slow_strain(9.0, 200.0, 40.0).span.to_s, 228.0 + 6.0 / 9.0, 0.04);
}

/* With one line alone, coughs are found in it, and nothing that needs the other. */
static void test_one_line(void **state)
{
    static const struct row row = {
        .rate_hz = 10.0, .bumps = {{2, 1000, 0, 40.0}, {2, 1500, 80, 40.0}, {2, 2500, 9999, 20.0}}};

    static const enum signal_kind signals[] = {SIGNAL_PVES, SIGNAL_PABD};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct synth synth;

        synth_open(&synth, RECORDING_CYSTOMETRY);
        add_line(&synth, signals[i], &row, 2);
        const struct pressure_events events = find(&synth);

        assert_int_equal(events.count, 1);
        assert_int_equal(events.items[0].kind, PRESSURE_EVENT_COUGH);
        assert_close(events.items[0].peak_s, 100.0, 1e-9);
        assert_close(i == 0 ? events.items[0].pves_rise_cmh2o : events.items[0].pabd_rise_cmh2o,
                     40.0, 1e-6);
        assert_true(
            isnan(i == 0 ? events.items[0].pabd_rise_cmh2o : events.items[0].pves_rise_cmh2o));
        synth_close(&synth);
    }
}

/* pabd that is missing at the cough, begins late, and has another rate. */
static void test_gaps_and_rates(void **state)
{
    static const struct row fast = {.rate_hz = 10.0,
                                    .bumps = {{2, 1000, 0, 40.0}, {2, 2000, 60, 40.0}}};
    const double level = 20.0;
    struct synth synth;

    (void)state;
    synth_open(&synth, RECORDING_CYSTOMETRY);
    add_line(&synth, SIGNAL_PVES, &fast, 0);
    double *pabd =
        synth_channel(&synth, SIGNAL_PABD,
                      (struct synth_sampling){.rate_hz = 25.0, .start_s = 50.01, .end_s = LENGTH_S},
                      constant_value, &level);

    for (size_t i = 0; i < 150; i++) {
        pabd[3750 + i] += 40.0; /* 200 to 206 s */
    }
    synth_lose(&synth, SIGNAL_PABD, 90.0, 110.0);
    const struct pressure_events events = find(&synth);

    assert_int_equal(events.count, 2);
    assert_int_equal(events.items[0].kind, PRESSURE_EVENT_COUGH);
    assert_true(isnan(events.items[0].pabd_rise_cmh2o));
    assert_int_equal(events.items[1].kind, PRESSURE_EVENT_STRAIN);
    assert_close(events.items[1].pves_rise_cmh2o, 40.0, 1.0);
    assert_close(events.items[1].pabd_rise_cmh2o, 40.0, 1.0);
    assert_close(events.items[1].span.from_s, 200.0, 1.0);
    assert_close(events.items[1].span.to_s, 206.0, 1.0);
    synth_close(&synth);
}

static void test_overlap(void **state)
{
    static const struct pressure_event items[] = {
        {.kind = PRESSURE_EVENT_STRAIN, .span = {10.0, 12.0}},
        {.kind = PRESSURE_EVENT_COUGH, .span = {20.0, 21.0}}};
    static const struct pressure_events events = {2, items};
    const unsigned strain = 1u << PRESSURE_EVENT_STRAIN;

    (void)state;
    assert_true(pressure_events_overlap(&events, strain, (struct span){12.0, 15.0}, 0.0));
    assert_false(pressure_events_overlap(&events, strain, (struct span){12.1, 15.0}, 0.0));
    assert_true(pressure_events_overlap(&events, strain, (struct span){12.1, 15.0}, 0.2));
    assert_true(pressure_events_overlap(&events, strain, (struct span){5.0, 9.9}, 0.2));
    assert_false(pressure_events_overlap(&events, strain, (struct span){19.0, 22.0}, 0.0));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_coughs),
        cmocka_unit_test(test_volley),
        cmocka_unit_test(test_restlessness),
        cmocka_unit_test(test_flushes),
        cmocka_unit_test(test_marked_flushes),
        cmocka_unit_test(test_strains_and_rectal_contractions),
        cmocka_unit_test(test_changes_of_position),
        cmocka_unit_test(test_slow_changes),
        cmocka_unit_test(test_rises),
        cmocka_unit_test(test_place_of_a_step),
        cmocka_unit_test(test_edges_of_a_strain),
        cmocka_unit_test(test_one_line),
        cmocka_unit_test(test_gaps_and_rates),
        cmocka_unit_test(test_overlap),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
