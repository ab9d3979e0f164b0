/* Signing a study, and amending a signed one: a person proves again who they are, and signature,
 * status, report and the audit's entry come in one transaction. */
#include "store/store_signature.h"

#include "analysis/analysis.h"
#include "api/api.h"
#include "api/handlers.h"
#include "api/person_proof.h"
#include "api/public_address.h"
#include "api/report_load.h"
#include "api/sign_in.h"
#include "api/signatures_json.h"
#include "auth/document_signature.h"
#include "base/log.h"
#include "base/utf8.h"
#include "formats/analysis_json.h"
#include "formats/interpretation_json.h"
#include "store/store_interpretation.h"

#include <string.h>
#include <strings.h>

enum { REASON_LEAST = 10, REASON_MOST = 1000, REASON_BYTES = 4 * REASON_MOST, KEY_RETRY_S = 60 };

enum { RECORDINGS_MOST = 1000 };

#define REPORT_MEDIA_TYPE "application/pdf"
#define DOCUMENT_LIMIT    (4 * LIMIT_SMALL_BODY_BYTES)

/* A recording whose analysis the signer has read. */
struct read_recording {
    const char *id;
    int revision;
};

/* What a request wants to be signed. */
struct wanted {
    const char *study_id;
    struct person_proof proof;
    int interpretation_revision;             /* of a first signature, as the next ones */
    const struct read_recording *recordings; /* all that the signer has read */
    size_t recording_count;
    const char *reason;   /* of an amendment; NULL: a first signature */
    const char *document; /* the amendment's interpretation */
};

/* ---- why not ---- */

static bool is_signed(const struct signature_ground *ground)
{
    return study_status_is_signed(ground->status);
}

static void check_state(const struct signature_ground *ground, bool amends,
                        struct fault_list *faults)
{
    if (strcmp(ground->status, "cancelled") == 0) {
        fault_add(faults, "", "The study is cancelled.");
    } else if (is_signed(ground) && !amends) {
        fault_add(faults, "",
                  "The study is signed already: what is to be said now is an "
                  "amendment.");
    } else if (!is_signed(ground) && amends) {
        fault_add(faults, "", "The study is not signed yet: there is nothing to amend.");
    }
    if (ground->complete_count == 0) {
        fault_add(faults, "", "The study has no complete recording.");
    }
    if (ground->open_count > 0) {
        fault_add(faults, "",
                  "A recording of this study is still running: complete or withdraw it "
                  "first.");
    }
}

static void check_interpretation(const struct signature_ground *ground, int revision,
                                 struct fault_list *faults)
{
    if (ground->interpretation_revision == 0) {
        fault_add(faults, "", "No interpretation is saved.");
    } else if (ground->interpretation_revision != revision) {
        fault_add(faults, "/interpretation_revision",
                  "The newest interpretation is revision %d: read it before you sign.",
                  ground->interpretation_revision);
    } else if (!ground->is_interpreted_as_is) {
        fault_add(faults, "",
                  "Recordings or their markers have changed since the interpretation was saved: "
                  "read the analyses again, then save it.");
    }
}

static bool has_read(const struct wanted *wanted, const char *id, json_int_t revision)
{
    for (size_t i = 0; i < wanted->recording_count; i++) {
        if (strcasecmp(wanted->recordings[i].id, id) == 0 &&
            wanted->recordings[i].revision == revision) {
            return true;
        }
    }
    return false;
}

/* An interpretation that was saved by who had not seen the newest markers counts for them all the
 * same: only the signer's own word tells what was looked at. */
static void check_recordings(const struct signature_ground *ground, const struct wanted *wanted,
                             struct fault_list *faults)
{
    json_t *recordings = json_reader_load_own(ground->recordings);
    size_t count = json_array_size(recordings);
    bool same = recordings != NULL && count == wanted->recording_count;
    for (size_t i = 0; same && i < count; i++) {
        const json_t *one = json_array_get(recordings, i);
        same = has_read(wanted, json_string_value(json_object_get(one, "id")),
                        json_integer_value(json_object_get(one, "revision")));
    }
    json_decref(recordings);
    if (!same) {
        fault_add(faults, "/recordings",
                  "These are not the complete recordings of this study in their newest revisions: "
                  "read the analyses again before you sign.");
    }
}

/* Whether it may be signed; otherwise it has answered 412, or 409 with every reason. */
static bool may_sign(const struct http_request *request, struct http_response *response,
                     const struct signature_ground *ground, const struct wanted *wanted)
{
    struct fault_list reasons;
    fault_list_init(&reasons, request->arena);
    if (!api_matches(request, response, ground->study_version)) {
        return false;
    }
    check_state(ground, wanted->reason != NULL, &reasons);
    if (wanted->reason == NULL) {
        check_interpretation(ground, wanted->interpretation_revision, &reasons);
        check_recordings(ground, wanted, &reasons);
    }
    if (reasons.count > 0) {
        http_problem_faults(request, response, 409, &reasons);
    }
    return reasons.count == 0;
}

/* ---- signing ---- */

static bool store_report(struct api_context *context, struct arena *arena, const char *study_id,
                         int number, struct error *reterr)
{
    const struct document_signer *signer = context->settings->document_signer;
    struct report_file file = {.media_type = REPORT_MEDIA_TYPE};
    char sha256[2 * SIGNATURE_SHA256_BYTES + 1];
    const struct report_subject subject = {
        .study_id = study_id,
        .clinic_name = context->principal.clinic_name,
        .code = api_study_code(context, arena, study_id),
    };
    bool done =
        report_make_pdf(context->store, arena, &subject, &file.bytes, &file.length, reterr) &&
        (signer == NULL || document_sign(signer, arena, file.bytes, file.length, &file.seal,
                                         &file.seal_length, reterr)) &&
        signature_add_report(context->store, study_id, number, &file, sha256, reterr);
    if (done) {
        api_audit_detail(context, arena_printf(arena, "%d sha256:%s", number, sha256));
    }
    return done;
}

/* Everything but the answer and the commit. */
static bool sign(struct api_context *context, struct arena *arena,
                 const struct signature_ground *ground, const struct wanted *wanted,
                 struct error *reterr)
{
    bool amends = wanted->reason != NULL;
    const struct new_signature signature = {
        .study_id = wanted->study_id,
        .number = ground->number + 1,
        .signer_name = context->principal.display_name,
        .signer_role = role_name(ROLE_PHYSICIAN),
        .reason = amends ? wanted->reason : "",
        .interpretation_revision = ground->interpretation_revision + (amends ? 1 : 0),
        .software = analysis_json_software(),
        .analysis_version = ANALYSIS_VERSION,
    };
    api_audit_patient(context, ground->patient_id);
    api_audit_reason(context, wanted->reason);
    return signature_add(context->store, &signature, reterr) &&
           (!amends ||
            interpretation_add(context->store, wanted->study_id, signature.interpretation_revision,
                               wanted->document, reterr)) &&
           store_report(context, arena, wanted->study_id, signature.number, reterr);
}

static bool answer(struct api_context *context, const struct http_request *request,
                   struct http_response *response, const struct wanted *wanted,
                   struct error *reterr)
{
    struct signature_row row = {0};
    if (!signature_get(context->store, request->arena, wanted->study_id, 0, &row, reterr)) {
        return false;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    signature_json_append(&body, &row);
    api_respond_json(request, response, 201, &body);
    http_response_header(response, "Location",
                         arena_printf(request->arena, "/v1/studies/%s/signatures/%d/report",
                                      wanted->study_id, row.number));
    return api_audit_commit(context, request, response, reterr);
}

/* A report that lacks the clinic's signature, where it has a key, is not to slip through. */
static bool key_is_valid(const struct api_context *context, const struct http_request *request,
                         struct http_response *response)
{
    const struct document_signer *signer = context->settings->document_signer;
    if (signer == NULL || document_signer_is_valid(signer)) {
        return true;
    }
    log_message(LOG_LEVEL_ERROR, "signing_certificate_over",
                "PENSTOCK_SIGNING_CERTIFICATE: the certificate is not valid now");
    http_problem(request, response, 503,
                 "The certificate with which this server signs reports is not valid now. Whoever "
                 "runs the server has to replace it.");
    api_retry_after(request, response, KEY_RETRY_S);
    return false;
}

static void sign_and_answer(struct api_context *context, const struct http_request *request,
                            struct http_response *response, const struct wanted *wanted)
{
    struct signature_ground ground = {0};
    struct error error = {0};
    if (!key_is_valid(context, request, response) ||
        !person_proof_check(context, request, response, &wanted->proof)) {
        return;
    }
    bool locked = person_proof_begin(context, &error) &&
                  signature_lock(context->store, request->arena, wanted->study_id, &ground, &error);
    if (locked && !may_sign(request, response, &ground, wanted)) {
        store_rollback(context->store);
        return;
    }
    bool done = locked && sign(context, request->arena, &ground, wanted, &error) &&
                answer(context, request, response, wanted, &error);
    store_rollback(context->store);
    if (!done) {
        response->header_count = 0; /* the place of what was not stored */
        sign_in_fail(request, response, &error);
    }
}

static void take_recordings(struct json_reader *reader, struct wanted *wanted)
{
    const json_t *value = json_reader_take(reader, "recordings", JSON_REQUIRED);
    const char *pointer = json_reader_pointer(reader, "recordings");
    struct arena *arena = reader->faults->arena;
    size_t count = json_array_size(value);
    if (value == NULL) {
        return;
    }
    if (!json_is_array(value) || count > RECORDINGS_MOST) {
        fault_add(reader->faults, pointer, "Must be an array of at most %d recordings.",
                  RECORDINGS_MOST);
        return;
    }
    struct read_recording *recordings = arena_array(arena, count, sizeof *recordings);
    for (size_t i = 0; i < count; i++) {
        struct json_reader item;
        json_reader_open(&item, json_array_get(value, i), fault_pointer_index(arena, pointer, i),
                         reader->faults);
        recordings[i].id = json_reader_string(&item, "id", JSON_REQUIRED, LIMIT_NAME_BYTES);
        (void)json_reader_take(&item, "revision", JSON_REQUIRED);
        recordings[i].revision = api_read_whole(&item, "revision", 1, INT32_MAX, 0);
        json_reader_close(&item);
    }
    wanted->recordings = recordings;
    wanted->recording_count = count;
}

void signatures_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct wanted wanted = {.study_id = api_path_id(request, response, 0)};
    struct json_reader reader;
    struct fault_list faults;
    if (wanted.study_id == NULL || !api_is_person(context, request, response) ||
        !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    person_proof_take(&reader, &wanted.proof);
    (void)json_reader_take(&reader, "interpretation_revision", JSON_REQUIRED);
    wanted.interpretation_revision =
        api_read_whole(&reader, "interpretation_revision", 1, INT32_MAX, 0);
    take_recordings(&reader, &wanted);
    json_reader_close(&reader);
    if (!api_reject(request, response, &faults)) {
        sign_and_answer(context, request, response, &wanted);
    }
}

static const char *take_reason(struct json_reader *reader)
{
    const char *reason = json_reader_string(reader, "reason", JSON_REQUIRED, REASON_BYTES);
    size_t length = reason == NULL ? 0 : utf8_length(reason);
    if (reason != NULL && (length < REASON_LEAST || length > REASON_MOST)) {
        fault_add(reader->faults, json_reader_pointer(reader, "reason"),
                  "Must say why in %d to %d characters.", REASON_LEAST, REASON_MOST);
    }
    return reason;
}

static const char *take_document(struct json_reader *reader)
{
    struct interpretation interpretation;
    struct text document;
    const json_t *value = json_reader_take(reader, "interpretation", JSON_REQUIRED);
    text_init(&document, reader->faults->arena, DOCUMENT_LIMIT);
    if (value == NULL) {
        return NULL;
    }
    interpretation_json_take(value, json_reader_pointer(reader, "interpretation"), reader->faults,
                             &interpretation);
    if (reader->faults->count > 0) {
        return NULL;
    }
    interpretation_json_write(&interpretation, &document);
    return document.data;
}

void amendments_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct wanted wanted = {.study_id = api_path_id(request, response, 0)};
    struct json_reader reader;
    struct fault_list faults;
    if (wanted.study_id == NULL || !api_is_person(context, request, response) ||
        !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    person_proof_take(&reader, &wanted.proof);
    wanted.reason = take_reason(&reader);
    wanted.document = take_document(&reader);
    json_reader_close(&reader);
    if (!api_reject(request, response, &faults)) {
        sign_and_answer(context, request, response, &wanted);
    }
}
