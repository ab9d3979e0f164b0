/* The parts of a recording document, each read by a file of its own. Private to formats/.
 *
 * Every function adds its faults to the list and copies what it returns onto the arena, so that the
 * JSON tree can be dropped as soon as all parts are read. */
#ifndef FORMATS_DOCUMENT_PARTS_H
#define FORMATS_DOCUMENT_PARTS_H

#include "formats/document_scan.h"
#include "formats/json_reader.h"
#include "formats/recording_json.h"

enum { DOCUMENT_EVENT_CODE_MAX = 64 };

/* Faults found so far, kept or not. */
size_t document_fault_total(const struct fault_list *faults);

/* "parent/index"; just the parent when the list of faults is full. */
const char *document_item_pointer(struct fault_list *faults, const char *parent, size_t index);

/* A copy on the arena, "" for NULL. */
const char *document_text(struct arena *arena, const char *text);

/* The array "channels" of 1 to LIMIT_CHANNELS channels; `scan` is the one whose reduced text the
 * reader's tree was made from; NULL when channels are only announced, without samples. Channels
 * with faults keep their place but may lack samples: the caller drops them all when there is any
 * fault. */
void document_channels_read(struct json_reader *reader, const struct document_scan *scan,
                            struct arena *arena, struct document_channel **ret_channels,
                            size_t *ret_count);

/* The samples of one open channel: the member "samples", or "encoding" with "data", "scale" and
 * "offset". `scanned` is what the scan has of the channel. Adds their number to *sample_total,
 * which LIMIT_RECORDING_SAMPLES bounds. After a fault *ret_samples may be left as it was. */
void document_samples_read(struct json_reader *channel, const struct scanned_channel *scanned,
                           struct arena *arena, size_t *sample_total, struct samples *ret_samples);

/* The names of all signals, NULL after the last. */
void document_signal_names(const char *names[SIGNAL_COUNT + 1]);

/* The factor from `unit` into the signal's canonical unit; a fault that lists the units that fit
 * when it does not. */
void document_unit_check(enum signal_kind signal, const char *unit, const char *pointer,
                         struct fault_list *faults, double *ret_to_canonical);

/* Whether the channel and the recording may hold `count` more samples, which are then added to
 * *sample_total; a fault if not. */
MUST_CHECK bool document_claim_samples(size_t count, const char *pointer, struct fault_list *faults,
                                       size_t *sample_total);

/* ^[a-z][a-z0-9_]{0,63}$ */
bool document_is_event_code(const char *code);

/* Seconds to the end of the channel's last sample. */
double document_channel_end_s(const struct document_channel *channel);

/* The array "events", sorted by time; those at one time keep their order. An event may stand up to
 * LIMIT_EVENT_SLACK_S after `duration_s`: rooms stamp markers with another clock than samples. */
void document_events_read(struct json_reader *reader, struct arena *arena,
                          enum json_presence presence, double duration_s,
                          struct document_event **ret_events, size_t *ret_count);

/* A sorted copy on the arena; events at one time keep their order. */
struct document_event *document_events_sort(struct arena *arena,
                                            const struct document_event *events, size_t count);

/* The conditions at `value` (NULL: none, all absent). */
void document_conditions_read(const json_t *value, const char *pointer, struct arena *arena,
                              struct fault_list *faults,
                              struct document_conditions *ret_conditions);

#endif
