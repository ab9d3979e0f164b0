/* Channels and events as CSV in the form that csv_read() takes; api-docs/csv.md describes it. */
#ifndef FORMATS_CSV_WRITE_H
#define FORMATS_CSV_WRITE_H

#include "formats/recording_json.h"

/* Appends the table of `channels` (rates above 0, starts from 0) and `events` (sorted by time).
 * Reading it gives the same numbers bit for bit, rates and starts too; a missing sample is an empty
 * cell. Headings name rate, start and number of samples unless the times alone say the same. What
 * does not fit out's limit sets out->overflowed. Beside the text it takes 10 bytes a row from out's
 * arena, and a few kilobytes a channel. */
void csv_write(const struct document_channel *channels, size_t channel_count,
               const struct document_event *events, size_t event_count, struct text *out);

#endif
