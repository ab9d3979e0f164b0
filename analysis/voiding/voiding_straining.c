/* Straining during the flow: whether the abdominal press drove it. */
#include "analysis/criteria.h"
#include "analysis/criteria_voiding.h"
#include "analysis/measure.h"
#include "analysis/voiding/voiding_pressures.h"

#include <math.h>

/* Sums over the samples of the flow. */
struct strain_sums {
    double flowing;    /* samples with flow */
    double known;      /* of these, with pabd */
    double straining;  /* of these, with pabd well above its level */
    double pabd_rise;  /* sum over the straining ones */
    double pdet_rise;  /* likewise, over the premicturition pressure; */
    double pdet_known; /* where that is known */
    double changes;    /* samples with a change of both pabd and flow */
    double change_abd; /* and the sums for their correlation */
    double change_flow;
    double change_abd2;
    double change_flow2;
    double change_both;
};

/* How a signal changes around a moment. */
static double change_at(const struct series *series, double at_s)
{
    return series_value(series, at_s + CRITERIA_SMOOTH_HALF_S) -
           series_value(series, at_s - CRITERIA_SMOOTH_HALF_S);
}

static void add_change(struct strain_sums *sums, double abd, double flow)
{
    if (isfinite(abd) && isfinite(flow)) {
        sums->changes += 1.0;
        sums->change_abd += abd;
        sums->change_flow += flow;
        sums->change_abd2 += abd * abd;
        sums->change_flow2 += flow * flow;
        sums->change_both += abd * flow;
    }
}

static void add_sample(struct strain_sums *sums, const struct voiding_traces *traces, double at_s,
                       double level_cmh2o, double before_cmh2o)
{
    const double pressure_s = at_s - traces->delay_s;
    const double rise = series_value(&traces->pabd.peaked, pressure_s) - level_cmh2o;

    sums->flowing += 1.0;
    if (isnan(rise)) {
        return;
    }
    sums->known += 1.0;
    add_change(sums, change_at(&traces->pabd.peaked, pressure_s),
               change_at(&traces->record->smoothed, at_s));
    if (rise < CRITERIA_STRAIN_RISE_CMH2O) {
        return;
    }
    const double pdet_rise = series_value(&traces->pdet.peaked, pressure_s) - before_cmh2o;

    sums->straining += 1.0;
    sums->pabd_rise += rise;
    if (isfinite(pdet_rise)) {
        sums->pdet_known += 1.0;
        sums->pdet_rise += pdet_rise;
    }
}

/* Correlation of the changes; 0 when one of the two does not change. */
static double correlation(const struct strain_sums *sums)
{
    const double n = sums->changes;
    const double abd = n * sums->change_abd2 - sums->change_abd * sums->change_abd;
    const double flow = n * sums->change_flow2 - sums->change_flow * sums->change_flow;
    const double both = n * sums->change_both - sums->change_abd * sums->change_flow;

    return abd > 0.0 && flow > 0.0 ? both / sqrt(abd * flow) : 0.0;
}

static struct strain_sums sum_up(const struct voiding_traces *traces, double level_cmh2o,
                                 double before_cmh2o)
{
    struct strain_sums sums = {.flowing = 0.0};

    for (size_t i = traces->phase->first_run; i < traces->phase->run_end; i++) {
        const struct series part =
            series_part(&traces->record->smoothed, flow_run_span(traces->record, traces->phase, i));

        for (size_t k = 0; k < part.count; k++) {
            add_sample(&sums, traces, series_time(&part, k), level_cmh2o, before_cmh2o);
        }
    }
    return sums;
}

static struct measure answer(const struct strain_sums *sums)
{
    const double share = sums->straining / sums->known;
    const double together = correlation(sums);
    const bool larger_part = sums->pdet_known > 0.0 &&
                             sums->pabd_rise / sums->straining > sums->pdet_rise / sums->pdet_known;
    const bool strained = share >= CRITERIA_STRAIN_SHARE;
    const bool drives = together >= CRITERIA_STRAIN_CORRELATION || larger_part;
    struct measure measure = measure_of(
        strained && drives ? 1.0 : 0.0,
        "yes when pabd is 10 cmH2O or more above its median of the 30 s before the opening for at "
        "least 20 % of the flow time, and either its changes over 2 s go with those of the flow "
        "(correlation 0.5 or more) or it rises by more than pdet does");

    measure.parts[measure.part_count++] = (struct named_number){"share_percent", 100.0 * share};
    measure.parts[measure.part_count++] = (struct named_number){"correlation", together};
    if (sums->straining > 0.0) {
        measure.parts[measure.part_count++] =
            (struct named_number){"pabd_rise", sums->pabd_rise / sums->straining};
    }
    return measure;
}

struct measure voiding_straining(const struct study *study, const struct voiding_traces *traces,
                                 const struct voiding_measures *measures)
{
    const double opening_s = traces->span.from_s;

    if (traces->pabd.absent != NULL) {
        return measure_absent(traces->pabd.absent);
    }
    if (traces->record->smoothed.count == 0) {
        return measure_absent("flow is sampled too slowly");
    }
    const struct span before = {opening_s - CRITERIA_STRAIN_LEVEL_S, opening_s};
    const double level_cmh2o = level_median(&study->pabd, before, study->scratch);

    if (isnan(level_cmh2o)) {
        return measure_absent("abdominal pressure before the flow was not recorded");
    }
    const double before_cmh2o = measure_known(&measures->premicturition_pressure)
                                    ? measures->premicturition_pressure.value
                                    : level_median(&study->pdet, before, study->scratch);
    const struct strain_sums sums = sum_up(traces, level_cmh2o, before_cmh2o);

    if (!(sums.known > 0.0) || sums.known < CRITERIA_STRAIN_KNOWN_SHARE * sums.flowing) {
        return measure_absent("abdominal pressure samples are missing during the flow");
    }
    return answer(&sums);
}
