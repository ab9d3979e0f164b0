/* Coughs against known truth, among strains, contractions, rectal contractions, changes of
 * position, flushes and talking. */
#include "support/assert_close.h"
#include "support/cystometry_case.h"
#include "support/error_table.h"

#include <math.h>

enum { FOUND_MAX = 512 };

static const struct cough *take(const struct item_list *list, bool *taken, double at_s)
{
    const struct cough *items = list->items;

    for (size_t i = 0; i < list->count; i++) {
        if (!taken[i] && fabs(items[i].at_s - at_s) <= 0.4) {
            taken[i] = true;
            return &items[i];
        }
    }
    return NULL;
}

static void compare(struct error_table *table, const char *name, const struct cystometry_case *plan)
{
    struct synth synth;
    bool taken[FOUND_MAX] = {false};
    struct detection_row sure = {.truth = 0};
    struct detection_row small = {.truth = 0};

    cystometry_open(&synth, plan);
    const struct item_list *list = &synth_run(&synth)->filling.coughs;

    assert_int_equal(list->state, MEASURE_PRESENT);
    assert_true(list->count < FOUND_MAX);
    for (size_t i = 0; i < plan->event_count; i++) {
        const struct cystometry_event *event = &plan->events[i];

        if (event->kind != CASE_COUGH) {
            continue;
        }
        const struct cough *item = take(list, taken, event->at_s);
        struct detection_row *counts = event->pves >= 15.0 ? &sure : &small;

        counts->truth++;
        if (item != NULL) {
            counts->found++;
            sure.right++;
            error_table_add(table, "time, s", item->at_s - event->at_s);
            error_table_add(table, "rise of pves, cmH2O", item->pves_rise_cmh2o - event->pves);
            error_table_add(table, "rise of pabd, cmH2O", item->pabd_rise_cmh2o - event->pabd);
        } else if (event->pves >= 15.0) {
            print_message("  %s seed %d: missed %.1f and %.1f cmH2O at %.1f s, %.2f s\n", name,
                          (int)plan->seed, event->pves, event->pabd, event->at_s, event->length_s);
        }
    }
    const struct cough *items = list->items;

    for (size_t i = 0; i < list->count; i++) {
        if (!taken[i]) {
            print_message("  %s seed %d: false %.1f and %.1f cmH2O at %.1f s\n", name,
                          (int)plan->seed, items[i].pves_rise_cmh2o, items[i].pabd_rise_cmh2o,
                          items[i].at_s);
        }
    }
    sure.claims = list->count;
    small.claims = small.found;
    small.right = small.found;
    error_table_detect(table, name, sure);
    error_table_detect(table, "all of 15 and more", sure);
    error_table_detect(table, "8 to 15", small);
    synth_close(&synth);
}

static void test_sweep(void **state)
{
    static const double rates_hz[] = {10.0, 20.0, 50.0, 100.0};
    static const char *const names[] = {"10 Hz", "20 Hz", "50 Hz", "100 Hz"};
    struct error_table table;

    (void)state;
    error_table_open(&table, "Coughs");
    for (uint64_t seed = 100; seed < 140; seed++) {
        uint64_t random = seed;
        struct cystometry_case plan = {.rate_hz = rates_hz[seed % 4],
                                       .noise = cystometry_random(&random, 0.3, 1.0),
                                       .breathing = cystometry_random(&random, 1.0, 3.0),
                                       .drift = cystometry_random(&random, -8.0, 8.0),
                                       .rise = cystometry_random(&random, 2.0, 20.0),
                                       .length_s = 1200.0,
                                       .seed = seed,
                                       .permission = true};

        cystometry_fill_plan(&plan, 6.0, 60.0);
        compare(&table, names[seed % 4], &plan);
    }
    error_table_print(&table);
    assert_true(error_table_sensitivity(&table, "all of 15 and more") >= 0.99);
    assert_true(error_table_precision(&table, "all of 15 and more") >= 0.99);
    error_table_close(&table);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sweep),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
