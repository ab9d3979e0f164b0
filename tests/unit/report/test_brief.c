/* What the referring physician opens: the order, what is left out, and words as words. */
#include "page.h"

#include "report/brief.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

struct brief_fixture {
    struct arena *arena;
    struct patient patient;
    struct study study;
    struct recording_row rows[3];
    struct brief_recording recordings[3];
    struct interpretation_finding finding;
    struct interpretation_diagnosis diagnosis;
    const char *plan[2];
    struct interpretation interpretation;
    struct signature_row signatures[2];
    struct brief brief;
};

static const char FREE_FLOW[] =
    "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":18.4,\"unit\":\"mL/s\",\"quality\":"
    "[\"spike\"]},\"voided_volume\":{\"value\":342,\"unit\":\"mL\"},"
    "\"flow_time\":{\"value\":31,\"unit\":\"s\"},\"flow_pattern\":{\"value\":\"bell\"}}},"
    "\"classifications\":[{\"code\":\"adequate_flow\",\"class\":\"not_low\"}],"
    "\"quality\":[{\"severity\":\"warning\",\"text\":\"A knock.\"},"
    "{\"severity\":\"info\",\"text\":\"A note.\"},{\"severity\":\"warning\",\"text\":\"A "
    "knock.\"}]}";

static const char PRESSURE_FLOW[] =
    "{\"sections\":{\"filling\":{\"involuntary_contractions\":[{\"at_s\":1},{\"at_s\":2}],"
    "\"leaks\":[],\"compliance\":{\"value\":34.5,\"unit\":\"mL/cm[H2O]\"}},"
    "\"voiding\":{\"booi\":{\"value\":40.4,\"unit\":\"1\"},\"bci\":{\"value\":120,\"unit\":\"1\"},"
    "\"pdet_qmax\":{\"value\":62.4,\"unit\":\"cm[H2O]\"},\"qmax\":{\"value\":11,\"unit\":"
    "\"mL/s\"}}},\"classifications\":[{\"code\":\"ics_obstruction\",\"class\":\"equivocal\"}],"
    "\"quality\":[{\"severity\":\"error\",\"text\":\"A line came out.\"}]}";

static void make(struct brief_fixture *fixture)
{
    *fixture = (struct brief_fixture){
        .arena = arena_new(),
        .patient = {.mrn = "TV-1001",
                    .family_name = "Example",
                    .given_name = "Pat",
                    .birth_date = "1961-07-15",
                    .sex = "male"},
        .study = {.started_at_us = INT64_C(1772440265250000), .status = "final"},
        .rows = {{.type = RECORDING_UROFLOWMETRY},
                 {.type = RECORDING_UROFLOWMETRY},
                 {.type = RECORDING_PRESSURE_FLOW}},
        .finding = {.text = "The flow is slow."},
        .diagnosis = {.text = "Outlet obstruction", .code = "X1"},
        .plan = {"Start the medicine.", "Come back in June."},
        .signatures = {{.number = 1,
                        .meaning = "final",
                        .signed_at_us = INT64_C(1772540265000000),
                        .signer_name = "Dr One",
                        .signer_role = "physician",
                        .reason = "",
                        .interpretation_revision = 1},
                       {.number = 2,
                        .meaning = "amended",
                        .signed_at_us = INT64_C(1772640265000000),
                        .signer_name = "Dr Two",
                        .signer_role = "physician",
                        .reason = "It was the other side.",
                        .interpretation_revision = 2}},
    };
    for (size_t i = 0; i < 3; i++) {
        fixture->recordings[i] = (struct brief_recording){
            .row = &fixture->rows[i], .analysis_json = i < 2 ? FREE_FLOW : PRESSURE_FLOW};
    }
    fixture->interpretation = (struct interpretation){
        .symptoms_reproduced = "no",
        .representative_voiding = ANSWER_NO,
        .finding_count = 1,
        .findings = &fixture->finding,
        .diagnosis_count = 1,
        .diagnoses = &fixture->diagnosis,
        .conclusion = "The outlet is narrow.",
        .plan_count = 2,
        .plan = fixture->plan,
    };
    fixture->brief = (struct brief){
        .clinic_name = "Tarn Valley Continence Clinic",
        .study = &fixture->study,
        .patient = &fixture->patient,
        .recording_count = 3,
        .recordings = fixture->recordings,
        .interpretation = &fixture->interpretation,
        .signature_count = 1,
        .signatures = fixture->signatures,
        .report = {.html_address = "/l/x/report?form=html", .pdf_address = "/l/x/report?form=pdf"},
    };
}

static const char *page_of(const struct brief_fixture *fixture)
{
    struct text out;
    text_init(&out, fixture->arena, (size_t)1024 * 1024);
    brief_html_write(&fixture->brief, &out);
    assert_false(out.overflowed);
    return out.data;
}

static void holds_in_order(const char *page, const char *const parts[], size_t count)
{
    const char *at = page;
    for (size_t i = 0; i < count; i++) {
        at = strstr(at, parts[i]);
        if (at == NULL) {
            fail_msg("missing, or too early: %s\n%s", parts[i], page);
            return;
        }
    }
}

static void test_the_answer_comes_first(void **state)
{
    static const char *const parts[] = {
        "<title>Urodynamic study, 2026-03-02</title>",
        "Tarn Valley Continence Clinic",
        "<bdi>Example</bdi>, <bdi>Pat</bdi>",
        "<bdi>1961-07-15</bdi> (64&nbsp;years)",
        "TV-1001",
        "What was found",
        "The outlet is narrow.",
        "Outlet obstruction",
        "What to do",
        "<li><bdi>Start the medicine.</bdi></li>\n<li><bdi>Come back in June.</bdi></li>",
        "<strong>Final.</strong> Signed by <bdi>Dr One</bdi>, physician, <time",
        "The flow is slow.",
        "Key numbers",
        ">Cautions<",
        "Report and letter",
        "<a href=\"/l/x/report?form=pdf\" type=\"application/pdf\">",
        "<a href=\"/l/x/report?form=html\" type=\"text/html\">",
    };
    (void)state;
    struct brief_fixture fixture;
    make(&fixture);
    const char *page = page_of(&fixture);
    page_check_balance(page);
    holds_in_order(page, parts, sizeof parts / sizeof parts[0]);
    page_lacks(page, "<script");
    page_lacks(page, " style=");
    page_lacks(page, "reliminary");
    page_lacks(page, "Letter");
    assert_int_equal(page_count(page, "<h1>"), 1);
    assert_true(strstr(page, "Example") > strstr(page, "<body"));
    arena_free(fixture.arena);
}

static void test_numbers(void **state)
{
    static const char *const parts[] = {
        "<h3>Uroflowmetry</h3>",
        ("<dt>Maximum flow rate (Qmax)</dt><dd><span class=\"value\">18</span> <span "
         "class=\"unit\">mL/s</span> <span class=\"word\">not low</span> <strong "
         "class=\"doubt\">doubtful: spike</strong>"),
        "<span class=\"value\">340</span> <span class=\"unit\">mL</span>",
        "<span class=\"value\">bell</span>",
        "The last of 2; the others are in the report.",
        "<h3>Pressure-flow study</h3>",
        "data-code=\"filling.involuntary_contractions\"",
        "<span class=\"value\">2</span>",
        "data-code=\"filling.leaks\"",
        "<span class=\"value\">none found</span>",
        "data-code=\"voiding.booi\"",
        "<span class=\"value\">40</span> <span class=\"word\">equivocal</span>",
    };
    (void)state;
    struct brief_fixture fixture;
    make(&fixture);
    const char *page = page_of(&fixture);
    holds_in_order(page, parts, sizeof parts / sizeof parts[0]);
    page_lacks(page, "flow_time"); /* few numbers, not all */
    assert_int_equal(page_count(page, "<h3>Uroflowmetry"), 1);
    assert_int_equal(page_count(page, "data-code="), 3 + 6);
    arena_free(fixture.arena);
}

static void test_cautions(void **state)
{
    static const char *const parts[] = {"did not reproduce", "not as the patient usually voids",
                                        "A line came out.", "A knock.",
                                        "They support clinical judgement"};
    (void)state;
    struct brief_fixture fixture;
    make(&fixture);
    const char *page = page_of(&fixture);
    holds_in_order(page, parts, sizeof parts / sizeof parts[0]);
    assert_int_equal(page_count(page, "A knock."), 1);
    page_lacks(page, "A note.");
    page_lacks(page, "No fault of the signals");
    fixture.brief.recording_count = 0;
    page_holds(page_of(&fixture), "No fault of the signals was found.");
    page_holds(page_of(&fixture), "There is no complete recording.");
    fixture.study.open_recording_count = 1;
    page_holds(page_of(&fixture), "A recording is still running");
    arena_free(fixture.arena);
}

static void test_amended(void **state)
{
    static const char *const parts[] = {
        "<strong>Amended.</strong> Signed again by <bdi>Dr Two</bdi>",
        "<strong>Why it was amended:</strong> <bdi>It was the other side.</bdi>",
        "First signed by <bdi>Dr One</bdi>",
    };
    (void)state;
    struct brief_fixture fixture;
    make(&fixture);
    fixture.study.status = "amended";
    fixture.brief.signature_count = 2;
    holds_in_order(page_of(&fixture), parts, sizeof parts / sizeof parts[0]);
    arena_free(fixture.arena);
}

static void test_unsigned(void **state)
{
    (void)state;
    struct brief_fixture fixture;
    make(&fixture);
    fixture.study.status = "preliminary";
    fixture.brief.interpretation = NULL;
    fixture.brief.signature_count = 0;
    const char *page = page_of(&fixture);
    page_check_balance(page);
    page_holds(page, "<strong>Preliminary.</strong> Not reviewed or signed by a clinician.");
    page_holds(page, "<h3>Uroflowmetry, preliminary</h3>");
    page_holds(page, "No written conclusion was signed");
    page_lacks(page, "What to do");
    page_lacks(page, "Signed by");
    fixture.study.status = "cancelled";
    page_holds(page_of(&fixture), "<strong>Cancelled.</strong>");
    arena_free(fixture.arena);
}

static void test_letter_is_led_to_where_there_is_one(void **state)
{
    (void)state;
    struct brief_fixture fixture;
    make(&fixture);
    fixture.brief.letter = (struct brief_document){.pdf_address = "/l/x/letter?form=pdf"};
    const char *page = page_of(&fixture);
    page_holds(page, "<a href=\"/l/x/letter?form=pdf\" type=\"application/pdf\">Letter (PDF)</a>");
    page_lacks(page, "Letter to read here");
    fixture.brief.letter = (struct brief_document){0};
    fixture.brief.report = (struct brief_document){0};
    page_lacks(page_of(&fixture), "Report and letter");
    arena_free(fixture.arena);
}

static void test_words_are_words(void **state)
{
    static const char evil[] = "</bdi></li><script>x</script>\"'&<";
    (void)state;
    struct brief_fixture fixture;
    make(&fixture);
    fixture.patient.family_name = evil;
    fixture.patient.mrn = evil;
    fixture.patient.birth_date = evil;
    fixture.patient.sex = evil;
    fixture.finding.text = evil;
    fixture.diagnosis = (struct interpretation_diagnosis){.text = evil, .code = evil};
    fixture.plan[0] = evil;
    fixture.interpretation.conclusion = evil;
    fixture.interpretation.complications = evil;
    fixture.signatures[0].signer_name = evil;
    fixture.signatures[0].signer_role = evil;
    fixture.signatures[1].reason = evil;
    fixture.brief.clinic_name = evil;
    fixture.brief.signature_count = 2;
    fixture.study.status = "amended";
    fixture.brief.report.pdf_address = evil;
    const char *page = page_of(&fixture);
    page_check_balance(page);
    page_lacks(page, "<script");
    assert_true(page_count(page, "&lt;script&gt;x&lt;/script&gt;&quot;") >= 12);
    arena_free(fixture.arena);
}

static void test_damaged_analysis(void **state)
{
    static const char *const damaged[] = {
        NULL,
        "",
        "{",
        "[]",
        "{\"sections\":[]}",
        "{\"sections\":{\"uroflow\":{\"qmax\":3}}}",
        "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":null}}},\"quality\":{}}"};
    (void)state;
    for (size_t i = 0; i < sizeof damaged / sizeof damaged[0]; i++) {
        struct brief_fixture fixture;
        make(&fixture);
        fixture.brief.recording_count = 1;
        fixture.recordings[0].analysis_json = damaged[i];
        const char *page = page_of(&fixture);
        page_check_balance(page);
        page_holds(page, "No number could be computed; the report says why.");
        arena_free(fixture.arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_answer_comes_first),
        cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_cautions),
        cmocka_unit_test(test_amended),
        cmocka_unit_test(test_unsigned),
        cmocka_unit_test(test_letter_is_led_to_where_there_is_one),
        cmocka_unit_test(test_words_are_words),
        cmocka_unit_test(test_damaged_analysis),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
