#include "api/public_address.h"

#include <string.h>

enum { SHORT_ID_LENGTH = 8 };

const char *api_configured_address(const struct api_context *context, struct arena *arena,
                                   const char *path)
{
    const char *origin = context->settings->public_url;
    if (origin == NULL || origin[0] == '\0') {
        return NULL;
    }
    size_t length = strlen(origin);
    length -= origin[length - 1] == '/' ? 1 : 0;
    return arena_printf(arena, "%.*s%s", (int)length, origin, path);
}

const char *api_public_address(const struct api_context *context,
                               const struct http_request *request, const char *path)
{
    const char *address = api_configured_address(context, request->arena, path);
    if (address != NULL || request->host == NULL || request->host[0] == '\0') {
        return address;
    }
    return arena_printf(request->arena, "%s://%s%s", request->secure ? "https" : "http",
                        request->host, path);
}

const char *api_study_code(const struct api_context *context, struct arena *arena,
                           const char *study_id)
{
    return api_configured_address(context, arena, arena_printf(arena, "/r/%s", study_id));
}

const char *api_short_id(struct arena *arena, const char *id)
{
    size_t length = strlen(id);
    return arena_strdup(arena, length > SHORT_ID_LENGTH ? id + length - SHORT_ID_LENGTH : id);
}
