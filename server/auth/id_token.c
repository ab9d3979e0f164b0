#include "auth/id_token.h"

#include "formats/json_reader.h"

#include <cjose/cjose.h>
#include <math.h>
#include <sodium.h>
#include <string.h>
#include <strings.h>

/* RFC 7518, sections 3.3 and 3.5: 2048 bits at least. The most bounds what a verification costs. */
enum { MODULUS_LEAST_BYTES = 256, MODULUS_MOST_BYTES = 1024, EXPONENT_MOST_BYTES = 4 };

/* RFC 7518, section 3.4: of a P-256 signature and of a coordinate (section 6.2.1.2). */
enum { ES256_SIGNATURE_BYTES = 64, P256_COORDINATE_BYTES = 32 };

enum { PART_COUNT = 3 };

static const char *const FAULT_TEXTS[ID_TOKEN_FAULT_COUNT] = {
    [ID_TOKEN_GOOD] = "good",
    [ID_TOKEN_TOO_LONG] = "the token is too long",
    [ID_TOKEN_MALFORMED] = "the token is malformed",
    [ID_TOKEN_HEADER] = "the token's header holds what is not taken",
    [ID_TOKEN_ALGORITHM] = "alg is none of RS256, PS256, ES256",
    [ID_TOKEN_KEYS] = "the provider's keys are no JWK set",
    [ID_TOKEN_KEY_UNKNOWN] = "no key of the provider fits the token",
    [ID_TOKEN_SIGNATURE] = "the signature is wrong",
    [ID_TOKEN_ISSUER] = "iss is another",
    [ID_TOKEN_AUDIENCE] = "aud is not this client alone",
    [ID_TOKEN_PARTY] = "azp is another client",
    [ID_TOKEN_EXPIRED] = "exp is missing or over",
    [ID_TOKEN_ISSUED] = "iat is missing, in the future or too long ago",
    [ID_TOKEN_NOT_YET] = "nbf is still to come",
    [ID_TOKEN_NONCE] = "nonce is not the one of this sign-in",
    [ID_TOKEN_SUBJECT] = "sub is missing, too long or not ASCII",
};

struct algorithm {
    const char *name;
    const char *key_type; /* `kty` of the keys that it is for */
    bool is_rsa;
};

static const struct algorithm ALGORITHMS[] = {
    {"RS256", "RSA", true},
    {"PS256", "RSA", true},
    {"ES256", "EC", false},
};

struct part {
    const char *text;
    size_t length;
};

struct bytes {
    unsigned char *data;
    size_t length;
};

const char *id_token_fault_text(enum id_token_fault fault)
{
    return FAULT_TEXTS[fault];
}

/* Unpadded, and of several spellings of the same bytes only the one that an encoder writes: so
 * whoever reads the token here and in cjose reads the same. */
static bool decode(struct arena *arena, struct part part, struct bytes *ret_bytes)
{
    struct bytes bytes = {arena_alloc(arena, part.length + 1), 0};
    const char *end = NULL;
    if (sodium_base642bin(bytes.data, part.length, part.text, part.length, NULL, &bytes.length,
                          &end, sodium_base64_VARIANT_URLSAFE_NO_PADDING) != 0 ||
        end != part.text + part.length) {
        return false;
    }
    *ret_bytes = bytes;
    return bytes.length > 0;
}

static const json_t *read_object(struct arena *arena, const char *text, size_t length)
{
    struct fault_list faults;
    fault_list_init(&faults, arena);
    const json_t *value = json_reader_parse(arena, text, length, &faults);
    return json_is_object(value) ? value : NULL;
}

static bool split(const char *token, struct part parts[PART_COUNT])
{
    for (size_t i = 0; i < PART_COUNT; i++) {
        parts[i] = (struct part){token, strcspn(token, ".")};
        token += parts[i].length;
        if (*token != (i + 1 < PART_COUNT ? '.' : '\0')) {
            return false;
        }
        token += i + 1 < PART_COUNT ? 1 : 0;
    }
    return true;
}

/* A text member, or NULL when it is absent or something else. */
static const char *text_of(const json_t *object, const char *member)
{
    return json_string_value(json_object_get(object, member));
}

static bool text_is(const json_t *object, const char *member, const char *wanted)
{
    const char *text = text_of(object, member);
    return text != NULL && strcmp(text, wanted) == 0;
}

/* RFC 8725, section 3.11: a token for something else is none of these. RFC 7515, section 4.1.11:
 * what `crit` names has to be understood, and here nothing is. */
static bool header_is_acceptable(const json_t *header)
{
    static const char *const REFUSED[] = {"crit", "b64", "jwk", "jku", "x5u", "zip", "enc"};
    for (size_t i = 0; i < sizeof REFUSED / sizeof REFUSED[0]; i++) {
        if (json_object_get(header, REFUSED[i]) != NULL) {
            return false;
        }
    }
    const json_t *kid = json_object_get(header, "kid");
    const char *type = text_of(header, "typ");
    return (kid == NULL || json_is_string(kid)) && (json_object_get(header, "typ") == NULL ||
                                                    (type != NULL && strcasecmp(type, "JWT") == 0));
}

static const struct algorithm *algorithm_of(const json_t *header)
{
    for (size_t i = 0; i < sizeof ALGORITHMS / sizeof ALGORITHMS[0]; i++) {
        if (text_is(header, "alg", ALGORITHMS[i].name)) {
            return &ALGORITHMS[i];
        }
    }
    return NULL;
}

static bool decode_member(struct arena *arena, const json_t *key, const char *member,
                          struct bytes *ret_bytes)
{
    const char *text = text_of(key, member);
    return text != NULL && decode(arena, (struct part){text, strlen(text)}, ret_bytes);
}

static bool rsa_key_is_strong(struct arena *arena, const json_t *key)
{
    struct bytes modulus = {NULL, 0};
    struct bytes exponent = {NULL, 0};
    if (!decode_member(arena, key, "n", &modulus) || !decode_member(arena, key, "e", &exponent)) {
        return false;
    }
    unsigned char last = exponent.data[exponent.length - 1];
    return modulus.data[0] != 0 && modulus.length >= MODULUS_LEAST_BYTES &&
           modulus.length <= MODULUS_MOST_BYTES && exponent.length <= EXPONENT_MOST_BYTES &&
           (last & 1U) == 1 && (exponent.length > 1 || last >= 3);
}

static bool ec_key_is_sound(struct arena *arena, const json_t *key)
{
    struct bytes x = {NULL, 0};
    struct bytes y = {NULL, 0};
    return text_is(key, "crv", "P-256") && decode_member(arena, key, "x", &x) &&
           decode_member(arena, key, "y", &y) && x.length == P256_COORDINATE_BYTES &&
           y.length == P256_COORDINATE_BYTES;
}

static bool operations_allow_verifying(const json_t *key)
{
    const json_t *operations = json_object_get(key, "key_ops");
    bool allowed = operations == NULL;
    for (size_t i = 0; i < json_array_size(operations); i++) {
        const char *operation = json_string_value(json_array_get(operations, i));
        allowed = allowed || (operation != NULL && strcmp(operation, "verify") == 0);
    }
    return allowed;
}

static bool key_fits(struct arena *arena, const json_t *key, const struct algorithm *algorithm)
{
    if (!text_is(key, "kty", algorithm->key_type) || !operations_allow_verifying(key) ||
        (json_object_get(key, "use") != NULL && !text_is(key, "use", "sig")) ||
        (json_object_get(key, "alg") != NULL && !text_is(key, "alg", algorithm->name))) {
        return false;
    }
    return algorithm->is_rsa ? rsa_key_is_strong(arena, key) : ec_key_is_sound(arena, key);
}

/* The key that the header names, or, where it names none, the only one that fits (OpenID Connect
 * Core 1.0, section 10.1). */
static enum id_token_fault find_key(struct arena *arena, const json_t *keys, const json_t *header,
                                    const struct algorithm *algorithm, const json_t **ret_key)
{
    const json_t *list = json_object_get(keys, "keys");
    size_t count = json_array_size(list);
    if (!json_is_array(list) || count > ID_TOKEN_KEYS_MOST) {
        return ID_TOKEN_KEYS;
    }
    const char *kid = text_of(header, "kid");
    size_t found = 0;
    for (size_t i = 0; i < count; i++) {
        const json_t *key = json_array_get(list, i);
        if ((kid == NULL || text_is(key, "kid", kid)) && key_fits(arena, key, algorithm)) {
            *ret_key = key;
            found++;
        }
    }
    return found == 1 ? ID_TOKEN_GOOD : ID_TOKEN_KEY_UNKNOWN;
}

/* What of the key is public and needed, and nothing else: cjose then has no odd member to stumble
 * over. */
static cjose_jwk_t *import_key(const json_t *key, const struct algorithm *algorithm)
{
    cjose_err error;
    json_t *plain = algorithm->is_rsa ? json_pack("{ss, ss, ss}", "kty", "RSA", "n",
                                                  text_of(key, "n"), "e", text_of(key, "e"))
                                      : json_pack("{ss, ss, ss, ss}", "kty", "EC", "crv", "P-256",
                                                  "x", text_of(key, "x"), "y", text_of(key, "y"));
    cjose_jwk_t *jwk = plain == NULL ? NULL : cjose_jwk_import_json(plain, &error);
    json_decref(plain);
    return jwk;
}

/* Whether the key signed the token; then what it signed, on the arena. */
static bool verify(struct arena *arena, const char *token, cjose_jwk_t *key,
                   struct bytes *ret_payload)
{
    cjose_err error;
    uint8_t *payload = NULL;
    size_t length = 0;
    cjose_jws_t *jws = cjose_jws_import(token, strlen(token), &error);
    bool good = jws != NULL && cjose_jws_verify(jws, key, &error) &&
                cjose_jws_get_plaintext(jws, &payload, &length, &error);
    if (good) {
        *ret_payload = (struct bytes){
            (unsigned char *)arena_strndup(arena, (const char *)payload, length), length};
    }
    cjose_jws_release(jws);
    return good;
}

/* A NumericDate (RFC 7519, section 2); NaN when absent or no number. */
static double time_of(const json_t *claims, const char *member)
{
    const json_t *value = json_object_get(claims, member);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

/* `auth_time`, where it can be true; else 0. */
static int64_t authenticated_at(const json_t *claims, int64_t now_s)
{
    double at = time_of(claims, "auth_time");
    return at >= 1.0 && at <= (double)(now_s + ID_TOKEN_SKEW_S) ? (int64_t)at : 0;
}

/* Other audiences would have to be trusted (OpenID Connect Core 1.0, section 3.1.3.7, point 3), and
 * here there is nobody to trust. */
static bool is_for(const json_t *audience, const char *client_id)
{
    if (json_is_string(audience)) {
        return strcmp(json_string_value(audience), client_id) == 0;
    }
    size_t count = json_array_size(audience);
    for (size_t i = 0; i < count; i++) {
        const char *one = json_string_value(json_array_get(audience, i));
        if (one == NULL || strcmp(one, client_id) != 0) {
            return false;
        }
    }
    return count > 0;
}

static enum id_token_fault check_times(const json_t *claims, int64_t now_s)
{
    double now = (double)now_s;
    double expires_at = time_of(claims, "exp");
    double issued_at = time_of(claims, "iat");
    /* A comparison with NaN is false: what is absent does not pass. */
    if (!(now < expires_at + ID_TOKEN_SKEW_S)) {
        return ID_TOKEN_EXPIRED;
    }
    if (!(issued_at <= now + ID_TOKEN_SKEW_S) ||
        !(now <= issued_at + ID_TOKEN_AGE_MOST_S + ID_TOKEN_SKEW_S)) {
        return ID_TOKEN_ISSUED;
    }
    if (json_object_get(claims, "nbf") != NULL &&
        !(time_of(claims, "nbf") <= now + ID_TOKEN_SKEW_S)) {
        return ID_TOKEN_NOT_YET;
    }
    return ID_TOKEN_GOOD;
}

static bool nonce_is(const json_t *claims, const char *nonce)
{
    const char *text = text_of(claims, "nonce");
    return text != NULL && strlen(text) == strlen(nonce) &&
           sodium_memcmp(text, nonce, strlen(nonce)) == 0;
}

static bool subject_is_acceptable(const char *subject)
{
    size_t length = subject == NULL ? 0 : strlen(subject);
    for (size_t i = 0; i < length; i++) {
        if (subject[i] < ' ' || subject[i] > '~') {
            return false;
        }
    }
    return length >= 1 && length <= ID_TOKEN_SUBJECT_MOST_BYTES;
}

static enum id_token_fault check_claims(const json_t *claims,
                                        const struct id_token_expectation *expected)
{
    if (!text_is(claims, "iss", expected->issuer)) {
        return ID_TOKEN_ISSUER;
    }
    if (!is_for(json_object_get(claims, "aud"), expected->client_id)) {
        return ID_TOKEN_AUDIENCE;
    }
    if (json_object_get(claims, "azp") != NULL && !text_is(claims, "azp", expected->client_id)) {
        return ID_TOKEN_PARTY;
    }
    enum id_token_fault fault = check_times(claims, expected->now_s);
    if (fault != ID_TOKEN_GOOD) {
        return fault;
    }
    if (!nonce_is(claims, expected->nonce)) {
        return ID_TOKEN_NONCE;
    }
    return subject_is_acceptable(text_of(claims, "sub")) ? ID_TOKEN_GOOD : ID_TOKEN_SUBJECT;
}

/* The header, when the token's form is sound. */
static const json_t *read_header(struct arena *arena, const char *token,
                                 size_t *ret_signature_bytes)
{
    struct part parts[PART_COUNT];
    struct bytes decoded[PART_COUNT];
    if (!split(token, parts)) {
        return NULL;
    }
    for (size_t i = 0; i < PART_COUNT; i++) {
        if (!decode(arena, parts[i], &decoded[i])) {
            return NULL;
        }
    }
    *ret_signature_bytes = decoded[2].length;
    return read_object(arena, (const char *)decoded[0].data, decoded[0].length);
}

/* RFC 7518, sections 3.3 to 3.5; 0 for a key that has none. */
static size_t signature_size(struct arena *arena, const json_t *key,
                             const struct algorithm *algorithm)
{
    struct bytes modulus = {NULL, 0};
    if (!algorithm->is_rsa) {
        return ES256_SIGNATURE_BYTES;
    }
    return decode_member(arena, key, "n", &modulus) ? modulus.length : 0;
}

/* Everything but what the claims say: the payload that a key of the provider signed. */
static enum id_token_fault open_token(struct arena *arena, const char *token, const json_t *keys,
                                      struct bytes *ret_payload)
{
    size_t signature_bytes = 0;
    const json_t *header = read_header(arena, token, &signature_bytes);
    if (header == NULL) {
        return ID_TOKEN_MALFORMED;
    }
    const struct algorithm *algorithm = algorithm_of(header);
    if (algorithm == NULL) {
        return ID_TOKEN_ALGORITHM;
    }
    if (!header_is_acceptable(header)) {
        return ID_TOKEN_HEADER;
    }
    const json_t *key = NULL;
    enum id_token_fault fault = find_key(arena, keys, header, algorithm, &key);
    if (fault != ID_TOKEN_GOOD) {
        return fault;
    }
    cjose_jwk_t *jwk = import_key(key, algorithm);
    if (jwk == NULL) {
        return ID_TOKEN_KEY_UNKNOWN;
    }
    /* cjose would halve an elliptic-curve signature of any length. */
    bool good = signature_bytes == signature_size(arena, key, algorithm) &&
                verify(arena, token, jwk, ret_payload);
    (void)cjose_jwk_release(jwk);
    return good ? ID_TOKEN_GOOD : ID_TOKEN_SIGNATURE;
}

enum id_token_fault id_token_check(struct arena *arena, const char *token, const json_t *keys,
                                   const struct id_token_expectation *expected,
                                   struct id_token_person *ret_person)
{
    if (strnlen(token, ID_TOKEN_MOST_BYTES + 1) > ID_TOKEN_MOST_BYTES) {
        return ID_TOKEN_TOO_LONG;
    }
    struct bytes payload = {NULL, 0};
    enum id_token_fault fault = open_token(arena, token, keys, &payload);
    if (fault != ID_TOKEN_GOOD) {
        return fault;
    }
    const json_t *claims = read_object(arena, (const char *)payload.data, payload.length);
    if (claims == NULL) {
        return ID_TOKEN_MALFORMED;
    }
    fault = check_claims(claims, expected);
    if (fault == ID_TOKEN_GOOD) {
        *ret_person = (struct id_token_person){
            .subject = arena_strdup(arena, text_of(claims, "sub")),
            .authenticated_at_s = authenticated_at(claims, expected->now_s),
        };
    }
    return fault;
}
