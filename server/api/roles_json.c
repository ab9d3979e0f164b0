#include "api/roles_json.h"

#include "formats/limits.h"
#include "store/store_account.h"

static const char *all_role_names(struct arena *arena)
{
    struct text names;
    text_init(&names, arena, LIMIT_NAME_BYTES);
    for (unsigned role = 1; role <= ROLE_ANY; role <<= 1) {
        text_append(&names, role == 1 ? "" : ", ");
        text_append(&names, role_name(role));
    }
    return names.data;
}

static unsigned read_role(struct json_reader *reader, const json_t *item, size_t index,
                          unsigned roles)
{
    const char *pointer =
        fault_pointer_index(reader->faults->arena, json_reader_pointer(reader, "roles"), index);
    const char *name = json_string_value(item);
    unsigned role = name == NULL ? 0 : role_from_name(name);
    if (role == 0) {
        fault_add(reader->faults, pointer, "Must be one of %s.",
                  all_role_names(reader->faults->arena));
    } else if (roles & role) {
        fault_add(reader->faults, pointer, "Is named twice.");
    }
    return role;
}

unsigned roles_json_read(struct json_reader *reader, enum json_presence presence)
{
    const json_t *array = json_reader_take(reader, "roles", presence);
    if (array == NULL) {
        return 0;
    }
    if (!json_is_array(array) || json_array_size(array) == 0) {
        fault_add(reader->faults, json_reader_pointer(reader, "roles"),
                  "Must be an array of at least one role.");
        return 0;
    }
    unsigned roles = 0;
    for (size_t i = 0; i < json_array_size(array); i++) {
        roles |= read_role(reader, json_array_get(array, i), i, roles);
    }
    return roles;
}

void roles_json_append(struct text *out, unsigned roles)
{
    const char *separator = "";
    text_append(out, "\"roles\":[");
    for (unsigned role = 1; role <= ROLE_ANY; role <<= 1) {
        if (roles & role) {
            text_printf(out, "%s\"%s\"", separator, role_name(role));
            separator = ",";
        }
    }
    text_append_char(out, ']');
}
