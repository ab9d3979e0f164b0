#include "store/binary_array.h"

#include <string.h>

enum { COUNT_POSITION = 12 };

static void put_uint32(char bytes[4], uint32_t number)
{
    for (int i = 0; i < 4; i++) {
        bytes[i] = (char)(unsigned char)(number >> (24 - 8 * i));
    }
}

static void append_uint32(struct text *text, uint32_t number)
{
    char bytes[4];
    put_uint32(bytes, number);
    text_append_bytes(text, bytes, sizeof bytes);
}

void binary_array_init(struct binary_array *array, struct arena *arena, enum binary_array_type type,
                       size_t limit)
{
    text_init(&array->bytes, arena, limit);
    array->count = 0;
    append_uint32(&array->bytes, 1); /* dimensions */
    append_uint32(&array->bytes, 0); /* no nulls */
    append_uint32(&array->bytes, (uint32_t)type);
    append_uint32(&array->bytes, 0); /* length, see binary_array_bytes() */
    append_uint32(&array->bytes, 1); /* lower bound */
}

void binary_array_bytes(struct binary_array *array, const void *bytes, size_t length)
{
    append_uint32(&array->bytes, (uint32_t)length);
    text_append_bytes(&array->bytes, bytes, length);
    array->count++;
    put_uint32(array->bytes.data + COUNT_POSITION, array->count);
}

void binary_array_text(struct binary_array *array, const char *text)
{
    binary_array_bytes(array, text, strlen(text));
}

void binary_array_int4(struct binary_array *array, int32_t number)
{
    char bytes[4];
    put_uint32(bytes, (uint32_t)number);
    binary_array_bytes(array, bytes, sizeof bytes);
}

void binary_array_int8(struct binary_array *array, int64_t number)
{
    char bytes[8];
    put_uint32(bytes, (uint32_t)((uint64_t)number >> 32));
    put_uint32(bytes + 4, (uint32_t)(uint64_t)number);
    binary_array_bytes(array, bytes, sizeof bytes);
}

void binary_array_float8(struct binary_array *array, double number)
{
    int64_t bits = 0;
    memcpy(&bits, &number, sizeof bits);
    binary_array_int8(array, bits);
}
