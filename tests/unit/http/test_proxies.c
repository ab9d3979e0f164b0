/* Which addresses are proxies of ours, and whom X-Forwarded-For then names. */
#include "http/proxies.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static struct proxies *read_list(const char *text)
{
    struct proxies *proxies = NULL;
    struct error error = {0};
    if (!proxies_new(text, &proxies, &error)) {
        fail_msg("%s: %s", text, error.detail);
    }
    return proxies;
}

static void holds_addresses_and_networks(void **state)
{
    (void)state;

    static const struct {
        const char *list;
        const char *address;
        bool held;
    } cases[] = {
        {"", "127.0.0.1", false},
        {"127.0.0.1", "127.0.0.1", true},
        {"127.0.0.1", "127.0.0.2", false},
        {"127.0.0.1", "::1", false},
        {" 127.0.0.1 ,\t10.1.0.0/16 ", "10.1.255.255", true},
        {"127.0.0.1,10.1.0.0/16", "10.2.0.0", false},
        {"10.128.0.0/9", "10.129.3.4", true},
        {"10.128.0.0/9", "10.127.255.255", false},
        {"192.0.2.7/32", "192.0.2.7", true},
        {"192.0.2.6/31", "192.0.2.7", true},
        {"192.0.2.6/31", "192.0.2.8", false},
        {"0.0.0.0/0", "203.0.113.9", true},
        {"0.0.0.0/0", "2001:db8::1", false},
        {"2001:db8::/32", "2001:db8:ffff::1", true},
        {"2001:db8::/32", "2001:db9::1", false},
        {"fd00::/8", "fdff::1", true},
        {"fd00::/8", "fe00::1", false},
        {"::1", "::1", true},
        {"::1", "0:0:0:0:0:0:0:1", true},
        {"::/0", "2001:db8::1", true},
        {"10.0.0.0/8", "::ffff:10.1.2.3", true},
        {"::ffff:10.0.0.0/104", "10.1.2.3", true},
        {"10.0.0.0/8", "10.1.2", false},
        {"10.0.0.0/8", "", false},
        {"10.0.0.0/8", "unknown", false},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct proxies *proxies = read_list(cases[i].list);
        if (proxies_hold(proxies, cases[i].address) != cases[i].held) {
            fail_msg("%s in \"%s\"", cases[i].address, cases[i].list);
        }
        proxies_free(proxies);
    }
}

static void refuses_lists_that_mean_nothing(void **state)
{
    (void)state;
    static const char *const lists[] = {
        "proxy.example",  "10.0.0.0/33",   "10.0.0.0/",     "10.0.0.0/-1", "10.0.0.0/8/8",
        "10.0.0.0/0x8",   "10.0.0.0/008.", "10.1.2.3/16",   "::1/129",     "2001:db8::1/32",
        "10.0.0.0/99999", "10.0.0",        "127.0.0.1;::1", "[::1]",       "*",
    };
    for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++) {
        struct proxies *proxies = NULL;
        struct error error = {0};
        if (proxies_new(lists[i], &proxies, &error)) {
            fail_msg("\"%s\" was taken", lists[i]);
        }
        assert_int_equal(error.kind, ERROR_INVALID);
        assert_non_null(strstr(error.detail, "is no numeric address or network"));
    }
}

static void finds_the_rightmost_that_is_no_proxy(void **state)
{
    (void)state;

    static const struct {
        const char *field;
        const char *client;
    } cases[] = {
        {NULL, "10.0.0.1"},
        {"", "10.0.0.1"},
        {"192.0.2.1", "192.0.2.1"},
        {"192.0.2.9, 192.0.2.1", "192.0.2.1"},
        {"10.9.9.9, 192.0.2.1", "192.0.2.1"},
        {"192.0.2.1, 10.0.0.2", "192.0.2.1"},
        {"198.51.100.1, 192.0.2.1,10.0.0.2 , 10.0.0.3", "192.0.2.1"},
        {"10.0.0.3, 10.0.0.2", "10.0.0.3"},
        {"2001:db8::1", "2001:db8::1"},
        {"2001:DB8:0::1, fd00::7", "2001:db8::1"},
        {"[2001:db8::1]", "2001:db8::1"},
        {"[2001:db8::1]:4711", "2001:db8::1"},
        {"192.0.2.1:4711", "192.0.2.1"},
        {"::ffff:192.0.2.1", "192.0.2.1"},
        /* nothing beyond an entry that says nothing */
        {"192.0.2.1, unknown", "10.0.0.1"},
        {"192.0.2.1, ", "10.0.0.1"},
        {"192.0.2.1, _hidden, 10.0.0.2", "10.0.0.2"},
        {"192.0.2.1, 10.0.0.2, <script>", "10.0.0.1"},
        {"192.0.2.256", "10.0.0.1"},
        {"[2001:db8::1", "10.0.0.1"},
        {"1111:2222:3333:4444:5555:6666:7777:8888:9999:aaaa:bbbb:cccc:dddd", "10.0.0.1"},
    };
    struct proxies *proxies = read_list("10.0.0.0/8, fd00::/8");
    struct arena *arena = arena_new();
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        assert_string_equal(proxies_client(proxies, arena, "10.0.0.1", cases[i].field),
                            cases[i].client);
    }
    arena_free(arena);
    proxies_free(proxies);
}

static void counts_a_site_as_one(void **state)
{
    (void)state;

    static const struct {
        const char *address;
        const char *site;
    } cases[] = {
        {"192.0.2.1", "192.0.2.1"},
        {"2001:db8:1:2:3:4:5:6", "2001:db8:1:2::"},
        {"2001:db8:1:2::", "2001:db8:1:2::"},
        {"::ffff:192.0.2.1", "::ffff:192.0.2.1"},
        {"", ""},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char site[PROXIES_SITE_SIZE];
        proxies_site(cases[i].address, site);
        assert_string_equal(site, cases[i].site);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(holds_addresses_and_networks),
        cmocka_unit_test(refuses_lists_that_mean_nothing),
        cmocka_unit_test(finds_the_rightmost_that_is_no_proxy),
        cmocka_unit_test(counts_a_site_as_one),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
