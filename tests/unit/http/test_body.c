/* What bodies that are coming in cost: memory up to a budget, then files. */
#include "http/body.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { MEBIBYTE = 1024 * 1024, PER_BODY = 8 * MEBIBYTE, BODIES = 60, LIMIT = 64 * MEBIBYTE };

static const size_t most_memory = (size_t)16 * PER_BODY;

static void append(struct body *body, const char *bytes, size_t length)
{
    assert_true(body_append(body, bytes, length));
    assert_int_equal(body->state, BODY_ACCEPTED);
    assert_true(body->budget->memory <= most_memory);
}

/* One byte of each comes: the rest is announced. */
static void announced_bodies_share_the_memory(void **state)
{
    (void)state;
    struct body_budget budget = {.memory_per_body = PER_BODY};
    struct body bodies[BODIES];
    size_t cost = (size_t)3 * MEBIBYTE;
    size_t in_memory = most_memory / cost;
    assert_in_range(in_memory, 16, BODIES - 1);
    for (size_t i = 0; i < BODIES; i++) {
        body_init(&bodies[i], &budget, LIMIT, (uint64_t)3 * MEBIBYTE);
        append(&bodies[i], "x", 1);
        assert_int_equal(bodies[i].spool_fd >= 0, i >= in_memory);
        assert_int_equal(budget.memory, (i < in_memory ? i + 1 : in_memory) * cost);
    }
    for (size_t i = 0; i < BODIES; i++) {
        const char *content = body_content(&bodies[i]);
        assert_non_null(content);
        assert_string_equal(content, "x");
        body_free(&bodies[i]);
    }
    assert_int_equal(budget.memory, 0);
    assert_int_equal(budget.spool, 0);
}

static void short_bodies_cost_their_length(void **state)
{
    (void)state;
    struct body_budget budget = {.memory_per_body = PER_BODY};
    struct body body;
    body_init(&body, &budget, LIMIT, 1000);
    append(&body, "abc", 3);
    assert_int_equal(budget.memory, 1000);
    body_free(&body);
    assert_int_equal(budget.memory, 0);
}

/* Of unknown length: by doubling, to the last byte that memory is given for, and then on to a file.
 */
static void growing_bodies_use_all_that_is_theirs(void **state)
{
    (void)state;

    enum { STEP = 99991 };

    struct body_budget budget = {.memory_per_body = PER_BODY};
    struct body body;
    char *bytes = malloc(STEP);
    assert_non_null(bytes);
    body_init(&body, &budget, LIMIT, 0);
    size_t length = 0;
    for (; length + STEP <= PER_BODY; length += STEP) {
        memset(bytes, (int)('a' + length / STEP % 26), STEP);
        append(&body, bytes, STEP);
        assert_true(body.spool_fd < 0);
        assert_true(budget.memory >= length + STEP);
    }
    append(&body, bytes, PER_BODY - length);
    assert_true(body.spool_fd < 0);
    assert_int_equal(budget.memory, PER_BODY);
    append(&body, "z", 1);
    assert_true(body.spool_fd >= 0);
    assert_int_equal(budget.memory, 0);
    assert_int_equal(budget.spool, (size_t)PER_BODY + 1);
    const char *content = body_content(&body);
    assert_non_null(content);
    for (size_t i = 0; i < length; i++) {
        assert_int_equal(content[i], 'a' + i / STEP % 26);
    }
    assert_int_equal(content[PER_BODY], 'z');
    assert_int_equal(content[PER_BODY + 1], 0);
    body_free(&body);
    assert_int_equal(budget.spool, 0);
    free(bytes);
}

static void as_long_as_memory_is_given_for_is_in_memory(void **state)
{
    (void)state;
    struct body_budget budget = {.memory_per_body = PER_BODY};
    struct body body;
    for (int longer = 0; longer < 2; longer++) {
        body_init(&body, &budget, LIMIT, (uint64_t)PER_BODY + (uint64_t)longer);
        char *bytes = calloc(1, (size_t)PER_BODY + 1);
        assert_non_null(bytes);
        append(&body, bytes, (size_t)PER_BODY + (size_t)longer);
        assert_int_equal(body.spool_fd >= 0, longer == 1);
        body_free(&body);
        free(bytes);
    }
    assert_int_equal(budget.memory, 0);
    assert_int_equal(budget.spool, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(announced_bodies_share_the_memory),
        cmocka_unit_test(short_bodies_cost_their_length),
        cmocka_unit_test(growing_bodies_use_all_that_is_theirs),
        cmocka_unit_test(as_long_as_memory_is_given_for_is_in_memory),
    };
    return cmocka_run_group_tests_name("http: body", tests, NULL, NULL);
}
