/* Classes of anorectal function, each from numbers and limits alone.
 *
 * London classification: Carrington EV, Heinrich H, Knowles CH, et al. IAPWG recommendations.
 * Neurogastroenterol Motil 2020;32:e13679. Which findings are major, minor or inconclusive: its
 * abstract; the rules of the parts: partly from memory. A value exactly at a limit is normal.
 * Push patterns: Rao SSC. Gastroenterol Clin North Am 2008;37:569-586 (its table of four types); 45
 * mmHg for an adequate rise from memory (Rao 1999). */
#ifndef ANALYSIS_ANORECTAL_LONDON_H
#define ANALYSIS_ANORECTAL_LONDON_H

#include <stdbool.h>
#include <stddef.h>

enum london_weight { LONDON_NORMAL, LONDON_MINOR, LONDON_INCONCLUSIVE, LONDON_MAJOR };

struct london_class {
    const char *class; /* static storage */
    enum london_weight weight;
};

/* Part I, from the word of the reflex: "reflex_present", "areflexia" (major). NULL class when it
 * could not be assessed. */
struct london_class london_reflex(const char *rair);

/* Part II, tone, mmHg: "hypotension" (major), "normotension", "hypertension" (minor). */
struct london_class london_tone(double rest, double lower, double upper);

/* Part II, contractility, mmHg: "hypocontractility" (major), "normal_contractility". */
struct london_class london_contractility(double increment, double lower);

/* Part II together: "combined_hypotension_and_hypocontractility", "hypotension",
 * "hypocontractility", "hypertension", "hypertension_and_hypocontractility", "normal". */
struct london_class london_tone_and_contractility(struct london_class tone,
                                                  struct london_class contractility);

/* What part III rests on. */
struct london_coordination_input {
    double expulsion_s;
    double expulsion_limit_s; /* later is abnormal */
    double rectal_rise_mmhg;
    double rectal_rise_lower_mmhg;
    double relaxation_percent;
    double relaxation_limit_percent; /* below is incomplete */
};

/* Part III: with abnormal expulsion "dyssynergia", "poor_propulsion",
 * "poor_propulsion_and_dyssynergia", "abnormal_expulsion_with_normal_manometry" (inconclusive);
 * with normal expulsion "normal", or "abnormal_pattern_with_normal_expulsion", which is described
 * and no disorder (minor). */
struct london_class london_coordination(const struct london_coordination_input *input);

/* Part IV, mL: first sensation, desire to defecate, maximum tolerated, in this order.
 * "hyposensitivity" (two or three above their upper limit; major), "borderline_hyposensitivity"
 * (exactly one; inconclusive), "hypersensitivity" (none above, and one or more below the lower
 * limit; major), "normal_sensation". */
struct london_class london_sensation(const double volumes_ml[3], const double lower_ml[3],
                                     const double upper_ml[3]);

enum push_pattern {
    PUSH_NORMAL,             /* adequate rise, relaxed */
    PUSH_TYPE_I,             /* adequate rise, paradoxical contraction */
    PUSH_TYPE_II,            /* inadequate rise, paradoxical contraction */
    PUSH_TYPE_III,           /* adequate rise, incomplete relaxation */
    PUSH_TYPE_IV,            /* inadequate rise, incomplete relaxation */
    PUSH_INADEQUATE_RELAXED, /* inadequate rise, relaxed: none of the four types */
    PUSH_PATTERNS
};

/* The pattern of one push. Relaxation below 0 is paradoxical, below the limit incomplete. */
enum push_pattern london_push_pattern(double rectal_rise_mmhg, double relaxation_percent,
                                      double relaxation_limit_percent);

/* "normal", "type_i", ... */
const char *london_push_pattern_name(enum push_pattern pattern);

#endif
