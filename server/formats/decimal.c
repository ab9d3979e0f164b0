#include "formats/decimal.h"

#include "base/number.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { DIGITS_MAX = 19, EXPONENT_MAX = 9999 };

struct decimal_parts {
    bool is_negative;
    uint64_t digits; /* of the first DIGITS_MAX significant ones */
    int digit_count; /* without leading zeros */
    int decimals;    /* digits after the mark */
    int exponent;
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static const char *read_digits(const char *at, const char *end, struct decimal_parts *parts)
{
    for (; at < end && is_digit(*at); at++) {
        if (parts->digit_count > 0 || *at != '0') {
            parts->digit_count++;
        }
        if (parts->digit_count <= DIGITS_MAX) {
            parts->digits = parts->digits * 10 + (uint64_t)(*at - '0');
        }
    }
    return at;
}

static bool read_exponent(const char *at, const char *end, struct decimal_parts *parts)
{
    bool is_negative = at < end && *at == '-';
    at += at < end && (*at == '-' || *at == '+') ? 1 : 0;
    if (at == end) {
        return false;
    }
    int exponent = 0;
    for (; at < end && is_digit(*at); at++) {
        exponent = exponent > EXPONENT_MAX ? exponent : exponent * 10 + (*at - '0');
    }
    parts->exponent = is_negative ? -exponent : exponent;
    return at == end;
}

static bool read_parts(const char *at, const char *end, char mark, struct decimal_parts *parts)
{
    if (at < end && (*at == '-' || *at == '+')) {
        parts->is_negative = *at == '-';
        at++;
    }
    const char *whole = at;
    at = read_digits(at, end, parts);
    size_t digits = (size_t)(at - whole);
    if (at < end && *at == mark) {
        const char *fraction = ++at;
        at = read_digits(at, end, parts);
        parts->decimals = (int)(at - fraction);
        digits += (size_t)parts->decimals;
    }
    if (digits == 0) {
        return false;
    }
    return at == end || ((*at == 'e' || *at == 'E') && read_exponent(at + 1, end, parts));
}

/* The whole text is a decimal; only its mark may be strange to strtod(). The program never leaves
 * the C locale. */
static double slow_value(const char *text, size_t length, char mark)
{
    char copy[DECIMAL_TEXT_MAX + 1];
    memcpy(copy, text, length);
    copy[length] = '\0';
    char *found = memchr(copy, mark, length);
    if (found != NULL) {
        *found = '.';
    }
    return strtod(copy, NULL);
}

/* The usual case: so few digits that they cannot overflow, no exponent. False when it is another
 * one; nothing is said about whether the text is a number then. */
static bool parse_short(const char *text, size_t length, char mark, double *ret_value,
                        int *ret_decimals)
{
    const char *end = text + length;
    const char *at = text;
    const char *fraction = end;
    uint64_t digits = 0;
    bool is_negative = length > 0 && *at == '-';
    at += is_negative ? 1 : 0;
    if (length > DIGITS_MAX || at == end || !is_digit(*at)) {
        return false;
    }
    for (; at < end; at++) {
        unsigned digit = (unsigned)(unsigned char)*at - '0';
        if (digit <= 9) {
            digits = digits * 10 + digit;
        } else if (*at == mark && fraction == end) {
            fraction = at + 1;
        } else {
            return false;
        }
    }
    double value = 0.0;
    if (!number_from_digits(digits, -(int)(end - fraction), &value)) {
        return false;
    }
    *ret_value = is_negative ? -value : value;
    *ret_decimals = (int)(end - fraction);
    return true;
}

bool decimal_parse(const char *text, size_t length, char mark, double *ret_value, int *ret_decimals)
{
    if (parse_short(text, length, mark, ret_value, ret_decimals)) {
        return true;
    }
    struct decimal_parts parts = {0};
    if (length > DECIMAL_TEXT_MAX || !read_parts(text, text + length, mark, &parts)) {
        return false;
    }
    int power = parts.exponent - parts.decimals;
    *ret_decimals = power < 0 ? -power : 0;
    double value = 0.0;
    if (parts.digit_count > DIGITS_MAX || !number_from_digits(parts.digits, power, &value)) {
        *ret_value = slow_value(text, length, mark);
        return true;
    }
    *ret_value = parts.is_negative ? -value : value;
    return true;
}
