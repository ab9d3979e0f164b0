/* EDF+ annotations and the contract's events. Private to formats/.
 *
 * A time-stamped annotation list (TAL) is: onset, then 0x15 and a duration if there is one, then
 * 0x14, then texts that each end with 0x14, then a zero byte. The text of an event is
 *
 *     code  |  code: note  |  code [value]  |  code [value]: note
 *
 * where code is one of the contract's in any case, with blanks or underscores, or '#' and a code of
 * the clinic's own. Any other text is a `comment` whose note it is. */
#ifndef FORMATS_EDF_ANNOTATIONS_H
#define FORMATS_EDF_ANNOTATIONS_H

#include "formats/recording_json.h"

/* Walks the bytes of one annotation signal in one data record. */
struct edf_tal_cursor {
    const uint8_t *bytes;
    size_t length;
    size_t at;
};

struct edf_tal {
    int64_t onset_ns;    /* from the start that the header states */
    int64_t duration_ns; /* 0 when absent */
    const char *texts;   /* each ends with 0x14 */
    size_t texts_length;
};

/* The next TAL; false at the end, or with *ret_fault set (a sentence) when bytes are no TAL. */
MUST_CHECK bool edf_tal_next(struct edf_tal_cursor *cursor, struct edf_tal *ret_tal,
                             const char **ret_fault);

/* The next text of a TAL, without its end; *at begins at 0. False when there is no more. */
MUST_CHECK bool edf_tal_text(const struct edf_tal *tal, size_t *at, const char **ret_text,
                             size_t *ret_length);

/* Fills code, note and value from a text; a duration is told in the note ("lasted 2.5 s"). False
 * with *ret_fault set when the text is not UTF-8, too long, or holds control characters. */
MUST_CHECK bool edf_event_from_text(struct arena *arena, const char *text, size_t length,
                                    int64_t duration_ns, struct document_event *ret_event,
                                    const char **ret_fault);

/* Appends the text that edf_event_from_text() reads back as the same event. */
void edf_event_append(struct text *out, const struct document_event *event);

/* Appends "+61.5": seconds as EDF+ writes an onset. */
void edf_onset_append(struct text *out, int64_t onset_ns);

#endif
