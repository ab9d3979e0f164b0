/* Rectal sensation and compliance: volumes at which a slowly filled balloon is felt, and how the
 * rectum yields to it. */
#include "analysis/anorectal/parts.h"
#include "analysis/criteria_anorectal.h"
#include "analysis/measure.h"

#include <math.h>

static struct measure volume_measure(const struct anorectal_parts *parts, double at_s,
                                     const char *by_signal, const char *by_event)
{
    const double volume_ml = manoeuvre_volume(parts->study, &parts->signals, at_s);

    if (isnan(volume_ml)) {
        return measure_absent("the balloon's volume is not known there");
    }
    return measure_at(volume_ml, at_s, parts->signals.balloon.count > 0 ? by_signal : by_event);
}

/* Where the markers of the sensory test begin. */
static double test_start(const struct study *study)
{
    const struct optional_number start = study->timeline.filling_start;

    return start.known ? start.value : -SERIES_ENDLESS;
}

static struct measure sensation(const struct anorectal_parts *parts, enum event_code code)
{
    const struct optional_number marker =
        timeline_first(&parts->study->timeline, code, test_start(parts->study));

    if (!marker.known) {
        return measure_absent("no marker for it");
    }
    return volume_measure(parts, marker.value, "volume of the balloon at the marker",
                          "last volume entered with a balloon marker at or before the marker");
}

/* The patient asks to stop at pain; without it, the inflation's end is the most that was borne. */
static struct measure tolerated(const struct anorectal_parts *parts)
{
    const struct timeline *timeline = &parts->study->timeline;
    const double from_s = test_start(parts->study);
    const struct optional_number pain = timeline_first(timeline, EVENT_PAIN, from_s);
    const struct optional_number stop = timeline_first(timeline, EVENT_FILLING_STOP, from_s);

    if (pain.known) {
        return volume_measure(parts, pain.value, "volume of the balloon at the pain marker",
                              "last volume entered with a balloon marker at or before the pain "
                              "marker");
    }
    if (!stop.known) {
        return measure_absent("no pain and no filling_stop marker");
    }
    return volume_measure(parts, stop.value,
                          "volume of the balloon at the filling_stop marker, because there is no "
                          "pain marker; a lower bound when the inflation was ended for another "
                          "reason",
                          "last volume entered with a balloon marker at or before filling_stop, "
                          "because there is no pain marker; a lower bound when the inflation was "
                          "ended for another reason");
}

static void note_order(struct anorectal_parts *parts)
{
    const struct anorectal_measures *measures = parts->measures;
    const struct measure *const rising[] = {&measures->first_sensation_volume,
                                            &measures->desire_volume,
                                            &measures->maximum_tolerated_volume};
    double last = -SERIES_ENDLESS;

    for (size_t i = 0; i < sizeof rising / sizeof rising[0]; i++) {
        if (!measure_known(rising[i])) {
            continue;
        }
        if (rising[i]->value < last - 1e-6) {
            outcome_note(&parts->study->outcome, "order", QUALITY_WARNING, SIGNAL_BALLOON,
                         "The volumes at first sensation, desire to defecate and the most that was "
                         "tolerated do not rise in this order. Check the markers and the balloon's "
                         "volume.");
            return;
        }
        last = rising[i]->value;
    }
}

/* Sums for the straight line of pressure over volume. */
struct line {
    double count;
    double volume;
    double pressure;
    double squares; /* of volume */
    double products;
    double least_ml;
    double most_ml;
};

static struct line fit(const struct anorectal_parts *parts)
{
    const struct series part = series_part(&parts->signals.rect, parts->list.sensory);
    struct line line = {.least_ml = SERIES_ENDLESS, .most_ml = -SERIES_ENDLESS};

    for (size_t i = 0; i < part.count; i++) {
        const double volume_ml = series_value(&parts->signals.balloon, series_time(&part, i));

        if (!isnan(volume_ml) && !isnan(part.samples[i])) {
            line.count += 1.0;
            line.volume += volume_ml;
            line.pressure += part.samples[i];
            line.squares += volume_ml * volume_ml;
            line.products += volume_ml * part.samples[i];
            line.least_ml = fmin(line.least_ml, volume_ml);
            line.most_ml = fmax(line.most_ml, volume_ml);
        }
    }
    return line;
}

static struct measure compliance(const struct anorectal_parts *parts)
{
    const struct span span = parts->list.sensory;

    if (!parts->study->timeline.filling_start.known) {
        return measure_absent("no filling_start marker of a slow inflation");
    }
    if (parts->signals.rect.count == 0 || parts->signals.balloon.count == 0) {
        return measure_absent("it needs the rectal pressure and the balloon's volume as signals");
    }
    const struct line line = fit(parts);
    const double volume_ml = line.most_ml - line.least_ml;
    const double spread = line.count * line.squares - line.volume * line.volume;

    if (!(volume_ml >= CRITERIA_ARM_COMPLIANCE_ML) || !(spread > 0.0)) {
        return measure_absent("less than 20 mL were filled while the rectal pressure is known");
    }
    const double slope =
        (line.count * line.products - line.volume * line.pressure) / spread; /* mmHg/mL */

    if (!(slope * volume_ml >= CRITERIA_ARM_COMPLIANCE_MMHG)) {
        return measure_absent("the rectal pressure rose by less than 2 mmHg");
    }
    return measure_at(1.0 / slope, 0.5 * (span.from_s + span.to_s),
                      "inverse slope of the straight line of rectal pressure over balloon volume "
                      "during the slow inflation; the balloon's own elasticity is not known and is "
                      "not subtracted, so the rectum yields more than this");
}

void rectal_sensation_measure(struct anorectal_parts *parts)
{
    struct anorectal_measures *measures = parts->measures;

    measures->first_sensation_volume = sensation(parts, EVENT_FIRST_SENSATION);
    measures->desire_volume = sensation(parts, EVENT_FIRST_DESIRE);
    measures->maximum_tolerated_volume = tolerated(parts);
    measures->rectal_compliance = compliance(parts);
    note_order(parts);
}
