#include "api/signed_report.h"

#include "api/summary_load.h"
#include "base/clock.h"
#include "formats/interpretation_json.h"
#include "store/store_interpretation.h"
#include "store/store_signature.h"

#include <string.h>

/* A page of text in the smallest PDF that is one: what stands here until the whole report does. */

enum { PDF_LIMIT = 4 * 1024 * 1024, OBJECTS = 5, LINE_BYTES = 90, LINES_MOST = 52 };

struct page {
    struct text *out;
    int lines;
};

static void append_line(struct page *page, const char *line, size_t length)
{
    if (page->lines++ >= LINES_MOST) {
        return;
    }
    text_append_char(page->out, '(');
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)line[i];
        if (c == '(' || c == ')' || c == '\\') {
            text_append_char(page->out, '\\');
        }
        text_append_char(page->out, c >= ' ' && c < 0x7f ? (char)c : '?');
    }
    text_append(page->out, ") '\n");
}

static void append_words(struct page *page, const char *label, const char *words,
                         struct arena *arena)
{
    const char *line = arena_printf(arena, "%s: %s", label, words == NULL ? "" : words);
    while (*line != '\0') {
        size_t length = strcspn(line, "\n");
        length = length > LINE_BYTES ? LINE_BYTES : length;
        append_line(page, line, length);
        line += length + (line[length] == '\n' ? 1 : 0);
    }
}

static void append_content(struct text *out, struct arena *arena, const char *clinic_name,
                           const struct summary *summary, const struct interpretation *reading,
                           const struct signature_row *signature)
{
    struct page page = {.out = out};
    char at[CLOCK_TEXT_SIZE];
    text_append(out, "BT /F1 10 Tf 14 TL 50 800 Td\n");
    append_words(&page, "Urodynamic report", clinic_name, arena);
    append_words(&page, "Patient",
                 arena_printf(arena, "%s, %s, %s, record %s", summary->patient->family_name,
                              summary->patient->given_name, summary->patient->birth_date,
                              summary->patient->mrn),
                 arena);
    append_words(&page, "Study", summary->study->id, arena);
    append_words(&page, "Status", summary->study->status, arena);
    for (size_t i = 0; i < reading->finding_count; i++) {
        append_words(&page, "Finding", reading->findings[i].text, arena);
    }
    for (size_t i = 0; i < reading->diagnosis_count; i++) {
        append_words(&page, "Diagnosis", reading->diagnoses[i].text, arena);
    }
    append_words(&page, "Conclusion", reading->conclusion, arena);
    for (size_t i = 0; i < reading->plan_count; i++) {
        append_words(&page, "Plan", reading->plan[i], arena);
    }
    clock_format(signature->signed_at_us, at);
    append_words(&page, "Signed", arena_printf(arena, "%s, %s", signature->signer_name, at), arena);
    append_words(&page, "Reason of the amendment", signature->reason, arena);
    text_append(out, "ET\n");
}

static void write_pdf(const struct text *content, struct text *out)
{
    static const char *const heads[OBJECTS] = {
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 595 842]/Contents 5 0 R"
        "/Resources<</Font<</F1 4 0 R>>>>>>",
        "<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>",
        NULL,
    };
    size_t places[OBJECTS];
    text_append(out, "%PDF-1.4\n");
    for (int i = 0; i < OBJECTS; i++) {
        places[i] = out->length;
        text_printf(out, "%d 0 obj\n", i + 1);
        if (heads[i] != NULL) {
            text_append(out, heads[i]);
        } else {
            text_printf(out, "<</Length %zu>>\nstream\n", content->length);
            text_append(out, content->data);
            text_append(out, "endstream");
        }
        text_append(out, "\nendobj\n");
    }
    size_t table = out->length;
    text_printf(out, "xref\n0 %d\n0000000000 65535 f \n", OBJECTS + 1);
    for (int i = 0; i < OBJECTS; i++) {
        text_printf(out, "%010zu 00000 n \n", places[i]);
    }
    text_printf(out, "trailer\n<</Size %d/Root 1 0 R>>\nstartxref\n%zu\n%%%%EOF\n", OBJECTS + 1,
                table);
}

bool signed_report_make(struct store *store, struct arena *arena, const char *clinic_name,
                        const char *study_id, const unsigned char **ret_bytes, size_t *ret_length,
                        struct error *reterr)
{
    struct summary summary = {.clinic_name = clinic_name};
    struct interpretation_row row = {0};
    struct interpretation reading = {0};
    struct signature_row signature = {0};
    if (!summary_load(store, arena, study_id, &summary, reterr) ||
        !interpretation_get(store, arena, study_id, 0, &row, reterr) ||
        !interpretation_json_read(arena, row.document, &reading, reterr) ||
        !signature_get(store, arena, study_id, 0, &signature, reterr)) {
        return error_context(reterr, "make a report");
    }
    struct text content;
    struct text pdf;
    text_init(&content, arena, PDF_LIMIT);
    text_init(&pdf, arena, PDF_LIMIT);
    append_content(&content, arena, clinic_name, &summary, &reading, &signature);
    write_pdf(&content, &pdf);
    *ret_bytes = (const unsigned char *)pdf.data;
    *ret_length = pdf.length;
    return true;
}
