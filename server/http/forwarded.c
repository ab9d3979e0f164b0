/* Who the client is: what the connection says or, where a trusted proxy stands in between, what
 * that one says. X-Forwarded-* and not Forwarded (RFC 7239), which fewer proxies write, and two
 * spellings of one thing could contradict each other. */
#include "http/exchange.h"

#include "http/field.h"

#include <string.h>
#include <strings.h>

static const char *const fields_of_proxies[] = {"X-Forwarded-For", "X-Forwarded-Proto",
                                                "X-Forwarded-Host", "Penstock-Client-Certificate"};

/* A proxy that adds to what the client has sent adds on the right. */
static struct slice last_of(const char *list)
{
    struct field_element element = {{"", 0}, {"", 0}};
    struct slice last = {"", 0};
    while (field_next_element(&list, &element)) {
        last = element.value;
    }
    return last;
}

static bool refuse(struct exchange *exchange, const char *field)
{
    http_problem(&exchange->request, &exchange->response, 400,
                 "The header field %s, as the proxy sent it, is malformed.", field);
    return false;
}

static bool read_scheme(struct exchange *exchange)
{
    const char *scheme = http_request_header(&exchange->request, "X-Forwarded-Proto");
    if (scheme == NULL) {
        return true;
    }
    struct slice last = last_of(scheme);
    exchange->request.secure = slice_equals(last, "https");
    return exchange->request.secure || slice_equals(last, "http") ||
           refuse(exchange, "X-Forwarded-Proto");
}

static bool read_host(struct exchange *exchange)
{
    struct http_request *request = &exchange->request;
    const char *host = http_request_header(request, "X-Forwarded-Host");
    if (host == NULL) {
        return true;
    }
    struct slice last = last_of(host);
    request->host = arena_strndup(request->arena, last.start, last.length);
    return headers_is_host(request->host) || refuse(exchange, "X-Forwarded-Host");
}

/* SHA-256 in hexadecimal of either case; "" where the client has shown no certificate. */
static bool read_certificate(struct exchange *exchange)
{
    static const char digits[] = "0123456789abcdef";
    struct http_request *request = &exchange->request;
    const char *value = http_request_header(request, "Penstock-Client-Certificate");
    if (value == NULL || value[0] == '\0') {
        return true;
    }
    char *text = arena_strdup(request->arena, value);
    for (char *at = text; *at != '\0'; at++) {
        *at = *at >= 'A' && *at <= 'F' ? (char)(*at - 'A' + 'a') : *at;
    }
    request->client_certificate = text;
    return (strlen(text) == TLS_FINGERPRINT_SIZE - 1 && text[strspn(text, digits)] == '\0') ||
           refuse(exchange, "Penstock-Client-Certificate");
}

/* The certificate of a connection is verified once, when its first request comes. */
static const char *own_certificate(struct exchange *exchange)
{
    struct client *client = exchange->client;
    if (exchange->server->tls == NULL || client->session == NULL) {
        return NULL;
    }
    if (!client->certificate_read) {
        client->certificate_read = true;
        client->certified = tls_client_fingerprint(client->session, client->certificate);
    }
    return client->certified ? client->certificate : NULL;
}

bool exchange_find_client(struct exchange *exchange)
{
    struct http_request *request = &exchange->request;
    request->host = http_request_header(request, "Host");
    if (!exchange->client->is_proxy) {
        for (size_t i = 0; i < sizeof fields_of_proxies / sizeof fields_of_proxies[0]; i++) {
            headers_remove(&exchange->headers, fields_of_proxies[i]);
        }
        request->client_certificate = own_certificate(exchange);
        return true;
    }
    request->client_address =
        proxies_client(exchange->server->proxies, request->arena, exchange->client->address,
                       http_request_header(request, "X-Forwarded-For"));
    proxies_site(request->client_address, exchange->site);
    return read_scheme(exchange) && read_host(exchange) && read_certificate(exchange);
}
