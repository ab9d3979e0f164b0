/* Sign-ins that are on their way, and the accounts of a provider's subjects. */
#include "fixture.h"

#include "base/clock.h"
#include "store/store_single_sign_on.h"

#include <string.h>

#define ISSUER   "https://sso.tarn-valley.example"
#define VERIFIER "dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk"

static const struct sign_in_attempt attempt = {"a nonce", VERIFIER, "/today"};

static const unsigned char browser[SECRET_HASH_BYTES] = {7};
static const unsigned char other_browser[SECRET_HASH_BYTES] = {8};

static void begin(struct fixture *fixture, unsigned char number, int life_s)
{
    const unsigned char state[SECRET_HASH_BYTES] = {number};
    CHECK(fixture,
          sign_in_attempt_begin(fixture->store, state, browser, &attempt, life_s, &fixture->error));
}

static bool take(struct fixture *fixture, unsigned char number,
                 const unsigned char hash[SECRET_HASH_BYTES])
{
    const unsigned char state[SECRET_HASH_BYTES] = {number};
    struct sign_in_attempt taken = {0};
    bool found =
        sign_in_attempt_take(fixture->store, fixture->arena, state, hash, &taken, &fixture->error);
    if (found) {
        assert_string_equal(taken.nonce, attempt.nonce);
        assert_string_equal(taken.code_verifier, attempt.code_verifier);
        assert_string_equal(taken.next, attempt.next);
    } else {
        assert_int_equal(fixture->error.kind, ERROR_NOT_FOUND);
    }
    return found;
}

static void an_attempt_is_taken_once_by_the_browser_that_began(void **state)
{
    struct fixture *fixture = *state;
    begin(fixture, 1, 600);
    assert_false(take(fixture, 1, other_browser));
    assert_false(take(fixture, 2, browser));
    assert_true(take(fixture, 1, browser));
    assert_false(take(fixture, 1, browser));
}

static void an_attempt_that_is_over_is_not_taken_and_is_forgotten(void **state)
{
    struct fixture *fixture = *state;
    begin(fixture, 3, 0);
    assert_false(take(fixture, 3, browser));
    begin(fixture, 4, 600);
    assert_string_equal(fixture_value(fixture, "select count(*) from penstock.sign_in_attempt"),
                        "1");
    assert_true(take(fixture, 4, browser));
}

/* A statement outside transactions may be sent twice. */
static void beginning_twice_is_beginning_once(void **state)
{
    struct fixture *fixture = *state;
    begin(fixture, 5, 600);
    begin(fixture, 5, 600);
    assert_true(take(fixture, 5, browser));
    assert_false(take(fixture, 5, browser));
}

static void attempts_that_are_over_go(void **state)
{
    struct fixture *fixture = *state;
    fixture_sql(fixture, "insert into penstock.sign_in_attempt"
                         " select sha256(n::text::bytea), sha256('x'), 'n', repeat('v', 43), '/',"
                         " now() from generate_series(1, 50) n");
    for (unsigned char i = 0; i < 3; i++) {
        begin(fixture, 6 + i, 600);
    }
    assert_string_equal(fixture_value(fixture, "select count(*) from penstock.sign_in_attempt"
                                               " where expires_at <= now()"),
                        "0");
    for (unsigned char i = 0; i < 3; i++) {
        assert_true(take(fixture, 6 + i, browser));
    }
}

/* Only through the functions, of which each gives one row for two secrets. */
static void the_server_cannot_touch_the_table(void **state)
{
    struct fixture *fixture = *state;
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    static const char *const statements[] = {
        "select from penstock.sign_in_attempt",
        "delete from penstock.sign_in_attempt",
        "update penstock.sign_in_attempt set next = '/'",
        "insert into penstock.sign_in_attempt values ('a', 'b', 'n', 'v', '/', now())",
        "alter table penstock.sign_in_attempt disable row level security",
        "create policy everything on penstock.sign_in_attempt using (true)",
    };
    for (size_t i = 0; i < sizeof statements / sizeof statements[0]; i++) {
        assert_string_equal(fixture_sqlstate(fixture, connection, statements[i]), "42501");
    }
    PQfinish(connection);
}

static const char *add_account(struct fixture *fixture, const char *clinic_id, const char *username,
                               const char *subject)
{
    const char *id = NULL;
    fixture_begin(fixture, clinic_id);
    CHECK(fixture, account_create(fixture->store, fixture->arena, username, "A name", "", ROLE_ROOM,
                                  &id, &fixture->error));
    CHECK(fixture, account_set_subject(fixture->store, id, ISSUER, subject, &fixture->error));
    fixture_commit(fixture);
    return id;
}

static bool find(struct fixture *fixture, const char *issuer, const char *subject,
                 struct principal *ret_principal)
{
    bool found = account_for_subject(fixture->store, fixture->arena, issuer, subject, ret_principal,
                                     &fixture->error);
    assert_true(found || fixture->error.kind == ERROR_NOT_FOUND);
    return found;
}

static void a_subject_leads_to_its_account_in_whichever_clinic(void **state)
{
    struct fixture *fixture = *state;
    const char *one = add_account(fixture, fixture->clinic_id, "sso-one", "one");
    const char *two = add_account(fixture, fixture->other_clinic_id, "sso-two", "two");
    struct principal principal;
    assert_true(find(fixture, ISSUER, "one", &principal));
    assert_string_equal(principal.id, one);
    assert_string_equal(principal.clinic_id, fixture->clinic_id);
    assert_string_equal(principal.name, "sso-one");
    assert_int_equal(principal.roles, ROLE_ROOM);
    assert_false(principal.is_token);
    assert_true(find(fixture, ISSUER, "two", &principal));
    assert_string_equal(principal.id, two);
    assert_string_equal(principal.clinic_id, fixture->other_clinic_id);

    static const char *const others[][2] = {
        {ISSUER, "ONE"},     {ISSUER, "one "},     {ISSUER, ""},
        {ISSUER "/", "one"}, {"", ISSUER "\none"}, {ISSUER "\none", ""},
    };
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
        assert_false(find(fixture, others[i][0], others[i][1], &principal));
    }
    fixture_sql(fixture, "update penstock.account set active = false where username = 'sso-two'");
    assert_false(find(fixture, ISSUER, "two", &principal));
}

static void a_subject_belongs_to_one_account_of_the_installation(void **state)
{
    struct fixture *fixture = *state;
    (void)add_account(fixture, fixture->clinic_id, "sso-three", "three");
    const char *id = NULL;
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK(fixture, account_create(fixture->store, fixture->arena, "sso-four", "", "", 1, &id,
                                  &fixture->error));
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                account_set_subject(fixture->store, id, ISSUER, "three", &fixture->error));
    assert_string_equal(fixture->error.detail, "single_sign_on");
    store_rollback(fixture->store);
}

static const struct session_origin origin = {
    .address = "192.0.2.7", .user_agent = "a browser", .by_provider = true};

/* The provider has judged who it is. The same account owes both when it signs in with a password.
 */
static void whom_the_provider_lets_in_owes_nothing(void **state)
{
    struct fixture *fixture = *state;
    struct store *store = fixture->store;
    struct error *error = &fixture->error;
    const char *id = add_account(fixture, fixture->clinic_id, "sso-owing", "owing");
    const struct account_change temporary = {.roles = -1, .active = -1, .must_change_password = 1};
    struct principal principal = {0};
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, account_update(store, id, 1, &temporary, error));
    fixture_commit(fixture);
    fixture_sql(fixture, "update penstock.clinic set second_factor_roles = 127");
    assert_true(find(fixture, ISSUER, "owing", &principal));
    assert_true(principal.by_provider);
    for (unsigned char by_provider = 0; by_provider <= 1; by_provider++) {
        const unsigned char hash[SECRET_HASH_BYTES] = {56, by_provider};
        const struct session_origin where = {
            .address = "", .user_agent = "", .by_provider = by_provider != 0};
        int64_t expires_at_us = 0;
        fixture_begin(fixture, fixture->clinic_id);
        CHECK(fixture, session_create(store, id, hash, &where, 60, &expires_at_us, error));
        fixture_commit(fixture);
        CHECK(fixture, session_principal(store, fixture->arena, hash, true, &principal, error));
        assert_int_equal(principal.by_provider, by_provider);
        assert_int_equal(principal.owes, by_provider ? 0 : OWES_PASSWORD | OWES_SECOND_FACTOR);
    }
    fixture_sql(fixture, "update penstock.clinic set second_factor_roles = 0");
}

/* Not by when the session began: the provider may only have recognised the person. */
static void a_sign_in_is_fresh_when_the_provider_has_just_asked(void **state)
{
    struct fixture *fixture = *state;
    struct store *store = fixture->store;
    struct error *error = &fixture->error;
    const char *id = add_account(fixture, fixture->clinic_id, "sso-fresh", "fresh");
    const int64_t now_s = clock_now_us() / 1000000;

    const struct {
        int64_t authenticated_at_s;
        bool fresh;
    } cases[] = {{0, false}, {now_s, true}, {now_s - 500, true}, {now_s - 610, false}};

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const unsigned char hash[SECRET_HASH_BYTES] = {57, (unsigned char)i};
        const struct session_origin where = {.address = "",
                                             .user_agent = "",
                                             .by_provider = true,
                                             .authenticated_at_s = cases[i].authenticated_at_s};
        struct principal principal = {0};
        int64_t expires_at_us = 0;
        bool fresh = !cases[i].fresh;
        fixture_begin(fixture, fixture->clinic_id);
        CHECK(fixture, session_create(store, id, hash, &where, 60, &expires_at_us, error));
        fixture_commit(fixture);
        CHECK(fixture, session_principal(store, fixture->arena, hash, true, &principal, error));
        fixture_begin(fixture, fixture->clinic_id);
        CHECK(fixture, session_is_fresh(store, id, principal.session_id, 600, &fresh, error));
        assert_int_equal(fresh, cases[i].fresh);
        /* another account's session */
        CHECK(fixture, session_is_fresh(store, principal.session_id, principal.session_id, 600,
                                        &fresh, error));
        assert_false(fresh);
        store_rollback(store);
    }
}

static void setting_a_subject_ends_the_sessions(void **state)
{
    struct fixture *fixture = *state;
    const char *id = add_account(fixture, fixture->clinic_id, "sso-five", "five");
    const unsigned char hash[SECRET_HASH_BYTES] = {55};
    int64_t expires_at_us = 0;
    struct principal principal;
    struct account account;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          session_create(fixture->store, id, hash, &origin, 60, &expires_at_us, &fixture->error));
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, account_set_subject(fixture->store, id, NULL, NULL, &fixture->error));
    CHECK(fixture, account_get(fixture->store, fixture->arena, id, &account, &fixture->error));
    assert_null(account.sign_in_issuer);
    assert_null(account.sign_in_subject);
    fixture_commit(fixture);
    CHECK_FAILS(
        fixture, ERROR_NOT_FOUND,
        session_principal(fixture->store, fixture->arena, hash, true, &principal, &fixture->error));
    assert_false(find(fixture, ISSUER, "five", &principal));
}

static void an_account_of_another_clinic_is_not_there(void **state)
{
    struct fixture *fixture = *state;
    const char *id = add_account(fixture, fixture->other_clinic_id, "sso-six", "six");
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                account_set_subject(fixture->store, id, ISSUER, "seven", &fixture->error));
    store_rollback(fixture->store);
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    PGresult *rows = PQexec(connection, "select sign_in_subject from penstock.account"
                                        " where username = 'sso-six'");
    assert_int_equal(PQntuples(rows), 0);
    PQclear(rows);
    assert_string_equal(fixture_sqlstate(fixture, connection,
                                         "update penstock.account set sign_in_subject = null"
                                         " where sign_in_subject is not null"),
                        "23514"); /* both or neither */
    PQfinish(connection);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(an_attempt_is_taken_once_by_the_browser_that_began,
                                  fixture_after_test),
        cmocka_unit_test_teardown(an_attempt_that_is_over_is_not_taken_and_is_forgotten,
                                  fixture_after_test),
        cmocka_unit_test_teardown(beginning_twice_is_beginning_once, fixture_after_test),
        cmocka_unit_test_teardown(attempts_that_are_over_go, fixture_after_test),
        cmocka_unit_test_teardown(the_server_cannot_touch_the_table, fixture_after_test),
        cmocka_unit_test_teardown(a_subject_leads_to_its_account_in_whichever_clinic,
                                  fixture_after_test),
        cmocka_unit_test_teardown(a_subject_belongs_to_one_account_of_the_installation,
                                  fixture_after_test),
        cmocka_unit_test_teardown(whom_the_provider_lets_in_owes_nothing, fixture_after_test),
        cmocka_unit_test_teardown(a_sign_in_is_fresh_when_the_provider_has_just_asked,
                                  fixture_after_test),
        cmocka_unit_test_teardown(setting_a_subject_ends_the_sessions, fixture_after_test),
        cmocka_unit_test_teardown(an_account_of_another_clinic_is_not_there, fixture_after_test),
    };
    return cmocka_run_group_tests(tests, fixture_setup, fixture_teardown);
}
