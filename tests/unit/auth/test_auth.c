/* Passwords and secrets. */
#include "auth/password.h"
#include "auth/secret.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>

struct objection_case {
    const char *password;
    const char *username;
    bool acceptable;
};

/* NIST SP 800-63B, section 5.1.1.2 (from memory): length and a block list of common values, and no
 * rules on which kinds of characters to mix. */
static const struct objection_case OBJECTIONS[] = {
    {"elevenchars", "kim", false},
    {"twelve chars", "kim", true},
    {"aaaaaaaaaaaaaaaa", "kim", false},
    {"Password1234", "kim", false},
    {"kim.holt rides a bus", "kim.holt", false},
    {"KIM.HOLT rides a bus", "kim.holt", false},
    {"correct horse battery", "kim.holt", true},
    {"\xc3\xa4\xc3\xb6\xc3\xbc\xc3\xa4\xc3\xb6\xc3\xbc spaces are fine", "kim", true},
};

static void objections_follow_length_and_block_list(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof OBJECTIONS / sizeof OBJECTIONS[0]; i++) {
        const char *objection = password_objection(OBJECTIONS[i].password, OBJECTIONS[i].username);
        if ((objection == NULL) != OBJECTIONS[i].acceptable) {
            fail_msg("case %zu: %s", i, objection == NULL ? "accepted" : objection);
        }
    }
}

static void password_of_129_bytes_is_too_long(void **state)
{
    (void)state;
    char password[130];
    for (size_t i = 0; i < sizeof password - 1; i++) {
        password[i] = (char)('a' + i % 23);
    }
    password[129] = '\0';
    assert_non_null(password_objection(password, "kim"));
    password[128] = '\0';
    assert_null(password_objection(password, "kim"));
}

static bool is_right(const char *password, const char *hash)
{
    bool right = true;
    struct error error = {0};
    assert_true(password_verify(password, hash, &right, &error));
    return right;
}

static void hash_is_argon2id_and_verifies_only_its_password(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct error error = {0};
    const char *hash = NULL;
    const char *other = NULL;
    assert_true(password_hash(arena, "a long enough password", &hash, &error));
    assert_true(password_hash(arena, "a long enough password", &other, &error));
    assert_memory_equal(hash, "$argon2id$", 10);
    assert_string_not_equal(hash, other);
    assert_true(is_right("a long enough password", hash));
    assert_false(is_right("a long enough passwore", hash));
    assert_false(is_right("a long enough password", NULL));
    arena_free(arena);
}

enum { FLOOD = 12 };

struct attempt {
    pthread_barrier_t *start;
    bool answered;
    enum error_kind kind;
};

static void *attempt_to_verify(void *argument)
{
    struct attempt *attempt = argument;
    struct error error = {0};
    bool right = false;
    (void)pthread_barrier_wait(attempt->start);
    attempt->answered = password_verify("a long enough password", NULL, &right, &error);
    attempt->kind = error.kind;
    return NULL;
}

/* Whoever finds all slots busy is told to come back instead of holding a thread. */
static void a_flood_is_turned_away_and_passes(void **state)
{
    (void)state;
    pthread_t threads[FLOOD];
    struct attempt attempts[FLOOD] = {0};
    int answered = 0;
    pthread_barrier_t start;
    assert_int_equal(pthread_barrier_init(&start, NULL, FLOOD), 0);
    for (int i = 0; i < FLOOD; i++) {
        attempts[i].start = &start;
        assert_int_equal(pthread_create(&threads[i], NULL, attempt_to_verify, &attempts[i]), 0);
    }
    for (int i = 0; i < FLOOD; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
        answered += attempts[i].answered ? 1 : 0;
        assert_true(attempts[i].answered || attempts[i].kind == ERROR_UNAVAILABLE);
    }
    (void)pthread_barrier_destroy(&start);
    assert_true(answered >= 2);
    assert_true(answered < FLOOD);
    assert_false(is_right("a long enough password", NULL));
}

static void secrets_differ_and_carry_their_mark(void **state)
{
    (void)state;
    char one[SECRET_TEXT_SIZE];
    char two[SECRET_TEXT_SIZE];
    char prefix[SECRET_PREFIX_SIZE];
    secret_new(SECRET_TOKEN_MARK, one);
    secret_new(SECRET_TOKEN_MARK, two);
    assert_memory_equal(one, "pst_", 4);
    assert_int_equal(strlen(one), 4 + 43 + 8);
    assert_string_not_equal(one, two);
    secret_prefix(one, prefix);
    assert_memory_equal(prefix, one, 12);
    assert_int_equal(strlen(prefix), 12);
}

/* CRC-32 of 43 "A" behind the mark, computed with Python's zlib.crc32(). */
static void secrets_are_told_by_their_checksum(void **state)
{
    (void)state;
    static const char GOOD[] = "pst_AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA615fda99";
    char secret[SECRET_TEXT_SIZE];
    assert_true(secret_is_well_formed(SECRET_TOKEN_MARK, GOOD));
    assert_false(secret_is_well_formed(SECRET_LINK_MARK, GOOD));
    assert_false(secret_is_well_formed(SECRET_TOKEN_MARK, ""));
    assert_false(secret_is_well_formed(SECRET_TOKEN_MARK, "pst_"));
    for (int i = 0; i < 50; i++) {
        secret_new(SECRET_LINK_MARK, secret);
        assert_true(secret_is_well_formed(SECRET_LINK_MARK, secret));
    }
    /* Whatever one character is changed to, also to one that is none of the alphabet. */
    for (size_t at = 0; at < sizeof GOOD - 1; at++) {
        static const char OTHERS[] = "B0-!'\x80";
        for (size_t i = 0; i < sizeof OTHERS - 1; i++) {
            memcpy(secret, GOOD, sizeof GOOD);
            bool same = secret[at] == OTHERS[i];
            secret[at] = OTHERS[i];
            assert_int_equal(secret_is_well_formed(SECRET_TOKEN_MARK, secret), same);
        }
        memcpy(secret, GOOD, sizeof GOOD);
        secret[at] = '\0';
        assert_false(secret_is_well_formed(SECRET_TOKEN_MARK, secret));
    }
    (void)snprintf(secret, sizeof secret, "%sA", GOOD);
    assert_false(secret_is_well_formed(SECRET_TOKEN_MARK, secret));
}

/* SHA-256 of "abc": FIPS 180-4, example of the algorithm. */
static void hash_of_a_secret_is_sha256(void **state)
{
    (void)state;
    static const unsigned char EXPECTED[SECRET_HASH_BYTES] = {
        0xba, 0x78, 0x16, 0xbf, 0x8f, 0x01, 0xcf, 0xea, 0x41, 0x41, 0x40,
        0xde, 0x5d, 0xae, 0x22, 0x23, 0xb0, 0x03, 0x61, 0xa3, 0x96, 0x17,
        0x7a, 0x9c, 0xb4, 0x10, 0xff, 0x61, 0xf2, 0x00, 0x15, 0xad,
    };
    unsigned char hash[SECRET_HASH_BYTES];
    secret_hash("abc", hash);
    assert_memory_equal(hash, EXPECTED, sizeof EXPECTED);
}

int main(void)
{
    if (!password_library_start()) {
        return 1;
    }
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(objections_follow_length_and_block_list),
        cmocka_unit_test(password_of_129_bytes_is_too_long),
        cmocka_unit_test(hash_is_argon2id_and_verifies_only_its_password),
        cmocka_unit_test(a_flood_is_turned_away_and_passes),
        cmocka_unit_test(secrets_differ_and_carry_their_mark),
        cmocka_unit_test(secrets_are_told_by_their_checksum),
        cmocka_unit_test(hash_of_a_secret_is_sha256),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
