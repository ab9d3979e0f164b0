#include "support/outside.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

enum { PATH = 64, LINE = 8192 };

static void write_file(char path[PATH], const void *bytes, size_t length)
{
    (void)snprintf(path, PATH, "/tmp/penstock-outside.XXXXXX");
    int file = mkstemp(path);
    assert_true(file >= 0);
    FILE *stream = fdopen(file, "w");
    assert_non_null(stream);
    assert_int_equal(fwrite(bytes, 1, length, stream), length);
    assert_int_equal(fclose(stream), 0);
}

static char *read_all(FILE *stream)
{
    size_t length = 0;
    size_t capacity = LINE;
    char *answer = malloc(capacity);
    assert_non_null(answer);
    for (size_t taken = 1; taken > 0; length += taken) {
        if (capacity - length < LINE) {
            capacity *= 2;
            answer = realloc(answer, capacity);
            assert_non_null(answer);
        }
        taken = fread(answer + length, 1, capacity - length - 1, stream);
    }
    answer[length] = '\0';
    return answer;
}

char *outside_run(const void *bytes, size_t length, const char *command)
{
    char path[PATH];
    char line[LINE];
    write_file(path, bytes, length);
    int written = snprintf(line, sizeof line, "exec 2>&1; FILE=%s; %s", path, command);
    assert_in_range(written, 1, LINE - 1);
    FILE *stream = popen(line, "r"); // NOLINT(bugprone-command-processor,cert-env33-c): our words
    assert_non_null(stream);
    char *answer = read_all(stream);
    int status = pclose(stream);
    (void)unlink(path);
    if (status != 0) {
        print_error("%s", answer);
        free(answer);
        fail_msg("status %d of: %s", status, command);
        return NULL;
    }
    return answer;
}

void outside_says(const void *bytes, size_t length, const char *command, const char *part)
{
    char *answer = outside_run(bytes, length, command);
    bool is_said = strstr(answer, part) != NULL;
    if (!is_said) {
        print_error("%s", answer);
    }
    free(answer);
    if (!is_said) {
        fail_msg("%s does not say: %s", command, part);
    }
}
