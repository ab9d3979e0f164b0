#include "formats/json_reader.h"

#include "base/text.h"
#include "formats/document_scan.h"
#include "formats/limits.h"

#include <assert.h>
#include <malloc.h>
#include <stdlib.h>
#include <string.h>

/* A name longer than this is not repeated in a pointer: it is the sender's noise. */
enum { NAME_ECHO_LIMIT = 64, WORD_LIST_LIMIT = 2000 };

struct syntax_text {
    enum json_error_code code;
    const char *text;
};

static const struct syntax_text syntax_texts[] = {
    {json_error_premature_end_of_input, "the text ends before the value is complete"},
    {json_error_end_of_input_expected, "something follows the value"},
    {json_error_invalid_utf8, "the text is not valid UTF-8"},
    {json_error_duplicate_key, "a member is repeated within its object"},
    {json_error_numeric_overflow, "a number is too large"},
    {json_error_null_character, "the character NUL is not allowed"},
    {json_error_null_byte_in_key, "the character NUL is not allowed"},
    {json_error_out_of_memory, "the text needs too much memory"},
};

static const char *syntax_text(enum json_error_code code)
{
    for (size_t i = 0; i < sizeof syntax_texts / sizeof syntax_texts[0]; i++) {
        if (syntax_texts[i].code == code) {
            return syntax_texts[i].text;
        }
    }
    return "the text is not valid JSON";
}

/* What a text will cost to parse, counted before it is. */
struct parse_cost {
    size_t depth;
    size_t containers;
    size_t members;
    size_t values;
};

static const char *count_character(struct parse_cost *cost, char c)
{
    if (c == ',' || c == '[' || c == '{') {
        cost->values++;
    }
    cost->members += c == ':' ? 1 : 0;
    if (c == '[' || c == '{') {
        cost->containers++;
        cost->depth++;
    } else if ((c == ']' || c == '}') && cost->depth > 0) {
        cost->depth--;
    }
    if (cost->depth > LIMIT_JSON_DEPTH) {
        return "the value is nested too deeply";
    }
    if (cost->containers > LIMIT_JSON_CONTAINERS) {
        return "there are more than 50,000 objects and arrays";
    }
    if (cost->members > LIMIT_JSON_MEMBERS) {
        return "there are more than 250,000 members of objects";
    }
    return cost->values > LIMIT_JSON_VALUES
               ? "there are more than 4,000,000 values; samples do not count where each is a "
                 "number or null"
               : NULL;
}

/* Jansson would recurse 2048 levels deep, take a NUL for any other bad character, need 40 to 240
 * bytes of memory for two bytes of text, and many seconds for millions of members, so all this is
 * looked for first. Returns what is wrong
 * at *ret_at, or NULL. */
static const char *scan_text(const char *body, size_t length, size_t *ret_at)
{
    struct parse_cost cost = {0};
    bool in_string = false;
    for (size_t i = 0; i < length; i++) {
        *ret_at = i;
        char c = body[i];
        if (c == '\0') {
            return "the character NUL is not allowed";
        }
        if (c == '"') {
            in_string = !in_string;
        } else if (in_string) {
            i += c == '\\' ? 1 : 0;
        } else {
            const char *problem = count_character(&cost, c);
            if (problem != NULL) {
                return problem;
            }
        }
    }
    return NULL;
}

/* A fault after `count` bytes of the body. Lines count from 1; a column is how many characters, not
 * bytes, of the line are behind us: the number of the last of them. */
static void add_fault_after(struct fault_list *faults, const char *body, size_t count,
                            const char *text)
{
    size_t line = 1;
    size_t column = 0;
    for (size_t i = 0; i < count; i++) {
        if (body[i] == '\n') {
            line++;
            column = 0;
        } else if (((unsigned char)body[i] & 0xc0) != 0x80) {
            column++;
        }
    }
    fault_add(faults, "", "Line %zu, column %zu: %s.", line, column, text);
}

json_t *json_reader_load_reduced(const struct document_scan *scan, struct fault_list *faults)
{
    size_t at = 0;
    const char *problem = scan_text(scan->reduced, scan->reduced_length, &at);
    if (problem != NULL) {
        add_fault_after(faults, scan->body, document_scan_origin(scan, at) + 1, problem);
        return NULL;
    }
    json_error_t error;
    json_t *value = json_loadb(scan->reduced, scan->reduced_length,
                               JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &error);
    if (value == NULL) {
        size_t passed = (size_t)error.position; /* bytes that Jansson read */
        add_fault_after(faults, scan->body,
                        passed == 0 ? 0 : document_scan_origin(scan, passed - 1) + 1,
                        syntax_text(json_error_code(&error)));
    }
    return value;
}

json_t *json_reader_load(const char *body, size_t length, struct fault_list *faults)
{
    struct document_scan whole;
    document_scan_nothing(&whole, body, length);
    return json_reader_load_reduced(&whole, faults);
}

json_t *json_reader_load_own(const char *text)
{
    return json_loads(text, 0, NULL);
}

/* Of the thread that handles a secret value. */
static _Thread_local bool overwrites;

static void free_value(void *memory)
{
    if (overwrites && memory != NULL) {
        explicit_bzero(memory, malloc_usable_size(memory));
    }
    free(memory);
}

void json_reader_library_start(void)
{
    json_set_alloc_funcs(malloc, free_value);
}

static void release_value(void *value)
{
    json_decref(value);
}

static void release_secret_value(void *value)
{
    overwrites = true;
    json_decref(value);
    overwrites = false;
}

const json_t *json_reader_parse(struct arena *arena, const char *body, size_t length,
                                struct fault_list *faults)
{
    bool is_secret = arena_is_secret(arena);
    overwrites = is_secret; /* what the parser frees on its way */
    json_t *value = json_reader_load(body, length, faults);
    overwrites = false;
    if (value != NULL) {
        arena_defer(arena, is_secret ? release_secret_value : release_value, value);
    }
    return value;
}

void json_reader_open(struct json_reader *reader, const json_t *value, const char *pointer,
                      struct fault_list *faults)
{
    reader->object = json_is_object(value) ? value : NULL;
    reader->pointer = pointer;
    reader->faults = faults;
    reader->taken_count = 0;
    if (value != NULL && reader->object == NULL) {
        fault_add(faults, pointer, "Must be an object.");
    }
}

static bool was_taken(const struct json_reader *reader, const char *member)
{
    for (size_t i = 0; i < reader->taken_count; i++) {
        if (strcmp(reader->taken[i], member) == 0) {
            return true;
        }
    }
    return false;
}

void json_reader_close(struct json_reader *reader)
{
    /* Jansson's iterator asks for a mutable object although it changes nothing. */
    union {
        const json_t *read_only;
        json_t *any;
    } object = {.read_only = reader->object};

    const char *member = NULL;
    json_t *value = NULL;
    json_object_foreach (object.any, member, value) {
        if (was_taken(reader, member)) {
            continue;
        }
        if (strlen(member) > NAME_ECHO_LIMIT) {
            fault_add(reader->faults, reader->pointer,
                      "Has an unknown member whose name is longer than %d bytes.", NAME_ECHO_LIMIT);
        } else {
            fault_add(reader->faults, json_reader_pointer(reader, member), "Unknown member.");
        }
    }
}

const char *json_reader_pointer(const struct json_reader *reader, const char *member)
{
    struct fault_list *faults = reader->faults;
    return faults->count < FAULT_LIMIT
               ? fault_pointer_member(faults->arena, reader->pointer, member)
               : reader->pointer;
}

const json_t *json_reader_take(struct json_reader *reader, const char *member,
                               enum json_presence presence)
{
    if (reader->object == NULL) {
        return NULL;
    }
    if (!was_taken(reader, member)) {
        assert(reader->taken_count < JSON_READER_MEMBERS_MAX);
        reader->taken[reader->taken_count++] = member;
    }
    const json_t *value = json_object_get(reader->object, member);
    if (value != NULL && !json_is_null(value)) {
        return value;
    }
    if (presence == JSON_REQUIRED) {
        fault_add(reader->faults, json_reader_pointer(reader, member), "Required.");
    }
    return NULL;
}

bool json_reader_is_null(const struct json_reader *reader, const char *member)
{
    return reader->object != NULL && json_is_null(json_object_get(reader->object, member));
}

bool json_reader_has_control_character(const char *text)
{
    for (const unsigned char *c = (const unsigned char *)text; *c != '\0'; c++) {
        bool is_c0 = *c < 0x20 && *c != '\n' && *c != '\t';
        bool is_c1 = c[0] == 0xc2 && c[1] >= 0x80 && c[1] <= 0x9f;
        if (is_c0 || is_c1 || *c == 0x7f) {
            return true;
        }
    }
    return false;
}

const char *json_reader_string(struct json_reader *reader, const char *member,
                               enum json_presence presence, size_t limit)
{
    const json_t *value = json_reader_take(reader, member, presence);
    if (value == NULL) {
        return NULL;
    }
    const char *pointer = json_reader_pointer(reader, member);
    if (!json_is_string(value)) {
        fault_add(reader->faults, pointer, "Must be a string.");
        return NULL;
    }
    if (json_string_length(value) > limit) {
        fault_add(reader->faults, pointer, "Must be at most %zu bytes long; this is %zu.", limit,
                  json_string_length(value));
        return NULL;
    }
    const char *text = json_string_value(value);
    if (presence == JSON_REQUIRED && text[strspn(text, " \t\n")] == '\0') {
        fault_add(reader->faults, pointer, "Must not be empty.");
        return NULL;
    }
    if (json_reader_has_control_character(text)) {
        fault_add(reader->faults, pointer, "Must not hold control characters.");
        return NULL;
    }
    return text;
}

struct optional_number json_reader_number(struct json_reader *reader, const char *member,
                                          enum json_presence presence, double least, double most)
{
    struct optional_number absent = {.known = false, .value = 0.0};
    const json_t *value = json_reader_take(reader, member, presence);
    if (value == NULL) {
        return absent;
    }
    if (!json_is_number(value)) {
        fault_add(reader->faults, json_reader_pointer(reader, member), "Must be a number.");
        return absent;
    }
    double number = json_number_value(value);
    if (!(number >= least && number <= most)) {
        fault_add(reader->faults, json_reader_pointer(reader, member),
                  "Must be between %.15g and %.15g.", least, most);
        return absent;
    }
    return (struct optional_number){.known = true, .value = number};
}

enum patient_answer json_reader_answer(struct json_reader *reader, const char *member,
                                       enum json_presence presence)
{
    const json_t *value = json_reader_take(reader, member, presence);
    if (value == NULL) {
        return ANSWER_UNKNOWN;
    }
    if (!json_is_boolean(value)) {
        fault_add(reader->faults, json_reader_pointer(reader, member), "Must be true or false.");
        return ANSWER_UNKNOWN;
    }
    return json_is_true(value) ? ANSWER_YES : ANSWER_NO;
}

void json_reader_fault_word(struct fault_list *faults, const char *pointer,
                            const char *const allowed[])
{
    struct text list;
    text_init(&list, faults->arena, WORD_LIST_LIMIT);
    for (size_t i = 0; allowed[i] != NULL; i++) {
        text_append(&list, i == 0 ? "" : ", ");
        text_append(&list, allowed[i]);
    }
    fault_add(faults, pointer, "Must be one of: %s.", list.data);
}

const char *json_reader_word(struct json_reader *reader, const char *member,
                             enum json_presence presence, const char *const allowed[])
{
    const json_t *value = json_reader_take(reader, member, presence);
    if (value == NULL) {
        return NULL;
    }
    const char *word = json_string_value(value);
    for (size_t i = 0; word != NULL && allowed[i] != NULL; i++) {
        if (strcmp(word, allowed[i]) == 0) {
            return word;
        }
    }
    json_reader_fault_word(reader->faults, json_reader_pointer(reader, member), allowed);
    return NULL;
}
