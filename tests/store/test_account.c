/* Accounts, sessions and bearer tokens. */
#include "fixture.h"

#include "base/clock.h"
#include "store/store_second_factor.h"
#include "store/store_single_sign_on.h"

#include <string.h>

enum { MINUTE_S = 60 };

static const int64_t second_us = 1000000;

static void roles_have_names(void **state)
{
    (void)state;
    static const char *const names[] = {"room",        "clinician", "physician",    "referrer",
                                        "integration", "auditor",   "administrator"};
    unsigned all = 0;
    for (unsigned i = 0; i < 7; i++) {
        assert_string_equal(role_name(1U << i), names[i]);
        assert_int_equal(role_from_name(names[i]), 1U << i);
        all |= 1U << i;
    }
    assert_int_equal(all, ROLE_ANY);
    assert_null(role_name(0));
    assert_null(role_name(3));
    assert_null(role_name(128));
    assert_int_equal(role_from_name("root"), 0);
}

static void sign_in_finds_the_account(void **state)
{
    struct fixture *fixture = *state;
    struct principal principal;
    struct credential credential = {0};
    CHECK(fixture, account_for_sign_in(fixture->store, fixture->arena, "FIRST.person", &principal,
                                       &credential, &fixture->error));
    assert_string_equal(principal.id, fixture->account_id);
    assert_string_equal(principal.clinic_id, fixture->clinic_id);
    assert_string_equal(principal.clinic_name, "Tarn Valley Continence Clinic");
    assert_string_equal(principal.name, "first.person");
    assert_string_equal(principal.display_name, "First Person");
    assert_int_equal(principal.roles, ROLE_CLINICIAN | ROLE_ADMINISTRATOR);
    assert_false(principal.is_token);
    assert_string_equal(credential.password_hash, "hash of a password");
    assert_int_equal(credential.version, 1);
    assert_int_equal(principal.owes, 0);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                account_for_sign_in(fixture->store, fixture->arena, "nobody", &principal,
                                    &credential, &fixture->error));
}

static void usernames_are_unique_over_all_clinics(void **state)
{
    struct fixture *fixture = *state;
    const char *id = NULL;
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                account_create(fixture->store, fixture->arena, "First.PERSON", "", "hash", 1, &id,
                               &fixture->error));
    CHECK(fixture, account_create(fixture->store, fixture->arena, "still usable", "", "hash", 1,
                                  &id, &fixture->error));
    fixture_commit(fixture);
}

static void account_changes_need_the_version(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct store *store = fixture->store;
    const char *id = NULL;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, account_create(store, fixture->arena, "changing", "Before", "hash", ROLE_ROOM,
                                  &id, error));
    const struct account_change name = {.display_name = "After", .roles = -1, .active = -1};
    CHECK(fixture, account_update(store, id, 1, &name, error));
    CHECK_FAILS(fixture, ERROR_STALE, account_update(store, id, 1, &name, error));
    const struct account_change roles = {.roles = ROLE_AUDITOR, .active = -1};
    CHECK(fixture, account_update(store, id, 2, &roles, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                account_update(store, fixture->clinic_id, 1, &name, error));
    struct account account;
    CHECK(fixture, account_get(store, fixture->arena, id, &account, error));
    assert_string_equal(account.display_name, "After");
    assert_string_equal(account.username, "changing");
    assert_int_equal(account.roles, ROLE_AUDITOR);
    assert_true(account.active);
    assert_int_equal(account.version, 3);
    int64_t age_us = clock_now_us() - account.created_at_us;
    assert_true(age_us > -MINUTE_S * second_us && age_us < MINUTE_S * second_us);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                account_get(store, fixture->arena, fixture->other_clinic_id, &account, error));
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, account_get(store, fixture->arena, id, &account, error));
}

static void accounts_are_listed_page_by_page(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *id = NULL;
    fixture_begin(fixture, fixture->clinic_id);
    for (int i = 0; i < 7; i++) {
        const char *username = arena_printf(fixture->arena, "page-%d", i);
        CHECK(fixture,
              account_create(fixture->store, fixture->arena, username, "", "hash", 1, &id, error));
    }
    struct store_page page = {.limit = 3};
    size_t total = 0;
    const char *before = "";
    do {
        struct account *items = NULL;
        size_t count = 0;
        CHECK(fixture, account_list(fixture->store, fixture->arena, &page, &items, &count,
                                    &page.cursor, error));
        assert_true(count > 0 && count <= 3);
        for (size_t i = 0; i < count; i++) {
            assert_true(strcmp(before, items[i].username) < 0);
            before = items[i].username;
        }
        total += count;
    } while (page.cursor != NULL);
    /* The seven are not committed yet: another connection counts without them. */
    const char *expected =
        fixture_value(fixture, arena_printf(fixture->arena,
                                            "select count(*) + 7 from penstock.account"
                                            " where clinic_id = '%s'",
                                            fixture->clinic_id));
    assert_string_equal(arena_printf(fixture->arena, "%zu", total), expected);
}

/* ---- sessions ---- */

static const struct session_origin origin = {
    .address = "192.0.2.7", .user_agent = "a browser", .by_provider = false};

static void new_session(struct fixture *fixture, const unsigned char hash[SECRET_HASH_BYTES],
                        int64_t lasts_s)
{
    int64_t expires_at_us = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, session_create(fixture->store, fixture->account_id, hash, &origin, lasts_s,
                                  &expires_at_us, &fixture->error));
    int64_t off_us = expires_at_us - (clock_now_us() + lasts_s * second_us);
    assert_true(off_us > -60 * second_us && off_us < 60 * second_us);
    fixture_commit(fixture);
}

static bool holds_when(struct fixture *fixture, const unsigned char hash[SECRET_HASH_BYTES],
                       bool counts)
{
    struct principal principal;
    if (!session_principal(fixture->store, fixture->arena, hash, counts, &principal,
                           &fixture->error)) {
        assert_int_equal(fixture->error.kind, ERROR_NOT_FOUND);
        return false;
    }
    assert_string_equal(principal.id, fixture->account_id);
    assert_string_equal(principal.clinic_id, fixture->clinic_id);
    assert_string_equal(principal.name, "first.person");
    assert_false(principal.is_token);
    return true;
}

static bool holds(struct fixture *fixture, const unsigned char hash[SECRET_HASH_BYTES])
{
    return holds_when(fixture, hash, true);
}

static void session_lasts_until_it_is_deleted(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned char hash[SECRET_HASH_BYTES] = {1};
    static const unsigned char other[SECRET_HASH_BYTES] = {2};
    new_session(fixture, hash, 3600);
    assert_true(holds(fixture, hash));
    assert_false(holds(fixture, other));
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK(fixture, session_delete(fixture->store, hash, &fixture->error));
    fixture_commit(fixture);
    assert_true(holds(fixture, hash)); /* not another clinic's to end */
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, session_delete(fixture->store, hash, &fixture->error));
    fixture_commit(fixture);
    assert_false(holds(fixture, hash));
}

static void session_ends_at_its_time(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned char over[SECRET_HASH_BYTES] = {3};
    static const unsigned char idle[SECRET_HASH_BYTES] = {4};
    new_session(fixture, over, -1);
    assert_false(holds(fixture, over));
    new_session(fixture, idle, 3600);
    fixture_sql(fixture, "update penstock.session"
                         " set last_used_at = now() - interval '29 minutes 30 seconds'"
                         " where get_byte(session_hash, 0) = 4");
    assert_true(holds_when(fixture, idle, false)); /* which is no use of it */
    assert_string_equal(fixture_value(fixture, "select count(*) from penstock.session"
                                               " where get_byte(session_hash, 0) = 4"
                                               " and last_used_at < now() - interval '29 minutes'"),
                        "1");
    assert_true(holds(fixture, idle)); /* and is in use again */
    assert_string_equal(fixture_value(fixture, "select last_used_at > now() - interval '20 seconds'"
                                               " from penstock.session"
                                               " where get_byte(session_hash, 0) = 4"),
                        "t");
    fixture_sql(fixture, "update penstock.session set last_used_at = now() - interval '31 minutes'"
                         " where get_byte(session_hash, 0) = 4");
    assert_false(holds(fixture, idle));
    /* What is over goes with the next sign-in of the same person. */
    static const unsigned char next[SECRET_HASH_BYTES] = {5};
    new_session(fixture, next, 3600);
    assert_string_equal(fixture_value(fixture, "select count(*) from penstock.session"
                                               " where get_byte(session_hash, 0) in (3, 4)"),
                        "0");
}

static void use_is_noted_once_a_minute(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned char hash[SECRET_HASH_BYTES] = {6};
    new_session(fixture, hash, 3600);
    fixture_sql(fixture, "update penstock.session set last_used_at = now() - interval '30 seconds'"
                         " where get_byte(session_hash, 0) = 6");
    const char *sql = "select last_used_at::text from penstock.session"
                      " where get_byte(session_hash, 0) = 6";
    const char *before = fixture_value(fixture, sql);
    assert_true(holds(fixture, hash));
    assert_string_equal(fixture_value(fixture, sql), before);
}

static void closed_account_and_new_password_end_sessions(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct store *store = fixture->store;
    const char *id = NULL;
    static const unsigned char hash[SECRET_HASH_BYTES] = {7};
    const struct account_change changes[] = {
        {.password_hash = "new", .roles = -1, .active = -1},
        {.roles = -1, .active = 0},
    };
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, account_create(store, fixture->arena, "leaving", "", "hash", 1, &id, error));
    fixture_commit(fixture);
    struct principal principal;
    for (int i = 0; i < 2; i++) {
        fixture_begin(fixture, fixture->clinic_id);
        int64_t expires_at_us = 0;
        CHECK(fixture, session_create(store, id, hash, &origin, 3600, &expires_at_us, error));
        fixture_commit(fixture);
        CHECK(fixture, session_principal(store, fixture->arena, hash, true, &principal, error));
        fixture_begin(fixture, fixture->clinic_id);
        CHECK(fixture, account_update(store, id, i + 1, &changes[i], error));
        fixture_commit(fixture);
        CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                    session_principal(store, fixture->arena, hash, true, &principal, error));
    }
    struct credential credential = {0};
    CHECK_FAILS(
        fixture, ERROR_NOT_FOUND,
        account_for_sign_in(store, fixture->arena, "leaving", &principal, &credential, error));
}

/* ---- what was judged before the sessions of an account ended ---- */

static int epoch_now(struct fixture *fixture)
{
    struct principal principal;
    struct credential credential = {0};
    CHECK(fixture, account_for_sign_in(fixture->store, fixture->arena, "first.person", &principal,
                                       &credential, &fixture->error));
    return principal.session_epoch;
}

static bool end_all(struct store *store, const char *id, struct error *reterr)
{
    return session_end_all(store, id, NULL, reterr);
}

static bool own_password(struct store *store, const char *id, struct error *reterr)
{
    return account_set_password(store, id, "hash", reterr);
}

static bool no_subject(struct store *store, const char *id, struct error *reterr)
{
    return account_set_subject(store, id, NULL, NULL, reterr);
}

static void whatever_ends_sessions_outdates_what_was_judged(void **state)
{
    struct fixture *fixture = *state;
    struct store *store = fixture->store;
    struct error *error = &fixture->error;
    const char *id = fixture->account_id;
    bool (*const ends[])(struct store *, const char *, struct error *) = {
        end_all, own_password, no_subject, second_factor_remove};
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        int before = epoch_now(fixture);
        fixture_begin(fixture, fixture->clinic_id);
        CHECK(fixture, account_hold(store, id, before, error));
        CHECK(fixture, ends[i](store, id, error));
        fixture_commit(fixture);
        fixture_begin(fixture, fixture->clinic_id);
        CHECK_FAILS(fixture, ERROR_STALE, account_hold(store, id, before, error));
        store_rollback(store);
        fixture_begin(fixture, fixture->clinic_id);
        CHECK(fixture, account_hold(store, id, before + 1, error));
        store_rollback(store);
        fixture_begin(fixture, fixture->other_clinic_id);
        CHECK_FAILS(fixture, ERROR_STALE, account_hold(store, id, before + 1, error));
        store_rollback(store);
    }
}

static void a_change_by_others_outdates_where_it_ends_sessions(void **state)
{
    struct fixture *fixture = *state;
    struct store *store = fixture->store;
    struct error *error = &fixture->error;
    const struct account_change changes[] = {
        {.display_name = "Other", .roles = 1, .active = -1, .must_change_password = -1},
        {.password_hash = "new", .roles = -1, .active = -1, .must_change_password = -1},
        {.roles = -1, .active = 0, .must_change_password = -1},
        {.roles = -1, .active = 1, .must_change_password = -1},
    };
    static const int epochs[] = {0, 1, 2, 2};

    static const enum error_kind held[] = {ERROR_NONE, ERROR_NONE, ERROR_STALE, ERROR_NONE};

    const char *id = NULL;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, account_create(store, fixture->arena, "outdating", "", "hash", 1, &id, error));
    for (int i = 0; i < 4; i++) {
        CHECK(fixture, account_update(store, id, i + 1, &changes[i], error));
        struct error kind = {0};
        assert_int_equal(account_hold(store, id, epochs[i], &kind), held[i] == ERROR_NONE);
        assert_int_equal(kind.kind, held[i]);
    }
    fixture_commit(fixture);
}

/* A stolen cookie of somebody who has left does not look as if it were in use. */
static void use_by_a_closed_account_is_not_noted(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned char hash[SECRET_HASH_BYTES] = {8};
    new_session(fixture, hash, 3600);
    fixture_sql(fixture, "update penstock.session set last_used_at = now() - interval '9 minutes'"
                         " where get_byte(session_hash, 0) = 8");
    fixture_sql(fixture, "update penstock.account set active = false"
                         " where username = 'first.person'");
    bool held = holds(fixture, hash);
    fixture_sql(fixture, "update penstock.account set active = true"
                         " where username = 'first.person'");
    assert_false(held);
    assert_string_equal(fixture_value(fixture, "select last_used_at < now() - interval '8 minutes'"
                                               " from penstock.session"
                                               " where get_byte(session_hash, 0) = 8"),
                        "t");
}

static size_t sessions_of(struct fixture *fixture, struct session **ret_sessions)
{
    size_t count = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, session_list(fixture->store, fixture->arena, fixture->account_id, ret_sessions,
                                &count, &fixture->error));
    fixture_commit(fixture);
    return count;
}

static void sessions_are_listed_and_ended(void **state)
{
    struct fixture *fixture = *state;
    struct store *store = fixture->store;
    struct error *error = &fixture->error;
    struct session *sessions = NULL;
    fixture_sql(fixture, "delete from penstock.session");
    for (unsigned char i = 0; i < 4; i++) {
        const unsigned char hash[SECRET_HASH_BYTES] = {60, i};
        new_session(fixture, hash, 3600);
    }
    assert_int_equal(sessions_of(fixture, &sessions), 4);
    assert_string_equal(sessions[0].address, "192.0.2.7");
    assert_string_equal(sessions[0].user_agent, "a browser");
    assert_true(sessions[0].created_at_us >= sessions[3].created_at_us);
    struct principal principal;
    const unsigned char newest[SECRET_HASH_BYTES] = {60, 3};
    CHECK(fixture, session_principal(store, fixture->arena, newest, true, &principal, error));
    assert_string_equal(principal.session_id, sessions[0].id);

    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, session_end(store, fixture->account_id, sessions[1].id, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                session_end(store, fixture->account_id, sessions[1].id, error));
    store_rollback(store);
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                session_end(store, fixture->account_id, sessions[2].id, error));
    store_rollback(store);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, session_end_all(store, fixture->account_id, sessions[2].id, error));
    fixture_commit(fixture);
    const char *kept = sessions[2].id;
    assert_int_equal(sessions_of(fixture, &sessions), 1);
    assert_string_equal(sessions[0].id, kept);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, session_end_all(store, fixture->account_id, NULL, error));
    fixture_commit(fixture);
    assert_int_equal(sessions_of(fixture, &sessions), 0);
}

static void an_account_has_twenty_sessions_at_most(void **state)
{
    struct fixture *fixture = *state;
    struct session *sessions = NULL;
    for (int i = 0; i < SESSIONS_MOST + 3; i++) {
        const unsigned char hash[SECRET_HASH_BYTES] = {61, (unsigned char)i};
        new_session(fixture, hash, 3600);
    }
    assert_int_equal(sessions_of(fixture, &sessions), SESSIONS_MOST);
    for (int i = 0; i < SESSIONS_MOST + 3; i++) {
        const unsigned char hash[SECRET_HASH_BYTES] = {61, (unsigned char)i};
        assert_int_equal(holds(fixture, hash), i >= 3);
    }
    fixture_sql(fixture, "delete from penstock.session");
}

/* ---- passwords and administrators ---- */

static void own_new_password_is_owed_no_longer(void **state)
{
    struct fixture *fixture = *state;
    struct store *store = fixture->store;
    struct error *error = &fixture->error;
    const struct account_change temporary = {.roles = -1, .active = -1, .must_change_password = 1};
    const char *id = NULL;
    struct principal principal;
    struct credential credential = {0};
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, account_create(store, fixture->arena, "newcomer", "", "given", 1, &id, error));
    CHECK(fixture, account_update(store, id, 1, &temporary, error));
    fixture_commit(fixture);
    CHECK(fixture,
          account_for_sign_in(store, fixture->arena, "newcomer", &principal, &credential, error));
    assert_int_equal(principal.owes, OWES_PASSWORD);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, account_set_password(store, id, "chosen", error));
    CHECK(fixture, account_renew_hash(store, id, credential.version, "too late", error));
    fixture_commit(fixture);
    CHECK(fixture,
          account_for_sign_in(store, fixture->arena, "newcomer", &principal, &credential, error));
    assert_int_equal(principal.owes, 0);
    assert_string_equal(credential.password_hash, "chosen");
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, account_renew_hash(store, id, credential.version, "renewed", error));
    fixture_commit(fixture);
    CHECK(fixture,
          account_for_sign_in(store, fixture->arena, "newcomer", &principal, &credential, error));
    assert_string_equal(credential.password_hash, "renewed");
}

static void a_role_may_owe_a_second_factor(void **state)
{
    struct fixture *fixture = *state;
    struct principal principal;
    struct credential credential = {0};
    fixture_sql(fixture, "update penstock.clinic set second_factor_roles = 64 + 4");
    CHECK(fixture, account_for_sign_in(fixture->store, fixture->arena, "first.person", &principal,
                                       &credential, &fixture->error));
    assert_int_equal(principal.owes, OWES_SECOND_FACTOR);
    fixture_sql(fixture, "update penstock.clinic set second_factor_roles = 4");
    CHECK(fixture, account_for_sign_in(fixture->store, fixture->arena, "first.person", &principal,
                                       &credential, &fixture->error));
    assert_int_equal(principal.owes, 0);
    fixture_sql(fixture, "update penstock.clinic set second_factor_roles = 0");
}

static void one_administrator_is_the_first(void **state)
{
    struct fixture *fixture = *state;
    struct store *store = fixture->store;
    struct error *error = &fixture->error;
    const char *clinic = NULL;
    const char *id = NULL;
    const char *recovered = NULL;
    CHECK(fixture, clinic_create(store, fixture->arena, "A third clinic", &clinic, error));
    fixture_begin(fixture, clinic);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                administrator_recover(store, fixture->arena, "chief", "h", &id, error));
    store_rollback(store);
    fixture_begin(fixture, clinic);
    CHECK(fixture, administrator_create_first(store, fixture->arena, "chief", "h", &id, error));
    fixture_commit(fixture);
    fixture_begin(fixture, clinic);
    const char *other = NULL;
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                administrator_create_first(store, fixture->arena, "rival", "h", &other, error));
    store_rollback(store);
    fixture_begin(fixture, clinic);
    CHECK(fixture, administrator_recover(store, fixture->arena, "chief", "new", &recovered, error));
    fixture_commit(fixture);
    assert_string_equal(recovered, id);
    const struct account_change leaves = {.roles = -1, .active = 0, .must_change_password = -1};
    fixture_begin(fixture, clinic);
    CHECK(fixture, account_update(store, id, 2, &leaves, error));
    CHECK(fixture, administrator_create_first(store, fixture->arena, "rival", "h", &id, error));
    fixture_commit(fixture);
}

/* Only the owner learns which clinics there are, and only when he asks for it. */
static void clinics_are_listed_to_the_owner_alone(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char **ids = NULL;
    size_t count = 0;
    size_t found = 0;
    CHECK(fixture, clinic_list(fixture->owner, fixture->arena, &ids, &count, error));
    for (size_t i = 0; i < count; i++) {
        found +=
            strcmp(ids[i], fixture->clinic_id) == 0 || strcmp(ids[i], fixture->other_clinic_id) == 0
                ? 1
                : 0;
        assert_true(i == 0 || strcmp(ids[i - 1], ids[i]) < 0);
    }
    assert_int_equal(found, 2);
    CHECK(fixture, clinic_list(fixture->superuser, fixture->arena, &ids, &count, error));
    assert_true(count >= 2);
    CHECK_FAILS(fixture, ERROR_INVALID,
                clinic_list(fixture_conninfo(fixture, "penstock_app"), fixture->arena, &ids, &count,
                            error));
    CHECK_FAILS(fixture, ERROR_UNAVAILABLE,
                clinic_list("host=/nonexistent dbname=none", fixture->arena, &ids, &count, error));

    PGconn *connection = fixture_app_connection(fixture, "");
    PGresult *rows =
        PQexec(connection, "select set_config('penstock.lookup', 'every clinic', false)");
    PQclear(rows);
    rows = PQexec(connection, "select from penstock.clinic");
    assert_int_equal(PQntuples(rows), 0);
    PQclear(rows);
    PQfinish(connection);
}

static void clinic_is_known_or_not(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, clinic_is_known(fixture->store, error));
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->account_id); /* a UUID that names no clinic */
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, clinic_is_known(fixture->store, error));
}

int main(void)
{
#define ACCOUNT_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        ACCOUNT_TEST(roles_have_names),
        ACCOUNT_TEST(sign_in_finds_the_account),
        ACCOUNT_TEST(usernames_are_unique_over_all_clinics),
        ACCOUNT_TEST(account_changes_need_the_version),
        ACCOUNT_TEST(accounts_are_listed_page_by_page),
        ACCOUNT_TEST(session_lasts_until_it_is_deleted),
        ACCOUNT_TEST(session_ends_at_its_time),
        ACCOUNT_TEST(use_is_noted_once_a_minute),
        ACCOUNT_TEST(closed_account_and_new_password_end_sessions),
        ACCOUNT_TEST(whatever_ends_sessions_outdates_what_was_judged),
        ACCOUNT_TEST(a_change_by_others_outdates_where_it_ends_sessions),
        ACCOUNT_TEST(use_by_a_closed_account_is_not_noted),
        ACCOUNT_TEST(sessions_are_listed_and_ended),
        ACCOUNT_TEST(an_account_has_twenty_sessions_at_most),
        ACCOUNT_TEST(own_new_password_is_owed_no_longer),
        ACCOUNT_TEST(a_role_may_owe_a_second_factor),
        ACCOUNT_TEST(one_administrator_is_the_first),
        ACCOUNT_TEST(clinics_are_listed_to_the_owner_alone),
        ACCOUNT_TEST(clinic_is_known_or_not),
    };
    return cmocka_run_group_tests_name("store: accounts", tests, fixture_setup, fixture_teardown);
}
