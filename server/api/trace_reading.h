/* Reads what a span of a recording's channels looks like: all samples, or the extremes of as many
 * bins as a screen can show. */
#ifndef API_TRACE_READING_H
#define API_TRACE_READING_H

#include "formats/traces_binary.h"
#include "store/store_recording.h"

/* A recorded channel, or pdet = channel - subtrahend where pdet itself was not recorded; `channel`
 * is then what recording_derived_pdet() gave. */
struct trace_source {
    const struct recording_channel_row *channel;
    const struct recording_channel_row *minuend;    /* NULL unless derived */
    const struct recording_channel_row *subtrahend; /* NULL unless derived */
};

/* Sources of one recording. A derived one points into the struct: it must not be copied. */
struct trace_sources {
    struct recording_channel_row derived; /* pdet, where it is derived */
    size_t count;
    struct trace_source items[SIGNAL_COUNT];
};

/* The source of a signal, without adding it. False when the recording has none. */
bool trace_find_source(const struct recording_row *row, enum signal_kind signal,
                       struct trace_sources *sources, struct trace_source *ret_source);

/* False when the signal is there already. */
bool trace_add_source(struct trace_sources *sources, const struct trace_source *source);

/* Adds all in the order in which the trade stacks them, then whatever else there is.
 * recorded_only  not what is derived */
void trace_add_every_source(const struct recording_row *row, bool recorded_only,
                            struct trace_sources *sources);

struct sample_span {
    size_t first;
    size_t count;
};

/* The channel's samples in [from_s, to_s). */
struct sample_span trace_span(const struct recording_channel_row *channel, double from_s,
                              double to_s);

struct trace_request {
    const struct recording_row *row;
    const struct trace_source *sources;
    size_t source_count;
    const struct traces_span *span;
    size_t points; /* bins; 0: every sample */
};

/* One channel for each source: all samples of the span, as values; or, with `points`, the least and
 * greatest value of each of at most so many bins of equal width, from an overview where there is
 * one, unless the span has no more samples than that. A bin is a whole number of samples: the first
 * may begin, and the last end, up to a quarter of its width outside the span. A bin without samples
 * is NaN. */
MUST_CHECK bool traces_read(struct store *store, struct arena *arena,
                            const struct trace_request *request,
                            struct traces_channel *ret_channels, struct error *reterr);

#endif
