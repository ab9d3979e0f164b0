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

struct sample_span {
    size_t first;
    size_t count;
};

/* The channel's samples in [from_s, to_s). */
struct sample_span trace_span(const struct recording_channel_row *channel, double from_s,
                              double to_s);

/* All samples of the span of each source, as values. */
MUST_CHECK bool traces_read_samples(struct store *store, struct arena *arena,
                                    const struct recording_row *row,
                                    const struct trace_source *sources, size_t count,
                                    const struct traces_span *span,
                                    struct traces_channel *ret_channels, struct error *reterr);

/* The least and greatest value of each of at most `points` bins of equal width, from an overview
 * where there is one; all samples of a source whose span has no more than `points`. A bin is a
 * whole number of samples: the first may begin, and the last end, up to a quarter of its width
 * outside the span. A bin without samples is NaN. */
MUST_CHECK bool traces_read_bins(struct store *store, struct arena *arena,
                                 const struct recording_row *row,
                                 const struct trace_source *sources, size_t count,
                                 const struct traces_span *span, size_t points,
                                 struct traces_channel *ret_channels, struct error *reterr);

#endif
