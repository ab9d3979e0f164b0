#include "api/letter_load.h"

#include "api/public_address.h"
#include "store/store_interpretation.h"
#include "store/store_letter_dispatch.h"
#include "store/store_patient.h"
#include "store/store_recording.h"
#include "store/store_referral.h"
#include "store/store_signature.h"

#include <jansson.h>
#include <string.h>

enum { HTML_LIMIT = 4 * 1024 * 1024 };

bool letter_load_template(struct store *store, struct arena *arena, const char *name,
                          const char *language, struct letter_template_row *ret_template,
                          struct error *reterr)
{
    if (letter_template_get(store, arena, name, language, ret_template, reterr)) {
        return true;
    }
    if (reterr->kind != ERROR_NOT_FOUND || strcmp(name, LETTER_STANDARD_TEMPLATE) != 0 ||
        !letter_language_is_known(language)) {
        return false;
    }
    *ret_template = (struct letter_template_row){
        .name = LETTER_STANDARD_TEMPLATE,
        .language = arena_strdup(arena, language),
        .body = letter_default_template(language),
        .in_use = true,
    };
    return true;
}

bool letter_load_letterhead(const struct api_context *context, struct arena *arena,
                            struct letterhead *ret_letterhead, struct error *reterr)
{
    if (!letterhead_load(context->store, arena, ret_letterhead, reterr)) {
        return false;
    }
    if (ret_letterhead->name == NULL) {
        ret_letterhead->name = context->principal.clinic_name;
    }
    return true;
}

static void fill_in_choices(const struct letterhead *letterhead, struct letter_settings *settings)
{
    if (settings->template_name[0] == '\0') {
        settings->template_name = LETTER_STANDARD_TEMPLATE;
    }
    if (settings->language[0] == '\0') {
        settings->language = letterhead->language;
    }
}

bool letter_load_settings(const struct api_context *context, struct arena *arena,
                          const char *study_id, struct letter_settings *ret_settings,
                          struct error *reterr)
{
    struct letterhead letterhead;
    if (!letter_settings_load(context->store, arena, study_id, ret_settings, reterr) ||
        !letter_load_letterhead(context, arena, &letterhead, reterr)) {
        return false;
    }
    fill_in_choices(&letterhead, ret_settings);
    return true;
}

struct letter_list letter_list_read(struct arena *arena, const char *json)
{
    json_t *array = json_reader_load_own(json);
    size_t count = 0;
    const char **items = arena_array(arena, json_array_size(array), sizeof *items);
    for (size_t i = 0; i < json_array_size(array); i++) {
        const char *words = json_string_value(json_array_get(array, i));
        if (words != NULL) {
            items[count++] = arena_strdup(arena, words);
        }
    }
    json_decref(array);
    return (struct letter_list){count, items};
}

/* ---- what it tells ---- */

static void take_letterhead(struct arena *arena, const struct letterhead *letterhead,
                            struct letter_content *content)
{
    content->clinic_name = letterhead->name;
    content->clinic_telephone = letterhead->telephone;
    content->clinic_address = letter_list_read(arena, letterhead->address);
}

static void take_settings(struct arena *arena, const struct letter_settings *settings,
                          struct letter_content *content)
{
    content->language = settings->language;
    content->addressee_name = settings->addressee_name;
    content->addressee_salutation = settings->addressee_salutation;
    content->addressee_address = letter_list_read(arena, settings->addressee_address);
    content->question = settings->question;
    content->remarks = settings->remarks;
    content->copies = letter_list_read(arena, settings->copies);
}

static bool take_patient(struct store *store, struct arena *arena, const struct study *study,
                         struct letter_content *content, struct error *reterr)
{
    struct patient patient;
    if (!patient_get(store, arena, study->patient_id, &patient, reterr)) {
        return false;
    }
    content->family_name = patient.family_name;
    content->given_name = patient.given_name;
    content->birth_date = patient.birth_date;
    content->mrn = patient.mrn;
    content->sex = patient.sex;
    content->study_id = study->id;
    content->study_started_at_us = study->started_at_us;
    content->study_status = study->status;
    return true;
}

/* Findings as they were signed, or, before that, as they are now. */
static bool take_interpretation(struct store *store, struct arena *arena, const char *study_id,
                                int *ret_signature, struct letter_content *content,
                                struct error *reterr)
{
    struct signature_row signature = {0};
    struct interpretation_row stored = {0};
    struct interpretation interpretation = {0};
    *ret_signature = 0;
    if (!letter_is_signed(content)) {
        /* nobody has signed these findings */
    } else if (signature_get(store, arena, study_id, 0, &signature, reterr)) {
        *ret_signature = signature.number;
        content->signer_name = signature.signer_name;
        content->signed_at_us = signature.signed_at_us;
    } else if (reterr->kind != ERROR_NOT_FOUND) {
        return false;
    }
    if (!interpretation_get(store, arena, study_id, signature.interpretation_revision, &stored,
                            reterr)) {
        return reterr->kind == ERROR_NOT_FOUND;
    }
    /* One that cannot be read must not pass for one that says nothing. */
    if (!interpretation_json_read(arena, stored.document, &interpretation, reterr)) {
        return error_context(reterr, "write a letter");
    }
    letter_take_interpretation(arena, &interpretation, content);
    return true;
}

static bool take_analyses(struct store *store, struct arena *arena, const char *study_id,
                          struct letter_content *content, struct error *reterr)
{
    struct recording_row *rows = NULL;
    const char **analyses = NULL;
    size_t count = 0;
    if (!recording_list_analysed(store, arena, study_id, &rows, &analyses, &count, reterr)) {
        return false;
    }
    letter_take_analyses(arena, analyses, count, content);
    return true;
}

bool letter_load(const struct api_context *context, struct arena *arena, const char *study_id,
                 struct whole_letter *ret_letter, struct error *reterr)
{
    struct store *store = context->store;
    struct letterhead letterhead;
    struct letter_template_row template;
    struct letter_content content = {.code = api_study_code(context, arena, study_id),
                                     .code_label = api_short_id(arena, study_id)};
    struct letter_settings *settings = &ret_letter->settings;
    if (!study_get(store, arena, study_id, &ret_letter->study, reterr) ||
        !letter_settings_load(store, arena, study_id, settings, reterr) ||
        !letter_load_letterhead(context, arena, &letterhead, reterr)) {
        return false;
    }
    fill_in_choices(&letterhead, settings);
    if (!letter_load_template(store, arena, settings->template_name, settings->language, &template,
                              reterr)) {
        return reterr->kind == ERROR_NOT_FOUND
                   ? error_set(reterr, ERROR_INVALID, "the letter's template is not there")
                   : false;
    }
    ret_letter->template_version = template.version;
    take_letterhead(arena, &letterhead, &content);
    take_settings(arena, settings, &content);
    int64_t made_at_us = ret_letter->study.started_at_us;
    if (!take_patient(store, arena, &ret_letter->study, &content, reterr) ||
        !take_interpretation(store, arena, study_id, &ret_letter->signature_number, &content,
                             reterr) ||
        !take_analyses(store, arena, study_id, &content, reterr)) {
        return false;
    }
    return letter_make(arena, template.body, &content,
                       content.signed_at_us == 0 ? made_at_us : content.signed_at_us,
                       &ret_letter->document, reterr);
}

/* ---- sending ---- */

static bool write_forms(struct arena *arena, const struct document *document,
                        struct new_letter_dispatch *dispatch, struct error *reterr)
{
    struct text html;
    struct text plain;
    text_init(&html, arena, HTML_LIMIT);
    text_init(&plain, arena, HTML_LIMIT);
    document_write_html(document, &html);
    document_write_text(document, &plain);
    dispatch->html = html.data;
    dispatch->plain = plain.data;
    if (html.overflowed || plain.overflowed) {
        return error_set(reterr, ERROR_INVALID, "the letter is too long");
    }
    return document_write_pdf(document, arena, &dispatch->pdf, &dispatch->pdf_length, reterr);
}

/* The addressee's account, if it may see the patient: its name, or NULL. */
static bool find_reader(struct store *store, struct arena *arena, const struct whole_letter *letter,
                        const char **ret_name, struct error *reterr)
{
    struct referrer *referrers = NULL;
    size_t count = 0;
    *ret_name = NULL;
    if (letter->settings.referrer_id == NULL) {
        return true;
    }
    if (!referral_list(store, arena, letter->study.patient_id, &referrers, &count, reterr)) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        if (strcmp(referrers[i].id, letter->settings.referrer_id) == 0) {
            *ret_name = referrers[i].display_name;
        }
    }
    return true;
}

/* Why a letter cannot be sent, or NULL; and to whom it goes. */
static bool judge_order(const struct api_context *context, struct arena *arena,
                        const struct letter_order *order, const struct whole_letter *letter,
                        const char **ret_recipient, const char **ret_refusal, struct error *reterr)
{
    const char *reader = NULL;
    bool is_shown = strcmp(order->way, "portal") == 0;
    *ret_refusal = NULL;
    *ret_recipient = order->recipient == NULL ? letter->settings.addressee_name : order->recipient;
    if (letter->signature_number == 0) {
        *ret_refusal = "The study is not signed: its letter is preliminary and cannot be sent.";
        return true;
    }
    if (letter->settings.version == 0 || letter->settings.addressee_name[0] == '\0') {
        *ret_refusal = "Nobody is named whom the letter goes to.";
        return true;
    }
    if (is_shown && !find_reader(context->store, arena, letter, &reader, reterr)) {
        return false;
    }
    if (is_shown && reader == NULL) {
        *ret_refusal = "The addressee has no account here that has referred this patient.";
    } else if (is_shown) {
        *ret_recipient = reader;
    }
    return true;
}

/* A letter that its template or its words make impossible is refused like any other that cannot be
 * sent: in a batch it must not keep the next ones waiting. */
static bool refuse_unwritable(const struct error *error, const char **ret_refusal)
{
    *ret_refusal =
        error->kind == ERROR_INVALID ? "The letter cannot be written from its template." : NULL;
    return error->kind == ERROR_INVALID;
}

bool letter_send(const struct api_context *context, struct arena *arena,
                 const struct letter_order *order, const char **ret_dispatch_id,
                 const char **ret_refusal, struct error *reterr)
{
    struct whole_letter letter = {0};
    struct new_letter_dispatch dispatch = {0};
    *ret_dispatch_id = NULL;
    *ret_refusal = NULL;
    if (!letter_load(context, arena, order->study_id, &letter, reterr)) {
        return refuse_unwritable(reterr, ret_refusal);
    }
    if (!judge_order(context, arena, order, &letter, &dispatch.recipient, ret_refusal, reterr)) {
        return false;
    }
    if (*ret_refusal != NULL) {
        return true;
    }
    dispatch.study_id = order->study_id;
    dispatch.signature_number = letter.signature_number;
    dispatch.letter_version = letter.settings.version;
    dispatch.template_name = letter.settings.template_name;
    dispatch.language = letter.settings.language;
    dispatch.template_version = letter.template_version;
    dispatch.way = order->way;
    dispatch.referrer_id = strcmp(order->way, "portal") == 0 ? letter.settings.referrer_id : NULL;
    dispatch.batch_id = order->batch_id;
    dispatch.again = order->again;
    if (!write_forms(arena, letter.document, &dispatch, reterr)) {
        return refuse_unwritable(reterr, ret_refusal);
    }
    const char *id = NULL;
    if (letter_dispatch_add(context->store, arena, &dispatch, &id, reterr)) {
        *ret_dispatch_id = id;
        return true;
    }
    if (reterr->kind == ERROR_CONFLICT && strcmp(reterr->detail, "sent") == 0) {
        *ret_refusal = "This letter went to the same recipient in this way already.";
        return true;
    }
    return false;
}
