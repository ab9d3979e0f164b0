#include "analysis/filling/leaks.h"

#include "analysis/criteria.h"
#include "analysis/criteria_leaks.h"
#include "analysis/filling/infusion.h"
#include "analysis/filling/leaks_meter.h"
#include "analysis/filling/leaks_points.h"
#include "analysis/measure.h"
#include "analysis/memory.h"

#include <math.h>
#include <string.h>

enum { LEAKS_MAX = 2 * LEAKS_METER_MAX };

static const unsigned stress_kinds = 1u << PRESSURE_EVENT_COUGH | 1u << PRESSURE_EVENT_STRAIN;

/* What explains a leak, and where its pressures are read. */
struct scene {
    const struct study *study;
    const struct filling_phase *phase;
    const struct filling_measures *measures;
    double delay_s;
};

/* A moment at which urine left the bladder. */
struct sighting {
    double at_s;     /* marker, or onset on the meter */
    double moment_s; /* in the pressures */
    double lost_ml;  /* NaN: only marked */
    bool metered;
};

/* ---- When ---- */

static double flow_delay(const struct study *study)
{
    const struct optional_number entered = study->recording->conditions.flow_delay_s;

    return entered.known && entered.value >= 0.0 && entered.value <= CRITERIA_FLOW_DELAY_MAX_S
               ? entered.value
               : study->choices->flow_delay_s.value;
}

static bool belongs(double marker_s, const struct meter_loss *losses, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (marker_s >= losses[i].span.from_s - CRITERIA_LEAK_MARKER_EARLY_S &&
            marker_s <= losses[i].span.to_s + CRITERIA_LEAK_MARKER_LATE_S) {
            return true;
        }
    }
    return false;
}

/* Markers that no loss on the meter explains, one a leak. */
static size_t take_markers(const struct scene *scene, const struct meter_loss *losses,
                           size_t loss_count, struct sighting *sightings)
{
    const struct timeline *timeline = &scene->study->timeline;
    double last_s = -SERIES_ENDLESS;
    size_t count = 0;

    for (size_t i = 0; i < timeline->count && count < LEAKS_METER_MAX; i++) {
        const struct event *event = &timeline->events[i];

        if (event->code != EVENT_LEAK || event->at_s < scene->phase->span.from_s ||
            event->at_s > scene->phase->span.to_s || belongs(event->at_s, losses, loss_count)) {
            continue;
        }
        if (event->at_s - last_s > CRITERIA_LEAK_MARKER_APART_S) {
            sightings[count++] = (struct sighting){event->at_s, event->at_s, SERIES_MISSING, false};
        }
        last_s = event->at_s;
    }
    return count;
}

/* Adds the losses on the meter to the markers, in order of time. */
static size_t add_losses(const struct scene *scene, const struct meter_loss *losses,
                         size_t loss_count, struct sighting *sightings, size_t count)
{
    for (size_t i = 0; i < loss_count; i++) {
        const double at_s = losses[i].span.from_s;
        size_t place = count++;

        while (place > 0 && sightings[place - 1].at_s > at_s) {
            sightings[place] = sightings[place - 1];
            place--;
        }
        sightings[place] = (struct sighting){at_s, at_s - scene->delay_s, losses[i].lost_ml, true};
    }
    return count;
}

/* ---- Why ---- */

/* Where the pressures may hold the cause of a leak. */
static struct span cause_window(const struct sighting *sighting)
{
    return (struct span){sighting->moment_s - (sighting->metered ? CRITERIA_LEAK_CAUSE_S
                                                                 : CRITERIA_LEAK_CAUSE_MARKED_S),
                         sighting->moment_s + CRITERIA_LEAK_CAUSE_S};
}

/* The cough or strain whose peak is nearest to the moment, among those that may be the cause. */
static const struct pressure_event *find_stress(const struct scene *scene,
                                                const struct sighting *sighting)
{
    const struct pressure_events *events = &scene->study->pressure_events;
    const struct span window = cause_window(sighting);
    const struct pressure_event *nearest = NULL;
    double least_s = SERIES_ENDLESS;

    for (size_t i = 0; i < events->count; i++) {
        const struct pressure_event *event = &events->items[i];
        const double off_s = fabs(event->peak_s - sighting->moment_s);

        if ((1u << event->kind & stress_kinds) != 0 && event->span.from_s <= window.to_s &&
            event->span.to_s >= window.from_s && off_s < least_s) {
            nearest = event;
            least_s = off_s;
        }
    }
    return nearest;
}

/* The involuntary contraction during which a leak came, or NULL. */
static const struct involuntary_contraction *find_contraction(const struct scene *scene,
                                                              const struct sighting *sighting)
{
    const struct item_list *list = &scene->measures->involuntary_contractions;
    const struct involuntary_contraction *items = list->items;
    const struct span window = cause_window(sighting);

    for (size_t i = 0; i < list->count; i++) {
        if (items[i].start_s <= window.to_s && items[i].end_s >= window.from_s) {
            return &items[i];
        }
    }
    return NULL;
}

static double read_at(const struct scene *scene, const struct series *series, double at_s)
{
    const struct span span = {at_s - CRITERIA_LEAK_READ_HALF_S, at_s + CRITERIA_LEAK_READ_HALF_S};

    return series->count == 0 ? SERIES_MISSING : level_median(series, span, scene->study->scratch);
}

/* pves just before something that begins at a moment. */
static double baseline(const struct scene *scene, double begin_s)
{
    const struct series *pves = &scene->study->pves;
    const double to_s = begin_s - CRITERIA_LEAK_BASELINE_LEAD_S;
    const struct span span = {to_s - CRITERIA_LEAK_BASELINE_S, to_s};

    return pves->count == 0 ? SERIES_MISSING : level_median(pves, span, scene->study->scratch);
}

/* Whether pdet, and not the abdomen, has risen since the start of filling. */
static bool is_pressed(const struct scene *scene, double moment_s)
{
    const struct measure *pdet_rest = &scene->measures->pdet_baseline;
    const struct measure *pabd_rest = &scene->measures->pabd_baseline;
    const unsigned unrest =
        1u << PRESSURE_EVENT_RESTLESS | 1u << PRESSURE_EVENT_FLUSH | 1u << PRESSURE_EVENT_RECTAL;
    const struct span moment = {moment_s, moment_s};

    if (!measure_known(pdet_rest) ||
        pressure_events_overlap(&scene->study->pressure_events, unrest, moment, 0.0)) {
        return false;
    }
    const double pdet_rise = read_at(scene, &scene->study->pdet, moment_s) - pdet_rest->value;
    const double pabd_rise = measure_known(pabd_rest)
                                 ? read_at(scene, &scene->study->pabd, moment_s) - pabd_rest->value
                                 : 0.0;

    return pdet_rise >= CRITERIA_LEAK_PDET_RISE_CMH2O &&
           !(pabd_rise > CRITERIA_LEAK_PABD_SHARE * pdet_rise);
}

static enum leak_cause find_cause(const struct scene *scene, const struct sighting *sighting,
                                  const struct pressure_event *stress,
                                  const struct involuntary_contraction *contraction)
{
    if (stress != NULL) {
        const bool both = contraction != NULL &&
                          contraction->start_s + CRITERIA_LEAK_UNDER_WAY_S <= stress->span.from_s;

        return both                                   ? LEAK_UNCLEAR
               : stress->kind == PRESSURE_EVENT_COUGH ? LEAK_COUGH
                                                      : LEAK_STRAIN;
    }
    if (contraction != NULL) {
        return LEAK_CONTRACTION;
    }
    return is_pressed(scene, sighting->moment_s) ? LEAK_PRESSURE : LEAK_UNCLEAR;
}

/* ---- At which pressure ---- */

/* Moment of the highest pves around the peak of a cough; the event's own where there is none. */
static double peak_moment(const struct study *study, const struct pressure_event *cough)
{
    const struct series part =
        series_part(&study->pves, (struct span){cough->peak_s - CRITERIA_LEAK_PEAK_HALF_S,
                                                cough->peak_s + CRITERIA_LEAK_PEAK_HALF_S});
    size_t top = 0;

    return series_maximum(&part, &top) ? series_time(&part, top) : cough->peak_s;
}

/* At a cough the sample itself: it is too short for a mean. */
static double cough_value(const struct series *series, double at_s)
{
    return series->count == 0 ? SERIES_MISSING : series_value(series, at_s);
}

static void read_cough(const struct scene *scene, const struct pressure_event *cough,
                       struct leak_found *found)
{
    const struct study *study = scene->study;
    const double start_s = fmin(cough->span.from_s, cough->peak_s - CRITERIA_LEAK_PEAK_HALF_S);

    found->pressure_s = peak_moment(study, cough);
    found->leak.pves_baseline_cmh2o = baseline(scene, start_s);
    found->leak.pves_leak_cmh2o = cough_value(&study->pves, found->pressure_s);
    found->leak.pabd_leak_cmh2o = cough_value(&study->pabd, found->pressure_s);
    found->leak.pdet_leak_cmh2o = cough_value(&study->pdet, found->pressure_s);
}

static void read_level(const struct scene *scene, double moment_s, double begin_s,
                       struct leak_found *found)
{
    const struct study *study = scene->study;

    found->pressure_s = moment_s;
    found->leak.pves_baseline_cmh2o = baseline(scene, begin_s);
    found->leak.pves_leak_cmh2o = read_at(scene, &study->pves, moment_s);
    found->leak.pabd_leak_cmh2o = read_at(scene, &study->pabd, moment_s);
    found->leak.pdet_leak_cmh2o = read_at(scene, &study->pdet, moment_s);
}

static void read_pressures(const struct scene *scene, const struct sighting *sighting,
                           const struct pressure_event *stress,
                           const struct involuntary_contraction *contraction,
                           struct leak_found *found)
{
    const double moment_s = sighting->moment_s;

    if (found->cause == LEAK_COUGH) {
        read_cough(scene, stress, found);
    } else if (found->cause == LEAK_STRAIN) {
        const bool within = moment_s >= stress->span.from_s && moment_s <= stress->span.to_s;

        read_level(scene, within ? moment_s : stress->peak_s, stress->span.from_s, found);
    } else {
        read_level(scene, moment_s,
                   contraction != NULL ? fmin(contraction->start_s, moment_s) : moment_s, found);
    }
    found->leak.pves_rise_cmh2o = found->leak.pves_leak_cmh2o - found->leak.pves_baseline_cmh2o;
}

/* ---- What it was ---- */

static double bladder_volume(const struct study *study, double at_s)
{
    const struct optional_number residual = study->recording->conditions.initial_residual_ml;
    const struct infused infused = infusion_volume(study, at_s);
    const bool add =
        residual.known && residual.value >= 0.0 && residual.value <= CRITERIA_SAMPLE_LIMIT;

    return infused.known ? infused.volume_ml + (add ? residual.value : 0.0) : SERIES_MISSING;
}

static struct leak_found describe(const struct scene *scene, const struct sighting *sighting)
{
    static const char *const names[] = {[LEAK_COUGH] = "cough",
                                        [LEAK_STRAIN] = "valsalva",
                                        [LEAK_CONTRACTION] = "detrusor",
                                        [LEAK_PRESSURE] = "detrusor",
                                        [LEAK_UNCLEAR] = "unclear"};
    const struct pressure_event *stress = find_stress(scene, sighting);
    const struct involuntary_contraction *contraction = find_contraction(scene, sighting);
    struct leak_found found = {.leak = {.at_s = sighting->at_s, .lost_ml = sighting->lost_ml}};

    found.cause = find_cause(scene, sighting, stress, contraction);
    found.leak.cause = names[found.cause];
    found.leak.volume_ml = bladder_volume(scene->study, sighting->at_s);
    read_pressures(scene, sighting, stress, contraction, &found);
    return found;
}

/* Sets `leak` of the contractions, on a copy: a list's items are not to be changed. */
static bool mark_contractions(struct study *study, const struct scene *scene,
                              const struct sighting *sightings, size_t count,
                              struct filling_measures *measures)
{
    struct item_list *list = &measures->involuntary_contractions;

    if (list->count == 0 || count == 0) {
        return true;
    }
    const struct involuntary_contraction *items = list->items;
    struct involuntary_contraction *copy = memory_array(study->memory, list->count, sizeof *copy);

    if (copy == NULL) {
        return false;
    }
    memcpy(copy, items, list->count * sizeof *copy);
    for (size_t i = 0; i < count; i++) {
        const struct involuntary_contraction *during = find_contraction(scene, &sightings[i]);

        if (during != NULL) {
            copy[during - items].leak = true;
        }
    }
    list->items = copy;
    return true;
}

static void fill_list(const struct leak_found *found, size_t count, bool on_record,
                      struct leak *items, struct item_list *ret_list)
{
    for (size_t i = 0; i < count; i++) {
        items[i] = found[i].leak;
    }
    *ret_list = (struct item_list){
        .state = on_record ? MEASURE_PRESENT : MEASURE_ABSENT,
        .count = count,
        .items = items,
        .method = "leak markers, and urine on the meter; pressures at the peak of a cough, else at "
                  "the marker or on the meter less the flow delay; urine lost earlier is not taken "
                  "off the volume in the bladder",
        .reason = "no leak was marked, and no flow was recorded that would show one"};
}

bool leaks_measure(struct study *study, const struct flow_record *record,
                   const struct filling_phase *phase, struct filling_measures *measures)
{
    const struct scene scene = {study, phase, measures, flow_delay(study)};
    struct meter_loss *losses = memory_array(study->memory, LEAKS_METER_MAX, sizeof *losses);
    struct sighting *sightings = memory_array(study->memory, LEAKS_MAX, sizeof *sightings);
    size_t loss_count = 0;

    if (losses == NULL || sightings == NULL ||
        !leaks_meter_find(study, record, phase->span, losses, &loss_count)) {
        return false;
    }
    const size_t marked = take_markers(&scene, losses, loss_count, sightings);
    const size_t count = add_losses(&scene, losses, loss_count, sightings, marked);
    struct leak_found *found = memory_array(study->memory, count, sizeof *found);
    struct leak *items = memory_array(study->memory, count, sizeof *items);

    if (found == NULL || items == NULL) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        found[i] = describe(&scene, &sightings[i]);
    }
    const bool on_record = leaks_meter_exists(study) || count > 0;
    const bool stressed =
        pressure_events_overlap(&study->pressure_events, stress_kinds, phase->span, 0.0);

    fill_list(found, count, on_record, items, &measures->leaks);
    leaks_points(found, count, stressed, on_record, measures);
    return mark_contractions(study, &scene, sightings, count, measures);
}
