/* What a request leaves in the audit: who, what, when, from where, whose data, with what outcome.
 *
 * Dispatch writes the entry, from the route, the caller and the answer; a handler only adds what
 * those do not tell. The patients are found by the database where the path, the Location or
 * api_audit_object() names a patient, a study or a recording. */
#ifndef API_AUDIT_H
#define API_AUDIT_H

#include "base/arena.h"
#include "base/text.h"
#include "http/http.h"
#include "store/store_account.h"

#include <stdbool.h>

struct api_context;

enum { AUDIT_HASH_TEXT_SIZE = 2 * SECRET_HASH_BYTES + 1 };

/* Collected while a request is served; begun anew when it is run once more. */
struct api_audit {
    struct arena *arena;     /* the request's; NULL: nothing is collected */
    struct text patients;    /* ids, each with a comma behind it */
    const char *reason;      /* "" when none was given */
    const char *detail;      /* NULL: what the path says beyond its first id */
    const char *object_type; /* NULL: the path's or the Location's */
    const char *object_id;
    struct principal actor;      /* who signs in; id NULL: whoever is signed in */
    const char *username;        /* that somebody signs in with; NULL: nobody does */
    const char *credential_kind; /* of a session or token that is not valid, else NULL */
    char credential[AUDIT_HASH_TEXT_SIZE];
    bool written; /* with the change itself */
};

/* ---- for handlers ---- */

/* The answer shows or changes data of this patient. The same one may be named often. */
void api_audit_patient(struct api_context *context, const char *patient_id);

/* Why it was done, in the words of who did it: emergency access, withdrawal, erasure. Copied. */
void api_audit_reason(struct api_context *context, const char *text);

/* What else is to be known: an id, a count, never what a patient's data say. Copied. */
void api_audit_detail(struct api_context *context, const char *text);

/* What it is about, when neither the path nor the Location says so.
 * type  the collection, "studies" as in the path; static
 * id    a UUID; copied */
void api_audit_object(struct api_context *context, const char *type, const char *id);

/* Somebody tries to sign in with this username, which counts unless api_audit_actor() follows: also
 * a failed attempt is of the account's clinic. Copied. */
void api_audit_username(struct api_context *context, const char *username);

/* Whom a public route has recognised: who has just signed in, or the link by which somebody reads,
 * which also names its api_audit_object(). Its texts have to live as long as the
 * request. */
void api_audit_actor(struct api_context *context, const struct principal *actor);

/* For a handler that ends its transaction by itself (API_ROUTE_OWN_TRANSACTION) and has put its
 * answer into `response`: api_audit_change(), then the commit. False: neither is stored; answer
 * with the error, and roll back. */
MUST_CHECK bool api_audit_commit(struct api_context *context, const struct http_request *request,
                                 const struct http_response *response, struct error *reterr);

/* ---- for dispatch ---- */

/* Begins the collection for one run of a handler. */
void api_audit_begin(struct api_context *context, struct arena *arena);

/* The session or token that was shown is nobody's (any more).
 * kind  "session" or "token" */
void api_audit_credential(struct api_context *context, const char *kind,
                          const unsigned char hash[SECRET_HASH_BYTES]);

/* Adds the entry to the transaction of a change that is about to be committed: both stand or fall
 * together. True when there is none to add. */
MUST_CHECK bool api_audit_change(struct api_context *context, const struct http_request *request,
                                 const struct http_response *response, struct error *reterr);

/* Adds the entry of everything else, by itself, before the answer goes out; no transaction is open.
 * When it cannot be added the answer becomes 503 and holds nothing of what was asked for.
 * fresh  the response as it was before the handler ran */
void api_audit_answer(struct api_context *context, const struct http_request *request,
                      struct http_response *response, const struct http_response *fresh);

#endif
