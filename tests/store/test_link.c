/* Links: what a reader reaches, when a link is over, and how often anybody may ask. */
#include "recording_fixture.h"

#include "base/clock.h"
#include "store/query.h"
#include "store/store_link.h"
#include "store/store_study.h"

#include <pthread.h>
#include <stdio.h>
#include <string.h>

static const int64_t hour_us = (int64_t)3600 * 1000000;

/* ---- helpers ---- */

struct linked {
    const char *clinic_id;
    const char *patient_id;
    const char *study_id;
    const char *recording_id;
    const char *link_id;
    unsigned char hash[SECRET_HASH_BYTES];
};

static void set_status(struct fixture *fixture, const char *study_id, const char *status)
{
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "begin; set local session_replication_role = replica;"
                                      "update penstock.study set status = '%s' where id = '%s';"
                                      "commit",
                                      status, study_id));
}

static void create_link(struct fixture *fixture, struct linked *linked, int reads_at_most,
                        unsigned char number)
{
    memset(linked->hash, number, sizeof linked->hash);
    const struct new_link link = {.study_id = linked->study_id,
                                  .purpose = "summary",
                                  .label = "Dr Somebody",
                                  .prefix = "psl_link",
                                  .hash = linked->hash,
                                  .reads_at_most = reads_at_most,
                                  .expires_at_us = clock_now_us() + hour_us};
    fixture_begin(fixture, linked->clinic_id);
    CHECK(fixture,
          link_create(fixture->store, fixture->arena, &link, &linked->link_id, &fixture->error));
    fixture_commit(fixture);
}

/* A signed study with a recording, and a link to it. */
static struct linked make_linked(struct fixture *fixture, const char *clinic_id, int reads_at_most,
                                 unsigned char number)
{
    struct linked linked = {.clinic_id = clinic_id};
    fixture_begin(fixture, clinic_id);
    linked.patient_id =
        fixture_patient(fixture, arena_printf(fixture->arena, "link %u", (unsigned)number));
    linked.study_id = fixture_study(fixture, linked.patient_id);
    linked.recording_id = recording_fixture_store(fixture, linked.study_id, 10);
    fixture_commit(fixture);
    set_status(fixture, linked.study_id, "final");
    create_link(fixture, &linked, reads_at_most, number);
    return linked;
}

static struct link_target look_up(struct fixture *fixture, const struct linked *linked)
{
    struct link_target target = {0};
    int wait_s = 0;
    CHECK(fixture, link_look_up(fixture->store, fixture->arena, linked->hash, "198.51.100.1",
                                &target, &wait_s, &fixture->error));
    assert_int_equal(wait_s, 0);
    return target;
}

static void reads(struct fixture *fixture, const struct linked *linked, bool counts)
{
    struct link_target target = look_up(fixture, linked);
    struct study study = {0};
    int wait_s = 0;
    CHECK(fixture,
          link_begin_reading(fixture->store, &target, LINK_PAGE, counts, &wait_s, &fixture->error));
    assert_int_equal(wait_s, 0);
    CHECK(fixture,
          study_get(fixture->store, fixture->arena, target.study_id, &study, &fixture->error));
    CHECK(fixture, store_commit(fixture->store, &fixture->error));
}

static void is_over(struct fixture *fixture, const struct linked *linked)
{
    struct link_target target = look_up(fixture, linked);
    int wait_s = 0;
    CHECK_FAILS(
        fixture, ERROR_NOT_FOUND,
        link_begin_reading(fixture->store, &target, LINK_PAGE, true, &wait_s, &fixture->error));
    store_rollback(fixture->store);
}

static struct study_link get(struct fixture *fixture, const struct linked *linked)
{
    struct study_link link = {0};
    fixture_begin(fixture, linked->clinic_id);
    CHECK(fixture,
          link_get(fixture->store, fixture->arena, linked->link_id, &link, &fixture->error));
    fixture_commit(fixture);
    return link;
}

static void change(struct fixture *fixture, const struct linked *linked, const char *what)
{
    fixture_sql(fixture,
                arena_printf(fixture->arena, "update penstock.study_link set %s where id = '%s'",
                             what, linked->link_id));
}

/* ---- when a link may be read ---- */

static void link_is_read_until_it_is_over(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 0, 1);
    struct link_target target = look_up(fixture, &linked);
    assert_string_equal(target.id, linked.link_id);
    assert_string_equal(target.study_id, linked.study_id);
    assert_string_equal(target.clinic_id, fixture->clinic_id);
    assert_string_equal(target.clinic_name, "Tarn Valley Continence Clinic");
    reads(fixture, &linked, true);
    reads(fixture, &linked, true);
    struct study_link link = get(fixture, &linked);
    assert_string_equal(link.state, "valid");
    assert_string_equal(link.label, "Dr Somebody");
    assert_int_equal(link.read_count, 2);
    assert_true(link.last_read_at_us != 0);
    change(fixture, &linked, "expires_at = now()");
    is_over(fixture, &linked);
    assert_string_equal(get(fixture, &linked).state, "expired");
    change(fixture, &linked, "expires_at = now() + interval '1 hour'");
    reads(fixture, &linked, true);

    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                link_revoke(fixture->store, linked.link_id, &fixture->error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                link_get(fixture->store, fixture->arena, linked.link_id, &link, &fixture->error));
    store_rollback(fixture->store);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, link_revoke(fixture->store, linked.link_id, &fixture->error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                link_revoke(fixture->store, linked.link_id, &fixture->error));
    fixture_commit(fixture);
    is_over(fixture, &linked);
    assert_string_equal(get(fixture, &linked).state, "revoked");
}

static void only_reads_use_a_link_up(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 1, 2);
    reads(fixture, &linked, false);
    reads(fixture, &linked, false);
    assert_int_equal(get(fixture, &linked).read_count, 0);
    assert_true(get(fixture, &linked).last_read_at_us == 0);

    /* What was begun and not committed was no read. */
    struct link_target target = look_up(fixture, &linked);
    int wait_s = 0;
    CHECK(fixture,
          link_begin_reading(fixture->store, &target, LINK_PAGE, true, &wait_s, &fixture->error));
    store_rollback(fixture->store);
    reads(fixture, &linked, true);
    is_over(fixture, &linked);
    assert_string_equal(get(fixture, &linked).state, "used_up");
}

static void fetches(struct fixture *fixture, const struct linked *linked)
{
    struct link_target target = look_up(fixture, linked);
    int wait_s = 0;
    CHECK(fixture,
          link_begin_reading(fixture->store, &target, LINK_FILE, true, &wait_s, &fixture->error));
    assert_int_equal(wait_s, 0);
    CHECK(fixture, store_commit(fixture->store, &fixture->error));
}

static void gives_no_file(struct fixture *fixture, const struct linked *linked)
{
    struct link_target target = look_up(fixture, linked);
    int wait_s = 0;
    CHECK_FAILS(
        fixture, ERROR_NOT_FOUND,
        link_begin_reading(fixture->store, &target, LINK_FILE, true, &wait_s, &fixture->error));
    store_rollback(fixture->store);
}

static void files_belong_to_an_opening(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 2, 20);
    fetches(fixture, &linked); /* without a page it is an opening itself */
    assert_int_equal(get(fixture, &linked).read_count, 1);
    fetches(fixture, &linked);
    reads(fixture, &linked, true);
    int64_t opened_us = get(fixture, &linked).last_read_at_us;
    is_over(fixture, &linked);
    fetches(fixture, &linked);
    assert_int_equal(get(fixture, &linked).read_count, 2);
    assert_true(get(fixture, &linked).last_read_at_us == opened_us);
    change(fixture, &linked, "last_read_at = now() - interval '29 minutes 50 seconds'");
    fetches(fixture, &linked);
    change(fixture, &linked, "last_read_at = now() - interval '30 minutes'");
    gives_no_file(fixture, &linked);
    change(fixture, &linked, "last_read_at = now(), expires_at = now()");
    gives_no_file(fixture, &linked);
}

static void link_ends_with_the_signature(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 0, 3);
    reads(fixture, &linked, true);
    set_status(fixture, linked.study_id, "amended");
    reads(fixture, &linked, true);
    static const char *const unsigned_ones[] = {"registered", "preliminary", "cancelled"};
    for (size_t i = 0; i < sizeof unsigned_ones / sizeof unsigned_ones[0]; i++) {
        set_status(fixture, linked.study_id, unsigned_ones[i]);
        is_over(fixture, &linked);
        const struct new_link link = {.study_id = linked.study_id,
                                      .purpose = "summary",
                                      .label = "",
                                      .prefix = "psl_none",
                                      .hash = (const unsigned char[SECRET_HASH_BYTES]){99},
                                      .expires_at_us = clock_now_us() + hour_us};
        const char *id = NULL;
        fixture_begin(fixture, fixture->clinic_id);
        CHECK_FAILS(fixture, ERROR_CONFLICT,
                    link_create(fixture->store, fixture->arena, &link, &id, &fixture->error));
        store_rollback(fixture->store);
        fixture_begin(fixture, fixture->other_clinic_id);
        CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                    link_create(fixture->store, fixture->arena, &link, &id, &fixture->error));
        store_rollback(fixture->store);
    }
}

static void links_are_listed_page_by_page(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 0, 4);
    for (unsigned char i = 0; i < 4; i++) {
        create_link(fixture, &linked, 3, 40 + i);
    }
    struct store_page page = {.limit = 2};
    struct study_link *items = NULL;
    size_t count = 0;
    size_t total = 0;
    fixture_begin(fixture, fixture->clinic_id);
    do {
        CHECK(fixture, link_list(fixture->store, fixture->arena, linked.study_id, &page, &items,
                                 &count, &page.cursor, &fixture->error));
        total += count;
    } while (page.cursor != NULL);
    assert_int_equal(total, 5);
    assert_int_equal(items[0].reads_at_most, 0); /* the first one, and so the last */
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                link_list(fixture->store, fixture->arena, linked.link_id, &page, &items, &count,
                          &page.cursor, &fixture->error));
    page.cursor = "never a cursor";
    CHECK_FAILS(fixture, ERROR_INVALID,
                link_list(fixture->store, fixture->arena, linked.study_id, &page, &items, &count,
                          &page.cursor, &fixture->error));
}

/* ---- how often ---- */

static void sixty_requests_an_hour_and_no_more(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 0, 5);
    for (int i = 0; i < 60; i++) {
        reads(fixture, &linked, i % 2 == 0);
    }
    struct link_target target = look_up(fixture, &linked);
    int wait_s = 0;
    CHECK(fixture,
          link_begin_reading(fixture->store, &target, LINK_PAGE, true, &wait_s, &fixture->error));
    assert_true(wait_s > 3500 && wait_s <= 3600);
    store_rollback(fixture->store);
    assert_int_equal(get(fixture, &linked).read_count, 30);
    change(fixture, &linked, "hour_began_at = hour_began_at - interval '1 hour'");
    reads(fixture, &linked, true);
    assert_string_equal(
        fixture_value(fixture, arena_printf(fixture->arena,
                                            "select hour_count from penstock.study_link"
                                            " where id = '%s'",
                                            linked.link_id)),
        "1");
}

enum { ATTEMPTS = 12 };

struct attempt {
    struct fixture *fixture;
    const struct linked *linked; /* NULL: a secret that is none */
    unsigned char number;
    bool read;
    bool waits;
    struct error error;
};

static void *attempt_to_read(void *argument)
{
    struct attempt *attempt = argument;
    struct arena *arena = arena_new();
    struct store *store = store_new(attempt->fixture->owner);
    struct link_target target = {0};
    int wait_s = 0;
    attempt->read = link_look_up(store, arena, attempt->linked->hash, "198.51.100.2", &target,
                                 &wait_s, &attempt->error) &&
                    link_begin_reading(store, &target, LINK_PAGE, true, &wait_s, &attempt->error) &&
                    wait_s == 0 && store_commit(store, &attempt->error);
    store_free(store);
    arena_free(arena);
    return NULL;
}

static void readers_at_once_share_what_may_be_read(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 3, 6);
    pthread_t threads[ATTEMPTS];
    struct attempt attempts[ATTEMPTS];
    int read = 0;
    for (int i = 0; i < ATTEMPTS; i++) {
        attempts[i] = (struct attempt){.fixture = fixture, .linked = &linked};
        assert_int_equal(pthread_create(&threads[i], NULL, attempt_to_read, &attempts[i]), 0);
    }
    for (int i = 0; i < ATTEMPTS; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
        read += attempts[i].read ? 1 : 0;
        assert_true(attempts[i].read || attempts[i].error.kind == ERROR_NOT_FOUND);
    }
    assert_int_equal(read, 3);
    assert_int_equal(get(fixture, &linked).read_count, 3);
}

/* One miss, and how long it has to wait: 0 when the secret was merely unknown. */
static int miss(struct fixture *fixture, const char *address, unsigned char number)
{
    const unsigned char hash[SECRET_HASH_BYTES] = {number, 'm', 'i', 's', 's'};
    struct link_target target = {0};
    int wait_s = 0;
    if (!link_look_up(fixture->store, fixture->arena, hash, address, &target, &wait_s,
                      &fixture->error)) {
        assert_int_equal(fixture->error.kind, ERROR_NOT_FOUND);
        return 0;
    }
    assert_null(target.id);
    assert_true(wait_s > 0);
    return wait_s;
}

static void twenty_wrong_secrets_close_the_door(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 0, 7);
    for (unsigned char i = 0; i < 20; i++) {
        assert_int_equal(miss(fixture, "198.51.100.3", i), 0);
    }
    int wait_s = miss(fixture, "198.51.100.3", 20);
    assert_true(wait_s > 500 && wait_s <= 600);
    struct link_target target = {0};
    CHECK(fixture, link_look_up(fixture->store, fixture->arena, linked.hash, "198.51.100.3",
                                &target, &wait_s, &fixture->error));
    assert_int_equal(wait_s, 0); /* whoever has a link need not wait */
    assert_string_equal(target.id, linked.link_id);
    assert_int_equal(miss(fixture, "198.51.100.4", 0), 0); /* another address */
    assert_int_equal(miss(fixture, NULL, 0), 0);
    reads(fixture, &linked, true);

    /* The first of the twenty is ten minutes old: there is room for one more. */
    fixture_sql(fixture, "update penstock.link_miss set missed_at[1] ="
                         " missed_at[1] - interval '10 minutes' where address = '198.51.100.3'");
    assert_int_equal(miss(fixture, "198.51.100.3", 21), 0);
    assert_true(miss(fixture, "198.51.100.3", 22) > 0);
}

static void networks_of_ipv6_count_as_one(void **state)
{
    struct fixture *fixture = *state;
    for (unsigned char i = 0; i < 20; i++) {
        const char *address = arena_printf(fixture->arena, "2001:db8:1:2:%x::1", (unsigned)i);
        assert_int_equal(miss(fixture, address, i), 0);
        const char *mapped = arena_printf(fixture->arena, "::ffff:203.0.113.%u", (unsigned)i);
        assert_int_equal(miss(fixture, mapped, i), 0);
    }
    assert_true(miss(fixture, "2001:db8:1:2::ffff", 20) > 0);
    assert_int_equal(miss(fixture, "2001:db8:1:3::1", 20), 0);
    assert_int_equal(miss(fixture, "::ffff:203.0.113.77", 20), 0);
}

static void old_misses_are_forgotten(void **state)
{
    struct fixture *fixture = *state;
    assert_int_equal(miss(fixture, "203.0.113.200", 0), 0);
    fixture_sql(fixture, "update penstock.link_miss set missed_at ="
                         " array[now() - interval '11 minutes'] where address = '203.0.113.200'");
    assert_int_equal(miss(fixture, "203.0.113.201", 0), 0);
    assert_string_equal(fixture_value(fixture, "select count(*) from penstock.link_miss"
                                               " where address = '203.0.113.200'"),
                        "0");
}

static void *attempt_to_guess(void *argument)
{
    struct attempt *attempt = argument;
    struct arena *arena = arena_new();
    struct store *store = store_new(attempt->fixture->owner);
    for (unsigned char i = 0; i < 4; i++) {
        const unsigned char hash[SECRET_HASH_BYTES] = {attempt->number, i, 'g'};
        struct link_target target = {0};
        int wait_s = 0;
        attempt->waits =
            link_look_up(store, arena, hash, "198.51.100.9", &target, &wait_s, &attempt->error);
        attempt->number = (unsigned char)(attempt->number + (attempt->waits ? 0 : 1));
    }
    store_free(store);
    arena_free(arena);
    return NULL;
}

/* 12 times 4 guesses at once: exactly 20 of them are looked up. */
static void guesses_at_once_are_counted_one_by_one(void **state)
{
    struct fixture *fixture = *state;
    pthread_t threads[ATTEMPTS];
    struct attempt attempts[ATTEMPTS];
    int looked_up = 0;
    for (int i = 0; i < ATTEMPTS; i++) {
        attempts[i] = (struct attempt){.fixture = fixture, .number = (unsigned char)(i * 10)};
        assert_int_equal(pthread_create(&threads[i], NULL, attempt_to_guess, &attempts[i]), 0);
    }
    for (int i = 0; i < ATTEMPTS; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
        looked_up += attempts[i].number - i * 10;
    }
    assert_int_equal(looked_up, 20);
}

/* ---- what is reached ---- */

static const char *value_of(struct fixture *fixture, PGconn *connection, const char *sql)
{
    PGresult *result = PQexec(connection, sql);
    if (PQresultStatus(result) != PGRES_TUPLES_OK) {
        fail_msg("%s: %s", sql, PQerrorMessage(connection));
    }
    assert_int_equal(PQntuples(result), 1);
    const char *copy = arena_strdup(fixture->arena, PQgetvalue(result, 0, 0));
    PQclear(result);
    return copy;
}

static PGconn *connect_by_link(struct fixture *fixture, const char *study_id)
{
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    assert_string_equal(value_of(fixture, connection,
                                 arena_printf(fixture->arena,
                                              "select set_config('penstock.reach', 'link', false)"
                                              " || set_config('penstock.link_study', '%s', false)",
                                              study_id)),
                        arena_printf(fixture->arena, "link%s", study_id));
    return connection;
}

static void a_link_reaches_its_study_alone(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 0, 8);
    struct linked other = make_linked(fixture, fixture->clinic_id, 0, 9);
    struct linked foreign = make_linked(fixture, fixture->other_clinic_id, 0, 10);
    fixture_begin(fixture, fixture->clinic_id);
    (void)fixture_study(fixture, linked.patient_id); /* the same patient's, not signed */
    fixture_commit(fixture);
    PGconn *connection = connect_by_link(fixture, linked.study_id);
    static const char *const lists[] = {
        "select string_agg(id::text, ' ') from penstock.study",
        "select string_agg(id::text, ' ') from penstock.patient",
        "select string_agg(id::text, ' ') from penstock.recording",
        "select string_agg(id::text, ' ') from penstock.study_link",
    };
    const char *const expected[] = {linked.study_id, linked.patient_id, linked.recording_id,
                                    linked.link_id};
    for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++) {
        assert_string_equal(value_of(fixture, connection, lists[i]), expected[i]);
    }
    PQfinish(connection);
    const char *const unreachable[] = {foreign.study_id, ""};
    for (size_t u = 0; u < sizeof unreachable / sizeof unreachable[0]; u++) {
        connection = connect_by_link(fixture, unreachable[u]);
        for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++) {
            assert_string_equal(value_of(fixture, connection, lists[i]), "");
        }
        PQfinish(connection);
    }
    set_status(fixture, other.study_id, "preliminary");
    connection = connect_by_link(fixture, other.study_id);
    for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++) {
        assert_string_equal(value_of(fixture, connection, lists[i]), "");
    }
    PQfinish(connection);
}

static const char insert_study[] =
    "insert into penstock.study (clinic_id, id, patient_id, room, started_at)"
    " select clinic_id, gen_random_uuid(), patient_id, '2', started_at from penstock.study";

static const char insert_link[] =
    "insert into penstock.study_link (clinic_id, id, study_id, purpose, prefix, secret_hash,"
    " expires_at) select clinic_id, gen_random_uuid(), id, 'summary', 'psl_',"
    " decode(repeat('cd', 32), 'hex'), now() + interval '1 day' from penstock.study";

static void a_link_changes_nothing(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 0, 11);
    PGconn *connection = connect_by_link(fixture, linked.study_id);
    static const char *const refused[] = {
        "update penstock.study set status = 'amended'",
        insert_study,
        insert_link,
        "select secret_hash from penstock.study_link",
        "update penstock.study_link set expires_at = now() + interval '1 year'",
        "update penstock.study_link set reads_at_most = null",
        "update penstock.study_link set study_id = study_id",
        "delete from penstock.study_link",
        "select from penstock.link_miss",
        "insert into penstock.link_miss values ('x', '{}')",
        "delete from penstock.link_miss",
    };
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        assert_string_equal(fixture_sqlstate(fixture, connection, refused[i]), "42501");
    }
    /* Not refused, but of no row. */
    (void)fixture_sqlstate(fixture, connection, "update penstock.patient set given_name = 'x'");
    assert_string_equal(
        fixture_value(fixture, "select count(*) from penstock.patient where given_name = 'x'"),
        "0");
    PQfinish(connection);
}

/* What a look-up by secret leaves behind on its connection. */
static void a_look_up_opens_nothing_else(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 0, 12);
    char hex[2 * SECRET_HASH_BYTES + 1];
    for (size_t i = 0; i < SECRET_HASH_BYTES; i++) {
        (void)snprintf(hex + 2 * i, 3, "%02x", linked.hash[i]);
    }
    PGconn *connection = fixture_app_connection(fixture, "");
    assert_string_equal(fixture_sqlstate(fixture, connection, "begin"), "00000");
    const char *found = value_of(
        fixture, connection,
        arena_printf(fixture->arena,
                     "select link_id from penstock.link_for_reading(decode('%s', 'hex'), null)",
                     hex));
    assert_string_equal(found, linked.link_id);
    assert_string_equal(value_of(fixture, connection,
                                 "select current_setting('penstock.clinic', true) ||"
                                 " coalesce(current_setting('penstock.lookup', true), '')"),
                        "");
    assert_string_equal(value_of(fixture, connection, "select count(*) from penstock.study_link"),
                        "0");
    assert_string_equal(
        value_of(
            fixture, connection,
            arena_printf(fixture->arena, "select set_config('penstock.lookup', '%s', true)", hex)),
        hex);
    assert_string_equal(value_of(fixture, connection, "select count(*) from penstock.study_link"),
                        "0");
    PQfinish(connection);
}

static void the_next_transaction_reaches_as_far_as_usual(void **state)
{
    struct fixture *fixture = *state;
    struct linked linked = make_linked(fixture, fixture->clinic_id, 0, 13);
    struct linked other = make_linked(fixture, fixture->clinic_id, 0, 14);
    struct link_target target = look_up(fixture, &linked);
    struct study study = {0};
    int wait_s = 0;
    CHECK(fixture,
          link_begin_reading(fixture->store, &target, LINK_PAGE, true, &wait_s, &fixture->error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                study_get(fixture->store, fixture->arena, other.study_id, &study, &fixture->error));
    CHECK(fixture, store_commit(fixture->store, &fixture->error));
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          study_get(fixture->store, fixture->arena, other.study_id, &study, &fixture->error));
}

int main(void)
{
#define LINK_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        LINK_TEST(link_is_read_until_it_is_over),
        LINK_TEST(only_reads_use_a_link_up),
        LINK_TEST(files_belong_to_an_opening),
        LINK_TEST(link_ends_with_the_signature),
        LINK_TEST(links_are_listed_page_by_page),
        LINK_TEST(sixty_requests_an_hour_and_no_more),
        LINK_TEST(readers_at_once_share_what_may_be_read),
        LINK_TEST(twenty_wrong_secrets_close_the_door),
        LINK_TEST(networks_of_ipv6_count_as_one),
        LINK_TEST(old_misses_are_forgotten),
        LINK_TEST(guesses_at_once_are_counted_one_by_one),
        LINK_TEST(a_link_reaches_its_study_alone),
        LINK_TEST(a_link_changes_nothing),
        LINK_TEST(a_look_up_opens_nothing_else),
        LINK_TEST(the_next_transaction_reaches_as_far_as_usual),
    };
    return cmocka_run_group_tests_name("store: links", tests, fixture_setup, fixture_teardown);
}
