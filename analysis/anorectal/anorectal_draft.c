/* Classes and findings of an anorectal manometry. */
#include "analysis/anorectal/anorectal.h"
#include "analysis/anorectal/class_limits.h"
#include "analysis/anorectal/london.h"
#include "analysis/criteria_anorectal.h"
#include "analysis/findings.h"
#include "analysis/measure.h"

#include <math.h>
#include <string.h>

/* Numbers and limits collected for one class. */
struct draft {
    struct study *study;
    const struct anorectal_measures *measures;
    struct class_limits limits;
};

/* What is not known is no basis. */
static void add_number(struct classification *class, const char *code, double value)
{
    if (isfinite(value)) {
        class->basis[class->basis_count++] = (struct named_number){code, value};
    }
}

static void add_basis(struct classification *class, const char *code, const struct measure *measure)
{
    if (measure_known(measure)) {
        add_number(class, code, measure->value);
    }
}

/* A finding that rests on what its class rests on. */
static void add_finding(const struct draft *draft, const struct classification *class,
                        struct finding finding)
{
    finding.limit_count =
        class->limit_count < FINDING_LIMITS_MAX ? class->limit_count : (size_t)FINDING_LIMITS_MAX;
    memcpy(finding.limits, class->limits, finding.limit_count * sizeof finding.limits[0]);
    outcome_finding(&draft->study->outcome, finding);
}

/* ---- Part I ---- */

static void draft_reflex(const struct draft *draft)
{
    const struct measure *rair = &draft->measures->rair;
    struct classification class = {.code = "london_reflex"};

    if (!measure_known(rair)) {
        return;
    }
    const struct london_class reflex = london_reflex(rair->word);

    if (reflex.class == NULL) {
        return;
    }
    class.class = reflex.class;
    class.method = reflex.weight == LONDON_MAJOR
                       ? "London classification 2020, part I: no rectoanal inhibitory reflex; a "
                         "major finding, not seen in health"
                       : "London classification 2020, part I: the rectoanal inhibitory reflex is "
                         "present; no finding";
    for (size_t i = 0; i < rair->part_count; i++) {
        add_number(&class, rair->parts[i].code, rair->parts[i].value);
    }
    class.limit_count = 1;
    class.limits[0] = (struct named_number){"rair_relaxation_percent",
                                            draft->study->choices->rair_relaxation_percent.value};
    outcome_classification(&draft->study->outcome, class);
    if (reflex.weight == LONDON_MAJOR) {
        add_finding(draft, &class,
                    (struct finding){
                        .code = "rectoanal_areflexia",
                        .text = "No rectoanal inhibitory reflex was seen up to a large balloon "
                                "volume. Consider a wide rectum, a sensor outside the upper canal "
                                "and loss of contact first; if it stays absent, it calls for "
                                "further assessment.",
                        .basis_count = 1,
                        .basis = {"anorectal.rair"}});
    }
}

/* ---- Part II ---- */

static bool draft_tone(const struct draft *draft, struct london_class *ret_tone,
                       struct classification *ret_class)
{
    static const enum class_limit wanted[] = {CLASS_LIMIT_REST_LOWER, CLASS_LIMIT_REST_UPPER};

    static const char *const methods[] = {
        [LONDON_NORMAL] = "London classification 2020, part II: resting pressure within the "
                          "clinic's limits; no finding",
        [LONDON_MINOR] = "London classification 2020, part II: resting pressure above the clinic's "
                         "upper limit; a minor finding, seen in health too",
        [LONDON_INCONCLUSIVE] = "",
        [LONDON_MAJOR] = "London classification 2020, part II: resting pressure below the clinic's "
                         "lower limit; a major finding, not seen in health",
    };
    const struct measure *rest = &draft->measures->resting_pressure;
    struct classification class = {.code = "london_tone"};

    if (!measure_known(rest) || !class_limits_take(&draft->limits, &class, wanted, 2)) {
        return false;
    }
    const struct london_class tone =
        london_tone(rest->value, class.limits[0].value, class.limits[1].value);

    class.class = tone.class;
    class.method = methods[tone.weight];
    add_basis(&class, "resting_pressure", rest);
    outcome_classification(&draft->study->outcome, class);
    if (tone.weight == LONDON_MAJOR) {
        add_finding(draft, &class,
                    (struct finding){
                        .code = "anal_hypotension",
                        .text = "The anal resting pressure is below the clinic's lower limit for "
                                "the patient's sex, which suggests a weak internal sphincter. "
                                "Weigh it against age, childbirth, surgery and symptoms.",
                        .basis_count = 1,
                        .basis = {"anorectal.resting_pressure"}});
    } else if (tone.weight == LONDON_MINOR) {
        add_finding(draft, &class,
                    (struct finding){
                        .code = "anal_hypertension",
                        .text = "The anal resting pressure is above the clinic's upper limit for "
                                "the patient's sex. It is seen in healthy people too: consider "
                                "tension, pain and a fissure.",
                        .basis_count = 1,
                        .basis = {"anorectal.resting_pressure"}});
    }
    *ret_tone = tone;
    *ret_class = class;
    return true;
}

static bool draft_contractility(const struct draft *draft, struct london_class *ret_contractility,
                                struct classification *ret_class)
{
    static const enum class_limit wanted[] = {CLASS_LIMIT_SQUEEZE_LOWER};
    const struct anorectal_measures *measures = draft->measures;
    struct classification class = {.code = "london_contractility"};

    if (!measure_known(&measures->squeeze_increment) ||
        !class_limits_take(&draft->limits, &class, wanted, 1)) {
        return false;
    }
    const struct london_class contractility =
        london_contractility(measures->squeeze_increment.value, class.limits[0].value);

    class.class = contractility.class;
    class.method = contractility.weight == LONDON_MAJOR
                       ? "London classification 2020, part II: best short squeeze increment below "
                         "the clinic's lower limit; a major finding, not seen in health; long "
                         "squeeze and cough are there as support"
                       : "London classification 2020, part II: best short squeeze increment not "
                         "below the clinic's lower limit; no finding";
    add_basis(&class, "squeeze_increment", &measures->squeeze_increment);
    add_basis(&class, "long_squeeze_endurance", &measures->long_squeeze_endurance);
    add_basis(&class, "cough_increment", &measures->cough_increment);
    outcome_classification(&draft->study->outcome, class);
    if (contractility.weight == LONDON_MAJOR) {
        add_finding(draft, &class,
                    (struct finding){
                        .code = "anal_hypocontractility",
                        .text = "The best short squeeze rises by less than the clinic's lower "
                                "limit for the patient's sex, which suggests a weak external "
                                "sphincter. Make sure that the patient understood the command; a "
                                "good cough response speaks against it.",
                        .basis_count = 1,
                        .basis = {"anorectal.squeeze_increment"}});
    }
    *ret_contractility = contractility;
    *ret_class = class;
    return true;
}

static void draft_part_two(const struct draft *draft)
{
    static const char *const methods[] = {
        [LONDON_NORMAL] = "London classification 2020, part II, tone and contractility together; "
                          "no finding",
        [LONDON_MINOR] = "London classification 2020, part II, tone and contractility together; a "
                         "minor finding, seen in health too",
        [LONDON_INCONCLUSIVE] = "",
        [LONDON_MAJOR] = "London classification 2020, part II, tone and contractility together; a "
                         "major finding, not seen in health",
    };
    struct london_class tone;
    struct london_class contractility;
    struct classification first;
    struct classification second;
    const bool has_tone = draft_tone(draft, &tone, &first);

    if (!draft_contractility(draft, &contractility, &second) || !has_tone) {
        return;
    }
    const struct london_class both = london_tone_and_contractility(tone, contractility);

    first.code = "london_tone_and_contractility";
    first.class = both.class;
    first.method = methods[both.weight];
    first.basis[first.basis_count++] = second.basis[0];
    first.limits[first.limit_count++] = second.limits[0];
    outcome_classification(&draft->study->outcome, first);
}

/* ---- Part III ---- */

static const char *coordination_method(enum london_weight weight)
{
    switch (weight) {
    case LONDON_INCONCLUSIVE:
        return "London classification 2020, part III: balloon expulsion later than the limit, with "
               "rectal rise and anal relaxation of the best push; an inconclusive finding that "
               "needs more information";
    case LONDON_MINOR:
        return "London classification 2020, part III: pattern of the best push outside the limits, "
               "but expulsion of the balloon in time; described, not a disorder";
    case LONDON_MAJOR:
    case LONDON_NORMAL:
        break;
    }
    return "London classification 2020, part III: expulsion in time, rectal rise and anal "
           "relaxation of the best push within the limits; no finding";
}

static void draft_coordination(const struct draft *draft)
{
    static const enum class_limit wanted[] = {CLASS_LIMIT_RISE_LOWER};
    const struct anorectal_measures *measures = draft->measures;
    const struct analysis_choices *choices = draft->study->choices;
    struct classification class = {.code = "london_coordination"};

    if (!measure_known(&measures->balloon_expulsion_time) ||
        !measure_known(&measures->push_rectal_rise) ||
        !measure_known(&measures->push_anal_relaxation) ||
        !class_limits_take(&draft->limits, &class, wanted, 1)) {
        return;
    }
    const struct london_coordination_input input = {
        .expulsion_s = measures->balloon_expulsion_time.value,
        .expulsion_limit_s = choices->balloon_expulsion_s.value,
        .rectal_rise_mmhg = measures->push_rectal_rise.value,
        .rectal_rise_lower_mmhg = class.limits[0].value,
        .relaxation_percent = measures->push_anal_relaxation.value,
        .relaxation_limit_percent = choices->push_relaxation_percent.value,
    };
    const struct london_class coordination = london_coordination(&input);

    class.class = coordination.class;
    class.method = coordination_method(coordination.weight);
    add_basis(&class, "balloon_expulsion_time", &measures->balloon_expulsion_time);
    add_basis(&class, "push_rectal_rise", &measures->push_rectal_rise);
    add_basis(&class, "push_anal_relaxation", &measures->push_anal_relaxation);
    class.limits[class.limit_count++] =
        (struct named_number){"balloon_expulsion_s", input.expulsion_limit_s};
    class.limits[class.limit_count++] =
        (struct named_number){"push_relaxation_percent", input.relaxation_limit_percent};
    outcome_classification(&draft->study->outcome, class);
    if (coordination.weight == LONDON_INCONCLUSIVE) {
        add_finding(draft, &class,
                    (struct finding){
                        .code = "delayed_balloon_expulsion",
                        .text = "The balloon was expelled later than the limit in use; the class "
                                "of rectoanal coordination says with which pattern of pushing. "
                                "Many healthy people push abnormally in the laboratory: weigh it "
                                "against symptoms and, if in doubt, defaecography.",
                        .basis_count = 3,
                        .basis = {"anorectal.balloon_expulsion_time", "anorectal.push_rectal_rise",
                                  "anorectal.push_anal_relaxation"}});
    }
}

/* ---- Pattern of the pushes ---- */

/* The pattern that two of three pushes show, and at least two; PUSH_PATTERNS when there is none. */
static enum push_pattern agreed_pattern(const struct draft *draft, size_t *ret_pushes)
{
    const struct item_list *list = &draft->measures->manoeuvres;
    const struct anorectal_manoeuvre *items = list->items;
    size_t votes[PUSH_PATTERNS] = {0};
    size_t pushes = 0;

    for (size_t i = 0; i < list->count; i++) {
        if (strcmp(items[i].kind, "push") == 0 && !isnan(items[i].rectal_rise_mmhg) &&
            !isnan(items[i].change_percent)) {
            votes[london_push_pattern(items[i].rectal_rise_mmhg, items[i].change_percent,
                                      draft->study->choices->push_relaxation_percent.value)]++;
            pushes++;
        }
    }
    *ret_pushes = pushes;
    for (unsigned i = 0; i < PUSH_PATTERNS; i++) {
        if (votes[i] >= 2 && (double)votes[i] >= CRITERIA_ARM_PUSHES_AGREE * (double)pushes) {
            return (enum push_pattern)i;
        }
    }
    return PUSH_PATTERNS;
}

/* The pattern rests on the list; rise and relaxation of the best push may not be known. */
static void find_push_pattern(const struct draft *draft, const struct classification *class)
{
    const struct anorectal_measures *measures = draft->measures;
    struct finding finding = {
        .code = "abnormal_push_pattern",
        .text = "Most of the pushes show the same pattern outside the usual: too small a rectal "
                "rise, an anal canal that does not relax, or both. Most healthy people show this "
                "on the couch, so it says little without an abnormal balloon expulsion."};

    if (measure_known(&measures->push_rectal_rise)) {
        finding.basis[finding.basis_count++] = "anorectal.push_rectal_rise";
    }
    if (measure_known(&measures->push_anal_relaxation)) {
        finding.basis[finding.basis_count++] = "anorectal.push_anal_relaxation";
    }
    if (finding.basis_count == 0) {
        finding.basis[finding.basis_count++] = "anorectal.manoeuvres";
    }
    add_finding(draft, class, finding);
}

static void draft_push_pattern(const struct draft *draft)
{
    const struct anorectal_measures *measures = draft->measures;
    struct classification class = {
        .code = "push_pattern",
        .method = "four types of Rao (Gastroenterol Clin North Am 2008;37:569-586) by rectal rise "
                  "(adequate from 45 mmHg, from memory) and anal relaxation in % of the resting "
                  "pressure; two of three pushes must agree. Most healthy people show one of the "
                  "types in the laboratory: never a diagnosis"};
    size_t pushes = 0;
    const enum push_pattern pattern = agreed_pattern(draft, &pushes);

    if (pushes == 0 || pattern == PUSH_PATTERNS) {
        if (pushes > 0) {
            outcome_note(&draft->study->outcome, "pushes_disagree", QUALITY_INFO, SIGNAL_NONE,
                         "No pattern of pushing is shown by two of three pushes, and by two at "
                         "least, so none is named. Look at each push in the list of manoeuvres, "
                         "and repeat it if need be.");
        }
        return;
    }
    class.class = london_push_pattern_name(pattern);
    add_basis(&class, "push_rectal_rise", &measures->push_rectal_rise);
    add_basis(&class, "push_anal_relaxation", &measures->push_anal_relaxation);
    add_number(&class, "pushes", (double)pushes);
    class.limits[class.limit_count++] = (struct named_number){
        "push_relaxation_percent", draft->study->choices->push_relaxation_percent.value};
    outcome_classification(&draft->study->outcome, class);
    if (pattern != PUSH_NORMAL) {
        find_push_pattern(draft, &class);
    }
}

/* ---- Part IV ---- */

static void find_sensation(const struct draft *draft, const struct classification *class,
                           struct london_class sensation)
{
    struct finding finding = {.basis_count = 3,
                              .basis = {"anorectal.first_sensation_volume",
                                        "anorectal.desire_volume",
                                        "anorectal.maximum_tolerated_volume"}};

    if (sensation.weight == LONDON_NORMAL) {
        return;
    }
    if (strcmp(sensation.class, "hypersensitivity") == 0) {
        finding.code = "rectal_hypersensitivity";
        finding.text = "At least one volume at which the rectal balloon is felt or no longer borne "
                       "is below the clinic's lower limit, which suggests a hypersensitive or "
                       "stiff rectum. Look at the compliance too.";
    } else if (sensation.weight == LONDON_MAJOR) {
        finding.code = "rectal_hyposensitivity";
        finding.text = "Two or more volumes at which the rectal balloon is felt or no longer borne "
                       "are above the clinic's upper limits, which suggests reduced rectal "
                       "sensation or a wide rectum. Look at the compliance too.";
    } else {
        finding.code = "borderline_rectal_hyposensitivity";
        finding.text = "One of the three volumes at which the rectal balloon is felt or no longer "
                       "borne is above the clinic's upper limit. It is inconclusive by itself.";
    }
    add_finding(draft, class, finding);
}

static void draft_sensation(const struct draft *draft)
{
    static const enum class_limit wanted[] = {CLASS_LIMIT_FIRST_LOWER,  CLASS_LIMIT_DESIRE_LOWER,
                                              CLASS_LIMIT_MOST_LOWER,   CLASS_LIMIT_FIRST_UPPER,
                                              CLASS_LIMIT_DESIRE_UPPER, CLASS_LIMIT_MOST_UPPER};

    static const char *const methods[] = {
        [LONDON_NORMAL] = "London classification 2020, part IV: no volume outside the clinic's "
                          "limits; no finding",
        [LONDON_MINOR] = "",
        [LONDON_INCONCLUSIVE] = "London classification 2020, part IV: exactly one of three volumes "
                                "above the clinic's upper limit; an inconclusive finding",
        [LONDON_MAJOR] = "London classification 2020, part IV: two or three volumes above the "
                         "clinic's upper limits (hyposensitivity), or none above and one or more "
                         "below the lower limits (hypersensitivity; how many, from memory); a "
                         "major finding, not seen in health",
    };
    const struct anorectal_measures *measures = draft->measures;
    struct classification class = {.code = "london_sensation"};

    if (!measure_known(&measures->first_sensation_volume) ||
        !measure_known(&measures->desire_volume) ||
        !measure_known(&measures->maximum_tolerated_volume) ||
        !class_limits_take(&draft->limits, &class, wanted, sizeof wanted / sizeof wanted[0])) {
        return;
    }
    const double volumes[3] = {measures->first_sensation_volume.value,
                               measures->desire_volume.value,
                               measures->maximum_tolerated_volume.value};
    const double lower[3] = {class.limits[0].value, class.limits[1].value, class.limits[2].value};
    const double upper[3] = {class.limits[3].value, class.limits[4].value, class.limits[5].value};
    const struct london_class sensation = london_sensation(volumes, lower, upper);

    class.class = sensation.class;
    class.method = methods[sensation.weight];
    add_basis(&class, "first_sensation_volume", &measures->first_sensation_volume);
    add_basis(&class, "desire_volume", &measures->desire_volume);
    add_basis(&class, "maximum_tolerated_volume", &measures->maximum_tolerated_volume);
    outcome_classification(&draft->study->outcome, class);
    find_sensation(draft, &class, sensation);
}

void anorectal_draft(struct study *study)
{
    const struct draft draft = {.study = study,
                                .measures = &study->outcome.result->anorectal,
                                .limits = class_limits_open(study)};

    draft_reflex(&draft);
    draft_part_two(&draft);
    draft_coordination(&draft);
    draft_push_pattern(&draft);
    draft_sensation(&draft);
}
