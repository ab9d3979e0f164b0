/* Whether a piece of equipment measures right: known values applied, readings taken.
 *
 * ICS guidelines on urodynamic equipment performance (Gammie A, Clarkson B, Constantinou C, et al.
 * Neurourol Urodyn 2014;33:370-379) and good urodynamic practices (Schafer W et al.
 * 2002;21:261-274; Rosier PFWM et al. 2017;36:1243-1260), the figures from memory:
 * criteria_equipment.h. A clinic may set its own limits. Readings are never corrected here: a gain
 * or offset that is off asks for a calibration. */
#ifndef ANALYSIS_EQUIPMENT_H
#define ANALYSIS_EQUIPMENT_H

#include "analysis/recording.h"

#include <stdbool.h>
#include <stddef.h>

enum equipment_kind {
    EQUIPMENT_PRESSURE_TRANSDUCER,
    EQUIPMENT_FLOWMETER,
    EQUIPMENT_INFUSION_PUMP,
    EQUIPMENT_PULLER,
    EQUIPMENT_EMG_AMPLIFIER,
    EQUIPMENT_BALLOON_SYRINGE,
    EQUIPMENT_SCALE,
    EQUIPMENT_KIND_COUNT
};

/* What is applied and read, each in its own unit. */
enum equipment_quantity {
    EQUIPMENT_PRESSURE,  /* cm[H2O] */
    EQUIPMENT_FLOW,      /* mL/s */
    EQUIPMENT_VOLUME,    /* mL */
    EQUIPMENT_RATE,      /* mL/min */
    EQUIPMENT_SPEED,     /* mm/s */
    EQUIPMENT_LENGTH,    /* mm */
    EQUIPMENT_AMPLITUDE, /* uV */
    EQUIPMENT_MASS,      /* g */
    EQUIPMENT_QUANTITY_COUNT
};

/* A point is within its limits when the error's amount is at most the larger of `absolute` and
 * `percent` of the applied value. What is not known limits nothing. */
struct equipment_limits {
    struct optional_number absolute;   /* in the quantity's unit, >= 0 */
    struct optional_number percent;    /* of the applied value, >= 0 */
    struct optional_number hysteresis; /* largest that passes, in the quantity's unit */
    struct optional_number drift;      /* change of zero from which on a note is made */
    struct optional_number gain_low;   /* outside of these two, and beyond the offset, a */
    struct optional_number gain_high;  /* calibration is asked for */
    struct optional_number offset;
};

struct equipment_point {
    enum equipment_quantity quantity;
    double applied; /* in the quantity's unit; below 0 only for pressure */
    double reading;
    bool falling; /* reached from above; only for hysteresis */
};

struct equipment_check {
    enum equipment_kind kind;
    bool signals[SIGNAL_COUNT]; /* what the device measures; none: not said */
    const struct equipment_point *points;
    size_t point_count;
    /* Reading with nothing applied, in the unit of the kind's first quantity, and how long lay
     * between the two, h, > 0. */
    struct optional_number zero_before;
    struct optional_number zero_after;
    struct optional_number zero_hours;
    struct equipment_limits limits[EQUIPMENT_QUANTITY_COUNT]; /* equipment_limits_in_use() */
};

enum equipment_outcome {
    EQUIPMENT_NO_LIMIT, /* nothing to judge by */
    EQUIPMENT_WITHIN,
    EQUIPMENT_OUTSIDE
};

struct equipment_point_result {
    double error;                         /* reading - applied */
    struct optional_number error_percent; /* of the applied amount; not known at 0 */
    struct optional_number limit;         /* largest amount of the error that passes */
    enum equipment_outcome outcome;
};

/* What all points of one quantity show. */
struct equipment_quantity_result {
    size_t point_count;
    /* Least squares of the points that were not reached from above: reading = offset + gain *
     * applied. Not known with fewer than two different applied values. */
    struct optional_number gain;
    struct optional_number offset;
    /* Largest difference between falling and rising readings at the same applied value. */
    struct optional_number hysteresis;
};

enum equipment_rule {
    EQUIPMENT_RULE_POINT,      /* a point is outside its limits: fails */
    EQUIPMENT_RULE_HYSTERESIS, /* fails */
    EQUIPMENT_RULE_MISSING,    /* what has to be checked was not: incomplete */
    EQUIPMENT_RULE_COLUMN,     /* pressure without the two levels it needs: incomplete */
    EQUIPMENT_RULE_NO_LIMIT,   /* no limit for a quantity: not judged */
    EQUIPMENT_RULE_GAIN,       /* asks for a calibration, the verdict stays */
    EQUIPMENT_RULE_OFFSET,
    EQUIPMENT_RULE_DRIFT,
    EQUIPMENT_RULE_COUNT
};

/* One rule that was not met. */
struct equipment_note {
    enum equipment_rule rule;
    enum equipment_quantity quantity;
    size_t point;                 /* EQUIPMENT_RULE_POINT: which */
    struct optional_number value; /* what was found, and its limit, where there are numbers */
    struct optional_number limit;
};

enum equipment_verdict {
    EQUIPMENT_PASSED,
    EQUIPMENT_FAILED,
    EQUIPMENT_INCOMPLETE, /* nothing outside its limits, but not everything was checked */
    EQUIPMENT_NOT_JUDGED, /* there is no limit to judge by */
    EQUIPMENT_VERDICT_COUNT
};

enum {
    EQUIPMENT_POINT_LIMIT = 64, /* points of one check */
    /* every point, and each other rule once a quantity */
    EQUIPMENT_NOTE_LIMIT = EQUIPMENT_POINT_LIMIT + EQUIPMENT_RULE_COUNT * EQUIPMENT_QUANTITY_COUNT
};

struct equipment_judgement {
    struct equipment_point_result points[EQUIPMENT_POINT_LIMIT]; /* in the order of the check's */
    struct equipment_quantity_result quantities[EQUIPMENT_QUANTITY_COUNT];
    struct optional_number drift;          /* zero after - zero before */
    struct optional_number drift_per_hour; /* and per hour between them */
    struct equipment_note notes[EQUIPMENT_NOTE_LIMIT];
    size_t note_count;
    enum equipment_verdict verdict;
};

/* "pressure_transducer", …; EQUIPMENT_KIND_COUNT for a name that is none. The list of names ends
 * with NULL. */
const char *equipment_kind_name(enum equipment_kind kind);
enum equipment_kind equipment_kind_from_name(const char *name);
const char *const *equipment_kind_names(void);

/* "pressure", …; unit as UCUM code. */
const char *equipment_quantity_name(enum equipment_quantity quantity);
const char *equipment_quantity_unit(enum equipment_quantity quantity);

/* "passed", "failed", "incomplete", "not_judged"; EQUIPMENT_VERDICT_COUNT for none of them. */
const char *equipment_verdict_name(enum equipment_verdict verdict);
enum equipment_verdict equipment_verdict_from_name(const char *name);

/* Name of a rule: "point", "hysteresis", "missing", "column", "no_limit", "gain", "offset",
 * "drift". */
const char *equipment_rule_name(enum equipment_rule rule);

/* Whether a kind of device is checked by a quantity; the first of them is the one its zero is in.
 */
bool equipment_measures(enum equipment_kind kind, enum equipment_quantity quantity);
enum equipment_quantity equipment_first_quantity(enum equipment_kind kind);

/* The limits that hold where the clinic has not set its own: own's known members over the
 * standards of the kind and quantity. */
struct equipment_limits equipment_limits_in_use(enum equipment_kind kind,
                                                enum equipment_quantity quantity,
                                                const struct equipment_limits *own);

/* Judges a check of at most EQUIPMENT_POINT_LIMIT points, whose quantities are those of its kind;
 * a point beyond that many is left out. */
void equipment_judge(const struct equipment_check *check,
                     struct equipment_judgement *ret_judgement);

#endif
