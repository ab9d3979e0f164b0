/* Equipment: what is made of known values applied and readings taken.
 *
 * The limits are those of the ICS guidelines on urodynamic equipment performance, Gammie A et al.
 * Neurourol Urodyn 2014;33:370-379, and of good urodynamic practices, Schafer W et al. 2002;
 * 21:261-274, all from memory; puller, balloon and scale have none that is published. Gain, offset,
 * hysteresis and drift are arithmetic; the line is GSL's too. */
#include "support/assert_close.h"

#include "analysis/equipment.h"

#include <gsl/gsl_fit.h>
#include <math.h>
#include <string.h>

enum { COLUMN = 8 };

/* A static column upwards and down again. */
static const struct equipment_point column[COLUMN] = {
    {EQUIPMENT_PRESSURE, 0.0, 0.4, false},    {EQUIPMENT_PRESSURE, 10.0, 10.6, false},
    {EQUIPMENT_PRESSURE, 50.0, 50.9, false},  {EQUIPMENT_PRESSURE, 100.0, 101.3, false},
    {EQUIPMENT_PRESSURE, 100.0, 101.3, true}, {EQUIPMENT_PRESSURE, 50.0, 51.4, true},
    {EQUIPMENT_PRESSURE, 10.0, 10.9, true},   {EQUIPMENT_PRESSURE, 0.0, 0.6, true},
};

static struct equipment_check check_of(enum equipment_kind kind,
                                       const struct equipment_point *points, size_t count)
{
    struct equipment_check check = {.kind = kind, .points = points, .point_count = count};
    for (int i = 0; i < EQUIPMENT_QUANTITY_COUNT; i++) {
        check.limits[i] = equipment_limits_in_use(kind, (enum equipment_quantity)i,
                                                  &(struct equipment_limits){0});
    }
    return check;
}

static enum equipment_verdict verdict_of(enum equipment_kind kind,
                                         const struct equipment_point *points, size_t count)
{
    struct equipment_judgement judgement;
    const struct equipment_check check = check_of(kind, points, count);
    equipment_judge(&check, &judgement);
    return judgement.verdict;
}

static const struct equipment_note *find_note(const struct equipment_judgement *judgement,
                                              enum equipment_rule rule)
{
    for (size_t i = 0; i < judgement->note_count; i++) {
        if (judgement->notes[i].rule == rule) {
            return &judgement->notes[i];
        }
    }
    return NULL;
}

static void test_worked_column(void **state)
{
    static const double errors[COLUMN] = {0.4, 0.6, 0.9, 1.3, 1.3, 1.4, 0.9, 0.6};
    static const double limits[COLUMN] = {1.0, 1.0, 1.5, 3.0, 3.0, 1.5, 1.0, 1.0};
    struct equipment_judgement judgement;
    struct equipment_check check = check_of(EQUIPMENT_PRESSURE_TRANSDUCER, column, COLUMN);
    check.zero_before = (struct optional_number){true, 0.4};
    check.zero_after = (struct optional_number){true, 1.8};
    check.zero_hours = (struct optional_number){true, 0.75};

    (void)state;
    equipment_judge(&check, &judgement);

    for (size_t i = 0; i < COLUMN; i++) {
        assert_close(judgement.points[i].error, errors[i], 1e-9);
        assert_close(judgement.points[i].limit.value, limits[i], 1e-9);
        assert_int_equal(judgement.points[i].outcome, EQUIPMENT_WITHIN);
    }
    assert_false(judgement.points[0].error_percent.known);
    assert_close(judgement.points[3].error_percent.value, 1.3, 1e-9);
    const struct equipment_quantity_result *pressure = &judgement.quantities[EQUIPMENT_PRESSURE];
    assert_int_equal(pressure->point_count, COLUMN);
    assert_close(pressure->gain.value, 1.00854839, 1e-8);
    assert_close(pressure->offset.value, 0.45806452, 1e-8);
    assert_close(pressure->hysteresis.value, 0.5, 1e-9);
    assert_close(judgement.drift.value, 1.4, 1e-9);
    assert_close(judgement.drift_per_hour.value, 1.8667, 1e-4);
    assert_int_equal(judgement.verdict, EQUIPMENT_PASSED);
    assert_int_equal(judgement.note_count, 1);
    assert_int_equal(judgement.notes[0].rule, EQUIPMENT_RULE_DRIFT);
    assert_close(judgement.notes[0].value.value, 1.4, 1e-9);
    assert_close(judgement.notes[0].limit.value, 1.0, 0.0);
}

/* The strict form allows 1 cmH2O at any pressure. */
static void test_strict_column(void **state)
{
    const struct equipment_limits strict = {.percent = {true, 0.0}};
    struct equipment_judgement judgement;
    struct equipment_check check = check_of(EQUIPMENT_PRESSURE_TRANSDUCER, column, 4);
    check.limits[EQUIPMENT_PRESSURE] =
        equipment_limits_in_use(EQUIPMENT_PRESSURE_TRANSDUCER, EQUIPMENT_PRESSURE, &strict);

    (void)state;
    equipment_judge(&check, &judgement);

    assert_int_equal(judgement.verdict, EQUIPMENT_FAILED);
    assert_int_equal(judgement.note_count, 1);
    assert_int_equal(judgement.notes[0].rule, EQUIPMENT_RULE_POINT);
    assert_int_equal(judgement.notes[0].point, 3);
    assert_close(judgement.notes[0].value.value, 1.3, 1e-9);
    assert_int_equal(judgement.points[2].outcome, EQUIPMENT_WITHIN);
    assert_int_equal(judgement.points[3].outcome, EQUIPMENT_OUTSIDE);
    assert_false(judgement.quantities[EQUIPMENT_PRESSURE].hysteresis.known);
    assert_false(judgement.drift.known);
}

static void test_line_of_another_library(void **state)
{
    static const double applied[] = {0.0, 20.0, 40.0, 60.0, 80.0, 120.0, 200.0};
    static const double reading[] = {-0.7, 19.6, 40.3, 59.2, 81.1, 119.0, 201.9};

    enum { COUNT = sizeof applied / sizeof applied[0] };
    struct equipment_point points[COUNT];
    struct equipment_judgement judgement;
    double offset;
    double gain;
    double ignored;

    (void)state;
    for (size_t i = 0; i < COUNT; i++) {
        points[i] = (struct equipment_point){EQUIPMENT_PRESSURE, applied[i], reading[i], false};
    }
    const struct equipment_check check = check_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, COUNT);
    equipment_judge(&check, &judgement);
    gsl_fit_linear(applied, 1, reading, 1, COUNT, &offset, &gain, &ignored, &ignored, &ignored,
                   &ignored);

    assert_close(judgement.quantities[EQUIPMENT_PRESSURE].gain.value, gain, 1e-12);
    assert_close(judgement.quantities[EQUIPMENT_PRESSURE].offset.value, offset, 1e-10);
}

/* Flow: 500 mL in 25 s, shown as 19.6 mL/s. Volume: 412 shown for 400 is at the limit. Pump: 250 mL
 * due, 243 delivered. */
/* 10 cm[H2O] as such and out of mm[Hg]: one level, whose readings have no slope. */
static void test_no_line_through_one_level(void **state)
{
    const struct equipment_point points[] = {
        {EQUIPMENT_PRESSURE, 10.0, 10.0, false},
        {EQUIPMENT_PRESSURE, nextafter(10.0, 11.0), 10.9, false},
        {EQUIPMENT_PRESSURE, 50.0, 50.0, true},
    };
    struct equipment_judgement judgement;
    struct equipment_check check = check_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, 3);

    (void)state;
    equipment_judge(&check, &judgement);
    assert_false(judgement.quantities[EQUIPMENT_PRESSURE].gain.known);
    assert_false(judgement.quantities[EQUIPMENT_PRESSURE].offset.known);
    assert_null(find_note(&judgement, EQUIPMENT_RULE_GAIN));
    assert_null(find_note(&judgement, EQUIPMENT_RULE_OFFSET));
}

static void test_worked_flow_volume_and_pump(void **state)
{
    const struct equipment_point meter[] = {{EQUIPMENT_FLOW, 500.0 / 25.0, 19.6, false},
                                            {EQUIPMENT_VOLUME, 400.0, 412.0, false}};
    const struct equipment_point pump[] = {{EQUIPMENT_RATE, 50.0, 243.0 / 5.0, false}};
    struct equipment_judgement judgement;
    struct equipment_check check = check_of(EQUIPMENT_FLOWMETER, meter, 2);

    (void)state;
    equipment_judge(&check, &judgement);
    assert_int_equal(judgement.verdict, EQUIPMENT_PASSED);
    assert_int_equal(judgement.note_count, 0);
    assert_close(judgement.points[0].error, -0.4, 1e-9);
    assert_close(judgement.points[0].error_percent.value, -2.0, 1e-9);
    assert_close(judgement.points[1].error_percent.value, 3.0, 1e-9);
    assert_false(judgement.quantities[EQUIPMENT_FLOW].gain.known);

    check = check_of(EQUIPMENT_INFUSION_PUMP, pump, 1);
    equipment_judge(&check, &judgement);
    assert_int_equal(judgement.verdict, EQUIPMENT_PASSED);
    assert_close(judgement.points[0].error_percent.value, -2.8, 1e-9);
}

/* Exactly at the limit passes, on both sides, also where decimals have no exact binary form; just
 * beyond it fails. */
static void test_limits_of_a_point(void **state)
{
    static const struct {
        enum equipment_kind kind;
        enum equipment_quantity quantity;
        double applied;
        double limit;
    } rows[] = {
        {EQUIPMENT_PRESSURE_TRANSDUCER, EQUIPMENT_PRESSURE, 0.1, 1.0},
        {EQUIPMENT_PRESSURE_TRANSDUCER, EQUIPMENT_PRESSURE, 33.3, 1.0},
        {EQUIPMENT_PRESSURE_TRANSDUCER, EQUIPMENT_PRESSURE, 100.1, 3.003},
        {EQUIPMENT_PRESSURE_TRANSDUCER, EQUIPMENT_PRESSURE, -40.0, 1.2},
        {EQUIPMENT_FLOWMETER, EQUIPMENT_FLOW, 0.0, 1.0},
        {EQUIPMENT_FLOWMETER, EQUIPMENT_FLOW, 40.3, 1.0},
        {EQUIPMENT_FLOWMETER, EQUIPMENT_VOLUME, 400.0, 12.0},
        {EQUIPMENT_FLOWMETER, EQUIPMENT_VOLUME, 10.1, 0.303},
        {EQUIPMENT_INFUSION_PUMP, EQUIPMENT_RATE, 50.0, 2.5},
        {EQUIPMENT_INFUSION_PUMP, EQUIPMENT_VOLUME, 250.0, 12.5},
        {EQUIPMENT_PULLER, EQUIPMENT_SPEED, 1.0, 0.05},
        {EQUIPMENT_PULLER, EQUIPMENT_LENGTH, 60.0, 3.0},
        {EQUIPMENT_BALLOON_SYRINGE, EQUIPMENT_VOLUME, 60.0, 3.0},
        {EQUIPMENT_SCALE, EQUIPMENT_MASS, 148.6, 1.0},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        for (int side = -1; side <= 1; side += 2) {
            static const struct {
                double share;
                enum equipment_outcome outcome;
            } errors[] = {{1.0, EQUIPMENT_WITHIN},
                          {1.0 - 1e-6, EQUIPMENT_WITHIN},
                          {1.0 + 1e-6, EQUIPMENT_OUTSIDE}};

            for (size_t k = 0; k < sizeof errors / sizeof errors[0]; k++) {
                const double error = side * rows[i].limit * errors[k].share;
                const struct equipment_point point = {rows[i].quantity, rows[i].applied,
                                                      rows[i].applied + error, false};
                const struct equipment_check check = check_of(rows[i].kind, &point, 1);
                struct equipment_judgement judgement;
                print_message("row %zu, %g of the limit\n", i, side * errors[k].share);
                equipment_judge(&check, &judgement);
                assert_close(judgement.points[0].limit.value, rows[i].limit, 1e-9);
                assert_int_equal(judgement.points[0].outcome, errors[k].outcome);
                assert_int_equal(find_note(&judgement, EQUIPMENT_RULE_POINT) != NULL,
                                 errors[k].outcome == EQUIPMENT_OUTSIDE);
            }
        }
    }
}

/* How much of an error is arithmetic: 1e-9 of limit and applied value. */
static void test_rounding(void **state)
{
    static const struct {
        double beyond;
        enum equipment_outcome outcome;
    } rows[] = {{0.99e-9, EQUIPMENT_WITHIN}, {1.01e-9, EQUIPMENT_OUTSIDE}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct equipment_point point = {EQUIPMENT_PRESSURE, 0.0, 1.0 + rows[i].beyond, false};
        const struct equipment_check check = check_of(EQUIPMENT_PRESSURE_TRANSDUCER, &point, 1);
        struct equipment_judgement judgement;
        equipment_judge(&check, &judgement);
        assert_int_equal(judgement.points[0].outcome, rows[i].outcome);
    }
}

static void test_limit_of_hysteresis(void **state)
{
    struct equipment_point points[] = {{EQUIPMENT_PRESSURE, 0.0, 0.0, false},
                                       {EQUIPMENT_PRESSURE, 50.0, 49.6, false},
                                       {EQUIPMENT_PRESSURE, 50.0, 50.6, true},
                                       {EQUIPMENT_PRESSURE, 60.0, 61.0, true}};

    (void)state;
    assert_int_equal(verdict_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, 4), EQUIPMENT_PASSED);
    points[2].reading = 50.6001;
    const struct equipment_check check = check_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, 4);
    struct equipment_judgement judgement;
    equipment_judge(&check, &judgement);
    assert_int_equal(judgement.verdict, EQUIPMENT_FAILED);
    assert_non_null(find_note(&judgement, EQUIPMENT_RULE_HYSTERESIS));
    assert_null(find_note(&judgement, EQUIPMENT_RULE_POINT));
    assert_close(judgement.quantities[EQUIPMENT_PRESSURE].hysteresis.value, 1.0001, 1e-9);
}

/* Readings on a line of a gain and an offset. */
static void judge_line(double gain, double offset, struct equipment_judgement *judgement)
{
    struct equipment_point points[3] = {0};
    for (size_t i = 0; i < 3; i++) {
        const double applied = 50.0 * (double)i;
        points[i] =
            (struct equipment_point){EQUIPMENT_PRESSURE, applied, offset + gain * applied, false};
    }
    const struct equipment_check check = check_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, 3);
    equipment_judge(&check, judgement);
}

/* A gain of 0.97 to 1.03 and an offset of up to 1 are left alone; beyond them a calibration is
 * asked for. */
static void test_limits_of_gain_and_offset(void **state)
{
    static const struct {
        double gain;
        double offset;
        bool gain_noted;
        bool offset_noted;
        enum equipment_verdict verdict;
    } rows[] = {
        {0.97, 0.0, false, false, EQUIPMENT_PASSED},  {1.03, 0.0, false, false, EQUIPMENT_PASSED},
        {0.9699, 0.5, true, false, EQUIPMENT_PASSED}, {1.0301, -0.5, true, false, EQUIPMENT_PASSED},
        {1.0, 1.0, false, false, EQUIPMENT_PASSED},   {1.0, -1.0, false, false, EQUIPMENT_PASSED},
        {1.0, 1.001, false, true, EQUIPMENT_FAILED},  {0.99, -1.001, false, true, EQUIPMENT_FAILED},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct equipment_judgement judgement;
        print_message("row %zu\n", i);
        judge_line(rows[i].gain, rows[i].offset, &judgement);
        assert_int_equal(find_note(&judgement, EQUIPMENT_RULE_GAIN) != NULL, rows[i].gain_noted);
        assert_int_equal(find_note(&judgement, EQUIPMENT_RULE_OFFSET) != NULL,
                         rows[i].offset_noted);
        assert_int_equal(judgement.verdict, rows[i].verdict);
    }
}

/* Less than 1 cmH2O in a test is wanted: exactly 1 is noted. */
static void test_limit_of_drift(void **state)
{
    static const struct {
        double before;
        double after;
        bool noted;
    } rows[] = {{0.4, 1.4, true}, {0.4, 1.399, false}, {0.4, -0.6, true}, {0.4, -0.599, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct equipment_check check = check_of(EQUIPMENT_PRESSURE_TRANSDUCER, column, 4);
        struct equipment_judgement judgement;
        check.zero_before = (struct optional_number){true, rows[i].before};
        check.zero_after = (struct optional_number){true, rows[i].after};
        equipment_judge(&check, &judgement);
        assert_int_equal(find_note(&judgement, EQUIPMENT_RULE_DRIFT) != NULL, rows[i].noted);
        assert_false(judgement.drift_per_hour.known);
        assert_int_equal(judgement.verdict, EQUIPMENT_PASSED);
    }
}

/* A column is read at 0 and 50 cmH2O at least. */
static void test_levels_of_a_column(void **state)
{
    struct equipment_point points[] = {{EQUIPMENT_PRESSURE, 0.0, 0.0, false},
                                       {EQUIPMENT_PRESSURE, 50.0, 50.0, false}};

    (void)state;
    assert_int_equal(verdict_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, 2), EQUIPMENT_PASSED);
    assert_int_equal(verdict_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, 1), EQUIPMENT_INCOMPLETE);
    points[1].applied = 49.9;
    assert_int_equal(verdict_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, 2), EQUIPMENT_INCOMPLETE);
    points[1].reading = 60.0;
    assert_int_equal(verdict_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, 2), EQUIPMENT_FAILED);
    points[1] = (struct equipment_point){EQUIPMENT_PRESSURE, 100.0, 100.0, false};
    assert_int_equal(verdict_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, 2), EQUIPMENT_PASSED);
    points[0].applied = 0.1;
    assert_int_equal(verdict_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, 2), EQUIPMENT_INCOMPLETE);
}

/* A flowmeter shows flow and volume, unless it says that it has only one; of a pump or a puller one
 * follows from the other. */
static void test_what_must_be_checked(void **state)
{
    const struct equipment_point flow = {EQUIPMENT_FLOW, 20.0, 20.0, false};
    const struct equipment_point volume = {EQUIPMENT_VOLUME, 200.0, 200.0, false};
    struct equipment_judgement judgement;

    (void)state;
    struct equipment_check check = check_of(EQUIPMENT_FLOWMETER, &volume, 1);
    equipment_judge(&check, &judgement);
    assert_int_equal(judgement.verdict, EQUIPMENT_INCOMPLETE);
    assert_int_equal(judgement.notes[0].rule, EQUIPMENT_RULE_MISSING);
    assert_int_equal(judgement.notes[0].quantity, EQUIPMENT_FLOW);
    check.signals[SIGNAL_VVOID] = true;
    equipment_judge(&check, &judgement);
    assert_int_equal(judgement.verdict, EQUIPMENT_PASSED);
    check.signals[SIGNAL_FLOW] = true;
    equipment_judge(&check, &judgement);
    assert_int_equal(judgement.verdict, EQUIPMENT_INCOMPLETE);
    assert_int_equal(verdict_of(EQUIPMENT_FLOWMETER, &flow, 1), EQUIPMENT_INCOMPLETE);
    assert_int_equal(verdict_of(EQUIPMENT_INFUSION_PUMP, &volume, 1), EQUIPMENT_PASSED);
    assert_int_equal(verdict_of(EQUIPMENT_INFUSION_PUMP, NULL, 0), EQUIPMENT_INCOMPLETE);
}

/* EMG has no limit in absolute terms, nor has a share of nothing. */
static void test_without_a_limit(void **state)
{
    const struct equipment_point emg = {EQUIPMENT_AMPLITUDE, 100.0, 150.0, false};
    const struct equipment_point volumes[] = {{EQUIPMENT_VOLUME, 0.0, 4.0, false},
                                              {EQUIPMENT_VOLUME, 60.0, 61.0, false}};
    struct equipment_judgement judgement;

    (void)state;
    struct equipment_check check = check_of(EQUIPMENT_EMG_AMPLIFIER, &emg, 1);
    equipment_judge(&check, &judgement);
    assert_int_equal(judgement.verdict, EQUIPMENT_NOT_JUDGED);
    assert_int_equal(judgement.points[0].outcome, EQUIPMENT_NO_LIMIT);
    assert_false(judgement.points[0].limit.known);
    assert_close(judgement.points[0].error_percent.value, 50.0, 1e-9);

    check.limits[EQUIPMENT_AMPLITUDE].percent = (struct optional_number){true, 50.0};
    equipment_judge(&check, &judgement);
    assert_int_equal(judgement.verdict, EQUIPMENT_PASSED);

    check = check_of(EQUIPMENT_BALLOON_SYRINGE, volumes, 2);
    equipment_judge(&check, &judgement);
    assert_int_equal(judgement.points[0].outcome, EQUIPMENT_NO_LIMIT);
    assert_int_equal(judgement.points[1].outcome, EQUIPMENT_WITHIN);
    assert_int_equal(judgement.verdict, EQUIPMENT_PASSED);
    assert_int_equal(verdict_of(EQUIPMENT_BALLOON_SYRINGE, volumes, 1), EQUIPMENT_NOT_JUDGED);
}

static void test_many_points(void **state)
{
    struct equipment_point points[EQUIPMENT_POINT_LIMIT + 1];
    struct equipment_judgement judgement;

    (void)state;
    for (size_t i = 0; i <= EQUIPMENT_POINT_LIMIT; i++) {
        points[i] = (struct equipment_point){EQUIPMENT_PRESSURE, (double)i, 1000.0, i % 2 == 1};
    }
    const struct equipment_check check =
        check_of(EQUIPMENT_PRESSURE_TRANSDUCER, points, EQUIPMENT_POINT_LIMIT + 1);
    equipment_judge(&check, &judgement);
    assert_int_equal(judgement.quantities[EQUIPMENT_PRESSURE].point_count, EQUIPMENT_POINT_LIMIT);
    assert_true(judgement.note_count <= EQUIPMENT_NOTE_LIMIT);
    assert_int_equal(judgement.verdict, EQUIPMENT_FAILED);
}

static void test_names(void **state)
{
    (void)state;
    for (int i = 0; i < EQUIPMENT_KIND_COUNT; i++) {
        const enum equipment_kind kind = (enum equipment_kind)i;
        assert_int_equal(equipment_kind_from_name(equipment_kind_name(kind)), i);
        assert_true(equipment_measures(kind, equipment_first_quantity(kind)));
    }
    assert_int_equal(equipment_kind_from_name("kettle"), EQUIPMENT_KIND_COUNT);
    for (int i = 0; i < EQUIPMENT_VERDICT_COUNT; i++) {
        assert_int_equal(
            equipment_verdict_from_name(equipment_verdict_name((enum equipment_verdict)i)), i);
    }
    assert_int_equal(equipment_verdict_from_name(""), EQUIPMENT_VERDICT_COUNT);
    assert_string_equal(equipment_quantity_name(EQUIPMENT_MASS), "mass");
    assert_string_equal(equipment_quantity_unit(EQUIPMENT_MASS), "g");
    assert_string_equal(equipment_rule_name(EQUIPMENT_RULE_DRIFT), "drift");
    assert_false(equipment_measures(EQUIPMENT_SCALE, EQUIPMENT_VOLUME));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_worked_column),
        cmocka_unit_test(test_strict_column),
        cmocka_unit_test(test_line_of_another_library),
        cmocka_unit_test(test_no_line_through_one_level),
        cmocka_unit_test(test_worked_flow_volume_and_pump),
        cmocka_unit_test(test_limits_of_a_point),
        cmocka_unit_test(test_rounding),
        cmocka_unit_test(test_limit_of_hysteresis),
        cmocka_unit_test(test_limits_of_gain_and_offset),
        cmocka_unit_test(test_limit_of_drift),
        cmocka_unit_test(test_levels_of_a_column),
        cmocka_unit_test(test_what_must_be_checked),
        cmocka_unit_test(test_without_a_limit),
        cmocka_unit_test(test_many_points),
        cmocka_unit_test(test_names),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
