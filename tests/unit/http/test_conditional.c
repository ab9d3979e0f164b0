#include "http/conditional.h"

#include "http/http.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

struct comparison {
    const char *field;
    const char *etag;
    bool strong;
    bool weak;
};

static const struct comparison comparisons[] = {
    {"\"7\"", "\"7\"", true, true},
    {"\"7\"", "\"77\"", false, false},
    {"\"77\"", "\"7\"", false, false},
    {"*", "\"7\"", true, true},
    {" * ", "\"7\"", true, true},
    {"\"1\", \"7\"", "\"7\"", true, true},
    {"\"1\",\"7\" ,\"9\"", "\"7\"", true, true},
    {"\"1\", \"2\"", "\"7\"", false, false},
    {"\"a,b\", \"7\"", "\"7\"", true, true},
    {"\"a,b\"", "\"a\"", false, false},
    /* The table of RFC 9110 section 8.8.3.2. */
    {"W/\"1\"", "W/\"1\"", false, true},
    {"W/\"1\"", "W/\"2\"", false, false},
    {"W/\"1\"", "\"1\"", false, true},
    {"\"1\"", "\"1\"", true, true},
    {"\"1\"", "W/\"1\"", false, true},
    {"7", "\"7\"", false, false},
    {"w/\"7\"", "\"7\"", false, false},
    {"\"7", "\"7\"", false, false},
    {"**", "\"7\"", false, false},
    {"*, \"1\"", "\"7\"", false, false},
    {"", "\"7\"", false, false},
    {"\"\"", "\"\"", true, true},
};

static void compares_tags(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof comparisons / sizeof comparisons[0]; i++) {
        const struct comparison *c = &comparisons[i];
        assert_int_equal(conditional_matches(c->field, c->etag, false), c->strong);
        assert_int_equal(conditional_matches(c->field, c->etag, true), c->weak);
        assert_int_equal(http_etag_matches(c->field, c->etag), c->strong);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(compares_tags)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
