#include "http/negotiate.h"

#include "http/field.h"

#include <string.h>
#include <strings.h>

/* How closely a range names a type: 3 itself, 2 "type" and "/" and "*", 1 all types, 0 not at all.
 */
static int specificity(struct slice range, const char *type)
{
    size_t type_length = strcspn(type, "; ");
    if (range.length == type_length && strncasecmp(range.start, type, type_length) == 0) {
        return 3;
    }
    if (slice_equals(range, "*/*")) {
        return 1;
    }
    size_t major = strcspn(type, "/") + 1;
    if (range.length == major + 1 && range.start[major] == '*' &&
        strncasecmp(range.start, type, major) == 0) {
        return 2;
    }
    return 0;
}

/* Quality of `type` in thousandths, or -1 when no element of the field can be understood. */
static int quality_of_type(const char *accept, const char *type)
{
    int best_specificity = 0;
    int quality = -1;
    struct field_element element;
    while (field_next_element(&accept, &element)) {
        int element_quality = field_quality(element.parameters);
        if (element_quality < 0 || memchr(element.value.start, '/', element.value.length) == NULL) {
            continue;
        }
        if (quality < 0) {
            quality = 0;
        }
        int match = specificity(element.value, type);
        if (match > best_specificity) {
            best_specificity = match;
            quality = element_quality;
        }
    }
    return quality;
}

const char *negotiate_media_type(const char *accept, const char *const produces[])
{
    if (accept == NULL) {
        return produces[0];
    }
    const char *best = NULL;
    int best_quality = 0;
    for (size_t i = 0; produces[i] != NULL; i++) {
        int quality = quality_of_type(accept, produces[i]);
        if (quality < 0) {
            return produces[0];
        }
        if (quality > best_quality) {
            best = produces[i];
            best_quality = quality;
        }
    }
    return best;
}

/* Quality of a coding in thousandths: its own element before "*"; 0 when not named. */
static int quality_of_coding(const char *field, const char *name, const char *alias)
{
    int quality = 0;
    bool named = false;
    struct field_element element;
    while (field_next_element(&field, &element)) {
        int element_quality = field_quality(element.parameters);
        if (element_quality < 0) {
            continue;
        }
        if (slice_equals(element.value, name) || slice_equals(element.value, alias)) {
            quality = element_quality;
            named = true;
        } else if (!named && slice_equals(element.value, "*")) {
            quality = element_quality;
        }
    }
    return quality;
}

enum coding negotiate_coding(const char *accept_encoding)
{
    if (accept_encoding == NULL) {
        return CODING_IDENTITY;
    }
    int zstd = quality_of_coding(accept_encoding, "zstd", "zstd");
    int gzip = quality_of_coding(accept_encoding, "gzip", "x-gzip");
    /* Identity is acceptable unless refused; it is preferred only when given the greater weight. */
    int identity = quality_of_coding(accept_encoding, "identity", "identity");
    if (zstd > 0 && zstd >= gzip && zstd >= identity) {
        return CODING_ZSTD;
    }
    if (gzip > 0 && gzip >= identity) {
        return CODING_GZIP;
    }
    return CODING_IDENTITY;
}

static bool is_media_type(struct slice value)
{
    const char *slash = memchr(value.start, '/', value.length);
    if (slash == NULL) {
        return false;
    }
    size_t major = (size_t)(slash - value.start);
    return slice_is_token((struct slice){value.start, major}) &&
           slice_is_token((struct slice){slash + 1, value.length - major - 1});
}

const char *negotiate_content_type(struct arena *arena, const char *field)
{
    struct field_element element;
    struct field_element another;
    if (!field_next_element(&field, &element) || field_next_element(&field, &another) ||
        !is_media_type(element.value)) {
        return NULL;
    }
    struct slice charset;
    if (field_parameter(element.parameters, "charset", &charset) &&
        !slice_equals(charset, "utf-8") && !slice_equals(charset, "utf8") &&
        !slice_equals(charset, "us-ascii")) {
        return NULL;
    }
    char *type = arena_strndup(arena, element.value.start, element.value.length);
    for (char *at = type; *at != '\0'; at++) {
        if (*at >= 'A' && *at <= 'Z') {
            *at = (char)(*at - 'A' + 'a');
        }
    }
    return type;
}
