/* What handlers of one's own and of others' sessions share. */
#ifndef API_SESSIONS_JSON_H
#define API_SESSIONS_JSON_H

#include "api/api.h"

/* Answers with the sessions of an account. */
void sessions_respond_list(struct api_context *context, const struct http_request *request,
                           struct http_response *response, const char *account_id);

/* Whether it is a person who asks; a program's token has no session: 409. */
MUST_CHECK bool sessions_has_session(const struct api_context *context,
                                     const struct http_request *request,
                                     struct http_response *response);

#endif
