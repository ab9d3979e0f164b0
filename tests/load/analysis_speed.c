/* How fast the analysis is: a pressure-flow study of half an hour, 8 channels at 100 Hz, analysed
 * in one thread, beside a plain sum over the same arrays in the same run. Prints lines "name
 * value". */
#include "analysis/analysis.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { RATE_HZ = 100, LENGTH_S = 1800, CHANNELS = 8, SAMPLES = RATE_HZ * LENGTH_S, ROUNDS = 21 };

/* When filling ends, s, and how fast it is, mL/s. */
static const double PERMISSION_S = 1500.0;
static const double FILL_ML_S = 0.3;

/* ---- One block of memory that is used again in each round, so that no page fault is measured ----
 */

struct block {
    char *bytes;
    size_t size;
    size_t used;
};

static void *take(void *context, size_t size)
{
    struct block *block = context;
    const size_t rounded = (size + 63) / 64 * 64;

    if (rounded > block->size - block->used) {
        return NULL;
    }
    void *taken = block->bytes + block->used;

    block->used += rounded;
    return taken;
}

/* ---- The study ---- */

static double noise(uint64_t *state)
{
    double sum = 0.0;

    for (int i = 0; i < 4; i++) {
        *state = *state * 6364136223846793005u + 1442695040888963407u;
        sum += (double)(*state >> 40) / 16777216.0 - 0.5;
    }
    return sum;
}

static double bump(double at_s, double centre_s, double width_s)
{
    const double x = (at_s - centre_s) / width_s;

    return x > -4.0 && x < 4.0 ? exp(-x * x) : 0.0;
}

/* Coughs every minute, a strain, two contractions, a voiding. */
static double abdominal(double at_s)
{
    const double since_cough = fmod(at_s, 60.0);

    return 30.0 + 1.5 * sin(at_s * 1.6) + 60.0 * bump(since_cough, 30.0, 0.25) +
           40.0 * bump(at_s, 900.0, 4.0);
}

static double detrusor(double at_s)
{
    return 2.0 + 8.0 * fmin(at_s, PERMISSION_S) / PERMISSION_S + 25.0 * bump(at_s, 1000.0, 12.0) +
           18.0 * bump(at_s, 1200.0, 10.0) + 45.0 * bump(at_s, 1540.0, 20.0);
}

static double flow(double at_s)
{
    return 18.0 * bump(at_s, 1541.0, 10.0);
}

static void fill(double *samples[CHANNELS])
{
    uint64_t state = 1;
    double voided_ml = 0.0;

    for (size_t i = 0; i < SAMPLES; i++) {
        const double at_s = (double)i / RATE_HZ;

        voided_ml += flow(at_s) / RATE_HZ;
        samples[0][i] = abdominal(at_s) + detrusor(at_s) + 0.4 * noise(&state);
        samples[1][i] = abdominal(at_s) + 0.4 * noise(&state);
        samples[2][i] = samples[0][i] - samples[1][i];
        samples[3][i] = flow(at_s) + 0.05 * noise(&state);
        samples[4][i] = voided_ml + 0.1 * noise(&state);
        samples[5][i] = FILL_ML_S * fmin(at_s, PERMISSION_S - 10.0);
        samples[6][i] = 8.0 + 6.0 * at_s / LENGTH_S + 1.5 * fabs(noise(&state));
        samples[7][i] = 60.0 + 0.5 * noise(&state);
    }
}

/* ---- Measuring ---- */

static double now_s(void)
{
    struct timespec now;

    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now); /* others may keep the machine busy */
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static int compare(const void *a, const void *b)
{
    const double left = *(const double *)a;
    const double right = *(const double *)b;

    return (left > right) - (left < right);
}

/* As one would write it: one sum in order. */
static double plain_sum(double *const samples[CHANNELS])
{
    double sum = 0.0;

    for (size_t c = 0; c < CHANNELS; c++) {
        for (size_t i = 0; i < SAMPLES; i++) {
            sum += samples[c][i];
        }
    }
    return sum;
}

int main(void)
{
    static const enum signal_kind kinds[CHANNELS] = {SIGNAL_PVES, SIGNAL_PABD,  SIGNAL_PDET,
                                                     SIGNAL_FLOW, SIGNAL_VVOID, SIGNAL_VINF,
                                                     SIGNAL_EMG,  SIGNAL_PURA};
    static const struct event events[] = {
        {.at_s = 1.0, .code = EVENT_FILLING_START},
        {.at_s = 600.0, .code = EVENT_FIRST_DESIRE},
        {.at_s = 1490.0, .code = EVENT_FILLING_STOP},
        {.at_s = 1500.0, .code = EVENT_PERMISSION_TO_VOID},
    };
    struct channel channels[CHANNELS];
    double *samples[CHANNELS];
    double analysed_s[ROUNDS];
    double summed_s[ROUNDS];
    volatile double kept = 0.0;
    struct block block = {.size = (size_t)256 << 20};

    block.bytes = malloc(block.size);
    for (size_t i = 0; i < CHANNELS; i++) {
        samples[i] = malloc(SAMPLES * sizeof **samples);
        if (samples[i] == NULL || block.bytes == NULL) {
            abort();
        }
        channels[i] = (struct channel){kinds[i], RATE_HZ, 0.0, SAMPLES, samples[i]};
    }
    fill(samples);
    const struct recording recording = {
        .type = RECORDING_PRESSURE_FLOW,
        .sex = SEX_MALE,
        .age_years = {true, 60.0},
        .conditions = {.position = POSITION_SITTING,
                       .post_void_residual_ml = {true, 30.0},
                       .emg_form = EMG_FORM_ENVELOPE},
        .channel_count = CHANNELS,
        .channels = channels,
        .event_count = sizeof events / sizeof events[0],
        .events = events,
    };
    const struct analysis_memory memory = {take, &block};
    size_t most_used = 0;

    for (int round = 0; round < ROUNDS; round++) {
        const struct analysis_result *result = NULL;
        const double begun_s = now_s();

        block.used = 0;
        if (!analysis_run(&recording, NULL, &memory, &result) || !result->has_voiding ||
            result->voiding.pdet_qmax.state != MEASURE_PRESENT) {
            fputs("the study was not analysed\n", stderr);
            abort();
        }
        const double analysed_at_s = now_s();

        kept = kept + plain_sum(samples);
        summed_s[round] = now_s() - analysed_at_s;
        analysed_s[round] = analysed_at_s - begun_s;
        most_used = block.used > most_used ? block.used : most_used;
    }
    qsort(analysed_s, ROUNDS, sizeof *analysed_s, compare);
    qsort(summed_s, ROUNDS, sizeof *summed_s, compare);
    const double samples_all = (double)CHANNELS * SAMPLES;

    printf("analysis_ms %.3f\n", 1e3 * analysed_s[ROUNDS / 2]);
    printf("analysis_million_samples_s %.1f\n", 1e-6 * samples_all / analysed_s[ROUNDS / 2]);
    printf("sum_ms %.3f\n", 1e3 * summed_s[ROUNDS / 2]);
    printf("analysis_to_sum %.2f\n", analysed_s[ROUNDS / 2] / summed_s[ROUNDS / 2]);
    printf("memory_to_samples %.2f\n", (double)most_used / (samples_all * sizeof(double)));
    for (size_t i = 0; i < CHANNELS; i++) {
        free(samples[i]);
    }
    free(block.bytes);
    return EXIT_SUCCESS;
}
