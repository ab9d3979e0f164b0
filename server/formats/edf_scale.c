#include "formats/edf_scale.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { PORTION = 1024, NUMBER_DECIMALS_MAX = 7, NUMBER_TEXT_MAX = 64 };

static const int CODE_MAX = INT16_MAX;
static const int CODE_MIN = INT16_MIN;
static const double EXACT_SHARE = 1e-12; /* doubles have 2e-16; some roundings add up */

enum rounding { ROUND_NEAREST, ROUND_DOWN, ROUND_UP };

/* ---- numbers of eight characters ---- */

/* Writes a number at `decimals` decimals, without zeros at the end, and without the one before the
 * point where that makes it fit. False when it does not fit. */
static bool fit_digits(double value, int decimals, char text[EDF_NUMBER_WIDTH + 1])
{
    char digits[NUMBER_TEXT_MAX];
    (void)snprintf(digits, sizeof digits, "%s%.*f", value < 0.0 ? "-" : "", decimals, fabs(value));
    size_t length = strlen(digits);
    while (decimals > 0 && digits[length - 1] == '0') {
        length--;
    }
    length -= digits[length - 1] == '.' ? 1 : 0;
    char *zero = digits + (digits[0] == '-' ? 1 : 0);
    if (length == EDF_NUMBER_WIDTH + 1 && zero[0] == '0' && zero[1] == '.') {
        memmove(zero, zero + 1, strlen(zero));
        length--;
    }
    if (length > EDF_NUMBER_WIDTH) {
        return false;
    }
    memcpy(text, digits, length);
    text[length] = '\0';
    return true;
}

/* Writes `value` with as many decimals as eight characters hold. False when even none fit. */
static bool number_text(double value, enum rounding rounding, char text[EDF_NUMBER_WIDTH + 1])
{
    int whole = fabs(value) < 1.0 ? 0 : (int)fmin(floor(log10(fabs(value))), 16.0) + 1;
    int most = NUMBER_DECIMALS_MAX - whole - (value < 0.0 ? 1 : 0);
    for (int decimals = most > 0 ? most : 0; decimals >= 0; decimals--) {
        double power = pow(10.0, decimals);
        double scaled = rint(value * power);
        if (!(fabs(scaled) < 1e17)) {
            continue;
        }
        if (rounding == ROUND_DOWN && scaled / power > value) {
            scaled -= 1.0;
        } else if (rounding == ROUND_UP && scaled / power < value) {
            scaled += 1.0;
        }
        if (fit_digits(scaled / power, decimals, text)) {
            return true;
        }
    }
    return false;
}

/* Fills in what a reader makes of the four fields; false when they say nothing. */
static bool compute_scaling(struct edf_scale *scale)
{
    struct edf_decimal pmin = {0, 0, 0.0};
    struct edf_decimal pmax = {0, 0, 0.0};
    if (!edf_decimal_parse(scale->pmin, &pmin) || !edf_decimal_parse(scale->pmax, &pmax) ||
        !islessgreater(pmin.value, pmax.value)) {
        return false;
    }
    scale->scaling = edf_scaling_of(&pmin, &pmax, scale->dmin, scale->dmax);
    return fabs(scale->scaling.scale) > 0.0;
}

/* ---- codes that stay ---- */

struct code_range {
    int64_t least;
    int64_t greatest;
    bool has_any;
};

static int64_t code_of(const struct samples *samples, size_t index)
{
    return samples->encoding == SAMPLES_INT16 ? ((const int16_t *)samples->codes)[index]
                                              : ((const int32_t *)samples->codes)[index];
}

static bool is_missing(const struct samples *samples, int64_t code)
{
    return code == (samples->encoding == SAMPLES_INT16 ? INT16_MIN : INT32_MIN);
}

static struct code_range find_codes(const struct samples *samples)
{
    struct code_range range = {INT64_MAX, INT64_MIN, false};
    for (size_t i = 0; i < samples->count; i++) {
        int64_t code = code_of(samples, i);
        if (!is_missing(samples, code)) {
            range.least = code < range.least ? code : range.least;
            range.greatest = code > range.greatest ? code : range.greatest;
            range.has_any = true;
        }
    }
    return range;
}

/* The limits of a digital range are free as long as all codes are inside: some make physical limits
 * of few characters. These are tried: the widest, those of converters, and round numbers. */
static const int bounds[] = {32767, 32760, 32000, 30000, 27000, 25000, 20000, 16384, 16383,
                             16000, 10000, 8192,  8191,  8000,  5000,  4096,  4095,  4000,
                             2048,  2047,  2000,  1024,  1023,  1000,  0};

enum { BOUND_COUNT = sizeof bounds / sizeof bounds[0] };

/* What a digital range may be. */
struct code_limits {
    int lowest;  /* dmin is not below it */
    int highest; /* dmax is not above it */
    int least;   /* codes that occur, inside dmin to dmax */
    int greatest;
};

/* Tries one digital range; keeps it in *best when it errs less. True when it is without error. */
static bool try_range(struct edf_scaling wanted, const struct code_limits *limits, int dmin,
                      int dmax, struct edf_scale *best)
{
    struct edf_scale trial = *best;
    trial.dmin = dmin;
    trial.dmax = dmax;
    if (dmin >= dmax || dmin < limits->lowest || dmin > limits->least || dmax > limits->highest ||
        dmax < limits->greatest ||
        !number_text(dmin * wanted.scale + wanted.offset, ROUND_NEAREST, trial.pmin) ||
        !number_text(dmax * wanted.scale + wanted.offset, ROUND_NEAREST, trial.pmax) ||
        !compute_scaling(&trial)) {
        return false;
    }
    double scale_error = trial.scaling.scale - wanted.scale;
    double offset_error = trial.scaling.offset - wanted.offset;
    bool is_same = !islessgreater(trial.scaling.scale, wanted.scale) &&
                   !islessgreater(trial.scaling.offset, wanted.offset);
    trial.greatest_error = fmax(fabs(limits->least * scale_error + offset_error),
                                fabs(limits->greatest * scale_error + offset_error));
    if (is_same || trial.greatest_error < best->greatest_error) {
        *best = trial;
    }
    return is_same;
}

static bool fit_range(struct edf_scaling wanted, const struct code_limits *limits,
                      struct edf_scale *scale)
{
    scale->greatest_error = (double)INFINITY;
    bool is_same = try_range(wanted, limits, CODE_MIN + 1, CODE_MAX, scale);
    for (int i = 0; i < 2 * BOUND_COUNT && !is_same; i++) {
        int dmin = -bounds[i / 2] - i % 2;
        for (int j = 0; j < BOUND_COUNT && !is_same; j++) {
            is_same = try_range(wanted, limits, dmin, bounds[j], scale);
        }
        is_same = is_same || try_range(wanted, limits, dmin, limits->greatest, scale);
    }
    for (int j = 0; j < BOUND_COUNT && !is_same; j++) {
        is_same = try_range(wanted, limits, limits->least, bounds[j], scale);
    }
    is_same = is_same || try_range(wanted, limits, limits->least, limits->greatest, scale);
    return is_same || isfinite(scale->greatest_error);
}

/* Keeps integer codes, moved by a constant where they would not fit 16 bits otherwise; false when
 * that cannot be. */
static bool keep_codes(const struct samples *samples, bool has_missing, struct edf_scale *scale)
{
    struct code_range range = find_codes(samples);
    bool is_decimal = samples->encoding == SAMPLES_DECIMAL;
    struct edf_scaling wanted = {.scale = is_decimal ? samples_decimal_value(1, samples->decimals)
                                                     : samples->scale,
                                 .offset = is_decimal ? 0.0 : samples->offset};
    if (!range.has_any) {
        range = (struct code_range){0, 0, true};
    }
    if (range.least < CODE_MIN || range.greatest > CODE_MAX) {
        if (range.greatest - range.least > 2 * (int64_t)CODE_MAX) {
            return false;
        }
        scale->shift = (int32_t)((range.least + range.greatest) / 2);
        wanted.offset += scale->shift * wanted.scale;
    }
    struct code_limits limits = {.lowest = has_missing ? CODE_MIN + 1 : CODE_MIN,
                                 .highest = CODE_MAX,
                                 .least = (int)(range.least - scale->shift),
                                 .greatest = (int)(range.greatest - scale->shift)};
    scale->missing_code = CODE_MIN;
    if (limits.least == CODE_MIN && has_missing) {
        limits.lowest = CODE_MIN;
        limits.highest = CODE_MAX - 1;
        scale->missing_code = CODE_MAX;
    }
    scale->keeps_codes = true;
    return limits.greatest <= limits.highest && fit_range(wanted, &limits, scale);
}

/* ---- values that are rounded ---- */

static void value_range(const struct samples *samples, double *ret_least, double *ret_greatest)
{
    double values[PORTION];
    *ret_least = (double)INFINITY;
    *ret_greatest = -(double)INFINITY;
    for (size_t first = 0; first < samples->count; first += PORTION) {
        size_t count = samples->count - first < PORTION ? samples->count - first : PORTION;
        samples_values(samples, first, count, values);
        for (size_t i = 0; i < count; i++) {
            *ret_least = fmin(*ret_least, values[i]);
            *ret_greatest = fmax(*ret_greatest, values[i]);
        }
    }
}

static double read_back(const struct edf_scale *scale, int code)
{
    return code * scale->scaling.scale + scale->scaling.offset;
}

static int round_to_code(const struct edf_scale *scale, double value)
{
    double code = rint((value - scale->scaling.offset) / scale->scaling.scale);
    return (int)fmax(scale->dmin, fmin(scale->dmax, code));
}

static double rounding_error(const struct edf_scale *scale, const struct samples *samples)
{
    double values[PORTION];
    double greatest = 0.0;
    for (size_t first = 0; first < samples->count; first += PORTION) {
        size_t count = samples->count - first < PORTION ? samples->count - first : PORTION;
        samples_values(samples, first, count, values);
        for (size_t i = 0; i < count; i++) {
            if (!isnan(values[i])) {
                int code = round_to_code(scale, values[i]);
                greatest = fmax(greatest, fabs(read_back(scale, code) - values[i]));
            }
        }
    }
    return greatest;
}

static bool round_values(const struct samples *samples, struct edf_scale *scale)
{
    double least = 0.0;
    double greatest = 0.0;
    value_range(samples, &least, &greatest);
    if (!isfinite(least)) {
        least = 0.0;
        greatest = 0.0;
    }
    *scale = (struct edf_scale){
        .dmin = CODE_MIN + 1, .dmax = CODE_MAX, .missing_code = CODE_MIN, .keeps_codes = false};
    /* A constant needs limits that differ; the lower one is then the value itself. */
    double room = greatest > least ? 0.0 : fmax(1.0, fabs(least) / CODE_MAX);
    return number_text(least, ROUND_DOWN, scale->pmin) &&
           number_text(greatest + room, ROUND_UP, scale->pmax) && compute_scaling(scale);
}

bool edf_scale_choose(const struct samples *samples, bool has_missing, struct edf_scale *ret_scale)
{
    struct edf_scale scale = {.keeps_codes = false};
    bool has_codes = samples->encoding == SAMPLES_INT16 || samples->encoding == SAMPLES_INT32 ||
                     samples->encoding == SAMPLES_DECIMAL;
    if (!has_codes || !keep_codes(samples, has_missing, &scale)) {
        if (!round_values(samples, &scale)) {
            return false;
        }
        scale.greatest_error = rounding_error(&scale, samples);
    }
    double most = fmax(fabs(read_back(&scale, scale.dmin)), fabs(read_back(&scale, scale.dmax)));
    scale.is_exact = scale.greatest_error <= EXACT_SHARE * most;
    *ret_scale = scale;
    return true;
}

void edf_scale_codes(const struct edf_scale *scale, const struct samples *samples, size_t first,
                     size_t count, int16_t *codes)
{
    double values[PORTION];
    for (size_t i = 0; i < count && scale->keeps_codes; i++) {
        int64_t code = code_of(samples, first + i);
        codes[i] = (int16_t)(is_missing(samples, code) ? scale->missing_code : code - scale->shift);
    }
    for (size_t done = 0; done < count && !scale->keeps_codes; done += PORTION) {
        size_t portion = count - done < PORTION ? count - done : PORTION;
        samples_values(samples, first + done, portion, values);
        for (size_t i = 0; i < portion; i++) {
            codes[done + i] =
                (int16_t)(isnan(values[i]) ? scale->missing_code : round_to_code(scale, values[i]));
        }
    }
}
