#include "figure/pull_curve.h"

#include "figure/numbers.h"
#include "figure/trace_line.h"

#include <math.h>
#include <string.h>

enum { PULLS_SHOWN_MAX = 8, POINTS_MOST = 1500 };

struct pull_facts {
    double start_s;
    double end_s;
    double speed_mm_s;
    double zero_s; /* where position 0 is */
    bool inward;
    bool is_aligned;
};

static bool moves_inward(const struct figure_source *source, struct figure_span span)
{
    const struct traces_channel *puller = trace_find(source, span, SIGNAL_PULLER);
    return puller != NULL && trace_value(puller, span.to_s) < trace_value(puller, span.from_s);
}

static bool read_facts(const struct figure_source *source, size_t index, struct pull_facts *ret)
{
    const struct number start = number_of_entry(source, "profiles", index, "start_s");
    const struct number end = number_of_entry(source, "profiles", index, "end_s");
    const struct number speed = number_of_entry(source, "profiles", index, "speed");
    const struct number peak =
        number_of_entry(source, "profiles", index, "maximum_closure_pressure");
    const struct number length = number_of_entry(source, "profiles", index, "length_to_peak");
    if (!start.known || !end.known || !speed.known || !(speed.value > 0.0)) {
        return false;
    }
    *ret =
        (struct pull_facts){.start_s = start.value, .end_s = end.value, .speed_mm_s = speed.value};
    ret->inward = moves_inward(source, (struct figure_span){start.value, end.value});
    ret->zero_s = ret->inward ? end.value : start.value;
    if (peak.known && isfinite(peak.at_s) && length.known) {
        const double away_s = length.value / speed.value;
        ret->zero_s = ret->inward ? peak.at_s + away_s : peak.at_s - away_s;
        ret->is_aligned = true;
    }
    return true;
}

static void fill_curve(const struct figure_source *source, const struct pull_facts *facts,
                       bool is_closure, struct arena *arena, struct pull_curve *curve)
{
    const struct figure_span span = {facts->start_s, facts->end_s};
    const struct traces_channel *pura = trace_find(source, span, SIGNAL_PURA);
    const struct traces_channel *pves = trace_find(source, span, SIGNAL_PVES);
    if (pura == NULL || (is_closure && pves == NULL)) {
        return;
    }
    const double pitch_s = pura->bin_s > 0.0 ? pura->bin_s : 1.0 / pura->rate_hz;
    const double length_s = span.to_s - span.from_s;
    curve->count = (size_t)fmin(POINTS_MOST, floor(length_s / pitch_s) + 1.0);
    curve->position_mm = arena_array(arena, curve->count, sizeof *curve->position_mm);
    curve->pressure = arena_array(arena, curve->count, sizeof *curve->pressure);
    for (size_t i = 0; i < curve->count; i++) {
        const double into_s =
            length_s * (double)i / (double)(curve->count > 1 ? curve->count - 1 : 1);
        const double at_s = facts->inward ? span.to_s - into_s : span.from_s + into_s;
        const double away_s = facts->inward ? facts->zero_s - at_s : at_s - facts->zero_s;
        curve->position_mm[i] = away_s * facts->speed_mm_s;
        curve->pressure[i] = trace_value(pura, at_s) - (is_closure ? trace_value(pves, at_s) : 0.0);
    }
}

struct pull_curves pull_curves_of(const struct figure_source *source, struct arena *arena)
{
    const size_t entries = number_entries(source, "profiles");
    const struct figure_span whole = {0.0, source->duration_s};
    struct pull_facts facts[PULLS_SHOWN_MAX];
    struct pull_curves found = {.is_closure = trace_find(source, whole, SIGNAL_PVES) != NULL,
                                .is_aligned = true};
    found.curves = arena_array(arena, PULLS_SHOWN_MAX, sizeof *found.curves);
    for (size_t i = 0; i < entries && found.count < PULLS_SHOWN_MAX; i++) {
        struct pull_curve *curve = &found.curves[found.count];
        struct pull_facts *fact = &facts[found.count];
        if (read_facts(source, i, fact)) {
            curve->number = i + 1;
            curve->is_stress =
                strcmp(number_word_of_entry(source, "profiles", i, "kind"), "stress") == 0;
            found.is_aligned = found.is_aligned && fact->is_aligned;
            found.count++;
        }
    }
    for (size_t i = 0; i < found.count; i++) {
        if (!found.is_aligned) {
            facts[i].zero_s = facts[i].inward ? facts[i].end_s : facts[i].start_s;
        }
        fill_curve(source, &facts[i], found.is_closure, arena, &found.curves[i]);
    }
    return found;
}

double pull_curve_at(const struct pull_curve *curve, double position_mm)
{
    for (size_t i = 1; i < curve->count; i++) {
        const double before = curve->position_mm[i - 1];
        const double after = curve->position_mm[i];
        if (position_mm >= before && position_mm <= after && after > before) {
            const double share = (position_mm - before) / (after - before);
            return curve->pressure[i - 1] + share * (curve->pressure[i] - curve->pressure[i - 1]);
        }
    }
    return (double)NAN;
}
