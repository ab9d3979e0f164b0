/* ID tokens: each check by a token that is wrong in that one thing, and the published examples. */
#include "auth/id_token.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cjose/cjose.h>
#include <cmocka.h>
#include <sodium.h>
#include <string.h>

#define ISSUER "https://sso.tarn-valley.example"
#define CLIENT "penstock"
#define NONCE  "n-0S6_WzA2Mj"

enum { NOW_S = 1780000000, LONG_SUBJECT = 255 };

struct keys {
    cjose_jwk_t *rsa;
    cjose_jwk_t *ec;
    cjose_jwk_t *other; /* an RSA key that the provider does not have */
    json_t *set;        /* the provider's */
};

static struct keys keys;
static struct arena *arena;

static const struct id_token_expectation EXPECTED = {ISSUER, CLIENT, NONCE, NOW_S};

/* ---- making tokens ---- */

static json_t *public_jwk(const cjose_jwk_t *key)
{
    cjose_err error;
    char *text = cjose_jwk_to_json(key, false, &error);
    json_t *jwk = json_loads(text, 0, NULL);
    assert_non_null(jwk);
    free(text);
    return jwk;
}

static cjose_jwk_t *new_rsa(const char *kid)
{
    cjose_err error;
    static const uint8_t exponent[] = {1, 0, 1};
    cjose_jwk_t *key = cjose_jwk_create_RSA_random(2048, exponent, sizeof exponent, &error);
    assert_non_null(key);
    assert_true(cjose_jwk_set_kid(key, kid, strlen(kid), &error));
    return key;
}

static int make_keys(void **state)
{
    (void)state;
    cjose_err error;
    arena = arena_new();
    keys.rsa = new_rsa("r1");
    keys.other = new_rsa("r1");
    keys.ec = cjose_jwk_create_EC_random(CJOSE_JWK_EC_P_256, &error);
    assert_non_null(keys.ec);
    assert_true(cjose_jwk_set_kid(keys.ec, "e1", 2, &error));
    keys.set = json_pack("{s:[oo]}", "keys", public_jwk(keys.rsa), public_jwk(keys.ec));
    return keys.set == NULL ? -1 : 0;
}

static int drop_keys(void **state)
{
    (void)state;
    (void)cjose_jwk_release(keys.rsa);
    (void)cjose_jwk_release(keys.other);
    (void)cjose_jwk_release(keys.ec);
    json_decref(keys.set);
    arena_free(arena);
    return 0;
}

static const char *signed_by(const cjose_jwk_t *key, const char *header, const char *claims)
{
    cjose_err error;
    json_t *head = json_loads(header, 0, NULL);
    assert_non_null(head);
    cjose_jws_t *jws = cjose_jws_sign(key, head, (const uint8_t *)claims, strlen(claims), &error);
    assert_non_null(jws);
    const char *text = NULL;
    assert_true(cjose_jws_export(jws, &text, &error));
    const char *token = arena_strdup(arena, text);
    cjose_jws_release(jws);
    json_decref(head);
    return token;
}

static const char *base64url(const char *text)
{
    size_t size = sodium_base64_encoded_len(strlen(text), sodium_base64_VARIANT_URLSAFE_NO_PADDING);
    char *encoded = arena_alloc(arena, size);
    return sodium_bin2base64(encoded, size, (const unsigned char *)text, strlen(text),
                             sodium_base64_VARIANT_URLSAFE_NO_PADDING);
}

static const char *CLAIMS = "{\"iss\":\"" ISSUER "\",\"aud\":\"" CLIENT "\",\"sub\":\"u-17\","
                            "\"exp\":1780000300,\"iat\":1779999990,\"nonce\":\"" NONCE "\"}";

/* The good claims with one member replaced ("" leaves it out), as JSON text. */
static const char *claims_with(const char *member, const char *value)
{
    json_t *claims = json_loads(CLAIMS, 0, NULL);
    if (value[0] == '\0') {
        (void)json_object_del(claims, member);
    } else {
        (void)json_object_set_new(claims, member, json_loads(value, JSON_DECODE_ANY, NULL));
    }
    char *text = json_dumps(claims, JSON_COMPACT);
    const char *copy = arena_strdup(arena, text);
    free(text);
    json_decref(claims);
    return copy;
}

static enum id_token_fault judge(const char *token)
{
    struct id_token_person person = {0};
    enum id_token_fault fault = id_token_check(arena, token, keys.set, &EXPECTED, &person);
    assert_true((person.subject != NULL) == (fault == ID_TOKEN_GOOD));
    return fault;
}

static enum id_token_fault judge_claims(const char *claims)
{
    return judge(signed_by(keys.ec, "{\"alg\":\"ES256\",\"kid\":\"e1\"}", claims));
}

/* ---- good tokens ---- */

static void good_tokens_of_each_algorithm_give_the_subject(void **state)
{
    (void)state;
    const char *tokens[] = {
        signed_by(keys.rsa, "{\"alg\":\"RS256\",\"kid\":\"r1\",\"typ\":\"JWT\"}", CLAIMS),
        signed_by(keys.rsa, "{\"alg\":\"PS256\",\"kid\":\"r1\",\"typ\":\"jwt\"}", CLAIMS),
        signed_by(keys.ec, "{\"alg\":\"ES256\",\"kid\":\"e1\"}", CLAIMS),
        signed_by(keys.ec, "{\"alg\":\"ES256\"}", CLAIMS), /* the only key that fits */
        signed_by(keys.rsa, "{\"alg\":\"RS256\",\"x5t\":\"abc\"}", CLAIMS),
    };
    for (size_t i = 0; i < sizeof tokens / sizeof tokens[0]; i++) {
        struct id_token_person person = {0};
        assert_int_equal(id_token_check(arena, tokens[i], keys.set, &EXPECTED, &person),
                         ID_TOKEN_GOOD);
        assert_string_equal(person.subject, "u-17");
    }
}

struct claim_case {
    const char *member;
    const char *value; /* JSON, or "": left out */
    enum id_token_fault fault;
};

/* OpenID Connect Core 1.0, section 3.1.3.7; RFC 7519, section 4.1. NOW_S is 1780000000, the clocks
 * may differ by 60 s, a token may be 600 s old. */
static const struct claim_case CLAIM_CASES[] = {
    {"iss", "\"https://sso.elsewhere.example\"", ID_TOKEN_ISSUER},
    {"iss", "\"" ISSUER "/\"", ID_TOKEN_ISSUER},
    {"iss", "\"HTTPS://sso.tarn-valley.example\"", ID_TOKEN_ISSUER},
    {"iss", "[\"" ISSUER "\"]", ID_TOKEN_ISSUER},
    {"iss", "", ID_TOKEN_ISSUER},
    {"aud", "\"another\"", ID_TOKEN_AUDIENCE},
    {"aud", "\"penstock2\"", ID_TOKEN_AUDIENCE},
    {"aud", "[\"penstock\"]", ID_TOKEN_GOOD},
    {"aud", "[\"penstock\",\"another\"]", ID_TOKEN_AUDIENCE},
    {"aud", "[\"another\"]", ID_TOKEN_AUDIENCE},
    {"aud", "[]", ID_TOKEN_AUDIENCE},
    {"aud", "[[\"penstock\"]]", ID_TOKEN_AUDIENCE},
    {"aud", "{\"penstock\":true}", ID_TOKEN_AUDIENCE},
    {"aud", "", ID_TOKEN_AUDIENCE},
    {"azp", "\"penstock\"", ID_TOKEN_GOOD},
    {"azp", "\"another\"", ID_TOKEN_PARTY},
    {"azp", "null", ID_TOKEN_PARTY},
    {"exp", "1779999941", ID_TOKEN_GOOD},
    {"exp", "1779999940", ID_TOKEN_EXPIRED},
    {"exp", "0", ID_TOKEN_EXPIRED},
    {"exp", "-1", ID_TOKEN_EXPIRED},
    {"exp", "\"1780000300\"", ID_TOKEN_EXPIRED},
    {"exp", "1e300", ID_TOKEN_GOOD},
    {"exp", "1780000300.5", ID_TOKEN_GOOD},
    {"exp", "", ID_TOKEN_EXPIRED},
    {"iat", "1780000060", ID_TOKEN_GOOD},
    {"iat", "1780000061", ID_TOKEN_ISSUED},
    {"iat", "1779999340", ID_TOKEN_GOOD},
    {"iat", "1779999339", ID_TOKEN_ISSUED},
    {"iat", "\"1779999990\"", ID_TOKEN_ISSUED},
    {"iat", "", ID_TOKEN_ISSUED},
    {"nbf", "1780000060", ID_TOKEN_GOOD},
    {"nbf", "1780000061", ID_TOKEN_NOT_YET},
    {"nbf", "\"soon\"", ID_TOKEN_NOT_YET},
    {"nonce", "\"n-0S6_WzA2Mk\"", ID_TOKEN_NONCE},
    {"nonce", "\"n-0S6_WzA2M\"", ID_TOKEN_NONCE},
    {"nonce", "\"\"", ID_TOKEN_NONCE},
    {"nonce", "null", ID_TOKEN_NONCE},
    {"nonce", "", ID_TOKEN_NONCE},
    {"sub", "\"\"", ID_TOKEN_SUBJECT},
    {"sub", "17", ID_TOKEN_SUBJECT},
    {"sub", "\"a\\nb\"", ID_TOKEN_SUBJECT},
    {"sub", "\"\\u00e4\"", ID_TOKEN_SUBJECT},
    {"sub", "", ID_TOKEN_SUBJECT},
};

static void each_claim_is_held_against_what_was_expected(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof CLAIM_CASES / sizeof CLAIM_CASES[0]; i++) {
        const struct claim_case *one = &CLAIM_CASES[i];
        enum id_token_fault fault = judge_claims(claims_with(one->member, one->value));
        if (fault != one->fault) {
            fail_msg("%s %s: %s", one->member, one->value, id_token_fault_text(fault));
        }
    }
}

/* OpenID Connect Core 1.0, section 2: not more than 255 ASCII characters. */
static void a_subject_has_at_most_255_characters(void **state)
{
    (void)state;
    char value[LONG_SUBJECT + 4];
    memset(value, 's', sizeof value);
    value[0] = '"';
    value[LONG_SUBJECT + 1] = '"';
    value[LONG_SUBJECT + 2] = '\0';
    assert_int_equal(judge_claims(claims_with("sub", value)), ID_TOKEN_GOOD);
    value[LONG_SUBJECT + 1] = 's';
    value[LONG_SUBJECT + 2] = '"';
    value[LONG_SUBJECT + 3] = '\0';
    assert_int_equal(judge_claims(claims_with("sub", value)), ID_TOKEN_SUBJECT);
}

/* EXPECTED is asked at its own now. */
static void the_time_of_the_proof_is_told_where_it_can_be_true(void **state)
{
    (void)state;
    const int64_t now_s = EXPECTED.now_s;

    const struct {
        const char *value;
        int64_t told_s;
    } cases[] = {
        {"", 0},
        {"null", 0},
        {"\"1\"", 0},
        {"true", 0},
        {"-5", 0},
        {"0", 0},
        {arena_printf(arena, "%lld", (long long)now_s), now_s},
        {arena_printf(arena, "%lld.75", (long long)now_s - 601), now_s - 601},
        {arena_printf(arena, "%lld", (long long)now_s + ID_TOKEN_SKEW_S), now_s + ID_TOKEN_SKEW_S},
        {arena_printf(arena, "%lld", (long long)now_s + ID_TOKEN_SKEW_S + 1), 0},
        {"1e300", 0},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct id_token_person person = {0};
        const char *token = signed_by(keys.ec, "{\"alg\":\"ES256\",\"kid\":\"e1\"}",
                                      claims_with("auth_time", cases[i].value));
        assert_int_equal(id_token_check(arena, token, keys.set, &EXPECTED, &person), ID_TOKEN_GOOD);
        assert_int_equal(person.authenticated_at_s, cases[i].told_s);
    }
}

static void claims_that_are_no_plain_object_are_refused(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "[]",
        "null",
        "{",
        "\"text\"",
        "{\"iss\":\"https://sso.example\",\"iss\":\"https://sso.elsewhere.example\"}",
        "{\"sub\":\"u-17\"} {}",
        "{\"sub\":\"u\\u000017\"}",
        "\xff",
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        assert_int_equal(judge_claims(texts[i]), ID_TOKEN_MALFORMED);
    }
    const char *doubled = arena_printf(arena, "{\"sub\":\"root\",%s", CLAIMS + 1);
    assert_int_equal(judge_claims(doubled), ID_TOKEN_MALFORMED);
}

/* ---- headers ---- */

static const char *unsigned_token(const char *header, const char *signature)
{
    return arena_printf(arena, "%s.%s.%s", base64url(header), base64url(CLAIMS), signature);
}

/* RFC 8725, section 2.1. */
static void no_other_algorithm_is_taken(void **state)
{
    (void)state;
    static const char *const headers[] = {
        "{\"alg\":\"none\"}",
        "{\"alg\":\"None\"}",
        "{\"alg\":\"RS384\"}",
        "{\"alg\":\"ES384\"}",
        "{\"alg\":\"rs256\"}",
        "{\"alg\":\"HS256\"}",
        "{\"alg\":\"\"}",
        "{\"alg\":null}",
        "{\"alg\":[\"RS256\"]}",
        "{\"alg\":\"EdDSA\"}",
        "{}",
    };
    for (size_t i = 0; i < sizeof headers / sizeof headers[0]; i++) {
        assert_int_equal(judge(unsigned_token(headers[i], "AAAA")), ID_TOKEN_ALGORITHM);
    }
    assert_int_equal(judge(unsigned_token("{\"alg\":\"none\"}", "")), ID_TOKEN_MALFORMED);
}

/* RFC 8725, section 2.1: the public key as the secret of an HMAC. */
static void the_public_key_is_no_secret(void **state)
{
    (void)state;
    cjose_err error;
    char *text = cjose_jwk_to_json(keys.rsa, false, &error);
    cjose_jwk_t *secret = cjose_jwk_create_oct_spec((const uint8_t *)text, strlen(text), &error);
    assert_non_null(secret);
    const char *token = signed_by(secret, "{\"alg\":\"HS256\",\"kid\":\"r1\"}", CLAIMS);
    assert_int_equal(judge(token), ID_TOKEN_ALGORITHM);

    /* The same where the provider's set holds it as a secret key. */
    json_t *set =
        json_pack("{s:[{ss,ss,ss}]}", "keys", "kty", "oct", "kid", "r1", "k", base64url(text));
    struct id_token_person person = {0};
    assert_int_equal(id_token_check(arena, token, set, &EXPECTED, &person), ID_TOKEN_ALGORITHM);
    json_decref(set);
    (void)cjose_jwk_release(secret);
    free(text);
}

/* Signed rightly, but the header asks for what is not done here (RFC 7515, sections 4.1.2, 4.1.3,
 * 4.1.5 and 4.1.11; RFC 8725, section 3.11). */
static void headers_that_ask_for_more_are_refused(void **state)
{
    (void)state;
    static const char *const extras[] = {
        "\"crit\":[\"exp\"],\"exp\":1",
        "\"b64\":false",
        "\"jku\":\"https://sso.elsewhere.example/keys\"",
        "\"x5u\":\"https://sso.elsewhere.example/cert\"",
        "\"jwk\":{\"kty\":\"RSA\"}",
        "\"zip\":\"DEF\"",
        "\"typ\":\"at+jwt\"",
        "\"typ\":\"logout+jwt\"",
        "\"typ\":7",
        "\"kid\":7",
    };
    for (size_t i = 0; i < sizeof extras / sizeof extras[0]; i++) {
        const char *header = arena_printf(arena, "{\"alg\":\"RS256\",%s}", extras[i]);
        assert_int_equal(judge(signed_by(keys.rsa, header, CLAIMS)), ID_TOKEN_HEADER);
    }
}

/* The key that comes with the token is the attacker's. */
static void a_key_in_the_token_is_not_used(void **state)
{
    (void)state;
    json_t *jwk = public_jwk(keys.other);
    json_t *head = json_pack("{ss,so}", "alg", "RS256", "jwk", jwk);
    char *header = json_dumps(head, JSON_COMPACT);
    assert_int_equal(judge(signed_by(keys.other, header, CLAIMS)), ID_TOKEN_HEADER);
    free(header);
    json_decref(head);
}

/* ---- form ---- */

static void what_is_no_token_is_refused(void **state)
{
    (void)state;
    const char *good = signed_by(keys.ec, "{\"alg\":\"ES256\",\"kid\":\"e1\"}", CLAIMS);
    const char *texts[] = {
        "",
        ".",
        "..",
        "...",
        "a.b",
        "e30.e30.e30.e30",
        arena_printf(arena, "%s.", good),
        arena_printf(arena, "%s=", good),
        arena_printf(arena, " %s", good),
        arena_printf(arena, "%s\n", good),
        unsigned_token("{\"alg\":\"ES256\"", "AAAA"),
        unsigned_token("{\"alg\":\"ES256\",\"alg\":\"none\"}", "AAAA"),
        unsigned_token("[\"ES256\"]", "AAAA"),
        unsigned_token("{\"alg\":\"ES256\"}", "AAB"), /* bits that no encoder writes */
        unsigned_token("{\"alg\":\"ES256\"}", "A"),
        unsigned_token("{\"alg\":\"ES256\"}", "A+/A"),
        unsigned_token("{\"alg\":\"ES256\"}", ""),
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        enum id_token_fault fault = judge(texts[i]);
        if (fault != ID_TOKEN_MALFORMED) {
            fail_msg("%s: %s", texts[i], id_token_fault_text(fault));
        }
    }
}

static void a_token_has_at_most_16_kib(void **state)
{
    (void)state;
    char *claims = arena_alloc(arena, ID_TOKEN_MOST_BYTES);
    size_t length = strlen(CLAIMS);
    memset(claims, ' ', ID_TOKEN_MOST_BYTES - 1);
    memcpy(claims, CLAIMS, length);
    assert_int_equal(judge_claims(claims), ID_TOKEN_TOO_LONG);
    claims[12000] = '\0';
    assert_int_equal(judge_claims(claims), ID_TOKEN_GOOD);
}

/* ---- keys and signatures ---- */

static void another_key_or_changed_text_is_found_out(void **state)
{
    (void)state;
    const char *other = signed_by(keys.other, "{\"alg\":\"RS256\",\"kid\":\"r1\"}", CLAIMS);
    assert_int_equal(judge(other), ID_TOKEN_SIGNATURE);

    char *token =
        arena_strdup(arena, signed_by(keys.ec, "{\"alg\":\"ES256\",\"kid\":\"e1\"}", CLAIMS));
    size_t length = strlen(token);
    for (size_t i = 0; i < length; i++) {
        char kept = token[i];
        token[i] = kept == 'A' ? 'B' : 'A';
        assert_int_not_equal(judge(token), ID_TOKEN_GOOD);
        token[i] = kept;
    }
    assert_int_equal(judge(token), ID_TOKEN_GOOD);
}

/* A signature of 65 or 66 bytes that begins with the right 64: cjose halves what it gets. */
static void an_elliptic_signature_has_64_bytes(void **state)
{
    (void)state;
    const char *token = signed_by(keys.ec, "{\"alg\":\"ES256\",\"kid\":\"e1\"}", CLAIMS);
    assert_int_equal(judge(arena_printf(arena, "%sAA", token)), ID_TOKEN_SIGNATURE); /* 66 */
    unsigned char bytes[80];
    size_t length = 0;
    const char *signature = strrchr(token, '.') + 1;
    assert_int_equal(sodium_base642bin(bytes, sizeof bytes, signature, strlen(signature), NULL,
                                       &length, NULL, sodium_base64_VARIANT_URLSAFE_NO_PADDING),
                     0);
    assert_int_equal(length, 64);
    bytes[64] = 0;
    char longer[120];
    (void)sodium_bin2base64(longer, sizeof longer, bytes, 65,
                            sodium_base64_VARIANT_URLSAFE_NO_PADDING);
    token = arena_printf(arena, "%.*s%s", (int)(signature - token), token, longer);
    assert_int_equal(judge(token), ID_TOKEN_SIGNATURE);
}

static enum id_token_fault judge_with(const char *token, json_t *set)
{
    struct id_token_person person = {0};
    enum id_token_fault fault = id_token_check(arena, token, set, &EXPECTED, &person);
    json_decref(set);
    return fault;
}

static json_t *set_of(const cjose_jwk_t *key, const char *member, const char *value)
{
    json_t *jwk = public_jwk(key);
    (void)json_object_set_new(jwk, member, json_loads(value, JSON_DECODE_ANY, NULL));
    return json_pack("{s:[o]}", "keys", jwk);
}

struct key_case {
    const char *member;
    const char *value;
    enum id_token_fault fault;
};

static const struct key_case RSA_CASES[] = {
    {"use", "\"sig\"", ID_TOKEN_GOOD},
    {"use", "\"enc\"", ID_TOKEN_KEY_UNKNOWN},
    {"alg", "\"RS256\"", ID_TOKEN_GOOD},
    {"alg", "\"PS256\"", ID_TOKEN_KEY_UNKNOWN},
    {"alg", "\"RSA-OAEP\"", ID_TOKEN_KEY_UNKNOWN},
    {"key_ops", "[\"verify\"]", ID_TOKEN_GOOD},
    {"key_ops", "[\"encrypt\"]", ID_TOKEN_KEY_UNKNOWN},
    {"kty", "\"EC\"", ID_TOKEN_KEY_UNKNOWN},
    {"kty", "\"oct\"", ID_TOKEN_KEY_UNKNOWN},
    {"kid", "\"r2\"", ID_TOKEN_KEY_UNKNOWN},
    {"e", "\"AQ\"", ID_TOKEN_KEY_UNKNOWN},      /* 1: every text is its own signature */
    {"e", "\"AQAA\"", ID_TOKEN_KEY_UNKNOWN},    /* even */
    {"e", "\"AQAAAAE\"", ID_TOKEN_KEY_UNKNOWN}, /* so long that a verification gets slow */
    {"n", "\"AQAB\"", ID_TOKEN_KEY_UNKNOWN},    /* RFC 7518, section 3.3: 2048 bits at least */
    {"n", "\"=\"", ID_TOKEN_KEY_UNKNOWN},
    {"n", "7", ID_TOKEN_KEY_UNKNOWN},
};

static void a_key_fits_its_algorithm_or_is_not_used(void **state)
{
    (void)state;
    const char *token = signed_by(keys.rsa, "{\"alg\":\"RS256\",\"kid\":\"r1\"}", CLAIMS);
    for (size_t i = 0; i < sizeof RSA_CASES / sizeof RSA_CASES[0]; i++) {
        const struct key_case *one = &RSA_CASES[i];
        enum id_token_fault fault = judge_with(token, set_of(keys.rsa, one->member, one->value));
        if (fault != one->fault) {
            fail_msg("%s %s: %s", one->member, one->value, id_token_fault_text(fault));
        }
    }
    token = signed_by(keys.ec, "{\"alg\":\"ES256\",\"kid\":\"e1\"}", CLAIMS);
    assert_int_equal(judge_with(token, set_of(keys.ec, "crv", "\"P-384\"")), ID_TOKEN_KEY_UNKNOWN);
    assert_int_equal(judge_with(token, set_of(keys.ec, "x", "\"AQAB\"")), ID_TOKEN_KEY_UNKNOWN);
    /* Not a point of the curve. */
    assert_int_equal(
        judge_with(token, set_of(keys.ec, "x", "\"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA\"")),
        ID_TOKEN_KEY_UNKNOWN);
}

static void the_key_set_is_one_and_names_one_key(void **state)
{
    (void)state;
    const char *named = signed_by(keys.rsa, "{\"alg\":\"RS256\",\"kid\":\"r1\"}", CLAIMS);
    const char *unnamed = signed_by(keys.rsa, "{\"alg\":\"RS256\"}", CLAIMS);
    assert_int_equal(judge_with(named, json_pack("{}")), ID_TOKEN_KEYS);
    assert_int_equal(judge_with(named, json_pack("[]")), ID_TOKEN_KEYS);
    assert_int_equal(judge_with(named, json_pack("{s:{}}", "keys")), ID_TOKEN_KEYS);
    assert_int_equal(judge_with(named, json_pack("{s:[]}", "keys")), ID_TOKEN_KEY_UNKNOWN);
    assert_int_equal(judge_with(named, json_pack("{s:[i,s,n]}", "keys", 1, "x")),
                     ID_TOKEN_KEY_UNKNOWN);
    json_t *two = json_pack("{s:[oo]}", "keys", public_jwk(keys.rsa), public_jwk(keys.other));
    assert_int_equal(judge_with(unnamed, json_incref(two)), ID_TOKEN_KEY_UNKNOWN);
    assert_int_equal(judge_with(named, two), ID_TOKEN_KEY_UNKNOWN); /* both are called r1 */

    json_t *many = json_array();
    for (int i = 0; i <= ID_TOKEN_KEYS_MOST; i++) {
        (void)json_array_append_new(many, public_jwk(keys.rsa));
    }
    assert_int_equal(judge_with(named, json_pack("{s:o}", "keys", many)), ID_TOKEN_KEYS);
}

/* ---- published examples ---- */

#define EXAMPLE_PAYLOAD                                                                            \
    "eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFtcGxlLmNvbS9pc19yb290Ijp0cnVl" \
    "fQ"

struct example {
    const char *source;
    const char *keys;
    const char *header;
    const char *signature;
};

static const struct example EXAMPLES[] = {
    {"RFC 7515, appendix A.2",
     "{\"keys\":[{\"kty\":\"RSA\",\"e\":\"AQAB\",\"n\":\"ofgWCuLjybRlzo0tZWJjNiuSfb4p4fAkd_wWJcyQoT"
     "bji9k0l8W26mPddxHmfHQp-Vaw-4qPCJrcS2mJPMEzP1Pt0Bm4d4QlL-yRT-SFd2lZS-pCgNMsD1W_YpRPEwOWvG6b326"
     "90r2jZ47soMZo9wGzjb_7OMg0LOL-bSf63kpaSHSXndS5z5rexMdbBYUsLA9e-KXBdQOS-UTo7WTBEMa2R2CapHg665xs"
     "mtdVMTBQY4uDZlxvb3qCo5ZwKh9kG4LT6_I5IhlJH7aGhyxXFvUK-DWNmoudF8NAco9_h9iaGNj8q2ethFkMLs91kzk2P"
     "AcDTW9gb54h4FRWyuXpoQ\"}]}",
     "eyJhbGciOiJSUzI1NiJ9",
     "cC4hiUPoj9Eetdgtv3hF80EGrhuB__dzERat0XF9g2VtQgr9PJbu3XOiZj5RZmh7AAuHIm4Bh-0Qc_lF5YKt_O8W2Fp5j"
     "ujGbds9uJdbF9CUAr7t1dnZcAcQjbKBYNX4BAynRFdiuB--f_nZLgrnbyTyWzO75vRK5h6xBArLIARNPvkSjtQBMHlb1L"
     "07Qe7K0GarZRmB_eSN9383LcOLn6_dO--xi12jzDwusC-eOkHWEsqtFZESc6BfI7noOPqvhJ1phCnvWh6IeYI2w9QOYEU"
     "ipUTI8np6LbgGY9Fs98rqVt5AXLIhWkWywlVmtVrBp0igcN_IoypGlUPQGe77Rw"},
    {"RFC 7515, appendix A.3",
     "{\"keys\":[{\"kty\":\"EC\",\"crv\":\"P-256\",\"x\":"
     "\"f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRV"
     "EU\",\"y\":\"x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0\"}]}",
     "eyJhbGciOiJFUzI1NiJ9",
     "DtEhU3ljbEg8L38VWAfUAqOyKAM6-Xx-F4GawxaepmXFCgfTjDxw5djxLa8ISlSApmWQxfKTUJqPP3-Kg6NU1Q"},
};

/* Their claims name an issuer and no audience: what the audience is asked of has the right
 * signature. */
static void published_examples_verify(void **state)
{
    (void)state;
    const struct id_token_expectation joe = {"joe", CLIENT, NONCE, 1300819000};
    for (size_t i = 0; i < sizeof EXAMPLES / sizeof EXAMPLES[0]; i++) {
        const struct example *one = &EXAMPLES[i];
        json_t *set = json_loads(one->keys, 0, NULL);
        assert_non_null(set);
        struct id_token_person person = {0};
        const char *token =
            arena_printf(arena, "%s.%s.%s", one->header, EXAMPLE_PAYLOAD, one->signature);
        enum id_token_fault fault = id_token_check(arena, token, set, &joe, &person);
        if (fault != ID_TOKEN_AUDIENCE) {
            fail_msg("%s: %s", one->source, id_token_fault_text(fault));
        }
        char *changed = arena_strdup(arena, token);
        char *middle = strrchr(changed, '.') + 20;
        *middle = *middle == 'A' ? 'B' : 'A';
        assert_int_equal(id_token_check(arena, changed, set, &joe, &person), ID_TOKEN_SIGNATURE);
        json_decref(set);
    }
}

int main(void)
{
    if (sodium_init() < 0) {
        return 1;
    }
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(good_tokens_of_each_algorithm_give_the_subject),
        cmocka_unit_test(each_claim_is_held_against_what_was_expected),
        cmocka_unit_test(a_subject_has_at_most_255_characters),
        cmocka_unit_test(the_time_of_the_proof_is_told_where_it_can_be_true),
        cmocka_unit_test(claims_that_are_no_plain_object_are_refused),
        cmocka_unit_test(no_other_algorithm_is_taken),
        cmocka_unit_test(the_public_key_is_no_secret),
        cmocka_unit_test(headers_that_ask_for_more_are_refused),
        cmocka_unit_test(a_key_in_the_token_is_not_used),
        cmocka_unit_test(what_is_no_token_is_refused),
        cmocka_unit_test(a_token_has_at_most_16_kib),
        cmocka_unit_test(another_key_or_changed_text_is_found_out),
        cmocka_unit_test(an_elliptic_signature_has_64_bytes),
        cmocka_unit_test(a_key_fits_its_algorithm_or_is_not_used),
        cmocka_unit_test(the_key_set_is_one_and_names_one_key),
        cmocka_unit_test(published_examples_verify),
    };
    return cmocka_run_group_tests(tests, make_keys, drop_keys);
}
