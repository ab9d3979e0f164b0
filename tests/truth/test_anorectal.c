/* Anorectal manometry over noise, drift, rates and numbers of sensors, against what the recordings
 * were made from. */
#include "support/anorectal_case.h"
#include "support/assert_close.h"
#include "support/error_table.h"

#include <math.h>
#include <string.h>

static double value_of(const struct measure *measure)
{
    return measure->state == MEASURE_PRESENT ? measure->value : (double)NAN;
}

static double part_of(const struct measure *measure, const char *code)
{
    for (size_t i = 0; i < measure->part_count; i++) {
        if (strcmp(measure->parts[i].code, code) == 0) {
            return measure->parts[i].value;
        }
    }
    return (double)NAN;
}

/* Everything but coughs, whose peaks need a faster rate. */
static void collect(struct error_table *table, const struct anorectal_measures *measures,
                    double drift_mmhg_min)
{
    const struct anorectal_truth truth = anorectal_truth();
    const double per_s = drift_mmhg_min / 60.0;
    const double rest = truth.rest + per_s * measures->resting_pressure.at_s;
    const double residual = truth.push_residual + per_s * truth.push_s;

    error_table_add(table, "resting_pressure", value_of(&measures->resting_pressure) - rest);
    error_table_add(table, "squeeze_increment",
                    value_of(&measures->squeeze_increment) - truth.squeeze_increment);
    error_table_add(table, "squeeze_pressure_max",
                    value_of(&measures->squeeze_pressure_max) - truth.squeeze_max -
                        per_s * truth.squeeze_max_s);
    error_table_add(table, "squeeze_duration",
                    value_of(&measures->squeeze_duration) - truth.squeeze_duration_s);
    error_table_add(table, "long_squeeze_endurance",
                    value_of(&measures->long_squeeze_endurance) - truth.endurance_s);
    error_table_add(table, "push_rectal_rise",
                    value_of(&measures->push_rectal_rise) - truth.push_rise);
    error_table_add(table, "push_anal_residual",
                    value_of(&measures->push_anal_residual) - residual);
    error_table_add(table, "push_anal_relaxation",
                    value_of(&measures->push_anal_relaxation) - 100.0 * (1.0 - residual / rest));
    error_table_add(table, "rectoanal_gradient",
                    value_of(&measures->rectoanal_gradient) - truth.gradient +
                        per_s * truth.push_s);
    error_table_add(table, "rair volume",
                    part_of(&measures->rair, "volume_ml") - truth.rair_volume_ml);
    error_table_add(table, "rair duration",
                    part_of(&measures->rair, "duration_s") - truth.rair_duration_s);
    error_table_add(table, "first_sensation_volume",
                    value_of(&measures->first_sensation_volume) - truth.first_sensation_ml);
    error_table_add(table, "desire_volume", value_of(&measures->desire_volume) - truth.desire_ml);
    error_table_add(table, "maximum_tolerated_volume",
                    value_of(&measures->maximum_tolerated_volume) - truth.tolerated_ml);
    error_table_add(table, "rectal_compliance",
                    value_of(&measures->rectal_compliance) - truth.compliance);
    if (fabs(drift_mmhg_min) <= 0.0) {
        error_table_add(table, "defecation_index",
                        value_of(&measures->defecation_index) - truth.index);
        error_table_add(table, "rair relaxation",
                        part_of(&measures->rair, "relaxation_percent") - truth.rair_relaxation);
    }
}

static void collect_coughs(struct error_table *table, const struct anorectal_measures *measures,
                           double drift_mmhg_min)
{
    const struct anorectal_truth truth = anorectal_truth();

    error_table_add(table, "cough_increment",
                    value_of(&measures->cough_increment) - truth.cough_increment);
    error_table_add(table, "cough_gradient",
                    value_of(&measures->cough_gradient) - truth.cough_gradient -
                        drift_mmhg_min / 60.0 * truth.cough_gradient_s);
}

static void collect_kind(struct error_table *table, const struct anorectal_measures *measures,
                         const char *kind, const double *truth_s, size_t truth_count)
{
    const struct anorectal_manoeuvre *items = measures->manoeuvres.items;
    double found_s[64];
    size_t found = 0;

    for (size_t i = 0; i < measures->manoeuvres.count && found < 64; i++) {
        if (strcmp(items[i].kind, kind) == 0) {
            found_s[found++] = items[i].start_s;
        }
    }
    error_table_match(table, kind, truth_s, truth_count, found_s, found, 2.5);
}

static void collect_manoeuvres(struct error_table *table, const struct anorectal_measures *measures)
{
    const struct anorectal_truth truth = anorectal_truth();

    collect_kind(table, measures, "squeeze", truth.squeezes_s, ANORECTAL_SQUEEZES);
    collect_kind(table, measures, "long_squeeze", &truth.long_squeeze_s, 1);
    collect_kind(table, measures, "cough", truth.coughs_s, ANORECTAL_COUGHS);
    collect_kind(table, measures, "push", truth.pushes_s, ANORECTAL_PUSHES);
    collect_kind(table, measures, "balloon", truth.balloons_s, ANORECTAL_BALLOONS);
}

static const char *const pressures[] = {"resting_pressure",     "squeeze_increment",
                                        "squeeze_pressure_max", "push_rectal_rise",
                                        "push_anal_residual",   "rectoanal_gradient"};

static void assert_goals(const struct error_table *table)
{
    for (size_t i = 0; i < sizeof pressures / sizeof pressures[0]; i++) {
        assert_true(error_table_p95(table, pressures[i]) <= 1.0);
        assert_int_equal(error_table_absent(table, pressures[i]), 0);
    }
    assert_true(error_table_p95(table, "long_squeeze_endurance") <= 0.5);
    assert_true(error_table_p95(table, "squeeze_duration") <= 0.1);
    assert_true(error_table_p95(table, "push_anal_relaxation") <= 1.5);
    assert_true(error_table_p95(table, "defecation_index") <= 0.04);
    assert_true(error_table_p95(table, "rair relaxation") <= 2.5);
    assert_true(error_table_p95(table, "rair duration") <= 1.0);
    assert_true(error_table_p95(table, "rair volume") <= 1e-6);
    assert_true(error_table_p95(table, "first_sensation_volume") <= 0.1);
    assert_true(error_table_p95(table, "desire_volume") <= 0.1);
    assert_true(error_table_p95(table, "maximum_tolerated_volume") <= 0.1);
    assert_true(error_table_p95(table, "rectal_compliance") <= 0.1);
    assert_int_equal(error_table_absent(table, "long_squeeze_endurance"), 0);
    assert_int_equal(error_table_absent(table, "rair relaxation"), 0);
}

/* Rates of 10 to 100 Hz, 1 to 12 sensors, noise up to 1 mmHg, drift up to 1 mmHg/min, markers up to
 * 1.5 s late. */
static void test_with_markers(void **state)
{
    static const double rates_hz[] = {10.0, 25.0, 100.0};
    static const size_t sensors[] = {1, 2, 5, 12};
    static const double noises[] = {0.0, 0.5, 1.0};
    static const double drifts[] = {0.0, 1.0};
    struct error_table table;

    (void)state;
    error_table_open(&table, "anorectal manometry, manoeuvres marked");
    for (size_t i = 0; i < 72; i++) {
        const struct anorectal_case how = {.rate_hz = rates_hz[i % 3],
                                           .sensors = sensors[i / 3 % 4],
                                           .noise = noises[i / 12 % 3],
                                           .drift_mmhg_min = drifts[i / 36],
                                           .marker_late_s = 0.5 * (double)(i / 3 % 4),
                                           .mixed_rates = i % 2 == 1};
        struct synth synth;

        anorectal_case_open(&synth, how);
        const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

        assert_string_equal(measures->rair.word, "present");
        collect(&table, measures, how.drift_mmhg_min);
        if (how.rate_hz >= 25.0) {
            collect_coughs(&table, measures, how.drift_mmhg_min);
        }
        collect_manoeuvres(&table, measures);
        synth_close(&synth);
    }
    error_table_print(&table);
    assert_goals(&table);
    assert_true(error_table_p95(&table, "cough_increment") <= 1.5);
    assert_true(error_table_p95(&table, "cough_gradient") <= 2.0);
    error_table_close(&table);
}

/* Sensors beyond both ends of the canal do not count: those in the rectum show more than the canal
 * while pushing and coughing, and with a full balloon. */
static void test_sensors_beyond(void **state)
{
    static const size_t placed[][3] = {{12, 2, 3}, {8, 1, 2}, {8, 0, 4}, {4, 1, 2}, {2, 0, 1}};
    static const double rates_hz[] = {10.0, 25.0, 100.0};
    static const double noises[] = {0.0, 0.8};
    struct error_table table;

    (void)state;
    error_table_open(&table, "anorectal manometry, sensors outside and in the rectum");
    for (size_t i = 0; i < 60; i++) {
        const struct anorectal_case how = {.rate_hz = rates_hz[i % 3],
                                           .sensors = placed[i / 3 % 5][0],
                                           .outside = placed[i / 3 % 5][1],
                                           .in_rectum = placed[i / 3 % 5][2],
                                           .noise = noises[i / 15 % 2],
                                           .marker_late_s = 0.5,
                                           .mixed_rates = i % 2 == 1,
                                           .without_markers = i >= 30};
        struct synth synth;

        anorectal_case_open(&synth, how);
        const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

        assert_string_equal(measures->rair.word, "present");
        collect(&table, measures, 0.0);
        if (how.rate_hz >= 25.0) {
            collect_coughs(&table, measures, 0.0);
        }
        collect_manoeuvres(&table, measures);
        synth_close(&synth);
    }
    error_table_print(&table);
    assert_goals(&table);
    assert_true(error_table_p95(&table, "cough_increment") <= 1.5);
    assert_true(error_table_p95(&table, "cough_gradient") <= 2.0);
    error_table_close(&table);
}

/* The same without markers of squeezes, coughs, pushes and fast inflations. */
static void test_without_markers(void **state)
{
    static const char *const kinds[] = {"squeeze", "long_squeeze", "cough", "push", "balloon"};
    static const double rates_hz[] = {10.0, 25.0, 100.0};
    static const size_t sensors[] = {1, 3, 12};
    static const double noises[] = {0.5, 0.8, 2.0};
    static const double drifts[] = {-2.0, 0.0};
    struct error_table table;

    (void)state;
    error_table_open(&table, "anorectal manometry, manoeuvres found without markers");
    for (size_t i = 0; i < 54; i++) {
        const struct anorectal_case how = {.rate_hz = rates_hz[i % 3],
                                           .sensors = sensors[i / 3 % 3],
                                           .noise = noises[i / 9 % 3],
                                           .drift_mmhg_min = drifts[i / 27],
                                           .without_markers = true};
        struct synth synth;

        anorectal_case_open(&synth, how);
        const struct anorectal_measures *measures = &synth_run(&synth)->anorectal;

        collect_manoeuvres(&table, measures);
        if (how.noise <= 1.0) {
            collect(&table, measures, how.drift_mmhg_min);
        }
        assert_non_null(strstr(measures->squeeze_increment.method, "found without a marker"));
        assert_non_null(strstr(measures->push_rectal_rise.method, "found without a marker"));
        synth_close(&synth);
    }
    error_table_print(&table);
    assert_goals(&table);
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        assert_true(error_table_sensitivity(&table, kinds[i]) >= 0.99);
        assert_true(error_table_precision(&table, kinds[i]) >= 0.99);
    }
    error_table_close(&table);
}

/* ---- Length ---- */

/* A canal of a shape: rectum below it, skin beyond. */
struct canal {
    double from_mm; /* where the pressure begins to rise, from the start of the pull */
    double rise_mm; /* length of the rise and of the fall, as half a raised cosine each */
    double hold_mm;
    double height; /* over the rectal pressure, mmHg */
    double speed_mm_s;
    double pull_s; /* when the pull begins */
    double spacing_mm;
    size_t sensor;
    double station_mm; /* 0: continuous */
    double station_s;
};

static double canal_height(const struct canal *canal, double at_mm)
{
    const double pi = 3.14159265358979323846;
    const double in_mm = at_mm - canal->from_mm;
    const double out_mm = canal->from_mm + 2.0 * canal->rise_mm + canal->hold_mm - at_mm;
    const double edge_mm = fmin(in_mm, out_mm);

    if (edge_mm <= 0.0) {
        return 0.0;
    }
    return edge_mm >= canal->rise_mm
               ? canal->height
               : canal->height * 0.5 * (1.0 - cos(pi * edge_mm / canal->rise_mm));
}

/* Where it is more than 5 mmHg over the rectal pressure. */
static double canal_length(const struct canal *canal)
{
    const double pi = 3.14159265358979323846;
    const double edge_mm = canal->rise_mm / pi * acos(1.0 - 10.0 / canal->height);

    return 2.0 * (canal->rise_mm - edge_mm) + canal->hold_mm;
}

static double pulled_mm(double at_s, const void *context)
{
    const struct canal *canal = context;
    const double pulling_s = fmax(0.0, at_s - canal->pull_s);

    if (canal->station_mm > 0.0) {
        return fmin(80.0, canal->station_mm * floor(pulling_s / canal->station_s));
    }
    return fmin(80.0, canal->speed_mm_s * pulling_s);
}

static double pulled_pressure(double at_s, const void *context)
{
    const struct canal *canal = context;

    return 10.0 + canal_height(canal, pulled_mm(at_s, context));
}

static double placed_pressure(double at_s, const void *context)
{
    const struct canal *canal = context;

    (void)at_s;
    return 10.0 + canal_height(canal, canal->spacing_mm * (double)canal->sensor);
}

static double length_by_pull(const struct canal *canal, double rate_hz, double noise, bool puller)
{
    const struct synth_sampling sampling = {.rate_hz = rate_hz, .end_s = 400.0, .noise = noise};
    const double rectal = 10.0;
    struct synth synth;

    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    synth_channel(&synth, SIGNAL_PANAL, sampling, pulled_pressure, canal);
    synth_channel(&synth, SIGNAL_PRECT, sampling, constant_value, &rectal);
    if (puller) {
        synth_channel(&synth, SIGNAL_PULLER,
                      (struct synth_sampling){.rate_hz = 10.0, .end_s = 400.0}, pulled_mm, canal);
    } else {
        synth_event(&synth, EVENT_PULL_START, canal->pull_s);
        synth_event(&synth, EVENT_PULL_END, canal->pull_s + 80.0 / canal->speed_mm_s);
        synth.recording.conditions.puller_speed_mm_s =
            (struct optional_number){true, canal->speed_mm_s};
    }
    const double length_mm = value_of(&synth_run(&synth)->anorectal.functional_canal_length);

    synth_close(&synth);
    return length_mm;
}

static double length_by_sensors(struct canal canal, double noise)
{
    const struct synth_sampling sampling = {.rate_hz = 20.0, .end_s = 90.0, .noise = noise};
    const double rectal = 10.0;
    struct synth synth;

    synth_open(&synth, RECORDING_ANORECTAL_MANOMETRY);
    for (canal.sensor = 0; canal.sensor < 12; canal.sensor++) {
        synth_channel(&synth, (enum signal_kind)(SIGNAL_PANAL1 + (unsigned)canal.sensor), sampling,
                      placed_pressure, &canal);
    }
    synth_channel(&synth, SIGNAL_PRECT, sampling, constant_value, &rectal);
    synth.recording.conditions.anal_sensor_spacing_mm =
        (struct optional_number){true, canal.spacing_mm};
    const double length_mm = value_of(&synth_run(&synth)->anorectal.functional_canal_length);

    synth_close(&synth);
    return length_mm;
}

static void test_lengths(void **state)
{
    static const double speeds_mm_s[] = {0.5, 1.0, 2.0, 5.0};
    static const double noises[] = {0.0, 1.0, 2.0};
    static const double holds_mm[] = {5.0, 14.3, 22.0};
    struct error_table table;

    (void)state;
    error_table_open(&table, "functional length of the anal canal, mm");
    for (size_t i = 0; i < 36; i++) {
        struct canal canal = {.from_mm = 15.2,
                              .rise_mm = 12.0,
                              .hold_mm = holds_mm[i / 12],
                              .height = 55.0,
                              .speed_mm_s = speeds_mm_s[i % 4],
                              .pull_s = 70.0,
                              .spacing_mm = 6.0};
        const double noise = noises[i / 4 % 3];
        const double truth_mm = canal_length(&canal);

        error_table_add(&table, "pull, by markers",
                        length_by_pull(&canal, 25.0, noise, false) - truth_mm);
        error_table_add(&table, "pull, by puller",
                        length_by_pull(&canal, 25.0, noise, true) - truth_mm);
        canal.from_mm = 7.0;
        error_table_add(&table, "sensors 6 mm apart", length_by_sensors(canal, noise) - truth_mm);
        const struct canal narrow = {.from_mm = 3.5,
                                     .rise_mm = 8.0,
                                     .hold_mm = 0.4 * holds_mm[i / 12],
                                     .height = 55.0,
                                     .spacing_mm = 3.0};

        error_table_add(&table, "sensors 3 mm apart",
                        length_by_sensors(narrow, noise) - canal_length(&narrow));
        canal.from_mm = 15.2;
        canal.station_mm = 2.0;
        canal.station_s = 5.0;
        error_table_add(&table, "stations 2 mm apart",
                        length_by_pull(&canal, 25.0, noise, true) - truth_mm);
    }
    error_table_print(&table);
    assert_true(error_table_p95(&table, "pull, by markers") <= 1.0);
    assert_true(error_table_p95(&table, "pull, by puller") <= 1.0);
    assert_true(error_table_p95(&table, "stations 2 mm apart") <= 1.0);
    assert_true(error_table_p95(&table, "sensors 6 mm apart") <= 1.0);
    assert_true(error_table_p95(&table, "sensors 3 mm apart") <= 0.5);
    assert_int_equal(error_table_absent(&table, "pull, by markers"), 0);
    assert_int_equal(error_table_absent(&table, "pull, by puller"), 0);
    assert_int_equal(error_table_absent(&table, "stations 2 mm apart"), 0);
    assert_int_equal(error_table_absent(&table, "sensors 6 mm apart"), 0);
    error_table_close(&table);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_with_markers),
        cmocka_unit_test(test_sensors_beyond),
        cmocka_unit_test(test_without_markers),
        cmocka_unit_test(test_lengths),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
