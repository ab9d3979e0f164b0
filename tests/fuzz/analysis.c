/* The analysis entry under libFuzzer: bytes become a recording with any mixture of channels, rates,
 * gaps and markers, and every result must keep the promises of result.h. A few bytes make a long
 * signal, so that the fuzzer does not have to spell out samples. */
#include "promise.h"

#include "analysis/analysis.h"
#include "analysis/catalogue.h"

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { CHANNELS_MAX = SIGNAL_COUNT, EVENTS_MAX = 64, SAMPLES_MAX = 6000, BLOCKS_MAX = 4096 };

/* ---- Input ---- */

struct input {
    const uint8_t *bytes;
    size_t left;
};

static unsigned next(struct input *input)
{
    if (input->left == 0) {
        return 0;
    }
    input->left--;
    return *input->bytes++;
}

static double next_share(struct input *input)
{
    return (double)(next(input) * 256u + next(input)) / 65535.0;
}

static struct optional_number next_number(struct input *input, double most)
{
    const unsigned how = next(input);

    switch (how % 8) {
    case 0:
        return (struct optional_number){true, most * next_share(input)};
    case 1:
        return (struct optional_number){true, 0.0};
    case 2:
        return (struct optional_number){true, -most * next_share(input)};
    case 3:
        return (struct optional_number){true, 1e300};
    case 4:
        return (struct optional_number){true, (double)NAN};
    default:
        return (struct optional_number){true, most};
    case 6:
    case 7:
        return (struct optional_number){false, 0.0};
    }
}

static double next_rate(struct input *input)
{
    static const double rates[] = {10.0, 1.0, 100.0, 4.0,    20.0, 50.0, 1000.0,      0.01,  0.0,
                                   -5.0, 3.3, 0.5,   2000.0, 1e9,  1e-9, (double)NAN, 10.01, 25.0};

    return rates[next(input) % (sizeof rates / sizeof rates[0])];
}

/* ---- Channels: a signal is written piece by piece, each from four bytes ---- */

static double piece_value(unsigned kind, size_t i, double level, double size, uint64_t *state)
{
    const double x = (double)i;

    *state = *state * 6364136223846793005u + 1442695040888963407u;
    const double noise = (double)(*state >> 40) / 8388608.0 - 1.0;

    switch (kind % 10) {
    case 0:
        return level;
    case 1:
        return level + size * noise;
    case 2:
        return level + size * x / 100.0;
    case 3:
        return level + size * sin(x / 20.0);
    case 4:
        return (double)NAN;
    case 5:
        return level + size * exp(-(x - 50.0) * (x - 50.0) / 400.0);
    case 6:
        return i % 17 == 0 ? level + size : level;
    case 7:
        return (i / 30) % 2 == 0 ? level : level + size;
    case 8:
        return i % 5 == 0 ? (double)NAN : level + size * noise;
    default:
        return i % 50 == 0 ? 1e9 : -level;
    }
}

static size_t write_pieces(struct input *input, double *samples)
{
    size_t count = 0;
    uint64_t state = 1;
    const unsigned pieces = next(input) % 12;

    for (unsigned p = 0; p < pieces && count < SAMPLES_MAX; p++) {
        const unsigned kind = next(input);
        const size_t length = 1 + (size_t)next(input) * (kind >= 128 ? 8 : 1);
        const double level = (double)next(input) - 20.0;
        const double size = (double)next(input) - 40.0;

        for (size_t i = 0; i < length && count < SAMPLES_MAX; i++) {
            samples[count++] = piece_value(kind, i, level, size, &state);
        }
    }
    return count;
}

/* Each signal at most once, in storage of its own length, so that reading past it is seen. */
static size_t make_channels(struct input *input, struct channel channels[CHANNELS_MAX])
{
    static double samples[SAMPLES_MAX];
    bool taken[SIGNAL_COUNT] = {false};
    size_t count = 0;
    const unsigned wanted = next(input) % 10;

    for (unsigned i = 0; i < wanted; i++) {
        const unsigned signal = next(input) % SIGNAL_COUNT;
        const double rate_hz = next_rate(input);
        const double start_s = next(input) % 5 == 0 ? next_share(input) * 100.0 - 20.0 : 0.0;
        const size_t length = write_pieces(input, samples);

        if (taken[signal]) {
            continue;
        }
        double *copy = malloc(length * sizeof *copy + 1);

        if (copy == NULL) {
            break;
        }
        memcpy(copy, samples, length * sizeof *copy);
        taken[signal] = true;
        channels[count++] =
            (struct channel){(enum signal_kind)signal, rate_hz, start_s, length, copy};
    }
    return count;
}

static size_t make_events(struct input *input, struct event events[EVENTS_MAX])
{
    const unsigned count = next(input) % EVENTS_MAX;

    for (unsigned i = 0; i < count; i++) {
        const unsigned code = next(input) % EVENT_CODE_COUNT;
        const double at_s =
            code % 16 == 15 && next(input) == 0 ? (double)NAN : 700.0 * next_share(input) - 10.0;

        events[i] = (struct event){at_s, (enum event_code)code, next_number(input, 300.0)};
    }
    return count;
}

static void make_recording(struct input *input, struct channel *channels, struct event *events,
                           struct recording *recording)
{
    *recording = (struct recording){
        .type = (enum recording_type)(next(input) % (RECORDING_TYPE_COUNT + 1)),
        .sex = (enum patient_sex)(next(input) % 4),
        .age_years = next_number(input, 90.0),
        .weight_kg = next_number(input, 80.0),
        .conditions = {.position = (enum patient_position)(next(input) % 4),
                       .post_void_residual_ml = next_number(input, 200.0),
                       .initial_residual_ml = next_number(input, 100.0),
                       .filling_rate_ml_min = next_number(input, 100.0),
                       .flow_delay_s = next_number(input, 3.0),
                       .puller_speed_mm_s = next_number(input, 5.0),
                       .free_qmax_ml_s = next_number(input, 40.0),
                       .balloon_expulsion_s = next_number(input, 120.0),
                       .anal_sensor_spacing_mm = next_number(input, 10.0),
                       .neurological_lesion = (enum patient_answer)(next(input) % 3),
                       .emg_form = (enum emg_form)(next(input) % 4)},
        .channels = channels,
        .events = events,
    };
    recording->channel_count = make_channels(input, channels);
    recording->event_count = make_events(input, events);
}

/* ---- Memory that may run out ---- */

struct blocks {
    size_t count;
    size_t most; /* allocations that are granted */
    void *items[BLOCKS_MAX];
};

static void *allocate(void *context, size_t size)
{
    struct blocks *blocks = context;

    if (blocks->count >= blocks->most) {
        return NULL;
    }
    void *block = malloc(size);

    if (block != NULL) {
        memset(block, 0x7B, size);
    }
    blocks->items[blocks->count] = block;
    blocks->count += block != NULL;
    return block;
}

/* ---- What every result promises ---- */

static void check_measure(const struct catalogue_row *row, const struct measure *measure)
{
    if (measure->state == MEASURE_ABSENT) {
        promise(measure->reason != NULL, row->code);
        return;
    }
    if (measure->state == MEASURE_PRESENT) {
        promise(row->kind != CATALOGUE_NUMBER || isfinite(measure->value), row->code);
        promise(row->kind != CATALOGUE_WORD || measure->word != NULL, row->code);
        promise(!measure->has_time || isfinite(measure->at_s), row->code);
        promise(measure->part_count <= MEASURE_PARTS_MAX, row->code);
        promise(measure->doubt_count <= MEASURE_DOUBTS_MAX, row->code);
    }
}

static void check_list(const struct catalogue_list *list, const struct item_list *items)
{
    promise(items->state != MEASURE_ABSENT || items->reason != NULL, list->code);
    promise(items->state == MEASURE_PRESENT || items->count == 0, list->code);
    for (size_t i = 0; i < items->count; i++) {
        for (size_t j = 0; j < list->column_count; j++) {
            const struct catalogue_column *column = &list->columns[j];

            if (column->kind == CATALOGUE_NUMBER) {
                promise(!isinf(catalogue_number(list, items, i, column)), column->code);
            } else if (column->kind == CATALOGUE_WORD) {
                (void)catalogue_word(list, items, i, column);
            } else {
                (void)catalogue_yes(list, items, i, column);
            }
        }
    }
}

static void check_sections(const struct analysis_result *result)
{
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *section = catalogue_section(i);

        for (size_t j = 0; j < catalogue_instances(section, result); j++) {
            const void *instance = catalogue_instance(section, result, j);

            for (size_t k = 0; k < section->row_count; k++) {
                check_measure(&section->rows[k], catalogue_measure(&section->rows[k], instance));
            }
            for (size_t k = 0; k < section->list_count; k++) {
                check_list(&section->lists[k], catalogue_items(&section->lists[k], instance));
            }
        }
    }
}

static void check_words(const struct analysis_result *result)
{
    for (size_t i = 0; i < result->quality_count; i++) {
        const struct quality_finding *finding = &result->quality[i];

        promise(finding->code != NULL && finding->text != NULL, "quality");
        promise(!finding->has_span || finding->from_s <= finding->to_s, finding->code);
    }
    for (size_t i = 0; i < result->finding_count; i++) {
        promise(result->findings[i].code != NULL && result->findings[i].text != NULL, "finding");
        promise(result->findings[i].basis_count > 0, result->findings[i].code);
        promise(result->findings[i].doubt_count <= SUGGESTION_DOUBTS_MAX, result->findings[i].code);
    }
    for (size_t i = 0; i < result->classification_count; i++) {
        const struct classification *item = &result->classifications[i];

        promise(item->code != NULL && item->class != NULL && item->method != NULL, "class");
        for (size_t j = 0; j < item->basis_count; j++) {
            promise(isfinite(item->basis[j].value), item->code);
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static struct blocks blocks;
    struct input input = {bytes, size};
    struct channel channels[CHANNELS_MAX];
    struct event events[EVENTS_MAX];
    struct recording recording;
    struct analysis_choices choices;
    const unsigned scarce = next(&input);
    const unsigned chosen = next(&input);

    blocks.count = 0;
    blocks.most = scarce < 16 ? scarce * 4 : BLOCKS_MAX;
    choices_standard(&choices);
    for (unsigned i = 0; i < chosen % 8; i++) {
        const struct choice_row *row = choices_row(next(&input) % choices_count());
        const double share = next_share(&input);

        choices_set(&choices, row,
                    (struct optional_number){true, row->least + share * (row->most - row->least)});
    }
    make_recording(&input, channels, events, &recording);

    const struct analysis_memory memory = {allocate, &blocks};
    const struct analysis_result *result = NULL;

    if (analysis_run(&recording, chosen % 2 == 0 ? NULL : &choices, &memory, &result)) {
        check_sections(result);
        check_words(result);
    } else {
        promise(blocks.count == blocks.most, "it fails only when memory ran out");
    }
    for (size_t i = 0; i < blocks.count; i++) {
        free(blocks.items[i]);
    }
    for (size_t i = 0; i < recording.channel_count; i++) {
        void *samples = NULL; /* ours, so that it may be freed */
        memcpy(&samples, &channels[i].samples, sizeof samples);
        free(samples);
    }
    return 0;
}
