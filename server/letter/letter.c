#include "letter/letter.h"

#include "base/embedded.h"
#include "letter/markdown.h"
#include "letter/words.h"
#include "store/store_study.h"

#include <stdlib.h>
#include <string.h>

const char *const LETTER_LANGUAGES[] = {"en", "de", NULL};

bool letter_language_is_known(const char *language)
{
    return letter_words_find(language) != NULL;
}

const char *letter_default_template(const char *language)
{
    for (const struct embedded_file *file = letter_files; file->name != NULL; file++) {
        size_t length = strlen(language);
        if (strncmp(file->name, language, length) == 0 && strcmp(file->name + length, ".md") == 0) {
            return (const char *)file->data;
        }
    }
    abort(); /* the build has none */
}

bool letter_is_signed(const struct letter_content *content)
{
    return content->study_status != NULL && study_status_is_signed(content->study_status);
}

static bool is_empty(const char *words)
{
    return words == NULL || words[0] == '\0';
}

/* Lines of a block, one below the other. */
static void write_lines(struct document *document, struct arena *arena, enum document_tone tone,
                        const char *first, const struct letter_list *lines, const char *last)
{
    size_t count = 0;
    struct document_span *spans = arena_array(arena, lines->count + 2, sizeof *spans);
    if (!is_empty(first)) {
        spans[count++] = (struct document_span){.words = first};
    }
    for (size_t i = 0; i < lines->count; i++) {
        spans[count++] = (struct document_span){.words = lines->items[i]};
    }
    if (!is_empty(last)) {
        spans[count++] = (struct document_span){.words = last};
    }
    for (size_t i = 0; i < count; i++) {
        spans[i].from_person = true;
        spans[i].ends_line = i + 1 < count;
    }
    if (count > 0) {
        document_paragraph(document, tone, spans, count);
    }
}

static const char *patient_name(struct arena *arena, const struct letter_content *content)
{
    bool has_given_name = !is_empty(content->given_name);
    return arena_printf(arena, "%s%s%s", has_given_name ? content->given_name : "",
                        has_given_name ? " " : "",
                        content->family_name == NULL ? "" : content->family_name);
}

static struct document *begin(struct arena *arena, const struct letter_words *words,
                              const struct letter_content *content, int64_t made_at_us)
{
    const char *name = patient_name(arena, content);
    const char *born = content->birth_date == NULL ? "" : content->birth_date;
    struct document_facts facts = {
        .title = arena_printf(arena, "%s%s", words->about, name),
        .language = words->language,
        .author = content->clinic_name,
        .head_start = arena_printf(arena, "%s, %s%s", name, words->born,
                                   letter_words_date(arena, words, born)),
        .head_end = content->clinic_name,
        .foot = content->study_id,
        .mark = letter_is_signed(content) ? NULL : words->preliminary,
        .code = content->code,
        .code_label = content->code_label,
        .made_at_us = made_at_us,
    };
    return document_new(arena, &facts);
}

bool letter_make(struct arena *arena, const char *body, const struct letter_content *content,
                 int64_t made_at_us, struct document **ret_document, struct error *reterr)
{
    const struct letter_words *words = letter_words_find(content->language);
    if (words == NULL) {
        return error_set(reterr, ERROR_INVALID, "letters are not written in this language");
    }
    struct text data;
    text_init(&data, arena, 4 * (size_t)TEMPLATE_OUTPUT_MAX);
    letter_content_write(content, &data);
    if (data.overflowed) {
        return error_set(reterr, ERROR_INVALID, "the letter has too many words");
    }
    const char *markdown = NULL;
    if (!template_fill(arena, body, data.data, &markdown, reterr)) {
        return error_context(reterr, "write a letter");
    }
    struct document *document = begin(arena, words, content, made_at_us);
    write_lines(document, arena, DOCUMENT_NOTE, content->clinic_name, &content->clinic_address,
                content->clinic_telephone);
    write_lines(document, arena, DOCUMENT_ADDRESS, content->addressee_name,
                &content->addressee_address, NULL);
    if (!markdown_append(document, arena, markdown, reterr)) {
        return error_context(reterr, "write a letter");
    }
    document_words(document, DOCUMENT_NOTE, words->caution);
    *ret_document = document;
    return true;
}

void letter_example(const char *language, struct letter_content *ret_content)
{
    static const int64_t visit_us = (int64_t)1772440265 * 1000000; /* 2 March 2026 */
    static const char *const clinic_address[] = {"1 Invented Road", "Example Town"};
    static const char *const addressee_address[] = {"Example Practice", "2 Invented Street",
                                                    "Example Town"};
    static const char *const kinds[] = {"uroflowmetry", "pressure_flow"};
    static const char *const copies[] = {"Example Ward"};
    static const struct letter_number numbers[] = {{"Qmax", "9", "mL/s"}, {"BOOI", "58", ""}};
    static const char *const findings[] = {"Slow stream, with a maximum flow rate of 9 mL/s.",
                                           "High pressure with low flow while voiding."};
    static const char *const diagnoses[] = {"Bladder outlet obstruction"};
    static const char *const plan[] = {"Talk about treatment.", "Flow and residual in 3 months."};
    *ret_content = (struct letter_content){
        .language = language,
        .clinic_name = "Example Clinic",
        .clinic_telephone = "Telephone: an example",
        .clinic_address = {2, clinic_address},
        .family_name = "Example",
        .given_name = "Alex",
        .birth_date = "1956-07-08",
        .mrn = "EXAMPLE-1",
        .sex = "male",
        .study_id = "00000000-0000-7000-8000-000000000000",
        .study_started_at_us = visit_us,
        .study_status = "final",
        .study_kinds = {2, kinds},
        .addressee_name = "Dr Robin Example",
        .addressee_salutation = "Dear Dr Example,",
        .addressee_address = {3, addressee_address},
        .question = "Why is the stream slow?",
        .findings = {2, findings},
        .diagnoses = {1, diagnoses},
        .conclusion = "The slow stream is explained by an obstruction of the bladder outlet.",
        .plan = {2, plan},
        .number_count = 2,
        .numbers = numbers,
        .remarks = "Thank you for the referral.",
        .signer_name = "Dr Sam Example",
        .signed_at_us = visit_us,
        .copies = {1, copies},
    };
}
