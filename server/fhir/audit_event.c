#include "fhir/audit_event.h"

#include "base/clock.h"
#include "store/store_account.h"

#include <inttypes.h>
#include <string.h>

#define DCM         "http://dicom.nema.org/resources/ontology/DCM"
#define EVENT_TYPE  "http://terminology.hl7.org/CodeSystem/audit-event-type"
#define INTERACTION "http://hl7.org/fhir/restful-interaction"
#define ENTITY_TYPE "http://terminology.hl7.org/CodeSystem/audit-entity-type"
#define OBJECT_ROLE "http://terminology.hl7.org/CodeSystem/object-role"

struct coding {
    const char *system;
    const char *code;
    const char *display;
};

/* What has a code of its own in DICOM PS3.16, CID 400 and 401; all else is a RESTful interaction.
 */
static const struct event_rule {
    const char *resource;
    const char *action; /* NULL: any */
    struct coding type;
    struct coding subtype;
} event_rules[] = {
    {"session", "create", {DCM, "110114", "User Authentication"}, {DCM, "110122", "Login"}},
    {"session", "remove", {DCM, "110114", "User Authentication"}, {DCM, "110123", "Logout"}},
    {"emergency_access",
     "create",
     {DCM, "110113", "Security Alert"},
     {DCM, "110127", "Emergency Override Started"}},
    {"accounts",
     "create",
     {DCM, "110113", "Security Alert"},
     {DCM, "110137", "User Security Attributes Changed"}},
    {"accounts",
     "change",
     {DCM, "110113", "Security Alert"},
     {DCM, "110137", "User Security Attributes Changed"}},
    {"audit", NULL, {DCM, "110101", "Audit Log Used"}, {INTERACTION, "read", "read"}},
};

/* http://hl7.org/fhir/R4/valueset-audit-event-action.html and restful-interaction. */
static const struct {
    const char *action;
    const char *letter;
    const char *interaction;
} actions[] = {
    {"read", "R", "read"},     {"create", "C", "create"},  {"change", "U", "update"},
    {"remove", "D", "delete"}, {"restore", "U", "update"},
};

enum {
    RULE_COUNT = sizeof event_rules / sizeof event_rules[0],
    ACTION_COUNT = sizeof actions / sizeof actions[0]
};

static void append_coding(struct text *out, const struct coding *coding)
{
    text_printf(out, "{\"system\":\"%s\",\"code\":\"%s\",\"display\":\"%s\"}", coding->system,
                coding->code, coding->display);
}

static size_t action_of(const struct audit_row *row)
{
    for (size_t i = 0; i < ACTION_COUNT; i++) {
        if (strcmp(actions[i].action, row->action) == 0) {
            return i;
        }
    }
    return 0;
}

static const struct event_rule *rule_of(const struct audit_row *row)
{
    for (size_t i = 0; i < RULE_COUNT; i++) {
        const struct event_rule *rule = &event_rules[i];
        if (strcmp(rule->resource, row->resource) == 0 &&
            (rule->action == NULL || strcmp(rule->action, row->action) == 0)) {
            return rule;
        }
    }
    return NULL;
}

static void append_kind(struct text *out, const struct audit_row *row)
{
    static const struct coding rest = {EVENT_TYPE, "rest", "RESTful Operation"};
    const struct event_rule *rule = rule_of(row);
    const char *interaction = actions[action_of(row)].interaction;
    const struct coding interacts = {INTERACTION, interaction, interaction};
    bool signs_in = rule != NULL && strcmp(row->resource, "session") == 0;
    text_append(out, "\"type\":");
    append_coding(out, rule == NULL ? &rest : &rule->type);
    text_append(out, ",\"subtype\":[");
    append_coding(out, rule == NULL ? &interacts : &rule->subtype);
    text_printf(out, "],\"action\":\"%s\"", signs_in ? "E" : actions[action_of(row)].letter);
}

static void append_time(struct text *out, int64_t time_us)
{
    char time[CLOCK_TEXT_SIZE];
    clock_format(time_us, time);
    text_printf(out, ",\"recorded\":\"%s\"", time);
}

/* http://hl7.org/fhir/R4/valueset-audit-event-outcome.html: 0 success, 4 minor failure (the
 * caller's fault), 8 serious failure. */
static void append_outcome(struct text *out, const struct audit_row *row)
{
    const char *code = "8";
    if (strcmp(row->outcome, "done") == 0) {
        code = "0";
    } else if (strcmp(row->outcome, "refused") == 0) {
        code = "4";
    }
    text_printf(out, ",\"outcome\":\"%s\",\"outcomeDesc\":\"%s", code, row->outcome);
    if (row->status != 0) {
        text_printf(out, ", HTTP status %d", row->status);
    }
    text_append_char(out, '"');
}

/* BTG, "break the glass": the code system ActReason of HL7 v3. */
static void append_purpose(struct text *out, const struct audit_row *row)
{
    static const struct coding emergency = {"http://terminology.hl7.org/CodeSystem/v3-ActReason",
                                            "BTG", "break the glass"};
    const char *separator = "";
    if (!row->emergency && row->reason[0] == '\0') {
        return;
    }
    text_append(out, ",\"purposeOfEvent\":[{");
    if (row->emergency) {
        text_append(out, "\"coding\":[");
        append_coding(out, &emergency);
        text_append_char(out, ']');
        separator = ",";
    }
    if (row->reason[0] != '\0') {
        text_printf(out, "%s\"text\":", separator);
        text_append_json_string(out, row->reason);
    }
    text_append(out, "}]");
}

static void append_identifier(struct text *out, const char *id)
{
    text_printf(out, "\"identifier\":{\"system\":\"urn:ietf:rfc:3986\",\"value\":\"urn:uuid:%s\"}",
                id);
}

static void append_roles(struct text *out, unsigned roles)
{
    const char *separator = ",\"role\":[";
    for (unsigned role = 1; role <= ROLE_ANY; role <<= 1) {
        if (roles & role) {
            text_printf(out, "%s{\"text\":\"%s\"}", separator, role_name(role));
            separator = ",";
        }
    }
    if ((roles & ROLE_ANY) != 0) {
        text_append_char(out, ']');
    }
}

static void append_agent(struct text *out, const struct audit_row *row)
{
    static const struct coding person = {
        "http://terminology.hl7.org/CodeSystem/extra-security-role-type", "humanuser",
        "human user"};
    text_append(out, ",\"agent\":[{");
    if (strcmp(row->actor_kind, "person") == 0) {
        text_append(out, "\"type\":{\"coding\":[");
        append_coding(out, &person);
        text_append(out, "]},");
    }
    if (row->actor_id != NULL) {
        text_append(out, "\"who\":{");
        append_identifier(out, row->actor_id);
        text_append(out, "},");
    }
    if (row->actor_name[0] != '\0') {
        text_append(out, "\"altId\":");
        text_append_json_string(out, row->actor_name);
        text_append(out, ",\"name\":");
        text_append_json_string(out, row->actor_name);
        text_append_char(out, ',');
    }
    text_append(out, "\"requestor\":true");
    append_roles(out, row->actor_roles);
    if (row->address[0] != '\0') {
        /* 2: http://hl7.org/fhir/R4/valueset-network-type.html, an IP address */
        text_append(out, ",\"network\":{\"address\":");
        text_append_json_string(out, row->address);
        text_append(out, ",\"type\":\"2\"}");
    }
    text_append(out, "}]");
}

static void append_patient(struct text *out, const char *id)
{
    static const struct coding type = {ENTITY_TYPE, "1", "Person"};
    static const struct coding role = {OBJECT_ROLE, "1", "Patient"};
    text_printf(out, "{\"what\":{\"reference\":\"Patient/%s\"},\"type\":", id);
    append_coding(out, &type);
    text_append(out, ",\"role\":");
    append_coding(out, &role);
    text_append_char(out, '}');
}

static void append_object(struct text *out, const struct audit_row *row)
{
    static const struct coding type = {ENTITY_TYPE, "2", "System Object"};
    static const struct coding role = {OBJECT_ROLE, "4", "Domain Resource"};
    text_append(out, "{\"what\":{");
    append_identifier(out, row->object_id);
    text_append(out, "},\"type\":");
    append_coding(out, &type);
    text_append(out, ",\"role\":");
    append_coding(out, &role);
    if (row->object_type != NULL) {
        text_append(out, ",\"name\":");
        text_append_json_string(out, row->object_type);
    }
    text_append_char(out, '}');
}

/* The request, by which the server's log names it. */
static void append_request(struct text *out, const struct audit_row *row)
{
    static const struct coding type = {ENTITY_TYPE, "4", "Other"};
    text_append(out, "{\"what\":{\"identifier\":{\"value\":");
    text_append_json_string(out, row->request_id);
    text_append(out, "}},\"type\":");
    append_coding(out, &type);
    text_append(out, ",\"name\":\"X-Request-Id\",\"description\":");
    text_append_json_string(out, row->what);
    text_append_char(out, '}');
}

static void append_entities(struct text *out, const struct audit_row *row)
{
    const char *separator = ",\"entity\":[";
    for (size_t i = 0; i < row->patient_count; i++) {
        text_append(out, separator);
        append_patient(out, row->patient_ids[i]);
        separator = ",";
    }
    if (row->object_id != NULL &&
        (row->object_type == NULL || strcmp(row->object_type, "patients") != 0)) {
        text_append(out, separator);
        append_object(out, row);
        separator = ",";
    }
    if (row->request_id[0] != '\0') {
        text_append(out, separator);
        append_request(out, row);
        separator = ",";
    }
    if (strcmp(separator, ",") == 0) {
        text_append_char(out, ']');
    }
}

void audit_event_append(struct text *out, const struct audit_row *row, const char *clinic_id)
{
    static const struct coding server = {
        "http://terminology.hl7.org/CodeSystem/security-source-type", "4", "Application Server"};
    text_printf(out, "{\"resourceType\":\"AuditEvent\",\"id\":\"%d-%" PRId64 "\",", row->lane,
                row->number);
    append_kind(out, row);
    append_time(out, row->at_us);
    append_outcome(out, row);
    append_purpose(out, row);
    append_agent(out, row);
    text_append(out, ",\"source\":{\"observer\":{");
    append_identifier(out, clinic_id);
    text_append(out, ",\"display\":\"Penstock\"},\"type\":[");
    append_coding(out, &server);
    text_append(out, "]}");
    append_entities(out, row);
    text_append_char(out, '}');
}

/* A name for the entry that is the same whoever asks: RFC 9562, version 8, of its hash. */
static void append_full_url(struct text *out, const struct audit_row *row)
{
    const char *hash = row->hash;
    text_printf(out, "\"urn:uuid:%.8s-%.4s-8%.3s-9%.3s-%.12s\"", hash, hash + 8, hash + 13,
                hash + 17, hash + 20);
}

static void append_link(struct text *out, const char *relation, const char *url)
{
    text_printf(out, "{\"relation\":\"%s\",\"url\":", relation);
    text_append_json_string(out, url);
    text_append_char(out, '}');
}

void audit_event_append_bundle(struct text *out, const struct audit_row *rows, size_t count,
                               const char *clinic_id, const char *self_url, const char *next_url)
{
    text_append(out, "{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"link\":[");
    append_link(out, "self", self_url);
    if (next_url != NULL) {
        text_append_char(out, ',');
        append_link(out, "next", next_url);
    }
    text_append_char(out, ']');
    for (size_t i = 0; i < count; i++) {
        text_append(out, i == 0 ? ",\"entry\":[{\"fullUrl\":" : ",{\"fullUrl\":");
        append_full_url(out, &rows[i]);
        text_append(out, ",\"resource\":");
        audit_event_append(out, &rows[i], clinic_id);
        text_append(out, ",\"search\":{\"mode\":\"match\"}}");
    }
    text_append(out, count > 0 ? "]}" : "}");
}
