#include "json_out.h"

#include <inttypes.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

enum { PATH_SIZE = 4096 };

bool json_out_open(struct json_out *out, const char *directory, const char *name)
{
    char path[PATH_SIZE];
    int length = snprintf(path, sizeof path, "%s/%s", directory, name);
    memset(out, 0, sizeof *out);
    if (length < 0 || (size_t)length >= sizeof path) {
        (void)fprintf(stderr, "penstock-demo-data: path too long: %s\n", name);
        return false;
    }
    out->file = fopen(path, "we");
    if (out->file == NULL) {
        perror(path);
        return false;
    }
    return true;
}

bool json_out_close(struct json_out *out, const char *name)
{
    (void)fputc('\n', out->file);
    bool failed = ferror(out->file) != 0;
    failed = fclose(out->file) != 0 || failed;
    out->file = NULL;
    if (failed) {
        (void)fprintf(stderr, "penstock-demo-data: could not write %s\n", name);
    }
    return !failed;
}

static void write_text(struct json_out *out, const char *text)
{
    (void)fputc('"', out->file);
    for (const char *c = text; *c != '\0'; c++) {
        if (*c == '"' || *c == '\\') {
            (void)fputc('\\', out->file);
        }
        (void)fputc(*c, out->file);
    }
    (void)fputc('"', out->file);
}

static void begin_value(struct json_out *out, const char *key)
{
    if (out->depth > 0) {
        (void)fputs(out->filled[out->depth] ? ",\n" : "\n", out->file);
        out->filled[out->depth] = true;
        (void)fprintf(out->file, "%*s", out->depth, "");
    }
    if (key != NULL) {
        write_text(out, key);
        (void)fputc(':', out->file);
    }
}

static void begin_container(struct json_out *out, const char *key, char bracket)
{
    begin_value(out, key);
    (void)fputc(bracket, out->file);
    out->depth++;
    out->filled[out->depth] = false;
}

void json_out_object(struct json_out *out, const char *key)
{
    begin_container(out, key, '{');
}

void json_out_array(struct json_out *out, const char *key)
{
    begin_container(out, key, '[');
}

void json_out_end_object(struct json_out *out)
{
    out->depth--;
    (void)fputc('}', out->file);
}

void json_out_end_array(struct json_out *out)
{
    out->depth--;
    (void)fputc(']', out->file);
}

void json_out_string(struct json_out *out, const char *key, const char *value)
{
    begin_value(out, key);
    write_text(out, value);
}

void json_out_bool(struct json_out *out, const char *key, bool value)
{
    begin_value(out, key);
    (void)fputs(value ? "true" : "false", out->file);
}

/* Through an integer, so that no digit depends on how a C library rounds. */
static void write_number(FILE *file, double value, int decimals)
{
    int64_t power = 1;
    for (int i = 0; i < decimals; i++) {
        power *= 10;
    }
    int64_t whole = llround(value * (double)power);
    while (decimals > 0 && whole % 10 == 0) {
        whole /= 10;
        power /= 10;
        decimals--;
    }
    int64_t size = whole < 0 ? -whole : whole;
    (void)fprintf(file, "%s%" PRId64, whole < 0 ? "-" : "", size / power);
    if (decimals > 0) {
        (void)fprintf(file, ".%0*" PRId64, decimals, size % power);
    }
}

void json_out_number(struct json_out *out, const char *key, double value, int decimals)
{
    begin_value(out, key);
    write_number(out->file, value, decimals);
}

void json_out_samples(struct json_out *out, const char *key, const double *values, size_t count,
                      int decimals)
{
    begin_value(out, key);
    (void)fputc('[', out->file);
    for (size_t i = 0; i < count; i++) {
        if (i > 0) {
            (void)fputc(',', out->file);
        }
        if (isnan(values[i])) {
            (void)fputs("null", out->file);
        } else {
            write_number(out->file, values[i], decimals);
        }
    }
    (void)fputc(']', out->file);
}

static uint16_t code_of(double value, double scale)
{
    if (isnan(value)) {
        return 0x8000U;
    }
    double code = fmin(fmax(round(value / scale), -32767.0), 32767.0);
    return (uint16_t)(int16_t)code;
}

void json_out_codes(struct json_out *out, const char *key, const double *values, size_t count,
                    double scale)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    size_t bytes = count * 2;
    begin_value(out, key);
    (void)fputc('"', out->file);
    for (size_t at = 0; at < bytes; at += 3) {
        uint32_t group = 0;
        size_t held = bytes - at < 3 ? bytes - at : 3;
        for (size_t i = 0; i < 3; i++) {
            uint32_t byte = 0;
            if (i < held) {
                uint32_t code = code_of(values[(at + i) / 2], scale);
                byte = (at + i) % 2 == 0 ? code & 0xFFU : code >> 8U;
            }
            group = (group << 8U) | byte;
        }
        for (size_t i = 0; i < 4; i++) {
            uint32_t digit = (group >> (18U - 6U * (uint32_t)i)) & 63U;
            (void)fputc(i <= held ? digits[digit] : '=', out->file);
        }
    }
    (void)fputc('"', out->file);
}
