/* A set of roles as a JSON array of names. */
#ifndef API_ROLES_JSON_H
#define API_ROLES_JSON_H

#include "base/text.h"
#include "formats/json_reader.h"

/* Reads `roles`: at least one of the names of enum role, none twice. 0 when absent or faulty. */
unsigned roles_json_read(struct json_reader *reader, enum json_presence presence);

/* Appends "roles": [...]. */
void roles_json_append(struct text *out, unsigned roles);

#endif
