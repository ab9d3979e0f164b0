#include "api/audit.h"

#include "api/api.h"
#include "base/uuid.h"

#include <string.h>

/* Room for more patients than any list or export holds; beyond it the request fails. */
enum { PATIENTS_LIMIT = 64 * 1024 * 1024 };

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

void api_audit_object(struct api_context *context, const char *id)
{
    if (context->audit.arena != NULL && id != NULL) {
        context->audit.object_id = arena_strdup(context->audit.arena, id);
    }
}

void api_audit_actor(struct api_context *context, const struct principal *actor)
{
    context->audit.actor = actor;
}
