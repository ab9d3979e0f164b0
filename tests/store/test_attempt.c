/* Brakes on guessing: limits hold however many attempts come at once. */
#include "fixture.h"

#include "store/store_attempt.h"

#include <pthread.h>
#include <string.h>

enum { AT_ONCE = 8, EACH = 5, LIMIT = 10, HOUR_S = 3600 };

static struct attempt_count counted(unsigned char name, int most)
{
    struct attempt_count count = {.key = {name}, .most = most, .span_s = HOUR_S};
    return count;
}

static int claim(struct fixture *fixture, const struct attempt_count counts[], size_t count)
{
    int wait_s = -1;
    CHECK(fixture, attempt_claim(fixture->store, counts, count, &wait_s, &fixture->error));
    return wait_s;
}

static void attempts_are_counted_until_their_limit(void **state)
{
    struct fixture *fixture = *state;
    const struct attempt_count count = counted(1, 3);
    for (int i = 0; i < 3; i++) {
        assert_int_equal(claim(fixture, &count, 1), 0);
    }
    int wait_s = claim(fixture, &count, 1);
    assert_true(wait_s > HOUR_S - 60 && wait_s <= HOUR_S);
    CHECK(fixture, attempt_return(fixture->store, &count, 1, &fixture->error));
    assert_int_equal(claim(fixture, &count, 1), 0);
    assert_true(claim(fixture, &count, 1) > 0);
    fixture_sql(fixture, "update penstock.attempt set ends_at = now()");
    for (int i = 0; i < 3; i++) {
        assert_int_equal(claim(fixture, &count, 1), 0);
    }
    assert_true(claim(fixture, &count, 1) > 0);
}

/* Or one address could use up what is everybody's. */
static void a_refused_attempt_takes_nothing_from_others(void **state)
{
    struct fixture *fixture = *state;
    const struct attempt_count counts[] = {counted(10, 1), counted(11, 5)};
    assert_int_equal(claim(fixture, counts, 2), 0);
    for (int i = 0; i < 20; i++) {
        assert_true(claim(fixture, counts, 2) > 0);
    }
    const struct attempt_count others[] = {counted(12, 10), counted(11, 5)};
    for (int i = 0; i < 4; i++) {
        assert_int_equal(claim(fixture, others, 2), 0);
    }
    assert_true(claim(fixture, others, 2) > 0);
}

static void more_returned_than_claimed_is_none(void **state)
{
    struct fixture *fixture = *state;
    const struct attempt_count count = counted(20, 1);
    for (int i = 0; i < 3; i++) {
        CHECK(fixture, attempt_return(fixture->store, &count, 1, &fixture->error));
    }
    assert_int_equal(claim(fixture, &count, 1), 0);
    CHECK(fixture, attempt_return(fixture->store, &count, 1, &fixture->error));
    CHECK(fixture, attempt_return(fixture->store, &count, 1, &fixture->error));
    assert_int_equal(claim(fixture, &count, 1), 0);
    assert_true(claim(fixture, &count, 1) > 0);
}

/* One server each. */
struct guesser {
    const char *conninfo;
    bool reversed;
    int allowed;
    bool good;
};

static void *guess(void *argument)
{
    struct guesser *guesser = argument;
    struct store *store = store_new(guesser->conninfo);
    struct error error = {0};
    /* keys in both orders, which must not make two of them wait for each other */
    const struct attempt_count one = counted(30, 1000);
    const struct attempt_count two = counted(31, LIMIT);
    const struct attempt_count counts[] = {guesser->reversed ? two : one,
                                           guesser->reversed ? one : two};
    guesser->good = true;
    for (int i = 0; i < EACH; i++) {
        int wait_s = -1;
        guesser->good = guesser->good && attempt_claim(store, counts, 2, &wait_s, &error);
        guesser->allowed += wait_s == 0 ? 1 : 0;
    }
    store_free(store);
    return NULL;
}

static void many_at_once_stay_within_the_limit(void **state)
{
    struct fixture *fixture = *state;
    pthread_t threads[AT_ONCE];
    struct guesser guessers[AT_ONCE];
    int allowed = 0;
    for (int i = 0; i < AT_ONCE; i++) {
        guessers[i] = (struct guesser){.conninfo = fixture->owner, .reversed = i % 2 == 1};
        assert_int_equal(pthread_create(&threads[i], NULL, guess, &guessers[i]), 0);
    }
    for (int i = 0; i < AT_ONCE; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
        assert_true(guessers[i].good);
        allowed += guessers[i].allowed;
    }
    assert_int_equal(allowed, LIMIT);
}

static void what_is_over_is_cleared_away(void **state)
{
    struct fixture *fixture = *state;
    fixture_sql(fixture, "update penstock.attempt set ends_at = now() - interval '1 minute'");
    const struct attempt_count count = counted(40, 1);
    assert_int_equal(claim(fixture, &count, 1), 0);
    assert_string_equal(fixture_value(fixture, "select count(*) from penstock.attempt"), "1");
}

/* ---- known browsers ---- */

enum { MOST = 3, WAIT_S = 900, LIFE_S = 1000000 };

static bool is_known(struct fixture *fixture, const struct known_browser *browser, int *ret_wait_s)
{
    bool known = false;
    CHECK(fixture, browser_claim(fixture->store, browser, MOST, WAIT_S, &known, ret_wait_s,
                                 &fixture->error));
    return known;
}

static void a_browser_is_known_to_the_account_that_signed_in(void **state)
{
    struct fixture *fixture = *state;
    const struct known_browser browser = {.account_key = {1}, .browser_hash = {2}};
    const struct known_browser stranger = {.account_key = {1}, .browser_hash = {3}};
    const struct known_browser elsewhere = {.account_key = {4}, .browser_hash = {2}};
    int wait_s = -1;
    bool given = true;
    assert_false(is_known(fixture, &browser, &wait_s));
    CHECK(fixture, browser_is_known(fixture->store, browser.browser_hash, &given, &fixture->error));
    assert_false(given);
    CHECK(fixture, browser_trust(fixture->store, &browser, LIFE_S, &fixture->error));
    CHECK(fixture, browser_is_known(fixture->store, browser.browser_hash, &given, &fixture->error));
    assert_true(given);
    assert_true(is_known(fixture, &browser, &wait_s));
    assert_int_equal(wait_s, 0);
    assert_false(is_known(fixture, &stranger, &wait_s));
    assert_false(is_known(fixture, &elsewhere, &wait_s));
}

static void failures_in_a_row_withdraw_the_trust(void **state)
{
    struct fixture *fixture = *state;
    const struct known_browser browser = {.account_key = {5}, .browser_hash = {6}};
    int wait_s = -1;
    CHECK(fixture, browser_trust(fixture->store, &browser, LIFE_S, &fixture->error));
    for (int i = 0; i < MOST - 1; i++) {
        assert_true(is_known(fixture, &browser, &wait_s));
        assert_int_equal(wait_s, 0);
    }
    CHECK(fixture, browser_trust(fixture->store, &browser, LIFE_S, &fixture->error)); /* success */
    for (int i = 0; i < MOST; i++) {
        assert_true(is_known(fixture, &browser, &wait_s));
        assert_int_equal(wait_s, 0);
    }
    assert_true(is_known(fixture, &browser, &wait_s));
    assert_true(wait_s > WAIT_S - 60 && wait_s <= WAIT_S);
    /* the last was none after all */
    CHECK(fixture, browser_return(fixture->store, &browser, LIFE_S, &fixture->error));
    assert_true(is_known(fixture, &browser, &wait_s));
    assert_int_equal(wait_s, 0);
    assert_true(is_known(fixture, &browser, &wait_s));
    assert_true(wait_s > 0);
    fixture_sql(fixture, "update penstock.known_browser set ends_at = now() where failures > 0");
    assert_false(is_known(fixture, &browser, &wait_s)); /* a stranger now */
}

int main(void)
{
#define ATTEMPT_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        ATTEMPT_TEST(attempts_are_counted_until_their_limit),
        ATTEMPT_TEST(a_refused_attempt_takes_nothing_from_others),
        ATTEMPT_TEST(more_returned_than_claimed_is_none),
        ATTEMPT_TEST(many_at_once_stay_within_the_limit),
        ATTEMPT_TEST(what_is_over_is_cleared_away),
        ATTEMPT_TEST(a_browser_is_known_to_the_account_that_signed_in),
        ATTEMPT_TEST(failures_in_a_row_withdraw_the_trust),
    };
    return cmocka_run_group_tests_name("store: attempts", tests, fixture_setup, fixture_teardown);
}
