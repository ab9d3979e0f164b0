/* Entries of the audit as FHIR R4 AuditEvent (http://hl7.org/fhir/R4/auditevent.html). */
#ifndef FHIR_AUDIT_EVENT_H
#define FHIR_AUDIT_EVENT_H

#include "base/text.h"
#include "store/store_audit.h"

#include <stddef.h>

/* Appends one AuditEvent.
 * clinic_id  whose audit it is: the observer */
void audit_event_append(struct text *out, const struct audit_row *row, const char *clinic_id);

/* Appends a Bundle of them (type searchset).
 * self_url  what was asked for
 * next_url  the next page, or NULL */
void audit_event_append_bundle(struct text *out, const struct audit_row *rows, size_t count,
                               const char *clinic_id, const char *self_url, const char *next_url);

#endif
