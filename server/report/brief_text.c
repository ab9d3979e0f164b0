#include "report/brief_text.h"

#include "base/clock.h"
#include "report/report_labels.h"
#include "report/report_text.h"

#include <string.h>

void brief_person(struct text *out, const char *words)
{
    text_append(out, "<bdi>");
    text_append_html(out, words == NULL ? "" : words);
    text_append(out, "</bdi>");
}

void brief_code_words(struct text *out, const char *code)
{
    struct text words;
    text_init(&words, out->arena, out->limit);
    report_code_words(&words, code);
    text_append_html(out, words.data);
}

void brief_time(struct text *out, int64_t time_us)
{
    char stamp[CLOCK_TEXT_SIZE];
    clock_format(time_us, stamp);
    text_printf(out, "<time datetime=\"%s\">%s</time>", stamp, report_time(out->arena, time_us));
}

void brief_fact(struct text *out, const char *term, const char *words)
{
    if (words == NULL || words[0] == '\0') {
        return;
    }
    text_printf(out, "<div><dt>%s</dt><dd>", term);
    brief_person(out, words);
    text_append(out, "</dd></div>\n");
}

void brief_label(const char *section, const char *code, struct text *out)
{
    struct text words;
    text_init(&words, out->arena, out->limit);
    report_label(section, strlen(section), code, &words);
    text_append_html(out, words.data);
}

void brief_doubts(const json_t *codes, const char *separator, struct text *out)
{
    for (size_t i = 0; i < json_array_size(codes); i++) {
        const char *code = json_string_value(json_array_get(codes, i));
        text_append(out, i == 0 ? separator : ", ");
        text_append(out, i == 0 ? "<strong class=\"doubt\">doubtful: " : "");
        brief_code_words(out, code == NULL ? "" : code);
    }
    text_append(out, json_array_size(codes) > 0 ? "</strong>" : "");
}
