#include "formats/json_writer.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* "%.3f" of the largest double needs 309 digits before the point. */
enum { ROUNDED_TEXT_SIZE = 320 };

void json_writer_comma(struct text *out)
{
    char last = out->length == 0 ? '{' : out->data[out->length - 1];
    if (last != '{' && last != '[') {
        text_append_char(out, ',');
    }
}

void json_writer_name(struct text *out, const char *name)
{
    json_writer_comma(out);
    text_append_json_string(out, name);
    text_append_char(out, ':');
}

void json_writer_string(struct text *out, const char *name, const char *value)
{
    json_writer_name(out, name);
    text_append_json_string(out, value);
}

void json_writer_number(struct text *out, const char *name, double value)
{
    json_writer_name(out, name);
    text_append_number(out, value);
}

void json_writer_flag(struct text *out, const char *name, bool value)
{
    json_writer_name(out, name);
    text_append(out, value ? "true" : "false");
}

void json_writer_known(struct text *out, const char *name, double value)
{
    if (isfinite(value)) {
        json_writer_name(out, name);
        json_writer_rounded(out, value);
    }
}

void json_writer_rounded(struct text *out, double value)
{
    char number[ROUNDED_TEXT_SIZE];
    int length = snprintf(number, sizeof number, "%.3f", value);
    while (length > 0 && number[length - 1] == '0') {
        length--;
    }
    if (length > 0 && number[length - 1] == '.') {
        length--;
    }
    number[length] = '\0';
    text_append(out, strcmp(number, "-0") == 0 ? "0" : number);
}
