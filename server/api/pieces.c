/* A recording in pieces: opened, sent piece by piece, completed. */
#include "api/pieces.h"

#include "api/compute.h"
#include "api/handlers.h"
#include "base/clock.h"
#include "formats/pieces.h"

#include <stdlib.h>
#include <string.h>

/* ---- opening ---- */

void pieces_open(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    const struct recording_document *document = NULL;
    enum json_read_outcome outcome =
        recording_json_read(request->arena, request->body, request->body_length,
                            RECORDING_JSON_OPEN, &document, &faults);
    if (!api_was_read(request, response, outcome, &faults)) {
        return;
    }
    const char *id = NULL;
    bool existed = false;
    struct error error = {0};
    if (!recording_open(context->store, request->arena, document->study_id, document, request->body,
                        &id, &existed, &error)) {
        recording_fail(request, response, &error);
        return;
    }
    recording_respond(context, request, response, existed ? 200 : 201, id);
}

/* ---- a piece ---- */

/* The piece's number in the path, or -1. */
static int path_number(const struct http_request *request)
{
    const char *text = request->parameters[1];
    size_t length = strlen(text);
    if (length == 0 || length > 6 || strspn(text, "0123456789") != length) {
        return -1;
    }
    long number = strtol(text, NULL, 10);
    return number < LIMIT_CHUNKS ? (int)number : -1;
}

static bool read_piece(const struct http_request *request, struct http_response *response,
                       const struct recording_document *opening, const struct piece **ret_piece)
{
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    enum json_read_outcome outcome = piece_json_read(request->arena, opening, request->body,
                                                     request->body_length, ret_piece, &faults);
    return api_was_read(request, response, outcome, &faults);
}

static struct new_chunk chunk_of(const struct http_request *request, int number,
                                 const struct recording_document *opening,
                                 const struct piece *piece)
{
    int64_t *starts = arena_array(request->arena, opening->channel_count, sizeof *starts);
    int64_t *ends = arena_array(request->arena, opening->channel_count, sizeof *ends);
    for (size_t i = 0; i < opening->channel_count; i++) {
        starts[i] = (int64_t)piece->channels[i].first;
        ends[i] = (int64_t)piece_end(&piece->channels[i]);
    }
    return (struct new_chunk){.number = number,
                              .channel_count = opening->channel_count,
                              .starts = starts,
                              .ends = ends,
                              .event_count = piece->event_count,
                              .text = request->body,
                              .length = request->body_length};
}

void pieces_put(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct recording_row row = {0};
    int number = path_number(request);
    if (number < 0) {
        http_problem(request, response, 404, "Pieces have numbers from 0 to %d.", LIMIT_CHUNKS - 1);
        return;
    }
    if (!recording_find(context, request, response, RECORDING_IN_PIECES, &row)) {
        return;
    }
    const struct recording_document *opening = NULL;
    const struct piece *piece = NULL;
    struct error error = {0};
    if (!recording_read_opening(request->arena, &row, &opening, &error)) {
        api_fail(request, response, &error);
        return;
    }
    if (!read_piece(request, response, opening, &piece)) {
        return;
    }
    const struct new_chunk chunk = chunk_of(request, number, opening, piece);
    bool repeated = false;
    if (!recording_put_chunk(context->store, request->arena, row.id, &chunk, &repeated, &error)) {
        recording_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_printf(&body, "{\"number\":%d,\"repeated\":%s}", number, repeated ? "true" : "false");
    api_respond_json(request, response, 200, &body);
}

/* ---- joining ---- */

/* Pieces as they are read from the store, in the order of their numbers. */
struct gathering {
    struct arena *arena;
    const struct recording_document *opening;
    size_t count;
    size_t capacity;
    const struct piece **pieces;
};

static void make_room(struct gathering *gathering)
{
    enum { FIRST_CAPACITY = 64 };

    size_t capacity = gathering->capacity == 0 ? FIRST_CAPACITY : 2 * gathering->capacity;
    const struct piece **pieces =
        arena_array(gathering->arena, capacity, sizeof(const struct piece *));
    if (gathering->count > 0) {
        memcpy(pieces, gathering->pieces, gathering->count * sizeof(const struct piece *));
    }
    gathering->pieces = pieces;
    gathering->capacity = capacity;
}

static bool gather(void *opaque, const struct chunk_row *chunk, struct error *reterr)
{
    struct gathering *gathering = opaque;
    struct fault_list faults; /* not on the arena: it is larger than most pieces */
    fault_list_init(&faults, gathering->arena);
    const struct piece *piece = NULL;
    if (piece_json_read(gathering->arena, gathering->opening, chunk->text, chunk->length, &piece,
                        &faults) != JSON_READ_OK) {
        return error_set(reterr, ERROR_INTERNAL, "piece %d cannot be read back", chunk->number);
    }
    if (gathering->count == gathering->capacity) {
        make_room(gathering);
    }
    gathering->pieces[gathering->count++] = piece;
    return true;
}

bool pieces_assemble(struct api_context *context, struct arena *arena,
                     const struct recording_row *row,
                     const struct recording_document **ret_document, struct fault_list *faults,
                     struct error *reterr)
{
    struct gathering gathering = {.arena = arena};
    return recording_read_opening(arena, row, &gathering.opening, reterr) &&
           recording_each_chunk(context->store, row, gather, &gathering, reterr) &&
           (pieces_join(arena, gathering.opening, gathering.pieces, gathering.count, ret_document,
                        faults) ||
            error_set(reterr, ERROR_INVALID, "nothing can be made of the pieces"));
}

/* ---- completion ---- */

static void fault_missing(struct fault_list *faults, int first, int last)
{
    if (first == last) {
        fault_add(faults, "/chunks", "Piece %d has not arrived.", first);
    } else if (first < last) {
        fault_add(faults, "/chunks", "Pieces %d to %d have not arrived.", first, last);
    }
}

/* Names the pieces that are missing, and those that there should not be. */
static void check_pieces(const struct completion *completion, const struct chunk_status *status,
                         struct fault_list *faults)
{
    int expected = 0;
    for (size_t i = 0; i < status->range_count; i++) {
        const struct chunk_range *range = &status->ranges[i];
        int end = range->first < completion->chunk_count ? range->first : completion->chunk_count;
        if (!completion->accept_gaps) {
            fault_missing(faults, expected, end - 1);
        }
        expected = range->last + 1;
    }
    if (!completion->accept_gaps) {
        fault_missing(faults, expected, completion->chunk_count - 1);
    }
    if (expected > completion->chunk_count) {
        fault_add(faults, "/chunks", "Piece %d has arrived: there are at least %d.", expected - 1,
                  expected);
    }
}

static bool read_completion(const struct http_request *request, struct http_response *response,
                            struct completion *ret_completion)
{
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    enum json_read_outcome outcome = completion_json_read(
        request->arena, request->body, request->body_length, ret_completion, &faults);
    return api_was_read(request, response, outcome, &faults);
}

/* With the recording locked: joins, computes, stores. */
static bool complete(struct api_context *context, const struct http_request *request,
                     struct http_response *response, const struct recording_row *row,
                     const struct completion *completion, struct error *reterr)
{
    struct arena *arena = request->arena;
    struct fault_list faults;
    fault_list_init(&faults, arena);
    const struct recording_document *joined = NULL;
    if (!pieces_assemble(context, arena, row, &joined, &faults, reterr)) {
        if (faults.count > 0) {
            http_problem_faults(request, response, 409, &faults);
        }
        return false;
    }
    struct recording_document document = *joined;
    if (completion->has_conditions) {
        document.conditions = completion->conditions;
    }
    double joined_s = clock_monotonic_s();
    struct text analysis;
    if (!compute_in_study(context->store, arena, row->study_id, &document, 1, &analysis, reterr)) {
        return false;
    }
    double computed_s = clock_monotonic_s();
    bool good = recording_complete(context->store, arena, row, &document, analysis.data, reterr);
    response->split_s[0] = joined_s - request->started_s;
    response->split_s[1] = computed_s - joined_s;
    response->split_s[2] = clock_monotonic_s() - computed_s;
    return good;
}

void pieces_complete(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct recording_row row = {0};
    struct completion completion;
    struct chunk_status status;
    struct fault_list faults;
    struct error error = {0};
    fault_list_init(&faults, request->arena);
    if (!recording_find(context, request, response, RECORDING_IN_PIECES, &row) ||
        !read_completion(request, response, &completion)) {
        return;
    }
    /* Said again after a lost answer: it is complete by then. */
    if (row.state == RECORDING_OPEN && !recording_lock_open(context->store, row.id, &error)) {
        bool completed_meanwhile =
            error.kind == ERROR_CONFLICT && strcmp(error.detail, "state") == 0 &&
            recording_get(context->store, request->arena, row.id, &row, &error) &&
            row.state == RECORDING_COMPLETE;
        if (!completed_meanwhile) {
            recording_fail(request, response, &error);
            return;
        }
    }
    if (!recording_chunk_status(context->store, request->arena, &row, &status, &error)) {
        api_fail(request, response, &error);
        return;
    }
    check_pieces(&completion, &status, &faults);
    if (faults.count > 0) {
        http_problem_faults(request, response, 409, &faults);
        return;
    }
    if (row.state == RECORDING_OPEN &&
        !complete(context, request, response, &row, &completion, &error)) {
        if (response->status == 500) { /* as it was at the beginning: nothing was said yet */
            recording_fail(request, response, &error);
        }
        return;
    }
    recording_respond_analysed(context, request, response, 200, row.id, NULL);
}
