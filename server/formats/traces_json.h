/* Traces as JSON, for whoever has no use for float32 (traces_binary.h). */
#ifndef FORMATS_TRACES_JSON_H
#define FORMATS_TRACES_JSON_H

#include "formats/traces_binary.h"

/* Appends the whole answer. What does not fit out's limit sets out->overflowed. */
void traces_json_write(const struct traces_span *span, const struct traces_channel *channels,
                       size_t channel_count, struct text *out);

#endif
