/* The signals of a span: all samples, or the least and greatest of each of `points` bins, so that
 * what a screen draws costs a screen's worth of bytes and no peak is lost. */
#include "api/handlers.h"
#include "api/recording_access.h"
#include "api/trace_reading.h"
#include "formats/csv_write.h"
#include "formats/edf_write.h"
#include "formats/traces_json.h"

#include <math.h>
#include <string.h>

enum { TRACES_POINTS_MAX = 10000 };

/* Without `points` an answer holds every sample; beyond this a span must be shorter. */
static const size_t SAMPLES_MAX = (size_t)2 * 1000 * 1000;
static const size_t ANSWER_LIMIT = (size_t)128 * 1024 * 1024;

/* Of what never changes: the samples of a complete recording, in either form of the answer. */
static const char SAMPLES_JSON_ETAG[] = "\"samples-1-json\"";
static const char SAMPLES_FLOAT32_ETAG[] = "\"samples-1-float32\"";

struct trace_query {
    struct recording_channel_row derived; /* pdet, where it is derived */
    size_t source_count;
    struct trace_source sources[SIGNAL_COUNT];
    struct traces_span span;
    int points; /* 0: every sample */
    int utc_offset_min;
};

/* False when the signal is there already. */
static bool add_source(struct trace_query *query, const struct trace_source *source)
{
    for (size_t i = 0; i < query->source_count; i++) {
        if (query->sources[i].channel->signal == source->channel->signal) {
            return false;
        }
    }
    query->sources[query->source_count++] = *source;
    return true;
}

/* The order in which the trade stacks them, then whatever else there is. A file gets what was
 * recorded and nothing else, so that it can be read back as the same recording. */
static void take_every_source(const struct recording_row *row, bool recorded_only,
                              struct trace_query *query)
{
    static const enum signal_kind STACKED[] = {SIGNAL_PABD,  SIGNAL_PVES, SIGNAL_PDET, SIGNAL_FLOW,
                                               SIGNAL_VVOID, SIGNAL_VINF, SIGNAL_EMG};
    struct trace_source source;
    for (size_t i = 0; i < sizeof STACKED / sizeof STACKED[0]; i++) {
        if (trace_source_find(row, STACKED[i], &query->derived, &source) &&
            !(recorded_only && source.minuend != NULL)) {
            (void)add_source(query, &source);
        }
    }
    for (int signal = 0; signal < SIGNAL_COUNT; signal++) {
        if (trace_source_find(row, (enum signal_kind)signal, &query->derived, &source) &&
            !(recorded_only && source.minuend != NULL)) {
            (void)add_source(query, &source);
        }
    }
}

static void take_named_source(const struct recording_row *row, const char *name,
                              struct trace_query *query, struct fault_list *faults)
{
    struct trace_source source;
    enum signal_kind signal = signal_from_name(name);
    if (signal == SIGNAL_NONE) {
        fault_add(faults, "?signals", "Names an unknown signal.");
    } else if (!trace_source_find(row, signal, &query->derived, &source)) {
        fault_add(faults, "?signals", "Names %s, which this recording does not hold.", name);
    } else if (!add_source(query, &source)) {
        fault_add(faults, "?signals", "Names %s twice.", name);
    }
}

static bool is_file(const struct http_request *request)
{
    return strcmp(request->accepted, "text/csv") == 0 ||
           strcmp(request->accepted, "application/edf") == 0;
}

static void read_signals(const struct http_request *request, const struct recording_row *row,
                         struct trace_query *query, struct fault_list *faults)
{
    const char *names = http_request_query(request, "signals");
    if (names == NULL) {
        take_every_source(row, is_file(request), query);
        return;
    }
    while (*names != '\0') {
        size_t length = strcspn(names, ",");
        take_named_source(row, arena_strndup(request->arena, names, length), query, faults);
        names += length;
        names += strspn(names, ",");
    }
    if (query->source_count == 0 && faults->count == 0) {
        fault_add(faults, "?signals", "Names no signal.");
    }
}

static void check_size(const struct trace_query *query, struct fault_list *faults)
{
    size_t total = 0;
    for (size_t i = 0; i < query->source_count; i++) {
        total += trace_span(query->sources[i].channel, query->span.from_s, query->span.to_s).count;
    }
    if (query->points == 0 && total > SAMPLES_MAX) {
        fault_add(faults, "?points",
                  "Is needed for so long a span: %zu samples, where an answer holds at most %zu. A "
                  "file may be had in several shorter spans.",
                  total, SAMPLES_MAX);
    }
}

static void read_query(const struct http_request *request, const struct recording_row *row,
                       struct trace_query *query, struct fault_list *faults)
{
    http_request_check_query(
        request,
        (const char *const[]){"signals", "from_s", "to_s", "points", "utc_offset_min", NULL},
        faults);
    struct optional_number from = api_query_number(request, "from_s", faults);
    struct optional_number to = api_query_number(request, "to_s", faults);
    query->points = api_query_integer(request, "points", 1, TRACES_POINTS_MAX, 0, faults);
    query->utc_offset_min = api_query_integer(request, "utc_offset_min", -LIMIT_UTC_OFFSET_MIN,
                                              LIMIT_UTC_OFFSET_MIN, 0, faults);
    query->span.recording_id = row->id;
    query->span.from_s = from.known ? fmax(from.value, 0.0) : 0.0;
    query->span.to_s = to.known ? fmin(to.value, row->duration_s) : row->duration_s;
    read_signals(request, row, query, faults);
    if (query->points != 0 && is_file(request)) {
        fault_add(faults, "?points",
                  "Belongs to JSON and application/octet-stream: a file holds "
                  "every sample.");
    }
    if (query->span.to_s <= query->span.from_s) {
        fault_add(faults, "?to_s", "Must lie after from_s, within the recording.");
    } else {
        check_size(query, faults);
    }
}

/* ---- JSON and float32 ---- */

static void respond_traces(struct api_context *context, const struct http_request *request,
                           struct http_response *response, const struct recording_row *row,
                           const struct trace_query *query)
{
    struct traces_channel channels[SIGNAL_COUNT];
    struct error error = {0};
    struct text body;
    const struct trace_request wanted = {.row = row,
                                         .sources = query->sources,
                                         .source_count = query->source_count,
                                         .span = &query->span,
                                         .points = (size_t)query->points};
    if (!traces_read(context->store, request->arena, &wanted, channels, &error)) {
        api_fail(request, response, &error);
        return;
    }
    text_init(&body, request->arena, ANSWER_LIMIT);
    bool binary = strcmp(request->accepted, "application/octet-stream") == 0;
    if (binary) {
        traces_binary_write(&query->span, channels, query->source_count, &body);
        response->ranges = true;
    } else {
        traces_json_write(&query->span, channels, query->source_count, &body);
    }
    api_respond_text(request, response, 200, request->accepted, &body);
    if (response->status == 200) {
        response->etag = binary ? SAMPLES_FLOAT32_ETAG : SAMPLES_JSON_ETAG;
    }
}

/* ---- files ---- */

/* The channels of the span with their codes as they are stored. */
static bool read_channels(struct api_context *context, struct arena *arena,
                          const struct recording_row *row, const struct trace_query *query,
                          struct document_channel *channels, struct error *reterr)
{
    for (size_t i = 0; i < query->source_count; i++) {
        const struct trace_source *source = &query->sources[i];
        const struct recording_channel_row *from = source->channel;
        struct sample_span span = trace_span(from, query->span.from_s, query->span.to_s);
        channels[i] = (struct document_channel){
            .signal = from->signal,
            .unit = from->unit,
            .to_canonical = 1.0,
            .rate_hz = from->rate_hz,
            .start_s = from->start_s + (double)span.first / from->rate_hz,
        };
        if (source->minuend == NULL) {
            struct samples samples;
            if (!recording_samples(context->store, arena, row, from, span.first, span.count,
                                   &samples, reterr)) {
                return false;
            }
            channels[i].samples = samples_slice(&samples, 0, samples.count);
            continue;
        }
        struct traces_channel derived;
        const struct trace_request wanted = {
            .row = row, .sources = source, .source_count = 1, .span = &query->span};
        if (!traces_read(context->store, arena, &wanted, &derived, reterr)) {
            return false;
        }
        samples_from_values(derived.samples.doubles, derived.count, arena, &channels[i].samples);
    }
    return true;
}

/* Keeps the channels that have samples and the events that lie in the span. */
static bool read_document(struct api_context *context, struct arena *arena,
                          const struct recording_row *row, const struct trace_query *query,
                          struct recording_document *document, int *ret_revision,
                          struct error *reterr)
{
    struct document_event *events = NULL;
    size_t count = 0;
    *document = (struct recording_document){
        .type = row->type,
        .started_at_us = row->started_at_us,
        .channels = arena_array(arena, query->source_count, sizeof *document->channels),
    };
    if (!read_channels(context, arena, row, query, document->channels, reterr) ||
        !recording_event_list(context->store, arena, row->id, 0, &events, &count, ret_revision,
                              reterr)) {
        return false;
    }
    for (size_t i = 0; i < query->source_count; i++) {
        if (document->channels[i].samples.count > 0) {
            document->channels[document->channel_count++] = document->channels[i];
        }
    }
    document->events = events;
    for (size_t i = 0; i < count; i++) {
        bool inside = events[i].at_s >= query->span.from_s && events[i].at_s <= query->span.to_s;
        if (inside || (events[i].at_s > query->span.to_s && query->span.to_s >= row->duration_s)) {
            document->events[document->event_count++] = events[i];
        }
    }
    return true;
}

/* A file begins at a whole second, since EDF has no other. */
static void begin_at_span(struct recording_document *document, double from_s)
{
    double shift_s = floor(from_s);
    document->started_at_us += (int64_t)shift_s * 1000000;
    for (size_t i = 0; i < document->channel_count; i++) {
        document->channels[i].start_s -= shift_s;
    }
    for (size_t i = 0; i < document->event_count; i++) {
        document->events[i].at_s -= shift_s;
    }
}

/* Says which channels 16 bits did not hold exactly, and how far off they are at most. */
static void tell_rounding(struct http_response *response, struct arena *arena,
                          const struct edf_file *file)
{
    struct text text;
    text_init(&text, arena, LIMIT_SMALL_BODY_BYTES);
    for (size_t i = 0; i < file->channel_count; i++) {
        const struct edf_written_channel *channel = &file->channels[i];
        if (!channel->is_exact) {
            text_printf(&text, "%s%s;error=%.3g", text.length == 0 ? "" : ", ",
                        signal_name(channel->signal), channel->greatest_error);
        }
    }
    if (text.length > 0) {
        http_response_header(response, "Penstock-Rounded", text.data);
    }
}

static void respond_edf(const struct http_request *request, struct http_response *response,
                        struct recording_document *document, const struct trace_query *query)
{
    struct edf_file file;
    struct error error = {0};
    begin_at_span(document, query->span.from_s);
    if (edf_write(request->arena, document, query->utc_offset_min, &file, &error)) {
        http_respond(response, 200, request->accepted, file.bytes, file.length);
        response->ranges = true;
        tell_rounding(response, request->arena, &file);
    } else if (error.kind == ERROR_INVALID) {
        http_problem(request, response, 422, "This cannot be had as EDF: %s.", error.detail);
    } else {
        api_fail(request, response, &error);
    }
}

static void respond_csv(const struct http_request *request, struct http_response *response,
                        const struct recording_document *document)
{
    struct text body;
    text_init(&body, request->arena, ANSWER_LIMIT);
    csv_write(document->channels, document->channel_count, document->events, document->event_count,
              &body);
    api_respond_text(request, response, 200, request->accepted, &body);
}

static void respond_file(struct api_context *context, const struct http_request *request,
                         struct http_response *response, const struct recording_row *row,
                         const struct trace_query *query)
{
    struct recording_document document;
    int revision = 0;
    struct error error = {0};
    bool edf = strcmp(request->accepted, "application/edf") == 0;
    if (!read_document(context, request->arena, row, query, &document, &revision, &error)) {
        api_fail(request, response, &error);
        return;
    }
    if (edf) {
        respond_edf(request, response, &document, query);
    } else {
        respond_csv(request, response, &document);
    }
    if (response->status == 200) {
        const char *kind = edf ? "edf" : "csv";
        response->etag = arena_printf(request->arena, "\"%d-%s\"", revision, kind);
        http_response_header(response, "Content-Disposition",
                             arena_printf(request->arena,
                                          "attachment; filename=\"recording-%s.%s\"", row->id,
                                          kind));
    }
}

void traces_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct recording_row row = {0};
    struct trace_query query = {0};
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    if (!recording_find(context, request, response, RECORDING_ANALYSED, &row)) {
        return;
    }
    read_query(request, &row, &query, &faults);
    if (api_reject(request, response, &faults)) {
        return;
    }
    if (is_file(request)) {
        respond_file(context, request, response, &row, &query);
    } else {
        respond_traces(context, request, response, &row, &query);
    }
}
