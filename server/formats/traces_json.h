/* Traces as JSON, for whoever has no use for float32 (traces_binary.h). */
#ifndef FORMATS_TRACES_JSON_H
#define FORMATS_TRACES_JSON_H

#include "formats/traces_binary.h"

/* Appends the beginning of an answer, up to where its traces stand, and that of a trace, up to
 * where its numbers or their places stand: both forms have the same. */
void traces_heading_append(struct text *out, const struct traces_span *span);
void traces_channel_append(struct text *out, const struct traces_channel *channel);

/* Appends the whole answer. What does not fit out's limit sets out->overflowed. */
void traces_json_write(const struct traces_span *span, const struct traces_channel *channels,
                       size_t channel_count, struct text *out);

#endif
