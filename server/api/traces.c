/* Samples of a span: all of them, or the least and greatest of each of `points` bins, so that what
 * a screen draws costs a screen's worth of bytes and no peak is lost. */
#include "api/handlers.h"
#include "api/recording_access.h"

#include <math.h>
#include <string.h>

enum { TRACES_POINTS_MAX = 10000, CHUNK_SAMPLES = 65536 };

/* Without `points` an answer holds every sample; beyond this a span must be shorter. */
static const size_t SAMPLES_MAX = (size_t)2 * 1000 * 1000;
static const size_t ANSWER_LIMIT = (size_t)128 * 1024 * 1024;

/* A recorded channel, or pdet = minuend - subtrahend when pdet itself was not recorded. */
struct trace_source {
    enum signal_kind signal;
    const struct recording_channel_row *channel;
    const struct recording_channel_row *subtrahend; /* NULL unless derived */
};

struct trace_query {
    size_t source_count;
    struct trace_source sources[SIGNAL_COUNT];
    double from_s;
    double to_s;
    int points; /* 0: every sample */
};

struct sample_span {
    size_t first;
    size_t count;
};

static const struct recording_channel_row *find_channel(const struct recording_row *row,
                                                        enum signal_kind signal)
{
    for (size_t i = 0; i < row->channel_count; i++) {
        if (row->channels[i].signal == signal) {
            return &row->channels[i];
        }
    }
    return NULL;
}

static bool is_on_one_grid(const struct recording_channel_row *one,
                           const struct recording_channel_row *other)
{
    return fabs(one->rate_hz - other->rate_hz) <= 0.0 &&
           fabs(one->start_s - other->start_s) <= 0.0 && strcmp(one->unit, other->unit) == 0 &&
           one->shape.count == other->shape.count;
}

static bool find_source(const struct recording_row *row, enum signal_kind signal,
                        struct trace_source *ret_source)
{
    const struct recording_channel_row *channel = find_channel(row, signal);
    if (channel != NULL) {
        *ret_source = (struct trace_source){.signal = signal, .channel = channel};
        return true;
    }
    const struct recording_channel_row *pves = find_channel(row, SIGNAL_PVES);
    const struct recording_channel_row *pabd = find_channel(row, SIGNAL_PABD);
    if (signal != SIGNAL_PDET || pves == NULL || pabd == NULL || !is_on_one_grid(pves, pabd)) {
        return false;
    }
    *ret_source = (struct trace_source){.signal = SIGNAL_PDET, .channel = pves, .subtrahend = pabd};
    return true;
}

/* False when the signal is there already. */
static bool add_source(struct trace_query *query, const struct trace_source *source)
{
    for (size_t i = 0; i < query->source_count; i++) {
        if (query->sources[i].signal == source->signal) {
            return false;
        }
    }
    query->sources[query->source_count++] = *source;
    return true;
}

/* The order in which the trade stacks them, then whatever else there is. */
static void take_every_source(const struct recording_row *row, struct trace_query *query)
{
    static const enum signal_kind STACKED[] = {SIGNAL_PABD,  SIGNAL_PVES, SIGNAL_PDET, SIGNAL_FLOW,
                                               SIGNAL_VVOID, SIGNAL_VINF, SIGNAL_EMG};
    struct trace_source source;
    for (size_t i = 0; i < sizeof STACKED / sizeof STACKED[0]; i++) {
        if (find_source(row, STACKED[i], &source)) {
            (void)add_source(query, &source);
        }
    }
    for (int signal = 0; signal < SIGNAL_COUNT; signal++) {
        if (find_source(row, (enum signal_kind)signal, &source)) {
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
    } else if (!find_source(row, signal, &source)) {
        fault_add(faults, "?signals", "Names %s, which this recording does not hold.", name);
    } else if (!add_source(query, &source)) {
        fault_add(faults, "?signals", "Names %s twice.", name);
    }
}

static void read_signals(const struct http_request *request, const struct recording_row *row,
                         struct trace_query *query, struct fault_list *faults)
{
    const char *names = http_request_query(request, "signals");
    if (names == NULL) {
        take_every_source(row, query);
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

static struct sample_span span_of(const struct recording_channel_row *channel, double from_s,
                                  double to_s)
{
    const double slack = 1e-6; /* of a sample: 0.1 s at 10 Hz is sample 1, whatever rounding says */
    double count = (double)channel->shape.count;
    double first = ceil((from_s - channel->start_s) * channel->rate_hz - slack);
    double end = ceil((to_s - channel->start_s) * channel->rate_hz - slack);
    first = fmin(fmax(first, 0.0), count);
    end = fmin(fmax(end, first), count);
    return (struct sample_span){.first = (size_t)first, .count = (size_t)(end - first)};
}

static void check_size(const struct trace_query *query, struct fault_list *faults)
{
    size_t total = 0;
    for (size_t i = 0; i < query->source_count; i++) {
        total += span_of(query->sources[i].channel, query->from_s, query->to_s).count;
    }
    if (query->points == 0 && total > SAMPLES_MAX) {
        fault_add(faults, "?points",
                  "Is needed for so long a span: %zu samples, where an answer holds at most %zu.",
                  total, SAMPLES_MAX);
    }
}

static void read_query(const struct http_request *request, const struct recording_row *row,
                       struct trace_query *query, struct fault_list *faults)
{
    http_request_check_query(
        request, (const char *const[]){"signals", "from_s", "to_s", "points", NULL}, faults);
    struct optional_number from = api_query_number(request, "from_s", faults);
    struct optional_number to = api_query_number(request, "to_s", faults);
    query->points = api_query_integer(request, "points", 1, TRACES_POINTS_MAX, 0, faults);
    query->from_s = from.known ? fmax(from.value, 0.0) : 0.0;
    query->to_s = to.known ? fmin(to.value, row->duration_s) : row->duration_s;
    read_signals(request, row, query, faults);
    if (query->to_s <= query->from_s) {
        fault_add(faults, "?to_s", "Must lie after from_s, within the recording.");
    } else {
        check_size(query, faults);
    }
}

static bool read_samples(struct api_context *context, struct arena *arena,
                         const struct recording_row *row, const struct trace_source *source,
                         struct sample_span span, double *values, struct error *reterr)
{
    struct samples samples;
    if (!recording_samples(context->store, arena, row, source->channel, span.first, span.count,
                           &samples, reterr)) {
        return false;
    }
    samples_values(&samples, 0, span.count, values);
    if (source->subtrahend == NULL) {
        return true;
    }
    double *subtrahend = arena_array(arena, span.count, sizeof *subtrahend);
    if (!recording_samples(context->store, arena, row, source->subtrahend, span.first, span.count,
                           &samples, reterr)) {
        return false;
    }
    samples_values(&samples, 0, span.count, subtrahend);
    for (size_t i = 0; i < span.count; i++) {
        values[i] -= subtrahend[i];
    }
    return true;
}

/* A difference of short decimals has long ones; six places undo that and lose nothing recorded. */
static double tidy(const struct trace_source *source, double value)
{
    return source->subtrahend == NULL ? value : round(value * 1e6) / 1e6;
}

static void append_value(struct text *out, const struct trace_source *source, double value)
{
    if (isnan(value)) {
        text_append(out, "null");
    } else {
        text_append_number(out, tidy(source, value));
    }
}

static void append_values(struct text *out, const char *name, const struct trace_source *source,
                          const double *values, size_t count)
{
    text_printf(out, ",\"%s\":[", name);
    for (size_t i = 0; i < count; i++) {
        if (i > 0) {
            text_append_char(out, ',');
        }
        append_value(out, source, values[i]);
    }
    text_append_char(out, ']');
}

struct trace_bins {
    size_t count;
    double width_s;
    double *least;
    double *greatest;
};

static void widen_bin(struct trace_bins *bins, size_t bin, double value)
{
    if (isnan(value)) {
        return;
    }
    bins->least[bin] = fmin(bins->least[bin], value);
    bins->greatest[bin] = fmax(bins->greatest[bin], value);
}

static void widen_bins(struct trace_bins *bins, const struct trace_query *query,
                       const struct recording_channel_row *channel, struct sample_span span,
                       const double *values)
{
    for (size_t i = 0; i < span.count; i++) {
        double at_s = channel->start_s + (double)(span.first + i) / channel->rate_hz;
        double bin = fmax((at_s - query->from_s) / bins->width_s, 0.0);
        size_t index = (size_t)bin;
        widen_bin(bins, index < bins->count ? index : bins->count - 1, values[i]);
    }
}

static bool append_bins(struct api_context *context, struct arena *arena,
                        const struct recording_row *row, const struct trace_query *query,
                        const struct trace_source *source, struct sample_span span,
                        struct text *out, struct error *reterr)
{
    struct trace_bins bins = {
        .count = (size_t)query->points,
        .width_s = (query->to_s - query->from_s) / query->points,
    };
    bins.least = arena_array(arena, bins.count, sizeof(double));
    bins.greatest = arena_array(arena, bins.count, sizeof(double));
    for (size_t i = 0; i < bins.count; i++) {
        bins.least[i] = (double)NAN;
        bins.greatest[i] = (double)NAN;
    }
    double *values = arena_array(arena, CHUNK_SAMPLES, sizeof(double));
    size_t end = span.first + span.count;
    for (size_t first = span.first; first < end; first += CHUNK_SAMPLES) {
        size_t left = end - first;
        struct sample_span chunk = {.first = first,
                                    .count = left < CHUNK_SAMPLES ? left : CHUNK_SAMPLES};
        if (!read_samples(context, arena, row, source, chunk, values, reterr)) {
            return false;
        }
        widen_bins(&bins, query, source->channel, chunk, values);
    }
    text_append(out, ",\"bin_s\":");
    text_append_number(out, bins.width_s);
    append_values(out, "min", source, bins.least, bins.count);
    append_values(out, "max", source, bins.greatest, bins.count);
    return true;
}

static bool append_samples(struct api_context *context, struct arena *arena,
                           const struct recording_row *row, const struct trace_source *source,
                           struct sample_span span, struct text *out, struct error *reterr)
{
    double *values = arena_array(arena, span.count, sizeof(double));
    if (!read_samples(context, arena, row, source, span, values, reterr)) {
        return false;
    }
    append_values(out, "samples", source, values, span.count);
    return true;
}

static bool append_trace(struct api_context *context, struct arena *arena,
                         const struct recording_row *row, const struct trace_query *query,
                         const struct trace_source *source, struct text *out, struct error *reterr)
{
    const struct recording_channel_row *channel = source->channel;
    struct sample_span span = span_of(channel, query->from_s, query->to_s);
    bool reduced = query->points > 0 && span.count > (size_t)query->points;
    text_append_char(out, '{');
    api_append_string(out, "signal", signal_name(source->signal));
    text_append_char(out, ',');
    api_append_string(out, "unit", channel->unit);
    text_append(out, ",\"rate_hz\":");
    text_append_number(out, channel->rate_hz);
    text_append(out, ",\"start_s\":");
    text_append_number(out, reduced ? query->from_s
                                    : channel->start_s + (double)span.first / channel->rate_hz);
    text_printf(out, ",\"sample_count\":%zu", span.count);
    if (source->subtrahend != NULL) {
        text_append(out, ",\"derived\":true");
    }
    bool appended = reduced ? append_bins(context, arena, row, query, source, span, out, reterr)
                            : append_samples(context, arena, row, source, span, out, reterr);
    text_append_char(out, '}');
    return appended;
}

void traces_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct recording_row row = {0};
    struct trace_query query = {0};
    struct fault_list faults;
    struct error error = {0};
    if (!recording_find(context, request, response, RECORDING_ANALYSED, &row)) {
        return;
    }
    fault_list_init(&faults, request->arena);
    read_query(request, &row, &query, &faults);
    if (api_reject(request, response, &faults)) {
        return;
    }
    struct text body;
    text_init(&body, request->arena, ANSWER_LIMIT);
    text_printf(&body, "{\"recording_id\":\"%s\",\"from_s\":", row.id);
    text_append_number(&body, query.from_s);
    text_append(&body, ",\"to_s\":");
    text_append_number(&body, query.to_s);
    text_append(&body, ",\"traces\":[");
    for (size_t i = 0; i < query.source_count; i++) {
        text_append(&body, i == 0 ? "" : ",");
        if (!append_trace(context, request->arena, &row, &query, &query.sources[i], &body,
                          &error)) {
            api_fail(request, response, &error);
            return;
        }
    }
    text_append(&body, "]}");
    api_respond_json(request, response, 200, &body);
}
