#include "auth/access.h"

#include <string.h>

#define CLINICAL   (ROLE_CLINICIAN | ROLE_PHYSICIAN)
#define EVERYBODY  ROLE_ANY
#define KEEPS      (ACCESS_READ | ACCESS_CREATE | ACCESS_CHANGE)
#define KEEPS_WELL (KEEPS | ACCESS_REMOVE | ACCESS_RESTORE)

struct grant {
    enum access_resource resource;
    unsigned roles;
    unsigned actions;
    unsigned reach; /* bits of enum store_reach: whose data */
};

/* What is not here is forbidden. */
static const struct grant GRANTS[] = {
    {ACCESS_REFERENCE, EVERYBODY, ACCESS_READ, STORE_REACH_NOBODY},
    {ACCESS_SESSION, EVERYBODY, KEEPS | ACCESS_REMOVE, STORE_REACH_NOBODY},
    {ACCESS_COMPUTATION, EVERYBODY, ACCESS_CREATE, STORE_REACH_NOBODY},

    {ACCESS_PATIENTS, ROLE_ROOM, KEEPS, STORE_REACH_OPEN},
    {ACCESS_PATIENTS, CLINICAL | ROLE_INTEGRATION, KEEPS, STORE_REACH_CLINIC},
    {ACCESS_STUDIES, ROLE_ROOM, KEEPS, STORE_REACH_OPEN},
    {ACCESS_STUDIES, CLINICAL, KEEPS, STORE_REACH_CLINIC},
    {ACCESS_STUDIES, ROLE_INTEGRATION, ACCESS_READ | ACCESS_CREATE, STORE_REACH_CLINIC},
    {ACCESS_RECORDINGS, ROLE_ROOM, KEEPS | ACCESS_REMOVE, STORE_REACH_OPEN},
    {ACCESS_RECORDINGS, CLINICAL, KEEPS_WELL, STORE_REACH_CLINIC},
    {ACCESS_RECORDINGS, ROLE_INTEGRATION, ACCESS_READ, STORE_REACH_CLINIC},
    {ACCESS_SUMMARIES, ROLE_ROOM, ACCESS_READ, STORE_REACH_OPEN},
    {ACCESS_SUMMARIES, ROLE_REFERRER, ACCESS_READ, STORE_REACH_REFERRED},
    {ACCESS_SUMMARIES, CLINICAL | ROLE_INTEGRATION, ACCESS_READ, STORE_REACH_CLINIC},
    {ACCESS_REFERRALS, CLINICAL | ROLE_INTEGRATION, ACCESS_READ | ACCESS_CREATE | ACCESS_REMOVE,
     STORE_REACH_CLINIC},
    {ACCESS_LINKS, CLINICAL, ACCESS_READ | ACCESS_CREATE | ACCESS_REMOVE, STORE_REACH_CLINIC},
    {ACCESS_INTERPRETATIONS, CLINICAL, ACCESS_READ | ACCESS_CHANGE, STORE_REACH_CLINIC},
    {ACCESS_INTERPRETATIONS, ROLE_INTEGRATION, ACCESS_READ, STORE_REACH_CLINIC},
    {ACCESS_SIGNATURES, ROLE_PHYSICIAN, ACCESS_READ | ACCESS_CREATE, STORE_REACH_CLINIC},
    {ACCESS_SIGNATURES, ROLE_CLINICIAN | ROLE_INTEGRATION, ACCESS_READ, STORE_REACH_CLINIC},
    {ACCESS_LETTERS, CLINICAL, KEEPS, STORE_REACH_CLINIC},
    {ACCESS_LETTERS, ROLE_INTEGRATION, ACCESS_READ, STORE_REACH_CLINIC},
    {ACCESS_LETTERS, ROLE_REFERRER, ACCESS_READ, STORE_REACH_REFERRED},
    {ACCESS_EMERGENCY, ROLE_ROOM | ROLE_REFERRER, ACCESS_CREATE, STORE_REACH_CLINIC},

    {ACCESS_PATIENT_FILE, ROLE_PHYSICIAN, ACCESS_READ, STORE_REACH_CLINIC},
    {ACCESS_ERASURES, ROLE_PHYSICIAN, ACCESS_READ | ACCESS_CREATE | ACCESS_REMOVE,
     STORE_REACH_CLINIC},
    {ACCESS_ERASURES, ROLE_ADMINISTRATOR, ACCESS_READ | ACCESS_CHANGE | ACCESS_REMOVE,
     STORE_REACH_NOBODY},
    {ACCESS_HOLDS, ROLE_PHYSICIAN, ACCESS_READ | ACCESS_CREATE | ACCESS_REMOVE, STORE_REACH_CLINIC},
    {ACCESS_RESEARCH, ROLE_PHYSICIAN, ACCESS_READ, STORE_REACH_CLINIC},

    {ACCESS_DEVICES, ROLE_ROOM | CLINICAL | ROLE_INTEGRATION, ACCESS_READ, STORE_REACH_NOBODY},
    {ACCESS_DEVICES, ROLE_ADMINISTRATOR, KEEPS, STORE_REACH_NOBODY},
    {ACCESS_VERIFICATIONS, CLINICAL | ROLE_INTEGRATION, ACCESS_READ, STORE_REACH_NOBODY},
    {ACCESS_VERIFICATIONS, ROLE_ROOM | ROLE_ADMINISTRATOR, ACCESS_READ | ACCESS_CREATE,
     STORE_REACH_NOBODY},

    {ACCESS_ACCOUNTS, ROLE_ADMINISTRATOR, KEEPS | ACCESS_REMOVE, STORE_REACH_NOBODY},
    {ACCESS_TOKENS, ROLE_ADMINISTRATOR, KEEPS | ACCESS_REMOVE, STORE_REACH_NOBODY},
    {ACCESS_SETTINGS, ROLE_ROOM | CLINICAL | ROLE_INTEGRATION, ACCESS_READ, STORE_REACH_NOBODY},
    {ACCESS_SETTINGS, ROLE_ADMINISTRATOR, ACCESS_READ | ACCESS_CHANGE, STORE_REACH_NOBODY},
    {ACCESS_AUDIT, ROLE_AUDITOR, ACCESS_READ, STORE_REACH_NOBODY},
};

enum { GRANT_COUNT = sizeof GRANTS / sizeof GRANTS[0] };

static const struct {
    const char *name;
    const char *meaning;
} RESOURCES[ACCESS_RESOURCE_COUNT] = {
    [ACCESS_PUBLIC] = {"public", "health, sign-in and its files"},
    [ACCESS_REFERENCE] = {"reference", "pages' files, definitions of values, nomograms, this API's "
                                       "document"},
    [ACCESS_SESSION] = {"session", "one's own account and sessions"},
    [ACCESS_COMPUTATION] = {"computation", "an analysis of what is sent along, without storing it"},
    [ACCESS_PATIENTS] = {"patients", "who they are"},
    [ACCESS_STUDIES] = {"studies", "visits and their history"},
    [ACCESS_RECORDINGS] = {"recordings", "signals, events, analyses, what happened to them"},
    [ACCESS_SUMMARIES] = {"summaries", "the answer: what a study found"},
    [ACCESS_REFERRALS] = {"referrals", "which referrer may read a patient's summaries"},
    [ACCESS_LINKS] = {"links", "addresses by which one summary is read without an account"},
    [ACCESS_INTERPRETATIONS] = {"interpretations", "findings, diagnosis and plan of a study"},
    [ACCESS_SIGNATURES] = {"signatures", "who signed a study, and the report that was signed"},
    [ACCESS_LETTERS] = {"letters", "letters to whoever referred, and what became of them"},
    [ACCESS_DEVICES] = {"devices", "the rooms' equipment"},
    [ACCESS_VERIFICATIONS] = {"verifications", "checks that the equipment measures right"},
    [ACCESS_EMERGENCY] = {"emergency_access", "an hour's access to a patient who is not one's own"},
    [ACCESS_PATIENT_FILE] = {"patient_file", "everything that is kept about one patient"},
    [ACCESS_ERASURES] = {"erasures", "requests to erase a patient, and their approval"},
    [ACCESS_HOLDS] = {"legal_holds", "what keeps a patient from being erased"},
    [ACCESS_RESEARCH] = {"research", "de-identified data of the clinic"},
    [ACCESS_ACCOUNTS] = {"accounts", "people who sign in"},
    [ACCESS_TOKENS] = {"tokens", "programs that sign in"},
    [ACCESS_SETTINGS] = {"settings", "limits and retention that the clinic has chosen"},
    [ACCESS_AUDIT] = {"audit", "who did what, to whom, when and from where"},
};

static const char *const ACTIONS[] = {"read", "create", "change", "remove", "restore"};

enum { ACTION_COUNT = sizeof ACTIONS / sizeof ACTIONS[0] };

const char *access_resource_name(unsigned resource)
{
    return resource < ACCESS_RESOURCE_COUNT ? RESOURCES[resource].name : NULL;
}

const char *access_action_name(unsigned action)
{
    for (unsigned i = 0; i < ACTION_COUNT; i++) {
        if (action == 1U << i) {
            return ACTIONS[i];
        }
    }
    return NULL;
}

static bool grants(const struct grant *grant, unsigned roles, unsigned resource, unsigned action)
{
    return grant->resource == resource && (grant->roles & roles) != 0 &&
           (grant->actions & action) != 0;
}

unsigned access_roles(unsigned resource, unsigned action)
{
    unsigned roles = 0;
    for (size_t i = 0; i < GRANT_COUNT; i++) {
        if (grants(&GRANTS[i], ROLE_ANY, resource, action)) {
            roles |= GRANTS[i].roles;
        }
    }
    return roles;
}

static bool within_scopes(const struct principal *principal, unsigned resource, unsigned action)
{
    struct access_scopes scopes;
    const char *bad = NULL;
    return principal->scopes == NULL || (access_scopes_read(principal->scopes, &scopes, &bad) &&
                                         (scopes.actions[resource] & action) != 0);
}

bool access_allowed(const struct principal *principal, unsigned resource, unsigned action)
{
    return resource < ACCESS_RESOURCE_COUNT &&
           (access_roles(resource, action) & principal->roles) != 0 &&
           within_scopes(principal, resource, action);
}

unsigned access_reach(const struct principal *principal, unsigned resource, unsigned action)
{
    unsigned reach = STORE_REACH_NOBODY;
    if (!access_allowed(principal, resource, action)) {
        return reach;
    }
    for (size_t i = 0; i < GRANT_COUNT; i++) {
        if (grants(&GRANTS[i], principal->roles, resource, action)) {
            reach |= GRANTS[i].reach;
        }
    }
    return reach;
}

static unsigned find_name(const char *text, size_t length, const char *const names[], size_t count)
{
    for (unsigned i = 0; i < count; i++) {
        if (strlen(names[i]) == length && strncmp(names[i], text, length) == 0) {
            return i;
        }
    }
    return (unsigned)count;
}

static unsigned find_resource(const char *text, size_t length)
{
    const char *names[ACCESS_RESOURCE_COUNT];
    for (size_t i = 0; i < ACCESS_RESOURCE_COUNT; i++) {
        names[i] = RESOURCES[i].name;
    }
    return find_name(text, length, names, ACCESS_RESOURCE_COUNT);
}

bool access_scopes_read(const char *text, struct access_scopes *ret_scopes, const char **ret_bad)
{
    *ret_scopes = (struct access_scopes){0};
    for (;;) {
        *ret_bad = text;
        size_t length = strcspn(text, " ");
        size_t colon = strcspn(text, ": ");
        unsigned resource = find_resource(text, colon);
        unsigned action = ACTION_COUNT;
        if (colon < length) {
            action = find_name(text + colon + 1, length - colon - 1, ACTIONS, ACTION_COUNT);
        }
        if (resource == ACCESS_RESOURCE_COUNT || resource == ACCESS_PUBLIC ||
            action == ACTION_COUNT) {
            return false;
        }
        ret_scopes->actions[resource] |= 1U << action;
        if (text[length] == '\0') {
            *ret_bad = NULL;
            return true;
        }
        text += length + 1;
    }
}

/* ---- the page ---- */

static const char *reach_words(unsigned reach)
{
    switch (reach) {
    case STORE_REACH_OPEN:
        return " (open work)";
    case STORE_REACH_REFERRED:
        return " (referred, signed)";
    default:
        return "";
    }
}

static void append_cell(struct text *out, unsigned resource, unsigned role)
{
    const char *separator = "";
    for (size_t i = 0; i < GRANT_COUNT; i++) {
        if (!grants(&GRANTS[i], role, resource, ACCESS_ANY_ACTION)) {
            continue;
        }
        for (unsigned a = 0; a < ACTION_COUNT; a++) {
            if (GRANTS[i].actions & 1U << a) {
                text_printf(out, "%s%s", separator, ACTIONS[a]);
                separator = ", ";
            }
        }
        text_append(out, reach_words(GRANTS[i].reach));
    }
    if (separator[0] == '\0') {
        text_append(out, "–");
    }
}

static void append_row(struct text *out, unsigned resource)
{
    text_printf(out, "| `%s`: %s |", RESOURCES[resource].name, RESOURCES[resource].meaning);
    for (unsigned role = 1; role <= ROLE_ANY; role <<= 1) {
        text_append_char(out, ' ');
        append_cell(out, resource, role);
        text_append(out, " |");
    }
    text_append_char(out, '\n');
}

void access_append_page(struct text *out)
{
    text_append(out, "# Who may do what\n\n"
                     "Made by `penstock-server access` from the table that the server asks before "
                     "any request is served. Nobody may do what is not in it, and nobody reaches "
                     "another clinic. *Open work*: studies that are not signed and the patients "
                     "who have one; a patient just made by the same caller, or named by record "
                     "number and birth date together. *Referred, signed*: final or amended studies "
                     "of patients whom the reader has referred. Emergency access opens one more "
                     "patient for an hour. The roles of one account add up. A token's `scopes` are "
                     "`resource:action` pairs of this table and allow nothing that its roles do "
                     "not.\n\n| |");
    for (unsigned role = 1; role <= ROLE_ANY; role <<= 1) {
        text_printf(out, " %s |", role_name(role));
    }
    text_append(out, "\n| --- |");
    for (unsigned role = 1; role <= ROLE_ANY; role <<= 1) {
        text_append(out, " --- |");
    }
    text_append_char(out, '\n');
    for (unsigned resource = ACCESS_PUBLIC + 1; resource < ACCESS_RESOURCE_COUNT; resource++) {
        append_row(out, resource);
    }
}
