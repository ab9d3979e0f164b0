/* What a report says: to whom it belongs, what was found, what is missing, who answers for it. */
#include "page.h"
#include "reports.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static void check_parts(const char *text, const char *const *parts)
{
    for (; *parts != NULL; parts++) {
        page_holds(text, *parts);
    }
}

/* The parts stand in this order. */
static void check_order(const char *text, const char *const *parts)
{
    for (; *parts != NULL; parts++) {
        const char *found = strstr(text, *parts);
        if (found == NULL) {
            fail_msg("not there, or too early: %s\n%s", *parts, text);
            return;
        }
        text = found + strlen(*parts);
    }
}

static void test_page(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    const char *page = reports_html(&fixture);
    page_check_balance(page);
    page_holds(page, "<title>Urodynamic report, 2026-03-02</title>");
    page_lacks(page, "<script");
    page_lacks(page, " style=");
    assert_int_equal(page_count(page, "<h1>"), 1);
    assert_true(strstr(page, "Example") > strstr(page, "<body"));
    assert_true(strstr(page, "TV-1001") > strstr(page, "<body"));
    reports_free(&fixture);
}

static void test_order_of_parts(void **state)
{
    static const char *const parts[] = {
        "Urodynamic report", "Preliminary: not reviewed",
        "Patient and study", "Interpretation",
        "In brief",          "These numbers were computed",
        "History",           "Technique",
        "Not stated:",       "1. Uroflowmetry, 2026-03-02 08:31 UTC",
        "Free flow",         "2. Pressure-flow study, 2026-03-02 08:47 UTC",
        "Filling", /* the document has them the other way round */
        "Voiding",           "Classes by rules",
        "Signal quality",    "Not computed",
        "Methods",           "Sources.",
        "Software.",         NULL};
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    check_order(reports_text(&fixture), parts);
    reports_free(&fixture);
}

static void test_title(void **state)
{
    static const struct {
        enum recording_type types[2];
        const char *title;
    } rows[] = {
        {{RECORDING_UROFLOWMETRY, RECORDING_ANORECTAL_MANOMETRY}, "Urodynamic report"},
        {{RECORDING_ANORECTAL_MANOMETRY, RECORDING_ANORECTAL_MANOMETRY},
         "Report of anorectal manometry"},
        {{RECORDING_PELVIC_FLOOR_TRAINING, RECORDING_PELVIC_FLOOR_TRAINING},
         "Report of pelvic floor training"},
        {{RECORDING_PELVIC_FLOOR_TRAINING, RECORDING_ANORECTAL_MANOMETRY}, "Pelvic floor report"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct report_fixture fixture;
        reports_make(&fixture);
        fixture.rows[0].type = rows[i].types[0];
        fixture.rows[1].type = rows[i].types[1];
        const char *page = reports_html(&fixture);
        page_holds(page, arena_printf(fixture.arena, "<h1>%s</h1>", rows[i].title));
        page_holds(page,
                   arena_printf(fixture.arena, "<title>%s, 2026-03-02</title>", rows[i].title));
        reports_free(&fixture);
    }
}

static void test_facts(void **state)
{
    static const char *const parts[] = {
        "Patient: Example, Pat",
        "Record number: TV-1001",
        "Born: 1961-07-15",
        "Age at the study: 64 years",
        "Sex: male",
        "Weight: 81.5 kg",
        "Room: Room 2",
        "Date and time: 2026-03-02 08:31 UTC",
        "Operator: Nurse One",
        "Referred by: Dr Somebody",
        "- Diary: 3 days - Pad test: grams 12.5 - Medication: none, tea - smoker: no",
        "Catheters: 6 Fr double lumen",
        "Duration: 1 min 2 s",
        "Position: standing",
        "Post-void residual: 37 mL",
        "Duration: 30 min 0 s",
        "Maximum flow rate of a free flow: 21.5 mL/s",
        "Balloon expulsion time: 47 s",
        "Distance between anal sensors: 7.5 mm",
        "Neurological lesion known: yes",
        "Electromyogram as sent: raw",
        NULL};
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    fixture.report.referrer = "Dr Somebody";
    check_parts(reports_words(&fixture), parts);
    fixture.patient.birth_date = "2025-01-15";
    page_holds(reports_words(&fixture), "Age at the study: 13 months");
    fixture.patient.birth_date = "";
    page_lacks(reports_words(&fixture), "Age at the study");
    reports_free(&fixture);
}

/* ---- status ---- */

static void test_status(void **state)
{
    static const struct {
        const char *status;
        const char *words;
        const char *mark; /* NULL: none */
    } rows[] = {
        {"registered", "Preliminary: not reviewed or signed by a clinician.", "Preliminary"},
        {"preliminary", "Preliminary: not reviewed or signed by a clinician.", "Preliminary"},
        {"cancelled", "Cancelled: this study was cancelled.", "Cancelled"},
        {"unheard_of", "Preliminary: not reviewed or signed by a clinician.", "Preliminary"},
        {"final", "Final: reviewed and signed by a clinician.", NULL},
        {"amended", "Amended: changed after signature and signed again by a clinician.", NULL},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct report_fixture fixture;
        reports_make(&fixture);
        fixture.study.status = rows[i].status;
        const struct document *document = report_document(&fixture.report, fixture.arena);
        const char *mark = document_facts(document)->mark;
        assert_int_equal(mark == NULL, rows[i].mark == NULL);
        assert_string_equal(mark == NULL ? "" : mark, rows[i].mark == NULL ? "" : rows[i].mark);
        const char *words = reports_words(&fixture);
        page_holds(words, rows[i].words);
        page_holds(words, "do not replace it: check them against the traces");
        assert_int_equal(page_count(words, "Values, preliminary"), rows[i].mark == NULL ? 0 : 3);
        reports_free(&fixture);
    }
}

static void test_signed(void **state)
{
    static const char words[] =
        "Final: reviewed and signed by a clinician. Signed 2026-03-03 09:00 UTC by Dr First, "
        "physician.";
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    page_lacks(reports_words(&fixture), "Signatures");
    reports_sign(&fixture, 1);
    page_holds(reports_words(&fixture), words);
    page_lacks(reports_words(&fixture), "Signatures"); /* the status has said it */
    page_lacks(reports_words(&fixture), "Preliminary");
    page_lacks(reports_words(&fixture), "preliminary");
    reports_free(&fixture);
}

static void test_amended(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    reports_sign(&fixture, 2);
    const char *page = reports_html(&fixture);
    page_check_balance(page);
    page_holds(page, "Amended: changed after signature and signed again by a clinician.</strong> "
                     "Signed 2026-03-04 09:00 UTC by <bdi>Dr Second</bdi>, <bdi>physician</bdi>. "
                     "Amended because: <bdi>The residual was wrong.</bdi></p>");
    page_holds(page, "<td><bdi>Dr First</bdi></td><td><bdi>physician, final</bdi></td>");
    page_holds(page, "<td><bdi>Dr Second</bdi></td><td><bdi>physician, amended</bdi></td><td><bdi>"
                     "The residual was wrong.</bdi></td>");
    reports_free(&fixture);
}

/* ---- interpretation ---- */

static void test_interpretation(void **state)
{
    static const char *const parts[] = {
        "Interpretation",
        "Conclusion",
        "Obstructed outlet.\nStrong detrusor.\n",
        "Diagnoses",
        "- Outlet obstruction. (urn:codes N32.0, Bladder-neck obstruction)\n- Second.\n",
        "Plan",
        "- Alpha blocker.\n",
        "Findings",
        "- Filling: Phasic overactivity.\n- No leak.\n",
        "Symptoms reproduced: partly; Urgency only.\n",
        "Like the patient's usual voiding: free flow yes, voiding no\n",
        "Complications: None.\n",
        "Comment: Catheter slipped once.\n",
        "In brief",
        NULL};
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    reports_interpret(&fixture);
    check_order(reports_text(&fixture), parts);
    page_lacks(reports_text(&fixture), "Drafted");
    page_lacks(reports_text(&fixture), "Flow is low."); /* what the rules drafted */
    reports_free(&fixture);
}

/* Until then what the rules drafted stands there, and nowhere else. */
static void test_drafts(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    const char *words = reports_words(&fixture);
    page_holds(words, "No clinician has entered an interpretation.");
    page_holds(words, "- 2. Pressure-flow study: Flow is low. Based on: Maximum flow rate (Qmax), "
                      "own rule.");
    page_holds(words, "None is a diagnosis.");
    assert_int_equal(page_count(words, "Flow is low."), 1);
    fixture.report.recording_count = 1;
    page_lacks(reports_words(&fixture), "None is a diagnosis.");
    reports_free(&fixture);
}

static void test_shapes_of_interpretations(void **state)
{
    static const char *const texts[] = {
        "{\"findings\":7,\"diagnoses\":{},\"plan\":[7,null,[]],\"conclusion\":[]}",
        "{\"representative\":[],\"symptoms_reproduced\":{},\"diagnoses\":[{\"coding\":7}]}",
        "{\"conclusion\":\"\"}", "{}"};
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct report_fixture fixture;
        reports_make(&fixture);
        fixture.report.interpretation = reports_json(&fixture, texts[i]);
        page_check_balance(reports_html(&fixture));
        reports_free(&fixture);
    }
}

/* ---- technique ---- */

static void test_equipment(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    page_holds(reports_words(&fixture), "equipment and its verification");
    reports_equip(&fixture);
    const char *page = reports_html(&fixture);
    page_holds(page, "<p class=\"note\"><strong>Equipment of the room, last verification. </strong>"
                     "<bdi>pressure transducer (Transducer A, serial number S-1): passed "
                     "2026-02-02, due 2027-01-15</bdi>.</p>");
    page_holds(page, "<p><strong>Equipment without a valid verification: </strong><bdi>flow meter "
                     "(Meter B): not verified</bdi>.</p>");
    page_lacks(reports_words(&fixture), "equipment and its verification");
    fixture.devices[0].verdict = "overdue";
    fixture.devices[0].words = "Check the zero.";
    page_holds(reports_words(&fixture),
               "S-1): overdue 2026-02-02, due 2027-01-15; Check the zero.; "
               "flow meter");
    reports_free(&fixture);
}

/* A verdict that the words of the check repeat is said once, and so is their full stop. */
static void test_equipment_not_judged(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    reports_equip(&fixture);
    fixture.devices[1].verdict = "not_judged";
    fixture.devices[1].words = "Not judged. There is no limit.";
    page_holds(reports_words(&fixture), "(Meter B): checked; Not judged. There is no limit. "
                                        "Equipment of the room");
    reports_free(&fixture);
}

static void test_not_stated(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    page_holds(reports_words(&fixture),
               "Not stated: referrer, question of the test, position (recording 2), reference "
               "level, zero, residual before filling, post-void residual (recording 2), equipment "
               "and its verification.");
    fixture.study.operator_name = "";
    fixture.study.catheters = "";
    fixture.rows[0].conditions_json = "{";
    page_holds(reports_words(&fixture),
               "Not stated: operator, referrer, question of the test, position, catheters, "
               "reference level, zero, residual before filling, post-void residual, equipment and "
               "its verification.");
    reports_free(&fixture);
}

/* What a free flow does not need is not missed. */
static void test_not_stated_of_a_free_flow(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    fixture.report.recording_count = 1;
    fixture.study.catheters = "";
    page_holds(reports_words(&fixture),
               "Not stated: referrer, question of the test, equipment and its verification.");
    reports_equip(&fixture);
    fixture.report.referrer = "Dr Somebody";
    fixture.study.history = "{\"question\":\"Obstruction?\"}";
    page_lacks(reports_words(&fixture), "Not stated");
    page_holds(reports_words(&fixture), "- Question of the test: Obstruction?");
    reports_free(&fixture);
}

static void test_child(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    page_lacks(reports_words(&fixture), "paediatric");
    fixture.patient.birth_date = "2016-07-15";
    page_holds(reports_words(&fixture), "The patient is a child: norms are paediatric");
    fixture.patient.birth_date = "2008-03-03"; /* 18 on the day after */
    page_holds(reports_words(&fixture), "The patient is a child");
    fixture.patient.birth_date = "2008-03-02";
    page_lacks(reports_words(&fixture), "The patient is a child");
    reports_free(&fixture);
}

/* ---- figures ---- */

static void draw(void *context, struct canvas *canvas, struct canvas_rect area)
{
    const struct canvas_pen pen = {.width_pt = 1.0};
    (void)context;
    canvas_stroke_rect(canvas, area, &pen);
}

static void test_figures(void **state)
{
    static const char *const order[] = {"1. Uroflowmetry, 2026",
                                        "Free flow",
                                        "2. Pressure-flow study, 2026",
                                        "[Figure: Traces. All signals.]",
                                        "Filling",
                                        "Voiding",
                                        "[Figure: Loop. Pressure and flow.]",
                                        "Classes by rules",
                                        NULL};
    static const struct report_figure figures[] = {
        {"voiding", {"Loop", "Pressure and flow.", 200.0, true, draw, NULL}},
        {"", {"Traces", "All signals.", 300.0, false, draw, NULL}}};
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    fixture.recordings[1].figures = figures;
    fixture.recordings[1].figure_count = 2;
    check_order(reports_text(&fixture), order);
    page_check_balance(reports_html(&fixture));
    assert_int_equal(page_count(reports_html(&fixture), "<img "), 2);
    reports_free(&fixture);
}

static void test_figures_that_are_left_out_are_told(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    page_lacks(reports_words(&fixture), "are left out");
    fixture.recordings[1].has_no_room = true;
    page_holds(reports_words(&fixture), "The figures of this recording are left out");
    reports_free(&fixture);
}

/* ---- what runs, what is damaged ---- */

static void test_running_recordings_are_told(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    page_lacks(reports_words(&fixture), "still running");
    fixture.study.open_recording_count = 1;
    page_holds(reports_words(&fixture), "1 recording is still running and is not in this report.");
    fixture.study.open_recording_count = 2;
    page_holds(reports_words(&fixture),
               "2 recordings are still running and are not in this report.");
    reports_free(&fixture);
}

static void test_study_without_recordings(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    fixture.report.recording_count = 0;
    const char *words = reports_words(&fixture);
    page_holds(words, "There is no complete recording.");
    page_lacks(words, "In brief");
    page_lacks(words, "Methods");
    page_holds(words, "Local protocols and licensed practice decide.");
    page_check_balance(reports_html(&fixture));
    reports_free(&fixture);
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
        struct report_fixture fixture;
        reports_make(&fixture);
        fixture.recordings[0].analysis_json = texts[i];
        fixture.rows[0].conditions_json = texts[i];
        fixture.study.history = texts[i];
        page_check_balance(reports_html(&fixture));
        page_holds(reports_words(&fixture), "2. Pressure-flow study, 2026");
        reports_free(&fixture);
    }
}

static void test_damage_is_said(void **state)
{
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    fixture.recordings[0].analysis_json = "{";
    fixture.rows[0].conditions_json = "{";
    const char *words = reports_words(&fixture);
    page_holds(words, "The analysis of this recording is not available.");
    page_holds(words, "The conditions of this recording are not available.");
    reports_free(&fixture);
}

/* ---- hostile content ---- */

#define EVIL      "<script>&\"'"
#define EVIL_JSON "<script>&\\\"'"
#define HARMLESS  "&lt;script&gt;&amp;&quot;&#39;"

static const char evil_analysis[] =
    "{\"revision\":1,\"software\":{\"name\":\"" EVIL_JSON "\",\"version\":\"" EVIL_JSON
    "\",\"analysis_version\":\"" EVIL_JSON "\"},"
    "\"sections\":{\"uroflow\":{\"qmax\":{\"value\":\"" EVIL_JSON "\",\"method\":\"" EVIL_JSON
    "\",\"" EVIL_JSON "\":2,\"quality\":[\"" EVIL_JSON "\"]}},"
    "\"filling\":{\"leaks\":[{\"cause\":\"" EVIL_JSON "\"}]}},"
    "\"findings\":[{\"text\":\"" EVIL_JSON "\",\"basis\":[\"" EVIL_JSON
    "\"],\"limits\":{\"" EVIL_JSON "\":1}}],"
    "\"classifications\":[{\"code\":\"" EVIL_JSON "\",\"class\":\"" EVIL_JSON
    "\",\"method\":\"" EVIL_JSON "\",\"basis\":{\"" EVIL_JSON "\":1}}],"
    "\"quality\":[{\"signal\":\"" EVIL_JSON "\",\"text\":\"" EVIL_JSON "\"}],"
    "\"not_computed\":[{\"section\":\"" EVIL_JSON "\",\"code\":\"" EVIL_JSON
    "\",\"reason\":\"" EVIL_JSON "\"}]}";

static void make_evil(struct report_fixture *fixture)
{
    reports_make(fixture);
    reports_equip(fixture);
    reports_sign(fixture, 1);
    fixture->report.clinic_name = EVIL;
    fixture->report.referrer = EVIL;
    fixture->report.recording_count = 1;
    fixture->patient = (struct patient){
        .mrn = EVIL, .family_name = EVIL, .given_name = EVIL, .birth_date = EVIL, .sex = EVIL};
    fixture->study.room = EVIL;
    fixture->study.operator_name = EVIL;
    fixture->study.position = EVIL;
    fixture->study.catheters = EVIL;
    fixture->study.history = "{\"" EVIL_JSON "\":{\"" EVIL_JSON "\":\"" EVIL_JSON "\"}}";
    fixture->rows[0].conditions_json = "{\"position\":\"" EVIL_JSON "\",\"zeroed\":\"" EVIL_JSON
                                       "\",\"reference_level\":\"" EVIL_JSON "\"}";
    fixture->recordings[0].analysis_json = evil_analysis;
    fixture->devices[0] = (struct report_device){
        .kind = EVIL, .name = EVIL, .serial = EVIL, .verdict = EVIL, .words = EVIL};
    fixture->signatures[0].signer_name = EVIL;
    fixture->signatures[0].signer_role = EVIL;
    fixture->signatures[0].reason = EVIL;
    fixture->signatures[0].meaning = EVIL;
}

static void test_everything_is_escaped(void **state)
{
    (void)state;
    struct report_fixture fixture;
    make_evil(&fixture);
    const char *page = reports_html(&fixture);
    page_check_balance(page);
    page_lacks(page, "<script");
    /* 6 in the head and foot, 3 of the status, 12 of patient and study, 3 each of history and
     * conditions, 5 of equipment, 17 of the analysis */
    assert_in_range(page_count(page, HARMLESS), 49, 80);
    fixture.report.interpretation = reports_json(
        &fixture,
        "{\"conclusion\":\"" EVIL_JSON "\",\"plan\":[{\"text\":\"" EVIL_JSON "\"}],\"diagnoses\":"
        "[{\"text\":\"" EVIL_JSON "\",\"coding\":{\"system\":\"" EVIL_JSON
        "\",\"code\":\"" EVIL_JSON "\",\"display\":\"" EVIL_JSON
        "\"}}],\"findings\":[{\"section\":\"" EVIL_JSON "\",\"text\":\"" EVIL_JSON
        "\"}],\"symptoms_comment\":\"" EVIL_JSON "\",\"complications\":\"" EVIL_JSON
        "\",\"comment\":\"" EVIL_JSON "\",\"representative\":{\"" EVIL_JSON "\":true}}");
    page = reports_html(&fixture);
    page_check_balance(page);
    page_lacks(page, "<script");
    reports_free(&fixture);
}

static void test_right_to_left_and_long_names(void **state)
{
    static const char override_mark[] = "\u202eevil \u05e9\u05dc\u05d5\u05dd";
    (void)state;
    struct report_fixture fixture;
    reports_make(&fixture);
    char *name = arena_alloc(fixture.arena, 401);
    for (size_t i = 0; i < 200; i++) {
        memcpy(name + 2 * i, "\xd7\xa9", 3);
    }
    fixture.patient.family_name = name;
    fixture.patient.given_name = override_mark;
    const char *page = reports_html(&fixture);
    page_check_balance(page);
    page_holds(page, arena_printf(fixture.arena, "<bdi>%s, %s</bdi>", name, override_mark));
    reports_free(&fixture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_page),
        cmocka_unit_test(test_order_of_parts),
        cmocka_unit_test(test_title),
        cmocka_unit_test(test_facts),
        cmocka_unit_test(test_status),
        cmocka_unit_test(test_signed),
        cmocka_unit_test(test_amended),
        cmocka_unit_test(test_interpretation),
        cmocka_unit_test(test_drafts),
        cmocka_unit_test(test_shapes_of_interpretations),
        cmocka_unit_test(test_equipment),
        cmocka_unit_test(test_equipment_not_judged),
        cmocka_unit_test(test_not_stated),
        cmocka_unit_test(test_not_stated_of_a_free_flow),
        cmocka_unit_test(test_child),
        cmocka_unit_test(test_figures),
        cmocka_unit_test(test_figures_that_are_left_out_are_told),
        cmocka_unit_test(test_running_recordings_are_told),
        cmocka_unit_test(test_study_without_recordings),
        cmocka_unit_test(test_missing_content),
        cmocka_unit_test(test_damage_is_said),
        cmocka_unit_test(test_everything_is_escaped),
        cmocka_unit_test(test_right_to_left_and_long_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
