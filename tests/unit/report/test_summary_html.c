#include "page.h"
#include "summaries.h"

#include "analysis/catalogue.h"

#include <jansson.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static void test_page_is_well_formed(void **state)
{
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    const char *page = summaries_html(&fixture);
    page_check_balance(page);
    page_holds(page, "<html lang=\"en\">");
    page_holds(page, "<meta charset=\"utf-8\">");
    page_holds(page, "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">");
    page_holds(page, "<title>Urodynamic study summary, 2026-03-02</title>");
    page_holds(page, "<link rel=\"stylesheet\" href=\"/assets/penstock.css\">");
    page_lacks(page, "<script");
    page_lacks(page, " style=");
    assert_int_equal(page_count(page, "<h1>"), 1);
    assert_int_equal(page_count(page, "<table"), 3);
    assert_int_equal(page_count(page, "<caption>"), 3);
    assert_int_equal(page_count(page, "<th scope=\"col\">"), 9);
    assert_int_equal(page_count(page, "<th"), page_count(page, "<th scope=") + 3); /* 3 thead */
    summaries_free(&fixture);
}

static void test_no_person_in_the_title(void **state)
{
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    const char *page = summaries_html(&fixture);
    const char *body = strstr(page, "<body");
    assert_non_null(body);
    assert_true(strstr(page, "Example") > body);
    assert_true(strstr(page, "TV-1001") > body);
    summaries_free(&fixture);
}

/* ---- identification, study, conditions ---- */

static void test_facts(void **state)
{
    static const char *const parts[] = {
        "<dt>Name</dt><dd><bdi>Example</bdi>, <bdi>Pat</bdi></dd>",
        "<dt>Record number</dt><dd><bdi>TV-1001</bdi></dd>",
        "<dt>Born</dt><dd><bdi>1961-07-15</bdi></dd>",
        "<dt>Age at the study</dt><dd>64 years</dd>",
        "<dt>Weight</dt><dd>81.5 <span class=\"unit\">kg</span></dd>",
        "<time datetime=\"2026-03-02T08:31:05.25Z\">2026-03-02 08:31 UTC</time>",
        "<dt>Room</dt><dd><bdi>Room 2</bdi></dd>",
        "<dt>Catheters</dt><dd><bdi>6 Fr double lumen</bdi></dd>",
        "<dt>History: <bdi>medication</bdi></dt><dd><bdi>none</bdi>, <bdi>tea</bdi></dd>",
        "<dt>History: <bdi>pad test</bdi></dt><dd><bdi>grams</bdi> 12.5</dd>",
        "<dt>History: <bdi>diary</bdi></dt><dd><bdi>3 days</bdi></dd>",
        "<dt>History: <bdi>smoker</bdi></dt><dd>no</dd>",
        "<dt>Duration</dt><dd>61.5 <span class=\"unit\">s</span></dd>",
        "<dt>Position</dt><dd><bdi>standing</bdi></dd>",
        "<dt>Post-void residual</dt><dd>37 <span class=\"unit\">mL</span></dd>",
        "<dt>Maximum flow rate of a free flow</dt><dd>21.5 <span class=\"unit\">mL/s</span></dd>",
        "<dt>Balloon expulsion time</dt><dd>47 <span class=\"unit\">s</span></dd>",
        "<dt>Distance between anal sensors</dt><dd>7.5 <span class=\"unit\">mm</span></dd>",
        "<dt>Neurological lesion known</dt><dd><bdi>yes</bdi></dd>",
        "<dt>Electromyogram as sent</dt><dd><bdi>raw</bdi></dd>",
    };
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    const char *page = summaries_html(&fixture);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        page_holds(page, parts[i]);
    }
    assert_int_equal(page_count(page, "<dt>Position</dt>"), 1); /* the study's is empty */
    summaries_free(&fixture);
}

/* ---- status and caution ---- */

static void test_status(void **state)
{
    static const struct {
        const char *status;
        const char *banner;
        bool is_preliminary;
    } rows[] = {
        {"registered",
         "<p class=\"status-banner preliminary\"><strong>Preliminary: computed from the uploaded "
         "recording, not reviewed or signed by a clinician.</strong></p>",
         true},
        {"preliminary", "<p class=\"status-banner preliminary\"><strong>Preliminary:", true},
        {"cancelled", "<p class=\"status-banner cancelled\"><strong>Cancelled:", true},
        {"unheard_of", "<p class=\"status-banner preliminary\"><strong>Preliminary:", true},
        {"final", "<p class=\"status-banner signed\"><strong>Final:", false},
        {"amended", "<p class=\"status-banner signed\"><strong>Amended:", false},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct summary_fixture fixture;
        summaries_make(&fixture);
        fixture.study.status = rows[i].status;
        const char *page = summaries_html(&fixture);
        page_check_balance(page);
        page_holds(page, rows[i].banner);
        page_holds(page, SUMMARY_CAUTION);
        assert_int_equal(page_count(page, ": preliminary values</caption>"),
                         rows[i].is_preliminary ? 3 : 0);
        assert_int_equal(page_count(page, ": values</caption>"), rows[i].is_preliminary ? 0 : 3);
        summaries_free(&fixture);
    }
}

static void test_caution_names_its_limits(void **state)
{
    static const char *const parts[] = {"computed", "do not replace",
                                        "check them against the traces",
                                        "Local protocols and licensed practice decide"};
    (void)state;
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        page_holds(SUMMARY_CAUTION, parts[i]);
    }
}

/* ---- numbers ---- */

static void test_numbers(void **state)
{
    static const char *const parts[] = {
        "<th scope=\"row\">Maximum flow rate (Qmax)</th><td class=\"number\">18 <span "
        "class=\"unit\">mL/s</span></td><td class=\"how\">computed, at 14.2 s; moving average of 2 "
        "s</td>",
        "<td class=\"number\">340 <span class=\"unit\">mL</span></td><td "
        "class=\"how\">computed</td>",
        "<td class=\"number\">40 <span class=\"unit\">mL</span></td><td class=\"how\">entered with "
        "the upload</td>",
        "<td class=\"number\">90 <span class=\"unit\">%</span></td><td "
        "class=\"how\">clinician&#39;s "
        "own value</td>",
        "</th><td class=\"number\">bell</td>",
        "</th><td class=\"number\">0 <span class=\"unit\">cmH\u2082O</span></td>",
        "</th><td class=\"number\">0.8 <span class=\"unit\">s</span></td>",
        "</th><td class=\"number\">35 <span class=\"unit\">mL/cmH\u2082O</span></td>",
    };
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    const char *page = summaries_html(&fixture);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        page_holds(page, parts[i]);
    }
    summaries_free(&fixture);
}

/* The value that the page shows for a row, from its label on; false when the page lacks it. */
static bool read_shown(const char *section, const struct catalogue_row *row, double *ret_value)
{
    const char *label = strstr(section, row->label);
    const char *cell = label == NULL ? NULL : strstr(label, "<td class=\"number\">");
    if (cell == NULL) {
        return false;
    }
    char *end = NULL;
    *ret_value = strtod(cell + strlen("<td class=\"number\">"), &end);
    return end != cell;
}

/* Every number of the analysis document stands on the page, rounded after the catalogue. */
static void test_numbers_equal_the_document(void **state)
{
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    fixture.summary.recording_count = 1;
    const char *page = summaries_html(&fixture);
    json_t *analysis = json_loads(SUMMARIES_FREE_FLOW, 0, NULL);
    const json_t *uroflow = json_object_get(json_object_get(analysis, "sections"), "uroflow");
    size_t compared = 0;
    for (size_t i = 0; i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);
        const json_t *value = json_object_get(json_object_get(uroflow, row->code), "value");
        if (strcmp(row->section, "uroflow") == 0 && json_is_number(value)) {
            double shown = 0.0;
            assert_true(read_shown(page, row, &shown));
            double expected = catalogue_rounded(row, json_number_value(value));
            assert_true(shown >= expected - 1e-9 && shown <= expected + 1e-9);
            compared++;
        }
    }
    assert_int_equal(compared, 5);
    json_decref(analysis);
    summaries_free(&fixture);
}

static void test_sections_in_catalogue_order(void **state)
{
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    const char *page = summaries_html(&fixture);
    const char *filling = strstr(page, "<h3>Filling</h3>");
    const char *voiding = strstr(page, "<h3>Voiding</h3>");
    assert_non_null(filling);
    assert_true(voiding > filling); /* the document has them the other way round */
    summaries_free(&fixture);
}

static void test_reporting_line(void **state)
{
    static const struct {
        const char *uroflow;
        const char *line; /* NULL: none */
    } rows[] = {
        {"{\"qmax\":{\"value\":18.4},\"voided_volume\":{\"value\":342},"
         "\"post_void_residual\":{\"value\":37}}",
         "</abbr>: 18/340/40</p>"},
        {"{\"qmax\":{\"value\":18.5},\"voided_volume\":{\"value\":344.9}}",
         "</abbr>: 19/340/-</p>"},
        {"{\"voided_volume\":{\"value\":345}}", "</abbr>: -/350/-</p>"},
        {"{\"qmax\":{\"value\":0.2},\"post_void_residual\":{\"value\":0}}", "</abbr>: 0/-/0</p>"},
        {"{\"post_void_residual\":{\"value\":37}}", NULL},
        {"{}", NULL},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct summary_fixture fixture;
        summaries_make(&fixture);
        fixture.summary.recording_count = 1;
        fixture.recordings[0].analysis_json =
            arena_printf(fixture.arena, "{\"sections\":{\"uroflow\":%s}}", rows[i].uroflow);
        const char *page = summaries_html(&fixture);
        page_check_balance(page);
        if (rows[i].line == NULL) {
            page_lacks(page, "VOID");
        } else {
            page_holds(page, rows[i].line);
        }
        summaries_free(&fixture);
    }
}

/* The line is a free flow's: a voiding with catheters has none. */
static void test_no_reporting_line_for_a_pressure_flow_study(void **state)
{
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    assert_int_equal(page_count(summaries_html(&fixture), "class=\"void-line\""), 1);
    summaries_free(&fixture);
}

/* ---- what people must weigh ---- */

static void test_remarks(void **state)
{
    static const char *const parts[] = {
        "<li>Voiding, Bladder outlet obstruction index (BOOI): no flow signal</li>",
        "<li class=\"warning\"><strong>Warning</strong>, pabd, 0.0 s to 10.1 s: Check pabd.</li>",
        "<li class=\"info\"><strong>Note</strong>: No cough.</li>",
        "<h3>Suggestions for the clinician</h3>",
        "None is a diagnosis.",
        "<li>ics obstruction: <strong>equivocal</strong> (Bladder outlet",
        "(Bladder outlet obstruction index (BOOI) 40.4). BOOI 20 to 40</li>",
        "<li>Flow is low. Based on: Maximum flow rate (Qmax), own rule.</li>",
        "Event list revision 2; computed by penstock 0.1.0.",
        "<p>Nothing was found. Check the traces all the same.</p>",
    };
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    const char *page = summaries_html(&fixture);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        page_holds(page, parts[i]);
    }
    assert_int_equal(page_count(page, "<h3>Suggestions"), 1);
    assert_int_equal(page_count(page, "<h3>Not computed</h3>"), 1);
    summaries_free(&fixture);
}

/* ---- hostile and missing content ---- */

#define EVIL      "<script>&\"'"
#define EVIL_JSON "<script>&\\\"'"
#define HARMLESS  "&lt;script&gt;&amp;&quot;&#39;"

static void test_everything_is_escaped(void **state)
{
    static const char evil_analysis[] =
        "{\"revision\":1,\"software\":{\"name\":\"" EVIL_JSON "\",\"version\":\"" EVIL_JSON "\"},"
        "\"sections\":{\"uroflow\":{\"qmax\":{\"value\":\"" EVIL_JSON "\",\"method\":\"" EVIL_JSON
        "\",\"source\":\"" EVIL_JSON "\"}}},"
        "\"findings\":[{\"text\":\"" EVIL_JSON "\",\"basis\":[\"" EVIL_JSON "\",\"" EVIL_JSON
        ".x\"]}],"
        "\"classifications\":[{\"code\":\"" EVIL_JSON "\",\"class\":\"" EVIL_JSON
        "\",\"method\":\"" EVIL_JSON "\",\"basis\":{\"" EVIL_JSON "\":1}}],"
        "\"quality\":[{\"severity\":\"" EVIL_JSON "\",\"signal\":\"" EVIL_JSON
        "\",\"text\":\"" EVIL_JSON "\"}],"
        "\"not_computed\":[{\"section\":\"" EVIL_JSON "\",\"code\":\"" EVIL_JSON
        "\",\"reason\":\"" EVIL_JSON "\"}]}";
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    fixture.summary.clinic_name = EVIL;
    fixture.patient.family_name = EVIL;
    fixture.patient.given_name = EVIL;
    fixture.patient.mrn = EVIL;
    fixture.patient.birth_date = EVIL;
    fixture.patient.sex = EVIL;
    fixture.study.room = EVIL;
    fixture.study.operator_name = EVIL;
    fixture.study.position = EVIL;
    fixture.study.catheters = EVIL;
    fixture.study.status = EVIL;
    fixture.study.history = "{\"" EVIL_JSON "\":{\"" EVIL_JSON "\":\"" EVIL_JSON "\"}}";
    fixture.rows[0].conditions_json = "{\"position\":\"" EVIL_JSON "\",\"zeroed\":\"" EVIL_JSON
                                      "\",\"reference_level\":\"" EVIL_JSON "\"}";
    fixture.recordings[0].analysis_json = evil_analysis;
    fixture.summary.recording_count = 1;
    const char *page = summaries_html(&fixture);
    page_check_balance(page);
    page_lacks(page, "<script");
    /* 11 of clinic, patient and study, 3 each of history and conditions, 16 of the analysis: a
     * source becomes one of three phrases, and a basis shows only what follows its dot. */
    assert_int_equal(page_count(page, HARMLESS), 11 + 3 + 3 + 16);
    summaries_free(&fixture);
}

static void test_right_to_left_and_long_names(void **state)
{
    static const char override_mark[] = "\u202eevil \u05e9\u05dc\u05d5\u05dd";
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    char *name = arena_alloc(fixture.arena, 401);
    for (size_t i = 0; i < 200; i++) {
        memcpy(name + 2 * i, "\xd7\xa9", 3);
    }
    fixture.patient.family_name = name;
    fixture.patient.given_name = override_mark;
    const char *page = summaries_html(&fixture);
    page_check_balance(page);
    page_holds(page,
               arena_printf(fixture.arena, "<bdi>%s</bdi>, <bdi>%s</bdi>", name, override_mark));
    summaries_free(&fixture);
}

static void test_missing_content(void **state)
{
    static const char *const texts[] = {"{\"sections\":",
                                        "[]",
                                        "{}",
                                        "7",
                                        "",
                                        NULL,
                                        "{\"sections\":[],\"quality\":{},\"findings\":7}",
                                        "{\"sections\":{\"uroflow\":{\"qmax\":7}}}"};
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct summary_fixture fixture;
        summaries_make(&fixture);
        fixture.recordings[0].analysis_json = texts[i];
        fixture.rows[0].conditions_json = texts[i];
        fixture.study.history = texts[i];
        const char *page = summaries_html(&fixture);
        page_check_balance(page);
        page_holds(page, "<h2 id=\"recording-2\">2. Pressure-flow study");
        summaries_free(&fixture);
    }
}

static void test_damage_is_said(void **state)
{
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    fixture.recordings[0].analysis_json = "{";
    fixture.rows[0].conditions_json = "{";
    const char *page = summaries_html(&fixture);
    page_holds(page, "The analysis of this recording is not available.");
    page_holds(page, "The conditions of this recording are not available.");
    summaries_free(&fixture);
}

static void test_study_without_recordings(void **state)
{
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    fixture.summary.recording_count = 0;
    const char *page = summaries_html(&fixture);
    page_check_balance(page);
    page_holds(page, "There is no complete recording.");
    page_lacks(page, "still running");
    summaries_free(&fixture);
}

static void test_running_recordings_are_told(void **state)
{
    (void)state;
    struct summary_fixture fixture;
    summaries_make(&fixture);
    fixture.study.open_recording_count = 1;
    const char *page = summaries_html(&fixture);
    page_check_balance(page);
    page_holds(page, "1 recording is still running and is not in this summary.");
    fixture.study.open_recording_count = 2;
    page_holds(summaries_html(&fixture),
               "2 recordings are still running and are not in this summary.");
    summaries_free(&fixture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_page_is_well_formed),
        cmocka_unit_test(test_no_person_in_the_title),
        cmocka_unit_test(test_facts),
        cmocka_unit_test(test_status),
        cmocka_unit_test(test_caution_names_its_limits),
        cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_numbers_equal_the_document),
        cmocka_unit_test(test_sections_in_catalogue_order),
        cmocka_unit_test(test_reporting_line),
        cmocka_unit_test(test_no_reporting_line_for_a_pressure_flow_study),
        cmocka_unit_test(test_remarks),
        cmocka_unit_test(test_everything_is_escaped),
        cmocka_unit_test(test_right_to_left_and_long_names),
        cmocka_unit_test(test_missing_content),
        cmocka_unit_test(test_damage_is_said),
        cmocka_unit_test(test_study_without_recordings),
        cmocka_unit_test(test_running_recordings_are_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
