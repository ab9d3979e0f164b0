#include "promise.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void promise_broken(const char *what)
{
    (void)fprintf(stderr, "broken promise: %s\n", what);
    abort();
}

char *promise_text(const uint8_t *bytes, size_t size)
{
    char *text = malloc(size + 1);
    promise(text != NULL, "there is memory");
    if (size > 0) {
        memcpy(text, bytes, size);
    }
    text[size] = '\0';
    return text;
}

char *promise_line(const uint8_t *bytes, size_t size)
{
    const uint8_t *end = size == 0 ? NULL : memchr(bytes, '\0', size);
    return promise_text(bytes, end == NULL ? size : (size_t)(end - bytes));
}
