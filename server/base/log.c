#include "base/log.h"

#include "base/clock.h"
#include "base/utf8.h"

#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { LINE_SIZE = 4096, DETAIL_SIZE = 1024, CLOSING = 4 };

/* The one setting that every thread reads: set at start, before the threads. */
static atomic_int least_level = LOG_LEVEL_INFO;

struct line {
    char data[LINE_SIZE];
    size_t length;
};

void log_set_level(enum log_level level)
{
    atomic_store_explicit(&least_level, (int)level, memory_order_relaxed);
}

static const char *level_name(enum log_level level)
{
    switch (level) {
    case LOG_LEVEL_DEBUG:
        return "debug";
    case LOG_LEVEL_INFO:
        return "info";
    case LOG_LEVEL_WARNING:
        return "warning";
    case LOG_LEVEL_ERROR:
        break;
    }
    return "error";
}

/* False when the line is full; what is already there stays well-formed, since a string is closed by
 * add_string() and the space for that and for the end of the object is kept back. */
static bool add(struct line *line, const char *bytes, size_t length)
{
    if (line->length + length > LINE_SIZE - CLOSING) {
        return false;
    }
    memcpy(line->data + line->length, bytes, length);
    line->length += length;
    return true;
}

static bool add_character(struct line *line, const char *at, size_t size)
{
    char escape[8];
    unsigned char byte = (unsigned char)*at;
    if (size == 0) {
        return add(line, "\\ufffd", 6);
    }
    if (size == 1 && (byte < 0x20 || byte == 0x7F || byte == '"' || byte == '\\')) {
        (void)snprintf(escape, sizeof escape, "\\u%04x", (unsigned)byte);
        return add(line, escape, 6);
    }
    return add(line, at, size);
}

static void add_string(struct line *line, const char *text)
{
    size_t left = strlen(text);
    if (!add(line, "\"", 1)) {
        return;
    }
    while (left > 0) {
        size_t size = utf8_sequence(text, left);
        if (!add_character(line, text, size)) {
            break;
        }
        size_t step = size == 0 ? 1 : size;
        text += step;
        left -= step;
    }
    line->data[line->length++] = '"';
}

static void add_field(struct line *line, const struct log_field *field)
{
    char number[40];
    size_t room = strlen(field->name) + sizeof number + 8;
    if (line->length + room > LINE_SIZE - CLOSING) {
        return;
    }
    (void)add(line, ",", 1);
    add_string(line, field->name);
    (void)add(line, ":", 1);
    if (field->text != NULL) {
        add_string(line, field->text);
        return;
    }
    if (!isfinite(field->number)) {
        (void)add(line, "null", 4);
        return;
    }
    int length = snprintf(number, sizeof number, "%.12g", field->number);
    (void)add(line, number, (size_t)length);
}

static void write_line(struct line *line)
{
    line->data[line->length++] = '}';
    line->data[line->length++] = '\n';
    ssize_t written = 0;
    do {
        written = write(STDERR_FILENO, line->data, line->length);
    } while (written < 0 && errno == EINTR);
}

void log_event(enum log_level level, const char *event, const struct log_field *fields,
               size_t field_count)
{
    if ((int)level < atomic_load_explicit(&least_level, memory_order_relaxed)) {
        return;
    }
    int saved_errno = errno;
    char time[CLOCK_TEXT_SIZE];
    clock_format(clock_now_us(), time);
    struct line line;
    line.length = 0;
    (void)add(&line, "{\"time\":", 8);
    add_string(&line, time);
    struct log_field start[] = {{"level", level_name(level), 0}, {"event", event, 0}};
    add_field(&line, &start[0]);
    add_field(&line, &start[1]);
    for (size_t i = 0; i < field_count; i++) {
        add_field(&line, &fields[i]);
    }
    write_line(&line);
    errno = saved_errno;
}

void log_message(enum log_level level, const char *event, const char *format, ...)
{
    if ((int)level < atomic_load_explicit(&least_level, memory_order_relaxed)) {
        return;
    }
    char detail[DETAIL_SIZE];
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(detail, sizeof detail, format, arguments);
    va_end(arguments);
    struct log_field field = {"detail", detail, 0};
    log_event(level, event, &field, 1);
}
