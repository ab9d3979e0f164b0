/* Properties of every study type that hold whatever the numbers are: another start, twice the rate,
 * another unit, a constant on all pressures and a gap where nothing happens change nothing that
 * they should not. */
#include "support/assert_close.h"
#include "support/pressure_flow.h"
#include "support/transform.h"

#include <stdio.h>

/* A recording of one type, and where a gap of missing samples does no harm. */
struct example {
    const char *name;
    void (*open)(struct synth *synth);
    enum signal_kind lost;
    double lost_from_s;
    double lost_to_s;
    double slack_s;                  /* moments at twice the rate */
    double share;                    /* values at twice the rate */
    const char *const *when_doubled; /* rows that another rate may move */
    const char *const *when_added;   /* rows that depend on the pressures' level itself */
    const char *const *when_lost;
};

static void open_pressure_flow(struct synth *synth)
{
    pressure_flow_open(synth, (struct pressure_flow_case){.rate_hz = 10.0, .noise = 0.3});
}

static const struct example examples[] = {
    {.name = "pressure_flow",
     .open = open_pressure_flow,
     .lost = SIGNAL_PABD,
     .lost_from_s = 180.0,
     .lost_to_s = 182.0,
     .slack_s = 0.3,
     .share = 0.03},
};

enum { EXAMPLES = sizeof examples / sizeof examples[0] };

typedef void change(struct synth *synth, const struct example *example);

static void compare(const struct example *example, change *apply, const char *what,
                    const struct transform_allowance *allowance)
{
    struct synth base;
    struct synth changed;
    char name[96];

    (void)snprintf(name, sizeof name, "%s, %s", example->name, what);
    example->open(&base);
    example->open(&changed);
    apply(&changed, example);
    transform_compare(synth_run(&base), synth_run(&changed), allowance, name);
    synth_close(&base);
    synth_close(&changed);
}

static void apply_later(struct synth *synth, const struct example *example)
{
    (void)example;
    transform_shift(synth, 1234.0);
}

static void apply_earlier(struct synth *synth, const struct example *example)
{
    (void)example;
    transform_shift(synth, -77.3);
}

static void apply_double_rate(struct synth *synth, const struct example *example)
{
    (void)example;
    transform_double_rate(synth);
}

static void apply_units(struct synth *synth, const struct example *example)
{
    (void)example;
    transform_units(synth);
}

static void apply_added(struct synth *synth, const struct example *example)
{
    (void)example;
    transform_add_pressure(synth, 3.0);
}

static void apply_loss(struct synth *synth, const struct example *example)
{
    transform_lose(synth, example->lost, example->lost_from_s, example->lost_to_s);
}

static void test_shifted(void **state)
{
    (void)state;
    for (size_t i = 0; i < EXAMPLES; i++) {
        compare(&examples[i], apply_later, "later",
                &(struct transform_allowance){.shift_s = 1234.0, .moment_s = 1e-6, .share = 1e-6});
        compare(&examples[i], apply_earlier, "earlier",
                &(struct transform_allowance){.shift_s = -77.3, .moment_s = 1e-6, .share = 1e-6});
    }
}

static void test_doubled(void **state)
{
    (void)state;
    for (size_t i = 0; i < EXAMPLES; i++) {
        compare(&examples[i], apply_double_rate, "twice the rate",
                &(struct transform_allowance){.moment_s = examples[i].slack_s,
                                              .share = examples[i].share,
                                              .skipped = examples[i].when_doubled});
    }
}

static void test_units(void **state)
{
    (void)state;
    for (size_t i = 0; i < EXAMPLES; i++) {
        compare(&examples[i], apply_units, "other units",
                &(struct transform_allowance){.moment_s = 1e-6, .share = 1e-6});
    }
}

static void test_added(void **state)
{
    (void)state;
    for (size_t i = 0; i < EXAMPLES; i++) {
        compare(
            &examples[i], apply_added, "a constant on all pressures",
            &(struct transform_allowance){
                .moment_s = 1e-6, .share = 1e-6, .add = 3.0, .skipped = examples[i].when_added});
    }
}

static void test_lost(void **state)
{
    (void)state;
    for (size_t i = 0; i < EXAMPLES; i++) {
        compare(&examples[i], apply_loss, "a gap where nothing happens",
                &(struct transform_allowance){
                    .moment_s = 0.3, .share = 0.02, .skipped = examples[i].when_lost});
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_shifted), cmocka_unit_test(test_doubled),
        cmocka_unit_test(test_units),   cmocka_unit_test(test_added),
        cmocka_unit_test(test_lost),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
