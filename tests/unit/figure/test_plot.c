/* The mapping from numbers to places, and ticks. */
#include "figure/plot.h"
#include "support/assert_close.h"

#include <math.h>
#include <string.h>

static void maps_edges_to_edges(void **state)
{
    const struct plot plot = {{10.0, 20.0, 300.0, 100.0}, 5.0, 65.0, -20.0, 80.0};
    (void)state;
    assert_close(plot_x(&plot, 5.0), 10.0, 1e-9);
    assert_close(plot_x(&plot, 65.0), 310.0, 1e-9);
    assert_close(plot_x(&plot, 35.0), 160.0, 1e-9);
    assert_close(plot_y(&plot, 80.0), 20.0, 1e-9);
    assert_close(plot_y(&plot, -20.0), 120.0, 1e-9);
    assert_close(plot_y(&plot, 30.0), 70.0, 1e-9);
    assert_true(plot_holds(&plot, 5.0, 80.0));
    assert_false(plot_holds(&plot, 4.9, 0.0));
    assert_false(plot_holds(&plot, (double)NAN, 0.0));
}

static void steps_are_of_the_ladder(void **state)
{
    (void)state;
    assert_close(plot_step(100.0, 10.0), 10.0, 1e-9);
    assert_close(plot_step(100.0, 9.0), 20.0, 1e-9);
    assert_close(plot_step(7.0, 4.0), 2.0, 1e-9);
    assert_close(plot_step(0.3, 5.0), 0.1, 1e-12);
    assert_close(plot_time_step(8.0, 8.0), 1.0, 1e-9);
    assert_close(plot_time_step(100.0, 8.0), 15.0, 1e-9);
    assert_close(plot_time_step(540.0, 12.0), 60.0, 1e-9);
    assert_close(plot_time_step(3600.0, 12.0), 300.0, 1e-9);
    assert_close(plot_time_step(360000.0, 10.0), 36000.0, 1e-9);
    double range = 0.013;
    for (int i = 0; i < 60; i++) {
        range *= 1.37;
        const double step = plot_step(range, 6.0);
        const double power = pow(10.0, floor(log10(step) + 1e-9));
        const double part = step / power;
        assert_true(range / step <= 6.0 + 1e-6);
        assert_true(fabs(part - 1.0) < 1e-6 || fabs(part - 2.0) < 1e-6 || fabs(part - 5.0) < 1e-6);
    }
}

static void ticks_are_counted_from_the_first_within(void **state)
{
    (void)state;
    assert_close(plot_first_tick(-7.0, 5.0), -5.0, 1e-9);
    assert_close(plot_first_tick(0.0, 5.0), 0.0, 1e-9);
    assert_int_equal(plot_tick_count(-7.0, 11.0, 5.0), 4);
    assert_int_equal(plot_tick_count(0.0, 0.3, 0.1), 4);
    assert_int_equal(plot_tick_count(1.0, 4.0, 5.0), 0);
    assert_int_equal(plot_tick_count(0.0, 9.0, 0.0), 0);
}

static void ranges_widen_to_steps(void **state)
{
    double from = -3.2;
    double to = 87.1;
    (void)state;
    const double step = plot_widen(&from, &to, 6.0);
    assert_close(step, 20.0, 1e-9);
    assert_close(from, -20.0, 1e-9);
    assert_close(to, 100.0, 1e-9);
    from = 4.0;
    to = 4.0;
    (void)plot_widen(&from, &to, 5.0);
    assert_true(to > from);
}

static const char *clock_of(struct arena *arena, double at_s, double step_s)
{
    struct text text;
    text_init(&text, arena, 100);
    plot_append_clock(&text, at_s, step_s);
    return text.data;
}

static const char *tick_of(struct arena *arena, double value, double step)
{
    struct text text;
    text_init(&text, arena, 100);
    plot_append_tick(&text, value, step);
    return text.data;
}

static void numbers_are_written_as_people_do(void **state)
{
    struct arena *arena = arena_new();
    (void)state;
    assert_string_equal(clock_of(arena, 65.0, 5.0), "1:05");
    assert_string_equal(clock_of(arena, 3723.0, 60.0), "1:02:03");
    assert_string_equal(clock_of(arena, 9.96, 0.2), "0:10.0");
    assert_string_equal(clock_of(arena, -3.0, 1.0), "\u22120:03");
    assert_string_equal(tick_of(arena, -20.0, 10.0), "\u221220");
    assert_string_equal(tick_of(arena, 0.1 + 0.2, 0.1), "0.3");
    assert_string_equal(tick_of(arena, -1e-17, 0.1), "0.0");
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(maps_edges_to_edges),
        cmocka_unit_test(steps_are_of_the_ladder),
        cmocka_unit_test(ticks_are_counted_from_the_first_within),
        cmocka_unit_test(ranges_widen_to_steps),
        cmocka_unit_test(numbers_are_written_as_people_do),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
