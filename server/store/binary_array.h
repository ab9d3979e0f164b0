/* Inside store/ only: a one-dimensional array parameter in PostgreSQL's binary form, so that any
 * number of rows goes into one INSERT ... SELECT unnest(...). (COPY is refused on tables with
 * row-level security.) */
#ifndef STORE_BINARY_ARRAY_H
#define STORE_BINARY_ARRAY_H

#include "base/arena.h"
#include "base/text.h"

#include <stddef.h>
#include <stdint.h>

enum binary_array_type { /* object ids of pg_type, the same in every installation */
                         BINARY_ARRAY_BYTEA = 17,
                         BINARY_ARRAY_INT8 = 20,
                         BINARY_ARRAY_INT4 = 23,
                         BINARY_ARRAY_TEXT = 25,
                         BINARY_ARRAY_FLOAT8 = 701
};

struct binary_array {
    struct text bytes;
    uint32_t count;
};

/* An empty array of at most `limit` bytes. */
void binary_array_init(struct binary_array *array, struct arena *arena, enum binary_array_type type,
                       size_t limit);

/* Add an item; the call must fit the array's type. */
void binary_array_bytes(struct binary_array *array, const void *bytes, size_t length);
void binary_array_text(struct binary_array *array, const char *text);
void binary_array_int4(struct binary_array *array, int32_t number);
void binary_array_int8(struct binary_array *array, int64_t number);
void binary_array_float8(struct binary_array *array, double number);

#endif
