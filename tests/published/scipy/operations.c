/* Prints what operations of the signal toolbox make of made-up samples, as JSON: each with its
 * input, its settings and its output. check.py compares them with NumPy and SciPy. */
#include "support/test_memory.h"

#include "analysis/nomogram/nomogram.h"
#include "analysis/signal/baseline.h"
#include "analysis/signal/envelope.h"
#include "analysis/signal/integrate.h"
#include "analysis/signal/level.h"
#include "analysis/signal/peaks.h"
#include "analysis/signal/robust.h"
#include "analysis/signal/smooth.h"
#include "analysis/trend.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

enum { COUNT = 1500, WINDOW = 31 };

static const double rate_hz = 20.0;

static double noise(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 33) / 1073741824.0 - 1.0;
}

static void make(double *samples)
{
    uint64_t state = 7;

    for (size_t i = 0; i < COUNT; i++) {
        const double x = (double)i;

        samples[i] =
            20.0 + 0.01 * x + 12.0 * sin(x / 90.0) + 4.0 * sin(x / 13.0) + 1.5 * noise(&state);
    }
}

static void print_array(const char *name, const double *values, size_t count)
{
    printf("\"%s\":[", name);
    for (size_t i = 0; i < count; i++) {
        printf(i == 0 ? "" : ",");
        if (isnan(values[i])) {
            printf("null");
        } else {
            printf("%.17g", values[i]);
        }
    }
    printf("]");
}

static void print_peaks(const struct series *series)
{
    static struct peak peaks[COUNT];
    static size_t stack[COUNT];
    static double places[COUNT];
    static double prominences[COUNT];
    const size_t found = peaks_find(series, 3.0, peaks, stack);

    for (size_t i = 0; i < found; i++) {
        places[i] = (double)peaks[i].index;
        prominences[i] = peaks[i].prominence;
    }
    print_array("peak_index", places, found);
    printf(",");
    print_array("peak_prominence", prominences, found);
    printf(",");
}

static void print_envelope(const struct series *series)
{
    struct test_memory memory;
    struct envelope envelope;
    double means[2] = {0.0, 0.0};

    test_memory_open(&memory, SIZE_MAX);
    if (!envelope_make(series, EMG_FORM_RECTIFIED, &memory.memory, &envelope)) {
        return;
    }
    means[0] = envelope.window_s;
    means[1] = envelope.series.rate_hz;
    print_array("envelope", envelope.series.samples, envelope.series.count);
    printf(",");
    print_array("envelope_settings", means, 2);
    printf(",");
    test_memory_close(&memory);
}

static void print_scalars(const struct series *series, double *scratch)
{
    const struct span span = {3.21, 61.87};
    double integral = 0.0;

    (void)integrate_span(series, span, 1.0, &integral);
    memcpy(scratch, series->samples, COUNT * sizeof *scratch);
    const struct robust robust = robust_of(scratch, COUNT);
    double days[12];

    for (size_t i = 0; i < 12; i++) {
        days[i] = 3.0 * (double)(i * i);
    }
    const struct trend trend =
        trend_of(12, days, series->samples, (struct optional_number){false, 0.0});
    const struct nomogram_answer answer = nomogram_liverpool(SEX_FEMALE, 40.0, 300.0, 22.0);

    printf("\"integral\":%.17g,\"median\":%.17g,\"sd\":%.17g,\"slope_per_week\":%.17g,"
           "\"value_at\":%.17g,\"z\":%.17g,\"centile\":%.17g",
           integral, robust.median, robust.sd, trend.slope_per_week, series_value(series, 17.383),
           answer.z, answer.centile);
}

int main(void)
{
    static double samples[COUNT];
    static double output[COUNT];
    static double scratch[COUNT];
    static size_t queue[COUNT];
    double sorted[WINDOW];

    make(samples);
    const struct series series = {rate_hz, 0.0, COUNT, samples};

    printf("{");
    print_array("samples", samples, COUNT);
    printf(",\"rate_hz\":%.17g,\"window\":%d,", rate_hz, WINDOW);
    smooth_mean(&series, WINDOW, SMOOTH_ENDS_SHORTEN, output);
    print_array("mean", output, COUNT);
    printf(",");
    smooth_mean(&series, WINDOW, SMOOTH_ENDS_ZERO, output);
    print_array("mean_zero", output, COUNT);
    printf(",");
    smooth_median(&series, WINDOW, sorted, output);
    print_array("median_filter", output, COUNT);
    printf(",");
    integrate_slope(&series, 0.5, output);
    print_array("slope", output, COUNT);
    printf(",");
    baseline_open(&series, WINDOW, scratch, queue, output);
    print_array("opening", output, COUNT);
    printf(",");
    print_peaks(&series);
    print_envelope(&series);
    print_scalars(&series, scratch);
    printf("}\n");
    return 0;
}
