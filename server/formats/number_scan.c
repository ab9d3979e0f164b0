#include "formats/number_scan.h"

#include "formats/limits.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A product or quotient of two exact doubles is rounded once, so it is the nearest double: true of
 * integers up to 2^53 and of powers of ten up to 10^22 (Clinger 1990, "How to read floating point
 * numbers accurately"). */
#define EXACT_MANTISSA_MAX ((uint64_t)1 << 53)

enum {
    EXACT_POWER_MAX = 22,
    DIGITS_MAX = 19,       /* what a uint64_t always holds */
    EXPONENT_MAX = 100000, /* larger ones give zero or infinity all the same */
    NUMBER_SIZE = 64
};

static const double exact_powers[EXACT_POWER_MAX + 1] = {
    1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
    1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

/* A number's text, taken apart. */
struct number_parts {
    const char *text;
    const char *end;
    bool is_negative;
    bool is_integer;   /* neither fraction nor exponent */
    uint64_t mantissa; /* all digits; meaningless when there are more than DIGITS_MAX */
    size_t digits;
    size_t decimals; /* how many of them stand after the point */
    int exponent;
};

static bool is_digit(char c)
{
    return (unsigned char)(c - '0') < 10;
}

static const char *read_digits(const char *at, uint64_t *mantissa)
{
    uint64_t value = *mantissa;
    for (; is_digit(*at); at++) {
        value = value * 10 + (uint64_t)(*at - '0');
    }
    *mantissa = value;
    return at;
}

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
    parts->digits = (size_t)(at - first);
    if (parts->digits == 0 || (*first == '0' && parts->digits > 1)) {
        return false;
    }
    if (*at == '.') {
        const char *fraction = at + 1;
        at = read_digits(fraction, &parts->mantissa);
        parts->decimals = (size_t)(at - fraction);
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

/* Most samples are this short: their code is in the digits. A negative zero has none. */
static bool code_of_parts(const struct number_parts *parts, int32_t *ret_code)
{
    if (parts->digits > DIGITS_MAX || parts->mantissa > INT32_MAX || parts->exponent != 0 ||
        parts->decimals > SAMPLES_DECIMALS_MAX ||
        (parts->is_negative && parts->mantissa == 0 && !parts->is_integer)) {
        return false;
    }
    int32_t code = (int32_t)parts->mantissa;
    *ret_code = parts->is_negative ? -code : code;
    return parts->decimals > 0 || parts->mantissa <= (uint64_t)LIMIT_SAMPLE_MAGNITUDE;
}

/* The nearest double of a number that is no integer; false when its text is too long. */
static bool value_of_parts(const struct number_parts *parts, double *ret_value)
{
    size_t length = (size_t)(parts->end - parts->text);
    if (length >= NUMBER_SIZE) {
        return false;
    }
    int power = parts->exponent - (int)parts->decimals;
    if (parts->digits <= DIGITS_MAX && parts->mantissa <= EXACT_MANTISSA_MAX &&
        abs(power) <= EXACT_POWER_MAX) {
        double mantissa = (double)parts->mantissa;
        double value = power < 0 ? mantissa / exact_powers[-power] : mantissa * exact_powers[power];
        *ret_value = parts->is_negative ? -value : value;
        return true;
    }
    char copy[NUMBER_SIZE];
    memcpy(copy, parts->text, length);
    copy[length] = '\0';
    *ret_value = strtod(copy, NULL);
    return true;
}

const char *number_scan(const char *text, struct sample_builder *builder)
{
    struct number_parts parts;
    int32_t code = 0;
    double value = 0.0;
    if (!read_parts(text, &parts)) {
        return NULL;
    }
    if (code_of_parts(&parts, &code)) {
        if (builder != NULL) {
            sample_builder_add_code(builder, code, (int)parts.decimals);
        }
        return parts.end;
    }
    /* An integer without a code is beyond the limit, or too long to say. */
    if (parts.is_integer || !value_of_parts(&parts, &value) ||
        !(fabs(value) <= LIMIT_SAMPLE_MAGNITUDE)) {
        return NULL;
    }
    if (builder != NULL) {
        sample_builder_add(builder, value);
    }
    return parts.end;
}
