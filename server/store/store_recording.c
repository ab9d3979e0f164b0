#include "store/store_recording.h"

#include "analysis/analysis.h"
#include "analysis/units.h"
#include "base/uuid.h"
#include "formats/limits.h"
#include "store/query.h"
#include "store/store_recording_private.h"
#include "store/store_samples.h"

#include <math.h>
#include <string.h>

enum recording_statement {
    RECORDING_LOCK_STUDY,
    RECORDING_TWINS,
    RECORDING_INSERT,
    RECORDING_STUDY_GROWS,
    RECORDING_FIRST_REVISION,
    RECORDING_SELECT,
    RECORDING_LIST,
    RECORDING_LIST_ANALYSED,
    RECORDING_REVISIONS,
    RECORDING_REVISION,
    RECORDING_LOCK,
    RECORDING_ADD_REVISION,
    RECORDING_LIST_STALE,
    RECORDING_COUNT_KEPT,
    RECORDING_STATEMENT_COUNT
};

#define RECORDING_COLUMNS                                                                          \
    "r.id, r.study_id, r.type, penstock.unix_us(r.started_at), penstock.unix_us(r.received_at),"   \
    " r.conditions, r.duration_s, r.revision, r.state, r.received_on, r.version,"                  \
    " r.has_overview, r.opening"

/* Versions are compared number by number; '' comes before all. $2 is this program's. */
#define STALE_FROM                                                                                 \
    " from penstock.recording r"                                                                   \
    " join penstock.recording_revision v on v.clinic_id = r.clinic_id and v.recording_id = r.id"   \
    " and v.revision = r.revision and v.received_on = r.received_on"                               \
    " join penstock.study s on s.clinic_id = r.clinic_id and s.id = r.study_id"                    \
    " where r.clinic_id = $1 and r.state = 'complete' and string_to_array(v.analysis_version, "    \
    "'.')::int4[]"                                                                                 \
    " < string_to_array($2, '.')::int4[]"

/* Its date is asked for first: with a join every partition would be searched. */
#define REVISION_OF_RECORDING                                                                      \
    "v.clinic_id = $1 and v.recording_id = $2 and v.received_on ="                                 \
    " (select r.received_on from penstock.recording r where r.clinic_id = $1 and r.id = $2)"

static const struct statement statements[] = {
    /* The study stays locked, so that nobody signs or cancels it meanwhile, and that of two equal
     * uploads the second finds the first. */
    [RECORDING_LOCK_STUDY] = {.name = "recording_lock_study",
                              .sql = "select status in ('final', 'amended', 'cancelled')"
                                     " from penstock.study where clinic_id = $1 and id = $2"
                                     " for no key update"},
    /* What else could be the same recording: few, and mostly none. */
    [RECORDING_TWINS] = {.name = "recording_twins",
                         .sql = "select id from penstock.recording where clinic_id = $1"
                                " and study_id = $2 and type = $3 and started_at = $4"
                                " and conditions::text = $5 and duration_s = $6"
                                " and state = 'complete' order by id"},
    [RECORDING_INSERT] = {.name = "recording_insert",
                          .sql = "insert into penstock.recording (clinic_id, id, study_id, type,"
                                 " started_at, conditions, duration_s, revision, created_by, state,"
                                 " opening, has_overview)"
                                 " values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, true)"
                                 " on conflict do nothing returning received_on"},
    /* What a study shows includes how many recordings it has, so that each one changes it. */
    [RECORDING_STUDY_GROWS] = {.name = "recording_study_grows",
                               .sql = "update penstock.study set version = version + 1,"
                                      " status = case status when 'registered' then 'preliminary'"
                                      " else status end where clinic_id = $1 and id = $2"},
    [RECORDING_FIRST_REVISION] = {.name = "recording_first_revision",
                                  .sql = "insert into penstock.recording_revision (clinic_id,"
                                         " recording_id, revision, received_on, events, analysis,"
                                         " created_by, analysis_version)"
                                         " values ($1, $2, 1, $3, $4, $5, $6, $7)"},
    [RECORDING_SELECT] = {.name = "recording_select",
                          .sql = "select " RECORDING_COLUMNS " from penstock.recording r"
                                 " where r.clinic_id = $1 and r.id = $2"},
    [RECORDING_LIST] = {.name = "recording_list",
                        .sql = "select " RECORDING_COLUMNS " from penstock.recording r"
                               " where r.clinic_id = $1 and r.study_id = $2"
                               " and ($3 or r.state <> 'withdrawn')"
                               " order by r.started_at, r.id"},
    [RECORDING_LIST_ANALYSED] = {.name = "recording_list_analysed",
                                 .sql = "select " RECORDING_COLUMNS ", v.analysis"
                                        " from penstock.recording r"
                                        " join penstock.recording_revision v"
                                        " on v.clinic_id = r.clinic_id and v.recording_id = r.id"
                                        " and v.revision = r.revision"
                                        " and v.received_on = r.received_on"
                                        " where r.clinic_id = $1 and r.study_id = $2"
                                        " and r.state = 'complete'"
                                        " order by r.started_at, r.id"},
    [RECORDING_REVISIONS] = {.name = "recording_revisions",
                             .sql = "select v.revision, penstock.unix_us(v.created_at),"
                                    " v.created_by, coalesce(a.display_name, t.name), v.reason,"
                                    " v.analysis_version, v.events::text"
                                    " from penstock.recording_revision v"
                                    " left join penstock.account a on a.clinic_id = v.clinic_id"
                                    " and a.id = v.created_by"
                                    " left join penstock.api_token t on t.clinic_id = v.clinic_id"
                                    " and t.id = v.created_by"
                                    " where " REVISION_OF_RECORDING " order by v.revision"},
    [RECORDING_REVISION] = {.name = "recording_revision",
                            .sql = "select v.revision, case when $4 then v.events::text"
                                   " else v.analysis end from penstock.recording_revision v"
                                   " where " REVISION_OF_RECORDING " and v.revision ="
                                   " case when $3 > 0 then $3::int4 else"
                                   " (select r.revision from penstock.recording r"
                                   " where r.clinic_id = $1 and r.id = $2) end"},
    [RECORDING_LOCK] = {.name = "recording_lock",
                        .sql = "select r.revision, s.status in ('final', 'amended', 'cancelled'),"
                               " r.state = 'complete'"
                               " from penstock.recording r join penstock.study s"
                               " on s.clinic_id = r.clinic_id and s.id = r.study_id"
                               " where r.clinic_id = $1 and r.id = $2"
                               " for no key update of r for share of s"},
    [RECORDING_ADD_REVISION] = {.name = "recording_add_revision",
                                .sql = "with newest as (update penstock.recording"
                                       " set revision = $3, version = version + 1"
                                       " where clinic_id = $1 and id = $2 and revision = $3 - 1"
                                       " returning id, received_on)"
                                       " insert into penstock.recording_revision (clinic_id,"
                                       " recording_id, revision, received_on, events, analysis,"
                                       " created_by, analysis_version, reason)"
                                       " select $1, id, $3, received_on, $4, $5, $6, $7, $8"
                                       " from newest returning revision"},
    [RECORDING_LIST_STALE] = {.name = "recording_list_stale",
                              .sql = "select r.id, r.revision" STALE_FROM
                                     " and s.status not in ('final', 'amended', 'cancelled')"
                                     " and ($3::uuid is null or r.id > $3)"
                                     " order by r.id limit $4"},
    [RECORDING_COUNT_KEPT] = {.name = "recording_count_kept",
                              .sql = "select count(*)" STALE_FROM
                                     " and s.status in ('final', 'amended', 'cancelled')"},
};

const struct statement_table store_recording_statements = {statements, RECORDING_STATEMENT_COUNT};

/* ---- creating ---- */

struct new_recording {
    const struct recording_document *document;
    const char *id;
    const char *conditions;
    const char *opening; /* NULL: it is whole */
};

const char *recording_events_text(struct arena *arena, const struct document_event *events,
                                  size_t count, struct error *reterr)
{
    struct text text;
    text_init(&text, arena, 4 * LIMIT_BODY_BYTES);
    events_json_write(events, count, &text);
    if (text.overflowed) {
        error_set(reterr, ERROR_INVALID, "the event list is too long");
        return NULL;
    }
    return text.data;
}

const char *recording_conditions_text(struct arena *arena,
                                      const struct document_conditions *conditions,
                                      struct error *reterr)
{
    struct text text;
    text_init(&text, arena, LIMIT_SMALL_BODY_BYTES);
    conditions_json_write(conditions, &text);
    if (text.overflowed) {
        error_set(reterr, ERROR_INVALID, "the conditions are too long");
        return NULL;
    }
    return text.data;
}

/* Locks the study and finds what of it could be the same recording; ret_twins is NULL where none
 * could. */
static bool lock_study(struct store *store, const char *study_id, const struct new_recording *made,
                       struct rows *ret_twins, struct error *reterr)
{
    const struct recording_document *document = made->document;
    struct query lock;
    query_start(&lock, store, &statements[RECORDING_LOCK_STUDY]);
    query_id(&lock, study_id);
    struct query twins;
    query_start(&twins, store, &statements[RECORDING_TWINS]);
    query_id(&twins, study_id);
    query_text(&twins, recording_type_name(document->type));
    query_time(&twins, document->started_at_us);
    query_text(&twins, made->conditions);
    query_double(&twins, recording_document_duration_s(document));

    struct query *const queries[] = {&lock, &twins};
    struct rows rows[2] = {{NULL, 0}, {NULL, 0}};
    if (!query_run_all(store, queries, ret_twins == NULL ? 1 : 2, rows, reterr)) {
        return false;
    }
    bool found = rows[0].count == 1;
    bool is_closed = found && rows_bool(&rows[0], 0, 0);
    rows_clear(&rows[0]);
    if (found && !is_closed) {
        if (ret_twins != NULL) {
            *ret_twins = rows[1];
        }
        return true;
    }
    rows_clear(&rows[1]);
    return found ? error_set(reterr, ERROR_CONFLICT, "signed")
                 : error_set(reterr, ERROR_NOT_FOUND, "no such study");
}

static bool insert_header(struct store *store, struct arena *arena, const char *study_id,
                          const struct new_recording *made, const char **ret_received_on,
                          struct error *reterr)
{
    bool open = made->opening != NULL;
    struct query query;
    query_start(&query, store, &statements[RECORDING_INSERT]);
    query_id(&query, made->id);
    query_id(&query, study_id);
    query_text(&query, recording_type_name(made->document->type));
    query_time(&query, made->document->started_at_us);
    query_text(&query, made->conditions);
    query_double(&query, open ? 0.0 : recording_document_duration_s(made->document));
    query_int(&query, open ? 0 : 1);
    query_text(&query, query_actor(store));
    query_text(&query, recording_state_name(open ? RECORDING_OPEN : RECORDING_COMPLETE));
    query_text(&query, made->opening);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return false;
    }
    bool inserted = rows.count == 1;
    *ret_received_on = inserted ? rows_text(&rows, arena, 0, 0) : NULL;
    rows_clear(&rows);
    return inserted || error_set(reterr, ERROR_CONFLICT, "id");
}

/* Whether the stored recording `id` is what `document` would make, sample by sample. One that
 * cannot be read back is not the same: or its damage would keep the good document out. */
static bool is_same(struct store *store, const char *id, const struct recording_document *document,
                    const char *events, bool *ret_same, struct error *reterr)
{
    struct arena *arena = arena_new();
    const struct recording_document *stored = NULL;
    bool good = recording_load(store, arena, id, 1, &stored, reterr);
    if (good) {
        const char *stored_events =
            recording_events_text(arena, stored->events, stored->event_count, reterr);
        bool same = stored_events != NULL && strcmp(stored_events, events) == 0 &&
                    stored->channel_count == document->channel_count;
        for (size_t i = 0; same && i < document->channel_count; i++) {
            same = document_channel_same(&stored->channels[i], &document->channels[i]);
        }
        *ret_same = same;
    }
    arena_free(arena);
    return good || reterr->kind == ERROR_INTERNAL;
}

/* The recording among `twins` that is the same as the document; *ret_id stays NULL without one. */
static bool find_same(struct store *store, struct arena *arena, const struct rows *twins,
                      const struct recording_document *document, const char *events,
                      const char **ret_id, struct error *reterr)
{
    for (int i = 0; i < twins->count; i++) {
        const char *id = rows_text(twins, arena, i, 0);
        bool same = false;
        if ((document->id != NULL && strcmp(document->id, id) != 0)) {
            continue; /* the sender says that it is another one */
        }
        if (!is_same(store, id, document, events, &same, reterr)) {
            return false;
        }
        if (same) {
            *ret_id = id;
            return true;
        }
    }
    return true;
}

static bool grow_study(struct store *store, const char *study_id, struct error *reterr)
{
    struct query growth;
    query_start(&growth, store, &statements[RECORDING_STUDY_GROWS]);
    query_id(&growth, study_id);
    int ignored = 0;
    return query_count(store, &growth, &ignored, reterr);
}

bool recording_insert_first_revision(struct store *store, const char *id, const char *received_on,
                                     const char *events, const char *analysis_json,
                                     struct error *reterr)
{
    struct query revision;
    query_start(&revision, store, &statements[RECORDING_FIRST_REVISION]);
    query_id(&revision, id);
    query_text(&revision, received_on);
    query_text(&revision, events);
    query_text(&revision, analysis_json);
    query_text(&revision, query_actor(store));
    query_text(&revision, ANALYSIS_VERSION);
    int ignored = 0;
    return query_count(store, &revision, &ignored, reterr);
}

static bool prepare(struct arena *arena, const struct recording_document *document,
                    struct new_recording *ret_made, struct error *reterr)
{
    char made[UUID_TEXT_SIZE];
    uuid_new(made);
    *ret_made = (struct new_recording){
        .document = document,
        .id = document->id != NULL ? document->id : arena_strdup(arena, made),
        .conditions = recording_conditions_text(arena, &document->conditions, reterr),
    };
    return ret_made->conditions != NULL &&
           (uuid_is_valid(ret_made->id) || error_set(reterr, ERROR_INVALID, "id"));
}

/* Everything of a new recording but its header. */
static bool insert_parts(struct store *store, const char *study_id,
                         const struct new_recording *made, const char *received_on,
                         const char *events, const struct pending_analysis *analysis,
                         struct error *reterr)
{
    if (!grow_study(store, study_id, reterr) ||
        !samples_store(store, made->id, received_on, made->document, reterr)) {
        return false;
    }
    const char *analysis_json = analysis->finish(analysis->context, reterr);
    return analysis_json != NULL && recording_insert_first_revision(store, made->id, received_on,
                                                                    events, analysis_json, reterr);
}

bool recording_create_pending(struct store *store, struct arena *arena, const char *study_id,
                              const struct recording_document *document,
                              const struct pending_analysis *analysis, const char **ret_id,
                              bool *ret_existed, struct error *reterr)
{
    struct new_recording made;
    struct rows twins = {NULL, 0};
    const char *events =
        recording_events_text(arena, document->events, document->event_count, reterr);
    if (events == NULL || !prepare(arena, document, &made, reterr)) {
        return error_context(reterr, "store a recording");
    }
    if (!lock_study(store, study_id, &made, &twins, reterr)) {
        return false;
    }
    const char *same = NULL;
    bool looked = find_same(store, arena, &twins, document, events, &same, reterr);
    rows_clear(&twins);
    if (!looked) {
        return error_context(reterr, "compare with what is stored");
    }
    *ret_existed = same != NULL;
    *ret_id = same != NULL ? same : made.id;
    if (same != NULL) {
        return true;
    }
    const char *received_on = NULL;
    return insert_header(store, arena, study_id, &made, &received_on, reterr) &&
           (insert_parts(store, study_id, &made, received_on, events, analysis, reterr) ||
            error_context(reterr, "store a recording"));
}

static const char *finished(void *context, struct error *reterr)
{
    (void)reterr;
    return context;
}

bool recording_create(struct store *store, struct arena *arena, const char *study_id,
                      const struct recording_document *document, const char *analysis_json,
                      const char **ret_id, bool *ret_existed, struct error *reterr)
{
    const struct pending_analysis analysis = {.finish = finished,
                                              .context = arena_strdup(arena, analysis_json)};
    return recording_create_pending(store, arena, study_id, document, &analysis, ret_id,
                                    ret_existed, reterr);
}

bool recording_open(struct store *store, struct arena *arena, const char *study_id,
                    const struct recording_document *document, const char *opening,
                    const char **ret_id, bool *ret_existed, struct error *reterr)
{
    struct new_recording made;
    if (!prepare(arena, document, &made, reterr) ||
        !lock_study(store, study_id, &made, NULL, reterr)) {
        return false;
    }
    made.opening = opening;
    *ret_id = made.id;
    *ret_existed = false;
    const char *received_on = NULL;
    if (insert_header(store, arena, study_id, &made, &received_on, reterr)) {
        return grow_study(store, study_id, reterr) &&
               recording_note_change(store, made.id, 1, "opened", "", reterr);
    }
    struct recording_row row;
    struct error ignored;
    *ret_existed = reterr->kind == ERROR_CONFLICT && document->id != NULL &&
                   recording_get(store, arena, made.id, &row, &ignored) && row.opening != NULL &&
                   strcmp(row.opening, opening) == 0 && strcmp(row.study_id, study_id) == 0 &&
                   row.state != RECORDING_WITHDRAWN;
    return *ret_existed;
}

/* ---- reading ---- */

static const char *const state_names[RECORDING_STATE_COUNT] = {
    [RECORDING_OPEN] = "open",
    [RECORDING_COMPLETE] = "complete",
    [RECORDING_WITHDRAWN] = "withdrawn",
};

const char *recording_state_name(enum recording_state state)
{
    return state_names[state];
}

static enum recording_state state_from_name(const char *name)
{
    int state = 0;
    while (state < RECORDING_STATE_COUNT && strcmp(state_names[state], name) != 0) {
        state++;
    }
    return (enum recording_state)state;
}

static bool read_header(const struct rows *rows, struct arena *arena, int row,
                        struct recording_row *ret_row, struct error *reterr)
{
    *ret_row = (struct recording_row){
        .id = rows_text(rows, arena, row, 0),
        .study_id = rows_text(rows, arena, row, 1),
        .type = recording_type_from_name(rows_text(rows, arena, row, 2)),
        .started_at_us = rows_int64(rows, row, 3),
        .received_at_us = rows_int64(rows, row, 4),
        .conditions_json = rows_text(rows, arena, row, 5),
        .duration_s = rows_double(rows, row, 6),
        .revision = rows_int(rows, row, 7),
        .state = state_from_name(rows_text(rows, arena, row, 8)),
        .received_on = rows_text(rows, arena, row, 9),
        .version = rows_int(rows, row, 10),
        .has_overview = rows_bool(rows, row, 11),
        .opening = rows_text(rows, arena, row, 12),
    };
    return (ret_row->type != RECORDING_TYPE_COUNT && ret_row->state != RECORDING_STATE_COUNT) ||
           error_set(reterr, ERROR_INTERNAL, "recording %s is of a type unknown to this program",
                     ret_row->id);
}

bool recording_get(struct store *store, struct arena *arena, const char *id,
                   struct recording_row *ret_row, struct error *reterr)
{
    struct query header;
    query_start(&header, store, &statements[RECORDING_SELECT]);
    query_id(&header, id);
    struct query channels;
    samples_channels_query(&channels, store, id);

    struct query *const queries[] = {&header, &channels};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        error_context(reterr, "get a recording");
        return false;
    }
    bool good = rows[0].count == 1 || error_set(reterr, ERROR_NOT_FOUND, "no such recording");
    good = good && read_header(&rows[0], arena, 0, ret_row, reterr) &&
           samples_channels_read(&rows[1], arena, ret_row, reterr);
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return good;
}

static bool read_headers(const struct rows *rows, struct arena *arena,
                         struct recording_row **ret_items, struct error *reterr)
{
    struct recording_row *items = arena_array(arena, (size_t)rows->count, sizeof *items);
    for (int i = 0; i < rows->count; i++) {
        if (!read_header(rows, arena, i, &items[i], reterr)) {
            return false;
        }
    }
    *ret_items = items;
    return true;
}

bool recording_list(struct store *store, struct arena *arena, const char *study_id,
                    bool withdrawn_too, struct recording_row **ret_rows, size_t *ret_count,
                    struct error *reterr)
{
    struct query headers;
    query_start(&headers, store, &statements[RECORDING_LIST]);
    query_id(&headers, study_id);
    query_text(&headers, withdrawn_too ? "true" : "false");
    struct query channels;
    samples_channels_of_study_query(&channels, store, study_id);

    struct query *const queries[] = {&headers, &channels};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "list recordings");
    }
    bool good = read_headers(&rows[0], arena, ret_rows, reterr);
    *ret_count = (size_t)rows[0].count;
    for (size_t i = 0; good && i < *ret_count; i++) {
        good = samples_channels_read(&rows[1], arena, &(*ret_rows)[i], reterr);
    }
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return good;
}

bool recording_list_analysed(struct store *store, struct arena *arena, const char *study_id,
                             struct recording_row **ret_rows, const char ***ret_analyses,
                             size_t *ret_count, struct error *reterr)
{
    const int analysis_column = 13; /* after RECORDING_COLUMNS */
    struct query query;
    query_start(&query, store, &statements[RECORDING_LIST_ANALYSED]);
    query_id(&query, study_id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list recordings");
    }
    bool good = read_headers(&rows, arena, ret_rows, reterr);
    const char **analyses = arena_array(arena, (size_t)rows.count, sizeof *analyses);
    for (int i = 0; i < rows.count; i++) {
        analyses[i] = rows_text(&rows, arena, i, analysis_column);
    }
    *ret_analyses = analyses;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return good;
}

/* Events or analysis of a revision. */
static bool revision_text(struct store *store, struct arena *arena, const char *id, int revision,
                          bool events, const char **ret_json, int *ret_revision,
                          struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[RECORDING_REVISION]);
    query_id(&query, id);
    query_int(&query, revision);
    query_text(&query, events ? "true" : "false");
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get a revision");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_revision = rows_int(&rows, 0, 0);
        *ret_json = rows_text(&rows, arena, 0, 1);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such recording or revision");
}

bool recording_events(struct store *store, struct arena *arena, const char *id, int revision,
                      const char **ret_json, int *ret_revision, struct error *reterr)
{
    return revision_text(store, arena, id, revision, true, ret_json, ret_revision, reterr);
}

bool recording_analysis(struct store *store, struct arena *arena, const char *id, int revision,
                        const char **ret_json, int *ret_revision, struct error *reterr)
{
    return revision_text(store, arena, id, revision, false, ret_json, ret_revision, reterr);
}

/* ---- revisions ---- */

/* Events as they stand in their column. */
static bool read_events(struct arena *arena, const char *json, struct document_event **ret_events,
                        size_t *ret_count)
{
    const char *body = arena_printf(arena, "{\"events\":%s}", json);
    struct fault_list *faults = arena_alloc(arena, sizeof *faults);
    fault_list_init(faults, arena);
    return events_json_read(arena, body, strlen(body), LIMIT_DURATION_S, ret_events, ret_count,
                            faults) == JSON_READ_OK;
}

bool recording_event_list(struct store *store, struct arena *arena, const char *id, int revision,
                          struct document_event **ret_events, size_t *ret_count, int *ret_revision,
                          struct error *reterr)
{
    const char *json = NULL;
    return recording_events(store, arena, id, revision, &json, ret_revision, reterr) &&
           (read_events(arena, json, ret_events, ret_count) ||
            error_set(reterr, ERROR_INTERNAL, "recording %s: events that cannot be read back", id));
}

bool recording_revisions(struct store *store, struct arena *arena, const char *id,
                         struct revision_row **ret_rows, size_t *ret_count, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[RECORDING_REVISIONS]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list revisions");
    }
    struct revision_row *items = arena_array(arena, (size_t)rows.count, sizeof *items);
    bool good = true;
    for (int i = 0; good && i < rows.count; i++) {
        items[i] = (struct revision_row){.revision = rows_int(&rows, i, 0),
                                         .created_at_us = rows_int64(&rows, i, 1),
                                         .created_by = rows_text(&rows, arena, i, 2),
                                         .created_by_name = rows_text(&rows, arena, i, 3),
                                         .reason = rows_text(&rows, arena, i, 4),
                                         .analysis_version = rows_text(&rows, arena, i, 5)};
        good =
            read_events(arena, rows_text(&rows, arena, i, 6), &items[i].events,
                        &items[i].event_count) ||
            error_set(reterr, ERROR_INTERNAL, "recording %s: events that cannot be read back", id);
    }
    *ret_rows = items;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return good;
}

bool recording_lock(struct store *store, const char *id, int revision, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[RECORDING_LOCK]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "lock a recording");
    }
    bool found = rows.count == 1;
    int newest = found ? rows_int(&rows, 0, 0) : 0;
    bool is_closed = found && rows_bool(&rows, 0, 1);
    bool is_complete = found && rows_bool(&rows, 0, 2);
    rows_clear(&rows);
    if (!found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such recording");
    }
    if (is_closed || !is_complete) {
        return error_set(reterr, ERROR_CONFLICT, "%s", is_closed ? "signed" : "state");
    }
    return newest == revision ||
           error_set(reterr, ERROR_STALE, "the recording has revision %d", newest);
}

bool recording_add_revision(struct store *store, const char *id, int revision,
                            const struct document_event *events, size_t event_count,
                            const char *analysis_json, const char *reason, struct error *reterr)
{
    struct arena *arena = arena_new();
    const char *text = recording_events_text(arena, events, event_count, reterr);
    bool good = text != NULL;
    int added = 0;
    if (good) {
        struct query query;
        query_start(&query, store, &statements[RECORDING_ADD_REVISION]);
        query_id(&query, id);
        query_int(&query, revision);
        query_text(&query, text);
        query_text(&query, analysis_json);
        query_text(&query, query_actor(store));
        query_text(&query, ANALYSIS_VERSION);
        query_text(&query, reason);
        good = query_count(store, &query, &added, reterr);
    }
    arena_free(arena);
    return good &&
           (added == 1 || error_set(reterr, ERROR_STALE, "revision %d does not follow", revision));
}

/* ---- documents of an older analysis ---- */

bool recording_list_stale(struct store *store, struct arena *arena, const char *after, int limit,
                          struct stale_recording **ret_items, size_t *ret_count,
                          struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[RECORDING_LIST_STALE]);
    query_text(&query, ANALYSIS_VERSION);
    query_text(&query, after);
    query_int(&query, limit);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list documents of an older analysis");
    }
    struct stale_recording *items = arena_array(arena, (size_t)rows.count, sizeof *items);
    for (int i = 0; i < rows.count; i++) {
        items[i] = (struct stale_recording){.id = rows_text(&rows, arena, i, 0),
                                            .revision = rows_int(&rows, i, 1)};
    }
    *ret_items = items;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}

bool recording_count_kept(struct store *store, int *ret_count, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[RECORDING_COUNT_KEPT]);
    query_text(&query, ANALYSIS_VERSION);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "count documents of an older analysis");
    }
    *ret_count = rows_int(&rows, 0, 0);
    rows_clear(&rows);
    return true;
}

/* ---- loading ---- */

static bool load_channels(struct store *store, struct arena *arena, const struct recording_row *row,
                          struct document_channel *channels, struct error *reterr)
{
    struct recording_part *parts = arena_array(arena, row->channel_count, sizeof *parts);
    for (size_t i = 0; i < row->channel_count; i++) {
        parts[i] = (struct recording_part){.channel = &row->channels[i],
                                           .count = row->channels[i].shape.count};
    }
    if (!recording_read_parts(store, arena, row, parts, row->channel_count, reterr)) {
        return false;
    }
    for (size_t i = 0; i < row->channel_count; i++) {
        const struct recording_channel_row *from = &row->channels[i];
        channels[i] = (struct document_channel){.signal = from->signal,
                                                .unit = from->unit,
                                                .rate_hz = from->rate_hz,
                                                .start_s = from->start_s,
                                                .samples = parts[i].samples};
        if (!units_factor(from->unit, signal_unit(from->signal), &channels[i].to_canonical)) {
            return error_set(reterr, ERROR_INTERNAL,
                             "recording %s, channel %d: unit without a factor", row->id,
                             from->number);
        }
    }
    return true;
}

bool recording_load(struct store *store, struct arena *arena, const char *id, int revision,
                    const struct recording_document **ret_document, struct error *reterr)
{
    struct recording_row row;
    int found_revision = 0;
    if (!recording_get(store, arena, id, &row, reterr)) {
        return false;
    }
    struct recording_document *document = arena_alloc(arena, sizeof *document);
    *document = (struct recording_document){
        .id = row.id,
        .type = row.type,
        .started_at_us = row.started_at_us,
        .channel_count = row.channel_count,
        .channels = arena_array(arena, row.channel_count, sizeof *document->channels),
    };
    if (!conditions_json_read(arena, row.conditions_json, &document->conditions, reterr) ||
        !recording_event_list(store, arena, id, revision, &document->events, &document->event_count,
                              &found_revision, reterr)) {
        return false;
    }
    *ret_document = document;
    return load_channels(store, arena, &row, document->channels, reterr);
}
