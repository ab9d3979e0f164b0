/* What a request leaves in the audit: who, what, when, from where, whose data, with what outcome.
 *
 * Dispatch writes the entry, from the route, the caller and the answer; a handler only adds what
 * those do not tell. Its patients are found by the database where the path, the Location or
 * api_audit_object() names a patient, a study or a recording. */
#ifndef API_AUDIT_H
#define API_AUDIT_H

#include "base/arena.h"
#include "base/text.h"
#include "store/store_account.h"

#include <stdbool.h>

struct api_context;

/* Collected while a request is served; begun anew when it is run once more. */
struct api_audit {
    struct arena *arena;           /* the request's; NULL: nothing is collected */
    struct text patients;          /* ids, each with a comma behind it */
    const char *reason;            /* "" when none was given */
    const char *object_id;         /* NULL: the path's or the Location's */
    const struct principal *actor; /* NULL: who is signed in */
};

/* Begins the collection for one run of a handler. */
void api_audit_begin(struct api_context *context, struct arena *arena);

/* The answer shows or changes data of this patient. The same one may be named often. */
void api_audit_patient(struct api_context *context, const char *patient_id);

/* Why it was done, in the words of who did it: emergency access, withdrawal, erasure. Copied. */
void api_audit_reason(struct api_context *context, const char *text);

/* What it is about, when neither the path nor the Location says so: an id. Copied. */
void api_audit_object(struct api_context *context, const char *id);

/* Whose account it is about where nobody is signed in yet: sign-in, good or failed. The principal
 * has to live as long as the request (its id and clinic_id at least are set). */
void api_audit_actor(struct api_context *context, const struct principal *actor);

#endif
