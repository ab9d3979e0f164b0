/* A letter about a study to whoever referred the patient: what it tells, filled into a template,
 * as a document that is written as PDF, HTML and text. */
#ifndef LETTER_LETTER_H
#define LETTER_LETTER_H

#include "base/text.h"
#include "formats/interpretation_json.h"
#include "letter/template.h"
#include "report/document.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct letter_list {
    size_t count;
    const char *const *items;
};

struct letter_number {
    const char *label;
    const char *value; /* rounded, as people of that language write it */
    const char *unit;
};

/* Everything is anybody's words, but for what is said to be a code. NULL counts as "". */
struct letter_content {
    const char *language; /* one that letter_language_is_known() */

    const char *clinic_name;
    const char *clinic_telephone;
    struct letter_list clinic_address;

    const char *family_name;
    const char *given_name;
    const char *birth_date; /* YYYY-MM-DD */
    const char *mrn;
    const char *sex; /* code: FHIR administrative gender */

    const char *study_id;
    const char *code; /* of a QR code that leads to the study; NULL: none */
    const char *code_label;
    int64_t study_started_at_us;
    const char *study_status;       /* code: "final", "amended", or else it is not signed */
    struct letter_list study_kinds; /* codes: types of recordings, each once */

    const char *addressee_name;
    const char *addressee_salutation;
    struct letter_list addressee_address;

    const char *question;
    struct letter_list findings;
    struct letter_list diagnoses;
    const char *conclusion;
    struct letter_list plan;
    size_t number_count;
    const struct letter_number *numbers;
    const char *remarks;

    const char *signer_name;
    int64_t signed_at_us; /* 0: not */
    struct letter_list copies;
};

/* Languages that letters can be written in, NULL at the end: "en", "de". */
extern const char *const LETTER_LANGUAGES[];

bool letter_language_is_known(const char *language);

/* The template that a clinic has from the start, in one of LETTER_LANGUAGES. */
const char *letter_default_template(const char *language);

/* An invented patient and findings, for trying a template out. */
void letter_example(const char *language, struct letter_content *ret_content);

/* Whether the content is of a signed study; else the letter is preliminary. */
bool letter_is_signed(const struct letter_content *content);

/* Takes findings, diagnoses, conclusion and plan, whose words the content then shares. */
void letter_take_interpretation(struct arena *arena, const struct interpretation *interpretation,
                                struct letter_content *content);

/* Takes the key numbers and the kind of each analysis document; where several have one, the last
 * one's stands. A doubtful number says so; what was not computed is not there. */
void letter_take_analyses(struct arena *arena, const char *const *analyses_json, size_t count,
                          struct letter_content *content);

/* The content as the JSON of template_fill(). */
void letter_content_write(const struct letter_content *content, struct text *out);

/* Fills in a checked template and makes the document. Above what the template says stand the
 * letterhead and the addressee; a letter about a study that is not signed is marked as preliminary
 * on every page.
 * made_at_us  the date that the file bears */
MUST_CHECK bool letter_make(struct arena *arena, const char *body,
                            const struct letter_content *content, int64_t made_at_us,
                            struct document **ret_document, struct error *reterr);

#endif
