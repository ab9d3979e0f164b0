/* The audit's chains: what is added is whole, and whatever is done to it afterwards is found. */
#include "fixture.h"

#include "store/store_audit.h"
#include "store/store_audit_verify.h"

#include <pthread.h>
#include <sodium.h>
#include <string.h>

#define NIL_ID                 AUDIT_PROGRAM_ID
#define INSUFFICIENT_PRIVILEGE "42501"
#define NEVER_CHANGED          "PS002"
#define UNIQUE_VIOLATION       "23505"

enum { DAMAGES_MAX = 64, HEADS_MAX = 64 };

/* What a check told. */
struct told {
    size_t damages;
    struct audit_damage damage[DAMAGES_MAX];
    size_t heads;
    struct audit_head head[HEADS_MAX];
};

static bool take_head(void *context, const struct audit_head *head, struct error *reterr)
{
    struct told *told = context;
    (void)reterr;
    assert_true(told->heads < HEADS_MAX);
    told->head[told->heads++] = *head;
    return true;
}

static void take_damage(void *context, const struct audit_damage *damage)
{
    struct told *told = context;
    if (told->damages < DAMAGES_MAX) {
        told->damage[told->damages] = *damage;
    }
    told->damages++;
}

static struct audit_verify_counts verify(struct fixture *fixture, const char *clinic_id,
                                         struct audit_head *kept, size_t kept_count,
                                         struct told *told)
{
    const struct audit_verify_options options = {
        .conninfo = fixture->owner, .clinic_id = clinic_id, .kept = kept, .kept_count = kept_count};
    const struct audit_verify_listener listener = {
        .context = told, .take_head = take_head, .take_damage = take_damage};
    struct audit_verify_counts counts = {0};
    *told = (struct told){.damages = 0};
    CHECK(fixture, audit_verify_run(&options, &listener, &counts, &fixture->error));
    assert_int_equal(counts.damages, told->damages);
    return counts;
}

static void is_whole(struct fixture *fixture, int64_t entries)
{
    struct told told;
    struct audit_verify_counts counts = verify(fixture, NULL, NULL, 0, &told);
    if (counts.damages != 0) {
        fail_msg("lane %d, number %ld: %s", told.damage[0].lane, (long)told.damage[0].number,
                 told.damage[0].detail);
    }
    assert_int_equal(counts.clinics, 2);
    assert_int_equal(told.heads, 3 * AUDIT_LANES); /* and those of no clinic */
    if (entries >= 0) {
        assert_int_equal(counts.entries, entries);
    }
}

static struct new_audit_entry an_entry(const struct fixture *fixture)
{
    return (struct new_audit_entry){
        .clinic_id = fixture->clinic_id,
        .actor_id = fixture->account_id,
        .actor_name = "first.person",
        .actor_kind = "person",
        .actor_roles = ROLE_CLINICIAN,
        .address = "192.0.2.7",
        .request_id = "request-1",
        .action = "read",
        .resource = "patients",
        .what = "GET /v1/patients/{id}",
        .patient_ids = "",
        .status = 200,
        .reason = "Grüße, 患者",
        .detail = "",
    };
}

static void append(struct fixture *fixture, const struct new_audit_entry *entry)
{
    CHECK(fixture, audit_append(fixture->store, fixture->arena, entry, &fixture->error));
}

static const char *last_entry(struct fixture *fixture, const char *column)
{
    return fixture_value(fixture, arena_printf(fixture->arena,
                                               "select %s from penstock.audit_entry"
                                               " order by at desc limit 1",
                                               column));
}

static int64_t entry_count(struct fixture *fixture)
{
    return strtoll(fixture_value(fixture, "select count(*) from penstock.audit_entry"), NULL, 10);
}

/* ---- adding ---- */

static void objects_lead_to_their_patients(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    const char *patient = fixture_patient(fixture, "audit 1");
    const char *other = fixture_patient(fixture, "audit 2");
    const char *study = fixture_study(fixture, patient);
    fixture_commit(fixture);
    struct new_audit_entry entry = an_entry(fixture);
    entry.object_type = "studies";
    entry.object_id = study;
    append(fixture, &entry);
    assert_string_equal(last_entry(fixture, "array_to_string(patient_ids, ',')"), patient);
    entry.object_type = "patients"; /* an id is taken for what the path says that it is */
    append(fixture, &entry);
    assert_string_equal(last_entry(fixture, "array_to_string(patient_ids, ',')"), "");
    entry.object_id = patient;
    entry.patient_ids = arena_printf(fixture->arena, "%s,%s,%s", other, patient, other);
    append(fixture, &entry);
    assert_string_equal(last_entry(fixture, "array_length(patient_ids, 1)"), "2");
    assert_string_equal(last_entry(fixture, "outcome || status || address || actor_name"),
                        "done200192.0.2.7first.person");
    assert_string_equal(fixture_value(fixture, "select count(*) from penstock.audit_patient_day"),
                        "2");
    is_whole(fixture, 3);
}

static void stands_and_falls_with_its_transaction(void **state)
{
    struct fixture *fixture = *state;
    int64_t before = entry_count(fixture);
    struct new_audit_entry entry = an_entry(fixture);
    fixture_begin(fixture, fixture->clinic_id);
    append(fixture, &entry);
    store_rollback(fixture->store);
    assert_int_equal(entry_count(fixture), before);
    fixture_begin(fixture, fixture->clinic_id);
    append(fixture, &entry);
    fixture_commit(fixture);
    assert_int_equal(entry_count(fixture), before + 1);
    CHECK(fixture, store_begin_reading(fixture->store, fixture->clinic_id, fixture->account_id,
                                       &fixture->error));
    assert_false(audit_append(fixture->store, fixture->arena, &entry, &fixture->error));
    store_rollback(fixture->store);
    is_whole(fixture, before + 1);
}

static void credentials_tell_whose_they_are(void **state)
{
    struct fixture *fixture = *state;
    struct new_audit_entry entry = an_entry(fixture);
    entry.clinic_id = NULL;
    entry.status = 401;
    entry.credential_kind = "username";
    entry.credential = "First.Person";
    append(fixture, &entry);
    assert_string_equal(last_entry(fixture, "clinic_id"), fixture->clinic_id);
    assert_string_equal(last_entry(fixture, "actor_id"), fixture->account_id);
    assert_string_equal(last_entry(fixture, "outcome"), "refused");
    fixture_sql(fixture, "update penstock.account set active = false");
    append(fixture, &entry);
    fixture_sql(fixture, "update penstock.account set active = true");
    assert_string_equal(last_entry(fixture, "actor_id"), fixture->account_id);

    int64_t before = entry_count(fixture);
    entry.credential = "nobody at all";
    append(fixture, &entry);
    assert_int_equal(entry_count(fixture), before);
    entry.keep_unknown = true;
    append(fixture, &entry);
    assert_string_equal(last_entry(fixture, "clinic_id"), NIL_ID);
    assert_string_equal(last_entry(fixture, "actor_kind || actor_name"), "nobody");

    unsigned char hash[SECRET_HASH_BYTES] = {7};
    char text[2 * SECRET_HASH_BYTES + 1];
    const char *id = NULL;
    fixture_begin(fixture, fixture->clinic_id);
    const struct new_token token = {.name = "of a room",
                                    .prefix = "pst_",
                                    .hash = hash,
                                    .roles = ROLE_ROOM,
                                    .expires_at_us = INT64_MAX / 2};
    CHECK(fixture, token_create(fixture->store, fixture->arena, &token, &id, &fixture->error));
    CHECK(fixture, token_revoke(fixture->store, id, &fixture->error));
    fixture_commit(fixture);
    sodium_bin2hex(text, sizeof text, hash, sizeof hash);
    entry.credential_kind = "token";
    entry.credential = text;
    append(fixture, &entry);
    assert_string_equal(last_entry(fixture, "actor_id"), id);
    assert_string_equal(last_entry(fixture, "actor_kind || actor_name"), "tokenof a room");
    entry.credential_kind = "session";
    append(fixture, &entry);
    assert_string_equal(last_entry(fixture, "clinic_id"), NIL_ID);
    is_whole(fixture, -1);
}

/* ---- reading ---- */

static void is_read_newest_first(void **state)
{
    struct fixture *fixture = *state;
    struct audit_row *rows = NULL;
    struct audit_day *days = NULL;
    size_t count = 0;
    const char *cursor = NULL;
    const struct audit_filter everything = {0};
    fixture_begin(fixture, fixture->clinic_id);
    const char *patient = fixture_patient(fixture, "audit reading");
    fixture_commit(fixture);
    struct new_audit_entry entry = an_entry(fixture);
    entry.patient_ids = patient;
    for (int i = 0; i < 7; i++) {
        entry.status = i < 5 ? 200 : 404;
        append(fixture, &entry);
    }
    fixture_begin(fixture, fixture->clinic_id);
    int64_t total = 0;
    int64_t last_us = INT64_MAX;
    struct store_page page = {.limit = 3};
    do {
        CHECK(fixture, audit_list(fixture->store, fixture->arena, &everything, &page, &rows, &count,
                                  &cursor, &fixture->error));
        for (size_t i = 0; i < count; i++) {
            assert_true(rows[i].at_us <= last_us);
            last_us = rows[i].at_us;
        }
        total += (int64_t)count;
        page.cursor = cursor;
    } while (cursor != NULL);
    assert_int_equal(
        total, strtoll(fixture_value(fixture,
                                     arena_printf(fixture->arena,
                                                  "select count(*) from penstock.audit_entry where"
                                                  " clinic_id = '%s'",
                                                  fixture->clinic_id)),
                       NULL, 10));

    page = (struct store_page){.limit = 50};
    const struct audit_filter filters[] = {
        {.patient_id = patient, .outcome = "done"},
        {.patient_id = patient,
         .actor_id = fixture->account_id,
         .resource = "patients",
         .action = "read",
         .outcome = "done",
         .from_us = 1,
         .to_us = INT64_MAX / 2},
    };
    for (size_t i = 0; i < sizeof filters / sizeof filters[0]; i++) {
        CHECK(fixture, audit_list(fixture->store, fixture->arena, &filters[i], &page, &rows, &count,
                                  &cursor, &fixture->error));
        assert_int_equal(count, 5);
        assert_int_equal(rows[0].patient_count, 1);
        assert_string_equal(rows[0].patient_ids[0], patient);
        assert_string_equal(rows[0].reason, "Grüße, 患者");
    }
    const struct audit_filter none[] = {{.emergency = true},
                                        {.patient_id = patient, .action = "change"},
                                        {.actor_id = patient},
                                        {.to_us = 1}};
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
        CHECK(fixture, audit_list(fixture->store, fixture->arena, &none[i], &page, &rows, &count,
                                  &cursor, &fixture->error));
        assert_int_equal(count, 0);
    }
    CHECK(fixture, audit_days(fixture->store, fixture->arena, patient, &page, &days, &count,
                              &cursor, &fixture->error));
    assert_int_equal(count, 1);
    assert_int_equal(days[0].done, 5);
    assert_int_equal(days[0].refused, 2);
    assert_string_equal(days[0].kinds[0], "read patients");
    assert_string_equal(days[0].addresses[0], "192.0.2.7");
    store_rollback(fixture->store);
}

static void finds_patients_whom_the_reader_does_not_see(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    const char *patient = fixture_patient(fixture, "audit mrn");
    fixture_commit(fixture);
    const char *found = NULL;
    CHECK(fixture, store_begin_reading(fixture->store, fixture->clinic_id, NULL, &fixture->error));
    store_narrow(fixture->store, STORE_REACH_NOBODY);
    CHECK(fixture, audit_find_patient(fixture->store, fixture->arena, "audit mrn", NULL, &found,
                                      &fixture->error));
    assert_string_equal(found, patient);
    CHECK_FAILS(
        fixture, ERROR_NOT_FOUND,
        audit_find_patient(fixture->store, fixture->arena, "none", NULL, &found, &fixture->error));
    store_end_reading(fixture->store);
}

/* ---- rights ---- */

static const char *const refused_to_app[] = {
    "insert into penstock.audit_entry select * from penstock.audit_entry limit 1",
    "update penstock.audit_entry set reason = 'x'",
    "delete from penstock.audit_entry",
    "truncate penstock.audit_entry",
    "select from penstock.audit_lane",
    "update penstock.audit_lane set number = number + 1",
    "delete from penstock.audit_lane",
    "insert into penstock.audit_patient_day select * from penstock.audit_patient_day",
    "delete from penstock.audit_patient_day",
    "select from penstock.audit_entry_rest",
    "alter table penstock.audit_entry disable trigger all",
    "drop table penstock.audit_entry",
    "select penstock.audit_field('x')",
    "select penstock.audit_holder('username', 'first.person')",
    "alter function penstock.audit_field(text) volatile",
};

static const char *const refused_to_all[] = {
    "update penstock.audit_entry set reason = 'x'",
    "delete from penstock.audit_entry",
    "truncate penstock.audit_entry",
    "update penstock.audit_entry_rest set reason = 'x'",
    "delete from penstock.audit_entry_2026",
    "truncate penstock.audit_entry_2026",
    "delete from penstock.audit_lane",
    "truncate penstock.audit_lane",
    "update penstock.audit_patient_day set actor_id = actor_id",
    "delete from penstock.audit_patient_day",
    "truncate penstock.audit_patient_day",
};

static const char *const refused_of_lanes[] = {
    "update penstock.audit_lane set number = 0",
    "update penstock.audit_lane set number = number",
    "update penstock.audit_lane set lane = 15 - lane",
    "update penstock.audit_lane set hash = sha256('')",
};

static void nobody_changes_or_removes_entries(void **state)
{
    struct fixture *fixture = *state;
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    PGconn *owner = PQconnectdb(fixture->owner);
    PQclear(PQexec(owner,
                   arena_printf(fixture->arena, "select set_config('penstock.clinic', '%s', false)",
                                fixture->clinic_id)));
    for (size_t i = 0; i < sizeof refused_to_app / sizeof refused_to_app[0]; i++) {
        assert_string_equal(fixture_sqlstate(fixture, app, refused_to_app[i]),
                            INSUFFICIENT_PRIVILEGE);
    }
    for (size_t i = 0; i < sizeof refused_to_all / sizeof refused_to_all[0]; i++) {
        assert_string_equal(fixture_sqlstate(fixture, owner, refused_to_all[i]), NEVER_CHANGED);
        assert_string_equal(fixture_sqlstate(fixture, fixture->admin, refused_to_all[i]),
                            NEVER_CHANGED);
    }
    for (size_t i = 0; i < sizeof refused_of_lanes / sizeof refused_of_lanes[0]; i++) {
        assert_string_equal(fixture_sqlstate(fixture, owner, refused_of_lanes[i]), NEVER_CHANGED);
    }
    PQfinish(owner);
    PQfinish(app);
}

static void a_clinic_sees_and_makes_its_own(void **state)
{
    struct fixture *fixture = *state;
    static const char count_sql[] = "select count(*), count(distinct clinic_id)"
                                    " from penstock.audit_entry";
    struct new_audit_entry entry = an_entry(fixture);
    append(fixture, &entry);
    const char *const clinics[] = {fixture->clinic_id, fixture->other_clinic_id, NIL_ID, ""};
    const char *const seen[] = {"1", "0", "0", "0"};
    for (int i = 0; i < 4; i++) {
        PGconn *app = fixture_app_connection(fixture, clinics[i]);
        PGresult *rows = PQexec(app, count_sql);
        assert_string_equal(PQgetvalue(rows, 0, 1), seen[i]);
        PQclear(rows);
        PQfinish(app);
    }
    assert_true(strtol(fixture_value(fixture, "select count(*) from penstock.audit_entry where"
                                              " clinic_id = '" NIL_ID "'"),
                       NULL, 10) > 0);
    /* A transaction of one clinic makes no entry of another. */
    PGconn *app = fixture_app_connection(fixture, fixture->other_clinic_id);
    assert_string_equal(
        fixture_sqlstate(fixture, app,
                         arena_printf(fixture->arena,
                                      "select penstock.audit_append('%s', null, '', 'nobody', 0,"
                                      " '', '', '', '', '', null, null, '{}', 200, '', '', null,"
                                      " null, false)",
                                      fixture->clinic_id)),
        INSUFFICIENT_PRIVILEGE);
    PQfinish(app);
}

/* ---- many at once ---- */

enum { WRITERS = 8, EACH = 40 };

struct writer {
    pthread_t thread;
    const struct fixture *fixture;
    bool good;
};

static void *write_entries(void *context)
{
    struct writer *writer = context;
    struct store *store = store_new(writer->fixture->owner);
    struct arena *arena = arena_new();
    struct error error = {0};
    struct new_audit_entry entry = an_entry(writer->fixture);
    writer->good = true;
    for (int i = 0; writer->good && i < EACH; i++) {
        bool alone = i % 2 == 0;
        writer->good = (alone || store_begin(store, entry.clinic_id, entry.actor_id, &error)) &&
                       audit_append(store, arena, &entry, &error) &&
                       (alone || store_commit(store, &error));
    }
    arena_free(arena);
    store_free(store);
    return NULL;
}

static void many_write_at_once(void **state)
{
    struct fixture *fixture = *state;
    int64_t before = entry_count(fixture);
    struct writer writers[WRITERS];
    for (int i = 0; i < WRITERS; i++) {
        writers[i] = (struct writer){.fixture = fixture};
        assert_int_equal(pthread_create(&writers[i].thread, NULL, write_entries, &writers[i]), 0);
    }
    for (int i = 0; i < WRITERS; i++) {
        assert_int_equal(pthread_join(writers[i].thread, NULL), 0);
        assert_true(writers[i].good);
    }
    is_whole(fixture, before + (int64_t)WRITERS * EACH);
    assert_true(strtol(fixture_value(fixture, "select count(distinct lane) from"
                                              " penstock.audit_entry"),
                       NULL, 10) > 1);
}

/* All lanes taken: one more waits, and then goes on. */
static void waits_for_a_lane(void **state)
{
    struct fixture *fixture = *state;
    struct new_audit_entry entry = an_entry(fixture);
    struct store *stores[AUDIT_LANES];
    for (int i = 0; i < AUDIT_LANES; i++) {
        stores[i] = store_new(fixture->owner);
        CHECK(fixture, store_begin(stores[i], entry.clinic_id, NULL, &fixture->error));
        CHECK(fixture, audit_append(stores[i], fixture->arena, &entry, &fixture->error));
    }
    struct writer writer = {.fixture = fixture};
    assert_int_equal(pthread_create(&writer.thread, NULL, write_entries, &writer), 0);
    for (int i = 0; i < AUDIT_LANES; i++) {
        CHECK(fixture, store_commit(stores[i], &fixture->error));
        store_free(stores[i]);
    }
    assert_int_equal(pthread_join(writer.thread, NULL), 0);
    assert_true(writer.good);
    assert_string_equal(fixture_value(fixture, "select count(distinct lane) from"
                                               " penstock.audit_entry"),
                        "16");
    is_whole(fixture, -1);
}

/* ---- whatever is done to it afterwards ---- */

/* A value that another one is replaced by, in the column's type. */
static const struct {
    const char *column;
    const char *other;
} columns[] = {
    {"clinic_id", "'$other'"},
    {"lane", "(lane + 7) % 16"},
    {"number", "number + 1000"},
    {"recorded_on", "recorded_on + 400"},
    {"at", "at + interval '1 microsecond'"},
    {"actor_id", "gen_random_uuid()"},
    {"actor_id", "case when actor_id is null then clinic_id end"},
    {"actor_name", "actor_name || ' '"},
    {"actor_kind", "case actor_kind when 'program' then 'token' else 'program' end"},
    {"actor_roles", "actor_roles # 1"},
    {"address", "'192.0.2.8'"},
    {"request_id", "request_id || 'x'"},
    {"action", "action || 'x'"},
    {"resource", "resource || 'x'"},
    {"what", "what || 'x'"},
    {"object_type", "coalesce(object_type || 'x', '')"},
    {"object_id", "gen_random_uuid()"},
    {"patient_ids", "patient_ids || gen_random_uuid()"},
    {"patient_ids", "case when patient_ids = '{}' then array[clinic_id] else '{}' end"},
    {"emergency", "not emergency"},
    {"status", "status + 1"},
    {"outcome", "case outcome when 'done' then 'refused' else 'done' end"},
    {"reason", "reason || 'x'"},
    {"detail", "detail || 'x'"},
    {"previous_hash", "sha256(previous_hash)"},
    {"hash", "sha256(hash)"},
};

enum { CHANGE_COUNT = sizeof columns / sizeof columns[0] };

static const char *with_other(struct fixture *fixture, const char *sql)
{
    const char *mark = strstr(sql, "$other");
    return mark == NULL ? sql
                        : arena_printf(fixture->arena, "%.*s%s%s", (int)(mark - sql), sql,
                                       fixture->other_clinic_id, mark + strlen("$other"));
}

/* Runs SQL as somebody whom no trigger stops: either the key refuses it, or the check finds it.
 * Then all is put back. */
static int found = 0;
static int refused = 0;

static void tamper(struct fixture *fixture, const char *sql)
{
    struct told told;
    const char *state = fixture_sqlstate(fixture, fixture->admin, sql);
    if (strcmp(state, UNIQUE_VIOLATION) == 0) {
        refused++;
        return;
    }
    if (strcmp(state, "00000") != 0) {
        fail_msg("%s: %s", state, sql);
    }
    (void)verify(fixture, NULL, NULL, 0, &told);
    if (told.damages == 0) {
        fail_msg("not found: %s", sql);
    }
    found++;
    fixture_sql(fixture, "delete from penstock.audit_entry;"
                         "insert into penstock.audit_entry select * from saved_entry;"
                         "delete from penstock.audit_lane;"
                         "insert into penstock.audit_lane select * from saved_lane");
}

/* Columns of audit_entry with one of them replaced. */
static const char *copy_sql(struct fixture *fixture, const char *changes, const char *where)
{
    return arena_printf(fixture->arena,
                        "insert into penstock.audit_entry select (jsonb_populate_record(e,"
                        " jsonb_build_object(%s))).* from penstock.audit_entry e where %s",
                        changes, where);
}

static const char *entry_where(struct fixture *fixture, const PGresult *rows, int row)
{
    return arena_printf(fixture->arena, "clinic_id = '%s' and lane = %s and number = %s",
                        PQgetvalue(rows, row, 0), PQgetvalue(rows, row, 1),
                        PQgetvalue(rows, row, 2));
}

static void tamper_with_entry(struct fixture *fixture, const char *where)
{
    for (size_t c = 0; c < CHANGE_COUNT; c++) {
        tamper(fixture,
               arena_printf(fixture->arena,
                            "update penstock.audit_entry set %s = %s"
                            " where %s",
                            columns[c].column, with_other(fixture, columns[c].other), where));
    }
    tamper(fixture,
           arena_printf(fixture->arena, "delete from penstock.audit_entry where %s", where));
    /* The same once more on another day, behind the end, in another lane, in another clinic. */
    tamper(fixture, copy_sql(fixture, "'recorded_on', e.recorded_on + 1", where));
    tamper(fixture, copy_sql(fixture, "'number', 1000", where));
    tamper(fixture, copy_sql(fixture,
                             "'number', (select max(number) + 1 from penstock.audit_entry o where"
                             " o.clinic_id = e.clinic_id and o.lane = e.lane)",
                             where));
    tamper(fixture, copy_sql(fixture,
                             "'lane', (e.lane + 1) % 16, 'number', 1, 'recorded_on',"
                             " e.recorded_on + 1",
                             where));
    tamper(fixture, copy_sql(fixture,
                             arena_printf(fixture->arena, "'clinic_id', '%s'::uuid",
                                          fixture->other_clinic_id),
                             where));
    /* As its neighbour: the two change places. */
    tamper(fixture,
           arena_printf(fixture->arena,
                        "create temporary table moved as select * from penstock.audit_entry where"
                        " %s;"
                        " delete from penstock.audit_entry where %s;"
                        " update penstock.audit_entry e set number = m.number from moved m where"
                        " e.clinic_id = m.clinic_id and e.lane = m.lane and e.number = case"
                        " m.number when 1 then 2 else m.number - 1 end;"
                        " update moved set number = case number when 1 then 2 else number - 1 end;"
                        " insert into penstock.audit_entry select * from moved; drop table moved",
                        where, where));
}

static void tamper_with_lane(struct fixture *fixture, const char *lane)
{
    static const char *const changes[] = {
        "update penstock.audit_lane set number = number + 1",
        "update penstock.audit_lane set number = greatest(number - 1, 0)",
        "update penstock.audit_lane set hash = sha256(hash)",
        "delete from penstock.audit_lane",
    };
    for (size_t i = 0; i < sizeof changes / sizeof changes[0]; i++) {
        tamper(fixture, arena_printf(fixture->arena, "%s where clinic_id = '%s' and lane = %s",
                                     changes[i], fixture->clinic_id, lane));
    }
    /* The last entry and its trace in the head, which is then that of another one. */
    tamper(fixture, arena_printf(fixture->arena,
                                 "delete from penstock.audit_entry e using penstock.audit_lane l"
                                 " where e.clinic_id = l.clinic_id and e.lane = l.lane and"
                                 " e.number = l.number and l.clinic_id = '%s' and l.lane = %s;"
                                 " update penstock.audit_lane set number = number - 1 where"
                                 " clinic_id = '%s' and lane = %s",
                                 fixture->clinic_id, lane, fixture->clinic_id, lane));
}

static void begin_tampering(struct fixture *fixture)
{
    fixture_sql(fixture, "set session_replication_role = replica;"
                         "create temporary table saved_entry as select * from penstock.audit_entry;"
                         "create temporary table saved_lane as select * from penstock.audit_lane");
    found = 0;
    refused = 0;
}

static void end_tampering(struct fixture *fixture)
{
    fixture_sql(fixture, "drop table saved_entry; drop table saved_lane;"
                         "set session_replication_role = origin");
}

static void every_change_is_found(void **state)
{
    struct fixture *fixture = *state;
    begin_tampering(fixture);
    is_whole(fixture, -1);
    PGresult *rows =
        PQexec(fixture->admin, arena_printf(fixture->arena,
                                            "select clinic_id, lane, number"
                                            " from penstock.audit_entry where clinic_id = '%s' and"
                                            " lane in (0, 3, 15) and number <= 4 order by 1, 2, 3",
                                            fixture->clinic_id));
    int count = PQntuples(rows);
    assert_true(count >= 6);
    for (int i = 0; i < count; i++) {
        tamper_with_entry(fixture, entry_where(fixture, rows, i));
    }
    PQclear(rows);
    assert_int_equal(found + refused, count * (CHANGE_COUNT + 7));
    assert_true(refused <= count); /* a lane that has such a number already */
    tamper_with_lane(fixture, "0");
    tamper_with_lane(fixture, "15");
    is_whole(fixture, -1);
    print_message("%d changes of %d entries found, %d refused by the key\n", found, count, refused);
    end_tampering(fixture);
}

/* Who may do everything makes the end of a chain anew, hashes and all: only a kept head tells. */
static void a_kept_head_shows_a_chain_made_anew(void **state)
{
    struct fixture *fixture = *state;
    struct told kept;
    struct told told;
    (void)verify(fixture, NULL, NULL, 0, &kept);
    struct audit_verify_counts counts = verify(fixture, NULL, kept.head, kept.heads, &told);
    assert_int_equal(counts.heads, 3 * AUDIT_LANES);
    struct new_audit_entry entry = an_entry(fixture);
    append(fixture, &entry); /* going on is no fault */
    counts = verify(fixture, NULL, kept.head, kept.heads, &told);
    assert_int_equal(counts.damages, 0);
    assert_int_equal(counts.heads, 3 * AUDIT_LANES);

    begin_tampering(fixture);
    fixture_sql(fixture,
                arena_printf(fixture->arena,
                             "do $$ declare e penstock.audit_entry; before bytea; begin"
                             " for e in select * from penstock.audit_entry where clinic_id = '%s'"
                             " and lane = 0 and number >= 3 order by number loop"
                             " e.previous_hash := coalesce(before, e.previous_hash);"
                             " e.reason := 'another'; e.hash := penstock.audit_hash(e);"
                             " update penstock.audit_entry a set previous_hash = e.previous_hash,"
                             " reason = e.reason, hash = e.hash where a.clinic_id = e.clinic_id"
                             " and a.lane = e.lane and a.number = e.number;"
                             " before := e.hash; end loop;"
                             " update penstock.audit_lane set hash = before where clinic_id = '%s'"
                             " and lane = 0; end $$",
                             fixture->clinic_id, fixture->clinic_id));
    counts = verify(fixture, NULL, NULL, 0, &told);
    assert_int_equal(counts.damages, 0);
    counts = verify(fixture, NULL, kept.head, kept.heads, &told);
    assert_int_equal(counts.damages, 1);
    assert_string_equal(told.damage[0].detail, "the entry is another than when its head was kept");

    /* And shortened: entries and head go back to the fifth. */
    fixture_sql(fixture,
                arena_printf(fixture->arena,
                             "delete from penstock.audit_entry where clinic_id = '%s' and lane = 0"
                             " and number > 5;"
                             " update penstock.audit_lane l set number = 5, hash = e.hash from"
                             " penstock.audit_entry e where l.clinic_id = '%s' and l.lane = 0 and"
                             " e.clinic_id = l.clinic_id and e.lane = 0 and e.number = 5",
                             fixture->clinic_id, fixture->clinic_id));
    counts = verify(fixture, NULL, NULL, 0, &told);
    assert_int_equal(counts.damages, 0);
    counts = verify(fixture, fixture->clinic_id, kept.head, kept.heads, &told);
    assert_int_equal(counts.damages, 1);
    assert_string_equal(told.damage[0].detail, "the entry of a kept head is gone");
    assert_int_equal(counts.heads, AUDIT_LANES - 1);
    fixture_sql(fixture, "delete from penstock.audit_entry;"
                         "insert into penstock.audit_entry select * from saved_entry;"
                         "delete from penstock.audit_lane;"
                         "insert into penstock.audit_lane select * from saved_lane");
    end_tampering(fixture);
    is_whole(fixture, -1);
}

static void finds_what_is_not_found_by_its_patients(void **state)
{
    struct fixture *fixture = *state;
    struct told told;
    fixture_sql(fixture, "set session_replication_role = replica;"
                         "create temporary table saved_day as select * from"
                         " penstock.audit_patient_day; delete from penstock.audit_patient_day;"
                         "set session_replication_role = origin");
    struct audit_verify_counts counts = verify(fixture, NULL, NULL, 0, &told);
    assert_true(counts.damages > 0);
    assert_string_equal(told.damage[0].detail, "it is not found by one of its patients");
    fixture_sql(fixture, "insert into penstock.audit_patient_day select * from saved_day");
    is_whole(fixture, -1);
}

static void refuses_who_may_not_see_all(void **state)
{
    struct fixture *fixture = *state;
    struct told told = {0};
    const struct audit_verify_listener listener = {
        .context = &told, .take_head = take_head, .take_damage = take_damage};
    struct audit_verify_counts counts;
    struct audit_verify_options options = {.conninfo = fixture_conninfo(fixture, "penstock_app")};
    CHECK_FAILS(fixture, ERROR_INVALID,
                audit_verify_run(&options, &listener, &counts, &fixture->error));
    options =
        (struct audit_verify_options){.conninfo = fixture->owner, .clinic_id = fixture->account_id};
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                audit_verify_run(&options, &listener, &counts, &fixture->error));
}

int main(void)
{
#define AUDIT_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        AUDIT_TEST(objects_lead_to_their_patients),
        AUDIT_TEST(stands_and_falls_with_its_transaction),
        AUDIT_TEST(credentials_tell_whose_they_are),
        AUDIT_TEST(is_read_newest_first),
        AUDIT_TEST(finds_patients_whom_the_reader_does_not_see),
        AUDIT_TEST(nobody_changes_or_removes_entries),
        AUDIT_TEST(a_clinic_sees_and_makes_its_own),
        AUDIT_TEST(many_write_at_once),
        AUDIT_TEST(waits_for_a_lane),
        AUDIT_TEST(every_change_is_found),
        AUDIT_TEST(a_kept_head_shows_a_chain_made_anew),
        AUDIT_TEST(finds_what_is_not_found_by_its_patients),
        AUDIT_TEST(refuses_who_may_not_see_all),
    };
    return cmocka_run_group_tests_name("store: audit", tests, fixture_setup, fixture_teardown);
}
