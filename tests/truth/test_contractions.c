/* Involuntary detrusor contractions against known truth, among coughs, strains, rectal
 * contractions, changes of position, flushes, talking and waves too low to be reported. */
#include "support/assert_close.h"
#include "support/cystometry_case.h"
#include "support/error_table.h"

#include <math.h>

enum { FOUND_MAX = 128 };

static const double least_cmh2o = 5.0;

/* Finds the item that belongs to a true contraction and was not taken yet. */
static const struct involuntary_contraction *take(const struct item_list *list, bool *taken,
                                                  const struct cystometry_event *event)
{
    const struct involuntary_contraction *items = list->items;

    for (size_t i = 0; i < list->count; i++) {
        if (!taken[i] && items[i].peak_s >= event->at_s &&
            items[i].peak_s <= event->at_s + event->length_s) {
            taken[i] = true;
            return &items[i];
        }
    }
    return NULL;
}

static void add_errors(struct error_table *table, const struct cystometry_event *event,
                       const struct involuntary_contraction *item)
{
    const double rise_s = event->at_s + event->rise_share * event->length_s;

    error_table_add(table, "amplitude, cmH2O", item->amplitude_cmh2o - (event->pves - event->pabd));
    error_table_add(table, "start, s", item->start_s - event->at_s);
    error_table_add(table, "peak, s", item->peak_s - rise_s);
    error_table_add(table, "end, s", item->end_s - event->at_s - event->length_s);
    error_table_add(table, "volume, mL",
                    item->volume_ml - cystometry_fill_rate() / 60.0 * (event->at_s - 30.0));
}

static void compare(struct error_table *table, const char *name, const struct cystometry_case *plan)
{
    struct synth synth;
    bool taken[FOUND_MAX] = {false};
    struct detection_row counts = {.truth = 0};

    cystometry_open(&synth, plan);
    const struct item_list *list = &synth_run(&synth)->filling.involuntary_contractions;

    assert_int_equal(list->state, MEASURE_PRESENT);
    assert_true(list->count < FOUND_MAX);
    for (size_t i = 0; i < plan->event_count; i++) {
        const struct cystometry_event *event = &plan->events[i];

        if (event->kind != CASE_CONTRACTION || event->pves - event->pabd < least_cmh2o) {
            continue;
        }
        const struct involuntary_contraction *item = take(list, taken, event);

        counts.truth++;
        if (item != NULL) {
            counts.found++;
            add_errors(table, event, item);
        } else {
            print_message("  %s seed %d: missed %.1f cmH2O at %.1f s for %.1f s\n", name,
                          (int)plan->seed, event->pves - event->pabd, event->at_s, event->length_s);
        }
    }
    const struct involuntary_contraction *items = list->items;

    for (size_t i = 0; i < list->count; i++) {
        if (!taken[i]) {
            print_message("  %s seed %d: false %.1f cmH2O at %.1f to %.1f s\n", name,
                          (int)plan->seed, items[i].amplitude_cmh2o, items[i].start_s,
                          items[i].end_s);
        }
    }
    counts.claims = list->count;
    counts.right = counts.found;
    error_table_detect(table, name, counts);
    error_table_detect(table, "all", counts);
    synth_close(&synth);
}

/* How a recording is made, beyond the usual. */
struct scenario {
    const char *name;
    double rate_hz;
    double pabd_rate_hz;
    double pabd_start_s;
    double noise[2];
    double breathing[2];
    double rise[2];
    bool waves; /* contractions in a row */
    bool with_pdet;
    uint64_t count;
};

static void run(struct error_table *table, const struct scenario *scenario)
{
    for (uint64_t i = 0; i < scenario->count; i++) {
        uint64_t random = i;
        struct cystometry_case plan = {
            .rate_hz = scenario->rate_hz,
            .pabd_rate_hz = scenario->pabd_rate_hz,
            .pabd_start_s = scenario->pabd_start_s,
            .noise = cystometry_random(&random, scenario->noise[0], scenario->noise[1]),
            .breathing = cystometry_random(&random, scenario->breathing[0], scenario->breathing[1]),
            .drift = cystometry_random(&random, -8.0, 8.0),
            .rise = cystometry_random(&random, scenario->rise[0], scenario->rise[1]),
            .length_s = 1200.0,
            .seed = i + (uint64_t)(10.0 * scenario->rate_hz),
            .with_pdet = scenario->with_pdet,
            .permission = true};

        /* pabd takes up to a tenth: pdet is at least 5 then. */
        (scenario->waves ? cystometry_fill_waves : cystometry_fill_plan)(&plan, least_cmh2o / 0.9,
                                                                         60.0);
        compare(table, scenario->name, &plan);
    }
}

#define USUAL .noise = {0.3, 1.0}, .breathing = {1.0, 3.0}, .rise = {2.0, 20.0}

static void test_sweep(void **state)
{
    static const struct scenario scenarios[] = {
        {"10 Hz", 10.0, USUAL, .count = 20},
        {"20 Hz, pdet uploaded", 20.0, USUAL, .with_pdet = true, .count = 15},
        {"50 Hz", 50.0, USUAL, .count = 15},
        {"100 Hz", 100.0, USUAL, .count = 15},
    };
    struct error_table table;

    (void)state;
    error_table_open(&table, "Involuntary contractions of 5 to 60 cmH2O");
    for (size_t i = 0; i < sizeof scenarios / sizeof scenarios[0]; i++) {
        run(&table, &scenarios[i]);
    }
    error_table_print(&table);
    assert_true(table.detections[1].truth >= 500);
    assert_true(error_table_sensitivity(&table, "all") >= 0.98);
    assert_true(error_table_precision(&table, "all") >= 0.98);
    assert_true(error_table_p95(&table, "amplitude, cmH2O") <= 1.0);
    error_table_close(&table);
}

/* What is beyond the usual is found somewhat less surely. */
static void test_hard(void **state)
{
    static const struct scenario scenarios[] = {
        {"1 Hz", 1.0, USUAL, .count = 10},
        {"2 Hz", 2.0, USUAL, .count = 10},
        {"5 Hz", 5.0, USUAL, .count = 10},
        {"25 Hz, pabd 10 Hz and late", 25.0, 10.0, 3.03, USUAL, .count = 10},
        {"10 Hz, waves in a row", 10.0, USUAL, .waves = true, .count = 10},
        {"20 Hz, low compliance", 20.0, .noise = {0.3, 1.0}, .breathing = {1.0, 3.0},
         .rise = {30.0, 60.0}, .count = 10},
        {"20 Hz, noisy", 20.0, .noise = {1.5, 2.5}, .breathing = {3.0, 6.0}, .rise = {2.0, 20.0},
         .count = 10},
    };
    struct error_table table;

    (void)state;
    error_table_open(&table, "Involuntary contractions, beyond the usual");
    for (size_t i = 0; i < sizeof scenarios / sizeof scenarios[0]; i++) {
        run(&table, &scenarios[i]);
    }
    error_table_print(&table);
    assert_true(error_table_sensitivity(&table, "all") >= 0.95);
    assert_true(error_table_precision(&table, "all") >= 0.95);
    assert_true(error_table_p95(&table, "amplitude, cmH2O") <= 2.0);
    error_table_close(&table);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sweep),
        cmocka_unit_test(test_hard),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
