#include "http/parking.h"

#include "base/clock.h"

#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

enum { PATIENCE_S = 20, CARS = 6, FAR_S = 3600 };

/* Notes who comes back, in which order. */
struct yard {
    pthread_mutex_t lock;
    pthread_cond_t changed;
    struct parking *parking;
    size_t back;
    char order[CARS + 1];
    bool too_early;
};

struct car {
    struct job job; /* first */
    struct parked parked;
    char name;
};

static void wake(void *context, struct job *job)
{
    struct yard *yard = context;
    struct car *car = (struct car *)(void *)job;
    (void)pthread_mutex_lock(&yard->lock);
    yard->order[yard->back++] = car->name;
    yard->too_early = yard->too_early || clock_monotonic_s() < car->parked.due_s;
    (void)pthread_cond_broadcast(&yard->changed);
    (void)pthread_mutex_unlock(&yard->lock);
}

static void begin(struct yard *yard, struct car cars[CARS], size_t places, size_t per_address)
{
    memset(yard, 0, sizeof *yard);
    memset(cars, 0, CARS * sizeof cars[0]);
    (void)pthread_mutex_init(&yard->lock, NULL);
    (void)pthread_cond_init(&yard->changed, NULL);
    for (size_t i = 0; i < CARS; i++) {
        cars[i].name = (char)('a' + i);
        cars[i].parked.job = &cars[i].job;
        cars[i].parked.address = "10.0.0.1";
    }
    const struct parking_options options = {
        .places = places, .places_per_address = per_address, .context = yard, .wake = wake};
    struct error error = {ERROR_NONE, ""};
    assert_true(parking_new(&options, &yard->parking, &error));
}

static void await_back(struct yard *yard, size_t count)
{
    struct timespec end;
    assert_int_equal(clock_gettime(CLOCK_REALTIME, &end), 0);
    end.tv_sec += PATIENCE_S;
    (void)pthread_mutex_lock(&yard->lock);
    int waited = 0;
    while (yard->back < count && waited == 0) {
        waited = pthread_cond_timedwait(&yard->changed, &yard->lock, &end);
    }
    size_t back = yard->back;
    (void)pthread_mutex_unlock(&yard->lock);
    assert_int_equal(back, count);
}

static void end(struct yard *yard, struct car cars[CARS])
{
    for (size_t i = 0; i < CARS; i++) {
        parking_release(yard->parking, &cars[i].parked);
    }
    parking_free(yard->parking);
    (void)pthread_cond_destroy(&yard->changed);
    (void)pthread_mutex_destroy(&yard->lock);
}

static void wakes_in_order_of_due_time(void **state)
{
    (void)state;
    static const double after_s[CARS] = {0.75, 0.55, 0.8, 0.7, 0.6, 0.65};
    struct yard yard;
    struct car cars[CARS];
    begin(&yard, cars, CARS, CARS);
    double now_s = clock_monotonic_s();
    for (size_t i = 0; i < CARS; i++) {
        assert_true(parking_hold(yard.parking, &cars[i].parked));
        parking_put(yard.parking, &cars[i].parked, now_s + after_s[i]);
    }
    await_back(&yard, CARS);
    assert_string_equal(yard.order, "befdac");
    assert_false(yard.too_early);
    end(&yard, cars);
}

/* The thread sleeps until the farther one is due, and must be told of the nearer one. */
static void wakes_one_that_is_due_before_the_others(void **state)
{
    (void)state;
    struct yard yard;
    struct car cars[CARS];
    begin(&yard, cars, CARS, CARS);
    double now_s = clock_monotonic_s();
    assert_true(parking_hold(yard.parking, &cars[0].parked));
    assert_true(parking_hold(yard.parking, &cars[1].parked));
    parking_put(yard.parking, &cars[0].parked, now_s + FAR_S);
    parking_put(yard.parking, &cars[1].parked, now_s + 0.05);
    await_back(&yard, 1);
    assert_string_equal(yard.order, "b");
    parking_put(yard.parking, &cars[1].parked, now_s); /* again, and overdue */
    await_back(&yard, 2);
    assert_string_equal(yard.order, "bb");
    parking_close(yard.parking);
    assert_string_equal(yard.order, "bba");
    end(&yard, cars);
}

static void bounds_the_places(void **state)
{
    (void)state;
    struct yard yard;
    struct car cars[CARS];
    begin(&yard, cars, 4, 3);
    cars[4].parked.address = "10.0.0.2";
    cars[5].parked.address = "10.0.0.2";
    for (size_t i = 0; i < 3; i++) {
        assert_true(parking_hold(yard.parking, &cars[i].parked));
        assert_true(parking_hold(yard.parking, &cars[i].parked)); /* has one already */
    }
    assert_false(parking_hold(yard.parking, &cars[3].parked)); /* its address has no more */
    assert_true(parking_hold(yard.parking, &cars[4].parked));
    assert_false(parking_hold(yard.parking, &cars[5].parked)); /* nobody has */
    parking_release(yard.parking, &cars[3].parked);            /* holds none */
    assert_false(parking_hold(yard.parking, &cars[5].parked));
    parking_release(yard.parking, &cars[0].parked);
    assert_true(parking_hold(yard.parking, &cars[5].parked));
    assert_false(parking_hold(yard.parking, &cars[0].parked));
    parking_release(yard.parking, &cars[4].parked); /* took the place of the first when it moved */
    parking_release(yard.parking, &cars[2].parked);
    assert_true(parking_hold(yard.parking, &cars[0].parked));
    assert_true(parking_hold(yard.parking, &cars[3].parked));
    assert_false(parking_hold(yard.parking, &cars[2].parked));
    end(&yard, cars);
}

static void lets_all_go_when_it_closes(void **state)
{
    (void)state;
    struct yard yard;
    struct car cars[CARS];
    begin(&yard, cars, CARS, CARS);
    for (size_t i = 0; i < 4; i++) {
        assert_true(parking_hold(yard.parking, &cars[i].parked));
    }
    for (size_t i = 0; i < 3; i++) {
        parking_put(yard.parking, &cars[i].parked, clock_monotonic_s() + FAR_S);
    }
    parking_close(yard.parking);
    assert_string_equal(yard.order, "abc");
    assert_false(parking_hold(yard.parking, &cars[3].parked)); /* although it has a place */
    assert_false(parking_hold(yard.parking, &cars[4].parked));
    parking_put(yard.parking, &cars[3].parked, clock_monotonic_s() + FAR_S);
    assert_string_equal(yard.order, "abcd");
    end(&yard, cars);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wakes_in_order_of_due_time),
        cmocka_unit_test(wakes_one_that_is_due_before_the_others),
        cmocka_unit_test(bounds_the_places),
        cmocka_unit_test(lets_all_go_when_it_closes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
