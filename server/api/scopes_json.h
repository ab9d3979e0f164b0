/* A token's scopes as a JSON array of "resource:action". */
#ifndef API_SCOPES_JSON_H
#define API_SCOPES_JSON_H

#include "base/text.h"
#include "formats/json_reader.h"

/* Reads `scopes` as access_scopes_read() takes them: at least one, none twice, each known and
 * allowed by one of `roles`. NULL when absent (a fault when one of the roles is integration) or
 * faulty. */
const char *scopes_json_read(struct json_reader *reader, unsigned roles);

/* Appends "scopes": [...]. */
void scopes_json_append(struct text *out, const char *scopes);

#endif
