/* A page of a heading and a few words, for people who get no other. */
#ifndef API_PLAIN_PAGE_H
#define API_PLAIN_PAGE_H

#include "http/http.h"

#define API_HTML "text/html; charset=utf-8"

/* heading, words  ours, as they stand in HTML */
void api_respond_page(const struct http_request *request, struct http_response *response,
                      int status, const char *heading, const char *words);

#endif
