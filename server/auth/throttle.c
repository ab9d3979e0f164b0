#include "auth/throttle.h"

#include <arpa/inet.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>

void throttle_network(const char *address, char network[THROTTLE_NETWORK_SIZE])
{
    unsigned char bytes[16];
    static const unsigned char mapped[12] = {[10] = 0xff, [11] = 0xff};
    if (inet_pton(AF_INET6, address, bytes) != 1) {
        (void)snprintf(network, THROTTLE_NETWORK_SIZE, "%s", address);
    } else if (memcmp(bytes, mapped, sizeof mapped) == 0) {
        (void)inet_ntop(AF_INET, bytes + sizeof mapped, network, THROTTLE_NETWORK_SIZE);
    } else {
        memset(bytes + 8, 0, 8);
        (void)inet_ntop(AF_INET6, bytes, network, THROTTLE_NETWORK_SIZE - 4);
        (void)snprintf(network + strlen(network), 4, "/64");
    }
}

/* With the NUL between them, so that no two pairs make the same text. */
static void make_key(unsigned char key[SECRET_HASH_BYTES], const char *what, const char *first,
                     const char *second)
{
    crypto_hash_sha256_state state;
    crypto_hash_sha256_init(&state);
    crypto_hash_sha256_update(&state, (const unsigned char *)what, strlen(what) + 1);
    crypto_hash_sha256_update(&state, (const unsigned char *)first, strlen(first) + 1);
    crypto_hash_sha256_update(&state, (const unsigned char *)second, strlen(second) + 1);
    crypto_hash_sha256_final(&state, key);
}

/* As the database compares names that may exist: they are ASCII. */
static void lower(const char *username, char *text, size_t size)
{
    size_t i = 0;
    for (; i + 1 < size && username[i] != '\0'; i++) {
        char c = username[i];
        text[i] = (char)(c >= 'A' && c <= 'Z' ? c + ('a' - 'A') : c);
    }
    text[i] = '\0';
}

static struct attempt_count counted(const char *what, const char *first, const char *second,
                                    int most, int span_s)
{
    struct attempt_count count = {.most = most, .span_s = span_s};
    make_key(count.key, what, first, second);
    return count;
}

bool throttle_begin(struct throttle *throttle, struct store *store, const char *username,
                    const char *address, const char *browser, int *ret_wait_s, struct error *reterr)
{
    char name[256];
    char network[THROTTLE_NETWORK_SIZE];
    lower(username, name, sizeof name);
    throttle_network(address, network);
    *throttle = (struct throttle){
        .store = store,
        .has_browser = browser != NULL,
        .counts = {counted("name and address", name, network, THROTTLE_PAIR_MOST, THROTTLE_SPAN_S),
                   counted("name", name, "", THROTTLE_NAME_MOST, THROTTLE_NAME_SPAN_S),
                   counted("address", network, "", THROTTLE_ADDRESS_MOST, THROTTLE_SPAN_S)},
    };
    make_key(throttle->browser.account_key, "account", name, "");
    secret_hash(browser == NULL ? "" : browser, throttle->browser.browser_hash);
    *ret_wait_s = 0;
    if (throttle->has_browser &&
        !browser_claim(store, &throttle->browser, THROTTLE_BROWSER_MOST, THROTTLE_SPAN_S,
                       &throttle->is_known, ret_wait_s, reterr)) {
        return false;
    }
    throttle->code = counted("code", name, throttle->is_known && browser != NULL ? browser : "",
                             THROTTLE_CODE_MOST, THROTTLE_SPAN_S);
    return throttle->is_known || attempt_claim(store, throttle->counts, 3, ret_wait_s, reterr);
}

bool throttle_return(const struct throttle *throttle, struct error *reterr)
{
    return throttle->is_known ? browser_return(throttle->store, &throttle->browser,
                                               THROTTLE_BROWSER_LIFE_S, reterr)
                              : attempt_return(throttle->store, throttle->counts, 3, reterr);
}

bool throttle_succeed(const struct throttle *throttle, const char *browser,
                      char secret[SECRET_TEXT_SIZE], struct error *reterr)
{
    struct known_browser trusted = throttle->browser;
    bool is_ours = throttle->is_known;
    if (!is_ours &&
        (!attempt_return(throttle->store, throttle->counts, 3, reterr) ||
         (throttle->has_browser &&
          !browser_is_known(throttle->store, trusted.browser_hash, &is_ours, reterr)))) {
        return false;
    }
    if (is_ours && browser != NULL && strlen(browser) < SECRET_TEXT_SIZE) {
        (void)snprintf(secret, SECRET_TEXT_SIZE, "%s", browser);
    } else {
        secret_new("", secret);
        secret_hash(secret, trusted.browser_hash);
    }
    return browser_trust(throttle->store, &trusted, THROTTLE_BROWSER_LIFE_S, reterr);
}

bool throttle_code(struct throttle *throttle, int *ret_wait_s, struct error *reterr)
{
    return attempt_claim(throttle->store, &throttle->code, 1, ret_wait_s, reterr);
}

bool throttle_code_return(const struct throttle *throttle, struct error *reterr)
{
    return attempt_return(throttle->store, &throttle->code, 1, reterr);
}

struct attempt_count throttle_inside(const char *account_id)
{
    return counted("inside", account_id, "", THROTTLE_INSIDE_MOST, THROTTLE_SPAN_S);
}

struct attempt_count throttle_naming(const char *principal_id)
{
    return counted("naming", principal_id, "", THROTTLE_NAMING_MOST, THROTTLE_SPAN_S);
}

struct attempt_count throttle_single_sign_on(const char *address)
{
    char network[THROTTLE_NETWORK_SIZE];
    throttle_network(address, network);
    return counted("single sign-on", network, "", THROTTLE_SINGLE_MOST, THROTTLE_SINGLE_SPAN_S);
}
