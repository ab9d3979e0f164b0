/* Recordings in pieces: in any order, repeated, at once, and never two of one number. */
#include "recording_fixture.h"

#include "base/uuid.h"
#include "store/store_chunk.h"
#include "store/store_recording_state.h"
#include "store/store_study.h"

#include <pthread.h>
#include <stdio.h>
#include <string.h>

enum { CHANNELS = 2, PIECE = 10 /* samples of a piece, in the examples */ };

/* ---- steps ---- */

static const char *new_study(struct fixture *fixture, const char *mrn)
{
    fixture_begin(fixture, fixture->clinic_id);
    const char *study = fixture_study(fixture, fixture_patient(fixture, mrn));
    fixture_commit(fixture);
    return study;
}

static struct recording_document *shape_document(struct fixture *fixture, const char *id)
{
    struct recording_document *document = recording_fixture(fixture, id, 0);
    document->event_count = 0;
    return document;
}

/* A study and an open recording of it. */
static const char *open_one(struct fixture *fixture, const char *mrn, const char **ret_study)
{
    const char *study = new_study(fixture, mrn);
    const char *id = NULL;
    bool existed = true;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          recording_open(fixture->store, fixture->arena, study, shape_document(fixture, NULL),
                         "{\"opening\":1}", &id, &existed, &fixture->error));
    fixture_commit(fixture);
    assert_false(existed);
    if (ret_study != NULL) {
        *ret_study = study;
    }
    return id;
}

static struct recording_row get(struct fixture *fixture, const char *id)
{
    struct recording_row row;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_get(fixture->store, fixture->arena, id, &row, &fixture->error));
    fixture_commit(fixture);
    return row;
}

/* Piece `number`, with PIECE samples a channel where its number puts them. */
struct piece {
    int64_t starts[CHANNELS];
    int64_t ends[CHANNELS];
    char text[64];
    struct new_chunk chunk;
};

static void piece_init(struct piece *piece, int number, const char *content)
{
    for (size_t c = 0; c < CHANNELS; c++) {
        piece->starts[c] = (int64_t)number * PIECE;
        piece->ends[c] = piece->starts[c] + PIECE;
    }
    (void)snprintf(piece->text, sizeof piece->text, "{\"number\":%d,\"content\":\"%s\"}", number,
                   content);
    piece->chunk = (struct new_chunk){.number = number,
                                      .channel_count = CHANNELS,
                                      .starts = piece->starts,
                                      .ends = piece->ends,
                                      .text = piece->text,
                                      .length = strlen(piece->text)};
}

static bool put(struct fixture *fixture, struct store *store, const char *id,
                const struct new_chunk *chunk, bool *ret_repeated)
{
    struct arena *arena = arena_new();
    bool good = store_begin(store, fixture->clinic_id, fixture->account_id, &fixture->error) &&
                recording_put_chunk(store, arena, id, chunk, ret_repeated, &fixture->error) &&
                store_commit(store, &fixture->error);
    if (!good) {
        store_rollback(store);
    }
    arena_free(arena);
    return good;
}

static void put_piece(struct fixture *fixture, const char *id, int number)
{
    struct piece piece;
    piece_init(&piece, number, "");
    bool repeated = true;
    CHECK(fixture, put(fixture, fixture->store, id, &piece.chunk, &repeated));
    assert_false(repeated);
}

static void assert_refused(struct fixture *fixture, const char *id, const struct new_chunk *chunk,
                           enum error_kind kind, const char *detail)
{
    bool repeated = false;
    CHECK_FAILS(fixture, kind, put(fixture, fixture->store, id, chunk, &repeated));
    assert_string_equal(fixture->error.detail, detail);
    assert_false(repeated);
}

static struct chunk_status status_of(struct fixture *fixture, const struct recording_row *row)
{
    struct chunk_status status;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          recording_chunk_status(fixture->store, fixture->arena, row, &status, &fixture->error));
    fixture_commit(fixture);
    return status;
}

static void complete(struct fixture *fixture, const char *id, size_t samples)
{
    struct recording_row row = get(fixture, id);
    struct recording_document *document = recording_fixture(fixture, id, samples);
    document->conditions.zeroed = "stated at the end";
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_lock_open(fixture->store, id, &fixture->error));
    CHECK(fixture, recording_complete(fixture->store, fixture->arena, &row, document,
                                      "{\"revision\": 1}", &fixture->error));
    fixture_commit(fixture);
}

/* ---- opening ---- */

static void opened_recording_is_empty(void **state)
{
    struct fixture *fixture = *state;
    const char *study = NULL;
    const char *id = open_one(fixture, "opened", &study);
    struct recording_row row = get(fixture, id);
    assert_int_equal(row.state, RECORDING_OPEN);
    assert_int_equal(row.revision, 0);
    assert_int_equal(row.version, 1);
    assert_int_equal(row.channel_count, 0);
    assert_string_equal(row.opening, "{\"opening\":1}");
    assert_string_equal(row.study_id, study);
    struct chunk_status status = status_of(fixture, &row);
    assert_int_equal(status.count, 0);
    assert_int_equal(status.range_count, 0);
    assert_int_equal(status.last_arrival, 0);
    fixture_begin(fixture, fixture->clinic_id);
    const char *json = NULL;
    int revision = 0;
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                recording_analysis(fixture->store, fixture->arena, id, 0, &json, &revision,
                                   &fixture->error));
    CHECK_FAILS(fixture, ERROR_CONFLICT, recording_lock(fixture->store, id, 0, &fixture->error));
    assert_string_equal(fixture->error.detail, "state");
    struct study row_of_study;
    CHECK(fixture,
          study_get(fixture->store, fixture->arena, study, &row_of_study, &fixture->error));
    assert_string_equal(row_of_study.status, "preliminary");
    assert_int_equal(row_of_study.recording_count, 1);
}

static void opening_again_gives_the_first(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *study = new_study(fixture, "opened twice");
    const char *other_study = new_study(fixture, "opened twice, elsewhere");
    char chosen[UUID_TEXT_SIZE];
    uuid_new(chosen);
    struct recording_document *document = shape_document(fixture, chosen);
    for (int i = 0; i < 3; i++) {
        const char *id = NULL;
        bool existed = i == 0;
        fixture_begin(fixture, fixture->clinic_id);
        CHECK(fixture, recording_open(fixture->store, fixture->arena, study, document, "one", &id,
                                      &existed, error));
        assert_string_equal(id, chosen);
        assert_int_equal(existed, i > 0);
        CHECK_FAILS(fixture, ERROR_CONFLICT,
                    recording_open(fixture->store, fixture->arena, study, document, "two", &id,
                                   &existed, error));
        assert_string_equal(error->detail, "id");
        CHECK_FAILS(fixture, ERROR_CONFLICT,
                    recording_open(fixture->store, fixture->arena, other_study, document, "one",
                                   &id, &existed, error));
        assert_string_equal(error->detail, "id");
        fixture_commit(fixture); /* a refusal leaves the transaction usable */
    }
    struct study row;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, study_get(fixture->store, fixture->arena, study, &row, error));
    assert_int_equal(row.recording_count, 1);
    assert_int_equal(row.version, 2); /* grown once */
    CHECK(fixture, recording_withdraw(fixture->store, chosen, 1, "wrong patient", error));
    const char *id = NULL;
    bool existed = true;
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                recording_open(fixture->store, fixture->arena, study, document, "one", &id,
                               &existed, error));
    assert_string_equal(error->detail, "id");
    fixture_commit(fixture);
}

static void whole_recording_does_not_answer_for_an_opening(void **state)
{
    struct fixture *fixture = *state;
    const char *study = new_study(fixture, "whole");
    fixture_begin(fixture, fixture->clinic_id);
    const char *whole = recording_fixture_store(fixture, study, 10);
    const char *id = NULL;
    bool existed = true;
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                recording_open(fixture->store, fixture->arena, study,
                               shape_document(fixture, whole), "one", &id, &existed,
                               &fixture->error));
    assert_string_equal(fixture->error.detail, "id");
}

static void closed_studies_open_nothing(void **state)
{
    struct fixture *fixture = *state;
    static const char *const statuses[] = {"cancelled", "final"};
    const char *id = NULL;
    bool existed = true;
    for (int i = 0; i < 2; i++) {
        const char *study = new_study(fixture, arena_printf(fixture->arena, "closed %d", i));
        fixture_set_status(fixture, study, statuses[i]);
        fixture_begin(fixture, fixture->clinic_id);
        CHECK_FAILS(fixture, ERROR_CONFLICT,
                    recording_open(fixture->store, fixture->arena, study,
                                   shape_document(fixture, NULL), "one", &id, &existed,
                                   &fixture->error));
        assert_string_equal(fixture->error.detail, "signed");
        store_rollback(fixture->store);
    }
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                recording_open(fixture->store, fixture->arena, fixture->account_id,
                               shape_document(fixture, NULL), "one", &id, &existed,
                               &fixture->error));
}

/* ---- pieces ---- */

static void pieces_come_in_any_order(void **state)
{
    struct fixture *fixture = *state;
    static const int order[] = {7, 0, 3, 2, 9, 8, 1, 12};
    const char *id = open_one(fixture, "any order", NULL);
    struct recording_row row = get(fixture, id);
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        put_piece(fixture, id, order[i]);
        assert_int_equal(status_of(fixture, &row).last_arrival, (int)i + 1);
    }
    struct chunk_status status = status_of(fixture, &row);
    static const struct chunk_range ranges[] = {{0, 3}, {7, 9}, {12, 12}};
    assert_int_equal(status.count, 8);
    assert_int_equal(status.range_count, 3);
    assert_memory_equal(status.ranges, ranges, sizeof ranges);
    assert_true(status.last_received_at_us >= row.received_at_us);

    struct chunk_row *rows = NULL;
    size_t count = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_chunks_after(fixture->store, fixture->arena, &row, 0, SIZE_MAX, &rows,
                                          &count, &fixture->error));
    assert_int_equal(count, 8);
    for (size_t i = 0; i < count; i++) {
        struct piece piece;
        piece_init(&piece, order[i], "");
        assert_int_equal(rows[i].number, order[i]);
        assert_int_equal(rows[i].arrival, (int)i + 1);
        assert_int_equal(rows[i].length, piece.chunk.length);
        assert_string_equal(rows[i].text, piece.text);
        assert_true(rows[i].received_at_us <= status.last_received_at_us);
    }
}

static void same_piece_again_is_harmless(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "repeated", NULL);
    struct piece piece;
    piece_init(&piece, 4, "");
    for (int i = 0; i < 3; i++) {
        bool repeated = i == 0;
        CHECK(fixture, put(fixture, fixture->store, id, &piece.chunk, &repeated));
        assert_int_equal(repeated, i > 0);
    }
    struct piece other;
    piece_init(&other, 4, "other");
    assert_refused(fixture, id, &other.chunk, ERROR_CONFLICT, "digest");
    complete(fixture, id, 100);
    bool repeated = false;
    CHECK(fixture, put(fixture, fixture->store, id, &piece.chunk, &repeated));
    assert_true(repeated);
    assert_refused(fixture, id, &other.chunk, ERROR_CONFLICT, "state");
    piece_init(&other, 5, "late");
    assert_refused(fixture, id, &other.chunk, ERROR_CONFLICT, "state");
    struct recording_row row = get(fixture, id);
    assert_int_equal(status_of(fixture, &row).count, 1);
}

static void samples_lie_in_the_order_of_numbers(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "overlapping", NULL);
    put_piece(fixture, id, 2); /* 20 to 30 */
    put_piece(fixture, id, 6); /* 60 to 70 */

    static const struct {
        int number;
        int64_t starts[CHANNELS];
        int64_t ends[CHANNELS];
    } refused[] = {
        {4, {29, 30}, {60, 60}}, {4, {30, 29}, {60, 60}}, {4, {30, 30}, {61, 60}},
        {4, {30, 30}, {60, 61}}, {1, {0, 0}, {20, 21}},   {7, {69, 70}, {80, 80}},
        {0, {70, 70}, {80, 80}}, {9, {0, 0}, {10, 10}},
    };

    struct piece piece;
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        piece_init(&piece, refused[i].number, "");
        memcpy(piece.starts, refused[i].starts, sizeof piece.starts);
        memcpy(piece.ends, refused[i].ends, sizeof piece.ends);
        assert_refused(fixture, id, &piece.chunk, ERROR_CONFLICT, "order");
    }
    /* Exactly between, with one channel that adds nothing; more channels than there are. */
    piece_init(&piece, 4, "");
    piece.starts[0] = 30;
    piece.ends[0] = 60;
    piece.starts[1] = 45;
    piece.ends[1] = 45;
    const int64_t three[] = {30, 45, 50};
    struct new_chunk wide = piece.chunk;
    wide.channel_count = 3;
    wide.starts = three;
    wide.ends = three;
    assert_refused(fixture, id, &wide, ERROR_CONFLICT, "order");
    bool repeated = true;
    CHECK(fixture, put(fixture, fixture->store, id, &piece.chunk, &repeated));
    assert_false(repeated);
    /* Now that one lies between: its neighbours are the ones to compare with. */
    struct piece last;
    piece_init(&last, 5, "");
    last.starts[0] = 60;
    last.ends[0] = 60;
    assert_refused(fixture, id,
                   &(struct new_chunk){.number = 5,
                                       .channel_count = CHANNELS,
                                       .starts = (int64_t[]){60, 44},
                                       .ends = (int64_t[]){60, 50},
                                       .text = "x",
                                       .length = 1},
                   ERROR_CONFLICT, "order");
    CHECK(fixture, put(fixture, fixture->store, id, &last.chunk, &repeated));
}

static void closed_recordings_take_no_pieces(void **state)
{
    struct fixture *fixture = *state;
    static const char *const statuses[] = {"cancelled", "final"};
    struct piece piece;
    piece_init(&piece, 0, "");
    for (int i = 0; i < 2; i++) {
        const char *study = NULL;
        const char *id = open_one(fixture, statuses[i], &study);
        put_piece(fixture, id, 1);
        fixture_set_status(fixture, study, statuses[i]);
        assert_refused(fixture, id, &piece.chunk, ERROR_CONFLICT, "signed");
        fixture_begin(fixture, fixture->clinic_id);
        CHECK_FAILS(fixture, ERROR_CONFLICT,
                    recording_lock_open(fixture->store, id, &fixture->error));
        assert_string_equal(fixture->error.detail, "signed");
        store_rollback(fixture->store);
    }
    const char *id = open_one(fixture, "withdrawn", NULL);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_withdraw(fixture->store, id, 1, "wrong patient", &fixture->error));
    fixture_commit(fixture);
    assert_refused(fixture, id, &piece.chunk, ERROR_CONFLICT, "state");
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT, recording_lock_open(fixture->store, id, &fixture->error));
    assert_string_equal(fixture->error.detail, "state");
    CHECK(fixture, recording_restore(fixture->store, id, 2, "it was right", &fixture->error));
    fixture_commit(fixture);
    put_piece(fixture, id, 0);
    assert_refused(fixture, fixture->account_id, &piece.chunk, ERROR_NOT_FOUND,
                   "no such recording");
}

static void other_clinics_see_no_pieces(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "foreign", NULL);
    put_piece(fixture, id, 0);
    struct recording_row row = get(fixture, id);
    struct piece piece;
    bool repeated = false;
    struct chunk_status status;
    struct chunk_row *rows = NULL;
    size_t count = 1;
    piece_init(&piece, 1, "");
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                recording_put_chunk(fixture->store, fixture->arena, id, &piece.chunk, &repeated,
                                    &fixture->error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, recording_lock_open(fixture->store, id, &fixture->error));
    CHECK(fixture,
          recording_chunk_status(fixture->store, fixture->arena, &row, &status, &fixture->error));
    assert_int_equal(status.count, 0);
    CHECK(fixture, recording_chunks_after(fixture->store, fixture->arena, &row, 0, SIZE_MAX, &rows,
                                          &count, &fixture->error));
    assert_int_equal(count, 0);
}

/* ---- reading ---- */

static bool count_piece(void *context, const struct chunk_row *chunk, struct error *reterr)
{
    int *next = context;
    struct piece piece;
    piece_init(&piece, chunk->number, "");
    if (chunk->number != *next || strcmp(chunk->text, piece.text) != 0) {
        return error_set(reterr, ERROR_INTERNAL, "piece %d instead of %d", chunk->number, *next);
    }
    (*next)++;
    return *next < 550 || error_set(reterr, ERROR_INVALID, "enough");
}

static void pieces_are_read_page_by_page(void **state)
{
    struct fixture *fixture = *state;

    enum { MANY = 520 }; /* more than two pages */

    const char *id = open_one(fixture, "pages", NULL);
    struct recording_row row = get(fixture, id);
    bool repeated = true;
    fixture_begin(fixture, fixture->clinic_id);
    for (int i = MANY - 1; i >= 0; i--) {
        struct piece piece;
        piece_init(&piece, i, "");
        CHECK(fixture, recording_put_chunk(fixture->store, fixture->arena, id, &piece.chunk,
                                           &repeated, &fixture->error));
    }
    fixture_commit(fixture);

    fixture_begin(fixture, fixture->clinic_id);
    int next = 0;
    CHECK(fixture, recording_each_chunk(fixture->store, &row, count_piece, &next, &fixture->error));
    assert_int_equal(next, MANY);
    /* It stops where it is told to, with the error of who told it. */
    next = 549;
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                recording_each_chunk(fixture->store, &row, count_piece, &next, &fixture->error));
    assert_non_null(strstr(fixture->error.detail, "piece 0 instead of 549"));

    int after = 0;
    int seen = 0;
    for (size_t count = 1; count > 0;) {
        struct chunk_row *rows = NULL;
        CHECK(fixture, recording_chunks_after(fixture->store, fixture->arena, &row, after, SIZE_MAX,
                                              &rows, &count, &fixture->error));
        for (size_t i = 0; i < count; i++) {
            assert_int_equal(rows[i].arrival, ++after);
            assert_int_equal(rows[i].number, MANY - 1 - seen++);
        }
    }
    assert_int_equal(seen, MANY);
}

static int newest(struct fixture *fixture, const char *id, double *ret_silent_s)
{
    struct recording_row row = get(fixture, id);
    int arrival = -1;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          recording_newest_chunk(fixture->store, &row, &arrival, ret_silent_s, &fixture->error));
    fixture_commit(fixture);
    return arrival;
}

/* Moves a time of a recording or its pieces, past the triggers that guard it. */
static void set_received_at(struct fixture *fixture, const char *table, const char *column,
                            const char *id, const char *when)
{
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "begin; set local session_replication_role = replica;"
                                      " update penstock.%s set received_at = %s where %s = '%s';"
                                      " commit",
                                      table, when, column, id));
}

static void silence_is_measured_where_times_are_set(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "silent", NULL);
    double silent_s = -1.0;
    assert_int_equal(newest(fixture, id, &silent_s), 0);
    assert_true(silent_s >= 0.0 && silent_s < 60.0);
    set_received_at(fixture, "recording", "id", id, "received_at - interval '20 minutes'");
    assert_int_equal(newest(fixture, id, &silent_s), 0);
    assert_true(silent_s >= 1200.0 && silent_s < 1260.0);
    put_piece(fixture, id, 1);
    put_piece(fixture, id, 0);
    assert_int_equal(newest(fixture, id, &silent_s), 2);
    assert_true(silent_s >= 0.0 && silent_s < 60.0);
    set_received_at(fixture, "recording_chunk", "recording_id", id, "now() - interval '90 s'");
    assert_int_equal(newest(fixture, id, &silent_s), 2);
    assert_true(silent_s >= 90.0 && silent_s < 150.0);
    set_received_at(fixture, "recording_chunk", "recording_id", id, "now() + interval '1 hour'");
    assert_int_equal(newest(fixture, id, &silent_s), 2);
    assert_true(silent_s >= 0.0 && silent_s <= 0.0); /* a clock that was set back */
}

static void byte_limit_ends_a_page(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "byte limit", NULL);
    for (int i = 0; i < 10; i++) {
        put_piece(fixture, id, i);
    }
    struct recording_row row = get(fixture, id);
    struct piece piece;
    piece_init(&piece, 0, "");
    size_t length = piece.chunk.length;

    static const struct {
        size_t pieces; /* limit, in lengths of a piece */
        size_t less;   /* and less by so many bytes */
        size_t count;
    } rows[] = {{0, 0, 1}, {1, 1, 1}, {3, 1, 3}, {3, 0, 4}, {20, 0, 10}};

    fixture_begin(fixture, fixture->clinic_id);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct chunk_row *chunks = NULL;
        size_t count = 0;
        CHECK(fixture, recording_chunks_after(fixture->store, fixture->arena, &row, 0,
                                              rows[i].pieces * length - rows[i].less, &chunks,
                                              &count, &fixture->error));
        assert_int_equal(count, rows[i].count);
        CHECK(fixture,
              recording_chunks_after(fixture->store, fixture->arena, &row, 10,
                                     rows[i].pieces * length, &chunks, &count, &fixture->error));
        assert_int_equal(count, 0);
    }
}

/* What the database sends at once is bounded too, however large the pieces are. */
static void large_pieces_come_one_after_another(void **state)
{
    struct fixture *fixture = *state;

    enum { LARGE = 3 * 1024 * 1024, PIECES = 4 };

    const char *id = open_one(fixture, "large", NULL);
    struct recording_row row = get(fixture, id);
    char *text = arena_alloc(fixture->arena, LARGE);
    uint32_t noise = 1; /* hardly compressible */
    for (int i = 0; i < PIECES; i++) {
        struct piece piece;
        piece_init(&piece, i, "");
        for (size_t b = 0; b < LARGE; b++) {
            noise = noise * 1664525U + 1013904223U;
            text[b] = (char)(noise >> 24);
        }
        piece.chunk.text = text;
        piece.chunk.length = LARGE;
        bool repeated = true;
        CHECK(fixture, put(fixture, fixture->store, id, &piece.chunk, &repeated));
    }
    fixture_begin(fixture, fixture->clinic_id);
    struct chunk_row *rows = NULL;
    size_t count = 0;
    CHECK(fixture, recording_chunks_after(fixture->store, fixture->arena, &row, 0, SIZE_MAX, &rows,
                                          &count, &fixture->error));
    assert_int_equal(count, 2); /* a piece, and one that exceeds the limit */
    assert_memory_equal(rows[0].text + LARGE, "", 1);
    CHECK(fixture, recording_chunks_after(fixture->store, fixture->arena, &row, 2, SIZE_MAX, &rows,
                                          &count, &fixture->error));
    assert_int_equal(count, 2);
    assert_memory_equal(rows[1].text, text, LARGE);
}

static void damaged_piece_is_reported(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "damaged", NULL);
    put_piece(fixture, id, 0);
    put_piece(fixture, id, 1);
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "set session_replication_role = replica;"
                                      " update penstock.recording_chunk set data ="
                                      " set_byte(data, 12, get_byte(data, 12) # 8)"
                                      " where recording_id = '%s' and number = 1;"
                                      " reset session_replication_role",
                                      id));
    struct recording_row row = get(fixture, id);
    struct chunk_row *rows = NULL;
    size_t count = 0;
    int next = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                recording_chunks_after(fixture->store, fixture->arena, &row, 0, SIZE_MAX, &rows,
                                       &count, &fixture->error));
    assert_non_null(strstr(fixture->error.detail, "piece 1"));
    assert_non_null(strstr(fixture->error.detail, id));
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                recording_each_chunk(fixture->store, &row, count_piece, &next, &fixture->error));
    assert_int_equal(next, 1); /* the good one before it was read */
}

/* ---- completion ---- */

static const char *chunk_value(struct fixture *fixture, const char *id, const char *what)
{
    return fixture_value(fixture, arena_printf(fixture->arena,
                                               "select %s from penstock.recording_chunk"
                                               " where recording_id = '%s'",
                                               what, id));
}

static void completion_makes_it_whole(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "completed", NULL);
    for (int i = 0; i < 3; i++) {
        put_piece(fixture, id, i);
    }
    complete(fixture, id, 5000);
    struct recording_row row = get(fixture, id);
    assert_int_equal(row.state, RECORDING_COMPLETE);
    assert_int_equal(row.revision, 1);
    assert_int_equal(row.version, 2);
    assert_int_equal(row.channel_count, 4);
    assert_non_null(strstr(row.conditions_json, "stated at the end"));
    assert_true(row.duration_s > 1499.0 && row.duration_s < 1501.0); /* 5000 at 10/3 Hz */
    assert_string_equal(chunk_value(fixture, id, "count(*) || ' ' || count(data)"), "3 0");

    const struct recording_document *stored = NULL;
    const struct recording_document *sent = recording_fixture(fixture, id, 5000);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_load(fixture->store, fixture->arena, id, 0, &stored, &fixture->error));
    for (size_t c = 0; c < 4; c++) {
        assert_true(document_channel_same(&stored->channels[c], &sent->channels[c]));
    }
    assert_int_equal(stored->event_count, 2);
    struct recording_change_row *changes = NULL;
    size_t count = 0;
    CHECK(fixture,
          recording_changes(fixture->store, fixture->arena, id, &changes, &count, &fixture->error));
    assert_int_equal(count, 2);
    assert_string_equal(changes[0].change, "opened");
    assert_string_equal(changes[1].change, "completed");
    assert_int_equal(changes[1].version, 2);
    assert_string_equal(changes[1].created_by_name, "First Person");
    /* The pieces are still known, but there is nothing in them. */
    assert_int_equal(count, 2);
    struct chunk_row *rows = NULL;
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                recording_chunks_after(fixture->store, fixture->arena, &row, 0, SIZE_MAX, &rows,
                                       &count, &fixture->error));
    fixture_commit(fixture);
    assert_int_equal(status_of(fixture, &row).count, 3);

    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT, recording_lock_open(fixture->store, id, &fixture->error));
    assert_string_equal(fixture->error.detail, "state");
    CHECK_FAILS(
        fixture, ERROR_CONFLICT,
        recording_complete(fixture->store, fixture->arena, &row, sent, "{}", &fixture->error));
    assert_string_equal(fixture->error.detail, "state");
    CHECK(fixture, recording_lock(fixture->store, id, 1, &fixture->error));
    CHECK(fixture,
          recording_add_revision(fixture->store, id, 2, NULL, 0, "{}", "", &fixture->error));
}

/* A study shows how many of its recordings are open. */
static void completion_changes_the_study(void **state)
{
    struct fixture *fixture = *state;
    const char *study_id = NULL;
    const char *id = open_one(fixture, "counted", &study_id);
    struct study before;
    struct study after;
    put_piece(fixture, id, 0);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, study_get(fixture->store, fixture->arena, study_id, &before, &fixture->error));
    fixture_commit(fixture);
    complete(fixture, id, 10);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, study_get(fixture->store, fixture->arena, study_id, &after, &fixture->error));
    assert_int_equal(before.open_recording_count, 1);
    assert_int_equal(after.open_recording_count, 0);
    assert_int_equal(after.version, before.version + 1);
    assert_string_equal(after.status, before.status);
}

/* Its study is not locked while a completion computes; nothing is added to it once it is signed. */
static void study_signed_during_completion_stays_as_it_is(void **state)
{
    struct fixture *fixture = *state;
    const char *study_id = NULL;
    const char *id = open_one(fixture, "signed meanwhile", &study_id);
    put_piece(fixture, id, 0);
    struct recording_row row = get(fixture, id);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_lock_open(fixture->store, id, &fixture->error));
    fixture_set_status(fixture, study_id, "final");
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                recording_complete(fixture->store, fixture->arena, &row,
                                   recording_fixture(fixture, id, 10), "{}", &fixture->error));
    assert_string_equal(fixture->error.detail, "signed");
    store_rollback(fixture->store);
    row = get(fixture, id);
    assert_int_equal(row.state, RECORDING_OPEN);
    assert_string_equal(chunk_value(fixture, id, "count(*) || ' ' || count(data)"), "1 1");
}

/* Tried by SQL, as a mistaken program would. */
static void pieces_cannot_be_emptied_or_changed_before(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "guarded", NULL);
    put_piece(fixture, id, 0);
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    const char *of_it = arena_printf(fixture->arena, "where recording_id = '%s'", id);
    const char *empty =
        arena_printf(fixture->arena, "update penstock.recording_chunk set data = null %s", of_it);
    const char *const refused[][2] = {
        {empty, "PS002"},
        {arena_printf(fixture->arena, "update penstock.recording_chunk set data = '' %s", of_it),
         "PS002"},
        {arena_printf(fixture->arena, "update penstock.recording_chunk set number = 5 %s", of_it),
         "42501"},
        {arena_printf(fixture->arena, "delete from penstock.recording_chunk %s", of_it), "42501"},
        /* a revision while it is open would make the guard believe that it is complete */
        {arena_printf(fixture->arena,
                      "update penstock.recording set revision = 1, version = 2 where id = '%s'",
                      id),
         "PS002"},
        /* a second piece 0, kept apart by its date only */
        {arena_printf(fixture->arena,
                      "insert into penstock.recording_chunk (clinic_id, recording_id, number,"
                      " received_on, arrival, digest, starts, ends) select clinic_id,"
                      " recording_id, number, received_on + 1, 9, digest, starts, ends"
                      " from penstock.recording_chunk %s",
                      of_it),
         "PS002"},
    };
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        assert_string_equal(fixture_sqlstate(fixture, app, refused[i][0]), refused[i][1]);
    }
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_withdraw(fixture->store, id, 1, "", &fixture->error));
    fixture_commit(fixture);
    assert_string_equal(fixture_sqlstate(fixture, app, empty), "PS002");
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_restore(fixture->store, id, 2, "", &fixture->error));
    fixture_commit(fixture);
    complete(fixture, id, 10);
    assert_string_equal(fixture_sqlstate(fixture, app, empty), "00000");
    assert_string_equal(
        fixture_sqlstate(fixture, app,
                         arena_printf(fixture->arena,
                                      "insert into penstock.recording_chunk (clinic_id,"
                                      " recording_id, number, received_on, arrival, digest,"
                                      " starts, ends) select clinic_id, recording_id, 77,"
                                      " received_on, 9, digest, starts, ends"
                                      " from penstock.recording_chunk %s",
                                      of_it)),
        "PS002");
    PQfinish(app);
}

/* ---- at once ---- */

enum { SENDERS = 2, SENT_EACH = 40 };

struct sender {
    struct fixture *fixture;
    const char *id;
    const char *content; /* what the pieces say */
    int first;
    int step;
    int stored;
    int repeated;
    int refused; /* another piece has the number */
    int failed;
};

static void *send_all(void *argument)
{
    struct sender *sender = argument;
    struct store *store = store_new(sender->fixture->owner);
    for (int i = 0; i < SENT_EACH; i++) {
        struct piece piece;
        struct error error;
        bool repeated = false;
        struct arena *arena = arena_new();
        piece_init(&piece, sender->first + i * sender->step, sender->content);
        bool good = store_begin(store, sender->fixture->clinic_id, NULL, &error) &&
                    recording_put_chunk(store, arena, sender->id, &piece.chunk, &repeated, &error);
        if (good) {
            good = store_commit(store, &error);
            sender->stored += good && !repeated ? 1 : 0;
            sender->repeated += good && repeated ? 1 : 0;
        }
        if (!good) {
            bool other = error.kind == ERROR_CONFLICT && strcmp(error.detail, "digest") == 0;
            sender->refused += other ? 1 : 0;
            sender->failed += other ? 0 : 1;
            store_rollback(store);
        }
        arena_free(arena);
    }
    store_free(store);
    return NULL;
}

static void run_senders(struct sender senders[SENDERS])
{
    pthread_t threads[SENDERS];
    for (int i = 0; i < SENDERS; i++) {
        assert_int_equal(pthread_create(&threads[i], NULL, send_all, &senders[i]), 0);
    }
    for (int i = 0; i < SENDERS; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
        assert_int_equal(senders[i].failed, 0);
    }
}

static void assert_arrivals(struct fixture *fixture, const char *id, const char *count)
{
    assert_string_equal(chunk_value(fixture, id, "count(*)"), count);
    assert_string_equal(chunk_value(fixture, id, "count(distinct number)"), count);
    assert_string_equal(chunk_value(fixture, id, "count(distinct arrival)"), count);
    assert_string_equal(chunk_value(fixture, id, "max(arrival)"), count);
}

static void two_connections_interleave(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "two senders", NULL);
    struct sender senders[SENDERS];
    for (int i = 0; i < SENDERS; i++) {
        senders[i] = (struct sender){
            .fixture = fixture, .id = id, .content = "", .first = i, .step = SENDERS};
    }
    run_senders(senders);
    assert_int_equal(senders[0].stored + senders[1].stored, SENDERS * SENT_EACH);
    assert_arrivals(fixture, id, "80");
}

static void two_connections_send_the_same(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "same senders", NULL);
    struct sender senders[SENDERS];
    for (int i = 0; i < SENDERS; i++) {
        senders[i] = (struct sender){.fixture = fixture, .id = id, .content = "", .step = 1};
    }
    run_senders(senders);
    assert_int_equal(senders[0].stored + senders[1].stored, SENT_EACH);
    assert_int_equal(senders[0].repeated + senders[1].repeated, SENT_EACH);
    assert_arrivals(fixture, id, "40");
}

static void two_connections_differ(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "differing senders", NULL);
    struct sender senders[SENDERS];
    for (int i = 0; i < SENDERS; i++) {
        senders[i] = (struct sender){
            .fixture = fixture, .id = id, .content = i == 0 ? "one" : "other", .step = 1};
    }
    run_senders(senders);
    assert_int_equal(senders[0].stored + senders[1].stored, SENT_EACH);
    assert_int_equal(senders[0].refused + senders[1].refused, SENT_EACH);
    assert_arrivals(fixture, id, "40");
}

/* A piece that comes while the recording is being completed waits, and is then refused. */
static void completion_and_a_piece_at_once(void **state)
{
    struct fixture *fixture = *state;
    const char *id = open_one(fixture, "late piece", NULL);
    put_piece(fixture, id, 0);
    struct recording_row row = get(fixture, id);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_lock_open(fixture->store, id, &fixture->error));
    struct sender late = {.fixture = fixture, .id = id, .content = "", .first = 0, .step = 1};
    pthread_t thread;
    assert_int_equal(pthread_create(&thread, NULL, send_all, &late), 0);
    CHECK(fixture, recording_complete(fixture->store, fixture->arena, &row,
                                      recording_fixture(fixture, id, 10), "{}", &fixture->error));
    fixture_commit(fixture);
    assert_int_equal(pthread_join(thread, NULL), 0);
    assert_int_equal(late.repeated, 1); /* the piece that was there */
    assert_int_equal(late.stored, 0);
    assert_int_equal(late.failed, SENT_EACH - 1);
    assert_string_equal(chunk_value(fixture, id, "count(*) || ' ' || count(data)"), "1 0");
}

int main(void)
{
#define CHUNK_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        CHUNK_TEST(opened_recording_is_empty),
        CHUNK_TEST(opening_again_gives_the_first),
        CHUNK_TEST(whole_recording_does_not_answer_for_an_opening),
        CHUNK_TEST(closed_studies_open_nothing),
        CHUNK_TEST(pieces_come_in_any_order),
        CHUNK_TEST(same_piece_again_is_harmless),
        CHUNK_TEST(samples_lie_in_the_order_of_numbers),
        CHUNK_TEST(closed_recordings_take_no_pieces),
        CHUNK_TEST(other_clinics_see_no_pieces),
        CHUNK_TEST(pieces_are_read_page_by_page),
        CHUNK_TEST(silence_is_measured_where_times_are_set),
        CHUNK_TEST(byte_limit_ends_a_page),
        CHUNK_TEST(large_pieces_come_one_after_another),
        CHUNK_TEST(damaged_piece_is_reported),
        CHUNK_TEST(completion_makes_it_whole),
        CHUNK_TEST(completion_changes_the_study),
        CHUNK_TEST(study_signed_during_completion_stays_as_it_is),
        CHUNK_TEST(pieces_cannot_be_emptied_or_changed_before),
        CHUNK_TEST(two_connections_interleave),
        CHUNK_TEST(two_connections_send_the_same),
        CHUNK_TEST(two_connections_differ),
        CHUNK_TEST(completion_and_a_piece_at_once),
    };
    return cmocka_run_group_tests_name("store: pieces", tests, fixture_setup, fixture_teardown);
}
