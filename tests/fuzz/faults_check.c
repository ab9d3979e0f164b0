#include "faults_check.h"

#include "promise.h"

#include "base/utf8.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Undoes the escapes of a token (RFC 6901, section 4), in place. */
static void unescape(char *token)
{
    char *to = token;
    for (const char *from = token; *from != '\0'; from++) {
        if (*from == '~') {
            from++;
            promise(*from == '0' || *from == '1', "an escape of a pointer");
            *to++ = *from == '0' ? '~' : '/';
        } else {
            *to++ = *from;
        }
    }
    *to = '\0';
}

/* One step down; NULL where the object has no such member. */
static const json_t *step(const json_t *value, const char *token)
{
    if (json_is_array(value)) {
        char *end = NULL;
        size_t index = strtoul(token, &end, 10);
        promise(*token != '\0' && *end == '\0' && index < json_array_size(value),
                "an index within the array");
        return json_array_get(value, index);
    }
    promise(json_is_object(value), "a pointer goes through objects and arrays");
    return json_object_get(value, token);
}

static void check_pointer(const char *pointer, const json_t *root)
{
    char *copy = strdup(pointer);
    promise(copy != NULL, "there is memory");
    char *rest = copy;
    const json_t *value = root;
    promise(pointer[0] == '\0' || pointer[0] == '/', "a JSON pointer");
    (void)strsep(&rest, "/"); /* what stands before the first slash: nothing */
    for (char *token = strsep(&rest, "/"); token != NULL; token = strsep(&rest, "/")) {
        promise(value != NULL, "only the last step may lead to what is missing");
        unescape(token);
        value = step(value, token);
    }
    free(copy);
}

static void check_sentence(const char *detail)
{
    size_t length = strlen(detail);
    promise(length > 5 && utf8_is_valid(detail, length), "a sentence in UTF-8");
    promise(detail[length - 1] == '.', "a whole sentence");
}

void faults_check(const struct fault_list *faults, const char *prefix, const char *body,
                  size_t length)
{
    json_error_t error;
    json_t *root = json_loadb(body, length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &error);
    promise(faults->dropped == 0 || faults->count == FAULT_LIMIT, "dropped when full");
    for (size_t i = 0; i < faults->count; i++) {
        const struct fault *fault = &faults->items[i];
        size_t skipped = strlen(prefix);
        check_sentence(fault->detail);
        promise(strncmp(fault->pointer, prefix, skipped) == 0, "the place that was given");
        if (root != NULL) {
            check_pointer(fault->pointer + skipped, root);
        } else {
            promise(fault->pointer[skipped] == '\0', "a text that is no JSON has no places");
        }
    }
    if (root == NULL) {
        promise(faults->count == 1, "one fault of what is no JSON");
        promise(strstr(faults->items[0].detail, "ine ") != NULL &&
                    strstr(faults->items[0].detail, "column ") != NULL,
                "which tells the place");
    }
    json_decref(root);
}
