#include "analysis/signal/baseline.h"

#include <math.h>

/* Pulls neighbours together where nothing else says where the curve lies, e.g. in a stretch between
 * two breaks without a sample; far too weak to be seen elsewhere. */
#define COUPLING 1e-3
/* The weights have settled when they change by less than this share. */
#define SETTLED 0.01

/* Sliding minimum (sign 1) or maximum (sign -1) over half samples to both sides. `queue` holds the
 * indices of the samples in the window that can still become the extreme one. */
static void slide_extreme(const double *samples, size_t count, size_t half, double sign,
                          size_t *queue, double *output)
{
    size_t head = 0;
    size_t tail = 0;
    size_t next = 0;

    for (size_t i = 0; i < count; i++) {
        const size_t end = count - i > half ? i + half + 1 : count;

        for (; next < end; next++) {
            if (isnan(samples[next])) {
                continue;
            }
            while (tail > head && sign * samples[queue[tail - 1]] >= sign * samples[next]) {
                tail--;
            }
            queue[tail++] = next;
        }
        while (head < tail && queue[head] + half < i) {
            head++;
        }
        output[i] = isnan(samples[i]) || head == tail ? SERIES_MISSING : samples[queue[head]];
    }
}

void baseline_open(const struct series *series, size_t window, double *scratch, size_t *queue,
                   double *output)
{
    const size_t half = window / 2;

    slide_extreme(series->samples, series->count, half, 1.0, queue, scratch);
    slide_extreme(scratch, series->count, half, -1.0, queue, output);
}

/* The symmetric matrix with five diagonals, by its main and two upper ones. */
struct bands {
    size_t count;
    double *main;
    double *first;
    double *second;
};

static void add_penalties(const struct bands *bands, const bool *breaks, double stiffness)
{
    for (size_t i = 0; i + 1 < bands->count; i++) {
        bands->main[i] += COUPLING;
        bands->main[i + 1] += COUPLING;
        bands->first[i] -= COUPLING;
    }
    for (size_t i = 0; i + 2 < bands->count; i++) {
        if (breaks[i + 1] || breaks[i + 2]) {
            continue;
        }
        bands->main[i] += stiffness;
        bands->main[i + 1] += 4.0 * stiffness;
        bands->main[i + 2] += stiffness;
        bands->first[i] -= 2.0 * stiffness;
        bands->first[i + 1] -= 2.0 * stiffness;
        bands->second[i] += stiffness;
    }
}

/* Solves bands * x = x in place by LDL' factors. The matrix is positive definite as soon as one
 * weight is. */
static void solve(const struct bands *bands, double *x)
{
    const size_t count = bands->count;
    double *d = bands->main;
    double *l1 = bands->first;
    double *l2 = bands->second;

    for (size_t i = 0; i < count; i++) {
        if (i + 1 < count) {
            const double near = l1[i];

            l1[i] = near / d[i];
            d[i + 1] -= l1[i] * near;
            x[i + 1] -= l1[i] * x[i];
            if (i + 2 < count) {
                const double far = l2[i];

                l2[i] = far / d[i];
                l1[i + 1] -= l2[i] * near;
                d[i + 2] -= l2[i] * far;
                x[i + 2] -= l2[i] * x[i];
            }
        }
        x[i] /= d[i];
    }
    for (size_t i = count; i > 0; i--) {
        if (i < count) {
            x[i - 1] -= l1[i - 1] * x[i];
        }
        if (i + 1 < count) {
            x[i - 1] -= l2[i - 1] * x[i + 1];
        }
    }
}

/* Corrects the weights by how far each sample lies above the curve, in terms of the noise below it.
 * Returns by what share they changed. */
static double correct_weights(const struct series *series, double noise_least, const double *curve,
                              double *weights)
{
    double count = 0.0;
    double mean = 0.0;
    double squares = 0.0;
    double change = 0.0;
    double total = 0.0;

    for (size_t i = 0; i < series->count; i++) {
        const double off = series->samples[i] - curve[i];

        if (off < 0.0) { /* false for missing ones */
            count += 1.0;
            const double step = off - mean;

            mean += step / count;
            squares += step * (off - mean);
        }
    }
    const double noise = fmax(count > 0.0 ? sqrt(squares / count) : 0.0, noise_least);

    for (size_t i = 0; i < series->count; i++) {
        if (isnan(series->samples[i])) {
            continue;
        }
        const double off = series->samples[i] - curve[i];
        const double beyond = (off - (2.0 * noise - mean)) / noise;
        const double weight = 1.0 / (1.0 + exp(fmin(2.0 * beyond, 700.0)));

        change += fabs(weight - weights[i]);
        total += weights[i];
        weights[i] = weight;
    }
    return total > 0.0 ? change / total : 0.0;
}

static bool any_present(const struct series *series)
{
    for (size_t i = 0; i < series->count; i++) {
        if (!isnan(series->samples[i])) {
            return true;
        }
    }
    return false;
}

void baseline_follow(const struct series *series, const bool *breaks, struct baseline_rule rule,
                     double *scratch, double *output)
{
    const size_t count = series->count;
    const double turn = rule.period_s * series->rate_hz / (2.0 * 3.14159265358979323846);
    const struct bands bands = {count, scratch, scratch + count, scratch + 2 * count};
    double *weights = scratch + 3 * count;
    const bool present = any_present(series);
    double change = 1.0;

    for (size_t i = 0; i < count; i++) {
        weights[i] = isnan(series->samples[i]) ? 0.0 : 1.0;
        output[i] = SERIES_MISSING;
    }
    for (size_t round = 0; present && round < rule.rounds && change > SETTLED; round++) {
        for (size_t i = 0; i < count; i++) {
            bands.main[i] = weights[i];
            bands.first[i] = 0.0;
            bands.second[i] = 0.0;
            output[i] = weights[i] > 0.0 ? weights[i] * series->samples[i] : 0.0;
        }
        add_penalties(&bands, breaks, turn * turn * turn * turn);
        solve(&bands, output);
        change = correct_weights(series, rule.noise_least, output, weights);
    }
}
