#include "analysis/equipment.h"

#include "analysis/criteria_equipment.h"

#include <math.h>
#include <string.h>

#define QUANTITY(quantity) (1U << (unsigned)(quantity))

/* What a device of a kind is checked by; the first is the one its zero is in. Where all are
 * needed, a check that leaves one out is incomplete; otherwise any of them will do, because one
 * follows from the other. */
struct kind_row {
    enum equipment_quantity first;
    unsigned quantities;
    bool all_needed;
};

static const struct kind_row kinds[] = {
    [EQUIPMENT_PRESSURE_TRANSDUCER] = {EQUIPMENT_PRESSURE, QUANTITY(EQUIPMENT_PRESSURE), false},
    [EQUIPMENT_FLOWMETER] = {EQUIPMENT_FLOW, QUANTITY(EQUIPMENT_FLOW) | QUANTITY(EQUIPMENT_VOLUME),
                             true},
    [EQUIPMENT_INFUSION_PUMP] = {EQUIPMENT_RATE,
                                 QUANTITY(EQUIPMENT_RATE) | QUANTITY(EQUIPMENT_VOLUME), false},
    [EQUIPMENT_PULLER] = {EQUIPMENT_SPEED, QUANTITY(EQUIPMENT_SPEED) | QUANTITY(EQUIPMENT_LENGTH),
                          false},
    [EQUIPMENT_EMG_AMPLIFIER] = {EQUIPMENT_AMPLITUDE, QUANTITY(EQUIPMENT_AMPLITUDE), false},
    [EQUIPMENT_BALLOON_SYRINGE] = {EQUIPMENT_VOLUME, QUANTITY(EQUIPMENT_VOLUME), false},
    [EQUIPMENT_SCALE] = {EQUIPMENT_MASS, QUANTITY(EQUIPMENT_MASS), false},
};

static const struct {
    const char *name;
    const char *unit;
} quantities[] = {
    [EQUIPMENT_PRESSURE] = {"pressure", "cm[H2O]"}, [EQUIPMENT_FLOW] = {"flow", "mL/s"},
    [EQUIPMENT_VOLUME] = {"volume", "mL"},          [EQUIPMENT_RATE] = {"rate", "mL/min"},
    [EQUIPMENT_SPEED] = {"speed", "mm/s"},          [EQUIPMENT_LENGTH] = {"length", "mm"},
    [EQUIPMENT_AMPLITUDE] = {"amplitude", "uV"},    [EQUIPMENT_MASS] = {"mass", "g"},
};

#define ABSOLUTE(number) .absolute = {true, number}
#define PERCENT(number)  .percent = {true, number}

/* Who has none in this table has no limit: EMG is specified nowhere in absolute terms. */
static const struct {
    enum equipment_kind kind;
    enum equipment_quantity quantity;
    struct equipment_limits limits;
} standards[] = {
    {EQUIPMENT_PRESSURE_TRANSDUCER,
     EQUIPMENT_PRESSURE,
     {ABSOLUTE(CRITERIA_EQUIPMENT_PRESSURE_CMH2O), PERCENT(CRITERIA_EQUIPMENT_PRESSURE_SHARE),
      .hysteresis = {true, CRITERIA_EQUIPMENT_HYSTERESIS_CMH2O},
      .drift = {true, CRITERIA_EQUIPMENT_DRIFT_CMH2O},
      .gain_low = {true, CRITERIA_EQUIPMENT_GAIN_LOW},
      .gain_high = {true, CRITERIA_EQUIPMENT_GAIN_HIGH},
      .offset = {true, CRITERIA_EQUIPMENT_OFFSET_CMH2O}}},
    {EQUIPMENT_FLOWMETER, EQUIPMENT_FLOW, {ABSOLUTE(CRITERIA_EQUIPMENT_FLOW_ML_S)}},
    {EQUIPMENT_FLOWMETER, EQUIPMENT_VOLUME, {PERCENT(CRITERIA_EQUIPMENT_VOIDED_SHARE)}},
    {EQUIPMENT_INFUSION_PUMP, EQUIPMENT_RATE, {PERCENT(CRITERIA_EQUIPMENT_RATE_SHARE)}},
    {EQUIPMENT_INFUSION_PUMP, EQUIPMENT_VOLUME, {PERCENT(CRITERIA_EQUIPMENT_INFUSED_SHARE)}},
    {EQUIPMENT_PULLER, EQUIPMENT_SPEED, {PERCENT(CRITERIA_EQUIPMENT_PULLER_SHARE)}},
    {EQUIPMENT_PULLER, EQUIPMENT_LENGTH, {PERCENT(CRITERIA_EQUIPMENT_PULLER_SHARE)}},
    {EQUIPMENT_BALLOON_SYRINGE, EQUIPMENT_VOLUME, {PERCENT(CRITERIA_EQUIPMENT_BALLOON_SHARE)}},
    {EQUIPMENT_SCALE, EQUIPMENT_MASS, {ABSOLUTE(CRITERIA_EQUIPMENT_MASS_G)}},
};

/* ---- names ---- */

static const char *const kind_names[EQUIPMENT_KIND_COUNT + 1] = {
    "pressure_transducer", "flowmeter",       "infusion_pump", "puller",
    "emg_amplifier",       "balloon_syringe", "scale",         NULL};

static const char *const verdict_names[] = {
    [EQUIPMENT_PASSED] = "passed",
    [EQUIPMENT_FAILED] = "failed",
    [EQUIPMENT_INCOMPLETE] = "incomplete",
    [EQUIPMENT_NOT_JUDGED] = "not_judged",
};

static const char *const rule_names[] = {
    [EQUIPMENT_RULE_POINT] = "point",       [EQUIPMENT_RULE_HYSTERESIS] = "hysteresis",
    [EQUIPMENT_RULE_MISSING] = "missing",   [EQUIPMENT_RULE_COLUMN] = "column",
    [EQUIPMENT_RULE_NO_LIMIT] = "no_limit", [EQUIPMENT_RULE_GAIN] = "gain",
    [EQUIPMENT_RULE_OFFSET] = "offset",     [EQUIPMENT_RULE_DRIFT] = "drift",
};

const char *equipment_kind_name(enum equipment_kind kind)
{
    return kind_names[kind];
}

const char *const *equipment_kind_names(void)
{
    return kind_names;
}

enum equipment_kind equipment_kind_from_name(const char *name)
{
    int kind = 0;
    while (kind < EQUIPMENT_KIND_COUNT && strcmp(kind_names[kind], name) != 0) {
        kind++;
    }
    return (enum equipment_kind)kind;
}

const char *equipment_quantity_name(enum equipment_quantity quantity)
{
    return quantities[quantity].name;
}

const char *equipment_quantity_unit(enum equipment_quantity quantity)
{
    return quantities[quantity].unit;
}

const char *equipment_verdict_name(enum equipment_verdict verdict)
{
    return verdict_names[verdict];
}

enum equipment_verdict equipment_verdict_from_name(const char *name)
{
    int verdict = 0;
    while (verdict < EQUIPMENT_VERDICT_COUNT && strcmp(verdict_names[verdict], name) != 0) {
        verdict++;
    }
    return (enum equipment_verdict)verdict;
}

const char *equipment_rule_name(enum equipment_rule rule)
{
    return rule_names[rule];
}

bool equipment_measures(enum equipment_kind kind, enum equipment_quantity quantity)
{
    return (kinds[kind].quantities & QUANTITY(quantity)) != 0;
}

enum equipment_quantity equipment_first_quantity(enum equipment_kind kind)
{
    return kinds[kind].first;
}

/* ---- limits ---- */

static struct equipment_limits standard_limits(enum equipment_kind kind,
                                               enum equipment_quantity quantity)
{
    for (size_t i = 0; i < sizeof standards / sizeof standards[0]; i++) {
        if (standards[i].kind == kind && standards[i].quantity == quantity) {
            return standards[i].limits;
        }
    }
    return (struct equipment_limits){0};
}

static void prefer(struct optional_number *standard, struct optional_number own)
{
    if (own.known) {
        *standard = own;
    }
}

struct equipment_limits equipment_limits_in_use(enum equipment_kind kind,
                                                enum equipment_quantity quantity,
                                                const struct equipment_limits *own)
{
    struct equipment_limits limits = standard_limits(kind, quantity);
    prefer(&limits.absolute, own->absolute);
    prefer(&limits.percent, own->percent);
    prefer(&limits.hysteresis, own->hysteresis);
    prefer(&limits.drift, own->drift);
    prefer(&limits.gain_low, own->gain_low);
    prefer(&limits.gain_high, own->gain_high);
    prefer(&limits.offset, own->offset);
    return limits;
}

/* A limit of nothing is none: a share of an applied 0 says nothing about its reading. */
static struct optional_number point_limit(const struct equipment_limits *limits, double applied)
{
    double limit = 0.0;
    if (limits->absolute.known) {
        limit = limits->absolute.value;
    }
    if (limits->percent.known) {
        limit = fmax(limit, limits->percent.value / 100.0 * fabs(applied));
    }
    return (struct optional_number){limit > 0.0, limit};
}

/* At the limit is within it. */
static bool exceeds(double value, double limit, double applied)
{
    return fabs(value) > limit + CRITERIA_EQUIPMENT_ROUNDING * (fabs(limit) + fabs(applied));
}

/* ---- judging ---- */

static struct equipment_note *add_note(struct equipment_judgement *judgement,
                                       enum equipment_rule rule, enum equipment_quantity quantity)
{
    struct equipment_note *note = &judgement->notes[judgement->note_count++];
    *note = (struct equipment_note){.rule = rule, .quantity = quantity};
    return note;
}

static void add_numbers(struct equipment_judgement *judgement, enum equipment_rule rule,
                        enum equipment_quantity quantity, double value, double limit)
{
    struct equipment_note *note = add_note(judgement, rule, quantity);
    note->value = (struct optional_number){true, value};
    note->limit = (struct optional_number){true, limit};
}

static void judge_point(const struct equipment_check *check, size_t index,
                        struct equipment_judgement *judgement)
{
    const struct equipment_point *point = &check->points[index];
    struct equipment_point_result *result = &judgement->points[index];
    const double error = point->reading - point->applied;
    *result = (struct equipment_point_result){
        .error = error,
        .limit = point_limit(&check->limits[point->quantity], point->applied),
    };
    if (fabs(point->applied) > 0.0) {
        result->error_percent =
            (struct optional_number){true, 100.0 * error / fabs(point->applied)};
    }
    if (!result->limit.known) {
        result->outcome = EQUIPMENT_NO_LIMIT;
    } else if (exceeds(error, result->limit.value, point->applied)) {
        result->outcome = EQUIPMENT_OUTSIDE;
        add_numbers(judgement, EQUIPMENT_RULE_POINT, point->quantity, error, result->limit.value);
        judgement->notes[judgement->note_count - 1].point = index;
    } else {
        result->outcome = EQUIPMENT_WITHIN;
    }
}

static bool is_of(const struct equipment_check *check, size_t index,
                  enum equipment_quantity quantity, bool falling)
{
    return check->points[index].quantity == quantity && check->points[index].falling == falling;
}

static bool is_same(double a, double b)
{
    return !exceeds(a - b, 0.0, a);
}

/* About the means, which keeps the sums small. */
static void fit_line(const struct equipment_check *check, enum equipment_quantity quantity,
                     struct equipment_quantity_result *result)
{
    double count = 0.0;
    double mean_applied = 0.0;
    double mean_reading = 0.0;
    for (size_t i = 0; i < check->point_count; i++) {
        if (is_of(check, i, quantity, false)) {
            count += 1.0;
            mean_applied += (check->points[i].applied - mean_applied) / count;
            mean_reading += (check->points[i].reading - mean_reading) / count;
        }
    }
    double squares = 0.0;
    double products = 0.0;
    bool differ = false; /* the same value in two units differs by rounding, which has no slope */
    for (size_t i = 0; i < check->point_count; i++) {
        if (is_of(check, i, quantity, false)) {
            const double applied = check->points[i].applied - mean_applied;
            squares += applied * applied;
            differ = differ || !is_same(check->points[i].applied, mean_applied);
            products += applied * (check->points[i].reading - mean_reading);
        }
    }
    if (differ && squares > 0.0) {
        const double gain = products / squares;
        result->gain = (struct optional_number){true, gain};
        result->offset = (struct optional_number){true, mean_reading - gain * mean_applied};
    }
}

static void find_hysteresis(const struct equipment_check *check, enum equipment_quantity quantity,
                            struct equipment_quantity_result *result)
{
    for (size_t down = 0; down < check->point_count; down++) {
        for (size_t up = 0; is_of(check, down, quantity, true) && up < check->point_count; up++) {
            if (is_of(check, up, quantity, false) &&
                is_same(check->points[up].applied, check->points[down].applied)) {
                const double apart = fabs(check->points[down].reading - check->points[up].reading);
                result->hysteresis = (struct optional_number){
                    true, result->hysteresis.known ? fmax(result->hysteresis.value, apart) : apart};
            }
        }
    }
}

static double largest_applied(const struct equipment_check *check, enum equipment_quantity quantity)
{
    double largest = 0.0;
    for (size_t i = 0; i < check->point_count; i++) {
        if (check->points[i].quantity == quantity) {
            largest = fmax(largest, fabs(check->points[i].applied));
        }
    }
    return largest;
}

static void judge_line(const struct equipment_limits *limits, enum equipment_quantity quantity,
                       struct equipment_judgement *judgement)
{
    const struct equipment_quantity_result *result = &judgement->quantities[quantity];
    if (!result->gain.known) {
        return;
    }
    const double gain = result->gain.value;
    if (limits->gain_low.known && exceeds(fmax(limits->gain_low.value - gain, 0.0), 0.0, gain)) {
        add_numbers(judgement, EQUIPMENT_RULE_GAIN, quantity, gain, limits->gain_low.value);
    }
    if (limits->gain_high.known && exceeds(fmax(gain - limits->gain_high.value, 0.0), 0.0, gain)) {
        add_numbers(judgement, EQUIPMENT_RULE_GAIN, quantity, gain, limits->gain_high.value);
    }
    if (limits->offset.known && exceeds(result->offset.value, limits->offset.value, 0.0)) {
        add_numbers(judgement, EQUIPMENT_RULE_OFFSET, quantity, result->offset.value,
                    limits->offset.value);
    }
}

static bool has_limited_point(const struct equipment_check *check,
                              const struct equipment_judgement *judgement,
                              enum equipment_quantity quantity)
{
    for (size_t i = 0; i < check->point_count; i++) {
        if (check->points[i].quantity == quantity &&
            judgement->points[i].outcome != EQUIPMENT_NO_LIMIT) {
            return true;
        }
    }
    return false;
}

/* A static column shows neither offset nor gain at one level. */
static bool has_both_levels(const struct equipment_check *check)
{
    bool low = false;
    bool high = false;
    for (size_t i = 0; i < check->point_count; i++) {
        const struct equipment_point *point = &check->points[i];
        if (point->quantity == EQUIPMENT_PRESSURE) {
            low = low || is_same(point->applied, CRITERIA_EQUIPMENT_COLUMN_LOW_CMH2O);
            high = high || point->applied > CRITERIA_EQUIPMENT_COLUMN_HIGH_CMH2O ||
                   is_same(point->applied, CRITERIA_EQUIPMENT_COLUMN_HIGH_CMH2O);
        }
    }
    return low && high;
}

static void judge_quantity(const struct equipment_check *check, enum equipment_quantity quantity,
                           struct equipment_judgement *judgement)
{
    const struct equipment_limits *limits = &check->limits[quantity];
    struct equipment_quantity_result *result = &judgement->quantities[quantity];
    for (size_t i = 0; i < check->point_count; i++) {
        result->point_count += check->points[i].quantity == quantity ? 1 : 0;
    }
    if (result->point_count == 0) {
        return;
    }
    fit_line(check, quantity, result);
    find_hysteresis(check, quantity, result);
    if (result->hysteresis.known && limits->hysteresis.known &&
        exceeds(result->hysteresis.value, limits->hysteresis.value,
                largest_applied(check, quantity))) {
        add_numbers(judgement, EQUIPMENT_RULE_HYSTERESIS, quantity, result->hysteresis.value,
                    limits->hysteresis.value);
    }
    if (quantity == EQUIPMENT_PRESSURE && !has_both_levels(check)) {
        add_note(judgement, EQUIPMENT_RULE_COLUMN, quantity);
    }
    if (!has_limited_point(check, judgement, quantity)) {
        add_note(judgement, EQUIPMENT_RULE_NO_LIMIT, quantity);
    }
    judge_line(limits, quantity, judgement);
}

static void judge_drift(const struct equipment_check *check, struct equipment_judgement *judgement)
{
    if (!check->zero_before.known || !check->zero_after.known) {
        return;
    }
    const enum equipment_quantity quantity = equipment_first_quantity(check->kind);
    const struct optional_number wanted = check->limits[quantity].drift;
    const double drift = check->zero_after.value - check->zero_before.value;
    judgement->drift = (struct optional_number){true, drift};
    if (check->zero_hours.known && check->zero_hours.value > 0.0) {
        judgement->drift_per_hour = (struct optional_number){true, drift / check->zero_hours.value};
    }
    /* Less than the limit is wanted: at it is too much. */
    if (wanted.known &&
        fabs(drift) >= wanted.value - CRITERIA_EQUIPMENT_ROUNDING * fabs(wanted.value)) {
        add_numbers(judgement, EQUIPMENT_RULE_DRIFT, quantity, drift, wanted.value);
    }
}

/* Which quantities a check must not leave out: where the device says what it measures, no others.
 */
static unsigned needed_quantities(const struct equipment_check *check)
{
    const bool flow = check->signals[SIGNAL_FLOW];
    const bool volume = check->signals[SIGNAL_VVOID];
    if (check->kind == EQUIPMENT_FLOWMETER && flow != volume) {
        return QUANTITY(flow ? EQUIPMENT_FLOW : EQUIPMENT_VOLUME);
    }
    return kinds[check->kind].quantities;
}

static void find_missing(const struct equipment_check *check, struct equipment_judgement *judgement)
{
    const unsigned needed = needed_quantities(check);
    unsigned present = 0;
    for (int i = 0; i < EQUIPMENT_QUANTITY_COUNT; i++) {
        present |= judgement->quantities[i].point_count > 0 ? QUANTITY(i) : 0U;
    }
    if (!kinds[check->kind].all_needed && (present & needed) != 0) {
        return;
    }
    for (int i = 0; i < EQUIPMENT_QUANTITY_COUNT; i++) {
        if ((needed & ~present & QUANTITY(i)) != 0) {
            add_note(judgement, EQUIPMENT_RULE_MISSING, (enum equipment_quantity)i);
        }
    }
}

static bool has_note(const struct equipment_judgement *judgement, enum equipment_rule rule)
{
    for (size_t i = 0; i < judgement->note_count; i++) {
        if (judgement->notes[i].rule == rule) {
            return true;
        }
    }
    return false;
}

static enum equipment_verdict conclude(const struct equipment_judgement *judgement)
{
    if (has_note(judgement, EQUIPMENT_RULE_POINT) ||
        has_note(judgement, EQUIPMENT_RULE_HYSTERESIS)) {
        return EQUIPMENT_FAILED;
    }
    if (has_note(judgement, EQUIPMENT_RULE_MISSING) || has_note(judgement, EQUIPMENT_RULE_COLUMN)) {
        return EQUIPMENT_INCOMPLETE;
    }
    return has_note(judgement, EQUIPMENT_RULE_NO_LIMIT) ? EQUIPMENT_NOT_JUDGED : EQUIPMENT_PASSED;
}

void equipment_judge(const struct equipment_check *check, struct equipment_judgement *ret_judgement)
{
    struct equipment_check taken = *check;
    if (taken.point_count > EQUIPMENT_POINT_LIMIT) {
        taken.point_count = EQUIPMENT_POINT_LIMIT;
    }
    *ret_judgement = (struct equipment_judgement){0};
    for (size_t i = 0; i < taken.point_count; i++) {
        judge_point(&taken, i, ret_judgement);
    }
    for (int i = 0; i < EQUIPMENT_QUANTITY_COUNT; i++) {
        judge_quantity(&taken, (enum equipment_quantity)i, ret_judgement);
    }
    find_missing(&taken, ret_judgement);
    judge_drift(&taken, ret_judgement);
    ret_judgement->verdict = conclude(ret_judgement);
}
