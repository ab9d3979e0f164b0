#include "base/arena.h"

#include "base/log.h"

#include <stdalign.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Small objects share blocks; an object larger than LARGE_SIZE gets a block of its own, so that the
 * system's zeroed pages are used as they come and nothing is cleared twice. */
enum { ALIGNMENT = alignof(max_align_t), BLOCK_SIZE = 8192, LARGE_SIZE = 4096, SHORT_TEXT = 256 };

struct block {
    struct block *next;
    size_t size; /* of `bytes` */
    alignas(max_align_t) unsigned char bytes[];
};

struct deferred {
    struct deferred *next;
    void (*release)(void *object);
    void *object;
};

struct arena {
    struct block *blocks;
    struct deferred *deferred;
    unsigned char *free_start; /* unused rest of the newest shared block */
    size_t free_size;
    bool is_secret;
    alignas(max_align_t) unsigned char first[BLOCK_SIZE]; /* most requests need no other block */
};

static _Noreturn void out_of_memory(size_t size)
{
    log_message(LOG_LEVEL_ERROR, "out_of_memory", "no memory for %zu bytes", size);
    abort();
}

struct arena *arena_new(void)
{
    struct arena *arena = malloc(sizeof *arena);
    if (arena == NULL) {
        out_of_memory(sizeof *arena);
    }
    arena->blocks = NULL;
    arena->deferred = NULL;
    arena->free_start = arena->first;
    arena->free_size = sizeof arena->first;
    arena->is_secret = false;
    return arena;
}

void arena_keep_secret(struct arena *arena)
{
    arena->is_secret = true;
}

bool arena_is_secret(const struct arena *arena)
{
    return arena->is_secret;
}

void arena_free(struct arena *arena)
{
    if (arena == NULL) {
        return;
    }
    while (arena->deferred != NULL) {
        struct deferred *call = arena->deferred;
        arena->deferred = call->next;
        call->release(call->object);
    }
    struct block *block = arena->blocks;
    while (block != NULL) {
        struct block *next = block->next;
        if (arena->is_secret) {
            explicit_bzero(block->bytes, block->size);
        }
        free(block);
        block = next;
    }
    if (arena->is_secret) {
        explicit_bzero(arena->first, sizeof arena->first);
    }
    free(arena);
}

static struct block *add_block(struct arena *arena, size_t size, bool zeroed)
{
    if (size > SIZE_MAX - sizeof(struct block)) {
        out_of_memory(size);
    }
    size_t total = sizeof(struct block) + size;
    struct block *block = zeroed ? calloc(1, total) : malloc(total);
    if (block == NULL) {
        out_of_memory(size);
    }
    block->next = arena->blocks;
    block->size = size;
    arena->blocks = block;
    return block;
}

void *arena_alloc(struct arena *arena, size_t size)
{
    if (size > LARGE_SIZE) {
        return add_block(arena, size, true)->bytes;
    }
    size_t needed = size == 0 ? ALIGNMENT : (size + ALIGNMENT - 1) / ALIGNMENT * ALIGNMENT;
    if (needed > arena->free_size) {
        arena->free_start = add_block(arena, BLOCK_SIZE, false)->bytes;
        arena->free_size = BLOCK_SIZE;
    }
    void *memory = arena->free_start;
    arena->free_start += needed;
    arena->free_size -= needed;
    return memset(memory, 0, needed);
}

void *arena_array(struct arena *arena, size_t count, size_t size)
{
    if (size != 0 && count > SIZE_MAX / size) {
        out_of_memory(SIZE_MAX);
    }
    return arena_alloc(arena, count * size);
}

char *arena_strndup(struct arena *arena, const char *text, size_t length)
{
    if (length == SIZE_MAX) {
        out_of_memory(length);
    }
    char *copy = arena_alloc(arena, length + 1);
    memcpy(copy, text, length);
    return copy;
}

char *arena_strdup(struct arena *arena, const char *text)
{
    return arena_strndup(arena, text, strlen(text));
}

char *arena_printf(struct arena *arena, const char *format, ...)
{
    char shorter[SHORT_TEXT];
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(shorter, sizeof shorter, format, arguments);
    va_end(arguments);
    if (length < 0) {
        return arena_strdup(arena, "");
    }
    if ((size_t)length < sizeof shorter) {
        return arena_strndup(arena, shorter, (size_t)length);
    }
    char *longer = arena_alloc(arena, (size_t)length + 1);
    va_start(arguments, format);
    (void)vsnprintf(longer, (size_t)length + 1, format, arguments);
    va_end(arguments);
    return longer;
}

void arena_defer(struct arena *arena, void (*release)(void *object), void *object)
{
    struct deferred *call = arena_alloc(arena, sizeof *call);
    call->release = release;
    call->object = object;
    call->next = arena->deferred;
    arena->deferred = call;
}
