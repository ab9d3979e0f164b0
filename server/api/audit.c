#include "api/audit.h"

#include "api/api.h"
#include "api/audit_limit.h"
#include "auth/access.h"
#include "base/clock.h"
#include "base/uuid.h"
#include "http/router.h"
#include "store/store_audit.h"

#include <sodium.h>
#include <string.h>

enum {
    PATIENTS_LIMIT = 64 * 1024 * 1024, /* more than any list or export holds */
    DETAIL_LIMIT = 100,
    TYPE_LIMIT = 40
};

static struct audit_limit unknown_limit = AUDIT_LIMIT_NEW;
static struct audit_limit spent_limit = AUDIT_LIMIT_NEW;

/* ---- what handlers add ---- */

void api_audit_begin(struct api_context *context, struct arena *arena)
{
    context->audit = (struct api_audit){.arena = arena, .reason = ""};
    text_init(&context->audit.patients, arena, PATIENTS_LIMIT);
}

void api_audit_patient(struct api_context *context, const char *patient_id)
{
    struct api_audit *audit = &context->audit;
    if (audit->arena == NULL || patient_id == NULL || !uuid_is_valid(patient_id)) {
        return;
    }
    size_t length = strlen(patient_id);
    size_t held = audit->patients.length;
    if (held > length &&
        memcmp(audit->patients.data + held - length - 1, patient_id, length) == 0) {
        return;
    }
    text_append(&audit->patients, patient_id);
    text_append_char(&audit->patients, ',');
}

void api_audit_reason(struct api_context *context, const char *text)
{
    if (context->audit.arena != NULL && text != NULL) {
        context->audit.reason = arena_strdup(context->audit.arena, text);
    }
}

void api_audit_detail(struct api_context *context, const char *text)
{
    if (context->audit.arena != NULL && text != NULL) {
        context->audit.detail = arena_strdup(context->audit.arena, text);
    }
}

void api_audit_object(struct api_context *context, const char *type, const char *id)
{
    if (context->audit.arena != NULL && id != NULL && uuid_is_valid(id)) {
        context->audit.object_type = type;
        context->audit.object_id = arena_strdup(context->audit.arena, id);
    }
}

void api_audit_username(struct api_context *context, const char *username)
{
    if (context->audit.arena != NULL && username != NULL) {
        context->audit.username = arena_strdup(context->audit.arena, username);
    }
}

void api_audit_actor(struct api_context *context, const struct principal *actor)
{
    context->audit.actor = *actor;
}

void api_audit_credential(struct api_context *context, const char *kind,
                          const unsigned char hash[SECRET_HASH_BYTES])
{
    context->audit.credential_kind = kind;
    sodium_bin2hex(context->audit.credential, sizeof context->audit.credential, hash,
                   SECRET_HASH_BYTES);
}

/* ---- whether there is an entry ---- */

static bool shows_nothing(const struct http_route *route)
{
    return route->resource == ACCESS_PUBLIC || route->resource == ACCESS_REFERENCE ||
           route->resource == ACCESS_COMPUTATION ||
           (route->resource == ACCESS_SESSION && route->action == ACCESS_READ);
}

static const struct principal *actor_of(const struct api_context *context)
{
    if (context->audit.actor.id != NULL) {
        return &context->audit.actor;
    }
    return context->principal.id != NULL ? &context->principal : NULL;
}

/* 503 shows and changes nothing, and mostly means that the database is away. A page shows nothing
 * of anybody's either, unless it names whose; its script then asks for it. */
static bool is_due(const struct api_context *context, const struct http_request *request,
                   const struct http_response *response)
{
    const struct api_audit *audit = &context->audit;
    if (audit->written || response->status == 503 || http_answers_later(response) ||
        ((request->route->flags & API_ROUTE_PAGE) != 0 && audit->object_id == NULL)) {
        return false;
    }
    const struct principal *actor = actor_of(context);
    if (actor == NULL) {
        return audit->username != NULL || audit->credential_kind != NULL;
    }
    return audit->actor.id != NULL || response->status == 403 || response->status == 429 ||
           !shows_nothing(request->route);
}

/* ---- the entry ---- */

/* The collection that "/v1/<collection>/..." names, or NULL. */
static const char *collection_of(struct arena *arena, const char *path)
{
    static const char prefix[] = "/v1/";
    if (strncmp(path, prefix, sizeof prefix - 1) != 0) {
        return NULL;
    }
    size_t length = strcspn(path + sizeof prefix - 1, "/?");
    return length > 0 && length <= TYPE_LIMIT
               ? arena_strndup(arena, path + sizeof prefix - 1, length)
               : NULL;
}

static void find_object(const struct api_audit *audit, const struct http_request *request,
                        const struct http_response *response, struct new_audit_entry *entry)
{
    const char *location =
        response->status < 400 ? http_response_field(response, "Location") : NULL;
    const char *made = location != NULL ? strrchr(location, '/') : NULL;
    if (audit->object_id != NULL) {
        entry->object_type = audit->object_type;
        entry->object_id = audit->object_id;
    } else if (made != NULL && uuid_is_valid(made + 1)) {
        entry->object_type = collection_of(request->arena, location);
        entry->object_id = made + 1;
    } else if (request->parameters[0] != NULL && uuid_is_valid(request->parameters[0])) {
        entry->object_type = collection_of(request->arena, request->route->pattern);
        entry->object_id = request->parameters[0];
    }
}

static bool is_plain(const char *text)
{
    return text[0] != '\0' && strlen(text) <= DETAIL_LIMIT &&
           strspn(text, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.") ==
               strlen(text);
}

/* Which piece, link or the like of the object. */
static const char *detail_of(const struct http_request *request)
{
    const char *second = request->parameters[0] != NULL ? request->parameters[1] : NULL;
    return second != NULL && is_plain(second) ? second : "";
}

static void fill_actor(const struct api_context *context, struct new_audit_entry *entry)
{
    const struct principal *actor = actor_of(context);
    entry->actor_name = "";
    entry->actor_kind = "nobody";
    if (actor != NULL) {
        entry->clinic_id = actor->clinic_id;
        entry->actor_id = actor->id;
        entry->actor_name = actor->name;
        entry->actor_kind = actor->is_token ? "token" : "person";
        entry->actor_roles = actor->roles;
    } else if (context->audit.username != NULL) {
        entry->credential_kind = "username";
        entry->credential = context->audit.username;
    } else {
        entry->credential_kind = context->audit.credential_kind;
        entry->credential = context->audit.credential;
    }
}

/* A public route that names an object shows it to whoever has a link; others are there for signing
 * in. */
static void fill_action(const struct api_context *context, const struct http_route *route,
                        struct new_audit_entry *entry)
{
    unsigned resource = route->resource;
    unsigned action = route->action;
    if (resource == ACCESS_PUBLIC) {
        bool reads = context->audit.object_id != NULL;
        resource = reads ? ACCESS_SUMMARIES : ACCESS_SESSION;
        action = reads ? ACCESS_READ : ACCESS_CREATE;
    }
    entry->resource = access_resource_name(resource);
    entry->action = access_action_name(action);
}

static void fill_entry(const struct api_context *context, const struct http_request *request,
                       const struct http_response *response, struct new_audit_entry *entry)
{
    const struct http_route *route = request->route;
    *entry = (struct new_audit_entry){
        .address = request->client_address != NULL ? request->client_address : "",
        .request_id = request->id,
        .what = arena_printf(request->arena, "%s %s", router_method_name(route->method),
                             route->pattern),
        .status = response->status,
        .reason = context->audit.reason,
        .detail = context->audit.detail != NULL ? context->audit.detail : detail_of(request),
    };
    struct text ids = context->audit.patients;
    entry->patient_ids =
        ids.length == 0 ? "" : arena_strndup(request->arena, ids.data, ids.length - 1);
    fill_action(context, route, entry);
    fill_actor(context, entry);
    find_object(&context->audit, request, response, entry);
}

/* A token, session or link that is no good any more can be shown without end by whoever has it:
 * then an entry a second is enough. NULL for everything else. */
static const char *spent_credential(const struct api_context *context,
                                    const struct http_response *response,
                                    const struct new_audit_entry *entry)
{
    if (entry->credential_kind != NULL && context->audit.username == NULL) {
        return entry->credential;
    }
    bool by_link = context->audit.actor.id != NULL && context->audit.actor.is_token;
    return by_link && response->status >= 400 ? context->audit.actor.id : NULL;
}

static bool append(struct api_context *context, const struct http_request *request,
                   const struct http_response *response, struct error *reterr)
{
    struct new_audit_entry entry;
    struct error error = {0};
    fill_entry(context, request, response, &entry);
    const char *spent = spent_credential(context, response, &entry);
    unsigned spent_before = 0;
    if (spent != NULL &&
        !audit_limit_allows(&spent_limit, spent, clock_monotonic_s(), &spent_before)) {
        return true;
    }
    if (entry.credential_kind != NULL) {
        unsigned passed_over = 0;
        entry.keep_unknown =
            audit_limit_allows(&unknown_limit, entry.address, clock_monotonic_s(), &passed_over);
        if (!entry.keep_unknown && response->status == 429) {
            return true; /* anybody can cause these without end */
        }
        if (passed_over > 0) {
            entry.detail = arena_printf(request->arena, "%u like it left out before", passed_over);
        }
    }
    if (context->audit.patients.overflowed ||
        !audit_append(context->store, request->arena, &entry, &error)) {
        return error_set(reterr, ERROR_UNAVAILABLE, "the audit takes no entry: %s", error.detail);
    }
    return true;
}

bool api_audit_change(struct api_context *context, const struct http_request *request,
                      const struct http_response *response, struct error *reterr)
{
    if (!is_due(context, request, response)) {
        return true;
    }
    context->audit.written = append(context, request, response, reterr);
    return context->audit.written;
}

bool api_audit_commit(struct api_context *context, const struct http_request *request,
                      const struct http_response *response, struct error *reterr)
{
    if (api_audit_change(context, request, response, reterr) &&
        store_commit(context->store, reterr)) {
        return true;
    }
    context->audit.written = false;
    return false;
}

void api_audit_answer(struct api_context *context, const struct http_request *request,
                      struct http_response *response, const struct http_response *fresh)
{
    struct error error = {0};
    if (is_due(context, request, response) && !append(context, request, response, &error)) {
        *response = *fresh;
        api_fail(request, response, &error);
    }
}
