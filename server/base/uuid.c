#include "base/uuid.h"

#include "base/log.h"

#include <errno.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/random.h>
#include <time.h>

enum { UUID_BYTES = 16 };

static const char hexadecimal[] = "0123456789abcdef";

static void fill_random(uint8_t *bytes, size_t length)
{
    while (length > 0) {
        ssize_t got = getrandom(bytes, length, 0);
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got <= 0) {
            /* An id that could be guessed or repeated is worse than no service. */
            log_message(LOG_LEVEL_ERROR, "no_random_source", "getrandom: error %d", errno);
            abort();
        }
        bytes += got;
        length -= (size_t)got;
    }
}

static bool has_hyphen_before(size_t byte)
{
    return byte == 4 || byte == 6 || byte == 8 || byte == 10;
}

void uuid_new(char text[UUID_TEXT_SIZE])
{
    uint8_t bytes[UUID_BYTES];
    fill_random(bytes, sizeof bytes);
    struct timespec now;
    (void)clock_gettime(CLOCK_REALTIME, &now);
    uint64_t milliseconds = (uint64_t)now.tv_sec * 1000U + (uint64_t)now.tv_nsec / 1000000U;
    /* RFC 9562 section 6.2, method 3: the 12 bits after the version hold the fraction of the
     * millisecond, so ids made one after another sort in that order. */
    uint64_t fraction = (uint64_t)now.tv_nsec % 1000000U * 4096U / 1000000U;
    for (size_t i = 0; i < 6; i++) {
        bytes[i] = (uint8_t)(milliseconds >> (40 - 8 * i));
    }
    bytes[6] = (uint8_t)(0x70U | (fraction >> 8));
    bytes[7] = (uint8_t)(fraction & 0xFFU);
    bytes[8] = (uint8_t)(0x80U | (bytes[8] & 0x3FU));
    char *end = text;
    for (size_t i = 0; i < UUID_BYTES; i++) {
        if (has_hyphen_before(i)) {
            *end++ = '-';
        }
        *end++ = hexadecimal[bytes[i] >> 4];
        *end++ = hexadecimal[bytes[i] & 0xFU];
    }
    *end = '\0';
}

static bool is_hexadecimal(char character)
{
    return (character >= '0' && character <= '9') || (character >= 'a' && character <= 'f');
}

bool uuid_is_valid(const char *text)
{
    for (size_t i = 0; i < UUID_TEXT_SIZE - 1; i++) {
        bool hyphen = i == 8 || i == 13 || i == 18 || i == 23;
        if (hyphen ? text[i] != '-' : !is_hexadecimal(text[i])) {
            return false;
        }
    }
    return text[UUID_TEXT_SIZE - 1] == '\0';
}
