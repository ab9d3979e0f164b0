/* The London classification, cell by cell: Carrington EV, Heinrich H, Knowles CH, et al.
 * Neurogastroenterol Motil 2020;32:e13679. Major: areflexia, hypotension, hypocontractility, hypo-
 * and hypersensitivity; minor or inconclusive: hypertension, dyssynergia (its abstract). Rules of
 * the parts: partly from memory. A value at a limit is normal (a choice).
 * Push patterns: Rao SSC. Gastroenterol Clin North Am 2008;37:569-586, its table of four types;
 * adequate from 45 mmHg (Rao 1999, from memory). */
#include "support/assert_close.h"

#include "analysis/anorectal/london.h"

#include <string.h>

static void check(struct london_class class, const char *name, enum london_weight weight)
{
    assert_non_null(class.class);
    assert_string_equal(class.class, name);
    assert_int_equal(class.weight, weight);
}

static void test_part_one(void **state)
{
    (void)state;
    check(london_reflex("absent"), "areflexia", LONDON_MAJOR);
    check(london_reflex("present"), "reflex_present", LONDON_NORMAL);
    assert_null(london_reflex("not_assessable").class);
}

/* Limits of 40 and 100 mmHg, for the check alone. */
static void test_tone(void **state)
{
    (void)state;
    check(london_tone(39.9, 40.0, 100.0), "hypotension", LONDON_MAJOR);
    check(london_tone(40.0, 40.0, 100.0), "normotension", LONDON_NORMAL);
    check(london_tone(100.0, 40.0, 100.0), "normotension", LONDON_NORMAL);
    check(london_tone(100.1, 40.0, 100.0), "hypertension", LONDON_MINOR);
}

static void test_contractility(void **state)
{
    (void)state;
    check(london_contractility(49.9, 50.0), "hypocontractility", LONDON_MAJOR);
    check(london_contractility(50.0, 50.0), "normal_contractility", LONDON_NORMAL);
}

static void test_part_two_together(void **state)
{
    static const struct {
        double rest;
        double increment;
        const char *class;
        enum london_weight weight;
    } cells[] = {
        {30.0, 40.0, "combined_hypotension_and_hypocontractility", LONDON_MAJOR},
        {30.0, 60.0, "hypotension", LONDON_MAJOR},
        {70.0, 40.0, "hypocontractility", LONDON_MAJOR},
        {70.0, 60.0, "normal", LONDON_NORMAL},
        {120.0, 60.0, "hypertension", LONDON_MINOR},
        {120.0, 40.0, "hypertension_and_hypocontractility", LONDON_MAJOR},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
        check(london_tone_and_contractility(london_tone(cells[i].rest, 40.0, 100.0),
                                            london_contractility(cells[i].increment, 50.0)),
              cells[i].class, cells[i].weight);
    }
}

/* Expulsion exactly at 60 s is normal (Ratuapli 2013: up to 60 s, seated); relaxation exactly 20 %
 * is relaxed (below 20 % in Rao's table). */
static void test_part_three(void **state)
{
    static const struct {
        double expulsion_s;
        double rise;
        double relaxation;
        const char *class;
        enum london_weight weight;
    } cells[] = {
        {60.1, 40.0, 19.9, "dyssynergia", LONDON_INCONCLUSIVE},
        {60.1, 39.9, 20.0, "poor_propulsion", LONDON_INCONCLUSIVE},
        {60.1, 39.9, 19.9, "poor_propulsion_and_dyssynergia", LONDON_INCONCLUSIVE},
        {60.1, 40.0, 20.0, "abnormal_expulsion_with_normal_manometry", LONDON_INCONCLUSIVE},
        {60.0, 40.0, 20.0, "normal", LONDON_NORMAL},
        {60.0, 39.9, 20.0, "abnormal_pattern_with_normal_expulsion", LONDON_MINOR},
        {60.0, 40.0, 19.9, "abnormal_pattern_with_normal_expulsion", LONDON_MINOR},
        {60.0, 39.9, -5.0, "abnormal_pattern_with_normal_expulsion", LONDON_MINOR},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
        const struct london_coordination_input input = {
            .expulsion_s = cells[i].expulsion_s,
            .expulsion_limit_s = 60.0,
            .rectal_rise_mmhg = cells[i].rise,
            .rectal_rise_lower_mmhg = 40.0,
            .relaxation_percent = cells[i].relaxation,
            .relaxation_limit_percent = 20.0,
        };

        check(london_coordination(&input), cells[i].class, cells[i].weight);
    }
}

/* Two or three raised: hyposensitive; exactly one: borderline (Jiang 2023, on this scheme). One or
 * more lowered: hypersensitive (how many, from memory). */
static void test_part_four(void **state)
{
    static const double lower[3] = {10.0, 50.0, 100.0};
    static const double upper[3] = {60.0, 150.0, 280.0};

    static const struct {
        double volumes[3];
        const char *class;
        enum london_weight weight;
    } cells[] = {
        {{60.0, 150.0, 280.0}, "normal_sensation", LONDON_NORMAL},
        {{10.0, 50.0, 100.0}, "normal_sensation", LONDON_NORMAL},
        {{60.1, 150.0, 280.0}, "borderline_hyposensitivity", LONDON_INCONCLUSIVE},
        {{60.0, 150.1, 280.0}, "borderline_hyposensitivity", LONDON_INCONCLUSIVE},
        {{60.0, 150.0, 280.1}, "borderline_hyposensitivity", LONDON_INCONCLUSIVE},
        {{60.1, 150.1, 280.0}, "hyposensitivity", LONDON_MAJOR},
        {{60.1, 150.0, 280.1}, "hyposensitivity", LONDON_MAJOR},
        {{60.0, 150.1, 280.1}, "hyposensitivity", LONDON_MAJOR},
        {{60.1, 150.1, 280.1}, "hyposensitivity", LONDON_MAJOR},
        {{9.9, 50.0, 100.0}, "hypersensitivity", LONDON_MAJOR},
        {{10.0, 49.9, 100.0}, "hypersensitivity", LONDON_MAJOR},
        {{10.0, 50.0, 99.9}, "hypersensitivity", LONDON_MAJOR},
        {{9.9, 49.9, 99.9}, "hypersensitivity", LONDON_MAJOR},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
        check(london_sensation(cells[i].volumes, lower, upper), cells[i].class, cells[i].weight);
    }
}

static void test_push_patterns(void **state)
{
    static const struct {
        double rise;
        double relaxation;
        const char *name;
    } cells[] = {
        {45.0, -0.1, "type_i"},   {44.9, -0.1, "type_ii"},
        {45.0, 0.0, "type_iii"},  {45.0, 19.9, "type_iii"},
        {44.9, 0.0, "type_iv"},   {44.9, 19.9, "type_iv"},
        {45.0, 20.0, "normal"},   {44.9, 20.0, "inadequate_rise_with_relaxation"},
        {47.0, 27.419, "normal"}, {28.0, -25.714, "type_ii"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
        const enum push_pattern pattern =
            london_push_pattern(cells[i].rise, cells[i].relaxation, 20.0);

        assert_string_equal(london_push_pattern_name(pattern), cells[i].name);
    }
    assert_null(london_push_pattern_name(PUSH_PATTERNS));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_part_one),      cmocka_unit_test(test_tone),
        cmocka_unit_test(test_contractility), cmocka_unit_test(test_part_two_together),
        cmocka_unit_test(test_part_three),    cmocka_unit_test(test_part_four),
        cmocka_unit_test(test_push_patterns),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
