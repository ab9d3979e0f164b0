/* Lists, repeated sections, numbers beside a value, doubts and limits on the summary page. */
#include "page.h"
#include "summaries.h"

#include "analysis/catalogue.h"
#include "formats/display.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

/* The page of one recording with this analysis document. */
static const char *page_of(struct summary_fixture *fixture, const char *analysis)
{
    summaries_make(fixture);
    fixture->summary.recording_count = 1;
    fixture->recordings[0].analysis_json = analysis;
    const char *page = summaries_html(fixture);
    page_check_balance(page);
    return page;
}

static void test_list(void **state)
{
    static const char analysis[] =
        "{\"sections\":{\"filling\":{\"coughs\":["
        "{\"at_s\":61.24,\"pves_rise\":45.6,\"pabd_rise\":43.9,\"transmission\":0.963,"
        "\"marked\":true},"
        "{\"at_s\":120.5,\"pabd_rise\":30,\"marked\":false}],"
        "\"leaks\":[]}}}";
    (void)state;
    struct summary_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "<table class=\"items\">\n<caption>Coughs: preliminary values</caption>");
    page_holds(page,
               "<th scope=\"col\">Rise of pves <span class=\"unit\">(cmH\u2082O)</span></th>");
    page_holds(page, "<tr><td class=\"number\">61</td><td class=\"number\">46</td>"
                     "<td class=\"number\">44</td><td class=\"number\">0.96</td><td>yes</td></tr>");
    page_holds(page, "<td class=\"number\">30</td><td>\u2013</td><td>no</td></tr>");
    page_holds(page, "<p>Leaks: none found.</p>");
    page_lacks(page, "No values.");
    page_lacks(page, "class=\"numbers\"");
    summaries_free(&fixture);
}

static void test_words_in_a_list(void **state)
{
    static const char analysis[] =
        "{\"sections\":{\"filling\":{\"leaks\":[{\"at_s\":5,\"volume_ml\":254,"
        "\"cause\":\"unclear\",\"unheard_of\":1}]}}}";
    (void)state;
    struct summary_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "<td class=\"number\">250</td>");
    page_holds(page, "<td>unclear</td>");
    page_lacks(page, "unheard");
    summaries_free(&fixture);
}

/* A page shows so many, and says how many more there are. */
static void test_long_list(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct text analysis;
    text_init(&analysis, arena, 65536);
    text_append(&analysis, "{\"sections\":{\"filling\":{\"coughs\":[{\"at_s\":0}");
    for (int i = 1; i < 203; i++) {
        text_printf(&analysis, ",{\"at_s\":%d}", i);
    }
    text_append(&analysis, "]}}}");
    struct summary_fixture fixture;
    const char *page = page_of(&fixture, analysis.data);
    page_holds(page, "<td class=\"number\">199</td>");
    page_lacks(page, "<td class=\"number\">200</td>");
    page_holds(page, "<p>3 more are in the analysis document.</p>");
    summaries_free(&fixture);
    arena_free(arena);
}

static void test_repeated_section(void **state)
{
    static const char analysis[] =
        "{\"sections\":{\"profiles\":["
        "{\"maximum_closure_pressure\":{\"value\":61.26,\"unit\":\"cm[H2O]\","
        "\"source\":\"computed\"}},{},"
        "{\"maximum_closure_pressure\":{\"value\":58,\"unit\":\"cm[H2O]\","
        "\"source\":\"computed\"}}]},"
        "\"not_computed\":[{\"section\":\"profiles\",\"index\":1,"
        "\"code\":\"maximum_closure_pressure\",\"reason\":\"the pull stopped\"}]}";
    (void)state;
    struct summary_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "<h3>Urethral pressure profiles, 1 of 3</h3>\n<table class=\"numbers\">");
    page_holds(page, "<h3>Urethral pressure profiles, 2 of 3</h3>\n<p>No values.</p>");
    page_holds(page, "<h3>Urethral pressure profiles, 3 of 3</h3>");
    page_holds(page, "<td class=\"number\">61 <span class=\"unit\">cmH\u2082O</span></td>");
    page_holds(page, "<li>Urethral pressure profiles 2, ");
    page_holds(page, ": the pull stopped</li>");
    summaries_free(&fixture);
    page = page_of(&fixture, "{\"sections\":{\"profiles\":[]}}");
    page_holds(page, "<h3>Urethral pressure profiles</h3>\n<p>None was found.</p>");
    summaries_free(&fixture);
}

static void test_numbers_beside_a_value(void **state)
{
    static const struct {
        const char *members;
        const char *shown;
    } rows[] = {
        {"\"baseline\":12.4,\"rise\":60.5",
         "; beside it baseline 12 <span class=\"unit\">cmH\u2082O</span>, rise 61 <span "
         "class=\"unit\">cmH\u2082O</span></td>"},
        {"\"volume_ml\":40.2,\"relaxation_percent\":31.66",
         "; beside it volume 40 <span class=\"unit\">mL</span>, relaxation 32 <span "
         "class=\"unit\">%</span></td>"},
        {"\"window_s\":0.253", "; beside it window 0.25 <span class=\"unit\">s</span></td>"},
        {"\"count\":3,\"correlation\":0.9126", "; beside it count 3, correlation 0.91</td>"},
        {"\"over_rest\":37.249,\"largest\":512.6",
         "; beside it over rest 37 <span class=\"unit\">cmH\u2082O</span>, largest 513</td>"},
        {"\"threshold_cmh2o\":2.2,\"peak_ml_s\":12.34",
         "; beside it threshold 2 <span class=\"unit\">cmH\u2082O</span>, peak 12.3 <span "
         "class=\"unit\">mL/s</span></td>"},
        {"\"at_s\":3.5", "<td class=\"how\">computed, at 3.5 s</td>"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct summary_fixture fixture;
        struct arena *arena = arena_new();
        const char *page = page_of(
            &fixture, arena_printf(arena,
                                   "{\"sections\":{\"filling\":{\"pdet_end_fill\":{\"value\":72.9,"
                                   "\"unit\":\"cm[H2O]\",%s,\"source\":\"computed\"}}}}",
                                   rows[i].members));
        page_holds(page, rows[i].shown);
        summaries_free(&fixture);
        arena_free(arena);
    }
}

static void test_doubts(void **state)
{
    static const char analysis[] =
        "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":18,\"unit\":\"mL/s\",\"source\":"
        "\"computed\",\"method\":\"moving average\",\"quality\":[\"damped_line\",\"spike\"]},"
        "\"qave\":{\"value\":9,\"unit\":\"mL/s\",\"source\":\"computed\",\"quality\":[]}}}}";
    (void)state;
    struct summary_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "<td class=\"how\">computed; moving average; <strong class=\"doubt\">rests on "
                     "a stretch with: damped line, spike</strong></td>");
    assert_int_equal(page_count(page, "class=\"doubt\""), 1);
    summaries_free(&fixture);
}

static void test_doubtful_suggestions(void **state)
{
    static const char analysis[] =
        "{\"sections\":{},"
        "\"findings\":[{\"code\":\"x\",\"text\":\"Compliance is low.\",\"basis\":[],"
        "\"quality\":[\"drift\"]}],"
        "\"classifications\":[{\"code\":\"ics_obstruction\",\"class\":\"obstructed\","
        "\"basis\":{\"booi\":41},\"method\":\"BOOI.\",\"quality\":[\"spike\",\"catheter_out\"]}]}";
    (void)state;
    struct summary_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "BOOI. <strong class=\"doubt\">rests on a stretch with: spike, catheter "
                     "out</strong></li>");
    page_holds(page, "Compliance is low. <strong class=\"doubt\">rests on a stretch with: "
                     "drift</strong></li>");
    summaries_free(&fixture);
}

static void test_limits(void **state)
{
    static const char analysis[] =
        "{\"sections\":{},"
        "\"findings\":[{\"code\":\"x\",\"text\":\"Compliance is low.\","
        "\"basis\":[\"filling.compliance\",\"filling.involuntary_contractions\"],"
        "\"limits\":{\"compliance_low_ml_cmh2o\":12.5}}],"
        "\"classifications\":[{\"code\":\"ics_obstruction\",\"class\":\"obstructed\","
        "\"basis\":{\"booi\":41},\"limits\":{\"obstruction_high\":40,\"own_limit\":7.25},"
        "\"method\":\"BOOI.\"}]}";
    (void)state;
    struct summary_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "Based on: Bladder compliance, Involuntary detrusor contractions. Limits in "
                     "use: Compliance below this is low = 12.5 mL/cmH\u2082O.</li>");
    page_holds(page, "BOOI. Limits in use: BOOI above this: obstructed (men) = 40; own limit = "
                     "7.25.</li>");
    summaries_free(&fixture);
}

/* A code that two sections share has the name that it has in the document's own section. */
static void test_basis_of_a_class(void **state)
{
    static const char analysis[] =
        "{\"sections\":{\"anorectal\":{\"first_sensation_volume\":{\"value\":20}}},"
        "\"classifications\":[{\"code\":\"london_sensation\",\"class\":\"normal_sensation\","
        "\"basis\":{\"first_sensation_volume\":20},\"method\":\"Volumes.\"}]}";
    (void)state;
    struct summary_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "(Volume at first constant sensation 20). Volumes.");
    summaries_free(&fixture);
}

static void test_version_of_the_analysis(void **state)
{
    (void)state;
    struct summary_fixture fixture;
    const char *page =
        page_of(&fixture, "{\"revision\":4,\"software\":{\"name\":\"penstock\",\"version\":"
                          "\"0.1.0\",\"analysis_version\":\"0.2.0\"}}");
    page_holds(page, "Event list revision 4; computed by penstock 0.1.0, analysis 0.2.0.");
    summaries_free(&fixture);
}

#define EVIL     "<script>&\\\"'"
#define HARMLESS "&lt;script&gt;&amp;&quot;&#39;"

static void test_everything_is_escaped(void **state)
{
    static const char analysis[] =
        "{\"software\":{\"analysis_version\":\"" EVIL "\"},"
        "\"sections\":{\"uroflow\":{\"qmax\":{\"value\":1,\"" EVIL "\":2,\"quality\":[\"" EVIL
        "\"]}},\"filling\":{\"leaks\":[{\"cause\":\"" EVIL "\"}]}},"
        "\"findings\":[{\"limits\":{\"" EVIL "\":1}}],"
        "\"classifications\":[{\"limits\":{\"" EVIL "\":1}}]}";
    (void)state;
    struct summary_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_lacks(page, "<script");
    assert_int_equal(page_count(page, HARMLESS), 6);
    summaries_free(&fixture);
}

/* Values of the wrong shape, as a damaged document might hold them, are passed over. */
static void test_wrong_shapes(void **state)
{
    static const char *const sections[] = {
        "{\"filling\":{\"coughs\":{},\"leaks\":7,\"compliance\":[]}}",
        "{\"filling\":{\"coughs\":[7,null,[],{\"at_s\":[]}]}}",
        "{\"filling\":[]}",
        "{\"profiles\":{}}",
        "{\"profiles\":[7,null,[]]}",
        "{\"uroflow\":{\"qmax\":{\"quality\":[7,null],\"value\":null}}}",
        "{\"uroflow\":{\"qmax\":{\"quality\":{},\"_ml\":1,\"\":2}}}",
    };
    (void)state;
    for (size_t i = 0; i < sizeof sections / sizeof sections[0]; i++) {
        struct summary_fixture fixture;
        struct arena *arena = arena_new();
        page_of(&fixture, arena_printf(arena,
                                       "{\"sections\":%s,\"not_computed\":[{\"index\":\"x\"}],"
                                       "\"findings\":[{\"limits\":7}],"
                                       "\"classifications\":[{\"limits\":[]}]}",
                                       sections[i]));
        summaries_free(&fixture);
        arena_free(arena);
    }
}

/* Units stand as people write them. */
static void test_units(void **state)
{
    (void)state;
    for (size_t i = 0; i < catalogue_count(); i++) {
        const char *unit = display_unit(catalogue_row(i)->unit);
        if (strpbrk(unit, "[]") != NULL || strchr(unit, '.') != NULL) {
            fail_msg("%s.%s is shown in %s", catalogue_row(i)->section, catalogue_row(i)->code,
                     unit);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_list),
        cmocka_unit_test(test_words_in_a_list),
        cmocka_unit_test(test_long_list),
        cmocka_unit_test(test_repeated_section),
        cmocka_unit_test(test_numbers_beside_a_value),
        cmocka_unit_test(test_doubts),
        cmocka_unit_test(test_doubtful_suggestions),
        cmocka_unit_test(test_limits),
        cmocka_unit_test(test_basis_of_a_class),
        cmocka_unit_test(test_version_of_the_analysis),
        cmocka_unit_test(test_everything_is_escaped),
        cmocka_unit_test(test_wrong_shapes),
        cmocka_unit_test(test_units),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
