/* Typed reading of a JSON object that collects every fault instead of stopping at the first.
 *
 * Open an object, take each member it may have, close it: closing reports the members that nobody
 * took. All texts returned live as long as the JSON value. */
#ifndef FORMATS_JSON_READER_H
#define FORMATS_JSON_READER_H

#include "analysis/recording.h"
#include "base/fault.h"

#include <jansson.h>
#include <stdbool.h>

struct document_scan;

enum json_presence { JSON_OPTIONAL, JSON_REQUIRED };

enum { JSON_READER_MEMBERS_MAX = 80 };

struct json_reader {
    const json_t *object; /* NULL when the value was not an object: every take then finds nothing */
    const char *pointer;
    struct fault_list *faults;
    size_t taken_count;
    const char *taken[JSON_READER_MEMBERS_MAX];
};

/* Has the parser overwrite what it frees of a value whose arena keeps secrets. Call once, before
 * any thread starts. */
void json_reader_library_start(void);

/* Parses text strictly: UTF-8, no repeated members, depth at most LIMIT_JSON_DEPTH, nothing after
 * the value, no NUL. NULL with one fault (pointer "", line and column in the detail) on failure.
 * The value is released with the arena. */
const json_t *json_reader_parse(struct arena *arena, const char *body, size_t length,
                                struct fault_list *faults);

/* The same for a large value that is to be dropped early: the caller releases it with
 * json_decref(). */
MUST_CHECK json_t *json_reader_load(const char *body, size_t length, struct fault_list *faults);

/* The same for a body whose long parts were cut out by a scan: places are those of the body. */
MUST_CHECK json_t *json_reader_load_reduced(const struct document_scan *scan,
                                            struct fault_list *faults);

/* An analysis document that this server wrote: as long as it likes, because the limits are there
 * for what strangers send. NULL when it is damaged; the caller releases it with json_decref(). */
MUST_CHECK json_t *json_reader_load_own(const char *text);

/* Begins reading `value`, which must be an object, else a fault at `pointer`. NULL (absent, its
 * fault already given) adds no fault. */
void json_reader_open(struct json_reader *reader, const json_t *value, const char *pointer,
                      struct fault_list *faults);

/* Faults for members not taken. */
void json_reader_close(struct json_reader *reader);

/* A member's raw value, or NULL (with a fault if it was required). Explicit null counts as absent.
 */
const json_t *json_reader_take(struct json_reader *reader, const char *member,
                               enum json_presence presence);

/* Whether a member is there and null: in a merge patch (RFC 7396) that removes it. */
bool json_reader_is_null(const struct json_reader *reader, const char *member);

/* A string of at most `limit` bytes, without control characters except \n and \t. NULL when absent
 * or faulty; a required string must not be blank. */
const char *json_reader_string(struct json_reader *reader, const char *member,
                               enum json_presence presence, size_t limit);

/* A number within [least, most]. */
struct optional_number json_reader_number(struct json_reader *reader, const char *member,
                                          enum json_presence presence, double least, double most);

/* true or false; ANSWER_UNKNOWN when absent or faulty. */
enum patient_answer json_reader_answer(struct json_reader *reader, const char *member,
                                       enum json_presence presence);

/* One of `allowed` (NULL-terminated); the fault lists them. NULL when absent or faulty. */
const char *json_reader_word(struct json_reader *reader, const char *member,
                             enum json_presence presence, const char *const allowed[]);

/* The fault of a word that is none of `allowed` (NULL-terminated), which it lists. */
void json_reader_fault_word(struct fault_list *faults, const char *pointer,
                            const char *const allowed[]);

/* Whether a text holds C0 (except line feed and tab), DEL, or C1 as UTF-8 writes it (C2 80 to
 * C2 9F). */
bool json_reader_has_control_character(const char *text);

/* Pointer of a member of the open object, for faults of one's own. When the list of faults is full
 * (nothing more will be kept) the object's own pointer, so that hostile input cannot grow memory.
 */
const char *json_reader_pointer(const struct json_reader *reader, const char *member);

#endif
