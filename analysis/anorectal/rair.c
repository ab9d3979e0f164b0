/* The rectoanal inhibitory reflex: fall of the anal pressure after fast inflations of a rectal
 * balloon. */
#include "analysis/anorectal/parts.h"
#include "analysis/criteria_anorectal.h"
#include "analysis/measure.h"

#include <math.h>

/* What the inflations show together. */
struct reflex {
    const struct manoeuvre *threshold; /* the smallest volume that shows it; NULL: none */
    struct excursion fall;             /* at that one */
    double largest_ml;                 /* of those that could be judged and showed no fall */
    bool judged;
    bool fall_without_return;
    bool contact;
};

static double percent_of(const struct excursion *fall)
{
    return 100.0 * fall->change / fall->rest;
}

static struct excursion find_fall(const struct anorectal_parts *parts,
                                  const struct manoeuvre *manoeuvre)
{
    const struct excursion_rule rule = {
        .direction = -1.0,
        .window = manoeuvre->window,
        .reach_s = fmin(manoeuvre->next_s, manoeuvre->at_s + CRITERIA_ARM_RETURN_S),
        .start_share = CRITERIA_ARM_FALL_SHARE,
        .end_share = CRITERIA_ARM_RETURN_SHARE,
    };

    return excursion_find(&parts->signals.anal_second, &rule, parts->study->scratch);
}

/* Unknown volumes come last. */
static bool is_smaller(const struct manoeuvre *manoeuvre, const struct manoeuvre *than)
{
    return than == NULL || manoeuvre->volume_ml < than->volume_ml ||
           (isnan(than->volume_ml) && !isnan(manoeuvre->volume_ml));
}

static void judge(const struct anorectal_parts *parts, struct manoeuvre *manoeuvre,
                  struct reflex *reflex)
{
    const struct excursion fall = find_fall(parts, manoeuvre);
    const struct excursion rect =
        parts_excursion(parts, manoeuvre, &parts->signals.rect_second, 1.0);
    const double needed = parts->study->choices->rair_relaxation_percent.value;

    manoeuvre->item = parts_empty_item(manoeuvre);
    manoeuvre->item.rectal_rise_mmhg = rect.found ? rect.change : SERIES_MISSING;
    reflex->contact = reflex->contact || (rect.found && rect.change >= CRITERIA_ARM_CONTACT_MMHG);
    if (!fall.found || !(fall.rest >= CRITERIA_ARM_REST_LOW_MMHG)) {
        return;
    }
    const double percent = percent_of(&fall);

    manoeuvre->item.end_s = fall.span.to_s;
    manoeuvre->item.anal_rest_mmhg = fall.rest;
    manoeuvre->item.anal_lowest_mmhg = fall.extreme;
    manoeuvre->item.change_percent = percent;
    reflex->judged = true;
    if (percent < needed - 1e-6) {
        reflex->largest_ml = fmax(reflex->largest_ml, manoeuvre->volume_ml);
    } else if (!fall.end_seen) {
        reflex->fall_without_return = true;
    } else if (is_smaller(manoeuvre, reflex->threshold)) {
        reflex->threshold = manoeuvre;
        reflex->fall = fall;
    }
}

static struct measure present(const struct reflex *reflex)
{
    struct measure measure =
        measure_word("present", "fall of the anal pressure (lowest 1 s mean) by at least the "
                                "percentage chosen (25 from memory; others ask 20, or 5 mmHg) of "
                                "the level just before the inflation, with return; the smallest "
                                "volume that shows it");

    measure.has_time = true;
    measure.at_s = reflex->fall.extreme_s;
    measure.part_count = 3;
    measure.parts[0] = (struct named_number){"volume_ml", reflex->threshold->volume_ml};
    measure.parts[1] = (struct named_number){"relaxation_percent", percent_of(&reflex->fall)};
    measure.parts[2] =
        (struct named_number){"duration_s", reflex->fall.span.to_s - reflex->fall.span.from_s};
    return measure;
}

static struct measure not_present(const struct reflex *reflex)
{
    struct measure measure;

    if (!reflex->judged) {
        measure = measure_word("not_assessable", "the anal pressure after the inflations is "
                                                 "missing, or below 10 mmHg before them");
    } else if (reflex->fall_without_return) {
        measure = measure_word("not_assessable", "the anal pressure fell but its return is not "
                                                 "seen; look at the trace");
    } else if (!(reflex->largest_ml >= CRITERIA_ARM_ABSENT_ML)) {
        measure = measure_word("not_assessable",
                               "no fall was seen, but the reflex counts as absent only after "
                               "volumes of at least 240 mL: a wide rectum needs more");
    } else if (!reflex->contact) {
        measure = measure_word("not_assessable",
                               "no fall was seen, but nothing shows that the balloon met the "
                               "rectal wall: no rise of the rectal pressure and no sensation");
    } else {
        measure = measure_word("absent", "no fall of the anal pressure by the percentage chosen "
                                         "after volumes up to at least 240 mL (from memory)");
    }
    measure.part_count = 1;
    measure.parts[0] = (struct named_number){"volume_ml", reflex->largest_ml};
    return measure;
}

static bool any_sensation(const struct study *study)
{
    static const enum event_code felt[] = {EVENT_FIRST_SENSATION, EVENT_FIRST_DESIRE,
                                           EVENT_STRONG_DESIRE, EVENT_URGENCY, EVENT_PAIN};

    for (size_t i = 0; i < sizeof felt / sizeof felt[0]; i++) {
        if (timeline_count(&study->timeline, felt[i]) > 0) {
            return true;
        }
    }
    return false;
}

void rair_measure(struct anorectal_parts *parts)
{
    struct reflex reflex = {.largest_ml = SERIES_MISSING, .contact = any_sensation(parts->study)};

    if (manoeuvre_count(&parts->list, MANOEUVRE_BALLOON) == 0) {
        parts->measures->rair = measure_absent("no fast inflation of a balloon is marked or seen");
        return;
    }
    if (parts->signals.anal.count == 0) {
        parts->measures->rair = measure_absent("no anal pressure signal");
        return;
    }
    for (size_t i = 0; i < parts->list.count; i++) {
        if (parts->list.items[i].kind == MANOEUVRE_BALLOON) {
            judge(parts, &parts->list.items[i], &reflex);
        }
    }
    parts->measures->rair = reflex.threshold != NULL ? present(&reflex) : not_present(&reflex);
}
