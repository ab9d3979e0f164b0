/* Classes and findings of an anorectal manometry. */
#include "analysis/anorectal/anorectal.h"
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
    const struct anorectal_limits *limits; /* for the patient's sex; NULL: not known */
    bool women;
    bool any_limit;
};

/* Code of a limit, for women and men; and what to say when it is missing. */
struct limit_name {
    const char *codes[2];
    const char *missing;
};

enum limit {
    LIMIT_REST_LOWER,
    LIMIT_REST_UPPER,
    LIMIT_SQUEEZE_LOWER,
    LIMIT_RISE_LOWER,
    LIMIT_FIRST_LOWER,
    LIMIT_FIRST_UPPER,
    LIMIT_DESIRE_LOWER,
    LIMIT_DESIRE_UPPER,
    LIMIT_MOST_LOWER,
    LIMIT_MOST_UPPER,
    LIMIT_COUNT
};

#define LIMIT_NAME(member, part, what)                                                             \
    {                                                                                              \
        {"anorectal_men." member, "anorectal_women." member},                                      \
            part " was not classified: the clinic has entered no " what                            \
                 " for the patient's sex. Enter the normal values of your own equipment."          \
    }

static const struct limit_name limit_names[LIMIT_COUNT] = {
    [LIMIT_REST_LOWER] =
        LIMIT_NAME("rest_lower_mmhg", "Anal tone", "lower limit of the resting pressure"),
    [LIMIT_REST_UPPER] =
        LIMIT_NAME("rest_upper_mmhg", "Anal tone", "upper limit of the resting pressure"),
    [LIMIT_SQUEEZE_LOWER] = LIMIT_NAME("squeeze_increment_lower_mmhg", "Anal contractility",
                                       "lower limit of the squeeze increment"),
    [LIMIT_RISE_LOWER] = LIMIT_NAME("push_rectal_rise_lower_mmhg", "Rectoanal coordination",
                                    "lower limit of the rectal rise while pushing"),
    [LIMIT_FIRST_LOWER] = LIMIT_NAME("first_sensation_lower_ml", "Rectal sensation",
                                     "lower limit of the volume at first sensation"),
    [LIMIT_FIRST_UPPER] = LIMIT_NAME("first_sensation_upper_ml", "Rectal sensation",
                                     "upper limit of the volume at first sensation"),
    [LIMIT_DESIRE_LOWER] = LIMIT_NAME("desire_lower_ml", "Rectal sensation",
                                      "lower limit of the volume at desire to defecate"),
    [LIMIT_DESIRE_UPPER] = LIMIT_NAME("desire_upper_ml", "Rectal sensation",
                                      "upper limit of the volume at desire to defecate"),
    [LIMIT_MOST_LOWER] = LIMIT_NAME("maximum_tolerated_lower_ml", "Rectal sensation",
                                    "lower limit of the maximum tolerated volume"),
    [LIMIT_MOST_UPPER] = LIMIT_NAME("maximum_tolerated_upper_ml", "Rectal sensation",
                                    "upper limit of the maximum tolerated volume"),
};

static struct optional_number limit_of(const struct draft *draft, enum limit limit)
{
    const struct anorectal_limits *limits = draft->limits;
    const struct optional_number values[LIMIT_COUNT] = {
        [LIMIT_REST_LOWER] = limits->rest_lower_mmhg,
        [LIMIT_REST_UPPER] = limits->rest_upper_mmhg,
        [LIMIT_SQUEEZE_LOWER] = limits->squeeze_increment_lower_mmhg,
        [LIMIT_RISE_LOWER] = limits->push_rectal_rise_lower_mmhg,
        [LIMIT_FIRST_LOWER] = limits->first_sensation_lower_ml,
        [LIMIT_FIRST_UPPER] = limits->first_sensation_upper_ml,
        [LIMIT_DESIRE_LOWER] = limits->desire_lower_ml,
        [LIMIT_DESIRE_UPPER] = limits->desire_upper_ml,
        [LIMIT_MOST_LOWER] = limits->maximum_tolerated_lower_ml,
        [LIMIT_MOST_UPPER] = limits->maximum_tolerated_upper_ml,
    };

    return values[limit];
}

/* Adds limits to a class; false, with a note for each that is missing, unless all are known. */
static bool take_limits(const struct draft *draft, struct classification *class,
                        const enum limit *wanted, size_t count)
{
    bool all = draft->limits != NULL;

    for (size_t i = 0; draft->limits != NULL && i < count; i++) {
        const struct optional_number limit = limit_of(draft, wanted[i]);
        const struct limit_name *name = &limit_names[wanted[i]];

        if (limit.known) {
            class->limits[class->limit_count++] =
                (struct named_number){name->codes[draft->women ? 1 : 0], limit.value};
        } else {
            all = false;
            if (draft->any_limit) {
                outcome_note(&draft->study->outcome, "limit_missing", QUALITY_INFO, SIGNAL_NONE,
                             name->missing);
            }
        }
    }
    return all;
}

static void add_basis(struct classification *class, const char *code, const struct measure *measure)
{
    class->basis[class->basis_count++] = (struct named_number){code, measure->value};
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
        class.basis[class.basis_count++] = rair->parts[i];
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
    static const enum limit wanted[] = {LIMIT_REST_LOWER, LIMIT_REST_UPPER};

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

    if (!measure_known(rest) || !take_limits(draft, &class, wanted, 2)) {
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
    static const enum limit wanted[] = {LIMIT_SQUEEZE_LOWER};
    const struct anorectal_measures *measures = draft->measures;
    struct classification class = {.code = "london_contractility"};

    if (!measure_known(&measures->squeeze_increment) || !take_limits(draft, &class, wanted, 1)) {
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
    if (measure_known(&measures->long_squeeze_endurance)) {
        add_basis(&class, "long_squeeze_endurance", &measures->long_squeeze_endurance);
    }
    if (measure_known(&measures->cough_increment)) {
        add_basis(&class, "cough_increment", &measures->cough_increment);
    }
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
    static const enum limit wanted[] = {LIMIT_RISE_LOWER};
    const struct anorectal_measures *measures = draft->measures;
    const struct analysis_choices *choices = draft->study->choices;
    struct classification class = {.code = "london_coordination"};

    if (!measure_known(&measures->balloon_expulsion_time) ||
        !measure_known(&measures->push_rectal_rise) ||
        !measure_known(&measures->push_anal_relaxation) || !take_limits(draft, &class, wanted, 1)) {
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
    class.basis[class.basis_count++] = (struct named_number){"pushes", (double)pushes};
    class.limits[class.limit_count++] = (struct named_number){
        "push_relaxation_percent", draft->study->choices->push_relaxation_percent.value};
    outcome_classification(&draft->study->outcome, class);
    if (pattern != PUSH_NORMAL) {
        add_finding(draft, &class,
                    (struct finding){
                        .code = "abnormal_push_pattern",
                        .text = "Most of the pushes show the same pattern outside the usual: too "
                                "small a rectal rise, an anal canal that does not relax, or both. "
                                "Most healthy people show this on the couch, so it says little "
                                "without an abnormal balloon expulsion.",
                        .basis_count = 2,
                        .basis = {"anorectal.push_rectal_rise", "anorectal.push_anal_relaxation"}});
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
    static const enum limit wanted[] = {LIMIT_FIRST_LOWER, LIMIT_DESIRE_LOWER, LIMIT_MOST_LOWER,
                                        LIMIT_FIRST_UPPER, LIMIT_DESIRE_UPPER, LIMIT_MOST_UPPER};

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
        !take_limits(draft, &class, wanted, sizeof wanted / sizeof wanted[0])) {
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

static bool any_limit(const struct draft *draft)
{
    for (unsigned i = 0; draft->limits != NULL && i < LIMIT_COUNT; i++) {
        if (limit_of(draft, (enum limit)i).known) {
            return true;
        }
    }
    return false;
}

void anorectal_draft(struct study *study)
{
    struct draft draft = {.study = study,
                          .measures = &study->outcome.result->anorectal,
                          .women = study->recording->sex == SEX_FEMALE};

    if (draft.women || study->recording->sex == SEX_MALE) {
        draft.limits =
            draft.women ? &study->choices->anorectal_women : &study->choices->anorectal_men;
        draft.any_limit = any_limit(&draft);
        if (!draft.any_limit) {
            outcome_note(&study->outcome, "limit_missing", QUALITY_INFO, SIGNAL_NONE,
                         "Tone, contractility, coordination and rectal sensation were not "
                         "classified: the clinic has entered no normal limits for the patient's "
                         "sex. They depend on the catheter: enter those of your own equipment.");
        }
    } else {
        outcome_note(&study->outcome, "limit_missing", QUALITY_INFO, SIGNAL_NONE,
                     "Tone, contractility, coordination and rectal sensation were not classified: "
                     "normal limits depend on the sex, which is not known. Enter it.");
    }
    draft_reflex(&draft);
    draft_part_two(&draft);
    draft_coordination(&draft);
    draft_push_pattern(&draft);
    draft_sensation(&draft);
}
