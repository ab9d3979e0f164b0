#include "formats/edf_header.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { DECIMAL_TEXT_MAX = 16, EXPONENT_DIGITS_MAX = 3, EXACT_DECIMALS_MAX = 7 };

static const double EXACT_INTEGER_MAX = 9007199254740992.0; /* 2^53 */

static const struct {
    const char *name;
    size_t width;
} fields[EDF_FIELD_COUNT] = {
    [EDF_VERSION] = {"version", 8},
    [EDF_PATIENT] = {"patient", 80},
    [EDF_RECORDING] = {"recording", 80},
    [EDF_STARTDATE] = {"startdate", 8},
    [EDF_STARTTIME] = {"starttime", 8},
    [EDF_HEADER_BYTES] = {"header_bytes", 8},
    [EDF_RESERVED] = {"reserved", 44},
    [EDF_RECORDS] = {"record_count", 8},
    [EDF_RECORD_DURATION] = {"record_duration", 8},
    [EDF_SIGNAL_COUNT] = {"signal_count", 4},
    [EDF_LABEL] = {"label", 16},
    [EDF_TRANSDUCER] = {"transducer", 80},
    [EDF_PHYSICAL_DIMENSION] = {"physical_dimension", 8},
    [EDF_PHYSICAL_MINIMUM] = {"physical_minimum", 8},
    [EDF_PHYSICAL_MAXIMUM] = {"physical_maximum", 8},
    [EDF_DIGITAL_MINIMUM] = {"digital_minimum", 8},
    [EDF_DIGITAL_MAXIMUM] = {"digital_maximum", 8},
    [EDF_PREFILTERING] = {"prefiltering", 80},
    [EDF_SAMPLES_PER_RECORD] = {"samples_per_record", 8},
    [EDF_SIGNAL_RESERVED] = {"reserved", 32},
};

const char *edf_field_name(enum edf_field field)
{
    return fields[field].name;
}

size_t edf_field_width(enum edf_field field)
{
    return fields[field].width;
}

bool edf_field_is_of_signal(enum edf_field field)
{
    return field >= EDF_LABEL;
}

size_t edf_field_offset(enum edf_field field, size_t signal, size_t signal_count)
{
    size_t offset = 0;
    for (int before = 0; before < (int)field; before++) {
        bool is_repeated = edf_field_is_of_signal((enum edf_field)before);
        offset += fields[before].width * (is_repeated ? signal_count : 1);
    }
    return edf_field_is_of_signal(field) ? offset + signal * fields[field].width : offset;
}

static bool is_digit(char character)
{
    return character >= '0' && character <= '9';
}

/* Reads an exponent at *at, "e-3", and moves on; nothing there is an exponent of 0. */
static bool parse_exponent(const char **at, int *ret_exponent)
{
    *ret_exponent = 0;
    if (**at != 'e' && **at != 'E') {
        return true;
    }
    (*at)++;
    int sign = **at == '-' ? -1 : 1;
    *at += **at == '-' || **at == '+' ? 1 : 0;
    int count = 0;
    for (; is_digit(**at) && count < EXPONENT_DIGITS_MAX; count++, (*at)++) {
        *ret_exponent = *ret_exponent * 10 + (**at - '0');
    }
    *ret_exponent *= sign;
    return count > 0;
}

bool edf_decimal_parse(const char *text, struct edf_decimal *ret_number)
{
    if (strlen(text) > DECIMAL_TEXT_MAX) {
        return false;
    }
    const char *at = text + (*text == '-' || *text == '+' ? 1 : 0);
    int64_t digits = 0;
    int digit_count = 0;
    int decimals = 0;
    bool has_point = false;
    for (; is_digit(*at) || (*at == '.' && !has_point); at++) {
        if (*at == '.') {
            has_point = true;
            continue;
        }
        digits = digits * 10 + (*at - '0');
        digit_count++;
        decimals += has_point ? 1 : 0;
    }
    int exponent = 0;
    if (digit_count == 0 || !parse_exponent(&at, &exponent) || *at != '\0') {
        return false;
    }
    ret_number->digits = *text == '-' ? -digits : digits;
    ret_number->decimals = decimals - exponent;
    ret_number->value = strtod(text, NULL);
    return isfinite(ret_number->value);
}

bool edf_integer_parse(const char *text, int64_t *ret_number)
{
    struct edf_decimal number = {0, 0, 0.0};
    if (strpbrk(text, ".eE") != NULL || !edf_decimal_parse(text, &number)) {
        return false;
    }
    *ret_number = number.digits;
    return true;
}

static int64_t power_of_ten(int exponent)
{
    int64_t power = 1;
    for (int i = 0; i < exponent; i++) {
        power *= 10;
    }
    return power;
}

/* Digits of the number at `decimals` decimals; false when they are not few enough to be exact. */
static bool align(const struct edf_decimal *number, int decimals, int64_t *ret_digits)
{
    double power = pow(10.0, decimals);
    if (decimals > EXACT_DECIMALS_MAX || fabs(number->value) * power > EXACT_INTEGER_MAX) {
        return false;
    }
    *ret_digits =
        number->digits == 0 ? 0 : number->digits * power_of_ten(decimals - number->decimals);
    return true;
}

struct edf_scaling edf_scaling_of(const struct edf_decimal *pmin, const struct edf_decimal *pmax,
                                  int dmin, int dmax)
{
    int decimals = pmin->decimals > pmax->decimals ? pmin->decimals : pmax->decimals;
    decimals = decimals < 0 ? 0 : decimals;
    int64_t steps = (int64_t)dmax - dmin;
    int64_t low = 0;
    int64_t high = 0;
    if (align(pmin, decimals, &low) && align(pmax, decimals, &high)) {
        double span = (double)high - (double)low;
        double most = fabs((double)low) * (double)steps + fabs(span * dmin);
        if (fabs(span) <= EXACT_INTEGER_MAX && most <= EXACT_INTEGER_MAX) {
            double whole = (double)(steps * power_of_ten(decimals));
            return (struct edf_scaling){.scale = span / whole,
                                        .offset =
                                            (double)(low * steps - (high - low) * dmin) / whole};
        }
    }
    struct edf_scaling scaling = {.scale = (pmax->value - pmin->value) / (double)steps};
    scaling.offset = pmin->value - scaling.scale * dmin;
    return scaling;
}

double edf_rate_hz(size_t samples, const struct edf_decimal *duration)
{
    return (double)samples * (double)power_of_ten(duration->decimals) / (double)duration->digits;
}
