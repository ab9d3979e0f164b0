#include "support/transform.h"

#include "support/assert_close.h"

#include "analysis/catalogue.h"
#include "analysis/units.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

void transform_shift(struct synth *synth, double shift_s)
{
    for (size_t i = 0; i < synth->recording.channel_count; i++) {
        synth->channels[i].start_s += shift_s;
    }
    for (size_t i = 0; i < synth->recording.event_count; i++) {
        synth->events[i].at_s += shift_s;
    }
}

void transform_double_rate(struct synth *synth)
{
    for (size_t i = 0; i < synth->recording.channel_count; i++) {
        struct channel *channel = &synth->channels[i];
        const size_t count = channel->sample_count;
        double *samples =
            synth->memory.memory.allocate(&synth->memory, (2 * count + 1) * sizeof *samples);

        assert_non_null(samples);
        for (size_t k = 0; k < count; k++) {
            samples[2 * k] = channel->samples[k];
            samples[2 * k + 1] =
                k + 1 < count ? 0.5 * (channel->samples[k] + channel->samples[k + 1]) : 0.0;
        }
        channel->samples = samples;
        synth->samples[i] = samples;
        channel->sample_count = count > 0 ? 2 * count - 1 : 0;
        channel->rate_hz *= 2.0;
    }
}

/* Another unit of the same quantity, or NULL. */
static const char *other_unit(const char *unit)
{
    static const char *const pairs[][2] = {{"cm[H2O]", "kPa"}, {"mm[Hg]", "kPa"}, {"mL/s", "L/min"},
                                           {"mL", "L"},        {"uV", "mV"},      {"mm", "cm"}};

    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        if (strcmp(unit, pairs[i][0]) == 0) {
            return pairs[i][1];
        }
    }
    return NULL;
}

void transform_units(struct synth *synth)
{
    for (size_t i = 0; i < synth->recording.channel_count; i++) {
        const struct channel *channel = &synth->channels[i];
        const char *unit = signal_unit(channel->signal);
        const char *other = other_unit(unit);
        double there = 0.0;
        double back = 0.0;

        assert_non_null(other);
        assert_true(units_factor(unit, other, &there) && units_factor(other, unit, &back));
        for (size_t k = 0; k < channel->sample_count; k++) {
            synth->samples[i][k] = synth->samples[i][k] * there * back;
        }
    }
}

/* cmH2O in one canonical unit of a pressure against the atmosphere; 0 for other signals. */
static double pressure_unit(enum signal_kind signal)
{
    const bool cmh2o = signal == SIGNAL_PVES || signal == SIGNAL_PABD || signal == SIGNAL_PURA ||
                       signal == SIGNAL_PVAG;
    const bool mmhg =
        signal == SIGNAL_PRECT || (signal >= SIGNAL_PANAL && signal <= SIGNAL_PANAL12);
    double factor = 0.0;

    if (mmhg) {
        assert_true(units_factor("cm[H2O]", "mm[Hg]", &factor));
    }
    return cmh2o ? 1.0 : factor;
}

void transform_add_pressure(struct synth *synth, double add_cmh2o)
{
    for (size_t i = 0; i < synth->recording.channel_count; i++) {
        const double add = add_cmh2o * pressure_unit(synth->channels[i].signal);

        for (size_t k = 0; k < synth->channels[i].sample_count; k++) {
            synth->samples[i][k] += add;
        }
    }
}

void transform_lose(struct synth *synth, enum signal_kind signal, double from_s, double to_s)
{
    if (recording_channel(&synth->recording, signal) != NULL) {
        synth_lose(synth, signal, from_s, to_s);
    }
}

/* ---- Comparison ---- */

struct comparison {
    const struct transform_allowance *allowance;
    const char *what;
    const char *section;
    const char *code;
};

static void differ(const struct comparison *at, const char *how, double base, double changed)
{
    fail_msg("%s: %s.%s %s: %.6f, changed %.6f", at->what, at->section, at->code, how, base,
             changed);
}

static bool is_skipped(const struct comparison *at)
{
    char name[128];

    (void)snprintf(name, sizeof name, "%s.%s", at->section, at->code);
    for (size_t i = 0; at->allowance->skipped != NULL && at->allowance->skipped[i] != NULL; i++) {
        if (strcmp(name, at->allowance->skipped[i]) == 0) {
            return true;
        }
    }
    return false;
}

/* Pressures as such, against the atmosphere: they move with a constant on all lines; differences
 * of two do not. */
static bool is_absolute(const char *code)
{
    static const char *const prefixes[] = {"pves_baseline",
                                           "pabd_baseline",
                                           "pves_max",
                                           "pabd_max",
                                           "pves_qmax",
                                           "pabd_qmax",
                                           "pves_mean",
                                           "pves_leak",
                                           "pabd_leak",
                                           "maximum_urethral_pressure",
                                           "abdominal_leak_point",
                                           "resting_pressure",
                                           "squeeze_pressure_max",
                                           "push_anal_residual",
                                           "anal_rest",
                                           "anal_peak",
                                           "anal_lowest"};

    for (size_t i = 0; i < sizeof prefixes / sizeof prefixes[0]; i++) {
        if (strncmp(code, prefixes[i], strlen(prefixes[i])) == 0) {
            return true;
        }
    }
    return false;
}

static double added(const struct comparison *at, const char *code, const char *unit)
{
    double factor = 0.0;

    if (unit == NULL || !is_absolute(code)) {
        return 0.0;
    }
    return units_factor("cm[H2O]", unit, &factor) ? at->allowance->add * factor : 0.0;
}

static bool is_moment(const char *code)
{
    const size_t length = strlen(code);

    return strcmp(code, "start") == 0 || strcmp(code, "end") == 0 ||
           (length > 2 && strcmp(code + length - 2, "_s") == 0 && strcmp(code, "hold_s") != 0 &&
            strcmp(code, "rise_time_s") != 0 && strcmp(code, "release_time_s") != 0 &&
            strcmp(code, "flow_delay_s") != 0 && strcmp(code, "quick_count_10s") != 0);
}

static void compare_number(const struct comparison *at, const char *code, const char *unit,
                           double base, double changed)
{
    if (isnan(base) || isnan(changed)) {
        if (!isnan(base) || !isnan(changed)) {
            differ(at, code, base, changed);
        }
        return;
    }
    if (is_moment(code)) {
        if (fabs(changed - at->allowance->shift_s - base) > at->allowance->moment_s) {
            differ(at, code, base, changed);
        }
    } else if (fabs(changed - base - added(at, code, unit)) >
               at->allowance->share * (1.0 + fabs(base))) {
        differ(at, code, base, changed);
    }
}

static void compare_measure(const struct comparison *at, const struct catalogue_row *row,
                            const struct measure *base, const struct measure *changed)
{
    if (base->state != changed->state) {
        differ(at, "state", (double)base->state, (double)changed->state);
    }
    if (base->state != MEASURE_PRESENT) {
        return;
    }
    if (row->kind == CATALOGUE_WORD && strcmp(base->word, changed->word) != 0) {
        fail_msg("%s: %s.%s: %s, changed %s", at->what, at->section, at->code, base->word,
                 changed->word);
    }
    if (row->kind != CATALOGUE_WORD) {
        compare_number(at, row->code, row->unit, base->value, changed->value);
    }
    if (base->has_time &&
        fabs(changed->at_s - at->allowance->shift_s - base->at_s) > at->allowance->moment_s) {
        differ(at, "at_s", base->at_s, changed->at_s);
    }
}

static void compare_items(const struct comparison *at, const struct catalogue_list *list,
                          const struct item_list *base, const struct item_list *changed)
{
    if (base->state != changed->state || base->count != changed->count) {
        differ(at, "count", (double)base->count, (double)changed->count);
    }
    for (size_t i = 0; i < base->count; i++) {
        for (size_t j = 0; j < list->column_count; j++) {
            const struct catalogue_column *column = &list->columns[j];

            if (column->kind == CATALOGUE_NUMBER) {
                compare_number(at, column->code, column->unit,
                               catalogue_number(list, base, i, column),
                               catalogue_number(list, changed, i, column));
            } else if (column->kind == CATALOGUE_YES_NO) {
                assert_int_equal(catalogue_yes(list, base, i, column),
                                 catalogue_yes(list, changed, i, column));
            } else if (catalogue_word(list, base, i, column) != NULL) {
                assert_string_equal(catalogue_word(list, base, i, column),
                                    catalogue_word(list, changed, i, column));
            }
        }
    }
}

static void compare_instance(struct comparison at, const struct catalogue_section *section,
                             const void *base, const void *changed)
{
    for (size_t i = 0; i < section->row_count; i++) {
        at.code = section->rows[i].code;
        if (!is_skipped(&at)) {
            compare_measure(&at, &section->rows[i], catalogue_measure(&section->rows[i], base),
                            catalogue_measure(&section->rows[i], changed));
        }
    }
    for (size_t i = 0; i < section->list_count; i++) {
        at.code = section->lists[i].code;
        if (!is_skipped(&at)) {
            compare_items(&at, &section->lists[i], catalogue_items(&section->lists[i], base),
                          catalogue_items(&section->lists[i], changed));
        }
    }
}

void transform_compare(const struct analysis_result *base, const struct analysis_result *changed,
                       const struct transform_allowance *allowance, const char *what)
{
    size_t compared = 0;

    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *section = catalogue_section(i);
        struct comparison at = {allowance, what, section->code, "instances"};
        const size_t instances = catalogue_instances(section, base);

        if (instances != catalogue_instances(section, changed)) {
            differ(&at, "count", (double)instances, (double)catalogue_instances(section, changed));
        }
        for (size_t j = 0; j < instances; j++) {
            compare_instance(at, section, catalogue_instance(section, base, j),
                             catalogue_instance(section, changed, j));
            compared++;
        }
    }
    assert_true(compared > 0);
}
