/* Classes for the stylesheet (web/src/brief.css):
 *   body.brief              the page
 *   .clinic, .who           the clinic; dl of whose study it is
 *   .status-banner          what the status means; .amendment: why it was signed again
 *   section.answer, .plan   what was found and what to do; .conclusion, ol, ul
 *   dl.keys > div > dt+dd   a number: .value, .unit, .word (the class it belongs to), strong.doubt
 *   .cautions               what to be careful with
 *   .documents              the ways to the whole report and the letter
 */
#include "report/brief.h"

#include "base/clock.h"
#include "report/brief_numbers.h"
#include "report/brief_text.h"
#include "report/report.h"

#include <math.h>
#include <string.h>

static bool is_signed(const struct brief *brief)
{
    return study_status_is_signed(brief->study->status);
}

static bool is_empty(const char *words)
{
    return words == NULL || words[0] == '\0';
}

/* Titles stay behind in the histories of browsers: no name. */
static void write_head(const struct brief *brief, struct text *out)
{
    char stamp[CLOCK_TEXT_SIZE];
    clock_format(brief->study->started_at_us, stamp);
    text_printf(out,
                "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                "<meta name=\"color-scheme\" content=\"light dark\">\n"
                "<title>Urodynamic study, %.10s</title>\n"
                "<link rel=\"icon\" href=\"/assets/favicon.svg\" type=\"image/svg+xml\">\n"
                "<link rel=\"stylesheet\" href=\"/assets/penstock.css\">\n</head>\n",
                stamp);
}

static void write_header(const struct brief *brief, struct text *out)
{
    const struct patient *patient = brief->patient;
    const struct study *study = brief->study;
    char stamp[CLOCK_TEXT_SIZE];
    clock_format(study->started_at_us, stamp);
    text_append(out, "<body class=\"brief\">\n<header>\n<p class=\"clinic\">");
    brief_person(out, brief->clinic_name);
    text_printf(out,
                "</p>\n<h1>Urodynamic study, <time datetime=\"%s\">%.10s</time></h1>\n"
                "<dl class=\"who\">\n<div class=\"name\"><dt>Patient</dt><dd>",
                stamp, stamp);
    brief_person(out, patient->family_name);
    text_append(out, ", ");
    brief_person(out, patient->given_name);
    text_append(out, "</dd></div>\n<div><dt>Born</dt><dd>");
    brief_person(out, patient->birth_date);
    if (clock_is_date(patient->birth_date)) {
        double years = clock_years_between(patient->birth_date, study->started_at_us);
        text_printf(out, " (%.0f&nbsp;years)", floor(years));
    }
    text_append(out, "</dd></div>\n");
    brief_fact(out, "Sex", patient->sex);
    brief_fact(out, "Record number", patient->mrn);
    text_append(out, "</dl>\n");
}

/* What is not signed must not be taken for an answer: that stands before everything else. */
static void write_unsigned(const struct brief *brief, struct text *out)
{
    bool cancelled = strcmp(brief->study->status, "cancelled") == 0;
    text_printf(out,
                "<p class=\"status-banner %s\"><strong>%s</strong> Not reviewed or signed by a "
                "clinician.</p>\n",
                cancelled ? "cancelled" : "preliminary", cancelled ? "Cancelled." : "Preliminary.");
}

/* ---- the answer ---- */

static void write_conclusion(const struct interpretation *interpretation, struct text *out)
{
    if (interpretation == NULL || is_empty(interpretation->conclusion)) {
        text_append(out, "<p>No written conclusion was signed with this study. What was measured "
                         "stands below; ask the clinic what it means.</p>\n");
        return;
    }
    text_append(out, "<p class=\"conclusion\">");
    brief_person(out, interpretation->conclusion);
    text_append(out, "</p>\n");
}

static void write_diagnoses(const struct interpretation *interpretation, struct text *out)
{
    text_append(out, "<h3>Diagnoses</h3>\n<ul class=\"diagnoses\">\n");
    for (size_t i = 0; i < interpretation->diagnosis_count; i++) {
        const struct interpretation_diagnosis *diagnosis = &interpretation->diagnoses[i];
        text_append(out, "<li>");
        brief_person(out, diagnosis->text);
        if (!is_empty(diagnosis->code)) {
            text_append(out, " <span class=\"code\">");
            brief_person(out, diagnosis->code);
            text_append(out, "</span>");
        }
        text_append(out, "</li>\n");
    }
    text_append(out, "</ul>\n");
}

static void write_answer(const struct interpretation *interpretation, struct text *out)
{
    text_append(out, "<section class=\"answer\" aria-labelledby=\"found\">\n"
                     "<h2 id=\"found\">What was found</h2>\n");
    write_conclusion(interpretation, out);
    if (interpretation != NULL && interpretation->diagnosis_count > 0) {
        write_diagnoses(interpretation, out);
    }
    text_append(out, "</section>\n");
}

static void write_plan(const struct interpretation *interpretation, struct text *out)
{
    if (interpretation == NULL) {
        return;
    }
    text_append(out, "<section class=\"plan\" aria-labelledby=\"plan\">\n"
                     "<h2 id=\"plan\">What to do</h2>\n");
    if (interpretation->plan_count == 0) {
        text_append(out, "<p>Nothing was planned in writing.</p>\n</section>\n");
        return;
    }
    text_append(out, "<ol>\n");
    for (size_t i = 0; i < interpretation->plan_count; i++) {
        text_append(out, "<li>");
        brief_person(out, interpretation->plan[i]);
        text_append(out, "</li>\n");
    }
    text_append(out, "</ol>\n</section>\n");
}

/* ---- who signed ---- */

static void write_signature(const struct signature_row *signature, struct text *out)
{
    brief_person(out, signature->signer_name);
    text_append(out, ", ");
    brief_code_words(out, signature->signer_role);
    text_append(out, ", ");
    brief_time(out, signature->signed_at_us);
}

static void write_amendment(const struct brief *brief, struct text *out)
{
    const struct signature_row *newest = &brief->signatures[brief->signature_count - 1];
    text_append(out, "<p class=\"amendment\"><strong>Why it was amended:</strong> ");
    brief_person(out, newest->reason);
    text_append(out, "</p>\n<p class=\"note\">First signed by ");
    write_signature(&brief->signatures[0], out);
    text_append(out, ". This page shows what was signed last.</p>\n");
}

static void write_signed(const struct brief *brief, struct text *out)
{
    bool amended = strcmp(brief->study->status, "amended") == 0;
    text_append(out, "<section aria-labelledby=\"signed\">\n<h2 id=\"signed\">Signed</h2>\n"
                     "<p class=\"status-banner signed\"><strong>");
    text_append(out, amended ? "Amended." : "Final.");
    text_append(out, "</strong> ");
    if (brief->signature_count == 0) {
        text_append(out, amended ? "Changed after signature and signed again by a clinician.</p>\n"
                                 : "Reviewed and signed by a clinician.</p>\n");
    } else {
        text_append(out, amended ? "Signed again by " : "Signed by ");
        write_signature(&brief->signatures[brief->signature_count - 1], out);
        text_append(out, ".</p>\n");
    }
    if (amended && brief->signature_count > 0) {
        write_amendment(brief, out);
    }
    text_append(out, "</section>\n");
}

/* ---- the rest ---- */

static void write_findings(const struct interpretation *interpretation, struct text *out)
{
    if (interpretation == NULL || interpretation->finding_count == 0) {
        return;
    }
    text_append(out, "<section aria-labelledby=\"findings\">\n"
                     "<h2 id=\"findings\">Findings</h2>\n<ul>\n");
    for (size_t i = 0; i < interpretation->finding_count; i++) {
        text_append(out, "<li>");
        brief_person(out, interpretation->findings[i].text);
        text_append(out, "</li>\n");
    }
    text_append(out, "</ul>\n</section>\n");
}

static void write_numbers(const struct brief *brief, struct text *out)
{
    text_append(out, "<section aria-labelledby=\"numbers\">\n"
                     "<h2 id=\"numbers\">Key numbers</h2>\n");
    brief_numbers_write(brief, is_signed(brief), out);
    text_append(out, "</section>\n");
}

static const char *symptoms_words(const struct interpretation *interpretation)
{
    static const char *const words[][2] = {
        {"no", "The study did not reproduce the patient\u2019s symptoms: what was found may not "
               "explain them."},
        {"partly", "The study reproduced the patient\u2019s symptoms only in part."},
        {"not_asked", "Whether the study reproduced the patient\u2019s symptoms was not asked."},
    };
    const char *answer = interpretation == NULL ? NULL : interpretation->symptoms_reproduced;
    for (size_t i = 0; answer != NULL && i < sizeof words / sizeof words[0]; i++) {
        if (strcmp(answer, words[i][0]) == 0) {
            return words[i][1];
        }
    }
    return NULL;
}

static void write_item(const char *words, struct text *out)
{
    text_printf(out, "<li>%s</li>\n", words);
}

static void write_cautions(const struct brief *brief, struct text *out)
{
    const struct interpretation *interpretation = brief->interpretation;
    text_append(out, "<section class=\"cautions\" aria-labelledby=\"cautions\">\n"
                     "<h2 id=\"cautions\">Cautions</h2>\n<ul>\n");
    if (interpretation != NULL && !is_empty(interpretation->complications)) {
        text_append(out, "<li><strong>Complications of the study:</strong> ");
        brief_person(out, interpretation->complications);
        text_append(out, "</li>\n");
    }
    if (symptoms_words(interpretation) != NULL) {
        write_item(symptoms_words(interpretation), out);
    }
    if (interpretation != NULL && interpretation->representative_voiding == ANSWER_NO) {
        write_item("The voiding in the study was not as the patient usually voids.", out);
    }
    if (interpretation != NULL && interpretation->representative_free_flow == ANSWER_NO) {
        write_item("The free flow was not as the patient usually voids.", out);
    }
    if (brief->study->open_recording_count > 0) {
        write_item("A recording is still running and is not on this page.", out);
    }
    if (!brief_cautions_write(brief, out)) {
        write_item("No fault of the signals was found.", out);
    }
    text_append(out, "<li>");
    text_append_html(out, REPORT_CAUTION);
    text_append(out, "</li>\n</ul>\n</section>\n");
}

/* ---- documents ---- */

static void write_way(const char *address, const char *words, const char *form, struct text *out)
{
    if (address != NULL) {
        text_append(out, "<li><a href=\"");
        text_append_html(out, address);
        text_printf(out, "\" type=\"%s\">%s</a></li>\n", form, words);
    }
}

static bool has_document(const struct brief_document *document)
{
    return document->html_address != NULL || document->pdf_address != NULL;
}

static void write_documents(const struct brief *brief, struct text *out)
{
    if (!has_document(&brief->report) && !has_document(&brief->letter)) {
        return;
    }
    text_append(out, "<section class=\"documents\" aria-labelledby=\"documents\">\n"
                     "<h2 id=\"documents\">Report and letter</h2>\n<ul>\n");
    write_way(brief->report.pdf_address, "Report as signed (PDF)", "application/pdf", out);
    write_way(brief->report.html_address, "Report to read here", "text/html", out);
    write_way(brief->letter.pdf_address, "Letter (PDF)", "application/pdf", out);
    write_way(brief->letter.html_address, "Letter to read here", "text/html", out);
    text_append(out, "</ul>\n</section>\n");
}

void brief_html_write(const struct brief *brief, struct text *out)
{
    write_head(brief, out);
    write_header(brief, out);
    if (!is_signed(brief)) {
        write_unsigned(brief, out);
    }
    text_append(out, "</header>\n<main>\n");
    write_answer(brief->interpretation, out);
    write_plan(brief->interpretation, out);
    if (is_signed(brief)) {
        write_signed(brief, out);
    }
    write_findings(brief->interpretation, out);
    write_numbers(brief, out);
    write_cautions(brief, out);
    write_documents(brief, out);
    text_append(out, "</main>\n</body>\n</html>\n");
}
