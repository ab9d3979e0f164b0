#include "report/report_text.h"

#include "base/clock.h"
#include "formats/display.h"

void report_person_text(struct text *out, const char *words)
{
    text_append(out, "<bdi>");
    text_append_html(out, words);
    text_append(out, "</bdi>");
}

void report_code_words(struct text *out, const char *code)
{
    char *words = arena_strdup(out->arena, code);
    for (char *at = words; *at != '\0'; at++) {
        *at = *at == '_' ? ' ' : *at;
    }
    text_append_html(out, words);
}

void report_time(struct text *out, int64_t time_us)
{
    enum { DATE_LENGTH = 10, MINUTE_AT = 11, MINUTE_LENGTH = 5 };

    char stamp[CLOCK_TEXT_SIZE];
    clock_format(time_us, stamp);
    text_printf(out, "<time datetime=\"%s\">%.*s %.*s UTC</time>", stamp, DATE_LENGTH, stamp,
                MINUTE_LENGTH, stamp + MINUTE_AT);
}

void report_fact(struct text *out, const char *term, const char *words)
{
    if (words == NULL || words[0] == '\0') {
        return;
    }
    text_printf(out, "<div><dt>%s</dt><dd>", term);
    report_person_text(out, words);
    text_append(out, "</dd></div>\n");
}

void report_fact_number(struct text *out, const char *term, struct optional_number number,
                        const char *ucum)
{
    if (!number.known) {
        return;
    }
    text_printf(out, "<div><dt>%s</dt><dd>", term);
    text_append_number(out, number.value);
    text_printf(out, " <span class=\"unit\">%s</span></dd></div>\n", display_unit(ucum));
}
