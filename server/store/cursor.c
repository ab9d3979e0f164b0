#include "store/cursor.h"

#include <sodium.h>
#include <string.h>

enum {
    CURSOR_BYTES = 1 + 8 + UUID_TEXT_SIZE - 1,
    CURSOR_VARIANT = sodium_base64_VARIANT_URLSAFE_NO_PADDING
};

const char *cursor_write(struct arena *arena, char list, int64_t position, const char *id)
{
    unsigned char bytes[CURSOR_BYTES];
    bytes[0] = (unsigned char)list;
    for (int i = 0; i < 8; i++) {
        bytes[1 + i] = (unsigned char)((uint64_t)position >> (56 - 8 * i));
    }
    memcpy(bytes + 9, id, UUID_TEXT_SIZE - 1);
    size_t size = sodium_base64_encoded_len(sizeof bytes, CURSOR_VARIANT);
    char *text = arena_alloc(arena, size);
    return sodium_bin2base64(text, size, bytes, sizeof bytes, CURSOR_VARIANT);
}

/* libsodium takes every byte beyond ASCII for a digit. */
static bool is_ascii(const char *text)
{
    for (; *text != '\0'; text++) {
        if ((unsigned char)*text > 0x7f) {
            return false;
        }
    }
    return true;
}

bool cursor_read(const char *text, char list, struct cursor *ret_cursor, struct error *reterr)
{
    unsigned char bytes[CURSOR_BYTES];
    size_t length = 0;
    if (!is_ascii(text) ||
        sodium_base642bin(bytes, sizeof bytes, text, strlen(text), NULL, &length, NULL,
                          CURSOR_VARIANT) != 0 ||
        length != sizeof bytes || bytes[0] != (unsigned char)list) {
        return error_set(reterr, ERROR_INVALID, "cursor");
    }
    struct cursor cursor = {0};
    uint64_t position = 0;
    for (int i = 0; i < 8; i++) {
        position = position << 8 | bytes[1 + i];
    }
    cursor.position = (int64_t)position;
    memcpy(cursor.id, bytes + 9, UUID_TEXT_SIZE - 1);
    if (!uuid_is_valid(cursor.id)) {
        return error_set(reterr, ERROR_INVALID, "cursor");
    }
    *ret_cursor = cursor;
    return true;
}
