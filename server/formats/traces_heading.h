/* What traces as JSON and as float32 have in common. */
#ifndef FORMATS_TRACES_HEADING_H
#define FORMATS_TRACES_HEADING_H

#include "formats/traces_binary.h"

/* Appends the beginning of an answer, up to where its traces stand. */
void traces_heading_append(struct text *out, const struct traces_span *span);

/* Appends the beginning of a trace, up to where its numbers, or their places, stand. */
void traces_heading_append_channel(struct text *out, const struct traces_channel *channel);

#endif
