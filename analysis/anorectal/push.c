/* Pushes (simulated defecation): rise of the rectal, relaxation of the anal pressure. */
#include "analysis/anorectal/parts.h"
#include "analysis/criteria_anorectal.h"
#include "analysis/measure.h"

#include <math.h>

/* One push. NaN: not known. */
struct push {
    const struct manoeuvre *manoeuvre;
    struct excursion rect;
    double residual; /* lowest 1 s mean of the anal pressure */
    double residual_s;
    double gradient; /* rectal minus anal pressure at the best instant */
    double gradient_s;
};

/* When the patient pushes: while the rectal pressure shows it, else as long as the protocol asks;
 * without the ends, where the anal pressure is on its way still. */
static struct span push_span(const struct manoeuvre *manoeuvre, const struct excursion *rect)
{
    struct span span = {manoeuvre->at_s,
                        fmin(manoeuvre->at_s + CRITERIA_ARM_PUSH_LENGTH_S, manoeuvre->next_s)};

    if (rect->found && rect->change >= CRITERIA_ARM_PUSH_SEEN_MMHG) {
        span = rect->span;
    }
    if (span.to_s - span.from_s > 3.0 * CRITERIA_ARM_PUSH_TRIM_S) {
        span.from_s += CRITERIA_ARM_PUSH_TRIM_S;
        span.to_s -= CRITERIA_ARM_PUSH_TRIM_S;
    }
    return span;
}

static double highest_anal(const struct series *anal, struct span span)
{
    const struct series part = series_part(anal, span);
    size_t index = 0;

    return series_maximum(&part, &index) ? part.samples[index] : SERIES_MISSING;
}

static void scan_push(const struct anal_signals *signals, struct span span, struct push *push)
{
    const struct series part = series_part(&signals->anal_second, span);

    for (size_t i = 0; i < part.count; i++) {
        const double anal = part.samples[i];
        const double at_s = series_time(&part, i);
        const double gradient = series_value(&signals->rect_second, at_s) - anal;

        if (anal < push->residual || (isnan(push->residual) && !isnan(anal))) {
            push->residual = anal;
            push->residual_s = at_s;
        }
        if (gradient > push->gradient || (isnan(push->gradient) && !isnan(gradient))) {
            push->gradient = gradient;
            push->gradient_s = at_s;
        }
    }
}

static double relaxation(const struct anorectal_parts *parts, double residual)
{
    return parts->rest.known && parts->rest.level_mmhg >= CRITERIA_ARM_REST_LOW_MMHG
               ? 100.0 * (parts->rest.level_mmhg - residual) / parts->rest.level_mmhg
               : SERIES_MISSING;
}

static struct push measure_one(const struct anorectal_parts *parts, struct manoeuvre *manoeuvre)
{
    const struct anal_signals *signals = &parts->signals;
    struct push push = {.manoeuvre = manoeuvre,
                        .rect = parts_excursion(parts, manoeuvre, &signals->rect_second, 1.0),
                        .residual = SERIES_MISSING,
                        .gradient = SERIES_MISSING};
    const struct excursion anal = parts_excursion(parts, manoeuvre, &signals->anal_second, 1.0);
    const struct span span = push_span(manoeuvre, &push.rect);

    scan_push(signals, span, &push);
    manoeuvre->item = parts_empty_item(manoeuvre);
    manoeuvre->item.start_s = span.from_s;
    manoeuvre->item.end_s = span.to_s;
    manoeuvre->item.anal_rest_mmhg = anal.found ? anal.rest : SERIES_MISSING;
    manoeuvre->item.anal_peak_mmhg = highest_anal(&signals->anal_second, span);
    manoeuvre->item.anal_lowest_mmhg = push.residual;
    manoeuvre->item.rectal_rise_mmhg = push.rect.found ? push.rect.change : SERIES_MISSING;
    manoeuvre->item.change_percent = relaxation(parts, push.residual);
    return push;
}

/* The best push has the best gradient; without rectal pressure, the lowest residual. */
static bool is_better(const struct push *push, const struct push *best)
{
    if (best->manoeuvre == NULL || (isnan(best->gradient) && !isnan(push->gradient))) {
        return true;
    }
    if (!isnan(best->gradient)) {
        return push->gradient > best->gradient;
    }
    return push->residual < best->residual || (isnan(best->residual) && !isnan(push->residual));
}

static void set_absent(struct anorectal_measures *measures, const char *rectal, const char *anal)
{
    measures->push_rectal_rise = measure_absent(rectal);
    measures->push_anal_residual = measure_absent(anal);
    measures->push_anal_relaxation = measure_absent(anal);
    measures->rectoanal_gradient = measure_absent(anal);
    measures->defecation_index = measure_absent(anal);
}

static void set_rectal(struct anorectal_measures *measures, const struct push *push)
{
    static const char *const rises[2] = {
        "highest 1 s mean of the rectal pressure minus the median of the 5 s just before, in the "
        "push with the best gradient, found without a marker",
        "highest 1 s mean of the rectal pressure minus the median of the 5 s just before, in the "
        "push with the best gradient"};
    static const char *const gradients[2] = {
        "rectal minus anal pressure, 1 s means of the same instant, at the best instant of all "
        "pushes, found without a marker",
        "rectal minus anal pressure, 1 s means of the same instant, at the best instant of all "
        "pushes"};
    const size_t marked = push->manoeuvre->marked ? 1 : 0;

    if (push->rect.found) {
        measures->push_rectal_rise =
            measure_at(push->rect.change, push->rect.extreme_s, rises[marked]);
    } else {
        measures->push_rectal_rise =
            measure_absent("the rectal pressure is missing there or just before");
    }
    measures->rectoanal_gradient =
        isnan(push->gradient)
            ? measure_absent("anal and rectal pressure are not known at one instant of a push")
            : measure_at(push->gradient, push->gradient_s, gradients[marked]);
    if (!push->rect.found || isnan(push->residual)) {
        measures->defecation_index =
            measure_absent("rectal peak and anal residual pressure are not both known");
    } else if (!(push->residual > 0.0)) {
        measures->defecation_index = measure_absent("the anal residual pressure is not above zero");
    } else {
        measures->defecation_index =
            measure_at(push->rect.extreme / push->residual, push->rect.extreme_s,
                       "highest rectal over lowest anal pressure (1 s means) of the push with the "
                       "best gradient");
    }
}

static void set_anal(const struct anorectal_parts *parts, const struct push *push)
{
    static const char *const residuals[3] = {
        "lowest 1 s mean of the anal pressure during the push with the best gradient, without its "
        "first and last second; found without a marker",
        "lowest 1 s mean of the anal pressure during the push with the best gradient, without its "
        "first and last second",
        "lowest 1 s mean of the anal pressure during all pushes, without their first and last "
        "second; without rectal pressure a push is taken to last 15 s from its marker"};
    struct anorectal_measures *measures = parts->measures;
    const size_t marked = push->manoeuvre->marked ? 1 : 0;
    const double percent = relaxation(parts, push->residual);

    if (isnan(push->residual)) {
        measures->push_anal_residual = measure_absent("the anal pressure is missing there");
        measures->push_anal_relaxation = measures->push_anal_residual;
        return;
    }
    measures->push_anal_residual = measure_at(
        push->residual, push->residual_s, residuals[parts->signals.rect.count == 0 ? 2 : marked]);
    measures->push_anal_relaxation =
        isnan(percent)
            ? measure_absent("the resting pressure is not known, or below 10 mmHg")
            : measure_at(percent, push->residual_s,
                         "fall from the mean of the resting record to the residual of the same "
                         "push, in % of that mean; negative: paradoxical contraction");
}

void push_measure(struct anorectal_parts *parts)
{
    struct push best = {.manoeuvre = NULL};

    for (size_t i = 0; i < parts->list.count; i++) {
        if (parts->list.items[i].kind == MANOEUVRE_PUSH) {
            const struct push push = measure_one(parts, &parts->list.items[i]);

            best = is_better(&push, &best) ? push : best;
        }
    }
    if (best.manoeuvre == NULL) {
        const char *none = "no push is marked, and none was found without a marker";

        set_absent(parts->measures, none, none);
        return;
    }
    set_rectal(parts->measures, &best);
    if (parts->signals.rect.count == 0) {
        const char *none = "no rectal pressure signal";

        set_absent(parts->measures, none, none);
    }
    if (parts->signals.anal.count == 0) {
        const struct measure rise = parts->measures->push_rectal_rise;

        set_absent(parts->measures, "no anal pressure signal", "no anal pressure signal");
        parts->measures->push_rectal_rise = rise;
        return;
    }
    set_anal(parts, &best);
}
