/* Defects of pressure lines with known truth over many studies: each is told, and a sound study is
 * not told of any. */
#include "support/assert_close.h"
#include "support/error_table.h"
#include "support/line_case.h"

#include <string.h>

enum { SOUND_STUDIES = 200, DEFECT_STUDIES = 30 };

static const double rates_hz[] = {10.0, 20.0, 25.0, 50.0, 10.0, 20.0, 100.0};

static struct line_case draw_case(uint64_t seed, enum line_defect defect)
{
    return (struct line_case){.seed = seed,
                              .rate_hz = rates_hz[seed % (sizeof rates_hz / sizeof rates_hz[0])],
                              .defect = defect};
}

/* How many sound studies were told of what is the code of each defect. */
static size_t false_claims[LINE_DEFECTS];

static void count_claims(const struct analysis_result *result)
{
    for (int defect = LINE_SOUND + 1; defect < LINE_DEFECTS; defect++) {
        const char *code = line_defect_code((enum line_defect)defect);

        false_claims[defect] += synth_quality(result, code) != NULL ? 1 : 0;
    }
}

static void test_sound_studies(void **state)
{
    size_t alarms = 0;

    (void)state;
    for (uint64_t seed = 1; seed <= SOUND_STUDIES; seed++) {
        struct synth synth;

        (void)line_case_open(&synth, draw_case(seed, LINE_SOUND));
        const struct analysis_result *result = synth_run(&synth);
        bool alarmed = false;

        for (size_t i = 0; i < result->quality_count; i++) {
            const struct quality_finding *finding = &result->quality[i];

            print_message("study %u: %s (%s) %.1f..%.1f s\n", (unsigned)seed, finding->code,
                          quality_severity_name(finding->severity), finding->from_s, finding->to_s);
            alarmed = true;
        }
        alarms += alarmed ? 1 : 0;
        count_claims(result);
        synth_close(&synth);
    }
    print_message("studies without a defect: %d, of these told of one: %zu\n", SOUND_STUDIES,
                  alarms);
    assert_true(100 * alarms <= 2 * (size_t)SOUND_STUDIES);
}

static bool is_told(const struct analysis_result *result, enum line_defect defect, double from_s)
{
    for (size_t i = 0; i < result->quality_count; i++) {
        const struct quality_finding *finding = &result->quality[i];
        /* A shut line of coarse resolution does not move at all, and has a code of its own. */
        const bool flat = defect == LINE_DEAD_NO_MARK && strcmp(finding->code, "flat_line") == 0;

        if ((flat || strcmp(finding->code, line_defect_code(defect)) == 0) &&
            finding->signal == line_defect_signal(defect) && finding->to_s >= from_s) {
            return true;
        }
    }
    return false;
}

static void print_told(const struct analysis_result *result, enum line_defect defect, uint64_t seed,
                       double from_s)
{
    print_message("not told: %s, study %u, from %.1f s. Told:", line_defect_name(defect),
                  (unsigned)seed, from_s);
    for (size_t i = 0; i < result->quality_count; i++) {
        print_message(" %s@%.1f", result->quality[i].code, result->quality[i].from_s);
    }
    print_message("\n");
}

static void test_defects(void **state)
{
    static struct error_table table;

    (void)state;
    error_table_open(&table, "Defects of pressure lines");
    for (int defect = LINE_SOUND + 1; defect < LINE_DEFECTS; defect++) {
        struct detection_row counts = {.truth = DEFECT_STUDIES};

        for (uint64_t seed = 1; seed <= DEFECT_STUDIES; seed++) {
            struct synth synth;
            const double from_s =
                line_case_open(&synth, draw_case(1000 + seed, (enum line_defect)defect));
            const struct analysis_result *result = synth_run(&synth);

            if (is_told(result, (enum line_defect)defect, from_s)) {
                counts.found++;
            } else {
                print_told(result, (enum line_defect)defect, seed, from_s);
            }
            synth_close(&synth);
        }
        counts.claims = counts.found + false_claims[defect];
        counts.right = counts.found;
        error_table_detect(&table, line_defect_name((enum line_defect)defect), counts);
    }
    error_table_print(&table);
    for (int defect = LINE_SOUND + 1; defect < LINE_DEFECTS; defect++) {
        assert_true(error_table_sensitivity(&table, line_defect_name((enum line_defect)defect)) >=
                    0.95);
    }
    error_table_close(&table);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_sound_studies),
                                       cmocka_unit_test(test_defects)};

    return cmocka_run_group_tests_name("truth: quality of lines", tests, NULL, NULL);
}
