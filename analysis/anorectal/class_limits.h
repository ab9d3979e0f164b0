/* The clinic's normal limits for the patient's sex, as classes of anorectal function need them. */
#ifndef ANALYSIS_ANORECTAL_CLASS_LIMITS_H
#define ANALYSIS_ANORECTAL_CLASS_LIMITS_H

#include "analysis/study.h"

enum class_limit {
    CLASS_LIMIT_REST_LOWER,
    CLASS_LIMIT_REST_UPPER,
    CLASS_LIMIT_SQUEEZE_LOWER,
    CLASS_LIMIT_RISE_LOWER,
    CLASS_LIMIT_FIRST_LOWER,
    CLASS_LIMIT_FIRST_UPPER,
    CLASS_LIMIT_DESIRE_LOWER,
    CLASS_LIMIT_DESIRE_UPPER,
    CLASS_LIMIT_MOST_LOWER,
    CLASS_LIMIT_MOST_UPPER,
    CLASS_LIMIT_COUNT
};

struct class_limits {
    struct study *study;
    const struct anorectal_limits *values; /* NULL: the sex is not known */
    bool women;
    bool any; /* the clinic has entered at least one */
};

/* Finds the limits, and notes when there is none at all. */
struct class_limits class_limits_open(struct study *study);

/* Adds the wanted limits to a class, in their order. False, with a note for each that is missing,
 * unless all are known. */
bool class_limits_take(const struct class_limits *limits, struct classification *class,
                       const enum class_limit *wanted, size_t count);

#endif
