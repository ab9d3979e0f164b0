/* ID tokens under libFuzzer: whatever the bytes, nothing crashes, and nothing is taken that the
 * known key did not sign or that says something else than it has to. The first byte says what the
 * rest is:
 *   T  a token
 *   C  claims, which are then signed rightly
 *   H  a header, likewise
 *   M  changes to a good token: two bytes for the place, one for the character
 *   K  the provider's keys, for a good token
 */
#include "promise.h"

#include "auth/id_token.h"

#include <cjose/cjose.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ISSUER "https://sso.tarn-valley.example"
#define CLIENT "penstock"
#define NONCE  "n-0S6_WzA2Mj"
#define CLAIMS                                                                                     \
    "{\"iss\":\"" ISSUER "\",\"aud\":\"" CLIENT "\",\"sub\":\"u-17\",\"exp\":1780000300,"          \
    "\"iat\":1779999990,\"nonce\":\"" NONCE "\"}"
#define HEADER "{\"alg\":\"ES256\",\"kid\":\"e1\"}"

/* The key of RFC 7515, appendix A.3. */
#define KEY_X "f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU"
#define KEY_Y "x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0"
#define KEY_D "jpsQnnGQmL-YBIffH1136cspYG6-0iY7X1fCE9-E9LI"

static const int64_t NOW_S = 1780000000;

static const struct id_token_expectation expected = {ISSUER, CLIENT, NONCE, NOW_S};

static cjose_jwk_t *key;
static json_t *keys;
static char *good_token;

static void require(bool holds, const char *what)
{
    if (!holds) {
        fprintf(stderr, "broken: %s\n", what);
        abort();
    }
}

/* NULL when cjose does not sign with such a header. */
static char *sign(json_t *header, const uint8_t *claims, size_t length)
{
    cjose_err error;
    const char *text = NULL;
    cjose_jws_t *jws = cjose_jws_sign(key, header, claims, length, &error);
    char *token = jws != NULL && cjose_jws_export(jws, &text, &error) ? strdup(text) : NULL;
    cjose_jws_release(jws);
    return token;
}

static void make_ready(void)
{
    static const char private_key[] =
        "{\"kty\":\"EC\",\"crv\":\"P-256\",\"kid\":\"e1\",\"x\":\"" KEY_X "\",\"y\":\"" KEY_Y
        "\",\"d\":\"" KEY_D "\"}";
    cjose_err error;
    key = cjose_jwk_import(private_key, sizeof private_key - 1, &error);
    keys = json_pack("{s:[{ss,ss,ss,ss,ss}]}", "keys", "kty", "EC", "crv", "P-256", "kid", "e1",
                     "x", KEY_X, "y", KEY_Y);
    json_t *header = json_loads(HEADER, 0, NULL);
    good_token = sign(header, (const uint8_t *)CLAIMS, strlen(CLAIMS));
    json_decref(header);
    require(key != NULL && keys != NULL && good_token != NULL, "the test itself");
}

static bool is_taken(const char *token, const json_t *set)
{
    struct arena *arena = arena_new();
    struct id_token_person person = {0};
    bool taken = id_token_check(arena, token, set, &expected, &person) == ID_TOKEN_GOOD;
    require(taken == (person.subject != NULL), "a subject comes with a good token only");
    require(!taken || (strlen(person.subject) >= 1 &&
                       strlen(person.subject) <= ID_TOKEN_SUBJECT_MOST_BYTES),
            "the subject's length");
    arena_free(arena);
    return taken;
}

static void check_token(const char *text)
{
    require(!is_taken(text, keys), "a token that nobody signed is taken");
}

static bool says(const json_t *claims, const char *member, const char *wanted)
{
    const char *text = json_string_value(json_object_get(claims, member));
    return text != NULL && strcmp(text, wanted) == 0;
}

static void check_claims(const char *text, size_t length)
{
    json_t *header = json_loads(HEADER, 0, NULL);
    char *token = sign(header, (const uint8_t *)text, length);
    if (token != NULL && is_taken(token, keys)) {
        json_t *claims = json_loadb(text, length, JSON_REJECT_DUPLICATES, NULL);
        double expires_at = json_number_value(json_object_get(claims, "exp"));
        double issued_at = json_number_value(json_object_get(claims, "iat"));
        double now = (double)NOW_S;
        require(says(claims, "iss", ISSUER) && says(claims, "nonce", NONCE), "iss or nonce");
        require(json_is_array(json_object_get(claims, "aud")) || says(claims, "aud", CLIENT),
                "aud");
        require(expires_at > now - 60 && issued_at <= now + 60 && issued_at >= now - 660,
                "the times");
        json_decref(claims);
    }
    free(token);
    json_decref(header);
}

static void check_header(const char *text, size_t length)
{
    static const char *const refused[] = {"crit", "jwk", "jku", "x5u", "b64"};
    json_t *header = json_loadb(text, length, 0, NULL);
    char *token =
        json_is_object(header) ? sign(header, (const uint8_t *)CLAIMS, strlen(CLAIMS)) : NULL;
    if (token != NULL && is_taken(token, keys)) {
        require(says(header, "alg", "ES256"), "alg");
        for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
            require(json_object_get(header, refused[i]) == NULL, refused[i]);
        }
    }
    free(token);
    json_decref(header);
}

static void check_changes(const uint8_t *bytes, size_t size)
{
    char *token = strdup(good_token);
    size_t length = strlen(token);
    for (size_t i = 0; i + 2 < size; i += 3) {
        size_t place = (size_t)(bytes[i] << 8 | bytes[i + 1]) % length;
        token[place] = (char)bytes[i + 2];
    }
    require(is_taken(token, keys) == (strcmp(token, good_token) == 0),
            "a token is taken as it was signed, and no other");
    free(token);
}

static void check_keys(const char *text, size_t length)
{
    json_t *set = json_loadb(text, length, JSON_REJECT_DUPLICATES, NULL);
    if (set != NULL && is_taken(good_token, set)) {
        char *copy = json_dumps(set, 0);
        require(strstr(copy, KEY_X) != NULL, "a token is taken without its key");
        free(copy);
    }
    json_decref(set);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    if (key == NULL) {
        make_ready();
    }
    if (size == 0) {
        return 0;
    }
    /* With a NUL, and of its own size, so that reading past it is seen. */
    size_t length = size - 1;
    char *text = calloc(1, length + 1);
    if (text == NULL) {
        return 0;
    }
    memcpy(text, bytes + 1, length);
    switch (bytes[0]) {
    case 'T':
        check_token(text);
        break;
    case 'C':
        check_claims(text, length);
        break;
    case 'H':
        check_header(text, length);
        break;
    case 'M':
        check_changes(bytes + 1, length);
        break;
    case 'K':
        check_keys(text, length);
        break;
    default:
        break;
    }
    free(text);
    return 0;
}
