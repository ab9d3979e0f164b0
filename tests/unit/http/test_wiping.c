/* What a body with a secret, and the document parsed from it, leave in memory. */
#include "formats/json_reader.h"
#include "http/body.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>
#include <malloc.h>
#include <string.h>

static const char SECRET[] = "eight dry badgers in a row";
static const char DOCUMENT[] = "{\"name\": \"kim\", \"password\": \"eight dry badgers in a row\"}";

static int frees_with_secret;

/* The linker puts __wrap_free() in place of free(), which it then calls __real_free().
 * NOLINTBEGIN(bugprone-reserved-identifier,readability-identifier-naming) */
void __real_free(void *memory);
void __wrap_free(void *memory);

void __wrap_free(void *memory)
{
    if (memory != NULL) {
        size_t size = malloc_usable_size(memory);
        frees_with_secret += memmem(memory, size, SECRET, sizeof SECRET - 1) != NULL ? 1 : 0;
    }
    __real_free(memory);
}

/* NOLINTEND(bugprone-reserved-identifier,readability-identifier-naming) */

static int frees_of_body(bool is_secret)
{
    struct body_budget budget = {.memory_per_body = 1 << 20};
    struct body body;
    body_init(&body, &budget, 1 << 20, 0);
    body.is_secret = is_secret;
    frees_with_secret = 0;
    for (int i = 0; i < 1000; i++) { /* grows, and leaves smaller memory behind */
        assert_true(body_append(&body, SECRET, sizeof SECRET - 1));
    }
    const char *content = body_content(&body);
    assert_memory_equal(content + 999 * (sizeof SECRET - 1), SECRET, sizeof SECRET - 1);
    body_free(&body);
    assert_int_equal(budget.memory, 0);
    return frees_with_secret;
}

static void nothing_is_left_of_a_body(void **state)
{
    (void)state;
    assert_int_equal(frees_of_body(true), 0);
    assert_true(frees_of_body(false) > 0);
}

static int frees_of_document(bool is_secret)
{
    struct arena *arena = arena_new();
    struct fault_list faults;
    fault_list_init(&faults, arena);
    if (is_secret) {
        arena_keep_secret(arena);
    }
    frees_with_secret = 0;
    const json_t *value = json_reader_parse(arena, DOCUMENT, sizeof DOCUMENT - 1, &faults);
    assert_non_null(value);
    assert_string_equal(json_string_value(json_object_get(value, "password")), SECRET);
    arena_free(arena);
    return frees_with_secret;
}

static void nothing_is_left_of_a_document(void **state)
{
    (void)state;
    json_reader_library_start();
    assert_int_equal(frees_of_document(true), 0);
    assert_true(frees_of_document(false) > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_is_left_of_a_body),
        cmocka_unit_test(nothing_is_left_of_a_document),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
