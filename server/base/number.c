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

/* Writes units * 10^-decimals without zeros at the end. At most 20 decimals. */
static size_t write_decimal(char text[NUMBER_TEXT_SIZE], bool negative, uint64_t units,
                            int decimals)
{
    char digits[NUMBER_TEXT_SIZE];
    size_t at = sizeof digits;
    for (int decimal = 0; decimal < decimals; decimal++) {
        unsigned digit = (unsigned)(units % 10);
        units /= 10;
        if (digit != 0 || at < sizeof digits) {
            digits[--at] = (char)('0' + digit);
        }
    }
    if (at < sizeof digits) {
        digits[--at] = '.';
    }
    do {
        digits[--at] = (char)('0' + (unsigned)(units % 10));
        units /= 10;
    } while (units != 0);
    if (negative) {
        digits[--at] = '-';
    }
    size_t length = sizeof digits - at;
    memcpy(text, digits + at, length);
    text[length] = '\0';
    return length;
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
    return write_decimal(text, signbit(value), (uint64_t)scaled, FIXED_DECIMALS);
}

__extension__ typedef unsigned __int128 uint128;

/* The rest of the usual range: codes times a scale, means, differences. Such a number is
 * mantissa * 2^-shift, all of it is an integer of 128 bits when multiplied by 10^decimals, and so
 * is the gap to its neighbours: the nearest decimal of 15, 16 or 17 digits is found, and whether it
 * reads back, as snprintf() and strtod() would, at a tenth of their cost. Returns 0 outside the
 * range. */
static size_t format_digits(char text[NUMBER_TEXT_SIZE], double value)
{
    enum {
        MANTISSA_BITS = 52,
        EXPONENT_BIAS = 1023,
        EXPONENT_MASK = 0x7ff,
        LEAST_DIGITS = 15,
        MOST_DIGITS = 17
    };

    double magnitude = fabs(value);
    if (!(magnitude >= 1e-3 && magnitude < 1e9)) {
        return 0;
    }
    uint64_t bits = 0;
    memcpy(&bits, &magnitude, sizeof bits);
    uint64_t hidden = UINT64_C(1) << MANTISSA_BITS;
    uint64_t mantissa = (bits & (hidden - 1)) | hidden;
    int shift = MANTISSA_BITS + EXPONENT_BIAS - (int)(bits >> MANTISSA_BITS & EXPONENT_MASK);
    int whole_digits = magnitude >= 1.0 ? 1 : magnitude >= 0.1 ? 0 : magnitude >= 0.01 ? -1 : -2;
    for (uint64_t power = 10; whole_digits > 0 && magnitude >= (double)power; power *= 10) {
        whole_digits++;
    }
    int decimals = LEAST_DIGITS - whole_digits;
    uint64_t gap = 1; /* 10^decimals */
    for (int i = 0; i < decimals; i++) {
        gap *= 10;
    }
    for (;; decimals++, gap *= 10) {
        uint128 exact = (uint128)mantissa * gap;
        uint128 half = (uint128)1 << (shift - 1);
        uint64_t units = (uint64_t)((exact + half) >> shift);
        uint128 nearest = (uint128)units << shift;
        bool is_tie = nearest - exact == half;
        if (is_tie) { /* to even, as snprintf() does */
            units &= ~UINT64_C(1);
            nearest = (uint128)units << shift;
        }
        uint128 away = nearest > exact ? nearest - exact : exact - nearest;
        /* Below a power of two the neighbour is half as far. */
        uint64_t room = nearest < exact && mantissa == hidden ? gap / 2 : gap;
        if (decimals + whole_digits == MOST_DIGITS || 2 * away < room) {
            return write_decimal(text, signbit(value), units, decimals);
        }
    }
}

size_t number_format(char text[NUMBER_TEXT_SIZE], double value)
{
    size_t length = format_fixed(text, value);
    if (length == 0) {
        length = format_digits(text, value);
    }
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

/* A product or quotient of two exact doubles is rounded once, so it is the nearest double: true of
 * integers up to 2^53 and of powers of ten up to 10^22 (Clinger 1990, "How to read floating point
 * numbers accurately", PLDI; from memory). */
bool number_from_digits(uint64_t digits, int power, double *ret_value)
{
    enum { EXACT_POWER_MAX = 22 };

    static const double powers_of_ten[EXACT_POWER_MAX + 1] = {
        1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
        1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
    };
    if (digits > UINT64_C(1) << 53 || power > EXACT_POWER_MAX || power < -EXACT_POWER_MAX) {
        return false;
    }
    double value = (double)digits;
    *ret_value = power < 0 ? value / powers_of_ten[-power] : value * powers_of_ten[power];
    return true;
}

size_t number_divide_up(size_t number, size_t divisor)
{
    return number / divisor + (number % divisor != 0 ? 1 : 0);
}
