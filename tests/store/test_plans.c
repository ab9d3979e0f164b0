/* How the database finds what the pages ask for: by an index and in one partition, in a clinic with
 * some years of work. The planner is free to choose; nothing is switched off. */
#include "recording_fixture.h"

#include "store/query.h"

#include <string.h>

/* Enough that reading a whole table is the dearer way. Written without triggers, as only a
 * superuser can. */
static const char fill_sql[] =
    "set session_replication_role = replica;"
    " insert into penstock.patient (clinic_id, id, mrn, family_name, given_name, birth_date, sex)"
    "  select '$c', md5('p' || n)::uuid, 'm' || n, 'Name ' || n, 'Given', '1961-04-05', 'female'"
    "  from generate_series(1, 2000) n;"
    " insert into penstock.study (clinic_id, id, patient_id, room, started_at)"
    "  select '$c', md5('s' || n)::uuid, md5('p' || n % 2000 + 1)::uuid, 'Room ' || n % 20,"
    "  timestamptz '2025-01-01 00:00+00' + n * interval '90 minutes'"
    "  from generate_series(1, 10000) n;"
    " insert into penstock.recording (clinic_id, id, study_id, type, started_at, received_at,"
    "  conditions, duration_s, revision, has_overview)"
    "  select '$c', md5('r' || n)::uuid, md5('s' || n)::uuid, 'cystometry',"
    "  timestamptz '2025-01-01 00:00+00' + n * interval '90 minutes',"
    "  timestamptz '2025-01-01 00:00+00' + n * interval '90 minutes', '{}', 90, 1, true"
    "  from generate_series(1, 10000) n;"
    " insert into penstock.recording_channel (clinic_id, recording_id, number, signal, unit,"
    "  rate_hz, start_s, encoding, decimals, scale, value_offset, sample_count, missing_count)"
    "  select clinic_id, id, n, 'signal' || n, 'x', 100, 0, 'int16', 0, 1, 0, 9000, 0"
    "  from penstock.recording, generate_series(0, 3) n;"
    " insert into penstock.recording_revision (clinic_id, recording_id, revision, received_on,"
    "  events, analysis) select clinic_id, id, 1, received_on, '[]', '{}'"
    "  from penstock.recording;"
    " insert into penstock.sample_block (clinic_id, recording_id, channel_number, level,"
    "  block_number, received_on, sample_count, checksum, data)"
    "  select clinic_id, id, c, 0, b, received_on, 4096, 0, '' from penstock.recording,"
    "  generate_series(0, 3) c, generate_series(0, 2) b;"
    " insert into penstock.recording_change (clinic_id, recording_id, version, change)"
    "  select clinic_id, id, 1, 'opened' from penstock.recording;"
    " insert into penstock.recording_chunk (clinic_id, recording_id, number, received_on, arrival,"
    "  digest, starts, ends, event_total, data) select clinic_id, id, n, received_on, n + 1,"
    "  sha256(''), '{0}', '{1}', 0, '' from penstock.recording, generate_series(0, 9) n;"
    " insert into penstock.audit_entry (clinic_id, lane, number, recorded_on, at, actor_id,"
    "  actor_name, actor_kind, actor_roles, address, request_id, action, resource, what,"
    "  patient_ids, emergency, status, outcome, reason, detail, previous_hash, hash)"
    "  select '$c', n % 16, n / 16 + 1, (t at time zone 'UTC')::date, t,"
    "  md5('a' || n % 40)::uuid, 'name', 'person', 2, '', '', 'read', 'studies', '',"
    "  array[md5('p' || n % 2000 + 1)::uuid, md5('p' || n % 7 + 1)::uuid], n % 1000 = 0, 200,"
    "  'done', '', '', sha256(''), sha256('')"
    "  from (select n, timestamptz '2025-01-01 00:00+00' + n * interval '30 minutes' as t"
    "  from generate_series(1, 30000) n) m;"
    " insert into penstock.audit_patient_day select distinct clinic_id, p, recorded_on, actor_id"
    "  from penstock.audit_entry, unnest(patient_ids) p;"
    " reset session_replication_role; analyze";

/* n-th recording: received 90 minutes after the one before, from the start of 2025. */
#define RECORDING "md5('r3000')::uuid"
#define STUDY     "md5('s3000')::uuid"
#define PATIENT   "md5('p1001')::uuid"
#define RECEIVED  "'2025-07-07'"

#define ACTOR "md5('a7')::uuid"
#define NEWEST_ENTRIES                                                                             \
    "'infinity', 16, 0, 50, '-infinity', 'infinity', null, null, null, null, true"

static const struct lookup {
    const struct statement_table *table;
    const char *name;
    const char *parameters; /* behind the clinic, as SQL */
    int partitions;         /* that are searched; 0: it reads no partitioned table; -1: any */
} lookups[] = {
    {&store_recording_statements, "recording_select", RECORDING, 0},
    {&store_recording_statements, "recording_list", STUDY ", false", 0},
    {&store_recording_statements, "recording_twins",
     STUDY ", 'cystometry', '2025-07-07 12:00+00', '{}', 90", 0},
    {&store_recording_statements, "recording_list_analysed", STUDY, 1},
    {&store_recording_statements, "recording_revision", RECORDING ", 0, false", 1},
    {&store_recording_statements, "recording_revisions", RECORDING, 1},
    {&store_samples_statements, "channels_select", RECORDING, 0},
    {&store_samples_statements, "channels_select_study", STUDY, 0},
    {&store_samples_statements, "blocks_select",
     RECORDING ", " RECEIVED ", '{0,2}', '{0,0}', '{0,1}', '{1,1}'", 1},
    {&store_chunk_statements, "chunk_existing", RECORDING ", 3, ''", 1},
    {&store_chunk_statements, "chunk_before", RECORDING ", 3", 1},
    {&store_chunk_statements, "chunk_behind", RECORDING ", 3", 1},
    {&store_chunk_statements, "chunk_ranges", RECORDING ", " RECEIVED, 1},
    {&store_chunk_statements, "chunk_newest", RECORDING ", " RECEIVED, 1},
    {&store_chunk_statements, "chunk_after", RECORDING ", " RECEIVED ", 3, 256, 1000", 1},
    {&store_chunk_statements, "chunk_page", RECORDING ", " RECEIVED ", 3, 256, 1000", 1},
    {&store_recording_state_statements, "state_changes", RECORDING, 0},
    {&store_study_statements, "study_select", STUDY, 0},
    {&store_study_statements, "study_list",
     "'-infinity', 'infinity', 'infinity', " STUDY ", 50, null", 0},
    {&store_study_statements, "study_list_of_patient",
     "'-infinity', 'infinity', 'infinity', " STUDY ", 50, null, " PATIENT ", null", 0},
    {&store_study_statements, "study_list_of_room",
     "'-infinity', 'infinity', 'infinity', " STUDY ", 50, null, 'Room 3'", 0},
    {&store_audit_statements, "audit_list", NEWEST_ENTRIES, -1},
    {&store_audit_statements, "audit_list_emergencies", NEWEST_ENTRIES, -1},
    {&store_audit_statements, "audit_list_by_actor",
     "'infinity', 16, 0, 50, '-infinity', 'infinity', null, null, null, " ACTOR ", false", -1},
    {&store_audit_statements, "audit_list_by_patient", NEWEST_ENTRIES ", " PATIENT, -1},
    {&store_audit_statements, "audit_days",
     PATIENT ", 'infinity', 'ffffffff-ffff-ffff-ffff-ffffffffffff', 50", -1},
    {&store_trend_statements, "trend_list", PATIENT ", 20", 2}, /* five visits in two years */
};

enum { LOOKUPS = sizeof lookups / sizeof lookups[0] };

static int set_up(void **state)
{
    if (fixture_setup(state) != 0) {
        return -1;
    }
    struct fixture *fixture = *state;
    const char *sql = fill_sql;
    char *filled = arena_strdup(fixture->arena, "");
    for (const char *mark = strstr(sql, "$c"); mark != NULL; mark = strstr(sql, "$c")) {
        filled = arena_printf(fixture->arena, "%s%.*s%s", filled, (int)(mark - sql), sql,
                              fixture->clinic_id);
        sql = mark + 2;
    }
    fixture_sql(fixture, arena_printf(fixture->arena, "%s%s", filled, sql));
    return 0;
}

static const char *sql_of(const struct lookup *lookup)
{
    for (size_t i = 0; i < lookup->table->count; i++) {
        if (strcmp(lookup->table->items[i].name, lookup->name) == 0) {
            return lookup->table->items[i].sql;
        }
    }
    fail_msg("no statement %s", lookup->name);
    return "";
}

/* The lines of the plan, run, with or without knowing the parameters when it was made. */
static PGresult *explain(struct fixture *fixture, PGconn *app, const struct lookup *lookup,
                         const char *mode)
{
    const char *sql = arena_printf(
        fixture->arena,
        "deallocate all; set plan_cache_mode = %s; prepare looked_up as %s;"
        " explain (analyze, costs off, timing off, summary off) execute looked_up ('%s', %s)",
        mode, sql_of(lookup), fixture->clinic_id, lookup->parameters);
    PGresult *lines = PQexec(app, sql);
    if (PQresultStatus(lines) != PGRES_TUPLES_OK) {
        fail_msg("%s: %s", lookup->name, PQerrorMessage(app));
    }
    return lines;
}

/* Fails where more is read than asked for: a table, or the blocks of all channels. */
static void refuse_waste(const struct lookup *lookup, const char *line, bool matters)
{
    if (matters && strstr(line, "Seq Scan on") != NULL) {
        fail_msg("%s reads a whole table: %s", lookup->name, line);
    }
    if (strstr(line, "Filter:") != NULL && strstr(line, "channel_number") != NULL) {
        fail_msg("%s walks past the blocks of other channels: %s", lookup->name, line);
    }
}

/* How many partitions were searched. Whole tables may be read only of a clinic's people and tokens,
 * which are few. */
static int searched(const struct lookup *lookup, const PGresult *lines)
{
    static const char *const parents[] = {" on sample_block_", " on recording_revision_",
                                          " on recording_chunk_", " on audit_entry_"};
    char seen[8][5]; /* the years */
    int count = 0;
    int scans = 0;
    for (int i = 0; i < PQntuples(lines); i++) {
        const char *line = PQgetvalue(lines, i, 0);
        bool ran = strstr(line, "never executed") == NULL;
        /* An empty partition is a table that is small as well. */
        bool small = strstr(line, " on account ") != NULL ||
                     strstr(line, " on api_token ") != NULL ||
                     (strstr(line, " on audit_entry_") != NULL && strstr(line, "rows=0 ") != NULL);
        refuse_waste(lookup, line, ran && !small);
        scans += strstr(line, "Index") != NULL && ran ? 1 : 0;
        for (size_t p = 0; ran && p < 4; p++) {
            const char *mark = strstr(line, parents[p]);
            bool known = mark == NULL;
            for (int s = 0; s < count && !known; s++) {
                known = strncmp(mark + strlen(parents[p]), seen[s], 4) == 0;
            }
            if (!known) {
                assert_true(count < 8);
                memcpy(seen[count], mark + strlen(parents[p]), 4);
                seen[count++][4] = '\0';
            }
        }
    }
    assert_true(scans > 0);
    return count;
}

static void look_everything_up(struct fixture *fixture, const char *mode)
{
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    for (size_t i = 0; i < LOOKUPS; i++) {
        PGresult *lines = explain(fixture, app, &lookups[i], mode);
        int partitions = searched(&lookups[i], lines);
        if (lookups[i].partitions >= 0 && partitions != lookups[i].partitions) {
            for (int l = 0; l < PQntuples(lines); l++) {
                print_message("%s\n", PQgetvalue(lines, l, 0));
            }
            fail_msg("%s, %s: %d partitions instead of %d", lookups[i].name, mode, partitions,
                     lookups[i].partitions);
        }
        PQclear(lines);
    }
    PQfinish(app);
}

static void known_parameters_find_an_index(void **state)
{
    look_everything_up(*state, "force_custom_plan");
}

/* After a few runs a prepared statement may get a plan that fits any parameters. */
static void unknown_parameters_find_an_index(void **state)
{
    look_everything_up(*state, "force_generic_plan");
}

int main(void)
{
#define PLANS_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        PLANS_TEST(known_parameters_find_an_index),
        PLANS_TEST(unknown_parameters_find_an_index),
    };
    return cmocka_run_group_tests_name("store: plans", tests, set_up, fixture_teardown);
}
