/* Memory that lives as long as a request: allocate freely, drop all at once. */
#ifndef BASE_ARENA_H
#define BASE_ARENA_H

#include "base/compiler.h"

#include <stdbool.h>
#include <stddef.h>

struct arena;

/* A new, empty arena. Never NULL: when the system has no memory left the process ends with a log
 * line, since no answer could be given anyway and everything acknowledged is already committed. */
struct arena *arena_new(void);

/* Runs the deferred calls, newest first, and frees everything. NULL is allowed. */
void arena_free(struct arena *arena);

/* From now on the arena holds what nobody may find in memory afterwards: arena_free() overwrites
 * all of it, also what is already there. */
void arena_keep_secret(struct arena *arena);

/* Whether arena_keep_secret() was called. For a deferred call that frees what is not on the arena.
 */
bool arena_is_secret(const struct arena *arena);

/* Zeroed memory, aligned for any object; never NULL. What grows with a client's input must have
 * been bounded by a named limit before it gets here. */
void *arena_alloc(struct arena *arena, size_t size);

/* The same for `count` objects of `size` bytes; an overflowing product ends the process. */
void *arena_array(struct arena *arena, size_t count, size_t size);

char *arena_strdup(struct arena *arena, const char *text);
char *arena_strndup(struct arena *arena, const char *text, size_t length);
char *arena_printf(struct arena *arena, const char *format, ...) PRINTF_LIKE(2, 3);

/* Calls release(object) when the arena is freed. */
void arena_defer(struct arena *arena, void (*release)(void *object), void *object);

#endif
