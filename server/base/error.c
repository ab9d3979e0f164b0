#include "base/error.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

bool error_set(struct error *error, enum error_kind kind, const char *format, ...)
{
    error->kind = kind;
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(error->detail, sizeof error->detail, format, arguments);
    va_end(arguments);
    return false;
}

bool error_context(struct error *error, const char *format, ...)
{
    struct error before = *error;
    va_list arguments;
    va_start(arguments, format);
    int written = vsnprintf(error->detail, sizeof error->detail, format, arguments);
    va_end(arguments);
    size_t room = sizeof error->detail;
    if (written < 0 || (size_t)written + 2 >= room) {
        return false;
    }
    char *end = error->detail + written;
    room -= (size_t)written + 2;
    *end++ = ':';
    *end++ = ' ';
    size_t length = strnlen(before.detail, room - 1);
    memcpy(end, before.detail, length);
    end[length] = '\0';
    return false;
}
