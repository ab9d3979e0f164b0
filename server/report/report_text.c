#include "report/report_text.h"

#include "base/clock.h"
#include "base/number.h"
#include "formats/display.h"

#include <string.h>

const char *report_entered(struct arena *arena, double value, const char *ucum)
{
    char digits[NUMBER_TEXT_SIZE];
    (void)number_format(digits, value);
    const char *unit = display_unit(ucum);
    return arena_printf(arena, unit[0] == '\0' ? "%s%s" : "%s %s", digits, unit);
}

void report_code_words(struct text *out, const char *code)
{
    static const char EMG[] = "emg_";
    if (strncmp(code, EMG, strlen(EMG)) == 0) {
        text_append(out, "EMG ");
        code += strlen(EMG);
    }
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
