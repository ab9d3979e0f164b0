#include "analysis/anorectal/class_limits.h"

/* Code of a limit, for women and men; and what to say when it is missing. */
struct limit_name {
    const char *codes[2];
    const char *missing;
};

#define LIMIT_NAME(member, part, what)                                                             \
    {                                                                                              \
        {"anorectal_men." member, "anorectal_women." member},                                      \
            part " was not classified: the clinic has entered no " what                            \
                 " for the patient's sex. Enter the normal values of your own equipment."          \
    }

static const struct limit_name limit_names[CLASS_LIMIT_COUNT] = {
    [CLASS_LIMIT_REST_LOWER] =
        LIMIT_NAME("rest_lower_mmhg", "Anal tone", "lower limit of the resting pressure"),
    [CLASS_LIMIT_REST_UPPER] =
        LIMIT_NAME("rest_upper_mmhg", "Anal tone", "upper limit of the resting pressure"),
    [CLASS_LIMIT_SQUEEZE_LOWER] = LIMIT_NAME("squeeze_increment_lower_mmhg", "Anal contractility",
                                             "lower limit of the squeeze increment"),
    [CLASS_LIMIT_RISE_LOWER] = LIMIT_NAME("push_rectal_rise_lower_mmhg", "Rectoanal coordination",
                                          "lower limit of the rectal rise while pushing"),
    [CLASS_LIMIT_FIRST_LOWER] = LIMIT_NAME("first_sensation_lower_ml", "Rectal sensation",
                                           "lower limit of the volume at first sensation"),
    [CLASS_LIMIT_FIRST_UPPER] = LIMIT_NAME("first_sensation_upper_ml", "Rectal sensation",
                                           "upper limit of the volume at first sensation"),
    [CLASS_LIMIT_DESIRE_LOWER] = LIMIT_NAME("desire_lower_ml", "Rectal sensation",
                                            "lower limit of the volume at desire to defecate"),
    [CLASS_LIMIT_DESIRE_UPPER] = LIMIT_NAME("desire_upper_ml", "Rectal sensation",
                                            "upper limit of the volume at desire to defecate"),
    [CLASS_LIMIT_MOST_LOWER] = LIMIT_NAME("maximum_tolerated_lower_ml", "Rectal sensation",
                                          "lower limit of the maximum tolerated volume"),
    [CLASS_LIMIT_MOST_UPPER] = LIMIT_NAME("maximum_tolerated_upper_ml", "Rectal sensation",
                                          "upper limit of the maximum tolerated volume"),
};

static struct optional_number limit_of(const struct anorectal_limits *limits,
                                       enum class_limit limit)
{
    const struct optional_number values[CLASS_LIMIT_COUNT] = {
        [CLASS_LIMIT_REST_LOWER] = limits->rest_lower_mmhg,
        [CLASS_LIMIT_REST_UPPER] = limits->rest_upper_mmhg,
        [CLASS_LIMIT_SQUEEZE_LOWER] = limits->squeeze_increment_lower_mmhg,
        [CLASS_LIMIT_RISE_LOWER] = limits->push_rectal_rise_lower_mmhg,
        [CLASS_LIMIT_FIRST_LOWER] = limits->first_sensation_lower_ml,
        [CLASS_LIMIT_FIRST_UPPER] = limits->first_sensation_upper_ml,
        [CLASS_LIMIT_DESIRE_LOWER] = limits->desire_lower_ml,
        [CLASS_LIMIT_DESIRE_UPPER] = limits->desire_upper_ml,
        [CLASS_LIMIT_MOST_LOWER] = limits->maximum_tolerated_lower_ml,
        [CLASS_LIMIT_MOST_UPPER] = limits->maximum_tolerated_upper_ml,
    };

    return values[limit];
}

bool class_limits_take(const struct class_limits *limits, struct classification *class,
                       const enum class_limit *wanted, size_t count)
{
    bool all = limits->values != NULL;

    for (size_t i = 0; limits->values != NULL && i < count; i++) {
        const struct optional_number limit = limit_of(limits->values, wanted[i]);
        const struct limit_name *name = &limit_names[wanted[i]];

        if (limit.known) {
            class->limits[class->limit_count++] =
                (struct named_number){name->codes[limits->women ? 1 : 0], limit.value};
        } else {
            all = false;
            if (limits->any) {
                outcome_note(&limits->study->outcome, "limit_missing", QUALITY_INFO, SIGNAL_NONE,
                             name->missing);
            }
        }
    }
    return all;
}

static bool any_limit(const struct anorectal_limits *values)
{
    for (unsigned i = 0; i < CLASS_LIMIT_COUNT; i++) {
        if (limit_of(values, (enum class_limit)i).known) {
            return true;
        }
    }
    return false;
}

struct class_limits class_limits_open(struct study *study)
{
    struct class_limits limits = {.study = study, .women = study->recording->sex == SEX_FEMALE};

    if (!limits.women && study->recording->sex != SEX_MALE) {
        outcome_note(&study->outcome, "limit_missing", QUALITY_INFO, SIGNAL_NONE,
                     "Tone, contractility, coordination and rectal sensation were not classified: "
                     "normal limits depend on the sex, which is not known. Enter it.");
        return limits;
    }
    limits.values =
        limits.women ? &study->choices->anorectal_women : &study->choices->anorectal_men;
    limits.any = any_limit(limits.values);
    if (!limits.any) {
        outcome_note(&study->outcome, "limit_missing", QUALITY_INFO, SIGNAL_NONE,
                     "Tone, contractility, coordination and rectal sensation were not classified: "
                     "the clinic has entered no normal limits for the patient's sex. They depend "
                     "on the catheter: enter those of your own equipment.");
    }
    return limits;
}
