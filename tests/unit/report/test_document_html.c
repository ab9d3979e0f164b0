#include "documents.h"
#include "page.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static void test_frame(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const char *page = documents_html(documents_make(arena, "words"), arena);
    page_check_balance(page);
    page_holds(page, "<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">");
    page_holds(page, "<title>A document &amp; more</title>");
    page_holds(page, "<link rel=\"stylesheet\" href=\"/assets/penstock.css\">");
    page_holds(page, "<p class=\"document-mark\">Preliminary</p>");
    page_holds(page, "<bdi>Clinic &lt;of&gt; tests, 2026-03-02</bdi>");
    page_holds(page, "<p>Software 1, revision 2</p>");
    page_lacks(page, "<script");
    page_lacks(page, " style=");
    page_lacks(page, "document-code");
    const char *body = strstr(page, "<body");
    assert_true(strstr(page, "Example, Pat") > body);
    arena_free(arena);
}

static void test_blocks(void **state)
{
    static const char *const parts[] = {
        "<h1>Title</h1>\n<section aria-labelledby=\"part-1\">\n<h2 id=\"part-1\">First part</h2>",
        "<p><strong>Label: </strong><bdi>words</bdi><em> end</em></p>",
        "<p class=\"caution\"><bdi>words</bdi></p>",
        "<p class=\"note\">Small print.</p>",
        "<p class=\"address\"><bdi>words</bdi></p>",
        "<ul>\n<li><strong>Label: </strong><bdi>words</bdi><em> end</em></li>\n<li>",
        "<dl class=\"facts\">\n<div><dt>Name</dt><dd><bdi>words</bdi></dd></div>\n<div><dt>Age</dt>"
        "<dd>64 years</dd></div>\n</dl>",
        "<div class=\"scroll\" role=\"group\" tabindex=\"0\" aria-label=\"Values\">\n<table>\n"
        "<caption>Values</caption>\n<thead><tr><th scope=\"col\">Measure</th><th scope=\"col\" "
        "class=\"number\">Value</th>",
        "<tr><th scope=\"row\"><bdi>words</bdi></th><td class=\"number\">18</td>"
        "<td><strong>strong</strong></td></tr>",
        "<figcaption>Whole</figcaption></figure>\n</section>\n<section aria-labelledby=\"part-2\" "
        "class=\"page-break\">",
        "<div class=\"figures\">\n<figure class=\"half\"><img ",
        "<figcaption>Half</figcaption></figure>\n</div>\n</section>\n</main>",
    };
    (void)state;
    struct arena *arena = arena_new();
    const char *page = documents_html(documents_make(arena, "words"), arena);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        page_holds(page, parts[i]);
    }
    assert_int_equal(page_count(page, "<img width="), 3);
    assert_int_equal(page_count(page, " alt=\"first half\" src=\"data:image/svg+xml;base64,PD94"),
                     1);
    assert_int_equal(page_count(page, "<figure class=\"half\">"), 2);
    arena_free(arena);
}

static void test_without_mark_and_with_code(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document_facts facts = documents_facts();
    facts.mark = NULL;
    facts.code = "https://clinic.example/p/1";
    facts.code_label = "1 < 2";
    const char *page = documents_html(document_new(arena, &facts), arena);
    page_check_balance(page);
    page_lacks(page, "document-mark");
    page_holds(page, "<p class=\"document-code\"><img width=\"91\" height=\"91\" alt=");
    page_holds(page, "<span>1 &lt; 2</span></p>");
    facts.code = arena_printf(arena, "%*s", 5000, "too long for a code");
    page_lacks(documents_html(document_new(arena, &facts), arena), "document-code");
    arena_free(arena);
}

/* Nothing that was typed begins or ends an element, and nothing can reorder what stands around. */
static void test_hostile_words(void **state)
{
    (void)state;
    for (size_t i = 0; DOCUMENTS_HOSTILE[i] != NULL; i++) {
        struct arena *arena = arena_new();
        const char *page = documents_html(documents_make(arena, DOCUMENTS_HOSTILE[i]), arena);
        page_check_balance(page);
        page_lacks(page, "<script");
        assert_int_equal(page_count(page, "<bdi>"), page_count(page, "</bdi>"));
        assert_int_equal(page_count(page, "<h3>"), 1);
        arena_free(arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_frame),
        cmocka_unit_test(test_blocks),
        cmocka_unit_test(test_without_mark_and_with_code),
        cmocka_unit_test(test_hostile_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
