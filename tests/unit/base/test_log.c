#include "base/log.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include <cmocka.h>

enum { CAPTURED_SIZE = 16384 };

struct capture {
    int saved;
    int file;
    char text[CAPTURED_SIZE];
};

/* Turns standard error into a file for the while. */
static void begin(struct capture *capture)
{
    capture->saved = dup(STDERR_FILENO);
    capture->file = memfd_create("captured", 0);
    assert_true(capture->saved >= 0 && capture->file >= 0);
    assert_int_equal(dup2(capture->file, STDERR_FILENO), STDERR_FILENO);
}

static const char *end(struct capture *capture)
{
    assert_int_equal(dup2(capture->saved, STDERR_FILENO), STDERR_FILENO);
    ssize_t length = pread(capture->file, capture->text, CAPTURED_SIZE - 1, 0);
    assert_true(length >= 0);
    capture->text[length] = '\0';
    assert_int_equal(close(capture->file), 0);
    assert_int_equal(close(capture->saved), 0);
    return capture->text;
}

/* The line behind its time, which is checked for form. */
static const char *after_time(const char *line)
{
    static const char start[] = "{\"time\":\"20";
    assert_memory_equal(line, start, sizeof start - 1);
    const char *rest = strchr(line, ',');
    assert_non_null(rest);
    return rest;
}

static void writes_one_object_a_line(void **state)
{
    (void)state;
    struct capture capture;
    const struct log_field fields[] = {{"route", "/v1/studies/{id}", 0}, {"status", NULL, 200}};
    begin(&capture);
    log_event(LOG_LEVEL_INFO, "request", fields, 2);
    log_message(LOG_LEVEL_WARNING, "slow", "%d ms", 12);
    const char *text = end(&capture);
    const char *second = strchr(text, '\n');
    assert_non_null(second);
    static const char first[] =
        ",\"level\":\"info\",\"event\":\"request\",\"route\":\"/v1/studies/{id}\","
        "\"status\":200}\n{";
    assert_memory_equal(after_time(text), first, sizeof first - 1);
    assert_string_equal(after_time(second + 1),
                        ",\"level\":\"warning\",\"event\":\"slow\",\"detail\":\"12 ms\"}\n");
}

static void escapes_what_would_break_the_line(void **state)
{
    (void)state;
    struct capture capture;
    begin(&capture);
    log_message(LOG_LEVEL_ERROR, "odd", "a\n\"b\"\\ \x01 é \xC3");
    const char *text = end(&capture);
    assert_string_equal(after_time(text),
                        ",\"level\":\"error\",\"event\":\"odd\",\"detail\":"
                        "\"a\\u000a\\u0022b\\u0022\\u005c \\u0001 é \\ufffd\"}\n");
}

static void writes_null_for_what_is_no_number(void **state)
{
    (void)state;
    struct capture capture;
    const struct log_field fields[] = {{"x", NULL, (double)NAN}, {"y", NULL, (double)INFINITY}};
    begin(&capture);
    log_event(LOG_LEVEL_INFO, "n", fields, 2);
    const char *text = end(&capture);
    assert_string_equal(after_time(text),
                        ",\"level\":\"info\",\"event\":\"n\",\"x\":null,\"y\":null}\n");
}

static void cuts_a_long_line_and_keeps_it_well_formed(void **state)
{
    (void)state;
    char longest[8001];
    for (size_t length = 3800; length <= 8000; length += 200) {
        memset(longest, '"', length);
        longest[length] = '\0';
        const struct log_field fields[] = {{"long", longest, 0}, {"after", "x", 0}};
        struct capture capture;
        begin(&capture);
        log_event(LOG_LEVEL_INFO, "n", fields, 2);
        const char *text = end(&capture);
        size_t written = strlen(text);
        assert_in_range(written, 3000, 4096);
        assert_string_equal(text + written - 3, "\"}\n");
    }
}

static void drops_what_is_below_its_level(void **state)
{
    (void)state;
    struct capture capture;
    begin(&capture);
    log_message(LOG_LEVEL_DEBUG, "hidden", "at first");
    log_set_level(LOG_LEVEL_ERROR);
    log_message(LOG_LEVEL_WARNING, "hidden", "later");
    log_set_level(LOG_LEVEL_DEBUG);
    log_message(LOG_LEVEL_DEBUG, "seen", "now");
    log_set_level(LOG_LEVEL_INFO);
    const char *text = end(&capture);
    assert_null(strstr(text, "hidden"));
    assert_non_null(strstr(text, "\"event\":\"seen\""));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(writes_one_object_a_line),
        cmocka_unit_test(escapes_what_would_break_the_line),
        cmocka_unit_test(writes_null_for_what_is_no_number),
        cmocka_unit_test(cuts_a_long_line_and_keeps_it_well_formed),
        cmocka_unit_test(drops_what_is_below_its_level),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
