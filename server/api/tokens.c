#include "api/api.h"
#include "api/handlers.h"
#include "api/roles_json.h"
#include "api/scopes_json.h"
#include "auth/access.h"
#include "auth/secret.h"
#include "base/clock.h"

#include <sodium.h>
#include <string.h>

enum { CERTIFICATE_DIGITS = 64, OVERLAP_DEFAULT_S = 24 * 3600, OVERLAP_MOST_S = 7 * 24 * 3600 };

static const int64_t DAY_US = (int64_t)24 * 3600 * 1000000;
static const int64_t LIFE_DEFAULT_DAYS = 365;
static const int64_t LIFE_MOST_DAYS = 400;

static void append_optional_time(struct text *out, const char *name, int64_t time_us)
{
    if (time_us != 0) {
        text_append_char(out, ',');
        api_append_time(out, name, time_us);
    }
}

static void append_optional_string(struct text *out, const char *name, const char *value)
{
    if (value != NULL) {
        text_append_char(out, ',');
        api_append_string(out, name, value);
    }
}

static void append_token_members(struct text *out, const struct api_token *token)
{
    api_append_string(out, "id", token->id);
    append_optional_string(out, "name", token->name);
    append_optional_string(out, "prefix", token->prefix);
    text_append_char(out, ',');
    roles_json_append(out, token->roles);
    if (token->scopes != NULL) {
        text_append_char(out, ',');
        scopes_json_append(out, token->scopes);
    }
    append_optional_string(out, "certificate_sha256", token->certificate_sha256);
    append_optional_time(out, "created_at", token->created_at_us);
    append_optional_time(out, "expires_at", token->expires_at_us);
    text_printf(out, ",\"expires_soon\":%s", token->expires_soon ? "true" : "false");
    append_optional_time(out, "rotated_at", token->rotated_at_us);
    append_optional_time(out, "former_secret_until", token->former_until_us);
    append_optional_time(out, "last_used_at", token->last_used_at_us);
    append_optional_string(out, "last_used_from", token->last_used_from);
}

void tokens_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct store_page page;
    if (!api_read_page(request, response, &page)) {
        return;
    }
    struct api_token *tokens = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    if (!token_list(context->store, request->arena, &page, &tokens, &count, &next, &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "{" : ",{");
        append_token_members(&items, &tokens[i]);
        text_append_char(&items, '}');
    }
    api_respond_list(request, response, &items, next);
}

/* ---- secrets ---- */

struct fresh_secret {
    char text[SECRET_TEXT_SIZE];
    char prefix[SECRET_PREFIX_SIZE];
    unsigned char hash[SECRET_HASH_BYTES];
};

static void make_secret(struct fresh_secret *secret)
{
    secret_new(SECRET_TOKEN_MARK, secret->text);
    secret_hash(secret->text, secret->hash);
    secret_prefix(secret->text, secret->prefix);
}

/* The token as it is now, with the secret that is shown this once. */
static void respond_token(struct api_context *context, const struct http_request *request,
                          struct http_response *response, int status, const char *id,
                          const struct fresh_secret *secret)
{
    struct api_token token = {0};
    struct error error = {0};
    if (!token_get(context->store, request->arena, id, &token, &error)) {
        api_fail(request, response, &error);
        return;
    }
    api_audit_object(context, "tokens", token.id);
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_append_char(&body, '{');
    append_token_members(&body, &token);
    text_append_char(&body, ',');
    api_append_string(&body, "token", secret->text);
    text_append_char(&body, '}');
    api_respond_json(request, response, status, &body);
}

/* ---- what a token may be ---- */

static bool scopes_are_within(const char *scopes, const char *outer)
{
    struct access_scopes inner_set;
    struct access_scopes outer_set;
    const char *bad = NULL;
    if (outer == NULL) {
        return true;
    }
    if (scopes == NULL || !access_scopes_read(scopes, &inner_set, &bad) ||
        !access_scopes_read(outer, &outer_set, &bad)) {
        return false;
    }
    for (unsigned i = 0; i < ACCESS_RESOURCE_COUNT; i++) {
        if ((inner_set.actions[i] & ~outer_set.actions[i]) != 0) {
            return false;
        }
    }
    return true;
}

/* An administrator may give any role, as with accounts. A program that holds an administrator's
 * token may not give more than it has: what leaks is worth no more than it says. */
static bool may_give_roles(const struct principal *giver, unsigned roles)
{
    return !giver->is_token || (roles & ~giver->roles) == 0;
}

static bool may_give_scopes(const struct principal *giver, const char *scopes)
{
    return !giver->is_token || scopes_are_within(scopes, giver->scopes);
}

static void read_certificate(struct json_reader *reader, struct new_token *token)
{
    token->certificate_sha256 =
        json_reader_string(reader, "certificate_sha256", JSON_OPTIONAL, LIMIT_NAME_BYTES);
    if (token->certificate_sha256 != NULL &&
        (strlen(token->certificate_sha256) != CERTIFICATE_DIGITS ||
         strspn(token->certificate_sha256, "0123456789abcdef") != CERTIFICATE_DIGITS)) {
        fault_add(reader->faults, json_reader_pointer(reader, "certificate_sha256"),
                  "Must be %d hexadecimal digits in lower case.", CERTIFICATE_DIGITS);
    }
}

static void read_expiry(struct json_reader *reader, struct new_token *token)
{
    int64_t now_us = clock_now_us();
    token->expires_at_us = api_read_time(reader, "expires_at", JSON_OPTIONAL);
    if (token->expires_at_us == 0) {
        token->expires_at_us = now_us + LIFE_DEFAULT_DAYS * DAY_US;
    } else if (token->expires_at_us <= now_us ||
               token->expires_at_us > now_us + LIFE_MOST_DAYS * DAY_US) {
        fault_add(reader->faults, json_reader_pointer(reader, "expires_at"),
                  "Must lie in the future, at most %d days from now.", (int)LIFE_MOST_DAYS);
    }
}

static void read_token(struct json_reader *reader, const struct principal *giver,
                       struct new_token *token)
{
    token->name = json_reader_string(reader, "name", JSON_REQUIRED, LIMIT_NAME_BYTES);
    token->roles = roles_json_read(reader, JSON_REQUIRED);
    token->scopes = scopes_json_read(reader, token->roles);
    read_certificate(reader, token);
    read_expiry(reader, token);
    json_reader_close(reader);
    if (!may_give_roles(giver, token->roles)) {
        fault_add(reader->faults, json_reader_pointer(reader, "roles"),
                  "A token gives no role that it has not itself.");
    }
    if (!may_give_scopes(giver, token->scopes)) {
        fault_add(reader->faults, json_reader_pointer(reader, "scopes"),
                  "A token with scopes gives no scope that it has not itself.");
    }
}

void tokens_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    struct new_token token = {0};
    read_token(&reader, &context->principal, &token);
    if (api_reject(request, response, &faults)) {
        return;
    }
    struct fresh_secret secret;
    make_secret(&secret);
    token.prefix = secret.prefix;
    token.hash = secret.hash;
    const char *id = NULL;
    struct error error = {0};
    if (token_create(context->store, request->arena, &token, &id, &error)) {
        respond_token(context, request, response, 201, id, &secret);
    } else {
        api_fail(request, response, &error);
    }
    sodium_memzero(&secret, sizeof secret);
}

void tokens_rotate(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct json_reader reader;
    struct fault_list faults;
    if (id == NULL || !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    int overlap_s = api_read_whole(&reader, "overlap_s", 0, OVERLAP_MOST_S, OVERLAP_DEFAULT_S);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    struct api_token token = {0};
    struct error error = {0};
    if (!token_get(context->store, request->arena, id, &token, &error)) {
        api_fail(request, response, &error);
        return;
    }
    if (!may_give_roles(&context->principal, token.roles) ||
        !may_give_scopes(&context->principal, token.scopes)) {
        http_problem(request, response, 403,
                     "A token gives no secret of one that may do more than itself.");
        return;
    }
    struct fresh_secret secret;
    make_secret(&secret);
    if (token_rotate(context->store, id, secret.hash, secret.prefix, overlap_s, &error)) {
        respond_token(context, request, response, 200, id, &secret);
    } else {
        api_fail(request, response, &error);
    }
    sodium_memzero(&secret, sizeof secret);
}

void tokens_delete(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    if (!token_revoke(context->store, id, &error)) {
        api_fail(request, response, &error);
        return;
    }
    http_respond(response, 204, NULL, NULL, 0);
}
