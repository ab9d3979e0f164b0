/* Values, lists, repeated sections, numbers beside a value, doubts and limits in reports. */
#include "page.h"
#include "reports.h"

#include "analysis/catalogue.h"
#include "formats/display.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

/* The page of one recording with this analysis document. */
static const char *page_of(struct report_fixture *fixture, const char *analysis)
{
    reports_make(fixture);
    fixture->report.recording_count = 1;
    fixture->recordings[0].analysis_json = analysis;
    const char *page = reports_html(fixture);
    page_check_balance(page);
    return page;
}

static void test_numbers(void **state)
{
    static const char *const parts[] = {
        "<th scope=\"row\">Maximum flow rate (Qmax)</th><td class=\"number\">18</td>",
        "<td class=\"number\">18</td><td>mL/s</td><td>at 0:14</td>",
        "<td class=\"number\">340</td><td>mL</td><td></td>",
        "<td class=\"number\">40</td><td>mL</td><td>entered 37</td>",
        "<td class=\"number\">90</td><td>%</td><td>clinician&#39;s own value</td>",
        "</th><td class=\"number\">bell</td>",
        "</th><td class=\"number\">0</td><td>cmH\u2082O</td>",
        "</th><td class=\"number\">0.8</td><td>s</td>",
        "</th><td class=\"number\">35</td><td>mL/cmH\u2082O</td>",
        "Corrected maximum flow (cQmax): Qmax over the square root",
        ". All other values: ",
    };
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    const char *page = reports_html(&fixture);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        page_holds(page, parts[i]);
    }
    page_lacks(page, "moving average of 2 s"); /* as the ICS defines it */
    reports_free(&fixture);
}

static void test_reporting_line(void **state)
{
    static const struct {
        const char *uroflow;
        const char *line; /* NULL: none */
    } rows[] = {
        {"{\"qmax\":{\"value\":18.4},\"voided_volume\":{\"value\":342},"
         "\"post_void_residual\":{\"value\":37}}",
         "VOID: 18/340/40<"},
        {"{\"qmax\":{\"value\":18.5},\"voided_volume\":{\"value\":344.9}}", "VOID: 19/340/-<"},
        {"{\"voided_volume\":{\"value\":345}}", "VOID: -/350/-<"},
        {"{\"qmax\":{\"value\":0.2},\"post_void_residual\":{\"value\":0}}", "VOID: 0/-/0<"},
        {"{\"post_void_residual\":{\"value\":37}}", NULL},
        {"{}", NULL},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct report_fixture fixture;
        struct arena *arena = arena_new();
        const char *page = page_of(
            &fixture, arena_printf(arena, "{\"sections\":{\"uroflow\":%s}}", rows[i].uroflow));
        assert_int_equal(page_count(page, "VOID: "), rows[i].line == NULL ? 0 : 3);
        if (rows[i].line != NULL) {
            assert_int_equal(page_count(page, rows[i].line),
                             2); /* in brief, and with its section */
        }
        reports_free(&fixture);
        arena_free(arena);
    }
}

/* The line is a free flow's: a voiding with catheters has none. */
static void test_no_reporting_line_for_a_pressure_flow_study(void **state)
{
    (void)state;
    struct report_fixture fixture;
    page_lacks(page_of(&fixture, REPORTS_PRESSURE_FLOW), "VOID: -");
    reports_free(&fixture);
}

static void test_main_numbers(void **state)
{
    static const char analysis[] =
        "{\"sections\":{\"filling\":{\"cystometric_capacity\":{\"value\":344.9},"
        "\"compliance\":{\"value\":30.4,\"quality\":[\"drift\"]},"
        "\"involuntary_contractions\":[{},{}],\"leaks\":[]},\"voiding\":{\"qmax\":{\"value\":9}},"
        "\"anorectal\":{\"rair\":{\"value\":\"present\"}}},"
        "\"classifications\":[{\"code\":\"ics_obstruction\",\"class\":\"obstructed\"},"
        "{\"code\":\"watts_factor\",\"class\":\"low\"},"
        "{\"code\":\"contractility\",\"class\":\"weak\",\"quality\":[\"drift\"]}]}";
    (void)state;
    struct report_fixture fixture;
    page_holds(page_of(&fixture, analysis),
               "<tr><th scope=\"row\">Uroflowmetry</th><td>capacity 340 mL; compliance 30 "
               "mL/cmH\u2082O (doubtful); involuntary contractions 2; leaks 0; Qmax 9 mL/s; "
               "rectoanal inhibitory reflex present</td><td>Outlet obstruction: obstructed; "
               "Detrusor contractility: weak (doubtful)</td></tr>");
    reports_free(&fixture);
    page_holds(page_of(&fixture, "{}"), "<td>no main number</td>");
    reports_free(&fixture);
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
    struct report_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "<caption>Coughs, preliminary</caption>");
    page_holds(page, "<th scope=\"col\" class=\"number\">Rise of pves (cmH\u2082O)</th>");
    page_holds(page, "<tr><td class=\"number\">1:01</td><td class=\"number\">46</td>"
                     "<td class=\"number\">44</td><td class=\"number\">0.96</td><td>yes</td></tr>");
    page_holds(page,
               "<td class=\"number\">30</td><td class=\"number\">\u2013</td><td>no</td></tr>");
    page_holds(page, "<p>Leaks: none found.</p>");
    page_lacks(page, "No values.");
    page_lacks(page, "<caption>Values");
    reports_free(&fixture);
}

static void test_words_in_a_list(void **state)
{
    static const char analysis[] =
        "{\"sections\":{\"filling\":{\"leaks\":[{\"at_s\":5,\"volume_ml\":254,"
        "\"cause\":\"unclear\",\"unheard_of\":1}]}}}";
    (void)state;
    struct report_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "<td class=\"number\">250</td>");
    page_holds(page, "<td>unclear</td>");
    page_lacks(page, "unheard");
    reports_free(&fixture);
}

/* A report shows so many, and says how many more there are. */
static void test_long_list(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct text analysis;
    text_init(&analysis, arena, 65536);
    text_append(&analysis, "{\"sections\":{\"filling\":{\"coughs\":[{\"at_s\":0}");
    for (int i = 1; i < 43; i++) {
        text_printf(&analysis, ",{\"at_s\":%d}", i);
    }
    text_append(&analysis, "]}}}");
    struct report_fixture fixture;
    const char *page = page_of(&fixture, analysis.data);
    page_holds(page, "<td class=\"number\">0:39</td>");
    page_lacks(page, "<td class=\"number\">0:40</td>");
    page_holds(page, "<p class=\"note\">3 more are in the analysis document.</p>");
    reports_free(&fixture);
    arena_free(arena);
}

/* Pulls stand side by side, six of them in a table. */
static void test_repeated_section(void **state)
{
    static const char analysis[] =
        "{\"sections\":{\"profiles\":["
        "{\"maximum_closure_pressure\":{\"value\":61.26}},{},"
        "{\"maximum_closure_pressure\":{\"value\":58,\"quality\":[\"drift\"]},"
        "\"transmission_ratios\":[{\"position_mm\":12.4}]},{},{},{},"
        "{\"maximum_closure_pressure\":{\"value\":7}}]},"
        "\"not_computed\":[{\"section\":\"profiles\",\"index\":1,"
        "\"code\":\"maximum_closure_pressure\",\"reason\":\"the pull stopped\"},"
        "{\"section\":\"profiles\",\"index\":1,\"code\":\"functional_length\",\"reason\":"
        "\"the pull stopped\"},{\"section\":\"profiles\",\"index\":3,"
        "\"code\":\"maximum_closure_pressure\",\"reason\":\"the pull stopped\"}]}";
    (void)state;
    struct report_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "<th scope=\"col\" class=\"number\">Pull 6</th></tr></thead>");
    page_holds(page, "<th scope=\"row\">Maximum urethral closure pressure (MUCP), cmH\u2082O</th>"
                     "<td class=\"number\">61</td><td class=\"number\">\u2013</td>"
                     "<td class=\"number\">58*</td>");
    page_holds(page, "<th scope=\"col\">Measure</th><th scope=\"col\" class=\"number\">Pull 7</th>"
                     "</tr></thead>");
    page_holds(page,
               "<li>* Pull 3, doubtful: <strong>rests on a stretch with: drift</strong></li>");
    page_holds(page, "<caption>Pressure transmission at coughs, pull 3, preliminary</caption>");
    page_lacks(page, "Pressure transmission at coughs, pull 1");
    page_holds(
        page,
        "<p class=\"note\">Urethral pressure profiles 2, Maximum urethral closure pressure (MUCP); "
        "Functional profile length; Urethral pressure profiles 4, Maximum urethral "
        "closure pressure (MUCP): the pull stopped.</p>");
    reports_free(&fixture);
    page = page_of(&fixture, "{\"sections\":{\"profiles\":[]}}");
    page_holds(page, "<h3>Urethral pressure profiles</h3>\n<p>None was found.</p>");
    reports_free(&fixture);
}

static void test_numbers_beside_a_value(void **state)
{
    static const struct {
        const char *members;
        const char *shown;
    } rows[] = {
        {"\"baseline\":12.4,\"rise\":60.5", "<td>before it 12 cmH\u2082O; rise 61 cmH\u2082O</td>"},
        {"\"volume_ml\":40.2,\"relaxation_percent\":31.66",
         "<td>volume 40 mL; relaxation 32 %</td>"},
        {"\"count\":3,\"cv_percent\":4.6,\"correlation\":0.9126", "<td>n 3; CV 5 %</td>"},
        {"\"spread\":1.26", "<td>SD 1 cmH\u2082O</td>"},
        {"\"over_rest\":37.249,\"largest\":512.6", "<td>over rest 37 cmH\u2082O</td>"},
        {"\"window_s\":0.253", "<td></td>"},
        {"\"at_s\":3.45", "<td>at 0:03</td>"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct report_fixture fixture;
        struct arena *arena = arena_new();
        const char *page = page_of(
            &fixture, arena_printf(arena,
                                   "{\"sections\":{\"filling\":{\"pdet_end_fill\":{\"value\":72.9,"
                                   "\"unit\":\"cm[H2O]\",%s,\"source\":\"computed\"}}}}",
                                   rows[i].members));
        page_holds(page, rows[i].shown);
        reports_free(&fixture);
        arena_free(arena);
    }
}

static void test_doubts(void **state)
{
    static const char analysis[] =
        "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":18,\"unit\":\"mL/s\",\"source\":"
        "\"entered\",\"quality\":[\"damped_line\",\"spike\"]},"
        "\"qave\":{\"value\":9,\"unit\":\"mL/s\",\"source\":\"computed\",\"quality\":"
        "[\"damped_line\",\"spike\"]},\"flow_time\":{\"value\":9,\"quality\":[]}}}}";
    (void)state;
    struct report_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "<td>mL/s</td><td><strong>entered; doubtful</strong></td>");
    page_holds(page, "<li><strong>Doubtful, rests on a stretch with: damped line, spike: </strong>"
                     "Maximum flow rate (Qmax), Average flow rate (Qave).</li>");
    page_holds(page, "<td>VOID: 18/-/- (doubtful)</td>");
    assert_int_equal(page_count(page, "rests on"), 1);
    reports_free(&fixture);
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
    struct report_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "<li><strong>Outlet obstruction: obstructed (doubtful)</strong> (Bladder "
                     "outlet obstruction index (BOOI) 41).<strong> Doubtful: rests on a stretch "
                     "with: spike, catheter out</strong></li>");
    page_holds(page, "Compliance is low.<strong> Doubtful: rests on a stretch with: drift</strong>"
                     "</li>");
    page_holds(page, "<strong>Classes. </strong>Outlet obstruction: BOOI.</p>");
    reports_free(&fixture);
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
    struct report_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "Based on: Bladder compliance, Involuntary detrusor contractions. Limits in "
                     "use: Compliance below this is low = 12.5 mL/cmH\u2082O.</li>");
    page_holds(page, "(BOOI) 41). Limits in use: BOOI above this: obstructed (men) = 40; own "
                     "limit = 7.25.</li>");
    reports_free(&fixture);
}

/* A code that two sections share has the name that it has in the document's own section. */
static void test_basis_of_a_class(void **state)
{
    static const char analysis[] =
        "{\"sections\":{\"anorectal\":{\"first_sensation_volume\":{\"value\":20}}},"
        "\"classifications\":[{\"code\":\"london_sensation\",\"class\":\"normal_sensation\","
        "\"basis\":{\"first_sensation_volume\":20},\"method\":\"Volumes.\"}]}";
    (void)state;
    struct report_fixture fixture;
    const char *page = page_of(&fixture, analysis);
    page_holds(page, "(Volume at first constant sensation 20 mL).</li>");
    page_holds(page, "London classification, sensation: Volumes.");
    reports_free(&fixture);
}

static void test_quality(void **state)
{
    static const char *const parts[] = {
        "<li><strong>Warning</strong>, pabd, 0:00 to 0:10: Check pabd.</li>",
        "<li><strong>Note</strong>: No cough.</li>",
        "<p class=\"note\">Voiding, Bladder outlet obstruction index (BOOI): no flow signal.</p>",
    };
    (void)state;
    struct report_fixture fixture;
    const char *page = page_of(&fixture, REPORTS_PRESSURE_FLOW);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        page_holds(page, parts[i]);
    }
    reports_free(&fixture);
    page = page_of(&fixture, REPORTS_FREE_FLOW);
    page_holds(page, "<p>Nothing was found. Check the traces all the same.</p>");
    page_lacks(page, "Not computed");
    reports_free(&fixture);
}

/* How many coughs there were, and how many both lines answered alike. */
static void test_coughs(void **state)
{
    static const char analysis[] =
        "{\"sections\":{\"filling\":{\"coughs\":[{\"pves_rise\":100,\"pabd_rise\":70},"
        "{\"pves_rise\":69.9,\"pabd_rise\":100},{\"pves_rise\":50},{\"pves_rise\":90,"
        "\"pabd_rise\":100}]}}%s}";
    (void)state;
    struct arena *arena = arena_new();
    struct report_fixture fixture;
    page_holds(page_of(&fixture, arena_printf(arena, analysis,
                                              ",\"choices\":{\"cough_transmission_low\":0.7}")),
               "<p>Coughs during filling: 4 found, 2 of them with both pressures rising alike (the "
               "smaller rise at least 0.7 times the larger).</p>");
    reports_free(&fixture);
    page_holds(page_of(&fixture, arena_printf(arena, analysis, "")),
               "<p>Coughs during filling: 4 found.</p>");
    reports_free(&fixture);
    arena_free(arena);
}

static void test_version_of_the_analysis(void **state)
{
    (void)state;
    struct report_fixture fixture;
    const char *page =
        page_of(&fixture, "{\"revision\":4,\"software\":{\"name\":\"penstock\",\"version\":"
                          "\"0.1.0\",\"analysis_version\":\"0.2.0\"}}");
    page_holds(page, "Uroflowmetry: event list revision 4, penstock 0.1.0, analysis 0.2.0.");
    page_holds(page, "<p>penstock 0.1.0, version 4 of the study</p>\n</footer>");
    reports_free(&fixture);
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
        struct report_fixture fixture;
        struct arena *arena = arena_new();
        page_of(&fixture, arena_printf(arena,
                                       "{\"sections\":%s,\"not_computed\":[{\"index\":\"x\"}],"
                                       "\"findings\":[{\"limits\":7}],"
                                       "\"classifications\":[{\"limits\":[]}]}",
                                       sections[i]));
        reports_free(&fixture);
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
        cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_reporting_line),
        cmocka_unit_test(test_no_reporting_line_for_a_pressure_flow_study),
        cmocka_unit_test(test_main_numbers),
        cmocka_unit_test(test_list),
        cmocka_unit_test(test_words_in_a_list),
        cmocka_unit_test(test_long_list),
        cmocka_unit_test(test_repeated_section),
        cmocka_unit_test(test_numbers_beside_a_value),
        cmocka_unit_test(test_doubts),
        cmocka_unit_test(test_doubtful_suggestions),
        cmocka_unit_test(test_limits),
        cmocka_unit_test(test_basis_of_a_class),
        cmocka_unit_test(test_quality),
        cmocka_unit_test(test_coughs),
        cmocka_unit_test(test_version_of_the_analysis),
        cmocka_unit_test(test_wrong_shapes),
        cmocka_unit_test(test_units),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
