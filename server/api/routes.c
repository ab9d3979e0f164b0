#include "api/routes.h"

#include "api/api.h"
#include "api/handlers.h"
#include "http/router.h"

#include <stdio.h>

#define CLINICAL (ROLE_CLINICIAN | ROLE_PHYSICIAN)
#define READERS  (ROLE_ROOM | CLINICAL | ROLE_INTEGRATION)

#define JSON_ONLY                                                                                  \
    {                                                                                              \
        "application/json", NULL                                                                   \
    }
#define PATCH_TYPES                                                                                \
    {                                                                                              \
        "application/merge-patch+json", "application/json", NULL                                   \
    }
#define JSON_OR_HTML                                                                               \
    {                                                                                              \
        "application/json", "text/html", NULL                                                      \
    }
#define UPLOAD_TYPES                                                                               \
    {                                                                                              \
        "application/json", "application/edf", "text/csv", NULL                                    \
    }
#define HTML_ONLY                                                                                  \
    {                                                                                              \
        "text/html", NULL                                                                          \
    }

/* Grouped by resource; the first pattern that fits wins. */
static const struct http_route ROUTES[] = {
    {HTTP_GET,
     "/healthz",
     operation_health,
     0,
     HTTP_ROUTE_PUBLIC | HTTP_ROUTE_INLINE,
     0,
     {NULL},
     JSON_ONLY},
    {HTTP_GET,
     "/readyz",
     operation_ready,
     0,
     HTTP_ROUTE_PUBLIC | API_ROUTE_OWN_TRANSACTION,
     0,
     {NULL},
     JSON_ONLY},
    {HTTP_GET,
     "/openapi.json",
     operation_openapi,
     ROLE_ANY,
     API_ROUTE_OWN_TRANSACTION,
     0,
     {NULL},
     JSON_ONLY},

    {HTTP_GET,
     "/sign-in",
     pages_sign_in,
     0,
     HTTP_ROUTE_PUBLIC | HTTP_ROUTE_INLINE,
     0,
     {NULL},
     HTML_ONLY},
    {HTTP_GET,
     "/",
     pages_today,
     ROLE_ANY,
     HTTP_ROUTE_PUBLIC | API_ROUTE_CHECKS_CALLER | API_ROUTE_PAGE | API_ROUTE_OWN_TRANSACTION,
     0,
     {NULL},
     HTML_ONLY},
    {HTTP_GET,
     "/today",
     pages_today,
     ROLE_ANY,
     HTTP_ROUTE_PUBLIC | API_ROUTE_CHECKS_CALLER | API_ROUTE_PAGE | API_ROUTE_OWN_TRANSACTION,
     0,
     {NULL},
     HTML_ONLY},
    {HTTP_GET,
     "/studies/{id}",
     pages_study,
     ROLE_ANY,
     HTTP_ROUTE_PUBLIC | API_ROUTE_CHECKS_CALLER | API_ROUTE_PAGE | API_ROUTE_OWN_TRANSACTION,
     0,
     {NULL},
     HTML_ONLY},
    {HTTP_GET,
     "/assets/sign-in.js",
     pages_public_asset,
     0,
     HTTP_ROUTE_PUBLIC | HTTP_ROUTE_INLINE,
     0,
     {NULL},
     {"text/javascript", NULL}},
    {HTTP_GET,
     "/assets/penstock.css",
     pages_public_asset,
     0,
     HTTP_ROUTE_PUBLIC | HTTP_ROUTE_INLINE,
     0,
     {NULL},
     {"text/css", NULL}},
    {HTTP_GET,
     "/assets/favicon.svg",
     pages_public_asset,
     0,
     HTTP_ROUTE_PUBLIC | HTTP_ROUTE_INLINE,
     0,
     {NULL},
     {"image/svg+xml", NULL}},
    {HTTP_GET,
     "/assets/licences.txt",
     pages_public_asset,
     0,
     HTTP_ROUTE_PUBLIC | HTTP_ROUTE_INLINE,
     0,
     {NULL},
     {"text/plain", NULL}},
    {HTTP_GET,
     "/assets/{file}",
     pages_asset,
     ROLE_ANY,
     API_ROUTE_OWN_TRANSACTION,
     0,
     {NULL},
     {NULL}},

    {HTTP_POST, "/v1/sessions", sessions_create, 0, HTTP_ROUTE_PUBLIC | API_ROUTE_OWN_TRANSACTION,
     LIMIT_SMALL_BODY_BYTES, JSON_ONLY, JSON_ONLY},
    {HTTP_GET,
     "/v1/sessions/current",
     sessions_get_current,
     ROLE_ANY,
     API_ROUTE_OWN_TRANSACTION,
     0,
     {NULL},
     JSON_ONLY},
    {HTTP_DELETE,
     "/v1/sessions/current",
     sessions_delete_current,
     ROLE_ANY,
     0,
     0,
     {NULL},
     JSON_ONLY},

    {HTTP_GET, "/v1/users", users_list, ROLE_ADMINISTRATOR, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_POST, "/v1/users", users_create, ROLE_ADMINISTRATOR, 0, LIMIT_SMALL_BODY_BYTES, JSON_ONLY,
     JSON_ONLY},
    {HTTP_GET, "/v1/users/{id}", users_get, ROLE_ADMINISTRATOR, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_PATCH, "/v1/users/{id}", users_patch, ROLE_ADMINISTRATOR, HTTP_ROUTE_REQUIRES_MATCH,
     LIMIT_SMALL_BODY_BYTES, PATCH_TYPES, JSON_ONLY},
    {HTTP_GET, "/v1/tokens", tokens_list, ROLE_ADMINISTRATOR, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_POST, "/v1/tokens", tokens_create, ROLE_ADMINISTRATOR, 0, LIMIT_SMALL_BODY_BYTES,
     JSON_ONLY, JSON_ONLY},
    {HTTP_DELETE, "/v1/tokens/{id}", tokens_delete, ROLE_ADMINISTRATOR, 0, 0, {NULL}, JSON_ONLY},

    {HTTP_GET,
     "/v1/analysis-choices",
     choices_get_all,
     READERS | ROLE_ADMINISTRATOR,
     0,
     0,
     {NULL},
     JSON_ONLY},
    {HTTP_PUT, "/v1/analysis-choices", choices_put_all, ROLE_ADMINISTRATOR,
     HTTP_ROUTE_REQUIRES_MATCH, LIMIT_SMALL_BODY_BYTES, JSON_ONLY, JSON_ONLY},
    {HTTP_GET,
     "/v1/retention",
     retention_get,
     READERS | ROLE_ADMINISTRATOR,
     0,
     0,
     {NULL},
     JSON_ONLY},
    {HTTP_PUT, "/v1/retention", retention_put, ROLE_ADMINISTRATOR, HTTP_ROUTE_REQUIRES_MATCH,
     LIMIT_SMALL_BODY_BYTES, JSON_ONLY, JSON_ONLY},
    {HTTP_GET, "/v1/parameters", parameters_get, ROLE_ANY, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_GET, "/v1/nomograms", nomograms_list, ROLE_ANY, 0, 0, {NULL}, JSON_ONLY},

    {HTTP_GET, "/v1/patients", patients_list, READERS, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_POST, "/v1/patients", patients_create, READERS, HTTP_ROUTE_CREATES,
     LIMIT_SMALL_BODY_BYTES, JSON_ONLY, JSON_ONLY},
    {HTTP_GET, "/v1/patients/{id}", patients_get, READERS, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_PUT, "/v1/patients/{id}", patients_put, READERS, HTTP_ROUTE_REQUIRES_MATCH,
     LIMIT_SMALL_BODY_BYTES, JSON_ONLY, JSON_ONLY},
    {HTTP_GET, "/v1/patients/{id}/trend", trend_get, READERS, 0, 0, {NULL}, JSON_ONLY},

    {HTTP_GET, "/v1/studies", studies_list, READERS, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_POST, "/v1/studies", studies_create, READERS, HTTP_ROUTE_CREATES, LIMIT_SMALL_BODY_BYTES,
     JSON_ONLY, JSON_ONLY},
    {HTTP_GET, "/v1/studies/{id}", studies_get, READERS, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_PATCH, "/v1/studies/{id}", studies_patch, ROLE_ROOM | CLINICAL, HTTP_ROUTE_REQUIRES_MATCH,
     LIMIT_SMALL_BODY_BYTES, PATCH_TYPES, JSON_ONLY},
    {HTTP_GET, "/v1/studies/{id}/recordings", recordings_list, READERS, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_POST, "/v1/studies/{id}/recordings", recordings_create, ROLE_ROOM | CLINICAL,
     HTTP_ROUTE_CREATES | HTTP_ROUTE_HEAVY, LIMIT_BODY_BYTES, UPLOAD_TYPES, JSON_ONLY},
    {HTTP_GET, "/v1/studies/{id}/summary", summary_get, READERS, 0, 0, {NULL}, JSON_OR_HTML},

    {HTTP_POST, "/v1/recordings", pieces_open, ROLE_ROOM | CLINICAL, HTTP_ROUTE_CREATES,
     LIMIT_SMALL_BODY_BYTES, JSON_ONLY, JSON_ONLY},
    {HTTP_GET, "/v1/recordings/{id}", recordings_get, READERS, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_PUT, "/v1/recordings/{id}/chunks/{n}", pieces_put, ROLE_ROOM | CLINICAL, 0,
     LIMIT_CHUNK_BYTES, JSON_ONLY, JSON_ONLY},
    {HTTP_POST, "/v1/recordings/{id}/completion", pieces_complete, ROLE_ROOM | CLINICAL,
     HTTP_ROUTE_HEAVY, LIMIT_SMALL_BODY_BYTES, JSON_ONLY, JSON_ONLY},
    {HTTP_GET, "/v1/recordings/{id}/live", live_get, READERS, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_GET,
     "/v1/recordings/{id}/live/analysis",
     live_get_analysis,
     READERS,
     HTTP_ROUTE_HEAVY,
     0,
     {NULL},
     JSON_ONLY},
    {HTTP_POST, "/v1/recordings/{id}/withdrawal", recording_state_withdraw, ROLE_ROOM | CLINICAL,
     HTTP_ROUTE_REQUIRES_MATCH, LIMIT_SMALL_BODY_BYTES, JSON_ONLY, JSON_ONLY},
    {HTTP_POST, "/v1/recordings/{id}/restoration", recording_state_restore, CLINICAL,
     HTTP_ROUTE_REQUIRES_MATCH, LIMIT_SMALL_BODY_BYTES, JSON_ONLY, JSON_ONLY},
    {HTTP_GET,
     "/v1/recordings/{id}/history",
     recording_state_history,
     READERS,
     HTTP_ROUTE_HEAVY,
     0,
     {NULL},
     JSON_ONLY},
    {HTTP_GET,
     "/v1/recordings/{id}/analysis",
     recordings_get_analysis,
     READERS,
     0,
     0,
     {NULL},
     JSON_ONLY},
    {HTTP_GET, "/v1/recordings/{id}/events", events_get, READERS, 0, 0, {NULL}, JSON_ONLY},
    {HTTP_PUT, "/v1/recordings/{id}/events", events_put, ROLE_ROOM | CLINICAL,
     HTTP_ROUTE_REQUIRES_MATCH | HTTP_ROUTE_HEAVY, LIMIT_BODY_BYTES, JSON_ONLY, JSON_ONLY},
    {HTTP_GET,
     "/v1/recordings/{id}/traces",
     traces_get,
     READERS,
     0,
     0,
     {NULL},
     {"application/json", "application/octet-stream", "text/csv", "application/edf", NULL}},

    {HTTP_POST, "/v1/analyses", analyses_create, ROLE_ANY,
     API_ROUTE_OWN_TRANSACTION | HTTP_ROUTE_HEAVY, LIMIT_BODY_BYTES, JSON_ONLY, JSON_ONLY},
};

const struct http_route *routes_table(size_t *ret_count)
{
    *ret_count = sizeof ROUTES / sizeof ROUTES[0];
    return ROUTES;
}

static void print_roles(const struct http_route *route)
{
    const char *separator = " ";
    if ((route->flags & HTTP_ROUTE_PUBLIC) && !(route->flags & API_ROUTE_CHECKS_CALLER)) {
        printf(" public");
    }
    for (unsigned role = 1; role <= ROLE_ANY; role <<= 1) {
        if (route->roles & role) {
            printf("%s%s", separator, role_name(role));
            separator = ",";
        }
    }
}

void routes_print(void)
{
    for (size_t i = 0; i < sizeof ROUTES / sizeof ROUTES[0]; i++) {
        printf("%s %s", router_method_name(ROUTES[i].method), ROUTES[i].pattern);
        print_roles(&ROUTES[i]);
        printf("\n");
    }
}
