#include "report/report_text.h"

#include "base/clock.h"
#include "base/number.h"

#include <math.h>
#include <string.h>

enum { STEP_DECIMALS_MAX = 3 };

struct unit_name {
    const char *ucum;
    const char *display;
};

static const struct unit_name unit_names[] = {
    {"1", ""},
    {"cm[H2O]", "cmH\u2082O"},
    {"mm[Hg]", "mmHg"},
    {"mL/cm[H2O]", "mL/cmH\u2082O"},
    {"mL/mm[Hg]", "mL/mmHg"},
    {"cm[H2O].cm", "cmH\u2082O\u00b7cm"},
    {"cm[H2O].s/mL", "cmH\u2082O\u00b7s/mL"},
    {"uV", "\u00b5V"},
    {"uV/min", "\u00b5V/min"},
    {"W/m2", "W/m\u00b2"},
    {"uW/mm2", "\u00b5W/mm\u00b2"},
};

const char *report_unit(const char *ucum)
{
    for (size_t i = 0; ucum != NULL && i < sizeof unit_names / sizeof unit_names[0]; i++) {
        if (strcmp(ucum, unit_names[i].ucum) == 0) {
            return unit_names[i].display;
        }
    }
    return ucum == NULL ? "" : ucum;
}

/* Decimals that a multiple of `step` needs: 0.1 needs one, 10 needs none. */
static int step_decimals(double step)
{
    double scaled = step;
    for (int decimals = 0; decimals < STEP_DECIMALS_MAX; decimals++) {
        if (fabs(scaled - round(scaled)) < 1e-9) {
            return decimals;
        }
        scaled *= 10.0;
    }
    return STEP_DECIMALS_MAX;
}

void report_rounded(struct text *out, double report_step, double value)
{
    double rounded = catalogue_rounded_to(report_step, value);
    if (!(fabs(rounded) > 0.0)) {
        rounded = 0.0; /* never "-0" */
    }
    text_printf(out, "%.*f", step_decimals(report_step), rounded);
}

void report_number(struct text *out, const struct catalogue_row *row, double value)
{
    report_rounded(out, row->report_step, value);
}

const char *report_entered(struct arena *arena, double value, const char *ucum)
{
    char digits[NUMBER_TEXT_SIZE];
    (void)number_format(digits, value);
    const char *unit = report_unit(ucum);
    return arena_printf(arena, unit[0] == '\0' ? "%s%s" : "%s %s", digits, unit);
}

void report_code_words(struct text *out, const char *code)
{
    for (const char *at = code; *at != '\0'; at++) {
        text_append_char(out, *at == '_' ? ' ' : *at);
    }
}

enum { DATE_LENGTH = 10, MINUTE_AT = 11, MINUTE_LENGTH = 5 };

const char *report_time(struct arena *arena, int64_t time_us)
{
    char stamp[CLOCK_TEXT_SIZE];
    clock_format(time_us, stamp);
    return arena_printf(arena, "%.*s %.*s UTC", DATE_LENGTH, stamp, MINUTE_LENGTH,
                        stamp + MINUTE_AT);
}

const char *report_date(struct arena *arena, int64_t time_us)
{
    char stamp[CLOCK_TEXT_SIZE];
    clock_format(time_us, stamp);
    return arena_printf(arena, "%.*s", DATE_LENGTH, stamp);
}

bool report_is_given(const char *words)
{
    return words != NULL && words[0] != '\0';
}
