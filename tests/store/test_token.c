/* Bearer tokens: scopes, certificates, rotation, and when a secret works. */
#include "fixture.h"

#include "base/clock.h"

#include <pthread.h>
#include <string.h>

static const int64_t second_us = 1000000;
static const int64_t day_us = (int64_t)24 * 3600 * 1000000;

/* ---- helpers ---- */

static const char *create(struct fixture *fixture, const struct new_token *token)
{
    const char *id = NULL;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, token_create(fixture->store, fixture->arena, token, &id, &fixture->error));
    fixture_commit(fixture);
    return id;
}

static struct principal principal_of(struct fixture *fixture,
                                     const unsigned char hash[SECRET_HASH_BYTES])
{
    struct principal principal = {0};
    CHECK(fixture, token_principal(fixture->store, fixture->arena, hash, "192.0.2.7", &principal,
                                   &fixture->error));
    return principal;
}

static void nobody_has(struct fixture *fixture, const unsigned char hash[SECRET_HASH_BYTES])
{
    struct principal principal;
    CHECK_FAILS(
        fixture, ERROR_NOT_FOUND,
        token_principal(fixture->store, fixture->arena, hash, NULL, &principal, &fixture->error));
}

static struct api_token get(struct fixture *fixture, const char *id)
{
    struct api_token token = {0};
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, token_get(fixture->store, fixture->arena, id, &token, &fixture->error));
    fixture_commit(fixture);
    return token;
}

static void rotate(struct fixture *fixture, const char *id, unsigned char first, int overlap_s)
{
    const unsigned char hash[SECRET_HASH_BYTES] = {first, 'r'};
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          token_rotate(fixture->store, id, hash, "pst_rotated", overlap_s, &fixture->error));
    fixture_commit(fixture);
}

static void has_rotated(struct fixture *fixture, unsigned char first, const char *id)
{
    const unsigned char hash[SECRET_HASH_BYTES] = {first, 'r'};
    if (id == NULL) {
        nobody_has(fixture, hash);
    } else {
        assert_string_equal(principal_of(fixture, hash).id, id);
    }
}

/* ---- tests ---- */

static void token_works_until_it_is_revoked(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct store *store = fixture->store;
    static const unsigned char hash[SECRET_HASH_BYTES] = {8};
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = fixture_token(fixture, "Room 1", hash, ROLE_ROOM);
    fixture_commit(fixture);
    struct principal principal = principal_of(fixture, hash);
    assert_string_equal(principal.id, id);
    assert_string_equal(principal.clinic_id, fixture->clinic_id);
    assert_string_equal(principal.name, "Room 1");
    assert_int_equal(principal.roles, ROLE_ROOM);
    assert_true(principal.is_token);
    assert_null(principal.scopes);
    assert_null(principal.certificate_sha256);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                session_principal(store, fixture->arena, hash, true, &principal, error));

    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, token_revoke(store, id, error));
    store_rollback(store);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, token_revoke(store, id, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, token_revoke(store, id, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, token_revoke(store, "no id", error));
    fixture_commit(fixture);
    nobody_has(fixture, hash);
}

static void token_ends_at_its_time(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned char hash[SECRET_HASH_BYTES] = {9};
    (void)create(fixture, &(struct new_token){.name = "over",
                                              .prefix = "pst_over",
                                              .hash = hash,
                                              .roles = ROLE_ROOM,
                                              .expires_at_us = clock_now_us() - second_us});
    nobody_has(fixture, hash);
}

static void tokens_are_listed_newest_first(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct store *store = fixture->store;
    fixture_begin(fixture, fixture->other_clinic_id);
    for (unsigned char i = 0; i < 5; i++) { /* all of one moment: the id decides */
        unsigned char hash[SECRET_HASH_BYTES] = {100, i};
        (void)fixture_token(fixture, "listed", hash, ROLE_ROOM);
    }
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->other_clinic_id);
    struct store_page page = {.limit = 2};
    size_t total = 0;
    const char *before = "~";
    do {
        struct api_token *items = NULL;
        size_t count = 0;
        CHECK(fixture,
              token_list(store, fixture->arena, &page, &items, &count, &page.cursor, error));
        for (size_t i = 0; i < count; i++) {
            assert_true(strcmp(items[i].id, before) < 0);
            before = items[i].id;
            assert_string_equal(items[i].prefix, "pst_fixture");
            assert_false(items[i].expires_soon);
            assert_true(items[i].last_used_at_us == 0);
        }
        total += count;
    } while (page.cursor != NULL);
    assert_int_equal(total, 5);
    page.cursor = "never a cursor";
    struct api_token *items = NULL;
    size_t count = 0;
    CHECK_FAILS(fixture, ERROR_INVALID,
                token_list(store, fixture->arena, &page, &items, &count, &page.cursor, error));
    assert_string_equal(error->detail, "cursor");
}

/* ---- what a token carries ---- */

static void scopes_and_certificate_come_back(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned char hash[SECRET_HASH_BYTES] = {20};
    static const char certificate[] =
        "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff";
    const int64_t expires_at_us = clock_now_us() + 30 * day_us;
    const char *id = create(fixture, &(struct new_token){.name = "record system",
                                                         .prefix = "pst_scoped",
                                                         .hash = hash,
                                                         .roles = ROLE_INTEGRATION,
                                                         .scopes = "patients:read studies:create",
                                                         .certificate_sha256 = certificate,
                                                         .expires_at_us = expires_at_us});
    struct principal principal = principal_of(fixture, hash);
    assert_string_equal(principal.scopes, "patients:read studies:create");
    assert_string_equal(principal.certificate_sha256, certificate);
    struct api_token token = get(fixture, id);
    assert_string_equal(token.scopes, "patients:read studies:create");
    assert_string_equal(token.certificate_sha256, certificate);
    assert_true(token.expires_at_us == expires_at_us);
    assert_true(token.rotated_at_us == 0 && token.former_until_us == 0);
    assert_true(token.last_used_at_us != 0);
    assert_string_equal(token.last_used_from, "192.0.2.7");
    rotate(fixture, id, 20, 60);
    const unsigned char rotated[SECRET_HASH_BYTES] = {20, 'r'};
    principal = principal_of(fixture, rotated);
    assert_string_equal(principal.scopes, "patients:read studies:create");
    assert_string_equal(principal.certificate_sha256, certificate);
}

static void a_token_expires_soon_within_a_fortnight(void **state)
{
    struct fixture *fixture = *state;
    for (unsigned char days = 13; days <= 15; days += 2) {
        unsigned char hash[SECRET_HASH_BYTES] = {30, days};
        const char *id =
            create(fixture, &(struct new_token){.name = "soon",
                                                .prefix = "pst_soon",
                                                .hash = hash,
                                                .roles = ROLE_ROOM,
                                                .expires_at_us = clock_now_us() + days * day_us});
        assert_int_equal(get(fixture, id).expires_soon, days < 14);
    }
}

/* ---- rotation ---- */

static void former_secret_works_until_the_overlap_ends(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned char hash[SECRET_HASH_BYTES] = {40};
    const char *id =
        create(fixture, &(struct new_token){.name = "rotated",
                                            .prefix = "pst_before",
                                            .hash = hash,
                                            .roles = ROLE_ROOM,
                                            .expires_at_us = clock_now_us() + 10 * day_us});
    /* Made four days ago for ten: it gets ten again. */
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "update penstock.api_token set"
                                      " created_at = created_at - interval '4 days',"
                                      " expires_at = expires_at - interval '4 days'"
                                      " where id = '%s'",
                                      id));
    rotate(fixture, id, 40, 3600);
    struct api_token token = get(fixture, id);
    int64_t off_us = token.expires_at_us - (clock_now_us() + 10 * day_us);
    assert_true(off_us > -60 * second_us && off_us < 60 * second_us);
    assert_string_equal(token.prefix, "pst_rotated");
    off_us = token.former_until_us - (token.rotated_at_us + 3600 * second_us);
    assert_true(off_us == 0);
    assert_string_equal(principal_of(fixture, hash).id, id);
    has_rotated(fixture, 40, id);
    fixture_sql(fixture, "update penstock.former_secret set expires_at = now()");
    nobody_has(fixture, hash);
    has_rotated(fixture, 40, id);
    assert_true(get(fixture, id).former_until_us == 0);
    rotate(fixture, id, 41, 0);
    has_rotated(fixture, 40, NULL);
    has_rotated(fixture, 41, id);
    assert_string_equal(fixture_value(fixture, "select count(*) from penstock.former_secret"
                                               " where expires_at < now() - interval '1 minute'"),
                        "0");
}

static void a_new_end_shortens_what_was_granted_and_never_lengthens_it(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned char hash[SECRET_HASH_BYTES] = {45};
    const char *id =
        create(fixture, &(struct new_token){.name = "nearly over",
                                            .prefix = "pst_nearly",
                                            .hash = hash,
                                            .roles = ROLE_ROOM,
                                            .expires_at_us = clock_now_us() + 100 * second_us});
    struct api_token before = get(fixture, id);
    rotate(fixture, id, 45, 3600);
    assert_true(get(fixture, id).former_until_us == before.expires_at_us);
    rotate(fixture, id, 46, 3600);
    assert_string_equal(principal_of(fixture, hash).id, id);
    rotate(fixture, id, 47, 0); /* it has leaked: everything else ends now */
    nobody_has(fixture, hash);
    has_rotated(fixture, 45, NULL);
    has_rotated(fixture, 46, NULL);
    has_rotated(fixture, 47, id);
}

static void revoked_tokens_are_not_rotated_and_their_former_secrets_end(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    static const unsigned char hash[SECRET_HASH_BYTES] = {50};
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = fixture_token(fixture, "to be revoked", hash, ROLE_ROOM);
    fixture_commit(fixture);
    rotate(fixture, id, 50, 3600);
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                token_rotate(fixture->store, id, hash, "pst_other", 0, error));
    store_rollback(fixture->store);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, token_revoke(fixture->store, id, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                token_rotate(fixture->store, id, hash, "pst_revoked", 0, error));
    struct api_token token;
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                token_get(fixture->store, fixture->arena, id, &token, error));
    fixture_commit(fixture);
    nobody_has(fixture, hash);
    has_rotated(fixture, 50, NULL);
}

enum { ROTATIONS = 8 };

struct rotation {
    struct fixture *fixture;
    const char *token_id;
    unsigned char number;
    struct error error;
    bool done;
};

static void *rotate_beside_others(void *argument)
{
    struct rotation *rotation = argument;
    struct fixture *fixture = rotation->fixture;
    const unsigned char hash[SECRET_HASH_BYTES] = {rotation->number, 'r'};
    struct store *store = store_new(fixture->owner);
    rotation->done =
        store_begin(store, fixture->clinic_id, fixture->account_id, &rotation->error) &&
        token_rotate(store, rotation->token_id, hash, "pst_beside", 3600, &rotation->error) &&
        store_commit(store, &rotation->error);
    store_free(store);
    return NULL;
}

/* Whoever was given a secret can use it, also when somebody else was given one at the same time. */
static void rotations_at_once_lose_no_secret(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned char hash[SECRET_HASH_BYTES] = {60};
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = fixture_token(fixture, "rotated at once", hash, ROLE_ROOM);
    fixture_commit(fixture);
    pthread_t threads[ROTATIONS];
    struct rotation rotations[ROTATIONS];
    for (int i = 0; i < ROTATIONS; i++) {
        rotations[i] = (struct rotation){
            .fixture = fixture, .token_id = id, .number = (unsigned char)(100 + i)};
        assert_int_equal(pthread_create(&threads[i], NULL, rotate_beside_others, &rotations[i]), 0);
    }
    for (int i = 0; i < ROTATIONS; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
        assert_true(rotations[i].done);
    }
    assert_string_equal(principal_of(fixture, hash).id, id);
    for (int i = 0; i < ROTATIONS; i++) {
        has_rotated(fixture, (unsigned char)(100 + i), id);
    }
    assert_string_equal(
        fixture_value(fixture, arena_printf(fixture->arena,
                                            "select count(*) from penstock.former_secret"
                                            " where token_id = '%s'",
                                            id)),
        "8");
}

static const char insert_former[] =
    "insert into penstock.former_secret (clinic_id, token_hash, token_id, expires_at)"
    " select clinic_id, decode(repeat('ab', 32), 'hex'), id, now() + interval '1 day'"
    " from penstock.api_token limit 1";

/* What only the functions of the database may do. */
static void secrets_stay_out_of_reach(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned char hash[SECRET_HASH_BYTES] = {70};
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = fixture_token(fixture, "out of reach", hash, ROLE_ROOM);
    fixture_commit(fixture);
    rotate(fixture, id, 70, 3600);
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    static const char *const refused[] = {
        "select token_hash from penstock.former_secret",
        "insert into penstock.former_secret select * from penstock.former_secret",
        insert_former,
        "update penstock.former_secret set expires_at = now() + interval '1 year'",
        "delete from penstock.former_secret",
        "update penstock.api_token set token_hash = decode(repeat('ab', 32), 'hex')",
        "update penstock.api_token set scopes = null",
        "update penstock.api_token set certificate_hash = null",
        "update penstock.api_token set roles = 127",
    };
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        assert_string_equal(fixture_sqlstate(fixture, connection, refused[i]), "42501");
    }
    PQfinish(connection);
}

int main(void)
{
#define TOKEN_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        TOKEN_TEST(token_works_until_it_is_revoked),
        TOKEN_TEST(token_ends_at_its_time),
        TOKEN_TEST(tokens_are_listed_newest_first),
        TOKEN_TEST(scopes_and_certificate_come_back),
        TOKEN_TEST(a_token_expires_soon_within_a_fortnight),
        TOKEN_TEST(former_secret_works_until_the_overlap_ends),
        TOKEN_TEST(a_new_end_shortens_what_was_granted_and_never_lengthens_it),
        TOKEN_TEST(revoked_tokens_are_not_rotated_and_their_former_secrets_end),
        TOKEN_TEST(rotations_at_once_lose_no_secret),
        TOKEN_TEST(secrets_stay_out_of_reach),
    };
    return cmocka_run_group_tests_name("store: tokens", tests, fixture_setup, fixture_teardown);
}
