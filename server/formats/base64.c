#include "formats/base64.h"

/* 64 marks a character outside the alphabet. */
static const uint8_t digits[256] = {
    64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64,
    64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 62, 64, 64, 64, 63,
    52, 53, 54, 55, 56, 57, 58, 59, 60, 61, 64, 64, 64, 64, 64, 64, 64, 0,  1,  2,  3,  4,  5,  6,
    7,  8,  9,  10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 64, 64, 64, 64, 64,
    64, 26, 27, 28, 29, 30, 31, 32, 33, 34, 35, 36, 37, 38, 39, 40, 41, 42, 43, 44, 45, 46, 47, 48,
    49, 50, 51, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64,
    64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64,
    64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64,
    64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64,
    64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64,
    64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64,
};

/* Characters of padding. Only a last group that is whole can have some: were they counted behind a
 * cut group too, there would be fewer bytes announced than the whole groups before it hold. */
static size_t padding_length(const char *text, size_t length)
{
    if (length == 0 || length % 4 != 0 || text[length - 1] != '=') {
        return 0;
    }
    return text[length - 2] == '=' ? 2 : 1;
}

size_t base64_decoded_length(const char *text, size_t length)
{
    size_t groups = length / 4;
    return groups == 0 ? 0 : groups * 3 - padding_length(text, length);
}

static uint32_t digit(char character)
{
    return digits[(unsigned char)character];
}

/* Index of the first of `count` characters that is not a digit, or `count`. */
static size_t first_foreign(const char *text, size_t count)
{
    size_t at = 0;
    while (at < count && digit(text[at]) < 64) {
        at++;
    }
    return at;
}

/* The last group, of which `padding` characters are padding. */
static bool decode_tail(const char *group, size_t padding, uint8_t *bytes, size_t *ret_fault_at)
{
    size_t used = 4 - padding;
    size_t foreign = first_foreign(group, used);
    if (foreign < used) {
        *ret_fault_at = foreign;
        return false;
    }
    uint32_t last = digit(group[used - 1]);
    uint32_t spare_mask = padding == 1 ? 0x03 : 0x0f;
    if ((last & spare_mask) != 0) {
        *ret_fault_at = used - 1;
        return false;
    }
    uint32_t first = digit(group[0]);
    uint32_t second = digit(group[1]);
    bytes[0] = (uint8_t)(first << 2 | second >> 4);
    if (padding == 1) {
        bytes[1] = (uint8_t)((second << 4 | last >> 2) & 0xff);
    }
    return true;
}

bool base64_decode(const char *text, size_t length, uint8_t *bytes, size_t *ret_fault_at)
{
    size_t padding = padding_length(text, length);
    size_t full = padding > 0 ? length - 4 : length - length % 4;
    for (size_t at = 0; at < full; at += 4, bytes += 3) {
        uint32_t a = digit(text[at]);
        uint32_t b = digit(text[at + 1]);
        uint32_t c = digit(text[at + 2]);
        uint32_t d = digit(text[at + 3]);
        if (((a | b | c | d) & 64) != 0) {
            *ret_fault_at = at + first_foreign(text + at, 4);
            return false;
        }
        uint32_t word = a << 18 | b << 12 | c << 6 | d;
        bytes[0] = (uint8_t)(word >> 16);
        bytes[1] = (uint8_t)(word >> 8 & 0xff);
        bytes[2] = (uint8_t)(word & 0xff);
    }
    if (length % 4 != 0) {
        *ret_fault_at = full + first_foreign(text + full, length - full);
        return false;
    }
    if (padding > 0 && !decode_tail(text + full, padding, bytes, ret_fault_at)) {
        *ret_fault_at += full;
        return false;
    }
    return true;
}
