#include "api/api.h"
#include "api/handlers.h"
#include "api/roles_json.h"
#include "auth/secret.h"
#include "base/clock.h"

static const int64_t TOKEN_LIFE_DEFAULT_S = (int64_t)365 * 24 * 3600;

static void append_token_members(struct text *out, const struct api_token *token)
{
    api_append_string(out, "id", token->id);
    text_append_char(out, ',');
    api_append_string(out, "name", token->name);
    text_append_char(out, ',');
    api_append_string(out, "prefix", token->prefix);
    text_append_char(out, ',');
    roles_json_append(out, token->roles);
    text_append_char(out, ',');
    api_append_time(out, "created_at", token->created_at_us);
    text_append_char(out, ',');
    api_append_time(out, "expires_at", token->expires_at_us);
    if (token->last_used_at_us != 0) {
        text_append_char(out, ',');
        api_append_time(out, "last_used_at", token->last_used_at_us);
    }
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

void tokens_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    struct api_token token = {.created_at_us = clock_now_us()};
    token.name = json_reader_string(&reader, "name", JSON_REQUIRED, LIMIT_NAME_BYTES);
    token.roles = roles_json_read(&reader, JSON_REQUIRED);
    token.expires_at_us = api_read_time(&reader, "expires_at", JSON_OPTIONAL);
    json_reader_close(&reader);
    if (token.expires_at_us != 0 && token.expires_at_us <= token.created_at_us) {
        fault_add(&faults, "/expires_at", "Must lie in the future.");
    }
    if (api_reject(request, response, &faults)) {
        return;
    }
    if (token.expires_at_us == 0) {
        token.expires_at_us = token.created_at_us + TOKEN_LIFE_DEFAULT_S * 1000000;
    }
    char secret[SECRET_TEXT_SIZE];
    char prefix[SECRET_PREFIX_SIZE];
    unsigned char hash[SECRET_HASH_BYTES];
    secret_new(SECRET_TOKEN_MARK, secret);
    secret_hash(secret, hash);
    secret_prefix(secret, prefix);
    token.prefix = prefix;
    struct error error = {0};
    if (!token_create(context->store, request->arena, token.name, prefix, hash, token.roles,
                      token.expires_at_us, &token.id, &error)) {
        api_fail(request, response, &error);
        return;
    }
    api_audit_object(context, "tokens", token.id);
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_append_char(&body, '{');
    append_token_members(&body, &token);
    text_append_char(&body, ',');
    api_append_string(&body, "token", secret);
    text_append_char(&body, '}');
    api_respond_json(request, response, 201, &body);
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
