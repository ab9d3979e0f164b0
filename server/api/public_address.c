#include "api/public_address.h"

#include <string.h>

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

void api_short_id(const char *id, char ret_short[API_SHORT_ID_SIZE])
{
    enum { SHOWN = API_SHORT_ID_SIZE - 1 };

    size_t length = strlen(id);
    const char *end = length > SHOWN ? id + length - SHOWN : id;
    memcpy(ret_short, end, strlen(end) + 1);
}
