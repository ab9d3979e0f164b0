#include "base/number.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FIXED_DECIMALS = 6, FIXED_SCALE = 1000000 };

static bool same(double a, double b)
{
    uint64_t a_bits = 0;
    uint64_t b_bits = 0;
    memcpy(&a_bits, &a, sizeof a_bits);
    memcpy(&b_bits, &b, sizeof b_bits);
    return a_bits == b_bits;
}

/* Most numbers here have few decimals (samples on a 0.1 grid, values of three decimals). n / 10^6
 * is correctly rounded, so when it gives `value` back, the decimal n * 10^-6 reads back as `value`
 * too; having at most 15 significant digits, it is the only one so short. Returns 0 when not so. */
static size_t format_fixed(char text[NUMBER_TEXT_SIZE], double value)
{
    double magnitude = fabs(value);
    if (!(magnitude < 1e9)) {
        return 0;
    }
    double scaled = round(magnitude * FIXED_SCALE);
    if (!same(scaled / FIXED_SCALE, magnitude)) {
        return 0;
    }
    uint64_t units = (uint64_t)scaled;
    uint64_t fraction = units % FIXED_SCALE;
    uint64_t whole = units / FIXED_SCALE;
    char digits[NUMBER_TEXT_SIZE];
    size_t at = sizeof digits;
    for (int decimal = 0; decimal < FIXED_DECIMALS; decimal++) {
        unsigned digit = (unsigned)(fraction % 10);
        fraction /= 10;
        if (digit != 0 || at < sizeof digits) {
            digits[--at] = (char)('0' + digit);
        }
    }
    if (at < sizeof digits) {
        digits[--at] = '.';
    }
    do {
        digits[--at] = (char)('0' + (unsigned)(whole % 10));
        whole /= 10;
    } while (whole != 0);
    if (signbit(value)) {
        digits[--at] = '-';
    }
    size_t length = sizeof digits - at;
    memcpy(text, digits + at, length);
    text[length] = '\0';
    return length;
}

size_t number_format(char text[NUMBER_TEXT_SIZE], double value)
{
    size_t length = format_fixed(text, value);
    if (length > 0) {
        return length;
    }
    int written = 0;
    /* A normal double keeps any 15 digits; a subnormal one has fewer to keep. */
    for (int digits = isnormal(value) ? 15 : 1; digits <= 17; digits++) {
        written = snprintf(text, NUMBER_TEXT_SIZE, "%.*g", digits, value);
        if (same(strtod(text, NULL), value)) {
            break;
        }
    }
    return (size_t)written;
}
