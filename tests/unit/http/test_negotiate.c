#include "http/negotiate.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void chooses_the_media_type(void **state)
{
    (void)state;
    static const char *const produces[] = {"application/json", "text/html", "text/plain", NULL};

    static const struct {
        const char *accept;
        const char *chosen;
    } cases[] = {
        {NULL, "application/json"},
        {"", "application/json"},
        {"*/*", "application/json"},
        {"text/html", "text/html"},
        {"TEXT/HTML;level=1", "text/html"},
        {"text/*", "text/html"},
        {"text/*;q=0.5, text/plain", "text/plain"},
        {"text/html;q=0.4, application/json;q=0.4", "application/json"},
        {"text/html;q=0.5, application/json;q=0.4", "text/html"},
        /* The most specific range decides, wherever it stands (RFC 9110 section 12.5.1). */
        {"*/*, application/json;q=0.1, text/*;q=0.2", "text/html"},
        {"application/json;q=0, */*", "text/html"},
        {"text/html;q=0, text/*;q=0.9, */*;q=0.1", "text/plain"},
        /* What a browser sends. */
        {"text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,*/*;q=0.8", "text/html"},
        {"image/png", NULL},
        {"application/*;q=0", NULL},
        {"*/*;q=0", NULL},
        {"application/jso", NULL},
        {"application/json2", NULL},
        {"application", "application/json"},
        {"*/*;q=high", "application/json"},
        {"text/html;q=high, text/plain", "text/plain"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const char *chosen = negotiate_media_type(cases[i].accept, produces);
        if (cases[i].chosen == NULL) {
            assert_null(chosen);
        } else {
            assert_non_null(chosen);
            assert_string_equal(chosen, cases[i].chosen);
        }
    }
}

static void ignores_the_charset_of_what_is_offered(void **state)
{
    (void)state;
    static const char *const produces[] = {"text/csv; charset=utf-8", NULL};
    assert_ptr_equal(negotiate_media_type("text/csv", produces), produces[0]);
}

static void chooses_the_coding(void **state)
{
    (void)state;

    static const struct {
        const char *field;
        enum coding coding;
    } cases[] = {
        {NULL, CODING_IDENTITY},
        {"", CODING_IDENTITY},
        {"gzip", CODING_GZIP},
        {"x-gzip", CODING_GZIP},
        {"gzip, deflate, br, zstd", CODING_ZSTD},
        {"zstd;q=0.5, gzip", CODING_GZIP},
        {"zstd;q=0, gzip", CODING_GZIP},
        {"zstd;q=0, gzip;q=0", CODING_IDENTITY},
        {"*", CODING_ZSTD},
        {"*;q=0", CODING_IDENTITY},
        {"gzip;q=0, *", CODING_ZSTD},
        {"zstd;q=0, *", CODING_GZIP},
        {"identity, gzip;q=0.5", CODING_IDENTITY},
        {"identity;q=0", CODING_IDENTITY},
        {"br", CODING_IDENTITY},
        {"gzip;q=wrong", CODING_IDENTITY},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        assert_int_equal(negotiate_coding(cases[i].field), cases[i].coding);
    }
}

static void reads_content_types(void **state)
{
    (void)state;

    static const struct {
        const char *field;
        const char *type;
    } cases[] = {
        {"application/json", "application/json"},
        {"Application/JSON; charset=utf-8", "application/json"},
        {"application/json;charset=\"UTF-8\"", "application/json"},
        {"text/csv; header=present; charset=us-ascii", "text/csv"},
        {"application/json; charset=utf-16", NULL},
        {"application/json; charset=iso-8859-1", NULL},
        {"application/json, text/html", NULL},
        {"json", NULL},
        {"/json", NULL},
        {"application/", NULL},
        {"application/json/x", NULL},
        {"application /json", NULL},
        {"", NULL},
    };
    struct arena *arena = arena_new();
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const char *type = negotiate_content_type(arena, cases[i].field);
        if (cases[i].type == NULL) {
            assert_null(type);
        } else {
            assert_non_null(type);
            assert_string_equal(type, cases[i].type);
        }
    }
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chooses_the_media_type),
        cmocka_unit_test(ignores_the_charset_of_what_is_offered),
        cmocka_unit_test(chooses_the_coding),
        cmocka_unit_test(reads_content_types),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
