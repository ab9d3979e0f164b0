/* Header fields under libFuzzer. The first byte says which, the rest are lines:
 *   'R' Range, then If-Range and an ETag; 'B' a range that is made of numbers
 *   'I' If-Match or If-None-Match and an ETag
 *   'A' Accept, Accept-Encoding, Content-Type, Content-Encoding
 *   'F' a list with parameters
 *   'H' a whole header section, "name: value" a line, '0' or '1' before it for the minor version
 * What is read stays within what was sent, is idempotent, and agrees with a plain reading. */
#include "promise.h"

#include "http/conditional.h"
#include "http/field.h"
#include "http/headers.h"
#include "http/negotiate.h"
#include "http/range.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { ELEMENTS_MAX = 64 };

static const char *next_line(char **lines)
{
    const char *line = strsep(lines, "\n");
    return line == NULL ? "" : line;
}

/* ---- ranges ---- */

static void check_range(struct arena *arena, const char *field, const char *if_range,
                        const char *etag)
{
    size_t wholes[] = {0, 1, 10, 4096, SIZE_MAX};
    for (size_t i = 0; i < sizeof wholes / sizeof wholes[0]; i++) {
        struct range range = {0, 0};
        struct range again = {0, 0};
        if (range_parse(field, wholes[i], &range) != RANGE_PART) {
            continue;
        }
        promise(range.length >= 1 && range.first < wholes[i] &&
                    range.length <= wholes[i] - range.first,
                "a part lies within the whole");
        const char *same =
            arena_printf(arena, "bytes=%zu-%zu", range.first, range.first + (range.length - 1));
        promise(range_parse(same, wholes[i], &again) == RANGE_PART && again.first == range.first &&
                    again.length == range.length,
                "a part, spelled out, is itself");
    }
    promise(!range_is_current(if_range, etag) || strcmp(if_range, etag) == 0, "If-Range is exact");
    promise(!range_is_current(if_range, etag) || etag[0] == '"', "If-Range is strong");
}

static void check_made_range(struct arena *arena, const uint8_t *bytes, size_t size)
{
    size_t numbers[3] = {0, 0, 0}; /* first, last, whole */
    struct range range = {0, 0};
    for (size_t i = 1; i < size && i < 19; i++) {
        numbers[(i - 1) % 3] = numbers[(i - 1) % 3] << 8 | bytes[i];
    }
    size_t first = numbers[0];
    size_t last = numbers[1];
    size_t whole = numbers[2];
    const char *field = size > 0 && bytes[0] % 2 == 0
                            ? arena_printf(arena, "bytes=%zu-%zu", first, last)
                            : arena_printf(arena, "bytes=%zu-", first);
    last = size > 0 && bytes[0] % 2 == 0 ? last : SIZE_MAX;
    enum range_kind kind = range_parse(field, whole, &range);
    enum range_kind expected = last < first     ? RANGE_WHOLE
                               : first >= whole ? RANGE_UNSATISFIABLE
                                                : RANGE_PART;
    promise(kind == expected, "kind of a range");
    if (kind == RANGE_PART) {
        size_t end = last < whole ? last + 1 : whole;
        promise(range.first == first && range.length == end - first, "a range as it was asked for");
    }
    if (range_parse(arena_printf(arena, "bytes=-%zu", first), whole, &range) == RANGE_PART) {
        promise(range.length == (first < whole ? first : whole), "the last bytes");
        promise(range.first == whole - range.length, "up to the end");
    }
}

/* ---- conditions ---- */

static bool is_star(const char *field)
{
    while (*field == ' ' || *field == '\t') {
        field++;
    }
    return *field == '*';
}

static void check_condition(struct arena *arena, const char *field, const char *etag)
{
    const char *opaque = strncmp(etag, "W/", 2) == 0 ? etag + 2 : etag;
    size_t length = strlen(opaque);
    bool strong = conditional_matches(field, etag, false);
    bool weak = conditional_matches(field, etag, true);
    promise(!strong || weak, "what matches strongly matches weakly");
    promise(!strong || is_star(field) || opaque == etag, "a weak tag matches nothing strongly");
    promise(!weak || is_star(field) || strstr(field, opaque) != NULL,
            "a match stands in the field");
    if (length >= 2 && opaque[0] == '"' && strchr(opaque + 1, '"') == opaque + length - 1) {
        const char *listed = arena_printf(arena, "\"other\", W/\"more\" ,%s", etag);
        promise(conditional_matches(listed, etag, true), "a tag that is listed");
        promise(conditional_matches(listed, etag, false) == (opaque == etag), "if it is strong");
    }
}

/* ---- lists ---- */

static bool lies_within(struct slice slice, const char *start, size_t length)
{
    return slice.start >= start && slice.start <= start + length &&
           slice.length <= (size_t)(start + length - slice.start);
}

static bool is_trimmed(struct slice slice)
{
    return slice.length == 0 || (strchr(" \t", slice.start[0]) == NULL &&
                                 strchr(" \t", slice.start[slice.length - 1]) == NULL);
}

static void check_list(const char *field)
{
    size_t length = strlen(field);
    const char *cursor = field;
    const char *behind = field; /* the element before */
    struct field_element element;
    while (field_next_element(&cursor, &element)) {
        struct slice value = {NULL, 0};
        promise(lies_within(element.value, field, length), "a value within the field");
        promise(lies_within(element.parameters, field, length), "parameters within the field");
        promise(element.value.length + element.parameters.length > 0, "no empty element");
        promise(is_trimmed(element.value) && is_trimmed(element.parameters), "trimmed");
        promise(element.value.start >= behind, "in order");
        behind = element.parameters.start + element.parameters.length;
        promise(behind <= cursor && cursor <= field + length, "the cursor moves on");
        int quality = field_quality(element.parameters);
        promise(quality >= -1 && quality <= 1000, "quality");
        if (field_parameter(element.parameters, "q", &value)) {
            promise(lies_within(value, element.parameters.start, element.parameters.length),
                    "a parameter within the parameters");
        } else {
            promise(quality == 1000, "no quality means the best");
        }
    }
    promise(cursor <= field + length && strspn(cursor, " \t,") == strlen(cursor), "to the end");
}

/* ---- negotiation ---- */

/* An element as a plain reading has it, where there are no quoted strings. */
struct plain_element {
    char *value;
    int quality;
};

static char *plain_trim(char *text)
{
    text += strspn(text, " \t");
    size_t length = strlen(text);
    while (length > 0 && strchr(" \t", text[length - 1]) != NULL) {
        text[--length] = '\0';
    }
    return text;
}

/* Thousandths of "0", "0.", "0.5", "1.000" and the like; -1 for everything else. */
static int plain_quality(const char *text)
{
    size_t length = strlen(text);
    bool good = length >= 1 && length <= 5 && (text[0] == '0' || text[0] == '1') &&
                (length == 1 || text[1] == '.') &&
                (length < 2 || strspn(text + 2, "0123456789") == length - 2);
    char digits[5] = "0000";
    for (size_t i = 0; good && i < length; i++) {
        if (i != 1) {
            digits[i == 0 ? 0 : i - 1] = text[i];
        }
    }
    int thousandths = good ? (int)strtol(digits, NULL, 10) : -1;
    return thousandths <= 1000 ? thousandths : -1;
}

static size_t plain_list(char *field, struct plain_element elements[ELEMENTS_MAX])
{
    size_t count = 0;
    for (char *one = strsep(&field, ","); one != NULL && count < ELEMENTS_MAX;
         one = strsep(&field, ",")) {
        one = plain_trim(one);
        if (one[0] == '\0') {
            continue;
        }
        bool weighed = false;
        struct plain_element *element = &elements[count++];
        *element = (struct plain_element){plain_trim(strsep(&one, ";")), 1000};
        for (char *parameter = strsep(&one, ";"); parameter != NULL;
             parameter = strsep(&one, ";")) {
            char *value = strchr(parameter, '=');
            if (value == NULL) {
                continue;
            }
            *value++ = '\0';
            if (!weighed && strcasecmp(plain_trim(parameter), "q") == 0) {
                element->quality = plain_quality(plain_trim(value));
                weighed = true;
            }
        }
    }
    return count;
}

static int plain_type_quality(const struct plain_element *elements, size_t count, const char *type,
                              bool *ret_understood)
{
    size_t major = strcspn(type, "/");
    int closest = 0;
    int quality = 0;
    for (size_t i = 0; i < count; i++) {
        const char *range = elements[i].value;
        if (elements[i].quality < 0 || strchr(range, '/') == NULL) {
            continue;
        }
        *ret_understood = true;
        int close = strcasecmp(range, type) == 0 ? 3
                    : strcmp(range, "*/*") == 0  ? 1
                    : strlen(range) == major + 2 && strncasecmp(range, type, major + 1) == 0 &&
                            range[major + 1] == '*'
                        ? 2
                        : 0;
        if (close > closest) {
            closest = close;
            quality = elements[i].quality;
        }
    }
    return quality;
}

static const char *plain_choice(char *accept, const char *const produces[])
{
    struct plain_element elements[ELEMENTS_MAX];
    size_t count = plain_list(accept, elements);
    const char *best = NULL;
    int best_quality = 0;
    bool understood = false;
    for (size_t i = 0; produces[i] != NULL; i++) {
        int quality = plain_type_quality(elements, count, produces[i], &understood);
        if (quality > best_quality) {
            best = produces[i];
            best_quality = quality;
        }
    }
    return understood ? best : produces[0];
}

static size_t commas(const char *text)
{
    size_t count = 0;
    for (; *text != '\0'; text++) {
        count += *text == ',' ? 1 : 0;
    }
    return count;
}

static void check_accept(struct arena *arena, const char *accept)
{
    static const char *const produces[] = {"application/json", "text/html", "text/csv",
                                           "application/octet-stream", NULL};
    const char *chosen = negotiate_media_type(accept, produces);
    bool offered = chosen == NULL;
    for (size_t i = 0; produces[i] != NULL; i++) {
        offered = offered || chosen == produces[i];
        promise(negotiate_media_type(produces[i], produces) == produces[i], "what is asked for");
    }
    promise(offered, "one of those on offer");
    if (strpbrk(accept, "\"\\") == NULL && commas(accept) < ELEMENTS_MAX) {
        promise(chosen == plain_choice(arena_strdup(arena, accept), produces),
                "as a plain reading chooses");
    }
}

static void check_codings(const char *accept_encoding, const char *content_encoding)
{
    enum coding coding = negotiate_coding(accept_encoding);
    const char *name = coding_name(coding);
    promise((name == NULL) == (coding == CODING_IDENTITY), "identity has no name");
    promise(name == NULL || strcasestr(accept_encoding, name) != NULL ||
                strchr(accept_encoding, '*') != NULL,
            "a coding that was asked for");
    enum coding own = CODING_IDENTITY;
    enum coding again = CODING_IDENTITY;
    if (coding_parse(content_encoding, &own) && own != CODING_IDENTITY) {
        promise(coding_parse(coding_name(own), &again) && again == own, "a coding by its name");
        promise(strcasestr(content_encoding, coding_name(own)) != NULL, "a coding that is named");
    }
}

static void check_content_type(struct arena *arena, const char *field)
{
    const char *type = negotiate_content_type(arena, field);
    if (type == NULL) {
        return;
    }
    promise(strcasestr(field, type) != NULL, "a type that stands in the field");
    promise(strchr(type, '/') != NULL && strpbrk(type, " \t;,\"") == NULL, "a type of two tokens");
    for (const char *at = type; *at != '\0'; at++) {
        promise(!isupper((unsigned char)*at), "lower case");
    }
    const char *again = negotiate_content_type(arena, type);
    promise(again != NULL && strcmp(again, type) == 0, "a type is itself");
}

/* ---- sections ---- */

static void check_accepted(const struct header_table *headers, int minor,
                           const struct framing *framing, struct arena *arena)
{
    size_t hosts = 0;
    const char *length = headers_get(headers, arena, "content-length");
    const char *coding = headers_get(headers, arena, "TRANSFER-ENCODING");
    for (size_t i = 0; i < headers->count; i++) {
        const struct http_header *item = &headers->items[i];
        hosts += strcasecmp(item->name, "host") == 0 ? 1 : 0;
        promise(item->name[0] != '\0' && strpbrk(item->name, " \t:()<>@,;\\\"/[]?={}") == NULL,
                "a name is a token");
        for (const char *at = item->value; *at != '\0'; at++) {
            promise(*at == '\t' || !iscntrl((unsigned char)*at), "no control character");
        }
        const char *value = headers_get(headers, arena, item->name);
        promise(value != NULL && strstr(value, item->value) != NULL, "a line is in its field");
    }
    promise(hosts == 1 || (hosts == 0 && minor == 0), "one host");
    promise(length == NULL || coding == NULL, "one framing");
    promise(framing->chunked == (coding != NULL), "chunked where it says so");
    promise(framing->has_body == (framing->chunked || framing->length > 0), "a body");
    promise(length == NULL ? framing->length == 0
                           : framing->length == strtoull(length, NULL, 10) &&
                                 strspn(length, "0123456789") == strlen(length),
            "length");
}

static void check_section(struct arena *arena, int minor, char *lines)
{
    struct header_table *headers = arena_alloc(arena, sizeof *headers);
    struct framing framing = {false, false, 0};
    struct header_problem problem = {0, ""};
    for (char *line = strsep(&lines, "\n"); line != NULL && headers->count < HEADERS_MAX;
         line = strsep(&lines, "\n")) {
        char *value = strchr(line, ':');
        if (value != NULL) {
            *value++ = '\0';
            headers->items[headers->count++] = (struct http_header){line, plain_trim(value)};
        }
    }
    if (headers_check(headers, minor, &framing, &problem)) {
        check_accepted(headers, minor, &framing, arena);
    } else {
        promise(problem.status == 400, "status of a refusal");
        promise(problem.detail[0] != '\0' && strlen(problem.detail) < HEADERS_PROBLEM_SIZE - 1,
                "a sentence that was not cut");
    }
    const char *id = headers_get(headers, arena, "X-Request-Id");
    promise(id == NULL || !headers_is_request_id(id) ||
                (strlen(id) <= 64 && strpbrk(id, " \"\\<>,;") == NULL),
            "an id that can be logged");
}

static void check_lines(struct arena *arena, uint8_t kind, char *lines)
{
    const char *first = next_line(&lines);
    const char *second = next_line(&lines);
    const char *third = next_line(&lines);
    switch (kind) {
    case 'R':
        check_range(arena, first, second, third);
        break;
    case 'I':
        check_condition(arena, first, second);
        break;
    case 'A':
        check_accept(arena, first);
        check_codings(second, first);
        check_content_type(arena, third);
        break;
    default:
        check_list(first);
        break;
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    if (size < 2) {
        return 0;
    }
    struct arena *arena = arena_new();
    char *text = promise_line(bytes + 1, size - 1);
    if (bytes[0] == 'B') {
        check_made_range(arena, bytes + 1, size - 1);
    } else if (bytes[0] == 'H') {
        check_section(arena, text[0] == '0' ? 0 : 1, text[0] == '\0' ? text : text + 1);
    } else {
        check_lines(arena, bytes[0], text);
    }
    free(text);
    arena_free(arena);
    return 0;
}
