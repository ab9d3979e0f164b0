#include "base/utf8.h"

#include <stdint.h>

/* RFC 3629 section 4: the range of the second byte depends on the first; all later ones are 80..BF.
 */
struct lead {
    uint8_t first_low;
    uint8_t first_high;
    uint8_t second_low;
    uint8_t second_high;
    uint8_t size;
};

static const struct lead leads[] = {
    {0xC2, 0xDF, 0x80, 0xBF, 2}, {0xE0, 0xE0, 0xA0, 0xBF, 3}, {0xE1, 0xEC, 0x80, 0xBF, 3},
    {0xED, 0xED, 0x80, 0x9F, 3}, {0xEE, 0xEF, 0x80, 0xBF, 3}, {0xF0, 0xF0, 0x90, 0xBF, 4},
    {0xF1, 0xF3, 0x80, 0xBF, 4}, {0xF4, 0xF4, 0x80, 0x8F, 4},
};

static bool continues(const char *bytes, size_t size)
{
    for (size_t i = 2; i < size; i++) {
        uint8_t byte = (uint8_t)bytes[i];
        if (byte < 0x80 || byte > 0xBF) {
            return false;
        }
    }
    return true;
}

size_t utf8_sequence(const char *bytes, size_t length)
{
    if (length == 0) {
        return 0;
    }
    uint8_t first = (uint8_t)bytes[0];
    if (first < 0x80) {
        return 1;
    }
    for (size_t i = 0; i < sizeof leads / sizeof leads[0]; i++) {
        const struct lead *lead = &leads[i];
        if (first < lead->first_low || first > lead->first_high) {
            continue;
        }
        if (length < lead->size || (uint8_t)bytes[1] < lead->second_low ||
            (uint8_t)bytes[1] > lead->second_high) {
            return 0;
        }
        return continues(bytes, lead->size) ? lead->size : 0;
    }
    return 0;
}

bool utf8_is_valid(const char *bytes, size_t length)
{
    size_t at = 0;
    while (at < length) {
        size_t size = utf8_sequence(bytes + at, length - at);
        if (size == 0) {
            return false;
        }
        at += size;
    }
    return true;
}

size_t utf8_length(const char *text)
{
    size_t count = 0;
    for (; *text != '\0'; text++) {
        bool continues = ((unsigned char)*text & 0xc0U) == 0x80U;
        count += continues ? 0 : 1;
    }
    return count;
}
