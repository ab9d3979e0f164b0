/* A recording in pieces under libFuzzer: lines are pieces of one opening. Every line is read; those
 * that fit behind the ones before, as the store demands, are joined, and the whole has their
 * samples in their places and nothing else. */
#include "faults_check.h"
#include "promise.h"

#include "formats/limits.h"
#include "formats/pieces.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PIECES_MAX = 8, CHANNELS = 3, WRITTEN_MAX = 1 << 20, JOINED_MAX = 1 << 16 };

static const char opening_text[] =
    "{\"study_id\":\"01890000-0000-7000-8000-000000000001\",\"type\":\"pressure_flow\","
    "\"started_at\":\"2026-03-02T09:31:05Z\",\"channels\":["
    "{\"signal\":\"pves\",\"unit\":\"cm[H2O]\",\"rate_hz\":10},"
    "{\"signal\":\"pabd\",\"unit\":\"cm[H2O]\",\"rate_hz\":10},"
    "{\"signal\":\"flow\",\"unit\":\"mL/s\",\"rate_hz\":10}]}";

static const struct recording_document *read_opening(struct arena *arena)
{
    struct fault_list faults;
    const struct recording_document *opening = NULL;
    fault_list_init(&faults, arena);
    promise(recording_json_read(arena, opening_text, strlen(opening_text), RECORDING_JSON_OPEN,
                                &opening, &faults) == JSON_READ_OK &&
                opening->channel_count == CHANNELS,
            "the opening");
    return opening;
}

static bool fits_behind(const struct piece *piece, const struct piece *before)
{
    for (size_t c = 0; c < CHANNELS; c++) {
        if (piece->channels[c].first < piece_end(&before->channels[c])) {
            return false;
        }
    }
    return true;
}

static bool is_small(const struct piece *piece)
{
    size_t end = 0;
    for (size_t c = 0; c < CHANNELS; c++) {
        end += piece_end(&piece->channels[c]);
    }
    return end <= JOINED_MAX;
}

/* What a watcher is sent of a piece can be read as a piece again. */
static void check_written(struct arena *arena, const struct recording_document *opening,
                          const struct piece *piece)
{
    struct text text;
    struct fault_list faults;
    const struct piece *again = NULL;
    fault_list_init(&faults, arena);
    text_init(&text, arena, WRITTEN_MAX);
    text_append_char(&text, '{');
    piece_json_append(&text, opening, piece);
    text_append_char(&text, '}');
    promise(!text.overflowed, "what is written fits");
    for (size_t c = 0; c < CHANNELS; c++) {
        if (piece->channels[c].samples.count == 0) {
            return; /* written as an empty array, which no room may send */
        }
    }
    promise(piece_json_read(arena, opening, text.data, text.length, &again, &faults) ==
                JSON_READ_OK,
            "what is written can be read");
    for (size_t c = 0; c < CHANNELS; c++) {
        const struct piece_channel *one = &piece->channels[c];
        const struct piece_channel *other = &again->channels[c];
        const double *values = samples_all_values(&one->samples, arena);
        const double *others = samples_all_values(&other->samples, arena);
        promise(one->first == other->first && one->samples.count == other->samples.count &&
                    one->samples.missing == other->samples.missing,
                "a piece again");
        for (size_t i = 0; i < one->samples.count; i++) {
            promise(isnan(values[i]) ? isnan(others[i]) : !islessgreater(values[i], others[i]),
                    "a sample again");
        }
    }
    promise(again->event_count == piece->event_count, "events again");
}

static void check_piece(const struct piece *piece)
{
    size_t total = 0;
    for (size_t c = 0; c < CHANNELS; c++) {
        const struct piece_channel *channel = &piece->channels[c];
        promise(piece_end(channel) >= channel->first && piece_end(channel) <= LIMIT_CHANNEL_SAMPLES,
                "a piece ends within a channel");
        promise(channel->samples.missing <= channel->samples.count, "missing samples");
        total += piece_end(channel);
    }
    promise(total <= LIMIT_RECORDING_SAMPLES && piece->event_count <= LIMIT_EVENTS, "limits");
}

/* The channel's samples, straight from the pieces. */
static size_t plain_join(const struct piece *const *pieces, size_t count, size_t channel,
                         double *values)
{
    size_t end = 0;
    for (size_t i = 0; i < JOINED_MAX; i++) {
        values[i] = (double)NAN;
    }
    for (size_t i = 0; i < count; i++) {
        const struct piece_channel *part = &pieces[i]->channels[channel];
        if (part->samples.count > 0) {
            samples_values(&part->samples, 0, part->samples.count, values + part->first);
            end = piece_end(part);
        }
    }
    return end;
}

static const struct document_channel *find(const struct recording_document *document,
                                           enum signal_kind signal)
{
    for (size_t i = 0; i < document->channel_count; i++) {
        if (document->channels[i].signal == signal) {
            return &document->channels[i];
        }
    }
    return NULL;
}

static void check_channel(struct arena *arena, const struct document_channel *channel,
                          const double *values, size_t end)
{
    promise((channel != NULL) == (end > 0), "a channel that has samples");
    if (channel == NULL) {
        return;
    }
    const double *joined = samples_all_values(&channel->samples, arena);
    size_t missing = 0;
    promise(channel->samples.count == end, "as long as the last piece says");
    for (size_t i = 0; i < end; i++) {
        missing += isnan(values[i]) ? 1 : 0;
        promise(isnan(values[i]) ? isnan(joined[i]) : !islessgreater(values[i], joined[i]),
                "a sample in its place");
    }
    promise(channel->samples.missing == missing, "samples that did not come");
}

static void check_join(struct arena *arena, const struct recording_document *opening,
                       const struct piece *const *pieces, size_t count)
{
    struct fault_list faults;
    const struct recording_document *document = NULL;
    double *values = malloc(JOINED_MAX * sizeof *values);
    size_t events = 0;
    promise(values != NULL, "there is memory");
    fault_list_init(&faults, arena);
    bool good = pieces_join(arena, opening, pieces, count, &document, &faults);
    promise(good == (faults.count == 0), "faults when nothing can be made of them");
    promise(good == (document->channel_count > 0), "something when there are samples");
    for (size_t c = 0; good && c < CHANNELS; c++) {
        size_t end = plain_join(pieces, count, c, values);
        check_channel(arena, find(document, opening->channels[c].signal), values, end);
    }
    for (size_t i = 0; i < count; i++) {
        events += pieces[i]->event_count;
    }
    promise(!good || document->event_count == events, "all events");
    for (size_t i = 1; good && i < events; i++) {
        promise(document->events[i - 1].at_s <= document->events[i].at_s, "events in order");
    }
    free(values);
}

static const struct piece *read_piece(struct arena *arena, const struct recording_document *opening,
                                      const char *line, size_t length)
{
    struct fault_list faults;
    const struct piece *piece = NULL;
    fault_list_init(&faults, arena);
    enum json_read_outcome outcome = piece_json_read(arena, opening, line, length, &piece, &faults);
    promise((outcome == JSON_READ_OK) == (faults.count == 0), "faults when it is refused");
    promise((outcome == JSON_READ_OK) == (piece != NULL), "a piece when it is taken");
    faults_check(&faults, "", line, length);
    return piece;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct arena *arena = arena_new();
    const struct recording_document *opening = read_opening(arena);
    const struct piece *pieces[PIECES_MAX] = {NULL};
    char *lines[PIECES_MAX] = {NULL}; /* what was read may point into them */
    size_t count = 0;
    size_t at = 0;
    for (size_t i = 0; i < PIECES_MAX && at < size; i++) {
        const uint8_t *end = memchr(bytes + at, '\n', size - at);
        size_t length = (end == NULL ? size : (size_t)(end - bytes)) - at;
        lines[i] = promise_text(bytes + at, length);
        const struct piece *piece = read_piece(arena, opening, lines[i], length);
        at += length + 1;
        if (piece == NULL) {
            continue;
        }
        check_piece(piece);
        if (is_small(piece) && (count == 0 || fits_behind(piece, pieces[count - 1]))) {
            check_written(arena, opening, piece);
            pieces[count++] = piece;
        }
    }
    check_join(arena, opening, pieces, count);
    for (size_t i = 0; i < PIECES_MAX; i++) {
        free(lines[i]);
    }
    arena_free(arena);
    return 0;
}
