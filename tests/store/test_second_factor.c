/* Second factors: confirmed once, each step and each recovery code taken once. */
#include "fixture.h"

#include "base/clock.h"
#include "store/store_second_factor.h"

#include <string.h>

static const unsigned char sealed[] = {1, 2, 3, 4};
static const unsigned char sealed_anew[] = {5, 6, 7};

static void begin(struct fixture *fixture)
{
    fixture_begin(fixture, fixture->clinic_id);
}

static struct second_factor get(struct fixture *fixture)
{
    struct second_factor factor = {0};
    begin(fixture);
    CHECK(fixture,
          second_factor_get(fixture->store, fixture->account_id, &factor, &fixture->error));
    fixture_commit(fixture);
    return factor;
}

static bool takes_step(struct fixture *fixture, int64_t step)
{
    bool taken = false;
    begin(fixture);
    CHECK(fixture, second_factor_use_step(fixture->store, fixture->account_id, step, &taken,
                                          &fixture->error));
    fixture_commit(fixture);
    return taken;
}

static void an_enrolment_begins_anew_until_it_is_confirmed(void **state)
{
    struct fixture *fixture = *state;
    struct second_factor factor;
    begin(fixture);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                second_factor_get(fixture->store, fixture->account_id, &factor, &fixture->error));
    CHECK(fixture, second_factor_put(fixture->store, fixture->account_id, sealed, sizeof sealed,
                                     &fixture->error));
    CHECK(fixture, second_factor_put(fixture->store, fixture->account_id, sealed_anew,
                                     sizeof sealed_anew, &fixture->error));
    fixture_commit(fixture);
    factor = get(fixture);
    assert_int_equal(factor.confirmed_at_us, 0);
    assert_int_equal(factor.sealed_length, sizeof sealed_anew);
    assert_memory_equal(factor.sealed, sealed_anew, sizeof sealed_anew);
    int64_t off_us = factor.now_us - clock_now_us();
    assert_true(off_us > -60000000 && off_us < 60000000);
    assert_true(takes_step(fixture, 1000));
    assert_int_not_equal(get(fixture).confirmed_at_us, 0);
    begin(fixture);
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                second_factor_put(fixture->store, fixture->account_id, sealed, sizeof sealed,
                                  &fixture->error));
}

static void a_step_is_taken_once_and_none_before_it(void **state)
{
    struct fixture *fixture = *state;
    assert_false(takes_step(fixture, 1000));
    assert_false(takes_step(fixture, 999));
    assert_true(takes_step(fixture, 1001));
    assert_false(takes_step(fixture, 1001));
    assert_int_equal(get(fixture).last_step, 1001);
}

static bool takes_code(struct fixture *fixture, unsigned char number)
{
    unsigned char hash[SECRET_HASH_BYTES];
    bool taken = false;
    memset(hash, number, sizeof hash);
    begin(fixture);
    CHECK(fixture, second_factor_use_recovery_code(fixture->store, fixture->account_id, hash,
                                                   &taken, &fixture->error));
    fixture_commit(fixture);
    return taken;
}

static void put_codes(struct fixture *fixture, unsigned char first)
{
    unsigned char hashes[RECOVERY_CODE_COUNT][SECRET_HASH_BYTES];
    for (int i = 0; i < RECOVERY_CODE_COUNT; i++) {
        memset(hashes[i], first + i, sizeof hashes[i]);
    }
    begin(fixture);
    CHECK(fixture, second_factor_put_recovery_codes(fixture->store, fixture->account_id, hashes,
                                                    &fixture->error));
    fixture_commit(fixture);
}

static void a_recovery_code_is_taken_once(void **state)
{
    struct fixture *fixture = *state;
    assert_false(takes_code(fixture, 100));
    put_codes(fixture, 100);
    assert_int_equal(get(fixture).recovery_codes_left, RECOVERY_CODE_COUNT);
    assert_true(takes_code(fixture, 100));
    assert_false(takes_code(fixture, 100));
    assert_int_equal(get(fixture).recovery_codes_left, RECOVERY_CODE_COUNT - 1);
    put_codes(fixture, 150);
    assert_int_equal(get(fixture).recovery_codes_left, RECOVERY_CODE_COUNT);
    assert_false(takes_code(fixture, 101));
}

static void removal_takes_the_codes_along(void **state)
{
    struct fixture *fixture = *state;
    for (int i = 0; i < 2; i++) { /* the second time there is nothing left */
        begin(fixture);
        CHECK(fixture, second_factor_remove(fixture->store, fixture->account_id, &fixture->error));
        fixture_commit(fixture);
    }
    assert_false(takes_code(fixture, 151));
    assert_string_equal(fixture_value(fixture, "select count(*) from penstock.recovery_code"), "0");
}

int main(void)
{
#define FACTOR_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        FACTOR_TEST(an_enrolment_begins_anew_until_it_is_confirmed),
        FACTOR_TEST(a_step_is_taken_once_and_none_before_it),
        FACTOR_TEST(a_recovery_code_is_taken_once),
        FACTOR_TEST(removal_takes_the_codes_along),
    };
    return cmocka_run_group_tests_name("store: second factor", tests, fixture_setup,
                                       fixture_teardown);
}
