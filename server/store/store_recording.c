#include "store/store_recording.h"

#include "analysis/analysis.h"
#include "analysis/units.h"
#include "base/uuid.h"
#include "formats/limits.h"
#include "store/query.h"
#include "store/store_samples.h"

#include <math.h>
#include <string.h>

enum recording_statement {
    RECORDING_INSERT,
    RECORDING_WHY_NOT,
    RECORDING_STUDY_GROWS,
    RECORDING_FIRST_REVISION,
    RECORDING_SELECT,
    RECORDING_LIST,
    RECORDING_LIST_ANALYSED,
    RECORDING_REVISION,
    RECORDING_LOCK,
    RECORDING_ADD_REVISION,
    RECORDING_LIST_STALE,
    RECORDING_COUNT_KEPT,
    RECORDING_STATEMENT_COUNT
};

#define RECORDING_COLUMNS                                                                          \
    "r.id, r.study_id, r.type, penstock.unix_us(r.started_at), penstock.unix_us(r.received_at),"   \
    " r.conditions, r.duration_s, r.revision"

/* Versions are compared number by number; '' comes before all. $2 is this program's. */
#define STALE_FROM                                                                                 \
    " from penstock.recording r"                                                                   \
    " join penstock.recording_revision v on v.clinic_id = r.clinic_id and v.recording_id = r.id"   \
    " and v.revision = r.revision"                                                                 \
    " join penstock.study s on s.clinic_id = r.clinic_id and s.id = r.study_id"                    \
    " where r.clinic_id = $1 and string_to_array(v.analysis_version, '.')::int4[]"                 \
    " < string_to_array($2, '.')::int4[]"

static const struct statement statements[] = {
    /* No row: the study is unknown, signed or cancelled, or the id is taken. The study stays
     * locked, so that nobody signs or cancels it meanwhile. */
    [RECORDING_INSERT] = {.name = "recording_insert",
                          .sql = "insert into penstock.recording (clinic_id, id, study_id, type,"
                                 " started_at, conditions, duration_s, revision, created_by)"
                                 " select $1, $2, s.id, $4, $5, $6, $7, 1, $8 from penstock.study s"
                                 " where s.clinic_id = $1 and s.id = $3"
                                 " and s.status not in ('final', 'amended', 'cancelled')"
                                 " for no key update on conflict do nothing returning id"},
    [RECORDING_WHY_NOT] = {.name = "recording_why_not",
                           .sql = "select status in ('final', 'amended', 'cancelled')"
                                  " from penstock.study where clinic_id = $1 and id = $2"},
    /* What a study shows includes how many recordings it has, so that each one changes it. */
    [RECORDING_STUDY_GROWS] = {.name = "recording_study_grows",
                               .sql = "update penstock.study set version = version + 1,"
                                      " status = case status when 'registered' then 'preliminary'"
                                      " else status end where clinic_id = $1 and id = $2"},
    [RECORDING_FIRST_REVISION] = {.name = "recording_first_revision",
                                  .sql = "insert into penstock.recording_revision (clinic_id,"
                                         " recording_id, revision, events, analysis, created_by,"
                                         " analysis_version) values ($1, $2, 1, $3, $4, $5, $6)"},
    [RECORDING_SELECT] = {.name = "recording_select",
                          .sql = "select " RECORDING_COLUMNS " from penstock.recording r"
                                 " where r.clinic_id = $1 and r.id = $2"},
    [RECORDING_LIST] = {.name = "recording_list",
                        .sql = "select " RECORDING_COLUMNS " from penstock.recording r"
                               " where r.clinic_id = $1 and r.study_id = $2"
                               " order by r.started_at, r.id"},
    [RECORDING_LIST_ANALYSED] = {.name = "recording_list_analysed",
                                 .sql = "select " RECORDING_COLUMNS ", v.analysis"
                                        " from penstock.recording r"
                                        " join penstock.recording_revision v"
                                        " on v.clinic_id = r.clinic_id and v.recording_id = r.id"
                                        " and v.revision = r.revision"
                                        " where r.clinic_id = $1 and r.study_id = $2"
                                        " order by r.started_at, r.id"},
    [RECORDING_REVISION] = {.name = "recording_revision",
                            .sql = "select v.revision, case when $4 then v.events::text"
                                   " else v.analysis end from penstock.recording_revision v"
                                   " where v.clinic_id = $1 and v.recording_id = $2"
                                   " and v.revision = case when $3 > 0 then $3::int4 else"
                                   " (select r.revision from penstock.recording r"
                                   " where r.clinic_id = $1 and r.id = $2) end"},
    [RECORDING_LOCK] = {.name = "recording_lock",
                        .sql = "select r.revision, s.status in ('final', 'amended', 'cancelled')"
                               " from penstock.recording r join penstock.study s"
                               " on s.clinic_id = r.clinic_id and s.id = r.study_id"
                               " where r.clinic_id = $1 and r.id = $2"
                               " for no key update of r for share of s"},
    [RECORDING_ADD_REVISION] = {.name = "recording_add_revision",
                                .sql = "with newest as (update penstock.recording set revision = $3"
                                       " where clinic_id = $1 and id = $2 and revision = $3 - 1"
                                       " returning id)"
                                       " insert into penstock.recording_revision (clinic_id,"
                                       " recording_id, revision, events, analysis, created_by,"
                                       " analysis_version, reason)"
                                       " select $1, id, $3, $4, $5, $6, $7, $8 from newest"
                                       " returning revision"},
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

static const char *events_text(struct arena *arena, const struct document_event *events,
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

static bool insert_header(struct store *store, struct arena *arena, const char *study_id,
                          const char *id, const struct recording_document *document,
                          int *ret_inserted, struct error *reterr)
{
    struct text conditions;
    text_init(&conditions, arena, LIMIT_SMALL_BODY_BYTES);
    conditions_json_write(&document->conditions, &conditions);
    if (conditions.overflowed) {
        return error_set(reterr, ERROR_INVALID, "the conditions are too long");
    }
    struct query query;
    query_start(&query, store, &statements[RECORDING_INSERT]);
    query_id(&query, id);
    query_id(&query, study_id);
    query_text(&query, recording_type_name(document->type));
    query_time(&query, document->started_at_us);
    query_text(&query, conditions.data);
    query_double(&query, recording_document_duration_s(document));
    query_text(&query, query_actor(store));
    return query_count(store, &query, ret_inserted, reterr);
}

/* Says why no header was inserted. */
static bool report_refusal(struct store *store, const char *study_id, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[RECORDING_WHY_NOT]);
    query_id(&query, study_id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return false;
    }
    bool found = rows.count == 1;
    bool is_closed = found && rows_bool(&rows, 0, 0);
    rows_clear(&rows);
    if (!found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such study");
    }
    return error_set(reterr, ERROR_CONFLICT, "%s", is_closed ? "signed" : "id");
}

static bool insert_first_revision(struct store *store, const char *study_id, const char *id,
                                  const char *events, const char *analysis_json,
                                  struct error *reterr)
{
    struct query revision;
    query_start(&revision, store, &statements[RECORDING_FIRST_REVISION]);
    query_id(&revision, id);
    query_text(&revision, events);
    query_text(&revision, analysis_json);
    query_text(&revision, query_actor(store));
    query_text(&revision, ANALYSIS_VERSION);
    struct query growth;
    query_start(&growth, store, &statements[RECORDING_STUDY_GROWS]);
    query_id(&growth, study_id);

    struct query *const queries[] = {&revision, &growth};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return false;
    }
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    return true;
}

bool recording_create(struct store *store, struct arena *arena, const char *study_id,
                      const struct recording_document *document, const char *analysis_json,
                      const char **ret_id, struct error *reterr)
{
    char made[UUID_TEXT_SIZE];
    uuid_new(made);
    const char *id = document->id != NULL ? document->id : made;
    if (!uuid_is_valid(id)) {
        return error_set(reterr, ERROR_INVALID, "id");
    }
    const char *events = events_text(arena, document->events, document->event_count, reterr);
    int inserted = 0;
    if (events == NULL || !insert_header(store, arena, study_id, id, document, &inserted, reterr)) {
        return error_context(reterr, "store a recording");
    }
    if (inserted == 0) {
        return report_refusal(store, study_id, reterr);
    }
    if (!insert_first_revision(store, study_id, id, events, analysis_json, reterr) ||
        !samples_store_channels(store, id, document, reterr) ||
        !samples_store_blocks(store, id, document, reterr)) {
        return error_context(reterr, "store a recording");
    }
    *ret_id = arena_strdup(arena, id);
    return true;
}

/* ---- reading ---- */

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
    };
    return ret_row->type != RECORDING_TYPE_COUNT ||
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

static bool list_rows(struct store *store, struct arena *arena, enum recording_statement statement,
                      const char *study_id, struct rows *rows, struct recording_row **ret_items,
                      struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[statement]);
    query_id(&query, study_id);
    if (!query_run(store, &query, rows, reterr)) {
        return error_context(reterr, "list recordings");
    }
    struct recording_row *items = arena_array(arena, (size_t)rows->count, sizeof *items);
    for (int i = 0; i < rows->count; i++) {
        if (!read_header(rows, arena, i, &items[i], reterr)) {
            rows_clear(rows);
            return false;
        }
    }
    *ret_items = items;
    return true;
}

bool recording_list(struct store *store, struct arena *arena, const char *study_id,
                    struct recording_row **ret_rows, size_t *ret_count, struct error *reterr)
{
    struct rows rows;
    if (!list_rows(store, arena, RECORDING_LIST, study_id, &rows, ret_rows, reterr)) {
        return false;
    }
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
}

bool recording_list_analysed(struct store *store, struct arena *arena, const char *study_id,
                             struct recording_row **ret_rows, const char ***ret_analyses,
                             size_t *ret_count, struct error *reterr)
{
    const int analysis_column = 8; /* after RECORDING_COLUMNS */
    struct rows rows;
    if (!list_rows(store, arena, RECORDING_LIST_ANALYSED, study_id, &rows, ret_rows, reterr)) {
        return false;
    }
    const char **analyses = arena_array(arena, (size_t)rows.count, sizeof *analyses);
    for (int i = 0; i < rows.count; i++) {
        analyses[i] = rows_text(&rows, arena, i, analysis_column);
    }
    *ret_analyses = analyses;
    *ret_count = (size_t)rows.count;
    rows_clear(&rows);
    return true;
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
    rows_clear(&rows);
    if (!found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such recording");
    }
    if (is_closed) {
        return error_set(reterr, ERROR_CONFLICT, "signed");
    }
    return newest == revision ||
           error_set(reterr, ERROR_STALE, "the recording has revision %d", newest);
}

bool recording_add_revision(struct store *store, const char *id, int revision,
                            const struct document_event *events, size_t event_count,
                            const char *analysis_json, const char *reason, struct error *reterr)
{
    struct arena *arena = arena_new();
    const char *text = events_text(arena, events, event_count, reterr);
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

static bool load_channel(struct store *store, struct arena *arena, const char *id,
                         const struct recording_channel_row *row, struct document_channel *channel,
                         struct error *reterr)
{
    struct samples samples;
    if (!recording_samples(store, arena, id, row, 0, row->shape.count, &samples, reterr)) {
        return false;
    }
    *channel = (struct document_channel){.signal = row->signal,
                                         .unit = row->unit,
                                         .rate_hz = row->rate_hz,
                                         .start_s = row->start_s,
                                         .samples = samples};
    return units_factor(row->unit, signal_unit(row->signal), &channel->to_canonical) ||
           error_set(reterr, ERROR_INTERNAL, "recording %s, channel %d: unit without a factor", id,
                     row->number);
}

static bool load_events(struct store *store, struct arena *arena, int revision,
                        struct recording_document *document, struct error *reterr)
{
    const char *json = NULL;
    int found_revision = 0;
    if (!recording_events(store, arena, document->id, revision, &json, &found_revision, reterr)) {
        return false;
    }
    const char *body = arena_printf(arena, "{\"events\":%s}", json);
    struct document_event *events = NULL;
    struct fault_list *faults = arena_alloc(arena, sizeof *faults);
    fault_list_init(faults, arena);
    if (events_json_read(arena, body, strlen(body), LIMIT_DURATION_S, &events,
                         &document->event_count, faults) != JSON_READ_OK) {
        return error_set(reterr, ERROR_INTERNAL, "recording %s: events that cannot be read back",
                         document->id);
    }
    document->events = events;
    return true;
}

bool recording_load(struct store *store, struct arena *arena, const char *id, int revision,
                    const struct recording_document **ret_document, struct error *reterr)
{
    struct recording_row row;
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
        !load_events(store, arena, revision, document, reterr)) {
        return false;
    }
    for (size_t i = 0; i < row.channel_count; i++) {
        if (!load_channel(store, arena, id, &row.channels[i], &document->channels[i], reterr)) {
            return false;
        }
    }
    *ret_document = document;
    return true;
}
