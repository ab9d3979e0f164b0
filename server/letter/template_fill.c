#include "base/embedded.h"
#include "base/text.h"
#include "base/utf8.h"
#include "letter/template.h"

#include <duktape.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* What a sandbox may hold at once, and what it may ask for altogether. The second bounds its time:
 * everything that an interpreter without loops of ours does for long makes strings or objects. */
static const size_t MEMORY_BYTES_MAX = (size_t)32 * 1024 * 1024;
static const size_t WORK_BYTES_MAX = (size_t)512 * 1024 * 1024;

struct sandbox {
    duk_context *heap;
    size_t used_bytes;
    size_t asked_bytes;
    struct arena *arena;
    const char *body;
    const char *data_json;
    const char *markdown; /* what came of it */
};

/* ---- memory: each piece is preceded by its size ---- */

union piece {
    size_t size;
    max_align_t aligned;
};

static bool may_take(struct sandbox *sandbox, size_t size)
{
    if (size > MEMORY_BYTES_MAX - sandbox->used_bytes ||
        size > WORK_BYTES_MAX - sandbox->asked_bytes) {
        return false;
    }
    sandbox->asked_bytes += size;
    return true;
}

static void *take(void *opaque, duk_size_t size)
{
    struct sandbox *sandbox = opaque;
    if (size == 0 || !may_take(sandbox, size)) {
        return NULL;
    }
    union piece *piece = malloc(sizeof *piece + size);
    if (piece == NULL) {
        return NULL;
    }
    piece->size = size;
    sandbox->used_bytes += size;
    return piece + 1;
}

static void give_back(void *opaque, void *memory)
{
    struct sandbox *sandbox = opaque;
    if (memory != NULL) {
        union piece *piece = (union piece *)memory - 1;
        sandbox->used_bytes -= piece->size;
        free(piece);
    }
}

static void *take_other(void *opaque, void *memory, duk_size_t size)
{
    struct sandbox *sandbox = opaque;
    if (memory == NULL) {
        return take(opaque, size);
    }
    if (size == 0) {
        give_back(opaque, memory);
        return NULL;
    }
    union piece *piece = (union piece *)memory - 1;
    size_t former = piece->size;
    if (size > former && !may_take(sandbox, size - former)) {
        return NULL;
    }
    union piece *moved = realloc(piece, sizeof *moved + size);
    if (moved == NULL) {
        return NULL;
    }
    moved->size = size;
    sandbox->used_bytes = sandbox->used_bytes - former + size;
    return moved + 1;
}

/* Only what is called without protection comes here, and nothing is. */
static void stop(void *opaque, const char *words)
{
    (void)opaque;
    (void)words;
    abort();
}

/* ---- escaping ---- */

static bool is_punctuation(char byte)
{
    return (byte >= '!' && byte <= '/') || (byte >= ':' && byte <= '@') ||
           (byte >= '[' && byte <= '`') || (byte >= '{' && byte <= '~');
}

#define ISOLATE_BEGIN "\xE2\x81\xA8"
#define ISOLATE_END   "\xE2\x81\xA9"

static bool is_mark_of_ours(const char *at, const char *end)
{
    return end - at >= 3 && (memcmp(at, ISOLATE_BEGIN, 3) == 0 || memcmp(at, ISOLATE_END, 3) == 0);
}

static bool is_blank(char byte)
{
    return byte == ' ' || byte == '\t' || byte == '\n' || byte == '\r';
}

/* Where escaped text goes: nowhere while it is only measured. */
struct sink {
    char *data; /* NULL: measuring */
    size_t length;
};

static void put(struct sink *sink, const char *bytes, size_t length)
{
    if (sink->data != NULL) {
        memcpy(sink->data + sink->length, bytes, length);
    }
    sink->length += length;
}

/* A run of white space: one space, or one hard break where a line ends in it. None at the end. */
static const char *escape_blanks(const char *at, const char *end, struct sink *sink)
{
    bool breaks = false;
    while (at < end && is_blank(*at)) {
        breaks = breaks || *at == '\n' || *at == '\r';
        at++;
    }
    if (at < end) {
        put(sink, breaks ? "\\\n" : " ", breaks ? 2 : 1);
    }
    return at;
}

static void escape(const char *at, const char *end, struct sink *sink)
{
    while (at < end && is_blank(*at)) {
        at++;
    }
    if (at == end) {
        return;
    }
    put(sink, ISOLATE_BEGIN, 3);
    while (at < end) {
        if (is_mark_of_ours(at, end)) {
            at += 3;
        } else if (is_blank(*at)) {
            at = escape_blanks(at, end, sink);
        } else {
            if (is_punctuation(*at)) {
                put(sink, "\\", 1);
            }
            put(sink, at++, 1);
        }
    }
    put(sink, ISOLATE_END, 3);
}

/* The interpreter's escape(value). */
static duk_ret_t escape_value(duk_context *heap)
{
    size_t length = 0;
    const char *value = duk_safe_to_lstring(heap, 0, &length);
    struct sink sink = {NULL, 0};
    escape(value, value + length, &sink);
    sink.data = duk_push_fixed_buffer(heap, sink.length);
    sink.length = 0;
    if (sink.data != NULL) {
        escape(value, value + length, &sink);
    }
    duk_buffer_to_string(heap, -1);
    return 1;
}

/* ---- running ---- */

static const struct embedded_file *library(void)
{
    for (const struct embedded_file *file = letter_files; file->name != NULL; file++) {
        if (strcmp(file->name, "mustache.js") == 0) {
            return file;
        }
    }
    abort();
}

/* Mustache.render(body, data, undefined, {escape: escape_value}) */
static duk_ret_t run(duk_context *heap, void *opaque)
{
    struct sandbox *sandbox = opaque;
    const struct embedded_file *mustache = library();
    duk_eval_lstring_noresult(heap, (const char *)mustache->data, mustache->length);
    duk_get_global_string(heap, "Mustache");
    duk_push_string(heap, "render");
    duk_push_string(heap, sandbox->body);
    duk_push_string(heap, sandbox->data_json);
    duk_json_decode(heap, -1);
    duk_push_undefined(heap);
    duk_push_object(heap);
    duk_push_c_function(heap, escape_value, 1);
    duk_put_prop_string(heap, -2, "escape");
    duk_call_prop(heap, -6, 4);
    size_t length = 0;
    const char *markdown = duk_require_lstring(heap, -1, &length);
    if (length <= TEMPLATE_OUTPUT_MAX && utf8_is_valid(markdown, length)) {
        sandbox->markdown = arena_strndup(sandbox->arena, markdown, length);
    }
    return 0;
}

bool template_fill(struct arena *arena, const char *body, const char *data_json,
                   const char **ret_markdown, struct error *reterr)
{
    struct sandbox sandbox = {.arena = arena, .body = body, .data_json = data_json};
    sandbox.heap = duk_create_heap(take, take_other, give_back, &sandbox, stop);
    if (sandbox.heap == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for a template's sandbox");
    }
    bool ran = duk_safe_call(sandbox.heap, run, &sandbox, 0, 1) == DUK_EXEC_SUCCESS;
    if (!ran) {
        error_set(reterr, ERROR_INVALID, "the template goes beyond the limits of its sandbox");
    } else if (sandbox.markdown == NULL) {
        error_set(reterr, ERROR_INVALID, "the template makes more than %d bytes",
                  TEMPLATE_OUTPUT_MAX);
    }
    duk_destroy_heap(sandbox.heap);
    *ret_markdown = sandbox.markdown;
    return sandbox.markdown != NULL;
}
