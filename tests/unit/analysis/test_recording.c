/* Names of types, signals and events, both ways. */
#include "support/assert_close.h"

#include "analysis/recording.h"
#include "analysis/result.h"
#include "analysis/units.h"

#include <string.h>

static void test_names_both_ways(void **state)
{
    (void)state;
    for (int i = 0; i < RECORDING_TYPE_COUNT; i++) {
        const enum recording_type type = (enum recording_type)i;

        assert_int_equal(recording_type_from_name(recording_type_name(type)), type);
    }
    for (int i = 0; i < SIGNAL_COUNT; i++) {
        const enum signal_kind signal = (enum signal_kind)i;
        double factor = 0.0;

        assert_int_equal(signal_from_name(signal_name(signal)), signal);
        assert_true(units_factor(signal_unit(signal), signal_unit(signal), &factor));
    }
    for (int i = 0; i < EVENT_OTHER; i++) {
        const enum event_code code = (enum event_code)i;

        assert_int_equal(event_code_from_name(event_code_name(code)), code);
    }
}

static void test_unknown_names(void **state)
{
    (void)state;
    assert_int_equal(recording_type_from_name("flow"), RECORDING_TYPE_COUNT);
    assert_int_equal(recording_type_from_name(""), RECORDING_TYPE_COUNT);
    assert_int_equal(signal_from_name("Pves"), SIGNAL_NONE);
    assert_int_equal(event_code_from_name("clinic's own"), EVENT_OTHER);
    assert_null(recording_type_name(RECORDING_TYPE_COUNT));
    assert_null(signal_name(SIGNAL_NONE));
    assert_null(signal_unit(SIGNAL_NONE));
    assert_null(event_code_name(EVENT_CODE_COUNT));
}

static void test_contract_spelling(void **state)
{
    (void)state;
    assert_string_equal(recording_type_name(RECORDING_PRESSURE_FLOW), "pressure_flow");
    assert_string_equal(signal_name(SIGNAL_PANAL12), "panal12");
    assert_string_equal(signal_unit(SIGNAL_PANAL12), "mm[Hg]");
    assert_string_equal(signal_unit(SIGNAL_PVES), "cm[H2O]");
    assert_string_equal(event_code_name(EVENT_PERMISSION_TO_VOID), "permission_to_void");
    assert_string_equal(quality_severity_name(QUALITY_WARNING), "warning");
}

static void test_channel_lookup(void **state)
{
    const struct channel channels[] = {{.signal = SIGNAL_FLOW}, {.signal = SIGNAL_PVES}};
    const struct recording recording = {.channel_count = 2, .channels = channels};

    (void)state;
    assert_ptr_equal(recording_channel(&recording, SIGNAL_PVES), &channels[1]);
    assert_null(recording_channel(&recording, SIGNAL_PABD));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_names_both_ways),
        cmocka_unit_test(test_unknown_names),
        cmocka_unit_test(test_contract_spelling),
        cmocka_unit_test(test_channel_lookup),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
