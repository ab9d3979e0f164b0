/* A line of a research export tells no more of the subject than it says: where sex and age are
 * masked, the numbers are the same for every sex and age; within a band, for every age. */
#include "formats/analysis_json.h"
#include "report/research_json.h"
#include "support/anorectal_case.h"
#include "support/cystometry_case.h"
#include "support/emg_case.h"
#include "support/pressure_flow.h"
#include "support/profile_case.h"
#include "support/voiding_case.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

enum { LINE_LIMIT = 1024 * 1024 };

static const struct research_line LINE = {.recording_id = "secret",
                                          .subject = "a subject",
                                          .sequence = 2,
                                          .sex = "female",
                                          .type = "uroflowmetry",
                                          .age_years = 64,
                                          .year = 2026,
                                          .days = 12,
                                          .shifted_on = "2025-11-05",
                                          .duration_s = 45.0,
                                          .is_signed = true};

static const struct research_options PLAIN = {.least = 5};

static const char *write_line(struct arena *arena, const struct research_line *line,
                              enum small_cell_fate fate, const struct research_options *options,
                              const char *analysis)
{
    static const struct document_event events[] = {
        {.at_s = 2.0, .code = "permission_to_void", .note = "Canary"},
        {.at_s = 3.0, .code = "canary", .note = "", .value = {true, 7.0}},
        {.at_s = 4.0, .code = "first_sensation", .note = "", .value = {true, 150.0}},
    };
    struct text out;
    text_init(&out, arena, LINE_LIMIT);
    research_json_write(line, fate, options, analysis, events, 3, &out);
    assert_false(out.overflowed);
    return out.data;
}

/* ---- what depends on who it is ---- */

static void open_pressure_flow(struct synth *synth)
{
    pressure_flow_open(synth, (struct pressure_flow_case){.rate_hz = 10.0, .noise = 0.3});
}

static void open_free_flow(struct synth *synth)
{
    static const struct half_sine flow = {.start_s = 5.0, .length_s = 25.0, .peak = 20.0};
    synth_open(synth, RECORDING_UROFLOWMETRY);
    synth->recording.conditions.post_void_residual_ml = (struct optional_number){true, 30.0};
    synth_channel(synth, SIGNAL_FLOW, (struct synth_sampling){.rate_hz = 10.0, .end_s = 45.0},
                  half_sine_value, &flow);
}

/* So little that the limits of a child and of an adult disagree. */
static void open_small_flow(struct synth *synth)
{
    static const struct half_sine flow = {.start_s = 5.0, .length_s = 15.0, .peak = 11.0};
    synth_open(synth, RECORDING_UROFLOWMETRY);
    synth_channel(synth, SIGNAL_FLOW, (struct synth_sampling){.rate_hz = 10.0, .end_s = 45.0},
                  half_sine_value, &flow);
}

static void open_cystometry(struct synth *synth)
{
    struct cystometry_case plan = {.rate_hz = 20.0,
                                   .noise = 0.2,
                                   .breathing = 1.0,
                                   .rise = 6.0,
                                   .length_s = 900.0,
                                   .seed = 5,
                                   .permission = true};
    cystometry_fill_plan(&plan, 8.0, 25.0);
    cystometry_open(synth, &plan);
}

static void open_voiding(struct synth *synth)
{
    voiding_case_open(
        synth, (struct voiding_case){
                   .rate_hz = 20.0, .delay_s = 0.8, .after_cmh2o = 18.0, .residual_ml = 40.0});
}

static void open_emg(struct synth *synth)
{
    struct emg_case how = emg_case_usual(20.0, EMG_FORM_ENVELOPE);
    emg_case_open(synth, &how);
}

static void open_profile(struct synth *synth)
{
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;
    how.rate_hz = 50.0;
    how.noise = 0.0;
    profile_case_open(synth, &how, &truth);
}

static void open_anorectal(struct synth *synth)
{
    anorectal_case_open(synth, (struct anorectal_case){.rate_hz = 25.0, .sensors = 4});
}

static void (*const OPENERS[])(struct synth *synth) = {
    open_pressure_flow, open_free_flow, open_small_flow, open_cystometry,
    open_voiding,       open_emg,       open_profile,    open_anorectal};

enum { OPENER_COUNT = sizeof OPENERS / sizeof OPENERS[0] };

static const char *line_of(struct arena *arena, size_t opener, enum patient_sex sex,
                           double age_years, enum small_cell_fate fate)
{
    struct synth synth;
    struct text analysis;
    OPENERS[opener](&synth);
    synth.recording.sex = sex;
    synth.recording.age_years = (struct optional_number){age_years >= 0.0, age_years};
    text_init(&analysis, arena, LINE_LIMIT);
    analysis_json_write(synth_run(&synth), "final", 1, &analysis);
    synth_close(&synth);
    return write_line(arena, &LINE, fate, &PLAIN, analysis.data);
}

static void masked_line_is_the_same_for_everybody(void **state)
{
    (void)state;

    static const enum patient_sex sexes[] = {SEX_MALE, SEX_FEMALE, SEX_UNKNOWN};

    static const double ages[] = {-1.0, 0.5, 2.0, 7.0, 12.0, 17.0, 18.0, 35.0, 64.0, 91.0};
    for (size_t i = 0; i < OPENER_COUNT; i++) {
        struct arena *arena = arena_new();
        const char *first = line_of(arena, i, SEX_MALE, 40.0, SMALL_CELL_MASKED);
        for (size_t s = 0; s < sizeof sexes / sizeof sexes[0]; s++) {
            for (size_t a = 0; a < sizeof ages / sizeof ages[0]; a++) {
                assert_string_equal(line_of(arena, i, sexes[s], ages[a], SMALL_CELL_MASKED), first);
            }
        }
        arena_free(arena);
    }
}

static void whole_line_tells_no_age_within_its_band(void **state)
{
    (void)state;
    static const double bands[][2] = {{0.3, 9.0},   {10.0, 17.0}, {18.0, 29.0},
                                      {30.0, 39.0}, {60.0, 69.0}, {90.0, 101.0}};
    for (size_t i = 0; i < OPENER_COUNT; i++) {
        for (size_t b = 0; b < sizeof bands / sizeof bands[0]; b++) {
            struct arena *arena = arena_new();
            for (int sex = SEX_UNKNOWN; sex <= SEX_FEMALE; sex++) {
                assert_string_equal(
                    line_of(arena, i, (enum patient_sex)sex, bands[b][0], SMALL_CELL_WHOLE),
                    line_of(arena, i, (enum patient_sex)sex, bands[b][1], SMALL_CELL_WHOLE));
            }
            arena_free(arena);
        }
    }
}

/* Or the two tests above would say nothing. */
static void values_are_told(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const char *whole = line_of(arena, 0, SEX_MALE, 64.0, SMALL_CELL_WHOLE);
    assert_non_null(strstr(whole, "\"booi\":{\"value\":"));
    assert_non_null(strstr(whole, "\"code\":\"ura_obstruction\""));
    assert_non_null(strstr(whole, "\"pdet_qmax\":{\"value\":"));
    const char *masked = line_of(arena, 0, SEX_MALE, 64.0, SMALL_CELL_MASKED);
    assert_null(strstr(masked, "booi"));
    assert_non_null(strstr(masked, "\"pdet_qmax\":{\"value\":"));
    arena_free(arena);
}

/* ---- what is told of the subject ---- */

static void expect(const char *line, const char *part)
{
    if (strstr(line, part) == NULL) {
        fail_msg("%s is not in %s", part, line);
    }
}

static void members_are_as_asked_for(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct research_options options = PLAIN;
    const char *line = write_line(arena, &LINE, SMALL_CELL_WHOLE, &options, "{}");
    expect(line, "\"sex\":\"female\",\"age\":\"60-69\",\"days_since_first\":12,");
    expect(line, "\"events\":[{\"at_s\":2,\"code\":\"permission_to_void\"},"
                 "{\"at_s\":4,\"code\":\"first_sensation\",\"value\":150}]");
    assert_null(strstr(line, "secret"));
    assert_null(strstr(line, "anary"));
    assert_null(strstr(line, "2026"));
    line = write_line(arena, &LINE, SMALL_CELL_MASKED, &options, "{}");
    expect(line, "\"sex\":null,\"age\":null,\"masked\":\"fewer than 5 subjects\"");
    assert_null(strstr(line, "female"));
    options = (struct research_options){RESEARCH_DATES_YEAR, RESEARCH_AGES_YEARS, 7};
    expect(write_line(arena, &LINE, SMALL_CELL_WHOLE, &options, "{}"),
           "\"age\":\"64\",\"year\":2026,");
    options.dates = RESEARCH_DATES_SHIFTED;
    line = write_line(arena, &LINE, SMALL_CELL_WHOLE, &options, "{}");
    expect(line, "\"shifted_on\":\"2025-11-05\"");
    assert_null(strstr(line, "days"));
    arena_free(arena);
}

static void ages_are_in_bands_and_end_at_90(void **state)
{
    (void)state;

    static const struct {
        int age;
        const char *band;
        const char *years;
    } rows[] = {
        {0, "\"0-9\"", "\"0\""},     {9, "\"0-9\"", "\"9\""},     {10, "\"10-17\"", "\"10\""},
        {17, "\"10-17\"", "\"17\""}, {18, "\"18-29\"", "\"18\""}, {30, "\"30-39\"", "\"30\""},
        {89, "\"80-89\"", "\"89\""}, {90, "\"90+\"", "\"90+\""},  {107, "\"90+\"", "\"90+\""}};

    struct arena *arena = arena_new();
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct research_line line = LINE;
        struct research_options options = PLAIN;
        line.age_years = rows[i].age;
        expect(write_line(arena, &line, SMALL_CELL_WHOLE, &options, "{}"),
               arena_printf(arena, "\"age\":%s,", rows[i].band));
        options.ages = RESEARCH_AGES_YEARS;
        expect(write_line(arena, &line, SMALL_CELL_WHOLE, &options, "{}"),
               arena_printf(arena, "\"age\":%s,", rows[i].years));
    }
    arena_free(arena);
}

/* A stored document may be of another version, or damaged: only what is known comes through. */
static void nothing_unknown_is_copied(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const char *line = write_line(
        arena, &LINE, SMALL_CELL_WHOLE, &PLAIN,
        "{\"canary\":1,\"sections\":{\"canary\":{},\"uroflow\":{\"canary\":{\"value\":1},"
        "\"qmax\":{\"value\":21.5,\"unit\":\"canary\",\"method\":\"canary\","
        "\"quality\":[\"a canary\",\"spike\"]},\"flow_pattern\":{\"value\":\"a canary\"}}},"
        "\"findings\":[{\"code\":\"canary\",\"text\":\"canary\"}],"
        "\"classifications\":[{\"code\":\"x\",\"class\":\"the canary\",\"method\":\"canary\"}],"
        "\"quality\":[{\"code\":\"spike\",\"text\":\"canary\",\"from_s\":\"canary\"}],"
        "\"choices\":{\"canary\":1}}");
    assert_null(strstr(line, "canary"));
    expect(line, "\"qmax\":{\"value\":21.5,\"unit\":\"mL/s\",\"quality\":[\"spike\"]}");
    expect(write_line(arena, &LINE, SMALL_CELL_WHOLE, &PLAIN, "damaged"), "\"sections\":{}");
    arena_free(arena);
}

/* ---- groups ---- */

static void fates_follow_what_is_told(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct research_line lines[12];
    struct research_pool pool = {.count = 12, .lines = lines};
    for (int i = 0; i < 12; i++) {
        lines[i] = LINE;
        lines[i].subject = arena_printf(arena, "%02d", i);
        lines[i].age_years = 60 + i % 10;
        lines[i].year = i < 6 ? 2025 : 2026;
    }
    struct research_options options = PLAIN;
    const enum small_cell_fate *fates = research_fates(arena, &pool, &options);
    for (int i = 0; i < 12; i++) {
        assert_int_equal(fates[i], SMALL_CELL_WHOLE);
    }
    options.least = 7; /* six a year */
    assert_int_equal(research_fates(arena, &pool, &options)[0], SMALL_CELL_WHOLE);
    options.dates = RESEARCH_DATES_YEAR;
    assert_int_equal(research_fates(arena, &pool, &options)[0], SMALL_CELL_LEFT_OUT);
    options = (struct research_options){.ages = RESEARCH_AGES_YEARS, .least = 5};
    assert_int_equal(research_fates(arena, &pool, &options)[0], SMALL_CELL_MASKED);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(masked_line_is_the_same_for_everybody),
        cmocka_unit_test(whole_line_tells_no_age_within_its_band),
        cmocka_unit_test(values_are_told),
        cmocka_unit_test(members_are_as_asked_for),
        cmocka_unit_test(ages_are_in_bands_and_end_at_90),
        cmocka_unit_test(nothing_unknown_is_copied),
        cmocka_unit_test(fates_follow_what_is_told),
    };
    return cmocka_run_group_tests_name("report: research lines", tests, NULL, NULL);
}
