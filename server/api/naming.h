/* A brake on trying out who is a patient: whoever reaches open work only may name others by record
 * number and birth date, and learns from the answer whether there is such a person. */
#ifndef API_NAMING_H
#define API_NAMING_H

#include "api/api.h"

/* Counts a naming before it is made. False: there were too many that found nobody, and `response`
 * is the answer (429). The transaction of the request begins anew; nothing may have been asked in
 * it. */
MUST_CHECK bool naming_claim(struct api_context *context, const struct http_request *request,
                             struct http_response *response);

/* Takes it back: it found somebody. A transaction that only read ends with it; nothing may be asked
 * after this. False: `response` is the answer. */
MUST_CHECK bool naming_return(struct api_context *context, const struct http_request *request,
                              struct http_response *response);

#endif
