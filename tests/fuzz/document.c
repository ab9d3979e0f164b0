/* The scan of documents under libFuzzer: whatever the bytes, reading with it and by Jansson alone
 * must agree. After a first byte 'T' the rest are a text; after any other they choose what a text
 * is made of. */
#include "promise.h"

#include "unit/formats/scan_check.h"
#include "unit/formats/scan_text.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void check(const char *text, size_t length)
{
    struct scan_check_counts counts = {0};
    char *body = malloc(length > 0 ? length : 1); /* so that reading past it is seen */
    if (body == NULL) {
        return;
    }
    memcpy(body, text, length);
    const char *difference = scan_check(body, length, &counts);
    if (difference != NULL) {
        fprintf(stderr, "they differ in: %s\n%.*s\n", difference, (int)length, body);
        abort();
    }
    free(body);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static char made[SCAN_TEXT_MAX];

    if (size == 0) {
        return 0;
    }
    if (bytes[0] == 'T') {
        check((const char *)bytes + 1, size - 1);
    } else {
        check(made, scan_text_make(bytes, size, made));
    }
    return 0;
}
