#include "analysis/filling/leaks_points.h"

#include "analysis/measure.h"

#include <math.h>

static const char nobody_looked[] =
    "no leak was marked, and no flow was recorded that would show one";

/* The leak of one of two causes with the lowest pressure, or NULL. */
static const struct leak_found *lowest(const struct leak_found *leaks, size_t count,
                                       enum leak_cause first, enum leak_cause second)
{
    const struct leak_found *found = NULL;

    for (size_t i = 0; i < count; i++) {
        const struct leak_found *leak = &leaks[i];
        const bool abdominal = first == LEAK_COUGH;
        const double pressure = abdominal ? leak->leak.pves_leak_cmh2o : leak->leak.pdet_leak_cmh2o;

        if ((leak->cause != first && leak->cause != second) || isnan(pressure)) {
            continue;
        }
        if (found == NULL ||
            pressure < (abdominal ? found->leak.pves_leak_cmh2o : found->leak.pdet_leak_cmh2o)) {
            found = leak;
        }
    }
    return found;
}

static bool any_of(const struct leak_found *leaks, size_t count, enum leak_cause first,
                   enum leak_cause second)
{
    for (size_t i = 0; i < count; i++) {
        if (leaks[i].cause == first || leaks[i].cause == second) {
            return true;
        }
    }
    return false;
}

static void add_part(struct measure *measure, const char *code, double value)
{
    if (measure->state == MEASURE_PRESENT && isfinite(value) &&
        measure->part_count < MEASURE_PARTS_MAX) {
        measure->parts[measure->part_count++] = (struct named_number){code, value};
    }
}

static struct measure abdominal(const struct leak_found *leaks, size_t count, bool stressed,
                                bool on_record, const struct measure *empty)
{
    static const char by_cough[] =
        "absolute pves (baseline: atmospheric zero), lowest at a leak; here the peak of a cough "
        "(CLPP), which may lie above the pressure at the leak itself; baseline: pves just before; "
        "rise_from_empty: over pves at the start of filling";
    static const char by_strain[] =
        "absolute pves (baseline: atmospheric zero), lowest at a leak; here in a strain (VLPP), at "
        "its marker or on the meter less the flow delay; baseline: pves just before; "
        "rise_from_empty: over pves at the start of filling";
    const struct leak_found *leak = lowest(leaks, count, LEAK_COUGH, LEAK_STRAIN);

    if (leak == NULL) {
        if (any_of(leaks, count, LEAK_COUGH, LEAK_STRAIN)) {
            return measure_absent("no vesical pressure at the leak");
        }
        if (!on_record) {
            return measure_absent(nobody_looked);
        }
        return measure_absent(
            stressed ? "no leak at the coughs and strains of the filling: it lies above the "
                       "highest pressure that they reached"
                     : "neither cough nor strain during filling");
    }
    struct measure measure = measure_at(leak->leak.pves_leak_cmh2o, leak->pressure_s,
                                        leak->cause == LEAK_COUGH ? by_cough : by_strain);

    add_part(&measure, "baseline", leak->leak.pves_baseline_cmh2o);
    add_part(&measure, "rise", leak->leak.pves_rise_cmh2o);
    if (measure_known(empty)) {
        add_part(&measure, "rise_from_empty", measure.value - empty->value);
    }
    add_part(&measure, "volume_ml", leak->leak.volume_ml);
    return measure;
}

static struct measure detrusor(const struct leak_found *leaks, size_t count, bool on_record)
{
    const struct leak_found *leak = lowest(leaks, count, LEAK_PRESSURE, LEAK_PRESSURE);

    if (leak != NULL) {
        struct measure measure =
            measure_at(leak->leak.pdet_leak_cmh2o, leak->pressure_s,
                       "lowest pdet at a leak without contraction, cough or strain, at its marker "
                       "or on the meter less the flow delay");

        add_part(&measure, "volume_ml", leak->leak.volume_ml);
        return measure;
    }
    if (!on_record) {
        return measure_absent(nobody_looked);
    }
    return measure_absent(
        any_of(leaks, count, LEAK_CONTRACTION, LEAK_CONTRACTION)
            ? "urine leaked with a contraction only: the leak point is defined without one"
            : "no leak from raised detrusor pressure without contraction, cough or strain");
}

void leaks_points(const struct leak_found *leaks, size_t count, bool stressed, bool on_record,
                  struct filling_measures *measures)
{
    measures->abdominal_leak_point_pressure =
        abdominal(leaks, count, stressed, on_record, &measures->pves_baseline);
    measures->detrusor_leak_point_pressure = detrusor(leaks, count, on_record);
}
