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

static void test_sweep(void **state)
{
    static const double rates_hz[] = {10.0, 20.0, 50.0, 100.0};
    static const char *const names[] = {"10 Hz", "20 Hz", "50 Hz", "100 Hz"};
    struct error_table table;

    (void)state;
    error_table_open(&table, "Involuntary contractions of 5 to 60 cmH2O");
    for (uint64_t seed = 0; seed < 60; seed++) {
        uint64_t random = seed;
        struct cystometry_case plan = {.rate_hz = rates_hz[seed % 4],
                                       .noise = cystometry_random(&random, 0.3, 1.0),
                                       .breathing = cystometry_random(&random, 1.0, 3.0),
                                       .drift = cystometry_random(&random, -8.0, 8.0),
                                       .rise = cystometry_random(&random, 2.0, 20.0),
                                       .length_s = 1200.0,
                                       .seed = seed,
                                       .with_pdet = seed % 5 == 0,
                                       .permission = true};

        /* 5.0 is the limit itself: half of those just at it are below it as measured. */
        cystometry_fill_plan(&plan, 1.12 * least_cmh2o, 60.0);
        compare(&table, names[seed % 4], &plan);
    }
    error_table_print(&table);
    assert_true(table.detections[1].truth >= 500);
    assert_true(error_table_sensitivity(&table, "all") >= 0.98);
    assert_true(error_table_precision(&table, "all") >= 0.98);
    assert_true(fabs(error_table_bias(&table, "amplitude, cmH2O")) <= 1.0);
    error_table_close(&table);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sweep),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
