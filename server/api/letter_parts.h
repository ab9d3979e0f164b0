/* What the handlers of letters have in common: lines that are read, forms that are answered. */
#ifndef API_LETTER_PARTS_H
#define API_LETTER_PARTS_H

#include "api/api.h"
#include "report/document.h"
#include "store/store_letter_dispatch.h"

/* Answers with a document in the form that was asked for: HTML, PDF or text. */
void letter_parts_respond(const struct http_request *request, struct http_response *response,
                          const struct document *document);

/* The same with a letter as it was sent. */
void letter_parts_respond_stored(const struct http_request *request, struct http_response *response,
                                 const struct stored_letter *letter);

/* A member of one line, at most LIMIT_NAME_BYTES; "" when absent or faulty. */
const char *letter_parts_read_line(struct json_reader *reader, const char *member,
                                   enum json_presence presence);

/* A member that is an array of at most `most` such lines, none of them blank, as JSON; "[]" when
 * absent or faulty. */
const char *letter_parts_read_lines(struct json_reader *reader, const char *member, size_t most);

/* Ways in which a letter is sent, NULL at the end. */
extern const char *const LETTER_WAYS[];

/* Appends a letter that was sent as a JSON object. */
void letter_parts_append_dispatch(struct text *out, const struct letter_dispatch *dispatch);

#endif
