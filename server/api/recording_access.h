/* What the handlers about recordings share: finding one, refusing what its state forbids. */
#ifndef API_RECORDING_ACCESS_H
#define API_RECORDING_ACCESS_H

#include "api/api.h"
#include "store/store_chunk.h"

/* What a handler needs the recording to be. */
enum recording_need {
    RECORDING_ANY,
    RECORDING_NOT_WITHDRAWN, /* else 410 with the reason */
    RECORDING_IN_PIECES,     /* nor come in one request, else 410 or 409 */
    RECORDING_ANALYSED       /* neither withdrawn nor open, else 410 or 409 */
};

/* Reads the recording that the path names. False when there is none or it is not what is needed;
 * the answer is then set. */
MUST_CHECK bool recording_find(struct api_context *context, const struct http_request *request,
                               struct http_response *response, enum recording_need need,
                               struct recording_row *ret_row);

/* Whether a recording that was found is what is needed; otherwise answers. For a handler that tells
 * of faults in the request first. */
MUST_CHECK bool recording_is(struct api_context *context, const struct http_request *request,
                             struct http_response *response, enum recording_need need,
                             const struct recording_row *row);

/* Answers a store's error about a recording: 409 in words that fit its detail, else api_fail(). */
void recording_fail(const struct http_request *request, struct http_response *response,
                    const struct error *error);

/* The opening document of a recording that came in pieces, which this server has checked before. */
MUST_CHECK bool recording_read_opening(struct arena *arena, const struct recording_row *row,
                                       const struct recording_document **ret_opening,
                                       struct error *reterr);

/* Answers with a recording and its newest analysis.
 * status   200, or 201 with its Location
 * mapping  how a file's signals were understood, a JSON object, or NULL */
void recording_respond_analysed(struct api_context *context, const struct http_request *request,
                                struct http_response *response, int status, const char *id,
                                const char *mapping);

/* Answers with a recording alone, and which of its pieces have arrived. */
void recording_respond(struct api_context *context, const struct http_request *request,
                       struct http_response *response, int status, const char *id);

#endif
