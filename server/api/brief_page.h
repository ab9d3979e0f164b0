/* The brief of a study as a page, and the documents that it leads to: by a link, or for a referrer
 * who has signed in. Everything within a transaction that reaches the study. */
#ifndef API_BRIEF_PAGE_H
#define API_BRIEF_PAGE_H

#include "api/api.h"

struct brief_place {
    const char *study_id;
    const char *clinic_name;
    const char *path; /* of the page, below which report and letter are; of the brief alone */
};

/* Each puts its answer into `response`, also that there is no such document (404) or form (422).
 * False: `reterr` says why there is none, ERROR_NOT_FOUND when the transaction does not reach the
 * study.
 */
MUST_CHECK bool brief_page_respond(struct api_context *context, struct http_request *request,
                                   struct http_response *response, const struct brief_place *place,
                                   struct error *reterr);

/* As it was signed (PDF), or as it is written now (HTML): the query's `form`, "pdf" or "html", or
 * else what the client accepts. The audit says that it was the report. */
MUST_CHECK bool brief_report_respond(struct api_context *context, struct http_request *request,
                                     struct http_response *response,
                                     const struct brief_place *place, struct error *reterr);

/* The letter that was sent last. */
MUST_CHECK bool brief_letter_respond(struct api_context *context, struct http_request *request,
                                     struct http_response *response,
                                     const struct brief_place *place, struct error *reterr);

#endif
