/* An event as files that people read spell it: code [value]: note. */
#ifndef FORMATS_EVENT_TEXT_H
#define FORMATS_EVENT_TEXT_H

#include "base/text.h"
#include "formats/recording_json.h"

/* Appends all but the note itself, which every kind of file quotes in its own way. */
void event_text_append(struct text *out, const struct document_event *event);

#endif
