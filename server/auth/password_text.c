#include "auth/password_text.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <utf8proc.h>

static char *map(const char *text, unsigned more)
{
    utf8proc_uint8_t *mapped = NULL;
    const unsigned options = (unsigned)UTF8PROC_NULLTERM | (unsigned)UTF8PROC_STABLE |
                             (unsigned)UTF8PROC_COMPOSE | (unsigned)UTF8PROC_REJECTNA | more;
    if (utf8proc_map((const utf8proc_uint8_t *)text, 0, &mapped, (utf8proc_option_t)options) < 0) {
        return NULL;
    }
    return (char *)mapped;
}

char *password_text_normal(const char *text)
{
    return map(text, 0);
}

char *password_text_folded(const char *text)
{
    return map(text, UTF8PROC_CASEFOLD);
}

size_t password_text_count(const char *text)
{
    size_t count = 0;
    for (; *text != '\0'; text++) {
        count += ((unsigned char)*text & 0xc0U) != 0x80U ? 1 : 0;
    }
    return count;
}

void password_text_free(char *text)
{
    if (text != NULL) {
        sodium_memzero(text, strlen(text));
        free(text);
    }
}
