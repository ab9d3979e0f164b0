/* Who may do what, and how far it reaches: the one table of roles, resources and actions.
 *
 * Dispatch asks it before any handler runs. The reach goes on to the database, whose row-level
 * security shows no other patients than it covers (schema/0008_access.sql), so that a handler need
 * not know who asks. */
#ifndef AUTH_ACCESS_H
#define AUTH_ACCESS_H

#include "base/text.h"
#include "store/store_account.h"

#include <stdbool.h>
#include <stdint.h>

enum access_resource {
    ACCESS_PUBLIC, /* whatever answers without a caller */
    ACCESS_REFERENCE,
    ACCESS_SESSION,
    ACCESS_COMPUTATION,
    ACCESS_PATIENTS,
    ACCESS_STUDIES,
    ACCESS_RECORDINGS,
    ACCESS_SUMMARIES,
    ACCESS_REFERRALS,
    ACCESS_LINKS,
    ACCESS_INTERPRETATIONS,
    ACCESS_SIGNATURES,
    ACCESS_LETTERS,
    ACCESS_DEVICES,
    ACCESS_VERIFICATIONS,
    ACCESS_EMERGENCY,
    ACCESS_PATIENT_FILE,
    ACCESS_ERASURES,
    ACCESS_HOLDS,
    ACCESS_RESEARCH,
    ACCESS_ACCOUNTS,
    ACCESS_TOKENS,
    ACCESS_SETTINGS,
    ACCESS_AUDIT,
    ACCESS_RESOURCE_COUNT
};

enum access_action {
    ACCESS_READ = 1,
    ACCESS_CREATE = 2,
    ACCESS_CHANGE = 4,
    ACCESS_REMOVE = 8,
    ACCESS_RESTORE = 16,
    ACCESS_ANY_ACTION = 31
};

/* "patients", as tokens' scopes and api-docs name it; NULL for a number that is none. */
const char *access_resource_name(unsigned resource);

/* "read"; NULL unless it is one action. */
const char *access_action_name(unsigned action);

/* Roles that may do it at all, as bits. */
unsigned access_roles(unsigned resource, unsigned action);

/* How far the caller reaches when doing it: bits of enum store_reach, all that the roles give
 * together; 0 when none of them may. What is no patient's data reaches no patient. A token with
 * scopes may only do what they name. */
unsigned access_reach(const struct principal *principal, unsigned resource, unsigned action);

/* Whether the caller may do it. */
bool access_allowed(const struct principal *principal, unsigned resource, unsigned action);

/* Scopes of a token: for each resource the actions that it may do. */
struct access_scopes {
    unsigned actions[ACCESS_RESOURCE_COUNT];
};

/* Reads "patients:read studies:create": names separated by single spaces. False, and where the
 * first unknown one begins in ret_bad, when it is not. */
MUST_CHECK bool access_scopes_read(const char *text, struct access_scopes *ret_scopes,
                                   const char **ret_bad);

/* Appends the table as a page of Markdown: api-docs/access.md. */
void access_append_page(struct text *out);

#endif
