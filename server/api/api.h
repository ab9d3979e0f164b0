/* What every handler shares: who asks, the open transaction, and the usual answers.
 *
 * A handler is a straight line: read the input, check it, compute or store, answer. Dispatch has
 * authenticated the caller, checked the route's roles and begun a transaction before it runs, and
 * commits (status below 400) or rolls back afterwards. */
#ifndef API_API_H
#define API_API_H

#include "api/audit.h"
#include "base/text.h"
#include "formats/json_reader.h"
#include "formats/limits.h"
#include "formats/recording_json.h"
#include "http/http.h"
#include "store/store_account.h"

#include <stdbool.h>
#include <stddef.h>

enum { API_CURSOR_LIMIT = 512, API_PAGE_DEFAULT = 50, API_PAGE_MAX = 200, API_ETAG_SIZE = 32 };

/* Flags of a route beyond those of the transport. */
enum api_route_flags {
    API_ROUTE_OWN_TRANSACTION =
        1 << 16,                       /* the handler begins and commits by itself, or needs none */
    API_ROUTE_PAGE = 1 << 17,          /* a page for people: without a session, go to /sign-in */
    API_ROUTE_CHECKS_CALLER = 1 << 18, /* public to the transport; dispatch still wants a caller */
    /* Open to a session that owes something (enum principal_owes): */
    API_ROUTE_WHILE_OWING = 1 << 19,       /* whatever it is */
    API_ROUTE_WHILE_OWING_FACTOR = 1 << 20 /* a second factor, but no new password */
};

struct document_signer;
struct openid;
struct sealing_key;

/* Settings that handlers depend on; lives as long as the server. */
struct api_settings {
    bool secure_cookies;                           /* for every session */
    bool follow_cookies;                           /* for those that begin over TLS */
    struct openid *openid;                         /* single sign-on; NULL: not offered */
    const struct sealing_key *sealing_key;         /* NULL: second factors cannot be set up */
    const struct document_signer *document_signer; /* of signed reports; NULL: no key is used */
    const char *public_url; /* this server, as browsers see it: "https://host"; "": not known */
};

struct api_context {
    const struct api_settings *settings;
    struct store *store;
    struct principal principal; /* empty on public routes */
    unsigned reach;             /* whose data the caller may see here: bits of enum store_reach */
    struct api_audit audit;     /* what the handler adds to the entry of this request */
};

/* Session cookie's name. */
#define API_SESSION_COOKIE "penstock_session"

/* Types of problems that a program has to tell apart, for http_problem_of_type(). */
#define API_PROBLEM_PASSWORD_CHANGE     "password-change-required"
#define API_PROBLEM_SECOND_FACTOR_SETUP "second-factor-setup-required"
#define API_PROBLEM_SECOND_FACTOR       "second-factor-required"
#define API_PROBLEM_SECOND_FACTOR_WRONG "second-factor-wrong"
#define API_PROBLEM_NO_KEY              "second-factor-unavailable"

/* Answers a store's error: 404, 409, 412, 422, 503 or 500. Logs what is ours. */
void api_fail(const struct http_request *request, struct http_response *response,
              const struct error *error);

/* The same for a list: what the store refuses there is the cursor, so the answer names it. */
void api_fail_list(const struct http_request *request, struct http_response *response,
                   const struct error *error);

/* Reads the JSON body and opens it as an object. False when it is malformed: then the answer is set
 * already. Other faults are only collected; ask api_reject(). */
MUST_CHECK bool api_read_object(const struct http_request *request, struct http_response *response,
                                struct json_reader *reader, struct fault_list *faults);

/* Answers 422 with the faults, if there are any, and says whether it did. */
MUST_CHECK bool api_reject(const struct http_request *request, struct http_response *response,
                           const struct fault_list *faults);

/* Whether a document could be read; otherwise answers with its faults: 400 where it is no document,
 * 422 where it is not the one that is taken here. */
MUST_CHECK bool api_was_read(const struct http_request *request, struct http_response *response,
                             enum json_read_outcome outcome, const struct fault_list *faults);

/* Answers with a text; 500 when it outgrew its limit, since half an answer is none. */
void api_respond_text(const struct http_request *request, struct http_response *response,
                      int status, const char *media_type, const struct text *text);

/* The same as application/json. */
void api_respond_json(const struct http_request *request, struct http_response *response,
                      int status, const struct text *text);

/* The same for one row: its ETag, and with 201 its Location "<collection>/<id>". */
void api_respond_row(const struct http_request *request, struct http_response *response, int status,
                     const struct text *text, int version, const char *collection, const char *id);

/* Reads the page of a list that has no filters; otherwise answers 422. */
MUST_CHECK bool api_read_page(const struct http_request *request, struct http_response *response,
                              struct store_page *ret_page);

/* A list's `limit` and `cursor` into a page; faults for what is wrong with them. */
struct store_page api_page(const struct http_request *request, struct fault_list *faults);

/* Ends a list: {"items": [<items>], "next_cursor": …} and the Link header. `items` holds the rows,
 * comma-separated. */
void api_respond_list(const struct http_request *request, struct http_response *response,
                      const struct text *items, const char *next_cursor);

/* Says in the Link header where the next page is; it keeps the filters of this one. */
void api_link_next(const struct http_request *request, struct http_response *response,
                   const char *next_cursor);

/* The same with one more member, a string or null, that is about the whole list. */
void api_respond_list_about(const struct http_request *request, struct http_response *response,
                            const struct text *items, const char *next_cursor, const char *member,
                            const char *value);

/* Appends "name=value&" for each filter of a list that the request has. */
void api_append_filters(struct text *out, const struct http_request *request);

/* Says after how many seconds the same request may succeed. */
void api_retry_after(const struct http_request *request, struct http_response *response,
                     int wait_s);

/* Sets "\"<number>\"" as the answer's ETag. */
void api_set_etag(const struct http_request *request, struct http_response *response, int number);

/* Sets an ETag made from the answer's body, for what has no version of its own. */
void api_set_content_etag(const struct http_request *request, struct http_response *response);

/* Whether If-Match names version `number`; otherwise answers 412. */
MUST_CHECK bool api_matches(const struct http_request *request, struct http_response *response,
                            int number);

/* Whether a person asks, by a session; otherwise answers 403. For what no program is to do: a token
 * has no password and no second factor, and may lie in some configuration file. */
MUST_CHECK bool api_is_person(const struct api_context *context, const struct http_request *request,
                              struct http_response *response);

/* The brace segment `index` if it is a well-formed id; otherwise answers 404 and gives NULL. */
const char *api_path_id(const struct http_request *request, struct http_response *response,
                        size_t index);

/* A query parameter as a whole number within [least, most]; `fallback` when absent, and a fault
 * when it is anything else. */
int api_query_integer(const struct http_request *request, const char *name, int least, int most,
                      int fallback, struct fault_list *faults);

/* A query parameter that is "true" or "false"; false when absent, and a fault when it is anything
 * else. */
bool api_query_flag(const struct http_request *request, const char *name,
                    struct fault_list *faults);

/* The span that a list is about: `from` and `to` as RFC 3339 times, or `date`, a day in UTC. 0: no
 * bound. */
void api_query_span(const struct http_request *request, int64_t *ret_from_us, int64_t *ret_to_us,
                    struct fault_list *faults);

/* A query parameter as a finite number; not known when absent or faulty. */
struct optional_number api_query_number(const struct http_request *request, const char *name,
                                        struct fault_list *faults);

/* An optional `id` of a document: NULL when absent, a fault when not a UUID. */
const char *api_read_id(struct json_reader *reader);

/* An RFC 3339 member as microseconds, from 1990 to 2100; 0 when absent or faulty. */
int64_t api_read_time(struct json_reader *reader, const char *member, enum json_presence presence);

/* An optional member that is a whole number within [least, most]; `fallback` when absent or faulty.
 */
int api_read_whole(struct json_reader *reader, const char *member, int least, int most,
                   int fallback);

/* A string that a merge patch (RFC 7396) may change: `current` when absent, "" when null. */
const char *api_patch_string(struct json_reader *reader, const char *member, size_t limit,
                             const char *current);

/* The same for a string that must not become blank; null is a fault. */
const char *api_patch_required_string(struct json_reader *reader, const char *member, size_t limit,
                                      const char *current);

/* A fault when a merge patch would remove what must be there. */
void api_refuse_null(struct json_reader *reader, const char *member);

/* Appends a value as it stands in a query, percent-encoded (RFC 3986). */
void api_append_query_value(struct text *out, const char *value);

/* Appends "name": "RFC 3339 time". */
void api_append_time(struct text *text, const char *name, int64_t time_us);

/* Appends "name": "string". */
void api_append_string(struct text *text, const char *name, const char *value);

#endif
