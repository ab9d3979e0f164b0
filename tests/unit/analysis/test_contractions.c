/* Rules for involuntary contractions and what follows from them, on lines without noise: each limit
 * from both sides. */
#include "support/assert_close.h"
#include "support/cystometry_case.h"

#include <math.h>
#include <string.h>

/* A quiet filling of 600 s: pump from 30 to 570 s at 30 mL/min. */
static struct cystometry_case quiet(bool permission)
{
    return (struct cystometry_case){
        .rate_hz = 10.0, .rise = 4.0, .length_s = 600.0, .permission = permission};
}

static struct cystometry_event contraction(double at_s, double length_s, double pves, double pabd)
{
    return (struct cystometry_event){CASE_CONTRACTION, .at_s = at_s, .length_s = length_s,
                                     .pves = pves,     .pabd = pabd, .fullness = 0.5};
}

static const struct filling_measures *run(struct synth *synth, const struct cystometry_case *plan)
{
    cystometry_open(synth, plan);
    return &synth_run(synth)->filling;
}

static const struct involuntary_contraction *item(const struct filling_measures *filling, size_t i)
{
    const struct involuntary_contraction *items = filling->involuntary_contractions.items;

    assert_true(i < filling->involuntary_contractions.count);
    return &items[i];
}

static size_t count_of(struct cystometry_event event)
{
    struct synth synth;
    struct cystometry_case plan = quiet(true);

    cystometry_add(&plan, event);
    const size_t count = run(&synth, &plan)->involuntary_contractions.count;

    synth_close(&synth);
    return count;
}

static void test_one(void **state)
{
    struct synth synth;
    struct cystometry_case plan = quiet(true);

    (void)state;
    cystometry_add(&plan, contraction(300.0, 40.0, 20.0, 1.0));
    const struct filling_measures *filling = run(&synth, &plan);
    const struct involuntary_contraction *found = item(filling, 0);

    assert_int_equal(filling->involuntary_contractions.count, 1);
    assert_non_null(strstr(filling->involuntary_contractions.method, "suggestion for review"));
    assert_close(found->amplitude_cmh2o, 19.0, 0.3);
    assert_close(found->peak_pdet_cmh2o, 19.0 + 2.0 + 4.0 * 0.39, 0.5);
    assert_close(found->start_s, 300.0, 2.5);
    assert_close(found->peak_s, 320.0, 1.0);
    assert_close(found->end_s, 340.0, 2.5);
    assert_close(found->volume_ml, 0.5 * (found->start_s - 30.0), 1e-6);
    assert_string_equal(found->kind, "phasic");
    assert_false(found->leak || found->urgency || found->after_cough);
    synth.recording.conditions.initial_residual_ml = (struct optional_number){true, 40.0};
    assert_close(item(&synth_run(&synth)->filling, 0)->volume_ml,
                 0.5 * (found->start_s - 30.0) + 40.0, 1e-6);
    synth_close(&synth);
}

/* The clinic's smallest amplitude; the length above half of it; pabd by less than half of pves. */
static void test_limits(void **state)
{
    (void)state;
    assert_int_equal(count_of(contraction(300.0, 40.0, 4.8, 0.0)), 0);
    assert_int_equal(count_of(contraction(300.0, 40.0, 5.2, 0.0)), 1);
    assert_int_equal(count_of(contraction(300.0, 6.9, 20.0, 0.0)), 0);
    assert_int_equal(count_of(contraction(300.0, 8.5, 20.0, 0.0)), 1);
    assert_int_equal(count_of(contraction(300.0, 40.0, 20.0, 9.7)), 1);
    assert_int_equal(count_of(contraction(300.0, 40.0, 20.0, 10.3)), 0);
    assert_int_equal(count_of(contraction(300.0, 40.0, 20.0, -9.7)), 1);
    assert_int_equal(count_of(contraction(300.0, 40.0, 20.0, -10.3)), 0);
    assert_int_equal(count_of(contraction(300.0, 40.0, 2.0, -20.0)), 0);
    assert_int_equal(count_of(contraction(300.0, 40.0, 0.0, -20.0)), 0);
}

static void test_smallest_amplitude_is_a_choice(void **state)
{
    struct synth synth;
    struct analysis_choices choices;
    struct cystometry_case plan = quiet(true);

    (void)state;
    choices_standard(&choices);
    choices.contraction_amplitude_cmh2o.value = 10.0;
    cystometry_add(&plan, contraction(150.0, 40.0, 9.7, 0.0));
    cystometry_add(&plan, contraction(350.0, 40.0, 10.4, 0.0));
    assert_int_equal(run(&synth, &plan)->involuntary_contractions.count, 2);
    synth.choices = &choices;
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    assert_int_equal(filling->involuntary_contractions.count, 1);
    assert_close(item(filling, 0)->peak_s, 370.0, 1.0);
    synth_close(&synth);
}

/* Two in a row are two when it falls by more than half between them. */
static void test_apart(void **state)
{
    static const struct {
        double gap_s;
        size_t count;
    } rows[] = {{-24.0, 1}, {-8.4, 1}, {-7.6, 2}, {10.0, 2}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;
        struct cystometry_case plan = quiet(true);

        cystometry_add(&plan, contraction(250.0, 50.0, 20.0, 0.0));
        cystometry_add(&plan, contraction(300.0 + rows[i].gap_s, 50.0, 20.0, 0.0));
        const struct filling_measures *filling = run(&synth, &plan);

        assert_int_equal(filling->involuntary_contractions.count, rows[i].count);
        assert_true(rows[i].count == 1 || item(filling, 0)->end_s <= item(filling, 1)->start_s);
        synth_close(&synth);
    }
}

static void test_urgency_and_cough(void **state)
{
    struct synth synth;
    struct cystometry_case plan = quiet(true);

    (void)state;
    cystometry_add(&plan, contraction(300.0, 40.0, 20.0, 0.0));
    const double start_s = item(run(&synth, &plan), 0)->start_s;
    const double end_s = item(&synth_run(&synth)->filling, 0)->end_s;

    synth_event(&synth, EVENT_URGENCY, 0.0);
    struct event *marker = &synth.events[synth.recording.event_count - 1];
    static const double off_s[] = {-5.1, -4.95, 4.95, 5.1};

    for (size_t i = 0; i < 4; i++) {
        marker->at_s = (off_s[i] < 0.0 ? start_s : end_s) + off_s[i];
        assert_int_equal(item(&synth_run(&synth)->filling, 0)->urgency, i == 1 || i == 2);
    }
    synth_close(&synth);

    static const double before_s[] = {2.0, 4.9, 6.2};

    for (size_t i = 0; i < 3; i++) {
        plan.event_count = 1;
        cystometry_add(&plan, (struct cystometry_event){CASE_COUGH, start_s - before_s[i], 0.25,
                                                        60.0, 55.0, 0.0, 0.0});
        assert_int_equal(item(run(&synth, &plan), 0)->after_cough, i < 2);
        synth_close(&synth);
    }
}

/* Terminal: from 90 % of the capacity on, and filling ends with it. */
static void test_terminal(void **state)
{
    static const struct {
        double at_s;
        double length_s;
        bool permission;
        double stop_s; /* 0: none */
        const char *kind;
    } rows[] = {{540.0, 80.0, false, 0.0, "terminal"},  /* goes on at the end of the record */
                {525.0, 25.0, true, 545.0, "terminal"}, /* the pump is stopped during it */
                {525.0, 25.0, true, 0.0, "phasic"},     /* over before permission */
                {480.0, 40.0, true, 500.0, "phasic"},   /* too early for its volume */
                {300.0, 40.0, true, 0.0, "phasic"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;
        struct cystometry_case plan = quiet(rows[i].permission);

        cystometry_add(&plan, contraction(rows[i].at_s, rows[i].length_s, 30.0, 0.0));
        cystometry_open(&synth, &plan);
        if (rows[i].stop_s > 0.0) {
            synth_event(&synth, EVENT_FILLING_STOP, rows[i].stop_s);
        }
        const struct filling_measures *filling = &synth_run(&synth)->filling;

        print_message("case %zu\n", i);
        assert_int_equal(filling->involuntary_contractions.count, 1);
        assert_string_equal(item(filling, 0)->kind, rows[i].kind);
        synth_close(&synth);
    }
}

/* What begins just before permission to void, and is still up at it, is the voiding. */
static void test_permission(void **state)
{
    static const struct {
        double at_s;
        size_t count;
    } rows[] = {{580.0, 0}, {560.0, 0}, {551.5, 0}, {545.0, 1}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;
        struct cystometry_case plan = quiet(true);

        cystometry_add(&plan, contraction(rows[i].at_s, 50.0, 40.0, 0.0));
        assert_int_equal(run(&synth, &plan)->involuntary_contractions.count, rows[i].count);
        synth_close(&synth);
    }
}

/* The level follows a change of position, and what a flush or gap hides. */
static void test_disturbed_level(void **state)
{
    struct synth synth;
    struct cystometry_case plan = quiet(true);

    (void)state;
    cystometry_add(&plan, (struct cystometry_event){CASE_FLUSH, 120.0, 4.0, 150.0, 0.0, 0.0, 0.0});
    cystometry_add(&plan,
                   (struct cystometry_event){CASE_POSITION, 200.0, 5.0, 17.0, 10.0, 0.0, 0.0});
    cystometry_add(&plan, (struct cystometry_event){CASE_RECTAL, 300.0, 30.0, 0.0, 15.0, 0.0, 0.0});
    cystometry_add(&plan,
                   (struct cystometry_event){CASE_RECTAL, 350.0, 30.0, 0.0, -15.0, 0.0, 0.0});
    cystometry_add(&plan, (struct cystometry_event){CASE_STRAIN, 420.0, 9.0, 60.0, 40.0, 0.0, 0.0});
    cystometry_add(&plan, contraction(460.0, 40.0, 10.0, 0.0));
    const struct filling_measures *filling = run(&synth, &plan);

    assert_int_equal(filling->involuntary_contractions.count, 1);
    assert_close(item(filling, 0)->amplitude_cmh2o, 10.0, 0.5);
    assert_int_equal(filling->strains.count, 1);
    synth_lose(&synth, SIGNAL_PVES, 470.0, 473.0);
    assert_int_equal(synth_run(&synth)->filling.involuntary_contractions.count, 1);
    synth_lose(&synth, SIGNAL_PVES, 440.0, 520.0);
    assert_int_equal(synth_run(&synth)->filling.involuntary_contractions.count, 0);
    synth_close(&synth);
}

static void assert_absent(const struct item_list *list, const char *reason)
{
    assert_int_equal(list->state, MEASURE_ABSENT);
    assert_int_equal(list->count, 0);
    if (strstr(list->reason, reason) == NULL) {
        fail_msg("reason \"%s\" does not say \"%s\"", list->reason, reason);
    }
}

/* Two of the three pressures are needed, from 1 Hz on. */
static void test_what_is_needed(void **state)
{
    static const enum signal_kind dropped[] = {SIGNAL_PVES, SIGNAL_PABD, SIGNAL_PDET};
    struct cystometry_case plan = quiet(true);
    struct synth synth;

    (void)state;
    plan.with_pdet = true;
    cystometry_add(&plan, contraction(300.0, 40.0, 20.0, 0.0));
    cystometry_add(&plan, (struct cystometry_event){CASE_STRAIN, 400.0, 9.0, 40.0, 40.0, 0.0, 0.0});
    for (size_t i = 0; i < 3; i++) {
        cystometry_open(&synth, &plan);
        for (size_t k = 0; k < synth.recording.channel_count; k++) {
            if (synth.channels[k].signal == dropped[i]) {
                synth.channels[k].signal = SIGNAL_PVAG;
            }
        }
        const struct filling_measures *filling = &synth_run(&synth)->filling;

        assert_int_equal(filling->involuntary_contractions.count, 1);
        assert_int_equal(filling->strains.count, 1);
        assert_close(item(filling, 0)->amplitude_cmh2o, 20.0, 0.3);
        synth_close(&synth);
    }
    plan.with_pdet = false;
    cystometry_open(&synth, &plan);
    synth.channels[1].signal = SIGNAL_PVAG;
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    assert_absent(&filling->involuntary_contractions, "one line alone");
    assert_absent(&filling->strains, "one line alone");
    assert_int_equal(filling->coughs.state, MEASURE_PRESENT);
    synth.channels[0].signal = SIGNAL_PURA;
    filling = &synth_run(&synth)->filling;
    assert_absent(&filling->coughs, "no pves or pabd");
    synth_close(&synth);
}

static void test_slow_recordings(void **state)
{
    static const double rates_hz[] = {0.89, 0.91, 3.95, 4.05};
    struct synth synth;

    (void)state;
    for (size_t i = 0; i < 4; i++) {
        struct cystometry_case plan = quiet(true);

        plan.rate_hz = rates_hz[i];
        cystometry_add(&plan, contraction(300.0, 40.0, 20.0, 0.0));
        const struct filling_measures *filling = run(&synth, &plan);

        if (i == 0) {
            assert_absent(&filling->involuntary_contractions, "less than once a second");
            assert_absent(&filling->coughs, "less than once a second");
            assert_absent(&filling->strains, "less than once a second");
        } else {
            assert_int_equal(filling->involuntary_contractions.count, 1);
            assert_int_equal(strstr(filling->coughs.method, "are missed") != NULL, i < 3);
        }
        synth_close(&synth);
    }
}

/* Of two coughs in one breath the smaller has the lower foot, and so the earlier start. Spikes up
 * to a second apart are one cough. */
static void test_coughs_in_order_of_time(void **state)
{
    struct synth synth;
    struct cystometry_case plan = quiet(true);

    (void)state;
    cystometry_add(&plan, (struct cystometry_event){CASE_COUGH, 200.0, 0.4, 70.0, 66.0, 0.0, 0.0});
    cystometry_add(&plan, (struct cystometry_event){CASE_COUGH, 201.2, 0.4, 40.0, 38.0, 0.0, 0.0});
    const struct filling_measures *filling = run(&synth, &plan);
    const struct cough *coughs = filling->coughs.items;

    assert_int_equal(filling->coughs.count, 2);
    assert_close(coughs[0].at_s, 200.0, 0.06);
    assert_close(coughs[1].at_s, 201.2, 0.06);
    synth_close(&synth);
}

/* Compliance is read outside contractions, and coughs and strains are listed up to the end. */
static void test_filling_around_contractions(void **state)
{
    struct synth synth;
    struct cystometry_case plan = quiet(true);

    (void)state;
    cystometry_add(&plan, contraction(28.0, 30.0, 15.0, 0.0));
    cystometry_add(&plan, contraction(540.0, 60.0, 30.0, 0.0));
    cystometry_add(&plan, (struct cystometry_event){CASE_COUGH, 200.0, 0.4, 60.0, 48.0, 0.0, 0.0});
    cystometry_add(&plan, (struct cystometry_event){CASE_STRAIN, 400.0, 9.0, 40.0, 40.0, 0.0, 0.0});
    cystometry_add(&plan, (struct cystometry_event){CASE_COUGH, 590.0, 0.25, 60.0, 60.0, 0.0, 0.0});
    const struct filling_measures *filling = run(&synth, &plan);
    const struct cough *cough = filling->coughs.items;
    const struct strain *strain = filling->strains.items;

    assert_int_equal(filling->involuntary_contractions.count, 2);
    assert_true(filling->pdet_baseline.at_s <= 28.0 + 2.5 || filling->pdet_baseline.at_s >= 57.0);
    assert_close(filling->pdet_baseline.value, 2.0, 0.5);
    assert_true(filling->pdet_end_fill.at_s < 541.0);
    assert_close(filling->pdet_end_fill.value, 2.0 + 4.0 * 0.9, 0.5);
    assert_non_null(strstr(filling->pdet_end_fill.method, "before the involuntary contraction"));
    assert_int_equal(filling->coughs.count, 1);
    assert_close(cough->at_s, 200.0, 0.05);
    assert_close(cough->pves_rise_cmh2o, 60.0, 0.2);
    assert_close(cough->pabd_rise_cmh2o, 48.0, 0.2);
    assert_close(cough->transmission, 0.8, 0.005);
    assert_false(cough->marked);
    assert_int_equal(filling->strains.count, 1);
    assert_close(strain->start_s, 400.0, 1.0);
    assert_close(strain->end_s, 409.0, 1.0);
    assert_close(strain->pves_rise_cmh2o, 40.0, 2.5);
    assert_close(strain->pabd_rise_cmh2o, 40.0, 2.5);
    synth_close(&synth);
}

/* ICCS: 30 mL times (age + 1), from memory; infants after Holmdahl 1996; adults have none. */
static void test_expected_capacity(void **state)
{
    struct synth synth;
    struct cystometry_case plan = quiet(true);

    (void)state;
    (void)run(&synth, &plan);
    assert_int_equal(synth_run(&synth)->filling.expected_capacity.state, MEASURE_NOT_APPLICABLE);
    synth.recording.age_years.value = 7.9;
    assert_close(synth_run(&synth)->filling.expected_capacity.value, 240.0, 1e-9);
    synth.recording.age_years.value = 8.0 / 12.0 + 0.01;
    assert_close(synth_run(&synth)->filling.expected_capacity.value, 58.0, 1e-9);
    assert_non_null(strstr(synth_run(&synth)->filling.expected_capacity.method, "Holmdahl"));
    synth.recording.age_years.value = 2.0;
    assert_int_equal(synth_run(&synth)->filling.expected_capacity.state, MEASURE_ABSENT);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_one),
        cmocka_unit_test(test_limits),
        cmocka_unit_test(test_smallest_amplitude_is_a_choice),
        cmocka_unit_test(test_apart),
        cmocka_unit_test(test_urgency_and_cough),
        cmocka_unit_test(test_terminal),
        cmocka_unit_test(test_permission),
        cmocka_unit_test(test_disturbed_level),
        cmocka_unit_test(test_what_is_needed),
        cmocka_unit_test(test_slow_recordings),
        cmocka_unit_test(test_coughs_in_order_of_time),
        cmocka_unit_test(test_filling_around_contractions),
        cmocka_unit_test(test_expected_capacity),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
