/* Flow that is cut off at the end of the meter's range. */
#include "analysis/criteria.h"
#include "analysis/criteria_quality.h"
#include "analysis/quality.h"
#include "analysis/quality_spans.h"

#include <math.h>

/* How far below the highest flow a sample is; missing where there is none. */
static double drop_at(const struct series *flow, size_t index, double most)
{
    return index < flow->count && fabs(flow->samples[index]) <= CRITERIA_SAMPLE_LIMIT
               ? most - flow->samples[index]
               : SERIES_MISSING;
}

/* Highest flow, and the smallest change between two samples; endless when nothing changes. */
static double find_most(const struct series *flow, double *ret_step)
{
    double most = -SERIES_ENDLESS;

    *ret_step = SERIES_ENDLESS;
    for (size_t i = 0; i < flow->count; i++) {
        const double sample = flow->samples[i];
        const double change = i > 0 ? fabs(sample - flow->samples[i - 1]) : 0.0;

        most = fabs(sample) <= CRITERIA_SAMPLE_LIMIT && sample > most ? sample : most;
        *ret_step = change > 0.0 && change < *ret_step ? change : *ret_step;
    }
    return most;
}

void quality_of_flow_range(struct study *study)
{
    const struct channel *channel = recording_channel(study->recording, SIGNAL_FLOW);
    struct quality_spans spans = {
        .outcome = &study->outcome,
        .finding = {.code = "clipped",
                    .severity = QUALITY_WARNING,
                    .signal = SIGNAL_FLOW,
                    .text = "Flow stands still at its highest value here, as when it is cut off at "
                            "the end of the meter's range: Qmax may have been higher, and a volume "
                            "from the flow too. Check the range of the meter and the upload."},
        .text_rest = "Flow is cut off at several further places within this span: check the range "
                     "of the meter."};

    if (channel == NULL || study->flow_derived || study->flow.count == 0) {
        return;
    }
    const struct series flow = {channel->rate_hz, channel->start_s, channel->sample_count,
                                channel->samples};
    double step = 0.0;
    const double most = find_most(&flow, &step);
    const double least = fmax(CRITERIA_FLOW_CLIP_DROP_ML_S, CRITERIA_CLIP_DROP_STEPS * step);
    size_t i = 0;

    while (i < flow.count) {
        const size_t first = i++;

        if (!(flow.samples[first] >= most)) {
            continue;
        }
        while (i < flow.count && flow.samples[i] >= most) {
            i++;
        }
        const size_t length = i - first;

        if ((double)(length - 1) / flow.rate_hz >= CRITERIA_FLOW_CLIP_S && first >= length &&
            drop_at(&flow, first - length, most) > least &&
            drop_at(&flow, i - 1 + length, most) > least) {
            quality_spans_add(&spans,
                              (struct span){series_time(&flow, first), series_time(&flow, i - 1)});
        }
    }
    quality_spans_close(&spans);
}
