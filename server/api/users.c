#include "api/api.h"
#include "api/handlers.h"
#include "api/roles_json.h"
#include "auth/id_token.h"
#include "auth/password.h"
#include "auth/web_fetch.h"
#include "store/store_second_factor.h"
#include "store/store_single_sign_on.h"

#include <string.h>

static void append_account(struct text *out, const struct account *account)
{
    text_append_char(out, '{');
    api_append_string(out, "id", account->id);
    text_append_char(out, ',');
    api_append_string(out, "username", account->username);
    text_append_char(out, ',');
    api_append_string(out, "display_name", account->display_name);
    text_append_char(out, ',');
    roles_json_append(out, account->roles);
    text_append(out, ",\"single_sign_on\":");
    if (account->sign_in_issuer == NULL) {
        text_append(out, "null");
    } else {
        text_append_char(out, '{');
        api_append_string(out, "issuer", account->sign_in_issuer);
        text_append_char(out, ',');
        api_append_string(out, "subject", account->sign_in_subject);
        text_append_char(out, '}');
    }
    text_printf(out, ",\"active\":%s,\"must_change_password\":%s,\"second_factor\":%s,",
                account->active ? "true" : "false",
                account->must_change_password ? "true" : "false",
                account->has_second_factor ? "true" : "false");
    api_append_time(out, "created_at", account->created_at_us);
    text_printf(out, ",\"version\":%d}", account->version);
}

static void respond_account(struct api_context *context, const struct http_request *request,
                            struct http_response *response, int status, const char *id)
{
    struct account account = {0};
    struct error error = {0};
    if (!account_get(context->store, request->arena, id, &account, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    append_account(&body, &account);
    api_respond_row(request, response, status, &body, account.version, "/v1/users", id);
}

void users_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct store_page page;
    if (!api_read_page(request, response, &page)) {
        return;
    }
    struct account *accounts = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    if (!account_list(context->store, request->arena, &page, &accounts, &count, &next, &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "" : ",");
        append_account(&items, &accounts[i]);
    }
    api_respond_list(request, response, &items, next);
}

static bool username_is_valid(const char *username)
{
    size_t length = strlen(username);
    return length >= 2 && length <= 64 &&
           strspn(username, "abcdefghijklmnopqrstuvwxyz0123456789._-@") == length;
}

static const char *read_password(struct json_reader *reader, enum json_presence presence,
                                 const struct password_owner *owner)
{
    const char *password = json_reader_string(reader, "password", presence, PASSWORD_MAX_BYTES);
    if (password == NULL) {
        return NULL;
    }
    const char *objection = password_objection(password, owner);
    if (objection != NULL) {
        fault_add(reader->faults, json_reader_pointer(reader, "password"), "%s", objection);
        return NULL;
    }
    return password;
}

/* Who the account is at a provider. */
struct subject {
    bool said;          /* the member is there; with null both are NULL */
    const char *issuer; /* NULL: nobody */
    const char *subject;
};

static bool is_plain(const char *text)
{
    for (; *text != '\0'; text++) {
        if (*text < ' ' || *text > '~') {
            return false;
        }
    }
    return true;
}

static struct subject read_subject(struct json_reader *reader)
{
    struct subject subject = {json_reader_is_null(reader, "single_sign_on"), NULL, NULL};
    const json_t *value = json_reader_take(reader, "single_sign_on", JSON_OPTIONAL);
    if (value == NULL) {
        return subject;
    }
    struct json_reader member;
    json_reader_open(&member, value, "/single_sign_on", reader->faults);
    subject.said = true;
    subject.issuer = json_reader_string(&member, "issuer", JSON_REQUIRED, WEB_ADDRESS_MOST_BYTES);
    subject.subject =
        json_reader_string(&member, "subject", JSON_REQUIRED, ID_TOKEN_SUBJECT_MOST_BYTES);
    json_reader_close(&member);
    if (subject.issuer != NULL && !web_address_is_acceptable(subject.issuer)) {
        fault_add(reader->faults, "/single_sign_on/issuer", "Must be an https address.");
    }
    if (subject.subject != NULL && !is_plain(subject.subject)) {
        fault_add(reader->faults, "/single_sign_on/subject", "Must be printable ASCII.");
    }
    return subject;
}

static bool is_same(const char *one, const char *other)
{
    return one == NULL || other == NULL ? one == other : strcmp(one, other) == 0;
}

/* Sets what was said where it is another than before, since that ends the account's sessions. */
static bool set_subject(struct api_context *context, const char *id, const struct subject *subject,
                        const struct account *before, struct error *reterr)
{
    return !subject->said ||
           (is_same(subject->issuer, before->sign_in_issuer) &&
            is_same(subject->subject, before->sign_in_subject)) ||
           account_set_subject(context->store, id, subject->issuer, subject->subject, reterr);
}

/* The hash of a password; empty, which no password fits, for none. */
static bool hash_password(struct arena *arena, const char *password, const char **ret_hash,
                          struct error *reterr)
{
    *ret_hash = "";
    return password == NULL || password_hash(arena, password, ret_hash, reterr);
}

static bool make_temporary(struct api_context *context, const char *id, struct error *reterr)
{
    const struct account_change change = {.roles = -1, .active = -1, .must_change_password = 1};
    return account_update(context->store, id, 1, &change, reterr);
}

void users_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    if (!api_is_person(context, request, response) ||
        !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    const char *username = json_reader_string(&reader, "username", JSON_REQUIRED, LIMIT_NAME_BYTES);
    if (username != NULL && !username_is_valid(username)) {
        fault_add(&faults, "/username",
                  "Must have 2 to 64 of the characters a-z 0-9 . _ - @ (lower case).");
    }
    const char *display_name =
        json_reader_string(&reader, "display_name", JSON_REQUIRED, LIMIT_NAME_BYTES);
    const struct subject subject = read_subject(&reader);
    const struct password_owner owner = {username, display_name, context->principal.clinic_name};
    const char *password =
        read_password(&reader, subject.issuer == NULL ? JSON_REQUIRED : JSON_OPTIONAL, &owner);
    bool is_temporary =
        json_reader_answer(&reader, "password_is_temporary", JSON_OPTIONAL) == ANSWER_YES;
    unsigned roles = roles_json_read(&reader, JSON_REQUIRED);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    const char *hash = NULL;
    const char *id = NULL;
    const struct account nobody = {0};
    struct error error = {0};
    if (!hash_password(request->arena, password, &hash, &error) ||
        !account_create(context->store, request->arena, username, display_name, hash, roles, &id,
                        &error) ||
        (is_temporary && !make_temporary(context, id, &error)) ||
        !set_subject(context, id, &subject, &nobody, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_account(context, request, response, 201, id);
}

void users_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    if (id != NULL) {
        respond_account(context, request, response, 200, id);
    }
}

static int read_flag(struct json_reader *reader, const char *member)
{
    const enum patient_answer answer = json_reader_answer(reader, member, JSON_OPTIONAL);
    if (answer == ANSWER_UNKNOWN) {
        return -1;
    }
    return answer == ANSWER_YES ? 1 : 0;
}

/* "second_factor" may only be null: nobody can set up another's. */
static bool read_removal(struct json_reader *reader)
{
    bool is_null = json_reader_is_null(reader, "second_factor");
    if (json_reader_take(reader, "second_factor", JSON_OPTIONAL) != NULL) {
        fault_add(reader->faults, json_reader_pointer(reader, "second_factor"),
                  "May only be null, which removes it.");
    }
    return is_null;
}

static bool remove_factor(struct api_context *context, const char *id, struct error *reterr)
{
    return second_factor_remove(context->store, id, reterr) &&
           session_end_all(context->store, id, NULL, reterr);
}

/* One's own password and second factor have ways that ask for the proof which a stolen session does
 * not give. */
static bool bypasses_proof(const struct api_context *context, const struct http_request *request,
                           struct http_response *response, const char *id, bool sets_password,
                           bool removes_factor)
{
    if (strcmp(id, context->principal.id) != 0 || (!sets_password && !removes_factor)) {
        return false;
    }
    http_problem(request, response, 409, "Of your own account, %s.",
                 sets_password ? "change the password with POST /v1/sessions/current/password"
                               : "remove the second factor with POST "
                                 "/v1/sessions/current/second-factor/removal");
    return true;
}

void users_patch(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct json_reader reader;
    struct fault_list faults;
    struct account account = {0};
    struct error error = {0};
    if (id == NULL || !api_is_person(context, request, response) ||
        !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    if (!account_get(context->store, request->arena, id, &account, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct account_change change = {0};
    change.display_name =
        api_patch_required_string(&reader, "display_name", LIMIT_NAME_BYTES, account.display_name);
    api_refuse_null(&reader, "password");
    api_refuse_null(&reader, "roles");
    api_refuse_null(&reader, "active");
    api_refuse_null(&reader, "password_is_temporary");
    const struct subject subject = read_subject(&reader);
    const struct password_owner owner = {account.username, change.display_name,
                                         context->principal.clinic_name};
    const char *password = read_password(&reader, JSON_OPTIONAL, &owner);
    change.must_change_password = read_flag(&reader, "password_is_temporary");
    bool removes_factor = read_removal(&reader);
    unsigned roles = roles_json_read(&reader, JSON_OPTIONAL);
    change.roles = roles == 0 ? -1 : (int)roles;
    change.active = read_flag(&reader, "active");
    json_reader_close(&reader);
    if (api_reject(request, response, &faults) ||
        bypasses_proof(context, request, response, id, password != NULL, removes_factor) ||
        !api_matches(request, response, account.version)) {
        return;
    }
    if ((password != NULL &&
         !password_hash(request->arena, password, &change.password_hash, &error)) ||
        !account_update(context->store, id, account.version, &change, &error) ||
        !set_subject(context, id, &subject, &account, &error) ||
        (removes_factor && !remove_factor(context, id, &error))) {
        api_fail(request, response, &error);
        return;
    }
    respond_account(context, request, response, 200, id);
}
