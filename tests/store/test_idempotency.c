/* The same key gives the first answer, also when both requests come at once. */
#include "fixture.h"

#include "store/store_idempotency.h"

#include <pthread.h>
#include <string.h>

static const unsigned char request[IDEMPOTENCY_DIGEST_BYTES] = {1};
static const unsigned char other_request[IDEMPOTENCY_DIGEST_BYTES] = {2};

static const struct remembered_answer answer = {.status = 201,
                                                .media_type = "application/json",
                                                .etag = "\"1\"",
                                                .location = "/v1/patients/1",
                                                .body = "{\0}",
                                                .body_length = 3};

static enum idempotency_state claim(struct fixture *fixture, const char *key,
                                    const unsigned char digest[IDEMPOTENCY_DIGEST_BYTES],
                                    struct remembered_answer *got)
{
    enum idempotency_state state = IDEMPOTENCY_NEW;
    CHECK(fixture, idempotency_claim(fixture->store, fixture->arena, fixture->account_id, key,
                                     digest, &state, got, &fixture->error));
    return state;
}

static void remember(struct fixture *fixture, const char *key)
{
    CHECK(fixture,
          idempotency_remember(fixture->store, fixture->account_id, key, &answer, &fixture->error));
}

static void first_answer_is_given_again(void **state)
{
    struct fixture *fixture = *state;
    struct remembered_answer got = {0};
    fixture_begin(fixture, fixture->clinic_id);
    assert_int_equal(claim(fixture, "again", request, &got), IDEMPOTENCY_NEW);
    remember(fixture, "again");
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->clinic_id);
    assert_int_equal(claim(fixture, "again", request, &got), IDEMPOTENCY_REPEATED);
    assert_int_equal(got.status, 201);
    assert_string_equal(got.media_type, answer.media_type);
    assert_string_equal(got.etag, answer.etag);
    assert_string_equal(got.location, answer.location);
    assert_int_equal(got.body_length, 3);
    assert_memory_equal(got.body, answer.body, 3);
    assert_int_equal(claim(fixture, "again", other_request, &got), IDEMPOTENCY_MISMATCH);
    assert_int_equal(claim(fixture, "another", other_request, &got), IDEMPOTENCY_NEW);
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->other_clinic_id);
    assert_int_equal(claim(fixture, "again", request, &got), IDEMPOTENCY_NEW);
}

static void optional_parts_may_be_absent(void **state)
{
    struct fixture *fixture = *state;
    const struct remembered_answer bare = {.status = 204, .media_type = "text/plain"};
    struct remembered_answer got = {0};
    fixture_begin(fixture, fixture->clinic_id);
    assert_int_equal(claim(fixture, "bare", request, &got), IDEMPOTENCY_NEW);
    CHECK(fixture, idempotency_remember(fixture->store, fixture->account_id, "bare", &bare,
                                        &fixture->error));
    assert_int_equal(claim(fixture, "bare", request, &got), IDEMPOTENCY_REPEATED);
    assert_null(got.etag);
    assert_null(got.location);
    assert_int_equal(got.body_length, 0);
}

static void rolled_back_request_leaves_the_key_free(void **state)
{
    struct fixture *fixture = *state;
    struct remembered_answer got = {0};
    fixture_begin(fixture, fixture->clinic_id);
    assert_int_equal(claim(fixture, "rolled back", request, &got), IDEMPOTENCY_NEW);
    remember(fixture, "rolled back");
    store_rollback(fixture->store);
    fixture_begin(fixture, fixture->clinic_id);
    assert_int_equal(claim(fixture, "rolled back", other_request, &got), IDEMPOTENCY_NEW);
}

static void unclaimed_key_cannot_be_remembered(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                idempotency_remember(fixture->store, fixture->account_id, "unclaimed", &answer,
                                     &fixture->error));
}

static void old_keys_are_forgotten(void **state)
{
    struct fixture *fixture = *state;
    struct remembered_answer got = {0};
    fixture_begin(fixture, fixture->clinic_id);
    assert_int_equal(claim(fixture, "young", request, &got), IDEMPOTENCY_NEW);
    remember(fixture, "young");
    assert_int_equal(claim(fixture, "old", request, &got), IDEMPOTENCY_NEW);
    remember(fixture, "old");
    assert_int_equal(claim(fixture, "older", request, &got), IDEMPOTENCY_NEW);
    remember(fixture, "older");
    fixture_commit(fixture);
    fixture_sql(fixture, "update penstock.idempotency set created_at = now() - case key"
                         " when 'young' then interval '47 hours' else interval '49 hours' end"
                         " where key in ('young', 'old', 'older')");
    fixture_begin(fixture, fixture->clinic_id);
    assert_int_equal(claim(fixture, "young", request, &got), IDEMPOTENCY_REPEATED);
    assert_int_equal(claim(fixture, "old", other_request, &got), IDEMPOTENCY_NEW);
    remember(fixture, "old");
    fixture_commit(fixture);
    assert_string_equal(fixture_value(fixture, "select string_agg(key, ' ' order by key)"
                                               " from penstock.idempotency"
                                               " where key in ('young', 'old', 'older')"),
                        "old young");
}

struct second {
    struct fixture *fixture;
    struct arena *arena;
    const unsigned char *digest;
    bool good;
    enum idempotency_state state;
    struct remembered_answer got;
    struct error error;
};

/* The same request on another connection; asserts nothing, since cmocka's failures do not cross
 * threads. */
static void *request_again(void *argument)
{
    struct second *second = argument;
    struct store *store = store_new(second->fixture->owner);
    second->good =
        store_begin(store, second->fixture->clinic_id, NULL, &second->error) &&
        idempotency_claim(store, second->arena, second->fixture->account_id, "at once",
                          second->digest, &second->state, &second->got, &second->error) &&
        store_commit(store, &second->error);
    store_free(store);
    return NULL;
}

static void wait_until_blocked(struct fixture *fixture)
{
    while (strcmp(fixture_value(fixture, "select count(*) > 0 from pg_stat_activity"
                                         " where datname = current_database()"
                                         " and wait_event_type = 'Lock'"),
                  "t") != 0) {
    }
}

/* Runs the second request while the first holds the key; `commit` says how the first ends. */
static void run_at_once(struct fixture *fixture, struct second *second, bool commit)
{
    struct remembered_answer got = {0};
    fixture_sql(fixture, "delete from penstock.idempotency where key = 'at once'");
    fixture_begin(fixture, fixture->clinic_id);
    assert_int_equal(claim(fixture, "at once", request, &got), IDEMPOTENCY_NEW);
    remember(fixture, "at once");
    pthread_t thread;
    assert_int_equal(pthread_create(&thread, NULL, request_again, second), 0);
    wait_until_blocked(fixture);
    if (commit) {
        fixture_commit(fixture);
    } else {
        store_rollback(fixture->store);
    }
    assert_int_equal(pthread_join(thread, NULL), 0);
    fixture->error = second->error;
    CHECK(fixture, second->good);
}

static void second_request_waits_for_the_first(void **state)
{
    struct fixture *fixture = *state;
    struct second second = {.fixture = fixture, .arena = arena_new(), .digest = request};
    run_at_once(fixture, &second, true);
    assert_int_equal(second.state, IDEMPOTENCY_REPEATED);
    assert_int_equal(second.got.status, 201);
    assert_string_equal(second.got.location, answer.location);
    second.digest = other_request;
    run_at_once(fixture, &second, true);
    assert_int_equal(second.state, IDEMPOTENCY_MISMATCH);
    second.digest = request;
    run_at_once(fixture, &second, false);
    assert_int_equal(second.state, IDEMPOTENCY_NEW);
    arena_free(second.arena);
}

int main(void)
{
#define IDEMPOTENCY_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        IDEMPOTENCY_TEST(first_answer_is_given_again),
        IDEMPOTENCY_TEST(optional_parts_may_be_absent),
        IDEMPOTENCY_TEST(rolled_back_request_leaves_the_key_free),
        IDEMPOTENCY_TEST(unclaimed_key_cannot_be_remembered),
        IDEMPOTENCY_TEST(old_keys_are_forgotten),
        IDEMPOTENCY_TEST(second_request_waits_for_the_first),
    };
    return cmocka_run_group_tests_name("store: idempotency", tests, fixture_setup,
                                       fixture_teardown);
}
