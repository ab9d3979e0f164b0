#include "api/scopes_json.h"

#include "auth/access.h"
#include "formats/limits.h"

#include <string.h>

enum { SCOPES_LIMIT = 4000 }; /* as the table has it */

/* The resource and the action of one scope. */
static bool read_scope(const char *text, unsigned *ret_resource, unsigned *ret_action)
{
    struct access_scopes scopes;
    const char *bad = NULL;
    if (text == NULL || strchr(text, ' ') != NULL || !access_scopes_read(text, &scopes, &bad)) {
        return false;
    }
    for (unsigned resource = 0; resource < ACCESS_RESOURCE_COUNT; resource++) {
        if (scopes.actions[resource] != 0) {
            *ret_resource = resource;
            *ret_action = scopes.actions[resource];
        }
    }
    return true;
}

static void append_scope(struct json_reader *reader, const json_t *item, size_t index,
                         unsigned roles, struct access_scopes *named, struct text *out)
{
    const char *pointer =
        fault_pointer_index(reader->faults->arena, json_reader_pointer(reader, "scopes"), index);
    const char *text = json_string_value(item);
    unsigned resource = 0;
    unsigned action = 0;
    if (!read_scope(text, &resource, &action)) {
        fault_add(reader->faults, pointer,
                  "Must be resource:action, such as patients:read: see api-docs/access.md.");
    } else if ((access_roles(resource, action) & roles) == 0) {
        fault_add(reader->faults, pointer, "None of the roles allows this.");
    } else if (named->actions[resource] & action) {
        fault_add(reader->faults, pointer, "Is named twice.");
    } else {
        named->actions[resource] |= action;
        text_append(out, out->length == 0 ? "" : " ");
        text_append(out, text);
    }
}

const char *scopes_json_read(struct json_reader *reader, unsigned roles)
{
    const json_t *array = json_reader_take(reader, "scopes", JSON_OPTIONAL);
    const char *pointer = json_reader_pointer(reader, "scopes");
    if (array == NULL) {
        if (roles & ROLE_INTEGRATION) {
            fault_add(reader->faults, pointer, "Is required with the role integration.");
        }
        return NULL;
    }
    if (!json_is_array(array) || json_array_size(array) == 0) {
        fault_add(reader->faults, pointer, "Must be an array of at least one scope.");
        return NULL;
    }
    struct access_scopes named = {0};
    struct text scopes;
    text_init(&scopes, reader->faults->arena, SCOPES_LIMIT);
    for (size_t i = 0; i < json_array_size(array); i++) {
        append_scope(reader, json_array_get(array, i), i, roles, &named, &scopes);
    }
    return scopes.data;
}

void scopes_json_append(struct text *out, const char *scopes)
{
    text_append(out, "\"scopes\":[");
    for (size_t length = strcspn(scopes, " "); length > 0; length = strcspn(scopes, " ")) {
        text_append_char(out, '"');
        text_append_bytes(out, scopes, length);
        text_append_char(out, '"');
        scopes += length;
        if (*scopes == ' ') {
            text_append_char(out, ',');
            scopes++;
        }
    }
    text_append_char(out, ']');
}
