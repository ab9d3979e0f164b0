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

/* The source of a signal; `derived` is filled in, and must live as long as the source, where pdet
 * is derived. False when the recording does not hold the signal. */
bool trace_source_find(const struct recording_row *row, enum signal_kind signal,
                       struct recording_channel_row *derived, struct trace_source *ret_source);

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
