/* What handlers about one patient share. */
#ifndef API_PATIENT_ACCESS_H
#define API_PATIENT_ACCESS_H

#include "api/api.h"

/* Answers a store's error about the patient that a path names: 410 when the patient was erased,
 * else api_fail(). */
void patient_fail(struct api_context *context, const struct http_request *request,
                  struct http_response *response, const char *id, const struct error *error);

#endif
