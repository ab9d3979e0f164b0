/* What of an address counts. The counting itself: tests/store/test_attempt.c. */
#include "auth/throttle.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

/* Documentation addresses of RFC 5737 and RFC 3849. */
static void the_customer_network_counts(void **state)
{
    (void)state;
    static const char *const CASES[][2] = {
        {"192.0.2.7", "192.0.2.7"},
        {"::ffff:192.0.2.7", "192.0.2.7"},
        {"2001:db8:0:1:2:3:4:5", "2001:db8:0:1::/64"},
        {"2001:db8:0:1::", "2001:db8:0:1::/64"},
        {"::1", "::/64"},
        {"not an address", "not an address"},
    };
    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0]; i++) {
        char network[THROTTLE_NETWORK_SIZE];
        throttle_network(CASES[i][0], network);
        assert_string_equal(network, CASES[i][1]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(the_customer_network_counts)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
