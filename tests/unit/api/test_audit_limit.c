/* How often the audit takes what comes from nobody known. */
#include "api/audit_limit.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka needs the four above first */
#include <cmocka.h>

#include <stdio.h>

static void one_a_second_from_an_address(void **state)
{
    (void)state;
    static struct audit_limit limit = AUDIT_LIMIT_NEW;
    unsigned passed_over = 99;
    assert_true(audit_limit_allows(&limit, "192.0.2.1", 0.1, &passed_over));
    assert_int_equal(passed_over, 0);
    assert_false(audit_limit_allows(&limit, "192.0.2.1", 0.2, &passed_over));
    assert_false(audit_limit_allows(&limit, "192.0.2.1", 1.05, &passed_over));
    assert_true(audit_limit_allows(&limit, "192.0.2.2", 1.05, &passed_over));
    assert_int_equal(passed_over, 2);
    assert_true(audit_limit_allows(&limit, "192.0.2.1", 1.15, &passed_over));
    assert_int_equal(passed_over, 0);
}

static void twenty_a_second_from_all(void **state)
{
    (void)state;
    static struct audit_limit limit = AUDIT_LIMIT_NEW;
    int allowed = 0;
    unsigned passed_over = 0;
    for (int i = 0; i < 1000; i++) {
        char address[32];
        (void)snprintf(address, sizeof address, "2001:db8::%x", (unsigned)i);
        allowed += audit_limit_allows(&limit, address, 5.0 + i * 0.0001, &passed_over) ? 1 : 0;
    }
    assert_int_equal(allowed, 20);
    assert_true(audit_limit_allows(&limit, "2001:db8:1::1", 7.0, &passed_over));
    assert_int_equal(passed_over, 980);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_a_second_from_an_address),
        cmocka_unit_test(twenty_a_second_from_all),
    };
    return cmocka_run_group_tests_name("api: audit limit", tests, NULL, NULL);
}
