/* An uploaded recording in whatever form it came: JSON, EDF or CSV. */
#ifndef API_UPLOAD_H
#define API_UPLOAD_H

#include "api/api.h"

struct upload {
    const struct recording_document *document;
    const char *report; /* what was made of a file's signals, as a JSON object, or NULL */
};

/* Reads the body by its media type; what a file does not say comes from the query. False when the
 * answer is set: 400 for what is not of the media type at all, 422 with every fault. */
MUST_CHECK bool upload_read(const struct http_request *request, struct http_response *response,
                            struct upload *ret_upload);

#endif
