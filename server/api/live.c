/* Watching a recording while it runs: whoever watches asks for what came after the last piece that
 * he has, and the answer waits until there is something. */
#include "api/compute.h"
#include "api/handlers.h"
#include "api/pieces.h"
#include "base/clock.h"
#include "formats/pieces.h"

enum {
    LIVE_WAIT_MAX_S = 25,     /* proxies give up after 30 s, often */
    LIVE_BYTES = 1024 * 1024, /* of pieces in one answer, about */
    LIVE_ANSWER_LIMIT = 256 * 1024 * 1024
};

static const double LIVE_LOOK_AGAIN_S = 0.25;

struct live_query {
    int after;
    double wait_s;
};

/* The newest piece. */
struct newest {
    int arrival; /* 0: none yet */
    double silent_s;
};

static bool read_query(const struct http_request *request, struct http_response *response,
                       struct live_query *ret_query)
{
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    http_request_check_query(request, (const char *const[]){"after", "wait_s", NULL}, &faults);
    ret_query->after = api_query_integer(request, "after", 0, LIMIT_CHUNKS, 0, &faults);
    ret_query->wait_s = api_query_integer(request, "wait_s", 0, LIVE_WAIT_MAX_S, 0, &faults);
    return !api_reject(request, response, &faults);
}

static bool append_chunk(const struct http_request *request,
                         const struct recording_document *opening, const struct chunk_row *chunk,
                         struct text *out, struct error *reterr)
{
    struct fault_list faults; /* not on the arena: it is larger than most pieces */
    fault_list_init(&faults, request->arena);
    const struct piece *piece = NULL;
    if (piece_json_read(request->arena, opening, chunk->text, chunk->length, &piece, &faults) !=
        JSON_READ_OK) {
        return error_set(reterr, ERROR_INTERNAL, "piece %d cannot be read back", chunk->number);
    }
    text_printf(out, "{\"number\":%d,\"arrival\":%d,", chunk->number, chunk->arrival);
    api_append_time(out, "received_at", chunk->received_at_us);
    text_append_char(out, ',');
    piece_json_append(out, opening, piece);
    text_append_char(out, '}');
    return true;
}

static bool append_news(struct api_context *context, const struct http_request *request,
                        const struct recording_row *row, const struct live_query *query,
                        const struct newest *newest, struct text *out, struct error *reterr)
{
    const struct recording_document *opening = NULL;
    struct chunk_row *chunks = NULL;
    size_t count = 0;
    bool open = row->state == RECORDING_OPEN;
    if (!recording_read_opening(request->arena, row, &opening, reterr) ||
        (open && !recording_chunks_after(context->store, request->arena, row, query->after,
                                         LIVE_BYTES, &chunks, &count, reterr))) {
        return false;
    }
    int after = count > 0 ? chunks[count - 1].arrival : query->after;
    text_printf(out, "{\"recording_id\":\"%s\",\"state\":\"%s\",\"after\":%d,\"more\":%s", row->id,
                recording_state_name(row->state), after,
                open && after < newest->arrival ? "true" : "false");
    text_append(out, ",\"silent_s\":");
    text_append_number(out, newest->silent_s);
    text_append(out, ",\"chunks\":[");
    for (size_t i = 0; i < count; i++) {
        text_append(out, i == 0 ? "" : ",");
        if (!append_chunk(request, opening, &chunks[i], out, reterr)) {
            return false;
        }
    }
    text_append(out, "]}");
    return true;
}

/* Completion takes the pieces away: whoever was just reading them looks again, and then sees it. */
static void respond_news(struct api_context *context, const struct http_request *request,
                         struct http_response *response, const struct live_query *query,
                         const struct newest *newest, struct recording_row *row)
{
    struct error error = {0};
    struct text body;
    text_init(&body, request->arena, LIVE_ANSWER_LIMIT);
    bool good = append_news(context, request, row, query, newest, &body, &error);
    if (!good && row->state == RECORDING_OPEN) {
        if (!recording_find(context, request, response, RECORDING_NOT_WITHDRAWN, row)) {
            return;
        }
        error = (struct error){0};
        text_init(&body, request->arena, LIVE_ANSWER_LIMIT);
        good = append_news(context, request, row, query, newest, &body, &error);
    }
    if (!good) {
        api_fail(request, response, &error);
        return;
    }
    api_respond_json(request, response, 200, &body);
}

void live_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct recording_row row = {0};
    struct live_query query;
    struct newest newest;
    struct error error = {0};
    if (!read_query(request, response, &query) ||
        !recording_find(context, request, response, RECORDING_IN_PIECES, &row)) {
        return;
    }
    if (!recording_newest_chunk(context->store, &row, &newest.arrival, &newest.silent_s, &error)) {
        api_fail(request, response, &error);
        return;
    }
    bool has_news = row.state != RECORDING_OPEN || newest.arrival > query.after;
    bool is_early = clock_monotonic_s() - request->started_s < query.wait_s;
    if (!has_news && is_early && http_answer_later(request, response, LIVE_LOOK_AGAIN_S)) {
        return;
    }
    respond_news(context, request, response, &query, &newest, &row);
    if (!has_news && (is_early || query.wait_s <= 0.0)) {
        /* It did not wait, as asked or because too many do: who repeats this at once only loads. */
        http_response_header(response, "Retry-After", "1");
    }
}

static void refuse_complete(const struct http_request *request, struct http_response *response,
                            const struct recording_row *row)
{
    http_problem(request, response, 409,
                 "This recording is complete: see /v1/recordings/%s/analysis.", row->id);
}

/* As above, with the pieces that completion took away. */
static void fail_to_assemble(struct api_context *context, const struct http_request *request,
                             struct http_response *response, const struct fault_list *faults,
                             const struct error *error, struct recording_row *row)
{
    if (faults->count > 0) {
        http_problem_faults(request, response, 409, faults);
        http_response_header(response, "Retry-After", "2");
        return;
    }
    if (!recording_find(context, request, response, RECORDING_NOT_WITHDRAWN, row)) {
        return;
    }
    if (row->state != RECORDING_OPEN) {
        refuse_complete(request, response, row);
        return;
    }
    api_fail(request, response, error);
}

void live_get_analysis(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct arena *arena = request->arena;
    struct recording_row row = {0};
    const struct recording_document *document = NULL;
    struct fault_list faults;
    struct text analysis;
    struct error error = {0};
    fault_list_init(&faults, arena);
    if (!recording_find(context, request, response, RECORDING_NOT_WITHDRAWN, &row)) {
        return;
    }
    if (row.state != RECORDING_OPEN) {
        refuse_complete(request, response, &row);
        return;
    }
    if (!pieces_assemble(context, arena, &row, &document, &faults, &error)) {
        fail_to_assemble(context, request, response, &faults, &error, &row);
        return;
    }
    if (!compute_in_study(context->store, arena, row.study_id, document, 0, &analysis, &error)) {
        api_fail(request, response, &error);
        return;
    }
    api_respond_json(request, response, 200, &analysis);
}
