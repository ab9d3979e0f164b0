#include "analysis/anorectal/london.h"

#include "analysis/criteria_anorectal.h"

#include <string.h>

/* Rounding of sums does not decide on which side of a limit a value lies. */
#define SAME_VALUE 1e-6

static bool is_below(double value, double limit)
{
    return value < limit - SAME_VALUE;
}

static bool is_above(double value, double limit)
{
    return value > limit + SAME_VALUE;
}

struct london_class london_reflex(const char *rair)
{
    if (strcmp(rair, "present") == 0) {
        return (struct london_class){"reflex_present", LONDON_NORMAL};
    }
    if (strcmp(rair, "absent") == 0) {
        return (struct london_class){"areflexia", LONDON_MAJOR};
    }
    return (struct london_class){NULL, LONDON_NORMAL};
}

struct london_class london_tone(double rest, double lower, double upper)
{
    if (is_below(rest, lower)) {
        return (struct london_class){"hypotension", LONDON_MAJOR};
    }
    if (is_above(rest, upper)) {
        return (struct london_class){"hypertension", LONDON_MINOR};
    }
    return (struct london_class){"normotension", LONDON_NORMAL};
}

struct london_class london_contractility(double increment, double lower)
{
    if (is_below(increment, lower)) {
        return (struct london_class){"hypocontractility", LONDON_MAJOR};
    }
    return (struct london_class){"normal_contractility", LONDON_NORMAL};
}

struct london_class london_tone_and_contractility(struct london_class tone,
                                                  struct london_class contractility)
{
    const bool weak = contractility.weight == LONDON_MAJOR;

    if (tone.weight == LONDON_MAJOR) {
        return (struct london_class){
            weak ? "combined_hypotension_and_hypocontractility" : "hypotension", LONDON_MAJOR};
    }
    if (tone.weight == LONDON_MINOR) {
        return weak ? (struct london_class){"hypertension_and_hypocontractility", LONDON_MAJOR}
                    : (struct london_class){"hypertension", LONDON_MINOR};
    }
    return weak ? (struct london_class){"hypocontractility", LONDON_MAJOR}
                : (struct london_class){"normal", LONDON_NORMAL};
}

struct london_class london_coordination(const struct london_coordination_input *input)
{
    const bool late = is_above(input->expulsion_s, input->expulsion_limit_s);
    const bool weak = is_below(input->rectal_rise_mmhg, input->rectal_rise_lower_mmhg);
    const bool tight = is_below(input->relaxation_percent, input->relaxation_limit_percent);

    if (!late) {
        return weak || tight
                   ? (struct london_class){"abnormal_pattern_with_normal_expulsion", LONDON_MINOR}
                   : (struct london_class){"normal", LONDON_NORMAL};
    }
    if (weak && tight) {
        return (struct london_class){"poor_propulsion_and_dyssynergia", LONDON_INCONCLUSIVE};
    }
    if (weak) {
        return (struct london_class){"poor_propulsion", LONDON_INCONCLUSIVE};
    }
    return (struct london_class){tight ? "dyssynergia" : "abnormal_expulsion_with_normal_manometry",
                                 LONDON_INCONCLUSIVE};
}

struct london_class london_sensation(const double volumes_ml[3], const double lower_ml[3],
                                     const double upper_ml[3])
{
    int raised = 0;
    int lowered = 0;

    for (int i = 0; i < 3; i++) {
        raised += is_above(volumes_ml[i], upper_ml[i]) ? 1 : 0;
        lowered += is_below(volumes_ml[i], lower_ml[i]) ? 1 : 0;
    }
    if (raised >= 2) {
        return (struct london_class){"hyposensitivity", LONDON_MAJOR};
    }
    if (raised == 1) {
        return (struct london_class){"borderline_hyposensitivity", LONDON_INCONCLUSIVE};
    }
    if (lowered > 0) {
        return (struct london_class){"hypersensitivity", LONDON_MAJOR};
    }
    return (struct london_class){"normal_sensation", LONDON_NORMAL};
}

enum push_pattern london_push_pattern(double rectal_rise_mmhg, double relaxation_percent,
                                      double relaxation_limit_percent)
{
    const bool adequate = !is_below(rectal_rise_mmhg, CRITERIA_ARM_PUSH_ADEQUATE_MMHG);

    if (is_below(relaxation_percent, 0.0)) {
        return adequate ? PUSH_TYPE_I : PUSH_TYPE_II;
    }
    if (is_below(relaxation_percent, relaxation_limit_percent)) {
        return adequate ? PUSH_TYPE_III : PUSH_TYPE_IV;
    }
    return adequate ? PUSH_NORMAL : PUSH_INADEQUATE_RELAXED;
}

const char *london_push_pattern_name(enum push_pattern pattern)
{
    static const char *const names[PUSH_PATTERNS] = {
        [PUSH_NORMAL] = "normal",   [PUSH_TYPE_I] = "type_i",
        [PUSH_TYPE_II] = "type_ii", [PUSH_TYPE_III] = "type_iii",
        [PUSH_TYPE_IV] = "type_iv", [PUSH_INADEQUATE_RELAXED] = "inadequate_rise_with_relaxation",
    };

    return (unsigned)pattern < PUSH_PATTERNS ? names[pattern] : NULL;
}
