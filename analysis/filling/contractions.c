#include "analysis/filling/contractions.h"

#include "analysis/criteria.h"
#include "analysis/criteria_pressure.h"
#include "analysis/filling/infusion.h"
#include "analysis/memory.h"
#include "analysis/pressure/pressure_grid.h"
#include "analysis/series_copy.h"
#include "analysis/signal/baseline.h"
#include "analysis/signal/peaks.h"
#include "analysis/signal/resample.h"
#include "analysis/signal/smooth.h"

#include <math.h>
#include <string.h>

/* Detrusor pressure on the grid, without what the pressure events explain. */
struct detrusor_trace {
    const struct study *study;
    const struct filling_phase *phase;
    struct pressure_grid grid;
    double *level;    /* of pdet without contractions */
    double *excess;   /* median of pdet over the level: where contractions are looked for; one more
                         value at its end lies below everything, so that a wave that goes on there
                         is one */
    double *averaged; /* mean of pdet: where their height is read */
};

/* A contraction, by samples of the grid. */
struct wave {
    size_t first;
    size_t peak;
    size_t last;
    double height; /* of `excess` at its peak */
    double amplitude_cmh2o;
};

static unsigned bit(enum pressure_event_kind kind)
{
    return 1u << kind;
}

/* Leaves out what the events explain. Restlessness is in both lines alike and stays. */
static void mask_events(struct detrusor_trace *trace)
{
    const struct pressure_events *events = &trace->study->pressure_events;
    const unsigned slow = bit(PRESSURE_EVENT_STRAIN) | bit(PRESSURE_EVENT_RECTAL) |
                          bit(PRESSURE_EVENT_FLUSH) | bit(PRESSURE_EVENT_POSITION);

    for (size_t i = 0; i < events->count; i++) {
        const struct pressure_event *event = &events->items[i];
        const double around_s = (bit(event->kind) & slow) != 0 ? CRITERIA_CONTRACTION_MASK_S : 0.0;

        if (event->kind != PRESSURE_EVENT_RESTLESS) {
            pressure_grid_mask(
                &trace->grid,
                (struct span){event->span.from_s - around_s, event->span.to_s + around_s},
                trace->grid.pdet);
        }
    }
}

/* Where the level may step: after a change of position, and after a flush, which ends a false
 * level. */
static bool *make_breaks(const struct detrusor_trace *trace, const struct series *slow)
{
    const struct pressure_events *events = &trace->study->pressure_events;
    bool *breaks = memory_array(trace->study->memory, slow->count, sizeof *breaks);

    for (size_t i = 0; breaks != NULL && i < events->count; i++) {
        const struct pressure_event *event = &events->items[i];
        const size_t at = series_first_at(slow, event->span.to_s);

        if ((event->kind == PRESSURE_EVENT_POSITION || event->kind == PRESSURE_EVENT_FLUSH) &&
            at < slow->count) {
            breaks[at] = true;
        }
    }
    return breaks;
}

static bool find_level(struct detrusor_trace *trace)
{
    const struct analysis_memory *memory = trace->study->memory;
    const struct baseline_rule rule = {CRITERIA_CONTRACTION_PERIOD_S,
                                       CRITERIA_CONTRACTION_NOISE_CMH2O,
                                       CRITERIA_CONTRACTION_ROUNDS};
    const struct series pdet = pressure_grid_series(&trace->grid, trace->grid.pdet);
    const size_t block = resample_block(&pdet, CRITERIA_SLOW_HZ);
    struct series slow;

    if (!series_copy_reduced(&pdet, CRITERIA_SLOW_HZ, memory, &slow)) {
        return false;
    }
    struct series level = slow;
    double *scratch = memory_array(memory, slow.count, BASELINE_SCRATCH * sizeof *scratch);
    double *output = memory_doubles(memory, slow.count);
    const bool *breaks = make_breaks(trace, &slow);

    if (scratch == NULL || output == NULL || breaks == NULL) {
        return false;
    }
    baseline_follow(&slow, breaks, rule, scratch, output);
    level.samples = output;
    pressure_grid_spread(&trace->grid, &level, block, trace->level);
    return true;
}

static bool open_trace(struct detrusor_trace *trace)
{
    const struct analysis_memory *memory = trace->study->memory;
    const size_t count = trace->grid.count;
    struct series pdet = pressure_grid_series(&trace->grid, NULL);
    const size_t window = smooth_window(&pdet, CRITERIA_CONTRACTION_MEDIAN_HALF_S);
    double *sorted = memory_doubles(memory, window);

    double *pdet_copy = memory_doubles(memory, count);

    trace->level = memory_doubles(memory, count);
    trace->excess = memory_doubles(memory, count + 1);
    trace->averaged = memory_doubles(memory, count);
    if (sorted == NULL || pdet_copy == NULL || trace->level == NULL || trace->excess == NULL ||
        trace->averaged == NULL) {
        return false;
    }
    memcpy(pdet_copy, trace->grid.pdet, count * sizeof *pdet_copy);
    trace->grid.pdet = pdet_copy;
    mask_events(trace);
    pdet.samples = pdet_copy;
    smooth_median(&pdet, window, sorted, trace->excess);
    smooth_mean(&pdet, smooth_window(&pdet, CRITERIA_CONTRACTION_PEAK_HALF_S), SMOOTH_ENDS_SHORTEN,
                trace->averaged);
    if (!find_level(trace)) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        trace->excess[i] -= trace->level[i];
    }
    trace->excess[count] = -SERIES_ENDLESS;
    return true;
}

/* ---- One contraction ---- */

/* Last sample of the wave to one side of its peak: where it comes down to its edge, or where too
 * much is missing. `step` is 1 or -1 as size_t. */
static size_t find_edge(const struct detrusor_trace *trace, size_t peak, size_t step, double edge)
{
    const size_t bridge = (size_t)(CRITERIA_CONTRACTION_BRIDGE_S * trace->grid.rate_hz);
    size_t known = peak;

    for (size_t i = peak + step; i < trace->grid.count; i += step) {
        const size_t away = step == 1 ? i - known : known - i;

        if (away > bridge) {
            break;
        }
        if (isnan(trace->excess[i])) {
            continue;
        }
        if (trace->excess[i] < edge) {
            return i;
        }
        known = i;
    }
    return known;
}

static struct wave make_wave(const struct detrusor_trace *trace, const struct peak *peak)
{
    const double edge =
        fmax(CRITERIA_CONTRACTION_EDGE_SHARE * peak->height, CRITERIA_CONTRACTION_EDGE_CMH2O);

    return (struct wave){.first = find_edge(trace, peak->index, (size_t)-1, edge),
                         .peak = peak->index,
                         .last = find_edge(trace, peak->index, 1, edge),
                         .height = peak->height};
}

/* Reads the height: the largest mean within the wave over the level at its start. */
static void read_height(const struct detrusor_trace *trace, struct wave *wave)
{
    double largest = -SERIES_ENDLESS;

    for (size_t i = wave->first; i <= wave->last; i++) {
        if (trace->averaged[i] > largest) {
            largest = trace->averaged[i];
            wave->peak = i;
        }
    }
    wave->amplitude_cmh2o = largest - trace->level[wave->first];
}

static bool lasts(const struct detrusor_trace *trace, const struct wave *wave)
{
    size_t high = 0;

    for (size_t i = wave->first; i <= wave->last; i++) {
        high += trace->excess[i] >= 0.5 * wave->height ? 1 : 0;
    }
    return (double)high / trace->grid.rate_hz >= CRITERIA_CONTRACTION_MIN_S;
}

/* Change of a line over the upper half of the wave, against the level just before it. */
static double change_of(const struct detrusor_trace *trace, const double *samples,
                        const struct wave *wave)
{
    const struct series line = pressure_grid_series(&trace->grid, samples);
    const double start_s = pressure_grid_time(&trace->grid, wave->first);
    const struct span before = {start_s - CRITERIA_CONTRACTION_BEFORE_S, start_s};
    const double level = level_median(&line, before, trace->study->scratch);
    double sum = 0.0;
    double count = 0.0;

    for (size_t i = wave->first; i <= wave->last; i++) {
        if (trace->excess[i] >= 0.5 * wave->height && !isnan(samples[i])) {
            sum += samples[i];
            count += 1.0;
        }
    }
    return count > 0.0 ? sum / count - level : SERIES_MISSING;
}

/* Whether pves rises and pabd does little: else it is straining, or pabd mirrored in pdet. Without
 * a level before it, at the start of the record, nothing can be said, and it is left out. */
static bool is_of_bladder(const struct detrusor_trace *trace, const struct wave *wave)
{
    const double pves = change_of(trace, trace->grid.pves, wave);
    const double pabd = change_of(trace, trace->grid.pabd, wave);

    return pves > 0.0 && fabs(pabd) < CRITERIA_CONTRACTION_PABD_SHARE * pves;
}

/* ---- The end of filling ---- */

/* The pump still runs at a moment, as far as is known. */
static bool is_filling(const struct study *study, const struct filling_phase *phase, double at_s)
{
    const struct timeline *timeline = &study->timeline;

    if (timeline->filling_stop.known) {
        return at_s <= timeline->filling_stop.value + CRITERIA_TERMINAL_END_S;
    }
    const struct infused then = infusion_volume(study, at_s - CRITERIA_TERMINAL_END_S);
    const struct infused last = infusion_volume(study, phase->span.to_s);

    return !then.known || !last.known ||
           last.volume_ml - then.volume_ml >= CRITERIA_INFUSION_RISE_ML;
}

/* Whether a wave that is not over when filling ends is the voiding's: begun just before permission
 * and still up; or, where the voiding itself ends the filling, begun after the pump had stopped. */
static bool is_voiding(const struct detrusor_trace *trace, const struct wave *wave)
{
    const double start_s = pressure_grid_time(&trace->grid, wave->first);
    const double end_s = pressure_grid_time(&trace->grid, wave->last);
    const double over_s = trace->phase->span.to_s - 2.0 / trace->grid.rate_hz;

    if (end_s < over_s - CRITERIA_CONTRACTION_MEDIAN_HALF_S) {
        return false;
    }
    if (trace->phase->end == FILLING_ENDS_AT_PERMISSION) {
        return start_s > trace->phase->span.to_s - CRITERIA_VOIDING_LEAD_S &&
               trace->excess[wave->last] >= CRITERIA_VOIDING_FALL_SHARE * wave->height;
    }
    return trace->phase->end == FILLING_ENDS_AT_VOIDING &&
           !is_filling(trace->study, trace->phase, start_s);
}

/* Whether filling ends with a contraction: it goes on when the phase ends without permission, or
 * the pump is stopped during it or just after. */
static bool ends_filling(const struct study *study, const struct filling_phase *phase,
                         const struct involuntary_contraction *contraction)
{
    const struct optional_number stop = study->timeline.filling_stop;
    const double until_s = contraction->end_s + CRITERIA_TERMINAL_END_S;

    if (phase->end != FILLING_ENDS_AT_PERMISSION && phase->span.to_s <= until_s) {
        return true;
    }
    return stop.known && stop.value >= contraction->start_s && stop.value <= until_s;
}

static const char *kind_of(const struct study *study, const struct filling_phase *phase,
                           const struct involuntary_contraction *contraction)
{
    const double capacity_ml = infusion_bladder_volume(study, phase->span.to_s).volume_ml;
    const bool early =
        contraction->volume_ml < CRITERIA_TERMINAL_VOLUME_SHARE * capacity_ml; /* false for NaN */

    return !early && ends_filling(study, phase, contraction) ? "terminal" : "phasic";
}

/* ---- The list ---- */

static bool has_urgency(const struct timeline *timeline,
                        const struct involuntary_contraction *contraction)
{
    const struct optional_number marker =
        timeline_first(timeline, EVENT_URGENCY, contraction->start_s - CRITERIA_URGENCY_S);

    return marker.known && marker.value <= contraction->end_s + CRITERIA_URGENCY_S;
}

static struct involuntary_contraction describe(const struct detrusor_trace *trace,
                                               const struct wave *wave)
{
    const struct study *study = trace->study;
    const double start_s = pressure_grid_time(&trace->grid, wave->first);
    const struct infused volume = infusion_bladder_volume(study, start_s);
    const struct span before = {start_s - CRITERIA_AFTER_COUGH_S, start_s};
    const unsigned provoking = bit(PRESSURE_EVENT_COUGH) | bit(PRESSURE_EVENT_STRAIN);
    struct involuntary_contraction contraction = {
        .start_s = start_s,
        .peak_s = pressure_grid_time(&trace->grid, wave->peak),
        .end_s = pressure_grid_time(&trace->grid, wave->last),
        .volume_ml = volume.known ? volume.volume_ml : SERIES_MISSING,
        .amplitude_cmh2o = wave->amplitude_cmh2o,
        .peak_pdet_cmh2o = trace->averaged[wave->peak],
        .after_cough = pressure_events_overlap(&study->pressure_events, provoking, before, 0.0),
    };

    contraction.urgency = has_urgency(&study->timeline, &contraction);
    contraction.kind = kind_of(study, trace->phase, &contraction);
    return contraction;
}

/* The lowest place between two peaks. */
static size_t lowest_between(const struct detrusor_trace *trace, size_t from, size_t to)
{
    size_t lowest = from;

    for (size_t i = from; i <= to; i++) {
        if (trace->excess[i] < trace->excess[lowest]) {
            lowest = i;
        }
    }
    return lowest;
}

/* Makes waves of the peaks that stand apart; waves that meet are parted at the lowest place. */
static size_t find_waves(const struct detrusor_trace *trace, const struct peak *peaks, size_t count,
                         struct wave *waves)
{
    const double least = CRITERIA_CONTRACTION_CANDIDATE_SHARE *
                         trace->study->choices->contraction_amplitude_cmh2o.value;
    size_t found = 0;

    for (size_t i = 0; i < count; i++) {
        if (peaks[i].height < least ||
            peaks[i].prominence < CRITERIA_CONTRACTION_APART_SHARE * peaks[i].height) {
            continue;
        }
        struct wave wave = make_wave(trace, &peaks[i]);

        if (found > 0 && wave.first <= waves[found - 1].last) {
            const size_t low = lowest_between(trace, waves[found - 1].peak, wave.peak);

            waves[found - 1].last = low;
            wave.first = low;
        }
        waves[found++] = wave;
    }
    return found;
}

static bool is_contraction(const struct detrusor_trace *trace, struct wave *wave)
{
    read_height(trace, wave);
    return wave->amplitude_cmh2o >= trace->study->choices->contraction_amplitude_cmh2o.value &&
           pressure_grid_time(&trace->grid, wave->peak) >= trace->phase->span.from_s &&
           lasts(trace, wave) && is_of_bladder(trace, wave) && !is_voiding(trace, wave);
}

static bool list_contractions(const struct detrusor_trace *trace, struct item_list *list)
{
    const struct analysis_memory *memory = trace->study->memory;
    const struct series excess = {trace->grid.rate_hz, trace->grid.start_s, trace->grid.count + 1,
                                  trace->excess};
    const size_t room = peaks_capacity(&excess);
    struct peak *peaks = memory_array(memory, room, sizeof *peaks);
    size_t *stack = memory_array(memory, room, sizeof *stack);

    if (peaks == NULL || stack == NULL) {
        return false;
    }
    const double apart = CRITERIA_CONTRACTION_CANDIDATE_SHARE * CRITERIA_CONTRACTION_APART_SHARE *
                         trace->study->choices->contraction_amplitude_cmh2o.value;
    const size_t peak_count = peaks_find(&excess, apart, peaks, stack);
    struct wave *waves = memory_array(memory, peak_count, sizeof *waves);
    struct involuntary_contraction *items = memory_array(memory, peak_count, sizeof *items);

    if (waves == NULL || items == NULL) {
        return false;
    }
    const size_t wave_count = find_waves(trace, peaks, peak_count, waves);

    for (size_t i = 0; i < wave_count; i++) {
        if (is_contraction(trace, &waves[i])) {
            items[list->count++] = describe(trace, &waves[i]);
        }
    }
    list->items = items;
    return true;
}

/* ---- The one that empties the bladder ---- */

/* Whether an urgency or leak marker lies beside where a wave begins. */
static bool is_felt_or_lost(const struct detrusor_trace *trace, double start_s)
{
    static const enum event_code codes[] = {EVENT_URGENCY, EVENT_LEAK};

    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++) {
        const struct optional_number marker =
            timeline_first(&trace->study->timeline, codes[i], start_s - CRITERIA_URGENCY_S);

        if (marker.known && marker.value <= trace->phase->span.to_s + CRITERIA_URGENCY_S) {
            return true;
        }
    }
    return false;
}

/* Appends a contraction to a list, on a copy: a list's items are not to be changed. */
static bool append(const struct analysis_memory *memory, struct item_list *list,
                   struct involuntary_contraction contraction)
{
    struct involuntary_contraction *copy = memory_array(memory, list->count + 1, sizeof *copy);

    if (copy == NULL) {
        return false;
    }
    if (list->count > 0) {
        memcpy(copy, list->items, list->count * sizeof *copy);
    }
    copy[list->count++] = contraction;
    list->items = copy;
    return true;
}

bool contractions_empty_bladder(const struct filling_phase *phase,
                                const struct item_list *contractions)
{
    const struct involuntary_contraction *items = contractions->items;

    return phase->end == FILLING_ENDS_AT_VOIDING && contractions->count > 0 &&
           items[contractions->count - 1].end_s > phase->span.to_s - CRITERIA_CONTRACTION_MIN_S;
}

/* Where nobody permitted it, and a marker says that it was felt or leaked, the contraction that
 * begins while filling and empties the bladder is involuntary. Most of it lies after the onset of
 * flow, at which filling ends: it is looked for beyond that. */
static bool add_emptying(struct study *study, const struct filling_phase *phase,
                         struct item_list *list)
{
    struct detrusor_trace trace = {.study = study, .phase = phase};
    struct item_list beyond = {.state = MEASURE_PRESENT};
    const struct span span = {phase->span.from_s - CRITERIA_CONTRACTION_LEAD_S,
                              phase->span.to_s + CRITERIA_EMPTYING_BEYOND_S};

    if (phase->end != FILLING_ENDS_AT_VOIDING || contractions_empty_bladder(phase, list)) {
        return true;
    }
    trace.grid = pressure_grid_part(&study->pressure_grid, span);
    if (!open_trace(&trace) || !list_contractions(&trace, &beyond)) {
        return false;
    }
    const struct involuntary_contraction *items = beyond.items;

    for (size_t i = 0; i < beyond.count; i++) {
        struct involuntary_contraction contraction = items[i];

        if (contraction.start_s <= phase->span.to_s && contraction.end_s >= phase->span.to_s &&
            is_felt_or_lost(&trace, contraction.start_s)) {
            contraction.leak = true;
            return append(study->memory, list, contraction);
        }
    }
    return true;
}

static struct item_list absent(const char *reason)
{
    return (struct item_list){.state = MEASURE_ABSENT, .reason = reason};
}

bool contractions_find(struct study *study, const struct filling_phase *phase,
                       struct item_list *ret_contractions)
{
    static const char method[] =
        "detrusor pressure over a smooth level that follows compliance and drift; at least 5 s "
        "above half of the amplitude, pabd changing by less than half as much as pves, coughs, "
        "strains, rectal contractions, flushes and changes of position left out; without "
        "permission "
        "to void, one that empties the bladder only beside a marker of urgency or leak; no "
        "published "
        "rule exists: a suggestion for review";
    struct detrusor_trace trace = {.study = study, .phase = phase};
    const struct span span = {phase->span.from_s - CRITERIA_CONTRACTION_LEAD_S, phase->span.to_s};

    trace.grid = pressure_grid_part(&study->pressure_grid, span);
    if (trace.grid.pdet == NULL) {
        *ret_contractions = absent("it needs both pves and pabd, or one of them and pdet: one line "
                                   "alone does not tell a contraction from straining");
        return true;
    }
    if (trace.grid.count == 0 || trace.grid.rate_hz < CRITERIA_EVENT_RATE_MIN_HZ) {
        *ret_contractions =
            absent(trace.grid.count == 0 ? "no pressure was recorded during filling"
                                         : "the pressures are sampled less than once a second");
        return true;
    }
    *ret_contractions = (struct item_list){.state = MEASURE_PRESENT, .method = method};
    return open_trace(&trace) && list_contractions(&trace, ret_contractions) &&
           add_emptying(study, phase, ret_contractions);
}
