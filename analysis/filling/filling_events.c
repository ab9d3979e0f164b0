/* The coughs and strains of the filling, from the pressure events. */
#include "analysis/criteria_pressure.h"
#include "analysis/filling/filling_parts.h"
#include "analysis/memory.h"

#include <math.h>

static struct cough as_cough(const struct pressure_event *event)
{
    const bool both = isfinite(event->pves_rise_cmh2o) && isfinite(event->pabd_rise_cmh2o) &&
                      event->pves_rise_cmh2o > 0.0;

    return (struct cough){
        .at_s = event->peak_s,
        .pves_rise_cmh2o = event->pves_rise_cmh2o,
        .pabd_rise_cmh2o = event->pabd_rise_cmh2o,
        .transmission = both ? event->pabd_rise_cmh2o / event->pves_rise_cmh2o : SERIES_MISSING,
        .marked = event->marked,
    };
}

static struct strain as_strain(const struct pressure_event *event)
{
    return (struct strain){
        .start_s = event->span.from_s,
        .peak_s = event->peak_s,
        .end_s = event->span.to_s,
        .pves_rise_cmh2o = event->pves_rise_cmh2o,
        .pabd_rise_cmh2o = event->pabd_rise_cmh2o,
        .marked = event->marked,
    };
}

/* Samples a second of the slowest line there is; 0 when there is none. */
static double slowest_rate(const struct study *study)
{
    double rate_hz = study->pves.count > 0 ? study->pves.rate_hz : SERIES_ENDLESS;

    if (study->pabd.count > 0 && study->pabd.rate_hz < rate_hz) {
        rate_hz = study->pabd.rate_hz;
    }
    return isfinite(rate_hz) ? rate_hz : 0.0;
}

/* How coughs were looked for, or why not. */
static struct item_list cough_list(const struct study *study)
{
    static const char found[] =
        "peaks of less than 2 s and at least 8 cmH2O in both lines; each rise is the line's own "
        "peak within 0.3 s over its median of the 2 s before";
    static const char slow[] =
        "peaks of less than 2 s and at least 8 cmH2O in both lines; each rise is the line's own "
        "peak within 0.3 s over its median of the 2 s before. Below 4 samples a second coughs are "
        "missed and their rises are too low";
    const double rate_hz = slowest_rate(study);

    if (!(rate_hz > 0.0)) {
        return (struct item_list){.state = MEASURE_ABSENT, .reason = "no pves or pabd signal"};
    }
    if (rate_hz < CRITERIA_EVENT_RATE_MIN_HZ) {
        return (struct item_list){.state = MEASURE_ABSENT,
                                  .reason = "the pressures are sampled less than once a second"};
    }
    return (struct item_list){.state = MEASURE_PRESENT,
                              .method = rate_hz < CRITERIA_COUGH_RATE_MIN_HZ ? slow : found};
}

static struct item_list strain_list(const struct study *study)
{
    static const char method[] =
        "both lines rise by at least 10 cmH2O, mean of the two, and stay above half of it for more "
        "than 2 s; rises over the median of the 5 s before";
    const size_t lines = (study->pves.count > 0 ? 1u : 0u) + (study->pabd.count > 0 ? 1u : 0u) +
                         (study->pdet.count > 0 ? 1u : 0u);

    if (lines < 2 || (study->pves.count == 0 && study->pabd.count == 0)) {
        return (struct item_list){.state = MEASURE_ABSENT,
                                  .reason = "it needs both pves and pabd: one line alone does not "
                                            "tell straining from a contraction"};
    }
    if (slowest_rate(study) < CRITERIA_EVENT_RATE_MIN_HZ) {
        return (struct item_list){.state = MEASURE_ABSENT,
                                  .reason = "the pressures are sampled less than once a second"};
    }
    return (struct item_list){.state = MEASURE_PRESENT, .method = method};
}

static size_t count_kind(const struct pressure_events *events, enum pressure_event_kind kind)
{
    size_t count = 0;

    for (size_t i = 0; i < events->count; i++) {
        count += events->items[i].kind == kind ? 1 : 0;
    }
    return count;
}

/* Events are in order of their start; of two coughs in one breath the smaller may start first. */
static void insert_cough(struct cough *coughs, size_t count, struct cough cough)
{
    size_t place = count;

    while (place > 0 && coughs[place - 1].at_s > cough.at_s) {
        coughs[place] = coughs[place - 1];
        place--;
    }
    coughs[place] = cough;
}

bool filling_list_events(const struct study *study, const struct filling_phase *phase,
                         struct filling_measures *measures)
{
    const struct pressure_events *events = &study->pressure_events;
    struct cough *coughs =
        memory_array(study->memory, count_kind(events, PRESSURE_EVENT_COUGH), sizeof *coughs);
    struct strain *strains =
        memory_array(study->memory, count_kind(events, PRESSURE_EVENT_STRAIN), sizeof *strains);

    measures->coughs = cough_list(study);
    measures->strains = strain_list(study);
    if (coughs == NULL || strains == NULL) {
        return false;
    }
    for (size_t i = 0; i < events->count; i++) {
        const struct pressure_event *event = &events->items[i];

        if (event->peak_s > phase->span.to_s) {
            continue;
        }
        if (event->kind == PRESSURE_EVENT_COUGH && measures->coughs.state == MEASURE_PRESENT) {
            insert_cough(coughs, measures->coughs.count++, as_cough(event));
        } else if (event->kind == PRESSURE_EVENT_STRAIN &&
                   measures->strains.state == MEASURE_PRESENT) {
            strains[measures->strains.count++] = as_strain(event);
        }
    }
    measures->coughs.items = coughs;
    measures->strains.items = strains;
    return true;
}
