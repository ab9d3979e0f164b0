/* De-identified data of the clinic, page by page. */
#include "api/api.h"
#include "api/handlers.h"
#include "base/clock.h"
#include "formats/json_writer.h"
#include "report/research_json.h"
#include "store/store_recording.h"

#include <string.h>

enum { LEAST_SUBJECTS = 5, MOST_SUBJECTS = 1000, LINES_MOST = 100 * 1000 };

#define EXPORT_ANSWER_LIMIT ((size_t)64 * 1024 * 1024)

struct export
{
    struct research_options options;
    int limit; /* subjects a page */
    int64_t until_us;
    const char *after; /* pseudonym of the last subject before this page, or NULL */
    struct research_pool pool;
    const enum small_cell_fate *fates;
    const char *next_cursor;
};

static int query_word(const struct http_request *request, const char *name,
                      const char *const words[], struct fault_list *faults)
{
    const char *value = http_request_query(request, name);
    for (int i = 0; value != NULL && words[i] != NULL; i++) {
        if (strcmp(words[i], value) == 0) {
            return i;
        }
    }
    if (value != NULL) {
        json_reader_fault_word(faults, arena_printf(request->arena, "?%s", name), words);
    }
    return 0;
}

static bool read_request(const struct http_request *request, struct http_response *response,
                         struct export *ret_export)
{
    struct fault_list faults;
    struct error error = {0};
    fault_list_init(&faults, request->arena);
    http_request_check_query(
        request, (const char *const[]){"limit", "cursor", "k", "dates", "ages", NULL}, &faults);
    struct store_page page = api_page(request, &faults);
    *ret_export = (struct export){
        .limit = page.limit,
        .until_us = clock_now_us(),
        .options = {
            .least = api_query_integer(request, "k", LEAST_SUBJECTS, MOST_SUBJECTS, LEAST_SUBJECTS,
                                       &faults),
            .dates =
                (enum research_dates)query_word(request, "dates", research_dates_names, &faults),
            .ages = (enum research_ages)query_word(request, "ages", research_ages_names, &faults),
        }};
    if (api_reject(request, response, &faults)) {
        return false;
    }
    if (page.cursor != NULL &&
        !research_cursor_read(request->arena, page.cursor, &ret_export->until_us,
                              &ret_export->after, &error)) {
        api_fail_list(request, response, &error);
        return false;
    }
    return true;
}

/* ---- the header ---- */

/* How many there are; a number from 1 to k - 1 is not told. */
static void append_count(struct text *out, const char *name, int count, int least)
{
    json_writer_name(out, name);
    if (count > 0 && count < least) {
        text_append(out, "null");
    } else {
        text_printf(out, "%d", count);
    }
}

struct totals {
    int subjects[SMALL_CELL_LEFT_OUT + 1]; /* with a line of this fate */
    int recordings[SMALL_CELL_LEFT_OUT + 1];
    int told; /* subjects with a line that is told */
};

static struct totals count_all(const struct export *export)
{
    struct totals totals = {0};
    bool seen[SMALL_CELL_LEFT_OUT + 1] = {false};
    for (size_t i = 0; i < export->pool.count; i++) {
        enum small_cell_fate fate = export->fates[i];
        if (i == 0 ||
            strcmp(export->pool.lines[i].subject, export->pool.lines[i - 1].subject) != 0) {
            memset(seen, 0, sizeof seen);
        }
        totals.told +=
            fate != SMALL_CELL_LEFT_OUT && !seen[SMALL_CELL_WHOLE] && !seen[SMALL_CELL_MASKED] ? 1
                                                                                               : 0;
        totals.subjects[fate] += seen[fate] ? 0 : 1;
        totals.recordings[fate]++;
        seen[fate] = true;
    }
    return totals;
}

static void append_left_out(struct text *out, const char *name, int subjects, int recordings,
                            int least)
{
    json_writer_name(out, name);
    text_append_char(out, '{');
    append_count(out, "subjects", subjects, least);
    append_count(out, "recordings", recordings, least);
    text_append_char(out, '}');
}

static void append_header(struct text *out, const struct export *export)
{
    const struct totals totals = count_all(export);
    const struct research_pool *pool = &export->pool;
    int least = export->options.least;
    json_writer_string(out, "format", "penstock-research/1");
    json_writer_name(out, "k");
    text_printf(out, "%d", least);
    json_writer_string(out, "dates", research_dates_names[export->options.dates]);
    json_writer_string(out, "ages", research_ages_names[export->options.ages]);
    json_writer_flag(out, "beyond_safe_harbor", export->options.dates == RESEARCH_DATES_SHIFTED);
    text_append_char(out, ',');
    api_append_time(out, "received_before", export->until_us);
    append_count(out, "subjects", totals.told, least);
    append_count(out, "recordings",
                 totals.recordings[SMALL_CELL_WHOLE] + totals.recordings[SMALL_CELL_MASKED], least);
    append_left_out(out, "masked", totals.subjects[SMALL_CELL_MASKED],
                    totals.recordings[SMALL_CELL_MASKED], least);
    json_writer_name(out, "left_out");
    text_append_char(out, '{');
    append_left_out(out, "small_cells", totals.subjects[SMALL_CELL_LEFT_OUT],
                    totals.recordings[SMALL_CELL_LEFT_OUT], least);
    append_left_out(out, "erasure", pool->erasure_subjects, pool->erasure_recordings, least);
    json_writer_name(out, "open_withdrawn_cancelled");
    text_append_char(out, '{');
    append_count(out, "recordings", pool->unusable_recordings, least);
    text_append(out, "}}");
    json_writer_string(out, "next_cursor", export->next_cursor);
}

/* ---- the lines ---- */

static bool append_line(struct api_context *context, const struct export *export, size_t index,
                        struct text *out, struct error *reterr)
{
    const struct research_line *line = &export->pool.lines[index];
    const char *analysis = NULL;
    struct document_event *events = NULL;
    size_t event_count = 0;
    int revision = 0;
    struct arena *arena = arena_new();
    bool good = recording_analysis(context->store, arena, line->recording_id, 0, &analysis,
                                   &revision, reterr) &&
                recording_event_list(context->store, arena, line->recording_id, revision, &events,
                                     &event_count, &revision, reterr);
    if (good) {
        research_json_write(line, export->fates[index], &export->options, analysis, events,
                            event_count, out);
    }
    arena_free(arena);
    return good;
}

/* Whole subjects, at most `limit` of which something is told, and where the next page begins. */
static bool append_page(struct api_context *context, const struct http_request *request,
                        struct export *export, const char *separator, struct text *out,
                        struct error *reterr)
{
    int subjects = 0;
    const char *last = NULL;
    for (size_t i = 0; i < export->pool.count; i++) {
        const char *subject = export->pool.lines[i].subject;
        if (export->fates[i] == SMALL_CELL_LEFT_OUT ||
            (export->after != NULL && strcmp(subject, export->after) <= 0)) {
            continue;
        }
        if (last == NULL || strcmp(subject, last) != 0) {
            if (subjects == export->limit) {
                export->next_cursor = research_cursor_write(request->arena, export->until_us, last);
                return true;
            }
            subjects++;
            last = subject;
        }
        text_append(out, out->length == 0 ? "" : separator);
        if (!append_line(context, export, i, out, reterr)) {
            return false;
        }
    }
    return true;
}

static void respond(const struct http_request *request, struct http_response *response,
                    const struct export *export, const struct text *lines, bool as_lines)
{
    struct text body;
    text_init(&body, request->arena, EXPORT_ANSWER_LIMIT);
    text_append_char(&body, '{');
    append_header(&body, export);
    text_append(&body, as_lines ? "}\n" : ",\"items\":[");
    text_append_bytes(&body, lines->data, lines->length);
    if (!as_lines) {
        text_append(&body, "]}");
    } else if (lines->length > 0) {
        text_append_char(&body, '\n');
    }
    if (lines->overflowed || body.overflowed) {
        http_problem(request, response, 409,
                     "This page is larger than an answer may be: ask for a smaller limit.");
        return;
    }
    if (export->next_cursor != NULL) {
        api_link_next(request, response, export->next_cursor);
    }
    http_response_header(response, "Content-Disposition",
                         as_lines ? "attachment; filename=\"research.ndjson\""
                                  : "attachment; filename=\"research.json\"");
    api_respond_text(request, response, 200, request->accepted, &body);
}

void research_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct export export;
    struct error error = {0};
    if (!read_request(request, response, &export)) {
        return;
    }
    if (!research_pool_load(context->store, request->arena, export.until_us, LINES_MOST,
                            &export.pool, &error)) {
        if (error.kind == ERROR_INVALID) {
            http_problem(request, response, 409,
                         "The clinic has more than %d recordings: more than this export takes.",
                         LINES_MOST);
        } else {
            api_fail(request, response, &error);
        }
        return;
    }
    export.fates = research_fates(request->arena, &export.pool, &export.options);
    bool as_lines = strcmp(request->accepted, "application/x-ndjson") == 0;
    struct text lines;
    text_init(&lines, request->arena, EXPORT_ANSWER_LIMIT);
    if (!append_page(context, request, &export, as_lines ? "\n" : ",", &lines, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond(request, response, &export, &lines, as_lines);
}
