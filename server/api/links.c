/* Links to a study's summary, as the clinic makes and revokes them. Who reads one: link_page.c. */
#include "api/api.h"
#include "api/handlers.h"
#include "api/public_address.h"
#include "auth/secret.h"
#include "base/clock.h"
#include "store/store_link.h"

#include <sodium.h>

enum { READS_MOST = 1000 };

static const int64_t DAY_US = (int64_t)24 * 3600 * 1000000;
static const int64_t LIFE_DEFAULT_DAYS = 14;
static const int64_t LIFE_MOST_DAYS = 90;

static void append_link_members(struct text *out, const struct study_link *link)
{
    api_append_string(out, "id", link->id);
    text_append_char(out, ',');
    api_append_string(out, "study_id", link->study_id);
    text_append_char(out, ',');
    api_append_string(out, "purpose", link->purpose);
    text_append_char(out, ',');
    api_append_string(out, "label", link->label);
    text_append_char(out, ',');
    api_append_string(out, "prefix", link->prefix);
    text_append_char(out, ',');
    api_append_string(out, "state", link->state);
    text_append_char(out, ',');
    api_append_time(out, "created_at", link->created_at_us);
    text_append_char(out, ',');
    api_append_time(out, "expires_at", link->expires_at_us);
    text_printf(out, ",\"read_count\":%d", link->read_count);
    if (link->reads_at_most != 0) {
        text_printf(out, ",\"reads_at_most\":%d", link->reads_at_most);
    }
    if (link->last_read_at_us != 0) {
        text_append_char(out, ',');
        api_append_time(out, "last_read_at", link->last_read_at_us);
    }
}

static void read_link(struct json_reader *reader, struct new_link *link)
{
    int64_t now_us = clock_now_us();
    link->purpose =
        json_reader_word(reader, "purpose", JSON_REQUIRED, (const char *const[]){"summary", NULL});
    const char *label = json_reader_string(reader, "label", JSON_OPTIONAL, LIMIT_NAME_BYTES);
    link->label = label == NULL ? "" : label;
    link->reads_at_most = api_read_whole(reader, "reads_at_most", 1, READS_MOST, 0);
    link->expires_at_us = api_read_time(reader, "expires_at", JSON_OPTIONAL);
    if (link->expires_at_us == 0) {
        link->expires_at_us = now_us + LIFE_DEFAULT_DAYS * DAY_US;
    } else if (link->expires_at_us <= now_us ||
               link->expires_at_us > now_us + LIFE_MOST_DAYS * DAY_US) {
        fault_add(reader->faults, json_reader_pointer(reader, "expires_at"),
                  "Must lie in the future, at most %d days from now.", (int)LIFE_MOST_DAYS);
    }
    json_reader_close(reader);
}

/* The secret stands in the address that is shown this once, and nowhere else. */
static void respond_created(struct api_context *context, const struct http_request *request,
                            struct http_response *response, const char *id, const char *secret)
{
    struct study_link link = {0};
    struct error error = {0};
    if (!link_get(context->store, request->arena, id, &link, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_append_char(&body, '{');
    append_link_members(&body, &link);
    const char *path = arena_printf(request->arena, "/l/%s", secret);
    const char *address = api_configured_address(context, request->arena, path);
    text_append_char(&body, ',');
    api_append_string(&body, "url", path);
    if (address != NULL) {
        text_append_char(&body, ',');
        api_append_string(&body, "address", address);
    }
    text_append_char(&body, '}');
    api_respond_json(request, response, 201, &body);
}

void links_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct new_link link = {.study_id = api_path_id(request, response, 0)};
    struct json_reader reader;
    struct fault_list faults;
    if (link.study_id == NULL || !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    read_link(&reader, &link);
    if (api_reject(request, response, &faults)) {
        return;
    }
    char secret[SECRET_TEXT_SIZE];
    char prefix[SECRET_PREFIX_SIZE];
    unsigned char hash[SECRET_HASH_BYTES];
    secret_new(SECRET_LINK_MARK, secret);
    secret_hash(secret, hash);
    secret_prefix(secret, prefix);
    link.prefix = prefix;
    link.hash = hash;
    const char *id = NULL;
    struct error error = {0};
    if (link_create(context->store, request->arena, &link, &id, &error)) {
        respond_created(context, request, response, id, secret);
    } else if (error.kind == ERROR_CONFLICT) {
        http_problem(request, response, 409,
                     "Only a signed study (final or amended) can be given out by a link.");
    } else {
        api_fail(request, response, &error);
    }
    sodium_memzero(secret, sizeof secret);
}

void links_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *study_id = api_path_id(request, response, 0);
    struct store_page page;
    if (study_id == NULL || !api_read_page(request, response, &page)) {
        return;
    }
    struct study_link *links = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    if (!link_list(context->store, request->arena, study_id, &page, &links, &count, &next,
                   &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "{" : ",{");
        append_link_members(&items, &links[i]);
        text_append_char(&items, '}');
    }
    api_respond_list(request, response, &items, next);
}

void links_delete(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    if (!link_revoke(context->store, id, &error)) {
        api_fail(request, response, &error);
        return;
    }
    http_respond(response, 204, NULL, NULL, 0);
}
