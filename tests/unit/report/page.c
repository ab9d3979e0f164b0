#include "page.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

void page_holds(const char *page, const char *part)
{
    if (strstr(page, part) == NULL) {
        fail_msg("the page lacks: %s\n%s", part, page);
    }
}

void page_lacks(const char *page, const char *part)
{
    if (strstr(page, part) != NULL) {
        fail_msg("the page holds: %s", part);
    }
}

size_t page_count(const char *page, const char *part)
{
    size_t count = 0;
    for (const char *at = strstr(page, part); at != NULL; at = strstr(at + 1, part)) {
        count++;
    }
    return count;
}

enum { DEPTH_MAX = 32, NAME_MAX_LENGTH = 16 };

struct open_elements {
    size_t depth;
    char names[DEPTH_MAX][NAME_MAX_LENGTH];
};

static void check_tag(struct open_elements *open, const char *tag)
{
    bool is_end = tag[1] == '/';
    const char *name = tag + (is_end ? 2 : 1);
    size_t length = strspn(name, "abcdefghijklmnopqrstuvwxyz0123456789");
    assert_in_range(length, 1, NAME_MAX_LENGTH - 1);
    if (is_end) {
        assert_true(open->depth > 0);
        open->depth--;
        assert_int_equal(strlen(open->names[open->depth]), length);
        assert_memory_equal(open->names[open->depth], name, length);
        return;
    }
    bool is_void = strncmp(name, "meta", 4) == 0 || strncmp(name, "link", 4) == 0 ||
                   strncmp(name, "img", 3) == 0 || strncmp(name, "br", 2) == 0;
    if (!is_void) {
        assert_true(open->depth < DEPTH_MAX);
        memcpy(open->names[open->depth], name, length);
        open->names[open->depth][length] = '\0';
        open->depth++;
    }
}

void page_check_balance(const char *page)
{
    static const char doctype[] = "<!doctype html>\n";
    struct open_elements open = {0};
    assert_memory_equal(page, doctype, strlen(doctype));
    const char *at = page + strlen(doctype);
    for (at = strpbrk(at, "<>"); at != NULL; at = strpbrk(at, "<>")) {
        assert_int_equal(*at, '<');
        check_tag(&open, at);
        at = strpbrk(at + 1, "<>");
        assert_non_null(at);
        assert_int_equal(*at, '>');
        at++;
    }
    assert_int_equal(open.depth, 0);
}
