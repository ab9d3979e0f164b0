#include "auth/web_fetch.h"

#include "base/text.h"

#include <arpa/inet.h>
#include <curl/curl.h>
#include <netinet/in.h>
#include <string.h>
#include <strings.h>

bool web_fetch_start(struct error *reterr)
{
    return curl_global_init(CURL_GLOBAL_DEFAULT) == CURLE_OK ||
           error_set(reterr, ERROR_INTERNAL, "libcurl cannot be used");
}

void web_fetch_stop(void)
{
    curl_global_cleanup();
}

/* ---- addresses ---- */

/* A part of an address on the arena; NULL when it has none. */
static const char *part_of(struct arena *arena, CURLU *url, CURLUPart part)
{
    char *text = NULL;
    if (curl_url_get(url, part, &text, 0) != CURLUE_OK) {
        return NULL;
    }
    const char *copy = arena_strdup(arena, text);
    curl_free(text);
    return copy;
}

static bool is_this_machine(const char *host)
{
    struct in_addr four;
    return strcmp(host, "localhost") == 0 || strcmp(host, "[::1]") == 0 ||
           (inet_pton(AF_INET, host, &four) == 1 && ntohl(four.s_addr) >> 24 == IN_LOOPBACKNET);
}

/* libcurl takes one and three slashes for two. */
static bool has_two_slashes(const char *address)
{
    const char *slashes = strchr(address, ':');
    return slashes != NULL && strspn(slashes + 1, "/") == 2;
}

static bool characters_are_plain(const char *address)
{
    for (; *address != '\0'; address++) {
        if (*address <= ' ' || *address > '~' || *address == '\\') {
            return false;
        }
    }
    return true;
}

static bool check_address(struct arena *arena, const char *address, bool origin_only)
{
    CURLU *url = curl_url();
    bool good = url != NULL && curl_url_set(url, CURLUPART_URL, address, 0) == CURLUE_OK;
    if (good) {
        const char *scheme = part_of(arena, url, CURLUPART_SCHEME);
        const char *host = part_of(arena, url, CURLUPART_HOST);
        const char *path = part_of(arena, url, CURLUPART_PATH);
        good = scheme != NULL && host != NULL && host[0] != '\0' &&
               part_of(arena, url, CURLUPART_USER) == NULL &&
               part_of(arena, url, CURLUPART_PASSWORD) == NULL && strchr(address, '#') == NULL &&
               (strcmp(scheme, "https") == 0 ||
                (strcmp(scheme, "http") == 0 && is_this_machine(host))) &&
               (!origin_only ||
                (strchr(address, '?') == NULL && (path == NULL || strcmp(path, "/") == 0)));
    }
    curl_url_cleanup(url);
    return good;
}

static bool is_acceptable(const char *address, bool origin_only)
{
    if (strnlen(address, WEB_ADDRESS_MOST_BYTES + 1) > WEB_ADDRESS_MOST_BYTES ||
        !characters_are_plain(address) || !has_two_slashes(address)) {
        return false;
    }
    struct arena *arena = arena_new();
    bool good = check_address(arena, address, origin_only);
    arena_free(arena);
    return good;
}

bool web_address_is_acceptable(const char *address)
{
    return is_acceptable(address, false);
}

bool web_address_is_origin(const char *address)
{
    return is_acceptable(address, true);
}

const char *web_encode(struct arena *arena, const char *value)
{
    char *encoded = curl_easy_escape(NULL, value, (int)strlen(value));
    const char *copy = arena_strdup(arena, encoded == NULL ? "" : encoded);
    curl_free(encoded);
    return copy;
}

/* ---- asking ---- */

static size_t take_bytes(char *bytes, size_t size, size_t count, void *text)
{
    struct text *body = text;
    text_append_bytes(body, bytes, size * count);
    return body->overflowed ? 0 : size * count;
}

static bool set_options(CURL *curl, const struct web_question *question, struct text *body,
                        struct curl_slist *headers)
{
    long most_ms = (long)(question->most_s * 1000.0);
    const char *scheme = strncasecmp(question->address, "http:", 5) == 0 ? "http" : "https";
    bool good = curl_easy_setopt(curl, CURLOPT_URL, question->address) == CURLE_OK &&
                curl_easy_setopt(curl, CURLOPT_PROTOCOLS_STR, scheme) == CURLE_OK &&
                curl_easy_setopt(curl, CURLOPT_FOLLOWLOCATION, 0L) == CURLE_OK &&
                curl_easy_setopt(curl, CURLOPT_NOSIGNAL, 1L) == CURLE_OK &&
                curl_easy_setopt(curl, CURLOPT_TIMEOUT_MS, most_ms) == CURLE_OK &&
                curl_easy_setopt(curl, CURLOPT_SSL_VERIFYPEER, 1L) == CURLE_OK &&
                curl_easy_setopt(curl, CURLOPT_SSL_VERIFYHOST, 2L) == CURLE_OK &&
                curl_easy_setopt(curl, CURLOPT_SSLVERSION, CURL_SSLVERSION_TLSv1_2) == CURLE_OK &&
                curl_easy_setopt(curl, CURLOPT_HTTPHEADER, headers) == CURLE_OK &&
                curl_easy_setopt(curl, CURLOPT_WRITEFUNCTION, take_bytes) == CURLE_OK &&
                curl_easy_setopt(curl, CURLOPT_WRITEDATA, body) == CURLE_OK;
    if (strcmp(scheme, "http") == 0) { /* this machine: no proxy has to hear of it */
        good = good && curl_easy_setopt(curl, CURLOPT_PROXY, "") == CURLE_OK;
    }
    if (question->ca_file != NULL) {
        good = good && curl_easy_setopt(curl, CURLOPT_CAINFO, question->ca_file) == CURLE_OK &&
               curl_easy_setopt(curl, CURLOPT_CAPATH, NULL) == CURLE_OK;
    }
    if (question->form != NULL) {
        good = good && curl_easy_setopt(curl, CURLOPT_POSTFIELDS, question->form) == CURLE_OK;
    }
    if (question->user != NULL) {
        good = good && curl_easy_setopt(curl, CURLOPT_HTTPAUTH, (long)CURLAUTH_BASIC) == CURLE_OK &&
               curl_easy_setopt(curl, CURLOPT_USERNAME, question->user) == CURLE_OK &&
               curl_easy_setopt(curl, CURLOPT_PASSWORD, question->password) == CURLE_OK;
    }
    return good;
}

bool web_fetch(struct arena *arena, const struct web_question *question,
               struct web_answer *ret_answer, struct error *reterr)
{
    struct text body;
    text_init(&body, arena, WEB_ANSWER_MOST_BYTES);
    CURL *curl = curl_easy_init();
    struct curl_slist *headers = curl_slist_append(NULL, "Accept: application/json");
    if (curl == NULL || headers == NULL || !set_options(curl, question, &body, headers)) {
        curl_slist_free_all(headers);
        curl_easy_cleanup(curl);
        return error_set(reterr, ERROR_UNAVAILABLE, "a request by libcurl cannot be made ready");
    }
    CURLcode code = curl_easy_perform(curl);
    long status = 0;
    (void)curl_easy_getinfo(curl, CURLINFO_RESPONSE_CODE, &status);
    curl_slist_free_all(headers);
    curl_easy_cleanup(curl);
    if (body.overflowed) {
        return error_set(reterr, ERROR_UNAVAILABLE, "the answer is longer than %d bytes",
                         WEB_ANSWER_MOST_BYTES);
    }
    if (code != CURLE_OK) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no answer: %s", curl_easy_strerror(code));
    }
    *ret_answer = (struct web_answer){status, body.data, body.length};
    return true;
}
