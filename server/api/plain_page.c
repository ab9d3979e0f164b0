#include "api/plain_page.h"

#include "api/api.h"

void api_respond_page(const struct http_request *request, struct http_response *response,
                      int status, const char *heading, const char *words)
{
    struct text page;
    text_init(&page, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_printf(&page,
                "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                "<title>%s</title>\n"
                "<link rel=\"icon\" href=\"/assets/favicon.svg\" type=\"image/svg+xml\">\n"
                "<link rel=\"stylesheet\" href=\"/assets/penstock.css\">\n</head>\n"
                "<body class=\"brief\">\n<main>\n<h1>%s</h1>\n<p>%s</p>\n</main>\n</body>\n"
                "</html>\n",
                heading, heading, words);
    api_respond_text(request, response, status, API_HTML, &page);
}
