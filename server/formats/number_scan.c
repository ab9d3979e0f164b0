#include "formats/number_scan.h"

#include "base/number.h"
#include "formats/limits.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    SHORT_DIGITS_MAX = 9,  /* what an int32_t always holds; within LIMIT_SAMPLE_MAGNITUDE */
    DIGITS_MAX = 19,       /* what a uint64_t always holds */
    EXPONENT_MAX = 100000, /* larger ones give zero or infinity all the same */
    NUMBER_SIZE = 64
};

static bool is_digit(char c)
{
    return (unsigned char)(c - '0') < 10;
}

/* Appends the digits to *mantissa, which is meaningless after more than DIGITS_MAX of them. */
static const char *read_digits(const char *at, uint64_t *mantissa)
{
    uint64_t value = *mantissa;
    for (; is_digit(*at); at++) {
        value = value * 10 + (uint64_t)(*at - '0');
    }
    *mantissa = value;
    return at;
}

/* JSON's integer part: no digit before it but a single 0. */
static bool is_whole(const char *first, const char *end)
{
    return end > first && (*first != '0' || end == first + 1);
}

/* A decimal of few digits, as most samples are: its code stands in them. NULL when it is not one,
 * or something is unusual about it. */
static const char *scan_short(const char *text, int32_t *ret_code, int *ret_decimals)
{
    bool is_negative = *text == '-';
    const char *first = text + (is_negative ? 1 : 0);
    uint64_t mantissa = 0;
    const char *at = read_digits(first, &mantissa);
    if (!is_whole(first, at)) {
        return NULL;
    }
    ptrdiff_t digits = at - first;
    ptrdiff_t decimals = 0;
    if (*at == '.') {
        const char *fraction = at + 1;
        at = read_digits(fraction, &mantissa);
        decimals = at - fraction;
        digits += decimals;
        if (decimals == 0) {
            return NULL;
        }
    }
    if (digits > SHORT_DIGITS_MAX || decimals > SAMPLES_DECIMALS_MAX || *at == 'e' || *at == 'E' ||
        (is_negative && mantissa == 0)) {
        return NULL;
    }
    *ret_code = is_negative ? -(int32_t)mantissa : (int32_t)mantissa;
    *ret_decimals = (int)decimals;
    return at;
}

/* ---- Any number ---- */

struct number_parts {
    const char *text;
    const char *end;
    bool is_negative;
    bool is_integer; /* neither fraction nor exponent */
    uint64_t mantissa;
    ptrdiff_t digits;
    ptrdiff_t decimals; /* how many of the digits stand after the point */
    int exponent;
};

/* What follows the letter of an exponent; NULL when it is none. */
static const char *read_exponent(const char *at, int *ret_exponent)
{
    bool is_negative = *at == '-';
    at += *at == '-' || *at == '+' ? 1 : 0;
    if (!is_digit(*at)) {
        return NULL;
    }
    int exponent = 0;
    for (; is_digit(*at); at++) {
        exponent = exponent < EXPONENT_MAX ? exponent * 10 + (*at - '0') : exponent;
    }
    *ret_exponent = is_negative ? -exponent : exponent;
    return at;
}

static bool read_parts(const char *text, struct number_parts *parts)
{
    *parts = (struct number_parts){.text = text, .is_negative = *text == '-', .is_integer = true};
    const char *first = text + (parts->is_negative ? 1 : 0);
    const char *at = read_digits(first, &parts->mantissa);
    if (!is_whole(first, at)) {
        return false;
    }
    parts->digits = at - first;
    if (*at == '.') {
        const char *fraction = at + 1;
        at = read_digits(fraction, &parts->mantissa);
        parts->decimals = at - fraction;
        parts->digits += parts->decimals;
        parts->is_integer = false;
        if (parts->decimals == 0) {
            return false;
        }
    }
    if (*at == 'e' || *at == 'E') {
        parts->is_integer = false;
        at = read_exponent(at + 1, &parts->exponent);
    }
    parts->end = at;
    return at != NULL;
}

/* The nearest double; false when the text is too long. */
static bool value_of_parts(const struct number_parts *parts, double *ret_value)
{
    ptrdiff_t length = parts->end - parts->text;
    if (length >= NUMBER_SIZE) {
        return false;
    }
    int power = parts->exponent - (int)parts->decimals;
    double value = 0.0;
    if (parts->digits <= DIGITS_MAX && number_from_digits(parts->mantissa, power, &value)) {
        *ret_value = parts->is_negative ? -value : value;
    } else {
        char copy[NUMBER_SIZE];
        memcpy(copy, parts->text, (size_t)length);
        copy[length] = '\0';
        *ret_value = strtod(copy, NULL);
    }
    if (parts->is_integer && !(fabs(*ret_value) > 0.0)) {
        *ret_value = 0.0; /* no integer is a negative zero */
    }
    return true;
}

RARELY_CALLED static const char *scan_long(const char *text, struct sample_builder *builder)
{
    struct number_parts parts;
    double value = 0.0;
    if (!read_parts(text, &parts) || !value_of_parts(&parts, &value) ||
        !(fabs(value) <= LIMIT_SAMPLE_MAGNITUDE)) {
        return NULL;
    }
    if (builder != NULL) {
        sample_builder_add(builder, value);
    }
    return parts.end;
}

const char *number_scan(const char *text, struct sample_builder *builder)
{
    int32_t code = 0;
    int decimals = 0;
    const char *end = scan_short(text, &code, &decimals);
    if (end == NULL) {
        return scan_long(text, builder);
    }
    if (builder != NULL) {
        sample_builder_add_code(builder, code, decimals);
    }
    return end;
}
